"""A lens: OpenCV's model both ways, its calibration from simulated boards, what is refused, and its file.

Photographs are SIMULATIONS (tests/trials/photos), whose lenses are known.
"""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from analysis.lens.answer import lens_answer
from analysis.lens.board import Sighting, find_board
from analysis.lens.calibrate import calibrate
from analysis.lens.file import load_lens, save_lens
from analysis.lens.model import PARAMETERS, Lens
from analysis.photo.file import Photo
from analysis.photo.notes import read_notes, sensor_points, sensor_size
from render.errors import FileError
from tests.answers import numbers_without_a_quantity
from tests.trials.photos.board import Board, board_cameras, board_photograph
from tests.trials.photos.camera import Camera
from tests.trials.photos.photograph import save
from tests.trials.photos.run import lens_of as known_lens
from trueraster.cli import run
from trueraster.output.json import answer_json
from trueraster.output.page import answer_page

Floats = NDArray[np.float64]

CAMERA = Camera(
    size=(1280, 960),
    focal_px=1500.0,
    centre_px=(6.0, -4.0),
    distortion=(-0.16, 0.06, 0.0003, -0.0004, 0.0),
    chromatic=((2e-4, 5e-4), (-1e-4, -6e-4)),
)
"""A lens with about 3 % of barrel distortion at the corner."""
NEAR = Camera(size=(640, 480), focal_px=700.0, distortion=(-0.1, 0.02, 0.0, 0.0, 0.0))


def lens_of(camera: Camera) -> Lens:
    """The simulated camera's own lens."""
    return replace(
        known_lens(camera),
        covariance=np.diag([1.0, 1.0, 1.0, 1.0, 1e-6, 1e-6, 1e-8, 1e-8, 1e-6]),
        rms_px=0.1,
    )


def grid(lens: Lens) -> Floats:
    """(7, 9, 2): pixels all over the photograph, corners included."""
    x, y = np.meshgrid(np.linspace(0, lens.width - 1, 9), np.linspace(0, lens.height - 1, 7))
    return np.stack((x, y), axis=-1)


def sightings(
    count: int = 8, noise: float = 0.02, seed: int = 0, camera: Camera = CAMERA, poses: list[Camera] | None = None
) -> list[Sighting]:
    """Boards by cv2.projectPoints, with normal noise and without a picture."""
    rng = np.random.default_rng(seed)
    board = Board()
    found = []
    for number, pose in enumerate(poses or board_cameras(camera, board, count)):
        points = np.stack([pose.project(board.corners_mm, gun) for gun in range(3)])
        points += rng.normal(0, noise, points.shape)
        found.append(
            Sighting(path=Path(f"{number}.jpg"), size=camera.size, ids=np.arange(54), points=points, focal_mm=None)
        )
    return found


# The model.


@pytest.mark.parametrize("gun", [0, 1, 2])
def test_points_are_bent_as_opencv_does_it(gun: int) -> None:
    """Green by cv2.projectPoints; red and blue scaled as the lens' own definition says, by hand."""
    lens = lens_of(CAMERA)
    straight = lens.straight(grid(lens))
    rays = np.concatenate(((straight - (lens.cx, lens.cy)) / (lens.fx, lens.fy), np.ones((7, 9, 1))), axis=-1)
    none = np.zeros(3)
    theirs = cv2.projectPoints(rays.reshape(-1, 1, 3), none, none, lens.matrix, np.array(lens.distortion))[0]
    away = theirs.reshape(7, 9, 2) - (lens.cx, lens.cy)
    a, b = (lens.red, (0.0, 0.0), lens.blue)[gun]
    square = (away**2).sum(axis=-1, keepdims=True) / (1280**2 + 960**2) * 4
    expected = (lens.cx, lens.cy) + away * (1 + a + b * square)
    np.testing.assert_allclose(lens.bent(straight, gun), expected, atol=1e-6)
    np.testing.assert_allclose(lens.straight(expected, gun), straight, atol=1e-6)


def test_points_are_straightened_as_opencv_does_it() -> None:
    """Against cv2.undistortPoints, run until it no longer moves."""
    lens = lens_of(CAMERA)
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 200, 1e-12)
    theirs = cv2.undistortPoints(
        grid(lens).reshape(-1, 1, 2), lens.matrix, np.array(lens.distortion), R=np.eye(3), P=lens.matrix, criteria=stop
    )
    np.testing.assert_allclose(lens.straight(grid(lens)).reshape(-1, 2), theirs.reshape(-1, 2), atol=1e-5)


@given(
    st.floats(-0.25, 0.25),
    st.floats(-0.05, 0.05),
    st.floats(-0.002, 0.002),
    st.floats(-0.002, 0.002),
    st.integers(0, 2),
)
def test_straight_undoes_bent(k1: float, k2: float, p1: float, p2: float, gun: int) -> None:
    """All over the photograph, to a millionth of a pixel."""
    lens = replace(lens_of(CAMERA), distortion=(k1, k2, p1, p2, 0.0))
    np.testing.assert_allclose(lens.bent(lens.straight(grid(lens), gun), gun), grid(lens), atol=1e-6)


def test_what_is_not_seen_stays_nan() -> None:
    """A NaN goes through without a warning, and its neighbours are not touched."""
    lens = lens_of(CAMERA)
    points = grid(lens)
    points[2, 3] = np.nan
    for way in (lens.straight, lens.bent):
        found = way(points, 0)
        assert np.isnan(found[2, 3]).all()
        assert np.isfinite(found).sum() == 2 * 62
        np.testing.assert_array_equal(found[0], way(grid(lens), 0)[0])
    # Where barrel distortion folds the picture over, far outside, there is no answer.
    folded = replace(lens, distortion=(-0.16, 0.0, 0.0, 0.0, 0.0))
    assert np.isnan(folded.straight([[20000.0, 20000.0]])).all()


def test_a_smaller_photograph_has_the_same_lens() -> None:
    """Pixel p of the whole lies at (p + 0.5) / 2 - 0.5 in a photograph of half the size."""
    lens = lens_of(CAMERA)
    half = lens.for_size(640, 480)
    points = grid(lens)
    for gun in range(3):
        np.testing.assert_allclose(
            half.straight((points + 0.5) / 2 - 0.5, gun), (lens.straight(points, gun) + 0.5) / 2 - 0.5, atol=1e-9
        )
    # An eighth of an odd size is rounded; a crop is refused.
    assert lens.for_size(427, 320).size == (427, 320)
    with pytest.raises(ValueError, match="1280x960, this one has 1280x720"):
        lens.for_size(1280, 720)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_turned_photograph_is_straightened_as_the_sensor_saw_it(orientation: int) -> None:
    """Straightened upright and laid back onto the sensor it is what straightening on the sensor gives."""
    lens = lens_of(CAMERA)
    size = sensor_size(lens.size, orientation)
    turned = lens.for_photo(size, orientation)
    assert turned.size == size
    points = grid(turned)
    for gun in range(3):
        np.testing.assert_allclose(
            sensor_points(turned.straight(points, gun), size, orientation),
            lens.straight(sensor_points(points, size, orientation), gun),
            atol=1e-6,
        )


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_photograph_is_turned_as_it_is_read(orientation: int, tmp_path: Path) -> None:
    """What cv2 makes of a JPEG with EXIF written by Pillow: a bright spot is where `sensor_points` says."""
    stored = np.zeros((64, 96, 3), np.uint8)
    stored[40:48, 16:24] = 255
    noted = Image.Exif()
    noted[0x0112] = orientation
    noted[0x8769] = {0xA405: 26, 0x920A: 4.25}
    Image.fromarray(stored).save(tmp_path / "a.jpg", exif=noted, quality=95)
    upright = cv2.imread(str(tmp_path / "a.jpg"))
    assert upright is not None
    height, width = upright.shape[:2]
    rows, columns = np.nonzero(upright[..., 0] > 128)
    spot = np.array([columns.mean(), rows.mean()])
    # The middle of columns 16 to 23 and rows 40 to 47.
    np.testing.assert_allclose(sensor_points(spot, (width, height), orientation), [19.5, 43.5], atol=0.1)
    notes = read_notes(tmp_path / "a.jpg")
    assert (notes.orientation, notes.focal_35mm, notes.focal_mm) == (orientation, 26, 4.25)
    # 26 mm to a diagonal of 43.267 mm, by hand.
    assert notes.focal_px((4000, 3000)) == pytest.approx(26 / 43.2666 * 5000, rel=1e-5)


def test_notes_that_cannot_be_read_are_none(tmp_path: Path) -> None:
    """A broken, strange or missing note is no reason to refuse a photograph."""
    noted = Image.Exif()
    noted[0x0112] = 77
    noted[0x8769] = {0xA405: 0}
    Image.new("RGB", (64, 64)).save(tmp_path / "a.jpg", exif=noted)
    (tmp_path / "b.jpg").write_bytes((tmp_path / "a.jpg").read_bytes()[:60])
    for name in ("a.jpg", "b.jpg", "missing.jpg"):
        notes = read_notes(tmp_path / name)
        assert (notes.orientation, notes.focal_mm, notes.focal_px((64, 64))) == (None, None, None)


def test_a_portrait_without_a_note_has_a_centred_lens() -> None:
    """Which way it was turned is not known: it lies as far from the one as from the other."""
    lens = lens_of(CAMERA)
    found = lens.for_photo((960, 1280))
    assert (found.size, found.cx, found.cy) == ((960, 1280), 479.5, 639.5)
    # The principal point's own offset of (6, -4) becomes doubt beside its variance of 1.
    assert [found.covariance[i, i] for i in (2, 3)] == pytest.approx([1 + 4**2, 1 + 6**2])


def test_doubtful_lenses_add_up_to_the_covariance() -> None:
    """Their squared differences sum to what numeric derivatives and the covariance give."""
    rng = np.random.default_rng(2)
    lens = lens_of(CAMERA)
    own = np.sqrt(np.diag(lens.covariance)) * 0.1
    mixed = rng.normal(size=(9, 9))
    spread = mixed @ mixed.T / 9 * np.outer(own, own)
    lens = replace(lens, covariance=(spread + spread.T) / 2)
    point = np.array([[100.0, 150.0]])
    values = np.array([lens.fx, lens.fy, lens.cx, lens.cy, *lens.distortion])

    def straight(parameters: Floats) -> Floats:
        fx, fy, cx, cy, *rest = parameters.tolist()
        moved: Floats = replace(lens, fx=fx, fy=fy, cx=cx, cy=cy, distortion=tuple(rest)).straight(point)[0]
        return moved

    slopes = np.stack([(straight(values + step) - straight(values - step)) for step in np.diag(own * 1e-3)], axis=1)
    slopes /= 2e-3 * own
    expected = np.diag(slopes @ lens.covariance @ slopes.T)
    found = sum(((one.straight(point) - lens.straight(point))[0] ** 2 for one in lens.doubtful()), np.zeros(2))
    np.testing.assert_allclose(found, expected, rtol=0.02)
    assert replace(lens, covariance=np.zeros((9, 9))).doubtful() == []


# Calibration.


def test_calibration_finds_the_lens_and_its_uncertainty() -> None:
    """Over 40 draws of noise: the truth lies about as far off as said, and the uncertainties are those of OpenCV."""
    truth = lens_of(CAMERA)
    values = np.array([truth.fx, truth.fy, truth.cx, truth.cy, *truth.distortion])
    scores = []
    for seed in range(40):
        lens = calibrate(sightings(seed=seed)).lens
        found = np.array([lens.fx, lens.fy, lens.cx, lens.cy, *lens.distortion])
        scores.append((found - values) / np.sqrt(np.diag(lens.covariance)))
    # 40 draws: a standard deviation is known to 11 %, a mean to 0.16 of it.
    assert np.std(scores, axis=0) == pytest.approx(np.ones(9), abs=0.4)
    assert np.abs(np.mean(scores, axis=0)).max() < 0.7

    made = sightings(seed=1)
    lens = calibrate(made).lens
    things = [Board().corners_mm.astype(np.float32)] * len(made)
    seen = [one.green.astype(np.float32) for one in made]
    theirs = np.asarray(cv2.calibrateCameraExtended(things, seen, CAMERA.size, np.eye(3), np.zeros(5))[5]).ravel()
    np.testing.assert_allclose(np.sqrt(np.diag(lens.covariance)), theirs[:9], rtol=0.1)
    # The noise of a coordinate is 0.02 px, of a corner sqrt(2) as much.
    assert lens.rms_px == pytest.approx(0.02 * math.sqrt(2), rel=0.1)


def test_calibration_from_photographs() -> None:
    """Six photographs of a board: focal length to 0.1 %, places of the whole picture to 0.3 px, colour to 0.1 px."""
    board = Board()
    found = []
    for number, pose in enumerate(board_cameras(CAMERA, board, 6, seed=1)):
        sighting = find_board(Photo(Path(f"{number}.png"), board_photograph(pose, board, seed=number)))
        assert sighting is not None
        assert len(sighting.ids) == 54
        # By cv2.projectPoints.
        off = sighting.green - pose.project(board.corners_mm, 1)
        assert np.hypot(*off.T).max() < 0.2
        found.append(sighting)
    made = calibrate(found)
    lens, truth = made.lens, lens_of(CAMERA)
    assert made.left_out == ()
    assert lens.fx == pytest.approx(truth.fx, rel=1e-3)
    corner, doubt = lens.corner_percent()
    assert abs(corner - truth.corner_percent()[0]) < 3 * doubt < 0.6
    # Straight points are the same but for a pinhole's own pose: a homography.
    ours, theirs = (one.straight(grid(lens)).reshape(-1, 2) for one in (lens, truth))
    between = cv2.findHomography(ours, theirs)[0]
    assert np.abs(cv2.perspectiveTransform(ours[:, None], between)[:, 0] - theirs).max() < 0.3
    # The channels see 6 to 8 % of each other's light, which pulls the colours together by as much.
    for ours_rgb, theirs_rgb in ((lens.red, truth.red), (lens.blue, truth.blue)):
        assert sum(ours_rgb) * lens.half_diagonal == pytest.approx(sum(theirs_rgb) * lens.half_diagonal, abs=0.1)


def test_a_turned_photograph_of_the_board_is_one_of_the_set(tmp_path: Path) -> None:
    """Held on its side or on its head, with EXIF's note of it, a photograph tells of the same lens."""
    board = Board()
    pose = board_cameras(NEAR, board, 1)[0]
    image = board_photograph(pose, board)
    Image.fromarray(image).save(tmp_path / "plain.png")
    seen = []
    for orientation in (None, 3, 6, 8):
        path = tmp_path / f"{orientation}.png"
        noted = Image.Exif()
        if orientation:
            noted[0x0112] = orientation
        Image.fromarray(image).save(path, exif=noted)
        upright = cv2.imread(str(path))
        assert upright is not None
        sighting = find_board(Photo(path, upright[..., ::-1]))
        assert sighting is not None
        seen.append(sighting)
    for sighting in seen:
        assert sighting.size == (640, 480)
        assert np.hypot(*(sighting.green - seen[0].green[: len(sighting.ids)]).T).max() < 0.1


def test_no_board_is_none() -> None:
    """In noise, in an even field, and where nearly all of the board is covered."""
    rng = np.random.default_rng(0)
    board = Board()
    covered = board_photograph(board_cameras(NEAR, board, 1)[0], board)
    covered[:, 200:] = 128
    for codes in (rng.integers(0, 256, (480, 640, 3), np.uint8), np.full((480, 640, 3), 90, np.uint8), covered):
        assert find_board(Photo(Path("none.png"), codes)) is None


def test_bad_photographs_are_left_out() -> None:
    """A blurred one, and one that is given twice; both are told, and the lens is that of the others."""
    made = sightings(9)
    rng = np.random.default_rng(1)
    made[4] = replace(made[4], points=made[4].points + rng.normal(0, 2, made[4].points.shape))
    made.append(replace(made[2], path=Path("again.jpg")))
    found = calibrate(made, [Path("wall.jpg")])
    reasons = {path.name: why for path, why in found.left_out}
    assert set(reasons) == {"wall.jpg", "again.jpg", "4.jpg"}
    assert "not found" in reasons["wall.jpg"]
    assert "2.jpg" in reasons["again.jpg"]
    assert "does not agree" in reasons["4.jpg"]
    assert found.lens.fx == pytest.approx(CAMERA.focal_px, rel=1e-3)


def test_stray_corners_do_not_count() -> None:
    """Three corners of a photograph that lie 5 px off change nothing."""
    made = sightings()
    points = made[3].points.copy()
    points[:, [5, 20, 33]] += 5.0
    found = calibrate([*made[:3], replace(made[3], points=points), *made[4:]])
    assert found.left_out == ()
    assert found.lens.fx == pytest.approx(CAMERA.focal_px, rel=1e-3)
    assert found.lens.rms_px < 0.1


def bad_sets() -> dict[str, tuple[list[Sighting], str]]:
    board = Board()
    poses = board_cameras(CAMERA, board, 8)
    straight = replace(poses[0], tilt_deg=(2.0, 1.0))
    same = [replace(straight, aim_mm=(x, y)) for x in (-40.0, 0.0, 40.0) for y in (-40.0, 40.0)]
    far = [replace(pose, distance_mm=pose.distance_mm * 3) for pose in poses]
    made = sightings()
    left = [one.only(one.green[:, 0] < 880) for one in sightings(12)]
    zoomed = [replace(one, focal_mm=24.0 + (number > 3)) for number, one in enumerate(made)]
    other = [*made[:5], replace(made[5], size=(1280, 720))]
    return {
        "few": (made[:4], "4 usable photographs.*at least 5"),
        "same pose": (sightings(poses=same), "the same direction.*left, the right"),
        "far": (sightings(poses=far), "cover .* % of the picture"),
        "one side": (left, "top right, bottom right"),
        "zoomed": (zoomed, "zoom was moved.*24 mm.*25 mm"),
        "sizes": (other, "1280x720"),
        "noise": (sightings(noise=1.0), "do not agree.*flat"),
    }


@pytest.mark.parametrize("name", ["few", "same pose", "far", "one side", "zoomed", "sizes", "noise"])
def test_bad_sets_are_refused(name: str) -> None:
    """Each with one line that says what to do."""
    made, words = bad_sets()[name]
    with pytest.raises(ValueError, match=words) as raised:
        calibrate(made)
    assert "\n" not in str(raised.value)


def test_no_board_in_any_photograph_is_one_line() -> None:
    """Photographs without a board are refused in one line, which names the sheet to print."""
    with pytest.raises(ValueError, match=r"none of 7 photographs.*sheet board"):
        calibrate([], [Path("a.jpg")] * 7)


@pytest.mark.slow
def test_calibration_from_12_megapixels(tmp_path: Path) -> None:
    """JPEGs of 12 megapixels: places all over the picture to 0.1 px rms but for a homography, each found in 0.5 s."""
    board = Board()
    camera = replace(CAMERA, size=(4000, 3000), focal_px=4700.0)
    found = []
    for number, pose in enumerate(board_cameras(camera, board, 6, seed=4)):
        path = save(tmp_path / f"{number}.jpg", board_photograph(pose, board, seed=number))
        codes = cv2.imread(str(path))
        assert codes is not None
        sighting = find_board(Photo(path, codes[..., ::-1]))
        assert sighting is not None
        found.append(sighting)
    lens, truth = calibrate(found).lens, lens_of(camera)
    inner = grid(lens) * 0.9 + 0.05 * np.array(lens.size)
    ours, theirs = (one.straight(inner).reshape(-1, 2) for one in (lens, truth))
    between = cv2.findHomography(ours, theirs)[0]
    rest = cv2.perspectiveTransform(ours[:, None], between)[:, 0] - theirs
    assert math.sqrt((rest**2).sum(axis=1).mean()) < 0.1


# The file.


def test_a_lens_file_is_read_as_it_was_written(tmp_path: Path) -> None:
    """A lens that was saved and read again has every value unchanged, and nothing else is written."""
    lens = calibrate(sightings()).lens
    save_lens(lens, tmp_path / "my lens.json")
    again = load_lens(tmp_path / "my lens.json")
    np.testing.assert_array_equal(again.covariance, lens.covariance)
    for name in ("width", "height", "fx", "fy", "cx", "cy", "distortion", "red", "blue", "rms_px"):
        assert getattr(again, name) == getattr(lens, name)
    assert [path.name for path in tmp_path.iterdir()] == ["my lens.json"]


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    path = tmp_path_factory.mktemp("lens") / "lens.json"
    save_lens(lens_of(CAMERA), path)
    told: dict[str, Any] = json.loads(path.read_text())
    return told


def refused(path: Path, data: bytes) -> str:
    """The line with which a file is refused."""
    path.write_bytes(data)
    with pytest.raises(FileError) as raised:
        load_lens(path)
    words = str(raised.value)
    assert words.startswith(f"{path}: ")
    assert "\n" not in words
    assert len(words) < len(str(path)) + 160
    return words


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"width": 0}, "each side"),
        ({"width": True}, "width"),
        ({"width": 1280.0}, "width"),
        ({"width": 10**400}, "each side"),
        ({"focal_px": [1500]}, "focal_px"),
        ({"focal_px": [1500, "1500"]}, "focal_px"),
        ({"focal_px": [1500, 10**400]}, "focal_px"),
        ({"focal_px": [1500, 3]}, "focal length"),
        ({"focal_px": [-1500, 1500]}, "focal length"),
        ({"principal_px": [5000, 400]}, "principal point"),
        ({"distortion": [-3.0, 0, 0, 0, 0]}, "folds"),
        ({"distortion": [0, 0, 0.9, 0, 0]}, "folds"),
        ({"distortion": [0, 0, 0, 0]}, "distortion"),
        ({"distortion": None}, "distortion"),
        ({"red": [0.5, 0]}, "red and blue"),
        ({"rms_px": -1}, "uncertainties"),
        ({"rms_px": [1]}, "rms_px"),
        ({"covariance": []}, "covariance"),
        ({"covariance": [[0] * 9] * 8 + [[0] * 8]}, "covariance"),
        ({"covariance": [[-1.0] * 9] * 9}, "uncertainties"),
        ({"lens": 2}, "another version"),
        ({"lens": True}, "another version"),
        ({"more": 1}, "more: not known; a lens file has lens, width"),
        ({"rms_px": ...}, "rms_px: a lens file needs it"),
    ],
)
def test_a_file_with_a_fault_is_refused(
    change: dict[str, Any], word: str, good: dict[str, Any], tmp_path: Path
) -> None:
    """The line names what is wrong."""
    told = {key: value for key, value in (good | change).items() if value is not ...}
    assert word in refused(tmp_path / "lens.json", json.dumps(told).encode())


@pytest.mark.parametrize(
    "data",
    [
        b"",
        b"{",
        b"[]",
        b"null",
        b"7",
        b'{"a": 1}',
        b"\xff\xfe\x00",
        b"[" * 90_000,
        b" " * 200_000,
        b"9" * 5000,
        b"\x89PNG",
    ],
)
def test_a_file_of_something_else_is_refused(data: bytes, tmp_path: Path) -> None:
    """Bytes that are no lens file are refused as such, however broken or large they are."""
    assert "not a lens file" in refused(tmp_path / "lens.json", data)


def test_numbers_without_an_end_are_refused(good: dict[str, Any], tmp_path: Path) -> None:
    """JSON has no NaN, but Python's reader takes it; 1e999 is legal and is infinite."""
    for odd in ("NaN", "Infinity", "-Infinity", "1e999"):
        text = json.dumps(good | {"rms_px": 12345}).replace("12345", odd)
        assert "rms_px: a finite number is expected" in refused(tmp_path / "lens.json", text.encode())


anything = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=9) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=12,
)


@given(data=st.data())
def test_whatever_a_file_holds_it_is_a_lens_or_one_line(
    data: st.DataObject, good: dict[str, Any], tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Fuzz: good files with values, rows and single numbers changed, and arbitrary bytes."""
    path = tmp_path_factory.getbasetemp() / "fuzz.json"
    if data.draw(st.booleans()):
        told = json.loads(json.dumps(good))
        for _ in range(data.draw(st.integers(1, 3))):
            key = data.draw(st.sampled_from(sorted(told)))
            if isinstance(told[key], list) and told[key] and data.draw(st.booleans()):
                told[key][data.draw(st.integers(0, len(told[key]) - 1))] = data.draw(anything)
            else:
                told[key] = data.draw(anything)
        path.write_text(json.dumps(told))
    else:
        path.write_bytes(data.draw(st.binary(max_size=200) | st.text(max_size=80).map(lambda t: t.encode())))
    try:
        lens = load_lens(path)
    except FileError as error:
        words = str(error)
    else:
        words = ""
        assert np.isfinite(lens.straight(grid(lens))).all()
    assert "\n" not in words


# The command.


@pytest.fixture(scope="module")
def photographs(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Six photographs of the board, and one of nothing."""
    folder = tmp_path_factory.mktemp("board photographs")
    board = Board()
    paths = [
        save(folder / f"{number}.jpg", board_photograph(pose, board, seed=number), quality=92)
        for number, pose in enumerate(board_cameras(replace(NEAR, size=(800, 600)), board, 6, seed=3))
    ]
    return [*paths, save(folder / "wall.jpg", np.full((600, 800, 3), 120, np.uint8))]


def test_the_command_calibrates(photographs: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One JSON object, the file that it names, and the photograph without a board told."""
    target = tmp_path / "new folder" / "lens.json"
    names = [str(path) for path in photographs]
    assert run(["measure", "lens", *names, "--to", str(target), "--json"]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    told = json.loads(said.out)
    assert told["lens"]["path"] == str(target)
    # The simulated lens.
    assert told["lens"]["focal_px"] == pytest.approx([700, 700], rel=5e-3)
    assert told["lens"]["size_px"] == [800, 600]
    assert told["used"] == names[:6]
    assert told["left_out"] == [{"path": names[6], "why": "the board is not found"}]
    assert load_lens(target).fx == pytest.approx(told["lens"]["focal_px"][0], abs=1e-5)
    assert run(["measure", "lens", *names, "--to", str(target)]) == 0
    words = capsys.readouterr().out
    assert "wall.jpg" in words
    assert str(target) in words
    assert max(map(len, words.splitlines())) < 230


def test_every_number_of_a_lens_has_its_quantity(tmp_path: Path) -> None:
    """Coefficients keep nine digits, since they are multiplied by powers of the distance; what is left over is no
    figure."""
    made = calibrate(sightings())
    answer = lens_answer(made, tmp_path / "lens.json")
    held = answer_json(answer)
    assert numbers_without_a_quantity("lens", held) == {"lens.size_px.0", "lens.size_px.1"}
    assert [one.quantity.path for one in answer.figures if one.value is None] == []
    for name, value in zip(("k1", "k2", "p1", "p2", "k3"), made.lens.distortion, strict=True):
        assert held["lens"]["distortion"][name] == pytest.approx(value, abs=6e-10)
    assert answer.findings[0].words in answer_page(answer, None, []).replace("&#39;", "'")


def test_mistakes_are_one_line(photographs: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2, one line, nothing written."""
    names = [str(path) for path in photographs]
    (tmp_path / "text.jpg").write_text("no photograph")
    target = ["--to", str(tmp_path / "lens.json")]
    for line, word in (
        ([*names[:3], *target], "at least 5"),
        ([*names[:4], names[6], *target], "4 usable photographs"),
        ([names[6]] * 5 + target, "none of 5"),
        ([*names[:5], str(tmp_path / "text.jpg"), *target], "text.jpg"),
        ([*names[:5], str(tmp_path / "missing.jpg"), *target], "missing.jpg"),
        ([*names, "--to", str(tmp_path / "lens.txt")], ".json"),
        ([*names, "--to", str(tmp_path)], "--to"),
        ([], "PHOTO"),
        ([names[0]] * 201 + target, "201"),
    ):
        assert run(["measure", "lens", *line]) == 2, line
        said = capsys.readouterr()
        assert said.out == ""
        assert said.err.count("\n") == 1
        assert word in said.err
    assert [path.name for path in tmp_path.iterdir()] == ["text.jpg"]


def test_parameters_are_in_the_order_of_the_jacobian_of_opencv() -> None:
    """cv2.projectPoints: fx, fy, cx, cy, then the distortion, after rotation and translation."""
    lens = lens_of(CAMERA)
    point = np.array([[[0.3, 0.2, 1.0]]])
    none = np.zeros(3)
    _, slopes = cv2.projectPoints(point, none, none, lens.matrix, np.array(lens.distortion))
    for index, name in enumerate(PARAMETERS):
        step = np.zeros(9)
        step[index] = 1e-6
        moved = lens._moved(step)
        ray = (point[0, :, :2] * (moved.fx, moved.fy)) + (moved.cx, moved.cy)
        start = (point[0, :, :2] * (lens.fx, lens.fy)) + (lens.cx, lens.cy)
        change = (moved.bent(ray) - lens.bent(start))[0] / 1e-6
        np.testing.assert_allclose(change, np.asarray(slopes)[:, 6 + index], atol=1e-3, err_msg=name)
