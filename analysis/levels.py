"""The levels of a frame: each patch of the named pattern, measured and held against the standards' equations.

What is expected comes from the pattern's scene and `Signal.codes`, never from a drawn picture.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from patterns.formats import Format
from patterns.placement import Span, patch_area
from patterns.scene import Patch, Scene
from patterns.signal import Matrix, Range, Sampling, Signal
from render.decode import FileError, Picture, open_video

__all__ = ["Check", "Frame", "Reading", "Registration", "check_levels", "frame_signal", "read_frame"]

MARGIN_SAMPLES = 6
"""Samples that a measurement keeps from a patch's left and right edges: a shaped chroma edge reaches 4, and its
4:2:0 sample 1 more."""
MARGIN_LINES = 4
"""Lines kept from the upper and lower edges: a chroma sample of interlaced 4:2:0 spans 3."""
_FEWEST_SAMPLES = 4
_MAD_TO_SIGMA = 1.4826
"""Standard deviation of normal noise over its median absolute deviation."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One frame of a file, and what the file says of itself."""

    path: Path
    index: int
    picture: Picture
    codec: str
    provenance: dict[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Registration:
    """Where the pattern's raster lies in the frame: frame position = scale * raster position + offset, in samples."""

    scale_x: float
    scale_y: float
    offset_x: float = 0.0
    offset_y: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A patch as measured. Every triple is in the order of the signal's components, in codes of the frame's depth."""

    name: str
    expected: tuple[int, int, int]
    measured: tuple[float, float, float]
    """Medians; of a sloped patch the means."""
    mean: tuple[float, float, float]
    noise: tuple[float, float, float]
    """Standard deviations, from the median absolute deviation."""
    lowest: tuple[int, int, int]
    highest: tuple[int, int, int]
    error: tuple[float, float, float]
    passed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """The verdict on a frame. `tolerance` is in codes of the frame's depth."""

    passed: bool
    signal: Signal
    registration: Registration
    readings: tuple[Reading, ...]
    tolerance: float
    skipped: tuple[str, ...]
    """Patches too small to be measured in this frame."""


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
                return Frame(path=path, index=index, picture=picture, codec=codec, provenance=words)
            shown += 1
    raise FileError(f"{path}: frame {index} is asked for, the file has {shown} (counted from 0)")


def frame_signal(frame: Frame, fmt: Format, *, code_range: Range | None, default_matrix: Matrix) -> Signal:
    """The signal that the frame should carry.

    The range is the one asked for, else the file's own word, else full for R'G'B' and narrow for Y'CbCr. A JPEG picture
    is full-range BT.601 whatever it shows (JFIF; Rec. ITU-T T.871).
    """
    tags = frame.picture.tags
    told = frame.provenance
    if code_range is None:
        code_range = tags.range or (Range(told["range"]) if told.get("range") in tuple(Range) else None)
    if code_range is None:
        code_range = Range.FULL if tags.sampling.is_rgb else Range.NARROW
    matrix = Matrix(told["matrix"]) if told.get("matrix") in tuple(Matrix) else default_matrix
    if frame.codec == "mjpeg":
        matrix = Matrix.BT601
    return Signal(range=code_range, matrix=matrix, bits=tags.bits, sampling=tags.sampling)


def check_levels(frame: Frame, scene: Scene, fmt: Format, signal: Signal, tolerance: float) -> Check:
    """Measure every patch of `scene` in the frame.

    `tolerance` is in codes of 8 bits. A frame of another size than the format's raster is taken as the whole raster
    scaled to it.
    """
    planes = frame.picture.planes
    height, width = planes[0].shape
    registration = Registration(scale_x=width / fmt.width, scale_y=height / fmt.height)
    limit = tolerance * (1 << (signal.bits - 8)) if signal.bits >= 8 else tolerance
    readings: list[Reading] = []
    skipped: list[str] = []
    for patch in scene.patches:
        span = patch_area(fmt, patch, MARGIN_SAMPLES, MARGIN_LINES)
        parts = [_cut(plane, span, registration, i, signal.sampling) for i, plane in enumerate(planes)]
        if any(part.size < _FEWEST_SAMPLES for part in parts):
            skipped.append(patch.name)
        else:
            readings.append(_reading(patch, parts, signal, limit))
    return Check(
        passed=bool(readings) and all(reading.passed for reading in readings),
        signal=signal,
        registration=registration,
        readings=tuple(readings),
        tolerance=limit,
        skipped=tuple(skipped),
    )


def _cut(
    plane: NDArray[np.uint16], span: Span, registration: Registration, index: int, sampling: Sampling
) -> NDArray[np.uint16]:
    """The samples of a plane that lie wholly inside the span of the raster."""
    step_x, step_y = sampling.chroma_step if index > 0 else (1, 1)
    scale_x = Fraction(registration.scale_x) / step_x
    scale_y = Fraction(registration.scale_y) / step_y
    left, right = -(-span.left * scale_x // 1), span.right * scale_x // 1
    top, bottom = -(-span.top * scale_y // 1), span.bottom * scale_y // 1
    return plane[max(0, int(top)) : max(0, int(bottom)), max(0, int(left)) : max(0, int(right))]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Statistics:
    """What the samples of one plane in a patch have in common."""

    median: float
    mean: float
    noise: float
    lowest: int
    highest: int

    @classmethod
    def of(cls, part: NDArray[np.uint16]) -> _Statistics:
        # A patch has many samples and few different codes: everything follows from how often each occurs.
        often = np.bincount(part.ravel())
        codes = np.flatnonzero(often)
        counts = often[codes]
        median = _weighted_median(codes.astype(np.float64), counts)
        return cls(
            median=median,
            mean=float(codes @ counts / counts.sum()),
            noise=_MAD_TO_SIGMA * _weighted_median(np.abs(codes - median), counts),
            lowest=int(codes[0]),
            highest=int(codes[-1]),
        )


def _weighted_median(values: NDArray[np.float64], counts: NDArray[np.intp]) -> float:
    """The median of `values`, each taken as often as `counts` says; the mean of the middle two of an even number."""
    order = np.argsort(values, kind="stable")
    reached = np.cumsum(counts[order])
    total = int(reached[-1])
    lower, upper = np.searchsorted(reached, ((total - 1) // 2 + 1, total // 2 + 1))
    return float(values[order[lower]] + values[order[upper]]) / 2


def _reading(patch: Patch, parts: list[NDArray[np.uint16]], signal: Signal, limit: float) -> Reading:
    expected = signal.codes(patch.colour)
    found = [_Statistics.of(part) for part in parts]
    if patch.sloped:
        measured, wanted = [f.mean for f in found], [float(value) for value in signal.exact(patch.colour)]
    else:
        measured, wanted = [f.median for f in found], [float(code) for code in expected]
    error = [got - want for got, want in zip(measured, wanted, strict=True)]
    return Reading(
        name=patch.name,
        expected=expected,
        measured=_three(measured),
        mean=_three([f.mean for f in found]),
        noise=_three([f.noise for f in found]),
        lowest=_whole([f.lowest for f in found]),
        highest=_whole([f.highest for f in found]),
        error=_three(error),
        passed=all(abs(value) <= limit for value in error),
    )


def _three(values: list[float]) -> tuple[float, float, float]:
    first, second, third = values
    return first, second, third


def _whole(values: list[int]) -> tuple[int, int, int]:
    first, second, third = values
    return first, second, third
