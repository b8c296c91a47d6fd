"""The levels of a frame: each patch of the named pattern, measured and held against the standards' equations.

What is expected comes from the pattern's scene and `Signal.codes`, never from a drawn picture.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.place.axes import Axis, Registration
from analysis.frame.tolerance import EXACT, GOOD, Tolerance
from analysis.statistics import MAD_TO_SIGMA, Statistics
from patterns.formats import Format
from patterns.placement import Span, patch_area
from patterns.scene import Patch, Scene
from patterns.signal import Colour, Matrix, Range, Signal
from patterns.standards.colour import Matrix as MatrixCode
from render.decode import Picture, open_video
from render.errors import FileError
from render.patches import FEWEST_SAMPLES, MARGIN_LINES, MARGIN_SAMPLES, is_luma_only

__all__ = [
    "AREA_PERCENT",
    "Capture",
    "Check",
    "Frame",
    "Reading",
    "Reference",
    "check_levels",
    "frame_signal",
    "read_frame",
]

_MATRICES: dict[int | None, Matrix] = {
    MatrixCode.BT709: Matrix.BT709,
    MatrixCode.BT470BG: Matrix.BT601,
    MatrixCode.SMPTE170M: Matrix.BT601,
}
_SNOW = 0.12
"""Noise, in fractions of white, with which no patch passes."""
AREA_PERCENT = 6.0
"""Percent of white that a line's area may differ in a frame scaled without fault: cubic filters do it by 5."""
_UNEVEN = 0.03
"""Share of the codes by which the ground on both sides of a line may differ."""
_LINE_REACHES = (4, 3, 2)
"""Raster lines above and below a line that its light may have spread over; less where another mark is near."""


Triple = tuple[float | None, float | None, float | None]
"""A figure for each component; None where a patch is too fine for subsampled chroma."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One frame of a file, and what the file says of itself."""

    path: Path
    index: int
    picture: Picture
    codec: str
    provenance: dict[str, str]
    is_still: bool = False
    """Whether the file is a still picture."""


@dataclass(frozen=True, kw_only=True)
class Reference:
    """What a frame is compared with: a scene in the format and the signal that carry it."""

    scene: Scene
    format: Format
    signal: Signal

    @cached_property
    def has_colour(self) -> bool:
        """Whether a patch of the scene is not neutral."""
        return not all(patch.colour.is_neutral for patch in self.scene.patches)


class Capture(StrEnum):
    """How a frame came to be, by its noise."""

    DIGITAL = "digital"
    ANALOGUE = "analogue"


_ANALOGUE_NOISE = 0.75
"""Noise of a frame, in codes of 8 bits, above which a frame is taken to have come by an analogue way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A patch as measured. Every triple is in the order of the signal's components, in codes of the frame's depth."""

    name: str
    expected: tuple[int, int, int]
    measured: Triple
    """Medians, between the codes where there is noise; of a sloped patch the means."""
    mean: Triple
    between: Triple
    """Medians between the codes, of a sloped patch the means: what a diagnosis goes by."""
    noise: Triple
    """Standard deviations of the samples, without outliers."""
    lowest: Triple
    highest: Triple
    error: Triple
    passed: bool
    uncertainty: Triple
    """Standard uncertainty of `measured`, from the samples."""
    box: tuple[float, float, float, float]
    """Left, top, right and bottom of what was measured, in samples and lines of the frame."""
    sent: Colour
    """The patch's colour."""
    by_area: bool
    """Whether it is a line that was measured by its area, and passes within `AREA_PERCENT`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """The verdict on a frame's levels."""

    passed: bool
    is_exact: bool
    """Whether every patch is within a code of 8 bits, in a frame whose samples are the raster's own."""
    signal: Signal
    registration: Registration
    readings: tuple[Reading, ...]
    tolerance: Tolerance
    capture: Capture
    noise: float
    """Noise that three quarters of the patches stay under, in codes of 8 bits."""
    skipped: tuple[str, ...]
    """Patches too small to be measured in this frame."""
    tells_something: bool
    """False when every measured patch is mere ground, on which a black frame would pass too."""


def read_frame(path: Path, index: int = 0) -> Frame:
    """Frame `index` of a picture or video file, counted from 0, with the file's own codes.

    Raises:
        FileError: the file cannot be read, or ends before that frame.
    """
    with open_video(path) as video:
        codec, provenance, shown = video.codec, video.provenance, 0
        for picture in video.pictures():
            if shown == index:
                words = dict(provenance.fields) if provenance else {}
                return Frame(
                    path=path, index=index, picture=picture, codec=codec, provenance=words, is_still=video.is_still
                )
            shown += 1
    raise FileError(f"{path}: frame {index} is asked for, the file has {shown} (counted from 0)")


def frame_signal(
    frame: Frame, *, code_range: Range | None = None, matrix: Matrix | None = None, default_matrix: Matrix
) -> Signal:
    """The signal that the frame should carry.

    Range and matrix are the ones asked for, else the file's own tags, else what a file of ours says in words; else full
    range for R'G'B' and narrow for Y'CbCr, and `default_matrix`. A JPEG picture is full-range BT.601 whatever it shows
    (JFIF; Rec. ITU-T T.871).
    """
    tags = frame.picture.tags
    told = frame.provenance
    if frame.codec == "mjpeg":
        default_matrix = Matrix.BT601
    elif tags.matrix in _MATRICES:
        default_matrix = _MATRICES[tags.matrix]
    elif told.get("matrix") in tuple(Matrix):
        default_matrix = Matrix(told["matrix"])
    if code_range is None:
        code_range = tags.range or (Range(told["range"]) if told.get("range") in tuple(Range) else None)
    if code_range is None:
        code_range = Range.FULL if tags.sampling.is_rgb else Range.NARROW
    return Signal(range=code_range, matrix=matrix or default_matrix, bits=tags.bits, sampling=tags.sampling)


def check_levels(
    frame: Frame,
    reference: Reference,
    tolerance: Tolerance | None = None,
    registration: Registration | None = None,
    *,
    by_area: bool = False,
) -> Check:
    """Measure every patch of the reference's scene in the frame.

    Without a registration a frame of another size than the format's raster is taken as the whole raster scaled to it.
    Without a tolerance it is judged by `GOOD`. `by_area` measures lines by their area, as is always
    done where the frame's samples are not the raster's own.
    """
    planes = frame.picture.planes
    scene, signal = reference.scene, reference.signal
    height, width = planes[0].shape
    place = registration or Registration.whole(reference.format, width, height)
    by_area |= not place.is_identity
    every = [_measured(planes, patch, reference, place, by_area) for patch in scene.patches]
    found = [one for one in every if one is not None]
    step = 1 << (signal.bits - 8)
    # A patch at the end of the codes has half its noise cut off; most patches, and most components, have not.
    noises = [max(part.noise for part in one.parts) for one in found if not one.patch.sloped]
    noises = noises or [_down_noise(planes[0], one.span) for one in found]
    noise = float(np.percentile(noises, 75)) / step if any(noises) else 0.0
    capture = Capture.ANALOGUE if noise > _ANALOGUE_NOISE else Capture.DIGITAL
    judged = tolerance or GOOD
    readings = tuple(_reading(one, signal, judged) for one in found)
    return Check(
        passed=bool(readings) and all(reading.passed for reading in readings),
        is_exact=capture is Capture.DIGITAL and place.is_identity and _all_within(readings, EXACT.limits(signal)),
        signal=signal,
        registration=place,
        readings=readings,
        tolerance=judged,
        capture=capture,
        noise=noise,
        skipped=tuple(patch.name for patch, one in zip(scene.patches, every, strict=True) if one is None),
        tells_something=not scene.shapes or any(one.patch.colour != scene.background for one in found),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Measured:
    """A patch with its statistics."""

    patch: Patch
    parts: list[Statistics]
    """One for each plane: luma alone where the patch is too fine for subsampled chroma."""
    span: Span
    """What was measured, in samples of the first plane."""
    by_area: bool
    """Whether it is a line whose level is from its area."""


def _measured(
    planes: Sequence[NDArray[Any]], patch: Patch, reference: Reference, place: Registration, by_area: bool
) -> _Measured | None:
    """The patch in each plane; None where too few samples are in view.

    What is measured lies in the patch wherever a frame's sample reaches: further from its edges the softer they are.
    """
    fmt, signal = reference.format, reference.signal
    soft_x, soft_y = (axis.softness / axis.scale for axis in (place.x, place.y))
    # Down the picture edges are sharp as drawn, but for subsampled chroma: without it there is room for some softness.
    down = max(MARGIN_LINES, MARGIN_LINES * reference.has_colour + math.ceil(3 * soft_y))
    span = patch_area(fmt, patch, MARGIN_SAMPLES + math.ceil(3 * soft_x), down)
    if by_area:
        span = _clear_of_raster(span, patch, fmt)
    by_area = by_area and patch.thin
    drawn = patch_area(fmt, patch, 0, 0)
    parts: list[Statistics] = []
    spans: list[Span] = []
    for i, plane in enumerate(planes[: 1 if is_luma_only(patch, signal.sampling) else 3]):
        step_x, step_y = signal.sampling.chroma_step if i > 0 else (1, 1)
        left, right = _inside(span.left, span.right, place.x, step_x, plane.shape[1])
        if by_area:
            top, bottom = ((place.y.scale * edge + place.y.offset) / step_y for edge in (drawn.top, drawn.bottom))
            line = _Line(
                columns=plane[:, left:right], top=top, bottom=bottom, scale=place.y.scale / step_y, bits=signal.bits
            )
            reaches = ((lines * place.y.scale + 2.2 * place.y.softness) / step_y for lines in _LINE_REACHES)
            statistics = next((one for reach in reaches if (one := line.statistics(reach)) is not None), None)
            if statistics is None:
                return None
            first, last = int(top), math.ceil(bottom)
        else:
            first, last = _inside(span.top, span.bottom, place.y, step_y, plane.shape[0])
            part = plane[first:last, left:right]
            if part.size < FEWEST_SAMPLES:
                return None
            statistics = Statistics.of(part)
        parts.append(statistics)
        spans.append(Span(left=left, top=first, right=right, bottom=last))
    return _Measured(patch=patch, parts=parts, span=spans[0], by_area=by_area)


def _down_noise(plane: NDArray[Any], span: Span) -> float:
    """Noise of a piece of an upright gradient: of neighbours down a column, which were sent alike."""
    part = plane[span.top : span.bottom, span.left : span.right].astype(np.float64)
    if len(part) < 2:
        return 0.0
    # A border across the column is no noise.
    return float(MAD_TO_SIGMA * np.median(np.abs(np.diff(part, axis=0))) / math.sqrt(2))


def _clear_of_raster(span: Span, patch: Patch, fmt: Format) -> Span:
    """Away from the raster's own edges, which in a frame with borders are edges too."""
    return Span(
        left=max(span.left, MARGIN_SAMPLES),
        top=span.top if patch.thin else max(span.top, MARGIN_LINES),
        right=min(span.right, fmt.width - MARGIN_SAMPLES),
        bottom=span.bottom if patch.thin else min(span.bottom, fmt.height - MARGIN_LINES),
    )


def _inside(low: int, high: int, axis: Axis, step: int, count: int) -> tuple[int, int]:
    """Whole samples of a plane that lie between two raster positions."""
    first = math.ceil((axis.scale * low + axis.offset) / step - 1e-6)
    last = math.floor((axis.scale * high + axis.offset) / step + 1e-6)
    return min(max(first, 0), count), min(max(last, 0), count)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """A horizontal line in a frame that was scaled, softened or sharpened."""

    columns: NDArray[Any]
    """(rows, columns) of a plane: the columns that the line covers."""
    top: float
    bottom: float
    """Where it was drawn, in rows of the plane."""
    scale: float
    """Rows of the plane for a line of the raster."""
    bits: int

    def statistics(self, reach: float) -> Statistics | None:
        """Its level; None where another mark is within `reach` rows, or too little is in view.

        Its height is lost, but not its area: what stands above the ground on both sides, summed down each column, over
        the line's own thickness.
        """
        rows, count = self.columns.shape
        first, last = math.floor(self.top - reach), math.ceil(self.bottom + reach)
        edge = max(1, round(self.scale))
        if first - edge < 0 or last + edge > rows or count < FEWEST_SAMPLES:
            return None
        above, below = (self.columns[at : at + edge].astype(np.float64).mean(axis=0) for at in (first - edge, last))
        if abs(float(np.median(above - below))) > _UNEVEN * (1 << self.bits):
            # Another mark is near: what stands above the ground is not the line's alone.
            return None
        level = (above + below) / 2
        rise = self.columns[first:last].astype(np.float64).sum(axis=0) - level * (last - first)
        return Statistics.of_values(level + rise / (self.bottom - self.top))


def _reading(found: _Measured, signal: Signal, tolerance: Tolerance) -> Reading:
    patch, parts, span = found.patch, found.parts, found.span
    limits: Sequence[float] = tolerance.limits(signal)
    if found.by_area:
        # A converter's filter does not keep a line's area exactly.
        least = Tolerance(value=AREA_PERCENT, percent=True).limits(signal)
        limits = [max(pair) for pair in zip(limits, least, strict=True)]
    expected = signal.codes(patch.colour)
    if patch.sloped:
        measured, wanted = [f.mean for f in parts], [float(value) for value in signal.exact(patch.colour)]
    else:
        noisy = 0.5 * (1 << (signal.bits - 8))
        measured = [f.between if f.noise > noisy else f.median for f in parts]
        wanted = [float(code) for code in expected]
    error = [got - want for got, want in zip(measured, wanted, strict=False)]
    # The middle of mere noise tells no level.
    snow = not patch.sloped and parts[0].noise * (signal.fraction_of(0, 1) - signal.fraction_of(0, 0)) > _SNOW
    return Reading(
        name=patch.name,
        expected=expected,
        measured=_triple(measured),
        mean=_triple([f.mean for f in parts]),
        between=_triple([f.mean if patch.sloped else f.between for f in parts]),
        noise=_triple([f.noise for f in parts]),
        lowest=_triple([f.lowest for f in parts]),
        highest=_triple([f.highest for f in parts]),
        error=_triple(error),
        passed=all(abs(value) <= limit for value, limit in zip(error, limits, strict=False)) and not snow,
        uncertainty=_triple([f.uncertainty for f in parts]),
        box=(float(span.left), float(span.top), float(span.right), float(span.bottom)),
        sent=patch.colour,
        by_area=found.by_area,
    )


def _all_within(readings: Sequence[Reading], limits: Sequence[float]) -> bool:
    return bool(readings) and all(
        abs(error) <= limit
        for reading in readings
        for error, limit in zip(reading.error, limits, strict=True)
        if error is not None
    )


def _triple(values: Sequence[float]) -> Triple:
    padded = [*values, None, None]
    return padded[0], padded[1], padded[2]
