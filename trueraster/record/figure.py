"""One figure of a result, and how figures are found in results that may have been changed by hand."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

__all__ = ["Figure", "found", "number_at"]

Json = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A figure in words, with what it is uncertain by."""

    id: str
    """'geometry.width_mm': the measurement, then the name in its `--json`; the same at every stage."""
    words: str
    """What it is: 'width of the picture'."""
    value: float | None
    """None where the result does not tell it; then `reason` may say why."""
    uncertainty: float | None
    """Standard uncertainty in the same unit; None where the result has none."""
    unit: str
    """'mm', '%', ...; empty for a count or a ratio."""
    signed: bool
    """Whether its sign tells a direction, so that a plus is shown too."""
    key: bool
    """Whether it stands in a summary."""
    decimals: int | None = None
    """Digits after the point where they are not a matter of the uncertainty."""
    reason: str = ""


def found(
    result: Json,
    id: str,
    words: str,
    unit: str,
    *,
    at: str,
    unsure: str = "",
    signed: bool = False,
    key: bool = False,
    decimals: int | None = None,
    reason: str = "",
) -> Figure:
    """The figure at a path in a result; `unsure` is that of its uncertainty, `uncertainty.<path>` unless it is said."""
    return Figure(
        id=id,
        words=words,
        value=number_at(result, at),
        uncertainty=number_at(result, unsure or f"uncertainty.{at}"),
        unit=unit,
        signed=signed,
        key=key,
        decimals=decimals,
        reason=reason,
    )


def number_at(result: Json, path: str) -> float | None:
    """The number at a path such as 'centre_mm.0'; None where there is none."""
    held: Any = result
    for part in path.split("."):
        if isinstance(held, Mapping):
            held = held.get(part)
        elif isinstance(held, Sequence) and not isinstance(held, str) and part.isdecimal() and int(part) < len(held):
            held = held[int(part)]
        else:
            return None
    if isinstance(held, bool) or not isinstance(held, int | float):
        return None
    try:
        value = float(held)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None
