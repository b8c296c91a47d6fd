"""The loop of `trueraster bench`: controls named, turns counted, responses kept in the record, and steps advised."""

from __future__ import annotations

import json
import os
import shutil
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any, cast

import pytest

from patterns.signal import Range
from trueraster.bench.folder import SessionFolder
from trueraster.bench.given import Given, Giving
from trueraster.bench.journal import Journal
from trueraster.bench.kept import Kept
from trueraster.bench.loop import looped
from trueraster.bench.measure import Part
from trueraster.bench.pages import regions
from trueraster.bench.session import Session
from trueraster.bench.watching import Watching
from trueraster.cli import run
from trueraster.errors import UsageError
from trueraster.record.store import read_record

MARKS = [[0.0, 0.0], [100.0, 0.0], [100.0, 80.0], [0.0, 80.0]]


@pytest.fixture
def session_of(tmp_path: Path) -> Iterator[Callable[[str], Session]]:
    """A session by the name of its folder; all with one record's contents."""
    with ExitStack() as opened:

        def begun(name: str = "set") -> Session:
            record = tmp_path / f"{name}.json"
            if not record.exists():
                assert run(["record", "new", str(record), "--set", "14-inch monitor"]) == 0
            folder = SessionFolder.of(record)
            folder.make()
            journal = opened.enter_context(Journal(folder.journal))
            session = Session(journal, folder, Kept(record), code_range=Range.FULL, player=True)
            session.do({"do": "set-up", "job": "geometry", "accepts": "15kHz", "formats": "480i"})
            return session

        yield begun


def _answer(pincushion: float, size: float, marks: list[list[float]] = MARKS) -> Part:
    """An answer with two controls' amounts in mm, read from one place within 0.01."""
    numbers = {"uncertainty": 0.1, "repeatability": 0.01, "enough": 0.5, "unit": "mm"}
    held: dict[str, Any] = {
        "photo": {"format": "480i", "size_px": [100, 80], "marks_px": marks},
        "controls": {"side-pincushion": {"amount": pincushion, **numbers}, "h-size": {"amount": size, **numbers}},
        "kind": pincushion,
    }
    return Part(
        kind="geometry",
        findings=("Pincushion",),
        about="",
        advice=("Side pincushion: middles of the sides outward, by 1 mm (± 0.1)",),
        warnings=(),
        json=json.dumps(held),
        page="",
    )


def _given(session: Session, part: Part) -> dict[str, Any]:
    since = len(session.state.answers)
    session.add_answers([part], "480i/crosshatch", {"0001.jpg": "one.jpg"}, "")
    looped(session, since)
    return dict(session.state.answers[-1].loop)


def _turned(session: Session, name: str, steps: int) -> None:
    session.do({"do": "turned", "value": name, "steps": str(steps)})


def test_a_turn_between_two_answers_gives_the_next_one_in_steps(session_of: Callable[..., Session]) -> None:
    """5 steps move the pincushion from 4 to 3 mm: it is learnt, and about 15 steps more are advised, 2.5 to go."""
    session = session_of()
    session.do({"do": "control", "value": "E/W PIN", "of": "side-pincushion", "unit": "clicks"})
    first = _given(session, _answer(4.0, 0.0))
    assert first["line"] == "Side pincushion: 4.0 mm (± 0.1), 3.5 to go"
    assert first["turns"] == []
    _turned(session, "E/W PIN", 5)
    second = _given(session, _answer(3.0, 0.05))
    assert second["line"] == "Side pincushion: 3.0 mm (± 0.1), 2.5 to go"
    assert second["values"] == [4.0, 3.0]
    assert [one["control"] for one in second["turns"]] == ["E/W PIN"]
    assert 13 <= second["turns"][0]["steps"] <= 16
    assert "clicks" in second["turns"][0]["words"]
    assert "within tolerance" in second["left"][0]
    page = regions(session)["answers"]
    assert 'data-control="E/W PIN" data-steps="' in page
    assert "<polyline" in page


def test_what_was_learnt_is_in_the_record_for_the_next_session(
    session_of: Callable[..., Session], tmp_path: Path
) -> None:
    """A new session with the record of the last one advises steps after its first answer."""
    session = session_of()
    session.do({"do": "control", "value": "E/W PIN", "of": "side-pincushion"})
    _given(session, _answer(4.0, 0.0))
    _turned(session, "E/W PIN", 5)
    _given(session, _answer(3.0, 0.05))
    kept = read_record(tmp_path / "set.json")
    assert not kept.unknown
    assert [(one.name, one.of) for one in kept.controls] == [("E/W PIN", "side-pincushion")]
    assert kept.turns[0].moved["side-pincushion"] == pytest.approx((-1.0, 0.0141), abs=1e-3)
    (tmp_path / "again.json").write_bytes((tmp_path / "set.json").read_bytes())
    again = _given(session_of("again"), _answer(-2.0, 0.0))
    assert -11 <= again["turns"][0]["steps"] <= -9


def test_a_turn_that_did_nothing_and_a_moved_camera_are_named(session_of: Callable[..., Session]) -> None:
    """After a good turn one without effect is named by its control; marks 9 pixels further, the camera has moved."""
    session = session_of()
    session.do({"do": "control", "value": "E/W PIN", "of": "side-pincushion"})
    _given(session, _answer(4.0, 0.0))
    _turned(session, "E/W PIN", 5)
    assert not _given(session, _answer(3.0, 0.0))["said"]
    _turned(session, "E/W PIN", 10)
    said = _given(session, _answer(3.0, 0.0))["said"]
    assert "E/W PIN did nothing" in said[0]
    moved = [[x + 9, y] for x, y in MARKS]
    assert "moved by 9 pixels" in _given(session, _answer(3.0, 0.0, moved))["said"][-1]


def test_a_turn_can_be_taken_away_until_the_next_answer(session_of: Callable[..., Session]) -> None:
    """A slip is taken away; after the answer it stays, and a control without a name is refused."""
    session = session_of()
    session.do({"do": "control", "value": "E/W PIN"})
    _turned(session, "E/W PIN", 5)
    session.do({"do": "unturned"})
    assert not session.state.turns
    _turned(session, "E/W PIN", -3)
    _given(session, _answer(4.0, 0.0))
    with pytest.raises(UsageError, match="stays"):
        session.do({"do": "unturned"})
    with pytest.raises(UsageError, match="name the control first"):
        _turned(session, "V SIZE", 5)
    with pytest.raises(UsageError, match="steps are expected"):
        session.do({"do": "turned", "value": "E/W PIN", "steps": "much"})


@pytest.mark.slow
def test_photographs_in_a_folder_are_taken_the_newest_alone(session_of: Callable[..., Session], tmp_path: Path) -> None:
    """Two photographs appear at once: the newer one is given, on the card that is up; in a folder that was taken away
    and came back too. What is no photograph and what was there before are not."""
    session = session_of()
    session.do({"do": "go", "value": "480i/crosshatch"})
    given: list[tuple[str, str]] = []

    class Taking:
        def measure(self, what: str, card: str, files: Sequence[Given], number: str) -> None:
            given.append((card, files[0].name))

    folder = tmp_path / "card"
    folder.mkdir()
    (folder / "old.jpg").write_bytes(b"old")
    watching = Watching(folder, session, cast(Giving, Taking()), print)
    watching.start()
    try:
        time.sleep(0.5)
        (folder / "a.jpg").write_bytes(b"one")
        os.utime(folder / "a.jpg", (1, 1))
        (folder / "b.jpg").write_bytes(b"two")
        (folder / "notes.txt").write_bytes(b"no photograph")
        _wait_for(lambda: given == [("480i/crosshatch", "b.jpg")])
        shutil.rmtree(folder)
        time.sleep(1.5)
        folder.mkdir()
        time.sleep(1.5)
        (folder / "c.jpg").write_bytes(b"three")
        _wait_for(lambda: given[1:] == [("480i/crosshatch", "c.jpg")])
    finally:
        watching.stop()


def _wait_for(true: Callable[[], bool]) -> None:
    until = time.monotonic() + 15
    while not true():
        assert time.monotonic() < until
        time.sleep(0.05)
