"""The loop within a session: after an answer, the record gets what turns did, and the answer gets its loop's words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from trueraster.bench.learning import format_in, learnt, turns_of
from trueraster.bench.loop_words import loop_of
from trueraster.bench.session import Session
from trueraster.bench.state import AnswerMade

__all__ = ["looped"]

Json = Mapping[str, Any]

_MEASURED = ("geometry", "convergence")


def looped(session: Session, since: int) -> None:
    """Have the answers after the first `since` learnt from, and their words in the journal.

    Raises:
        FileError: the record or an answer cannot be read.
        OSError: the record or the journal cannot be written.
    """
    answers = [(one, session.folder.read_answer(one.number)) for one in session.state.answers if one.kind in _MEASURED]
    new = [one for one in answers if one[0].number > since]
    if not new:
        return
    session.kept.note_controls((), list(turns_of(session.state, answers)))
    session.kept.stages()
    turns = [one for one in session.kept.turns if one.set == session.state.demo]
    before = replace(session.state, answers=session.state.answers[:since])
    loops = {
        str(made.number): loop_of(
            result,
            _earlier(answers, made, result),
            learnt(turns, session.kept.controls, result, made.kind),
            before,
            session.kept.controls,
        )
        for made, result in new
    }
    session.add("loop", "", value=loops)


def _earlier(answers: Sequence[tuple[AnswerMade, Json]], made: AnswerMade, result: Json) -> list[Json]:
    """The answers before one, of its kind and format."""
    return [
        held
        for one, held in answers
        if one.number < made.number and one.kind == made.kind and format_in(held) == format_in(result)
    ]
