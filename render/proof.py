"""The proof of a file: decode it again and compare it with what was drawn, sample by sample and tag by tag."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from pathlib import Path

import numpy as np

from render.decode import FileError, open_video
from render.quantise import Planes
from render.tags import Tags

__all__ = ["Proof", "Verdict", "prove"]


class Verdict(StrEnum):
    EXACT = "exact"
    """Every sample of every distinct frame is the one that was drawn."""
    WITHIN = "within"
    """Some samples are off, by no more than the carrier is allowed."""
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
    reason: str = ""
    """What failed, in words."""


def prove(path: Path, tags: Tags, drawn: Callable[[int], Planes], distinct: int) -> Proof:
    """Read `path` back and compare it.

    `drawn(i)` gives distinct frame i, which the file repeats in order up to `tags.frames` frames. The coded frames of
    every repeat must be byte for byte those of the first, which is decoded and compared whole.
    """
    try:
        repeat = _repeats(path, tags, distinct)
        if repeat:
            return Proof(verdict=Verdict.FAILED, reason=repeat)
        return _compare(path, tags, drawn, distinct)
    except FileError as error:
        return Proof(verdict=Verdict.FAILED, reason=str(error))


def _compare(path: Path, tags: Tags, drawn: Callable[[int], Planes], distinct: int) -> Proof:
    worst = samples = different = shown = 0
    with open_video(path) as video:
        for picture in video.pictures():
            if shown == 0 and (fault := _tag_fault(picture.tags, tags)):
                return Proof(verdict=Verdict.FAILED, reason=fault)
            if picture.tags.field_order not in (None, tags.field_order):
                words = f"field order: read {picture.tags.field_order}, written {tags.field_order}"
                return Proof(verdict=Verdict.FAILED, reason=words if shown == 0 else f"frame {shown}: {words}")
            for got, expected in zip(picture.planes, drawn(shown), strict=True):
                if got.shape != expected.shape:
                    return Proof(verdict=Verdict.FAILED, reason=f"frame {shown}: planes of another size")
                samples += got.size
                if not np.array_equal(got, expected):
                    error = np.abs(got.astype(np.int32) - expected.astype(np.int32))
                    worst, different = max(worst, int(error.max())), different + int(np.count_nonzero(error))
            shown += 1
            if shown == distinct:
                break
    if shown < distinct:
        return Proof(verdict=Verdict.FAILED, reason=f"{shown} frames can be read, {distinct} were written")
    verdict = Verdict.WITHIN if worst else Verdict.EXACT
    return Proof(verdict=verdict, max_error_codes=worst, samples=samples, different=different)


def _repeats(path: Path, tags: Tags, distinct: int) -> str:
    """What is wrong with the coded frames of a clip, their number, times and repeats, or nothing."""
    assert tags.rate is not None
    first: list[bytes] = []
    count = 0
    with open_video(path) as video:
        if video.is_still:
            return ""
        for packet, time, can_start in video.packets():
            digest = hashlib.blake2b(packet).digest()
            if count < distinct:
                first.append(digest)
            elif digest != first[count % distinct]:
                return f"coded frame {count} is not a repeat of frame {count % distinct}"
            if count % distinct == 0 and not can_start:
                return f"decoding cannot start at coded frame {count}"
            # Matroska counts whole milliseconds.
            if abs(time - count / tags.rate) > Fraction(1, 1000):
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
