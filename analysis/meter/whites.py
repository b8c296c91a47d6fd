"""Whites and sets of primaries that can be named."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from patterns.standards.colour import PRIMARIES_525, PRIMARIES_625, PRIMARIES_BT709, WHITE_D65, WHITE_D93

__all__ = ["D65", "D93", "PRIMARY_SETS", "PrimarySet", "White", "exchanged_guns", "primaries_of", "white_of"]

FROM_READINGS = "readings"
"""The word for the tube's own primaries, as the readings have them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class White:
    """A target white."""

    name: str
    """As it is typed."""
    title: str
    xy: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class PrimarySet:
    """Three primaries of a standard, all with white D65."""

    name: str
    """As it is typed."""
    short: str
    """In a sentence."""
    title: str
    xy: tuple[tuple[float, float], tuple[float, float], tuple[float, float]]
    """Red, green, blue."""


def _points(values: Sequence[Fraction]) -> list[tuple[float, float]]:
    pairs = zip(values[::2], values[1::2], strict=True)
    return [(float(x), float(y)) for x, y in pairs]


def _primaries(name: str, short: str, of: str, values: Sequence[Fraction]) -> PrimarySet:
    red, green, blue = _points(values)
    return PrimarySet(name=name, short=short, title=f"{short} ({of})", xy=(red, green, blue))


D65 = White(name="d65", title="D65", xy=_points(WHITE_D65.value)[0])
D93 = White(name="d93", title="D93", xy=_points(WHITE_D93.value)[0])
PRIMARY_SETS = (
    _primaries("smpte-c", "SMPTE C", "525 lines", PRIMARIES_525.value),
    _primaries("ebu-3213", "EBU 3213", "625 lines", PRIMARIES_625.value),
    _primaries("bt709", "BT.709", "high definition", PRIMARIES_BT709.value),
)


def exchanged_guns(spots: Sequence[Sequence[float]]) -> tuple[int, int] | None:
    """Of red's, green's and blue's x and y: one that is another's, and which; None where all are their own.

    They are exchanged where each is nearest to another primary of the named sets than the rest are; where two are
    nearest to one, the tube or its white is odd, and nothing is exchanged.
    """

    def like(spot: Sequence[float]) -> int:
        def away(gun: int) -> float:
            return min((spot[0] - one.xy[gun][0]) ** 2 + (spot[1] - one.xy[gun][1]) ** 2 for one in PRIMARY_SETS)

        return min(range(3), key=away)

    seen = [like(spot) for spot in spots]
    if len(set(seen)) < len(seen):
        return None
    return next(((gun, other) for gun, other in enumerate(seen) if gun != other), None)


_SPREAD = (0.2, 0.45)
"""Of x and of y: a white beyond is a slip, such as u'v' or a typing error."""


def white_of(text: str) -> White:
    """A target white as it is typed: `d65`, `d93`, or any chromaticity as `x,y`.

    Raises:
        ValueError: it is neither, or no white; one line that names the option.
    """
    word = text.strip().lower()
    for white in (D65, D93):
        if word == white.name:
            return white
    found = re.fullmatch(r"(0?\.\d{1,6})\s*,\s*(0?\.\d{1,6})", word)
    if found is None:
        raise ValueError(f"--white: got {text[:40]!r}, d65, d93 or a chromaticity such as 0.3127,0.3290 is expected")
    x, y = float(found[1]), float(found[2])
    low, high = _SPREAD
    if not (low <= x <= high and low <= y <= high):
        raise ValueError(f"--white: got {text[:40]!r}, which is no white: x and y from {low} to {high} are expected")
    return White(name=f"{x:g},{y:g}", title=f"x {x:g}, y {y:g}", xy=(x, y))


def primaries_of(text: str, *, or_readings: bool = False) -> PrimarySet | None:
    """A set of primaries as it is typed; None for `readings`, the tube's own, where those may be asked for.

    Raises:
        ValueError: it is no such word; one line that names the option.
    """
    word = text.strip().lower()
    if or_readings and word == FROM_READINGS:
        return None
    for known in PRIMARY_SETS:
        if word == known.name:
            return known
    allowed = [known.name for known in PRIMARY_SETS] + [FROM_READINGS] * or_readings
    raise ValueError(f"--primaries: got {text[:40]!r}, allowed are {', '.join(allowed)}")
