"""What is so in a session, as values: made from the lines of its journal alone, one after another."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

__all__ = ["AnswerMade", "Noted", "SetUp", "State", "after"]

Event = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetUp:
    """What the set accepts, and what is to be done."""

    accepts: str
    """Line rates as typed, as '15kHz'."""
    formats: tuple[str, ...]
    job: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted:
    """A note."""

    at: str
    card: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerMade:
    """An answer, whose JSON and page are files of the session."""

    number: int
    at: str
    card: str
    source: str
    kind: str
    findings: tuple[str, ...]
    about: str
    advice: tuple[str, ...]
    warnings: tuple[str, ...]
    given: tuple[str, ...] = ()
    """The files that were measured, by their names in the session's folder `given`."""
    digest: str
    """Of its result, as `session.digest_of` makes it: the record is asked whether it has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """All of it. The first card is up until somebody goes on."""

    set_up: SetUp | None = None
    card: str = ""
    since: str = ""
    """When the card was turned to, ISO 8601."""
    stage: str = "as-found"
    marks_mm: str = ""
    """Between the marks' centres, as typed; empty where there are none."""
    depth_mm: str = ""
    """How far the picture lies behind the marks, as typed; empty where it is not known."""
    glass_radius_mm: str = ""
    """Of the face, as typed; empty where it is not known."""
    lens: str = ""
    """The lens file's name in the session's folder `given`; empty without one."""
    warm_since: str = ""
    ticks: frozenset[str] = frozenset()
    notes: tuple[Noted, ...] = ()
    readings: tuple[str, ...] = ()
    """Lines of a readings file, without its header."""
    answers: tuple[AnswerMade, ...] = ()
    done: frozenset[str] = frozenset()
    """The ids of what phones have asked for: the same request, sent again, changes nothing."""


def after(state: State, event: Event) -> State:
    """The state after a line of the journal; a line that is not known, from a newer version, changes nothing."""
    if event.get("id"):
        state = replace(state, done=state.done | {str(event["id"])})
    kind, at, value = event["do"], str(event.get("at", "")), event.get("value", "")
    if kind == "set-up":
        chosen = SetUp(accepts=event["accepts"], formats=tuple(event["formats"]), job=event["job"])
        return replace(state, set_up=chosen, card="", since=at)
    if kind == "again":
        return replace(state, set_up=None, card="", since=at)
    if kind == "go":
        return replace(state, card=str(value), since=at)
    if kind == "tick":
        one = frozenset({str(value)})
        # A journal of before has no such word: a tick changed what was so.
        wanted = event.get("wanted", value not in state.ticks)
        return replace(state, ticks=state.ticks | one if wanted else state.ticks - one)
    if kind == "note":
        return replace(state, notes=(*state.notes, Noted(at=at, card=str(event.get("card", "")), text=str(value))))
    if kind == "stage":
        return replace(state, stage=str(value))
    if kind in ("marks_mm", "depth_mm", "glass_radius_mm", "lens"):
        changed: dict[str, Any] = {kind: str(value)}
        return replace(state, **changed)
    if kind == "warm":
        return replace(state, warm_since=at)
    if kind == "readings":
        return replace(state, readings=(*state.readings, *value))
    if kind == "unread":
        return replace(state, readings=state.readings[:-1])
    if kind == "answers":
        return replace(state, answers=(*state.answers, *(_answer(at, made) for made in event["answers"])))
    return state


def _answer(at: str, made: Event) -> AnswerMade:
    names = ("findings", "advice", "warnings", "given")
    fields: dict[str, Any] = {name: tuple(held) if name in names else held for name, held in made.items()}
    return AnswerMade(at=at, **fields)
