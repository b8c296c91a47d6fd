"""The captured frame with every measured patch outlined, named and marked by its error: what `verify --picture` writes.

Nothing is measured here.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

from PIL import Image, ImageDraw

from analysis.drawing.labels import lay_out
from analysis.drawing.palette import GROUND
from analysis.frame.picture.marks import Heading, Mark, Note, words_of
from analysis.frame.picture.pen import Pen
from analysis.frame.picture.rows import draw_rows, heading_rows, key_rows, rows_height
from analysis.frame.picture.shown import enlarged, shown_box, shown_frame, shown_size
from patterns.signal import Signal
from render.decode import Picture
from render.writing import placed

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["marked_picture", "write_marked"]

_NARROWEST = 720
"""Of the page: room for the words above and below."""


def marked_picture(
    picture: Picture,
    signal: Signal,
    marks: Sequence[Mark],
    heading: Heading,
    notes: Sequence[Note] = (),
    *,
    sample_aspect: Fraction | None = None,
) -> Image.Image:
    """The page: heading, the frame with its marks, the key and the notes. Mode RGB.

    The frame is shown with square samples. `sample_aspect` is the file's own where it is not given, and 1 where
    the file says nothing. Frames of few lines are enlarged by a whole factor.
    """
    aspect = sample_aspect or picture.tags.sample_aspect or Fraction(1)
    height, width = picture.planes[0].shape
    size = shown_size(width, height, aspect)
    base = max(15, round(size[1] / 58))
    boxes = [shown_box(mark.box, (width, height), size) for mark in marks]
    labels = lay_out(boxes, [words_of(mark) for mark in marks], size, base)
    page_width = max(size[0], _NARROWEST)
    above = heading_rows(heading, page_width, base)
    below = key_rows(marks, labels, notes, signal, page_width, base)
    top = rows_height(above, base)
    page = Image.new("RGB", (page_width, top + size[1] + rows_height(below, base)), GROUND)
    page.paste(enlarged(shown_frame(picture, signal), size), ((page_width - size[0]) // 2, top))
    draw = ImageDraw.Draw(page)
    pen = Pen(draw=draw, left=(page_width - size[0]) // 2, top=top, size=size, base=base)
    for mark, box in zip(marks, boxes, strict=True):
        pen.outline(mark, box)
    for label in labels:
        pen.leader(label, marks[label.mark], boxes[label.mark])
    for label in labels:
        pen.label(label, marks[label.mark])
    draw_rows(draw, above, 0, base)
    draw_rows(draw, below, top + size[1], base)
    return page


def write_marked(path: Path, image: Image.Image) -> None:
    """Write the page as a PNG file, whole or not at all.

    Raises:
        ValueError: the name does not end in .png.
        OSError: as `render.writing.placed` raises it.
    """
    if path.suffix.lower() != ".png":
        raise ValueError(f"{path}: the marked picture is a PNG file; give a name that ends in .png")
    with placed(path) as file:
        # Noise does not shrink, and takes the harder levels seconds.
        image.save(file, "PNG", compress_level=2)
