"""Make the picture of a cue sheet: its first page and its first cue cards, of the kit of 480i. Chromium prints it.

.venv/bin/python docs/make_cue_sheet.py
"""

from __future__ import annotations

import base64
import sys
import tempfile
from pathlib import Path

import pypdfium2
from PIL import Image, ImageOps

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT)]

from tests.pages import CHROMIUM, browser  # noqa: E402
from trueraster.cli import run  # noqa: E402

TO = ROOT / "docs" / "pictures" / "cue-sheet.png"
SHOWN = (0, 2)
"""Pages: cautions and preparations, cue cards."""
HEIGHT = 900
COLOURS = 64


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
    document = pypdfium2.PdfDocument(printed)
    pages = []
    for number in SHOWN:
        sheet = document[number]
        drawn = sheet.render(scale=HEIGHT / sheet.get_height()).to_pil().convert("RGB")
        pages.append(ImageOps.expand(drawn, 2, "#b9c0c8"))
    document.close()
    gap = 16
    whole = Image.new("RGB", (sum(one.width + gap for one in pages) - gap, pages[0].height), "white")
    for i, one in enumerate(pages):
        whole.paste(one, (i * (one.width + gap), 0))
    whole.quantize(COLOURS, dither=Image.Dither.NONE).save(TO, optimize=True)
    return 0


if __name__ == "__main__":
    sys.exit(main())
