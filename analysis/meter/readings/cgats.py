"""Readings as CGATS text (ISO 28178): keywords, the names of columns, and rows of data."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from analysis.meter.readings.cells import FIELD_WORDS, Row, last_digit, shortened
from analysis.meter.readings.types import HIGHEST_LEVEL, MOST_READINGS, Field, Reading, Readings
from render.errors import FileError

__all__ = ["is_cgats", "parse_cgats"]

_SIGNS = ("CGATS", "ISO28178", "ISO 28178")
_XYZ = ("XYZ_X", "XYZ_Y", "XYZ_Z")
_XYY = ("XYY_X", "XYY_Y", "XYY_CAPY")
_RGB = ("RGB_R", "RGB_G", "RGB_B")
_NAMES = ("SAMPLE_NAME", "SAMPLE_ID")
_PARTS = ("BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA")
_TOKEN = re.compile(r'"(?P<quoted>(?:[^"]|"")*)"(?=\s|$)|(?P<plain>[^\s"]\S*)')
_NAMED = re.compile(r"([a-z]+)[\s_:,-]*(\d{1,3}(?:[.,]\d{1,3})?)?\s*%?", re.ASCII)
"""A word, and perhaps a level."""
_SCALES = (HIGHEST_LEVEL, 255, 1023)
"""The largest device value of each way to count: percent, 8 bits, 10 bits."""
_SAME = 0.01
"""Percent within which the parts of a grey or of a secondary are the same."""
_MOST_COLUMNS = 500
_COUNTS = ("NUMBER_OF_FIELDS", "NUMBER_OF_SETS")
"""Keywords that say how many columns and rows the table has."""
_OFF = ("no", "false", "0", "none")


@dataclass(kw_only=True)
class _Table:
    """The part of the file that is read."""

    format_row: int = 0
    columns: list[str] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)


def is_cgats(lines: Sequence[str]) -> bool:
    """Whether these are lines of CGATS text rather than of a CSV."""
    first = next((line.strip().upper() for line in lines if line.strip()), "")
    return first.startswith(_SIGNS) or any(line.strip().upper() in _PARTS for line in lines)


def parse_cgats(path: Path, lines: Sequence[str]) -> Readings:
    """The readings of the first table of a CGATS text.

    Light is taken from `XYZ_X XYZ_Y XYZ_Z` or `XYY_X XYY_Y XYY_CAPY`, in cd/m2. Which field was shown, and at which
    level, is given by `RGB_R RGB_G RGB_B` in percent, in 8 bits or in 10 bits, whichever the largest fits; where
    there are none, by words in `SAMPLE_NAME` or `SAMPLE_ID`, as `grey 50` or `red`. Mixed colours and unknown names are
    left out.

    Raises:
        FileError: something cannot be meant; one line that names row and column.
    """
    table = _table(path, lines)
    columns = table.columns
    light = _XYZ if set(_XYZ) <= set(columns) or not set(_XYY) & set(columns) else _XYY
    for name in light:
        if name not in columns:
            wanted = f"{' '.join(_XYZ)} or {' '.join(_XYY)}"
            raise FileError(f"{path}: row {table.format_row}, column {name}: is missing; {wanted} are expected")
    if not table.rows:
        raise FileError(f"{path}: row {len(lines)}: no data; rows between BEGIN_DATA and END_DATA are expected")
    remarks = ["X, Y and Z are taken as cd/m2"] if light is _XYZ else ["luminance is taken as cd/m2"]
    by_rgb = set(_RGB) <= set(columns)
    names = [name for name in _NAMES if name in columns]
    if by_rgb:
        shown, counted = _by_rgb(table.rows)
        remarks.append(counted)
    elif names:
        shown = [_by_name(row, names) for row in table.rows]
    else:
        words = f"is missing; {' '.join(_RGB)} or SAMPLE_NAME has to name the field"
        raise FileError(f"{path}: row {table.format_row}, column {_RGB[0]}: {words}")
    items: list[Reading] = []
    for row, what in zip(table.rows, shown, strict=True):
        if what is not None:
            items.append(row.reading(*what, (row.xyz_in if light is _XYZ else row.xyy_in)(light)))
    left = len(table.rows) - len(items)
    why = "mixed colours" if by_rgb else f"what {' or '.join(names)} calls other than a field"
    if not items:
        row_number = table.rows[0].number
        named = _RGB[0] if by_rgb else names[0]
        raise FileError(f"{path}: row {row_number}, column {named}: no row is a grey, a primary or a secondary colour")
    if left:
        remarks.append(f"left out: {left} row{'s' if left > 1 else ''}, {why}")
    kept = [row for row, what in zip(table.rows, shown, strict=True) if what is not None]
    return Readings(
        path=path,
        items=tuple(items),
        remarks=tuple(remarks),
        light_step=last_digit(kept, light if light is _XYZ else light[2:]),
        xy_step=0.0 if light is _XYZ else last_digit(kept, light[:2]),
        as_amounts=light is _XYZ,
    )


def _tokens(path: Path, number: int, line: str) -> list[str]:
    found: list[str] = []
    at = 0
    for match in _TOKEN.finditer(line):
        if line[at : match.start()].strip():
            raise FileError(f"{path}: row {number}: its quotes do not match")
        plain = match["plain"]
        if plain is not None and plain.startswith("#"):
            return found
        found.append(plain if plain is not None else match["quoted"].replace('""', '"'))
        at = match.end()
    if line[at:].strip():
        raise FileError(f"{path}: row {number}: its quotes do not match")
    return found


def _table(path: Path, lines: Sequence[str]) -> _Table:
    table = _Table()
    part = ""
    counts: dict[str, tuple[int, str]] = {}
    for number, cells in _numbered(path, lines):
        word = cells[0].upper() if len(cells) == 1 else ""
        if word in _PARTS:
            if word == "BEGIN_DATA" and not table.columns:
                raise FileError(f"{path}: row {number}: BEGIN_DATA without a BEGIN_DATA_FORMAT that names columns")
            begins, ended = word.startswith("BEGIN"), word.replace("END", "BEGIN", 1)
            if begins == bool(part) or not (begins or part == ended):
                raise FileError(f"{path}: row {number}: {word} is not expected here")
            if word == "END_DATA":
                _check_counts(path, table, counts)
                # Further tables are of other things.
                return table
            part = word if begins else ""
            table.format_row = number if word == "BEGIN_DATA_FORMAT" else table.format_row
        elif part == "BEGIN_DATA_FORMAT":
            table.columns += [cell.upper() for cell in cells]
            _check_columns(path, number, table.columns)
        elif part == "BEGIN_DATA":
            table.rows.append(_data_row(path, number, cells, table.columns))
            if len(table.rows) > MOST_READINGS:
                raise FileError(f"{path}: row {number}: more than {MOST_READINGS} readings are not taken")
        elif len(cells) > 1 and cells[0].upper() in _COUNTS:
            counts[cells[0].upper()] = number, cells[1]
        elif len(cells) > 1 and "NORMALI" in cells[0].upper() and cells[1].lower() not in _OFF:
            words = "says that the values are relative; readings in cd/m2 are expected"
            raise FileError(f"{path}: row {number}, column {shortened(cells[0])[1:-1]}: {words}")
    if part or not table.columns:
        wanted = part.replace("BEGIN", "END", 1) or "BEGIN_DATA_FORMAT"
        raise FileError(f"{path}: row {len(lines)}: the text ends without {wanted}")
    return table


def _check_counts(path: Path, table: _Table, counts: Mapping[str, tuple[int, str]]) -> None:
    """A file that says how much it holds, and holds another amount, was cut or pasted together."""
    for name, there, what in zip(_COUNTS, (len(table.columns), len(table.rows)), ("columns", "rows"), strict=True):
        number, said = counts.get(name, (0, str(there)))
        if not re.fullmatch(r"\d{1,9}", said, re.ASCII):
            raise FileError(f"{path}: row {number}, column {name}: {shortened(said)} is no number of {what}")
        if int(said) != there:
            words = f"says {said}, and {there} {what} are there; is a part of the file missing?"
            raise FileError(f"{path}: row {number}, column {name}: {words}")


def _numbered(path: Path, lines: Sequence[str]) -> Iterator[tuple[int, list[str]]]:
    for number, line in enumerate(lines, 1):
        cells = _tokens(path, number, line)
        if cells:
            yield number, cells


def _check_columns(path: Path, number: int, columns: Sequence[str]) -> None:
    twice = [name for name, many in Counter(columns).items() if many > 1]
    if twice:
        raise FileError(f"{path}: row {number}, column {shortened(twice[0])[1:-1]}: is named twice")
    if len(columns) > _MOST_COLUMNS:
        raise FileError(f"{path}: row {number}: more than {_MOST_COLUMNS} columns are not taken")


def _data_row(path: Path, number: int, cells: Sequence[str], columns: Sequence[str]) -> Row:
    many, wanted = len(cells), len(columns)
    if many < wanted:
        name = shortened(columns[many])[1:-1]
        raise FileError(f"{path}: row {number}, column {name}: is missing; {many} of {wanted} columns are there")
    if many > wanted:
        raise FileError(f"{path}: row {number}, column {wanted + 1}: is one too many for BEGIN_DATA_FORMAT")
    return Row(path=path, number=number, cells=dict(zip(columns, cells, strict=True)), comma=True)


def _by_rgb(rows: Sequence[Row]) -> tuple[list[tuple[Field, float] | None], str]:
    values = [[row.number_in(name, "a device value") for name in _RGB] for row in rows]
    for row, parts in zip(rows, values, strict=True):
        for name, part in zip(_RGB, parts, strict=True):
            if not 0 <= part <= _SCALES[-1]:
                raise row.wrong(name, f"got {part:g}, a device value from 0 to {_SCALES[-1]} is expected")
    highest = max(map(max, values))
    scale = next(scale for scale in _SCALES if highest <= scale)
    if scale == _SCALES[0]:
        return [_shown(parts) for parts in values], f"{' '.join(_RGB)} are taken as percent"
    shown = [_shown([part / scale * 100 for part in parts]) for parts in values]
    return shown, f"{' '.join(_RGB)} are taken as 0 to {scale}, and turned into percent"


def _shown(parts: Sequence[float]) -> tuple[Field, float] | None:
    """Which field these parts of red, green and blue in percent are; None for a mixed colour."""
    level = max(parts)
    if level - min(parts) <= _SAME:
        return Field.GREY, level
    red, green, blue = (level - part <= _SAME for part in parts)
    on = red, green, blue
    if not all(full or part <= _SAME for full, part in zip(on, parts, strict=True)):
        return None
    return _LIT[on], level


_LIT = {
    (True, False, False): Field.RED,
    (False, True, False): Field.GREEN,
    (False, False, True): Field.BLUE,
    (False, True, True): Field.CYAN,
    (True, False, True): Field.MAGENTA,
    (True, True, False): Field.YELLOW,
}


def _by_name(row: Row, names: Sequence[str]) -> tuple[Field, float] | None:
    """Which field a name tells: a word, and a level, which is 100 where a colour or white has none; black is grey 0."""
    for name in names:
        found = _NAMED.fullmatch(row.cells[name].strip().lower())
        if found is None:
            continue
        word, level = found[1], found[2]
        if word == "black" and level is None:
            return Field.GREY, 0.0
        if word in FIELD_WORDS and (level is not None or word not in ("grey", "gray")):
            percent = 100.0 if level is None else float(level.replace(",", "."))
            if percent > HIGHEST_LEVEL:
                raise row.wrong(name, f"got {shortened(row.cells[name])}, a level from 0 to 109 percent is expected")
            return FIELD_WORDS[word], percent
    return None
