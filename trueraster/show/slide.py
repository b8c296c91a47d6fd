"""What is put on the screen: a pattern in a format, as frames of codes, and where it lies on the output."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from analysis.drawing.canvas import Line, words_strip
from patterns.formats import Format
from patterns.pattern import Options, Pattern
from patterns.signal import Colour, Range, Signal
from render.carriers import CARRIERS
from render.quantise import Planes
from render.raster import draw_frame, frames_per_period

__all__ = ["DrawnSlide", "Place", "Slide", "slide_of"]

Pixels = NDArray[np.uint32]
Codes = NDArray[np.uint8]

_LEAST_BESIDE = 108
"""Pixels of black beside a raster in which words can still be read, 9 high."""
_MOST_BYTES = 300 << 20
"""Of the frames of one moving pattern. A period of 4096 x 2160 at 60 Hz has 270 MB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slide:
    """A pattern as it is shown in a format."""

    pattern: Pattern
    options: Options
    format: Format
    signal: Signal

    @property
    def key(self) -> tuple[object, ...]:
        """What makes two slides the same picture."""
        return self.pattern.id, self.options, self.format.id, self.format.picture_aspect, self.signal

    @property
    def moves(self) -> bool:
        """Whether it moves on a computer's output, which sends whole frames: each field at its own time cannot be."""
        return not self.format.interlaced and not self.pattern.scene(self.format, self.options, self.signal).is_still

    @property
    def longest_s(self) -> float:
        """How long it may stay on the glass, in seconds."""
        return 60.0 * self.pattern.dwell_minutes


def slide_of(pattern: Pattern, options: Options, fmt: Format, code_range: Range) -> Slide:
    """The slide with the codes that a PNG of `draw` has: R'G'B', 8 bits, hard edges.

    Raises:
        PatternError: the pattern cannot be drawn so.
    """
    signal = CARRIERS["png"].signal(fmt, code_range=code_range)
    pattern.scene(fmt, options, signal)
    return Slide(pattern=pattern, options=options, format=fmt, signal=signal)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """An output's pixels, and how a pixel holds red, green and blue."""

    width: int
    height: int
    shifts: tuple[int, int, int] = (16, 8, 0)
    """By how many bits red, green and blue are shifted to the left."""

    def fits(self, fmt: Format) -> bool:
        """Whether a format's raster fills the output, sample by sample."""
        return (fmt.width, fmt.height) == (self.width, self.height)

    def banner(self, fmt: Format) -> tuple[str, ...]:
        """What is written beside or over a raster that does not fill the output; nothing where it does."""
        if self.fits(fmt):
            return ()
        sizes = f"{fmt.id} has {fmt.width} x {fmt.height} samples, this output {self.width} x {self.height}"
        needed = f"Set the output to a mode of {fmt.width} x {fmt.height}"
        if fmt.width > self.width or fmt.height > self.height:
            return (f"NOT FOR MEASURING. {sizes}: the outer part is cut off.", needed)
        return (f"Does not fill the screen. {sizes}.", needed)

    def black(self, signal: Signal) -> Pixels:
        """The whole output at black's code."""
        return np.full((self.height, self.width), self._pixel(signal.codes(Colour.grey(0))), np.uint32)

    def _pixel(self, codes: tuple[int, ...]) -> int:
        return sum(code << shift for code, shift in zip(codes, self.shifts, strict=True))

    def put(self, frame: tuple[Codes, ...], into: Pixels, fmt: Format) -> None:
        """Write a frame of one neutral plane or three into the middle of the output's pixels, sample to pixel."""
        columns, wide = _middle(fmt.width, self.width)
        rows, high = _middle(fmt.height, self.height)
        target = into[high, wide]
        if len(frame) == 1:
            # One code for all three: a product is quicker than three shifts.
            np.multiply(frame[0][rows, columns], np.uint32(self._pixel((1, 1, 1))), out=target, dtype=np.uint32)
            return
        target[:] = 0
        for plane, shift in zip(frame, self.shifts, strict=True):
            target |= plane[rows, columns].astype(np.uint32) << np.uint32(shift)

    def write(self, lines: tuple[str, ...], into: Pixels, fmt: Format) -> None:
        """Write words where they hide nothing of the raster if there is room, else over its lower edge."""
        if not lines:
            return
        base = max(10, min(self.height // 32, self.width // 60))
        below, beside = (self.height - fmt.height) // 2, (self.width - fmt.width) // 2
        is_beside = beside > below and beside >= _LEAST_BESIDE
        base = min(base, beside // 12) if is_beside else base
        strip = words_strip([Line(line) for line in lines], beside if is_beside else self.width, base)
        strip = strip.crop((0, 0, min(strip.width, self.width), min(strip.height, self.height)))
        self._paste(strip, into)

    def _paste(self, strip: Image.Image, into: Pixels) -> None:
        samples = np.asarray(strip.convert("RGB"), np.uint32)
        pixels = sum(samples[..., i] << np.uint32(shift) for i, shift in enumerate(self.shifts))
        into[self.height - strip.height :, : strip.width] = pixels


def _middle(samples: int, pixels: int) -> tuple[slice, slice]:
    """Which samples are seen, and in which pixels, of a side that lies in the middle."""
    if samples <= pixels:
        start = (pixels - samples) // 2
        return slice(0, samples), slice(start, start + samples)
    start = (samples - pixels) // 2
    return slice(start, start + pixels), slice(0, pixels)


@dataclass(slots=True)
class DrawnSlide:
    """A slide with its frames drawn, ready to be put on an output."""

    slide: Slide
    place: Place
    frames: list[tuple[Codes, ...]] = field(default_factory=list)
    """The distinct frames, each one plane where all three are equal."""
    order: list[int] = field(default_factory=list)
    """For each frame of the period, which distinct one it is."""
    ground: Pixels | None = None
    """The output with the first frame on it, and the banner if there is one."""

    @classmethod
    def of(cls, slide: Slide, place: Place, stop: Callable[[], bool] = lambda: False) -> DrawnSlide:
        """Draw all frames; `stop` is asked between them, and if it says so the rest is left out."""
        made = cls(slide, place)
        scene = slide.pattern.scene(slide.format, slide.options, slide.signal)
        count = frames_per_period(scene, slide.format) if slide.moves else 1
        known: dict[bytes, int] = {}
        size = 0
        for index in range(count):
            frame = _compact(draw_frame(scene, slide.format, slide.signal, index))
            digest = hashlib.blake2b(b"".join(plane.tobytes() for plane in frame), digest_size=16).digest()
            if digest not in known:
                known[digest] = len(made.frames)
                made.frames.append(frame)
                size += sum(plane.nbytes for plane in frame)
            made.order.append(known[digest])
            if size > _MOST_BYTES or stop():
                # It then stands still, which its card or banner says of it.
                del made.frames[1:], made.order[1:]
                break
        made.ground = place.black(slide.signal)
        place.put(made.frames[0], made.ground, slide.format)
        place.write(made.banner, made.ground, slide.format)
        return made

    @property
    def banner(self) -> tuple[str, ...]:
        still = self.slide.pattern.id if len(self.order) == 1 and self.slide.moves else ""
        words = self.place.banner(self.slide.format)
        return (*words, f"{still} stands still here: its frames take too much memory.") if still else words

    def index_at(self, seconds: float) -> int:
        """Which frame of the period is up after so many seconds: floor(time x rate)."""
        if len(self.order) == 1:
            return 0
        return int(Fraction(seconds) * self.slide.format.frame_rate) % len(self.order)

    def pixels_at(self, index: int) -> Pixels:
        """The whole output with a frame of the period on it; the array is used again for the next one."""
        assert self.ground is not None
        if len(self.order) > 1:
            self.place.put(self.frames[self.order[index]], self.ground, self.slide.format)
            self.place.write(self.banner, self.ground, self.slide.format)
        return self.ground


def _compact(planes: Planes) -> tuple[Codes, ...]:
    first, *rest = planes
    same = all(np.array_equal(first, plane) for plane in rest)
    return tuple(np.asarray(plane, np.uint8) for plane in ((first,) if same else planes))
