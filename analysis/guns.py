"""The three guns of a colour tube, in the order of every array that has one of each."""

from __future__ import annotations

__all__ = ["GUNS"]

GUNS = ("red", "green", "blue")
