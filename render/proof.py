"""The proof of a file: decode it again and compare it with what was drawn, sample by sample and tag by tag."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from patterns.formats import Format
from patterns.scene import Patch
from patterns.signal import Sampling
from render.decode import open_video
from render.errors import FileError
from render.patches import FEWEST_SAMPLES, patch_samples
from render.quantise import Planes
from render.tags import Tags
from render.video.mpeg2 import without_time

__all__ = ["Measured", "Proof", "Verdict", "prove"]


class Verdict(StrEnum):
    EXACT = "exact"
    """Every sample of every distinct frame is the one that was drawn."""
    WITHIN = "within"
    """Some samples are off; no patch's level by more than the carrier is allowed."""
    FAILED = "failed"


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What reading the file back has shown."""

    verdict: Verdict
    max_error_codes: int = 0
    samples: int = 0
    """Samples that were compared."""
    different: int = 0
    """Samples that are not the drawn ones."""
    mean_error_codes: float = 0
    """How far the samples of the worst frame are off on average."""
    patches: int = 0
    """Patches that were measured, in every frame that has a difference."""
    patch_error_codes: float = 0
    """Worst sample inside a patch; where one is beyond what is allowed, the error of the patch's median instead."""
    patches_by_median: tuple[str, ...] = ()
    """The patches of which the median was judged, not every sample."""
    where: str = ""
    """Where the samples lie that are not the drawn ones, in words."""
    tone_hz: float = 0
    """Frequency of the tone that was read back; 0 where none was asked for."""
    tone_dbfs: float = 0
    """Its level, in dB of full scale."""
    reason: str = ""
    """What failed, in words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """The patches of a still scene in a format, which are measured where samples differ.

    Sample by sample where all are within `codes`, else by their median.
    """

    patches: Sequence[Patch]
    format: Format
    codes: int


def prove(
    path: Path, tags: Tags, drawn: Callable[[int], Planes], distinct: int, measured: Measured | None = None
) -> Proof:
    """Read `path` back and compare it.

    `drawn(i)` gives distinct frame i, which the file repeats in order up to `tags.frames` frames. The coded frames of
    every repeat must be byte for byte those of the first, which is decoded and compared whole.
    """
    try:
        repeat = _repeats(path, tags, distinct)
        if repeat:
            return Proof(verdict=Verdict.FAILED, reason=repeat)
        return _compare(path, tags, drawn, distinct, _Errors(measured))
    except FileError as error:
        return Proof(verdict=Verdict.FAILED, reason=str(error))


def _compare(
    path: Path,
    tags: Tags,
    drawn: Callable[[int], Planes],
    distinct: int,
    errors: _Errors,
) -> Proof:
    shown = 0
    with open_video(path) as video:
        for picture in video.pictures():
            if shown == 0 and (fault := _tag_fault(picture.tags, tags)):
                return Proof(verdict=Verdict.FAILED, reason=fault)
            if tags.field_order is not None and picture.tags.field_order != tags.field_order:
                words = f"field order: read {picture.tags.field_order}, written {tags.field_order}"
                return Proof(verdict=Verdict.FAILED, reason=words if shown == 0 else f"frame {shown}: {words}")
            expected = drawn(shown)
            if any(got.shape != want.shape for got, want in zip(picture.planes, expected, strict=True)):
                return Proof(verdict=Verdict.FAILED, reason=f"frame {shown}: planes of another size")
            errors.add(picture.planes, expected, tags.sampling)
            shown += 1
            if shown == distinct:
                break
    if shown < distinct:
        return Proof(verdict=Verdict.FAILED, reason=f"{shown} frames can be read, {distinct} were written")
    return errors.proof()


class _Errors:
    """What differs between decoded and drawn frames, gathered frame by frame."""

    def __init__(self, measured: Measured | None) -> None:
        self._still = measured
        self._worst = self._samples = self._different = 0
        self._mean: float = 0
        self._patch: float = 0
        self._measured: set[str] = set()
        self._by_median: dict[str, None] = {}
        self._box: tuple[int, int, int, int] | None = None

    def add(self, got: Planes, expected: Planes, sampling: Sampling) -> None:
        """Compare one frame."""
        before, total = self._different, 0
        height, width = expected[0].shape
        for plane, want in zip(got, expected, strict=True):
            self._samples += plane.size
            if not np.array_equal(plane, want):
                error = np.abs(plane.astype(np.int32) - want.astype(np.int32))
                self._worst = max(self._worst, int(error.max()))
                self._different += int(np.count_nonzero(error))
                total += int(error.sum())
                self._reach(error, width // want.shape[1], height // want.shape[0])
        if self._different > before:
            self._mean = max(self._mean, total / sum(plane.size for plane in expected))
            for patch in self._still.patches if self._still else ():
                self._measure(patch, got, expected, sampling)

    def _reach(self, error: NDArray[np.int32], step_x: int, step_y: int) -> None:
        rows, columns = np.flatnonzero(error.any(axis=1)) * step_y, np.flatnonzero(error.any(axis=0)) * step_x
        left, top, right, bottom = self._box or (int(columns[0]), int(rows[0]), 0, 0)
        self._box = (
            min(left, int(columns[0])),
            min(top, int(rows[0])),
            max(right, int(columns[-1]) + step_x),
            max(bottom, int(rows[-1]) + step_y),
        )

    def _measure(self, patch: Patch, got: Planes, expected: Planes, sampling: Sampling) -> None:
        """How far a patch is off: its worst sample, or its median where that sample is beyond what is allowed."""
        assert self._still is not None
        parts = (patch_samples(planes, patch, self._still.format, sampling) for planes in (got, expected))
        pairs = [pair for pair in zip(*parts, strict=True) if pair[0].size >= FEWEST_SAMPLES]
        errors = [int(np.abs(found.astype(np.int32) - want.astype(np.int32)).max()) for found, want in pairs]
        if not errors:
            return
        self._measured.add(patch.name)
        error: float = max(errors)
        if error > self._still.codes:
            # Half of a line's samples on a slope say nothing of the others: there it is the mean.
            level = np.mean if patch.sloped else np.median
            error = max(abs(float(level(found)) - float(level(want))) for found, want in pairs)
            self._by_median[patch.name] = None
        self._patch = max(self._patch, error)

    def proof(self) -> Proof:
        where = ""
        if self._box is not None:
            left, top, right, bottom = self._box
            where = f"samples {left} to {right - 1} of lines {top} to {bottom - 1}"
        return Proof(
            verdict=Verdict.WITHIN if self._worst else Verdict.EXACT,
            max_error_codes=self._worst,
            samples=self._samples,
            different=self._different,
            mean_error_codes=round(self._mean, 3),
            patches=len(self._measured),
            patch_error_codes=round(self._patch, 3),
            patches_by_median=tuple(self._by_median),
            where=where,
        )


def _repeats(path: Path, tags: Tags, distinct: int) -> str:
    """What is wrong with the coded frames of a clip, their number, times and repeats, or nothing."""
    first: list[bytes] = []
    count = 0
    with open_video(path) as video:
        if video.is_still:
            return ""
        if tags.rate is None:
            return "no still picture can be read"
        disc, start = video.codec == "mpeg2video", Fraction(0)
        for packet, time, can_start in video.packets():
            if disc and not count:
                # A program stream begins when its decoder's buffer is full.
                start = time
            digest = hashlib.blake2b(without_time(packet) if disc else packet).digest()
            if count < distinct:
                first.append(digest)
            elif digest != first[count % distinct]:
                return f"coded frame {count} is not a repeat of frame {count % distinct}"
            if count % distinct == 0 and not can_start:
                return f"decoding cannot start at coded frame {count}"
            # Matroska counts whole milliseconds.
            if abs(time - start - count / tags.rate) > Fraction(1, 1000):
                return f"coded frame {count} stands at {float(time):.4f} s"
            count += 1
    return "" if count == tags.frames else f"{count} coded frames, {tags.frames} were written"


def _tag_fault(got: Tags, expected: Tags) -> str:
    """The first tag that is not as it should be, in words; what a kind of file has no place for is passed over."""
    if got.rate is not None and expected.rate is not None and abs(got.rate / expected.rate - 1) > Fraction(1, 100_000):
        return f"frame rate: read {got.rate}, written {expected.rate}"
    for name in ("width", "height", "sampling", "bits", "sample_aspect", "primaries", "transfer", "matrix", "range"):
        read, written = getattr(got, name), getattr(expected, name)
        if read != written:
            return f"{name.replace('_', ' ')}: read {read}, written {written}"
    return ""
