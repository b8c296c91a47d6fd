"""The main finding of a measurement as one line: the title of its pictures and plots."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from analysis.raster.convergence import AGAINST_GREEN, ZONES, Convergence
from analysis.raster.geometry.figures import Geometry
from analysis.raster.geometry.overscan import SIDES
from analysis.rounding import decimals

__all__ = ["ZONE_WORDS", "amount", "convergence_finding", "linearity_finding", "shape_finding", "worst_zone"]

ZONE_WORDS = {
    "centre": "in the centre circle",
    "top_left": "at the top left",
    "top_right": "at the top right",
    "bottom_left": "at the bottom left",
    "bottom_right": "at the bottom right",
    "rest": "between circle and corners",
}
_ACROSS = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}
_SEEN_PERCENT = 0.05
"""Bend, in percent of the picture height, below which a line is straight for the eye (common practice, no source)."""
_EQUAL_PERCENT = 0.1
"""Error of a cell below which it is equal to the others for all purposes (common practice, no source)."""
_TOGETHER_PERCENT = 0.02
"""Distance of two guns, in percent of the picture height, that nobody sees (common practice, no source)."""
_SURE = 2.0
_PARTNER = 1 / 3
"""Share of the larger bend from which the opposite side takes part in it."""


def amount(value: float, uncertainty: float | None, unit: str, most: int = 2) -> str:
    """A size in words, as `0.89 mm`."""
    return f"{abs(value):.{decimals(uncertainty, most)}f} {unit}"


def shape_finding(found: Geometry) -> str:
    """Which way the sides bend, and how far the one that bends most."""
    unit, name = ("mm", "edge_sag_mm") if found.grid.placed else ("% of the height", "edge_sag_percent")
    sags, unsure = found.figures[name], found.uncertainty[name]
    if sags is None:
        return "Too little of the grid is seen"
    percent = found.figures["edge_sag_percent"]
    worst = max(SIDES, key=lambda side: abs(sags[side]))
    sag = sags[worst]
    if abs(percent[worst]) < _SEEN_PERCENT or abs(sag) < _SURE * unsure[worst]:
        most = max(abs(sags[side]) + _SURE * unsure[side] for side in SIDES)
        return f"Straight edges: none bends by more than {amount(most, most, unit)}"
    partner = sags[_ACROSS[worst]]
    inward = "inward" if sag > 0 else "outward"
    if abs(partner) < _PARTNER * abs(sag):
        kind = "Uneven bends"
    elif partner * sag < 0:
        kind = "Bow"
    else:
        kind = "Pincushion" if sag > 0 else "Barrel"
    return f"{kind}: the {worst} edge bends {amount(sag, unsure[worst], unit)} {inward}"


def linearity_finding(found: Geometry) -> str:
    """How unequal the cells are."""
    told = []
    for name, words in (("linearity_h_percent", "widths"), ("linearity_v_percent", "heights")):
        value, unsure = found.figures[name], found.uncertainty[name]
        if value is None:
            return "Linearity: not told without marks"
        least = max(_SURE * unsure, _EQUAL_PERCENT)
        equal = value < least
        size = amount(least, least, "%") if equal else amount(value, unsure, "%")
        told.append(f"{words} {'equal within' if equal else 'up to'} {size}{'' if equal else ' off their mean'}")
    return f"Linearity of the cells: {', '.join(told)}"


def convergence_finding(found: Convergence) -> str:
    """How far red and blue lie from green where they lie farthest, and where that is."""
    unit, zones, unsure = (
        ("mm", found.figures["zones_mm"], found.uncertainty["zones_mm"])
        if found.grid.placed
        else ("% of the height", found.figures["zones_percent"], found.uncertainty["zones_percent"])
    )
    if zones is None:
        return "Convergence cannot be told"
    assert found.height is not None
    told = []
    for gun in AGAINST_GREEN:
        zone = worst_zone(zones, gun)
        if zone is None:
            continue
        value, doubt = zones[zone][gun], unsure[zone][gun]
        least = max(_SURE * doubt, _TOGETHER_PERCENT / 100 * found.height)
        told.append(
            f"{gun} lies on green within {amount(least, least, unit)}"
            if value < least
            else f"{gun} lies up to {amount(value, doubt, unit)} from green {ZONE_WORDS[zone]}"
        )
    text = ", ".join(told)
    return text[:1].upper() + text[1:]


def worst_zone(zones: Mapping[str, Mapping[str, Any]], gun: str) -> str | None:
    """The zone in which a gun lies farthest from green, of the figures by zone; None where it is not told."""
    known = {zone: zones[zone].get(gun) for zone in ZONES if zone in zones}
    told = {zone: size for zone, size in known.items() if size is not None and math.isfinite(size)}
    return max(told, key=lambda zone: told[zone]) if told else None
