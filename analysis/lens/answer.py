"""What `measure lens` answers."""

from __future__ import annotations

import math
from pathlib import Path

from analysis.answer import Answer, Figure, Finding, Kind, figures_of
from analysis.lens.calibrate import Calibration
from analysis.lens.model import PARAMETERS
from analysis.lens.quantities import quantities
from analysis.rounding import decimals, figure, uncertainty_text
from analysis.tables import listing

__all__ = ["lens_answer"]


def lens_answer(calibration: Calibration, path: Path) -> Answer:
    """Everything that is reported of a calibrated lens, which was written to the file `path`."""
    lens = calibration.lens
    corner, corner_uncertainty = lens.corner_percent()
    coefficients = dict(zip(PARAMETERS[4:], lens.distortion, strict=True))
    values: dict[str, float | None] = {
        "lens.focal_px.0": lens.fx,
        "lens.focal_px.1": lens.fy,
        "lens.principal_px.0": lens.cx,
        "lens.principal_px.1": lens.cy,
        "lens.distortion_at_corner_percent": corner,
        **{f"lens.distortion.{name}": value for name, value in coefficients.items()},
        "lens.rms_px": lens.rms_px,
        "coverage_percent": 100 * calibration.coverage,
        "tilts_deg.0": calibration.tilts_deg[0],
        "tilts_deg.1": calibration.tilts_deg[1],
        "spread_deg": calibration.spread_deg,
    }
    for gun, scale in (("red", lens.red), ("blue", lens.blue)):
        values[f"lens.{gun}.0"], values[f"lens.{gun}.1"] = scale
        values[f"lens.{gun}_at_corner_px"] = sum(scale) * lens.half_diagonal
    own = {name: math.sqrt(max(lens.covariance[i, i], 0.0)) for i, name in enumerate(PARAMETERS)}
    uncertainty: dict[str, float | None] = {
        "lens.focal_px.0": own["fx"],
        "lens.focal_px.1": own["fy"],
        "lens.principal_px.0": own["cx"],
        "lens.principal_px.1": own["cy"],
        "lens.distortion_at_corner_percent": corner_uncertainty,
        **{f"lens.distortion.{name}": own[name] for name in coefficients},
    }
    for gun in ("red", "blue"):
        uncertainty[f"lens.{gun}_at_corner_px"] = lens.fringe_sigma * lens.half_diagonal
    figures = figures_of(quantities(), values, uncertainty, {})
    places = decimals(corner_uncertainty)
    shape = "pincushion" if corner > 0 else "barrel"
    return Answer(
        kind=Kind.LENS,
        subject=(
            f"Lens for photographs of {lens.width}x{lens.height} pixels, from {len(calibration.used)} photographs of "
            "the board",
        ),
        figures=figures,
        findings=(
            Finding(
                f"Distortion at the photograph's corner: {figure(corner, places)} ± "
                f"{uncertainty_text(corner_uncertainty, places)} % ({shape}); the board's corners lie "
                f"{lens.rms_px:.2f} px (root mean square) from where this lens has them",
                about="lens.distortion_at_corner_percent",
            ),
        ),
        tables=(listing([one for one in figures if not _is_coefficient(one)]),),
        remarks=calibration.notes,
        notes=tuple(f"{left} is left out: {why}" for left, why in calibration.left_out),
        assumptions=("the board is flat, and zoom and focus were the same in all photographs",),
        details={
            "lens": {"path": str(path), "size_px": [lens.width, lens.height]},
            "used": [str(used) for used in calibration.used],
            "left_out": [{"path": str(left), "why": why} for left, why in calibration.left_out],
            "notes": list(calibration.notes),
        },
    )


def _is_coefficient(one: Figure) -> bool:
    """Whether a figure is for programs: of no unit, it says nothing to people."""
    return not one.quantity.unit
