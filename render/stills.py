"""What a still picture's header says of it, in words that all kinds of file share."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from patterns.signal import Range
from render.tags import Tags

__all__ = ["StillWords", "with_words"]


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
