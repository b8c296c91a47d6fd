"""The moving bar of the pattern `field-order`: found in a frame, and known by its moving."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from render.decode import Picture, open_video

__all__ = ["Bar", "Edge", "Look", "is_moving_bar", "look_at", "luma_of", "moved", "shows_moving_bar"]

Floats = NDArray[np.floating[Any]]

FAINTEST = 0.04
"""Least height of the bar, as a share of the codes; drawn, it is 0.43 in narrow and 0.5 in full range."""
_FEWEST_ROWS, _FEWEST_COLUMNS = 16, 64
"""A smaller frame is not looked at."""
_NARROWEST, _WIDEST = 0.05, 0.25
"""Width of a bar, as a share of the frame's; drawn, it is 1/8."""
_REACH = 0.025
"""Share of the frame's width on each side of an edge in which its course is measured; two samples come on top."""
_OTHER_LIGHT = 0.2
"""Share of the bar's height from which anything else in the frame is no black ground."""
_SHORTEST = 0.6
"""Least share of the frame's rows that the bar covers: cut sides and borders leave more."""
_UNBROKEN = 0.95
"""Least share of the rows between the bar's ends in which it is seen."""
_LEAN = 0.15
"""Share of the drawn width that an edge's upper and lower half may differ by and still stand upright."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """One edge of the bar: where it is, in samples, in even and odd rows, and its course there."""

    top: float
    bottom: float
    by_row: Floats
    """(rows,) position in each row of the frame; NaN where the bar is not."""
    course: Floats
    """(2, samples) from 0 outside to 1 inside, for even and odd rows, against `at`."""
    at: Floats
    """(samples,) distance of the sample centres from the edge, growing toward the inside."""

    def mirrored(self, columns: int) -> Edge:
        """The same edge in the mirror image of a frame of that many columns."""
        return replace(self, top=columns - self.top, bottom=columns - self.bottom, by_row=columns - self.by_row)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """The bar in one frame. An edge is None where it cannot be measured: outside, or too near the frame's side."""

    left: Edge | None
    right: Edge | None
    columns: int
    """Columns of the frame."""
    upright: bool
    """Whether both edges stand upright."""

    @property
    def width(self) -> float | None:
        """Samples, when both edges are inside."""
        if self.left is None or self.right is None:
            return None
        return (self.right.top + self.right.bottom - self.left.top - self.left.bottom) / 2

    @property
    def edges(self) -> tuple[Edge, ...]:
        return tuple(edge for edge in (self.left, self.right) if edge is not None)

    @property
    def centre(self) -> float | None:
        """Mean of what can be measured, or None."""
        return float(np.mean([(edge.top + edge.bottom) / 2 for edge in self.edges])) if self.edges else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """What is in a frame: a bar, nothing, or something else."""

    bar: Bar | None = None
    dark: bool = False


def look_at(luma: Floats) -> Look:
    """Find one vertical bar over the height of a frame that is black otherwise."""
    rows, columns = luma.shape
    if rows < _FEWEST_ROWS or columns < _FEWEST_COLUMNS:
        return Look()
    profile = luma.mean(axis=0, dtype=np.float64)
    ground = float(np.median(profile))
    smooth = _smoothed(profile, max(3, columns // 80))
    height = float(smooth.max()) - ground
    if height < FAINTEST:
        return Look(dark=_is_dark(luma, profile, ground))
    start, stop = _around_peak(smooth, ground + height / 2)
    width = stop - start
    whole = start > 0 and stop < columns
    if width > _WIDEST * columns or (whole and width < _NARROWEST * columns):
        return Look()
    reach = _REACH * columns + 2
    outside = np.ones(columns, bool)
    outside[max(0, int(start - 2 * reach)) : int(stop + 2 * reach)] = False
    if outside.any() and float(np.abs(profile[outside] - ground).max()) > _OTHER_LIGHT * height:
        return Look()
    if not whole and width < 3 * reach:
        return Look(bar=Bar(left=None, right=None, columns=columns, upright=True))
    core = luma[:, start + width // 4 : stop - width // 4].mean(axis=1, dtype=np.float64) - ground
    lit = np.flatnonzero(core > np.percentile(core, 80) / 2)
    first, last = int(lit[0]), int(lit[-1]) + 1
    if last - first < _SHORTEST * rows or len(lit) < _UNBROKEN * (last - first):
        return Look()
    lines = luma[first:last]
    fields = np.stack([lines[(first + f) % 2 :: 2].mean(axis=0, dtype=np.float64) for f in (0, 1)])
    stripe = _Stripe(lines=lines, fields=fields, first=first, rows=rows, start=start, stop=stop, reach=round(reach))
    left, mirrored = _left_edge(stripe), _left_edge(stripe.mirrored())
    right = None if mirrored is None else mirrored.mirrored(columns)
    middle = (first + last) // 2
    leans = [
        abs(float(np.nanmean(edge.by_row[:middle]) - np.nanmean(edge.by_row[middle:])))
        for edge in (left, right)
        if edge is not None
    ]
    upright = all(lean < _LEAN * columns / 8 for lean in leans)
    return Look(bar=Bar(left=left, right=right, columns=columns, upright=upright))


def _around_peak(profile: Floats, least: float) -> tuple[int, int]:
    """First column and the one after the last of those around the profile's peak that are all above `least`."""
    start = stop = int(np.argmax(profile))
    while start > 0 and profile[start - 1] > least:
        start -= 1
    while stop < len(profile) and profile[stop] > least:
        stop += 1
    return start, stop


def _is_dark(luma: Floats, profile: Floats, ground: float) -> bool:
    """Whether there is nothing, as long as the bar is outside; at the sides it may begin to show."""
    side = len(profile) // 40
    across, down = profile[side : len(profile) - side], luma.mean(axis=1, dtype=np.float64)
    flat = all(float(np.abs(part - np.median(part)).max()) < 1.5 * FAINTEST for part in (across, down))
    return flat and ground < 0.3 and float(np.std(luma[:: max(1, len(luma) // 64)])) < 2 * FAINTEST


def _smoothed(profile: Floats, length: int) -> Floats:
    length |= 1
    padded = np.pad(profile, length // 2, mode="edge")
    total: Floats = np.convolve(padded, np.full(length, 1 / length), mode="valid")
    return total


@dataclass(frozen=True, slots=True, kw_only=True)
class _Stripe:
    """Where the bar stands in a frame, to within a few samples."""

    lines: Floats
    """(rows, columns) of the frame, only the rows with the bar."""
    fields: Floats
    """(2, columns): the mean of those in the frame's even and in its odd rows."""
    first: int
    """Row of the frame that `lines` begins with."""
    rows: int
    """Rows of the frame."""
    start: int
    stop: int
    """The bar's first column, and the one after its last."""
    reach: int
    """Columns on each side of an edge in which its course is measured."""

    def mirrored(self) -> _Stripe:
        columns = self.lines.shape[1]
        return replace(
            self,
            lines=self.lines[:, ::-1],
            fields=self.fields[:, ::-1],
            start=columns - self.stop,
            stop=columns - self.start,
        )


def _left_edge(bar: _Stripe) -> Edge | None:
    """The bar's left edge, or None when there is not enough on both sides of it.

    Its position is where a sharp step of the same area would be. That is the same for any softness, and the mean of
    edges that lie one over the other.
    """
    reach = bar.reach
    low, high = bar.start - reach, bar.start + reach
    if low - reach // 2 < 0 or bar.stop - bar.start < 3 * reach:
        return None
    ground = bar.fields[:, max(0, low - reach) : low].mean(axis=1)
    level = bar.fields[:, high : high + reach].mean(axis=1)
    span = level - ground
    if (span <= 0).any():
        return None
    course = (bar.fields[:, low:high] - ground[:, None]) / span[:, None]
    top, bottom = (float(high - part.sum()) for part in course)
    by_row = np.full(bar.rows, np.nan)
    light = bar.lines[:, low:high].sum(axis=1, dtype=np.float64) - (high - low) * float(ground.mean())
    by_row[bar.first : bar.first + len(bar.lines)] = high - light / float(span.mean())
    at = np.arange(low, high) + 0.5 - (top + bottom) / 2
    return Edge(top=top, bottom=bottom, by_row=by_row, course=course, at=at)


def moved(before: Bar, after: Bar) -> float | None:
    """How far the bar went, by the edges that both frames show; None when there is no such edge."""
    ways = [
        (b.top + b.bottom - a.top - a.bottom) / 2
        for a, b in ((before.left, after.left), (before.right, after.right))
        if a is not None and b is not None
    ]
    return float(np.mean(ways)) if ways else None


def luma_of(picture: Picture) -> Floats:
    """Luma as (row, column), 1 being the depth's greatest code; of R'G'B' the mean, as the bar is grey."""
    planes, tags = picture.planes, picture.tags
    scale = np.float32((1 << tags.bits) - 1)
    if not tags.sampling.is_rgb:
        return planes[0].astype(np.float32) / scale
    total: Floats = planes[0].astype(np.float32)
    for plane in planes[1:]:
        total += plane
    return total / (3 * scale)


def is_moving_bar(lumas: Iterable[Floats], *, most: int = 60) -> bool:
    """Whether consecutive frames are those of the pattern `field-order`: one upright bar that moves over black.

    It stops at the first frame with anything else, at the second with the bar in another place, or after `most`
    frames; `lumas` are as for `read_fields`.
    """
    first: Bar | None = None
    for luma in itertools.islice(lumas, most):
        look = look_at(luma)
        if look.bar is None:
            if not look.dark:
                return False
            continue
        if not look.bar.upright:
            return False
        if not look.bar.edges:
            continue
        if first is None:
            first = look.bar
            continue
        way = moved(first, look.bar)
        if way is not None and abs(way) > 0.01 * look.bar.columns / 8:
            return True
    return False


def shows_moving_bar(path: Path) -> bool:
    """Whether the clip is one of the pattern `field-order`, by its pictures alone. Of most others it reads one frame.

    Raises:
        FileError: the file cannot be read.
    """
    with open_video(path) as video:
        return not video.is_still and is_moving_bar(luma_of(picture) for picture in video.pictures())
