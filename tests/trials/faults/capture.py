"""From a pattern to a captured file: the drawn frame, its faults, the condition, and the file."""

from __future__ import annotations

import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import cv2
import numpy as np
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, Family, FieldOrder, Format
from patterns.signal import Matrix, Range, Sampling, Signal
from render.raster import draw_frame
from tests.trials.faults.coding import (
    Coding,
    Floats,
    codes_of,
    decode,
    encode,
    joined,
    quantised,
    split,
)
from tests.trials.faults.make import Condition, Fault, applied

__all__ = ["CAPTURES", "Capture", "base", "coding_of", "faulty", "levels", "seen", "usual_matrix", "write"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Capture:
    """What is drawn and what is written."""

    name: str
    drawn: str
    """rgb, or 444, 422 or 420: narrow Y'CbCr with chroma sampled so."""
    kind: str
    """The capture's samples: rgb, 444, 422 or 420."""
    suffix: str


CAPTURES = {
    capture.name: capture
    for capture in (
        Capture(name="png", drawn="rgb", kind="rgb", suffix=".png"),
        Capture(name="png-444", drawn="444", kind="rgb", suffix=".png"),
        Capture(name="png-422", drawn="422", kind="rgb", suffix=".png"),
        Capture(name="y4m-444", drawn="444", kind="444", suffix=".y4m"),
        Capture(name="y4m-422", drawn="444", kind="422", suffix=".y4m"),
        Capture(name="y4m-420", drawn="444", kind="420", suffix=".y4m"),
        Capture(name="ffv1-444", drawn="444", kind="444", suffix=".mkv"),
        Capture(name="ffv1-422", drawn="444", kind="422", suffix=".mkv"),
        Capture(name="ffv1-420", drawn="444", kind="420", suffix=".mkv"),
    )
}


def usual_matrix(fmt: Format) -> str:
    return "601" if fmt.family in (Family.SD525, Family.SD625) else "709"


def coding_of(fmt: Format, capture: Capture) -> Coding:
    return Coding(kind=capture.kind, matrix=usual_matrix(fmt), interlaced=fmt.interlaced)


@lru_cache(maxsize=6)
def base(pattern: str, format_id: str, drawn: str, variant: int = 0) -> Floats:
    """R'G'B' fractions of the drawn frame of 8 bits, not to be written to. `variant` counts the pattern's own."""
    fmt = FORMATS[format_id]
    matrix = usual_matrix(fmt)
    if drawn == "rgb":
        signal = Signal(range=Range.FULL, matrix=Matrix(matrix), bits=8, sampling=Sampling.RGB)
    else:
        sampling = Sampling(drawn if drawn == "422" else "444")
        signal = Signal(range=Range.NARROW, matrix=Matrix(matrix), bits=8, sampling=sampling)
    scene = PATTERNS[pattern].scene(fmt, PATTERNS[pattern].variants[variant], signal)
    planes = [plane.astype(np.float32) for plane in draw_frame(scene, fmt, signal)]
    codes = joined(planes)
    rgb = codes / np.float32(255) if drawn == "rgb" else decode(codes, matrix).astype(np.float32)
    rgb.setflags(write=False)
    return rgb


def levels(pattern: str, fmt: Format, capture: Capture, *, exact: bool = False) -> Floats:
    """(n, 1, 3) R'G'B' fractions of the pattern's patches as drawn; `exact` before any rounding."""
    scene = PATTERNS[pattern].scene(fmt)
    colours = sorted({(float(p.colour.red), float(p.colour.green), float(p.colour.blue)) for p in scene.patches})
    rgb = np.array(colours, np.float64).reshape(-1, 1, 3)
    if exact:
        return rgb
    if capture.drawn == "rgb":
        return quantised(255 * rgb) / 255
    return decode(quantised(encode(rgb, usual_matrix(fmt))), usual_matrix(fmt))


def seen(rgb: Floats, coding: Coding) -> Floats:
    """The codes of the capture, not rounded but clipped."""
    return np.clip(codes_of(rgb, coding), 0, 255)


def faulty(rgb: Floats, faults: Sequence[Fault], coding: Coding) -> Floats:
    for fault in faults:
        rgb = applied(fault, rgb, coding)
    return rgb


def write(
    rgb: Floats, fmt: Format, capture: Capture, condition: Condition, random: np.random.Generator, stem: Path
) -> Path:
    """Write the picture under the condition; the file's name is `stem` with the fitting suffix."""
    coding = coding_of(fmt, capture)
    if condition.size or condition.shift != (0, 0) or condition.round_trip:
        rgb = condition.picture(rgb, coding)
    codes = codes_of(rgb, coding)
    if coding.is_rgb:
        whole = quantised(condition.noisy(codes, coding, random)).astype(np.uint8)
        return _write_still(whole, condition, stem)
    planes = [quantised(plane) for plane in split(condition.noisy(codes, coding, random), coding)]
    return _write_video([plane.astype(np.uint8) for plane in planes], fmt, coding, stem.with_suffix(capture.suffix))


def _write_still(whole: NDArray[np.uint8], condition: Condition, stem: Path) -> Path:
    picture = np.ascontiguousarray(whole[..., ::-1])
    if condition.jpeg:
        quality = [cv2.IMWRITE_JPEG_QUALITY, condition.jpeg]
        if condition.jpeg_file:
            path = stem.with_suffix(".jpg")
            cv2.imwrite(str(path), picture, quality)
            return path
        again = cv2.imdecode(cv2.imencode(".jpg", picture, quality)[1], cv2.IMREAD_COLOR)
        picture = np.asarray(again, np.uint8)
    path = stem.with_suffix(".png")
    cv2.imwrite(str(path), picture, [cv2.IMWRITE_PNG_COMPRESSION, 1])
    return path


def _write_video(planes: list[NDArray[np.uint8]], fmt: Format, coding: Coding, path: Path) -> Path:
    height, width = planes[0].shape
    kind = f"yuv{coding.kind}p"
    field_mode = {FieldOrder.PROGRESSIVE: "prog", FieldOrder.TOP: "tff", FieldOrder.BOTTOM: "bff"}[fmt.field_order]
    space = "smpte170m" if coding.matrix == "601" else "bt709"
    marks = f"setparams=range=limited:colorspace={space}:field_mode={field_mode}"
    codec = ("-c:v", "ffv1") if path.suffix == ".mkv" else ("-strict", "-1")
    command = (
        *(get_ffmpeg_exe(), "-nostdin", "-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", kind),
        *("-s", f"{width}x{height}", "-r", str(fmt.frame_rate), "-i", "-", "-vf", marks),
        *(*codec, "-pix_fmt", kind, str(path)),
    )
    subprocess.run(command, input=b"".join(plane.tobytes() for plane in planes), check=True, timeout=60)
    return path


def seen_planes(rgb: Floats, coding: Coding) -> Floats:
    """Whole codes of the capture without any condition, chroma at every sample."""
    return quantised(codes_of(rgb, coding))
