"""How an order of a kit is told to people."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from patterns.formats import Format, parse_format
from patterns.pattern import percent_text

if TYPE_CHECKING:
    # Not for its words: it takes time to import.
    from render.produce import Order

__all__ = ["format_words", "given_words"]


def format_words(fmt: Format) -> str:
    """A format as people write it, with its aspect where its name usually means another: '480i', '480i 16:9'."""
    aspect = fmt.picture_aspect
    return (
        fmt.id if aspect == parse_format(fmt.id).picture_aspect else f"{fmt.id} {aspect.numerator}:{aspect.denominator}"
    )


def given_words(order: Order) -> dict[str, str]:
    """The options of an order, by name, as people write them: '16 x 12', '10 %', 'red'."""

    def words(value: object) -> str:
        if isinstance(value, tuple):
            return " x ".join(map(str, value))
        return f"{percent_text(value)} %" if isinstance(value, Fraction) else str(value)

    return {name: words(value) for name, value in order.options.given.items()}
