"""`trueraster bench --demo`: the invented set, its panel, and that the page brings it in order."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, cast

import cv2
import numpy as np
import pytest
from PIL import Image

from analysis.raster.controls import CONVERGENCE_CONTROLS, GEOMETRY_CONTROLS
from patterns.signal import Range
from tests.pages import CHROMIUM
from tests.trials.demo_loop import MOST_ROUNDS, misses, panel_of
from tests.trials.demo_loop import run as run_set
from trueraster.bench.demo import Demo
from trueraster.bench.folder import SessionFolder
from trueraster.bench.given import Given, Giving
from trueraster.bench.journal import Journal
from trueraster.bench.kept import Kept
from trueraster.bench.pages import regions
from trueraster.bench.session import Session
from trueraster.bench.simulated.camera import MARK_BITS
from trueraster.bench.simulated.model import SimulatedSet
from trueraster.cli import run
from trueraster.errors import UsageError


def centred(number: int) -> SimulatedSet:
    """A set of which every control is where it should be."""
    made = SimulatedSet(number)
    for knob in made._knobs.values():
        knob.moved = 0.0
    return made


def test_controls_are_called_what_advice_calls_them() -> None:
    """Each control of geometry and convergence has its title and both directions from the table of advice."""
    controls = {control.title: control for control, _ in SimulatedSet(1).controls()}
    for one in GEOMETRY_CONTROLS:
        if one.id != "yoke":
            held = controls[one.title]
            assert (held.negative, held.positive) == (one.more.do, one.less.do)
    for one in CONVERGENCE_CONTROLS:
        for gun in ("Red", "Blue"):
            held = controls[f"{gun} {one.title}"]
            assert (held.negative, held.positive) == (one.more.do, one.less.do)


def test_marks_are_those_of_a_general_library() -> None:
    """OpenCV draws the marks with the same bits, and finds all four in a photograph where the camera puts them."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for number, bits in enumerate(MARK_BITS):
        drawn = cv2.aruco.generateImageMarker(dictionary, number, 6)[1:5, 1:5]
        assert [[int(bit) for bit in row] for row in bits] == (drawn > 127).astype(int).tolist()
    made = SimulatedSet(7)
    photo = Image.open(io.BytesIO(made.photograph()))
    assert "SIMULATION" in photo.getexif()[0x010E]
    how = cv2.aruco.DetectorParameters()
    how.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, how).detectMarkers(np.asarray(photo.convert("L")))
    width, height = made.face.marks_mm
    for x, y, number in ((-1, -1, 0), (1, -1, 1), (1, 1, 2), (-1, 1, 3)):
        seen = corners[ids.ravel().tolist().index(number)][0].mean(axis=0)
        wanted = made.camera.project(np.array([x * width / 2, y * height / 2, 0.0]))
        assert np.abs(seen - wanted).max() < 0.25


def test_a_control_has_play_steps_and_cross_talk() -> None:
    """Turned on, it moves its own term and a tenth of that elsewhere; turned back, it first does nothing."""
    made = SimulatedSet(3)
    made.turn("E/W PIN", 10)
    before = made.moved()
    assert made.turn("E/W PIN", 4) == 4
    moved = {
        place: value - before[place] for place, value in made.moved().items() if abs(value - before[place]) > 1e-12
    }
    own = moved.pop(("", "x uv2"))
    assert own == pytest.approx(4 * 0.2, rel=0.21)
    (other,) = moved.values()
    assert abs(other / own) == pytest.approx(0.1)
    knob = made._knobs["E/W PIN"]
    there = made.moved()
    less = int(knob.play)
    made.turn("E/W PIN", -less)
    assert made.moved() == there
    made.turn("E/W PIN", less - 6)
    assert made.moved()["", "x uv2"] - there["", "x uv2"] == pytest.approx(-own * (6 - knob.play) / 4)
    assert made.turn("E/W PIN", 1000) < 1000
    assert SimulatedSet(3, dead=("TILT",)).response("TILT")["", "y u"] == 0
    swapped = SimulatedSet(3, swapped=("TILT",)).response("TILT")["", "y u"]
    assert swapped == -made.response("TILT")["", "y u"]


def test_a_set_in_order_is_within_tolerance_and_one_as_found_is_not() -> None:
    """With every control where it should be only greys may be out, by gammas; as found ten figures are."""
    for number in range(5):
        assert [one for one in misses(centred(number)) if not one.startswith("grey")] == []
        assert len(misses(SimulatedSet(number))) >= 10


def test_a_meter_reads_the_white_of_a_set_in_order_as_d65() -> None:
    """CIE 15: x 0.3127, y 0.3290, within the meter's noise and what gammas leave; black is dark."""
    readings = {one.level_percent: one for one in centred(4).readings() if one.field == "grey"}
    assert readings[100].x == pytest.approx(0.3127, abs=0.006)
    assert readings[100].y == pytest.approx(0.3290, abs=0.006)
    assert readings[0].luminance < 0.01 * readings[100].luminance


class _Giving:
    """What is given for measuring, kept."""

    def __init__(self) -> None:
        self.given: list[tuple[str, str, list[Given]]] = []

    def measure(self, what: str, card: str, files: Any, number: str) -> None:
        self.given.append((what, card, list(files)))


@contextmanager
def demo_of(record: Path) -> Iterator[tuple[Session, Demo, _Giving]]:
    folder = SessionFolder.of(record)
    folder.make()
    with Journal(folder.journal) as journal:
        session = Session(journal, folder, Kept(record, True), code_range=Range.FULL, player=False, simulated=True)
        giving = _Giving()
        yield session, Demo(session, cast(Giving, giving)), giving


def test_the_panel_turns_photographs_and_reads(tmp_path: Path) -> None:
    """A turn counts once, is there after a restart, and what is taken goes the usual way under a name that says so."""
    record = tmp_path / "demo.json"
    assert run(["record", "new", str(record), "--set", "invented"]) == 0
    with demo_of(record) as (session, demo, giving):
        assert session.state.marks_mm
        session.do({"do": "set-up", "job": "whole", "accepts": "15kHz", "formats": "480i", "id": "a" * 12})
        session.do({"do": "go", "value": "480i/crosshatch", "id": "b" * 12})
        assert "SIMULATION" in demo.region()
        place = next(one.stands for one in panel_of(demo.region()) if one.name == "V HEIGHT")
        for _ in range(2):
            demo.do({"do": "turn", "value": "V HEIGHT", "steps": "5", "id": "c" * 12})
        demo.do({"do": "turn", "value": "V HEIGHT", "to": str(place + 2), "id": "d" * 12})
        assert [one.steps for one in session.state.turns] == [5, -3]
        for ask in (
            {"value": "NO SUCH", "steps": "1"},
            {"value": "TILT", "steps": "x"},
            {"value": "TILT", "to": "999"},
        ):
            with pytest.raises(UsageError):
                demo.do({"do": "turn", **ask})
        with pytest.raises(UsageError):
            session.do({"do": "turned", "value": "NO SUCH", "steps": "1", "id": "e" * 12})
        demo.do({"do": "photograph"})
        what, card, files = giving.given[-1]
        assert (what, card) == ("photo", "480i/crosshatch")
        assert files[0].name.startswith("SIMULATION")
        session.do({"do": "go", "value": "480i/read/grey/20%", "id": "f" * 12})
        demo.do({"do": "read", "value": "all"})
        assert len(session.state.readings) == 42
        demo.do({"do": "read", "value": ""})
        assert session.state.readings[-1].startswith("grey,20,")
        for _ in range(2):
            demo.do({"do": "another", "value": "1"})
            assert next(one.stands for one in panel_of(demo.region()) if one.name == "V HEIGHT") == place
            demo.do({"do": "turn", "value": "V HEIGHT", "steps": "2"})
        stands = panel_of(demo.region())
        session.do({"do": "go", "value": "end", "id": "g" * 12})
        assert "V HEIGHT</b> +2 steps" in regions(session)["card"]
    with demo_of(record) as (session, demo, _):
        session.do({"do": "go", "value": "480i/read/grey/20%", "id": "h" * 12})
        assert panel_of(demo.region()) == stands


def test_a_demo_keeps_to_records_of_its_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line and exit 2: a real set's record with --demo, and --demo with an output or a player."""
    real = tmp_path / "real.json"
    assert run(["record", "new", str(real), "--set", "14-inch monitor"]) == 0
    before = real.read_bytes()
    for words in ([str(real), "--demo"], ["--demo", "--player"], ["--demo", "--output", "1"]):
        capsys.readouterr()
        assert run(["bench", *words]) == 2
        assert len(capsys.readouterr().err.strip().splitlines()) == 1
    assert real.read_bytes() == before
    assert "simulated" not in json.loads(before)


@pytest.mark.slow
@pytest.mark.parametrize("by_chromium", [False, True])
def test_what_the_page_says_brings_a_set_in_order(by_chromium: bool) -> None:
    """From as found to broadcast tolerance by the page's advice, turned 15 % imprecisely, in four rounds a card."""
    if by_chromium and CHROMIUM is None:
        pytest.skip("Debian's package chromium is not installed")
    (found,) = run_set(31 + by_chromium, by_chromium=by_chromium)
    assert len(found.before) >= 10
    assert found.after == []
    assert max(found.rounds.values()) <= MOST_ROUNDS
