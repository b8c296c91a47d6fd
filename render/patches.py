"""Where the samples of a patch lie in a picture's planes; reading and proving look at the same ones."""

from __future__ import annotations

from collections.abc import Sequence

from patterns.formats import Format
from patterns.placement import patch_area
from patterns.scene import Patch
from patterns.signal import Sampling
from render.quantise import Plane

__all__ = ["FEWEST_SAMPLES", "MARGIN_LINES", "MARGIN_SAMPLES", "is_luma_only", "patch_samples"]

MARGIN_SAMPLES = 6
"""Samples that a measurement keeps from a patch's left and right edges: a shaped chroma edge reaches 4, and its
4:2:0 sample 1 more."""
MARGIN_LINES = 4
"""Lines kept from the upper and lower edges: a chroma sample of interlaced 4:2:0 spans 3."""
FEWEST_SAMPLES = 4
"""Fewer than these in a plane are too few to measure."""


def patch_samples(planes: Sequence[Plane], patch: Patch, fmt: Format, sampling: Sampling) -> list[Plane]:
    """The samples of each plane of a raster that lie wholly inside the patch, margins kept.

    Luma alone comes where chroma samples reach beyond the patch.
    """
    span = patch_area(fmt, patch, MARGIN_SAMPLES, MARGIN_LINES)
    parts = []
    for i, plane in enumerate(planes[: 1 if is_luma_only(patch, sampling) else 3]):
        step_x, step_y = sampling.chroma_step if i > 0 else (1, 1)
        rows = slice(-(-span.top // step_y), span.bottom // step_y)
        parts.append(plane[rows, -(-span.left // step_x) : span.right // step_x])
    return parts


def is_luma_only(patch: Patch, sampling: Sampling) -> bool:
    """Whether chroma samples reach beyond the patch: over a line's height in 4:2:0, round a core in any subsampling."""
    step_x, step_y = sampling.chroma_step
    return (patch.thin and step_y > 1) or (patch.core and step_x > 1)
