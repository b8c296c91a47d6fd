"""Timings for a set made for 15 kHz: any raster at the line rate of broadcast, as near as clock and set allow.

No standard gives them: the line rate, the times of a line and the place of the picture are those of the 525-line and
the 625-line systems, and everything between is a choice of this project.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from patterns.modes.blanked import check_raster, field_lines, timed
from patterns.sources import Mark, Source
from patterns.standards.geometry import CLOCK_601_HZ
from patterns.standards.timing import (
    ANALOGUE_ACTIVE_SAMPLES,
    BROADCAST_SYNC_LINES,
    LOWEST_FIELD_RATE_HZ,
    NOMINAL_SYNC_US,
    SET_15K_FIELD_RATE_HZ,
    SET_15K_LINE_RATE_HZ,
    SET_15K_LOWEST_LINE_RATE_HZ,
)
from patterns.timing import FormatError, Interval, Timing

__all__ = ["LEAST_CLOCK_STEP_HZ", "MICROSECOND", "Limits", "OutOfRangeError", "Span", "broadcast_system", "solve"]

MICROSECOND = Fraction(1, 1_000_000)
LEAST_CLOCK_STEP_HZ = 1000
"""A finer step finds nothing better: 1 kHz in 13 MHz is 1 Hz of the line rate, and whole samples fill the gaps."""


class OutOfRangeError(FormatError):
    """A scan that the set's stated range has not: its line rates, or its field rates if not `of_lines`."""

    def __init__(self, message: str, *, of_lines: bool = True) -> None:
        super().__init__(message)
        self.of_lines = of_lines


_SOURCE = Source(
    document="no document",
    mark=Mark.PRACTICE,
    note="the line of 525-line or 625-line broadcast for a raster that is in no standard",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class System:
    """What a broadcast set expects. Times are in s; a picture's centre counts from the leading edge of sync."""

    lines: int
    line_rate_hz: Fraction
    field_rate_hz: Fraction
    active: Fraction
    """Duration of the picture in a line."""
    centre: Fraction
    """From the leading edge of horizontal sync to the middle of the picture."""
    centre_share: Fraction
    """From the leading edge of vertical sync to the middle of the picture, of the field's lines."""


_ACTIVE_525, _ACTIVE_625 = (Fraction(samples, CLOCK_601_HZ.value) for samples in ANALOGUE_ACTIVE_SAMPLES.value)
# The centres are those of the named formats 480i and 576i.
_SYSTEM_525 = System(
    lines=525,
    line_rate_hz=Fraction(4_500_000, 286),
    field_rate_hz=Fraction(60_000, 1001),
    active=_ACTIVE_525,
    centre=Fraction(122 + 360, 13_500_000),
    centre_share=Fraction(2 * (3 + 15 + 120), 525),
)
_SYSTEM_625 = System(
    lines=625,
    line_rate_hz=Fraction(15_625),
    field_rate_hz=Fraction(50),
    active=_ACTIVE_625,
    centre=Fraction(132 + 360, 13_500_000),
    centre_share=Fraction(2 * (3 + 19 + 144), 625),
)
_BETWEEN_HZ = 55
"""Field rates below belong to 625 lines. A choice: the middle of 50 and 60 Hz."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A range with both ends in it."""

    low: Fraction
    high: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What the set and the output take. Times are in s. Every figure is common practice, no source."""

    line_rate_hz: tuple[Span, ...] = (
        Span(
            low=Fraction(SET_15K_LOWEST_LINE_RATE_HZ.value),
            high=Fraction(SET_15K_LINE_RATE_HZ.value),
        ),
    )
    field_rate_hz: Span = Span(low=Fraction(LOWEST_FIELD_RATE_HZ.value), high=Fraction(SET_15K_FIELD_RATE_HZ.value))
    front_porch: Fraction = Fraction(8, 10) * MICROSECOND
    sync: Fraction = Fraction(45, 10) * MICROSECOND
    back_porch: Fraction = Fraction(44, 10) * MICROSECOND
    active: Span = Span(low=51 * MICROSECOND, high=Fraction(535, 10) * MICROSECOND)
    """How long the picture may last in a line: what a set's width control takes up."""
    front_lines: int = 1
    sync_lines: int = 3
    back_lines: int = 12
    clock_min_hz: Fraction = Fraction(0)
    clock_step_hz: int = 10_000
    """10 kHz is what an EDID can say."""
    rate_tolerance: Fraction = Fraction(1, 200)
    """How far the field rate may be from what was asked, of it."""


def broadcast_system(field_rate: Fraction) -> System:
    """The broadcast system that a field rate in Hz belongs to."""
    return _SYSTEM_625 if field_rate < _BETWEEN_HZ else _SYSTEM_525


@dataclass(frozen=True, slots=True)
class _Request:
    width: int
    lines: int
    """Active ones of a field."""
    fields: int
    field_rate: Fraction
    limits: Limits

    @property
    def name(self) -> str:
        scan = "i" if self.fields == 2 else "p"
        return f"{self.width}x{self.lines * self.fields}{scan}@{float(self.field_rate):.6g}"


@dataclass(frozen=True, slots=True, order=True)
class _Found:
    """A scan, the best one least: nearest in line rate, then in field rate, then in the picture's duration."""

    line_error: Fraction
    field_error: Fraction
    active_error: Fraction
    clock_hz: int
    samples: int
    total_lines: int


def solve(width: int, height: int, field_rate: Fraction, *, interlaced: bool, limits: Limits) -> Timing:
    """The timing for a raster of `width` samples and `height` lines at about `field_rate` Hz (frames if progressive).

    Of all that keep to `limits` its line rate is the nearest to the broadcast system's; among equals its field rate is
    the nearest to what was asked, then its picture lasts the nearest to broadcast. Both syncs are negative.

    Raises:
        OutOfRangeError: no line rate and field rate of the set's scan so many lines.
        FormatError: no timing keeps to the limits; the message names the limit that prevents it and what to ask for.
    """
    check_raster(width, height, field_rate, interlaced)
    if limits.clock_step_hz < LEAST_CLOCK_STEP_HZ:
        raise FormatError(f"the clock's step must be at least 1 kHz, got {limits.clock_step_hz} Hz")
    request = _Request(width, field_lines(height, interlaced), 2 if interlaced else 1, field_rate, limits)
    spans = tuple(_rates(request))
    if not spans:
        raise OutOfRangeError(_vertical_reason(request), of_lines=_is_taken(request))
    clocks = _clocks(request)
    system = broadcast_system(field_rate)
    best = min(
        (found for lines, rates in spans for found in _scans(request, lines, rates, clocks, system)), default=None
    )
    if best is None:
        lowest = min(rates.low for _, rates in spans)
        kind = OutOfRangeError if lowest > SET_15K_LINE_RATE_HZ.value else FormatError
        raise kind(_horizontal_reason(request, spans))
    return _placed(request, best, system)


def _least_lines(request: _Request) -> int:
    limits = request.limits
    field = request.lines + limits.front_lines + limits.sync_lines + limits.back_lines
    return field if request.fields == 1 else 2 * field + 1


def _field_rates(request: _Request) -> Span:
    asked, tolerance, taken = request.field_rate, request.limits.rate_tolerance, request.limits.field_rate_hz
    return Span(low=max(asked * (1 - tolerance), taken.low), high=min(asked * (1 + tolerance), taken.high))


def _rates(request: _Request) -> Iterator[tuple[int, Span]]:
    """Every number of lines of a frame that the set can scan, with the line rates that it allows."""
    fields, field_rates = request.fields, _field_rates(request)
    if field_rates.low > field_rates.high or not _is_taken(request):
        return
    for taken in request.limits.line_rate_hz:
        lowest = max(_least_lines(request), math.ceil(fields * taken.low / field_rates.high))
        if fields == 2:
            lowest += 1 - lowest % 2
        for lines in range(lowest, math.floor(fields * taken.high / field_rates.low) + 1, fields):
            low = max(taken.low, field_rates.low * lines / fields)
            high = min(taken.high, field_rates.high * lines / fields)
            if low <= high:
                yield lines, Span(low=low, high=high)


def _is_taken(request: _Request) -> bool:
    taken = request.limits.field_rate_hz
    return taken.low <= request.field_rate <= taken.high


def _clocks(request: _Request) -> tuple[tuple[int, int], ...]:
    """Every clock in Hz at which the picture lasts as long as it may, with the fewest samples of a line."""
    limits, step = request.limits, request.limits.clock_step_hz
    lowest = max(request.width / limits.active.high, limits.clock_min_hz, Fraction(step))
    counts = range(math.ceil(lowest / step), math.floor(request.width / limits.active.low / step) + 1)
    return tuple((count * step, request.width + sum(_least_blanking(limits, count * step))) for count in counts)


def _least_blanking(limits: Limits, clock: int) -> tuple[int, int, int]:
    """Front porch, sync and back porch in samples; each at least one."""
    times = (limits.front_porch, limits.sync, limits.back_porch)
    front, sync, back = (max(1, math.ceil(time * clock)) for time in times)
    return front, sync, back


def _scans(
    request: _Request, lines: int, rates: Span, clocks: tuple[tuple[int, int], ...], system: System
) -> Iterator[_Found]:
    """For each clock the one or two numbers of samples whose line rate lies nearest to the system's."""
    target = system.line_rate_hz
    for clock, least in clocks:
        fewest = max(least, -(-clock * rates.high.denominator // rates.high.numerator))
        most = clock * rates.low.denominator // rates.low.numerator
        if fewest > most:
            continue
        below = clock * target.denominator // target.numerator
        for samples in {min(max(below, fewest), most), min(max(below + 1, fewest), most)}:
            rate = Fraction(clock, samples)
            yield _Found(
                line_error=abs(rate - target),
                field_error=abs(rate * request.fields / lines - request.field_rate),
                active_error=abs(Fraction(request.width, clock) - system.active),
                clock_hz=clock,
                samples=samples,
                total_lines=lines,
            )


def _placed(request: _Request, found: _Found, system: System) -> Timing:
    """With the picture where a broadcast picture lies, as far as the minima leave room."""
    limits, clock = request.limits, found.clock_hz
    least = _least_blanking(limits, clock)
    start = _nearest(system.centre * clock - Fraction(request.width, 2))
    h = _interval(request.width, found.samples, least, _nearest(NOMINAL_SYNC_US.value * MICROSECOND * clock), start)
    field = found.total_lines // request.fields
    start = _nearest(system.centre_share * field - Fraction(request.lines, 2))
    v = _interval(
        request.lines,
        field,
        (limits.front_lines, limits.sync_lines, limits.back_lines),
        BROADCAST_SYNC_LINES.value,
        start,
    )
    return timed(
        clock_hz=Fraction(clock),
        h=h,
        v=v,
        interlaced=request.fields == 2,
        polarity=(False, False),
        source=_SOURCE,
    )


def _interval(active: int, total: int, least: tuple[int, int, int], sync: int, start: int) -> Interval:
    """Blanking with the sync wanted and the picture beginning `start` after its leading edge, or as near as can be."""
    blank = total - active
    front_least, sync_least, back_least = least
    sync = max(sync_least, min(sync, blank - front_least - back_least))
    front = max(front_least, min(blank - start, blank - sync - back_least))
    return Interval(active=active, front_porch=front, sync=sync, back_porch=blank - sync - front)


def _nearest(value: Fraction) -> int:
    return math.floor(value + Fraction(1, 2))


# --- Why there is no timing ------------------------------------------------------------------------------


def _khz(rates: tuple[Span, ...]) -> str:
    return " or ".join(f"{float(rate.low) / 1000:g} to {float(rate.high) / 1000:g}" for rate in rates) + " kHz"


def _vertical_reason(request: _Request) -> str:
    limits, name = request.limits, request.name
    taken = limits.field_rate_hz
    if not _is_taken(request):
        return (
            f"{name}: the set's field rates are {float(taken.low):g} to {float(taken.high):g} Hz, asked is"
            f" {float(request.field_rate):.6g} Hz"
        )
    least = _least_lines(request)
    needed = request.field_rate * least / request.fields
    highest = max(rate.high for rate in limits.line_rate_hz)
    slowest = _field_rates(request).low
    if slowest * least / request.fields > highest:
        blanking = limits.front_lines + limits.sync_lines + limits.back_lines
        fit = _tallest(request, highest / slowest, request.fields)
        ways = [f"at most {fit} lines"] if fit else []
        slower = math.floor(10 * highest * request.fields / least) / 10
        if slower >= taken.low:
            ways.append(f"at most {slower:g} Hz")
        if request.fields == 1 and request.lines % 2 == 0 and request.lines <= _tallest(request, highest / slowest, 2):
            ways.append(f"interlace, {request.width}x{request.lines}i@{float(request.field_rate):.6g}")
        return (
            f"{name}: {least} lines a frame, {blanking} of them blank in each field, need a line rate of"
            f" {float(needed) / 1000:.3f} kHz, and the set's are {_khz(limits.line_rate_hz)}"
            f"{': ask for ' if ways else ''}{', or '.join(ways)}"
        )
    return (
        f"{name}: no whole number of lines gives a field rate within {float(100 * limits.rate_tolerance):g} % at the"
        f" set's line rates, {_khz(limits.line_rate_hz)}"
    )


def _tallest(request: _Request, field: Fraction, fields: int) -> int:
    """Active lines of a frame of `fields` fields that last `field` lines each."""
    limits = request.limits
    blanking = limits.front_lines + limits.sync_lines + limits.back_lines
    return max(0, fields * (math.floor(field - Fraction(fields - 1, 2)) - blanking))


def _horizontal_reason(request: _Request, spans: tuple[tuple[int, Span], ...]) -> str:
    limits, name = request.limits, request.name
    lasts = request.width / limits.clock_min_hz if limits.clock_min_hz else None
    if lasts is not None and lasts < limits.active.low:
        times = math.ceil(limits.active.low * limits.clock_min_hz / request.width)
        return (
            f"{name}: at the least clock, {float(limits.clock_min_hz) / 1e6:g} MHz, the picture would last"
            f" {float(lasts / MICROSECOND):.2f} us of the line, and {float(limits.active.low / MICROSECOND):g} are"
            f" wanted: ask for {times} times the width, {times * request.width} samples"
        )
    blanking = limits.front_porch + limits.sync + limits.back_porch
    longest = 1 / min(rates.low for _, rates in spans)
    if limits.active.low + blanking > longest:
        fast = 1 / longest > SET_15K_LINE_RATE_HZ.value
        return (
            f"{name}: porches and sync of at least {float(blanking / MICROSECOND):g} us leave"
            f" at most {float((longest - blanking) / MICROSECOND):.2f} us of the line for the picture, and"
            f" {float(limits.active.low / MICROSECOND):g} are wanted"
            f"{': this family is for sets of 15 kHz, cvt and gtf are for faster ones' if fast else ''}"
        )
    return (
        f"{name}: no clock in steps of {limits.clock_step_hz / 1000:g} kHz gives a line of whole samples within the"
        " limits: take more samples, a finer --clock-step or wider limits"
    )
