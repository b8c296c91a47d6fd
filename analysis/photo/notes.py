"""What a photograph's file notes of how it was taken (EXIF): which way up, the focal length, and how long."""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

__all__ = ["read_notes", "sensor_points", "sensor_size", "turning"]

Floats = NDArray[np.float64]

_ORIENTATION, _EXIF_PART, _FOCAL, _FOCAL_35MM = 0x0112, 0x8769, 0x920A, 0xA405
_EXPOSURE, _ZOOM = 0x829A, 0xA404
"""Tags of EXIF 2.3 (from memory)."""
_FILM_DIAGONAL_MM = math.hypot(36, 24)
"""What a 35 mm focal length refers to (CIPA DCG-001, from memory)."""
_TURNINGS = {
    1: (False, False, False),
    2: (False, True, False),
    3: (False, True, True),
    4: (False, False, True),
    5: (True, False, False),
    6: (True, True, False),
    7: (True, True, True),
    8: (True, False, True),
}
"""What makes a stored picture upright, by EXIF's number: x and y changed about, then x mirrored, then y mirrored."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoNotes:
    """What a file notes of its photograph."""

    orientation: int | None = None
    """EXIF's number 1 to 8 of how the sensor's picture was turned to be upright; None where nothing says it."""
    focal_mm: float | None = None
    focal_35mm: float | None = None
    """The focal length that sees as much on 35 mm film."""
    exposure_s: float | None = None
    """How long the shutter was open, in seconds."""
    zoom: float | None = None
    """Ratio of the digital zoom; 1 where the file notes that there was none."""

    def focal_px(self, size: tuple[int, int]) -> float | None:
        """The focal length in pixels of a photograph of this size that was not cropped; None where it is not noted."""
        if self.focal_35mm is None:
            return None
        return self.focal_35mm * (self.zoom or 1.0) / _FILM_DIAGONAL_MM * math.hypot(*size)


def read_notes(path: Path) -> PhotoNotes:
    """The notes of a file. What is missing, broken or not to be believed is None."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path) as image:
                noted = image.getexif()
                part = noted.get_ifd(_EXIF_PART)
                found = noted.get(_ORIENTATION), part.get(_FOCAL), part.get(_FOCAL_35MM)
                exposure, zoom = part.get(_EXPOSURE), part.get(_ZOOM)
    except Exception:
        # Broken notes raise anything that can be raised; without them a photograph is still one.
        return PhotoNotes()
    orientation = found[0] if isinstance(found[0], int) and found[0] in _TURNINGS else None
    ratio = _number(zoom, 0.0, 100.0)
    return PhotoNotes(
        orientation=orientation,
        # 0 is noted for an unknown focal length.
        focal_mm=_number(found[1], 1, 5000),
        focal_35mm=_number(found[2], 1, 5000),
        exposure_s=_number(exposure, 1e-5, 600),
        # 0 is noted where no digital zoom was used.
        zoom=None if ratio is None else max(ratio, 1.0),
    )


def _number(value: object, low: float, high: float) -> float | None:
    """A number of the file, if it can be meant."""
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError, OverflowError):
        return None
    return number if low <= number <= high else None


def turning(orientation: int) -> tuple[bool, bool, bool]:
    """What was done to make the sensor's picture upright: x and y changed about, then x mirrored, then y mirrored."""
    return _TURNINGS[orientation]


def sensor_size(size: tuple[int, int], orientation: int) -> tuple[int, int]:
    """Width and height of the sensor's picture, from those of the upright one."""
    return (size[1], size[0]) if turning(orientation)[0] else size


def sensor_points(points: Floats, size: tuple[int, int], orientation: int) -> Floats:
    """Pixels (..., 2) of the upright picture of `size` as pixels of the sensor's picture."""
    transposed, mirror_x, mirror_y = turning(orientation)
    x, y = points[..., 0], points[..., 1]
    x = size[0] - 1 - x if mirror_x else x
    y = size[1] - 1 - y if mirror_y else y
    return np.stack((y, x) if transposed else (x, y), axis=-1)
