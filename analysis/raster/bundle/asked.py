"""What is asked of several photographs of one grid, and what they show of camera and face."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from analysis.lens.model import Lens
from analysis.photo.face import Face
from analysis.raster.grid import ShownGrid

__all__ = ["FEWEST_PHOTOS", "MOST_PHOTOS", "Solved", "TogetherRequest"]

FEWEST_PHOTOS, MOST_PHOTOS = 3, 24


@dataclass(frozen=True, eq=False, kw_only=True)
class TogetherRequest:
    """Several photographs of one grid, and what is known of lengths."""

    photos: tuple[Path, ...]
    shown: ShownGrid
    aspect: float
    """The picture's width over its height, as it should be."""
    lens: Lens | None = None
    hidden: tuple[int, int] | None = None
    face: Face | None = None
    depth_mm: float | None = None
    marks: bool = True
    """Whether marks are looked for."""
    marks_mm: tuple[float, float] | None = None
    height_mm: float | None = None
    glass_mm: tuple[float, float] | None = None
    sigma_mm: float = 0.0
    """Standard uncertainty of the length that is given."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Solved:
    """What the photographs show of camera and face; pairs are values and standard uncertainties."""

    photos: tuple[Path, ...]
    focal_px: tuple[float, float]
    distortion_percent: float
    """At the photograph's corner; positive for pincushion."""
    curvature: tuple[tuple[float, float], tuple[float, float]] | None
    """1/mm across and down; None where no length is known."""
    depth_mm: tuple[float, float] | None
    """Of the picture behind the marks; None without marks, or where no length is known."""
    scatter: float
    """How many times larger residuals are than the crossings' own uncertainties."""
    left_out: int
    tilt_deg: float
    """The largest angle between two views."""
    place: str
    """What the place is measured against: marks, glass or nothing."""
    length: str
    """What gives the scale: marks_mm, height_mm, glass_mm or nothing."""
