"""What a photograph shows in which no grid can be measured: too dark, a part of the picture, another pattern."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.raster.grid import ShownGrid
from analysis.raster.lattice.counting import GridError
from analysis.raster.lattice.crossings import find_lattice

__all__ = ["FewLinesError", "cause_of"]

Singles = NDArray[np.float32]

_TOO_DARK = 0.03
"""Linear light of the brightest parts below which a grid drowns in noise."""
_LIT = 0.25
"""Share of the brightest parts' light from which a place is lit."""
_FIELD = 0.3
"""Share of the photograph that is lit where it shows a plain field, or bars."""
_EVEN = 0.3
"""Spread of the lit parts' light over their mean, up to which a field is plain."""
_HOLES = 0.02
"""Share of the lit part that dark lines in it take at least."""
_SQUEEZED = (1.45, 2.0, 2.8)
"""How many times too low a picture is tried to be."""


class FewLinesError(GridError):
    """A part of the grid is seen."""


def cause_of(error: GridError, light: Singles, shown: ShownGrid) -> GridError:
    """The error, or a more exact one by what else the photograph shows.

    `light` is a reduced photograph in linear light, (rows, columns, 3).
    """
    bright = float(np.percentile(light.max(axis=2), 99.8))
    if bright < _TOO_DARK:
        return GridError(
            f"the photograph is too dark: its brightest parts have {100 * bright:.1g} % of full light; expose longer, "
            "by whole frames of the picture"
        )
    lit = light.max(axis=2) > _LIT * bright
    if lit.mean() > _FIELD:
        return _bright(error, light, lit)
    squeezed = _squeezed(light.mean(axis=2), shown)
    if squeezed is not None:
        return GridError(
            f"the picture is only about {100 * squeezed:.0f} % as high as it should be for its width: set vertical "
            "size first; where it cannot be set, the vertical deflection has a fault"
        )
    if isinstance(error, FewLinesError):
        return FewLinesError(
            f"{error}; a shutter that is open for less than a field shows a part of the picture only: expose for whole "
            "frames, as 1/30 s (60 Hz) or 1/25 s (50 Hz)",
            helps=error.helps,
        )
    return error


def _bright(error: GridError, light: Singles, lit: NDArray[np.bool_]) -> GridError:
    """What a photograph shows of which a good part is lit."""
    whole = cv2.morphologyEx(lit.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((31, 31), np.uint8)) > 0
    if float((whole & ~lit).sum() / whole.sum()) > _HOLES:
        return GridError("the ground is as bright as the lines; bright ones on black are measured, as crosshatch has")
    some = light[cv2.erode(lit.astype(np.uint8), np.ones((9, 9), np.uint8)) > 0]
    is_plain = some.size and float((some.std(axis=0) / some.mean(axis=0).max()).max()) < _EVEN
    seen = "a plain field" if is_plain else "bars or another bright pattern"
    expected = str(error) if "no grid" in str(error) else "no grid is seen"
    return GridError(f"{expected}. It seems to show {seen}: show crosshatch, and photograph again", helps=("pattern",))


def _squeezed(light: Singles, shown: ShownGrid) -> float | None:
    """The share of its right height that a picture has whose grid is seen once it is stretched; None of others."""
    columns, rows = len(shown.u) - 1, len(shown.v) - 1
    for times in _SQUEEZED:
        tall = cv2.resize(light, None, fx=1.0, fy=times, interpolation=cv2.INTER_LINEAR)
        found = find_lattice(np.asarray(tall, np.float32), 0.8 * light.shape[1] / columns, dots=shown.dots)
        if found is None:
            continue
        across, down = found.columns[1] - found.columns[0], found.rows[1] - found.rows[0]
        if across < 0.6 * columns or not 0.8 * rows <= down <= rows:
            continue
        middle = np.array([sum(found.columns) / 2, sum(found.rows) / 2])
        steps = [found.places(*(middle[:, None] + [[-half[0], half[0]], [-half[1], half[1]]])) for half in _HALVES]
        wide, high = (float(np.hypot(*np.diff(step, axis=0)[0])) for step in steps)
        share = high / times / wide
        if share < _TOO_LOW:
            return share
    return None


_HALVES = ((0.5, 0.0), (0.0, 0.5))
_TOO_LOW = 0.8
"""Height of a cell over its width below which the picture has not its height."""
