"""Which gun's cut-off or drive to turn, which way and how far, so that greys have one colour from dark to bright.

One gun stays as it is, for the others to be matched to; only its cut-off is moved, where black would be too bright or
the darkest greys lost. The settings that are looked for bring the fitted guns nearest to the target white at all levels
from 5 to 100 %. Cut-offs come first, at a dark step, then drives, at a bright one. Each moves the other's step a
little, and readings are noisy: so all of it is read and done once more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from analysis.meter.guns import FEWEST_TO_JUDGE, GUNS, Guns, gun_matrix

__all__ = ["AIM", "FROM_LEVEL", "GreyAdvice", "Item", "Mode", "advise_grey"]

Floats = NDArray[np.float64]

AIM = 0.003
"""u'v' off the target that a grey may be: what is just not seen side by side; common practice, no source."""
FROM_LEVEL = 0.05
"""Of white: below, a tube's light is too little for its colour to be seen."""
_SETTLED = 0.5 * AIM
"""What guns may be off by for nothing to be advised; half of the aim, since they have an uncertainty."""
_SLIGHT = 0.1 * AIM
"""A control that moves no grey by more is left alone."""
_LEVELS = np.array([5, 6, 8, 10, 15, 20, 30, 40, 50, 60, 70, 80, 90, 100]) / 100
"""Where greys are brought to the target: closer in the dark, where cut-offs act."""
_BLACKS = 1e-4, 1e-3
"""Of white: black that the kept gun is brought to where it is lost, and to where it is grey. BT.1886 has its examples
there (blacks of 0.01 to 0.1 cd/m2 for a white of 100)."""
_CUTOFF_MARGIN = 0.003
"""Of the drive range: what the kept gun's cut-off may be below nothing, where the darkest greys are lost, or above what
makes black grey, before it is moved. One standard uncertainty, where that is more."""
_LOW, _HIGH = 0.1, 0.8
"""Where cut-offs and drives are turned: dark with light enough for a meter, bright before the beam is limited."""
_NEAR = 0.05
"""How far off those a step that was read may be, to be taken in their place."""
_LEAST = 0.03
"""Of white: the least level that is brought right by itself where one or two were read."""
_BRIGHT = 0.4
"""Of white: where a single level is brought right by drives from; below, by cut-offs."""
_STEP = 1e-4
_SAMPLES = 100
"""Guns drawn from the fit's uncertainty."""
_LIKELY = 95.0
"""Of 100 cases in which the expected error is not passed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One control to turn."""

    gun: str
    control: str
    """`cut-off` or `drive`."""
    percent: float
    """Up when positive: of the gun's drive range for a cut-off, of what it is for a drive."""
    uncertainty: float
    level: float
    """Where it is turned: a grey of this level is shown."""
    reads: tuple[float, float, float]
    """XYZ in cd/m2 that this grey reads when the control is where it should be, the ones before it turned already."""
    effect: float
    """By how much in u'v' it moves a grey at most, from 5 to 100 %."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedStep:
    """A step as the fitted guns will show it, once all is done."""

    level: float
    xyz: tuple[float, float, float]
    delta_uv: float
    likely: float
    """What `delta_uv` does not pass in 95 of 100 cases, by the fit's uncertainty."""
    gun_percent: tuple[float, float, float]


class Mode(StrEnum):
    """How much was read: a whole scale, or one or two levels that are brought right by themselves."""

    SCALE = "scale"
    TWO = "two points"
    ONE = "one point"


@dataclass(frozen=True, slots=True, kw_only=True)
class GreyAdvice:
    """What to turn, in its order; nothing where greys are right."""

    guns: Guns
    """That it is for: without what holds them back, and without the room's light where that is known."""
    mode: Mode
    judged: tuple[float, ...]
    """Levels from 0 to 1 at which greys are brought to the target."""
    keep: str
    """The gun that others are matched to."""
    items: tuple[Item, ...]
    left_alone: bool
    """Whether controls were left alone, since they would be turned by less than the uncertainty of the amount."""
    now: float
    """Largest error in u'v' of the fitted guns from 5 to 100 %."""
    then: float
    """The same with all of it done, if the fit is right."""
    likely: float
    """What the largest error will not pass in 95 of 100 cases."""
    steps: tuple[ExpectedStep, ...]
    """All steps with all of it done."""


@dataclass(frozen=True, eq=False, slots=True)
class _Turned:
    cutoff: Floats
    drive: Floats


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class _Task:
    """What is to be brought where."""

    guns: Guns
    wanted: Floats
    """u'v' of the target."""
    kept: int
    levels: Floats
    """At which greys are brought to the target."""
    low: float
    high: float
    """Where cut-offs and drives are turned."""
    lift: float
    """Of the kept gun's cut-off."""


def advise_grey(guns: Guns, white: tuple[float, float], levels: Sequence[float], keep: str = "green") -> GreyAdvice:
    """What to turn so that greys have the chromaticity `white`; `levels` (from 0 to 1) are those that were read.

    Of two or three levels with light the lowest is brought right by cut-offs and the highest by drives; of one, by
    drives where it is bright and by cut-offs where it is dark.
    """
    task = _task(guns, white, levels, GUNS.index(keep))
    now = _error(task, _Turned(np.zeros(3), np.zeros(3)))
    items: list[Item] = []
    every = controls = _order(task)
    others = guns.samples(_SAMPLES)
    by_chance = _is_chance(task, others)
    while controls and (now > _SETTLED or task.lift) and not by_chance:
        items = _items(task, _best(task, controls), controls)
        # Where greys are within the aim, what is less than its own uncertainty is left alone, the least certain first:
        # without it, the other amounts change. Beyond the aim all are turned: together they are more certain than each
        # by itself.
        uncertain = [item for item in items if now <= AIM and abs(item.percent) < item.uncertainty]
        if not uncertain:
            break
        least = min(uncertain, key=lambda item: abs(item.percent) / item.uncertainty)
        controls = [(gun, control) for gun, control in controls if (GUNS[gun], control) != (least.gun, least.control)]
        items = []
    done = _Turned(np.zeros(3), np.zeros(3))
    for item in items:
        part = done.cutoff if item.control == "cut-off" else done.drive
        part[GUNS.index(item.gun)] = item.percent / 100
    worst = [_error(replace(task, guns=other), done) for other in others]
    return GreyAdvice(
        guns=guns,
        mode=_mode(levels),
        judged=tuple(task.levels.tolist()),
        keep=keep,
        items=tuple(items),
        left_alone=by_chance or len(controls) < len(every),
        now=now,
        then=_error(task, done),
        likely=float(np.percentile(worst, _LIKELY)),
        steps=_expected_steps(task, white, np.array(levels), done, others),
    )


def _expected_steps(
    task: _Task, white: tuple[float, float], shown: Floats, done: _Turned, others: Sequence[Guns]
) -> tuple[ExpectedStep, ...]:
    """What steps read once all is done; `others` are the guns as they might be too."""
    spread = np.array([_off(other.xyz(shown, done.cutoff, done.drive), task.wanted) for other in others])
    xyz = task.guns.xyz(shown, done.cutoff, done.drive)
    needed = np.linalg.solve(task.guns.matrix, gun_matrix([white])[:, 0])
    lights = np.linalg.solve(task.guns.matrix, xyz.T).T
    with np.errstate(invalid="ignore", divide="ignore"):
        balance = 100 * (lights / (xyz[:, 1:2] * needed) - 1)
    likely = np.percentile(spread, _LIKELY, axis=0)
    off = _off(xyz, task.wanted)
    return tuple(
        ExpectedStep(
            level=float(level),
            xyz=_three(xyz[i]),
            delta_uv=float(off[i]),
            likely=float(likely[i]),
            gun_percent=_three(balance[i]),
        )
        for i, level in enumerate(shown)
        if xyz[i, 1] > 0
    )


def _three(values: Floats) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def _uv(xyz: Floats) -> Floats:
    """u'v' (..., 2) of XYZ (..., 3), of no light too; here, since it is worked out thousands of times."""
    total = np.maximum(xyz[..., 0] + 15 * xyz[..., 1] + 3 * xyz[..., 2], 1e-12)
    return np.asarray(np.stack([4 * xyz[..., 0], 9 * xyz[..., 1]], axis=-1) / total[..., None])


def _off(xyz: Floats, wanted: Floats) -> Floats:
    return np.asarray(np.hypot(*np.moveaxis(_uv(xyz) - wanted, -1, 0)))


def _error(task: _Task, turned: _Turned) -> float:
    return float(_off(task.guns.xyz(task.levels, turned.cutoff, turned.drive), task.wanted).max())


def _is_chance(task: _Task, others: Sequence[Guns]) -> bool:
    """Whether one or two levels are off by no more than their noise: a turn would only add that to the set.

    `others` are the guns as they might be too.
    """
    if task.lift or len(task.levels) not in _CHANCE:
        return False
    off = (_uv(task.guns.xyz(task.levels)) - task.wanted).ravel()
    spread = np.cov(np.array([_uv(other.xyz(task.levels)).ravel() for other in others]).T)
    return float(off @ np.linalg.pinv(spread) @ off) < _CHANCE[len(task.levels)]


_CHANCE = {1: 1.2, 2: 2.0}
"""Of chi-square with two degrees of freedom for each level: what chance passes in half and in three of four cases. To
leave alone what is up to four times as large was tried: sets came out worse."""


def _mode(levels: Sequence[float]) -> Mode:
    lit = {level for level in levels if level >= _LEAST}
    return Mode.SCALE if len(lit) >= FEWEST_TO_JUDGE else Mode.TWO if len(lit) > 1 else Mode.ONE


def _task(guns: Guns, white: tuple[float, float], levels: Sequence[float], kept: int) -> _Task:
    """What is to be brought where, by the levels that were read."""
    wanted, mode = _uv(gun_matrix([white])[:, 0]), _mode(levels)
    if mode is Mode.SCALE:
        low, high = _step_near(_LOW, levels), _step_near(_HIGH, levels)
        return _Task(guns=guns, wanted=wanted, kept=kept, levels=_LEVELS, low=low, high=high, lift=_lift(guns, kept))
    read = sorted(level for level in levels if level >= _LEAST) or [_HIGH]
    lift = _lift(guns, kept) if mode is Mode.TWO else 0.0
    ends = np.array(read if mode is Mode.ONE else [read[0], read[-1]])
    return _Task(guns=guns, wanted=wanted, kept=kept, levels=ends, low=read[0], high=read[-1], lift=lift)


def _lift(guns: Guns, kept: int) -> float:
    """How far the kept gun's cut-off has to move for black to be neither lost nor grey."""
    own, gamma = float(guns.cutoff[kept]), float(guns.gamma[kept])
    # Black's light is (c / (1 + c)) ** gamma of white's.
    low, high = (float(share ** (1 / gamma) / (1 - share ** (1 / gamma))) for share in _BLACKS)
    margin = max(_CUTOFF_MARGIN, float(np.sqrt(guns.covariance[3 + kept, 3 + kept])))
    if own < -margin:
        return low - own
    return high - own if own > high + margin else 0.0


_Control = tuple[int, str]
"""A gun, and `cut-off` or `drive`."""


def _best(task: _Task, controls: Sequence[_Control]) -> _Turned:
    """Where these controls bring greys nearest to the target; the kept gun's cut-off by the lift."""
    cutoffs = [gun for gun, control in controls if control == "cut-off" and gun != task.kept]
    drives = [gun for gun, control in controls if control == "drive"]
    lift = task.lift if (task.kept, "cut-off") in controls else 0.0

    def turned(values: Floats) -> _Turned:
        cutoff, drive = np.zeros(3), np.zeros(3)
        cutoff[task.kept] = lift
        cutoff[cutoffs], drive[drives] = values[: len(cutoffs)], values[len(cutoffs) :]
        return _Turned(cutoff, drive)

    def off(values: Floats) -> Floats:
        done = turned(values)
        return np.asarray((_uv(task.guns.xyz(task.levels, done.cutoff, done.drive)) - task.wanted).ravel() / AIM)

    own = task.guns.cutoff
    start = np.concatenate([own[task.kept] + lift - own[cutoffs], np.zeros(len(drives))])
    if not len(start):
        return turned(start)
    # SciPy's steps are in proportion to where it stands, and from nearly nothing too small to see a change.
    start = np.where(np.abs(start) < _STEP, _STEP, start)
    values = np.asarray(least_squares(off, start, x_scale="jac", max_nfev=100).x)
    free = [*((gun, True) for gun in cutoffs), *((gun, False) for gun in drives)]
    return turned(values if task.lift else values * _worth(task, free, values))


def _worth(task: _Task, free: Sequence[tuple[int, bool]], values: Floats) -> float:
    """The share of what readings ask for that is worth turning: all of it where it is far beyond their noise.

    What several amounts are off together is on average nearer to the truth when it is drawn towards nothing by this
    (James and Stein, 1961, from memory). `free` are guns, and whether their amount is a cut-off's.
    """
    ways = np.array([_way(task.guns, gun, task.kept, is_cutoff=is_cutoff) for gun, is_cutoff in free])
    spread = ways @ task.guns.covariance @ ways.T
    chance = float(values @ np.linalg.pinv(spread) @ values)
    return max(0.0, 1 - max(len(free) - 2, 0) / chance) if 0 < chance < _FAR_BEYOND else 1.0


_FAR_BEYOND = 30.0
"""Of chi-square, from which all of it is turned."""


def _order(task: _Task) -> list[_Control]:
    """Cut-offs, the kept gun's first since the others are matched to it, then drives.

    A single level is brought right by one kind alone.
    """
    moved = [gun for gun in range(3) if gun != task.kept]
    cutoffs: list[_Control] = [(task.kept, "cut-off"), *((gun, "cut-off") for gun in moved)]
    drives: list[_Control] = [(gun, "drive") for gun in moved]
    if len(task.levels) == 1:
        return drives if task.high >= _BRIGHT else cutoffs
    return [*cutoffs, *drives]


def _items(task: _Task, best: _Turned, controls: Sequence[_Control]) -> list[Item]:
    guns, levels = task.guns, task.levels
    done = _Turned(np.zeros(3), np.zeros(3))
    items = []
    for gun, control in controls:
        is_cutoff = control == "cut-off"
        amount = float((best.cutoff if is_cutoff else best.drive)[gun])
        without = _Turned(best.cutoff.copy(), best.drive.copy())
        (without.cutoff if is_cutoff else without.drive)[gun] = 0.0
        moved = _uv(guns.xyz(levels, best.cutoff, best.drive)) - _uv(guns.xyz(levels, without.cutoff, without.drive))
        effect = float(np.hypot(*moved.T).max())
        if effect < _SLIGHT or amount == 0:
            continue
        (done.cutoff if is_cutoff else done.drive)[gun] = amount
        level = task.low if is_cutoff else task.high
        items.append(
            Item(
                gun=GUNS[gun],
                control=control,
                percent=100 * amount,
                uncertainty=100 * _uncertainty(guns, gun, task.kept, is_cutoff=is_cutoff),
                level=level,
                reads=_three(guns.xyz(level, done.cutoff, done.drive)),
                effect=effect,
            )
        )
    return items


def _uncertainty(guns: Guns, gun: int, kept: int, *, is_cutoff: bool) -> float:
    """Standard uncertainty of an amount: of the gun against the kept one."""
    way = _way(guns, gun, kept, is_cutoff=is_cutoff)
    return float(np.sqrt(max(float(way @ guns.covariance @ way), 0.0)))


def _way(guns: Guns, gun: int, kept: int, *, is_cutoff: bool) -> Floats:
    """What an amount changes by with each of the guns' values."""
    way = np.zeros(len(guns.values))
    # Light goes with the power gamma of drive.
    at, size = (3, 1.0) if is_cutoff else (0, 1 / float(guns.gamma[gun]))
    way[at + gun] = size
    if gun != kept:
        way[at + kept] = -size
    return way


def _step_near(wanted: float, levels: Sequence[float]) -> float:
    near = min(levels, key=lambda level: abs(level - wanted))
    return float(near) if abs(near - wanted) <= _NEAR else wanted
