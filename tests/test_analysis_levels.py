"""Levels measured on frames that general-purpose tools made, with errors that are known."""

from __future__ import annotations

import itertools
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray
from PIL import Image

from analysis.frame.levels import Capture, Check, Frame, Reference, check_levels, frame_signal, read_frame
from analysis.frame.place.axes import Registration
from analysis.frame.tolerance import Tolerance
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, Format
from patterns.pattern import Options
from patterns.signal import Edges, Matrix, Range, Sampling, Signal
from render.decode import Picture
from render.errors import FileError
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
    scene = PATTERNS[pattern].scene(fmt, options)
    return check_levels(
        frame, Reference(scene=scene, format=fmt, signal=replace(expected, **signal)), Tolerance(value=tolerance)
    )


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


@pytest.mark.parametrize("sigma", [1, 2, 3, 4, 5, 8, 12, 16])
def test_noise_is_the_standard_deviation(sigma: int) -> None:
    """Gaussian noise of a known size reads that size within 10 %, and moves the median by less than one."""
    # Rounding to whole codes adds a twelfth of a code squared: at 1 code 4 %, which is inside.
    image = np.full((480, 720, 3), 128.0) + RNG.normal(0, sigma, (480, 720, 3))
    found = check(rgb_frame(np.clip(np.round(image), 0, 255).astype(np.uint8)), "field", options=Options(colour="grey"))
    assert found.passed
    for reading in found.readings:
        assert reading.mean == pytest.approx((128, 128, 128), abs=0.5)
        assert max(value for value in reading.lowest if value is not None) < 128 - 2 * sigma
        assert min(value for value in reading.highest if value is not None) > 128 + 2 * sigma
        assert reading.noise == pytest.approx((sigma,) * 3, rel=0.1)


@pytest.mark.parametrize("sigma", [4, 8, 16, 32])
def test_noise_of_ten_bits(sigma: int) -> None:
    """At 10 bits too, the noise figure is within 10 % of the known one, in codes of that depth."""
    image = np.full((480, 720, 3), 512.0) + RNG.normal(0, sigma, (480, 720, 3))
    deep = np.clip(np.round(image), 0, 1023).astype(np.uint16)
    found = check(rgb_frame(deep, bits=10), "field", options=Options(colour="grey"))
    assert found.passed
    for reading in found.readings:
        assert reading.noise == pytest.approx((sigma,) * 3, rel=0.1)


def test_noise_is_not_moved_by_specks() -> None:
    """Single white samples, one in a hundred, are no noise of the picture: the figure stays within 10 %."""
    image = np.clip(np.round(np.full((480, 720, 3), 128.0) + RNG.normal(0, 12, (480, 720, 3))), 0, 255)
    image[RNG.random((480, 720)) < 0.01] = 255
    found = check(rgb_frame(image.astype(np.uint8)), "field", options=Options(colour="grey"))
    for reading in found.readings:
        assert reading.noise == pytest.approx((12, 12, 12), rel=0.1)


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


@pytest.mark.parametrize(
    ("size", "filter_"),
    [
        ((640, 480), cv2.INTER_AREA),
        ((360, 240), cv2.INTER_AREA),
        ((1440, 1080), cv2.INTER_AREA),
        ((1440, 960), cv2.INTER_NEAREST),
        ((1920, 1080), cv2.INTER_NEAREST),
    ],
)
def test_a_scaled_frame(size: tuple[int, int], filter_: int) -> None:
    """The whole raster scaled by OpenCV still passes, and the scale is told."""
    image = cv2.resize(bars_picture(), size, interpolation=filter_)
    found = check(rgb_frame(image))
    assert found.passed
    assert found.registration.x.scale == pytest.approx(size[0] / 720)
    assert found.registration.y.scale == pytest.approx(size[1] / 480)


def test_patches_too_small_are_skipped() -> None:
    """On a frame of a few samples nothing can be measured: that is told, and it is no pass."""
    # A bar of 88 samples has 76 inside its margins of 6; at a sixtieth of the size no whole sample lies in there.
    found = check(rgb_frame(bars_picture()[::60, ::60]))
    assert found.skipped == ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black")
    assert not found.readings
    assert not found.passed


def test_the_smallest_patch_that_is_measured() -> None:
    """Chroma of 4:2:0 has a quarter of the samples: a patch is skipped where that is too little, not where luma is."""
    image = bars_picture()[::40, ::40]
    assert len(check(rgb_frame(image)).readings) == 8
    height, width = image.shape[:2]
    luma = np.full((height, width), 16, np.uint8)
    chroma = np.full((height // 2, width // 2), 128, np.uint8)
    found = check(frame_of([luma, chroma, chroma], Sampling.YCBCR_420, 8))
    assert found.skipped
    assert {*found.skipped, *(reading.name for reading in found.readings)} == {*NAMES}


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
    assert check_levels(
        frame, Reference(scene=PATTERNS["bars"].scene(fmt), format=fmt, signal=signal), Tolerance(value=1)
    ).passed


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
    found = check_levels(
        frame, Reference(scene=PATTERNS["ramp"].scene(fmt), format=fmt, signal=signal), Tolerance(value=0.25)
    )
    assert found.passed
    assert len(found.readings) == 11


# --- Frames that other programs wrote, with codes from the vector files ---------------------------------------------

NAMES = ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black")
Codes = list[tuple[int, int, int]]


def published(bars: dict[str, Any], key: str) -> Codes:
    """The codes of 100/0/75/0 bars as tests/vectors/bars.toml has them."""
    parts = ["full", *["three_quarters"] * 6, "full"]
    return [tuple(bars[part][name][key]) for part, name in zip(parts, NAMES, strict=True)]


def columns(codes: Codes, fmt: Format, step: tuple[int, int] = (1, 1)) -> list[NDArray[np.uint16]]:
    """Three planes with the codes in equal columns over the picture, the outer ones running to the raster's edges."""
    left, count = fmt.picture.left, len(codes)
    edges = [0, *(left + i * fmt.picture.width // count for i in range(1, count)), fmt.width]
    planes = []
    for i in range(3):
        plane = np.zeros((fmt.height, fmt.width), np.uint16)
        for (a, b), code in zip(itertools.pairwise(edges), codes, strict=True):
            plane[:, a:b] = code[i]
        planes.append(plane[:: step[1], :: step[0]] if i else plane)
    return planes


def written(path: Path, planes: list[NDArray[np.uint16]], kind: str, *words: str) -> Frame:
    """The planes put into a file by the ffmpeg program, read back."""
    height, width = planes[0].shape
    data = b"".join(plane.astype("<u2" if kind.endswith("le") else "u1").tobytes() for plane in planes)
    command = ("-f", "rawvideo", "-pix_fmt", kind, "-s", f"{width}x{height}", "-r", "25", "-i", "-", *words, str(path))
    subprocess.run([get_ffmpeg_exe(), "-loglevel", "error", "-y", *command], input=data, check=True)
    return read_frame(path)


def judged(
    frame: Frame, fmt: Format, pattern: str = "bars", code_range: Range | None = None, tolerance: float = 0
) -> Check:
    matrix = Matrix.BT709 if fmt.height > 576 else Matrix.BT601
    signal = frame_signal(frame, code_range=code_range, default_matrix=matrix)
    return check_levels(
        frame, Reference(scene=PATTERNS[pattern].scene(fmt), format=fmt, signal=signal), Tolerance(value=tolerance)
    )


CODED = [
    ("480i", "601_8", "yuv422p", (2, 1)),
    ("576i", "601_10", "yuv422p10le", (2, 1)),
    ("576p", "601_8", "yuv420p", (2, 2)),
    ("720p50", "709_8", "yuv444p", (1, 1)),
    ("1080i50", "709_10", "yuv420p10le", (2, 2)),
]


@pytest.mark.parametrize(("name", "key", "kind", "step"), CODED)
def test_published_codes_in_a_file_of_the_ffmpeg_program(
    tmp_path: Path, bars: dict[str, Any], name: str, key: str, kind: str, step: tuple[int, int]
) -> None:
    """Bars with the vector file's codes, written as FFV1, pass without any tolerance, each patch by its own codes."""
    codes, fmt = published(bars, key), FORMATS[name]
    found = judged(written(tmp_path / "bars.mkv", columns(codes, fmt, step), kind, "-c:v", "ffv1"), fmt)
    assert found.passed
    assert [reading.name for reading in found.readings] == [*NAMES]
    assert [reading.expected for reading in found.readings] == codes
    assert [reading.measured for reading in found.readings] == codes
    assert all(reading.error == reading.noise == (0, 0, 0) for reading in found.readings)


@pytest.mark.parametrize("by", [-3, -1, 2, 5])
@pytest.mark.parametrize("component", [0, 1, 2])
def test_a_known_error_is_told_as_it_is(tmp_path: Path, bars: dict[str, Any], component: int, by: int) -> None:
    """An error put into one component of one bar is found there, with its sign, and nowhere else."""
    codes, fmt = published(bars, "601_8"), FORMATS["480i"]
    wrong = list(codes)
    wrong[3] = tuple(code + by * (i == component) for i, code in enumerate(codes[3]))  # type: ignore[assignment]
    frame = written(tmp_path / "bars.mkv", columns(wrong, fmt, (2, 1)), "yuv422p", "-c:v", "ffv1")
    for tolerance in (0, abs(by) - 0.01, abs(by)):
        found = judged(frame, fmt, tolerance=tolerance)
        for reading in found.readings:
            assert reading.error == tuple(by * (reading.name == "green" and i == component) for i in range(3))
            assert reading.passed is (reading.name != "green" or tolerance >= abs(by))
        assert found.passed is (tolerance >= abs(by))


@pytest.mark.parametrize(("key", "kind", "bits"), [("601_8", "yuv422p", 8), ("601_10", "yuv422p10le", 10)])
def test_the_limit_of_the_tolerance(tmp_path: Path, bars: dict[str, Any], key: str, kind: str, bits: int) -> None:
    """An error of just the tolerance passes, one code more fails; one code of 8 bits is four of 10."""
    step, fmt, codes = 1 << (bits - 8), FORMATS["480i"], published(bars, key)
    for by, passes in ((2 * step, True), (2 * step + 1, False), (-2 * step, True), (-2 * step - 1, False)):
        raised: Codes = [(first + by, second, third) for first, second, third in codes]
        frame = written(tmp_path / f"{by}.mkv", columns(raised, fmt, (2, 1)), kind, "-c:v", "ffv1")
        found = judged(frame, fmt, tolerance=2)
        assert found.tolerance.limits(found.signal) == (2 * step,) * 3
        assert found.passed is passes, by
        assert {reading.error for reading in found.readings} == {(by, 0, 0)}


def test_a_fraction_of_a_code() -> None:
    """The median of an even number of samples may lie between two codes, and the tolerance may be as fine."""
    plane = np.full((480, 720), 128, np.uint8)
    # Every second line: each patch has an even number of them.
    plane[::2] = 129
    # Grey of 50 % in full range is 127.5, which rounds half up to 128 (BT.2100-2 Table 9; from memory).
    found = check(rgb_frame(np.stack([plane] * 3, -1)), "field", options=Options(colour="grey"), tolerance=0.5)
    assert {reading.error[0] for reading in found.readings} == {0.5}
    assert {reading.mean[0] for reading in found.readings} == {128.5}
    assert found.passed
    assert not check(
        rgb_frame(np.stack([plane] * 3, -1)), "field", options=Options(colour="grey"), tolerance=0.49
    ).passed


def test_the_wrong_range_fails(tmp_path: Path, bars: dict[str, Any]) -> None:
    """Narrow codes taken for full range fail at both ends, and full-range codes taken for narrow too."""
    fmt = FORMATS["480i"]
    narrow = written(tmp_path / "n.mkv", columns(published(bars, "601_8"), fmt, (2, 1)), "yuv422p", "-c:v", "ffv1")
    assert judged(narrow, fmt).passed
    found = judged(narrow, fmt, code_range=Range.FULL, tolerance=3)
    assert not found.passed
    # White 235 instead of 255, black 16 instead of 0.
    assert (found.readings[0].error[0], found.readings[-1].error[0]) == (-20, 16)
    full = judged(rgb_frame(bars_picture()), fmt, code_range=Range.NARROW, tolerance=3)
    assert not full.passed
    assert (full.readings[0].error[0], full.readings[-1].error[0]) == (20, -16)


def test_the_wrong_matrix_fails(tmp_path: Path, bars: dict[str, Any]) -> None:
    """Bars with the codes of 709 on a standard-definition raster fail by the difference of the published codes."""
    fmt, right, wrong = FORMATS["480i"], published(bars, "601_8"), published(bars, "709_8")
    frame = written(tmp_path / "bars.mkv", columns(wrong, fmt, (2, 1)), "yuv422p", "-c:v", "ffv1")
    found = judged(frame, fmt, tolerance=3)
    assert not found.passed
    for reading, got, expected in zip(found.readings, wrong, right, strict=True):
        assert reading.error == tuple(a - b for a, b in zip(got, expected, strict=True))
        assert reading.passed is all(abs(a - b) <= 3 for a, b in zip(got, expected, strict=True))


@pytest.mark.parametrize("pattern", ["steps", "pluge", "window", "field", "crosshatch"])
def test_the_wrong_pattern_fails(tmp_path: Path, bars: dict[str, Any], pattern: str) -> None:
    """Good bars are no good anything else."""
    fmt = FORMATS["480i"]
    frame = written(tmp_path / "b.mkv", columns(published(bars, "601_8"), fmt, (2, 1)), "yuv422p", "-c:v", "ffv1")
    assert judged(frame, fmt).passed
    assert not judged(frame, fmt, pattern, tolerance=3).passed


@pytest.mark.parametrize(("bits", "kind"), [("8", "yuv422p"), ("10", "yuv422p10le"), ("12", "yuv422p12le")])
def test_published_greys(tmp_path: Path, greys: dict[str, Any], bits: str, kind: str) -> None:
    """Steps with the codes of tests/vectors/greys.toml pass without tolerance; one step a code off fails alone.

    They rise above and fall below; the lower row begins at 55 % of 576 lines, 316.8.
    """
    fmt, zero = FORMATS["576i"], 1 << (int(bits) - 1)
    codes: Codes = [(code, zero, zero) for code in greys["greys"][bits].values()]
    names = [*greys["greys"][bits]]
    words = ("-c:v", "ffv1", "-strict", "-2")
    falling = columns(codes[::-1], fmt, (2, 1))[0][317:]

    def found_in(name: str) -> Check:
        planes = columns(codes, fmt, (2, 1))
        planes[0][317:] = falling
        return judged(written(tmp_path / name, planes, kind, *words), fmt, "steps")

    found = found_in("a.mkv")
    assert found.passed
    assert [reading.name for reading in found.readings] == names + [f"{name} lower" for name in names[::-1]]
    codes[4] = (codes[4][0] + 1, zero, zero)
    found = found_in("b.mkv")
    assert [reading.name for reading in found.readings if not reading.passed] == ["40"]


@pytest.mark.parametrize("kind", ["yuvj420p", "yuvj444p"])
def test_a_jpeg_of_the_ffmpeg_program(tmp_path: Path, kind: str) -> None:
    """JPEG bars with full-range BT.601 codes pass in them on a raster of BT.709, and fail by the codes of 709."""
    fmt, codes = FORMATS["720p50"], Codes()
    for colour in BARS:
        red, green, blue = colour
        # JFIF (ITU-T T.871): full-range BT.601.
        y = 0.299 * red + 0.587 * green + 0.114 * blue
        both = (128 + (blue - y) / 1.772, 128 + (red - y) / 1.402)
        codes.append((round(y), min(255, round(both[0])), min(255, round(both[1]))))
    step = (2, 2) if kind == "yuvj420p" else (1, 1)
    words = ("-c:v", "mjpeg", "-q:v", "1", "-qmin", "1", "-frames:v", "1", "-update", "1")
    frame = written(tmp_path / "bars.jpg", columns(codes, fmt, step), kind, *words)
    found = judged(frame, fmt, tolerance=1.5)
    assert (found.signal.range, found.signal.matrix) == (Range.FULL, Matrix.BT601)
    assert found.passed
    scene = PATTERNS["bars"].scene(fmt)
    other = replace(found.signal, matrix=Matrix.BT709)
    assert not check_levels(frame, Reference(scene=scene, format=fmt, signal=other), Tolerance(value=1.5)).passed


@pytest.mark.parametrize("suffix", [".png", ".bmp", ".webp"])
def test_stills_of_pillow(tmp_path: Path, suffix: str) -> None:
    """Full-range bars in a still of Pillow pass with no error."""
    path = tmp_path / f"bars{suffix}"
    Image.fromarray(bars_picture()).save(path, **dict[str, Any](lossless=True) if suffix == ".webp" else {})
    found = judged(read_frame(path), SD)
    assert found.passed
    assert (found.signal.range, found.signal.bits) == (Range.FULL, 8)


def test_a_frame_that_is_not_there(tmp_path: Path, bars: dict[str, Any]) -> None:
    """Frames count from 0; one beyond the end is told with how many there are."""
    fmt = FORMATS["480i"]
    written(tmp_path / "b.mkv", columns(published(bars, "601_8"), fmt, (2, 1)), "yuv422p", "-c:v", "ffv1")
    assert read_frame(tmp_path / "b.mkv", 0).index == 0
    with pytest.raises(FileError, match=r"frame 1 is asked for, the file has 1 \(counted from 0\)"):
        read_frame(tmp_path / "b.mkv", 1)


# --- Without a tolerance ------------------------------------------------------------------------------------------


def unasked(frame: Frame, options: Options | None = None, pattern: str = "bars") -> Check:
    signal = frame_signal(frame, default_matrix=Matrix.BT601)
    return check_levels(frame, Reference(scene=PATTERNS[pattern].scene(SD, options), format=SD, signal=signal))


@pytest.mark.parametrize(
    ("by", "is_exact", "passes"),
    [(0, True, True), (1, True, True), (2, False, True), (5, False, True), (6, False, False)],
)
def test_a_clean_frame_is_exact_within_a_code_and_good_within_two_percent(
    by: int, is_exact: bool, passes: bool
) -> None:
    """One code of 8 bits, and 2 % of white, which are 5.1 codes of full range: docs/verify.md."""
    found = unasked(rgb_frame(np.minimum(bars_picture(), 255 - by) + np.uint8(by)))
    assert (found.capture, found.noise) == (Capture.DIGITAL, 0)
    assert found.tolerance == Tolerance(value=2, percent=True)
    assert (found.is_exact, found.passed) == (is_exact, passes)


@pytest.mark.parametrize(("by", "passes"), [(0, True), (4, True), (8, False)])
def test_a_noisy_frame_is_judged_by_two_percent(by: int, passes: bool) -> None:
    """Noise of 3 codes is what an analogue way gives; there 2 % of white, 5.1 codes of full range, are allowed."""
    noise = np.random.default_rng(5).normal(0, 3, (480, 720, 3))
    image = np.clip(np.round(np.full((480, 720, 3), 128.0 + by) + noise), 0, 255).astype(np.uint8)
    found = unasked(rgb_frame(image), Options(colour="grey"), "field")
    assert found.capture is Capture.ANALOGUE
    assert found.noise == pytest.approx(3, rel=0.1)
    assert found.tolerance == Tolerance(value=2, percent=True)
    # 2 % of 255 codes.
    assert found.tolerance.limits(found.signal) == pytest.approx((5.1, 5.1, 5.1))
    assert found.passed is passes


@pytest.mark.parametrize(
    ("code_range", "bits", "limits"),
    [
        # 1 % of an excursion of 219 in luma and 224 in chroma (BT.601-7 section 2.5.3), of 255 in full range.
        (Range.NARROW, 8, (2.19, 2.24, 2.24)),
        (Range.NARROW, 10, (8.76, 8.96, 8.96)),
        (Range.FULL, 8, (2.55, 2.55, 2.55)),
    ],
)
def test_a_percentage_is_of_the_whole_swing(code_range: Range, bits: int, limits: tuple[float, float, float]) -> None:
    """1 % of white in luma, and as much of chroma's whole swing."""
    signal = Signal(range=code_range, matrix=Matrix.BT601, bits=bits, sampling=Sampling.YCBCR_422)
    assert Tolerance(value=1, percent=True).limits(signal) == pytest.approx(limits)
    codes = 1 << (bits - 8)
    assert Tolerance(value=1).limits(signal) == (codes, codes, codes)


def test_patches_are_found_where_the_raster_lies() -> None:
    """A raster moved 10 samples right and 4 lines down is measured there, and not where it ought to be."""
    image = np.zeros((480, 720, 3), np.uint8)
    image[4:, 10:] = bars_picture()[:-4, :-10]
    whole = Registration.whole(SD, 720, 480)
    moved = Registration(x=replace(whole.x, offset=10.0), y=replace(whole.y, offset=4.0))
    frame, scene = rgb_frame(image), PATTERNS["bars"].scene(SD)
    signal = frame_signal(frame, default_matrix=Matrix.BT601)
    tight = Tolerance(value=0)
    reference = Reference(scene=scene, format=SD, signal=signal)
    there = check_levels(frame, reference, tight, moved)
    assert there.passed
    assert there.registration == moved
    at_home = check_levels(frame, reference, tight)
    # The box goes with the raster: its edges lie so many samples from those of the same patch at home.
    for a, b in zip(there.readings, at_home.readings, strict=True):
        assert a.box[0] - b.box[0] == pytest.approx(10, abs=4.5)
        assert a.box[3] - b.box[3] == pytest.approx(4, abs=4.5) or a.box[3] <= 480
