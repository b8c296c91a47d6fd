"""MPEG-2 video for disc players: its limits, groups of pictures put together, and pictures that repeat the last one.

"H.262" means Rec. ITU-T H.262 | ISO/IEC 13818-2; all such references and values are from memory.
"""

from __future__ import annotations

import itertools
import math
import os
import re
from collections.abc import Iterator, Sequence
from fractions import Fraction
from pathlib import Path

import numpy as np

from patterns.standards.timing import DISC_BUFFER_BITS
from render.video.encoder import WriteError

__all__ = [
    "fits_buffer",
    "repeat_picture",
    "split_pictures",
    "stream",
    "without_time",
    "write_rate",
]

_GROUP, _PICTURE, _EXTENSION, _SYSTEM = (b"\0\0\1" + bytes([code]) for code in (0xB8, 0x00, 0xB5, 0xBB))
_PACK, _AT_ONCE = 2048, 4096
_BLOCK = 16
"""Samples and lines of a macroblock (H.262, clause 6.1.3)."""
_ESCAPE, _ESCAPED = "00000001000", 33
_INCREMENTS = {1: "1", 11: "00001010"}
"""macroblock_address_increment (H.262, table B.1), as far as lines of 720 samples need it."""
_MOVED_NOT_CODED = "001"
"""macroblock_type in a P picture: predicted by a vector, nothing added (H.262, table B.3)."""
_NO_VECTOR = "11"
"""motion_code 0, across and down (H.262, table B.10)."""


def split_pictures(coded: bytes) -> list[bytes]:
    """The coded pictures of a stream, each with the headers before it."""
    starts, after_picture = [], True
    for found in re.finditer(rb"\x00\x00\x01[\xb3\xb8\x00]", coded):
        if after_picture:
            starts.append(found.start())
        after_picture = coded[found.end() - 1] == 0
    return [coded[a:b] for a, b in zip(starts, [*starts[1:], len(coded)], strict=True)]


def repeat_picture(width: int, height: int, number: int) -> bytes:
    """A coded P picture that shows the picture before it again, exactly; `width` is 720, `number` counts in the group.

    The first and the last macroblock of each line of them are predicted without motion, those between skipped.
    """
    across, down = -(-width // _BLOCK), -(-height // _BLOCK)
    # vbv_delay unknown; forward_f_code is not used in MPEG-2.
    picture = _PICTURE + _bytes(_u(number, 10), _u(2, 3), _u(0xFFFF, 16), "0", "111", "0")
    # Extension 8; vectors of the shortest range; a frame, top field first, predicted as a frame; all else off.
    extension = _EXTENSION + _bytes(_u(8, 4), _u(0x11FF, 16), "00", "11", "1", "1", "0" * 8)
    block = _MOVED_NOT_CODED + _NO_VECTOR
    skip, rest = divmod(across - 1, _ESCAPED)
    line = _bytes(_u(1, 5), "0", _INCREMENTS[1], block, _ESCAPE * skip, _INCREMENTS[rest], block)
    return picture + extension + b"".join(b"\0\0\1" + bytes([i + 1]) + line for i in range(down))


def stream(pictures: Sequence[bytes], count: int, rate: Fraction) -> Iterator[bytes]:
    """The coded pictures again and again until there are `count`, with running time codes in the groups' headers."""
    for i in range(count):
        picture = pictures[i % len(pictures)]
        at = picture.find(_GROUP)
        yield picture if at < 0 else _with_time(picture, at + 4, i, round(rate))


def _with_time(picture: bytes, at: int, number: int, per_second: int) -> bytes:
    """Put picture `number`'s time code, not dropping frames, into the 25 bits at `at`."""
    seconds, frames = divmod(number, per_second)
    bits = ("0", _u(seconds // 3600 % 24, 5), _u(seconds // 60 % 60, 6), "1", _u(seconds % 60, 6), _u(frames, 6))
    code = int("".join(bits), 2) << 7 | picture[at + 3] & 0x7F
    return picture[:at] + code.to_bytes(4, "big") + picture[at + 4 :]


def without_time(picture: bytes) -> bytes:
    """A coded picture with the time code of its group at 0, to compare repeats."""
    at = picture.find(_GROUP)
    return picture if at < 0 else _with_time(picture, at + 4, 0, 1)


def fits_buffer(sizes: Sequence[int], rate: Fraction, bits_per_second: int) -> bool:
    """Whether pictures of `sizes` bytes can be repeated for ever within the rate and the decoder's buffer.

    The pictures of any second together do not exceed the rate, and the buffer, full at the start and filled at that
    rate until it is full again, never runs empty (H.262, annex C, variable rate).
    """
    second = math.ceil(rate)
    # Each second brings at least what it takes, so that the first rounds are the worst.
    repeated = [8 * size for size in sizes] * (2 + second // len(sizes))
    sums = list(itertools.accumulate(repeated, initial=0))
    if any(later - earlier > bits_per_second for earlier, later in zip(sums, sums[second:], strict=False)):
        return False
    room = held = Fraction(DISC_BUFFER_BITS.value)
    for bits in repeated:
        held -= bits
        if held < 0:
            return False
        held = min(room, held + bits_per_second / rate)
    return True


def write_rate(path: Path, bits_per_second: int) -> None:
    """Say a rate in the headers of a program stream for discs, whose packs have 2048 bytes.

    In units of 50 bytes a second: program_mux_rate of every pack, 22 bits and two markers, and rate_bound of every
    system header, a marker, 22 bits and a marker (H.222.0, from memory).

    Raises:
        WriteError: the stream does not end with a whole pack.
    """
    if path.stat().st_size % _PACK:
        raise WriteError(
            f"{path.name}: a program stream for discs has packs of {_PACK} bytes, this one ends within one"
        )
    rate = bits_per_second // 400
    pack_rate, bound = (rate << 2 | 3).to_bytes(3, "big"), (1 << 23 | rate << 1 | 1).to_bytes(3, "big")
    with path.open("r+b") as file:
        while part := file.read(_AT_ONCE * _PACK):
            packs = np.frombuffer(part, np.uint8).reshape(-1, _PACK).copy()
            packs[:, 10:13] = np.frombuffer(pack_rate, np.uint8)
            with_system = (packs[:, 14:18] == np.frombuffer(_SYSTEM, np.uint8)).all(axis=1)
            packs[with_system, 20:23] = np.frombuffer(bound, np.uint8)
            file.seek(-len(part), os.SEEK_CUR)
            file.write(packs.tobytes())


def _u(value: int, bits: int) -> str:
    return f"{value:0{bits}b}"


def _bytes(*parts: str) -> bytes:
    bits = "".join(parts)
    bits += "0" * (-len(bits) % 8)
    return int(bits, 2).to_bytes(len(bits) // 8, "big")
