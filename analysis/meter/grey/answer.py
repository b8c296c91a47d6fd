"""What `measure grey` answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from analysis.answer import Advice, Answer, Figure, Finding, Kind, Table, figures_of
from analysis.meter.colours import xy_of
from analysis.meter.grey.advice import AIM, FROM_LEVEL, Item
from analysis.meter.grey.measure import Grey
from analysis.meter.grey.quantities import SCALE, quantities
from analysis.meter.guns import FEWEST_LEVELS, GUNS, Guns, meter_noise
from analysis.meter.readings.types import Meter, level_text
from analysis.rounding import decimals
from analysis.tables import Column, listing, matrix

__all__ = ["grey_answer", "grey_finding"]

Pairs = dict[str, tuple[float | None, float | None]]
"""Figures by path, each with its standard uncertainty."""

_UNITS = {"cut-off": "% of the drive range", "drive": "%"}
"""Of a control's amount: the drive range is a gun's way from black to white; a drive is moved by percent of itself."""
_TIMES = 300.0
"""Percent of excess light from which a reason says how many times the light it is."""
_USUAL = {"cut-off": 12.0, "drive": 40.0}
"""Percent that a control moves at most in a set that is only out of adjustment; common practice, no source."""
_BRIGHTER = 0.05
"""Change of white's light, of what it is, from which the answer mentions it; this project's choice."""
_DECIMALS = 5
"""Of a figure at most: black's light has an uncertainty of a few ten-thousandths of a cd/m2."""
_SHOWN_AFTER = (5, 10, 20, 50, 80, 100)
"""Levels whose expected readings are in the text; JSON has all."""
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
    return Answer(
        kind=Kind.GREY,
        subject=(
            str(grey.readings.path),
            f"Grey scale compared with {grey.white.title}, primaries {grey.primaries.title}, "
            f"{count} {'reading' if count == 1 else 'readings'}",
        ),
        figures=figures,
        findings=(Finding(grey_finding(grey), about=about),),
        tables=_tables(grey, {one.quantity.path: one for one in figures}),
        remarks=(*grey.remarks, *_far(grey)),
        notes=_notes(grey),
        missing=_missing(grey),
        advice=None if grey.advice is None else tuple(_adjustment(grey, item) for item in grey.advice.items),
        advice_title="What can be adjusted" if _is_optional(grey) else "What to adjust",
        summary=_summary(grey),
        closing=_closing(grey),
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
    return pairs | _of_guns(grey.guns) | _expected(grey)


def _of_guns(guns: Guns | None) -> Pairs:
    if guns is None:
        return {}
    spread = np.sqrt(np.maximum(np.diag(guns.covariance), 0)).tolist()
    pairs: Pairs = {"guns.room_cd_m2": (guns.room, spread[9]), "guns.misfit": (guns.misfit, None)}
    for i, gun in enumerate(GUNS):
        light, cutoff, gamma = (float(values[i]) for values in (guns.light, guns.cutoff, guns.gamma))
        # The fit has the logarithm of light, and cut-offs in parts of the drive range.
        pairs[f"guns.{gun}.light_cd_m2"] = light, light * spread[i]
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
    words = f"Largest colour error {_LEVELS}: {step.figures[name]:.4f} ± {step.uncertainty[name] or 0.0:.4f} in u'v' "
    words += f"from {grey.white.title}, at {level_text(step.level_percent)} %"
    # The table beside it shows what was read, which scatters.
    words += " (fitted guns)" if name == "delta_uv_fitted" else ""
    gamma, contrast = grey.figures["gamma"], grey.figures["contrast"]
    more = [] if gamma is None else [f"gamma {gamma:.2f}"]
    more += [] if contrast is None else [f"contrast {contrast:.0f}"]
    return "; ".join([words, ", ".join(more)] if more else [words])


def _worst(grey: Grey) -> tuple[int, str] | None:
    """The largest colour error that counts: its step, and the figure's name there."""
    name = "delta_uv_fitted" if grey.gun_percent_of == "model" else "delta_uv"
    errors = {
        i: error
        for i, step in enumerate(grey.steps)
        if step.level_percent >= 100 * FROM_LEVEL - 0.5 and (error := step.figures[name]) is not None
    }
    return (max(errors, key=lambda i: errors[i]), name) if errors else None


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
        f"± is the standard uncertainty, for a meter of {100 * grey.meter.luminance:g} % in luminance and "
        f"{grey.meter.xy:g} in x and y",
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


# --- Advice -----------------------------------------------------------------------------------------------------------


_WHERE = (
    "Cut-offs and drives are usually controls named background and gain, outside or in the set's service menu; on some"
    " sets they are inside, for qualified service (common practice, no source)."
)


def _adjustment(grey: Grey, item: Item) -> Advice:
    level = level_text(100 * item.level)
    x, y = xy_of(np.array(item.reads)).tolist()
    light = item.reads[1]
    until = f"until grey {level} % reads x {x:.4f}, y {y:.4f}, {_light(light, grey.meter)} cd/m2"
    return Advice(
        adjust=f"{item.gun} {item.control}",
        direction="up" if item.percent > 0 else "down",
        amount=abs(item.percent),
        unit=_UNITS[item.control],
        uncertainty=item.uncertainty,
        decimals=1,
        until=until if light > 0 else f"grey {level} % stays dark until the next control is turned",
        why=_why(grey, item),
        show=f"Show grey {level} %: trueraster draw field --colour grey --level {level}",
        details={
            "gun": item.gun,
            "control": item.control,
            "level_percent": 100 * item.level,
            "reads": {"luminance": light, "x": x, "y": y},
        },
    )


def _light(luminance: float, meter: Meter) -> str:
    """A luminance with the digits that one reading of the meter has."""
    return f"{luminance:.{decimals(float(meter_noise(luminance, meter)[0]), _DECIMALS)}f}"


def _why(grey: Grey, item: Item) -> str:
    """Why a control is turned: from the guns as they are for a cut-off, with cut-offs set for a drive."""
    advice, guns = grey.advice, grey.guns
    assert advice is not None
    assert guns is not None
    if item.gun == advice.keep:
        if item.percent > 0:
            return f"as it is, {item.gun} gives too little light in the darkest greys, and they are lost"
        return f"as it is, {item.gun} gives more than a thousandth of white's light at black, and black is grey"
    gun, kept = GUNS.index(item.gun), GUNS.index(advice.keep)
    cutoff = np.zeros(3)
    if item.control == "drive":
        for other in advice.items:
            if other.control == "cut-off":
                cutoff[GUNS.index(other.gun)] = other.percent / 100
    level = level_text(100 * item.level)
    lights = guns.lights(item.level, cutoff)
    if lights[kept] <= 0:
        return f"{advice.keep} gives no light at {level} % yet, and {item.gun} is matched to it"
    x, y = grey.white.xy
    needed = np.linalg.solve(guns.matrix, np.array([x / y, 1.0, (1 - x - y) / y]))
    ratio = float(lights[gun] / needed[gun] * needed[kept] / lights[kept])
    percent = 100 * (ratio - 1)
    when = "with the cut-offs set" if cutoff.any() else "as it is"
    if percent >= _TIMES:
        return f"{when}, {item.gun} gives {ratio:.0f} times the light at {level} % that it should beside {advice.keep}"
    much = f"{abs(percent):.1f} % {'more' if percent > 0 else 'less'} light"
    return f"{when}, {item.gun} gives {much} at {level} % than it should beside {advice.keep}"


def _far(grey: Grey) -> tuple[str, ...]:
    """A warning of controls that would have to move further than they usually do."""
    items = () if grey.advice is None else grey.advice.items
    far = [f"{item.gun} {item.control}" for item in items if abs(item.percent) > _USUAL[item.control]]
    if not far:
        return ()
    return (
        f"{' and '.join(far)}: that is further than such a control usually moves. See first that the signal is grey "
        "and all guns are on; a worn gun cannot give more, and the others are matched to it with --keep",
    )


def _is_optional(grey: Grey) -> bool:
    """Whether there is advice, though greys are within the aim as they are."""
    return grey.advice is not None and bool(grey.advice.items) and grey.advice.now <= AIM


def _summary(grey: Grey) -> tuple[str, ...]:
    """What closes the advice: what comes after it, or why there is none."""
    advice = grey.advice
    if advice is None:
        lit = sum(step.figures["luminance"] not in (None, 0.0) for step in grey.steps)
        more = " Read grey at 0, 5, 10 and on to 100 %." if lit < FEWEST_LEVELS else ""
        return (f"Nothing can be advised: {grey.reasons['advice']}.{more}",)
    if not advice.items:
        words = f"Nothing: the fitted guns are within {advice.now:.4f} in u'v' of {grey.white.title} {_LEVELS}"
        words += ", and what a control would be turned by is less than its own uncertainty" if advice.left_alone else ""
        return (f"{words}.",)
    said = []
    if _is_optional(grey):
        said.append(f"Greys are within {advice.now:.4f} in u'v' as they are, and {AIM:g} is enough.")
    said.append(_WHERE)
    said.append(
        "Then read all levels again, and follow the advice on it: turning one control changes the other's step too."
    )
    again = f" That is more than {AIM:g}: a second round will be needed." if advice.likely > AIM else ""
    said.append(
        f"Once all is done, greys {_LEVELS} should be within {advice.then:.4f} in u'v' of the target. With the "
        f"uncertainty of the readings they are within {advice.likely:.4f} in 95 of 100 cases.{again}"
    )
    white = grey.figures["white_cd_m2"]
    then = next((step.xyz[1] for step in advice.steps if abs(step.level - 1) < 0.006), None)
    if white is not None and then is not None and abs(then / white - 1) > _BRIGHTER:
        said.append(
            f"White changes from {white:.0f} to {then:.0f} cd/m2; the contrast control, which moves all guns alike, "
            "sets it where it is wanted."
        )
    said.append(f"The {advice.keep} drive stays as it is, and the others are matched to it; --keep names another gun.")
    return tuple(said)


def _closing(grey: Grey) -> tuple[Table, ...]:
    """What a few steps read once the advice has been followed."""
    if grey.advice is None or not grey.advice.items:
        return ()
    steps = grey.advice.steps
    shown = {min(steps, key=lambda step: abs(100 * step.level - level)).level for level in _SHOWN_AFTER}
    rows = []
    for step in steps:
        if step.level in shown:
            x, y = xy_of(np.array(step.xyz)).tolist()
            light = _light(step.xyz[1], grey.meter)
            off = (f"{step.delta_uv:.4f}", f"{step.likely:.4f}")
            rows.append((f"{level_text(100 * step.level)} %", light, f"{x:.4f}", f"{y:.4f}", *off))
    head = ("once done", "cd/m2", "x", "y", "colour error, u'v'", "likely within")
    return (Table(head=head, rows=tuple(rows)),)
