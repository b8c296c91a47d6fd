"""What is read off a waveform: its flat parts with their levels and times, and the sync at half amplitude.

A line is divided where its timing has the edges of sync and the ends of the picture; each of these edges is measured
near its own place, so that nothing in the picture can be taken for it. Within the picture a flat part is a run of equal
samples: the wave between them may ring for long beside a hard edge, and still has their level.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from analysis.waveform.interface import SYNC_KEY, Interface, TraceKind
from analysis.waveform.wave import Waveform, picture_samples
from patterns.formats import Format
from patterns.lines import timing_of
from patterns.sync import sync_of
from patterns.syncpulses import line_pulses, sync_rise

__all__ = ["EndBy", "Part", "beyond_samples_mv", "line_times", "overshoot_mv", "parts", "read_sync"]

Floats = NDArray[np.float64]

_SAME_MV = 0.02
"""Neighbouring samples of one level differ by less: rounding to 16 bits is 0.01 mV."""
_SPREAD_MV = 0.8
"""The most that a flat part may vary; levels that lie closer have no edge between them."""
_UNSETTLED_MV = 5.0
"""Outside the picture a part that varies by more in its middle half has no level; rings that reach there are less."""
_SHORTEST, _SHARE = 6, 100
"""A flat part has so many samples of its component, and at least this share (one in so many) of the active line: steps
of the codes along a ramp in a wide raster are shorter."""
_STEEP = 12
"""Samples of its component that an edge takes from a level to another at most."""
_BEYOND = 0.3
"""How far the samples of an edge may lie beyond its two levels, in parts of its height."""
_NEAR_US = 0.01
"""An end of the picture or an edge of sync lies so near to its place in the format's timing, or is no plain edge."""


class EndBy(StrEnum):
    """How the end of a part is known."""

    EDGE = "edge"
    """Measured: the half-amplitude point of its edge."""
    TIMING = "timing"
    """There is no edge, as where blanking meets a black or a moving picture: the format's own time."""
    NONE = "none"
    """The trace stops being flat without one edge to another level; the place is given, but no duration."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A flat part of a line with what it is: `sync`, `back porch`, `picture`, `front porch`, `blanking` or `pulse`."""

    name: str
    start_us: float
    stop_us: float
    start_by: EndBy
    stop_by: EndBy
    millivolts: float | None
    """None of a porch or a pulse that is too short to settle, as in rasters of few samples."""
    percent: float | None

    @property
    def duration_us(self) -> float | None:
        """None where an end is not known."""
        return None if EndBy.NONE in (self.start_by, self.stop_by) else self.stop_us - self.start_us


@dataclass(frozen=True, slots=True)
class SyncReading:
    """Horizontal sync at half amplitude: of its parts, in microseconds."""

    start_us: float
    stop_us: float
    period_us: float
    """From one leading edge (tri-level: middle) to the next."""


def crossings(times: Floats, values: Floats, level: float) -> Floats:
    """The times at which the values pass through `level`, between points by a straight line."""
    over = values > level
    at = np.flatnonzero(over[1:] != over[:-1])
    share = (level - values[at]) / (values[at + 1] - values[at])
    found: Floats = times[at] + share * (times[at + 1] - times[at])
    return found


def read_sync(wave: Waveform, kind: TraceKind) -> SyncReading | None:
    """The horizontal sync around 0H and the next one's, from a line's trace; None where it is not plain.

    A tri-level pulse counts from the start of its negative half to the end of its positive one.
    """
    interface: Interface = wave.interface
    times, values, timing = wave.times_us, wave.trace(kind), timing_of(wave.format)
    line_us = float(timing.h.total / timing.pixel_clock_hz * 10**6)
    sync_us = float(timing.h.sync / timing.pixel_clock_hz * 10**6)
    half = float(interface.sync_mv) / 2
    around = (times > -2.5 * sync_us) & (times < 2.5 * sync_us)
    downs = crossings(times[around], values[around], half)
    ups = crossings(times[around], values[around], -half)
    after = (times > line_us - 0.5 * sync_us) & (times < line_us + 0.5 * sync_us)
    if len(downs) != 2:
        return None
    if downs[0] > -0.5 * sync_us:
        following = crossings(times[after], values[after], half)
        return (
            SyncReading(float(downs[0]), float(downs[1]), float(following[0] - downs[0]))
            if len(following) == 1
            else None
        )
    middles = [crossings(times[part], values[part], 0.0) for part in ((abs(times) < 0.5 * sync_us), after)]
    plain = len(ups) == 2 and all(len(middle) == 1 for middle in middles)
    return SyncReading(float(downs[0]), float(ups[1]), float(middles[1][0] - middles[0][0])) if plain else None


@dataclass(frozen=True, slots=True)
class LineTimes:
    """When the parts of a line begin, in microseconds from its 0H, as its format has them.

    A tri-level pulse begins before 0H, with its negative half; the front porch ends there.
    """

    sync_start: float
    sync_stop: float
    active_start: float
    active_stop: float
    line: float


def line_times(fmt: Format) -> LineTimes:
    """The times of an ordinary line."""
    timing, sync = timing_of(fmt), sync_of(fmt)
    h = timing.h
    begin = h.sync + h.back_porch
    edges = (-sync.negative_half, h.sync, begin, begin + h.active, h.total)
    return LineTimes(*(float(samples / timing.pixel_clock_hz * 10**6) for samples in edges))


# --- The parts of a line -------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _End:
    """A place on the trace, and how it is known."""

    us: float
    by: EndBy


@dataclass(frozen=True, slots=True)
class _Run:
    """Equal samples from `start` to before `stop`, counted from the begin of the active line."""

    start: int
    stop: int
    millivolts: float


def parts(wave: Waveform, kind: TraceKind, line: int) -> tuple[Part, ...]:
    """The flat parts of a line's trace from its 0H (tri-level: from the begin of its sync) to the next one's.

    Blanking that goes over into a black picture is divided where the picture begins and ends.
    """
    begin, end = _active(wave, line)
    has_picture = wave.samples is not None and kind.key != SYNC_KEY
    runs = _runs(wave, kind) if has_picture else []
    cuts = _sync_cuts(wave, kind, line)
    if has_picture:
        cuts |= {begin: 0.0, end: 0.0}
    places = sorted(cuts)
    ends, before = [], 0.0
    for at in places:
        if has_picture and at in (begin, end):
            ends.append(_picture_end(wave, kind, at, runs, at == end))
        else:
            ends.append(_sync_edge(wave, kind, at, before, cuts[at]))
        before = cuts[at]
    found: list[Part] = []
    for (at, following), (start, stop) in zip(itertools.pairwise(places), itertools.pairwise(ends), strict=True):
        if has_picture and at == begin:
            found += _picture(wave, kind, runs, start, stop)
            continue
        name = _name(wave, kind, (at, following), cuts[at], (begin, end) if has_picture else None)
        unit = _unit_us(wave)
        found.append(_part(name, wave, kind, start, stop, _level(wave, kind, at * unit, following * unit)))
    return tuple(found)


def overshoot_mv(wave: Waveform, kind: TraceKind, line: int) -> float:
    """The most that the trace goes beyond a flat part of the picture and both beside it, as rings at an edge do."""
    found = parts(wave, kind, line)
    most = 0.0
    for i, part in enumerate(found):
        if part.name != "picture" or part.duration_us is None:
            continue
        low, high = np.searchsorted(wave.times_us, (part.start_us, part.stop_us))
        values = wave.trace(kind)[low:high]
        levels = [one.millivolts or 0.0 for one in found[max(0, i - 1) : i + 2]]
        most = max(most, float(values.max()) - max(levels), min(levels) - float(values.min()))
    return most


def beyond_samples_mv(wave: Waveform, kind: TraceKind) -> float:
    """The most that the trace of a line goes beyond all samples of its picture, and blanking; 0 without a picture."""
    if wave.samples is None or kind.key == SYNC_KEY:
        return 0.0
    times = line_times(wave.format)
    low, high = np.searchsorted(wave.times_us, (times.active_start, times.active_stop))
    values, samples = wave.trace(kind)[low:high], _samples(wave)[wave.traces.index(kind)]
    return max(
        float(values.max()) - max(0.0, float(samples.max())), min(0.0, float(samples.min())) - float(values.min())
    )


def _unit_us(wave: Waveform) -> float:
    """A luma sample in microseconds."""
    return 1e6 / float(timing_of(wave.format).pixel_clock_hz)


def _active(wave: Waveform, line: int) -> tuple[float, float]:
    """Begin and end of what is shown of the active line, in samples from 0H."""
    h = timing_of(wave.format).h
    begin = float(h.sync + h.back_porch)
    return begin, begin + picture_samples(wave.format, line)


def _sync_cuts(wave: Waveform, kind: TraceKind, line: int) -> dict[float, float]:
    """Where sync changes its level, in samples from 0H, with the level from there on in mV.

    The first place is the begin of the line's sync and the last that of the next line's, on every trace.
    """
    fmt, timing = wave.format, timing_of(wave.format)
    pulses = line_pulses(fmt, line)
    following = min(float(pulse.start) for pulse in line_pulses(fmt, line % timing.total_lines + 1))
    last = timing.h.total + following
    tip = -float(wave.interface.sync_mv)
    if not kind.has_sync:
        return {min(float(pulse.start) for pulse in pulses): 0.0, last: 0.0}
    starts = {float(pulse.start): pulse.level * tip for pulse in pulses}
    return {float(pulse.stop): 0.0 for pulse in pulses} | starts | {last: -tip}


def _part(name: str, wave: Waveform, kind: TraceKind, start: _End, stop: _End, level: float | None) -> Part:
    return Part(
        name=name,
        start_us=start.us,
        stop_us=stop.us,
        start_by=start.by,
        stop_by=stop.by,
        millivolts=level,
        percent=None if level is None else wave.interface.percent(kind, level),
    )


def _name(
    wave: Waveform, kind: TraceKind, place: tuple[float, float], level: float, active: tuple[float, float] | None
) -> str:
    """Of a part outside the picture; times in samples, `active` is where the picture lies, if there is one."""
    h = timing_of(wave.format).h
    start, stop = place
    if level:
        # Equalising and broad pulses stand at 0H too.
        return "sync" if stop - start == h.sync and -h.sync <= start <= 0 else "pulse"
    if active is None or not kind.has_sync or active[1] - active[0] < h.active:
        return "blanking"
    return "back porch" if stop <= active[0] else "front porch"


def _level(wave: Waveform, kind: TraceKind, start_us: float, stop_us: float) -> float | None:
    """The trace's level in the middle half of a time; None where it has none there."""
    quarter = (stop_us - start_us) / 4
    low, high = np.searchsorted(wave.times_us, (start_us + quarter, stop_us - quarter))
    values = wave.trace(kind)[low : max(high, low + 1)]
    return float(np.median(values)) if np.ptp(values) < _UNSETTLED_MV else None


def _crossing(wave: Waveform, kind: TraceKind, start_us: float, stop_us: float, level: float) -> float | None:
    """The one time at which the trace passes through a level; None where it does so never or more than once."""
    low, high = np.searchsorted(wave.times_us, (start_us, stop_us))
    found = crossings(wave.times_us[low:high], wave.trace(kind)[low:high], level)
    return float(found[0]) if len(found) == 1 else None


def _sync_edge(wave: Waveform, kind: TraceKind, at: float, before: float, after: float) -> _End:
    """An edge of sync at sample `at`, or on a trace without sync its place; levels in mV."""
    unit = _unit_us(wave)
    reach = float(sync_rise(wave.format)) * unit
    if not kind.has_sync or before == after:
        return _End(at * unit, EndBy.TIMING)
    found = _crossing(wave, kind, at * unit - reach, at * unit + reach, (before + after) / 2)
    if found is None or abs(found - at * unit) > _NEAR_US:
        # The picture's own edge reaches over a porch of a sample or two.
        return _End(at * unit, EndBy.NONE)
    return _End(found, EndBy.EDGE)


def _picture_end(wave: Waveform, kind: TraceKind, at: float, runs: list[_Run], is_stop: bool) -> _End:
    """Where the picture begins or stops, at sample `at` by the timing; measured where it is flat and not black."""
    unit = _unit_us(wave)
    place = _samples(wave).shape[1] if is_stop else 0
    run = next((run for run in runs if place in (run.start, run.stop)), None)
    if run is not None and abs(run.millivolts) >= _SPREAD_MV:
        reach = _SHORTEST * unit
        found = _crossing(wave, kind, at * unit - reach, at * unit + reach, run.millivolts / 2)
        if found is not None and abs(found - at * unit) < _NEAR_US:
            return _End(found, EndBy.EDGE)
    return _End(at * unit, EndBy.TIMING)


# --- Flat parts of the picture -------------------------------------------------------------------------


def _step(wave: Waveform, kind: TraceKind) -> int:
    """Luma samples between the samples that shape a trace: of a gun, those of colour difference in the file."""
    return 1 if kind.key in ("y", "luma") else wave.chroma_step


def _samples(wave: Waveform) -> Floats:
    """Those of the picture, (trace, sample): asked for only where the line has one."""
    assert wave.samples is not None
    return wave.samples


def _runs(wave: Waveform, kind: TraceKind) -> list[_Run]:
    """The runs of equal samples, those that nearly meet in level and meet in time taken as one."""
    values: Floats = _samples(wave)[wave.traces.index(kind)]
    shortest = max(_SHORTEST * _step(wave, kind), values.size // _SHARE)
    places = np.flatnonzero(np.abs(np.diff(values)) > _SAME_MV) + 1
    bounds = [0, *places.tolist(), values.size]
    found: list[_Run] = []
    for start, stop in itertools.pairwise(bounds):
        if stop - start < shortest or np.ptp(values[start:stop]) > _SPREAD_MV:
            continue
        level = float(np.median(values[start:stop]))
        if found and found[-1].stop == start and np.ptp(values[found[-1].start : stop]) < _SPREAD_MV:
            start = found.pop().start
            level = float(np.median(values[start:stop]))
        found.append(_Run(start, stop, level))
    return found


def _picture(wave: Waveform, kind: TraceKind, runs: list[_Run], begin: _End, end: _End) -> Iterator[Part]:
    """The flat parts of the picture."""
    h = timing_of(wave.format).h
    unit = _unit_us(wave)
    origin = h.sync + h.back_porch
    last = _samples(wave).shape[1]
    between = [_edge(wave, kind, one, two) for one, two in itertools.pairwise(runs)]
    for i, run in enumerate(runs):
        start = begin if run.start == 0 else between[i - 1] if i else None
        stop = end if run.stop == last else between[i] if i < len(between) else None
        yield _part(
            "picture",
            wave,
            kind,
            start or _End((origin + run.start) * unit, EndBy.NONE),
            stop or _End((origin + run.stop) * unit, EndBy.NONE),
            run.millivolts,
        )


def _edge(wave: Waveform, kind: TraceKind, before: _Run, after: _Run) -> _End | None:
    """Where the one steep edge from a flat part to the next is half-way; None where there is something else."""
    height = after.millivolts - before.millivolts
    most = _STEEP * _step(wave, kind)
    if abs(height) < _SPREAD_MV or after.start - before.stop > most:
        return None
    values = (_samples(wave)[wave.traces.index(kind)][before.stop : after.start] - before.millivolts) / height
    if values.size and (values.min() < -_BEYOND or values.max() > 1 + _BEYOND):
        return None
    h = timing_of(wave.format).h
    unit = _unit_us(wave)
    origin = h.sync + h.back_porch
    low = max(before.stop - most, (before.start + before.stop) / 2)
    high = min(after.start + most, (after.start + after.stop) / 2)
    middle = (before.millivolts + after.millivolts) / 2
    found = _crossing(wave, kind, (origin + low) * unit, (origin + high) * unit, middle)
    return None if found is None else _End(found, EndBy.EDGE)
