"""Readings as CSV: one row a reading, under a header that names the columns."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.meter.readings.cells import Row, counted_columns, last_digit
from analysis.meter.readings.types import CD_M2_OF_FL, MOST_READINGS, Reading, Readings
from render.errors import FileError

__all__ = ["parse_csv"]

_FIELD = ("field", "colour", "color")
_LEVEL = ("level_percent", "level", "percent", "level %", "level_%")
_LUMINANCE = ("luminance", "luminance_cd_m2", "luminance (cd/m2)", "cd/m2", "lv")
_FEET = ("fl", "ftl", "ft-l", "luminance_fl", "luminance (fl)", "luminance (ftl)", "luminance (ft-l)", "foot-lamberts")
_LAYOUTS = "field,level_percent,x,y,luminance or field,level_percent,X,Y,Z"
_MOST_COLUMNS = 200
_MOST_NOTES, _MOST_NOTE = 3, 120
"""Comments that are reported, and characters of one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    """Where the wanted columns are, and how cells are parted."""

    row: int
    names: tuple[str, ...]
    separator: str
    field: str
    level: str
    colour: tuple[str, str, str]
    is_xyz: bool
    unit: float = 1.0
    """cd/m2 of its unit of luminance."""

    @property
    def others(self) -> list[str]:
        wanted = {self.field, self.level, *self.colour}
        return [name for name in self.names if name and name not in wanted]


def parse_csv(path: Path, lines: Sequence[str]) -> Readings:
    """The readings of a CSV file's lines.

    The first line that is neither empty nor a comment (`#`) is the header. Cells are parted by commas, semicolons or
    tabs; with the latter two a decimal comma is understood. Columns may stand in any order, and others are left out.

    Raises:
        FileError: something cannot be meant; one line that names row and column.
    """
    header: _Header | None = None
    items: list[Reading] = []
    rows: list[Row] = []
    notes: list[str] = []
    for number, line in enumerate(lines, 1):
        if not line.strip(" \t,;"):
            continue
        if line.lstrip().startswith("#"):
            if header is None and len(notes) < _MOST_NOTES and line.strip("# \t,;"):
                notes.append(line.strip("# \t,;"))
            continue
        if header is None:
            header = _header(path, number, line)
            continue
        if len(items) == MOST_READINGS:
            raise FileError(f"{path}: row {number}: more than {MOST_READINGS} readings are not taken")
        rows.append(_row(path, number, line, header))
        items.append(_reading(rows[-1], header))
    if header is None:
        raise FileError(f"{path}: row 1: holds no header; {_LAYOUTS} is expected")
    if not items:
        raise FileError(f"{path}: row {header.row + 1}: no reading follows the header")
    others = header.others
    # Comments above the header say what it is a file of: that it is a simulation, say.
    remarks = [f"the file says: {' '.join(note[:_MOST_NOTE].split())}" for note in notes]
    remarks += [f"left out: {counted_columns(others)}"] if others else []
    remarks += ["luminance is in foot-lamberts, and was taken times 3.4263"] if header.unit != 1 else []
    light = header.colour if header.is_xyz else header.colour[2:]
    return Readings(
        path=path,
        items=tuple(items),
        remarks=tuple(remarks),
        light_step=header.unit * last_digit(rows, light),
        xy_step=0.0 if header.is_xyz else last_digit(rows, header.colour[:2]),
        as_amounts=header.is_xyz,
    )


def _cells(path: Path, number: int, line: str, separator: str) -> list[str]:
    try:
        cells = next(csv.reader([line], delimiter=separator, skipinitialspace=True, strict=True))
    except csv.Error as error:
        raise FileError(f"{path}: row {number}: its quotes do not match") from error
    return [cell.strip() for cell in cells]


def _header(path: Path, number: int, line: str) -> _Header:
    separator = max("\t;,", key=line.count)
    names = tuple(_cells(path, number, line, separator))
    if len(names) > _MOST_COLUMNS:
        raise FileError(f"{path}: row {number}: {len(names)} columns are too many; {_LAYOUTS} is expected")

    def find(words: Sequence[str], *, exact: bool = False) -> str | None:
        found = [name for name in names if (name if exact else name.lower()) in words]
        if len(found) > 1:
            raise FileError(f"{path}: row {number}, column {found[1]}: is in the header twice")
        return found[0] if found else None

    def need(name: str | None, column: str) -> str:
        if name is None:
            raise FileError(f"{path}: row {number}, column {column}: is missing; the header should be {_LAYOUTS}")
        return name

    field, level = need(find(_FIELD), _FIELD[0]), need(find(_LEVEL), _LEVEL[0])
    # Capital X, Y, Z are amounts of light, small x, y are chromaticity: here the case of letters matters, unless a
    # column of luminance beside them says what they are.
    capital, small = ([find((letter,), exact=True) for letter in letters] for letters in ("XYZ", "xy"))
    luminance, feet = find(_LUMINANCE), find(_FEET)
    is_shouted = luminance or feet
    is_xyz = capital[2] is not None or (capital[0] is not None and not is_shouted)
    if is_xyz:
        colour = [need(name, letter) for name, letter in zip(capital, "XYZ", strict=True)]
    else:
        spot = [one or (two if is_shouted else None) for one, two in zip(small, capital, strict=False)]
        # Y, being the luminance, may stand in its place.
        colour = [need(name, letter) for name, letter in zip(spot, "xy", strict=True)]
        colour.append(need(luminance or feet or capital[1], _LUMINANCE[0]))
    return _Header(
        row=number,
        names=names,
        separator=separator,
        field=field,
        level=level,
        colour=(colour[0], colour[1], colour[2]),
        is_xyz=is_xyz,
        unit=CD_M2_OF_FL if not is_xyz and luminance is None and feet is not None else 1.0,
    )


def _row(path: Path, number: int, line: str, header: _Header) -> Row:
    cells = _cells(path, number, line, header.separator)
    many, wanted = len(cells), len(header.names)
    if many < wanted:
        missing = [name for name in header.names[many:] if name and name not in header.others]
        if missing:
            words = f"is missing; {many} of {wanted} columns are there"
            raise FileError(f"{path}: row {number}, column {missing[0]}: {words}")
        cells += [""] * (wanted - many)
    if any(cells[wanted:]):
        hint = "; a decimal comma needs semicolons between the columns" if header.separator == "," else ""
        raise FileError(f"{path}: row {number}, column {wanted + 1}: is one too many for the header{hint}")
    return Row(
        path=path,
        number=number,
        cells=dict(zip(header.names, cells[:wanted], strict=True)),
        comma=header.separator != ",",
    )


def _reading(row: Row, header: _Header) -> Reading:
    field, level = row.field_in(header.field), row.level_in(header.level)
    x, y, z = (row.xyz_in if header.is_xyz else row.xyy_in)(header.colour)
    return row.reading(field, level, (header.unit * x, header.unit * y, header.unit * z))
