"""The journal of a session: a line for each thing that was done, on the disk before it counts.

A kill or a power cut can leave the last line unfinished; that line was confirmed to nobody, and is taken away when the
journal is opened again.
"""

from __future__ import annotations

import errno
import json
import os
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

from render.errors import FileError
from render.reading import read_bounded
from render.writing import placed

__all__ = ["Journal", "write_synced"]

Event = Mapping[str, Any]

_MOST_BYTES = 64 << 20
"""Of a journal: a session of a day has some hundred kilobytes."""


class Journal:
    """An open journal. `events` are all lines in order; a new one is in it when it is on the disk."""

    def __init__(self, path: Path) -> None:
        """Open a journal, or begin one.

        Raises:
            FileError: it cannot be read, or a line before the last one is broken; one line.
            OSError: it cannot be written.
        """
        self.path = path
        data = read_bounded(path, _MOST_BYTES, "no journal of a session") if path.exists() else b""
        whole = data[: data.rfind(b"\n") + 1]
        self.events: list[Event] = [_event(path, i, line) for i, line in enumerate(whole.splitlines(), 1)]
        # No buffer: what a full disk has refused would be in it, and be written with the next line.
        self._file = open(path, "ab", buffering=0)  # noqa: SIM115 - open for as long as the session is
        if len(whole) < len(data):
            self._file.truncate(len(whole))
        self._size, self._is_broken = len(whole), False
        os.fsync(self._file.fileno())
        _sync_folder(path.parent)

    def append(self, event: Event) -> None:
        """Write a line; when this returns it is on the disk.

        Raises:
            OSError: it cannot be written; what was written of it is taken away. Where even that fails no line is taken
                any more: the next one would make a broken line of it.
        """
        if self._is_broken:
            raise OSError(errno.EIO, "an earlier line could not be written; begin the bench anew", str(self.path))
        line = json.dumps(event, ensure_ascii=False, allow_nan=False).encode() + b"\n"
        try:
            left = memoryview(line)
            while left:
                left = left[self._file.write(left) :]
            os.fsync(self._file.fileno())
        except OSError:
            self._is_broken = True
            self._file.truncate(self._size)
            self._is_broken = False
            raise
        self._size += len(line)
        self.events.append(event)

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def __enter__(self) -> Journal:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()


def write_synced(path: Path, data: bytes) -> None:
    """Write a file that a line of the journal will name: whole, and on the disk.

    Raises:
        OSError: it cannot be written; nothing stands there then.
    """
    with placed(path) as file:
        file.write(data)
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    """Have new names on the disk too. Some systems open no folders."""
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def _event(path: Path, number: int, line: bytes) -> Event:
    try:
        event = json.loads(line)
    except ValueError as error:
        raise FileError(f"{path}: line {number} of the session's journal is broken") from error
    if not isinstance(event, dict) or not isinstance(event.get("do"), str):
        raise FileError(f"{path}: line {number} is none of a session's journal")
    return event
