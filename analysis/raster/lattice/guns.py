"""Where each gun's grid lies, roughly, in a reduced photograph: guns may lie so far apart that their lines part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.raster.lattice.crossings import Lattice

__all__ = ["gun_lattices", "leading_gun"]

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

_GREEN = 1
_LIT = 0.15
"""Share of the brightest gun's light that green has at least where lines are counted by green."""
_APART = 0.035
"""Cells between two guns from which each gun's lines are followed by themselves."""
_REACH = 0.36
"""Cells on each side of a line in which another gun's is looked for."""
_STEPS = 49
_PEAK = 0.25
"""Share of a gun's usual peak below which nothing of it is seen."""
_CROSSTALK = 0.12
"""Share of another gun's light that a channel sees at most (common practice, no source)."""
_DEGREE = 3


def leading_gun(light: Singles, lattice: Lattice) -> int:
    """The gun that lines are counted by: green, or the brightest along the lines where green is dark."""
    peaks = np.array([_peak(light, lattice, gun) for gun in range(3)])
    return _GREEN if peaks[_GREEN] >= _LIT * peaks.max() else int(np.argmax(peaks))


def _peak(light: Singles, lattice: Lattice, gun: int) -> float:
    """A gun's light on vertical lines above that between them."""
    seen = _across(light, lattice, upright=True)[0][..., gun]
    return float(np.median(seen.max(axis=-1) - np.percentile(seen, 25, axis=-1)))


def gun_lattices(light: Singles, lattice: Lattice, lead: int) -> list[Lattice] | None:
    """The lattice of each gun, red, green and blue; None where all lie on the leading one's lines."""
    made = []
    farthest = 0.0
    column, row = lattice.labels.T.astype(np.float64)
    for gun in range(3):
        if gun == lead:
            made.append(lattice)
            continue
        moved = [_offsets(light, lattice, gun, lead, upright=upright) for upright in (True, False)]
        if any(one is None for one in moved):
            # A gun that is not seen has no lines of its own.
            made.append(lattice)
            continue
        across, down = (_smooth(one, lattice, column, row) for one in moved if one is not None)
        farthest = max(farthest, float(np.percentile(np.hypot(across, down), 95)))
        made.append(replace(lattice, points=lattice.places(column + across, row + down)))
    return made if farthest > _APART else None


def _offsets(light: Singles, lattice: Lattice, gun: int, lead: int, *, upright: bool) -> Floats | None:
    """(pieces, 3): column, row and cells by which a gun lies beside the leading one, in the middles of cells' sides.

    None where the gun is not seen.
    """
    seen, (column, row), reach = _across(light, lattice, upright=upright)
    seen = seen - np.percentile(seen, 25, axis=-2, keepdims=True)
    own = seen[..., gun] - _CROSSTALK * np.max(np.delete(seen, gun, axis=-1), axis=-1)
    peak = own.max(axis=-1)
    usual = float(np.percentile(peak, 75))
    lit = peak > max(_PEAK * usual, 0.0)
    if usual < _CROSSTALK * float(np.percentile(seen[..., lead].max(axis=-1), 75)) or lit.sum() < 12:
        return None
    weight = np.clip(own - 0.5 * peak[..., None], 0, None)
    leads = np.clip(seen[..., lead] - 0.5 * seen[..., lead].max(axis=-1, keepdims=True), 0, None)
    away = (weight @ reach) / np.maximum(weight.sum(axis=-1), 1e-12)
    away = away - (leads @ reach) / np.maximum(leads.sum(axis=-1), 1e-12)
    return np.stack([part[lit] for part in (column, row, away)], axis=-1)


def _across(light: Singles, lattice: Lattice, *, upright: bool) -> tuple[Floats, tuple[Floats, Floats], Floats]:
    """Light across lines in the middles of cells' sides (..., reach, 3), their columns and rows, and the reach."""
    first, last = (lattice.rows, lattice.columns) if upright else (lattice.columns, lattice.rows)
    along, numbers = np.meshgrid(np.arange(first[0], first[1]) + 0.5, np.arange(last[0] + 1.0, last[1]))
    reach = np.linspace(-_REACH, _REACH, _STEPS)
    beside = numbers[..., None] + reach
    fixed = np.broadcast_to(along[..., None], beside.shape)
    places = lattice.places(beside, fixed) if upright else lattice.places(fixed, beside)
    x, y = (np.clip(np.round(places[..., i]).astype(int), 0, light.shape[1 - i] - 1) for i in (0, 1))
    return light[y, x].astype(np.float64), (numbers, along) if upright else (along, numbers), reach


def _smooth(offsets: Floats, lattice: Lattice, column: Floats, row: Floats) -> Floats:
    """Offsets at other columns and rows: a cubic through them, those far from it left out."""
    scale = np.array([*lattice.labels.mean(axis=0), *np.maximum(np.ptp(lattice.labels, axis=0), 1)], np.float64)

    def design(columns: Floats, rows: Floats) -> Floats:
        u, v = 2 * (columns - scale[0]) / scale[2], 2 * (rows - scale[1]) / scale[3]
        return np.stack([u**m * v**n for m in range(_DEGREE + 1) for n in range(_DEGREE + 1 - m)], axis=-1)

    own, values = design(offsets[:, 0], offsets[:, 1]), offsets[:, 2]
    weights = np.ones(len(values))
    for _ in range(6):
        found = np.linalg.lstsq(own * weights[:, None], values * weights, rcond=1e-6)[0]
        rest = np.abs(values - own @ found)
        limit = 2 * float(np.median(rest)) + 1e-3
        weights = np.sqrt(np.minimum(1.0, limit / np.maximum(rest, 1e-9)))
    return np.asarray(design(column, row) @ found)
