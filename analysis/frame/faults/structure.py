"""What a chain did to edges and to fields: sharpness along the lines, and how the lines of two fields lie together.

Both are told from mean profiles of the frame against those of the drawn raster, in place.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.place.axes import Axis, Registration
from analysis.frame.place.profiles import Profile, band_profiles

__all__ = ["FieldStructure", "Response", "chroma_response", "field_structure", "luma_response"]

Floats = NDArray[np.float64]

_TAPS = 4
"""Raster samples (of chroma: pairs) on both sides that a chain's filter is taken to reach."""
_LUMA_CYCLES, _CHROMA_CYCLES = 0.15, 0.075
"""Cycles per raster sample at which the response is told. Shaped edges hold little above twice that."""
_BANDS = 6
_COLUMN_BANDS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """What is left of a fine sine along the lines, as a factor, with its standard uncertainty."""

    factor: float
    uncertainty: float
    plain: float
    """Criterion of the drawn edges as they are, and"""
    filtered: float
    """with the filter that was found: the lower accounts better for what is seen."""


_LEAST_EDGE = 0.01
"""What an edge rises by from sample to sample at least, in fractions of white: a ramp's single codes are none."""


def luma_response(luma: Any, drawn: Any, registration: Registration, down: bool = False) -> Response | None:
    """The response along the lines, or down the picture, from luma, (rows, columns). None where no edge tells it."""
    along, other = (registration.y, registration.x) if down else (registration.x, registration.y)
    captured, reference = band_profiles(luma, drawn, 0 if down else 1, other, _BANDS)
    return _response(captured, reference, along, 1.0, _LUMA_CYCLES)


def chroma_response(chroma: Any, drawn: Any, registration: Registration, step: tuple[int, int]) -> Response | None:
    """The same from a chroma plane against one that is drawn at every luma sample; `step` is the plane's subsampling.

    A subsampled plane is taken as co-sited with the first luma sample of each pair (BT.601).
    """
    x, y = _thinner(registration.x, step[0], 0.25), _thinner(registration.y, step[1], 0.0)
    captured, reference = band_profiles(chroma, drawn, 1, y, _BANDS)
    return _response(captured, reference, x, 2.0, _CHROMA_CYCLES)


def _thinner(axis: Axis, step: int, siting: float) -> Axis:
    return Axis(
        scale=axis.scale / step,
        offset=axis.offset / step + (siting if step > 1 else 0.0),
        raster=axis.raster,
        frame=-(-axis.frame // step),
    )


def _response(captured: Floats, reference: Floats, axis: Axis, spacing: float, cycles: float) -> Response | None:
    """The symmetric filter that makes the captured slopes of the drawn ones, by least squares over all bands."""
    profile, count = Profile(reference), captured.shape[1]
    margin = math.ceil((_TAPS * spacing + 2) * max(axis.scale, 1.0))
    if count < 4 * margin:
        return None
    inside = slice(margin, count - 1 - margin)

    def slopes(shift: float) -> Floats:
        places: Floats = (np.arange(count, dtype=np.float64) + 0.5 - axis.offset) / axis.scale + shift
        drawn: Floats = np.diff(profile.at(places, 1 / axis.scale), axis=1)[:, inside]
        return drawn.ravel()

    columns = [slopes(0.0)] + [slopes(k * spacing) + slopes(-k * spacing) for k in range(1, _TAPS + 1)]
    design = np.stack(columns, axis=1)
    if float(np.max(np.abs(design[:, 0]))) < _LEAST_EDGE:
        return None
    seen = np.diff(captured, axis=1)[:, inside].ravel()
    # What the edges do not hold is not told by them: a little of every tap is held to nothing.
    normal = design.T @ design
    normal += 1e-4 * normal[0, 0] * np.diag([0.0] + [1.0] * _TAPS)
    inverse = np.linalg.inv(normal)
    taps = inverse @ (design.T @ seen)
    rest = seen - design @ taps
    turns = np.cos(2 * np.pi * cycles * spacing * np.arange(_TAPS + 1)) * ([1.0] + [2.0] * _TAPS)
    whole = np.array([1.0] + [2.0] * _TAPS)
    total = float(whole @ taps)
    if abs(total) < 1e-3:
        return None
    factor = float(turns @ taps) / total
    slope = (turns - factor * whole) / total
    variance = float(rest @ rest) / max(1, len(seen) - _TAPS - 1)
    spread = float(slope @ inverse @ slope) * variance
    ones = design[:, :1] @ np.linalg.lstsq(design[:, :1], seen, rcond=None)[0]
    floor = 1e-12 * len(seen)
    return Response(
        factor=factor,
        uncertainty=math.sqrt(max(spread, 0.0)),
        plain=len(seen) * math.log(float(np.sum((seen - ones) ** 2)) + floor),
        filtered=len(seen) * math.log(float(rest @ rest) + floor) + _TAPS * math.log(len(seen)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldStructure:
    """How the two fields of an interlaced raster lie in the frame."""

    kind: str
    """'woven' as drawn, 'swapped', 'one field', 'blended', or 'scaled' where lines cannot be told apart."""
    gain: float = 0.0
    """What the kind betters the criterion by, against woven."""
    taps: tuple[tuple[float, ...], tuple[float, ...]] | None = None
    """What even and odd rows are made of: weights of the drawn rows from `_REACH` above to `_REACH` below."""

    @property
    def is_wrong(self) -> bool:
        return self.taps is not None

    def rows(self, drawn: Any) -> Any:
        """The raster, (rows, columns), as a chain that treats its fields so would give it."""
        if self.taps is None:
            return drawn
        changed = np.empty_like(drawn)
        for parity, taps in enumerate(self.taps):
            at = np.arange(parity, len(drawn), 2)
            changed[at] = sum(
                np.float32(weight) * drawn[np.clip(at + k - _REACH, 0, len(drawn) - 1)] for k, weight in enumerate(taps)
            )
        return changed


_REACH = 4
"""Rows above and below that a deinterlacer is taken to look at."""
_LOST = 4
"""Lines up and down that a frame is looked for where its place down is not told."""
_RESCALED = 0.01
"""By how much a raster that was found well has to be scaled down the picture to have no lines of its own left."""
_MOST = 40_000
"""Samples of each field that are looked at."""
_LEAST_CHANGE = 1.5e-4
"""Mean square, in fractions of white, by which a treatment of fields has to differ from none."""


def field_structure(luma: Any, drawn: Any, registration: Registration, filtered: bool = False) -> FieldStructure:
    """How the fields lie, from luma, (rows, columns), of a frame with the raster's own lines.

    Each field's rows are taken for weighted sums of the drawn rows around them, by least squares: as they are, all
    rows with the same weights, or each field with its own. `filtered` says that edges across are softer or sharper
    too: then a filter down the picture is no matter of fields.
    """
    x, y = registration.x, registration.y
    if (y.frame != y.raster and abs(y.scale - 1) > 2e-3) or y.frame < 32:
        return FieldStructure(kind="scaled")
    if y.found and abs(y.scale - 1) > _RESCALED and y.fit > 0.8:
        # Every line is computed of several: no field is left to be seen.
        return FieldStructure(kind="scaled")
    if x.is_identity or (x.frame == x.raster and abs(x.scale - 1) < 1e-3 and abs(x.offset) < 0.3):
        captured, rows = luma, drawn
    else:
        bands, reference = band_profiles(luma, drawn, 0, x, _COLUMN_BANDS)
        captured, rows = bands.T, reference.T
    # Where a registration went astray because of the fields, the lines still lie where they were.
    shifts = {0} | ({round(y.offset)} if abs(y.scale - 1) < 2e-3 else set())
    if not y.found:
        # Labels alone do not tell the place down, but they show the fields wherever they are.
        shifts |= set(range(-_LOST, _LOST + 1))
    accounts = (_Fields.of(captured, rows, lines) for lines in sorted(shifts, key=abs))
    found = [fields for fields in accounts if fields is not None]
    if not found:
        return FieldStructure(kind="woven")
    # Of places that do as well one where the rows are as drawn, then the one that is not moved.
    most = 1.01 * min(fields.misfit for fields in found) + 1e-6
    plain = (fields for fields in found if fields.plain_left / fields.samples <= most)
    as_well = (fields for fields in found if fields.misfit <= most)
    return next(itertools.chain(plain, as_well)).structure(filtered)


@dataclass(frozen=True, slots=True)
class _Rows:
    """Weights for some rows, and how well they do."""

    taps: Floats
    left: float
    """Sum of squares."""
    criterion: float

    @property
    def change(self) -> float:
        """What the weights of other rows add up to."""
        return float(np.sum(np.abs(np.delete(self.taps, _REACH))))


@dataclass(frozen=True, slots=True)
class _Fields:
    """The three accounts of how rows came about."""

    plain: float
    """Criterion, and"""
    plain_left: float
    """sum of squares of rows that are as drawn."""
    common: _Rows
    own: tuple[str, _Rows, _Rows]
    """The best account that treats the fields apart, or mixes them: its kind, even rows and odd rows."""
    samples: int
    spread: float
    """Sum of squares of what is seen."""

    @property
    def criterion(self) -> float:
        return self.own[1].criterion + self.own[2].criterion

    @property
    def left(self) -> float:
        return self.own[1].left + self.own[2].left

    @property
    def misfit(self) -> float:
        """Mean square of what the best account leaves."""
        return min(self.left, self.plain_left) / self.samples

    @classmethod
    def of(cls, captured: Any, drawn: Any, lines: int) -> _Fields | None:
        count = len(drawn)
        steep = np.zeros(drawn.shape, bool)
        for k in (-2, -1, 1, 2):
            steep |= np.abs(drawn - drawn[np.clip(np.arange(count) + k, 0, count - 1)]) > 0.02
        at_row, at_column = np.nonzero(steep)
        # The frame's first and last rows are a converter's guess.
        seen_row = at_row + lines
        inside = (at_row >= _REACH) & (at_row < count - _REACH) & (seen_row >= 3) & (seen_row < len(captured) - 3)
        at_row, at_column, seen_row = at_row[inside], at_column[inside], seen_row[inside]
        sides = []
        for parity in (0, 1):
            where = np.flatnonzero(at_row % 2 == parity)
            where = where[:: max(1, len(where) // _MOST)]
            if len(where) < 32:
                return None
            around = np.stack(
                [drawn[at_row[where] + k, at_column[where]] for k in range(-_REACH, _REACH + 1)], axis=1
            ).astype(np.float64)
            sides.append((around, captured[seen_row[where], at_column[where]].astype(np.float64)))
        both = np.concatenate([sides[0][0], sides[1][0]]), np.concatenate([sides[0][1], sides[1][1]])
        plain = _fit_rows(*both, taps=_IDENTITY)
        tried: list[tuple[str, _Rows, _Rows]] = []
        for kind, (first, second) in _WAYS:
            tried.append((kind, _fit_rows(*sides[0], taps=first), _fit_rows(*sides[1], taps=second)))
        even, odd = (_fit_rows(*side) for side in sides)
        if min(even.change, odd.change) < 0.5 * max(even.change, odd.change):
            tried.append(("one field", even, odd))
        common = _fit_rows(*both)
        straight = abs(float(np.arange(-_REACH, _REACH + 1) @ common.taps)) < 0.1
        near = common.taps[_REACH - 1] + common.taps[_REACH + 1]
        # A mixture of lines takes from each something of its own.
        if straight and near > 0.2 and common.taps[_REACH] > 0.1 and common.taps.min() > -0.15:
            half = replace(common, left=common.left / 2, criterion=common.criterion / 2)
            tried.append(("blended", half, half))
        return cls(
            plain=plain.criterion,
            plain_left=plain.left,
            common=common,
            own=min(tried, key=lambda one: one[1].criterion + one[2].criterion),
            samples=len(both[1]),
            spread=float(np.sum((both[1] - both[1].mean()) ** 2)),
        )

    def structure(self, filtered: bool) -> FieldStructure:
        kind, even, odd = self.own
        # A filter down the picture that is one across as well is no matter of fields.
        rival, rival_left = self.plain, self.plain_left
        if filtered and self.common.criterion <= rival:
            rival, rival_left = self.common.criterion, self.common.left
        gain, change = rival - self.criterion, (rival_left - self.left) / self.samples
        if gain > 30 and change > _LEAST_CHANGE and self.left < 0.5 * self.spread:
            return FieldStructure(
                kind=kind, gain=gain, taps=(tuple(map(float, even.taps)), tuple(map(float, odd.taps)))
            )
        return FieldStructure(kind="woven")


def _weights(**rows: float) -> Floats:
    taps = np.zeros(2 * _REACH + 1)
    for name, weight in rows.items():
        taps[_REACH + {"above": -1, "own": 0, "below": 1}[name]] = weight
    return taps


_IDENTITY = _weights(own=1)
_ABOVE, _BELOW, _MEAN = _weights(above=1), _weights(below=1), _weights(above=0.5, below=0.5)
_BLEND = _weights(above=0.25, own=0.5, below=0.25)
_WAYS: tuple[tuple[str, tuple[Floats, Floats]], ...] = (
    ("swapped", (_BELOW, _ABOVE)),
    ("one field", (_IDENTITY, _ABOVE)),
    ("one field", (_BELOW, _IDENTITY)),
    ("one field", (_IDENTITY, _MEAN)),
    ("one field", (_MEAN, _IDENTITY)),
    ("blended", (_BLEND, _BLEND)),
)
"""What chains do to fields as a rule: what even rows are made of, and odd ones."""


def _fit_rows(around: Floats, seen: Floats, taps: Floats | None = None) -> _Rows:
    """Weights of the rows around, (samples, rows), that make what is seen; contrast and black are free.

    With `taps` only those are. A little is held to the row itself: where two rows of a mark are alike, nothing tells
    which one was taken.
    """
    count = len(seen)
    own = around[:, _REACH] if taps is None else around @ taps
    columns = [own, np.ones_like(own)]
    if taps is None:
        columns += [around[:, k] - own for k in range(2 * _REACH + 1) if k != _REACH]
    design = np.stack(columns, axis=1)
    normal = design.T @ design
    power = float(np.var(own)) * count
    normal += np.diag([1e-9 * count] * 2 + [2e-3 * power] * (design.shape[1] - 2))
    weights = np.linalg.solve(normal, design.T @ seen)
    left = float(np.sum((seen - design @ weights) ** 2))
    if taps is None:
        taps = np.zeros(2 * _REACH + 1)
        if abs(weights[0]) > 1e-3:
            taps[[k for k in range(2 * _REACH + 1) if k != _REACH]] = weights[2:] / weights[0]
        taps[_REACH] = 1 - taps.sum()
    return _Rows(taps, left, count * math.log(left / count + 1e-7) + design.shape[1] * math.log(count))
