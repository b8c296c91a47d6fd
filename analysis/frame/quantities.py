"""The quantities of `verify`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.answer import Quantity, number_at

__all__ = ["quantities", "with_totals"]

Json = Mapping[str, Any]


def quantities(held: Json) -> tuple[Quantity, ...]:
    """Patches, then where the raster lies; for a clip of the moving bar its step."""
    found: tuple[Quantity, ...] = ()
    if _patches(held):
        found += (
            Quantity(
                "patches_failed",
                f"patches beyond the tolerance, of {len(_patches(held))}",
                main=True,
                decimals=0,
                uncertainty="",
            ),
            Quantity(
                "largest_error_codes",
                "largest error of a patch",
                "codes of 8 bits",
                True,
                True,
                uncertainty="largest_error_uncertainty_codes",
            ),
        )
    if isinstance(held.get("registration"), Mapping):
        found += _PLACE
    if isinstance(held.get("fields"), Mapping):
        found += _FIELDS
    return found


_PLACE = tuple(
    Quantity(
        f"registration.{name}",
        words,
        unit,
        signed,
        digits=8,
        uncertainty=f"registration.uncertainty.{name}",
        id=name,
    )
    for name, words, unit, signed in (
        ("scale_x", "scale across", "", False),
        ("scale_y", "scale down", "", False),
        ("offset_x", "shift, + is right", "samples", True),
        ("offset_y", "shift, + is down", "lines", True),
    )
)
_FIELDS = (
    Quantity(
        "fields.step",
        "the bar's step between fields",
        "samples",
        main=True,
        uncertainty="fields.step_uncertainty",
        id="step",
    ),
    Quantity("fields.dropped", "frames dropped", main=True, decimals=0, uncertainty="", id="dropped"),
)


def with_totals(held: Json) -> Json:
    """An answer with its totals over all patches; some that were kept have none."""
    patches = _patches(held)
    if not patches or "patches_failed" in held:
        return held
    bits = number_at(held, "signal.bits") or 8
    scale = 2.0 ** (min(max(bits, 8), 16) - 8)
    errors = [
        (abs(error), error / scale, number_at(patch, f"uncertainty_codes.{i}"))
        for patch in patches
        for i in range(3)
        if (error := number_at(patch, f"error_codes.{i}")) is not None
    ]
    _, largest, uncertainty = max(errors, key=lambda one: one[0], default=(0.0, None, None))
    return {
        **held,
        "patches_failed": sum(patch["verdict"] != "pass" for patch in patches),
        "largest_error_codes": largest,
        "largest_error_uncertainty_codes": None if uncertainty is None else uncertainty / scale,
    }


def _patches(held: Json) -> list[Json]:
    patches = held.get("patches")
    found = patches if isinstance(patches, list) else []
    return [patch for patch in found if isinstance(patch, Mapping) and "verdict" in patch]
