"""Which pattern a frame shows, if any: small pictures of all of them, held against a small picture of the frame."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.faults.codes import to_rgb
from analysis.frame.fractions import frame_ycbcr
from analysis.frame.levels import Frame
from analysis.frame.place.axes import Axis, Registration
from analysis.frame.place.drawn import Drawn
from analysis.frame.place.register import coarse_places, fit_layouts, register
from patterns.formats import Format
from patterns.pattern import Options, Pattern
from patterns.signal import Signal

__all__ = ["SMALLEST", "Look", "best_look", "is_flat", "likeness", "usual_places"]

Floats = NDArray[np.float64]

SMALLEST = 16
"""Fewer samples or lines than these hold no pattern."""
_SIZE = 90
"""Samples across and down of a small picture, at most."""
_FLAT = 0.01
"""Deviation of a frame, in fractions of white, below which it shows nothing."""
_FAINT = 0.05
"""Contrast below which a pattern is not taken to be there."""
_KNOWN, _KNOWN_SMOOTH = 0.08, 0.02
"""Misfits below which a frame shows a pattern that nobody named. Captures at fault stay below half of the first;
a photograph comes near a tenth, and near a plain slope sooner than near any pattern with marks."""
_HOPELESS = 0.6
"""Misfit in the likeliest places from which a frame does not show the pattern anywhere."""
_COLOURED, _MISFIT, _TURNED = 0.05, 0.02, 0.01
"""Colours of a pattern, and the share unexplained, from which an inverted gun is looked for; the share it may leave."""
_TONES = 24
"""Steps in which the tone that a chain gives is followed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Likeness:
    """How a frame goes with a pattern in a place."""

    misfit: float
    """Share of the frame's changes that the pattern does not account for, whatever its tone and colours became."""
    contrast: float
    """The frame's changes against the pattern's."""

    @property
    def is_like(self) -> bool:
        return self.misfit < 0.25 and self.contrast > _FAINT


@dataclass(frozen=True, slots=True, kw_only=True)
class Look:
    """A pattern that a frame may show."""

    pattern: Pattern
    options: Options
    misfit: float
    distance: float
    """Root mean square difference from the pattern as it is, luma and chroma, in fractions of white."""


def likeness(luma: Any, drawn: Drawn, place: Registration, seen: Any = None) -> Likeness:
    """How a frame, as luma (rows, columns), goes with a drawn raster lying in it so.

    `seen` is the raster's luma as a chain made it, where that is known.
    """
    rows, columns = _both(place.y), _both(place.x)
    planes = (drawn.luma if seen is None else seen, *drawn.chroma)
    parts = [small(plane, rows[0], columns[0]) for plane in planes]
    return _alike(small(luma, rows[1], columns[1]), np.stack(parts), drawn)


def is_flat(luma: Any) -> bool:
    """Whether a frame shows nothing at all."""
    return float(small(luma, *(np.linspace(0, size, _SIZE + 1) for size in luma.shape)).std()) < _FLAT


def ranked(
    planes: Sequence[Any], fmt: Format, looks: Iterable[tuple[Pattern, Options]], places: Sequence[Registration]
) -> list[Look]:
    """Patterns by how well a frame goes with them, the best first, each in the place that suits it best.

    `planes` are the frame's luma, C'B and C'R as fractions, all of luma's size. Of patterns that go with it as well,
    a crosshatch in white and one in green, the one is first whose colours are nearest.
    """
    seen = []
    for place in places:
        rows, columns = _both(place.y), _both(place.x)
        frame = np.stack([small(plane, rows[1], columns[1]) for plane in planes])
        seen.append((frame, rows[0], columns[0]))
    found = []
    for pattern, options in looks:
        # Of a moving pattern its first moment.
        drawn = Drawn(pattern.scene(fmt, options), fmt)
        best = Look(pattern=pattern, options=options, misfit=1.0, distance=1.0)
        for frame, at_rows, at_columns in seen:
            parts = np.stack(
                [drawn.fractions(small(plane, at_rows, at_columns), i) for i, plane in enumerate(drawn.codes)]
            )
            fit = _alike(frame[0], parts, drawn)
            if fit.contrast > _FAINT and fit.misfit < best.misfit:
                distance = float(np.sqrt(np.mean((frame - parts) ** 2)))
                best = Look(pattern=pattern, options=options, misfit=fit.misfit, distance=distance)
        found.append(best)
    return sorted(found, key=_order)


def _order(look: Look) -> float:
    """What patterns are ranked by: mostly the misfit, and the distance among those that fit."""
    return look.misfit + 0.1 * look.distance


def _both(axis: Axis) -> tuple[Floats, Floats]:
    """Edges of a small picture's samples, in raster and in frame positions: what of the raster is in view."""
    first, last = max(axis.start, 0.0), min(axis.stop, float(axis.frame))
    if last - first < 2:
        first, last = 0.0, float(axis.frame)
    frame = np.linspace(first, last, min(_SIZE, int(last - first)) + 1)
    return (frame - axis.offset) / axis.scale, frame


def small(plane: Any, rows: Floats, columns: Floats) -> Floats:
    """Means of a plane between `rows` and between `columns`, to the nearest whole ones; (rows, columns) less one."""
    at_row, at_column = (
        np.clip(np.round(edges[:-1]).astype(int), 0, size - 1)
        for edges, size in zip((rows, columns), plane.shape, strict=True)
    )
    last_row, last_column = (
        int(np.clip(round(edges[-1]), 1, size)) for edges, size in zip((rows, columns), plane.shape, strict=True)
    )
    part = plane[:last_row, :last_column]
    at_row, at_column = np.minimum(at_row, last_row - 1), np.minimum(at_column, last_column - 1)
    # Whole numbers are added as such, and rows block by block: several times quicker than a general reduction.
    kind = np.uint32 if part.dtype.kind == "u" else np.float64
    stops = np.maximum(np.append(at_row[1:], last_row), at_row + 1)
    rows_sum = np.stack(
        [np.add.reduce(part[start:stop], axis=0, dtype=kind) for start, stop in zip(at_row, stops, strict=True)]
    )
    sums = np.add.reduceat(rows_sum, at_column, axis=1).astype(np.float64)
    high = np.maximum(np.diff(np.append(at_row, last_row)), 1)
    wide = np.maximum(np.diff(np.append(at_column, last_column)), 1)
    return _softened(sums / np.outer(high, wide))


def _softened(values: Floats) -> Floats:
    """A little blur, so that a line beside the edge of a sample is no other picture."""
    for axis in (0, 1):
        padded = np.pad(values, [(1, 1) if i == axis else (0, 0) for i in range(2)], mode="edge")
        count = values.shape[axis]
        parts = [padded.take(range(i, i + count), axis=axis) for i in range(3)]
        values = (parts[0] + 2 * parts[1] + parts[2]) / 4
    return values


def _alike(frame: Floats, parts: Floats, drawn: Drawn) -> Likeness:
    # Most frames are recognised without it: SciPy takes half a second.
    from scipy.optimize import nnls

    seen = frame.ravel() - frame.mean()
    components = parts.reshape(3, -1).T.astype(np.float64)
    guns = to_rgb(components, drawn.matrix)
    spread = float(components[:, 0].std())
    # Guns may be swapped, weighed otherwise or fall out, but a chain turns nothing into its negative.
    apart = guns - guns.mean(axis=0)
    weights, left = nnls(apart, seen)
    if float(np.ptp(components[:, 1:], axis=0).max()) > _COLOURED and left**2 > _MISFIT * float(seen @ seen):
        # But one gun may be inverted, where the pattern has colours that show it.
        turned = [np.where(np.arange(3) == gun, -1.0, 1.0) for gun in range(3)]
        tried = [(nnls(apart * signs, seen), signs) for signs in turned]
        (other, other_left), signs = min(tried, key=lambda one: one[0][1])
        if other_left**2 < _TURNED * float(seen @ seen):
            weights = other * signs
    mixed = guns @ weights
    if float(np.ptp(mixed)) < 1e-6:
        return Likeness(misfit=1.0, contrast=0.0)
    # What a chain does to the tone is the same everywhere: samples of the same tone are held against their mean.
    share = (mixed - mixed.min()) / float(np.ptp(mixed))
    tone = np.minimum((share * _TONES).astype(int), _TONES - 1)
    count = np.maximum(np.bincount(tone, minlength=_TONES), 1)
    inner = np.bincount(tone, share, _TONES) / count
    mean = np.bincount(tone, seen, _TONES) / count
    slope = float(np.std(seen)) / max(float(np.std(share)), 1e-9)
    rest = seen - mean[tone] - np.minimum(slope, 4.0) * (share - inner[tone])
    plain = seen - mean[tone]
    left = min(float(rest @ rest), float(plain @ plain))
    return Likeness(
        misfit=left / (float(seen @ seen) + 1e-9 * seen.size),
        contrast=float(seen.std()) / max(spread, 1e-6) if spread > 1e-6 else 0.0,
    )


def usual_places(fmt: Format, width: int, height: int) -> list[Registration]:
    """Where a chain puts a whole raster: filling the frame, or in its middle with borders."""
    whole = Registration.whole(fmt, width, height)
    places = [whole]
    for across, down in fit_layouts(fmt, width, height):
        x = replace(whole.x, scale=across, offset=(width - across * fmt.width) / 2)
        y = replace(whole.y, scale=down, offset=(height - down * fmt.height) / 2)
        places.append(Registration(x=x, y=y))
    return places


def best_look(
    frame: Frame,
    signal: Signal,
    fmt: Format,
    looks: Sequence[tuple[Pattern, Options]],
) -> Look | None:
    """The pattern that a frame shows, or None where it shows none of them."""
    planes = frame_ycbcr(frame, signal)
    luma = planes[0]
    if min(luma.shape) < SMALLEST:
        return None
    places = usual_places(fmt, *reversed(luma.shape))
    layouts = fit_layouts(fmt, *reversed(luma.shape))
    found = ranked(planes, fmt, looks, places)
    if not found:
        return None
    # A frame that was moved goes best with wide marks, so what is near in colour is looked at as well.
    near = sorted(found, key=lambda look: look.misfit + 4 * look.distance)
    likely = list({id(look): look for look in (*found[:2], *near[:2])}.values())
    if len(found) > 1 and found[0] is near[0] and found[0].misfit < min(0.02, found[1].misfit / 4):
        likely = found[:1]
    placed = []
    for look in likely:
        drawn = Drawn(look.pattern.scene(fmt, look.options), fmt)
        places = coarse_places(luma, drawn.luma, fmt, layouts)[:3]
        if min(likeness(luma, drawn, place).misfit for place in places) > _HOPELESS:
            # A search for the exact place takes a second.
            continue
        place = register(luma, drawn.luma, fmt, places=places)
        if likeness(luma, drawn, place).is_like:
            placed += ranked(planes, fmt, [(look.pattern, look.options)], [place])
    return min(filter(_is_known, placed), key=lambda look: look.misfit + look.distance, default=None)


def _is_known(look: Look) -> bool:
    return look.misfit < (_KNOWN_SMOOTH if look.pattern.id == "ramp" else _KNOWN)
