"""Waves and pulses: what is drawn by its equation, sample by sample, without the filter that shapes edges."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patterns.formats import Format
from patterns.placement import Span, column, line, wave_area
from patterns.scene import Pulse, Wave

__all__ = ["sine_edge", "wave_shares"]

Floats = NDArray[np.float64]


def wave_shares(waves: Sequence[Wave | Pulse], fmt: Format) -> Iterator[tuple[Span, Fraction, Floats]]:
    """The samples of each wave, its swing, and the shares of it that are added: (lines, samples) or (1, samples)."""
    for wave in waves:
        span = wave_area(fmt, wave)
        if not span.is_empty:
            yield span, wave.swing, _pulse(wave, span, fmt) if isinstance(wave, Pulse) else _wave(wave, span, fmt)


def _wave(wave: Wave, span: Span, fmt: Format) -> Floats:
    """-1 to 1 for each sample of `span`: (lines, samples), or (1, samples) where all lines are alike."""
    dx = (np.arange(span.left, span.right) + 0.5 - float(column(fmt, wave.x0))) / fmt.picture.width
    level = not (wave.fy or wave.fxy or wave.fyy)
    rows = np.zeros(1) if level else np.arange(span.top, span.bottom) + 0.5
    dy = ((rows - float(line(fmt, wave.y0))) / fmt.picture.height)[:, None]
    phase = float(wave.start) + dx * (float(wave.fx) + float(wave.fxx) * dx + float(wave.fxy) * dy)
    phase = phase + dy * (float(wave.fy) + float(wave.fyy) * dy)
    values: Floats = np.cos(2 * np.pi * phase)
    if wave.cycles is not None:
        values *= np.abs(phase) <= float(wave.cycles)
    if wave.fade:
        # Distance of each sample from the nearer end, in fades.
        inside = np.minimum(np.arange(span.right - span.left) + 0.5, np.arange(span.right - span.left)[::-1] + 0.5)
        values *= np.sin(np.pi / 2 * np.clip(inside / float(wave.fade * fmt.picture.width), 0, 1)) ** 2
    return values


def _pulse(pulse: Pulse, span: Span, fmt: Format) -> Floats:
    """0 to 1 for each sample of a line of `span`."""
    half = float(pulse.half_duration * fmt.picture.width)
    at = np.arange(span.left, span.right) + 0.5
    start = (at - float(column(fmt, pulse.start))) / half
    if pulse.start == pulse.stop:
        # cos^2(pi t / 2 HAD) within HAD of the middle.
        return np.where(np.abs(start) < 1, np.cos(np.pi / 2 * np.clip(start, -1, 1)) ** 2, 0.0)
    stop = (at - float(column(fmt, pulse.stop))) / half
    return sine_edge(start) - sine_edge(stop)


def sine_edge(t: NDArray[np.floating[Any]]) -> Floats:
    """The integral of the pulse, from 0 to 1 between t = -1 and 1; t in the pulse's half-amplitude durations."""
    inside = np.clip(t, -1, 1)
    return np.asarray((1 + inside + np.sin(np.pi * inside) / np.pi) / 2, dtype=np.float64)
