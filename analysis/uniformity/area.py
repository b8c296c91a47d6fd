"""Where the lit picture lies in a photograph of a plain field: a bright four-sided area in a dark surrounding.

The glass has slightly rounded corners and slightly curved sides. Each side is taken as the straight line through its
middle part, the corners as where those lines meet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.uniformity.light import Light, SmallLight
from render.errors import FileError

__all__ = ["LitArea", "find_lit_area"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

SIDES = ("top", "right", "bottom", "left")
"""In the order of the corners: each side runs from its corner to the next."""

_EDGE_LEVEL = 0.5
"""Share of the light near by at which the lit area ends."""
_NEAR = 0.04
"""How far "near by" is, as a share of the small picture's longer side."""
_GLARE = 1.4
"""Light above which nothing is the field's, as a multiple of the area's middle level."""
_LEAST_SHARE = 0.04
"""Of the photograph's area, that the picture has to fill."""
_LEAST_FILLED = 0.93
"""Share of the four-sided area and the region that both have in common: rounded corners and curved sides cost 0.02."""
_LEAST_LIGHT = 0.01
"""Linear light of the strongest channel in the area (code 25 of 255) below which there is no lit area."""
_LEAST_CONTRAST = 2.5
"""Light of the area compared with its surroundings, below which its edge is not to be trusted."""
_MIDDLE = (0.12, 0.88)
"""The part of each side that its line is laid through."""
_CLEAR = 0.012
"""How far from the edge the light is whole, as a share of the area's height; and two samples more for the lens's
blur."""


@dataclass(frozen=True, eq=False)
class LitArea:
    """The visible picture in a photograph."""

    corners: Floats
    """(4, 2): top left, top right, bottom right, bottom left, in pixels of the photograph."""
    clear: Bools
    """(rows, columns) of the small picture: well inside the lit area."""
    touches: tuple[str, ...]
    """The sides that the photograph's own edge cuts off."""
    surround: float
    """Light around the area as a share of the area's own."""

    @property
    def to_photo(self) -> Floats:
        """(3, 3): the homography from (u, v), -1 to 1 over the visible area, to pixels of the photograph."""
        square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], np.float32)
        return np.asarray(cv2.getPerspectiveTransform(square, self.corners.astype(np.float32)), np.float64)

    @property
    def aspect(self) -> float:
        """Width over height as the photograph shows them, means of opposite sides."""
        lengths = np.linalg.norm(np.roll(self.corners, -1, axis=0) - self.corners, axis=1)
        return float((lengths[0] + lengths[2]) / (lengths[1] + lengths[3]))


class _NoAreaError(Exception):
    """Why a bright region is no picture area."""


def find_lit_area(small: SmallLight) -> LitArea:
    """The lit picture area: the largest bright region that has four sides.

    Raises:
        FileError: there is none, or the photograph's edges cut it off on two sides or more.
    """
    bright = cv2.blur(small.light.sum(axis=2), (3, 3))
    level = _between(bright)
    count, labels, stats, _ = cv2.connectedComponentsWithStats((bright > level).astype(np.uint8), connectivity=4)
    least = _LEAST_SHARE * bright.size
    order = sorted((i for i in range(1, count) if stats[i, 4] > least), key=lambda i: -stats[i, 4])
    reason = f"no lit picture fills {100 * _LEAST_SHARE:.0f} % of the photograph; the tube's whole face has to fill it"
    for rank, i in enumerate(order[:3]):
        try:
            return _area(small, bright, labels == i)
        except _NoAreaError as error:
            if rank == 0:
                reason = str(error)
    raise FileError(f"{small.path}: {reason}")


def _between(bright: Light) -> float:
    """The level that separates light from dark best (Otsu's method, on square roots so that dark steps count)."""
    roots = np.sqrt(np.maximum(bright, 0) / 3)
    codes = np.clip(roots * 255, 0, 255).astype(np.uint8)
    found, _ = cv2.threshold(codes, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    return float(3 * ((found + 0.5) / 255) ** 2)


def _area(small: SmallLight, bright: Light, rough: Bools) -> LitArea:
    region = _to_half_level(bright, rough)
    light = small.light[region]
    if not len(light) or float(np.median(light, axis=0).max()) < _LEAST_LIGHT:
        raise _NoAreaError("no brightly lit picture is seen; a plain field that fills the screen is expected")
    contour, touches = _outline(region)
    if len(touches) > 1:
        raise _NoAreaError(
            f"the lit area is cut off by the photograph's edge ({' and '.join(touches)}); the whole face with a dark "
            "border around it has to be seen"
        )
    corners = _four_corners(contour)
    _check_shape(region, corners)
    surround = _surround(bright, region)
    if surround * _LEAST_CONTRAST > 1:
        raise _NoAreaError("the lit area is hardly brighter than what is around it; darken the room")
    height = float(np.linalg.norm(corners[[3, 2]] - corners[[0, 1]], axis=1).mean())
    area = LitArea(small.to_photo(corners), _shrunk(region, round(_CLEAR * height) + 2), touches, surround)
    return replace(area, clear=area.clear & _filled(region.shape, corners))


def _to_half_level(bright: Light, rough: Bools) -> Bools:
    """The region up to where light falls to half of that near by, without holes or whiskers."""
    reach = 2 * round(_NEAR * max(bright.shape)) + 1
    # A lamp's reflection must not make what is beside it dark.
    most = _GLARE * float(np.median(bright[rough]))
    near = cv2.dilate(np.where(rough, np.minimum(bright, most), 0), np.ones((reach, reach), np.uint8))
    at_least_half = ((bright > _EDGE_LEVEL * near) & (near > 0)).astype(np.uint8)
    lit = cv2.morphologyEx(at_least_half, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    contours, _ = cv2.findContours(lit, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    filled = np.zeros(bright.shape, np.uint8)
    if contours:
        cv2.drawContours(filled, [max(contours, key=cv2.contourArea)], -1, 1, cv2.FILLED)
    return filled > 0


def _outline(region: Bools) -> tuple[Floats, tuple[str, ...]]:
    """The region's outer samples (x, y), and the sides of the photograph that it runs along."""
    contours, _ = cv2.findContours(region.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    rows, columns = region.shape
    ends = {
        "top": region[1].sum() / columns,
        "right": region[:, -2].sum() / rows,
        "bottom": region[-2].sum() / columns,
        "left": region[:, 1].sum() / rows,
    }
    touches = tuple(side for side in SIDES if ends[side] > 0.02)
    return max(contours, key=len)[:, 0, :].astype(np.float64), touches


def _four_corners(contour: Floats) -> Floats:
    """Where the lines through the four sides meet: top left, top right, bottom right, bottom left."""
    corners = _first_corners(contour)
    for _ in range(2):
        lines = [_side(contour, corners, i) for i in range(4)]
        corners = np.array([_meeting(lines[i - 1], lines[i]) for i in range(4)])
    return corners


def _first_corners(contour: Floats) -> Floats:
    """Four points of the hull, clockwise from the top left."""
    hull = cv2.convexHull(contour.astype(np.float32))
    low, high = 0.0, 0.3 * float(np.ptp(contour, axis=0).max())
    points: Any = None
    for _ in range(24):
        reach = (low + high) / 2
        points = cv2.approxPolyDP(hull, reach, True)
        if len(points) == 4:
            break
        low, high = (reach, high) if len(points) > 4 else (low, reach)
    else:
        points = cv2.boxPoints(cv2.minAreaRect(hull))
    four = np.asarray(points, np.float64).reshape(4, 2)
    middle = four.mean(axis=0)
    # Down is positive: rising angles run clockwise.
    four = four[np.argsort(np.arctan2(*(four - middle).T[::-1]))]
    return np.roll(four, -int(np.argmin(four.sum(axis=1))), axis=0)


def _side(contour: Floats, corners: Floats, i: int) -> tuple[Floats, Floats]:
    """A point and the direction of the line through one side's samples, moved out to their outer edge."""
    start, stop = corners[i], corners[(i + 1) % 4]
    along = stop - start
    length = float(np.hypot(*along))
    if length < 8:
        raise _NoAreaError("the lit area has not four sides")
    along = along / length
    outward = np.array([along[1], -along[0]])
    share, apart = (contour - start) @ along / length, (contour - start) @ outward
    of_side = (share > _MIDDLE[0]) & (share < _MIDDLE[1]) & (np.abs(apart) < 0.06 * length + 3)
    if of_side.sum() < 8:
        raise _NoAreaError("the lit area has not four sides")
    found = cv2.fitLine(contour[of_side].astype(np.float32), cv2.DIST_HUBER, 0, 0.01, 0.01).ravel()
    direction = np.asarray(found[:2], np.float64)
    direction *= np.sign(direction @ along) or 1.0
    # A region's outer samples have their middles half a sample inside its edge.
    return np.asarray(found[2:], np.float64) + 0.5 * np.array([direction[1], -direction[0]]), direction


def _meeting(one: tuple[Floats, Floats], other: tuple[Floats, Floats]) -> Floats:
    turn = np.stack([one[1], -other[1]], axis=1)
    if abs(np.linalg.det(turn)) < 0.3:
        raise _NoAreaError("the lit area has not four sides")
    return np.asarray(one[0] + one[1] * np.linalg.solve(turn, other[0] - one[0])[0], np.float64)


def _check_shape(region: Bools, corners: Floats) -> None:
    filled = _filled(region.shape, corners)
    common = float((filled & region).sum() / max((filled | region).sum(), 1))
    sides = np.linalg.norm(np.roll(corners, -1, axis=0) - corners, axis=1)
    if common < _LEAST_FILLED or sides.max() > 3.5 * sides.min():
        raise _NoAreaError("the largest bright area is no four-sided picture; a plain field in a dark room is expected")


def _filled(shape: tuple[int, ...], corners: Floats) -> Bools:
    filled = np.zeros(shape, np.uint8)
    cv2.fillConvexPoly(filled, np.rint(corners).astype(np.int32), 1)
    return filled > 0


def _shrunk(region: Bools, by: int) -> Bools:
    side = 2 * by + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side))
    # What the photograph's edge cuts off is no edge of the picture, but shrinks too: its light is not trusted.
    return np.asarray(cv2.erode(region.astype(np.uint8), kernel, borderValue=0) > 0, np.bool_)


def _surround(bright: Light, region: Bools) -> float:
    """The middle level in a ring around the region as a share of the region's."""
    near = max(3, round(0.012 * max(region.shape)))
    one = region.astype(np.uint8)
    inner, outer = (cv2.dilate(one, np.ones((2 * by + 1, 2 * by + 1), np.uint8)) for by in (near, 3 * near))
    ring = (outer > inner) & ~region
    if not ring.any():
        return 0.0
    return float(np.median(bright[ring]) / np.median(bright[region]))
