"""What `measure grey` answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.answer import Answer, Figure, Finding, Kind, Table, figures_of
from analysis.meter.colours import xy_of
from analysis.meter.grey.advice import AIM, FROM_LEVEL, Mode
from analysis.meter.grey.advised import adjustment, closing_of, far_controls, is_optional, summary_of
from analysis.meter.grey.measure import Grey
from analysis.meter.grey.quantities import SCALE, quantities
from analysis.meter.guns import GUNS, Guns
from analysis.meter.readings.types import level_text
from analysis.meter.remedies import condition_json, meter_words, said_of
from analysis.tables import Column, listing, matrix

__all__ = ["grey_answer", "grey_finding"]

Floats = NDArray[np.float64]
Pairs = dict[str, tuple[float | None, float | None]]
"""Figures by path, each with its standard uncertainty."""

_DECIMALS = 5
"""Of a figure at most: black's light has an uncertainty of a few ten-thousandths of a cd/m2."""
_BEYOND = 3.0
"""Uncertainties by which a step as read has to be further off than the fitted guns for it to be the main finding."""
_SLIGHT = 0.0005
"""u'v' that a step as read may be further off in any case."""
_OPEN, _MARGIN = 2.5, 0.001
"""Uncertainties, and u'v' beyond the aim, from which an error within the aim is said to be uncertain."""
_LEVELS = f"from {100 * FROM_LEVEL:g} to 100 %"


def grey_answer(grey: Grey) -> Answer:
    """Everything that is reported of a grey scale."""
    details, reasons, pairs = _details(grey), _reasons(grey), _pairs(grey)
    figures = figures_of(
        quantities(details),
        {path: value for path, (value, _) in pairs.items()},
        {path: uncertainty for path, (_, uncertainty) in pairs.items()},
        reasons,
    )
    count = len(grey.readings.items)
    worst = None if grey.falls else _worst(grey)
    about = "" if worst is None else f"steps.{worst[0]}.{worst[1]}"
    named = said_of(grey.conditions)
    return Answer(
        kind=Kind.GREY,
        subject=(
            str(grey.readings.path),
            f"Grey scale compared with {grey.white.title}, primaries {grey.primaries.title}, "
            f"{count} {'reading' if count == 1 else 'readings'}",
        ),
        figures=figures,
        findings=(
            Finding(grey_finding(grey), about=about),
            *(Finding(f"{_sentence(one.title)}: {one.evidence}") for one in named),
        ),
        tables=_tables(grey, {one.quantity.path: one for one in figures}),
        remarks=(
            *(f"{one.title}: {one.remedy}" for one in named),
            *grey.remarks,
            *_cautions(grey),
            *far_controls(grey),
        ),
        notes=_notes(grey),
        missing=_missing(grey),
        advice=None if grey.advice is None else tuple(adjustment(grey, item) for item in grey.advice.items),
        advice_title="What can be adjusted" if is_optional(grey) else "What to adjust",
        summary=summary_of(grey),
        closing=closing_of(grey),
        reasons=reasons,
        absent=_absent(grey),
        details=details,
    )


# --- Figures ----------------------------------------------------------------------------------------------------------


def _pairs(grey: Grey) -> Pairs:
    """All figures and their standard uncertainties, by their paths in the JSON."""
    pairs = {name: (value, grey.uncertainty[name]) for name, value in grey.figures.items()}
    for i, step in enumerate(grey.steps):
        pairs |= {f"steps.{i}.{name}": (value, step.uncertainty[name]) for name, value in step.figures.items()}
    for gun, (x, y) in zip(GUNS, grey.primaries.xy.tolist(), strict=True):
        pairs[f"primaries.{gun}.x"] = x, grey.primaries.uncertainty
        pairs[f"primaries.{gun}.y"] = y, grey.primaries.uncertainty
    drift = grey.repeats.drift
    if drift is not None:
        changes = zip(("luminance_percent", "x", "y"), drift.uncertainty, strict=True)
        pairs |= {f"repeats.drift.{name}": (getattr(drift, name), uncertainty) for name, uncertainty in changes}
    return pairs | _of_guns(grey.guns, grey.light_uncertainty) | _expected(grey)


def _of_guns(guns: Guns | None, by_primaries: Floats | None) -> Pairs:
    if guns is None or by_primaries is None:
        return {}
    spread = np.sqrt(np.maximum(np.diag(guns.covariance), 0)).tolist()
    pairs: Pairs = {"guns.room_cd_m2": (guns.room, spread[9]), "guns.misfit": (guns.misfit, None)}
    for i, gun in enumerate(GUNS):
        light, cutoff, gamma = (float(values[i]) for values in (guns.light, guns.cutoff, guns.gamma))
        # The fit has the logarithm of light, and cut-offs in parts of the drive range.
        pairs[f"guns.{gun}.light_cd_m2"] = light, light * float(np.hypot(spread[i], by_primaries[i]))
        pairs[f"guns.{gun}.cutoff_percent"] = 100 * cutoff, 100 * spread[3 + i]
        pairs[f"guns.{gun}.gamma"] = gamma, spread[6 + i]
    return pairs


def _expected(grey: Grey) -> Pairs:
    """What the fitted guns will show once the advice has been followed; it has no uncertainty but what is likely."""
    if grey.advice is None:
        return {}
    values = {
        "after.delta_uv_now": grey.advice.now,
        "after.delta_uv": grey.advice.then,
        "after.delta_uv_likely": grey.advice.likely,
    }
    for i, step in enumerate(grey.advice.steps):
        x, y = xy_of(np.array(step.xyz)).tolist()
        of_step = {"luminance": step.xyz[1], "x": x, "y": y, "delta_uv": step.delta_uv, "delta_uv_likely": step.likely}
        of_step |= {f"gun_percent.{gun}": percent for gun, percent in zip(GUNS, step.gun_percent, strict=True)}
        values |= {f"after.steps.{i}.{name}": value for name, value in of_step.items()}
    return {path: (value, None) for path, value in values.items()}


def _details(grey: Grey) -> dict[str, Any]:
    x, y = grey.white.xy
    repeats = grey.repeats
    details: dict[str, Any] = {
        "target": {"x": x, "y": y, "name": grey.white.name},
        "steps": [{"level_percent": step.level_percent, "readings": step.count} for step in grey.steps],
        "gun_percent_of": grey.gun_percent_of,
        "conditions": [condition_json(one) for one in grey.conditions],
        "primaries": {"name": grey.primaries.name},
        "repeats": {
            "fields": repeats.repeated,
            "outliers": [
                {
                    "row": one.reading.row,
                    "field": str(one.reading.field),
                    "level_percent": one.reading.level_percent,
                    "why": one.why,
                }
                for one in (*repeats.outliers, *grey.strays)
            ],
            "apart": list(repeats.apart),
        },
        "readings": {
            "path": None if grey.readings.path is None else str(grey.readings.path),
            "count": len(grey.readings.items),
            "meter_luminance_percent": 100 * grey.meter.luminance,
            "meter_xy": grey.meter.xy,
            "meter_dark_cd_m2": grey.meter.dark,
            "meter_resolution_cd_m2": grey.meter.resolution,
            "meter_xy_resolution": grey.meter.xy_resolution,
        },
    }
    if repeats.drift is not None:
        details["repeats"]["drift"] = {"clear": repeats.drift.is_clear}
    if grey.advice is not None:
        levels = [{"level_percent": 100 * step.level} for step in grey.advice.steps]
        details["after"] = {"kept": grey.advice.keep, "steps": levels}
    return details


def _reasons(grey: Grey) -> dict[str, str]:
    reasons = dict(grey.reasons)
    if grey.advice is None:
        reasons["after"] = reasons["advice"]
    if grey.repeats.drift is None:
        reasons["repeats.drift"] = "too little was read twice, far enough apart"
    for i, step in enumerate(grey.steps):
        reasons |= {f"steps.{i}.{name}": why for name, why in step.reasons.items()}
    return reasons


def _absent(grey: Grey) -> tuple[str, ...]:
    """Paths that are null as a whole: what is not available for any of three guns is null once."""
    absent = [
        *(("guns",) if grey.guns is None else ()),
        *(("after",) if grey.advice is None else ()),
        *(("repeats.drift",) if grey.repeats.drift is None else ()),
    ]
    for i, step in enumerate(grey.steps):
        for group in ("gun_percent", "gun_percent_read"):
            if all(step.figures[f"{group}.{gun}"] is None for gun in GUNS):
                absent.append(f"steps.{i}.{group}")
            elif all(step.uncertainty[f"{group}.{gun}"] is None for gun in GUNS):
                absent.append(f"uncertainty.steps.{i}.{group}")
    return tuple(absent)


# --- Words ------------------------------------------------------------------------------------------------------------


def grey_finding(grey: Grey) -> str:
    """The main finding in a sentence without its full stop."""
    if grey.falls:
        return grey.reasons["guns"].replace("light", "Light", 1)
    worst = _worst(grey)
    if worst is None:
        return f"No grey {_LEVELS} gives light that the meter could read"
    i, name = worst
    step = grey.steps[i]
    # One or two levels say nothing of those between.
    is_scale = grey.advice is None or grey.advice.mode is Mode.SCALE
    where = _LEVELS if is_scale else "of the levels read"
    words = f"Largest colour error {where}: {step.figures[name]:.4f} ± {step.uncertainty[name] or 0.0:.4f} in u'v' "
    words += f"from {grey.white.title}, at {level_text(step.level_percent)} %"
    # The table beside it shows what was read, which scatters.
    words += " (as read)" if name == "delta_uv" and grey.gun_percent_of == "model" else ""
    words += " (fitted guns)" if name == "delta_uv_fitted" else ""
    gamma, contrast = grey.figures["gamma"], grey.figures["contrast"]
    more = [] if gamma is None else [f"gamma {gamma:.2f}"]
    more += [] if contrast is None else [f"contrast {contrast:.0f}"]
    return "; ".join([words, ", ".join(more)] if more else [words])


def _worst(grey: Grey) -> tuple[int, str] | None:
    """The largest colour error that counts: its step, and the figure's name there.

    That of the fitted guns, which is more certain than a single step, unless a step as read is further off than its
    noise allows.
    """
    errors: dict[tuple[int, str], float] = {}
    for i, step in enumerate(grey.steps):
        read, fitted = step.figures["delta_uv"], step.figures["delta_uv_fitted"]
        if step.level_percent < 100 * FROM_LEVEL - 0.5 or read is None:
            continue
        noise = step.uncertainty["delta_uv"] or 0.0
        counts = (
            grey.gun_percent_of == "model" and fitted is not None and read - fitted <= max(_BEYOND * noise, _SLIGHT)
        )
        errors[i, "delta_uv_fitted" if counts else "delta_uv"] = (fitted or 0.0) if counts else read
    return max(errors, key=lambda one: errors[one]) if errors else None


def _cautions(grey: Grey) -> tuple[str, ...]:
    """What the main finding leaves open."""
    said = []
    alone = {level_text(item.level_percent): item.row for item in grey.alone}
    for level, row in alone.items():
        said.append(
            f"grey at {level} %, row {row}, is far off what the other steps make likely, and nothing was read beyond "
            "it: read it again; it is a step here, and not in the fit of guns"
        )
    worst = _worst(grey)
    if worst is not None:
        value, spread = (
            held[worst[1]] or 0.0 for held in (grey.steps[worst[0]].figures, grey.steps[worst[0]].uncertainty)
        )
        most = value + _OPEN * spread
        if value <= AIM < most - _MARGIN:
            said.append(f"with its uncertainty the largest colour error may be {most:.4f}; read the scale three times")
    return tuple(said)


def _tables(grey: Grey, figures: Mapping[str, Figure]) -> tuple[Table, ...]:
    steps = {f"steps.{i}.": f"{level_text(step.level_percent)} %" for i, step in enumerate(grey.steps)}
    colours = matrix(
        figures,
        steps,
        (
            Column("cd/m2", "luminance"),
            Column("±", "luminance", uncertainty=True),
            Column("x", "x", 4),
            Column("y", "y", 4),
            Column("CCT, K", "cct", 0),
            Column("Duv", "duv", 4),
            Column("colour error, u'v'", "delta_uv", 4),
            Column("±", "delta_uv", 4, uncertainty=True),
            Column("Delta E 2000", "delta_e_2000", 1),
        ),
        "level",
        most=_DECIMALS,
    )
    of_guns = [
        (Column(f"{gun}, %", f"gun_percent.{gun}", 1), Column("±", f"gun_percent.{gun}", 1, uncertainty=True))
        for gun in GUNS
    ]
    balance = matrix(figures, steps, [column for pair in of_guns for column in pair], "gun balance")
    overall = listing([figures[one.path] for one in SCALE], head="overall", most=_DECIMALS)
    guns = matrix(
        figures,
        {} if grey.guns is None else {f"guns.{gun}.": gun for gun in GUNS},
        (
            Column("light at 100 %, cd/m2", "light_cd_m2"),
            Column("±", "light_cd_m2", uncertainty=True),
            Column("cut-off, % of the drive range", "cutoff_percent", 2),
            Column("±", "cutoff_percent", 2, uncertainty=True),
            Column("gamma", "gamma", 3),
            Column("±", "gamma", 3, uncertainty=True),
        ),
        "fitted guns",
    )
    return colours, balance, overall, guns


def _notes(grey: Grey) -> tuple[str, ...]:
    source = "the guns fitted to all steps" if grey.gun_percent_of == "model" else "each step as read"
    return (
        *(f"row {one.reading.row}: {one.why}" for one in (*grey.repeats.outliers, *grey.strays)),
        *grey.repeats.apart,
        "gun balance is each gun's light compared with what the target white of the same luminance needs, from "
        f"{source}",
        "gamma and the deviation from BT.1886, in % of luminance, are for steps from 10 to 100 %",
        meter_words(grey.meter),
    )


def _missing(grey: Grey) -> tuple[str, ...]:
    """Each reason once, with what it concerns, and at which levels."""
    concerned: dict[str, dict[str, list[str]]] = {}
    for step in grey.steps:
        names = ("delta_uv",) if "delta_uv" in step.reasons else ("cct", "gun_percent")
        for name in names:
            if name in step.reasons:
                levels = concerned.setdefault(step.reasons[name], {}).setdefault(_MISSING_IN_STEP[name], [])
                levels.append(level_text(step.level_percent))
    reasons = _reasons(grey)
    for name, words in _MISSING.items():
        if name in reasons:
            concerned.setdefault(reasons[name], {})[words] = []
    missing = []
    for why, some in concerned.items():
        named = [f"{words} at {', '.join(levels)} %" if levels else words for words, levels in some.items()]
        missing.append(f"{', '.join(named)}: {why}")
    return tuple(missing)


_MISSING_IN_STEP = {"delta_uv": "colour", "cct": "CCT and Duv", "gun_percent": "gun balance"}
_MISSING = {
    "white_cd_m2": "white",
    "black_cd_m2": "black",
    "contrast": "contrast",
    "gamma": "gamma",
    "bt1886_error_percent": "deviation from BT.1886",
    "guns": "fitted guns",
    "repeats.drift": "drift",
}


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]
