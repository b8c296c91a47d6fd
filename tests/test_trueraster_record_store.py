"""A record's file: it comes back as it went in, a mistake in it is told by its place, and no change loses anything."""

from __future__ import annotations

import copy
import json
import os
import random
import stat
import subprocess
import sys
import threading
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.answer import Kind, number_at
from render.errors import FileError
from tests.trials.kill_record import rounds
from trueraster.output.json import read
from trueraster.record import store
from trueraster.record.changes import (
    holds_result,
    new_record,
    with_details,
    with_picture,
    with_result,
    with_tolerances,
    with_work,
    without_entry,
)
from trueraster.record.jsontext import JsonError, Literal, read_json, write_json
from trueraster.record.results import findings_of, kind_of, subject_of, title_of
from trueraster.record.schema import SCHEMA, VERSION, Record, Stage, record_of
from trueraster.record.store import change_record, create_record, read_record

NOBODY: Callable[[str], None] = lambda words: pytest.fail(words)  # noqa: E731
DOT = "iVBORw0KGgo="
"""Base64 of the signature that a PNG begins with (ISO/IEC 15948, 5.2)."""


def whole() -> dict[str, Any]:
    """A record with something of everything, and a key that is not known at every level."""
    picture = {"date": "2026-11-26", "name": "a.png", "caption": "front", "media_type": "image/png", "size_px": [4, 3]}
    return {
        "schema": SCHEMA,
        "version": VERSION,
        "made": "2026-11-26T10:00:00+01:00",
        "own": {"deep": [1, {"deeper": None}]},
        "set": {"name": "14-inch monitor", "hours": 18200, "inputs": ["component"], "formats": ["480i"], "own": 1},
        "job": "77",
        "work": [{"date": "2026-11-26", "text": "cleaned", "own": 2}],
        "tolerances": {"geometry.width_mm": 2.50},
        "stages": {
            "as-found": {
                "results": [{"kind": "grey", "date": "2026-11-26", "result": {"a": 1}, "own": 3}],
                "pictures": [{**picture, "original": {"bytes": 8}, "encoding": "base64", "data": DOT, "own": 4}],
                "own": 5,
            },
            "own": 6,
        },
    }


def written(path: Path, held: Any) -> Path:
    path.write_text(json.dumps(held), encoding="utf-8")
    return path


def refusal(call: Callable[[], Any]) -> str:
    """What a call says when it refuses a file; nothing when it does not."""
    try:
        call()
    except FileError as error:
        return str(error)
    return ""


def of(held: dict[str, Any]) -> Record:
    return record_of(held, Path("set.json"))


# --- The text ------------------------------------------------------------------------------------------------

numbers = st.one_of(st.integers(-(10**30), 10**30), st.floats(allow_nan=False, allow_infinity=False))
values = st.recursive(
    st.one_of(st.none(), st.booleans(), numbers, st.text()),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.text(), inner, max_size=4)),
    max_leaves=20,
)
objects = st.dictionaries(st.text(), values, max_size=5)


@given(objects)
def test_what_is_read_and_written_is_the_same(held: dict[str, Any]) -> None:
    """Python's own `json` writes it, ours reads and writes it, Python's own reads it: nothing has changed."""
    text = json.dumps(held)
    ours = read_json(text.encode())
    assert ours == held
    assert json.loads(write_json(ours)) == held


@pytest.mark.parametrize(
    "number", ["1.50", "0.1000000000000000055511151231257827", "1E-2", "-0.0", "1e400000000000000000000", "1e-999"]
)
def test_a_number_keeps_its_digits(number: str) -> None:
    """Digits that a float has no room for are written again as they stood; what has no end is refused."""
    text = f'{{"a": {number}}}\n'.encode()
    if float(number) in (float("inf"),):
        with pytest.raises(JsonError, match=r"^a: a number without an end$"):
            read_json(text)
    else:
        assert write_json(read_json(text)) == text
        assert write_json(copy.deepcopy(read_json(text))) == text
        assert isinstance(read_json(text)["a"], Literal)


def test_a_line_takes_what_fits_on_it() -> None:
    """Short lists and objects stand on one line, longer ones are broken, each part with its margin (by hand)."""
    held = {"a": [1, 2], "b": {"c": "x" * 150, "d": []}}
    assert write_json(held).decode() == f'{{\n "a": [1, 2],\n "b": {{\n  "c": "{"x" * 150}",\n  "d": []\n }}\n}}\n'


def test_letters_of_any_kind_come_back() -> None:
    """Letters as such in UTF-8, half of a UTF-16 pair, which UTF-8 does not have, as its escape."""
    text = '{"ü": "測試 \\u0001", "half": "\\ud800"}\n'
    assert write_json(read_json(text.encode())).decode() == text


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "the file is empty"),
        (b" \n ", "the file is empty"),
        (b'{"a": 1,\n "b": }', "line 2, column 7: not JSON, expecting value"),
        (b'{"a": "' + "é".encode() + b'\xff"}', "line 1, column 9: a byte that is not UTF-8"),
        (b'{\n "' + "é".encode() + b'": \xff}', "line 2, column 7: a byte that is not UTF-8"),
        (b"[1]", "one object in braces is expected"),
        (b'{"set": {"hours": 1, "hours": 2}}', "set.hours: the key stands twice"),
        (b'{"a": [0, {"b c": NaN}]}', 'a[1]."b c": a number without an end'),
        (b'{"a": -Infinity}', "a: a number without an end"),
        (b'{"a": ' + b"9" * 5000 + b"}", "a: a number without an end"),
        (b'{"a": ' + b"[" * 100 + b"]" * 100 + b"}", "nested more than 60 deep"),
        (b'{"a": ' + b"[" * 200_000 + b"]" * 200_000 + b"}", "lists or objects are nested too deeply"),
    ],
)
def test_a_mistake_of_the_text_has_its_place(data: bytes, words: str) -> None:
    """Line and column where it is no JSON, counted by hand, else the path of the key."""
    with pytest.raises(JsonError) as caught:
        read_json(data)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


@settings(max_examples=200)
@given(st.data())
def test_broken_text_is_one_line(data: st.DataObject) -> None:
    """A record with bytes changed, cut out or put in is read, or refused in one line."""
    text = bytearray(write_json(whole()))
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(text) - 1))
        text[at : at + data.draw(st.integers(0, 4))] = data.draw(st.binary(max_size=4))
    said = refusal(lambda: record_of(store.read_object(Path("set.json"), bytes(text)), Path("set.json")))
    assert said.startswith("set.json: ") or not said
    assert "\n" not in said


@settings(max_examples=200)
@given(st.data())
def test_a_record_is_read_as_strictly_in_pieces(data: st.DataObject) -> None:
    """Text with bytes changed, cut out or put in: the two ways to read it give the same, or refuse with the same words,
    and what they give is what Python's own `json` gives."""
    text = bytearray(data.draw(st.sampled_from([write_json(whole()), json.dumps(whole(), indent="\t").encode()])))
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(text) - 1))
        odd = st.sampled_from([b'"', b"{", b"}", b"[", b"]", b",", b":", b"\\", b"e", b"NaN", b"1e999", b"9" * 401])
        text[at : at + data.draw(st.integers(0, 4))] = data.draw(odd | st.binary(max_size=3))
    read: list[Any] = []
    for in_pieces in (False, True):
        try:
            read.append(read_json(bytes(text), in_pieces=in_pieces))
        except JsonError as error:
            read.append(str(error))
    assert read[0] == read[1]
    if isinstance(read[1], dict):
        assert read[1] == json.loads(text.decode("utf-8-sig"))
        assert json.loads(write_json(read[1])) == read[1]


@pytest.mark.parametrize(
    ("inner", "words"),
    [
        ('{"a": 1, "a": 2}', "stages.as-found.results[1].result.a: the key stands twice"),
        ('{"a": [1, -1e999]}', "stages.as-found.results[1].result.a[1]: a number without an end"),
        ('{"a": NaN}', "stages.as-found.results[1].result.a: a number without an end"),
        ('{"a": ' + "[" * 60 + "]" * 60 + "}", "nested more than 60 deep"),
        ('{"a": 1,}', "line 2, column "),
        ('{"a" 1}', "line 2, column 6: not JSON, expecting ':' delimiter"),
    ],
)
def test_a_mistake_within_a_result_has_its_place(inner: str, words: str) -> None:
    """Line and column, counted by hand, or the path; nothing of it gets in because results are read in one go."""
    text = f'{{"stages": {{"as-found": {{"results": [{{"kind": "grey", "result": {{}}}}, {{"result":\n{inner}}}]}}}}}}'
    with pytest.raises(JsonError) as caught:
        read_json(text.encode(), in_pieces=True)
    assert words in str(caught.value)


# --- The values ----------------------------------------------------------------------------------------------


def test_a_record_is_read_into_values() -> None:
    """Everything that is known has its place, and what is not is named by its path."""
    found = of(whole())
    assert (found.set.name, found.set.hours, found.set.inputs, found.set.formats) == (
        "14-inch monitor",
        18200,
        ("component",),
        ("480i",),
    )
    assert [(one.date, one.text) for one in found.work] == [("2026-11-26", "cleaned")]
    assert found.tolerances == {"geometry.width_mm": 2.5}
    (result,) = found.stages[Stage.AS_FOUND].results
    assert (result.kind, result.result) == ("grey", {"a": 1})
    (picture,) = found.stages[Stage.AS_FOUND].pictures
    assert (picture.size_px, picture.data) == ((4, 3), b"\x89PNG\r\n\x1a\n")
    assert found.stages[Stage.AFTER_SERVICE].is_empty
    assert set(found.unknown) == {
        *("own", "set.own", "work[0].own", "stages.own", "stages.as-found.own"),
        *("stages.as-found.results[0].own", "stages.as-found.pictures[0].own"),
    }


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("version",), "1", "version: a whole number such as 1 is expected"),
        (("version",), True, "version: "),
        (("version",), 0, "version: "),
        (("made",), "yesterday", "made: a date such as 2026-11-26 is expected"),
        (("set",), [], "set: an object in braces is expected"),
        (("set", "name"), 5, "set.name: text in quotes is expected, not 5"),
        (("set", "hours"), -1, "set.hours: a number of hours, 0 or more, is expected"),
        (("set", "hours"), 10**400, "set.hours: "),
        (("set", "inputs"), "component", "set.inputs: a list of texts is expected"),
        (("set", "formats"), [480], "set.formats: "),
        (("work",), {}, "work: a list in brackets is expected"),
        (("work", 0), "cleaned", "work[0]: an object in braces is expected"),
        (("work", 0, "date"), "26.11.2026", "work[0].date: "),
        (("tolerances", "geometry.width_mm"), "2", "tolerances.geometry.width_mm: a number, 0 or more,"),
        (("stages", "as-found"), 1, "stages.as-found: "),
        (("stages", "as-found", "results", 0, "result"), "x", "stages.as-found.results[0].result: "),
        (("stages", "as-found", "results", 0, "simulated"), "yes", "simulated: true or false is expected"),
        (("stages", "as-found", "pictures", 0, "data"), "%%%", "pictures[0].data: a picture as base64 is expected"),
        (("stages", "as-found", "pictures", 0, "data"), None, "pictures[0].data: "),
        (("stages", "as-found", "pictures", 0, "size_px"), [0, 1], "pictures[0].size_px: width and height"),
        (("stages", "as-found", "pictures", 0, "media_type"), "text/html", "image/jpeg or image/png is expected"),
    ],
)
def test_a_wrong_value_has_its_path(path: tuple[Any, ...], value: Any, words: str) -> None:
    """One line that names the file, the key and what belongs there."""
    held = whole()
    inner: Any = held
    for part in path[:-1]:
        inner = inner[part]
    inner[path[-1]] = value
    with pytest.raises(FileError) as caught:
        of(held)
    assert str(caught.value).startswith("set.json: ")
    assert words in str(caught.value)


@settings(max_examples=100)
@given(st.data())
def test_any_value_anywhere_is_read_or_one_line(data: st.DataObject) -> None:
    """Whatever stands at any place of a record, it is read, and shown as figures, or refused in one line."""
    held = whole()
    spots: list[tuple[Any, Any]] = []

    def walk(value: Any) -> None:
        for key, part in value.items() if isinstance(value, dict) else enumerate(value):
            spots.append((value, key))
            if isinstance(part, dict | list):
                walk(part)

    walk(held)
    inner, key = data.draw(st.sampled_from(spots))
    inner[key] = data.draw(values)
    said = refusal(lambda: of(held))
    assert said.startswith("set.json: ") or not said
    assert len(said) < 250


def test_other_files_are_no_record() -> None:
    """Another object, and one of a newer version, are refused; the newest that is known is told."""
    with pytest.raises(FileError, match=r"^set\.json: not a record of a set; 'trueraster record new' makes one$"):
        of({"lens": 1})
    with pytest.raises(FileError, match=r"version 2, from a newer trueraster; this one knows up to 1"):
        of({**whole(), "version": 2})


# --- The file ------------------------------------------------------------------------------------------------


def test_every_change_keeps_what_it_does_not_know(tmp_path: Path) -> None:
    """After each kind of change all that stood there still stands there, at every level and in its order."""
    path = written(tmp_path / "set.json", whole())
    for change in (
        lambda held: with_work(held, "2026-11-27", "recapped"),
        lambda held: with_details(held, {"hours": 5}, {"bench": "Harbour Lane Repairs"}),
        lambda held: with_tolerances(held, {"convergence.centre_max_mm": 0.3}),
        lambda held: with_result(held, Stage.AS_FOUND, {"kind": "geometry", "result": {"b": 2}}),
        lambda held: with_result(held, Stage.AFTER_SERVICE, {"kind": "geometry", "result": {"b": 2}}),
        lambda held: with_picture(held, Stage.AS_FOUND, held["stages"]["as-found"]["pictures"][0]),
    ):
        before = json.loads(path.read_text(encoding="utf-8"))
        change_record(path, change, NOBODY)
        after = json.loads(path.read_text(encoding="utf-8"))
        assert after != before
        assert [key for key in after if key in before] == list(before)
        _holds(after, before)
    assert json.loads(path.read_text(encoding="utf-8"))["set"]["hours"] == 5
    assert [one.name for one in tmp_path.iterdir()] == ["set.json"]


def test_results_stay_as_they_were_laid_out(tmp_path: Path) -> None:
    """A record that was laid out by hand, with tabs, on one line, with line ends of another system: what stands beside
    a result that comes or goes has kept every byte, digits and escapes among them."""
    first, second, third = (
        '{"kind":"grey","date":"2026-11-26","result":{"a":1.50,"b":1E-2,"c":0.1000000000000000055511151231257827}}',
        '{\r\n\t"source" : "x",\r\n\t"result" : {"\\ud800" : "\\u00e9 \u00e9 \U0001f4fa \u2028"}, "own" :[1.0e3 ]\r\n}',
        '{ "result": { } }',
    )
    stages = f'{{"as-found":{{"results":\t[{first} ,{second},{third}]}}}}'
    path = tmp_path / "set.json"
    path.write_bytes(f'\ufeff{{"schema": "{SCHEMA}", "version": 1, "own": 2.50, "stages": {stages}}}'.encode())
    expected = json.loads(path.read_text(encoding="utf-8-sig"))
    entry = {"kind": "geometry", "result": {"d": 3}}
    change_record(path, lambda held: with_result(held, Stage.AS_FOUND, entry), NOBODY)
    assert all(part.encode() in path.read_bytes() for part in (first, second, third, '"own": 2.50'))
    expected["stages"]["as-found"]["results"].append(entry)
    assert json.loads(path.read_bytes()) == expected
    change_record(path, lambda held: without_entry(held, Stage.AS_FOUND, "x"), NOBODY)
    assert all(part.encode() in path.read_bytes() for part in (first, third, '"own": 2.50'))
    del expected["stages"]["as-found"]["results"][1]
    assert json.loads(path.read_bytes()) == expected


def _holds(after: Any, before: Any, path: str = "") -> None:
    """Everything of `before` is in `after`; the hours alone were changed."""
    if isinstance(before, dict):
        for key, part in before.items():
            _holds(after[key], part, f"{path}.{key}")
    elif isinstance(before, list):
        assert len(after) >= len(before)
        for one, other in zip(after, before, strict=False):
            _holds(one, other, path)
    else:
        assert after == before or path == ".set.hours"


@pytest.mark.parametrize("held", [{**whole(), "version": 2}, {"other": 1}, [], "text"])
def test_what_is_refused_is_not_touched(tmp_path: Path, held: Any) -> None:
    """A newer version and other files keep their bytes and their time."""
    path = written(tmp_path / "set.json", held)
    before = path.read_bytes(), path.stat().st_mtime_ns
    with pytest.raises(FileError):
        change_record(path, lambda held: with_work(held, "2026-11-26", "x"), NOBODY)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before
    assert [one.name for one in tmp_path.iterdir()] == ["set.json"]


def test_a_new_record_replaces_nothing(tmp_path: Path) -> None:
    """What has the name already stays, be it a record or a link to nowhere."""
    path = written(tmp_path / "set.json", "mine")
    with pytest.raises(FileError, match="there is such a file already"):
        create_record(path, whole(), NOBODY)
    assert path.read_text(encoding="utf-8") == '"mine"'
    created = create_record(tmp_path / "other.json", whole(), NOBODY)
    assert created == read_record(tmp_path / "other.json")


def test_a_link_stays_one(tmp_path: Path) -> None:
    """The file that a link leads to is changed, and keeps its rights."""
    (tmp_path / "shelf").mkdir()
    real = written(tmp_path / "shelf" / "set.json", whole())
    real.chmod(0o640)
    link = tmp_path / "link.json"
    link.symlink_to(real)
    change_record(link, lambda held: with_work(held, "2026-11-26", "x"), NOBODY)
    assert link.is_symlink()
    assert len(read_record(real).work) == 2
    assert real.stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("failing", ["fsync", "replace"])
def test_a_full_disk_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str) -> None:
    """When writing or renaming fails the old record stands there, and nothing beside it."""
    path = written(tmp_path / "set.json", whole())
    before = path.read_bytes()

    def full(*arguments: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, failing, full)
    with pytest.raises(OSError, match="No space left") as caught:
        change_record(path, lambda held: with_work(held, "2026-11-26", "x"), NOBODY)
    assert caught.value.filename == str(path)
    assert path.read_bytes() == before
    assert [one.name for one in tmp_path.iterdir()] == ["set.json"]


def test_bytes_are_on_the_disk_before_the_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The file is synced, then named, then its folder is synced."""
    path = written(tmp_path / "set.json", whole())
    calls = []
    sync, replace = os.fsync, os.replace

    def syncing(descriptor: int) -> None:
        calls.append("folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file")
        sync(descriptor)

    def replacing(source: Path, target: Path) -> None:
        calls.append("name")
        replace(source, target)

    monkeypatch.setattr(os, "fsync", syncing)
    monkeypatch.setattr(os, "replace", replacing)
    change_record(path, lambda held: with_work(held, "2026-11-26", "x"), NOBODY)
    assert calls == ["file", "name", "folder"]


def test_what_an_editor_saved_meanwhile_is_kept(tmp_path: Path) -> None:
    """A program that takes no lock saves between reading and writing: the change is made to what it saved."""
    path = written(tmp_path / "set.json", whole())
    times = []

    def change(held: Any) -> dict[str, Any]:
        times.append(1)
        if len(times) == 1:
            written(path, {**whole(), "job": "78"})
        return with_work(held, "2026-11-26", "x")

    found = change_record(path, change, NOBODY)
    assert (found.job, len(found.work), len(times)) == ("78", 2, 2)


def test_two_writers_at_once_lose_nothing(tmp_path: Path) -> None:
    """Each of four threads adds twelve lines to one record, and all are there, each one's in its order."""
    path = tmp_path / "set.json"
    create_record(path, new_record("2026-11-26"), NOBODY)

    def write(name: int) -> None:
        for number in range(12):
            change_record(path, partial(with_work, date="2026-11-26", text=f"{name} {number}"), lambda words: None)

    threads = [threading.Thread(target=write, args=(name,)) for name in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    lines = [one.text.split() for one in read_record(path).work]
    for name in range(4):
        assert [int(number) for who, number in lines if int(who) == name] == list(range(12))
    assert [one.name for one in tmp_path.iterdir()] == ["set.json"]


def test_who_waits_is_told(tmp_path: Path) -> None:
    """While another process holds the record's lock, one line says so."""
    path = written(tmp_path / "set.json", whole())
    fcntl = pytest.importorskip("fcntl")
    lock = tmp_path / ".trueraster-set.json.lock"
    descriptor = os.open(lock, os.O_RDWR | os.O_CREAT)
    fcntl.flock(descriptor, fcntl.LOCK_EX)
    said = []

    def waiting(words: str) -> None:
        said.append(words)
        os.close(descriptor)

    change_record(path, lambda held: with_work(held, "2026-11-26", "x"), waiting)
    assert said == [f"another run of trueraster changes {path}; waiting for it"]
    assert not lock.exists()


def test_what_a_killed_run_left_is_cleared_and_nothing_else(tmp_path: Path) -> None:
    """Unfinished files of this record go with the next change; those of another, and other names, stay."""
    path = written(tmp_path / "set.json", whole())
    others = [".trueraster-12-other-set.json.part", ".trueraster-x-set.json.part", "12-set.json.part"]
    for name in (".trueraster-12-set.json.part", *others):
        (tmp_path / name).touch()
    change_record(path, lambda held: with_work(held, "2026-11-26", "x"), NOBODY)
    assert sorted(one.name for one in tmp_path.iterdir()) == sorted(["set.json", *others])


def test_a_record_of_odd_places_is_one_line(tmp_path: Path) -> None:
    """No file, a folder, a pipe that never ends, no folder to write in: one line that names it."""
    os.mkfifo(tmp_path / "pipe.json")
    for name, words in (
        ("none.json", "cannot be read (No such file or directory)"),
        (".", "not a file"),
        ("pipe.json", "not a file"),
        ("none/set.json", "cannot be read"),
    ):
        with pytest.raises(FileError) as caught:
            read_record(tmp_path / name)
        assert words in str(caught.value)
    with pytest.raises(FileError, match="there is no folder"):
        create_record(tmp_path / "none" / "set.json", whole(), NOBODY)


def test_killed_writers_leave_a_whole_record(tmp_path: Path) -> None:
    """Two processes that change one record are killed three times at random moments: nothing that was said is lost."""
    figures = rounds(tmp_path, 3, 2, random.Random(1))
    assert figures.faults == []
    assert figures.kills == 6


@pytest.mark.slow
def test_many_killed_writers_leave_a_whole_record() -> None:
    """The script that kills, as a user runs it, with three writers."""
    script = Path(__file__).with_name("trials") / "kill_record.py"
    line = [sys.executable, str(script), "30", "--seed", "5", "--writers", "3"]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(line, capture_output=True, text=True, timeout=120, env=environment, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


# --- Results -------------------------------------------------------------------------------------------------


def test_numbers_are_found_by_their_path() -> None:
    """A path leads into lists and objects; what is no number, or not there, is None."""
    held = {"a": [1, {"b": 2.5}], "c": True, "d": "3", "e": 10**400, "f": None}
    assert number_at(held, "a.0") == 1
    assert number_at(held, "a.1.b") == 2.5
    for path in ("a", "a.2", "a.x", "a.-1", "c", "d", "d.0", "e", "f", "f.g", "z", ""):
        assert number_at(held, path) is None, path


@settings(max_examples=100)
@given(st.sampled_from([*Kind, "other", ""]), objects)
def test_any_object_gives_figures_or_none(kind: str, result: dict[str, Any]) -> None:
    """A result that was changed by hand to whatever it may be is read, and each null figure has its reason."""
    for one in read(kind, result).values():
        assert one.reason if one.value is None else isinstance(one.value, float)
    assert isinstance(subject_of(kind, result), str)
    assert isinstance(findings_of(kind, result), list)
    assert title_of(kind, result)
    kind_of(result)


def test_the_same_result_is_known_again() -> None:
    """At one stage, by its whole content."""
    held = whole()
    assert holds_result(held, Stage.AS_FOUND, {"a": 1})
    assert not holds_result(held, Stage.AS_FOUND, {"a": 2})
    assert not holds_result(held, Stage.AFTER_SERVICE, {"a": 1})
