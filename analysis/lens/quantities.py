"""The quantities of `measure lens`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from analysis.answer import Quantity, each

__all__ = ["quantities"]

_AXES = {"0": "across", "1": "down"}
_GUNS = {gun: gun for gun in ("red", "blue")}
_COEFFICIENTS = {name: name for name in ("k1", "k2", "p1", "p2", "k3")}
_FINE = 9
"""Digits of what is multiplied by powers of the distance from the middle."""

_OWN = (
    *each((Quantity("", "", "px", kept=False),), _AXES, "focal_px.{name}", "focal length, {title}"),
    *each((Quantity("", "", "px", kept=False),), _AXES, "principal_px.{name}", "principal point, {title}"),
    Quantity("distortion_at_corner_percent", "distortion at the photograph's corner", "%", True, True),
    *each(
        (Quantity("", "", signed=True, digits=_FINE, kept=False),),
        _COEFFICIENTS,
        "distortion.{name}",
        "coefficient {title} of the distortion",
    ),
    *each(
        (Quantity("", "", "px", True, kept=False),),
        _GUNS,
        "{name}_at_corner_px",
        "{title} farther out than green at the corner",
    ),
    *each(
        tuple(
            Quantity(str(i), f"scale, coefficient {name}", signed=True, digits=_FINE, uncertainty="", kept=False)
            for i, name in enumerate("ab")
        ),
        _GUNS,
        "{name}.",
    ),
    Quantity("rms_px", "corners of the board, root mean square", "px", main=True, uncertainty=""),
)
"""Of the lens itself; paths are in its object."""

LENS = (
    *(
        replace(
            one,
            path=f"lens.{one.path}",
            uncertainty=one.uncertainty and f"lens.{one.uncertainty.format(path=one.path)}",
            id=one.path,
            pattern=f"lens.{one.pattern or one.path}",
        )
        for one in _OWN
    ),
    Quantity("coverage_percent", "photograph covered by boards", "%", decimals=0, uncertainty=""),
    *each(
        (Quantity("", "", "degrees", decimals=0, uncertainty="", kept=False),),
        {"0": "smallest", "1": "largest"},
        "tilts_deg.{name}",
        "{title} tilt of the board",
    ),
    Quantity("spread_deg", "largest angle between two boards", "degrees", decimals=0, uncertainty="", kept=False),
)


def quantities(held: Mapping[str, Any] | None = None) -> tuple[Quantity, ...]:
    """The table; it is the same for every lens."""
    return LENS
