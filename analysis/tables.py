"""Tables made from figures: a figure in each row, or the same figures for several things."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.answer import Figure, Table
from analysis.rounding import MOST, decimals, figure, uncertainty_text, unsigned

__all__ = ["Column", "crossed", "listing", "matrix", "tables_of"]


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

    A figure that another one has `beside` it gets no row: it is in a column of its unit, or in the other's place where
    that one is not available. A figure has at most `most` decimals, where none are fixed.
    """
    by_path = {one.quantity.path: one for one in figures}
    in_column = {one.quantity.beside for one in figures}
    rows, column = [], ""
    for one in figures:
        quantity, beside = one.quantity, by_path.get(one.quantity.beside)
        if one.value is None and beside is not None:
            one, beside = beside, None
        if one.value is None or quantity.path in in_column:
            continue
        other = ""
        if beside is not None and beside.value is not None:
            other, column = _value(beside, decimals(beside.uncertainty, most)), beside.quantity.unit
        places = decimals(one.uncertainty, most) if quantity.decimals is None else quantity.decimals
        uncertainty = uncertainty_text(one.uncertainty, places)
        rows.append((quantity.row or quantity.words, _value(one, places), uncertainty, other, one.quantity.unit))
    if column:
        return Table(head=(head, "value", "±", column, "unit"), rows=tuple(rows), has_units=True)
    return Table(head=(head, "value", "±", "unit"), rows=tuple((*row[:3], row[4]) for row in rows), has_units=True)


def crossed(figures: Sequence[Figure], head: str) -> Table:
    """A quantity in each row and a column for each thing that has it, such as a side or a gun, as the quantities say.

    Rows of which nothing is available are left out. Up to two columns have each its uncertainties; of more the largest
    is in one column, and all figures of a row have its digits.
    """
    by_path = {one.quantity.path: one for one in figures}
    in_column = {one.quantity.beside for one in figures}
    names = tuple(dict.fromkeys(one.quantity.column for one in figures))
    by_row: dict[tuple[str, str], dict[str, Figure]] = {}
    for one in figures:
        quantity = one.quantity
        if quantity.path not in in_column:
            beside = by_path.get(quantity.beside)
            shown = beside if beside is not None and one.value is None else one
            by_row.setdefault((quantity.row, quantity.unit), {})[quantity.column] = shown
    each = len(names) <= 2
    rows = []
    for (words, _), some in by_row.items():
        seen = [one for one in some.values() if one.value is not None]
        if not seen:
            continue
        worst = max((one.uncertainty for one in seen if one.uncertainty is not None), default=None)
        cells = []
        for name in names:
            cell = some.get(name)
            if cell is None or cell.value is None:
                cells += ["-"] * (1 + each)
                continue
            uncertainty = cell.uncertainty if each else worst
            places = decimals(uncertainty) if cell.quantity.decimals is None else cell.quantity.decimals
            cells += [_value(cell, places), uncertainty_text(uncertainty, places)][: 1 + each]
        if not each:
            cells.append(uncertainty_text(worst, decimals(worst)))
        rows.append((words, *cells, seen[0].quantity.unit))
    columns = [cell for name in names for cell in (name, "±")] if each else [*names, "±"]
    return Table(head=(head, *columns, "unit"), rows=tuple(rows), has_units=True)


def tables_of(figures: Sequence[Figure]) -> tuple[Table, ...]:
    """The tables that quantities name, in their order; figures that records do not keep are in none."""
    by_head: dict[str, list[Figure]] = {}
    for one in figures:
        if one.quantity.kept:
            by_head.setdefault(one.quantity.table, []).append(one)
    return tuple(
        crossed(some, head) if some[0].quantity.column else listing(some, head) for head, some in by_head.items()
    )


def _value(one: Figure, places: int) -> str:
    return figure(one.value, places) if one.quantity.signed else unsigned(one.value, places)


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
                cells.append(_value(one, places))
        made.append((words, *cells))
    return Table(head=(head, *(column.head for column in columns)), rows=tuple(made), below=below)
