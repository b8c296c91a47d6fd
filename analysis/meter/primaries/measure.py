"""Primaries, secondaries and white against a standard, from a meter's readings."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.meter.colours import cct_duv, delta_e_2000, rgb_matrix, uv_of, xy_of, xyz_of
from analysis.meter.conditions import Condition, drift_condition, unit_condition
from analysis.meter.noise import meter_noise, settled_meter
from analysis.meter.primaries.exchanged import exchanged_fields
from analysis.meter.primaries.fields import MIXED, PARTS, PRIMARIES, SECONDARIES, name_of
from analysis.meter.primaries.gamut import area_of, coverage_of
from analysis.meter.readings.types import Field, Meter, Reading, Readings, level_text
from analysis.meter.repeats import Repeats, look_at_repeats, mean_of
from analysis.meter.whites import PRIMARY_SETS, PrimarySet, White, exchanged_guns
from render.errors import FileError

__all__ = ["Colour", "measure_colour"]

Floats = NDArray[np.float64]

_SAME_LEVEL = 0.5
"""Percent: a whole code of 8 bits is 0.46 %, so that 75 % may be written as 75.3."""
_BLACK = 0.05
"""Percent of level up to which grey is black."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """What the standard asks for, at the luminance of the white."""

    xy: tuple[float, float]
    share_percent: float
    """Of the luminance of white."""


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Colour:
    """All that was measured. Figures that are not available are None, with the reason."""

    readings: Readings
    standard: PrimarySet
    white: White
    level_percent: float
    """Of the colours that were taken."""
    meter: Meter
    seen: Mapping[Field, tuple[float, float, float]]
    """XYZ in cd/m2 of what was read, each the mean of its readings; grey is white."""
    black_was_read: bool
    """Whether there is a grey at 0 %."""
    targets: Mapping[Field, Target]
    figures: Mapping[str, float | None]
    """By dotted names, as `red.delta_uv`."""
    uncertainty: Mapping[str, float | None]
    """Standard uncertainties of the figures."""
    reasons: Mapping[str, str]
    """Why fields or figures are not available, by their names."""
    conditions: tuple[Condition, ...]
    """What the readings show besides: fields that are exchanged, another unit, drift."""
    remarks: tuple[str, ...]
    nearest: PrimarySet
    """The named set of primaries that the tube's are nearest to, by the mean distance in u'v'."""


def measure_colour(readings: Readings, standard: PrimarySet, white: White, meter: Meter | None = None) -> Colour:
    """Compare primaries, secondaries and white with a standard.

    The colours of one level are taken: the one at which the most of them were read, and the highest of several such.
    Of repeated readings the mean is taken, without outliers, which are reported. Black, the grey at 0 %, is taken away
    where light is added or compared.

    Raises:
        FileError: the file has no primary colour.
        ValueError: the white cannot be made of the standard's primaries.
    """
    meter = settled_meter(meter or Meter(), readings)
    matrix = rgb_matrix(standard.xy, white.xy)
    if matrix[1].min() <= 0:
        raise ValueError(f"--white: {white.title} lies outside the triangle of {standard.title}")
    level = _level(readings)
    repeats = look_at_repeats(readings.items, meter)
    taken = {field: _near(repeats.kept, field, level) for field in (*PRIMARIES, *SECONDARIES, Field.GREY)}
    taken = {field: items for field, items in taken.items() if items}
    black = [item for item in repeats.kept if item.field is Field.GREY and item.level_percent <= _BLACK]
    seen = {field: mean_of(items) for field, items in taken.items()}
    remarks = [*readings.remarks, *_other_levels(readings, level), *_said(repeats)]
    targets = _targets(matrix)
    exchanged = exchanged_fields(seen, {field: target.xy for field, target in targets.items()})
    _check_colours(readings, taken, seen, level, exchanged=bool(exchanged))
    if Field.GREY not in seen and all(field in seen for field in PRIMARIES):
        remarks.append(f"no grey was read at {level_text(level)} %; the sum of red, green and blue is taken for white")
    if not black:
        remarks.append("black (grey at 0 %) was not read, and is taken as no light at all")
    drift = repeats.drift
    reckoning = _Reckoning(matrix=matrix, standard=standard, white=white, targets=targets)
    inputs: dict[str, Floats] = {str(field): xyz for field, xyz in seen.items()}
    groups: dict[str, Sequence[Reading]] = {str(field): items for field, items in taken.items()}
    if black:
        inputs[_DARK], groups[_DARK] = mean_of(black), black
        dimmest = min(seen, key=lambda field: seen[field][1])
        if inputs[_DARK][1] >= seen[dimmest][1]:
            words = f"black gives as much light as {dimmest} at {level_text(level)} %"
            raise FileError(f"{readings.path}: row {black[0].row}, column luminance: {words}")
    figures = reckoning.figures(inputs)
    spread = {name: _spread(items, meter) for name, items in groups.items()}
    return Colour(
        readings=readings,
        standard=standard,
        white=white,
        level_percent=level,
        meter=meter,
        seen={field: (float(x), float(y), float(z)) for field, (x, y, z) in seen.items()},
        black_was_read=bool(black),
        targets=reckoning.targets,
        figures=figures,
        uncertainty=_uncertainty(inputs, spread, figures, reckoning.figures),
        reasons=_reasons(set(seen), level),
        conditions=(*exchanged, *_units(seen, level), *([drift_condition(drift)] if drift and drift.is_clear else [])),
        remarks=tuple(remarks),
        nearest=_nearest(seen),
    )


def _check_colours(
    readings: Readings,
    taken: Mapping[Field, Sequence[Reading]],
    seen: Mapping[Field, Floats],
    level: float,
    *,
    exchanged: bool,
) -> None:
    """Refuse a colour without light, and primaries that are exchanged; `seen` are the means of what is `taken`.

    Raises:
        FileError: it names the row.
    """
    for field, xyz in seen.items():
        if xyz[1] <= 0:
            first = taken[field][0]
            words = f"{field} at {level_text(level)} % gives no light"
            raise FileError(f"{readings.path}: row {first.row}, column luminance: {words}")
    # Of a primary and a secondary that are exchanged the answer speaks, and no primary is another's then.
    if all(field in seen for field in PRIMARIES) and not exchanged:
        other = exchanged_guns([xy_of(seen[field]).tolist() for field in PRIMARIES])
        if other is not None:
            field = PRIMARIES[other[0]]
            words = f"{field} has the colour of {PRIMARIES[other[1]]}; are rows exchanged, or cables?"
            raise FileError(f"{readings.path}: row {taken[field][0].row}: {words}")


# --- Which readings ---------------------------------------------------------------------------------------------------

_DARK = "black"


def _near(items: Sequence[Reading], field: Field, level: float) -> list[Reading]:
    return [item for item in items if item.field is field and abs(item.level_percent - level) <= _SAME_LEVEL]


def _level(readings: Readings) -> float:
    colours = [item for item in readings.items if item.field is not Field.GREY and item.level_percent > _BLACK]
    if not any(item.field in PRIMARIES for item in colours):
        hint = "; 'trueraster measure grey' takes grey ones" if readings.of(Field.GREY) else ""
        raise FileError(f"{readings.path}: no reading of red, green or blue is in it{hint}")

    def many(level: float) -> int:
        return len({item.field for item in colours if abs(item.level_percent - level) <= _SAME_LEVEL})

    return max({item.level_percent for item in colours}, key=lambda level: (many(level), level))


def _other_levels(readings: Readings, level: float) -> list[str]:
    others = {
        item.level_percent
        for item in readings.items
        if item.field is not Field.GREY and abs(item.level_percent - level) > _SAME_LEVEL
    }
    if not others:
        return []
    named = ", ".join(level_text(other) for other in sorted(others)[:5]) + (" and others" if len(others) > 5 else "")
    return [f"left out: colours at {named} %; those at {level_text(level)} % are taken"]


def _said(repeats: Repeats) -> list[str]:
    """What repeated readings show, in words."""
    return [*(f"row {one.reading.row}: {one.why}" for one in repeats.outliers), *repeats.apart]


def _units(seen: Mapping[Field, Floats], level: float) -> list[Condition]:
    return unit_condition((level, float(seen[Field.GREY][1]))) if Field.GREY in seen else []


def _spread(items: Sequence[Reading], meter: Meter) -> tuple[float, float]:
    """Standard uncertainties, of luminance (relative) and of x and y: the meter's, or those of the mean if larger.

    They do not shrink with repeats: of a colour compared with a standard, most of the meter's error is the same each
    time.
    """
    lights = np.array([item.luminance for item in items])
    noise = [float(spread) for spread in meter_noise(lights.mean(), meter)]
    light, spot = noise[0] / max(float(lights.mean()), 1e-9), noise[1]
    if len(items) < 3 or not lights.min() > 0:
        return light, spot
    spots = xy_of(np.array([item.xyz for item in items]))
    own = np.append(lights.std(ddof=1) / lights.mean(), spots.std(axis=0, ddof=1).max()) / np.sqrt(len(items))
    return max(light, float(own[0])), max(spot, float(own[1]))


def _nearest(seen: Mapping[Field, Floats]) -> PrimarySet:
    fields = [field for field in PRIMARIES if field in seen]
    spots = uv_of(xy_of(np.array([seen[field] for field in fields])))

    def off(known: PrimarySet) -> float:
        wanted = uv_of(np.array([known.xy[PRIMARIES.index(field)] for field in fields]))
        return float(np.hypot(*(spots - wanted).T).mean())

    return min(PRIMARY_SETS, key=off)


def _reasons(there: set[Field], level: float) -> dict[str, str]:
    missing = {field: f"no {field} was read at {level_text(level)} %" for field in PARTS if field not in there}
    reasons = {name_of(field): words for field, words in missing.items()}
    primaries = [field for field in PRIMARIES if field in missing]
    if primaries:
        reasons["gamut"] = missing[primaries[0]]
    for field in MIXED:
        needed = [missing[part] for part in (field, *_parts(field)) if part in missing]
        if needed:
            reasons[f"additivity.{'white' if field is Field.GREY else field}"] = needed[0]
    if Field.GREY in missing and primaries:
        reasons["luminance"] = f"{missing[Field.GREY]}, nor all of red, green and blue, whose sum would do"
    return reasons


def _parts(field: Field) -> list[Field]:
    return [gun for gun, lit in zip(PRIMARIES, PARTS[field], strict=True) if lit]


# --- Figures ----------------------------------------------------------------------------------------------------------


def _targets(matrix: Floats) -> dict[Field, Target]:
    found = {}
    for field, parts in PARTS.items():
        xyz = matrix @ np.array(parts, dtype=float)
        x, y = xy_of(xyz)
        found[field] = Target(xy=(float(x), float(y)), share_percent=float(100 * xyz[1]))
    return found


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class _Reckoning:
    """From what was seen to figures."""

    matrix: Floats
    standard: PrimarySet
    white: White
    targets: Mapping[Field, Target]

    def figures(self, seen: Mapping[str, Floats]) -> dict[str, float | None]:
        """All figures of XYZ by field, black among them; what is not available is None."""
        there = [field for field in PARTS if field in seen]
        xyz = np.array([seen[field] for field in there])
        black = seen.get(_DARK, np.zeros(3))
        xy = xy_of(xyz)
        uv = uv_of(xy)
        wanted = np.array([self.targets[field].xy for field in there])
        off = uv - uv_of(wanted)
        light = _white_light(seen, black)
        found: dict[str, float | None] = {}
        for i, field in enumerate(there):
            name = name_of(field)
            values = xyz[i, 1], *xy[i], *uv[i], *(xy - wanted)[i], *off[i], np.hypot(*off[i])
            names = ("luminance", "x", "y", "u", "v", "dx", "dy", "du", "dv", "delta_uv")
            found |= {f"{name}.{key}": float(value) for key, value in zip(names, values, strict=True)}
        found |= self._against_white(there, xyz, black, light)
        if Field.GREY in seen:
            cct, duv = cct_duv(xy[there.index(Field.GREY)])
            found |= {"white.cct": _finite(cct), "white.duv": _finite(duv)}
        if all(field in seen for field in PRIMARIES):
            found |= self._gamut(xy[:3], uv[:3])
        for field in MIXED:
            if field in seen and all(part in seen for part in _parts(field)):
                found |= _additivity(field, seen, black)
        return found

    def _against_white(
        self, there: Sequence[Field], xyz: Floats, black: Floats, light: float | None
    ) -> dict[str, float | None]:
        names = [name_of(field) for field in there]
        if light is None:
            keys = ("share_percent", "luminance_error_percent", "delta_e_2000")
            return {f"{name}.{key}": None for name in names for key in keys if name != "white" or key == keys[2]}
        parts = np.array([PARTS[field] for field in there], dtype=float)
        differences = delta_e_2000(xyz, light * (parts @ self.matrix.T), xyz_of(self.white.xy, light))
        found: dict[str, float | None] = {}
        for i, (field, name) in enumerate(zip(there, names, strict=True)):
            if field is not Field.GREY:
                share = float(100 * (xyz[i, 1] - black[1]) / (light - black[1]))
                error = 100 * (share / self.targets[field].share_percent - 1)
                found |= {f"{name}.share_percent": share, f"{name}.luminance_error_percent": error}
            found[f"{name}.delta_e_2000"] = float(differences[i])
        return found

    def _gamut(self, xy: Floats, uv: Floats) -> dict[str, float | None]:
        wanted = np.array(self.standard.xy)
        found: dict[str, float | None] = {}
        for plane, spots, targets in (("uv", uv, uv_of(wanted)), ("xy", xy, wanted)):
            found[f"gamut.area_{plane}"] = area_of(spots)
            found[f"gamut.area_{plane}_percent"] = 100 * area_of(spots) / area_of(targets)
            found[f"gamut.coverage_{plane}_percent"] = 100 * coverage_of(spots, targets)
        return found


def _white_light(seen: Mapping[str, Floats], black: Floats) -> float | None:
    """The luminance of white: as it was read, else the sum of its parts."""
    if Field.GREY in seen:
        return float(seen[Field.GREY][1])
    if all(field in seen for field in PRIMARIES):
        return float(sum(seen[field][1] for field in PRIMARIES) - 2 * black[1])
    return None


def _additivity(field: Field, seen: Mapping[str, Floats], black: Floats) -> dict[str, float | None]:
    """What was read of a mixed colour against the sum of its guns' light, black counted once."""
    name = name_of(field)
    together = black + np.sum([seen[part] - black for part in _parts(field)], axis=0)
    whole = seen[field]
    if together[1] - black[1] <= 0:
        return {f"additivity.{name}.{key}": None for key in ("luminance_error_percent", "delta_uv")}
    error = 100 * ((whole[1] - black[1]) / (together[1] - black[1]) - 1)
    away = np.subtract(*uv_of(xy_of(np.stack([whole, together]))))
    return {
        f"additivity.{name}.luminance_error_percent": float(error),
        f"additivity.{name}.delta_uv": float(np.hypot(*away)),
    }


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _uncertainty(
    seen: Mapping[str, Floats],
    spread: Mapping[str, tuple[float, float]],
    figures: Mapping[str, float | None],
    reckon: Callable[[Mapping[str, Floats]], dict[str, float | None]],
) -> dict[str, float | None]:
    """What each figure changes by when each reading changes by its standard uncertainty, up and down, root sum square.

    A step of that size rather than a slope, since a distance has none where it is nothing (JCGM 100:2008, 5.1, from
    memory, by differences).
    """
    squares = dict.fromkeys(figures, 0.0)
    for name, xyz in seen.items():
        luminance = float(xyz[1])
        if luminance <= 0:
            continue
        light, spot = spread[name]
        x, y = xy_of(xyz)
        for steps in ((0, 0, light), (spot, 0, 0), (0, spot, 0)):
            moved = []
            for sign in (-1, 1):
                dx, dy, dl = (sign * step for step in steps)
                there = np.array([max(x + dx, 1e-6), max(y + dy, 1e-6)])
                moved.append(reckon({**seen, name: xyz_of(there, luminance * (1 + dl))}))
            for key, value in figures.items():
                others = [other for other in (some[key] for some in moved) if other is not None]
                if value is not None and others:
                    squares[key] += float(np.mean([abs(other - value) for other in others])) ** 2
    return {key: None if figures[key] is None else float(np.sqrt(square)) for key, square in squares.items()}
