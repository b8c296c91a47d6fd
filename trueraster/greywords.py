"""How `measure grey` tells what it found, as text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from analysis.meter.colours import xy_of
from analysis.meter.grey.advice import AIM
from analysis.meter.grey.answer import adjustment, advice_why, beyond, expected, grey_finding, how_to
from analysis.meter.guns import FEWEST_LEVELS, GUNS
from analysis.meter.readings.types import level_text
from analysis.rounding import decimals, figure
from trueraster.output.terminal import columns, counted, wrapped

if TYPE_CHECKING:
    from analysis.meter.grey.advice import GreyAdvice, Item
    from analysis.meter.grey.measure import Grey, Step

__all__ = ["grey_text"]

_AFTER = (5, 10, 20, 50, 80, 100)
"""Levels of which is told what they read once all is done; JSON has them all."""

_BRIGHTER = 0.05
"""Change of white's light from which it is told."""


def grey_text(found: Grey, plots: Sequence[Path]) -> str:
    """The answer for people, with the plots that were written."""
    head = (
        f"{found.readings.path}\nGrey scale against {found.white.title}, primaries {found.primaries.title}, "
        f"{counted(len(found.readings.items), 'reading')}"
    )
    parts = [f"{head}\n{_wrapped(grey_finding(found) + '.', hang=False)}", _steps(found), _scale(found)]
    parts += [_guns(found)] if found.guns is not None else []
    parts.append("Notes\n" + "\n".join(_wrapped(words) for words in _notes(found)))
    parts.append("What to adjust\n" + _advice(found))
    if found.advice is not None and found.advice.items:
        parts.append(_after(found.advice))
    if plots:
        parts.append(f"plots: {counted(len(plots), 'file')} in {plots[0].parent}")
    return "\n\n".join(parts)


def _steps(found: Grey) -> str:
    rows: list[tuple[str, ...]] = [
        ("level, %", "cd/m2", "x", "y", "CCT, K", "Duv", "off in u'v'", "±", "Delta E", *(f"{g}, %" for g in GUNS), "±")
    ]
    for step in found.steps:
        guns = [_cell(step, f"gun_percent.{gun}", 1, signed=True) for gun in GUNS]
        unsure = [step.uncertainty.get(f"gun_percent.{gun}") for gun in GUNS]
        known = [value for value in unsure if value is not None]
        rows.append(
            (
                f"{level_text(step.level_percent)}",
                _light(step.figures["luminance"]),
                _cell(step, "x", 4),
                _cell(step, "y", 4),
                _cell(step, "cct", 0),
                _cell(step, "duv", 4, signed=True),
                _cell(step, "delta_uv", 4),
                _doubt(step.uncertainty.get("delta_uv"), 4),
                _cell(step, "delta_e_2000", 1),
                *guns,
                _doubt(max(known, default=None), 1),
            )
        )
    return columns(rows, right=range(len(rows[0])))


def _scale(found: Grey) -> str:
    at = found.figures["bt1886_error_level_percent"]
    rows: list[tuple[str, ...]] = [("the whole scale", "value", "±", "unit")]
    for name, words, unit in (
        ("white_cd_m2", "white", "cd/m2"),
        ("black_cd_m2", "black", "cd/m2"),
        ("contrast", "contrast, white to black", "to 1"),
        ("gamma", "gamma, from 10 to 100 %", ""),
        ("bt1886_error_percent", "farthest from BT.1886" + (f", at {at:g} %" if at is not None else ""), "% of light"),
    ):
        value, unsure = found.figures[name], found.uncertainty[name]
        places = decimals(unsure, 4)
        shown = figure(value, places) if name == "bt1886_error_percent" else _plain(value, places)
        rows.append((words, shown, _doubt(unsure, places), unit))
    return columns(rows, right=(1, 2))


def _guns(found: Grey) -> str:
    guns = found.guns
    assert guns is not None
    spread = np.sqrt(np.maximum(np.diag(guns.covariance), 0))
    rows: list[tuple[str, ...]] = [
        ("fitted guns", "light at 100 %, cd/m2", "±", "cut-off, % of the drive range", "±", "gamma", "±")
    ]
    for i, name in enumerate(GUNS):
        light, unsure = float(guns.light[i]), float(guns.light[i] * spread[i])
        places = decimals(unsure, 3)
        rows.append(
            (
                name,
                f"{light:.{places}f}",
                _doubt(unsure, places),
                figure(100 * float(guns.cutoff[i]), 2),
                _doubt(100 * float(spread[3 + i]), 2),
                f"{guns.gamma[i]:.3f}",
                _doubt(float(spread[6 + i]), 3),
            )
        )
    return columns(rows, right=range(1, len(rows[0])))


def _notes(found: Grey) -> list[str]:
    meter = f"a meter of {100 * found.meter.luminance:g} % in luminance and {found.meter.xy:g} in x and y"
    if found.gun_percent_of == "model":
        guns = (
            "red, green, blue: each gun's light against what the target white of the same luminance needs, of guns "
            "fitted to all steps; ± is of the least sure of them"
        )
    else:
        guns = (
            "red, green, blue: each gun's light against what the target white of the same luminance needs, step by "
            "step as read; ± is of the least sure of them"
        )
    strays = [f"row {one.reading.row}: {one.why}" for one in (*found.repeats.outliers, *found.strays)]
    missing: dict[str, list[str]] = {}
    for step in found.steps:
        for name, why in step.reasons.items():
            named = {"cct": "CCT", "duv": "Duv", "gun_percent": "guns"}.get(name, "")
            if why.startswith("the meter"):
                named = "colour"
            if named and f"{named} at {level_text(step.level_percent)} %" not in missing.setdefault(why, []):
                missing[why].append(f"{named} at {level_text(step.level_percent)} %")
    for name, why in found.reasons.items():
        # That black was not read is among the remarks.
        if name in _NAMES:
            missing.setdefault(why, []).append(_NAMES[name])
    gaps = [f"{', '.join(names)}: {why}" for why, names in missing.items()]
    return [
        *found.remarks,
        *strays,
        *found.repeats.apart,
        *gaps,
        guns,
        f"± is the standard uncertainty, for {meter}",
    ]


_NAMES = {
    "contrast": "contrast",
    "gamma": "gamma",
    "white_cd_m2": "white",
    "bt1886_error_percent": "farthest from BT.1886",
    "guns": "no guns fitted",
}


def _advice(found: Grey) -> str:
    advice = found.advice
    if advice is None:
        lit = sum(step.figures["luminance"] not in (None, 0.0) for step in found.steps)
        more = " Read grey at 0, 5, 10 and on to 100 %." if lit < FEWEST_LEVELS else ""
        return _wrapped(f"Nothing can be advised: {found.reasons['advice']}.{more}")
    if not advice.items:
        words = f"Nothing: the fitted guns are within {advice.now:.4f} in u'v' of {found.white.title} from 5 to 100 %"
        words += ", and what a control would be turned by is less than its own uncertainty" if advice.is_unsure else ""
        return _wrapped(f"{words}.")
    lines = []
    if advice.now <= AIM:
        words = (
            f"Greys are within {advice.now:.4f} in u'v' as they are, and {AIM:g} is enough. To make them better still:"
        )
        lines.append(_wrapped(words))
    levels = list(dict.fromkeys(item.level for item in advice.items))
    for number, level in enumerate(levels, 1):
        percent = level_text(100 * level)
        lines.append(f"  {number}. Show grey {percent} %: trueraster draw field --colour grey --level {percent}")
        for item in advice.items:
            if item.level == level:
                lines.append(_wrapped(_sentence(found, item), by="     "))
    lines.append(
        _wrapped(
            f"{len(levels) + 1}. Read the whole scale again, and do what it says then: turning one control moves the "
            f"other's step too. Once all is done, {expected(advice)}."
        )
    )
    if beyond(advice):
        lines.append(_wrapped(f"{beyond(advice)}."))
    white, then = found.figures["white_cd_m2"], [step.xyz[1] for step in advice.steps if abs(step.level - 1) < 0.006]
    if white is not None and then and abs(then[0] / white - 1) > _BRIGHTER:
        words = f"White comes from {white:.0f} to {then[0]:.0f} cd/m2 by it; the contrast control, which moves all guns"
        lines.append(_wrapped(f"{words} alike, sets it where it is wanted."))
    left = f"The {advice.keep} drive is left as it is, for the others to be matched to; --keep names another gun."
    return "\n".join([*lines, _wrapped(left)])


def _sentence(found: Grey, item: Item) -> str:
    return f"{adjustment(item)} (± {max(item.uncertainty, 0.1):.1f}), {how_to(item)}. Why: {advice_why(found, item)}."


def _after(advice: GreyAdvice) -> str:
    rows: list[tuple[str, ...]] = [("once done, %", "cd/m2", "x", "y", "off in u'v'", "likely within")]
    shown = {min(advice.steps, key=lambda step: abs(100 * step.level - level)).level for level in _AFTER}
    for step in advice.steps:
        if step.level in shown:
            x, y = xy_of(np.array(step.xyz))
            off = (f"{step.delta_uv:.4f}", f"{step.likely:.4f}")
            rows.append((f"{level_text(100 * step.level)}", _light(step.xyz[1]), f"{x:.4f}", f"{y:.4f}", *off))
    return columns(rows, right=range(len(rows[0])))


def _light(value: float | None) -> str:
    if value is None:
        return "-"
    return f"{value:.1f}" if value >= 100 else f"{value:.2f}" if value >= 1 else f"{value:.4f}"


def _cell(step: Step, name: str, places: int, *, signed: bool = False) -> str:
    value = step.figures.get(name)
    return figure(value, places) if signed else _plain(value, places)


def _plain(value: float | None, places: int) -> str:
    return "-" if value is None else f"{value:.{places}f}"


def _doubt(value: float | None, places: int) -> str:
    # Never nothing: what is rounded to nothing is the last digit.
    return "-" if value is None else f"{max(value, 10.0**-places):.{places}f}"


def _wrapped(text: str, *, hang: bool = True, by: str = "  ") -> str:
    return wrapped(text, by, f"{by}  ") if hang else wrapped(text)
