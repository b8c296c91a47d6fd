"""The captured frame with every measured patch outlined, named and marked by its error: what `verify --picture` writes.

The frame is turned into R'G'B' of 8 bits for showing only; nothing is measured here.
"""

from __future__ import annotations

import errno
import math
import os
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from analysis.labels import ADVANCE, Box, Label, Words, lay_out, line_height, padding, sign_width, wrapped
from patterns.formats import FieldOrder
from patterns.signal import Signal
from render.decode import Picture
from render.passing import passing_name

if TYPE_CHECKING:
    from PIL import Image, ImageDraw, ImageFont

__all__ = ["Heading", "Mark", "Note", "marked_picture", "shown_box", "shown_size", "words_of", "write_marked"]

_FACE = "DejaVuSansMono-Bold.ttf"
_FEWEST_LINES = 800
"""Frames with fewer lines are enlarged by a whole factor, so that words have room."""
_MOST_COLUMNS = 2600
"""No wider than this by enlarging."""
_NARROWEST = 720
"""Of the page: room for the words above and below."""
_BAND_LINES = 64
"""Lines that are converted at a time, for the sake of memory."""
_LONGEST_NAME = 28
_MOST_ENTRIES = 120
"""Of the key."""

Rgb = tuple[int, int, int]
_GROUND: Rgb = (22, 25, 31)
_RULE: Rgb = (74, 81, 94)
_TEXT: Rgb = (240, 242, 245)
_QUIET: Rgb = (170, 178, 190)
_DARK: Rgb = (0, 0, 0)
# Blue and orange differ for every kind of colour vision, and in lightness too.
_PASS: Rgb = (120, 200, 255)
_FAIL: Rgb = (255, 140, 20)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A measured patch. `box` is in samples and lines of the frame, which may cut it."""

    name: str
    box: Box
    """Left, top, right, bottom."""
    error_codes: tuple[float | None, ...] | None
    """Measured less expected, for each of `components`, in codes of the frame's depth; None: not measured."""
    components: tuple[str, ...]
    passed: bool
    uncertain: bool = False
    """Whether noise or too few samples leave the verdict open."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What stands above the frame."""

    title: str
    """The file and the frame."""
    verdict: str
    """A word or a few; the sign before it follows from `passed`."""
    passed: bool
    lines: tuple[str, ...] = ()
    """Pattern, format, signal, registration."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What stands below the frame, as a fault and its remedy: a title, then paragraphs."""

    title: str
    paragraphs: tuple[str, ...] = ()


def marked_picture(
    picture: Picture,
    signal: Signal,
    marks: Sequence[Mark],
    heading: Heading,
    notes: Sequence[Note] = (),
    *,
    sample_aspect: Fraction | None = None,
) -> Image.Image:
    """The page: heading, the frame with its marks, the key and the notes. Mode RGB.

    The frame is shown with square samples. `sample_aspect` is the file's own where it is not given, and 1 where
    the file says nothing. Frames of few lines are enlarged by a whole factor.
    """
    from PIL import Image, ImageDraw

    aspect = sample_aspect or picture.tags.sample_aspect or Fraction(1)
    height, width = picture.planes[0].shape
    size = shown_size(width, height, aspect)
    base = max(15, round(size[1] / 58))
    boxes = [shown_box(mark.box, (width, height), size) for mark in marks]
    labels = lay_out(boxes, [words_of(mark) for mark in marks], size, base)
    page_width = max(size[0], _NARROWEST)
    above = _heading_rows(heading, page_width, base)
    below = _key_rows(marks, labels, notes, signal, page_width, base)
    top = _rows_height(above, base)
    page = Image.new("RGB", (page_width, top + size[1] + _rows_height(below, base)), _GROUND)
    page.paste(_enlarged(_shown(picture, signal), size), ((page_width - size[0]) // 2, top))
    draw = ImageDraw.Draw(page)
    pen = _Pen(draw=draw, left=(page_width - size[0]) // 2, top=top, size=size, base=base)
    for mark, box in zip(marks, boxes, strict=True):
        pen.outline(mark, box)
    for label in labels:
        pen.leader(label, marks[label.mark], boxes[label.mark])
    for label in labels:
        pen.label(label, marks[label.mark])
    _draw_rows(draw, above, 0, base)
    _draw_rows(draw, below, top + size[1], base)
    return page


def write_marked(path: Path, image: Image.Image) -> None:
    """Write the page as a PNG file, so that at any moment the old file or the whole new one stands there.

    Raises:
        ValueError: the name does not end in .png.
        OSError: it cannot be written; what stood there still does.
    """
    if path.suffix.lower() != ".png":
        raise ValueError(f"{path}: the marked picture is a PNG file; give a name that ends in .png")
    if path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    passing = path.with_name(passing_name(path.name))
    try:
        with passing.open("wb") as file:
            # Noise does not shrink, and takes the harder levels seconds.
            image.save(file, "PNG", compress_level=2)
            file.flush()
            os.fsync(file.fileno())
        os.replace(passing, path)
    except OSError as error:
        # The passing name would tell the user nothing.
        raise OSError(error.errno, error.strerror or str(error), str(path)) from error
    finally:
        # A name that is too long cannot be looked for either.
        if passing.exists():
            passing.unlink()


def shown_size(width: int, height: int, aspect: Fraction) -> tuple[int, int]:
    """Width and height of the shown frame: square samples, few lines enlarged."""
    factor = max(1, min(math.ceil(_FEWEST_LINES / height), int(_MOST_COLUMNS / (width * aspect))))
    return max(1, round(width * factor * aspect)), height * factor


def shown_box(box: Box, frame: tuple[int, int], size: tuple[int, int]) -> Box:
    """A box of the frame (width, height) in the shown frame."""
    across, down = size[0] / frame[0], size[1] / frame[1]
    return box[0] * across, box[1] * down, box[2] * across, box[3] * down


# --- The frame ------------------------------------------------------------------------------------------


def _shown(picture: Picture, signal: Signal) -> NDArray[np.uint8]:
    """R'G'B' of 8 bits, full range, for a screen; (row, column, component)."""
    planes = picture.planes
    height, width = planes[0].shape
    result = np.empty((height, width, 3), np.uint8)
    if signal.sampling.is_rgb:
        codes = np.arange(1 << signal.bits)
        low, high = signal.fraction_of(0, 0), signal.fraction_of(0, (1 << signal.bits) - 1)
        levels = np.linspace(low, high, len(codes))
        table = np.rint(np.clip(levels, 0, 1) * 255).astype(np.uint8)
        for i, plane in enumerate(planes):
            result[:, :, i] = table[plane]
        return result
    rows = _chroma_rows(height, planes[1].shape[0], signal, picture.tags.field_order)
    kr, kb = (np.float32(weight) for weight in signal.matrix.weights)
    for start in range(0, height, _BAND_LINES):
        band = slice(start, min(start + _BAND_LINES, height))
        luma = _levels(planes[0][band], 0, signal)
        blue, red = (_across(_levels(planes[i][rows[band]], i, signal), width, signal) for i in (1, 2))
        r = luma + 2 * (1 - kr) * red
        b = luma + 2 * (1 - kb) * blue
        g = (luma - kr * r - kb * b) / (1 - kr - kb)
        result[band] = np.rint(np.clip(np.stack((r, g, b), axis=-1), 0, 1) * 255)
    return result


def _levels(plane: NDArray[np.generic], component: int, signal: Signal) -> NDArray[np.float32]:
    zero = signal.fraction_of(component, 0)
    step = signal.fraction_of(component, 1) - zero
    return plane.astype(np.float32) * np.float32(step) + np.float32(zero)


def _chroma_rows(height: int, rows: int, signal: Signal, order: FieldOrder | None) -> NDArray[np.intp]:
    """The chroma row of each line. In fields each row belongs to lines of its own field."""
    lines = np.arange(height)
    if signal.sampling.chroma_step[1] == 1:
        found = lines
    elif order in (None, FieldOrder.PROGRESSIVE):
        found = lines // 2
    else:
        found = lines // 4 * 2 + lines % 2
    return np.minimum(found, rows - 1)


def _across(chroma: NDArray[np.float32], width: int, signal: Signal) -> NDArray[np.float32]:
    """Chroma for every sample of the line: co-sited with the even ones, midway between for the odd ones."""
    if signal.sampling.chroma_step[0] == 1:
        return chroma
    twice = np.repeat(chroma, 2, axis=1)
    twice[:, 1:-1:2] = (chroma[:, :-1] + chroma[:, 1:]) / 2
    return twice[:, :width]


def _enlarged(shown: NDArray[np.uint8], size: tuple[int, int]) -> Image.Image:
    """The frame at its size for showing: samples stay crisp, and as wide as each other."""
    from PIL import Image

    image = Image.fromarray(shown)
    if image.size == size:
        return image
    image = image.resize((image.width, size[1]), Image.Resampling.NEAREST)
    if size[0] % image.width == 0:
        return image.resize(size, Image.Resampling.NEAREST)
    if size[0] < image.width:
        return image.resize(size, Image.Resampling.BOX)
    # A box as wide as a shown sample covers one or two of the frame's.
    factor = math.ceil(size[0] / image.width)
    return image.resize((image.width * factor, size[1]), Image.Resampling.NEAREST).resize(size, Image.Resampling.BOX)


# --- Marks ----------------------------------------------------------------------------------------------


def words_of(mark: Mark) -> Words:
    """What the label of a mark says."""
    name = _plain(mark.name)
    if len(name) > _LONGEST_NAME:
        name = name[: _LONGEST_NAME - 1] + "…"
    errors = mark.error_codes or ()
    given = [(c, e) for c, e in zip(mark.components or ("",) * len(errors), errors, strict=False) if e is not None]
    told = [f"{component} {_signed(error)}".strip() for component, error in given]
    worst = max(given, key=lambda pair: abs(pair[1]), default=None)
    if len({_signed(error) for _, error in given}) == 1 and len(given) > 1:
        # The same in all: grey levels of R'G'B', or nothing at all.
        told = [f"{''.join(component for component, _ in given)} {_signed(given[0][1])}".strip()]
    return Words(
        name=name or "?",
        verdict=_verdict(mark),
        errors=tuple(told),
        worst="" if worst is None else told[0] if len(told) == 1 else f"{worst[0]} {_signed(worst[1])}".strip(),
        sign_tells=mark.passed,
    )


def _verdict(mark: Mark) -> str:
    return ("pass" if mark.passed else "FAIL") + ("?" if mark.uncertain else "")


def _signed(error: float) -> str:
    """An error in codes, as short as it is exact enough."""
    if not math.isfinite(error):
        return "?"
    text = f"{error:+.0f}" if abs(error) >= 99.5 else f"{error:+.1f}" if abs(error) >= 9.95 else f"{error:+.2f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("+0", "-0") else text.replace("-", "−")


def _plain(text: str) -> str:
    """On one line, and nothing that the face cannot show as itself."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _colour(passed: bool) -> Rgb:
    return _PASS if passed else _FAIL


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pen:
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
        ink = _colour(mark.passed)
        # A dark seam within, so that the line is seen on a ground of its own colour.
        seam = max(1, self.thin // 3)
        seams = [(x0 - seam, y0 - seam, x1 + seam, y1 + seam) for x0, y0, x1, y1 in sides]
        strokes: list[tuple[Box, Rgb]] = [(_meeting(place, box), _DARK) for place in seams]
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
        for weight, ink in ((self.thin + 2, _DARK), (self.thin, _colour(mark.passed))):
            self.draw.line((start, stop), ink, weight)
        if narrow:
            return
        for reach, ink in ((self.thin + 1, _DARK), (self.thin, _colour(mark.passed))):
            self.draw.ellipse((start[0] - reach, start[1] - reach, start[0] + reach, start[1] + reach), ink)

    def label(self, label: Label, mark: Mark) -> None:
        """Words with a halo, or on a plate, and the sign of the verdict before the first line."""
        if label.plate:
            left, top, right, bottom = label.box
            corners = (self.left + left, self.top + top, self.left + right - 1, self.top + bottom - 1)
            self.draw.rectangle(corners, _GROUND, _colour(mark.passed))
        size, pad = label.size, padding(label.size)
        x, y = self.left + label.box[0] + pad, self.top + label.box[1] + pad
        font = _font(size)
        for i, line in enumerate(label.lines):
            if i == 0:
                _sign(self.draw, x, y, size, mark.passed, mark.uncertain)
            at = x + (sign_width(size) if i == 0 else 0), y + i * line_height(size)
            self.draw.text(at, line, _TEXT, font, "la", stroke_width=max(1, pad - 1), stroke_fill=_DARK)


def _sign(draw: ImageDraw.ImageDraw, x: int, y: int, size: int, passed: bool, uncertain: bool) -> None:
    """A tick on a disc for what passed, a cross on a square for what did not; hollow where it is uncertain."""
    side, weight = size, max(2, size // 8)
    top = y + (line_height(size) - side) // 2
    box = (x, top, x + side - 1, top + side - 1)
    around = (box[0] - 1, box[1] - 1, box[2] + 1, box[3] + 1)
    shape = draw.ellipse if passed else draw.rectangle
    ink = _colour(passed)
    shape(around, _DARK)
    shape(box, _DARK if uncertain else ink, ink, weight)
    stroke = ink if uncertain else _DARK

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


# --- Above and below ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    """A line of text on the page."""

    text: str
    ink: Rgb
    size: int
    x: int
    same_line: bool = False
    """Whether it stands on the line of the row before."""
    sign: tuple[bool, bool] | None = None
    """Passed, uncertain: the sign that stands before the text."""
    ruled: bool = False
    """Whether a fine rule and a gap stand above it."""


def _fits(width: int, size: int) -> int:
    """Characters that a line of that width holds."""
    return max(8, int(width / (size * ADVANCE)))


def _heading_rows(heading: Heading, width: int, base: int) -> list[_Row]:
    margin, large = base, round(1.3 * base)
    inner = width - 2 * margin
    verdict, title = _plain(heading.verdict), _plain(heading.title)
    passed = heading.passed
    rows = []
    first = wrapped(verdict, _fits(inner - sign_width(large), large)) or ("",)
    for i, line in enumerate(first):
        sign = (passed, False) if i == 0 else None
        x = margin + sign_width(large)
        rows.append(_Row(text=line, ink=_colour(passed), size=large, x=x, sign=sign))
    rows += [_Row(text=line, ink=_TEXT, size=base, x=margin) for line in wrapped(title, _fits(inner, base))]
    for words in heading.lines:
        rows += [
            _Row(text=line, ink=_QUIET, size=base, x=margin) for line in wrapped(_plain(words), _fits(inner, base))
        ]
    return rows


def _key_rows(
    marks: Sequence[Mark], labels: Sequence[Label], notes: Sequence[Note], signal: Signal, width: int, base: int
) -> list[_Row]:
    margin = base
    inner = width - 2 * margin
    rows: list[_Row] = []
    if marks:
        rows += _sign_rows(marks, signal, inner, base)
        rows += _entry_rows(marks, labels, inner, base)
    else:
        rows.append(_Row(text="Nothing was measured in this frame.", ink=_QUIET, size=base, x=margin))
    for note in notes:
        title = wrapped(_plain(note.title), _fits(inner, base))
        rows += [_Row(text=line, ink=_FAIL, size=base, x=margin, ruled=i == 0) for i, line in enumerate(title)]
        for paragraph in note.paragraphs:
            lines = wrapped(_plain(paragraph), _fits(inner - base, base))
            rows += [_Row(text=line, ink=_TEXT, size=base, x=margin + base) for line in lines]
    return rows


def _sign_rows(marks: Sequence[Mark], signal: Signal, inner: int, base: int) -> list[_Row]:
    """What the signs mean, those that are there; then what the figures are."""
    margin = base
    means = {
        (True, False): "pass: thin line",
        (False, False): "FAIL: thick line with corners",
        (True, True): "pass?: broken line, uncertain",
        (False, True): "FAIL?: broken thick line, uncertain",
    }
    rows: list[_Row] = []
    x = margin
    there = {(mark.passed, mark.uncertain) for mark in marks}
    for sign, text in means.items():
        if sign not in there:
            continue
        wide = sign_width(base) + math.ceil((len(text) + 3) * base * ADVANCE)
        follows = bool(rows) and x + wide <= margin + inner
        x = x if follows else margin
        ink = _colour(sign[0])
        rows.append(_Row(text=text, ink=ink, size=base, x=x + sign_width(base), sign=sign, same_line=follows))
        x += wide
    letters = {c for mark in marks for c in mark.components if c}
    order = [c for c in signal.components if c in letters]
    each = f", of {', '.join(order)}" if order else ""
    words = f"Figures: error in codes of {signal.bits} bits, measured less expected{each}."
    return rows + [_Row(text=line, ink=_QUIET, size=base, x=margin) for line in wrapped(words, _fits(inner, base))]


def _entry_rows(marks: Sequence[Mark], labels: Sequence[Label], inner: int, base: int) -> list[_Row]:
    """The patches that have a number in the picture, in columns, and those that have nothing there."""
    labelled = {label.mark: label.number for label in labels}
    entries = []
    for i, mark in enumerate(marks):
        if i in labelled and labelled[i] is None:
            continue
        words = words_of(mark)
        number = labelled.get(i, "-")
        entries.append((mark, f"{number} {words.name} {words.verdict} {' '.join(words.errors)}".rstrip()))
    shown, more = entries[:_MOST_ENTRIES], len(entries) - _MOST_ENTRIES
    if not shown:
        return []
    size = round(base * 0.9)
    longest = max(len(text) for _, text in shown)
    wide = sign_width(size) + math.ceil((longest + 2) * size * ADVANCE)
    across = max(1, min(inner // wide, len(shown)))
    rows = []
    for i, (mark, text) in enumerate(shown):
        x = base + i % across * wide + sign_width(size)
        first = _fits(inner - sign_width(size), size)
        sign = mark.passed, mark.uncertain
        rows.append(
            _Row(text=text[:first], ink=_TEXT, size=size, x=x, sign=sign, same_line=i % across > 0, ruled=i == 0)
        )
    if any(text.startswith("- ") for _, text in shown):
        rows.append(_Row(text="-: there was no room for a number, or it lies outside", ink=_QUIET, size=size, x=base))
    if more > 0:
        rows.append(_Row(text=f"and {more} more", ink=_QUIET, size=size, x=base))
    return rows


def _rows_height(rows: Sequence[_Row], base: int) -> int:
    lines = sum(line_height(row.size) for row in rows if not row.same_line)
    return lines + sum(base for row in rows if row.ruled) + base


def _draw_rows(draw: ImageDraw.ImageDraw, rows: Sequence[_Row], top: int, base: int) -> None:
    y, high = top + base // 2, 0
    for row in rows:
        if not row.same_line:
            y += high
            if row.ruled:
                draw.rectangle((base, y + base // 2, draw.im.size[0] - base, y + base // 2), _RULE)
                y += base
            high = line_height(row.size)
        if row.sign is not None:
            _sign(draw, row.x - sign_width(row.size), y, row.size, *row.sign)
        draw.text((row.x, y), row.text, row.ink, _font(row.size), "la")


@lru_cache(maxsize=16)
def _font(size: int) -> ImageFont.FreeTypeFont:
    from importlib.resources import as_file, files

    from PIL import ImageFont

    with as_file(files("render") / "data" / _FACE) as path:
        return ImageFont.truetype(path, size)
