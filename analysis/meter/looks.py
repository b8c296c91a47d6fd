"""How fields and guns look in the meter's plots: by colour, by the shape of their marks and by their dashes.

Each is told from the others without its colour, so that plots are read in grey print and by the colour-blind too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analysis.drawing.plots import INK
from analysis.meter.readings.types import Field

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["LOOKS", "TARGET", "label_at"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """The looks of one field."""

    ink: str
    """On white at least 4.5 to 1, so that words may have it too (WCAG 2, from memory)."""
    marker: str
    """matplotlib's name of a shape."""
    dashes: Any
    """matplotlib's name of dashes, or their lengths."""


LOOKS: dict[Field, Look] = {
    Field.RED: Look(ink="#c8281e", marker="s", dashes="-"),
    Field.GREEN: Look(ink="#1a7f37", marker="^", dashes="--"),
    Field.BLUE: Look(ink="#1f5fc4", marker="o", dashes=(0, (1.2, 1.5))),
    Field.CYAN: Look(ink="#0b7583", marker="v", dashes="-."),
    Field.MAGENTA: Look(ink="#a32a8c", marker="D", dashes=(0, (5, 1, 1, 1, 1, 1))),
    Field.YELLOW: Look(ink="#7d6700", marker="P", dashes=(0, (8, 2))),
    Field.GREY: Look(ink=INK, marker="X", dashes="-"),
}
TARGET: dict[str, Any] = {
    "marker": "o",
    "markersize": 10,
    "markerfacecolor": "none",
    "markeredgecolor": "#4a525c",
    "markeredgewidth": 1.2,
    "linestyle": "none",
}
"""What should be, as arguments of `Axes.plot`: an open ring that what is lies in."""


def label_at(
    axes: Axes, place: tuple[float, float], text: str, ink: str, *, away: tuple[float, float] = (6, 0)
) -> None:
    """A word beside a place in the axes' data, so many points of type `away` from it, right and up."""
    dx, dy = away
    across = "left" if dx > 0 else "right" if dx < 0 else "center"
    upright = "center" if dy == 0 else "bottom" if dy > 0 else "top"
    axes.annotate(
        text,
        place,
        away,
        textcoords="offset points",
        ha=across,
        va=upright,
        color=ink,
        annotation_clip=False,
    )
