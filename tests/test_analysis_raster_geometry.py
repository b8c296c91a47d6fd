"""Figures of the raster's shape from grids whose every term is known.

Expected values are hand arithmetic on the map in the test's name or comment, with x right, y down and a picture of 400
by 300 mm, unless an outside library is named.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.answer import nested
from analysis.raster.answer import geometry_answer
from analysis.raster.geometry.figures import WITHOUT_MARKS, Geometry, measure_geometry
from analysis.raster.grid import GlassGrid, ShownGrid
from analysis.raster.quantities import GEOMETRY_KEYS
from tests.raster_photos import photo_of
from trueraster.output.json import answer_json

Floats = NDArray[np.float64]
Map = Callable[[Floats, Floats], tuple[Floats, Floats]]

SHOWN = ShownGrid(u=np.linspace(-1, 1, 17), v=np.linspace(-1, 1, 13))
"""16 by 12 cells."""
ASPECT = 4 / 3
SCALARS = [
    name
    for name in GEOMETRY_KEYS
    if name.endswith(("_mm", "_deg", "_percent")) and not name.startswith(("cen", "ed", "ov"))
]


def places(deflect: Map, shown: ShownGrid = SHOWN) -> Floats:
    """(rows, columns, 2) of a map."""
    return np.stack(deflect(*np.meshgrid(shown.u, shown.v)), axis=-1)


def plain(u: Floats, v: Floats) -> tuple[Floats, Floats]:
    return 200 * u, 150 * v


def turned(deflect: Map, degrees: float) -> Map:
    """A map turned clockwise: what was at the right goes down."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))

    def turn(u: Floats, v: Floats) -> tuple[Floats, Floats]:
        x, y = deflect(u, v)
        return cos * x - sin * y, sin * x + cos * y

    return turn


def grid(nodes: Floats, *, sigma: float = 1e-4, shown: ShownGrid = SHOWN, **more: Any) -> GlassGrid:
    """A grid of three guns on one another."""
    rows, columns = nodes.shape[:2]
    ends: dict[str, Floats] = {
        "level_ends": np.full((rows, 2, 2), np.nan),
        "upright_ends": np.full((columns, 2, 2), np.nan),
    }
    return GlassGrid(shown=shown, nodes=np.stack([nodes] * 3), sigma=np.full((3, *nodes.shape), sigma), **(ends | more))


def measured(deflect: Map, **more: Any) -> Geometry:
    return measure_geometry(grid(places(deflect), **more), ASPECT)


def keys_of(found: Geometry) -> dict[str, Any]:
    """Its figures as the JSON has them."""
    return nested(found.figures)


def curved(u: Floats, v: Floats) -> tuple[Floats, Floats]:
    """Every one of the ten terms in both directions."""
    return (
        1.0
        + 200 * u
        - 2 * v
        + 1.5 * u * v
        + 1.2 * u**2
        - 0.7 * v**2
        + 1.1 * u**3
        + 3 * u * v**2
        + 0.4 * u**2 * v
        + 0.2 * v**3,
        -2.0
        + 1.5 * u
        + 150 * v
        - 0.9 * u * v
        + 0.5 * u**2
        + 0.8 * v**2
        - 0.3 * u**3
        + 0.6 * u * v**2
        - 2 * u**2 * v
        + v**3,
    )


def test_a_right_picture_has_no_error() -> None:
    """A perfect grid has its size, and zero for every error."""
    figures = keys_of(measured(plain))
    assert figures["width_mm"] == pytest.approx(400, abs=1e-6)
    assert figures["height_mm"] == pytest.approx(300, abs=1e-6)
    assert figures["centre_mm"] == pytest.approx([0, 0], abs=1e-6)
    for name in SCALARS:
        if name not in ("width_mm", "height_mm"):
            assert figures[name] == pytest.approx(0, abs=1e-5), name


def test_centre_is_right_and_down_of_the_marks_middle() -> None:
    """The centre is positive to the right and down, in millimetres and in percent."""
    figures = keys_of(measured(lambda u, v: (200 * u + 3, 150 * v - 6)))
    assert figures["centre_mm"] == pytest.approx([3, -6], abs=1e-6)
    assert figures["centre_percent"] == pytest.approx([1, -2], abs=1e-6)


def test_clockwise_rotation_is_positive_and_is_all_that_changes() -> None:
    """A clockwise turn gives a positive rotation, and no other figure changes."""
    # Turned clockwise by a degree the right end of the middle line goes down: y is positive there.
    deflect = turned(plain, 1.0)
    assert places(deflect)[6, -1, 1] > 0
    figures = keys_of(measured(deflect))
    assert figures["rotation_deg"] == pytest.approx(1.0, abs=1e-6)
    assert figures["parallelogram_deg"] == pytest.approx(0, abs=1e-6)
    assert figures["width_mm"] == pytest.approx(400, abs=1e-6)
    assert figures["aspect_error_percent"] == pytest.approx(0, abs=1e-6)


def test_a_turned_picture_keeps_its_shape() -> None:
    """Turning a bent picture changes the rotation alone."""
    straight, askew = measured(curved), measured(turned(curved, 4.0))
    for name in ("edge_sag_mm", "width_mm", "height_mm", "parallelogram_deg", "aspect_error_percent", *SCALARS):
        if name != "rotation_deg":
            assert keys_of(askew)[name] == pytest.approx(keys_of(straight)[name], abs=2e-3), name
    assert askew.figures["rotation_deg"] - straight.figures["rotation_deg"] == pytest.approx(4, abs=1e-6)


def test_parallelogram_is_the_angle_from_u_to_v_less_90() -> None:
    """A lean of the vertical axis is the parallelogram angle, and is not rotation."""
    # The lower end of the upright axis goes left: from +x clockwise to it are 90.5 degrees.
    lean = np.radians(0.5)
    figures = keys_of(measured(lambda u, v: (200 * u - 150 * np.sin(lean) * v, 150 * np.cos(lean) * v)))
    assert figures["parallelogram_deg"] == pytest.approx(0.5, abs=1e-6)
    assert figures["rotation_deg"] == pytest.approx(0, abs=1e-6)
    assert figures["height_mm"] == pytest.approx(300, abs=1e-6)


def test_aspect_error_is_of_width_over_height() -> None:
    """The aspect error is width over height against the picture's aspect."""
    # 408/300 over 4/3 is 1.02.
    assert measured(lambda u, v: (204 * u, 150 * v)).figures["aspect_error_percent"] == pytest.approx(2, abs=1e-6)


@pytest.mark.parametrize("sign", [1, -1])
def test_linearity_is_the_outer_cells_deviation(sign: int) -> None:
    """Linearity and its span agree with hand arithmetic for a quadratic error of either sign."""
    # A cell from a to b is 200 (b - a) + 2 (b^2 - a^2) wide, 200 + 2 (a + b) a unit of u: 203.75 from 0.875 to 1,
    # 196.25 on the other side, 200 on average. Down: 150 + 3 (a + b), 155.5 and 144.5 from 5/6 to 1.
    figures = keys_of(measured(lambda u, v: (200 * u + sign * 2 * u**2, 150 * v + sign * 3 * v**2), sigma=1e-6))
    assert figures["linearity_h_percent"] == pytest.approx(1.875, abs=1e-5)
    assert figures["linearity_h_span_percent"] == pytest.approx(100 * 7.5 / 400, abs=1e-5)
    assert figures["linearity_v_percent"] == pytest.approx(100 * 5.5 / 150, abs=1e-5)
    assert figures["linearity_v_span_percent"] == pytest.approx(100 * 11 / 300, abs=1e-5)


def test_cells_that_were_shown_narrower_are_no_fault_of_linearity() -> None:
    """Cells that the pattern itself draws narrower count as linear."""
    shown = ShownGrid(u=np.array([-0.999, *SHOWN.u[1:-1], 0.999]), v=np.array([-0.998, *SHOWN.v[1:-1], 0.998]))
    figures = keys_of(measure_geometry(grid(places(plain, shown), shown=shown), ASPECT))
    assert figures["linearity_h_percent"] == pytest.approx(0, abs=1e-4)
    assert figures["linearity_v_percent"] == pytest.approx(0, abs=1e-4)
    assert figures["width_mm"] == pytest.approx(400, abs=1e-5)


def test_a_line_that_lies_off_by_itself_is_seen_in_linearity() -> None:
    """One displaced line shows in linearity, with a small uncertainty."""
    # One upright line 0.3 mm to the right: the cell before it is 25.3 mm, the mean 25 mm.
    nodes = places(plain)
    nodes[:, 3, 0] += 0.3
    nodes += np.random.default_rng(3).normal(0, 0.01, nodes.shape)
    geometry = measure_geometry(grid(nodes, sigma=0.01), ASPECT)
    error = geometry.uncertainty["linearity_h_percent"]
    assert geometry.figures["linearity_h_percent"] == pytest.approx(1.2, abs=0.05)
    assert 0.005 < error < 0.05
    assert geometry.figures["linearity_v_percent"] < 0.03


def test_pincushion_is_positive_sag_on_each_side() -> None:
    """A pincushion gives a positive sag on all four sides, and no bow."""
    # The sides' middles stand 3 mm nearer to the middle than their ends, top and bottom 2 mm.
    figures = keys_of(measured(lambda u, v: (200 * u + 3 * u * v**2, 150 * v + 2 * u**2 * v)))
    assert figures["edge_sag_mm"] == pytest.approx({"left": 3, "right": 3, "top": 2, "bottom": 2}, abs=1e-5)
    assert figures["bow_h_mm"] == pytest.approx(0, abs=1e-5)
    assert figures["edge_sag_percent"]["left"] == pytest.approx(100 * 3 / figures["height_mm"], abs=1e-5)


def test_a_barrel_on_one_side_only_has_its_own_sign() -> None:
    """A barrel on one side gives that side alone a negative sag, and half of it as bow."""
    # x = u v^2 (1 + u)/2 * -4 bends the right side alone, its middle outward by 4 mm.
    figures = keys_of(measured(lambda u, v: (200 * u - 2 * v**2 * (u + u**2), 150 * v), sigma=1e-3))
    assert figures["edge_sag_mm"] == pytest.approx({"left": 0, "right": -4, "top": 0, "bottom": 0}, abs=1e-4)
    # Sags in +x are 0 on the left and +4 on the right: half their sum is 2.
    assert figures["bow_h_mm"] == pytest.approx(2, abs=1e-4)


def test_bow_is_positive_to_the_right_and_down() -> None:
    """Middles that lie right of the ends, or below them, give a positive bow."""
    # The ends of upright lines are moved left by 2 mm, those of level lines up by 1 mm.
    figures = keys_of(measured(lambda u, v: (200 * u - 2 * v**2, 150 * v - u**2)))
    assert figures["bow_h_mm"] == pytest.approx(2, abs=1e-5)
    assert figures["bow_v_mm"] == pytest.approx(1, abs=1e-5)
    assert figures["edge_sag_mm"] == pytest.approx({"left": 2, "right": -2, "top": 1, "bottom": -1}, abs=1e-5)


def test_keystone_is_top_less_bottom_and_left_less_right() -> None:
    """Keystone is positive where the top is wider, and where the left is taller."""
    # Top 404 and bottom 396 wide: 8/400. Left 303 and right 297 high: 6/300.
    figures = keys_of(measured(lambda u, v: (200 * u - 2 * u * v, 150 * v - 1.5 * u * v)))
    assert figures["keystone_h_percent"] == pytest.approx(2, abs=1e-3)
    assert figures["keystone_v_percent"] == pytest.approx(2, abs=1e-3)


def test_s_is_the_cubic_term_in_percent_of_half_the_size() -> None:
    """The S-shape is the cubic term, in percent of half the width or height."""
    # Over these 17 columns the straight line nearest to u^3 is sum(u^4) / sum(u^2) times u.
    figures = keys_of(measured(lambda u, v: (200 * u + 2 * u**3, 150 * v - 3 * v**3)))
    assert figures["s_h_percent"] == pytest.approx(200 / (figures["width_mm"] / 2), abs=1e-6)
    assert figures["s_v_percent"] == pytest.approx(-300 / (figures["height_mm"] / 2), abs=1e-6)
    assert figures["width_mm"] == pytest.approx(400 + 4 * (SHOWN.u**4).sum() / (SHOWN.u**2).sum(), abs=1e-6)


def test_terms_are_numpys_least_squares_of_the_whole_grid() -> None:
    """Terms, centre and size agree with numpy's least squares over all nodes."""

    def deflect(u: Floats, v: Floats) -> tuple[Floats, Floats]:
        x, y = curved(u, v)
        return x + 2 * u**5 - u * v**4, y + u**3 * v

    nodes = places(deflect)
    u, v = (axis.ravel() for axis in np.meshgrid(SHOWN.u, SHOWN.v))
    basis = np.stack([u**0, u, v, u * v, u**2, v**2, u**3, u * v**2, u**2 * v, v**3], axis=1)
    expected = np.linalg.lstsq(basis, nodes.reshape(-1, 2), rcond=None)[0].T
    figures = keys_of(measured(deflect))
    for letter, row in zip("xy", expected, strict=True):
        assert list(figures["terms"][letter].values()) == pytest.approx(list(row), abs=1e-6)
    affine = np.linalg.lstsq(basis[:, :3], nodes.reshape(-1, 2), rcond=None)[0]
    assert figures["centre_mm"] == pytest.approx(list(affine[0]), abs=1e-6)
    assert figures["width_mm"] == pytest.approx(2 * np.hypot(*affine[1]), abs=1e-6)
    assert figures["height_mm"] == pytest.approx(2 * np.hypot(*affine[2]), abs=1e-6)


def test_hidden_outer_lines_change_nothing_but_their_own_sag() -> None:
    """Hidden outer lines change only the sag that is measured on the next visible line."""
    nodes = places(curved)
    whole = measure_geometry(grid(nodes, sigma=1e-8), ASPECT)
    nodes[:, 0] = nodes[-1] = np.nan
    nodes[0, :5] = np.nan
    hidden = measure_geometry(grid(nodes, sigma=1e-8), ASPECT)
    for name in ("centre_mm", "terms", *SCALARS):
        for letter in "xy" if name == "terms" else ("",):
            one, other = (keys_of(g)[name][letter] if letter else keys_of(g)[name] for g in (hidden, whole))
            # A bow is now that of the lines at -7/8 and 7/8, which slant a little otherwise.
            assert one == pytest.approx(other, abs=0.005 if name.startswith("bow") else 1e-6), name
    # The outermost visible line at the left is now at u = -7/8.
    assert hidden.outermost == pytest.approx({"left": -0.875, "right": 1, "top": -1, "bottom": 5 / 6})
    assert hidden.figures["edge_sag_mm.right"] == pytest.approx(whole.figures["edge_sag_mm.right"], abs=1e-6)
    # There x bends by (3 u - 0.7) v^2: 3.325 mm against 3.7 mm, but for the slant of the line.
    assert whole.figures["edge_sag_mm.left"] == pytest.approx(3.7, abs=0.02)
    assert hidden.figures["edge_sag_mm.left"] == pytest.approx(3.325, abs=0.02)


def test_bends_name_the_line_that_they_were_measured_on() -> None:
    """Counted from the picture's edge: behind the glass are two lines on the left and one below, none elsewhere."""
    nodes = places(curved)
    nodes[:, :2] = nodes[-1] = np.nan
    geometry = measure_geometry(grid(nodes), ASPECT)
    found = answer_json(geometry_answer(photo_of(geometry.grid), geometry))
    assert found["edge_line"] == {"left": 2, "right": 0, "top": 0, "bottom": 1}
    assert all(isinstance(line, int) for line in found["edge_line"].values())
    assert "edge_line" not in found["uncertainty"]
    unmarked = measure_geometry(replace(geometry.grid, placed=False), ASPECT)
    assert keys_of(unmarked)["edge_line"] == found["edge_line"]


def test_a_partly_seen_pincushion_is_no_smaller() -> None:
    """Hidden corners do not change the width of a bent picture."""

    # A plain affine fit to what is left without the left column would be off by more than 1 mm.
    def deflect(u: Floats, v: Floats) -> tuple[Floats, Floats]:
        return 200 * u + 8 * u * v**2, 150 * v

    nodes = places(deflect)
    expected = measured(deflect).figures["width_mm"]
    nodes[:3, :4] = nodes[-3:, :4] = np.nan
    assert measure_geometry(grid(nodes), ASPECT).figures["width_mm"] == pytest.approx(expected, abs=1e-5)


def test_single_false_nodes_are_left_out() -> None:
    """A few displaced nodes are left out, and the figures stay within their uncertainty."""
    nodes = places(curved) + np.random.default_rng(1).normal(0, 0.02, (13, 17, 2))
    right = measure_geometry(grid(nodes, sigma=0.02), ASPECT)
    for row, column in ((0, 0), (4, 9), (12, 3), (7, 16), (6, 8)):
        nodes[row, column] += (4, -3)
    wrong = measure_geometry(grid(nodes, sigma=0.02), ASPECT)
    assert wrong.smooth is not None
    assert (~wrong.smooth.kept).sum() == 5
    for name in SCALARS:
        assert abs(wrong.figures[name] - right.figures[name]) < 1.5 * right.uncertainty[name] + 1e-3, name


@pytest.mark.parametrize(
    ("hide", "word"),
    [
        (np.s_[:, 10:], "right"),
        (np.s_[:3, :], "top"),
        (np.s_[2:, :], "34 of the grid's 221"),
        (np.s_[:, :], "0 of the grid's 221"),
    ],
)
def test_too_little_gives_nothing_and_says_why(hide: Any, word: str) -> None:
    """With too few nodes every figure is null, and the reason names what is missing."""
    nodes = places(plain)
    nodes[hide] = np.nan
    geometry = measure_geometry(grid(nodes), ASPECT)
    assert not geometry.figures
    assert all(word in geometry.reasons[name] for name in GEOMETRY_KEYS)
    found = answer_json(geometry_answer(photo_of(geometry.grid), geometry))
    assert all(found[name] is None and found["uncertainty"].get(name) is None for name in GEOMETRY_KEYS)


def test_a_crosshatch_of_one_gun_is_told_by_that_gun() -> None:
    """A picture of red alone is measured by red."""
    red = grid(places(plain))
    red.nodes[1:] = np.nan
    geometry = measure_geometry(red, ASPECT)
    assert geometry.gun == 0
    assert geometry.figures["width_mm"] == pytest.approx(400, abs=1e-6)


def ends_at(deflect: Map, left: float, right: float, top: float, bottom: float) -> dict[str, Any]:
    """Where lines end on glass with these edges, by walking along them in steps of a hundredth of a mm."""
    along = np.linspace(-1.2, 1.2, 50001)

    def cut(points: Floats) -> tuple[Floats, Floats]:
        x, y = points[:, 0], points[:, 1]
        inside = points[(x >= left) & (x <= right) & (y >= top) & (y <= bottom)]
        return inside[0], inside[-1]

    level = [cut(np.stack(deflect(along, np.full_like(along, v)), axis=-1)) for v in SHOWN.v[1:-1]]
    upright = [cut(np.stack(deflect(np.full_like(along, u), along), axis=-1)) for u in SHOWN.u[1:-1]]
    nothing = np.full((1, 2, 2), np.nan)
    return {
        "level_ends": np.concatenate([nothing, np.array(level), nothing]),
        "upright_ends": np.concatenate([nothing, np.array(upright), nothing]),
    }


def test_overscan_is_the_share_beyond_the_visible_glass() -> None:
    """Overscan is the hidden share of the width or height, and zero where the outermost line is seen."""
    # 10 mm of 400 at the left, 16 at the right, 6 of 300 above; below the outermost line is seen.
    nodes = places(plain)
    nodes[:, 0] = nodes[:, -1] = nodes[0] = np.nan
    found = measure_geometry(grid(nodes, **ends_at(plain, -190, 184, -144, 160)), ASPECT)
    expected = {"left": 2.5, "right": 4, "top": 2, "bottom": 0}
    assert keys_of(found)["overscan_percent"] == pytest.approx(expected, abs=0.01)
    assert 0 < found.uncertainty["overscan_percent.left"] < 0.05
    assert not found.reasons


def test_overscan_is_that_of_the_sides_middle() -> None:
    """On a bent side the overscan is measured at the middle of the side."""

    # The middle of a side that sags by 6 mm is at x = -200, its ends are at -206.
    def deflect(u: Floats, v: Floats) -> tuple[Floats, Floats]:
        return 200 * u + 6 * u * v**2, 150 * v

    nodes = places(deflect)
    nodes[:, 0] = nodes[:, -1] = np.nan
    found = measure_geometry(grid(nodes, **ends_at(deflect, -190, 190, -200, 200)), ASPECT)
    assert keys_of(found)["overscan_percent"] == pytest.approx(
        {"left": 2.5, "right": 2.5, "top": 0, "bottom": 0}, abs=0.01
    )


def test_overscan_that_nothing_tells_is_null() -> None:
    """A side whose visible end is unknown has no overscan, but a reason."""
    nodes = places(plain)
    nodes[:, 0] = np.nan
    found = measure_geometry(grid(nodes), ASPECT)
    assert keys_of(found)["overscan_percent"] == {"right": 0, "top": 0, "bottom": 0}
    assert "left" in found.reasons["overscan_percent.left"]


def photographed(nodes: Floats) -> Floats:
    """Through a camera's perspective, tilted and turned by a quarter, by OpenCV."""
    perspective = np.array([[0.1, -3.0, 900], [2.9, 0.15, 700], [3e-4, -2e-4, 1]])
    return np.asarray(cv2.perspectiveTransform(nodes.reshape(1, -1, 2), perspective).reshape(nodes.shape), np.float64)


def test_without_marks_perspective_alone_bends_nothing() -> None:
    """Perspective alone gives no bend, and figures that need marks have reasons."""
    geometry = measured(plain)
    unmarked = measure_geometry(grid(photographed(places(plain)), placed=False), ASPECT)
    assert keys_of(unmarked)["edge_sag_percent"] == pytest.approx(keys_of(geometry)["edge_sag_percent"], abs=1e-6)
    assert unmarked.figures["bow_h_percent"] == pytest.approx(0, abs=1e-6)
    for name in GEOMETRY_KEYS:
        assert (name in keys_of(unmarked)) == (name in WITHOUT_MARKS), name
        assert (name in unmarked.reasons) == (name not in WITHOUT_MARKS), name


def test_without_marks_bends_are_told_in_percent_of_the_height() -> None:
    """Without marks, bends in percent agree with the true ones within their uncertainty."""

    def deflect(u: Floats, v: Floats) -> tuple[Floats, Floats]:
        return 200 * u + 3 * u * v**2 + 1.5 * v**2, 150 * v - 2 * u**2 * v - u**2

    expected = keys_of(measured(deflect))
    unmarked = measure_geometry(grid(photographed(places(deflect)), placed=False), ASPECT)
    for side, value in expected["edge_sag_percent"].items():
        sag = f"edge_sag_percent.{side}"
        found, uncertainty = unmarked.figures[sag], unmarked.uncertainty[sag]
        assert found == pytest.approx(value, abs=0.02), side
        assert abs(found - value) < 2 * uncertainty, side
    assert unmarked.figures["bow_h_percent"] == pytest.approx(expected["bow_h_percent"], abs=0.01)
    assert unmarked.figures["bow_v_percent"] == pytest.approx(expected["bow_v_percent"], abs=0.01)


def test_without_marks_linearity_of_the_raster_stays_within_the_uncertainty() -> None:
    """A linearity error does not move the bends by more than two uncertainties."""

    def deflect(u: Floats, v: Floats) -> tuple[Floats, Floats]:
        return 200 * u + 4 * u * v**2 + 2 * u**2, 150 * v + 2 * u * v

    expected = keys_of(measured(deflect))["edge_sag_percent"]
    unmarked = measure_geometry(grid(photographed(places(deflect)), placed=False), ASPECT)
    for side, value in expected.items():
        error = unmarked.figures[f"edge_sag_percent.{side}"] - value
        assert abs(error) < 2 * unmarked.uncertainty[f"edge_sag_percent.{side}"], side


def test_doubts_are_added_in_quadrature() -> None:
    """Each source of uncertainty adds in quadrature to the figures that it moves."""
    nodes = places(plain)
    nodes += np.random.default_rng(2).normal(0, 0.05, nodes.shape)
    alone = measure_geometry(grid(nodes, sigma=0.05), ASPECT)
    moved = nodes + np.array([0.3, 0]), nodes + np.array([0, -0.4]), nodes * 1.001
    doubts = [grid(other, sigma=0.05) for other in moved]
    doubted = measure_geometry(grid(nodes, sigma=0.05), ASPECT, doubts)
    assert doubted.figures == alone.figures
    own = alone.uncertainty
    assert doubted.uncertainty["centre_mm.0"] == pytest.approx(np.hypot(own["centre_mm.0"], 0.3), rel=1e-3)
    assert doubted.uncertainty["centre_mm.1"] == pytest.approx(np.hypot(own["centre_mm.1"], 0.4), rel=1e-3)
    assert doubted.uncertainty["width_mm"] == pytest.approx(np.hypot(own["width_mm"], 0.4), rel=1e-3)
    assert doubted.uncertainty["rotation_deg"] == pytest.approx(own["rotation_deg"], rel=1e-3)


def test_uncertainties_grow_with_the_scatter_that_is_there() -> None:
    """The real scatter decides the uncertainty, even where the nodes claim a smaller one."""
    noise = np.random.default_rng(4).normal(0, 1, (13, 17, 2))
    honest = measure_geometry(grid(places(plain) + 0.06 * noise, sigma=0.06), ASPECT)
    boasting = measure_geometry(grid(places(plain) + 0.06 * noise, sigma=0.01), ASPECT)
    for name in ("width_mm", "rotation_deg", "bow_h_mm"):
        assert boasting.uncertainty[name] == pytest.approx(honest.uncertainty[name], rel=0.25), name


TRUTH = measured(curved, sigma=1e-9)


def coverage(noise: Callable[[np.random.Generator], Floats], sigma: float, runs: int) -> tuple[float, dict[str, float]]:
    """How often the truth lies within two uncertainties: of all figures, and of each."""
    truth = TRUTH.figures
    hits: dict[str, list[bool]] = {}
    for seed in range(runs):
        nodes = places(curved) + noise(np.random.default_rng(seed))
        nodes[:, 0] = np.nan
        geometry = measure_geometry(grid(nodes, sigma=sigma), ASPECT)
        for name, uncertainty in geometry.uncertainty.items():
            # The left line is another one than the truth's, and overscan is exactly 0.
            if not name.endswith("left") and not name.startswith("overscan_percent"):
                hits.setdefault(name, []).append(abs(geometry.figures[name] - truth[name]) <= 2 * uncertainty)
    each = {name: float(np.mean(hit)) for name, hit in hits.items()}
    return float(np.mean(list(each.values()))), each


def test_uncertainties_are_honest() -> None:
    """The truth lies within two uncertainties as often as a normal distribution demands."""
    # Within two standard uncertainties lie 95.4 % of a normal distribution; the issue asks for 90 to 99 %.
    whole, each = coverage(lambda rng: rng.normal(0, 0.03, (13, 17, 2)), 0.03, 120)
    assert 0.93 < whole < 0.985
    assert min(each.values()) > 0.88, each


def test_uncertainties_are_honest_about_maxima_where_there_is_nothing() -> None:
    """A largest deviation of pure noise stays within two uncertainties of zero."""
    hits = []
    for seed in range(120):
        nodes = places(plain) + np.random.default_rng(seed).normal(0, 0.05, (13, 17, 2))
        geometry = measure_geometry(grid(nodes, sigma=0.05), ASPECT)
        for name in ("linearity_h_percent", "linearity_v_percent", "linearity_h_span_percent"):
            hits.append(geometry.figures[name] <= 2 * geometry.uncertainty[name])
    assert 0.9 < np.mean(hits) <= 1.0


def test_uncertainties_are_honest_where_neighbours_err_alike() -> None:
    """Noise that neighbouring nodes share is covered by the uncertainty too."""

    # Noise that OpenCV blurred over a cell: from node to node it scatters less than it moves the figures.
    def noise(rng: np.random.Generator) -> Floats:
        blurred = cv2.GaussianBlur(rng.normal(0, 1, (13, 17, 2)), (0, 0), 0.6, borderType=cv2.BORDER_REFLECT)
        return np.asarray(0.03 * blurred / blurred.std(), np.float64)

    whole, _ = coverage(noise, 0.03, 60)
    assert 0.9 < whole < 0.99


def test_json_holds_what_was_agreed() -> None:
    """Every figure with its uncertainty, and every node that was seen."""
    geometry = measured(curved)
    found = json.loads(json.dumps(answer_json(geometry_answer(photo_of(geometry.grid), geometry))))
    assert {*GEOMETRY_KEYS, "uncertainty", "nodes", "advice", "reasons"} <= set(found)
    assert set(nested(geometry.uncertainty)) <= set(found["uncertainty"])
    assert len(found["nodes"]) == 17 * 13
    assert found["nodes"][0] == pytest.approx(
        {"u": -1, "v": -1, "x_mm": places(curved)[0, 0, 0], "y_mm": places(curved)[0, 0, 1]}, abs=1e-6
    )
    assert list(found["terms"]["x"]) == ["1", "u", "v", "uv", "u2", "v2", "u3", "uv2", "u2v", "v3"]
    unmarked = measure_geometry(grid(photographed(places(plain)), placed=False), ASPECT)
    assert answer_json(geometry_answer(photo_of(unmarked.grid), unmarked))["nodes"][0]["x_mm"] is None


def test_dots_tell_no_overscan() -> None:
    """The outermost dots lie a cell inside the picture, so all of them may be seen whatever is hidden."""
    shown = ShownGrid(u=np.linspace(-1, 1, 17)[1:-1], v=np.linspace(-1, 1, 13)[1:-1])
    u, v = np.meshgrid(200 * shown.u, 150 * shown.v)
    nodes = np.broadcast_to(np.stack([u, v], axis=-1), (3, *u.shape, 2))
    grid = GlassGrid(
        shown=shown,
        nodes=nodes,
        sigma=np.full(nodes.shape, 0.01),
        level_ends=np.full((11, 2, 2), np.nan),
        upright_ends=np.full((15, 2, 2), np.nan),
    )
    found = measure_geometry(grid, 4 / 3)
    assert "overscan_percent" not in keys_of(found)
    assert "overscan_percent.left" in found.reasons
