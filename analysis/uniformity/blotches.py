"""Blotches: places where colour or luminance departs from what is smooth over the picture.

A surface of the fourth degree is taken off, which holds all that falls off toward the edges or drifts across. What is
left is smoothed, compared with its own noise, and outlined where it has fallen to half of its strongest.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.statistics import MAD_TO_SIGMA
from analysis.uniformity.map import (
    CURVE_UNCERTAINTY,
    Bools,
    FieldMap,
    Floats,
    chromaticity,
    colour_word,
    luminance,
    smooth_surface,
    surface_terms,
)

__all__ = ["Blotch", "find_blotches"]

_DEGREE = 4
_PASSES = 2
"""A blotch in a corner bends the surface there; the second surface is laid beside the first one's blotches."""
_CLEAR_OF_SPOTS = 2
"""How many cells beside a blotch are left out of the surface."""
_LEAST_LEFT = 0.7
"""Share of the cells that a surface needs."""
_SMOOTHING = 1.5
"""Standard deviation, in cells, of the filter that noise is damped with."""
_CLEAR_OF_NOISE = 7.0
"""How many times the noise a blotch has to reach. Smoothed noise of a whole map goes beyond 5 in one of some
hundred."""
_BESIDE_PERCENT = 98
_USUAL_BESIDE = (2.33, 2.80)
"""What the 98th percentile of mere noise is, in its standard deviations: of one quantity, of the length of two."""
_LEAST_UV = 0.004
"""Smallest difference in u'v' that is called a blotch: about what is seen beside its surroundings (common practice, no
source)."""
_LEAST_LUMINANCE = 0.03
"""The same for luminance, relative."""
_FEWEST_CELLS = 8
"""Of an outlined blotch: fewer are dust or a spot on the glass."""
_MOST_BLOTCHES = 40
_FINER = 4
"""Steps in a cell that an outline is drawn in."""
_CORE = 0.75
"""Share of a blotch's strongest within which its strength is taken."""
_SAME = 0.5
"""Share of the smaller of two outlines that lies in the other when both are one blotch."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Blotch:
    """One place that departs from its surroundings. Differences are from the smooth surface there."""

    kind: str
    """In words, as 'greener' or 'darker, redder'."""
    delta_uv: float
    """Length of the difference in u'v', of the camera's colour."""
    delta_uv_sigma: float
    luminance_percent: float
    luminance_sigma: float
    area_percent: float
    """Of the visible area."""
    centre_uv: tuple[float, float]
    """(u, v), -1 to 1 over the visible area."""
    outline_uv: Floats
    """(points, 2): (u, v) of the outline at half of the strongest."""
    outline_px: Floats
    """(points, 2): the same in pixels of the photograph."""
    by_colour: bool
    """Whether it is a matter of colour; else of luminance alone."""


@dataclass(frozen=True, eq=False, kw_only=True)
class _Rest:
    """What is left of one quantity or two: (rows, columns, parts), raw and smoothed, with the noise of both."""

    raw: Floats
    smoothed: Floats
    noise: Floats
    """(parts,) of the smoothed."""


@dataclass(frozen=True, eq=False, kw_only=True)
class _Rests:
    """What is left of a field's u'v', of the logarithm of its luminance, and of those of its three channels."""

    colour: _Rest
    light: _Rest
    channels: _Rest | None
    """None where no spot is of colour."""


@dataclass(frozen=True, eq=False, kw_only=True)
class _Spot:
    inside: Bools
    core: Bools
    level: Floats
    """(rows, columns): the smoothed rest in the spot's direction, relative to its strongest."""
    by_colour: bool


def find_blotches(field: FieldMap, own: int | None, to_photo: Floats) -> tuple[Blotch, ...]:
    """The blotches of a field, the most striking first; `own` is the channel of a coloured field."""
    terms = surface_terms(field, _DEGREE)
    quiet = field.plain
    for _ in range(_PASSES):
        colour = _rest(chromaticity(field.light), field, terms, quiet)
        light = _rest(np.log(luminance(field.light, own))[..., None], field, terms, quiet)
        spots = _spots(colour, field, _LEAST_UV, by_colour=True)
        darker = _spots(light, field, _LEAST_LUMINANCE, by_colour=False)
        quiet = _without(field.plain, spots + darker)
    alone = [spot for spot in darker if not any(_same(spot, other) for other in spots)]
    channels = _rest(np.log(field.light), field, terms, quiet) if spots else None
    rests = _Rests(colour=colour, light=light, channels=channels)
    found = []
    for spot in (spots + alone)[:_MOST_BLOTCHES]:
        by_light = not spot.by_colour or any(_same(spot, other) for other in darker)
        blotch = _blotch(spot, rests, field, to_photo, by_light)
        if blotch is not None:
            found.append(blotch)
    # Colour is compared with luminance by what is just seen of each.
    return tuple(
        sorted(found, key=lambda b: -max(b.delta_uv / _LEAST_UV, abs(b.luminance_percent) / 100 / _LEAST_LUMINANCE))
    )


def _without(valid: Bools, spots: list[_Spot]) -> Bools:
    """The cells clear of all spots; all of them where little would be left."""
    taken = np.zeros(valid.shape, np.uint8)
    for spot in spots:
        taken |= spot.inside.astype(np.uint8)
    side = 2 * _CLEAR_OF_SPOTS + 1
    clear = valid & ~(cv2.dilate(taken, np.ones((side, side), np.uint8)) > 0)
    return clear if clear.sum() > _LEAST_LEFT * valid.sum() else valid


def _rest(values: Floats, field: FieldMap, terms: Floats, quiet: Bools) -> _Rest:
    valid = field.plain
    parts = [values[..., i] - smooth_surface(values[..., i], quiet, terms) for i in range(values.shape[-1])]
    raw = np.where(valid[..., None], np.stack(parts, axis=-1), 0)

    def blurred(of: Floats) -> Floats:
        return np.asarray(cv2.GaussianBlur(of, (0, 0), _SMOOTHING, borderType=cv2.BORDER_CONSTANT), np.float64)

    weight = np.maximum(blurred(valid.astype(np.float64)), 1e-9)
    smoothed = np.stack([blurred(raw[..., i]) / weight for i in range(raw.shape[-1])], axis=-1)
    smoothed = np.where(valid[..., None], smoothed, 0)
    noise = MAD_TO_SIGMA * np.median(np.abs(smoothed[valid]), axis=0)
    return _Rest(raw=raw, smoothed=smoothed, noise=np.maximum(noise, 1e-9))


def _spots(rest: _Rest, field: FieldMap, least: float, *, by_colour: bool) -> list[_Spot]:
    """Connected places above noise and above what is seen, each up to half of its strongest."""
    far = np.linalg.norm(rest.smoothed / rest.noise, axis=-1)
    size = np.linalg.norm(rest.smoothed, axis=-1)
    seeds = (far > _CLEAR_OF_NOISE) & (size > least) & field.plain
    spots: list[_Spot] = []
    while seeds.any() and len(spots) < _MOST_BLOTCHES:
        peak = np.unravel_index(int(np.argmax(np.where(seeds, size, 0))), size.shape)
        towards = rest.smoothed[peak] / size[peak]
        level = (rest.smoothed @ towards) / size[peak]
        _, labels = cv2.connectedComponents((level > 0.5).astype(np.uint8), connectivity=4)
        inside = labels == labels[peak]
        seeds = seeds & ~inside
        seeds[peak] = False
        spot = _Spot(inside=inside, core=inside & (level > _CORE), level=level, by_colour=by_colour)
        # What holds most of one that was taken is its rim, and nothing new.
        if inside.sum() >= _FEWEST_CELLS and not any(_same(spot, other) for other in spots):
            spots.append(spot)
    # Moire is no blotch: what is found has to stand out of what is left beside it too, which noise alone does not do.
    beside = float(np.percentile(far[_without(field.plain, spots)], _BESIDE_PERCENT))
    usual = _USUAL_BESIDE[rest.raw.shape[-1] - 1]
    least_far = _CLEAR_OF_NOISE * max(1.0, beside / usual)
    return [spot for spot in spots if float(far[spot.inside].max()) > least_far]


def _same(one: _Spot, other: _Spot) -> bool:
    common = (one.inside & other.inside).sum()
    return bool(common > _SAME * min(one.inside.sum(), other.inside.sum()))


def _blotch(spot: _Spot, rests: _Rests, field: FieldMap, to_photo: Floats, by_light: bool) -> Blotch | None:
    """A spot with its figures; None where it has no outline. `by_light` says whether luminance departs there too."""
    outline = _outline(spot, field)
    if outline is None:
        return None
    core, colour, light = spot.core, rests.colour, rests.light
    size = float(np.linalg.norm(colour.raw[core].mean(axis=0)))
    relative = float(np.expm1(light.raw[core].mean()))
    words = []
    if by_light:
        words.append("brighter" if relative > 0 else "darker")
    if spot.by_colour and rests.channels is not None:
        words.append(colour_word(np.exp(rests.channels.raw[core].mean(axis=0))))
    # Neighbouring smoothed cells share their noise; a core holds this many that do not.
    apart = max(1.0, float(core.sum()) / (4 * np.pi * _SMOOTHING**2))
    points = np.column_stack([outline, np.ones(len(outline))]) @ to_photo.T
    x, y = outline.T
    # The shoelace formula; the whole area is 2 x 2.
    area = abs(float(np.sum(x * np.roll(y, -1) - y * np.roll(x, -1)))) / 2 / 4
    v, u = (float(place.mean()) for place in np.nonzero(spot.inside))
    return Blotch(
        kind=", ".join(words),
        delta_uv=size,
        delta_uv_sigma=float(np.hypot(np.linalg.norm(colour.noise) / np.sqrt(apart), CURVE_UNCERTAINTY * size)),
        luminance_percent=100 * relative,
        luminance_sigma=float(100 * np.hypot(light.noise[0] / np.sqrt(apart), CURVE_UNCERTAINTY * relative)),
        area_percent=100 * area,
        centre_uv=(
            float(np.interp(u, range(len(field.u)), field.u)),
            float(np.interp(v, range(len(field.v)), field.v)),
        ),
        outline_uv=outline,
        outline_px=points[:, :2] / points[:, 2:],
        by_colour=spot.by_colour,
    )


def _outline(spot: _Spot, field: FieldMap) -> Floats | None:
    """(points, 2) of (u, v) where the spot has fallen to half, between the cells."""
    rows, columns = spot.inside.shape
    # Of other places with the same tint nothing may be left, nor may the outline end a step too early.
    around = cv2.dilate(spot.inside.astype(np.uint8), np.ones((3, 3), np.uint8))
    level: NDArray[Any] = np.where(around > 0, spot.level, 0).astype(np.float32)
    fine = cv2.resize(level, (columns * _FINER, rows * _FINER), interpolation=cv2.INTER_LINEAR)
    contours, _ = cv2.findContours((fine > 0.5).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not contours:
        return None
    points = cv2.approxPolyDP(max(contours, key=cv2.contourArea), 0.8, True)[:, 0, :].astype(np.float64)
    if len(points) < 3:
        return None
    # Samples of the finer picture have their middles half a step in, and the outline runs through the outermost.
    middle = points.mean(axis=0)
    points = points + 0.5 * np.sign(points - middle)
    return np.asarray((points + 0.5) / (np.array([columns, rows]) * _FINER) * 2 - 1, np.float64)
