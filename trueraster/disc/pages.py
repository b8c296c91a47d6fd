"""The menu of a disc: its cautions and its list of chapters, laid out in pages and drawn as any pattern is.

Words are at least two frame lines thick and stay within the picture's safe area; nothing moves. The menu is always
4:3, so that one set of button places is right in every player; titles have their own shape.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

from patterns.formats import Format
from patterns.pattern import COLOURS, Area, Options, Pattern, Stage
from patterns.scene import Box, Patch, Scene, Shape, Text
from patterns.signal import Colour, Signal
from trueraster.disc.chapters import Chapter
from trueraster.output.cautions import CAUTIONS

__all__ = ["Button", "Page", "menu_pages"]

_MARGIN = Fraction(7, 100)
"""Of the picture's width and height on each side: inside the graphics safe area of EBU R 95 (5 %)."""
_FRAME = Fraction(56, 1000)
"""Left and right edge of a button's frame, still inside that area."""
_CAPITAL, _PITCH = Fraction(1, 40), Fraction(1, 27)
"""Height of a capital and distance of lines, in picture heights: 12 and 18 lines of 480."""
_ACROSS = 54
"""Letters in a line."""
_LETTER = _CAPITAL * Fraction(83, 100) * Fraction(3, 4)
"""How wide one is, in picture widths."""
_BETWEEN, _AROUND = Fraction(3, 4), Fraction(7, 8)
"""Lines left between two blocks, and from the middle of a line to the edge of the frame around it."""
_BODY = 20
"""Lines of a page between its head and its foot."""
_NUMBER = 4
"""Letters that a chapter's number takes."""
_BRIGHT, _PLAIN = Colour.grey(Fraction(3, 4)), Colour.grey(Fraction(1, 2))
"""Of headings and of the rest: dim, as a page may stay up for long."""

_KEYS = (
    "Keys",
    "Enter shows a pattern. A still stays until a key is pressed; mind the longest time that the list gives for it ('up"
    " to 5 min'). Next and previous lead through the order of work, and menu comes back to the list.",
)
_FOOT = {"Page before": "before", "Next page": "next", "Order of work": "list"}
"""The words at the foot of a page, from left to right, and the names of their buttons."""
_GROUND = Patch(
    name="ground",
    left=Fraction(1, 100),
    top=Fraction(1, 10),
    right=Fraction(4, 100),
    bottom=Fraction(9, 10),
    colour=COLOURS["black"],
)
"""What a page is proved by."""


class _Box(NamedTuple):
    """Edges of a button, in shares of the picture's width and height."""

    left: Fraction
    top: Fraction
    right: Fraction
    bottom: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Button:
    """A place on a page that a key of the remote control chooses.

    `chapter` is what it plays, or None where it turns to `page`, counted from 0.
    """

    name: str
    box: _Box
    chapter: int | None = None
    page: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """One page of the menu."""

    pattern: Pattern
    """Draws it."""
    buttons: tuple[Button, ...]
    """Chapters in their order, then the page before and the next page."""

    @property
    def chapters(self) -> list[int]:
        """The numbers of the chapters that are listed on it."""
        return [button.chapter for button in self.buttons if button.chapter is not None]


@dataclass(frozen=True, slots=True)
class _Block:
    """Lines that stay together: text and whether it is bright; `chapter` is what they list."""

    lines: tuple[tuple[str, bool], ...]
    chapter: int | None = None


def menu_pages(chapters: Sequence[Chapter], fmt: Format) -> tuple[Page, ...]:
    """The pages: cautions first, then all chapters in the order of work. `fmt` is the disc's format, 4:3."""
    parts = [("Before you start", list(_cautions(chapters))), ("Order of work", [_listed(one) for one in chapters])]
    filled = [(title, blocks) for title, every in parts for blocks in _filled(every)]
    first = next(i for i, (_, blocks) in enumerate(filled) if blocks[0].chapter is not None)
    pages = []
    for i, (title, blocks) in enumerate(filled):
        turns = {"Page before": i - 1, "Next page": i + 1}
        if i < first - 1:
            turns[parts[1][0]] = first
        turns = {words: page for words, page in turns.items() if 0 <= page < len(filled)}
        pages.append(_page(f"menu-{i + 1}", (f"{fmt.id}  {title}", f"{i + 1} of {len(filled)}"), blocks, turns))
    return tuple(pages)


def _cautions(chapters: Sequence[Chapter]) -> Iterator[_Block]:
    """What is dangerous at a set, and what is to be known of single patterns, with their numbers."""
    for title, text in (*((caution.title, caution.text) for caution in CAUTIONS), _KEYS):
        yield _Block(((title, True), *((line, False) for line in _wrapped(text))))
    numbers: dict[str, list[str]] = {}
    for chapter in chapters:
        order = chapter.item.order
        for words in order.pattern.cautions_in(order.format, order.options):
            numbers.setdefault(words, []).append(f"{chapter.number:02}")
    for words, some in numbers.items():
        heads = ((line, True) for line in _wrapped(f"Number {', '.join(some)}"))
        yield _Block((*heads, *((line, False) for line in _wrapped(words))))


def _listed(chapter: Chapter) -> _Block:
    """Number, name, longest time on the screen, and what the pattern is for."""
    pattern = chapter.item.order.pattern
    longest = f" up to {pattern.dwell_minutes:2} min"
    first, *more = _wrapped(chapter.title, _NUMBER, len(longest))
    head = f"{chapter.number:02}".ljust(_NUMBER) + first.ljust(_ACROSS - _NUMBER - len(longest)) + longest
    indent = " " * _NUMBER
    lines = [(head, True), *((indent + line, True) for line in more)]
    lines += [(indent + line, False) for line in _wrapped(pattern.adjust, _NUMBER)]
    return _Block(tuple(lines), chapter.number)


def _wrapped(text: str, less: int = 0, also: int = 0) -> list[str]:
    return textwrap.wrap(text, _ACROSS - less - also, break_on_hyphens=False)


def _filled(blocks: Sequence[_Block]) -> Iterator[list[_Block]]:
    """Blocks in pages."""
    page: list[_Block] = []
    used = Fraction(0)
    for block in blocks:
        needed = len(block.lines) + _BETWEEN
        if page and used + needed > _BODY:
            yield page
            page, used = [], Fraction(0)
        page.append(block)
        used += needed
    if page:
        yield page


def _page(name: str, head: tuple[str, str], blocks: Sequence[_Block], turns: Mapping[str, int]) -> Page:
    """A page with `head` at its left and right, and below the words that turn to another page."""
    y = _MARGIN + _PITCH / 2
    rule = y + _PITCH * 3 / 4
    shapes: list[Shape] = [
        _text(head[0], _MARGIN, y, _BRIGHT),
        _text(head[1], 1 - _MARGIN, y, _PLAIN, "end"),
        Box(left=_MARGIN, top=rule, right=1 - _MARGIN, bottom=rule + Fraction(1, 120), colour=_PLAIN),
    ]
    buttons: list[Button] = []
    y = rule + _PITCH * 5 / 4
    for block in blocks:
        top, bottom = y - _AROUND * _PITCH, y + (len(block.lines) - 1 + _AROUND) * _PITCH
        for i, (text, bright) in enumerate(block.lines):
            shapes.append(_text(text, _MARGIN, y + i * _PITCH, _BRIGHT if bright else _PLAIN))
        if block.chapter is not None:
            box = _Box(_FRAME, top, 1 - _FRAME, bottom)
            buttons.append(Button(name=f"chapter{block.chapter}", box=box, chapter=block.chapter))
        y += (len(block.lines) + _BETWEEN) * _PITCH
    y = 1 - _MARGIN - _PITCH / 2
    for words, page in turns.items():
        left = _MARGIN + Fraction(list(_FOOT).index(words), 3) * (1 - 2 * _MARGIN)
        shapes.append(_text(words, left, y, _BRIGHT))
        inner = _MARGIN - _FRAME
        right = left + len(words) * _LETTER + inner
        box = _Box(left - inner, y - _AROUND * _PITCH, right, y + _AROUND * _PITCH)
        buttons.append(Button(name=_FOOT[words], box=box, page=page))
    scene = Scene(background=COLOURS["black"], shapes=tuple(shapes), patches=(_GROUND,))
    return Page(pattern=_drawn(name, head[0], scene), buttons=tuple(buttons))


def _text(words: str, x: Fraction, y: Fraction, colour: Colour, anchor: str = "start") -> Text:
    return Text(x=x, y=y, height=_CAPITAL, text=words, colour=colour, anchor=anchor)


def _drawn(name: str, title: str, scene: Scene) -> Pattern:
    """The page as a pattern, so that it is drawn, written and proved as every other file."""

    def build(fmt: Format, options: Options, signal: Signal | None) -> Scene:
        return scene

    return Pattern(
        id=name,
        title=title,
        area=Area.SIGNAL,
        look="",
        right="",
        adjust="",
        order=Stage.SIGNAL,
        build=build,
        dwell_minutes=30,
    )
