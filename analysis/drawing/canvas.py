"""Strokes, signs and words over a photograph, smooth at the edges and with a dark seam, so that they are seen anywhere.

Points are (x, y) of the canvas in samples, sample centres at whole numbers; strokes follow them to a sixteenth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from analysis.drawing.labels import ADVANCE, line_height, padding, wrapped
from analysis.drawing.palette import DARK, GROUND, TEXT, Rgb, font, plain

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["GREEN", "GUN_INK", "Canvas", "Line", "Plate", "plate_size", "stacked", "words_strip"]

Floats = NDArray[np.float64]
GREEN: Rgb = (150, 235, 150)
GUN_INK: dict[str, Rgb] = {"red": (255, 96, 80), "blue": (110, 165, 255)}
"""Light enough to be seen on black."""

_SHIFT = 4
"""Bits of a sample's fraction that strokes are drawn to."""


class Canvas:
    """A picture to draw on. Strokes come first: words are laid over them."""

    def __init__(self, samples: NDArray[np.uint8], base: int) -> None:
        """`base` is the size of type, by which everything is scaled."""
        self.samples = np.ascontiguousarray(samples)
        self.base = base
        self.thin = max(2, round(base / 12))

    @property
    def size(self) -> tuple[int, int]:
        """Width and height."""
        return self.samples.shape[1], self.samples.shape[0]

    def line(self, points: Floats, ink: Rgb, weight: int | None = None, *, closed: bool = False) -> None:
        """A line through points (n, 2); where they are NaN it is interrupted."""
        weight = weight or self.thin
        pieces = [piece for piece in _pieces(points) if len(piece) > 1]
        for wide, colour in ((weight + max(2, self.thin), DARK), (weight, ink)):
            for piece in pieces:
                cv2.polylines(self.samples, [_fixed(piece)], closed, colour, wide, cv2.LINE_AA, _SHIFT)

    def ring(self, middle: Floats, radius: float, ink: Rgb, weight: int | None = None) -> None:
        """A circle around a point."""
        weight = weight or self.thin
        x, y = (int(value) for value in _fixed(middle))
        far = round(radius * (1 << _SHIFT))
        for wide, colour in ((weight + max(2, self.thin), DARK), (weight, ink)):
            cv2.circle(self.samples, (x, y), far, colour, wide, cv2.LINE_AA, _SHIFT)

    def cross(self, middle: Floats, ink: Rgb) -> None:
        """An upright cross on a point."""
        for reach in np.diag([0.6 * self.base] * 2):
            self.line(np.stack([middle - reach, middle + reach]), ink, 2 * self.thin)

    def arrow(self, start: Floats, end: Floats, ink: Rgb, *, head: float = math.inf, hollow: bool = False) -> None:
        """An arrow with a head that is full or hollow, at most `head` long; a very short one is a dot."""
        way = end - start
        length = float(np.hypot(*way))
        head = min(0.6 * self.base, head)
        half = 0.4 * head
        if length < 0.5 * head:
            x, y = (int(value) for value in _fixed(end))
            for wide, colour in ((2, DARK), (0, ink)):
                radius = (self.thin + wide) << _SHIFT
                cv2.circle(self.samples, (x, y), radius, colour, -1, cv2.LINE_AA, _SHIFT)
            return
        along = way / length
        head = min(head, 0.8 * length)
        foot = end - along * head
        across = np.array([-along[1], along[0]]) * half
        tip = np.array([end, foot + across, foot - across])
        seam = max(2, self.thin)
        cv2.polylines(self.samples, [_fixed(tip)], True, DARK, 2 * seam, cv2.LINE_AA, _SHIFT)
        self.line(np.array([start, foot]), ink, round(1.5 * self.thin))
        cv2.fillPoly(self.samples, [_fixed(tip)], DARK if hollow else ink, cv2.LINE_AA, _SHIFT)
        cv2.polylines(self.samples, [_fixed(tip)], True, ink, self.thin if hollow else 1, cv2.LINE_AA, _SHIFT)

    def plates(self, plates: Sequence[Plate]) -> None:
        """Words on plates, each moved so that all of it is on the canvas."""
        image = Image.fromarray(self.samples)
        draw = ImageDraw.Draw(image)
        for plate in plates:
            wide, high = plate_size(plate.lines, self.base)
            left = min(max(round(plate.middle[0] - wide / 2), 0), max(self.size[0] - wide, 0))
            top = min(max(round(plate.middle[1] - high / 2), 0), max(self.size[1] - high, 0))
            pad = padding(self.base)
            draw.rectangle((left, top, left + wide - 1, top + high - 1), plate.ground, plate.frame, plate.weight)
            for i, line in enumerate(plate.lines):
                at = left + pad, top + pad + i * line_height(self.base)
                draw.text(at, line, TEXT if plate.ground == GROUND else DARK, font(self.base), "la")
        self.samples = np.array(image)


@dataclass(frozen=True, slots=True)
class Plate:
    """Words on a ground of their own: light ones on the dark one, dark ones on any other."""

    lines: Sequence[str]
    middle: tuple[float, float]
    frame: Rgb
    ground: Rgb = GROUND
    weight: int = 1
    """Of the frame."""


def plate_size(lines: Sequence[str], size: int) -> tuple[int, int]:
    """Width and height of a plate with these lines."""
    pad = padding(size)
    wide = max(math.ceil(len(line) * size * ADVANCE) for line in lines)
    return wide + 2 * pad, len(lines) * line_height(size) + 2 * pad


def _pieces(points: Floats) -> list[Floats]:
    seen = np.isfinite(points).all(axis=-1)
    ends = np.flatnonzero(~seen)
    return [piece[np.isfinite(piece).all(axis=-1)] for piece in np.split(points, ends)]


def _fixed(points: Floats) -> NDArray[np.int32]:
    # A point far outside would not fit into the drawing library's numbers.
    return np.asarray(np.round(np.clip(points, -30_000, 60_000) * (1 << _SHIFT)), np.int32)


@dataclass(frozen=True)
class Line:
    """A line of words."""

    text: str
    ink: Rgb = TEXT
    larger: float = 1.0
    """Its size over that of the page's type."""


def words_strip(
    lines: Sequence[Line], width: int, base: int, *, margin: int | None = None, space: float = 1.0
) -> Image.Image:
    """A strip of a page with these lines, wrapped; `margin` is on the left, `space` above and below in lines."""
    left = base if margin is None else margin
    rows = []
    for line in lines:
        size = round(base * line.larger)
        rows += [
            (part, line.ink, size) for part in wrapped(plain(line.text), int((width - left - base) / size / ADVANCE))
        ]
    strip = Image.new("RGB", (width, sum(line_height(size) for _, _, size in rows) + round(space * base)), GROUND)
    draw = ImageDraw.Draw(strip)
    y = round(space * base) // 2
    for text, ink, size in rows:
        draw.text((left, y), text, ink, font(size), "la")
        y += line_height(size)
    return strip


def stacked(parts: Sequence[Image.Image]) -> Image.Image:
    """Pictures one below the other, each in the middle."""
    page = Image.new("RGB", (max(part.width for part in parts), sum(part.height for part in parts)), GROUND)
    top = 0
    for part in parts:
        page.paste(part, ((page.width - part.width) // 2, top))
        top += part.height
    return page
