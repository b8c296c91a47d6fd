"""What the bundle fit starts from, and what is known before it: usual lenses and faces, rulers, and a first camera."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.lens.model import Lens
from analysis.photo.face import USUAL_DEPTH_MM, Face
from analysis.photo.marks import SeenMarks
from analysis.photo.marksfit import rectangle
from analysis.photo.pose import USUAL_FOCAL
from analysis.raster.bundle.scene import OF_SCENE
from analysis.raster.bundle.solve import Known, View
from analysis.raster.grid import ShownGrid

__all__ = ["USUAL_HEIGHT_MM", "Ruler", "Taken", "problem_of"]

Floats = NDArray[np.float64]

USUAL_HEIGHT_MM = 300.0
"""Of a picture whose size is not known (common practice, no source)."""
_FOCAL_SIGMA = 0.5
"""Of the logarithm of the focal length: next to nothing is known of it."""
_BREATHING = 0.002
"""By how much, relative, the focal length changes from one hand-held photograph to the next as each is focused (common
practice, no source)."""
_BEND, _HIGHER_BEND = 0.03, 0.01
"""Distortion at the photograph's corner that a lens may have by its first and second coefficient (common practice, no
source)."""
_SKEW = 1e-3
"""The same of p1 and p2."""
_PRINCIPAL = 0.01
"""Of the principal point, as a share of the photograph's width (common practice, no source)."""
_CURVED = 1 / 1200
"""1/mm: mean and standard uncertainty of a face's curvature, each way by itself (common practice, no source)."""
_APEX_MM = 2.0
"""Of the place of the face's middle against that of the glass's opening (common practice, no source)."""
_APEX_OF_MARKS_MM = 4.0
"""Against that of the marks."""
_APEX_OF_PICTURE = 0.025
"""Against that of the picture, where nothing else is seen, as a share of its height."""
_TURN, _TURN_OF_MARKS, _TURN_SEEN = 0.025, 0.01, 0.005
"""Of how a cylinder's axis is turned, in radians: against the picture, the marks and the glass's opening (common
practice, no source)."""
_GIVEN_MM = 1.0
"""Of a depth that is given: what lies behind the glass is seen through it (common practice, no source)."""
_PLACED_MM = 0.3
"""Of each mark's place, in the plane and out of it (common practice, no source)."""
_FREE_MM = 60.0
"""The same where nobody measured how far apart they are."""
_GIVEN_CURVE = 0.02
"""Relative, of a radius that is given."""
_TINY = 1e-6


@dataclass(frozen=True, kw_only=True)
class Ruler:
    """What is known of lengths, and of the face."""

    marks_mm: tuple[float, float] | None = None
    marks_sigma_mm: float = 0.0
    face: Face | None = None
    depth_mm: float | None = None
    height_mm: float | None = None
    """Nearly, of the whole picture, where that is known: for what is usual of faces, which is in mm."""
    apex_mm: tuple[float, float] = (0.0, 0.0)
    """Where the middle of the face is nearly."""
    turn: float = 0.0
    """By how much its axes are nearly turned clockwise, in radians."""
    apex_is_seen: bool = False
    """Whether that is the middle of the glass's opening."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Taken:
    """What is seen in one photograph, in pixels of the sensor."""

    nodes: Floats
    """(rows, columns, 2)."""
    sigma: Floats
    marks: SeenMarks | None


def problem_of(
    shown: ShownGrid,
    aspect: float,
    photos: Sequence[Taken],
    size: tuple[int, int],
    ruler: Ruler,
    camera: Lens | float | None = None,
) -> tuple[Known, list[View]]:
    """What is known, and what each photograph shows.

    `size` is the sensor's, in pixels; `camera` is its lens where it was calibrated, or the focal length in pixels that
    the file notes.
    """
    height = ruler.height_mm or USUAL_HEIGHT_MM
    uv = np.stack(np.meshgrid(shown.u, shown.v), axis=-1).reshape(-1, 2)
    grid = uv * (height * aspect / 2, height / 2)
    focal, bend, turns, moves = _cameras(grid, photos, size, camera)
    have_marks = any(photo.marks is not None for photo in photos)
    marks, grid, moved = _marks(grid, photos, ruler) if have_marks else (np.zeros((0, 3)), grid, (1.0, np.zeros(2)))
    starts = []
    for turn, move in zip(turns, moves, strict=True):
        # The same camera before a grid that was made larger and moved.
        scale, middle = moved
        there = move + cv2.Rodrigues(turn)[0] @ np.array([*middle, 0.0])
        starts.append(np.concatenate([turn, scale * there, [0.0]]))
    corner = (0.0, 0.0)
    if have_marks:
        corner = (float(np.abs(marks[:, 0]).mean()), float(np.abs(marks[:, 1]).mean()))
    scene, sigma = _scene(focal, bend, size, camera, ruler, have_marks)
    free = have_marks and ruler.marks_mm is None
    spread = [_FREE_MM, _FREE_MM, _PLACED_MM] if free else [*[max(ruler.marks_sigma_mm, _PLACED_MM)] * 2, _PLACED_MM]
    known = Known(
        scene=scene,
        scene_sigma=sigma,
        breathing=_BREATHING,
        grid=grid,
        uv=uv,
        marks=marks,
        marks_sigma=np.broadcast_to(spread, marks.shape).astype(np.float64),
        corner_mm=corner,
        free_marks=free,
    )
    return known, [_view(photo, start, len(marks)) for photo, start in zip(photos, starts, strict=True)]


def _view(photo: Taken, start: Floats, marks: int) -> View:
    seen = np.full((marks, 2), np.nan), np.full((marks, 2), 1.0)
    if photo.marks is not None:
        seen = photo.marks.centres, photo.marks.sigma
    return View(
        pixels=photo.nodes.reshape(-1, 2),
        sigma=photo.sigma.reshape(-1, 2),
        marks=seen[0],
        marks_sigma=seen[1],
        start=start,
    )


def _cameras(
    grid: Floats, photos: Sequence[Taken], size: tuple[int, int], camera: Lens | float | None
) -> tuple[float, float, list[Floats], list[Floats]]:
    """The focal length, k1, and each camera's turn and move, as if the picture were as it should be (OpenCV)."""
    focal = USUAL_FOCAL * math.hypot(*size) if camera is None else camera if isinstance(camera, float) else camera.fx
    matrix = np.array([[focal, 0, (size[0] - 1) / 2], [0, focal, (size[1] - 1) / 2], [0, 0, 1.0]])
    there, pixels = [], []
    for photo in photos:
        seen = photo.nodes.reshape(-1, 2)
        known = np.isfinite(seen).all(axis=1)
        there.append(np.column_stack([grid[known], np.zeros(known.sum())]).astype(np.float32))
        pixels.append(seen[known].astype(np.float32))
    flags = cv2.CALIB_USE_INTRINSIC_GUESS | cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_FIX_PRINCIPAL_POINT
    flags |= cv2.CALIB_ZERO_TANGENT_DIST | cv2.CALIB_FIX_K1 | cv2.CALIB_FIX_K2 | cv2.CALIB_FIX_K3
    if isinstance(camera, Lens):
        flags |= cv2.CALIB_FIX_FOCAL_LENGTH
    _, matrix, bends, turns, moves = cv2.calibrateCamera(there, pixels, size, matrix, np.zeros(5), flags=flags)
    first, second = ([np.asarray(one, np.float64).ravel() for one in some] for some in (turns, moves))
    return float(matrix[0, 0]), float(bends.ravel()[0]), first, second


def _marks(grid: Floats, photos: Sequence[Taken], ruler: Ruler) -> tuple[Floats, Floats, tuple[float, Floats]]:
    """Where the marks are nearly, the grid about their middle, and by how much it was made larger and moved."""
    found = []
    for photo in photos:
        if photo.marks is not None:
            seen = photo.nodes.reshape(-1, 2)
            known = np.isfinite(seen).all(axis=1)
            back = cv2.findHomography(seen[known], grid[known])[0]
            found.append(cv2.perspectiveTransform(photo.marks.centres[None], back)[0])
    rough = np.mean(found, axis=0)
    middle = rough.mean(axis=0)
    sides = rough.reshape(4, 2)
    wide = np.linalg.norm(sides[1] - sides[0] + sides[2] - sides[3]) / 2
    high = np.linalg.norm(sides[3] - sides[0] + sides[2] - sides[1]) / 2
    if ruler.marks_mm is None:
        scale, places = 1.0, rectangle((float(wide), float(high)))
    else:
        scale = float(ruler.marks_mm[0] / wide + ruler.marks_mm[1] / high) / 2
        places = rectangle(ruler.marks_mm)
    return np.column_stack([places, np.zeros(4)]), (grid - middle) * scale, (float(scale), middle)


def _scene(
    focal: float,
    bend: float,
    size: tuple[int, int],
    camera: Lens | float | None,
    ruler: Ruler,
    have_marks: bool,
) -> tuple[Floats, Floats]:
    """Means and standard uncertainties of `OF_SCENE`."""
    reach = math.hypot(*size) / 2 / focal
    apex = _APEX_OF_MARKS_MM if have_marks else _APEX_OF_PICTURE * (ruler.height_mm or USUAL_HEIGHT_MM)
    if ruler.apex_is_seen:
        apex = _APEX_MM
    loose = 1.0 if ruler.height_mm or ruler.marks_mm else 2.0
    known = {
        "log_focal": (math.log(focal), _FOCAL_SIGMA),
        "cx": ((size[0] - 1) / 2, _PRINCIPAL * size[0]),
        "cy": ((size[1] - 1) / 2, _PRINCIPAL * size[0]),
        "k1": (bend, _BEND / reach**2),
        "k2": (0.0, _HIGHER_BEND / reach**4),
        "p1": (0.0, _SKEW / reach),
        "p2": (0.0, _SKEW / reach),
        "across": (_CURVED, loose * _CURVED),
        "down": (0.75 * _CURVED, loose * _CURVED),
        "apex_x": (ruler.apex_mm[0], apex),
        "apex_y": (ruler.apex_mm[1], apex),
        "depth": (0.0, _TINY),
        "turn": (ruler.turn, _TURN_SEEN if ruler.apex_is_seen else _TURN_OF_MARKS if have_marks else _TURN),
    }
    if isinstance(camera, Lens):
        spread = np.sqrt(np.clip(np.diag(camera.covariance), 0, None))
        k1, k2, p1, p2, _ = camera.distortion
        own = {"cx": camera.cx, "cy": camera.cy, "k1": k1, "k2": k2, "p1": p1, "p2": p2}
        known |= {
            name: (value, max(float(sigma), _TINY))
            for (name, value), sigma in zip(own.items(), spread[2:8], strict=True)
        }
        known["log_focal"] = math.log((camera.fx + camera.fy) / 2), max(float(spread[0]) / camera.fx, _TINY)
    if ruler.face is not None:
        for name, curve in (("across", ruler.face.across), ("down", ruler.face.down)):
            known[name] = curve, max(_GIVEN_CURVE * curve, 1e-8)
    if have_marks:
        known["depth"] = USUAL_DEPTH_MM if ruler.depth_mm is None else (ruler.depth_mm, _GIVEN_MM)
    pairs = np.array([known[name] for name in OF_SCENE])
    return pairs[:, 0], pairs[:, 1]
