"""Colour computations, and the only place for them: equations of CIE 15, CIE 142, Ohno (2013), SMPTE RP 177, BT.1886.

They are written out here, since importing colour-science takes longer than all else that `measure grey` does; the tests
compare every one with colour-science, which is loaded by tests alone.

All take arrays whose last axis holds the components, and keep the axes before it. XYZ is in cd/m2 unless said
otherwise; xy is CIE 1931, u'v' CIE 1976.
"""

from __future__ import annotations

import functools
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.meter.observer import COLOUR_MATCHING, WAVELENGTHS
from patterns.standards.colour import REFERENCE_GAMMA

__all__ = [
    "bt1886",
    "cct_duv",
    "delta_e_2000",
    "delta_uv",
    "lab_of",
    "rgb_matrix",
    "spectral_locus",
    "uv_of",
    "xy_of",
    "xyz_of",
]

Floats = NDArray[np.float64]

MOST_DUV = 0.05
"""Further from the Planckian locus a colour temperature means nothing (CIE 15, from memory)."""
CCT_RANGE = (1000.0, 100_000.0)
"""Kelvin between which the Planckian locus is searched; the ends of Ohno's own paper are alike."""
_NODES = 400
"""Temperatures of the locus that a colour is compared with first; the nearest is then refined."""
_REFINED = 4
_SECOND_RADIATION = 1.4388e-2
"""m K: c2 of Planck's law as ITS-90 has it, which CIE 15 uses for temperatures of colour."""


def _floats(values: Any) -> Floats:
    return np.asarray(values, dtype=np.float64)


def xy_of(xyz: ArrayLike) -> Floats:
    """Chromaticity (..., 2) of XYZ (..., 3); NaN where all of it is nothing."""
    xyz = _floats(xyz)
    total = xyz.sum(axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return _floats(np.where(total > 0, xyz[..., :2] / total, np.nan))


def xyz_of(xy: ArrayLike, luminance: ArrayLike = 1.0) -> Floats:
    """XYZ (..., 3) of chromaticity (..., 2) and luminance (...); y has to be above 0."""
    xy = _floats(xy)
    light = _floats(luminance)
    x, y = xy[..., 0], xy[..., 1]
    return np.stack(np.broadcast_arrays(light * x / y, light, light * (1 - x - y) / y), axis=-1)


def uv_of(xy: ArrayLike) -> Floats:
    """u'v' (..., 2) of xy (..., 2): CIE 15."""
    xy = _floats(xy)
    return np.stack([4 * xy[..., 0], 9 * xy[..., 1]], axis=-1) / (3 - 2 * xy[..., :1] + 12 * xy[..., 1:])


def delta_uv(xy: ArrayLike, other: ArrayLike) -> Floats:
    """Distance (...) in u'v' between two chromaticities (..., 2)."""
    return _floats(np.linalg.norm(uv_of(xy) - uv_of(other), axis=-1))


def cct_duv(xy: ArrayLike) -> Floats:
    """Correlated colour temperature in kelvin and Duv, (..., 2), of xy (..., 2), as Ohno (2013) defines them.

    The temperature is that of the nearest point of the Planckian locus in CIE 1960 uv, and Duv the distance from it,
    positive above the locus (greenish). Both are NaN where the colour lies more than `MOST_DUV` off the locus or beyond
    `CCT_RANGE`, where neither means anything.
    """
    xy = _floats(xy)
    flat = xy.reshape(-1, 2)
    found = np.full(flat.shape, np.nan)
    known = np.isfinite(flat).all(axis=-1) & (flat[:, 1] > 0)
    if known.any():
        found[known] = _nearest_on_locus(uv_of(flat[known]) * _UV_1960)
    low, high = CCT_RANGE
    with np.errstate(invalid="ignore"):
        means = (np.abs(found[:, 1]) <= MOST_DUV) & (found[:, 0] > low) & (found[:, 0] < high)
    found[~means] = np.nan
    return found.reshape(xy.shape)


_UV_1960 = np.array([1.0, 2 / 3])
"""From u'v' of 1976 to uv of 1960."""


def _planckian(kelvin: Floats) -> Floats:
    """CIE 1960 uv (..., 2) of Planckian radiators (...)."""
    metres = WAVELENGTHS * 1e-9
    light = metres**-5 / np.expm1(_SECOND_RADIATION / (metres * kelvin[..., None]))
    return np.asarray(uv_of(xy_of(light @ COLOUR_MATCHING)) * _UV_1960)


@functools.cache
def _locus() -> tuple[Floats, Floats]:
    """The logarithms of temperatures from one end of `CCT_RANGE` to the other, and their uv."""
    coldest, hottest = np.log(CCT_RANGE)
    nodes = np.linspace(coldest, hottest, _NODES)
    return nodes, _planckian(np.exp(nodes))


def _nearest_on_locus(uv: Floats) -> Floats:
    """Kelvin and Duv (n, 2) of the nearest point of the locus to uv (n, 2)."""
    nodes, locus = _locus()
    away = ((uv[:, None] - locus) ** 2).sum(axis=-1)
    at = np.clip(away.argmin(axis=1), 1, _NODES - 2)
    step, middle = float(nodes[1] - nodes[0]), nodes[at]
    for _ in range(_REFINED):
        # The square of the distance is nearly a parabola over so short a way; each time it is drawn ten times closer.
        around = middle[:, None] + step * np.array([-1.0, 0.0, 1.0])
        low, here, high = ((uv[:, None] - _planckian(np.exp(around))) ** 2).sum(axis=-1).T
        bend = low - 2 * here + high
        shift = np.where(bend > 0, 0.5 * (low - high) / np.where(bend > 0, bend, 1), 0)
        middle = np.clip(middle + step * np.clip(shift, -1, 1), nodes[0], nodes[-1])
        step /= 10
    way = uv - _planckian(np.exp(middle))
    # The locus goes to the left, to smaller u, as it gets hotter, so that above it is the side of larger v.
    return np.stack([np.exp(middle), np.copysign(np.hypot(*way.T), way[:, 1])], axis=-1)


def lab_of(xyz: ArrayLike, white: ArrayLike) -> Floats:
    """CIE 1976 L*a*b* (..., 3) of XYZ (..., 3), against the white's XYZ (3,) in the same unit (CIE 15)."""
    share = _floats(xyz) / _floats(white)
    root = np.where(share > _KNEE**3, np.cbrt(share), share / (3 * _KNEE**2) + 4 / 29)
    x, y, z = np.moveaxis(root, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


_KNEE = 6 / 29


def delta_e_2000(xyz: ArrayLike, other: ArrayLike, white: ArrayLike) -> Floats:
    """CIEDE2000 difference (...) of two XYZ (..., 3), both against the white's XYZ (3,); k_L, k_C, k_H are 1."""
    return _ciede2000(lab_of(xyz, white), lab_of(other, white))


def _ciede2000(one: Floats, other: Floats) -> Floats:
    """CIEDE2000 (...) between two L*a*b* (..., 3): CIE 142, in the form of Sharma, Wu and Dalal (2005)."""
    chroma = (np.hypot(one[..., 1], one[..., 2]) + np.hypot(other[..., 1], other[..., 2])) / 2
    g = 0.5 * (1 - np.sqrt(chroma**7 / (chroma**7 + 25.0**7)))
    (light1, c1, h1), (light2, c2, h2) = (_lch((1 + g), lab) for lab in (one, other))
    coloured = c1 * c2 > 0
    turn = np.where(coloured, (h2 - h1 + 180) % 360 - 180, 0)
    # Half a turn is taken as plus 180, as the paper's case of "at most 180" has it.
    turn = np.where(coloured & (turn == -180) & (h2 > h1), 180, turn)
    far = np.abs(h1 - h2) > 180
    hue = np.where(coloured, (h1 + h2) / 2 + np.where(far, np.where(h1 + h2 < 360, 180, -180), 0), h1 + h2)
    light, c = (light1 + light2) / 2, (c1 + c2) / 2
    t = 1 - 0.17 * _cos(hue - 30) + 0.24 * _cos(2 * hue) + 0.32 * _cos(3 * hue + 6) - 0.20 * _cos(4 * hue - 63)
    of_light = (light2 - light1) / (1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2))
    of_chroma = (c2 - c1) / (1 + 0.045 * c)
    of_hue = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2)) / (1 + 0.015 * c * t)
    rotation = -2 * np.sqrt(c**7 / (c**7 + 25.0**7)) * np.sin(np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2))))
    squares = of_light**2 + of_chroma**2 + of_hue**2 + rotation * of_chroma * of_hue
    return np.asarray(np.sqrt(np.maximum(squares, 0)))


def _lch(stretch: Floats, lab: Floats) -> tuple[Floats, Floats, Floats]:
    """Lightness, chroma and hue in degrees from 0 to 360, of L*a*b* whose a* is stretched."""
    a = stretch * lab[..., 1]
    return lab[..., 0], np.hypot(a, lab[..., 2]), np.degrees(np.arctan2(lab[..., 2], a)) % 360


def _cos(degrees: Floats) -> Floats:
    return np.asarray(np.cos(np.radians(degrees)))


def bt1886(level: ArrayLike, white: float, black: float) -> Floats:
    """Luminance in cd/m2 of levels (0 black, 1 white), for the luminances of white and black (ITU-R BT.1886, annex 1).

    Black has to be 0 or more and below white.
    """
    root = white ** (1 / _BT1886_GAMMA) - black ** (1 / _BT1886_GAMMA)
    lift = black ** (1 / _BT1886_GAMMA) / root
    return np.asarray(root**_BT1886_GAMMA * np.maximum(_floats(level) + lift, 0) ** _BT1886_GAMMA)


_BT1886_GAMMA = float(REFERENCE_GAMMA.value)


def rgb_matrix(primaries: ArrayLike, white: ArrayLike) -> Floats:
    """The matrix (3, 3) from linear R, G, B to XYZ with Y 1 at R = G = B = 1 (SMPTE RP 177).

    `primaries` (3, 2) are the xy of red, green and blue, `white` (2,) the xy that equal parts make. The middle row
    holds the guns' shares of the luminance; one is negative where the white lies outside the triangle.

    Raises:
        ValueError: the primaries lie on one line.
    """
    primaries = _floats(primaries)
    sides = primaries[1:] - primaries[0]
    if abs(sides[0, 0] * sides[1, 1] - sides[0, 1] * sides[1, 0]) < _LEAST_AREA:
        raise ValueError("the three primaries lie on one line, and so make no other colour")
    columns = xyz_of(primaries).T
    return _floats(columns * np.linalg.solve(columns, xyz_of(white)))


def spectral_locus() -> tuple[Floats, Floats]:
    """Wavelengths (n,) in nm, and the xy (n, 2) of their colours, from violet to red (CIE 1931 observer)."""
    seen = (WAVELENGTHS >= _VIOLET) & (WAVELENGTHS <= _RED)
    return WAVELENGTHS[seen], xy_of(COLOUR_MATCHING[seen])


_VIOLET, _RED = 410, 700
"""nm: beyond, colours do not change any more, and their figures are rounded."""
_LEAST_AREA = 1e-4
"""Of the triangle's double area in xy; that of BT.709 is 0.22."""
