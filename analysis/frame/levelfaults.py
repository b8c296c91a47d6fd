"""The levels of a frame whose raster has been found, and the faults of a chain that account for them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.expected import Expected, Subject
from analysis.frame.faults.diagnose import Evidence, diagnose_levels
from analysis.frame.findings import Fault
from analysis.frame.levels import Check, Reading, check_levels
from analysis.frame.place.axes import Registration
from analysis.frame.place.layout import layout_faults
from analysis.frame.sharpness import SCALED_SHARP, SHARP, SOFT, is_altered
from analysis.frame.uneven import Uneven
from patterns.placement import patch_area
from patterns.scene import Gradient, Patch
from render.patches import MARGIN_LINES, MARGIN_SAMPLES

__all__ = ["Levels", "levels_at"]

_SCALED_DOUBT, _LOSSY_DOUBT = 1.5, 2.0
"""How much further off a level may be in a frame that was scaled, and in one coded with loss."""
_NOISY = 1.5
"""Noise, in codes of 8 bits, above which patches are not flat by noise alone: scaling and coding leave less."""
_NEGLIGIBLE = 3.2
"""Codes of 8 bits, 1.25 % of full-range white: a smaller error of adjustment is no fault where 2 % is good."""
_LOSSY = ("mjpeg", "jpeg2000", "webp", "h264", "hevc", "mpeg2video", "mpeg4", "vp8", "vp9", "av1", "prores", "dvvideo")


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """The levels of a frame whose raster lies at `place`, and what accounts for them."""

    place: Registration
    check: Check
    expected: Expected
    """The raster after the chain that accounts for the levels."""
    faults: list[Fault]


def levels_at(expected: Expected, place: Registration, uneven: Uneven) -> Levels:
    subject = expected.subject
    check = check_levels(subject.frame, subject.reference, subject.tolerance, place)
    levels = Levels(place=place, check=check, expected=expected, faults=[])
    if place.is_identity and not expected.fields.is_wrong:
        levels = _diagnosed(levels, uneven.usable(check.readings), by_area=False)
        if not is_altered(levels.expected, place, SOFT, SHARP):
            return levels
    # Thin lines may be weak because they are soft: for the diagnosis they are measured by their area.
    by_area = check_levels(subject.frame, subject.reference, subject.tolerance, place, by_area=True)
    readings = uneven.usable(by_area.readings)
    levels = _diagnosed(levels, readings, by_area=True)
    if is_altered(levels.expected, place, 0.0, SHARP if place.x.is_whole else SCALED_SHARP):
        # What sharpening adds beside a line may be cut at the end of the codes, so its area shows nothing.
        thin = {patch.name for patch in subject.reference.scene.patches if patch.thin}
        thick = [reading for reading in readings if reading.name not in thin]
        if 0 < len(thick) < len(readings):
            levels = _diagnosed(levels, thick, by_area=True)
    return levels


def _diagnosed(levels: Levels, readings: Sequence[Reading], *, by_area: bool) -> Levels:
    """The levels with the chain that accounts best for these readings; without faults where there are none to use."""
    subject, place = levels.expected.subject, levels.place
    if not place.x.found and layout_faults(place, subject.layouts):
        # Where along a gradient a patch lies is not known then, so neither is what it was sent.
        sloped = {patch.name for patch in subject.reference.scene.patches if patch.sloped}
        readings = [reading for reading in readings if reading.name not in sloped]
    if not readings:
        return replace(levels, faults=[])
    diagnosis = diagnose_levels(_evidence(levels, readings, by_area))
    faults = [
        Fault(id=fault.id, confidence=min(1.0, fault.confidence), parameters=fault.parameters, of_levels=True)
        for fault in diagnosis.faults
    ]
    return replace(levels, expected=replace(levels.expected, diagnosis=diagnosis), faults=faults)


def _evidence(levels: Levels, readings: Sequence[Reading], by_area: bool) -> Evidence:
    subject, place = levels.expected.subject, levels.place
    frame, signal = subject.frame, subject.reference.signal
    patches = {patch.name: patch for patch in subject.reference.scene.patches}
    # Where flat patches are not flat, what made them so may have moved them a little too; mere noise does not.
    noise = levels.check.noise
    doubt = 1.0 if (place.is_identity and noise < 0.1) or noise > _NOISY else _SCALED_DOUBT
    if frame.codec in _LOSSY:
        doubt = _LOSSY_DOUBT
    comb, codes = _comb(frame.picture.planes[0], signal.bits)
    slopes = np.zeros((len(readings), 3))
    for i, reading in enumerate(readings):
        if patches[reading.name].sloped:
            slopes[i] = _half_slope(subject, patches[reading.name])
    thin = np.array([patches[reading.name].thin and by_area for reading in readings])
    uncertainty = np.array([[u or 0.0 for u in reading.uncertainty] for reading in readings])
    # A line's area is less certain than its level: converters cut what swings beyond black and white.
    uncertainty[thin] += (
        _area_doubt(subject, place) * np.sqrt(thin.sum())
        + 0.4 * np.array([[n or 0.0 for n in reading.noise] for reading in readings])[thin]
    )
    colours = [reading.sent for reading in readings]
    measured = [[np.nan if value is None else value for value in reading.between] for reading in readings]
    return Evidence(
        rgb=np.array([[float(level) for level in (c.red, c.green, c.blue)] for c in colours]),
        measured=np.array(measured, dtype=np.float64),
        uncertainty=uncertainty,
        slopes=slopes,
        signal=signal,
        comb=comb,
        levels=codes,
        negligible=_NEGLIGIBLE if subject.tolerance is None else 0.0,
        doubt=doubt,
    )


def _area_doubt(subject: Subject, place: Registration) -> float:
    """How far off a line's area may be, in codes: filters keep it the better the finer they sample it."""
    share = 0.006 if place.y.is_whole else 0.02 if place.y.scale > 0.97 else 0.04
    signal = subject.reference.signal
    return share / (signal.fraction_of(0, 1) - signal.fraction_of(0, 0))


def _half_slope(subject: Subject, patch: Patch) -> float:
    """Half of what a gradient's level changes by within a patch, as it was measured."""
    scene, fmt = subject.reference.scene, subject.reference.format
    shape = next(shape for shape in scene.at(Fraction(0)) if isinstance(shape, Gradient))
    span = patch_area(fmt, patch, MARGIN_SAMPLES, MARGIN_LINES)
    width = Fraction(span.right - span.left, fmt.picture.width)
    return float((shape.stop.green - shape.start.green) * width / (shape.right - shape.left)) / 2


def _comb(luma: NDArray[Any], bits: int) -> tuple[int, int]:
    """Low bits, of 8, that are the same in every luma sample, and the number of different codes."""
    codes = np.flatnonzero(np.bincount(luma.ravel(), minlength=1 << bits)).astype(np.int64)
    if len(codes) < 3:
        return 0, len(codes)
    # The highest code may have been cut, and the lowest.
    inner = codes[(codes > 0) & (codes < (1 << bits) - 1)]
    differ = int(np.bitwise_or.reduce(inner ^ inner[0])) if len(inner) else 0
    same = (differ & -differ).bit_length() - 1 if differ else 0
    return max(0, same - (bits - 8)), len(inner)
