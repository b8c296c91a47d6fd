"""Red's and blue's place against green's, from grids whose every offset is known.

Expected values are hand arithmetic with x right, y down and a picture of 400 by 300 mm, unless an outside library is
named.
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
from analysis.raster.advice import advise_convergence
from analysis.raster.answer import convergence_answer, convergence_figures
from analysis.raster.convergence import Convergence, measure_convergence, zones
from analysis.raster.grid import GlassGrid, ShownGrid
from analysis.raster.quantities import CONVERGENCE_KEYS
from tests.raster_photos import photo_of
from trueraster.output.json import answer_json

Floats = NDArray[np.float64]
Shift = Callable[[Floats, Floats], tuple[Any, Any]]

SHOWN = ShownGrid(u=np.linspace(-1, 1, 17), v=np.linspace(-1, 1, 13))
ASPECT = 4 / 3
U, V = np.meshgrid(SHOWN.u, SHOWN.v)
GREEN = np.stack([200 * U + 2 * U * V**2, 150 * V], axis=-1)


def none(u: Floats, v: Floats) -> tuple[Any, Any]:
    return 0 * u, 0 * v


def shifted(shift: Shift) -> Floats:
    """(rows, columns, 2) of an offset."""
    x, y = shift(U, V)
    return np.stack([x + 0 * U, y + 0 * U], axis=-1)


def grid(red: Shift, blue: Shift = none, *, noise: float = 0.0, sigma: float = 1e-6, seed: int = 0) -> GlassGrid:
    nodes = np.stack([GREEN + shifted(red), GREEN, GREEN + shifted(blue)])
    return GlassGrid(
        shown=SHOWN,
        nodes=nodes + np.random.default_rng(seed).normal(0, 1, nodes.shape) * noise,
        sigma=np.full(nodes.shape, sigma),
        level_ends=np.full((13, 2, 2), np.nan),
        upright_ends=np.full((17, 2, 2), np.nan),
    )


def measured(red: Shift, blue: Shift = none, **more: Any) -> Convergence:
    return measure_convergence(grid(red, blue, **more), ASPECT)


def keys_of(found: Convergence) -> dict[str, Any]:
    """Its figures as the JSON has them."""
    return nested(found.figures)


def json_of(found: Convergence) -> Any:
    """What the command prints."""
    return json.loads(json.dumps(answer_json(convergence_answer(photo_of(found.grid), found))))


def test_a_static_offset_is_the_same_everywhere() -> None:
    """A constant offset is reported as static convergence, and every zone has it."""
    # 0.3 right and 0.4 down are 0.5 mm; of 300 mm 1/6 %.
    found = keys_of(measured(lambda u, v: (0.3, 0.4), lambda u, v: (-0.1, 0)))
    assert found["centre_max_mm"] == pytest.approx(0.5, abs=1e-5)
    assert found["overall_max_mm"] == pytest.approx(0.5, abs=1e-5)
    assert found["overall_max_percent"] == pytest.approx(1 / 6, abs=1e-5)
    assert found["parts"]["red"]["static"] == pytest.approx({"x": 0.3, "y": 0.4}, abs=1e-6)
    assert found["parts"]["blue"]["static"] == pytest.approx({"x": -0.1, "y": 0}, abs=1e-6)
    assert all(zone == pytest.approx({"red": 0.5, "blue": 0.1}, abs=1e-5) for zone in found["zones_mm"].values())


@pytest.mark.parametrize(
    ("shift", "group", "part"),
    [
        (lambda u, v: (0.2 * u, 0), "edges", "x_u"),
        (lambda u, v: (0.2 * u**2, 0), "edges", "x_u2"),
        (lambda u, v: (0.2 * v**2, 0), "edges", "x_v2"),
        (lambda u, v: (0, 0.2 * v), "edges", "y_v"),
        (lambda u, v: (0, 0.2 * v**2), "edges", "y_v2"),
        (lambda u, v: (0, 0.2 * u**2), "edges", "y_u2"),
        (lambda u, v: (0.2 * v, 0), "twist", "x_v"),
        (lambda u, v: (0, 0.2 * u), "twist", "y_u"),
    ],
)
def test_each_part_is_what_it_is_at_the_edge(shift: Shift, group: str, part: str) -> None:
    """Each part of an offset is given by its size at the edge, and the other parts are zero."""
    parts = keys_of(measured(none, shift))["parts"]["blue"]
    assert parts.pop("remains") == pytest.approx(0, abs=1e-4)
    for name, values in parts.items():
        for key, value in values.items():
            assert value == pytest.approx(0.2 if (name, key) == (group, part) else 0, abs=1e-5), (name, key)


def test_parts_are_numpys_least_squares_and_leave_what_no_control_moves() -> None:
    """The parts agree with numpy's least squares, and the rest is what no control moves."""

    def shift(u: Floats, v: Floats) -> tuple[Any, Any]:
        return 0.1 + 0.2 * u - 0.1 * v**2 + 0.3 * u**3 + 0.15 * u * v, 0.1 * v + 0.2 * u * v**2

    wanted = shifted(shift).reshape(-1, 2)
    u, v = U.ravel(), V.ravel()
    basis = np.stack([u**0, u, v, u**2, v**2], axis=1)
    solved, *_ = np.linalg.lstsq(basis, wanted, rcond=None)
    parts = keys_of(measured(shift, sigma=1e-6))["parts"]["red"]
    edges, twist = parts["edges"], parts["twist"]
    found = [parts["static"]["x"], edges["x_u"], twist["x_v"], edges["x_u2"], edges["x_v2"]]
    assert found == pytest.approx(list(solved[:, 0]), abs=1e-6)
    found = [parts["static"]["y"], twist["y_u"], edges["y_v"], edges["y_u2"], edges["y_v2"]]
    assert found == pytest.approx(list(solved[:, 1]), abs=1e-6)
    left = wanted - basis @ solved
    assert parts["remains"] == pytest.approx(np.sqrt((left**2).sum(axis=1).mean()), abs=1e-6)


def test_zones_divide_the_picture() -> None:
    """Each node lies in exactly one zone, and the centre is a circle on the glass."""
    found = zones(U, V, ASPECT)
    assert np.all(sum(zone.astype(int) for zone in found.values()) == 1)
    # The circle of the picture's height reaches to 3/4 of half the width on 4:3.
    assert found["centre"][6].sum() == 13
    assert found["centre"][:, 8].all()
    assert found["top_right"][0, -1]
    assert found["bottom_left"][-1, 0]


def test_the_centre_is_told_apart_from_the_corners() -> None:
    """An offset that grows toward the corners is smaller in the centre figure, by the right amount."""
    # 0.4 u v is 0.4 mm in a corner. Of the nodes within (4/3 u)^2 + v^2 = 1 those at 1/2, 2/3 have most.
    found = keys_of(measured(lambda u, v: (0.4 * u * v, 0)))
    assert found["zones_mm"]["top_left"]["red"] == pytest.approx(0.4, abs=1e-4)
    assert found["overall_max_mm"] == pytest.approx(0.4, abs=1e-4)
    assert found["centre_max_mm"] == pytest.approx(0.4 / 3, abs=1e-4)


def test_nodes_are_told_by_their_neighbours() -> None:
    """A single displaced node is taken for noise, and gets its neighbours' offset."""
    # One node that is 1 mm off by itself is noise; the smooth offset of 0.2 mm is told at it too.
    nodes = grid(lambda u, v: (0.2 * u, 0), noise=0.01, sigma=0.01)
    nodes.nodes[0, 3, 4] += 1.0
    found = measure_convergence(nodes, ASPECT)
    assert found.offsets[0, 3, 4] == pytest.approx([0.2 * U[3, 4], 0], abs=0.01)
    assert found.figures["overall_max_mm"] < 0.22


def test_a_spot_where_neighbours_lie_off_together_is_not_lost() -> None:
    """A local spot of several displaced nodes is kept, and does not spread."""
    nodes = grid(none, noise=0.01, sigma=0.01)
    nodes.nodes[0, 8:12, 10:14, 0] += 0.3
    found = measure_convergence(nodes, ASPECT)
    assert found.offsets[0, 9:11, 11:13, 0] == pytest.approx(np.full((2, 2), 0.3), abs=0.03)
    assert found.figures["overall_max_mm"] == pytest.approx(0.3, abs=0.04)
    assert np.nanmax(np.abs(found.offsets[0, :6])) < 0.08


def test_what_is_not_seen_is_not_told() -> None:
    """Unseen columns and guns have no offsets, and a gun that is missing has its reason."""
    nodes = grid(lambda u, v: (0.2 * u, 0), lambda u, v: (0, 0.1 * v))
    nodes.nodes[0, :, 0] = np.nan
    nodes.nodes[2] = np.nan
    found = measure_convergence(nodes, ASPECT)
    assert np.isnan(found.offsets[0, :, 0]).all()
    assert np.isfinite(found.offsets[0, :, 1:]).all()
    assert "blue" in found.reasons
    assert set(keys_of(found)["parts"]) == {"red"}
    # Without the left column: 7/8 of 0.2 on that side, 0.2 on the other.
    assert found.figures["zones_mm.top_left.red"] == pytest.approx(0.175, abs=1e-4)
    assert json_of(found)["parts"]["blue"] is None


def test_every_figure_that_is_null_has_its_reason() -> None:
    """A gun that is not seen, a zone in which nothing is seen, and both without marks."""
    nodes = grid(lambda u, v: (0.2 * u, 0))
    nodes.nodes[2] = np.nan
    # The corner beyond two thirds of both ways out.
    nodes.nodes[:, :3, 14:] = np.nan
    for placed in (True, False):
        found = measure_convergence(GlassGrid(**{**vars(nodes), "placed": placed}), ASPECT)
        figures = {one.quantity.path: one for one in convergence_figures(found)}
        missing = [one for one in figures.values() if one.value is None]
        assert all(one.reason and one.reason != "the result does not have it" for one in missing)
        assert figures["zones_percent.top_right.red"].reason == "no crossing with green is seen there"
        assert figures["zones_percent.top_left.blue"].reason.startswith("blue is not seen along green's lines")
        assert figures["zones_percent.top_left.red"].value is not None
        assert (figures["parts.red.static.x"].value is None) == (not placed)


@pytest.mark.parametrize("guns", [[1], [0, 2], [0, 1, 2]])
def test_without_two_guns_there_is_no_figure_but_a_reason(guns: list[int]) -> None:
    """Without green and one more gun every figure is null, with a reason."""
    nodes = grid(none)
    nodes.nodes[guns] = np.nan
    found = measure_convergence(nodes, ASPECT)
    words = "0 of the grid's 221" if 1 in guns else "is not seen along green's lines"
    assert not found.figures
    printed = json_of(found)
    assert all(printed[name] is None and words in found.reasons[name] for name in CONVERGENCE_KEYS)


def test_a_shift_of_all_guns_is_no_doubt_but_one_of_one_gun_is() -> None:
    """Only a shift of one gun against the others adds to the uncertainty of convergence."""
    alone = measured(lambda u, v: (0.2, 0), noise=0.01, sigma=0.01)
    plain = grid(lambda u, v: (0.2, 0), noise=0.01, sigma=0.01)

    def doubted(shift: Floats) -> float:
        other = GlassGrid(**{**vars(plain), "nodes": plain.nodes + shift})
        found = measure_convergence(plain, ASPECT, [other])
        assert found.figures == alone.figures
        return float(found.uncertainty["parts.red.static.x"])

    own = alone.uncertainty["parts.red.static.x"]
    assert doubted(np.full((3, 1, 1, 2), 0.5)) == pytest.approx(own, rel=1e-6)
    red = np.zeros((3, 1, 1, 2))
    red[0] = 0.05
    assert doubted(red) == pytest.approx(np.hypot(own, 0.05), rel=1e-6)


def test_what_scales_all_offsets_hides_no_advice() -> None:
    """A shift of 0.3 mm is advised where a source of uncertainty may double it, and not where one may undo it."""
    plain = grid(lambda u, v: (0.3, 0.0))
    other = replace(plain, nodes=grid(lambda u, v: (0.6, 0.0)).nodes)
    for scales in (True, False):
        plan = advise_convergence(measure_convergence(plain, ASPECT, [replace(other, scales=scales)]))
        assert [one.control.id for one in plan.corrections] == (["static-h"] if scales else [])
        assert all(one.uncertainty == pytest.approx(0.3, rel=0.1) for one in plan.corrections)


def test_small_parts_that_add_up_are_advised() -> None:
    """Parts of 0.13 mm are each below half of 0.3 mm, and together beyond it: all are advised; one alone is not."""

    def some(u: Floats, v: Floats) -> Floats:
        return 0.13 + 0.13 * u * u + 0.13 * v * v

    alone = advise_convergence(measured(lambda u, v: (0.13 + 0 * u, 0 * v)))
    together = advise_convergence(measured(lambda u, v: (some(u, v), some(u, v))))
    assert not alone.corrections
    static, edges = {"static-h", "static-v"}, {"edges-h-sides", "edges-h-ends", "edges-v-sides", "edges-v-ends"}
    assert {part.control.id for part in together.corrections} == static | edges


def test_without_marks_it_is_told_in_percent_of_the_height() -> None:
    """Through a perspective and without marks, offsets in percent are still right."""
    # Through a camera's perspective by OpenCV, the photograph on its side.
    plain = grid(lambda u, v: (0.3, 0.1 * u), lambda u, v: (0, -0.15))
    perspective = np.array([[0.1, -3.0, 900], [2.9, 0.15, 700], [1e-4, -1e-4, 1]])
    nodes = cv2.perspectiveTransform(plain.nodes.reshape(1, -1, 2), perspective).reshape(plain.nodes.shape)
    found = measure_convergence(GlassGrid(**{**vars(plain), "nodes": nodes, "placed": False}), ASPECT)
    expected = measure_convergence(plain, ASPECT)
    assert "overall_max_mm" not in found.figures
    assert "marks" in found.reasons["overall_max_mm"]
    assert found.figures["overall_max_percent"] == pytest.approx(expected.figures["overall_max_percent"], rel=0.02)
    static = keys_of(found)["parts_percent"]["red"]["static"]
    assert static == pytest.approx({"x": 0.1, "y": 0}, abs=0.002)
    node = json_of(found)["nodes"][0]
    assert node["red_mm"] is None
    assert node["red_percent"] == pytest.approx([0.1, -0.1 / 3], abs=0.003)


def test_json_holds_what_was_agreed() -> None:
    """Every figure, and every node with the offsets of both guns and their uncertainties."""
    found = json_of(measured(lambda u, v: (0.1, 0.2)))
    assert {*CONVERGENCE_KEYS, "uncertainty", "nodes", "advice", "reasons"} <= set(found)
    assert len(found["nodes"]) == len(found["uncertainty"]["nodes"]) == 221
    assert set(found["nodes"][0]) == {"u", "v", "x_mm", "y_mm", "red_mm", "blue_mm"}
    assert found["nodes"][0]["red_mm"] == pytest.approx([0.1, 0.2], abs=1e-6)
    assert found["nodes"][0]["x_mm"] == pytest.approx(-202)


def curved(u: Floats, v: Floats) -> tuple[Any, Any]:
    return 0.1 + 0.1 * u + 0.2 * u**2 - 0.1 * u * v**2, -0.05 + 0.1 * v + 0.08 * u * v + 0.05 * v**3


def small(u: Floats, v: Floats) -> tuple[Any, Any]:
    return 0.05 * v, 0.04 * u


@pytest.mark.parametrize(("red", "blue"), [(curved, small), (none, none)])
def test_uncertainties_are_honest(red: Shift, blue: Shift) -> None:
    """The truth lies within two uncertainties as often as a normal distribution demands."""
    # The issue asks for the truth within two uncertainties in 90 to 99 % of cases; noise of 0.03 mm for each gun.
    truth = measured(red, blue, sigma=1e-9)
    hits: dict[str, list[bool]] = {}
    nodes: list[float] = []
    for seed in range(50):
        found = measured(red, blue, noise=0.03, sigma=0.03, seed=seed)
        for name, value in found.figures.items():
            hits.setdefault(name, []).append(abs(value - truth.figures[name]) <= 2 * found.uncertainty[name])
        within = np.abs(found.offsets - truth.offsets) <= 2 * found.sigma
        nodes.append(float(within.mean()))
        # The issue asks for 0.04 mm at 95 % of nodes.
        assert np.mean(np.linalg.norm(found.offsets - truth.offsets, axis=-1) < 0.04) > 0.97
    assert 0.9 < np.mean(nodes) < 0.99
    whole = float(np.mean([np.mean(hit) for hit in hits.values()]))
    assert 0.92 < whole <= (1.0 if red is none else 0.99), whole
    assert min(np.mean(hit) for hit in hits.values()) > 0.84, {k: np.mean(h) for k, h in hits.items()}


def test_no_zone_is_more_than_the_whole() -> None:
    """Noise moves the largest of many more than the largest of few; the two are told freed of it, and agree."""
    for seed in range(10):
        found = keys_of(measured(curved, small, noise=0.02, sigma=0.02, seed=seed))
        zones = [value for zone in found["zones_mm"].values() for value in zone.values() if value is not None]
        assert max(zones) <= found["overall_max_mm"] + 1e-9
