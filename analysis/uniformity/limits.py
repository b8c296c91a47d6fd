"""The figures of plain fields compared with what documents ask for and with what is usual."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from analysis.uniformity.measure import Extreme, Field, Uniformity
from patterns.sources import Constant, Mark
from patterns.standards.colour import (
    EVEN_LUMINANCE,
    EVEN_NEUTRAL_UV,
    EVEN_SCREEN_UV,
    EVEN_SMALL_AREA_UV,
    USUAL_FALL_OFF,
)

__all__ = ["COVERAGE_FACTOR", "PURITY_CHANGE", "Limit", "limits"]

COVERAGE_FACTOR = 2.0
"""How many standard uncertainties a figure has to lie from a limit to be beyond it, or within it."""
PURITY_CHANGE = 3.0
"""Change of another gun's share, in percent of all light, from which a coloured field is called impure (common
practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class Limit:
    """One figure compared with one limit."""

    field: str
    figure: str
    zone: str
    """Where that is."""
    measured: float
    sigma: float
    limit: float
    unit: str
    """% or u'v'."""
    within: bool | None
    """None where the uncertainty leaves it open."""
    source: str


def limits(uniformity: Uniformity) -> tuple[Limit, ...]:
    """The figures that documents set limits to. Of luminance and neutrals these concern the white field."""
    compared = []
    for field in uniformity.fields:
        if field.colour == "white":
            farthest = max((field.dimmest, field.brightest), key=lambda extreme: abs(extreme.value - 100))
            change = Extreme(zone=farthest.zone, value=abs(farthest.value - 100), sigma=farthest.sigma)
            compared.append(_compared(field, "luminance's deviation from the centre", change, EVEN_LUMINANCE, "%"))
            compared.append(_compared(field, "colour against the centre", field.delta_uv, EVEN_NEUTRAL_UV, "u'v'"))
            if field.fall_off_percent is not None and field.fall_off_sigma is not None:
                fall_off = Extreme(zone="corners", value=field.fall_off_percent, sigma=field.fall_off_sigma)
                compared.append(_compared(field, "fall-off to the corners", fall_off, USUAL_FALL_OFF, "%"))
        compared.append(_compared(field, "colour of any two zones", field.delta_uv_between, EVEN_SCREEN_UV, "u'v'"))
        local = [Extreme(zone="blotch", value=b.delta_uv, sigma=b.delta_uv_sigma) for b in field.blotches]
        if local:
            worst = max(local, key=lambda extreme: extreme.value)
            compared.append(_compared(field, "colour of a blotch", worst, EVEN_SMALL_AREA_UV, "u'v'"))
    return tuple(compared)


def _compared(field: Field, name: str, extreme: Extreme, constant: Constant[Any], unit: str) -> Limit:
    # Of a usual range the upper end is the limit.
    value = constant.value[-1] if isinstance(constant.value, tuple) else constant.value
    most = float(value) * (100 if unit == "%" else 1)
    source = constant.source
    return Limit(
        field=field.colour,
        figure=name,
        zone=extreme.zone,
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
    if abs(extreme.value - most) < COVERAGE_FACTOR * extreme.sigma:
        return None
    # A zone without a figure may be worse than all others.
    unknown = any(zone.reason is not None for zone in field.zones)
    return False if extreme.value > most else None if unknown else True
