"""Three guns as equations: the light of each as a power of its drive, fitted to all grey readings at once.

A gun gives `light * (max(v + cutoff, 0) / (1 + cutoff)) ** gamma` of a signal v from 0 (black) to 1 (white), and the
phosphors' colours add up. Cut-off is in parts of the gun's drive range, the way that its beam's drive goes from black
to white; so a cut-off below nothing hides the darkest steps, and one above it lights black. Single readings of dark
steps are too noisy to adjust by: nine figures that all readings share are not.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import least_squares

from analysis.guns import GUNS
from analysis.meter.noise import meter_noise
from analysis.meter.readings.types import Meter, Reading

__all__ = ["FEWEST_LEVELS", "FEWEST_TO_JUDGE", "GUNS", "NO_TOP", "Guns", "Scale", "Top", "fit_guns", "gun_matrix"]

Floats = NDArray[np.float64]

FEWEST_LEVELS = 1
"""Different levels with light. What is known beforehand of tubes stands for what one or two cannot show."""
FEWEST_TO_JUDGE = 4
"""Different levels with light from which the fit can be judged: each gun has three unknowns."""
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
_WIDER = 1.15
"""What uncertainties are widened by for what the fit takes as known, such as noise and primaries; by the trials of
`tests/trials/meters`, so that two of them hold in 95 of 100 cases."""
_STEPS = (0.05, 0.01)


def gun_matrix(primaries: ArrayLike) -> Floats:
    """(3, n): the columns are XYZ of 1 cd/m2 of each colour, from their xy (n, 2)."""
    x, y = np.asarray(primaries, dtype=np.float64).T
    return np.array([x / y, np.ones(len(x)), (1 - x - y) / y])


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Top:
    """What holds the brightest greys back: a knee of each gun's drive, and a limit of all guns' light together.

    Above its knee, in parts of the drive at white, a gun follows with this slope; above the limit in cd/m2, light grows
    with the slope of the rest. Infinite where there is none.
    """

    knee: Floats
    """(3,)."""
    slope: Floats
    """(3,) from 0, where the gun clips, to 1."""
    limit: float = np.inf
    rest: float = 1.0


NO_TOP = Top(knee=np.full(3, np.inf), slope=np.ones(3))


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
    top: Top = NO_TOP
    cost: float = 0.0
    """Half the sum of squares of what readings and what is known beforehand are off, the far ones counted less."""

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
        return _lights(self.values, levels, self.top, np.asarray(cutoff), np.asarray(drive))

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
    """The symmetric root: the signs of eigenvectors alone differ between processors, and samples would too."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0))) @ vectors.T)


def _lights(values: Floats, levels: ArrayLike, top: Top, cutoff: ArrayLike = 0.0, drive: ArrayLike = 0.0) -> Floats:
    v = np.asarray(levels, dtype=np.float64)[..., None]
    own, gamma = values[3:6], values[6:9]
    signal = np.maximum(v * (1 + np.asarray(drive)) + own + cutoff, 0) / np.maximum(1 + own, _STEPS[0])
    if np.isfinite(top.knee).any():
        signal = signal - (1 - top.slope) * np.maximum(signal - top.knee, 0)
    lights = np.exp(values[:3]) * signal**gamma
    if np.isfinite(top.limit):
        together = lights.sum(axis=-1, keepdims=True)
        held = top.limit + top.rest * (together - top.limit)
        lights = lights * np.where(together > top.limit, held / np.maximum(together, 1e-12), 1)
    return np.asarray(lights, dtype=np.float64)


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Scale:
    """Grey readings, and what their light is compared with."""

    readings: Sequence[Reading]
    primaries: Floats
    """(3, 2): xy of the tube's."""
    room_xy: tuple[float, float]
    """The chromaticity that the room's light is taken to have."""
    meter: Meter
    room_spread: float = _ROOM_SPREAD
    """cd/m2 of the room's light that is likely."""
    cutoff_spread: float = _CUTOFF_SPREAD
    """Of the drive range: what cut-offs are likely to be off nothing."""

    @property
    def levels(self) -> Floats:
        """(n,) from 0 to 1."""
        return np.array([item.level_percent / 100 for item in self.readings])

    @property
    def xyz(self) -> Floats:
        """(n, 3) in cd/m2."""
        return np.array([item.xyz for item in self.readings]).reshape(-1, 3)

    def residuals(self) -> Callable[[Floats, Top], Floats]:
        """What gives, for the values of guns and what holds them back, how far all is off, in standard deviations.

        First the light of each reading, then x and y of each that has light, then what is known beforehand.
        """
        matrix, levels, xyz = gun_matrix(self.primaries), self.levels, self.xyz
        room = gun_matrix([self.room_xy])[:, 0]
        spread, spot = meter_noise(xyz[:, 1], self.meter)
        total = np.maximum(xyz.sum(axis=1), 1e-9)
        seen = xyz[:, 1] > 0
        xy = xyz[:, :2] / total[:, None]

        def off(values: Floats, top: Top) -> Floats:
            shown = _lights(values, levels, top) @ matrix.T + values[9] * room
            light = (shown[:, 1] - xyz[:, 1]) / spread
            # Against the light that was read, so that it stays finite where the model gives none.
            places = (shown[:, :2] - xy * shown.sum(axis=1, keepdims=True)) / (total * spot)[:, None]
            return np.concatenate(
                [light, places[seen].ravel(), _expected(values, self.room_spread, self.cutoff_spread)]
            )

        return off


def fit_guns(
    scale: Scale,
    top: Callable[[Floats], Top] | None = None,
    first: Sequence[Sequence[float]] = (),
    *,
    begin: Floats | None = None,
    most: int = 200,
) -> Guns:
    """Fit the guns to grey readings.

    Light that stays whatever the guns do, the room's on the glass, is taken to have the chromaticity of the white.
    Each reading counts by the meter's noise. What is known beforehand counts like readings: gammas are about 2.4 and
    alike, cut-offs not far from nothing. `top` makes what holds the brightest greys back of further unknowns, whose
    first, least and most values are `first`. The fit starts at the values `begin`, and ends after `most` steps.

    Raises:
        ValueError: fewer than `FEWEST_LEVELS` levels give light, or it does not rise with them.
    """
    lit = sorted((item.level_percent, item.luminance) for item in scale.readings if item.luminance > 0)
    many = len({level for level, _ in lit})
    if many < FEWEST_LEVELS:
        raise ValueError("no grey gives light")
    if many > 1 and lit[-1][1] < _RISES * lit[0][1]:
        raise ValueError("light does not rise from dark greys to bright ones as a grey scale's does")
    matrix, off = gun_matrix(scale.primaries), scale.residuals()
    start, (low, high) = _start(scale.levels, np.asarray(np.linalg.solve(matrix, scale.xyz.T).T)), _bounds()
    start = start if begin is None else np.clip(begin, low + 1e-9, high - 1e-9)
    known = len(start)
    if top is not None:
        at, least, largest = (np.asarray(values, dtype=np.float64) for values in first)
        start, low, high = np.append(start, at), np.append(low, least), np.append(high, largest)

    def top_of(values: Floats) -> Top:
        return NO_TOP if top is None else top(values[known:])

    found = least_squares(
        lambda values: off(values[:known], top_of(values)),
        start,
        bounds=(low, high),
        loss="huber",
        f_scale=_STRAY,
        x_scale="jac",
        max_nfev=most,
    )
    rest = off(found.x[:known], top_of(found.x))[: -len(_expected(found.x, 1.0, 1.0))]
    free = max(len(rest) - len(start), 1)
    misfit = float(np.sqrt((np.minimum(np.abs(rest), _STRAY) ** 2).sum() / free))
    covariance = np.linalg.pinv(found.jac.T @ found.jac)[:known, :known] * (_WIDER * max(1.0, misfit)) ** 2
    return Guns(
        matrix=matrix,
        values=found.x[:known],
        room_xyz=gun_matrix([scale.room_xy])[:, 0],
        covariance=covariance,
        misfit=misfit,
        top=top_of(found.x),
        cost=float(found.cost),
    )


def _bounds() -> tuple[Floats, Floats]:
    low, high = np.repeat(np.array(_LIMITS), 3, axis=0).T
    return np.append(low, 0.0), np.append(high, _MOST_ROOM)


def _expected(values: Floats, room_spread: float, cutoff_spread: float) -> Floats:
    gamma = values[6:9]
    mean = gamma.mean()
    shared = [(mean - _GAMMA) / _GAMMA_SPREAD, values[9] / room_spread]
    return np.concatenate([values[3:6] / cutoff_spread, shared, (gamma - mean) / _GAMMA_APART])


def _start(levels: Floats, lights: Floats) -> Floats:
    """Where the fit begins: a straight line through each gun's light to the power of 1/gamma."""
    values = np.zeros(10)
    values[6:9], values[9] = _GAMMA, 0.1 * _ROOM_SPREAD
    for gun in range(3):
        light = np.maximum(lights[:, gun], 0)
        root = light ** (1 / _GAMMA)
        bright = root > 0.2 * root.max()
        slope, at = root.max() / max(levels.max(), _STEPS[1]), 0.0
        if len(set(levels[bright])) > 1:
            slope, at = np.polyfit(levels[bright], root[bright], 1)
        slope = max(slope, 0.1 * root.max(), _STEPS[1])
        values[3 + gun] = np.clip(at / slope, -0.2, 0.2)
        values[gun] = _GAMMA * np.log(max(slope * (1 + values[3 + gun]), _STEPS[1]))
    return values
