"""SIMULATION: the photograph of the invented set's face, as a phone would make it.

Simulated: spot, misconvergence, a curved or flat face behind the marks, the camera's place, lens and lateral colour,
blur, noise, the phone's colours, JPEG. Not simulated: the shadow mask and its moire, reflections, hands that shake.
"""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.TiffImagePlugin import IFDRational
from scipy.ndimage import gaussian_filter, gaussian_filter1d, map_coordinates

from patterns.formats import Format
from trueraster.bench.simulated.camera import MARK_BITS, MARK_MM, PAPER_MM, Camera
from trueraster.bench.simulated.tube import Face, Guns, Raster

__all__ = ["WORDS", "Shown", "face_view", "photograph"]

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

WORDS = "SIMULATION: no real tube, no real camera"
_PAPER, _INK, _BEZEL, _GLASS = 0.85, 0.04, 0.07, 0.02
"""What they throw back of the room's light."""
_ROOM = 0.25
"""Level of the room's light on white paper, as a share of full scale."""
_EXPOSURE = 0.85
"""Where the brightest of the tube's light comes to lie."""
_SPOT_MM = (0.31, 0.29, 0.33)
"""Standard deviations of the guns' spots."""
_FALL_OFF = 0.2
"""Of light in the corners."""
_FILTERS = ((0.94, 0.05, 0.01), (0.04, 0.92, 0.04), (0.01, 0.06, 0.93))
"""What each channel (row) sees of red, green and blue light."""
_ELECTRONS, _READ = 12000.0, 6.0
"""At full scale, and the noise of reading them."""
_BLUR_PX = 0.7
_STEP = 16
"""Pixels between those for which places are worked out; between them they are straight."""
_QUALITY = 88
_EXIF, _EXPOSURE_TIME, _DESCRIPTION, _SOFTWARE, _FOCAL_35MM = 0x8769, 0x829A, 0x010E, 0x0131, 0xA405
"""Tags of EXIF 2.3 (from memory)."""


@dataclass(frozen=True, eq=False, slots=True, kw_only=True)
class Shown:
    """What the set is fed with, and what it makes of it."""

    frame: NDArray[np.uint8]
    """(lines, samples, 3): codes, full range."""
    format: Format
    raster: Raster
    guns: Guns
    face: Face


def photograph(shown: Shown, camera: Camera, rng: np.random.Generator) -> bytes:
    """A JPEG, which says that it is a simulation."""
    width, height = camera.size
    image = np.zeros((height, width, 3), np.float32)
    textures = _textures(shown)
    for channel in range(3):
        places, to_pixels = _mesh(camera, channel, shown.face)
        image[..., channel] = _lit(shown, textures[..., channel], channel, places, to_pixels)
    light = float(np.percentile(image[::3, ::5].max(axis=-1), 99.9))
    image *= np.float32(_EXPOSURE / max(light, 0.01))
    for channel in range(3):
        image[..., channel] += _room(camera, channel, shown.face)
    image = gaussian_filter(image, (_BLUR_PX, _BLUR_PX, 0))
    return _jpeg(_exposed(image, rng), shown.format)


def face_view(shown: Shown, height: int) -> bytes:
    """A PNG of the face as one looks at it, straight from the front: for the page, not for measuring."""
    face = shown.face
    scale = face.height_mm / height
    width = round(face.width_mm / scale)
    x = (np.arange(width) - (width - 1) / 2) * scale
    y = (np.arange(height) - (height - 1) / 2) * scale
    places = np.stack(np.meshgrid(x, y), axis=-1)
    textures = _textures(shown)
    lights = np.stack([_at(shown, textures[..., gun], gun, places) for gun in range(3)], axis=-1)
    lights = lights * (face.inside(places[..., 0], places[..., 1])[..., None] > 0) + 0.004
    file = io.BytesIO()
    Image.fromarray(_srgb(np.clip(lights, 0, 1).astype(np.float32))).save(file, "PNG")
    return file.getvalue()


def _textures(shown: Shown) -> Singles:
    """(fine lines, fine samples, 3): light that the guns' spots write over the raster; 1 is white of a right gun."""
    fmt = shown.format
    levels = shown.guns.lights(np.arange(256)[:, None].repeat(3, axis=1) / 255) / shown.guns.peak
    light = np.stack([levels[shown.frame[..., gun], gun] for gun in range(3)], axis=-1).astype(np.float32)
    fine = 4 if fmt.height <= 640 else 2
    half = np.abs(shown.raster.terms[1, 0, 1]), np.abs(shown.raster.terms[1, 1, 2])
    down = 2 * half[1] / fmt.picture.height / fine
    right = 2 * half[0] / fmt.picture.width / fine
    combed = np.zeros((fmt.height * fine, fmt.width, 3), np.float32)
    # A line is written where its middle lies.
    combed[fine // 2 :: fine] += light * np.float32(fine / 2)
    combed[fine // 2 - 1 :: fine] += light * np.float32(fine / 2)
    written = np.empty((fmt.height * fine, fmt.width * fine, 3), np.float32)
    for gun, spot in enumerate(_SPOT_MM):
        lines = gaussian_filter1d(combed[..., gun], spot / down, axis=0, mode="constant")
        written[..., gun] = gaussian_filter1d(lines.repeat(fine, axis=1), spot / right, axis=1, mode="constant")
    return written


def _at(shown: Shown, texture: Singles, gun: int, places: Floats) -> Singles:
    """Light of a gun at places (..., 2) in mm."""
    return _sampled(shown, texture, shown.raster.points(places, gun))


def _sampled(shown: Shown, texture: Singles, points: Floats) -> Singles:
    """Light at picture points (..., 2)."""
    fmt = shown.format
    fine = texture.shape[0] / fmt.height
    column = (fmt.picture.left + (points[..., 0] + 1) / 2 * fmt.picture.width) * fine - 0.5
    row = (fmt.picture.top + (points[..., 1] + 1) / 2 * fmt.picture.height) * fine - 0.5
    return np.asarray(map_coordinates(texture, (row, column), order=1, mode="constant"), np.float32)


Spread = tuple[Singles, Singles]


def _mesh(camera: Camera, channel: int, face: Face) -> tuple[Floats, Spread]:
    """(rows, columns, 2): places on the face of every 16th pixel; and the way from such a mesh to all pixels."""
    width, height = camera.size
    x, y = (np.arange(0, side + _STEP, _STEP, dtype=np.float64) for side in (width, height))
    places = camera.on_face(np.stack(np.meshgrid(x, y), axis=-1), channel, face)
    return places, (_between(height, len(y)), _between(width, len(x)))


def _between(pixels: int, nodes: int) -> Singles:
    """(pixels, nodes): weights of the two nodes beside each pixel."""
    place = np.arange(pixels) / _STEP
    away = np.abs(place[:, None] - np.arange(nodes)[None, :])
    return np.asarray(np.maximum(0, 1 - away), np.float32)


def _spread(mesh: Floats, way: Spread) -> Singles:
    down, right = way
    return np.asarray(down @ mesh.astype(np.float32) @ right.T)


def _lit(shown: Shown, texture: Singles, gun: int, places: Floats, way: Spread) -> Singles:
    """(height, width): light of a gun in the photograph."""
    points = shown.raster.points(places, gun)
    light = _sampled(shown, texture, np.stack([_spread(points[..., i], way) for i in range(2)], axis=-1))
    away = (places**2).sum(axis=-1) / ((shown.face.width_mm**2 + shown.face.height_mm**2) / 4)
    light *= _spread(1 - _FALL_OFF * np.clip(away, 0, 1.5), way)
    return np.asarray(light * _visible(shown.face, places, way))


def _visible(face: Face, places: Floats, way: Spread) -> Singles:
    """(height, width): the share of each pixel that shows glass."""
    pixel = float(np.hypot(*(places[1, 1] - places[1, 0]))) / _STEP
    inside = _spread(face.inside(places[..., 0], places[..., 1]) / pixel, way)
    return np.asarray(np.clip(inside + 0.5, 0, 1))


def _room(camera: Camera, channel: int, face: Face) -> Singles:
    """(height, width): the room's light on the set and the marks."""
    places, way = _mesh(camera, channel, face)
    plane = _BEZEL + (_GLASS - _BEZEL) * _visible(face, places, way)
    half = np.array(face.marks_mm) / 2
    for bits, (x, y) in zip(MARK_BITS, ((-1, -1), (1, -1), (1, 1), (-1, 1)), strict=True):
        _put_mark(plane, camera, channel, bits, half * (x, y))
    height, width = plane.shape
    plane *= np.linspace(0.85, 1.15, width, dtype=np.float32)
    return np.asarray(plane * np.float32(_ROOM / _PAPER), np.float32).reshape(height, width)


def _put_mark(plane: Singles, camera: Camera, channel: int, bits: tuple[str, ...], middle: Floats) -> None:
    """Draw a mark's paper, at three by three samples a pixel."""
    fine = 3
    ends = np.array([(*(middle + PAPER_MM * 0.55 * np.array((i, j))), 0.0) for i in (-1, 1) for j in (-1, 1)])
    seen = camera.project(ends, channel)
    left, top = np.maximum(np.floor(seen.min(axis=0)).astype(int), 0)
    right, bottom = np.minimum(np.ceil(seen.max(axis=0)).astype(int) + 1, camera.size)
    if right <= left or bottom <= top:
        return
    x = left + (np.arange((right - left) * fine) + 0.5) / fine - 0.5
    y = top + (np.arange((bottom - top) * fine) + 0.5) / fine - 0.5
    away = camera.on_marks(np.stack(np.meshgrid(x, y), axis=-1), channel) - middle
    modules = np.pad(np.array([[int(bit) for bit in row] for row in bits]), 1)
    place = np.floor((away / MARK_MM + 0.5) * len(modules)).astype(int)
    inside = ((place >= 0) & (place < len(modules))).all(axis=-1)
    column, row = np.clip(place, 0, len(modules) - 1)[..., 0], np.clip(place, 0, len(modules) - 1)[..., 1]
    white = ~inside | (modules[row, column] == 1)
    paper = (np.abs(away).max(axis=-1) <= PAPER_MM / 2).astype(np.float32)
    sheet = np.where(white, _PAPER, _INK).astype(np.float32) * paper
    shape = (bottom - top, fine, right - left, fine)
    cover, light = (part.reshape(shape).mean(axis=(1, 3)) for part in (paper, sheet))
    area = plane[top:bottom, left:right]
    area[:] = area * (1 - cover) + light


def _exposed(image: Singles, rng: np.random.Generator) -> NDArray[np.uint8]:
    """Codes of linear light: colour filters, noise, sRGB."""
    light = image @ np.array(_FILTERS, np.float32).T
    spread = np.sqrt(np.maximum(light, 0) / _ELECTRONS + (_READ / _ELECTRONS) ** 2)
    light += spread * rng.standard_normal(light.shape, np.float32)
    return _srgb(np.clip(light, 0, 1))


def _srgb(light: Singles) -> NDArray[np.uint8]:
    # IEC 61966-2-1: sRGB's transfer function.
    shown = np.arange(65536) / 65535
    curve = np.where(shown <= 0.0031308, shown * 12.92, 1.055 * shown ** (1 / 2.4) - 0.055)
    codes = np.rint(curve * 255).astype(np.uint8)
    return np.asarray(codes[(light * 65535 + 0.5).astype(np.uint16)])


def _jpeg(codes: NDArray[np.uint8], fmt: Format) -> bytes:
    exif = Image.Exif()
    exif[_DESCRIPTION], exif[_SOFTWARE] = WORDS, WORDS
    part = exif.get_ifd(_EXIF)
    # A whole frame of an interlaced format, two of a progressive one.
    part[_EXPOSURE_TIME] = IFDRational(2 / float(fmt.field_rate))
    part[_FOCAL_35MM] = 50
    file = io.BytesIO()
    Image.fromarray(codes).save(file, "JPEG", quality=_QUALITY, exif=exif)
    return file.getvalue()
