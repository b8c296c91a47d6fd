"""PNG files with the codes and the tags that a picture of ours needs.

PNG Specification, third edition (W3C, 2025): chunks IHDR, cICP (colour code points and range), sBIT (depths other than
8 and 16), pHYs (sample aspect), tEXt (words), IDAT. General picture libraries write no 16-bit R'G'B' or no cICP.
A picture without cICP says its range in its words, so that no viewer converts it.
"""

from __future__ import annotations

import struct
import zlib
from typing import IO

import numpy as np

from patterns.signal import Range
from render.files.stills import StillWords
from render.quantise import Plane, Planes
from render.tags import Provenance, Tags

__all__ = ["read_png", "stored_codes", "write_png"]

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_UP = 2
"""Filter type: each byte less the one above. Test pictures mostly repeat their rows."""


def write_png(file: IO[bytes], planes: Planes, tags: Tags, comment: str) -> None:
    """Write R'G'B' planes of `tags.bits` bits. Depths between 8 and 16 are stored in 16, their own depth in sBIT.

    Without primaries in the tags there is no cICP chunk.
    """
    depth = 8 if tags.bits == 8 else 16
    stored = [stored_codes(plane, tags) for plane in planes]
    samples = np.stack(stored, axis=-1).astype(">u2" if depth == 16 else np.uint8)
    rows = samples.reshape(tags.height, -1).view(np.uint8).reshape(tags.height, -1)
    filtered = np.empty((tags.height, rows.shape[1] + 1), np.uint8)
    filtered[:, 0] = _UP
    filtered[0, 1:] = rows[0]
    filtered[1:, 1:] = rows[1:] - rows[:-1]
    file.write(_SIGNATURE)
    _chunk(file, b"IHDR", struct.pack(">IIBBBBB", tags.width, tags.height, depth, 2, 0, 0, 0))
    if tags.primaries is not None:
        _chunk(file, b"cICP", bytes([tags.primaries, tags.transfer or 2, 0, tags.range is Range.FULL]))
    if tags.bits not in (8, 16):
        _chunk(file, b"sBIT", bytes([tags.bits] * 3))
    if tags.sample_aspect is not None:
        # Samples per unit: a sample half as wide as high comes twice as often across.
        _chunk(file, b"pHYs", struct.pack(">IIB", tags.sample_aspect.denominator, tags.sample_aspect.numerator, 0))
    _chunk(file, b"tEXt", b"Comment\0" + comment.encode("latin-1"))
    _chunk(file, b"IDAT", zlib.compress(filtered.tobytes(), 6))
    _chunk(file, b"IEND", b"")


def stored_codes(plane: Plane, tags: Tags) -> Plane:
    """The codes of a plane as PNG stores them.

    Narrow range goes up by a shift, which is exact by the standards' own equations; full range repeats its top bits, so
    that white stays all ones. A shift down by 16 - bits gives the codes back in both cases.
    """
    if tags.bits in (8, 16):
        return plane
    up = plane << (16 - tags.bits)
    return up if tags.range is Range.NARROW else up | plane >> (2 * tags.bits - 16)


def _chunk(file: IO[bytes], kind: bytes, data: bytes) -> None:
    file.write(struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)))


def read_png(head: bytes) -> StillWords | None:
    """Read the chunks at the start of a PNG file, or None when `head` is no PNG. Malformed chunks are passed over."""
    if not head.startswith(_SIGNATURE) or len(head) < 33 or head[12:16] != b"IHDR":
        return None
    width, height = struct.unpack(">II", head[16:24])
    found: dict[bytes, bytes] = {}
    at = 8
    while at + 8 <= len(head):
        (length,) = struct.unpack(">I", head[at : at + 4])
        kind, data = head[at + 4 : at + 8], head[at + 8 : at + 8 + length]
        if kind == b"IDAT" or len(data) < length:
            break
        if kind != b"tEXt" or data.startswith(b"Comment\0"):
            found.setdefault(kind, data)
        at += length + 12
    bits, colour, shape = found.get(b"sBIT"), found.get(b"cICP"), found.get(b"pHYs")
    per_unit = struct.unpack(">IIB", shape) if shape is not None and len(shape) == 9 else (0, 0, 1)
    depth = max(bits) if bits else None
    comment = found[b"tEXt"][8:].decode("latin-1") if b"tEXt" in found else None
    primaries, transfer, matrix, full = colour if colour is not None and len(colour) == 4 else (None, None, None, None)
    return StillWords(
        width=width,
        height=height,
        bits=depth if depth in (10, 12) else None,
        primaries=primaries,
        transfer=transfer,
        matrix=matrix,
        range=_range_in(comment) if full is None else (Range.FULL if full else Range.NARROW),
        sample_aspect=(per_unit[1], per_unit[0]) if per_unit[2] == 0 and all(per_unit[:2]) else None,
        comment=comment,
    )


def _range_in(comment: str | None) -> Range | None:
    """The range that a picture of ours says in its words, or None."""
    provenance = Provenance.parse(comment) if comment else None
    said = provenance.get("range") if provenance is not None else None
    return next((code_range for code_range in Range if code_range.value == said), None)
