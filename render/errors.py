"""The mistake that readers of files tell their users of; apart, so that who raises it needs no decoder."""

from __future__ import annotations

__all__ = ["FileError"]


class FileError(ValueError):
    """A file that cannot be read as what it should be; the message is one line."""
