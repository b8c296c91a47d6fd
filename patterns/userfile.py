"""A user's own pattern: a TOML file with the same shapes (docs/reference/own-patterns.md).

Places are in % of the picture's width and height, radii, weights and heights of words in % of its height, levels in %
of nominal white. Numbers are read as exact decimals.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from patterns.formats import Format
from patterns.pattern import COLOURS, Area, Options, Pattern, PatternError, Stage
from patterns.scene import Box, Disc, Gradient, Movable, Mover, Patch, Ring, Rule, Scene, Segment, Text
from patterns.signal import Colour, Signal

__all__ = ["load_pattern", "parse_pattern"]

_LARGEST_FILE = 1 << 20
_MOST_SHAPES = 5000
_MOST_ROUND = Fraction(10)
"""Most area of discs and rings together, in squares of the picture's height: each is held while a frame is drawn."""
_LAST_LETTER = 0x04FF
_MOVING = "It moves: see that nothing flashes more than three times a second over a quarter of the picture (BT.1702)."
_WORDS = ("title", "look", "right", "adjust")
_NEEDED: dict[str, tuple[str, ...]] = {
    "box": ("left", "top", "right", "bottom", "colour"),
    "gradient": ("left", "top", "right", "bottom", "start", "stop"),
    "vertical": ("at", "from", "to", "colour"),
    "horizontal": ("at", "from", "to", "colour"),
    "disc": ("x", "y", "radius", "colour"),
    "ring": ("x", "y", "radius", "colour"),
    "line": ("x0", "y0", "x1", "y1", "colour"),
    "text": ("x", "y", "height", "text", "colour"),
}
_MAY: dict[str, tuple[str, ...]] = {
    "vertical": ("weight",),
    "horizontal": ("weight",),
    "ring": ("weight",),
    "line": ("weight",),
    "text": ("anchor",),
}


def load_pattern(path: Path) -> Pattern:
    """Read a pattern from a file; its id is the file's name without the ending.

    Raises:
        PatternError: the file cannot be read, or differs from docs/reference/own-patterns.md; the message names the
            line and the key.
    """
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_FILE + 1)
    except OSError as error:
        raise PatternError(f"{path}: cannot be read ({error.strerror or error})") from error
    if len(data) > _LARGEST_FILE:
        raise PatternError(f"{path}: larger than 1 MiB; give a pattern file")
    try:
        return parse_pattern(data.decode("utf-8-sig"), name=path.stem, where=str(path))
    except UnicodeDecodeError as error:
        raise PatternError(f"{path}: not a text in UTF-8") from error


def parse_pattern(text: str, *, name: str, where: str = "pattern") -> Pattern:
    """The pattern that a TOML text describes; `where` begins every message.

    Raises:
        PatternError: as `load_pattern`.
    """
    try:
        document = tomllib.loads(text, parse_float=_decimal)
    except (tomllib.TOMLDecodeError, ValueError, RecursionError) as error:
        words = str(error) or "too deeply nested"
        place = re.search(r"\(at line (\d+), column (\d+)\)", words)
        words = re.sub(r"\s*\(at .*\)$", "", words)
        long = re.search(r"\d{40}", text)
        if long and not place:
            # A whole number of thousands of digits, which Python itself refuses.
            words, place = "the number is too long", None
        line = text.count("\n", 0, long.start() if long else len(text)) + 1
        at = f"line {place[1]}, column {place[2]}" if place else f"line {line}"
        raise PatternError(f"{where}, {at}: {words}") from error
    scene = _Reader(where, text).scene(document)
    ident = re.sub(r"[^\w.-]+", "-", name).strip("-") or "own"

    def build(fmt: Format, options: Options, signal: Signal | None) -> Scene:
        return scene

    return Pattern(
        id=ident,
        title=document.get("title", ident),
        area=Area.OWN,
        look=" ".join(document.get("look", "").split()),
        right=" ".join(document.get("right", "").split()),
        adjust=" ".join(document.get("adjust", "").split()),
        order=Stage.MOTION + 99,
        build=build,
        dwell_minutes=5,
        cautions=() if scene.is_still else (_MOVING,),
    )


def _decimal(text: str) -> Fraction | float:
    # 1e999999999 is a short text and an endless number; a wrong one is reported where its key is read.
    plain = text.replace("_", "")
    if len(plain) > 40 or not re.fullmatch(r"[+-]?\d+(\.\d+)?([eE][+-]?\d{1,2})?", plain):
        return math.nan
    return Fraction(plain)


def _still(shape: Movable | Mover) -> Movable:
    return shape.shape if isinstance(shape, Mover) else shape


def _extent(shape: Movable) -> Fraction:
    """About how much of the picture a disc or a ring takes, in squares of its height; the raster is about 2 of them."""
    if isinstance(shape, Disc):
        return min(4 * shape.radius**2, Fraction(2))
    return min(shape.radius * shape.weight / 20, Fraction(2)) if isinstance(shape, Ring) else Fraction(0)


@dataclass(frozen=True, slots=True)
class _Reader:
    """Turns tables into shapes, and knows the text well enough to name the line of a mistake."""

    where: str
    text: str

    def scene(self, document: dict[str, Any]) -> Scene:
        top = "the file"
        self._known(document, top, (*_WORDS, "background", "period", "shape", "patch"), None)
        for key in _WORDS:
            self._line_of_words(document, key, None, long=key != "title")
        shapes = self._tables(document, "shape", self._shape)
        patches = self._tables(document, "patch", self._patch)
        period = self._number(document, "period", None, default=Fraction(4))
        if not shapes and "background" not in document:
            raise PatternError(f"{self.where}: nothing to draw; add a [[shape]] or a background")
        round_area = sum((_extent(shape) for shape in map(_still, shapes)), start=Fraction(0))
        if round_area > _MOST_ROUND:
            raise PatternError(
                f"{self.where}: the discs and rings are too many or too large; use fewer or smaller ones"
            )
        moves = any(isinstance(shape, Mover) for shape in shapes)
        if moves:
            # Whatever moves passes a place at most twice a period: with a second that is below three flashes.
            if not 1 <= period <= 60:
                raise self._error(None, "period", "give 1 to 60 seconds")
        elif "period" in document:
            raise self._error(None, "period", "no shape moves; give one a move = [x, y]")
        background = COLOURS["black"]
        if "background" in document:
            background = self._colour(document, "background", None)
        return Scene(
            background=background, shapes=tuple(shapes), patches=tuple(patches), period=period if moves else None
        )

    def _tables(self, document: dict[str, Any], kind: str, read: Callable[[dict[str, Any], str], Any]) -> list[Any]:
        tables = document.get(kind, [])
        if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
            raise self._error(None, kind, f"write each {kind} under a line [[{kind}]]")
        if len(tables) > _MOST_SHAPES:
            raise PatternError(f"{self.where}: {len(tables)} {kind}s; write at most {_MOST_SHAPES}")
        return [read(table, f"{kind} {i + 1}") for i, table in enumerate(tables)]

    def _shape(self, table: dict[str, Any], place: str) -> Movable | Mover:
        kind = table.get("kind")
        if not isinstance(kind, str) or kind not in _NEEDED:
            raise self._error(place, "kind", f"give one of {', '.join(_NEEDED)}")
        needed, may = _NEEDED[kind], (*_MAY.get(kind, ()), "move")
        self._known(table, place, ("kind", *needed, *may), kind)
        for key in needed:
            if key not in table:
                raise self._error(place, key, f"missing; a {kind} needs it")
        shape = self._build(kind, table, place)
        if "move" not in table:
            return shape
        dx, dy = self._pair(table, "move", place)
        return Mover(shape=shape, dx=dx, dy=dy)

    def _build(self, kind: str, table: dict[str, Any], place: str) -> Movable:
        def number(key: str) -> Fraction:
            return self._number(table, key, place) / 100

        if kind in ("box", "gradient"):
            left, top, right, bottom = (number(key) for key in ("left", "top", "right", "bottom"))
            self._ordered(place, left, right, "right", "left")
            self._ordered(place, top, bottom, "bottom", "top")
            if kind == "gradient":
                first, last = (self._colour(table, key, place) for key in ("start", "stop"))
                return Gradient(left=left, top=top, right=right, bottom=bottom, start=first, stop=last)
            return Box(left=left, top=top, right=right, bottom=bottom, colour=self._colour(table, "colour", place))
        colour, weight = self._colour(table, "colour", place), self._weight(table, place)
        if kind in ("vertical", "horizontal"):
            start, stop = number("from"), number("to")
            self._ordered(place, start, stop, "to", "from")
            vertical = kind == "vertical"
            return Rule(vertical=vertical, at=number("at"), start=start, stop=stop, colour=colour, weight=weight)
        if kind == "line":
            x0, y0, x1, y1 = (number(key) for key in ("x0", "y0", "x1", "y1"))
            return Segment(x0=x0, y0=y0, x1=x1, y1=y1, colour=colour, weight=weight)
        size_key = "height" if kind == "text" else "radius"
        x, y, size = number("x"), number("y"), number(size_key)
        if not 0 < size <= 2:
            raise self._error(place, size_key, "give more than 0 and at most 200 % of the picture's height")
        if kind == "text":
            return self._words(table, place, x, y, size, colour)
        if kind == "disc":
            return Disc(x=x, y=y, radius=size, colour=colour)
        return Ring(x=x, y=y, radius=size, colour=colour, weight=weight)

    def _words(
        self, table: dict[str, Any], place: str, x: Fraction, y: Fraction, height: Fraction, colour: Colour
    ) -> Text:
        text, anchor = table["text"], table.get("anchor", "middle")
        if not isinstance(text, str) or not text.strip() or len(text) > 200 or not text.isprintable():
            raise self._error(place, "text", "give a line of 1 to 200 printable characters in quotes")
        if max(map(ord, text)) > _LAST_LETTER:
            raise self._error(place, "text", "use Latin, Greek and Cyrillic letters; the typeface has no others")
        if height > Fraction(1, 2) or height * len(text) > 5:
            raise self._error(place, "height", "too large: at most 50 % high, and 500 % of letters times height")
        if anchor not in ("start", "middle", "end"):
            raise self._error(place, "anchor", "give start, middle or end")
        return Text(x=x, y=y, height=height, text=text, colour=colour, anchor=anchor)

    def _patch(self, table: dict[str, Any], place: str) -> Patch:
        needed = ("name", "left", "top", "right", "bottom", "colour")
        self._known(table, place, needed, "patch")
        for key in needed:
            if key not in table:
                raise self._error(place, key, "missing; a patch needs it")
        self._line_of_words(table, "name", place)
        left, top, right, bottom = (self._number(table, key, place) / 100 for key in ("left", "top", "right", "bottom"))
        self._ordered(place, left, right, "right", "left")
        self._ordered(place, top, bottom, "bottom", "top")
        if left < 0 or top < 0 or right > 1 or bottom > 1:
            raise self._error(place, "left", "keep the patch inside the picture, 0 to 100 %")
        colour = self._colour(table, "colour", place)
        return Patch(name=table["name"], left=left, top=top, right=right, bottom=bottom, colour=colour)

    def _line_of_words(self, table: dict[str, Any], key: str, place: str | None, *, long: bool = False) -> None:
        value = table.get(key, "-")
        if isinstance(value, str) and long:
            value = " ".join(value.split())
        if not isinstance(value, str) or not value.isprintable() or len(value) > 500:
            raise self._error(place, key, "give a text in quotes, one line of printable letters")

    def _number(self, table: dict[str, Any], key: str, place: str | None, default: Fraction | None = None) -> Fraction:
        value = table.get(key, default)
        if isinstance(value, int | Fraction) and not isinstance(value, bool):
            number = Fraction(value)
            if abs(number) <= 10_000:
                return number
        raise self._error(place, key, "give a number from -10000 to 10000")

    def _pair(self, table: dict[str, Any], key: str, place: str) -> tuple[Fraction, Fraction]:
        value = table[key]
        if not isinstance(value, list) or len(value) != 2:
            raise self._error(place, key, "give two numbers [x, y], in % of the picture")
        x, y = (self._number({key: number}, key, place) / 100 for number in value)
        return x, y

    def _weight(self, table: dict[str, Any], place: str) -> int:
        value = table.get("weight", 1)
        if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 50:
            raise self._error(place, "weight", "give a whole number of strokes from 1 to 50")
        return value

    def _colour(self, table: dict[str, Any], key: str, place: str | None) -> Colour:
        value = table[key]
        if isinstance(value, str):
            found = re.fullmatch(r"\s*(\w+)(?:\s+(-?\d+(?:\.\d+)?)\s*%?)?\s*", value)
            if found is not None and found[1].lower() in COLOURS and len(value) < 40:
                name, level = found[1].lower(), found[2]
                if level is None:
                    return COLOURS[name]
                share = self._level(Fraction(level), key, place)
                return Colour.grey(share) if name == "grey" else COLOURS[name].scaled(share)
        elif isinstance(value, list) and len(value) == 3:
            levels = [self._number({key: number}, key, place) for number in value]
            red, green, blue = (self._level(level, key, place) for level in levels)
            return Colour(red, green, blue)
        elif isinstance(value, int | Fraction) and not isinstance(value, bool):
            return Colour.grey(self._level(Fraction(value), key, place))
        choices = ", ".join(COLOURS)
        raise self._error(place, key, f"give a colour: {choices}, or such as 'red 75', a grey in %, or [r, g, b] in %")

    def _level(self, percent: Fraction, key: str, place: str | None) -> Fraction:
        if not -7 <= percent <= 109:
            raise self._error(place, key, "give levels from -7 to 109 %")
        return percent / 100

    def _ordered(self, place: str, low: Fraction, high: Fraction, key: str, other: str) -> None:
        if high <= low:
            raise self._error(place, key, f"must be larger than {other}")

    def _known(self, table: dict[str, Any], place: str, allowed: tuple[str, ...], kind: str | None) -> None:
        for key in table:
            if key not in allowed:
                what = f"a {kind} has" if kind else "a pattern has"
                raise self._error(None if kind is None else place, key, f"unknown; {what} {', '.join(allowed)}")

    def _error(self, place: str | None, key: str, words: str) -> PatternError:
        line = self._line(place, key)
        inside = f" of {place}" if place else ""
        shown = key if key.isprintable() and len(key) <= 40 else "a key"
        return PatternError(f"{self.where}, line {line}: {shown}{inside}: {words}")

    def _line(self, place: str | None, key: str) -> int:
        """The line of `key`, or of its table's heading, found in the text as it was written."""
        # Only these end a line of TOML; letters of other scripts do not.
        lines = _without_long_texts(self.text).replace("\r\n", "\n").split("\n")
        start = 0
        if place is not None:
            kind, number = place.split(" ")
            heads = [i for i, line in enumerate(lines) if re.match(rf"\s*\[\[\s*[\"']?{kind}[\"']?\s*\]\]", line)]
            if not heads:
                # Written inline, [{...}, {...}]: the line of the table's own bracket.
                first = next((i for i, line in enumerate(lines) if re.match(rf"\s*{kind}\s*=", line)), 0)
                heads = [i for i in range(first, len(lines)) for _ in range(lines[i].count("{"))]
            start = heads[int(number) - 1] if int(number) <= len(heads) else 0
        for i in range(start, len(lines)):
            if place is not None and i > start and re.match(r"\s*\[", lines[i]):
                break
            if re.match(rf"\s*\[*\s*[\"']?{re.escape(key)}[\"']?\s*[].=]", lines[i]):
                return i + 1
        return start + 1


def _without_long_texts(text: str) -> str:
    """The document with the insides of texts over several lines blanked, so that nothing in them looks like a key."""
    return re.sub(r'("""|\'\'\').*?\1', lambda found: re.sub(r"[^\n]", " ", found[0]), text, flags=re.DOTALL)
