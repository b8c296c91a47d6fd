"""The raster as it is drawn, in fractions: what a captured frame's edges and lines are held against.

Levels are never taken from here: those come from the scene and the signal's equations (`analysis.frame.levels`).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.faults.codes import to_ycbcr
from patterns.formats import Format
from patterns.scene import Scene
from patterns.signal import Edges, Matrix, Range, Sampling, Signal
from render.quantise import Planes
from render.raster import draw_frame

__all__ = ["Drawn", "Plane"]

Plane = NDArray[np.float32]
_BITS = 12
"""Finer than any frame that is measured with it."""


@dataclass(frozen=True)
class Drawn:
    """A raster in Y'CbCr at full chroma resolution, narrow range: what a component signal carries."""

    scene: Scene
    format: Format
    matrix: Matrix = Matrix.BT709
    edges: Edges = Edges.SHAPED

    @cached_property
    def codes(self) -> Planes:
        """The planes as they are drawn; `fractions` makes levels of them, or of means of them."""
        return draw_frame(self.scene, self.format, self._signal)

    @property
    def _signal(self) -> Signal:
        return Signal(range=Range.NARROW, matrix=self.matrix, bits=_BITS, sampling=Sampling.YCBCR_444, edges=self.edges)

    def fractions(self, values: NDArray[Any], component: int) -> NDArray[Any]:
        """Levels of codes of a component, in the values' own precision."""
        black = self._signal.fraction_of(component, 0)
        scale = self._signal.fraction_of(component, 1) - black
        kind = values.dtype.type if values.dtype.kind == "f" else np.float32
        levels: NDArray[Any] = values * kind(scale) + kind(black)
        return levels

    @cached_property
    def _planes(self) -> tuple[Plane, Plane, Plane]:
        first, second, third = (self.fractions(plane, i) for i, plane in enumerate(self.codes))
        return first, second, third

    @property
    def luma(self) -> Plane:
        """(rows, columns), 0 black and 1 white."""
        return self._planes[0]

    @property
    def chroma(self) -> tuple[Plane, Plane]:
        """C'B and C'R, -0.5 to 0.5."""
        return self._planes[1], self._planes[2]

    @cached_property
    def of_guns(self) -> tuple[Plane, Plane, Plane]:
        """Luma, C'B and C'R where R', G' and B' are drawn each for itself, without the wide edges of chroma."""
        signal = Signal(range=Range.NARROW, matrix=self.matrix, bits=_BITS, sampling=Sampling.RGB, edges=self.edges)
        guns = np.stack(draw_frame(self.scene, self.format, signal), axis=-1)
        ycc = to_ycbcr(self.fractions(guns, 0).astype(np.float64), self.matrix).astype(np.float32)
        return ycc[..., 0], ycc[..., 1], ycc[..., 2]
