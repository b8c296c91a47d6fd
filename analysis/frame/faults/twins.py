"""What differs between lines that were drawn alike.

No filter along the lines, no wrong level and no wrong place makes two lines unlike that were drawn alike, as all lines
near them were. What does make them unlike changes from line to line, or lies over a part of the picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.place.axes import Axis

__all__ = ["Twins"]

_REACH = 8
"""Lines above and below one that have to be drawn alike too: scaling and coding with loss mix as many."""
_STEEP = 0.03
"""What changes from sample to sample, in fractions of white, at an edge."""
_FEWEST = 8
"""Lines drawn alike from which their median shows what they should look like."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Twins:
    """Which lines of a frame were drawn alike."""

    kind: NDArray[np.int64]
    """(rows,) of the frame: the same number for lines drawn alike; -1 where it has too few twins."""

    @classmethod
    def of(cls, planes: tuple[Any, Any, Any], y: Axis) -> Twins:
        """From the drawn raster's luma, C'B and C'R, (rows, columns), lying at `y` in the frame."""
        kinds: dict[bytes, int] = {}
        drawn = np.array(
            [
                kinds.setdefault(b"".join(row.tobytes() for row in rows), len(kinds))
                for rows in zip(*planes, strict=True)
            ]
        )
        changes = np.concatenate([[0], np.cumsum(drawn[1:] != drawn[:-1])])
        at = np.floor((np.arange(y.frame) + 0.5 - y.offset) / y.scale).astype(np.int64)
        last = len(drawn) - 1
        inside = (at >= _REACH) & (at <= last - _REACH)
        steady = changes[np.clip(at + _REACH, 0, last)] == changes[np.clip(at - _REACH, 0, last)]
        kind = np.where(inside & steady, drawn[np.clip(at, 0, last)], -1)
        often = np.bincount(kind + 1, minlength=len(kinds) + 1)
        return cls(kind=np.where(often[kind + 1] >= _FEWEST, kind, -1))

    def unlike(self, plane: Any, drawn: Any, noise: float) -> float:
        """How much lines drawn alike differ at edges, or else on the whole: a deviation, the noise's part taken off.

        `plane` and `drawn` are of the frame's rows and columns, in fractions of white; `noise` is a sample's
        standard deviation. 0 where no lines were drawn alike.
        """
        known = self.kind >= 0
        if not known.any():
            return 0.0
        rest = self.rest(plane)[known] ** 2
        steep = np.abs(np.diff(drawn[known], axis=1, prepend=drawn[known][:, :1])) > _STEEP
        near = steep | np.roll(steep, 1, axis=1) | np.roll(steep, -1, axis=1)
        means = [float(rest.mean())]
        if near.mean() > 0.001:
            means.append(float(rest[near].mean()))
        # The median has a little of the noise too, and levels at the end of the codes have less of it.
        return float(np.sqrt(max(max(means) - 1.2 * noise**2, 0.0)))

    def rest(self, plane: Any) -> NDArray[np.float32]:
        """A plane of the frame, (rows, columns), less the median of each line's twins; 0 where it has none."""
        found = np.zeros(plane.shape, np.float32)
        for one in np.unique(self.kind[self.kind >= 0]):
            own = self.kind == one
            found[own] = plane[own] - np.median(plane[own], axis=0)
        return found
