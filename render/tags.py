"""What a file says of its own picture, besides the samples."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from urllib.parse import parse_qsl, urlencode

from patterns.formats import Family, FieldOrder, Format
from patterns.signal import Matrix, Range, Sampling, Signal
from patterns.standards.colour import Matrix as MatrixCode
from patterns.standards.colour import Primaries, Transfer

__all__ = ["Provenance", "Tags", "tags_for"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tags:
    """Size, shape, scan, rate and colour of a file. None is what the file does not say.

    `primaries`, `transfer` and `matrix` are ITU-T H.273 code points.
    """

    width: int
    height: int
    sampling: Sampling
    bits: int
    sample_aspect: Fraction | None = None
    field_order: FieldOrder | None = None
    rate: Fraction | None = None
    """Frames per second."""
    primaries: int | None = None
    transfer: int | None = None
    matrix: int | None = None
    range: Range | None = None
    frames: int | None = None


def tags_for(fmt: Format, signal: Signal, frames: int) -> Tags:
    """The tags that a file of `frames` frames has to carry.

    525 lines: BT.601 with the primaries of SMPTE 170M; 625 lines: BT.601 with those of BT.470 system B/G; else BT.709.
    A computer's R'G'B' raster is sRGB, so that a viewer leaves its codes alone.
    """
    if fmt.family is Family.SD525:
        primaries, transfer = Primaries.SMPTE170M, Transfer.BT601
    elif fmt.family is Family.SD625:
        primaries, transfer = Primaries.BT470BG, Transfer.BT601
    elif fmt.family is Family.COMPUTER and signal.sampling.is_rgb:
        primaries, transfer = Primaries.BT709, Transfer.SRGB
    else:
        primaries, transfer = Primaries.BT709, Transfer.BT709
    if signal.sampling.is_rgb:
        matrix = MatrixCode.RGB
    elif signal.matrix is Matrix.BT709:
        matrix = MatrixCode.BT709
    else:
        # Both code points of BT.601 have the same weights; each goes with its own line system.
        matrix = MatrixCode.BT470BG if fmt.family is Family.SD625 else MatrixCode.SMPTE170M
    return Tags(
        width=fmt.width,
        height=fmt.height,
        sampling=signal.sampling,
        bits=signal.bits,
        sample_aspect=fmt.sample_aspect,
        field_order=fmt.field_order,
        rate=fmt.frame_rate,
        primaries=primaries,
        transfer=transfer,
        matrix=matrix,
        range=signal.range,
        frames=frames,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Provenance:
    """What a file of ours says of its pattern, as one word without spaces in the file's comment."""

    fields: tuple[tuple[str, str], ...]

    def __str__(self) -> str:
        return urlencode((("made-by", "trueraster"), *self.fields))

    @classmethod
    def parse(cls, text: str) -> Provenance | None:
        """Read a comment back, or None when it is somebody else's."""
        pairs = parse_qsl(text.strip())
        if not pairs or pairs[0] != ("made-by", "trueraster"):
            return None
        return cls(fields=tuple(pairs[1:]))

    def get(self, name: str) -> str | None:
        return dict(self.fields).get(name)
