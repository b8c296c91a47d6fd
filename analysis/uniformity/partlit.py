"""Whether a part of the face is at part of its light, as a shutter leaves it that is open for no whole fields."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from analysis.statistics import MAD_TO_SIGMA
from analysis.uniformity.area import LitArea
from analysis.uniformity.light import SmallLight
from analysis.uniformity.map import FieldMap

__all__ = ["is_partly_lit", "step_in"]

Floats = NDArray[np.float64]

_BESIDE = (0.05, 0.08, 0.11, 0.14)
"""Heights beyond the lit area where the rest of the face would be."""
_SOME_LIGHT = 0.12
"""Share of the area's light from which what lies beside it is lit too."""
_CLEARLY = 2.5
"""How many times as bright as what lies beside the other two sides."""
_STEP = 0.07
"""Change of light, relative, from one side of a line across the face to the other: glass and guns make none."""
_NEAR = 3
"""Cells on each side of the line; one in its middle is left out."""


def is_partly_lit(small: SmallLight, area: LitArea) -> bool:
    """Whether light goes on beyond two opposite sides of the lit area, or one of them, where the face goes on."""
    bright = small.light.sum(axis=2)
    along = np.linspace(-0.6, 0.6, 25)
    inside = float(np.median(bright[area.clear]))

    def beyond(side: int, sign: int) -> float:
        levels = []
        for away in _BESIDE:
            across = np.full_like(along, sign * (1 + 2 * away))
            u, v = (along, across) if side else (across, along)
            places = np.stack([u, v, np.ones_like(u)], axis=-1) @ area.to_photo.T
            x, y = np.round(small.to_small(places[:, :2] / places[:, 2:])).astype(int).T
            seen = (x >= 0) & (y >= 0) & (x < bright.shape[1]) & (y < bright.shape[0])
            levels.append(float(np.median(bright[y[seen], x[seen]])) if seen.sum() > len(along) / 2 else 0.0)
        return min(levels) / inside

    sides = [max(beyond(side, -1), beyond(side, 1)) for side in (0, 1)]
    return max(sides) > max(_SOME_LIGHT, _CLEARLY * min(sides))


def step_in(field: FieldMap) -> float:
    """The largest step of light across the whole face, relative; 0 where there is none that is clear of the rest."""
    logs = np.where(field.plain, np.log(field.light.sum(axis=-1)), np.nan)
    largest = 0.0
    for values in (logs, logs.T):
        # Light falls off alike along each line: what is left of a line's middle is the step.
        with np.errstate(all="ignore"):
            profile = np.array(
                [np.nanmedian(row) if np.isfinite(row).sum() > len(row) / 2 else np.nan for row in values]
            )
        before = np.array([_mean(profile, i - _NEAR, i) for i in range(len(profile))])
        after = np.array([_mean(profile, i + 1, i + 1 + _NEAR) for i in range(len(profile))])
        change = after - before
        known = np.isfinite(change)
        if known.sum() < 8:
            continue
        usual = float(np.median(change[known]))
        spread = MAD_TO_SIGMA * float(np.median(np.abs(change[known] - usual))) + 1e-4
        most = float(np.max(np.abs(change[known] - usual)))
        if most > max(_STEP, 5 * spread):
            largest = max(largest, most)
    return largest


def _mean(values: Floats, start: int, stop: int) -> float:
    if start < 0 or stop > len(values):
        return float("nan")
    return float(np.mean(values[start:stop]))
