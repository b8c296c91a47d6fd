"""Marks in a photograph, and the way from its pixels to millimetres on the glass.

Photographs are SIMULATIONS (tests/trials/photos) or drawn here; places come from cv2.projectPoints.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from analysis.errors import InputError
from analysis.lens.model import Lens
from analysis.photo.face import Face
from analysis.photo.file import Photo, read_photo
from analysis.photo.marks import SeenMarks, find_marks, marks_at
from analysis.photo.plane import MarksGiven, Plane, plane_in, plane_of
from analysis.photo.pose import NotedFocal, eye_of, homography
from analysis.photo.targets import mark_dictionary
from render.errors import FileError
from tests.trials.photos.camera import Camera, framed
from tests.trials.photos.run import lens_of
from tests.trials.photos.sets import PhotoSet, plain_set
from trueraster.errors import line_of
from trueraster.options.raster import marks_of, ruler_sigma_mm, sides_mm

Floats = NDArray[np.float64]
Codes = NDArray[Any]

SIZE = (420.0, 320.0)
"""The rectangle of the marks in the tests without a picture, in mm."""
TILTED = framed(
    Camera(
        size=(4000, 3000),
        focal_px=4600.0,
        centre_px=(15.0, -11.0),
        distortion=(-0.15, 0.05, 0.0004, -0.0003, 0.0),
        chromatic=((2e-4, 4e-4), (-1e-4, -3e-4)),
        tilt_deg=(9.0, -11.0),
        roll_deg=2.0,
    ),
    (235.0, 185.0),
)
"""12 megapixels, 14 degrees off axis, about 3 % of distortion."""
RECTANGLE = np.array([[-210.0, -160], [210, -160], [210, 160], [-210, 160]])
SQUARE = np.array([[-15.0, -15], [15, -15], [15, 15], [-15, 15]])


def plane_through(
    seen: SeenMarks,
    size: tuple[float, float],
    photo_size: tuple[int, int],
    lens: Lens | None = None,
    noted_focal_px: float | None = None,
    **given: Any,
) -> Plane:
    """The plane of marks so far apart; `given` is what else `MarksGiven` takes."""
    radius = given.pop("glass_radius_mm", None)
    if radius is not None:
        given["face"] = Face.sphere(radius)
    marks = MarksGiven(seen=seen, size_mm=size, **given)
    noted = None if noted_focal_px is None else NotedFocal(pixels=noted_focal_px, is_whole=True)
    return plane_of(marks, photo_size, lens=lens, noted=noted)


def on_glass(points: Floats, radius: float | None = None) -> Floats:
    """(..., 3): places on the glass above points (..., 2), by the definition of the sphere through the marks."""
    height = np.zeros(points.shape[:-1])
    if radius is not None:
        height = math.sqrt(radius**2 - 210**2 - 160**2) - np.sqrt(radius**2 - (points**2).sum(axis=-1))
    return np.concatenate((points, height[..., None]), axis=-1)


def project(camera: Camera, points: Floats, gun: int = 1, radius: float | None = None) -> Floats:
    return camera.project(on_glass(points, radius).reshape(-1, 3), gun).reshape(points.shape)


def seen_by(camera: Camera, noise: float = 0.0, seed: int = 0, size_mm: float = 30.0, turn: float = 0.0) -> SeenMarks:
    """The four marks as a camera has them, by cv2.projectPoints."""
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    square = SQUARE @ np.array([[c, s], [-s, c]]) * size_mm / 30
    corners = project(camera, RECTANGLE[:, None] + square)
    corners += np.random.default_rng(seed).normal(0, noise, corners.shape) if noise else 0.0
    sigma = np.full((4, 2), max(noise, 1e-3))
    return SeenMarks(
        centres=project(camera, RECTANGLE), sigma=sigma / 2, corners=corners, corner_sigma=np.full((4, 4, 2), noise)
    )


def grid() -> Floats:
    """(7, 9, 2): places all over the rectangle, in mm."""
    x, y = np.meshgrid(np.linspace(-200, 200, 9), np.linspace(-150, 150, 7))
    return np.stack((x, y), axis=-1)


# Marks in a picture.


@pytest.fixture(scope="module")
def usual() -> PhotoSet:
    """Marks of 30 mm at the corners of 460 x 360 mm, without distortion."""
    return plain_set(2.0)


@pytest.fixture(scope="module")
def lit(usual: PhotoSet) -> Codes:
    return np.asarray(usual.marks_photograph())


def truth(made: PhotoSet) -> Floats:
    """(4, 4, 2): where the photograph has the marks' corners."""
    middles = np.array(made.marks.middles)
    corners = middles[:, None] + SQUARE * made.marks.side_mm / 30
    return made.camera.project(on_glass(corners).reshape(-1, 3), 1).reshape(4, 4, 2)


def test_marks_are_found_to_a_tenth_of_a_pixel(usual: PhotoSet, lit: Codes) -> None:
    """All corners of a simulated photograph, and the stated uncertainty is about what they are off."""
    seen = find_marks(Photo(Path("a.png"), lit))
    assert seen.corners is not None
    assert seen.corner_sigma is not None
    off = seen.corners - truth(usual)
    assert np.hypot(*np.moveaxis(off, -1, 0)).max() < 0.12
    middles = usual.camera.project(np.array([(x, y, 0.0) for x, y in usual.marks.middles]), 1)
    assert np.hypot(*(seen.centres - middles).T).max() < 0.08
    assert 0.2 < math.sqrt(float(((off / seen.corner_sigma) ** 2).mean())) < 2.5


def test_marks_of_a_deep_photograph_are_the_same(lit: Codes) -> None:
    """16 bits are read as 8: the codes are 257 times as high."""
    flat, deep = (find_marks(Photo(Path("a.png"), codes)) for codes in (lit, lit.astype(np.uint16) * 257))
    np.testing.assert_allclose(deep.centres, flat.centres, atol=1e-3)


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_turned_marks_are_told_by_their_ids(quarters: int, lit: Codes) -> None:
    """By np.rot90, counterclockwise: (x, y) goes to (y, width - 1 - x)."""
    height, width = lit.shape[:2]
    upright = find_marks(Photo(Path("a.png"), lit)).centres
    turned = find_marks(Photo(Path("a.png"), np.ascontiguousarray(np.rot90(lit, quarters)))).centres
    for _ in range(quarters):
        upright = np.stack((upright[:, 1], width - 1 - upright[:, 0]), axis=1)
        width, height = height, width
    np.testing.assert_allclose(turned, upright, atol=0.02)


def drawn(
    places: list[tuple[int, int, int]], *, side: int = 60, dark: int = 30, light: int = 220, shade: int = 90
) -> Photo:
    """A grey picture of 900 x 700 with marks (id, x, y of the middle)."""
    codes = np.full((700, 900), shade, np.uint8)
    for number, x, y in places:
        mark = np.asarray(cv2.aruco.generateImageMarker(mark_dictionary(), number, side))
        mark = np.where(np.pad(mark, side // 5, constant_values=255) > 127, light, dark)
        top, left = y - len(mark) // 2, x - len(mark) // 2
        codes[top : top + len(mark), left : left + len(mark)] = mark
    soft = cv2.GaussianBlur(codes, (0, 0), 0.7)
    return Photo(Path("drawn.png"), np.repeat(np.asarray(soft)[..., None], 3, axis=2))


FOUR = [(0, 150, 120), (1, 750, 130), (2, 740, 580), (3, 160, 570)]


def test_dim_marks_are_found() -> None:
    """Ink of code 6 on paper of code 16, where the surroundings are black: a room that is nearly dark."""
    seen = find_marks(drawn(FOUR, dark=6, light=16, shade=2))
    # Middle of an even number of pixels.
    np.testing.assert_allclose(seen.centres, [(x - 0.5, y - 0.5) for _, x, y in FOUR], atol=0.3)


@pytest.mark.parametrize(
    ("places", "words"),
    [
        ([], "no corner marks.*sheet marks"),
        (FOUR[:3], "the bottom left mark is not seen"),
        ([FOUR[1], FOUR[3]], "the top left and bottom right marks are not seen"),
        ([*FOUR, (1, 450, 350)], "top right mark is seen twice, at .* and "),
        ([(1, 150, 120), (0, 750, 130), (3, 740, 580), (2, 160, 570)], "mirrored, left and right"),
        ([(0, 150, 120), (2, 750, 130), (1, 740, 580), (3, 160, 570)], "do not lie as a rectangle"),
        ([(0, 150, 120), (1, 750, 130), (2, 300, 300), (3, 160, 570)], "do not lie as a rectangle"),
        # Ids of the same dictionary that are no corner's.
        ([(7, 150, 120), (8, 750, 130), (9, 740, 580), (10, 160, 570)], "no corner marks"),
    ],
)
def test_marks_that_are_not_right_are_one_line(places: list[tuple[int, int, int]], words: str) -> None:
    """Missing, doubled, mirrored and misplaced marks are refused in one line that says which and why."""
    with pytest.raises(FileError, match=words) as raised:
        find_marks(drawn(places))
    assert "\n" not in str(raised.value)
    assert str(raised.value).startswith("drawn.png: ")


def test_small_marks_and_a_mirrored_photograph_are_told() -> None:
    """Not a guess, and not only that none is seen."""
    with pytest.raises(FileError, match=r"only 1\d pixels wide"):
        find_marks(drawn(FOUR, side=14))
    mirrored = Photo(Path("drawn.png"), np.ascontiguousarray(drawn(FOUR).codes[:, ::-1]))
    with pytest.raises(FileError, match="photograph is mirrored"):
        find_marks(mirrored)


def test_a_half_covered_edge_is_told() -> None:
    """Dirt along half of a mark's side leaves the code readable, but not the edge."""
    photo = drawn([(0, 150, 120), (1, 750, 120), (2, 750, 570), (3, 150, 570)])
    photo.codes[120 - 33 : 120, 150 - 34 : 150 - 28] = 30
    with pytest.raises(FileError, match="edges of the top left mark"):
        find_marks(photo)
    # Along the whole side it is an edge, of a mark that is wider than the others.
    photo.codes[120 - 33 : 120 + 33, 150 - 36 : 150 - 28] = 30
    with pytest.raises(ValueError, match=r"the top left mark comes out .* wide"):
        plane_through(find_marks(photo), (300.0, 225.0), photo.size)


def sides(text: str) -> tuple[float, float]:
    return sides_mm("--marks-mm", text, "width x height in mm", "412x309")


def test_typed_marks_are_read() -> None:
    """Eight numbers and two sides, as they are typed."""
    seen = marks_of("10, 20, 900.5,25 ,880,700,30,690.25")
    np.testing.assert_array_equal(seen.centres, [[10, 20], [900.5, 25], [880, 700], [30, 690.25]])
    assert seen.corners is None
    assert sides("412x309") == (412, 309)
    assert sides(" 412.5 X 309 mm") == (412.5, 309)


def test_a_ruler_is_as_good_as_the_digits_that_are_typed() -> None:
    """Whole millimetres: 1 / sqrt(12) of one (the uniform distribution's); a tenth where both are written finer."""
    assert ruler_sigma_mm("412x309") == ruler_sigma_mm("412.5x309") == pytest.approx(1 / math.sqrt(12), abs=0.02)
    assert ruler_sigma_mm("412.0 X 309.5 mm") == 0.1


@pytest.mark.parametrize(
    "text",
    [
        *("", "1,2,3", "1,2,3,4,5,6,7,8,9", "a,b,c,d,e,f,g,h", "nan,0,9,0,9,9,0,9", "1e9,0,9,0,9,9,0,9", "0" * 5000),
        # Counterclockwise, crossed, on one line.
        *("0,0,0,9,9,9,9,0", "0,0,9,9,9,0,0,9", "0,0,1,1,2,2,3,3", "0,0,9,0,9,9,0,9,"),
    ],
)
def test_typed_marks_that_are_none_are_one_line(text: str) -> None:
    """It names the option, whoever refuses them."""
    with pytest.raises(ValueError, match=r"got ") as refused:
        marks_of(text)
    error = refused.value
    line = line_of(error)
    assert line is not None
    assert re.fullmatch(r"--marks: got [^\n]{1,250}", line)


@pytest.mark.parametrize(
    "text", ["", "412", "412x", "x309", "0x309", "-4x309", "412x99999", "nanxnan", "1e2x300", "4" * 999]
)
def test_sizes_that_are_none_are_one_line(text: str) -> None:
    """A text that is no size in millimetres is refused in one line that names the option."""
    with pytest.raises(ValueError, match=r"^--marks-mm: got [^\n]{1,250}$"):
        sides(text)


# The plane.


def test_a_homography_is_that_of_opencv() -> None:
    """cv2.findHomography on the same four points."""
    seen = project(TILTED, RECTANGLE)
    theirs = cv2.findHomography(RECTANGLE, seen)[0]
    np.testing.assert_allclose(homography(RECTANGLE, seen), theirs / theirs[2, 2], rtol=1e-6, atol=1e-9)


def test_without_a_lens_the_plane_is_a_homography() -> None:
    """Pixels of a camera without distortion by cv2.projectPoints, back to a hundred-millionth of a millimetre."""
    camera = replace(TILTED, distortion=(0.0,) * 5, chromatic=((0.0, 0.0), (0.0, 0.0)))
    plane = plane_through(seen_by(camera), SIZE, camera.size)
    np.testing.assert_allclose(plane.to_mm(project(camera, grid())), grid(), atol=1e-8)
    np.testing.assert_allclose(plane.to_px(grid()), project(camera, grid()), atol=1e-7)


@pytest.mark.parametrize("radius", [None, 700.0, 2000.0])
@pytest.mark.parametrize("gun", [0, 1, 2])
def test_with_a_lens_places_are_exact(gun: int, radius: float | None) -> None:
    """Of all guns, with 3 % of distortion, flat and curved; and the way back."""
    plane = plane_through(seen_by(TILTED), SIZE, TILTED.size, lens=lens_of(TILTED), glass_radius_mm=radius)
    pixels = project(TILTED, grid(), gun, radius)
    np.testing.assert_allclose(plane.to_mm(pixels, gun), grid(), atol=1e-6)
    np.testing.assert_allclose(plane.to_px(grid(), gun), pixels, atol=1e-5)
    # A point that is not seen stays so, and takes no other with it.
    pixels[3, 3] = np.nan
    assert np.isfinite(plane.to_mm(pixels, gun)).sum() == 2 * 62


@pytest.mark.parametrize("radius", [None, 900.0])
def test_a_picture_behind_the_marks_is_seen_through_them(radius: float | None) -> None:
    """12 mm behind, where OpenCV projects it; a millimetre more of it is a doubt by a twelfth of what it does."""
    plane = plane_through(
        seen_by(TILTED), SIZE, TILTED.size, lens=lens_of(TILTED), glass_radius_mm=radius, depth_mm=12.0
    )
    places = on_glass(grid(), radius) + np.array([0.0, 0.0, 12.0])
    pixels = TILTED.project(places.reshape(-1, 3), 1).reshape(grid().shape)
    np.testing.assert_allclose(plane.to_mm(pixels), grid(), atol=1e-6)
    np.testing.assert_allclose(plane.to_px(grid()), pixels, atol=1e-5)
    near = plane_through(seen_by(TILTED), SIZE, TILTED.size, lens=lens_of(TILTED), glass_radius_mm=radius)
    away = np.abs(near.to_mm(pixels) - grid())
    np.testing.assert_allclose(doubt_of(plane, pixels), away / 12, rtol=0.05, atol=2e-3)


def test_places_of_12_megapixels_are_right_to_20_micrometres() -> None:
    """Corners with the noise that they are found with, 0.04 px: 20 draws; the stated uncertainty is honest."""
    lens, pixels = lens_of(TILTED), project(TILTED, grid())
    offs, scores = [], []
    for seed in range(20):
        plane = plane_through(seen_by(TILTED, 0.04, seed), SIZE, TILTED.size, lens=lens)
        off = plane.to_mm(pixels) - grid()
        variance = sum((w * (other.to_mm(pixels) - plane.to_mm(pixels)) ** 2 for other, w in plane.perturbed()), 0.0)
        offs.append(off)
        scores.append(off / np.sqrt(variance))
    assert np.abs(offs).max() < 0.02
    assert math.sqrt(float(np.mean(np.square(scores)))) == pytest.approx(1, abs=0.3)


def test_perturbed_planes_add_up_to_the_uncertainty() -> None:
    """Against 500 draws of marks with unequal uncertainties (Monte Carlo; its own error is 3 %)."""
    lens, pixels = lens_of(TILTED), project(TILTED, grid())
    rng = np.random.default_rng(4)
    sigma = rng.uniform(0.1, 0.6, (4, 2))
    exact = SeenMarks(centres=project(TILTED, RECTANGLE), sigma=sigma)

    def places(seen: SeenMarks) -> Floats:
        return plane_through(seen, SIZE, TILTED.size, lens=lens).to_mm(pixels)

    tried = [places(replace(exact, centres=exact.centres + rng.normal(0, sigma))) for _ in range(500)]
    plane = plane_through(exact, SIZE, TILTED.size, lens=lens)
    found = np.sqrt(sum((w * (p.to_mm(pixels) - grid()) ** 2 for p, w in plane.perturbed()), np.zeros_like(pixels)))
    np.testing.assert_allclose(found, np.std(tried, axis=0), rtol=0.15)


def test_the_camera_is_where_it_is() -> None:
    """Against the simulated camera's own place, to a thousandth of a millimetre."""
    plane = plane_through(seen_by(TILTED), SIZE, TILTED.size, lens=lens_of(TILTED), glass_radius_mm=900.0)
    assert plane.eye_mm is not None
    assert plane.pinhole is not None
    np.testing.assert_allclose(plane.eye_mm, -TILTED.rotation.T @ TILTED.translation, atol=1e-3)
    np.testing.assert_array_equal(eye_of(plane.pinhole, plane.matrix), plane.eye_mm)


def test_a_ray_beside_a_ball_is_nowhere() -> None:
    """A radius just above the rectangle's half diagonal of 264 mm: the corners of the picture see past it."""
    plane = plane_through(seen_by(TILTED), SIZE, TILTED.size, lens=lens_of(TILTED), glass_radius_mm=275.0)
    assert np.isnan(plane.to_mm([[0.0, 0.0]])).all()
    assert np.isfinite(plane.to_mm([[2000.0, 1500.0]])).all()
    assert np.isnan(plane.to_px([[300.0, 0.0]])).all()


UNBENT = replace(TILTED, distortion=(0.0,) * 5, chromatic=((0.0, 0.0), (0.0, 0.0)), centre_px=(0.0, 0.0))


def doubt_of(plane: Plane, pixels: Floats) -> Floats:
    """Standard uncertainty of places by what all share."""
    changes = [(other.to_mm(pixels) - plane.to_mm(pixels)) ** 2 for other in plane.doubtful()]
    return np.asarray(np.sqrt(np.sum(changes, axis=0)))


def test_without_a_lens_the_tilt_tells_where_the_camera_was() -> None:
    """A photograph 20 degrees off axis, without any note: places on a curved glass to what is said of them."""
    camera = framed(replace(UNBENT, tilt_deg=(14.0, -14.0)), (235.0, 185.0))
    pixels = project(camera, grid(), radius=800.0)
    plane = plane_through(seen_by(camera, 0.02), SIZE, camera.size, glass_radius_mm=800.0)
    assert plane.pinhole is not None
    assert plane.pinhole.fx == pytest.approx(camera.focal_px, rel=0.03)
    off = np.abs(plane.to_mm(pixels) - grid())
    assert off.max() < 0.5
    assert np.all(off < 2 * doubt_of(plane, pixels) + 0.02)


def test_without_a_lens_the_file_tells_where_the_camera_was() -> None:
    """Taken straight on, perspective tells nothing; the noted focal length does, 1 % off: 26 for 26.3."""
    camera = framed(replace(UNBENT, tilt_deg=(0.5, 0.3)), (235.0, 185.0))
    pixels = project(camera, grid(), radius=800.0)
    seen = seen_by(camera, 0.02)
    plane = plane_through(seen, SIZE, camera.size, glass_radius_mm=800.0, noted_focal_px=camera.focal_px * 0.99)
    off = np.abs(plane.to_mm(pixels) - grid())
    assert np.all(off < 2 * doubt_of(plane, pixels) + 0.02)
    # Without a note it is as uncertain as cameras differ.
    unknown = plane_through(seen, SIZE, camera.size, glass_radius_mm=800.0)
    off = np.abs(unknown.to_mm(pixels) - grid())
    assert np.all(off < 2 * doubt_of(unknown, pixels) + 0.02)
    assert doubt_of(unknown, pixels).max() > 3 * doubt_of(plane, pixels).max()
    # A flat glass needs none of it.
    assert plane_through(seen, SIZE, camera.size).pinhole is None


def test_an_unknown_lens_is_doubted_by_half_a_percent() -> None:
    """In the middle of a side, where the marks hold nothing: against OpenCV's model with that k1, laid on the marks."""
    camera = framed(replace(UNBENT, tilt_deg=(0.0, 0.0), roll_deg=0.0), (235.0, 185.0))
    plane = plane_through(seen_by(camera), SIZE, camera.size)
    other = plane.uncertain()["lens"][0]
    reach = math.hypot(4000, 3000) / 2
    x, y = 1999.5, 1499.5
    matrix = np.array([[reach, 0, x], [0, reach, y], [0, 0, 1]])
    asked = np.array([project(camera, np.array([210.0, 0.0])), *project(camera, RECTANGLE)])
    # By hand: half a percent at half the diagonal is k1 = 0.005 where the focal length is half the diagonal.
    straight = cv2.undistortPoints(asked[:, None], matrix, np.array([0.005, 0, 0, 0]), P=matrix)[:, 0]
    scale = 210.0 / (straight[2, 0] - x)
    assert other.to_mm(asked[0])[0] == pytest.approx((straight[0, 0] - x) * scale, abs=0.01)
    # The known lens' doubts are its own.
    known = plane_through(seen_by(TILTED), SIZE, TILTED.size, lens=lens_of(TILTED))
    assert known.doubtful() == []
    doubted = replace(lens_of(TILTED), covariance=np.diag([9.0, 9, 4, 4, 1e-6, 1e-6, 1e-9, 1e-9, 1e-6]))
    assert len(plane_through(seen_by(TILTED), SIZE, TILTED.size, lens=doubted).doubtful()) == 9


def test_an_uncertain_tape_makes_sizes_uncertain() -> None:
    """0.5 mm of 420 and of 320 mm: the middles of opposite edges move apart by as much."""
    seen, lens = seen_by(TILTED), lens_of(TILTED)
    plane = plane_through(seen, SIZE, TILTED.size, lens=lens, size_sigma_mm=0.5)
    pixels = project(TILTED, np.array([[210.0, 0.0], [-210.0, 0.0], [0.0, 160.0], [0.0, -160.0]]))
    changes = [other.to_mm(pixels) - plane.to_mm(pixels) for other in plane.doubtful()]
    width = np.sqrt(sum((change[0, 0] - change[1, 0]) ** 2 for change in changes))
    height = np.sqrt(sum((change[2, 1] - change[3, 1]) ** 2 for change in changes))
    assert (width, height) == pytest.approx((0.5, 0.5), abs=0.01)


@pytest.mark.parametrize(
    ("size", "more", "words"),
    [
        ((320.0, 420.0), {}, "changed about, try 420x320"),
        ((400.0, 320.0), {}, "they are square: measure across"),
        ((420.0, 340.0), {}, "they are square"),
        ((460.0, 350.0), {}, "30 mm is printed"),
        (SIZE, {"size_mm": 28.0}, r"mm high, 30 mm is printed"),
        (SIZE, {"turn": 90.0}, "turned in their rectangle"),
    ],
)
def test_a_size_that_the_marks_deny_is_refused(size: tuple[float, float], more: dict[str, Any], words: str) -> None:
    """The marks are 30 mm and square, which OpenCV's projection of them keeps."""
    for lens in (lens_of(TILTED), None):
        with pytest.raises(ValueError, match=words) as raised:
            plane_through(seen_by(TILTED, **more), size, TILTED.size, lens=lens)
        assert "\n" not in str(raised.value)


def test_a_size_that_the_marks_bear_out_is_taken() -> None:
    """Within 2 %, with marks that were stuck on a little turned, and with 3 % of distortion and no lens."""
    for size in (SIZE, (424.0, 320.0), (420.0, 316.0)):
        for lens in (lens_of(TILTED), None):
            plane_through(seen_by(TILTED, turn=3.0), size, TILTED.size, lens=lens)


def test_marks_out_of_square_are_refused() -> None:
    """The lower marks 8 mm to the right of the upper ones: by hand, atan(8 / 320) = 1.4 degrees."""
    places = RECTANGLE + np.array([[0, 0], [0, 0], [8, 0], [8, 0]])
    seen = SeenMarks(
        centres=project(TILTED, places),
        sigma=np.full((4, 2), 0.03),
        corners=project(TILTED, places[:, None] + SQUARE),
    )
    with pytest.raises(ValueError, match=r"out of square by 1\.4 degrees"):
        plane_through(seen, SIZE, TILTED.size, lens=lens_of(TILTED))


def test_what_cannot_be_is_one_line() -> None:
    """A radius that does not reach the marks, and points outside the photograph."""
    with pytest.raises(ValueError, match="radius above 264 mm"):
        plane_through(seen_by(TILTED), SIZE, TILTED.size, lens=lens_of(TILTED), glass_radius_mm=260.0)
    with pytest.raises(InputError, match=r"^5000,20 lies outside") as refused:
        plane_through(marks_at([(10, 20), (5000, 20), (5000, 2000), (10, 2000)]), SIZE, TILTED.size)
    assert refused.value.fields == ("marks",)


def test_a_portrait_photograph_gives_the_same_places(tmp_path: Path) -> None:
    """A landscape photograph that a file says to turn by 90 degrees: lens and marks turn with it."""
    made = plain_set(1.0, distortion=(-0.12, 0.02, 0.001, -0.001, 0.0), centre_px=(9.0, -7.0))
    noted = Image.Exif()
    noted[0x0112] = 6
    image = np.asarray(made.marks_photograph())
    Image.fromarray(image).save(tmp_path / "a.png", exif=noted)
    photo = read_photo(tmp_path / "a.png")
    height, width = image.shape[:2]
    assert photo.size == (height, width)
    marks = made.marks.width_mm, made.marks.height_mm
    plane = plane_in(photo, MarksGiven(seen=find_marks(photo), size_mm=marks), lens=lens_of(made.camera))
    wanted = np.array([[-150.0, -100.0], [150.0, 100.0], [0.0, 0.0]])
    sensor = made.camera.project(on_glass(wanted), 1)
    # Turned clockwise: (x, y) goes to (height - 1 - y, x).
    upright = np.stack((height - 1 - sensor[:, 1], sensor[:, 0]), axis=1)
    assert np.abs(plane.to_mm(upright) - wanted).max() < 0.05


@pytest.mark.slow
@pytest.mark.parametrize("radius", [None, 800.0])
def test_places_in_a_photograph_of_12_megapixels(radius: float | None, tmp_path: Path) -> None:
    """A simulated JPEG: places by its marks within 0.02 mm, and by what is said of them within 3 uncertainties."""
    camera = framed(replace(TILTED, distance_mm=1.0), (255.0, 205.0))
    made = plain_set(12.0, glass_radius_mm=radius)
    made = replace(made, camera=camera)
    path = tmp_path / "a.jpg"
    Image.fromarray(np.asarray(made.marks_photograph())).save(path, quality=90)
    photo = read_photo(path)
    marks = made.marks.width_mm, made.marks.height_mm
    plane = plane_through(find_marks(photo), marks, photo.size, lens=lens_of(camera), glass_radius_mm=radius)
    height = np.zeros((7, 9))
    if radius is not None:
        height = math.sqrt(radius**2 - (marks[0] ** 2 + marks[1] ** 2) / 4) - np.sqrt(
            radius**2 - (grid() ** 2).sum(axis=-1)
        )
    world = np.concatenate((grid(), height[..., None]), axis=-1).reshape(-1, 3)
    pixels = camera.project(world, 1).reshape(7, 9, 2)
    off = np.abs(plane.to_mm(pixels) - grid())
    assert off.max() < 0.02
    changes = [w * (other.to_mm(pixels) - plane.to_mm(pixels)) ** 2 for other, w in plane.perturbed()]
    assert np.all(off < 3 * np.sqrt(np.sum(changes, axis=0)))
