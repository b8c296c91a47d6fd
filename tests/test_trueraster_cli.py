"""The command line as people and programs use it."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
import tomllib
from pathlib import Path
from typing import Any

import av
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from trueraster.cli import run

TRUERASTER = [sys.executable, "-c", "from trueraster.cli import main; main()"]
VECTORS = Path(__file__).parent / "vectors"


def answer(capsys: pytest.CaptureFixture[str], *arguments: str, code: int = 0) -> Any:
    """The one JSON object that a command prints, and nothing else on standard output."""
    assert run([*arguments, "--json"]) == code
    return json.loads(capsys.readouterr().out)


def mistake(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """The one line that bad input gives; nothing on standard output, exit code 2."""
    assert run(list(arguments)) == 2
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err.count("\n") == 1
    assert told.err.startswith("trueraster")
    assert "Traceback" not in told.err
    return told.err


# --- patterns, formats, levels ------------------------------------------------------------------------------


def test_patterns(capsys: pytest.CaptureFixture[str]) -> None:
    """The list has every pattern in the order of work; one pattern tells what it is for."""
    listed = answer(capsys, "patterns")["patterns"]
    assert [item["id"] for item in listed] == list(PATTERNS)
    assert [item["order"] for item in listed] == sorted(item["order"] for item in listed)
    assert run(["patterns", "dots"]) == 0
    assert "no coloured edge" in capsys.readouterr().out


def test_formats_equal_the_kernels_timings(capsys: pytest.CaptureFixture[str]) -> None:
    """Totals add up for every format, and the modes of linux/v4l2-dv-timings.h are told as it has them."""
    listed = {item["id"]: item for item in answer(capsys, "formats")["formats"]}
    assert list(listed) == list(FORMATS)
    for item in listed.values():
        for axis in ("h", "v"):
            parts = [item[axis][key] for key in ("active", "front_porch", "sync", "back_porch")]
            assert sum(parts) == item[axis]["total"]
        assert item["pixel_clock_hz"] / item["h"]["total"] == pytest.approx(item["line_rate_hz"])
    text = (VECTORS / "v4l2_dv_timings.toml").read_text(encoding="utf-8")
    assert "v4l2-dv-timings.h" in text
    assert tomllib.loads(text)
    # 720p60 of the header: 74.25 MHz, 110/40/220, 5/5/20.
    assert listed["720p60"]["pixel_clock_hz"] == 74_250_000
    assert [listed["720p60"]["h"][key] for key in ("front_porch", "sync", "back_porch")] == [110, 40, 220]
    assert [listed["720p60"]["v"][key] for key in ("front_porch", "sync", "back_porch")] == [5, 5, 20]


# Picture %, component mV, mV of 714 with setup, IRE with setup; SMPTE/EBU N10 and SMPTE 170M, computed from 700 mV,
# 1/140 V and 7.5 + 0.925 P.
LEVELS = [
    (-4, -28, 27.142857, 3.8),
    (0, 0, 53.571429, 7.5),
    (50, 350, 383.928571, 53.75),
    (75, 525, 549.107143, 76.875),
]


@pytest.mark.parametrize(("percent", "component", "setup", "ire"), LEVELS)
def test_levels(capsys: pytest.CaptureFixture[str], percent: int, component: float, setup: float, ire: float) -> None:
    """One level in every unit, from any of them."""
    for text in (f"{percent}%", f"{component}mV", f"{ire}IRE", f"{setup}mV-setup"):
        (level,) = answer(capsys, "levels", text)["levels"]
        assert level["percent"] == pytest.approx(percent, abs=1e-6)
        assert level["millivolts"] == pytest.approx(component, abs=1e-5)
        assert level["millivolts_714_setup"] == pytest.approx(setup, abs=1e-5)
        assert level["ire_setup"] == pytest.approx(ire, abs=1e-6)


def test_levels_of_codes(capsys: pytest.CaptureFixture[str]) -> None:
    """Codes are read with their depth, and a level that has no code is told as clipped."""
    white, grey, top = answer(capsys, "levels", "10:940", "8:126", "109%")["levels"]
    assert (white["percent"], white["code_8"]) == (100, 235)
    assert grey["percent"] == pytest.approx(100 * 110 / 219)
    assert (top["code_8"], top["code_10"]) == (254, 1019)
    assert run(["levels", "109%"]) == 0
    assert "254*" in capsys.readouterr().out


# --- draw and verify ----------------------------------------------------------------------------------------


def test_draw_with_nothing_but_a_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """480i, a still and a clip of a minute, into outputs."""
    monkeypatch.chdir(tmp_path)
    assert run(["draw", "bars"]) == 0
    assert sorted(p.name for p in (tmp_path / "outputs").iterdir()) == ["bars_480i_full.png", "bars_480i_narrow.mp4"]
    with av.open("outputs/bars_480i_narrow.mp4") as container:
        assert container.duration is not None
        assert container.duration / av.time_base == pytest.approx(60, abs=0.05)
    assert "exact" in capsys.readouterr().out


def test_json_of_draw(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The keys that other programs read."""
    files = answer(
        capsys, "draw", "bars", "steps", "--as", "png", "--as", "ffv1", "--seconds", "0.1", "--to", str(tmp_path)
    )
    assert len(files["files"]) == 4
    for item in files["files"]:
        assert {"path", "pattern", "format", "carrier", "range", "bits", "sha256", "proof"} <= item.keys()
        assert {"verdict", "max_error_codes", "samples"} <= item["proof"].keys()
        assert item["proof"]["verdict"] == "exact"
        assert Path(item["path"]).exists()


def test_grid_at_a_chosen_resolution(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """1024 x 768 with 16 x 12 cells: 64 samples by 64 lines each, square."""
    (item,) = answer(
        capsys, "draw", "crosshatch", "--format", "1024x768@60", "--cells", "16x12", "--to", str(tmp_path)
    )["files"]
    with av.open(item["path"]) as container:
        frame = next(container.decode(video=0)).to_ndarray()[:, :, 0]
    assert frame.shape == (768, 1024)
    columns = [x for x in range(1024) if frame[32, x] == 255]
    rows = [y for y in range(768) if frame[y, 32] == 255]
    assert columns == sorted({x for k in range(17) for x in (64 * k - 1, 64 * k) if 0 <= x < 1024})
    assert rows == sorted({y for k in range(13) for y in (64 * k - 1, 64 * k) if 0 <= y < 768})


def test_standard_output_is_the_file(tmp_path: Path) -> None:
    """--to - sends the bytes that the file would have."""
    words = ["draw", "bars", "--as", "y4m", "--format", "320x240@60", "--seconds", "0.05"]
    sent = subprocess.run([*TRUERASTER, *words, "--to", "-"], capture_output=True, check=True).stdout
    assert run([*words, "--to", str(tmp_path / "frames.y4m")]) == 0
    assert sent == (tmp_path / "frames.y4m").read_bytes()


@pytest.mark.parametrize("fmt", ["480i", "720p50"])
def test_own_files_verify_without_options(tmp_path: Path, fmt: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every pattern, as a still and as a clip, says itself what it shows, and passes; a moving one has no patches."""
    still = [name for name in PATTERNS if name != "field-order"]
    listed = answer(capsys, "draw", *still, "--format", fmt, "--seconds", "0.1", "--to", str(tmp_path))["files"]
    assert len(listed) == 2 * len(still)
    for item in listed:
        result = answer(capsys, "verify", item["path"], "--tolerance", "0.5" if "ramp" in item["path"] else "0")
        assert result["verdict"] == "pass", item["path"]
        assert (result["pattern"], result["format"]) == (item["pattern"], fmt)
        assert result["signal"]["range"] == item["range"]
        assert result["patches"]
        assert result["faults"] == []


def test_options_are_carried_in_the_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Level, area, colour, bars and cells come back from the file's own words."""
    for words in (
        ["window", "--level", "62.5", "--area", "30"],
        ["field", "--colour", "red", "--level", "50"],
        ["bars", "--bars", "75/0/75/0"],
        ["crosshatch", "--cells", "8x6", "--level", "40"],
        ["bars", "--matrix", "709", "--aspect", "16:9"],
    ):
        for item in answer(capsys, "draw", *words, "--seconds", "0.1", "--to", str(tmp_path))["files"]:
            assert answer(capsys, "verify", item["path"], "--tolerance", "0")["verdict"] == "pass", words


def test_what_is_wrong_fails(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Another pattern, another range, another level: exit 1, and the JSON says where."""
    path = answer(capsys, "draw", "bars", "--as", "png", "--to", str(tmp_path))["files"][0]["path"]
    for words in (["--pattern", "steps"], ["--range", "narrow"], ["--bars", "75/0/75/0"]):
        result = answer(capsys, "verify", path, *words, code=1)
        assert result["verdict"] == "fail"
        assert {patch["verdict"] for patch in result["patches"]} >= {"fail"}
    assert run(["verify", path, "--range", "narrow"]) == 1
    assert "FAIL: 8 of 8 patches" in capsys.readouterr().out


def test_an_own_pattern_is_drawn_and_verified(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A TOML file stands wherever a pattern's name does; its files ask for it by name."""
    own = tmp_path / "my pattern.toml"
    own.write_text(
        '[[shape]]\nkind="box"\nleft=20\ntop=20\nright=80\nbottom=80\ncolour=40\n'
        '[[patch]]\nname="box"\nleft=20\ntop=20\nright=80\nbottom=80\ncolour=40\n',
        encoding="utf-8",
    )
    for item in answer(capsys, "draw", str(own), "--seconds", "0.1", "--to", str(tmp_path))["files"]:
        assert answer(capsys, "verify", item["path"], "--pattern", str(own))["verdict"] == "pass"
        assert "own pattern my-pattern" in mistake(capsys, "verify", item["path"])


def test_names_with_spaces_and_other_letters(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Folders and files may be called anything."""
    folder = tmp_path / "ein Gerät – 測試 %d 100%"
    for item in answer(capsys, "draw", "bars", "--seconds", "0.1", "--to", str(folder))["files"]:
        assert answer(capsys, "verify", item["path"])["verdict"] == "pass"


# --- Mistakes -----------------------------------------------------------------------------------------------

MISTAKES = [
    (["draw"], "PATTERN"),
    (["draw", "crossh"], "crosshatch"),
    (["draw", "bars", "--format", "999i"], "999i"),
    (["draw", "bars", "--format", "1x1@60"], "2 to 8192"),
    (["draw", "bars", "--format", "16384x16384@60"], "2 to 8192"),
    (["draw", "bars", "--format", "8192x8192@60"], "36000000"),
    (["draw", "bars", "--format", "480i", "--aspect", "5:4"], "aspect"),
    (["draw", "bars", "--format", "1023x768@60", "--as", "h264"], "even width"),
    (["draw", "bars", "--format", "640x482i@60", "--as", "h264"], "multiple of 4"),
    (["draw", "bars", "--range", "wide"], "narrow, full"),
    (["draw", "bars", "--matrix", "2020"], "601, 709"),
    (["draw", "bars", "--bits", "9"], "holds 8"),
    (["draw", "bars", "--sampling", "411"], "420"),
    (["draw", "bars", "--as", "gif"], "png"),
    (["draw", "bars", "--as", "h264", "--bits", "10"], "h264 cannot hold 10"),
    (["draw", "bars", "--seconds", "0"], "--seconds"),
    (["draw", "bars", "--seconds", "-1"], "--seconds"),
    (["draw", "bars", "--seconds", "nan"], "--seconds"),
    (["draw", "bars", "--seconds", "1e9"], "--seconds"),
    (["draw", "bars", "--edges", "soft"], "shaped, hard"),
    (["draw", "crosshatch", "--cells", "abc"], "16x12"),
    (["draw", "crosshatch", "--cells", "0x0"], "--cells"),
    (["draw", "crosshatch", "--cells", "9999x9999"], "--cells"),
    (["draw", "bars", "--cells", "16x12"], "does not take it"),
    (["draw", "window", "--level", "200"], "--level"),
    (["draw", "window", "--level", "x"], "--level"),
    (["draw", "window", "--area", "0"], "--area"),
    (["draw", "field", "--colour", "pink"], "--colour"),
    (["draw", "bars", "--bars", "1/2/3/4"], "--bars"),
    (["draw", "bars", "steps", "--to", "one.png"], "one file"),
    (["draw", "bars", "--as", "png", "--to", "one.mp4"], ".png"),
    (["draw", "bars", "--as", "png", "--to", "-"], "y4m"),
    (["draw", "bars", "steps", "--as", "y4m", "--to", "-"], "one pattern"),
    (["draw", "none.toml"], "none.toml"),
    (["verify", "none.png"], "none.png"),
    (["verify", "."], "directory"),
    (["verify", "empty"], "empty"),
    (["verify", "text.png"], "no picture"),
    (["verify", "foreign.png"], "--pattern"),
    (["verify", "foreign.png", "--pattern", "bars"], "--format"),
    (["verify", "foreign.png", "--pattern", "bars", "--format", "480i", "--frame", "1"], "frame 1"),
    (["verify", "foreign.png", "--pattern", "bars", "--format", "480i", "--tolerance", "-1"], "--tolerance"),
    (["levels", "x"], "'x'"),
    (["levels", "8:256"], "0 to 255"),
    (["formats", "1080"], "1080"),
    (["patterns", "none"], "none"),
    (["draw", "bars", "--nothing"], "--nothing"),
    (["nothing"], "nothing"),
]


@pytest.mark.parametrize(("words", "told"), MISTAKES)
def test_a_mistake_is_one_line_and_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], words: list[str], told: str
) -> None:
    """Bad input: exit 2, one line that names what is wrong, nothing written."""
    from PIL import Image

    monkeypatch.chdir(tmp_path)
    Path("empty").touch()
    Path("text.png").write_text("not a picture", encoding="utf-8")
    Image.new("RGB", (300, 200)).save("foreign.png")
    before = sorted(p.name for p in tmp_path.rglob("*"))
    assert told in mistake(capsys, *words)
    assert sorted(p.name for p in tmp_path.rglob("*")) == before


def test_places_that_take_no_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file where a folder should be, and a folder that cannot be made: one line, exit 2."""
    (tmp_path / "file").touch()
    mistake(capsys, "draw", "bars", "--as", "png", "--to", str(tmp_path / "file"))
    mistake(capsys, "draw", "bars", "--as", "png", "--to", str(tmp_path / "file" / "below"))
    mistake(capsys, "draw", "bars", "--as", "png", "--to", "/proc/nothing")


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount a small disk")
def test_a_full_disk(tmp_path: Path) -> None:
    """A disk that is too small for the clip: one line, exit 2, and nothing is left on it."""
    small = tmp_path / "small"
    small.mkdir()
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(small)], capture_output=True, check=False
    ).returncode:
        pytest.skip("no disk can be mounted here")
    try:
        for carrier in ("ffv1", "y4m", "h264"):
            words = ["draw", "circles", "--as", carrier, "--seconds", "20", "--to", str(small)]
            done = subprocess.run([*TRUERASTER, *words], capture_output=True, text=True, check=False)
            assert done.returncode == 2, done.stderr
            assert done.stderr.count("\n") == 1
            assert not list(small.iterdir())
    finally:
        subprocess.run(["umount", str(small)], check=True)


# --- Kills --------------------------------------------------------------------------------------------------

CLIPS = ["draw", "circles", "bars", "steps", "--format", "1080p59.94", "--as", "h264", "--seconds", "2"]


def kill_and_check(folder: Path, delay: float, how: signal.Signals) -> int:
    """Start drawing, stop it after `delay` seconds, and verify whatever has a final name."""
    process = subprocess.Popen(
        [*TRUERASTER, *CLIPS, "--to", str(folder)], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
    )
    time.sleep(delay)
    process.send_signal(how)
    words = process.communicate()[1].decode()
    assert "Traceback" not in words
    for path in folder.glob("*.mp4"):
        assert run(["verify", str(path)]) == 0
        with av.open(str(path)) as container:
            assert sum(1 for packet in container.demux(video=0) if packet.size) == 120
    return int(process.returncode)


def test_a_kill_leaves_no_unproved_file(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Killed at random moments, a run leaves only proved files; the next one completes and clears what was left."""
    rng = random.Random(1)
    for _ in range(8):
        kill_and_check(tmp_path, rng.uniform(0.1, 2.5), signal.SIGKILL)
    # A drawing program that outlived its parent by a moment may still hold its folder.
    time.sleep(0.5)
    assert run([*CLIPS, "--to", str(tmp_path)]) == 0
    assert len(list(tmp_path.glob("*.mp4"))) == 3
    assert not list(tmp_path.glob(".trueraster-*"))
    capsys.readouterr()


def test_an_interrupt_is_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Ctrl-C: exit 130, nothing unfinished is left."""
    codes = {kill_and_check(tmp_path, delay, signal.SIGINT) for delay in (0.8, 1.2)}
    # The signal may come before Python listens, or after the work is done.
    assert codes <= {130, 0, -signal.SIGINT}
    assert not list(tmp_path.glob(".trueraster-*"))
    capsys.readouterr()


# --- Help and fuzz ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("command", [[], ["patterns"], ["formats"], ["levels"], ["draw"], ["verify"]])
def test_help_fits_a_terminal(command: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """No line of help is longer than 80 columns."""
    assert run([*command, "--help"]) == 0
    text = capsys.readouterr().out
    assert "Usage: trueraster" in text
    assert max(len(line) for line in text.splitlines()) <= 80


WORDS = ["draw", "verify", "levels", "formats", "patterns", "bars", "crosshatch", "window", "field", "--json", "--help"]
WORDS += ["--format", "320x240@60", "160x120i@50", "480i", "--as", "png", "y4m", "ffv1", "--bits", "8", "10", "--range"]
WORDS += ["full", "narrow", "--cells", "4x3", "--level", "50", "--colour", "red", "--edges", "hard", "--", "-", "x.png"]
WORDS += [
    "75%",
    "8:180",
    "-5",
    "",
    " ",
    "é",
    "../..",
    "*",
    "0",
    "nan",
    "1e400",
    "--frame",
    "--tolerance",
    "--aspect",
    "4:3",
]


@settings(max_examples=250, suppress_health_check=list(HealthCheck))
@given(
    st.lists(
        st.one_of(st.sampled_from(WORDS), st.text(st.characters(exclude_characters="\0"), max_size=12)), max_size=9
    )
)
def test_any_arguments_end_well(words: list[str]) -> None:
    """Whatever is typed, the command ends with 0, 1 or 2 and without an exception."""
    if "draw" in words:
        # Short work into a passing folder, whatever else is asked.
        words = [*words, "--seconds", "0.02", "--to", "fuzz-outputs"]
        if not {"320x240@60", "160x120i@50"} & set(words):
            words += ["--format", "160x120@50"]
    import tempfile

    here = Path.cwd()
    with tempfile.TemporaryDirectory() as folder:
        os.chdir(folder)
        try:
            assert run(words) in (0, 1, 2)
        finally:
            os.chdir(here)
