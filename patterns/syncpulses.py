"""The sync of every line as pulses in time: horizontal, equalising and broad pulses, bi-level or tri-level.

Shapes of vertical sync are from memory of SMPTE 170M, BT.1700, 293M, ST 274 and ST 296. A computer's sync is drawn as
green carries it: negative, both syncs combined, with a gap in each line of vertical sync.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.formats import Family, Format
from patterns.lines import sync_start, timing_of
from patterns.standards.timing import (
    BROAD_720,
    BROAD_1080,
    EQUALISING_525_US,
    EQUALISING_625_US,
    EQUALISING_PULSES,
    SERRATION_US,
    SYNC_RISE_525_NS,
    SYNC_RISE_625_NS,
    SYNC_RISE_HD_CLOCKS,
    SYNC_RISE_P_NS,
    SYNC_RISE_SHARE,
)
from patterns.sync import SyncKind, sync_of

__all__ = ["SyncPulse", "equalising_count", "line_pulses", "sync_rise"]


@dataclass(frozen=True, slots=True)
class SyncPulse:
    """A pulse between its half-amplitude points, in luma samples from the 0H of its line; `level` is -1 or 1."""

    start: Fraction
    stop: Fraction
    level: int


def sync_rise(fmt: Format) -> Fraction:
    """Duration of an edge of sync from 10 to 90 %, in luma samples."""
    timing = timing_of(fmt)
    if fmt.family is Family.HD:
        return Fraction(SYNC_RISE_HD_CLOCKS.value)
    if fmt.family is Family.COMPUTER:
        return timing.h.sync * SYNC_RISE_SHARE.value
    slow = SYNC_RISE_525_NS if fmt.family is Family.SD525 else SYNC_RISE_625_NS
    rise = slow if timing.is_15k else SYNC_RISE_P_NS
    return rise.value * timing.pixel_clock_hz / 10**9


def equalising_count(fmt: Format) -> int:
    """Equalising pulses before and after each vertical sync; 0 where there are none."""
    if not fmt.interlaced or fmt.family not in (Family.SD525, Family.SD625):
        return 0
    return EQUALISING_PULSES.value[fmt.family is Family.SD625]


def line_pulses(fmt: Format, line: int) -> tuple[SyncPulse, ...]:
    """The pulses that belong to `line`, in order; one that is tri-level begins before 0H."""
    return _interlaced(fmt, line) if fmt.interlaced else _progressive(fmt, line)


def _horizontal(fmt: Format, at: Fraction) -> tuple[SyncPulse, ...]:
    """A line's own sync at `at`."""
    sync, width = sync_of(fmt), timing_of(fmt).h.sync
    if sync.kind is SyncKind.TRI_LEVEL:
        return SyncPulse(at - sync.negative_half, at, -1), SyncPulse(at, at + width, 1)
    return (SyncPulse(at, at + width, -1),)


def _progressive(fmt: Format, line: int) -> tuple[SyncPulse, ...]:
    timing = timing_of(fmt)
    # Sync that begins before line 1 belongs to the last lines of the frame before.
    within = (line - 1 - sync_start(fmt, 1)) % timing.total_lines < timing.v.sync
    own = _horizontal(fmt, Fraction(0))
    if not within:
        return own
    if fmt.family is Family.HD:
        start, length = BROAD_720.value if fmt.height == 720 else BROAD_1080.value[:2]
        return (*own, SyncPulse(Fraction(start), Fraction(start + length), -1))
    return (SyncPulse(Fraction(0), Fraction(timing.h.total - timing.h.sync), -1),)


def _interlaced(fmt: Format, line: int) -> tuple[SyncPulse, ...]:
    return tuple(pulse for half in (0, 1) for pulse in _half_line(fmt, 2 * (line - 1) + half))


def _half_line(fmt: Format, index: int) -> tuple[SyncPulse, ...]:
    """The pulses that begin with half-line `index` of the frame, counted from 0; from the 0H of its line."""
    timing = timing_of(fmt)
    half = Fraction(timing.h.total, 2)
    at = half * (index % 2)
    equalising = equalising_count(fmt)
    broad = equalising or 2 * timing.v.sync
    for field in (1, 2):
        # How many half-lines after the begin of this field's first broad pulse.
        after = (index - int(2 * sync_start(fmt, field)) + equalising) % (2 * timing.total_lines) - equalising
        if 0 <= after < broad:
            return _broad(fmt, at)
        if fmt.family is Family.HD and after == broad:
            # The last broad pulse ends as each of them does, with a sync pulse.
            return _horizontal(fmt, at)
        if -equalising <= after < broad + equalising:
            return (SyncPulse(at, at + _samples(fmt, _equalising_us(fmt)), -1),)
    return _horizontal(fmt, at) if index % 2 == 0 else ()


def _broad(fmt: Format, at: Fraction) -> tuple[SyncPulse, ...]:
    timing = timing_of(fmt)
    if fmt.family is Family.HD:
        start, _, length = BROAD_1080.value
        return (*_horizontal(fmt, at), SyncPulse(at + start, at + start + length, -1))
    gap = Fraction(timing.h.sync) if not equalising_count(fmt) else _samples(fmt, SERRATION_US.value)
    return (SyncPulse(at, at + Fraction(timing.h.total, 2) - gap, -1),)


def _equalising_us(fmt: Format) -> Fraction:
    lines_525 = fmt.family is Family.SD525
    return (EQUALISING_525_US if lines_525 else EQUALISING_625_US).value


def _samples(fmt: Format, microseconds: Fraction) -> Fraction:
    return microseconds * timing_of(fmt).pixel_clock_hz / 10**6
