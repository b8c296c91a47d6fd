"""How an order of a kit is told to people."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from patterns.pattern import percent_text

if TYPE_CHECKING:
    # Not for its words: it takes time to import.
    from render.produce import Order

__all__ = ["given_words"]


def given_words(order: Order) -> dict[str, str]:
    """The options of an order, by name, as people write them: '16 x 12', '10 %', 'red'."""

    def words(value: object) -> str:
        if isinstance(value, tuple):
            return " x ".join(map(str, value))
        return f"{percent_text(value)} %" if isinstance(value, Fraction) else str(value)

    return {name: words(value) for name, value in order.options.given.items()}
