"""Levels and code values: from a non-linear R'G'B' fraction to the integer in a file, exactly.

Everything here is exact: levels are `Fraction`, and `round_half_up` is the only rounding rule of the project.

Sources: ITU-R BT.601-7 Table 3 and BT.709-6 item 4 (narrow range, `INT[...]` to the nearest integer, halves up;
table numbers from memory), ITU-R BT.2100-2 Table 9 (full range; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from typing import Any, TypeVar, overload

from patterns.standards.levels import (
    CHROMA_EXCURSION_8BIT,
    CHROMA_ZERO_8BIT,
    FOOTROOM_8BIT,
    KB_601,
    KB_709,
    KR_601,
    KR_709,
    LUMA_EXCURSION_8BIT,
    usable_codes,
)

__all__ = [
    "DEPTHS",
    "Colour",
    "Edges",
    "Matrix",
    "Range",
    "Sampling",
    "Signal",
    "narrow_code_to_fraction",
    "round_half_up",
]

DEPTHS = (8, 10, 12, 16)

Values = TypeVar("Values")


@overload
def round_half_up(value: Fraction | int) -> int: ...
@overload
def round_half_up(value: Values) -> Values: ...
def round_half_up(value: Any) -> Any:
    """The standards' INT[x] operator: the nearest integer, halves towards plus infinity.

    Exact for `Fraction` and `int` (the result is an int) and for float64 arrays (the result is an array of whole
    floats). BT.601, BT.709 and BT.2020 define the operator so in a note to their quantisation equations.
    """
    return (2 * value + 1) // 2


class Range(StrEnum):
    """Which codes carry 0 and 100 %."""

    NARROW = "narrow"
    """16 to 235 of 8 bits, the range of video interfaces."""
    FULL = "full"
    """0 to 255 of 8 bits, the range of computer pictures."""


class Matrix(StrEnum):
    """The luma weights from which Y'CbCr is made."""

    BT601 = "601"
    BT709 = "709"

    @property
    def weights(self) -> tuple[Fraction, Fraction]:
        """KR and KB: of BT.601-7 or of BT.709-6."""
        if self is Matrix.BT601:
            return KR_601.value, KB_601.value
        return KR_709.value, KB_709.value


class Sampling(StrEnum):
    """Which components a file holds, and how many chroma samples."""

    RGB = "rgb"
    YCBCR_444 = "444"
    YCBCR_422 = "422"
    YCBCR_420 = "420"

    @property
    def is_rgb(self) -> bool:
        return self is Sampling.RGB

    @property
    def chroma_step(self) -> tuple[int, int]:
        """Luma samples and lines per chroma sample."""
        return {"rgb": (1, 1), "444": (1, 1), "422": (2, 1), "420": (2, 2)}[self.value]


class Edges(StrEnum):
    """How a transition along a line is drawn."""

    SHAPED = "shaped"
    """Integrated sine-squared, so that a converter to analogue does not ring."""
    HARD = "hard"
    """From one sample to the next."""


@dataclass(frozen=True, slots=True)
class Colour:
    """A non-linear R'G'B' value: 0 is black, 1 is nominal white; below 0 and above 1 are legal."""

    red: Fraction
    green: Fraction
    blue: Fraction

    @classmethod
    def grey(cls, level: Fraction | int) -> Colour:
        level = Fraction(level)
        return cls(level, level, level)

    @property
    def is_neutral(self) -> bool:
        return self.red == self.green == self.blue

    def scaled(self, level: Fraction) -> Colour:
        """The same colour with every component multiplied by `level`."""
        return Colour(self.red * level, self.green * level, self.blue * level)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """How R'G'B' fractions become integers."""

    range: Range
    matrix: Matrix
    bits: int
    sampling: Sampling
    edges: Edges = Edges.SHAPED

    def __post_init__(self) -> None:
        if self.bits not in DEPTHS:
            raise ValueError(f"bits: got {self.bits}; use {', '.join(map(str, DEPTHS))}")

    @property
    def components(self) -> tuple[str, str, str]:
        """The names of the three components in file order of this project."""
        return ("R", "G", "B") if self.sampling.is_rgb else ("Y", "Cb", "Cr")

    @property
    def limits(self) -> tuple[int, int]:
        """Lowest and highest code that may be written.

        Narrow range leaves out the codes that an interface keeps for timing references.
        """
        if self.range is Range.FULL:
            return 0, (1 << self.bits) - 1
        usable = usable_codes(self.bits)
        return usable.start, usable.stop - 1

    def exact(self, colour: Colour) -> tuple[Fraction, Fraction, Fraction]:
        """The three components of `colour` in codes, before rounding and clipping."""
        return _exact(self.range, self.matrix, self.bits, self.sampling.is_rgb, colour)

    def codes(self, colour: Colour) -> tuple[int, int, int]:
        """The three integers of `colour`, rounded half up and clipped only at the reserved codes."""
        low, high = self.limits
        first, second, third = (min(max(round_half_up(v), low), high) for v in self.exact(colour))
        return first, second, third

    def fraction_of(self, component: int, code: float) -> float:
        """The level that `code` stands for: 0 to 1 for R', G', B' and Y', -0.5 to 0.5 for C'B and C'R.

        `component` is 0, 1 or 2 in the order of `components`.
        """
        scale, offset = _scale_offset(self.range, self.bits, component > 0 and not self.sampling.is_rgb)
        return (code - float(offset)) / float(scale)


def _scale_offset(code_range: Range, bits: int, chroma: bool) -> tuple[Fraction, Fraction]:
    if code_range is Range.NARROW:
        step = 1 << (bits - 8)
        excursion, zero = (CHROMA_EXCURSION_8BIT, CHROMA_ZERO_8BIT) if chroma else (LUMA_EXCURSION_8BIT, FOOTROOM_8BIT)
        return Fraction(excursion.value * step), Fraction(zero.value * step)
    return Fraction((1 << bits) - 1), Fraction(1 << (bits - 1) if chroma else 0)


@lru_cache(maxsize=4096)
def _exact(
    code_range: Range, matrix: Matrix, bits: int, rgb: bool, colour: Colour
) -> tuple[Fraction, Fraction, Fraction]:
    scale, offset = _scale_offset(code_range, bits, chroma=False)
    if rgb:
        return colour.red * scale + offset, colour.green * scale + offset, colour.blue * scale + offset
    kr, kb = matrix.weights
    luma = kr * colour.red + (1 - kr - kb) * colour.green + kb * colour.blue
    chroma_scale, chroma_offset = _scale_offset(code_range, bits, chroma=True)
    return (
        luma * scale + offset,
        (colour.blue - luma) / (2 * (1 - kb)) * chroma_scale + chroma_offset,
        (colour.red - luma) / (2 * (1 - kr)) * chroma_scale + chroma_offset,
    )


def narrow_code_to_fraction(code: int, bits: int) -> Fraction:
    """The level of a narrow-range luma or R'G'B' code: 64 of 10 bits is 0, 940 is 1."""
    scale, offset = _scale_offset(Range.NARROW, bits, chroma=False)
    return (code - offset) / scale
