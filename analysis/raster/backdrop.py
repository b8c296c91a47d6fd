"""The part of a photograph that shows the picture and its marks, at its size on a page, to draw errors over."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.drawing.canvas import GREEN, Canvas
from analysis.drawing.palette import GROUND
from analysis.photo.file import Photo
from analysis.photo.marks import SeenMarks

__all__ = ["Backdrop", "backdrop"]

Floats = NDArray[np.float64]

_WIDEST, _NARROWEST = 2400, 1400
"""Of the page, in samples."""
_TALLEST = 2400
_BORDER = 0.03
"""Shown around what is to be seen, as a share of its size."""
_BRIGHT = 150
"""Code of the brightest parts, so that strokes are seen over them."""
_MOST_GAIN = 4.0
_TYPE = 80
"""The page's width over the size of its type."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Backdrop:
    """A canvas with the photograph on it."""

    canvas: Canvas
    corner: tuple[float, float]
    """The photograph's pixel at the canvas' left upper corner."""
    scale: float

    def place(self, pixels: Floats) -> Floats:
        """(..., 2) of the canvas for pixels of the photograph."""
        return np.asarray((pixels - self.corner) * self.scale, np.float64)

    def outline_marks(self, marks: SeenMarks | None) -> None:
        """Frames around the marks, or crosses where only their middles are known."""
        if marks is None:
            return
        weight = 2 * self.canvas.thin
        if marks.corners is not None:
            for mark in marks.corners:
                self.canvas.line(self.place(mark), GREEN, weight, closed=True)
            return
        for place in self.place(marks.centres):
            self.canvas.cross(place, GREEN)


def backdrop(photo: Photo, seen: Floats, marks: SeenMarks | None, room: tuple[int, int]) -> Backdrop:
    """The photograph around pixels (n, 2) that have to be seen, and the marks.

    `room` are characters and lines that have to have a place beside the pixels on the left and right, and above and
    below; where the photograph ends before, the page goes on.
    """
    seen = seen[np.isfinite(seen).all(axis=-1)]
    points = [seen]
    if marks is not None:
        points.append(marks.centres if marks.corners is None else marks.corners.reshape(-1, 2))
    low, high = np.min([p.min(axis=0) for p in points], axis=0), np.max([p.max(axis=0) for p in points], axis=0)
    border = _BORDER * (high - low)
    # The size of the type follows from the width of the page, and the width of the page from the type's room.
    wide = float((high - low + 2 * border)[0])
    beside = np.array([room[0] * 0.62, room[1] * 1.25]) * wide / _TYPE
    inner = seen.min(axis=0), seen.max(axis=0)
    low, high = np.minimum(low - border, inner[0] - beside), np.maximum(high + border, inner[1] + beside)
    left, top = (int(value) for value in np.floor(low))
    right, bottom = (int(value) for value in np.ceil(high))
    scale = min(np.clip(1.0, _NARROWEST / (right - left), _WIDEST / (right - left)), _TALLEST / (bottom - top))
    size = round((right - left) * scale), round((bottom - top) * scale)
    # Only what there is of the photograph is scaled, and goes to its place on the page.
    cut = np.array([max(left, 0), max(top, 0), min(right, photo.size[0]), min(bottom, photo.size[1])])
    codes = photo.codes[cut[1] : cut[3], cut[0] : cut[2]]
    if codes.dtype == np.uint16:
        codes = (codes >> 8).astype(np.uint8)
    part = round(codes.shape[1] * scale), round(codes.shape[0] * scale)
    how = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    shown = cv2.resize(np.ascontiguousarray(codes), part, interpolation=how)
    bright = float(np.percentile(shown[::4, ::4].max(axis=-1), 99.5))
    shown = cv2.convertScaleAbs(shown, alpha=min(_BRIGHT / max(bright, 1.0), _MOST_GAIN))
    page = np.full((size[1], size[0], 3), GROUND, np.uint8)
    x, y = round((cut[0] - left) * scale), round((cut[1] - top) * scale)
    shown = shown[: size[1] - y, : size[0] - x]
    page[y : y + shown.shape[0], x : x + shown.shape[1]] = shown
    # A pixel's middle, where its number is, lies half a pixel from its edge.
    corner = left - 0.5 + 0.5 / scale, top - 0.5 + 0.5 / scale
    return Backdrop(canvas=Canvas(page, max(15, round(size[0] / _TYPE))), corner=corner, scale=float(scale))
