"""A plain field over the visible area as a map of cells, with its colour, and what of it is smooth.

Colour is the camera's: its linear R, G, B are taken as those of sRGB. That is far from a colorimeter's answer, but the
same everywhere in the picture, so that differences mean something.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.statistics import MAD_TO_SIGMA
from analysis.uniformity.area import LitArea
from analysis.uniformity.light import Light, SmallLight
from patterns.standards.colour import SRGB_TO_XYZ

__all__ = [
    "CURVE_UNCERTAINTY",
    "FieldMap",
    "chromaticity",
    "colour_word",
    "field_map",
    "luminance",
    "smooth_surface",
    "surface_terms",
]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

CURVE_UNCERTAINTY = 0.1
"""Relative uncertainty of every difference: a camera's curve is steeper or flatter than sRGB's by so much (common
practice, no source)."""
ROWS = 90
"""Of cells over the visible area: a multiple of the zones' and fine enough for a blotch of 3 % of the height."""
_CELL_BLUR = 0.6
"""Standard deviation of the filter before cells are taken, in cells: of a pattern as fine as a cell, which would give
moire, a thousandth is left."""
_WHOLE = 0.99
"""How far a cell's middle has to lie in the lit area, of 1."""
_GLARE = 0.3
"""Clipped share of a cell from which it shows something brighter than the field."""
_LEAST = 1e-6
"""Linear light below which there is none: keeps ratios and logarithms finite."""

_TO_XYZ: Floats = np.array([[float(value) for value in row] for row in SRGB_TO_XYZ.value])


@dataclass(frozen=True, eq=False, kw_only=True)
class FieldMap:
    """Linear light in cells of equal size in u and v."""

    light: Floats
    """(rows, columns, 3), above 0."""
    valid: Bools
    """(rows, columns): cells that lie wholly in the lit area, clear of its edge."""
    clipped: Floats
    """(rows, columns): share of clipped pixels."""
    u: Floats
    """(columns,): middles of the cells."""
    v: Floats
    """(rows,)."""

    @property
    def plain(self) -> Bools:
        """(rows, columns): the valid cells without glare, as a lamp's reflection leaves."""
        return self.valid & (self.clipped < _GLARE)


def field_map(small: SmallLight, area: LitArea, light: Light) -> FieldMap:
    """The map of `light`, which is `small`'s after corrections."""
    # The zones' five columns have to fall on whole cells.
    columns = 5 * max(6, min(90, round(ROWS / 5 * area.aspect)))
    u, v = _middles(columns), _middles(ROWS)
    over = np.stack([*np.meshgrid(u, v), np.ones((len(v), len(u)))], axis=-1) @ area.to_photo.T
    at = small.to_small(over[..., :2] / over[..., 2:]).astype(np.float32)
    reach = _CELL_BLUR * float(np.linalg.norm(at[ROWS // 2, 1:] - at[ROWS // 2, :-1], axis=-1).mean())

    def mapped(values: NDArray[Any]) -> Floats:
        there = cv2.remap(values, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
        return np.asarray(there, np.float64)

    def blurred(values: NDArray[Any]) -> NDArray[Any]:
        return np.asarray(cv2.GaussianBlur(values, (0, 0), reach, borderType=cv2.BORDER_CONSTANT))

    clear = area.clear.astype(np.float32)
    # Only what is lit has a say, or cells at the rim would be darkened.
    weight = np.maximum(blurred(clear), 1e-6)
    return FieldMap(
        light=np.maximum(mapped(blurred(light * clear[..., None]) / weight[..., None]), _LEAST),
        valid=mapped(clear) > _WHOLE,
        clipped=mapped(blurred(small.clipped * clear) / weight),
        u=u,
        v=v,
    )


def _middles(count: int) -> Floats:
    return (np.arange(count) + 0.5) * 2 / count - 1


def luminance(light: Floats, own: int | None) -> Floats:
    """(...) of (..., 3): Y of the camera's colour, or of a coloured field the light in its own channel."""
    return np.asarray(light @ _TO_XYZ[1] if own is None else light[..., own], np.float64)


def chromaticity(light: Floats) -> Floats:
    """(..., 2): u', v' (CIE 1976) of linear sRGB (..., 3)."""
    xyz = light @ _TO_XYZ.T
    return np.asarray(xyz[..., :2] * [4, 9] / (xyz @ [1, 15, 3])[..., None], np.float64)


def colour_word(ratio: Floats) -> str:
    """In which direction the colour differs where the three channels have changed by these factors."""
    change = np.log(np.maximum(ratio, _LEAST))
    change = change - change.mean()
    channel = int(np.argmax(np.abs(change)))
    more, less = ("redder", "greener", "bluer"), ("more cyan", "more magenta", "yellower")
    return (more if change[channel] > 0 else less)[channel]


def surface_terms(field: FieldMap, degree: int) -> Floats:
    """(rows, columns, terms): products of Legendre polynomials of u and v up to a degree."""
    legendre = np.polynomial.legendre.legvander
    across, down = legendre(field.u, degree), legendre(field.v, degree)
    pairs = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    return np.stack([np.outer(down[:, j], across[:, i]) for i, j in pairs], axis=-1)


def smooth_surface(values: Floats, valid: Bools, terms: Floats) -> Floats:
    """(rows, columns): the surface through most of the valid cells; what departs from it locally has no say."""
    # Every other cell is enough for so few terms.
    thin = np.s_[::2, ::2]
    known, wanted = terms[thin][valid[thin]], values[thin][valid[thin]]
    weights = np.ones(len(wanted))
    found: Floats = np.zeros(terms.shape[-1])
    for _ in range(12):
        weighed = known * weights[:, None]
        found = np.asarray(np.linalg.solve(weighed.T @ known, weighed.T @ wanted), np.float64)
        rest = wanted - known @ found
        spread = MAD_TO_SIGMA * float(np.median(np.abs(rest))) + 1e-12
        # Tukey's biweight with its usual constant.
        weights = np.maximum(1 - (rest / (4.685 * spread)) ** 2, 0) ** 2
    return np.asarray(terms @ found, np.float64)
