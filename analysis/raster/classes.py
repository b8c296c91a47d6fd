"""What sets of a class may be off: the one table of tolerances that advice and reports go by.

All of it is common practice, no source: what is expected of a set of that class in good order. Lengths are in percent
of the picture height.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

__all__ = ["CLASSES", "SetClass", "SetTolerances", "Tolerance"]


class SetClass(StrEnum):
    """What a set is built for."""

    BROADCAST = "broadcast"
    """A picture monitor of the first grade."""
    INDUSTRIAL = "industrial"
    """A monitor for surveillance, medicine or presentation."""
    DOMESTIC = "domestic"
    """A television set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """What a good set may be off, in percent of the picture height."""

    centre: float
    """Inside the circle whose diameter is the picture height."""
    outside: float
    share: float
    """Of this that one control's part has to reach to be advised: the more parts there are, the smaller."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SetTolerances:
    """Of one class."""

    geometry: Tolerance
    """How far any point may lie from its place, all errors together."""
    convergence: Tolerance
    position: float
    """Of the picture's middle, in % of the height."""
    bend: float
    """Of an edge, in % of the height."""
    rotation: float
    """Degrees; the same of a parallelogram."""
    shape: float
    """Percent by which the picture may be too wide for its height."""
    keystone: float
    """Percent of opposite sides' mean."""
    linearity: float
    """Percent by which a cell may be larger than the mean."""

    def in_mm(self, height_mm: float) -> Mapping[str, float]:
        """What the lengths mean on a picture of that height."""
        return {
            "position": self.position / 100 * height_mm,
            "bend": self.bend / 100 * height_mm,
            "convergence_centre": self.convergence.centre / 100 * height_mm,
            "convergence_outside": self.convergence.outside / 100 * height_mm,
        }


CLASSES: Mapping[SetClass, SetTolerances] = {
    SetClass.BROADCAST: SetTolerances(
        geometry=Tolerance(centre=0.5, outside=1.0, share=1 / 4),
        convergence=Tolerance(centre=0.1, outside=0.3, share=1 / 2),
        position=1.0,
        bend=0.5,
        rotation=0.25,
        shape=1.0,
        keystone=1.0,
        linearity=2.0,
    ),
    SetClass.INDUSTRIAL: SetTolerances(
        geometry=Tolerance(centre=1.0, outside=2.0, share=1 / 4),
        convergence=Tolerance(centre=0.2, outside=0.5, share=1 / 2),
        position=1.5,
        bend=1.0,
        rotation=0.5,
        shape=2.0,
        keystone=2.0,
        linearity=5.0,
    ),
    SetClass.DOMESTIC: SetTolerances(
        geometry=Tolerance(centre=2.0, outside=4.0, share=1 / 4),
        convergence=Tolerance(centre=0.3, outside=0.8, share=1 / 2),
        position=2.0,
        bend=2.0,
        rotation=1.0,
        shape=4.0,
        keystone=3.0,
        linearity=8.0,
    ),
}
"""Convergence of broadcast monitors: 0.2 to 0.3 % outside. A study of what viewers accept has at most 0.3 mm, and on
most of a screen of the 14-inch class less than 0.2 mm (Displays, 1984, its abstract only)."""
