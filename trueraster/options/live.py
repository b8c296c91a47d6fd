"""`measure grey --follow`: a line for each reading as it comes."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

import numpy as np

from analysis.meter.colours import xy_of
from analysis.meter.grey.live import Live, live_json, live_of
from analysis.meter.guns import GUNS
from analysis.meter.readings.read import parse_readings
from analysis.meter.readings.types import Readings
from analysis.meter.whites import White
from render.errors import FileError
from trueraster.errors import UsageError
from trueraster.following import followed
from trueraster.options.declared import option
from trueraster.options.meter import tube_of
from trueraster.output.terminal import note, put_json, put_text

__all__ = ["Follow", "LiveOptions", "follow_greys", "live_lines"]

_WAIT, _FIRST = 1800.0, 30.0
"""Seconds without a new reading after which a file is left, and without any at all."""
_MOST_WAIT = 86_400.0


@dataclass(frozen=True, kw_only=True)
class LiveOptions:
    """How readings are followed."""

    follow: Annotated[
        bool, option("--follow", help="One line a reading, as the file grows, until Ctrl-C.", is_flag=True)
    ]
    jsonl: Annotated[bool, option("--jsonl", help="The same as one JSON object a line.", is_flag=True)]
    wait: Annotated[
        float | None,
        option(
            "--wait",
            help="Stop following when nothing came for so long.  [default: 1800; 30 before the first reading]",
            type=float,
            metavar="SECONDS",
        ),
    ]


@dataclass(frozen=True, kw_only=True)
class Follow:
    """What readings are compared with."""

    white: White
    primaries: str | None
    """As typed."""
    keep: str


def live_lines(readings: Readings, follow: Follow, after: int = 0) -> list[Live]:
    """What each reading asks for, from the one that comes after so many.

    Light is separated by the tube's own primaries as far as they were read, those of one level; else by the standard's.

    Raises:
        ValueError: primaries or white cannot be meant; one line that names the option.
    """
    spots = _spots(readings, follow.primaries)
    return [live_of(item, follow.white, spots, follow.keep) for item in readings.items[after:]]


def _spots(readings: Readings, typed: str | None) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    known = tube_of(typed, readings)
    if known is not None:
        return np.array(known.xy)
    latest = {str(item.field): item.xyz for item in readings.items if item.luminance > 0}
    missing = [gun for gun in GUNS if gun not in latest]
    if missing:
        raise UsageError(f"--primaries: readings: no {' and no '.join(missing)} was read yet")
    return np.array([xy_of(np.array(latest[gun])) for gun in GUNS])


def follow_greys(path: Path, live: LiveOptions, follow: Follow) -> None:
    """Print a line for each reading, and go on until Ctrl-C, the end of standard input, or patience is over.

    Raises:
        FileError: the file cannot be read, or no reading came.
        UsageError: an option cannot be meant.
    """
    wait = live.wait
    if wait is not None and not (math.isfinite(wait) and 0 < wait <= _MOST_WAIT):
        raise UsageError(f"--wait: got {wait:g}, more than 0 and at most {_MOST_WAIT:g} seconds is expected")
    shown: list[tuple[object, ...]] = []
    said: set[str] = set()

    def patience() -> float:
        return wait or (_WAIT if shown else _FIRST)

    # Ctrl-C is how it is ended.
    with suppress(KeyboardInterrupt):
        for lines in followed(path, patience):
            readings = _readings(lines, path, said)
            new = _fresh(readings, shown)
            for one in live_lines(readings, follow, new) if readings.items else []:
                (put_json(dict(live_json(one))) if live.jsonl else put_text(one.words))
        if not shown:
            raise FileError(f"{path}: no reading came")


def _readings(lines: Sequence[str], path: Path, said: set[str]) -> Readings:
    """What is read so far; a row that cannot be meant is left out, and said once, since what follows may be right."""
    lines = list(lines)
    while sum(bool(line.strip()) and not line.lstrip().startswith("#") for line in lines) > 1:
        try:
            return parse_readings(lines, path)
        except FileError as error:
            row = re.match(rf"{re.escape(str(path))}: row (\d+)\b", str(error))
            if str(error) not in said:
                said.add(str(error))
                note(f"{error}; it is left out")
            if row is None or not 0 < int(row[1]) <= len(lines) or not lines[int(row[1]) - 1].strip():
                break
            lines[int(row[1]) - 1] = ""
    return Readings(path=path, items=())


def _fresh(readings: Readings, shown: list[tuple[object, ...]]) -> int:
    """From where on readings are new: where the file begins as it did, those that follow; else all that differ."""
    keys = [(item.field, item.level_percent, item.xyz) for item in readings.items]
    same = 0
    while same < min(len(keys), len(shown)) and keys[same] == shown[same]:
        same += 1
    shown[:] = keys
    return same
