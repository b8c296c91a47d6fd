"""Pictures of what analogue ways do, and of what varies over a picture: by plain arithmetic, for `make_faults.py`.

Each function takes R'G'B' fractions, (row, column, component), as they were sent, and gives them as they arrive.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "banded",
    "crossed",
    "crushed",
    "dithered",
    "dropped",
    "echoed",
    "hummed",
    "laid_over",
    "late_colour",
    "noisy",
    "notched",
    "shaded",
    "tilted",
    "torn",
]

Floats = NDArray[np.floating[Any]]

_LUMA = np.array([0.299, 0.587, 0.114])
"""BT.601."""
_CLOCK, _CARRIER = 13.5e6, 4_433_618.75


def _lines(luma: Floats, keep: Any) -> Floats:
    """Luma with each frequency along the lines multiplied by `keep(cycles a sample)`."""
    spectrum = np.fft.rfft(luma, axis=1)
    return np.fft.irfft(spectrum * keep(np.fft.rfftfreq(luma.shape[1])), luma.shape[1], axis=1)


def _with_luma(rgb: Floats, luma: Floats) -> Floats:
    return rgb + (luma - rgb @ _LUMA)[..., None]


def banded(rgb: Floats) -> Floats:
    """Nothing above 2.5 MHz."""
    return _with_luma(rgb, _lines(rgb @ _LUMA, lambda f: 1 / (1 + (f * _CLOCK / 2.5e6) ** 16)))


def notched(rgb: Floats) -> Floats:
    """Nothing near the colour subcarrier."""
    return _with_luma(rgb, _lines(rgb @ _LUMA, lambda f: 1 - np.exp(-(((f * _CLOCK - _CARRIER) / 0.7e6) ** 4))))


def crossed(rgb: Floats) -> Floats:
    """Fine detail as colour that turns from line to line."""
    fine = _lines(rgb @ _LUMA, lambda f: np.exp(-(((f * _CLOCK - _CARRIER) / 1e6) ** 2)))
    turn = 2 * np.pi * (_CARRIER / _CLOCK * np.arange(rgb.shape[1]) + 0.25 * np.arange(len(rgb))[:, None])
    blue, red = (_lines(2 * fine * wave, lambda f: np.exp(-((f / 0.05) ** 2))) for wave in (np.sin(turn), np.cos(turn)))
    return rgb + np.stack([1.4 * red, -0.7 * red - 0.34 * blue, 1.77 * blue], axis=-1)


def late_colour(rgb: Floats) -> Floats:
    """Colour 12 samples late."""
    luma = rgb @ _LUMA
    return luma[..., None] + np.roll(rgb - luma[..., None], 12, axis=1)


def echoed(rgb: Floats) -> Floats:
    later = np.roll(rgb, 30, axis=1)
    later[:, :30] = 0
    return (rgb + 0.25 * later) / 1.25


def noisy(rgb: Floats) -> Floats:
    return rgb + np.random.default_rng(1).normal(0, 0.06, rgb.shape[:2])[..., None]


def dithered(rgb: Floats) -> Floats:
    """Two bits, so that the page shows it."""
    grain = np.random.default_rng(2).random(rgb.shape[:2])[..., None]
    return np.clip(np.floor(rgb * 3 + grain), 0, 3) / 3


def hummed(rgb: Floats) -> Floats:
    return rgb + 0.1 * np.sin(4 * np.pi * np.arange(len(rgb)) / len(rgb))[:, None, None]


def tilted(rgb: Floats) -> Floats:
    return rgb + 0.15 * np.linspace(-1, 1, rgb.shape[1])[None, :, None]


def shaded(rgb: Floats) -> Floats:
    y, x = np.meshgrid(np.linspace(-1, 1, len(rgb)), np.linspace(-1, 1, rgb.shape[1]), indexing="ij")
    return rgb * (1 - 0.25 * (x * x + y * y) / 2)[..., None]


def dropped(rgb: Floats) -> Floats:
    random, made = np.random.default_rng(4), rgb.copy()
    for _ in range(12):
        row, left = int(random.integers(20, len(rgb) - 20)), int(random.integers(0, rgb.shape[1] - 200))
        made[row : row + 4, left : left + int(random.integers(60, 200))] = 0.95
    return made


def laid_over(rgb: Floats) -> Floats:
    """A box with three bars."""
    made = rgb.copy()
    made[70:150, 450:640] = 0.1
    for i in range(3):
        made[85 + 20 * i : 95 + 20 * i, 470 : 560 + 25 * i] = 0.9
    return made


def torn(rgb: Floats) -> Floats:
    made = rgb.copy()
    line = 6 * len(rgb) // 10
    made[line:] = np.roll(rgb[line:], 60, axis=1)
    return made


def crushed(rgb: Floats) -> Floats:
    return np.where(rgb < 0.4, 0.4 * (np.clip(rgb, 0, 0.4) / 0.4) ** 2, rgb)
