"""Mean profiles of a frame and of the drawn raster: rows, or columns, averaged in bands."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.place.axes import Axis

__all__ = ["Profile", "band_profiles"]

Floats = NDArray[np.float64]
Luma = NDArray[Any]


class Profile:
    """Mean profiles of the raster as it is drawn, (bands, samples), as a smooth function of the raster position.

    Black on both sides of it. Spline and its integral come from SciPy, so that a frame's sample is the mean over its
    own width, whatever its scale is.
    """

    def __init__(self, values: Floats) -> None:
        # A frame as it was drawn does without SciPy: half a second.
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
