"""One cell of a file of readings, turned into a value; every mistake names file, row and column."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.meter.readings.types import HIGHEST_LEVEL, MOST_LUMINANCE, Field, Reading
from render.errors import FileError

__all__ = ["FIELD_WORDS", "Row", "counted_columns", "last_digit", "shortened"]

FIELD_WORDS = {**{field.value: field for field in Field}, "gray": Field.GREY, "white": Field.GREY}
"""How a field may be written; a white field at 50 % is a grey one."""
_NUMBER = re.compile(r"[+-]?(?:\d{1,15}(?:\.\d{0,20})?|\.\d{1,20})(?:[eE][+-]?\d{1,2})?", re.ASCII)
_NOTHING = 0.05
"""cd/m2: a meter that takes its own dark away may read black a little below nothing, which is taken as nothing."""
_LEAST_Y = 0.001
"""Of a chromaticity: no light that is seen has less, and what is divided by it grows without bound."""
_ROUNDED = 0.0011
"""x + y is at most 1; rounding to three places may make it a little more."""


def shortened(text: str) -> str:
    """What was found, as a message shows it."""
    return repr(text if len(text) <= 30 else text[:27] + "...")


def counted_columns(names: Sequence[str]) -> str:
    """Columns by their names, a few of them."""
    shown = ", ".join(shortened(name)[1:-1] for name in names[:_SHOWN])
    more = f" and {len(names) - _SHOWN} more" if len(names) > _SHOWN else ""
    return f"column{'s' if len(names) > 1 else ''} {shown}{more}"


_SHOWN = 6


def last_digit(rows: Iterable[Row], names: Iterable[str]) -> float:
    """The smallest step that cells of these columns show, as 0.01 of '0.20' and '3.14'; 0 where they show none.

    A meter that shows four figures shows its smallest step in the dark, where it matters; a spreadsheet takes trailing
    noughts away, so that the longest of all cells counts.
    """
    names = tuple(names)
    shown = [_places(row.cells[name].strip()) for row in rows for name in names if row.cells[name].strip()]
    return 0.0 if not shown or max(shown) >= _EXACT else float(10.0 ** -max(shown))


def _places(text: str) -> int:
    """Digits after the point, without the noughts that arithmetic leaves in the fifteenth place."""
    figures, _, power = text.lower().replace(",", ".").partition("e")
    _, _, after = figures.partition(".")
    if len(after) > _COMPUTED:
        after = f"{float(f'0.{after}'):.{_COMPUTED}f}"[2:].rstrip("0")
    return max(len(after) - int(power or 0), 0)


def _codes(level: float) -> str:
    """A hint where a level is more likely a code."""
    if level > _MOST_CODE or level != int(level):
        return ""
    return "; of a code of 8 bits it is (code - 16) / 219 in narrow range, code / 255 in full"


_MOST_CODE = 255
_EXACT, _COMPUTED = 8, 9
"""Digits after the point that no meter shows: figures were computed. And those to which they are rounded first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A row of the file: its cells by the names of their columns."""

    path: Path
    number: int
    """The line of the file, from 1."""
    cells: dict[str, str]
    comma: bool = False
    """Whether a decimal comma may stand for a point."""

    def wrong(self, column: str, words: str) -> FileError:
        """The mistake of a cell, in words."""
        return FileError(f"{self.path}: row {self.number}, column {column}: {words}")

    def number_in(self, column: str, what: str = "a number") -> float:
        """A cell as a number that is not out of all bounds.

        Raises:
            FileError: it is empty, or anything else.
        """
        text = self.cells[column].strip()
        if not text:
            raise self.wrong(column, f"is empty, {what} is expected")
        plain = text.replace(",", ".") if self.comma and text.count(",") == 1 and "." not in text else text
        if _NUMBER.fullmatch(plain) is None:
            hint = "; decimals stand after a point" if re.fullmatch(r"[+-]?\d+,\d+", text) else ""
            raise self.wrong(column, f"got {shortened(text)}, {what} is expected{hint}")
        return float(plain)

    def field_in(self, column: str) -> Field:
        """A cell as the name of a field.

        Raises:
            FileError: it is none.
        """
        text = self.cells[column].strip()
        found = FIELD_WORDS.get(text.lower())
        if found is None:
            raise self.wrong(column, f"got {shortened(text)}, one of {', '.join(Field)} is expected")
        return found

    def level_in(self, column: str) -> float:
        """A cell as a level in percent.

        Raises:
            FileError: it is none, or out of what video can have.
        """
        text = self.cells[column].strip()
        trimmed = Row(path=self.path, number=self.number, cells={column: text.rstrip("%")}, comma=self.comma)
        level = trimmed.number_in(column, "a level in percent")
        if not 0 <= level <= HIGHEST_LEVEL:
            raise self.wrong(column, f"got {shortened(text)}, a level from 0 to 109 percent is expected{_codes(level)}")
        return level

    def reading(self, field: Field, level: float, xyz: tuple[float, float, float]) -> Reading:
        """The reading of this row."""
        x, y, z = (max(value, 0.0) for value in xyz)
        return Reading(field=field, level_percent=level, xyz=(x, y, z), row=self.number)

    def xyz_in(self, names: tuple[str, str, str]) -> tuple[float, float, float]:
        """The three cells of X, Y, Z.

        Raises:
            FileError: one is no number, below nothing, or more than any tube gives.
        """
        x, y, z = (self._light_in(column) for column in names)
        if y <= 0 and max(x, z) > _NOTHING:
            raise self.wrong(names[1], "is nothing while X or Z is not, which no light does")
        if y > 0 and y / (x + y + z) < _LEAST_Y:
            raise self.wrong(names[1], "is far too little for its X and Z, which no light does")
        return (x, y, z) if y > 0 else (0.0, 0.0, 0.0)

    def xyy_in(self, names: tuple[str, str, str]) -> tuple[float, float, float]:
        """X, Y, Z of the three cells of x, y and luminance; x and y may be empty where there is no luminance.

        Raises:
            FileError: one is no number, or no light has them.
        """
        luminance = self._light_in(names[2])
        if luminance == 0 and not (self.cells[names[0]].strip() and self.cells[names[1]].strip()):
            return 0.0, 0.0, 0.0
        x, y = (self.number_in(column) for column in names[:2])
        for column, value in zip(names[:2], (x, y), strict=True):
            if not 0 <= value <= 1:
                raise self.wrong(column, f"got {value:g}, a chromaticity from 0 to 1 is expected")
        if luminance == 0:
            return 0.0, 0.0, 0.0
        if y < _LEAST_Y:
            raise self.wrong(names[1], f"got {y:g}, which no light has")
        if x + y > 1 + _ROUNDED:
            raise self.wrong(names[0], f"got {x:g} with y {y:g}; x and y together are at most 1")
        return luminance * x / y, luminance, luminance * max(1 - x - y, 0.0) / y

    def _light_in(self, column: str) -> float:
        value = self.number_in(column, "a figure in cd/m2")
        if not -_NOTHING <= value <= MOST_LUMINANCE:
            raise self.wrong(column, f"got {value:g}, a figure from 0 to {MOST_LUMINANCE:g} cd/m2 is expected")
        return max(value, 0.0)
