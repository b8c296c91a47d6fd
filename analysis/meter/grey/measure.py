"""The grey scale from a meter's readings: every step, the guns behind it, black, contrast and gamma."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.meter.colours import cct_duv, delta_e_2000, uv_of, xy_of, xyz_of
from analysis.meter.conditions import Condition
from analysis.meter.grey.advice import GreyAdvice, advise_grey
from analysis.meter.grey.conditions import Evidence, conditions_of
from analysis.meter.grey.gun_fit import AS_READ, FITS, FoundGuns, Primaries, guns_behind, primaries_of
from analysis.meter.grey.limits import ROOM
from analysis.meter.grey.scale import BLACK, whole_scale
from analysis.meter.guns import FEWEST_TO_JUDGE, GUNS, NO_TOP, Guns, gun_matrix
from analysis.meter.noise import mean_noise, settled_meter
from analysis.meter.readings.types import Field, Meter, Reading, Readings
from analysis.meter.repeats import Outlier, Repeats, grouped, look_at_repeats, mean_of
from analysis.meter.whites import PrimarySet, White
from render.errors import FileError

__all__ = ["Grey", "balance_of", "measure_grey"]

Floats = NDArray[np.float64]
Figures = Mapping[str, float | None]

_SAMPLES = 100
_MODEL, _READ = "model", "readings"


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One grey. Figures that are not available are None, with the reason."""

    level_percent: float
    count: int
    """Readings that were used."""
    xyz: tuple[float, float, float]
    """cd/m2, the mean of its readings."""
    figures: Figures
    """By dotted names, as `gun_percent.red`."""
    uncertainty: Figures
    reasons: Mapping[str, str]


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Grey:
    """All that was measured. Figures that are not available are None, with the reason."""

    readings: Readings
    white: White
    meter: Meter
    primaries: Primaries
    steps: tuple[Step, ...]
    """From dark to bright."""
    figures: Figures
    """black_cd_m2, white_cd_m2, contrast, gamma, bt1886_error_percent, bt1886_error_level_percent."""
    uncertainty: Figures
    reasons: Mapping[str, str]
    guns: Guns | None
    light_uncertainty: Floats | None
    """What the primaries' uncertainty makes of the logarithm of each gun's light, (3,)."""
    gun_percent_of: str
    """`model` where a step's `gun_percent` is of the fitted guns, `readings` where these do not fit."""
    advice: GreyAdvice | None
    repeats: Repeats
    conditions: tuple[Condition, ...]
    """What the readings show that no control mends, those that disturb the others first."""
    strays: tuple[Outlier, ...]
    """Single readings that are far off all that the others make likely."""
    alone: tuple[Reading, ...]
    """The same at an end of the scale, where nothing contradicts them: they are steps, but not in the fit."""
    falls: bool
    """Whether light falls where the level rises, which is the reason for no guns: this is no grey scale then."""
    remarks: tuple[str, ...]


def measure_grey(
    readings: Readings, white: White, primaries: PrimarySet | None, meter: Meter | None = None, keep: str = "green"
) -> Grey:
    """Measure a grey scale, and work out what to adjust.

    `primaries` None: the tube's own, which the readings have to hold. `keep` is the gun the others are matched to.

    Raises:
        FileError: there is no grey with light, or no primaries where they are wanted.
        ValueError: the white cannot be made of the primaries.
    """
    stated = meter is not None and meter.dark is not None
    meter = settled_meter(meter or Meter(), readings)
    if not any(item.luminance > 0 for item in readings.of(Field.GREY)):
        raise FileError(f"{readings.path}: no grey that gives light is in it; 'grey' readings are expected")
    repeats = look_at_repeats(readings.items, meter)
    through = primaries_of(readings, repeats.kept, primaries, white, meter)
    greys = [item for item in repeats.kept if item.field is Field.GREY]
    behind = guns_behind(greys, through, white, meter, stated_dark=stated)
    meter = behind.meter or meter
    guns, out = behind.guns, {stray.reading.row for stray in behind.strays}
    groups = grouped([item for item in greys if item.row not in out])
    many = len({items[0].level_percent for items in groups if mean_of(items)[1] > 0})
    few = "" if many >= FEWEST_TO_JUDGE else f"greys of {many} level{'s' * (many != 1)} give light, 4 are needed"
    of_model = guns is not None and guns.misfit <= FITS and not few
    no_fit = behind.why if guns is None else few or ("" if of_model else _misfit(guns))
    steps = _steps(groups, white, through, meter, guns if of_model else None, no_fit)
    figures, uncertainty, reasons = whole_scale(groups, meter)
    evidence = Evidence(
        readings=[item for item in repeats.kept if item.row not in out],
        found=behind,
        meter=meter,
        drift=repeats.drift,
        figures=figures,
        judged=not few,
    )
    levels = [step.level_percent / 100 for step in steps if (step.figures["luminance"] or 0) > 0 or not few]
    advice = None if guns is None else advise_grey(_adjustable(guns, behind), white.xy, levels, keep)
    reasons |= {"guns": behind.why, "advice": behind.why} if guns is None else {"guns": few} if few else {}
    return Grey(
        readings=readings,
        white=white,
        meter=meter,
        primaries=through,
        steps=tuple(steps),
        figures=figures,
        uncertainty=uncertainty,
        reasons=reasons,
        guns=None if few else guns,
        light_uncertainty=None if guns is None else _lights_by_primaries(guns, through),
        gun_percent_of=_MODEL if of_model else _READ,
        advice=advice,
        conditions=conditions_of(evidence),
        repeats=repeats,
        strays=behind.strays,
        alone=behind.alone,
        falls=behind.falls,
        remarks=(*readings.remarks, *_remarks(through, None if few else guns, groups)),
    )


def _adjustable(guns: Guns, behind: FoundGuns) -> Guns:
    """The guns that controls are turned for: what holds them back, and the room's light, is put right first."""
    values = guns.values.copy()
    values[9] *= ROOM not in behind.causes
    return replace(guns, values=values, top=NO_TOP)


def _remarks(through: Primaries, guns: Guns | None, groups: Sequence[Sequence[Reading]]) -> list[str]:
    remarks = []
    if through.name != AS_READ:
        remarks.append(f"the tube's primaries are taken as those of {through.title}")
    if groups[0][0].level_percent > BLACK:
        remarks.append("black (grey at 0 %) was not read, and is taken as no light at all")
    if guns is not None and guns.misfit > FITS:
        remarks.append(
            f"{_misfit(guns)}: the advice is less certain than it looks. Beam current may be limited (read in a window "
            "of a tenth of the picture), the set may not be warm, or the primaries may be different ones"
        )
    return remarks


def _misfit(guns: Guns) -> str:
    return f"the readings differ from the equations of three guns by {guns.misfit:.1f} times the meter's noise"


def _lights_by_primaries(guns: Guns, through: Primaries) -> Floats:
    """What the primaries' uncertainty makes of the logarithm of each gun's light at 100 %, (3,)."""
    white = guns.xyz(1.0) - guns.room * guns.room_xyz

    def lights(xy: Floats) -> Floats:
        return np.asarray(np.linalg.solve(gun_matrix(xy), white))

    return _by_primaries(lights, through) / np.maximum(np.abs(lights(through.xy)), 1e-9)


# --- Steps ------------------------------------------------------------------------------------------------------------


_COLOUR = ("x", "y", "u", "v", "cct", "duv", "delta_uv", "delta_e_2000")


def _steps(
    groups: Sequence[Sequence[Reading]], white: White, through: Primaries, meter: Meter, guns: Guns | None, no_fit: str
) -> list[Step]:
    """Every step; where no `guns` fit the readings, and `no_fit` says why, their balance is that of the readings."""
    xyz = np.array([mean_of(items) for items in groups])
    counts = np.array([len(items) for items in groups])
    levels = np.array([items[0].level_percent for items in groups])
    spread, spot = mean_noise(xyz[:, 1], counts, meter)
    lit = xyz[:, 1] > 0
    reference = xyz_of(white.xy, float(xyz[:, 1].max()))

    def reckon(light: Floats) -> dict[str, Floats]:
        return _of_light(light, reference, white, through.xy)

    values = reckon(xyz[lit])
    uncertainty = _moved(xyz[lit], spread[lit], spot[lit], reckon)
    by_primaries = _by_primaries(lambda xy: balance_of(xyz[lit], white, xy), through)
    for i, gun in enumerate(GUNS):
        uncertainty[f"gun_percent_read.{gun}"] = np.hypot(uncertainty[f"gun_percent_read.{gun}"], by_primaries[:, i])
    if guns is None:
        model = {f"gun_percent.{gun}": values[f"gun_percent_read.{gun}"] for gun in GUNS}
        model_uncertainty = {f"gun_percent.{gun}": uncertainty[f"gun_percent_read.{gun}"] for gun in GUNS}
        model["delta_uv_fitted"] = model_uncertainty["delta_uv_fitted"] = np.full(int(lit.sum()), np.nan)
    else:
        model, model_uncertainty = _of_guns(guns, levels[lit] / 100, white, through)
    values, uncertainty = values | model, uncertainty | model_uncertainty
    place = np.cumsum(lit) - 1
    steps = []
    for i, level in enumerate(levels):
        figures: dict[str, float | None] = {"luminance": float(xyz[i, 1])}
        uncertainties: dict[str, float | None] = {"luminance": float(spread[i])}
        for name in values:
            figures[name] = _finite(values[name][place[i]]) if lit[i] else None
            uncertainties[name] = None if figures[name] is None else _finite(uncertainty[name][place[i]])
        steps.append(
            Step(
                level_percent=float(level),
                count=int(counts[i]),
                xyz=(float(xyz[i, 0]), float(xyz[i, 1]), float(xyz[i, 2])),
                figures=figures,
                uncertainty=uncertainties,
                reasons=_reasons(figures, no_fit, lit=bool(lit[i])),
            )
        )
    return steps


def _reasons(figures: Figures, no_fit: str, *, lit: bool) -> dict[str, str]:
    """Why figures of a step are None, by name or by its beginning; `no_fit` is empty where guns were fitted."""
    if not lit:
        of_step = (*_COLOUR, "gun_percent", "gun_percent_read", "delta_uv_fitted")
        return dict.fromkeys(of_step, "the meter read no light")
    reasons = {}
    if figures["cct"] is None:
        reasons["cct"] = reasons["duv"] = "too far off white for a colour temperature to mean anything"
    dark = "the fitted guns give no light here"
    if figures[f"gun_percent.{GUNS[0]}"] is None:
        reasons["gun_percent"] = dark
    if figures["delta_uv_fitted"] is None:
        reasons["delta_uv_fitted"] = no_fit or dark
    return reasons


def _of_light(xyz: Floats, reference: Floats, white: White, primaries: Floats) -> dict[str, Floats]:
    xy = xy_of(xyz)
    uv, temperature = uv_of(xy), cct_duv(xy)
    # The same light in the target's colour: of a grey, lightness is the set's gamma and no error.
    wanted = xyz_of(white.xy, xyz[:, 1])
    values = (
        *xy.T,
        *uv.T,
        *temperature.T,
        np.hypot(*(uv - uv_of(white.xy)).T),
        delta_e_2000(xyz, wanted, reference),
    )
    balance = balance_of(xyz, white, primaries)
    named = dict(zip(_COLOUR, values, strict=True))
    return named | {f"gun_percent_read.{gun}": balance[:, i] for i, gun in enumerate(GUNS)}


def balance_of(xyz: Floats, white: White, primaries: Floats) -> Floats:
    """Each gun's light (n, 3) over what the target white of the same luminance needs, less 100 %; NaN without light."""
    matrix = gun_matrix(primaries)
    needed = np.linalg.solve(matrix, gun_matrix([white.xy])[:, 0])
    lights = np.linalg.solve(matrix, xyz.T).T
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(100 * (lights / (np.where(xyz[:, 1:2] > 0, xyz[:, 1:2], np.nan) * needed) - 1))


def _of_guns(
    guns: Guns, levels: Floats, white: White, through: Primaries
) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """What the fitted guns show at each step, and its standard uncertainty: balance, and distance from the target."""

    def balance(primaries: Floats) -> Floats:
        return balance_of(guns.xyz(levels), white, primaries)

    def off(xyz: Floats) -> Floats:
        return np.asarray(np.hypot(*(uv_of(xy_of(xyz)) - target).T))

    target = uv_of(white.xy)
    lights = [other.xyz(levels) for other in guns.samples(_SAMPLES)]
    with np.errstate(invalid="ignore"):
        drawn = np.array([balance_of(xyz, white, through.xy) for xyz in lights])
        spread = np.hypot(drawn.std(axis=0), _by_primaries(balance, through))
        away = np.sqrt(
            ((off(np.array(lights).reshape(-1, 3)).reshape(len(lights), -1) - off(guns.xyz(levels))) ** 2).mean(axis=0)
        )
    shown = balance(through.xy)
    values = {f"gun_percent.{gun}": shown[:, i] for i, gun in enumerate(GUNS)}
    uncertainties = {f"gun_percent.{gun}": spread[:, i] for i, gun in enumerate(GUNS)}
    return values | {"delta_uv_fitted": off(guns.xyz(levels))}, uncertainties | {"delta_uv_fitted": away}


def _by_primaries(reckon: Callable[[Floats], Floats], through: Primaries) -> Floats:
    """What the primaries' uncertainty makes of a figure's."""
    at = reckon(through.xy)
    square = np.zeros(at.shape)
    for i in range(through.xy.size):
        moved = through.xy.copy()
        moved.flat[i] += through.uncertainty
        square += (reckon(moved) - at) ** 2
    return np.asarray(np.sqrt(square))


def _moved(
    xyz: Floats, spread: Floats, spot: Floats, reckon: Callable[[Floats], dict[str, Floats]]
) -> dict[str, Floats]:
    """What each figure changes by when x, y and luminance change by their standard uncertainty, root sum square.

    A step of that size rather than a slope, since a distance has none where it is nothing (JCGM 100:2008, 5.1, from
    memory, by differences).
    """
    at = reckon(xyz)
    xy = xy_of(xyz)
    square = {name: np.zeros(len(xyz)) for name in at}
    nothing = np.zeros(len(xyz))
    for dx, dy, light in ((spot, nothing, nothing), (nothing, spot, nothing), (nothing, nothing, spread)):
        changes = []
        for sign in (-1, 1):
            there = np.maximum(xy + sign * np.stack([dx, dy], axis=-1), 1e-4)
            other = reckon(xyz_of(there, np.maximum(xyz[:, 1] + sign * light, 1e-9)))
            changes.append({name: np.abs(other[name] - values) for name, values in at.items()})
        for name in square:
            square[name] += ((changes[0][name] + changes[1][name]) / 2) ** 2
    return {name: np.sqrt(value) for name, value in square.items()}


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
