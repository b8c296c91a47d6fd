"""The reader: files that other programs made, their codes untouched, and damaged ones."""

from __future__ import annotations

import subprocess
import zlib
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray
from PIL import Image

from patterns.formats import FieldOrder
from patterns.signal import Range, Sampling
from render.decode import Picture, open_video
from render.errors import FileError
from render.samples import planes_of

RNG = np.random.default_rng(5)


def program(*words: str, data: bytes | None = None) -> bytes:
    """Standard output of the ffmpeg program, which has to succeed."""
    command = [get_ffmpeg_exe(), "-hide_banner", "-loglevel", "error", "-y", *words]
    return subprocess.run(command, input=data, capture_output=True, check=True).stdout


def first(path: Path) -> Picture:
    with open_video(path) as video:
        return next(iter(video.pictures()))


def noise(*shape: int, top: int = 256) -> NDArray[Any]:
    return RNG.integers(0, top, shape).astype(np.uint8 if top <= 256 else np.uint16)


# --- Stills that libraries write --------------------------------------------------------------------------------


@pytest.mark.parametrize("suffix", [".png", ".tif", ".bmp", ".webp"])
def test_stills_of_pillow(tmp_path: Path, suffix: str) -> None:
    """R'G'B' of 8 bits comes as it was written."""
    values = noise(30, 40, 3)
    path = tmp_path / f"still{suffix}"
    if suffix == ".webp":
        Image.fromarray(values).save(path, lossless=True)
    else:
        Image.fromarray(values).save(path)
    picture = first(path)
    if suffix == ".webp":
        # Lossless WebP is R'G'B' inside.
        assert picture.tags.sampling is Sampling.RGB
    for i in range(3):
        assert np.array_equal(picture.planes[i], values[:, :, i])


@pytest.mark.parametrize("mode", ["P", "L", "LA", "RGBA", "1"])
def test_kinds_of_png(tmp_path: Path, mode: str) -> None:
    """Palette, grey, transparency: three planes of R'G'B'; one bit a sample is told as not read."""
    image = Image.fromarray(noise(24, 32, 3)).convert(mode)
    image.save(tmp_path / "still.png")
    if mode == "1":
        with pytest.raises(FileError, match="cannot read"):
            first(tmp_path / "still.png")
        return
    expected = np.asarray(image.convert("RGBA" if mode in ("LA", "RGBA") else "RGB"))
    for i, plane in enumerate(first(tmp_path / "still.png").planes):
        assert np.array_equal(plane, expected[:, :, i])


@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_sixteen_bits_of_opencv(tmp_path: Path, suffix: str) -> None:
    """All sixteen bits are kept."""
    values = noise(20, 30, 3, top=65536)
    # Without compression: not every build of the decoder has OpenCV's default one.
    plain = [cv2.IMWRITE_TIFF_COMPRESSION, 1] if suffix == ".tif" else []
    cv2.imwrite(str(tmp_path / f"still{suffix}"), values, plain)
    picture = first(tmp_path / f"still{suffix}")
    assert (picture.tags.bits, picture.tags.sampling) == (16, Sampling.RGB)
    for i in range(3):
        assert np.array_equal(picture.planes[i], values[:, :, 2 - i])


@pytest.mark.parametrize("channels", [1, 4])
@pytest.mark.parametrize("bits", [8, 16])
def test_grey_and_clear_png_of_opencv(tmp_path: Path, channels: int, bits: int) -> None:
    """Grey comes as three equal planes, room for transparency is left out; 16 bits are kept."""
    values = noise(20, 30, channels, top=1 << bits)
    values[..., 3:] = (1 << bits) - 1
    cv2.imwrite(str(tmp_path / "still.png"), values)
    picture = first(tmp_path / "still.png")
    assert (picture.tags.bits, picture.tags.sampling) == (bits, Sampling.RGB)
    for i in range(3):
        assert np.array_equal(picture.planes[i], values[:, :, 0 if channels == 1 else 2 - i])


@pytest.mark.parametrize("how", ["palette", "8 bits", "16 bits", "grey"])
def test_a_transparent_picture_is_refused(tmp_path: Path, how: str) -> None:
    """One sample that can be seen through is enough: what is seen there depends on what is behind it."""
    path = tmp_path / "still.png"
    if how == "palette":
        Image.fromarray(noise(24, 32, 3)).quantize(16).save(path, transparency=3)
    elif how == "grey":
        grey = Image.fromarray(np.dstack([noise(24, 32), np.full((24, 32), 255, np.uint8)]), "LA")
        grey.putpixel((5, 5), (90, 254))
        grey.save(path)
    else:
        top = 1 << int(how.split()[0])
        values = noise(24, 32, 4, top=top)
        values[..., 3] = top - 1
        values[7, 9, 3] = top - 2
        cv2.imwrite(str(path), values)
    with pytest.raises(FileError, match="transparent"):
        first(path)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_picture_that_is_to_be_turned_is_refused(tmp_path: Path, orientation: int) -> None:
    """Whatever Exif says but upright: what a viewer shows is not what the samples hold."""
    for suffix in (".jpg", ".png", ".tif"):
        path, exif = tmp_path / f"still{suffix}", Image.Exif()
        exif[0x112] = orientation
        Image.fromarray(noise(24, 32, 3)).save(path, exif=exif)
        if orientation == 1:
            assert first(path).planes[0].shape == (24, 32)
            continue
        with pytest.raises(FileError, match="turned or mirrored"):
            first(path)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("a.ffconcat", "ffconcat version 1.0\nfile 'a.y4m'\n"),
        ("a.txt", "file 'a.y4m'\n"),
        ("live.m3u8", "#EXTM3U\n#EXT-X-VERSION:3\n#EXT-X-TARGETDURATION:9\n#EXTINF:9,\na.y4m\n"),
        ("a.mpd", '<?xml version="1.0"?>\n<MPD type="dynamic"><Period/></MPD>'),
        ("a.sdp", "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nt=0 0\nm=video 5004 RTP/AVP 96\n"),
    ],
)
def test_lists_of_files_are_not_followed(tmp_path: Path, name: str, words: str) -> None:
    """A list or a playlist beside the file that it names is refused at once, and the file is not opened."""
    program("-f", "lavfi", "-i", "testsrc2=size=64x48:rate=25", "-frames:v", "1", str(tmp_path / "a.y4m"))
    (tmp_path / name).write_text(words, encoding="utf-8")
    with pytest.raises(FileError, match=r"list of other files|no picture|cannot be read as a picture"):
        first(tmp_path / name)


def test_eight_bits_of_opencv_in_tiff(tmp_path: Path) -> None:
    """OpenCV's TIFF of 8 bits is read like Pillow's."""
    values = noise(20, 30, 3)
    cv2.imwrite(str(tmp_path / "still.tif"), values)
    for i, plane in enumerate(first(tmp_path / "still.tif").planes):
        assert np.array_equal(plane, values[:, :, 2 - i])


def test_tiff_in_tiles_is_refused(tmp_path: Path) -> None:
    """A TIFF in tiles gives no frame, since libavcodec would take them for strips and give noise without an error."""
    tifffile.imwrite(tmp_path / "still.tif", noise(64, 64, 3), photometric="rgb", tile=(32, 32))
    with pytest.raises(FileError, match="in tiles is not read; save it in strips"):
        first(tmp_path / "still.tif")


def test_jpeg_keeps_its_own_codes(tmp_path: Path) -> None:
    """A JPEG picture comes as full-range Y'CbCr 4:2:0, as it is coded, not as R'G'B'."""
    Image.new("RGB", (64, 48), (200, 40, 90)).save(tmp_path / "still.jpg", quality=95)
    picture = first(tmp_path / "still.jpg")
    assert (picture.tags.sampling, picture.tags.range) == (Sampling.YCBCR_420, Range.FULL)
    # JFIF: Y = 0.299 R + 0.587 G + 0.114 B; Cb, Cr from it, full range (ITU-T T.871).
    y = 0.299 * 200 + 0.587 * 40 + 0.114 * 90
    expected = (y, 128 + (90 - y) / 1.772, 128 + (200 - y) / 1.402)
    for plane, value in zip(picture.planes, expected, strict=True):
        assert abs(float(np.median(plane)) - value) <= 1


# --- Video that the ffmpeg program writes -----------------------------------------------------------------------

KINDS = [
    ("yuv420p", ".mkv", "ffv1", Sampling.YCBCR_420, 8),
    ("yuv422p", ".avi", "rawvideo", Sampling.YCBCR_422, 8),
    ("yuv444p12le", ".mkv", "ffv1", Sampling.YCBCR_444, 12),
    ("yuv422p10le", ".mov", "v210", Sampling.YCBCR_422, 10),
    ("nv12", ".nut", "rawvideo", Sampling.YCBCR_420, 8),
    ("nv21", ".nut", "rawvideo", Sampling.YCBCR_420, 8),
    ("yuyv422", ".nut", "rawvideo", Sampling.YCBCR_422, 8),
    ("uyvy422", ".mov", "rawvideo", Sampling.YCBCR_422, 8),
    ("rgb24", ".nut", "rawvideo", Sampling.RGB, 8),
    ("bgra", ".nut", "rawvideo", Sampling.RGB, 8),
    ("argb", ".nut", "rawvideo", Sampling.RGB, 8),
    ("rgb48be", ".nut", "rawvideo", Sampling.RGB, 16),
    ("gbrp10le", ".mkv", "ffv1", Sampling.RGB, 10),
    ("gray10le", ".mkv", "ffv1", Sampling.RGB, 10),
    ("gray", ".nut", "rawvideo", Sampling.RGB, 8),
]


def layout(kind: str, planes: list[NDArray[Any]]) -> bytes:
    """The three planes in the memory order of a pixel format, written out by hand for each."""
    a, b, c = planes
    wide = planes[0].dtype.itemsize == 2
    little = "<u2" if wide else "u1"
    if kind.startswith("yuv") and kind not in ("yuyv422",):
        return b"".join(p.astype(little).tobytes() for p in planes)
    if kind.startswith("gbrp"):
        return b"".join(p.astype(little).tobytes() for p in (b, c, a))
    if kind.startswith("gray"):
        return a.astype(little).tobytes()
    if kind in ("nv12", "nv21"):
        pair = (b, c) if kind == "nv12" else (c, b)
        return a.tobytes() + np.stack(pair, -1).tobytes()
    if kind in ("yuyv422", "uyvy422"):
        even, odd = a[:, 0::2], a[:, 1::2]
        return np.stack((even, b, odd, c) if kind == "yuyv422" else (b, even, c, odd), -1).tobytes()
    blank = np.full_like(a, 255)
    parts = {"rgb24": (a, b, c), "bgra": (c, b, a, blank), "argb": (blank, a, b, c), "rgb48be": (a, b, c)}[kind]
    return np.stack(parts, -1).astype(">u2" if kind.endswith("be") else "u1").tobytes()


@pytest.mark.parametrize(("kind", "suffix", "codec", "sampling", "bits"), KINDS)
def test_layouts_of_samples(tmp_path: Path, kind: str, suffix: str, codec: str, sampling: Sampling, bits: int) -> None:
    """Each layout that files have comes as three planes with the codes that were put in."""
    width, height = 96, 32
    step_x, step_y = sampling.chroma_step
    # v210 keeps four codes at each end for itself.
    low, high = (4, 1020) if codec == "v210" else (0, 1 << bits)
    kind_of = np.uint8 if bits == 8 else np.uint16
    sizes = [(height, width), *[(height // step_y, width // step_x)] * 2]
    planes = [RNG.integers(low, high, size).astype(kind_of) for size in sizes]
    if kind.startswith("gray"):
        planes = [planes[0]] * 3
    path = tmp_path / f"video{suffix}"
    raw = ("-f", "rawvideo", "-pix_fmt", kind, "-s", f"{width}x{height}", "-r", "25", "-i", "-")
    program(*raw, "-c:v", codec, str(path), data=layout(kind, planes))
    picture = first(path)
    assert (picture.tags.sampling, picture.tags.bits) == (sampling, bits)
    for got, expected in zip(picture.planes, planes, strict=True):
        assert np.array_equal(got, expected)


@pytest.mark.parametrize("kind", ["p010le", "p016le"])
def test_paired_chroma_of_many_bits(kind: str) -> None:
    """Ten bits at the top of sixteen come down; no container keeps these layouts, so the frame is made in memory."""
    bits, shift = (10, 6) if kind == "p010le" else (16, 0)
    luma, cb, cr = (noise(*size, top=1 << bits) for size in ((32, 96), (16, 48), (16, 48)))
    frame = av.VideoFrame(96, 32, kind)
    for plane, values in zip(frame.planes, (luma, np.stack((cb, cr), -1).reshape(16, 96)), strict=True):
        rows = np.zeros((plane.height, plane.line_size // 2), "<u2")
        rows[:, :96] = values << shift
        plane.update(rows.tobytes())
    sampling, depth, planes = planes_of(frame)
    assert (sampling, depth) == (Sampling.YCBCR_420, bits)
    for got, expected in zip(planes, (luma, cb, cr), strict=True):
        assert np.array_equal(got, expected)


RAW = [
    # File, the words that write it, and what the program's own raw output of it is.
    ("still.jpg", ("-c:v", "mjpeg", "-pix_fmt", "yuvj420p", "-q:v", "3"), "420", 8, Range.FULL),
    ("still.jpg", ("-c:v", "mjpeg", "-pix_fmt", "yuvj422p", "-q:v", "3"), "422", 8, Range.FULL),
    ("still.jpg", ("-c:v", "mjpeg", "-pix_fmt", "yuvj444p", "-q:v", "3"), "444", 8, Range.FULL),
    ("clip.mov", ("-c:v", "prores_ks", "-pix_fmt", "yuv422p10le"), "422", 10, Range.NARROW),
    ("clip.mpg", ("-c:v", "mpeg2video", "-pix_fmt", "yuv420p"), "420", 8, Range.NARROW),
    ("clip.mp4", ("-c:v", "libx264", "-pix_fmt", "yuv420p10le"), "420", 10, None),
]


@pytest.mark.parametrize(("name", "words", "sampling", "bits", "code_range"), RAW)
def test_codes_are_those_of_the_programs_raw_output(
    tmp_path: Path, name: str, words: tuple[str, ...], sampling: str, bits: int, code_range: Range | None
) -> None:
    """A file coded with loss comes with the codes that the ffmpeg program decodes; the range is the file's word."""
    path, width, height = tmp_path / name, 128, 96
    source = ("-f", "lavfi", "-i", f"testsrc2=size={width}x{height}:rate=25", "-frames:v", "1")
    program(*source, *words, str(path))
    raw = program("-i", str(path), "-frames:v", "1", "-f", "rawvideo", "-")
    values = np.frombuffer(raw, "u1" if bits == 8 else "<u2")
    picture = first(path)
    assert (picture.tags.sampling, picture.tags.bits) == (Sampling(sampling), bits)
    assert picture.tags.range is code_range
    assert np.array_equal(np.concatenate([plane.ravel() for plane in picture.planes]), values)


@pytest.mark.parametrize(("kind", "bits"), [("rgb24", 8), ("gbrp10be", 10), ("gbrp12be", 12), ("rgb48be", 16)])
def test_depths_of_dpx(tmp_path: Path, kind: str, bits: int) -> None:
    """R'G'B' codes of DPX files of every depth come as they were put in."""
    planes = [RNG.integers(0, 1 << bits, (32, 96)).astype(">u2" if bits > 8 else np.uint8) for _ in range(3)]
    parts = (
        (planes[1], planes[2], planes[0])
        if kind.startswith("gbrp")
        else (np.stack(planes, -1).astype(planes[0].dtype),)
    )
    raw = ("-f", "rawvideo", "-pix_fmt", kind, "-s", "96x32", "-i", "-")
    program(*raw, str(tmp_path / "still.dpx"), data=b"".join(part.tobytes() for part in parts))
    picture = first(tmp_path / "still.dpx")
    assert (picture.tags.sampling, picture.tags.bits) == (Sampling.RGB, bits)
    for got, expected in zip(picture.planes, planes, strict=True):
        assert np.array_equal(got, expected)


@pytest.mark.parametrize("kind", ["yuv420p", "yuv422p", "yuyv422", "rgb24"])
@pytest.mark.parametrize(("width", "height"), [(95, 32), (96, 33), (97, 35)])
def test_odd_sizes(tmp_path: Path, kind: str, width: int, height: int) -> None:
    """A raster of an odd width or height keeps every code; chroma has the sample at the odd end."""
    path = tmp_path / "video.nut"
    if kind == "yuyv422" and width % 2:
        width += 1
    source = ("-f", "lavfi", "-i", f"testsrc2=size={width}x{height}:rate=25,format={kind}", "-frames:v", "1")
    program(*source, "-c:v", "rawvideo", str(path))
    planar = {"yuyv422": "yuv422p", "rgb24": "gbrp"}.get(kind, kind)
    values = np.frombuffer(program("-i", str(path), "-f", "rawvideo", "-pix_fmt", planar, "-"), "u1")
    red, *rest = first(path).planes
    planes = [*rest, red] if kind == "rgb24" else [red, *rest]
    assert np.array_equal(np.concatenate([plane.ravel() for plane in planes]), values)


@pytest.mark.parametrize("codec", [("libx264", ".mp4", ("-flags", "+ildct+ilme")), ("ffv1", ".mkv", ())])
@pytest.mark.parametrize(
    ("mode", "order"), [("tff", FieldOrder.TOP), ("bff", FieldOrder.BOTTOM), ("prog", FieldOrder.PROGRESSIVE)]
)
def test_field_order_of_frames(
    tmp_path: Path, codec: tuple[str, str, tuple[str, ...]], mode: str, order: FieldOrder
) -> None:
    """The order is read from the frames, where the container's own word may be wrong."""
    name, suffix, words = codec
    path = tmp_path / f"video{suffix}"
    source = ("-f", "lavfi", "-i", "testsrc2=size=720x480:rate=30000/1001,format=yuv420p", "-frames:v", "3")
    program(*source, "-vf", f"setfield={mode}", "-c:v", name, *(words if mode != "prog" else ()), str(path))
    assert first(path).tags.field_order is order


# --- Damage -----------------------------------------------------------------------------------------------------


def small_files(folder: Path) -> dict[str, bytes]:
    """One small file of each kind."""
    Image.fromarray(noise(24, 32, 3)).save(folder / "a.png")
    Image.fromarray(noise(24, 32, 3)).save(folder / "a.jpg")
    Image.fromarray(noise(24, 32, 3)).save(folder / "a.tif")
    source = ("-f", "lavfi", "-i", "testsrc2=size=64x48:rate=25,format=yuv420p", "-frames:v", "3")
    program(*source, "-c:v", "libx264", str(folder / "a.mp4"))
    program(*source, "-c:v", "ffv1", "-level", "3", "-slicecrc", "1", str(folder / "a.mkv"))
    program(*source, str(folder / "a.y4m"))
    return {path.suffix: path.read_bytes() for path in sorted(folder.iterdir())}


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    return small_files(tmp_path_factory.mktemp("files"))


def read_all(path: Path) -> int:
    """Frames that can be read, or -1 where the reader refuses. Anything but FileError comes through."""
    try:
        with open_video(path) as video:
            return sum(1 for _ in video.pictures())
    except FileError as error:
        assert "\n" not in str(error)  # noqa: PT017
        return -1


@pytest.mark.parametrize("suffix", [".png", ".jpg", ".tif", ".mp4", ".mkv", ".y4m"])
def test_cut_files(tmp_path: Path, files: dict[str, bytes], suffix: str) -> None:
    """Whole, a file has all its frames; cut short, it is refused or has fewer; a cut still is refused."""
    data, path = files[suffix], tmp_path / f"cut{suffix}"
    path.write_bytes(data)
    whole = read_all(path)
    assert whole == (1 if suffix in (".png", ".jpg", ".tif") else 3)
    for part in (0, 1, 10, len(data) // 3, len(data) // 2):
        path.write_bytes(data[:part])
        assert read_all(path) < whole


@pytest.mark.parametrize("suffix", [".png", ".tif"])
def test_a_still_is_decoded_once(tmp_path: Path, suffix: str) -> None:
    """Opening it leaves it to its first picture: half the time of reading a large one."""
    path = tmp_path / f"still{suffix}"
    Image.new("RGB", (48, 32), (10, 20, 30)).save(path)
    with open_video(path) as video:
        context = video._container.streams.video[0].codec_context
        assert context.pix_fmt is None
        assert [int(plane[0, 0]) for plane in next(video.pictures()).planes] == [10, 20, 30]


def test_no_pictures(tmp_path: Path) -> None:
    """A folder, a missing file, a text, and a sound are told apart from a picture."""
    (tmp_path / "text").write_text("a text " * 500, encoding="utf-8")
    program("-f", "lavfi", "-i", "sine=duration=0.2", str(tmp_path / "sound.wav"))
    for name in ("", "missing", "text", "sound.wav"):
        assert read_all(tmp_path / name) == -1


def test_a_huge_picture_is_refused_before_it_is_decoded(tmp_path: Path, files: dict[str, bytes]) -> None:
    """A small file that claims 60000 x 60000 samples is told by its size."""
    data = bytearray(files[".png"])
    data[16:24] = (60000).to_bytes(4, "big") * 2
    (tmp_path / "huge.png").write_bytes(data)
    with pytest.raises(FileError, match="60000x60000 is too large"):
        first(tmp_path / "huge.png")


@pytest.mark.parametrize("size", [(2**31 - 1, 2**31 - 1), (2**31 - 1, 1), (0, 0), (50_000_000, 1)])
def test_a_header_of_png_that_lies(tmp_path: Path, files: dict[str, bytes], size: tuple[int, int]) -> None:
    """A size that nothing can have, with a good checksum of the header: one line, no memory taken."""
    data = bytearray(files[".png"])
    data[16:24] = size[0].to_bytes(4, "big") + size[1].to_bytes(4, "big")
    data[29:33] = zlib.crc32(data[12:29]).to_bytes(4, "big")
    (tmp_path / "huge.png").write_bytes(data)
    assert read_all(tmp_path / "huge.png") == -1


@pytest.mark.parametrize(
    "words",
    [
        b"W64 H48 F25:1",
        b"W64 H48 F25:1 C420p10 XH273=1-1-1",
        b"W60000 H60000 F25:1",
        b"W0 H0 F0:0",
        b"",
        b"W-5 H48 F25:1",
    ],
)
def test_a_header_of_y4m_alone(tmp_path: Path, words: bytes) -> None:
    """A header without a frame, whatever it says, is no picture."""
    (tmp_path / "head.y4m").write_bytes(b"YUV4MPEG2 " + words + b"\n")
    assert read_all(tmp_path / "head.y4m") == -1


@pytest.mark.parametrize("size", [1, 100, 5000, 200_000])
def test_random_bytes(tmp_path: Path, size: int) -> None:
    """Bytes without a meaning are no picture."""
    for seed in range(5):
        (tmp_path / "bytes").write_bytes(np.random.default_rng(seed).bytes(size))
        assert read_all(tmp_path / "bytes") == -1


@pytest.mark.parametrize("kind", [".png", ".jpg", ".tif", ".mp4", ".mkv", ".y4m"])
def test_a_damaged_file_writes_no_words(
    files: dict[str, bytes], tmp_path: Path, kind: str, capfd: pytest.CaptureFixture[str]
) -> None:
    """The decoder's own complaints about a damaged file do not reach the terminal."""
    path = tmp_path / "damaged"
    for seed in range(20):
        data = bytearray(files[kind])
        for at in np.random.default_rng(seed).integers(30, len(data), 8):
            data[at] ^= 0x55
        path.write_bytes(data)
        read_all(path)
    assert capfd.readouterr() == ("", "")


@settings(max_examples=150, suppress_health_check=list(HealthCheck))
@given(
    kind=st.sampled_from([".png", ".jpg", ".tif", ".mp4", ".mkv", ".y4m"]),
    changes=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=20),
    keep=st.floats(0.2, 1),
)
def test_damaged_files(
    files: dict[str, bytes], tmp_path: Path, kind: str, changes: list[tuple[float, int]], keep: float
) -> None:
    """Bytes changed and ends cut: frames or FileError, never anything else."""
    data = bytearray(files[kind])
    for place, value in changes:
        # Half of the changes go into the head, where a file says what it is.
        at = int(place * 2 * min(len(data), 400)) if place < 0.5 else int((place - 0.5) * 2 * len(data))
        data[min(at, len(data) - 1)] = value
    path = tmp_path / "damaged"
    path.write_bytes(data[: max(1, int(keep * len(data)))])
    assert read_all(path) >= -1


def test_an_unknown_codec_is_told(tmp_path: Path, files: dict[str, bytes]) -> None:
    """A container whose pictures are coded in an unknown way is refused in one line."""
    data = files[".mp4"].replace(b"avc1", b"zzzz")
    (tmp_path / "odd.mp4").write_bytes(data)
    assert read_all(tmp_path / "odd.mp4") == -1
