"""How `measure lens` tells what it found: as JSON and as text."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from analysis.lens.calibrate import Calibration
from analysis.lens.model import PARAMETERS
from trueraster.output.terminal import counted, number, wrapped

__all__ = ["calibration_json", "calibration_text"]


def calibration_json(found: Calibration, path: Path) -> dict[str, Any]:
    """The answer of `measure lens --json`."""
    lens = found.lens
    corner, doubt = lens.corner_percent()
    own = {name: math.sqrt(max(lens.covariance[i, i], 0.0)) for i, name in enumerate(PARAMETERS)}
    k1, k2, p1, p2, k3 = lens.distortion
    return {
        "lens": {
            "path": str(path),
            "size_px": [lens.width, lens.height],
            "focal_px": [number(lens.fx), number(lens.fy)],
            "principal_px": [number(lens.cx), number(lens.cy)],
            "distortion": {name: number(v, 9) for name, v in zip(PARAMETERS[4:], (k1, k2, p1, p2, k3), strict=True)},
            "distortion_at_corner_percent": number(corner),
            "red_at_corner_px": number(sum(lens.red) * lens.half_diagonal),
            "blue_at_corner_px": number(sum(lens.blue) * lens.half_diagonal),
            "red": [number(v, 9) for v in lens.red],
            "blue": [number(v, 9) for v in lens.blue],
            "rms_px": number(lens.rms_px),
            "uncertainty": {
                "focal_px": [number(own["fx"]), number(own["fy"])],
                "principal_px": [number(own["cx"]), number(own["cy"])],
                "distortion": {name: number(own[name], 9) for name in PARAMETERS[4:]},
                "distortion_at_corner_percent": number(doubt),
            },
        },
        "coverage_percent": number(100 * found.coverage),
        "tilts_deg": [number(v) for v in found.tilts_deg],
        "spread_deg": number(found.spread_deg),
        "used": [str(used) for used in found.used],
        "left_out": [{"path": str(left), "why": why} for left, why in found.left_out],
        "notes": list(found.notes),
    }


def calibration_text(found: Calibration, path: Path) -> str:
    """The same in words."""
    lens = found.lens
    corner, doubt = lens.corner_percent()
    shape = "pincushion" if corner > 0 else "barrel"
    low, high = found.tilts_deg
    focal = math.sqrt(lens.covariance[0, 0])
    lines = [
        f"Lens of {lens.width}x{lens.height} photographs, from {counted(len(found.used), 'photograph')} of the board:",
        f"  focal length      {lens.fx:.1f} px across, {lens.fy:.1f} px down (± {focal:.1f})",
        f"  distortion        {corner:+.2f} % at the corner of the picture ({shape}), ± {doubt:.2f}",
        f"  colour fringes    red {sum(lens.red) * lens.half_diagonal:+.2f} px, blue "
        f"{sum(lens.blue) * lens.half_diagonal:+.2f} px at the corner, outward positive",
        f"  agreement         corners lie {lens.rms_px:.2f} px (rms) beside their places",
        f"  coverage          {100 * found.coverage:.0f} % of the picture has seen corners of the board",
        f"  tilts             {low:.0f} to {high:.0f} degrees, directions up to {found.spread_deg:.0f} degrees apart",
    ]
    lines += [f"  left out          {left}: {why}" for left, why in found.left_out]
    lines += [wrapped(words, "  note              ", " " * 20) for words in found.notes]
    return "\n".join([*lines, f"Lens file: {path}"])
