"""Passing files and folders: what is not finished yet has a hidden name with the number of its process."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

__all__ = ["clear_left", "passing_name", "placed"]


def passing_name(name: str) -> str:
    """The name under which this process writes a file or a folder before it gets its own."""
    return f".trueraster-{os.getpid()}-{name}.part"


@contextlib.contextmanager
def placed(path: Path) -> Iterator[BinaryIO]:
    """A file to write to, which gets its name when all is written.

    At any moment the old file or the whole new one is there. Missing folders are made, links are followed. What is no
    file, such as a device or a pipe, is left alone: it would be gone.

    Raises:
        OSError: it cannot be written; it names the path itself, and what stood there still does.
    """
    place = Path(os.path.realpath(path)) if path.is_symlink() else path
    passing = place.with_name(passing_name(place.name))
    try:
        if place.exists() and not (place.is_file() or place.is_dir()):
            raise OSError(errno.EINVAL, "is no file, and is not replaced by one; give another name", str(path))
        place.parent.mkdir(parents=True, exist_ok=True)
        with passing.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(passing, place)
    except OSError as error:
        # The passing name would tell the user nothing.
        raise type(error)(error.errno, error.strerror or str(error), str(path)) from error
    finally:
        # A name that is too long cannot be looked for either.
        with contextlib.suppress(OSError):
            passing.unlink()


def clear_left(folder: Path, process: int | None = None) -> None:
    """Take away what a process has left unfinished; None: what all processes have left that are no more."""
    for left in folder.glob(f".trueraster-{'*' if process is None else process}-*.part"):
        with contextlib.suppress(OSError, ValueError):
            if process is None and _is_alive(int(left.name.split("-")[1])):
                continue
            if left.is_dir():
                shutil.rmtree(left, ignore_errors=True)
            else:
                left.unlink()


def _is_alive(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
