"""Levels to codes: against the tables of the standards, colour-science, and arithmetic of its own."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterator
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import ArrayLike, NDArray

from patterns.pattern import COLOURS
from patterns.signal import (
    DEPTHS,
    Colour,
    Edges,
    Matrix,
    Range,
    Sampling,
    Signal,
    narrow_code_to_fraction,
    round_half_up,
)

Judge = Callable[[ArrayLike, str, int, bool], NDArray[np.int64]]

# Codes that timing references own: BT.601 and BT.656 (8 bit), BT.656 and BT.1120 (10 bit), 12 bit from memory;
# 16 bit follows the rule of the others, no document.
RESERVED = {
    8: {0, 255},
    10: {*range(4), *range(1020, 1024)},
    12: {*range(16), *range(4080, 4096)},
    16: {*range(256), *range(65280, 65536)},
}
LEVELS = st.fractions(min_value=Fraction(-1, 5), max_value=Fraction(13, 10), max_denominator=4000)
COLOURS_ANY = st.builds(Colour, LEVELS, LEVELS, LEVELS)


def signal(
    bits: int, sampling: Sampling = Sampling.RGB, matrix: Matrix = Matrix.BT709, code_range: Range = Range.NARROW
) -> Signal:
    return Signal(range=code_range, matrix=matrix, bits=bits, sampling=sampling)


SIGNALS = st.builds(signal, st.sampled_from(DEPTHS), st.sampled_from(Sampling), st.sampled_from(Matrix))


# --- Against the tables -------------------------------------------------------------------------------------


def bar_cases() -> Iterator[tuple[str, str, Fraction]]:
    """Part of the vector file, bar, and its level. Black is the same in both parts and stands in one."""
    for bar in ("white", "yellow", "cyan", "green", "magenta", "red", "blue"):
        yield "full", bar, Fraction(1)
        yield "three_quarters", bar, Fraction(3, 4)
    yield "full", "black", Fraction(1)


@pytest.mark.parametrize("bits", [8, 10])
@pytest.mark.parametrize(("part", "bar", "level"), list(bar_cases()))
def test_bars_are_the_tables_codes(bars: dict[str, Any], part: str, bar: str, level: Fraction, bits: int) -> None:
    """Each bar is the table's code as R'G'B' and as Y'CbCr by both matrices, digit for digit."""
    row, colour = bars[part][bar], COLOURS[bar].scaled(level)
    assert list(signal(bits).codes(colour)) == row[f"rgb_{bits}"]
    for matrix in Matrix:
        assert list(signal(bits, Sampling.YCBCR_444, matrix).codes(colour)) == row[f"{matrix}_{bits}"]


def test_the_vector_file_holds_every_bar_once(bars: dict[str, Any]) -> None:
    """No bar of the table goes untested."""
    found = {(part, bar) for part, rows in bars.items() for bar in rows}
    assert found == {(part, bar) for part, bar, _ in bar_cases()}


def test_greys_and_steps_are_the_tables_codes(greys: dict[str, Any]) -> None:
    """Every grey and step of the table has its code at every depth of the table, in luma and in R'G'B'."""
    cases = [
        (int(bits), Fraction(percent) / 100, code)
        for part in ("greys", "steps")
        for bits, row in greys[part].items()
        for percent, code in row.items()
    ]
    assert len(cases) == 3 * 11 + 2 * 16
    for bits, level, code in cases:
        grey = Colour.grey(level)
        assert signal(bits).codes(grey) == (code, code, code), (bits, level)
        centre = 1 << (bits - 1)
        for matrix, sampling in itertools.product(Matrix, (Sampling.YCBCR_444, Sampling.YCBCR_422)):
            assert signal(bits, sampling, matrix).codes(grey) == (code, centre, centre), (bits, level)


@pytest.mark.parametrize(
    ("bits", "black", "white", "centre", "lowest", "highest"),
    [
        (8, 16, 235, 128, 16, 240),  # BT.601 text; colour-science
        (10, 64, 940, 512, 64, 960),  # colour-science
        (12, 256, 3760, 2048, 256, 3840),  # computed exactly from BT.601-7 Table 3
    ],
)
def test_ends_of_the_narrow_range(bits: int, black: int, white: int, centre: int, lowest: int, highest: int) -> None:
    """Black, white, zero chroma and the chroma of 100 % primaries are the standards' codes."""
    for matrix in Matrix:
        video = signal(bits, Sampling.YCBCR_444, matrix)
        assert video.codes(COLOURS["black"]) == (black, centre, centre)
        assert video.codes(COLOURS["white"]) == (white, centre, centre)
        assert video.codes(COLOURS["blue"])[1] == video.codes(COLOURS["red"])[2] == highest
        assert video.codes(COLOURS["yellow"])[1] == video.codes(COLOURS["cyan"])[2] == lowest


def test_levels_that_only_direct_quantising_gets_right() -> None:
    """Yellow of 75 % is taken from the analogue value, never through rounded R'G'B'."""
    # BT.601 8 bit: 161.525 rounds to 162, the way through rounded R'G'B' gives 161. 10 bit: 646, from 8-bit full
    # range R'G'B' (191) it would be 645. Exact arithmetic.
    yellow = COLOURS["yellow"].scaled(Fraction(3, 4))
    assert signal(8, Sampling.YCBCR_444, Matrix.BT601).codes(yellow)[0] == 162
    assert signal(8, Sampling.YCBCR_444, Matrix.BT601).exact(yellow)[0] == Fraction("161.5255")
    assert signal(10, Sampling.YCBCR_444, Matrix.BT601).codes(yellow)[0] == 646


# --- Against colour-science ---------------------------------------------------------------------------------


# Exact ties where the library's float64 falls just below the half, so that it goes down; the standards go up.
# Full range by the 601 weights: C'B of 100 % yellow is -(2^n - 1)/2 + 2^(n - 1) = 0.5 at every depth.
BAR_TIES = {(Matrix.BT601, Range.FULL, "full", "yellow"): (1, 0)}
# Greys by the 709 weights at 10 bits: 62.5 % is 611.5 and 87.5 % is 830.5. By the 601 weights its floats hold.
GREY_TIES = {(Matrix.BT709, 10, Fraction(5, 8)): (612, 611), (Matrix.BT709, 10, Fraction(7, 8)): (831, 830)}


@pytest.mark.parametrize("code_range", list(Range))
@pytest.mark.parametrize("bits", [8, 10, 12])
@pytest.mark.parametrize("matrix", list(Matrix))
def test_bars_equal_colour_science(judge: Judge, matrix: Matrix, bits: int, code_range: Range) -> None:
    """All bars at 75 and 100 %, both ranges and three depths are another library's codes, save for its missed tie."""
    video = signal(bits, Sampling.YCBCR_444, matrix, code_range)
    differences = {}
    for part, bar, level in bar_cases():
        colour = COLOURS[bar].scaled(level)
        rgb = [float(value) for value in (colour.red, colour.green, colour.blue)]
        theirs = judge(rgb, matrix.value, bits, code_range is Range.NARROW).tolist()
        for exact, our, their in zip(video.exact(colour), video.codes(colour), theirs, strict=True):
            if our != their:
                assert exact == Fraction(2 * our - 1, 2), "a difference that is no tie"
                differences[matrix, code_range, part, bar] = our, their
    assert differences == {key: pair for key, pair in BAR_TIES.items() if key[:2] == (matrix, code_range)}


@pytest.mark.parametrize("bits", [8, 10, 12])
@pytest.mark.parametrize("matrix", list(Matrix))
def test_greys_equal_colour_science_but_for_two_ties(judge: Judge, matrix: Matrix, bits: int) -> None:
    """Greys of 0 to 100 % in steps of 0.1 % agree with another library, save where its floats miss a half."""
    levels = [Fraction(i, 1000) for i in range(1001)]
    theirs = judge(np.repeat([[float(level)] for level in levels], 3, axis=1), matrix.value, bits, True)
    video = signal(bits, Sampling.YCBCR_444, matrix)
    differences = {}
    for level, their in zip(levels, theirs.tolist(), strict=True):
        ours = video.codes(Colour.grey(level))
        assert list(ours[1:]) == their[1:] == [1 << (bits - 1)] * 2
        if ours[0] != their[0]:
            exact = 2 ** (bits - 8) * (219 * level + 16)  # BT.601-7 Table 3
            assert exact == Fraction(2 * ours[0] - 1, 2), "a difference that is no tie"
            differences[matrix, bits, level] = ours[0], their[0]
    assert differences == {key: pair for key, pair in GREY_TIES.items() if key[:2] == (matrix, bits)}


# --- The rounding rule --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("value", "expected"),
    # INT[x] of BT.601, BT.709 and BT.2020 goes up at a half; toward plus infinity below zero as well (from memory).
    [("0.5", 1), ("1.5", 2), ("2.5", 3), ("-0.5", 0), ("-1.5", -1), ("-2.5", -2), ("0.49", 0), ("-0.51", -1), ("7", 7)],
)
def test_halves_go_up(value: str, expected: int) -> None:
    """A tie goes up as a Fraction and in an array, and a Fraction gives an exact int."""
    exact = round_half_up(Fraction(value))
    assert exact == expected
    assert isinstance(exact, int)
    assert round_half_up(np.array([float(value)])).tolist() == [expected]


@pytest.mark.parametrize(("percent", "code"), [("37.5", 393), ("62.5", 612), ("87.5", 831)])
def test_ties_of_ten_bit_greys(percent: str, code: int) -> None:
    """The three greys that lie on a half at 10 bits take the upper code."""
    # Fraction arithmetic: 392.5, 611.5 and 830.5.
    assert signal(10).codes(Colour.grey(Fraction(percent) / 100))[0] == code


@given(st.fractions(min_value=-70000, max_value=70000))
def test_rounding_is_the_nearest_integer(value: Fraction) -> None:
    """The result is never further than a half away, and at a half it is the upper one."""
    rounded = round_half_up(value)
    assert Fraction(-1, 2) <= value - rounded < Fraction(1, 2)


@given(st.integers())
def test_whole_numbers_stay(value: int) -> None:
    """An integer of any size is its own rounding."""
    assert round_half_up(value) == value


@given(st.lists(st.integers(-(1 << 18), 1 << 18), min_size=1, max_size=20))
def test_arrays_round_as_fractions_do(halves: list[int]) -> None:
    """Float64 arrays of quarters give what exact arithmetic gives, ties among them."""
    expected = [round_half_up(Fraction(half, 4)) for half in halves]
    assert round_half_up(np.array(halves) / 4).tolist() == expected


# --- What may be written ------------------------------------------------------------------------------------


@pytest.mark.parametrize("bits", DEPTHS)
@pytest.mark.parametrize("sampling", [Sampling.RGB, Sampling.YCBCR_444])
def test_no_level_makes_a_reserved_code(bits: int, sampling: Sampling) -> None:
    """From -20 to +130 % in steps of 0.5 %, grey and each primary, no reserved code comes out of narrow range."""
    levels = [Fraction(i, 200) for i in range(-40, 261)]
    video = signal(bits, sampling)
    used: set[int] = set()
    for name, level in itertools.product(("white", "red", "green", "blue", "cyan", "magenta", "yellow"), levels):
        used.update(video.codes(COLOURS[name].scaled(level)))
    assert not used & RESERVED[bits]
    assert min(used) == max(code for code in RESERVED[bits] if code < 1 << (bits - 1)) + 1
    assert max(used) == min(code for code in RESERVED[bits] if code > 1 << (bits - 1)) - 1


@given(SIGNALS, COLOURS_ANY)
def test_any_colour_keeps_clear_of_reserved_codes(video: Signal, colour: Colour) -> None:
    """Whatever the colour, matrix and depth, narrow range writes usable codes only."""
    assert not set(video.codes(colour)) & RESERVED[video.bits]


@given(SIGNALS, COLOURS_ANY)
def test_codes_are_exact_values_rounded_once(video: Signal, colour: Colour) -> None:
    """Codes inside the usable range equal the equations of BT.601 and BT.709 in arithmetic written here."""
    # BT.601-7 Table 3, BT.709-6 item 4, with KR and KB in per ten thousand of the same documents.
    kr, kb = {Matrix.BT601: (2990, 1140), Matrix.BT709: (2126, 722)}[video.matrix]
    red, green, blue = colour.red, colour.green, colour.blue
    unit = 1 << (video.bits - 8)
    if video.sampling.is_rgb:
        exact = [unit * (219 * value + 16) for value in (red, green, blue)]
    else:
        luma = (kr * red + (10000 - kr - kb) * green + kb * blue) / 10000
        exact = [
            unit * (219 * luma + 16),
            unit * (224 * (blue - luma) * 5000 / (10000 - kb) + 128),
            unit * (224 * (red - luma) * 5000 / (10000 - kr) + 128),
        ]
    assert list(video.exact(colour)) == exact
    for value, code in zip(exact, video.codes(colour), strict=True):
        nearest = math.floor(value + Fraction(1, 2))
        low, high = unit, 255 * unit - 1  # usable codes: 1..254, 4..1019, 16..4079, 256..65279
        assert code == min(max(nearest, low), high)


@given(SIGNALS, LEVELS, LEVELS)
def test_a_lighter_grey_never_has_a_lower_code(video: Signal, first: Fraction, second: Fraction) -> None:
    """Codes rise with the level."""
    dark, light = sorted((first, second))
    assert video.codes(Colour.grey(dark))[0] <= video.codes(Colour.grey(light))[0]


# --- Full range ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("bits", DEPTHS)
def test_full_range_uses_every_code(bits: int) -> None:
    """Black is 0, white the highest code, zero chroma the middle, and what lies outside is cut off."""
    # BT.2100-2 Table 9; from memory.
    top, centre = (1 << bits) - 1, 1 << (bits - 1)
    rgb = signal(bits, code_range=Range.FULL)
    assert rgb.codes(Colour(Fraction(0), Fraction(1), Fraction(1, 2))) == (0, top, centre)
    assert rgb.codes(Colour(Fraction(-1, 20), Fraction(21, 20), Fraction(0))) == (0, top, 0)
    for matrix in Matrix:
        video = signal(bits, Sampling.YCBCR_444, matrix, Range.FULL)
        assert video.codes(COLOURS["white"]) == (top, centre, centre)
        assert video.codes(COLOURS["black"]) == (0, centre, centre)
        # INT[(2^n - 1) * 0.5 + 2^(n - 1)] would be 2^n: the highest code stands for it.
        assert video.codes(COLOURS["blue"])[1] == top
        assert video.codes(COLOURS["yellow"])[1] == 1


@given(st.sampled_from(DEPTHS), LEVELS)
def test_full_range_greys(bits: int, level: Fraction) -> None:
    """A full-range grey is the level times the highest code, rounded half up and cut off at the ends."""
    # BT.2100-2 Table 9; from memory.
    top = (1 << bits) - 1
    expected = min(max(math.floor(level * top + Fraction(1, 2)), 0), top)
    assert signal(bits, code_range=Range.FULL).codes(Colour.grey(level)) == (expected,) * 3


# --- The way back, and the rest -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("code", "bits", "level"),
    [
        (64, 10, Fraction(0)),  # BT.709-6 item 4
        (940, 10, Fraction(1)),
        (235, 8, Fraction(1)),
        (48, 10, Fraction(-16, 876)),  # BT.814-4 levels, secondary text: -1.826 %
        (80, 10, Fraction(16, 876)),
        (4, 10, Fraction(-60, 876)),  # -6.849 %, computed
        (1019, 10, Fraction(955, 876)),  # 109.018 %, computed
    ],
)
def test_level_of_a_code(code: int, bits: int, level: Fraction) -> None:
    """A narrow-range code stands for an exact level, and that level gives the code again."""
    assert narrow_code_to_fraction(code, bits) == level
    assert signal(bits).codes(Colour.grey(level))[0] == code


@given(SIGNALS, st.sampled_from(Range), st.integers(0, 2), st.integers(1, 254))
def test_fraction_of_undoes_quantising(video: Signal, code_range: Range, component: int, part: int) -> None:
    """The level of a code, put into the standards' equation by hand, gives the code."""
    code = part << (video.bits - 8)
    found = Signal(range=code_range, matrix=video.matrix, bits=video.bits, sampling=video.sampling)
    level = found.fraction_of(component, code)
    chroma = component > 0 and not video.sampling.is_rgb
    unit, top = 1 << (video.bits - 8), (1 << video.bits) - 1
    if code_range is Range.NARROW:
        again = unit * (224 * level + 128 if chroma else 219 * level + 16)  # BT.601-7 Table 3
    else:
        again = top * level + (1 << (video.bits - 1)) * chroma  # BT.2100-2 Table 9; from memory
    assert again == pytest.approx(code, abs=1e-6)


@pytest.mark.parametrize("bits", [0, 7, 9, 14, 32])
def test_other_depths_are_refused(bits: int) -> None:
    """A depth that no carrier has is refused with the depths that are allowed."""
    with pytest.raises(ValueError, match=rf"bits: got {bits}; use 8, 10, 12, 16"):
        signal(bits)


def test_components_and_chroma_steps() -> None:
    """Component names and the chroma raster are those of the sampling."""
    assert signal(8).components == ("R", "G", "B")
    assert signal(8, Sampling.YCBCR_420).components == ("Y", "Cb", "Cr")
    assert [sampling.chroma_step for sampling in Sampling] == [(1, 1), (1, 1), (2, 1), (2, 2)]
    assert signal(8).edges is Edges.SHAPED


@given(COLOURS_ANY, LEVELS)
def test_scaled_colours(colour: Colour, level: Fraction) -> None:
    """A scaled colour has every component multiplied, and only equal components are neutral."""
    scaled = colour.scaled(level)
    assert (scaled.red, scaled.green, scaled.blue) == (colour.red * level, colour.green * level, colour.blue * level)
    assert colour.is_neutral == (len({colour.red, colour.green, colour.blue}) == 1)
    assert Colour.grey(level).is_neutral
