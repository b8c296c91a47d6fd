"""Levels, durations and pulses of the waveform: against samples that the ffmpeg program decodes, and the equations."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.signal import resample

from tests.trials.scope import decoded, drawn, passes, told, traced

BARS = [(1, 1, 1), (1, 1, 0), (0, 1, 1), (0, 1, 0), (1, 0, 1), (1, 0, 0), (0, 0, 1), (0, 0, 0)]
"""Primaries of the bars by BT.471: 100/0/75/0, white at 100 %, colours at 75 %."""

WEIGHTS = {
    "601": (Fraction("0.299"), Fraction("0.587"), Fraction("0.114")),
    "709": (Fraction("0.2126"), Fraction("0.7152"), Fraction("0.0722")),
}
"""BT.601-7 and BT.709-6."""

SIZES = {"480i": (720, 480), "576i": (720, 576), "720p50": (1280, 720), "1080i50": (1920, 1080)}

# Clock in MHz; samples of front porch, sync, back porch, active line, negative half of tri-level sync: BT.601 at 13.5
# MHz (16 and 122 samples of 525 lines, 12 and 132 of 625) with CTA-861's sync; CTA-861 for the rest, as in
# linux/v4l2-dv-timings.h. The negative half is the end of the front porch (ST 274, ST 296).
LINES = {
    "480i": (Fraction(27, 2), 16, 62, 60, 720, 0),
    "576i": (Fraction(27, 2), 12, 63, 69, 720, 0),
    "240p": (Fraction(27, 2), 16, 62, 60, 720, 0),
    "288p": (Fraction(27, 2), 12, 63, 69, 720, 0),
    "480p": (Fraction(27), 16, 62, 60, 720, 0),
    "576p": (Fraction(27), 12, 64, 68, 720, 0),
    "720p50": (Fraction("74.25"), 440, 40, 220, 1280, 40),
    "720p60": (Fraction("74.25"), 110, 40, 220, 1280, 40),
    "1080i50": (Fraction("74.25"), 528, 44, 148, 1920, 44),
    "1080i59.94": (Fraction("74.25") * 1000 / 1001, 88, 44, 148, 1920, 44),
    "1080p24": (Fraction("74.25"), 638, 44, 148, 1920, 44),
    "1080p60": (Fraction("148.5"), 88, 44, 148, 1920, 44),
}
QUICK = ("576i", "1080i59.94")


def slow(*values: Any) -> Any:
    """A case for the whole matrix."""
    return pytest.param(*values, marks=pytest.mark.slow)


def levels_of(bar: int, matrix: str) -> tuple[Fraction, Fraction, Fraction]:
    """Y', P'B, P'R of a bar as fractions: the equations of BT.601 and BT.709, by hand."""
    scale = Fraction(1) if bar == 0 else Fraction(3, 4)
    red, green, blue = (part * scale for part in BARS[bar])
    kr, kg, kb = WEIGHTS[matrix]
    luma = kr * red + kg * green + kb * blue
    return luma, (blue - luma) / (2 * (1 - kb)), (red - luma) / (2 * (1 - kr))


@pytest.mark.parametrize("name", [n if n in ("480i", "1080i50") else slow(n) for n in SIZES])
def test_levels_of_bars_are_those_of_ffmpegs_samples_and_of_the_equations(name: str, tmp_path: Path) -> None:
    """10-bit 4:2:2 by the ffmpeg program: 700 mV (D - 64) / 876, and 700 mV (D - 512) / 896 (N10)."""
    width, height = SIZES[name]
    path = drawn(tmp_path / "bars.mov", "bars", name, "--as", "v210", "--seconds", "0.05")
    planes = decoded(path, "yuv422p10le", width, height)
    answer = told(str(path), "--format", name)
    clock, _, sync, back, active, _ = LINES[name]
    matrix = "601" if width == 720 else "709"
    row = answer["row"]
    assert row == height // 2
    for index, trace in enumerate(answer["traces"]):
        parts = [part for part in trace["parts"] if part["part"] == "picture"]
        # In colour difference too each bar differs from the next.
        assert len(parts) == 8
        for bar, part in enumerate(parts):
            middle = float((part["start_us"] + part["stop_us"]) / 2 * float(clock)) - sync - back
            assert 0 < middle < active
            code = int(planes[index][row, int(middle) // (2 if index else 1)])
            own = Fraction(700 * (code - 64), 876) if index == 0 else Fraction(700 * (code - 512), 896)
            assert part["mv"] == pytest.approx(float(own), abs=0.05)
            assert part["mv"] == pytest.approx(float(700 * levels_of(bar, matrix)[index]), abs=0.5)
            assert part["percent"] == pytest.approx(part["mv"] / 7, abs=0.01)


def test_setup_and_ire_are_those_of_170m(tmp_path: Path) -> None:
    """SMPTE 170M: IRE = 7.5 + 0.925 P, mV = IRE / 0.14; codes by the ffmpeg program."""
    path = drawn(tmp_path / "steps.mov", "steps", "480i", "--as", "v210", "--seconds", "0.05")
    luma = decoded(path, "yuv422p10le", 720, 480)[0]
    answer = told(str(path), "--signal", "composite", "--setup", "7.5")
    parts = answer["traces"][0]["parts"]
    steps = [part for part in parts if part["part"] == "picture"]
    assert len(steps) == 11
    for i, part in enumerate(steps):
        ire = Fraction("7.5") + Fraction("0.925") * 10 * i
        assert part["ire"] == pytest.approx(float(ire), abs=0.07)
        assert part["mv"] == pytest.approx(float(ire / Fraction("0.14")), abs=0.5)
        middle = int((part["start_us"] + part["stop_us"]) / 2 * 13.5) - 122
        own = (Fraction("7.5") + Fraction("92.5") * (int(luma[answer["row"], middle]) - 64) / 876) / Fraction("0.14")
        assert part["mv"] == pytest.approx(float(own), abs=0.05)
    named = {part["part"]: part["mv"] for part in parts}
    assert named["sync"] == pytest.approx(-40 / 0.14, abs=0.05)
    assert named["back porch"] == pytest.approx(0, abs=0.05)


def test_rgb_levels_are_those_of_ffmpegs_samples(tmp_path: Path) -> None:
    """R'G'B' of narrow range, 12 bits: 700 mV (D - 256) / 3504. The program's planes come as G, B, R."""
    words = ("--as", "ffv1", "--sampling", "rgb", "--bits", "12", "--range", "narrow", "--seconds", "0.05")
    path = drawn(tmp_path / "bars.mkv", "bars", "576i", *words, "--edges", "shaped")
    green, blue, red = decoded(path, "gbrp12le", 720, 576)
    answer = told(str(path), "--signal", "rgb")
    for trace, plane in zip(answer["traces"], (red, green, blue), strict=True):
        for part in trace["parts"]:
            if part["part"] == "picture":
                middle = int((part["start_us"] + part["stop_us"]) / 2 * 13.5) - 132
                code = int(plane[answer["row"], middle])
                assert part["mv"] == pytest.approx(700 * (code - 256) / 3504, abs=0.05)
                assert min(abs(part["mv"] - level) for level in (0, 525, 700)) < 0.5


@pytest.mark.parametrize("signal", ["ypbpr", "rgb"])
def test_a_pattern_is_shown_with_the_levels_of_the_equations(signal: str) -> None:
    """Drawn by the command itself: within 0.05 mV of 700 mV times the level (N10)."""
    answer = told("bars", "--format", "1080i50", "--signal", signal)
    for index, trace in enumerate(answer["traces"]):
        parts = [part for part in trace["parts"] if part["part"] == "picture"]
        for part in parts:
            bar = int((part["start_us"] + part["stop_us"]) / 2 * 74.25 - 192) // 240
            level = (
                levels_of(bar, "709")[index] if signal == "ypbpr" else BARS[bar][index] * Fraction(3 if bar else 4, 4)
            )
            assert part["mv"] == pytest.approx(float(700 * level), abs=0.05)


@pytest.mark.parametrize("name", [n if n in QUICK else slow(n) for n in LINES])
def test_durations_at_half_amplitude_are_the_standards(name: str, tmp_path: Path) -> None:
    """Of a white field, measured on the points of the CSV: each within 0.01 us (of what BT.601 and CTA-861 have)."""
    clock, front, sync, back, active, negative = LINES[name]
    path = drawn(tmp_path / "white.mkv", "field", name, "--as", "ffv1", "--seconds", "0.05", "--level", "100")
    trace = traced(tmp_path / "white.csv", str(path), "--component", "y")
    unit = 1 / float(clock)
    line = (front + sync + back + active) * unit
    start, stop = ((sync + back) * unit, (sync + back + active) * unit)
    low = passes(trace, "y_mv", -150, -2 * sync * unit, start)
    high = passes(trace, "y_mv", 350, 0, line)
    again = passes(trace, "y_mv", -150, stop, line + sync * unit / 2)
    assert len(low) == 2
    assert len(high) == 2
    assert high[1] - high[0] == pytest.approx(active * unit, abs=0.01)
    if not negative:
        assert low[0] == pytest.approx(0, abs=0.001)
        assert low[1] - low[0] == pytest.approx(sync * unit, abs=0.01)
        assert high[0] - low[1] == pytest.approx(back * unit, abs=0.01)
        assert again[0] - high[1] == pytest.approx(front * unit, abs=0.01)
        assert again[0] - low[0] == pytest.approx(line, abs=0.01)
        return
    middle = passes(trace, "y_mv", 0, -0.1, 0.1)
    upper = passes(trace, "y_mv", 150, -sync * unit, start - 0.3 * back * unit)
    # Both halves, the middle between them at 0H, and the front porch up to the negative half.
    assert middle == [pytest.approx(0, abs=0.001)]
    assert middle[0] - low[0] == pytest.approx(negative * unit, abs=0.01)
    assert upper[1] - middle[0] == pytest.approx(sync * unit, abs=0.01)
    assert high[0] - upper[1] == pytest.approx(back * unit, abs=0.01)
    assert again[0] - high[1] == pytest.approx((front - negative) * unit, abs=0.01)


@pytest.mark.parametrize(
    ("name", "nanoseconds"),
    # T is 125 ns of 525 lines (NTC 7), 100 ns of 625 (J.63), half a cycle of 30 MHz in HD (common practice).
    [slow("480i", 250), ("576i", 200), slow("1080i50", 1000 / 30)],
)
def test_the_2t_pulse_has_its_half_amplitude_duration(name: str, nanoseconds: float, tmp_path: Path) -> None:
    """The 2T pulse is as wide at half its height as the standard says."""
    path = drawn(tmp_path / "pulse.mov", "pulse-bar", name, "--as", "v210", "--seconds", "0.05")
    trace = traced(tmp_path / "pulse.csv", str(path), "--component", "y")
    clock, _, sync, back, active, _ = LINES[name]
    start = float((sync + back) / clock)
    found = passes(trace, "y_mv", 350, start, start + float(active / clock) * 0.45)
    assert len(found) == 2
    assert (found[1] - found[0]) * 1000 == pytest.approx(nanoseconds, rel=0.01)


@pytest.mark.parametrize(
    ("name", "pattern"), [slow("576i", "pulse-bar"), ("480i", "multiburst"), slow("720p50", "pulse-bar")]
)
def test_between_samples_it_is_scipys_resampling_of_ffmpegs_samples(name: str, pattern: str, tmp_path: Path) -> None:
    """SciPy's resample is the ideal, periodic band limit; a line with its blanking is periodic enough."""
    width, height = {"480i": (720, 480), "576i": (720, 576), "720p50": (1280, 720)}[name]
    path = drawn(tmp_path / "p.mov", pattern, name, "--as", "v210", "--seconds", "0.05")
    luma = decoded(path, "yuv422p10le", width, height)[0]
    clock, front, sync, back, active, _ = LINES[name]
    answer, trace = told(str(path)), traced(tmp_path / "p.csv", str(path), "--component", "y")
    line = np.zeros(front + sync + back + active)
    line[sync + back : sync + back + active] = 700 * (luma[answer["row"]].astype(float) - 64) / 876
    points = 16
    theirs = resample(line, points * line.size)
    # Sample j stands at j in theirs and at j + 1/2 here; both ends of the picture are shaped here and hard there.
    at = np.arange(theirs.size) / points + 0.5
    inside = (at > sync + back + 60) & (at < sync + back + active - 60)
    ours = np.interp(at[inside] / float(clock), trace["us"], trace["y_mv"])
    assert np.abs(ours - theirs[inside]).max() < 4
    assert np.sqrt(np.mean((ours - theirs[inside]) ** 2)) < 0.7


def test_colour_difference_stands_where_luma_does(tmp_path: Path) -> None:
    """In 4:2:2 chroma is co-sited with the first luma sample of each pair (BT.601): the edges of bars meet."""
    path = drawn(tmp_path / "bars.mov", "bars", "576i", "--as", "v210", "--seconds", "0.05")
    by_key = {trace["key"]: trace["parts"] for trace in told(str(path))["traces"]}
    edges = {
        key: [part["stop_us"] for part in parts if part["part"] == "picture"][:-1] for key, parts in by_key.items()
    }
    for key in ("pb", "pr"):
        assert len(edges[key]) == len(edges["y"]) == 7
        assert max(abs(a - b) for a, b in zip(edges[key], edges["y"], strict=True)) < 0.01


@pytest.mark.parametrize("name", ["480i", slow("576i")])
def test_the_lines_of_both_fields_are_those_of_the_raster(name: str, tmp_path: Path) -> None:
    """Every line of a picture that differs from line to line, against ffmpeg's rows: CTA-861's first lines."""
    width, height = SIZES[name]
    path = drawn(tmp_path / "zone.mov", "zone-plate", name, "--as", "v210", "--seconds", "0.05")
    luma = decoded(path, "yuv422p10le", width, height)[0]
    first = {"480i": (22, 285), "576i": (23, 336)}[name]
    clock, _, sync, back, _, _ = LINES[name]
    for field, begin in enumerate(first):
        for line in (begin + 3, begin + 201):
            row = 2 * (line - begin) + field
            trace = traced(tmp_path / "line.csv", str(path), "--component", "y", "--line", str(line))
            at = (sync + back + np.arange(300, 420) + 0.5) / float(clock)
            wanted = 700 * (luma[row, 300:420].astype(float) - 64) / 876
            # The very detail that the filter takes from the samples may be several millivolts.
            assert np.abs(np.interp(at, trace["us"], trace["y_mv"]) - wanted).mean() < 5


@pytest.mark.parametrize(
    ("name", "count", "broad", "equalising"), [slow("480i", 6, 27.08, 2.3), slow("576i", 5, 27.3, 2.35)]
)
def test_a_field_has_its_vertical_sync_on_the_trace(
    name: str, count: int, broad: float, equalising: float, tmp_path: Path
) -> None:
    """Pulses of the CSV at half amplitude (SMPTE 170M, BT.1700; from memory); the points stand a sample apart."""
    trace = traced(tmp_path / "field.csv", "field", "--format", name, "--field", "2", "--component", "y")
    edges = passes(trace, "y_mv", -150, -40, 1400)
    # It begins within an equalising pulse's distance of the field's start, which is the middle of a line.
    wide = (
        np.diff(edges)[::2]
        if trace["y_mv"][np.searchsorted(trace["us"], edges[0]) - 1] > -150
        else np.diff(edges)[1::2]
    )
    assert np.sum(np.abs(wide - broad) < 0.05) == count
    assert np.sum(np.abs(wide - equalising) < 0.05) >= count


def test_the_last_line_of_625_gives_way_to_the_equalising_pulse() -> None:
    """In line 623 the picture ends half way, and the equalising pulse begins at 32 us."""
    parts = told("field", "--level", "100", "--format", "576i", "--line", "623", "--component", "y")["traces"][0][
        "parts"
    ]
    picture = next(part for part in parts if part["part"] == "picture")
    pulse = next(part for part in parts if part["part"] == "pulse")
    assert picture["stop_us"] == pytest.approx(32 - 12 / 13.5, abs=0.02)
    assert (pulse["start_us"], pulse["duration_us"]) == (pytest.approx(32, abs=0.01), pytest.approx(2.35, abs=0.01))
