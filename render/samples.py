"""From a decoded frame's memory to planes, for every layout of samples that is read."""

from __future__ import annotations

import re
from typing import Any

import numpy as np
from av.video.frame import VideoFrame
from numpy.typing import NDArray

from patterns.signal import Sampling
from render.quantise import Planes

__all__ = ["SampleError", "planes_of"]

Values = NDArray[Any]


class SampleError(ValueError):
    """A layout of samples that is not read."""


_PLANAR_YUV = re.compile(r"yuv(?:j|a)?(420|422|444)p(?:\d+)?(?:le|be)?")
_PLANAR_RGB = re.compile(r"gbra?p(?:\d+)?(?:le|be)?")
_GREY = re.compile(r"gray(?:\d+)?(?:le|be)?|ya8|ya16(?:le|be)")
_PACKED = {
    "rgb24": (3, (0, 1, 2)),
    "bgr24": (3, (2, 1, 0)),
    "rgba": (4, (0, 1, 2)),
    "bgra": (4, (2, 1, 0)),
    "rgb0": (4, (0, 1, 2)),
    "bgr0": (4, (2, 1, 0)),
    "argb": (4, (1, 2, 3)),
    "abgr": (4, (3, 2, 1)),
    "0rgb": (4, (1, 2, 3)),
    "0bgr": (4, (3, 2, 1)),
    "rgb48": (3, (0, 1, 2)),
    "bgr48": (3, (2, 1, 0)),
    "rgba64": (4, (0, 1, 2)),
    "bgra64": (4, (2, 1, 0)),
}
"""R'G'B' in one plane: values per sample, and where R, G and B stand."""
_PAIRED = {"nv12": (1, 2), "nv21": (2, 1), "p010": (1, 2), "p016": (1, 2)}
_WOVEN = {"yuyv422": (0, 1, 3), "uyvy422": (1, 0, 2), "yvyu422": (0, 3, 1)}


def planes_of(frame: VideoFrame) -> tuple[Sampling, int, Planes]:
    """The frame's samples as three planes of the file's own codes, with their sampling and depth.

    Grey comes as three equal planes. A picture may have room for transparency, but nothing in it is transparent.

    Raises:
        SampleError: a kind of samples that is not read, or a part of it is transparent.
    """
    name, bits = frame.format.name, frame.format.components[0].bits
    if _has_transparency(frame, name, bits):
        raise SampleError(
            "a part of the picture is transparent, so what is seen depends on what is behind it; save it without"
            " transparency"
        )
    bare = re.sub(r"(le|be)$", "", name)
    if found := _PLANAR_YUV.fullmatch(name):
        return Sampling(found[1]), bits, _three(*(_array(frame, i) for i in range(3)))
    if _PLANAR_RGB.fullmatch(name):
        green, blue, red = (_array(frame, i) for i in range(3))
        return Sampling.RGB, bits, _three(red, green, blue)
    if _GREY.fullmatch(name):
        grey = _array(frame, 0, per_sample=2)[:, ::2] if name.startswith("ya") else _array(frame, 0)
        return Sampling.RGB, bits, _three(grey, grey, grey)
    if bare in _PACKED:
        per_sample, order = _PACKED[bare]
        packed = _array(frame, 0, per_sample)
        red, green, blue = (packed[:, i::per_sample] for i in order)
        return Sampling.RGB, bits, _three(red, green, blue)
    if name == "pal8":
        return Sampling.RGB, 8, _palette(frame)
    if bare in _PAIRED:
        luma, pairs = _array(frame, 0), _array(frame, 1, per_sample=2)
        # Ten bits stand at the top of sixteen.
        shift = 16 - bits if bare == "p010" else 0
        cb, cr = (pairs[:, place - 1 :: 2] >> shift for place in _PAIRED[bare])
        return Sampling.YCBCR_420, bits, _three(luma >> shift, cb, cr)
    if name in _WOVEN:
        woven, (first, second, third) = _array(frame, 0, per_sample=2), _WOVEN[name]
        return Sampling.YCBCR_422, bits, _three(woven[:, first::2], woven[:, second::4], woven[:, third::4])
    raise SampleError(f"cannot read samples of the kind {name!r}; give R'G'B', grey or Y'CbCr of 8, 10, 12 or 16 bits")


def _has_transparency(frame: VideoFrame, name: str, bits: int) -> bool:
    if name == "pal8":
        return bool((_picked(frame) >> 24 < 255).any())
    if re.match(r"(yuva|gbrap)", name):
        alpha = _array(frame, 3)
    elif name.startswith("ya"):
        alpha = _array(frame, 0, per_sample=2)[:, 1::2]
    elif place := _ALPHA.get(re.sub(r"(le|be)$", "", name)):
        alpha = _array(frame, 0, per_sample=4)[:, place - 1 :: 4]
    else:
        return False
    return bool((alpha < (1 << bits) - 1).any())


_ALPHA = {"rgba": 4, "bgra": 4, "argb": 1, "abgr": 1, "rgba64": 4, "bgra64": 4}
"""Which of the four values of a sample is its opacity."""


def _three(first: Values, second: Values, third: Values) -> Planes:
    return first, second, third


def _array(frame: VideoFrame, index: int, per_sample: int = 1) -> Values:
    plane = frame.planes[index]
    wide = frame.format.components[0].bits > 8
    order = ">u2" if frame.format.is_big_endian else "<u2"
    data: Values = np.frombuffer(bytes(plane), dtype=order if wide else "u1")
    rows = data.reshape(plane.height, plane.line_size // data.itemsize)[:, : plane.width * per_sample]
    return rows.astype(np.uint16) if wide else rows


def _picked(frame: VideoFrame) -> Values:
    """Each sample's entry of the palette: alpha, R, G and B from the highest byte down."""
    entries: Values = np.frombuffer(bytes(frame.planes[1]), dtype="<u4")[:256]
    return entries[_array(frame, 0)]


def _palette(frame: VideoFrame) -> Planes:
    picked = _picked(frame)
    red, green, blue = ((picked >> shift & 255).astype(np.uint8) for shift in (16, 8, 0))
    return _three(red, green, blue)
