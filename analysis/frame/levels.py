"""The levels of a frame: each patch of the named pattern, measured and held against the standards' equations.

What is expected comes from the pattern's scene and `Signal.codes`, never from a drawn picture.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.place.axes import Axis, Registration
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
    "Tolerance",
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


class Capture(StrEnum):
    """How a frame came to be; it decides in which unit it is judged."""

    DIGITAL = "digital"
    ANALOGUE = "analogue"


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """The largest error that passes: codes of 8 bits, or percent of white (of chroma's whole swing)."""

    value: float
    percent: bool = False

    def limits(self, signal: Signal) -> tuple[float, float, float]:
        """The limit of each component, in codes of the signal's depth."""
        if not self.percent:
            codes = self.value * (1 << (signal.bits - 8))
            return codes, codes, codes
        first, second, third = (
            self.value / 100 / (signal.fraction_of(i, 1) - signal.fraction_of(i, 0)) for i in range(3)
        )
        return first, second, third


USUAL = {Capture.DIGITAL: Tolerance(value=1.0), Capture.ANALOGUE: Tolerance(value=2.0, percent=True)}
"""What is asked of a frame when nobody says otherwise."""
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
    scene: Scene,
    fmt: Format,
    signal: Signal,
    tolerance: Tolerance | None = None,
    registration: Registration | None = None,
    *,
    by_area: bool = False,
) -> Check:
    """Measure every patch of `scene` in the frame.

    Without a registration a frame of another size than the format's raster is taken as the whole raster scaled to it.
    Without a tolerance the frame's noise decides how it is judged. `by_area` measures lines by their area, as is always
    done where the frame's samples are not the raster's own.
    """
    planes = frame.picture.planes
    height, width = planes[0].shape
    place = registration or Registration.whole(fmt, width, height)
    by_area |= not place.is_identity
    found: list[tuple[Patch, list[Statistics], Span]] = []
    skipped: list[str] = []
    tells_something = not scene.shapes
    has_colour = not all(patch.colour.is_neutral for patch in scene.patches)
    for patch in scene.patches:
        measured = _measured(planes, patch, fmt, signal, place, by_area, has_colour)
        if measured is None:
            skipped.append(patch.name)
        else:
            found.append((patch, *measured))
            tells_something |= patch.colour != scene.background
    step = 1 << (signal.bits - 8)
    # A patch at the end of the codes has half its noise cut off; most patches, and most components, have not.
    noises = [max(part.noise for part in parts) for patch, parts, _ in found if not patch.sloped]
    noises = noises or [_down_noise(planes[0], span) for _, _, span in found]
    noise = float(np.percentile(noises, 75)) / step if any(noises) else 0.0
    capture = Capture.ANALOGUE if noise > _ANALOGUE_NOISE else Capture.DIGITAL
    judged = tolerance or USUAL[capture]
    limits = judged.limits(signal)
    readings = tuple(
        _reading(patch, parts, span, signal, limits, by_area and patch.thin) for patch, parts, span in found
    )
    return Check(
        passed=bool(readings) and all(reading.passed for reading in readings),
        signal=signal,
        registration=place,
        readings=readings,
        tolerance=judged,
        capture=capture,
        noise=noise,
        skipped=tuple(skipped),
        tells_something=tells_something,
    )


def _loosened(limits: tuple[float, float, float], signal: Signal) -> tuple[float, float, float]:
    """What a line may be off where it is measured by its area: a converter's filter does not keep that exactly."""
    least = Tolerance(value=AREA_PERCENT, percent=True).limits(signal)
    first, second, third = (max(limit, other) for limit, other in zip(limits, least, strict=True))
    return first, second, third


def _measured(
    planes: Sequence[NDArray[Any]],
    patch: Patch,
    fmt: Format,
    signal: Signal,
    place: Registration,
    by_area: bool,
    has_colour: bool,
) -> tuple[list[Statistics], Span] | None:
    """The statistics of a patch in each plane, and where they were taken; None where too few samples are in view.

    What is measured lies in the patch wherever a frame's sample reaches: further from its edges the softer they are.
    """
    soft_x, soft_y = (axis.softness / axis.scale for axis in (place.x, place.y))
    # Down the picture edges are sharp as drawn, but for subsampled chroma: without it there is room for some softness.
    down = max(MARGIN_LINES, MARGIN_LINES * has_colour + math.ceil(3 * soft_y))
    span = patch_area(fmt, patch, MARGIN_SAMPLES + math.ceil(3 * soft_x), down)
    if by_area:
        span = _clear_of_raster(span, patch, fmt)
    count = 1 if is_luma_only(patch, signal.sampling) else 3
    parts: list[Statistics] = []
    whole: Span | None = None
    for i, plane in enumerate(planes[:count]):
        step_x, step_y = signal.sampling.chroma_step if i > 0 else (1, 1)
        left, right = _inside(span.left, span.right, place.x, step_x, plane.shape[1])
        if patch.thin and by_area:
            columns, ends = slice(left, right), 1 << signal.bits
            tried = (_line(plane, patch, fmt, place, step_y, columns, ends, reach) for reach in _LINE_REACHES)
            line = next((one for one in tried if one is not None), None)
            if line is None:
                return None
            statistics, top, bottom = line
        else:
            top, bottom = _inside(span.top, span.bottom, place.y, step_y, plane.shape[0])
            part = plane[top:bottom, left:right]
            if part.size < FEWEST_SAMPLES:
                return None
            statistics = Statistics.of(part)
        parts.append(statistics)
        whole = whole or Span(left=left, top=top, right=right, bottom=bottom)
    assert whole is not None
    return parts, whole


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


def _line(
    plane: NDArray[Any],
    patch: Patch,
    fmt: Format,
    place: Registration,
    step: int,
    columns: slice,
    ends: int,
    lines: int,
) -> tuple[Statistics, int, int] | None:
    """The level of a horizontal line in a frame that was scaled, softened or sharpened.

    Its height is lost there, but not its area: what stands above the ground on both sides, summed down each column,
    over the line's own thickness. None where within `lines` another mark is near.
    """
    span = patch_area(fmt, patch, 0, 0)
    axis = place.y
    reach = lines * axis.scale + 2.2 * axis.softness
    top = (axis.scale * span.top + axis.offset) / step
    bottom = (axis.scale * span.bottom + axis.offset) / step
    first, last = math.floor(top - reach / step), math.ceil(bottom + reach / step)
    edge = max(1, round(axis.scale / step))
    if first - edge < 0 or last + edge > plane.shape[0] or columns.stop - columns.start < FEWEST_SAMPLES:
        return None
    above, below = (plane[at : at + edge, columns].astype(np.float64).mean(axis=0) for at in (first - edge, last))
    if abs(float(np.median(above - below))) > _UNEVEN * ends:
        # Another mark is near: what stands above the ground is not the line's alone.
        return None
    level = (above + below) / 2
    rise = plane[first:last, columns].astype(np.float64).sum(axis=0) - level * (last - first)
    return Statistics.of_values(level + rise / (bottom - top)), int(top), math.ceil(bottom)


def _reading(
    patch: Patch,
    found: list[Statistics],
    span: Span,
    signal: Signal,
    limits: tuple[float, float, float],
    by_area: bool,
) -> Reading:
    if by_area:
        limits = _loosened(limits, signal)
    expected = signal.codes(patch.colour)
    if patch.sloped:
        measured, wanted = [f.mean for f in found], [float(value) for value in signal.exact(patch.colour)]
    else:
        noisy = 0.5 * (1 << (signal.bits - 8))
        measured = [f.between if f.noise > noisy else f.median for f in found]
        wanted = [float(code) for code in expected]
    error = [got - want for got, want in zip(measured, wanted, strict=False)]
    # The middle of mere noise tells no level.
    snow = not patch.sloped and found[0].noise * (signal.fraction_of(0, 1) - signal.fraction_of(0, 0)) > _SNOW
    return Reading(
        name=patch.name,
        expected=expected,
        measured=_triple(measured),
        mean=_triple([f.mean for f in found]),
        between=_triple([f.mean if patch.sloped else f.between for f in found]),
        noise=_triple([f.noise for f in found]),
        lowest=_triple([f.lowest for f in found]),
        highest=_triple([f.highest for f in found]),
        error=_triple(error),
        passed=all(abs(value) <= limit for value, limit in zip(error, limits, strict=False)) and not snow,
        uncertainty=_triple([f.uncertainty for f in found]),
        box=(float(span.left), float(span.top), float(span.right), float(span.bottom)),
        sent=patch.colour,
        by_area=by_area,
    )


def _triple(values: Sequence[float]) -> Triple:
    padded = [*values, None, None]
    return padded[0], padded[1], padded[2]
