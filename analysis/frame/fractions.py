"""A frame's codes as fractions of white, whatever range, depth and components they come in."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.faults.codes import to_ycbcr
from analysis.frame.levels import Frame
from patterns.signal import Signal

__all__ = ["fractions", "frame_luma", "frame_ycbcr"]


def fractions(plane: NDArray[Any], signal: Signal, component: int) -> NDArray[np.float32]:
    """Levels of a component's codes: 0 to 1 for R', G', B' and Y', -0.5 to 0.5 for C'B and C'R; any shape."""
    black = signal.fraction_of(component, 0)
    scale = signal.fraction_of(component, 1) - black
    values: NDArray[np.float32] = plane.astype(np.float32) * np.float32(scale) + np.float32(black)
    return values


def frame_ycbcr(frame: Frame, signal: Signal) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Luma, C'B and C'R of a frame as fractions, all of luma's size."""
    planes = frame.picture.planes
    if signal.sampling.is_rgb:
        rgb = np.stack([fractions(plane, signal, 0) for plane in planes], axis=-1)
        ycc = to_ycbcr(rgb.astype(np.float64), signal.matrix)
        return ycc[..., 0], ycc[..., 1], ycc[..., 2]
    luma = fractions(planes[0], signal, 0)
    step_x, step_y = signal.sampling.chroma_step
    height, width = luma.shape
    cb, cr = (
        np.repeat(np.repeat(fractions(planes[i], signal, i), step_y, axis=0), step_x, axis=1)[:height, :width]
        for i in (1, 2)
    )
    return luma, cb, cr


def frame_luma(frame: Frame, signal: Signal) -> NDArray[np.float32]:
    """Luma of a frame as fractions of white, (rows, columns)."""
    planes = frame.picture.planes
    if not signal.sampling.is_rgb:
        return fractions(planes[0], signal, 0)
    kr, kb = (np.float32(float(weight)) for weight in signal.matrix.weights)
    red, green, blue = (fractions(plane, signal, 0) for plane in planes)
    luma: NDArray[np.float32] = kr * red + (1 - kr - kb) * green + kb * blue
    return luma
