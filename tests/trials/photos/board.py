"""SIMULATION: photographs by which a camera is known: of a printed calibration board, and of an even field.

The board is OpenCV's own drawing of a ChArUco board; it lies in the plane z = 0 with its middle at the origin, and the
camera's pose says how it is held.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.trials.photos.camera import Camera, framed
from tests.trials.photos.lookout import Lookout
from tests.trials.photos.photograph import expose
from tests.trials.photos.scene import BEZEL, INK, PAPER, Shot

__all__ = ["Board", "board_cameras", "board_photograph", "flat_field"]

Floats = NDArray[np.float64]

_FINE = 2
"""Samples a pixel and direction; the board's texels are as large, so that edges keep their places."""
_STRIP = 64
"""Pixel rows that are drawn at once."""


@dataclass(frozen=True, kw_only=True)
class Board:
    """A ChArUco board."""

    columns: int = 7
    rows: int = 10
    square_mm: float = 24.0
    mark_mm: float = 18.0
    dictionary: int = cv2.aruco.DICT_5X5_100
    modules: int = 7
    """Across a code of that dictionary, its border included."""
    white_mm: float = 10.0
    """Paper around the board."""

    @property
    def half_mm(self) -> tuple[float, float]:
        """Half the width and half the height of the paper."""
        return self.columns * self.square_mm / 2 + self.white_mm, self.rows * self.square_mm / 2 + self.white_mm

    @property
    def corners_mm(self) -> Floats:
        """(N, 3): the inner corners in OpenCV's order of ids, from the board's middle."""
        x = (np.arange(1, self.columns) - self.columns / 2) * self.square_mm
        y = (np.arange(1, self.rows) - self.rows / 2) * self.square_mm
        over_x, over_y = np.meshgrid(x, y)
        return np.stack((over_x.ravel(), over_y.ravel(), np.zeros(over_x.size)), axis=1)

    def texture(self, texel_mm: float) -> tuple[NDArray[np.float32], float]:
        """The board on its paper in linear light, and the side of a texel in mm, about `texel_mm`."""
        # Whole texels to a module of a code, and to a square and its edge (28/3 and 7/6 modules), else OpenCV rounds
        # their places.
        per_module = 6 * max(1, round(self.mark_mm / self.modules / texel_mm / 6))
        texel = self.mark_mm / self.modules / per_module
        width, height = (round(n * self.square_mm / texel) for n in (self.columns, self.rows))
        drawn = cv2.aruco.CharucoBoard(
            (self.columns, self.rows),
            self.square_mm,
            self.mark_mm,
            cv2.aruco.getPredefinedDictionary(self.dictionary),
        ).generateImage((width, height), marginSize=0, borderBits=1)
        paper = np.where(np.asarray(drawn) > 127, PAPER, INK).astype(np.float32)
        return np.pad(paper, round(self.white_mm / texel), constant_values=PAPER), texel


def board_photograph(camera: Camera, board: Board, shot: Shot | None = None, *, seed: int = 0) -> NDArray[np.uint8]:
    """(height, width, 3) of red, green and blue: the board as the camera sees it."""
    shot = shot or Shot(room=0.7, tube_lit=False)
    width, height = camera.size
    image = np.empty((height, width, 3), np.float32)
    for channel in range(3):
        image[..., channel] = _board_plane(camera, board, channel)
    right, down = shot.room_slope
    image *= np.linspace(1 - right, 1 + right, width, dtype=np.float32)[:, None]
    image *= np.linspace(1 - down, 1 + down, height, dtype=np.float32)[:, None, None] * np.float32(shot.room / PAPER)
    return expose(image, camera, shot, seed=seed)


def _board_plane(camera: Camera, board: Board, channel: int) -> NDArray[np.float32]:
    width, height = camera.size
    wall = Lookout(camera.size, lambda pixels: camera.on_plane(pixels, channel))
    texture, texel = board.texture(wall.pixel_mm / _FINE)
    columns = slice(0, width)
    fine = np.empty((height * _FINE, width * _FINE), np.float32)
    for top in range(0, height, _STRIP):
        rows = slice(top, min(top + _STRIP, height))
        places = (wall.full(wall.mesh[..., k], rows, columns, _FINE) for k in (0, 1))
        x, y = ((p / texel + (n - 1) / 2).astype(np.float32) for p, n in zip(places, texture.shape[::-1], strict=True))
        flags: dict[str, Any] = {"borderMode": cv2.BORDER_CONSTANT, "borderValue": BEZEL}
        fine[rows.start * _FINE : rows.stop * _FINE] = cv2.remap(texture, x, y, cv2.INTER_LINEAR, **flags)
    if camera.blur_px > 0:
        cv2.GaussianBlur(fine, (0, 0), camera.blur_px * _FINE, dst=fine)
    return np.asarray(cv2.resize(fine, (width, height), interpolation=cv2.INTER_AREA), np.float32)


def board_cameras(camera: Camera, board: Board, count: int, *, seed: int = 0) -> list[Camera]:
    """The same lens at `count` poses before a board, as one would hold it: near, tilted, turned, toward all corners."""
    rng = np.random.default_rng(seed)
    cameras = []
    for number in range(count):
        # A board higher than wide fills a photograph better when it is turned.
        tall = (board.rows > board.columns) == (camera.size[0] > camera.size[1])
        turned = 90 * tall + 180 * (number % 2) * (number % 3 == 0)
        tilt = rng.uniform(10, 32) * (number > 0)
        way = 2 * np.pi * (number * 0.382 + rng.uniform(-0.05, 0.05))
        # One in three from farther away and aimed beside the board, so that it comes to lie toward a corner.
        fill = (0.98, 0.85, 0.6)[number % 3]
        pose = framed(
            replace(
                camera,
                tilt_deg=(float(tilt * np.cos(way)), float(tilt * np.sin(way))),
                roll_deg=float(turned + rng.uniform(-8, 8)),
                aim_mm=(0.0, 0.0),
            ),
            board.half_mm,
            fill,
        )
        reach = (0.0, 0.15, 0.5)[number % 3]
        aim = (reach * board.half_mm[0] * np.cos(3 * way), reach * board.half_mm[1] * np.sin(3 * way))
        cameras.append(replace(pose, aim_mm=(float(aim[0]), float(aim[1]))))
    return cameras


def flat_field(camera: Camera, level: float = 0.6, *, seed: int = 0) -> NDArray[np.uint8]:
    """(height, width, 3): an evenly lit white surface that fills the photograph: what is uneven is the camera's."""
    width, height = camera.size
    return expose(np.full((height, width, 3), level, np.float32), camera, Shot(halo=0.0), seed=seed)
