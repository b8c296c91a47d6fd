"""The mistake of what was typed; apart, so that `trueraster --help` need not load what options become."""

from __future__ import annotations

__all__ = ["UsageError"]


class UsageError(ValueError):
    """Something typed that cannot be meant; the message is one line."""
