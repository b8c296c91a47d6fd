"""Which samples a curve, a slanted line or a word covers, and how far: the anti-aliased half of drawing.

Distances are measured in lines on the glass: a sample is `sample_aspect` lines wide. The coverage of a sample is taken
from the distance of its centre to the shape's edge, over the sample's own extent across that edge; so a circle is as
round as the distance function, whatever the samples' shape.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from patterns.formats import Format
from patterns.placement import column, line, stroke
from patterns.scene import Disc, Ring, Segment, Text
from patterns.signal import Colour

if TYPE_CHECKING:
    from PIL import ImageFont

__all__ = ["Coverage", "cover_all"]

Mark = Disc | Ring | Segment | Text
Floats = NDArray[np.float64]
Ints = NDArray[np.signedinteger[Any]]

_SMALL_LINES = 24
"""Discs up to this radius are measured exactly: a few samples have to look round."""
_POINTS = 16
"""Points across and down each sample in that measurement."""
_FACE = "DejaVuSansMono-Bold.ttf"
_CAPITAL = 0.729
"""Height of a capital letter of the face, in em (read off the face's OS/2 table)."""


@dataclass(frozen=True, slots=True)
class Coverage:
    """Samples that a shape touches."""

    flat: Ints
    """Sorted indices, row * width + column, each once."""
    weights: Floats
    """Shares of each sample that are covered, above 0 and up to 1."""


def cover_all(fmt: Format, marks: Sequence[Mark]) -> list[tuple[Coverage, Colour]]:
    """The samples of the raster that each mark covers, in drawing order.

    Neighbouring discs of one size and colour come as one cover: a grid has hundreds of them.
    """
    covers = []
    for _, group in itertools.groupby(marks, _kind):
        first, *rest = group
        if isinstance(first, Text):
            covers.append((_text(fmt, first), first.colour))
        elif isinstance(first, Segment):
            covers.append((_segment(fmt, first), first.colour))
        else:
            alike = [first, *(mark for mark in rest if isinstance(mark, Disc))]
            small = isinstance(first, Disc) and first.radius * fmt.picture.height <= _SMALL_LINES
            covers.append(((_small_discs if small else _round)(fmt, first, alike), first.colour))
    return covers


def _kind(mark: Mark) -> object:
    return (mark.radius, mark.colour) if isinstance(mark, Disc) else id(mark)


def _round(fmt: Format, mark: Disc | Ring, alike: Sequence[Disc | Ring]) -> Coverage:
    """The cover of all of `alike`, which differ from `mark` in their place only."""
    aspect = float(fmt.sample_aspect)
    radius = float(mark.radius) * fmt.picture.height
    half = stroke(fmt)[1] * mark.weight / 2 if isinstance(mark, Ring) else 0.0
    # A sample reaches at most this far from its centre, across any edge.
    reach = 0.5 * (1 + aspect) + 1e-9
    outer, inner = radius + half + reach, radius - half - reach
    # One run of samples for each centre and row; a ring has two where its hole crosses the row.
    lines = np.arange(int(np.ceil(2 * outer)) + 2)
    centre_x = np.repeat([float(column(fmt, m.x)) for m in alike], len(lines))
    centre_y = np.repeat([float(line(fmt, m.y)) for m in alike], len(lines))
    rows = np.floor(centre_y - outer).astype(np.int64) + np.tile(lines, len(alike))
    dy = rows + 0.5 - centre_y
    wide = np.sqrt(np.maximum(outer**2 - dy**2, 0)) / aspect
    hole = np.sqrt(np.maximum(inner**2 - dy**2, 0)) / aspect * (isinstance(mark, Ring) and inner > 0)
    runs = _runs(fmt, np.tile(rows, 2), *_sides(centre_x, wide, hole))
    at_row, at_column, run = runs
    dx = (at_column + 0.5 - np.tile(centre_x, 2)[run]) * aspect
    dy = np.tile(dy, 2)[run]
    distance = np.hypot(dx, dy)
    # Extent of a sample across the edge, from the direction of the edge's normal.
    safe = np.maximum(distance, 1e-9)
    extent = np.maximum((np.abs(dx) * aspect + np.abs(dy)) / safe, min(1.0, aspect))
    weights = _step((radius + half - distance) / extent)
    if isinstance(mark, Ring):
        weights = weights - _step((radius - half - distance) / extent)
    return _kept(fmt, at_row, at_column, weights)


def _small_discs(fmt: Format, mark: Disc | Ring, alike: Sequence[Disc | Ring]) -> Coverage:
    """The cover of small discs, by the area of each sample that they fill; those that lie alike share a stamp."""
    aspect, radius = float(fmt.sample_aspect), float(mark.radius) * fmt.picture.height
    parts = []
    for disc in alike:
        x, y = column(fmt, disc.x), line(fmt, disc.y)
        rows, columns, weights = _stamp(float(x % 1), float(y % 1), radius, aspect)
        parts.append((rows + int(y // 1), columns + int(x // 1), weights))
    rows, columns, weights = (np.concatenate(part) for part in zip(*parts, strict=True))
    return _kept(fmt, rows, columns, weights)


@lru_cache(maxsize=256)
def _stamp(x: float, y: float, radius: float, aspect: float) -> tuple[Ints, Ints, Floats]:
    """Rows, columns and weights of a disc whose middle lies at (x, y), each from 0 to below 1."""
    wide, high = int(np.ceil(radius / aspect)) + 1, int(np.ceil(radius)) + 1
    shares = (np.arange(_POINTS) + 0.5) / _POINTS
    dx = (np.arange(-wide, wide + 1)[:, None] + shares - x).ravel() * aspect
    dy = (np.arange(-high, high + 1)[:, None] + shares - y).ravel()
    inside = dx**2 + dy[:, None] ** 2 <= radius**2
    weights = inside.reshape(2 * high + 1, _POINTS, 2 * wide + 1, _POINTS).mean(axis=(1, 3))
    rows, columns = np.nonzero(weights)
    return rows - high, columns - wide, weights[rows, columns]


def _sides(centre: Floats, wide: Floats, hole: Floats) -> tuple[Floats, Floats]:
    """Starts and stops of the left runs, then of the right ones; without a hole the right run is empty."""
    right_start = np.where(hole > 0, centre + hole, centre + wide)
    return (
        np.concatenate([centre - wide, right_start]),
        np.concatenate([np.where(hole > 0, centre - hole, centre + wide), centre + wide]),
    )


def _segment(fmt: Format, mark: Segment) -> Coverage:
    aspect = float(fmt.sample_aspect)
    x0, y0 = float(column(fmt, mark.x0)), float(line(fmt, mark.y0))
    x1, y1 = float(column(fmt, mark.x1)), float(line(fmt, mark.y1))
    length = float(np.hypot((x1 - x0) * aspect, y1 - y0))
    if length == 0:
        return _kept(fmt, np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0))
    ux, uy = (x1 - x0) * aspect / length, (y1 - y0) / length
    half = stroke(fmt)[1] * mark.weight / 2
    extent = abs(uy) * aspect + abs(ux)
    reach = half + extent
    top, bottom = min(y0, y1) - reach, max(y0, y1) + reach
    rows = np.arange(max(0, int(np.floor(top))), max(0, min(fmt.height, int(np.ceil(bottom)) + 1)))
    # Along each row the line is crossed at x(row); a nearly horizontal line covers its whole width in each row.
    low, high = min(x0, x1) - reach / aspect, max(x0, x1) + reach / aspect
    if abs(uy) > 1e-9:
        middle = x0 + (rows + 0.5 - y0) * ux / uy / aspect
        spread = (reach + 0.5 * abs(ux)) / abs(uy) / aspect
        starts, stops = np.maximum(middle - spread, low), np.minimum(middle + spread, high)
    else:
        starts, stops = np.full(len(rows), low), np.full(len(rows), high)
    at_row, at_column, _ = _runs(fmt, rows, starts, stops)
    dx, dy = (at_column + 0.5 - x0) * aspect, at_row + 0.5 - y0
    along, across = dx * ux + dy * uy, dx * uy - dy * ux
    weights = _step((half - across) / extent) - _step((-half - across) / extent)
    ends = _step(along / extent) * _step((length - along) / extent)
    return _kept(fmt, at_row, at_column, weights * ends)


def _text(fmt: Format, mark: Text) -> Coverage:
    # Most patterns have no words: 10 ms.
    from PIL import Image, ImageDraw

    capital = max(4, round(float(mark.height) * fmt.picture.height))
    # Enough for clean edges at small sizes; the face's own renderer is exact at large ones.
    over = 2 if capital >= 24 else 4 if capital >= 12 else 8
    font = _face(max(1, round(capital * over / _CAPITAL)))
    ink = font.getbbox(mark.text)
    wide, high = font.getlength(mark.text), capital * 2 * over
    large = Image.new("L", (max(1, int(np.ceil(max(wide, ink[2])))), high))
    # The baseline lies half a capital above the lower end, so that descenders have room.
    baseline = high - capital * over // 2
    ImageDraw.Draw(large).text((0, baseline), mark.text, fill=255, font=font, anchor="ls")
    samples = large.width / over / float(fmt.sample_aspect)
    x = float(column(fmt, mark.x)) - samples * {"start": 0, "middle": 0.5, "end": 1}[mark.anchor]
    left = int(np.floor(x))
    width = int(np.ceil(x + samples)) - left
    # Whole lines for the baseline and the capitals' tops; columns fall where they fall.
    top = round(float(line(fmt, mark.y)) + capital / 2) - (baseline // over)
    scale = large.width / samples
    canvas = Image.new("L", (int(np.ceil(width * scale)) + 1, high))
    canvas.paste(large, (round((x - left) * scale), 0))
    small = canvas.resize((width, high // over), Image.Resampling.BOX, box=(0, 0, width * scale, high))
    mask = np.asarray(small, dtype=np.float64) / 255
    at_row, at_column = np.nonzero(mask)
    return _kept(fmt, at_row + top, at_column + left, mask[at_row, at_column])


@lru_cache(maxsize=32)
def _face(size: int) -> ImageFont.FreeTypeFont:
    # Most patterns have no words: 10 ms.
    from importlib.resources import as_file, files

    # The same.
    from PIL import ImageFont

    with as_file(files("render") / "data" / _FACE) as path:
        return ImageFont.truetype(path, size)


def _step(value: Floats) -> Floats:
    return np.clip(value + 0.5, 0.0, 1.0)


def _runs(fmt: Format, rows: Ints, starts: Floats, stops: Floats) -> tuple[Ints, Ints, Ints]:
    """All samples of the raster that each run [start, stop] touches: rows, columns, and which run it was."""
    first = np.clip(np.floor(starts), 0, fmt.width).astype(np.int64)
    last = np.clip(np.ceil(stops), 0, fmt.width).astype(np.int64)
    lengths = np.where((rows >= 0) & (rows < fmt.height), np.maximum(last - first, 0), 0)
    run = np.repeat(np.arange(len(rows)), lengths)
    offsets = np.arange(len(run)) - (np.cumsum(lengths) - lengths)[run]
    return rows[run], first[run] + offsets, run


def _kept(fmt: Format, rows: Ints, columns: Ints, weights: Floats) -> Coverage:
    """The samples inside the raster that are covered at all; where two runs meet, the larger weight."""
    keep = (weights > 0) & (rows >= 0) & (rows < fmt.height) & (columns >= 0) & (columns < fmt.width)
    flat, weight = rows[keep] * fmt.width + columns[keep], weights[keep]
    order = np.lexsort((-weight, flat))
    flat, weight = flat[order], weight[order]
    first = np.ones(len(flat), bool)
    first[1:] = flat[1:] != flat[:-1]
    # A large raster has less than 2^31 samples, and a large disc has millions of them.
    return Coverage(flat[first].astype(np.int32), weight[first])
