"""A meter's readings: which field was shown, at which level, and what the meter read."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

__all__ = [
    "CD_M2_OF_FL",
    "HIGHEST_LEVEL",
    "MOST_LUMINANCE",
    "MOST_READINGS",
    "Field",
    "Meter",
    "Reading",
    "Readings",
    "level_text",
]

CD_M2_OF_FL = 3.4262591
"""cd/m2 of a foot-lambert: 1 / pi candela a square foot, of 0.3048 m, by hand."""
HIGHEST_LEVEL = 109.1
"""Percent: the highest code that video may take is 109.02 %, in 10 bits (`patterns.standards.usable_codes`)."""
MOST_LUMINANCE = 100_000.0
"""cd/m2: more is a slip, such as a figure in another unit. Picture tubes reach a few hundred."""
MOST_READINGS = 10_000
"""More is another file. A grey scale in steps of 1 %, read ten times, takes 1010."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """How well the meter reads: standard uncertainties of one reading."""

    luminance: float = 0.02
    """Of the luminance."""
    xy: float = 0.002
    """Of x and of y. Both are common practice for a colour meter on a picture tube, no source."""
    dark: float | None = None
    """cd/m2 that readings scatter by in the dark; None: it is taken from repeated readings."""
    dark_xy: float | None = None
    """The same of x and y, times the luminance; None: it follows from `dark`."""
    resolution: float | None = None
    """cd/m2 of the last digit; None: it is taken from the decimals of the file."""
    xy_resolution: float | None = None
    """Of the last digit of x and y; None: as above."""


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
    light_step: float = 0.0
    """cd/m2: the last digit that the file shows of any light; 0 where that is not known."""
    xy_step: float = 0.0
    """The same of x and y; 0 too where the file has X, Y and Z."""
    as_amounts: bool = False
    """Whether the file has X, Y and Z in place of x, y and luminance."""

    def of(self, field: Field) -> tuple[Reading, ...]:
        """The readings of one field, in the order of the file."""
        return tuple(item for item in self.items if item.field is field)


def level_text(percent: float) -> str:
    """A level as people read it: 128 of 255 codes is 50.2 %, not 50.1961 %."""
    return f"{round(percent, 1):g}"
