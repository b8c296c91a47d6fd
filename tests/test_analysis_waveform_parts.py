"""The parts of a line: where the pattern has its bars, and never across the edges of sync and of the picture."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from patterns.catalogue import PATTERNS
from tests.command import call
from tests.trials.scope import told

Json = dict[str, Any]


def pictures(answer: Json, trace: int = 0) -> list[Json]:
    """The flat parts of the picture."""
    return [part for part in answer["traces"][trace]["parts"] if part["part"] == "picture"]


def halves_up(value: Fraction) -> int:
    return int(value + Fraction(1, 2))


@pytest.mark.parametrize("pattern", ["steps", "bars"])
@pytest.mark.parametrize("name", ["256x240p@60", "320x240p@60", "384x240p@60", "640x240p@60", "720x240@60"])
def test_bars_of_a_free_raster_lie_where_the_pattern_has_them(name: str, pattern: str) -> None:
    """Hard edges ring through the filter, and still each bar begins and ends on its own sample.

    By hand: N equal bars of a raster of W samples begin at i W / N, halves upward; 11 steps of 10 %, 8 bars of BT.471.
    """
    answer = told(pattern, "--format", name, "--component", "y")
    width = int(name.split("x")[0])
    count = 11 if pattern == "steps" else 8
    edges = [halves_up(Fraction(i * width, count)) for i in range(count + 1)]
    clock = answer["pixel_clock_hz"] / 1e6
    times = answer["times_us"]
    found = pictures(answer)
    assert len(found) == count
    for i, part in enumerate(found):
        assert part["start_us"] == pytest.approx(times["active_start"] + edges[i] / clock, abs=0.01)
        assert part["stop_us"] == pytest.approx(times["active_start"] + edges[i + 1] / clock, abs=0.01)
        assert part["duration_us"] == pytest.approx((edges[i + 1] - edges[i]) / clock, abs=0.01)
        if pattern == "steps":
            assert part["mv"] == pytest.approx(70 * i, abs=0.05)
    # 100/0/75/0: white and black at the ends.
    if pattern == "bars":
        assert [found[0]["mv"], found[-1]["mv"]] == [pytest.approx(700, abs=0.05), pytest.approx(0, abs=0.05)]


def check_times(answer: Json) -> None:
    """Sync, porches and picture within 0.01 us of the format's own, or null; and nothing lies across them."""
    times = answer["times_us"]
    named = {
        "back porch": (times["sync_stop"], times["active_start"]),
        "front porch": (times["active_stop"], times["line"] + times["sync_start"]),
    }
    for trace in answer["traces"]:
        parts = trace["parts"]
        assert parts[0]["part"] == ("sync" if trace["key"] == "y" else "blanking")
        assert parts[0]["flat_from_us"] == pytest.approx(times["sync_start"], abs=0.01)
        assert parts[-1]["flat_to_us"] == pytest.approx(times["line"] + times["sync_start"], abs=0.01)
        syncs = [part for part in parts if part["part"] == "sync"]
        if syncs:
            assert syncs[-1]["stop_us"] - syncs[0]["start_us"] == pytest.approx(times["sync"], abs=0.01)
        for part in parts:
            if part["part"] in named:
                start, stop = named[part["part"]]
                assert part["start_us"] is None or part["start_us"] == pytest.approx(start, abs=0.01)
                assert part["stop_us"] is None or part["stop_us"] == pytest.approx(stop, abs=0.01)
            elif part["part"] == "picture":
                assert times["active_start"] - 0.01 < part["flat_from_us"]
                assert part["flat_from_us"] < part["flat_to_us"] < times["active_stop"] + 0.01
                known = part["start_us"] is not None and part["stop_us"] is not None
                assert (part["duration_us"] is not None) == known
        if trace["key"] == "y":
            assert {"back porch", "front porch"} <= {part["part"] for part in parts}


@pytest.mark.parametrize(
    ("words", "flat"),
    [
        # 0 and 700 mV are flat for some samples at the ends of the ramp; it has no edge to either.
        (["ramp", "--format", "480i"], [(0, False), (700, False)]),
        (["ramp", "--format", "576i"], [(0, False), (700, False)]),
    ],
    ids=["480i", "576i"],
)
def test_what_goes_over_into_a_ramp_has_no_length(words: list[str], flat: list[tuple[float, bool]]) -> None:
    """A flat part that runs into a ramp has a level but no duration."""
    answer = told(*words, "--component", "y")
    check_times(answer)
    found = pictures(answer)
    assert [(round(part["mv"], 1), part["duration_us"] is not None) for part in found] == flat
    assert found[0]["stop_us"] is None
    assert found[0]["start_by"] == "timing"
    assert found[1]["start_us"] is None
    assert found[1]["stop_by"] == "edge"
    code, out, _ = call("scope", *words, "--component", "y")
    assert code == 0
    assert "In brackets: the trace is flat from or to there" in out


def test_a_picture_that_begins_with_an_edge_leaves_the_porch_alone() -> None:
    """A moving bar that stands at the left end of the line (BT.601: 62 and 60 samples of 13.5 MHz before it)."""
    answer = told("field-order", "--frame", "3", "--component", "y")
    check_times(answer)
    porch = next(part for part in answer["traces"][0]["parts"] if part["part"] == "back porch")
    assert porch["duration_us"] == pytest.approx(60 / 13.5, abs=0.01)


@pytest.mark.parametrize(
    ("name", "line", "names"),
    [
        # 525 lines: equalising pulses in line 1, broad ones in 5, whole lines from 10 on (SMPTE 170M, from memory).
        ("480i", 1, ["pulse", "blanking", "pulse", "blanking"]),
        ("480i", 5, ["pulse", "blanking", "pulse", "blanking"]),
        ("480i", 12, ["sync", "blanking"]),
        ("720p60", 3, ["sync", "sync", "blanking", "pulse", "blanking"]),
    ],
)
def test_pulses_of_blank_lines_are_not_line_sync(name: str, line: int, names: list[str]) -> None:
    """Equalising and broad pulses are reported as pulses, and give no time of line sync."""
    answer = told("bars", "--format", name, "--line", str(line), "--component", "y")
    assert [part["part"] for part in answer["traces"][0]["parts"]] == names
    assert (answer["measured_us"] is None) == (names[0] == "pulse")


def test_a_porch_that_the_picture_reaches_over_is_not_told() -> None:
    """A raster of 64 samples: a front porch of one sample lies under the end of the picture, which takes four."""
    parts = told("steps", "--format", "64x48@60", "--component", "y")["traces"][0]["parts"]
    porch = next(part for part in parts if part["part"] == "front porch")
    assert (porch["mv"], porch["stop_us"], porch["duration_us"], porch["stop_by"]) == (None, None, None, "none")
    code, out, _ = call("scope", "steps", "--format", "64x48@60")
    assert code == 0
    assert " front porch " in out


FORMATS = {
    "480i": (30, 142, 285),
    "576i": (23, 167, 400),
    "720p60": (300,),
    "1080i50": (291,),
    "320x240p@60": (60, 139),
}


@pytest.mark.slow
@pytest.mark.parametrize("name", FORMATS)
@pytest.mark.parametrize("pattern", PATTERNS)
def test_times_of_every_pattern_are_the_formats_or_not_told(pattern: str, name: str) -> None:
    """On every pattern and format, measured times are the format's, or are left out."""
    for line in FORMATS[name]:
        check_times(told(pattern, "--format", name, "--line", str(line)))


@pytest.mark.parametrize(
    ("pattern", "name", "line"),
    [("multiburst", "480i", "142"), ("crosshatch", "320x240p@60", "60"), ("zone-plate", "576i", "400")],
)
def test_times_of_some_patterns_are_the_formats_or_not_told(pattern: str, name: str, line: str) -> None:
    """On three difficult patterns, measured times are the format's, or are left out."""
    check_times(told(pattern, "--format", name, "--line", line))
