"""How far a single reading may be off: what the meter's makers say, its dark noise, and the digits of the file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.meter.readings.types import Meter, Reading, Readings

__all__ = ["USUAL_DARK", "mean_noise", "meter_noise", "refined_meter", "settled_meter"]

Floats = NDArray[np.float64]

USUAL_DARK = 0.0005
"""cd/m2: what readings scatter by in the dark, besides the meter's share, before any were repeated; this project's
choice."""
_DARK_SPREAD = 3.0
"""The factor by which that is uncertain, one standard deviation."""
_DARKEST, _MOST = 2e-5, 0.2
"""cd/m2 between which dark noise is searched."""
_COLOUR_OF_DARK = 0.26
"""Dark noise in x and y, times the luminance, of what it is in luminance: equal noise of X, Y and Z near white gives
x = X / (X + Y + Z) a noise of sqrt((1 - x)^2 + 2 x^2) / 3 of it, by hand."""
_EVEN = 12**-0.5
"""Standard deviation of what rounding takes away, in steps of the last digit."""
_DEGREES = 4.0
"""Of Student's distribution, by which a slip of the pen makes no dark noise."""


def meter_noise(luminance: ArrayLike, meter: Meter) -> tuple[Floats, Floats]:
    """Standard deviations of one reading: of luminance in cd/m2, and of x and of y; more in the dark.

    They are the root sum squares of the meter's share, its dark noise, and the rounding to the last digit.
    """
    light = np.asarray(luminance, dtype=np.float64)
    dark, dark_xy = _dark(meter)
    rounded = _EVEN * (meter.resolution or 0.0)
    spread = np.sqrt((meter.luminance * light) ** 2 + dark**2 + rounded**2)
    fixed = meter.xy**2 + (_EVEN * (meter.xy_resolution or 0.0)) ** 2
    return spread, np.asarray(np.sqrt(fixed + (dark_xy / np.maximum(light, 1e-9)) ** 2))


def mean_noise(luminance: ArrayLike, count: ArrayLike, meter: Meter) -> tuple[Floats, Floats]:
    """The same of means of `count` readings.

    Noise shrinks with the root of their number. Rounding does only where noise is as large as the last digit: a meter
    that reads 0.01 three times may have 0.014 before it each time. What is left over of it is the first harmonic of the
    rounding error, which noise of s steps leaves exp(-2 pi^2 s^2) of; half the noise is taken, which is uncertain too.
    """
    light, many = np.asarray(luminance, dtype=np.float64), np.asarray(count, dtype=np.float64)
    plain = replace(meter, resolution=0.0, xy_resolution=0.0)
    spread, spot = meter_noise(light, plain)
    return _averaged(spread, many, meter.resolution or 0.0), _averaged(spot, many, meter.xy_resolution or 0.0)


def _averaged(noise: Floats, many: Floats, step: float) -> Floats:
    if not step:
        return np.asarray(noise / np.sqrt(many))
    left = np.exp(-(np.pi**2) * (noise / step) ** 2)
    return np.asarray(np.sqrt(noise**2 / many + (_EVEN * step) ** 2 * np.maximum(left, 1 / many)))


def _dark(meter: Meter) -> tuple[float, float]:
    dark = USUAL_DARK if meter.dark is None else meter.dark
    return dark, _COLOUR_OF_DARK * dark if meter.dark_xy is None else meter.dark_xy


def settled_meter(meter: Meter, readings: Readings) -> Meter:
    """The meter with everything that was not stated taken from the readings.

    Resolution is the last digit that the file shows. Dark noise is what repeated dark readings scatter by beyond
    rounding and the meter's share, drawn towards `USUAL_DARK` where few are there.
    """
    resolution = readings.light_step if meter.resolution is None else meter.resolution
    xy_resolution = readings.xy_step if meter.xy_resolution is None else meter.xy_resolution
    meter = replace(meter, resolution=resolution, xy_resolution=xy_resolution)
    if meter.dark is not None:
        return _with_rounded_amounts(meter, readings)
    groups = _repeated(readings.items)
    levels = np.array([np.mean([item.luminance for item in group]) for group in groups])
    many = np.array([len(group) for group in groups])
    squares = [np.sum((np.array([item.luminance for item in g]) - m) ** 2) for g, m in zip(groups, levels, strict=True)]
    known = (meter.luminance * levels) ** 2 + (_EVEN * resolution) ** 2
    dark = _expected(np.array(squares), many - 1, known, np.ones(len(levels)), USUAL_DARK)
    meter = replace(meter, dark=dark)
    lit = [i for i, group in enumerate(groups) if min(item.luminance for item in group) > 0]
    spots = [np.array([item.xy for item in groups[i]], dtype=np.float64) for i in lit]
    squares = [float(((spot - spot.mean(axis=0)) ** 2).sum()) for spot in spots]
    known = np.full(len(lit), meter.xy**2 + (_EVEN * xy_resolution) ** 2)
    dark_xy = _expected(np.array(squares), 2 * (many[lit] - 1), known, levels[lit] ** -2.0, _COLOUR_OF_DARK * dark)
    return _with_rounded_amounts(replace(meter, dark_xy=dark_xy), readings)


def refined_meter(meter: Meter, light: Floats, off: Floats, away: Floats) -> Meter:
    """The meter with its dark noise judged by what readings are off a fit too.

    Args:
        meter: as `settled_meter` has it; it is returned where its dark noise was stated.
        light: (n,) cd/m2 of the fit at each reading that has light.
        off: (n,) what the readings' light is off.
        away: (n, 2) what their x and y are off.
    """
    if meter.dark is None or meter.dark_xy is None:
        return meter
    degrees = np.ones(len(light), dtype=int)
    known = (meter.luminance * light) ** 2 + (_EVEN * (meter.resolution or 0.0)) ** 2
    dark = _expected(off**2, degrees, known, np.ones(len(light)), meter.dark)
    known = np.full(len(light), meter.xy**2 + (_EVEN * (meter.xy_resolution or 0.0)) ** 2)
    weight = np.maximum(light, 1e-6) ** -2.0
    return replace(
        meter, dark=dark, dark_xy=_expected((away**2).sum(axis=1), 2 * degrees, known, weight, meter.dark_xy)
    )


def _with_rounded_amounts(meter: Meter, readings: Readings) -> Meter:
    """Where X, Y and Z are in the file, rounding them moves x and y as dark noise does."""
    rounded = _EVEN * _COLOUR_OF_DARK * (meter.resolution or 0.0) if readings.as_amounts else 0.0
    return replace(meter, dark_xy=float(np.hypot(_dark(meter)[1], rounded)))


def _repeated(items: Sequence[Reading]) -> list[list[Reading]]:
    groups: dict[tuple[str, float], list[Reading]] = {}
    for item in items:
        groups.setdefault((item.field, round(item.level_percent, 1)), []).append(item)
    return [group for group in groups.values() if len(group) > 1]


def _expected(squares: Floats, degrees: NDArray[np.int_], known: Floats, weight: Floats, usual: float) -> float:
    """The dark noise to be expected from sums of squares of variances `known` + `weight` times its square."""
    tried = np.exp(np.linspace(np.log(_DARKEST), np.log(_MOST), 120))
    prior = -0.5 * (np.log(tried / usual) / np.log(_DARK_SPREAD)) ** 2
    if not len(squares):
        return usual
    variance = known + weight * tried[:, None] ** 2
    tail = (degrees + _DEGREES) / 2 * np.log1p(squares / (_DEGREES * variance))
    likely = prior - (tail + degrees / 2 * np.log(variance)).sum(axis=1)
    share = np.exp(likely - likely.max())
    # The mean of the square, not the likeliest: three readings that happen to agree are no meter without noise.
    return float(np.sqrt((share * tried**2).sum() / share.sum()))
