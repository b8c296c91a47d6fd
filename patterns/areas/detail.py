"""Fine detail in the middle and in the corners: resolution wedges, and small characters over the whole picture."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from patterns.areas.levels import label_ink
from patterns.formats import Format
from patterns.pattern import COLOURS, Options
from patterns.scene import Box, Patch, Scene, Shape, Text, Wave
from patterns.signal import Colour, Signal
from patterns.tones import wedge_lines

__all__ = ["CAPITAL", "focus", "wedge"]

CAPITAL = Fraction(83, 100)
"""Width of a character of the shipped face, in heights of a capital."""
_BLACK, _WHITE, _GREY = COLOURS["black"], COLOURS["white"], COLOURS["grey"]
_ZERO, _HALF, _ONE = Fraction(0), Fraction(1, 2), Fraction(1)
_CYCLES = Fraction(21, 4)
"""From the middle of a wedge to its side: five lines and the half of the middle one, ending at mid grey."""
_WORDS = "EMBHGW 0369 XKRSZ 258 "
_INSET = Fraction(7, 100)
"""How far the corners' wedges stay from the picture's edge, in picture heights: most sets hide a little."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Wedge:
    """A wedge of vertical lines that grow finer downward, or of horizontal ones that grow finer to the right.

    Lengths are in picture heights; x from the picture's left edge.
    """

    vertical: bool
    marks: tuple[int, ...]
    """TV lines from its coarse end to its fine one, in even steps."""
    start: Fraction
    """Of its coarse end: y of a vertical one, x of a horizontal one."""
    axis: Fraction
    """Its middle, across."""
    length: Fraction
    most: Fraction
    """Largest distance from the axis to the side."""

    @property
    def cycles(self) -> Fraction:
        """From the axis to the side: as many as there is room for at the coarse end, ending at mid grey."""
        room = min(_CYCLES, self.most * Fraction(self.marks[0], 2))
        return Fraction(max(0, int(2 * room - _HALF)), 2) + Fraction(1, 4)

    @property
    def half(self) -> Fraction:
        """From the axis to the side, at the coarse end."""
        return self.cycles / Fraction(self.marks[0], 2)

    def at(self, mark: int) -> Fraction:
        """The place of a figure along it."""
        return self.start + self.length * Fraction(mark - self.marks[0], max(1, self.marks[-1] - self.marks[0]))

    def wave(self, aspect: Fraction) -> Wave:
        low, high = (Fraction(n, 2) for n in (self.marks[0], self.marks[-1]))
        if self.vertical:
            axis, side = self.axis / aspect, self.half / aspect
            return Wave(
                left=axis - side,
                top=self.start,
                right=axis + side,
                bottom=self.start + self.length,
                swing=_HALF,
                x0=axis,
                y0=self.start,
                fx=low * aspect,
                fxy=(high - low) * aspect / self.length,
                cycles=self.cycles,
            )
        left, long = self.start / aspect, self.length / aspect
        return Wave(
            left=left,
            top=self.axis - self.half,
            right=left + long,
            bottom=self.axis + self.half,
            swing=_HALF,
            x0=left,
            y0=self.axis,
            fy=low,
            fxy=(high - low) / long,
            cycles=self.cycles,
        )

    def figures(self, aspect: Fraction, height: Fraction) -> list[Text]:
        """Its figures, as many of them as there is room for beside or below it."""
        widest = max(len(str(n)) for n in self.marks) * CAPITAL * height
        room = 2 * height if self.vertical else Fraction(3, 2) * widest + height / 2
        gaps = len(self.marks) - 1
        step = next(n for n in (1, 2, 3, 4, gaps) if n == gaps or (gaps % n == 0 and n * self.length / gaps >= room))
        texts = []
        for n in self.marks[:: max(1, step)]:
            along, beside = self.at(n), self.axis + self.half
            x, y = (beside + height / 3, along) if self.vertical else (along, beside + height)
            # Those at the ends of a horizontal wedge keep within it.
            is_first = self.vertical or n == self.marks[0]
            anchor = "start" if is_first else "end" if n == self.marks[-1] else "middle"
            texts.append(Text(x=x / aspect, y=y, height=height, text=str(n), colour=label_ink(_GREY), anchor=anchor))
        return texts


def _unit(fmt: Format) -> Fraction:
    """What the layout is scaled by, so that two corners fit beside each other in a narrow picture."""
    return min(_ONE, fmt.picture_aspect * Fraction(3, 4))


def _pair(fmt: Format, left: Fraction, top: Fraction, size: Fraction, *, whole: bool, gap: Fraction) -> list[_Wedge]:
    """A vertical wedge and a horizontal one to its right, `gap` apart; with all figures, or the finer ones alone."""
    most, pair = size * Fraction(105, 340), list[_Wedge]()
    for vertical in (True, False):
        marks = wedge_lines(fmt, vertical=vertical)
        marks = marks if whole else marks[1:] if len(marks) > 2 else marks
        one = _Wedge(vertical=vertical, marks=marks, start=top, axis=top, length=size, most=most)
        if vertical:
            pair.append(replace(one, axis=left + one.half))
        else:
            start = left + 2 * pair[0].half + gap
            pair.append(replace(one, start=start, axis=top + one.half))
    return pair


def _pair_width(fmt: Format, size: Fraction, *, whole: bool, gap: Fraction) -> Fraction:
    """From the left side of a pair to its right end, in picture heights."""
    _, horizontal = _pair(fmt, _ZERO, _ZERO, size, whole=whole, gap=gap)
    return horizontal.start + horizontal.length


def _character_height(fmt: Format) -> Fraction:
    """Of the smallest characters: eight lines of the raster are the least at which letters can be distinguished."""
    return min(max(Fraction(1, 48), Fraction(8, fmt.picture.height)), Fraction(1, 8))


def _characters(fmt: Format, left: Fraction, width: Fraction, top: Fraction, bottom: Fraction) -> list[Text]:
    """Rows of small characters between two heights; x and widths in picture heights."""
    height = _character_height(fmt)
    count, pitch = int(width / (height * CAPITAL)), 2 * height
    rows = int((bottom - top - height) / pitch) + 1 if bottom - top >= height else 0
    return [
        Text(
            x=left / fmt.picture_aspect,
            y=top + height / 2 + row * pitch,
            height=height,
            text=(2 * _WORDS)[3 * row :].lstrip()[:count],
            colour=label_ink(_GREY),
            anchor="start",
        )
        for row in range(rows)
        if count > 0
    ]


def _corners(fmt: Format, width: Fraction, height: Fraction) -> list[tuple[Fraction, Fraction]]:
    """Left and top of a rectangle in each corner of the picture, in picture heights."""
    inset = _INSET * _unit(fmt)
    return [(x, y) for y in (inset, 1 - inset - height) for x in (inset, fmt.picture_aspect - inset - width)]


def wedge(fmt: Format, options: Options, _: Signal | None) -> Scene:
    """Wedges and small characters in the middle, and smaller ones in the four corners, on grey."""
    aspect, unit = fmt.picture_aspect, _unit(fmt)
    label = min(max(Fraction(1, 42), Fraction(8, fmt.picture.height)), Fraction(3, 100)) * unit
    large, small = Fraction(34, 100) * unit, Fraction(20, 100) * unit
    gap = 4 * CAPITAL * label + label * Fraction(4, 3)
    shapes: list[Shape] = []
    wide = _pair_width(fmt, large, whole=True, gap=gap)
    places = [((aspect - wide) / 2, _HALF - large / 2, large, True)]
    narrow = _pair_width(fmt, small, whole=False, gap=gap)
    places += [(x, y, small, False) for x, y in _corners(fmt, narrow, small)]
    for left, top, size, whole in places:
        pair = _pair(fmt, left, top, size, whole=whole, gap=gap)
        shapes += [each.wave(aspect) for each in pair]
        shapes += [text for each in pair for text in each.figures(aspect, label)]
        level = pair[1]
        below = level.axis + level.half + Fraction(5, 2) * label
        shapes += _characters(fmt, level.start, level.length, below, top + size)
    words = Text(x=_HALF, y=_HALF + large / 2 + 2 * label, height=label, text="TV lines", colour=label_ink(_GREY))
    boxes, patches = [], []
    for name, level_of, at in (("high", _WHITE, Fraction(21, 50)), ("low", _BLACK, _HALF)):
        box = Box(left=at, top=Fraction(8, 100), right=at + Fraction(2, 25), bottom=Fraction(1, 5), colour=level_of)
        boxes.append(box)
        patches.append(
            Patch(name=name, left=box.left, top=box.top, right=box.right, bottom=box.bottom, colour=level_of)
        )
    patches.append(
        Patch(
            name="grey below",
            left=Fraction(21, 50),
            top=Fraction(4, 5),
            right=Fraction(29, 50),
            bottom=_ONE,
            colour=_GREY,
        )
    )
    return Scene(background=_GREY, shapes=(*boxes, *shapes, words), patches=tuple(patches))


def focus(fmt: Format, options: Options, _: Signal | None) -> Scene:
    """Small characters over the whole picture, and wedges on grey in the middle and in the four corners."""
    aspect, unit = fmt.picture_aspect, _unit(fmt)
    height = _character_height(fmt)
    size = Fraction(16, 100) * unit
    margin, gap = size / 10, size / 6
    wide, high = 2 * margin + _pair_width(fmt, size, whole=False, gap=gap), 2 * margin + size
    places = [((aspect - wide) / 2, _HALF - high / 2), *_corners(fmt, wide, high)]
    names = ("centre", "top left", "top right", "bottom left", "bottom right")
    shapes: list[Shape] = []
    patches: list[Patch] = []
    for name, (left, top) in zip(names, places, strict=True):
        right, bottom = (left + wide) / aspect, top + high
        shapes.append(Box(left=left / aspect, top=top, right=right, bottom=bottom, colour=_GREY))
        vertical, horizontal = _pair(fmt, left + margin, top + margin, size, whole=False, gap=gap)
        shapes += [vertical.wave(aspect), horizontal.wave(aspect)]
        # What is left of the grey below the horizontal wedge can be measured.
        under, start = horizontal.axis + horizontal.half + margin / 2, horizontal.start / aspect
        patches.append(Patch(name=f"grey, {name}", left=start, top=under, right=right, bottom=bottom, colour=_GREY))
    pitch = height * Fraction(9, 4)
    reach = max(1, int(1 / pitch - 1) // 2)
    for j in range(-reach, reach + 1):
        y = _HALF + j * pitch
        taken = sorted((left, left + wide) for left, top in places if top - height < y < top + high + height)
        # Each row begins a little later, so that no column repeats one character.
        shapes += _row(fmt, y, height, taken, 3 * j % len(_WORDS))
    return Scene(background=_BLACK, shapes=tuple(shapes), patches=tuple(patches))


def _row(fmt: Format, y: Fraction, height: Fraction, taken: list[tuple[Fraction, Fraction]], first: int) -> list[Text]:
    """A row of characters in the middle of each space between what is taken of it; x in picture heights."""
    ink, wide = Colour.grey(Fraction(3, 4)), height * CAPITAL
    found, start = [], wide / 2
    for left, right in (*taken, (fmt.picture_aspect + wide / 2, fmt.picture_aspect)):
        count = int((left - wide - start) / wide)
        # In a narrow space a blank would be half of it.
        words = _WORDS if count > len(_WORDS) / 2 else _WORDS.replace(" ", "")
        text = (words[first % len(words) :] + words * (count // len(words) + 1))[: max(0, count)]
        if text.strip():
            x = (start + left - wide) / 2 / fmt.picture_aspect
            found.append(Text(x=x, y=y, height=height, text=text.strip(), colour=ink))
        start = right + wide
    return found
