"""Waves and pulses as decoded from files: frequencies by Fourier transform, and the flashes of moving patterns."""

from __future__ import annotations

import subprocess
import warnings
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import scipy.signal
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, FieldOrder, Format, parse_format
from patterns.pattern import COLOURS, Options
from patterns.placement import column, line, wave_area
from patterns.scene import Box, Pulse, Scene, Shown, Wave
from patterns.signal import Matrix, Range, Sampling, Signal
from patterns.tones import bursts, pulse_half_duration, sweep_tones, wedge_lines
from render.carriers import CARRIERS
from render.produce import Order, produce
from render.proof import Verdict
from render.raster import draw_frame, frames_per_period
from tests.matrix import quick_and_slow

Floats = NDArray[np.float64]


def decoded_luma(pattern: str, fmt: Format, folder: Path) -> Floats:
    """Luma levels of a file's first frame, 0 to 1, as the ffmpeg program decodes its 10-bit samples."""
    carrier = CARRIERS["ffv1"]
    order = Order(
        pattern=PATTERNS[pattern],
        options=Options(),
        format=fmt,
        signal=carrier.signal(fmt),
        carrier=carrier,
        seconds=0.05,
    )
    made = produce(order, folder / "clip.mkv")
    assert made.proof.verdict is Verdict.EXACT
    words = ("-nostdin", "-v", "error", "-i", str(made.path), "-frames:v", "1", "-f", "rawvideo", "-")
    raw = subprocess.run([get_ffmpeg_exe(), *words], capture_output=True, check=True).stdout
    luma = np.frombuffer(raw, "<u2", fmt.width * fmt.height).reshape(fmt.height, fmt.width)
    # Narrow range of 10 bits: 64 is 0, 940 is 1 (BT.601-7 Table 3).
    return (luma - 64.0) / 876


def frequency(samples: Floats) -> float:
    """Cycles per sample of the strongest sine: a windowed and padded Fourier transform, its peak interpolated."""
    size = 1 << 16
    window = np.hanning(len(samples))
    spectrum = np.abs(np.fft.rfft((samples - samples.mean()) * window, size))
    top = int(spectrum[1:-1].argmax()) + 1
    low, middle, high = np.log(spectrum[top - 1 : top + 2])
    return float((top + (low - high) / (2 * (low - 2 * middle + high))) / size)


def short_frequency(samples: Floats) -> float:
    """The same for a few cycles about mid grey: the sine that leaves the least; no mirror image pulls it."""
    at = np.arange(len(samples))
    tried = np.arange(0.01, 0.4999, 0.0005)
    left = []
    for per_sample in tried:
        basis = np.stack([np.cos(2 * np.pi * per_sample * at), np.sin(2 * np.pi * per_sample * at)], 1)
        found = np.linalg.lstsq(basis, samples - 0.5, rcond=None)[0]
        left.append(float(((basis @ found - samples + 0.5) ** 2).sum()))
    return float(tried[int(np.argmin(left))])


def waves(scene: Scene) -> list[Wave]:
    return [shape for shape in scene.shapes if isinstance(shape, Wave)]


@pytest.mark.parametrize(
    "name", quick_and_slow(["480i", "576p"], ["240p", "576i", "720p59.94", "1080i50", "1080p59.94"])
)
def test_burst_frequencies_in_the_file(tmp_path: Path, name: str) -> None:
    """Each burst has its frequency, to what the sampling clock and 10 bits allow, and 60 % of the excursion."""
    fmt = FORMATS[name]
    luma = decoded_luma("multiburst", fmt, tmp_path)
    assert fmt.timing is not None
    drawn = waves(PATTERNS["multiburst"].scene(fmt))
    assert len(drawn) == len(bursts(fmt)) == 6
    for wave, tone in zip(drawn, bursts(fmt), strict=True):
        span = wave_area(fmt, wave)
        rise = round(float(wave.fade * fmt.picture.width)) + 1
        at = np.arange(span.left + rise, span.right - rise)
        row = luma[(span.top + span.bottom) // 2, at[0] : at[-1] + 1]
        assert tone.hertz is not None
        per_sample = float(tone.hertz / fmt.timing.pixel_clock_hz)
        # A burst of few cycles leaks into its own mirror image, which pulls the peak.
        if per_sample * len(at) > 8:
            assert frequency(row) == pytest.approx(per_sample, rel=2e-3)
        # The sine of exactly that frequency is all there is, but for rounding: half a code of 876.
        basis = np.stack(
            [np.cos(2 * np.pi * per_sample * at), np.sin(2 * np.pi * per_sample * at), np.ones(len(at))], 1
        )
        found = np.linalg.lstsq(basis, row, rcond=None)[0]
        assert np.abs(basis @ found - row).max() <= 0.75 / 876
        # 420 mV peak to peak of 700 (CCIR 473 as quoted in texts), about 50 %.
        assert 2 * np.hypot(found[0], found[1]) == pytest.approx(0.6, abs=0.002)
        assert found[2] == pytest.approx(0.5, abs=0.002)


@pytest.mark.parametrize("name", quick_and_slow(["576i"], ["480i", "1080i59.94", "1080p50"]))
def test_sweep_frequencies_in_the_file(tmp_path: Path, name: str) -> None:
    """At each mark the sweep has the frequency that stands there."""
    fmt = FORMATS[name]
    assert fmt.timing is not None
    luma = decoded_luma("sweep", fmt, tmp_path)
    (wave,) = waves(PATTERNS["sweep"].scene(fmt))
    row = luma[fmt.height // 2]
    tones = sweep_tones(fmt)
    extent = wave.right - wave.left
    for tone in tones[1:-1]:
        share = (tone.cycles_per_width - tones[0].cycles_per_width) / (
            tones[-1].cycles_per_width - tones[0].cycles_per_width
        )
        middle = round(float(column(fmt, wave.left + extent * share)))
        reach = min(fmt.width // 24, middle - wave_area(fmt, wave).left, wave_area(fmt, wave).right - middle)
        assert tone.hertz is not None
        wanted = float(tone.hertz / fmt.timing.pixel_clock_hz)
        if wanted * 2 * reach > 6:
            assert frequency(row[middle - reach : middle + reach]) == pytest.approx(wanted, rel=0.02)


@pytest.mark.parametrize("name", quick_and_slow(["480i"], ["240p", "576i", "720p60", "1080i50"]))
def test_wedge_frequencies_in_the_file(tmp_path: Path, name: str) -> None:
    """Beside each figure the wedge has that many TV lines: half as many cycles per picture height."""
    fmt = FORMATS[name]
    luma = decoded_luma("wedge", fmt, tmp_path)
    # The pair in the middle comes first.
    vertical, horizontal, *_ = waves(PATTERNS["wedge"].scene(fmt))
    for wave, along in ((vertical, True), (horizontal, False)):
        marks = wedge_lines(fmt, vertical=along)
        span = wave_area(fmt, wave)
        for i, n in enumerate(marks):
            share = i / (len(marks) - 1)
            if along:
                at = min(int(span.top + share * (span.bottom - span.top)), span.bottom - 1)
                strip = luma[at, span.left : span.right]
                first, last = line(fmt, wave.top), line(fmt, wave.bottom)
                # Samples as they lie on the glass: width over height.
                per_height = fmt.picture.height / float(fmt.sample_aspect)
            else:
                at = min(int(span.left + share * (span.right - span.left)), span.right - 1)
                strip = luma[span.top : span.bottom, at]
                first, last = column(fmt, wave.left), column(fmt, wave.right)
                per_height = float(fmt.picture.height)
            inside = np.flatnonzero(np.abs(strip - 0.5) > 0.02)
            lit = strip[inside[0] : inside[-1] + 1]
            # The scale begins at the drawn edge, not at the first whole sample in it.
            wanted = marks[0] + (marks[-1] - marks[0]) * float((at + Fraction(1, 2) - first) / (last - first))
            assert abs(wanted - n) <= 0.02 * n + 2
            assert 2 * short_frequency(lit) * per_height == pytest.approx(wanted, rel=0.01)


def pulse_middle(fmt: Format) -> float:
    """Where the 2T pulse's middle lies, in samples of the raster."""
    pulse = next(s for s in PATTERNS["pulse-bar"].scene(fmt).shapes if isinstance(s, Pulse) and s.start == s.stop)
    return float(column(fmt, pulse.start))


@pytest.mark.parametrize("bits", [8, 10])
@pytest.mark.parametrize("code_range", Range)
@pytest.mark.parametrize("name", FORMATS)
def test_the_pulse_is_as_high_as_the_bar(name: str, code_range: Range, bits: int) -> None:
    """On an oscilloscope both have one height, so one sample has the bar's code; the neighbours are symmetric.

    White is 235 of 8 bits and 940 of 10 (BT.601), in full range all ones (BT.2100).
    """
    fmt = FORMATS[name]
    signal = Signal(range=code_range, matrix=Matrix.BT709, bits=bits, sampling=Sampling.YCBCR_422)
    row = draw_frame(PATTERNS["pulse-bar"].scene(fmt), fmt, signal)[0][fmt.height // 3].astype(int)
    peak = int(pulse_middle(fmt))
    white = {(Range.NARROW, 8): 235, (Range.NARROW, 10): 940, (Range.FULL, 8): 255, (Range.FULL, 10): 1023}
    assert row[peak] == row[fmt.width * 2 // 3] == white[code_range, bits]
    assert list(row[peak + 1 : peak + 9]) == list(row[peak - 8 : peak])[::-1]


@pytest.mark.parametrize(
    ("name", "null_hz"),
    quick_and_slow([("576i", 5e6), ("480i", 4e6)], [("1080i50", 30e6), ("576p", 10e6)]),
)
def test_pulse_spectrum(tmp_path: Path, name: str, null_hz: float) -> None:
    """The 2T pulse's spectrum is at half at 1/(2 HAD) and nil at 1/HAD: 5 MHz for 200 ns, by its equation."""
    fmt = FORMATS[name]
    assert fmt.timing is not None
    luma = decoded_luma("pulse-bar", fmt, tmp_path)
    half, _ = pulse_half_duration(fmt)
    middle, reach = pulse_middle(fmt), float(2 * half * fmt.picture.width)
    first, last = int(middle - reach) - 2, int(middle + reach) + 3
    row = luma[fmt.height // 3, first:last]
    times = (np.arange(first, last) + 0.5 - middle) / float(fmt.timing.pixel_clock_hz)

    def strength(hertz: float) -> float:
        return float(abs((row * np.exp(-2j * np.pi * hertz * times)).sum()))

    whole = strength(0)
    # The pulse's area is its width at half height.
    assert whole / float(fmt.timing.pixel_clock_hz) * null_hz == pytest.approx(1, abs=0.01)
    assert strength(null_hz / 2) / whole == pytest.approx(0.5, abs=0.01)
    # Rounding to codes leaves a little; the sampled pulse's own images lie 60 dB down.
    assert strength(null_hz) / whole < 0.01
    assert row.max() <= 1.001


def test_bar_edges_take_as_long_as_the_pulse(tmp_path: Path) -> None:
    """The bar's edge is the integral of the pulse: 10 to 90 % in 0.964 HAD (arithmetic), without overshoot."""
    fmt = FORMATS["1080i50"]
    luma = decoded_luma("pulse-bar", fmt, tmp_path)
    half, _ = pulse_half_duration(fmt)
    middle = round(float(column(fmt, Fraction(1, 2))))
    at = np.arange(middle - 12, middle + 12)
    row = luma[fmt.height // 3, at]
    assert (np.diff(row) >= 0).all()
    assert (row[0], row[-1]) == (0, 1)
    # The edge and its mirror image repeat, so that a band-limited interpolation gives the analogue edge.
    fine = scipy.signal.resample(np.concatenate([row, row[::-1]]), 64 * 2 * len(row))[: 64 * len(row)]
    level = fine[64 * 4 : -64 * 4]
    rise = (np.flatnonzero(level <= 0.9)[-1] - np.flatnonzero(level <= 0.1)[-1]) / 64
    assert rise == pytest.approx(0.964 * float(half * fmt.picture.width), rel=0.02)
    assert level.max() < 1.005


@pytest.mark.parametrize("name", ["480i", "576i", "720p60", "1080p59.94"])
def test_zone_plate_is_round(name: str) -> None:
    """The rings are round on the glass: the phase at one way across is that of the same way down."""
    (wave,) = waves(PATTERNS["zone-plate"].scene(FORMATS[name]))
    assert wave.fxx == wave.fyy * FORMATS[name].picture_aspect ** 2
    fmt = FORMATS[name]
    signal = CARRIERS["ffv1"].signal(fmt)
    luma = draw_frame(PATTERNS["zone-plate"].scene(fmt), fmt, signal)[0]
    x, y = float(column(fmt, Fraction(1, 2))), float(line(fmt, Fraction(1, 2)))
    # Mirror images of each other about the centre.
    near = 40
    block = luma[int(y) - near : int(y) + near, int(x) - near : int(x) + near]
    assert np.array_equal(block, block[::-1])
    assert np.array_equal(block, block[:, ::-1])


# --- Flashes ------------------------------------------------------------------------------------------------

WHITE_CD_M2 = 100
FLASH_STEP, FLASH_DARK, FLASH_AREA, FLASH_RATE = 20, 160, 0.25, 3
"""BT.1702, as several agreeing texts quote it: a pair of opposing changes of 20 cd/m2 where the darker image is below
160 cd/m2; not more than three a second on more than a quarter of the picture."""


def flashing_share(scene: Scene, fmt: Format, seconds: float = 2.0, *, by_field: bool = False) -> float:
    """Share of the picture that flashes more than three times in any one second, on a screen of 100 cd/m2.

    `by_field` compares each field of an interlaced format with the one before, line by line: what the eye has that does
    not tell two neighbouring lines apart.
    """
    signal = Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=10, sampling=Sampling.YCBCR_444)
    period = frames_per_period(scene, fmt)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns that no plotting library is installed
        import colour

    # Both fields of a frame, and all frames of a still, are drawn once.
    drawn = lru_cache(maxsize=1)(lambda frame: draw_frame(scene, fmt, signal, frame)[0])

    def light(index: int) -> Any:
        frame, later = divmod(index, 2) if by_field else (index, 0)
        luma = drawn(frame % period)
        if by_field:
            luma = luma[later ^ (fmt.field_order is FieldOrder.BOTTOM) :: 2]
        luma = luma[::3, ::3]
        levels = np.clip((luma.astype(float) - 64) / 876, 0, None)
        return colour.models.eotf_BT1886(levels, L_B=0.0, L_W=WHITE_CD_M2)

    rate = float(fmt.field_rate if by_field else fmt.frame_rate)
    count = round(seconds * rate)
    first = light(0)
    lowest, highest = first.copy(), first.copy()
    rising = np.zeros(first.shape, int)
    changes = []
    for i in range(1, count):
        now = light(i)
        # A change counts when the light has gone 20 cd/m2 from the last extreme, and then the other way.
        up = (now - lowest >= FLASH_STEP) & (lowest < FLASH_DARK) & (rising <= 0)
        down = (highest - now >= FLASH_STEP) & (now < FLASH_DARK) & (rising >= 0)
        rising = np.where(up, 1, np.where(down, -1, rising))
        lowest = np.where(down | up, now, np.minimum(lowest, now))
        highest = np.where(up | down, now, np.maximum(highest, now))
        changes.append(up | down)
    window = max(1, round(rate))
    running = np.cumsum(np.array(changes, dtype=int), axis=0)
    running = np.concatenate([np.zeros((1, *first.shape), int), running])
    in_a_second = running[window:] - running[:-window] if len(running) > window else running[-1:]
    return float(((in_a_second // 2).max(axis=0) > FLASH_RATE).mean())


MOVING = [name for name, pattern in PATTERNS.items() if not pattern.scene(FORMATS["480i"]).is_still]


def test_the_moving_patterns() -> None:
    """These are the patterns that move; the next test has to judge each."""
    assert set(MOVING) == {"field-order", "bounce", "zone-plate-moving"}


def measured_seconds(scene: Scene) -> float:
    return min(4.0, 2 * float(scene.period or 1) + 1)


# The named rasters of 4:3; of 16:9 one with fewer samples stands for HD at each of its rates, as a pattern's way in
# time does not depend on the raster.
@pytest.mark.parametrize(
    "name",
    quick_and_slow(["480i", "320x180@25"], ["576i", "240p", "320x180@24", "320x180@30", "320x180@50", "320x180@60"]),
)
@pytest.mark.parametrize("pattern", MOVING)
def test_moving_patterns_flash_within_bt1702(pattern: str, name: str) -> None:
    """No moving pattern flashes more than three times a second on more than a quarter of the picture."""
    fmt = parse_format(name)
    scene = PATTERNS[pattern].scene(fmt)
    assert flashing_share(scene, fmt, measured_seconds(scene)) <= FLASH_AREA


@pytest.mark.parametrize("name", quick_and_slow(["320x180i@50"], ["480i"]))
@pytest.mark.parametrize("pattern", [*MOVING, "flicker"])
def test_fields_flash_within_bt1702(pattern: str, name: str) -> None:
    """Field against field, so that lines of one field alone are seen to flash; `flicker` does on under a quarter."""
    fmt = parse_format(name)
    scene = PATTERNS[pattern].scene(fmt)
    share = flashing_share(scene, fmt, min(2.0, measured_seconds(scene)), by_field=True)
    assert share <= FLASH_AREA
    if pattern == "flicker":
        # Its left area is 0.3 x 0.3 of the picture (own layout), and its words have thin lines too.
        assert share == pytest.approx(0.09, abs=0.02)


@pytest.mark.parametrize(
    ("per_second", "side", "share"), [(4, Fraction(2), 1.0), (3, Fraction(2), 0.0), (4, Fraction(1, 2), 0.25)]
)
def test_the_flash_measure_finds_flashes(per_second: int, side: Fraction, share: float) -> None:
    """A field that flashes four times a second is found, on its own area; one of three a second is let pass."""
    fmt = FORMATS["240p"]
    window = Box(
        left=Fraction(-1), top=Fraction(-1), right=Fraction(side), bottom=Fraction(side), colour=COLOURS["white"]
    )
    if side == 1:
        window = Box(
            left=Fraction(-1), top=Fraction(-1), right=Fraction(2), bottom=Fraction(2), colour=COLOURS["white"]
        )
    blink = Shown(shape=window, start=Fraction(0), stop=Fraction(1, 2))
    scene = Scene(background=COLOURS["black"], shapes=(blink,), period=Fraction(1, per_second))
    assert flashing_share(scene, fmt, seconds=2.5) == pytest.approx(share, abs=0.02)
