"""SIMULATION: the photograph of a tube, from the light behind its mask to the codes of a file.

Every gun's light has the place that the lens gives to its colour. Light is reckoned at two to four samples a pixel and
direction, blurred there as the lens does it, and only then summed into pixels, so that the mask's moire is what a
camera would see. Tiles without light are passed over.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from patterns.formats import Format
from patterns.scene import Scene
from tests.trials.photos.camera import Camera
from tests.trials.photos.light import light_of, mask_table, seen_of_lines
from tests.trials.photos.lookout import TILE, Bools, Floats, Indices, Lookout, Place, Singles, tile_weights
from tests.trials.photos.scene import BEZEL, GLASS, PAPER, Marks, Shot, mark_textures
from tests.trials.photos.tube import MaskKind, Tube

__all__ = ["EXPOSURE_TIME", "expose", "phone", "photograph", "save"]


EXPOSURE_TIME, _FOCAL_35MM = 0x829A, 0xA405
"""Tags of EXIF 2.3 (from memory)."""
_STRIP = 8
"""Rows of tiles that are reckoned at once."""
_CHUNK = 200_000
"""Samples that are reckoned at once: they fit into a processor's cache."""
_COARSE = 16
"""Pixels over which what is soft is reckoned."""


def _glass_places(tube: Tube, camera: Camera, marks: Marks, channel: int) -> Place:
    radius = tube.glass_radius_mm
    if radius is None:
        return lambda pixels: camera.on_plane(pixels, channel, tube.depth_mm)
    return lambda pixels: camera.on_sphere(pixels, channel, radius, marks.corner, tube.curved, tube.depth_mm)


def _fineness(tube: Tube, pixel_mm: float) -> int:
    """Samples a pixel and direction: enough for the mask, or for the spot where there is none."""
    finest = tube.mask.pitch_mm / 3.4 if tube.mask.kind is not MaskKind.NONE else 0.5 * min(tube.spot_mm)
    return int(np.clip(np.ceil(pixel_mm / finest), 2, 4))


def _chunks(where: Indices, size: int) -> Iterator[Indices]:
    step = max(1, _CHUNK // size)
    for start in range(0, len(where), step):
        yield where[start : start + step]


def _tube_plane(tube: Tube, camera: Camera, marks: Marks, fmt: Format, scene: Scene, gun: int, shot: Shot) -> Singles:
    """(height, width): the light of one gun in the photograph; 1 is the mean of a white field."""
    glass = Lookout(camera.size, _glass_places(tube, camera, marks, gun))
    fine = _fineness(tube, glass.pixel_mm)
    often = None if shot.fields is None else seen_of_lines(fmt, shot.fields, shot.start, shot.rolling)
    light, mask = light_of(tube, fmt, scene, gun, often), mask_table(tube.mask, gun, glass.pixel_mm / fine)
    shown = tube.picture_points(glass.mesh, gun)
    entries = np.stack((light.u.entries(shown[..., 0]), light.v.entries(shown[..., 1])), axis=-1)
    if mask is not None:
        entries = np.concatenate((entries, mask.entries(glass.mesh)), axis=-1)
    weights = tile_weights(fine)

    def lit(where: Indices) -> Singles:
        u, v, *holes = (
            glass.samples(entries[..., k], where, weights).astype(np.intp) for k in range(entries.shape[-1])
        )
        value = light.at(u, v)
        if mask is not None:
            value *= mask.at(*holes)
        return value

    low, high = (bound.astype(np.intp) for bound in glass.bounds(entries[..., :2]))
    active = light.lit(low[..., 0], high[..., 0], low[..., 1], high[..., 1]) & _near_glass(tube, glass)
    # A wide blur leaves nothing that a pixel could miss: most of it is done in pixels, which is quicker.
    first = min(camera.blur_px, 1.5)
    plane = _blurred_tiles(active, lit, fine, first)
    if camera.blur_px > first:
        cv2.GaussianBlur(plane, (0, 0), float(np.sqrt(camera.blur_px**2 - first**2)), dst=plane)
    return plane[: camera.size[1], : camera.size[0]]


def _blurred_tiles(active: Bools, lit: Callable[[Indices], Singles], fine: int, blur: float) -> Singles:
    """Tiles of fine samples, blurred by the lens (pixels) and summed into pixels; a few rows of tiles at once."""
    rows, columns = active.shape
    side, reach = TILE * fine, int(np.ceil(4 * blur)) * fine
    kernel = _lens(fine, blur, reach)
    width = side + 2 * reach
    near = cv2.dilate(active.astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    plane = np.zeros((rows, TILE, columns, TILE), np.float32)
    # The strip holds one row of tiles more above and below, since a blur reaches into them.
    strip = np.zeros((_STRIP + 2, side, columns * side + 2 * reach), np.float32)
    inner = strip[:, :, reach : reach + columns * side].reshape(_STRIP + 2, side, columns, side)
    windows = np.lib.stride_tricks.sliding_window_view(strip.reshape((_STRIP + 2) * side, -1), (width, width))
    for top in range(0, rows, _STRIP):
        if top:
            strip[:2] = strip[-2:]
        strip[2 if top else 0 :] = 0
        first, last = (top + 1 if top else 0), min(top + _STRIP + 1, rows)
        fresh = np.argwhere(active[first:last])
        fresh[:, 0] += first
        for some in _chunks(fresh, side * side):
            inner[some[:, 0] - top + 1, :, some[:, 1], :] = lit(some)
        for some in _chunks(np.argwhere(near[top : min(top + _STRIP, rows)]), width * width):
            seen = windows[(some[:, 0] + 1) * side - reach, some[:, 1] * side]
            plane[some[:, 0] + top, :, some[:, 1], :] = kernel @ seen @ kernel.T
    return plane.reshape(rows * TILE, columns * TILE)


def _lens(fine: int, blur: float, reach: int) -> Singles:
    """(pixels of a tile, samples of it and around it): the lens' blur and a pixel's width, in one direction."""
    away = (np.arange(-reach, TILE * fine + reach) + 0.5)[None, :] - (np.arange(TILE * fine) + 0.5)[:, None]
    spread = np.exp(-0.5 * (away / (blur * fine)) ** 2) if blur else (away == 0).astype(np.float64)
    spread /= spread[TILE * fine // 2].sum()
    return np.asarray(spread.reshape(TILE, fine, -1).mean(axis=1), np.float32)


def _near_glass(tube: Tube, glass: Lookout) -> Bools:
    low, high = glass.bounds(glass.mesh)
    left, top, right, bottom = tube.glass_mm
    return np.asarray((high[..., 0] > left) & (low[..., 0] < right) & (high[..., 1] > top) & (low[..., 1] < bottom))


def _inside(tube: Tube, places: tuple[NDArray[Any], NDArray[Any]]) -> NDArray[Any]:
    """Millimetres inside the edge of the visible glass, negative outside."""
    left, top, right, bottom = tube.glass_mm
    corner = tube.corner_mm
    dx = np.abs(places[0] - (left + right) / 2) - (right - left) / 2 + corner
    dy = np.abs(places[1] - (top + bottom) / 2) - (bottom - top) / 2 + corner
    return np.asarray(corner - np.hypot(np.maximum(dx, 0), np.maximum(dy, 0)) - np.minimum(np.maximum(dx, dy), 0))


def _visible(tube: Tube, shot: Shot, glass: Lookout) -> Singles:
    """(height, width): the share of each pixel that shows the glass and not the bezel."""
    width, height = glass.size
    pixel = glass.pixel_mm
    rows, columns = glass.tiles
    edge = _inside(tube, (glass.mesh[..., 0], glass.mesh[..., 1]))[..., None]
    low, high = (bound[..., 0] for bound in glass.bounds(edge))
    near = TILE * pixel
    share = np.zeros((rows, TILE, columns, TILE), np.float32)
    whole = np.argwhere(low > near)
    share[whole[:, 0], :, whole[:, 1], :] = 1
    weights = tile_weights(1)
    for some in _chunks(np.argwhere((low <= near) & (high > -near)), TILE * TILE):
        x, y = (glass.samples(glass.mesh[..., k], some, weights) for k in (0, 1))
        value = np.clip(_inside(tube, (x, y)) / pixel + 0.5, 0, 1)
        share[some[:, 0], :, some[:, 1], :] = value
    return share.reshape(rows * TILE, columns * TILE)[:height, :width]


def _soft(glass: Lookout, values: Floats) -> Singles:
    """A mesh's values over all pixels, straight between the mesh's corners."""
    width, height = glass.size
    rows, columns = glass.tiles
    middles = (values[:-1, :-1] + values[1:, :-1] + values[:-1, 1:] + values[1:, 1:]) / 4
    wide = cv2.resize(
        middles.astype(np.float32), ((columns + 2) * TILE, (rows + 2) * TILE), interpolation=cv2.INTER_LINEAR
    )
    return np.asarray(wide[TILE : TILE + height, TILE : TILE + width], np.float32)


def _room_plane(tube: Tube, camera: Camera, marks: Marks, shot: Shot, channel: int, visible: Singles) -> Singles:
    """(height, width): what a channel has of the room's light."""
    plane = BEZEL + (GLASS - BEZEL) * visible
    for number in range(4):
        if number not in marks.hidden:
            middle, axes = marks.sheet(number)
            wall = Lookout(camera.size, partial(camera.on_sheet, channel=channel, middle=middle, axes=axes))
            _draw_mark(plane, wall, marks, number)
    height, width = plane.shape
    right, down = shot.room_slope
    plane *= np.linspace(1 - right, 1 + right, width, dtype=np.float32)
    plane *= np.linspace(1 - down, 1 + down, height, dtype=np.float32)[:, None] * np.float32(shot.room / PAPER)
    if camera.blur_px > 0:
        cv2.GaussianBlur(plane, (0, 0), camera.blur_px, dst=plane)
    return plane


def _draw_mark(plane: Singles, wall: Lookout, marks: Marks, number: int) -> None:
    fine = 2
    height, width = plane.shape
    away = np.abs(wall.mesh).max(axis=-1)
    tiles = np.argwhere(away < marks.reach + 3 * TILE * wall.pixel_mm) - 1
    if not len(tiles):
        return
    top, left = np.maximum(tiles.min(axis=0) * TILE, 0)
    bottom, right = np.minimum((tiles.max(axis=0) + 1) * TILE, (height, width))
    if top >= bottom or left >= right:
        return
    area = slice(int(top), int(bottom)), slice(int(left), int(right))
    paper, shape, texel = mark_textures(marks, number, wall.pixel_mm / fine)
    x, y = (wall.full(wall.mesh[..., k], *area, fine) / texel + (len(paper) - 1) / 2 for k in (0, 1))
    flags: dict[str, Any] = {"interpolation": cv2.INTER_LINEAR}
    seen, cover = (
        cv2.remap(texture, x.astype(np.float32), y.astype(np.float32), borderMode=border, **flags)
        for texture, border in ((paper, cv2.BORDER_REPLICATE), (shape, cv2.BORDER_CONSTANT))
    )
    small = area[1].stop - area[1].start, area[0].stop - area[0].start
    seen, cover = (cv2.resize(part, small, interpolation=cv2.INTER_AREA) for part in (seen * cover, cover))
    plane[area] = plane[area] * (1 - cover) + seen


def _reflected(shot: Shot, glass: Lookout, channel: int) -> Floats:
    """On the mesh: the light of reflections."""
    light = np.zeros(glass.mesh.shape[:2])
    for spot in shot.reflections:
        share = np.full(light.shape, spot.light[channel])
        for k, (middle, half) in enumerate(zip((spot.x_mm, spot.y_mm), spot.half_mm, strict=True)):
            share = share / (1 + np.exp((np.abs(glass.mesh[..., k] - middle) - half) / spot.soft_mm))
        light += share
    return light


def _cover(plane: Singles, shot: Shot, glass: Lookout) -> None:
    for x, y, radius in shot.covered:
        away = np.hypot(glass.mesh[..., 0] - x, glass.mesh[..., 1] - y)
        tiles = np.argwhere(away < radius + 3 * TILE * glass.pixel_mm) - 1
        if not len(tiles):
            continue
        (top, left), (bottom, right) = np.maximum(tiles.min(axis=0) * TILE, 0), (tiles.max(axis=0) + 1) * TILE
        area = slice(int(top), min(int(bottom), plane.shape[0])), slice(int(left), min(int(right), plane.shape[1]))
        places = [glass.full(glass.mesh[..., k], *area) for k in (0, 1)]
        plane[area] *= np.clip((np.hypot(places[0] - x, places[1] - y) - radius) / glass.pixel_mm + 0.5, 0, 1)


def photograph(
    tube: Tube,
    camera: Camera,
    marks: Marks,
    fmt: Format,
    scene: Scene,
    shot: Shot | None = None,
    *,
    seed: int = 0,
    bits: int = 8,
) -> NDArray[Any]:
    """(height, width, 3) of red, green and blue, 8 or 16 bits: the photograph of a tube that shows a scene."""
    shot = shot or Shot()
    width, height = camera.size
    image = np.empty((height, width, 3), np.float32)
    visible = []
    for gun in range(3):
        glass = Lookout(camera.size, _glass_places(tube, camera, marks, gun))
        visible.append(_visible(tube, shot, glass))
        if not shot.tube_lit:
            image[..., gun] = 0
            continue
        plane = _tube_plane(tube, camera, marks, fmt, scene, gun, shot)
        plane *= _soft(glass, tube.gain(glass.mesh, gun))
        plane *= visible[gun]
        _cover(plane, shot, glass)
        image[..., gun] = plane
    if shot.tube_lit:
        image *= np.float32(shot.exposure / max(float(np.percentile(image[::3, ::5].max(axis=-1), 99.9)), 1e-6))
    for channel in range(3):
        plane = _room_plane(tube, camera, marks, shot, channel, visible[channel])
        if shot.reflections:
            glass = Lookout(camera.size, _glass_places(tube, camera, marks, channel))
            plane += _soft(glass, _reflected(shot, glass, channel)) * visible[channel]
        image[..., channel] += plane
    del visible
    codes = expose(image, camera, shot, seed=seed, bits=bits)
    return phone(codes) if shot.is_phone else codes


def expose(image: Singles, camera: Camera, shot: Shot, *, seed: int, bits: int = 8) -> NDArray[Any]:
    """Codes of an image of linear light (it is used up): halo, vignette, colour filters, noise, balance, curve."""
    height, width = image.shape[:2]
    rng = np.random.default_rng(seed)
    if shot.halo:
        _spread(image, shot.halo)
    vignette = Lookout(camera.size, lambda pixels: camera.vignette(pixels)[:, None])
    darker = _soft(vignette, vignette.mesh[..., 0])
    filters = np.array(camera.crosstalk, np.float32)
    gains = np.array(shot.white_balance, np.float32)
    curve = _srgb(bits)
    codes = np.empty((height, width, 3), np.uint8 if bits == 8 else np.uint16)
    step = max(1, 300_000 // width)
    for top in range(0, height, step):
        rows = slice(top, min(top + step, height))
        light = np.asarray(cv2.transform(image[rows], filters), np.float32)
        light *= darker[rows][..., None]
        if camera.full_well:
            spread = np.sqrt(np.maximum(light, 0) / camera.full_well + (camera.read_noise / camera.full_well) ** 2)
            light += spread * rng.standard_normal(light.shape, np.float32)
        light *= gains
        np.clip(light, 0, 1, out=light)
        light *= 65535
        light += 0.5
        codes[rows] = curve[light.astype(np.uint16)]
    return codes


def phone(codes: NDArray[Any], sharpen: float = 0.7) -> NDArray[Any]:
    """8-bit codes as a phone makes them: of a filter array, sharpened in light, its colours smoothed."""
    mosaic = codes[..., 1].copy()
    mosaic[::2, ::2], mosaic[1::2, 1::2] = codes[::2, ::2, 0], codes[1::2, 1::2, 2]
    # OpenCV names a filter array by the second pixel of the second row.
    whole = cv2.cvtColor(cv2.demosaicing(mosaic, cv2.COLOR_BayerBG2BGR_EA), cv2.COLOR_BGR2YCrCb)
    light = whole[..., 0].astype(np.float32)
    sharp = light + sharpen * (light - cv2.GaussianBlur(light, (0, 0), 1.3))
    whole[..., 0] = np.clip(np.rint(sharp), 0, 255).astype(np.uint8)
    whole[..., 1:] = cv2.GaussianBlur(whole[..., 1:], (0, 0), 1.2)
    return np.ascontiguousarray(cv2.cvtColor(whole, cv2.COLOR_YCrCb2BGR)[..., ::-1])


def _spread(image: Singles, share: float) -> None:
    height, width = image.shape[:2]
    small = cv2.resize(image, (max(width // _COARSE, 1), max(height // _COARSE, 1)), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), width / _COARSE / 25)
    image *= np.float32(1 - share)
    for channel in range(3):
        image[..., channel] += np.float32(share) * cv2.resize(small[..., channel], (width, height))


def _srgb(bits: int) -> NDArray[Any]:
    """Codes by linear light in 65536 steps."""
    light = np.arange(65536) / 65535
    # IEC 61966-2-1: sRGB's transfer function.
    shown = np.where(light <= 0.0031308, light * 12.92, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(shown * ((1 << bits) - 1)), np.uint8 if bits == 8 else np.uint16)


def save(
    path: Path,
    image: NDArray[Any],
    *,
    quality: int = 85,
    subsampled: bool = True,
    notes: Mapping[int, float] | None = None,
) -> Path:
    """Write an image of red, green and blue as the name's ending says: JPEG (8 bits), PNG or TIFF.

    `notes` are EXIF's numbers of a JPEG by their tags.
    """
    options: list[int] = []
    if path.suffix.lower() in (".jpg", ".jpeg"):
        chroma = cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420 if subsampled else cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444
        options = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_SAMPLING_FACTOR, chroma]
    written, data = cv2.imencode(path.suffix, np.ascontiguousarray(image[..., ::-1]), options)
    if not written:
        raise ValueError(f"{path}: could not be encoded")
    held = data.tobytes()
    if notes:
        exif = Image.Exif()
        part = exif.get_ifd(0x8769)
        for tag, value in notes.items():
            part[tag] = IFDRational(value) if tag != _FOCAL_35MM else round(value)
        block = exif.tobytes()
        # ITU-T T.81, B.1.1.4: a segment's length counts its own two bytes (from memory).
        held = held[:2] + b"\xff\xe1" + (len(block) + 2).to_bytes(2, "big") + block + held[2:]
    path.write_bytes(held)
    return path
