"""A photograph: its samples as linear light, and where they are clipped.

A camera's JPEG, PNG or TIFF is taken to have the transfer curve of sRGB (IEC 61966-2-1), as nearly all write it; what a
camera's own curve does beyond that bends levels, not places. Samples are kept as they were stored and made linear piece
by piece: at 50 megapixels a whole photograph in floats would take more memory than there is.

OpenCV decodes, not imageio: `tests/trials/readers.py` compares the two. Their samples are equal for JPEG, PNG of 8 bits
and most TIFF, but imageio's plugins take a JPEG with damage in it for a sound one (180 of 180 files with a flipped bit,
blanked or lost bytes; OpenCV takes 54, all of them with a single flipped bit), give 8 of a PNG's 16 bits, do not turn
a TIFF upright, and need one more library for TIFF in LZW or JPEG.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, cached_property
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.photo.header import check_header
from render.errors import FileError
from render.reading import read_bounded

__all__ = ["Photo", "read_photo"]

MOST_PIXELS = 60_000_000
"""Larger photographs are refused."""
_FEWEST_PIXELS = 300_000
_MOST_BYTES = 512 << 20
"""Of a file: the largest photograph in 16 bits has 360 million without compression."""
_DAMAGE = (b"premature end", b"bad Huffman code")
"""What the decoder of JPEG says of a picture of which a part is missing."""
_GREY = 0.012
"""Share of the highest code by which channels of a grey photograph may differ: JPEG rounds each by itself."""
_CLIPPED = 0.985
"""Share of the highest code from which a sample counts as clipped: cameras roll off a little below it."""


@dataclass(frozen=True, eq=False)
class Photo:
    """A photograph's samples, (rows, columns, 3) of red, green and blue, 8 or 16 bits, upright.

    A photograph that was read has blue first in memory, as OpenCV has it: its functions take `codes[..., ::-1]` as it
    is, and would copy `codes` whole.
    """

    path: Path
    codes: NDArray[Any]

    @property
    def size(self) -> tuple[int, int]:
        """Width and height in pixels."""
        return self.codes.shape[1], self.codes.shape[0]

    @cached_property
    def curve(self) -> NDArray[np.float32]:
        """Linear light of every code, 0 to 1."""
        return _curve(self.codes.dtype.itemsize * 8)

    @cached_property
    def halved(self) -> NDArray[Any]:
        """(rows // 2, columns // 2, 3), blue first: the means of two by two samples, for making it smaller still."""
        rows, columns = (side // 2 for side in self.codes.shape[:2])
        whole = self.codes[: 2 * rows, : 2 * columns, ::-1]
        return cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)

    @property
    def clip_code(self) -> int:
        """The lowest code that counts as clipped."""
        return int(_CLIPPED * (len(self.curve) - 1))

    @cached_property
    def has_colour(self) -> bool:
        """Whether the channels differ at all: in the darkest photograph in colour noise makes them."""
        part = self.codes[::7]
        return bool((part.max(axis=-1) - part.min(axis=-1)).max() > _GREY * (len(self.curve) - 1))

    @cached_property
    def is_grey(self) -> bool:
        """Whether it holds no colour at all, as a file in shades of grey does."""
        part = self.codes[::7]
        return bool((part == part[..., :1]).all())

    def linear(self, rows: slice = slice(None), columns: slice = slice(None)) -> NDArray[np.float32]:
        """Linear light of a piece, (rows, columns, 3), 0 to 1."""
        light: NDArray[np.float32] = self.curve[self.codes[rows, columns]]
        return light


@cache
def _curve(bits: int) -> NDArray[np.float32]:
    codes = np.arange(1 << bits, dtype=np.float64) / ((1 << bits) - 1)
    # IEC 61966-2-1: the inverse of sRGB's transfer function.
    light = np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)
    return light.astype(np.float32)


def read_photo(path: Path) -> Photo:
    """Read a photograph in JPEG, PNG or TIFF, turned upright as its own note (EXIF) says.

    Raises:
        FileError: it cannot be read, is damaged, is no photograph in colour, or is too small or too large.
    """
    data = read_bounded(path, _MOST_BYTES, "no photograph that is read here")
    if not data:
        raise FileError(f"{path}: the file is empty")
    try:
        check_header(data, _FEWEST_PIXELS, MOST_PIXELS)
    except FileError as error:
        raise FileError(f"{path}: {error}") from error
    with _listening() as heard:
        try:
            # Without IGNORE_ORIENTATION the EXIF note is followed; ANYDEPTH keeps 16 bits.
            image = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR | cv2.IMREAD_ANYDEPTH)
        except (cv2.error, MemoryError) as error:
            raise FileError(f"{path}: no photograph that can be read") from error
    if image is None or image.dtype not in (np.uint8, np.uint16):
        raise FileError(f"{path}: no photograph that can be read: it is damaged, or not of 8 or 16 bits")
    if any(words in heard[0] for words in _DAMAGE):
        # The decoder fills what is missing with grey.
        raise FileError(f"{path}: the file is damaged, a part of the photograph is missing")
    return Photo(path, image[..., ::-1])


@contextlib.contextmanager
def _listening() -> Iterator[list[bytes]]:
    """What decoding libraries write to standard error, where it would stand beside our own line."""
    heard = [b""]
    try:
        kept = os.dup(2)
    except OSError:
        # It is closed: then nobody is disturbed.
        yield heard
        return
    with tempfile.TemporaryFile() as file:
        try:
            os.dup2(file.fileno(), 2)
            yield heard
        finally:
            os.dup2(kept, 2)
            os.close(kept)
            file.seek(0)
            heard[0] = file.read()
