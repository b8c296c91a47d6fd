"""The quantities of `measure geometry` and `measure convergence`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from analysis.answer import Quantity, each, number_at
from analysis.raster.controls import CONVERGENCE_CONTROLS

__all__ = ["ADJUSTED", "AGAINST_GREEN", "OF_HEIGHT", "SIDES", "ZONES", "convergence", "geometry"]

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
    return Quantity(length, words, "mm", signed), Quantity(share, words, OF_HEIGHT, signed)


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


def geometry(held: Mapping[str, Any] | None = None) -> tuple[Quantity, ...]:
    """The table; a summary has bends in mm where there were marks, else in % of the height."""
    in_mm = held is None or number_at(held, "edge_sag_mm.left") is not None
    bend, hidden = "bend at the {title}, + is inward", "hidden at the {title}"
    return (
        *_WHOLE,
        *each((Quantity("", "", "mm", True, in_mm),), SIDES, "edge_sag_mm.{name}", bend),
        *each((Quantity("", "", OF_HEIGHT, True, not in_mm),), SIDES, "edge_sag_percent.{name}", bend),
        *each((Quantity("", "", "% of its size", main=True),), SIDES, "overscan_percent.{name}", hidden),
        *_TERMS,
    )


def _moved(unit: str) -> Iterator[Quantity]:
    """What each adjustment of convergence moves."""
    for control in CONVERGENCE_CONTROLS:
        axis, term = control.terms[0]
        path = f"{control.group}.{axis if term == '1' else f'{axis}_{term}'}"
        yield Quantity(path, f"{control.title.removeprefix('convergence, ')}, + is right or down", unit, True)
    yield Quantity("remains", "what adjustments leave, root mean square", unit)


ADJUSTED = {one.path: one.words for one in _moved("")}
"""What adjustments of convergence move, by path behind a gun's name."""


def _most(unit: str, suffix: str, *, main: bool) -> Iterator[Quantity]:
    for zone, words in (("centre", ZONES["centre"]), ("overall", "anywhere")):
        yield Quantity(f"{zone}_max_{suffix}", f"red or blue from green {words}", unit, main=main)


def _split(unit: str, suffix: str, parts: str) -> Iterator[Quantity]:
    for gun in AGAINST_GREEN:
        yield from each((Quantity(gun, gun, unit),), ZONES, f"zones_{suffix}.{{name}}.", "{words} from green {title}")
    yield from each(tuple(_moved(unit)), AGAINST_GREEN, f"{parts}.{{name}}.")


def convergence(held: Mapping[str, Any] | None = None) -> tuple[Quantity, ...]:
    """The table; limits are in % of the height, whatever the size of the set, so those are always in a summary."""
    in_mm = held is None or number_at(held, "overall_max_mm") is not None
    return (
        *_most("mm", "mm", main=in_mm),
        *_most(OF_HEIGHT, "percent", main=True),
        *_split("mm", "mm", "parts"),
        *_split(OF_HEIGHT, "percent", "parts_percent"),
    )
