"""A meter's readings: which field was shown, at which level, and what the meter read."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from render.errors import FileError

__all__ = [
    "HIGHEST_LEVEL",
    "MOST_LUMINANCE",
    "MOST_READINGS",
    "Field",
    "Meter",
    "Reading",
    "Readings",
    "level_text",
    "read_readings",
]

HIGHEST_LEVEL = 109.1
"""Percent: the highest code that video may take is 109.02 %, in 10 bits (`patterns.standards.usable_codes`)."""
MOST_LUMINANCE = 100_000.0
"""cd/m2: more is a slip, such as a figure in another unit. Picture tubes reach a few hundred."""
MOST_READINGS = 10_000
"""More is another file. A grey scale in steps of 1 %, read ten times, takes 1010."""
_MOST_BYTES = 4_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """How well the meter reads: standard uncertainties of one reading."""

    luminance: float = 0.02
    """Of the luminance."""
    xy: float = 0.002
    """Of x and of y. Both are common practice for a colour meter on a picture tube, no source."""


class Field(StrEnum):
    """The plain colour that was shown."""

    GREY = "grey"
    RED = "red"
    GREEN = "green"
    BLUE = "blue"
    CYAN = "cyan"
    MAGENTA = "magenta"
    YELLOW = "yellow"


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What the meter read of one field."""

    field: Field
    level_percent: float
    """Of the signal, 0 to 109.1: 0 is black, 100 nominal white or a full primary."""
    xyz: tuple[float, float, float]
    """CIE 1931 X, Y, Z in cd/m2, each 0 or more; Y is the luminance."""
    row: int
    """The line of the file, from 1, for messages."""

    @property
    def luminance(self) -> float:
        """In cd/m2."""
        return self.xyz[1]

    @property
    def xy(self) -> tuple[float, float] | None:
        """CIE 1931 chromaticity; None where there is no luminance, and so no colour."""
        x, y, z = self.xyz
        return (x / (x + y + z), y / (x + y + z)) if y > 0 else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Readings:
    """All that a file holds, in its order; a field read more than once is there more than once."""

    path: Path | None
    """None when they were not read from a file."""
    items: tuple[Reading, ...]
    remarks: tuple[str, ...] = ()
    """What was assumed or left out, a sentence each."""

    def of(self, field: Field) -> tuple[Reading, ...]:
        """The readings of one field, in the order of the file."""
        return tuple(item for item in self.items if item.field is field)


def level_text(percent: float) -> str:
    """A level as people read it: 128 of 255 codes is 50.2 %, not 50.1961 %."""
    return f"{round(percent, 1):g}"


def read_readings(path: Path) -> Readings:
    """Read a CSV or a CGATS text; which of them it is, its lines tell.

    Raises:
        FileError: it cannot be read, or something in it cannot be meant; one line that names row and column.
    """
    # Imported here: both build on this module.
    from analysis.meter.readings.cgats import is_cgats, parse_cgats
    from analysis.meter.readings.csv import parse_csv

    lines = _lines(path)
    found = (parse_cgats if is_cgats(lines) else parse_csv)(path, lines)
    highest = max(found.items, key=lambda item: item.level_percent)
    if 0 < highest.level_percent <= 1:
        raise FileError(
            f"{path}: row {highest.row}, column level_percent: the highest level of all is {highest.level_percent:g}; "
            "levels are in percent, 100 is white"
        )
    return found


def _lines(path: Path) -> list[str]:
    try:
        with path.open("rb") as file:
            data = file.read(_MOST_BYTES + 1)
    except OSError as error:
        raise FileError(f"{path}: cannot be read ({error.strerror or error})") from error
    if not data.strip():
        raise FileError(f"{path}: is empty; readings as CSV or CGATS text are expected")
    if len(data) > _MOST_BYTES:
        raise FileError(f"{path}: is larger than {_MOST_BYTES // 1_000_000} MB, which no file of readings is")
    # Spreadsheets write UTF-16 where they call it Unicode text.
    wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        text = data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        # An older code page: what is wanted is plain letters and figures in all of them.
        text = data.decode("latin-1")
    if "\0" in text:
        raise FileError(f"{path}: is no text; readings as CSV or CGATS text are expected")
    return re.split(r"\r\n|\r|\n", text)
