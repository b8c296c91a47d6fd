"""`--record` and `--stage`: an answer is printed and kept in a set's record at once."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from patterns.catalogue import PATTERNS
from trueraster.cli import run

DOCS = Path(__file__).resolve().parent.parent / "docs" / "examples"
GREY = DOCS / "grey-readings.csv"


@pytest.fixture
def record(tmp_path: Path) -> Path:
    path = tmp_path / "set.json"
    assert run(["record", "new", str(path), "--set", "14-inch monitor"]) == 0
    return path


def results(path: Path, stage: str) -> list[dict[str, object]]:
    """What the record holds, read by the standard library alone."""
    held: list[dict[str, object]] = json.loads(path.read_text())["stages"][stage]["results"]
    return held


def test_what_is_kept_is_what_json_prints(record: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The kept result equals the printed JSON object, its source is the file, and a second run keeps no second one."""
    capsys.readouterr()
    words = ["measure", "grey", str(GREY), "--record", str(record), "--stage", "before", "--json"]
    assert run(words) == 0
    told = capsys.readouterr()
    (kept,) = results(record, "as-found")
    assert (kept["kind"], kept["source"], kept["simulated"]) == ("grey", "grey-readings.csv", True)
    assert kept["result"] == json.loads(told.out)
    assert told.err == f"Note: {record} has it as found\n"
    assert run(words) == 0
    assert "already" in capsys.readouterr().err
    assert len(results(record, "as-found")) == 1


def test_a_photograph_gives_two_results_and_a_failed_frame_is_kept(
    record: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`measure raster` keeps geometry and convergence; a frame that fails is printed, kept, and exits with 1."""
    photo = str(DOCS / "simulation.jpg")
    keep = ["--record", str(record), "--stage", "after"]
    assert run(["measure", "raster", photo, "--marks-mm", "470x360", *keep]) == 0
    assert [one["kind"] for one in results(record, "after-adjustment")] == ["geometry", "convergence"]
    frame = tmp_path / "bars.png"
    assert run(["draw", "bars", "--bars", "75/0/75/0", "--as", "png", "--to", str(frame)]) == 0
    assert PATTERNS["bars"].takes == ("bars",)
    assert run(["verify", str(frame), "--bars", "100/0/75/0", *keep]) == 1
    kept = results(record, "after-adjustment")[-1]
    assert (kept["kind"], kept["source"]) == ("verify", "bars.png")
    assert isinstance(kept["result"], dict)
    assert kept["result"]["verdict"] == "fail"
    capsys.readouterr()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--record", "SET"], "--record: give --stage too"),
        (["--stage", "after"], "--stage: give --record RECORD too"),
        (["--record", "SET", "--stage", "later"], "--stage: got 'later', allowed are as-found"),
        (["--record", "none.json", "--stage", "after"], "none.json"),
        (["--record", str(GREY), "--stage", "after"], "grey-readings.csv"),
    ],
)
def test_mistakes_are_found_before_anything_is_measured(
    record: Path, words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One line, exit 2, nothing on standard output, and the record stays as it was."""
    capsys.readouterr()
    before = record.read_bytes()
    assert run(["measure", "grey", str(GREY), *(str(record) if word == "SET" else word for word in words)]) == 2
    told = capsys.readouterr()
    assert said in told.err
    assert (told.out, told.err.count("\n")) == ("", 1)
    assert record.read_bytes() == before
