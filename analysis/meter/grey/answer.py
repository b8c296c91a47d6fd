"""What `measure grey` found, in words and as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from analysis.meter.colours import xy_of
from analysis.meter.grey.advice import AIM, FROM_LEVEL, GreyAdvice, Item
from analysis.meter.grey.measure import Grey
from analysis.meter.guns import GUNS
from analysis.meter.readings.types import level_text

__all__ = ["UNITS", "adjustment", "advice_why", "beyond", "expected", "grey_finding", "grey_json", "how_to"]

_DIGITS = 6
UNITS = {"cut-off": "% of the drive range", "drive": "%"}
"""Of a control's amount: the drive range is a gun's way from black to white; a drive is moved by percent of itself."""

_TIMES = 300.0
"""Percent from which an excess is told as so many times."""
_USUAL = {"cut-off": 12.0, "drive": 40.0}
"""Percent that a control moves at most in a set that is only out of adjustment; common practice, no source."""


def grey_finding(found: Grey) -> str:
    """The main finding in a sentence without its point."""
    if found.falls:
        return found.reasons["guns"].replace("light", "Light", 1)
    steps = [step for step in found.steps if step.level_percent >= 100 * FROM_LEVEL - 0.5]
    name = "delta_uv_fitted" if found.gun_percent_of == "model" else "delta_uv"
    told = [(step.figures.get(name), step) for step in steps]
    known = [(value, step) for value, step in told if value is not None]
    if not known:
        return f"No grey from {100 * FROM_LEVEL:g} to 100 % gives light that the meter could read"
    value, step = max(known, key=lambda pair: pair[0])
    unsure = step.uncertainty.get(name) or 0.0
    # The table beside it shows what was read, which scatters.
    words = "By the guns fitted to all steps, greys" if found.gun_percent_of == "model" else "Greys"
    words += f" from {100 * FROM_LEVEL:g} to 100 % are up to {value:.4f} ± {unsure:.4f} in u'v' off "
    words += f"{found.white.title}, most at {level_text(step.level_percent)} %"
    if found.figures["gamma"] is not None:
        words += f"; gamma {found.figures['gamma']:.2f}"
    if found.figures["contrast"] is not None:
        words += f", contrast {found.figures['contrast']:.0f}"
    return words


def adjustment(item: Item) -> str:
    """One control to turn: 'green cut-off: up by 3.1 % of the drive range'."""
    return f"{item.gun} {item.control}: {_way(item)} by {abs(item.percent):.1f} {UNITS[item.control]}"


def _way(item: Item) -> str:
    return "up" if item.percent > 0 else "down"


def how_to(item: Item) -> str:
    """How far is far enough, in what the meter reads."""
    if item.reads[1] <= 0:
        return f"with grey {level_text(100 * item.level)} % shown, which stays dark until the next one is turned"
    x, y = xy_of(np.array(item.reads))
    light = f"{item.reads[1]:.3g}"
    return f"until grey {level_text(100 * item.level)} % reads x {x:.4f}, y {y:.4f}, {light} cd/m2"


def advice_why(found: Grey, item: Item) -> str:
    """Why a control is turned: from the guns as they are for a cut-off, with cut-offs set for a drive."""
    advice, guns = found.advice, found.guns
    assert advice is not None
    assert guns is not None
    if item.gun == advice.keep:
        if item.percent > 0:
            return f"as it is, {item.gun} gives too little light in the darkest greys, and they are lost"
        return f"as it is, {item.gun} gives more than a thousandth of white's light at black, and black is grey"
    gun, kept = GUNS.index(item.gun), GUNS.index(advice.keep)
    is_cutoff = item.control == "cut-off"
    cutoff = np.zeros(3)
    if not is_cutoff:
        for other in advice.items:
            if other.control == "cut-off":
                cutoff[GUNS.index(other.gun)] = other.percent / 100
    lights = guns.lights(item.level, cutoff)
    x, y = found.white.xy
    needed = np.linalg.solve(guns.matrix, np.array([x / y, 1.0, (1 - x - y) / y]))
    if lights[kept] <= 0:
        return f"{advice.keep} gives no light at {level_text(100 * item.level)} % yet, and {item.gun} is matched to it"
    off = float(100 * (lights[gun] / needed[gun] * needed[kept] / lights[kept] - 1))
    when = "with cut-offs set" if cutoff.any() else "as it is"
    much = (
        f"{abs(off):.1f} % {'more' if off > 0 else 'less'} light"
        if off < _TIMES
        else f"{1 + off / 100:.0f} times the light"
    )
    word = "than" if off < _TIMES else "that"
    return f"{when}, {item.gun} gives {much} at {level_text(100 * item.level)} % {word} {advice.keep} needs beside it"


def beyond(advice: GreyAdvice) -> str:
    """A word on controls that would have to move further than they usually do; empty where there is none."""
    far = [f"{item.gun} {item.control}" for item in advice.items if abs(item.percent) > _USUAL[item.control]]
    if not far:
        return ""
    return (
        f"{' and '.join(far)}: that is further than such a control usually moves. See first that the signal is grey "
        "and all guns are on; a worn gun cannot give more, and the others are matched to it with --keep"
    )


def expected(advice: GreyAdvice) -> str:
    """What greys will be off once all is done."""
    words = (
        f"greys from {100 * FROM_LEVEL:g} to 100 % should be within {advice.then:.4f} in u'v' of the target, and are "
        f"within {advice.likely:.4f} in 95 of 100 cases, as sure as the readings are"
    )
    if advice.likely > AIM:
        words += f"; that is more than {AIM:g}, so read again and go round once more"
    return words


def grey_json(found: Grey) -> dict[str, Any]:
    """The answer for programs: figures in full, each with its standard uncertainty in `uncertainty`."""
    advice, guns, repeats = found.advice, found.guns, found.repeats
    x, y = found.white.xy
    doubts = {name: _number(value) for name, value in found.uncertainty.items()}
    return {
        "finding": grey_finding(found),
        "target": {"x": x, "y": y, "name": found.white.name},
        "steps": [
            {"level_percent": _number(step.level_percent), "readings": step.count, **_nested(step.figures)}
            for step in found.steps
        ],
        **{name: _number(value) for name, value in found.figures.items()},
        "gun_percent_of": found.gun_percent_of,
        "primaries": {
            "name": found.primaries.name,
            **{
                gun: {"x": _number(px), "y": _number(py)}
                for gun, (px, py) in zip(GUNS, found.primaries.xy, strict=True)
            },
        },
        "guns": None if guns is None else _guns_json(found),
        "advice": None if advice is None else [_item_json(found, item) for item in advice.items],
        "after": None if advice is None else _after_json(advice),
        "repeats": {
            "fields": repeats.repeated,
            "outliers": [
                {
                    "row": one.reading.row,
                    "field": str(one.reading.field),
                    "level_percent": _number(one.reading.level_percent),
                    "why": one.why,
                }
                for one in (*repeats.outliers, *found.strays)
            ],
            "apart": list(repeats.apart),
            "drift": None
            if repeats.drift is None
            else {
                "luminance_percent": _number(repeats.drift.luminance_percent),
                "x": _number(repeats.drift.x),
                "y": _number(repeats.drift.y),
                "uncertainty": dict(
                    zip(("luminance_percent", "x", "y"), map(_number, repeats.drift.uncertainty), strict=True)
                ),
                "clear": repeats.drift.is_clear,
            },
        },
        "uncertainty": {
            "steps": [_nested(step.uncertainty) for step in found.steps],
            **doubts,
            "primaries": _number(found.primaries.uncertainty),
            "guns": None if guns is None else _gun_doubts(found),
        },
        "reasons": {
            **found.reasons,
            **{f"steps.{i}.{name}": why for i, step in enumerate(found.steps) for name, why in step.reasons.items()},
            **({} if repeats.drift is not None else {"repeats.drift": "too little was read twice, far enough apart"}),
        },
        "warnings": [*found.remarks, *([beyond(advice)] if advice is not None and beyond(advice) else [])],
        "readings": {
            "path": None if found.readings.path is None else str(found.readings.path),
            "count": len(found.readings.items),
            "meter_luminance_percent": _number(100 * found.meter.luminance),
            "meter_xy": found.meter.xy,
        },
    }


def _guns_json(found: Grey) -> dict[str, Any]:
    guns = found.guns
    assert guns is not None
    told: dict[str, Any] = {
        name: {
            "light_cd_m2": _number(guns.light[i]),
            "cutoff_percent": _number(100 * guns.cutoff[i]),
            "gamma": _number(guns.gamma[i]),
        }
        for i, name in enumerate(GUNS)
    }
    return {**told, "room_cd_m2": _number(guns.room), "misfit": _number(guns.misfit)}


def _gun_doubts(found: Grey) -> dict[str, Any]:
    guns = found.guns
    assert guns is not None
    spread = np.sqrt(np.maximum(np.diag(guns.covariance), 0))
    told: dict[str, Any] = {
        name: {
            "light_cd_m2": _number(guns.light[i] * spread[i]),
            "cutoff_percent": _number(100 * spread[3 + i]),
            "gamma": _number(spread[6 + i]),
        }
        for i, name in enumerate(GUNS)
    }
    return {**told, "room_cd_m2": _number(spread[9])}


def _item_json(found: Grey, item: Item) -> dict[str, Any]:
    x, y = xy_of(np.array(item.reads))
    return {
        "adjust": f"{item.gun} {item.control}",
        "gun": item.gun,
        "control": item.control,
        "direction": _way(item),
        "amount": _number(abs(item.percent)),
        "unit": UNITS[item.control],
        "uncertainty": _number(item.uncertainty),
        "level_percent": _number(100 * item.level),
        "reads": {"luminance": _number(item.reads[1]), "x": _number(x), "y": _number(y)},
        "why": advice_why(found, item),
    }


def _after_json(advice: GreyAdvice) -> dict[str, Any]:
    steps = []
    for step in advice.steps:
        x, y = xy_of(np.array(step.xyz))
        steps.append(
            {
                "level_percent": _number(100 * step.level),
                "luminance": _number(step.xyz[1]),
                "x": _number(x),
                "y": _number(y),
                "delta_uv": _number(step.delta_uv),
                "delta_uv_likely": _number(step.likely),
                "gun_percent": dict(zip(GUNS, map(_number, step.gun_percent), strict=True)),
            }
        )
    return {
        "kept": advice.keep,
        "delta_uv_now": _number(advice.now),
        "delta_uv": _number(advice.then),
        "delta_uv_likely": _number(advice.likely),
        "steps": steps,
    }


def _nested(flat: Mapping[str, float | None]) -> dict[str, Any]:
    """Dotted names as dicts in dicts; three guns that cannot be told are one null."""
    found: dict[str, Any] = {}
    for name, value in flat.items():
        first, _, last = name.partition(".")
        if last:
            found.setdefault(first, {})[last] = _number(value)
        else:
            found[first] = _number(value)
    return {
        name: None if isinstance(value, dict) and set(value.values()) == {None} else value
        for name, value in found.items()
    }


def _number(value: float | None) -> float | None:
    return None if value is None or not np.isfinite(value) else round(float(value), _DIGITS)
