"""A captured frame as a screen shows it: R'G'B' of 8 bits with square samples, for looking at only."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from analysis.drawing.labels import Box
from patterns.formats import FieldOrder
from patterns.signal import Signal
from render.decode import Picture

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["enlarged", "shown_box", "shown_frame", "shown_size"]

_FEWEST_LINES = 800
"""Frames with fewer lines are enlarged by a whole factor, so that words have room."""
_MOST_COLUMNS = 2600
"""No wider than this by enlarging."""
_BAND_LINES = 64
"""Lines that are converted at a time, for the sake of memory."""


def shown_size(width: int, height: int, aspect: Fraction) -> tuple[int, int]:
    """Width and height of the shown frame: square samples, few lines enlarged."""
    factor = max(1, min(math.ceil(_FEWEST_LINES / height), int(_MOST_COLUMNS / (width * aspect))))
    return max(1, round(width * factor * aspect)), height * factor


def shown_box(box: Box, frame: tuple[int, int], size: tuple[int, int]) -> Box:
    """A box of the frame (width, height) in the shown frame."""
    across, down = size[0] / frame[0], size[1] / frame[1]
    return box[0] * across, box[1] * down, box[2] * across, box[3] * down


def shown_frame(picture: Picture, signal: Signal) -> NDArray[np.uint8]:
    """R'G'B' of 8 bits, full range, for a screen; (row, column, component)."""
    planes = picture.planes
    height, width = planes[0].shape
    result = np.empty((height, width, 3), np.uint8)
    if signal.sampling.is_rgb:
        codes = np.arange(1 << signal.bits)
        low, high = signal.fraction_of(0, 0), signal.fraction_of(0, (1 << signal.bits) - 1)
        levels = np.linspace(low, high, len(codes))
        table = np.rint(np.clip(levels, 0, 1) * 255).astype(np.uint8)
        for i, plane in enumerate(planes):
            result[:, :, i] = table[plane]
        return result
    rows = _chroma_rows(height, planes[1].shape[0], signal, picture.tags.field_order)
    kr, kb = (np.float32(weight) for weight in signal.matrix.weights)
    for start in range(0, height, _BAND_LINES):
        band = slice(start, min(start + _BAND_LINES, height))
        luma = _levels(planes[0][band], 0, signal)
        blue, red = (_across(_levels(planes[i][rows[band]], i, signal), width, signal) for i in (1, 2))
        r = luma + 2 * (1 - kr) * red
        b = luma + 2 * (1 - kb) * blue
        g = (luma - kr * r - kb * b) / (1 - kr - kb)
        result[band] = np.rint(np.clip(np.stack((r, g, b), axis=-1), 0, 1) * 255)
    return result


def _levels(plane: NDArray[np.generic], component: int, signal: Signal) -> NDArray[np.float32]:
    zero = signal.fraction_of(component, 0)
    step = signal.fraction_of(component, 1) - zero
    return plane.astype(np.float32) * np.float32(step) + np.float32(zero)


def _chroma_rows(height: int, rows: int, signal: Signal, order: FieldOrder | None) -> NDArray[np.intp]:
    """The chroma row of each line. In fields each row belongs to lines of its own field."""
    lines = np.arange(height)
    if signal.sampling.chroma_step[1] == 1:
        found = lines
    elif order in (None, FieldOrder.PROGRESSIVE):
        found = lines // 2
    else:
        found = lines // 4 * 2 + lines % 2
    return np.minimum(found, rows - 1)


def _across(chroma: NDArray[np.float32], width: int, signal: Signal) -> NDArray[np.float32]:
    """Chroma for every sample of the line: co-sited with the even ones, midway between for the odd ones."""
    if signal.sampling.chroma_step[0] == 1:
        return chroma
    twice = np.repeat(chroma, 2, axis=1)
    twice[:, 1:-1:2] = (chroma[:, :-1] + chroma[:, 1:]) / 2
    return twice[:, :width]


def enlarged(shown: NDArray[np.uint8], size: tuple[int, int]) -> Image.Image:
    """The frame at its size for showing: samples stay crisp, and as wide as each other."""
    image = Image.fromarray(shown)
    if image.size == size:
        return image
    image = image.resize((image.width, size[1]), Image.Resampling.NEAREST)
    if size[0] % image.width == 0:
        return image.resize(size, Image.Resampling.NEAREST)
    if size[0] < image.width:
        return image.resize(size, Image.Resampling.BOX)
    # A box as wide as a shown sample covers one or two of the frame's.
    factor = math.ceil(size[0] / image.width)
    return image.resize((image.width * factor, size[1]), Image.Resampling.NEAREST).resize(size, Image.Resampling.BOX)
