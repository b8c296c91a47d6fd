"""The figures of `measure geometry` and `measure convergence` as tables of words, for the terminal and for pages."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.raster.controls import CONVERGENCE_CONTROLS
from analysis.raster.convergence import AGAINST_GREEN, Convergence
from analysis.raster.geometry.figures import NO_MARKS, Geometry
from analysis.raster.geometry.overscan import SIDES
from analysis.rounding import decimals, figure, unsigned
from trueraster.output.terminal import columns

__all__ = [
    "GEOMETRY_ROWS",
    "ZONES",
    "Row",
    "Table",
    "aligned",
    "convergence_tables",
    "geometry_tables",
    "table_text",
    "untold",
]

Figures = Mapping[str, Any]
_OF_HEIGHT = "% of height"
_SHARE = (_OF_HEIGHT,)
"""A column that stands beside lengths in mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of cells, the first column words and the last one units; between them figures."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @property
    def figures(self) -> range:
        """The columns that hold figures."""
        return range(1, len(self.head) - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A figure in words. The names may lead into lists and dicts, as `centre_mm.0`."""

    name: str
    words: str
    unit: str
    percent: str = ""
    """The same in percent of the picture height, which may be told where the other is not."""
    signed: bool = True


GEOMETRY_ROWS = (
    Row(name="width_mm", words="width of the picture", unit="mm", signed=False),
    Row(name="height_mm", words="height of the picture", unit="mm", signed=False),
    Row(name="aspect_error_percent", words="shape, + is too wide for its height", unit="%"),
    Row(name="centre_mm.0", words="middle, + is right of that of the marks", unit="mm", percent="centre_percent.0"),
    Row(name="centre_mm.1", words="middle, + is below that of the marks", unit="mm", percent="centre_percent.1"),
    Row(name="rotation_deg", words="rotation, + is clockwise", unit="degrees"),
    Row(name="parallelogram_deg", words="upright lines lean, + is lower end left", unit="degrees"),
    Row(name="keystone_h_percent", words="keystone, + is wider at the top", unit="%"),
    Row(name="keystone_v_percent", words="keystone, + is taller at the left", unit="%"),
    Row(name="linearity_h_percent", words="widths of cells, largest error", unit="%", signed=False),
    Row(name="linearity_h_span_percent", words="  as (max - min) / (max + min)", unit="%", signed=False),
    Row(name="linearity_v_percent", words="heights of cells, largest error", unit="%", signed=False),
    Row(name="linearity_v_span_percent", words="  as (max - min) / (max + min)", unit="%", signed=False),
    Row(name="s_h_percent", words="S-shape, + is cells wider at the sides", unit="%"),
    Row(name="s_v_percent", words="S-shape, + is taller at top and bottom", unit="%"),
    Row(name="bow_h_mm", words="upright lines bow, + is middles right", unit="mm", percent="bow_h_percent"),
    Row(name="bow_v_mm", words="level lines bow, + is middles down", unit="mm", percent="bow_v_percent"),
)
ZONES = {
    "centre": "circle of the picture's height",
    "top_left": "top left",
    "top_right": "top right",
    "bottom_left": "bottom left",
    "bottom_right": "bottom right",
    "rest": "between circle and corners",
}


def geometry_tables(found: Geometry) -> list[Table]:
    """The figures of the whole picture, and those of its four sides. What cannot be told is left out."""
    rows = [row for row in (_geometry_row(found, row) for row in GEOMETRY_ROWS) if row is not None]
    placed = found.grid.placed
    head = ("figure", "value", "±", *_SHARE[:placed], "unit")
    tables = [Table(head=head, rows=tuple(rows))] if rows else []
    sides = [
        row
        for row in (
            _sides_row(found, "edge_sag_mm", "bend, + is inward", "mm", signed=True),
            _sides_row(found, "edge_sag_percent", "bend, + is inward", _OF_HEIGHT, signed=True),
            _sides_row(found, "overscan_percent", "hidden beyond the glass", "% of its size", signed=False),
        )
        if row is not None
    ]
    if sides:
        tables.append(Table(head=("side", *SIDES, "±", "unit"), rows=tuple(sides)))
    return tables


def _geometry_row(found: Geometry, row: Row) -> tuple[str, ...] | None:
    value, unsure = _at(found.figures, row.name), _at(found.uncertainty, row.name)
    share, doubt = _at(found.figures, row.percent), _at(found.uncertainty, row.percent)
    unit = row.unit
    if value is None and share is not None:
        value, unsure, unit = share, doubt, _OF_HEIGHT
    if value is None:
        return None
    places = decimals(unsure)
    shown = figure(value, places) if row.signed else unsigned(value, places)
    cells = (row.words, shown, _doubt(unsure, places))
    if not found.grid.placed:
        return (*cells, unit)
    return (*cells, "" if share is None else figure(share, decimals(doubt)), unit)


def _sides_row(found: Geometry, name: str, words: str, unit: str, *, signed: bool) -> tuple[str, ...] | None:
    values, unsure = found.figures[name], found.uncertainty[name]
    if values is None:
        return None
    # All sides with the digits that the least certain of them has.
    worst = max((doubt for doubt in unsure.values() if doubt is not None), default=None)
    places = decimals(worst)
    cells = (figure(values[side], places) if signed else unsigned(values[side], places) for side in SIDES)
    return (words, *cells, _doubt(worst, places), unit)


def convergence_tables(found: Convergence) -> list[Table]:
    """The largest errors by zone, and what adjustments move, of red and of blue."""
    kind, unit = ("mm", "mm") if found.grid.placed else ("percent", _OF_HEIGHT)
    figures, unsure = found.figures, found.uncertainty
    if figures[f"zones_{kind}"] is None:
        return []
    most = Table(
        head=("largest distance of red or blue from green", "value", "±", *_SHARE[: kind == "mm"], "unit"),
        rows=tuple(
            _most_row(figures, unsure, f"{zone}_max_", kind, words, unit)
            for zone, words in (("centre", "in the circle of the picture's height"), ("overall", "anywhere"))
        ),
    )
    head = ("red", "±", "blue", "±", "unit")
    zones = [
        _guns_row(words, figures[f"zones_{kind}"][zone], unsure[f"zones_{kind}"][zone], unit, signed=False)
        for zone, words in ZONES.items()
        if zone in figures[f"zones_{kind}"]
    ]
    parts, doubts = (some["parts" if kind == "mm" else "parts_percent"] for some in (figures, unsure))

    def part(name: str, words: str, *, signed: bool) -> tuple[str, ...]:
        values, errors = ({gun: _at(some, f"{gun}.{name}") for gun in AGAINST_GREEN} for some in (parts, doubts))
        return _guns_row(words, values, errors, unit, signed=signed)

    moved = []
    for control in CONVERGENCE_CONTROLS:
        axis, term = control.terms[0]
        name = f"{control.group}.{axis if term == '1' else f'{axis}_{term}'}"
        moved.append(part(name, control.title.removeprefix("convergence, "), signed=True))
    moved.append(part("remains", "what these leave, root mean square", signed=False))
    return [
        most,
        Table(head=("largest in each zone", *head), rows=tuple(zones)),
        Table(head=("what adjustments move, + is right or down", *head), rows=tuple(moved)),
    ]


def _most_row(figures: Figures, unsure: Figures, name: str, kind: str, words: str, unit: str) -> tuple[str, ...]:
    value, doubt = figures[name + kind], unsure[name + kind]
    share, of_share = figures[f"{name}percent"], unsure[f"{name}percent"]
    places = decimals(doubt)
    shares = (unsigned(share, decimals(of_share)),) if kind == "mm" else ()
    return words, unsigned(value, places), _doubt(doubt, places), *shares, unit


def _guns_row(words: str, values: Figures, unsure: Figures, unit: str, *, signed: bool) -> tuple[str, ...]:
    cells: list[str] = []
    for gun in AGAINST_GREEN:
        value, doubt = values.get(gun), unsure.get(gun)
        places = decimals(doubt)
        shown = figure(value, places) if signed else unsigned(value, places)
        cells += [shown, "" if value is None else _doubt(doubt, places)]
    return (words, *cells, unit)


def _at(figures: Figures, name: str) -> float | None:
    """A figure by its name, which may lead into lists and dicts; None where it is not there."""
    found: Any = figures
    for part in name.split("."):
        if isinstance(found, Sequence):
            found = found[int(part)]
        elif isinstance(found, Mapping):
            found = found.get(part)
    return found if isinstance(found, float | int) else None


def _doubt(uncertainty: float | None, places: int) -> str:
    # Never nothing: what is rounded to nothing is the last digit.
    return "-" if uncertainty is None else f"{max(uncertainty, 10.0**-places):.{places}f}"


def untold(found: Geometry | Convergence) -> list[str]:
    """Why figures are missing, each reason once with the figures that it concerns."""
    names: dict[str, list[str]] = {}
    for name, reason in found.reasons.items():
        names.setdefault(reason, []).append(name)
    return [f"{_named(found, concerned)}: {reason}" for reason, concerned in names.items()]


def _named(found: Geometry | Convergence, names: Sequence[str]) -> str:
    if set(found.figures) <= set(names):
        return "all figures"
    if isinstance(found, Geometry) and found.reasons.get("width_mm") == NO_MARKS and "width_mm" in names:
        return "size, place, rotation, lean, keystone, linearity, S-shape, and all lengths in mm"
    if set(names) == {name for name in found.figures if name.endswith("_mm") or name == "parts"}:
        return "lengths in mm"
    return ", ".join(name.replace("overscan_percent.", "hidden share at the ") for name in names)


def aligned(cells: Sequence[str], blank: str = " ", point: str = " ") -> list[str]:
    """Figures of one column, filled up so that their points stand below each other.

    `blank` is put for a missing digit, `point` for a missing point.
    """
    after = [len(cell) - cell.index(".") if "." in cell else 0 for cell in cells]
    most = max(after, default=0)
    filled = [
        cell + ("" if many == most else (point + blank * (most - 1) if many == 0 else blank * (most - many)))
        for cell, many in zip(cells, after, strict=True)
    ]
    wide = max((len(cell) for cell in filled), default=0)
    return [blank * (wide - len(cell)) + cell for cell in filled]


def table_text(table: Table) -> str:
    """The table for a terminal."""
    by_column = list(zip(*table.rows, strict=True))
    for i in table.figures:
        by_column[i] = tuple(aligned(by_column[i]))
    rows = [table.head, *zip(*by_column, strict=True)]
    return columns(rows, right=tuple(table.figures))
