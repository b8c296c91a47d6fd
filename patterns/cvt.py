"""VESA Coordinated Video Timings 1.2: a timing for any raster, with the blanking of a tube or a reduced one.

The formulas are exact here; programs that work with rounded numbers may differ where a value falls on a step.
"""

from __future__ import annotations

import math
from enum import StrEnum
from fractions import Fraction

from patterns.blanked import check_cells, check_raster, field_lines, timed
from patterns.sources import Constant, Mark, Source
from patterns.timing import FormatError, Interval, Timing

__all__ = ["Blanking", "cvt"]


class Blanking(StrEnum):
    """How much of a line and a frame is blank. Only FULL leaves a tube the time to fly back."""

    FULL = "cvt"
    REDUCED = "cvt-rb"
    REDUCED_2 = "cvt-rb2"


_SOURCE = Source(
    document="VESA Coordinated Video Timings 1.2",
    mark=Mark.VERIFIED,
    note="results equal to edid-decode 0.1; the document was not seen",
)


def _constant(name: str, value: int | Fraction, unit: str) -> Constant[Fraction]:
    return Constant(name=f"CVT {name}", value=Fraction(value), unit=unit, source=_SOURCE)


CELL = _constant("cell", 8, "samples")
FRONT_LINES = _constant("vertical front porch", 3, "lines")
BACK_LINES = _constant("shortest vertical back porch", 7, "lines")
SYNC_BACK_TIME = _constant("shortest vertical sync and back porch", Fraction(550, 1_000_000), "s")
DUTY_OFFSET = _constant("blanking duty cycle C'", Fraction(30, 100), "of the line")
DUTY_SLOPE = _constant("blanking duty cycle M'", 3000, "of the line, a second of its duration")
DUTY_LEAST = _constant("least blanking duty cycle", Fraction(20, 100), "of the line")
SYNC_SHARE = _constant("horizontal sync", Fraction(8, 100), "of the line")
CLOCK_STEP = _constant("clock step", 250_000, "Hz")
REDUCED_BLANK_TIME = _constant("reduced: shortest vertical blanking", Fraction(460, 1_000_000), "s")
REDUCED_LINE = Constant(
    name="CVT reduced: front porch, sync, back porch", value=(48, 32, 80), unit="samples", source=_SOURCE
)
REDUCED_2_LINE = Constant(
    name="CVT reduced, version 2: front porch, sync, back porch", value=(8, 32, 40), unit="samples", source=_SOURCE
)
REDUCED_2_SYNC_BACK = Constant(
    name="CVT reduced, version 2: vertical sync, back porch", value=(8, 6), unit="lines", source=_SOURCE
)
REDUCED_2_CLOCK_STEP = _constant("reduced, version 2: clock step", 1000, "Hz")

# Vertical sync tells the aspect.
_SYNC_LINES = {Fraction(4, 3): 4, Fraction(16, 9): 5, Fraction(16, 10): 6, Fraction(5, 4): 7, Fraction(15, 9): 7}
_SYNC_LINES_OTHER = 10


def _sync_lines(width: int, height: int) -> int:
    """Of the aspect whose width, cut to whole samples, this is; 5:4 only exactly. So does edid-decode.

    The standard may cut to whole cells (from memory): then 1360x768 is 16:9 too.
    """
    for aspect, lines in _SYNC_LINES.items():
        exact = height * aspect
        if math.floor(exact) == width and (exact == width or aspect != Fraction(5, 4)):
            return lines
    return _SYNC_LINES_OTHER


def cvt(width: int, height: int, field_rate: Fraction, *, interlaced: bool, blanking: Blanking) -> Timing:
    """The timing for a raster of `width` samples and `height` lines at about `field_rate` Hz (frames if progressive).

    The clock falls on the standard's step at or below what the rate needs, so the rate is a little low.

    Raises:
        FormatError: the width is not of whole cells, or no line is short enough for so many lines at that rate.
    """
    check_raster(width, height, field_rate, interlaced)
    check_cells(width, 1 if blanking is Blanking.REDUCED_2 else int(CELL.value), "CVT")
    make = _full if blanking is Blanking.FULL else _reduced
    return make(width, height, field_rate, interlaced, blanking)


def _full(width: int, height: int, field_rate: Fraction, interlaced: bool, _: Blanking) -> Timing:
    lines, half = field_lines(height, interlaced), Fraction(int(interlaced), 2)
    sync = _sync_lines(width, height)
    left = _time_left(field_rate, SYNC_BACK_TIME.value, width, height)
    period = left / (lines + FRONT_LINES.value + half)
    sync_back = max(math.floor(SYNC_BACK_TIME.value / period) + 1, sync + int(BACK_LINES.value))
    duty = max(DUTY_LEAST.value, DUTY_OFFSET.value - DUTY_SLOPE.value * period)
    pair = 2 * int(CELL.value)
    blank = math.floor(width * duty / (1 - duty) / pair) * pair
    total = width + blank
    h_sync = math.floor(SYNC_SHARE.value * total / CELL.value) * int(CELL.value)
    return timed(
        clock_hz=_stepped(total / period, CLOCK_STEP.value, width, height),
        h=Interval(active=width, front_porch=blank // 2 - h_sync, sync=h_sync, back_porch=blank // 2),
        v=Interval(active=lines, front_porch=int(FRONT_LINES.value), sync=sync, back_porch=sync_back - sync),
        interlaced=interlaced,
        polarity=(False, True),
        source=_SOURCE,
    )


def _reduced(width: int, height: int, field_rate: Fraction, interlaced: bool, blanking: Blanking) -> Timing:
    lines, half = field_lines(height, interlaced), Fraction(int(interlaced), 2)
    left = _time_left(field_rate, REDUCED_BLANK_TIME.value, width, height)
    blank_lines = math.floor(REDUCED_BLANK_TIME.value * lines / left) + 1
    if blanking is Blanking.REDUCED:
        front, sync = int(FRONT_LINES.value), _sync_lines(width, height)
        blank_lines = max(blank_lines, front + sync + int(BACK_LINES.value))
        back, step = blank_lines - front - sync, CLOCK_STEP.value
        line = REDUCED_LINE.value
    else:
        sync, back = REDUCED_2_SYNC_BACK.value
        blank_lines = max(blank_lines, 1 + sync + back)
        front, step = blank_lines - sync - back, REDUCED_2_CLOCK_STEP.value
        line = REDUCED_2_LINE.value
    h = Interval(active=width, front_porch=line[0], sync=line[1], back_porch=line[2])
    return timed(
        clock_hz=_stepped(field_rate * (lines + blank_lines + half) * h.total, step, width, height),
        h=h,
        v=Interval(active=lines, front_porch=front, sync=sync, back_porch=back),
        interlaced=interlaced,
        polarity=(True, False),
        source=_SOURCE,
    )


def _time_left(field_rate: Fraction, blank: Fraction, width: int, height: int) -> Fraction:
    left = 1 / field_rate - blank
    if left <= 0:
        raise FormatError(
            f"CVT has no timing for {width}x{height} at {float(field_rate):g} Hz: its vertical blanking alone takes"
            f" {float(blank * 1_000_000):g} us of each field"
        )
    return left


def _stepped(clock_hz: Fraction, step: Fraction, width: int, height: int) -> Fraction:
    stepped = math.floor(clock_hz / step) * step
    if stepped <= 0:
        raise FormatError(f"CVT has no timing for {width}x{height} so slow: its clock would be under its step")
    return stepped
