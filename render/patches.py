"""Where the samples of a patch lie in a picture's planes; reading and proving look at the same ones."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from patterns.formats import Format
from patterns.placement import patch_area
from patterns.scene import Patch
from patterns.signal import Sampling
from render.quantise import Plane

__all__ = ["FEWEST_SAMPLES", "patch_samples"]

MARGIN_SAMPLES = 6
"""Samples that a measurement keeps from a patch's left and right edges: a shaped chroma edge reaches 4, and its
4:2:0 sample 1 more."""
MARGIN_LINES = 4
"""Lines kept from the upper and lower edges: a chroma sample of interlaced 4:2:0 spans 3."""
FEWEST_SAMPLES = 4
"""Fewer than these in a plane are too few to measure."""


def patch_samples(
    planes: Sequence[Plane],
    patch: Patch,
    fmt: Format,
    sampling: Sampling,
    scale: tuple[Fraction, Fraction] = (Fraction(1), Fraction(1)),
) -> list[Plane]:
    """The samples of each plane that lie wholly inside the patch, margins kept.

    `scale` is the frame's size over the raster's, across and down. Luma alone comes where chroma samples reach beyond
    the patch.
    """
    span = patch_area(fmt, patch, MARGIN_SAMPLES, MARGIN_LINES)
    parts = []
    for i, plane in enumerate(planes[: 1 if _is_luma_only(patch, sampling) else 3]):
        step_x, step_y = sampling.chroma_step if i > 0 else (1, 1)
        across, down = scale[0] / step_x, scale[1] / step_y
        left, right = -(-span.left * across // 1), span.right * across // 1
        top, bottom = -(-span.top * down // 1), span.bottom * down // 1
        parts.append(plane[max(0, int(top)) : max(0, int(bottom)), max(0, int(left)) : max(0, int(right))])
    return parts


def _is_luma_only(patch: Patch, sampling: Sampling) -> bool:
    """Whether chroma samples reach beyond the patch: over a line's height in 4:2:0, round a core in any subsampling."""
    step_x, step_y = sampling.chroma_step
    return (patch.thin and step_y > 1) or (patch.core and step_x > 1)
