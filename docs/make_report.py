"""Make the picture of a report, of the SIMULATED record that `trueraster record demo` makes. Chromium prints it.

.venv/bin/python docs/make_report.py
"""

from __future__ import annotations

import base64
import sys
import tempfile
from pathlib import Path

from printed import write_pages

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT)]

from tests.pages import CHROMIUM, browser  # noqa: E402
from trueraster.cli import run  # noqa: E402

TO = ROOT / "docs" / "pictures" / "simulation-report.png"
SHOWN = (0, 1, 3)
"""Pages: the owner's, the head of the annex, figures of the geometry."""


def main() -> int:
    if CHROMIUM is None:
        print("there is no Chromium here to print the report with", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory() as name:
        record, page = Path(name) / "harbour-lane-demo.json", Path(name) / "harbour-lane-demo.html"
        if run(["record", "demo", "--to", str(record)]) or run(["report", str(record), "--to", str(page)]):
            return 1
        with browser(page) as shown:
            printed = base64.b64decode(shown.call("Page.printToPDF", preferCSSPageSize=True)["data"])
    write_pages(printed, SHOWN, TO)
    return 0


if __name__ == "__main__":
    sys.exit(main())
