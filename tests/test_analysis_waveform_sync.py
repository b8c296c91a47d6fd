"""Lines as systems count them, and the pulses of sync on each."""

from __future__ import annotations

import itertools
from fractions import Fraction

import pytest

from patterns.formats import FORMATS, Format, FormatError, parse_format
from patterns.lines import check_line, field_of, field_span, line_of, row_of, sync_start, timing_of
from patterns.syncpulses import SyncPulse, equalising_count, line_pulses, sync_rise

INTERLACED = [name for name, fmt in FORMATS.items() if fmt.interlaced]


def lasts(fmt: Format, pulse: SyncPulse) -> float:
    """Microseconds, rounded to 10 ns."""
    return round(float((pulse.stop - pulse.start) / timing_of(fmt).pixel_clock_hz * 10**6), 2)


@pytest.mark.parametrize("name", FORMATS)
def test_every_row_has_one_line_and_every_line_at_most_one_row(name: str) -> None:
    """Rows of the picture and lines of the system map to each other one to one."""
    fmt = FORMATS[name]
    total = timing_of(fmt).total_lines
    rows = [row for line in range(1, total + 1) if (row := row_of(fmt, line)) is not None]
    assert sorted(rows) == list(range(fmt.height))
    assert [row_of(fmt, line_of(fmt, row)) for row in range(fmt.height)] == list(range(fmt.height))


@pytest.mark.parametrize(
    ("name", "line", "row"),
    [
        # CTA-861: 480i begins in lines 22 and 285, 576i in 23 and 336 (BT.656), 1080i in 21 and 584, each top first.
        ("480i", 22, 0),
        ("480i", 285, 1),
        ("480i", 261, 478),
        ("576i", 23, 0),
        ("576i", 336, 1),
        ("576i", 623, 575),
        ("1080i50", 21, 0),
        ("1080i50", 584, 1),
        ("720p60", 26, 0),
        ("720p60", 745, 719),
        ("1080p50", 1121, 1079),
        ("480i", 21, None),
        ("480i", 262, None),
        ("576i", 313, None),
    ],
)
def test_a_line_carries_its_row(name: str, line: int, row: int | None) -> None:
    """Known lines of the standards carry the row they should, and blank lines carry none."""
    assert row_of(FORMATS[name], line) == row


@pytest.mark.parametrize("line", [0, -1, 526, 10**9])
def test_a_line_that_is_not_there_is_refused(line: int) -> None:
    """A line number outside the system is refused, with the range that there is."""
    with pytest.raises(FormatError, match="480i has lines 1 to 525"):
        check_line(FORMATS["480i"], line)


def test_a_raster_without_timing_has_no_lines() -> None:
    """A raster without a timing has no line numbers."""
    with pytest.raises(FormatError, match="without a timing"):
        row_of(parse_format("1024x768@60"), 1)


def test_fields_begin_half_a_frame_apart() -> None:
    """625 lines: the second field begins in the middle of line 313 (BT.1700, from memory)."""
    fmt = FORMATS["576i"]
    assert [field_span(fmt, field).start for field in (1, 2)] == [Fraction(0), Fraction(625, 2)]
    assert [field_of(fmt, line) for line in (1, 313, 314, 625)] == [1, 1, 2, 2]
    with pytest.raises(FormatError, match="has no fields"):
        field_span(FORMATS["720p50"], 1)


@pytest.mark.parametrize(
    ("name", "starts"),
    [
        # In lines from the start of line 1: 525 lines 4 and 266 1/2 (SMPTE 170M), 625 lines 1 and 313 1/2 (BT.1700),
        # 1125 lines 1 and 563 1/2 (ST 274), 750 lines 1 (ST 296), 525 progressive 7 (293M); all from memory.
        ("480i", (3, Fraction(531, 2))),
        ("576i", (0, Fraction(625, 2))),
        ("1080i50", (0, Fraction(1125, 2))),
        ("720p50", (0,)),
        ("480p", (6,)),
        ("1080p24", (0,)),
    ],
)
def test_vertical_sync_begins_where_the_standard_has_it(name: str, starts: tuple[Fraction, ...]) -> None:
    """Vertical sync of each field begins at the place that the standard gives."""
    assert tuple(sync_start(FORMATS[name], field) for field in range(1, len(starts) + 1)) == starts


@pytest.mark.parametrize(
    ("name", "count", "equalising", "broad"),
    # SMPTE 170M: 2.3 us and half a line less 4.7; BT.1700: 2.35 and 27.3 us (from memory).
    [("480i", 6, 2.3, 27.08), ("576i", 5, 2.35, 27.3)],
)
def test_each_vertical_sync_of_an_interlaced_system_has_its_pulses(
    name: str, count: int, equalising: float, broad: float
) -> None:
    """A frame has the standard's number of broad and equalising pulses, with their durations."""
    fmt = FORMATS[name]
    total = timing_of(fmt).total_lines
    assert equalising_count(fmt) == count
    found = [lasts(fmt, pulse) for line in range(1, total + 1) for pulse in line_pulses(fmt, line)]
    assert found.count(broad) == 2 * count
    assert found.count(equalising) == 4 * count
    # What is left is one line sync for each line without: three half-line runs a field take three counts of halves.
    assert len(found) - 6 * count == total - 2 * 3 * count // 2


def test_pulses_of_625_lines_stand_in_their_halves() -> None:
    """Broad: 1 to the first half of 3, second half of 313 to 315; equalising from the second half of 623 (BT.1700)."""
    fmt = FORMATS["576i"]
    names = {2.35: "e", 27.3: "b", 4.67: "h"}
    told = {line: "".join(names[lasts(fmt, pulse)] for pulse in line_pulses(fmt, line)) for line in range(1, 626)}
    first = [told[line] for line in (622, 623, 624, 625, 1, 2, 3, 4, 5, 6)]
    second = [told[line] for line in (310, 311, 312, 313, 314, 315, 316, 317, 318, 319)]
    assert first == ["h", "he", "ee", "ee", "bb", "bb", "be", "ee", "ee", "h"]
    assert second == ["h", "ee", "ee", "eb", "bb", "bb", "ee", "ee", "e", "h"]


@pytest.mark.parametrize("name", FORMATS)
def test_pulses_of_a_frame_follow_each_other_and_none_overlap(name: str) -> None:
    """Pulses come in the order of time, and do not overlap from one frame to the next."""
    fmt = FORMATS[name]
    timing = timing_of(fmt)
    edges: list[Fraction] = []
    for line in range(1, timing.total_lines + 1):
        for pulse in line_pulses(fmt, line):
            edges += [(line - 1) * timing.h.total + pulse.start, (line - 1) * timing.h.total + pulse.stop]
    assert all(a <= b for a, b in itertools.pairwise(edges))
    assert edges[-1] < timing.total_lines * timing.h.total + edges[0]


@pytest.mark.parametrize(
    ("name", "nanoseconds"),
    # SMPTE 170M, BT.1700, 293M, ST 296 and 274 (4 samples): from memory.
    [("480i", 140), ("576i", 200), ("480p", 70), ("720p50", 53.87), ("1080p50", 26.94)],
)
def test_sync_rises_as_fast_as_the_standard_has_it(name: str, nanoseconds: float) -> None:
    """The rise time of sync is the standard's."""
    fmt = FORMATS[name]
    assert float(sync_rise(fmt) / timing_of(fmt).pixel_clock_hz * 10**9) == pytest.approx(nanoseconds, abs=0.01)
