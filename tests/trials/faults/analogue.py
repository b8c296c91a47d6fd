"""Faults of analogue ways, made by SciPy's filters and by plain arithmetic, apart from the code under test.

Each takes a picture of R'G'B' fractions, (height, width, 3), and gives it with the fault. What is random comes from a
generator of the fault's own `seed`. Sampling is taken as 13.5 MHz for standard definition; frequencies are in cycles
a sample, so that a format's own does not matter here.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from scipy import signal

from tests.trials.faults.coding import (
    Coding,
    Floats,
    components,
    decode,
    encode,
    from_components,
    quantised,
)

__all__ = ["POINTWISE", "SPATIAL"]


def _on_luma(rgb: Floats, coding: Coding, change: Callable[[Floats], Floats]) -> Floats:
    ycc = components(rgb, coding.matrix)
    ycc[..., 0] = change(ycc[..., 0])
    return from_components(ycc, coding.matrix).astype(rgb.dtype)


def _band_limited(rgb: Floats, coding: Coding, *, cut: float, kind: str = "fir") -> Floats:
    """Luma through a low-pass filter whose edge is at `cut` cycles a sample."""

    def change(luma: Floats) -> Floats:
        if kind == "fir":
            return np.asarray(signal.filtfilt(signal.firwin(31, 2 * cut), 1.0, luma, axis=1, padlen=90))
        return np.asarray(signal.sosfiltfilt(signal.butter(4, 2 * cut, output="sos"), luma, axis=1, padlen=90))

    return _on_luma(rgb, coding, change)


def _echo(rgb: Floats, coding: Coding, *, samples: float, percent: float) -> Floats:
    moved = cv2.warpAffine(
        rgb, np.array([[1, 0, samples], [0, 1, 0]], np.float64), (rgb.shape[1], rgb.shape[0]), flags=cv2.INTER_LINEAR
    )
    return np.asarray(rgb + percent / 100 * moved, rgb.dtype) / (1 + max(0.0, percent) / 100)


def _noise(rgb: Floats, coding: Coding, *, percent: float, seed: int = 1) -> Floats:
    noise = np.random.default_rng(seed).normal(0, percent / 100, rgb.shape[:2])
    return _on_luma(rgb, coding, lambda luma: luma + noise)


def _hum(rgb: Floats, coding: Coding, *, percent: float, periods: float, phase: float, gain: bool) -> Floats:
    y = np.arange(rgb.shape[0]) / rgb.shape[0]
    wave = percent / 100 / 2 * np.sin(2 * np.pi * (periods * y + phase))
    return np.asarray((rgb * (1 + wave[:, None, None])) if gain else rgb + wave[:, None, None], rgb.dtype)


def _tilt(rgb: Floats, coding: Coding, *, percent: float) -> Floats:
    ramp = percent / 100 * np.linspace(-0.5, 0.5, rgb.shape[1])
    return np.asarray(rgb + ramp[None, :, None], rgb.dtype)


def _shading(rgb: Floats, coding: Coding, *, percent: float) -> Floats:
    height, width = rgb.shape[:2]
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j]
    return np.asarray(rgb * (1 - percent / 100 * (x * x + y * y) / 2)[..., None], rgb.dtype)


def _dropouts(rgb: Floats, coding: Coding, *, count: int, level: float, seed: int = 1) -> Floats:
    random, result = np.random.default_rng(seed), rgb.copy()
    height, width = rgb.shape[:2]
    for _ in range(count):
        row, left = int(random.integers(4, height - 4)), int(random.integers(0, width - 40))
        long = int(random.integers(width // 20, width // 3))
        result[row : row + int(random.integers(1, 3)), left : left + long] = level + random.normal(0, 0.05)
    return result


def _overlay(rgb: Floats, coding: Coding, *, words: str, at: tuple[float, float]) -> Floats:
    """A dark box with light letters, as displays of devices have."""
    height, width = rgb.shape[:2]
    left, top = round(width * at[0]), round(height * at[1])
    wide, tall = width // 4, height // 7
    result = rgb.copy()
    box = np.full((tall, wide, 3), 30, np.uint8)
    cv2.putText(box, words, (wide // 12, 2 * tall // 3), cv2.FONT_HERSHEY_SIMPLEX, tall / 50, (230, 230, 180), 2)
    result[top : top + tall, left : left + wide] = box[: height - top, : width - left] / np.float32(255)
    return result


def _torn(rgb: Floats, coding: Coding, *, share: float, kind: str) -> Floats:
    line, result = round(share * len(rgb)), rgb.copy()
    if kind == "other":
        result[line:] = np.roll(rgb[line:, ::-1], 31, axis=1) * 0.6 + 0.2
    else:
        result[line:] = np.roll(rgb[line:], 24, axis=1)
    return result


def _chroma_delayed(rgb: Floats, coding: Coding, *, samples: float) -> Floats:
    ycc = components(rgb, coding.matrix).astype(np.float32)
    way = np.array([[1, 0, samples], [0, 1, 0]], np.float64)
    for i in (1, 2):
        ycc[..., i] = cv2.warpAffine(
            np.ascontiguousarray(ycc[..., i]),
            way,
            (rgb.shape[1], rgb.shape[0]),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
    return from_components(ycc, coding.matrix)


def _cross_colour(rgb: Floats, coding: Coding, *, amount: float) -> Floats:
    """Fine luma near the subcarrier comes out as colour that turns from line to line."""
    ycc = components(rgb, coding.matrix).astype(np.float64)
    band = signal.firwin(31, (0.40, 0.68), pass_zero=False)
    fine = signal.filtfilt(band, 1.0, ycc[..., 0], axis=1, padlen=90)
    x, y = np.arange(rgb.shape[1]), np.arange(rgb.shape[0])
    carrier = 2 * np.pi * (0.2652 * x[None, :] + 0.25 * y[:, None])
    low = signal.firwin(21, 0.12)
    for i, wave in ((1, np.sin(carrier)), (2, np.cos(carrier))):
        ycc[..., i] += amount * signal.filtfilt(low, 1.0, 2 * fine * wave, axis=1, padlen=60)
    return from_components(ycc, coding.matrix).astype(rgb.dtype)


def _comb_decoded(rgb: Floats, coding: Coding, *, kind: str) -> Floats:
    """Luma of a composite decoder: a notch at the subcarrier, or lines of one field mixed there."""
    notch = signal.firwin(41, (0.40, 0.66))

    def change(luma: Floats) -> Floats:
        low = signal.filtfilt(notch, 1.0, luma, axis=1, padlen=120)
        if kind == "notch":
            return np.asarray(low)
        fine = luma - low
        step = 2 if coding.interlaced else 1
        above = np.concatenate([fine[:step], fine[:-step]])
        return np.asarray(low + (fine + above) / 2)

    return _on_luma(rgb, coding, change)


_BAYER = np.array([[0, 8, 2, 10], [12, 4, 14, 6], [3, 11, 1, 9], [15, 7, 13, 5]]) / 16


def _dithered(rgb: Floats, coding: Coding, *, bits: int, kind: str) -> Floats:
    """R'G'B' of few bits, each level made of its two neighbours."""
    height, width = rgb.shape[:2]
    steps = (1 << bits) - 1
    tile = np.tile(_BAYER, (-(-height // 4), -(-width // 4)))[:height, :width, None]
    if kind == "random":
        tile = np.random.default_rng(3).random((height, width, 1))
    coded = np.floor(np.clip(rgb, 0, 1) * steps + tile)
    return np.asarray(np.clip(coded, 0, steps) / steps, rgb.dtype)


SPATIAL: dict[str, Callable[..., Floats]] = {
    "band-limited": _band_limited,
    "echo": _echo,
    "noise": _noise,
    "hum": _hum,
    "tilt": _tilt,
    "shading": _shading,
    "dropouts": _dropouts,
    "overlay": _overlay,
    "torn": _torn,
    "chroma-delayed": _chroma_delayed,
    "cross-colour": _cross_colour,
    "comb-decoded": _comb_decoded,
    "dithered": _dithered,
}


def _chroma_lost(rgb: Floats, coding: Coding) -> Floats:
    luma = components(rgb, coding.matrix)[..., :1]
    return np.repeat(luma, 3, axis=-1)


def _component(rgb: Floats, coding: Coding, *, name: str, factor: float) -> Floats:
    """A component missing (0) or inverted (-1): R, G, B, or PB or PR. An inverted gun is a negative."""
    if len(name) == 1 and factor < 0:
        made = rgb.copy()
        made[..., "RGB".index(name)] = 1 - rgb[..., "RGB".index(name)]
        return made
    if len(name) == 1:
        factors = np.array([factor if letter == name else 1 for letter in "RGB"], rgb.dtype)
        return rgb * factors
    ycc = components(rgb, coding.matrix)
    ycc[..., 1 if name == "PB" else 2] *= factor
    return from_components(ycc, coding.matrix)


def _black_crushed(rgb: Floats, coding: Coding, *, knee: float, depth: float) -> Floats:
    """Below the knee everything is darker, the more the nearer to black; black stays."""
    low = np.clip(rgb, 0, knee)
    return np.where(rgb < knee, np.minimum(rgb, 0) + low * (low / knee) ** depth, rgb)


def _white_compressed(rgb: Floats, coding: Coding, *, knee: float, slope: float) -> Floats:
    return np.where(rgb > knee, knee + (rgb - knee) * slope, rgb)


def _twice(rgb: Floats, coding: Coding, *, way: str) -> Floats:
    codes: Any = encode(rgb, coding.matrix) if not coding.is_rgb else 255 * rgb
    luma, less, more = (255 / 219, 16.0, 0.0) if way == "expanded" else (219 / 255, 0.0, 16.0)
    chroma = 255 / 224 if way == "expanded" else 224 / 255
    for _ in range(2):
        if coding.is_rgb:
            codes = quantised((codes - less) * luma + more)
        else:
            mid = (codes - np.array([less, 128, 128])) * np.array([luma, chroma, chroma])
            codes = quantised(mid + np.array([more, 128, 128]))
    return np.asarray(codes / 255 if coding.is_rgb else decode(codes.astype(np.float32), coding.matrix), rgb.dtype)


POINTWISE: dict[str, Callable[..., Floats]] = {
    "chroma-lost": _chroma_lost,
    "component": _component,
    "black-crushed": _black_crushed,
    "white-compressed": _white_compressed,
    "twice": _twice,
}
