"""Where the camera was before the plane of the marks."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.errors import InputError
from analysis.lens.model import Lens

__all__ = ["Pinhole", "eye_of", "homography", "pinholes_of", "through", "usual_principal"]

Floats = NDArray[np.float64]

_PRINCIPAL_OFF = 0.01
"""Standard uncertainty of where the principal point lies without a calibration, as a share of the picture's width
(common practice, no source)."""
_TOLD_BY_TILT = 0.04
"""Relative standard uncertainty up to which the focal length from perspective is better than a noted one."""
_HARDLY_TOLD = 0.15
_NOTED = 0.02
"""Relative standard uncertainty of a noted focal length; whole millimetres are noted, and lenses breathe."""


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


def pinholes_of(
    variants: Callable[[], Sequence[Floats]], size: tuple[int, int], noted_px: float | None
) -> tuple[Pinhole, tuple[Pinhole, ...]]:
    """How an uncalibrated camera sees, and that off by one standard uncertainty in three ways.

    `variants` gives the plane's homography and those that differ by one standard uncertainty. Pixels are taken as
    square and the principal point as the picture's middle. The focal length is that of perspective, where the tilt is
    enough to tell it, else what the file notes.

    Raises:
        InputError: nothing shows the focal length.
    """
    x, y = usual_principal(size)
    off = _PRINCIPAL_OFF * size[0]
    matrix, *others = variants()
    focal = _focal(matrix, x, y)
    sigma = math.inf
    if focal is not None:
        tried = [_focal(other, x, y) for other in others] + [_focal(matrix, x + off, y), _focal(matrix, x, y + off)]
        # One that gives no focal length says that it may be anything.
        sigma = math.sqrt(sum((math.inf if other is None else other - focal) ** 2 for other in tried))
    told = math.inf if focal is None else sigma / focal
    if noted_px is not None and told > _TOLD_BY_TILT:
        focal, sigma = noted_px, _NOTED * noted_px
    elif focal is None or told > _HARDLY_TOLD:
        raise InputError(
            "nothing shows how far away the camera was: the photograph notes no focal length, and is taken too "
            "straight to measure it; calibrate the lens ('trueraster measure lens') and give its file",
            fields=("glass_radius_mm", "depth_mm"),
            helps=("lens",),
        )
    middle = Pinhole(fx=focal, fy=focal, cx=x, cy=y)
    return middle, (
        replace(middle, fx=focal + sigma, fy=focal + sigma),
        replace(middle, cx=x + off),
        replace(middle, cy=y + off),
    )


def _focal(matrix: Floats, x: float, y: float) -> float | None:
    """The focal length by which the plane's axes are square and equally long; None where none does it.

    Both conditions are linear in 1/f^2; by least squares they weigh as the tilt makes them.
    """
    shifted = np.array([[1, 0, -x], [0, 1, -y], [0, 0, 1.0]]) @ matrix
    a, b = shifted[:, 0], shifted[:, 1]
    flat = np.array([a[:2] @ b[:2], a[:2] @ a[:2] - b[:2] @ b[:2]])
    deep = np.array([a[2] * b[2], a[2] ** 2 - b[2] ** 2])
    # flat + deep f^2 = 0; both sides divided so that noise, which is in flat, is not squared into the answer.
    square = -float(deep @ flat) / float(deep @ deep) if deep.any() else -1.0
    return math.sqrt(square) if square > 0 else None
