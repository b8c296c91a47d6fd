"""The loop at the set: what each turn did, learnt from the answers before and after it, and the next turns in steps.

A pair of answers of one kind and format, with what was turned between them, goes into the record under `turns`; what a
step of each control moves is fitted to all pairs there. Words of it for people are in `loop_words.py`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.answer import Kind, number_at
from analysis.controls.advice import Error, Steps, solve_steps
from analysis.controls.judge import Strange, judged
from analysis.controls.response import Moved, Pair
from analysis.guns import GUNS
from analysis.raster.controls import CONVERGENCE_CONTROLS, GEOMETRY_CONTROLS
from trueraster.bench.state import AnswerMade, State
from trueraster.errors import UsageError
from trueraster.record.schema import ControlNamed, ControlTurned

__all__ = [
    "CONTROLS",
    "MOVED_PX",
    "UNITS",
    "Learnt",
    "Observed",
    "camera_moved_px",
    "control_entry",
    "format_in",
    "learnt",
    "observed",
    "turns_of",
]

Json = Mapping[str, Any]

CONTROLS = (
    {one.id: one.title for one in GEOMETRY_CONTROLS if len(one.terms) == 1}
    | {f"{gun}-{one.id}": f"{gun.capitalize()} {one.title}" for gun in ("red", "blue") for one in CONVERGENCE_CONTROLS}
    | {f"{gun}-{one}": f"{gun.capitalize()} {one}" for one in ("cut-off", "drive") for gun in GUNS}
)
"""What a control of the set can be linked to, with its words."""
UNITS = ("steps", "clicks", "eighths of a turn", "quarters of a turn")
"""What a user counts."""
_LONGEST = 40
"""Letters of a control's name."""
_OTHER_FORMAT = 0.6
"""Likeness of what was learnt in another scan format (common practice, no source)."""
_FAMILIES = {Kind.GEOMETRY.value: ("",), Kind.CONVERGENCE.value: ("red-", "blue-")}
"""Quantities that are fitted together, by how their ids begin."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Observed:
    """What a control of ours would have to move, as an answer's JSON has it under `controls`."""

    amount: float
    state: float
    unit: str
    uncertainty: float
    clear: float
    """The uncertainty of which way to turn."""
    repeatability: float
    enough: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Learnt:
    """What the pairs say of the set as it is now."""

    steps: Steps
    strange: tuple[Strange, ...]
    pairs: Mapping[str, int]
    """Of each control that was turned."""


def observed(result: Json) -> dict[str, Observed]:
    """By the id of the control; what has no tolerance or no number is left out."""
    found = {}
    held = result.get("controls")
    for name, one in held.items() if isinstance(held, Mapping) else ():
        amount, uncertainty, repeat, enough = (
            number_at(one, key) for key in ("amount", "uncertainty", "repeatability", "enough")
        )
        if amount is None or uncertainty is None or repeat is None or not enough or enough <= 0:
            continue
        state, clear = number_at(one, "state"), number_at(one, "clear")
        found[str(name)] = Observed(
            amount=amount,
            state=amount if state is None else state,
            unit=str(one.get("unit", "")),
            uncertainty=uncertainty,
            clear=uncertainty if clear is None else clear,
            repeatability=repeat,
            enough=enough,
        )
    return found


def control_entry(name: str, of: str, unit: str) -> dict[str, str]:
    """A control of the set as the record keeps it under `controls`.

    Raises:
        UsageError: it cannot be named so; one line.
    """
    words = " ".join(name.split())
    if not words or len(words) > _LONGEST or not words.isprintable():
        raise UsageError(f"control: its name on the set is expected, up to {_LONGEST} letters")
    if of and of not in CONTROLS:
        raise UsageError("control: choose what it is for, or leave that open")
    if unit and unit not in UNITS:
        raise UsageError(f"control: choose what is counted: {', '.join(UNITS)}")
    return {"name": words, "of": of, "unit": unit or UNITS[0]}


def format_in(result: Json) -> str:
    """The scan format that was measured."""
    photo = result.get("photo")
    return str(photo.get("format", "")) if isinstance(photo, Mapping) else ""


def camera_moved_px(before: Json, now: Json) -> float | None:
    """How far the marks moved in the photograph at most; None where either has none, or their sizes differ."""
    sizes = [[number_at(held, f"photo.size_px.{axis}") for axis in range(2)] for held in (before, now)]
    places = [
        [number_at(held, f"photo.marks_px.{mark}.{axis}") for mark in range(4) for axis in range(2)]
        for held in (before, now)
    ]
    first, second = ([place for place in some if place is not None] for some in places)
    if sizes[0] != sizes[1] or len(first) != 8 or len(second) != 8:
        return None
    return max(math.hypot(first[i] - second[i], first[i + 1] - second[i + 1]) for i in range(0, 8, 2))


MOVED_PX = 3.0
"""From which the camera has moved; on a tripod marks come back within a pixel (common practice, no source)."""


def turns_of(state: State, answers: Sequence[tuple[AnswerMade, Json]]) -> Iterator[dict[str, Any]]:
    """Each pair of answers with turns between them, as the record keeps it under `turns`."""
    last: dict[tuple[str, str], tuple[AnswerMade, Json]] = {}
    for made, result in answers:
        if made.number <= state.fresh:
            continue
        key = (made.kind, format_in(result))
        before = last.get(key)
        last[key] = made, result
        if before is None or made.kind not in _FAMILIES:
            continue
        turned: dict[str, int] = {}
        for one in state.turns:
            if before[0].number <= one.after < made.number:
                turned[one.control] = turned.get(one.control, 0) + one.steps
        moved = _moved(before[1], result)
        if any(turned.values()) and moved:
            yield {
                "date": made.at,
                "kind": made.kind,
                "format": key[1],
                **({} if state.demo is None else {"set": state.demo}),
                "turned": {name: steps for name, steps in turned.items() if steps},
                "moved": moved,
            }


def _moved(before: Json, now: Json) -> dict[str, list[float]]:
    """Change and its standard uncertainty of each quantity, in the unit of both."""
    first, second = observed(before), observed(now)
    shift = camera_moved_px(before, now)
    # From another place what two photographs share no longer cancels.
    same_place = shift is None or shift <= MOVED_PX
    made = {}
    for name in first.keys() & second.keys():
        a, b = first[name], second[name]
        if a.unit == b.unit:
            sizes = (a.repeatability, b.repeatability) if same_place else (a.uncertainty, b.uncertainty)
            made[name] = [round(b.state - a.state, 6), round((sizes[0] ** 2 + sizes[1] ** 2) ** 0.5, 6)]
    return dict(sorted(made.items()))


def learnt(turns: Sequence[ControlTurned], controls: Sequence[ControlNamed], result: Json, kind: str) -> list[Learnt]:
    """What the record's turns say of an answer: what to turn, and what is strange; for each family of quantities."""
    now = observed(result)
    links = {one.name: one.of for one in controls if one.of}
    found = []
    for start in _FAMILIES.get(kind, ()):
        family = {name: one for name, one in now.items() if name.startswith(start)}
        pairs = list(_pairs(turns, kind, format_in(result), family, links))
        if not pairs:
            continue
        tolerances = {name: one.enough for name, one in family.items()}
        responses, strange = judged(pairs, links, tolerances)
        last = len(pairs) - 1
        # Of turns before the last ones it was said when they were measured.
        strange = tuple(one for one in strange if one.pair == last)
        if responses is None:
            found.append(Learnt(steps=Steps(turns=(), left=(), unknown=()), strange=strange, pairs={}))
            continue
        errors = {
            name: Error(value=one.amount, uncertainty=one.clear, tolerance=one.enough) for name, one in family.items()
        }
        # Of what did nothing just now nothing is expected.
        idle = [one.control for one in strange if one.odd.value != "moves something else"]
        found.append(Learnt(steps=solve_steps(responses, errors, idle), strange=strange, pairs=responses.pairs))
    return found


def _pairs(
    turns: Sequence[ControlTurned], kind: str, fmt: str, family: Mapping[str, Observed], links: Mapping[str, str]
) -> Iterator[Pair]:
    for one in turns:
        if one.kind != kind:
            continue
        # What is linked to another family is not asked for what it does here.
        turned = {
            name: float(steps)
            for name, steps in one.turned.items()
            if links.get(name, "") in family or name not in links
        }
        moved = {name: Moved(*change) for name, change in one.moved.items() if name in family}
        if turned and moved:
            yield Pair(turned=turned, moved=moved, likeness=1.0 if one.format == fmt else _OTHER_FORMAT)
