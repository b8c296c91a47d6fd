"""The quantities of `measure uniformity`. Uncertainties are beside their values, as 'sigma'."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

from analysis.answer import Quantity, each

__all__ = ["quantities"]

_OF_CENTRE = "% of the centre"
_OF_LIGHT = "% of all light"
_UV = "u'v'"
_NONE = ""
"""The path of an uncertainty where there is none."""

FIELD = (
    Quantity("fall_off_percent", "corners darker by", "%", main=True, uncertainty="fall_off_sigma"),
    Quantity("dimmest.value", "dimmest zone", _OF_CENTRE, uncertainty="dimmest.sigma", id="dimmest_percent"),
    Quantity("brightest.value", "brightest zone", _OF_CENTRE, uncertainty="brightest.sigma", id="brightest_percent"),
    Quantity(
        "delta_uv.value",
        "farthest in colour from the centre",
        _UV,
        main=True,
        decimals=4,
        uncertainty="delta_uv.sigma",
        id="delta_uv",
    ),
    Quantity(
        "delta_uv_between.value",
        "zones farthest apart in colour",
        _UV,
        decimals=4,
        uncertainty="delta_uv_between.sigma",
        id="delta_uv_between",
    ),
    Quantity("clipped_percent", "clipped part of the lit area", "%", uncertainty=_NONE, kept=False),
    Quantity("surround_percent", "light around the picture", "% of the picture's", uncertainty=_NONE, kept=False),
)
_PURITY = Quantity(
    "purity.value",
    "largest change of another gun's share",
    _OF_LIGHT,
    True,
    True,
    uncertainty="purity.sigma",
    id="purity_percent",
)
"""A record has it for fields of one gun."""
_ZONE = (
    Quantity("u", "middle, from -1 at the left to 1 at the right", signed=True, uncertainty=_NONE, kept=False),
    Quantity("v", "middle, from -1 at the top to 1 at the bottom", signed=True, uncertainty=_NONE, kept=False),
    Quantity("luminance_percent", "luminance", _OF_CENTRE, decimals=1, uncertainty="luminance_sigma", kept=False),
    Quantity("delta_u", "difference in u' from the centre", _UV, True, uncertainty=_NONE, kept=False),
    Quantity("delta_v", "difference in v' from the centre", _UV, True, uncertainty=_NONE, kept=False),
    Quantity(
        "delta_uv", "difference in colour from the centre", _UV, decimals=4, uncertainty="delta_uv_sigma", kept=False
    ),
    Quantity("clipped_percent", "clipped part", "%", uncertainty=_NONE, kept=False),
)
_ZONE_PURITY = (
    Quantity(
        "purity.percent",
        "change of another gun's share",
        _OF_LIGHT,
        True,
        decimals=1,
        uncertainty="purity.sigma",
        kept=False,
    ),
    Quantity("purity.hue_shift_deg", "turn of the hue about white", "degrees", True, uncertainty=_NONE, kept=False),
)
_BLOTCH = (
    Quantity(
        "delta_uv", "difference in colour from around it", _UV, decimals=4, uncertainty="delta_uv_sigma", kept=False
    ),
    Quantity(
        "luminance_percent",
        "difference in luminance from around it",
        "%",
        True,
        uncertainty="luminance_sigma",
        kept=False,
    ),
    Quantity("area_percent", "area", "% of the visible area", uncertainty=_NONE, kept=False),
    Quantity("centre_uv.0", "place, from -1 at the left to 1 at the right", "", True, uncertainty=_NONE, kept=False),
    Quantity("centre_uv.1", "place, from -1 at the top to 1 at the bottom", "", True, uncertainty=_NONE, kept=False),
)
_LIMIT = (
    Quantity("measured", "as measured", uncertainty="sigma", kept=False),
    Quantity("limit", "limit", uncertainty=_NONE, kept=False),
)


def quantities(held: Mapping[str, Any]) -> tuple[Quantity, ...]:
    """The same for each field that was photographed, by its colour; then the figures that have limits."""
    return (*_of_fields(held), *_of_limits(held))


def _of_fields(held: Mapping[str, Any]) -> Iterator[Quantity]:
    for i, field in _objects(held, "fields"):
        colour = field.get("colour")
        if not isinstance(colour, str):
            continue
        purity = replace(_PURITY, kept=isinstance(field.get("purity"), Mapping))
        rows = (*FIELD, purity, *_of_zones(field, i), *_of_blotches(field))
        for one in _member("fields", i, colour, rows):
            # By its colour a field has the same id at every stage, whichever others were photographed.
            yield replace(one, id=f"{colour}.{(one.id or one.path).removeprefix(f'fields.{i}.')}")


def _of_zones(field: Mapping[str, Any], i: int) -> Iterator[Quantity]:
    # What makes purity null does so in all zones.
    purity = tuple(replace(one, because=(f"fields.{i}.purity",)) for one in _ZONE_PURITY)
    for j, zone in _objects(field, "zones"):
        yield from _member("zones", j, str(zone.get("name", f"zone {j + 1}")), (*_ZONE, *purity))


def _of_blotches(field: Mapping[str, Any]) -> Iterator[Quantity]:
    for j, _ in _objects(field, "blotches"):
        yield from _member("blotches", j, f"blotch {j + 1}", _BLOTCH)


def _of_limits(held: Mapping[str, Any]) -> Iterator[Quantity]:
    for i, limit in _objects(held, "limits"):
        yield from _member("limits", i, f"{limit.get('field')}: {limit.get('figure')}", _LIMIT)


def _objects(held: Mapping[str, Any], name: str) -> Iterator[tuple[int, Mapping[str, Any]]]:
    """The objects in a list of an answer, with their places in it; a file that was changed may hold anything."""
    some = held.get(name)
    for i, one in enumerate(some if isinstance(some, list) else ()):
        if isinstance(one, Mapping):
            yield i, one


@lru_cache(maxsize=1024)  # A record with a thousand results has the same zones again and again.
def _member(group: str, i: int, title: str, rows: tuple[Quantity, ...]) -> tuple[Quantity, ...]:
    """The rows of one object in a list of objects, whose uncertainties lie in the object too."""
    return tuple(
        replace(one, uncertainty=f"{group}.{i}.{one.uncertainty}" if one.uncertainty else _NONE)
        for one in each(rows, {str(i): title}, f"{group}.{{name}}.")
    )
