"""TIFF pictures (TIFF 6.0): R'G'B' with the codes' own range, the primaries and the samples' shape.

Written by the library tifffile. Read back here: the few tags that are ours; the samples are libavcodec's to decode.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from fractions import Fraction
from typing import IO, Any

import numpy as np

from patterns.signal import Range
from patterns.standards import CHROMATICITIES, FOOTROOM_8BIT, LUMA_EXCURSION_8BIT, Primaries
from render.png import stored_codes
from render.quantise import Planes
from render.stills import StillWords
from render.tags import Provenance, Tags

__all__ = ["read_tiff", "write_tiff"]

_BITS, _PHOTOMETRIC, _DESCRIPTION, _ACROSS, _DOWN, _UNIT = 258, 262, 270, 282, 283, 296
_WHITE_POINT, _CHROMATICITIES, _BLACK_WHITE = 318, 319, 532
_RGB, _NO_UNIT = 2, 1


def write_tiff(file: IO[bytes], planes: Planes, tags: Tags, comment: str) -> None:
    """Write R'G'B' planes of `tags.bits` bits, without compression; depths between 8 and 16 are stored in 16.

    The range stands in ReferenceBlackWhite, in stored codes. A depth other than the stored one stands in the comment,
    as the word `bits`: no tag says how many of the stored bits matter.
    """
    # Slow to import, and of use here alone.
    import tifffile

    stored = np.stack([stored_codes(plane, tags) for plane in planes], axis=-1)
    aspect = tags.sample_aspect or Fraction(1)
    white, points = CHROMATICITIES[Primaries(tags.primaries or Primaries.BT709)]
    tifffile.imwrite(
        file,
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
            _rationals(_BLACK_WHITE, tuple(map(Fraction, _reference(tags.range, 8 if tags.bits == 8 else 16) * 3))),
        ],
    )


def _reference(code_range: Range | None, depth: int) -> tuple[int, int]:
    """Codes of black and white as they are stored in `depth` bits."""
    if code_range is Range.FULL:
        return 0, (1 << depth) - 1
    return FOOTROOM_8BIT.value << (depth - 8), (FOOTROOM_8BIT.value + LUMA_EXCURSION_8BIT.value) << (depth - 8)


def _rationals(tag: int, values: tuple[Fraction, ...]) -> tuple[int, str, int, tuple[int, ...], bool]:
    parts = tuple(part for value in values for part in (value.numerator, value.denominator))
    return tag, "2I", len(values), parts, True


def read_tiff(head: bytes) -> StillWords | None:
    """Read the first picture's tags from the start of a TIFF file, or None when `head` is none that can be read.

    Tags that are malformed or lie beyond `head` are passed over.
    """
    if head[:4] not in (b"II*\0", b"MM\0*"):
        return None
    import tifffile

    try:
        with tifffile.TiffFile(io.BytesIO(head)) as file:
            tags = {int(tag.code): tag.value for tag in file.pages.first.tags}
        width, height = int(tags[256]), int(tags[257])
        text = str(tags.get(_DESCRIPTION, ""))
        told = Provenance.parse(text)
        depth = told.get("bits") if told else None
        return StillWords(
            width=width,
            height=height,
            bits=int(depth) if depth in ("10", "12") else None,
            primaries=_primaries(_fractions(tags.get(_WHITE_POINT)), _fractions(tags.get(_CHROMATICITIES))),
            matrix=0 if tags.get(_PHOTOMETRIC) == _RGB else None,
            range=_range(_fractions(tags.get(_BLACK_WHITE)), tags.get(_BITS)),
            sample_aspect=_aspect(tags),
            comment=text or None,
        )
    except Exception:
        # The library raises whatever a damaged file leads it to; the decoder will say that the file is damaged.
        return None


def _fractions(value: object) -> tuple[Fraction, ...]:
    if not isinstance(value, tuple) or not all(isinstance(part, int) for part in value) or 0 in value[1::2]:
        return ()
    return tuple(Fraction(value[i], value[i + 1]) for i in range(0, len(value) - 1, 2))


def _primaries(white: tuple[Fraction, ...], points: tuple[Fraction, ...]) -> int | None:
    return next((int(code) for code, known in CHROMATICITIES.items() if known == (white, points)), None)


def _range(codes: tuple[Fraction, ...], bits: object) -> Range | None:
    depth = bits[0] if isinstance(bits, tuple) else bits
    for code_range in Range:
        if depth in (8, 16) and codes == tuple(map(Fraction, _reference(code_range, depth) * 3)):
            return code_range
    return None


def _aspect(tags: Mapping[int, Any]) -> tuple[int, int] | None:
    across, down = _fractions(tags.get(_ACROSS)), _fractions(tags.get(_DOWN))
    if tags.get(_UNIT) != _NO_UNIT or not across or not down or 0 in (across[0], down[0]):
        return None
    shape = down[0] / across[0]
    return shape.numerator, shape.denominator
