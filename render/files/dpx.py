"""DPX pictures (SMPTE ST 268, header fields from memory): R'G'B' with the codes' own range and the samples' shape.

General picture libraries write no DPX, and the ffmpeg program none with range, shape or words.
"""

from __future__ import annotations

import struct
from typing import IO

import numpy as np

from patterns.signal import DEPTHS
from patterns.standards.colour import Primaries, Transfer
from render.files.stills import StillWords, range_of, reference_codes
from render.quantise import Planes
from render.tags import Tags

__all__ = ["read_dpx", "write_dpx"]

_HEADER, _GENERIC, _INDUSTRY = 2048, 1664, 384
_UNSET = 0xFFFFFFFF
_PROJECT_AT, _PROJECT = 260, 200
_USER_AT, _USER_NAME = 32, 32
_IMAGE_AT, _ELEMENT_AT, _SHAPE_AT = 768, 780, 1628
_UNSET_AT = (
    (660, 4),
    *((_ELEMENT_AT + 72 * i, 40) for i in range(1, 8)),
    *((1408, 24), (1620, 16), (1712, 20), (1920, 52)),
)
"""Numbers that are left undefined: places and bytes. The key; the other elements; origin and size, border and shape,
film, television."""
_RGB = 50
_COLOURS = {Primaries.BT709: 6, Primaries.BT470BG: 7, Primaries.SMPTE170M: 8}
"""Colorimetric codes: BT.709, BT.601 of 625 and of 525 lines; the same numbers mean their transfer functions."""
_TRANSFERS = {6: Transfer.BT709, 7: Transfer.BT601, 8: Transfer.BT601}
_UNSPECIFIED = 4


def write_dpx(file: IO[bytes], planes: Planes, tags: Tags, comment: str) -> None:
    """Write R'G'B' planes of `tags.bits` bits, high end first.

    Ten bits stand three to a word of 32, twelve in 16 each; both fill from the top (method A). A comment that is longer
    than the header's field goes into the user's part of the header.
    """
    data, words, more = _packed(planes, tags.bits), comment.encode("ascii", "replace"), b""
    if len(words) >= _PROJECT:
        more = struct.pack(f"{_USER_NAME}s{-(-len(words) // 4) * 4}s", b"trueraster", words)
        words = b""
    file.write(_header(tags, words, len(more), len(data)))
    file.write(more)
    file.write(data)


def _packed(planes: Planes, bits: int) -> bytes:
    height, width = planes[0].shape
    if bits == 10:
        red, green, blue = (plane.astype(np.uint32) for plane in planes)
        return (red << 22 | green << 12 | blue << 2).astype(">u4").tobytes()
    samples = np.stack(planes, axis=-1).reshape(height, 3 * width)
    rows = samples.astype(np.uint8) if bits == 8 else (samples << (16 - bits)).astype(">u2").view(np.uint8)
    # Each row ends on a word of 32 bits.
    return np.pad(rows, ((0, 0), (0, -rows.shape[1] % 4))).tobytes()


def _header(tags: Tags, comment: bytes, user: int, size: int) -> bytes:
    """The header before `user` bytes for users and `size` bytes of samples."""
    start, head = _HEADER + user, bytearray(_HEADER)
    for at, length in _UNSET_AT:
        head[at : at + length] = b"\xff" * length
    colour = _COLOURS.get(Primaries(tags.primaries or Primaries.BT709), _UNSPECIFIED)
    # There is no code of the sRGB transfer function.
    transfer = _UNSPECIFIED if tags.transfer == Transfer.SRGB else colour
    low, high = reference_codes(tags.range, tags.bits)

    def put(at: int, layout: str, *values: object) -> None:
        struct.pack_into(f">{layout}", head, at, *values)

    put(0, "4sI8sIIIII", b"SDPX", start, b"V2.0", start + size, 1, _GENERIC, _INDUSTRY, user)
    put(160, "100s", b"trueraster")
    put(_PROJECT_AT, f"{_PROJECT}s", comment)
    # Left to right, top to bottom; one element.
    put(_IMAGE_AT, "HHII", 0, 1, tags.width, tags.height)
    # Unsigned; codes of black and white, the quantities that they mean are undefined.
    put(_ELEMENT_AT, "IIIII", 0, low, _UNSET, high, _UNSET)
    put(_ELEMENT_AT + 20, "BBBB", _RGB, transfer, colour, tags.bits)
    # Filled by method A or dense, not run-length coded; where the samples begin; nothing after lines or picture.
    put(_ELEMENT_AT + 24, "HHIII", int(tags.bits in (10, 12)), 0, start, 0, 0)
    if tags.sample_aspect is not None:
        put(_SHAPE_AT, "II", tags.sample_aspect.numerator, tags.sample_aspect.denominator)
    return bytes(head)


def read_dpx(head: bytes) -> StillWords | None:
    """Read the header of a DPX file, of either end first, or None when `head` is none."""
    ends = {b"SDPX": ">", b"XPDS": "<"}.get(head[:4])
    if ends is None or len(head) < _HEADER:
        return None

    def get(at: int, layout: str) -> tuple[int, ...]:
        found: tuple[int, ...] = struct.unpack_from(ends + layout, head, at)
        return found

    width, height = get(_IMAGE_AT + 4, "II")
    low, _, high = get(_ELEMENT_AT + 4, "III")
    kind, transfer, colour, bits = head[_ELEMENT_AT + 20 : _ELEMENT_AT + 24]
    across, down = get(_SHAPE_AT, "II")
    user = head[_HEADER + _USER_NAME : _HEADER + get(_USER_AT, "I")[0]]
    return StillWords(
        width=width,
        height=height,
        bits=bits if bits in DEPTHS else None,
        primaries=next((primaries for primaries, code in _COLOURS.items() if code == colour), None),
        transfer=_TRANSFERS.get(transfer),
        matrix=0 if kind == _RGB else None,
        range=range_of(low, high, bits),
        sample_aspect=(across, down) if across not in (0, _UNSET) and down not in (0, _UNSET) else None,
        comment=_text(head[_PROJECT_AT : _PROJECT_AT + _PROJECT]) or _text(user) or None,
    )


def _text(field: bytes) -> str:
    return field.split(b"\0")[0].decode("latin-1")
