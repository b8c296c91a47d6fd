"""Small waveforms for the cue sheet: the luma of one line as an SVG of a few kilobytes."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.waveform.interface import SignalKind, interface_of
from analysis.waveform.reading import line_times
from analysis.waveform.wave import Source, line_waveform
from patterns.lines import line_of
from render.raster import draw_frame
from trueraster.kit.plan import Item

__all__ = ["WITH_WAVE", "wave_svg"]

WITH_WAVE = ("bars", "steps", "multiburst", "pulse-bar")
"""Patterns that an oscilloscope tells more of than the eye."""

_WIDTH, _LEFT = 320, 40
"""Of the drawing and of the room for the levels' names, in its own units."""
_MV_UNIT, _EDGE = 10.0, 6
"""Millivolts that one unit is high, and the room above and below."""


def wave_svg(item: Item) -> tuple[str, str] | None:
    """The line in the middle of the picture, as an inline SVG and in words; None where there is none to show."""
    order, fmt = item.order, item.order.format
    if order.pattern.id not in WITH_WAVE or fmt.timing is None:
        return None
    interface = interface_of(fmt, SignalKind.YPBPR)
    line = line_of(fmt, fmt.height // 2)
    source = Source(draw_frame(item.scene, fmt, order.signal), fmt, order.signal)
    wave = line_waveform(source, interface, line, interface.traces[:1])
    sync = float(interface.sync_mv)
    high, low = max(float(interface.white_mv), float(wave.millivolts.max())), min(sync, float(wave.millivolts.min()))
    top, height = high / _MV_UNIT + _EDGE, round((high - low) / _MV_UNIT) + 2 * _EDGE
    levels = [(float(interface.white_mv), "700"), (0.0, "0"), (sync, "−300")]
    shown = float(np.ptp(wave.times_us))
    words = f"line {line}, mV; {shown:.1f} µs are shown, a line lasts {line_times(fmt).line:.2f}"
    rules = "".join(f'<path d="M{_LEFT} {top - level / _MV_UNIT:.1f}H{_WIDTH}"/>' for level, _ in levels)
    names = "".join(
        f'<text x="{_LEFT - 4}" y="{top - level / _MV_UNIT + 4:.1f}">{name}</text>' for level, name in levels
    )
    return (
        f'<svg viewBox="0 0 {_WIDTH} {height}" role="img" aria-label="Waveform of {words}">'
        f'<g class="rule">{rules}</g><g>{names}</g><path class="trace" d="{_path(wave.millivolts[0], top)}"/></svg>',
        f"Y′, {words}",
    )


def _path(values: NDArray[np.floating[Any]], top: float) -> str:
    """A stroke through the highest and lowest value of each column, the one that comes first being first."""
    columns = 2 * (_WIDTH - _LEFT)
    bounds = np.linspace(0, len(values), columns + 1).astype(int)
    parts, last = [], None
    for i in range(columns):
        part = values[bounds[i] : bounds[i + 1]]
        ends = sorted({int(part.argmin()), int(part.argmax())})
        for at in ends:
            y = f"{top - float(part[at]) / _MV_UNIT:.1f}".removesuffix(".0")
            if y != last:
                x = _LEFT + i / 2
                # The stroke before goes on level up to here.
                parts += [f"H{x:g}V{y}"] if last is not None else [f"M{x:g} {y}"]
                last = y
    return "".join(parts) + f"H{_WIDTH}"
