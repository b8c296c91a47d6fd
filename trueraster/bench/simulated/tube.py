"""SIMULATION: the invented set's tube: where its guns put the picture, and what light they make.

Glass positions are mm in the plane of the marks, x right, y down, from the middle between the marks. Picture points
u, v run from -1 to 1 over the picture, right and down. Guns are in the order red, green, blue.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trueraster.bench.simulated.controls import GUNS, Place

__all__ = ["TERMS", "Face", "Guns", "Raster"]

Floats = NDArray[np.float64]

TERMS = ("1", "u", "v", "uv", "u2", "v2", "u3", "uv2", "u2v", "v3")
_MIDDLES = {"u2": ("1", 1 / 3), "v2": ("1", 1 / 3), "u3": ("u", 3 / 5), "uv2": ("u", 1 / 3)} | {
    "u2v": ("v", 1 / 3),
    "v3": ("v", 3 / 5),
}
"""What a term has of place and size over the whole picture: a control that bends the picture keeps those."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """The glass before the picture."""

    width_mm: float
    """Of the visible opening."""
    height_mm: float
    depth_mm: float
    """How far the picture lies behind the marks; of a curved face where it reaches their corners."""
    radius_mm: float | None
    """Of the sphere that it is part of; None is flat."""
    marks_mm: tuple[float, float]
    """Width and height between the marks' middles."""
    corner_mm: float = 14.0
    """Radius of the opening's corners."""

    def inside(self, x: Floats, y: Floats) -> Floats:
        """Millimetres inside the opening's edge, negative outside."""
        dx = np.abs(x) - self.width_mm / 2 + self.corner_mm
        dy = np.abs(y) - self.height_mm / 2 + self.corner_mm
        outer = np.hypot(np.maximum(dx, 0), np.maximum(dy, 0))
        return np.asarray(self.corner_mm - outer - np.minimum(np.maximum(dx, dy), 0))


@dataclass(frozen=True, eq=False, slots=True)
class Raster:
    """Where each gun puts points of the picture: millimetres of every term, (3 guns, 2 axes, 10 terms)."""

    terms: Floats

    @classmethod
    def of(cls, half_mm: tuple[float, float], moved: Mapping[Place, float]) -> Raster:
        """From what controls have moved, in mm of each gun's and the whole picture's axis and term."""
        whole = np.zeros((2, len(TERMS)))
        whole[0, 1], whole[1, 2] = half_mm
        guns = np.zeros((3, 2, len(TERMS)))
        angle = 0.0
        for (gun, place), value in moved.items():
            axis, _, term = place.partition(" ")
            if axis not in ("x", "y"):
                continue
            row = "xy".index(axis)
            if gun:
                guns[GUNS.index(gun), row, TERMS.index(term)] += value
            elif place == "y u":
                angle += value / half_mm[0]
            else:
                whole[row, TERMS.index(term)] += value
                lower, share = _MIDDLES.get(term, ("1", 0.0))
                whole[row, TERMS.index(lower)] -= share * value
        turned = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        return cls(turned @ whole + guns)

    def places(self, u: ArrayLike, v: ArrayLike, gun: int) -> Floats:
        """(..., 2): where a gun puts picture points, in mm."""
        return np.asarray(_basis(np.asarray(u, float), np.asarray(v, float)) @ self.terms[gun].T)

    def points(self, places: Floats, gun: int) -> Floats:
        """(..., 2): the picture points that a gun puts to places (..., 2), by Newton's method."""
        given = self.terms[gun]
        found = (places - given[:, 0]) @ np.linalg.inv(given[:, 1:3]).T
        # Far outside the picture the polynomial may fold over; nothing is shown there.
        outside = np.abs(found).max(axis=-1) > 1.5
        for _ in range(5):
            u, v = found[..., 0], found[..., 1]
            miss = _basis(u, v) @ given.T - places
            by_u, by_v = (slope @ given.T for slope in _slopes(u, v))
            area = by_u[..., 0] * by_v[..., 1] - by_u[..., 1] * by_v[..., 0]
            step_u = (miss[..., 0] * by_v[..., 1] - miss[..., 1] * by_v[..., 0]) / area
            step_v = (miss[..., 1] * by_u[..., 0] - miss[..., 0] * by_u[..., 1]) / area
            step = np.stack((step_u, step_v), axis=-1)
            found = found - np.where(outside[..., None], 0.0, step)
        return np.asarray(found)


def _basis(u: Floats, v: Floats) -> Floats:
    return np.stack((np.ones_like(u), u, v, u * v, u * u, v * v, u**3, u * v * v, u * u * v, v**3), axis=-1)


def _slopes(u: Floats, v: Floats) -> tuple[Floats, Floats]:
    one, none = np.ones_like(u), np.zeros_like(u)
    by_u = np.stack((none, one, none, v, 2 * u, none, 3 * u * u, v * v, 2 * u * v, none), axis=-1)
    by_v = np.stack((none, none, one, u, none, 2 * v, none, 2 * u * v, u * u, 3 * v * v), axis=-1)
    return by_u, by_v


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Guns:
    """What light the guns make of a signal: peak * max(drive * signal + cutoff, 0) ** gamma."""

    primaries: Floats
    """(3, 2): x and y of each phosphor."""
    peak: Floats
    """(3,) cd/m2."""
    gamma: Floats
    cutoff: Floats
    """(3,) in parts of the signal from black to white."""
    drive: Floats
    room: Floats
    """(3,) XYZ in cd/m2 of the room's light that the glass throws back."""

    def moved(self, moved: Mapping[Place, float]) -> Guns:
        """With cut-offs and drives moved by parts of 1, as controls do it."""
        drive = self.drive * np.array([1 + moved.get((gun, "drive"), 0.0) for gun in GUNS])
        cutoff = self.cutoff + drive * np.array([moved.get((gun, "cutoff"), 0.0) for gun in GUNS])
        return Guns(
            primaries=self.primaries,
            peak=self.peak,
            gamma=self.gamma,
            cutoff=cutoff,
            drive=drive,
            room=self.room,
        )

    def lights(self, signals: ArrayLike) -> Floats:
        """(..., 3) cd/m2 of each gun, of signals (..., 3) from 0 to 1."""
        driven = np.asarray(signals, np.float64) * self.drive + self.cutoff
        return np.asarray(self.peak * np.maximum(driven, 0) ** self.gamma)

    def shown(self, signals: ArrayLike) -> Floats:
        """(..., 3): XYZ in cd/m2."""
        x, y = self.primaries.T
        matrix = np.array([x / y, np.ones(3), (1 - x - y) / y])
        return np.asarray(self.lights(signals) @ matrix.T + self.room)
