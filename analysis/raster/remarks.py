"""What has to be said of a photograph's figures besides them: what was assumed, and what they are of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from analysis.answer import Assumption
from analysis.guns import GUNS
from analysis.photo.face import USUAL_DEPTH_MM
from analysis.raster.classes import CLASSES, SetClass
from analysis.raster.convergence import AGAINST_GREEN
from analysis.raster.geometry.figures import Geometry
from analysis.raster.geometry.overscan import SIDES
from analysis.raster.grid import GlassGrid
from analysis.raster.measure import RasterPhoto
from analysis.raster.unplaced import GREEN

__all__ = ["assumptions_of", "gun_remarks", "line_remarks", "tolerance_note"]

_OF_LENS = ("lens", "fringes", "focal")
"""What a calibrated lens says by itself."""
_LEAST_WORTH_MM = 0.005
"""Assumptions that are worth less are not listed."""
_ASSUMED = {
    "depth": (
        f"the picture is taken to lie {USUAL_DEPTH_MM[0]:g} ± {USUAL_DEPTH_MM[1]:g} mm behind the marks",
        "--depth-mm",
    ),
    "curvature": (
        "the glass is taken to be as curved as usual, from flat to a radius of 0.6 m",
        "--glass-radius-mm",
    ),
    "focal": ("how far away the camera was is taken from its focal length, as far as that is known", "--lens"),
    "lens": ("the lens is taken to bend lines by half a percent or less, a short one by one percent", "--lens"),
    "fringes": ("the lens is taken to show red and blue as large as green to 0.04 %", "--lens"),
    "exposure": ("which of the two fields each place shows is not known", "an exposure of whole frames"),
}
"""What is taken as usual by its id, and what removes it."""


def assumptions_of(seen: RasterPhoto, *, between_guns: bool) -> tuple[Assumption, ...]:
    """What was taken as usual of a photograph, the one that is worth most first."""
    told = []
    for name, grids in seen.on.assumed.items():
        given = {"depth": seen.request.depth_mm, "curvature": seen.request.face}.get(name)
        if given is not None or (seen.lens is not None and name in _OF_LENS):
            continue
        worth = _worth(seen.on.grid, grids, between_guns=between_guns)
        if worth is None or worth >= _LEAST_WORTH_MM or name in ("depth", "curvature"):
            words, option = _ASSUMED[name]
            told.append(Assumption(id=name, words=words, worth_mm=worth, option=option))
    return tuple(sorted(told, key=lambda one: -(one.worth_mm or 0.0)))


def _worth(grid: GlassGrid, others: Sequence[GlassGrid], *, between_guns: bool) -> float | None:
    """How far nodes move, or guns against each other, at most; None without marks, where there are no mm."""
    if not grid.placed:
        return None
    square = np.zeros(grid.nodes.shape[1:3])
    for other in others:
        moved = other.nodes - grid.nodes
        if between_guns:
            apart = np.stack([moved[gun] - moved[GREEN] for gun in AGAINST_GREEN.values()])
            far = np.nan_to_num(np.hypot(apart[..., 0], apart[..., 1])).max(axis=0)
        else:
            far = np.nan_to_num(np.hypot(moved[..., 0], moved[..., 1])).max(axis=0)
        square += far**2
    return float(np.sqrt(square.max()))


def gun_remarks(found: Geometry) -> list[str]:
    """That geometry is not that of green, which it usually is."""
    if found.gun == GREEN:
        return []
    return [
        f"green is hardly seen: all figures are those of {GUNS[found.gun]}. Is the green gun dark, or was a pattern of "
        "one colour shown?"
    ]


def line_remarks(found: Geometry) -> list[str]:
    """Which lines' bends are given, where the outermost ones are not seen."""
    inner = {side: int(found.figures.get(f"edge_line.{side}", 0)) for side in SIDES}
    lines: dict[int, list[str]] = {}
    for side, line in inner.items():
        if line:
            lines.setdefault(line, []).append(side)
    return [
        f"{', '.join(sides)}: the outermost {'line is' if line == 1 else f'{line} lines are'} hidden or dark, so the "
        f"bend is that of line {line + 1} from the edge"
        for line, sides in lines.items()
    ]


def tolerance_note(set_class: SetClass, height_mm: float) -> str:
    """What the tolerances of a class mean on this set."""
    limits = CLASSES[set_class]
    mm = limits.in_mm(height_mm)
    return (
        f"a {set_class.value} set in good order (common practice, no source) has its middle within "
        f"{mm['position']:.1f} mm here, edges that bend at most {mm['bend']:.1f} mm, and is turned by at most "
        f"{limits.rotation:g} degrees and {limits.shape:g} % too wide at most; red and blue lie within "
        f"{mm['convergence_centre']:.2f} mm of green in the centre and {mm['convergence_outside']:.2f} mm elsewhere"
    )
