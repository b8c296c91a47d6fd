"""Mistakes of what was typed, and the end of a reader; apart, so that `trueraster --help` loads little else."""

from __future__ import annotations

__all__ = ["ReaderGoneError", "UsageError"]


class UsageError(ValueError):
    """Something typed that cannot be meant; the message is one line."""


class ReaderGoneError(Exception):
    """Nobody reads standard output any more, as after 'head': no mistake."""
