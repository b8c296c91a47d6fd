"""One writer at a time: a lock on a file of its own, beside what it guards."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

__all__ = ["locked"]


@contextmanager
def locked(path: Path, waiting: Callable[[], None]) -> Iterator[int | None]:
    """Hold the lock at `path`, a file that is there only while somebody holds it.

    Gives its file descriptor, or None where the system or the file system has no locks. `waiting` is called once when
    another process has it. The lock belongs to the open file: a worker process that is given the descriptor goes on
    holding it when its parent is gone.

    Raises:
        OSError: the folder cannot be written to.
    """
    told = False
    while True:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o666)
        held: bool | None = False
        try:
            held = _take(descriptor, block=False)
            if held is False:
                if not told:
                    waiting()
                    told = True
                held = _take(descriptor, block=True)
            # Who had it takes the file away at the end; a lock on a file without a name locks nobody out.
            if held is None or _is_at(descriptor, path):
                yield descriptor if held else None
                return
        finally:
            with contextlib.suppress(OSError):
                if held is not False and _is_at(descriptor, path):
                    path.unlink()
            os.close(descriptor)


def _take(descriptor: int, *, block: bool) -> bool | None:
    """Whether the lock is held now; None where there is no such thing."""
    try:
        # Not on every system.
        import fcntl
    except ImportError:
        return None
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | (0 if block else fcntl.LOCK_NB))
    except BlockingIOError:
        return False
    except OSError:
        return None
    return True


def _is_at(descriptor: int, path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(descriptor), os.stat(path))
    except OSError:
        return False
