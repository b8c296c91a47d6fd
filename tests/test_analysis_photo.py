"""What is read as a photograph, as it was stored, and what is refused in one line before it costs memory."""

from __future__ import annotations

import struct
import sys
import tracemalloc
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pillow_heif
import pytest
import tifffile
from numpy.typing import NDArray
from PIL import Image

from analysis.photo.file import read_photo
from analysis.photo.notes import read_notes
from render.errors import FileError

Codes = NDArray[Any]


@pytest.fixture(scope="module")
def scene() -> Codes:
    """Slopes of colour, so that every pixel differs from its neighbours' rows."""
    y, x = np.mgrid[:600, :800]
    return np.stack([x * 255 // 799, y * 255 // 599, (x + y) * 255 // 1398], axis=-1).astype(np.uint8)


@pytest.mark.parametrize("name", ["a.png", "a.tif"])
def test_colour_is_read_as_it_was_stored(name: str, scene: Codes, tmp_path: Path) -> None:
    """PNG and TIFF files that Pillow wrote are read code for code."""
    Image.fromarray(scene).save(tmp_path / name)  # written by Pillow
    assert np.array_equal(read_photo(tmp_path / name).codes, scene)


def test_16_bits_are_kept(scene: Codes, tmp_path: Path) -> None:
    """16-bit TIFF and PNG files keep all their bits."""
    deep = scene.astype(np.uint16) * 257 + 1
    tifffile.imwrite(tmp_path / "a.tif", deep, photometric="rgb", compression="zlib")  # written by tifffile
    assert np.array_equal(read_photo(tmp_path / "a.tif").codes, deep)
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in deep)
    (tmp_path / "a.png").write_bytes(_png((800, 600), rows, depth=16))
    assert np.array_equal(read_photo(tmp_path / "a.png").codes, deep)


@pytest.mark.parametrize("name", ["a.png", "a.tif", "a.jpg"])
def test_grey_gives_three_equal_channels(name: str, scene: Codes, tmp_path: Path) -> None:
    """A grey file is read as three equal channels."""
    Image.fromarray(scene[..., 0]).save(tmp_path / name)
    codes = read_photo(tmp_path / name).codes
    assert codes.shape == scene.shape
    assert np.ptp(codes, axis=-1).max() == 0
    assert np.abs(codes[..., 0].astype(int) - scene[..., 0]).max() <= 3  # what JPEG of quality 75 may change


def test_a_png_with_transparency_keeps_its_colours(scene: Codes, tmp_path: Path) -> None:
    """An alpha channel is dropped, and the colours stay as they were stored."""
    clear = np.dstack([scene, np.full(scene.shape[:2], 9, np.uint8)])
    Image.fromarray(clear).save(tmp_path / "a.png")
    assert np.array_equal(read_photo(tmp_path / "a.png").codes, scene)


def test_a_jpeg_is_read_as_pillow_reads_it(scene: Codes, tmp_path: Path) -> None:
    """Baseline and progressive JPEG files agree with Pillow's decoder within rounding."""
    for name, progressive in (("a.jpg", False), ("b.jpg", True)):
        Image.fromarray(scene).save(tmp_path / name, quality=92, progressive=progressive)
        with Image.open(tmp_path / name) as image:
            judge = np.asarray(image)
        # Decoders may round differently by a code or two.
        assert np.abs(read_photo(tmp_path / name).codes.astype(int) - judge).max() <= 3


def test_heic_is_read_as_its_samples(scene: Codes, tmp_path: Path) -> None:
    """A HEIC file that pillow-heif wrote without loss is read as the PNG of it, and its notes with it."""
    image = Image.fromarray(scene)
    exif = image.getexif()
    exif.get_ifd(0x8769)[0xA405], exif.get_ifd(0x8769)[0x829A] = 28, 1 / 30
    whole = pillow_heif.from_pillow(image)
    whole.save(tmp_path / "a.heic", quality=-1, chroma=444, matrix_coefficients=0, exif=exif.tobytes())
    image.save(tmp_path / "a.png")
    codes = read_photo(tmp_path / "a.heic").codes.astype(int)
    assert np.abs(codes - read_photo(tmp_path / "a.png").codes).max() <= 1
    notes = read_notes(tmp_path / "a.heic")
    assert notes.focal_35mm == 28
    assert notes.exposure_s == pytest.approx(1 / 30)


def test_camera_raw_is_read_as_linear_light(tmp_path: Path) -> None:
    """A DNG of the light of a slope, written by tifffile, has the linear light of the PNG that is made of it."""
    y, x = np.mgrid[:600, :800]
    light = np.stack([x / 799, y / 599, (x + y) / 1398], axis=-1) * 0.7 + 0.1
    _write_dng(tmp_path / "a.dng", light)
    # IEC 61966-2-1: sRGB's curve, in 16 bits.
    codes = np.round((1.055 * light ** (1 / 2.4) - 0.055) * 65535).astype(np.uint16)
    rows = b"".join(b"\0" + row.astype(">u2").tobytes() for row in codes)
    (tmp_path / "a.png").write_bytes(_png((800, 600), rows, depth=16))
    read = [read_photo(tmp_path / name).linear()[8:-8, 8:-8] for name in ("a.dng", "a.png")]
    assert np.abs(read[0] - read[1]).max() < 0.002


def test_a_damaged_raw_file_is_refused_in_one_line(tmp_path: Path) -> None:
    """A DNG that breaks off is no photograph, and the message names the file."""
    _write_dng(tmp_path / "a.dng", np.full((600, 800, 3), 0.5))
    whole = (tmp_path / "a.dng").read_bytes()
    (tmp_path / "b.dng").write_bytes(whole[:3000])
    with pytest.raises(FileError, match=r"b\.dng: .*DNG file is damaged"):
        read_photo(tmp_path / "b.dng")


@pytest.mark.parametrize(("name", "package"), [("a.heic", "pillow_heif"), ("a.dng", "rawpy")])
def test_a_missing_library_is_named(name: str, package: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the extra package one line says how to install it."""
    if name == "a.dng":
        _write_dng(tmp_path / name, np.full((600, 800, 3), 0.5))
    else:
        (tmp_path / name).write_bytes(b"\0\0\0\x18ftypheic" + b"\0" * 5000)
    monkeypatch.setitem(sys.modules, package, None)
    with pytest.raises(FileError, match=r"pip install 'trueraster\[phone\]'"):
        read_photo(tmp_path / name)


def _write_dng(path: Path, light: NDArray[np.float64]) -> None:
    """A DNG of a camera whose colours are sRGB's, red at the top left of four: DNG 1.4, chapter 4 (from memory)."""
    mosaic = light[..., 1].copy()
    mosaic[::2, ::2], mosaic[1::2, 1::2] = light[::2, ::2, 0], light[1::2, 1::2, 2]
    from_xyz = np.linalg.inv([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    matrix = tuple(int(part) for value in from_xyz.ravel() for part in (round(value * 10000), 10000))
    tags = [
        (50706, "B", 4, bytes([1, 4, 0, 0]), True),
        (50708, "s", 0, "Harbour Lane", True),
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, bytes([0, 1, 1, 2]), True),
        (50714, "I", 1, 0, True),
        (50717, "I", 1, 65535, True),
        (50721, "2i", 9, matrix, True),
        (50728, "2I", 3, (1, 1) * 3, True),
        (50778, "H", 1, 21, True),
    ]
    samples = np.round(mosaic * 65535).astype(np.uint16)
    tifffile.imwrite(path, samples, photometric=32803, extratags=tags, metadata=None, software=False)


def _png(size: tuple[int, int], rows: bytes, *, depth: int = 8) -> bytes:
    """A PNG put together by hand: ISO/IEC 15948, 5.3 and 11.2 (from memory)."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", *size, depth, 2, 0, 0, 0)
    body = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def _claiming(path: Path, scene: Codes) -> bytes:
    """A JPEG whose frame header claims 60000 x 60000."""
    Image.fromarray(scene).save(path)
    data = bytearray(path.read_bytes())
    frame = data.index(b"\xff\xc0")
    data[frame + 5 : frame + 9] = struct.pack(">HH", 60_000, 60_000)
    return bytes(data)


@pytest.mark.parametrize("name", ["huge.jpg", "huge.png", "huge.tif"])
def test_a_header_that_claims_too_much_is_refused_at_once(name: str, scene: Codes, tmp_path: Path) -> None:
    """A header that claims 60,000 x 60,000 pixels is refused before memory is taken for them."""
    path = tmp_path / name
    if name.endswith("jpg"):
        path.write_bytes(_claiming(path, scene))
    elif name.endswith("png"):
        path.write_bytes(_png((60_000, 60_000), b"\0" * 1000))
    else:
        tifffile.imwrite(path, scene, photometric="rgb")
        data = bytearray(path.read_bytes())
        with tifffile.TiffFile(path) as read:
            tags = read.pages.first.tags
            for tag in ("ImageWidth", "ImageLength"):
                place = tags[tag].valueoffset
                data[place : place + 2] = struct.pack("<H", 60_000)
        path.write_bytes(data)
    tracemalloc.start()
    try:
        with pytest.raises(FileError, match="60000x60000 pixels"):
            read_photo(path)
        assert tracemalloc.get_traced_memory()[1] < 10_000_000
    finally:
        tracemalloc.stop()


def _written(name: str, scene: Codes, folder: Path) -> Path:
    path, image = folder / name, Image.fromarray(scene)
    kind = path.stem
    if kind == "empty":
        path.write_bytes(b"")
    elif kind == "text":
        path.write_text("no picture\n" * 1000)
    elif kind == "small":
        image.resize((200, 150)).save(path)
    elif kind == "phone":
        path.write_bytes(b"\0\0\0\x18ftypheic" + b"\0" * 5000)
    elif kind in ("print", "few", "two"):
        image.convert({"print": "CMYK", "few": "P", "two": "1"}[kind]).save(path)
    elif kind == "clear":
        image.convert("RGBA").save(path)
    elif kind == "planes":
        tifffile.imwrite(path, np.moveaxis(scene, 2, 0), photometric="rgb", planarconfig="separate")
    elif kind == "floats":
        tifffile.imwrite(path, scene.astype(np.float32), photometric="rgb")
    else:
        image.save(path)
        data = bytearray(path.read_bytes())
        if kind == "header":
            data = data[:100]
        elif kind == "cut":
            data = data[: len(data) * 2 // 3]
        else:
            middle = slice(len(data) // 2, len(data) // 2 + 400)
            data[middle] = bytes(byte ^ 0x5A for byte in data[middle])
        path.write_bytes(data)
    return path


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("empty.jpg", "the file is empty"),
        ("text.jpg", "JPEG, PNG, TIFF, HEIC or DNG is expected"),
        ("small.png", "200x150 pixels"),
        ("phone.heic", "HEIC file is damaged"),
        ("print.jpg", "CMYK"),
        ("print.tif", "CMYK"),
        ("few.png", "palette"),
        ("two.png", "palette"),
        ("few.tif", "palette"),
        ("two.tif", "palette"),
        ("clear.tif", "transparency"),
        ("planes.tif", "planes"),
        ("floats.tif", "not of 8 or 16 bits"),
        ("header.jpg", "header is broken"),
        ("header.png", "damaged"),
        ("header.tif", "header is broken"),
        ("cut.jpg", "damaged"),
        ("cut.png", "damaged"),
        ("cut.tif", "damaged"),
        ("spoilt.jpg", "damaged"),
        ("spoilt.png", "damaged"),
        ("picture.bmp", "JPEG, PNG, TIFF, HEIC or DNG is expected"),
    ],
)
def test_what_is_no_photograph_is_refused_in_one_line(
    name: str, said: str, scene: Codes, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """Each unsuitable or damaged file is refused in one line, and no decoder prints words of its own."""
    path = _written(name, scene, tmp_path)
    with pytest.raises(FileError, match=said) as told:
        read_photo(path)
    assert str(told.value).startswith(f"{path}: ")
    assert "\n" not in str(told.value)
    # Decoders have words of their own, which nobody should have to read.
    assert capfd.readouterr().err == ""


def test_a_file_that_is_not_there_is_one_line(tmp_path: Path) -> None:
    """A missing file is reported as not readable."""
    with pytest.raises(FileError, match="cannot be read"):
        read_photo(tmp_path / "none.jpg")
