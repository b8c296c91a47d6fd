"""What a still picture's header says of it, in words that all kinds of file share."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from patterns.signal import DEPTHS, Range
from patterns.standards.levels import FOOTROOM_8BIT, LUMA_EXCURSION_8BIT
from render.tags import Tags

__all__ = ["StillWords", "range_of", "reference_codes", "with_words"]


@dataclass(frozen=True, slots=True, kw_only=True)
class StillWords:
    """Read from a header; None where it says nothing. `primaries`, `transfer` and `matrix` are H.273 code points."""

    width: int
    height: int
    bits: int | None = None
    """The codes' true depth, where it may differ from the depth that they are stored in."""
    primaries: int | None = None
    transfer: int | None = None
    matrix: int | None = None
    range: Range | None = None
    sample_aspect: tuple[int, int] | None = None
    """Width over height of a sample, as two positive numbers."""
    comment: str | None = None
    unread: str = ""
    """Why its samples cannot be read here, and what to do; one clause."""


def reference_codes(code_range: Range | None, depth: int) -> tuple[int, int]:
    """Codes of black and white in `depth` bits; a range that was not given is narrow."""
    if code_range is Range.FULL:
        return 0, (1 << depth) - 1
    return FOOTROOM_8BIT.value << (depth - 8), (FOOTROOM_8BIT.value + LUMA_EXCURSION_8BIT.value) << (depth - 8)


def range_of(black: Fraction | int, white: Fraction | int, depth: int) -> Range | None:
    """The range that has these codes of black and white in `depth` bits, or None."""
    if depth not in DEPTHS:
        return None
    return next((code_range for code_range in Range if reference_codes(code_range, depth) == (black, white)), None)


def with_words(tags: Tags, words: StillWords) -> Tags:
    """The tags of a still by its header alone: where that says nothing, a decoder's guesses are not the file's word."""
    return replace(
        tags,
        primaries=words.primaries,
        transfer=words.transfer,
        matrix=words.matrix,
        range=words.range,
        sample_aspect=Fraction(*words.sample_aspect) if words.sample_aspect else None,
        field_order=None,
    )
