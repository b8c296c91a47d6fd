"""The plane of the marks: from a photograph's pixels to millimetres on the glass, and back.

The four marks' centres and the size of their rectangle give the plane; a calibrated lens makes pixels straight first.
A curved glass is a sphere through the four corners of that rectangle, or as far behind them as the picture is: where
the camera's ray meets it, seen square onto the marks' plane, is the place.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import InputError
from analysis.lens.model import Lens
from analysis.photo.file import Photo
from analysis.photo.marks import SeenMarks, centres_of
from analysis.photo.notes import read_notes
from analysis.photo.pose import Pinhole, eye_of, homography, pinholes_of, through, usual_principal
from analysis.photo.targets import CORNER_NAMES, MARK_MM

__all__ = ["MarksGiven", "Plane", "plane_in", "plane_of", "unknown_lens"]

Floats = NDArray[np.float64]

UNKNOWN_DISTORTION = 0.005
"""Standard uncertainty of a lens' distortion at the picture's corner where no lens was calibrated (common practice, no
source)."""
_WRONG_SHAPE = 0.03
"""Share by which a mark's width and height may differ, in the millimetres that the given size makes of them."""
_WRONG_SIZE = 0.03
_WRONG_SIZE_NO_LENS = 0.06
"""Of a mark's size; a lens of 3 % of distortion makes marks in the corners larger or smaller by nearly as much."""
_OUT_OF_SQUARE_DEG = 1.0
_DEPTH_SIGMA_MM = 1.0
"""Standard uncertainty of how far the picture lies behind the marks, where that is given: what lies behind the glass is
seen through it (common practice, no source)."""


@dataclass(frozen=True, kw_only=True)
class MarksGiven:
    """The marks in the photograph's pixels, and how far their centres are apart."""

    seen: SeenMarks
    size_mm: tuple[float, float]
    size_sigma_mm: float = 0.0
    """Standard uncertainty of both sides."""
    glass_radius_mm: float | None = None
    """Radius of the glass; None where it is flat."""
    depth_mm: float = 0.0
    """How far the picture lies behind the marks."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Plane:
    """What `plane_of` made; only that makes one."""

    seen: SeenMarks
    size_mm: tuple[float, float]
    photo_size: tuple[int, int]
    lens: Lens | None
    glass_radius_mm: float | None
    depth_mm: float
    """How far the picture lies behind the marks, as it is seen: behind the sphere through them where it is curved."""
    marks_px: Floats
    """(4, 2): the marks' centres, straight."""
    matrix: Floats
    """(3, 3): homogeneous straight pixels from millimetres."""
    pinhole: Pinhole | None
    """How the camera sees, where the glass is curved or the picture lies behind the marks."""
    doubted: tuple[Pinhole, ...]
    """The same, off by one standard uncertainty, each in another way."""
    eye_mm: Floats | None
    """(3,): where the camera is, z into the tube; where that is needed."""
    size_sigma_mm: float

    def to_mm(self, points: ArrayLike, gun: int = 1) -> Floats:
        """Millimetres (..., 2) of pixels (..., 2) as they are in the photograph; NaN where a ray misses the glass."""
        pixels = np.asarray(points, np.float64)
        straight: Floats = pixels if self.lens is None else self.lens.straight(pixels, gun)
        flat = through(np.linalg.inv(self.matrix), straight)
        if self.eye_mm is None:
            return flat
        away = np.concatenate((flat, np.zeros((*flat.shape[:-1], 1))), axis=-1) - self.eye_mm
        if self.glass_radius_mm is None:
            return np.asarray(self.eye_mm[:2] + away[..., :2] * (1 - self.depth_mm / self.eye_mm[2]))
        from_middle = self.eye_mm - (0, 0, self._centre_mm)
        a = (away**2).sum(axis=-1)
        b = away @ from_middle
        c = float(from_middle @ from_middle) - self.glass_radius_mm**2
        with np.errstate(invalid="ignore"):
            share = (-b - np.sqrt(b * b - a * c)) / a
        return np.asarray(self.eye_mm[:2] + away[..., :2] * share[..., None])

    def to_px(self, points_mm: ArrayLike, gun: int = 1) -> Floats:
        """Pixels (..., 2) of millimetres (..., 2): the inverse of `to_mm`. NaN beyond the sphere's rim."""
        flat = np.asarray(points_mm, np.float64)
        if self.eye_mm is not None:
            behind = np.full((*flat.shape[:-1], 1), self.depth_mm)
            if self.glass_radius_mm is not None:
                with np.errstate(invalid="ignore"):
                    behind = self._centre_mm - np.sqrt(self.glass_radius_mm**2 - (flat**2).sum(axis=-1, keepdims=True))
            # Where the ray from the camera to the glass meets the marks' plane.
            share = self.eye_mm[2] / (self.eye_mm[2] - behind)
            flat = self.eye_mm[:2] + (flat - self.eye_mm[:2]) * share
        straight = through(self.matrix, flat)
        return straight if self.lens is None else self.lens.bent(straight, gun)

    @property
    def _centre_mm(self) -> float:
        """How far the sphere's centre lies behind the marks' plane."""
        assert self.glass_radius_mm is not None
        width, height = self.size_mm
        return math.sqrt(self.glass_radius_mm**2 - (width**2 + height**2) / 4) + self.depth_mm

    def perturbed(self) -> list[tuple[Plane, float]]:
        """Planes whose marks are moved by one standard uncertainty, one coordinate after the other, with weights.

        The variance of anything that is measured by way of the plane has the sum of weight times squared change from
        them. Errors of the marks are taken as independent of each other.
        """
        planes = []
        for mark in range(4):
            for axis in range(2):
                moved = self.marks_px.copy()
                moved[mark, axis] += self.seen.sigma[mark, axis]
                planes.append((self._with(marks_px=moved), 1.0))
        return planes

    def doubtful(self) -> list[Plane]:
        """Planes that differ by one standard uncertainty of what all measurements share, each in another way.

        The lens' distortion (without a lens, that there may be some), the camera's place before a curved glass, the
        picture's depth, and the marks' distances where an uncertainty of them was given. Squared changes add up, as of
        `perturbed`.
        """
        planes = [self._with(pinhole=pinhole) for pinhole in self.doubted]
        if self.lens is None:
            planes.append(self._seenthrough(unknown_lens(self.photo_size)))
        else:
            planes += [self._seenthrough(lens) for lens in self.lens.doubtful()]
        if self.depth_mm:
            planes.append(self._with(depth_mm=self.depth_mm + _DEPTH_SIGMA_MM))
        if self.size_sigma_mm > 0:
            width, height = self.size_mm
            step = self.size_sigma_mm
            planes += [self._with(size_mm=size) for size in ((width + step, height), (width, height + step))]
        return planes

    def _seenthrough(self, lens: Lens) -> Plane:
        pinhole = self.pinhole if self.lens is None or self.pinhole is None else Pinhole.of(lens)
        return self._with(lens=lens, marks_px=_straight_marks(self.seen, lens), pinhole=pinhole)

    def _with(self, **changes: object) -> Plane:
        """With other values, and what follows from them."""
        other: Plane = replace(self, **changes)  # type: ignore[arg-type]
        matrix = homography(_rectangle(other.size_mm), other.marks_px)
        eye = None if other.pinhole is None else eye_of(other.pinhole, matrix)
        return replace(other, matrix=matrix, eye_mm=eye)


def plane_in(photo: Photo, marks: MarksGiven, *, lens: Lens | None = None) -> Plane:
    """The plane of the marks of a photograph, with the lens turned and scaled as the photograph is.

    Raises:
        ValueError: as of `plane_of`, or the lens is for photographs of another shape.
    """
    notes = read_notes(photo.path)
    own = None if lens is None else lens.for_photo(photo.size, notes.orientation)
    return plane_of(marks, photo.size, lens=own, noted_focal_px=notes.focal_px(photo.size))


def plane_of(
    marks: MarksGiven,
    photo_size: tuple[int, int],
    *,
    lens: Lens | None = None,
    noted_focal_px: float | None = None,
) -> Plane:
    """The plane through four marks whose centres form a rectangle.

    `lens` is that of photographs of just this size and way up. `noted_focal_px` is what the file notes, for a curved or
    deep glass without a lens.

    Raises:
        ValueError: the marks' own size says that the rectangle's is wrong, the glass' radius is too small, or nothing
            shows where the camera was and that is needed; one line. An `InputError` where a value is at fault.
    """
    _check_values(marks, photo_size)
    seen = marks.seen
    marks_px = _straight_marks(seen, lens)
    plane = Plane(
        seen=seen,
        size_mm=marks.size_mm,
        photo_size=photo_size,
        lens=lens,
        glass_radius_mm=None,
        depth_mm=0.0,
        marks_px=marks_px,
        matrix=homography(_rectangle(marks.size_mm), marks_px),
        pinhole=None,
        doubted=(),
        eye_mm=None,
        size_sigma_mm=marks.size_sigma_mm,
    )
    if seen.corners is not None:
        _check_size(plane, seen.corners)
    if marks.glass_radius_mm is None and not marks.depth_mm:
        return plane
    if lens is not None:
        plane = replace(plane, pinhole=Pinhole.of(lens))
    else:
        pinhole, doubted = pinholes_of(_variants(plane), photo_size, noted_focal_px)
        plane = replace(plane, pinhole=pinhole, doubted=doubted)
    return plane._with(glass_radius_mm=marks.glass_radius_mm, depth_mm=marks.depth_mm)


def _check_values(marks: MarksGiven, photo_size: tuple[int, int]) -> None:
    """Refuse a glass that does not reach the marks, and marks outside the photograph."""
    half_diagonal = math.hypot(*marks.size_mm) / 2
    if marks.glass_radius_mm is not None and not marks.glass_radius_mm > half_diagonal * 1.02:
        raise InputError(
            f"got {marks.glass_radius_mm:g}, a glass that reaches all four marks has a radius above "
            f"{half_diagonal:.0f} mm",
            fields=("glass_radius_mm",),
        )
    centres = marks.seen.centres
    inside = np.all((centres > -1) & (centres < photo_size), axis=1)
    if not inside.all():
        x, y = centres[~inside][0]
        raise InputError(
            f"{x:g},{y:g} lies outside the photograph of {photo_size[0]}x{photo_size[1]}", fields=("marks",)
        )


def _variants(plane: Plane) -> Callable[[], list[Floats]]:
    """The plane's matrix and those of all that it may be by the marks' and the distortion's uncertainty."""
    return lambda: [
        plane.matrix,
        *(other.matrix for other, _ in plane.perturbed()),
        *(other.matrix for other in plane.doubtful()),
    ]


def _rectangle(size_mm: tuple[float, float]) -> Floats:
    width, height = size_mm
    return np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (width / 2, height / 2)


def _straight_marks(seen: SeenMarks, lens: Lens | None) -> Floats:
    """(4, 2): the centres without the lens; of the straight corners, where they are known."""
    if lens is None:
        return seen.centres
    return lens.straight(seen.centres) if seen.corners is None else centres_of(lens.straight(seen.corners))


def unknown_lens(size: tuple[int, int]) -> Lens:
    """A lens with as much distortion as one may have that was not calibrated."""
    reach = math.hypot(*size) / 2
    x, y = usual_principal(size)
    # In units of half the diagonal k1 is the distortion at the corner.
    return Lens(
        width=size[0],
        height=size[1],
        fx=reach,
        fy=reach,
        cx=x,
        cy=y,
        distortion=(UNKNOWN_DISTORTION, 0.0, 0.0, 0.0, 0.0),
    )


def _check_size(plane: Plane, corners: Floats) -> None:
    """Compare the marks' own width and height, by the given size, with what was printed."""
    straight: Floats = corners if plane.lens is None else plane.lens.straight(corners)
    top_left, top_right, bottom_right, bottom_left = np.moveaxis(through(np.linalg.inv(plane.matrix), straight), 1, 0)
    across, down = (
        (top_right - top_left + bottom_right - bottom_left) / 2,
        (bottom_left - top_left + bottom_right - top_right) / 2,
    )
    if np.median(across[:, 0] / np.hypot(*across.T)) < math.cos(math.radians(45)):
        raise ValueError(
            "the marks stand turned in their rectangle: each belongs upright to the corner that it names, its arrows up"
        )
    wide, high = float(np.hypot(*across.T).mean()), float(np.hypot(*down.T).mean())
    width, height = plane.size_mm
    shape, size = wide / high, math.sqrt(wide * high) / MARK_MM
    given = f"with {width:g}x{height:g} the marks come out {wide:.1f} mm wide and {high:.1f} mm high"
    if abs(shape - 1) > _WRONG_SHAPE:
        swapped = shape * (height / width) ** 2
        if abs(swapped - 1) < _WRONG_SHAPE:
            raise InputError(
                f"{given}: width and height seem changed about, try {height:g}x{width:g}", fields=("marks_mm",)
            )
        raise InputError(
            f"{given}, though they are square: measure across and down from centre to centre again",
            fields=("marks_mm",),
        )
    limit = _WRONG_SIZE if plane.lens is not None else _WRONG_SIZE_NO_LENS
    if abs(size - 1) > limit:
        raise InputError(
            f"{given}, {MARK_MM:g} mm is printed: measure from centre to centre again, and the print's ruler, which is "
            "100 mm",
            fields=("marks_mm",),
        )
    own = np.stack((np.hypot(*across.T), np.hypot(*down.T)), axis=1)
    odd = np.abs(own / (wide, high) - 1).max(axis=1)
    if odd.max() > limit:
        worst = int(odd.argmax())
        raise ValueError(
            f"the {CORNER_NAMES[worst]} mark comes out {own[worst, 0]:.1f} mm wide and {own[worst, 1]:.1f} mm high, "
            f"all four {wide:.1f} and {high:.1f} mm on average: it should be flat, in their plane, and whole"
        )
    turned = np.degrees(np.arctan2(down[:, 1], down[:, 0]) - np.arctan2(across[:, 1], across[:, 0])) - 90
    skew = float(turned.mean())
    if abs(skew) > _OUT_OF_SQUARE_DEG:
        raise ValueError(
            f"the rectangle of the marks is out of square by {abs(skew):.1f} degrees: set them upright, so that both "
            "diagonals are equal"
        )
