"""How figures of the raster are rounded and named, and where pictures draw them. Grids are of equations."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.lens.model import Lens
from analysis.photo.file import Photo
from analysis.photo.marks import SeenMarks
from analysis.photo.plane import MarksGiven, plane_of
from analysis.raster.answer import (
    convergence_finding,
    geometry_figures,
    linearity_finding,
    missing_of,
    shape_finding,
)
from analysis.raster.backdrop import backdrop
from analysis.raster.convergence import measure_convergence
from analysis.raster.geometry.figures import NO_MARKS, Geometry, cell_errors, measure_geometry
from analysis.raster.grid import GlassGrid, SeenGrid, ShownGrid
from analysis.raster.ideal import MOST_LARGER, MOST_LARGER_GUNS, exaggeration, ideal_of, to_photo
from analysis.raster.picture import Sighting, convergence_picture, geometry_picture
from analysis.raster.placing import OnGlass
from analysis.rounding import decimals, figure, unsigned
from analysis.tables import tables_of
from trueraster.output.text import aligned

Floats = NDArray[np.float64]
Bend = Callable[[Floats, Floats], tuple[Floats, Floats]]

SHOWN = ShownGrid(u=np.linspace(-1, 1, 17), v=np.linspace(-1, 1, 13))


def grid(bend: Bend = lambda u, v: (0 * u, 0 * v), *, red: float = 0.0, placed: bool = True) -> GlassGrid:
    """A picture of 400 x 300 mm with something added in mm; red lies to the right of green."""
    u, v = np.meshgrid(SHOWN.u, SHOWN.v)
    x, y = bend(u, v)
    green = np.stack([200 * u + x, 150 * v + y], axis=-1)
    nodes = np.stack([green + np.array([red, 0]), green, green])
    return GlassGrid(
        shown=SHOWN,
        nodes=nodes,
        sigma=np.full_like(nodes, 0.005),
        level_ends=np.full((13, 2, 2), np.nan),
        upright_ends=np.full((17, 2, 2), np.nan),
        placed=placed,
    )


def measured(bend: Bend) -> Geometry:
    return measure_geometry(grid(bend), 4 / 3)


# --- Rounding ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("uncertainty", "places"),
    # By hand: to the first digit, to the second where the first is 1; never more than three.
    [
        (12.0, 0),
        (3.0, 0),
        (1.4, 1),
        (0.5, 1),
        (0.14, 2),
        (0.096, 2),
        (0.03, 2),
        (0.012, 3),
        (0.0002, 3),
        (None, 3),
        (0, 3),
    ],
)
def test_a_figure_has_the_digits_that_its_uncertainty_justifies(uncertainty: float | None, places: int) -> None:
    """The uncertainty decides the number of decimals, from none to three."""
    assert decimals(uncertainty) == places


@pytest.mark.parametrize(
    ("value", "places", "told"),
    [
        (1.236, 2, "+1.24"),
        (-1.236, 2, "-1.24"),
        (-0.004, 2, "0.00"),
        (0.004, 2, "0.00"),
        (None, 2, "-"),
        (3.4, 0, "+3"),
    ],
)
def test_nothing_has_no_sign(value: float | None, places: int, told: str) -> None:
    """A value that rounds to zero is written without a sign."""
    assert figure(value, places) == told
    assert unsigned(value, places) == told.removeprefix("+")


def test_points_stand_below_each_other() -> None:
    """Figures of a column are padded so that their decimal points line up."""
    assert aligned(["1.25", "-10", "+3.5", "-", ""]) == ["  1.25", "-10   ", " +3.5 ", "  -   ", "      "]
    assert aligned([]) == []


# --- Findings ---------------------------------------------------------------------------------------------------------

NOTHING: Bend = lambda u, v: (0 * u, 0 * v)  # noqa: E731


@pytest.mark.parametrize(
    ("bend", "said"),
    [
        # Sides bend by what v v moves their middles against their ends: 2 mm.
        (lambda u, v: (2 * u * v * v, 0 * v), "Pincushion: the left edge bends 2.00 ± 0.01 mm inward"),
        (lambda u, v: (-2 * u * v * v, 0 * v), "Barrel: the left edge bends 2.00 ± 0.01 mm outward"),
        (lambda u, v: (2 * v * v, 0 * v), "Bow: the left edge bends 2.00 ± 0.01 mm outward"),
        (lambda u, v: (0 * u, u * u * (v + 1)), "Uneven bends: the bottom edge bends 2.00 ± 0.01 mm inward"),
        (NOTHING, "Straight edges: none bends by more than 0.0"),
    ],
)
def test_the_bend_is_named(bend: Bend, said: str) -> None:
    """Pincushion, barrel, bow, uneven bends and straight edges are named as what they are."""
    told = shape_finding(measured(bend)).replace("right edge", "left edge")
    if "Bow" in said:
        told = told.replace("inward", "outward")
    assert told.startswith(said)


def test_linearity_is_told_by_its_largest_cell() -> None:
    """The finding gives the largest deviation of a cell, and the cells agree with hand arithmetic."""
    # 2 mm of v v: cells of 1/6 are 25 mm, the last one 2 (1 - (5/6) (5/6)) = 0.611 mm taller, 2.44 %.
    found = measured(lambda u, v: (0 * u, 2 * v * v))
    assert linearity_finding(found) == (
        "Linearity of the cells: widths equal within 0.10 %, heights up to 2.44 ± 0.01 % off their mean"
    )
    assert found.smooth is not None
    errors = cell_errors(found.smooth, SHOWN, 1)
    assert errors.shape == (12,)
    assert errors[-1] == pytest.approx(100 * 2 * 11 / 36 / 25, abs=0.01)
    assert errors.mean() == pytest.approx(0, abs=1e-9)
    assert np.abs(cell_errors(found.smooth, SHOWN, 0)).max() < 0.01


def test_convergence_is_told_by_gun_and_place() -> None:
    """The finding names each gun's offset, in millimetres with marks and in percent without."""
    told = convergence_finding(measure_convergence(grid(red=0.25), 4 / 3))
    assert told.startswith("Red lies up to 0.25 ± 0.01 mm from green")
    assert told.endswith("blue lies on green within 0.06 mm")  # two hundredths of a percent of 300 mm
    percent = convergence_finding(measure_convergence(grid(red=0.25, placed=False), 4 / 3))
    assert percent.startswith("Red lies up to 0.08 ± 0.01 % of the height from green")  # of 300 mm


def test_what_is_not_available_has_its_reason_once() -> None:
    """Figures that are not available are listed together under one reason."""
    found = measure_geometry(grid(placed=False), 4 / 3)
    # All lines are there, so overscan is known.
    (size,) = missing_of(geometry_figures(found), found.reasons)
    assert size == (
        "width of the picture, height of the picture, shape, middle, rotation, vertical lines lean, keystone, "
        f"widths of cells, heights of cells, S-shape, lengths in mm: {NO_MARKS}"
    )
    dark = grid()
    dark.nodes[:, :, 5:] = np.nan
    little = measure_geometry(dark, 4 / 3)
    (whole,) = missing_of(geometry_figures(little), little.reasons)
    assert whole.startswith("all figures: ")
    assert all(not table.rows for table in tables_of(geometry_figures(little)))


# --- Pictures ---------------------------------------------------------------------------------------------------------

MARKS = SeenMarks(
    centres=np.array([[100.0, 90.0], [1300.0, 130.0], [1280.0, 1000.0], [120.0, 960.0]]), sigma=np.full((4, 2), 0.1)
)
LENS = Lens(width=1400, height=1100, fx=1500, fy=1500, cx=700, cy=550, distortion=(-0.1, 0.0, 0.0, 0.0, 0.0))


def on_glass(lens: Lens | None, *, placed: bool) -> OnGlass:
    """The grid in a photograph by the plane of marks, 460 x 360 mm apart; with or without them."""
    plane = plane_of(MarksGiven(seen=MARKS, size_mm=(460, 360)), (1400, 1100), lens=lens)
    glass = grid(lambda u, v: (2 * u * v * v, 0 * v), red=0.25)
    # Of one lens for all guns, so that none has a fringe of its own.
    pixels = plane.to_px(glass.nodes)
    none = np.full((13, 2, 2), np.nan), np.full((17, 2, 2), np.nan)
    seen = SeenGrid(
        shown=SHOWN, nodes=pixels, sigma=np.full_like(pixels, 0.02), level_ends=none[0], upright_ends=none[1]
    )
    if placed:
        return OnGlass(seen=seen, grid=glass, doubts=(), plane=plane, warnings=())
    straight = pixels if lens is None else lens.straight(pixels)
    flat = GlassGrid(
        shown=SHOWN, nodes=straight, sigma=seen.sigma, level_ends=none[0], upright_ends=none[1], placed=False
    )
    return OnGlass(seen=seen, grid=flat, doubts=(), plane=None, warnings=())


@pytest.mark.parametrize("placed", [True, False])
@pytest.mark.parametrize("lens", [None, LENS])
def test_places_on_the_glass_are_found_in_the_photograph(lens: Lens | None, placed: bool) -> None:
    """Places on the glass are mapped back to the pixels where the nodes were seen."""
    on = on_glass(lens, placed=placed)
    ideal = ideal_of(on.grid, 1, 4 / 3)
    back = to_photo(on, ideal, lens)(ideal.nodes)
    assert np.abs(back - on.seen.nodes[1]).max() < 0.01


def test_the_ideal_grid_is_square_and_even() -> None:
    """The ideal grid has right angles, equal cells, and the picture's own centre, rotation and height."""
    turned = np.array([[np.cos(0.02), -np.sin(0.02)], [np.sin(0.02), np.cos(0.02)]])
    found = grid(lambda u, v: (0.01 * v, 0 * v))
    found.nodes[:] = found.nodes @ turned.T + [3.0, -2.0]
    ideal = ideal_of(found, 1, 4 / 3)
    assert ideal.across @ ideal.down == pytest.approx(0, abs=1e-9)
    assert ideal.centre == pytest.approx([3.0, -2.0], abs=1e-6)
    assert np.arctan2(ideal.across[1], ideal.across[0]) == pytest.approx(0.02, abs=1e-6)
    assert ideal.height == pytest.approx(300, abs=1e-3)
    assert ideal.cell == pytest.approx(25, abs=1e-3)


@pytest.mark.parametrize(("error", "factor"), [(0.0, 20), (0.05, 20), (1.0, 15), (5.0, 3), (100.0, 1)])
def test_errors_are_drawn_within_their_cell(error: float, factor: int) -> None:
    """Of 25 mm, most errors are to be no longer than 15."""
    errors = np.zeros((5, 5, 2))
    errors[..., 0] = error
    assert exaggeration(errors, 25.0, MOST_LARGER) == factor
    assert exaggeration(np.full((3, 3, 2), np.nan), 25.0, MOST_LARGER) == 1


@pytest.mark.parametrize("size", [(700, 500), (1800, 1400), (4000, 3000)])
def test_a_pixel_lies_where_the_page_says(size: tuple[int, int]) -> None:
    """A bright square of the photograph has its middle on the page where `place` puts it."""
    codes = np.zeros((size[1], size[0], 3), np.uint8)
    x, y, half = size[0] // 3, size[1] // 2, size[0] // 50
    codes[y - half : y + half + 1, x - half : x + half + 1] = 255
    seen = np.array([[0.2, 0.2], [0.8, 0.8]]) * size
    page = backdrop(Photo(Path("photograph.png"), codes), seen, None, (19, 5))
    light = np.where(page.canvas.samples[..., 0] > 60, page.canvas.samples[..., 0], 0).astype(float)
    rows, columns = np.indices(light.shape)
    middle = np.array([(light * columns).sum(), (light * rows).sum()]) / light.sum()
    assert np.abs(middle - page.place(np.array([x, y], float))).max() < 0.6
    assert 1400 <= page.canvas.size[0] <= 2401


@pytest.mark.parametrize("placed", [True, False])
def test_arrows_point_the_way_that_red_lies(placed: bool) -> None:
    """Red is 0.25 mm to the right of green: every arrow is as long as 50 times that, and its head is on the right."""
    on = on_glass(None, placed=placed)
    photo = Photo(Path("photograph.png"), np.full((1100, 1400, 3), 20, np.uint8))
    sight = Sighting(photo=photo, on=on, marks=MARKS if placed else None, lens=None, title="photograph.png")
    found = measure_convergence(on.grid, 4 / 3)
    ideal = ideal_of(on.grid, 1, 4 / 3)
    assert exaggeration(found.offsets, ideal.cell, MOST_LARGER_GUNS) == 50
    codes = np.asarray(convergence_picture(sight, found)).astype(int)
    red = (codes[..., 0] > 150) & (codes[..., 1] < 130) & (codes[..., 2] < 130)
    parts, stats = cv2.connectedComponentsWithStats(red.astype(np.uint8))[1:3]
    arrows = [i for i in range(1, len(stats)) if stats[i, cv2.CC_STAT_AREA] > 60]
    assert len(arrows) >= 17 * 13
    # In the middle of the picture, where a pixel of the photograph is a sample of the page.
    scale = backdrop(photo, on.seen.nodes[1].reshape(-1, 2), sight.marks, (19, 5)).scale
    cell = np.hypot(*(on.seen.nodes[1, 6, 9] - on.seen.nodes[1, 6, 8])) * scale
    wide = np.median(stats[arrows, cv2.CC_STAT_WIDTH])
    assert wide == pytest.approx(0.25 * 50 / 25 * cell, abs=5)
    for i in arrows[:50]:
        heights = (parts == i).sum(axis=0)
        left, width = stats[i, cv2.CC_STAT_LEFT], stats[i, cv2.CC_STAT_WIDTH]
        assert np.argmax(heights) > left + width / 2


def test_arrows_of_geometry_point_from_the_ideal_to_the_crossing() -> None:
    """The right edge's middle lies inward, so there the orange arrow points to the left."""
    on = on_glass(None, placed=True)
    photo = Photo(Path("photograph.png"), np.full((1100, 1400, 3), 20, np.uint8))
    found = measure_geometry(on.grid, 4 / 3)
    assert ideal_of(on.grid, 1, 4 / 3).errors()[6, 16, 0] < -0.5
    page = geometry_picture(Sighting(photo=photo, on=on, marks=MARKS, lens=None, title="photograph.png"), found)
    codes = np.asarray(page).astype(int)
    orange = np.abs(codes - (255, 140, 20)).max(axis=-1) < 40
    parts, stats, middles = cv2.connectedComponentsWithStats(orange.astype(np.uint8))[1:]
    # The outermost arrow of those that lie level: the others' ends are bent up and down by the perspective.
    level = [i for i in range(1, len(stats)) if stats[i, 2] > 1.5 * stats[i, 3] and stats[i, 4] > 60]
    outer = max(level, key=lambda i: middles[i, 0] - 4 * abs(middles[i, 1] - np.median(middles[level, 1])))
    heights = (parts == outer).sum(axis=0)
    assert middles[outer, 0] > 0.7 * codes.shape[1]
    assert np.argmax(heights) < stats[outer, 0] + stats[outer, 2] / 2


@pytest.mark.parametrize("draw", [geometry_picture, convergence_picture])
def test_a_photograph_of_too_little_is_shown_without_a_grid(draw: Callable[..., object]) -> None:
    """With too few nodes the photograph is still shown, without a grid over it."""
    dark = grid()
    dark.nodes[:, :, 4:] = np.nan
    pixels = np.full_like(dark.nodes, np.nan)
    seen = SeenGrid(shown=SHOWN, nodes=pixels, sigma=pixels, level_ends=dark.level_ends, upright_ends=dark.upright_ends)
    on = OnGlass(seen=seen, grid=dark, doubts=(), plane=None, warnings=())
    photo = Photo(Path("photograph.png"), np.zeros((600, 800, 3), np.uint8))
    sight = Sighting(photo=photo, on=on, marks=None, lens=None, title="photograph.png")
    measure = measure_geometry if draw is geometry_picture else measure_convergence
    image = draw(sight, measure(dark, 4 / 3))
    assert image.size[0] == 1400  # type: ignore[attr-defined]
