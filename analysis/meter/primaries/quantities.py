"""The quantities of `measure colour`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.answer import Quantity, each

__all__ = ["ADDED", "PLACES", "quantities"]

_UV = "u'v'"
_PRIMARIES = {name: name for name in ("red", "green", "blue")}
_SECONDARIES = {name: name for name in ("cyan", "magenta", "yellow")}
ADDED = (*_SECONDARIES, "white")
"""What is made of several guns."""
PLACES = {
    **{name: f"primaries.{name}" for name in _PRIMARIES},
    **{name: f"secondaries.{name}" for name in _SECONDARIES},
    "white": "white",
}
"""Where each field is in the JSON."""

_OFFSETS = tuple(
    Quantity(path, words, signed=signed, kept=False)
    for path, words, signed in (
        ("u", "u'", False),
        ("v", "v'", False),
        ("dx", "error in x", True),
        ("dy", "error in y", True),
        ("du", "error in u'", True),
        ("dv", "error in v'", True),
    )
)


def _field(*, main: bool, white: bool = False) -> tuple[Quantity, ...]:
    missing = () if white else ("{name}",)
    light = () if white else ("luminance",)
    between = (
        (
            Quantity("cct", "correlated colour temperature", "K", main=True),
            Quantity("duv", "Duv, distance from the Planckian locus, + is greenish", "Duv", True),
        )
        if white
        else (
            Quantity("luminance_error_percent", "luminance error", "%", True, main, because=("{name}", *light)),
            Quantity("share_percent", "luminance, of white's", "%", kept=False, because=("{name}", *light)),
            Quantity(
                "target.share_percent",
                "luminance that the standard asks for, of white's",
                "%",
                kept=False,
                uncertainty="",
                because=("{name}",),
            ),
        )
    )
    return (
        Quantity("delta_uv", "colour error", _UV, main=main, because=missing),
        *between,
        Quantity("delta_e_2000", "overall error", "Delta E 2000", because=(*missing, *light)),
        Quantity("luminance", "luminance", "cd/m2", because=missing),
        Quantity("x", "x", because=missing),
        Quantity("y", "y", because=missing),
        *(Quantity(one.path, one.words, signed=one.signed, kept=False, because=missing) for one in _OFFSETS),
    )


_SUM = (
    Quantity("luminance_error_percent", "light", "%", True),
    Quantity("delta_uv", "colour", _UV),
)

COLOUR = (
    *each(_field(main=True), _PRIMARIES, "primaries.{name}."),
    *each(_field(main=True, white=True), {"white": "white"}, "{name}."),
    *each(_field(main=False), _SECONDARIES, "secondaries.{name}."),
    Quantity("gamut.coverage_uv_percent", "colours of the standard that can be shown", "% in u'v'", main=True),
    Quantity("gamut.area_uv_percent", "area of the gamut", "% in u'v'"),
    Quantity("gamut.coverage_xy_percent", "colours of the standard that can be shown", "% in xy"),
    Quantity("gamut.area_xy_percent", "area of the gamut", "% in xy"),
    Quantity("gamut.area_uv", "area of the gamut, in u'v' units", kept=False),
    Quantity("gamut.area_xy", "area of the gamut, in xy units", kept=False),
    *each(_SUM, _SECONDARIES, "additivity.{name}.", "{title} against the sum of its parts, {words}"),
    Quantity("additivity.white.luminance_error_percent", "white against the sum of its parts, light", "%", True, True),
    Quantity("additivity.white.delta_uv", "white against the sum of its parts, colour", _UV),
)


def quantities(held: Mapping[str, Any] | None = None) -> tuple[Quantity, ...]:
    """The table; it is the same for every set of readings."""
    return COLOUR
