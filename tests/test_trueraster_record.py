"""The command `record`: what a technician types, what it says, and what is in the file afterwards."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from analysis.answer import Figure, Kind, Quantity
from tests.command import call, refused
from trueraster.output.json import quantities_in, read
from trueraster.record.answer import record_text
from trueraster.record.compare import comparisons, value_text
from trueraster.record.pictures import LONGEST
from trueraster.record.results import kind_of, title_of
from trueraster.record.schema import Record, Stage
from trueraster.record.store import read_record

SET = "harbour-lane-0412.json"


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Record:
    """The record that `record demo` makes, by a process of its own in an empty folder."""
    folder = tmp_path_factory.mktemp("demo")
    program = "from trueraster.cli import main; main()"
    line = [sys.executable, "-c", program, "record", "demo", "--to", "sub/demo.json", "--json"]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    done = subprocess.run(line, cwd=folder, capture_output=True, text=True, timeout=60, env=environment, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout) == {"record": str(Path("sub/demo.json")), "simulated": True}
    assert [str(path.relative_to(folder)) for path in folder.rglob("*")] == ["sub", str(Path("sub/demo.json"))]
    return read_record(folder / "sub" / "demo.json")


@pytest.fixture(scope="module")
def answers(tmp_path_factory: pytest.TempPathFactory, demo: Record) -> Path:
    """A folder with an answer of every command whose answers are attached: those of the demo, and others."""
    folder = tmp_path_factory.mktemp("answers")
    with as_file(files("trueraster.record") / "demo") as brought:
        shutil.copytree(brought, folder, dirs_exist_ok=True)
    for stage, after in ((Stage.AS_FOUND, ""), (Stage.AFTER_ADJUSTMENT, "-after")):
        for one in demo.stages[stage].results:
            (folder / f"{one.kind}{after}.json").write_text(json.dumps(one.result), encoding="utf-8")
    with contextlib.chdir(folder):
        assert call("draw", "bars", "--as", "png", "--to", "bars.png").code == 0
        bar = ("--format", "480i", "--as", "ffv1", "--seconds", "0.7", "--to", "bar.mkv")
        assert call("draw", "field-order", *bar).code == 0
        for colour in ("white", "red"):
            _field(Path(f"{colour}.png"), (200, 40, 30) if colour == "red" else (200, 200, 200))
        for name, words in {
            "moving": ("verify", "bar.mkv"),
            "geometry-bare": ("measure", "geometry", "as-found.jpg", "--no-marks"),
            "uniformity": ("measure", "uniformity", "white.png", "red.png"),
        }.items():
            ran = call(*words, "--json")
            assert ran.code == 0, ran.err
            Path(f"{name}.json").write_text(ran.out, encoding="utf-8")
    return folder


def _field(path: Path, colour: tuple[int, int, int]) -> None:
    """A plain field with a little noise, on black."""
    import numpy as np

    noise = np.random.default_rng(1)
    codes = noise.normal(2, 0.5, (750, 1000, 3))
    codes[120:620, 150:820] = colour + noise.normal(0, 1, (500, 670, 3))
    Image.fromarray(codes.clip(0, 255).astype(np.uint8)).save(path)


@pytest.fixture
def bench(answers: Path, tmp_path: Path) -> Iterator[Path]:
    """A folder with the answers and a new record, and the process in it."""
    shutil.copytree(answers, tmp_path, dirs_exist_ok=True)
    with contextlib.chdir(tmp_path):
        assert call("record", "new", SET, "--set", "14-inch monitor, no. 0412").code == 0
        yield tmp_path


def held(path: str = SET) -> Any:
    return json.loads(Path(path).read_text(encoding="utf-8"))


# --- What it is, and what was done ---------------------------------------------------------------------------


def test_a_record_is_begun_with_what_is_known(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything that is typed is in the file, formats by their names."""
    monkeypatch.chdir(tmp_path)
    ran = call(
        *("record", "new", SET, "--set", "14-inch monitor, no. 0412", "--hours", "18200", "--input", "component"),
        *("--input", "RGB and sync, composite", "--accepts", "480i,576i", "--accepts", "480i", "--serial", "HL-7"),
        *(
            "--condition",
            " dim,\n scratched ",
            "--job",
            "26-031",
            "--bench",
            "Harbour Lane Repairs",
            "--technician",
            "M.",
        ),
    )
    assert (ran.code, ran.err) == (0, "")
    assert ran.out == f"{SET}: the record of 14-inch monitor, no. 0412\n"
    record = read_record(Path(SET))
    assert record.set.name == "14-inch monitor, no. 0412"
    assert record.set.hours == 18200
    assert record.set.inputs == ("component", "RGB and sync", "composite")
    assert record.set.formats == ("480i", "576i")
    assert (record.set.serial, record.set.condition) == ("HL-7", "dim, scratched")
    assert (record.job, record.bench, record.technician) == ("26-031", "Harbour Lane Repairs", "M.")
    assert record.unknown == ()


def test_what_is_set_anew_leaves_the_rest(bench: Path) -> None:
    """Given again, a value is replaced, a list as a whole; empty words take it away."""
    assert call("record", "set", SET, "--hours", "5.5 h", "--accepts", "576i", "--condition", "dim").code == 0
    assert call("record", "set", SET, "--hours", "6", "--condition", "").out == f"{SET}: hours, condition set\n"
    record = read_record(Path(SET))
    assert (record.set.hours, record.set.formats, record.set.condition) == (6, ("576i",), "")
    assert record.set.name == "14-inch monitor, no. 0412"


def test_tolerances_are_put_and_taken_away(bench: Path) -> None:
    """By the names that figures have."""
    assert (
        call("record", "set", SET, "--tolerance", "geometry.width_mm=2", "--tolerance", "grey.steps.*.cct=50").code == 0
    )
    assert call("record", "set", SET, "--tolerance", "grey.steps.*.cct=").code == 0
    assert read_record(Path(SET)).tolerances == {"geometry.width_mm": 2.0}


def test_work_is_noted_in_order(bench: Path) -> None:
    """With its day, or with this moment, in ISO 8601."""
    assert call("record", "work", SET, "recapped the  vertical board", "--date", "2026-03-02").code == 0
    ran = call("record", "work", SET, "cleaned", "--json")
    assert json.loads(ran.out) == {"record": SET, "work": 2}
    first, second = read_record(Path(SET)).work
    assert (first.date, first.text, second.text) == ("2026-03-02", "recapped the vertical board", "cleaned")
    assert len(second.date) == len("2026-03-02T10:00:00+01:00")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("new", SET, "--set", "x"), "there is such a file already"),
        (("new", "set.txt", "--set", "x"), "a file name that ends in .json is expected"),
        (("new", "none/set.json", "--set", "x"), "there is no folder"),
        (("new", "set.json"), "Missing option '--set'"),
        (("new", "set.json", "--set", " "), "the set needs a name"),
        (("new", "set.json", "--set", "a\x07b"), "signs that cannot be shown"),
        (("set", SET), "nothing is given to set"),
        (("set", SET, "--hours", "-1"), "--hours: got '-1', a number of hours such as 18200 is expected"),
        (("set", SET, "--hours", "1e400"), "--hours: "),
        (("set", SET, "--accepts", "480x"), "--accepts: "),
        (("set", SET, "--condition", "x" * 2001), "at most 2000 are kept"),
        (("set", SET, "--tolerance", "width=2"), "--tolerance: got 'width=2', a figure and its limit"),
        (("set", SET, "--tolerance", "geometry.width=2"), "'geometry.width'; is 'geometry.width_mm' meant?"),
        (("set", SET, "--tolerance", "foot.length=2"), "no figure is called 'foot.length'; 'trueraster report"),
        (("set", "none.json", "--hours", "1"), "none.json: cannot be read (No such file or directory)"),
        (("work", SET, " "), "say what was done"),
        (("work", SET, "x", "--date", "2026-02-30"), "--date: got '2026-02-30', a day such as 2026-11-26"),
        (("work", SET, "x", "--date", "2999-01-01"), "still to come"),
        (("show", "bars.png"), "line 1, column 1: a byte that is not UTF-8"),
        (("show", "lens.json"), "not a record of a set; 'trueraster record new' makes one"),
        (("show", "."), "not a file"),
        (("add", SET, "later", "geometry.json"), "allowed are as-found, after-adjustment, after-service"),
        (("add", SET, "as-found"), "give a RESULT.json"),
        (("add", SET, "as-found", "none.json"), "none.json: cannot be read"),
        (("add", SET, "as-found", "geometry.json", "bars.png"), "bars.png: a picture; it is attached with --picture"),
        (("add", SET, "as-found", "as-found.csv"), "as-found.csv: line 1, column 1: not JSON, expecting value; give"),
        (("add", SET, "as-found", SET), f"{SET}: a record itself; give what 'verify' or 'measure' prints with --json"),
        (("add", SET, "as-found", "lens.json"), "lens.json: a lens file"),
        (("add", SET, "as-found", "-", "-"), "standard input, -, can be read once"),
        (("add", SET, "as-found", "--picture", "geometry.json"), "geometry.json: no photograph that can be read"),
        (("demo", "--to", SET), "is there already"),
    ],
)
def test_a_mistake_is_one_line_and_changes_nothing(bench: Path, words: tuple[str, ...], told: str) -> None:
    """Exit 2, one line that names what is wrong; all files of the folder keep their bytes."""
    before = _bytes(bench)
    refused("record", *words, told=told)
    assert _bytes(bench) == before


def _bytes(folder: Path) -> dict[str, str]:
    return {str(path): hashlib.sha256(path.read_bytes()).hexdigest() for path in folder.rglob("*") if path.is_file()}


def test_a_newer_record_is_left_alone(bench: Path) -> None:
    """Every command that would change or show it refuses it in one line."""
    Path(SET).write_text(json.dumps({**held(), "version": 7}), encoding="utf-8")
    before = _bytes(bench)
    for words in (
        ("set", SET, "--hours", "1"),
        ("work", SET, "x"),
        ("add", SET, "as-found", "geometry.json"),
        ("show", SET),
    ):
        refused("record", *words, told="a record of version 7, from a newer trueraster; this one knows up to 1")
    assert _bytes(bench) == before


def test_half_of_a_letter_stops_no_command(bench: Path) -> None:
    """A record may hold half of a UTF-16 pair as an escape, in values and in keys, which UTF-8 cannot: every command
    reads it, shows it as that escape, and keeps it."""
    odd = "\ud800 half"
    picture = {"date": "2026-03-02", "name": odd, "caption": odd, "media_type": "image/png", "size_px": [1, 1]}
    result = {**json.loads(Path("geometry.json").read_text(encoding="utf-8")), "finding": odd, odd: odd}
    whole = held()
    whole.update({"work": [{"date": "2026-03-02", "text": odd}], "bench": odd, odd: odd})
    whole["set"] = {"name": odd, "inputs": [odd], "serial": odd, "condition": odd, odd: odd}
    entry = {"kind": "geometry", "date": "2026-03-02", "source": odd, "note": odd, "result": result}
    whole["stages"]["as-found"] = {"results": [entry], "pictures": [{**picture, "data": ""}]}
    Path(SET).write_text(json.dumps(whole), encoding="utf-8")
    for words in (
        ("record", "show", SET),
        ("record", "show", SET, "--json"),
        ("record", "set", SET, "--hours", "5"),
        ("record", "work", SET, "cleaned"),
        ("record", "add", SET, "as-found", "geometry-after.json"),
        ("record", "remove", SET, "as-found", "geometry-after.json"),
        ("report", SET),
    ):
        ran = call(*words)
        assert ran.code == 0, (words, ran.err)
        (ran.out + ran.err).encode()
    assert r"\ud800 half" in call("record", "show", SET).out
    assert r"\ud800 half" in Path(SET).with_suffix(".html").read_text(encoding="utf-8")
    whole["set"]["hours"] = 5
    whole["work"].append(held()["work"][1])
    assert held() == whole
    Path("odd.json").write_text(json.dumps(result), encoding="utf-8")
    assert call("record", "add", SET, "after-service", "odd.json").code == 0
    assert held()["stages"]["after-service"]["results"][0]["result"] == result
    # A key that stands twice is named in letters that can be shown.
    Path(SET).write_text('{"schema": "trueraster-record", "\\ud800": 1, "\\ud800": 2}', encoding="utf-8")
    refused("record", "show", SET, told=SET + r': "\ud800": the key stands twice')


# --- Results -------------------------------------------------------------------------------------------------

ATTACHED = {
    "verify": Kind.VERIFY,
    "moving": Kind.VERIFY,
    "geometry": Kind.GEOMETRY,
    "geometry-bare": Kind.GEOMETRY,
    "convergence": Kind.CONVERGENCE,
    "grey": Kind.GREY,
    "colour": Kind.COLOUR,
    "uniformity": Kind.UNIFORMITY,
}


@pytest.mark.parametrize(("name", "kind"), ATTACHED.items(), ids=ATTACHED)
def test_an_answer_is_known_and_kept_whole(bench: Path, name: str, kind: Kind) -> None:
    """It is told by its keys, stands at its stage with its date, and has not changed."""
    answer = json.loads(Path(f"{name}.json").read_text(encoding="utf-8"))
    assert [one for one in Kind if one is kind_of(answer)] == [kind]
    ran = call("record", "add", SET, "after-service", f"{name}.json", "--date", "2026-03-02", "--note", "warm")
    assert (ran.code, ran.err) == (0, "")
    (entry,) = held()["stages"]["after-service"]["results"]
    assert entry["result"] == answer
    assert {key: value for key, value in entry.items() if key != "result"} == {
        "kind": kind.value,
        "date": "2026-03-02",
        "source": f"{name}.json",
        "note": "warm",
        # The readings' own file says so.
        **({"simulated": True} if name in ("grey", "colour") else {}),
    }
    assert kind.value in call("record", "show", SET, "--json").out


def test_an_answer_of_every_kind_has_key_figures(answers: Path) -> None:
    """Each that was measured has a figure with a value in the summary, and no two figures have one name."""
    for name, kind in ATTACHED.items():
        held = json.loads((answers / f"{name}.json").read_text(encoding="utf-8"))
        figures = read(kind, held)
        assert any(one.quantity.main and one.value is not None for one in figures.values()), name
        assert len(figures) == sum(one.kept for one in quantities_in(kind, held)), name
        assert all(one.quantity.words for one in figures.values())


@pytest.mark.parametrize("name", ["geometry", "convergence", "colour"])
def test_figures_are_those_of_the_answer(answers: Path, name: str) -> None:
    """Every value and uncertainty stands in the answer under the path that its name tells."""
    answer = json.loads((answers / f"{name}.json").read_text(encoding="utf-8"))

    def at(value: Any, path: str) -> Any:
        for part in path.split("."):
            value = value[int(part)] if isinstance(value, list) else value[part]
        return value

    figures = read(name, answer)
    assert len(figures) > 25
    for full, one in figures.items():
        path = full.removeprefix(f"{name}.")
        assert one.value == at(answer, path), path
        assert one.uncertainty == (at(answer["uncertainty"], path) if one.quantity.uncertainty else None), path
        assert one.quantity.unit == (
            "mm"
            if "_mm" in path or path.startswith("parts.")
            else "degrees"
            if path.endswith("_deg")
            else one.quantity.unit
        )


GREY_STEP: dict[str, Any] = {
    "level_percent": 20.0,
    "luminance": 2.1,
    "x": 0.313,
    "y": 0.329,
    "cct": 6500.0,
    "duv": 0.003,
    "delta_uv": 0.004,
    "delta_e_2000": 1.5,
    "gun_percent": {"red": 3.0, "green": -1.0, "blue": -4.0},
}
GREY: dict[str, Any] = {
    "target": {"x": 0.3127, "y": 0.329},
    "steps": [{**GREY_STEP, "level_percent": 0}, GREY_STEP],
    "black_cd_m2": 0.01,
    "white_cd_m2": 100.0,
    "contrast": 10000.0,
    "gamma": 2.4,
    "bt1886_error_percent": 5.0,
    "advice": [],
    "uncertainty": {"steps": [{}, {"delta_uv": 0.001}]},
}
"""The keys of the design, with invented values."""


def test_a_grey_scale_has_its_steps_by_their_level() -> None:
    """A step's figures are named by its level, whatever its place among the steps."""
    assert kind_of(GREY) is Kind.GREY
    assert title_of("grey", GREY) == "Grey scale, white x 0.3127, y 0.329"
    by_name = read("grey", GREY)
    assert by_name["grey.contrast"].value == 10000
    assert (by_name["grey.steps.20.delta_uv"].value, by_name["grey.steps.20.delta_uv"].uncertainty) == (0.004, 0.001)
    assert by_name["grey.steps.20.gun_percent.blue"].value == -4
    shorter = {**GREY, "steps": GREY["steps"][1:]}
    assert read("grey", shorter)["grey.steps.20.delta_uv"].value == 0.004


def test_what_cannot_be_told_has_its_reason(answers: Path) -> None:
    """Without marks there is no width, and the figure says why, in the answer's own words."""
    answer = json.loads((answers / "geometry-bare.json").read_text(encoding="utf-8"))
    by_name = read("geometry", answer)
    width = by_name["geometry.width_mm"]
    assert (width.value, width.reason) == (None, answer["reasons"]["width_mm"])
    assert not by_name["geometry.edge_sag_mm.left"].quantity.main
    assert by_name["geometry.edge_sag_percent.left"].quantity.main


def test_largest_error_of_a_signal_is_in_codes_of_8_bits() -> None:
    """Of 10 bits a code is a quarter of one (BT.601: 219 against 876 codes from black to white)."""
    patches = [
        {"verdict": "pass", "error_codes": [1.0, None, None], "uncertainty_codes": [0.5, None, None]},
        {"verdict": "fail", "error_codes": [0.0, -6.0, 2.0], "uncertainty_codes": [0.1, 0.2, 0.3]},
    ]
    by_name = read("verify", {"signal": {"bits": 10}, "patches": patches})
    largest = by_name["verify.largest_error_codes"]
    assert (largest.value, largest.uncertainty) == (-1.5, 0.05)
    assert by_name["verify.patches_failed"].value == 1


def test_the_same_result_is_attached_once(bench: Path) -> None:
    """A second time it is left out with a note; at another stage it is taken."""
    assert call("record", "add", SET, "as-found", "geometry.json").code == 0
    again = call("record", "add", SET, "as-found", "geometry.json", "convergence.json")
    assert again.code == 0
    assert again.err == "Note: geometry.json is attached as found already; it was left out\n"
    assert call("record", "add", SET, "After Service", "geometry.json").code == 0
    assert [len(held()["stages"][stage]["results"]) for stage in Stage] == [2, 0, 1]


def test_what_was_attached_by_mistake_is_taken_away(bench: Path) -> None:
    """By the name of its file, the last of two; what is not there is one line."""
    call("record", "add", SET, "as-found", "geometry.json", "convergence.json", "--picture", "bars.png")
    call("record", "add", SET, "as-found", "geometry-after.json")
    names = [entry["source"] for entry in held()["stages"]["as-found"]["results"]]
    ran = call("record", "remove", SET, "as-found", "convergence.json")
    assert ran.out == f"{SET}, as found: convergence.json taken away\n"
    assert call("record", "remove", SET, "as-found", "bars.png").code == 0
    content = held()["stages"]["as-found"]
    assert [entry["source"] for entry in content["results"]] == [name for name in names if name != "convergence.json"]
    assert content["pictures"] == []
    refused("record", "remove", SET, "after-service", "geometry.json", told="has no 'geometry.json' after service")


def test_an_answer_comes_through_a_pipe(bench: Path) -> None:
    """Standard input, as '-'."""
    ran = call("record", "add", SET, "as-found", "-", stdin=Path("geometry.json").read_bytes())
    assert ran.code == 0, ran.err
    assert held()["stages"]["as-found"]["results"][0]["source"] == "standard input"
    refused_empty = call("record", "add", SET, "as-found", "-", stdin=b"")
    assert refused_empty.err.startswith("trueraster: standard input: the file is empty; give what")


def test_an_answer_of_both_is_two_results(bench: Path) -> None:
    """What `measure raster` prints is kept as what `measure geometry` and `measure convergence` print."""
    both = {kind: json.loads(Path(f"{kind}.json").read_text(encoding="utf-8")) for kind in ("geometry", "convergence")}
    Path("raster.json").write_text(json.dumps(both), encoding="utf-8")
    assert call("record", "add", SET, "as-found", "raster.json").code == 0
    kept = held()["stages"]["as-found"]["results"]
    assert {entry["kind"]: entry["result"] for entry in kept} == both
    assert "attached as found already" in call("record", "add", SET, "as-found", "geometry.json").err


def test_of_two_files_with_one_name_each_is_said_for_itself(bench: Path) -> None:
    """One is attached already and the other is not, be it from another folder or the other half of `measure raster`."""
    answers = {
        kind: json.loads(Path(f"{kind}.json").read_text(encoding="utf-8")) for kind in ("geometry", "convergence")
    }
    Path("raster.json").write_text(json.dumps(answers), encoding="utf-8")
    Path("other").mkdir()
    Path("other/geometry.json").write_bytes(Path("geometry-after.json").read_bytes())
    assert call("record", "add", SET, "as-found", "geometry.json").code == 0
    for name, kind, source in (
        ("other/geometry.json", "geometry", "geometry.json"),
        ("raster.json", "convergence", "raster.json"),
    ):
        told = json.loads(call("record", "add", SET, "as-found", "geometry.json", name, "--json").out)
        assert told["added"] == [{"kind": kind, "source": source}]
        assert told["left_out"][0] == "geometry.json"
        assert held()["stages"]["as-found"]["results"][-1]["kind"] == kind


def test_answers_of_other_commands_are_told_apart(bench: Path) -> None:
    """What draw, kit and patterns print is no result; the line says what it is."""
    for words, told in (
        (("draw", "bars", "--as", "png"), "the answer of draw"),
        (("kit", "--format", "64x48@60", "--as", "png", "--seconds", "1"), "of a kit"),
        (("levels",), "no result of this tool"),
        (("formats", "480i"), "no result of this tool"),
    ):
        Path("other.json").write_text(call(*words, "--json").out, encoding="utf-8")
        refused("record", "add", SET, "as-found", "other.json", told=f"other.json: {told}; give what")


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.data())
def test_a_broken_answer_is_attached_whole_or_refused(bench: Path, data: st.DataObject) -> None:
    """An answer with bytes changed is refused in one line or kept as it is, and the record can be shown after."""
    text = bytearray(Path("verify.json").read_bytes())
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(text) - 1))
        text[at : at + data.draw(st.integers(0, 3))] = data.draw(st.binary(max_size=3))
    Path("broken.json").write_bytes(text)
    before = Path(SET).read_bytes()
    ran = call("record", "add", SET, "as-found", "broken.json")
    assert ran.code in (0, 2)
    assert ran.err.count("\n") <= 1
    if ran.code == 2:
        assert Path(SET).read_bytes() == before
    else:
        assert held()["stages"]["as-found"]["results"][-1]["result"] == json.loads(text)
        assert call("record", "show", SET, "--all").code == 0
        Path(SET).write_bytes(before)


# --- Pictures ------------------------------------------------------------------------------------------------


def kept(name: str = SET) -> Any:
    (picture,) = read_record(Path(name)).stages[Stage.AS_FOUND].pictures
    return picture


def test_a_photograph_is_kept_small_upright_and_bare(bench: Path) -> None:
    """Its longer side is 1600 samples, it stands upright, its colours are there, its place and camera are not."""
    notes = Image.Exif()
    notes[0x0112], notes[0x010F], notes[0x8825] = 6, "a camera", {1: "N", 2: (53.0, 30.0, 0.0)}  # EXIF 2.3, from memory
    image = Image.new("RGB", (2400, 1200), (200, 40, 30))
    image.paste((30, 40, 200), (0, 0, 1200, 1200))
    image.save("photo.jpg", exif=notes, quality=95)
    data = Path("photo.jpg").read_bytes()
    ran = call("record", "add", SET, "as-found", "--picture", "photo.jpg", "--caption", "the front")
    assert ran.out == f"{SET}, as found: picture photo.jpg\n"
    picture = kept()
    assert (picture.name, picture.caption, picture.media_type) == ("photo.jpg", "the front", "image/jpeg")
    assert picture.size_px == (LONGEST // 2, LONGEST)
    assert picture.original == {"size_px": [2400, 1200], "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
    with Image.open(io.BytesIO(picture.data)) as seen:
        assert seen.size == picture.size_px
        assert not seen.getexif()
        # Orientation 6: the first column becomes the top row, so blue from the left comes to lie above.
        for at, colour in (((400, 200), (30, 40, 200)), ((400, 1400), (200, 40, 30))):
            found = seen.convert("RGB").getpixel(at)
            assert isinstance(found, tuple)
            assert all(abs(got - wanted) < 6 for got, wanted in zip(found, colour, strict=True))


def test_a_plot_stays_without_loss(bench: Path) -> None:
    """A small PNG is a PNG again with the same samples, one of few colours too; a noisy one becomes a JPEG."""
    image = Image.new("RGB", (300, 200), (250, 250, 250))
    image.paste((10, 90, 200), (20, 20, 200, 23))
    image.convert("P").save("plot.png")
    assert call("record", "add", SET, "as-found", "--picture", "plot.png").code == 0
    with Image.open(io.BytesIO(kept().data)) as seen, Image.open("plot.png") as given:
        assert kept().media_type == "image/png"
        assert seen.convert("RGB").tobytes() == given.convert("RGB").tobytes()
    Image.effect_noise((1500, 1000), 90).save("noise.png")
    assert call("record", "new", "second.json", "--set", "x").code == 0
    assert call("record", "add", "second.json", "as-found", "--picture", "noise.png").code == 0
    assert kept("second.json").media_type == "image/jpeg"


def test_a_photograph_of_noise_is_kept(bench: Path) -> None:
    """In full colour it has more bytes than pixels as a JPEG, which an encoder's buffer has to have room for."""
    noise = np.random.default_rng(1).integers(0, 256, (1200, LONGEST, 3), dtype=np.uint8)
    Image.fromarray(noise).save("noise.png", compress_level=0)
    ran = call("record", "add", SET, "as-found", "--picture", "noise.png")
    assert (ran.code, ran.out, ran.err) == (0, f"{SET}, as found: picture noise.png\n", "")
    assert len(kept().data) > LONGEST * 1200
    with Image.open(io.BytesIO(kept().data)) as seen:
        seen.load()
        assert (seen.mode, seen.size) == ("RGB", (LONGEST, 1200))
        # Colour at full size: ITU-T T.81, B.2.2, sampling factors of the components.
        assert [component[1:3] for component in seen.layer] == [(1, 1)] * 3  # type: ignore[attr-defined]
    assert call("report", SET, "--to", "report.html").code == 0


def test_grey_of_16_bits_is_not_cut(bench: Path) -> None:
    """Half of 65535 becomes half of 255, not white."""
    Image.new("I;16", (64, 64), 32768).save("grey.png")
    assert call("record", "add", SET, "as-found", "--picture", "grey.png").code == 0
    with Image.open(io.BytesIO(kept().data)) as seen:
        assert seen.convert("L").getpixel((32, 32)) == 128


@pytest.mark.parametrize("kind", ["cut", "svg", "huge", "empty", "none"])
def test_a_picture_that_cannot_be_kept_is_one_line(bench: Path, kind: str) -> None:
    """Broken off, a drawing, larger than anything, empty, not there; the record is as it was."""
    Image.new("RGB", (640, 480)).save("x.jpg")
    if kind == "cut":
        Path("x.jpg").write_bytes(Path("x.jpg").read_bytes()[:1200])
    elif kind == "svg":
        Path("x.jpg").write_text('<?xml version="1.0"?><svg/>', encoding="utf-8")
    elif kind == "huge":
        data = bytearray(Path("x.jpg").read_bytes())
        # The frame header: height and width 5 bytes after its marker (ITU-T T.81, B.2.2, from memory).
        at = data.index(b"\xff\xc0") + 5
        data[at : at + 4] = b"\xff\xff\xff\xff"
        Path("x.jpg").write_bytes(data)
    elif kind == "empty":
        Path("x.jpg").write_bytes(b"")
    else:
        Path("x.jpg").unlink()
    before = Path(SET).read_bytes()
    refused("record", "add", SET, "as-found", "--picture", "x.jpg", told="x.jpg: ")
    assert Path(SET).read_bytes() == before


# --- Showing -------------------------------------------------------------------------------------------------


def shown(*words: str) -> str:
    ran = call("record", "show", SET, *words)
    assert (ran.code, ran.err) == (0, "")
    return ran.out


def test_stages_stand_side_by_side(bench: Path) -> None:
    """One row has a figure as found and after adjustment, in columns that line up; each as the answers have it, in the
    digits that its uncertainty of 0.3 mm leaves."""
    call("record", "add", SET, "as-found", "geometry.json", "convergence.json")
    call("record", "add", SET, "after-adjustment", "geometry-after.json")
    text = shown()
    lines = text.splitlines()
    (head,) = [line for line in lines if line.startswith("figure") and "after adjustment" in line]
    (row,) = [line for line in lines if line.startswith("width of the picture")]
    before, after = (
        json.loads(Path(f"{name}.json").read_text())["width_mm"] for name in ("geometry", "geometry-after")
    )
    assert row[head.index("as found") :].split()[0] == f"{before:.1f}"
    assert row[head.index("after adjustment") :].split()[0] == f"{after:.1f}"
    assert row[head.index("unit") :] == "mm"
    assert "Convergence, crosshatch in 480i" in lines
    assert max(map(len, lines)) <= 120
    assert len(shown("--all").splitlines()) > len(lines) + 50


def test_another_subject_is_not_held_against_the_first(bench: Path) -> None:
    """Bars and the moving bar are two tables; of two results of one stage the last one counts."""
    call("record", "add", SET, "as-found", "verify.json", "moving.json", "geometry.json", "geometry-after.json")
    record = read_record(Path(SET))
    assert [one.title for one in comparisons(record)] == [
        "Signal, bars in 480i",
        "Signal, field-order in 480i",
        "Geometry, crosshatch in 480i",
    ]
    text = shown()
    assert "the last of 2 results" in text
    width = json.loads(Path("geometry-after.json").read_text(encoding="utf-8"))["width_mm"]
    assert f"{width:.1f}" in text


def test_an_empty_record_says_what_comes_next(bench: Path) -> None:
    """Its name, its file, and how results get into it."""
    text = shown()
    assert text.startswith("14-inch monitor, no. 0412\n")
    assert "Nothing is measured yet: 'trueraster record add'" in text


def test_what_is_not_known_is_named_and_shown_as_such(bench: Path) -> None:
    """Keys of another program are named; a measurement of another kind is kept and said so."""
    whole = held()
    whole["stages"]["as-found"]["results"] = [{"kind": "hum", "date": "2026-03-02", "result": {"x": 1}}]
    Path(SET).write_text(json.dumps({**whole, "shelf": 4}), encoding="utf-8")
    text = shown()
    assert "Kept, but not known here: shelf" in text
    assert "Hum\n  as found: 2026-03-02\n  A measurement that this version does not know; it is kept." in text


def test_json_of_a_record_has_its_figures(bench: Path) -> None:
    """One object; of each result its figures, of each picture what it is, without its bytes."""
    Image.new("RGB", (64, 48)).save("p.png")
    call("record", "add", SET, "as-found", "geometry.json", "--picture", "p.png", "--simulated")
    told = json.loads(shown("--json"))
    assert told["set"]["name"] == "14-inch monitor, no. 0412"
    assert told["simulated"] is True
    (result,) = told["stages"]["as-found"]["results"]
    assert (result["kind"], result["subject"], result["simulated"]) == ("geometry", "crosshatch in 480i", True)
    figures = {one["id"]: one for one in result["figures"]}
    answer = json.loads(Path("geometry.json").read_text(encoding="utf-8"))
    assert figures["geometry.rotation_deg"]["value"] == answer["rotation_deg"]
    assert figures["geometry.rotation_deg"]["uncertainty"] == answer["uncertainty"]["rotation_deg"]
    (picture,) = told["stages"]["as-found"]["pictures"]
    assert picture["size_px"] == [64, 48]
    assert "data" not in picture


@pytest.mark.parametrize(
    ("value", "uncertainty", "signed", "decimals", "told"),
    [
        # To the first digit of the uncertainty, to the second where that is 1 (JCGM 100:2008, 7.2.6, from memory).
        (409.0435, 0.0546, False, None, ("409.04", "0.05")),
        (1.5737, 0.0104, True, None, ("+1.574", "0.010")),
        (0.0, 0.0, False, None, ("0", "")),
        (0.00421, 0.00031, False, None, ("0.0042", "0.0003")),
        (3.0, None, False, 0, ("3", "")),
        (123.456, None, True, None, ("+123.5", "")),
        (0.01234, None, False, None, ("0.0123", "")),
        (None, None, True, None, ("-", "")),
    ],
)
def test_a_figure_has_the_digits_that_count(
    value: float | None, uncertainty: float | None, signed: bool, decimals: int | None, told: tuple[str, str]
) -> None:
    """By hand."""
    one = Figure(Quantity("a.b", "", signed=signed, decimals=decimals), value, uncertainty)
    assert value_text(one) == told


# --- The demo ------------------------------------------------------------------------------------------------


def test_the_demo_says_that_it_is_simulated(demo: Record) -> None:
    """At its head, at every result and at every picture."""
    assert demo.simulated.startswith("Simulation: an invented set.")
    for content in demo.stages.values():
        assert all(result.simulated for result in content.results)
        assert all(picture.caption.startswith("Simulation") for picture in content.pictures)
    text = record_text(demo, everything=False)
    assert "Simulation: an invented set." in text.splitlines()[1]


def test_the_demo_is_whole(demo: Record) -> None:
    """Before and after of every measurement, with pictures, better after than before, and no path of a machine."""
    compared = {one.kind: one for one in comparisons(demo)}
    for kind in ("geometry", "convergence", "colour"):
        assert set(compared[kind].results) == {Stage.AS_FOUND, Stage.AFTER_ADJUSTMENT}
    assert compared["verify"].last[Stage.AS_FOUND].result["verdict"] == "pass"
    for name in (
        "geometry.edge_sag_mm.left",
        "geometry.rotation_deg",
        "convergence.overall_max_mm",
        "colour.white.delta_uv",
    ):
        row = compared[name.split(".")[0]].rows()[name]
        before, after = row[Stage.AS_FOUND].value, row[Stage.AFTER_ADJUSTMENT].value
        assert before is not None
        assert after is not None
        assert abs(after) < 0.5 * abs(before), name
    assert all(len(demo.stages[stage].pictures) == 4 for stage in compared["geometry"].results)
    assert compared["colour"].title == "Colour, SMPTE C (525 lines), white D65"
    assert demo.unknown == ()
    text = demo.path.read_text(encoding="utf-8")
    assert str(demo.path.parent.parent) not in text
    assert "/tmp" not in text


def test_what_says_of_itself_that_it_is_simulated_is_kept_so(bench: Path) -> None:
    """A file of readings that begins with SIMULATION is no real set's, whether or not --simulated was typed."""
    call("record", "add", SET, "as-found", "grey.json")
    (entry,) = held()["stages"]["as-found"]["results"]
    assert entry["simulated"] is True
    call("record", "add", SET, "as-found", "geometry.json")
    assert "simulated" not in held()["stages"]["as-found"]["results"][1]
