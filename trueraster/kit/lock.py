"""One kit at a time in a folder."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import AbstractContextManager
from pathlib import Path

from trueraster import lock

__all__ = ["LOCK_NAME", "locked"]

LOCK_NAME = ".trueraster-kit.lock"


def locked(folder: Path, waiting: Callable[[], None]) -> AbstractContextManager[int | None]:
    """Hold the folder's lock, as `trueraster.lock.locked` says.

    Raises:
        OSError: the folder cannot be written to.
    """
    return lock.locked(folder / LOCK_NAME, waiting)
