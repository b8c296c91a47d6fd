"""Colour computations: thin functions over colour-science, which is loaded only when one is called.

All take arrays whose last axis holds the components, and keep the axes before it. XYZ is in cd/m2 unless said
otherwise; xy is CIE 1931, u'v' CIE 1976.
"""

from __future__ import annotations

import functools
import warnings
from types import ModuleType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
"""Kelvin between which Ohno's tables of the locus are used here; the ends of his paper's own are alike."""


@functools.cache
def _colour() -> ModuleType:
    with warnings.catch_warnings():
        # It warns of packages that it can do without.
        warnings.simplefilter("ignore")
        # It takes a second, and only readings of colours need it.
        import colour
    module: ModuleType = colour
    return module


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
    shape = np.broadcast_shapes(xy.shape[:-1], np.shape(luminance))
    parts = np.concatenate(
        [np.broadcast_to(xy, (*shape, 2)), np.broadcast_to(_floats(luminance), shape)[..., None]], axis=-1
    )
    return _floats(_colour().xyY_to_XYZ(parts))


def uv_of(xy: ArrayLike) -> Floats:
    """u'v' (..., 2) of xy (..., 2)."""
    return _floats(_colour().xy_to_Luv_uv(_floats(xy)))


def delta_uv(xy: ArrayLike, other: ArrayLike) -> Floats:
    """Distance (...) in u'v' between two chromaticities (..., 2)."""
    return _floats(np.linalg.norm(uv_of(xy) - uv_of(other), axis=-1))


def cct_duv(xy: ArrayLike) -> Floats:
    """Correlated colour temperature in kelvin and Duv, (..., 2), of xy (..., 2), by Ohno (2013).

    Duv is the distance from the Planckian locus in CIE 1960 uv, positive above it (greenish). Both are NaN where the
    colour lies more than `MOST_DUV` off the locus or beyond `CCT_RANGE`, where neither means anything.
    """
    xy = _floats(xy)
    flat = xy.reshape(-1, 2)
    found = np.full(flat.shape, np.nan)
    known = np.isfinite(flat).all(axis=-1) & (flat[:, 1] > 0)
    if known.any():
        uv = _colour().xy_to_UCS_uv(flat[known])
        with warnings.catch_warnings():
            # It warns of colours beyond its table, which are told as NaN.
            warnings.simplefilter("ignore")
            found[known] = _floats(_colour().temperature.uv_to_CCT_Ohno2013(uv)).reshape(-1, 2)
    low, high = CCT_RANGE
    with np.errstate(invalid="ignore"):
        means = (np.abs(found[:, 1]) <= MOST_DUV) & (found[:, 0] > low) & (found[:, 0] < high)
    found[~means] = np.nan
    return found.reshape(xy.shape)


def lab_of(xyz: ArrayLike, white: ArrayLike) -> Floats:
    """CIE 1976 L*a*b* (..., 3) of XYZ (..., 3), against the white's XYZ (3,) in the same unit."""
    white = _floats(white)
    return _floats(_colour().XYZ_to_Lab(_floats(xyz) / white[1], xy_of(white)))


def delta_e_2000(xyz: ArrayLike, other: ArrayLike, white: ArrayLike) -> Floats:
    """CIEDE2000 difference (...) of two XYZ (..., 3), both against the white's XYZ (3,); k_L, k_C, k_H are 1."""
    return _floats(_colour().delta_E(lab_of(xyz, white), lab_of(other, white), method="CIE 2000"))


def bt1886(level: ArrayLike, white: float, black: float) -> Floats:
    """Luminance in cd/m2 of levels (0 black, 1 white), for the luminances of white and black (ITU-R BT.1886, annex 1).

    Black has to be 0 or more and below white.
    """
    return _floats(_colour().models.eotf_BT1886(_floats(level), L_B=black, L_W=white))


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
    return _floats(_colour().normalised_primary_matrix(primaries.ravel(), _floats(white)))


def spectral_locus() -> tuple[Floats, Floats]:
    """Wavelengths (n,) in nm, and the xy (n, 2) of their colours, from violet to red (CIE 1931 observer)."""
    observer = _colour().MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    wavelengths = _floats(observer.wavelengths)
    seen = (wavelengths >= _VIOLET) & (wavelengths <= _RED)
    return wavelengths[seen], xy_of(_floats(observer.values)[seen])


_VIOLET, _RED = 410, 700
"""nm: beyond, colours do not change any more, and their figures are rounded."""
_LEAST_AREA = 1e-4
"""Of the triangle's double area in xy; that of BT.709 is 0.22."""
