"""The grid that was shown, as it was found in a photograph, and as it lies on the glass."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patterns.scene import Dot, Node, Scene

__all__ = ["GlassGrid", "SeenGrid", "ShownGrid"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, kw_only=True)
class ShownGrid:
    """Where a pattern's upright and horizontal lines have their middles, over the picture: -1 to 1, right and down."""

    u: Floats
    """(columns,) of the vertical lines, rising."""
    v: Floats
    """(rows,) of the horizontal lines, rising."""
    dots: bool = False
    """Whether dots are shown where lines would cross, not lines."""
    interlaced_lines: int = 0
    """Lines of the picture where it is shown in two fields, else 0: a level line then has one of each field."""
    field_rate_hz: float = 0.0
    """Fields in a second, of a progressive picture its frames; 0 where that is not known."""

    @classmethod
    def of(cls, scene: Scene, interlaced_lines: int = 0, field_rate_hz: float = 0.0) -> ShownGrid | None:
        """The grid of a scene's lines or dots; None where it has neither."""
        nodes: Sequence[Node | Dot] = scene.nodes or scene.dots
        if not nodes:
            return None
        u = sorted({2 * node.x - 1 for node in nodes})
        v = sorted({2 * node.y - 1 for node in nodes})
        return cls(
            u=np.array([float(x) for x in u]),
            v=np.array([float(y) for y in v]),
            dots=not scene.nodes,
            interlaced_lines=interlaced_lines,
            field_rate_hz=field_rate_hz,
        )


@dataclass(frozen=True, eq=False, kw_only=True)
class SeenGrid:
    """The grid in a photograph's pixels. What is not seen is NaN."""

    shown: ShownGrid
    nodes: Floats
    """(3, rows, columns, 2): where each gun's upright and horizontal lines cross, (x, y)."""
    sigma: Floats
    """(3, rows, columns, 2): standard uncertainties."""
    level_ends: Floats
    """(rows, 2, 2): where each level line's light ends, left and right, (x, y)."""
    upright_ends: Floats
    """(columns, 2, 2): where each upright line's light ends, above and below, (x, y)."""


@dataclass(frozen=True, eq=False, kw_only=True)
class GlassGrid:
    """The same in millimetres on the glass; axes and NaN as in `SeenGrid`."""

    shown: ShownGrid
    nodes: Floats
    """(3, rows, columns, 2)."""
    sigma: Floats
    """(3, rows, columns, 2): standard uncertainties, of each node by itself."""
    level_ends: Floats
    upright_ends: Floats
    placed: bool = True
    """False without marks: then scale, place and everything that perspective imitates is untold."""
