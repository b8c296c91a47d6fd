"""`trueraster show`: what the framebuffer of a virtual display holds, read from the display's own file.

A real display's sync is not tested: a virtual one has none.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from patterns.catalogue import PATTERNS
from patterns.formats import parse_format
from patterns.pattern import Options
from patterns.signal import Range
from tests.framebuffer import ROOT, XVFB, Display, display
from tests.matrix import quick_and_slow
from trueraster.cli import run
from trueraster.show.deck import Deck
from trueraster.show.outputs import Output, format_for
from trueraster.show.slide import DrawnSlide, Place, slide_of

needs_display = pytest.mark.skipif(XVFB is None, reason="Debian's package xvfb is not installed")
COMMAND = [sys.executable, "-c", "from trueraster.cli import main; main()", "show"]

SOME = ("bars", "pluge", "multiburst", "crosshatch", "ramp")
SIZES = [(720, 576, "576p"), (1280, 720, "720p59.94"), (1920, 1080, "1080p59.94"), (1024, 768, "1024x768@60")]


@needs_display
@pytest.mark.parametrize(
    ("width", "height", "fmt", "code_range", "only"),
    quick_and_slow(
        [(720, 480, "480p", "full", ()), (1280, 720, "720p59.94", "narrow", SOME)],
        [(720, 480, "480p", "narrow", ()), (720, 480, "480i", "full", ())]
        + [(*size, code_range, ()) for size in SIZES for code_range in ("full", "narrow")],
    ),
)
def test_every_still_pattern_is_in_the_framebuffer_code_by_code(
    width: int, height: int, fmt: str, code_range: str, only: tuple[str, ...]
) -> None:
    """The output's framebuffer equals the drawn pattern in every code, for every still pattern of the catalogue."""
    with display(width, height) as shown:
        done = subprocess.run(
            [sys.executable, "-m", "tests.show_all", str(shown.file), fmt, code_range, *only],
            env=shown.environment,
            cwd=ROOT,
            capture_output=True,
            text=True,
            timeout=300,
        )
    lines = done.stdout.splitlines()
    assert len(lines) >= len(only or [p for p in PATTERNS.values() if p.scene(parse_format(fmt)).is_still]), done.stderr
    assert [line for line in lines if not line.endswith(" 0")] == []


def drawn(folder: Path, *words: str) -> NDArray[np.uint8]:
    """A still that `draw` wrote and proved, read by Pillow."""
    path = folder / "still.png"
    assert run(["draw", *words, "--as", "png", "--to", str(path)]) == 0
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"))


@contextmanager
def showing(shown: Display, *words: str) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [*COMMAND, *words], env=shown.environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    try:
        yield process
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGINT)
        process.communicate(timeout=20)


@needs_display
def test_keys_lead_through_the_patterns(tmp_path: Path) -> None:
    """Right, left, a number, black and q of a real keyboard; each picture equals the PNG of `draw` for that format."""
    with display(720, 480) as shown, showing(shown, "bars", "crosshatch", "white", "--json") as process:
        bars, grid, white = (drawn(tmp_path, name, "--format", "480p") for name in ("bars", "crosshatch", "white"))
        shown.wait_for(bars)
        # A window that has just come up may not have the keyboard yet.
        time.sleep(0.5)
        for key, wanted in (("Right", grid), ("space", white), ("b", 0 * white), ("b", white), ("Left", grid)):
            shown.press(key)
            shown.wait_for(wanted)
        shown.press("3", "Return")
        shown.wait_for(white)
        shown.press("q")
        out, said = process.communicate(timeout=20)
        assert process.returncode == 0
    assert [one["pattern"] for one in json.loads(out)["shown"]] == ["bars", "crosshatch", "field"]
    before, _, after = said.partition("1: Colour bars")
    assert "format 480p, by the output's size" in before
    assert "Caution: Line rate 31.469 kHz" in before
    assert "Traceback" not in after


@needs_display
def test_a_raster_of_another_size_is_not_scaled(tmp_path: Path) -> None:
    """A smaller raster lies in the middle of black, with words below; of a larger one the middle is seen."""
    small, large = drawn(tmp_path, "bars", "-f", "480p"), drawn(tmp_path, "bars", "-f", "1280x1024@60")
    with display(1024, 768) as shown:
        for fmt, words in (("480p", "Does not fill"), ("1280x1024@60", "NOT FOR MEASURING")):
            with showing(shown, "bars", "--format", fmt) as process:
                begun, seen = time.monotonic(), shown.pixels()
                while time.monotonic() < begun + 15 and not seen.any():
                    time.sleep(0.05)
                    seen = shown.pixels()
                assert process.poll() is None
            if fmt == "480p":
                np.testing.assert_array_equal(seen[144:624, 152:872], small)
                assert not seen[:144].any()
                assert seen[700:].any(), "no words"
            else:
                np.testing.assert_array_equal(seen[:600], large[128:728, 128:1152])
            assert words in "".join(Place(width=1024, height=768).banner(parse_format(fmt)))


def test_a_moving_pattern_shows_frame_floor_of_time_by_rate() -> None:
    """Under a clock of the test: the frame is floor(t x rate) of the period, and each is the clip's frame."""
    fmt = parse_format("320x240@59.94")
    made = DrawnSlide.of(
        slide_of(PATTERNS["zone-plate-moving"], Options(), fmt, Range.FULL), Place(width=320, height=240)
    )
    period = len(made.order)
    assert period == 30  # half a second at 59.94 frames a second, to the nearest whole frame
    for seconds in (0.0, 0.01668, 0.0167, 0.5, 1.23456, 3601.7):
        assert made.index_at(seconds) == int(Fraction(seconds) * Fraction(60000, 1001)) % period
    bounce = DrawnSlide.of(slide_of(PATTERNS["bounce"], Options(), fmt, Range.FULL), Place(width=320, height=240))
    assert len(bounce.frames) == 2
    levels = [int(bounce.pixels_at(i)[120, 160]) for i in range(len(bounce.order))]
    assert set(levels) == {0, 0xFFFFFF}


def test_drawing_stops_when_nobody_wants_it_any_more() -> None:
    """A moving pattern that is not wanted any more does not keep the next one waiting: one frame is drawn, not 30."""
    fmt = parse_format("320x240@59.94")
    slide = slide_of(PATTERNS["zone-plate-moving"], Options(), fmt, Range.FULL)
    assert len(DrawnSlide.of(slide, Place(width=320, height=240), lambda: True).frames) == 1


def test_the_list_goes_to_black_and_back() -> None:
    """The deck of `show`: black hides, the ends hold, a wrong number changes nothing, time over is black."""
    fmt = parse_format("480p")
    slides = [slide_of(PATTERNS[name], Options(), fmt, Range.FULL) for name in ("bars", "pluge", "steps")]
    deck = Deck(slides)
    deck.press("previous")
    assert deck.current() is slides[0]
    deck.press("3")
    deck.press("next")
    deck.press("9")
    assert deck.current() is slides[2]
    deck.over_time(slides[2])
    assert deck.current() is None
    deck.press("previous")
    assert deck.current() is slides[1]
    assert list(deck.ahead()) == [slides[1], slides[2], slides[0]]


@pytest.mark.parametrize(
    ("size", "rate", "name"),
    [
        ((720, 480), 60, "480p"),
        ((720, 576), 50, "576p"),
        ((1280, 720), 50, "720p50"),
        ((1920, 1080), 60, "1080p60"),
        ((1920, 1080), 59, "1080p59.94"),
        ((1920, 1080), 24, "1080p24"),
        ((1024, 768), 75, "1024x768p@75"),
        ((720, 480), 0, "480p"),
        ((720, 480), 100, "720x480p@100"),
    ],
)
def test_the_format_is_that_of_the_outputs_size_and_rate(size: tuple[int, int], rate: int, name: str) -> None:
    """Named formats (rasters and rates of CTA-861, as in tests of formats) where there is one, else a free raster."""
    fmt, words = format_for(Output(number=1, width=size[0], height=size[1], rate_hz=rate))
    assert fmt.id == name
    assert name in words


def test_without_a_display_it_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, and the line names the bench for players."""
    hidden = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "SDL_VIDEODRIVER")}
    for words in (["crosshatch"], ["--list"]):
        done = subprocess.run(
            [*COMMAND, *words], env={**hidden, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True, timeout=60
        )
        assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
        assert "bench --player" in done.stderr
    assert run(["show"]) == 2
    assert "PATTERN: name what to show" in capsys.readouterr().err


@pytest.mark.slow
@needs_display
def test_mistakes_are_one_line_and_outputs_are_listed(tmp_path: Path) -> None:
    """A rate that the set does not accept, an output that is not there, a pattern that needs fields: exit 2, a line."""
    with display(720, 480) as shown:

        def ran(*words: str) -> subprocess.CompletedProcess[str]:
            return subprocess.run([*COMMAND, *words], env=shown.environment, capture_output=True, text=True, timeout=60)

        for name, accepts in (("fifteen.json", ("--accepts", "480i,576i")), ("silent.json", ())):
            assert run(["record", "new", str(tmp_path / name), "--set", "14-inch monitor", *accepts]) == 0
        for words, said in (
            (
                ["crosshatch", "-f", "480p", "--line-rates", "15kHz"],
                "480p has a line rate of 31.469 kHz, outside 15 to",
            ),
            (["crosshatch", "-f", "480p", "--record", str(tmp_path / "fifteen.json")], "outside 15.4688 to 15.7812 or"),
            (["crosshatch", "--record", str(tmp_path / "silent.json")], "does not say which formats the set accepts"),
            (
                ["crosshatch", "-f", "240p", "--line-rates", "15kHz"],
                "480p has a line rate of 31.469 kHz, outside 15 to",
            ),
            (["crosshatch", "--line-rates", "31kHz", "--record", "x.json"], "give one or the other"),
            (["crosshatch", "--output", "7"], "--output: there is no output 7; there are 1: 720 x 480"),
            (["field-order", "--format", "480i"], "field-order: it moves field by field"),
            (["grid", "--range", "wide"], "--range"),
            (["crosshatch", "--side", "left"], "--side"),
        ):
            done = ran(*words)
            assert (done.returncode, done.stdout) == (2, ""), words
            assert said in done.stderr.splitlines()[-1]
            assert "Traceback" not in done.stderr
        (one,) = json.loads(ran("--list", "--json").stdout)["outputs"]
        assert one == {"number": 1, "width": 720, "height": 480, "rate_hz": None, "format": "480p"}
