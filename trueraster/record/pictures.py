"""Pictures for a record: made small enough to be kept in it, without what a camera writes beside them."""

from __future__ import annotations

import hashlib
import io
import warnings
from base64 import b64encode
from pathlib import Path
from typing import TYPE_CHECKING, Any

import cv2
import numpy as np
from PIL import Image, ImageOps

from analysis.photo.header import check_header
from render.errors import FileError
from render.reading import read_bounded

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["LONGEST", "jpeg", "picture_entry"]

LONGEST = 1600
"""Samples of the longer side at most: a page of A4 shows no more (about 200 to the inch)."""
_QUALITY = 88
_LARGEST_PNG = 400_000
"""Bytes; a larger one is a photograph, which JPEG keeps in a fraction of that."""
_MOST_BYTES = 200 << 20
_FEWEST, _MOST = 1, 50_000_000
"""Pixels of the file that is read."""


def picture_entry(path: Path, date: str, caption: str) -> dict[str, Any]:
    """A photograph or a plot as a record keeps it: upright, at most 1600 samples long, JPEG or PNG, as base64.

    Of the file itself its name, size and SHA-256 are noted. Place, time and camera, which a photograph may carry, are
    not kept.

    Raises:
        FileError: no JPEG, PNG or TIFF, or broken; one line.
    """
    data = read_bounded(path, _MOST_BYTES, "no picture for a record")
    if data.lstrip()[:5] in (b"<?xml", b"<svg "):
        raise FileError(f"{path}: a drawing in SVG; a record takes its PNG")
    try:
        check_header(data, _FEWEST, _MOST)
    except FileError as error:
        # A palette is no photograph, but as a plot it is welcome.
        if "palette" not in str(error):
            raise FileError(f"{path}: {error}") from error
    picture, size = _decoded(data, path)
    media, kept = _encoded(picture, png=data.startswith(b"\x89PNG"))
    return {
        "date": date,
        "name": path.name,
        "caption": caption,
        "media_type": media,
        "size_px": list(picture.size),
        "original": {"size_px": list(size), "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()},
        "encoding": "base64",
        "data": b64encode(kept).decode("ascii"),
    }


def _decoded(data: bytes, path: Path) -> tuple[Image.Image, tuple[int, int]]:
    """The picture, upright and reduced; and the size that it had."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(data)) as opened:
                size = opened.size
                # A JPEG is decoded at a fraction of its size at once.
                opened.draft("RGB", (LONGEST, LONGEST))
                picture = ImageOps.exif_transpose(opened)
                if picture.mode.startswith(("I", "F")):
                    picture = _eight_bits(picture)
                picture = picture.convert("L" if picture.mode in ("1", "L") else "RGB")
    except Exception as error:
        # A broken file raises anything that can be raised.
        raise FileError(f"{path}: the picture is broken and cannot be read") from error
    if max(picture.size) > LONGEST:
        picture.thumbnail((LONGEST, LONGEST), Image.Resampling.LANCZOS)
    # Without what a camera notes: where and when is nobody's business.
    bare = Image.new(picture.mode, picture.size)
    bare.paste(picture)
    return bare, size


def _eight_bits(picture: Image.Image) -> Image.Image:
    """Grey of 16 bits, which is else cut at 255."""
    samples = np.asarray(picture, dtype=np.float64)
    most = 65535.0 if picture.mode.startswith("I") else 1.0
    return Image.fromarray(np.clip(samples * (255 / most) + 0.5, 0, 255).astype(np.uint8))


def _encoded(picture: Image.Image, *, png: bool) -> tuple[str, bytes]:
    if png:
        file = io.BytesIO()
        picture.save(file, "PNG", optimize=True)
        if len(file.getvalue()) <= _LARGEST_PNG:
            return "image/png", file.getvalue()
    return "image/jpeg", jpeg(picture, _QUALITY)


def jpeg(picture: Image.Image, quality: int) -> bytes:
    """A picture, RGB or grey, as JPEG.

    By OpenCV: Pillow gives its optimising encoder one byte for each pixel, and noise in full colour needs more.
    """
    samples = np.asarray(picture)
    if samples.ndim == 3:
        samples = cv2.cvtColor(samples, cv2.COLOR_RGB2BGR)
    how = [cv2.IMWRITE_JPEG_QUALITY, quality, cv2.IMWRITE_JPEG_OPTIMIZE, 1]
    # Colour at full size: thin red and blue lines are what a convergence picture shows.
    how += [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_444]
    _, data = cv2.imencode(".jpg", samples, how)
    return data.tobytes()
