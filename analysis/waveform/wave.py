"""Lines of a frame as millivolts over time: samples through the reconstruction filter, sync added.

A sample lies in the middle of its clock period, so that the active line begins and ends where the format's timing says.
The edges of blanking have the shape of the patterns' own edges (143 ns in standard definition): a converter blanks so,
and an abrupt end of a bright line would ring. Colour subcarrier is not drawn.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.waveform.interface import SYNC_KEY, Interface, SignalKind, TraceKind
from patterns.formats import Format
from patterns.lines import FieldSpan, check_line, row_of, timing_of
from patterns.signal import Signal
from patterns.standards.timing import EDGE_HALF_DURATION_CHROMA, EDGE_HALF_DURATION_LUMA
from patterns.syncpulses import line_pulses, sync_rise
from render.quantise import Planes
from render.reconstruct import CHROMA, LUMA
from render.waves import sine_edge

__all__ = ["Source", "Waveform", "line_waveform", "picture_samples", "span_waveform"]

Floats = NDArray[np.float64]
"""Of a field or frame in single precision, see `_zeros`."""

LINE_POINTS, SPAN_POINTS = 16, 2
"""Points a luma sample, of a line and of whole fields. Even, so that one falls on each sample's middle."""
_TEN_TO_NINETY = 0.964
"""Rise of an integrated sine-squared from 10 to 90 %, of the half-amplitude duration of that sine-squared."""
_MORE = 4
"""Samples beyond the ends of the active line that the edge of blanking reaches to; even, for colour difference."""
_REACH = max(LUMA.reach, 2 * CHROMA.reach)
"""Luma samples beyond those that the filters reach to; even too."""
_BLOCK = 64
"""Lines whose picture is worked out at a time, for the sake of memory."""
_BEFORE = Fraction(2, 100)
"""Of a line, that is shown before the front porch of the line before and after the next sync."""


@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """A frame of a format: its planes of codes, and what the codes mean."""

    planes: Planes
    format: Format
    signal: Signal


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Drawing:
    """Which frame is drawn as which traces, and how finely."""

    source: Source
    interface: Interface
    traces: tuple[TraceKind, ...]
    points: int
    """For each luma sample."""


@dataclass(frozen=True, slots=True, eq=False)
class Waveform:
    """Traces over time. `start` is the first point, in luma samples from the reference 0H; `points` a sample.

    `millivolts` is an array (traces, points) in the order of `traces`. Of a line that carries a picture, `samples` are
    the same levels (traces, samples) before the filter and without blanking, colour difference held between its own
    samples, which stand every `chroma_step` luma samples.
    """

    format: Format
    interface: Interface
    traces: tuple[TraceKind, ...]
    start: Fraction
    points: int
    millivolts: Floats
    samples: Floats | None = None
    chroma_step: int = 1

    @property
    def times_us(self) -> Floats:
        """Microseconds from the reference 0H, of every point."""
        clock = timing_of(self.format).pixel_clock_hz
        steps = float(self.start) * self.points + np.arange(self.millivolts.shape[1])
        return np.asarray(steps * (1e6 / (self.points * float(clock))))

    def trace(self, kind: TraceKind) -> Floats:
        """The millivolts of one trace."""
        values: Floats = self.millivolts[self.traces.index(kind)]
        return values


def line_waveform(source: Source, interface: Interface, line: int, traces: Sequence[TraceKind] = ()) -> Waveform:
    """A line from a little before its front porch to a little after the next line's sync; times count from its 0H.

    `line` is the system's own number. `traces` are those wanted, else all.

    Raises:
        FormatError: the system has no such line.
    """
    check_line(source.format, line)
    h = timing_of(source.format).h
    more = math.ceil(h.total * _BEFORE)
    drawing = _drawing(source, interface, traces, LINE_POINTS)
    found = _cut(drawing, line, -h.front_porch - more, h.total + h.sync + more)
    row = row_of(source.format, line)
    if row is None:
        return found
    held = _held(source, interface, found.traces, row)[:, : picture_samples(source.format, line)]
    return replace(found, samples=held, chroma_step=source.signal.sampling.chroma_step[0])


def span_waveform(
    source: Source, interface: Interface, span: FieldSpan, more: int, traces: Sequence[TraceKind] = ()
) -> Waveform:
    """A field or frame, and `more` lines on both sides; times count from its start.

    Lines before the first and after the last are those of the frames beside, taken as equal to this one.
    """
    total = timing_of(source.format).h.total
    first = math.floor(span.start) + 1
    origin = (span.start - (first - 1)) * total
    begin = math.floor(origin) - more * total
    end = math.ceil(origin + (span.stop - span.start + more) * total)
    found = _cut(_drawing(source, interface, traces, SPAN_POINTS), first, begin, end)
    return replace(found, start=begin - origin)


def picture_samples(fmt: Format, line: int) -> int:
    """How many samples of the active line are shown: all but where a pulse of vertical sync stands among them.

    Of 625 lines interlaced, the last line of the second field ends with its first half.
    """
    h = timing_of(fmt).h
    begin = h.sync + h.back_porch
    within = [pulse.start for pulse in line_pulses(fmt, line) if begin < pulse.start < begin + h.active]
    return max(0, math.floor(min(within)) - h.front_porch - begin) if within else h.active


def _drawing(source: Source, interface: Interface, traces: Sequence[TraceKind], points: int) -> _Drawing:
    return _Drawing(source=source, interface=interface, traces=tuple(traces) or interface.traces, points=points)


def _cut(drawing: _Drawing, line: int, start: int, stop: int) -> Waveform:
    """From sample `start` to sample `stop`, counted from the 0H of `line`."""
    total, points = timing_of(drawing.source.format).h.total, drawing.points
    # A line more on both sides: filters and edges reach over.
    first, last = start // total - 1, -(-stop // total) + 1
    found = _lines(drawing, range(line + first, line + last))
    begin = (start - first * total) * points
    cut = found[:, begin : begin + (stop - start) * points]
    return Waveform(drawing.source.format, drawing.interface, drawing.traces, Fraction(start), points, cut)


def _lines(drawing: _Drawing, lines: range) -> Floats:
    """(traces, points) of whole lines from 0H to 0H.

    Numbers below 1 and above the last are those of the frames beside.
    """
    fmt, traces, points = drawing.source.format, drawing.traces, drawing.points
    timing = timing_of(fmt)
    numbers = [(number - 1) % timing.total_lines + 1 for number in lines]
    out = _zeros((len(traces), len(lines) * timing.h.total * points), points)
    carried = [
        _PictureLine(place=i, row=row, shown=picture_samples(fmt, number))
        for i, number in enumerate(numbers)
        if (row := row_of(fmt, number)) is not None
    ]
    for begin in range(0, len(carried), _BLOCK):
        _add_picture(out, drawing, carried[begin : begin + _BLOCK])
    if any(trace.has_sync for trace in traces):
        pulses = _pulses(fmt, numbers, points)
        pulses *= float(drawing.interface.sync_mv)
        for trace, values in zip(traces, out, strict=True):
            if trace.has_sync:
                values += pulses
    return out


def _zeros(shape: int | tuple[int, int], points: int) -> Floats:
    """Of a field or frame single: exact to 0.0001 mV, and a frame of the largest raster has sixty million points."""
    found: Any = np.zeros(shape, np.float32 if points == SPAN_POINTS else np.float64)
    return found  # type: ignore[no-any-return]


def _pulses(fmt: Format, numbers: list[int], points: int) -> Floats:
    """Sync of these lines: 1 where it is negative, -1 where it is positive."""
    total = timing_of(fmt).h.total
    out = _zeros(len(numbers) * total * points, points)
    reach = float(sync_rise(fmt)) / _TEN_TO_NINETY
    for i, number in enumerate(numbers):
        for pulse in line_pulses(fmt, number):
            begin, end = (i * total + float(edge) for edge in (pulse.start, pulse.stop))
            low = max(0, math.floor((begin - reach) * points))
            at = np.arange(low, min(len(out), math.ceil((end + reach) * points) + 1)) / points
            shape = sine_edge((at - begin) / reach) - sine_edge((at - end) / reach)
            out[low : low + len(at)] -= pulse.level * shape
    return out


# --- The picture ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _PictureLine:
    """A line that carries a picture."""

    place: int
    """Among the lines that are drawn."""
    row: int
    """Of the raster."""
    shown: int
    """Samples of it that are shown."""


def _add_picture(out: Floats, drawing: _Drawing, lines: Sequence[_PictureLine]) -> None:
    """Add the active parts of these lines to `out`, (traces, points)."""
    source, points = drawing.source, drawing.points
    timing = timing_of(source.format)
    waves = _components(source, [line.row for line in lines], [line.shown for line in lines], points)
    gate = waves.pop("gate")
    begin = timing.h.sync + timing.h.back_porch - _MORE - _REACH
    length = gate.shape[1]
    for trace, values in zip(drawing.traces, out, strict=True):
        if trace.key == SYNC_KEY:
            continue
        wave = _millivolts(waves, gate, trace, source.signal, drawing.interface)
        for line, part in zip(lines, wave, strict=True):
            at = (line.place * timing.h.total + begin) * points
            low, high = max(at, 0), min(at + length, len(values))
            if low < high:
                values[low:high] += part[low - at : high - at]


def _millivolts(
    waves: dict[str, Floats], gate: Floats, trace: TraceKind, signal: Signal, interface: Interface
) -> Floats:
    if trace.is_difference:
        return _component(waves, trace.key, signal) * float(interface.difference_mv)
    key = "y" if interface.signal is SignalKind.COMPOSITE else trace.key
    scale = float(interface.white_mv - interface.black_mv)
    # Setup lifts the picture only, not blanking.
    return _component(waves, key, signal) * scale + gate * float(interface.black_mv)


def _component(waves: dict[str, Floats], key: str, signal: Signal) -> Floats:
    """One of R'G'B' or Y'PbPr, by the matrix where the file has the other three."""
    if key in waves:
        return waves[key]
    kr, kb = (float(weight) for weight in signal.matrix.weights)
    kg = 1 - kr - kb
    if signal.sampling.is_rgb:
        luma = kr * waves["r"] + kg * waves["g"] + kb * waves["b"]
        if key == "y":
            return luma
        return (waves["b"] - luma) / (2 * (1 - kb)) if key == "pb" else (waves["r"] - luma) / (2 * (1 - kr))
    red = waves["y"] + 2 * (1 - kr) * waves["pr"]
    blue = waves["y"] + 2 * (1 - kb) * waves["pb"]
    return {"r": red, "b": blue, "g": (waves["y"] - kr * red - kb * blue) / kg}[key]


def _components(source: Source, rows: list[int], shown: list[int], points: int) -> dict[str, Floats]:
    """The file's components as fractions between samples, and the gate that blanks them: (lines, points).

    All begin `_MORE + _REACH` samples before the active line and end as far after it.
    """
    luma_gate = _gates(shown, source.format.width, 1, EDGE_HALF_DURATION_LUMA.value)
    waves = {"gate": _filtered(luma_gate, 1, points)}
    for key, across, values in _fractions(source, rows):
        gate = luma_gate
        if key in ("pb", "pr"):
            gate = _gates(shown, source.format.width, across, EDGE_HALF_DURATION_CHROMA.value)
        more = _MORE // across
        # Beyond the active line its last sample goes on, while blanking closes.
        wide = np.pad(values, ((0, 0), (more, gate.shape[1] - values.shape[1] - more)), mode="edge")
        waves[key] = _filtered(wide * gate, across, points)
    return waves


def _held(source: Source, interface: Interface, traces: Sequence[TraceKind], row: int) -> Floats:
    """The levels of the traces at every luma sample of a row, neither filtered nor blanked: (traces, samples)."""
    width = source.format.width
    waves = {key: np.repeat(values, across, axis=1)[:, :width] for key, across, values in _fractions(source, [row])}
    picture = np.ones((1, width))
    none = np.zeros((1, width))
    return np.concatenate(
        [
            none if kind.key == SYNC_KEY else _millivolts(waves, picture, kind, source.signal, interface)
            for kind in traces
        ]
    )


def _fractions(source: Source, rows: list[int]) -> Iterator[tuple[str, int, Floats]]:
    """Key, distance of the samples in luma samples, and fractions (lines, samples) of each of the file's components."""
    signal = source.signal
    keys = ("r", "g", "b") if signal.sampling.is_rgb else ("y", "pb", "pr")
    step, down = signal.sampling.chroma_step
    for i, key in enumerate(keys):
        codes = source.planes[i][_chroma_rows(source, rows) if i and down > 1 else rows]
        zero = signal.fraction_of(i, 0)
        yield key, step if i else 1, zero + (signal.fraction_of(i, 1) - zero) * codes


def _chroma_rows(source: Source, rows: list[int]) -> list[int]:
    """The rows of a 4:2:0 chroma plane that lie nearest, in the same field."""
    fields = source.format.fields_per_frame
    return [row // fields // 2 * fields + row % fields for row in rows]


def _gates(shown: list[int], width: int, step: int, half: int) -> Floats:
    """0 in blanking, 1 in the picture, at every `step`-th sample from `_MORE` before the active line: (lines, samples).

    `half` is the half-amplitude duration of the edge's sine-squared, in luma samples.
    """
    count = -(-(width + 2 * _MORE) // step)
    at = step * np.arange(count) - _MORE + 0.5
    ends = np.asarray(shown, np.float64)[:, None]
    return np.asarray(sine_edge(at / half) - sine_edge((at - ends) / half))


def _filtered(values: Floats, step: int, points: int) -> Floats:
    """The wave of samples that stand every `step` luma samples."""
    lowpass = CHROMA if step > 1 else LUMA
    reach = _REACH // step
    wave = lowpass.between(np.pad(values, ((0, 0), (reach, reach))), points * step)
    if step == 1:
        return wave
    # A chroma sample stands with the first of its luma samples, not in the middle of its own period.
    late = (step - 1) * points // 2
    shifted = np.zeros_like(wave)
    shifted[:, : wave.shape[1] - late] = wave[:, late:]
    return shifted
