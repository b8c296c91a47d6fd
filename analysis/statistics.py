"""What the samples of a patch have in common: middle, spread and how well both are known."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["MAD_TO_SIGMA", "Statistics"]

MAD_TO_SIGMA = 1.4826
"""Standard deviation of normal noise over its median absolute deviation."""
_MEDIAN_TO_MEAN = 1.2533
"""Spread of the median over that of the mean, for normal noise: the square root of pi / 2."""
_BLOCKS = 6
"""Blocks along each side of a patch, whose means tell how far neighbouring samples are alike."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Statistics:
    """What the samples of one plane in a patch have in common."""

    median: float
    between: float
    """The median between codes: as if each code's samples were spread evenly over it."""
    mean: float
    noise: float
    lowest: float
    highest: float
    uncertainty: float

    @classmethod
    def of(cls, part: NDArray[Any]) -> Statistics:
        lowest, highest = int(part.min()), int(part.max())
        if lowest == highest:
            flat = float(lowest)
            return cls(median=flat, between=flat, mean=flat, noise=0.0, lowest=flat, highest=flat, uncertainty=0.0)
        # A patch has many samples and few different codes: everything follows from how often each occurs.
        often = np.bincount(part.ravel())
        codes = np.flatnonzero(often)
        counts = often[codes]
        median = _weighted_median(codes.astype(np.float64), counts)
        noise = _noise(codes, counts, median)
        return cls(
            median=median,
            between=_between(codes, counts),
            mean=float(codes @ counts / counts.sum()),
            noise=noise,
            lowest=float(lowest),
            highest=float(highest),
            uncertainty=_uncertainty(part, noise),
        )

    @classmethod
    def of_values(cls, values: NDArray[np.float64]) -> Statistics:
        """Of figures that are no codes, each from a column of its own."""
        median = float(np.median(values))
        noise = float(MAD_TO_SIGMA * np.median(np.abs(values - median)))
        return cls(
            median=median,
            between=median,
            mean=float(values.mean()),
            noise=noise,
            lowest=float(values.min()),
            highest=float(values.max()),
            uncertainty=_MEDIAN_TO_MEAN * noise / math.sqrt(values.size),
        )


def _between(codes: NDArray[np.intp], counts: NDArray[np.intp]) -> float:
    below = np.cumsum(counts)
    half = below[-1] / 2
    at = int(np.searchsorted(below, half))
    share = (half - (below[at] - counts[at])) / counts[at]
    return float(codes[at] - 0.5 + share)


def _uncertainty(part: NDArray[Any], noise: float) -> float:
    """Standard uncertainty of the median, in codes.

    Neighbouring samples of a coded or filtered frame are alike, so the means of blocks are looked at as well: what
    they differ by is no less than what their number of samples says.
    """
    alone = _MEDIAN_TO_MEAN * noise / math.sqrt(part.size)
    rows, columns = (min(_BLOCKS, size) for size in part.shape)
    if rows * columns < 4:
        return alone
    high, wide = part.shape[0] // rows, part.shape[1] // columns
    blocks = part[: rows * high, : columns * wide].reshape(rows, high, columns, wide).mean(axis=(1, 3))
    spread = float(MAD_TO_SIGMA * np.median(np.abs(blocks - np.median(blocks))))
    return max(alone, spread / math.sqrt(rows * columns))


def _noise(codes: NDArray[np.intp], counts: NDArray[np.intp], median: float) -> float:
    """Standard deviation of the samples without outliers: beyond four times what the absolute deviations tell.

    The median of whole codes' deviations alone would move in steps of one code.
    """
    away = np.abs(codes - median)
    reach = 4 * max(MAD_TO_SIGMA * _weighted_median(away, counts), 0.5)
    kept, often = codes[away <= reach], counts[away <= reach]
    mean = float(kept @ often / often.sum())
    return float(np.sqrt((kept - mean) ** 2 @ often / often.sum()))


def _weighted_median(values: NDArray[np.float64], counts: NDArray[np.intp]) -> float:
    """The median of `values`, each taken as often as `counts` says; the mean of the middle two of an even number."""
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(counts[order])
    total = int(reached[-1])
    lower, upper = np.searchsorted(reached, ((total - 1) // 2 + 1, total // 2 + 1))
    return float(values[order[lower]] + values[order[upper]]) / 2
