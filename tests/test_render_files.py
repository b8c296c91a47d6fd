"""Files as written, read by decoders that did not write them: PyAV, OpenCV, Pillow and the ffmpeg program.

OpenCV judges PNG only: its video reader converts the samples of interlaced files, or refuses to.
"""

from __future__ import annotations

import itertools
import re
import struct
import subprocess
import zlib
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import av
import cv2
import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray
from PIL import Image

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, FieldOrder, Format, parse_format
from patterns.pattern import Options
from patterns.placement import patch_area
from patterns.signal import Edges, Matrix, Range, Sampling
from render import clip as clip_module
from render import produce as produce_module
from render.carriers import CARRIERS
from render.decode import open_video
from render.files.dpx import write_dpx
from render.files.png import write_png
from render.files.tiff import write_tiff
from render.files.y4m import frame_bytes
from render.produce import Made, Order, ProofError, default_name, produce
from render.proof import Proof, Verdict, prove
from render.quantise import Planes
from render.raster import check_raster, draw_frame, frames_per_period
from render.tags import Tags, tags_for
from render.video import h264_clip
from render.video.encoder import WriteError, encode_frames
from render.video.h264_exact import encode as encode_without_loss
from render.video.h264_levels import LevelError
from tests.matrix import quick_and_slow, rest_is_slow

Vectors = dict[str, Any]

MARGIN_X, MARGIN_Y = 6, 4
"""Samples and lines that are left out inside a patch's edges: a shaped chroma edge reaches 4 samples, an interlaced
4:2:0 sample 3 lines."""


def order(
    pattern: str,
    fmt: Format,
    carrier: str,
    *,
    seconds: float = 0.2,
    options: Options | None = None,
    **signal: Any,
) -> Order:
    kind = CARRIERS[carrier]
    return Order(
        pattern=PATTERNS[pattern],
        options=options or Options(),
        format=fmt,
        signal=kind.signal(fmt, **signal),
        carrier=kind,
        seconds=None if kind.default_seconds is None else seconds,
    )


def made(folder: Path, what: Order) -> Made:
    return produce(what, folder / default_name(what))


def drawn(what: Order, index: int = 0) -> list[NDArray[Any]]:
    return list(as_drawn(what)(index))


def as_drawn(what: Order) -> Callable[[int], Planes]:
    """Frames of an order by their number, as `prove` asks for them."""
    scene = what.pattern.scene(what.format, what.options, what.signal)
    # A still of a moving scene shows the middle of its way.
    start = frames_per_period(scene, what.format) // 2 if what.seconds is None else 0
    return lambda index: draw_frame(scene, what.format, what.signal, start + index)


def tags_of(what: Order) -> Tags:
    frames = 1 if what.seconds is None else round(what.seconds * float(what.format.frame_rate))
    return tags_for(what.format, what.signal, frames)


def library_frames(path: Path, what: Order) -> list[list[NDArray[Any]]]:
    """Every frame as PyAV decodes it, its planes cut out of the frame's memory here."""
    frames = []
    with av.open(str(path)) as container:
        for frame in container.decode(video=0):
            name = frame.format.name
            wide = name.endswith(("le", "be"))
            kind = (">u2" if name.endswith("be") else "<u2") if wide else "u1"
            each = {"rgb24": 3, "rgb48be": 3, "bgr0": 4}.get(name, 1)
            memory: list[NDArray[Any]] = []
            for plane in frame.planes:
                rows = np.frombuffer(bytes(plane), kind).reshape(plane.height, -1)
                memory.append(rows[:, : plane.width * each].astype(np.uint16 if wide else np.uint8))
            if name == "bgr0":
                planes = [memory[0][:, i::4] for i in (2, 1, 0)]
            elif each == 3:
                shift = 16 - what.signal.bits if wide else 0
                planes = [memory[0][:, i::3] >> shift for i in range(3)]
            elif name.startswith("gbrp"):
                planes = [memory[i] for i in (2, 0, 1)]
            else:
                assert name.startswith("yuv"), name
                planes = memory
            frames.append(planes)
    return frames


def program(*words: str, data: bytes | None = None) -> tuple[bytes, str]:
    """Standard output and error of the ffmpeg program."""
    command = [get_ffmpeg_exe(), "-nostdin", "-hide_banner", *words]
    done = subprocess.run(command, input=data, capture_output=True, check=False)
    return done.stdout, done.stderr.decode("utf-8", "replace")


def raw_frames(path: Path, what: Order, first: int | None = None) -> list[list[NDArray[Any]]]:
    """Every frame as the ffmpeg program decodes it, in the file's own samples: no pixel format is asked for."""
    only = [] if first is None else ["-frames:v", str(first)]
    # A list of files is read one after the other.
    listed = ["-f", "concat"] if path.suffix == ".txt" else []
    data, words = program(
        "-loglevel", "error", *listed, "-i", str(path), *only, "-fps_mode", "passthrough", "-f", "rawvideo", "-"
    )
    assert not words, words
    signal, fmt = what.signal, what.format
    stored = path.suffix in (".png", ".tif")
    bits = 16 if stored and signal.bits > 8 else signal.bits
    wide = bits > 8
    # R, G, B after one another, but for DPX of 10 and 12 bits.
    woven = stored or (path.suffix == ".dpx" and bits in (8, 16))
    order_of_bytes = ">u2" if woven and path.suffix != ".tif" else "<u2"
    values = np.frombuffer(data, order_of_bytes if wide else np.uint8)
    if path.suffix == ".mkv" and signal.sampling is Sampling.RGB and bits == 8:
        # Eight-bit R'G'B' of FFV1 comes as B, G, R and a byte without meaning.
        packed = values.reshape(-1, fmt.height, fmt.width, 4)
        return [[frame[:, :, i] for i in (2, 1, 0)] for frame in packed]
    step_x, step_y = signal.sampling.chroma_step
    shapes = [(fmt.height, fmt.width), *[(fmt.height // step_y, fmt.width // step_x)] * 2]
    size = sum(h * w for h, w in shapes)
    assert values.size % size == 0
    frames = []
    for frame in values.reshape(-1, size):
        if woven:
            planes = list(np.moveaxis(frame.reshape(fmt.height, fmt.width, 3), -1, 0))
            planes = [plane >> (bits - signal.bits) for plane in planes]
        else:
            cuts = np.cumsum([h * w for h, w in shapes])[:-1]
            planes = [part.reshape(shape) for part, shape in zip(np.split(frame, cuts), shapes, strict=True)]
            if signal.sampling is Sampling.RGB:
                planes = [planes[2], planes[0], planes[1]]  # G, B, R is the program's order.
        frames.append(planes)
    return frames


def same(got: list[NDArray[Any]], expected: list[NDArray[Any]], where: str) -> None:
    """Compare planes and name the first sample that differs."""
    for name, a, b in zip("abc", got, expected, strict=True):
        assert a.shape == b.shape, (where, name, a.shape, b.shape)
        if not np.array_equal(a, b):
            row, column = np.argwhere(a != b)[0]
            raise AssertionError(
                f"{where}: plane {name}, row {row}, column {column}: {a[row, column]}, not {b[row, column]}"
            )


def patches_are_exact(planes: list[NDArray[Any]], what: Order, where: str) -> None:
    """Every flat patch holds the equations' codes and nothing else, in all three planes."""
    scene = what.pattern.scene(what.format, what.options, what.signal)
    for patch in scene.patches:
        if patch.sloped:
            continue
        codes = what.signal.codes(patch.colour)
        span = patch_area(what.format, patch, MARGIN_X, MARGIN_Y)
        for i, plane in enumerate(planes):
            sx, sy = what.signal.sampling.chroma_step if i else (1, 1)
            if (patch.thin and sy > 1) or (patch.core and sx > 1):
                continue  # A chroma sample reaches beyond the line, or round the middle of a dot.
            part = plane[-(-span.top // sy) : span.bottom // sy, -(-span.left // sx) : span.right // sx]
            assert set(np.unique(part)) <= {codes[i]}, (where, patch.name, i, np.unique(part), codes[i])


SMALL = [
    ("bars", "480i", "h264", {}),
    ("bars", "576i", "h264", {"code_range": Range.FULL}),
    ("steps", "720p50", "h264", {}),
    ("circles", "480i", "h264", {}),
    ("slate", "240p", "h264", {}),
    ("bars", "480i", "ffv1", {}),
    ("bars", "1080i50", "ffv1", {"sampling": Sampling.RGB, "bits": 16, "code_range": Range.FULL}),
    ("bars", "576i", "ffv1", {"sampling": Sampling.RGB, "bits": 8}),
    ("crosshatch-rb", "576i", "ffv1", {"sampling": Sampling.YCBCR_420, "bits": 12}),
    ("bars", "480i", "ffv1", {"code_range": Range.FULL}),
    ("steps", "576p", "ffv1", {"code_range": Range.FULL, "bits": 8, "sampling": Sampling.YCBCR_420}),
    ("pluge", "288p", "ffv1", {"sampling": Sampling.YCBCR_444, "bits": 8}),
    ("ramp", "1080p24", "y4m", {}),
    ("bars", "480i", "y4m", {"sampling": Sampling.YCBCR_420, "bits": 8}),
    ("bars", "576p", "y4m", {"sampling": Sampling.YCBCR_444, "bits": 12}),
    ("bars", "480i", "png", {}),
    ("bars", "480i", "png", {"code_range": Range.NARROW}),
    ("steps", "720p60", "png", {"bits": 10}),
    ("steps", "576i", "png", {"bits": 10, "code_range": Range.NARROW}),
    ("steps", "480p", "png", {"bits": 12}),
    ("circles", "1080i59.94", "png", {"bits": 16}),
    ("field", "480i", "png", {"bits": 12, "code_range": Range.NARROW}),
]


@pytest.mark.parametrize(
    ("pattern", "fmt", "carrier", "signal"), rest_is_slow(SMALL, [x for x in SMALL if "1080" not in x[1]])
)
def test_file_holds_what_was_drawn(
    tmp_path: Path, pattern: str, fmt: str, carrier: str, signal: dict[str, Any]
) -> None:
    """Decoded by the ffmpeg program and by PyAV, every frame is the drawn one, every flat patch has its codes."""
    what = order(pattern, FORMATS[fmt], carrier, **signal)
    file = made(tmp_path, what)
    assert file.proof.verdict is Verdict.EXACT
    expected = drawn(what)
    for reader in (raw_frames, library_frames):
        frames = reader(file.path, what)
        assert len(frames) == tags_of(what).frames
        for frame in frames:
            same(frame, expected, f"{file.path.name} by {reader.__name__}")
        patches_are_exact(frames[0], what, file.path.name)


def flat(planes: list[NDArray[Any]], what: Order, name: str) -> tuple[int, ...]:
    """The one code that each plane has in the middle of a patch."""
    scene = what.pattern.scene(what.format, what.options, what.signal)
    span = patch_area(what.format, next(p for p in scene.patches if p.name == name), 20, 20)
    found = []
    for i, plane in enumerate(planes):
        sx, sy = what.signal.sampling.chroma_step if i else (1, 1)
        (code,) = np.unique(plane[span.top // sy : span.bottom // sy, span.left // sx : span.right // sx])
        found.append(int(code))
    return tuple(found)


PUBLISHED = [
    ("png", "480i", "rgb_8", {"code_range": Range.NARROW}),
    ("png", "1080p25", "rgb_10", {"code_range": Range.NARROW, "bits": 10}),
    ("h264", "576i", "601_8", {}),
    ("h264", "720p50", "709_8", {}),
    ("ffv1", "480i", "601_10", {}),
    ("ffv1", "1080i50", "709_10", {"sampling": Sampling.YCBCR_420}),
    ("y4m", "576p", "601_10", {"sampling": Sampling.YCBCR_444}),
    ("y4m", "720p60", "709_8", {"bits": 8}),
]


@pytest.mark.parametrize(
    ("carrier", "fmt", "key", "signal"), rest_is_slow(PUBLISHED, [x for x in PUBLISHED if "1080" not in x[1]])
)
def test_bars_and_steps_have_the_published_codes(
    tmp_path: Path, carrier: str, fmt: str, key: str, signal: dict[str, Any], bars: Vectors, greys: Vectors
) -> None:
    """What PyAV decodes has the codes of tests/vectors: bars.toml and greys.toml name their documents."""
    # BT.471: white bar, black bar, then the highest level of the coloured bars; three_quarters has no black.
    for name, white, coloured in (
        ("100/0/100/0", "full", "full"),
        ("100/0/75/0", "full", "three_quarters"),
        ("75/0/75/0", "three_quarters", "three_quarters"),
    ):
        what = order("bars", FORMATS[fmt], carrier, seconds=0.04, options=Options(bars=name), **signal)
        planes = library_frames(made(tmp_path, what).path, what)[0]
        for bar in ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black"):
            part = {"white": white, "black": "full"}.get(bar, coloured)
            assert flat(planes, what, bar) == tuple(bars[part][bar][key]), (name, bar)
    what = order("steps", FORMATS[fmt], carrier, seconds=0.04, **signal)
    planes = library_frames(made(tmp_path, what).path, what)[0]
    bits = key.split("_")[1]
    for level, code in greys["greys"][bits].items():
        # Chroma zero: 128 of 8 bits, 512 of 10 (BT.601-7 Table 3).
        other = code if what.signal.sampling.is_rgb else 1 << (int(bits) - 1)
        assert flat(planes, what, level) == (code, other, other), level


def test_a_clip_of_one_frame(tmp_path: Path) -> None:
    """A clip shorter than a group has one frame, whichever writer it gets."""
    for pattern in ("bars", "circles"):
        what = order(pattern, FORMATS["576i"], "h264", seconds=0.01)
        frames = raw_frames(made(tmp_path, what).path, what)
        assert len(frames) == 1
        same(frames[0], drawn(what), pattern)


RASTERS = list({(f.width, f.height, f.interlaced): f.id for f in FORMATS.values()}.values())
"""One format of each raster and scan; the others differ from it in their rate alone."""


@pytest.mark.parametrize("fmt", [fmt for fmt in FORMATS if fmt not in RASTERS])
def test_formats_of_one_raster_draw_alike(fmt: str) -> None:
    """Formats that differ in their rate alone have the same scenes, so the matrix needs one of them."""
    chosen = FORMATS[fmt]
    like = next(
        f for f in map(FORMATS.get, RASTERS) if f and (f.height, f.interlaced) == (chosen.height, chosen.interlaced)
    )
    assert (like.width, like.picture, like.sample_aspect) == (chosen.width, chosen.picture, chosen.sample_aspect)
    for pattern in PATTERNS.values():
        # The slate says the rate; the others have frequencies, which follow from the clock.
        if pattern.id not in ("slate", "multiburst", "sweep", "pulse-bar", "alignment"):
            assert pattern.scene(chosen) == pattern.scene(like)


CODINGS = [
    (carrier.name, code_range, bits, sampling)
    for carrier in CARRIERS.values()
    if not carrier.formats
    for code_range in carrier.ranges
    for bits in carrier.depths
    for sampling in carrier.samplings
]


@pytest.mark.parametrize(("carrier", "code_range", "bits", "sampling"), rest_is_slow(CODINGS, CODINGS[::3]))
def test_every_coding_of_every_carrier(
    tmp_path: Path, carrier: str, code_range: Range, bits: int, sampling: Sampling
) -> None:
    """Whatever a carrier can hold is written, proved with all its tags, and read back by the ffmpeg program."""
    fmt = parse_format("176x120i@50")
    for pattern in ("bars", "circles"):
        what = order(pattern, fmt, carrier, seconds=0.1, code_range=code_range, bits=bits, sampling=sampling)
        file = made(tmp_path, what)
        frame = raw_frames(file.path, what, first=1)[0]
        if not what.carrier.rule.patches_only:
            assert file.proof.verdict is Verdict.EXACT
            same(frame, drawn(what), file.path.name)
        patches_are_exact(frame, what, file.path.name)


@pytest.mark.slow
@pytest.mark.parametrize("fmt", FORMATS)
def test_every_pattern_in_every_format_as_h264(tmp_path: Path, fmt: str) -> None:
    """Every pattern in every named format as a clip of one frame: exact, and so are its flat patches.

    But for the moving zone plate where it comes faster than players read; it is within its rule there.
    """
    orders = [order(pattern, FORMATS[fmt], "h264", seconds=0.01) for pattern in PATTERNS]
    listed = tmp_path / "all.txt"
    files = [made(tmp_path, what) for what in orders]
    listed.write_text("".join(f"file '{file.path.name}'\n" for file in files), encoding="utf-8")
    # One start of the program reads all of them.
    frames = raw_frames(listed, orders[0])
    for what, file, frame in zip(orders, files, frames, strict=True):
        if what.pattern.id == "zone-plate-moving" and fmt not in READ_WHOLE:
            assert file.proof.verdict is Verdict.WITHIN, file.path.name
            continue
        assert file.proof.verdict is Verdict.EXACT, file.path.name
        same(frame, drawn(what), file.path.name)
        patches_are_exact(frame, what, file.path.name)


READ_WHOLE = ("240p", "288p", "480i", "576i", "480p", "576p")
"""Where the moving zone plate, written without loss, comes at less than 62.5 Mbit/s: docs/reference/files.md."""


@pytest.mark.parametrize("seconds", [0.1, 0.7])
@pytest.mark.parametrize("fmt", quick_and_slow(["480i", "480p"], ["720p50"]))
def test_the_length_does_not_decide_how_a_clip_is_coded(tmp_path: Path, fmt: str, seconds: float) -> None:
    """The moving zone plate gets the coding of a minute in a clip that is shorter or longer than its half second.

    A minute: exact in 480i and 480p, 7 codes off in 720p50 (docs/reference/files.md).
    """
    proof = made(tmp_path, order("zone-plate-moving", FORMATS[fmt], "h264", seconds=seconds)).proof
    assert (proof.verdict is Verdict.EXACT) == (fmt in READ_WHOLE)
    assert proof.max_error_codes == {"480i": 0, "480p": 0, "720p50": 7}[fmt]


@pytest.mark.slow
@pytest.mark.parametrize("fmt", RASTERS)
def test_every_pattern_in_every_format_as_png(tmp_path: Path, fmt: str) -> None:
    """Every pattern in every raster as PNG, read by Pillow or OpenCV: the drawn codes.

    The eight depths and ranges go round, so that each pattern and each raster meets all of them.
    """
    kinds = list(itertools.product((8, 10, 12, 16), Range))
    for i, pattern in enumerate(PATTERNS):
        bits, code_range = kinds[(i + RASTERS.index(fmt)) % len(kinds)]
        what = order(pattern, FORMATS[fmt], "png", bits=bits, code_range=code_range)
        file = made(tmp_path, what)
        assert file.proof.verdict is Verdict.EXACT
        if bits == 8:
            with Image.open(file.path) as opened:
                image = np.asarray(opened)
        else:
            read = cv2.imread(str(file.path), cv2.IMREAD_UNCHANGED)
            assert read is not None
            assert read.dtype == np.uint16
            image = read[:, :, ::-1].astype(np.uint16) >> (16 - bits)
        frame = list(np.moveaxis(image, -1, 0))
        same(frame, drawn(what), file.path.name)
        patches_are_exact(frame, what, file.path.name)
        file.path.unlink()


@pytest.mark.slow
@pytest.mark.parametrize(("carrier", "fmt"), [*(("h264", fmt) for fmt in FORMATS), *(("ffv1", fmt) for fmt in RASTERS)])
def test_a_moving_pattern_in_every_format(tmp_path: Path, carrier: str, fmt: str) -> None:
    """A fifth of a second of the moving bar, in every named format: each frame is the one drawn for its time."""
    what = order("field-order", FORMATS[fmt], carrier, bits=8)
    file, draw = made(tmp_path, what), as_drawn(what)
    frames = raw_frames(file.path, what)
    assert file.proof.verdict is Verdict.EXACT
    assert len(frames) == tags_of(what).frames
    for i, frame in enumerate(frames):
        same(frame, list(draw(i)), f"{file.path.name}, frame {i}")


@pytest.mark.slow
@pytest.mark.parametrize("fmt", RASTERS)
@pytest.mark.parametrize("code_range", Range)
@pytest.mark.parametrize("bits", [8, 10])
@pytest.mark.parametrize("sampling", [Sampling.RGB, Sampling.YCBCR_422, Sampling.YCBCR_420])
def test_every_pattern_in_every_coding(
    tmp_path: Path, fmt: str, code_range: Range, bits: int, sampling: Sampling
) -> None:
    """Every pattern in every named format, range, depth and sampling, each a frame of one lossless file: exact."""
    if check_raster(FORMATS[fmt], sampling):
        pytest.skip("the raster cannot be sampled so")
    orders = [
        order(pattern, FORMATS[fmt], "ffv1", code_range=code_range, bits=bits, sampling=sampling)
        for pattern in PATTERNS
    ]
    # The encoder takes Y'CbCr as narrow; what it is told of the range does not touch the codes.
    tags = replace(tags_for(FORMATS[fmt], orders[0].signal, len(orders)), range=Range.NARROW)
    tags = replace(tags, range=code_range) if sampling is Sampling.RGB else tags
    path = tmp_path / "all.mkv"
    planes = [drawn(what) for what in orders]
    codec = ("-c:v", "ffv1", "-level", "3", "-g", "1", "-slices", "4", "-slicecrc", "1")
    encode_frames([(p[0], p[1], p[2]) for p in planes], tags, codec, path)
    for what, expected, frame in zip(orders, planes, raw_frames(path, orders[0]), strict=True):
        same(frame, expected, what.pattern.id)
        patches_are_exact(frame, what, what.pattern.id)


@pytest.mark.parametrize("code_range", Range)
@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_png_by_opencv(tmp_path: Path, bits: int, code_range: Range) -> None:
    """OpenCV reads the codes as they were drawn; between 8 and 16 bits they stand at the top of sixteen."""
    what = order("bars", FORMATS["480i"], "png", bits=bits, code_range=code_range)
    image = cv2.imread(str(made(tmp_path, what).path), cv2.IMREAD_UNCHANGED)
    assert image is not None
    assert image.dtype == (np.uint8 if bits == 8 else np.uint16)
    stored = list(np.moveaxis(image[:, :, ::-1], -1, 0))
    shift = 0 if bits == 8 else 16 - bits
    same([plane >> shift for plane in stored], drawn(what), f"{bits} bits")
    patches_are_exact([plane >> shift for plane in stored], what, f"{bits} bits")
    # White: all ones in full range, 235 of 8 bits shifted up in narrow range (BT.2100-2 Table 9; from memory).
    depth = 8 if bits == 8 else 16
    assert int(stored[0].max()) == ((1 << depth) - 1 if code_range is Range.FULL else 235 << (depth - 8))


def test_png_by_pillow(tmp_path: Path) -> None:
    """Pillow reads the 8-bit codes as they were drawn."""
    plain = order("circles", FORMATS["480i"], "png")
    with Image.open(made(tmp_path, plain).path) as opened:
        same(list(np.moveaxis(np.asarray(opened), -1, 0)), drawn(plain), "8 bits")


@pytest.mark.parametrize("carrier", ["h264", "ffv1"])
def test_full_range_is_told(tmp_path: Path, carrier: str) -> None:
    """A full-range clip says so to both libraries."""
    path = made(tmp_path, order("bars", FORMATS["480i"], carrier, code_range=Range.FULL)).path
    with av.open(str(path)) as container:
        assert int(container.streams.video[0].codec_context.color_range) == 2
    words = program("-i", str(path))[1]
    assert re.search(r"Video: .*\(pc, ", words)


@pytest.mark.parametrize("carrier", ["h264", "ffv1"])
@pytest.mark.parametrize(
    "fmt",
    quick_and_slow(["240p", "480i", "576i"], ["288p", "480p", "720p59.94", "1080i50", "1080p23.976"]),
)
def test_tags_of_a_clip(tmp_path: Path, carrier: str, fmt: str) -> None:
    """PyAV and the ffmpeg program's own report agree with the format on every tag, count and duration."""
    what = order("bars", FORMATS[fmt], carrier, seconds=1.0)
    chosen, path = what.format, made(tmp_path, what).path
    frames = round(float(chosen.frame_rate))
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        context = stream.codec_context
        assert (context.width, context.height) == (chosen.width, chosen.height)
        assert stream.sample_aspect_ratio == chosen.sample_aspect
        assert stream.average_rate is not None
        # Matroska holds a frame's length in nanoseconds.
        assert abs(stream.average_rate / chosen.frame_rate - 1) < Fraction(1, 100_000)
        hd = chosen.height > 576
        lines_625 = chosen.height in (288, 576)
        # ITU-T H.273: 1 BT.709, 5 BT.470 system B/G, 6 SMPTE 170M.
        expected = (1, 1, 1) if hd else (5, 6, 5) if lines_625 else (6, 6, 6)
        assert (context.color_primaries, context.color_trc, int(context.colorspace)) == expected
        assert int(context.color_range) == 1  # narrow
        if carrier == "h264":
            assert context.profile == "High"
            assert stream.duration is not None
            assert stream.time_base is not None
            assert stream.duration * stream.time_base == frames / chosen.frame_rate
        assert sum(1 for packet in container.demux(stream) if packet.size) == frames
    words = program("-i", str(path), "-vf", "showinfo", "-f", "null", "-")[1]
    kinds = set(re.findall(r" i:(.) ", words))
    assert kinds == {{FieldOrder.TOP: "T", FieldOrder.PROGRESSIVE: "P"}[chosen.field_order]}
    assert "tv" in words


REPORT = re.compile(
    r"Duration: (?P<h>\d+):(?P<m>\d+):(?P<s>[\d.]+),.*?Video: (?P<codec>\w+)(?: \((?P<profile>\w+)\))?.*?, "
    r"(?P<pixels>\w+)\((?P<words>[^)]*(?:\(swapped\))?)\), (?P<size>\d+x\d+),? \[?SAR (?P<sar>\d+:\d+) .*?, "
    r"(?P<rate>[\d.]+) fps",
    re.DOTALL,
)


@pytest.mark.parametrize("carrier", ["h264", "ffv1", "y4m"])
@pytest.mark.parametrize("fmt", quick_and_slow(["480i", "720p59.94"], ["576i", "480p", "1080i50", "1080p23.976"]))
def test_tags_in_the_programs_report(tmp_path: Path, carrier: str, fmt: str) -> None:
    """The ffmpeg program tells the same size, shape, scan, rate, colour, range, profile, length and frame count."""
    what = order("bars", FORMATS[fmt], carrier, seconds=0.5)
    chosen, frames = what.format, tags_of(what).frames
    words = program("-i", str(made(tmp_path, what).path), "-vf", "showinfo", "-f", "null", "-")[1]
    told = REPORT.search(words)
    assert told is not None, words
    assert told["size"] == f"{chosen.width}x{chosen.height}"
    assert told["sar"] == f"{chosen.sample_aspect.numerator}:{chosen.sample_aspect.denominator}"
    # The program writes two decimals of a rate, and hundredths of a second.
    assert told["rate"] == f"{float(chosen.frame_rate):.2f}".removesuffix(".00")
    length = 3600 * int(told["h"]) + 60 * int(told["m"]) + float(told["s"])
    assert frames is not None
    assert abs(length - float(frames / chosen.frame_rate)) <= 0.011
    colour = told["words"].split(", ")
    # "swapped" is Matroska's way to keep a plain interlaced frame with its top field first.
    scan = ("top first", "top coded first (swapped)") if chosen.interlaced else ("progressive",)
    assert colour[0] == "tv"
    assert colour[-1] in scan
    if carrier != "y4m":
        # The program's names of the code points; y4m has no place for them that it reads.
        names = {480: "smpte170m", 576: "bt470bg/bt470bg/smpte170m"}.get(chosen.height, "bt709")
        assert colour[1:-1] == [names]
    assert told["profile"] == {"h264": "High"}.get(carrier)
    assert told["pixels"] == ("yuv420p" if carrier == "h264" else "yuv422p10le")
    kinds = re.findall(r" n: *\d+ .* i:(.) ", words)
    assert kinds == ["T" if chosen.interlaced else "P"] * frames


def test_header_line_of_y4m(tmp_path: Path) -> None:
    """The words of the header say size, rate, scan, shape, sampling and range; the file has no more than its frames."""
    what = order("bars", FORMATS["480i"], "y4m", bits=8, sampling=Sampling.YCBCR_420, code_range=Range.FULL)
    data = made(tmp_path, what).path.read_bytes()
    line, rest = data.split(b"\n", 1)
    # YUV4MPEG2 manual page, from memory: width, height, rate, interlacing, sample aspect, sampling; X is a comment.
    assert {b"W720", b"H480", b"F30000:1001", b"It", b"A10:11", b"C420mpeg2", b"XCOLORRANGE=FULL"} <= set(line.split())
    # The ffmpeg program's reader takes 96 characters at the most (from memory).
    assert len(line) < 96
    assert len(rest) == 6 * (6 + 720 * 480 * 3 // 2)


def chunks(path: Path) -> dict[bytes, bytes]:
    """The chunks of a PNG file by name, their checksums proved; IEND is the last of them."""
    data, at, found = path.read_bytes(), 8, dict[bytes, bytes]()
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        name, content = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        assert data[at + 8 + length : at + 12 + length] == struct.pack(">I", zlib.crc32(name + content)), name
        assert name not in found
        found[name] = content
        at += length + 12
    assert next(iter(found)) == b"IHDR"
    assert list(found)[-1] == b"IEND"
    # PNG third edition, chunk ordering: these come before the picture.
    before = list(found)[: list(found).index(b"IDAT")]
    assert {b"cICP", b"sBIT", b"pHYs"} & set(found) <= set(before)
    return found


def test_chunks_of_png(tmp_path: Path) -> None:
    """cICP says the colour and the range, pHYs the sample aspect, sBIT the depth, tEXt the pattern."""
    found = chunks(made(tmp_path, order("bars", FORMATS["576i"], "png", bits=10, code_range=Range.NARROW)).path)
    assert found[b"cICP"] == bytes([5, 6, 0, 0])  # H.273: BT.470 B/G, BT.601, R'G'B', narrow
    assert found[b"pHYs"] == struct.pack(">IIB", 11, 12, 0)  # 12:11 samples: 11 across to 12 down
    assert found[b"sBIT"] == bytes([10, 10, 10])
    assert b"pattern=bars&format=576i" in found[b"tEXt"]
    free = chunks(made(tmp_path, replace(order("bars", parse_format("640x480@60"), "png"), tagged=True)).path)
    assert free[b"cICP"] == bytes([1, 13, 0, 1])  # BT.709 primaries, sRGB, full range
    assert b"sBIT" not in free
    for fmt, code_range, bits, colour, shape in (
        ("480i", Range.FULL, 12, [6, 6, 0, 1], (11, 10)),  # SMPTE 170M and BT.601; samples of 10:11
        ("1080p25", Range.NARROW, 16, [1, 1, 0, 0], (1, 1)),  # BT.709
    ):
        what = replace(order("bars", FORMATS[fmt], "png", bits=bits, code_range=code_range), tagged=True)
        found = chunks(made(tmp_path, what).path)
        assert found[b"IHDR"][8:] == bytes([16, 2, 0, 0, 0])  # 16 bits, R'G'B', one pass
        assert found[b"cICP"] == bytes(colour)
        assert found[b"pHYs"] == struct.pack(">IIB", *shape, 0)
        assert found.get(b"sBIT") == (bytes([bits] * 3) if bits < 16 else None)
        assert found[b"tEXt"].startswith(b"Comment\0made-by=trueraster&pattern=bars&")
        assert f"range={code_range}".encode() in found[b"tEXt"]


@pytest.mark.parametrize("bits", [8, 10])
def test_a_full_range_png_says_nothing_of_its_colour(tmp_path: Path, bits: int) -> None:
    """No chunk that a viewer could convert by (PNG third edition, colour space information); the range is in words."""
    path = made(tmp_path, order("bars", FORMATS["480i"], "png", bits=bits)).path
    found = chunks(path)
    assert not {b"cICP", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"mDCV", b"cLLI"} & set(found)
    assert b"range=full" in found[b"tEXt"]
    with open_video(path) as video:
        tags = next(video.pictures()).tags
    assert (tags.range, tags.primaries, tags.transfer, tags.bits) == (Range.FULL, None, None, bits)


@pytest.mark.parametrize("carrier", ["h264", "ffv1"])
@pytest.mark.parametrize("fmt", quick_and_slow(["480i"], ["576i", "1080i50"]))
def test_fields_in_their_order(tmp_path: Path, carrier: str, fmt: str) -> None:
    """A moving bar moves evenly field by field in the flagged order, and forwards and backwards in the other one."""
    what = order("field-order", FORMATS[fmt], carrier, seconds=2.0, bits=8)
    path = made(tmp_path, what).path
    words = program("-i", str(path), "-vf", "showinfo", "-f", "null", "-")[1]
    assert re.findall(r" n: *\d+ .* i:(.) ", words) == ["T"] * (tags_of(what).frames or 0)
    places = []
    for frame in raw_frames(path, what)[20:30]:
        for field in (frame[0][0::2], frame[0][1::2]):  # top first, as flagged
            light = field[0].astype(float) - field[0].min()
            places.append(float((light * np.arange(len(light))).sum() / light.sum()))
    steps = np.diff(places)
    assert steps.min() > 0
    assert np.ptp(steps) <= 1.01  # whole samples: neighbouring steps differ by one at most
    swapped = np.diff(np.array(places).reshape(-1, 2)[:, ::-1].ravel())
    assert swapped.min() < 0 < swapped.max()


def test_a_long_still_is_its_first_group_throughout(tmp_path: Path) -> None:
    """Three seconds of a still, decoded whole, are the drawn frame ninety times."""
    for pattern in ("bars", "circles"):
        what = order(pattern, FORMATS["480i"], "h264", seconds=3.0)
        frames = raw_frames(made(tmp_path, what).path, what)
        assert len(frames) == 90
        for i, frame in enumerate(frames):
            same(frame, drawn(what), f"{pattern}, frame {i}")


def test_a_clip_longer_than_its_period_repeats(tmp_path: Path) -> None:
    """The moving pattern begins again after its period, frame by frame."""
    what = order("field-order", FORMATS["576i"], "h264", seconds=4.4)
    period = frames_per_period(what.pattern.scene(what.format), what.format)
    frames, draw = raw_frames(made(tmp_path, what).path, what), as_drawn(what)
    assert (period, len(frames)) == (100, 110)
    for i, frame in enumerate(frames):
        same(frame, list(draw(i % period)), f"frame {i}")
    assert not np.array_equal(frames[5][0], frames[6][0])


@pytest.mark.parametrize(
    ("pattern", "seconds", "group"),
    # A still's group is just under five seconds; the moving one's is its period of four seconds.
    quick_and_slow([("bars", 5.5, 149), ("circles", 5.5, 149)], [("field-order", 4.5, 120)]),
)
def test_decoding_can_start_at_every_group(tmp_path: Path, pattern: str, seconds: float, group: int) -> None:
    """Each group starts with a key frame, stands at its time, and gives its pictures without those before it."""
    what = order(pattern, FORMATS["480i"], "h264", seconds=seconds)
    path = made(tmp_path, what).path
    with av.open(str(path)) as container:
        stream = container.streams.video[0]
        coded = [packet for packet in container.demux(stream) if packet.size]
        assert len(coded) == tags_of(what).frames
        for i, packet in enumerate(coded):
            assert packet.is_keyframe or i % group
            assert packet.pts is not None
            assert packet.pts * Fraction(packet.time_base) == i / what.format.frame_rate
        assert [bytes(packet) for packet in coded[group:]] == [bytes(packet) for packet in coded[: len(coded) - group]]
        decoder = av.CodecContext.create("h264", "r")
        decoder.extradata = stream.codec_context.extradata
        pictures = [*decoder.decode(coded[group]), *decoder.decode(None)]
    luma = pictures[0].planes[0]
    rows = np.frombuffer(bytes(luma), np.uint8).reshape(luma.height, -1)[:, : luma.width]
    assert np.array_equal(rows, drawn(what)[0])


def test_stills_go_to_the_writer_without_loss(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Stills are written by `h264_exact`, a moving bar by the ordinary encoder; all are exact."""
    calls: list[str] = []

    def counted(*args: Any, **words: Any) -> bytes:
        calls.append("called")
        return encode_without_loss(*args, **words)

    monkeypatch.setattr(h264_clip, "encode", counted)
    for pattern, times in (("bars", 1), ("circles", 1), ("field-order", 0)):
        calls.clear()
        file = made(tmp_path, order(pattern, FORMATS["480i"], "h264"))
        assert len(calls) == times, pattern
        assert (file.proof.verdict, file.proof.max_error_codes, file.proof.different) == (Verdict.EXACT, 0, 0)


def test_where_neither_writer_is_exact_the_proof_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond the lossless writer's levels a clip of curves is within one code, and its flat patches are exact."""

    def refuse(*_: object, **__: object) -> bytes:
        raise LevelError("no level")

    monkeypatch.setattr(h264_clip, "encode", refuse)
    what = order("circles", FORMATS["480i"], "h264")
    file = made(tmp_path, what)
    assert file.proof.verdict is Verdict.WITHIN
    assert file.proof.max_error_codes == 1
    assert 0 < file.proof.different < file.proof.samples // 100
    patches_are_exact(raw_frames(file.path, what, first=1)[0], what, "circles")


def test_an_exact_trial_does_not_excuse_the_group(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the ordinary encoder held the trial frame but not the group, the writer without loss takes over."""
    monkeypatch.setattr(h264_clip, "_holds_exactly", lambda *_: True)
    what = order("zone-plate-moving", FORMATS["480i"], "h264")
    file = made(tmp_path, what)
    assert file.proof.verdict is Verdict.EXACT
    same(raw_frames(file.path, what, first=1)[0], drawn(what), "zone-plate-moving")


def test_a_proof_fails_on_anything_else(tmp_path: Path) -> None:
    """Another pattern, another tag, a damaged or shortened file: none passes for the one that was ordered."""
    what = order("bars", FORMATS["480i"], "ffv1", seconds=0.5)
    path = made(tmp_path, what).path
    tags = tags_for(what.format, what.signal, 15)
    good = tuple(drawn(what))
    found = prove(path, tags, lambda i: good, 1)  # type: ignore[arg-type,return-value]
    # 720 x 480 of luma and twice half as many of chroma, in the one distinct frame.
    assert (found.verdict, found.samples, found.different) == (Verdict.EXACT, 720 * 480 * 2, 0)
    other = tuple(plane.copy() for plane in good)
    other[1][100, 100] += 1
    found = prove(path, tags, lambda i: other, 1)  # type: ignore[arg-type,return-value]
    assert (found.verdict, found.max_error_codes, found.different) == (Verdict.WITHIN, 1, 1)
    for change in (
        {"sample_aspect": Fraction(8, 9)},
        {"field_order": FieldOrder.BOTTOM},
        {"rate": Fraction(30)},
        {"primaries": 5},
        {"matrix": 1},
        {"range": Range.FULL},
        {"frames": 16},
        {"bits": 12},
    ):
        wrong = prove(path, replace(tags, **change), lambda i: good, 1)  # type: ignore[arg-type,return-value]
        assert wrong.verdict is Verdict.FAILED, change
        assert wrong.reason
    data = path.read_bytes()
    for damaged in (data[: len(data) // 2], data[:-20000] + bytes(20000), b"", b"text"):
        bad = tmp_path / "bad.mkv"
        bad.write_bytes(damaged)
        assert prove(bad, tags, lambda i: good, 1).verdict is not Verdict.EXACT  # type: ignore[arg-type,return-value]


def flipped(path: Path, packet: int, place: float) -> Path:
    """A copy with one bit changed inside a coded frame, `place` of the way through it."""
    with av.open(str(path)) as container:
        coded = [p for p in container.demux(container.streams.video[0]) if p.size]
        at = coded[packet].pos
        length = coded[packet].size
    assert at is not None
    data = bytearray(path.read_bytes())
    data[at + min(length - 1, int(length * place))] ^= 0x10
    copy = path.with_stem("flipped")
    copy.write_bytes(data)
    return copy


def proved(path: Path, what: Order, distinct: int = 1) -> Proof:
    return prove(path, tags_of(what), as_drawn(what), distinct)


@pytest.mark.parametrize(
    ("carrier", "place"),
    [*(("ffv1", p) for p in (0.3, 0.5, 0.9)), *(("y4m", p) for p in (0.3, 0.9)), *(("h264", p) for p in (0.87, 0.95))],
)
def test_a_flipped_bit_is_found(tmp_path: Path, carrier: str, place: float) -> None:
    """A bit changed in a repeat fails the proof, and in the first frame it is never exact."""
    seconds, group, repeat = (5.5, 149, 149) if carrier == "h264" else (1.1, 1, 20)
    what = order("field", FORMATS["480i"], carrier, seconds=seconds, options=Options(colour="magenta"))
    path = made(tmp_path, what).path
    assert proved(path, what, group).verdict is Verdict.EXACT
    later = proved(flipped(path, repeat, place), what, group)
    assert later.verdict is Verdict.FAILED
    assert later.reason == f"coded frame {repeat} is not a repeat of frame 0"
    if carrier != "ffv1":  # There a plain slice ends in bits that no sample depends on.
        # All three frames are decoded, so that it is the samples that are judged.
        short = replace(what, seconds=0.1)
        assert proved(flipped(made(tmp_path, short).path, 0, place), short, 3).verdict is not Verdict.EXACT


@pytest.mark.parametrize("place", [0.1, 0.5, 0.95])
def test_a_flipped_bit_in_png_fails(tmp_path: Path, place: float) -> None:
    """PNG's checksums fail a file that has one bit changed in its picture."""
    what = order("bars", FORMATS["480i"], "png")
    path = made(tmp_path, what).path
    data = bytearray(path.read_bytes())
    start = data.index(b"IDAT") + 4
    data[start + int((len(data) - start - 16) * place)] ^= 0x10
    path.write_bytes(data)
    assert proved(path, what).verdict is Verdict.FAILED


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ("setsar=8/9", "sample aspect: read 8/9, written 10/11"),
        ("setfield=bff", "field order: read bottom, written top"),
        ("setparams=color_primaries=bt709", "primaries: read 1, written 6"),
        ("setparams=color_trc=bt709", "transfer: read 1, written 6"),
        ("setparams=colorspace=bt709", "matrix: read 1, written 6"),
        ("null", ""),
    ],
)
def test_another_tag_in_the_file_fails(tmp_path: Path, change: str, reason: str) -> None:
    """The same pictures with one tag rewritten by the ffmpeg program fail by that tag; unchanged, they pass."""
    what = order("bars", FORMATS["480i"], "ffv1")
    path, other = made(tmp_path, what).path, tmp_path / "other.mkv"
    codec = ("-c:v", "ffv1", "-level", "3", "-g", "1", "-slices", "4", "-slicecrc", "1", "-flags", "+ildct+ilme")
    assert not program("-loglevel", "error", "-i", str(path), "-vf", change, *codec, str(other))[1]
    found = proved(other, what)
    assert (found.verdict, found.reason) == (Verdict.FAILED if reason else Verdict.EXACT, reason)


@pytest.mark.parametrize(
    ("change", "tag"),
    [
        ("sample_aspect_ratio=8/9", "sample aspect"),
        ("video_full_range_flag=1", "range"),
        ("colour_primaries=1", "primaries"),
        ("transfer_characteristics=1", "transfer"),
        ("matrix_coefficients=1", "matrix"),
    ],
)
def test_another_tag_in_the_stream_fails(tmp_path: Path, change: str, tag: str) -> None:
    """A tag rewritten inside the H.264 stream fails the proof, though the container around it still has the old one."""
    what = order("bars", FORMATS["480i"], "h264")
    path, other = made(tmp_path, what).path, tmp_path / "other.mp4"
    copied = ("-c", "copy", "-bsf:v", f"h264_metadata={change}", "-video_track_timescale", "30000")
    assert not program("-loglevel", "error", "-i", str(path), *copied, str(other))[1]
    found = proved(other, what, 6)
    assert found.verdict is Verdict.FAILED
    assert found.reason.startswith(tag)


def test_frames_too_many_fail(tmp_path: Path) -> None:
    """A file with more frames than were ordered fails, also where no frame repeats."""
    for pattern, distinct in (("bars", 1), ("field-order", 10)):
        what = order(pattern, FORMATS["480i"], "ffv1", seconds=0.5)
        path = made(tmp_path, what).path
        found = prove(path, replace(tags_of(what), frames=10), as_drawn(what), distinct)
        assert found.verdict is Verdict.FAILED, pattern


def off(planes: Any, by: int) -> Planes:
    """The planes with every sample of the second one `by` codes higher."""
    return planes[0], planes[1] + by, planes[2]


@pytest.mark.parametrize("by", [1, 40])
@pytest.mark.parametrize("carrier", ["png", "tiff", "dpx", "y4m", "ffv1", "v210", "prores", "h264"])
def test_wrong_samples_leave_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, carrier: str, by: int) -> None:
    """A writer that changes samples makes no file: not by a code where exactness is promised, by more than one never.

    Design: stills, y4m, ffv1 and v210 are exact; a patch of h264 is off by one code at most, one of prores by two.
    """
    if by == 1 and carrier in ("h264", "prores"):
        pytest.skip("one code is allowed there")
    what = order("bars", FORMATS["480i"], carrier)
    path = tmp_path / f"clip{what.carrier.suffix}"
    path.write_bytes(b"earlier")

    def encode(frames: Any, *args: Any) -> None:
        encode_frames((off(planes, by) for planes in frames), *args)

    def refuse(*_: object, **__: object) -> bytes:
        raise LevelError("no level")

    for name, write in (("write_png", write_png), ("write_tiff", write_tiff), ("write_dpx", write_dpx)):
        monkeypatch.setattr(
            produce_module, name, lambda file, planes, *args, _write=write: _write(file, off(planes, by), *args)
        )
    monkeypatch.setattr(produce_module, "frame_bytes", lambda planes: frame_bytes(off(planes, by)))
    monkeypatch.setattr(produce_module, "encode_frames", encode)
    monkeypatch.setattr(h264_clip, "encode_frames", encode)
    monkeypatch.setattr(h264_clip, "encode", refuse)
    with pytest.raises(ProofError, match="failed its proof"):
        produce(what, path)
    assert path.read_bytes() == b"earlier"
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize("fault", [WriteError("no room"), KeyboardInterrupt(), MemoryError()])
@pytest.mark.parametrize("carrier", ["ffv1", "h264"])
def test_nothing_is_left_when_writing_stops(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, carrier: str, fault: BaseException
) -> None:
    """A full disk, an interruption, no memory in the midst of writing: the earlier file stays, nothing else."""
    what = order("bars", FORMATS["480i"], carrier)
    path = tmp_path / f"clip{what.carrier.suffix}"
    path.write_bytes(b"earlier")

    def stop(group: Path, target: Path, *_: object, **__: object) -> None:
        target.write_bytes(b"half")
        raise fault

    monkeypatch.setattr(clip_module, "repeat_group", stop)
    with pytest.raises(type(fault)):
        produce(what, path)
    assert path.read_bytes() == b"earlier"
    assert [entry.name for entry in tmp_path.iterdir()] == [path.name]


def test_nothing_is_left_when_the_proof_fails(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file that is not what was drawn gets no name, and one that was there stays."""
    what = order("bars", FORMATS["480i"], "png")
    path = tmp_path / "bars.png"
    path.write_bytes(b"earlier")

    def tampered(file: Any, planes: Any, tags: Any, comment: str) -> None:
        file.write(b"no picture")

    monkeypatch.setattr(produce_module, "write_png", tampered)
    with pytest.raises(ProofError, match=r"bars\.png failed its proof"):
        produce(what, path)
    assert path.read_bytes() == b"earlier"
    assert [entry.name for entry in tmp_path.iterdir()] == ["bars.png"]


def test_files_are_the_same_every_time(tmp_path: Path) -> None:
    """The same order gives the same bytes: a hash in a list of files stays true."""
    for carrier in CARRIERS:
        what = order("circles", FORMATS["480i"], carrier)
        first, second = (produce(what, tmp_path / f"{i}{what.carrier.suffix}") for i in range(2))
        assert first.sha256 == second.sha256


# --- The program's own bar sources -------------------------------------------------------------------------------

SOURCES = [
    ("pal75bars", "720x576", "601", "100/0/75/0"),
    ("pal100bars", "720x576", "601", "100/0/100/0"),
    ("smptebars", "720x480", "601", "75/0/75/0"),
    ("smptehdbars", "1920x1080", "709", "75/0/75/0"),
]


def source_planes(name: str, size: str) -> list[NDArray[np.uint8]]:
    width, height = map(int, size.split("x"))
    # format= straight after the source: a converter at the output would ring.
    data, words = program(
        *("-loglevel", "error", "-f", "lavfi", "-i", f"{name}=size={size},format=yuv444p", "-frames:v", "1"),
        *("-f", "rawvideo", "-"),
    )
    assert not words
    return list(np.frombuffer(data, np.uint8).reshape(3, height, width))


@pytest.mark.parametrize(("name", "size", "matrix", "bars"), SOURCES)
def test_codes_of_the_programs_bar_sources(name: str, size: str, matrix: str, bars: str) -> None:
    """The flat bars of ffmpeg's built-in sources have our codes of the same colours."""
    planes = source_planes(name, size)
    scene = PATTERNS["bars"].scene(FORMATS["480i"], Options(bars=bars))
    signal = CARRIERS["ffv1"].signal(FORMATS["480i"], bits=8, sampling=Sampling.YCBCR_444)
    signal = replace(signal, matrix=type(signal.matrix)(matrix))
    wanted = [signal.codes(patch.colour) for patch in scene.patches if patch.name != "black"]
    row = np.stack([plane[20] for plane in planes], axis=-1)
    found = [tuple(map(int, row[i])) for i in range(len(row)) if i == 0 or (row[i] != row[i - 1]).any()]
    for codes in wanted:
        assert codes in found, (name, codes, found)


def runs(planes: list[NDArray[np.uint8]], row: int) -> list[tuple[tuple[int, ...], int]]:
    """Codes along a row and for how many samples each holds."""
    samples = np.stack([plane[row] for plane in planes], axis=-1)
    cuts = [0, *(np.flatnonzero((samples[1:] != samples[:-1]).any(axis=1)) + 1), len(samples)]
    return [(tuple(map(int, samples[a])), int(b - a)) for a, b in itertools.pairwise(cuts)]


@pytest.mark.parametrize(("name", "size", "matrix", "bars_name"), SOURCES)
def test_bars_of_the_programs_sources_are_ours_in_order(name: str, size: str, matrix: str, bars_name: str) -> None:
    """From left to right, the flat bars of ffmpeg's sources have our codes and no others between them."""
    scene = PATTERNS["bars"].scene(FORMATS["480i"], Options(bars=bars_name))
    signal = CARRIERS["ffv1"].signal(FORMATS["480i"], bits=8, sampling=Sampling.YCBCR_444, matrix=Matrix(matrix))
    ours = [signal.codes(patch.colour) for patch in scene.patches]
    found = [codes for codes, _ in runs(source_planes(name, size), 20)]
    # smptebars has no black bar; smptehdbars has 40 % grey on both sides, code 104 (RP 219).
    expected = {"smptebars": ours[:-1], "smptehdbars": [(104, 128, 128), *ours[:-1], (104, 128, 128)]}
    assert found == expected.get(name, ours)


def test_known_deviations_of_smptebars() -> None:
    """What ffmpeg's smptebars is known to do otherwise than the documents; measured with ffmpeg 9.0, not to follow."""
    planes = source_planes("smptebars", "720x480")
    # The black between the reversed bars is Y 19; black is 16 (BT.601).
    castellations = [codes for codes, _ in runs(planes, 340)]
    assert castellations[1::2] == [(19, 128, 128)] * 3
    bottom = [codes for codes, _ in runs(planes, 440)]
    # -I and +Q: its source calls them fudged. EG 1 in 601, from 40 IRE peak to peak, gives the second pair.
    assert (bottom[0], bottom[2]) == ((57, 156, 97), (44, 171, 147))
    assert not {(16, 158, 95), (16, 175, 149)} & set(bottom)
    # PLUGE 7, 16, 24; +4 % is 25 (24.76, halves up).
    assert [codes[0] for codes in bottom[4:7]] == [7, 16, 24]


def test_known_deviations_of_smptehdbars() -> None:
    """What ffmpeg's smptehdbars is known to do otherwise than RP 219; measured with ffmpeg 9.0, not to follow."""
    planes = source_planes("smptehdbars", "1920x1080")
    # All seven bars are 205 samples wide; RP 219 has 206, 206, 206, 204, 206, 206, 206.
    assert [width for _, width in runs(planes, 20)] == [240, *[205] * 7, 245]
    # The same fudged -I and +Q as in smptebars; RP 219 at 10 bits has 244-612-395 and 141-697-606.
    assert (runs(planes, 680)[1][0], runs(planes, 760)[1][0]) == ((57, 156, 97), (44, 171, 147))
    # The ramp takes every code from 0 to 254; it should run from 16 to 235, and 0 is reserved (BT.601).
    ramp = [codes[0] for codes, _ in runs(planes, 760)[2:-1]]
    assert ramp == [*range(255)]
    # The frame says matrix bt470bg, the 601 weights, while its codes are those of 709.
    source = ("-f", "lavfi", "-i", "smptehdbars=size=1920x1080,format=yuv444p", "-frames:v", "1")
    words = program(*source, "-vf", "showinfo", "-f", "null", "-")[1]
    assert "color_space:bt470bg" in words


def test_the_programs_bars_ring_when_the_output_is_converted() -> None:
    """Asked for 4:4:4 at the output only, the sources give 4:2:0 through a scaler that overshoots: never do so."""
    source = ("-loglevel", "error", "-f", "lavfi", "-i", "smptehdbars=size=1920x1080", "-frames:v", "1")
    data, _ = program(*source, "-f", "rawvideo", "-pix_fmt", "yuv444p", "-")
    cb = np.frombuffer(data, np.uint8).reshape(3, 1080, 1920)[1]
    # 240 is the highest chroma code of any colour (BT.601); 255 is reserved.
    assert int(cb.max()) == 255
    assert int(source_planes("smptehdbars", "1920x1080")[1].max()) == 240


def test_narrow_range_files_of_every_depth_differ_only_by_the_shift(tmp_path: Path) -> None:
    """White and black of narrow range are 235 and 16 of 8 bits shifted up, at 10, 12 and 16 bits (BT.601, BT.709)."""
    for bits in (8, 10, 12, 16):
        what = order("field", FORMATS["480i"], "ffv1", bits=bits, sampling=Sampling.YCBCR_444)
        frame = raw_frames(made(tmp_path, what).path, what, first=1)[0]
        assert [int(plane[0, 0]) for plane in frame] == [code << (bits - 8) for code in (235, 128, 128)]


def test_hard_and_shaped_edges_are_as_ordered(tmp_path: Path) -> None:
    """Video is shaped unless hard edges are asked for; a hard step has no code in between."""
    for edges, between in ((None, True), (Edges.HARD, False)):
        what = order("window", FORMATS["480i"], "ffv1", bits=8, sampling=Sampling.YCBCR_444, edges=edges)
        frame = raw_frames(made(tmp_path, what).path, what, first=1)[0]
        assert (len(np.unique(frame[0])) > 2) is between


def test_signal_refuses_an_unknown_depth() -> None:
    """A depth that no carrier has is told with the ones there are."""
    with pytest.raises(ValueError, match="bits: got 9; use 8, 10, 12, 16"):
        replace(CARRIERS["png"].signal(FORMATS["480i"]), bits=9)
