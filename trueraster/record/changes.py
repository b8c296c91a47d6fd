"""Changes of a record's JSON object: each takes one and gives a new one, with what it does not know left in place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from trueraster.record.schema import SCHEMA, VERSION, Stage

__all__ = [
    "Json",
    "holds_result",
    "new_record",
    "with_details",
    "with_picture",
    "with_result",
    "with_results",
    "with_tolerances",
    "with_work",
    "without_entry",
]

Json = Mapping[str, Any]


def new_record(made: str, simulated: str = "") -> dict[str, Any]:
    """A record of a set of which nothing is known yet. `made` is ISO 8601, `simulated` says so of no real set."""
    stages: dict[str, Any] = {stage.value: {"results": [], "pictures": []} for stage in Stage}
    named = {"job": "", "bench": "", "technician": ""}
    head = {"schema": SCHEMA, "version": VERSION, "made": made, **({"simulated": simulated} if simulated else {})}
    return {**head, "set": {}, **named, "work": [], "stages": stages}


def with_details(held: Json, of_set: Json, of_record: Json) -> dict[str, Any]:
    """Values put under `set` and at the top; one that is None stays as it was."""
    inner = {**_object(held, "set"), **{key: value for key, value in of_set.items() if value is not None}}
    return {**held, "set": inner, **{key: value for key, value in of_record.items() if value is not None}}


def with_tolerances(held: Json, limits: Mapping[str, float | None]) -> dict[str, Any]:
    """Limits put beside those that are there; one of None is taken away."""
    if not limits:
        return dict(held)
    merged = {**_object(held, "tolerances"), **limits}
    return {**held, "tolerances": {name: limit for name, limit in merged.items() if limit is not None}}


def with_work(held: Json, date: str, text: str) -> dict[str, Any]:
    """One more thing that was done."""
    return {**held, "work": [*_list(held, "work"), {"date": date, "text": text}]}


def with_result(held: Json, stage: Stage, entry: Json) -> dict[str, Any]:
    """One more result at a stage."""
    return _with_entry(held, stage, "results", entry)


def with_results(held: Json, stage: Stage, entries: Sequence[Json], added: list[Json]) -> Json:
    """Results put to a stage but for those that are there already; `added` gets the ones that were put."""
    for entry in entries:
        if not holds_result(held, stage, entry["result"]):
            held = with_result(held, stage, entry)
            added.append(entry)
    return held


def with_picture(held: Json, stage: Stage, entry: Json) -> dict[str, Any]:
    """One more picture at a stage."""
    return _with_entry(held, stage, "pictures", entry)


def without_entry(held: Json, stage: Stage, name: str) -> Json:
    """Without a stage's result or picture of that name, the last of several; the same object if none has it."""
    content = _object(_object(held, "stages"), stage.value)
    for where, key in (("results", "source"), ("pictures", "name")):
        entries = _list(content, where)
        for i in reversed(range(len(entries))):
            if isinstance(entries[i], Mapping) and entries[i].get(key) == name:
                return _with_content(held, stage, {**content, where: [*entries[:i], *entries[i + 1 :]]})
    return held


def holds_result(held: Json, stage: Stage, result: Json) -> bool:
    """Whether the very same result is attached to the stage already."""
    there = _list(_object(_object(held, "stages"), stage.value), "results")
    return any(entry.get("result") == result for entry in there if isinstance(entry, Mapping))


def _with_entry(held: Json, stage: Stage, name: str, entry: Json) -> dict[str, Any]:
    content = _object(_object(held, "stages"), stage.value)
    return _with_content(held, stage, {**content, name: [*_list(content, name), entry]})


def _with_content(held: Json, stage: Stage, content: Json) -> dict[str, Any]:
    return {**held, "stages": {**_object(held, "stages"), stage.value: content}}


def _object(held: Json, key: str) -> Json:
    value = held.get(key)
    return value if isinstance(value, Mapping) else {}


def _list(held: Json, key: str) -> Sequence[Any]:
    value = held.get(key)
    return value if isinstance(value, list) else ()
