"""JSON that comes back as it went in: read strictly, each number as it was written, and laid out to be read.

What a reader of JSON usually lets pass would lose something when the file is written again: a key that stands twice, a
number without an end, digits that a float has no room for. Faster readers (orjson, msgspec) lose both the key and the
digits, and refuse half of a UTF-16 pair, so this is the standard library's `json` with checks around it.
"""

from __future__ import annotations

import contextlib
import gc
import json
import math
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from patterns.keys import path_to

__all__ = ["JsonError", "Literal", "read_json", "write_json"]

_DEEPEST = 60
"""Levels of nesting: answers of this tool have nine at most."""
_MOST_DIGITS = 400
"""Of a whole number: more than any float has, fewer than Python reads."""
_PIECES = 4
"""Levels above a result or a picture of a record: the record, `stages`, the stage, its list."""
_WIDTH = 120
"""Columns that a list or an object may take on one line."""


class JsonError(ValueError):
    """What is wrong, in one line with its line and column or the key's path, without the file's name."""


class Literal(float):
    """A number with a point or an exponent, and the text that it was written as."""

    __slots__ = ("text",)

    text: str

    def __new__(cls, text: str) -> Literal:
        self = super().__new__(cls, text)
        self.text = text
        return self

    def __reduce__(self) -> tuple[type[Literal], tuple[str]]:
        return Literal, (self.text,)


class _Piece(dict[str, Any]):
    """An object with the text that it was read from, which is written again as it is.

    It and what is in it are never changed, only left out or replaced. Its numbers are plain floats: the digits are in
    the text.
    """

    __slots__ = ("text",)

    text: str


class _Twice(dict[str, Any]):
    """An object in which a key stands twice."""

    key: str


def read_json(data: bytes, *, in_pieces: bool = False) -> dict[str, Any]:
    """The object that a file's bytes hold.

    Args:
        data: the file.
        in_pieces: whether objects four levels down, which are the results and pictures of a record, keep their text.
            They are read in a fraction of the time, and written again without being laid out anew.

    Raises:
        JsonError: they are no JSON, not one object, or would not come back the same.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        column = len(before[before.rfind(b"\n") + 1 :].decode("utf-8", errors="replace")) + 1
        raise JsonError(f"line {before.count(10) + 1}, column {column}: a byte that is not UTF-8") from error
    try:
        with _without_collector():
            start = _after_blanks(text, 0)
            held, end = _value_at(text, start, 0) if in_pieces else _EXACT.raw_decode(text, start)
        if isinstance(held, dict) and _after_blanks(text, end) == len(text) and _is_sound(held, 0):
            return held
    except (ValueError, IndexError, RecursionError):
        pass
    # What is wrong, and where, takes longer to see.
    return _read_slowly(text)


@contextlib.contextmanager
def _without_collector() -> Iterator[None]:
    """Millions of values are made here and none is thrown away: a search for those takes longer than to read them."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def _value_at(text: str, at: int, depth: int) -> tuple[Any, int]:
    """The value that begins at a place of the text, with `depth` lists and objects around it, and where it ends.

    Raises:
        ValueError: it is no JSON, or has a key that stands twice, NaN, or an object that could not be written again.
        IndexError: the text ends within it.
        RecursionError: it is nested too deeply.
    """
    opening = text[at]
    if depth == _PIECES and opening == "{":
        found, end = _PLAIN.raw_decode(text, at)
        if not _is_sound(found, depth):
            raise ValueError
        piece = _Piece(found)
        piece.text = text[at:end]
        return piece, end
    if depth >= _PIECES or opening not in "{[":
        return _EXACT.raw_decode(text, at)
    closing = "}" if opening == "{" else "]"
    names, parts = [], []
    at = _after_blanks(text, at + 1)
    more = text[at] != closing
    while more:
        if opening == "{":
            name, at = _EXACT.raw_decode(text, at)
            at = _after_blanks(text, at)
            if not isinstance(name, str) or text[at] != ":":
                raise ValueError
            names.append(name)
            at = _after_blanks(text, at + 1)
        part, at = _value_at(text, at, depth + 1)
        parts.append(part)
        at = _after_blanks(text, at)
        more = text[at] == ","
        if more:
            at = _after_blanks(text, at + 1)
        elif text[at] != closing:
            raise ValueError
    return (_once(list(zip(names, parts, strict=True))) if opening == "{" else parts), at + 1


def _after_blanks(text: str, at: int) -> int:
    found = _BLANKS.match(text, at)
    assert found is not None
    return found.end()


def _whole(text: str) -> int | Literal:
    return int(text) if len(text) <= _MOST_DIGITS else Literal("inf")


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    held = dict(pairs)
    if len(held) != len(pairs):
        raise ValueError
    return held


def _no_number(text: str) -> Any:
    raise ValueError


_BLANKS = re.compile(r"[ \t\n\r]*")
_EXACT = json.JSONDecoder(parse_float=Literal, parse_int=_whole, parse_constant=_no_number, object_pairs_hook=_once)
_PLAIN = json.JSONDecoder(parse_int=_whole, parse_constant=_no_number, object_pairs_hook=_once)
"""Without the digits of numbers: four times as fast."""


def _is_sound(value: Any, depth: int) -> bool:
    """Whether all numbers are finite and nothing is nested too deeply; pieces were looked at already."""
    level = [value]
    # Level by level, since a call for each value would take longer than all else.
    while level:
        if depth > _DEEPEST or math.inf in level or -math.inf in level:
            return False
        within = [held.values() if type(held) is dict else held for held in level if type(held) in (dict, list)]
        level = [part for parts in within for part in parts]
        depth += 1
    return True


def _read_slowly(text: str) -> dict[str, Any]:
    """The same, with the place of what is wrong."""
    if not text.strip():
        raise JsonError("the file is empty")
    try:
        held = json.loads(
            text, parse_float=Literal, parse_int=_whole, parse_constant=Literal, object_pairs_hook=_object_of
        )
    except json.JSONDecodeError as error:
        what = error.msg[:1].lower() + error.msg[1:]
        raise JsonError(f"line {error.lineno}, column {error.colno}: not JSON, {what}") from error
    except RecursionError as error:
        raise JsonError("lists or objects are nested too deeply") from error
    if not isinstance(held, dict):
        raise JsonError("one object in braces is expected")
    _check(held, "", 0)
    return held


def _object_of(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    held = dict(pairs)
    if len(held) == len(pairs):
        return held
    twice = _Twice(held)
    twice.key = Counter(key for key, _ in pairs).most_common(1)[0][0]
    return twice


def _check(value: Any, path: str, depth: int) -> None:
    if depth > _DEEPEST:
        raise JsonError(f"{path[:60]}...: nested more than {_DEEPEST} deep")
    if isinstance(value, _Twice):
        raise JsonError(f"{path_to(path, value.key)}: the key stands twice")
    if isinstance(value, float) and not math.isfinite(value):
        raise JsonError(f"{path}: a number without an end")
    if isinstance(value, dict):
        for key, part in value.items():
            _check(part, path_to(path, key), depth + 1)
    elif isinstance(value, list):
        for i, part in enumerate(value):
            _check(part, f"{path}[{i}]", depth + 1)


def write_json(held: Mapping[str, Any]) -> bytes:
    """The same as text, UTF-8: what fits on a line stands on one, and a line feed at the end."""
    return ("".join(_laid(held, 0)) + "\n").encode()


def _laid(value: Any, depth: int) -> list[str]:
    """Its text in parts, of which large ones are joined once only."""
    if isinstance(value, _Piece):
        return [value.text]
    if isinstance(value, Mapping):
        laid = [_laid(part, depth + 1) for part in value.values()]
        for name, part in zip(value, laid, strict=True):
            part[0] = f"{_string(name)}: {part[0]}"
        return _joined("{", laid, "}", depth)
    if isinstance(value, Sequence) and not isinstance(value, str):
        return _joined("[", [_laid(part, depth + 1) for part in value], "]", depth)
    if isinstance(value, Literal):
        return [value.text]
    return [_string(value) if isinstance(value, str) else json.dumps(value)]


def _joined(opening: str, parts: list[list[str]], closing: str, depth: int) -> list[str]:
    length = depth + 2 * len(parts) + sum(len(text) for part in parts for text in part)
    if not parts or (length <= _WIDTH and not any("\n" in text for part in parts for text in part)):
        return [opening + ", ".join("".join(part) for part in parts) + closing]
    margin = "\n" + " " * (depth + 1)
    texts = [opening]
    for part in parts:
        texts += [margin, *part, ","]
    texts[-1] = f"{margin[:-1]}{closing}"
    return texts


def _string(text: str) -> str:
    plain = json.dumps(text, ensure_ascii=False)
    try:
        plain.encode()
    except UnicodeEncodeError:
        # Half of a pair of UTF-16 has no UTF-8.
        return json.dumps(text)
    return plain
