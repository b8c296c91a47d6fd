"""A free mode's blanking as a `Timing`: what the formulas of CVT, GTF and the 15 kHz family share."""

from __future__ import annotations

from fractions import Fraction

from patterns.sources import Source
from patterns.timing import FormatError, Interval, Timing

__all__ = ["check_cells", "check_raster", "field_lines", "timed"]


def field_lines(height: int, interlaced: bool) -> int:
    """Active lines of a field, of the frame when progressive."""
    return height // 2 if interlaced else height


def check_raster(width: int, height: int, field_rate: Fraction, interlaced: bool) -> None:
    """Raise FormatError for what no timing can be of."""
    if width < 1 or height < 1 or field_rate <= 0:
        raise FormatError(f"a mode needs a size and a rate above 0, got {width}x{height} at {field_rate} Hz")
    if interlaced and height % 2:
        raise FormatError(f"an interlaced mode needs an even height, got {height}")


def check_cells(width: int, cell: int, name: str) -> None:
    """Raise FormatError when the width is not of whole cells: the formula would cut it to another mode."""
    if width % cell:
        below = width - width % cell
        raise FormatError(
            f"{name} counts widths in cells of {cell} samples, got {width}; use {below} or {below + cell}"
        )


def timed(
    *,
    clock_hz: Fraction,
    h: Interval,
    v: Interval,
    interlaced: bool,
    polarity: tuple[bool, bool],
    source: Source,
) -> Timing:
    """The timing of one line and one field; an interlaced mode's second field has one line more in its back porch.

    `polarity` is whether the horizontal and the vertical sync are positive. Lines are numbered from the start of
    vertical sync, so that the first field is the top one.
    """
    second = None
    first_lines: tuple[int, ...] = (v.sync + v.back_porch + 1,)
    if interlaced:
        second = Interval(active=v.active, front_porch=v.front_porch, sync=v.sync, back_porch=v.back_porch + 1)
        first_lines += (v.total + second.sync + second.back_porch + 1,)
    return Timing(
        pixel_clock_hz=clock_hz,
        h=h,
        v=v,
        v_second=second,
        total_lines=v.total + (second.total if second else 0),
        sync_positive=polarity[0],
        v_sync_positive=polarity[1],
        first_active_lines=first_lines,
        source=source,
    )
