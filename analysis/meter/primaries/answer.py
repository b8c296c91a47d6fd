"""What `measure colour` answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from analysis.answer import Advice, Answer, Figure, Finding, Kind, Table, figures_of
from analysis.meter.colours import uv_of
from analysis.meter.primaries.fields import PRIMARIES, SECONDARIES, name_of
from analysis.meter.primaries.measure import Colour
from analysis.meter.primaries.quantities import ADDED, PLACES, quantities
from analysis.meter.readings.types import Field, level_text
from analysis.meter.remedies import condition_json, meter_words, said_of
from analysis.rounding import figure, uncertainty_text, unsigned
from analysis.tables import Column, matrix

__all__ = ["advise_colour", "colour_answer", "colour_finding"]

WHITE = "white"
_BEYOND = 3.0
"""Standard uncertainties beyond which every deviation is named, whatever it may come from."""
_CLEAR = 2.0
"""How many standard uncertainties a difference has to reach before it is reported."""
_WHITE_OFF = 0.004
"""u'v': about what is just seen side by side; common practice, no source."""
_TOWARDS = 0.7
"""Of what a primary is off, by which it has to be nearer to white for that to be said: within about 45 degrees."""
_PALE = 0.006
"""u'v' towards white from which a primary is called pale; this project's choice."""
_OTHER = 0.012
"""Distance in u'v' from which any other error of a primary is reported; this project's choice."""
_UNEVEN = 3.0
"""Percent of light by which white has to differ from the sum of its parts to be reported; this project's choice."""
_NEARER = 0.002
"""How much nearer in u'v' the primaries have to be to another standard to name it; this project's choice."""


def colour_answer(found: Colour) -> Answer:
    """Everything that is reported of a set's colours."""
    count = len(found.readings.items)
    values, uncertainty = _by_path(found.figures), _by_path(found.uncertainty)
    reasons = dict(found.reasons)
    if WHITE not in reasons and found.figures.get(f"{WHITE}.cct") is None:
        reasons |= dict.fromkeys((f"{WHITE}.cct", f"{WHITE}.duv"), _FAR)
    for field in found.seen:
        values[f"{PLACES[name_of(field)]}.target.share_percent"] = found.targets[field].share_percent
    figures = figures_of(quantities(), values, uncertainty, reasons)
    seen = [name_of(field) for field in (*PRIMARIES, *SECONDARIES, Field.GREY) if field in found.seen]
    advice = advise_colour(found)
    named, beyond = said_of(found.conditions), _beyond(figures)
    added = {name for name in ADDED if f"additivity.{name}.delta_uv" in values}
    return Answer(
        kind=Kind.COLOUR,
        subject=(
            str(found.readings.path),
            f"Colours at {level_text(found.level_percent)} % compared with {found.standard.title}, white "
            f"{found.white.title}, {count} {'reading' if count == 1 else 'readings'}",
        ),
        figures=figures,
        findings=(
            Finding(colour_finding(found), about=_worst(found)),
            *(Finding(f"{one.title[:1].upper()}{one.title[1:]}: {one.evidence}") for one in named),
        ),
        tables=_tables(found, {one.quantity.path: one for one in figures}, seen),
        remarks=(*(f"{one.title}: {one.remedy}" for one in named), *found.remarks),
        notes=(meter_words(found.meter),),
        missing=_missing(found),
        advice=tuple(advice),
        advice_title="What to check",
        summary=_summary(beyond, any_said=bool(advice or named)),
        reasons=reasons,
        absent=(
            *(at for name, at in PLACES.items() if name not in seen),
            *(() if "gamut.area_uv" in values else ("gamut",)),
            *(f"additivity.{name}" for name in ADDED if name not in added),
        ),
        details={**_details(found), "beyond": [one.quantity.path for one in beyond]},
    )


def _beyond(figures: Sequence[Figure]) -> list[Figure]:
    """Deviations from the standard, and from the sums of parts, that are more than three of their uncertainties."""
    return [
        one
        for one in figures
        if one.quantity.path.rpartition(".")[2] in ("delta_uv", "luminance_error_percent")
        and one.value is not None
        and one.uncertainty is not None
        and abs(one.value) > _BEYOND * one.uncertainty
    ]


def _summary(beyond: Sequence[Figure], *, any_said: bool) -> tuple[str, ...]:
    """Every deviation that is no chance, by name; or that there is none."""
    if not beyond:
        return () if any_said else ("No error is larger than three times its uncertainty.",)
    said = []
    for one in beyond:
        places = 4 if one.quantity.unit == "u'v'" else 1
        value = figure(one.value, places) if one.quantity.signed else unsigned(one.value, places)
        said.append(f"{one.quantity.words} {value} ± {uncertainty_text(one.uncertainty, places)} {one.quantity.unit}")
    return (f"Beyond three uncertainties: {'; '.join(said)}.",)


_FAR = "white is too far from the Planckian locus for a colour temperature"


def _by_path(figures: Mapping[str, float | None]) -> dict[str, float | None]:
    """Figures by their path in the JSON: those of a field are in the group of its kind."""
    made = {}
    for name, value in figures.items():
        field, _, rest = name.partition(".")
        made[f"{PLACES[field]}.{rest}" if field in PLACES else name] = value
    return made


def _details(found: Colour) -> dict[str, Any]:
    targets: dict[str, Any] = {}
    for field in found.seen:
        x, y = found.targets[field].xy
        place, target = PLACES[name_of(field)], {"x": x, "y": y, "share_percent": found.targets[field].share_percent}
        group, _, name = place.partition(".")
        if name:
            targets.setdefault(group, {})[name] = {"target": target}
        else:
            targets[group] = {"target": target}
    x, y = found.white.xy
    return {
        **targets,
        "target": {
            "name": found.standard.name,
            "title": found.standard.title,
            "white": {"name": found.white.name, "x": x, "y": y},
        },
        "level_percent": found.level_percent,
        "nearest": found.nearest.name,
        "conditions": [condition_json(one) for one in found.conditions],
        "readings": {
            "path": None if found.readings.path is None else str(found.readings.path),
            "count": len(found.readings.items),
            "meter_luminance_percent": 100 * found.meter.luminance,
            "meter_xy": found.meter.xy,
            "meter_dark_cd_m2": found.meter.dark,
            "meter_resolution_cd_m2": found.meter.resolution,
            "meter_xy_resolution": found.meter.xy_resolution,
        },
    }


def _tables(found: Colour, figures: Mapping[str, Figure], seen: list[str]) -> tuple[Table, ...]:
    fields = {f"{PLACES[name]}.": name for name in seen}
    places = matrix(
        figures,
        fields,
        (
            Column("x", "x", 4),
            Column("y", "y", 4),
            Column("error in x", "dx", 4),
            Column("error in y", "dy", 4),
            Column("u'", "u", 4),
            Column("v'", "v", 4),
            Column("error in u'v'", "delta_uv", 4),
            Column("±", "delta_uv", 4, uncertainty=True),
        ),
        "chromaticity",
        below=_temperature(figures),
    )
    lights = matrix(
        figures,
        fields,
        (
            Column("cd/m2", "luminance", 2),
            Column("% of white", "share_percent", 2),
            Column("should be", "target.share_percent", 2),
            Column("error, %", "luminance_error_percent", 1),
            Column("±", "luminance_error_percent", 1, uncertainty=True),
            Column("Delta E 2000", "delta_e_2000", 1),
            Column("±", "delta_e_2000", 1, uncertainty=True),
        ),
        "luminance",
    )
    gamut = matrix(
        figures,
        {"uv": "in u'v'", "xy": "in xy"} if figures["gamut.area_uv"].value is not None else {},
        (
            Column(f"area, % of {found.standard.short}", "gamut.area_{}_percent", 1),
            Column("±", "gamut.area_{}_percent", 1, uncertainty=True),
            Column("covered, %", "gamut.coverage_{}_percent", 1),
            Column("±", "gamut.coverage_{}_percent", 1, uncertainty=True),
        ),
        "gamut",
    )
    added = matrix(
        figures,
        {
            f"additivity.{name}.": name
            for name in ADDED
            if figures[f"additivity.{name}.luminance_error_percent"].value is not None
        },
        (
            Column("luminance, %", "luminance_error_percent", 1),
            Column("±", "luminance_error_percent", 1, uncertainty=True),
            Column("colour, u'v'", "delta_uv", 4),
            Column("±", "delta_uv", 4, uncertainty=True),
        ),
        "compared with the sum of its parts",
    )
    return places, lights, gamut, added


def _temperature(figures: Mapping[str, Figure]) -> str:
    cct, duv = figures[f"{WHITE}.cct"], figures[f"{WHITE}.duv"]
    if cct.value is None or duv.value is None:
        return ""
    return (
        f"white: {cct.value:.0f} ± {cct.uncertainty or 0.0:.0f} K, Duv {figure(duv.value, 4)} ± "
        f"{uncertainty_text(duv.uncertainty, 4)}"
    )


def _missing(found: Colour) -> tuple[str, ...]:
    """Each reason once, with what it concerns."""
    names: dict[str, list[str]] = {}
    for name, reason in found.reasons.items():
        words = name.replace("additivity.", "the sum for ").replace("luminance", "luminance errors")
        names.setdefault(reason, []).append(words)
    return tuple(f"{', '.join(concerned)}: {reason}" for reason, concerned in names.items())


def _worst(found: Colour) -> str:
    """The path of the largest error of a primary."""
    errors = {field: found.figures[f"{field}.delta_uv"] or 0.0 for field in PRIMARIES if field in found.seen}
    return f"{PLACES[name_of(max(errors, key=lambda field: errors[field]))]}.delta_uv"


def colour_finding(found: Colour) -> str:
    """The main finding in a sentence without its point."""
    errors = {field: found.figures[f"{field}.delta_uv"] for field in PRIMARIES if field in found.seen}
    known = {field: value for field, value in errors.items() if value is not None}
    worst = max(known, key=lambda field: known[field])
    uncertainty = found.uncertainty[f"{worst}.delta_uv"] or 0.0
    words = f"{'Largest error of a primary' if len(known) > 1 else 'Error of the primary'}: {worst}"
    words += f" {known[worst]:.4f} ± {uncertainty:.4f} in u'v'"
    covered = found.figures.get("gamut.coverage_uv_percent")
    if covered is not None:
        words += f"; {covered:.1f} % of {found.standard.short} can be shown"
    return words


def advise_colour(found: Colour) -> list[Advice]:
    """What to see to, in the order in which it is worth doing."""
    other = _nearer(found)
    # Phosphors of another standard may lie nearer to white with nothing amiss.
    return [*other, *_sum(found), *([] if other else _off(found)), *_white(found)]


def _clear(found: Colour, name: str, least: float) -> float | None:
    """A figure that stands out of its uncertainty and of what matters; else None."""
    value, uncertainty = found.figures.get(name), found.uncertainty.get(name)
    if value is None or uncertainty is None or abs(value) < max(least, _CLEAR * uncertainty):
        return None
    return value


def _sum(found: Colour) -> list[Advice]:
    error = _clear(found, f"additivity.{WHITE}.luminance_error_percent", _UNEVEN)
    if error is None:
        return []
    amount = f"White gives {abs(error):.1f} % {'less' if error < 0 else 'more'} light than red, green and blue together"
    if error < 0:
        dark = "" if found.black_was_read else ", or black gives light that was not read"
        too = "" if found.black_was_read else ", and grey at 0 % too"
        why = (
            f"{amount}: the set holds back its beam current, or its high voltage sags under load{dark}. Read all "
            f"fields again in a window of a tenth of the picture{too}"
        )
        return [Advice(adjust="area of the field", why=why)]
    why = f"{amount}: something changed between them. Let the set warm up, and read them again"
    return [Advice(adjust="steadiness", why=why)]


def _off(found: Colour) -> list[Advice]:
    """Primaries that are off: towards white, or otherwise."""
    hints = []
    white = uv_of(found.white.xy)
    for field in PRIMARIES:
        far = _clear(found, f"{field}.delta_uv", _PALE)
        if far is None:
            continue
        way = white - uv_of(found.targets[field].xy)
        off = np.array([found.figures[f"{field}.du"], found.figures[f"{field}.dv"]], dtype=float)
        nearer = float(np.hypot(*way) - np.hypot(*(way - off)))
        if nearer >= max(_PALE, _TOWARDS * far):
            why = (
                f"{field.capitalize()} lies {nearer:.3f} in u'v' nearer to white than it should: other light is mixed "
                "in. See that the room is dark, that the other guns are black, and that purity is right"
            )
            hints.append(Advice(adjust=f"{field} field", why=why))
        elif far >= _OTHER:
            why = (
                f"{field.capitalize()} lies {far:.3f} in u'v' from {found.standard.short}, and not towards white: the "
                "phosphor is a different one or has aged, and cannot be adjusted, or the meter errs in this colour"
            )
            hints.append(Advice(adjust=f"{field} field", why=why))
    return hints


def _white(found: Colour) -> list[Advice]:
    off = _clear(found, f"{WHITE}.delta_uv", _WHITE_OFF)
    if off is None:
        return []
    why = (
        f"White is {off:.4f} in u'v' from {found.white.title}, and the secondary colours and all luminance errors "
        "follow from it. Set the grey scale first ('trueraster measure grey'), then read the colours again"
    )
    return [Advice(adjust="grey scale", why=why)]


def _nearer(found: Colour) -> list[Advice]:
    fields = [field for field in PRIMARIES if field in found.seen]
    if found.nearest.name == found.standard.name or len(fields) < len(PRIMARIES):
        return []
    spots = uv_of(
        np.array([[found.figures[f"{field}.x"], found.figures[f"{field}.y"]] for field in fields], dtype=float)
    )
    off, other = (
        float(np.hypot(*(spots - uv_of(np.array(known.xy))).T).mean()) for known in (found.standard, found.nearest)
    )
    if off - other < _NEARER:
        return []
    why = (
        f"The tube's primaries are {off:.4f} in u'v' from {found.standard.short} in the mean, and {other:.4f} from "
        f"{found.nearest.short}. Phosphors cannot be adjusted; '--primaries {found.nearest.name}' compares the set "
        "with those"
    )
    return [Advice(adjust="the standard", why=why)]
