"""Readings as they are typed on the page: a line each, level x y luminance, with the field's colour before it if it is
not grey."""

from __future__ import annotations

import re
from collections.abc import Sequence

from trueraster.errors import UsageError

__all__ = ["HEADER", "read_line", "readings_file"]

HEADER = "field,level_percent,x,y,luminance"
_FIELDS = ("grey", "red", "green", "blue", "cyan", "magenta", "yellow")
_NUMBER = re.compile(r"\d{1,6}(?:\.\d{1,8})?")


def read_line(text: str) -> str:
    """A line of a readings file from what was typed: '20 0.313 0.329 4.1', with blanks, tabs, semicolons or commas.

    With blanks between them, numbers may have a decimal comma.

    Raises:
        UsageError: it is no reading.
    """
    words = text.split() if re.search(r"\d\s+\d", text.strip()) else re.split(r"[\s,;]+", text.strip())
    words = [word.strip(";").replace(",", ".") for word in words if word.strip(",;")]
    field = words.pop(0).lower() if words and words[0].isalpha() else "grey"
    field = {"gray": "grey"}.get(field, field)
    if len(words) != 4 or field not in _FIELDS or not all(_NUMBER.fullmatch(word) for word in words):
        raise UsageError(
            f"readings: got {text.strip()[:40]!r}, level x y luminance are expected, as 20 0.313 0.329 4.1, or red 100"
            " 0.63 0.34 21"
        )
    level, x, y, _ = (float(word) for word in words)
    if level > 109:
        raise UsageError(f"readings: a level of {words[0]} % is none; 0 to 109 % are expected")
    if not 0 < x < 1 or not 0 < y < 1:
        raise UsageError(f"readings: x {words[1]}, y {words[2]} is no colour; both are between 0 and 1")
    return ",".join([field, *words])


def readings_file(lines: Sequence[str]) -> bytes:
    """A readings file for `measure grey`."""
    return "\n".join([HEADER, *lines, ""]).encode()
