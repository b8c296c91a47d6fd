"""Pages of a printed document side by side, as one small picture for the documents."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pypdfium2
from PIL import Image, ImageOps

HEIGHT = 1100
COLOURS = 96


def write_pages(printed: bytes, shown: Sequence[int], to: Path) -> None:
    """Write pages `shown` (from 0) of a PDF into one PNG, each with a thin frame."""
    document = pypdfium2.PdfDocument(printed)
    pages = []
    for number in shown:
        sheet = document[number]
        drawn = sheet.render(scale=HEIGHT / sheet.get_height()).to_pil().convert("RGB")
        pages.append(ImageOps.expand(drawn, 2, "#b9c0c8"))
    document.close()
    gap = 16
    whole = Image.new("RGB", (sum(one.width + gap for one in pages) - gap, pages[0].height), "white")
    for i, one in enumerate(pages):
        whole.paste(one, (i * (one.width + gap), 0))
    whole.quantize(COLOURS, dither=Image.Dither.NONE).save(to, optimize=True)
