"""What is printed and looked for in photographs: the four corner marks, and the board that a lens is calibrated with.

One description serves drawing and detection. Both are open fiducials as OpenCV has them (ArUco, ChArUco).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import cv2

__all__ = [
    "BOARD_COLUMNS",
    "BOARD_ROWS",
    "CORNER_NAMES",
    "MARK_MM",
    "MARK_MODULES",
    "SQUARE_MM",
    "board",
    "board_black",
    "mark_black",
    "mark_dictionary",
]

Floats = NDArray[np.float64]

CORNER_NAMES = ("top left", "top right", "bottom right", "bottom left")
"""The marks' corners, by their ids 0 to 3: clockwise, as OpenCV orders a mark's own corners."""
MARK_MM = 30.0
"""Side of a mark's black square."""
MARK_MODULES = 6
"""Modules along a mark's side: four of the code, and the black border."""
BOARD_COLUMNS = 7
BOARD_ROWS = 10
SQUARE_MM = 24.0
"""Side of the board's squares: the largest whole millimetre that leaves room for words on A4 and US Letter alike."""
_BOARD_MARK_MM = 18.0
"""Side of the code in each white square."""


def mark_dictionary() -> cv2.aruco.Dictionary:
    """The dictionary of the corner marks."""
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)


def board() -> cv2.aruco.CharucoBoard:
    """The board, in millimetres from its top left corner, x right, y down.

    Its codes are of another dictionary than the marks', so that neither is taken for the other.
    """
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_5X5_100)
    return cv2.aruco.CharucoBoard((BOARD_COLUMNS, BOARD_ROWS), SQUARE_MM, _BOARD_MARK_MM, dictionary)


def mark_black(number: int) -> list[tuple[float, float, float, float]]:
    """The black of a corner mark, upright: (x, y, width, height) in mm from its top left corner, without overlaps."""
    bits = cv2.aruco.generateImageMarker(mark_dictionary(), number, MARK_MODULES)
    return _runs(np.asarray(bits), MARK_MM / MARK_MODULES)


def board_black() -> list[tuple[float, float, float, float]]:
    """The board's black, as of a mark."""
    described = board()
    black = [
        (column * SQUARE_MM, row * SQUARE_MM, SQUARE_MM, SQUARE_MM)
        for row in range(BOARD_ROWS)
        for column in range(BOARD_COLUMNS)
        # The square at the top left is black, as in OpenCV since 4.6.
        if (row + column) % 2 == 0
    ]
    dictionary = described.getDictionary()
    modules = dictionary.markerSize + 2
    for number, corners in zip(described.getIds(), described.getObjPoints(), strict=True):
        left, top = (float(v) for v in corners[0][:2])
        bits = np.asarray(cv2.aruco.generateImageMarker(dictionary, int(number), modules))
        black += [(left + x, top + y, w, h) for x, y, w, h in _runs(bits, _BOARD_MARK_MM / modules)]
    return black


def _runs(bits: NDArray[Any], module: float) -> list[tuple[float, float, float, float]]:
    """The black modules of a code, row by row, neighbours as one."""
    found = []
    for row, line in enumerate(bits < 128):
        edges = np.flatnonzero(np.diff(np.concatenate(([False], line, [False])).astype(np.int8)))
        found += [
            (float(start * module), row * module, float((stop - start) * module), module)
            for start, stop in zip(edges[::2], edges[1::2], strict=True)
        ]
    return found
