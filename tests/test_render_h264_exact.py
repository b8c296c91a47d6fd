"""The exact H.264 writer, judged by decoders that know nothing of it.

Every stream is decoded by libavcodec through PyAV and by the ffmpeg program; where that program has it, also by
OpenH264, a decoder with no code in common with libavcodec. Each decoded sample must equal the drawn one.
"""

import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from functools import cache
from io import BytesIO

import av
import imageio_ffmpeg
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from render.video.h264_exact import encode, group_length
from render.video.h264_levels import BitsError, Load, Shape, level_for, most_references
from render.video.h264_syntax import StreamTags

Plane = NDArray[np.uint8]
Planes = tuple[Plane, Plane, Plane]

TAGS = StreamTags(
    width=722,
    height=482,
    rate=Fraction(30000, 1001),
    sample_aspect=Fraction(1),
    interlaced=False,
    top_field_first=False,
    full_range=False,
    primaries=1,
    transfer=1,
    matrix=1,
)
START = b"\x00\x00\x00\x01"


# --- Pictures ---


def tags_of(frame: Planes, **changes: object) -> StreamTags:
    return replace(TAGS, **{"width": frame[0].shape[1], "height": frame[0].shape[0], **changes})


def of_luma(luma: NDArray[np.float64], cb: int = 90, cr: int = 170) -> Planes:
    """A picture with this luma, and chroma that follows it a little, so that no plane is plain."""
    small = luma[::2, ::2] / 255
    planes = luma, cb + 40 * small, cr - 40 * small
    y, u, v = (np.rint(plane).astype(np.uint8) for plane in planes)
    return y, u, v


def noise(width: int, height: int, seed: int, codes: tuple[int, int] = (0, 255)) -> Planes:
    rng = np.random.default_rng(seed)

    def plane(rows: int, columns: int) -> Plane:
        return rng.integers(codes[0], codes[1] + 1, (rows, columns), dtype=np.uint8)

    return plane(height, width), plane(height // 2, width // 2), plane(height // 2, width // 2)


def flat(width: int, height: int, y: int, cb: int, cr: int) -> Planes:
    small = (height // 2, width // 2)
    return np.full((height, width), y, np.uint8), np.full(small, cb, np.uint8), np.full(small, cr, np.uint8)


def stripes(width: int, height: int) -> Planes:
    return of_luma(np.where(np.arange(width) // 3 % 2, 235.0, 16.0) * np.ones((height, 1)))


def ramp(width: int, height: int) -> Planes:
    return of_luma(np.linspace(0, 255, width) * np.ones((height, 1)))


def ring(width: int, height: int, shift: int = 0) -> Planes:
    rows, columns = np.mgrid[:height, :width]
    radius = np.hypot(rows - height / 2, columns - width / 2 - shift)
    return of_luma(16 + 219 * np.clip(3 - np.abs(radius - height / 3), 0, 1))


def bar(width: int, height: int, at: int) -> Planes:
    columns = np.arange(width)
    return of_luma(np.where((columns >= at) & (columns < at + 21), 235.0, 16.0) * np.ones((height, 1)))


def grain(width: int, height: int, seed: int, codes: int) -> Planes:
    """A ramp with noise of so many codes in luma alone: no block is a prediction, and chroma is plain."""
    y, cb, cr = flat(width, height, 0, 128, 90)
    rng = np.random.default_rng(seed)
    slope = np.linspace(20, 220, width).astype(int)
    y[:] = np.clip(slope + rng.integers(-codes, codes + 1, y.shape), 0, 255)
    return y, cb, cr


def sparks(width: int, height: int, seed: int) -> Planes:
    """Single samples of any code on a plain ground: few samples differ, by much."""
    y, cb, cr = flat(width, height, 128, 128, 128)
    rng = np.random.default_rng(seed)
    lit = rng.random(y.shape) < 0.03
    y[lit] = rng.integers(0, 256, int(lit.sum()))
    return y, cb, cr


def predicted_block(plane: Plane, row: int, column: int, size: int, mode: str) -> Plane | None:
    """Intra prediction by the words of H.264, clauses 8.3.3 and 8.3.4 (from memory); None where not allowed."""
    y, x = row * size, column * size
    above = plane[y - 1, x : x + size].astype(int) if row else None
    left = plane[y : y + size, x - 1].astype(int) if column else None
    if mode == "vertical":
        return None if above is None else np.tile(above, (size, 1)).astype(np.uint8)
    if mode == "horizontal":
        return None if left is None else np.tile(left[:, None], (1, size)).astype(np.uint8)
    block = np.empty((size, size), np.uint8)
    part = 16 if size == 16 else 4
    for top in range(0, size, part):
        for start in range(0, size, part):
            edges = []
            if above is not None and not (top > start and left is not None):
                edges.append(above[start : start + part])
            if left is not None and not (start > top and above is not None):
                edges.append(left[top : top + part])
            taken = np.concatenate(edges) if edges else np.array([128])
            value = (int(taken.sum()) + len(taken) // 2) // len(taken)
            block[top : top + part, start : start + part] = value
    return block


def drawn_by_prediction(rows: int, columns: int, seed: int) -> tuple[Planes, int]:
    """A picture whose macroblocks are noise, or one of the nine pairs of predictions, or that but for one sample.

    Returned with it: how many macroblocks are not wholly a prediction.
    """
    rng = np.random.default_rng(seed)
    planes = noise(16 * columns, 16 * rows, seed)
    raw = 0
    for row in range(rows):
        for column in range(columns):
            luma, chroma = rng.choice(["vertical", "horizontal", "dc"], 2)
            modes = (luma, chroma, chroma)
            sizes = (16, 8, 8)
            blocks = [
                predicted_block(plane, row, column, size, mode)
                for plane, size, mode in zip(planes, sizes, modes, strict=True)
            ]
            if rng.random() < 0.3 or any(block is None for block in blocks):
                raw += 1
                continue
            for plane, size, block in zip(planes, sizes, blocks, strict=True):
                assert block is not None
                plane[row * size : (row + 1) * size, column * size : (column + 1) * size] = block
            if rng.random() < 0.2:
                raw += 1
                which = rng.integers(3)
                y, x = row * sizes[which], column * sizes[which]
                planes[which][y + rng.integers(sizes[which]), x + rng.integers(sizes[which])] ^= 1
    return planes, raw


# --- Decoders ---


def decode_pyav(data: bytes) -> list[av.VideoFrame]:
    with av.open(BytesIO(data), mode="r", format="h264") as container:
        return list(container.decode(video=0))


def planes_of(frame: av.VideoFrame) -> Planes:
    def samples(plane: av.video.plane.VideoPlane) -> Plane:
        return np.frombuffer(bytes(plane), np.uint8).reshape(-1, plane.line_size)[: plane.height, : plane.width]

    y, cb, cr = (samples(plane) for plane in frame.planes)
    return y, cb, cr


def decode_pyav_planes(data: bytes) -> list[Planes]:
    return [planes_of(frame) for frame in decode_pyav(data)]


def run_ffmpeg(data: bytes, before: list[str], after: list[str]) -> subprocess.CompletedProcess[bytes]:
    program = [imageio_ffmpeg.get_ffmpeg_exe(), "-nostdin", *before, "-f", "h264", "-i", "pipe:0", *after]
    return subprocess.run(program, input=data, capture_output=True, check=True)


def decode_ffmpeg(data: bytes, width: int, height: int, decoder: str = "h264") -> list[Planes]:
    """Decoded frames; fails on any warning or error that the program prints."""
    # No pixel format is asked for: a change of range would go through a scaler, which is not what is tested.
    after = ["-fps_mode", "passthrough", "-f", "rawvideo", "pipe:1"]
    done = run_ffmpeg(data, ["-v", "warning", "-xerror", "-c:v", decoder], after)
    assert done.stderr == b""
    size = width * height
    frames = np.frombuffer(done.stdout, np.uint8).reshape(-1, size * 3 // 2)
    small = (height // 2, width // 2)
    return [
        (f[:size].reshape(height, width), f[size : size * 5 // 4].reshape(small), f[size * 5 // 4 :].reshape(small))
        for f in frames
    ]


@cache
def has_openh264() -> bool:
    program = [imageio_ffmpeg.get_ffmpeg_exe(), "-v", "error", "-decoders"]
    return b"libopenh264" in subprocess.run(program, capture_output=True, check=True).stdout


def syntax_of(data: bytes) -> list[tuple[str, int]]:
    """Name and value of each syntax element in the headers, as ffmpeg's own reader of headers has it."""
    after = ["-c", "copy", "-bsf:v", "trace_headers", "-f", "null", "-"]
    printed = run_ffmpeg(data, ["-v", "verbose"], after).stderr.decode()
    return [(name, int(value)) for name, value in re.findall(r"\] \d+ +(\S+) +[01]+ = (-?\d+)", printed)]


def scans_of(data: bytes) -> list[str]:
    """Each decoded frame's flags, as ffmpeg's showinfo prints them: T or B, the first field; P, progressive."""
    printed = run_ffmpeg(data, ["-v", "info"], ["-vf", "showinfo", "-f", "null", "-"]).stderr.decode()
    return re.findall(r" i:([TBP]) ", printed)


def assert_same(decoded: list[Planes], drawn: list[Planes]) -> None:
    assert len(decoded) == len(drawn)
    for index, (got, wanted) in enumerate(zip(decoded, drawn, strict=True)):
        for name, a, b in zip(("Y", "Cb", "Cr"), got, wanted, strict=True):
            np.testing.assert_array_equal(a, b, err_msg=f"frame {index}, {name}")


def assert_exact(frames: list[Planes], tags: StreamTags) -> bytes:
    """Encode, decode by every decoder at hand, compare every sample; the stream."""
    data = encode(frames, tags)
    assert_same([planes_of(frame) for frame in decode_pyav(data)], frames)
    assert_same(decode_ffmpeg(data, tags.width, tags.height), frames)
    return data


# --- Samples ---

STILLS: dict[str, Callable[[int, int], Planes]] = {
    "noise": lambda width, height: noise(width, height, 1),
    "flat": lambda width, height: flat(width, height, 180, 128, 44),
    "stripes": stripes,
    "ramp": ramp,
    "ring": ring,
    "grain 1": lambda width, height: grain(width, height, 3, 1),
    "grain 4": lambda width, height: grain(width, height, 3, 4),
    "grain 12": lambda width, height: grain(width, height, 3, 12),
    "grain 40": lambda width, height: grain(width, height, 3, 40),
    "sparks": lambda width, height: sparks(width, height, 4),
    "zero": lambda width, height: flat(width, height, 0, 0, 0),
    "full": lambda width, height: flat(width, height, 255, 255, 255),
    "ends": lambda width, height: (255 * (planes := noise(width, height, 2, (0, 1)))[0], 255 * planes[1], planes[2]),
}


@pytest.mark.parametrize("name", STILLS)
@pytest.mark.parametrize(("width", "height"), [(354, 290), (16, 16), (18, 34), (2, 2)])
def test_a_still_is_exact(name: str, width: int, height: int) -> None:
    """Each picture at each size comes back in every sample, one frame and its repeat."""
    frame = STILLS[name](width, height)
    assert_exact([frame, frame], tags_of(frame))


def test_fine_detail_takes_fewer_bits_than_its_samples() -> None:
    """Noise of a few codes, sparks and a ring go as coefficients, none of them raw."""
    for frame, share in ((ring(720, 480), 1 / 8), (sparks(720, 480, 1), 1 / 2), (grain(720, 480, 1, 2), 1 / 2)):
        assert len(encode([frame], tags_of(frame))) < share * 720 * 480 * 3 / 2


def test_a_full_size_frame_is_exact() -> None:
    """A ring of 1920 x 1080, a height that is no multiple of 16, comes back in every sample."""
    frame = ring(1920, 1080)
    assert_exact([frame, frame], tags_of(frame))


@pytest.mark.parametrize("picture", [bar, ring])
def test_motion_is_exact(picture: Callable[[int, int, int], Planes]) -> None:
    """A picture that moves by a few samples, pauses and jumps back comes back in every frame."""
    frames = [picture(240, 146, at) for at in (0, 3, 6, 6, 40, 0)]
    assert_exact(frames, tags_of(frames[0]))


def test_small_changes_are_exact_wherever_they_lie() -> None:
    """Frames that differ from the one before in one macroblock, or in one plane only, come back."""
    frames = [noise(80, 64, 3)]
    for plane, row, column in ((0, 0, 0), (0, 63, 79), (0, 20, 40), (1, 31, 0), (2, 0, 39), (1, 16, 16)):
        changed = tuple(samples.copy() for samples in frames[-1])
        changed[plane][row, column] ^= 0x55
        frames.append((changed[0], changed[1], changed[2]))
    assert_exact(frames, tags_of(frames[0]))


@pytest.mark.parametrize("seed", range(4))
def test_every_prediction_is_used_and_exact(seed: int) -> None:
    """Macroblocks that a prediction gives are sent as that prediction, in I and in P pictures, and come back."""
    pictures = [drawn_by_prediction(7, 9, 10 * seed + picture) for picture in range(3)]
    frames = [planes for planes, _ in pictures]
    data = assert_exact(frames, tags_of(frames[0]))
    # 384 samples and at most 4 bytes of type and alignment for each I_PCM macroblock, at most 3 bytes for each
    # other (types and tokens of H.264, tables 7-11, 7-13 and 9-5, from memory), 100 for the headers; the bytes
    # against false start codes are taken out first.
    raw = sum(count for _, count in pictures)
    assert len(data.replace(b"\x00\x00\x03", b"\x00\x00")) < 100 + 388 * raw + 3 * (3 * 63 - raw)


def test_no_neighbour_counts_as_the_middle_code() -> None:
    """A plain picture of code 128 needs no raw sample at all; one of 127 does, and both come back."""
    # The prediction with no neighbour is 1 << (bit depth - 1) (H.264, clauses 8.3.3.3 and 8.3.4.1, from memory).
    middle, lower = flat(64, 64, 128, 128, 128), flat(64, 64, 127, 127, 127)
    assert len(assert_exact([middle], tags_of(middle))) < 100
    assert len(assert_exact([lower], tags_of(lower))) > 384


@pytest.mark.parametrize("mode", ["vertical", "horizontal", "dc", "middle"])
def test_a_lone_change_is_predicted_from_what_did_not_change(mode: str) -> None:
    """A single changed macroblock is predicted from its unchanged neighbours; a block of 128 is not, but is raw."""
    before = noise(96, 80, 11)
    after = (before[0].copy(), before[1].copy(), before[2].copy())
    row, column = 2, 3
    for plane, size in zip(after, (16, 8, 8), strict=True):
        block = predicted_block(plane, row, column, size, mode) if mode != "middle" else 128
        assert block is not None
        plane[row * size : (row + 1) * size, column * size : (column + 1) * size] = block
    data = assert_exact([before, after], tags_of(before))
    # A raw macroblock has 384 samples; the headers and the skip runs need far less than 20 bytes.
    size = len(data.split(START)[-1])
    assert size > 384 if mode == "middle" else size < 20


def test_an_unchanged_frame_costs_next_to_nothing() -> None:
    """A repeated frame is one skip run: 8160 macroblocks in a NAL unit of a few bytes."""
    frame = flat(1920, 1080, 16, 128, 128)
    data = encode([frame] * 5, tags_of(frame))
    slices = data.split(START)[-4:]
    # 1 byte of NAL header, under 4 of slice header, under 4 of skip run (H.264, clauses 7.3.3 and 7.3.4, from
    # memory).
    assert max(map(len, slices)) < 9


def test_a_long_group_is_exact() -> None:
    """Counters that wrap (frame number, picture order) lose no frame and no order, progressive or interlaced."""
    frames = [noise(16, 16, index) if index % 5 else flat(16, 16, index % 256, 7, 9) for index in range(300)]
    assert_exact(frames, tags_of(frames[0]))
    assert_exact(frames, tags_of(frames[0], interlaced=True))


@settings(max_examples=200, deadline=None)
@given(data=st.data())
def test_random_streams_are_exact(data: st.DataObject) -> None:
    """Any small size, any few frames of any kind, with changes from none to all, come back in every sample."""
    interlaced = data.draw(st.booleans())
    step = 4 if interlaced else 2
    width = 2 * data.draw(st.integers(1, 30))
    height = step * data.draw(st.integers(1, 60 // step))
    frames: list[Planes] = []
    for _ in range(data.draw(st.integers(1, 4))):
        kind = data.draw(st.sampled_from(["same", "patch", "noise", "few codes", "coarse", "flat"]))
        seed = data.draw(st.integers(0, 2**32 - 1))
        fresh = noise(width, height, seed, (0, 3 if kind == "few codes" else 255))
        if kind == "flat":
            fresh = flat(width, height, seed % 256, seed // 256 % 256, seed // 65536 % 256)
        if kind == "coarse":
            y, cb, cr = (plane[::8, ::8].repeat(8, 0).repeat(8, 1) for plane in fresh)
            fresh = y[:height, :width], cb[: height // 2, : width // 2], cr[: height // 2, : width // 2]
        if kind in ("same", "patch") and frames:
            y, cb, cr = (plane.copy() for plane in frames[-1])
            if kind == "patch":
                y[height // 3 : height // 2, width // 3 :] = seed % 256
                cb[: height // 8] = seed // 256 % 256
            fresh = y, cb, cr
        frames.append(fresh)
    tags = tags_of(frames[0], interlaced=interlaced, top_field_first=data.draw(st.booleans()))
    decoded = decode_pyav(encode(frames, tags))
    assert_same([planes_of(frame) for frame in decoded], frames)


def test_another_decoder_agrees() -> None:
    """OpenH264 gives the same samples as were drawn: noise, predictions, motion, cropping."""
    if not has_openh264():
        pytest.skip("this ffmpeg has no OpenH264 decoder")
    predicted = [drawn_by_prediction(7, 9, seed)[0] for seed in (70, 71, 72)]
    moving = [ring(242, 146, at) for at in (0, 2, 2, 30)]
    fine = [grain(162, 98, 1, 3), grain(162, 98, 2, 9), sparks(162, 98, 3)]
    for frames in (predicted, moving, fine, [noise(18, 34, 5), noise(18, 34, 6)]):
        tags = tags_of(frames[0])
        assert_same(decode_ffmpeg(encode(frames, tags), tags.width, tags.height, "libopenh264"), frames)


# --- Bytes ---


@pytest.mark.parametrize("highest", [0, 1, 3])
def test_no_start_code_stands_in_the_samples(highest: int) -> None:
    """Raw macroblocks of zeros and ones hold no start code and no sequence that a NAL unit must not have."""
    y, cb, cr = noise(64, 48, 7, (0, highest))
    # A 4 in each macroblock's middle, off the diagonal, so that no prediction gives it: it goes raw, zeros and all.
    y[5::16, 9::16] = 4
    cb[3::8, 5::8] = 4
    # Four zeros and a one: after two zeros and the 3, the count must start anew (H.264, clause 7.4.1.1).
    y[8, :16] = [9, 0, 0, 0, 0, 1, 9, 0, 0, 0, 3, 9, 0, 0, 0, 9]
    data = assert_exact([(y, cb, cr), (y, cb, cr)], tags_of((y, cb, cr)))
    assert len(data) > 12 * 384
    units = data.split(START)[1:]
    # SPS, PPS, IDR slice, P slice: H.264, table 7-1 (from memory).
    assert [unit[0] & 31 for unit in units] == [7, 8, 5, 1]
    # Forbidden in a NAL unit: 0, 0, then 0, 1 or 2 (H.264, clause 7.4.1, from memory).
    assert not any(re.search(rb"\x00\x00[\x00-\x02]", unit) for unit in units)


def test_a_repeated_group_plays_twice() -> None:
    """The same bytes twice over decode to the frames twice over, without a warning."""
    frames = [ring(96, 64, at) for at in (0, 0, 5)]
    data = 2 * encode(frames, tags_of(frames[0]))
    assert_same(decode_ffmpeg(data, 96, 64), 2 * frames)
    assert_same([planes_of(frame) for frame in decode_pyav(data)], 2 * frames)


def test_groups_of_one_frame_follow_each_other_with_other_ids() -> None:
    """IDR pictures in a row carry the ids that were asked for, and all are decoded."""
    frames = [noise(32, 32, seed) for seed in range(4)]
    tags = tags_of(frames[0])
    data = b"".join(encode([frame], tags, idr_pic_id=index % 2) for index, frame in enumerate(frames))
    assert [value for name, value in syntax_of(data) if name == "idr_pic_id"] == [0, 1, 0, 1]
    assert_same(decode_ffmpeg(data, 32, 32), frames)


# --- Tags ---


@pytest.mark.parametrize("top_field_first", [True, False])
def test_fields_are_flagged_and_exact(top_field_first: bool) -> None:
    """Interlaced frames are exact; each, in a repeated group too, says so and which field comes first."""
    frames = [ring(722, 484, 0), ring(722, 484, 0), ring(722, 484, 9), noise(722, 484, 4)]
    tags = tags_of(frames[0], interlaced=True, top_field_first=top_field_first)
    data = 2 * assert_exact(frames, tags)
    assert [bool(frame.interlaced_frame) for frame in decode_pyav(data)] == 8 * [True]
    assert scans_of(data) == 8 * ["T" if top_field_first else "B"]


def test_progressive_frames_are_flagged_so() -> None:
    """A progressive stream has no frame that says it is interlaced."""
    frame = ramp(64, 64)
    data = encode([frame] * 3, tags_of(frame))
    assert [bool(decoded.interlaced_frame) for decoded in decode_pyav(data)] == 3 * [False]
    assert scans_of(data) == 3 * ["P"]


@pytest.mark.parametrize(
    "tags",
    [
        TAGS,
        # Standard definition in H.273 (from memory): 6 is SMPTE 170M, 5 is BT.470 system B, G.
        replace(TAGS, sample_aspect=Fraction(10, 11), primaries=6, transfer=6, matrix=6),
        replace(TAGS, sample_aspect=Fraction(12, 11), primaries=5, transfer=6, matrix=5, rate=Fraction(25)),
        replace(TAGS, sample_aspect=Fraction(7, 5), full_range=True, rate=Fraction(60000, 1001)),
        # BT.2020 primaries with PQ, H.273 (from memory).
        replace(TAGS, primaries=9, transfer=16, matrix=9, rate=Fraction(24)),
    ],
)
def test_tags_read_back(tags: StreamTags) -> None:
    """Size, rate, sample aspect, range and colour come back from the decoder as they were given."""
    data = encode([flat(tags.width, tags.height, 50, 128, 128)] * 2, tags)
    with av.open(BytesIO(data), mode="r", format="h264") as container:
        context = container.streams.video[0].codec_context
        frame = next(container.decode(video=0))
        assert context.profile == "High"
        assert (context.width, context.height) == (tags.width, tags.height)
        assert context.framerate == tags.rate
        assert context.sample_aspect_ratio == tags.sample_aspect
        # AVCOL_RANGE_MPEG is 1, AVCOL_RANGE_JPEG is 2 (libavutil/pixfmt.h, from memory).
        assert int(frame.color_range) == (2 if tags.full_range else 1)
        # libavutil numbers these three as H.273 does (libavutil/pixfmt.h, from memory).
        colour = (int(frame.color_primaries), int(frame.color_trc), int(frame.colorspace))
        assert colour == (tags.primaries, tags.transfer, tags.matrix)


def test_headers_read_back() -> None:
    """Another reader of the headers finds the elements that players and converters go by."""
    frame = ramp(722, 484)
    tags = tags_of(frame, interlaced=True, top_field_first=True, sample_aspect=Fraction(7, 5))
    found = syntax_of(encode([frame, frame], tags))
    elements = dict(found)
    # Names and meanings: H.264, clauses 7.3.2.1.1, 7.3.2.2, 7.3.3, E.1.1 and D.1.3 (from memory).
    wanted = {
        "profile_idc": 100,
        "entropy_coding_mode_flag": 0,
        "transform_8x8_mode_flag": 0,
        "constrained_intra_pred_flag": 0,
        "frame_mbs_only_flag": 0,
        "mb_adaptive_frame_field_flag": 0,
        "direct_8x8_inference_flag": 1,
        "field_pic_flag": 0,
        "frame_crop_right_offset": 7,  # 46 macroblocks are 736; (736 - 722) / 2
        "frame_crop_bottom_offset": 7,  # 16 pairs of macroblocks are 512; (512 - 484) / 4
        "aspect_ratio_idc": 255,
        "sar_width": 7,
        "sar_height": 5,
        "chroma_sample_loc_type_top_field": 0,
        "chroma_sample_loc_type_bottom_field": 0,
        "num_units_in_tick": 1001,
        "time_scale": 60000,  # fields per second, times 1001
        "fixed_frame_rate_flag": 1,
        "pic_struct_present_flag": 1,
        "pic_struct": 3,
        "max_num_reorder_frames": 0,
        "max_dec_frame_buffering": 1,
        "disable_deblocking_filter_idc": 1,
    }
    assert {name: elements.get(name) for name in wanted} == wanted
    assert [value for name, value in found if name == "frame_num"] == [0, 1]
    # Each field has a count of its own: 0, 1, then 2, 3 (H.264, clause 8.2.1, from memory).
    assert [value for name, value in found if name == "pic_order_cnt_lsb"] == [0, 2]
    assert [value for name, value in found if name == "delta_pic_order_cnt_bottom"] == [1, 1]
    progressive = dict(syntax_of(encode([frame], tags_of(frame))))
    # Type 2: output order is decoding order (H.264, clause 8.2.1.3, from memory).
    assert progressive["pic_order_cnt_type"] == 2
    assert progressive["frame_mbs_only_flag"] == 1
    assert "pic_struct" not in progressive


@pytest.mark.parametrize(
    ("width", "height", "rate", "interlaced", "level"),
    [
        # H.264, table A-1: MaxFS and MaxMBPS; table A-4: levels with fields (from memory).
        (16, 16, Fraction(25), False, 10),
        (176, 144, Fraction(25), False, 11),
        (352, 288, Fraction(30), False, 13),
        (720, 480, Fraction(30000, 1001), False, 30),
        (720, 576, Fraction(25), True, 30),
        (16, 32, Fraction(25), True, 21),
        (1280, 720, Fraction(30), False, 31),
        (1280, 720, Fraction(60), False, 32),
        (1920, 1080, Fraction(30), True, 40),
        (1920, 1080, Fraction(60), False, 42),
        # 2000 samples are 125 macroblocks, more than the root of 8 times 1620 (clause A.3.1): 3.1, not 3.
        (2000, 16, Fraction(25), False, 31),
    ],
)
def test_the_level_is_the_least_that_holds(
    width: int, height: int, rate: Fraction, interlaced: bool, level: int
) -> None:
    """level_idc is that of the first level whose frame size and macroblock rate are large enough."""
    frame = flat(width, height, 0, 0, 0)
    data = encode([frame], tags_of(frame, rate=rate, interlaced=interlaced))
    # After the start code: NAL header, profile_idc, constraint flags, level_idc (H.264, clause 7.3.2.1.1, from
    # memory).
    assert data[7] == level


def test_a_still_is_judged_by_how_often_its_first_picture_comes() -> None:
    """A group of a still comes once in five seconds, however short the clip is."""
    frame = ring(720, 480)
    short, long = (encode([frame] * count, tags_of(frame, rate=Fraction(30))) for count in (2, 150))
    assert short[7] == long[7]
    assert group_length(Fraction(30000, 1001)) == 149  # 149 frames of 1001/30000 s are 4.97 s, 150 are 5.005 s


def test_pictures_that_hardly_shrink_are_refused() -> None:
    """Noise goes raw, and level 4.1 wants pictures half as large as raw samples (MinCR, clause A.3.3, from memory)."""
    frame = noise(720, 480, 1)
    with pytest.raises(BitsError, match="first picture is less than 2 times smaller than raw samples"):
        encode([frame], tags_of(frame, rate=Fraction(30)))


SD = Shape(rows=30, columns=45, rate=Fraction(30), interlaced=False)


# H.264, table A-1 (from memory): level 3 takes 12.5 Mbit/s in High profile, 3.2 and 4 take 25, 4.1 takes 62.5.
@pytest.mark.parametrize(
    ("rate", "level"), [(12_500_000, 30), (12_500_001, 31), (25_000_000, 32), (62_500_000, 41), (62_500_001, None)]
)
@pytest.mark.parametrize("count", [2, 30, 60])
def test_the_level_holds_the_rate(rate: int, level: int | None, count: int) -> None:
    """As many bits a second are allowed or refused, whatever part of the group is there: no buffer's worth is added."""
    size, rest = divmod(rate, 30)
    load = Load(sizes=(size + rest, *[size] * 29)[:count], whole=30)
    if count == 2:
        load = Load(sizes=(size + rest, size), whole=30)
    elif count == 60:
        load = Load(sizes=((size + rest, *[size] * 29) * 2), whole=60)
    if level is None:
        with pytest.raises(BitsError, match=r"62 Mbit/s are more|63 Mbit/s are more"):
            level_for(SD, load)
    else:
        assert level_for(SD, load) == level


def test_the_level_holds_the_first_picture() -> None:
    """MinCR: 384 bytes a macroblock, half up to level 3 and in 4.1, a quarter in 3.1 to 4 (table A-1; from memory)."""
    bits = 8 * 384 * 1350 // 2
    assert level_for(SD, Load(sizes=(bits,), whole=150)) == 30
    # 1350 macroblocks are fewer than what level 4.1 decodes in 1/172 s, 245760 / 172 = 1428.8: there is a little more.
    assert level_for(SD, Load(sizes=(bits + 8,), whole=150)) == 41
    most = int(8 * 384 * Fraction(245_760, 172) / 2)
    assert level_for(SD, Load(sizes=(most,), whole=150)) == 41
    with pytest.raises(BitsError):
        level_for(SD, Load(sizes=(most + 1,), whole=150))


def test_the_buffer_bridges_a_burst_that_it_holds() -> None:
    """Level 4.1 holds 78.125 Mbit and gains 62.5 a second (tables A-1 and A-2, from memory)."""
    # 30 pictures at twice the rate, then 90 small ones: 125 Mbit less 60.4 that flow in are within the buffer.
    burst = [125_000_000 // 30] * 30
    assert level_for(SD, Load(sizes=(1000, *burst, *[1000] * 90), whole=121)) == 41
    # 60 at twice the rate want 250 less 122.9.
    with pytest.raises(BitsError, match="a buffer of 78 Mbit"):
        level_for(SD, Load(sizes=(1000, *burst, *burst, *[1000] * 240), whole=301))


def test_pictures_to_predict_from_are_counted() -> None:
    """MaxDpbMbs of level 4.1 is 32768: 16 pictures at the most in 480 lines, 4 in 1080 (table A-1, from memory)."""
    assert most_references(SD) == 16
    assert most_references(Shape(rows=68, columns=120, rate=Fraction(25), interlaced=True)) == 4
    load = Load(sizes=(1000,), whole=2)
    # Level 3 keeps 8100 / 1350 = 6, 3.1 keeps 13, 3.2 keeps 15, 4 keeps 24, of which 16 are allowed.
    for references, level in ((6, 30), (7, 31), (14, 32), (16, 40)):
        assert level_for(replace(SD, references=references), load) == level
    with pytest.raises(BitsError, match="17 pictures"):
        level_for(replace(SD, references=17), load)


def test_frames_that_come_again_are_taken_from_the_pictures_that_are_kept() -> None:
    """Three frames of noise, over and over: each is coded once, and the others cost next to nothing."""
    frames = [noise(64, 64, seed, (90, 110)) for seed in range(3)]
    for interlaced in (False, True):
        tags = tags_of(frames[0], interlaced=interlaced, top_field_first=interlaced)
        once = encode(frames, tags, period=149)
        data = encode(frames * 40, tags, references=3, period=149)
        assert_same(decode_pyav_planes(data), frames * 40)
        assert_same(decode_ffmpeg(data, 64, 64), frames * 40)
        assert len(data) < len(once) + 117 * 40


def test_another_group_starts_within_five_seconds() -> None:
    """IDR pictures stand five seconds apart at the most, in a moving clip too; decoding can start at each."""
    frames = [bar(64, 64, at % 40) for at in range(25)]
    tags = tags_of(frames[0], rate=Fraction(2))
    data = assert_exact(frames, tags)
    kinds = [data[m.end()] & 31 for m in re.finditer(re.escape(START), data)]
    assert [i for i, kind in enumerate(k for k in kinds if k in (1, 5)) if kind == 5] == [0, 10, 20]


# --- Refusals ---


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"width": 15}, "width is 15"),
        ({"height": 0}, "height is 0"),
        ({"height": 18, "interlaced": True}, "height is 18; allowed: multiples of 4"),
        ({"rate": Fraction(0)}, "rate is 0"),
        ({"rate": Fraction(2**31)}, "rate is 2147483648"),
        ({"sample_aspect": Fraction(65536, 65537)}, "sample_aspect is 65536/65537"),
        ({"transfer": 256}, "transfer is 256"),
        ({"width": 34, "height": 16}, r"frame 0: Y is \(16, 16\) uint8; needed: \(16, 34\) uint8"),
        ({"rate": Fraction(10**9)}, "more than any level holds"),
        ({"rate": Fraction(10**6), "interlaced": True}, "more than any level with fields holds"),
    ],
)
def test_tags_out_of_range_are_refused(changes: dict[str, object], words: str) -> None:
    """A tag that the stream cannot carry, or that the frame does not have, is refused by name."""
    frame = flat(16, 16, 0, 0, 0)
    with pytest.raises(ValueError, match=words):
        encode([frame], tags_of(frame, **changes))


def test_frames_out_of_range_are_refused() -> None:
    """No frame, a later frame of another shape or type, and an id of more than 16 bits are refused."""
    frame = y, cb, cr = flat(16, 16, 0, 0, 0)
    tags = tags_of(frame)
    with pytest.raises(ValueError, match="frames is empty"):
        encode([], tags)
    with pytest.raises(ValueError, match=r"frame 1: Cr is \(4, 8\) uint8"):
        encode([frame, (y, cb, cr[:4])], tags)
    with pytest.raises(ValueError, match=r"frame 0: Cb is \(8, 8\) uint16"):
        encode([(y, cb.astype(np.uint16), cr)], tags)
    with pytest.raises(ValueError, match="idr_pic_id is 65536"):
        encode([frame], tags, idr_pic_id=65536)
