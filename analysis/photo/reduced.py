"""A photograph made small and grey, for finding things in it."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.photo.file import Photo

__all__ = ["reduced_grey"]


def reduced_grey(photo: Photo, side: int) -> tuple[NDArray[np.uint8], float]:
    """The photograph in grey of 8 bits, its longer side at most `side` pixels; and its scale, at most 1.

    Pixel p of the photograph lies at (p + 0.5) * scale - 0.5. Codes are kept as they are, not made linear: what is
    looked for may be dimly lit beside a bright screen.
    """
    width, height = photo.size
    scale = min(1.0, side / max(width, height))
    image: NDArray[Any] = photo.codes[..., ::-1]
    small = max(round(width * scale), 1), max(round(height * scale), 1)
    if scale < 0.5:
        # A last odd row or column is left out: a part of a pixel of what becomes of it.
        image, width = photo.halved, width // 2 * 2
    if image.dtype != np.uint8:
        image = (image >> 8).astype(np.uint8)
    grey = cv2.cvtColor(np.ascontiguousarray(image), cv2.COLOR_BGR2GRAY)
    if scale < 1:
        grey = cv2.resize(grey, small, interpolation=cv2.INTER_AREA)
        scale = small[0] / width
    return np.asarray(grey, np.uint8), scale
