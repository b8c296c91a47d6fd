"""Reading a file of a meter's readings, whichever of its kinds it is."""

from __future__ import annotations

import codecs
import re
from collections.abc import Sequence
from pathlib import Path

from analysis.meter.readings.cgats import is_cgats, parse_cgats
from analysis.meter.readings.csv import parse_csv
from analysis.meter.readings.types import Readings
from render.errors import FileError
from render.reading import read_bounded

__all__ = ["MOST_BYTES", "parse_readings", "read_readings", "text_of"]

MOST_BYTES = 4 << 20
"""Of a file of readings."""


def read_readings(path: Path) -> Readings:
    """Read a CSV or a CGATS text; which of them it is, its lines tell.

    Raises:
        FileError: it cannot be read, or something in it cannot be meant; one line that names row and column.
    """
    return parse_readings(text_of(read_bounded(path, MOST_BYTES, "no file of readings"), path), path)


def parse_readings(lines: Sequence[str], path: Path) -> Readings:
    """The same of lines that were read from `path`, or as far as it is written yet.

    Raises:
        FileError: something in it cannot be meant; one line that names row and column.
    """
    found = (parse_cgats if is_cgats(lines) else parse_csv)(path, lines)
    highest = max(found.items, key=lambda item: item.level_percent)
    if 0 < highest.level_percent <= 1:
        raise FileError(
            f"{path}: row {highest.row}, column level_percent: the highest level of all is {highest.level_percent:g}; "
            "levels are in percent, 100 is white"
        )
    return found


def text_of(data: bytes, path: Path) -> list[str]:
    """The lines of a text, whatever it is written in.

    Raises:
        FileError: it is empty, or no text.
    """
    if not data.strip():
        raise FileError(f"{path}: is empty; readings as CSV or CGATS text are expected")
    # Spreadsheets write UTF-16 where they call it Unicode text.
    wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        text = data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError:
        # An older code page: what is wanted is plain letters and figures in all of them.
        text = data.decode("latin-1")
    if "\0" in text:
        raise FileError(f"{path}: is no text; readings as CSV or CGATS text are expected")
    return re.split(r"\r\n|\r|\n", text)
