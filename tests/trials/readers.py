"""Does imageio read photographs and captured stills as the tool's own readers do? A table of kinds of file.

    .venv/bin/python tests/trials/readers.py

Pillow or tifffile makes each file, from samples that are known. The columns are imageio with its own plugin for that
kind, `read_photo` and `open_video`, each compared with what was written, or for JPEG with what Pillow alone reads; a
still in JPEG stays Y'CbCr and is not compared. Then: how many damaged JPEG files each reader takes for sound, and what
one reading of 24 megapixels costs.
"""

from __future__ import annotations

import resource
import struct
import subprocess
import sys
import tempfile
import time
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import imageio.v3 as imageio
import numpy as np
import tifffile
from numpy.typing import NDArray
from PIL import Image, ImageCms, ImageOps

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from analysis.photo.file import read_photo
from render.decode import open_video

Samples = NDArray[Any]
SIZE = (720, 576)
"""Columns and rows: above the fewest pixels of a photograph."""


def scene(bits: int) -> Samples:
    """(rows, columns, 3): smooth colours with edges and noise, so that any mistake of order or rounding is seen."""
    columns, rows = SIZE
    y, x = np.mgrid[0:rows, 0:columns]
    light = np.stack([x / columns, y / rows, (x // 16 + y // 16) % 2 * 0.6 + 0.2], -1)
    noise = np.random.default_rng(16).normal(0, 0.01, light.shape)
    kind: type[np.uint8 | np.uint16] = np.uint8 if bits == 8 else np.uint16
    codes: Samples = np.round(np.clip(light + noise, 0, 1) * (2**bits - 1)).astype(kind)
    return codes


RGB8, RGB16 = scene(8), scene(16)


def with_alpha(samples: Samples) -> Samples:
    return np.dstack([samples, np.full(samples.shape[:2], np.iinfo(samples.dtype).max // 2, samples.dtype)])


def turned(orientation: int) -> bytes:
    note = Image.Exif()
    note[0x0112] = orientation
    return note.tobytes()


def files(folder: Path) -> Iterator[tuple[Path, Samples]]:
    """Every file, and what it holds, upright."""
    whole = Image.fromarray(RGB8)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    jpegs: dict[str, tuple[Image.Image, dict[str, Any]]] = {
        "444": (whole, {"subsampling": 0}),
        "420": (whole, {"subsampling": 2}),
        "rgb": (whole, {"keep_rgb": True}),
        "progressive": (whole, {"progressive": True}),
        "grey": (whole.convert("L"), {}),
        "cmyk": (whole.convert("CMYK"), {}),
        "profile": (whole, {"icc_profile": profile}),
        **{f"turned-{way}": (whole, {"exif": turned(way)}) for way in (2, 3, 6, 8)},
    }
    for name, (picture, how) in jpegs.items():
        path = folder / f"{name}.jpg"
        picture.save(path, quality=92, **how)
        with Image.open(path) as opened:
            yield path, np.asarray(ImageOps.exif_transpose(opened))
    pngs = {"rgb8": RGB8, "grey8": RGB8[..., 0], "grey16": RGB16[..., 0], "alpha8": with_alpha(RGB8)}
    for name, samples in (pngs | {"rgb16": RGB16, "alpha16": with_alpha(RGB16)}).items():
        path = folder / f"{name}.png"
        path.write_bytes(png(samples))
        yield path, samples
    whole.save(folder / "turned-6.png", exif=turned(6))
    yield folder / "turned-6.png", np.rot90(RGB8, -1)
    few = whole.quantize(64)
    few.save(folder / "palette.png")
    yield folder / "palette.png", np.asarray(few.convert("RGB"))
    grey = {"photometric": "minisblack"}
    tiffs: dict[str, tuple[Samples, Samples, dict[str, Any]]] = {
        "rgb8": (RGB8, RGB8, {}),
        "rgb16": (RGB16, RGB16, {}),
        "big-endian": (RGB16, RGB16, {"byteorder": ">"}),
        "large-file": (RGB16, RGB16, {"bigtiff": True}),
        "deflate": (RGB8, RGB8, {"compression": "zlib", "predictor": True}),
        "tiles": (RGB16, RGB16, {"tile": (128, 128)}),
        "grey8": (RGB8[..., 0], RGB8[..., 0], grey),
        "grey16": (RGB16[..., 0], RGB16[..., 0], grey),
        "white-is-0": (RGB8[..., 0], 255 - RGB8[..., 0], {"photometric": "miniswhite"}),
        "planes": (np.moveaxis(RGB8, -1, 0), RGB8, {"planarconfig": "separate"}),
        "alpha": (with_alpha(RGB8), with_alpha(RGB8), {"extrasamples": ["unassalpha"]}),
        "turned-6": (RGB8, np.rot90(RGB8, -1), {"extratags": [(274, "H", 1, 6, True)]}),
    }
    for name, (data, samples, how) in tiffs.items():
        tifffile.imwrite(folder / f"{name}.tif", data, **({"photometric": "rgb"} | how))
        yield folder / f"{name}.tif", samples
    whole.save(folder / "lzw.tif", compression="tiff_lzw")
    yield folder / "lzw.tif", RGB8


def png(samples: Samples) -> bytes:
    """PNG (ISO/IEC 15948) without filters, in any depth: Pillow writes no colours of 16 bits."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    rows, columns, channels = (*samples.shape, 1)[:3]
    kind = {1: 0, 3: 2, 4: 6}[channels]
    head = struct.pack(">IIBBBBB", columns, rows, samples.dtype.itemsize * 8, kind, 0, 0, 0)
    body = b"".join(b"\0" + row.astype(row.dtype.newbyteorder(">")).tobytes() for row in samples)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(body, 1)) + chunk(b"IEND", b"")


def by_imageio(path: Path) -> Samples:
    if path.suffix == ".tif":
        return np.asarray(imageio.imread(path, plugin="tifffile"))
    return np.asarray(imageio.imread(path, plugin="pillow", rotate=True))


def as_photo(path: Path) -> Samples:
    return read_photo(path).codes


def as_still(path: Path) -> Samples:
    if path.suffix == ".jpg":
        raise ValueError("stays Y'CbCr")
    with open_video(path) as video:
        return np.stack(next(iter(video.pictures())).planes, -1)


READERS: dict[str, Callable[[Path], Samples]] = {"imageio": by_imageio, "photograph": as_photo, "still": as_still}


def compared(read: Callable[[Path], Samples], path: Path, wanted: Samples) -> str:
    """How what is read differs; grey in three channels and a missing transparency count as equal."""
    try:
        got = read(path)
    except Exception as error:
        return " ".join(str(error).removeprefix(f"{path}: ").split())[:38]
    got, wanted = (part[..., None] if part.ndim == 2 else part for part in (got, wanted))
    if got.shape[:2] != wanted.shape[:2] or got.dtype != wanted.dtype:
        return f"{got.shape[:2]} of {got.dtype}"
    few = min(got.shape[2], wanted.shape[2])
    apart = np.abs(got[..., :few].astype(int) - wanted[..., :few].astype(int))
    return f"differs, by up to {apart.max()} codes" if apart.any() else "equal"


def damaged(folder: Path) -> None:
    """A bit turned, 64 bytes blanked or some lost, in the coded part of a JPEG file."""
    path, random = folder / "damaged.jpg", np.random.default_rng(1)
    whole = (folder / "420.jpg").read_bytes()
    passed = {name: [0, 0, 0] for name in ("imageio", "photograph")}
    for i in range(180):
        at = int(random.integers(len(whole) // 3, len(whole) - 2100))
        parts = (bytes([whole[at] ^ 1 << i % 8]) + whole[at + 1 :], bytes(64) + whole[at + 64 :], whole[at + 2000 :])
        path.write_bytes(whole[:at] + parts[i % 3])
        for name in passed:
            try:
                READERS[name](path)
            except Exception:
                continue
            passed[name][i % 3] += 1
    print(f"of 60 files each with a flipped bit, blanked bytes, lost bytes these are taken for sound: {passed}")


def cost(folder: Path) -> None:
    """Time and the most memory of one reading, each in a process of its own."""
    Image.fromarray(np.tile(RGB8, (8, 9, 1))[:4000, :6000]).save(folder / "24-megapixels.jpg", quality=92)
    tifffile.imwrite(folder / "24-megapixels.tif", np.tile(RGB16, (8, 9, 1))[:4000, :6000], photometric="rgb")
    for path in sorted(folder.glob("24-*")):
        for name in ("imageio", "photograph"):
            words = [sys.executable, __file__, name, str(path)]
            print(f"{path.name:20} {name:12}", subprocess.run(words, capture_output=True, text=True).stdout.strip())


def main() -> None:
    if sys.argv[1:]:
        start = time.perf_counter()
        READERS[sys.argv[1]](Path(sys.argv[2]))
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"{time.perf_counter() - start:.2f} s, {most:.0f} MB")
        return
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        print(f"{'file':18}", *(f"{name:38}" for name in READERS))
        for path, wanted in files(folder):
            print(f"{path.name:18}", *(f"{compared(read, path, wanted):38}" for read in READERS.values()))
        damaged(folder)
        cost(folder)


if __name__ == "__main__":
    main()
