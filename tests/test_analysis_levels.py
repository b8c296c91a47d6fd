"""Levels measured on frames that general-purpose tools made, with errors that are known."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from analysis.levels import Check, Frame, check_levels, frame_signal, read_frame
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, Format
from patterns.pattern import Options
from patterns.signal import Edges, Matrix, Range, Sampling, Signal
from render.decode import Picture
from render.tags import Tags

SD = FORMATS["480i"]
RNG = np.random.default_rng(7)
# BT.471 names the order; 100/0/75/0 in full-range R'G'B' of 8 bits: 255 and 191 (191.25 rounded), computed.
BARS = [(255, 255, 255), (191, 191, 0), (0, 191, 191), (0, 191, 0), (191, 0, 191), (191, 0, 0), (0, 0, 191), (0, 0, 0)]


def bars_picture() -> NDArray[np.uint8]:
    """Eight equal bars over the 704 samples of a 720 x 480 raster, painted with slices."""
    image = np.zeros((480, 720, 3), np.uint8)
    for i, colour in enumerate(BARS):
        image[:, 8 + 88 * i if i else 0 : 8 + 88 * (i + 1)] = colour
    return image


def frame_of(planes: list[NDArray[Any]], sampling: Sampling, bits: int, **tags: Any) -> Frame:
    height, width = planes[0].shape
    told = Tags(width=width, height=height, sampling=sampling, bits=bits, **tags)
    picture = Picture(planes=(planes[0], planes[1], planes[2]), tags=told)
    return Frame(path=Path("made"), index=0, picture=picture, codec="made", provenance={})


def check(frame: Frame, pattern: str = "bars", *, fmt: Format = SD, tolerance: float = 1, **signal: Any) -> Check:
    options = signal.pop("options", None)
    expected = frame_signal(frame, code_range=signal.pop("code_range", None), default_matrix=Matrix.BT601)
    return check_levels(frame, PATTERNS[pattern].scene(fmt, options), fmt, replace(expected, **signal), tolerance)


def rgb_frame(image: NDArray[Any], bits: int = 8) -> Frame:
    return frame_of([image[:, :, i] for i in range(3)], Sampling.RGB, bits)


def test_a_clean_picture_passes_with_no_error() -> None:
    """Painted bars: every patch has its code, no noise, no error."""
    found = check(rgb_frame(bars_picture()), tolerance=0)
    assert found.passed
    assert [reading.expected for reading in found.readings] == BARS
    for reading in found.readings:
        assert reading.measured == reading.mean == tuple(map(float, reading.expected))
        assert reading.error == reading.noise == (0, 0, 0)
        assert reading.lowest == reading.highest == reading.expected


# 75 % bars of BT.601-7 and BT.709-6, narrow range: the codes of tests/vectors/bars.toml, which names its tables and is
# checked against colour-science.
PUBLISHED = {
    ("601", 8): "180-128-128 162-44-142 131-156-44 112-72-58 84-184-198 65-100-212 35-212-114 16-128-128",
    ("601", 10): "721-512-512 646-176-567 525-625-176 450-289-231 335-735-793 260-399-848 139-848-457 64-512-512",
    ("709", 8): "180-128-128 168-44-136 145-147-44 133-63-52 63-193-204 51-109-212 28-212-120 16-128-128",
    ("709", 10): "721-512-512 674-176-543 581-589-176 534-253-207 251-771-817 204-435-848 111-848-481 64-512-512",
}


@pytest.mark.parametrize(("matrix", "bits"), PUBLISHED)
def test_ycbcr_codes_are_those_of_the_tables(matrix: str, bits: int) -> None:
    """Bars painted with the published codes pass without an error, and no others are expected."""
    codes = [tuple(map(int, word.split("-"))) for word in PUBLISHED[matrix, bits].split()]
    planes = [np.zeros((480, 720 // step), np.uint16) for step in (1, 2, 2)]
    for i, triple in enumerate(codes):
        for plane, code, step in zip(planes, triple, (1, 2, 2), strict=True):
            plane[:, (8 + 88 * i if i else 0) // step :] = code
    frame = frame_of(planes, Sampling.YCBCR_422, bits, range=Range.NARROW)
    found = check(frame, matrix=Matrix(matrix), options=Options(bars="75/0/75/0"), tolerance=0)
    assert found.passed
    assert [reading.expected for reading in found.readings] == codes


def test_errors_have_the_sign_of_the_picture() -> None:
    """A picture 3 codes too light reads +3; it passes at a tolerance of 3 and fails below."""
    image = np.clip(bars_picture().astype(int), 0, 252).astype(np.uint8) + 3
    found = check(rgb_frame(image), tolerance=3)
    green = next(reading for reading in found.readings if reading.name == "green")
    assert green.error == (3, 3, 3)
    assert found.passed
    assert not check(rgb_frame(image), tolerance=2.9).passed


def test_tolerance_is_in_codes_of_eight_bits() -> None:
    """At 10 bits one code of 8 bits is four."""
    deep = bars_picture().astype(np.uint16)
    # Full-range 10-bit codes of the same levels: 1023 and 767 (767.25 rounded), computed.
    deep = np.select([deep == 255, deep == 191], [1023, 767], 0).astype(np.uint16)
    assert check(rgb_frame(deep, bits=10), tolerance=0).passed
    off = np.where(deep > 0, deep - 4, deep)
    assert check(rgb_frame(off, bits=10), tolerance=1).passed
    assert not check(rgb_frame(np.where(deep > 0, deep - 5, deep), bits=10), tolerance=1).passed


def test_noise_is_the_standard_deviation() -> None:
    """Gaussian noise of 4 codes reads 4 within 10 %, and moves the median by less than one."""
    image = np.full((480, 720, 3), 128.0) + RNG.normal(0, 4, (480, 720, 3))
    found = check(rgb_frame(np.clip(np.round(image), 0, 255).astype(np.uint8)), "field", options=Options(colour="grey"))
    assert found.passed
    for reading in found.readings:
        assert reading.noise == pytest.approx((4, 4, 4), rel=0.15)
        assert reading.mean == pytest.approx((128, 128, 128), abs=0.5)
        assert max(value for value in reading.lowest if value is not None) < 118
        assert min(value for value in reading.highest if value is not None) > 138


def test_the_median_passes_over_specks() -> None:
    """White specks on a tenth of the samples pull the mean, not the median."""
    image = bars_picture()
    image[RNG.random((480, 720)) < 0.1] = 255
    black = check(rgb_frame(image)).readings[-1]
    assert black.measured == (0, 0, 0)
    assert black.mean[0] == pytest.approx(25.5, abs=2)
    assert black.passed


def test_soft_edges_stay_outside() -> None:
    """A blur over five samples at the edges changes no patch."""
    image = cv2.blur(bars_picture(), (5, 5))
    assert check(rgb_frame(image), tolerance=0).passed


@pytest.mark.parametrize("size", [(640, 480), (1440, 1080), (360, 240)])
def test_a_scaled_frame(size: tuple[int, int]) -> None:
    """The whole raster scaled by OpenCV's area filter still passes, and the scale is told."""
    image = cv2.resize(bars_picture(), size, interpolation=cv2.INTER_AREA)
    found = check(rgb_frame(image))
    assert found.passed
    assert found.registration.scale_x == pytest.approx(size[0] / 720)
    assert found.registration.scale_y == pytest.approx(size[1] / 480)


def test_patches_too_small_are_skipped() -> None:
    """On a frame of a few samples nothing can be measured: that is told, and it is no pass."""
    found = check(rgb_frame(bars_picture()[::60, ::60]))
    assert found.skipped
    assert not found.readings
    assert not found.passed


def test_what_is_not_there_fails() -> None:
    """Another pattern, a black picture, a mirrored one."""
    for image in (bars_picture()[:, ::-1], np.zeros_like(bars_picture())):
        assert not check(rgb_frame(np.ascontiguousarray(image))).passed
    assert not check(rgb_frame(bars_picture()), "steps").passed


def test_choice_of_the_range() -> None:
    """Asked for, else the tag, else the file's own words, else full for R'G'B' and narrow for Y'CbCr."""
    image = bars_picture()
    plain = rgb_frame(image)

    def chosen(frame: Frame, asked: Range | None = None) -> Range:
        return frame_signal(frame, code_range=asked, default_matrix=Matrix.BT601).range

    assert chosen(plain) is Range.FULL
    told = replace(plain, provenance={"range": "narrow"})
    assert chosen(told) is Range.NARROW
    tagged = replace(told, picture=replace(plain.picture, tags=replace(plain.picture.tags, range=Range.FULL)))
    assert chosen(tagged) is Range.FULL
    assert chosen(tagged, Range.NARROW) is Range.NARROW
    luma = image[:, :, 0]
    assert chosen(frame_of([luma, luma, luma], Sampling.YCBCR_444, 8)) is Range.NARROW


def test_a_jpeg_photograph_of_the_raster(tmp_path: Path) -> None:
    """Pillow's JPEG of the bars passes in its own full-range BT.601 codes, on a raster that is BT.709 too."""
    image = np.zeros((720, 1280, 3), np.uint8)
    for i, colour in enumerate(BARS):
        image[:, 160 * i : 160 * (i + 1)] = colour
    Image.fromarray(image).save(tmp_path / "bars.jpg", quality=98)
    frame = read_frame(tmp_path / "bars.jpg")
    fmt = FORMATS["720p50"]
    signal = frame_signal(frame, default_matrix=Matrix.BT709)
    assert (signal.range, signal.matrix) == (Range.FULL, Matrix.BT601)
    assert check_levels(frame, PATTERNS["bars"].scene(fmt), fmt, signal, 1).passed


def test_slopes_are_measured_by_their_mean() -> None:
    """On a ramp made with numpy every slice's mean is the level of its middle."""
    fmt = FORMATS["1080p25"]
    x = np.arange(1920)
    # Each 10-bit code twice, 83 samples from the left edge (1920 - 2 * 877 = 166): the pattern's own definition.
    codes = np.clip((x - 83) // 2, 0, 876) + 64
    plane = np.broadcast_to(codes.astype(np.uint16), (1080, 1920))
    chroma = np.full((1080, 960), 512, np.uint16)
    frame = frame_of([plane, chroma, chroma], Sampling.YCBCR_422, 10, range=Range.NARROW)
    signal = Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=10, sampling=Sampling.YCBCR_422, edges=Edges.HARD)
    found = check_levels(frame, PATTERNS["ramp"].scene(fmt), fmt, signal, 0.25)
    assert found.passed
    assert len(found.readings) == 11
