"""A user's own pattern: a TOML file with the same shapes (docs/reference/own-patterns.md).

Places are in % of the picture's width and height, radii, weights and heights of words in % of its height, levels in %
of nominal white. Numbers are read as exact decimals.
"""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Callable, Mapping, Sequence
from fractions import Fraction
from functools import partial
from pathlib import Path
from typing import Any

from patterns.formats import Format
from patterns.keys import EntryError, Key, Kind, Table, inside, number, one_of, whole
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
    try:
        scene: Scene = _FILE(document)
    except EntryError as error:
        raise _with_line(error, where, text) from error
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


def _with_line(error: EntryError, where: str, text: str) -> PatternError:
    """The mistake with its line: 'own.toml, line 4: left of shape 2: a number ... is expected'."""
    if not error.path:
        return PatternError(f"{where}: {error.words}")
    place = None
    if len(error.path) > 1 and isinstance(error.path[1], int):
        place = f"{error.path[0]} {error.path[1] + 1}"
    key = str(error.path[0 if place is None else 2])
    inside = f" of {place}" if place else ""
    shown = key if key.isprintable() and len(key) <= 40 else "a key"
    return PatternError(f"{where}, line {_line(text, place, key)}: {shown}{inside}: {error.words}")


def _line(text: str, place: str | None, key: str) -> int:
    """The line of `key`, or of its table's heading, found in the text as it was written."""
    # Only these end a line of TOML; letters of other scripts do not.
    lines = _without_long_texts(text).replace("\r\n", "\n").split("\n")
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


# --- Kinds of values ----------------------------------------------------------------------------------------------

_MANY = 10_000
_IN_RANGE = f"a number from -{_MANY} to {_MANY}"


def _number(held: Any) -> Fraction:
    if isinstance(held, float):
        # The text of it is gone, see `_decimal`.
        raise EntryError(f"{_IN_RANGE} is expected, in at most 40 characters")
    return Fraction(number(-_MANY, _MANY, _IN_RANGE)(held))


def _percent(held: Any) -> Fraction:
    return _number(held) / 100


def _level(held: Any) -> Fraction:
    level = _percent(held)
    if not -7 <= 100 * level <= 109:
        raise EntryError("levels from -7 to 109 % are allowed")
    return level


def _colour(held: Any) -> Colour:
    if isinstance(held, str):
        found = re.fullmatch(r"\s*(\w+)(?:\s+(-?\d+(?:\.\d+)?)\s*%?)?\s*", held)
        if found is not None and found[1].lower() in COLOURS and len(held) < 40:
            name, level = found[1].lower(), found[2]
            if level is None:
                return COLOURS[name]
            share = _level(Fraction(level))
            return Colour.grey(share) if name == "grey" else COLOURS[name].scaled(share)
    elif isinstance(held, list) and len(held) == 3:
        red, green, blue = map(_level, held)
        return Colour(red, green, blue)
    elif isinstance(held, int | Fraction) and not isinstance(held, bool):
        return Colour.grey(_level(held))
    choices = ", ".join(COLOURS)
    raise EntryError(f"a colour is expected: {choices}, as 'red 75', a grey in %, or [r, g, b] in %")


def _move(held: Any) -> tuple[Fraction, Fraction]:
    if not isinstance(held, list) or len(held) != 2:
        raise EntryError("two numbers [x, y] in % of the picture are expected")
    x, y = map(_percent, held)
    return x, y


def _size(held: Any) -> Fraction:
    size = _percent(held)
    if not 0 < size <= 2:
        raise EntryError("above 0 and up to 200 % of the picture's height are allowed")
    return size


def _line_of_words(held: Any) -> str:
    if not isinstance(held, str) or not held.isprintable() or len(held) > 500:
        raise EntryError("a text in quotes is expected, one line of printable letters")
    return held


def _words(held: Any) -> str:
    return _line_of_words(" ".join(held.split()) if isinstance(held, str) else held)


def _letters(held: Any) -> str:
    if not isinstance(held, str) or not held.strip() or len(held) > 200 or not held.isprintable():
        raise EntryError("a line of 1 to 200 printable characters in quotes is expected")
    if max(map(ord, held)) > _LAST_LETTER:
        raise EntryError("the face has Latin, Greek and Cyrillic letters only")
    return held


# --- Tables -------------------------------------------------------------------------------------------------------


def _check_order(values: Mapping[str, Any], *pairs: tuple[str, str]) -> None:
    for low, high in pairs:
        if values[high] <= values[low]:
            raise EntryError(f"has to be larger than {low}", high)


def _patch(**values: Any) -> Patch:
    _check_order(values, ("left", "right"), ("top", "bottom"))
    if values["left"] < 0 or values["top"] < 0 or values["right"] > 1 or values["bottom"] > 1:
        raise EntryError("a patch lies inside the picture, 0 to 100 %", "left")
    return Patch(**values)


def _box(**values: Any) -> Box | Gradient:
    _check_order(values, ("left", "right"), ("top", "bottom"))
    return Box(**values) if "colour" in values else Gradient(**values)


def _rule(vertical: bool, **values: Any) -> Rule:
    _check_order(values, ("from", "to"))
    return Rule(vertical=vertical, start=values.pop("from"), stop=values.pop("to"), **values)


def _text(**values: Any) -> Text:
    height = values["height"]
    if height > Fraction(1, 2) or height * len(values["text"]) > 5:
        raise EntryError("too large: at most 50 % high, and 500 % of letters times height", "height")
    return Text(**values)


def _still(shape: Movable | Mover) -> Movable:
    return shape.shape if isinstance(shape, Mover) else shape


def _extent(shape: Movable) -> Fraction:
    """About how much of the picture a disc or a ring takes, in squares of its height; the raster is about 2 of them."""
    if isinstance(shape, Disc):
        return min(4 * shape.radius**2, Fraction(2))
    return min(shape.radius * shape.weight / 20, Fraction(2)) if isinstance(shape, Ring) else Fraction(0)


def _scene(
    *,
    background: Colour | None,
    period: Fraction | None,
    shape: Sequence[Movable | Mover],
    patch: Sequence[Patch],
    **words: str,
) -> Scene:
    if not shape and background is None:
        raise EntryError("there is no [[shape]] and no background, so nothing to draw")
    if sum((_extent(_still(one)) for one in shape), start=Fraction(0)) > _MOST_ROUND:
        raise EntryError("the discs and rings are too many or too large to be drawn together")
    moves = any(isinstance(one, Mover) for one in shape)
    # Whatever moves passes a place at most twice a period: with a second that is below three flashes.
    if moves and period is not None and not 1 <= period <= 60:
        raise EntryError("1 to 60 seconds are allowed", "period")
    if period is not None and not moves:
        raise EntryError("no shape moves; give one a move = [x, y]", "period")
    return Scene(
        background=background or COLOURS["black"],
        shapes=tuple(shape),
        patches=tuple(patch),
        period=Fraction(period or 4) if moves else None,
    )


def _needed(kind: Kind, *names: str) -> dict[str, Key]:
    return {name: Key(kind, required=True) for name in names}


_SIDES = _needed(_percent, "left", "top", "right", "bottom")
_COLOUR = _needed(_colour, "colour")
_WEIGHT = {"weight": Key(whole("a whole number of strokes from 1 to 50", 1, 50), 1)}
_ROUND = _needed(_percent, "x", "y") | _needed(_size, "radius") | _COLOUR
_RULE = _needed(_percent, "at", "from", "to") | _COLOUR | _WEIGHT
_TEXT = _needed(_percent, "x", "y") | _needed(_size, "height") | _needed(_letters, "text") | _COLOUR
_SHAPES: dict[str, tuple[dict[str, Key], Callable[..., Movable]]] = {
    "box": (_SIDES | _COLOUR, _box),
    "gradient": (_SIDES | _needed(_colour, "start", "stop"), _box),
    "vertical": (_RULE, partial(_rule, True)),
    "horizontal": (_RULE, partial(_rule, False)),
    "disc": (_ROUND, Disc),
    "ring": (_ROUND | _WEIGHT, Ring),
    "line": (_needed(_percent, "x0", "y0", "x1", "y1") | _COLOUR | _WEIGHT, Segment),
    "text": (_TEXT | {"anchor": Key(one_of("start", "middle", "end"), "middle")}, _text),
}


def _shape(held: dict[str, Any]) -> Movable | Mover:
    kind = held.get("kind")
    if not isinstance(kind, str) or kind not in _SHAPES:
        raise EntryError(f"one of {', '.join(_SHAPES)} is expected", "kind")
    keys, make = _SHAPES[kind]

    def moved(*, kind: str, move: tuple[Fraction, Fraction] | None, **values: Any) -> Movable | Mover:
        shape = make(**values)
        return shape if move is None else Mover(shape=shape, dx=move[0], dy=move[1])

    whole_table = {"kind": Key(str)} | keys | {"move": Key(_move)}
    shape: Movable | Mover = Table(name=f"a {kind}", keys=whole_table, make=moved)(held)
    return shape


def _tables(kind: str, read: Kind) -> Key:
    def tables(held: Any) -> tuple[Any, ...]:
        if not isinstance(held, list) or not all(isinstance(table, dict) for table in held):
            raise EntryError(f"write each {kind} under a line [[{kind}]]")
        if len(held) > _MOST_SHAPES:
            raise EntryError(f"{len(held)} {kind}s, {_MOST_SHAPES} are the most")
        return tuple(inside(read, table, i) for i, table in enumerate(held))

    return Key(tables, ())


_PATCH = Table(name="a patch", keys=_needed(_line_of_words, "name") | _SIDES | _COLOUR, make=_patch)
_FILE = Table(
    name="a pattern",
    keys={
        "title": Key(_line_of_words),
        **{name: Key(_words) for name in ("look", "right", "adjust")},
        "background": Key(_colour),
        "period": Key(_number),
        "shape": _tables("shape", _shape),
        "patch": _tables("patch", _PATCH),
    },
    make=_scene,
)
