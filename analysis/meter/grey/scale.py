"""The grey scale as a whole: black, white, contrast, gamma, and how far it is off BT.1886."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.meter.colours import bt1886
from analysis.meter.noise import mean_noise
from analysis.meter.readings.types import Meter, Reading
from analysis.meter.repeats import mean_of

__all__ = ["BLACK", "whole_scale"]

Floats = NDArray[np.float64]
Figures = Mapping[str, float | None]

BLACK = 0.05
"""Percent of level up to which grey is black."""
_WHITE = 0.5
"""Percent of level off 100 within which grey is white: a whole code of 8 bits is 0.46 %."""
_GAMMA_FROM = 0.1
"""Of white: gamma and the deviation from BT.1886 are of steps from here on, as noise and black rule below."""
_LEAST = 0.25
"""Of a step's light, what it is taken to have at least."""
_BT1886 = "bt1886_error_percent", "bt1886_error_level_percent"


def whole_scale(groups: Sequence[Sequence[Reading]], meter: Meter) -> tuple[Figures, Figures, dict[str, str]]:
    """Figures of a grey scale, their standard uncertainties, and why some are not available.

    `groups` are the readings of each level, from dark to bright. Gamma is the slope of the logarithm of light, less
    black's, against that of the level, from 10 to 100 %. The deviation from BT.1886, with the scale's own black and
    white, is that of the step from 10 % to below white where it is largest, in percent of the light it asks for.
    """
    levels = np.array([items[0].level_percent / 100 for items in groups])
    light = np.array([mean_of(items)[1] for items in groups])
    spread = mean_noise(light, [len(items) for items in groups], meter)[0]
    reasons: dict[str, str] = {}
    figures = _scale(levels, light, reasons)
    worst = figures["bt1886_error_level_percent"]
    squares = dict.fromkeys(figures, 0.0)
    for i in range(len(light)):
        changes: dict[str, list[float]] = {name: [] for name in figures}
        # Both ways, since contrast changes more where black is darker; a tube's black is never nothing.
        for moved_light in (light[i] + spread[i], max(light[i] - spread[i], _LEAST * light[i])):
            moved = light.copy()
            moved[i] = moved_light
            for name, there in _scale(levels, moved, {}, worst).items():
                value = figures[name]
                changes[name] += [] if value is None or there is None else [abs(there - value)]
        for name, some in changes.items():
            squares[name] += float(np.mean(some)) ** 2 if some else 0.0
    uncertainty = {name: None if figures[name] is None else float(np.sqrt(square)) for name, square in squares.items()}
    # A level is chosen and not read.
    return figures, uncertainty | {"bt1886_error_level_percent": None}, reasons


def _scale(levels: Floats, light: Floats, reasons: dict[str, str], at: float | None = None) -> dict[str, float | None]:
    """Figures of the whole scale; why one is not available goes into `reasons`.

    The deviation from BT.1886 is that of the step `at` this percent, or else of the worst.
    """
    found: dict[str, float | None] = dict.fromkeys(("black_cd_m2", "white_cd_m2", "contrast", "gamma", *_BT1886))
    dark, bright = levels <= BLACK / 100, np.abs(levels - 1) <= _WHITE / 100
    no_black, no_white = "no grey at 0 % was read", "no grey at 100 % was read"
    if dark.any():
        found["black_cd_m2"] = float(light[dark][0])
    else:
        reasons["black_cd_m2"] = reasons["contrast"] = no_black
    if bright.any():
        found["white_cd_m2"] = float(light[bright][0])
    else:
        reasons |= dict.fromkeys(("white_cd_m2", "contrast", *_BT1886), no_white)
    black, white = found["black_cd_m2"], found["white_cd_m2"]
    if black is not None and white is not None and black >= white:
        reasons["contrast"] = "black gives no less light than white; see whether readings stand at their own levels"
    elif black is not None and white is not None and black > 0:
        found["contrast"] = white / black
    elif black == 0 and white is not None:
        reasons["contrast"] = "the meter read no light of black, so that contrast has no end"
    base = black or 0.0
    used = (levels >= _GAMMA_FROM - 1e-9) & (levels <= 1 + _WHITE / 100) & (light > base)
    if np.ptp(levels[used]) > 0 if used.any() else False:
        slope = np.polyfit(np.log(levels[used]), np.log(light[used] - base), 1)[0]
        found["gamma"] = float(slope)
    else:
        reasons["gamma"] = "fewer than two greys from 10 to 100 % give more light than black"
    inner = used & ~bright
    if white is not None and white > base and inner.any():
        errors = 100 * (light[inner] / bt1886(levels[inner], white, base) - 1)
        worst = int(np.argmax(np.abs(errors) if at is None else -np.abs(100 * levels[inner] - at)))
        found["bt1886_error_percent"] = float(errors[worst])
        found["bt1886_error_level_percent"] = float(100 * levels[inner][worst])
    elif white is not None:
        which = "no grey between 10 and 100 % gives" if white > base else "white gives no"
        reasons |= dict.fromkeys(_BT1886, f"{which} more light than black")
    return found
