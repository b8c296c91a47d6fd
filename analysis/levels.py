"""The levels of a frame: each patch of the named pattern, measured and held against the standards' equations.

What is expected comes from the pattern's scene and `Signal.codes`, never from a drawn picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from patterns.formats import Format
from patterns.scene import Patch, Scene
from patterns.signal import Matrix, Range, Signal
from patterns.standards import Matrix as MatrixCode
from render.decode import FileError, Picture, open_video
from render.patches import FEWEST_SAMPLES, patch_samples

__all__ = ["Check", "Frame", "Reading", "Registration", "check_levels", "frame_signal", "read_frame"]

_MATRICES: dict[int | None, Matrix] = {
    MatrixCode.BT709: Matrix.BT709,
    MatrixCode.BT470BG: Matrix.BT601,
    MatrixCode.SMPTE170M: Matrix.BT601,
}
_MAD_TO_SIGMA = 1.4826
"""Standard deviation of normal noise over its median absolute deviation."""


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
    measured: Triple
    """Medians; of a sloped patch the means."""
    mean: Triple
    noise: Triple
    """Standard deviations of the samples, without outliers."""
    lowest: Triple
    highest: Triple
    error: Triple
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
                return Frame(path=path, index=index, picture=picture, codec=codec, provenance=words)
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


def check_levels(frame: Frame, scene: Scene, fmt: Format, signal: Signal, tolerance: float) -> Check:
    """Measure every patch of `scene` in the frame.

    `tolerance` is in codes of 8 bits. A frame of another size than the format's raster is taken as the whole raster
    scaled to it.
    """
    planes = frame.picture.planes
    height, width = planes[0].shape
    scale = Fraction(width, fmt.width), Fraction(height, fmt.height)
    registration = Registration(scale_x=float(scale[0]), scale_y=float(scale[1]))
    limit = tolerance * (1 << (signal.bits - 8))
    readings: list[Reading] = []
    skipped: list[str] = []
    tells_something = not scene.shapes
    for patch in scene.patches:
        parts = patch_samples(planes, patch, fmt, signal.sampling, scale)
        if any(part.size < FEWEST_SAMPLES for part in parts):
            skipped.append(patch.name)
        else:
            readings.append(_reading(patch, parts, signal, limit))
            tells_something |= patch.colour != scene.background
    return Check(
        passed=bool(readings) and all(reading.passed for reading in readings),
        signal=signal,
        registration=registration,
        readings=tuple(readings),
        tolerance=limit,
        skipped=tuple(skipped),
        tells_something=tells_something,
    )


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
            noise=_noise(codes, counts, median),
            lowest=int(codes[0]),
            highest=int(codes[-1]),
        )


def _noise(codes: NDArray[np.intp], counts: NDArray[np.intp], median: float) -> float:
    """Standard deviation of the samples without outliers: beyond four times what the absolute deviations tell.

    The median of whole codes' deviations alone would move in steps of one code.
    """
    away = np.abs(codes - median)
    reach = 4 * max(_MAD_TO_SIGMA * _weighted_median(away, counts), 0.5)
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


def _reading(patch: Patch, parts: list[NDArray[np.uint16]], signal: Signal, limit: float) -> Reading:
    expected = signal.codes(patch.colour)
    found = [_Statistics.of(part) for part in parts]
    if patch.sloped:
        measured, wanted = [f.mean for f in found], [float(value) for value in signal.exact(patch.colour)]
    else:
        measured, wanted = [f.median for f in found], [float(code) for code in expected]
    error = [got - want for got, want in zip(measured, wanted, strict=False)]
    return Reading(
        name=patch.name,
        expected=expected,
        measured=_triple(measured),
        mean=_triple([f.mean for f in found]),
        noise=_triple([f.noise for f in found]),
        lowest=_triple([f.lowest for f in found]),
        highest=_triple([f.highest for f in found]),
        error=_triple(error),
        passed=all(abs(value) <= limit for value in error),
    )


def _triple(values: Sequence[float]) -> Triple:
    padded = [*values, None, None]
    return padded[0], padded[1], padded[2]
