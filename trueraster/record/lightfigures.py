"""The figures of `measure uniformity`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trueraster.record.figure import Figure, found

__all__ = ["uniformity_figures"]

Json = Mapping[str, Any]

_OF_CENTRE = "% of the centre"


def uniformity_figures(result: Json) -> list[Figure]:
    """Of each field that was photographed: how its light and its colour change over the picture."""
    fields = result.get("fields")
    figures = []
    for field in fields if isinstance(fields, list) else ():
        colour = field.get("colour") if isinstance(field, Mapping) else None
        if isinstance(colour, str):
            figures += _of_field(field, colour)
    return figures


def _of_field(field: Json, colour: str) -> list[Figure]:
    def one(
        name: str, words: str, unit: str, at: str, unsure: str, *, signed: bool = False, key: bool = False
    ) -> Figure:
        return found(
            field,
            f"uniformity.{colour}.{name}",
            f"{colour}: {words}",
            unit,
            at=at,
            unsure=unsure,
            signed=signed,
            key=key,
        )

    figures = [
        one("fall_off_percent", "corners darker by", "%", "fall_off_percent", "fall_off_sigma", key=True),
        one("dimmest_percent", "dimmest zone", _OF_CENTRE, "dimmest.value", "dimmest.sigma"),
        one("brightest_percent", "brightest zone", _OF_CENTRE, "brightest.value", "brightest.sigma"),
        one("delta_uv", "farthest in colour from the centre", "u'v'", "delta_uv.value", "delta_uv.sigma", key=True),
        one("delta_uv_between", "zones farthest apart", "u'v'", "delta_uv_between.value", "delta_uv_between.sigma"),
    ]
    if isinstance(field.get("purity"), Mapping):
        purity = "largest change of another gun's share"
        figures.append(
            one("purity_percent", purity, "% of all light", "purity.value", "purity.sigma", signed=True, key=True)
        )
    return figures
