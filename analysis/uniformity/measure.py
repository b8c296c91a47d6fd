"""How even a plain field is on the tube, from photographs of a white, red, green or blue one.

Everything is relative to the middle of the picture: a camera knows nothing of candelas, and its colours are its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from analysis.guns import GUNS
from analysis.photo.exposure import Exposure
from analysis.photo.file import Photo
from analysis.photo.notes import read_notes
from analysis.uniformity.area import LitArea, find_lit_area
from analysis.uniformity.blotches import Blotch, find_blotches
from analysis.uniformity.light import (
    FlatField,
    Light,
    SmallLight,
    ambient_light,
    corrected,
    flat_field,
    small_light,
)
from analysis.uniformity.map import (
    FieldMap,
    Floats,
    chromaticity,
    field_map,
    smooth_surface,
    surface_terms,
)
from analysis.uniformity.partlit import is_partly_lit, step_in
from analysis.uniformity.zones import CORNERS, View, Zone, measure_zones
from render.errors import FileError

__all__ = ["Blotch", "Extreme", "Field", "Uniformity", "Zone", "measure_uniformity"]

_WHITE = 0.3
"""Least light of a white field's weakest channel, as a share of its strongest: tubes are set as blue as 9300 K and
more."""
_PURE = 2.0
"""How many times the next channel a coloured field's own channel has at least."""
_CLIPPED_NOTE = 0.002
_CLIPPED_MOST = 0.1
"""Clipped shares of the lit area from which it is warned of, and refused."""
_CUT_LIGHT = 0.0015
"""Linear light (code 5 of 255) below which a channel is taken as cut at black."""
_VEIL_NOTE = 0.03
"""Light around the picture, as a share of the picture's, from which the room is called too bright."""
_UNEVEN_LIGHT = 0.08
_UNEVEN_UV = 0.06
"""Standard deviation from a surface of the fourth degree, relative and in u'v', from which a field is not plain."""
_SHARP = 0.25
"""Share of that which is left between neighbouring cells: less is a blotch."""
_USUAL_RATES_HZ = (60000 / 1001, 50.0)
"""Fields in a second where nobody says what was shown."""
_BAND_NOTE = 0.004
"""Standard uncertainty of light by a band, relative, from which it is warned of."""


@dataclass(frozen=True, kw_only=True)
class Extreme:
    """The largest of a figure over the zones."""

    zone: str
    value: float
    sigma: float


@dataclass(frozen=True, eq=False, kw_only=True)
class Field:
    """One field, as one photograph shows it."""

    path: Path
    colour: str
    """white, red, green or blue."""
    corners_px: Floats
    """(4, 2): top left, top right, bottom right, bottom left of the visible area, in pixels of the photograph."""
    zones: tuple[Zone, ...]
    """25, row by row from the top left."""
    blotches: tuple[Blotch, ...]
    fall_off_percent: float | None
    """By how much the mean of the four corner zones is darker than the centre."""
    fall_off_sigma: float | None
    dimmest: Extreme
    brightest: Extreme
    delta_uv: Extreme
    """Farthest from the centre."""
    delta_uv_between: Extreme
    """Farthest of any two zones from each other; `zone` names both."""
    purity: Extreme | None
    """Of a coloured field: the largest change of another channel's share, with its sign."""
    clipped_percent: float
    surround_percent: float
    """Light around the picture, in % of the picture's."""
    warnings: tuple[str, ...]


@dataclass(frozen=True, eq=False, kw_only=True)
class Uniformity:
    """All fields that were photographed."""

    fields: tuple[Field, ...]
    flat_field: bool
    """Whether the camera's own loss of light was removed."""
    ambient: bool
    """Whether the room's light was."""

    def field(self, colour: str) -> Field | None:
        """The field of a colour, if it was photographed."""
        return next((field for field in self.fields if field.colour == colour), None)


def measure_uniformity(
    photos: Iterable[Photo],
    flat: Photo | None = None,
    ambient: Photo | None = None,
    field_rate_hz: float | None = None,
) -> Uniformity:
    """Measure plain fields, one in each photograph; which colour it is, is seen.

    Photographs are taken from `photos` one after the other and none is kept: a generator that reads them needs the
    memory of one. `flat` is of an evenly lit surface, `ambient` of the same view with the set off, both from the same
    camera in the same settings. `field_rate_hz` is that of what was shown.

    Raises:
        FileError: a photograph cannot serve as what it is given for; one line.
    """
    fields: list[Field] = []
    lost: FlatField | None = None
    room: SmallLight | None = None
    for photo in photos:
        if flat is not None and (lost is None or lost.photo_size != photo.size):
            lost = flat_field(flat, photo.size)
        if ambient is not None and (room is None or room.photo_size != photo.size):
            room = ambient_light(ambient, photo.size)
        field = _measured(small_light(photo), lost, room, _exposure(photo.path, field_rate_hz))
        if photo.is_grey:
            raise FileError(f"{photo.path}: the photograph is grey; uniformity needs one in colour")
        for other in fields:
            if other.colour == field.colour:
                raise FileError(
                    f"{field.path}: shows a {field.colour} field, and so does {other.path}; give one photograph of each"
                )
        fields.append(field)
    if not fields:
        raise ValueError("no photograph of a field is given")
    order = ("white", *GUNS)
    fields.sort(key=lambda field: order.index(field.colour))
    return Uniformity(fields=tuple(fields), flat_field=flat is not None, ambient=ambient is not None)


def _exposure(path: Path, field_rate_hz: float | None) -> Exposure | None:
    """What the file notes of it; where nobody says how many fields there were, the rate that it fits best."""
    seconds = read_notes(path).exposure_s
    if seconds is None:
        return None
    rates = _USUAL_RATES_HZ if field_rate_hz is None else (field_rate_hz,)
    tried = [Exposure(seconds=seconds, field_rate_hz=rate, is_interlaced=False) for rate in rates]
    return min(tried, key=lambda one: one.band)


def _measured(
    small: SmallLight, flat: FlatField | None, room: SmallLight | None, exposure: Exposure | None = None
) -> Field:
    area = find_lit_area(small)
    if is_partly_lit(small, area):
        raise _partly_lit(small.path, exposure, "a part of the face has less light than the rest")
    clipped = float(small.clipped[area.clear].mean()) if area.clear.any() else 1.0
    if clipped > _CLIPPED_MOST:
        raise FileError(
            f"{small.path}: {100 * clipped:.0f} % of the picture is clipped; take the photograph with less exposure"
        )
    if room is not None:
        _check_room(small, room, area)
    light = corrected(small, room, flat)
    typical = np.median(light[area.clear], axis=0)
    colour = _colour(small.path, typical)
    own = None if colour == "white" else GUNS.index(colour)
    field = field_map(small, area, light)
    step = step_in(field)
    if step:
        raise _partly_lit(small.path, exposure, f"light changes by {100 * step:.0f} % along a line across the face")
    _check_plain(small.path, field, own)
    view = View(area=area, photo_size=small.photo_size, flat=flat, veiled=room is None)
    try:
        zones = measure_zones(field, view, own)
    except ValueError as error:
        raise FileError(f"{small.path}: {error}") from error
    if exposure is not None and exposure.band > 0:
        zones = tuple(_banded(zone, exposure) for zone in zones)
    fall_off, fall_off_sigma = _fall_off(zones)
    measured = [zone for zone in zones if zone.reason is None]
    return Field(
        path=small.path,
        colour=colour,
        corners_px=area.corners,
        zones=zones,
        blotches=find_blotches(field, own, area.to_photo),
        fall_off_percent=fall_off,
        fall_off_sigma=fall_off_sigma,
        dimmest=_extreme(measured, _light_of, lambda value: -value),
        brightest=_extreme(measured, _light_of, lambda value: value),
        delta_uv=_extreme(measured, _uv_of, lambda value: value),
        delta_uv_between=_between(measured),
        purity=None if own is None else _extreme(measured, _purity_of, abs),
        clipped_percent=100 * clipped,
        surround_percent=100 * area.surround,
        warnings=(*_exposure_warnings(exposure), *_warnings(area, clipped, typical, own, flat, room)),
    )


def _partly_lit(path: Path, exposure: Exposure | None, seen: str) -> FileError:
    """That a part of the face is at part of its light."""
    noted = "" if exposure is None else f" (exposed for {exposure.words})"
    return FileError(
        f"{path}: {seen}: no whole number of fields was exposed{noted}; expose for half a second or more, or for whole "
        "frames, as 1/30 s (60 Hz) or 1/25 s (50 Hz). Or it is no plain field"
    )


def _banded(zone: Zone, exposure: Exposure) -> Zone:
    """With the uncertainty of a band of light that has one field more than the rest."""
    if zone.luminance_sigma is None or zone.luminance_percent is None or zone.luminance_sigma == 0:
        return zone
    return replace(zone, luminance_sigma=float(np.hypot(zone.luminance_sigma, zone.luminance_percent * exposure.band)))


def _exposure_warnings(exposure: Exposure | None) -> list[str]:
    if exposure is None or exposure.band < _BAND_NOTE:
        return []
    return [
        f"exposed for {exposure.words}: a part of the face may have been drawn once more than the rest, a band of "
        f"{100 / max(exposure.fields, 1.0):.1f} % of the light, which the uncertainties hold"
    ]


def _check_room(small: SmallLight, room: SmallLight, area: LitArea) -> None:
    share = float(room.light[area.clear].mean() / small.light[area.clear].mean())
    if share > 0.5:
        raise FileError(
            f"{room.path}: with the set off the picture area has {100 * share:.0f} % of the light in {small.path}; was "
            "the set on, or are the two exchanged?"
        )


def _colour(path: Path, light: Light) -> str:
    order = np.argsort(light)[::-1]
    if light[order[2]] >= _WHITE * light[order[0]]:
        return "white"
    if light[order[0]] >= _PURE * light[order[1]]:
        return GUNS[int(order[0])]
    parts = ", ".join(f"{gun} {100 * share:.0f} %" for gun, share in zip(GUNS, light / light.sum(), strict=True))
    raise FileError(f"{path}: the field is neither white nor red, green or blue ({parts})")


def _check_plain(path: Path, field: FieldMap, own: int | None) -> None:
    """Refuse what is no plain field: bars, a grid, a film."""
    plain = field.plain
    if plain.mean() < 0.5:
        raise FileError(f"{path}: too little of the picture area can be measured")
    terms = surface_terms(field, 4)
    # A magnetised tube may turn a coloured field's gun to another colour, but not off.
    logs = np.log(field.light.sum(axis=-1))
    rest = [(logs, _UNEVEN_LIGHT)]
    if own is None:
        colour = chromaticity(field.light)
        rest += [(colour[..., i], _UNEVEN_UV / np.sqrt(2)) for i in range(2)]
    for values, most in rest:
        left = (values - smooth_surface(values, plain, terms))[plain]
        # A blotch is soft, however strong; bars, lines and pictures have edges.
        sharp = (values - cv2.GaussianBlur(np.where(plain, values, np.median(values[plain])), (0, 0), 1.5))[plain]
        if np.sqrt(np.mean(left**2)) > most and np.sqrt(np.mean(sharp**2)) > _SHARP * most:
            raise FileError(
                f"{path}: the picture is no plain field; show the pattern 'field' in white, red, green or blue"
            )


def _fall_off(zones: Sequence[Zone]) -> tuple[float | None, float | None]:
    corners = [zones[5 * row + column] for row, column in CORNERS]
    values = [zone.luminance_percent for zone in corners if zone.luminance_percent is not None]
    sigmas = [zone.luminance_sigma for zone in corners if zone.luminance_sigma is not None]
    if len(values) < 4:
        return None, None
    # What the camera does in one corner it does in all: the mean is no more certain than one.
    return 100 - float(np.mean(values)), float(np.mean(sigmas))


def _extreme(zones: Sequence[Zone], figure: Callable[[Zone], Extreme], rank: Callable[[float], float]) -> Extreme:
    return max((figure(zone) for zone in zones), key=lambda extreme: rank(extreme.value))


def _light_of(zone: Zone) -> Extreme:
    return Extreme(zone=zone.name, value=zone.luminance_percent or 0.0, sigma=zone.luminance_sigma or 0.0)


def _uv_of(zone: Zone) -> Extreme:
    return Extreme(zone=zone.name, value=zone.delta_uv or 0.0, sigma=zone.delta_uv_sigma or 0.0)


def _purity_of(zone: Zone) -> Extreme:
    assert zone.purity is not None
    return Extreme(zone=zone.name, value=zone.purity.percent, sigma=zone.purity.sigma)


def _between(zones: Sequence[Zone]) -> Extreme:
    places = np.array([(zone.delta_u, zone.delta_v) for zone in zones], np.float64)
    apart = np.linalg.norm(places[:, None] - places[None], axis=-1)
    i, j = np.unravel_index(int(np.argmax(apart)), apart.shape)
    one, other = zones[int(i)], zones[int(j)]
    sigma = float(np.hypot(one.delta_uv_sigma or 0.0, other.delta_uv_sigma or 0.0))
    return Extreme(zone=f"{one.name} and {other.name}", value=float(apart[i, j]), sigma=sigma)


def _warnings(
    area: LitArea,
    clipped: float,
    light: Light,
    own: int | None,
    flat: FlatField | None,
    room: SmallLight | None,
) -> tuple[str, ...]:
    said = []
    top_left, top_right, _, bottom_left = area.corners
    if np.hypot(*(bottom_left - top_left)) > np.hypot(*(top_right - top_left)):
        said.append("the picture is taller than wide: the photograph lies on its side, and with it the zones")
    if area.touches:
        said.append(f"the photograph's edge cuts the picture off ({area.touches[0]}): zones are parts of what is seen")
    if clipped > _CLIPPED_NOTE:
        said.append(f"{100 * clipped:.1f} % of the picture is clipped, where it is brighter than it seems; expose less")
    if flat is None:
        said.append(
            "without --flat-field the camera's own loss of light toward its corners is part of the luminance figures; "
            "their uncertainty allows for an ordinary lens"
        )
    if room is None and area.surround > _VEIL_NOTE:
        said.append(
            f"around the picture there is {100 * area.surround:.0f} % of its light: darken the room, or give --ambient"
        )
    if own is not None:
        cut = [gun for i, gun in enumerate(GUNS) if i != own and light[i] < _CUT_LIGHT]
        if cut:
            said.append(
                f"the camera shows no {' and no '.join(cut)} in this field: faults of purity that only add a little of "
                "it may be cut at black"
            )
    return tuple(said)
