"""What is said of a slide: which of its levels the range cannot hold."""

from __future__ import annotations

from patterns.signal import Range
from render.carriers import CARRIERS
from trueraster.options.orders import Wish, lost_levels
from trueraster.show.slide import Slide

__all__ = ["lost_words"]


def lost_words(slide: Slide) -> str:
    """Which levels are clipped in the chosen range, and where they are whole; nothing where all are held."""
    wish = Wish(
        pattern=slide.pattern,
        options=slide.options,
        format=slide.format,
        carrier=CARRIERS["png"],
        signal=slide.signal,
    )
    lost = lost_levels(wish)
    if not lost:
        return ""
    more = " An output set to video levels shows it: --range narrow" if slide.signal.range is Range.FULL else ""
    return f"{slide.pattern.id}: {lost}; what lies beyond is clipped.{more}"
