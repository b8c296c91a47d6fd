"""Faults and conditions, made by arithmetic and by general-purpose libraries.

A picture is an array of R'G'B' fractions, (height, width, 3), neither rounded nor clipped; what happens to codes is
done in codes. A fault that acts on each sample alone (`spatial` false) works on an array of patch colours as well, so
that what it does to a pattern's levels is known without a picture.
"""

from __future__ import annotations

import subprocess
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from imageio_ffmpeg import get_ffmpeg_exe

from tests.trials.faults.analogue import POINTWISE, SPATIAL
from tests.trials.faults.coding import (
    Coding,
    Floats,
    codes_of,
    components,
    decode,
    encode,
    fractions_of,
    from_components,
    quantised,
    staged,
)
from tests.trials.faults.holdout import HOLDOUT
from tests.trials.faults.outside import OUTSIDE

with warnings.catch_warnings():
    # Of plotting, which is not installed.
    warnings.simplefilter("ignore")
    import colour

__all__ = ["Condition", "Fault", "applied", "fault", "filtered"]

Words = tuple[tuple[str, Any], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One fault with its size. `true` is what the diagnosis should find, by the names of its JSON."""

    id: str
    how: str
    """Which of the functions below makes it."""
    size: Words = ()
    true: Words = ()
    like: Fault | None = None
    """For a filter of the ffmpeg program that acts on each sample alone: the arithmetic that it does."""

    @property
    def arithmetic(self) -> Fault:
        """The fault to reckon with on patch colours."""
        return self.like or self

    @property
    def name(self) -> str:
        words = "/".join(_spell(value) for _, value in self.size)
        return ":".join(word for word in (self.id, self.how if self.how != self.id else "", words) if word)

    @property
    def spatial(self) -> bool:
        """Whether it is more than a change of each sample alone."""
        return self.like is None and self.how in _SPATIAL

    @property
    def changes_size(self) -> bool:
        return self.how == "cut"


def _spell(value: Any) -> str:
    if isinstance(value, tuple):
        return ",".join(map(_spell, value))
    return f"{value:g}" if isinstance(value, float) else str(value)


def fault(id: str, how: str | None = None, true: dict[str, Any] | None = None, **size: Any) -> Fault:
    return Fault(id=id, how=how or id, size=tuple(size.items()), true=tuple((true or {}).items()))


def filtered(like: Fault, words: str) -> Fault:
    """The fault as a filter of the ffmpeg program makes it."""
    return Fault(id=like.id, how="filter", size=(("words", words),), true=like.true, like=like)


def applied(found: Fault, rgb: Floats, coding: Coding) -> Floats:
    """The picture (or the patch colours, (n, 1, 3)) with the fault."""
    make = _SPATIAL.get(found.how) or _POINTWISE[found.how]
    return make(rgb, coding, **dict(found.size))


# --- Faults of levels and colours: each sample alone ----------------------------------------------------------------


def _expanded_rgb(rgb: Floats, coding: Coding) -> Floats:
    return staged((staged(255 * rgb, coding) - 16) * (255 / 219), coding) / 255


def _compressed_rgb(rgb: Floats, coding: Coding) -> Floats:
    return staged(staged(255 * rgb, coding) * (219 / 255) + 16, coding) / 255


def _expanded_ycc(rgb: Floats, coding: Coding) -> Floats:
    codes = staged(encode(rgb, coding.matrix), coding)
    return decode(staged(_stretched(codes, 255 / 219, 255 / 224, 16, 0), coding), coding.matrix)


def _compressed_ycc(rgb: Floats, coding: Coding) -> Floats:
    codes = staged(encode(rgb, coding.matrix), coding)
    return decode(staged(_stretched(codes, 219 / 255, 224 / 255, 0, 16), coding), coding.matrix)


def _stretched(codes: Floats, luma: float, chroma: float, less: float, more: float) -> Floats:
    scale = np.array([luma, chroma, chroma], codes.dtype)
    offset = np.array([more - less * luma, 128 - 128 * chroma, 128 - 128 * chroma], codes.dtype)
    return codes * scale + offset


def _footroom(rgb: Floats, coding: Coding) -> Floats:
    return np.maximum(rgb, 0)


def _headroom(rgb: Floats, coding: Coding) -> Floats:
    return np.minimum(rgb, 1)


def _affine(rgb: Floats, coding: Coding, *, gain: float = 1, offset: float = 0) -> Floats:
    return gain * rgb + offset / 100


def _gamma(rgb: Floats, coding: Coding, *, power: float) -> Floats:
    return np.asarray(np.sign(rgb) * np.abs(rgb) ** power)


def _other_matrix(rgb: Floats, coding: Coding, *, coded: str, decoded: str) -> Floats:
    return decode(encode(rgb, coded), decoded)


def _components_swapped(rgb: Floats, coding: Coding) -> Floats:
    ycc = components(rgb, coding.matrix)
    return from_components(ycc[..., [0, 2, 1]], coding.matrix)


def _channels_swapped(rgb: Floats, coding: Coding, *, order: str) -> Floats:
    return rgb[..., ["RGB".index(letter) for letter in order]]


def _chroma_turned(rgb: Floats, coding: Coding, *, gain: float = 1, degrees: float = 0) -> Floats:
    """Chroma multiplied, and turned from +C'B towards +C'R."""
    ycc = components(rgb, coding.matrix)
    turn = np.deg2rad(degrees)
    blue = gain * (np.cos(turn) * ycc[..., 1] - np.sin(turn) * ycc[..., 2])
    red = gain * (np.sin(turn) * ycc[..., 1] + np.cos(turn) * ycc[..., 2])
    return from_components(np.stack([ycc[..., 0], blue, red], axis=-1), coding.matrix)


def _channel_gain(rgb: Floats, coding: Coding, *, channel: str, gain: float) -> Floats:
    return rgb * np.array([gain if letter == channel else 1 for letter in "RGB"], rgb.dtype)


_LIGHT: dict[str, Callable[[Floats], Floats]] = {
    "BT.1886": lambda codes: colour.models.eotf_BT1886(codes, L_B=0, L_W=1),
    "BT.709": colour.models.oetf_inverse_BT709,
    "sRGB": colour.models.eotf_sRGB,
}
_SHOWN: dict[str, Callable[[Floats], Floats]] = {
    "BT.1886": lambda light: colour.models.eotf_inverse_BT1886(light, L_B=0, L_W=1),
    "BT.709": colour.models.oetf_BT709,
    "sRGB": colour.models.eotf_inverse_sRGB,
}
_SPACES = {"SMPTE 170M": "SMPTE C", "BT.470 BG": "ITU-R BT.470 - 625"}
"""What colour-science calls the primaries of 525 and of 625 lines."""


@lru_cache
def _to_bt709(primaries: str) -> Floats:
    return np.asarray(colour.matrix_RGB_to_RGB(_SPACES[primaries], "ITU-R BT.709", chromatic_adaptation_transform=None))


def _managed(rgb: Floats, coding: Coding, *, file: str, shown: str, primaries: str = "") -> Floats:
    """Decoded to light as `file`, with the primaries of BT.709, coded as `shown`; by colour-science, in double."""
    light = _LIGHT[file](np.clip(rgb.astype(np.float64), 0, 1))
    if primaries:
        light = np.clip(light @ _to_bt709(primaries).T, 0, 1)
    return np.asarray(_SHOWN[shown](light)).astype(rgb.dtype)


def _bits_lost(rgb: Floats, coding: Coding, *, lost: int, nearest: bool) -> Floats:
    step = 1 << lost
    codes = quantised(255 * rgb if coding.is_rgb else encode(rgb, coding.matrix))
    kept = np.floor((codes + (step / 2 if nearest else 0)) / step) * step
    kept = np.minimum(kept, 256 - step)
    return kept / 255 if coding.is_rgb else decode(kept, coding.matrix)


_POINTWISE: dict[str, Callable[..., Floats]] = {
    "expanded-rgb": _expanded_rgb,
    "compressed-rgb": _compressed_rgb,
    "expanded-ycc": _expanded_ycc,
    "compressed-ycc": _compressed_ycc,
    "footroom-clipped": _footroom,
    "headroom-clipped": _headroom,
    "affine": _affine,
    "gamma": _gamma,
    "matrix": _other_matrix,
    "components-swapped": _components_swapped,
    "channels-swapped": _channels_swapped,
    "chroma": _chroma_turned,
    "channel-gain": _channel_gain,
    "bits-lost": _bits_lost,
    "colour-managed": _managed,
    **POINTWISE,
}


# --- Faults of fields, place and sharpness: the picture as a whole --------------------------------------------------


def _fields_swapped(rgb: Floats, coding: Coding) -> Floats:
    height, width, _ = rgb.shape
    return np.asarray(rgb.reshape(height // 2, 2, width, 3)[:, ::-1].reshape(rgb.shape))


def _one_field(rgb: Floats, coding: Coding, *, kept: int, between: bool) -> Floats:
    """Field `kept` (0 is the top one) alone: its lines doubled, or the other field's interpolated."""
    result = rgb.copy()
    lines = rgb[kept::2]
    if not between:
        result[1 - kept :: 2] = lines
    elif kept == 0:
        result[1::2] = (lines + np.concatenate([lines[1:], lines[-1:]])) / 2
    else:
        result[0::2] = (lines + np.concatenate([lines[:1], lines[:-1]])) / 2
    return result


def _blended(rgb: Floats, coding: Coding) -> Floats:
    around = np.concatenate([rgb[:1], rgb, rgb[-1:]])
    return np.asarray((around[:-2] + 2 * around[1:-1] + around[2:]) / 4)


def _by_ffmpeg(rgb: Floats, coding: Coding, *, words: str) -> Floats:
    codes = quantised(encode(rgb, coding.matrix))
    return decode(_filtered(codes, words, "yuv444p"), coding.matrix)


def _scaled(rgb: Floats, coding: Coding, *, size: tuple[float, float]) -> Floats:
    """The whole raster smaller, in the middle, black round it. `size` is the share across and down."""
    height, width, _ = rgb.shape
    small = round(width * size[0]), round(height * size[1])
    result = np.zeros_like(rgb)
    left, top = (width - small[0]) // 2, (height - small[1]) // 2
    result[top : top + small[1], left : left + small[0]] = cv2.resize(rgb, small, interpolation=cv2.INTER_AREA)
    return result


def _shifted(rgb: Floats, coding: Coding, *, by: tuple[float, float]) -> Floats:
    """Moved right and down by so many samples and lines, black behind."""
    return _moved(rgb, by, (0, 0, 0))


def _moved(rgb: Floats, by: tuple[float, float], border: tuple[float, ...] | None) -> Floats:
    height, width, _ = rgb.shape
    how = cv2.INTER_NEAREST if by == (round(by[0]), round(by[1])) else cv2.INTER_CUBIC
    kind = cv2.BORDER_REPLICATE if border is None else cv2.BORDER_CONSTANT
    matrix = np.array([[1, 0, by[0]], [0, 1, by[1]]], np.float64)
    moved = cv2.warpAffine(rgb, matrix, (width, height), flags=how, borderMode=kind, borderValue=border or (0, 0, 0))
    return np.asarray(moved, rgb.dtype)


def _cut(rgb: Floats, coding: Coding, *, sides: tuple[int, int, int, int]) -> Floats:
    """Left, right, top and bottom samples or lines cut off: a smaller frame."""
    height, width, _ = rgb.shape
    left, right, top, bottom = sides
    return np.ascontiguousarray(rgb[top : height - bottom, left : width - right])


def _stretched_crop(rgb: Floats, coding: Coding, *, sides: tuple[int, int, int, int]) -> Floats:
    """The same, stretched back to the frame's size."""
    height, width, _ = rgb.shape
    cut = _cut(rgb, coding, sides=sides)
    return np.asarray(cv2.resize(cut, (width, height), interpolation=cv2.INTER_CUBIC), rgb.dtype)


def _chroma_softened(rgb: Floats, coding: Coding, *, sigma: float) -> Floats:
    ycc = components(rgb, coding.matrix)
    for i in (1, 2):
        ycc[..., i] = cv2.GaussianBlur(ycc[..., i], (0, 1), sigmaX=sigma, sigmaY=1e-6)
    return from_components(ycc, coding.matrix)


def _softened(rgb: Floats, coding: Coding, *, sigma: float) -> Floats:
    return np.asarray(cv2.GaussianBlur(rgb, (0, 0), sigma), rgb.dtype)


def _sharpened(rgb: Floats, coding: Coding, *, amount: float, sigma: float, luma: bool) -> Floats:
    if not luma:
        return rgb + amount * (rgb - cv2.GaussianBlur(rgb, (0, 0), sigma))
    ycc = components(rgb, coding.matrix)
    ycc[..., 0] += amount * (ycc[..., 0] - cv2.GaussianBlur(ycc[..., 0], (0, 0), sigma))
    return from_components(ycc, coding.matrix)


def _filtered(codes: Floats, words: str, kind: str, size: tuple[int, int] | None = None) -> Floats:
    """Whole codes (height, width, 3) put through filters of the ffmpeg program, which make them `size` large."""
    height, width, _ = codes.shape
    data = np.ascontiguousarray(codes.transpose(2, 0, 1)).astype(np.uint8).tobytes()
    raw = ("-f", "rawvideo", "-pix_fmt", kind, "-s", f"{width}x{height}")
    command = (
        *(get_ffmpeg_exe(), "-nostdin", "-v", "error", *raw, "-r", "25", "-i", "-", "-vf", words),
        *("-frames:v", "1", "-f", "rawvideo", "-pix_fmt", kind, "-"),
    )
    done = subprocess.run(command, input=data, capture_output=True, check=True, timeout=60)
    width, height = size or (width, height)
    planes = np.frombuffer(done.stdout, np.uint8).reshape(3, height, width)
    return planes.transpose(1, 2, 0).astype(np.float32)


# --- Pictures that show something else ------------------------------------------------------------------------------


def _nothing(rgb: Floats, coding: Coding, *, kind: str) -> Floats:
    height, width, _ = rgb.shape
    random = np.random.default_rng(len(kind))
    y, x = np.mgrid[0:height, 0:width].astype(np.float32)
    if kind == "grey":
        return np.full_like(rgb, 0.45)
    if kind == "black":
        return np.zeros_like(rgb)
    if kind == "snow":
        return random.random((height, width, 1)).astype(rgb.dtype) * np.ones(3, rgb.dtype)
    if kind == "plasma":
        waves = [np.sin(x / 37 + y / 61), np.sin(y / 29 - x / 83), np.sin(np.hypot(x - 300, y - 200) / 33)]
        return np.stack([0.5 + 0.25 * (waves[i] + waves[(i + 1) % 3]) for i in range(3)], axis=-1).astype(rgb.dtype)
    if kind == "text":
        return _text_page(height, width).astype(rgb.dtype)
    assert kind == "photograph"
    # Amplitudes that fall with frequency, as a natural picture's do (common practice, no source).
    across, down = np.fft.rfftfreq(width)[None, :], np.fft.fftfreq(height)[:, None]
    fall = 1 / (np.hypot(across, down) + 1 / width)
    layers = []
    for _ in range(4):
        spectrum = np.fft.rfft2(random.normal(size=(height, width))) * fall
        layer = np.fft.irfft2(spectrum, (height, width))
        layers.append(layer / layer.std())
    return np.stack([0.45 + 0.16 * layers[0] + 0.06 * layers[i] for i in (1, 2, 3)], axis=-1).astype(rgb.dtype)


_WORDS = ["At", "Harbour", "Lane", "the", "bench", "notes", "for", "May", "list", "hours", "parts", "and", "sets"]


def _text_page(height: int, width: int) -> Floats:
    """Dark lines of letters on white, written by OpenCV."""
    page = np.full((height, width, 3), 240, np.uint8)
    scale = height / 900
    for row in range(12):
        words = " ".join((_WORDS[row:] + _WORDS[:row])[:8])
        place = (round(width * 0.06), round(height * (0.1 + 0.07 * row)))
        cv2.putText(page, words, place, cv2.FONT_HERSHEY_SIMPLEX, scale, (25, 25, 25), 1 + height // 500)
    return page.astype(np.float32) / 255


_SPATIAL: dict[str, Callable[..., Floats]] = {
    "fields-swapped": _fields_swapped,
    "one-field": _one_field,
    "blended": _blended,
    "filter": _by_ffmpeg,
    "scaled": _scaled,
    "shifted": _shifted,
    "cut": _cut,
    "stretched": _stretched_crop,
    "chroma-softened": _chroma_softened,
    "softened": _softened,
    "sharpened": _sharpened,
    "nothing": _nothing,
    **SPATIAL,
    **{name: make for name, (make, _) in OUTSIDE.items()},
    **{name: make for name, (make, _) in HOLDOUT.items()},
}


# --- Conditions -----------------------------------------------------------------------------------------------------

_METHODS = {
    "area": cv2.INTER_AREA,
    "linear": cv2.INTER_LINEAR,
    "cubic": cv2.INTER_CUBIC,
    "lanczos": cv2.INTER_LANCZOS4,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """What every capture may undergo without being at fault."""

    name: str = "none"
    noise: float = 0
    """RMS, of white; in Y'CbCr the same of each component's extent."""
    size: tuple[int, int] | None = None
    """Width and height of the picture after rescaling."""
    method: str = "area"
    frame: tuple[int, int] | None = None
    """Width and height of the frame, when the picture stands in its middle with black beside it."""
    shift: tuple[float, float] = (0, 0)
    jpeg: int = 0
    """Quality; 0 is none."""
    jpeg_file: bool = False
    round_trip: bool = False
    """Through 4:2:0 and back."""
    extra: Words = field(default=())

    @property
    def is_exact(self) -> bool:
        """Whether flat patches keep their codes."""
        return self == Condition()

    @property
    def kind(self) -> str:
        return self.name.split(" ")[0]

    def picture(self, rgb: Floats, coding: Coding) -> Floats:
        """The rescaled and shifted picture."""
        if coding.is_rgb and (self.size or self.shift != (0, 0)):
            rgb = np.clip(rgb, 0, 1)
        if self.shift != (0, 0):
            height, width, _ = rgb.shape
            matrix = np.array([[1, 0, self.shift[0]], [0, 1, self.shift[1]]], np.float64)
            moved = cv2.warpAffine(
                rgb, matrix, (width, height), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
            )
            rgb = np.asarray(moved, np.float32)
        if self.size:
            if self.method == "ffmpeg":
                rgb = _resized_by_ffmpeg(rgb, self.size, coding)
            else:
                rgb = np.asarray(cv2.resize(rgb, self.size, interpolation=_METHODS[self.method]), np.float32)
        if self.frame and self.size:
            whole = np.zeros((self.frame[1], self.frame[0], 3), rgb.dtype)
            left, top = (self.frame[0] - self.size[0]) // 2, (self.frame[1] - self.size[1]) // 2
            whole[top : top + self.size[1], left : left + self.size[0]] = rgb
            rgb = whole
        if self.round_trip:
            rgb = _through_420(rgb, coding)
        return rgb

    def noisy(self, codes: Floats, coding: Coding, random: np.random.Generator) -> Floats:
        """Codes with the noise added."""
        if not self.noise:
            return codes
        extents = np.array([255, 255, 255] if coding.is_rgb else [219, 224, 224], np.float32)
        return codes + random.normal(0, self.noise, codes.shape).astype(np.float32) * extents


def _resized_by_ffmpeg(rgb: Floats, size: tuple[int, int], coding: Coding) -> Floats:
    # In the capture's own kind of codes, since R'G'B' has no room below black.
    words = f"scale={size[0]}:{size[1]}:flags=bicubic+accurate_rnd+full_chroma_int+full_chroma_inp"
    kind = "gbrp" if coding.is_rgb else "yuv444p"
    return fractions_of(_filtered(quantised(codes_of(rgb, coding)), words, kind, size), coding)


def _through_420(rgb: Floats, coding: Coding) -> Floats:
    codes = encode(np.clip(rgb, 0, 1), coding.matrix)
    height, width, _ = codes.shape
    for i in (1, 2):
        small = cv2.resize(codes[..., i], (width // 2, height // 2), interpolation=cv2.INTER_AREA)
        small = np.clip(np.round(small), 0, 255)
        codes[..., i] = cv2.resize(small, (width, height), interpolation=cv2.INTER_LINEAR)
    codes[..., 0] = quantised(codes[..., 0])
    return decode(codes, coding.matrix)
