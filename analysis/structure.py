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
    """
    y = registration.y
    if abs(y.scale - 1) > 2e-3 or y.frame < 32:
        return FieldStructure(kind="scaled")
    captured, reference = band_profiles(luma, drawn, 0, registration.x, _COLUMN_BANDS)
    rows = reference.T
    count = y.frame
    scores: dict[str, float] = {}
    samples = captured.size
    shift = round(y.offset)
    for way in ("woven", *_WAYS):
        changed = woven_rows(rows, way)
        least = np.inf
        for lines in {0, shift - 1, shift, shift + 1}:
            places = np.arange(count) - lines
            inside = (places >= 0) & (places < len(rows))
            inside[:3] = inside[-3:] = False
            if inside.sum() < count // 2:
                continue
            least = min(least, _left(captured[:, inside], changed[places[inside]].T))
        scores[way] = least
    profile = Profile(reference)
    # A shift by a part of a line, and a filter down the picture, are no matter of fields.
    placed = profile.at((np.arange(count) + 0.5 - y.offset) / y.scale, 1 / y.scale)
    inner = slice(3, count - 3)
    woven = min(scores["woven"], _left(captured[:, inner], placed[:, inner]))
    if filtered:
        woven = min(woven, _left(captured[:, inner], _filtered(captured, placed)[:, inner]))
    best = min(_WAYS, key=lambda way: scores[way])
    floor = 1e-6
    gain = samples * math.log((woven + floor) / (scores[best] + floor))
    moved = float(np.mean((woven_rows(rows, best) - rows) ** 2))
    if gain < 30 or moved < 1e-6 or scores[best] > 0.6 * woven:
        return FieldStructure(kind="woven")
    return FieldStructure(kind=_KINDS.get(best, "one field"), way=best, gain=gain)


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


def _left(captured: Floats, drawn: Floats) -> float:
    """Mean square of what is left of each band, its contrast and black taken as they come."""
    seen = captured - captured.mean(axis=1, keepdims=True)
    wanted = drawn - drawn.mean(axis=1, keepdims=True)
    power = np.sum(wanted**2, axis=1)
    contrast = np.sum(seen * wanted, axis=1) / np.maximum(power, 1e-9)
    rest = seen - np.maximum(contrast, 0.0)[:, None] * wanted
    return float(np.mean(rest**2))
