"""`trueraster bench`: cards, journal, record, and what stands between the network and the page."""

from __future__ import annotations

import errno
import json
import os
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import pytest

from patterns.catalogue import PATTERNS
from patterns.formats import parse_format
from patterns.signal import Range
from render.errors import FileError
from tests.bench import PHOTO, Page, bench
from tests.framebuffer import ROOT
from trueraster.bench.cards import JOBS, CardKind, cards_of
from trueraster.bench.folder import SessionFolder, alone
from trueraster.bench.guard import CONNECTIONS, FROM_ONE
from trueraster.bench.journal import Journal
from trueraster.bench.kept import Kept
from trueraster.bench.measure import Part
from trueraster.bench.pages import exposure, regions
from trueraster.bench.readings import read_line
from trueraster.bench.session import Session
from trueraster.cli import run
from trueraster.errors import UsageError
from trueraster.lock import locked
from trueraster.output.cautions import CAUTIONS


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "set.json"
    assert run(["record", "new", str(path), "--set", "14-inch monitor"]) == 0
    return path


@pytest.fixture
def session_of() -> Iterator[Callable[[Path], Session]]:
    """A session of a record, as the bench begins it."""
    with ExitStack() as opened:

        def begun(record: Path) -> Session:
            folder = SessionFolder.of(record)
            folder.make()
            journal = opened.enter_context(Journal(folder.journal))
            return Session(journal, folder, Kept(record), code_range=Range.FULL, player=False)

        yield begun


@pytest.fixture(scope="module")
def served_record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("bench") / "set.json"


@pytest.fixture(scope="module")
def served(served_record: Path) -> Iterator[Page]:
    """The command with a page, for a player: it needs no display."""
    with bench(served_record, "--player") as (page, _):
        page.set_up(formats="480i", accepts="15kHz")
        yield page


def test_cards_are_in_the_order_of_work_format_after_format() -> None:
    """Cautions, warm-up and degauss first; then each format whole, its patterns in the catalogue's order of work."""
    formats = (parse_format("480p"), parse_format("576p"))
    cards = cards_of(formats, JOBS["whole"], Range.FULL, player=False)
    assert [card.kind for card in cards[:3]] == [CardKind.CAUTIONS, CardKind.WARM_UP, CardKind.DEGAUSS]
    assert len({card.id for card in cards}) == len(cards)
    names = [card.format.id for card in cards if card.format]
    assert names == sorted(names, key=["480p", "576p"].index)
    orders = [
        c.pattern.order for c in cards if c.pattern and c.format and c.format.id == "480p" and "/read/" not in c.id
    ]
    assert orders == sorted(orders)
    shown = {card.pattern.id for card in cards if card.pattern}
    assert shown == {p.id for p in PATTERNS.values() if p.suits(formats[0]) and not p.by_name_only} - {"slate"}


def test_a_players_cards_have_the_names_of_the_kits_files() -> None:
    """The names on the cards, but for number and ending, are those of the golden kit of 480i, in its order.

    Numbers differ there: the golden kit is of stills, and has no pattern that moves.
    """
    cards = cards_of((parse_format("480i"),), JOBS["whole"], Range.FULL, player=True)
    names = [card.file for card in cards if card.pattern]
    assert [int(name[2:4]) for name in names] == list(range(2, len(names) + 2)), "the slate is the first"
    assert all(card.slide is None for card in cards)
    golden = [Path(one["path"]) for one in json.loads((ROOT / "tests" / "golden" / "kit.json").read_text())["files"]]
    stills = [name[5:].removesuffix(".mp4") for name in names if "moving" not in name and "bounce" not in name]
    assert [name for name in stills if "field-order" not in name] == [path.stem[5:] for path in golden[1:]]


def test_what_was_done_is_there_after_a_restart(record: Path, session_of: Callable[[Path], Session]) -> None:
    """A new session from the same journal is equal; a torn last line is taken away, and nothing else."""
    session = session_of(record)
    session.do({"do": "set-up", "job": "quick", "accepts": "31kHz", "formats": "480p 576p", "id": "a" * 12})
    session.do({"do": "go", "value": "480p/crosshatch", "id": "b" * 12})
    session.do({"do": "note", "value": "recapped the vertical board", "id": "c" * 12})
    session.do({"do": "tick", "value": "480p/crosshatch", "id": "d" * 12})
    session.do({"do": "tick", "value": "480p/crosshatch", "id": "d" * 12})
    before = session.state
    assert before.ticks == {"480p/crosshatch"}
    journal = SessionFolder.of(record).journal
    whole = journal.read_bytes()
    journal.write_bytes(whole + b'{"do": "go", "va')
    again = session_of(record)
    assert again.state == before
    assert again.card is not None
    assert again.card.id == "480p/crosshatch"
    assert journal.read_bytes() == whole
    assert json.loads(record.read_text())["work"] == [{"date": before.notes[0].at, "text": before.notes[0].text}]
    journal.write_bytes(b"{broken}\n" + whole)
    with pytest.raises(FileError, match="line 1 of the session's journal is broken"):
        Journal(journal)


def test_a_note_that_was_confirmed_reaches_the_record_after_a_kill(
    record: Path, session_of: Callable[[Path], Session]
) -> None:
    """With the journal's line on the disk and the record's not, the next start puts it there, once."""
    folder = SessionFolder.of(record)
    folder.make()
    with Journal(folder.journal) as journal:
        journal.append({"do": "note", "at": "2026-11-30T10:00:00+00:00", "id": "e" * 12, "value": "new capacitor"})
    for _ in range(2):
        session_of(record)
        assert [one["text"] for one in json.loads(record.read_text())["work"]] == ["new capacitor"]


def test_rates_outside_what_the_set_accepts_are_refused(record: Path, session_of: Callable[[Path], Session]) -> None:
    """Before the first picture: a format beyond the stated line rates gives one line with its rate, and no card."""
    session = session_of(record)
    for formats, accepts, said in (
        ("480p", "15kHz", "31.469 kHz"),
        ("480i 720p50", "15kHz", "37.500 kHz"),
        ("480i", "", "say what the set accepts"),
        ("480x", "15kHz", "unknown format"),
        ("", "15kHz", "choose 1 to 8"),
    ):
        with pytest.raises(ValueError, match=re.escape(said)):
            session.do({"do": "set-up", "job": "quick", "accepts": accepts, "formats": formats})
    assert session.card is None
    assert session.current() is None
    assert not SessionFolder.of(record).journal.read_bytes()


def test_the_page_shows_what_others_do_to_the_record(served: Page, served_record: Path) -> None:
    """A change from another terminal is a new version for phones, and the name of the set is shown anew."""
    version = json.loads(served.ask("GET", "state")[1])["version"]
    assert "regions" not in json.loads(served.ask("GET", f"state?have={version}")[1])
    assert run(["record", "set", str(served_record), "--set", "20-inch monitor"]) == 0
    assert "20-inch monitor" in json.loads(served.ask("GET", f"state?have={version}")[1])["regions"]["head"]


def test_the_job_can_be_chosen_again(record: Path, session_of: Callable[[Path], Session]) -> None:
    """After a wrong set-up the page asks again; notes stay, and so it is after a restart."""
    session = session_of(record)
    session.do({"do": "set-up", "job": "quick", "accepts": "31kHz", "formats": "480p"})
    session.do({"do": "note", "value": "a note"})
    session.do({"do": "again"})
    for one in (session, session_of(record)):
        assert (one.card, one.current(), len(one.state.notes)) == (None, None, 1)


def test_a_sessions_folder_is_for_its_user_alone(record: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The token is in it: one that was open is closed to others, and one that belongs to somebody else is refused."""
    folder = SessionFolder.of(record)
    folder.root.mkdir(mode=0o755)
    folder.make()
    assert folder.root.stat().st_mode & 0o777 == 0o700
    monkeypatch.setattr(os, "geteuid", lambda: folder.root.stat().st_uid + 1)
    with pytest.raises(FileError, match="belongs to a different user"):
        folder.make()


def test_two_phones_that_tap_at_once_do_what_each_of_them_showed(
    record: Path, session_of: Callable[[Path], Session]
) -> None:
    """Both tick the same card: it is ticked. Both take the last reading away: one goes. The first stage is kept."""
    session = session_of(record)
    for _ in range(2):
        session.do({"do": "tick", "value": "degauss", "wanted": "yes"})
    assert session.state.ticks == {"degauss"}
    session.do({"do": "readings", "value": "20 0.313 0.329 4.1\n40 0.313 0.329 9.1"})
    session.do({"do": "unread", "value": "2"})
    with pytest.raises(UsageError, match="changed meanwhile"):
        session.do({"do": "unread", "value": "2"})
    result = {"kind": "grey"}
    part = Part(kind="grey", findings=("x",), about="", advice=(), warnings=(), json=json.dumps(result), page="</html>")
    session.add_answers([part], "", {"0001.csv": "readings.csv"}, "")
    session.do({"do": "stage", "value": "after-adjustment"})
    kept: list[str] = []
    session.kept.keep = lambda result, stage, source, date: kept.append(f"{stage} {source}")  # type: ignore[method-assign]
    session.do({"do": "keep", "value": "1", "stage": "as-found"})
    session.do({"do": "keep", "value": "1"})
    assert kept == ["as-found readings.csv", "after-adjustment readings.csv"]
    again = session_of(record).state
    assert again.ticks == {"degauss"}
    assert (len(again.readings), again.answers[0].given) == (1, ("0001.csv",))


def test_the_screen_does_not_wait_for_who_has_the_record(record: Path, session_of: Callable[[Path], Session]) -> None:
    """While another process has the record's lock and a note waits for it, a key is followed at once."""
    session = session_of(record)
    session.do({"do": "set-up", "job": "geometry", "accepts": "31kHz", "formats": "480p"})
    with locked(record.with_name(f".trueraster-{record.name}.lock"), lambda: None):
        waiting = threading.Thread(target=session.do, args=({"do": "note", "value": "a new tube"},))
        waiting.start()
        until = time.monotonic() + 10
        while not session.state.notes and time.monotonic() < until:
            time.sleep(0.01)
        begun = time.monotonic()
        session.press("next")
        assert session.current() is None
        assert time.monotonic() - begun < 1
        assert session.state.card == "warm-up"
        assert waiting.is_alive()
    waiting.join(10)
    assert json.loads(record.read_text())["work"][0]["text"] == "a new tube"


def test_a_line_that_a_full_disk_refuses_is_gone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half of it is written, then the disk is full: it is never there, neither at once nor with the next line."""
    with Journal(tmp_path / "journal.jsonl") as journal:
        journal.append({"do": "note", "value": "first"})
        file = journal._file

        class Full:
            """A file on a disk that gets full in the middle of a line."""

            def __getattr__(self, name: str) -> Any:
                return getattr(file, name)

            def write(self, data: bytes) -> int:
                if len(data) < 20:
                    raise OSError(errno.ENOSPC, "No space left on device")
                return file.write(data[:10]) or 0

        monkeypatch.setattr(journal, "_file", Full())
        with pytest.raises(OSError, match="No space"):
            journal.append({"do": "note", "value": "refused"})
        monkeypatch.setattr(journal, "_file", file)
        journal.append({"do": "note", "value": "second"})
    with Journal(tmp_path / "journal.jsonl") as again:
        assert [event["value"] for event in again.events] == ["first", "second"]


def test_a_record_that_an_editor_broke_is_one_line_on_the_page(
    record: Path, session_of: Callable[[Path], Session]
) -> None:
    """Stages of a wrong kind: the page names the record's fault, and does not fail."""
    session = session_of(record)
    held = json.loads(record.read_text())
    record.write_text(json.dumps({**held, "stages": {"as-found": 3}}))
    assert "stages" in regions(session)["head"]


def test_keys_and_time_drive_the_same_session(record: Path, session_of: Callable[[Path], Session]) -> None:
    """Next and black of the screen's keyboard, and a picture that was up for its time: black, until it is asked for."""
    session = session_of(record)
    session.do({"do": "set-up", "job": "geometry", "accepts": "31kHz", "formats": "480p"})
    assert session.current() is None, "black while cautions are read"
    session.do({"do": "go", "value": "480p/bars"})
    slide = session.current()
    assert slide is not None
    assert next(iter(session.ahead())).pattern.id == "pluge"
    session.press("next")
    assert session.state.card == "480p/pluge"
    session.over_time(slide)
    assert session.current() is None
    assert session.time_is_over
    session.press("black")
    assert session.current() is not None
    session.press("999")
    assert session.state.card == "480p/pluge"


def test_one_bench_a_record(record: Path) -> None:
    """A second bench of the same record is refused in one line, and waits for nothing."""
    folder = SessionFolder.of(record)
    folder.make()
    with alone(folder), pytest.raises(FileError, match="another bench runs with this record"), alone(folder):
        pass


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        ("20 0.313 0.329 4.1", "grey,20,0.313,0.329,4.1"),
        ("20,0.313,0.329,4.1", "grey,20,0.313,0.329,4.1"),
        ("20 0,313 0,329 4,1", "grey,20,0.313,0.329,4.1"),
        ("Red; 100; 0.63; 0.34; 21", "red,100,0.63,0.34,21"),
        ("20\t0.313\t0.329\t4.1", "grey,20,0.313,0.329,4.1"),
        ("20 0.313 0.329", None),
        ("pink 20 0.313 0.329 4", None),
        ("20 1.313 0.329 4", None),
        ("200 0.313 0.329 4", None),
        ("20 0.313 0.329 nan", None),
    ],
)
def test_readings_are_typed_in_the_usual_ways(typed: str, line: str | None) -> None:
    """Blanks, tabs, commas or semicolons, and a decimal comma; anything else is refused with what is expected."""
    if line is None:
        with pytest.raises(UsageError, match="readings"):
            read_line(typed)
    else:
        assert read_line(typed) == line


def test_the_exposure_is_a_whole_number_of_frames() -> None:
    """1/30 s at 59.94 fields a second and 1/25 s at 50 (two fields each; common practice, no source)."""
    assert [exposure(parse_format(name)) for name in ("480i", "576i", "480p", "720p50")] == [
        "1/30 s",
        "1/25 s",
        "1/30 s",
        "1/25 s",
    ]


def json_of(*words: str) -> dict[str, Any]:
    """What a command prints with --json."""
    line = [sys.executable, "-c", "from trueraster.cli import main; main()", *words, "--json"]
    held: dict[str, Any] = json.loads(subprocess.run(line, cwd=ROOT, capture_output=True, check=True).stdout)
    return held


def test_a_photograph_is_measured_kept_and_taken_away(served: Page, served_record: Path) -> None:
    """Upload, answer (the figures of `measure`), keep, undo; sent twice it counts once; others add to the record."""
    head = served.do("go", "480i/crosshatch")["regions"]["head"]
    assert "as found" in head
    served.do("marks_mm", "470x360")
    for _ in range(2):
        status, answer = served.upload(
            "photo", "480i/crosshatch", ("../../IMG 1.jpg", PHOTO.read_bytes()), number="f" * 12
        )
        assert status == 200, answer
    page = json.loads(answer)["regions"]["answers"]
    assert page.count("<article") == 2
    assert page.index("Geometry, IMG 1.jpg") < page.index("Convergence, IMG 1.jpg")
    assert "bends" in page
    status, whole, headers = served.ask("GET", "answers/2")
    assert status == 200
    assert b"bends" in whole
    assert b"IMG 1.jpg" in whole
    assert b"/given/" not in whole
    assert "sandbox" in headers["content-security-policy"]
    assert "Kept as found" in served.do("keep", "2")["regions"]["answers"]
    record = served_record
    run(["record", "work", str(record), "from another terminal"])
    kept = json.loads(record.read_text())["stages"]["as-found"]["results"]
    assert [(one["kind"], one["source"]) for one in kept] == [("geometry", "IMG 1.jpg")]
    assert "/given/" not in record.read_text()
    printed = json_of("measure", "geometry", str(PHOTO), "--marks-mm", "470x360")
    assert {k: v for k, v in kept[0]["result"].items() if k not in ("photo", "files")} == {
        k: v for k, v in printed.items() if k not in ("photo", "files")
    }
    assert "Kept" not in served.do("undo", "2")["regions"]["answers"]
    after = json.loads(record.read_text())
    assert after["stages"]["as-found"]["results"] == []
    assert after["work"][-1]["text"] == "from another terminal"


def test_what_is_known_of_glass_and_lens_reaches_the_measurement(served: Page, served_record: Path) -> None:
    """Depth, radius and a lens file of the page give the figures that `measure` gives with them; others are refused."""
    lens = ROOT / "docs" / "examples" / "simulation-lens.json"
    served.do("go", "480i/crosshatch")
    for kind, value in (("marks_mm", "470x360"), ("depth_mm", "12"), ("glass_radius_mm", "1000")):
        served.do(kind, value)
    for kind, value in (("depth_mm", "deep"), ("glass_radius_mm", "round"), ("lens", "0001.jpg"), ("lens", "../x")):
        assert served.tried(kind, value)[0] == 422
    status, answer = served.upload("lens", "480i/crosshatch", ("not.json", b"{}"))
    assert (status, answer) == (422, b"not.json: not a lens file; 'trueraster measure lens' makes one\n")
    status, answer = served.upload("lens", "480i/crosshatch", (lens.name, lens.read_bytes()))
    assert b"A lens file is used" in answer
    status, answer = served.upload("photo", "480i/crosshatch", ("IMG 2.jpg", PHOTO.read_bytes()))
    assert status == 200, answer
    folder = SessionFolder.of(served_record)
    lines = map(json.loads, folder.journal.read_bytes().splitlines())
    made = [line for line in lines if line["do"] == "answers"][-1]["answers"][-1]
    found = folder.read_answer(made["number"])
    assert (folder.root / "given" / made["given"][0]).read_bytes() == PHOTO.read_bytes()
    shape = ("--marks-mm", "470x360", "--depth-mm", "12", "--glass-radius-mm", "1000")
    printed = json_of("measure", "geometry", str(PHOTO), *shape, "--lens", str(lens))
    assert "/given/" not in json.dumps(found)
    assert {k: v for k, v in found.items() if isinstance(v, float)} == {
        k: v for k, v in printed.items() if isinstance(v, float)
    }
    assert found["uncertainty"] == printed["uncertainty"]
    for kind in ("depth_mm", "glass_radius_mm", "lens"):
        served.do(kind, "")


def test_readings_give_advice_and_a_capture_its_verdict(served: Page, served_record: Path, tmp_path: Path) -> None:
    """Typed readings become a grey answer; a drawn frame of the card's pattern passes, another one fails."""
    lines = "\n".join(f"{level} 0.313 0.329 {100 * (level / 100) ** 2.4 + 0.05:.3f}" for level in range(0, 101, 20))
    served.do("go", "480i/bars")
    assert "6 so far" in served.do("readings", lines)["regions"]["give"]
    status, answer = served.upload("grey", "480i/crosshatch")
    assert (status, b"Grey" in answer) == (200, True), answer
    # After a turn all of them are of the set as it was; a single level then says nothing of the others.
    assert "so far" not in served.do("unread", "all")["regions"]["give"]
    served.do("readings", "80 0.300 0.320 62")
    status, answer = served.upload("grey", "480i/crosshatch")
    assert (status, b"of the levels read" in answer, b"from 5 to 100" in answer.partition(b"</article>")[0]) == (
        200,
        True,
        False,
    )
    for name, said in (("bars", "Exact"), ("pluge", "")):
        frame = tmp_path / f"{name}.png"
        assert run(["draw", name, "--format", "480i", "--as", "png", "--to", str(frame)]) == 0
        status, answer = served.upload("capture", "480i/bars", (frame.name, frame.read_bytes()))
        assert status == (200 if said else 422), answer
    count = SessionFolder.of(served_record).journal.read_bytes().count(b'"digest"')
    whole = served.ask("GET", f"answers/{count}")[1]
    assert b"bars.png" in whole
    assert re.search(rb"\b\d{4}\.png", whole) is None


def test_what_cannot_be_measured_is_one_line_with_the_phones_name(served: Page) -> None:
    """Broken, empty and foreign files: a status of a refusal and one line, without a path of this computer."""
    photo = PHOTO.read_bytes()
    for name, data in (
        ("cut.jpg", photo[: len(photo) // 2]),
        ("empty.jpg", b""),
        ("words.jpg", b"hello"),
        ("noise.jpg", b"\xff\xd8\xff" + os.urandom(5000)),
        ("huge.png", b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\1\0\0\0\1\0\0\x08\2\0\0\0\0\0\0\0"),
    ):
        status, answer = served.upload("photo", "480i/crosshatch", (name, data))
        assert status == 422, (name, answer)
        assert answer.count(b"\n") == 1
        assert name.encode() in answer
        assert b"/given/" not in answer


def test_only_this_sessions_pages_get_through(served: Page) -> None:
    """No or a wrong token, wrong Host and Origin, methods, traversal, bodies beyond their bounds: one line each."""
    good = served.path
    post = {"Content_Type": "application/x-www-form-urlencoded"}
    cases = [
        (403, ("GET", "/"), {}),
        (403, ("GET", "/" + "x" * 32 + "/"), {}),
        (403, ("GET", "/favicon.ico"), {}),
        (421, ("GET", good), {"Host": "bench.example:80"}),
        (421, ("GET", good), {"Host": f"evil.example:{served.host.partition(':')[2]}"}),
        (403, ("GET", good + "state"), {"Origin": "http://evil.example"}),
        (403, ("POST", good + "do", b"do=black"), {"Origin": "http://evil.example", **post}),
        (403, ("POST", good + "do", b"do=black"), {"Origin": "null", **post}),
        (405, ("DELETE", good), {}),
        (404, ("GET", good + "static/../../../../etc/passwd"), {}),
        (404, ("GET", good + "static/%2e%2e/%2e%2e/pyproject.toml"), {}),
        (404, ("GET", good + "static/bench.py"), {}),
        (404, ("GET", good + "answers/999"), {}),
        (404, ("GET", good + "cards/9999.png"), {}),
        (404, ("GET", good + "answers/..%2f..%2fset.json"), {}),
        (413, ("POST", good + "do", b"do=note&value=" + b"x" * 70_000), post),
        (413, ("GET", good + "state", b"x"), {}),
        (422, ("POST", good + "do", b"do=fly"), post),
        (422, ("POST", good + "do", b"do=go&value=nowhere"), post),
        (422, ("POST", good + "do", b"do=keep&value=77"), post),
    ]
    for status, asked, headers in cases:
        got, body, _ = served.ask(*asked, **headers)  # type: ignore[arg-type]
        assert (got, body.count(b"\n")) == (status, 1), (asked, headers, got, body)
        assert b"Traceback" not in body
    headers = served.ask("GET", "")[2]
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe-inline" not in policy
    assert (headers["referrer-policy"], headers["cache-control"]) == ("no-referrer", "no-store")


def test_more_connections_than_bounds_are_turned_away_at_once(served: Page) -> None:
    """Beyond the bound of one address a connection gets one line, and other addresses still get through; beyond that of
    all nobody does. When the others are gone the page answers again."""
    host, _, port = served.host.partition(":")

    def opened(count: int, source: str) -> list[socket.socket]:
        # The whole of 127.0.0.0/8 is this computer (RFC 1122, 3.2.1.3).
        return [socket.create_connection((host, int(port)), 10, (source, 0)) for _ in range(count)]

    def is_refused(one: socket.socket) -> bool:
        one.settimeout(2)
        try:
            return b"too many connections at once" in one.recv(1000)
        except TimeoutError:
            return False

    held = opened(FROM_ONE + 8, "127.0.0.2")
    assert is_refused(held[-1])
    assert served.ask("GET", "state")[0] == 200
    held += opened(FROM_ONE, "127.0.0.3") + opened(CONNECTIONS - 2 * FROM_ONE + 8, "127.0.0.4")
    assert is_refused(held[-1])
    for one in held:
        one.close()
    until = time.monotonic() + 10
    while True:
        try:
            assert served.ask("GET", "state")[0] == 200
            break
        except (OSError, AssertionError):
            assert time.monotonic() < until
            time.sleep(0.1)


def test_the_page_has_every_caution(served: Page) -> None:
    """The first card shows all cautions of the bench, and the page names what its token does not do."""
    text = served.do("go", "cautions")["regions"]["card"]
    assert all(one.title in text for one in CAUTIONS)
    assert b"plain HTTP" in served.ask("GET", "")[1]


def test_mistakes_on_the_command_line_are_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Wrong records, formats and options, and no display: exit 2 before anything is begun, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER"):
        monkeypatch.delenv(name, raising=False)
    Path("other.json").write_text("{}")
    for words, said in (
        (["other.json", "--player"], "other.json"),
        (["set.txt", "--player"], "RECORD"),
        (["set.json", "--player", "--output", "1"], "--player"),
        (["set.json", "--player", "-f", "480x"], "480x"),
        (["new.json"], "bench --player"),
    ):
        assert run(["bench", *words]) == 2
        line = capsys.readouterr().err
        assert said in line
        assert line.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["other.json"]


@pytest.mark.slow
def test_a_body_that_comes_too_slowly_is_refused(served: Page) -> None:
    """After 10 s without the rest of its body a request gets its line, and the page answers others all the time."""
    host, _, port = served.host.partition(":")
    head = f"POST {served.path}do HTTP/1.1\r\nHost: {served.host}\r\nOrigin: http://{served.host}\r\n"
    with (
        socket.create_connection((host, int(port)), 20) as slow,
        socket.create_connection((host, int(port)), 20) as mute,
    ):
        slow.sendall(f"{head}Content-Type: application/x-www-form-urlencoded\r\nContent-Length: 50\r\n\r\ndo".encode())
        mute.sendall(head.encode())
        begun = time.monotonic()
        assert served.ask("GET", "state")[0] == 200
        answer = b"".join(iter(lambda: slow.recv(4096), b""))
        assert 9 < time.monotonic() - begun < 15
        assert answer.startswith(b"HTTP/1.1 408")
        assert answer.endswith(b"too long to arrive\n")
        assert mute.recv(100) == b"", "one that never ends its head is closed"
