"""The command as a user and a program meet it: exit codes, JSON, one line for each mistake, and whole files only."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import random
import re
import shlex
import signal
import subprocess
import sys
import textwrap
import threading
import time
import tomllib
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import click
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from render.proof import Proof, Verdict
from tests.matrix import quick_and_slow
from trueraster.cli import app, run
from trueraster.options.daily import DailyFirst
from trueraster.output.terminal import progress

MODES: dict[str, dict[str, Any]] = tomllib.loads(
    (Path(__file__).parent / "vectors" / "v4l2_dv_timings.toml").read_text(encoding="utf-8")
)["modes"]
SCRIPT = Path(sys.executable).with_name("trueraster")
COMMANDS = {name: app.get_command(click.Context(app), name) for name in app.list_commands(click.Context(app))}
PROGRAM = [str(SCRIPT)] if SCRIPT.exists() else [sys.executable, "-c", "from trueraster.cli import main; main()"]
KILLED = ["draw", "circles", "bars", "--format", "1080p59.94", "--as", "h264", "--to"]
FINAL = ("circles_1080p59.94_narrow.mp4", "bars_1080p59.94_narrow.mp4")
OWN = """
title = "Own"
background = "grey 20"
[[shape]]
kind = "disc"
x = 50
y = 50
radius = 30
colour = "red 75"
[[patch]]
name = "disc"
left = 42
top = 42
right = 58
bottom = 58
colour = "red 75"
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """What one command line gave."""

    code: int
    out: bytes
    err: str

    @property
    def text(self) -> str:
        return self.out.decode("utf-8")

    @property
    def json(self) -> dict[str, Any]:
        """Standard output as exactly one JSON object on one line; NaN is no JSON."""
        assert self.out.count(b"\n") == 1, self.out[:200]
        answer = json.loads(self.out, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
        assert isinstance(answer, dict)
        return answer


def call(*arguments: str | Path) -> Ran:
    """Run a command line in this process."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run([str(argument) for argument in arguments])
    written, told = (stream.buffer.getvalue() for stream in (out, err))
    return Ran(code=code, out=written, err=told.decode("utf-8"))


def start(*arguments: str | Path, **choices: Any) -> Ran:
    """Run a command line as a process."""
    done = subprocess.run([*PROGRAM, *map(str, arguments)], capture_output=True, timeout=60, **choices)
    return Ran(code=done.returncode, out=done.stdout, err=done.stderr.decode("utf-8", "replace"))


def check_mistake(ran: Ran, *words: str) -> None:
    """Exit 2, nothing on standard output, one line on standard error that says the words."""
    assert ran.code == 2, ran
    assert ran.out == b""
    assert ran.err.endswith("\n")
    assert ran.err.count("\n") == 1, ran.err
    assert "Traceback" not in ran.err
    for word in words:
        assert word in ran.err, ran.err


def listing(folder: Path) -> dict[str, bytes | None]:
    """Everything in a folder: the bytes of files, None for folders."""
    return {str(p.relative_to(folder)): p.read_bytes() if p.is_file() else None for p in sorted(folder.rglob("*"))}


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


# --- Drawing, as it is meant ---------------------------------------------------------------------------------


def test_a_pattern_alone_gives_a_still_and_a_clip_of_a_minute(here: Path) -> None:
    """`draw PATTERN` in an empty folder makes a PNG and an MP4 of 60 s in outputs, and nothing else."""
    ran = start("draw", "crosshatch", cwd=here)
    assert ran.code == 0, ran.err
    names = {"crosshatch_480i_full.png", "crosshatch_480i_narrow.mp4"}
    assert {path.name for path in (here / "outputs").iterdir()} == names
    assert {path.name for path in here.iterdir()} == {"outputs"}
    assert all(name in ran.text for name in names)
    with av.open(str(here / "outputs" / "crosshatch_480i_narrow.mp4")) as container:
        # 30000/1001 frames a second: 60 s within one frame, exact arithmetic.
        assert abs(container.streams.video[0].frames - 60 * Fraction(30000, 1001)) < 1


def test_a_computer_raster_gives_a_still_alone(here: Path) -> None:
    """`draw crosshatch --format 1024x768@60 --cells 16x12` draws one PNG whose cells are 64 samples wide and high."""
    ran = call("draw", "crosshatch", "--format", "1024x768@60", "--cells", "16x12")
    assert ran.code == 0, ran.err
    (path,) = (here / "outputs").iterdir()
    assert path.suffix == ".png"
    with Image.open(path) as image:
        picture = np.asarray(image)
    assert picture.shape == (768, 1024, 3)
    # 1024 / 16 and 768 / 12 are 64; lines of two samples are centred on the cells' edges (exact arithmetic).
    assert list(np.flatnonzero(picture[32, :, 0])[1:5]) == [63, 64, 127, 128]
    assert list(np.flatnonzero(picture[:, 32, 0])[1:5]) == [63, 64, 127, 128]


def test_all_stills_of_a_command_share_one_range(here: Path) -> None:
    """Pluge has levels below black, which full range has no codes for: steps are narrow too, and a line says so."""
    ran = call("draw", "pluge", "steps", "--as", "png", "--as", "dpx", "--as", "y4m", "--seconds", "0.1", "--json")
    assert ran.code == 0, ran.err
    assert {file["range"] for file in ran.json["files"]} == {"narrow"}
    (line,) = [line for line in ran.err.splitlines() if "range" in line]
    assert "pluge needs levels below 0 or above 100 %" in line
    assert "all stills" in line
    alone = call("draw", "steps", "--as", "png", "--json")
    assert ([file["range"] for file in alone.json["files"]], alone.err) == (["full"], "")


def test_levels_that_a_stated_range_cannot_hold_are_named(here: Path) -> None:
    """The range that is asked for is kept, and the line names the patches with their levels."""
    ran = call("draw", "pluge", "steps", "--as", "png", "--range", "full", "--json")
    assert {file["range"] for file in ran.json["files"]} == {"full"}
    (line,) = [line for line in ran.err.splitlines() if "range" in line]
    assert line.startswith("Note: pluge as png: full range of 8 bits has no codes for darker left (-1.83 %)")


@pytest.mark.skipif(not hasattr(signal, "SIGXFSZ"), reason="the system has no limit for a file's size")
@pytest.mark.parametrize("carrier", ["png", "tiff", "dpx", "h264", "ffv1"])
def test_a_limit_for_a_file_gives_one_line(here: Path, carrier: str) -> None:
    """Past `ulimit -f` the system ends an encoder without a word; the line names the file, and nothing is left."""
    length = () if carrier in ("png", "tiff", "dpx") else ("--seconds", "5")
    words = shlex.join([*PROGRAM, "draw", "focus", "--as", carrier, *length, "--to", "made", "--json"])
    done = subprocess.run(["bash", "-c", f"ulimit -f 40; {words}"], capture_output=True, timeout=60)
    ran = Ran(code=done.returncode, out=done.stdout, err=done.stderr.decode())
    check_mistake(ran, "made/focus_480i_", "is larger than one file may be here (ulimit -f")
    assert list((here / "made").iterdir()) == []


def test_tagged_is_for_png(here: Path) -> None:
    """--tagged writes the colour chunk and says so in the name; the words carry the range all the same."""
    ran = call("draw", "steps", "--as", "png", "--tagged")
    assert ran.code == 0, ran.err
    assert b"cICP" in (here / "outputs" / "steps_480i_full_tagged.png").read_bytes()
    assert call("verify", "outputs/steps_480i_full_tagged.png").code == 0
    for words in (("draw", "steps", "--as", "tiff", "--tagged"), ("kit", "--tagged")):
        refused = call(*words)
        assert (refused.code, refused.text) == (2, "")
        assert "--tagged: " in refused.err


def test_a_full_range_png_is_verified_by_its_words(here: Path) -> None:
    """Without a colour chunk the range is in the text chunk; one step off is still found."""
    assert call("draw", "steps", "--as", "png").code == 0
    name = "outputs/steps_480i_full.png"
    assert b"cICP" not in Path(name).read_bytes()
    ran = call("verify", name, "--json")
    assert (ran.code, ran.json["signal"]["range"]) == (0, "full")
    assert call("verify", name, "--range", "narrow").code == 1


def test_json_of_draw_is_one_object(here: Path) -> None:
    """--json gives one object with the promised keys, true figures of the files, and no word beside it."""
    ran = call("draw", "bars", "window", "--seconds", "0.2", "--area", "20", "--to", "made", "--json")
    assert ran.code == 0
    files = ran.json["files"]
    assert [(f["pattern"], f["carrier"]) for f in files] == [
        (pattern, carrier) for pattern in ("bars", "window") for carrier in ("png", "h264")
    ]
    for file in files:
        assert {"path", "pattern", "format", "carrier", "range", "bits", "sha256", "proof"} <= file.keys()
        assert {"verdict", "max_error_codes", "samples"} <= file["proof"].keys()
        assert file["format"] == "480i"
        assert file["range"] == ("full" if file["carrier"] == "png" else "narrow")
        assert (file["bits"], file["proof"]["verdict"], file["proof"]["max_error_codes"]) == (8, "exact", 0)
        assert file["proof"]["samples"] > 0
        assert hashlib.sha256(Path(file["path"]).read_bytes()).hexdigest() == file["sha256"]
    assert sorted(p.name for p in (here / "made").iterdir()) == sorted(Path(f["path"]).name for f in files)
    # The window's caution is words, so it goes to standard error.
    assert "Caution" in ran.err


def test_a_process_keeps_answer_and_words_apart(here: Path) -> None:
    """As a process too: the JSON alone on standard output, cautions alone on standard error."""
    ran = start("draw", "window", "--as", "png", "--json", cwd=here)
    assert ran.code == 0
    assert ran.json["files"][0]["pattern"] == "window"
    assert ran.err.startswith("Caution: ")


GREYS = "field,level_percent,x,y,luminance\n" + "".join(
    f"grey,{level},0.3127,0.329,{100 * (level / 100) ** 2.4 + 0.02}\n" for level in range(0, 101, 10)
)


@pytest.mark.parametrize(
    "words",
    [
        "scope bars --line 100 --to line.svg",
        "sheet marks --to marks.pdf",
        pytest.param("measure grey greys.csv --plots plots", marks=pytest.mark.slow),
    ],
)
def test_without_a_home_folder_nothing_is_said_of_it(here: Path, words: str) -> None:
    """matplotlib wants a folder for its list of fonts. Where it cannot make one, the user does not hear of it."""
    (here / "greys.csv").write_text(GREYS, encoding="utf-8")
    homeless = {name: value for name, value in os.environ.items() if not name.startswith(("XDG_", "MPLCONFIG"))}
    ran = start(*words.split(), cwd=here, env={**homeless, "HOME": os.devnull})
    assert ran.code == 0, ran.err
    assert "matplotlib" not in ran.err


@pytest.mark.skipif(sys.platform == "win32", reason="needs a terminal of its own")
def test_progress_is_shown_on_standard_error_only(here: Path) -> None:
    """On a terminal a bar runs on standard error; standard output holds the table alone."""
    import pty

    master, slave = pty.openpty()
    seen: list[bytes] = []

    def read() -> None:
        with contextlib.suppress(OSError):
            while part := os.read(master, 4096):
                seen.append(part)

    reader = threading.Thread(target=read)
    environment = {**os.environ, "TERM": "xterm", "COLUMNS": "100"}
    command = [*PROGRAM, "draw", "bars", "--format", "720p50", "--as", "h264"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=slave, cwd=here, env=environment) as process:
        os.close(slave)
        reader.start()
        out, _ = process.communicate(timeout=60)
        reader.join(timeout=10)
    os.close(master)
    assert process.returncode == 0
    assert b"drawing" in b"".join(seen)
    assert out.decode().startswith("file ")
    assert "\x1b" not in out.decode()


@pytest.mark.parametrize("kind", ["process", "here"])
def test_standard_output_gets_the_bytes_of_the_file(here: Path, kind: str) -> None:
    """`--to -` sends exactly the bytes of the y4m file that `--to FILE` writes."""
    words = ("draw", "circles", "--seconds", "0.1")
    assert call(*words, "--as", "y4m", "--to", "file.y4m").code == 0
    ran = start(*words, "--to", "-", cwd=here) if kind == "process" else call(*words, "--to", "-")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out == (here / "file.y4m").read_bytes()
    assert [path.name for path in here.iterdir()] == ["file.y4m"]


def test_json_and_frames_are_not_mixed(here: Path) -> None:
    """Standard output cannot hold both frames and JSON, so `--to - --json` is a mistake."""
    check_mistake(call("draw", "bars", "--seconds", "0.1", "--to", "-", "--json"), "--json")


def test_a_reader_that_goes_away_is_no_mistake(here: Path) -> None:
    """`draw --to - | head` ends without a word when the reader has had enough."""
    with subprocess.Popen(
        [*PROGRAM, "draw", "bars", "--to", "-"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=here
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.read(10) == b"YUV4MPEG2 "
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == 0


@pytest.mark.parametrize("folder", ["a folder", "папка 測試 ñ", "100% a:b [1]", "-dash", 'it\'s "so" #1;$x'])
def test_any_path_works(here: Path, folder: str) -> None:
    """Spaces, quotes, signs and letters of any script in paths, for every kind of file, drawn and verified."""
    own = here / folder / "мой узор.toml"
    own.parent.mkdir()
    own.write_text(OWN, encoding="utf-8")
    words = ("--as", "png", "--as", "h264", "--as", "ffv1", "--as", "y4m", "--seconds", "0.1", "--format", "320x240@50")
    ran = call("draw", own, *words, "--to", here / folder / "out 出力", "--json")
    assert ran.code == 0, ran.err
    assert len(ran.json["files"]) == 4
    for file in ran.json["files"]:
        assert call("verify", file["path"], "--pattern", own, "--format", "320x240@50").code == 0
    assert call("draw", "bars", "--as", "png", "--to", f"./{folder}/one.png").code == 0
    assert call("verify", f"./{folder}/one.png").code == 0


@pytest.mark.parametrize("words", [[], ["--json"]])
def test_a_path_works_where_output_has_few_letters(here: Path, words: list[str]) -> None:
    """Where standard output is ASCII the file is made and the answer given all the same."""
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    ran = start("draw", "bars", "--as", "png", "--to", "папка", *words, cwd=here, env=environment)
    assert (ran.code, ran.err) == (0, "")
    assert (here / "папка" / "bars_480i_full.png").exists()


def test_a_name_of_a_file_is_taken_as_it_is(here: Path) -> None:
    """`--to NAME.png` writes that file, also in a folder that is not there yet."""
    assert call("draw", "bars", "--as", "png", "--to", "new/deep/My Bars.PNG").code == 0
    assert list(listing(here)) == ["new", "new/deep", "new/deep/My Bars.PNG"]


def test_two_patterns_never_share_a_file(here: Path) -> None:
    """An own file called bars.toml and the built-in bars, drawn together, do not overwrite each other."""
    (here / "bars.toml").write_text(OWN, encoding="utf-8")
    ran = call("draw", "bars.toml", "bars", "--as", "png", "--to", "out", "--json")
    if ran.code == 2:
        check_mistake(ran, "bars")
    else:
        assert len({file["path"] for file in ran.json["files"]}) == 2


# --- Verifying -----------------------------------------------------------------------------------------------


@pytest.fixture(scope="module", params=quick_and_slow(["480i"], ["720p50"]))
def drawn(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, Any]]:
    """Every pattern in both default kinds of file."""
    folder = tmp_path_factory.mktemp("drawn")
    ran = call("draw", *PATTERNS, "--format", request.param, "--seconds", "0.1", "--to", folder, "--json")
    assert ran.code == 0
    files: list[dict[str, Any]] = ran.json["files"]
    assert len(files) == 2 * len(PATTERNS)
    return files


VERIFY_KEYS = {"verdict", "pattern", "format", "signal", "registration", "patches", "faults"}


def check_verify_json(answer: dict[str, Any]) -> None:
    """The keys that DESIGN.md section 8 promises."""
    assert answer.keys() >= VERIFY_KEYS
    assert {"range", "matrix", "bits"} <= answer["signal"].keys()
    assert {"scale_x", "scale_y", "offset_x", "offset_y", "crop_percent"} <= answer["registration"].keys()
    assert answer["registration"]["crop_percent"].keys() == {"left", "right", "top", "bottom"}
    assert answer["patches"]
    for patch in answer["patches"]:
        assert {"name", "expected", "measured", "error_codes", "noise_codes"} <= patch.keys()
        assert all(len(patch[key]) == 3 for key in ("expected", "measured", "error_codes"))
    assert isinstance(answer["faults"], list)


def test_every_own_file_verifies_without_options(drawn: list[dict[str, Any]]) -> None:
    """A file made by `draw` tells what it is, and all its patches pass."""
    for file in drawn:
        has_patches = bool(PATTERNS[file["pattern"]].scene(FORMATS[file["format"]]).patches)
        ran = call("verify", file["path"], "--json")
        if not has_patches:
            # A tenth of a second is too short for the moving bar, and a still has no fields in order.
            of_fields = "moving bar" if file["carrier"] == "h264" else "clip"
            check_mistake(ran, of_fields if file["pattern"] == "field-order" else "no patch")
            continue
        assert ran.code == 0, (file["path"], ran.err)
        answer = ran.json
        check_verify_json(answer)
        assert (answer["verdict"], answer["pattern"], answer["format"]) == ("pass", file["pattern"], file["format"])
        assert answer["signal"]["range"] == file["range"]
        assert answer["signal"]["bits"] == 8
        # STANDARDS.md section 1: BT.601 for SD, BT.709 for HD; R'G'B' has none.
        wanted = None if file["carrier"] == "png" else {"480i": "601", "720p50": "709"}[file["format"]]
        assert answer["signal"]["matrix"] == wanted
        assert ran.err == ""


@pytest.mark.parametrize("name", ["strip.png", "strip.mp4"])
def test_a_very_wide_own_raster_verifies(here: Path, name: str) -> None:
    """Whatever raster `draw` takes, `verify` takes back from the file's own word."""
    made = call(
        "draw", "field", "--format", "640x64@60", "--as", {".png": "png", ".mp4": "h264"}[name[-4:]], "--to", name
    )
    assert made.code == 0
    assert call("verify", name).code == 0


def test_a_wrong_pattern_fails_and_still_gives_json(here: Path) -> None:
    """The wrong pattern is exit 2 with one line; the JSON is one whole object then too, and names the fault."""
    assert call("draw", "bars", "--format", "320x240@60", "--as", "png", "--to", "bars.png").code == 0
    words = ("verify", "bars.png", "--pattern", "steps", "--format", "320x240@60")
    ran = start(*words, "--json", cwd=here)
    check_mistake(Ran(code=ran.code, out=b"", err=ran.err), "bars.png", "looks like bars", "--pattern bars")
    assert ran.json.keys() >= VERIFY_KEYS
    assert (ran.json["verdict"], ran.json["pattern"], ran.json["patches"]) == ("fail", "steps", [])
    assert [fault["id"] for fault in ran.json["faults"]] == ["wrong-pattern"]
    check_mistake(call(*words), "looks like bars")


def test_a_frame_without_a_pattern_still_gives_json(here: Path) -> None:
    """Noise is no pattern: exit 2, one line, and JSON with that fault."""
    noise = np.random.default_rng(3).integers(0, 256, (120, 160, 3), np.uint8)
    Image.fromarray(noise).save(here / "noise.png")
    ran = call("verify", "noise.png", "--pattern", "steps", "--format", "160x120@60", "--json")
    check_mistake(Ran(code=ran.code, out=b"", err=ran.err), "noise.png", "no pattern")
    assert [fault["id"] for fault in ran.json["faults"]] == ["no-pattern"]
    assert ran.json["verdict"] == "fail"


def test_a_foreign_file_says_nothing_of_itself(here: Path) -> None:
    """It is judged by --pattern and --format, or by what it shows and its size, within --tolerance."""
    assert call("draw", "steps", "--as", "png", "--to", "own.png").code == 0
    with Image.open(here / "own.png") as image:
        picture = np.asarray(image)
    Image.fromarray(picture).save(here / "foreign.png")
    Image.fromarray(np.minimum(picture, 252) + 3).save(here / "light.png")
    Image.new("RGB", (720, 480)).save(here / "black.png")
    check_mistake(call("verify", "black.png"), "--pattern")
    # A still says nothing of fields, so its size alone is that of the progressive format.
    for words, fmt in ((("--pattern", "steps", "--format", "480i"), "480i"), ((), "480p")):
        ran = call("verify", "foreign.png", *words, "--json")
        assert (ran.code, ran.json["pattern"], ran.json["format"]) == (0, "steps", fmt)
    # 3 codes off, by construction, but for the white that ends the upper staircase and begins the lower.
    for more, passes in ((("--tolerance", "3"), True), (("--tolerance", "2.9"), False), ((), False)):
        ran = call("verify", "light.png", "-p", "steps", "-f", "480i", "--range", "full", *more, "--json")
        assert [patch["error_codes"][0] for patch in ran.json["patches"]] == [3] * 10 + [0, 0] + [3] * 10
        assert (ran.code, ran.json["verdict"]) == ((0, "pass") if passes else (1, "fail"))
        # Where nothing is stated, each level is within 2 %, and the offset that they share fails the frame.
        verdicts = {patch["verdict"] for patch in ran.json["patches"] if patch["error_codes"][0]}
        assert verdicts == {"fail" if more == ("--tolerance", "2.9") else "pass"}


def test_frames_of_a_clip_are_counted_from_0(here: Path) -> None:
    """The last frame can be verified, the one after it is a mistake."""
    assert call("draw", "bars", "--as", "y4m", "--seconds", "0.1", "--to", "bars.y4m").code == 0
    # 0.1 s of 30000/1001 frames a second are 3 frames.
    assert call("verify", "bars.y4m", "-p", "bars", "--frame", "2").code == 0
    check_mistake(call("verify", "bars.y4m", "-p", "bars", "--frame", "3"), "frame 3")


def test_an_own_pattern_is_drawn_and_verified(here: Path) -> None:
    """A user's file gives pictures that pass with its path, fail with another, and ask for it without one."""
    (here / "own.toml").write_text(OWN, encoding="utf-8")
    (here / "other.toml").write_text(OWN.replace('"red 75"', '"red 70"'), encoding="utf-8")
    ran = call("draw", "own.toml", "--seconds", "0.1", "--json")
    assert ran.code == 0
    for file in ran.json["files"]:
        assert file["pattern"] == "own"
        assert call("verify", file["path"], "--pattern", "own.toml").code == 0
        assert call("verify", file["path"], "--pattern", "other.toml").code == 1
        check_mistake(call("verify", file["path"]), "own", "TOML")


def test_an_own_pattern_is_never_taken_for_a_built_in_one(here: Path) -> None:
    """A user's bars.toml is no built-in bars: without the path of its file there is no verdict."""
    (here / "bars.toml").write_text(OWN, encoding="utf-8")
    assert call("draw", "bars.toml", "--as", "png", "--to", "made.png").code == 0
    check_mistake(call("verify", "made.png"), "TOML")


@pytest.mark.parametrize(
    "comment",
    quick_and_slow(["level=1e9999999999", "cells=0x0"], ["level=1/0", "level=x", "area=9", "format=1"]),
)
def test_what_a_file_says_of_itself_is_not_trusted(here: Path, comment: str) -> None:
    """Absurd words in a file end in one line and soon; a process of its own, so that the test always ends."""
    from PIL.PngImagePlugin import PngInfo

    words = PngInfo()
    pattern = "crosshatch" if "cells" in comment else "window"
    words.add_text("Comment", f"made-by=trueraster&pattern={pattern}&format=480i&{comment}")
    Image.new("RGB", (720, 480)).save(here / "bad.png", pnginfo=words)
    with subprocess.Popen(
        [*PROGRAM, "verify", "bad.png"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=here
    ) as process:
        try:
            out, err = process.communicate(timeout=5)
        except subprocess.TimeoutExpired:
            process.kill()
            pytest.fail("still busy after 5 s")
    if comment != "format=1":
        check_mistake(Ran(code=process.returncode, out=out, err=err.decode()))
    assert process.returncode == 2


@pytest.mark.parametrize(
    ("comment", "words"),
    [
        (
            "pattern=croshatch&format=480i",
            "the file says that it shows 'croshatch', which is no pattern; give --pattern",
        ),
        ("pattern=own:x&format=480i", "the file shows the own pattern 'x'; give its TOML file with --pattern"),
        ("pattern=bars&format=481x", "the file states the format '481x', which is unknown; give --format"),
        (
            "pattern=bars&format=480i&aspect=2:7",
            "the file states the aspect '2:7', which 480i does not have; give --aspect",
        ),
        *(
            (f"pattern={said}&format=480i", "what the file says of its pattern cannot be read; give --pattern, and the")
            for said in (
                "crosshatch&cells=0x0",
                "window&level=x",
                "window&level=1/0",
                "field&colour=puce",
                "bars&bars=9",
            )
        ),
    ],
)
def test_a_mistake_in_what_a_file_says_names_the_file(here: Path, comment: str, words: str) -> None:
    """What a file says of itself and nobody can read is reported with the name of the file."""
    from PIL.PngImagePlugin import PngInfo

    told = PngInfo()
    told.add_text("Comment", f"made-by=trueraster&{comment}")
    Image.new("RGB", (720, 480)).save(here / "txt.png", pnginfo=told)
    check_mistake(call("verify", "txt.png"), f"trueraster: txt.png: {words}")


def test_what_is_typed_goes_before_what_a_file_says_and_nobody_can_read(here: Path) -> None:
    """With the options that the message asks for there is a verdict; a mistake in them is told as one of them."""
    from PIL.PngImagePlugin import PngInfo

    assert call("draw", "field", "--colour", "red", "--format", "480i", "--as", "png", "--to", "red.png").code == 0
    told = PngInfo()
    told.add_text("Comment", "made-by=trueraster&pattern=field&format=480i&colour=puce")
    with Image.open("red.png") as drawn:
        drawn.save("puce.png", pnginfo=told)
    assert call("verify", "puce.png", "--pattern", "field", "--colour", "red").code == 0
    assert call("verify", "puce.png", "--colour", "red").code == 0
    check_mistake(call("verify", "puce.png", "--pattern", "field", "--colour", "mauve"), "mauve")


# --- Mistakes ------------------------------------------------------------------------------------------------

DRAW_MISTAKES: list[tuple[str, str]] = [
    ("", "PATTERN"),
    ("nope", "nope"),
    ("crosshach", "did you mean crosshatch"),
    ("missing.toml", "missing.toml"),
    ("folder.toml", "folder.toml"),
    ("bad.toml", "line 1"),
    ("bars nope", "nope"),
    ("bars --nonsense", "--nonsense"),
    ("bars --format", "--format"),
    ("bars --format 481i", "481i"),
    ("bars --format 1024x768", "rate is missing"),
    ("bars --format 0x0@60", "2 to 8192"),
    ("bars --format 1x1@60", "2 to 8192"),
    ("bars --format 16384x16384@60", "2 to 8192"),
    ("bars --format 8192x8192@60", "samples"),
    ("bars --format 640x480@0", "1 to 1000"),
    ("bars --format 640x480@1001", "1 to 1000"),
    ("bars --format 640x480@1/0", "divides by 0"),
    ("bars --format 640x480@nan", "640x480@nan"),
    ("bars --format 640x481i@60", "even height"),
    ("bars --format 640x482i@60 --as h264", "multiple of 4"),
    ("bars --format 321x240@60 --as h264", "even width"),
    ("bars --format 320x241@60 --as h264", "even number"),
    ("bars --format 321x240@60 --as y4m", "even width"),
    ("bars --format 321x240@60 --as ffv1", "even width"),
    ("bars --aspect abc", "abc"),
    ("bars --aspect 4:0", "4:0"),
    ("bars --aspect 2:1", "4:3 or 16:9"),
    ("bars --aspect 4:3 --format 720p50", "16:9"),
    ("bars --aspect 100:1 --format 640x480@60", "1:5 and 5:1"),
    ("bars --range wide", "narrow, full"),
    ("bars --matrix 2020", "601, 709"),
    ("bars --bits 9", "8, 10, 12, 16"),
    ("bars --bits -8", "8, 10, 12, 16"),
    ("bars --bits 0 --as png", "8, 10, 12, 16"),
    ("bars --bits eight", "--bits"),
    ("bars --bits 10 --as h264", "h264"),
    ("bars --sampling 411", "rgb, 444, 422, 420"),
    ("bars --sampling rgb --as h264", "h264"),
    ("bars --sampling 422 --as png", "png"),
    ("bars --seconds 0", "--seconds"),
    ("bars --seconds -1", "--seconds"),
    ("bars --seconds nan", "--seconds"),
    ("bars --seconds inf", "--seconds"),
    ("bars --seconds 1e9", "86400"),
    ("bars --seconds soon", "--seconds"),
    ("bars --edges soft", "shaped, hard"),
    ("bars --cells 16x12", "--cells"),
    ("crosshatch --cells 0x0", "1x1 to"),
    ("crosshatch --cells 9999x9999", "1x1 to"),
    ("crosshatch --cells 99999x1", "--cells"),
    ("crosshatch --cells abc", "16x12"),
    ("crosshatch --cells 16", "16x12"),
    ("crosshatch --cells -1x-1", "16x12"),
    ("crosshatch --cells 16x12x8", "16x12"),
    ("dots --cells 1x1", "2x2"),
    ("crosshatch --level abc", "--level"),
    ("crosshatch --level 110", "-7 to 109"),
    ("crosshatch --level -8", "-7 to 109"),
    ("crosshatch --level 1e1", "--level"),
    ("crosshatch --level nan", "--level"),
    ("bars --level 50", "--level"),
    ("window --area 0", "more than 0"),
    ("window --area 100.1", "at most 100"),
    ("window --area -5", "more than 0"),
    ("window --area big", "--area"),
    ("bars --area 5", "--area"),
    ("field --colour pink", "magenta"),
    ("bars --colour red", "--colour"),
    ("bars --bars 100/0", "75/0/75/0"),
    ("field --bars 75/0/75/0", "--bars"),
    ("bars --as gif", "png"),
    ("bars --as jpg", "png"),
    ("bars --as png --as gif", "gif"),
    ("bars --to taken", "not a folder"),
    ("bars --to taken/sub", "taken"),
    ("bars --as png --to taken/sub/x.png", "taken"),
    ("bars --to x.png", "one file"),
    ("bars ramp --as png --to x.png", "one file"),
    ("bars --as png --to x.mp4", ".png"),
    ("bars --as h264 --to x.png", ".mp4"),
    ("bars ramp --to -", "y4m"),
    ("bars --as png --to -", "y4m"),
    ("bars --as y4m --as png --to -", "y4m"),
]
EMPTY_MISTAKES = [
    (["draw", "field", "--colour", "", "--as", "png"], "--colour"),
    (["draw", "bars", "--bars", "", "--as", "png"], "--bars"),
    (["draw", "bars", "--aspect", "", "--as", "png"], "aspect"),
    (["draw", "bars", "--format", "", "--as", "png"], "format"),
    (["draw", "crosshatch", "--cells", "", "--as", "png"], "--cells"),
    (["draw", "crosshatch", "--level", "", "--as", "png"], "--level"),
    (["draw", "bars", "--range", "", "--as", "png"], "--range"),
    (["draw", "bars", "--as", ""], "--as"),
    (["draw", "bars", "--as", "png", "--to", ""], "--to"),
    (["draw", ""], "pattern"),
    (["verify", ""], "an empty name"),
    (["levels", ""], "level"),
    (["timing", ""], "format"),
    (["timing", "480i", "--edid", ""], "--edid"),
    (["timing", "480i", "--line-rate", ""], "--line-rate"),
    (["formats", ""], "format"),
    (["patterns", ""], "pattern"),
    ([""], "command"),
]
OTHER_MISTAKES: list[tuple[str, str]] = [
    ("nonsense", "nonsense"),
    ("--nonsense", "--nonsense"),
    ("patterns nope", "nope"),
    ("patterns bars ramp", "ramp"),
    ("formats nope", "nope"),
    ("formats --aspect 16:9", "--aspect"),
    ("formats 480i --aspect 3:1", "16:9"),
    ("levels junk", "junk"),
    ("levels 8:256", "0 to 255"),
    ("levels 10:1024", "0 to 1023"),
    ("levels 9:10", "9:10"),
    ("levels 1e9", "1e9"),
    ("levels nan", "nan"),
    ("levels 999999%", "999999"),
    ("levels 75 --bits 8", "--bits"),
    ("verify", "FILE"),
    ("verify missing.png", "missing.png"),
    ("verify empty.png", "empty"),
    ("verify taken", "taken"),
    ("verify folder.toml", "folder.toml"),
    ("verify short.png", "short.png"),
    ("verify good.png --tolerance nan", "--tolerance"),
    ("verify good.png --tolerance -1", "--tolerance"),
    ("verify good.png --tolerance inf", "--tolerance"),
    ("verify good.png --tolerance much", "--tolerance"),
    ("verify good.png --frame -1", "--frame"),
    ("verify good.png --frame 1", "frame 1"),
    ("verify good.png --frame 99999999999999999999", "--frame"),
    ("verify good.png --frame 1.5", "--frame"),
    ("verify good.png --range wide", "narrow, full"),
    ("verify good.png --pattern nope", "nope"),
    ("verify good.png --format nope", "nope"),
    ("verify good.png --pattern bars --cells 4x3", "--cells"),
    ("verify good.png --pattern missing.toml", "missing.toml"),
]


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The bytes of a picture that passes."""
    path = tmp_path_factory.mktemp("good") / "good.png"
    assert call("draw", "bars", "--as", "png", "--format", "320x240@60", "--to", path).code == 0
    return path.read_bytes()


@pytest.fixture
def bench(here: Path, good: bytes) -> Path:
    """A folder with things in the way."""
    (here / "taken").write_text("words", encoding="utf-8")
    (here / "folder.toml").mkdir()
    (here / "bad.toml").write_text("x = \n", encoding="utf-8")
    (here / "empty.png").touch()
    (here / "good.png").write_bytes(good)
    (here / "short.png").write_bytes(good[: len(good) // 2])
    return here


@pytest.mark.parametrize(("line", "word"), DRAW_MISTAKES, ids=[line for line, _ in DRAW_MISTAKES])
def test_a_mistake_in_draw_is_one_line_and_makes_nothing(bench: Path, line: str, word: str) -> None:
    """Each mistake is one line with exit 2 that names it; no file or folder comes or goes."""
    before = listing(bench)
    check_mistake(call("draw", *line.split()), word)
    assert listing(bench) == before


@pytest.mark.parametrize(("line", "word"), OTHER_MISTAKES, ids=[line for line, _ in OTHER_MISTAKES])
def test_a_mistake_elsewhere_is_one_line(bench: Path, line: str, word: str) -> None:
    """The other commands tell a mistake in the same way, with and without --json."""
    before = listing(bench)
    check_mistake(call(*line.split()), word)
    if line.split()[0] in COMMANDS:
        check_mistake(call(*line.split(), "--json"), word)
    assert listing(bench) == before


@pytest.mark.parametrize(("arguments", "word"), EMPTY_MISTAKES, ids=[" ".join(a) for a, _ in EMPTY_MISTAKES])
def test_an_empty_word_is_a_mistake(here: Path, arguments: list[str], word: str) -> None:
    """An option with nothing in it, as from an unset variable in a script, is told and not passed over."""
    check_mistake(call(*arguments), word)
    assert listing(here) == {}


def test_an_option_that_no_pattern_takes_is_a_mistake(here: Path) -> None:
    """Of several patterns each takes what is meant for it; an option that none of them takes is told."""
    check_mistake(call("draw", "bars", "ramp", "--cells", "16x12", "--as", "png"), "--cells")
    assert call("draw", "bars", "crosshatch", "--cells", "16x12", "--as", "png").code == 0


@pytest.mark.parametrize("name", ["picture.tif", "picture.jpg", "clip.mov", "clip.avi"])
def test_a_file_name_of_another_kind_is_a_mistake(here: Path, name: str) -> None:
    """A name that ends like a picture or a clip of a kind that is not made is no folder."""
    check_mistake(call("draw", "bars", "--as", "png", "--to", name), name)


@pytest.mark.parametrize(
    "arguments",
    [["draw", "a" * 5000], ["draw", "field", "--colour", "a" * 5000], ["draw", "bars", "--bars", "a" * 5000]],
    ids=["pattern", "colour", "bars"],
)
def test_a_long_word_is_told_shortly(here: Path, arguments: list[str]) -> None:
    """A mistake of thousands of letters still gives a line that can be read."""
    ran = call(*arguments)
    check_mistake(ran)
    assert len(ran.err) < 500


@pytest.mark.parametrize(
    ("words", "note"),
    [
        ("flicker --format 480p --as png", "Note: flicker does not suit 480p, which has no fields"),
        ("field-order --format 64x48@60 --as png", "Note: field-order does not suit 64x48p@60, which has no fields"),
        ("bars --as png --seconds 5", "Note: --seconds: png is a still and has no length"),
        # 60000/1001 fields a second are 29.97 frames: 0.0334 s each (BT.601).
        ("bars --as y4m --seconds 1e-9", "Note: --seconds: a clip has at least one frame, 0.0334 s in 480i"),
    ],
)
def test_what_is_drawn_otherwise_than_meant_is_told(here: Path, words: str, note: str) -> None:
    """The file is made, and a line says what a user might not expect."""
    ran = call("draw", *words.split())
    assert ran.code == 0
    assert ran.err.count(note) == 1


@pytest.mark.parametrize("words", ["flicker --format 480i --as png", "bars --as png --as y4m --seconds 0.1"])
def test_what_is_as_meant_has_no_note(here: Path, words: str) -> None:
    """A pattern that suits, and a length for the one kind of file that has one."""
    assert "Note" not in call("draw", *words.split()).err


def test_a_folder_in_the_place_of_a_file_is_told_by_its_name(here: Path) -> None:
    """The line names the file's own path, not the hidden one that it would be written under."""
    (here / "outputs" / "bars_480i_full.png").mkdir(parents=True)
    ran = call("draw", "bars", "--as", "png")
    check_mistake(ran, str(Path("outputs", "bars_480i_full.png")), "folder")
    assert "/." not in ran.err


@pytest.mark.parametrize(
    "words",
    [
        *("draw bars --as png --to pipe.png", "sheet marks --to pipe.pdf", "sheet board --to pipe.svg"),
        *("scope bars --to pipe.csv", "scope bars --to pipe.svg", "timing 480i --edid pipe.bin"),
    ],
)
def test_a_pipe_in_the_place_of_a_file_is_left_alone(here: Path, words: str) -> None:
    """A file in its place would end what others read from it; one line names it."""
    pipe = here / words.split()[-1]
    os.mkfifo(pipe)
    check_mistake(call(*words.split()), pipe.name, "is not a file and is never replaced")
    assert pipe.is_fifo()
    assert list(here.iterdir()) == [pipe]


def test_a_pattern_is_drawn_where_a_link_leads(here: Path) -> None:
    """The link stays one, and nothing hidden is left at either end."""
    (here / "kept").mkdir()
    (here / "kept" / "real.png").write_bytes(b"old")
    (here / "link.png").symlink_to(here / "kept" / "real.png")
    assert call("draw", "bars", "--as", "png", "--to", "link.png").code == 0
    assert (here / "link.png").is_symlink()
    assert (here / "kept" / "real.png").read_bytes().startswith(b"\x89PNG")
    assert sorted(path.name for path in here.rglob("*")) == ["kept", "link.png", "real.png"]


@pytest.mark.parametrize("place", ["/proc/trueraster-test", "/dev/null/x", "/dev/full"])
def test_a_place_that_takes_no_files_is_one_line(place: str) -> None:
    """Where nothing can be made there is one line; root is refused there too."""
    if not Path(place.rsplit("/", 1)[0] or "/").exists():
        pytest.skip("not on this system")
    check_mistake(call("draw", "bars", "--as", "png", "--to", place), place.split("/")[1])


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root writes anywhere")
def test_a_read_only_folder_is_one_line(here: Path) -> None:
    """A folder without the right to write is told, and stays empty."""
    (here / "locked").mkdir(mode=0o500)
    check_mistake(call("draw", "bars", "--as", "png", "--to", "locked"), "locked")
    assert list((here / "locked").iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="needs a POSIX shell")
@pytest.mark.parametrize("unbuffered", ["", "1"])
@pytest.mark.parametrize("words", quick_and_slow(["levels"], ["formats --json", "--help"]))
def test_output_that_cannot_be_written_is_one_line(words: str, unbuffered: str) -> None:
    """A closed or full standard output is one line on standard error, whether Python keeps a buffer or not."""
    program = " ".join(f"'{part}'" for part in PROGRAM)
    for closing in (">&-", ">/dev/full"):
        done = subprocess.run(
            ["sh", "-c", f"{program} {words} {closing}"],
            stderr=subprocess.PIPE,
            text=True,
            timeout=60,
            env=os.environ | {"PYTHONUNBUFFERED": unbuffered},
        )
        assert done.stderr.startswith(("trueraster: standard output", "trueraster: No space left")), closing
        assert done.stderr.count("\n") == 1, closing
        assert done.returncode == 2, closing


@pytest.mark.parametrize("unbuffered", ["", "1"])
def test_full_standard_error_changes_no_exit_code(unbuffered: str) -> None:
    """Where a mistake cannot be reported, the exit code still says it."""
    program = " ".join(f"'{part}'" for part in PROGRAM)
    for words, code in (("levels", 0), ("levels --no-such-option", 2)):
        done = subprocess.run(
            ["sh", "-c", f"{program} {words} 2>/dev/full"],
            stdout=subprocess.DEVNULL,
            timeout=60,
            env=os.environ | {"PYTHONUNBUFFERED": unbuffered},
        )
        assert done.returncode == code, words


# --- Signs that would steer a terminal -----------------------------------------------------------------------

STEER = "\x1b[31mred\x07\x7f\x9b1m\u2028\u202egnol\u2066"
"""Escape sequences of ECMA-48, in seven and eight bits, a bell, and letters that turn or break a line."""
SHOWN = r"\x1b[31mred\x07\x7f\x9b1m\u2028\u202egnol\u2066"
READINGS = Path(__file__).parents[1] / "docs" / "examples" / "colour-readings.csv"


def readings() -> str:
    """The readings of the examples, which come with the sources and not with the wheel."""
    if not READINGS.exists():
        pytest.skip("the examples are not here")
    return READINGS.read_text(encoding="utf-8")


def steered_comment(folder: Path) -> list[str]:
    (folder / "a.csv").write_text(f"# {STEER}\n" + readings(), encoding="utf-8")
    return ["measure", "colour", "a.csv"]


def steered_name_of_a_file(folder: Path) -> list[str]:
    name = f"{STEER}.csv"
    (folder / name).write_text(readings(), encoding="utf-8")
    return ["measure", "colour", name]


def steered_mistake(folder: Path) -> list[str]:
    return ["record", "show", f"{STEER}.json"]


def steered_option(folder: Path) -> list[str]:
    return ["draw", "bars", f"--{STEER}"]


def steered_record(folder: Path, **texts: Any) -> list[str]:
    held = {"schema": "trueraster-record", "version": 1, **texts}
    (folder / "set.json").write_text(json.dumps(held), encoding="utf-8")
    return ["record", "show", "set.json"]


def steered_name_of_a_set(folder: Path) -> list[str]:
    return steered_record(folder, set={"name": STEER})


def steered_work(folder: Path) -> list[str]:
    return steered_record(folder, work=[{"date": "2026-03-02", "text": STEER}])


def steered_figure(folder: Path) -> list[str]:
    """Its name is in a note on standard error."""
    steered_record(folder, tolerances={STEER: 1})
    return ["report", "set.json"]


@pytest.mark.parametrize(
    "make",
    [
        steered_comment,
        steered_name_of_a_file,
        steered_mistake,
        steered_option,
        steered_name_of_a_set,
        steered_work,
        steered_figure,
    ],
)
def test_nothing_that_is_read_steers_the_terminal(here: Path, make: Callable[[Path], list[str]]) -> None:
    """From a comment, from names, from a record: text shows escapes instead, and JSON is ASCII."""
    line = make(here)
    ran = call(*line)
    words = ran.text + ran.err
    assert not [one for one in words if unicodedata.category(one) in ("Cc", "Cf", "Zl", "Zp") and one not in "\n\t"]
    # Where words are wrapped a line separator is a blank.
    assert SHOWN.replace(r"\u2028", " ") in " ".join(words.replace(r"\u2028", " ").split())
    as_json = call(*line, "--json")
    if as_json.code == 0:
        assert all(0x20 <= byte < 0x7F or byte == 0x0A for byte in as_json.out)
        assert json.loads(as_json.out)


def test_progress_shows_names_as_they_are(monkeypatch: pytest.MonkeyPatch) -> None:
    """Brackets are no markup for the bar, and what would steer the terminal is an escape there too."""
    written = io.StringIO()
    monkeypatch.setattr(written, "isatty", lambda: True)
    monkeypatch.setattr(sys, "stderr", written)
    monkeypatch.setenv("COLUMNS", "300")
    with progress(f"{STEER}[/b]", quiet=False) as tell:
        tell(f"[bold]{STEER}", 0.5)
    for word in (f"{SHOWN}[/b]", f"[bold]{SHOWN}"):
        assert word in written.getvalue().replace("\n", "")
    assert "\x1b[31mred" not in written.getvalue()


# --- Words, junk and anything else ---------------------------------------------------------------------------

FILES = ("good.png", "good.mp4", "good.y4m", "short.png", "own.toml", "bad.toml", "words.txt")
FITTING: dict[str, tuple[str, ...]] = {
    "--format": ("64x48@60", "64x48i@50", "320x240@60", "33x17@25", "96x24p@60000/1001"),
    "--as": ("png", "h264", "ffv1", "y4m"),
    "--to": ("out", "out 2/deep", "x.png", "x.mp4", "x.mkv", "x.y4m", "x.pdf", "x.svg", "-"),
    "--aspect": ("4:3", "16:9", "1.85", "5"),
    "--range": ("narrow", "full"),
    "--matrix": ("601", "709"),
    "--bits": ("8", "10", "12", "16"),
    "--sampling": ("rgb", "444", "422", "420"),
    "--seconds": ("0.1", "0.2", "0.001"),
    "--edges": ("shaped", "hard"),
    "--cells": ("4x3", "1x1", "16x12"),
    "--level": ("75", "7.5%", "-7", "109"),
    "--area": ("10", "100", "0.001"),
    "--colour": ("red", "grey", "BLACK"),
    "--bars": ("100/0/75/0", "75/0/75/0"),
    "--pattern": ("bars", "steps", "own.toml", "crosshatch"),
    "--tolerance": ("0", "1", "255"),
    "--frame": ("0", "1", "5"),
    "--paper": ("a4", "letter"),
    "--by": ("cvt", "cvt-rb", "cvt-rb2", "gtf", "15khz"),
    "--line-rate": ("15.5-15.9kHz", "15-70", "15.7"),
    "--field-rate": ("48-62Hz", "20-100"),
    "--sync": ("4.5us", "1"),
    "--active-time": ("40-55us", "51-52"),
    "--blank-lines": ("1/3/12", "5/5/5"),
    "--clock-min": ("25MHz", "0"),
    "--clock-step": ("1kHz", "1MHz"),
    "--edid": ("set.bin", "out/set.bin"),
    "--edid-for": ("analogue", "digital"),
    "--edid-name": ("Tube 1", "x"),
    "--line": ("1", "22", "700"),
    "--field": ("1", "2", "frame"),
    "--signal": ("ypbpr", "rgb", "composite"),
    "--component": ("y", "g", "luma", "all"),
    "--levels": ("700", "714"),
    "--setup": ("0", "7.5"),
}
ARGUMENTS = {
    "draw": (*PATTERNS, "own.toml"),
    "verify": FILES,
    "levels": ("75%", "8:180", "525mV", "76.9IRE", "109"),
    "formats": ("480i", "1080p60", "64x48@60", "1024x768i@75/2"),
    "patterns": (*PATTERNS, "own.toml"),
    "sheet": ("marks", "board"),
    "measure": ("lens", *FILES),
    "record": ("new", "set", "work", "add", "show", "as-found", "set.json", *FILES),
    "scope": ("bars", "steps", *FILES),
    "timing": ("480i", "1080p60", "64x48@60", "1024x768i@75/2", "2560x240p@60", "640x480@60"),
    "report": ("set.json", *FILES),
}
ODD = ("0", "-1", "nan", "inf", "1e9", "0x0", "110", "pink", "1:9", "--", "", " ", "--help", "--json", "-f", "-p")
# Without "/" and "..", so that nothing is made outside the folder of the test.
junk = st.text(st.characters(codec="utf-8", exclude_characters="\0/\\"), max_size=30).filter(lambda text: text != "..")
long_words = st.builds(lambda letter, count: letter * count, st.sampled_from("aé測0-. "), st.sampled_from([300, 5000]))
any_word = st.one_of(st.sampled_from((*ODD, *FILES, *FITTING)), junk, long_words)


def options_of(name: str) -> list[click.Parameter]:
    command = COMMANDS[name]
    assert command is not None
    return command.params


@st.composite
def command_lines(draw: Any) -> list[str]:
    """A command with arguments and options that mostly fit it, and in half of all a few words that do not.

    Drawing is small and short: format and seconds stand last, where they count.
    """
    # A kit is many drawings, a disc a whole kit; the screen and the bench wait for a user. Each has its own tests.
    others = [c for c in COMMANDS if c not in ("kit", "disc", "show", "bench")]
    command = draw(st.sampled_from(["draw", "draw", "draw", "verify", *others]))
    line = [command, *draw(st.lists(st.sampled_from(ARGUMENTS[command]), min_size=1, max_size=2))]
    known = [name for p in options_of(command) for name in p.opts if name in FITTING]
    for name in draw(st.lists(st.sampled_from(known), max_size=3, unique=True)) if known else ():
        line += [name, draw(st.sampled_from(FITTING[name]))]
    if draw(st.booleans()):
        for word in draw(st.lists(any_word, min_size=1, max_size=3)):
            line.insert(draw(st.integers(0, len(line))), word)
    if command == "draw":
        for name in ("--format", "--seconds"):
            line += [name, draw(st.sampled_from(FITTING[name]))]
    return line


@pytest.fixture(scope="module")
def playground(tmp_path_factory: pytest.TempPathFactory, good: bytes) -> Iterator[Path]:
    """A folder to try command lines in."""
    folder, before = tmp_path_factory.mktemp("play"), Path.cwd()
    os.chdir(folder)
    for name in ("good.mp4", "good.y4m"):
        carrier = {".mp4": "h264", ".y4m": "y4m"}[name[-4:]]
        assert call("draw", "bars", "--format", "64x48@60", "--seconds", "0.1", "--as", carrier, "--to", name).code == 0
    (folder / "own.toml").write_text(OWN, encoding="utf-8")
    (folder / "bad.toml").write_text("x = \n", encoding="utf-8")
    (folder / "words.txt").write_text("words", encoding="utf-8")
    (folder / "good.png").write_bytes(good)
    (folder / "short.png").write_bytes(good[:100])
    yield folder
    os.chdir(before)


@settings(max_examples=200, suppress_health_check=[HealthCheck.too_slow])
@given(command_lines())
def test_no_command_line_does_anything_unforeseen(playground: Path, line: list[str]) -> None:
    """Any words give exit 0, 1 or 2; a mistake is one line and no output; no unfinished work is left."""
    ran = call(*line)
    assert ran.code in (0, 1, 2)
    if ran.code == 2 and line[0] == "verify" and ran.out:
        # Of several files the others are answered.
        assert "cannot be read" in ran.text.splitlines()[-1] or '"error"' in ran.text
    elif ran.code == 2:
        check_mistake(ran)
    assert not list(playground.rglob(".trueraster-*"))


# --- Reference commands --------------------------------------------------------------------------------------


def test_no_words_at_all_show_the_help() -> None:
    """The bare command is the help, exit 0."""
    assert (call().code, call().text) == (0, call("--help").text)


@pytest.mark.parametrize("name", [None, *COMMANDS])
def test_help_fits_a_terminal_and_names_every_option(name: str | None) -> None:
    """No line is over 80 columns; each option, and each command, is in its help."""
    ran = call(*([] if name is None else [name]), "--help")
    assert (ran.code, ran.err) == (0, "")
    assert max(map(len, ran.text.splitlines())) <= 80
    if name is None:
        assert all(re.search(rf"^  {command} ", ran.text, re.M) for command in COMMANDS)
        return
    for parameter in options_of(name):
        if isinstance(parameter, click.Option):
            assert all(re.search(rf"(?<![\w-]){option}(?![\w-])", ran.text) for option in parameter.opts)
            assert parameter.help


@pytest.mark.parametrize("group", [[], ["measure"], ["record"]])
def test_the_list_of_commands_is_not_cut(group: list[str]) -> None:
    """Each command's line in the list of help is a whole sentence on a terminal of 80 columns."""
    listed = call(*group, "--help").text.split("Commands:")[1].split("Begin with")[0]
    assert all(line.endswith(".") and not line.endswith("...") for line in listed.splitlines() if line.strip())


def all_commands(group: click.Group = app, path: str = "") -> dict[str, click.Command]:
    """Every command by its whole name, such as 'measure grey', those of groups too."""
    found: dict[str, click.Command] = {}
    for name in group.list_commands(click.Context(group)):
        command = group.get_command(click.Context(group), name)
        assert command is not None
        found[f"{path}{name}"] = command
        if isinstance(command, click.Group):
            found |= all_commands(command, f"{path}{name} ")
    return found


def test_daily_options_head_the_help() -> None:
    """Up to three daily options come first; all others, with --help, are under 'Less often'."""
    daily = {name: command for name, command in all_commands().items() if isinstance(command, DailyFirst)}
    long = [name for name, one in all_commands().items() if len(one.params) > 10 and not isinstance(one, click.Group)]
    assert set(long) <= set(daily)
    for name, command in daily.items():
        often, rarely = call(*name.split(), "--help").text.split("\nOptions:\n")[1].split("\nLess often:\n")
        assert 1 <= len(command.daily) <= 3, name
        assert len(re.findall(r"^  -", often, re.M)) == len(command.daily), name
        options = [one for one in command.get_params(click.Context(command)) if isinstance(one, click.Option)]
        assert len(re.findall(r"^  -", rarely, re.M)) == len(options) - len(command.daily), name
    with pytest.raises(ValueError, match="has no option --nothing"):
        DailyFirst("made", daily=("--nothing",))


def test_the_list_of_commands_loads_no_command() -> None:
    """A fresh process prints it and has no module of a command, of figures or of pixels."""
    code = "from trueraster.cli import run; import sys; run(['--help']); print(*sys.modules, file=sys.stderr)"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    loaded = ran.stderr.split()
    heavy = ("trueraster.commands", "trueraster.output", "patterns", "render", "analysis", "numpy", "rich")
    assert ran.stdout.startswith("Usage: trueraster")
    assert "trueraster.cli" in loaded
    assert [name for name in loaded if name.startswith(heavy)] == []


def test_the_end_of_the_program_looks_for_no_cycles() -> None:
    """All objects are out of the collector's sight when Python ends: looking through them takes as long as a frame."""
    code = (
        "import atexit, gc, sys; from trueraster.cli import main; sys.argv[1:] = ['levels', '50'];"
        "atexit.register(lambda: print(len(gc.get_objects()), gc.get_freeze_count(), file=sys.stderr)); main()"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, timeout=60)
    left, frozen = map(int, ran.stderr.split())
    assert ran.stdout
    assert frozen > 10 * left


# STANDARDS.md section 2: picture %, N10 mV, 714 mV without and with setup, IRE with setup, exact 8- and 10-bit codes.
LEVELS = [
    (-4, -28, -28.57, 27.14, 3.80, 7.24, 28.96),
    (-2, -14, -14.29, 40.36, 5.65, 11.62, 46.48),
    (0, 0, 0, 53.57, 7.50, 16, 64),
    (2, 14, 14.29, 66.79, 9.35, 20.38, 81.52),
    (4, 28, 28.57, 80.00, 11.20, 24.76, 99.04),
    (10, 70, 71.43, 119.64, 16.75, 37.9, 151.6),
    (50, 350, 357.14, 383.93, 53.75, 125.5, 502),
    (75, 525, 535.71, 549.11, 76.875, 180.25, 721),
    (100, 700, 714.29, 714.29, 100, 235, 940),
]
# STANDARDS.md section 1.1, greys and steps: % to 8- and 10-bit code. 109 % does not exist in 8 bits: 254 is the last.
PERCENTS = (*range(0, 101, 10), -5, -4, -2, -1, 1, 2, 3.5, 4, 5, 7.5, 11.5, 15, 75, 105, 109)
CODES_8 = (
    16,
    38,
    60,
    82,
    104,
    126,
    147,
    169,
    191,
    213,
    235,
    5,
    7,
    12,
    14,
    18,
    20,
    24,
    25,
    27,
    32,
    41,
    49,
    180,
    246,
    254,
)
CODES_10 = (
    *(64, 152, 239, 327, 414, 502, 590, 677, 765, 852, 940),
    *(20, 29, 46, 55, 73, 82, 95, 99, 108, 130, 165, 195, 721, 984, 1019),
)


def test_levels_are_those_of_the_standards() -> None:
    """`levels` gives the table of the standards' own figures, to the digits that the table has."""
    found = call("levels", "--json", "--", *(f"{row[0]}%" for row in LEVELS)).json["levels"]
    keys = (
        "percent",
        "millivolts",
        "millivolts_714",
        "millivolts_714_setup",
        "ire_setup",
        "code_8_exact",
        "code_10_exact",
    )
    assert len(found) == len(LEVELS)
    for got, row in zip(found, LEVELS, strict=True):
        assert [got[key] for key in keys] == pytest.approx(row, abs=0.005)


def test_codes_are_those_of_the_standards() -> None:
    """`levels` writes the rounded codes, and clips only at the codes kept for timing."""
    found = call("levels", "--json", "--", *(f"{percent}%" for percent in PERCENTS)).json["levels"]
    wanted = list(zip(PERCENTS, CODES_8, CODES_10, strict=True))
    assert [(level["percent"], level["code_8"], level["code_10"]) for level in found] == wanted


@pytest.mark.parametrize(
    ("text", "percent"),
    [
        ("75", 75),
        ("75%", 75),
        # The rows of 75 %, 0 % and 100 % in STANDARDS.md section 2.
        ("525mV", 75),
        ("10:721", 75),
        ("76.875IRE", 75),
        ("7.5IRE", 0),
        ("8:235", 100),
        ("10:940", 100),
        ("12:3760", 100),
        # 1 IRE is 1/140 V: 50 / 70 and 50 / 70 of 100 IRE.
        ("357.142857142mV-714", 50),
        ("383.928571428mV-setup", 50),
    ],
)
def test_every_unit_leads_to_the_same_level(text: str, percent: int) -> None:
    """A level in any unit is the same level."""
    (found,) = call("levels", text, "--json").json["levels"]
    assert found["percent"] == pytest.approx(percent, abs=1e-6)


def test_the_table_of_levels_shows_what_json_says() -> None:
    """The printed table of the usual levels and its JSON agree; a clipped code is marked."""
    text, found = call("levels").text, call("levels", "--json").json["levels"]
    rows = [line.split() for line in text.splitlines() if re.match(r"\s*-?\d", line)]
    assert len(rows) == len(found)
    for row, level in zip(rows, found, strict=True):
        assert float(row[0]) == level["percent"]
        assert [int(code.rstrip("*")) for code in row[1:3]] == [level["code_8"], level["code_10"]]
        assert float(row[3]) == pytest.approx(level["millivolts"], abs=0.005)
    assert [row[0] for row in rows if "*" in row[1]] == ["109"]


@pytest.mark.parametrize("name", FORMATS)
def test_the_timing_of_a_format_adds_up(name: str) -> None:
    """Active part and blanking give the totals, and the totals and the clock give the rates."""
    (got,) = call("formats", name, "--json").json["formats"]
    assert got["id"] == name
    parts = ("active", "front_porch", "sync", "back_porch")
    fields = [got["v"], *([got["v_second"]] if got["v_second"] else [])]
    for interval in (got["h"], *fields):
        assert sum(interval[part] for part in parts) == interval["total"]
    assert got["h"]["active"] == got["width"]
    assert sum(field["active"] for field in fields) == got["height"]
    assert got["total_lines"] == sum(field["total"] for field in fields)
    frame_rate = Fraction(got["frame_rate"])
    # JSON holds the clock to a millionth of a hertz.
    assert got["pixel_clock_hz"] == pytest.approx(float(frame_rate * got["h"]["total"] * got["total_lines"]), abs=1e-5)
    assert got["line_rate_hz"] == pytest.approx(got["pixel_clock_hz"] / got["h"]["total"], abs=1e-5)
    assert got["frame_rate_hz"] == pytest.approx(float(frame_rate), abs=1e-8)
    assert got["field_rate_hz"] == pytest.approx(float(frame_rate) * len(fields), abs=1e-8)
    assert got["interlaced"] is (len(fields) == 2)
    assert got["field_order"] == ("top" if got["interlaced"] else "progressive")
    assert f'"{name}"' in got["modeline"]
    picture = got["picture"]
    across, down = (Fraction(*map(int, got[key].split(":"))) for key in ("picture_aspect", "sample_aspect"))
    assert across == down * picture["width"] / picture["height"]


def mode_rate(mode: dict[str, Any]) -> Fraction:
    """Frames a second of a mode of the kernel's table."""
    width, height = mode["size"]
    lines = height + sum(mode["v"]) + sum(mode.get("v_second", ()))
    return Fraction(mode["clock_hz"], (width + sum(mode["h"])) * lines)


def test_formats_are_the_kernels_modes() -> None:
    """Every mode of the vector file is a format with the same figures, also at 1/1.001 of its clock."""
    found = {got["id"]: got for got in call("formats", "--json").json["formats"]}
    seen: dict[str, str] = {}
    for name, mode in MODES.items():
        rates = {mode_rate(mode)} | ({mode_rate(mode) / Fraction(1001, 1000)} if mode["reducible"] else set())
        for got in found.values():
            same_size = [got["width"], got["height"]] == mode["size"] and got["interlaced"] is mode["interlaced"]
            if not same_size or Fraction(got["frame_rate"]) not in rates:
                continue
            seen[got["id"]] = name
            keys = ("front_porch", "sync", "back_porch")
            # STANDARDS.md section 3: the files' samples start where BT.601 has it, 16 samples before sync and 60 after.
            assert [got["h"][key] for key in keys] == ([16, 62, 60] if got["id"] == "480i" else mode["h"])
            assert [got["v"][key] for key in keys] == mode["v"]
            if mode["interlaced"]:
                assert [got["v_second"][key] for key in keys] == mode["v_second"]
            assert ("+hsync +vsync" in got["modeline"]) is mode["positive_sync"]
    assert set(seen.values()) == set(MODES)
    # The kernel's header has no mode of 262 or 312 lines.
    assert set(found) - set(seen) == {"240p", "288p"}


def test_a_free_raster_has_no_timing() -> None:
    """What no standard fixes is null, not a guess."""
    (got,) = call("formats", "1024x768@60", "--json").json["formats"]
    assert [got[key] for key in ("pixel_clock_hz", "line_rate_hz", "h", "v", "modeline")] == [None] * 5
    assert (got["width"], got["height"], got["frame_rate"]) == (1024, 768, "60/1")


def test_patterns_are_listed_with_all_that_is_said_of_them() -> None:
    """`patterns` lists each by id in the order of work; its page fits a terminal and says what to look at."""
    found = call("patterns", "--json").json["patterns"]
    assert [p["id"] for p in found] == list(PATTERNS)
    assert [p["order"] for p in found] == sorted(p["order"] for p in found)
    for pattern in found:
        page = call("patterns", pattern["id"])
        assert page.code == 0
        assert max(map(len, page.text.splitlines())) <= 80
        flat = " ".join(page.text.split())
        for words in (pattern["look"], pattern["adjust"], *pattern["cautions"], *pattern["options"]):
            assert " ".join(textwrap.wrap(words, 200)) in flat


# --- Whole files only ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("carrier", ["png", "ffv1"])
def test_a_file_that_fails_its_proof_replaces_nothing(
    here: Path, monkeypatch: pytest.MonkeyPatch, carrier: str
) -> None:
    """Exit 1 and one line; the file that was there stays as it was, and nothing is left beside it."""
    length = () if carrier in ("png", "tiff", "dpx") else ("--seconds", "0.1")
    words = ("--as", carrier, *length, "--to", "out")
    assert call("draw", "bars", *words).code == 0
    before = listing(here)
    failed = Proof(verdict=Verdict.FAILED, reason="made to fail")
    monkeypatch.setattr("render.clip.prove", lambda *_, **__: failed)
    ran = call("draw", "bars", *words, "--json")
    assert (ran.code, ran.out) == (1, b"")
    assert ran.err.count("\n") == 1
    assert "made to fail" in ran.err
    assert listing(here) == before


def test_a_file_is_replaced_by_a_proved_one(here: Path) -> None:
    """An existing file, whatever is in it, gives way to the proved one."""
    (here / "out.png").write_bytes(b"words")
    assert call("draw", "bars", "--as", "png", "--to", "out.png").code == 0
    assert call("verify", "out.png").code == 0
    assert [path.name for path in here.iterdir()] == ["out.png"]


def whole(path: Path) -> str:
    """What is wrong with a clip of a minute, or nothing: its packets counted, a second decoded, and its levels."""
    try:
        with av.open(str(path)) as container:
            stream = container.streams.video[0]
            packets = sum(1 for packet in container.demux(stream) if packet.size)
            # 60 s of 60000/1001 frames a second, rounded to whole frames.
            if packets != 3596:
                return f"{path.name}: {packets} frames"
        with av.open(str(path)) as container:
            for frame, _ in zip(container.decode(video=0), range(60), strict=False):
                if frame.is_corrupt:
                    return f"{path.name}: a damaged frame"
    except av.FFmpegError as error:
        return f"{path.name}: {error}"
    ran = call("verify", path)
    return "" if ran.code == 0 else f"{path.name}: verify gives {ran.code} {ran.err}"


def kill_rounds(folder: Path, count: int, seed: int = 1) -> list[str]:
    """Kill a draw `count` times, each after a random time, then let one finish; what was found wrong.

    Every second round starts with the files of the earlier ones in place.
    """
    chance, faults = random.Random(seed), []
    folder.mkdir(parents=True, exist_ok=True)
    for i in range(count):
        if i % 2 == 0:
            for name in FINAL:
                (folder / name).unlink(missing_ok=True)
        with subprocess.Popen(
            [*PROGRAM, *KILLED, str(folder)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        ) as process:
            # A whole run takes about two seconds on two cores; most kills fall into its work.
            time.sleep(chance.uniform(0.15, 2.0))
            process.kill()
        for path in folder.iterdir():
            if not path.name.startswith("."):
                found = whole(path) if path.name in FINAL else f"a strange file {path.name}"
                faults += [f"round {i}: {found}"] if found else []
    last = start(*KILLED, folder)
    if last.code != 0:
        faults.append(f"the run after the kills: {last.code} {last.err}")
    faults += [found for name in FINAL if (found := whole(folder / name))]
    faults += [f"{path.name} is left" for path in folder.iterdir() if path.name not in FINAL]
    return faults


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="there is no such signal")
def test_a_kill_never_leaves_half_a_file(tmp_path: Path) -> None:
    """Killed at any moment, no file under its own name is less than proved; the next run finishes and clears up."""
    assert kill_rounds(tmp_path / "killed", 3) == []


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="there is no such signal")
def test_many_kills_never_leave_half_a_file(tmp_path: Path) -> None:
    """As above, at 20 other moments."""
    assert kill_rounds(tmp_path / "killed", 20, seed=2) == []


@pytest.mark.skipif(sys.platform == "win32", reason="signals work otherwise there")
@pytest.mark.parametrize("to_all", [False, True], ids=["the command", "its group, as a terminal does"])
@pytest.mark.parametrize("delay", quick_and_slow([0.35], [0.7]))
def test_an_interrupt_is_one_line_and_leaves_nothing(here: Path, delay: float, to_all: bool) -> None:
    """Ctrl-C at work: exit 130, one line, no table, and no unfinished file or hidden folder."""
    with subprocess.Popen(
        # Long enough that no file is finished before the signal comes.
        [*PROGRAM, "draw", "zone-plate-moving", "--format", "1080p59.94", "--as", "h264", "--to", "out"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        cwd=here,
        start_new_session=True,
    ) as process:
        time.sleep(delay)
        (os.killpg if to_all else os.kill)(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=30)
    assert (process.returncode, out) == (130, "")
    assert len(err.strip().splitlines()) == 1
    assert "Traceback" not in err
    assert [path.name for path in here.rglob("*") if path.is_file() or path.name.startswith(".")] == []


FULL_DISK = [
    ["bars", "--as", "y4m", "--seconds", "1"],
    ["circles", "--as", "h264", "--format", "720p50", "--seconds", "1"],
    ["bars", "--as", "h264"],
    ["circles", "--as", "ffv1", "--seconds", "2"],
    ["slate", "--as", "png", "--format", "1080p50", "--bits", "16"],
]


@pytest.mark.parametrize("words", FULL_DISK, ids=" ".join)
def test_a_full_disk_is_one_line_and_leaves_no_file(tmp_path: Path, words: list[str]) -> None:
    """A disk of 64 kB: one line, exit 2, no file at all."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root mounts")
    mounted = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(tmp_path)], capture_output=True, check=False
    )
    if mounted.returncode:
        pytest.skip("nothing can be mounted here")
    try:
        check_mistake(call("draw", *words, "--to", tmp_path / "out"), "No space left")
        assert [path for path in tmp_path.rglob("*") if path.name != "out"] == []
    finally:
        subprocess.run(["umount", str(tmp_path)], check=True)
