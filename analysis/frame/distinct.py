"""The distinct frames of a picture or video file: each is decoded and looked at once, however often it is shown."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path

import numpy as np

from render.decode import Picture, open_video

__all__ = ["Heard", "distinct_frames"]

Heard = Callable[[int, int | None], None]
"""Told (frames done, frames in all or None where the file does not say)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DistinctFrame:
    """A frame that no earlier frame of the file equals, counted from 0 among all."""

    index: int
    picture: Picture


@dataclass(slots=True)
class DistinctFrames:
    """The distinct frames of a file, to be gone through once. Only a digest of each is kept."""

    path: Path
    heard: Heard | None = None
    shown: int = 0
    """Frames so far."""
    times: dict[int, int] = field(default_factory=dict)
    """How often each distinct frame has been shown so far, by its index."""

    def __iter__(self) -> Iterator[DistinctFrame]:
        known: dict[bytes, int] = {}
        alike: list[int] = []
        before: Picture | None = None
        at = decoded = 0
        repeats: list[int] = []
        with open_video(self.path) as video:
            codec = video.codec
            for picture in video.pictures():
                index = self.shown
                if index == 0 and not video.is_still:
                    repeats = self._repeats(codec, picture.tags.frames)
                    decoded = len(repeats) - _tail(repeats)
                # Frames that stand still are the rule, and comparing is quicker than a digest.
                if before is None or not _same(before, picture):
                    at = known.setdefault(_digest(picture), index)
                before = picture
                alike.append(at)
                self._count(at)
                if at == index:
                    yield DistinctFrame(index=index, picture=picture)
                self._tell(picture.tags.frames or len(repeats) or None)
                if self.shown == decoded:
                    break
        if repeats and self.shown == decoded:
            for first in repeats[decoded:]:
                self._count(alike[first])
            self._tell(len(repeats))

    def _count(self, at: int) -> None:
        self.shown += 1
        self.times[at] = self.times.get(at, 0) + 1

    def _tell(self, total: int | None) -> None:
        if self.heard is not None:
            self.heard(self.shown, total)

    def _repeats(self, codec: str, total: int | None) -> list[int]:
        """For each frame the first one that is coded with the same bytes; empty where that cannot be told.

        A group of frames, from one where decoding can start to the next, decodes to the same pictures when its bytes
        and those of the group before are the same. A clip of a still pattern repeats one group for all its length.
        """
        if codec not in _WHOLE_PACKETS or (total is None and codec != "ffv1") or (total or 0) > _MOST_PACKETS:
            return []
        known: dict[bytes, Fraction] = {}
        coded: dict[Fraction, Fraction] = {}
        group, last = hashlib.blake2b(digest_size=16), b""
        count = 0
        with open_video(self.path) as video:
            for packet, time, can_start in video.packets():
                if can_start:
                    last, group = group.digest(), hashlib.blake2b(digest_size=16)
                group.update(len(packet).to_bytes(8, "big"))
                group.update(packet)
                coded[time] = known.setdefault(last + group.digest(), time)
                count += 1
                if self.heard is not None:
                    self.heard(0, total)
        if count != len(coded) or total not in (None, count):
            return []
        place = {time: index for index, time in enumerate(sorted(coded))}
        return [place[coded[time]] for time in sorted(coded)]


_WHOLE_PACKETS = ("h264", "ffv1", "prores", "v210", "mjpeg")
"""Decoders whose packets are whole frames, and whose word for where decoding can start is their own."""

_MOST_PACKETS = 100_000
"""Half an hour at 60 frames a second; what is kept of each packet is some hundred bytes."""


def _tail(repeats: Sequence[int]) -> int:
    """How many frames at the end are repeats, one after the other."""
    return next((i for i, index in enumerate(reversed(range(len(repeats)))) if repeats[index] == index), 0)


def distinct_frames(path: Path, heard: Heard | None = None) -> DistinctFrames:
    """Every distinct frame of a picture or video file in order, each decoded when it is asked for.

    Frames are one when all their codes are equal. `heard` is called after each frame, with the frames done and how many
    there are (None where the file does not say); what it raises ends the reading. Going through the result raises
    FileError as `VideoFile.pictures` does. What is coded with the same bytes as before is not decoded again.
    """
    return DistinctFrames(path, heard)


def _same(first: Picture, second: Picture) -> bool:
    return all(np.array_equal(a, b) for a, b in zip(first.planes, second.planes, strict=True))


def _digest(picture: Picture) -> bytes:
    state = hashlib.blake2b(digest_size=16)
    for plane in picture.planes:
        state.update(repr((plane.shape, plane.dtype.str)).encode())
        state.update(np.ascontiguousarray(plane).data)
    return state.digest()
