"""One reading at a time: which control it asks for at once, before the whole scale is measured."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.meter.colours import delta_uv, xy_of
from analysis.meter.grey.advice import AIM
from analysis.meter.guns import GUNS, gun_matrix
from analysis.meter.readings.types import Field, Reading, level_text
from analysis.meter.whites import White

__all__ = ["Live", "live_json", "live_of"]

Floats = NDArray[np.float64]

_BRIGHT = 40.0
"""Percent of level from which a grey is brought right by drives; below, by cut-offs."""
_DARK = 3.0
"""Percent of level below which a tube's light is too little for its colour to be adjusted by."""
_SETTLED = 0.5 * AIM
"""u'v' of improvement that a control has to be worth before it is named."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Live:
    """What one reading says by itself."""

    reading: Reading
    delta_uv: float | None
    """Distance from the target white; None of a colour, of black, and where there is no light."""
    gun: str = ""
    """The gun to turn; empty where nothing is to be turned."""
    control: str = ""
    """`cut-off` or `drive`."""
    direction: str = ""
    """`up` or `down`."""
    wanted: tuple[float, float] | None = None
    """x and y that this grey reads once that control is where it should be."""

    @property
    def words(self) -> str:
        """The one line, such as 'grey 80 %: blue drive up; wanted x 0.284 y 0.297; 0.012 off'."""
        name = f"{self.reading.field} {level_text(self.reading.level_percent)} %"
        spot = self.reading.xy
        if spot is None:
            return f"{name}: no light"
        if self.delta_uv is None:
            return f"{name}: x {spot[0]:.3f} y {spot[1]:.3f}, {self.reading.luminance:.4g} cd/m2"
        off = f"{self.delta_uv:.3f} off"
        if self.wanted is None:
            return f"{name}: right; {off}"
        x, y = self.wanted
        return f"{name}: {self.gun} {self.control} {self.direction}; wanted x {x:.3f} y {y:.3f}; {off}"


def live_of(reading: Reading, white: White, primaries: ArrayLike, keep: str = "green") -> Live:
    """Which control a reading asks for first: the one that brings it nearest to the target white.

    Args:
        reading: a grey; of a colour nothing is asked.
        white: the target.
        primaries: (3, 2) x and y of red, green and blue, by which the light is separated into guns.
        keep: the gun that the others are matched to.

    Raises:
        ValueError: the white cannot be made of the primaries.
    """
    if reading.field is not Field.GREY or reading.xy is None or reading.level_percent < _DARK:
        return Live(reading=reading, delta_uv=None)
    matrix = gun_matrix(primaries)
    needed = np.linalg.solve(matrix, gun_matrix([white.xy])[:, 0])
    if needed.min() <= 0:
        raise ValueError(f"--white: {white.title} cannot be made of red, green and blue of these primaries")
    lights = np.linalg.solve(matrix, np.array(reading.xyz))
    kept, now = GUNS.index(keep), float(delta_uv(reading.xy, white.xy))
    if now <= AIM or lights[kept] <= 0:
        return Live(reading=reading, delta_uv=now)
    tried = {}
    for gun in range(len(GUNS)):
        if gun != kept:
            moved = lights.copy()
            moved[gun] = lights[kept] / needed[kept] * needed[gun]
            spot = xy_of(matrix @ moved)
            tried[gun] = float(delta_uv(spot, white.xy)), spot, bool(moved[gun] > lights[gun])
    best = min(tried, key=lambda gun: tried[gun][0])
    then, spot, is_up = tried[best]
    if now - then < _SETTLED:
        # Both are off, each making up for the other: the one that is further off comes first.
        far = np.abs(np.log(np.maximum(lights, 1e-9) / needed * needed[kept] / lights[kept]))
        best = max(tried, key=lambda gun: float(far[gun]))
        _, spot, is_up = tried[best]
    return Live(
        reading=reading,
        delta_uv=now,
        gun=GUNS[best],
        control="drive" if reading.level_percent >= _BRIGHT else "cut-off",
        direction="up" if is_up else "down",
        wanted=(float(spot[0]), float(spot[1])),
    )


def live_json(live: Live) -> Mapping[str, Any]:
    """The same for programs: one object a reading."""
    spot = live.reading.xy
    return {
        "row": live.reading.row,
        "field": str(live.reading.field),
        "level_percent": live.reading.level_percent,
        "luminance": round(live.reading.luminance, 6),
        "x": None if spot is None else round(spot[0], 6),
        "y": None if spot is None else round(spot[1], 6),
        "delta_uv": None if live.delta_uv is None else round(live.delta_uv, 6),
        "adjust": f"{live.gun} {live.control}" if live.gun else None,
        "direction": live.direction or None,
        "wanted": None if live.wanted is None else {"x": round(live.wanted[0], 6), "y": round(live.wanted[1], 6)},
        "words": live.words,
    }
