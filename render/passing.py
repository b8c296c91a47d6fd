"""Passing files and folders: what is not finished yet has a hidden name with the number of its process."""

from __future__ import annotations

import contextlib
import os
import shutil
from pathlib import Path

__all__ = ["clear_left", "passing_name"]


def passing_name(name: str) -> str:
    """The name under which this process writes a file or a folder before it gets its own."""
    return f".trueraster-{os.getpid()}-{name}.part"


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
