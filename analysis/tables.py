"""Tables made from figures: a figure in each row, or the same figures for several things."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.answer import Figure, Table
from analysis.rounding import MOST, decimals, figure, uncertainty_text, unsigned

__all__ = ["Column", "listing", "matrix"]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a matrix: its heading, and where its figures are behind a row's path."""

    head: str
    path: str
    decimals: int | None = None
    """Digits after the point; by the uncertainty where it is None."""
    uncertainty: bool = False
    """Whether the column holds the uncertainties of those figures."""


def listing(figures: Sequence[Figure], head: str = "figure", most: int = MOST) -> Table:
    """A figure in each row, with its uncertainty and its unit; those that are not available are left out.

    A figure has at most `most` decimals, where none are fixed.
    """
    rows = []
    for one in figures:
        if one.value is None:
            continue
        quantity = one.quantity
        places = decimals(one.uncertainty, most) if quantity.decimals is None else quantity.decimals
        value = figure(one.value, places) if quantity.signed else unsigned(one.value, places)
        rows.append((quantity.words, value, uncertainty_text(one.uncertainty, places), quantity.unit))
    return Table(head=(head, "value", "±", "unit"), rows=tuple(rows), has_units=True)


def matrix(
    figures: Mapping[str, Figure],
    rows: Mapping[str, str],
    columns: Sequence[Column],
    head: str,
    below: str = "",
    most: int = MOST,
) -> Table:
    """The same figures for several things, one in each row.

    Args:
        figures: by path.
        rows: the beginning of a row's paths, or what goes into the {} of a column's path, with the row's words.
        columns: what is in the others.
        head: the first column's heading.
        below: a line that belongs to the table.
        most: decimals that a figure has at most, where none are fixed.
    """
    made = []
    for prefix, words in rows.items():
        cells = []
        for column in columns:
            at = column.path.format(prefix) if "{}" in column.path else prefix + column.path
            one = figures.get(at)
            if one is None or one.value is None:
                cells.append("-")
                continue
            places = decimals(one.uncertainty, most) if column.decimals is None else column.decimals
            if column.uncertainty:
                cells.append(uncertainty_text(one.uncertainty, places))
            else:
                cells.append(figure(one.value, places) if one.quantity.signed else unsigned(one.value, places))
        made.append((words, *cells))
    return Table(head=(head, *(column.head for column in columns)), rows=tuple(made), below=below)
