"""Response patterns and split bars: frequencies, pulse lengths, arrangements and codes against published figures."""

from __future__ import annotations

from fractions import Fraction

import pytest

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, parse_format
from patterns.placement import area, patch_area, wave_area
from patterns.scene import Box, Scene, Turner, Wave
from patterns.signal import Matrix, Range, Sampling, Signal
from patterns.tones import Tone, bursts, pulse_half_duration, sweep_tones, wedge_lines

EVERY_FORMAT = pytest.mark.parametrize("name", [*FORMATS, "1024x768@60", "320x200@60"])


def codes(scene: Scene, matrix: Matrix, bits: int) -> dict[str, tuple[int, int, int]]:
    """Narrow-range Y'CbCr of each patch, by name."""
    signal = Signal(range=Range.NARROW, matrix=matrix, bits=bits, sampling=Sampling.YCBCR_422)
    return {patch.name: signal.codes(patch.colour) for patch in scene.patches}


# The analogue active line of 625 lines has 52.0 us: 2 T / A = 78.0 TV lines per MHz (5.8 MHz: 452.4), of 1080i
# 29.09 (30 MHz: 873), by arithmetic. The picture's 704 samples last 52.148 us, 0.285 % longer.
@pytest.mark.parametrize(
    ("name", "megahertz", "tv_lines", "tolerance"),
    [
        ("576i", "5.8", 452.4, 0.003),
        ("576i", "5.0", 390.0, 0.003),
        ("1080i50", "30", 872.73, 0.0001),
        ("1080p50", "60", 872.73, 0.0001),
        ("720p50", "30", 581.8, 0.0001),
    ],
)
def test_tv_lines(name: str, megahertz: str, tv_lines: float, tolerance: float) -> None:
    """A frequency stands for the TV lines that the time along a picture's line gives it."""
    tone = Tone.of_hertz(FORMATS[name], Fraction(megahertz) * 10**6)
    assert float(tone.tv_lines) == pytest.approx(tv_lines, rel=tolerance)


# 625: CCIR 473 and J.63 as quoted in texts; 525: NTC-7 from memory; 5 to 30 MHz: common practice, no source.
@pytest.mark.parametrize(
    ("name", "megahertz"),
    [
        ("576i", (0.5, 1, 2, 4, 4.8, 5.8)),
        ("288p", (0.5, 1, 2, 4, 4.8, 5.8)),
        ("480i", (0.5, 1, 2, 3, 3.58, 4.2)),
        ("480p", (1, 2, 4, 6, 7.16, 8.4)),
        ("1080i59.94", (5, 10, 15, 20, 25, 30)),
        ("1080p60", (10, 20, 30, 40, 50, 60)),
        ("720p60", (5, 10, 15, 20, 25, 30)),
    ],
)
def test_burst_frequencies(name: str, megahertz: tuple[float, ...]) -> None:
    """The bursts of a format have the frequencies of its line system, twice as high at twice the clock."""
    fmt = FORMATS[name]
    assert fmt.timing is not None
    found = [float(tone.hertz or 0) / 1e6 for tone in bursts(fmt)]
    assert found == pytest.approx(megahertz, rel=1e-12)
    for tone in bursts(fmt):
        assert tone.hertz is not None
        # Cycles in a sample are the frequency over the clock, as exact fractions.
        assert tone.cycles_per_width / fmt.picture.width == tone.hertz / fmt.timing.pixel_clock_hz


@EVERY_FORMAT
def test_frequencies_lie_below_half_the_clock(name: str) -> None:
    """No burst, sweep or wedge asks for more than a raster can hold; each list rises."""
    fmt = parse_format(name)
    for tones in (bursts(fmt), sweep_tones(fmt)):
        cycles = [tone.cycles_per_width for tone in tones]
        assert cycles == sorted(set(cycles))
        assert cycles[-1] < Fraction(fmt.picture.width, 2)
    for vertical, limit in ((True, fmt.picture.width / fmt.picture_aspect), (False, Fraction(fmt.picture.height))):
        marks = wedge_lines(fmt, vertical=vertical)
        assert list(marks) == sorted(set(marks))
        # Two TV lines are a cycle, two samples or lines of the raster hold one.
        assert marks[-1] < limit


# T is 100 ns in 625 lines, 125 ns in 525 (from memory), 16.7 ns at 74.25 MHz (half a cycle of 30 MHz).
@pytest.mark.parametrize(
    ("name", "nanoseconds"),
    [("576i", 200), ("480i", 250), ("576p", 100), ("480p", 125), ("1080i50", 33.333), ("1080p50", 16.667)],
)
def test_pulse_lengths(name: str, nanoseconds: float) -> None:
    """The pulse's width at half height is 2T."""
    half, told = pulse_half_duration(FORMATS[name])
    fmt = FORMATS[name]
    assert fmt.timing is not None
    assert told is not None
    assert float(told) == pytest.approx(nanoseconds, rel=1e-4)
    samples = half * fmt.picture.width
    assert float(samples / fmt.timing.pixel_clock_hz) * 1e9 == pytest.approx(nanoseconds, rel=1e-4)


@EVERY_FORMAT
@pytest.mark.parametrize(
    "pattern", ["multiburst", "sweep", "wedge", "focus", "alignment", "zone-plate", "zone-plate-moving"]
)
def test_stripes_keep_to_their_share(name: str, pattern: str) -> None:
    """Stripes cover at most 40 % of the picture, moving ones 25 % (BT.1702, as quoted in texts)."""
    fmt = parse_format(name)
    scene = PATTERNS[pattern].scene(fmt)
    covered = 0
    for shape in scene.shapes:
        wave = shape.shape if isinstance(shape, Turner) else shape
        if isinstance(wave, Wave):
            span = wave_area(fmt, wave)
            covered += (span.right - span.left) * (span.bottom - span.top)
    assert covered
    assert covered / (fmt.picture.width * fmt.picture.height) <= (0.40 if scene.is_still else 0.25)


# -I and +Q are 20 IRE of 92.5 at 303 and 33 degrees, U / 0.492111, V / 0.877283, without luma; the 8-bit codes are
# those of a published text, the 10-bit ones follow from the same figures.
SD_CODES = {
    8: {"-I": (16, 158, 95), "+Q": (16, 175, 149), "darker": (7, 128, 128), "lighter": (25, 128, 128)},
    10: {"-I": (64, 633, 380), "+Q": (64, 698, 598)},
}
# RP 219-1: bars by BT.709, 40 and 15 % grey, near-black steps of -2, +2, +4 %, -I and +Q lifted to legal R'G'B'.
HD_CODES = {
    "grey 40 left": (414, 512, 512),
    "grey 15 right": (195, 512, 512),
    "bar yellow": (674, 176, 543),
    "bar blue": (111, 848, 481),
    "cyan 100": (754, 615, 64),
    "red 100": (250, 409, 960),
    "-I": (244, 612, 395),
    "+Q": (141, 697, 606),
    "darker": (46, 512, 512),
    "lighter": (82, 512, 512),
    "more": (99, 512, 512),
    "white 100": (940, 512, 512),
}


@pytest.mark.parametrize("name", ["240p", "480i", "576i", "576p"])
def test_split_bars_of_standard_definition(name: str) -> None:
    """EG 1's arrangement has its codes, -I and +Q without luma."""
    scene = PATTERNS["bars-split"].scene(FORMATS[name])
    for bits, wanted in SD_CODES.items():
        found = codes(scene, Matrix.BT601, bits)
        assert {patch: found[patch] for patch in wanted} == wanted
    # Seven bars to 2/3 of the height, to 3/4 their blue in reverse, then the references (published layout).
    spans = {patch.name: patch_area(FORMATS[name], patch, 0, 0) for patch in scene.patches}
    height = FORMATS[name].height
    assert spans["bar white"].bottom == height * 2 // 3
    assert spans["blue below white"].bottom == height * 3 // 4
    assert (spans["-I"].left, spans["black right"].right) == (8, 712)
    assert spans["black right"].left == spans["bar blue"].left


@pytest.mark.parametrize("name", ["1080i50", "1080p59.94", "720p60"])
def test_split_bars_of_high_definition(name: str) -> None:
    """RP 219-1's arrangement has its codes."""
    found = codes(PATTERNS["bars-split"].scene(FORMATS[name]), Matrix.BT709, 10)
    assert {patch: found[patch] for patch in HD_CODES} == HD_CODES


@pytest.mark.parametrize("name", ["480i", "576i", "720p50", "1080i50"])
def test_the_words_of_the_split_bars_are_true(name: str) -> None:
    """In blue alone the four bars that the words name are equal and the others dark; each row below too, in SD.

    The words are the pattern's own; the primaries of each colour are the standard's (BT.471).
    """
    fmt, pattern = FORMATS[name], PATTERNS["bars-split"]
    patches = {patch.name: patch for patch in pattern.scene(fmt).patches}
    assert "In blue alone the white, cyan, magenta and blue bars are equal and the others dark" in pattern.right
    for bar in ("white", "yellow", "cyan", "green", "magenta", "red", "blue"):
        lit = Fraction(3, 4) if bar in ("white", "cyan", "magenta", "blue") else 0
        assert patches[f"bar {bar}"].colour.blue == lit
        below = [patch for patch_name, patch in patches.items() if patch_name.endswith(f" below {bar}")]
        assert [patch.colour.blue for patch in below] == ([lit] if name in ("480i", "576i") else [])
    assert patches["darker"].colour.green < 0 < patches["lighter"].colour.green
    # -I and +Q outside 0 to 100 % need the caution, and only they.
    illegal = any(min(level.red, level.green, level.blue) < 0 for level in (patches["-I"].colour, patches["+Q"].colour))
    assert bool(pattern.cautions_in(fmt)) == illegal == (name in ("480i", "576i"))


def test_split_bars_have_the_published_widths() -> None:
    """At 1920 samples the upper row is 240, 206 x 3, 204, 206 x 3, 240 wide (RP 219, as quoted in a text)."""
    fmt = FORMATS["1080i59.94"]
    scene = PATTERNS["bars-split"].scene(fmt)
    upper = [patch_area(fmt, patch, 0, 0) for patch in scene.patches[:9]]
    assert [span.right - span.left for span in upper] == [240, 206, 206, 206, 204, 206, 206, 206, 240]
    # Heights are 7/12, 1/12, 1/12 and 3/12 of 1080 lines.
    edges = sorted({patch_area(fmt, patch, 0, 0).bottom for patch in scene.patches})
    assert edges == [630, 720, 810, 1080]


@pytest.mark.parametrize(("name", "lines"), [("1080i50", 144), ("1080p60", 144), ("480i", 80), ("576i", 96)])
def test_contrast_windows(name: str, lines: int) -> None:
    """The windows are 2/15 of the height in HD (144 lines) and 1/6 in SD, square on the glass (BT.815 in texts)."""
    fmt = FORMATS[name]
    scene = PATTERNS["contrast"].scene(fmt)
    boxes = [shape for shape in scene.shapes if isinstance(shape, Box)]
    assert len(boxes) == 5
    for box in boxes:
        span = area(fmt, box)
        assert span.bottom - span.top == lines
        assert abs((span.right - span.left) * fmt.sample_aspect - lines) <= fmt.sample_aspect
    levels = {patch.name.split()[0]: patch.colour.green for patch in scene.patches}
    assert levels == {"white": 1, "black": 0, "grey": Fraction(2, 5)}


@EVERY_FORMAT
def test_flicker_is_small_and_by_name_only(name: str) -> None:
    """Lines of one field lie on under a quarter of the picture, and never in a kit unasked."""
    fmt = parse_format(name)
    pattern = PATTERNS["flicker"]
    assert pattern.by_name_only
    boxes = [shape for shape in pattern.scene(fmt).shapes if isinstance(shape, Box)]
    spans = [area(fmt, box) for box in boxes]
    single = [span for span in spans if span.bottom - span.top == 1]
    assert single
    assert {span.top % 2 for span in single} == {0}
    reach = (max(s.right for s in single) - min(s.left for s in single)) * (
        max(s.bottom for s in single) - min(s.top for s in single)
    )
    assert reach < 0.25 * fmt.picture.width * fmt.picture.height
