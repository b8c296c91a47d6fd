"""What `measure geometry` and `measure convergence` answer, and the findings that head their pictures and plots."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.answer import Advice, Answer, Figure, Finding, Kind, Quantity, figures_of
from analysis.photo.face import Face
from analysis.raster.advice import Correction, Plan, Size, advise, advise_convergence
from analysis.raster.classes import CLASSES
from analysis.raster.convergence import AGAINST_GREEN, ZONES, Convergence
from analysis.raster.geometry.figures import Geometry, seen_nodes
from analysis.raster.geometry.overscan import SIDES
from analysis.raster.geometry.smooth import where_seen
from analysis.raster.measure import RasterPhoto
from analysis.raster.quantities import CONVERGENCE_KEYS, GEOMETRY_KEYS, convergence, geometry
from analysis.raster.quantities import ZONES as ZONE_WORDS
from analysis.raster.remarks import assumptions_of, gun_remarks, line_remarks, tolerance_note
from analysis.raster.unplaced import GREEN
from analysis.rounding import decimals
from analysis.tables import tables_of

__all__ = [
    "advice_of",
    "amount",
    "convergence_answer",
    "convergence_figures",
    "convergence_finding",
    "geometry_answer",
    "geometry_figures",
    "linearity_finding",
    "missing_of",
    "shape_finding",
    "summary_of",
    "worst_zone",
]

_ACROSS = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}
_SEEN_PERCENT = 0.05
"""Bend, in percent of the picture height, below which a line is straight for the eye (common practice, no source)."""
_EQUAL_PERCENT = 0.1
"""Error of a cell below which it is equal to the others for all purposes (common practice, no source)."""
_TOGETHER_PERCENT = 0.02
"""Distance of two guns, in percent of the picture height, that nobody sees (common practice, no source)."""
_CLEAR = 2.0
"""Standard uncertainties from which a figure is clear of them."""
_PARTNER = 1 / 3
"""Share of the larger bend from which the opposite side takes part in it."""


def geometry_answer(seen: RasterPhoto, found: Geometry) -> Answer:
    """Everything that is reported of the raster's shape."""
    nodes, placed = found.grid.nodes[found.gun], found.grid.placed
    answer = _answer(
        seen,
        Kind.GEOMETRY,
        geometry_figures(found),
        found.reasons,
        advise(found, seen.request.size_mm, seen.request.set_class),
    )
    answer = replace(
        answer,
        assumptions=assumptions_of(seen, between_guns=False),
        remarks=(*answer.remarks, *gun_remarks(found), *line_remarks(found)),
    )
    answer = _with_tolerances(answer, seen, found.figures.get("height_mm"))
    findings = [Finding(shape_finding(found), about=f"{_sag_key(found)}.{_worst_side(found)}")]
    if "linearity_h_percent" in found.figures:
        findings.append(Finding(linearity_finding(found), about="linearity_h_percent"))
    places = [
        {"u": u, "v": v, "x_mm": x if placed else None, "y_mm": y if placed else None}
        for u, v, x, y in seen_nodes(found.grid.shown, nodes)
    ]
    return replace(
        answer,
        subject=_subject(seen, nodes),
        findings=tuple(findings),
        absent=tuple(key for key in GEOMETRY_KEYS if key in found.reasons),
        details={**answer.details, "nodes": places},
    )


def convergence_answer(seen: RasterPhoto, found: Convergence) -> Answer:
    """Everything that is reported of red's and blue's place against green's."""
    answer = _answer(
        seen,
        Kind.CONVERGENCE,
        convergence_figures(found),
        found.reasons,
        advise_convergence(found, seen.request.set_class),
    )
    answer = replace(answer, assumptions=assumptions_of(seen, between_guns=True))
    answer = _with_tolerances(answer, seen, found.height if found.grid.placed else None)
    dark = [f"{key}.{gun}" for key in ("parts", "parts_percent") for gun in AGAINST_GREEN if gun in found.reasons]
    return replace(
        answer,
        subject=_subject(seen, found.grid.nodes[GREEN]),
        findings=(Finding(convergence_finding(found), about="overall_max_mm"),),
        absent=(*(key for key in CONVERGENCE_KEYS if key in found.reasons), *dark),
        details={**answer.details, **_offsets(found)},
    )


def geometry_figures(found: Geometry) -> tuple[Figure, ...]:
    """All figures of the raster's shape."""
    return figures_of(geometry(), found.figures, found.uncertainty, found.reasons)


def convergence_figures(found: Convergence) -> tuple[Figure, ...]:
    """All figures of convergence."""
    return figures_of(convergence(), found.figures, found.uncertainty, found.reasons)


def _answer(
    seen: RasterPhoto, kind: Kind, figures: tuple[Figure, ...], reasons: Mapping[str, str], plan: Plan
) -> Answer:
    """What both have in common."""
    summary = summary_of(plan)
    return Answer(
        kind=kind,
        subject=(),
        figures=figures,
        findings=(),
        tables=tables_of(figures),
        remarks=seen.warnings,
        missing=missing_of(figures, reasons),
        advice=advice_of(plan),
        advice_title="What to adjust, in the order of work" if plan.corrections else "What to adjust",
        summary=(summary,),
        reasons=reasons,
        details={"summary": summary, "photo": _photo(seen)},
    )


def _with_tolerances(answer: Answer, seen: RasterPhoto, height_mm: float | None) -> Answer:
    """With what the tolerances of the set's class mean on this set, where its height is known."""
    own = seen.request.set_class
    if height_mm is None:
        return replace(answer, details={**answer.details, "tolerances_mm": None})
    return replace(
        answer,
        notes=(tolerance_note(own, height_mm),),
        details={**answer.details, "tolerances_mm": dict(CLASSES[own].in_mm(height_mm))},
    )


def _subject(seen: RasterPhoto, nodes: NDArray[np.float64]) -> tuple[str, str]:
    """The file, and what was seen in it; `nodes` are those of the gun that is counted, (rows, columns, 2)."""
    width, height = seen.photo.size
    kinds = "crossings" if seen.request.shown.scene.nodes else "dots"
    return (
        str(seen.request.photo),
        f"{seen.request.shown.words}, {int(where_seen(nodes).sum())} of {nodes[..., 0].size} {kinds} seen, "
        f"{width}x{height} pixels, {seen.marks_words}",
    )


def _photo(seen: RasterPhoto) -> dict[str, Any]:
    """What was measured, for the JSON."""
    request, shown, marks = seen.request, seen.request.shown, seen.marks
    aspect = shown.format.picture_aspect
    return {
        "path": str(request.photo),
        "size_px": seen.photo.size,
        "pattern": shown.pattern,
        "format": shown.format.id,
        "aspect": f"{aspect.numerator}:{aspect.denominator}",
        "lines": [len(shown.grid.u), len(shown.grid.v)],
        "marks_mm": None if marks is None else marks.size_mm,
        "marks_px": None if marks is None else marks.seen.centres.tolist(),
        "marks_mm_uncertainty": None if marks is None else marks.size_sigma_mm,
        "lens": None if request.lens is None else str(request.lens),
        "glass_radius_mm": _radius(request.face),
        "face": None if request.face is None else request.face.words,
        "depth_mm": request.depth_mm,
        "set_class": request.set_class.value,
        "exposure_s": None if seen.on.exposure is None else seen.on.exposure.seconds,
    }


def _radius(face: Face | None) -> float | None:
    """Of a curved face; None where it is flat or not known."""
    return None if face is None or face.is_flat else face.radius_mm


def _offsets(found: Convergence) -> dict[str, Any]:
    """Each crossing where green was seen, with the offsets of the other guns and their uncertainties."""
    unit = "mm" if found.grid.placed else "percent"
    green = found.grid.nodes[GREEN]
    nodes: list[dict[str, Any]] = []
    uncertainties: list[dict[str, Any]] = []
    for i, j in np.argwhere(where_seen(green)):
        x, y = green[i, j].tolist() if found.grid.placed else (None, None)
        # In the unit that there is no scale for they are null.
        offsets = {f"{gun}_mm": None for gun in AGAINST_GREEN}
        uncertainty = dict(offsets)
        for k, gun in enumerate(AGAINST_GREEN):
            is_seen = bool(np.isfinite(found.offsets[k, i, j]).all())
            offsets[f"{gun}_{unit}"] = found.offsets[k, i, j].tolist() if is_seen else None
            uncertainty[f"{gun}_{unit}"] = found.sigma[k, i, j].tolist() if is_seen else None
        nodes.append(
            {"u": float(found.grid.shown.u[j]), "v": float(found.grid.shown.v[i]), "x_mm": x, "y_mm": y} | offsets
        )
        uncertainties.append(uncertainty)
    return {"nodes": nodes, "uncertainty": {"nodes": uncertainties}}


# --- Findings ---------------------------------------------------------------------------------------------------------


def amount(value: float, uncertainty: float | None, unit: str, most: int = 2) -> str:
    """A size in words, as `0.89 mm`."""
    return f"{abs(value):.{decimals(uncertainty, most)}f} {unit}"


def _sag_key(found: Geometry) -> str:
    return "edge_sag_mm" if found.grid.placed else "edge_sag_percent"


def _worst_side(found: Geometry) -> str:
    """The side that bends most."""
    return max(SIDES, key=lambda side: abs(found.figures.get(f"{_sag_key(found)}.{side}", 0.0)))


def shape_finding(found: Geometry) -> str:
    """Which way the sides bend, and how far the one that bends most."""
    key, unit = _sag_key(found), "mm" if found.grid.placed else "% of the height"
    if found.smooth is None:
        return "Too little of the grid is seen"
    worst = _worst_side(found)
    sag, uncertainty = found.figures[f"{key}.{worst}"], found.uncertainty[f"{key}.{worst}"]
    if abs(found.figures[f"edge_sag_percent.{worst}"]) < _SEEN_PERCENT or abs(sag) < _CLEAR * uncertainty:
        most = max(abs(found.figures[f"{key}.{side}"]) + _CLEAR * found.uncertainty[f"{key}.{side}"] for side in SIDES)
        return f"Straight edges: none bends by more than {amount(most, most, unit)}"
    partner = found.figures[f"{key}.{_ACROSS[worst]}"]
    if abs(partner) < _PARTNER * abs(sag):
        shape = "Uneven bends"
    elif partner * sag < 0:
        shape = "Bow"
    else:
        shape = "Pincushion" if sag > 0 else "Barrel"
    return f"{shape}: the {worst} edge bends {amount(sag, uncertainty, unit)} {'inward' if sag > 0 else 'outward'}"


def linearity_finding(found: Geometry) -> str:
    """How unequal the cells are."""
    said = []
    for name, words in (("linearity_h_percent", "widths"), ("linearity_v_percent", "heights")):
        if name not in found.figures:
            return "Linearity: not available without marks"
        value, uncertainty = found.figures[name], found.uncertainty[name]
        least = max(_CLEAR * uncertainty, _EQUAL_PERCENT)
        said.append(
            f"{words} equal within {amount(least, least, '%')}"
            if value < least
            else f"{words} up to {amount(value, uncertainty, '%')} off their mean"
        )
    return f"Linearity of the cells: {', '.join(said)}"


def convergence_finding(found: Convergence) -> str:
    """How far red and blue lie from green where they lie farthest, and where that is."""
    unit = "mm" if found.grid.placed else "% of the height"
    if found.height is None:
        return "Convergence is not available"
    said = []
    for gun in AGAINST_GREEN:
        worst = worst_zone(found, gun)
        if worst is None:
            continue
        zone, value, uncertainty = worst
        least = max(_CLEAR * uncertainty, _TOGETHER_PERCENT / 100 * found.height)
        where = "in the centre circle" if zone == "centre" else ZONE_WORDS[zone]
        said.append(
            f"{gun} lies on green within {amount(least, least, unit)}"
            if value < least
            else f"{gun} lies up to {amount(value, uncertainty, unit)} from green {where}"
        )
    text = ", ".join(said)
    return text[:1].upper() + text[1:]


def worst_zone(found: Convergence, gun: str) -> tuple[str, float, float] | None:
    """The zone in which a gun lies farthest from green, how far, and its uncertainty; None where it is not measured."""
    key = "zones_mm" if found.grid.placed else "zones_percent"
    known = [zone for zone in ZONES if f"{key}.{zone}.{gun}" in found.figures]
    if not known:
        return None
    zone = max(known, key=lambda zone: found.figures[f"{key}.{zone}.{gun}"])
    return zone, found.figures[f"{key}.{zone}.{gun}"], found.uncertainty[f"{key}.{zone}.{gun}"]


# --- Reasons and advice -----------------------------------------------------------------------------------------------


def missing_of(figures: Sequence[Figure], reasons: Mapping[str, str]) -> tuple[str, ...]:
    """Why figures are not available, each reason once with the figures that it concerns."""
    quantities = [one.quantity for one in figures]
    available = {_same(one.quantity) for one in figures if one.value is not None}
    names: dict[str, dict[str, None]] = {}
    for key, why in reasons.items():
        concerned = [one for one in quantities if f"{one.path}.".startswith(f"{key}.")]
        # What is no path is the name of a gun.
        said = [_name(one, available, whole=one.path == key) for one in concerned if one.kept] if concerned else [key]
        names.setdefault(why, {}).update(dict.fromkeys(said))
    if not available:
        return tuple(f"all figures: {why}" for why in names)
    return tuple(f"{', '.join(some)}: {why}" for why, some in names.items())


def _same(one: Quantity) -> tuple[str, str, str]:
    """What a figure has in common with the same one in another unit."""
    return one.table, one.row or one.words, one.column


def _name(one: Quantity, available: Iterable[tuple[str, str, str]], *, whole: bool) -> str:
    """A figure in a list of names; `whole` where its own path is meant and not one of which it is a part."""
    if _same(one) in available:
        return f"lengths in {one.unit}"
    return (one.words if whole else one.row or one.words).partition(", ")[0]


def advice_of(plan: Plan) -> tuple[Advice, ...]:
    """What to adjust, in words."""
    return tuple(_advice(one, plan.unit) for one in plan.corrections)


def _advice(one: Correction, unit: str) -> Advice:
    control, size = one.control, abs(one.amount)
    # What a control can be set to: a tenth of a mm or of a percent, of convergence a twentieth.
    places = min(decimals(one.uncertainty, 2), 2 if one.gun else 1)
    return Advice(
        adjust=f"{one.gun.capitalize()} {control.title}".strip(),
        direction=one.way.do,
        amount=size,
        unit=one.unit,
        uncertainty=one.uncertainty,
        decimals=places,
        why=one.way.seen.format(amount=f"{size:.{places}f} {one.unit}", gun=one.gun),
        where=control.where,
        inside=not control.has_outside_control,
        remains=f"It moves the picture by {one.effect:.2f} {unit}"
        + ("" if one.remains is None else f"; then {one.remains:.2f} {unit} of error remains (root mean square)")
        + (". Check purity and convergence again: both hang on the yoke" if control.is_yoke else ""),
        details={
            "remains_mm": one.remains if unit == "mm" else None,
            "effect_mm": one.effect if unit == "mm" else None,
            "step": control.turn,
            "then_check": ["purity", "convergence"] if control.is_yoke else [],
        },
    )


def summary_of(plan: Plan) -> str:
    """How far the picture is off as a whole, and how far with all of the advice followed."""
    if plan.reason:
        return f"No advice: {plan.reason}."
    before, after = (None if size is None else _size(size, plan.unit) for size in (plan.before, plan.after))
    whole = (
        "Without marks only bends are known" if before is None else f"Points of the whole picture are off by {before}"
    )
    if plan.corrections:
        return f"{whole}." if after is None else f"{whole}; with all of this done, by {after}."
    limit = plan.tolerance
    return (
        f"{whole}. Nothing to adjust: no control's part of it is both clear of its uncertainty and large compared with "
        f"what a good set of its class may be off, {limit.centre:g} % of the picture height in the middle and "
        f"{limit.outside:g} % outside (common practice, no source)."
    )


def _size(size: Size, unit: str) -> str:
    return f"{size.rms:.2f} {unit} (root mean square), at most {size.most:.2f} {unit}"
