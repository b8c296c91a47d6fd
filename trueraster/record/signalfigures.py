"""The figures of `verify` and of `measure lens`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from trueraster.record.figure import Figure, found, number_at

__all__ = ["lens_figures", "verify_figures"]

Json = Mapping[str, Any]

_CODES = "codes of 8 bits"


def verify_figures(result: Json) -> list[Figure]:
    """How many patches are off, the largest error, and where the raster lies; of a moving bar its step."""
    patches = [patch for patch in _objects(result.get("patches")) if "verdict" in patch]
    figures = []
    if patches:
        figures = [
            Figure(
                id="verify.patches_failed",
                words=f"patches beyond the tolerance, of {len(patches)}",
                value=float(sum(patch["verdict"] != "pass" for patch in patches)),
                uncertainty=None,
                unit="",
                signed=False,
                key=True,
                decimals=0,
            ),
            _largest_error(patches, result),
        ]
    if isinstance(result.get("registration"), Mapping):
        figures += [
            found(result, f"verify.{name}", words, unit, at=f"registration.{name}", unsure=unsure, signed=signed)
            for name, words, unit, unsure, signed in (
                ("scale_x", "scale across", "", "registration.uncertainty.scale_x", False),
                ("scale_y", "scale down", "", "registration.uncertainty.scale_y", False),
                ("offset_x", "shift, + is right", "samples", "registration.uncertainty.offset_x", True),
                ("offset_y", "shift, + is down", "lines", "registration.uncertainty.offset_y", True),
            )
        ]
    if isinstance(result.get("fields"), Mapping):
        unsure = "fields.step_uncertainty"
        figures += [
            found(
                result,
                "verify.step",
                "the bar's step between fields",
                "samples",
                at="fields.step",
                unsure=unsure,
                key=True,
            ),
            found(result, "verify.dropped", "frames dropped", "", at="fields.dropped", key=True, decimals=0),
        ]
    return figures


def _largest_error(patches: list[Json], result: Json) -> Figure:
    bits = number_at(result, "signal.bits") or 8
    scale = 2.0 ** (min(max(bits, 8), 16) - 8)
    errors = []
    for patch in patches:
        for i in range(3):
            error = number_at(patch, f"error_codes.{i}")
            if error is not None:
                errors.append((abs(error), error, number_at(patch, f"uncertainty_codes.{i}")))
    _, value, unsure = max(errors, key=lambda one: one[0], default=(0.0, None, None))
    return Figure(
        id="verify.largest_error_codes",
        words="largest error of a patch",
        value=None if value is None else value / scale,
        uncertainty=None if unsure is None else unsure / scale,
        unit=_CODES,
        signed=True,
        key=True,
    )


def lens_figures(result: Json) -> list[Figure]:
    """What the camera's lens does, and how well that is known."""
    corner = "distortion_at_corner_percent"
    return [
        found(
            result,
            f"lens.{corner}",
            "distortion at the photograph's corner",
            "%",
            at=f"lens.{corner}",
            unsure=f"lens.uncertainty.{corner}",
            signed=True,
            key=True,
        ),
        found(result, "lens.rms_px", "corners of the board, root mean square", "px", at="lens.rms_px", key=True),
        found(result, "lens.coverage_percent", "photograph covered by boards", "%", at="coverage_percent", decimals=0),
    ]


def _objects(value: Any) -> list[Json]:
    return [part for part in value if isinstance(part, Mapping)] if isinstance(value, list) else []
