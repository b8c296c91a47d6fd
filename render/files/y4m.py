"""Raw Y'CbCr frames with a header line, as the YUV4MPEG2 manual page describes them (from memory)."""

from __future__ import annotations

import numpy as np

from patterns.formats import FieldOrder
from patterns.signal import Range, Sampling
from render.quantise import Plane, Planes
from render.tags import Tags

__all__ = ["frame_bytes", "header", "plane_bytes"]

_SCAN = {FieldOrder.PROGRESSIVE: "p", FieldOrder.TOP: "t", FieldOrder.BOTTOM: "b"}


def header(tags: Tags) -> bytes:
    """The header line. Colour code points have no field of their own and go into one for comments.

    Readers take no more than 80 to 128 characters of it, so there is no room for the pattern's name.
    """
    assert tags.rate is not None
    assert tags.sample_aspect is not None
    assert tags.field_order is not None
    sampling = tags.sampling.value
    if tags.sampling is Sampling.YCBCR_420 and tags.bits == 8:
        # MPEG-2 siting: on the left luma column, between the lines.
        sampling = "420mpeg2"
    elif tags.bits > 8:
        sampling += f"p{tags.bits}"
    words = (
        "YUV4MPEG2",
        f"W{tags.width}",
        f"H{tags.height}",
        f"F{tags.rate.numerator}:{tags.rate.denominator}",
        f"I{_SCAN[tags.field_order]}",
        f"A{tags.sample_aspect.numerator}:{tags.sample_aspect.denominator}",
        f"C{sampling}",
        f"XCOLORRANGE={'FULL' if tags.range is Range.FULL else 'LIMITED'}",
        f"XH273={tags.primaries}-{tags.transfer}-{tags.matrix}",
    )
    return " ".join(words).encode("ascii") + b"\n"


def frame_bytes(planes: Planes) -> bytes:
    """One frame: its mark, then the planes row by row, above 8 bits two bytes a sample, low end first."""
    return b"FRAME\n" + b"".join(plane_bytes(plane) for plane in planes)


def plane_bytes(plane: Plane) -> bytes:
    """The samples of a plane row by row, low end first."""
    return np.ascontiguousarray(plane, dtype=plane.dtype.newbyteorder("<")).tobytes()
