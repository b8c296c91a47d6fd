"""Kill the bench at random moments and see that what was confirmed is there when it is begun again.

    .venv/bin/python tests/trials/kill_bench.py 200 [--seed N]

Each round begins the command again with the same record, does one thing after another as a phone does, and kills the
process with SIGKILL at a random moment: while it starts, while it writes, while it measures. Then the session is made
from its folder and compared with what was confirmed: same card, all notes, readings, answers and kept results; what was
asked for and not confirmed is there whole or not at all. Prints figures; exit 1 when anything was lost.
"""

from __future__ import annotations

import argparse
import http.client
import json
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from dataclasses import dataclass, field
from pathlib import Path

from patterns.signal import Range
from tests.bench import COMMAND, PHOTO, Page
from tests.framebuffer import ROOT
from trueraster.bench.folder import SessionFolder
from trueraster.bench.journal import Journal
from trueraster.bench.kept import Kept
from trueraster.bench.session import Session

FORMATS = "480p 576p"
LOST = (OSError, http.client.HTTPException, AssertionError)


@dataclass(slots=True)
class Confirmed:
    """What the page has confirmed, and the one thing that was asked for last."""

    card: str = ""
    notes: list[str] = field(default_factory=list)
    readings: int = 0
    answers: int = 0
    kept: set[int] = field(default_factory=set)
    asked: tuple[str, str] = ("", "")
    """Asked for and not confirmed."""


@dataclass(slots=True)
class Figures:
    """What was seen."""

    kills: int = 0
    confirmed: int = 0
    before_ready: int = 0
    """Kills before the page was there."""
    faults: list[str] = field(default_factory=list)


def one_round(record: Path, known: Confirmed, figures: Figures, chance: random.Random) -> None:
    """Begin, work, kill, compare."""
    with tempfile.NamedTemporaryFile("w+") as said:
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        process = subprocess.Popen([*COMMAND, str(record), "--player"], stderr=said, env=environment)
        early = chance.random() < 0.15
        page = None if early else _page(Path(said.name), process)
        timer = threading.Timer(chance.uniform(0.0, 1.2 if early else 2.0), os.kill, (process.pid, signal.SIGKILL))
        timer.start()
        if page is not None:
            _work(page, known, figures, chance)
        process.wait()
        timer.join()
    figures.kills += 1
    figures.before_ready += page is None
    _compare(record, known, figures)


def _page(said: Path, process: subprocess.Popen[bytes]) -> Page:
    until = time.monotonic() + 60
    while "Ctrl-C ends" not in (text := said.read_text()):
        assert process.poll() is None, text
        assert time.monotonic() < until, text
        time.sleep(0.01)
    found = re.search(r"The page: (http\S+)", text)
    assert found is not None
    return Page(found[1])


def _work(page: Page, known: Confirmed, figures: Figures, chance: random.Random) -> None:
    """Do things until the page is gone."""
    try:
        if not known.card:
            page.set_up(formats=FORMATS, job="whole")
            known.card = "cautions"
        while True:
            _do_one(page, known, chance)
            known.asked = ("", "")
            figures.confirmed += 1
    except LOST:
        return


def _do_one(page: Page, known: Confirmed, chance: random.Random) -> None:
    kind = chance.choice(("go", "go", "note", "readings", "keep", "undo", "upload"))
    if kind == "go":
        card = chance.choice(("warm-up", "480p/bars", "480p/crosshatch", "576p/change", "576p/dots", "end"))
        known.asked = (kind, card)
        page.do("go", card)
        known.card = card
    elif kind == "note":
        known.asked = (kind, uuid.uuid4().hex)
        page.do("note", known.asked[1])
        known.notes.append(known.asked[1])
    elif kind == "readings":
        known.asked = (kind, "")
        page.do("readings", "20 0.313 0.329 4.1")
        known.readings += 1
    elif kind == "upload":
        if known.answers > 40:
            return
        known.asked = (kind, "")
        status, body = page.upload("photo", "480p/crosshatch", (f"{uuid.uuid4().hex}.jpg", PHOTO.read_bytes()))
        assert status == 200, body
        known.answers += 2
    elif known.answers:
        number = chance.randint(1, known.answers)
        known.asked = (kind, str(number))
        page.do(kind, str(number))
        known.kept = known.kept | {number} if kind == "keep" else known.kept - {number}


def _compare(record: Path, known: Confirmed, figures: Figures) -> None:
    """The session, made from its folder as a new start makes it."""
    folder = SessionFolder.of(record)
    if not folder.journal.exists():
        return
    fault = figures.faults.append
    with Journal(folder.journal) as journal:
        session = Session(journal, folder, Kept(record), code_range=Range.FULL, player=True)
        state = session.state
        stages = session.kept.stages()
        kind, value = known.asked
        card = session.card.id if session.card else ""
        if (
            card != known.card
            and not (kind == "go" and card == value)
            and not (known.card == "" and card == "cautions")
        ):
            fault(f"card {card}, confirmed {known.card}, asked {known.asked}")
        notes = [one.text for one in state.notes]
        if notes not in (known.notes, [*known.notes, value]):
            fault(f"{len(notes)} notes, confirmed {len(known.notes)}")
        work = [one["text"] for one in json.loads(record.read_text())["work"]]
        if work != notes:
            fault(f"the record has {len(work)} notes, the session {len(notes)}")
        if len(state.readings) - known.readings not in ((0, 1) if kind == "readings" else (0,)):
            fault(f"{len(state.readings)} readings, confirmed {known.readings}")
        if len(state.answers) - known.answers not in ((0, 2) if kind == "upload" else (0,)):
            fault(f"{len(state.answers)} answers, confirmed {known.answers}")
        for one in state.answers:
            folder.read_answer(one.number)
            if not folder.answer(one.number, ".html").read_bytes().rstrip().endswith(b"</html>"):
                fault(f"the page of answer {one.number} is not whole")
        # Every photograph has a name of its own, so that no two results are equal.
        digests = {state.answers[number - 1].digest for number in known.kept if number <= len(state.answers)}
        in_doubt = {one.digest for one in state.answers if kind in ("keep", "undo") and str(one.number) == value}
        if (set(stages) ^ digests) - in_doubt:
            fault(f"kept results differ: {len(stages)} in the record, {len(digests)} confirmed")
        left = [path.name for path in folder.root.rglob("*") if path.name.endswith(".part")]
        if len(left) > 4:
            fault(f"unfinished files pile up: {left}")
        known.card, known.notes, known.readings = card, notes, len(state.readings)
        known.answers, known.asked = len(state.answers), ("", "")
        known.kept = {one.number for one in state.answers if one.digest in stages}


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("count", type=int, help="how many kills")
    parser.add_argument("--seed", type=int, default=0)
    given = parser.parse_args()
    figures, known, chance = Figures(), Confirmed(), random.Random(given.seed)
    with tempfile.TemporaryDirectory() as name:
        for _ in range(given.count):
            one_round(Path(name) / "set.json", known, figures, chance)
    print(
        f"{figures.kills} kills, {figures.before_ready} of them before the page was there; {figures.confirmed} things"
        f" confirmed, {len(known.notes)} notes, {known.answers} answers"
    )
    for fault in figures.faults:
        print(f"FAULT {fault}")
    return 1 if figures.faults else 0


if __name__ == "__main__":
    sys.exit(main())
