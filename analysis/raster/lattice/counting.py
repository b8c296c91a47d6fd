"""Which of a shown grid's lines the first ones seen are, where the glass hides outer ones.

Lines that run on beyond the outermost one across them show that there is another, which is hidden; where they end at
it, it is the picture's own edge, or the glass ends just there. What that leaves open is told by the picture's middle,
which lies near that of the marks; where the two contradict each other nothing is guessed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import InputError
from analysis.raster.grid import ShownGrid
from analysis.raster.lattice.crossings import Lattice
from analysis.raster.lattice.trace import Line

__all__ = ["Counted", "GridError", "counted_by_hand", "first_lines", "running_on"]

Floats = NDArray[np.float64]

_RUNS_ON = 0.075
"""Cells that lines run on beyond the outermost one across them, from which that is not the picture's edge: half of its
own width, and what blur makes of it."""
_WIDE = 3.0
"""The same in standard deviations of a line across, where lines bloom."""
_SURE = 0.42
"""Cells that the picture's middle may lie off that of the marks where more than one count is left."""
_THINKABLE = 1.1
"""The same of another count that asks for no coincidence of the glass' edge with a line."""
_FEWEST_ENDS = 3
_AXES = (("left", "right", "columns"), ("above", "below", "rows"))


class GridError(InputError):
    """There is no such grid in the photograph, or it is not clear which of its lines is which."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """Which column and row of the shown grid the lattice's first ones are."""

    first: tuple[int, int]
    doubt: str = ""
    """In words why that is not certain, and what to do."""
    by_middle: bool = False
    """Whether it hangs on the marks' middle alone, by whole cells."""


def running_on(lines: Sequence[Line], lattice: Lattice) -> Floats:
    """(2, 2): cells by which horizontal lines pass the outermost vertical ones, left and right; then vertical lines
    the outermost horizontal ones, above and below. NaN where too few of them are seen to end."""
    found = np.full((2, 2), np.nan)
    for axis, ends in enumerate((lattice.columns, lattice.rows)):
        own = [line for line in lines if line.upright == bool(axis)]
        across = {line.number: line for line in lines if line.upright != bool(axis)}
        for side, sign in ((0, -1), (1, 1)):
            outer = across.get(ends[side])
            if outer is None:
                continue
            beyond = [
                sign * (line.ends[side] - float(outer.at(line.at(np.array([line.ends[side]])))[0])) / line.cell
                for line in own
                if np.isfinite(line.ends[side])
            ]
            if len(beyond) >= _FEWEST_ENDS:
                found[axis, side] = np.median(beyond)
    return found


def first_lines(lattice: Lattice, shown: ShownGrid, middle: Floats, beyond: Floats, wide: float = 0.0) -> Counted:
    """By where lines end, `beyond` as of `running_on`, and by the picture's `middle`, (x, y) in pixels.

    `wide` is a line's standard deviation across in cells: light of wide lines goes on beyond their middles.

    Raises:
        GridError: lines run on where the grid has none left.
    """
    found, doubts, by_middle = [], [], False
    for axis, (ends, places) in enumerate(((lattice.columns, shown.u), (lattice.rows, shown.v))):
        before, behind, name = _AXES[axis]
        hidden = len(places) - 1 - (ends[1] - ends[0])
        limit = max(_RUNS_ON, _WIDE * wide)
        runs_on = np.nan_to_num(beyond[axis]) > limit
        ends_there = beyond[axis] <= limit
        if hidden < runs_on.sum():
            raise GridError(
                f"lines run on beyond the outermost ones: the grid has more {name} of cells than {len(places) - 1}; "
                "give the format that was played, and the cells if it was drawn with other ones than usual",
                helps=("format", "cells"),
            )
        if hidden == 0:
            found.append(0)
            continue
        counts = [first for first in range(hidden + 1) if first >= runs_on[0] and hidden - first >= runs_on[1]]
        away = np.array([_away(lattice, places, axis, first, middle) for first in counts])
        chance = np.array([(ends_there & (np.array([first, hidden - first]) > 0)).sum() for first in counts])
        best = int(np.argmin(np.abs(away)))
        by_middle |= len(counts) > 1
        rivals = (chance < chance[best]) & (np.abs(away) < _THINKABLE)
        if len(counts) > 1 and (abs(away[best]) > _SURE or rivals.any()):
            doubts.append(
                f"outer lines are hidden, and it is not clear whether {before} or {behind}: make the picture smaller "
                "or centre it better, or count the hidden lines"
            )
        found.append(counts[best])
    return Counted(first=(found[0], found[1]), doubt=doubts[0] if doubts else "", by_middle=by_middle)


def _away(lattice: Lattice, places: Floats, axis: int, first: int, middle: Floats) -> float:
    """Cells that the picture's middle lies off `middle` if the first line seen is number `first`."""
    own = [sum(lattice.columns) / 2, sum(lattice.rows) / 2]
    ends = lattice.columns if axis == 0 else lattice.rows
    own[axis] = ends[0] - first + (len(places) - 1) / 2
    place = lattice.places(np.array(own[0]), np.array(own[1]))
    own[axis] += 1
    cell = lattice.places(np.array(own[0]), np.array(own[1])) - place
    return float((place - middle) @ cell / (cell @ cell))


def counted_by_hand(lattice: Lattice, shown: ShownGrid, hidden: tuple[int, int]) -> Counted:
    """The same where the lines that are hidden on the left and above were counted.

    Raises:
        GridError: there are not as many.
    """
    for name, ends, places, count in (
        ("left", lattice.columns, shown.u, hidden[0]),
        ("above", lattice.rows, shown.v, hidden[1]),
    ):
        most = len(places) - 1 - (ends[1] - ends[0])
        if not 0 <= count <= most:
            raise GridError(f"{count} {name}, but {most} of {len(places)} lines are hidden in all", fields=("hidden",))
    return Counted(first=hidden)
