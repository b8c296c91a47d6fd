"""How long a photograph was exposed against the tube's fields: which fields each place of the glass shows.

A tube draws one field after the other. A shutter that is open for a whole number of frames sees every place as often as
every other; else some lines are seen once more than others, and of two interlaced fields one counts more.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from analysis.rounding import figure

__all__ = ["Exposure", "field_shifts", "seconds_words"]

Floats = NDArray[np.float64]

_LONG_S = 0.5
"""Exposures from which the share of one field is small (common practice, no source)."""
_NOTED = 0.03
"""Share by which a noted exposure may be off: it is rounded, as 1/60 for 1/59.94 (common practice, no source)."""
_WHOLE_FIELD = 0.95
"""Fields of an exposure below which a part of the picture is not lit at all."""
_PATTERNS = 6
"""Independent ways in which the two fields may share the picture that are kept: they hold nearly all of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Exposure:
    """What a file notes of the exposure, and the fields that were drawn meanwhile."""

    seconds: float
    field_rate_hz: float
    is_interlaced: bool

    @property
    def fields(self) -> float:
        """How many fields were drawn."""
        return self.seconds * self.field_rate_hz

    @property
    def is_whole(self) -> bool:
        """Whether that is a whole number of frames, as far as the note says, or at least half a second."""
        frame = 2 if self.is_interlaced else 1
        nearest = frame * round(self.fields / frame)
        return self.seconds >= _LONG_S or (nearest > 0 and abs(self.fields - nearest) <= _NOTED * nearest)

    @property
    def is_partly_dark(self) -> bool:
        """Whether a part of the picture is not lit at all."""
        return self.fields < _WHOLE_FIELD

    @property
    def imbalance(self) -> float:
        """By how much one field may count more than the other, as a share of both: 1 where one alone is seen."""
        if not self.is_interlaced or self.is_whole:
            return 0.0
        return min(1.0, 1 / max(self.fields, 1.0))

    @property
    def band(self) -> float:
        """Standard uncertainty of light, relative: a part of the picture has one field more than the rest."""
        many = max(self.fields, 1.0)
        share = self.fields % 1.0
        near = min(share, 1 - share)
        # A noted exposure is not known to a field where it holds many.
        near = min(0.5, near + _NOTED * many)
        return float(np.sqrt(near * (1 - near))) / many

    @property
    def words(self) -> str:
        """The exposure, as '1/60 s, 1.0 fields of 59.94 Hz'."""
        return (
            f"{seconds_words(self.seconds)}, {figure(self.fields, 1).lstrip('+')} fields of {self.field_rate_hz:.4g} Hz"
        )

    @property
    def advised(self) -> str:
        """An exposure that is right."""
        many = 2 if self.is_interlaced else 1
        frame = many / self.field_rate_hz
        return f"1/{round(1 / frame)} s, or half a second or more"


def seconds_words(seconds: float) -> str:
    """As a camera shows it: '1/60 s', '0.5 s'."""
    if seconds >= 0.4:
        return f"{seconds:g} s"
    return f"1/{float(1 / Fraction(seconds).limit_denominator(100000)):.3g} s"


def field_shifts(v: Floats) -> Floats:
    """(patterns, rows): how lines at v, -1 to 1, may lie in half lines where one field alone is seen.

    The shutter opens while some line is drawn: lines above it are of one field, those below it of the other. Where that
    is, is not known, so of two lines the shifts are as alike as the way between them is short. Squares add up.
    """
    together = 1 - np.abs(v[:, None] - v[None, :])
    values, vectors = np.linalg.eigh(together)
    most = np.argsort(values)[::-1][:_PATTERNS]
    return np.asarray((vectors[:, most] * np.sqrt(np.clip(values[most], 0, None))).T)
