"""Where the camera was before the plane of the marks."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.lens.model import Lens

__all__ = [
    "USUAL_FOCAL",
    "NotedFocal",
    "Pinhole",
    "Seeing",
    "eye_of",
    "homography",
    "seeing_of",
    "through",
    "usual_principal",
]

Floats = NDArray[np.float64]

_PRINCIPAL_OFF = 0.01
"""Standard uncertainty of where the principal point lies without a calibration, as a share of the picture's width
(common practice, no source)."""
_NOTED = 0.02
"""Relative standard uncertainty of a noted focal length that perspective agrees with; whole millimetres are noted, and
lenses breathe."""
_NOTED_ALONE = 0.3
"""The same where perspective shows nothing: a digital zoom or a cropped file is not always noted (common practice, no
source)."""
_NOTED_WHOLE = 0.05
"""The same where the file notes that there was no digital zoom."""
_USUAL_35MM = 45.0
"""Focal length in terms of 35 mm film of a camera that nothing is known of, and the factor that it may be off by: 24 to
100 mm (common practice, no source)."""
_USUAL_SPREAD = 0.41
_SHOWN_BY_PERSPECTIVE = 0.15
"""Relative standard uncertainty up to which the focal length from perspective can contradict a noted one."""
_CONTRADICTS = 3.5
_LEAST = 0.4
"""Share of the known focal length below which perspective does not push it."""
_FILM_DIAGONAL_MM = math.hypot(36, 24)
USUAL_FOCAL = _USUAL_35MM / _FILM_DIAGONAL_MM
"""The same in diagonals of the picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pinhole:
    """Focal lengths and principal point, in pixels."""

    fx: float
    fy: float
    cx: float
    cy: float

    @classmethod
    def of(cls, lens: Lens) -> Pinhole:
        """That of a calibrated lens."""
        return cls(fx=lens.fx, fy=lens.fy, cx=lens.cx, cy=lens.cy)


def usual_principal(size: tuple[int, int]) -> tuple[float, float]:
    """Where the principal point lies when nobody knows better: the picture's middle."""
    return (size[0] - 1) / 2, (size[1] - 1) / 2


def homography(places: Floats, seen: Floats) -> Floats:
    """(3, 3): the map of the plane that takes four points (4, 2) to four others, no three on a line."""
    scale = float(np.abs(places).max()), float(np.abs(seen).max())
    (x, y), (u, v) = (places / scale[0]).T, (seen / scale[1]).T
    none, one = np.zeros(4), np.ones(4)
    rows = np.concatenate(
        (
            np.stack((x, y, one, none, none, none, -u * x, -u * y), axis=1),
            np.stack((none, none, none, x, y, one, -v * x, -v * y), axis=1),
        )
    )
    found = np.append(np.linalg.solve(rows, np.concatenate((u, v))), 1.0).reshape(3, 3)
    return np.asarray(np.diag([scale[1], scale[1], 1.0]) @ found @ np.diag([1 / scale[0], 1 / scale[0], 1.0]))


def through(matrix: NDArray[Any], points: NDArray[Any]) -> Floats:
    """Points (..., 2) through a homography."""
    there = points @ matrix[:, :2].T + matrix[:, 2]
    return np.asarray(there[..., :2] / there[..., 2:])


def eye_of(pinhole: Pinhole, matrix: Floats) -> Floats:
    """(3,): the camera's place in the plane's axes, z away from the camera, from the plane's homography."""
    inner = np.array([[pinhole.fx, 0, pinhole.cx], [0, pinhole.fy, pinhole.cy], [0, 0, 1.0]])
    columns = np.linalg.solve(inner, matrix)
    scale = (np.linalg.norm(columns[:, 0]) + np.linalg.norm(columns[:, 1])) / 2 * np.sign(columns[2, 2])
    first, second, move = (columns / scale).T
    # Noise leaves the two axes not quite square to each other: the nearest rotation.
    left, _, right = np.linalg.svd(np.stack((first, second, np.cross(first, second)), axis=1))
    turn = left @ np.diag([1, 1, np.linalg.det(left @ right)]) @ right
    return np.asarray(-turn.T @ move)


@dataclass(frozen=True, slots=True, kw_only=True)
class NotedFocal:
    """A focal length that a file notes, in pixels."""

    pixels: float
    is_whole: bool = False
    """Whether the file also notes that there was no digital zoom."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Seeing:
    """How an uncalibrated camera sees."""

    pinhole: Pinhole
    doubted: tuple[Pinhole, ...]
    """The same off by one standard uncertainty, the focal length first."""
    share: float
    """Relative standard uncertainty of the focal length."""
    contradiction: tuple[float, float] | None = None
    """The noted focal length and that of perspective in pixels, where they contradict each other."""
    is_noted: bool = False
    """Whether the file's note was used."""


def seeing_of(
    variants: Callable[[], Sequence[Floats]], size: tuple[int, int], noted: NotedFocal | None = None
) -> Seeing:
    """How an uncalibrated camera sees, and that off by one standard uncertainty in three ways.

    `variants` gives the plane's homography and those that differ by one standard uncertainty. Pixels are taken as
    square and the principal point as the picture's middle. The focal length is the mean of what perspective shows,
    what the file notes, and where it notes none, of what is usual, each weighted by its uncertainty.
    """
    x, y = usual_principal(size)
    # Perspective shows the square of the focal length with an even error, and may well show a negative one.
    seen, spread = _by_perspective(variants(), x, y, _PRINCIPAL_OFF * size[0])
    contradiction = None
    if noted is None:
        known, own = USUAL_FOCAL * math.hypot(*size), _USUAL_SPREAD
    else:
        known, own = noted.pixels, _NOTED_WHOLE if noted.is_whole else _NOTED_ALONE
        if spread < 2 * _SHOWN_BY_PERSPECTIVE * max(seen, known**2):
            if abs(seen - known**2) < _CONTRADICTS * math.hypot(spread, 2 * _NOTED * known**2):
                own = _NOTED
            elif seen > 0:
                contradiction = known, math.sqrt(seen)
    prior = math.inf if contradiction else 2 * own * known**2
    weights = np.array([1 / prior**2, 1 / spread**2])
    square = max(float(weights @ (known**2, seen) / weights.sum()), (_LEAST * known) ** 2)
    focal = math.sqrt(square)
    share = min(1 / math.sqrt(float(weights.sum())) / (2 * square), _USUAL_SPREAD)
    off = _PRINCIPAL_OFF * size[0]
    middle = Pinhole(fx=focal, fy=focal, cx=x, cy=y)
    longer = focal * math.exp(share)
    doubted = replace(middle, fx=longer, fy=longer), replace(middle, cx=x + off), replace(middle, cy=y + off)
    return Seeing(
        pinhole=middle,
        doubted=doubted,
        share=share,
        contradiction=contradiction,
        is_noted=noted is not None and contradiction is None,
    )


def _by_perspective(variants: Sequence[Floats], x: float, y: float, off: float) -> tuple[float, float]:
    """The square of the focal length that a plane's homography shows, and its standard uncertainty."""
    matrix, *others = variants
    square = _focal_square(matrix, x, y)
    tried = [_focal_square(other, x, y) for other in others]
    tried += [_focal_square(matrix, x + off, y), _focal_square(matrix, x, y + off)]
    spread = math.sqrt(sum((other - square) ** 2 for other in tried))
    return (square, spread) if math.isfinite(spread) and spread > 0 else (0.0, math.inf)


def _focal_square(matrix: Floats, x: float, y: float) -> float:
    """The square of the focal length by which the plane's axes are square and equally long; infinite straight on.

    Both conditions are linear in 1/f^2; by least squares they weigh as the tilt makes them.
    """
    shifted = np.array([[1, 0, -x], [0, 1, -y], [0, 0, 1.0]]) @ matrix
    a, b = shifted[:, 0], shifted[:, 1]
    flat = np.array([a[:2] @ b[:2], a[:2] @ a[:2] - b[:2] @ b[:2]])
    deep = np.array([a[2] * b[2], a[2] ** 2 - b[2] ** 2])
    # flat + deep f^2 = 0; both sides divided so that noise, which is in flat, is not squared into the answer.
    return -float(deep @ flat) / float(deep @ deep) if deep.any() else math.inf
