"""VESA Generalized Timing Formula 1.1: a timing for any raster by the tube's own rule, with the default curve."""

from __future__ import annotations

import math
from fractions import Fraction

from patterns.modes.blanked import check_cells, check_raster, field_lines, timed
from patterns.standards.timing import (
    GTF_CELL,
    GTF_DUTY_OFFSET,
    GTF_DUTY_SLOPE,
    GTF_FRONT_LINES,
    GTF_SYNC_BACK_TIME,
    GTF_SYNC_LINES,
    GTF_SYNC_SHARE,
)
from patterns.timing import FormatError, Interval, Timing

__all__ = ["gtf"]


def _nearest(value: Fraction) -> int:
    return math.floor(value + Fraction(1, 2))


def gtf(width: int, height: int, field_rate: Fraction, *, interlaced: bool) -> Timing:
    """The timing for a raster of `width` samples and `height` lines at exactly `field_rate` Hz (frames if progressive).

    Raises:
        FormatError: the width is not of whole cells, or the formula leaves a porch nothing: it is not made for line
            rates so low.
    """
    check_raster(width, height, field_rate, interlaced)
    check_cells(width, GTF_CELL.value, "GTF")
    refused = f"GTF has no timing for {width}x{height} at {float(field_rate):g} Hz"
    lines, half = field_lines(height, interlaced), Fraction(int(interlaced), 2)
    left = 1 / field_rate - GTF_SYNC_BACK_TIME.value
    if left <= 0:
        raise FormatError(f"{refused}: its vertical blanking alone takes longer than a field")
    estimate = left / (lines + GTF_FRONT_LINES.value + half)
    sync_back = _nearest(GTF_SYNC_BACK_TIME.value / estimate)
    period = 1 / (field_rate * (lines + sync_back + half + GTF_FRONT_LINES.value))
    duty = GTF_DUTY_OFFSET.value - GTF_DUTY_SLOPE.value * period
    pair = 2 * GTF_CELL.value
    blank = _nearest(width * duty / (1 - duty) / pair) * pair
    total = width + blank
    h_sync = _nearest(GTF_SYNC_SHARE.value * total / GTF_CELL.value) * GTF_CELL.value
    if blank // 2 - h_sync < 1 or sync_back <= GTF_SYNC_LINES.value:
        raise FormatError(f"{refused}: it leaves no porch at a line rate of {float(1 / period) / 1000:.3f} kHz")
    return timed(
        clock_hz=total / period,
        h=Interval(active=width, front_porch=blank // 2 - h_sync, sync=h_sync, back_porch=blank // 2),
        v=Interval(
            active=lines,
            front_porch=GTF_FRONT_LINES.value,
            sync=GTF_SYNC_LINES.value,
            back_porch=sync_back - GTF_SYNC_LINES.value,
        ),
        interlaced=interlaced,
        polarity=(False, True),
        source=GTF_CELL.source,
    )
