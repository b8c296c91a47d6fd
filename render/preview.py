"""Small pictures of a pattern for a page: square samples, and the light of the whole picture."""

from __future__ import annotations

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from patterns.formats import Format
from patterns.pattern import Options, Pattern
from patterns.signal import Matrix, Range, Sampling, Signal
from render.raster import draw_frame, frames_per_period

__all__ = ["preview", "preview_png"]

_SIGNAL = Signal(range=Range.FULL, matrix=Matrix.BT709, bits=8, sampling=Sampling.RGB)
_GAMMA = 2.4
"""Of the light that a code makes: ITU-R BT.1886. A page is near enough to it."""
_FULL_TOP = 255


def preview(
    pattern: Pattern, fmt: Format, options: Options | None = None, *, height: int, signal: Signal = _SIGNAL
) -> Image.Image:
    """The picture rectangle of a pattern, `height` samples high and as wide as the picture's aspect makes it.

    A moving pattern is shown in the middle of its way. The reduction is made in light, so that a fine line stays as
    bright as it looks from afar, and a flat area keeps its code. Mode L when all is grey, else P with up to 256
    colours. Full range: what lies below black or above white is cut. `signal` is what the file carries, for a pattern
    that states it in words.

    Raises:
        PatternError: the pattern cannot be drawn so.
    """
    scene = pattern.scene(fmt, options, signal)
    planes = draw_frame(scene, fmt, _SIGNAL, frames_per_period(scene, fmt) // 2)
    grey = all(np.array_equal(planes[0], plane) for plane in planes[1:])
    inside = fmt.picture
    size = (max(1, round(height * fmt.picture_aspect)), height)
    reduced = [
        _reduced(plane[inside.top : inside.bottom, inside.left : inside.right], size)
        for plane in (planes[:1] if grey else planes)
    ]
    if grey:
        return Image.fromarray(reduced[0])
    # Without dither: a flat area stays flat.
    return Image.fromarray(np.stack(reduced, axis=-1)).quantize(256, dither=Image.Dither.NONE)


def _reduced(plane: NDArray[np.unsignedinteger], size: tuple[int, int]) -> NDArray[np.uint8]:
    light = (np.arange(_FULL_TOP + 1, dtype=np.float32) / _FULL_TOP) ** _GAMMA
    small = np.asarray(Image.fromarray(light[plane]).resize(size, Image.Resampling.BILINEAR))
    # A triangle's weights sum to one for every sample, so no light is lost; only rounding lies outside 0 to 1.
    codes: NDArray[np.uint8] = np.rint(np.clip(small, 0, 1) ** (1 / _GAMMA) * _FULL_TOP).astype(np.uint8)
    return codes


def preview_png(image: Image.Image) -> bytes:
    """The picture as a PNG file, as small as it gets."""
    file = io.BytesIO()
    image.save(file, "PNG", optimize=True)
    return file.getvalue()
