"""The faults of a playback chain in words: what is seen, what does it, what to change.

`trueraster verify`, the marked picture and the page on capturing all take their words from here; they are in
`remedies.toml`, which also says what each of them is and which {placeholders} there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from analysis.words import read_words

__all__ = ["FaultWords", "fault_words"]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultWords:
    """One fault; whoever fills in what `seen` leaves open rounds the values and gives them their sign."""

    id: str
    title: str
    seen: str
    """What the levels or the picture show, one sentence."""
    cause: str
    """What in a chain does it."""
    remedy: str
    """What to change, in a technician's words."""


@cache
def fault_words() -> dict[str, FaultWords]:
    """Every fault that can be named, by id: levels, colour, depth, scan, place, sharpness, and what is shown."""
    return {id: FaultWords(id=id, **words) for id, words in read_words(__package__, "remedies.toml").items()}
