"""Three guns as equations: the light of each as a power of its drive, fitted to all grey readings at once.

A gun gives `light * (max(v + cutoff, 0) / (1 + cutoff)) ** gamma` of a signal v from 0 (black) to 1 (white), and the
phosphors' colours add up. Cut-off is in parts of the gun's drive range, the way that its beam's drive goes from black
to white; so a cut-off below nothing hides the darkest steps, and one above it lights black. Single readings of dark
steps are too noisy to adjust by: nine figures that all readings share are not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from analysis.guns import GUNS
from analysis.meter.readings.types import Meter, Reading

__all__ = ["FEWEST_LEVELS", "GUNS", "Guns", "fit_guns", "gun_matrix", "meter_noise"]

Floats = NDArray[np.float64]

FEWEST_LEVELS = 4
"""Different levels with light: each gun has three unknowns, and a fourth level lets the fit be judged."""
_DARK = 0.0005
"""cd/m2: what the darkest readings scatter by, besides the meter's share; this project's choice."""
_GAMMA, _GAMMA_SPREAD = 2.4, 0.3
"""What a tube's gamma is near before anything is read, and the standard deviation: common practice, no source."""
_GAMMA_APART = 0.03
"""Standard deviation of a gun's gamma from the mean of the three: guns of one make are alike; this project's choice."""
_CUTOFF_SPREAD = 0.1
"""Standard deviation of a cut-off about nothing, before anything is read: a set that is further off shows no grey."""
_ROOM_SPREAD = 0.03
"""cd/m2 of the room's light on the glass that is likely, when the light is put out as it should be."""
_STRAY = 3.0
"""Standard deviations beyond which a reading loses weight (Huber's function)."""
_LIMITS = ((-15.0, 15.0), (-0.4, 0.4), (1.2, 4.0))
"""Of the logarithm of light, of cut-off and of gamma: beyond, nothing is a picture tube."""
_MOST_ROOM = 1e4
"""cd/m2."""
_RISES = 2.0
"""How many times the light of the darkest step the brightest one has to give for there to be a grey scale."""
_STEPS = (0.05, 0.01)


def gun_matrix(primaries: ArrayLike) -> Floats:
    """(3, n): the columns are XYZ of 1 cd/m2 of each colour, from their xy (n, 2)."""
    x, y = np.asarray(primaries, dtype=np.float64).T
    return np.array([x / y, np.ones(len(x)), (1 - x - y) / y])


def meter_noise(luminance: ArrayLike, meter: Meter) -> tuple[Floats, Floats]:
    """Standard deviations of one reading: of luminance in cd/m2, and of x and of y; more in the dark."""
    light = np.asarray(luminance, dtype=np.float64)
    spread = np.hypot(meter.luminance * light, _DARK)
    return spread, meter.xy * np.hypot(1, _DARK / (meter.luminance * np.maximum(light, 1e-9)))


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Guns:
    """The fitted guns, red, green and blue throughout."""

    matrix: Floats
    """(3, 3): the columns are XYZ of 1 cd/m2 of each gun."""
    values: Floats
    """(10,): logarithms of the light at 100 % in cd/m2, cut-offs in parts of the drive range, gammas, and the light of
    the room in cd/m2."""
    room_xyz: Floats
    """(3,): XYZ of 1 cd/m2 of the room's light."""
    covariance: Floats
    """(10, 10) of `values`; wider than the meter's noise alone where readings scatter more than that."""
    misfit: float
    """Root mean square of what readings are off the model, in their standard deviations: about 1 where it fits."""

    @property
    def light(self) -> Floats:
        """(3,) in cd/m2 at 100 %."""
        return np.exp(self.values[:3])

    @property
    def cutoff(self) -> Floats:
        """(3,) in parts of the drive range."""
        return self.values[3:6]

    @property
    def gamma(self) -> Floats:
        """(3,)."""
        return self.values[6:9]

    @property
    def room(self) -> float:
        """Light that is on the glass whatever the guns do, in cd/m2."""
        return float(self.values[9])

    def lights(self, levels: ArrayLike, cutoff: ArrayLike = 0.0, drive: ArrayLike = 0.0) -> Floats:
        """Light of each gun (..., 3) in cd/m2 at levels (...) from 0 to 1, with its controls turned.

        `cutoff` is added to the cut-offs, in parts of the drive range as it is; drives grow by the share `drive`.
        """
        return _lights(self.values, levels, np.asarray(cutoff), np.asarray(drive))

    def xyz(self, levels: ArrayLike, cutoff: ArrayLike = 0.0, drive: ArrayLike = 0.0) -> Floats:
        """XYZ (..., 3) in cd/m2 of greys, as `lights`."""
        return np.asarray(self.lights(levels, cutoff, drive) @ self.matrix.T + self.room * self.room_xyz)

    def samples(self, number: int) -> list[Guns]:
        """Guns as they might be too, drawn from the fit's uncertainty; the same each time."""
        chance = np.random.default_rng(1)
        root = _root(self.covariance)
        drawn = self.values + chance.standard_normal((number, len(self.values))) @ root.T
        low, high = _bounds()
        return [replace(self, values=values) for values in np.clip(drawn, low, high)]


def _root(covariance: Floats) -> Floats:
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0)))


def _lights(values: Floats, levels: ArrayLike, cutoff: Floats, drive: Floats) -> Floats:
    v = np.asarray(levels, dtype=np.float64)[..., None]
    own, gamma = values[3:6], values[6:9]
    signal = np.maximum(v * (1 + drive) + own + cutoff, 0) / np.maximum(1 + own, _STEPS[0])
    return np.asarray(np.exp(values[:3]) * signal**gamma, dtype=np.float64)


def fit_guns(readings: Sequence[Reading], primaries: ArrayLike, white: tuple[float, float], meter: Meter) -> Guns:
    """Fit the guns to grey readings, through the xy (3, 2) of the tube's primaries.

    Light that stays whatever the guns do, the room's on the glass, is taken to have the chromaticity `white`.
    Each reading counts by the meter's noise. What is known beforehand counts like readings: gammas are about 2.4 and
    alike, cut-offs not far from nothing.

    Raises:
        ValueError: fewer than `FEWEST_LEVELS` levels give light, or it does not rise with them.
    """
    lit = sorted((item.level_percent, item.luminance) for item in readings if item.luminance > 0)
    many = len({level for level, _ in lit})
    if many < FEWEST_LEVELS:
        raise ValueError(f"greys of {many} level{'s' * (many != 1)} give light, at least {FEWEST_LEVELS} are needed")
    if lit[-1][1] < _RISES * lit[0][1]:
        raise ValueError("light does not rise from dark greys to bright ones as a grey scale's does")
    matrix, room = gun_matrix(primaries), gun_matrix([white])[:, 0]
    levels = np.array([item.level_percent / 100 for item in readings])
    xyz = np.array([item.xyz for item in readings])
    spread, spot = meter_noise(xyz[:, 1], meter)
    total = np.maximum(xyz.sum(axis=1), 1e-9)
    seen = xyz[:, 1] > 0
    xy = xyz[:, :2] / total[:, None]

    def off(values: Floats) -> Floats:
        told = _lights(values, levels, np.zeros(3), np.zeros(3)) @ matrix.T + values[9] * room
        light = (told[:, 1] - xyz[:, 1]) / spread
        # Against the light that was read, so that it stays finite where the model gives none.
        places = (told[:, :2] - xy * told.sum(axis=1, keepdims=True)) / (total * spot)[:, None]
        return np.concatenate([light, places[seen].ravel(), _expected(values)])

    start = _start(levels, np.linalg.solve(matrix, xyz.T).T)
    found = least_squares(off, start, bounds=_bounds(), loss="huber", f_scale=_STRAY, x_scale="jac", max_nfev=200)
    rest = off(found.x)[: -len(_expected(found.x))]
    free = max(len(rest) - len(start), 1)
    misfit = float(np.sqrt((np.minimum(np.abs(rest), _STRAY) ** 2).sum() / free))
    covariance = np.linalg.pinv(found.jac.T @ found.jac) * max(1.0, misfit) ** 2
    return Guns(matrix=matrix, values=found.x, room_xyz=room, covariance=covariance, misfit=misfit)


def _bounds() -> tuple[Floats, Floats]:
    low, high = np.repeat(np.array(_LIMITS), 3, axis=0).T
    return np.append(low, 0.0), np.append(high, _MOST_ROOM)


def _expected(values: Floats) -> Floats:
    gamma = values[6:9]
    mean = gamma.mean()
    shared = [(mean - _GAMMA) / _GAMMA_SPREAD, values[9] / _ROOM_SPREAD]
    return np.concatenate([values[3:6] / _CUTOFF_SPREAD, shared, (gamma - mean) / _GAMMA_APART])


def _start(levels: Floats, lights: Floats) -> Floats:
    """Where the fit begins: a straight line through each gun's light to the power of 1/gamma."""
    values = np.zeros(10)
    values[6:9], values[9] = _GAMMA, 0.1 * _ROOM_SPREAD
    for gun in range(3):
        light = np.maximum(lights[:, gun], 0)
        root = light ** (1 / _GAMMA)
        bright = root > 0.2 * root.max()
        slope, at = np.polyfit(levels[bright], root[bright], 1) if len(set(levels[bright])) > 1 else (root.max(), 0.0)
        slope = max(slope, 0.1 * root.max(), _STEPS[1])
        values[3 + gun] = np.clip(at / slope, -0.2, 0.2)
        values[gun] = _GAMMA * np.log(max(slope * (1 + values[3 + gun]), _STEPS[1]))
    return values
