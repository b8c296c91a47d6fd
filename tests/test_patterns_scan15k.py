"""The 15 kHz family against a search through every timing there is."""

from __future__ import annotations

import random
import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest

from patterns.formats import FORMATS
from patterns.modes.scan15k import MICROSECOND, Limits, Span, broadcast_system, solve
from patterns.timing import FormatError, Timing

# System M and the 625-line systems: 4 500 000 / 286 and 15 625 Hz (ITU-R BT.470, BT.1700; arithmetic of STANDARDS).
LINE_RATES = (Fraction(4_500_000, 286), Fraction(15_625))


def _request(drawn: random.Random) -> tuple[int, int, Fraction, bool, Limits]:
    """A mode and a set's limits, most of which have a timing."""
    interlaced = drawn.random() < 0.4
    height = drawn.randrange(384, 577, 2) if interlaced else drawn.randrange(160, 290)
    width = drawn.choice((drawn.randrange(240, 800), drawn.randrange(240, 800), drawn.randrange(1200, 2600)))
    rate = drawn.choice(
        (Fraction(60), Fraction(60_000, 1001), Fraction(50), Fraction(drawn.randrange(4900, 6150), 100))
    )
    middle = drawn.choice(LINE_RATES) + drawn.randrange(-60, 60)
    low, high = middle - drawn.randrange(20, 400), middle + drawn.randrange(20, 400)
    tenth = MICROSECOND / 10
    limits = Limits(
        line_rate_hz=(Span(low=low, high=high),),
        field_rate_hz=Span(low=Fraction(drawn.randrange(45, 50)), high=Fraction(drawn.randrange(60, 66))),
        front_porch=drawn.randrange(6, 16) * tenth,
        sync=drawn.randrange(42, 49) * tenth,
        back_porch=drawn.randrange(40, 56) * tenth,
        active=Span(low=drawn.randrange(490, 520) * tenth, high=drawn.randrange(525, 545) * tenth),
        front_lines=drawn.randrange(1, 4),
        sync_lines=drawn.randrange(2, 5),
        back_lines=drawn.randrange(8, 15),
        clock_min_hz=Fraction(drawn.choice((0, 0, 5_000_000, 25_000_000))),
        clock_step_hz=drawn.choice((10_000, 25_000, 125_000, 250_000, 1_000_000)),
        rate_tolerance=Fraction(drawn.randrange(2, 15), 1000),
    )
    return width, height, rate, interlaced, limits


def _at_least(times: Fraction, clocks: np.ndarray) -> np.ndarray:
    """Whole samples, rounded up, in integers."""
    return np.asarray(-(-clocks * times.numerator // times.denominator))


def _nearest_of_all(width: int, height: int, rate: Fraction, interlaced: bool, limits: Limits) -> float | None:
    """The least distance from the broadcast line rate in Hz, over every clock, every number of samples and of lines."""
    fields = 2 if interlaced else 1
    blank = limits.front_lines + limits.sync_lines + limits.back_lines
    step = limits.clock_step_hz
    clocks = np.arange(1, 200_000_000 // step, dtype=np.int64) * step
    clocks = clocks[(clocks >= limits.clock_min_hz.numerator) & (clocks < 60 * 10**6)]
    lasts = width / clocks
    # A picture of 49 to 54.5 us; the exact bounds are tested below, in integers.
    clocks = clocks[(lasts > 45e-6) & (lasts < 60e-6)]
    low, high = limits.active.low, limits.active.high
    shortest = width * low.denominator >= low.numerator * clocks
    longest = width * high.denominator <= high.numerator * clocks
    clocks = clocks[shortest & longest]
    if not len(clocks):
        return None
    samples = np.arange(width + 1, 60 * 10**6 // 15_000, dtype=np.int64)
    clock, total = clocks[:, None], samples[None, :]
    needed = sum(np.maximum(_at_least(t, clocks), 1) for t in (limits.front_porch, limits.sync, limits.back_porch))
    fits = total >= width + needed[:, None]
    taken = limits.line_rate_hz[0]
    fits &= clock * taken.low.denominator >= taken.low.numerator * total
    fits &= clock * taken.high.denominator <= taken.high.numerator * total
    places = np.argwhere(fits)
    if not len(places):
        return None
    chosen, counts = clocks[places[:, 0]], samples[places[:, 1]]
    scanned = np.zeros(len(places), dtype=bool)
    bounds = (
        max(rate * (1 - limits.rate_tolerance), limits.field_rate_hz.low),
        min(rate * (1 + limits.rate_tolerance), limits.field_rate_hz.high),
    )
    for lines in range(height + blank * fields, 1300):
        if interlaced and (lines % 2 == 0 or lines // 2 < height // 2 + blank):
            continue
        field_rates = chosen * fields / (counts * lines)
        # No drawn rate lies within 1e-9 of a bound without being on it.
        scanned |= (field_rates >= float(bounds[0]) - 1e-9) & (field_rates <= float(bounds[1]) + 1e-9)
    if not scanned.any():
        return None
    target = LINE_RATES[0] if rate >= 55 else LINE_RATES[1]
    return float(np.abs(chosen[scanned] / counts[scanned] - float(target)).min())


def _check_limits(timing: Timing, rate: Fraction, interlaced: bool, limits: Limits) -> None:
    clock = timing.pixel_clock_hz
    assert clock % limits.clock_step_hz == 0
    assert clock >= limits.clock_min_hz
    assert limits.line_rate_hz[0].low <= timing.line_rate_hz <= limits.line_rate_hz[0].high
    assert limits.field_rate_hz.low <= timing.field_rate_hz <= limits.field_rate_hz.high
    assert abs(timing.field_rate_hz / rate - 1) <= limits.rate_tolerance
    assert limits.active.low <= timing.h.active / clock <= limits.active.high
    assert timing.h.front_porch / clock >= limits.front_porch
    assert timing.h.sync / clock >= limits.sync
    assert timing.h.back_porch / clock >= limits.back_porch
    for v in (timing.v, timing.v_second):
        if v is not None:
            assert v.front_porch >= limits.front_lines
            assert v.sync >= limits.sync_lines
            assert v.back_porch >= limits.back_lines
    assert (timing.v_second is not None) == interlaced
    assert timing.total_lines == timing.v.total + (timing.v_second.total if timing.v_second else 0)
    assert timing.total_lines % 2 or not interlaced


def _compare(seed: int, count: int) -> tuple[int, int]:
    """Draw requests; answers and refusals."""
    drawn = random.Random(seed)
    answered = refused = 0
    while answered + refused < count:
        width, height, rate, interlaced, limits = _request(drawn)
        nearest = _nearest_of_all(width, height, rate, interlaced, limits)
        case = f"{width}x{height}{'i' if interlaced else 'p'}@{rate} {limits}"
        is_taken = limits.field_rate_hz.low <= rate <= limits.field_rate_hz.high
        try:
            timing = solve(width, height, rate, interlaced=interlaced, limits=limits)
        except FormatError:
            assert nearest is None or not is_taken, case
            refused += 1
            continue
        assert nearest is not None, case
        assert (timing.h.active, timing.v.active) == (width, height // (2 if interlaced else 1)), case
        _check_limits(timing, rate, interlaced, limits)
        target = LINE_RATES[0] if rate >= 55 else LINE_RATES[1]
        assert float(abs(timing.line_rate_hz - target)) == pytest.approx(nearest, abs=1e-6), case
        answered += 1
    return answered, refused


def test_each_answer_keeps_the_limits_and_no_other_timing_is_nearer_to_broadcast() -> None:
    """A search through all timings finds none that keeps the limits and is nearer to broadcast."""
    answered, refused = _compare(seed=1, count=60)
    assert answered >= 15
    assert refused >= 5


@pytest.mark.slow
def test_five_hundred_answers_against_every_timing_there_is() -> None:
    """The same search holds for five hundred answers."""
    answered = 0
    for seed in range(2, 40):
        answered += _compare(seed=seed, count=100)[0]
        if answered >= 500:
            break
    assert answered >= 500


@pytest.mark.parametrize("name", ["240p", "288p", "480i", "576i"])
def test_a_broadcast_raster_is_scanned_as_its_named_format_is(name: str) -> None:
    """A broadcast raster gets the lines, rates and picture place of its named format."""
    fmt = FORMATS[name]
    named = fmt.timing
    assert named is not None
    timing = solve(fmt.width, fmt.height, fmt.field_rate, interlaced=fmt.interlaced, limits=Limits())
    assert timing.total_lines == named.total_lines
    assert timing.line_rate_hz == named.line_rate_hz
    assert timing.v == named.v
    assert timing.v_second == named.v_second
    # The same place of the picture, as seen from horizontal sync.
    middles = [(t.h.sync + t.h.back_porch + t.h.active / 2) / float(t.pixel_clock_hz) for t in (timing, named)]
    assert middles[0] == pytest.approx(middles[1], abs=0.1e-6)


@pytest.mark.parametrize("width", [1440, 1920, 2560, 3840])
def test_wide_rasters_exceed_an_outputs_least_clock_and_last_as_long(width: int) -> None:
    """Wide rasters reach the output's lowest clock, and their active time stays within limits."""
    limits = replace(Limits(), clock_min_hz=Fraction(25_000_000))
    timing = solve(width, 240, Fraction(60), interlaced=False, limits=limits)
    assert timing.pixel_clock_hz >= 25_000_000
    assert limits.active.low <= width / timing.pixel_clock_hz <= limits.active.high
    assert abs(timing.line_rate_hz - LINE_RATES[0]) < Fraction(1, 10)


TIGHT = Limits(rate_tolerance=Fraction(1, 100_000), line_rate_hz=(Span(low=Fraction(15_730), high=Fraction(15_735)),))


@pytest.mark.parametrize(
    ("mode", "limits", "words"),
    [
        ((720, 256, 60, False), Limits(), "ask for at most 248 lines, or at most 58 Hz"),
        ((640, 480, 60, False), Limits(), "need a line rate of 29.760 kHz"),
        ((320, 240, 70, False), Limits(), "field rates are 48 to 62 Hz, asked is 70 Hz"),
        ((320, 240, 60, False), Limits(clock_min_hz=Fraction(25_000_000)), "4 times the width, 1280 samples"),
        ((320, 240, 60, False), Limits(back_porch=9 * MICROSECOND), "and 51 are wanted"),
        ((720, 480, 60, True), Limits(clock_step_hz=9_000_000), "finer --clock-step"),
        ((720, 240, 60, False), TIGHT, "no whole number of lines"),
        ((720, 240, 60, False), Limits(clock_step_hz=100), "at least 1 kHz"),
    ],
)
def test_what_the_set_cannot_take_is_refused_with_the_reason(
    mode: tuple[int, int, int, bool], limits: Limits, words: str
) -> None:
    """A mode outside the set's limits is refused, and the message says what would fit."""
    width, height, rate, interlaced = mode
    with pytest.raises(FormatError, match=re.escape(words)):
        solve(width, height, Fraction(rate), interlaced=interlaced, limits=limits)


@pytest.mark.parametrize("interlaced", [False, True])
@pytest.mark.parametrize("rate", [50, 55, 60])
def test_what_a_refusal_tells_to_ask_for_is_given(rate: int, interlaced: bool) -> None:
    """The number of lines that a refusal offers is accepted, and one more is refused."""
    with pytest.raises(FormatError) as refused:
        solve(720, 700, Fraction(rate), interlaced=interlaced, limits=Limits())
    found = re.search(r"at most (\d+) lines", str(refused.value))
    assert found
    lines = int(found[1])
    solve(720, lines, Fraction(rate), interlaced=interlaced, limits=Limits())
    with pytest.raises(FormatError):
        solve(720, lines + (2 if interlaced else 1), Fraction(rate), interlaced=interlaced, limits=Limits())


def test_a_refusal_names_no_rate_that_the_set_has_not_and_interlace_where_that_fits() -> None:
    """A refusal offers interlace or a lower rate only where the set can show it."""
    with pytest.raises(FormatError) as refused:
        solve(640, 480, Fraction(60), interlaced=False, limits=Limits())
    # 15.8 kHz over 496 lines is 31.8 Hz, and 48 Hz is the least; 513 lines of interlace need 15.39 kHz.
    assert str(refused.value).endswith("ask for at most 248 lines, or interlace, 640x480i@60")
    solve(640, 480, Fraction(60), interlaced=True, limits=Limits())
    slower = re.compile(r"or at most ([\d.]+) Hz")
    with pytest.raises(FormatError, match=slower) as refused:
        solve(640, 270, Fraction(60), interlaced=False, limits=Limits())
    found = slower.search(str(refused.value))
    assert found
    solve(640, 270, Fraction(found[1]), interlaced=False, limits=Limits())


def test_systems_by_field_rate() -> None:
    """60 Hz belongs to the 525-line system and 50 Hz to the 625-line system."""
    # ITU-R BT.470: 525 lines and 60000/1001 Hz, 625 lines and 50 Hz.
    assert broadcast_system(Fraction(60)).line_rate_hz == LINE_RATES[0]
    assert broadcast_system(Fraction(50)).line_rate_hz == LINE_RATES[1]
    for system in (broadcast_system(Fraction(60)), broadcast_system(Fraction(50))):
        assert system.line_rate_hz * 2 / system.lines == system.field_rate_hz
