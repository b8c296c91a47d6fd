"""Where the pattern's raster lies in a captured frame: found from the picture itself, to a fraction of a sample.

Along and across are found apart, each from mean profiles: rows, or columns, of the frame averaged in a few bands. A
coarse search compares levels and edges at every scale and place that a chain is likely to make; then scale and place
are fitted by least squares to the slopes of the profiles. Between its edges a profile may be brighter, softer or
sharper than the drawn one, which a symmetric term for each leaves without effect on the place.

Outside the raster a frame is taken to be black, so a border tells as much as a mark does.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.place.axes import Axis, Registration
from analysis.frame.place.finefit import level_fit, refine
from analysis.frame.place.profiles import Profile, band_profiles
from patterns.formats import Format

__all__ = ["coarse_places", "fit_layouts", "register"]

Floats = NDArray[np.float64]
Luma = NDArray[Any]

_BANDS = 5
"""Bands that a frame is averaged in. More would tell finer marks apart, and average less noise away."""
_COARSE = 900
"""Samples of a profile, at most, in the coarse search."""
_SCALES = np.geomspace(0.68, 1.32, 167)
"""Scales that are tried, against the raster filling the frame: a picture in borders, or cropped by 10 % a side."""
_FARTHEST = 0.34
"""Places that are tried: the raster's ends lie at most this share of the frame outside or inside it."""
_THUMB = 120
"""Samples across, and down, of the small pictures that decide which places go together."""
_SURE = 1.99
"""Sum of both fits, with which no other place is tried."""


def register(
    luma: Luma,
    drawn: Luma,
    fmt: Format,
    *,
    layouts: Sequence[tuple[float, float]] = (),
    start: Registration | None = None,
    places: Sequence[Registration] | None = None,
) -> Registration:
    """Find the raster in a frame.

    Args:
        luma: the frame's luma, or anything like it, (rows, columns), as fractions of white.
        drawn: the same of the drawn raster, (fmt.height, fmt.width).
        fmt: the format that is drawn.
        layouts: (scale across, scale down) of the ways in which a chain puts the whole raster into such a frame,
            centred; the raster that fills the frame is always among them.
        start: where it lies nearly; then it is only placed more finely there.
        places: the likely ones of `coarse_places`, where these are known.
    """
    luma, drawn = np.asarray(luma, np.float32), np.asarray(drawn, np.float32)
    if start is not None:
        return _fitted(luma, drawn, start)
    best, best_fit = Registration.whole(fmt, *reversed(luma.shape)), -np.inf
    for place in coarse_places(luma, drawn, fmt, layouts)[:3] if places is None else places:
        tried = _fitted(luma, drawn, place)
        fit = tried.x.fit + tried.y.fit - _unlikely(tried.x) - _unlikely(tried.y)
        if fit > best_fit:
            best, best_fit = tried, fit
        if fit > _SURE:
            break
    x = _nearest(*band_profiles(luma, drawn, 1, best.y, 1), best.x)
    y = _nearest(*band_profiles(luma, drawn, 0, x, 1), best.y)
    return best if (x, y) == (best.x, best.y) else _fitted(luma, drawn, Registration(x=x, y=y))


def coarse_places(
    luma: Luma, drawn: Luma, fmt: Format, layouts: Sequence[tuple[float, float]] = ()
) -> list[Registration]:
    """Where the raster may lie, to a few samples, the likeliest place first; with arguments as `register` has them."""
    start = Registration.whole(fmt, *reversed(luma.shape))
    # Across and down are searched apart; which place across goes with which one down, small pictures tell.
    across = _candidates(luma, drawn, 1, start.x, start.y, [scale for scale, _ in layouts])
    down = _candidates(luma, drawn, 0, start.y, start.x, [scale for _, scale in layouts])
    return _ranked(luma, drawn, across, down)


def _fitted(luma: Luma, drawn: Luma, place: Registration) -> Registration:
    x, y = place.x, place.y
    for bands in (1, _BANDS, _BANDS):
        x = refine(*band_profiles(luma, drawn, 1, y, bands), x)
        y = refine(*band_profiles(luma, drawn, 0, x, bands), y)
    return Registration(x=x, y=y)


def _nearest(captured: Floats, reference: Floats, axis: Axis) -> Axis:
    """Of all places that a grid fits as well, a cell on or more, the one nearest to the frame's middle."""
    slopes = np.diff(reference[0])
    size = 2 * len(slopes)
    alike = np.fft.irfft(np.abs(np.fft.rfft(slopes, size)) ** 2)[: len(slopes) // 3]
    if len(alike) < 8 or alike[0] <= 0:
        return axis
    beyond = 4 + int(np.argmax(alike[4:]))
    if not axis.found or alike[beyond] < 0.6 * alike[0]:
        return axis
    profile, period = Profile(reference), beyond * axis.scale
    fit = level_fit(captured, profile, axis)
    others = (replace(axis, offset=axis.offset + cells * period) for cells in range(-3, 4))
    equal = [other for other in others if level_fit(captured, profile, other) > fit - 0.02]
    return min(equal, key=lambda other: (abs(other.start + other.stop - axis.frame), other.offset), default=axis)


def _ranked(luma: Luma, drawn: Luma, across: list[Axis], down: list[Axis]) -> list[Registration]:
    """Every pair of places, the likeliest first, by the likeness of small pictures."""
    height, width = luma.shape
    edges = [np.linspace(0, size, min(_THUMB, size) + 1) for size in (height, width)]
    small = _thinned(_thinned(luma, 0, edges[0]), 1, edges[1])
    wanted = _normal(small.ravel())
    ranked = []
    for x in across:
        columns = _thinned(drawn, 1, (edges[1] - x.offset) / x.scale)
        for y in down:
            seen = _normal(_thinned(columns, 0, (edges[0] - y.offset) / y.scale).ravel())
            score = float(wanted @ seen) - _unlikely(x) - _unlikely(y)
            ranked.append((score, Registration(x=x, y=y)))
    ranked.sort(key=lambda pair: -pair[0])
    return [place for _, place in ranked]


def _unlikely(axis: Axis) -> float:
    """A little for the distance of the raster's ends from the frame's: a grid moved by a cell looks the same."""
    return float(_cost(axis.start, axis.stop - axis.frame, axis.frame))


def _cost(start: Any, stop: Any, frame: int) -> Any:
    return 0.004 * (np.abs(start) + np.abs(stop)) / frame + 0.02 * (start**2 + stop**2) / frame**2


# --- The coarse search --------------------------------------------------------------------------------------


def _candidates(luma: Luma, drawn: Luma, axis: int, now: Axis, other: Axis, layouts: Iterable[float]) -> list[Axis]:
    """Places to begin from: the likely layouts, and the best of the search."""
    captured, reference = band_profiles(luma, drawn, axis, other, 1)
    places = [now]
    for scale in layouts:
        places.append(_moved(now, scale, (now.frame - scale * now.raster) / 2))
    if _is_flat(reference[0]) and _is_flat(captured[0]):
        return places
    return places + _search(captured[0], reference[0], now)


def _is_flat(profile: Floats) -> bool:
    """Whether nothing in a profile tells a place, noise aside."""
    if len(profile) < 8:
        return True
    few = profile[: len(profile) // 8 * 8].reshape(8, -1).mean(axis=1)
    return bool(np.ptp(few) < 0.01 and np.std(profile) < 0.01)


def _thinned(values: Luma, axis: int, edges: Floats) -> Floats:
    """Means between `edges` along an axis, with black beyond both ends."""
    sums = np.cumsum(values, axis=axis, dtype=np.float64)
    sums = np.concatenate([np.zeros_like(sums.take([0], axis=axis)), sums], axis=axis)
    places = np.clip(edges, 0, values.shape[axis])
    whole = np.minimum(places.astype(int), values.shape[axis] - 1)
    part = places - whole
    shape = (-1, 1) if axis == 0 else (1, -1)
    part = part.reshape(shape)
    at = sums.take(whole, axis=axis) * (1 - part) + sums.take(whole + 1, axis=axis) * part
    means: Floats = np.diff(at, axis=axis) / np.diff(edges).reshape(shape)
    return means


def _moved(axis: Axis, scale: float, offset: float) -> Axis:
    return Axis(scale=scale, offset=offset, raster=axis.raster, frame=axis.frame)


def _search(captured: Floats, reference: Floats, now: Axis) -> list[Axis]:
    """The three best of all scales and places, by the likeness of levels and of edges."""
    step = max(1, -(-now.frame // _COARSE))
    count = now.frame // step
    frame = captured[: count * step].reshape(count, step).mean(axis=1)
    reach = int(_FARTHEST * count)
    found: list[tuple[float, float, float]] = []
    wanted = [_normal(frame), _normal(_edges(frame))]
    for factor in _SCALES:
        scale = now.nominal * factor
        # The raster from `reach` before its earliest place to `reach` after its latest, in steps of the frame.
        size = count + 2 * reach
        places = (np.arange(size) - reach + 0.5) * step / scale
        drawn = np.interp(places, np.arange(-1, now.raster + 1) + 0.5, np.pad(reference, 1), left=0.0, right=0.0)
        inside = count * factor
        # Shifts for which both ends stay near the frame's.
        shifts = np.arange(2 * reach + 1)
        score = np.zeros(len(shifts))
        for target, signal in zip(wanted, (drawn, _edges(drawn)), strict=True):
            score += 0.5 * _likeness(signal, target)
        offsets = (reach - shifts) * step
        score -= _cost(offsets, offsets + inside * step - now.frame, now.frame)
        best = int(np.argmax(score))
        found.append((float(score[best]), scale, float(offsets[best])))
    found.sort(reverse=True)
    chosen: list[Axis] = []
    for _, scale, offset in found:
        if all(abs(scale / c.scale - 1) > 0.01 or abs(offset - c.offset) > 0.01 * now.frame for c in chosen):
            chosen.append(_moved(now, scale, offset))
        if len(chosen) == 3:
            break
    return chosen


def _edges(values: Floats) -> Floats:
    """How steep a profile is at each place, smoothed a little so that neighbouring scales overlap."""
    steep = np.abs(np.gradient(values))
    return np.convolve(steep, [0.1, 0.2, 0.4, 0.2, 0.1], mode="same")


def _normal(values: Floats) -> Floats:
    centred = values - values.mean()
    size = float(np.sqrt(centred @ centred))
    return centred / size if size > 1e-9 else np.zeros_like(values)


def _likeness(signal: Floats, target: Floats) -> Floats:
    """Correlation of `target` with every stretch of `signal` as long as it; 0 where the stretch is flat."""
    count = len(target)
    size = 1 << (len(signal) + count - 1).bit_length()
    product = np.fft.irfft(np.fft.rfft(signal, size) * np.conj(np.fft.rfft(target, size)), size)
    sums = np.concatenate([[0.0], np.cumsum(signal)])
    squares = np.concatenate([[0.0], np.cumsum(signal**2)])
    total, power = sums[count:] - sums[:-count], squares[count:] - squares[:-count]
    spread = np.sqrt(np.maximum(power - total**2 / count, 1e-12))
    # The target has no mean, so the stretch's own drops out of the product.
    likeness: Floats = product[: len(total)] / spread
    return likeness


def fit_layouts(fmt: Format, width: int, height: int) -> list[tuple[float, float]]:
    """Scales with which the whole raster keeps its shape in a frame of square samples, centred with borders.

    A 13.5 MHz raster's shape is taken both ways that are in use: its samples' own (ISO/IEC 14496), and all 720 samples
    as the picture.
    """
    shapes = {fmt.sample_aspect * fmt.width / fmt.height, fmt.picture_aspect}
    layouts = []
    for shape in sorted(shapes):
        wide = min(Fraction(width), height * shape)
        layouts.append((float(wide / fmt.width), float(wide / shape / fmt.height)))
    return layouts
