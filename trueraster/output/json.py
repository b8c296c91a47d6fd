"""Answers as JSON, and the figures of JSON that was kept: both by the tables of quantities of each measurement."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from importlib import import_module
from pathlib import Path
from typing import Any

from analysis.answer import SERVICE, Advice, Answer, Figure, Kind, NamedFault, Quantity, figures_in, nested
from analysis.frame.quantities import with_totals

__all__ = ["Files", "answer_json", "other_reasons", "quantities_in", "read", "rounded"]

Json = Mapping[str, Any]
Files = Mapping[str, Path | Sequence[Path]]
"""Files that were written, by what they are."""


def answer_json(answer: Answer, files: Files | None = None) -> dict[str, Any]:
    """The answer for programs: figures in full, each with its standard uncertainty, and why those that are null are.

    Args:
        answer: what was measured.
        files: names of files that were written, by what they are; None for a command that writes none.
    """
    values: dict[str, Any] = {}
    uncertainties: dict[str, Any] = {}
    for one in answer.figures:
        quantity, digits = one.quantity, one.quantity.digits or answer.digits
        values[quantity.path] = rounded(_counted(one), digits)
        if quantity.uncertainty:
            uncertainties[quantity.uncertainty.format(path=quantity.path)] = rounded(one.uncertainty, digits)
    held = _merged(nested(values), nested(uncertainties))
    told: dict[str, Any] = {
        "finding": ". ".join(one.words for one in answer.findings),
        "reasons": dict(answer.reasons),
        "warnings": list(answer.remarks),
        "assumptions": [one if isinstance(one, str) else asdict(one) for one in answer.assumptions],
    }
    if answer.faults is not None:
        told["faults"] = [_fault_json(one) for one in answer.faults]
    else:
        told["advice"] = None if answer.advice is None else [_advice_json(one) for one in answer.advice]
    held = _merged(_merged(held, rounded(told, answer.digits)), rounded(answer.details, answer.digits))
    for path in answer.absent:
        _clear(held, path.split("."))
        _clear(held, ["uncertainty", *path.split(".")])
    if files is not None:
        held["files"] = files_json(files)
    return held


def _counted(one: Figure) -> float | int | None:
    """A figure's value; a count is a whole number."""
    quantity = one.quantity
    is_whole = quantity.decimals == 0 and not quantity.unit and one.value is not None and one.value.is_integer()
    return int(one.value) if is_whole and one.value is not None else one.value


def _advice_json(one: Advice) -> dict[str, Any]:
    held: dict[str, Any] = {"adjust": one.adjust}
    if one.direction:
        held["direction"] = one.direction
    if one.amount is not None:
        held |= {"amount": one.amount, "unit": one.unit, "uncertainty": one.uncertainty}
    why = one.why
    if one.where:
        # Words for people that stand alone, so the caution is in each.
        why += "" if why.endswith(".") else "."
        why += f" {SERVICE} Done with: {one.where}." if one.inside else f" Usually: {one.where}."
    return {**held, "why": why, **one.details}


def _fault_json(one: NamedFault) -> dict[str, Any]:
    return {
        "id": one.id,
        "confidence": round(one.confidence, 4),
        "explanation": one.explanation,
        "remedy": one.remedy,
        "parameters": one.parameters,
    }


def files_json(files: Files) -> dict[str, Any]:
    """Names of files that were written, by what they are."""
    return {name: str(some) if isinstance(some, Path) else [str(path) for path in some] for name, some in files.items()}


def _merged(held: dict[str, Any], more: Json) -> dict[str, Any]:
    """Two objects as one; where both have an object, or a list of objects each, these are merged too."""
    made = dict(held)
    for name, value in more.items():
        there = made.get(name)
        if isinstance(there, dict) and isinstance(value, Mapping):
            made[name] = _merged(there, value)
        elif isinstance(there, list) and isinstance(value, list) and there and isinstance(there[0], dict):
            made[name] = [_merged(a, b) for a, b in zip(there, value, strict=True)]
        else:
            made[name] = value
    return made


def _clear(held: Any, way: Sequence[str]) -> None:
    """Make null what is at a path, where there is anything."""
    for part in way[:-1]:
        held = held[int(part)] if isinstance(held, list) else held.get(part) if isinstance(held, dict) else None
    if isinstance(held, dict) and way[-1] in held:
        held[way[-1]] = None


def rounded(value: Any, digits: int = 6) -> Any:
    """JSON with so many digits after the point, never -0.0; what is no finite number is null."""
    if isinstance(value, float):
        return round(value, digits) + 0.0 if math.isfinite(value) else None
    if isinstance(value, Mapping):
        return {name: rounded(part, digits) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [rounded(part, digits) for part in value]
    return str(value) if isinstance(value, Path) else value


_TABLES = {
    Kind.VERIFY: ("analysis.frame.quantities", "quantities"),
    Kind.GEOMETRY: ("analysis.raster.quantities", "geometry"),
    Kind.CONVERGENCE: ("analysis.raster.quantities", "convergence"),
    Kind.GREY: ("analysis.meter.grey.quantities", "quantities"),
    Kind.COLOUR: ("analysis.meter.primaries.quantities", "quantities"),
    Kind.UNIFORMITY: ("analysis.uniformity.quantities", "quantities"),
    Kind.LENS: ("analysis.lens.quantities", "quantities"),
}
"""Each kind's module and its function, from an answer's JSON to its quantities."""


def quantities_in(kind: str, held: Json) -> tuple[Quantity, ...]:
    """The table of a measurement, with a row for each field and step that its JSON holds; empty for an unknown kind."""
    if kind not in _TABLES:
        return ()
    module, name = _TABLES[Kind(kind)]
    # Each brings what it needs of the analysis, which a listing of one kind has no use for.
    found = getattr(import_module(module), name)(held)
    assert isinstance(found, tuple)
    return found


def read(kind: str, held: Json) -> dict[str, Figure]:
    """The figures of a kept answer by id, as 'geometry.width_mm', in the order of its table; none of an unknown kind.

    An answer that was changed by hand gives what can still be read: a figure that is no number is None.
    """
    if kind == Kind.VERIFY:
        held = with_totals(held)
    table = [one for one in quantities_in(kind, held) if one.kept]
    return {f"{kind}.{one.quantity.name}": one for one in figures_in(table, held)}


def other_reasons(kind: str, held: Json) -> dict[str, str]:
    """What an answer gives reasons for that is no figure, in words, and why it is not available."""
    given = held.get("reasons")
    if not isinstance(given, Mapping):
        return {}
    table = quantities_in(kind, held)
    paths = {one.path for one in table} | {name for one in table for name in one.because}
    return {
        _OTHERS.get(name, name.replace("_", " ").replace(".", " ")): " ".join(why.split())
        for name, why in given.items()
        if isinstance(why, str)
        and (name in _OTHERS or not any(path == name or path.startswith(f"{name}.") for path in paths))
    }


_OTHERS = {
    "advice": "what to adjust",
    "guns": "the light of each gun",
    "repeats.drift": "whether readings drift",
}
"""Names in `reasons` that are no figures, or whose figures records do not list."""
