"""What tests of answers share."""

from __future__ import annotations

from typing import Any

from trueraster.output.json import quantities_in

__all__ = ["numbers_without_a_quantity"]


def numbers_without_a_quantity(kind: str, held: dict[str, Any]) -> set[str]:
    """The paths of numbers in an answer's JSON that its table of quantities does not have."""
    known = {path for one in quantities_in(kind, held) for path in (one.path, one.uncertainty.format(path=one.path))}
    return _numbers(held) - known


def _numbers(held: Any, at: str = "") -> set[str]:
    if isinstance(held, dict):
        return {path for name, part in held.items() for path in _numbers(part, f"{at}.{name}" if at else name)}
    if isinstance(held, list):
        return {path for i, part in enumerate(held) for path in _numbers(part, f"{at}.{i}")}
    return {at} if isinstance(held, int | float) and not isinstance(held, bool) else set()
