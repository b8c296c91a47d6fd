"""The quantities of `measure geometry` and `measure convergence`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from typing import Any

from analysis.answer import Quantity, each, number_at
from analysis.raster.controls import CONVERGENCE_CONTROLS

__all__ = ["CONVERGENCE_KEYS", "GEOMETRY_KEYS", "ZONES", "convergence", "geometry"]

OF_HEIGHT = "% of height"
SIDES = {side: side for side in ("left", "right", "top", "bottom")}
AGAINST_GREEN = {"red": "red", "blue": "blue"}
ZONES = {
    "centre": "in the circle of the picture's height",
    "top_left": "at the top left",
    "top_right": "at the top right",
    "bottom_left": "at the bottom left",
    "bottom_right": "at the bottom right",
    "rest": "between circle and corners",
}
_SPAN = "(max - min) / (max + min)"
_MIDDLE = ("middle, + is right of that of the marks", "middle, + is below that of the marks")
_BENT = {"h": "vertical lines bow, + is middles right", "v": "horizontal lines bow, + is middles down"}


def _in_both(length: str, share: str, words: str, *, signed: bool) -> tuple[Quantity, Quantity]:
    """A length in mm, and the same in % of the picture height."""
    return Quantity(length, words, "mm", signed, beside=share), Quantity(share, words, OF_HEIGHT, signed)


_WHOLE = (
    Quantity("width_mm", "width of the picture", "mm", main=True),
    Quantity("height_mm", "height of the picture", "mm", main=True),
    Quantity("aspect_error_percent", "shape, + is too wide for its height", "%", True, True),
    *_in_both("centre_mm.0", "centre_percent.0", _MIDDLE[0], signed=True),
    *_in_both("centre_mm.1", "centre_percent.1", _MIDDLE[1], signed=True),
    Quantity("rotation_deg", "rotation, + is clockwise", "degrees", True, True),
    Quantity("parallelogram_deg", "vertical lines lean, + is lower end left", "degrees", True, True),
    Quantity("keystone_h_percent", "keystone, + is wider at the top", "%", True, True),
    Quantity("keystone_v_percent", "keystone, + is taller at the left", "%", True, True),
    Quantity("linearity_h_percent", "widths of cells, largest error", "%", main=True),
    Quantity("linearity_h_span_percent", f"widths of cells, as {_SPAN}", "%"),
    Quantity("linearity_v_percent", "heights of cells, largest error", "%", main=True),
    Quantity("linearity_v_span_percent", f"heights of cells, as {_SPAN}", "%"),
    Quantity("s_h_percent", "S-shape, + is cells wider at the sides", "%", True),
    Quantity("s_v_percent", "S-shape, + is taller at top and bottom", "%", True),
    *_in_both("bow_h_mm", "bow_h_percent", _BENT["h"], signed=True),
    *_in_both("bow_v_mm", "bow_v_percent", _BENT["v"], signed=True),
)
_TERMS = tuple(
    each(
        tuple(
            Quantity(term, f"coefficient of {term}", "mm", True, kept=False)
            for term in ("1", "u", "v", "uv", "u2", "v2", "u3", "uv2", "u2v", "v3")
        ),
        {"x": "x on the glass", "y": "y on the glass"},
        "terms.{name}.",
    )
)


def _of_side(unit: str, row: str, *, signed: bool = False, main: bool = False) -> tuple[Quantity]:
    """What each side of the picture has."""
    return (Quantity("", "", unit, signed, main, table="side", row=row, column="{title}"),)


_LINE = Quantity(
    "", "", table="side", row="line of the bend, 0 is the outermost", column="{title}", decimals=0, uncertainty=""
)


def geometry(held: Mapping[str, Any] | None = None) -> tuple[Quantity, ...]:
    """The table; a summary has bends in mm where there were marks, else in % of the height."""
    return _geometry(held is None or number_at(held, "edge_sag_mm.left") is not None)


@cache  # A record with a thousand results asks for it a thousand times.
def _geometry(in_mm: bool) -> tuple[Quantity, ...]:
    bend, hidden = "bend at the {title}, + is inward", "hidden at the {title}"
    bent, covered = "bend, + is inward", "hidden beyond the glass"
    return (
        *_WHOLE,
        *each(_of_side("mm", bent, signed=True, main=in_mm), SIDES, "edge_sag_mm.{name}", bend),
        *each(_of_side(OF_HEIGHT, bent, signed=True, main=not in_mm), SIDES, "edge_sag_percent.{name}", bend),
        *each(_of_side("% of its size", covered, main=True), SIDES, "overscan_percent.{name}", hidden),
        *each((_LINE,), SIDES, "edge_line.{name}", "line of the bend at the {title}, 0 is the outermost"),
        *_TERMS,
    )


GEOMETRY_KEYS = tuple(dict.fromkeys(one.path.split(".")[0] for one in geometry()))
"""The keys of its JSON that hold figures."""


def _most(unit: str, suffix: str, *, main: bool) -> Iterator[Quantity]:
    """How far red or blue lies from green at most."""
    for zone, words in (("centre", ZONES["centre"]), ("overall", "anywhere")):
        table = "largest distance of red or blue from green"
        yield Quantity(
            f"{zone}_max_{suffix}", f"red or blue from green {words}", unit, main=main, table=table, row=words
        )


def _in_zones(unit: str, suffix: str) -> Iterator[Quantity]:
    """The same of each gun, by zone."""
    for gun in AGAINST_GREEN:
        one = Quantity(gun, gun, unit, because=(gun,), table="largest in each zone", row="{title}", column=gun)
        yield from each((one,), ZONES, f"zones_{suffix}.{{name}}.", "{words} from green {title}")


def _moved(unit: str, key: str) -> Iterator[Quantity]:
    """What each adjustment of convergence moves of each gun, and what all of them leave."""
    template = []
    for control in CONVERGENCE_CONTROLS:
        title = control.title.removeprefix("convergence, ")
        template.append(Quantity(control.part, f"{title}, + is right or down", unit, True, row=title))
    left = "what adjustments leave, root mean square"
    template.append(Quantity("remains", left, unit, row=left))
    table = "what adjustments move, + is right or down"
    template = [replace(one, because=("{name}",), table=table, column="{title}") for one in template]
    return each(template, AGAINST_GREEN, f"{key}.{{name}}.")


def convergence(held: Mapping[str, Any] | None = None) -> tuple[Quantity, ...]:
    """The table; limits are in % of the height, whatever the size of the set, so those are always in a summary."""
    return _convergence(held is None or number_at(held, "overall_max_mm") is not None)


@cache
def _convergence(in_mm: bool) -> tuple[Quantity, ...]:
    lengths = (*_most("mm", "mm", main=in_mm), *_in_zones("mm", "mm"), *_moved("mm", "parts"))
    shares = (
        *_most(OF_HEIGHT, "percent", main=True),
        *_in_zones(OF_HEIGHT, "percent"),
        *_moved(OF_HEIGHT, "parts_percent"),
    )
    lengths = tuple(replace(one, beside=other.path) for one, other in zip(lengths, shares, strict=True))
    return (*lengths[:2], *shares[:2], *lengths[2:], *shares[2:])


CONVERGENCE_KEYS = tuple(dict.fromkeys(one.path.split(".")[0] for one in convergence()))
"""The keys of its JSON that hold figures."""
