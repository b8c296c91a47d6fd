"""The plane of the marks: from a photograph's pixels to millimetres on the glass, and back.

The four marks' centres and the size of their rectangle give the plane; a calibrated lens makes pixels straight first.
A curved glass passes through the corners of that rectangle, or as far behind them as the picture is: where the camera's
ray meets it, seen square onto the marks' plane, is the place. What is not known of it is taken as usual, and is as
uncertain as what is usual varies.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import InputError
from analysis.lens.model import Lens
from analysis.photo.face import FLAT, USUAL_DEPTH_MM, Face, usual_face, usual_faces
from analysis.photo.file import Photo
from analysis.photo.marks import SeenMarks, centres_of
from analysis.photo.marksfit import fit_marks, rectangle
from analysis.photo.notes import read_notes
from analysis.photo.pose import NotedFocal, Pinhole, eye_of, homography, seeing_of, through, usual_principal

__all__ = ["MarksGiven", "Plane", "plane_in", "plane_of", "unknown_fringes", "unknown_lenses"]

Floats = NDArray[np.float64]

UNKNOWN_DISTORTION = 0.005
"""Standard uncertainty of a lens' distortion at the picture's corner where no lens was calibrated (common practice, no
source)."""
_WIDE_DISTORTION = 0.01
_WIDE_35MM = 35.0
"""The same of a lens that sees more than one of that focal length does on 35 mm film."""
_UNKNOWN_SKEW = 1e-4
"""The same of a lens' tilt (OpenCV's p1 and p2) in half diagonals."""
_UNKNOWN_FRINGE = 4e-4
"""Standard uncertainty of how red's and blue's pictures are larger than green's (common practice, no source)."""
_DEPTH_SIGMA_MM = 1.0
"""Standard uncertainty of how far the picture lies behind the marks, where that is given: what lies behind the glass is
seen through it (common practice, no source)."""
_FILM_DIAGONAL_MM = math.hypot(36, 24)


@dataclass(frozen=True, kw_only=True)
class MarksGiven:
    """The marks in the photograph's pixels, and how far their centres are apart."""

    seen: SeenMarks
    size_mm: tuple[float, float]
    size_sigma_mm: float = 0.0
    """Standard uncertainty of both sides, and of each mark's place across and down."""
    face: Face | None = FLAT
    """How the glass is curved; None where that is not known."""
    depth_mm: float | None = 0.0
    """How far the picture lies behind the marks; None where that is not known."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Plane:
    """What `plane_of` made; only that makes one."""

    given: MarksGiven
    seen: SeenMarks
    size_mm: tuple[float, float]
    places_mm: Floats
    """(4, 2): where the marks' centres are taken to be."""
    photo_size: tuple[int, int]
    lens: Lens | None
    face: Face
    depth_mm: float
    """How far the picture lies behind the marks, as it is seen: behind the face through them where it is curved."""
    marks_px: Floats
    """(4, 2): the marks' centres, straight."""
    matrix: Floats
    """(3, 3): homogeneous straight pixels from millimetres."""
    pinhole: Pinhole | None
    """How the camera sees, where the glass is curved or the picture lies behind the marks."""
    doubted: tuple[Pinhole, ...]
    """The same, off by one standard uncertainty, each in another way; the focal length first."""
    eye_mm: Floats | None
    """(3,): where the camera is, z into the tube; where that is needed."""
    size_sigma_mm: float
    wide: bool = False
    """Whether the lens is a short one, as far as that is known."""
    moves_mm: tuple[Floats, ...] = ()
    """(4, 2) each: by how much the marks may lie elsewhere, since they contradict each other."""
    warnings: tuple[str, ...] = ()
    """What the marks and the file's notes contradict."""

    def to_mm(self, points: ArrayLike, gun: int = 1) -> Floats:
        """Millimetres (..., 2) of pixels (..., 2) as they are in the photograph; NaN where a ray misses the glass."""
        pixels = np.asarray(points, np.float64)
        straight: Floats = pixels if self.lens is None else self.lens.straight(pixels, gun)
        flat = through(np.linalg.inv(self.matrix), straight)
        if self.eye_mm is None:
            return flat
        away = np.concatenate((flat, np.zeros((*flat.shape[:-1], 1))), axis=-1) - self.eye_mm
        if self.face.is_flat:
            return np.asarray(self.eye_mm[:2] + away[..., :2] * (1 - self.depth_mm / self.eye_mm[2]))
        from_middle, weights = self.eye_mm - (0, 0, self._centre_mm), self.face.weights
        a = away**2 @ weights
        b = away @ (from_middle * weights)
        c = float(from_middle**2 @ weights) - self.face.radius_mm**2
        with np.errstate(invalid="ignore"):
            share = (-b - np.sqrt(b * b - a * c)) / a
        return np.asarray(self.eye_mm[:2] + away[..., :2] * share[..., None])

    def to_px(self, points_mm: ArrayLike, gun: int = 1) -> Floats:
        """Pixels (..., 2) of millimetres (..., 2): the inverse of `to_mm`. NaN beyond the face's rim."""
        flat = np.asarray(points_mm, np.float64)
        if self.eye_mm is not None:
            behind = np.full((*flat.shape[:-1], 1), self.depth_mm)
            if not self.face.is_flat:
                weights = self.face.weights[:2, None]
                with np.errstate(invalid="ignore"):
                    behind = self._centre_mm - np.sqrt(self.face.radius_mm**2 - flat**2 @ weights)
            # Where the ray from the camera to the glass meets the marks' plane.
            share = self.eye_mm[2] / (self.eye_mm[2] - behind)
            flat = self.eye_mm[:2] + (flat - self.eye_mm[:2]) * share
        straight = through(self.matrix, flat)
        return straight if self.lens is None else self.lens.bent(straight, gun)

    @property
    def _centre_mm(self) -> float:
        """How far the ellipsoid's centre lies behind the marks' plane."""
        return math.sqrt(self.face.radius_mm**2 - self.face.reach_mm(self.size_mm) ** 2) + self.depth_mm

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
        picture's depth, the glass' curvature, and the marks' places where an uncertainty of them was given. Squared
        changes add up, as of `perturbed`.
        """
        return [plane for planes in self.uncertain().values() for plane in planes]

    def uncertain(self) -> dict[str, list[Plane]]:
        """The same by what is uncertain: lens, fringes, focal, depth, curvature, marks."""
        found: dict[str, list[Plane]] = {}
        if self.lens is None:
            found["lens"] = [self._seenthrough(lens) for lens in unknown_lenses(self.photo_size, wide=self.wide)]
            found["fringes"] = [self._with(lens=lens) for lens in unknown_fringes(self.photo_size)]
        else:
            found["lens"] = [self._seenthrough(lens) for lens in self.lens.doubtful()]
        found["focal"] = [self._with(pinhole=pinhole) for pinhole in self.doubted]
        if self.given.depth_mm is None:
            found["depth"] = [self._with(depth_mm=self.depth_mm + USUAL_DEPTH_MM[1])]
        elif self.depth_mm:
            found["depth"] = [self._with(depth_mm=self.depth_mm + _DEPTH_SIGMA_MM)]
        if self.given.face is None:
            found["curvature"] = [self._with(face=face) for face in usual_faces(self.size_mm)]
        moves = list(self.moves_mm)
        if self.size_sigma_mm > 0:
            moves += list(self.size_sigma_mm * np.eye(8).reshape(8, 4, 2))
        found["marks"] = [self._with(places_mm=self.places_mm + move) for move in moves]
        return {name: planes for name, planes in found.items() if planes}

    def _seenthrough(self, lens: Lens) -> Plane:
        pinhole = self.pinhole if self.lens is None or self.pinhole is None else Pinhole.of(lens)
        return self._with(lens=lens, marks_px=_straight_marks(self.seen, lens), pinhole=pinhole)

    def _with(self, **changes: object) -> Plane:
        """With other values, and what follows from them."""
        other: Plane = replace(self, **changes)  # type: ignore[arg-type]
        matrix = homography(other.places_mm, other.marks_px)
        eye = None if other.pinhole is None else eye_of(other.pinhole, matrix)
        return replace(other, matrix=matrix, eye_mm=eye)


def plane_in(photo: Photo, marks: MarksGiven, *, lens: Lens | None = None) -> Plane:
    """The plane of the marks of a photograph, with the lens turned and scaled as the photograph is.

    Raises:
        ValueError: as of `plane_of`, or the lens is for photographs of another shape.
    """
    notes = read_notes(photo.path)
    own = None if lens is None else lens.for_photo(photo.size, notes.orientation)
    focal = notes.focal_px(photo.size)
    noted = None if focal is None else NotedFocal(pixels=focal, is_whole=notes.zoom == 1.0)
    return plane_of(marks, photo.size, lens=own, noted=noted)


def plane_of(
    marks: MarksGiven, photo_size: tuple[int, int], *, lens: Lens | None = None, noted: NotedFocal | None = None
) -> Plane:
    """The plane through four marks whose centres form a rectangle.

    `lens` is that of photographs of just this size and way up. `noted` is the focal length that the file notes, for a
    curved or deep glass without a lens.

    Raises:
        ValueError: the marks' own size says that the rectangle's is wrong, or the glass' radius is too small; one line.
            An `InputError` where a value is at fault.
    """
    _check_values(marks, photo_size)
    marks_px = _straight_marks(marks.seen, lens)
    places = rectangle(marks.size_mm)
    flat = Plane(
        given=replace(marks, face=FLAT, depth_mm=0.0),
        seen=marks.seen,
        size_mm=marks.size_mm,
        places_mm=places,
        photo_size=photo_size,
        lens=lens,
        face=FLAT,
        depth_mm=0.0,
        marks_px=marks_px,
        matrix=homography(places, marks_px),
        pinhole=None,
        doubted=(),
        eye_mm=None,
        size_sigma_mm=marks.size_sigma_mm,
        wide=noted is not None and noted.pixels < _WIDE_35MM / _FILM_DIAGONAL_MM * math.hypot(*photo_size),
    )
    plane = _with_camera(flat, noted)
    if marks.seen.corners is not None:
        plane = _compared(plane, marks.seen.corners)
    face = usual_face(marks.size_mm) if marks.face is None else marks.face
    depth = USUAL_DEPTH_MM[0] if marks.depth_mm is None else marks.depth_mm
    if face.is_flat and not depth:
        # Where the camera is does not matter then.
        return replace(plane, pinhole=None, doubted=(), eye_mm=None, given=marks)
    return plane._with(face=face, depth_mm=depth, given=marks)


def _with_camera(plane: Plane, noted: NotedFocal | None) -> Plane:
    """With where the camera is."""
    if plane.lens is not None:
        return plane._with(pinhole=Pinhole.of(plane.lens))
    seeing = seeing_of(_variants(plane), plane.photo_size, noted)
    warnings: tuple[str, ...] = ()
    if seeing.contradiction is not None:
        noted_px, shown_px = seeing.contradiction
        warnings = (
            f"the file notes a focal length of {noted_px:.0f} pixels, but the marks' perspective shows {shown_px:.0f}: "
            "a digital zoom, or a part of a photograph? The one of perspective is used; --lens settles it",
        )
    return replace(plane._with(pinhole=seeing.pinhole), doubted=seeing.doubted, warnings=warnings)


def _compared(plane: Plane, corners: Floats) -> Plane:
    """With what the marks' own squares contradict."""
    assert plane.eye_mm is not None
    lens, sigma = plane.lens, plane.seen.corner_sigma

    def bent() -> Floats:
        return unknown_lenses(plane.photo_size, wide=plane.wide)[0].straight(corners)

    straight = corners if lens is None else lens.straight(corners)
    spread = np.full(corners.shape, 0.1) if sigma is None else sigma
    fit = fit_marks(plane.size_mm, (straight, spread), plane.eye_mm, bent if lens is None else None)
    return replace(plane, moves_mm=fit.moves_mm, warnings=(*plane.warnings, *fit.warnings))


def _check_values(marks: MarksGiven, photo_size: tuple[int, int]) -> None:
    """Refuse a glass that does not reach the marks, and marks outside the photograph."""
    face = marks.face
    if face is not None and not face.is_flat and not face.radius_mm > face.reach_mm(marks.size_mm) * 1.02:
        raise InputError(
            f"got {face.words}, a glass that reaches all four marks has a radius above "
            f"{face.reach_mm(marks.size_mm):.0f} mm",
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
        *(other.matrix for name, some in plane.uncertain().items() if name != "fringes" for other in some),
    ]


def _straight_marks(seen: SeenMarks, lens: Lens | None) -> Floats:
    """(4, 2): the centres without the lens; of the straight corners, where they are known."""
    if lens is None:
        return seen.centres
    return lens.straight(seen.centres) if seen.corners is None else centres_of(lens.straight(seen.corners))


def unknown_lenses(size: tuple[int, int], *, wide: bool = False) -> list[Lens]:
    """Lenses with as much distortion as one may have that was not calibrated, each in another way."""
    amount = _WIDE_DISTORTION if wide else UNKNOWN_DISTORTION
    # In units of half the diagonal k1 is the distortion at the corner.
    bends = ((amount, 0.0, 0.0), (0.0, _UNKNOWN_SKEW, 0.0), (0.0, 0.0, _UNKNOWN_SKEW))
    return [_plain_lens(size, distortion=(k1, 0.0, p1, p2, 0.0)) for k1, p1, p2 in bends]


def unknown_fringes(size: tuple[int, int]) -> list[Lens]:
    """Lenses without distortion whose red and blue are as much larger than green as those of one that was not
    calibrated may be."""
    return [_plain_lens(size, **{name: (_UNKNOWN_FRINGE, 0.0)}) for name in ("red", "blue")]


def _plain_lens(size: tuple[int, int], **more: Any) -> Lens:
    reach = math.hypot(*size) / 2
    x, y = usual_principal(size)
    return Lens(width=size[0], height=size[1], fx=reach, fy=reach, cx=x, cy=y, **more)
