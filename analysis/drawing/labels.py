"""Where the labels of a marked picture come to lie: whole, apart from each other, and near what they speak of.

Pure arithmetic in samples of the picture to be shown. The face is monospaced: a line's width follows from its length.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

__all__ = ["ADVANCE", "Box", "Label", "Words", "extent", "lay_out", "wrapped"]

Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""

ADVANCE = 0.6021
"""Width of a character of the face, in em (read off the face's hmtx table)."""
_SMALL = 0.8
"""The smaller size of type that is taken where the usual one has no room."""
_MOST_LABELS = 200
"""Of more marks only these get a label: nobody could read them."""
_PLACES = sorted(
    ((x, y) for x in (0.5, 0.25, 0.75, 0.0, 1.0) for y in (0.5, 0.25, 0.75, 0.0, 1.0)),
    key=lambda place: (place[0] - 0.5) ** 2 + (place[1] - 0.5) ** 2,
)
"""Where in its box a label may lie, as shares of the room that is left, the middle first."""
_GAPS = (0.4, 1.0, 2.0, 3.2, 5.0, 8.0)
"""How far from its box a label may lie, in lines of text."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """What a label says, from the name to the errors, each as short as it gets."""

    name: str
    verdict: str
    errors: tuple[str, ...]
    """One for each component, or one for all."""
    worst: str
    sign_tells: bool = False
    """Whether the verdict may be left to the sign where the word has no room."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A label in its place."""

    mark: int
    """Which of the marks it speaks of."""
    box: tuple[int, int, int, int]
    """Left, top, right, bottom of its ground, which no other label touches."""
    lines: tuple[str, ...]
    """Before the first stands the sign of the verdict."""
    size: int
    """Of the type, in samples."""
    number: int | None = None
    """Where there was room for a number only: under which it stands in the key."""
    plate: bool = False
    """Whether it hides its ground: outside its mark, where other things are shown."""
    leader: tuple[tuple[int, int], tuple[int, int]] | None = None
    """A line from the mark to its label, where the label lies outside."""


def lay_out(boxes: Sequence[Box], words: Sequence[Words], size: tuple[int, int], base: int) -> tuple[Label, ...]:
    """A label for each mark, in the order of the marks; none for a mark outside the picture or without room.

    `boxes` are the marks' in the picture to be shown, which is `size` (width, height) samples; `base` is the size of
    type. A label lies in its box where it fits, with all its words or with fewer; else beside it with a leader; else it
    is a number.
    """
    page: Box = (0, 0, *size)
    seen = [i for i, box in enumerate(boxes) if _cut(box, page) is not None][:_MOST_LABELS]
    cut = {i: _cut(boxes[i], page) or page for i in seen}
    found: dict[int, Label] = {}
    taken: list[Box] = []
    number = 0
    for i in seen:
        label = _inside(i, cut, words[i], base, taken)
        if label is not None:
            found[i] = label
            taken.append(label.box)
    for i in (i for i in seen if i not in found):
        label = _outside(i, cut, words[i], page, base, taken)
        if label is None:
            label = _number(i, cut[i], number + 1, page, base, taken)
            number += label is not None
        if label is not None:
            found[i] = label
            taken.append(label.box)
            if label.leader is not None:
                taken.append(_reach(label.leader))
    return tuple(found[i] for i in sorted(found))


def extent(lines: Sequence[str], size: int) -> tuple[int, int]:
    """Width and height of a label's ground."""
    pad = padding(size)
    widths = (
        math.ceil(len(line) * size * ADVANCE) + (sign_width(size) if i == 0 else 0) for i, line in enumerate(lines)
    )
    return max(widths) + 2 * pad, len(lines) * line_height(size) + 2 * pad


def padding(size: int) -> int:
    """Between a label's words and the end of its ground."""
    return math.ceil(size / 5)


def line_height(size: int) -> int:
    """From a line of text to the next."""
    return math.ceil(size * 1.2)


def sign_width(size: int) -> int:
    """Room for the sign of the verdict and the blank after it."""
    return math.ceil(size * 1.3)


def wrapped(text: str, most: int) -> tuple[str, ...]:
    """The text in lines of at most `most` characters, broken at blanks where there are any."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        rest = word
        while len(rest) > most:
            if line:
                lines.append(line)
                line = ""
            lines.append(rest[:most])
            rest = rest[most:]
        if rest and line and len(line) + 1 + len(rest) > most:
            lines.append(line)
            line = rest
        elif rest:
            line = f"{line} {rest}" if line else rest
    return (*lines, line) if line else tuple(lines)


def _texts(words: Words) -> tuple[list[tuple[str, ...]], list[tuple[str, ...]]]:
    """Ways to say all of it, and ways to say it with the worst error alone; the best first."""
    names, errors = tuple(words.name.split()), "  ".join(words.errors)
    whole = [(words.name, words.verdict, *words.errors)]
    if words.errors:
        whole += [(words.name, words.verdict, errors), (f"{words.name} {words.verdict}", errors)]
    whole += [("  ".join((words.name, words.verdict, *words.errors)),), (*names, words.verdict, *words.errors)]
    # The shortest word beside the sign: narrower still.
    whole.append((words.verdict, *names, *words.errors))
    short: list[tuple[str, ...]] = []
    if words.worst:
        short = [
            (words.name, f"{words.verdict} {words.worst}"),
            (*names, words.verdict, words.worst),
            (words.verdict, *names, words.worst),
        ]
        if words.sign_tells:
            short += [(f"{words.name} {words.worst}",), (*names, words.worst)]
    return whole, short


def _inside(i: int, cut: dict[int, Box], words: Words, base: int, taken: Sequence[Box]) -> Label | None:
    left, top, right, bottom = cut[i]
    edge = base / 6
    room_x, room_y = right - left - 2 * edge, bottom - top - 2 * edge
    nested = [box for j, box in cut.items() if j != i and _meet(box, cut[i]) and not _within(cut[i], box)]
    for texts in _texts(words):
        for lines, size in ((lines, size) for size in (base, round(base * _SMALL)) for lines in texts):
            wide, high = extent(lines, size)
            if wide > room_x or high > room_y:
                continue
            for x, y in _PLACES:
                at = math.ceil(left + edge + x * (room_x - wide)), math.ceil(top + edge + y * (room_y - high))
                box = at[0], at[1], at[0] + wide, at[1] + high
                # Rounding up may reach into the frame's last sample, where the box is cut.
                if box[2] <= right and box[3] <= bottom and not any(_meet(box, other) for other in (*taken, *nested)):
                    return Label(mark=i, box=box, lines=lines, size=size)
    return None


def _outside(i: int, cut: dict[int, Box], words: Words, page: Box, base: int, taken: Sequence[Box]) -> Label | None:
    mark = cut[i]
    # What holds the mark is its surroundings and no obstacle.
    others = [box for j, box in cut.items() if j == i or not _within(mark, box)]
    full, errors = f"{words.name} {words.verdict}", "  ".join(words.errors)
    narrow = words.verdict, *words.name.split()
    texts = [
        (full, *((errors,) if errors else ())),
        (f"{full} {words.worst}".strip(),),
        (*narrow, *words.errors),
        (*narrow, *((words.worst,) if words.worst else ())),
    ]
    size = round(base * _SMALL)
    for lines in texts[2:]:
        # Astride a tall and narrow patch, most of which stays to be seen.
        wide, high = extent(lines, size)
        if wide < mark[2] - mark[0] or high * 3 > mark[3] - mark[1]:
            continue
        for share in (0.5, 0.25, 0.75):
            x, y = math.ceil((mark[0] + mark[2] - wide) / 2), math.ceil(mark[1] + share * (mark[3] - mark[1] - high))
            astride = x, y, x + wide, y + high
            blocked = (*taken, *(box for j, box in cut.items() if j != i and not _within(mark, box)))
            if _within(astride, page) and not any(_meet(astride, box) for box in blocked):
                return Label(mark=i, box=astride, lines=lines, size=size, plate=True)
    for gap in _GAPS:
        for lines in texts:
            for box in _around(mark, extent(lines, size), gap * line_height(size)):
                leader = _leader(mark, box)
                free = not any(_meet(box, other) for other in (*taken, *others))
                if free and _within(box, page) and not any(_meet(_reach(leader), other) for other in taken):
                    return Label(mark=i, box=box, lines=lines, size=size, leader=leader, plate=True)
    return None


def _number(i: int, mark: Box, number: int, page: Box, base: int, taken: Sequence[Box]) -> Label | None:
    size = round(base * _SMALL)
    lines = (str(number),)
    wide, high = extent(lines, size)
    middle = math.ceil((mark[0] + mark[2] - wide) / 2), math.ceil((mark[1] + mark[3] - high) / 2)
    spots = [(middle[0], middle[1], middle[0] + wide, middle[1] + high)]
    for gap in (0.0, *_GAPS):
        spots += _around(mark, (wide, high), gap * line_height(size))
    for box in spots:
        if _within(box, page) and not any(_meet(box, other) for other in taken):
            leader = None if _meet(box, mark) else _leader(mark, box)
            plate = not _within(box, mark)
            return Label(mark=i, box=box, lines=lines, size=size, number=number, plate=plate, leader=leader)
    return None


def _around(mark: Box, size: tuple[int, int], gap: float) -> list[tuple[int, int, int, int]]:
    """Places below, above, right and left of the mark."""
    wide, high = size
    far = math.ceil(gap)
    spots = []
    for share in (0.5, 0.25, 0.75, 0.0, 1.0):
        along_x = math.floor(mark[0] + share * (mark[2] - mark[0] - wide))
        along_y = math.floor(mark[1] + share * (mark[3] - mark[1] - high))
        spots += [(along_x, math.ceil(mark[3]) + far), (along_x, math.floor(mark[1]) - far - high)]
        spots += [(math.ceil(mark[2]) + far, along_y), (math.floor(mark[0]) - far - wide, along_y)]
    return [(x, y, x + wide, y + high) for x, y in spots]


def _leader(mark: Box, box: Box) -> tuple[tuple[int, int], tuple[int, int]]:
    """The shortest line from the mark to its label, from the label's middle where it can be."""

    def nearest(value: float, low: float, high: float) -> int:
        return round(min(max(value, low), max(low, high - 1)))

    start = (
        nearest((box[0] + box[2]) / 2, mark[0], mark[2]),
        nearest((box[1] + box[3]) / 2, mark[1], mark[3]),
    )
    return start, (nearest(start[0], box[0], box[2]), nearest(start[1], box[1], box[3]))


def _reach(leader: tuple[tuple[int, int], tuple[int, int]]) -> Box:
    """The ground that a leader takes up."""
    (x0, y0), (x1, y1) = leader
    return min(x0, x1) - 1, min(y0, y1) - 1, max(x0, x1) + 1, max(y0, y1) + 1


def _cut(box: Box, page: Box) -> Box | None:
    """What of the box lies on the page; None when nothing does."""
    left, top, right, bottom = max(box[0], page[0]), max(box[1], page[1]), min(box[2], page[2]), min(box[3], page[3])
    return (left, top, right, bottom) if left < right and top < bottom else None


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _within(inner: Box, outer: Box) -> bool:
    return outer[0] <= inner[0] and outer[1] <= inner[1] and inner[2] <= outer[2] and inner[3] <= outer[3]
