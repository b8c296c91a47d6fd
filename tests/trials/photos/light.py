"""SIMULATION: the light that a scene makes behind the mask, as tables over the picture, and the mask as a table.

A gun writes scan lines, and its spot is a Gaussian. So a scene of upright and level lines is A(u) C(v) + B(u) L(v):
what the usual scan lines hold along u, times the comb of those lines, and the same of those that a level rule fills.
Tables are so fine that the nearest entry serves.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from patterns.formats import Format
from patterns.placement import area, rule_area
from patterns.scene import Box, Disc, Rule, Scene
from patterns.signal import Colour
from tests.trials.photos.tube import Mask, MaskKind, Tube

__all__ = ["Light", "MaskTable", "light_of", "mask_table", "seen_of_lines"]

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Indices = NDArray[np.intp]
Bools = NDArray[np.bool_]

_GAMMA = 2.4
"""Light over signal: Recommendation ITU-R BT.1886."""
_STEP_MM = 0.006
"""Of the tables: a hundredth of a usual spot's width."""
_END = 1.3
"""Where the tables end, in picture coordinates."""
_TAIL = 4.5
"""Standard deviations that a spot reaches."""
_DARK = 1e-5
"""Light, as a share of white, that counts as none."""
_MASK_CELLS = 64


@dataclass(frozen=True, eq=False, kw_only=True)
class _Scale:
    """Nearest entry of a table: place * per + shift, cut down to a whole number."""

    step: float
    size: int

    @classmethod
    def of(cls, half_mm: float) -> _Scale:
        step = _STEP_MM / half_mm
        return cls(step=step, size=2 * int(_END / step) + 1)

    @property
    def places(self) -> Floats:
        return np.asarray((np.arange(self.size) - self.size // 2) * self.step, np.float64)

    def entries(self, place: Floats) -> Floats:
        """Where places lie in the table; to be cut down."""
        return place / self.step + self.size // 2 + 0.5

    def range(self, low: float, high: float) -> slice:
        first, last = self.entries(np.array([low, high]))
        return slice(max(int(first), 0), min(int(last) + 1, self.size))


class Light(Protocol):
    """The light of one gun over the picture."""

    @property
    def u(self) -> _Scale: ...
    @property
    def v(self) -> _Scale: ...
    def at(self, u: Indices, v: Indices) -> Singles:
        """Light at table entries; 1 is the mean of a white field."""

    def lit(self, low_u: Indices, high_u: Indices, low_v: Indices, high_v: Indices) -> Bools:
        """Whether there is any light in rectangles of entries."""


def _counts(table: NDArray[np.generic]) -> Indices:
    return np.concatenate(([0], np.cumsum(np.abs(table) > _DARK))).astype(np.intp)


def _any(counts: Indices, low: Indices, high: Indices) -> Bools:
    end = len(counts) - 1
    some: Bools = counts[np.clip(high + 1, 0, end)] > counts[np.clip(low, 0, end)]
    return some


@dataclass(frozen=True, eq=False, kw_only=True)
class _GridLight:
    u: _Scale
    v: _Scale
    usual: Singles
    """A(u)."""
    comb: Singles
    """C(v)."""
    full: Singles
    """B(u)."""
    level: Singles
    """L(v)."""

    def at(self, u: Indices, v: Indices) -> Singles:
        light = self.usual.take(u, mode="clip")
        light *= self.comb.take(v, mode="clip")
        more = self.full.take(u, mode="clip")
        more *= self.level.take(v, mode="clip")
        light += more
        return light

    def lit(self, low_u: Indices, high_u: Indices, low_v: Indices, high_v: Indices) -> Bools:
        a, b = (_any(_counts(table), low_u, high_u) for table in (self.usual, self.full))
        c, d = (_any(_counts(table), low_v, high_v) for table in (self.comb, self.level))
        return (a & c) | (b & d)


@dataclass(frozen=True, eq=False, kw_only=True)
class _DotLight:
    u: _Scale
    v: _Scale
    columns: Indices
    """By entry of u: the column in the patch of a dot; 0 is dark."""
    rows: Indices
    """By entry of v: where the row of the patch begins."""
    patch: Singles

    def at(self, u: Indices, v: Indices) -> Singles:
        place = self.rows.take(v, mode="clip")
        place += self.columns.take(u, mode="clip")
        return self.patch.take(place)

    def lit(self, low_u: Indices, high_u: Indices, low_v: Indices, high_v: Indices) -> Bools:
        return _any(_counts(self.columns), low_u, high_u) & _any(_counts(self.rows), low_v, high_v)


def _level(colour: Colour, gun: int) -> float:
    signal = (colour.red, colour.green, colour.blue)[gun]
    return float(np.power(float(signal), _GAMMA))


def seen_of_lines(fmt: Format, fields: float, start: float, rolling: float) -> Floats:
    """(lines,): how often a camera sees each scan line, as a share of the mean.

    The shutter is open for so many `fields`, from the time `start` in fields on, and later by `rolling` fields at the
    bottom than at the top, as a rolling shutter is.
    """
    place = np.arange(fmt.height) / fmt.height
    drawn = place + (np.arange(fmt.height) % 2 if fmt.interlaced else 0)
    period = 2 if fmt.interlaced else 1
    opened = start + rolling * place
    # The times at which a line is drawn are `drawn` and every period before and after it.
    count = np.ceil((opened + fields - drawn) / period) - np.ceil((opened - drawn) / period)
    return np.asarray(count * period / fields, np.float64)


def light_of(tube: Tube, fmt: Format, scene: Scene, gun: int, often: Floats | None = None) -> Light:
    """The light of a gun that shows a scene: full rules or upright bars on a ground, or dots on black.

    `often` says how often each scan line is seen, as of `seen_of_lines`; all alike without it.
    """
    often = np.ones(fmt.height) if often is None else often
    half_width = float(np.hypot(tube.deflection[0][1], tube.deflection[1][1]))
    half_height = float(np.hypot(tube.deflection[0][2], tube.deflection[1][2]))
    u, v = _Scale.of(half_width), _Scale.of(half_height)
    spot = tube.spot_mm[gun] * (1 + tube.spot_growth)
    lines = (2 * (np.arange(fmt.height) + 0.5 - fmt.picture.top) / fmt.picture.height) - 1
    if fmt.interlaced:
        lines[1::2] += 2 * tube.pairing / fmt.picture.height
    spots = spot / half_width, spot / half_height
    if scene.dots:
        return _dots(fmt, scene, gun, (u, v), spots, (lines, often))
    return _grid(fmt, scene, gun, (u, v), spots, (lines, often))


def _grid(
    fmt: Format,
    scene: Scene,
    gun: int,
    scales: tuple[_Scale, _Scale],
    spot: tuple[float, float],
    drawn: tuple[Floats, Floats],
) -> _GridLight:
    (u, v), (spot_u, spot_v), (lines, often) = scales, spot, drawn
    usual = np.full(fmt.width, _level(scene.background, gun))
    level = np.zeros(fmt.height, bool)
    written = []
    for shape in scene.shapes:
        if isinstance(shape, Rule):
            span, upright = rule_area(fmt, shape), shape.vertical
        elif isinstance(shape, Box) and shape.top <= 0 and shape.bottom >= 1:
            span, upright = area(fmt, shape), True
        else:
            raise ValueError(f"the simulated tube shows rules, upright bars and dots, not {shape}")
        if upright:
            usual[span.left : span.right] = _level(shape.colour, gun)
        else:
            level[span.top : span.bottom] = True
            written.append((span, _level(shape.colour, gun)))
    full = usual.copy()
    for span, bright in written:
        full[span.left : span.right] = bright
    comb, marked = np.zeros(v.size), np.zeros(v.size)
    for line, is_level, times in zip(lines, level, often, strict=True):
        _add_spot(marked if is_level else comb, v, float(line), spot_v, float(times) * 2 / fmt.picture.height)
    return _GridLight(
        u=u,
        v=v,
        usual=_along(fmt, usual, u, spot_u),
        comb=comb.astype(np.float32),
        full=_along(fmt, full, u, spot_u),
        level=marked.astype(np.float32),
    )


def _along(fmt: Format, samples: Floats, scale: _Scale, spot: float) -> Singles:
    """A scan line's light along u: each step between its samples as wide as the spot."""
    table = np.zeros(scale.size)
    steps = np.diff(samples, prepend=0.0, append=0.0)
    for sample in np.flatnonzero(steps):
        place = float(2 * (sample - fmt.picture.left) / fmt.picture.width - 1)
        where = scale.range(place - _TAIL * spot, place + _TAIL * spot)
        table[where] += steps[sample] * ndtr((scale.places[where] - place) / spot)
        table[where.stop :] += steps[sample]
    return table.astype(np.float32)


def _add_spot(table: Floats, scale: _Scale, middle: float, spot: float, light: float) -> None:
    where = scale.range(middle - _TAIL * spot, middle + _TAIL * spot)
    away = (np.arange(where.start, where.stop) - scale.size // 2) * scale.step - middle
    table[where] += light / (spot * np.sqrt(2 * np.pi)) * np.exp(-0.5 * (away / spot) ** 2)


_PATCH_SIDE = 400
_SUB_ROWS = 8


def _dots(
    fmt: Format,
    scene: Scene,
    gun: int,
    scales: tuple[_Scale, _Scale],
    spot: tuple[float, float],
    drawn: tuple[Floats, Floats],
) -> _DotLight:
    (u, v), (spot_u, spot_v), (lines, often) = scales, spot, drawn
    disc = next(shape for shape in scene.shapes if isinstance(shape, Disc))
    radius_v = 2 * float(disc.radius)
    radius_u = radius_v * float(1 / fmt.picture_aspect)
    at_u = {dot.column: float(2 * dot.x - 1) for dot in scene.dots}
    at_v = {dot.row: float(2 * dot.y - 1) for dot in scene.dots}
    reach_u, reach_v = radius_u + _TAIL * spot_u, radius_v + _TAIL * spot_v
    side = _PATCH_SIDE
    away_u = (np.arange(side) - (side - 1) / 2) * 2 * reach_u / (side - 1)
    away_v = (np.arange(side) - (side - 1) / 2) * 2 * reach_v / (side - 1)
    # Entry 0 of a row, and the whole first row, are dark.
    patch = np.zeros((1 + side * len(at_v), side + 1))
    columns, rows = np.zeros(u.size, np.intp), np.zeros(v.size, np.intp)
    bright = _level(disc.colour, gun)
    for number, place in enumerate(at_v.values()):
        where = v.range(place - reach_v, place + reach_v)
        near = np.rint((v.places[where] - place + reach_v) / (2 * reach_v) * (side - 1))
        rows[where] = (1 + number * side + np.clip(near, 0, side - 1).astype(np.intp)) * (side + 1)
        pitch = 2 / fmt.picture.height
        beside = np.abs(lines - place) < radius_v + pitch
        near_lines = lines[beside, None]
        sub = near_lines + pitch * ((np.arange(_SUB_ROWS) + 0.5) / _SUB_ROWS - 0.5) - place
        chords = radius_u * np.sqrt(np.clip(1 - (sub / radius_v) ** 2, 0, None))[..., None]
        along = (ndtr((away_u + chords) / spot_u) - ndtr((away_u - chords) / spot_u)).mean(axis=1)
        across = np.exp(-0.5 * ((away_v + place - near_lines) / spot_v) ** 2) * pitch / (spot_v * np.sqrt(2 * np.pi))
        patch[1 + number * side : 1 + (number + 1) * side, 1:] = bright * across.T @ (along * often[beside, None])
    for place in at_u.values():
        where = u.range(place - reach_u, place + reach_u)
        near = np.rint((u.places[where] - place + reach_u) / (2 * reach_u) * (side - 1))
        columns[where] = 1 + np.clip(near, 0, side - 1).astype(np.intp)
    return _DotLight(u=u, v=v, columns=columns, rows=rows, patch=patch.astype(np.float32).ravel())


@dataclass(frozen=True, eq=False, kw_only=True)
class MaskTable:
    """What a mask lets through to one gun's phosphor: a cell that repeats, its mean 1."""

    cell_mm: tuple[float, float]
    turn: Floats
    """(2, 2): from glass positions to the mask's own."""
    table: Singles
    """(64 * 64,): entries of the cell, row by row."""

    def entries(self, places: Floats) -> Floats:
        """(..., 2): where glass positions (..., 2) mm lie in the table, to be cut down and taken modulo 64."""
        # A large whole number of cells keeps entries positive, so that cutting is rounding down.
        return places @ self.turn.T / self.cell_mm * _MASK_CELLS + 4096.0 * _MASK_CELLS

    def at(self, x: Indices, y: Indices) -> Singles:
        x &= _MASK_CELLS - 1
        y &= _MASK_CELLS - 1
        y *= _MASK_CELLS
        y += x
        return self.table.take(y)


def mask_table(mask: Mask, gun: int, sample_mm: float) -> MaskTable | None:
    """The mask for one gun, averaged over samples of `sample_mm`; None without a mask."""
    if mask.kind is MaskKind.NONE:
        return None
    pitch = mask.pitch_mm
    cell = {
        # Equal dots lie on a lattice of equilateral triangles.
        MaskKind.DOTS: (np.sqrt(3) * pitch, pitch),
        # Slots as high as 2.4 pitches, every second triad half a slot lower.
        MaskKind.SLOTS: (2 * pitch, 2.4 * pitch),
        MaskKind.STRIPES: (pitch, pitch),
    }[mask.kind]
    fine = 4 * _MASK_CELLS
    x, y = np.meshgrid((np.arange(fine) + 0.5) / fine * cell[0], (np.arange(fine) + 0.5) / fine * cell[1])
    through = np.zeros((fine, fine))
    if mask.kind is MaskKind.DOTS:
        for row in (0, 1):
            dx = _away(x - (gun - 1) * cell[0] / 3 - row * cell[0] / 2, cell[0])
            dy = _away(y - row * cell[1] / 2, cell[1])
            through += _soft(0.27 * pitch - np.hypot(dx, dy))
    elif mask.kind is MaskKind.SLOTS:
        for row in (0, 1):
            dx = _away(x - (gun - 1) * pitch / 3 - row * pitch, cell[0])
            dy = _away(y - row * cell[1] / 2, cell[1])
            through += _soft(0.13 * pitch - np.abs(dx)) * _soft(0.42 * cell[1] - np.abs(dy))
    else:
        through += _soft(0.13 * pitch - np.abs(_away(x - (gun - 1) * pitch / 3, pitch)))
    through = _averaged(through, sample_mm / cell[0], sample_mm / cell[1])
    table = through.reshape(_MASK_CELLS, 4, _MASK_CELLS, 4).mean(axis=(1, 3))
    angle = np.radians(mask.turn_deg)
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    return MaskTable(cell_mm=cell, turn=turn, table=(table / table.mean()).astype(np.float32).ravel())


def _away(place: Floats, period: float) -> Floats:
    return (place + period / 2) % period - period / 2


def _soft(inside: Floats, edge_mm: float = 0.02) -> Floats:
    return np.clip(inside / edge_mm + 0.5, 0, 1)


def _averaged(cell: Floats, width: float, height: float) -> Floats:
    """A repeating cell averaged over a box of shares of the cell: by its Fourier series, where this is exact."""
    frequency = np.fft.fftfreq(len(cell), 1 / len(cell))
    box = np.sinc(frequency * width)[None, :] * np.sinc(frequency * height)[:, None]
    return np.real(np.fft.ifft2(np.fft.fft2(cell) * box))
