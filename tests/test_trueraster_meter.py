"""`trueraster measure grey` as a user has it."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.command import call, refused

EXAMPLE = Path(__file__).resolve().parent.parent / "docs" / "examples" / "grey-readings.csv"
GUNS = ("red", "green", "blue")


def answer(*words: str | Path) -> dict[str, Any]:
    ran = call("measure", "grey", *words, "--json")
    assert (ran.code, ran.err) == (0, "")
    return ran.json


def test_the_example_s_guns_are_those_it_was_made_with() -> None:
    """Cut-offs .011/.94, .034, .020/1.06, gammas 2.36, 2.38, 2.37 of make_readings.py, within three uncertainties."""
    found = answer(EXAMPLE)
    truth = {"red": (1.1 / 0.94, 2.36), "green": (3.4, 2.38), "blue": (2.0 / 1.06, 2.37)}
    for gun, (cutoff, gamma) in truth.items():
        guns, doubts = found["guns"][gun], found["uncertainty"]["guns"][gun]
        assert abs(guns["cutoff_percent"] - cutoff) < 3 * doubts["cutoff_percent"]
        assert abs(guns["gamma"] - gamma) < 3 * doubts["gamma"]


def test_options_change_what_is_told(tmp_path: Path) -> None:
    """White, primaries, kept gun and meter each change the answer as they should; plots are written."""
    folder = tmp_path / "plöts here"
    found = answer(EXAMPLE, "--white", "d93", "--primaries", "ebu-3213", "--plots", folder)
    assert (found["target"]["name"], found["primaries"]["name"]) == ("d93", "ebu-3213")
    names = [f"grey-{name}.{kind}" for name in ("error", "guns", "light", "places") for kind in ("png", "svg")]
    assert sorted(path.name for path in folder.iterdir()) == names
    assert sorted(Path(path).name for path in found["files"]["plots"]) == names
    kept = answer(EXAMPLE, "--keep", "Red")
    assert kept["after"]["kept"] == "red"
    assert "red drive" not in [item["adjust"] for item in kept["advice"]]
    coarse = answer(EXAMPLE, "--meter-xy", "0.008")
    assert coarse["uncertainty"]["steps"][5]["x"] == pytest.approx(0.008 / 3**0.5, rel=0.01)


def test_without_primaries_smpte_c_stands_in(tmp_path: Path) -> None:
    """Readings without primaries are taken as SMPTE C, with a warning."""
    lines = [line for line in EXAMPLE.read_text(encoding="utf-8").splitlines() if not line.startswith(GUNS)]
    path = tmp_path / "greys.csv"
    path.write_text("\n".join(lines), encoding="utf-8")
    found = answer(path)
    assert found["primaries"]["name"] == "smpte-c"
    assert any("SMPTE C" in words for words in found["warnings"])
    refused("measure", "grey", path, "--primaries", "readings", told="no red and no green and no blue was read")


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
def test_a_slip_is_one_line(words: list[str], says: str) -> None:
    """A wrong option is exit 2 with one line that names it and what is allowed."""
    refused("measure", "grey", EXAMPLE, *words, told=says)


def test_a_broken_file_names_row_and_column(tmp_path: Path) -> None:
    """A broken cell is named by row and column, and no plot is written."""
    path = tmp_path / "broken.csv"
    path.write_text(EXAMPLE.read_text(encoding="utf-8").replace("grey,50,", "grey,fifty,", 1), encoding="utf-8")
    says = "row 9, column level_percent: got 'fifty'"
    refused("measure", "grey", path, "--plots", tmp_path / "plots", told=says)
    assert not (tmp_path / "plots").exists()


HEADER, *ROWS = [
    row for row in csv.reader(EXAMPLE.read_text(encoding="utf-8").splitlines()) if not row[0].startswith("#")
]


@settings(max_examples=20, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_readings_end_well(data: st.DataObject, tmp_path: Path) -> None:
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
    told = call("measure", "grey", path, *data.draw(st.sampled_from([[], ["--json"]])))
    assert told.code in (0, 2), told.err
    assert "Traceback" not in told.err
    if told.code == 2:
        assert told.err.count("\n") == 1
        assert not told.out
    else:
        figures = told.out.replace(str(path), "")
        assert not re.search(r"\b(nan|inf)\b", figures, re.IGNORECASE)
        assert not told.err
