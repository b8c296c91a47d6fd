"""What a file that people or other programs write may hold: one table of keys for each of its objects.

A `Table` reads an object of JSON or TOML into a value, and names the key of what is wrong. A kind of value is any
function that takes what was read and returns the value, or raises `EntryError`; those here serve all files. Records,
lens files, tolerances, manifests of kits and own patterns are read so. No library: `patterns` uses the standard library
only, and the messages are ours.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from fractions import Fraction
from math import isfinite
from typing import Any

__all__ = [
    "EntryError",
    "Items",
    "Key",
    "Kind",
    "Named",
    "Table",
    "date",
    "flag",
    "inside",
    "number",
    "one_of",
    "path_to",
    "text",
    "unwanted",
    "whole",
]

Path = tuple[str | int, ...]
Kind = Callable[[Any], Any]
"""Takes what a file holds and returns the value. Raises `EntryError`."""


class EntryError(ValueError):
    """What is wrong in a file, in words, and the keys and numbers that lead to it."""

    def __init__(self, words: str, *path: str | int) -> None:
        super().__init__(words)
        self.words = words
        self.path: Path = path

    def __str__(self) -> str:
        path = ""
        for part in self.path:
            path = f"{path}[{part}]" if isinstance(part, int) else path_to(path, part)
        return f"{path}: {self.words}" if path else self.words


def path_to(path: str, key: str) -> str:
    """The path of a key in an object: 'set.hours'; what is no plain word in quotes."""
    short = key if len(key) <= 40 else key[:37] + "..."
    if not short or not all(letter.isalnum() or letter in "_-." for letter in short):
        short = json.dumps(short)
    return f"{path}.{short}" if path else short


def unwanted(wanted: str, got: Any) -> EntryError:
    """The mistake of a value that is not what is `wanted`: 'a date such as 2026-11-26'."""
    try:
        shown = json.dumps(got, ensure_ascii=True, default=_plain)
    except ValueError:
        # Python puts no whole number of thousands of digits into words.
        shown = "a number of thousands of digits"
    return EntryError(f"{wanted} is expected, not {shown if len(shown) <= 40 else shown[:37] + '...'}")


def _plain(held: Any) -> float | str:
    return float(held) if isinstance(held, Fraction) else str(held)


def inside(read: Kind, held: Any, *path: str | int) -> Any:
    """What `read` returns; its mistake is found at `path` of what is around."""
    try:
        return read(held)
    except EntryError as error:
        error.path = (*path, *error.path)
        raise


@dataclass(frozen=True, slots=True)
class Key:
    """What stands under one key of an object. null is as good as no key."""

    read: Kind
    default: Any = None
    required: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """The keys of an object, and what is made of their values."""

    keys: Mapping[str, Key]
    make: Callable[..., Any] = dict
    """Takes the values by their keys. Raises `EntryError` where they do not fit together."""
    name: str = ""
    """As 'a lens file': then a key that is not in the table is a mistake, else it is passed over."""
    wanted: str = "an object in braces"

    def __call__(self, held: Any) -> Any:
        if not isinstance(held, Mapping):
            raise unwanted(self.wanted, held)
        strange = next((key for key in held if key not in self.keys), None) if self.name else None
        if strange is not None:
            raise EntryError(f"not known; {self.name} has {', '.join(self.keys)}", strange)
        missing = next((key for key, spec in self.keys.items() if spec.required and held.get(key) is None), None)
        if missing is not None:
            raise EntryError(f"{self.name} needs it" if self.name else "is missing", missing)
        return self.make(
            **{
                key: spec.default if held.get(key) is None else inside(spec.read, held[key], key)
                for key, spec in self.keys.items()
            }
        )

    def unknown(self, held: Mapping[str, Any], path: str = "") -> Iterator[str]:
        """Paths of the keys of an object that was read, at any level, that are in no table."""
        for key, value in held.items():
            where, spec = path_to(path, key), self.keys.get(key)
            if spec is None:
                yield where
            elif isinstance(spec.read, Table) and value is not None:
                yield from spec.read.unknown(value, where)
            elif isinstance(spec.read, Items) and isinstance(spec.read.read, Table) and value is not None:
                for i, item in enumerate(value):
                    yield from spec.read.read.unknown(item, f"{where}[{i}]")


@dataclass(frozen=True, slots=True, kw_only=True)
class Items:
    """A list, read into a tuple."""

    read: Kind
    count: int | None = None
    wanted: str = "a list in brackets"

    def __call__(self, held: Any) -> tuple[Any, ...]:
        if not isinstance(held, list) or self.count not in (None, len(held)):
            raise unwanted(self.wanted, held)
        return tuple(inside(self.read, item, i) for i, item in enumerate(held))


@dataclass(frozen=True, slots=True)
class Named:
    """An object with any keys, all of one kind."""

    read: Kind

    def __call__(self, held: Any) -> dict[str, Any]:
        if not isinstance(held, Mapping):
            raise unwanted("an object in braces", held)
        return {key: inside(self.read, value, key) for key, value in held.items()}


def text(held: Any) -> str:
    """Any text."""
    if not isinstance(held, str):
        raise unwanted("text in quotes", held)
    return held


def flag(held: Any) -> bool:
    """true or false."""
    if not isinstance(held, bool):
        raise unwanted("true or false", held)
    return held


def date(held: Any) -> str:
    """A day or a moment of ISO 8601, as it is written."""
    try:
        datetime.fromisoformat(held)
    except (ValueError, TypeError) as error:
        raise unwanted("a date such as 2026-11-26", held) from error
    return str(held)


def number(least: float, most: float, wanted: str) -> Kind:
    """A number from `least` to `most`, as it was read."""

    def read(held: Any) -> Any:
        # A whole number may be larger than any float.
        sound = isinstance(held, int | float | Fraction) and not isinstance(held, bool) and least <= held <= most
        if not sound or not isfinite(held):
            raise unwanted(wanted, held)
        return held

    return read


def whole(wanted: str, least: int | None = None, most: int | None = None) -> Kind:
    """A whole number, not below `least` or above `most`."""

    def read(held: Any) -> int:
        if type(held) is not int or (least is not None and held < least) or (most is not None and held > most):
            raise unwanted(wanted, held)
        return held

    return read


def one_of(*words: str) -> Kind:
    """One of some words."""

    def read(held: Any) -> str:
        if not isinstance(held, str) or held not in words:
            raise unwanted(" or ".join(filter(None, (", ".join(words[:-1]), words[-1]))), held)
        return held

    return read
