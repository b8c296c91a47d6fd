"""The figures of `measure geometry` and `measure convergence`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.raster.controls import CONVERGENCE_CONTROLS
from analysis.raster.convergence import AGAINST_GREEN
from analysis.raster.geometry.overscan import SIDES
from trueraster.rastertables import GEOMETRY_ROWS, ZONES
from trueraster.record.figure import Figure, found, number_at

__all__ = ["convergence_figures", "geometry_figures"]

Json = Mapping[str, Any]

_OF_HEIGHT = "% of height"
_SUMMARY = {
    *("width_mm", "height_mm", "aspect_error_percent", "rotation_deg", "parallelogram_deg"),
    *("keystone_h_percent", "keystone_v_percent", "linearity_h_percent", "linearity_v_percent"),
}
_BENDS = (("edge_sag_mm", "mm"), ("edge_sag_percent", _OF_HEIGHT))


def geometry_figures(result: Json) -> list[Figure]:
    """The whole picture's figures, then those of its sides. Lengths stand in mm and again in % of the height."""
    reasons = _reasons(result)
    figures = []
    above = ""
    for row in GEOMETRY_ROWS:
        # In a table an indented row leans on the one above it; here each stands alone.
        words = row.words if not row.words.startswith(" ") else f"{above.split(',')[0]}, {row.words.strip()}"
        above = row.words
        figures.append(
            found(
                result,
                f"geometry.{row.name}",
                words,
                row.unit,
                at=row.name,
                signed=row.signed,
                key=row.name in _SUMMARY,
                reason=reasons.get(row.name.split(".")[0], ""),
            )
        )
        if row.percent:
            figures.append(
                found(
                    result,
                    f"geometry.{row.percent}",
                    words,
                    _OF_HEIGHT,
                    at=row.percent,
                    signed=row.signed,
                    reason=reasons.get(row.percent.split(".")[0], ""),
                )
            )
    # In a summary they stand once: in mm where there were marks.
    told = _BENDS[0] if number_at(result, "edge_sag_mm.left") is not None else _BENDS[1]
    for name, unit in _BENDS:
        figures += [
            found(
                result,
                f"geometry.{name}.{side}",
                f"bend at the {side}, + is inward",
                unit,
                at=f"{name}.{side}",
                signed=True,
                key=name == told[0],
                reason=reasons.get(name, ""),
            )
            for side in SIDES
        ]
    figures += [
        found(
            result,
            f"geometry.overscan_percent.{side}",
            f"hidden at the {side}",
            "% of its size",
            at=f"overscan_percent.{side}",
            reason=reasons.get(f"overscan_percent.{side}", reasons.get("overscan_percent", "")),
            key=True,
        )
        for side in SIDES
    ]
    return figures


def convergence_figures(result: Json) -> list[Figure]:
    """The largest distances from green, overall and by zone, then what adjustments move."""
    reasons = _reasons(result)
    in_mm = number_at(result, "overall_max_mm") is not None
    figures = []
    for kind, unit in (("mm", "mm"), ("percent", _OF_HEIGHT)):
        for zone, words in (("centre", "in the circle of the picture's height"), ("overall", "anywhere")):
            name = f"{zone}_max_{kind}"
            figures.append(
                found(
                    result,
                    f"convergence.{name}",
                    f"red or blue from green {words}",
                    unit,
                    at=name,
                    # Limits are in % of the height, whatever the size of the set.
                    key=True if kind == "percent" else in_mm,
                    reason=reasons.get(name, ""),
                )
            )
    for kind, unit, parts in (("mm", "mm", "parts"), ("percent", _OF_HEIGHT, "parts_percent")):
        for gun in AGAINST_GREEN:
            for zone, words in ZONES.items():
                at = f"zones_{kind}.{zone}.{gun}"
                place = words if zone in ("centre", "rest") else f"at the {words}"
                place = f"in the {place}" if zone == "centre" else place
                figures.append(found(result, f"convergence.{at}", f"{gun} from green {place}", unit, at=at))
        for gun in AGAINST_GREEN:
            for control in CONVERGENCE_CONTROLS:
                axis, term = control.terms[0]
                at = f"{parts}.{gun}.{control.group}.{axis if term == '1' else f'{axis}_{term}'}"
                words = f"{gun}: {control.title.removeprefix('convergence, ')}, + is right or down"
                figures.append(found(result, f"convergence.{at}", words, unit, at=at, signed=True))
            at = f"{parts}.{gun}.remains"
            words = f"{gun}: what adjustments leave, root mean square"
            figures.append(found(result, f"convergence.{at}", words, unit, at=at))
    return figures


def _reasons(result: Json) -> dict[str, str]:
    held = result.get("reasons")
    return {name: why for name, why in held.items() if isinstance(why, str)} if isinstance(held, Mapping) else {}
