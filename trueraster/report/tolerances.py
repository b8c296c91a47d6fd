"""The tolerances of a report: the set's own, those of the bench's file, and what is usual, the nearest first."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from analysis.raster.classes import SetClass
from patterns.keys import EntryError, Key, Table, inside, number
from render.errors import FileError
from render.reading import read_bounded
from trueraster.report.defaults import defaults_of
from trueraster.report.limits import Limit

__all__ = ["Entry", "Found", "Tolerances", "fits", "read_tolerances", "tolerances_of"]

_MOST_BYTES = 1 << 20
"""Of a file of tolerances."""
_MOST_STARS = 3
"""In one name."""
_LARGEST = 1e9
_WANTED = "a number, { least = 2.3, most = 2.5 } or false"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """Figures by their name, in which * stands for anything, and what they may be."""

    name: str
    limit: Limit | None
    """None: not to be judged."""
    source: str


def fits(name: str, figure_id: str) -> bool:
    """Whether a name, in which * stands for anything, is a figure's."""
    return _shape(name).fullmatch(figure_id) is not None


@lru_cache(maxsize=4096)
def _shape(name: str) -> re.Pattern[str]:
    return re.compile(".+".join(map(re.escape, name.split("*"))))


_BLACK = Entry(name="grey.steps.0.delta_uv", limit=None, source="of black hardly a colour is seen")
"""What the usual limit of all steps is not for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A limit that was found for a figure."""

    limit: Limit
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """Whose limits they are: each group goes before those after it."""

    groups: tuple[tuple[Entry, ...], ...]

    def of(self, figure_id: str) -> Found | None:
        """What a figure is judged by; None where nobody says, or it is not to be judged.

        In a group the whole name goes before one with a *, and of these the longest.
        """
        for group in self.groups:
            fitting = [entry for entry in group if fits(entry.name, figure_id)]
            if fitting:
                best = max(fitting, key=lambda entry: ("*" not in entry.name, len(entry.name)))
                return None if best.limit is None else Found(limit=best.limit, source=best.source)
        return None

    def unused(self, ids: Sequence[str]) -> list[str]:
        """Names of the user's own limits that no figure has."""
        own = [entry.name for group in self.groups[:-1] for entry in group]
        return [name for name in dict.fromkeys(own) if not any(fits(name, one) for one in ids)]


def tolerances_of(
    record: Mapping[str, float], file: Sequence[Entry], set_class: SetClass = SetClass.BROADCAST
) -> Tolerances:
    """The limits of a record (the largest size of a figure by its name), of a file, and the usual ones of a class."""
    own = (
        Entry(name=name, limit=Limit(most=limit, of_size=True), source="agreed for this set")
        for name, limit in record.items()
        if name.count("*") <= _MOST_STARS
    )
    usual = (Entry(name=one.name, limit=one.limit, source=one.source) for one in defaults_of(set_class))
    return Tolerances(groups=(tuple(own), tuple(file), (*usual, _BLACK)))


def read_tolerances(path: Path) -> list[Entry]:
    """The bench's own tolerances, from a TOML file.

    Raises:
        FileError: it cannot be read, is no TOML, or holds something else; one line.
    """
    data = read_bounded(path, _MOST_BYTES, "no file of tolerances")
    try:
        held = tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise FileError(f"{path}: not text in UTF-8; no file of tolerances") from error
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        words = "nested too deeply" if isinstance(error, RecursionError) else " ".join(str(error).split())
        raise FileError(f"{path}: not TOML: {words}") from error
    try:
        limits = list(_limits(held, ""))
    except EntryError as error:
        raise FileError(f"{path}: {error}") from error
    return [Entry(name=name, limit=limit, source=f"the bench's own: {path.name}") for name, limit in limits]


def _limits(held: Mapping[str, Any], above: str) -> Iterator[tuple[str, Limit | None]]:
    for key, value in held.items():
        name = f"{above}.{key}" if above else key
        if isinstance(value, Mapping) and not (value and value.keys() <= _RANGE.keys.keys()):
            yield from _limits(value, name)
            continue
        if name.count("*") > _MOST_STARS:
            raise EntryError(f"at most {_MOST_STARS} * may stand in a name", name)
        yield name, None if value is False else inside(_RANGE if isinstance(value, Mapping) else _size, value, name)


def _size(held: Any) -> Limit:
    return Limit(most=float(number(0, _LARGEST, _WANTED)(held)), of_size=True)


def _range(*, least: float | None, most: float | None) -> Limit:
    if least is not None and most is not None and least > most:
        raise EntryError(f"least, {least:g}, is more than most, {most:g}")
    return Limit(least=None if least is None else float(least), most=None if most is None else float(most))


_END = Key(number(-_LARGEST, _LARGEST, _WANTED))
_RANGE = Table(keys={"least": _END, "most": _END}, make=_range)
