"""The quantities of `measure lens`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.answer import Quantity

__all__ = ["quantities"]

LENS = (
    Quantity(
        "lens.distortion_at_corner_percent",
        "distortion at the photograph's corner",
        "%",
        True,
        True,
        uncertainty="lens.uncertainty.distortion_at_corner_percent",
        id="distortion_at_corner_percent",
    ),
    Quantity("lens.rms_px", "corners of the board, root mean square", "px", main=True, uncertainty="", id="rms_px"),
    Quantity("coverage_percent", "photograph covered by boards", "%", decimals=0, uncertainty=""),
)


def quantities(held: Mapping[str, Any] | None = None) -> tuple[Quantity, ...]:
    """The table; it is the same for every lens."""
    return LENS
