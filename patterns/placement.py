"""Where picture coordinates come to lie in a raster: whole samples, symmetric about the picture's centre.

Raster positions count samples from the raster's left edge and lines from its top; sample j covers j to j + 1 and its
centre is j + 1/2 (docs/reference/formats.md).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.formats import Format
from patterns.scene import Box, Gradient, Patch, Pulse, Rule, Wave
from patterns.signal import round_half_up

__all__ = ["Span", "area", "column", "line", "patch_area", "rule_area", "snap", "stroke", "wave_area"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Whole samples and lines, half open: left <= column < right, top <= row < bottom, cut to the raster."""

    left: int
    top: int
    right: int
    bottom: int

    @property
    def is_empty(self) -> bool:
        return self.left >= self.right or self.top >= self.bottom


def column(fmt: Format, x: Fraction) -> Fraction:
    """The raster position of picture coordinate `x`, exact."""
    return fmt.picture.left + x * fmt.picture.width


def line(fmt: Format, y: Fraction) -> Fraction:
    """The raster position of picture coordinate `y`, exact."""
    return fmt.picture.top + y * fmt.picture.height


def snap(value: Fraction, size: int) -> Fraction:
    """The sample boundary nearest to `value` (in picture coordinates) times `size`; ties go away from the centre.

    Mirrored positions snap to mirrored boundaries. The very centre of an odd size is no boundary: there the result is
    the half.
    """
    position = value * size
    if 2 * position == size:
        return position
    return Fraction(round_half_up(position) if 2 * position > size else -round_half_up(-position))


def stroke(fmt: Format) -> tuple[int, int]:
    """Width in samples and height in lines of one stroke: both even, so that a stroke is centred on a boundary.

    Two lines below 1620 lines, one in each field when interlaced; the width is the even number of samples nearest to
    the same length on the glass.
    """
    lines = 2 * max(1, round_half_up(Fraction(fmt.height, 1080)))
    samples = 2 * max(1, round_half_up(lines / (2 * fmt.sample_aspect)))
    return samples, lines


def area(fmt: Format, shape: Box | Gradient) -> Span:
    """The samples of a box, its edges on the nearest boundaries."""
    return _span(fmt, shape.left, shape.top, shape.right, shape.bottom)


def wave_area(fmt: Format, shape: Wave | Pulse) -> Span:
    """The samples of a wave's rectangle, or those that a pulse reaches."""
    if isinstance(shape, Wave):
        return _span(fmt, shape.left, shape.top, shape.right, shape.bottom)
    # A sample more on both sides: at its end a pulse is 0, wherever between two boundaries that is.
    more = shape.half_duration + Fraction(1, fmt.picture.width)
    return _span(fmt, shape.start - more, shape.top, shape.stop + more, shape.bottom)


def patch_area(fmt: Format, patch: Patch, margin_x: int, margin_y: int) -> Span:
    """The samples of a patch that lie at least the margins inside its drawn edges."""
    whole = _span(fmt, patch.left, patch.top, patch.right, patch.bottom)
    if patch.core:
        return whole
    if patch.thin:
        margin_y = 0
    # At the raster's edge there is no edge to keep clear of; but a slope is measured about its middle.
    return Span(
        left=whole.left + margin_x * (whole.left > 0 or patch.sloped),
        top=whole.top + margin_y * (whole.top > 0),
        right=whole.right - margin_x * (whole.right < fmt.width or patch.sloped),
        bottom=whole.bottom - margin_y * (whole.bottom < fmt.height),
    )


def rule_area(fmt: Format, rule: Rule) -> Span:
    """The samples of a rule: its strokes centred on the snapped position.

    At the exact centre of an odd raster the rule is one sample thinner, which keeps it on whole samples and symmetric.
    """
    samples, lines = stroke(fmt)
    if rule.vertical:
        first, last = _thick(snap(rule.at, fmt.picture.width), samples * rule.weight)
        along = _span(fmt, Fraction(0), rule.start, Fraction(1), rule.stop)
        return _cut(fmt, fmt.picture.left + first, along.top, fmt.picture.left + last, along.bottom)
    first, last = _thick(snap(rule.at, fmt.picture.height), lines * rule.weight)
    along = _span(fmt, rule.start, Fraction(0), rule.stop, Fraction(1))
    return _cut(fmt, along.left, fmt.picture.top + first, along.right, fmt.picture.top + last)


def _thick(centre: Fraction, thickness: int) -> tuple[int, int]:
    if centre.denominator != 1:
        thickness = max(thickness - 1, 1)
    first = centre - Fraction(thickness, 2)
    return int(first), int(first) + thickness


def _span(fmt: Format, left: Fraction, top: Fraction, right: Fraction, bottom: Fraction) -> Span:
    def edge(value: Fraction, size: int) -> int:
        # The centre of an odd size has no boundary of its own: take the one after it.
        return round_half_up(snap(value, size))

    return _cut(
        fmt,
        fmt.picture.left + edge(left, fmt.picture.width),
        fmt.picture.top + edge(top, fmt.picture.height),
        fmt.picture.left + edge(right, fmt.picture.width),
        fmt.picture.top + edge(bottom, fmt.picture.height),
    )


def _cut(fmt: Format, left: int, top: int, right: int, bottom: int) -> Span:
    return Span(
        left=min(max(left, 0), fmt.width),
        top=min(max(top, 0), fmt.height),
        right=min(max(right, 0), fmt.width),
        bottom=min(max(bottom, 0), fmt.height),
    )
