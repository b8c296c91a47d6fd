"""The cells of grids: counted and measured in files that Pillow decodes, and compared with what is said of them.

A cell is equal to its like and square on the glass within 0.1 %, or the tool says by how much it is not. Sample aspects
of the named formats are those of ISO/IEC 14496-2 Table 6-12 for 704 samples; a free raster has square samples.
"""

from __future__ import annotations

import itertools
import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from analysis.raster.geometry.figures import measure_geometry
from analysis.raster.grid import GlassGrid, ShownGrid
from patterns.areas.cells import default_cells, drawn_cells
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, Format, parse_format
from patterns.pattern import Options
from render.carriers import CARRIERS
from render.produce import Order, produce
from tests.command import call
from tests.matrix import quick_and_slow
from trueraster.options.cells import cells_words

WIDE = Fraction(16, 9)
SAMPLE_ASPECT = {
    (480, Fraction(4, 3)): Fraction(10, 11),
    (480, WIDE): Fraction(40, 33),
    (576, Fraction(4, 3)): Fraction(12, 11),
    (576, WIDE): Fraction(16, 11),
    # Half the lines, so a line is twice as high.
    (240, Fraction(4, 3)): Fraction(5, 11),
    (240, WIDE): Fraction(20, 33),
    (288, Fraction(4, 3)): Fraction(6, 11),
    (288, WIDE): Fraction(8, 11),
    (720, WIDE): Fraction(1),
    (1080, WIDE): Fraction(1),
}
FREE = [
    "256x224",
    "320x240",
    "384x288",
    "512x384",
    "640x350",
    "640x400",
    "640x480",
    "640x481",
    "640x512",
    "704x480",
    "720x348",
    "720x400",
    "768x576",
    "768x1024",
    "800x600",
    "832x624",
    "848x480",
    "853x480",
    "853x481",
    "854x480",
    "960x540",
    "1024x576",
    "1024x600",
    "1024x768",
    "1024x1024",
    "1152x864",
    "1280x768",
    "1280x800",
    "1280x960",
    "1280x1024",
    "1360x768",
    "1366x768",
    "1400x1050",
    "1440x900",
    "1600x900",
    "1600x1200",
    "1680x1050",
    "1920x1200",
    "2048x1536",
    "2560x1080",
    "3840x2160",
]
SD = [name for name, fmt in FORMATS.items() if fmt.width == 720]
CASES = [*((name, None) for name in FORMATS), *((name, WIDE) for name in SD), *((f"{size}@60", None) for size in FREE)]
QUICK = [("480i", None), ("576i", WIDE), ("480i", WIDE), ("1366x768@60", None), ("1680x1050@60", None)]
EVERY_CASE = pytest.mark.parametrize(
    ("name", "aspect"), quick_and_slow(QUICK, [case for case in CASES if case not in QUICK])
)


def drawn(fmt: Format, pattern: str, folder: Path) -> NDArray[np.uint8]:
    """(rows, columns) of a pattern's PNG, decoded by Pillow."""
    png = CARRIERS["png"]
    order = Order(
        pattern=PATTERNS[pattern], options=Options(), format=fmt, signal=png.signal(fmt), carrier=png, seconds=None
    )
    with Image.open(produce(order, folder / f"{pattern}.png").path) as image:
        return np.asarray(image)[:, :, 1]


def lines_in(picture: NDArray[np.uint8], axis: int) -> list[tuple[Fraction, Fraction]]:
    """For each line that is bright from end to end: where its middle lies as it was meant, and as it is seen.

    They differ for a line that the raster's edge cuts in half: it was meant to have its middle on the edge.
    """
    bright = np.flatnonzero((picture > 127).sum(axis=axis) >= (picture > 127).sum(axis=axis).max())
    last = picture.shape[1 - axis]
    found = []
    for run in np.split(bright, np.flatnonzero(np.diff(bright) > 1) + 1):
        first, end = int(run[0]), int(run[-1]) + 1
        meant = Fraction(0) if first == 0 else Fraction(last) if end == last else Fraction(first + end, 2)
        found.append((meant, Fraction(first + end, 2)))
    return found


def sample_aspect(fmt: Format) -> Fraction:
    return SAMPLE_ASPECT[fmt.height, fmt.picture_aspect] if fmt.id in FORMATS else Fraction(1)


@EVERY_CASE
def test_cells_in_the_file_are_equal_and_square_or_reported(name: str, aspect: Fraction | None, tmp_path: Path) -> None:
    """Of each grid, coarse and fine: the measured errors are those that are stated, and none is kept quiet."""
    fmt = parse_format(name, aspect)
    for pattern in ("crosshatch", "crosshatch-fine"):
        picture = drawn(fmt, pattern, tmp_path)
        sizes, counts = [], []
        for axis in (0, 1):
            meant = [at for at, _ in lines_in(picture, axis)]
            sizes.append([float(b - a) for a, b in itertools.pairwise(meant)])
            counts.append(len(meant) - 1)
        means = [float(np.mean(each)) for each in sizes]
        uneven = [float(np.max(np.abs(np.array(each) / mean - 1))) for each, mean in zip(sizes, means, strict=True)]
        square = means[0] * float(sample_aspect(fmt)) / means[1] - 1
        scene = PATTERNS[pattern].scene(fmt)
        stated = drawn_cells(fmt, scene)
        assert stated is not None
        assert [stated.columns, stated.rows] == counts
        assert [float(e) for e in (stated.widths, stated.heights, stated.square)] == pytest.approx(
            [*uneven, square], abs=1e-9
        )
        # 0.1 % is the figure of the requirement.
        is_good = max(*uneven, abs(square)) <= 0.001
        assert bool(cells_words(fmt, scene)) is not is_good, pattern


@pytest.mark.parametrize(("name", "aspect"), CASES)
def test_default_grid_is_equal_squares_wherever_one_is_near(name: str, aspect: Fraction | None) -> None:
    """Where a grid of half to one and a half times the usual rows has equal squares, the default one has; fine too.

    Trial division by hand over every count of columns and rows is the other way to find them.
    """
    fmt = parse_format(name, aspect)
    width, height, shape = fmt.picture.width, fmt.picture.height, fmt.picture_aspect
    for times in (1, 2):
        usual = (18 if shape >= Fraction(17, 10) else 12) * times
        usual = usual if shape >= 1 else round(usual / shape)
        equal = [
            (columns, rows)
            for rows in range(usual // 2, usual * 3 // 2 + 1)
            for columns in range(1, width // 4 + 1)
            if height % rows == 0 and width % columns == 0 and abs(shape * rows / columns - 1) <= Fraction(1, 1000)
        ]
        cells = default_cells(fmt, times)
        assert (cells in equal) is bool(equal), (cells, equal)
    coarse, fine = default_cells(fmt), default_cells(fmt, 2)
    assert fine > coarse


def test_usual_grids_stay() -> None:
    """480i 4:3 keeps 16 x 12 cells of 44 x 40; so do all named formats whose usual grid is right."""
    for fmt in FORMATS.values():
        assert default_cells(fmt) == ((16, 12) if fmt.picture_aspect == Fraction(4, 3) else (32, 18))
    assert default_cells(parse_format("576i", WIDE)) == (32, 18)


def test_uneven_cells_of_the_file_are_not_the_sets(tmp_path: Path) -> None:
    """A set that shows 480i 16:9 without an error has none in the figures, though the file's cells are uneven.

    The crossings are those of the decoded file on a flat face of 400 by 225 mm: hand arithmetic.
    """
    fmt = parse_format("480i", WIDE)
    picture = drawn(fmt, "crosshatch", tmp_path)
    xs, ys = ([float(seen) for _, seen in lines_in(picture, axis)] for axis in (0, 1))
    heights = np.diff(ys[1:-1])
    assert heights.max() > heights.min() + 0.5, "the cells of the file are to be uneven"
    x = (np.array(xs) - 360) / 704 * 400
    y = (np.array(ys) - 240) / 480 * 225
    nodes = np.stack(np.meshgrid(x, y), axis=-1)
    shown = ShownGrid.of(PATTERNS["crosshatch"].scene(fmt))
    assert shown is not None
    nothing = np.full((len(ys), 2, 2), np.nan), np.full((len(xs), 2, 2), np.nan)
    grid = GlassGrid(
        shown=shown,
        nodes=np.stack([nodes] * 3),
        sigma=np.full((3, *nodes.shape), 1e-4),
        level_ends=nothing[0],
        upright_ends=nothing[1],
    )
    figures = measure_geometry(grid, 16 / 9).figures
    for name in ("linearity_h_percent", "linearity_v_percent", "aspect_error_percent"):
        value = figures[name]
        assert value is not None
        assert abs(value) < 0.01, name


def test_draw_says_how_far_the_cells_are_off(tmp_path: Path) -> None:
    """`draw` notes uneven cells once for all kinds of file, its JSON has the figures; a good grid has no note."""
    words = ("--to", str(tmp_path), "--as", "png", "--as", "y4m", "--seconds", "0.1", "--json")
    code, out, err = call("draw", "crosshatch", "--format", "480i", "--aspect", "16:9", *words)
    assert code == 0, err
    assert err.count("the 16 x 9 cells differ in height by up to 1.25 %") == 1
    assert "is the file's, not the set's" in err
    cells = json.loads(out)["files"][0]["cells"]
    # 480 / 9 is 53.33: rows of 53 and 54 lines, 54 / 53.33 is 1.0125.
    assert (cells["columns"], cells["rows"], cells["equal_squares"]) == (16, 9, False)
    assert cells["height_error_percent"] == 1.25
    code, out, err = call("draw", "crosshatch", "bars", *words)
    assert "cells" not in err
    told = [file["cells"] for file in json.loads(out)["files"]]
    assert [each and each["equal_squares"] for each in told] == [True, True, None, None]


def test_draw_says_how_far_cells_are_from_square(tmp_path: Path) -> None:
    """Cells that were asked for are drawn, and what is not square of them is said: 8 x 8 on 4:3 is a third too wide."""
    code, _, err = call("draw", "crosshatch", "--cells", "8x8", "--as", "png", "--to", str(tmp_path))
    assert code == 0, err
    assert "the 8 x 8 cells are 33.33 % too wide for squares" in err
