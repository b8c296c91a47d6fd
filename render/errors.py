"""The error of readers of files; in a module of its own, so that who raises it needs no decoder."""

from __future__ import annotations

__all__ = ["FileError"]


class FileError(ValueError):
    """A file that cannot be read as what it should be; the message is one line."""
