"""What a photograph's file says of itself before its samples are decoded: kind, size, and what makes it unfit.

A header may claim any size; decoding first would take the memory that it claims.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Callable

from PIL.TiffImagePlugin import ImageFileDirectory_v2

from render.errors import FileError

__all__ = ["check_header"]

_WIDTH, _HEIGHT, _BITS, _PHOTOMETRIC, _PLANAR, _EXTRA = 256, 257, 258, 262, 284, 338
"""Tags of TIFF 6.0 (from memory)."""
_LIGHT, _PALETTE, _CMYK = (1, 2, 6), 3, 5
"""Of its photometric interpretation: grey, R'G'B' and Y'CbCr; and what is no light."""
_PRINT, _FEW = "colours for print (CMYK)", "few colours (a palette)"
_AVIF = b"ftypavif"
"""How a file of AVIF pictures begins, after its first length (from memory)."""


def check_header(data: bytes, fewest: int, most: int) -> None:
    """Refuse a file by its header; `fewest` and `most` are pixels.

    Raises:
        FileError: it is no JPEG, PNG or TIFF, breaks off, is too small or too large, or holds no photographed colours;
            without the file's name.
    """
    size_of = _reader(data)
    try:
        (width, height), odd = size_of(data)
    except Exception as error:
        # A broken header raises anything that can be raised.
        raise FileError("no photograph that can be read: its header is broken") from error
    if not fewest <= width * height <= most:
        raise FileError(
            f"{width}x{height} pixels; a photograph of {fewest / 1e6:g} to {most / 1e6:g} megapixels is expected"
        )
    if odd:
        raise FileError(f"a picture in {odd}; the photograph as the camera wrote it is expected")


def _reader(data: bytes) -> Callable[[bytes], tuple[tuple[int, int], str]]:
    """What gives the size, and in words what makes the picture unfit, or nothing."""
    if data.startswith(b"\xff\xd8"):
        return _jpeg
    if data.startswith(b"\x89PNG\r\n\x1a\n"):
        return _png
    if data[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return _tiff
    if data[4:12] == _AVIF:
        raise FileError("AVIF is not read; set the camera to JPEG, or convert it to JPEG of high quality")
    raise FileError("no photograph that can be read (JPEG, PNG, TIFF, HEIC or DNG is expected)")


def _jpeg(data: bytes) -> tuple[tuple[int, int], str]:
    """By the frame header: ITU-T T.81, B.1.1 and B.2.2 (from memory)."""
    at, found = 2, None
    while True:
        at = data.index(b"\xff", at)
        while data[at] == 0xFF:
            at += 1
        marker = data[at]
        length = int.from_bytes(data[at + 1 : at + 3], "big")
        if marker == 0xDA:
            break
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):
            height, width = (int.from_bytes(data[at + i : at + i + 2], "big") for i in (4, 6))
            found = (width, height), _PRINT if data[at + 8] == 4 else ""
        at += 1 + length
    if found is None:
        raise ValueError("no frame header")
    return found


def _png(data: bytes) -> tuple[tuple[int, int], str]:
    """By its first chunk: PNG (ISO/IEC 15948), 11.2.2 (from memory)."""
    if data[12:16] != b"IHDR":
        raise ValueError("no header")
    width, height = (int.from_bytes(data[i : i + 4], "big") for i in (16, 20))
    return (width, height), _FEW if data[25] == 3 or data[24] < 8 else ""


def _tiff(data: bytes) -> tuple[tuple[int, int], str]:
    # Only the tags: the library's own reader of pictures knows fewer kinds than the decoder.
    tags = ImageFileDirectory_v2(data[: 16 if b"+" in data[:4] else 8])
    file = io.BytesIO(data)
    file.seek(tags.next)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        tags.load(file)
    size = int(tags[_WIDTH]), int(tags[_HEIGHT])
    bits, colours = tags.get(_BITS, 1), tags[_PHOTOMETRIC]
    if int(bits[0] if isinstance(bits, tuple) else bits) < 8 or colours == _PALETTE:
        return size, _FEW
    if colours not in _LIGHT:
        return size, _PRINT if colours == _CMYK else "colours of another kind than R'G'B'"
    # The decoder mixes the planes up, and by transparency it darkens, or not, as the depth may be.
    if tags.get(_PLANAR, 1) != 1:
        return size, "three planes one after the other"
    return size, "colours with transparency" if _EXTRA in tags else ""
