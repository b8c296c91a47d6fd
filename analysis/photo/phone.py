"""Photographs as telephones and cameras store them before any JPEG: HEIC by pillow-heif, and raw in DNG by rawpy.

Both libraries are an extra of the package ('phone', 35 MB) and are called directly: imageio reads both by way of them,
but is not used for photographs (`file.py` says why). Raw samples are linear and not sharpened. They are developed by
the camera's own white balance, never brightened, with no curve but sRGB's, which `Photo` takes away again.
"""

from __future__ import annotations

import io
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL.TiffImagePlugin import ImageFileDirectory_v2

from render.errors import FileError

__all__ = ["is_dng", "is_heic", "original_orientation", "read_dng", "read_heic"]

_HEIC_BRANDS = (b"heic", b"heix", b"hevc", b"mif1", b"msf1")
"""What follows 'ftyp' in a file of HEIC pictures (ISO/IEC 23008-12, from memory)."""
_DNG_VERSION = 50706
"""Tag of the DNG specification (from memory)."""
_SRGB_GAMMA = (2.4, 12.92)
"""Power and slope near black of sRGB's curve (IEC 61966-2-1), as rawpy takes them."""
_MISSING = "reading {kind} takes one more package: pip install 'trueraster[phone]'; or set the camera to JPEG"


def is_heic(data: bytes) -> bool:
    """Whether a file's first bytes are those of HEIC."""
    return data[4:8] == b"ftyp" and data[8:12] in _HEIC_BRANDS


def is_dng(data: bytes) -> bool:
    """Whether it is a TIFF that holds a camera's raw samples by the DNG specification."""
    if data[:4] not in (b"II*\0", b"MM\0*"):
        return False
    try:
        tags = ImageFileDirectory_v2(data[:8])
        file = io.BytesIO(data)
        file.seek(tags.next)
        tags.load(file)
        return _DNG_VERSION in tags
    except Exception:
        # A broken header raises anything that can be raised; what reads TIFF says so.
        return False


def read_heic(data: bytes, fewest: int, most: int) -> NDArray[Any]:
    """(rows, columns, 3) of blue, green and red in 8 bits, upright; `fewest` and `most` are pixels.

    Raises:
        FileError: it is damaged, too small or too large, or the library is missing; without the file's name.
    """
    try:
        # An extra that most do without.
        import pillow_heif
    except ImportError as error:
        raise FileError(_MISSING.format(kind="HEIC")) from error
    try:
        file = pillow_heif.open_heif(data, convert_hdr_to_8bit=True)
        _check_size(file.size, fewest, most)
        codes = np.asarray(file)
    except FileError:
        raise
    except Exception as error:
        raise FileError("no photograph that can be read: the HEIC file is damaged") from error
    if codes.ndim == 2:
        codes = np.repeat(codes[..., None], 3, axis=-1)
    return np.ascontiguousarray(codes[..., 2::-1])


def read_dng(data: bytes, fewest: int, most: int) -> NDArray[Any]:
    """(rows, columns, 3) of blue, green and red in 16 bits, upright; `fewest` and `most` are pixels.

    Raises:
        FileError: as of `read_heic`.
    """
    try:
        # An extra that most do without.
        import rawpy
    except ImportError as error:
        raise FileError(_MISSING.format(kind="camera raw")) from error
    try:
        with rawpy.imread(io.BytesIO(data)) as raw:
            _check_size((raw.sizes.width, raw.sizes.height), fewest, most)
            # Else the brightest sample, not the sensor's limit, would become white.
            codes = raw.postprocess(
                gamma=_SRGB_GAMMA, no_auto_bright=True, adjust_maximum_thr=0.0, output_bps=16, use_camera_wb=True
            )
    except FileError:
        raise
    except Exception as error:
        raise FileError("no photograph that can be read: the DNG file is damaged, or of an unknown kind") from error
    return np.ascontiguousarray(codes[..., ::-1])


def original_orientation(info: dict[Any, Any]) -> int | None:
    """How a HEIC file's sensor was held, as EXIF numbers it: its pictures are turned upright as they are read."""
    found = info.get("original_orientation")
    return found if isinstance(found, int) else None


def _check_size(size: tuple[int, int], fewest: int, most: int) -> None:
    if not fewest <= size[0] * size[1] <= most:
        raise FileError(
            f"{size[0]}x{size[1]} pixels; a photograph of {fewest / 1e6:g} to {most / 1e6:g} megapixels is expected"
        )
