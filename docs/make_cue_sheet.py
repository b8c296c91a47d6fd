"""Make the picture of a cue sheet: its first page and its first cue cards, of the kit of 480i. Chromium prints it.

.venv/bin/python docs/make_cue_sheet.py
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

TO = ROOT / "docs" / "pictures" / "cue-sheet.png"
SHOWN = (0, 2)
"""Pages: cautions and preparations, cue cards."""


def main() -> int:
    if CHROMIUM is None:
        print("there is no Chromium here to print the cue sheet with", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory() as name:
        # Stills take a second to draw; the sheet differs from that of clips in the files' endings alone.
        if run(["kit", "--format", "480i", "--quick", "--as", "png", "--to", name]):
            return 1
        with browser(Path(name) / "cue-sheet.html") as shown:
            printed = base64.b64decode(shown.call("Page.printToPDF", preferCSSPageSize=True)["data"])
    write_pages(printed, SHOWN, TO)
    return 0


if __name__ == "__main__":
    sys.exit(main())
