"""What `measure colour` found, in words and as JSON."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from analysis.meter.colours import uv_of
from analysis.meter.primaries.measure import PRIMARIES, SECONDARIES, Colour, name_of
from analysis.meter.readings.types import Field

__all__ = ["ADDED", "WHITE", "Hint", "advise_colour", "colour_finding", "colour_json"]

WHITE = "white"
ADDED = (*(str(field) for field in SECONDARIES), WHITE)
"""What is made of several guns."""
_DIGITS = 6
_CLEAR = 2.0
"""Standard uncertainties from which a difference is told as one."""
_WHITE_OFF = 0.004
"""u'v': about what is just seen side by side; common practice, no source."""
_TOWARDS = 0.7
"""Of what a primary is off, by which it has to be nearer to white for that to be said: within about 45 degrees."""
_PALE = 0.006
"""u'v' towards white from which a primary is called pale; this project's choice."""
_OTHER = 0.012
"""u'v' from which a primary that is off in another way is told; this project's choice."""
_UNEVEN = 3.0
"""Percent of light from which white that is not the sum of its parts is told; this project's choice."""
_NEARER = 0.002
"""u'v' by which the primaries have to be nearer to another standard for it to be told; this project's choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Hint:
    """One thing to see to, and why."""

    adjust: str
    why: str


def colour_finding(found: Colour) -> str:
    """The main finding in a sentence without its point."""
    errors = {field: found.figures[f"{field}.delta_uv"] for field in PRIMARIES if field in found.seen}
    told = {field: value for field, value in errors.items() if value is not None}
    worst = max(told, key=lambda field: told[field])
    unsure = found.uncertainty[f"{worst}.delta_uv"] or 0.0
    words = f"{'Largest error of a primary' if len(told) > 1 else 'Error of the primary'}: {worst}"
    words += f" {told[worst]:.4f} ± {unsure:.4f} in u'v'"
    covered = found.figures.get("gamut.coverage_uv_percent")
    if covered is not None:
        words += f"; {covered:.1f} % of {found.standard.short} can be shown"
    return words


def advise_colour(found: Colour) -> list[Hint]:
    """What to see to, in the order in which it is worth doing."""
    other = _nearer(found)
    # Phosphors of another standard may lie nearer to white with nothing amiss.
    return [*other, *_sum(found), *([] if other else _off(found)), *_white(found)]


def _clear(found: Colour, name: str, least: float) -> float | None:
    """A figure that stands out of its uncertainty and of what matters; else None."""
    value, unsure = found.figures.get(name), found.uncertainty.get(name)
    if value is None or unsure is None or abs(value) < max(least, _CLEAR * unsure):
        return None
    return value


def _sum(found: Colour) -> list[Hint]:
    error = _clear(found, f"additivity.{WHITE}.luminance_error_percent", _UNEVEN)
    if error is None:
        return []
    amount = f"White gives {abs(error):.1f} % {'less' if error < 0 else 'more'} light than red, green and blue together"
    if error < 0:
        dark = "" if found.black_was_read else ", or black gives light that was not read"
        too = "" if found.black_was_read else ", and grey at 0 % too"
        why = (
            f"{amount}: the set holds back its beam current, or its high tension sags under load{dark}. Read all "
            f"fields again in a window of a tenth of the picture{too}"
        )
        return [Hint(adjust="area of the field", why=why)]
    why = f"{amount}: something changed between them. Let the set warm up, and read them again"
    return [Hint(adjust="steadiness", why=why)]


def _off(found: Colour) -> list[Hint]:
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
            hints.append(Hint(adjust=f"{field} field", why=why))
        elif far >= _OTHER:
            why = (
                f"{field.capitalize()} lies {far:.3f} in u'v' from {found.standard.short}, and not towards white: the "
                "phosphor is another one or has aged, and cannot be adjusted, or the meter errs in this colour"
            )
            hints.append(Hint(adjust=f"{field} field", why=why))
    return hints


def _white(found: Colour) -> list[Hint]:
    off = _clear(found, f"{WHITE}.delta_uv", _WHITE_OFF)
    if off is None:
        return []
    why = (
        f"White is {off:.4f} in u'v' from {found.white.title}, and the secondary colours and all shares of light go "
        "with it. Set the grey scale first ('trueraster measure grey'), then read the colours again"
    )
    return [Hint(adjust="grey scale", why=why)]


def _nearer(found: Colour) -> list[Hint]:
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
        f"{found.nearest.short}. Phosphors cannot be adjusted; '--primaries {found.nearest.name}' holds the set "
        "against those"
    )
    return [Hint(adjust="the standard", why=why)]


def colour_json(found: Colour) -> dict[str, Any]:
    """The answer for programs: figures in full by field, each with its standard uncertainty in `uncertainty`."""
    figures, unsure = _nested(found.figures), _nested(found.uncertainty)
    x, y = found.white.xy
    return {
        "finding": colour_finding(found),
        "target": {
            "name": found.standard.name,
            "title": found.standard.title,
            "white": {"name": found.white.name, "x": x, "y": y},
        },
        "level_percent": _rounded(found.level_percent),
        "primaries": {field: _of(found, figures, field) for field in map(str, PRIMARIES)},
        "secondaries": {field: _of(found, figures, field) for field in map(str, SECONDARIES)},
        "white": _of(found, figures, WHITE),
        "gamut": figures.get("gamut"),
        "additivity": {name: figures.get("additivity", {}).get(name) for name in ADDED},
        "nearest": found.nearest.name,
        "uncertainty": {
            "primaries": {field: unsure.get(field) for field in map(str, PRIMARIES)},
            "secondaries": {field: unsure.get(field) for field in map(str, SECONDARIES)},
            "white": unsure.get(WHITE),
            "gamut": unsure.get("gamut"),
            "additivity": {name: unsure.get("additivity", {}).get(name) for name in ADDED},
        },
        "reasons": dict(found.reasons),
        "advice": [{"adjust": hint.adjust, "why": hint.why} for hint in advise_colour(found)],
        "warnings": list(found.remarks),
        "readings": {
            "path": None if found.readings.path is None else str(found.readings.path),
            "count": len(found.readings.items),
            "meter_luminance_percent": _rounded(100 * found.meter.luminance),
            "meter_xy": found.meter.xy,
        },
    }


def _of(found: Colour, figures: Mapping[str, Any], name: str) -> dict[str, Any] | None:
    field = Field.GREY if name == WHITE else Field(name)
    if field not in found.seen:
        return None
    target = found.targets[field]
    x, y = target.xy
    wanted = {"x": _rounded(x), "y": _rounded(y), "share_percent": _rounded(target.share_percent)}
    assert name == name_of(field)
    return {"target": wanted, **figures[name]}


def _nested(flat: Mapping[str, float | None]) -> dict[str, Any]:
    """Dotted names as dicts in dicts."""
    found: dict[str, Any] = {}
    for name, value in flat.items():
        *path, last = name.split(".")
        place = found
        for part in path:
            place = place.setdefault(part, {})
        place[last] = None if value is None else _rounded(value)
    return found


def _rounded(value: float) -> float:
    return round(float(value), _DIGITS)
