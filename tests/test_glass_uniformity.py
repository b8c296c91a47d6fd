"""Plain fields photographed: fall-off, colour, blotches, and what is refused. The photographs are SIMULATED here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.glass.photo import Photo, read_photo
from analysis.glass.uniformity import Blotch, Field, Uniformity, measure_uniformity, to_json
from render.decode import FileError

Floats = NDArray[np.float64]
Field2d = Callable[[Floats, Floats], Floats]

# A usual 4:3 face, seen a little from the left and above.
CORNERS = ((0.17, 0.14), (0.86, 0.17), (0.84, 0.87), (0.19, 0.84))
GREEN_DISC = (1.0, 1.05, 1.0)


@dataclass(frozen=True, kw_only=True)
class Spot:
    """A disc of other light: (u, v), its diameter as a share of the picture's height, factors of its channels."""

    u: float
    v: float
    diameter: float
    factors: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class View:
    """One simulated photograph of a plain field."""

    light: tuple[float, float, float] = (0.28, 0.3, 0.35)
    fall_off: float = 0.24
    """To the corners, growing with the square of the distance."""
    tint: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Relative change of each channel from left to right."""
    spots: tuple[Spot, ...] = ()
    size: tuple[int, int] = (1600, 1200)
    corners: tuple[tuple[float, float], ...] = CORNERS
    vignetting: float = 0.45
    """Tangent of half the field of view: light falls with the cosine's fourth power."""
    shading: tuple[float, float, float] = (0.0, 0.0, 0.0)
    room: float = 0.0
    bezel: float = 0.004
    noise: float = 0.01
    structure: float = 0.5
    """Depth of scan lines and mask."""
    lines: int = 288
    quality: int | None = 90
    seed: int = 1

    @property
    def square(self) -> Floats:
        pixels = np.array(self.corners) * self.size - 0.5
        source = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], np.float32)
        return np.asarray(cv2.getPerspectiveTransform(source, pixels.astype(np.float32)), np.float64)

    def tube(self, u: Floats, v: Floats) -> Floats:
        """(..., 3): the tube's light, without its lines and mask."""
        light = (1 - self.fall_off * (u**2 + v**2) / 2)[..., None] * np.array(self.light)
        light = light * (1 + np.array(self.tint) * (u[..., None] + 1) / 2)
        for spot in self.spots:
            inside = np.hypot((u - spot.u) * 4 / 3, v - spot.v) < spot.diameter
            light = light * np.where(inside[..., None], spot.factors, 1.0)
        return np.asarray(light, np.float64)

    def zone(self, row: int, column: int) -> Floats:
        """(3,): the mean light of a zone, by sums over many points."""
        steps = (np.arange(200) + 0.5) / 200 * 0.4
        u, v = np.meshgrid(-1 + 0.4 * column + steps, -1 + 0.4 * row + steps)
        return np.asarray(self.tube(u, v).mean(axis=(0, 1)), np.float64)


def camera_loss(view: View, x: Floats, y: Floats) -> Floats:
    """(rows, columns, 3): what the lens and the sensor keep."""
    size = np.array(view.size)
    radius = np.hypot(x - size[0] / 2, y - size[1] / 2) / np.hypot(*size) * 2
    kept = (1 + (radius * view.vignetting) ** 2) ** -2
    return np.asarray(kept[..., None] * (1 + np.array(view.shading) * radius[..., None] ** 2), np.float64)


def photograph(view: View) -> NDArray[np.uint8]:
    """R'G'B' codes of a photograph of the tube."""
    width, height = view.size
    x, y = np.meshgrid(np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64))
    over = np.stack([x, y, np.ones_like(x)], axis=-1) @ np.linalg.inv(view.square).T
    u, v = over[..., 0] / over[..., 2], over[..., 1] / over[..., 2]
    # Sides curved by 1 % and corners rounded: a lit face, soft over about a pixel.
    edge = np.maximum(np.abs(u) + 0.01 * v**2, np.abs(v) + 0.01 * u**2) - 1.005
    corner = np.hypot(np.maximum(np.abs(u) - 0.94, 0) * 4 / 3, np.maximum(np.abs(v) - 0.92, 0)) - 0.09
    lit = np.clip(0.5 - np.maximum(edge, corner) * height * 0.35, 0, 1)
    light = view.tube(u, v)
    # Mean 1 over a line, and over a triad of the mask, whose three stripes lie apart.
    light *= (1 + view.structure * np.cos(np.pi * view.lines * v))[..., None]
    light *= 1 + view.structure * np.cos(np.pi * 420 * u[..., None] + np.array([0, 2, 4]) * np.pi / 3)
    light = light * lit[..., None] + view.bezel * (1 - lit[..., None]) + view.room
    return developed(light * camera_loss(view, x, y), view)


def developed(light: Floats, view: View) -> NDArray[np.uint8]:
    random = np.random.default_rng(view.seed)
    light = light + random.normal(size=light.shape) * view.noise * np.sqrt(np.maximum(light, 0) + 1e-4)
    # IEC 61966-2-1, from memory.
    light = np.clip(light, 0, 1)
    codes = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.rint(codes * 255).astype(np.uint8)


def surface(view: View, level: float = 0.5, rise: float = 0.0) -> NDArray[np.uint8]:
    """A photograph of an evenly lit surface by the same camera; `rise` from left to right if it was not."""
    width, height = view.size
    x, y = np.meshgrid(np.arange(width, dtype=np.float64), np.arange(height, dtype=np.float64))
    light = level * (1 + rise * (x / width - 0.5))[..., None] * np.array([1.0, 0.95, 0.8])
    return developed(light * camera_loss(view, x, y), replace(view, seed=view.seed + 1000))


def photo_of(codes: NDArray[np.uint8], path: Path, quality: int | None = 90) -> Photo:
    """The photograph as read from a file, JPEG or (quality None) PNG."""
    path = path.with_suffix(".jpg" if quality else ".png")
    done = cv2.imwrite(str(path), codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality] if quality else [])
    assert done
    return read_photo(path)


def shot(view: View, folder: Path, name: str = "field") -> Photo:
    return photo_of(photograph(view), folder / name, view.quality)
