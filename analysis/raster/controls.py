"""What a set's adjustments move: which terms of a map, in which words, and who reaches them.

One table for splitting what was measured, for the words of advice and for the documents; it is in `controls.toml`.
Which controls are reached from outside is common practice, no source; sets differ, and the set's own service notes
come first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.words import read_words

__all__ = ["CONVERGENCE_CONTROLS", "GEOMETRY_CONTROLS", "Control", "Way"]

Term = tuple[str, str]
"""x or y, and one of the terms in u and v."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """What is seen, with {amount} (and {Gun}) to be filled in, and in which direction to adjust against it."""

    seen: str
    do: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """One adjustment."""

    id: str
    title: str
    terms: tuple[Term, ...]
    """What it moves; the amounts of all but the last control of a table are those of the first."""
    more: Way
    """Where the term's coefficient is positive, that is to the right or down at the right or at the bottom."""
    less: Way
    factor: float = 1.0
    """What the coefficient in mm is multiplied with for the amount that is told."""
    of_half: str = ""
    """`width` or `height` where the amount is in percent of half of it, else the amount is in mm."""
    has_outside_control: bool
    where: str
    """What does it, and where it usually is."""
    bends: bool = False
    """Whether it bends lines, so that it is told without marks too."""
    group: str = ""
    """Of convergence: static, edges or twist."""

    @property
    def turn(self) -> int:
        """When it is this control's turn; those of a turn go in the table's order."""
        return _TURNS.get(self.id, 0)

    @property
    def is_yoke(self) -> bool:
        """Whether it moves the yoke or its magnets, after which purity and convergence are checked again."""
        return self.id in _OF_YOKE

    @property
    def part(self) -> str:
        """Of convergence: where what it moves is in the JSON of a gun, as 'static.x' or 'edges.x_u2'."""
        axis, term = self.terms[0]
        return f"{self.group}.{axis if term == '1' else f'{axis}_{term}'}"


def _control(
    *, outside: bool, terms: list[list[str]], more: dict[str, str], less: dict[str, str], **rest: Any
) -> Control:
    pairs = tuple((axis, term) for axis, term in terms)
    return Control(terms=pairs, more=Way(**more), less=Way(**less), has_outside_control=outside, **rest)


_TURNS = {
    "yoke": 0,
    "rotation": 1,
    "v-bow": 2,
    "v-keystone": 2,
    "top-bottom-pincushion": 2,
    "h-linearity": 3,
    "v-linearity": 3,
    "h-s": 3,
    "v-s": 3,
    "side-pincushion": 4,
    "h-bow": 4,
    "h-keystone": 4,
    "parallelogram": 4,
    "h-size": 5,
    "v-size": 5,
    "h-centre": 6,
    "v-centre": 6,
}
"""The order of work (common practice, no source): the yoke first, then linearity and pincushion, then size, then
place."""
_OF_YOKE = ("yoke", "rotation", "v-bow", "v-keystone", "top-bottom-pincushion")


_TABLES = read_words(__package__, "controls.toml")
GEOMETRY_CONTROLS = tuple(_control(**one) for one in _TABLES["geometry"])
"""In the order of work."""
CONVERGENCE_CONTROLS = tuple(_control(**one) for one in _TABLES["convergence"])
"""Of red and of blue, each against green. The static ones come first: the rest is set against the middle."""
