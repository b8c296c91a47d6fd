"""Where the pattern's raster lies in a captured frame: found from the picture itself, to a fraction of a sample.

Along and across are found apart, each from mean profiles: rows, or columns, of the frame averaged in a few bands. A
coarse search compares levels and edges at every scale and place that a chain is likely to make; then scale and place
are fitted by least squares to the slopes of the profiles. Between its edges a profile may be brighter, softer or
sharper than the drawn one, which a symmetric term for each leaves without effect on the place.

Outside the raster a frame is taken to be black, so a border tells as much as a mark does.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.place import Axis, Registration
from patterns.formats import Format

__all__ = ["Profile", "band_profiles", "fit_layouts", "register", "thinned"]

Floats = NDArray[np.float64]
Luma = NDArray[Any]

_BANDS = 5
"""Bands that a frame is averaged in. More would tell finer marks apart, and average less noise away."""
_COARSE = 900
"""Samples of a profile, at most, in the coarse search."""
_SCALES = np.geomspace(0.68, 1.32, 167)
"""Scales that are tried, against the raster filling the frame: a picture in borders, or cropped by 10 % a side."""
_FLAT = 0.004
"""A profile whose slopes stay below this, in fractions of white per sample, has no edge to go by."""
_FARTHEST = 0.34
"""Places that are tried: the raster's ends lie at most this share of the frame outside or inside it."""
_ARM = 0.02
"""How far apart, as a share of the raster, edges lie at least to tell a scale: the root mean square distance."""
_THUMB = 120
"""Samples across, and down, of the small pictures that decide which places go together."""
_SURE = 1.99
"""Sum of both fits, with which no other place is tried."""


class Profile:
    """Mean profiles of the raster as it is drawn, (bands, samples), as a smooth function of the raster position.

    Black on both sides of it. Spline and its integral come from SciPy, so that a frame's sample is the mean over its
    own width, whatever its scale is.
    """

    def __init__(self, values: Floats) -> None:
        from scipy.interpolate import make_interp_spline

        size = values.shape[1]
        self.size = size
        pad = max(8, int(0.6 * size))
        padded = np.pad(values, ((0, 0), (pad, pad)))
        places = np.arange(-pad, size + pad) + 0.5
        # A cubic through hard edges overshoots; a straight line does not, and a converter's filter does what it does.
        self._spline = make_interp_spline(places, padded, k=3, axis=1)
        self._integral = self._spline.antiderivative()
        self._ends = float(places[0]), float(places[-1])

    def at(self, places: Floats, width: float) -> Floats:
        """Means over `width` raster samples round each place: (bands, places)."""
        half = width / 2
        upper, lower = (np.clip(places + side, *self._ends) for side in (half, -half))
        mean: Floats = (self._integral(upper) - self._integral(lower)) / width
        return mean


def register(
    luma: Luma,
    drawn: Luma,
    fmt: Format,
    *,
    layouts: Sequence[tuple[float, float]] = (),
    start: Registration | None = None,
) -> Registration:
    """Find the raster in a frame.

    Args:
        luma: the frame's luma, or anything like it, (rows, columns), as fractions of white.
        drawn: the same of the drawn raster, (fmt.height, fmt.width).
        fmt: the format that is drawn.
        layouts: (scale across, scale down) of the ways in which a chain puts the whole raster into such a frame,
            centred; the raster that fills the frame is always among them.
        start: where it lies nearly; then it is only placed more finely there.
    """
    height, width = luma.shape
    luma, drawn = np.asarray(luma, np.float32), np.asarray(drawn, np.float32)
    if start is not None:
        return _fitted(luma, drawn, start)
    start = Registration.whole(fmt, width, height)
    # Across and down are searched apart; which place across goes with which one down, small pictures tell.
    across = _candidates(luma, drawn, 1, start.x, start.y, [scale for scale, _ in layouts])
    down = _candidates(luma, drawn, 0, start.y, start.x, [scale for _, scale in layouts])
    places = _ranked(luma, drawn, across, down)
    best, best_fit = start, -np.inf
    for place in places[:3]:
        tried = _fitted(luma, drawn, place)
        fit = tried.x.fit + tried.y.fit - _unlikely(tried.x) - _unlikely(tried.y)
        if fit > best_fit:
            best, best_fit = tried, fit
        if fit > _SURE:
            break
    x = _nearest(*band_profiles(luma, drawn, 1, best.y, 1), best.x)
    y = _nearest(*band_profiles(luma, drawn, 0, x, 1), best.y)
    return best if (x, y) == (best.x, best.y) else _fitted(luma, drawn, Registration(x=x, y=y))


def _fitted(luma: Luma, drawn: Luma, place: Registration) -> Registration:
    x, y = place.x, place.y
    for bands in (1, _BANDS, _BANDS):
        x = _refine(*band_profiles(luma, drawn, 1, y, bands), x)
        y = _refine(*band_profiles(luma, drawn, 0, x, bands), y)
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
    fit = _level_fit(captured, profile, axis)
    others = (replace(axis, offset=axis.offset + cells * period) for cells in range(-3, 4))
    equal = [other for other in others if _level_fit(captured, profile, other) > fit - 0.02]
    return min(equal, key=lambda other: (abs(other.start + other.stop - axis.frame), other.offset), default=axis)


def _ranked(luma: Luma, drawn: Luma, across: list[Axis], down: list[Axis]) -> list[Registration]:
    """Every pair of places, the likeliest first, by the likeness of small pictures."""
    height, width = luma.shape
    edges = [np.linspace(0, size, min(_THUMB, size) + 1) for size in (height, width)]
    small = thinned(thinned(luma, 0, edges[0]), 1, edges[1])
    wanted = _normal(small.ravel())
    ranked = []
    for x in across:
        columns = thinned(drawn, 1, (edges[1] - x.offset) / x.scale)
        for y in down:
            seen = _normal(thinned(columns, 0, (edges[0] - y.offset) / y.scale).ravel())
            score = float(wanted @ seen) - _unlikely(x) - _unlikely(y)
            ranked.append((score, Registration(x=x, y=y)))
    ranked.sort(key=lambda pair: -pair[0])
    return [place for _, place in ranked]


def _unlikely(axis: Axis) -> float:
    """A little for the distance of the raster's ends from the frame's: a grid moved by a cell looks the same."""
    return float(_cost(axis.start, axis.stop - axis.frame, axis.frame))


def _cost(start: Any, stop: Any, frame: int) -> Any:
    return 0.004 * (np.abs(start) + np.abs(stop)) / frame + 0.02 * (start**2 + stop**2) / frame**2


def band_profiles(luma: Luma, drawn: Luma, axis: int, other: Axis, bands: int) -> tuple[Floats, Floats]:
    """Mean profiles along `axis` (1 across, 0 down) of frame and raster, from the same bands of the other direction."""
    if axis == 0:
        luma, drawn = luma.T, drawn.T
    first, last = max(other.start, 0.0), min(other.stop, float(other.frame))
    edges = np.linspace(first, last, bands + 1)
    captured, reference = [], []
    for low, high in itertools.pairwise(edges):
        captured.append(_mean_rows(luma, low, high))
        reference.append(_mean_rows(drawn, (low - other.offset) / other.scale, (high - other.offset) / other.scale))
    return np.array(captured), np.array(reference)


def _mean_rows(values: Luma, low: float, high: float) -> Floats:
    """Mean of the rows from `low` to `high`, the outer ones by the part that lies inside."""
    count = len(values)
    low, high = max(low, 0.0), min(high, float(count))
    if high <= low:
        return np.zeros(values.shape[1])
    rows = np.arange(int(low), min(count, int(np.ceil(high))))
    weights = np.minimum(rows + 1, high) - np.maximum(rows, low)
    total: NDArray[Any] = weights.astype(np.float32) @ values[rows[0] : rows[-1] + 1]
    mean: Floats = total.astype(np.float64) / float(weights.sum())
    return mean


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


def thinned(values: Luma, axis: int, edges: Floats) -> Floats:
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


# --- The fine fit ---------------------------------------------------------------------------------------------


def _refine(captured: Floats, reference: Floats, axis: Axis) -> Axis:
    """Scale and offset by least squares on the slopes; where no edge tells both, `axis` as it is.

    Linear in everything but the place, so each step solves for all at once: for each band the contrast and the
    blur; for all bands the place and the scale.
    """
    profile = Profile(reference)
    scale, offset = axis.scale, axis.offset
    fitted = None
    # First with wide edges, which are found from farther off; then with their own.
    for wide in (True, False):
        view = _View.of(captured, axis, wide)
        for _ in range(10 if view is not None else 0):
            assert view is not None
            fitted = _step(view, profile, scale, offset)
            if fitted is None:
                break
            move_offset, move_scale = fitted.moves
            limit = 1.5 * max(1.0, scale)
            largest = max(abs(move_offset), abs(move_offset + move_scale * axis.raster), 1e-12)
            damp = min(1.0, limit / largest)
            offset, scale = offset + damp * move_offset, scale + damp * move_scale
            if not 0.5 < scale / axis.nominal < 2:
                fitted = None
                break
            if largest < (0.05 if wide else 1e-3):
                break
        if fitted is None:
            break
    if fitted is None:
        return replace(axis, found=False, fit=_level_fit(captured, profile, axis))
    found = replace(
        axis,
        scale=scale,
        offset=offset,
        scale_error=float(np.sqrt(fitted.covariance[1, 1])),
        offset_error=float(np.sqrt(fitted.covariance[0, 0])),
        covariance=float(fitted.covariance[0, 1]),
        found=True,
        softness=fitted.softness,
    )
    return replace(found, fit=_level_fit(captured, profile, found))


def _level_fit(captured: Floats, profile: Profile, axis: Axis) -> float:
    """Share of the profiles' changes that the drawn ones account for, each band with its own contrast and black.

    A frame's first and last samples are left out: what lies beyond them is a converter's guess.
    """
    ends = _ends(axis)
    drawn = profile.at(_places(axis.frame, axis.scale, axis.offset), 1 / axis.scale)[:, ends]
    seen = captured[:, ends]
    left = total = 0.0
    for own, wanted in zip(seen, drawn, strict=True):
        own, wanted = own - own.mean(), wanted - wanted.mean()
        contrast = float(own @ wanted) / max(float(wanted @ wanted), 1e-9)
        left += float(np.sum((own - max(contrast, 0.0) * wanted) ** 2))
        total += float(own @ own)
    # Two flat profiles are alike, whatever little noise they have.
    return 1 - left / (total + 0.02**2 * seen.size)


def _places(count: int, scale: float, offset: float) -> Floats:
    """Raster positions of a frame's sample centres."""
    places: Floats = (np.arange(count, dtype=np.float64) + 0.5 - offset) / scale
    return places


def _ends(axis: Axis) -> slice:
    margin = min(axis.frame // 8, int(np.ceil(3 * max(axis.scale, 1.0))))
    return slice(margin, axis.frame - margin)


@dataclass(frozen=True, slots=True)
class _View:
    """The captured side of the fit: slopes of smoothed profiles, away from the frame's own ends."""

    slopes: Floats
    kernel: Floats
    """What both sides are smoothed with: as long as an edge, so that noise finer than any edge does not count."""
    inside: slice
    count: int
    wide: bool

    @classmethod
    def of(cls, captured: Floats, axis: Axis, wide: bool) -> _View | None:
        length = max(1, round((4.0 if wide else 1.5) * max(axis.scale, 1.0)))
        box = np.ones(length) / length
        kernel = np.convolve(np.convolve(box, box), box)
        margin = _ends(axis).start + len(kernel) // 2
        if axis.frame < 4 * margin + 8:
            return None
        view = cls(np.empty(0), kernel, slice(margin, axis.frame - 1 - margin), axis.frame, wide)
        return replace(view, slopes=view.seen(captured))

    def seen(self, profiles: Floats) -> Floats:
        smooth = np.array([np.convolve(row, self.kernel, mode="same") for row in profiles])
        slopes: Floats = np.diff(smooth, axis=1)[:, self.inside]
        return slopes


@dataclass(frozen=True, slots=True)
class _Fit:
    moves: tuple[float, float]
    covariance: Floats
    softness: float


def _step(view: _View, profile: Profile, scale: float, offset: float) -> _Fit | None:
    """One step of the fit. None where the edges in view do not tell both place and scale."""
    width = 1 / scale

    def means(shift: float) -> Floats:
        return profile.at(_places(view.count, scale, offset - shift), width)

    here = means(0.0)
    drawn = view.seen(here)
    if float(np.max(np.abs(drawn))) < _FLAT:
        return None
    # Moving the raster by d changes a sample by -d times its slope.
    slope = view.seen(means(-0.5) - means(0.5))
    reach = max(1.0, scale)
    if not view.wide:
        softer = view.seen(means(reach) - 2 * here + means(-reach))
        softest = view.seen(means(2 * reach) - 2 * here + means(-2 * reach))
    along = (np.arange(1, view.count, dtype=np.float64)[view.inside] - offset) / scale
    middle = float(along.mean())
    normal, right, spread = np.zeros((2, 2)), np.zeros(2), np.zeros((2, 2))
    samples, contrasts, blurs = 0, [], []
    for i in range(len(drawn)):
        power = float(np.sum(drawn[i] ** 2))
        if power < _FLAT**2:
            continue
        symmetric = [] if view.wide else [softer[i], softest[i]]
        own = np.stack([drawn[i], np.ones_like(along), *symmetric], axis=1)
        basis, _ = np.linalg.qr(own)
        amounts = np.linalg.lstsq(own, view.slopes[i], rcond=1e-9)[0]
        contrast = float(amounts[0])
        # The symmetric terms are projected out; what is left tells the place.
        steep = np.where(np.abs(slope[i]) < _FLAT, 0.0, slope[i])
        moving = np.stack([steep, steep * (along - middle)], axis=1) * contrast
        moving -= basis @ (basis.T @ moving)
        rest = view.slopes[i] - basis @ (basis.T @ view.slopes[i])
        normal += moving.T @ moving
        right += moving.T @ rest
        spread += _spread(moving, rest, len(view.kernel))
        samples += len(along)
        contrasts.append(abs(contrast) * power)
        blurs.append(0.0 if view.wide or not contrast else reach**2 * float(amounts[2] + 4 * amounts[3]) / contrast)
    # Both are told when the edges' own spread is a fair part of the frame.
    if not samples or normal[0, 0] < 1e-9:
        return None
    arm = normal[1, 1] / normal[0, 0] - (normal[0, 1] / normal[0, 0]) ** 2
    if arm < (_ARM * profile.size) ** 2:
        return None
    inverse = np.linalg.inv(normal)
    place, grown = inverse @ right
    # From the middle of the view to the raster's beginning.
    turn = np.array([[1.0, -middle], [0.0, 1.0]])
    return _Fit(
        moves=(float(place - grown * middle), float(grown)),
        covariance=turn @ inverse @ spread @ inverse @ turn.T,
        softness=float(np.sqrt(max(0.0, 2 * float(np.average(blurs, weights=contrasts))))),
    )


def _spread(moving: Floats, rest: Floats, reach: int) -> Floats:
    """Covariance of the fit's right side, from what it leaves: neighbours are alike, since they share samples."""
    total = np.zeros((2, 2))
    for lag in range(reach + 1):
        likeness = float(np.mean(rest[lag:] * rest[: len(rest) - lag]))
        part = moving[lag:].T @ moving[: len(moving) - lag] * likeness
        total += part if lag == 0 else part + part.T
    # A sum of lags that is cut short may fall below what independent samples have.
    alone = moving.T @ moving * float(np.mean(rest**2))
    return total if np.all(np.diag(total) > 0.05 * np.diag(alone)) else alone


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
