"""Whether greys have a tint, where their levels alone do not show it."""

from __future__ import annotations

from typing import Any

import numpy as np

from analysis.frame.expected import Expected
from analysis.frame.faults.codes import to_ycbcr
from analysis.frame.findings import Fault
from analysis.frame.fractions import frame_ycbcr
from patterns.signal import Matrix

__all__ = ["tint_faults"]

_TINTED, _BLOCK = 0.011, 16
"""Colour in proportion to luma from which greys have a tint (2 % of one gun), and the samples of a block."""


def tint_faults(expected: Expected) -> list[Fault]:
    """A gun that is too strong or too weak, from the colour that greys have in proportion to their luma.

    Over whole blocks, so that neither thin lines nor a place that is not known matter, as they do to levels.
    """
    subject = expected.subject
    if subject.is_coloured or subject.states_signal:
        return []
    signal = subject.reference.signal
    luma, *chroma = (_blocks(plane) for plane in frame_ycbcr(subject.frame, signal))
    spread = luma - luma.mean()
    power = float(np.mean(spread**2))
    if power < 1e-4:
        return []
    seen = np.array([float(np.mean(spread * plane)) / power for plane in chroma])
    rest = [plane - plane.mean() - factor * spread for plane, factor in zip(chroma, seen, strict=True)]
    uncertainty = max(float(np.std(one)) for one in rest) / np.sqrt(power * luma.size)
    strength = float(np.abs(seen).max())
    if strength < max(_TINTED, 5 * uncertainty):
        return []
    # What each gun's gain makes of white, less what it makes of luma.
    best = min((_gun(seen, channel, signal.matrix) for channel in range(3)), key=lambda one: one[0])
    if best[0] > 0.25 * strength:
        return []
    return [
        Fault(
            id="channel-gain",
            confidence=0.9,
            parameters={"channel": "RGB"[best[1]], "gain": best[2]},
            of_levels=True,
        )
    ]


def _gun(seen: Any, channel: int, matrix: Matrix) -> tuple[float, int, float]:
    """What is left of the colour with the gain of one gun that accounts best for it, that gun, and the gain."""
    gains = np.linspace(0.5, 1.5, 401)
    rgb = np.ones((len(gains), 3))
    rgb[:, channel] = gains
    ycc = to_ycbcr(rgb, matrix)
    left = np.hypot(*(ycc[:, 1:] / ycc[:, :1] - seen).T)
    at = int(np.argmin(left))
    return float(left[at]), channel, float(gains[at])


def _blocks(plane: Any) -> Any:
    rows, columns = (size // _BLOCK * _BLOCK for size in plane.shape)
    shape = rows // _BLOCK, _BLOCK, columns // _BLOCK, _BLOCK
    return plane[:rows, :columns].reshape(shape).mean(axis=(1, 3)).astype(np.float64)
