"""The session: its cards, its place in them, and what phones and keys do to it. The screen asks it what to show.

The journal and the record are the only truth: everything here is made from them again when the bench is begun anew.
"""

from __future__ import annotations

import re
import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from patterns.formats import Format, parse_format
from patterns.signal import Range
from trueraster.bench.cards import JOBS, Card, CardKind, cards_of
from trueraster.bench.folder import SessionFolder
from trueraster.bench.journal import Journal, write_synced
from trueraster.bench.kept import Kept, digest_of
from trueraster.bench.measure import Part
from trueraster.bench.readings import read_line
from trueraster.bench.state import AnswerMade, State, after
from trueraster.errors import UsageError
from trueraster.kit.rates import check_line_rates, parse_line_rates
from trueraster.options.raster import face_of, sides_mm
from trueraster.options.record import now, stage_of, words_of
from trueraster.options.values import format_of
from trueraster.output.terminal import note
from trueraster.record.jsontext import read_json
from trueraster.record.schema import Stage
from trueraster.show.outputs import Output
from trueraster.show.slide import Slide

__all__ = ["Session"]

Ask = Mapping[str, str]

_MOST_FORMATS = 8
_ID = re.compile(r"[A-Za-z0-9-]{8,64}")

_LENS = re.compile(r"\d{4}\.json")


def _check_depth(text: str) -> None:
    if re.fullmatch(r"\d{1,3}(?:\.\d{1,3})?", text) is None:
        raise UsageError(
            f"depth: got {text[:20]!r}, how far the picture lies behind the marks in mm is expected, as 15"
        )


_CHECKS: Mapping[str, Callable[[str], object]] = {
    "marks_mm": lambda text: sides_mm("marks", text, "width x height between the marks' centres in mm", "460x360"),
    "depth_mm": _check_depth,
    "glass_radius_mm": face_of,
}
"""What is typed of the glass, and what says whether it can be meant."""


class Session:
    """One session. Its methods are called from the server's threads and from the screen's; a lock keeps them apart."""

    def __init__(
        self,
        journal: Journal,
        folder: SessionFolder,
        kept: Kept,
        *,
        code_range: Range,
        player: bool,
        offered: Sequence[str] = (),
    ) -> None:
        self.folder, self.kept, self.player = folder, kept, player
        self.offered = tuple(offered)
        """Formats that the set-up begins with."""
        self._journal, self._range = journal, code_range
        self._lock = threading.RLock()
        self.version = 1
        """Changes with everything that a page shows."""
        self.is_black, self.time_is_over = False, False
        self.output_words, self.output_size = "", (0, 0)
        """Of the screen's output as it is now; nothing where a player shows the patterns."""
        self.wake: Callable[[], None] = lambda: None
        """Has the screen look at once."""
        self.mode_changed: Callable[[], None] = lambda: None
        """Has the screen look at its output anew."""
        self.state = State()
        for event in journal.events:
            self.state = after(self.state, event)
        self.cards: tuple[Card, ...] = self._made_cards()
        for one in self.state.notes:
            # A kill may have come between the journal and the record.
            kept.note_work(one.at, one.text)

    # --- what is so ------------------------------------------------------------------------------------------

    def _made_cards(self) -> tuple[Card, ...]:
        set_up = self.state.set_up
        if set_up is None:
            return ()
        formats = tuple(parse_format(name) for name in set_up.formats)
        return cards_of(formats, JOBS[set_up.job], self._range, player=self.player)

    @property
    def index(self) -> int:
        """The place of the card that is up; the first where none was turned to, or it is no more."""
        return next((i for i, card in enumerate(self.cards) if card.id == self.state.card), 0)

    @property
    def card(self) -> Card | None:
        """The card that is up; None before the set-up."""
        return self.cards[self.index] if self.cards else None

    # --- the screen ------------------------------------------------------------------------------------------

    def current(self) -> Slide | None:
        """What the screen shows."""
        with self._lock:
            return None if self.is_black or self.card is None else self.card.slide

    def ahead(self) -> Sequence[Slide]:
        """The next picture and the one before."""
        with self._lock:
            later = (card.slide for card in self.cards[self.index + 1 :] if card.slide)
            earlier = (card.slide for card in reversed(self.cards[: self.index]) if card.slide)
            return [slide for slide in (next(later, None), next(earlier, None)) if slide]

    def press(self, key: str) -> None:
        """A key of the screen's own keyboard."""
        if key == "black":
            self.black(not self.is_black)
            return
        step = {"next": 1, "previous": -1}.get(key)
        wanted = self.index + step if step is not None else int(key) - 1
        if 0 <= wanted < len(self.cards):
            try:
                self.do({"do": "go", "value": self.cards[wanted].id})
            except (ValueError, OSError) as error:
                # A full disk must not end the screen.
                note(f"Note: the key was not followed: {error}")

    def over_time(self, slide: Slide) -> None:
        """A picture has been up for its longest time."""
        with self._lock:
            self.is_black = self.time_is_over = True
            self.version += 1

    def black(self, wanted: bool) -> None:
        """Make the screen black, or show the card's picture again."""
        with self._lock:
            self.is_black, self.time_is_over = wanted, False
            if not wanted:
                self.state = replace(self.state, since=now())
            self.version += 1
        self.wake()

    def output_is(self, output: Output) -> None:
        """The screen's output, as it is now."""
        with self._lock:
            self.output_words, self.output_size = output.words, (output.width, output.height)
            self.version += 1

    # --- what phones ask for ---------------------------------------------------------------------------------

    def do(self, ask: Ask) -> None:
        """Do one thing; when this returns it is on the disk.

        Raises:
            UsageError: it cannot be meant; one line.
            FileError: the record cannot be read.
            OSError: the journal or the record cannot be written.
        """
        kind, value, number = ask.get("do", ""), ask.get("value", ""), ask.get("id", "")
        if kind == "black":
            self.black(value != "no")
            return
        if kind in ("keep", "undo"):
            # The stage that the phone showed: somebody may have chosen a different one meanwhile.
            stage = stage_of(ask.get("stage") or self.state.stage)
            self._keep(self._answer(value), stage if kind == "keep" else None)
            return
        if kind == "look":
            self.mode_changed()
            return
        with self._lock:
            if number and not _ID.fullmatch(number):
                raise UsageError("the request's id is none")
            if number in self.state.done:
                return
            event = {"do": kind, "at": now(), "id": number, **self._event(kind, value, ask)}
            self._write(event)
        if kind == "note":
            # Not under the lock: the screen must not wait for whoever has the record.
            self.kept.note_work(event["at"], event["value"])
        self.wake()

    def _event(self, kind: str, value: str, ask: Ask) -> dict[str, Any]:
        """What the journal gets of a request, checked."""
        if kind == "set-up":
            return self._set_up(ask)
        if kind == "go":
            if all(card.id != value for card in self.cards):
                raise UsageError("there is no such card any more")
            return {"value": value}
        if kind == "tick":
            # What is wanted: two phones that tap the same button want the same.
            wanted = ask.get("wanted", "no" if value in self.state.ticks else "yes")
            return {"value": value[:200], "wanted": wanted != "no"}
        if kind == "note":
            text = words_of("note", value)
            if not text:
                raise UsageError("note: say what was done or seen")
            return {"value": text, "card": self.state.card}
        if kind == "stage":
            return {"value": stage_of(value, "stage").value}
        if kind == "lens":
            if value and not (_LENS.fullmatch(value) and (self.folder.root / "given" / value).is_file()):
                raise UsageError("there is no such lens file")
            return {"value": value}
        if kind in _CHECKS:
            if text := value.strip():
                _CHECKS[kind](text)
            return {"value": text}
        if kind == "readings":
            lines = [read_line(line) for line in value.splitlines() if line.strip()]
            if not lines:
                raise UsageError("readings: level, x, y and luminance are expected, as 20 0.313 0.329 4.1")
            return {"value": lines}
        if kind == "unread" and value not in ("", str(len(self.state.readings))):
            raise UsageError("readings: they have changed meanwhile; look at the last one again")
        if kind in ("warm", "unread", "again"):
            return {}
        raise UsageError("there is no such thing to do here")

    def _set_up(self, ask: Ask) -> dict[str, Any]:
        job = ask.get("job", "")
        if job not in JOBS:
            raise UsageError("choose what is to be done")
        names = [name for name in ask.get("formats", "").replace(",", " ").split() if name]
        if not 0 < len(names) <= _MOST_FORMATS:
            raise UsageError(f"formats: choose 1 to {_MOST_FORMATS} of them")
        formats: tuple[Format, ...] = tuple(format_of(name, None) for name in dict.fromkeys(names))
        accepts = ask.get("accepts", "").strip()
        if not accepts:
            raise UsageError("line rates: say what the set accepts, from its papers: 15kHz, or 15.6-15.8,31-32")
        # Before the first picture: a rate outside the set's range can destroy its deflection.
        check_line_rates(formats, parse_line_rates(accepts))
        chosen = [fmt.id for fmt in formats]
        cards_of(formats, JOBS[job], self._range, player=self.player)
        return {"accepts": accepts, "formats": chosen, "job": job}

    def _write(self, event: Mapping[str, Any]) -> None:
        """Have a line on the disk, and only then in the state."""
        self._journal.append(event)
        before = self.state
        self.state = after(before, event)
        if event["do"] in ("set-up", "again"):
            self.cards = self._made_cards()
        if event["do"] in ("go", "set-up", "again"):
            self.is_black = self.time_is_over = False
        self.version += 1
        card = self.card
        if card is not None and card.kind is CardKind.PATTERN and before.card.endswith("/change"):
            self.mode_changed()

    def add_answers(self, parts: Sequence[Part], card: str, files: Mapping[str, str], number: str) -> None:
        """Take up answers of one measurement, all of them or none.

        `files` are the names that its files have here, and on the phone.

        Raises:
            OSError: they cannot be written.
        """
        with self._lock:
            if number and number in self.state.done:
                return
            first = len(self.state.answers) + 1
            # The newest is shown first: of a grid's two the one that its card is for.
            heading = next((one.heading.lower() for one in self.cards if one.id == card), "")
            parts = sorted(parts, key=lambda part: part.kind == heading)
            for i, part in enumerate(parts):
                write_synced(self.folder.answer(first + i, ".json"), part.json.encode())
                write_synced(self.folder.answer(first + i, ".html"), part.page.encode())
            made = [
                {
                    "number": first + i,
                    "card": card,
                    "source": ", ".join(files.values()),
                    "given": list(files),
                    "kind": part.kind,
                    "findings": list(part.findings),
                    "about": part.about,
                    "advice": list(part.advice),
                    "warnings": list(part.warnings),
                    "digest": digest_of(read_json(part.json.encode())),
                }
                for i, part in enumerate(parts)
            ]
            # In one line: a kill leaves all of them or none.
            self._write({"do": "answers", "at": now(), "id": number, "answers": made})

    def _answer(self, text: str) -> AnswerMade:
        found = next((one for one in self.state.answers if str(one.number) == text), None)
        if found is None:
            raise UsageError("there is no such answer")
        return found

    def _keep(self, answer: AnswerMade, stage: Stage | None) -> None:
        """Keep an answer at a stage of the record, or take it away; the record has a lock of its own."""
        result = read_json(self.folder.answer(answer.number, ".json").read_bytes())
        if stage is not None:
            self.kept.keep(result, stage, answer.source, answer.at)
        else:
            self.kept.take_away(result)
        with self._lock:
            self.version += 1


def epoch(text: str) -> float:
    """A moment of ISO 8601 in seconds since 1970; 0 where there is none."""
    return datetime.fromisoformat(text).astimezone(UTC).timestamp() if text else 0.0
