"""Which control to turn, which way and how far, from pictures with one known error, and from several at once.

Expected values are hand arithmetic with x right, y down and a picture that should be 400 by 300 mm; numpy's least
squares takes what a term changes of place, size and slant out of it.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.raster.advice import Plan, advise, advise_convergence
from analysis.raster.answer import advice_of, geometry_answer, summary_of
from analysis.raster.controls import CONVERGENCE_CONTROLS, GEOMETRY_CONTROLS, Control
from analysis.raster.convergence import measure_convergence
from analysis.raster.geometry.figures import Geometry, measure_geometry
from analysis.raster.grid import GlassGrid, ShownGrid
from tests.raster_photos import photo_of
from trueraster.output.json import answer_json
from trueraster.output.text import advice_title

Floats = NDArray[np.float64]

SHOWN = ShownGrid(u=np.linspace(-1, 1, 17), v=np.linspace(-1, 1, 13))
ASPECT = 4 / 3
U, V = np.meshgrid(SHOWN.u, SHOWN.v)
RIGHT = np.stack([200 * U, 150 * V], axis=-1)
TERMS = {
    "1": U**0,
    "u": U,
    "v": V,
    "uv": U * V,
    "u2": U**2,
    "v2": V**2,
    "u3": U**3,
    "uv2": U * V**2,
    "u2v": U**2 * V,
    "v3": V**3,
}


def bent(term: str) -> Floats:
    """(rows, columns) of a term, without its affine fit where it is a bend or a stretch."""
    if term in ("1", "u", "v"):
        return TERMS[term]
    affine = np.stack([U.ravel() ** 0, U.ravel(), V.ravel()], axis=1)
    value = TERMS[term].ravel()
    return (value - affine @ np.linalg.lstsq(affine, value, rcond=None)[0]).reshape(U.shape)


def off(axis: str, term: str, amount: float) -> Floats:
    """(rows, columns, 2): a picture moved by one term."""
    return np.stack([amount * bent(term) * (axis == "x"), amount * bent(term) * (axis == "y")], axis=-1)


def grid(green: Floats, red: Any = 0.0, blue: Any = 0.0, sigma: float = 1e-4, **more: Any) -> GlassGrid:
    nodes = np.stack([green + red, green, green + blue])
    return GlassGrid(
        shown=SHOWN,
        nodes=nodes,
        sigma=np.full(nodes.shape, sigma),
        level_ends=np.full((13, 2, 2), np.nan),
        upright_ends=np.full((17, 2, 2), np.nan),
        **more,
    )


def advised(nodes: Floats, wanted: tuple[float, float] | None = None, **more: Any) -> Plan:
    return advise(measure_geometry(grid(nodes, **more), ASPECT), wanted)


def rms(error: Floats) -> float:
    return float(np.sqrt((error**2).sum(axis=-1).mean()))


CASES = [
    ("h-centre", ("x", "1", 5), "to the left", 5, "mm"),
    ("h-centre", ("x", "1", -5), "to the right", 5, "mm"),
    ("v-centre", ("y", "1", 5), "up", 5, "mm"),
    ("v-centre", ("y", "1", -5), "down", 5, "mm"),
    # Half a width of 206 mm is 12 mm more than 400 as a whole.
    ("h-size", ("x", "u", 6), "narrower", 12, "mm"),
    ("h-size", ("x", "u", -6), "wider", 12, "mm"),
    # The slope at the right edge is 200 + 2 * 6: 6 % above the middle's.
    ("h-linearity", ("x", "u2", 6), "wider at the left, narrower at the right", 6, "%"),
    ("h-linearity", ("x", "u2", -6), "wider at the right, narrower at the left", 6, "%"),
    ("v-linearity", ("y", "v2", 6), "taller at the top, shorter at the bottom", 8, "%"),
    ("v-linearity", ("y", "v2", -6), "taller at the bottom, shorter at the top", 8, "%"),
    # 3 * 8 of 200 more at the edges than in the middle.
    ("h-s", ("x", "u3", 8), "narrower at both sides", 12, "%"),
    ("h-s", ("x", "u3", -8), "wider at both sides", 12, "%"),
    ("v-s", ("y", "v3", 8), "shorter at the top and bottom", 16, "%"),
    ("v-s", ("y", "v3", -8), "taller at the top and bottom", 16, "%"),
    ("side-pincushion", ("x", "uv2", 5), "middles of the sides outward", 5, "mm"),
    ("side-pincushion", ("x", "uv2", -5), "middles of the sides inward", 5, "mm"),
    ("top-bottom-pincushion", ("y", "u2v", 5), "middles of top and bottom outward", 5, "mm"),
    ("top-bottom-pincushion", ("y", "u2v", -5), "middles of top and bottom inward", 5, "mm"),
    ("h-keystone", ("x", "uv", 4), "wider at the top, narrower at the bottom", 4, "mm"),
    ("h-keystone", ("x", "uv", -4), "wider at the bottom, narrower at the top", 4, "mm"),
    ("v-keystone", ("y", "uv", 4), "taller at the left, shorter at the right", 4, "mm"),
    ("v-keystone", ("y", "uv", -4), "taller at the right, shorter at the left", 4, "mm"),
    ("parallelogram", ("x", "v", 4), "top to the right, bottom to the left", 4, "mm"),
    ("parallelogram", ("x", "v", -4), "top to the left, bottom to the right", 4, "mm"),
    # The ends lie to the right of the middle, so the middles have to go there.
    ("h-bow", ("x", "v2", 4), "middles to the right", 4, "mm"),
    ("h-bow", ("x", "v2", -4), "middles to the left", 4, "mm"),
    ("v-bow", ("y", "u2", 4), "middles down", 4, "mm"),
    ("v-bow", ("y", "u2", -4), "middles up", 4, "mm"),
    ("yoke", ("x", "v3", 8), "by qualified service only", None, "mm"),
    ("yoke", ("y", "uv2", -8), "by qualified service only", None, "mm"),
]


@pytest.mark.parametrize(("control", "error", "direction", "amount", "unit"), CASES)
def test_one_error_is_one_control(
    control: str, error: tuple[str, str, float], direction: str, amount: float | None, unit: str
) -> None:
    """A picture with one error gets one control, with its direction, amount and effect."""
    field = off(*error)
    found = advised(RIGHT + field)
    assert [item.control.id for item in found.corrections] == [control]
    item = found.corrections[0]
    assert (item.way.do, item.unit) == (direction, unit)
    # A lean of 4 mm makes the height 300.05, and with it what the width should be.
    assert abs(item.amount) == pytest.approx(
        np.linalg.norm(field, axis=-1).max() if amount is None else amount, rel=0.01
    )
    assert item.effect == pytest.approx(rms(field), rel=0.01)
    assert item.remains == pytest.approx(0, abs=0.08)


@pytest.mark.parametrize(("degrees", "direction"), [(1.5, "anticlockwise"), (-1.5, "clockwise")])
def test_a_turned_picture_is_turned_back(degrees: float, direction: str) -> None:
    """A rotated picture is turned back by its angle, and nothing else is advised."""
    cos, sin = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    nodes = RIGHT @ np.array([[cos, sin], [-sin, cos]])
    # Clockwise: what is right of the middle goes down.
    assert (nodes[6, -1, 1] > 0) == (degrees > 0)
    found = advised(nodes)
    assert [item.control.id for item in found.corrections] == ["rotation"]
    assert found.corrections[0].way.do == direction
    assert abs(found.corrections[0].amount) == pytest.approx(200 * abs(sin), abs=1e-4)
    assert found.corrections[0].remains == pytest.approx(0, abs=1e-4)


def test_a_wanted_size_decides_both_controls_of_size() -> None:
    """With a wanted size both size controls are advised; without one, only the width."""
    nodes = np.stack([205 * U, 145 * V], axis=-1)
    found = {item.control.id: item for item in advised(nodes, (400.0, 300.0)).corrections}
    assert set(found) == {"h-size", "v-size"}
    assert (found["h-size"].way.do, found["v-size"].way.do) == ("narrower", "taller")
    assert found["h-size"].amount == pytest.approx(10, abs=1e-5)
    assert found["v-size"].amount == pytest.approx(-10, abs=1e-5)
    # Without one the height is right as it is, and 290 * 4/3 is 386.67.
    alone = advised(nodes).corrections
    assert [item.control.id for item in alone] == ["h-size"]
    assert alone[0].amount == pytest.approx(410 - 290 * 4 / 3, abs=1e-5)


def test_a_right_picture_and_small_errors_need_nothing() -> None:
    """Where all errors are within tolerance nothing is advised, and the summary says so."""
    for nodes in (RIGHT, RIGHT + off("x", "1", 0.3) + off("x", "uv2", 0.5) + off("y", "uv", 0.5)):
        found = advised(nodes)
        assert not found.corrections
        assert "Nothing to adjust" in summary_of(found)


def test_small_bends_that_add_up_at_one_edge_are_advised() -> None:
    """Pincushion and bow of 0.23 % of the height each, less than is advised alone, bend the top edge by 0.47 %; where
    they are half of that, or bend different edges, nothing is advised."""
    # The picture is 300 mm high: by hand, 0.7 mm of a term bend an edge by 0.23 %.
    bow, pincushion = off("y", "u2", 0.7), off("y", "u2v", 0.7)
    assert {item.control.id for item in advised(RIGHT + bow + pincushion).corrections} == {
        "v-bow",
        "top-bottom-pincushion",
    }
    assert not advised(RIGHT + (bow + pincushion) / 2).corrections
    assert not advised(RIGHT + bow + off("x", "uv2", 0.7)).corrections


def test_what_is_not_sure_is_not_advised() -> None:
    """An error that its uncertainty could explain is not advised on."""
    nodes = RIGHT + off("x", "1", 5) + off("x", "v2", 4)
    moved = [grid(nodes + np.array([3.0, 0.0]))]
    found = advise(measure_geometry(grid(nodes), ASPECT, moved))
    assert [item.control.id for item in found.corrections] == ["h-bow"]


def test_advice_is_in_the_order_of_work_and_what_remains_shrinks() -> None:
    """The yoke comes before linearity, that before pincushion, size and place; the error falls to what no control
    moves (common practice, no source)."""
    parts = [off("x", "1", 6), off("x", "uv2", 6), off("y", "u2", 5), off("y", "v2", 4), off("x", "u", 7)]
    unnamed = off("y", "u2v", 0.6)
    error = sum(parts) + unnamed
    found = advised(RIGHT + error)
    order = [item.control.id for item in found.corrections]
    assert order == ["v-bow", "v-linearity", "side-pincushion", "h-size", "h-centre"]
    effects = sorted((item.effect for item in found.corrections), reverse=True)
    assert effects == pytest.approx(sorted((rms(part) for part in parts), reverse=True), rel=0.01)
    remains = [item.remains for item in found.corrections if item.remains is not None]
    assert remains[-1] == pytest.approx(rms(unnamed), abs=0.05)
    assert f"{rms(error):.2f} mm" in summary_of(found)


def test_amounts_agree_with_the_figures() -> None:
    """The amounts of the advice are those of the measured figures."""
    nodes = RIGHT + off("x", "1", 6) + off("x", "uv2", 6) + off("x", "u", 5) + off("x", "v", 4)
    geometry = measure_geometry(grid(nodes), ASPECT)
    found = {item.control.id: item.amount for item in advise(geometry).corrections}
    assert found["h-centre"] == pytest.approx(geometry.figures["centre_mm.0"], abs=1e-6)
    assert found["side-pincushion"] == pytest.approx(geometry.figures["edge_sag_mm.left"], rel=0.01)
    width, height = geometry.figures["width_mm"], geometry.figures["height_mm"]
    assert found["h-size"] == pytest.approx(width - height * ASPECT, abs=1e-6)


def printed(plan: Plan, geometry: Geometry) -> list[dict[str, Any]]:
    """Its advice as JSON, in an answer about that geometry."""
    answer = replace(geometry_answer(photo_of(geometry.grid), geometry), advice=advice_of(plan))
    return list(json.loads(json.dumps(answer_json(answer)["advice"])))


def test_what_has_no_outside_control_is_for_service_with_a_caution() -> None:
    """In the JSON each piece of advice stands alone, so that the caution is in each."""
    for field, inside in (
        (off("y", "u2v", 5), True),
        (off("x", "u2", 6), True),
        (off("x", "1", 5), False),
    ):
        geometry = measure_geometry(grid(RIGHT + field), ASPECT)
        plan = advise(geometry)
        (item,) = plan.corrections
        (advice,) = advice_of(plan)
        (held,) = printed(plan, geometry)
        # Once the yoke was moved, what hangs on it is checked again.
        assert held["then_check"] == ["purity", "convergence"] * item.control.is_yoke
        assert ("Check purity and convergence again" in advice.remains) == item.control.is_yoke
        assert item.control.has_outside_control != inside
        assert advice.inside == inside
        assert ("qualified service people" in held["why"]) == inside
        assert ("lethal voltages" in held["why"]) == inside
        assert held["why"].endswith(f"{item.control.where}.")
    assert advice.why == "The picture lies 5.0 mm right of the middle between the marks."
    assert advice_title(advice) == "Horizontal centre: to the left, by 5.0 mm (± 0.1)"


def test_without_marks_only_bends_are_advised() -> None:
    """Without marks only bends are advised, in percent, and a wanted size is refused."""
    found = advised(RIGHT + off("x", "1", 6) + off("x", "uv2", 6) + off("x", "u2", 3), placed=False)
    assert [item.control.id for item in found.corrections] == ["side-pincushion"]
    assert found.corrections[0].unit == "% of picture height"
    assert found.corrections[0].amount == pytest.approx(2, abs=0.05)
    assert advice_of(found)[0].details["remains_mm"] is None
    with pytest.raises(ValueError, match="needs marks"):
        advised(RIGHT, (400.0, 300.0), placed=False)


def test_where_nothing_was_measured_nothing_is_advised() -> None:
    """A grid without nodes gets no advice, and the summary says how many nodes there were."""
    nodes = np.full_like(RIGHT, np.nan)
    assert advised(nodes).corrections == ()
    assert "0 of the grid's 221" in summary_of(advised(nodes))
    found = advise_convergence(measure_convergence(grid(nodes), ASPECT))
    assert found.corrections == ()
    assert "0 of the grid's 221" in summary_of(found)


def test_json_holds_what_was_agreed() -> None:
    """The keys of one piece of advice."""
    geometry = measure_geometry(grid(RIGHT + off("x", "1", 5)), ASPECT)
    (held,) = printed(advise(geometry), geometry)
    assert set(held) == {
        "adjust",
        "direction",
        "amount",
        "unit",
        "uncertainty",
        "why",
        "remains_mm",
        "effect_mm",
        "step",
        "then_check",
    }
    assert held["adjust"] == "Horizontal centre"
    assert held["amount"] == pytest.approx(5, abs=1e-4)
    assert held["remains_mm"] == pytest.approx(0, abs=0.08)


def converged(red: Floats, blue: Any = 0.0, **more: Any) -> Plan:
    return advise_convergence(measure_convergence(grid(RIGHT, red, blue, **more), ASPECT))


OFFSETS = [
    ("static-h", ("x", "1"), "to the left", "to the right"),
    ("static-v", ("y", "1"), "up", "down"),
    ("edges-h-spread", ("x", "u"), "inward at the left and right", "outward at the left and right"),
    ("edges-v-spread", ("y", "v"), "inward at the top and bottom", "outward at the top and bottom"),
    ("edges-h-sides", ("x", "u2"), "to the left at the left and right", "to the right at the left and right"),
    ("edges-v-ends", ("y", "v2"), "up at the top and bottom", "down at the top and bottom"),
    ("edges-h-ends", ("x", "v2"), "to the left at the top and bottom", "to the right at the top and bottom"),
    ("edges-v-sides", ("y", "u2"), "up at the left and right", "down at the left and right"),
    (
        "twist-h",
        ("x", "v"),
        "to the right at the top, to the left at the bottom",
        "to the left at the top, to the right at the bottom",
    ),
    ("twist-v", ("y", "u"), "up at the right, down at the left", "down at the right, up at the left"),
]


@pytest.mark.parametrize(("control", "term", "more", "less"), OFFSETS)
@pytest.mark.parametrize("sign", [1, -1])
def test_one_offset_is_one_convergence_control(
    control: str, term: tuple[str, str], more: str, less: str, sign: int
) -> None:
    """One offset of a gun gets one convergence control, with its direction and amount."""
    # The controls of the edges leave the middle alone, so terms are taken as they are.
    field = np.zeros((13, 17, 2))
    field[..., "xy".index(term[0])] = sign * 0.6 * TERMS[term[1]]
    plan = converged(np.zeros_like(field), field)
    (item,) = plan.corrections
    (advice,) = advice_of(plan)
    assert item.control.id == control
    assert advice.adjust.startswith("Blue ")
    assert "blue" in advice.why
    assert advice.direction == (more if sign > 0 else less)
    assert advice.amount == pytest.approx(0.6, abs=1e-5)
    assert item.remains == pytest.approx(0, abs=1e-5)
    assert advice.inside == (not item.control.has_outside_control) == (not control.startswith("static"))


def test_both_guns_are_advised_and_small_offsets_are_not() -> None:
    """Red and blue are advised separately, and offsets within tolerance are left alone."""
    red = np.stack([0.4 + 0 * U, -0.3 + 0 * U], axis=-1)
    blue = np.stack([0.05 + 0.7 * U**2, 0 * U], axis=-1)
    found = converged(red, blue)
    assert {item.gun for item in found.corrections} == {"red", "blue"}
    assert {item.control.id for item in found.corrections} == {"static-h", "static-v", "edges-h-sides"}
    # 0.05 mm of blue remains, of both guns' mean square.
    assert found.corrections[-1].remains == pytest.approx(0.05 / np.sqrt(2), abs=1e-4)
    assert not converged(0.1 * red).corrections


def test_without_marks_convergence_is_advised_in_percent() -> None:
    """Without marks the amount of convergence is in percent of the height."""
    found = converged(np.stack([0.6 + 0 * U, 0 * U], axis=-1), placed=False)
    (item,) = found.corrections
    assert item.unit == "% of picture height"
    assert item.amount == pytest.approx(0.2, abs=1e-3)
    assert advice_of(found)[0].details["remains_mm"] is None


@pytest.mark.parametrize("control", [*GEOMETRY_CONTROLS, *CONVERGENCE_CONTROLS], ids=lambda control: control.id)
def test_every_control_has_whole_words(control: Control) -> None:
    """Each control has a sentence and an action for both of its directions."""
    for way in (control.more, control.less):
        seen = way.seen.format(amount="1.00 mm", gun="red")
        assert seen.endswith(".")
        assert "1.00 mm" in seen
        assert way.do


def test_every_term_belongs_to_one_control() -> None:
    """Each term of the geometry belongs to exactly one control, and no id is used twice."""
    told = [term for control in GEOMETRY_CONTROLS for term in control.terms]
    assert sorted(told) == sorted((axis, term) for axis in "xy" for term in TERMS)
    for controls in (GEOMETRY_CONTROLS, CONVERGENCE_CONTROLS):
        assert len({control.id for control in controls}) == len(controls)
    assert all(control.group in ("static", "edges", "twist") for control in CONVERGENCE_CONTROLS)
