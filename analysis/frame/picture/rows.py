"""The text above and below the shown frame: heading, key of the marks, and notes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.drawing.labels import ADVANCE, Label, line_height, sign_width, wrapped
from analysis.drawing.palette import ORANGE, QUIET, RULE, TEXT, Rgb, font, plain
from analysis.frame.picture.marks import Heading, Mark, Note, ink_of, words_of
from analysis.frame.picture.pen import draw_sign
from patterns.signal import Signal

if TYPE_CHECKING:
    from PIL import ImageDraw

__all__ = ["draw_rows", "heading_rows", "key_rows", "rows_height"]

_MOST_ENTRIES = 120
"""Of the key."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
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


def heading_rows(heading: Heading, width: int, base: int) -> list[Row]:
    margin, large = base, round(1.3 * base)
    inner = width - 2 * margin
    verdict, title = plain(heading.verdict), plain(heading.title)
    passed = heading.passed
    rows = []
    first = wrapped(verdict, _fits(inner - sign_width(large), large)) or ("",)
    for i, line in enumerate(first):
        sign = (passed, False) if i == 0 else None
        x = margin + sign_width(large)
        rows.append(Row(text=line, ink=ink_of(passed), size=large, x=x, sign=sign))
    rows += [Row(text=line, ink=TEXT, size=base, x=margin) for line in wrapped(title, _fits(inner, base))]
    for words in heading.lines:
        rows += [Row(text=line, ink=QUIET, size=base, x=margin) for line in wrapped(plain(words), _fits(inner, base))]
    return rows


def key_rows(
    marks: Sequence[Mark], labels: Sequence[Label], notes: Sequence[Note], signal: Signal, width: int, base: int
) -> list[Row]:
    margin = base
    inner = width - 2 * margin
    rows: list[Row] = []
    if marks:
        rows += _sign_rows(marks, signal, inner, base)
        rows += _entry_rows(marks, labels, inner, base)
    else:
        rows.append(Row(text="Nothing was measured in this frame.", ink=QUIET, size=base, x=margin))
    for note in notes:
        title = wrapped(plain(note.title), _fits(inner, base))
        rows += [Row(text=line, ink=ORANGE, size=base, x=margin, ruled=i == 0) for i, line in enumerate(title)]
        for paragraph in note.paragraphs:
            lines = wrapped(plain(paragraph), _fits(inner - base, base))
            rows += [Row(text=line, ink=TEXT, size=base, x=margin + base) for line in lines]
    return rows


def _sign_rows(marks: Sequence[Mark], signal: Signal, inner: int, base: int) -> list[Row]:
    """What the signs mean, those that are there; then what the figures are."""
    margin = base
    means = {
        (True, False): "pass: thin line",
        (False, False): "FAIL: thick line with corners",
        (True, True): "pass?: broken line, uncertain",
        (False, True): "FAIL?: broken thick line, uncertain",
    }
    rows: list[Row] = []
    x = margin
    there = {(mark.passed, mark.uncertain) for mark in marks}
    for sign, text in means.items():
        if sign not in there:
            continue
        wide = sign_width(base) + math.ceil((len(text) + 3) * base * ADVANCE)
        follows = bool(rows) and x + wide <= margin + inner
        x = x if follows else margin
        ink = ink_of(sign[0])
        rows.append(Row(text=text, ink=ink, size=base, x=x + sign_width(base), sign=sign, same_line=follows))
        x += wide
    letters = {c for mark in marks for c in mark.components if c}
    order = [c for c in signal.components if c in letters]
    each = f", of {', '.join(order)}" if order else ""
    words = f"Figures: error in codes of {signal.bits} bits, measured less expected{each}."
    return rows + [Row(text=line, ink=QUIET, size=base, x=margin) for line in wrapped(words, _fits(inner, base))]


def _entry_rows(marks: Sequence[Mark], labels: Sequence[Label], inner: int, base: int) -> list[Row]:
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
        rows.append(Row(text=text[:first], ink=TEXT, size=size, x=x, sign=sign, same_line=i % across > 0, ruled=i == 0))
    if any(text.startswith("- ") for _, text in shown):
        rows.append(Row(text="-: there was no room for a number, or it lies outside", ink=QUIET, size=size, x=base))
    if more > 0:
        rows.append(Row(text=f"and {more} more", ink=QUIET, size=size, x=base))
    return rows


def rows_height(rows: Sequence[Row], base: int) -> int:
    lines = sum(line_height(row.size) for row in rows if not row.same_line)
    return lines + sum(base for row in rows if row.ruled) + base


def draw_rows(draw: ImageDraw.ImageDraw, rows: Sequence[Row], top: int, base: int) -> None:
    y, high = top + base // 2, 0
    for row in rows:
        if not row.same_line:
            y += high
            if row.ruled:
                draw.rectangle((base, y + base // 2, draw.im.size[0] - base, y + base // 2), RULE)
                y += base
            high = line_height(row.size)
        if row.sign is not None:
            draw_sign(draw, row.x - sign_width(row.size), y, row.size, *row.sign)
        draw.text((row.x, y), row.text, row.ink, font(row.size), "la")
