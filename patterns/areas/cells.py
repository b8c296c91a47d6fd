"""How many cells a grid has, and how equal and square they are: whole samples cannot always make them so.

A grid's outer lines lie on the picture's edge and every line on whole samples. So its cells are equal only where the
counts of columns and rows divide the picture's width and height, and square only where they have its aspect.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import log

from patterns.formats import Format
from patterns.placement import snap
from patterns.scene import Scene

__all__ = ["CELL_TOLERANCE", "CellErrors", "default_cells", "drawn_cells"]

CELL_TOLERANCE = Fraction(1, 1000)
"""Cells that differ by less are equal, and square; no set is adjusted as closely. Common practice, no source."""
_USUAL, _USUAL_WIDE = 12, 18
"""Cells along the shorter side: 16 x 12 on 4:3, 32 x 18 on 16:9. Common practice, no source."""
_WIDE = Fraction(17, 10)
_ODD = 0.2
"""What an odd count costs beside distance from the usual one (natural logarithm): it has no line in the middle."""
_LEAST_ROWS = 9
"""Of a grid whose cells cannot be equal squares: coarser ones come nearer to it, but show less."""
_LEAST_SIDE = 4
"""Samples of a cell; with fewer there is nothing but line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CellErrors:
    """How far the cells of a drawn grid are from equal squares. Shares: 0.01 is 1 %."""

    columns: int
    rows: int
    widths: Fraction
    """Largest deviation of a cell's width from the mean width."""
    heights: Fraction
    """Largest deviation of a cell's height from the mean height."""
    square: Fraction
    """Mean width over mean height on the glass, less 1: above 0 the cells are too wide."""

    @property
    def worst(self) -> Fraction:
        """The largest of the three."""
        return max(self.widths, self.heights, abs(self.square))

    @property
    def are_equal_squares(self) -> bool:
        """Whether all three are within `CELL_TOLERANCE`."""
        return self.worst <= CELL_TOLERANCE


def default_cells(fmt: Format, times: int = 1) -> tuple[int, int]:
    """Columns and rows of the usual grid, or of one `times` as fine.

    Equal square cells near the usual count where whole samples make such cells, else the cells that are nearest to it.
    """
    return _search(fmt.picture.width, fmt.picture.height, fmt.picture_aspect, times)


@lru_cache(maxsize=256)
def _search(width: int, height: int, aspect: Fraction, times: int) -> tuple[int, int]:
    shorter = (_USUAL_WIDE if aspect >= _WIDE else _USUAL) * times
    usual = max(shorter, round(shorter / aspect))
    most_rows, most_columns = max(1, height // _LEAST_SIDE), max(1, width // _LEAST_SIDE)
    usual = min(usual, most_rows)

    def far(cells: tuple[int, int]) -> float:
        return abs(log(cells[1] / usual)) + _ODD * (cells[0] % 2 or cells[1] % 2)

    tried = [
        (min(max(1, round(aspect * rows)), most_columns), rows)
        for rows in range(max(1, usual // 2), min(usual * 3 // 2, most_rows) + 1)
    ]
    exact = [
        (columns, rows)
        for columns, rows in tried
        if width % columns == 0 and height % rows == 0 and abs(aspect * rows / columns - 1) <= CELL_TOLERANCE
    ]
    if exact:
        return min(exact, key=far)
    shown = [cells for cells in tried if cells[1] >= min(_LEAST_ROWS * times, usual)]
    return min(shown, key=lambda cells: (_errors(width, height, aspect, cells).worst, far(cells)))


def _errors(width: int, height: int, aspect: Fraction, cells: tuple[int, int]) -> CellErrors:
    columns, rows = cells

    def uneven(size: int, count: int) -> Fraction:
        places = [snap(Fraction(i, count), size) for i in range(count + 1)]
        mean = Fraction(size, count)
        return max(abs((b - a) / mean - 1) for a, b in itertools.pairwise(places))

    square = aspect * rows / columns - 1
    return CellErrors(
        columns=columns, rows=rows, widths=uneven(width, columns), heights=uneven(height, rows), square=square
    )


def drawn_cells(fmt: Format, scene: Scene) -> CellErrors | None:
    """The cells of a scene's grid of lines as they are drawn in a format, or of its dots; None where it has neither."""
    places = scene.nodes or scene.dots
    if not places:
        return None
    columns, rows = (max(each) for each in zip(*((place.column, place.row) for place in places), strict=True))
    if scene.nodes:
        return _errors(fmt.picture.width, fmt.picture.height, fmt.picture_aspect, (columns, rows))
    # Dots are round and drawn where they belong, between samples too; there is none on the picture's edge.
    columns, rows = columns + 1, rows + 1
    square = fmt.picture_aspect * rows / columns - 1
    return CellErrors(columns=columns, rows=rows, widths=Fraction(0), heights=Fraction(0), square=square)
