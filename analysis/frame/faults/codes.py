"""Between R'G'B' fractions, Y'CbCr and codes, and both conversions of range: what steps of a chain are made of."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import numpy as np

from analysis.frame.faults.step import Floats, Parameters
from patterns.signal import Matrix, Signal
from patterns.standards.levels import CHROMA_EXCURSION_8BIT, FOOTROOM_8BIT, LUMA_EXCURSION_8BIT

__all__ = [
    "CHROMA",
    "FOOT",
    "FULL",
    "NARROW",
    "compressed",
    "compressed_ycbcr",
    "expanded",
    "expanded_ycbcr",
    "from_codes",
    "in_rgb",
    "in_ycbcr",
    "percent_of",
    "to_codes",
    "to_rgb",
    "to_ycbcr",
]

NARROW, CHROMA = float(LUMA_EXCURSION_8BIT.value), float(CHROMA_EXCURSION_8BIT.value)
FOOT, FULL = float(FOOTROOM_8BIT.value), 255.0
"""Codes of 8 bits: excursions of luma and of chroma, black, and the highest code, which full range has for white."""


@cache
def _forward(matrix: Matrix) -> Floats:
    kr, kb = (float(weight) for weight in matrix.weights)
    kg = 1 - kr - kb
    forward: Floats = np.array(
        [
            [kr, kg, kb],
            [-kr / (2 * (1 - kb)), -kg / (2 * (1 - kb)), 0.5],
            [0.5, -kg / (2 * (1 - kr)), -kb / (2 * (1 - kr))],
        ],
        dtype=np.float64,
    )
    return forward


@cache
def _backward(matrix: Matrix) -> Floats:
    inverse: Floats = np.asarray(np.linalg.inv(_forward(matrix)), dtype=np.float64)
    return inverse


def to_ycbcr(rgb: Floats, matrix: Matrix) -> Floats:
    """Y', C'B, C'R fractions of R'G'B' fractions, (..., 3): BT.601 or BT.709."""
    ycc: Floats = rgb @ _forward(matrix).T
    return ycc


def to_rgb(ycc: Floats, matrix: Matrix) -> Floats:
    """The inverse of `to_ycbcr`."""
    rgb: Floats = ycc @ _backward(matrix).T
    return rgb


def to_codes(rgb: Floats, signal: Signal) -> Floats:
    """Codes of R'G'B' fractions as the signal has them, neither rounded nor clipped, (..., 3)."""
    parts = rgb if signal.sampling.is_rgb else to_ycbcr(rgb, signal.matrix)
    scale, offset = _scales(signal)
    codes: Floats = parts * scale + offset
    return codes


def from_codes(codes: Floats, signal: Signal) -> Floats:
    """R'G'B' fractions of codes: the inverse of `to_codes`."""
    scale, offset = _scales(signal)
    parts = (codes - offset) / scale
    return parts if signal.sampling.is_rgb else to_rgb(parts, signal.matrix)


@cache
def _scales(signal: Signal) -> tuple[Floats, Floats]:
    black = np.array([signal.fraction_of(i, 0) for i in range(3)])
    step = np.array([signal.fraction_of(i, 1) for i in range(3)]) - black
    return 1 / step, -black / step


def in_ycbcr(change: Callable[[Floats, Parameters], Floats]) -> Callable[[Floats, Parameters, Signal], Floats]:
    def apply(rgb: Floats, parameters: Parameters, signal: Signal) -> Floats:
        return to_rgb(change(to_ycbcr(rgb, signal.matrix), parameters), signal.matrix)

    return apply


def in_rgb(change: Callable[[Floats, Parameters], Floats]) -> Callable[[Floats, Parameters, Signal], Floats]:
    return lambda rgb, parameters, signal: change(rgb, parameters)


def expanded(values: Floats) -> Floats:
    return (FULL * values - FOOT) / NARROW


def compressed(values: Floats) -> Floats:
    return (NARROW * values + FOOT) / FULL


def expanded_ycbcr(ycc: Floats) -> Floats:
    return np.concatenate([expanded(ycc[:, :1]), ycc[:, 1:] * (FULL / CHROMA)], axis=1)


def compressed_ycbcr(ycc: Floats) -> Floats:
    return np.concatenate([compressed(ycc[:, :1]), ycc[:, 1:] * (CHROMA / FULL)], axis=1)


def percent_of(name: str) -> Callable[[Parameters], dict[str, float | str]]:
    return lambda parameters: {name: 100 * parameters[0]}
