"""SIMULATION: tubes drawn by chance, out of adjustment as sets come in; all ranges are this project's choice."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.trials.meters.tube import Tube

__all__ = ["D65", "draw_tube"]

Floats = NDArray[np.float64]

D65 = (0.3127, 0.3290)
"""CIE 15, as in every standard of video."""
PHOSPHORS = (
    ((0.630, 0.340), (0.310, 0.595), (0.155, 0.070)),
    ((0.640, 0.330), (0.290, 0.600), (0.150, 0.060)),
)
"""SMPTE RP 145 and EBU Tech 3213."""
WHITE = (60.0, 160.0)
"""cd/m2 of a well set tube."""
GAMMA = (2.2, 2.6)
"""The one that a tube's guns are near."""
PHOSPHOR_OFF = 0.005
GAMMA_OFF = 0.02
CUTOFF_SHARED, CUTOFF_OWN = (-0.02, 0.05), 0.04
DRIVE_OFF = 0.15
"""Largest deviation of each gun's."""


def draw_tube(seed: int, gamma_off: float = GAMMA_OFF) -> Tube:
    """A tube with its faults: cut-offs up to 4 % and drives up to 15 % apart, guns' gammas about 0.02 (one sigma)."""
    chance = np.random.default_rng([7, seed])
    primaries = np.array(PHOSPHORS[seed % 2]) + chance.uniform(-PHOSPHOR_OFF, PHOSPHOR_OFF, (3, 2))
    x, y = primaries.T
    matrix = np.array([x / y, np.ones(3), (1 - x - y) / y])
    white = np.array([D65[0] / D65[1], 1, (1 - sum(D65)) / D65[1]])
    return Tube(
        primaries=primaries,
        peak=np.linalg.solve(matrix, white) * chance.uniform(*WHITE),
        drive=chance.uniform(1 - DRIVE_OFF, 1 + DRIVE_OFF, 3),
        cutoff=chance.uniform(*CUTOFF_SHARED) + chance.uniform(-CUTOFF_OWN, CUTOFF_OWN, 3),
        gamma=chance.uniform(*GAMMA) + gamma_off * chance.standard_normal(3),
        room=np.zeros(3),
    )
