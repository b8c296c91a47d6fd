"""Limits of figures, and how a figure is judged by one."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from analysis.answer import Figure

__all__ = ["SURE", "Limit", "Verdict", "judged"]

SURE = 2.0
"""How many standard uncertainties a figure has to lie from a limit to be judged by it: nineteen cases of twenty."""


class Verdict(StrEnum):
    """What a figure is by its limit."""

    WITHIN = "within"
    BEYOND = "beyond"
    OPEN = "open"
    """Its uncertainty leaves it open."""

    @property
    def words(self) -> str:
        """For people."""
        return {"within": "in order", "beyond": "out", "open": "not certain"}[self.value]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """What a figure may be, in its own unit. At least one of the two bounds is there."""

    least: float | None = None
    most: float | None = None
    of_size: bool = False
    """Whether `most` is of the size of the figure, whatever its sign."""

    def words(self, *, signed: bool) -> str:
        """'at most 0.3', '± 2', '2.3 to 2.5'."""
        if self.of_size and signed and self.most:
            return f"± {number(self.most)}"
        if self.least is None or self.of_size:
            return f"at most {number(self.most or 0.0)}"
        if self.most is None:
            return f"at least {number(self.least)}"
        return f"{number(self.least)} to {number(self.most)}"


def number(value: float) -> str:
    """As it would be typed: '0.3', '9300', '-1'."""
    text = f"{value:.10f}".rstrip("0").rstrip(".")
    return text if text.strip("-0.") else "0"


def judged(one: Figure, limit: Limit | None) -> Verdict | None:
    """A figure by its limit; None where there is no value or no limit.

    A figure without an uncertainty is judged by its value alone.
    """
    if one.value is None or limit is None:
        return None
    value = abs(one.value) if limit.of_size else one.value
    doubt = SURE * (one.uncertainty or 0.0)
    # Room on either side: below nothing where a limit is passed.
    rooms = [limit.most - value] if limit.most is not None else []
    rooms += [value - limit.least] if limit.least is not None else []
    room = min(rooms)
    if room >= doubt:
        return Verdict.WITHIN
    return Verdict.BEYOND if room < -doubt else Verdict.OPEN
