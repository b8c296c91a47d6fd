"""What the figures of plain fields mean: against what documents ask and what is usual, and what to do about them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.answer import SERVICE
from analysis.raster.grid import GUNS
from analysis.uniformity.measure import Extreme, Field, Uniformity
from patterns.sources import Constant, Mark
from patterns.standards.colour import (
    EVEN_LUMINANCE,
    EVEN_NEUTRAL_UV,
    EVEN_SCREEN_UV,
    EVEN_SMALL_AREA_UV,
    USUAL_FALL_OFF,
)

__all__ = ["PURITY_CHANGE", "Limit", "UniformityAdvice", "advise_uniformity", "limits"]

_SURE = 2.0
"""How many standard uncertainties a figure has to lie beyond a limit."""
PURITY_CHANGE = 3.0
"""Change of another gun's share, in percent of all light, from which a coloured field is called impure (common
practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Limit:
    """One figure against one limit."""

    field: str
    figure: str
    measured: float
    sigma: float
    limit: float
    unit: str
    """% or u'v'."""
    within: bool | None
    """None where the uncertainty leaves it open."""
    source: str


@dataclass(frozen=True, kw_only=True)
class UniformityAdvice:
    """One thing to do, or to leave alone."""

    adjust: str
    why: str


def limits(found: Uniformity) -> tuple[Limit, ...]:
    """The figures that documents set limits to. Of luminance and neutrals these concern the white field."""
    held = []
    for field in found.fields:
        if field.colour == "white":
            farthest = max((field.dimmest, field.brightest), key=lambda extreme: abs(extreme.value - 100))
            change = Extreme(zone=farthest.zone, value=abs(farthest.value - 100), sigma=farthest.sigma)
            held.append(_held(field, "luminance's deviation from the centre", change, EVEN_LUMINANCE, "%"))
            held.append(_held(field, "colour against the centre", field.delta_uv, EVEN_NEUTRAL_UV, "u'v'"))
            if field.fall_off_percent is not None and field.fall_off_sigma is not None:
                fall_off = Extreme(zone="corners", value=field.fall_off_percent, sigma=field.fall_off_sigma)
                held.append(_held(field, "fall-off to the corners", fall_off, USUAL_FALL_OFF, "%"))
        held.append(_held(field, "colour of any two zones", field.delta_uv_between, EVEN_SCREEN_UV, "u'v'"))
        local = [Extreme(zone="blotch", value=b.delta_uv, sigma=b.delta_uv_sigma) for b in field.blotches]
        if local:
            worst = max(local, key=lambda extreme: extreme.value)
            held.append(_held(field, "colour of a blotch", worst, EVEN_SMALL_AREA_UV, "u'v'"))
    return tuple(held)


def _held(field: Field, name: str, extreme: Extreme, constant: Constant[Any], unit: str) -> Limit:
    # Of a usual range the upper end is the limit.
    value = constant.value[-1] if isinstance(constant.value, tuple) else constant.value
    most = float(value) * (100 if unit == "%" else 1)
    source = constant.source
    return Limit(
        field=field.colour,
        figure=name,
        measured=extreme.value,
        sigma=extreme.sigma,
        limit=most,
        unit=unit,
        within=_within(field, extreme, most),
        source=f"{source.mark}: {source.note}"
        if source.mark is Mark.PRACTICE
        else f"{source.document} ({source.mark}: {source.note})",
    )


def _within(field: Field, extreme: Extreme, most: float) -> bool | None:
    if abs(extreme.value - most) < _SURE * extreme.sigma:
        return None
    # A zone without a figure may be worse than all others.
    unknown = any(zone.reason is not None for zone in field.zones)
    return False if extreme.value > most else None if unknown else True


def advise_uniformity(found: Uniformity) -> tuple[UniformityAdvice, ...]:
    """What to do, in the order of work."""
    white = found.field("white")
    coloured = [field for field in found.fields if field.colour != "white"]
    impure = [field for field in coloured if _is_impure(field)]
    tinted = white is not None and (_beyond(white.delta_uv, float(EVEN_NEUTRAL_UV.value)) or _has_tint(white))
    said: list[UniformityAdvice] = []
    if impure or tinted:
        seen = [_seen(field) for field in (*([white] if tinted and white is not None else []), *impure)]
        said += _against_impurity(seen, impure, coloured)
    for field in (*([white] if white is not None else []), *coloured):
        if field.fall_off_percent is not None and field.fall_off_sigma is not None:
            said.append(_about_fall_off(field, found.flat_field))
            # The guns fall off alike: one field tells it.
            break
    said += [_about_dark_places(field) for field in found.fields if _dark_places(field)][:1]
    if not found.flat_field:
        said.append(
            UniformityAdvice(
                adjust="flat field",
                why="Photograph an evenly lit, plain surface (an overcast sky through white paper, a sheet of paper in "
                "the shade) with the same lens, zoom and aperture, and give it with --flat-field: then the camera's "
                "own loss of light toward its corners is removed.",
            )
        )
    return tuple(said)


def _is_impure(field: Field) -> bool:
    assert field.purity is not None
    return abs(field.purity.value) - _SURE * field.purity.sigma > PURITY_CHANGE or _has_tint(field)


def _has_tint(field: Field) -> bool:
    return any(blotch.by_colour for blotch in field.blotches)


def _beyond(extreme: Extreme, most: float) -> bool:
    return extreme.value - _SURE * extreme.sigma > most


def _seen(field: Field) -> str:
    """What is wrong with a field's colour, in a few words."""
    said = []
    if field.purity is not None and abs(field.purity.value) - _SURE * field.purity.sigma > PURITY_CHANGE:
        channel = next(z.purity.channel for z in field.zones if z.purity is not None and z.name == field.purity.zone)
        said.append(f"the share of {channel} light differs by {field.purity.value:+.1f} % ({field.purity.zone})")
    if field.purity is None and _beyond(field.delta_uv, float(EVEN_NEUTRAL_UV.value)):
        word = next(zone.colour for zone in field.zones if zone.name == field.delta_uv.zone)
        said.append(f"colour is {word or 'different'} by {field.delta_uv.value:.3f} u'v' ({field.delta_uv.zone})")
    tinted = [blotch for blotch in field.blotches if blotch.by_colour]
    if tinted:
        count = "one blotch" if len(tinted) == 1 else f"{len(tinted)} blotches, the strongest"
        said.append(f"there is {count} {tinted[0].kind} by {tinted[0].delta_uv:.3f} u'v'")
    return f"on the {field.colour} field {' and '.join(said)}"


def _against_impurity(
    seen: Sequence[str], impure: Sequence[Field], coloured: Sequence[Field]
) -> list[UniformityAdvice]:
    why = "; ".join(seen)
    said = [
        UniformityAdvice(
            adjust="degauss",
            why=f"{why[0].upper()}{why[1:]}. Degauss first: the set's own coil works at full strength only when cold, "
            "so switch off, wait 20 to 30 minutes and switch on, or use a coil as the set's maker allows. Keep "
            "loudspeakers and other magnets away, let the set warm up, and photograph again.",
        )
    ]
    missing = [gun for gun in GUNS if gun not in {field.colour for field in coloured}]
    if impure or missing:
        said.append(
            UniformityAdvice(
                adjust="purity and landing",
                why="What degaussing leaves is set by the yoke's place and the purity rings on the tube's neck, with "
                f"the set open and live at high voltage. {SERVICE}",
            )
        )
    if missing and not impure:
        said.append(
            UniformityAdvice(
                adjust="coloured fields",
                why=f"Photograph the {' and the '.join(missing)} field too: only single guns tell bad purity from guns "
                "whose light falls off unequally.",
            )
        )
    if not missing and not impure:
        said.append(
            UniformityAdvice(
                adjust="white shading",
                why="Red, green and blue fields are pure: the guns' light falls off unequally, or the camera's colour "
                "does where there is no flat field. Few sets have an outside control for this.",
            )
        )
    return said


def _about_fall_off(field: Field, is_flat: bool) -> UniformityAdvice:
    low, high = (100 * float(share) for share in USUAL_FALL_OFF.value)
    value, sigma = field.fall_off_percent or 0.0, field.fall_off_sigma or 0.0
    words = f"The corners are {value:.0f} % (give or take {sigma:.0f}) darker than the centre"
    usual = f"{low:.0f} to {high:.0f} % is usual for a picture tube (common practice)"
    if value - _SURE * sigma > high:
        camera = "" if is_flat else "; take a flat field before it is believed"
        return UniformityAdvice(
            adjust="luminance fall-off",
            why=f"{words}; {usual}, and this is more{camera}. There is no outside control. Clean the glass, and try a "
            f"darker field: the limit of the beam current may be at work. {SERVICE}",
        )
    return UniformityAdvice(adjust="luminance fall-off", why=f"{words}; {usual}. Nothing is to be adjusted.")


def _dark_places(field: Field) -> int:
    return sum(not blotch.by_colour and blotch.luminance_percent < 0 for blotch in field.blotches)


def _about_dark_places(field: Field) -> UniformityAdvice:
    count = _dark_places(field)
    places = "A place is" if count == 1 else f"{count} places are"
    return UniformityAdvice(
        adjust="darker places",
        why=f"{places} darker than around it on the {field.colour} field. Clean the glass and photograph again; what "
        "stays is worn phosphor, as of a picture that stood long, which nothing adjusts.",
    )
