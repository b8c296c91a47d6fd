"""What the loop says of an answer, in words for the page: one large line, the next turns, and what is strange."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from analysis.controls.advice import Steps
from analysis.controls.judge import Odd, Strange
from analysis.raster.controls import GEOMETRY_CONTROLS
from analysis.rounding import decimals
from trueraster.bench.learning import CONTROLS, MOVED_PX, Learnt, Observed, camera_moved_px, observed
from trueraster.bench.state import State
from trueraster.record.schema import ControlNamed

__all__ = ["loop_of"]

Json = Mapping[str, Any]

_SHOWN_LEFT = 2
_COARSE = 0.3
"""Tolerance or uncertainty from which tenths are enough."""
_TRIAL = 5
"""Steps to turn a control by of which nothing is known; this project's choice."""
_ORDER = [one.id for one in sorted(GEOMETRY_CONTROLS, key=lambda one: one.turn)]


def loop_of(
    result: Json, earlier: Sequence[Json], learnt: Sequence[Learnt], state: State, controls: Sequence[ControlNamed]
) -> dict[str, Any]:
    """The loop's words and values for one answer, as the journal keeps them.

    Args:
        result: the answer's JSON.
        earlier: those before it of its kind and format, oldest first.
        learnt: what the record's turns say of it.
        state: the session, before the answer.
        controls: the set's own, as the record has them.
    """
    now = observed(result)
    if not now:
        return {}
    named = {one.name: one for one in controls}
    about = _about(now, state, named)
    history = [held[about].amount for held in map(observed, earlier[-7:]) if about in held] + [now[about].amount]
    said = [_strange(one, now, named) for some in learnt for one in some.strange]
    if earlier:
        moved = camera_moved_px(earlier[-1], result)
        if moved is not None and moved > MOVED_PX:
            said.append(
                f"The camera moved by {moved:.0f} pixels since the last photograph. The marks keep the figures right;"
                " changes since then are less certain."
            )
    yoke = {one.id for one in GEOMETRY_CONTROLS if one.is_yoke}
    last = len(state.answers)
    if any(named[one.control].of in yoke for one in state.turns if one.after == last and one.control in named):
        said.append("Check purity and convergence again: both depend on what was turned.")
    return {
        "line": _line(about, now[about]),
        "about": CONTROLS.get(about, about),
        "unit": now[about].unit,
        "values": [round(value, 4) for value in history],
        "enough": round(now[about].enough, 4),
        "turns": [turn for some in learnt for turn in _turns(some.steps, named)],
        "known": [
            CONTROLS[named[name].of]
            for some in learnt
            for name in some.pairs
            if name in named and named[name].of and name not in some.steps.unknown
        ],
        "left": [words for some in learnt for words in _left(some.steps, now)],
        "unknown": [
            f"{name}: too little is known of it; turn it alone, by {_TRIAL} {_unit(name, named)} or more, and measure"
            for some in learnt
            for name in some.steps.unknown
        ],
        "said": said,
    }


def _about(now: Mapping[str, Observed], state: State, named: Mapping[str, ControlNamed]) -> str:
    """What it is about: what alone was turned, else what comes first in the order of work, or the largest."""
    last = len(state.answers)
    turned = [named[one.control].of for one in state.turns if one.after == last and one.control in named]
    if len(set(turned)) == 1 and turned[0] in now:
        return turned[0]
    wrong = [name for name, one in now.items() if abs(one.amount) > max(one.enough, 2 * one.clear)]
    if wrong:
        return min(wrong, key=lambda name: _ORDER.index(name) if name in _ORDER else len(_ORDER))
    return max(now, key=lambda name: abs(now[name].amount) / now[name].enough)


def _line(name: str, one: Observed) -> str:
    """'Side pincushion: 1.4 mm, 0.9 to go'."""
    places = 1 if max(one.uncertainty, one.enough) >= _COARSE else 2
    size = f"{CONTROLS.get(name, name)}: {abs(one.amount):.{places}f} {one.unit} (± {one.uncertainty:.{places}f})"
    if abs(one.amount) <= one.enough:
        return f"{size}: within tolerance"
    if abs(one.amount) < 2 * one.clear:
        return f"{size}: not clear of its uncertainty"
    return f"{size}, {abs(one.amount) - one.enough:.{places}f} to go"


def _unit(name: str, named: Mapping[str, ControlNamed]) -> str:
    return named[name].unit if name in named else "steps"


def _turns(steps: Steps, named: Mapping[str, ControlNamed]) -> Iterator[dict[str, Any]]:
    for turn in steps.turns:
        unit = _unit(turn.control, named)
        unit = unit.removesuffix("s") if abs(turn.steps) == 1 and unit in ("steps", "clicks") else unit
        sign = "+" if turn.steps > 0 else "−"
        words = f"{turn.control}: {sign}{abs(turn.steps)} {unit}"
        yield {"control": turn.control, "steps": turn.steps, "words": words}


def _left(steps: Steps, now: Mapping[str, Observed]) -> Iterator[str]:
    """What is expected to be left, the largest first, once there is something to turn."""
    if not steps.turns:
        return
    for one in steps.left[:_SHOWN_LEFT]:
        places = min(decimals(one.uncertainty, 2), 2)
        is_clear = abs(one.value) - one.tolerance >= one.uncertainty
        verdict = "beyond its tolerance" if is_clear else "too uncertain to say whether within tolerance"
        yield (
            f"Expected then: {CONTROLS.get(one.quantity, one.quantity)} {abs(one.value):.{places}f}"
            f" {now[one.quantity].unit} (± {one.uncertainty:.{places}f}),"
            f" {'within tolerance' if one.is_right else verdict}"
        )


def _strange(one: Strange, now: Mapping[str, Observed], named: Mapping[str, ControlNamed]) -> str:
    unit, title = now[one.quantity].unit, CONTROLS.get(one.quantity, one.quantity)
    steps = f"{abs(one.steps):g} {_unit(one.control, named)}"
    changed = f"{abs(one.change):.2f} {unit} (± {one.uncertainty:.2f})"
    if one.odd is Odd.OTHER:
        return f"{one.control} moves {title} more than what it is linked to: {changed} a step."
    if one.expected is None:
        return (
            f"{one.control} did nothing: after {steps}, {title} changed by {changed}. Is it connected, or at its end?"
        )
    wanted = f"{abs(one.expected):.2f} {unit}"
    if one.odd is Odd.NOTHING:
        return (
            f"{one.control} did nothing: {steps} should have moved {title} by {wanted}; it changed by {changed}. Is it"
            " at its end, has it play, or was it another control?"
        )
    return (
        f"{one.control} did the opposite: {steps} should have moved {title} by {wanted}; it moved {changed} the other"
        " way. Was it turned the other way?"
    )
