"""The way of the moving bar through the frames of a clip: repeats, jumps, and how far it goes between two moments."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.frame.fields.bar import Bar, moved
from patterns.formats import FieldOrder

__all__ = ["Walk", "usual_step"]

Floats = NDArray[np.float64]

_STILL = 0.25
"""Share of the usual step below which a frame is a repeat."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Walk:
    """The way of the bar through the frames."""

    step: float
    """Samples from frame to frame, with sign, as most frames have it."""
    runs: tuple[tuple[tuple[int, Bar], ...], ...]
    """Runs of frames without a jump back: (frames passed since the run began, bar), without repeats."""
    indices: tuple[int, ...]
    """Which frames those are, counted from 0."""
    repeated: int
    dropped: int

    @classmethod
    def of(cls, bars: Sequence[Bar | None], step: float) -> Walk:
        """With `step` samples from frame to frame, sign included."""
        runs: list[list[tuple[int, Bar]]] = []
        repeated = dropped = 0
        before: Bar | None = None
        indices: list[int] = []
        for index, bar in enumerate(bars):
            way = moved(before, bar) if before is not None and bar is not None else None
            count = None if way is None else way / step
            if bar is not None and bar.edges:
                if count is None or not -_STILL < count < 8:
                    runs.append([(0, bar)])
                    indices.append(index)
                elif count < _STILL:
                    repeated += 1
                else:
                    passed = max(1, round(count))
                    dropped += passed - 1
                    runs[-1].append((runs[-1][-1][0] + passed, bar))
                    indices.append(index)
            before = bar
        return cls(step=step, runs=tuple(map(tuple, runs)), indices=tuple(indices), repeated=repeated, dropped=dropped)

    @property
    def fresh(self) -> list[Bar]:
        """Every bar that is not a repeat."""
        return [bar for run in self.runs for _, bar in run]

    def notes(self) -> tuple[str, ...]:
        found = []
        if self.step < 0:
            found.append("The bar moves to the left: the picture is mirrored, or the clip runs backwards.")
        if self.repeated:
            found.append(
                f"{self.repeated} {'frame repeats' if self.repeated == 1 else 'frames repeat'} the one before."
            )
        if self.dropped:
            found.append(f"{self.dropped} {'frame is' if self.dropped == 1 else 'frames are'} missing.")
        return tuple(found)

    def slope(self, order: FieldOrder | None) -> tuple[float | None, float | None]:
        """Samples between two moments and its standard uncertainty, by least squares with a start of its own for each
        run and edge; between fields if `order` has any.
        """
        times: list[Floats] = []
        places: list[Floats] = []
        interlaced = order in (FieldOrder.TOP, FieldOrder.BOTTOM)
        freedom = -1
        for run in self.runs:
            # Both edges are drawn on the same boundaries, so the second one tells nothing of its own.
            for side in (("left", "right"), ("left",), ("right",)):
                part = [(t, bar) for t, bar in run if tuple(_sides(bar)) == side]
                if len(part) < 2:
                    continue
                points = []
                for t, bar in part:
                    top, bottom = (float(np.mean([getattr(e, f) for e in bar.edges])) for f in ("top", "bottom"))
                    if interlaced:
                        late = order is FieldOrder.BOTTOM
                        points += [(2 * t + late, top), (2 * t + (not late), bottom)]
                    else:
                        points.append((t, (top + bottom) / 2))
                when, where = np.array(points, np.float64).T
                times.append(when - when.mean())
                places.append(where - where.mean())
                freedom += len(points) - 1
        if freedom < 1:
            return self.step / (2 if interlaced else 1), None
        when, where = np.concatenate(times), np.concatenate(places)
        weight = float(when @ when)
        slope = float(when @ where) / weight
        rest = where - slope * when
        return slope, float(np.sqrt(rest @ rest / freedom / weight))


def usual_step(bars: Sequence[Bar | None], width: float) -> float | None:
    """Median of the steps from frame to frame, repeats left out; None when nothing moves."""
    moves = [moved(a, b) for a, b in itertools.pairwise(bars) if a is not None and b is not None]
    moving = [way for way in moves if way is not None and 0.01 * width < abs(way) < 1.5 * width]
    return float(np.median(moving)) if moving else None


def _sides(bar: Bar) -> Iterator[str]:
    if bar.left is not None:
        yield "left"
    if bar.right is not None:
        yield "right"
