"""The guns behind a grey scale: the primaries that separate their light, and readings that no guns can have given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.meter.colours import xy_of
from analysis.meter.grey.limits import Kind, fit_with_limits
from analysis.meter.grey.scale import BLACK
from analysis.meter.guns import GUNS, Guns, Scale, gun_matrix
from analysis.meter.noise import meter_noise, refined_meter
from analysis.meter.readings.types import Field, Meter, Reading, Readings, level_text
from analysis.meter.repeats import Outlier, grouped, mean_of
from analysis.meter.whites import PrimarySet, White, exchanged_guns
from render.errors import FileError

__all__ = ["AS_READ", "FITS", "Primaries", "guns_behind", "primaries_of"]

Floats = NDArray[np.float64]

AS_READ = "readings"
"""Name of primaries that are the tube's own."""
FITS = 1.5
"""Root mean square of what readings are off the fitted guns, in their noise, up to which these stand for the steps."""
_NONSENSE = 2.2
"""The same from which they are no tube's at all, and nothing is advised."""
_SAME = 0.5
"""Percent within which primaries were read at one level: a whole code of 8 bits is 0.46 %."""
_PHOSPHOR = 0.005
"""Standard uncertainty in x and y of a tube's primaries that are only known by the standard's name: what SMPTE RP 145
allows, from memory."""
_FAR = 6.0
"""Standard deviations off the fitted guns from which a reading is not used: a slip of the pen rather than noise."""
_AS_IT_SHOULD = 0.002
"""Of the drive range: what a cut-off is off nothing in a set that is right."""
_NOTED, _AGREED = 2.5, 5.0
"""Standard deviations off the fitted guns that a step's neighbour has to share with it at an end of the scale, and up
to which two readings of one step agree."""
_FALLEN = 6.0
"""Standard deviations by which light falls from a step to a brighter one when readings are exchanged."""
_LEAST_AREA = 0.01
"""Of the primaries' triangle in xy, twice; that of BT.709 is 0.22."""


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Primaries:
    """The tube's primaries, by which light is separated into guns."""

    name: str
    """`readings`, or that of a standard."""
    title: str
    xy: Floats
    """(3, 2)."""
    uncertainty: float
    """Standard, of each x and y."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundGuns:
    """The fitted guns, or why there are none."""

    guns: Guns | None
    strays: tuple[Outlier, ...] = ()
    """Single readings that are far off all that the others make likely, and are not in the fit."""
    alone: tuple[Reading, ...] = ()
    """The same at an end of the scale, where nothing contradicts them; they are kept as a step, and not in the fit."""
    causes: tuple[Kind, ...] = ()
    """What else the readings show, by `limits`."""
    meter: Meter | None = None
    """With the dark noise that was found; None where there are no guns."""
    why: str = ""
    falls: bool = False
    """Whether `why` is that light falls where the level rises."""


def primaries_of(
    readings: Readings, kept: Sequence[Reading], wanted: PrimarySet | None, white: White, meter: Meter
) -> Primaries:
    """The primaries of a standard where one is `wanted`, else the tube's own, which `kept` readings have to hold.

    Raises:
        FileError: they were not read, or are not those of a tube.
        ValueError: the white cannot be made of them.
    """
    through = _through(readings, kept, wanted, meter)
    _check_white(through, white)
    return through


def _through(readings: Readings, kept: Sequence[Reading], wanted: PrimarySet | None, meter: Meter) -> Primaries:
    if wanted is not None:
        return Primaries(name=wanted.name, title=wanted.title, xy=np.array(wanted.xy), uncertainty=_PHOSPHOR)
    colours = [group for group in grouped(kept) if group[0].field in GUNS and group[0].luminance > 0]
    levels = [group[0].level_percent for group in colours if group[0].field is Field.RED]
    taken: dict[str, list[Reading]] = {}
    for level in sorted(levels):
        there = {str(g[0].field): g for g in colours if abs(g[0].level_percent - level) <= _SAME}
        taken = there if len(there) == len(GUNS) else taken
    if not taken:
        names = [gun for gun in GUNS if not any(group[0].field == gun for group in colours)]
        missing = f"no {' and no '.join(names)}" if names else "no red, green and blue of one level"
        raise FileError(f"{readings.path}: {missing} was read; '--primaries smpte-c', 'ebu-3213' or 'bt709' gives them")
    black = [item for item in kept if item.field is Field.GREY and item.level_percent <= BLACK]
    dark = mean_of(black) if black else np.zeros(3)
    xy = []
    for gun in GUNS:
        light = mean_of(taken[gun]) - dark
        if light[1] <= 0 or light.min() < -0.01 * light.sum():
            where = f", row {black[0].row}" if black else ""
            words = f"{gun} gives no more light than black{where}; see whether readings stand at their own levels"
            raise FileError(f"{readings.path}: row {taken[gun][0].row}: {words}")
        xy.append(xy_of(np.maximum(light, 0)))
    other = exchanged_guns([spot.tolist() for spot in xy])
    if other is not None:
        words = f"{GUNS[other[0]]} has the colour of {GUNS[other[1]]}; are rows exchanged, or cables?"
        raise FileError(f"{readings.path}: row {taken[GUNS[other[0]]][0].row}: {words}")
    fewest = min(len(items) for items in taken.values())
    return Primaries(
        name=AS_READ, title="the tube's own, as read", xy=np.array(xy), uncertainty=meter.xy / float(np.sqrt(fewest))
    )


def _check_white(through: Primaries, white: White) -> None:
    sides = through.xy[1:] - through.xy[0]
    if abs(sides[0, 0] * sides[1, 1] - sides[0, 1] * sides[1, 0]) < _LEAST_AREA:
        words = "red, green and blue as read have nearly one colour, and cannot separate light into guns"
        raise ValueError(f"{words}; '--primaries smpte-c', 'ebu-3213' or 'bt709' gives them")
    if np.linalg.solve(gun_matrix(through.xy), gun_matrix([white.xy])[:, 0]).min() <= 0:
        raise ValueError(f"--white: {white.title} cannot be made of red, green and blue of {through.title}")


def guns_behind(
    greys: Sequence[Reading], through: Primaries, white: White, meter: Meter, *, stated_dark: bool = False
) -> FoundGuns:
    """The guns fitted to all greys but the few single readings that are far off; or why there are none.

    The meter's dark noise is judged once more by what readings are off the fit, unless it was stated.
    """
    fall = _fall(greys, meter)
    scale = Scale(readings=greys, primaries=through.xy, room_xy=white.xy, meter=meter)
    if len({item.level_percent for item in greys if item.luminance > 0}) == 1:
        # Of one level light and cut-off cannot be separated; cut-offs are taken as they should be.
        scale = replace(scale, cutoff_spread=_AS_IT_SHOULD)
    try:
        fitted = fit_with_limits(scale)
        if not stated_dark:
            meter = _darkness(greys, fitted.guns, meter)
            scale = replace(scale, meter=meter)
            fitted = fit_with_limits(scale, fitted)
        strays = _strays(greys, fitted.guns, meter)
        if strays:
            rows = {item.row for item in strays}
            again = fit_with_limits(replace(scale, readings=[item for item in greys if item.row not in rows]))
            left = _strays(greys, again.guns, meter)
            if again.guns.misfit <= min(FITS, fitted.guns.misfit) and {item.row for item in left} <= rows:
                fitted, strays = again, left
            else:
                strays = []
    except ValueError as error:
        return FoundGuns(guns=None, why=fall or str(error), falls=bool(fall))
    guns = fitted.guns
    out, alone = _sorted_out(greys, strays)
    # A slip of the pen makes light fall too; but exchanged steps are not to be explained by a slip and a limit.
    if fall and (not out or fitted.causes):
        return FoundGuns(guns=None, why=fall, falls=True)
    if guns.misfit > _NONSENSE:
        why = "the readings do not go together as those of three guns; see that each has its level and its place"
        return FoundGuns(guns=None, why=why)
    return FoundGuns(guns=guns, strays=out, alone=alone, causes=fitted.causes, meter=meter)


def _darkness(greys: Sequence[Reading], guns: Guns, meter: Meter) -> Meter:
    """The meter with the dark noise that the fit leaves over."""
    lit = [item for item in greys if item.xy is not None]
    shown = guns.xyz([item.level_percent / 100 for item in lit])
    xyz = np.array([item.xyz for item in lit])
    bright = shown[:, 1] > 0
    return refined_meter(meter, shown[bright, 1], (xyz - shown)[bright, 1], (xy_of(xyz) - xy_of(shown))[bright])


def _sorted_out(greys: Sequence[Reading], strays: Sequence[Reading]) -> tuple[tuple[Outlier, ...], tuple[Reading, ...]]:
    """Which of the strays are outliers, and which stand alone at an end, where nothing contradicts them."""
    ends = min(item.level_percent for item in greys), max(item.level_percent for item in greys)
    rows = {item.row for item in strays}
    alone = tuple(
        item
        for item in strays
        if item.level_percent in ends
        and all(other.row in rows for other in greys if other.level_percent == item.level_percent)
    )
    words = "is far off what all other steps make likely, and is not used; read it again"
    out = tuple(
        Outlier(reading=item, why=f"grey at {level_text(item.level_percent)} % {words}")
        for item in strays
        if item not in alone
    )
    return out, alone


def _strays(greys: Sequence[Reading], guns: Guns, meter: Meter) -> list[Reading]:
    """Single readings that are far off the fitted guns, and that no repeat and no neighbour at an end agrees with.

    Where many are off, it is not they but the equations that are wrong, and there are none.
    """
    far = [item for item in greys if _off(item, guns, meter) > _FAR]
    levels = sorted({item.level_percent for item in greys})
    agreeing: set[float] = set()
    for side in (levels, levels[::-1]):
        # What an end and its neighbour are off in one way is the set, as long as it goes on.
        run: list[tuple[float, Floats]] = []
        for level in side:
            way = _way([item for item in greys if item.level_percent == level], guns, meter)
            if way is None or (run and way @ run[0][1] <= 0):
                break
            run.append((level, way))
        agreeing |= {level for level, _ in run} if len(run) > 1 else set()
    alone = [
        item
        for item in far
        if item.level_percent not in agreeing and not any(_agree(item, other, meter) for other in greys)
    ]
    return alone if len(alone) <= max(1, len(greys) // 10) else []


def _way(items: Sequence[Reading], guns: Guns, meter: Meter) -> Floats | None:
    """What a step is off the fitted guns by, in light, x and y, (3,) in noise; None where that is little."""
    shown = guns.xyz(items[0].level_percent / 100)
    lit = [item for item in items if item.xy is not None]
    if not lit or shown[1] <= 0:
        return None
    light = float(np.median([item.luminance for item in lit]))
    spread, spot = meter_noise(max(light, float(shown[1])), meter)
    place = np.median([item.xy for item in lit], axis=0) - xy_of(shown)
    way = np.array([(light - shown[1]) / spread, *(place / spot)])
    return way if np.abs(way).max() > _NOTED else None


def _agree(item: Reading, other: Reading, meter: Meter) -> bool:
    """Whether two readings of one level are the same but for noise."""
    if item is other or abs(item.level_percent - other.level_percent) > _SAME:
        return False
    spread, spot = meter_noise(max(item.luminance, other.luminance), meter)
    light = abs(item.luminance - other.luminance) / spread
    place = 0.0 if item.xy is None or other.xy is None else np.abs(np.subtract(item.xy, other.xy)).max() / spot
    return bool(max(light, place) < _AGREED)


def _off(item: Reading, guns: Guns, meter: Meter) -> float:
    """How far a reading is off the fitted guns, the largest of luminance, x and y, in the meter's noise."""
    shown = guns.xyz(item.level_percent / 100)
    spread, spot = meter_noise(max(item.luminance, float(shown[1])), meter)
    light = abs(item.luminance - shown[1]) / spread
    place = 0.0 if item.xy is None or shown[1] <= 0 else float(np.abs(item.xy - xy_of(shown)).max() / spot)
    return float(max(light, place))


def _fall(greys: Sequence[Reading], meter: Meter) -> str:
    """Where light falls as the level rises, beyond noise: no guns do that. Nothing where it does not."""
    steps = sorted({item.level_percent for item in greys})
    seen = [[item.luminance for item in greys if item.level_percent == level] for level in steps]
    for low, high, below, above in zip(steps[:-1], steps[1:], seen[:-1], seen[1:], strict=True):
        lower, upper = float(np.median(below)), float(np.median(above))
        spread = float(np.hypot(*meter_noise(np.array([lower, upper]), meter)[0]))
        if lower - upper > _FALLEN * spread:
            row = next(item.row for item in greys if item.level_percent == high)
            words = "no guns do that; see whether readings stand at their own levels"
            return f"light falls from {level_text(low)} to {level_text(high)} %, row {row}: {words}"
    return ""
