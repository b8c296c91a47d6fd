"""What a chain did to edges and to fields: sharpness along the lines, and how the lines of two fields lie together.

Both are told from mean profiles of the frame against those of the drawn raster, in place.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.place import Axis, Registration
from analysis.register import Profile, band_profiles

__all__ = ["FieldStructure", "Response", "chroma_response", "field_structure", "luma_response", "woven_rows"]

Floats = NDArray[np.float64]

_TAPS = 4
"""Raster samples (of chroma: pairs) on both sides that a chain's filter is taken to reach."""
_LUMA_CYCLES, _CHROMA_CYCLES = 0.15, 0.075
"""Cycles per raster sample at which the response is told. Shaped edges hold little above twice that."""
_BANDS = 6
_COLUMN_BANDS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Response:
    """What is left of a sine of `cycles` per raster sample, as a factor, with its standard uncertainty."""

    factor: float
    uncertainty: float
    cycles: float
    plain: float
    """Criterion of the drawn edges as they are, and"""
    filtered: float
    """with the filter that was found: the lower accounts better for what is seen."""


def luma_response(luma: Any, drawn: Any, registration: Registration) -> Response | None:
    """The response along the lines, from luma, (rows, columns). None where no edge tells it."""
    captured, reference = band_profiles(luma, drawn, 1, registration.y, _BANDS)
    return _response(captured, reference, registration.x, 1.0, _LUMA_CYCLES)


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
        places = (np.arange(count) + 0.5 - axis.offset) / axis.scale + shift
        drawn: Floats = np.diff(profile.at(places, 1 / axis.scale), axis=1)[:, inside]
        return drawn.ravel()

    columns = [slopes(0.0)] + [slopes(k * spacing) + slopes(-k * spacing) for k in range(1, _TAPS + 1)]
    design = np.stack(columns, axis=1)
    if float(np.max(np.abs(design[:, 0]))) < 0.004:
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
        cycles=cycles,
        plain=len(seen) * math.log(float(np.sum((seen - ones) ** 2)) + floor),
        filtered=len(seen) * math.log(float(rest @ rest) + floor) + _TAPS * math.log(len(seen)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldStructure:
    """How the two fields of an interlaced raster lie in the frame."""

    kind: str
    """'woven' as drawn, 'swapped', 'one field', 'blended', or 'scaled' where lines cannot be told apart."""
    way: str = ""
    gain: float = 0.0
    """What the kind betters the criterion by, against woven."""


def woven_rows(rows: Floats, way: str) -> Floats:
    """The raster's rows, (rows, ...), as a chain that treats fields in a certain way would give them."""
    if way == "swapped":
        return rows[_pairs(len(rows))]
    above, below = rows[_clipped(len(rows), -1)], rows[_clipped(len(rows), 1)]
    parity = (np.arange(len(rows)) % 2).reshape((-1,) + (1,) * (rows.ndim - 1))
    changed: Floats
    if way in ("top doubled", "bottom doubled"):
        keep = 0 if way.startswith("top") else 1
        changed = np.where(parity == keep, rows, above if keep == 0 else below)
    elif way in ("top interpolated", "bottom interpolated"):
        keep = 0 if way.startswith("top") else 1
        changed = np.where(parity == keep, rows, (above + below) / 2)
    elif way == "blended 1-2-1":
        changed = (above + 2 * rows + below) / 4
    elif way == "blended 1-1":
        changed = (rows + below) / 2
    else:
        changed = rows
    return changed


_WAYS = (
    "swapped",
    "top doubled",
    "bottom doubled",
    "top interpolated",
    "bottom interpolated",
    "blended 1-2-1",
    "blended 1-1",
)
_KINDS = {"swapped": "swapped", "blended 1-2-1": "blended", "blended 1-1": "blended"}


def _pairs(count: int) -> NDArray[np.intp]:
    places = np.arange(count) ^ 1
    return np.minimum(places, count - 1)


def _clipped(count: int, shift: int) -> NDArray[np.intp]:
    places: NDArray[np.intp] = np.clip(np.arange(count) + shift, 0, count - 1)
    return places


def field_structure(luma: Any, drawn: Any, registration: Registration, filtered: bool = False) -> FieldStructure:
    """How the fields lie, from luma, (rows, columns), of a frame with the raster's own lines.

    `filtered` says that edges across are softer or sharper too: then a filter down the picture is no matter of fields.
    Only samples that one treatment or another of the fields would change are looked at.
    """
    x, y = registration.x, registration.y
    if (y.frame != y.raster and abs(y.scale - 1) > 2e-3) or y.frame < 32:
        return FieldStructure(kind="scaled")
    if x.is_identity or (x.frame == x.raster and abs(x.scale - 1) < 1e-3 and abs(x.offset) < 0.3):
        captured, rows = luma, drawn
    else:
        bands, reference = band_profiles(luma, drawn, 0, x, _COLUMN_BANDS)
        captured, rows = bands.T, reference.T
    # Where a registration went astray because of the fields, the lines still lie where they were.
    shifts = {0} | ({round(y.offset)} if abs(y.scale - 1) < 2e-3 else set())
    changed = {way: woven_rows(rows, way) for way in ("woven", *_WAYS)}
    active = np.max([np.abs(changed[way] - rows) for way in _WAYS], axis=0) > 0.02
    active[:3] = active[-3:] = False
    if active.sum() < 16:
        return FieldStructure(kind="woven")
    scores = {way: min(_left(captured, changed[way], active, lines) for lines in shifts) for way in changed}
    woven = scores["woven"]
    profile = Profile(rows.T)
    # A shift by a part of a line, and a filter down the picture, are no matter of fields.
    placed = profile.at((np.arange(y.frame) + 0.5 - y.offset) / y.scale, 1 / y.scale).T
    if y.frame == len(rows):
        woven = min(woven, _left(captured, placed, active, 0))
        if filtered:
            woven = min(woven, _left(captured, _filtered(captured.T, placed.T).T, active, 0))
    best = min(_WAYS, key=lambda way: scores[way])
    gain = int(active.sum()) * math.log((woven + 1e-7) / (scores[best] + 1e-7))
    if gain < 30 or scores[best] > 0.8 * woven:
        return FieldStructure(kind="woven")
    return FieldStructure(kind=_KINDS.get(best, "one field"), way=best, gain=gain)


def _left(captured: Any, drawn: Any, active: Any, lines: int) -> float:
    """Mean square of what a drawn raster, `lines` down, leaves of the active samples; contrast and black are free."""
    count = min(len(captured), len(drawn))
    first, last = max(lines, 0), min(count, count + lines)
    seen, wanted = captured[first:last], drawn[first - lines : last - lines]
    where = active[first - lines : last - lines]
    own, sent = seen[where].astype(np.float64), wanted[where].astype(np.float64)
    if len(own) < 16:
        return 1.0
    design = np.stack([sent, np.ones_like(sent)], axis=1)
    left = np.linalg.lstsq(design, own, rcond=None)[1]
    return float(left[0]) / len(own) if len(left) else float(np.var(own))


def _filtered(captured: Floats, drawn: Floats) -> Floats:
    """The drawn bands with the symmetric filter that comes nearest to the captured ones."""
    reach = 5
    padded = np.pad(drawn, ((0, 0), (reach, reach)), mode="edge")
    count = drawn.shape[1]
    columns = [drawn.ravel()]
    columns += [
        (padded[:, reach - k : reach - k + count] + padded[:, reach + k : reach + k + count]).ravel()
        for k in range(1, reach + 1)
    ]
    design = np.stack([*columns, np.ones(drawn.size)], axis=1)
    taps = np.linalg.lstsq(design, captured.ravel(), rcond=1e-8)[0]
    mixed: Floats = (design @ taps).reshape(drawn.shape)
    return mixed
