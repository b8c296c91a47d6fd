"""What several photographs of one grid have in common, as numbers, and where a camera has a point of it.

The grid's crossings lie on the face, a part of an ellipsoid whose axis is square to the plane z = 0; lengths are in mm,
x right, y down, z into the tube. Marks, where there are some, lie in that plane; without marks it touches the face's
middle. The camera is OpenCV's (`cv2.projectPoints`), one lens for all photographs, with a focal length that changes a
little as each photograph is focused.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

__all__ = ["OF_SCENE", "OF_VIEW", "Places", "SharedScene"]

Floats = NDArray[np.float64]

OF_SCENE = ("log_focal", "cx", "cy", "k1", "k2", "p1", "p2", "across", "down", "apex_x", "apex_y", "depth", "turn")
"""Parameters that all photographs share: the lens, the face's curvatures in 1/mm, the place of its middle, how far it
lies behind the marks at their corners, and by what angle its axes are turned clockwise."""
OF_VIEW = ("turn_x", "turn_y", "turn_z", "move_x", "move_y", "move_z", "breathing")
"""Those of each photograph: OpenCV's rotation and translation, and the logarithm of its own focal length's factor."""
_LENS = slice(0, 7)
_FACE = slice(7, 13)
_SMALL = 1e-12


@dataclass(frozen=True, eq=False)
class Places:
    """Pixels (N, 2) of points in one photograph, and how they change."""

    pixels: Floats
    by_scene: Floats
    """(N, 2, parameters of the scene)."""
    by_view: Floats
    """(N, 2, parameters of a photograph)."""
    by_point: Floats
    """(N, 2, 2 or 3): by x and y of points of the face, of marks by z too."""


@dataclass(frozen=True, eq=False)
class SharedScene:
    """The parameters `OF_SCENE`, in that order."""

    values: Floats
    corner_mm: tuple[float, float] = (0.0, 0.0)
    """Half the width and height of the marks' rectangle; the face passes `depth` behind its corners."""

    def face(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """z of places (N, 2) of the face, its slopes (N, 2), and its changes (N, 6) with the face's parameters."""
        across, down, apex_x, apex_y, depth, turn = self.values[_FACE]
        axes = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
        own = (points - (apex_x, apex_y)) @ axes
        sag, along, by_curve = _sag(own, across, down)
        slopes, by_turn = along @ axes.T, along[:, 0] * own[:, 1] - along[:, 1] * own[:, 0]
        corner, _, corner_by_curve = _sag(np.array([self.corner_mm]), across, down)
        changes = np.column_stack([by_curve - corner_by_curve, -slopes, np.ones(len(points)), by_turn])
        return depth + sag - corner, slopes, changes

    def on_face(self, points: Floats) -> Floats:
        """(N, 3) of places (N, 2) of the face."""
        return np.column_stack([points, self.face(points)[0]])

    def see(self, view: Floats, points: Floats) -> Places:
        """Places of the face (N, 2), or points of space (N, 3), in the photograph with parameters `view` (7,)."""
        with_face = points.shape[1] == 2
        space = self.on_face(points) if with_face else points
        log_focal, cx, cy, *bends = self.values[_LENS]
        focal = float(np.exp(log_focal + view[6]))
        matrix = np.array([[focal, 0, cx], [0, focal, cy], [0, 0, 1.0]])
        pixels, slopes = cv2.projectPoints(space, view[:3], view[3:6], matrix, np.array(bends))
        slopes = slopes.reshape(len(points), 2, -1)
        # OpenCV's columns: turn, move, both focal lengths, principal point, then k1, k2, p1, p2.
        by_focal = focal * slopes[..., 6:8].sum(axis=-1)
        by_space = slopes[..., 3:6] @ cv2.Rodrigues(view[:3])[0]
        by_scene = np.zeros((len(points), 2, len(OF_SCENE)))
        by_scene[..., 0], by_scene[..., 1:7] = by_focal, slopes[..., 8:14]
        by_point = by_space
        if with_face:
            _, lean, by_face = self.face(points)
            by_scene[..., _FACE] = by_space[..., 2:] * by_face[:, None]
            by_point = by_space[..., :2] + by_space[..., 2:] * lean[:, None]
        by_view = np.concatenate([slopes[..., :6], by_focal[..., None]], axis=-1)
        return Places(pixels.reshape(-1, 2).astype(np.float64), by_scene, by_view, np.asarray(by_point, np.float64))

    def to_face(self, view: Floats, pixels: Floats, start: Floats) -> Floats:
        """(N, 2): places of the face that are seen at pixels (N, 2), by Newton's method from `start` (N, 2)."""
        found = np.array(start, np.float64)
        known = np.isfinite(pixels).all(axis=1) & np.isfinite(found).all(axis=1)
        found[~known] = np.nan
        if not known.any():
            return found
        at = found[known]
        for _ in range(8):
            seen = self.see(view, at)
            at = at + np.linalg.solve(seen.by_point, (pixels[known] - seen.pixels)[..., None])[..., 0]
        found[known] = at
        return found


def _sag(away: Floats, across: float, down: float) -> tuple[Floats, Floats, Floats]:
    """How far an ellipsoid falls back, its slopes (N, 2), and the changes (N, 2) with both curvatures in its middle.

    A sphere and a cylinder are exact. Between them the curvature along the axis is that of their weighted mean.
    """
    x, y = away.T
    total = across + down if abs(across + down) > _SMALL else _SMALL
    axial = (across**2 + down**2) / total
    square = across * x**2 + down * y**2
    root = np.sqrt(np.clip(1 - axial * square, 1e-3, None))
    sag = square / (1 + root)
    by_square = 1 / (2 * root)
    by_axial = square**2 / (2 * root * (1 + root) ** 2)
    slopes = np.column_stack([by_square * 2 * across * x, by_square * 2 * down * y])
    axial_by = [(2 * own * total - (across**2 + down**2)) / total**2 for own in (across, down)]
    by_curve = np.column_stack([by_square * x**2 + by_axial * axial_by[0], by_square * y**2 + by_axial * axial_by[1]])
    return sag, slopes, by_curve
