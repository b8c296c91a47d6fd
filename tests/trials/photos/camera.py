"""SIMULATION: a camera before the tube, OpenCV's pinhole with its lens model, and how light becomes codes in it.

The world's axes are those of the glass: x right, y down, z into the tube, in mm; the camera stands at negative z.
Photo pixels are (x, y), right and down, pixel centres at whole numbers. Channels are red, green, blue.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["NEUTRAL", "Camera", "distorted", "framed"]

Floats = NDArray[np.float64]

NEUTRAL = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
"""Colour filters that do not mix."""


@dataclass(frozen=True, kw_only=True)
class Camera:
    """A simulated camera and where it stands; `framed` makes one that has a rectangle of the world in its picture."""

    size: tuple[int, int] = (4000, 3000)
    focal_px: float = 4200.0
    centre_px: tuple[float, float] = (0.0, 0.0)
    """Principal point less the photograph's middle."""
    distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)
    """OpenCV's k1, k2, p1, p2, k3."""
    chromatic: tuple[tuple[float, float], tuple[float, float]] = ((0.0, 0.0), (0.0, 0.0))
    """(a, b) of red and of blue: image points scaled by 1 + a + b (r/r0)^2 about the principal point, against green."""
    distance_mm: float = 1200.0
    """From the point aimed at, along the optical axis."""
    tilt_deg: tuple[float, float] = (0.0, 0.0)
    """About the x axis and about the y axis of the glass."""
    roll_deg: float = 0.0
    aim_mm: tuple[float, float] = (0.0, 0.0)
    """The point of the marks' plane on the optical axis."""
    blur_px: float = 0.6
    """Standard deviation of the lens' blur."""
    vignetting: float = 1.0
    """Exponent of the fall-off against the cos^4 law; 0 is none."""
    crosstalk: tuple[tuple[float, float, float], ...] = ((0.94, 0.05, 0.01), (0.04, 0.92, 0.04), (0.01, 0.06, 0.93))
    """What each channel (row) sees of red, green and blue light."""
    full_well: float = 20000.0
    """Electrons at full scale: they set the shot noise. 0 is a camera without noise."""
    read_noise: float = 6.0
    """Electrons."""

    @cached_property
    def matrix(self) -> Floats:
        """OpenCV's camera matrix."""
        x, y = self.principal
        return np.array([[self.focal_px, 0, x], [0, self.focal_px, y], [0, 0, 1.0]])

    @property
    def principal(self) -> tuple[float, float]:
        """The principal point in pixels."""
        return (self.size[0] - 1) / 2 + self.centre_px[0], (self.size[1] - 1) / 2 + self.centre_px[1]

    @property
    def half_diagonal(self) -> float:
        """r0 of the chromatic step, in pixels."""
        return float(np.hypot(*self.size)) / 2

    @cached_property
    def rotation(self) -> Floats:
        """(3, 3): from the world's axes to the camera's."""
        x, y = np.radians(self.tilt_deg)
        z = np.radians(self.roll_deg)
        about_x = cv2.Rodrigues(np.array([x, 0.0, 0.0]))[0]
        about_y = cv2.Rodrigues(np.array([0.0, y, 0.0]))[0]
        about_z = cv2.Rodrigues(np.array([0.0, 0.0, z]))[0]
        return np.asarray(about_z @ about_x @ about_y, np.float64)

    @cached_property
    def translation(self) -> Floats:
        """(3,): the world's origin in the camera's axes."""
        aim = self.rotation @ np.array([*self.aim_mm, 0.0])
        return np.asarray(np.array([0, 0, self.distance_mm]) - aim, np.float64)

    def project(self, points: ArrayLike, channel: int) -> Floats:
        """(N, 2): pixels in which a channel has the points (N, 3) mm: cv2.projectPoints, then the chromatic step."""
        world = np.asarray(points, np.float64).reshape(-1, 1, 3)
        turn = cv2.Rodrigues(self.rotation)[0]
        seen = cv2.projectPoints(world, turn, self.translation, self.matrix, np.array(self.distortion))[0]
        return self._fringed(np.asarray(seen, np.float64).reshape(-1, 2), channel)

    def _fringe(self, channel: int) -> tuple[float, float]:
        return (0.0, 0.0) if channel == 1 else self.chromatic[channel // 2]

    def _fringed(self, pixels: Floats, channel: int) -> Floats:
        a, b = self._fringe(channel)
        away = pixels - self.principal
        square = (away**2).sum(axis=-1, keepdims=True) / self.half_diagonal**2
        return np.asarray(self.principal + away * (1 + a + b * square))

    def _unfringed(self, pixels: Floats, channel: int) -> Floats:
        a, b = self._fringe(channel)
        shown = pixels - self.principal
        away = shown
        # The scale differs from 1 by some thousandths: each round wins three digits.
        for _ in range(6):
            square = (away**2).sum(axis=-1, keepdims=True) / self.half_diagonal**2
            away = shown / (1 + a + b * square)
        return np.asarray(self.principal + away)

    def rays(self, pixels: ArrayLike, channel: int) -> tuple[Floats, Floats]:
        """The camera's place (3,) and the directions (N, 3), in the world, of what a channel has at pixels (N, 2)."""
        away = (self._unfringed(np.asarray(pixels, np.float64), channel) - self.principal) / self.focal_px
        flat = _undistorted(away, self.distortion)
        directions = np.concatenate((flat, np.ones((len(flat), 1))), axis=1) @ self.rotation
        return -self.rotation.T @ self.translation, directions

    def on_plane(self, pixels: ArrayLike, channel: int, depth: float = 0.0) -> Floats:
        """(N, 2): the points (x, y) mm of the plane z = depth that a channel has at pixels (N, 2)."""
        place, directions = self.rays(pixels, channel)
        return np.asarray(place[:2] - directions[:, :2] * ((place[2] - depth) / directions[:, 2:]))

    def on_sheet(self, pixels: ArrayLike, channel: int, middle: ArrayLike, axes: Floats) -> Floats:
        """(N, 2): the points of any plane, in mm from its `middle` (3,) along its two `axes` (2, 3)."""
        place, directions = self.rays(pixels, channel)
        away = place - np.asarray(middle, np.float64)
        normal = np.cross(axes[0], axes[1])
        reach = -(away @ normal) / (directions @ normal)
        return np.asarray((away + directions * reach[:, None]) @ axes.T)

    def on_sphere(
        self,
        pixels: ArrayLike,
        channel: int,
        radius: float,
        corner: tuple[float, float],
        curved: ArrayLike = (1.0, 1.0),
        depth: float = 0.0,
    ) -> Floats:
        """The same on a sphere toward the camera that meets the plane z = depth at `corner` (mm); x and y only.

        `curved` is 0 for a direction in which it is straight: a cylinder. Where a ray passes it by, its nearest point
        counts; nothing is shown there.
        """
        place, directions = self.rays(pixels, channel)
        weights = np.array([*np.asarray(curved, np.float64), 1.0])
        middle = np.array([0.0, 0.0, np.sqrt(radius**2 - np.square(corner) @ weights[:2]) + depth])
        away = place - middle
        a = directions**2 @ weights
        b = directions @ (away * weights)
        c = float(away**2 @ weights) - radius**2
        reach = (-b - np.sqrt(np.clip(b * b - a * c, 0, None))) / a
        return np.asarray(place[:2] + directions[:, :2] * reach[:, None])

    def vignette(self, pixels: ArrayLike) -> Floats:
        """(N,): the light that reaches pixels (N, 2), as a share of the principal point's."""
        away = (np.asarray(pixels, np.float64) - self.principal) / self.focal_px
        return np.asarray((1 + (away**2).sum(axis=-1)) ** (-2 * self.vignetting))


def _undistorted(away: Floats, distortion: tuple[float, ...]) -> Floats:
    """Normalised image points without OpenCV's distortion, by fixed-point steps until nothing moves."""
    k1, k2, p1, p2, k3 = distortion
    x0, y0 = away[:, 0], away[:, 1]
    x, y = x0, y0
    for _ in range(40):
        square = x * x + y * y
        radial = 1 + square * (k1 + square * (k2 + square * k3))
        next_x = (x0 - 2 * p1 * x * y - p2 * (square + 2 * x * x)) / radial
        next_y = (y0 - p1 * (square + 2 * y * y) - 2 * p2 * x * y) / radial
        moved = max(np.abs(next_x - x).max(), np.abs(next_y - y).max())
        x, y = next_x, next_y
        if moved < 1e-11:
            break
    return np.stack((x, y), axis=1)


def distorted(camera: Camera, percent: float, *, wavy: float = 0.15, skew: float = 0.0) -> Camera:
    """The camera with a lens that moves the photograph's corners by so many percent, outward positive.

    `wavy` is the share of k2 in it, against k1's; `skew` is added as p1 and, negative, as p2.
    """
    square = (camera.half_diagonal / camera.focal_px) ** 2
    k1 = percent / 100 / square / (1 - wavy)
    k2 = -wavy * k1 / square
    return replace(camera, distortion=(k1, k2, skew, -skew, 0.0))


def framed(camera: Camera, half_mm: tuple[float, float], fill: float = 0.94) -> Camera:
    """The camera at the distance from which the rectangle of +-`half_mm` fills that share of its picture."""
    corners = np.array([(sx * half_mm[0], sy * half_mm[1], 0.0) for sy in (-1, 0, 1) for sx in (-1, 0, 1)])
    limit = np.array(camera.size) * fill / 2
    near, far = 1.2 * max(half_mm), 200.0 * max(half_mm)
    for _ in range(40):
        middle = np.sqrt(near * far)
        seen = replace(camera, distance_mm=middle).project(corners, 1)
        inside = np.all(np.abs(seen - (np.array(camera.size) - 1) / 2) < limit)
        near, far = (near, middle) if inside else (middle, far)
    return replace(camera, distance_mm=float(far))
