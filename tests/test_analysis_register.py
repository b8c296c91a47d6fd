"""The raster found in frames that general-purpose libraries warped, with scale and place known from the warp.

Positions are the edges' own, so that sample j covers j to j + 1: docs/reference/formats.md. How near a figure has to
come is the project's own aim: 0.02 % of a scale and a tenth of a sample of a place.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray
from scipy import ndimage

from analysis.frame.place.axes import Axis, Registration
from analysis.frame.place.drawn import Drawn
from analysis.frame.place.register import fit_layouts, register
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, Format
from patterns.signal import Matrix
from tests.matrix import rest_is_slow

Picture = NDArray[np.float32]

NAMES = ("bars", "crosshatch", "circles", "pluge", "multiburst")
WITHOUT_EDGES_DOWN = ("bars",)
"""Upright stripes from the raster's top to its bottom."""


@dataclass(frozen=True, kw_only=True)
class Put:
    """Where a warp puts the raster: frame = scale * raster + offset."""

    sx: float
    sy: float
    tx: float
    ty: float


@cache
def drawn(pattern: str, format_id: str) -> Picture:
    """Luma of the drawn raster as fractions of white."""
    fmt = FORMATS[format_id]
    return Drawn(PATTERNS[pattern].scene(fmt), fmt, Matrix.BT601).luma


def noisy(luma: Picture, percent: float) -> Picture:
    noise = np.random.default_rng(4).normal(0, percent / 100, luma.shape)
    return np.asarray(luma + noise, np.float32)


def found(luma: Picture, pattern: str, format_id: str) -> Registration:
    height, width = luma.shape
    fmt = FORMATS[format_id]
    return register(luma, drawn(pattern, format_id), fmt, layouts=fit_layouts(fmt, width, height))


def check_axis(axis: Axis, scale: float, offset: float, where: str = "") -> None:
    """Within 0.02 % and 0.1 sample, and where noise allows no more than that, within four standard uncertainties."""
    assert axis.found, where
    assert abs(axis.scale / scale - 1) <= max(2e-4, 4 * axis.scale_error / scale), (where, axis)
    assert abs(axis.offset - offset) <= max(0.1, 4 * axis.offset_error), (where, axis)
    # The uncertainty is no excuse for everything.
    assert axis.scale_error < 2e-4 * scale, (where, axis)
    assert axis.offset_error < 0.1, (where, axis)


def check(place: Registration, put: Put, where: str = "") -> None:
    check_axis(place.x, put.sx, put.tx, where)
    if place.y.found or where not in WITHOUT_EDGES_DOWN:
        check_axis(place.y, put.sy, put.ty, where)


# --- Warps with parameters of their own -----------------------------------------------------------------------------


def by_opencv(luma: Picture, put: Put, size: tuple[int, int]) -> Picture:
    """warpAffine counts from the middle of the first sample."""
    matrix = np.array([[put.sx, 0, (put.sx - 1) / 2 + put.tx], [0, put.sy, (put.sy - 1) / 2 + put.ty]])
    return np.asarray(cv2.warpAffine(luma, matrix, size, flags=cv2.INTER_LANCZOS4), np.float32)


def by_scipy(luma: Picture, put: Put, size: tuple[int, int]) -> Picture:
    """affine_transform goes from the frame to the raster, row first, and counts from the middle too."""
    back = [(0.5 - put.ty) / put.sy - 0.5, (0.5 - put.tx) / put.sx - 0.5]
    warped = ndimage.affine_transform(
        luma, [1 / put.sy, 1 / put.sx], back, output_shape=size[::-1], order=3, mode="grid-constant"
    )
    return np.asarray(warped, np.float32)


def by_ffmpeg(luma: Picture, words: str, size: tuple[int, int]) -> Picture:
    """Through filters of the ffmpeg program, as 8-bit grey of narrow range."""
    height, width = luma.shape
    codes = np.clip(np.round(16 + 219 * luma), 0, 255).astype(np.uint8)
    raw = ("-f", "rawvideo", "-pix_fmt", "gray")
    command = [*raw, "-s", f"{width}x{height}", "-i", "-", "-vf", words, "-frames:v", "1", *raw, "-"]
    done = subprocess.run(
        [get_ffmpeg_exe(), "-loglevel", "error", *command], input=codes.tobytes(), check=True, capture_output=True
    )
    seen = np.frombuffer(done.stdout, np.uint8).reshape(size[::-1])
    return ((seen - np.float32(16)) / np.float32(219)).astype(np.float32)


Warp = Callable[[Picture, Put, tuple[int, int]], Picture]
WARPS: dict[str, tuple[Warp, Put, float]] = {
    "as it is": (by_opencv, Put(sx=1, sy=1, tx=0, ty=0), 0),
    "as it is, 3 % noise": (by_opencv, Put(sx=1, sy=1, tx=0, ty=0), 3),
    "moved": (by_scipy, Put(sx=1, sy=1, tx=5.3, ty=-2.6), 0),
    "a little smaller": (by_scipy, Put(sx=0.97, sy=0.98, tx=10.3, ty=4.4), 0),
    "smaller, 3 % noise": (by_opencv, Put(sx=0.9, sy=0.95, tx=36, ty=12.5), 3),
    "larger, 3 % noise": (by_opencv, Put(sx=1.05, sy=1.02, tx=-18, ty=-4.8), 3),
}


def check_warp(pattern: str, format_id: str, name: str) -> None:
    warp, put, noise = WARPS[name]
    fmt = FORMATS[format_id]
    luma = warp(drawn(pattern, format_id), put, (fmt.width, fmt.height))
    check(found(noisy(luma, noise), pattern, format_id), put, pattern)


SHORT = [("crosshatch", "480i", name) for name in WARPS if name not in ("as it is", "a little smaller")]
SHORT += [(pattern, "480i", "smaller, 3 % noise") for pattern in ("bars", "pluge", "multiburst")]
SHORT += [("multiburst", "576i", "larger, 3 % noise")]
REST = [(pattern, "480i", "larger, 3 % noise") for pattern in NAMES]
REST += [(pattern, fmt, name) for pattern in NAMES for fmt in ("576i", "720p50") for name in [*WARPS][3:5]]


@pytest.mark.parametrize(
    ("pattern", "format_id", "name"),
    rest_is_slow(SHORT, [x for x in SHORT if x[0] != "crosshatch" or "noise" not in x[2]]),
)
def test_scale_and_place_of_a_warped_frame(pattern: str, format_id: str, name: str) -> None:
    """The grid in each warp, each pattern in the hardest one, and other formats."""
    check_warp(pattern, format_id, name)


@pytest.mark.slow
@pytest.mark.parametrize(("pattern", "format_id", "name"), [case for case in REST if case not in SHORT])
def test_scale_and_place_in_every_format(pattern: str, format_id: str, name: str) -> None:
    """The rest of the matrix."""
    check_warp(pattern, format_id, name)


FILTERS = {
    # scale=W:H gives W/720 and H/480, pad and crop whole samples.
    "borders": ("scale=660:450:flags=bicubic,pad=720:480:30:16", Put(sx=660 / 720, sy=450 / 480, tx=30, ty=16)),
    "sharp": ("scale=660:450:flags=lanczos,pad=720:480:30:16", Put(sx=660 / 720, sy=450 / 480, tx=30, ty=16)),
    "larger": ("scale=760:500:flags=bicubic,crop=720:480:20:10", Put(sx=760 / 720, sy=500 / 480, tx=-20, ty=-10)),
    "own samples": ("pad=768:512:24:16", Put(sx=1, sy=1, tx=24, ty=16)),
}


CUTS = [*zip(["circles", "bars", "multiburst", "crosshatch"], FILTERS, strict=True)]


@pytest.mark.parametrize(("pattern", "name"), CUTS)
def test_filters_of_the_ffmpeg_program(pattern: str, name: str) -> None:
    """What a player does: scaled into borders, cut at the sides, and put into a larger frame."""
    words, put = FILTERS[name]
    size = (768, 512) if name == "own samples" else (720, 480)
    check(found(by_ffmpeg(drawn(pattern, "480i"), words, size), pattern, "480i"), put, pattern)


def slow_but(first: str, *rest: str) -> list[Any]:
    return [first, *(pytest.param(name, marks=pytest.mark.slow) for name in rest)]


@pytest.mark.parametrize("pattern", slow_but("crosshatch", "bars", "circles"))
def test_pillars(pattern: str) -> None:
    """4:3 in the middle of a frame of 1920 x 1080: 1440 samples wide, 240 on each side."""
    frame = np.zeros((1080, 1920), np.float32)
    frame[:, 240:1680] = cv2.resize(drawn(pattern, "480i"), (1440, 1080), interpolation=cv2.INTER_CUBIC)
    place = found(noisy(frame, 3), pattern, "480i")
    # The raster fills the frame's height, where no pattern of stripes has an edge: then that is taken.
    assert abs(place.y.scale - 2.25) < 2.25 * 2e-4
    assert abs(place.y.offset) < 0.1
    check_axis(place.x, 2, 240)


@pytest.mark.parametrize("pattern", slow_but("bars", "crosshatch", "circles"))
def test_letterbox(pattern: str) -> None:
    """16:9 in a frame of 720 x 576: 404 lines, 86 above and below."""
    frame = np.zeros((576, 720), np.float32)
    frame[86:490] = cv2.resize(drawn(pattern, "720p50"), (720, 404), interpolation=cv2.INTER_AREA)
    place = found(noisy(frame, 3), pattern, "720p50")
    check_axis(place.x, 720 / 1280, 0)
    check_axis(place.y, 404 / 720, 86)


@pytest.mark.parametrize("pattern", slow_but("crosshatch", "bars", "circles", "multiburst"))
@pytest.mark.parametrize("stretched", [False, True])
def test_a_tenth_cut_off_on_every_side(pattern: str, stretched: bool) -> None:
    """As overscan does it: 576 x 384 of 720 x 480, as they are or brought back to the frame's size."""
    kept = drawn(pattern, "480i")[48:432, 72:648]
    if stretched:
        # 720 / 576 = 480 / 384 = 1.25; 72 and 48 samples of the raster are 90 and 60 of the frame.
        frame = np.asarray(cv2.resize(kept, (720, 480), interpolation=cv2.INTER_CUBIC), np.float32)
        put = Put(sx=1.25, sy=1.25, tx=-90, ty=-60)
    else:
        frame, put = kept, Put(sx=1, sy=1, tx=-72, ty=-48)
    place = found(noisy(frame, 1), pattern, "480i")
    check(place, put, pattern)
    assert place.x.crop_start == pytest.approx(0.1, abs=5e-4)
    assert place.x.crop_stop == pytest.approx(0.1, abs=5e-4)


def test_a_grid_that_is_cut_by_a_cell_is_ambiguous() -> None:
    """Where only inner lines are in view nothing tells one from the next: the place is right but for whole cells.

    60 samples of the left are cut off, and 60 of the right: that is symmetric, and found as it is. 100 and 20: the
    answer may be whole cells of 44 samples (704 / 16; DESIGN.md section 4) beside the truth, and is the middle one.
    """
    luma = drawn("crosshatch", "480i")
    even = found(luma[:, 60:660], "crosshatch", "480i")
    check_axis(even.x, 1, -60)
    uneven = found(luma[:, 100:700], "crosshatch", "480i")
    cells = (uneven.x.offset + 100) / 44
    assert uneven.x.scale == pytest.approx(1, abs=2e-4)
    assert cells == pytest.approx(round(cells), abs=0.1 / 44)
    assert uneven.x.offset == pytest.approx(-56, abs=22.1)


# --- What tells nothing, and how sure the rest is -------------------------------------------------------------------


def test_stripes_without_ends_tell_no_place_along_them() -> None:
    """Upright bars from top to bottom: nothing is found down the picture, and the raster is taken to fill it."""
    place = found(drawn("bars", "480i"), "bars", "480i")
    assert not place.y.found
    assert (place.y.scale, place.y.offset) == (1, 0)


@pytest.mark.parametrize("level", [0.0, 0.5])
def test_an_empty_frame_tells_nothing(level: float) -> None:
    """Black and grey frames: nothing is found where nothing is."""
    place = found(np.full((480, 720), level, np.float32), "crosshatch", "480i")
    assert not (place.x.found and place.y.found)
    assert np.isfinite([place.x.scale, place.x.offset, place.y.scale, place.y.offset]).all()


@pytest.mark.slow
def test_the_uncertainty_is_that_of_repeated_measurements() -> None:
    """Six frames with noise of 5 %, each its own: the spread of their places is what one of them says of itself."""
    put, fmt = Put(sx=0.95, sy=0.97, tx=17.3, ty=6.8), FORMATS["480i"]
    luma = by_opencv(drawn("circles", "480i"), put, (720, 480))
    start = Registration(
        x=Axis(scale=0.95, offset=17, raster=720, frame=720), y=Axis(scale=0.97, offset=7, raster=480, frame=480)
    )
    random = np.random.default_rng(8)
    places = [
        register((luma + noise).astype(np.float32), drawn("circles", "480i"), fmt, start=start)
        for noise in random.normal(0, 0.05, (6, *luma.shape))
    ]
    for axes in ([place.x for place in places], [place.y for place in places]):
        spread = float(np.std([axis.offset for axis in axes], ddof=1))
        told = float(np.mean([axis.offset_error for axis in axes]))
        # The spread of six has an uncertainty of its own of 1 / sqrt(10), a third; three times that are allowed.
        assert 0.3 < spread / told < 2.1


SHAPES: list[tuple[str, tuple[int, int], list[tuple[float, float]]]] = [
    # 4:3 in 1920 x 1080: 704 of 720 samples are 1440 wide (ISO/IEC 14496), or all 720 are; each centred.
    ("480i", (1920, 1080), [(1440 / 704, 1080 / 480), (2.0, 2.25)]),
    # The same shape as the frame's.
    ("720p50", (1920, 1080), [(1.5, 1.5)]),
    # 16:9 in 4:3: 1280 samples on 720, 720 lines on 405.
    ("720p50", (720, 540), [(0.5625, 0.5625)]),
]


@pytest.mark.parametrize(("format_id", "size", "scales"), SHAPES)
def test_layouts_keep_the_shape(format_id: str, size: tuple[int, int], scales: list[tuple[float, float]]) -> None:
    """Where a chain puts the whole raster, computed from the sample aspect ratios."""
    fmt: Format = FORMATS[format_id]
    layouts: Any = fit_layouts(fmt, *size)
    for layout in layouts:
        assert any(layout == pytest.approx(scale, rel=1e-6) for scale in scales), layout
