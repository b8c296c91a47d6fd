"""Results of `verify` and `measure`: recognised by their keys, and named."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.answer import Kind, number_at
from analysis.meter.readings.types import level_text

__all__ = ["entries_of", "findings_of", "kind_of", "subject_of", "title_of"]

Json = Mapping[str, Any]

_TITLES: Mapping[str, str] = {
    Kind.VERIFY: "Signal",
    Kind.GEOMETRY: "Geometry",
    Kind.CONVERGENCE: "Convergence",
    Kind.GREY: "Grey scale",
    Kind.COLOUR: "Colour",
    Kind.UNIFORMITY: "Uniformity",
    Kind.LENS: "Lens of the camera",
}
_KEYS: dict[Kind, set[str]] = {
    Kind.VERIFY: {"verdict", "pattern", "format", "signal", "registration", "patches", "faults"},
    Kind.GEOMETRY: {
        "width_mm",
        "height_mm",
        "rotation_deg",
        "edge_sag_percent",
        "terms",
        "uncertainty",
        "nodes",
        "advice",
    },
    Kind.CONVERGENCE: {"centre_max_percent", "overall_max_percent", "parts_percent", "uncertainty", "nodes", "advice"},
    Kind.GREY: {"target", "steps", "black_cd_m2", "white_cd_m2", "contrast", "gamma", "advice"},
    Kind.COLOUR: {"target", "primaries", "secondaries", "white", "gamut", "additivity", "uncertainty", "advice"},
    Kind.UNIFORMITY: {"flat_field", "ambient", "fields", "limits", "advice"},
    Kind.LENS: {"lens", "coverage_percent", "used", "left_out"},
}
"""Keys that an answer of each kind has, and no other kind has all of them."""


def kind_of(result: Json) -> Kind | None:
    """Which measurement's answer an object is; None for anything else."""
    return next((kind for kind, keys in _KEYS.items() if keys <= result.keys()), None)


def entries_of(
    answer: Json, *, date: str, source: str, note: str = "", simulated: bool = False
) -> list[dict[str, Any]]:
    """What a command printed with `--json`, as a record keeps it: one result, or the two of `measure raster`.

    Args:
        answer: the command's JSON object.
        date: when it was measured, ISO 8601.
        source: the file that it came from, without its folder.
        note: what is to be known of it.
        simulated: whether it is of no real set. What its own warnings say counts too.

    Raises:
        ValueError: it is no result; what it is instead, in words.
    """
    entries: list[dict[str, Any]] = []
    for part in _parts(answer):
        kind = kind_of(part)
        if kind is None:
            raise ValueError(_what_else(part))
        entry: dict[str, Any] = {"kind": kind.value, "date": date, "source": source, "note": note}
        if simulated or _says_simulation(part):
            entry["simulated"] = True
        entries.append({**entry, "result": part})
    return entries


def _parts(answer: Json) -> list[Json]:
    both = [answer.get(kind.value) for kind in (Kind.GEOMETRY, Kind.CONVERGENCE)]
    found: list[Json] = [part for part in both if isinstance(part, dict)]
    return found if len(found) == len(answer) == len(both) else [answer]


def _says_simulation(result: Json) -> bool:
    """Whether what was measured says of itself that it was simulated, as a file of readings may."""
    warnings = result.get("warnings")
    return isinstance(warnings, list) and any("SIMULATION" in words for words in warnings if isinstance(words, str))


def _what_else(result: Json) -> str:
    if "schema" in result and "stages" in result:
        return "a record itself"
    if "manifest_version" in result or "kit" in result:
        return "of a kit"
    if "lens" in result and "covariance" in result:
        return "a lens file"
    if "files" in result:
        return "the answer of draw"
    return "no result of this tool"


def subject_of(kind: str, result: Json) -> str:
    """What was measured, in words. Only figures of the same subject are compared."""
    if kind == Kind.VERIFY:
        return _shown(result)
    if kind in (Kind.GEOMETRY, Kind.CONVERGENCE):
        photo = result.get("photo")
        return _shown(photo) if isinstance(photo, Mapping) else ""
    if kind in (Kind.GREY, Kind.COLOUR):
        return _target(result)
    return ""


def title_of(kind: str, result: Json) -> str:
    """A heading: 'Geometry, crosshatch in 480i'."""
    title = _TITLES.get(kind) or kind.capitalize() or "Unknown"
    return ", ".join(words for words in (title, subject_of(kind, result)) if words)


def _shown(held: Json) -> str:
    words = [held[key] for key in ("pattern", "format") if isinstance(held.get(key), str)]
    return " in ".join(words)


def _target(result: Json) -> str:
    """Grey is compared with a white, colours with a standard and its white."""
    target = result.get("target")
    if not isinstance(target, Mapping):
        return ""
    level = number_at(result, "level_percent")
    title = target.get("title")
    parts = [title] if isinstance(title, str) else []
    white = target.get("white", target)
    parts += [f"white {_white(white)}"] if isinstance(white, Mapping) and _white(white) else []
    parts += [f"at {level_text(level)} %"] if level not in (None, 100.0) else []
    return ", ".join(parts)


def _white(held: Json) -> str:
    if isinstance(held.get("name"), str) and held["name"]:
        return str(held["name"]).upper() if held["name"] in ("d65", "d93") else str(held["name"])
    x, y = number_at(held, "x"), number_at(held, "y")
    return "" if x is None or y is None else f"x {x:g}, y {y:g}"


def findings_of(kind: str, result: Json) -> list[str]:
    """What a result says in words, without its figures: its finding or verdict, and the explanation of each fault."""
    said = []
    if isinstance(result.get("finding"), str):
        said.append(result["finding"])
    elif kind == Kind.VERIFY:
        said.append("Passed" if result.get("verdict") == "pass" else "Failed")
    faults = result.get("faults")
    for fault in faults if kind == Kind.VERIFY and isinstance(faults, list) else []:
        if isinstance(fault, Mapping):
            said.append(str(fault.get("explanation", fault.get("id", ""))))
    return [" ".join(words.split()) for words in said if words.strip()]
