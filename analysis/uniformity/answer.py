"""What `measure uniformity` answers."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from analysis.answer import SERVICE, Advice, Answer, Figure, Finding, Kind, Table, figures_of
from analysis.guns import GUNS
from analysis.rounding import decimals, figure, uncertainty_text, unsigned
from analysis.tables import Column, listing, matrix
from analysis.uniformity.limits import COVERAGE_FACTOR, PURITY_CHANGE, Limit, limits
from analysis.uniformity.map import CURVE_UNCERTAINTY, Floats
from analysis.uniformity.measure import Blotch, Extreme, Field, Uniformity, Zone
from analysis.uniformity.quantities import quantities
from analysis.uniformity.zones import COLUMNS, CORNERS, FLAT_LIGHT, FLAT_UV, ROWS
from patterns.standards.colour import EVEN_NEUTRAL_UV, USUAL_FALL_OFF

__all__ = ["advise_uniformity", "field_finding", "place_words", "uniformity_answer", "worst_finding"]

_ByPath = dict[str, float | None]

_EXTREMES = ("dimmest", "brightest", "delta_uv", "delta_uv_between", "purity")
"""Figures of a field that name a zone."""
_VERDICTS = {True: "within", False: "BEYOND", None: "open"}
_CENTRE = "centre"
_FALL_OFF = "luminance fall-off"
_MIRRORED_PERCENT = 6.0
"""By how much a place is brighter than around it where something is likely mirrored (common practice, no source)."""
_WHITE = "a white field is the light of all guns; purity is measured on red, green and blue fields"
_PLACE_DIGITS = 4
"""After the point, of corners and outlines in the JSON."""


def uniformity_answer(uniformity: Uniformity) -> Answer:
    """Everything that is reported of plain fields."""
    compared = limits(uniformity)
    details = _details(uniformity, compared)
    reasons = dict(_reasons(uniformity))
    figures = figures_of(quantities(details), *_values(uniformity, compared), reasons)
    by_path = {one.quantity.path: one for one in figures}
    advice = advise_uniformity(uniformity)
    return Answer(
        kind=Kind.UNIFORMITY,
        subject=(
            *(f"{field.path}: {field.colour} field" for field in uniformity.fields),
            f"Loss of light in the camera: {_removed(uniformity.flat_field)}; light of the room: "
            f"{_removed(uniformity.ambient)}",
        ),
        figures=figures,
        findings=(
            Finding(worst_finding(uniformity, compared, advice)),
            *(
                Finding(field_finding(field), about=f"fields.{i}.fall_off_percent")
                for i, field in enumerate(uniformity.fields)
            ),
        ),
        tables=(
            _summary(uniformity, by_path),
            *(grid for i, field in enumerate(uniformity.fields) for grid in _grids(by_path, i, field)),
            _blotches(uniformity, by_path),
            _compared(compared, by_path),
        ),
        # In the JSON the warnings of each photograph are with its field.
        notes=(*_warnings(uniformity), *_sources(compared)),
        assumptions=tuple(_assumptions(uniformity)),
        missing=tuple(_missing(uniformity)),
        advice=advice,
        advice_title="What to do",
        summary=() if advice else ("Nothing is to be adjusted.",),
        reasons=reasons,
        details=details,
    )


def _removed(is_removed: bool) -> str:
    return "removed" if is_removed else "not removed"


# --- Figures --------------------------------------------------------------------------------------------


def _values(uniformity: Uniformity, compared: Sequence[Limit]) -> tuple[_ByPath, _ByPath]:
    """Values and standard uncertainties by path."""
    values: _ByPath = {}
    sigmas: _ByPath = {}
    for i, field in enumerate(uniformity.fields):
        at = f"fields.{i}"
        for name in ("fall_off_percent", "clipped_percent", "surround_percent"):
            values[f"{at}.{name}"] = getattr(field, name)
        sigmas[f"{at}.fall_off_percent"] = field.fall_off_sigma
        for name in _EXTREMES:
            extreme: Extreme | None = getattr(field, name)
            if extreme is not None:
                values[f"{at}.{name}.value"], sigmas[f"{at}.{name}.value"] = extreme.value, extreme.sigma
        for j, zone in enumerate(field.zones):
            inner = f"{at}.zones.{j}"
            for name in ("u", "v", "luminance_percent", "delta_u", "delta_v", "delta_uv", "clipped_percent"):
                values[f"{inner}.{name}"] = getattr(zone, name)
            sigmas[f"{inner}.luminance_percent"] = zone.luminance_sigma
            sigmas[f"{inner}.delta_uv"] = zone.delta_uv_sigma
            if zone.purity is not None:
                values[f"{inner}.purity.percent"] = zone.purity.percent
                values[f"{inner}.purity.hue_shift_deg"] = zone.purity.hue_shift_deg
                sigmas[f"{inner}.purity.percent"] = zone.purity.sigma
        for j, blotch in enumerate(field.blotches):
            inner = f"{at}.blotches.{j}"
            for name in ("delta_uv", "luminance_percent", "area_percent"):
                values[f"{inner}.{name}"] = getattr(blotch, name)
            values[f"{inner}.centre_uv.0"], values[f"{inner}.centre_uv.1"] = blotch.centre_uv
            sigmas[f"{inner}.delta_uv"] = blotch.delta_uv_sigma
            sigmas[f"{inner}.luminance_percent"] = blotch.luminance_sigma
    for i, limit in enumerate(compared):
        values[f"limits.{i}.measured"], sigmas[f"limits.{i}.measured"] = limit.measured, limit.sigma
        values[f"limits.{i}.limit"] = limit.limit
    return values, sigmas


def _details(uniformity: Uniformity, compared: Sequence[Limit]) -> dict[str, Any]:
    return {
        "flat_field": uniformity.flat_field,
        "ambient": uniformity.ambient,
        "fields": [_field_details(field) for field in uniformity.fields],
        "limits": [
            {name: getattr(limit, name) for name in ("field", "figure", "unit", "within", "source")}
            for limit in compared
        ],
    }


def _field_details(field: Field) -> dict[str, Any]:
    extremes = {name: getattr(field, name) for name in _EXTREMES}
    return {
        "path": str(field.path),
        "colour": field.colour,
        "corners_px": _places(field.corners_px),
        **{name: None if extreme is None else {"zone": extreme.zone} for name, extreme in extremes.items()},
        "zones": [
            {
                "name": zone.name,
                "row": zone.row,
                "column": zone.column,
                "colour": zone.colour,
                "purity": None if zone.purity is None else {"channel": zone.purity.channel},
                "reason": zone.reason,
            }
            for zone in field.zones
        ],
        "blotches": [
            {
                "kind": blotch.kind,
                "by_colour": blotch.by_colour,
                "outline_uv": _places(blotch.outline_uv),
                "outline_px": _places(blotch.outline_px),
            }
            for blotch in field.blotches
        ],
        "warnings": list(field.warnings),
    }


def _places(points: Floats) -> list[list[float]]:
    places: list[list[float]] = np.round(points, _PLACE_DIGITS).tolist()
    return places


def _reasons(uniformity: Uniformity) -> Iterable[tuple[str, str]]:
    for i, field in enumerate(uniformity.fields):
        if field.fall_off_percent is None:
            corners = [field.zones[5 * row + column] for row, column in CORNERS]
            missing = ", ".join(f"{zone.name}, {zone.reason}" for zone in corners if zone.reason is not None)
            yield f"fields.{i}.fall_off_percent", f"a corner zone has no figure ({missing})"
        if field.purity is None:
            yield f"fields.{i}.purity", _WHITE
        for j, zone in enumerate(field.zones):
            if zone.reason is not None:
                yield f"fields.{i}.zones.{j}", zone.reason


# --- Findings and tables --------------------------------------------------------------------------------


def worst_finding(uniformity: Uniformity, compared: Sequence[Limit], advice: Sequence[Advice]) -> str:
    """What is worst, where, and what to do: one line."""
    to_do = next((one.adjust for one in advice if one.adjust not in ("flat field", _FALL_OFF)), None)
    act = "nothing is to be adjusted" if to_do is None else f"{to_do} first" if to_do == "degauss" else to_do
    beyond = [one for one in compared if one.within is False]
    worst = max(beyond, key=lambda one: abs(one.measured or 0.0) / one.limit, default=None)
    blotch = max(
        ((blotch.delta_uv, field, blotch) for field in uniformity.fields for blotch in field.blotches),
        key=lambda one: one[0],
        default=None,
    )
    if blotch is not None and (worst is None or to_do is not None):
        _, field, spot = blotch
        where = place_words(*spot.centre_uv)
        return f"Worst: {spot.kind} at the {where} on the {field.colour} field; {act}"
    if worst is not None:
        return f"Worst: {worst.field} field, {worst.figure}; {act}"
    field = uniformity.fields[0]
    return f"Even: the {field.dimmest.zone} is dimmest, {field.dimmest.value:.0f} % of the centre; {act}"


def place_words(u: float, v: float) -> str:
    """A place on the face, as 'lower right'."""
    down = "" if abs(v) < 1 / 3 else "upper" if v < 0 else "lower"
    right = "" if abs(u) < 1 / 3 else "left" if u < 0 else "right"
    return " ".join(part for part in (down, right) if part) or "middle"


def field_finding(field: Field) -> str:
    """The main finding of one field, without its full stop."""
    said = []
    if field.fall_off_percent is None or field.fall_off_sigma is None:
        said.append("fall-off to the corners is not available")
    else:
        value, places = field.fall_off_percent, decimals(field.fall_off_sigma)
        amount = f"{unsigned(abs(value), places)} ± {uncertainty_text(field.fall_off_sigma, places)} %"
        said.append(f"corners {amount} {'darker' if value >= 0 else 'brighter'} than the centre")
    if field.purity is None:
        far = field.delta_uv
        word = _zone(field, far.zone).colour
        said.append(
            f"colour up to {far.value:.4f} ± {uncertainty_text(far.sigma, 4)} in u'v' from the centre's "
            f"({far.zone}{f', {word}' if word else ''})"
        )
    else:
        worst, places = field.purity, decimals(field.purity.sigma)
        said.append(
            f"the share of {_channel(field)} light differs by up to {figure(worst.value, places)} ± "
            f"{uncertainty_text(worst.sigma, places)} % ({worst.zone})"
        )
    if field.blotches:
        said.append("1 blotch" if len(field.blotches) == 1 else f"{len(field.blotches)} blotches")
    return f"{field.colour.capitalize()} field: {'; '.join(said)}"


def _zone(field: Field, name: str) -> Zone:
    return next(zone for zone in field.zones if zone.name == name)


def _channel(field: Field) -> str:
    """The other gun whose share of the light changes most."""
    assert field.purity is not None
    purity = _zone(field, field.purity.zone).purity
    assert purity is not None
    return purity.channel


def _summary(uniformity: Uniformity, figures: Mapping[str, Figure]) -> Table:
    rows = []
    for i, field in enumerate(uniformity.fields):
        rows.append(figures[f"fields.{i}.fall_off_percent"])
        for name in _EXTREMES:
            extreme: Extreme | None = getattr(field, name)
            # The centre's own luminance is 100 % by definition.
            if extreme is None or extreme.zone == _CENTRE:
                continue
            one = figures[f"fields.{i}.{name}.value"]
            # The names of two zones are too long for a row.
            zone = "" if extreme is field.delta_uv_between else f" ({extreme.zone})"
            rows.append(replace(one, quantity=replace(one.quantity, words=f"{one.quantity.words}{zone}")))
    return listing(rows)


def _grids(figures: Mapping[str, Figure], i: int, field: Field) -> Iterable[Table]:
    yield _grid(figures, i, "luminance_percent", f"{field.colour}: luminance, % of the centre", "%")
    yield _grid(figures, i, "delta_uv", f"{field.colour}: colour difference, u'v'", "u'v'")
    if field.purity is not None:
        yield _grid(figures, i, "purity.percent", f"{field.colour}: another gun's share, change in %", "%")


def _grid(figures: Mapping[str, Figure], i: int, name: str, head: str, unit: str) -> Table:
    """One figure of the 5 x 5 zones, in their places."""
    zones = [figures[f"fields.{i}.zones.{j}.{name}"] for j in range(len(ROWS) * len(COLUMNS))]
    places = zones[0].quantity.decimals or 0
    shown = figure if zones[0].quantity.signed else unsigned
    rows = tuple(
        (words, *(shown(one.value, places) for one in zones[row * len(COLUMNS) :][: len(COLUMNS)]))
        for row, words in enumerate(ROWS)
    )
    most = max(one.uncertainty for one in zones if one.uncertainty is not None)
    return Table(head=(head, *COLUMNS), rows=rows, below=f"± up to {uncertainty_text(most, places)} {unit}")


def _blotches(uniformity: Uniformity, figures: Mapping[str, Figure]) -> Table:
    return matrix(
        figures,
        {
            f"fields.{i}.blotches.{j}.": f"{field.colour} {j + 1}: {blotch.kind}"
            for i, field in enumerate(uniformity.fields)
            for j, blotch in enumerate(field.blotches)
        },
        (
            Column("u", "centre_uv.0", 2),
            Column("v", "centre_uv.1", 2),
            Column("u'v'", "delta_uv", 4),
            Column("±", "delta_uv", 4, uncertainty=True),
            Column("luminance, %", "luminance_percent", 1),
            Column("±", "luminance_percent", 1, uncertainty=True),
            Column("% of the area", "area_percent", 1),
        ),
        "blotch, compared with around it",
        below="u and v run from -1 to 1 over the visible area, right and down",
    )


def _compared(compared: Sequence[Limit], figures: Mapping[str, Figure]) -> Table:
    rows = []
    for i, limit in enumerate(compared):
        one, (places, of_limit) = figures[f"limits.{i}.measured"], (1, 0) if limit.unit == "%" else (4, 2)
        value, sigma = unsigned(one.value, places), uncertainty_text(one.uncertainty, places)
        verdict = f"{limit.unit}, {_VERDICTS[limit.within]}"
        rows.append((f"{limit.field}: {limit.figure}", value, sigma, f"{limit.limit:.{of_limit}f}", verdict))
    head = ("compared with limits", "value", "±", "limit", "unit, verdict")
    return Table(head=head, rows=tuple(rows), has_units=True)


# --- Sentences ------------------------------------------------------------------------------------------


def _warnings(uniformity: Uniformity) -> list[str]:
    """What is said of each photograph; what holds for all of them once."""
    said = []
    for field in uniformity.fields:
        for words in field.warnings:
            of_all = all(words in other.warnings for other in uniformity.fields)
            said.append(words if of_all else f"{field.colour}: {words}")
    return list(dict.fromkeys(said))


def _sources(compared: Sequence[Limit]) -> list[str]:
    """Where limits come from, each source once."""
    figures: dict[str, list[str]] = {}
    for limit in compared:
        if limit.figure not in figures.setdefault(limit.source, []):
            figures[limit.source].append(limit.figure)
    said = [f"limit of {', '.join(names)}: {source}" for source, names in figures.items()]
    if any(limit.within is None for limit in compared):
        said.append("open: the limit is too near for the uncertainty, or a zone has no figure")
    return said


def _assumptions(uniformity: Uniformity) -> Iterable[str]:
    yield (
        f"the camera's colours are those of sRGB, and its curve within {100 * CURVE_UNCERTAINTY:.0f} %: good for "
        "differences within a photograph, not for chromaticities"
    )
    if uniformity.flat_field:
        yield (f"the surface of the flat field was even to {100 * FLAT_LIGHT:g} % in luminance and {FLAT_UV:g} in u'v'")


def _missing(uniformity: Uniformity) -> Iterable[str]:
    for field in uniformity.fields:
        reasons: dict[str, list[str]] = {}
        for zone in field.zones:
            if zone.reason is not None:
                reasons.setdefault(zone.reason, []).append(zone.name)
        if field.fall_off_percent is None:
            yield f"{field.colour}: fall-off to the corners, since a corner zone has no figure"
        for reason, names in reasons.items():
            yield f"{field.colour}: {', '.join(names)}: {reason}"


# --- Advice ---------------------------------------------------------------------------------------------


def advise_uniformity(uniformity: Uniformity) -> tuple[Advice, ...]:
    """What to do, in the order of work."""
    white = uniformity.field("white")
    coloured = [field for field in uniformity.fields if field.colour != "white"]
    impure = [field for field in coloured if _is_impure(field)]
    tinted = white is not None and (_is_beyond(white.delta_uv, float(EVEN_NEUTRAL_UV.value)) or bool(_tints(white)))
    advice: list[Advice] = []
    if impure or tinted:
        seen = [_seen(field) for field in (*([white] if tinted and white is not None else []), *impure)]
        advice += _against_impurity(seen, impure, coloured)
    for field in (*([white] if white is not None else []), *coloured):
        if field.fall_off_percent is not None and field.fall_off_sigma is not None:
            advice.append(_about_fall_off(field.fall_off_percent, field.fall_off_sigma, uniformity.flat_field))
            # The guns' light falls off alike: one field is enough.
            break
    advice += [_about_dark_places(field) for field in uniformity.fields if _dark_places(field)][:1]
    advice += [_about_reflections(field) for field in uniformity.fields if _bright_places(field)][:1]
    if not uniformity.flat_field:
        advice.append(
            Advice(
                adjust="flat field",
                why="Photograph an evenly lit, plain surface (an overcast sky through white paper, a sheet of paper in "
                "the shade) with the same lens, zoom and aperture, and give it with --flat-field: then the camera's "
                "own loss of light toward its corners is removed.",
            )
        )
    return tuple(advice)


def _inside(adjust: str, why: str) -> Advice:
    """Work inside the set; text and pages say once for all of it what programs find with each."""
    return Advice(adjust=adjust, why=why, inside=True, details={"why": f"{why} {SERVICE}"})


def _is_impure(field: Field) -> bool:
    assert field.purity is not None
    return _is_beyond(field.purity, PURITY_CHANGE) or bool(_tints(field))


def _tints(field: Field) -> list[Blotch]:
    return [blotch for blotch in field.blotches if blotch.by_colour]


def _is_beyond(extreme: Extreme, most: float) -> bool:
    return abs(extreme.value) - COVERAGE_FACTOR * extreme.sigma > most


def _seen(field: Field) -> str:
    """What is wrong with a field's colour, in a few words."""
    said = []
    worst, far = field.purity, field.delta_uv
    if worst is not None and _is_beyond(worst, PURITY_CHANGE):
        said.append(f"the share of {_channel(field)} light differs by {worst.value:+.1f} % ({worst.zone})")
    if worst is None and _is_beyond(far, float(EVEN_NEUTRAL_UV.value)):
        said.append(f"colour is {_zone(field, far.zone).colour or 'different'} by {far.value:.3f} u'v' ({far.zone})")
    tinted = _tints(field)
    if tinted:
        count = "one blotch" if len(tinted) == 1 else f"{len(tinted)} blotches, the strongest"
        said.append(f"there is {count} {tinted[0].kind} by {tinted[0].delta_uv:.3f} u'v'")
    return f"on the {field.colour} field {' and '.join(said)}"


def _against_impurity(seen: Sequence[str], impure: Sequence[Field], coloured: Sequence[Field]) -> list[Advice]:
    why = "; ".join(seen)
    advice = [
        Advice(
            adjust="degauss",
            why=f"{why[0].upper()}{why[1:]}. Degauss first: the set's own coil works at full strength only when cold, "
            "so switch off, wait 20 to 30 minutes and switch on, or use a coil as the set's maker allows. Keep "
            "loudspeakers and other magnets away, let the set warm up, and photograph again.",
        )
    ]
    missing = [gun for gun in GUNS if gun not in {field.colour for field in coloured}]
    if impure or missing:
        advice.append(
            _inside(
                "purity and landing",
                "What degaussing leaves is set by the yoke's place and the purity rings on the tube's neck, with the "
                "set open and live at high voltage.",
            )
        )
    if missing and not impure:
        advice.append(
            Advice(
                adjust="coloured fields",
                why=f"Photograph the {' and the '.join(missing)} field too: only single guns show whether purity is "
                "bad or the guns' light falls off unequally.",
            )
        )
    if not missing and not impure:
        advice.append(
            Advice(
                adjust="white shading",
                why="Red, green and blue fields are pure: the guns' light falls off unequally, or the camera's colour "
                "does where there is no flat field. Few sets have an outside control for this.",
            )
        )
    return advice


def _about_fall_off(value: float, sigma: float, is_flat: bool) -> Advice:
    low, high = (100 * float(share) for share in USUAL_FALL_OFF.value)
    words = f"The corners are {unsigned(abs(value), 0)} ± {uncertainty_text(sigma, 0)} % "
    words += f"{'darker' if value >= 0 else 'brighter'} than the centre"
    usual = f"{low:.0f} to {high:.0f} % is usual for a picture tube (common practice)"
    if value - COVERAGE_FACTOR * sigma > high:
        camera = "" if is_flat else "; take a flat field before it is believed"
        return _inside(
            "luminance fall-off",
            f"{words}; {usual}, and this is more{camera}. There is no outside control. Clean the glass, and try a "
            "darker field: the limit of the beam current may be at work.",
        )
    return Advice(adjust="luminance fall-off", why=f"{words}; {usual}. Nothing is to be adjusted.")


def _bright_places(field: Field) -> list[Blotch]:
    """Places that are brighter than around them, as what is mirrored in the glass is."""
    return [blotch for blotch in field.blotches if blotch.luminance_percent > _MIRRORED_PERCENT]


def _about_reflections(field: Field) -> Advice:
    places = _bright_places(field)
    where = ", ".join(dict.fromkeys(place_words(*blotch.centre_uv) for blotch in places))
    return Advice(
        adjust="lamp or window mirrored in the glass",
        why=f"The {where} is brighter than around it on the {field.colour} field. Guns and phosphor hardly do that, "
        "but a lamp or a window mirrored in the glass does: switch it off or cover it and photograph again, or give "
        "--ambient.",
    )


def _dark_places(field: Field) -> int:
    return sum(not blotch.by_colour and blotch.luminance_percent < 0 for blotch in field.blotches)


def _about_dark_places(field: Field) -> Advice:
    count = _dark_places(field)
    places = "A place is" if count == 1 else f"{count} places are"
    return Advice(
        adjust="darker places",
        why=f"{places} darker than around it on the {field.colour} field. Clean the glass and photograph again; what "
        "stays is worn phosphor, as after a picture that was shown for too long, which nothing adjusts.",
    )
