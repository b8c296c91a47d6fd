"""JSON that comes back as it went in: read strictly, each number as it was written, and laid out to be read.

What a reader of JSON usually lets pass would lose something when the file is written again: a key that stands twice, a
number without an end, digits that a float has no room for.
"""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["JsonError", "Literal", "path_to", "read_json", "write_json"]

_DEEPEST = 60
"""Levels of nesting: answers of this tool have nine at most."""
_MOST_DIGITS = 400
"""Of a whole number: more than any float has, fewer than Python reads."""
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


class _Twice(dict[str, Any]):
    """An object in which a key stands twice."""

    key: str


def read_json(data: bytes) -> dict[str, Any]:
    """The object that a file's bytes hold.

    Raises:
        JsonError: they are no JSON, not one object, or would not come back the same.
    """
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = data[: error.start]
        column = len(before[before.rfind(b"\n") + 1 :].decode("utf-8", errors="replace")) + 1
        raise JsonError(f"line {before.count(10) + 1}, column {column}: a byte that is not UTF-8") from error
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


def _whole(text: str) -> int | Literal:
    return int(text) if len(text) <= _MOST_DIGITS else Literal("inf")


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


def path_to(path: str, key: str) -> str:
    """The path of a key in an object: 'set.hours'; what is no plain word in quotes."""
    short = key if len(key) <= 40 else key[:37] + "..."
    if not short or not all(letter.isalnum() or letter in "_-." for letter in short):
        short = json.dumps(short)
    return f"{path}.{short}" if path else short


def write_json(held: Mapping[str, Any]) -> bytes:
    """The same as text, UTF-8: what fits on a line stands on one, and a line feed at the end."""
    return (_laid(held, 0) + "\n").encode()


def _laid(value: Any, depth: int) -> str:
    if isinstance(value, Mapping):
        parts = [f"{_string(key)}: {_laid(part, depth + 1)}" for key, part in value.items()]
        return _joined("{", parts, "}", depth)
    if isinstance(value, Sequence) and not isinstance(value, str):
        return _joined("[", [_laid(part, depth + 1) for part in value], "]", depth)
    if isinstance(value, Literal):
        return value.text
    return _string(value) if isinstance(value, str) else json.dumps(value)


def _joined(opening: str, parts: list[str], closing: str, depth: int) -> str:
    length = depth + 2 * len(parts) + sum(map(len, parts))
    if not parts or (length <= _WIDTH and not any("\n" in part for part in parts)):
        return opening + ", ".join(parts) + closing
    margin = " " * (depth + 1)
    return f"{opening}\n{margin}" + f",\n{margin}".join(parts) + f"\n{margin[1:]}{closing}"


def _string(text: str) -> str:
    plain = json.dumps(text, ensure_ascii=False)
    try:
        plain.encode()
    except UnicodeEncodeError:
        # Half of a pair of UTF-16 has no UTF-8.
        return json.dumps(text)
    return plain
