"""The format that a picture file shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from patterns.formats import FORMATS, FieldOrder, Format
from trueraster.options.values import UsageError, format_of

if TYPE_CHECKING:
    from analysis.frame.levels import Frame

__all__ = ["format_of_file"]


def format_of_file(frame: Frame, text: str | None, aspect: str | None) -> Format:
    """The format that is typed, else the file's own word, else the first named one of the frame's size and scan.

    Raises:
        UsageError: nothing tells it.
    """
    told = frame.provenance
    if text is not None:
        return format_of(text, aspect)
    if "format" in told:
        usual = format_of(told["format"], aspect)
        same = f"{usual.picture_aspect.numerator}:{usual.picture_aspect.denominator}" == told.get("aspect")
        return usual if aspect or same else format_of(told["format"], told.get("aspect"))
    tags = frame.picture.tags
    alike = [f for f in FORMATS.values() if (f.width, f.height) == (tags.width, tags.height)]
    interlaced = tags.field_order not in (None, FieldOrder.PROGRESSIVE)
    alike = [f for f in alike if f.interlaced == interlaced] or alike
    if not alike:
        raise UsageError(
            f"{frame.path}: {tags.width}x{tags.height} is not the raster of any named format; give the one that was "
            "played with --format"
        )
    return format_of(alike[0].id, aspect)
