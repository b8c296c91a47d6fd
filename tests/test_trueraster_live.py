"""`measure grey --follow`: a line a reading as a file grows, from standard input, and how it ends."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from analysis.meter.grey.live import live_of
from analysis.meter.readings.types import Field, Reading
from analysis.meter.whites import D65, D93, PRIMARY_SETS
from trueraster.cli import run

HEAD = "field,level_percent,x,y,luminance\n"
SMPTE_C = np.array(PRIMARY_SETS[0].xy)


def grey(level: float, lights: tuple[float, float, float]) -> Reading:
    """A grey of these lights of SMPTE C's primaries, in parts of what D65 needs, worked out by hand."""
    x, y = SMPTE_C.T
    matrix = np.array([x / y, np.ones(3), (1 - x - y) / y])
    needed = np.linalg.solve(matrix, [0.3127 / 0.3290, 1, 0.3583 / 0.3290])
    a, b, c = (matrix @ (needed * lights) * 50).tolist()
    return Reading(field=Field.GREY, level_percent=level, xyz=(a, b, c), row=2)


@pytest.mark.parametrize(
    ("level", "lights", "words"),
    [
        (80, (1, 1, 0.8), "blue drive up"),
        (80, (1.2, 1, 1.02), "red drive down"),
        (10, (1, 1, 1.3), "blue cut-off down"),
        (20, (0.7, 1, 1.05), "red cut-off up"),
    ],
)
def test_the_gun_that_is_off_is_named(level: float, lights: tuple[float, float, float], words: str) -> None:
    """One gun is off: it is named with its control and its way, and what is wanted is D65 where no other gun is off."""
    live = live_of(grey(level, lights), D65, SMPTE_C)
    assert live.words.startswith(f"grey {level:g} %: {words}; wanted x ")
    assert live.wanted is not None
    if 1 in (lights[0], lights[2]):
        assert live.wanted == pytest.approx(D65.xy, abs=1e-6)
        assert "wanted x 0.313 y 0.329; " in live.words
    x, y, z = grey(level, lights).xyz
    # u'v' by CIE 15, by hand.
    off = np.hypot(4 * x / (x + 15 * y + 3 * z) - 0.19783, 9 * y / (x + 15 * y + 3 * z) - 0.46832)
    assert live.words.endswith(f"; {off:.3f} off")


def test_what_is_right_or_dark_or_no_grey_asks_for_nothing() -> None:
    """A right grey is called right; black and colours are shown as they were read."""
    assert live_of(grey(80, (1, 1, 1)), D65, SMPTE_C).words == "grey 80 %: right; 0.000 off"
    assert "cd/m2" in live_of(grey(0, (1, 1, 2)), D65, SMPTE_C).words
    dark = Reading(field=Field.GREY, level_percent=5, xyz=(0.0, 0.0, 0.0), row=2)
    assert live_of(dark, D65, SMPTE_C).words == "grey 5 %: no light"
    red = Reading(field=Field.RED, level_percent=100, xyz=(40.0, 20.0, 1.0), row=2)
    assert live_of(red, D93, SMPTE_C).gun == ""


def test_a_file_that_grows_is_followed_until_ctrl_c(tmp_path: Path) -> None:
    """Lines come as rows do, each once, a slip is said and passed over; Ctrl-C is exit 0."""
    path = tmp_path / "readings.csv"
    path.write_text(HEAD + "grey,80,0.2900,0.3100,60\n", encoding="utf-8")
    command = [sys.executable, "-c", "from trueraster.cli import main; main()", "measure", "grey", str(path)]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    with subprocess.Popen([*command, "--follow", "--jsonl"], **pipes) as process:  # type: ignore[call-overload]
        try:
            first = json.loads(process.stdout.readline())
            with path.open("a", encoding="utf-8") as file:
                file.write("grey,80,oops,0.3100,60\ngrey,80,0.3127,0.3290,61\ngrey,10,0.31")
            second = json.loads(process.stdout.readline())
            with path.open("a", encoding="utf-8") as file:
                file.write("27,0.3000,0.7\n")
            third = json.loads(process.stdout.readline())
            time.sleep(0.3)
            os.kill(process.pid, signal.SIGINT)
            rest, said = process.communicate(timeout=10)
        finally:
            process.kill()
    assert [one["row"] for one in (first, second, third)] == [2, 4, 5]
    assert first["adjust"] is not None
    assert second["adjust"] is None
    assert third["x"] == pytest.approx(0.3127, abs=1e-6)
    assert rest == ""
    assert "row 3, column x: got 'oops'" in said
    assert process.returncode == 0


def test_standard_input_is_followed_and_measured(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """- is standard input: with --follow a line a reading until it ends, without it one answer."""
    rows = HEAD + "".join(
        f"grey,{level},0.2900,0.3100,{(level / 100) ** 2.4 * 90:.3f}\n" for level in (20, 50, 80, 100)
    )
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(rows.encode())))
    assert run(["measure", "grey", "-", "--follow"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 4
    assert all("off" in line for line in lines)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(rows.encode())))
    assert run(["measure", "grey", "-", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["readings"]["count"] == 4


def test_what_cannot_be_followed_is_refused_at_once(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A named pipe, a missing file, and one that nothing is ever written to: exit 2 and one line, no hang."""
    pipe, empty = tmp_path / "pipe", tmp_path / "empty.csv"
    os.mkfifo(pipe)
    empty.write_text(HEAD, encoding="utf-8")
    for path, words, says in (
        (pipe, [], "is not a file (a named pipe)"),
        (tmp_path / "none.csv", [], "cannot be read"),
        (empty, ["--wait", "0.5"], "no reading came"),
        (empty, ["--wait", "0"], "--wait: got 0"),
    ):
        assert run(["measure", "grey", str(path), "--follow", *words]) == 2
        told = capsys.readouterr()
        assert says in told.err
        assert told.err.count("\n") == 1
        assert not told.out
