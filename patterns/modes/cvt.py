"""VESA Coordinated Video Timings 1.2: a timing for any raster, with the blanking of a tube or a reduced one.

The formulas are exact here; programs that work with rounded numbers may differ where a value falls on a step.
"""

from __future__ import annotations

import math
from enum import StrEnum
from fractions import Fraction

from patterns.modes.blanked import check_cells, check_raster, field_lines, timed
from patterns.standards.timing import (
    CVT_BACK_LINES,
    CVT_CELL,
    CVT_CLOCK_STEP,
    CVT_DUTY_LEAST,
    CVT_DUTY_OFFSET,
    CVT_DUTY_SLOPE,
    CVT_FRONT_LINES,
    CVT_RB2_CLOCK_STEP,
    CVT_RB2_LINE,
    CVT_RB2_SYNC_BACK,
    CVT_RB_BLANK_TIME,
    CVT_RB_LINE,
    CVT_SYNC_BACK_TIME,
    CVT_SYNC_LINES,
    CVT_SYNC_SHARE,
)
from patterns.timing import FormatError, Interval, Timing

__all__ = ["Blanking", "cvt"]


class Blanking(StrEnum):
    """How much of a line and a frame is blank. Only FULL leaves a tube the time to fly back."""

    FULL = "cvt"
    REDUCED = "cvt-rb"
    REDUCED_2 = "cvt-rb2"


# The width of vertical sync codes the aspect.
_ASPECTS = (Fraction(4, 3), Fraction(16, 9), Fraction(16, 10), Fraction(5, 4), Fraction(15, 9))


def _sync_lines(width: int, height: int) -> int:
    """Of the aspect whose width, cut to whole samples, this is; 5:4 only exactly. So does edid-decode.

    The standard may cut to whole cells (from memory): then 1360x768 is 16:9 too.
    """
    *known, other = CVT_SYNC_LINES.value
    for aspect, lines in zip(_ASPECTS, known, strict=True):
        exact = height * aspect
        if math.floor(exact) == width and (exact == width or aspect != Fraction(5, 4)):
            return lines
    return other


def cvt(width: int, height: int, field_rate: Fraction, *, interlaced: bool, blanking: Blanking) -> Timing:
    """The timing for a raster of `width` samples and `height` lines at about `field_rate` Hz (frames if progressive).

    The clock falls on the standard's step at or below what the rate needs, so the rate is a little low.

    Raises:
        FormatError: the width is not of whole cells, or no line is short enough for so many lines at that rate.
    """
    check_raster(width, height, field_rate, interlaced)
    check_cells(width, 1 if blanking is Blanking.REDUCED_2 else CVT_CELL.value, "CVT")
    make = _full if blanking is Blanking.FULL else _reduced
    return make(width, height, field_rate, interlaced, blanking)


def _full(width: int, height: int, field_rate: Fraction, interlaced: bool, _: Blanking) -> Timing:
    lines, half = field_lines(height, interlaced), Fraction(int(interlaced), 2)
    sync = _sync_lines(width, height)
    left = _time_left(field_rate, CVT_SYNC_BACK_TIME.value, width, height)
    period = left / (lines + CVT_FRONT_LINES.value + half)
    sync_back = max(math.floor(CVT_SYNC_BACK_TIME.value / period) + 1, sync + CVT_BACK_LINES.value)
    duty = max(CVT_DUTY_LEAST.value, CVT_DUTY_OFFSET.value - CVT_DUTY_SLOPE.value * period)
    pair = 2 * CVT_CELL.value
    blank = math.floor(width * duty / (1 - duty) / pair) * pair
    total = width + blank
    h_sync = math.floor(CVT_SYNC_SHARE.value * total / CVT_CELL.value) * CVT_CELL.value
    return timed(
        clock_hz=_stepped(total / period, CVT_CLOCK_STEP.value, width, height),
        h=Interval(active=width, front_porch=blank // 2 - h_sync, sync=h_sync, back_porch=blank // 2),
        v=Interval(active=lines, front_porch=CVT_FRONT_LINES.value, sync=sync, back_porch=sync_back - sync),
        interlaced=interlaced,
        polarity=(False, True),
        source=CVT_CELL.source,
    )


def _reduced(width: int, height: int, field_rate: Fraction, interlaced: bool, blanking: Blanking) -> Timing:
    lines, half = field_lines(height, interlaced), Fraction(int(interlaced), 2)
    left = _time_left(field_rate, CVT_RB_BLANK_TIME.value, width, height)
    blank_lines = math.floor(CVT_RB_BLANK_TIME.value * lines / left) + 1
    if blanking is Blanking.REDUCED:
        front, sync = CVT_FRONT_LINES.value, _sync_lines(width, height)
        blank_lines = max(blank_lines, front + sync + CVT_BACK_LINES.value)
        back, step = blank_lines - front - sync, CVT_CLOCK_STEP.value
        line = CVT_RB_LINE.value
    else:
        sync, back = CVT_RB2_SYNC_BACK.value
        blank_lines = max(blank_lines, 1 + sync + back)
        front, step = blank_lines - sync - back, CVT_RB2_CLOCK_STEP.value
        line = CVT_RB2_LINE.value
    h = Interval(active=width, front_porch=line[0], sync=line[1], back_porch=line[2])
    return timed(
        clock_hz=_stepped(field_rate * (lines + blank_lines + half) * h.total, step, width, height),
        h=h,
        v=Interval(active=lines, front_porch=front, sync=sync, back_porch=back),
        interlaced=interlaced,
        polarity=(True, False),
        source=CVT_CELL.source,
    )


def _time_left(field_rate: Fraction, blank: Fraction, width: int, height: int) -> Fraction:
    left = 1 / field_rate - blank
    if left <= 0:
        raise FormatError(
            f"CVT has no timing for {width}x{height} at {float(field_rate):g} Hz: its vertical blanking alone takes"
            f" {float(blank * 1_000_000):g} us of each field"
        )
    return left


def _stepped(clock_hz: Fraction, step: int, width: int, height: int) -> Fraction:
    stepped = math.floor(clock_hz / step) * Fraction(step)
    if stepped <= 0:
        raise FormatError(f"CVT has no timing for {width}x{height} at so low a rate: its clock would be below its step")
    return stepped
