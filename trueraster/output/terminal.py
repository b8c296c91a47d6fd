"""How answers reach the user: tables and JSON on standard output, words and progress on standard error.

Files that are read may hold anything in their names and comments. Characters that would steer the terminal, or reorder
the line, are shown as escapes wherever text leaves the program.
"""

from __future__ import annotations

import json
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from fractions import Fraction
from typing import Any

from trueraster.errors import ReaderGoneError
from trueraster.visible import visible

__all__ = [
    "JsonList",
    "columns",
    "note",
    "number",
    "progress",
    "put_json",
    "put_text",
    "reader_may_go",
    "wrapped",
]

_COLUMNS = 100
"""Widest line of words: a terminal of the usual size shows it whole."""


def put_text(text: str) -> None:
    """Write an answer for people to standard output."""
    _put(visible(text.rstrip("\n")) + "\n")


def put_json(answer: dict[str, Any]) -> None:
    """Write an answer for programs: one JSON object and nothing else."""
    _put(_json(answer) + "\n")


class JsonList:
    """An answer of one JSON object with a long list in it, written as its entries come."""

    def __init__(self, key: str) -> None:
        self._before = f"{{{json.dumps(key)}: ["

    def add(self, entry: dict[str, Any]) -> None:
        """Write one entry."""
        _put(f"{self._before}{_json(entry)}")
        self._before = ",\n"

    def end(self, rest: dict[str, Any]) -> None:
        """Write what follows the list, of which there is something; without it the object is not whole."""
        _put(f"],\n{_json(rest).removeprefix('{')}\n")


def _json(answer: dict[str, Any]) -> str:
    # The one control character that JSON lets stand as it is.
    return json.dumps(answer, default=_plain).replace("\x7f", "\\u007f")


def _put(text: str) -> None:
    with reader_may_go():
        sys.stdout.write(text)
        sys.stdout.flush()


@contextmanager
def reader_may_go() -> Iterator[None]:
    """Turn a broken pipe into `ReaderGoneError`, which the command parser does not take for a failure of its own.

    Any other failure to write gets the name of what could not be written.
    """
    try:
        yield
    except BrokenPipeError as error:
        raise ReaderGoneError from error
    except OSError as error:
        error.filename = error.filename or "standard output"
        raise


def note(text: str) -> None:
    """Write words that are not the answer, to standard error."""
    sys.stderr.write(visible(text.rstrip("\n")) + "\n")


def number(value: Fraction | float | None, digits: int = 6) -> int | float | None:
    """A figure for JSON, an exact whole number as such and nothing as 0.0, never -0.0; None stays null."""
    if value is None or isinstance(value, int):
        return value
    if isinstance(value, Fraction) and value.denominator == 1:
        return int(value)
    return round(float(value), digits) + 0.0


def wrapped(text: str, first: str = "", rest: str = "") -> str:
    """A sentence in lines of a terminal's width, `first` before the first of them and `rest` before the others."""
    return textwrap.fill(
        visible(text),
        _COLUMNS,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def columns(rows: Sequence[Sequence[str]], *, right: Sequence[int] = ()) -> str:
    """Rows as a table that lines up; the first is the heading. `right` names the columns that are flush right."""
    rows = [[visible(cell) for cell in row] for row in rows]
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    lines = []
    for row in rows:
        cells = (
            cell.rjust(w) if i in right else cell.ljust(w) for i, (cell, w) in enumerate(zip(row, widths, strict=True))
        )
        lines.append("  ".join(cells).rstrip())
    rule = "  ".join("-" * width for width in widths)
    return "\n".join([lines[0], rule, *lines[1:]])


@contextmanager
def progress(title: str, *, quiet: bool) -> Iterator[Callable[[str, float], None]]:
    """A bar on a terminal that is told (words, share done from 0 to 1); nothing when the output is not looked at."""
    if quiet or not sys.stderr.isatty():
        yield lambda words, share: None
        return
    # Of use on a terminal only: 60 ms.
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    # Without markup: names may have brackets.
    before, after = (TextColumn(words, markup=False) for words in ("{task.fields[title]}", "{task.description}"))
    shape = (before, BarColumn(), after, TimeRemainingColumn())
    with Progress(*shape, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=1.0, title=visible(title))
        yield lambda words, share: bar.update(task, description=visible(words), completed=share)


def _plain(value: object) -> object:
    if isinstance(value, Fraction):
        return number(value)
    return str(value)
