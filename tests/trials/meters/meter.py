"""SIMULATION: a colour meter, whose noise is new at every reading; and the file that it is typed into.

What a real meter reads wrong every time in the same way is not simulated: no reading could tell it, no advice mend it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.trials.meters.tube import Tube

__all__ = ["FEW", "LEVELS", "PRIMARIES", "ColourMeter", "Shown", "write_csv"]

Floats = NDArray[np.float64]

LEVELS = (0, 5, 10, 15, 20, 25, 30, 35, 40, 45, 50, 55, 60, 65, 70, 75, 80, 85, 90, 95, 100)
FEW = (0, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100)
PRIMARIES = {"red": (1, 0, 0), "green": (0, 1, 0), "blue": (0, 0, 1)}


@dataclass(frozen=True, kw_only=True)
class Shown:
    """A line of the file."""

    field: str
    level_percent: float
    x: float
    y: float
    luminance: float


@dataclass(frozen=True, eq=False, kw_only=True)
class ColourMeter:
    """Reads x, y and luminance, each with normal noise of its own."""

    chance: np.random.Generator
    luminance: float = 0.02
    """Standard deviation, relative."""
    xy: float = 0.002
    """Standard deviation, of x and of y."""

    def read(self, field: str, level_percent: float, xyz: Floats) -> Shown:
        """One reading, in the digits that a meter shows; nothing where it shows no light."""
        noise = self.chance.standard_normal(3)
        luminance = float(f"{xyz[1] * (1 + self.luminance * noise[2]):.4g}") if xyz[1] >= 1e-4 else 0.0
        if luminance <= 0:
            return Shown(field=field, level_percent=level_percent, x=0, y=0, luminance=0)
        x, y = np.round(xyz[:2] / xyz.sum() + self.xy * noise[:2], 4)
        return Shown(field=field, level_percent=level_percent, x=float(x), y=float(y), luminance=luminance)

    def scale(self, tube: Tube, levels: Sequence[float] = LEVELS, repeats: int = 1) -> list[Shown]:
        """Greys from black to white, then red, green and blue at 100 %, all of it `repeats` times."""
        read = []
        for _ in range(repeats):
            read += [self.read("grey", level, tube.grey(level / 100)) for level in levels]
            read += [self.read(name, 100, tube.shown(rgb)) for name, rgb in PRIMARIES.items()]
        return read


def write_csv(path: Path, rows: Sequence[Shown], says: str = "SIMULATION: no real tube, no real meter") -> None:
    """Write the file that `trueraster measure grey` reads."""
    lines = [f"# {says}", "field,level_percent,x,y,luminance"]
    lines += [f"{row.field},{row.level_percent:g},{row.x:.4f},{row.y:.4f},{row.luminance:.4g}" for row in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
