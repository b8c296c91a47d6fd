"""Plots of a waveform that hold on paper, in grey and for every kind of colour vision: one black trace a panel.

Levels and times are written at the trace itself.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from analysis.drawing.plots import BLUE, INK, ORANGE, PLATE, RULE, SOFT, Plot, plot_sheet, plot_style, with_minus
from analysis.waveform.interface import SYNC_KEY, Interface, TraceKind
from analysis.waveform.reading import Part, line_times, parts
from analysis.waveform.wave import Waveform, picture_samples
from patterns.lines import row_of, sync_start, timing_of
from patterns.sync import SyncKind, sync_of
from patterns.syncpulses import equalising_count, line_pulses

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["line_plot", "span_plot"]

Floats = NDArray[np.float64]

_SMALL = 7.5
"""Type of the labels at a trace, in points."""
_INCH_MV = 560.0
"""Millivolts that an inch of height shows."""
_CHARACTER = 0.062
"""Width of a character of a label, in inches, with some room."""
_PANEL = 6.35
"""Width of the panels, in inches, about."""
_BELOW, _LABEL, _TIMES = 0.12, 0.3, 0.5
"""Room in a panel below the lowest level, above the highest for a label, and for labels and times; in inches."""
_DENSITY_MV = 5.0
"""Height of the cells in which a field's brightness on the screen is counted."""
_BEFORE, _AFTER = 2, 3
"""Lines that are shown before and after vertical sync and its equalising pulses."""


def line_plot(wave: Waveform, line: int, title: str, note: str) -> Plot:
    """A line, a panel for each trace, with the level of every flat part and the times of the line."""

    with plot_style():
        heights = [_height(wave, kind, _LABEL) for kind in wave.traces]
        heights[0] += _TIMES - _LABEL
        figure, panels = plot_sheet(
            title,
            note,
            sum(heights) + 0.5,
            len(heights),
            down=True,
            sharex=True,
            gridspec_kw={"height_ratios": heights},
        )
        for kind, axes in zip(wave.traces, panels, strict=True):
            found = parts(wave, kind, line)
            axes.plot(wave.times_us, wave.trace(kind), color=INK, linewidth=0.9)
            _level_axes(axes, wave, kind, _TIMES if kind is wave.traces[0] else _LABEL)
            _label_parts(axes, wave, kind, found)
        _label_times(panels[0], wave, _marks(wave, line))
        panels[-1].set_xlabel("microseconds from 0H, the leading edge of sync" + _middle(wave))
        panels[-1].set_xlim(float(wave.times_us[0]), float(wave.times_us[-1]))
    return Plot("scope-line", title, figure)


def span_plot(wave: Waveform, span: str, start: float, title: str, note: str) -> Plot:
    """A field or frame: all of it as the band that it fills on a screen, and each vertical sync with its pulses.

    `span` is "field" or "frame"; `start` is the line, from the start of line 1, at which time is 0.
    """

    with_sync = next((kind for kind in wave.traces if kind.has_sync), None)
    syncs = _syncs_within(wave, start) if with_sync else []
    with plot_style():
        count = len(wave.traces)
        heights = [*[1.7] * count, *[1.9] * len(syncs)]
        figure, panels = plot_sheet(
            title,
            note,
            sum(heights) + 0.5 * len(heights) + 0.3,
            len(heights),
            down=True,
            gridspec_kw={"height_ratios": heights},
        )
        for kind, axes in zip(wave.traces, panels, strict=False):
            _band(axes, wave, kind, start)
        panels[count - 1].set_xlabel(f"line, and below it milliseconds from the {span}'s start")
        for (begin, end), axes in zip(syncs, panels[count:], strict=True):
            assert with_sync is not None
            _pulses(axes, wave, with_sync, start, begin, end)
            panels[-1].set_xlabel("line, at its 0H")
    return Plot("scope-field", title, figure)


def _middle(wave: Waveform) -> str:
    sync = sync_of(wave.format)
    return " (tri-level: its middle)" if sync.kind is SyncKind.TRI_LEVEL else ""


# --- Axes and levels -----------------------------------------------------------------------------------


def _levels(wave: Waveform, kind: TraceKind) -> list[tuple[float, str]]:
    """The levels that the system names for this trace."""
    interface: Interface = wave.interface
    found = [(0.0, "blanking 0")]
    sync = float(interface.sync_mv)
    if kind.is_difference:
        peak = float(interface.difference_mv) / 2
        return [(peak, f"{peak:.0f}"), (0.0, "0"), (-peak, f"−{peak:.0f}")]
    if kind.key != SYNC_KEY:
        found.append((float(interface.white_mv), f"white {_short(interface.white_mv)}"))
        if interface.black_mv:
            found.append((float(interface.black_mv), f"black {_short(interface.black_mv)}"))
    if kind.has_sync:
        found.append((sync, f"sync −{_short(-interface.sync_mv)}"))
        if _middle(wave):
            found.append((-sync, f"sync {_short(-interface.sync_mv)}"))
    return found


def _short(value: Any) -> str:
    return f"{float(value):.1f}".removesuffix(".0")


def _reach(wave: Waveform, kind: TraceKind) -> tuple[float, float]:
    """Lowest and highest of what a panel shows, in mV, without room for labels."""
    values = wave.trace(kind)
    levels = [level for level, _ in _levels(wave, kind)]
    return min(float(values.min()), *levels), max(float(values.max()), *levels)


def _height(wave: Waveform, kind: TraceKind, above: float) -> float:
    low, high = _reach(wave, kind)
    return (high - low) / _INCH_MV + _BELOW + above


def _level_axes(axes: Axes, wave: Waveform, kind: TraceKind, above: float) -> None:
    """Limits, and the named levels as ticks and rules; `above` is the room over the highest, in inches."""
    low, high = _reach(wave, kind)
    axes.set_ylim(low - _BELOW * _INCH_MV, high + above * _INCH_MV)
    axes.set_ylabel(f"{kind.name}, mV")
    axes.grid(False)
    levels = _levels(wave, kind)
    axes.set_yticks([level for level, _ in levels], [text for _, text in levels], fontsize=_SMALL)
    if wave.interface.black_mv:
        # Blanking and black lie close together.
        for label in axes.get_yticklabels():
            if label.get_text().startswith("black"):
                label.set_verticalalignment("bottom")
            elif label.get_text().startswith("blanking"):
                label.set_verticalalignment("top")
    for level, _ in levels:
        axes.axhline(level, color=RULE, linewidth=0.7, zorder=0)


def _label_parts(axes: Axes, wave: Waveform, kind: TraceKind, found: Sequence[Part]) -> None:
    """Level and percentage above each flat part of the picture that has room for them."""
    span = float(wave.times_us[-1] - wave.times_us[0])
    inch = span / _PANEL
    for part in found:
        if part.name != "picture" or part.millivolts is None:
            continue
        texts = (f"{part.millivolts:.1f}".replace("-0.0", "0.0"), f"{part.percent:.1f} %".replace("-0.0", "0.0"))
        if max(map(len, texts)) * _CHARACTER * inch > part.stop_us - part.start_us + 0.1 * inch:
            continue
        middle = (part.start_us + part.stop_us) / 2
        # Below a high part there is nothing; above a low one neither.
        axes.text(
            middle,
            part.millivolts + 0.05 * _INCH_MV,
            with_minus("\n".join(texts)),
            ha="center",
            va="bottom",
            fontsize=_SMALL,
            color=INK,
            linespacing=1.1,
            # A rule behind the figures would strike them through.
            bbox=PLATE,
        )


_Mark = tuple[str, float, float, str]
"""A time of the line above the first panel: its name, begin and end in microseconds, where its words stand."""


def _marks(wave: Waveform, line: int) -> list[_Mark]:
    """The times of the line; where it has no picture or half of one, its pulses and what there is of the picture."""
    fmt, times = wave.format, line_times(wave.format)
    if row_of(fmt, line) is not None and picture_samples(fmt, line) == timing_of(fmt).h.active:
        return [
            # Short ones have their words beside them: to the left, to the right.
            ("sync", times.sync_start, times.sync_stop, "right"),
            ("back porch", times.sync_stop, times.active_start, "left"),
            ("active line", times.active_start, times.active_stop, "center"),
            ("front porch", times.active_stop, times.line + times.sync_start, "right"),
        ]
    unit = 1e6 / float(timing_of(fmt).pixel_clock_hz)
    found: list[_Mark] = []
    for pulse in line_pulses(fmt, line):
        start, stop = float(pulse.start) * unit, float(pulse.stop) * unit
        if found and found[-1][2] == start:
            # Both halves of a tri-level pulse are one.
            start = found.pop()[1]
        is_sync = pulse.stop == timing_of(fmt).h.sync
        found.append(
            ("sync" if is_sync else "pulse", start, stop, "left" if stop - start < times.line / 8 else "center")
        )
    if row_of(fmt, line) is not None:
        found.append(("picture", times.active_start, times.active_start + picture_samples(fmt, line) * unit, "center"))
    return found


def _label_times(axes: Axes, wave: Waveform, marks: list[_Mark]) -> None:
    """The times of the line as distances above the first panel."""
    top = axes.get_ylim()[1]
    gap = 0.03 * float(wave.times_us[-1] - wave.times_us[0]) / _PANEL
    ends = {"right": (1.0, -gap), "left": (0.0, gap), "center": (0.5, 0.0)}
    for name, start, stop, flush in marks:
        for edge in (start, stop):
            axes.axvline(edge, color=RULE, linewidth=0.7, linestyle=(0, (4, 3)), zorder=0)
        axes.plot([start, stop], [top, top], color=SOFT, linewidth=0.8, marker="|", markersize=7, clip_on=False)
        axes.text(
            start + ends[flush][0] * (stop - start) + ends[flush][1],
            top + 0.06 * _INCH_MV,
            f"{name} {stop - start:.3f} µs",
            ha=flush,
            va="bottom",
            fontsize=_SMALL,
            color=SOFT,
        )


# --- Fields --------------------------------------------------------------------------------------------


def _band(axes: Axes, wave: Waveform, kind: TraceKind, start: float) -> None:
    """How long the trace stays at each level in each line, as the brightness of a screen would show it."""
    timing = timing_of(wave.format)
    step = timing.h.total * wave.points
    values = wave.trace(kind)
    count = len(values) // step
    low, high = _reach(wave, kind)
    low, high = low - 0.1 * _INCH_MV, high + 0.1 * _INCH_MV
    cells = math.ceil((high - low) / _DENSITY_MV)
    # A line at a time: a frame of the largest raster has twenty million points.
    hits = [
        np.bincount(((line - low) / (high - low) * cells).astype(np.int64), minlength=cells)
        for line in values[: count * step].reshape(count, step)
    ]
    shade = np.log1p(np.array(hits).T)
    first = _line_at(wave, start, 0)
    axes.imshow(
        shade,
        cmap="Greys",
        vmin=0,
        vmax=0.7 * float(shade.max()),
        extent=(first, first + count, low, high),
        origin="lower",
        aspect="auto",
        interpolation="nearest",
        zorder=1,
    )
    axes.set_ylabel(f"{kind.name}, mV")
    axes.grid(False)
    levels = _levels(wave, kind)
    axes.set_yticks([level for level, _ in levels], [text for _, text in levels], fontsize=_SMALL)
    line_ms = 1000 / float(timing.line_rate_hz)
    ticks = [float(tick) for tick in axes.get_xticks() if max(first, start + 1) <= tick <= first + count]
    words = [f"{_number(tick, timing.total_lines)}\n{(tick - 1 - start) * line_ms:.2f} ms" for tick in ticks]
    axes.set_xticks(ticks, words)


def _number(line: float, total: int) -> str:
    return str((math.floor(line) - 1) % total + 1)


def _line_at(wave: Waveform, start: float, point: int) -> float:
    """The line number, with its fraction, of a point; it runs on beyond the frame's last."""
    return start + 1 + float(wave.start + Fraction(point, wave.points)) / timing_of(wave.format).h.total


def _syncs_within(wave: Waveform, start: float) -> list[tuple[float, float]]:
    """Begin and end, in lines as `_line_at` counts them, of every vertical sync that the span holds."""
    fmt = wave.format
    timing = timing_of(fmt)
    low, high = _line_at(wave, start, 0), _line_at(wave, start, wave.millivolts.shape[1] - 1)
    found = []
    for field in range(1, fmt.fields_per_frame + 1):
        equalising = equalising_count(fmt)
        length = equalising / 2 if equalising else timing.v.sync
        for turn in (-1, 0, 1):
            begin = 1 + float(sync_start(fmt, field)) + turn * timing.total_lines
            if low <= begin - equalising / 2 and begin + length + equalising / 2 <= high:
                found.append((begin - equalising / 2, begin + length + equalising / 2))
    # At both ends of a frame the same one is seen.
    return sorted(found)[: fmt.fields_per_frame]


def _pulses(axes: Axes, wave: Waveform, kind: TraceKind, start: float, begin: float, end: float) -> None:
    origin, a_line = _line_at(wave, start, 0), timing_of(wave.format).h.total * wave.points
    last = wave.millivolts.shape[1] - 1
    low, high = max(begin - _BEFORE, origin), min(end + _AFTER, _line_at(wave, start, last))
    part = slice(round((low - origin) * a_line), round((high - origin) * a_line) + 1)
    at = origin + np.arange(part.start, part.stop) / a_line
    axes.plot(at, wave.trace(kind)[part], color=INK, linewidth=0.8)
    _level_axes(axes, wave, kind, _LABEL)
    axes.set_xlim(low, high)
    total = timing_of(wave.format).total_lines
    ticks = list(range(math.ceil(low), math.floor(high) + 1))
    step = max(1, len(ticks) // 14)
    axes.set_xticks(ticks[::step], [_number(tick, total) for tick in ticks[::step]])
    for tick in ticks:
        axes.axvline(tick, color=RULE, linewidth=0.6, linestyle=(0, (4, 3)), zorder=0)
    equalising = equalising_count(wave.format) / 2
    for name, left, right, ink in (
        ("equalising", begin, begin + equalising, BLUE),
        ("vertical sync", begin + equalising, end - equalising, ORANGE),
        ("equalising", end - equalising, end, BLUE),
    ):
        if right > left:
            top = axes.get_ylim()[1] - 0.2 * _INCH_MV
            axes.plot([left, right], [top, top], color=ink, linewidth=2.5, solid_capstyle="butt")
            axes.text(
                (left + right) / 2,
                top + 0.03 * _INCH_MV,
                f"{name}, {right - left:g} lines",
                ha="center",
                va="bottom",
                fontsize=_SMALL,
            )
