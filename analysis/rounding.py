"""Numbers in words: figures with no more digits than their uncertainty justifies, and counts with their nouns."""

from __future__ import annotations

import math

__all__ = ["MOST", "counted", "decimals", "figure", "uncertainty_text", "unsigned"]

MOST = 3
"""Decimals: a thousandth of a millimetre or of a percent is beyond what any set holds still."""


def decimals(uncertainty: float | None, most: int = MOST) -> int:
    """How many decimals a figure gets: to the first digit of its uncertainty, to the second where the first is 1.

    At most two digits of an uncertainty are told (JCGM 100:2008, 7.2.6, from memory).
    """
    if uncertainty is None or not uncertainty > 0 or not math.isfinite(uncertainty):
        return most
    place = math.floor(math.log10(uncertainty))
    lead = uncertainty / 10**place
    if lead >= 9.5:
        place, lead = place + 1, 1.0
    return int(min(max(-place + (lead < 1.95), 0), most))


def counted(number: int, noun: str) -> str:
    """A number with its noun: '1 minute', '2 minutes'."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def figure(value: float | None, places: int) -> str:
    """A figure with its sign; `-` where it cannot be told, and no sign before what is rounded to nothing."""
    text = unsigned(value, places)
    return f"+{text}" if value is not None and value > 0 and text.strip("0.") else text


def unsigned(value: float | None, places: int) -> str:
    """A figure without a sign where it is positive."""
    if value is None:
        return "-"
    text = f"{value:.{places}f}"
    return text if text.strip("-0.") else text.lstrip("-")


def uncertainty_text(uncertainty: float | None, places: int) -> str:
    """A standard uncertainty, never 0: what rounds to 0 is one in the last digit; `-` where there is none."""
    return "-" if uncertainty is None else f"{max(uncertainty, 10.0**-places):.{places}f}"
