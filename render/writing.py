"""The one safe writer: a file gets its name when all of it is written, and only a file is ever replaced.

What is not finished yet has a hidden name with the number of its process. Every file that the tool writes is written by
`placed`, or by `placed_from_room` where it has to be read again before it gets its name.
"""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

__all__ = ["clear_left", "placed", "placed_from_room"]


_TOO_LARGE = "is larger than one file may be here (ulimit -f, or the disk's own limit)"


def _hidden_name(name: str) -> str:
    """The name under which this process writes a file or a folder before it gets its own."""
    return f".trueraster-{os.getpid()}-{name}.part"


def _target_of(path: Path) -> Path:
    """The file that is written where `path` is asked for: links are followed.

    Raises:
        OSError: a folder is there, or what is no file, such as a device or a pipe: it would be gone.
    """
    try:
        kind = path.stat().st_mode
    except FileNotFoundError:
        kind = stat.S_IFREG
    if stat.S_ISDIR(kind):
        raise IsADirectoryError(errno.EISDIR, "a folder has this name; give a different one", str(path))
    if not stat.S_ISREG(kind):
        raise OSError(errno.EINVAL, "is not a file and is never replaced; give a different name", str(path))
    return Path(os.path.realpath(path)) if path.is_symlink() else path


@contextlib.contextmanager
def placed(path: Path) -> Iterator[BinaryIO]:
    """A file to write to, which gets its name when all is written.

    At any moment the old file or the whole new one is there. Missing folders are made, links are followed.

    Raises:
        OSError: it cannot be written, or a folder, a device or a pipe has its name. The error names the path itself,
            and what stood there still does.
    """
    place = _target_of(path)
    hidden = place.with_name(_hidden_name(place.name))
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        with hidden.open("wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        os.replace(hidden, place)
    except OSError as error:
        # The hidden name would mean nothing to the user.
        words = _TOO_LARGE if error.errno == errno.EFBIG else error.strerror or str(error)
        raise type(error)(error.errno, words, str(path)) from error
    finally:
        # A name that is too long cannot be looked for either.
        with contextlib.suppress(OSError):
            hidden.unlink()


@contextlib.contextmanager
def placed_from_room(path: Path, suffix: str) -> Iterator[Path]:
    """A path that ends in `suffix`, in a hidden folder beside the target, for what encoders write and proofs read.

    The file that is there at the end gets its name; an error leaves nothing. Folders of runs that were killed are
    cleared away. Missing folders are made, links are followed.

    Raises:
        OSError: a folder, a device or a pipe has the name, or the folder or the disk does not take the file.
    """
    # Reported at the end, it would name the hidden file, which nobody knows.
    place = _target_of(path)
    place.parent.mkdir(parents=True, exist_ok=True)
    clear_left(place.parent)
    room = place.parent / _hidden_name(os.urandom(4).hex())
    room.mkdir()
    try:
        written = room / f"file{suffix}"
        yield written
        os.replace(written, place)
    except OSError as error:
        if error.errno == errno.EFBIG:
            raise OSError(errno.EFBIG, _TOO_LARGE, str(path)) from error
        raise
    finally:
        shutil.rmtree(room, ignore_errors=True)


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
