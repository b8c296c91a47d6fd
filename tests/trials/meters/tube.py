"""SIMULATION: a picture tube of three guns whose cut-offs, drives, gammas and primaries are known."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

__all__ = ["Tube"]

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, kw_only=True)
class Tube:
    """Each gun gives `peak * max(drive * signal + cutoff, 0) ** gamma`; red, green, blue throughout."""

    primaries: Floats
    """(3, 2): x and y of each phosphor."""
    peak: Floats
    """(3,) cd/m2 at drive 1 and cut-off 0, white."""
    drive: Floats
    cutoff: Floats
    """(3,) in parts of the signal from black to white at drive 1."""
    gamma: Floats
    room: Floats
    """(3,) XYZ in cd/m2 of the room's light on the glass."""
    knee: tuple[float, float, float] = (9.0, 9.0, 9.0)
    """Signals above which a gun's light grows with `rise` of what it would."""
    rise: float = 0.0
    limit: float = np.inf
    """cd/m2 of all guns together above which the set turns all drives down, so that light grows with `rest` of it."""
    rest: float = 0.0
    source: tuple[float, float] = (1.0, 0.0)
    """What the source makes of a signal: a factor, and what is added."""

    def guns(self, level: ArrayLike) -> Floats:
        """Light of each gun in cd/m2, (..., 3), of signals (...) from 0 (black) to 1 (white)."""
        return self._lights(np.repeat(np.asarray(level, dtype=np.float64)[..., None], 3, axis=-1))

    def _lights(self, rgb: Floats) -> Floats:
        factor, added = self.source
        shown = np.minimum(factor * rgb + added, 1.09)

        def free(times: Floats) -> Floats:
            signal = np.minimum(shown, self.knee) * times * self.drive + self.cutoff
            held = self.peak * np.maximum(signal, 0) ** self.gamma
            whole = self.peak * np.maximum(shown * times * self.drive + self.cutoff, 0) ** self.gamma
            return np.asarray(held + self.rise * (whole - held))

        once = np.ones((*rgb.shape[:-1], 1))
        if not np.isfinite(self.limit):
            return free(once)
        together = free(once).sum(axis=-1, keepdims=True)
        wanted = np.where(together > self.limit, self.limit + self.rest * (together - self.limit), together)
        low, high = np.zeros_like(once), once
        for _ in range(40):
            # By halves: how far all drives are turned down.
            middle = (low + high) / 2
            more = free(middle).sum(axis=-1, keepdims=True) > wanted
            low, high = np.where(more, low, middle), np.where(more, middle, high)
        return free(high)

    def shown(self, rgb: ArrayLike) -> Floats:
        """XYZ (..., 3) in cd/m2 of a field whose signals (..., 3) are from 0 to 1."""
        lights = self._lights(np.asarray(rgb, dtype=np.float64))
        return np.asarray(lights @ self.matrix.T + self.room, dtype=np.float64)

    def grey(self, level: ArrayLike) -> Floats:
        """XYZ (..., 3) of greys (...)."""
        return self.shown(np.repeat(np.asarray(level, dtype=np.float64)[..., None], 3, axis=-1))

    @property
    def matrix(self) -> Floats:
        """(3, 3): the columns are XYZ of 1 cd/m2 of each gun."""
        x, y = self.primaries.T
        return np.array([x / y, np.ones(3), (1 - x - y) / y])

    def turned(self, gun: int, *, cutoff_percent: float = 0, drive_percent: float = 0) -> Tube:
        """With a gun's cut-off moved by percent of its drive range, or its drive by percent."""
        cutoff, drive = self.cutoff.copy(), self.drive.copy()
        cutoff[gun] += cutoff_percent / 100 * drive[gun]
        drive[gun] *= 1 + drive_percent / 100
        return replace(self, cutoff=cutoff, drive=drive)
