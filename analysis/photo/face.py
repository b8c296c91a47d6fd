"""The tube's face: how it is curved, how far it lies behind the marks, and what is usual of both.

A face is the part of an ellipsoid about its middle; a sphere and a cylinder are two of them. It passes through the
corners of the marks' rectangle (a cylinder through its sides), or as far behind them as the picture is.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["FLAT", "USUAL_CURVATURE", "USUAL_DEPTH_MM", "Face", "usual_face", "usual_faces"]

Floats = NDArray[np.float64]

USUAL_DEPTH_MM = (15.0, 10.0)
"""Of how far the picture lies behind the marks: mean and standard uncertainty (common practice, no source). The bezel
is in front of the glass, and the phosphor behind it."""
_MOST_CURVED = 1 / 600
"""1/mm: no face is more curved, and each curvature up to it is as likely (common practice, no source)."""
USUAL_CURVATURE = _MOST_CURVED / math.sqrt(3)
"""1/mm: root mean square of that, for what is measured as if the glass were flat."""
_SPHERES = 0.75
"""Share of faces that are spheres; others are cylinders about a vertical axis (common practice, no source)."""
_REACHES = 1.2
"""Half diagonals of the marks' rectangle over the least radius: a face reaches them with room left when it is more
curved than the mean by a standard uncertainty."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Face:
    """Curvatures of the middle in 1/mm, along and square to the horizontal; 0 is flat. The middle is the nearest."""

    across: float = 0.0
    down: float = 0.0

    @classmethod
    def sphere(cls, radius_mm: float) -> Face:
        """A spherical face."""
        return cls(across=1 / radius_mm, down=1 / radius_mm)

    @classmethod
    def cylinder(cls, radius_mm: float) -> Face:
        """A face that is curved from left to right only, as those of aperture grilles are."""
        return cls(across=1 / radius_mm)

    @property
    def is_flat(self) -> bool:
        """Whether it is a plane."""
        return not (self.across or self.down)

    @property
    def radius_mm(self) -> float:
        """The smaller radius; infinite for a flat face."""
        most = max(self.across, self.down)
        return 1 / most if most else math.inf

    @property
    def weights(self) -> Floats:
        """(3,): weights of squared x, y and z in the ellipsoid's equation; their sum is the squared radius."""
        return np.array([self.across * self.radius_mm, self.down * self.radius_mm, 1.0])

    def reach_mm(self, size_mm: tuple[float, float]) -> float:
        """How far from the middle, as the ellipsoid weighs it, the corners of a rectangle of this size lie."""
        x, y, _ = self.weights
        return math.sqrt(x * size_mm[0] ** 2 + y * size_mm[1] ** 2) / 2

    @property
    def words(self) -> str:
        """As it is typed for `--glass-radius-mm`."""
        if self.is_flat:
            return "flat"
        return f"{self.radius_mm:g}" if self.down else f"{self.radius_mm:g}xflat"


FLAT = Face()


def usual_face(size_mm: tuple[float, float]) -> Face:
    """The mean of what faces are, for marks that are so far apart."""
    most = _most(size_mm)
    return Face(across=most / 2, down=_SPHERES * most / 2)


def usual_faces(size_mm: tuple[float, float]) -> tuple[Face, Face]:
    """Faces that differ from the mean by one standard uncertainty, in two ways that are independent of each other.

    The curvature from left to right is even from 0 to the most. The one from top to bottom equals it or is 0.
    """
    most, mean = _most(size_mm), usual_face(size_mm)
    across = most / math.sqrt(12)
    both = _SPHERES * most**2 / 12
    down = most * math.sqrt(_SPHERES / 3 - _SPHERES**2 / 4)
    together = both / across
    alone = math.sqrt(down**2 - together**2)
    return (
        Face(across=mean.across + across, down=mean.down + together),
        Face(across=mean.across, down=mean.down + alone),
    )


def _most(size_mm: tuple[float, float]) -> float:
    return min(_MOST_CURVED, _REACHES / (math.hypot(*size_mm) / 2))
