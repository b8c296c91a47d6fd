"""Limits that serve where the user has set none: common practice, and what documents say, each with its source."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from typing import Any

from analysis.raster.classes import CLASSES, SetClass
from analysis.uniformity.limits import PURITY_CHANGE
from patterns.sources import Constant, Mark
from patterns.standards.colour import (
    EVEN_LUMINANCE,
    EVEN_NEUTRAL_UV,
    EVEN_SCREEN_UV,
    PHOSPHOR_XY,
    USUAL_FALL_OFF,
)
from patterns.standards.geometry import LINE_LENGTHS
from trueraster.report.limits import Limit

__all__ = ["DEFAULTS", "defaults_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Default:
    """One limit for all figures of a name."""

    name: str
    """As `record show --json` has it; * stands for any part."""
    limit: Limit
    source: str
    """Where it comes from and how far that was checked, in words."""


_CHOSEN = "common practice, no source: a choice of this tool"
_NEUTRAL_UV = 0.004
"""u'v': about the least difference that is seen between two fields side by side."""


def _told(constant: Constant[Any]) -> str:
    source = constant.source
    if source.mark is Mark.PRACTICE:
        return f"{source.mark}, no source: {source.note}"
    checked = f"{source.mark}, {source.note}" if source.note else str(source.mark)
    return f"{source.document} ({checked})"


def _size(name: str, most: float, source: str) -> Default:
    return Default(name=name, limit=Limit(most=most, of_size=True), source=source)


def _percent(share: Fraction) -> float:
    return float(100 * share)


_PHOSPHOR = f"the farthest that ± {float(PHOSPHOR_XY.value):g} in x and y comes to in u'v'; {_told(PHOSPHOR_XY)}"
_EVEN = EVEN_LUMINANCE.value
_NO_FAULT = "by the tolerance that verify was given"

_FIRST = (
    _size("verify.patches_failed", 0.0, _NO_FAULT),
    _size("verify.dropped", 0.0, _CHOSEN),
)
_REST = (
    # Not gamma: it is fitted to the light above black, and lower the brighter black is, of BT.1886's own curve too.
    _size("grey.steps.*.delta_uv", _NEUTRAL_UV, _CHOSEN),
    _size("colour.white.delta_uv", _NEUTRAL_UV, _CHOSEN),
    # Of the primaries of RP 145, rounded up.
    _size("colour.primaries.red.delta_uv", 0.009, _PHOSPHOR),
    _size("colour.primaries.green.delta_uv", 0.0032, _PHOSPHOR),
    _size("colour.primaries.blue.delta_uv", 0.0133, _PHOSPHOR),
    _size("uniformity.white.fall_off_percent", _percent(USUAL_FALL_OFF.value[1]), _told(USUAL_FALL_OFF)),
    Default(
        name="uniformity.white.dimmest_percent", limit=Limit(least=_percent(1 - _EVEN)), source=_told(EVEN_LUMINANCE)
    ),
    Default(
        name="uniformity.white.brightest_percent", limit=Limit(most=_percent(1 + _EVEN)), source=_told(EVEN_LUMINANCE)
    ),
    _size("uniformity.white.delta_uv", float(EVEN_NEUTRAL_UV.value), _told(EVEN_NEUTRAL_UV)),
    _size("uniformity.*.delta_uv_between", float(EVEN_SCREEN_UV.value), _told(EVEN_SCREEN_UV)),
    _size("uniformity.*.purity_percent", PURITY_CHANGE, _CHOSEN),
)


def _of_raster(set_class: SetClass) -> tuple[Default, ...]:
    """The limits that differ from class to class."""
    limits = CLASSES[set_class]
    source = f"common practice, no source: typical of a {set_class.value} set in good order"
    centre, outside = limits.convergence.centre, limits.convergence.outside
    sizes = {
        "geometry.aspect_error_percent": limits.shape,
        "geometry.centre_percent.*": limits.position,
        "geometry.rotation_deg": limits.rotation,
        "geometry.parallelogram_deg": limits.rotation,
        "geometry.keystone_h_percent": limits.keystone,
        "geometry.keystone_v_percent": limits.keystone,
        "geometry.linearity_h_percent": limits.linearity,
        "geometry.linearity_v_percent": limits.linearity,
        "geometry.bow_h_percent": limits.bend,
        "geometry.bow_v_percent": limits.bend,
        "geometry.edge_sag_percent.*": limits.bend,
        "convergence.centre_max_percent": centre,
        "convergence.overall_max_percent": outside,
        "convergence.zones_percent.centre.*": centre,
        "convergence.zones_percent.*": outside,
    }
    own = set_class is SetClass.BROADCAST
    return tuple(
        _size(name, _percent(LINE_LENGTHS.value), _told(LINE_LENGTHS))
        if own and name.startswith("geometry.keystone")
        else _size(name, most, source)
        for name, most in sizes.items()
    )


@cache
def defaults_of(set_class: SetClass) -> tuple[Default, ...]:
    """The limits of a class of sets, in the order of the measurements."""
    return (*_FIRST, *_of_raster(set_class), *_REST)


DEFAULTS = defaults_of(SetClass.BROADCAST)
"""Those of sets of which nothing is said."""
