"""MPEG-2, 10-bit 4:2:2, TIFF and DPX files, read by programs and libraries that are not this project's reader.

The ffmpeg program decodes with its own header readers, tifffile, Pillow and OpenCV read TIFF, dvdauthor takes program
streams. Where a test reads a header's bytes itself, it names the document.
"""

from __future__ import annotations

import bisect
import json
import os
import re
import shutil
import struct
import subprocess
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
import tifffile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray
from PIL import Image

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, parse_format
from patterns.pattern import Options
from patterns.placement import patch_area
from patterns.signal import Range, Sampling
from render import decode as decode_module
from render import produce as produce_module
from render.carriers import CARRIERS, CarrierError
from render.decode import open_video
from render.errors import FileError
from render.files.dpx import write_dpx
from render.produce import Made, Order, ProofError, default_name, produce
from render.proof import Measured, Proof, Verdict, prove
from render.raster import draw_frame, frames_per_period
from render.tags import tags_for
from render.video import disc as disc_module
from render.video.encoder import WriteError, encode_frames
from render.video.mpeg2 import fits_buffer, repeat_picture, split_pictures, stream, without_time, write_rate
from tests.matrix import rest_is_slow
from trueraster.cli import run

Vectors = dict[str, Any]
Frame = list[NDArray[Any]]

WIDE = Fraction(16, 9)
CLIPS, STILLS = ("mpeg2", "prores", "v210"), ("tiff", "dpx")


def order(
    pattern: str,
    fmt: str,
    carrier: str,
    *,
    seconds: float = 0.2,
    aspect: Fraction | None = None,
    options: Options | None = None,
    **signal: Any,
) -> Order:
    kind, chosen = CARRIERS[carrier], parse_format(fmt, aspect)
    return Order(
        pattern=PATTERNS[pattern],
        options=options or Options(),
        format=chosen,
        signal=kind.signal(chosen, **signal),
        carrier=kind,
        seconds=None if kind.default_seconds is None else seconds,
    )


def made(folder: Path, what: Order) -> Made:
    return produce(what, folder / default_name(what))


def drawn(what: Order, index: int = 0) -> Frame:
    scene = what.pattern.scene(what.format, what.options, what.signal)
    start = frames_per_period(scene, what.format) // 2 if what.seconds is None else 0
    return list(draw_frame(scene, what.format, what.signal, start + index))


def program(*words: str) -> tuple[bytes, str]:
    """Standard output and error of the ffmpeg program."""
    done = subprocess.run([get_ffmpeg_exe(), "-nostdin", "-hide_banner", *words], capture_output=True, check=False)
    return done.stdout, done.stderr.decode("utf-8", "replace")


def program_frames(path: Path, what: Order) -> list[Frame]:
    """Every frame as the ffmpeg program decodes it; it is asked for the kind of samples that the file is to hold."""
    signal, fmt = what.signal, what.format
    bits = 16 if path.suffix == ".tif" and signal.bits > 8 else signal.bits
    depth = "" if bits == 8 else f"{bits}le"
    kind = f"gbrp{depth}" if signal.sampling is Sampling.RGB else f"yuv{signal.sampling.value}p{depth}"
    data, words = program(
        *("-loglevel", "error", "-i", str(path), "-fps_mode", "passthrough", "-f", "rawvideo", "-pix_fmt", kind, "-")
    )
    assert not words, words
    step_x, step_y = signal.sampling.chroma_step
    shapes = [(fmt.height, fmt.width), *[(fmt.height // step_y, fmt.width // step_x)] * 2]
    cuts = np.cumsum([h * w for h, w in shapes])
    frames = []
    for frame in np.frombuffer(data, "<u2" if bits > 8 else "u1").reshape(-1, cuts[-1]):
        parts = [part.reshape(shape) for part, shape in zip(np.split(frame, cuts[:-1]), shapes, strict=True)]
        if signal.sampling is Sampling.RGB:
            parts = [part >> (bits - signal.bits) for part in (parts[2], parts[0], parts[1])]
        frames.append(parts)
    return frames


def inside(planes: Frame, what: Order) -> dict[str, Frame]:
    """The samples of each flat patch, 8 samples and 4 lines inside its edges.

    Further inside than the tool's own reader goes, where a chroma sample does not reach over an edge.
    """
    found = {}
    for patch in what.pattern.scene(what.format, what.options, what.signal).patches:
        if patch.sloped or patch.thin or patch.core:
            continue
        span, parts = patch_area(what.format, patch, 8, 4), []
        for i, plane in enumerate(planes):
            sx, sy = what.signal.sampling.chroma_step if i else (1, 1)
            rows = slice(-(-span.top // sy), max(0, span.bottom // sy))
            parts.append(plane[rows, -(-span.left // sx) : max(0, span.right // sx)])
        if all(part.size for part in parts):
            found[patch.name] = parts
    return found


def check_patches(planes: Frame, what: Order, codes: int, by_median: tuple[str, ...] = ()) -> None:
    """Every sample of every flat patch is within `codes` of the equations' code, of those in `by_median` the median.

    At least one patch was looked at.
    """
    colours = {p.name: p.colour for p in what.pattern.scene(what.format, what.options, what.signal).patches}
    parts = inside(planes, what)
    assert parts, what.pattern.id
    for name, samples in parts.items():
        for part, code in zip(samples, what.signal.codes(colours[name]), strict=True):
            values = np.median(part) if name in by_median else part.astype(int)
            assert np.abs(values - code).max() <= codes, (what.pattern.id, name)


# --- Samples ----------------------------------------------------------------------------------------------------

SMALL = [
    ("mpeg2", "bars", "480i", None, {}),
    ("mpeg2", "circles", "576i", WIDE, {}),
    ("mpeg2", "crosshatch", "576i", None, {}),
    ("prores", "bars", "576i", WIDE, {}),
    ("prores", "circles", "480i", None, {}),
    ("prores", "steps", "1080p50", None, {}),
    ("prores", "crosshatch", "240p", None, {}),
    ("v210", "bars", "480i", WIDE, {}),
    ("v210", "circles", "1080i59.94", None, {}),
    ("v210", "steps", "240p", None, {}),
    ("tiff", "bars", "480i", None, {"code_range": Range.NARROW}),
    ("tiff", "circles", "1080p50", None, {}),
    ("tiff", "steps", "576i", WIDE, {"bits": 10}),
    ("tiff", "steps", "240p", None, {"bits": 12, "code_range": Range.NARROW}),
    ("tiff", "bars", "480i", WIDE, {"bits": 16}),
    ("dpx", "bars", "480i", None, {"code_range": Range.NARROW}),
    ("dpx", "circles", "1080i59.94", None, {"bits": 8}),
    ("dpx", "steps", "576i", WIDE, {"bits": 12}),
    ("dpx", "steps", "240p", None, {"bits": 16, "code_range": Range.NARROW}),
]


def check_file(folder: Path, what: Order) -> None:
    """Make a file, and hold what the ffmpeg program decodes against the equations and the drawing."""
    file = made(folder, what)
    frames = program_frames(file.path, what)
    rule, scene = what.carrier.rule, what.pattern.scene(what.format, what.options, what.signal)
    assert len(frames) == (1 if what.seconds is None else round(what.seconds * float(what.format.frame_rate)))
    worst = 0
    for i, frame in enumerate(frames):
        pairs = zip(frame, drawn(what, 0 if scene.is_still else i), strict=True)
        errors = [np.abs(a.astype(int) - b.astype(int)) for a, b in pairs]
        worst = max(worst, *(int(error.max()) for error in errors))
        if scene.is_still and inside(frame, what):
            check_patches(frame, what, rule.codes, file.proof.patches_by_median)
        elif not (scene.is_still and scene.patches):
            assert float(np.concatenate([error.ravel() for error in errors]).mean()) <= rule.codes
    assert file.proof.max_error_codes == worst
    assert (file.proof.verdict is Verdict.EXACT) == (worst == 0)
    if not rule.patches_only:
        assert worst == 0


@pytest.mark.parametrize(
    ("carrier", "pattern", "fmt", "aspect", "signal"), rest_is_slow(SMALL, [x for x in SMALL if "1080" not in x[2]])
)
def test_file_holds_what_was_drawn(
    tmp_path: Path, carrier: str, pattern: str, fmt: str, aspect: Fraction | None, signal: dict[str, Any]
) -> None:
    """Design, section 6: v210, tiff and dpx exact; patches of mpeg2 within a code, of prores within two of 10 bits."""
    check_file(tmp_path, order(pattern, fmt, carrier, aspect=aspect, **signal))


IN_TURN = ("288p", "480p", "576p", "720p50", "1080p25")


@pytest.mark.slow
@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("carrier", [*CLIPS, *STILLS])
def test_every_pattern(tmp_path: Path, carrier: str, pattern: str) -> None:
    """Every pattern keeps the rule of the kind of file in 480i 16:9, 576i, 1080i, 240p and one more raster in turn.

    Left out: four of the five rasters in `IN_TURN` for each pattern and kind of file, rates that share a raster, 4:3 of
    480i and 16:9 of the others. Drawing in all of them is proved with ffv1 and png in test_render_files.py.
    """
    turn = (list(PATTERNS).index(pattern) + [*CLIPS, *STILLS].index(carrier)) % len(IN_TURN)
    for fmt, aspect in (("480i", WIDE), ("576i", None), ("1080i59.94", None), ("240p", None), (IN_TURN[turn], None)):
        if not CARRIERS[carrier].formats or fmt in CARRIERS[carrier].formats:
            check_file(tmp_path, order(pattern, fmt, carrier, seconds=0.1, aspect=aspect))


PUBLISHED = [
    ("mpeg2", "576i", "601_8", {}),
    ("prores", "480i", "601_10", {}),
    ("prores", "1080p50", "709_10", {}),
    ("v210", "576i", "601_10", {}),
    ("v210", "1080i59.94", "709_10", {}),
    ("tiff", "480i", "rgb_8", {"code_range": Range.NARROW}),
    ("tiff", "1080p50", "rgb_10", {"code_range": Range.NARROW, "bits": 10}),
    ("dpx", "480i", "rgb_10", {"code_range": Range.NARROW}),
    ("dpx", "1080p50", "rgb_8", {"code_range": Range.NARROW, "bits": 8}),
]


@pytest.mark.parametrize(("carrier", "fmt", "key", "signal"), PUBLISHED)
def test_bars_have_the_published_codes(
    tmp_path: Path, carrier: str, fmt: str, key: str, signal: dict[str, Any], bars: Vectors
) -> None:
    """Every sample of the bars has the codes of tests/vectors/bars.toml, which names its documents (BT.601, BT.709)."""
    what = order("bars", fmt, carrier, seconds=0.04, options=Options(bars="100/0/75/0"), **signal)
    parts = inside(program_frames(made(tmp_path, what).path, what)[0], what)
    for bar in ("white", "yellow", "cyan", "green", "magenta", "red", "blue", "black"):
        part = "full" if bar in ("white", "black") else "three_quarters"
        assert [set(np.unique(p)) for p in parts[bar]] == [{code} for code in bars[part][bar][key]], bar


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
def test_tiff_by_three_libraries(tmp_path: Path, bits: int) -> None:
    """tifffile, OpenCV and (8 bits) Pillow read the drawn codes, which stand at the top of 16 bits."""
    what = order("circles", "480i", "tiff", bits=bits)
    path, expected = made(tmp_path, what).path, np.stack(drawn(what), -1)
    by_opencv = cv2.imread(str(path), cv2.IMREAD_UNCHANGED)
    assert by_opencv is not None
    pictures = [tifffile.imread(path), by_opencv[:, :, ::-1]]
    if bits == 8:
        with Image.open(path) as image:
            pictures.append(np.asarray(image))
    for picture in pictures:
        assert np.array_equal(picture >> (0 if bits == 8 else 16 - bits), expected)


@pytest.mark.parametrize("carrier", [*CLIPS, *STILLS])
@pytest.mark.parametrize("width", [46, 50, 62, 242])
def test_widths_that_fill_no_line(tmp_path: Path, carrier: str, width: int) -> None:
    """Widths that end within a group of 6 samples (v210), a block of 16 or a word of 32 bits lose nothing."""
    if carrier == "mpeg2":
        pytest.skip("it holds two rasters only")
    check_file(tmp_path, order("bars", f"{width}x48@50", carrier, seconds=0.04))
    if carrier in STILLS:
        for bits in (8, 10, 12, 16):
            check_file(tmp_path, order("bars", f"{width + 1}x47@50", carrier, bits=bits))


# --- Tags -------------------------------------------------------------------------------------------------------

TAGGED = [
    *((c, f, a) for c in CLIPS for f in ("480i", "576i") for a in (None, WIDE)),
    *((c, f, None) for c in ("prores", "v210") for f in ("240p", "1080i59.94", "1080p50")),
]


@pytest.mark.parametrize(("carrier", "fmt", "aspect"), rest_is_slow(TAGGED, [x for x in TAGGED if "1080p" not in x[1]]))
def test_tags_of_a_clip(tmp_path: Path, carrier: str, fmt: str, aspect: Fraction | None) -> None:
    """The ffmpeg program's report has each tag that the kind holds, for every frame; MPEG-2 has the display's shape."""
    what = order("bars", fmt, carrier, aspect=aspect)
    chosen, path = what.format, made(tmp_path, what).path
    words = program("-i", str(path), "-vf", "showinfo", "-f", "null", "-")[1]
    # ISO/IEC 14496: 10:11 and so on for 704 samples; H.262 has 4:3 and 16:9 of all 720 (16/15 and 64/45 of 576 lines).
    whole = {("480i", None): "8/9", ("480i", WIDE): "32/27", ("576i", None): "16/15", ("576i", WIDE): "64/45"}
    exact = f"{chosen.sample_aspect.numerator}/{chosen.sample_aspect.denominator}"
    shape = whole[fmt, aspect] if carrier == "mpeg2" else exact
    assert set(re.findall(r" sar:(\S+) ", words)) == {shape}
    assert set(re.findall(r" s:(\S+) ", words)) == {f"{chosen.width}x{chosen.height}"}
    kinds = re.findall(r" i:(.) ", words)
    assert kinds == ["T" if chosen.interlaced else "P"] * round(0.2 * float(chosen.frame_rate))
    # H.273: BT.709; 625 lines BT.470 system B/G; 525 lines SMPTE 170M. The latter two share a transfer function.
    primaries, matrix = {480: ("smpte170m",) * 2, 240: ("smpte170m",) * 2, 576: ("bt470bg",) * 2}.get(
        chosen.height, ("bt709",) * 2
    )
    transfer = "bt709" if chosen.height == 1080 else "smpte170m"
    # v210 has no place for the range; of MPEG-2 and prores the reader takes it to be narrow.
    held = "unknown" if carrier == "v210" else "tv"
    told = re.findall(r"color_range:(\S+) color_space:(\S+) color_primaries:(\S+) color_trc:(\S+)", words)
    assert set(told) == {(held, matrix, primaries, transfer)}
    rate = re.search(r"([\d.]+) fps", words)
    assert rate is not None
    assert rate[1] == f"{float(chosen.frame_rate):.2f}".removesuffix(".00")
    times = [float(t) for t in re.findall(r" pts_time:(\S+) ", words)]
    assert times == pytest.approx([float(i / chosen.frame_rate) for i in range(len(kinds))], abs=1e-5)
    profile, pixels = {
        "mpeg2": (r"mpeg2video \(Main\)", "yuv420p"),
        "prores": (r"prores \(HQ\)", "yuv422p10le"),
        "v210": (r"v210 \(v210 ", "yuv422p10le"),
    }[carrier]
    assert re.search(rf"Video: {profile}.*? {pixels}\(", words)


@pytest.mark.parametrize("carrier", ["prores", "v210"])
def test_a_clip_says_what_it_shows(tmp_path: Path, carrier: str) -> None:
    """The ffmpeg program finds the pattern, format, range and options in the comment of a .mov."""
    path = made(tmp_path, order("window", "576i", carrier, aspect=WIDE, options=Options(area=Fraction(1, 4)))).path
    told = program("-i", str(path), "-f", "ffmetadata", "-")[0].decode().replace("\\", "")
    for word in ("made-by=trueraster", "pattern=window", "format=576i", "aspect=16%3A9", "range=narrow", "area=1%2F4"):
        assert word in told


@pytest.mark.parametrize("carrier", CLIPS)
def test_fields_in_their_order(tmp_path: Path, carrier: str) -> None:
    """A moving bar moves evenly field by field in the flagged order, the top field first."""
    what = order("field-order", "480i", carrier, seconds=1.5)
    path = made(tmp_path, what).path
    places = []
    for frame in program_frames(path, what)[20:30]:
        for field in (frame[0][0::2], frame[0][1::2]):
            light = field[0].astype(float) - field[0].min()
            places.append(float((light * np.arange(len(light))).sum() / light.sum()))
    steps = np.diff(places)
    assert steps.min() > 0
    # Whole samples, and what the coding adds: neighbouring steps differ by two at most.
    assert np.ptp(steps) <= 2
    assert np.diff(np.array(places).reshape(-1, 2)[:, ::-1].ravel()).min() < 0


@pytest.mark.parametrize(("bits", "code_range", "codes"), [(8, "narrow", (16, 235)), (12, "full", (0, 65535))])
def test_tags_of_tiff(tmp_path: Path, bits: int, code_range: str, codes: tuple[int, int]) -> None:
    """tifffile and Pillow find the words of TIFF 6.0: shape, range, primaries, comment, one uncompressed picture."""
    what = order("bars", "576i", "tiff", aspect=WIDE, bits=bits, code_range=Range(code_range))
    path = made(tmp_path, what).path
    with tifffile.TiffFile(path) as file:
        assert len(file.pages) == 1
        tags = {tag.code: tag.value for tag in file.pages.first.tags}
    # TIFF 6.0, tag numbers from memory. 256, 257 size; 258 bits; 259 no compression; 262 R'G'B'; 277 samples.
    assert (tags[256], tags[257], tags[258]) == (720, 576, (8,) * 3 if bits == 8 else (16,) * 3)
    assert (tags[259], tags[262], tags[277]) == (1, 2, 3)
    # 282, 283 samples per unit, 296 no unit: 11 across to 16 down is a sample of 16:11.
    across, down = (Fraction(*tags[code]) for code in (282, 283))
    assert (down / across, tags[296]) == (Fraction(16, 11), 1)
    # 532 codes of black and white, for each component.
    assert tags[532] == tuple(part for _ in range(3) for code in codes for part in (code, 1))
    # 318 and 319: D65 and EBU Tech. 3213, from memory.
    assert [Fraction(*tags[318][i : i + 2]) for i in (0, 2)] == [Fraction("0.3127"), Fraction("0.329")]
    chromaticities = [Fraction(*tags[319][i : i + 2]) for i in range(0, 12, 2)]
    assert chromaticities == [Fraction(v) for v in ("0.64", "0.33", "0.29", "0.60", "0.15", "0.06")]
    assert tags[270].startswith("made-by=trueraster&pattern=bars&format=576i&")
    assert tags[270].endswith("&bits=12") == (bits == 12)
    if bits == 8:
        with Image.open(path) as image:
            assert (image.mode, image.size, image.tag_v2[296]) == ("RGB", (720, 576), 1)  # type: ignore[attr-defined]


@pytest.mark.parametrize("bits", [8, 10, 12, 16])
@pytest.mark.parametrize("code_range", Range)
def test_tags_of_dpx(tmp_path: Path, bits: int, code_range: Range) -> None:
    """The ffmpeg program reads depth, colour and shape; the fields of ST 268 (from memory) are filled.

    R'G'B' is full range to the program whatever a file says, so the range is read from the header here.
    """
    what = order("bars", "480i", "dpx", bits=bits, code_range=code_range)
    path = made(tmp_path, what).path
    words = program("-i", str(path), "-vf", "showinfo", "-f", "null", "-")[1]
    kind = {8: "rgb24", 10: "gbrp10le", 12: "gbrp12le", 16: "rgb48be"}[bits]
    assert f"fmt:{kind} " in words
    assert " sar:10/11 s:720x480 " in words
    told = re.search(r"color_space:(\S+) color_primaries:(\S+) color_trc:(\S+)", words)
    assert told is not None
    assert told.groups() == ("gbr", "smpte170m", "smpte170m")
    data = path.read_bytes()
    assert data[:4] == b"SDPX"
    assert data[8:13] == b"V2.0\0"
    offset, size = struct.unpack_from(">I", data, 4)[0], struct.unpack_from(">I", data, 16)[0]
    assert (offset, size) == (2048, len(data))
    assert struct.unpack_from(">II", data, 24) == (1664, 384)
    assert data[260:].split(b"\0")[0].startswith(b"made-by=trueraster&pattern=bars&format=480i&")
    low, _, high = struct.unpack_from(">III", data, 784)
    # Codes of black and white by BT.601, of full range 0 and all ones.
    narrow = {8: (16, 235), 10: (64, 940), 12: (256, 3760), 16: (4096, 60160)}[bits]
    assert (low, high) == (narrow if code_range is Range.NARROW else (0, (1 << bits) - 1))


def test_a_computers_raster_as_dpx_tells_no_transfer_function(tmp_path: Path) -> None:
    """DPX has no code for sRGB, so none is told; the primaries are those of BT.709."""
    path = made(tmp_path, order("bars", "640x480@60", "dpx")).path
    words = program("-i", str(path), "-vf", "showinfo", "-f", "null", "-")[1]
    assert "color_primaries:bt709 color_trc:unknown" in words


@pytest.mark.parametrize("length", [199, 200, 1001])
def test_a_long_comment_of_dpx_stands_behind_the_header(tmp_path: Path, length: int) -> None:
    """The project field has 200 bytes with its end; more goes into the user's part, and the samples stay where told."""
    what, path = order("bars", "64x48@60", "dpx"), tmp_path / "still.dpx"
    comment = ("made-by=trueraster&pattern=own%3A" + "x" * length)[:length]
    planes = draw_frame(what.pattern.scene(what.format), what.format, what.signal)
    with path.open("wb") as file:
        write_dpx(file, planes, tags_for(what.format, what.signal, 1), comment)
    with open_video(path) as video:
        assert str(video.provenance) == comment
    for a, b in zip(program_frames(path, what)[0], drawn(what), strict=True):
        assert np.array_equal(a, b)
    data = path.read_bytes()
    # ST 268, from memory: offset of the samples, size of the file, size of the user's part with its name of 32 bytes.
    offset, size, user = (struct.unpack_from(">I", data, at)[0] for at in (4, 16, 32))
    assert (offset, size) == (2048 + user, len(data))
    assert user == (0 if length < 200 else 32 + -(-length // 4) * 4)


@pytest.mark.parametrize("carrier", rest_is_slow([*CLIPS, *STILLS], ["mpeg2"]))
def test_verify_takes_each_kind(tmp_path: Path, carrier: str, capsys: pytest.CaptureFixture[str]) -> None:
    """`verify` needs the file alone; of MPEG-2, which has no place for the pattern's name, it is recognised."""
    signal: dict[str, Any] = {"bits": 12} if carrier in STILLS else {}
    path = made(tmp_path, order("bars", "576i", carrier, aspect=WIDE, **signal)).path
    words = ["--aspect", "16:9"] if carrier == "mpeg2" else []
    assert run(["verify", str(path), *words, "--tolerance", "0"]) == 0
    capsys.readouterr()
    assert run(["verify", str(path), *words, "--pattern", "steps"]) == 2
    told = capsys.readouterr()
    assert (told.out, "looks like bars" in told.err) == ("", True)


@pytest.mark.parametrize("carrier", [*CLIPS, *STILLS])
def test_draw_tells_each_kind(tmp_path: Path, carrier: str, capsys: pytest.CaptureFixture[str]) -> None:
    """`draw --json` has the proof with patches and places; of MPEG-2 a note says what its header will say."""
    assert run(["draw", "circles", "--as", carrier, "--seconds", "0.1", "--to", str(tmp_path), "--json"]) == 0
    out, err = capsys.readouterr()
    (file,) = json.loads(out)["files"]
    proof = file["proof"]
    assert (file["carrier"], Path(file["path"]).suffix) == (carrier, CARRIERS[carrier].suffix)
    assert file["seconds"] == (None if carrier in STILLS else 0.1)
    assert proof["verdict"] == ("within" if carrier in ("mpeg2", "prores") else "exact")
    assert proof["patch_error_codes"] <= CARRIERS[carrier].rule.codes
    assert proof["patches_by_median"] == []
    assert bool(proof["where"]) == (proof["different"] > 0)
    assert ("all 720 samples" in err) == (carrier == "mpeg2")


# --- Discs ------------------------------------------------------------------------------------------------------


@lru_cache(maxsize=8)
def headers(path: Path) -> list[dict[str, int]]:
    """The headers of an MPEG-2 stream in order, as the ffmpeg program's own parser spells them out."""
    words = program(
        *("-loglevel", "verbose", "-i", str(path), "-map", "0:v", "-c", "copy", "-bsf:v", "trace_headers"),
        *("-f", "null", "-"),
    )[1]
    found: list[dict[str, int]] = []
    for line in words.split("\n"):
        field = re.search(r"\] \d+ +(\S+) +[01]+ = (-?\d+)$", line)
        if field and field[1].endswith(("_start_code", "_header_code", "group_start_code")):
            found.append({})
        if field and found:
            found[-1][field[1]] = int(field[2])
    return found


def elementary(path: Path) -> bytes:
    return program("-loglevel", "error", "-i", str(path), "-map", "0:v", "-c", "copy", "-f", "mpeg2video", "-")[0]


def packs(data: bytes) -> list[tuple[Fraction, int, int, bytes]]:
    """Each pack of a program stream: its clock in seconds, mux rate in bits a second, place, and video bytes in it.

    H.222.0 | ISO/IEC 13818-1, pack_header and PES packet, from memory: a clock of 33 bits at 90 kHz with 9 bits at
    27 MHz, a rate in units of 50 bytes a second, and packets 0xE0 with a header of 9 bytes and more.
    """
    found = []
    assert len(data) % 2048 == 0  # Sectors of a disc.
    for at in range(0, len(data), 2048):
        pack = data[at : at + 2048]
        if pack[:4] != b"\0\0\1\xba":
            assert pack[:4] in (b"\0\0\1\xb9", b"\0\0\1\xbe"), pack[:4]
            continue
        bits = int.from_bytes(pack[4:10], "big")
        base = (bits >> 43 & 7) << 30 | (bits >> 27 & 0x7FFF) << 15 | bits >> 11 & 0x7FFF
        clock = Fraction(base * 300 + (bits >> 1 & 0x1FF), 27_000_000)
        rate = (int.from_bytes(pack[10:13], "big") >> 2) * 400
        place, video = 14 + (pack[13] & 7), b""
        while place + 6 <= 2048 and pack[place : place + 3] == b"\0\0\1":
            length = struct.unpack_from(">H", pack, place + 4)[0]
            if pack[place + 3] == 0xE0:
                video += pack[place + 9 + pack[place + 8] : place + 6 + length]
            place += 6 + length
        found.append((clock, rate, at, video))
    return found


HARDEST = [("bars", "480i", None), ("crosshatch-fine", "576i", WIDE), ("focus", "480i", None)]
MOVING = [("field-order", "576i", None), ("zone-plate-moving", "480i", None)]


@pytest.mark.parametrize(("pattern", "fmt", "aspect"), rest_is_slow([*HARDEST, *MOVING], [HARDEST[0], MOVING[1]]))
def test_limits_of_a_disc(tmp_path: Path, pattern: str, fmt: str, aspect: Fraction | None) -> None:
    """Rates, buffer, groups and headers are within a disc player's limits (DVD-Video, from memory), as written."""
    what = order(pattern, fmt, "mpeg2", seconds=3.0, aspect=aspect)
    path = made(tmp_path, what).path
    rate, coded = what.format.frame_rate, elementary(path)
    pictures = split_pictures(coded)
    assert len(pictures) == round(3 * float(rate))
    # Video of any second of pictures: 9.8 Mbit/s at most.
    sizes = np.array([8 * len(picture) for picture in pictures])
    second = round(float(rate))
    assert np.convolve(sizes, np.ones(second), "valid").max() <= 9_800_000
    # The program stream: 10.08 Mbit/s in the headers and by its clocks, each picture there before it is decoded.
    found = packs(path.read_bytes())
    assert {mux for _, mux, _, _ in found} == {10_080_000}
    # rate_bound of a system header is not below the rate: a marker, 22 bits, a marker (H.222.0, from memory).
    bounds = re.findall(rb"\x00\x00\x01\xbb..(...)", path.read_bytes(), re.DOTALL)
    assert {(int.from_bytes(b, "big") >> 1 & 0x3FFFFF) * 400 for b in bounds} == {10_080_000}
    clocks = [clock for clock, _, _, _ in found]
    # 2048 bytes take at least their time at the rate, whole ticks of 90 kHz told, over one pack and over many.
    each = Fraction(2048 * 8, 10_080_000)
    for many in (1, 50, len(clocks) - 1):
        assert min(b - a for a, b in zip(clocks, clocks[many:], strict=False)) >= many * each - Fraction(1, 90_000)
    assert b"".join(video for *_, video in found) == coded
    arrived = np.cumsum([len(video) for *_, video in found])
    ends = np.cumsum([len(picture) for picture in pictures])
    start = Fraction(program_start(path)).limit_denominator(90_000)
    for i, end in enumerate(ends):
        last = int(np.searchsorted(arrived, end))
        shown = start + i / rate
        assert clocks[last] + each <= shown, i
        # The decoder's buffer, 1835008 bits, and the multiplexer's 4096 bytes: what has come before picture i goes.
        held = arrived[max(0, bisect.bisect_left(clocks, shown) - 1)] - (ends[i - 1] if i else 0)
        assert held <= 1_835_008 // 8 + 4096 + 2048
    all_headers = headers(path)
    sequences = [h for h in all_headers if "sequence_header_code" in h]
    groups = [i for i, h in enumerate(all_headers) if "closed_gop" in h]
    assert sequences[0]["bit_rate_value"] * 400 <= 9_800_000  # In units of 400 bits a second (H.262).
    assert sequences[0]["vbv_buffer_size_value"] * 16384 <= 1_835_008
    assert sequences[0]["aspect_ratio_information"] == (3 if aspect else 2)  # H.262, table 6-3: 4:3 is 2, 16:9 is 3.
    assert all(all_headers[i]["closed_gop"] == 1 for i in groups)
    assert len(sequences) >= len(groups)
    # Time codes of groups, without dropped frames, are their first picture's.
    places = [i for i, picture in enumerate(pictures) if b"\0\0\1\xb8" in picture]
    lengths = np.diff([*places, len(pictures)])
    assert lengths.max() <= {480: 18, 576: 15}[what.format.height]
    assert places[0] == 0
    for place in places:
        code = int.from_bytes(pictures[place].split(b"\0\0\1\xb8")[1][:4], "big") >> 7
        hours, minutes, marker, seconds, frames = (
            *(code >> 19 & 31, code >> 13 & 63),
            *(code >> 12 & 1, code >> 6 & 63, code & 63),
        )
        assert ((hours * 60 + minutes) * 60 + seconds) * second + frames == place
        assert (marker, code >> 24) == (1, 0)
    # Main profile at main level is 0x48 (H.262, clause 8); intra DC of 10 bits at most.
    extensions = [h for h in all_headers if "profile_and_level_indication" in h]
    assert {h["profile_and_level_indication"] for h in extensions} == {0x48}
    coding = [h for h in all_headers if "intra_dc_precision" in h]
    assert max(h["intra_dc_precision"] for h in coding) <= 2
    assert {(h["picture_structure"], h["top_field_first"], h["progressive_frame"]) for h in coding} == {(3, 1, 0)}
    # Pictures of a group count from 0.
    numbers = [h["temporal_reference"] for h in all_headers if "temporal_reference" in h]
    assert numbers == [i for length in lengths for i in range(length)]


def program_start(path: Path) -> str:
    found = re.search(r"start: ([\d.]+)", program("-i", str(path))[1])
    assert found is not None
    return found[1]


@pytest.mark.slow
def test_a_long_still_is_one_picture(tmp_path: Path) -> None:
    """Twenty seconds have one coded picture and its repeats, which decode to the very same samples."""
    what = order("circles", "480i", "mpeg2", seconds=20)
    file = made(tmp_path, what)
    pictures = split_pictures(elementary(file.path))
    assert len(pictures) == 599
    assert len({without_time(picture) for picture in pictures}) == 18
    frames = program_frames(file.path, what)
    for frame in frames:
        assert all(np.array_equal(a, b) for a, b in zip(frame, frames[0], strict=True))


@pytest.mark.parametrize("height", [480, 576])
def test_a_repeated_picture_decodes(tmp_path: Path, height: int) -> None:
    """The ffmpeg program shows the same picture again, without a word of complaint."""
    path = tmp_path / "clip.m2v"
    source = ("-f", "lavfi", "-i", f"testsrc2=size=720x{height}:rate=25,format=yuv420p", "-frames:v", "1")
    program(*source, "-c:v", "mpeg2video", "-flags", "+ildct+ilme", "-qscale:v", "2", str(path))
    path.write_bytes(path.read_bytes() + b"".join(repeat_picture(720, height, i) for i in range(1, 4)))
    data, words = program("-v", "warning", "-err_detect", "explode", "-i", str(path), "-f", "rawvideo", "-")
    assert not words
    frames = np.frombuffer(data, np.uint8).reshape(4, -1)
    assert (frames == frames[0]).all()


def test_what_goes_through_the_buffer() -> None:
    """A second's pictures and a full buffer are the limits, whatever the repeats."""
    # 1835008 bits are 229376 bytes (DVD-Video, from memory); 25 pictures of 45000 bytes are 9 Mbit.
    assert fits_buffer([229_376, *[100] * 14], Fraction(25), 9_000_000)
    assert not fits_buffer([229_377, *[100] * 14], Fraction(25), 9_000_000)
    assert fits_buffer([45_000], Fraction(25), 9_000_000)
    assert not fits_buffer([45_001], Fraction(25), 9_000_000)
    # Two large pictures at once are too much for the buffer though not for the second.
    assert not fits_buffer([200_000, 100_000, *[100] * 23], Fraction(25), 9_000_000)
    assert fits_buffer([200_000, 50_000, *[100] * 23], Fraction(25), 9_000_000)


def test_time_codes_pass_an_hour() -> None:
    """The time code of a group's header runs on: picture 25 * 3661 + 7 is 1 h 1 min 1 s and 7 pictures."""
    picture = b"\0\0\1\xb3 \0\0\1\xb8\0\x08\0\x40\0\0\1\0 "
    found = list(stream([picture], 25 * 3661 + 8, Fraction(25)))[-1]
    code = int.from_bytes(found.split(b"\0\0\1\xb8")[1][:4], "big") >> 7
    assert (code >> 19 & 31, code >> 13 & 63, code >> 6 & 63, code & 63) == (1, 1, 1, 7)
    assert without_time(found) == without_time(picture)


@pytest.mark.skipif(shutil.which("dvdauthor") is None, reason="dvdauthor is not installed")
@pytest.mark.parametrize(
    ("pattern", "fmt", "aspect"),
    [("bars", "480i", None), ("bars", "576i", WIDE), ("zone-plate-moving", "480i", None)],
)
def test_a_disc_is_authored(tmp_path: Path, pattern: str, fmt: str, aspect: Fraction | None) -> None:
    """dvdauthor makes a disc folder of a clip, finds its kind and shape, and complains of nothing."""
    path = made(tmp_path, order(pattern, fmt, "mpeg2", seconds=3, aspect=aspect)).path
    standard = "NTSC" if fmt == "480i" else "PAL"
    disc = tmp_path / "disc"
    told = []
    for words in (["-t", str(path)], ["-T"]):
        done = subprocess.run(
            ["dvdauthor", "-o", str(disc), *words],
            env={**os.environ, "VIDEO_FORMAT": standard},
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert done.returncode == 0, done.stderr
        told.append(done.stderr)
    assert f"TV standard: {standard.lower()}" in told[0]
    assert f"Aspect ratio: {'16:9' if aspect else '4:3'}" in told[0]
    assert "MPEG version: mpeg2" in told[0]
    assert not re.search(r"WARN|ERR", "".join(told)), told
    title = disc / "VIDEO_TS" / "VTS_01_1.VOB"
    assert elementary(title) == elementary(path)
    assert (disc / "VIDEO_TS" / "VIDEO_TS.IFO").exists()


# --- Refusals and faults ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("fmt", ["480p", "240p", "1080i50", "720x480i@30000/1001", "352x288@25"])
def test_discs_hold_two_formats(fmt: str) -> None:
    """Every other raster is refused in a line that says what holds it."""
    with pytest.raises(CarrierError, match=r"mpeg2 is for 480i and 576i only, not \S+; use h264"):
        CARRIERS["mpeg2"].signal(parse_format(fmt))


@pytest.mark.parametrize("carrier", CLIPS)
def test_narrow_range_alone(carrier: str) -> None:
    """Video kinds without a place for the range are narrow, and say so when full is asked for."""
    with pytest.raises(CarrierError, match=f"--range: {carrier} cannot hold full, it holds narrow"):
        CARRIERS[carrier].signal(FORMATS["480i"], code_range=Range.FULL)


@pytest.mark.parametrize("carrier", ["prores", "v210"])
def test_an_odd_width_is_refused(carrier: str) -> None:
    """4:2:2 has a chroma sample for two of luma."""
    with pytest.raises(CarrierError, match="4:2:2 needs an even width"):
        CARRIERS[carrier].signal(parse_format("241x180@50"))


def test_two_kinds_of_one_ending_have_two_names() -> None:
    """The two kinds of .mov do not write over each other."""
    names = [default_name(order("bars", "576i", carrier)) for carrier in ("prores", "v210")]
    assert names == ["bars_576i_narrow_10bit_422_prores.mov", "bars_576i_narrow_10bit_422_v210.mov"]


@pytest.mark.parametrize("pattern", ["bars", "field-order"])
@pytest.mark.parametrize(("carrier", "codes"), [("mpeg2", 1), ("prores", 2)])
def test_patches_beyond_the_rule_leave_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, carrier: str, codes: int, pattern: str
) -> None:
    """Levels wrong by more than the kind's codes fail the proof, of a moving pattern by the mean; within, they pass."""
    what = order(pattern, "480i", carrier)
    path = tmp_path / f"clip{what.carrier.suffix}"

    def encode(by: int) -> Any:
        def off(frames: Any, *args: Any) -> None:
            encode_frames(((planes[0] + by, planes[1] + by, planes[2] + by) for planes in frames), *args)

        return off

    for by in (codes + 2, codes):
        monkeypatch.setattr(produce_module, "encode_frames", encode(by))
        monkeypatch.setattr(disc_module, "encode_frames", encode(by))
        if by > codes:
            with pytest.raises(ProofError, match="a patch differs by" if pattern == "bars" else "on average"):
                produce(what, path)
            assert not list(tmp_path.iterdir())
        elif pattern == "bars":
            proof = produce(what, path).proof
            assert (proof.verdict, proof.patch_error_codes) == (Verdict.WITHIN, codes)


@pytest.mark.parametrize(
    ("carrier", "by"), [("h264", 2), ("ffv1", 1), ("v210", 1), ("tiff", 1), ("dpx", 1), ("png", 1)]
)
def test_one_sample_beyond_the_rule_leaves_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, carrier: str, by: int
) -> None:
    """Where every sample counts, one that is further off than allowed fails the proof, though it is in no patch.

    Design, section 6: those kinds are exact; of h264 no sample is off by more than a code.
    """
    real = decode_module.VideoFile._picture

    def off(self: Any, frame: Any) -> Any:
        picture = real(self, frame)
        first = picture.planes[0].copy()
        first[0, 0] += by
        return replace(picture, planes=(first, *picture.planes[1:]))

    monkeypatch.setattr(decode_module.VideoFile, "_picture", off)
    with pytest.raises(ProofError, match=rf"off, by up to {by} codes \(samples 0 to 0 of lines 0 to 0\)"):
        produce(order("window", "480i", carrier, seconds=0.04), tmp_path / "file")
    assert not list(tmp_path.iterdir())


def test_the_report_tells_which_patches_were_judged_by_their_median(tmp_path: Path) -> None:
    """One wild sample in a patch is named, and the median judged; without it every sample is."""
    what = order("bars", "480i", "v210", seconds=0.04)
    path, planes = made(tmp_path, what).path, drawn(what)
    scene = what.pattern.scene(what.format)
    tags = what.carrier.held(tags_for(what.format, what.signal, 1))

    def proof(change: int, codes: int) -> Proof:
        luma = planes[0].copy()
        span = patch_area(what.format, next(p for p in scene.patches if p.name == "green"), 20, 20)
        luma[span.top, span.left] += change
        frame = (luma, planes[1], planes[2])
        return prove(path, tags, lambda _: frame, 1, Measured(patches=scene.patches, format=what.format, codes=codes))

    wild = proof(9, 2)
    assert (wild.patch_error_codes, wild.patches_by_median, wild.max_error_codes) == (0, ("green",), 9)
    assert wild.where.startswith("samples ")
    mild = proof(2, 2)
    assert (mild.patch_error_codes, mild.patches_by_median, mild.max_error_codes) == (2, (), 2)
    assert proof(0, 2).verdict is Verdict.EXACT


def test_a_clip_that_moves_too_much_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no quantiser brings the pictures into the rate, one line says so and nothing is left."""
    monkeypatch.setattr(disc_module, "fits_buffer", lambda *_: False)
    with pytest.raises(WriteError, match=r"moves too much for the 9 Mbit/s of a disc"):
        produce(order("field-order", "480i", "mpeg2"), tmp_path / "clip.mpg")
    assert not list(tmp_path.iterdir())


def test_files_are_the_same_every_time(tmp_path: Path) -> None:
    """No time of day, no random number: two runs write equal bytes."""
    for carrier in (*CLIPS, *STILLS):
        first, second = (produce(order("bars", "480i", carrier), tmp_path / str(i) / "file") for i in range(2))
        assert first.sha256 == second.sha256, carrier


# --- Damage -----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, bytes]:
    """One small file of each kind, by its name."""
    folder, found = tmp_path_factory.mktemp("files"), {}
    for carrier in (*CLIPS, *STILLS):
        fmt = "480i" if carrier == "mpeg2" else "64x48@50"
        signal: dict[str, Any] = {"bits": 10} if carrier in STILLS else {}
        what = order("bars", fmt, carrier, seconds=0.06, **signal)
        found[carrier] = made(folder, what).path.read_bytes()
    return found


def read_all(path: Path) -> int:
    """Frames that can be read, or -1 where the reader refuses in one line. Anything but FileError comes through."""
    try:
        with open_video(path) as video:
            assert video.provenance is None or str(video.provenance)
            return sum(1 for _ in video.pictures())
    except FileError as error:
        assert "\n" not in str(error)  # noqa: PT017
        return -1


@pytest.mark.parametrize("carrier", [*CLIPS, *STILLS])
def test_cut_files(tmp_path: Path, files: dict[str, bytes], carrier: str) -> None:
    """Whole, a file has all its frames; cut short it is refused, or has fewer."""
    data, path = files[carrier], tmp_path / f"cut{CARRIERS[carrier].suffix}"
    path.write_bytes(data)
    whole = read_all(path)
    assert whole == (1 if carrier in STILLS else {"mpeg2": 2}.get(carrier, 3))
    for part in (1, 10, 300, len(data) // 3, len(data) // 2):
        path.write_bytes(data[:part])
        assert read_all(path) < whole, part


@settings(max_examples=150, suppress_health_check=list(HealthCheck))
@given(
    carrier=st.sampled_from([*STILLS, *STILLS, *CLIPS]),
    changes=st.lists(st.tuples(st.floats(0, 1, exclude_max=True), st.integers(0, 255)), min_size=1, max_size=20),
    keep=st.floats(0.2, 1),
)
def test_damaged_files(
    files: dict[str, bytes], tmp_path: Path, carrier: str, changes: list[tuple[float, int]], keep: float
) -> None:
    """Bytes changed and ends cut: frames or FileError in one line, never anything else."""
    data = bytearray(files[carrier])
    head = {"dpx": 2048, "tiff": 600}.get(carrier, 400)
    for place, value in changes:
        # Most of the changes go into the head, where a file says what it is.
        at = int(place / 0.8 * min(len(data), head)) if place < 0.8 else int((place - 0.8) * 5 * len(data))
        data[min(at, len(data) - 1)] = value
    path = tmp_path / f"damaged{CARRIERS[carrier].suffix}"
    path.write_bytes(data[: max(1, int(keep * len(data)))])
    assert read_all(path) >= -1


@pytest.mark.parametrize("size", [(2**31 - 1, 2**31 - 1), (2**32 - 1, 1), (0, 0), (60_000, 60_000)])
def test_a_dpx_header_that_lies(tmp_path: Path, files: dict[str, bytes], size: tuple[int, int]) -> None:
    """A size that nothing can have: one line, no memory taken."""
    data = bytearray(files["dpx"])
    data[772:780] = struct.pack(">II", *size)
    (tmp_path / "huge.dpx").write_bytes(data)
    assert read_all(tmp_path / "huge.dpx") == -1


@pytest.mark.parametrize("size", [(2**31 - 1, 2**31 - 1), (0, 0), (60_000, 60_000)])
def test_a_tiff_header_that_lies(tmp_path: Path, files: dict[str, bytes], size: tuple[int, int]) -> None:
    """The same of TIFF, whose first two tags are the size (TIFF 6.0: entries of 12 bytes in order of their numbers)."""
    data = bytearray(files["tiff"])
    (at,) = struct.unpack_from("<I", data, 4)
    for i, value in enumerate(size):
        entry = at + 2 + 12 * i
        assert struct.unpack_from("<H", data, entry)[0] == 256 + i
        struct.pack_into("<HHII", data, entry, 256 + i, 4, 1, value)
    (tmp_path / "huge.tif").write_bytes(data)
    assert read_all(tmp_path / "huge.tif") == -1


def test_a_stream_that_ends_within_a_pack_is_told(tmp_path: Path) -> None:
    """Packs of discs have 2048 bytes (from memory); what is cut is an error of writing, told in words."""
    path = tmp_path / "cut.mpg"
    path.write_bytes(bytes(3000))
    with pytest.raises(WriteError, match=r"cut\.mpg: .*packs of 2048 bytes"):
        write_rate(path, 10_080_000)
