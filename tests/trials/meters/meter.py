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

__all__ = ["FEW", "FIELDS", "LEVELS", "PRIMARIES", "ColourMeter", "Shown", "write_csv"]

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


FIELDS = PRIMARIES | {"cyan": (0, 1, 1), "magenta": (1, 0, 1), "yellow": (1, 1, 0)}
PATTERNS = (
    "once",
    "twice",
    "three times",
    "five times",
    "each step three times at once",
    "up and down",
    "three times, at random",
    "dark steps three times",
    "black and white three times",
    "white again at the end",
)
"""Ten ways of reading a scale."""


@dataclass(frozen=True, eq=False, kw_only=True)
class ColourMeter:
    """Reads x, y and luminance, each with normal noise of its own, and X, Y, Z with the same noise in the dark."""

    chance: np.random.Generator
    luminance: float = 0.02
    """Standard deviation, relative."""
    xy: float = 0.002
    """Standard deviation, of x and of y."""
    dark: float = 0.0
    """cd/m2: standard deviation of X, of Y and of Z."""
    resolution: float = 0.0
    """cd/m2 of the last digit; 0: four figures are shown."""
    decimals: int = 4
    """Of x and y."""
    drift: float = 0.0
    """By what share light changes from the first reading of a scale to the last."""
    unit: float = 1.0
    """cd/m2 of the unit that it shows."""

    def read(self, field: str, level_percent: float, xyz: Floats, time: float = 0.0) -> Shown:
        """One reading, in the digits that a meter shows; nothing where it shows no light."""
        noise = self.chance.standard_normal(3)
        dark = self.dark * self.chance.standard_normal(3) if self.dark else np.zeros(3)
        # A meter's own colour of hardly any light is anything, but never below nothing.
        xyz = np.maximum(xyz * (1 + self.drift * time) + dark, 0.1 * xyz)
        light = xyz[1] * (1 + self.luminance * noise[2]) / self.unit
        if self.resolution:
            luminance = round(light / self.resolution) * self.resolution
        else:
            luminance = float(f"{light:.4g}") if xyz[1] >= 1e-4 else 0.0
        if luminance <= 0:
            return Shown(field=field, level_percent=level_percent, x=0, y=0, luminance=max(luminance, 0))
        spot = np.clip(xyz[:2] / xyz.sum() + self.xy * noise[:2], 0.002, None)
        x, y = np.round(spot / max(spot.sum(), 1.0), self.decimals)
        return Shown(field=field, level_percent=level_percent, x=float(x), y=float(y), luminance=luminance)

    def scale(self, tube: Tube, levels: Sequence[float] = LEVELS, repeats: int = 1) -> list[Shown]:
        """Greys from black to white, then red, green and blue at 100 %, all of it `repeats` times."""
        pass_ = [("grey", level) for level in levels] + [(name, 100) for name in PRIMARIES]
        return self.shown(tube, pass_ * repeats)

    def patterned(self, tube: Tube, pattern: str, levels: Sequence[float] = LEVELS) -> list[Shown]:
        """A scale read in one of `PATTERNS`, with the primaries."""
        greys: list[tuple[str, float]] = [("grey", level) for level in levels]
        once: list[tuple[str, float]] = [*greys, *((name, 100.0) for name in PRIMARIES)]
        if pattern == "each step three times at once":
            return self.shown(tube, [one for one in once for _ in range(3)])
        if pattern == "three times, at random":
            mixed = once * 3
            self.chance.shuffle(mixed)
            return self.shown(tube, [(str(field), float(level)) for field, level in mixed])
        more = {
            "once": [],
            "twice": once,
            "three times": once * 2,
            "five times": once * 4,
            "up and down": greys[::-1],
            "dark steps three times": [one for one in greys if one[1] <= 20] * 2,
            "black and white three times": [greys[0], greys[-1]] * 2,
            "white again at the end": greys[-1:],
        }
        return self.shown(tube, [*once, *more[pattern]])

    def shown(self, tube: Tube, fields: Sequence[tuple[str, float]]) -> list[Shown]:
        """Readings of these fields, in this order."""
        many = max(len(fields) - 1, 1)
        read = []
        for i, (name, level) in enumerate(fields):
            xyz = tube.grey(level / 100) if name == "grey" else tube.shown(FIELDS[name])
            read.append(self.read(name, level, xyz, i / many))
        return read


def write_csv(
    path: Path,
    rows: Sequence[Shown],
    says: str = "SIMULATION: no real tube, no real meter",
    digits: tuple[int | None, int] = (None, 4),
) -> None:
    """Write the file that `trueraster measure grey` reads; `digits` after the point of luminance, and of x and y."""
    light, xy = digits
    shown = ".4g" if light is None else f".{light}f"
    lines = [f"# {says}", "field,level_percent,x,y,luminance"]
    lines += [f"{r.field},{r.level_percent:g},{r.x:.{xy}f},{r.y:.{xy}f},{r.luminance:{shown}}" for r in rows]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
