"""Opening the files that a user names: plain files only, and never more of one than its kind can have.

A named pipe that nobody writes to never answers, and a device may never end.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import BinaryIO

from render.errors import FileError

__all__ = ["check_plain", "read_bounded", "read_stream"]

_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a named pipe"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISSOCK, "a socket"),
)


def check_plain(path: Path) -> None:
    """Refuse anything that is not a plain file, or a link to one, before it is opened.

    Raises:
        FileError: it is missing, or is a folder, a named pipe, a device or a socket; one line that names it.
    """
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from error
    if not stat.S_ISREG(mode):
        kind = next((words for is_kind, words in _KINDS if is_kind(mode)), "of a kind that is not known here")
        raise FileError(f"{path}: is not a file ({kind})")


def read_bounded(path: Path, most: int, what: str) -> bytes:
    """The bytes of a plain file.

    Args:
        path: the file.
        most: the largest number of bytes that such a file may have.
        what: ends the message on a larger file, such as "no record of a set".

    Raises:
        FileError: as `check_plain` does, or it cannot be read, or is larger; one line that names it.
    """
    check_plain(path)
    try:
        with path.open("rb") as file:
            return read_stream(file, str(path), most, what, os.fstat(file.fileno()).st_size)
    except OSError as error:
        raise _unreadable(path, error) from error


def read_stream(file: BinaryIO, name: str, most: int, what: str, expected: int = 0) -> bytes:
    """The same of an open file, such as standard input; `expected` is its size in bytes where that is known.

    Raises:
        FileError: it cannot be read, or holds more; one line that begins with `name`.
    """
    try:
        # Asked for `most` at once, Python would set aside that much memory for the smallest file.
        data = file.read(min(expected, most) + 1)
        if expected < len(data) <= most:
            data += file.read(most + 1 - len(data))
    except OSError as error:
        raise _unreadable(name, error) from error
    if len(data) > most:
        size = f"{most >> 20} MB" if most >= 1 << 20 else f"{most >> 10} kB"
        raise FileError(f"{name}: is larger than {size}; {what}")
    return data


def _unreadable(name: Path | str, error: Exception) -> FileError:
    return FileError(f"{name}: cannot be read ({getattr(error, 'strerror', None) or error})")
