"""What else than three guns a grey scale shows: guns that clip or compress, limited beam current, light in the room.

The fit of three guns is asked first whether any of these would explain what it leaves over (a score test, which costs
nothing); only those that might are fitted. Each has two unknowns more, and has to be worth them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.meter.guns import FEWEST_TO_JUDGE, NO_TOP, Guns, Scale, Top, fit_guns

__all__ = ["ALL", "LIMIT", "ROOM", "Fitted", "Kind", "fit_with_limits"]

Floats = NDArray[np.float64]

ROOM, LIMIT, ALL = "room", "limit", "all"
"""Light of the room, limited beam current, and a knee that all guns have alike; a gun's number is its own knee."""
Kind = str | int
_ASKED = 9.0
"""Of the square of a score, from which a cause is fitted: three standard deviations."""
_BAD = 1.25
"""Misfit from which a score means little, and all causes are fitted."""
_WORTH = 22.0
"""By how much a cause has to lower the sum of squares: by chance one of a dozen does so in a thousand healthy tubes."""
_QUIET = 0.5
"""Least scatter, in parts of the meter's noise, that is believed when readings scatter less than the meter should."""
_KNEES = (0.5, 0.6, 0.7, 0.78, 0.85, 0.9, 0.95)
"""Parts of the drive at white where a knee is looked for."""
_LIMITS = (0.3, 0.45, 0.6, 0.75, 0.9)
"""Parts of the brightest light."""
_UNUSUAL = 2.0
_GLANCE = 12
"""Steps of a fit after which its start is judged."""
_MOST_CAUSES = 2
_BEYOND = 2
"""Readings that a knee or a limit has to hold back: one alone may be a slip of the pen."""
_MATTERS = 0.02
"""Share of a gun's light, or of all, by which the brightest grey has to be held back."""
_STEP = 1e-4
_WINSOR = 6.0
"""Standard deviations that one reading counts for at most when a cause is looked for."""
_ROOM_SPREAD = 3.0
"""cd/m2 of the room's light once it is a cause of its own."""
_LAMPS = ((0.4476, 0.4074), (0.3805, 0.3769), (0.3127, 0.3290))
"""Chromaticities that the room's light may have besides the target's: CIE 15's A, F11 and D65, from memory."""
_LEAST_ROOM = 0.005
"""cd/m2 from which light of the room is fitted by itself."""


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Fitted:
    """Guns with what holds them back."""

    guns: Guns
    causes: tuple[Kind, ...]
    """In the order of what they explain."""


def fit_with_limits(scale: Scale, known: Fitted | None = None) -> Fitted:
    """Fit the guns, and whatever else the readings show, from what is `known` of nearly the same readings on.

    Raises:
        ValueError: as `fit_guns`.
    """
    if known is not None and known.causes:
        knees = [one for one in known.causes if one != ROOM]
        if ROOM in known.causes:
            scale = replace(scale, room_xy=_xy(known.guns.room_xyz), room_spread=_ROOM_SPREAD)
        begins = [_begin(known.guns, one) for one in knees]
        found = Fitted(guns=_fit(scale, knees, begins, known.guns.values), causes=known.causes)
    else:
        found = Fitted(guns=fit_guns(scale), causes=())
    if len({item.level_percent for item in scale.readings if item.luminance > 0}) < FEWEST_TO_JUDGE:
        return found
    for _ in range(_MOST_CAUSES - len(found.causes)):
        better = [fit for kind in _asked(scale, found) if (fit := _with(scale, found, kind)) is not None]
        if not better:
            break
        # Where a limit of the current explains as much as guns that all compress alike, it is the usual one.
        best = min(better, key=lambda fit: fit[1].guns.cost + _UNUSUAL * (ALL in fit[1].causes))
        scale, found = best
    return found


def _xy(xyz: Floats) -> tuple[float, float]:
    return float(xyz[0] / xyz.sum()), float(xyz[1] / xyz.sum())


def _with(scale: Scale, found: Fitted, kind: Kind) -> tuple[Scale, Fitted] | None:
    """The fit with one cause more, if it is worth it."""
    tried = list(_fits(scale, found, kind))
    if not tried:
        return None
    wider, guns = min(tried, key=lambda fit: fit[1].cost)
    quiet = float(np.clip(guns.misfit, _QUIET, 1)) ** 2 if len(scale.readings) >= 2 * len(guns.values) else 1.0
    if 2 * (found.guns.cost - guns.cost) / quiet < _WORTH or not _matters(scale, guns, kind):
        return None
    return wider, Fitted(guns=guns, causes=(*found.causes, kind))


def _fits(scale: Scale, found: Fitted, kind: Kind) -> Iterator[tuple[Scale, Guns]]:
    knees = [one for one in found.causes if one != ROOM]
    if kind == ROOM:
        for xy in (scale.room_xy, *_LAMPS):
            wider = replace(scale, room_xy=xy, room_spread=_ROOM_SPREAD)
            yield wider, _fit(wider, knees, [_begin(found.guns, one) for one in knees], found.guns.values)
        return
    already = [_begin(found.guns, one) for one in knees]
    brightest = float(max(item.luminance for item in scale.readings))
    kinds, tried = [*knees, kind], []
    for at in _starts(scale, found.guns, kind):
        for slope in (0.5, 0.05) if kind == LIMIT else (0.3, 0.02):
            first = (at * brightest, slope) if kind == LIMIT else (at, slope)
            tried.append(_fit(scale, kinds, [*already, first], found.guns.values, steps=_GLANCE))
    # A few steps from every place, and all of them from the best one.
    best = min(tried, key=lambda guns: guns.cost)
    yield scale, _fit(scale, kinds, [_begin(best, one) for one in kinds], best.values)


def _begin(guns: Guns, kind: Kind) -> tuple[float, float]:
    """The values of a cause that is in the fit already."""
    if kind == LIMIT:
        return guns.top.limit, guns.top.rest
    gun = 0 if kind == ALL else int(kind)
    return float(guns.top.knee[gun]), float(guns.top.slope[gun])


def _fit(
    scale: Scale,
    kinds: Sequence[Kind],
    first: Sequence[tuple[float, float]],
    begin: Floats | None = None,
    steps: int = 200,
) -> Guns:
    if not kinds:
        return fit_guns(scale, begin=begin, most=steps)
    brightest = float(max(item.luminance for item in scale.readings))
    least = [(0.1 * brightest, 0.0) if kind == LIMIT else (0.3, 0.0) for kind in kinds]
    most = [(1.5 * brightest, 0.999) if kind == LIMIT else (1.1, 0.999) for kind in kinds]
    flat = [np.ravel(values) for values in (first, least, most)]
    start = np.clip(flat[0], flat[1] + 1e-6, flat[2] - 1e-6)
    bounds = start.tolist(), flat[1].tolist(), flat[2].tolist()
    return fit_guns(scale, lambda values: _top(kinds, values), bounds, begin=begin, most=steps)


def _top(kinds: Sequence[Kind], values: Floats) -> Top:
    """What holds the brightest greys back, of two values for each kind."""
    knee, slope, limit, rest = NO_TOP.knee.copy(), NO_TOP.slope.copy(), np.inf, 1.0
    for i, kind in enumerate(kinds):
        at, after = float(values[2 * i]), float(values[2 * i + 1])
        if kind == LIMIT:
            limit, rest = at, after
        else:
            which = slice(None) if kind == ALL else int(kind)
            knee[which], slope[which] = at, after
    return Top(knee=knee, slope=slope, limit=limit, rest=rest)


# --- Which causes are worth a fit -------------------------------------------------------------------------------------


def _asked(scale: Scale, found: Fitted) -> list[Kind]:
    """Causes that might explain what the fit leaves over."""
    candidates: list[Kind] = [kind for kind in (0, 1, 2, ALL, LIMIT) if _is_new(kind, found)]
    bad = found.guns.misfit > _BAD
    asked = [k for k in candidates if bad or max(score for _, score in _scores(scale, found.guns, k)) > _ASKED]
    if ROOM not in found.causes and (found.guns.room > _LEAST_ROOM or bad):
        asked.append(ROOM)
    return asked


def _is_new(kind: Kind, found: Fitted) -> bool:
    knees = [one for one in found.causes if one not in (ROOM, LIMIT)]
    if kind == LIMIT:
        return LIMIT not in found.causes
    return kind not in knees and (kind != ALL or not knees) and ALL not in knees


def _starts(scale: Scale, guns: Guns, kind: Kind) -> list[float]:
    """Where the fit of a cause begins: the two places where its score is highest, and all over where nothing fits."""
    ranked = sorted(_scores(scale, guns, kind), key=lambda one: -one[1])
    places = [at for at, _ in ranked]
    return places[::2] + places[:1] if guns.misfit > _BAD else places[:2]


def _scores(scale: Scale, guns: Guns, kind: Kind) -> list[tuple[float, float]]:
    """How clearly a little of a cause would improve the fit, by where it begins: the square of a normal deviate."""
    off = scale.residuals()
    rest = np.clip(off(guns.values, guns.top), -_WINSOR, _WINSOR)
    scatter = float(np.clip(guns.misfit, _QUIET, 1))
    slopes = _slopes(lambda values: off(values, guns.top), guns.values)
    base = off(guns.values, guns.top)
    brightest = float(max(item.luminance for item in scale.readings))
    scores = []
    for at in _LIMITS if kind == LIMIT else _KNEES:
        value = at * brightest if kind == LIMIT else at
        little = _top([kind], np.array([value, 1 - 100 * _STEP]))
        top = _joined(guns.top, little)
        way = (off(guns.values, top) - base) / (100 * _STEP)
        way = way - slopes @ np.linalg.lstsq(slopes, way, rcond=None)[0]
        size = float(way @ way)
        # A cause holds light back; what would be more light is none.
        amount = -float(way @ rest)
        scores.append((at, amount**2 / size / scatter**2 if size > _STEP and amount > 0 else 0.0))
    return scores


def _joined(top: Top, little: Top) -> Top:
    new = np.isfinite(little.knee)
    return Top(
        knee=np.where(new, little.knee, top.knee),
        slope=np.where(new, little.slope, top.slope),
        limit=little.limit if np.isfinite(little.limit) else top.limit,
        rest=little.rest if np.isfinite(little.limit) else top.rest,
    )


def _slopes(function: Callable[[Floats], Floats], values: Floats) -> Floats:
    """What the residuals change by with each value, (n, m)."""
    at = function(values)
    moved = [function(values + _STEP * (np.arange(len(values)) == i)) for i in range(len(values))]
    return np.stack([(there - at) / _STEP for there in moved], axis=-1)


def _matters(scale: Scale, guns: Guns, kind: Kind) -> bool:
    """Whether a cause holds back enough light of enough readings."""
    if kind == ROOM:
        return guns.room > _LEAST_ROOM
    free = replace(guns, top=NO_TOP)
    levels = np.array([item.level_percent / 100 for item in scale.readings])
    held = 1 - guns.lights(levels) / np.maximum(free.lights(levels), 1e-12)
    of = held.max(axis=1) if kind in (LIMIT, ALL) else held[:, int(kind)]
    return bool(of.max() > _MATTERS and (of > _MATTERS / 4).sum() >= _BEYOND)
