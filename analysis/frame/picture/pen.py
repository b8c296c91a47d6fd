"""Drawing on the shown frame: outlines of patches, their labels, and the sign of a verdict."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.drawing.labels import Box, Label, line_height, padding, sign_width
from analysis.drawing.palette import DARK, GROUND, TEXT, Rgb, font
from analysis.frame.picture.marks import Mark, ink_of

if TYPE_CHECKING:
    from PIL import ImageDraw

__all__ = ["Pen", "draw_sign"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """Draws on the shown frame, whose left upper corner lies at (left, top) of the page."""

    draw: ImageDraw.ImageDraw
    left: int
    top: int
    size: tuple[int, int]
    base: int

    @property
    def thin(self) -> int:
        return max(2, round(self.base / 9))

    def outline(self, mark: Mark, box: Box) -> None:
        """A thin line if it passed; a thick one with blocks on its corners if not; broken where it is uncertain."""
        weight = self.thin if mark.passed else 2 * self.thin
        left, top, right, bottom = (_whole(value) for value in box)
        right, bottom = max(right, left + 1), max(bottom, top + 1)
        narrow = self._is_narrow(box)
        if narrow:
            # The line runs round it, so as not to hide it.
            left, top, right, bottom = left - weight - 1, top - weight - 1, right + weight + 1, bottom + weight + 1
        for place, ink in self._strokes((left, top, right, bottom), weight, mark, corners=not narrow):
            self._fill(place, ink)

    def _is_narrow(self, box: Box) -> bool:
        return min(box[2] - box[0], box[3] - box[1]) < 12 * self.thin

    def _strokes(
        self, box: tuple[int, int, int, int], weight: int, mark: Mark, *, corners: bool
    ) -> list[tuple[Box, Rgb]]:
        left, top, right, bottom = box
        sides = [
            (left, top, right, top + weight),
            (left, bottom - weight, right, bottom),
            (left, top, left + weight, bottom),
            (right - weight, top, right, bottom),
        ]
        ink = ink_of(mark.passed)
        # A dark seam within, so that the line is seen on a ground of its own colour.
        seam = max(1, self.thin // 3)
        seams = [(x0 - seam, y0 - seam, x1 + seam, y1 + seam) for x0, y0, x1, y1 in sides]
        strokes: list[tuple[Box, Rgb]] = [(_meeting(place, box), DARK) for place in seams]
        dashes = _dashes(sides, 3 * self.thin) if mark.uncertain else sides
        strokes += [(dash, ink) for dash in dashes]
        if corners and not mark.passed:
            block = min(6 * self.thin, (right - left) // 5, (bottom - top) // 5)
            for x in (left, right - block):
                for y in (top, bottom - block):
                    strokes.append(((x, y, x + block, y + block), ink))
        return strokes

    def _fill(self, box: Box, ink: Rgb) -> None:
        left, top = max(0, box[0]), max(0, box[1])
        right, bottom = min(self.size[0], box[2]), min(self.size[1], box[3])
        if left < right and top < bottom:
            self.draw.rectangle((self.left + left, self.top + top, self.left + right - 1, self.top + bottom - 1), ink)

    def leader(self, label: Label, mark: Mark, box: Box) -> None:
        """The line from a patch to its label, with a dot in the patch unless it would hide it."""
        if label.leader is None:
            return
        start, stop = ((self.left + x, self.top + y) for x, y in label.leader)
        narrow = self._is_narrow(box)
        if narrow:
            # From the outline, which runs outside.
            way = max(abs(stop[0] - start[0]), abs(stop[1] - start[1]), 1)
            share = min(1.0, (2 * self.thin + 2) / way)
            start = (
                round(start[0] + share * (stop[0] - start[0])),
                round(start[1] + share * (stop[1] - start[1])),
            )
        for weight, ink in ((self.thin + 2, DARK), (self.thin, ink_of(mark.passed))):
            self.draw.line((start, stop), ink, weight)
        if narrow:
            return
        for reach, ink in ((self.thin + 1, DARK), (self.thin, ink_of(mark.passed))):
            self.draw.ellipse((start[0] - reach, start[1] - reach, start[0] + reach, start[1] + reach), ink)

    def label(self, label: Label, mark: Mark) -> None:
        """Words with a halo, or on a plate, and the sign of the verdict before the first line."""
        if label.plate:
            left, top, right, bottom = label.box
            corners = (self.left + left, self.top + top, self.left + right - 1, self.top + bottom - 1)
            self.draw.rectangle(corners, GROUND, ink_of(mark.passed))
        size, pad = label.size, padding(label.size)
        x, y = self.left + label.box[0] + pad, self.top + label.box[1] + pad
        face = font(size)
        for i, line in enumerate(label.lines):
            if i == 0:
                draw_sign(self.draw, x, y, size, mark.passed, mark.uncertain)
            at = x + (sign_width(size) if i == 0 else 0), y + i * line_height(size)
            self.draw.text(at, line, TEXT, face, "la", stroke_width=max(1, pad - 1), stroke_fill=DARK)


def draw_sign(draw: ImageDraw.ImageDraw, x: int, y: int, size: int, passed: bool, uncertain: bool) -> None:
    """A tick on a disc for what passed, a cross on a square for what did not; hollow where it is uncertain."""
    side, weight = size, max(2, size // 8)
    top = y + (line_height(size) - side) // 2
    box = (x, top, x + side - 1, top + side - 1)
    around = (box[0] - 1, box[1] - 1, box[2] + 1, box[3] + 1)
    shape = draw.ellipse if passed else draw.rectangle
    ink = ink_of(passed)
    shape(around, DARK)
    shape(box, DARK if uncertain else ink, ink, weight)
    stroke = ink if uncertain else DARK

    def at(u: float, v: float) -> tuple[float, float]:
        return x + u * (side - 1), top + v * (side - 1)

    if passed:
        draw.line((at(0.25, 0.52), at(0.43, 0.7), at(0.75, 0.32)), stroke, weight, "curve")
    else:
        draw.line((at(0.25, 0.25), at(0.75, 0.75)), stroke, weight)
        draw.line((at(0.25, 0.75), at(0.75, 0.25)), stroke, weight)


def _dashes(sides: Sequence[Box], length: int) -> list[Box]:
    """The sides in pieces, as long as the gaps between them."""
    pieces: list[Box] = []
    for left, top, right, bottom in sides:
        if right - left >= bottom - top:
            spans = range(int(left), int(right), 2 * length)
            pieces += [(x, top, min(x + length, right), bottom) for x in spans]
        else:
            spans = range(int(top), int(bottom), 2 * length)
            pieces += [(left, y, right, min(y + length, bottom)) for y in spans]
    return pieces


def _meeting(one: Box, other: Box) -> Box:
    return max(one[0], other[0]), max(one[1], other[1]), min(one[2], other[2]), min(one[3], other[3])


def _whole(value: float) -> int:
    # A box far outside is cut here: the drawing library takes no endless numbers.
    return round(min(max(value, -10_000.0), 100_000.0))
