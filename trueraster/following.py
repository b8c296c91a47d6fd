"""A text file that another program goes on writing, or standard input: its whole lines, again each time there are more.

A file is looked at by its name, so that a program that replaces it with a longer one is followed too.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from analysis.meter.readings.read import MOST_BYTES, text_of
from render.errors import FileError
from render.reading import read_bounded
from trueraster import interrupt

__all__ = ["STDIN", "followed", "standard_input"]

STDIN = Path("-")
"""The name that stands for standard input."""
_EVERY = 0.2
"""Seconds between looks."""
_SETTLED = 1.5
"""Seconds after which a last line without its end is taken as whole: some programs end it with the next one."""


def standard_input() -> bytes:
    """All of standard input.

    Raises:
        FileError: it holds more than a file of readings can.
    """
    data = sys.stdin.buffer.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise FileError(f"-: is larger than {MOST_BYTES >> 20} MB; no file of readings")
    return data


def followed(path: Path, patience: Callable[[], float]) -> Iterator[list[str]]:
    """The whole lines of a file or of standard input, each time there are more, until nothing came for so long.

    Args:
        path: a plain file, or `STDIN`, which ends when it is closed.
        patience: gives the seconds without anything new after which a file is left.

    Raises:
        FileError: it is missing, is no plain file, or becomes too large.
    """
    if path == STDIN:
        lines: list[str] = []
        for line in sys.stdin:
            lines.append(line.rstrip("\r\n"))
            yield list(lines)
        return
    seen, since = b"", time.monotonic()
    last: list[str] = []
    while True:
        interrupt.check()
        data = read_bounded(path, MOST_BYTES, "no file of readings")
        if data != seen:
            seen, since = data, time.monotonic()
        quiet = time.monotonic() - since
        whole = data if quiet > _SETTLED else data[: data.rfind(b"\n") + 1]
        lines = text_of(whole, path) if whole.strip() else []
        if lines != last:
            last = lines
            yield list(lines)
        if quiet > patience():
            return
        time.sleep(_EVERY)
