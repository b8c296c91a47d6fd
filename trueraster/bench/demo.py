"""The invented set beside a session: its panel on the page, and what is turned, photographed and read there.

What is turned is in the session's journal, and the set is made from that alone: a bench that is begun anew has the same
set. What is taken of it goes the way of everything else that is given on the page.
"""

from __future__ import annotations

import threading
import uuid
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from trueraster.bench.cards import Card, CardKind, Takes
from trueraster.bench.given import Given, Giving
from trueraster.bench.learning import CONTROLS, control_entry
from trueraster.bench.pages import rendered
from trueraster.bench.session import Session
from trueraster.bench.simulated.controls import MOST_STEPS
from trueraster.bench.simulated.model import Reading, SimulatedSet
from trueraster.bench.state import Turned
from trueraster.errors import UsageError

__all__ = ["Demo"]

_VIEW_HEIGHT = 300
_MOST_FIELDS = 8
_TIMES = 3
"""That the meter reads the whole scale: one reading of a dark step is too uncertain to set its colour by."""
_FAMILIES = {"Convergence": "convergence", "Grey scale, by meter": "grey", "Grey scale": "grey"} | {
    "Black level and contrast": "grey"
}
"""Which controls a card shows, by its heading; else those of geometry."""
_NAMES = {"geometry": "Geometry", "convergence": "Convergence", "grey": "Grey scale"}


class Demo:
    """The invented set of a session. Its methods are called from the server's threads."""

    def __init__(self, session: Session, giving: Giving) -> None:
        """Have the set of the session's journal, or begin with one.

        Raises:
            OSError: the journal cannot be written.
        """
        self._session, self._giving = session, giving
        self._lock = threading.Lock()
        self._set = SimulatedSet(0)
        self._turned: tuple[Turned, ...] = ()
        self._number: int | None = None
        self._view: tuple[object, bytes] = (None, b"")
        if session.state.demo is None:
            self._begin(1)

    def routes(self, state: Callable[[], dict[str, Any]]) -> list[Route]:
        """What is answered besides the page itself; `state` is the page's state after a change."""

        async def do(request: Request) -> Response:
            async with request.form(max_files=0, max_fields=_MOST_FIELDS) as form:
                ask = {name: value for name, value in form.items() if isinstance(value, str)}
            await run_in_threadpool(self.do, ask)
            return JSONResponse(await run_in_threadpool(state))

        def view(request: Request) -> Response:
            return Response(self.view(), media_type="image/png")

        return [Route("/demo/do", do, methods=["POST"]), Route("/demo/view.png", view, methods=["GET"])]

    def do(self, ask: Mapping[str, str]) -> None:
        """Do what was tapped on the panel.

        Raises:
            UsageError: it cannot be meant, or what was taken cannot be measured; one line.
            OSError: it cannot be written.
        """
        kind, value, number = ask.get("do", ""), ask.get("value", ""), ask.get("id", "")
        if kind == "turn":
            self._turn(value, ask, number)
        elif kind == "photograph":
            self._photograph(number)
        elif kind == "read":
            self._read(number, whole=value == "all")
        elif kind == "another":
            if self._session.state.answers:
                raise UsageError(
                    "this record has answers of another set already; begin 'bench --demo' with a new record"
                )
            self._begin(_whole(value, 0, 999_999, "the invented set's number"), number)
        else:
            raise UsageError("there is no such thing to do with the invented set")

    def _begin(self, which: int, number: str = "") -> None:
        """Have the invented set of that number, as it comes in."""
        made = SimulatedSet(which)
        face = made.face
        ids = {title.lower(): name for name, title in CONTROLS.items()}
        # Their names and what they are for are in the invented set's papers.
        papers = [control_entry(one.name, ids.get(one.title.lower(), ""), "steps") for one, _ in made.controls()]
        self._session.kept.note_controls(papers, ())
        self._session.add(
            "demo",
            number,
            value=which,
            marks_mm="{:g}x{:g}".format(*face.marks_mm),
            depth_mm=f"{face.depth_mm:.0f}",
            glass_radius_mm="flat" if face.radius_mm is None else f"{face.radius_mm:.0f}",
        )

    def _here(self) -> SimulatedSet:
        """The set as the journal has it."""
        state = self._session.state
        done = self._turned
        if self._number != state.demo or state.turns[: len(done)] != done:
            self._set, self._number, done = SimulatedSet(state.demo or 0), state.demo, ()
        for one in state.turns[len(done) :]:
            self._set.turn(one.control, one.steps)
        self._turned = state.turns
        return self._set

    def _turn(self, name: str, ask: Mapping[str, str], number: str) -> None:
        """Turn a control by `steps`, or to where a slider was put, `to`."""
        with self._lock:
            places = {control.name: steps for control, steps in self._here().controls()}
            if name not in places:
                raise UsageError("the invented set has no such control")
            steps = ask.get("steps") or str(_whole(ask.get("to", ""), -MOST_STEPS, MOST_STEPS, "to") - places[name])
            wanted = _whole(steps, -2 * MOST_STEPS, 2 * MOST_STEPS, "steps")
            went = min(max(places[name] + wanted, -MOST_STEPS), MOST_STEPS) - places[name]
            if went:
                self._session.add("turned", number, value=name, steps=went, card=self._session.state.card)

    def _photograph(self, number: str) -> None:
        card = self._card()
        if card is None or card.takes not in (Takes.RASTER, Takes.UNIFORMITY):
            raise UsageError("nothing is measured in a photograph of this card")
        with self._lock:
            held = self._shows(card).photograph()
        count = len(self._session.state.answers) + 1
        self._giving.measure("photo", card.id, [Given(name=f"SIMULATION {count}.jpg", data=held)], number)

    def _read(self, number: str, *, whole: bool) -> None:
        """Have the meter read the card's field, or the whole scale three times, in place of earlier readings."""
        card = self._card()
        if card is None or card.takes is not Takes.READING or card.options.colour is None:
            raise UsageError("no field is read on this card")
        level = 100 if card.options.level is None else float(100 * card.options.level)
        with self._lock:
            fields = () if whole else [(str(card.options.colour), level)]
            rows = [row for _ in range(_TIMES if whole else 1) for row in self._here().readings(fields)]
        if whole and self._session.state.readings:
            self._session.do({"do": "unread", "value": "all", "id": uuid.uuid4().hex})
        self._session.do({"do": "readings", "value": "\n".join(map(_line, rows)), "id": uuid.uuid4().hex})
        if whole:
            self._giving.measure("grey", card.id, [], number)

    def _card(self) -> Card | None:
        return None if self._session.is_black else self._session.card

    def _shows(self, card: Card | None) -> SimulatedSet:
        """The set, fed with the card's pattern."""
        made = self._here()
        if card is not None and card.pattern is not None and card.format is not None:
            made.shows(card.pattern, card.format, card.options)
        else:
            made.dark()
        return made

    def view(self) -> bytes:
        """A PNG of the face as it is now."""
        with self._lock:
            card = self._card()
            key = (self._session.state.demo, len(self._session.state.turns), None if card is None else card.id)
            if self._view[0] != key:
                self._view = key, self._shows(card).view(_VIEW_HEIGHT)
            return self._view[1]

    def region(self) -> str:
        """The panel as HTML."""
        with self._lock:
            controls = self._here().controls()
            face = self._set.face
        card = self._session.card
        wanted = _FAMILIES.get(card.heading, "geometry") if card else "geometry"
        groups = [
            (title, family == wanted, [pair for pair in controls if pair[0].family == family])
            for family, title in _NAMES.items()
        ]
        return rendered(
            "demo.html",
            state=self._session.state,
            card=card,
            takes=card.takes.value if card and card.takes else "",
            is_pattern=bool(card and card.kind is CardKind.PATTERN),
            groups=sorted(groups, key=lambda group: not group[1]),
            face=face,
            most=MOST_STEPS,
            view=f"{self._session.state.demo}-{len(self._session.state.turns)}-{self._session.index}"
            f"-{int(self._session.is_black)}",
        )


def _line(one: Reading) -> str:
    light = np.format_float_positional(one.luminance, trim="-")
    return f"{one.field} {one.level_percent:g} {one.x:.4f} {one.y:.4f} {light}"


def _whole(text: str, low: int, high: int, what: str) -> int:
    try:
        value = int(text)
    except ValueError:
        value = low - 1
    if not low <= value <= high:
        raise UsageError(f"{what}: got {text[:20]!r}, a whole number from {low} to {high} is expected")
    return value
