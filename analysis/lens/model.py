"""A lens as it was calibrated: OpenCV's model of its distortion, and how red and blue are scaled against green.

A photograph's points are made `straight`, as a pinhole with the same matrix would have them, or `bent`, as they are in
the photograph. Pixels are (x, y), pixel centres at whole numbers; guns are 0 red, 1 green, 2 blue.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analysis.photo.notes import sensor_size, turning

__all__ = ["PARAMETERS", "Lens"]

Floats = NDArray[np.float64]

PARAMETERS = ("fx", "fy", "cx", "cy", "k1", "k2", "p1", "p2", "k3")
"""The order of `Lens.covariance`."""
_LARGEST = 30_000
"""Pixels of a side."""
_ROUNDING = 1.5
"""Pixels by which a scaled photograph's width may differ from the lens' aspect ratio."""
_FOCAL = (0.2, 100.0)
"""Focal lengths that are believed, in half diagonals of the picture."""
_STRONGEST_FRINGE = 0.02
"""Of a and b: a hundred times what a poor lens has (common practice, no source)."""
_ROUNDS = 12
"""Newton steps; three are enough inside the picture."""


def _zero() -> Floats:
    return np.zeros((len(PARAMETERS), len(PARAMETERS)))


@dataclass(frozen=True, eq=False, kw_only=True)
class Lens:
    """A calibrated camera, for photographs of one size.

    Raises:
        ValueError: the figures are those of no lens: nothing would be seen twice, or a point bent beyond telling.
    """

    width: int
    height: int
    fx: float
    fy: float
    cx: float
    cy: float
    distortion: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 0.0, 0.0)
    """OpenCV's k1, k2, p1, p2, k3."""
    red: tuple[float, float] = (0.0, 0.0)
    """(a, b): red's point lies at 1 + a + b (r/r0)^2 times green's distance r from the principal point, in the
    photograph as it is; r0 is half the picture's diagonal."""
    blue: tuple[float, float] = (0.0, 0.0)
    fringe_sigma: float = 0.0
    """Standard uncertainty of red's and of blue's scale against green's."""
    covariance: Floats = field(default_factory=_zero)
    """(9, 9) of `PARAMETERS`, as found from the calibration's residuals."""
    rms_px: float = 0.0
    """Of the calibration's corners about the model."""

    def __post_init__(self) -> None:
        fault = _fault(self)
        if fault:
            raise ValueError(f"not the figures of a lens: {fault}")

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.width, self.height

    @property
    def half_diagonal(self) -> float:
        """r0 of the chromatic part, in pixels."""
        return math.hypot(self.width, self.height) / 2

    @property
    def matrix(self) -> Floats:
        """(3, 3): OpenCV's camera matrix."""
        return np.array([[self.fx, 0, self.cx], [0, self.fy, self.cy], [0, 0, 1.0]])

    def straight(self, points: ArrayLike, gun: int = 1) -> Floats:
        """Pixels (..., 2) of a photograph, as a pinhole with the same matrix would have them.

        NaN where the model is not defined, which is far outside the photograph only.
        """
        pixels = np.asarray(points, np.float64)
        middle, scale = self._axes()
        away = self._unfringed(pixels - middle, gun) / scale
        return np.asarray(_undistorted(away, self.distortion) * scale + middle)

    def bent(self, points: ArrayLike, gun: int = 1) -> Floats:
        """The inverse of `straight`."""
        pixels = np.asarray(points, np.float64)
        middle, scale = self._axes()
        away = _distorted((pixels - middle) / scale, self.distortion)[0] * scale
        a, b = self._fringe(gun)
        square = (away**2).sum(axis=-1, keepdims=True) / self.half_diagonal**2
        return np.asarray(middle + away * (1 + a + b * square))

    def _axes(self) -> tuple[Floats, Floats]:
        return np.array([self.cx, self.cy]), np.array([self.fx, self.fy])

    def _fringe(self, gun: int) -> tuple[float, float]:
        return (self.red, (0.0, 0.0), self.blue)[gun]

    def _unfringed(self, away: Floats, gun: int) -> Floats:
        """Green's places about the principal point, from a gun's."""
        a, b = self._fringe(gun)
        green = away
        # Each round wins three digits: the scale differs from 1 by some thousandths.
        for _ in range(5 if a or b else 0):
            square = (green**2).sum(axis=-1, keepdims=True) / self.half_diagonal**2
            green = away / (1 + a + b * square)
        return green

    def corner_percent(self) -> tuple[float, float]:
        """Distortion at the picture's corner, in % of the distance from the middle, and its standard uncertainty.

        Positive where a corner lies further out than a pinhole would have it (pincushion). Of a straight point half the
        diagonal away from the principal point, radial part only.
        """
        reach = self.half_diagonal / math.sqrt(abs(self.fx * self.fy))
        powers = np.array([reach**2, reach**4, reach**6])
        k1, k2, _, _, k3 = self.distortion
        which = [PARAMETERS.index(name) for name in ("k1", "k2", "k3")]
        spread = powers @ self.covariance[np.ix_(which, which)] @ powers
        return 100 * float(powers @ (k1, k2, k3)), 100 * math.sqrt(max(spread, 0.0))

    def doubtful(self) -> list[Lens]:
        """Lenses that differ from this one by one standard uncertainty, along independent directions.

        What a result's variance has from the calibration is the sum of the squared differences that they make.
        """
        # In units of their own uncertainties, since pixels and coefficients differ by orders of magnitude.
        own = np.sqrt(np.clip(np.diag(self.covariance), 0, None))
        known = own > 0
        found = [
            replace(self, red=(self.red[0] + self.fringe_sigma, self.red[1])),
            replace(self, blue=(self.blue[0] + self.fringe_sigma, self.blue[1])),
        ]
        found = found if self.fringe_sigma else []
        if not known.any():
            return found
        scaled = self.covariance[np.ix_(known, known)] / np.outer(own[known], own[known])
        values, vectors = np.linalg.eigh(scaled)
        for value, vector in zip(values, vectors.T, strict=True):
            if value > 1e-9:
                step = np.zeros(len(PARAMETERS))
                step[known] = math.sqrt(value) * vector * own[known]
                found.append(self._moved(step))
        return found

    def _moved(self, step: Floats) -> Lens:
        fx, fy, cx, cy, *rest = (np.array([self.fx, self.fy, self.cx, self.cy, *self.distortion]) + step).tolist()
        return replace(self, fx=fx, fy=fy, cx=cx, cy=cy, distortion=tuple(rest))

    def for_size(self, width: int, height: int) -> Lens:
        """The same lens for photographs of another size and the same shape.

        Raises:
            ValueError: the shape is another: such photographs are cropped.
        """
        if (width, height) == self.size:
            return self
        if abs(width - self.width * height / self.height) > _ROUNDING:
            raise ValueError(
                f"the lens was calibrated with photographs of {self.width}x{self.height}, this one has "
                f"{width}x{height}: of another shape, so cropped or taken otherwise; take both alike"
            )
        x, y = width / self.width, height / self.height
        scale = np.array([x, y, x, y, 1, 1, 1, 1, 1.0])
        return replace(
            self,
            width=width,
            height=height,
            fx=self.fx * x,
            fy=self.fy * y,
            cx=(self.cx + 0.5) * x - 0.5,
            cy=(self.cy + 0.5) * y - 0.5,
            covariance=self.covariance * np.outer(scale, scale),
            rms_px=self.rms_px * x,
        )

    def for_photo(self, size: tuple[int, int], orientation: int | None = None) -> Lens:
        """The lens for a photograph of this (upright) size, which EXIF says was turned so to be upright.

        A lens is kept as the sensor sees. Where nothing tells which way a photograph was turned, and its shape says
        that it was, the lens is taken as centred: the middle between the two ways.

        Raises:
            ValueError: as of `for_size`.
        """
        if orientation is not None and self._is_like(sensor_size(size, orientation)):
            return self.for_size(*sensor_size(size, orientation)).turned(orientation)
        if self._is_like(size):
            return self.for_size(*size)
        if self._is_like((size[1], size[0])):
            k1, k2, _, _, k3 = self.distortion
            sensor = self.for_size(size[1], size[0])
            off = np.zeros(len(PARAMETERS))
            off[2:4] = sensor.cx - (sensor.width - 1) / 2, sensor.cy - (sensor.height - 1) / 2
            centred = replace(
                sensor,
                cx=(sensor.width - 1) / 2,
                cy=(sensor.height - 1) / 2,
                distortion=(k1, k2, 0.0, 0.0, k3),
                covariance=sensor.covariance + np.diag(off**2),
            )
            return centred.turned(6)
        return self.for_size(*size)

    def _is_like(self, size: tuple[int, int]) -> bool:
        return abs(size[0] - self.width * size[1] / self.height) <= _ROUNDING

    def turned(self, orientation: int) -> Lens:
        """The lens of the sensor's picture made upright as EXIF's number says."""
        transposed, mirror_x, mirror_y = turning(orientation)
        lens = self
        if transposed:
            k1, k2, p1, p2, k3 = lens.distortion
            order = [1, 0, 3, 2, 4, 5, 7, 6, 8]
            lens = replace(
                lens,
                width=lens.height,
                height=lens.width,
                fx=lens.fy,
                fy=lens.fx,
                cx=lens.cy,
                cy=lens.cx,
                distortion=(k1, k2, p2, p1, k3),
                covariance=lens.covariance[np.ix_(order, order)],
            )
        sign = np.ones(len(PARAMETERS))
        k1, k2, p1, p2, k3 = lens.distortion
        cx, cy = lens.cx, lens.cy
        if mirror_x:
            cx, p2 = lens.width - 1 - cx, -p2
            sign[[2, 7]] = -1
        if mirror_y:
            cy, p1 = lens.height - 1 - cy, -p1
            sign[[3, 6]] = -1
        turned = lens.covariance * np.outer(sign, sign)
        return replace(lens, cx=cx, cy=cy, distortion=(k1, k2, p1, p2, k3), covariance=turned)


def _distorted(away: Floats, distortion: tuple[float, ...]) -> tuple[Floats, Floats]:
    """Normalised points (..., 2) as OpenCV's model bends them, and the derivatives (..., 2, 2)."""
    k1, k2, p1, p2, k3 = distortion
    x, y = away[..., 0], away[..., 1]
    square = x * x + y * y
    radial = 1 + square * (k1 + square * (k2 + square * k3))
    slope = 2 * (k1 + square * (2 * k2 + square * 3 * k3))
    bent = np.stack(
        (
            x * radial + 2 * p1 * x * y + p2 * (square + 2 * x * x),
            y * radial + p1 * (square + 2 * y * y) + 2 * p2 * x * y,
        ),
        axis=-1,
    )
    cross = x * y * slope + 2 * p1 * x + 2 * p2 * y
    along_x = radial + x * x * slope + 2 * p1 * y + 6 * p2 * x
    along_y = radial + y * y * slope + 6 * p1 * y + 2 * p2 * x
    return bent, np.stack((np.stack((along_x, cross), -1), np.stack((cross, along_y), -1)), -2)


def _undistorted(bent: Floats, distortion: tuple[float, ...]) -> Floats:
    """The inverse of `_distorted` by Newton's method; NaN where it finds nothing."""
    if not any(distortion):
        return bent
    away = bent
    with np.errstate(all="ignore"):
        for _ in range(_ROUNDS):
            there, slopes = _distorted(away, distortion)
            rest = bent - there
            if not np.nanmax(np.abs(rest), initial=0.0) > 1e-13:
                break
            (a, b), (c, d) = np.moveaxis(slopes, (-2, -1), (0, 1))
            step = np.stack((d * rest[..., 0] - b * rest[..., 1], a * rest[..., 1] - c * rest[..., 0]), axis=-1)
            away = away + step / (a * d - b * c)[..., None]
        missed = np.abs(_distorted(away, distortion)[0] - bent).max(axis=-1, keepdims=True, initial=0.0)
        return np.where(missed < 1e-9, away, np.nan)


def _fault(lens: Lens) -> str:
    """Why these are no figures of a lens, or nothing."""
    values = [lens.fx, lens.fy, lens.cx, lens.cy, *lens.distortion, *lens.red, *lens.blue, lens.rms_px]
    if not (all(map(math.isfinite, values)) and np.isfinite(lens.covariance).all()):
        return "a number without an end"
    if not (0 < lens.width <= _LARGEST and 0 < lens.height <= _LARGEST):
        return f"its picture should have 1 to {_LARGEST} pixels on each side"
    reach = lens.half_diagonal
    if not all(_FOCAL[0] * reach <= f <= _FOCAL[1] * reach for f in (lens.fx, lens.fy)):
        return "the focal length cannot be so for this picture"
    if not (0 <= lens.cx < lens.width and 0 <= lens.cy < lens.height):
        return "the principal point lies outside the picture"
    if max(map(abs, (*lens.red, *lens.blue))) > _STRONGEST_FRINGE:
        return "red and blue lie too far from green"
    if not 0 <= lens.fringe_sigma <= _STRONGEST_FRINGE:
        return "the uncertainties cannot be so"
    if lens.rms_px < 0 or lens.covariance.shape != (len(PARAMETERS), len(PARAMETERS)):
        return "the uncertainties cannot be so"
    if not np.allclose(lens.covariance, lens.covariance.T) or np.diag(lens.covariance).min() < 0:
        return "the uncertainties cannot be so"
    return "" if _is_one_to_one(lens) else "the distortion folds the picture over itself"


def _is_one_to_one(lens: Lens) -> bool:
    """Whether the whole picture can be made straight: bent radii rise up to its furthest corner."""
    corners = np.array([(x, y) for x in (0, lens.width - 1) for y in (0, lens.height - 1)], dtype=float)
    away = (corners - (lens.cx, lens.cy)) / (lens.fx, lens.fy)
    furthest = float(np.hypot(*away.T).max())
    k1, k2, p1, p2, k3 = lens.distortion
    if max(abs(p1), abs(p2)) * furthest > 0.1:
        return False
    radius = np.linspace(0, 2 * furthest, 400)
    with np.errstate(all="ignore"):
        bent = radius * (1 + k1 * radius**2 + k2 * radius**4 + k3 * radius**6)
    reached = np.flatnonzero(bent >= furthest)
    return bool(len(reached)) and bool(np.all(np.diff(bent[: reached[0] + 1]) > 0))
