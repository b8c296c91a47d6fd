"""`trueraster measure grey` as a user has it."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analysis.answer import Kind
from trueraster.cli import run
from trueraster.output.json import read
from trueraster.record.results import kind_of

EXAMPLE = Path(__file__).resolve().parent.parent / "docs" / "examples" / "grey-readings.csv"
GUNS = ("red", "green", "blue")


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert run(["measure", "grey", *words, "--json"]) == 0
    told = capsys.readouterr()
    assert not told.err
    found: dict[str, Any] = json.loads(told.out)
    return found


def test_the_example_is_told_as_a_technician_needs_it(capsys: pytest.CaptureFixture[str]) -> None:
    """The set of docs/make_readings.py: red cut-off 2.3 % too low, drives 0.94, 1, 1.06."""
    assert run(["measure", "grey", str(EXAMPLE)]) == 0
    text = capsys.readouterr().out
    assert "SIMULATION" in text
    for words in (
        "Grey scale compared with D65, primaries the tube's own, as read, 45 readings",
        "1. Show grey 10 %: trueraster draw field --colour grey --level 10",
        "Red cut-off: up 2.",
        "2. Show grey 80 %",
        "Blue drive: down 5.",
        "Then read all levels again",
        "once done",
    ):
        assert words in text, words
    assert max(map(len, text.splitlines())) <= 100


def test_json_has_the_designed_keys_and_a_record_takes_it(capsys: pytest.CaptureFixture[str]) -> None:
    """The JSON of `measure grey` has every designed key, and a record reads its figures."""
    found = answer(capsys, str(EXAMPLE))
    wanted = {"target", "steps", "black_cd_m2", "white_cd_m2", "contrast", "gamma", "bt1886_error_percent", "advice"}
    assert wanted | {"uncertainty", "reasons", "guns", "after"} <= found.keys()
    assert (found["target"]["x"], found["target"]["y"]) == (0.3127, 0.329)
    assert [step["level_percent"] for step in found["steps"]] == [0, 5, *range(10, 101, 10)]
    of_step = {"level_percent", "luminance", "x", "y", "cct", "duv", "delta_uv", "delta_e_2000", "gun_percent"}
    for step, doubt, after in zip(found["steps"], found["uncertainty"]["steps"], found["after"]["steps"], strict=True):
        assert of_step <= step.keys()
        assert set(step["gun_percent"]) == set(GUNS)
        assert doubt["gun_percent"]["red"] > 0
        assert after["level_percent"] == step["level_percent"]
        assert step["level_percent"] < 5 or after["delta_uv"] <= after["delta_uv_likely"] < 0.003
    for item in found["advice"]:
        assert {"adjust", "direction", "amount", "unit", "why", "uncertainty", "reads"} <= item.keys()
        assert item["direction"] in ("up", "down")
        assert item["amount"] > 0
    assert [item["level_percent"] for item in found["advice"]] == sorted(
        item["level_percent"] for item in found["advice"]
    )
    assert kind_of(found) is Kind.GREY
    by_name = read("grey", found)
    assert by_name["grey.steps.20.delta_uv"].uncertainty == found["uncertainty"]["steps"][3]["delta_uv"]


def test_the_example_s_guns_are_those_it_was_made_with(capsys: pytest.CaptureFixture[str]) -> None:
    """Cut-offs .011/.94, .034, .020/1.06, gammas 2.36, 2.38, 2.37 of make_readings.py, within three uncertainties."""
    found = answer(capsys, str(EXAMPLE))
    truth = {"red": (1.1 / 0.94, 2.36), "green": (3.4, 2.38), "blue": (2.0 / 1.06, 2.37)}
    for gun, (cutoff, gamma) in truth.items():
        guns, doubts = found["guns"][gun], found["uncertainty"]["guns"][gun]
        assert abs(guns["cutoff_percent"] - cutoff) < 3 * doubts["cutoff_percent"]
        assert abs(guns["gamma"] - gamma) < 3 * doubts["gamma"]


def test_options_change_what_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """White, primaries, kept gun and meter each change the answer as they should; plots are written."""
    folder = tmp_path / "plöts here"
    found = answer(capsys, str(EXAMPLE), "--white", "d93", "--primaries", "ebu-3213", "--plots", str(folder))
    assert (found["target"]["name"], found["primaries"]["name"]) == ("d93", "ebu-3213")
    names = [f"grey-{name}.{kind}" for name in ("error", "guns", "light", "places") for kind in ("png", "svg")]
    assert sorted(path.name for path in folder.iterdir()) == names
    assert sorted(Path(path).name for path in found["files"]["plots"]) == names
    kept = answer(capsys, str(EXAMPLE), "--keep", "Red")
    assert kept["after"]["kept"] == "red"
    assert "red drive" not in [item["adjust"] for item in kept["advice"]]
    coarse = answer(capsys, str(EXAMPLE), "--meter-xy", "0.008")
    assert coarse["uncertainty"]["steps"][5]["x"] == pytest.approx(0.008 / 3**0.5, rel=0.01)


def test_without_primaries_smpte_c_stands_in(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Readings without primaries are taken as SMPTE C, with a warning."""
    lines = [line for line in EXAMPLE.read_text(encoding="utf-8").splitlines() if not line.startswith(GUNS)]
    path = tmp_path / "greys.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    found = answer(capsys, str(path))
    assert found["primaries"]["name"] == "smpte-c"
    assert any("SMPTE C" in words for words in found["warnings"])
    assert run(["measure", "grey", str(path), "--primaries", "readings"]) == 2
    assert "no red and no green and no blue was read" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--keep", "yellow"], "--keep: got 'yellow'; use red, green, blue"),
        (["--white", "d55"], "--white: got 'd55'"),
        (["--primaries", "ntsc"], "--primaries: got 'ntsc', allowed are smpte-c, ebu-3213, bt709, readings"),
        (["--meter-xy", "0"], "--meter-xy: got 0, more than 0"),
        (["--plots", str(EXAMPLE)], "is there and is no folder"),
    ],
)
def test_a_slip_is_one_line(capsys: pytest.CaptureFixture[str], words: list[str], says: str) -> None:
    """A wrong option is exit 2 with one line that names it and what is allowed."""
    assert run(["measure", "grey", str(EXAMPLE), *words]) == 2
    told = capsys.readouterr()
    assert says in told.err
    assert told.err.count("\n") == 1
    assert not told.out


def test_a_broken_file_names_row_and_column(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A broken cell is named by row and column, and no plot is written."""
    path = tmp_path / "broken.csv"
    path.write_text(EXAMPLE.read_text(encoding="utf-8").replace("grey,50,", "grey,fifty,", 1), encoding="utf-8")
    assert run(["measure", "grey", str(path), "--plots", str(tmp_path / "plots")]) == 2
    assert "row 9, column level_percent: got 'fifty'" in capsys.readouterr().err
    assert not (tmp_path / "plots").exists()


HEADER, *ROWS = [
    row for row in csv.reader(EXAMPLE.read_text(encoding="utf-8").splitlines()) if not row[0].startswith("#")
]


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_readings_end_well(data: st.DataObject, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Rows in any order, left out, doubled, and with any light and colour: an answer, or one line; no traceback."""
    rows = data.draw(st.lists(st.sampled_from(ROWS), min_size=1, max_size=40))
    light = st.sampled_from(["0", "0.0001", "0.5", "12", "99999"])
    spot = st.sampled_from(["0.01", "0.2", "0.3127", "0.329", "0.6"])
    for i in data.draw(st.lists(st.integers(0, len(rows) - 1), max_size=8)):
        level = data.draw(st.sampled_from([rows[i][1], "0", "3", "109"]))
        rows[i] = [
            rows[i][0],
            level,
            data.draw(spot),
            data.draw(st.sampled_from(["0.05", "0.33", "0.39"])),
            data.draw(light),
        ]
    # A file and its folder may have any name.
    path = tmp_path / "nan.csv"
    path.write_text("\n".join(",".join(row) for row in [HEADER, *rows]), encoding="utf-8")
    code = run(["measure", "grey", str(path), *data.draw(st.sampled_from([[], ["--json"]]))])
    told = capsys.readouterr()
    assert code in (0, 2), told.err
    assert "Traceback" not in told.err
    if code == 2:
        assert told.err.count("\n") == 1
        assert not told.out
    else:
        figures = told.out.replace(str(path), "")
        assert not re.search(r"\b(nan|inf)\b", figures, re.IGNORECASE)
        assert not told.err
