"""SIMULATION: a phone's camera on a stand before the set, and the marks around the glass.

The world is in mm: x right, y down, z into the tube, z = 0 is the marks' plane. Pixels are (x, y), their middles at
whole numbers. Channels are red, green and blue.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trueraster.bench.simulated.tube import Face

__all__ = ["MARK_BITS", "MARK_MM", "PAPER_MM", "Camera", "posed"]

Floats = NDArray[np.float64]

MARK_BITS = (
    ("1011", "0101", "0011", "0010"),
    ("0000", "1111", "1001", "1010"),
    ("0011", "0011", "0010", "1101"),
    ("1001", "1001", "0100", "0110"),
)
"""ArUco's dictionary 4X4_50, ids 0 to 3: top left, top right, bottom right, bottom left; 1 is white."""
MARK_MM, PAPER_MM = 30.0, 45.0
"""Sides of a mark's black square, and of the paper that it is printed on."""
_FILL = 0.93
"""Share of the photograph's width or height that marks and set take up."""


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Camera:
    """A camera and where it stands."""

    size: tuple[int, int]
    focal_px: float
    centre_px: tuple[float, float]
    """Principal point less the photograph's middle."""
    radial: float
    """Of Brown's model: image points moved by 1 + radial * r^2, r in focal lengths."""
    chromatic: tuple[float, float, float]
    """By what share each channel is larger."""
    turn: Floats
    """(3, 3): from the world's axes to the camera's."""
    distance_mm: float
    """From the middle between the marks."""

    @property
    def principal(self) -> Floats:
        """(2,) in pixels."""
        return np.asarray((np.array(self.size) - 1) / 2 + np.array(self.centre_px))

    def project(self, points: Floats, channel: int = 1) -> Floats:
        """(..., 2): pixels of points (..., 3) in mm."""
        seen = points @ self.turn.T + np.array([0, 0, self.distance_mm])
        flat = seen[..., :2] / seen[..., 2:]
        square = (flat**2).sum(axis=-1, keepdims=True)
        size = self.focal_px * (1 + self.chromatic[channel])
        return np.asarray(self.principal + size * flat * (1 + self.radial * square))

    def _rays(self, pixels: Floats, channel: int) -> tuple[Floats, Floats]:
        """The camera's place (3,) and directions (..., 3) in the world."""
        shown = (pixels - self.principal) / (self.focal_px * (1 + self.chromatic[channel]))
        flat = shown
        # Each round wins three digits.
        for _ in range(4):
            flat = shown / (1 + self.radial * (flat[..., :1] ** 2 + flat[..., 1:] ** 2))
        ahead = np.concatenate((flat, np.ones((*flat.shape[:-1], 1))), axis=-1)
        return -self.turn.T @ np.array([0, 0, self.distance_mm]), ahead @ self.turn

    def on_marks(self, pixels: Floats, channel: int) -> Floats:
        """(..., 2): points of the marks' plane."""
        place, ahead = self._rays(pixels, channel)
        return np.asarray(place[:2] - ahead[..., :2] * (place[2] / ahead[..., 2:]))

    def on_face(self, pixels: Floats, channel: int, face: Face) -> Floats:
        """(..., 2): points of the face, x and y."""
        place, ahead = self._rays(pixels, channel)
        if face.radius_mm is None:
            return np.asarray(place[:2] + ahead[..., :2] * ((face.depth_mm - place[2]) / ahead[..., 2:]))
        corner = float(np.hypot(*face.marks_mm)) / 2
        middle = np.array([0, 0, np.sqrt(face.radius_mm**2 - corner**2) + face.depth_mm])
        away = place - middle
        a = (ahead**2).sum(axis=-1)
        b = ahead @ away
        c = float(away @ away) - face.radius_mm**2
        reach = (-b - np.sqrt(np.clip(b * b - a * c, 0, None))) / a
        return np.asarray(place[:2] + ahead[..., :2] * reach[..., None])


def posed(size: tuple[int, int], face: Face, rng: np.random.Generator) -> Camera:
    """A camera that somebody has put before the set: nearly square to it, all four marks in the picture."""
    down, side = np.radians(rng.uniform(-2.5, 2.5, 2))
    roll = np.radians(rng.uniform(-1, 1))
    about_x = np.array([[1, 0, 0], [0, np.cos(down), -np.sin(down)], [0, np.sin(down), np.cos(down)]])
    about_y = np.array([[np.cos(side), 0, np.sin(side)], [0, 1, 0], [-np.sin(side), 0, np.cos(side)]])
    about_z = np.array([[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]])
    focal = 1.4
    # A phone straightens its lens by itself, to some thousandths at the corners.
    square = (np.hypot(*size) / 2 / (focal * size[0])) ** 2
    camera = Camera(
        size=size,
        focal_px=focal * size[0],
        centre_px=(float(rng.uniform(-0.004, 0.004)) * size[0], float(rng.uniform(-0.004, 0.004)) * size[0]),
        radial=float(np.clip(rng.normal(0, 0.0025), -0.005, 0.005) / square),
        chromatic=(float(rng.uniform(-2e-4, 2e-4)), 0.0, float(rng.uniform(-2e-4, 2e-4))),
        turn=about_z @ about_x @ about_y,
        distance_mm=1000.0,
    )
    half = (np.array(face.marks_mm) + PAPER_MM) / 2
    ends = np.array([(x * half[0], y * half[1], 0.0) for x in (-1, 1) for y in (-1, 1)])
    near, far = 300.0, 6000.0
    for _ in range(40):
        middle = (near + far) / 2
        seen = replace(camera, distance_mm=middle).project(ends)
        fits = bool((np.abs(seen - (np.array(size) - 1) / 2) < np.array(size) * _FILL / 2).all())
        near, far = (near, middle) if fits else (middle, far)
    return replace(camera, distance_mm=far)
