"""A plain field in 5 x 5 zones: luminance and colour of each, relative to the middle one, with their uncertainties.

What is not known enters each figure's uncertainty: the photograph's noise, from the scatter within the zone; the
camera's own loss of light toward its corners where no flat field removes it; the light of the room where no
photograph of the set off removes it; and the camera's curve, which is not quite that of sRGB.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.guns import GUNS
from analysis.uniformity.area import LitArea
from analysis.uniformity.light import FlatField
from analysis.uniformity.map import CURVE_UNCERTAINTY, FieldMap, Floats, chromaticity, colour_word, luminance
from patterns.standards.colour import SRGB_TO_XYZ

__all__ = ["COLUMNS", "CORNERS", "FLAT_LIGHT", "FLAT_UV", "ROWS", "Purity", "View", "Zone", "measure_zones"]

ROWS = ("top", "upper", "middle", "lower", "bottom")
COLUMNS = ("left", "inner left", "middle", "inner right", "right")
CORNERS = ((0, 0), (0, 4), (4, 0), (4, 4))
"""(row, column) of the corner zones."""
_CENTRE = (2, 2)

_BLOCK = 3
"""Cells along the blocks whose scatter gives a zone's noise: neighbouring cells share some of theirs."""
_LEAST_SEEN = 0.4
"""Share of a zone that has to be seen."""
_MOST_CLIPPED = 0.1
"""Clipped share of a zone from which nothing is said of it."""
_CLIPPED_LIGHT = 0.3
"""Relative uncertainty of the light of pixels that are clipped (common practice, no source)."""
_HALF_FIELD = 0.62
"""Tangent of half the camera's field of view along the diagonal where it is unknown: 32 degrees, a usual lens without
zoom (common practice, no source). By the cosine's fourth power its corners get half of the middle's light."""
_SHADING_UV = 0.002
"""Uncertainty in u'v' of a camera's colour in its corners, compared with its middle (common practice, no source)."""
FLAT_LIGHT = 0.005
FLAT_UV = 0.0005
"""Relative uncertainty of how even a flat field's surface was, in light and in u'v' (common practice, no source)."""
_UNEVEN_VEIL = 1 / 3
"""How much the room's light differs over the glass, of what it is around it (common practice, no source)."""
_ROOM_UV = {False: 0.05, True: 0.2}
"""How far the room's light lies from the field's in u'v': from a white one, from a coloured one (common practice)."""


@dataclass(frozen=True, kw_only=True)
class Purity:
    """How far a coloured field's hue moves from the centre's."""

    percent: float
    """Change of the share that another channel has of all light, in percent of all light; of the two others the one
    that changed more."""
    sigma: float
    channel: str
    """Which channel that is."""
    hue_shift_deg: float
    """Turn about the white point (D65) in the u'v' diagram, from u' toward v'."""


@dataclass(frozen=True, kw_only=True)
class Zone:
    """One of 5 x 5 equal parts of the visible area. Its figures are None where `reason` says why.

    Relative to the zone in the middle, whose own figures are 100 and 0 without uncertainty.
    """

    row: str
    column: str
    u: float
    v: float
    """The zone's middle, -1 to 1 over the visible area."""
    luminance_percent: float | None = None
    luminance_sigma: float | None = None
    """Standard uncertainty, as of all below."""
    delta_u: float | None = None
    delta_v: float | None = None
    delta_uv: float | None = None
    """Length of the difference in u'v' of the camera's colour."""
    delta_uv_sigma: float | None = None
    colour: str | None = None
    """The direction in words, as 'redder'; None too where the difference is within two uncertainties."""
    purity: Purity | None = None
    """Of a coloured field."""
    clipped_percent: float = 0.0
    reason: str | None = None

    @property
    def name(self) -> str:
        """As 'top left'; the middle one is the 'centre'."""
        return "centre" if self.row == self.column == "middle" else f"{self.row} {self.column}"


@dataclass(frozen=True, kw_only=True)
class View:
    """How a field was photographed, as far as it adds to the uncertainty of figures."""

    area: LitArea
    photo_size: tuple[int, int]
    flat: FlatField | None
    veiled: bool
    """Whether the room's light was left in."""


@dataclass(frozen=True, kw_only=True)
class _Sample:
    """The mean light of a zone (3,) with its covariance (3, 3), relative to its own light."""

    light: Floats
    spread: Floats
    seen: float
    clipped: float


def measure_zones(field: FieldMap, view: View, own: int | None) -> tuple[Zone, ...]:
    """The 25 zones, row by row from the top left; `own` is the channel of a coloured field.

    Raises:
        ValueError: the middle zone itself cannot be measured; one line.
    """
    samples = {(row, column): _sample(field, row, column) for row in range(5) for column in range(5)}
    centre = samples[_CENTRE]
    trouble = _trouble(centre)
    if trouble is not None:
        raise ValueError(f"the middle of the picture cannot be measured: {trouble}")
    return tuple(_zone(place, sample, centre, view, own) for place, sample in samples.items())


def _sample(field: FieldMap, row: int, column: int) -> _Sample:
    high, wide = len(field.v) // 5, len(field.u) // 5
    part = np.s_[row * high : (row + 1) * high, column * wide : (column + 1) * wide]
    light, valid = field.light[part], field.valid[part]
    if not valid.any():
        return _Sample(light=np.full(3, np.nan), spread=np.zeros((3, 3)), seen=0.0, clipped=0.0)
    return _Sample(
        light=_mean(light, valid),
        spread=_spread(light, valid),
        seen=float(valid.mean()),
        clipped=float(field.clipped[part][valid].mean()),
    )


def _mean(light: Floats, valid: NDArray[np.bool_]) -> Floats:
    """(3,): a zone's mean light; what is missing at its rim is filled in by its slope, or the outer zones would come
    out too bright."""
    mean = light[valid].mean(axis=0)
    y, x = (place.astype(np.float64) for place in np.nonzero(valid))
    off = np.array([(valid.shape[1] - 1) / 2 - x.mean(), (valid.shape[0] - 1) / 2 - y.mean()])
    places = np.stack([x - x.mean(), y - y.mean()], axis=-1)
    slopes = np.linalg.lstsq(places, light[valid] - mean, rcond=None)[0]
    return np.asarray(np.maximum(mean + off @ slopes, mean / 2), np.float64)


def _spread(light: Floats, valid: NDArray[np.bool_]) -> Floats:
    """(3, 3): covariance of a zone's mean light by noise, relative."""
    rows, columns = (length // _BLOCK for length in valid.shape)

    def blocks(of: NDArray[Any]) -> NDArray[Any]:
        return of[: rows * _BLOCK, : columns * _BLOCK].reshape(rows, _BLOCK, columns, _BLOCK, -1)

    whole = blocks(valid).all(axis=(1, 3, 4)).ravel()
    values = blocks(light).mean(axis=(1, 3)).reshape(-1, 3)[whole] / light[valid].mean(axis=0)
    x, y = (axis.ravel()[whole] for axis in np.meshgrid(np.linspace(-1, 1, columns), np.linspace(-1, 1, rows)))
    # What is smooth across the zone is no noise.
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    if len(values) < 2 * terms.shape[1]:
        return np.zeros((3, 3))
    rest = values - terms @ np.linalg.lstsq(terms, values, rcond=None)[0]
    return np.asarray(rest.T @ rest / (len(values) - terms.shape[1]) / len(values), np.float64)


def _trouble(sample: _Sample) -> str | None:
    if sample.seen < _LEAST_SEEN:
        return f"only {100 * sample.seen:.0f} % of it is seen"
    if sample.clipped > _MOST_CLIPPED:
        return f"{100 * sample.clipped:.0f} % of it is clipped"
    return None


def _zone(place: tuple[int, int], sample: _Sample, centre: _Sample, view: View, own: int | None) -> Zone:
    row, column = place
    trouble = _trouble(sample)
    zone = Zone(
        row=ROWS[row],
        column=COLUMNS[column],
        u=(column - 2) * 0.4,
        v=(row - 2) * 0.4,
        clipped_percent=100 * sample.clipped,
        reason=trouble,
    )
    if trouble is not None:
        return zone
    light = float(100 * luminance(sample.light, own) / luminance(centre.light, own))
    step = chromaticity(sample.light) - chromaticity(centre.light)
    size = float(np.hypot(*step))
    # The centre is what all is relative to.
    known = float(place != _CENTRE)
    uv_sigma = known * _uv_sigma(size, sample, centre, view, (zone.u, zone.v), own)
    return replace(
        zone,
        luminance_percent=light,
        luminance_sigma=known * _light_sigma(light, sample, centre, view, (zone.u, zone.v), own),
        delta_u=float(step[0]),
        delta_v=float(step[1]),
        delta_uv=size,
        delta_uv_sigma=uv_sigma,
        colour=colour_word(sample.light / centre.light) if size > 2 * uv_sigma else None,
        purity=None if own is None else _purity(sample, centre, own, view, known),
    )


def _noise(of: Callable[[Floats], Floats], sample: _Sample, centre: _Sample) -> float:
    """Standard uncertainty of `of` the zone's light less that of the centre's, by noise: the worst direction's."""
    variance: Floats = np.zeros((1, 1))
    for one in (sample, centre):
        scale = one.light
        slopes = np.array([(of(scale * (1 + row)) - of(scale * (1 - row))) / 2e-4 for row in np.eye(3) * 1e-4])
        slopes = slopes.reshape(3, -1)
        variance = variance + slopes.T @ one.spread @ slopes
    # Of nearly nothing the largest may come out as a little less than nothing.
    return float(np.sqrt(max(np.linalg.eigvalsh(variance)[-1], 0.0)))


def _light_sigma(
    light: float, sample: _Sample, centre: _Sample, view: View, place: tuple[float, float], own: int | None
) -> float:
    veil = view.area.surround if view.veiled else 0.0
    sources = [
        light * _noise(lambda rgb: np.log(luminance(rgb, own)), sample, centre),
        CURVE_UNCERTAINTY * (light - 100),
        # The room's light lifts dark zones more than bright ones, and is not even itself.
        veil * (light - 100),
        100 * _UNEVEN_VEIL * veil,
        light * _CLIPPED_LIGHT * (sample.clipped + centre.clipped),
        light * _camera_loss(view, place),
    ]
    return float(np.linalg.norm(sources))


def _uv_sigma(
    size: float, sample: _Sample, centre: _Sample, view: View, place: tuple[float, float], own: int | None
) -> float:
    veil = view.area.surround if view.veiled else 0.0
    radius = _radius(view, place)
    sources = [
        _noise(chromaticity, sample, centre),
        CURVE_UNCERTAINTY * size,
        _UNEVEN_VEIL * veil * _ROOM_UV[own is not None],
        # A clipped channel pulls toward white.
        _CLIPPED_LIGHT * (sample.clipped + centre.clipped) * _ROOM_UV[own is not None],
        _SHADING_UV * radius**2 if view.flat is None else FLAT_UV,
    ]
    return float(np.linalg.norm(sources))


def _purity(sample: _Sample, centre: _Sample, own: int, view: View, known: float) -> Purity:
    def shares(rgb: Floats) -> Floats:
        return np.asarray(rgb / rgb.sum(), np.float64)

    change = 100 * (shares(sample.light) - shares(centre.light))
    others = [i for i in range(3) if i != own]
    channel = max(others, key=lambda i: abs(change[i]))
    veil = view.area.surround if view.veiled else 0.0
    sources = [
        100 * _noise(lambda rgb: shares(rgb)[channel], sample, centre),
        CURVE_UNCERTAINTY * change[channel],
        # Of grey light in the room another channel gets a third.
        100 / 3 * _UNEVEN_VEIL * veil,
        100 * _CLIPPED_LIGHT * (sample.clipped + centre.clipped) / 3,
    ]
    return Purity(
        percent=float(change[channel]),
        sigma=known * float(np.linalg.norm(sources)),
        channel=GUNS[channel],
        hue_shift_deg=_hue(sample.light, centre.light),
    )


def _hue(light: Floats, centre: Floats) -> float:
    """Turn about the white point, in degrees."""
    xyz = np.array([[float(value) for value in row] for row in SRGB_TO_XYZ.value]).sum(axis=1)
    white = xyz[:2] * [4, 9] / (xyz @ [1, 15, 3])
    one, other = chromaticity(light) - white, chromaticity(centre) - white
    turn = np.degrees(np.arctan2(one[1], one[0]) - np.arctan2(other[1], other[0]))
    return float((turn + 180) % 360 - 180)


def _camera_loss(view: View, place: tuple[float, float]) -> float:
    """Relative uncertainty of a zone's light, compared with the centre's, by what the camera loses there."""
    if view.flat is not None:
        away = _in_photo(view, place) - _in_photo(view, (0, 0))
        share = away / view.photo_size
        return float(np.linalg.norm([FLAT_LIGHT, *(np.array(view.flat.tilt) * share / np.sqrt(3))]))
    # The cosine's fourth power of a usual lens, none of it or all: as a rectangular distribution.
    kept = [(1 + (_radius(view, where) * _HALF_FIELD) ** 2) ** -2 for where in (place, (0.0, 0.0))]
    return float(abs(kept[0] / kept[1] - 1) / np.sqrt(3))


def _in_photo(view: View, place: tuple[float, float]) -> Floats:
    x, y, w = view.area.to_photo @ [*place, 1]
    return np.array([x / w, y / w])


def _radius(view: View, place: tuple[float, float]) -> float:
    """Distance from the photograph's middle, 1 in its corners."""
    size = np.array(view.photo_size)
    return float(np.linalg.norm(_in_photo(view, place) - size / 2) / np.linalg.norm(size / 2))
