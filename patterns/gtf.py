"""VESA Generalized Timing Formula 1.1: a timing for any raster by the tube's own rule, with the default curve."""

from __future__ import annotations

import math
from fractions import Fraction

from patterns.blanked import check_cells, check_raster, field_lines, timed
from patterns.sources import Constant, Mark, Source
from patterns.timing import FormatError, Interval, Timing

__all__ = ["gtf"]

_SOURCE = Source(
    document="VESA Generalized Timing Formula 1.1",
    mark=Mark.VERIFIED,
    note="results equal to gtf of xserver-xorg-core 21.1 and to edid-decode 0.1; the document was not seen",
)


def _constant(name: str, value: int | Fraction, unit: str) -> Constant[Fraction]:
    return Constant(name=f"GTF {name}", value=Fraction(value), unit=unit, source=_SOURCE)


CELL = _constant("cell", 8, "samples")
FRONT_LINES = _constant("vertical front porch", 1, "lines")
SYNC_LINES = _constant("vertical sync", 3, "lines")
SYNC_BACK_TIME = _constant("shortest vertical sync and back porch", Fraction(550, 1_000_000), "s")
DUTY_OFFSET = _constant("blanking duty cycle C'", Fraction(30, 100), "of the line")
DUTY_SLOPE = _constant("blanking duty cycle M'", 3000, "of the line, a second of its duration")
SYNC_SHARE = _constant("horizontal sync", Fraction(8, 100), "of the line")


def _nearest(value: Fraction) -> int:
    return math.floor(value + Fraction(1, 2))


def gtf(width: int, height: int, field_rate: Fraction, *, interlaced: bool) -> Timing:
    """The timing for a raster of `width` samples and `height` lines at exactly `field_rate` Hz (frames if progressive).

    Raises:
        FormatError: the width is not of whole cells, or the formula leaves a porch nothing: it is not made for line
            rates so low.
    """
    check_raster(width, height, field_rate, interlaced)
    check_cells(width, int(CELL.value), "GTF")
    refused = f"GTF has no timing for {width}x{height} at {float(field_rate):g} Hz"
    lines, half = field_lines(height, interlaced), Fraction(int(interlaced), 2)
    left = 1 / field_rate - SYNC_BACK_TIME.value
    if left <= 0:
        raise FormatError(f"{refused}: its vertical blanking alone takes longer than a field")
    estimate = left / (lines + FRONT_LINES.value + half)
    sync_back = _nearest(SYNC_BACK_TIME.value / estimate)
    period = 1 / (field_rate * (lines + sync_back + half + FRONT_LINES.value))
    duty = DUTY_OFFSET.value - DUTY_SLOPE.value * period
    pair = 2 * int(CELL.value)
    blank = _nearest(width * duty / (1 - duty) / pair) * pair
    total = width + blank
    h_sync = _nearest(SYNC_SHARE.value * total / CELL.value) * int(CELL.value)
    if blank // 2 - h_sync < 1 or sync_back <= SYNC_LINES.value:
        raise FormatError(f"{refused}: it leaves no porch at a line rate of {float(1 / period) / 1000:.3f} kHz")
    return timed(
        clock_hz=total / period,
        h=Interval(active=width, front_porch=blank // 2 - h_sync, sync=h_sync, back_porch=blank // 2),
        v=Interval(
            active=lines,
            front_porch=int(FRONT_LINES.value),
            sync=int(SYNC_LINES.value),
            back_porch=sync_back - int(SYNC_LINES.value),
        ),
        interlaced=interlaced,
        polarity=(False, True),
        source=_SOURCE,
    )
