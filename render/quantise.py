"""From drawn values to integers: the only place where samples are rounded and clipped."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from patterns.signal import Signal, round_half_up

__all__ = ["Plane", "Planes", "quantise", "sample_type"]

Plane = NDArray[Any]
"""A plane of codes: uint8 up to 8 bits, else uint16."""
Planes = tuple[Plane, Plane, Plane]
"""Three planes of codes, arrays of (row, column): R, G, B or Y, Cb, Cr."""

_NOISE_DECIMALS = 9
"""Decimals of a code that are kept before rounding.

Levels are rational with small denominators, so a drawn value this near to a half is a half that float64 missed.
"""


def sample_type(bits: int) -> type[np.uint8] | type[np.uint16]:
    """The array type that holds codes of `bits` bits."""
    return np.uint8 if bits == 8 else np.uint16


def quantise(values: NDArray[np.float64], signal: Signal) -> NDArray[Any]:
    """Codes of `values`, any shape, in codes before rounding (as `Signal.exact` gives them).

    Rounds half up and clips at the codes that `signal` may use. The result is uint8 for 8 bits, else uint16.
    """
    low, high = signal.limits
    whole = round_half_up(np.round(values, _NOISE_DECIMALS))
    return np.clip(whole, low, high).astype(sample_type(signal.bits))
