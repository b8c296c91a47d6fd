"""What is typed on the command line, turned into values of the libraries. Every error names the option."""

from __future__ import annotations

import re
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

from patterns.catalogue import find_pattern
from patterns.formats import Format, parse_aspect, parse_format
from patterns.pattern import Options, Pattern
from patterns.userfile import load_pattern
from render.reading import check_plain
from trueraster.errors import UsageError
from trueraster.options.trade import Kind, meant

__all__ = ["UsageError", "carrier_of", "cells_of", "choice", "format_of", "options_of", "pattern_of", "percent"]


def percent(name: str, text: str | None) -> Fraction | None:
    """A percentage as a fraction: '75', '7.5' or '75%'."""
    if text is None:
        return None
    found = re.fullmatch(r"\s*([+-]?\d{1,6}(?:\.\d{1,6})?)\s*%?\s*", text)
    if found is None:
        raise UsageError(f"{name}: got {_short(text)}; give a percentage such as 75")
    return Fraction(found[1]) / 100


def cells_of(text: str | None) -> tuple[int, int] | None:
    """Columns and rows: '16x12'."""
    if text is None:
        return None
    found = re.fullmatch(r"\s*(\d{1,4})\s*[xX×]\s*(\d{1,4})\s*", text)
    if found is None:
        raise UsageError(f"--cells: got {_short(text)}; give columns x rows such as 16x12")
    return int(found[1]), int(found[2])


def options_of(typed: Mapping[str, str | None]) -> Options:
    """The pattern options as they were typed, by name."""
    colour = typed["colour"]
    return Options(
        cells=cells_of(typed["cells"]),
        level=percent("--level", typed["level"]),
        area=percent("--area", typed["area"]),
        colour=None if colour is None else meant(Kind.COLOUR, colour.lower()),
        bars=None if typed["bars"] is None else meant(Kind.BARS, typed["bars"]),
        side=None if typed["side"] is None else typed["side"].lower(),
    )


def pattern_of(text: str) -> Pattern:
    """A built-in pattern by its name or a word of the trade, or the user's own by the path of its TOML file."""
    if text.lower().endswith(".toml"):
        # The patterns' own reader opens what it is given, and waits for a named pipe without an end.
        check_plain(Path(text))
        return load_pattern(Path(text))
    return find_pattern(meant(Kind.PATTERN, text))


def format_of(text: str, aspect: str | None) -> Format:
    """A format by its name, a word of the trade, or as WxH[i|p]@RATE."""
    if "," in text:
        raise UsageError(f"--format: got {_short(text)}; give one format (kit accepts several: repeat --format)")
    return parse_format(meant(Kind.FORMAT, text), None if aspect is None else parse_aspect(aspect))


def carrier_of(text: str, allowed: tuple[str, ...]) -> str:
    """A kind of file by its name or a word of the trade."""
    name = meant(Kind.CARRIER, text)
    name = name.lower() if name.lower() in allowed else name
    choice("--as", name, allowed)
    return name


def choice(name: str, text: str | None, allowed: tuple[str, ...]) -> str | None:
    """One of a few words."""
    if text is None or text in allowed:
        return text
    raise UsageError(f"{name}: got {_short(text)}; use {', '.join(allowed)}")


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")
