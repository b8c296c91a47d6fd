"""The simulated tube and camera: they must be right before anything is measured with them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from patterns.catalogue import find_pattern
from patterns.formats import parse_format
from tests.trials.photos.board import Board, board_cameras, board_photograph, flat_field
from tests.trials.photos.camera import NEUTRAL, Camera, distorted, framed
from tests.trials.photos.lookout import Lookout
from tests.trials.photos.photograph import photograph, save
from tests.trials.photos.scene import Marks, Shot
from tests.trials.photos.sets import PhotoSet, odd, plain_set, sixty
from tests.trials.photos.tube import Mask, MaskKind, Tube, deflection, dots_mm, nodes_mm, overscan_percent, terms

Floats = NDArray[np.float64]

_CAMERA = distorted(
    Camera(
        size=(1440, 1080),
        focal_px=1700.0,
        centre_px=(6.0, -4.0),
        chromatic=((3e-4, 4e-4), (-2e-4, -3e-4)),
        distance_mm=900.0,
        tilt_deg=(9.0, -11.0),
        roll_deg=1.5,
        aim_mm=(5.0, -3.0),
    ),
    -3.0,
    skew=3e-4,
)
_QUIET: dict[str, Any] = {"full_well": 0.0, "crosstalk": NEUTRAL, "vignetting": 0.0}
"""A camera that only draws."""
_NO_MASK = Mask(kind=MaskKind.NONE)


def _decoded(image: NDArray[Any]) -> Floats:
    codes = image / np.iinfo(image.dtype).max
    # IEC 61966-2-1: the inverse of sRGB's transfer function.
    return np.asarray(np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4))


def _points(count: int = 400) -> Floats:
    rng = np.random.default_rng(1)
    return np.column_stack((rng.uniform(-230, 230, count), rng.uniform(-170, 170, count), rng.uniform(-20, 0, count)))


# --- The camera -----------------------------------------------------------------------------------------


def test_green_is_where_opencv_projects_it() -> None:
    """The camera projects green as OpenCV's projectPoints does."""
    turn = cv2.Rodrigues(_CAMERA.rotation)[0]
    expected, _ = cv2.projectPoints(_points(), turn, _CAMERA.translation, _CAMERA.matrix, np.array(_CAMERA.distortion))
    assert np.abs(_CAMERA.project(_points(), 1) - expected[:, 0]).max() < 1e-9


def test_the_axes_are_those_of_the_glass() -> None:
    """On the glass, x goes right, y goes down, and negative z comes toward the camera."""
    straight = Camera(size=(1000, 800), focal_px=1000.0, distance_mm=500.0)
    # By hand: 10 mm at 500 mm with a focal length of 1000 pixels are 20 pixels, from the middle (499.5, 399.5).
    found = straight.project([(0, 0, 0), (10, 0, 0), (0, 10, 0), (0, 0, -250)], 1)
    assert np.allclose(found, [(499.5, 399.5), (519.5, 399.5), (499.5, 419.5), (499.5, 399.5)])
    # What is nearer to the camera is larger: negative z is toward it.
    assert straight.project([(10, 0, -250)], 1)[0, 0] == pytest.approx(539.5)


def test_red_and_blue_are_scaled_about_the_principal_point() -> None:
    """The lens scales red and blue about the principal point by the documented formula."""
    green = _CAMERA.project(_points(), 1)
    away = green - (719.5 + 6.0, 539.5 - 4.0)
    share = (away**2).sum(axis=1, keepdims=True) / (np.hypot(1440, 1080) / 2) ** 2
    for channel, (a, b) in zip((0, 2), ((3e-4, 4e-4), (-2e-4, -3e-4)), strict=True):
        # The definition in the docstring of `Camera.chromatic`, written out.
        assert np.abs(_CAMERA.project(_points(), channel) - green - away * (a + b * share)).max() < 1e-9


@pytest.mark.parametrize("channel", [0, 1, 2])
def test_looking_out_undoes_projection(channel: int) -> None:
    """From a pixel back to the plane or the sphere is the inverse of the projection."""
    flat = _points() * [1, 1, 0]
    seen = _CAMERA.project(flat, channel)
    assert np.abs(_CAMERA.on_plane(seen, channel) - flat[:, :2]).max() < 1e-6
    tube = Tube(glass_radius_mm=700.0)
    corner = (230.0, 180.0)
    round_points = tube.bulge(flat[:, :2], corner)
    seen = _CAMERA.project(round_points, channel)
    assert np.abs(_CAMERA.on_sphere(seen, channel, 700.0, corner) - flat[:, :2]).max() < 1e-6


def test_the_sphere_meets_the_marks_and_bulges_toward_the_camera() -> None:
    """The round glass touches the plane at the marks, and its middle is nearer to the camera."""
    found = Tube(glass_radius_mm=650.0).bulge([(230, 180), (-230, 180), (0, 0)], (230.0, 180.0))
    # By hand: 650 - sqrt(650^2 - 230^2 - 180^2) = 68.9 mm.
    assert np.allclose(found[:, 2], [0, 0, -(650 - np.sqrt(650**2 - 230**2 - 180**2))])


@pytest.mark.parametrize("channel", [0, 2])
def test_the_mesh_is_exact_to_a_hundredth_of_a_pixel(channel: int) -> None:
    """Places between the nodes of the mesh are right to a hundredth of a pixel."""

    def place(pixels: Floats) -> Floats:
        return _CAMERA.on_sphere(pixels, channel, 700.0, (230.0, 180.0))

    glass = Lookout(_CAMERA.size, place)
    # About the glass's bottom left corner, where the lens and the sphere bend most.
    column, row = np.rint(_CAMERA.project([(-190, 142, -15)], channel)[0]).astype(int)
    rows, columns = slice(row - 40, row + 40), slice(column - 50, column + 50)
    x, y = (glass.full(glass.mesh[..., k], rows, columns) for k in (0, 1))
    pixel_x, pixel_y = np.meshgrid(np.arange(column - 50, column + 50), np.arange(row - 40, row + 40))
    pixels = np.column_stack((pixel_x.ravel(), pixel_y.ravel())).astype(np.float64)
    exact = place(pixels)
    off = np.hypot(x.ravel() - exact[:, 0], y.ravel() - exact[:, 1]) / glass.pixel_mm
    assert off.max() < 0.01


def test_framing_fills_the_photograph() -> None:
    """A framed camera fills the wanted share of the photograph with the object."""
    camera = framed(_CAMERA, (250.0, 200.0), fill=0.9)
    seen = camera.project([(x, y, 0) for x in (-250, 0, 250) for y in (-200, 0, 200)], 1)
    share = np.abs(seen - (719.5, 539.5)).max(axis=0) / (720, 540)
    assert share.max() == pytest.approx(0.9, abs=0.001)


# --- The tube -------------------------------------------------------------------------------------------


def test_words_become_terms() -> None:
    """Size, centre, rotation, lean and single terms move the picture by exactly what they say."""
    given = deflection(400, 300, centre=(1, 2), rotation_deg=1, parallelogram_deg=0.5, x={"uv2": -3}, y={"v3": 0.7})
    tube = Tube(deflection=given, red=terms({"1": 0.3}, {"u": -0.1}))

    def at(u: float, v: float, gun: int = 1) -> Floats:
        return tube.places(u, v, gun)

    # By hand: the middle is the centre, the u axis is turned clockwise by the rotation, the v axis half a degree more.
    assert np.allclose(at(0, 0), (1, 2))
    across, down = at(1, 0) - at(-1, 0), at(0, 1) - at(0, -1) - np.array([0, 1.4])
    assert np.hypot(*across) == pytest.approx(400)
    assert np.degrees(np.arctan2(across[1], across[0])) == pytest.approx(1)
    assert np.hypot(*down) == pytest.approx(300)
    assert np.degrees(np.arctan2(-down[0], down[1])) == pytest.approx(1.5)
    assert np.allclose(at(1, 1) - at(1, 0) - (at(0, 1) - at(0, 0)), (-3, 0))
    assert np.allclose(at(1, 0, 0) - at(1, 0), (0.3, -0.1))


def test_newton_undoes_deflection() -> None:
    """From the glass back to the picture is the inverse of the deflection, for every gun."""
    tube = sixty()[7].tube
    u, v = np.meshgrid(np.linspace(-1.1, 1.1, 23), np.linspace(-1.1, 1.1, 23))
    for gun in range(3):
        found = tube.picture_points(tube.places(u, v, gun), gun)
        assert np.abs(found - np.stack((u, v), axis=-1)).max() < 1e-9


def test_overscan_by_hand() -> None:
    """The overscan of each side agrees with hand arithmetic."""
    # A picture of 400 mm, its middle 2 mm right of the glass's; the glass 384 wide: (400 - 384)/2 = 8 less or more 2.
    found = overscan_percent(Tube(deflection=deflection(400, 300, centre=(2, 0))))
    assert found["left"] == pytest.approx(100 * 6 / 400)
    assert found["right"] == pytest.approx(100 * 10 / 400)
    assert found["top"] == found["bottom"] == pytest.approx(100 * 6 / 300)


@pytest.mark.parametrize("kind", [MaskKind.DOTS, MaskKind.SLOTS, MaskKind.STRIPES])
def test_each_gun_has_its_own_phosphor(kind: MaskKind) -> None:
    """The three guns light different phosphors, and a mask keeps the mean light."""
    from tests.trials.photos.light import mask_table

    tables = [mask_table(Mask(kind=kind), gun, 0.001) for gun in range(3)]
    holes = [table.table for table in tables if table is not None]
    assert len(holes) == 3
    for one, other in ((0, 1), (1, 2), (0, 2)):
        # Means are 1: where holes are apart, the mean of the product is 0.
        assert float((holes[one] * holes[other]).mean()) < 0.05
    assert all(float(hole.mean()) == pytest.approx(1, abs=1e-4) for hole in holes)


# --- The photograph -------------------------------------------------------------------------------------


def _upright_places(given: PhotoSet, u: float, gun: int, rows: Floats) -> Floats:
    """Where the upright line at u has its middle in rows of the photograph, by projection alone."""
    v = np.linspace(-1, 1, 2001)
    seen = given.camera.project(given.tube.bulge(given.tube.places(u, v, gun), given.marks.corner), gun)
    return np.interp(rows, seen[:, 1], seen[:, 0])


@pytest.mark.parametrize("radius", [None, 900.0])
def test_a_line_lies_where_the_truth_says(radius: float | None) -> None:
    """In the photograph, vertical lines lie where tube and camera put them, flat glass or round."""
    given = plain_set(
        1.5,
        deflection=deflection(400, 300, rotation_deg=0.4, x={"uv2": -3, "u2": 2}, y={"u2v": -3}),
        red=terms({"1": 0.4, "uv": 0.2}, {"u": 0.2}),
        blue=terms({"1": -0.3, "v": 0.2}, {"v": 0.1}),
        glass_radius_mm=radius,
        distortion=(-0.1, 0.02, 2e-4, -2e-4, 0.0),
        chromatic=((3e-4, 4e-4), (-2e-4, -3e-4)),
        mask=_NO_MASK,
        shot=Shot(room=0.0, halo=0.0),
        falloff=0.0,
        **_QUIET,
    )
    image = photograph(given.tube, given.camera, given.marks, given.format, given.scene, given.shot, bits=16)
    light = _decoded(image)
    u_of = sorted({float(2 * node.x - 1) for node in given.scene.nodes})
    for number in (2, 8, 13):
        for gun in range(3):
            # Between two level lines: the cell's middle half.
            ends = given.tube.bulge(given.tube.places([u_of[number]] * 2, [0.025, 0.14], gun), given.marks.corner)
            first, last = given.camera.project(ends, gun)[:, 1]
            rows = np.arange(round(first), round(last))
            expected = _upright_places(given, u_of[number], gun, rows.astype(np.float64))
            centre = round(expected.mean())
            columns = np.arange(centre - 14, centre + 15)
            part = light[rows[0] : rows[-1] + 1, columns, gun]
            found = (part * columns).sum(axis=1) / part.sum(axis=1)
            assert np.abs(found - expected).max() < 0.05
            assert abs((found - expected).mean()) < 0.01


def test_dots_lie_where_the_truth_says() -> None:
    """In the photograph, dots lie where tube and camera put them."""
    given = plain_set(1.5, pattern="dots", mask=_NO_MASK, shot=Shot(room=0.0, halo=0.0), falloff=0.0, **_QUIET)
    light = _decoded(photograph(given.tube, given.camera, given.marks, given.format, given.scene, given.shot, bits=16))
    truth = dots_mm(given.tube, given.scene)[1]
    for row, column in ((0, 1), (5, 7), (10, 13)):
        expected = given.camera.project([(*truth[row, column], 0)], 1)[0]
        x, y = (np.arange(round(c) - 13, round(c) + 14) for c in expected)
        part = light[y[0] : y[-1] + 1, x[0] : x[-1] + 1, 1]
        found = np.array([(part * x).sum(), (part * y[:, None]).sum()]) / part.sum()
        # A circle in perspective: its image's centroid is not its middle's image, by less than this.
        assert np.abs(found - expected).max() < 0.03


def test_the_mask_leaves_a_lines_mean_place() -> None:
    """A mask moves a line's mean place by less than a quarter of its pitch."""
    means = []
    # A piece of the glass, a tenth of a millimetre in a pixel.
    near = framed(Camera(size=(480, 360), focal_px=700.0, aim_mm=(-50.0, 12.0), roll_deg=0.5, **_QUIET), (72, 54))
    for kind in (MaskKind.NONE, MaskKind.STRIPES, MaskKind.SLOTS, MaskKind.DOTS):
        given = plain_set(0.4, mask=Mask(kind=kind, pitch_mm=0.24), shot=Shot(room=0, halo=0))
        image = photograph(given.tube, near, given.marks, given.format, given.scene, given.shot, bits=16)
        x, y = near.project([(*given.tube.places(-0.25, 0.085, 1), 0)], 1)[0]
        columns = np.arange(round(x) - 20, round(x) + 21)
        part = _decoded(image[round(y) - 25 : round(y) + 25, columns, 1])
        means.append(float((part * columns).sum() / part.sum()))
    # Whole lines are seen through many holes; stripes are parallel to them, and their phase stays.
    assert np.abs(np.array(means[1:]) - means[0]).max() < 0.6
    assert abs(means[3] - means[0]) < 0.1


def test_opencv_finds_the_marks_where_they_are() -> None:
    """OpenCV's detector finds the four marks where the camera projects them."""
    given = plain_set(3, **_QUIET)
    # In linear light: in coded light a blurred edge seems to lie toward the dark side, here by 0.4 pixels.
    grey = np.rint(_decoded(given.marks_photograph())[..., 1] * 255).astype(np.uint8)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary, settings).detectMarkers(grey)
    assert sorted(np.asarray(ids).ravel().tolist()) == [0, 1, 2, 3]
    for number, seen in zip(np.asarray(ids).ravel(), corners, strict=True):
        x, y = given.marks.middles[int(number)]
        # OpenCV's order of a mark's corners: clockwise from the top left.
        square = [(x + sx * 15, y + sy * 15, 0) for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        assert np.abs(seen[0] - given.camera.project(square, 1)).max() < 0.2


def test_opencv_finds_the_boards_corners_where_they_are() -> None:
    """OpenCV's detector finds the board's corners where the camera projects them."""
    board = Board()
    camera = replace(board_cameras(distorted(Camera(size=(1440, 1080), focal_px=1800.0), 2.0), board, 4)[1], **_QUIET)
    grey = np.ascontiguousarray(board_photograph(camera, board)[..., 1])
    drawn = cv2.aruco.CharucoBoard(
        (board.columns, board.rows), board.square_mm, board.mark_mm, cv2.aruco.getPredefinedDictionary(board.dictionary)
    )
    corners, ids, _, _ = cv2.aruco.CharucoDetector(drawn).detectBoard(grey)
    assert len(ids) > 45
    expected = camera.project(board.corners_mm[np.asarray(ids).ravel()], 1)
    away = np.asarray(corners).reshape(-1, 2) - expected
    assert np.abs(away.mean(axis=0)).max() < 0.02
    assert np.hypot(*away.T).max() < 0.15


def test_a_flat_field_shows_the_vignette_alone() -> None:
    """A flat field falls off by the cos^4 law, and by nothing else."""
    camera = Camera(size=(800, 600), focal_px=700.0, full_well=0.0)
    light = _decoded(flat_field(camera, 0.5))[..., 1]
    # The cos^4 law at the corner: (1 + r^2/f^2)^-2.
    corner = (1 + (399.5**2 + 299.5**2) / 700.0**2) ** -2
    assert light[0, 0] / light[300, 400] == pytest.approx(corner, abs=0.01)


def test_the_same_seed_is_the_same_photograph() -> None:
    """A photograph depends on its seed alone."""
    given = plain_set(0.4)
    first, again, other = given.photograph(), given.photograph(), replace(given, seed=1).photograph()
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
    assert first.shape == (given.camera.size[1], given.camera.size[0], 3)
    assert first.dtype == np.uint8


@pytest.mark.parametrize("ending", ["jpg", "png", "tif"])
def test_saved_photographs_are_read_back(tmp_path: Path, ending: str) -> None:
    """A saved photograph is read back the same, and as JPEG nearly the same."""
    camera = Camera(size=(640, 480), focal_px=700.0)
    image = board_photograph(framed(camera, Board().half_mm), Board())
    read = cv2.imread(str(save(tmp_path / f"photo.{ending}", image)), cv2.IMREAD_COLOR)
    assert read is not None
    off = np.abs(read[..., ::-1].astype(int) - image)
    assert off.max() == 0 if ending != "jpg" else 0 < off.mean() < 4


def test_covered_dots_are_dark() -> None:
    """A dot under a cover gives no light."""
    given = plain_set(0.4, pattern="dots", **_QUIET)
    x, y = dots_mm(given.tube, given.scene)[1, 4, 6]
    covered = replace(given, shot=Shot(covered=((x, y, 6.0),)))
    column, row = np.rint(given.camera.project([(x, y, 0)], 1)[0]).astype(int)
    assert given.photograph()[row, column, 1] > 150
    assert covered.photograph()[row, column, 1] < 60


# --- The sets -------------------------------------------------------------------------------------------


def test_the_sixty_span_what_is_asked() -> None:
    """The sixty sets span the wanted sizes, formats, masks, tilts, lenses and cameras."""
    sets = sixty()
    assert len(sets) >= 60
    heights = [given.tube.deflection[1][2] * 2 for given in sets]
    assert min(heights) > 225
    assert max(heights) < 505
    assert np.ptp(heights) > 240
    assert {given.format_id for given in sets} >= {"480i", "576i", "1080i50"}
    assert {given.tube.mask.kind for given in sets} == {MaskKind.DOTS, MaskKind.SLOTS, MaskKind.STRIPES}
    assert 12 < max(np.hypot(*given.camera.tilt_deg) for given in sets) <= 15
    assert max(np.prod(given.camera.size) for given in sets) > 23e6
    assert min(np.prod(given.camera.size) for given in sets) < 6.2e6
    for given in sets:
        nodes = given.nodes()
        assert nodes.shape == nodes_mm(given.tube, given.scene).shape
        assert np.hypot(*np.moveaxis(nodes[[0, 2]] - nodes[1], -1, 0)).max() < 0.55
        width, height = given.camera.size
        papers = [(x + sx, y + sy, 0) for x, y in given.marks.middles for sx in (-22, 22) for sy in (-22, 22)]
        seen = given.camera.project(papers, 1)
        assert seen.min() > 0
        assert np.all(seen < (width, height))
        corner_shift = _corner_shift(given.camera)
        assert corner_shift < 0.034


def _corner_shift(camera: Camera) -> float:
    """By how much the lens moves the photograph's corners, as a share of their distance from the middle."""
    corner = np.array([[camera.size[0] / 2 / camera.focal_px, camera.size[1] / 2 / camera.focal_px, 1.0]])
    still = np.zeros(3)
    seen, _ = cv2.projectPoints(corner, still, still, np.eye(3), np.array(camera.distortion))
    return float(np.hypot(*(seen.ravel() - corner[0, :2])) / np.hypot(*corner[0, :2]))


def test_the_tube_refuses_what_it_cannot_show() -> None:
    """A pattern that the simulator has no light for is refused."""
    fmt = parse_format("576i")
    with pytest.raises(ValueError, match="rules, upright bars and dots"):
        photograph(Tube(), replace(_CAMERA, size=(320, 240)), Marks(), fmt, find_pattern("circles").scene(fmt))


@pytest.mark.slow
def test_every_odd_shot_can_be_taken() -> None:
    """Every odd shot gives a photograph of 8 bits."""
    for shot in odd(0.4):
        image = shot.photograph()
        assert image.ndim == 3
        assert image.dtype == np.uint8
