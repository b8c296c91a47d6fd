"""The light of a photograph made small, and what the camera and the room add to it taken away.

Scan lines, shadow mask and the moire that both make with the camera's samples are finer than anything that is
measured on a plain field. Means are taken in linear light and in several small steps: each filter of (1 4 6 4 1)/16
damps what would fold into the next, coarser samples, which one large block would not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.photo.file import Photo
from render.errors import FileError

__all__ = ["FlatField", "SmallLight", "ambient_light", "corrected", "flat_field", "small_light"]

Floats = NDArray[np.float64]
Light = NDArray[np.float32]

_LONGEST = 800
"""Samples of the longer side of the small picture, at most."""
_BAND = 512
"""Rows that are made linear at a time: an even number, for the sake of memory."""
_MOST_CLIPPED_FLAT = 0.005
"""Clipped share of a flat-field photograph from which it is refused."""
_DARKEST_FLAT = 0.02
"""Linear light of a flat field's middle below which its noise would spoil the figures (code 39 of 255)."""
_DEEPEST_FLAT = 0.2
"""Least light of a flat field as a share of its most: lenses lose up to two stops in the corners (common practice, no
source), more is a light that was not even."""
_MOST_TILT = 0.25
"""Rise across a flat field from one side to the other: a lens's loss lies round the middle and does not rise."""
_ROUGHEST_FLAT = 0.04
"""Standard deviation of a flat field from its own smooth surface, relative: more is a picture of something."""
_FLAT_DEGREE = 6
_FLAT_STEP = 8
"""Every so many samples go into a flat field's surface: they are more than enough."""
_FLAT_BLUR = 0.02
"""Standard deviation of the filter that smooths a flat field, as a share of the picture's width."""


@dataclass(frozen=True, eq=False)
class SmallLight:
    """A photograph in linear light, made small by a power of two."""

    path: Path
    photo_size: tuple[int, int]
    """Width and height of the photograph in pixels."""
    factor: int
    light: Light
    """(rows, columns, 3): linear light, 0 to 1."""
    clipped: Light
    """(rows, columns): the share of clipped pixels in each sample."""

    def to_photo(self, points: Floats) -> Floats:
        """Pixels of the photograph for samples (..., 2) of the small picture, both (x, y)."""
        # The first halving takes the mean of two, so that sample 0 lies at pixel 0.5; the others keep sample 0.
        return np.asarray(points * self.factor + 0.5, np.float64)

    def to_small(self, points: Floats) -> Floats:
        """The inverse of `to_photo`."""
        return np.asarray((points - 0.5) / self.factor, np.float64)


@dataclass(frozen=True, eq=False)
class FlatField:
    """How much of the light the camera keeps at each place, relative to the middle of the picture."""

    photo_size: tuple[int, int]
    share: Light
    """(rows, columns, 3) of the small picture."""
    tilt: tuple[float, float]
    """Relative rise across the whole width and down the whole height: of the lens's mounting, or of uneven light."""


def small_light(photo: Photo) -> SmallLight:
    """The photograph in linear light, not more than 800 samples long."""
    width, height = photo.size
    halvings = max(1, math.ceil(math.log2(max(width, height) / _LONGEST)))
    rows, columns = height // 2, width // 2
    light = np.empty((rows, columns, 3), np.float32)
    clipped = np.empty((rows, columns), np.float32)
    # OpenCV's own order of the channels, which lies in one piece in memory.
    codes = photo.codes[: 2 * rows, : 2 * columns, ::-1]
    top = (photo.clip_code - 1,) * 3
    for start in range(0, 2 * rows, _BAND):
        band = np.ascontiguousarray(codes[start : start + _BAND])
        part = slice(start // 2, start // 2 + len(band) // 2)
        size = columns, len(band) // 2
        light[part] = cv2.resize(_linear(band, photo), size, interpolation=cv2.INTER_AREA)
        clipped[part] = cv2.resize(255 - cv2.inRange(band, (0, 0, 0), top), size, interpolation=cv2.INTER_AREA)
    small: Any = light
    share: Any = clipped / np.float32(255)
    for _ in range(halvings - 1):
        small, share = cv2.pyrDown(small), cv2.pyrDown(share)
    return SmallLight(photo.path, photo.size, 1 << halvings, np.ascontiguousarray(small[..., ::-1]), share)


def _linear(band: NDArray[Any], photo: Photo) -> Any:
    return cv2.LUT(band, photo.curve) if band.dtype == np.uint8 else photo.curve[band]


def ambient_light(photo: Photo, size: tuple[int, int]) -> SmallLight:
    """The photograph of the same view with the set off; `size` is that of the field's photograph.

    Raises:
        FileError: it is of another size.
    """
    _same_size(photo, size, "ambient")
    return small_light(photo)


def flat_field(photo: Photo, size: tuple[int, int]) -> FlatField:
    """The camera's own loss of light from a photograph of an evenly lit surface; `size` is that of the field's
    photograph.

    What is kept is a surface of the sixth degree and, over it, what is left when noise is blurred away.

    Raises:
        FileError: it is of another size, clipped, too dark, or not even.
    """
    _same_size(photo, size, "flat-field")
    small = small_light(photo)
    share = float(small.clipped.mean())
    if share > _MOST_CLIPPED_FLAT:
        raise FileError(
            f"{photo.path}: {100 * share:.1f} % of the flat-field photograph is clipped; take it with less exposure"
        )
    rows, columns = small.light.shape[:2]
    middle = small.light[rows * 2 // 5 : rows * 3 // 5, columns * 2 // 5 : columns * 3 // 5].mean(axis=(0, 1))
    if middle.min() < _DARKEST_FLAT:
        raise FileError(
            f"{photo.path}: the flat-field photograph is too dark ({100 * middle.min():.1f} % of full light in its "
            "middle); its noise would be seen in the figures"
        )
    x, y = np.linspace(-1, 1, columns), np.linspace(-1, 1, rows)
    surface = _surface(small.light, x, y)
    rest = small.light - surface
    blurred = cv2.GaussianBlur(rest, (0, 0), _FLAT_BLUR * columns, borderType=cv2.BORDER_REFLECT)
    smooth = surface + blurred
    # Noise of single samples is no roughness.
    _check_even(photo.path, smooth, float((cv2.blur(rest, (5, 5)) / middle).std()))
    light = smooth.sum(axis=2) / middle.sum()
    tilt = float(light.mean(axis=0) @ x / (x @ x) * 2), float(light.mean(axis=1) @ y / (y @ y) * 2)
    if max(map(abs, tilt)) > _MOST_TILT:
        raise FileError(
            f"{photo.path}: the flat-field photograph rises by {100 * max(map(abs, tilt)):.0f} % from one side to the "
            "other; the surface was not evenly lit"
        )
    return FlatField(photo.size, smooth / middle, tilt)


def _surface(light: Light, x: Floats, y: Floats) -> Light:
    """(rows, columns, 3): the surface of the sixth degree through light at columns x and rows y, both from -1 to 1."""
    powers = [(i, j) for i in range(_FLAT_DEGREE + 1) for j in range(_FLAT_DEGREE + 1 - i)]
    across, down = (np.vander(axis, _FLAT_DEGREE + 1, increasing=True) for axis in (x, y))
    thin = slice(None, None, _FLAT_STEP)
    terms = np.stack([np.outer(down[thin, j], across[thin, i]).ravel() for i, j in powers], axis=-1)
    found, *_ = np.linalg.lstsq(terms, light[thin, thin].reshape(-1, 3).astype(np.float64), rcond=None)
    spread = np.zeros((3, _FLAT_DEGREE + 1, _FLAT_DEGREE + 1))
    for (i, j), values in zip(powers, found, strict=True):
        spread[:, j, i] = values
    return np.moveaxis(down @ spread @ across.T, 0, -1).astype(np.float32)


def _check_even(path: Path, smooth: Light, rough: float) -> None:
    light = smooth.sum(axis=2)
    least = float(light.min() / light.max())
    if rough > _ROUGHEST_FLAT:
        raise FileError(f"{path}: the flat-field photograph shows more than an evenly lit, plain surface")
    if least < _DEEPEST_FLAT or smooth.min() <= 0:
        raise FileError(
            f"{path}: the flat-field photograph falls to {100 * max(least, 0):.0f} % of its brightest part; the "
            "surface was not evenly lit"
        )


def _same_size(photo: Photo, size: tuple[int, int], what: str) -> None:
    if photo.size != size:
        raise FileError(
            f"{photo.path}: the {what} photograph has {photo.size[0]}x{photo.size[1]} pixels, the field's has "
            f"{size[0]}x{size[1]}; both have to come from the same camera in the same settings"
        )


def corrected(field: SmallLight, ambient: SmallLight | None, flat: FlatField | None) -> Light:
    """The tube's own light, (rows, columns, 3): the room's taken off, then the camera's loss made good."""
    light = field.light if ambient is None else field.light - ambient.light
    return light if flat is None else light / flat.share
