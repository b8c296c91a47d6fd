"""The bench's own arithmetic of signals: R'G'B' fractions to codes of 8 bits and back, and chroma's sampling.

Written from the equations of BT.601 and BT.709 (weights and excursions from memory), apart from the code under test.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "Coding",
    "Floats",
    "codes_of",
    "components",
    "decode",
    "encode",
    "fractions_of",
    "from_components",
    "joined",
    "quantised",
    "split",
    "staged",
]

Floats = NDArray[np.floating[Any]]
"""(..., 3): R'G'B' fractions, or codes."""

_WEIGHTS = {"601": (0.299, 0.114), "709": (0.2126, 0.0722)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Coding:
    """What a capture holds. `kind` is rgb (full range), or 444, 422 or 420 (narrow range)."""

    kind: str
    matrix: str
    interlaced: bool
    rounding: bool = True
    """False to reckon with levels as if every stage of the chain had any number of bits."""

    @property
    def is_rgb(self) -> bool:
        return self.kind == "rgb"


@lru_cache
def _matrices(matrix: str, wide: bool) -> tuple[Floats, Floats]:
    """Transposed: from R'G'B' to Y', C'B, C'R, and back."""
    kr, kb = _WEIGHTS[matrix]
    luma = np.array([kr, 1 - kr - kb, kb])
    blue, red = (np.array([0, 0, 1]) - luma) / (2 * (1 - kb)), (np.array([1, 0, 0]) - luma) / (2 * (1 - kr))
    there = np.stack([luma, blue, red]).T
    kind = np.float64 if wide else np.float32
    return there.astype(kind), np.linalg.inv(there).astype(kind)


def components(rgb: Floats, matrix: str) -> Floats:
    """Y', C'B, C'R of R'G'B' fractions."""
    return np.asarray(rgb @ _matrices(matrix, rgb.dtype == np.float64)[0])


def from_components(ycc: Floats, matrix: str) -> Floats:
    """R'G'B' fractions of Y', C'B, C'R."""
    return np.asarray(ycc @ _matrices(matrix, ycc.dtype == np.float64)[1])


_EXTENT, _ZERO = np.array([219, 224, 224], np.float32), np.array([16, 128, 128], np.float32)


def encode(rgb: Floats, matrix: str) -> Floats:
    """Narrow Y'CbCr codes of 8 bits, not rounded."""
    return components(rgb, matrix) * _EXTENT + _ZERO


def decode(codes: Floats, matrix: str) -> Floats:
    """The reverse of `encode`."""
    return from_components((codes - _ZERO) / _EXTENT, matrix)


def quantised(codes: Floats) -> Floats:
    """Whole codes of 8 bits, halves up, as floats."""
    # Float32 leaves a half a little low or high; the nudge is far below any step that is made on purpose.
    return np.asarray(np.clip(np.floor(codes + (0.5 + 1e-4)), 0, 255))


def staged(codes: Floats, coding: Coding) -> Floats:
    """Codes as a digital stage of the chain hands them on."""
    return quantised(codes) if coding.rounding else np.asarray(np.clip(codes, 0, 255))


def codes_of(rgb: Floats, coding: Coding) -> Floats:
    """The codes that a capture of this coding holds, not rounded, chroma at every sample."""
    return 255 * rgb if coding.is_rgb else encode(rgb, coding.matrix)


def fractions_of(codes: Floats, coding: Coding) -> Floats:
    return codes / 255 if coding.is_rgb else decode(codes, coding.matrix)


def split(codes: Floats, coding: Coding) -> list[Floats]:
    """Three planes, chroma taken at its sites: on the left luma column; in 4:2:0 between two lines (of a field)."""
    planes = [codes[..., 0], codes[..., 1], codes[..., 2]]
    if coding.kind in ("422", "420"):
        planes = [planes[0], *(plane[:, ::2] for plane in planes[1:])]
    if coding.kind == "420":
        planes = [planes[0], *(_between_lines(plane, coding.interlaced) for plane in planes[1:])]
    return planes


def _between_lines(plane: Floats, interlaced: bool) -> Floats:
    if not interlaced:
        return (plane[0::2] + plane[1::2]) / 2
    # A quarter of the way between the top field's lines, three quarters between the bottom field's.
    top, bottom = plane[0::2], plane[1::2]
    result = np.empty((plane.shape[0] // 2, plane.shape[1]), plane.dtype)
    result[0::2] = 0.75 * top[0::2] + 0.25 * top[1::2]
    result[1::2] = 0.25 * bottom[0::2] + 0.75 * bottom[1::2]
    return result


def joined(planes: list[Floats]) -> Floats:
    """Codes with chroma at every sample again: between two chroma samples of a line their mean."""
    luma = planes[0]
    if planes[1].shape == luma.shape:
        return np.stack(planes, axis=-1)
    assert planes[1].shape == (luma.shape[0], luma.shape[1] // 2), "only 4:2:2 is read back"
    full = []
    for plane in planes[1:]:
        wide = np.repeat(plane, 2, axis=1)
        wide[:, 1:-1:2] = (plane[:, :-1] + plane[:, 1:]) / 2
        full.append(wide)
    return np.stack([luma, *full], axis=-1)
