"""Faults that the catalogue does not hold, to see how honest the confidence is: nothing is tuned to them.

Made by NumPy and OpenCV from what such faults are known to do (from memory); imports nothing of `analysis`. A right
answer is 'other', or a fault with less than 90 % confidence; a wrong one names a fault with more.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np

from tests.trials.faults.coding import Coding, Floats, components, from_components

__all__ = ["OUTSIDE"]


def _luma(rgb: Floats, coding: Coding, change: Callable[[Floats], Floats]) -> Floats:
    ycc = components(rgb, coding.matrix)
    ycc[..., 0] = change(ycc[..., 0])
    return from_components(ycc, coding.matrix).astype(rgb.dtype)


def _ring(rgb: Floats, coding: Coding, *, percent: float, period: float) -> Floats:
    """A cable without its termination at high frequencies: edges swing out."""
    at = np.arange(1, 40)
    tail = percent / 100 * np.exp(-at / 9) * np.sin(2 * np.pi * at / period)
    kernel = np.concatenate([[1.0], tail])
    padded = np.pad(rgb, ((0, 0), (40, 0), (0, 0)), mode="edge")
    width = rgb.shape[1]
    made = sum(weight * padded[:, 40 - k : 40 - k + width] for k, weight in enumerate(kernel))
    return np.asarray(made / kernel.sum(), rgb.dtype)


def _moire(rgb: Floats, coding: Coding, *, share: float) -> Floats:
    """Down to a share of its width by the nearest samples, and back."""
    height, width = rgb.shape[:2]
    small = cv2.resize(rgb, (round(width * share), height), interpolation=cv2.INTER_NEAREST)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_NEAREST), rgb.dtype)


def _gammas(rgb: Floats, coding: Coding, *, powers: tuple[float, float, float]) -> Floats:
    return np.asarray(np.sign(rgb) * np.abs(rgb) ** np.array(powers), rgb.dtype)


def _doubled(rgb: Floats, coding: Coding, *, by: tuple[int, int], share: float) -> Floats:
    """Two frames at once, one moved."""
    return np.asarray((1 - share) * rgb + share * np.roll(rgb, by, (0, 1)), rgb.dtype)


def _crosstalk(rgb: Floats, coding: Coding, *, share: float) -> Floats:
    mixed = rgb.copy()
    mixed[..., 0] = rgb[..., 0] + share * rgb[..., 1]
    mixed[..., 1] = rgb[..., 1] + share * rgb[..., 0]
    return mixed


def _jitter(rgb: Floats, coding: Coding, *, samples: float) -> Floats:
    height, width = rgb.shape[:2]
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    moved = np.random.default_rng(5).normal(0, samples, (height, 1)).astype(np.float32)
    return np.asarray(cv2.remap(rgb, x + moved, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), rgb.dtype)


def _wobble(rgb: Floats, coding: Coding, *, samples: float) -> Floats:
    """Lines longer and shorter by turns, as a time base makes them."""
    height, width = rgb.shape[:2]
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    long = 1 + samples / width * np.sin(2 * np.pi * y / height * 3)
    return np.asarray(cv2.remap(rgb, x * long, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), rgb.dtype)


def _blooming(rgb: Floats, coding: Coding, *, share: float) -> Floats:
    """Light areas grow and spill."""
    light = np.clip(components(rgb, coding.matrix)[..., 0] - 0.6, 0, 1).astype(np.float32)
    spill = cv2.GaussianBlur(cv2.dilate(light, np.ones((3, 9), np.uint8)), (0, 0), 6)
    return np.asarray(rgb + share * spill[..., None], rgb.dtype)


def _killer(rgb: Floats, coding: Coding, *, lines: int) -> Floats:
    """Colour goes on and off in groups of lines."""
    ycc = components(rgb, coding.matrix)
    random = np.random.default_rng(7)
    for top in range(0, len(rgb), lines):
        if random.random() < 0.4:
            ycc[top : top + lines, :, 1:] = 0
    return from_components(ycc, coding.matrix)


def _unequal(rgb: Floats, coding: Coding, *, gain: float) -> Floats:
    """One field is lighter than the other."""
    made = rgb.copy()
    made[1::2] *= gain
    return made


OUTSIDE: dict[str, tuple[Callable[..., Floats], tuple[dict[str, Any], ...]]] = {
    "ring": (_ring, ({"percent": 25.0, "period": 7.0}, {"percent": 40.0, "period": 11.0})),
    "moire": (_moire, ({"share": 0.71}, {"share": 0.89})),
    "gammas": (_gammas, ({"powers": (1.15, 1.0, 0.9)}, {"powers": (0.85, 1.1, 1.2)})),
    "doubled": (_doubled, ({"by": (0, 9), "share": 0.4}, {"by": (3, 5), "share": 0.3})),
    "crosstalk": (_crosstalk, ({"share": 0.1}, {"share": 0.2})),
    "jitter": (_jitter, ({"samples": 0.7}, {"samples": 1.5})),
    "wobble": (_wobble, ({"samples": 3.0}, {"samples": 8.0})),
    "blooming": (_blooming, ({"share": 0.2}, {"share": 0.5})),
    "killer": (_killer, ({"lines": 24}, {"lines": 6})),
    "unequal": (_unequal, ({"gain": 0.92}, {"gain": 0.85})),
}
"""Each fault with the sizes that are tried."""
