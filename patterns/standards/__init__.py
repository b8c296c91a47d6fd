"""The standards' figures that the rest of the project uses, each with its document beside it.

`ALL` lists every constant of the four modules, in order. Percentages are stored as fractions (0.05 for 5 %), levels
are non-linear R'G'B' with 0 at black and 1 at nominal white, and exact values are `Fraction` or `int`.
"""

from __future__ import annotations

from typing import Any

from patterns.sources import Constant
from patterns.standards import colour, geometry, levels, timing

__all__ = ["ALL"]

ALL: tuple[Constant[Any], ...] = (*levels.ALL, *colour.ALL, *timing.ALL, *geometry.ALL)
"""Every constant."""
