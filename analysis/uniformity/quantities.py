"""The quantities of `measure uniformity`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from analysis.answer import Quantity, each

__all__ = ["FIELD", "quantities"]

_OF_CENTRE = "% of the centre"
_UV = "u'v'"

FIELD = (
    Quantity("fall_off_percent", "corners darker by", "%", main=True, uncertainty="fall_off_sigma"),
    Quantity("dimmest.value", "dimmest zone", _OF_CENTRE, uncertainty="dimmest.sigma", id="dimmest_percent"),
    Quantity("brightest.value", "brightest zone", _OF_CENTRE, uncertainty="brightest.sigma", id="brightest_percent"),
    Quantity(
        "delta_uv.value",
        "farthest in colour from the centre",
        _UV,
        main=True,
        uncertainty="delta_uv.sigma",
        id="delta_uv",
    ),
    Quantity(
        "delta_uv_between.value",
        "zones farthest apart in colour",
        _UV,
        uncertainty="delta_uv_between.sigma",
        id="delta_uv_between",
    ),
)
_PURITY = Quantity(
    "purity.value",
    "largest change of another gun's share",
    "% of all light",
    True,
    True,
    uncertainty="purity.sigma",
    id="purity_percent",
)
"""Of fields of one gun."""


def quantities(held: Mapping[str, Any]) -> tuple[Quantity, ...]:
    """The same for each field that was photographed, by its colour."""
    return tuple(_of_fields(held))


def _of_fields(held: Mapping[str, Any]) -> Iterator[Quantity]:
    fields = held.get("fields")
    for i, field in enumerate(fields if isinstance(fields, list) else ()):
        colour = field.get("colour") if isinstance(field, Mapping) else None
        if not isinstance(colour, str):
            continue
        table = (*FIELD, _PURITY) if isinstance(field.get("purity"), Mapping) else FIELD
        for one in each(table, {str(i): colour}, "fields.{name}."):
            yield replace(
                one,
                id=f"{colour}.{(one.id or one.path).removeprefix(f'fields.{i}.')}",
                uncertainty=f"fields.{i}.{one.uncertainty}",
            )
