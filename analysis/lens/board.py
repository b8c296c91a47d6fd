"""The calibration board in a photograph: where the corners of its squares lie, in each channel."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.photo.file import Photo
from analysis.photo.notes import read_notes, sensor_points, sensor_size
from analysis.photo.reduced import reduced_grey
from analysis.photo.targets import BOARD_COLUMNS, board

__all__ = ["Sighting", "find_board"]

Floats = NDArray[np.float64]

_LOOKED_AT = (1600, 3200)
"""Longer side, in pixels, of the pictures in which the board is looked for, one after the other."""
_FEWEST_CORNERS = 12
"""Of 54: fewer are a board that is hardly in the picture."""
_WINDOW = 0.1
"""Half the side of the window in which a corner is found, in squares: the codes begin at 0.125."""
_WINDOW_PX = (3, 12)
_SOFT_PX = 2.5
"""Deviation of the blur with which red and blue are compared with green: more than colour at half size is spread."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Sighting:
    """A board in a photograph, in pixels of the sensor's picture, however it was turned to be upright."""

    path: Path
    size: tuple[int, int]
    ids: NDArray[np.intp]
    """(N,) of the corners of squares that were found, as OpenCV numbers them."""
    points: Floats
    """(3, N, 2): where red, green and blue have them; NaN where red or blue has not."""
    focal_mm: float | None
    """As the file notes it."""

    @property
    def green(self) -> Floats:
        """(N, 2): where the corners are."""
        green: Floats = self.points[1]
        return green

    def is_same(self, other: Sighting) -> bool:
        """Whether both are one photograph."""
        return (
            self.size == other.size
            and np.array_equal(self.ids, other.ids)
            and float(np.abs(self.green - other.green).max()) < 0.01
        )

    def only(self, wanted: NDArray[np.bool_]) -> Sighting:
        """With some of the corners."""
        return replace(self, ids=self.ids[wanted], points=self.points[:, wanted])


def find_board(photo: Photo) -> Sighting | None:
    """The board in a photograph; None where it is not seen, or too little of it."""
    detector = cv2.aruco.CharucoDetector(board())
    for side in _LOOKED_AT:
        grey, scale = reduced_grey(photo, side)
        corners, ids, _, _ = detector.detectBoard(grey)
        if ids is not None and len(ids) >= _FEWEST_CORNERS:
            break
        if scale == 1:
            return None
    else:
        return None
    numbers = np.asarray(ids).ravel().astype(np.intp)
    rough = (np.asarray(corners, np.float64).reshape(-1, 2) + 0.5) / scale - 0.5
    points = _refined(photo, rough, _half_window(numbers, rough))
    found = np.isfinite(points[1]).all(axis=1)
    if np.count_nonzero(found) < _FEWEST_CORNERS:
        return None
    notes = read_notes(photo.path)
    orientation = notes.orientation or 1
    return Sighting(
        path=photo.path,
        size=sensor_size(photo.size, orientation),
        ids=numbers[found],
        points=sensor_points(points[:, found], photo.size, orientation),
        focal_mm=notes.focal_mm,
    )


def _half_window(numbers: NDArray[np.intp], points: Floats) -> int:
    """Half the side of the window in which corners are found: of the smallest squares that are seen."""
    across = BOARD_COLUMNS - 1
    place = dict(zip(numbers.tolist(), points, strict=True))
    sides = [
        float(np.hypot(*(place[number] - place[other])))
        for number in place
        for other in ((number + 1,) if (number + 1) % across else ()) + (number + across,)
        if other in place
    ]
    side = float(np.percentile(sides, 10)) if sides else 0.0
    return int(np.clip(round(side * _WINDOW), *_WINDOW_PX))


def _refined(photo: Photo, rough: Floats, half: int) -> Floats:
    """(3, N, 2): the corners in each channel at full size; NaN where the search ran away.

    A corner of squares looks the same when light and dark are changed about, so that its place depends neither on the
    exposure nor on the transfer curve: codes serve as they are.

    Green gives the place. Red and blue are compared with green where all are softened alike: JPEG mostly keeps colour
    at half the size, so that a coloured fringe is spread over a few pixels and only its area is left, not its edge.
    """
    planes = [np.ascontiguousarray(photo.codes[..., gun]) for gun in range(3)]
    planes = [plane if plane.dtype == np.uint8 else (plane >> 8).astype(np.uint8) for plane in planes]
    found = np.empty((3, len(rough), 2))
    found[1] = _corners(planes[1], rough, half)
    start = np.where(np.isfinite(found[1]), found[1], rough)
    soft = min(_SOFT_PX, half / 4)
    red, green, blue = (_corners(cv2.GaussianBlur(plane, (0, 0), soft), start, half) for plane in planes)
    found[0], found[2] = found[1] + red - green, found[1] + blue - green
    return found


def _corners(plane: NDArray[Any], start: Floats, half: int) -> Floats:
    """(N, 2): the corners of squares next to `start`; NaN where the search ran away."""
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 50, 0.001)
    corners = np.ascontiguousarray(start, np.float32).reshape(-1, 1, 2)
    refined = cv2.cornerSubPix(plane, corners.copy(), (half, half), (-1, -1), stop).reshape(-1, 2).astype(np.float64)
    # The search gives the very start back where it finds nothing.
    lost = np.all(refined == corners.reshape(-1, 2), axis=1)
    return np.where(lost[:, None], np.nan, refined)
