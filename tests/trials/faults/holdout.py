"""Cases that nothing was tuned with: other faults, patterns, formats and sizes, drawn anew for every seed.

The faults are made by NumPy, SciPy and OpenCV from what such faults are known to do (from memory); nothing here imports
`analysis`. Of those that the catalogue does not hold a right answer is 'other', or a fault with less than 90 %
confidence. Whoever changes a threshold looks at the printed shares only, never at these cases.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from scipy import ndimage, signal

from tests.trials.faults.coding import Coding, Floats, components, from_components

__all__ = ["HOLDOUT", "KNOWN", "PATTERNS_AND_FORMATS"]

PATTERNS_AND_FORMATS = tuple(
    (pattern, format_id)
    for pattern in ("bars-split", "alignment", "pulse-bar", "pluge", "checkerboard", "ramp")
    for format_id in ("480p", "576i", "480i", "720p60")
)

Size = dict[str, Any]
Draw = Callable[[np.random.Generator], Size]


def _remapped(rgb: Floats, x: Floats, y: Floats) -> Floats:
    where = x.astype(np.float32), y.astype(np.float32)
    made = cv2.remap(rgb.astype(np.float32), *where, cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(made, rgb.dtype)


def _grid(rgb: Floats) -> tuple[Floats, Floats]:
    y, x = np.mgrid[0 : rgb.shape[0], 0 : rgb.shape[1]].astype(np.float64)
    return x, y


def _walk(rgb: Floats, coding: Coding, *, samples: float, seed: int) -> Floats:
    """Lines that wander to and fro, each near the one before it."""
    steps = np.random.default_rng(seed).normal(size=rgb.shape[0])
    way = np.asarray(signal.lfilter([1.0], [1.0, -0.93], steps))
    x, y = _grid(rgb)
    return _remapped(rgb, x + samples * (way / way.std())[:, None], y)


def _flag(rgb: Floats, coding: Coding, *, samples: float, share: float) -> Floats:
    """The top of the picture bends over, as a time base that has not settled does."""
    x, y = _grid(rgb)
    return _remapped(rgb, x + samples * np.exp(-y / (share * rgb.shape[0])), y)


def _bow(rgb: Floats, coding: Coding, *, samples: float) -> Floats:
    """Lines move in a bow from top to bottom."""
    x, y = _grid(rgb)
    return _remapped(rgb, x + samples * np.sin(np.pi * y / rgb.shape[0]), y)


def _streaks(rgb: Floats, coding: Coding, *, percent: float, seed: int) -> Floats:
    """Each line has a level of its own."""
    apart = np.asarray(np.random.default_rng(seed).normal(0, percent / 100, rgb.shape[0]))
    return np.asarray(rgb + apart[:, None, None], rgb.dtype)


def _blinds(rgb: Floats, coding: Coding, *, degrees: float) -> Floats:
    """Hue that turns to and fro from line to line of a field, as a phase error without a delay line shows."""
    ycc = components(rgb, coding.matrix)
    line = np.arange(len(rgb)) // (2 if coding.interlaced else 1)
    angle = np.deg2rad(degrees) * np.where(line % 2 == 0, 1.0, -1.0)[:, None]
    blue, red = ycc[..., 1].copy(), ycc[..., 2].copy()
    ycc[..., 1] = blue * np.cos(angle) - red * np.sin(angle)
    ycc[..., 2] = blue * np.sin(angle) + red * np.cos(angle)
    return from_components(ycc, coding.matrix).astype(rgb.dtype)


def _differential(rgb: Floats, coding: Coding, *, degrees: float, gain: float) -> Floats:
    """Hue and strength of colour that depend on luma."""
    ycc = components(rgb, coding.matrix)
    luma = np.clip(ycc[..., 0], 0, 1)
    angle, strength = np.deg2rad(degrees) * luma, 1 + (gain - 1) * luma
    blue, red = ycc[..., 1] * strength, ycc[..., 2] * strength
    ycc[..., 1] = blue * np.cos(angle) - red * np.sin(angle)
    ycc[..., 2] = blue * np.sin(angle) + red * np.cos(angle)
    return from_components(ycc, coding.matrix).astype(rgb.dtype)


def _s_curve(rgb: Floats, coding: Coding, *, amount: float) -> Floats:
    """A picture mode's contrast curve: black, middle and white stay."""
    return np.asarray(rgb + amount * np.sin(2 * np.pi * np.clip(rgb, 0, 1)) * -1, rgb.dtype)


def _each_line_clamped(rgb: Floats, coding: Coding, *, share: float) -> Floats:
    """A line's level goes down with its own mean: no clamp behind a coupling capacitor."""
    return np.asarray(rgb - share * rgb.mean(axis=(1, 2), keepdims=True), rgb.dtype)


def _smear(rgb: Floats, coding: Coding, *, share: float, samples: float) -> Floats:
    """What was light drags a long tail: a coupling with a second, slow time constant."""
    decay = np.exp(-1 / samples)
    tail = signal.lfilter([1 - decay], [1, -decay], rgb, axis=1)
    return np.asarray((1 - share) * rgb + share * tail, rgb.dtype)


def _ring(rgb: Floats, coding: Coding, *, percent: float, period: float, samples: float) -> Floats:
    """Edges swing on, on both sides where the filter has no delay of its own."""
    at = np.arange(1, 60)
    tail = percent / 100 * np.exp(-at / samples) * np.cos(2 * np.pi * at / period)
    kernel = np.concatenate([[1.0], tail])
    return np.asarray(ndimage.convolve1d(rgb, kernel / kernel.sum(), axis=1, mode="nearest", origin=-29), rgb.dtype)


def _mixed_guns(rgb: Floats, coding: Coding, *, share: float, way: tuple[int, int]) -> Floats:
    mixed = rgb.copy()
    mixed[..., way[1]] = (1 - share) * rgb[..., way[1]] + share * rgb[..., way[0]]
    return mixed


def _gun_beside(rgb: Floats, coding: Coding, *, samples: float, channel: int) -> Floats:
    """One gun's signal comes late, as over a longer cable."""
    made = rgb.copy()
    made[..., channel] = ndimage.shift(rgb[..., channel], (0, samples), order=1, mode="nearest")
    return made


def _two_frames(rgb: Floats, coding: Coding, *, by: tuple[int, int], share: float) -> Floats:
    """A noise reducer that keeps the frame before, which was moved."""
    return np.asarray((1 - share) * rgb + share * np.roll(rgb, by, (0, 1)), rgb.dtype)


def _one_field_dark(rgb: Floats, coding: Coding, *, percent: float) -> Floats:
    made = rgb.copy()
    made[::2] += percent / 100
    return made


def _patchy(rgb: Floats, coding: Coding, *, percent: float, seed: int) -> Floats:
    """Level in blotches, as a stage that compresses hard leaves it."""
    small = np.random.default_rng(seed).normal(size=(7, 9)).astype(np.float32)
    wide = cv2.resize(small, (rgb.shape[1], rgb.shape[0]), interpolation=cv2.INTER_CUBIC)
    return np.asarray(rgb + percent / 100 * wide[..., None], rgb.dtype)


def _between(low: float, high: float) -> Callable[[np.random.Generator], float]:
    return lambda random: round(float(random.uniform(low, high)), 3)


def _seed(random: np.random.Generator) -> int:
    return int(random.integers(1 << 16))


HOLDOUT: dict[str, tuple[Callable[..., Floats], Draw]] = {
    "hold-walk": (_walk, lambda r: {"samples": _between(0.8, 3)(r), "seed": _seed(r)}),
    "hold-flag": (_flag, lambda r: {"samples": _between(4, 14)(r), "share": _between(0.05, 0.3)(r)}),
    "hold-bow": (_bow, lambda r: {"samples": _between(2, 8)(r)}),
    "hold-streaks": (_streaks, lambda r: {"percent": _between(1.5, 5)(r), "seed": _seed(r)}),
    "hold-blinds": (_blinds, lambda r: {"degrees": _between(8, 30)(r)}),
    "hold-differential": (_differential, lambda r: {"degrees": _between(15, 40)(r), "gain": _between(0.6, 1.4)(r)}),
    "hold-s-curve": (_s_curve, lambda r: {"amount": _between(0.03, 0.09)(r)}),
    "hold-clamped": (_each_line_clamped, lambda r: {"share": _between(0.1, 0.3)(r)}),
    "hold-smear": (_smear, lambda r: {"share": _between(0.1, 0.3)(r), "samples": _between(25, 90)(r)}),
    "hold-ring": (
        _ring,
        lambda r: {"percent": _between(15, 45)(r), "period": _between(5, 16)(r), "samples": _between(5, 14)(r)},
    ),
    "hold-mixed": (
        _mixed_guns,
        lambda r: {"share": _between(0.1, 0.35)(r), "way": ((0, 1), (1, 2), (2, 0), (1, 0))[int(r.integers(4))]},
    ),
    "hold-gun": (_gun_beside, lambda r: {"samples": _between(1.5, 6)(r), "channel": int(r.integers(3))}),
    "hold-frames": (
        _two_frames,
        lambda r: {"by": (int(r.integers(-6, 7)), int(r.integers(4, 18))), "share": _between(0.15, 0.45)(r)},
    ),
    "hold-field": (_one_field_dark, lambda r: {"percent": _between(-12, -4)(r)}),
    "hold-patchy": (_patchy, lambda r: {"percent": _between(2.5, 6)(r), "seed": _seed(r)}),
}
"""Each fault with the draw of its size."""

KNOWN: dict[str, tuple[str, Draw]] = {
    "gain": ("affine", lambda r: {"gain": _between(0.7, 0.93)(r)}),
    "offset": ("affine", lambda r: {"offset": _between(2.5, 9)(r)}),
    "gamma": ("gamma", lambda r: {"power": _between(1.12, 1.6)(r)}),
    "channel-gain": ("channel-gain", lambda r: {"channel": "RGB"[int(r.integers(3))], "gain": _between(0.75, 0.93)(r)}),
    "chroma-gain": ("chroma", lambda r: {"gain": _between(0.5, 0.88)(r)}),
    "hue-rotated": ("chroma", lambda r: {"degrees": _between(6, 35)(r)}),
    "noise": ("noise", lambda r: {"percent": _between(1.8, 7)(r), "seed": _seed(r)}),
    "tilt": ("tilt", lambda r: {"percent": _between(4, 12)(r)}),
    "hum": (
        "hum",
        lambda r: {
            "percent": _between(5, 12)(r),
            "periods": float(r.choice([1.0, 2.0])),
            "phase": _between(0, 1)(r),
            "gain": False,
        },
    ),
    "echo": ("echo", lambda r: {"samples": _between(8, 70)(r), "percent": _between(8, 20)(r)}),
    "softened": ("softened", lambda r: {"sigma": _between(1.0, 2.2)(r)}),
    "overlay": ("overlay", lambda r: {"words": "MENU", "at": (_between(0.05, 0.7)(r), _between(0.05, 0.8)(r))}),
    "dropouts": ("dropouts", lambda r: {"count": int(r.integers(5, 20)), "level": _between(0, 1)(r), "seed": _seed(r)}),
}
"""Faults of the catalogue with sizes of their own: what makes each, and the draw of its size."""
