"""The moving bar of the pattern `field-order`: found in a frame, and known by its moving."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from render.decode import Picture, open_video

__all__ = ["Bar", "Edge", "Look", "is_moving_bar", "look_at", "luma_of", "moved", "shows_moving_bar"]

Floats = NDArray[np.floating[Any]]

FAINTEST = 0.04
"""Least height of the bar, as a share of the codes; drawn, it is 0.43 in narrow and 0.5 in full range."""


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """The bar in one frame. An edge is None where it cannot be measured: outside, or too near the frame's side."""

    left: Edge | None
    right: Edge | None
    width: float | None
    """Samples, when both edges are inside."""
    columns: int
    upright: bool
    """Whether both edges stand upright."""

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
    """Find one upright bar over the height of a frame that is black otherwise."""
    rows, columns = luma.shape
    if rows < 16 or columns < 64:
        return Look()
    profile = luma.mean(axis=0, dtype=np.float64)
    ground = float(np.median(profile))
    smooth = _smoothed(profile, max(3, columns // 80))
    height = float(smooth.max()) - ground
    if height < FAINTEST:
        return Look(dark=_is_dark(luma, profile, ground))
    inside = smooth > ground + height / 2
    start = stop = int(np.argmax(smooth))
    while start > 0 and inside[start - 1]:
        start -= 1
    while stop < columns and inside[stop]:
        stop += 1
    reach = 0.025 * columns + 2
    width = stop - start
    whole = start > 0 and stop < columns
    if width > 0.25 * columns or (whole and width < 0.05 * columns):
        return Look()
    outside = np.ones(columns, bool)
    outside[max(0, int(start - 2 * reach)) : int(stop + 2 * reach)] = False
    if outside.any() and float(np.abs(profile[outside] - ground).max()) > 0.2 * height:
        return Look()
    if not whole and width < 3 * reach:
        return Look(bar=Bar(left=None, right=None, width=None, columns=columns, upright=True))
    quarter = width // 4
    level = luma[:, start + quarter : stop - quarter].mean(axis=1, dtype=np.float64) - ground
    lit = np.flatnonzero(level > np.percentile(level, 80) / 2)
    first, last = int(lit[0]), int(lit[-1]) + 1
    if last - first < 0.6 * rows or len(lit) < 0.95 * (last - first):
        return Look()
    lines = luma[first:last]
    fields = np.stack([lines[(first + f) % 2 :: 2].mean(axis=0, dtype=np.float64) for f in (0, 1)])
    left = _edge(lines, fields, first, rows, start, stop - start, reach)
    # The right edge is the left one of the mirrored frame.
    right = _edge(lines[:, ::-1], fields[:, ::-1], first, rows, columns - stop, stop - start, reach)
    if right is not None:
        right = Edge(
            top=columns - right.top,
            bottom=columns - right.bottom,
            by_row=columns - right.by_row,
            course=right.course,
            at=right.at,
        )
    measured = [edge for edge in (left, right) if edge is not None]
    spread = 0.15 * columns / 8
    upright = all(
        abs(float(np.nanmean(edge.by_row[: (first + last) // 2]) - np.nanmean(edge.by_row[(first + last) // 2 :])))
        < spread
        for edge in measured
    )
    across = None
    if left is not None and right is not None:
        across = (right.top + right.bottom - left.top - left.bottom) / 2
    return Look(bar=Bar(left=left, right=right, width=across, columns=columns, upright=upright))


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


def _edge(lines: Floats, fields: Floats, first: int, rows: int, start: int, width: int, reach: float) -> Edge | None:
    """The rising edge near column `start`, or None when there is not enough on both sides of it.

    Its position is where a sharp step of the same area would be. That is the same for any softness and for edges one
    over the other it is their mean.
    """
    near = round(reach)
    low, high = start - near, start + near
    if low - near // 2 < 0 or width < 3 * near:
        return None
    ground = fields[:, max(0, low - near) : low].mean(axis=1)
    level = fields[:, high : high + near].mean(axis=1)
    span = level - ground
    if (span <= 0).any():
        return None
    course = (fields[:, low:high] - ground[:, None]) / span[:, None]
    top, bottom = (float(high - part.sum()) for part in course)
    by_row = np.full(rows, np.nan)
    part = lines[:, low:high].sum(axis=1, dtype=np.float64) - (high - low) * float(ground.mean())
    by_row[first : first + len(lines)] = high - part / float(span.mean())
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
