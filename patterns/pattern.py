"""A pattern: one description that drawing, checking, the help texts and the documents all read."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, fields, replace
from enum import StrEnum
from fractions import Fraction
from typing import Any

from patterns.formats import Format
from patterns.scene import Scene
from patterns.signal import Colour, Signal
from patterns.timing import shown

__all__ = ["COLOURS", "SIDES", "Area", "Options", "Pattern", "PatternError", "Stage", "percent_text"]


class PatternError(ValueError):
    """A pattern, an option of one, or a user's pattern file that cannot be drawn; the message says what to do."""


class Area(StrEnum):
    """What a pattern is for; the page of patterns has a section for each."""

    SIGNAL = "signal"
    LEVELS = "levels"
    COLOUR = "colour"
    GEOMETRY = "geometry"
    CONVERGENCE = "convergence"
    RESPONSE = "response"
    MOTION = "motion"
    OVERVIEW = "overview"
    OWN = "own"


class Stage:
    """Places in the order of work (common practice, no source): a pattern stands at its stage plus a small number."""

    SIGNAL = 100
    BLACK_AND_CONTRAST = 200
    FOCUS = 300
    RESPONSE = 350
    PURITY = 400
    GEOMETRY = 500
    CONVERGENCE = 600
    GREY_SCALE = 700
    MOTION = 800


def _primary(red: int, green: int, blue: int) -> Colour:
    return Colour(Fraction(red), Fraction(green), Fraction(blue))


COLOURS = {
    "black": _primary(0, 0, 0),
    "white": _primary(1, 1, 1),
    "grey": _primary(1, 1, 1).scaled(Fraction(1, 2)),
    "red": _primary(1, 0, 0),
    "green": _primary(0, 1, 0),
    "blue": _primary(0, 0, 1),
    "cyan": _primary(0, 1, 1),
    "magenta": _primary(1, 0, 1),
    "yellow": _primary(1, 1, 0),
}
"""Colours by name, at 100 %; grey is 50 %."""


SIDES = ("left", "right", "top", "bottom")
"""The halves of a picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What the user may choose. None is the pattern's default; a pattern refuses options that it does not have."""

    cells: tuple[int, int] | None = None
    """Columns and rows of a grid."""
    level: Fraction | None = None
    """Level of the bright parts; 1 is 100 %."""
    area: Fraction | None = None
    """Share of the picture's area, above 0 and up to 1."""
    colour: str | None = None
    """A name from `COLOURS`."""
    bars: str | None = None
    """A name by BT.471, as 100/0/75/0."""
    side: str | None = None
    """Which half is bright, a name from `SIDES`."""

    @property
    def given(self) -> dict[str, Any]:
        """The options that were chosen, by name."""
        names = (field.name for field in fields(self))
        return {name: getattr(self, name) for name in names if getattr(self, name) is not None}

    def without(self, names: Collection[str]) -> Options:
        """The same with the named options left to the pattern."""
        return replace(self, **dict.fromkeys(set(names) & self.given.keys()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """What is shown, what it is for, and how its scene is built for a format."""

    id: str
    title: str
    area: Area
    look: str
    """What to look at."""
    right: str
    """What a correct picture looks like."""
    adjust: str
    """What to adjust by it."""
    order: int
    """Place in the order of work."""
    build: Callable[[Format, Options, Signal | None], Scene]
    dwell_minutes: int
    """Longest advised time on the glass (common practice, no source)."""
    clip_seconds: int | None = None
    """How long a clip of it is at most where no length is asked for: what is large, and repeats itself soon."""
    takes: tuple[str, ...] = ()
    """The options that it has, by field name of `Options`."""
    cautions: tuple[str, ...] = ()
    """Those that hold in every format."""
    is_harmless: Callable[[Options], bool] = lambda options: False
    """Whether the options leave nothing to be cautious about, as black does of a field."""
    cautions_where: tuple[tuple[Callable[[Format], bool], str], ...] = ()
    """Those that hold in some formats: in which, and the words."""
    suits: Callable[[Format], bool] = lambda fmt: True
    """Whether it is useful in a format. By its name it can be drawn in any."""
    by_name_only: bool = False
    """Never part of a kit unless it is asked for."""
    variants: tuple[Options, ...] = (Options(),)
    """The options that it is drawn with in a kit, a file each."""

    @property
    def all_cautions(self) -> tuple[str, ...]:
        """Every caution, whatever the format."""
        return (*self.cautions, *(words for _, words in self.cautions_where))

    def cautions_in(self, fmt: Format, options: Options | None = None) -> tuple[str, ...]:
        """The cautions that hold in a format, with the chosen options."""
        if options is not None and self.is_harmless(options):
            return ()
        return (*self.cautions, *(words for holds, words in self.cautions_where if holds(fmt)))

    def scene(self, fmt: Format, options: Options | None = None, signal: Signal | None = None) -> Scene:
        """The scene for `fmt`.

        `signal` is what the file will carry; only a pattern that states it in words reads it.

        Raises:
            PatternError: an option that this pattern does not have, or a value outside its range.
        """
        options = options or Options()
        for name in options.given:
            if name not in self.takes:
                allowed = ", ".join(f"--{n}" for n in self.takes) or "no options"
                raise PatternError(f"--{name}: the pattern {self.id} has no such option; it has {allowed}")
        _check(fmt, options)
        return self.build(fmt, options, signal)


def _check(fmt: Format, options: Options) -> None:
    if options.cells is not None:
        columns, rows = options.cells
        # Below 4 samples a cell there is nothing but line left.
        most_columns, most_rows = fmt.picture.width // 4, fmt.picture.height // 4
        if not (1 <= columns <= most_columns and 1 <= rows <= most_rows):
            raise PatternError(f"--cells: got {columns}x{rows}; use 1x1 to {most_columns}x{most_rows} in {fmt.id}")
    if options.level is not None and not Fraction(-7, 100) <= options.level <= Fraction(109, 100):
        raise PatternError(f"--level: got {percent_text(options.level)} %; use -7 to 109 %")
    if options.area is not None and not 0 < options.area <= 1:
        raise PatternError(f"--area: got {percent_text(options.area)} %; use more than 0 and at most 100 %")
    if options.colour is not None and options.colour not in COLOURS:
        raise PatternError(f"--colour: got {shown(options.colour)}; use {', '.join(COLOURS)}")
    if options.side is not None and options.side not in SIDES:
        raise PatternError(f"--side: got {shown(options.side)}; use {', '.join(SIDES)}")


def percent_text(level: Fraction) -> str:
    """A level as a percentage without needless digits: 3/40 is '7.5'."""
    return f"{float(level * 100):.6g}"
