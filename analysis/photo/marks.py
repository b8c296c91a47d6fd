"""The four corner marks in a photograph, and where their edges cross; or the four points that a user gives instead.

Marks are looked for in a reduced picture. At full size each side of a black square is then found along its whole
length, in linear light, as a curve that a lens may have bent; where two sides cross is a corner.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.errors import InputError
from analysis.photo.edges import side_curves
from analysis.photo.file import Photo
from analysis.photo.pose import homography, through
from analysis.photo.reduced import reduced_grey
from analysis.photo.targets import CORNER_NAMES, mark_dictionary
from render.errors import FileError

__all__ = ["NoMarksError", "SeenMarks", "find_marks", "marks_at"]

Floats = NDArray[np.float64]

_LOOKED_AT = (1400, 2800)
"""Longer side, in pixels, of the pictures in which marks are looked for, one after the other."""
_FLOOR_PX = 0.035
"""Standard uncertainty that a mark has in any case: JPEG keeps coloured fringes in part."""
_WORST_PX = 0.3
_WORST_SHARE = 0.001
"""Of a mark's side: with a larger uncertainty a corner is not seen clearly."""
_GIVEN_SIGMA_PX = 0.7
"""Standard uncertainty of a point that was picked by hand (common practice, no source)."""
_SMALLEST_PX = 18.0
"""Side of a mark: below, its edges' surroundings reach into its code."""


class NoMarksError(InputError, FileError):
    """None of the four marks is seen; all else is a mistake of those that are there."""


@dataclass(frozen=True, eq=False, kw_only=True)
class SeenMarks:
    """The marks top left, top right, bottom right, bottom left, in a photograph's pixels as they are (not straight)."""

    centres: Floats
    """(4, 2)."""
    sigma: Floats
    """(4, 2): standard uncertainties of the centres."""
    corners: Floats | None = None
    """(4, 4, 2): each mark's own corners, clockwise from its top left; None where centres were given."""
    corner_sigma: Floats | None = None
    """(4, 4, 2)."""


def centres_of(corners: Floats) -> Floats:
    """(4, 2): the centres of four marks, from their straight corners (4, 4, 2).

    The crossing of a mark's diagonals is the centre in any perspective, but noisy: four crossings tell the perspective,
    and without it the centre is the mean of the corners.
    """
    around = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])
    matrix = homography(around, _crossing(corners))
    return through(matrix, through(np.linalg.inv(matrix), corners).mean(axis=1))


def _crossing(corners: Floats) -> Floats:
    """(..., 2): where the diagonals of quadrilaterals (..., 4, 2) cross."""
    a, b, c, d = np.moveaxis(corners, -2, 0)
    along, across, away = c - a, d - b, b - a
    share = (away[..., 0] * across[..., 1] - away[..., 1] * across[..., 0]) / (
        along[..., 0] * across[..., 1] - along[..., 1] * across[..., 0]
    )
    return np.asarray(a + share[..., None] * along)


def find_marks(photo: Photo) -> SeenMarks:
    """The four marks of a photograph.

    Raises:
        NoMarksError: there is none.
        FileError: there are not four, one is there twice, or they do not lie as they should; one line.
    """
    rough = _rough(photo)
    _check_order(photo.path, _crossing(rough))
    corners, sigma = side_curves(photo, rough)
    side = np.array([_side(one) for one in rough])
    clear = sigma.max(axis=(1, 2)) < _WORST_PX + _WORST_SHARE * side
    if not clear.all():
        lost = CORNER_NAMES[int(np.argmin(clear))]
        raise FileError(
            f"{photo.path}: the edges of the {lost} mark are not clear; it should be whole, flat, sharp, without glare"
        )
    # The centre is the mean of the corners.
    spread = np.sqrt((sigma**2).sum(axis=1)) / 4
    return SeenMarks(
        centres=centres_of(corners),
        sigma=np.hypot(spread, _FLOOR_PX),
        corners=corners,
        corner_sigma=np.hypot(sigma, _FLOOR_PX),
    )


def _rough(photo: Photo) -> Floats:
    """(4, 4, 2): the marks' corners by id, to a few pixels."""
    best: dict[int, list[Floats]] = {}
    for side in _LOOKED_AT:
        grey, scale = reduced_grey(photo, side)
        for even in (_as_it_is, _evened):
            found = _detected(even(grey), scale)
            if any(len(places) > 1 for places in found.values()):
                twice = next(number for number, places in found.items() if len(places) > 1)
                where = " and ".join(f"{x:.0f}, {y:.0f}" for x, y in (one.mean(axis=0) for one in found[twice][:2]))
                raise FileError(
                    f"{photo.path}: the {CORNER_NAMES[twice]} mark is seen twice, at {where} px; take one away"
                )
            if len(found) == 4:
                return _large_enough(photo.path, np.array([found[number][0] for number in range(4)]))
            best = max(best, found, key=len)
        if scale == 1:
            break
    if not best and _is_mirrored(photo):
        raise FileError(f"{photo.path}: the photograph is mirrored; a front camera or a viewer's setting does that")
    if not best:
        raise NoMarksError(
            f"{photo.path}: no corner marks are seen, or they are too blurred; print 'trueraster sheet marks' and fix "
            "all four around the picture, or give their places and how far apart they are",
            helps=("marks", "marks_mm"),
        )
    raise FileError(f"{photo.path}: {_missing_words(best)}")


def _missing_words(found: dict[int, list[Floats]]) -> str:
    missing = [name for number, name in enumerate(CORNER_NAMES) if number not in found]
    names = missing[0] if len(missing) == 1 else f"{', '.join(missing[:-1])} and {missing[-1]}"
    noun = "mark is" if len(missing) == 1 else "marks are"
    return (
        f"the {names} {noun} not seen; all four should be whole in the picture, in focus, with their white around them "
        "and free of glare"
    )


def _as_it_is(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    return grey


def _evened(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The picture with its contrast made alike all over: marks in the dark beside a bright screen."""
    return np.asarray(cv2.createCLAHE(clipLimit=8.0, tileGridSize=(12, 12)).apply(grey), np.uint8)


def _detected(grey: NDArray[np.uint8], scale: float) -> dict[int, list[Floats]]:
    """Corners (4, 2) in pixels of the photograph of every mark of ours, by id."""
    parameters = cv2.aruco.DetectorParameters()
    parameters.minMarkerPerimeterRate = 4 * 10 / max(grey.shape)
    # Two neighbourhoods for the threshold: the smallest of the usual three is for marks of a few pixels.
    parameters.adaptiveThreshWinSizeMin, parameters.adaptiveThreshWinSizeStep = 9, 20
    parameters.adaptiveThreshWinSizeMax = 29
    corners, ids, _ = cv2.aruco.ArucoDetector(mark_dictionary(), parameters).detectMarkers(grey)
    found: dict[int, list[Floats]] = {}
    for number, place in zip([] if ids is None else np.asarray(ids).ravel(), corners, strict=True):
        if number < len(CORNER_NAMES):
            place = (np.asarray(place, np.float64).reshape(4, 2) + 0.5) / scale - 0.5
            others = found.setdefault(int(number), [])
            # The rims of one square may be taken for two marks, one in the other.
            if all(np.hypot(*(place.mean(axis=0) - one.mean(axis=0))) > _side(place) / 2 for one in others):
                others.append(place)
    return found


def _side(corners: Floats) -> float:
    return float(np.hypot(*(corners - np.roll(corners, 1, axis=0)).T).mean())


def _large_enough(path: Path, corners: Floats) -> Floats:
    side = min(_side(one) for one in corners)
    if side < _SMALLEST_PX:
        raise FileError(
            f"{path}: the marks are only {side:.0f} pixels wide, at least {_SMALLEST_PX:.0f} are needed; go nearer, or "
            "photograph with more pixels"
        )
    return corners


def _is_mirrored(photo: Photo) -> bool:
    grey, scale = reduced_grey(photo, _LOOKED_AT[0])
    return len(_detected(np.ascontiguousarray(grey[:, ::-1]), scale)) == 4


def _turns(centres: Floats) -> Floats:
    """(4,): how the way along the four points turns at each, positive clockwise in a picture with y down."""
    steps = np.roll(centres, -1, axis=0) - centres
    following = np.roll(steps, -1, axis=0)
    return np.asarray(steps[:, 0] * following[:, 1] - steps[:, 1] * following[:, 0])


def _check_order(path: Path, centres: Floats) -> None:
    turns = _turns(centres)
    if np.all(turns < 0):
        raise FileError(
            f"{path}: the marks lie mirrored, left and right changed about; each belongs to the corner that it names"
        )
    if not np.all(turns > 0):
        raise FileError(
            f"{path}: the marks do not lie as a rectangle in the order top left, top right, bottom right, bottom left; "
            "each belongs to the corner that it names"
        )


def marks_at(points: ArrayLike) -> SeenMarks:
    """Marks whose centres somebody read off the photograph: (4, 2) in pixels, clockwise from the top left.

    Raises:
        InputError: they do not lie so.
    """
    centres = np.asarray(points, np.float64)
    turns = _turns(centres)
    if not np.all(turns > 0):
        got = ",".join(f"{value:g}" for value in centres.ravel())
        what = "the points go round the wrong way" if np.all(turns < 0) else "no quadrilateral"
        raise InputError(
            f"got {got}: {what}; the order is top left, top right, bottom right, bottom left", fields=("marks",)
        )
    return SeenMarks(centres=centres, sigma=np.full((4, 2), _GIVEN_SIGMA_PX))
