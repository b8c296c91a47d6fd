"""The format that a picture file shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

from patterns.formats import FORMATS, FieldOrder, Format
from patterns.timing import shown
from trueraster.options.values import UsageError, format_of

if TYPE_CHECKING:
    from analysis.frame.levels import Frame

__all__ = ["format_of_file"]


def format_of_file(frame: Frame, text: str | None, aspect: str | None) -> Format:
    """The format that is typed, else the file's own word, else the first named one of the frame's size and scan.

    Raises:
        UsageError: nothing in the file gives it.
    """
    stated = frame.provenance
    if text is not None:
        return format_of(text, aspect)
    if "format" in stated:
        return _stated_format(frame, aspect)
    tags = frame.picture.tags
    alike = [f for f in FORMATS.values() if (f.width, f.height) == (tags.width, tags.height)]
    interlaced = tags.field_order not in (None, FieldOrder.PROGRESSIVE)
    alike = [f for f in alike if f.interlaced == interlaced] or alike
    if not alike:
        raise UsageError(
            f"{frame.path}: {tags.width}x{tags.height} is not the raster of any named format; give "
            "the format with --format"
        )
    return format_of(alike[0].id, aspect)


def _stated_format(frame: Frame, aspect: str | None) -> Format:
    """By the file's own word, but with the aspect that is typed."""
    name, own = frame.provenance["format"], frame.provenance.get("aspect")
    try:
        usual = format_of(name, None)
    except ValueError as error:
        raise UsageError(
            f"{frame.path}: the file states the format {shown(name)}, which is unknown; give --format"
        ) from error
    if aspect is not None:
        return format_of(name, aspect)
    if own is None or own == f"{usual.picture_aspect.numerator}:{usual.picture_aspect.denominator}":
        return usual
    try:
        return format_of(name, own)
    except ValueError as error:
        raise UsageError(
            f"{frame.path}: the file states the aspect {shown(own)}, which {usual.id} does not have; give --aspect"
        ) from error
