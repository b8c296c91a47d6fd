"""TIFF pictures (TIFF 6.0): R'G'B' with the codes' own range, the primaries and the samples' shape.

Written by the library tifffile. Read back here, tag by tag (their numbers from memory); the samples are libavcodec's to
decode.
"""

from __future__ import annotations

import io
import struct
from collections.abc import Mapping
from fractions import Fraction
from typing import IO

import numpy as np

from patterns.signal import Range
from patterns.standards.colour import CHROMATICITIES, Primaries
from render.files.png import stored_codes
from render.files.stills import StillWords, range_of, reference_codes
from render.quantise import Planes
from render.tags import Provenance, Tags

__all__ = ["read_tiff", "write_tiff"]

_WIDTH, _HEIGHT, _BITS, _PHOTOMETRIC, _DESCRIPTION, _ACROSS, _DOWN, _UNIT = 256, 257, 258, 262, 270, 282, 283, 296
_WHITE_POINT, _CHROMATICITIES, _TILE_WIDTH, _BLACK_WHITE = 318, 319, 322, 532
_RGB, _NO_UNIT = 2, 1
_KINDS = {1: ("B", 1), 2: ("B", 1), 3: ("H", 1), 4: ("I", 1), 5: ("I", 2)}
"""Types of values, as `struct` has them, and how many of those make one: BYTE, ASCII, SHORT, LONG, RATIONAL."""


def write_tiff(file: IO[bytes], planes: Planes, tags: Tags, comment: str) -> None:
    """Write R'G'B' planes of `tags.bits` bits, without compression; depths between 8 and 16 are stored in 16.

    The range is in ReferenceBlackWhite, in stored codes. A depth other than the stored one is in the comment,
    as the word `bits`: no tag says how many of the stored bits matter.
    """
    # Of use here alone: 30 ms.
    import tifffile

    stored = np.stack([stored_codes(plane, tags) for plane in planes], axis=-1)
    aspect = tags.sample_aspect or Fraction(1)
    white, points = CHROMATICITIES[Primaries(tags.primaries or Primaries.BT709)]
    # numpy, which writes into a file itself, gives no system error where a limit or a full disk stops it.
    whole = io.BytesIO()
    tifffile.imwrite(
        whole,
        stored,
        byteorder="<",
        photometric="rgb",
        metadata=None,
        description=comment if tags.bits in (8, 16) else f"{comment}&bits={tags.bits}",
        software="trueraster",
        # Samples per unit: a sample half as wide as high comes twice as often across.
        resolution=((aspect.denominator, 1), (aspect.numerator, 1)),
        resolutionunit="NONE",
        extratags=[
            _rationals(_WHITE_POINT, white),
            _rationals(_CHROMATICITIES, points),
            _rationals(
                _BLACK_WHITE, tuple(map(Fraction, reference_codes(tags.range, 8 if tags.bits == 8 else 16) * 3))
            ),
        ],
    )
    file.write(whole.getbuffer())


def _rationals(tag: int, values: tuple[Fraction, ...]) -> tuple[int, str, int, tuple[int, ...], bool]:
    parts = tuple(part for value in values for part in (value.numerator, value.denominator))
    return tag, "2I", len(values), parts, True


def read_tiff(head: bytes) -> StillWords | None:
    """Read the first picture's tags from the start of a TIFF file, or None when `head` is none that can be read.

    Tags that are malformed or lie beyond `head` are passed over.
    """
    ends = {b"II*\0": "<", b"MM\0*": ">"}.get(head[:4])
    tags = _directory(head, ends) if ends is not None else {}
    size = tags.get(_WIDTH), tags.get(_HEIGHT)
    if not (size[0] and size[1]):
        return None
    text = bytes(value % 256 for value in tags.get(_DESCRIPTION, ())).split(b"\0")[0].decode("latin-1")
    stated = Provenance.parse(text)
    depth = stated.get("bits") if stated else None
    return StillWords(
        width=size[0][0],
        height=size[1][0],
        bits=int(depth) if depth in ("10", "12") else None,
        primaries=_primaries(_fractions(tags, _WHITE_POINT), _fractions(tags, _CHROMATICITIES)),
        matrix=0 if tags.get(_PHOTOMETRIC) == (_RGB,) else None,
        range=_range(_fractions(tags, _BLACK_WHITE), tags.get(_BITS, (0,))[0]),
        sample_aspect=_aspect(tags),
        comment=text or None,
        # The decoder takes tiles for strips: a frame of noise and black, without a word of it.
        unread="a TIFF file in tiles is not read; save it in strips, or as PNG" if _TILE_WIDTH in tags else "",
    )


def _directory(head: bytes, ends: str) -> dict[int, tuple[int, ...]]:
    """The tags of whole numbers and of ratios (as two numbers each) in the first directory."""
    tags: dict[int, tuple[int, ...]] = {}
    (at,) = struct.unpack_from(f"{ends}I", head.ljust(8, b"\0"), 4)
    count = int.from_bytes(head[at : at + 2], "little" if ends == "<" else "big")
    for entry in range(at + 2, min(at + 2 + 12 * count, len(head) - 11), 12):
        tag, kind, values = struct.unpack_from(f"{ends}HHI", head, entry)
        letter, parts = _KINDS.get(kind, ("", 0))
        size = struct.calcsize(f"={letter}") * parts * values
        (place,) = (entry + 8,) if size <= 4 else struct.unpack_from(f"{ends}I", head, entry + 8)
        if size > 0 and place + size <= len(head):
            tags[tag] = struct.unpack_from(f"{ends}{parts * values}{letter}", head, place)
    return tags


def _fractions(tags: Mapping[int, tuple[int, ...]], tag: int) -> tuple[Fraction, ...]:
    value = tags.get(tag, ())
    return () if len(value) % 2 or 0 in value[1::2] else tuple(map(Fraction, value[::2], value[1::2]))


def _primaries(white: tuple[Fraction, ...], points: tuple[Fraction, ...]) -> int | None:
    return next((int(code) for code, known in CHROMATICITIES.items() if known == (white, points)), None)


def _range(codes: tuple[Fraction, ...], depth: int) -> Range | None:
    # Black and white of each component; stored are 8 or 16 bits.
    alike = len(codes) == 6 and codes == codes[:2] * 3
    return range_of(codes[0], codes[1], depth) if alike and depth in (8, 16) else None


def _aspect(tags: Mapping[int, tuple[int, ...]]) -> tuple[int, int] | None:
    across, down = _fractions(tags, _ACROSS), _fractions(tags, _DOWN)
    if tags.get(_UNIT) != (_NO_UNIT,) or not across or not down or 0 in (across[0], down[0]):
        return None
    shape = down[0] / across[0]
    return shape.numerator, shape.denominator
