"""Mistakes of what was typed, and the end of a reader; apart, so that `trueraster --help` loads little else."""

from __future__ import annotations

import errno
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.errors import InputError

__all__ = ["ReaderGoneError", "UsageError", "is_full", "line_of"]


class UsageError(ValueError):
    """Something typed that cannot be meant; the message is one line."""


class ReaderGoneError(Exception):
    """Nobody reads standard output any more, as after 'head': no mistake."""


def is_full(error: OSError) -> bool:
    """Whether the disk, or what a user may have of it, is full; a program that was started says so in its own words."""
    return error.errno in (errno.ENOSPC, errno.EDQUOT) or "No space left" in str(error)


def line_of(error: Exception) -> str | None:
    """What a user is told of a mistake, in one line; None for an error that is the program's own."""
    # Imported here: --help should not wait for numpy.
    from analysis.errors import InputError

    if isinstance(error, InputError):
        return _with_options(error)
    if isinstance(error, MemoryError):
        return "there is not enough memory for this"
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename}: {error.strerror}" if error.filename else error.strerror
    return (str(error) or type(error).__name__) if isinstance(error, ValueError | OSError) else None


def _with_options(error: InputError) -> str:
    """The line of a mistake with the options that its values are typed with: '--marks-mm: ...'."""
    line = str(error)
    if error.fields:
        line = f"{_options(error.fields)}: {line}"
    if error.helps:
        line = f"{line} ({_options(error.helps)})"
    return line


_ARGUMENTS = {"photos": "PHOTO"}
"""Fields of requests that are typed without an option."""


def _options(names: tuple[str, ...]) -> str:
    return ", ".join(_ARGUMENTS.get(name, f"--{name.replace('_', '-')}") for name in names)
