"""What is read off a waveform: its flat parts with their levels and times, and the sync at half amplitude."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.scope.interface import SYNC_KEY, Interface, TraceKind
from analysis.scope.waveform import Waveform, picture_samples
from patterns.formats import Format
from patterns.lines import row_of, timing_of
from patterns.sync import sync_of
from patterns.syncpulses import line_pulses

__all__ = ["Flat", "LineTimes", "Part", "SyncReading", "crossings", "flats", "line_times", "parts", "read_sync"]

Floats = NDArray[np.float64]

_SPREAD_MV = 0.8
"""The most that a flat part may vary within `_WINDOW` samples."""
_WINDOW, _SHORTEST = 3, 2
"""In luma samples: what is looked at at once, and the shortest run of it. The front porch of 625 lines has no more."""
_NEAR, _STEEP = 64, 12
"""In luma samples: the most between two flat parts that share an edge, and the most from its 20 to its 80 %."""


@dataclass(frozen=True, slots=True)
class Flat:
    """A flat part of a trace, between the half-amplitude points of its edges where it has some."""

    start_us: float
    stop_us: float
    millivolts: float
    percent: float

    @property
    def duration_us(self) -> float:
        return self.stop_us - self.start_us


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


def flats(wave: Waveform, kind: TraceKind) -> tuple[Flat, ...]:
    """The flat parts of a trace in order, from the first to the last point that is shown."""
    values, times = wave.trace(kind), wave.times_us
    runs = list(_runs(_is_flat(values, _WINDOW * wave.points), _SHORTEST * wave.points))
    levels = [float(np.median(values[a:b])) for a, b in runs]
    begins, ends = [float(times[a]) for a, _ in runs], [float(times[b - 1]) for _, b in runs]
    for i in range(len(runs) - 1):
        between = slice(runs[i][1] - 1, runs[i + 1][0] + 1)
        if between.stop - between.start <= _NEAR * wave.points:
            edge = _edge(
                times[between], values[between], levels[i], levels[i + 1], times[_STEEP * wave.points] - times[0]
            )
            if edge is not None:
                ends[i] = begins[i + 1] = edge
    parts = zip(begins, ends, levels, strict=True)
    return tuple(Flat(a, b, level, wave.interface.percent(kind, level)) for a, b, level in parts)


def _edge(times: Floats, values: Floats, before: float, after: float, longest: float) -> float | None:
    """Where one steep edge from a level to another is half-way; None where there is something else."""
    if abs(after - before) < _SPREAD_MV:
        return None
    low, middle, high = (crossings(times, values, before + share * (after - before)) for share in (0.2, 0.5, 0.8))
    if len(middle) != 1 or not len(low) or not len(high) or high[0] - low[0] > longest:
        return None
    return float(middle[0])


def _is_flat(values: Floats, window: int) -> NDArray[np.bool_]:
    """Whether the values around each point, half of `window` to each side, hold their level."""
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    size = window | 1
    spread = maximum_filter1d(values, size, mode="nearest") - minimum_filter1d(values, size, mode="nearest")
    return np.asarray(spread < _SPREAD_MV)


def _runs(true: NDArray[np.bool_], shortest: int) -> Iterator[tuple[int, int]]:
    """Begin and end of each run of at least so many."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], true, [False]]).astype(np.int8)))
    for a, b in edges.reshape(-1, 2):
        if b - a >= shortest:
            yield int(a), int(b)


def read_sync(wave: Waveform, kind: TraceKind) -> SyncReading | None:
    """The horizontal sync around 0H and the next one's, from a line's trace; None where it is not plain.

    A tri-level pulse is told from the begin of its negative half to the end of its positive one.
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
    assert sync is not None
    h = timing.h
    begin = h.sync + h.back_porch
    edges = (-sync.negative_half, h.sync, begin, begin + h.active, h.total)
    return LineTimes(*(float(samples / timing.pixel_clock_hz * 10**6) for samples in edges))


@dataclass(frozen=True, slots=True)
class Part:
    """A flat part of a line with what it is: `sync`, `back porch`, `picture`, `front porch`, `blanking` or `pulse`."""

    name: str
    flat: Flat


def parts(wave: Waveform, kind: TraceKind, line: int) -> tuple[Part, ...]:
    """The flat parts of a line's trace from its 0H (tri-level: from the begin of its sync) to the next one's.

    Blanking that goes over into a black picture is divided where the picture begins and ends.
    """
    fmt, h = wave.format, timing_of(wave.format).h
    unit = 1e6 / float(timing_of(fmt).pixel_clock_hz)
    begin = (h.sync + h.back_porch) * unit
    end = begin + picture_samples(fmt, line) * unit
    first = min(float(pulse.start) for pulse in line_pulses(fmt, line)) * unit
    last = h.total * unit + min(first, 0.0)
    has_picture = row_of(fmt, line) is not None
    cuts = [first, last, *((begin, end) if has_picture and kind.key != SYNC_KEY else ())]
    found = []
    for flat in flats(wave, kind):
        for piece in _divided(flat, cuts, _SHORTEST * unit / 2):
            middle = (piece.start_us + piece.stop_us) / 2
            if first - unit / 4 < middle < last:
                found.append(Part(_name(middle, piece, wave, kind, has_picture, (begin, end)), piece))
    return tuple(found)


def _divided(flat: Flat, cuts: list[float], least: float) -> Iterator[Flat]:
    """The flat in pieces; none is shorter than `least`."""
    start = flat.start_us
    for cut in sorted(cuts):
        if start + least < cut < flat.stop_us - least:
            yield replace(flat, start_us=start, stop_us=cut)
            start = cut
    yield replace(flat, start_us=start)


def _name(
    middle: float, flat: Flat, wave: Waveform, kind: TraceKind, has_picture: bool, picture: tuple[float, float]
) -> str:
    begin, end = picture
    has_picture = has_picture and kind.key != SYNC_KEY
    if has_picture and begin < middle < end:
        return "picture"
    h = timing_of(wave.format).h
    sync_us = float(h.sync / timing_of(wave.format).pixel_clock_hz * 10**6)
    if abs(flat.millivolts) > abs(float(wave.interface.sync_mv)) / 2:
        return "sync" if abs(middle) <= sync_us else "pulse"
    is_porch = has_picture and kind.has_sync and end > line_times(wave.format).active_stop - sync_us / 8
    if not is_porch:
        return "blanking"
    return "back porch" if middle < begin else "front porch"
