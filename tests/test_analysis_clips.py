"""Distinct frames and the order of fields, on clips that ffmpeg altered and on bars painted with numpy."""

from __future__ import annotations

import subprocess
import tracemalloc
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray

from analysis.frame.distinct import distinct_frames
from analysis.frame.fields.bar import is_moving_bar, luma_of, shows_moving_bar
from analysis.frame.fields.order import FieldOrderReading, FieldState, field_fault, read_field_order, read_fields
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, FieldOrder, Format
from patterns.pattern import Options
from render.carriers import CARRIERS
from render.decode import Picture, open_video
from render.errors import FileError
from render.produce import Order, produce
from render.raster import draw_frame
from render.samples import planes_of

Luma = NDArray[np.floating[Any]]
SD = FORMATS["480i"]


def program(*words: str, data: bytes | None = None) -> None:
    """Run the ffmpeg program, which has to succeed."""
    command = [get_ffmpeg_exe(), "-hide_banner", "-loglevel", "error", "-y", *words]
    subprocess.run(command, input=data, capture_output=True, check=True)


def filtered(source: Path, target: Path, filters: str, *coding: str) -> Path:
    """`source` through ffmpeg's filters, without loss unless `coding` says otherwise."""
    words = ["-vf", filters] if filters else []
    program("-i", str(source), *words, *(coding or ("-c:v", "ffv1")), str(target))
    return target


def drawn(folder: Path, fmt: Format, seconds: float, pattern: str = "field-order", carrier: str = "ffv1") -> Path:
    kind = CARRIERS[carrier]
    order = Order(
        pattern=PATTERNS[pattern],
        options=Options(),
        format=fmt,
        signal=kind.signal(fmt),
        carrier=kind,
        seconds=seconds,
    )
    path = folder / f"{pattern} {fmt.id}{kind.suffix}"
    produce(order, path)
    return path


# --- A bar painted here: the equations of the pattern's words, no drawing of ours -------------------------------


def step_of(fmt: Format, scale: float = 1) -> float:
    """Samples that the bar moves in a field.

    The pattern's definition: from outside one side of the raster to outside the other in 4 s; the bar is 1/8 of the
    picture wide, and 8 strokes of two samples are left on each side.
    """
    travel = fmt.picture.width * 9 / 8 + (fmt.width - fmt.picture.width) + 16 * 2
    return scale * travel / float(4 * fmt.field_rate)


def bar_row(fmt: Format, fields: float, scale: float, soft: float) -> Luma:
    """One row `fields` after the bar began at the left: soft edges, the mean over each sample."""
    width, wide = round(fmt.width * scale), fmt.picture.width * scale / 8
    left = fields % round(float(4 * fmt.field_rate)) * step_of(fmt, scale) - wide - 16 * scale
    at = (np.arange(8 * width) + 0.5) / 8
    course = (np.tanh((at - left) / soft) - np.tanh((at - left - wide) / soft)) / 2
    mean: Luma = course.reshape(width, 8).mean(axis=1)
    return mean


def bar_frame(
    fmt: Format,
    kind: str,
    index: int,
    rng: np.random.Generator,
    *,
    scale: float = 1,
    soft: float = 0.8,
    noise: float = 0.0,
    gain: float = 1.0,
    offset: float = 0.0,
    crop: tuple[int, int, int, int] = (0, 0, 0, 0),
    jpeg: int | None = None,
) -> Luma:
    """Frame `index` of the bar in 8 bits. `crop` is lines and samples cut off: top, bottom, left, right."""
    moments = {
        "top": (2 * index, 2 * index + 1),
        "bottom": (2 * index + 1, 2 * index),
        "progressive": (index, index),
        "one-field": (2 * index, 2 * index),
        "blended": (2 * index, 2 * index + 1),
    }[kind]
    upper, lower = (bar_row(fmt, moment, scale, soft) for moment in moments)
    if kind == "blended":
        upper = lower = (upper + lower) / 2
    image = np.empty((fmt.height, len(upper)))
    image[0::2], image[1::2] = upper, lower
    # Narrow-range black and half white as shares of 255: 16 and 125.5 (BT.601).
    image = offset + gain * (16 + 109.5 * image) / 255
    image = image[crop[0] : fmt.height - crop[1], crop[2] : image.shape[1] - crop[3]]
    codes = np.clip(np.round(255 * (image + rng.normal(0, noise, image.shape))), 0, 255).astype(np.uint8)
    if jpeg is not None:
        coded = cv2.imencode(".jpg", codes, [cv2.IMWRITE_JPEG_QUALITY, jpeg])[1]
        decoded = cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE)
        assert decoded is not None
        codes = decoded.astype(np.uint8)
    return codes.astype(np.float32) / 255


def told(reading: FieldOrderReading) -> str:
    """The reading in the words of `bar_frame`."""
    if reading.state is FieldState.INTERLACED:
        assert reading.order is not None
        return reading.order.value
    return reading.state.value


KINDS = ("top", "bottom", "progressive", "one-field", "blended")


@pytest.mark.parametrize("kind", KINDS)
def test_a_painted_bar_is_read_through_noise(kind: str) -> None:
    """3 % noise, wrong gain and offset, all sides cut: the kind is told, and the step within its uncertainty."""
    rng = np.random.default_rng(1)
    frames = [
        bar_frame(SD, kind, i, rng, noise=0.03, gain=0.8, offset=0.08, crop=(24, 20, 30, 40)) for i in range(40, 52)
    ]
    reading = read_fields(iter(frames), SD)
    assert told(reading) == kind
    assert reading.confidence > 0.85
    assert reading.frames == 12
    true = step_of(SD) * (1 if kind in ("top", "bottom", "progressive") else 2)
    assert reading.step is not None
    assert reading.step_uncertainty is not None
    assert reading.step_uncertainty < 0.005 * true
    assert abs(reading.step - true) < 4 * reading.step_uncertainty
    fault = field_fault(reading)
    assert (fault.id if fault else None) == {"top": None, "bottom": "fields-swapped"}.get(kind, "deinterlaced")


@pytest.mark.slow
@pytest.mark.parametrize("fmt", ["480i", "576i", "1080i50", "1080i59.94"])
def test_painted_bars_of_all_kinds(fmt: str) -> None:
    """Random width, softness, noise, levels, crop, coding, repeats and gaps: every kind is told in every case."""
    rng = np.random.default_rng(2)
    shape = FORMATS[fmt]
    errors = []
    for kind in KINDS:
        for _ in range(2 if shape.width < 1000 else 1):
            scale = float(rng.choice([1, 0.5, 4 / 3])) if shape.width < 1000 else float(rng.choice([0.5, 0.75]))
            lines, samples = shape.height // 20 * 2, int(shape.width * scale / 10)
            cut = rng.uniform(0, 1, 4)
            # Whole pairs of lines: an odd number off the top would swap the fields.
            crop = (int(cut[0] * lines) // 2 * 2, int(cut[1] * lines), int(cut[2] * samples), int(cut[3] * samples))
            words: dict[str, Any] = {
                "scale": scale,
                # Two soft edges nearer than about twice their softness are one softer edge.
                "soft": rng.uniform(0.4, 1.2) * min(scale, 1),
                "noise": rng.uniform(0, 0.03),
                "gain": rng.uniform(0.6, 1.1),
                "offset": rng.uniform(0, 0.1),
                "crop": crop,
                "jpeg": int(rng.integers(50, 95)) if rng.random() < 0.4 else None,
            }
            # Somewhere in the middle two thirds of the way.
            first = int(rng.integers(40, 60)) if kind == "progressive" else int(rng.integers(15, 50))
            picked = [i for i in range(first, first + 16) for _ in range(int(rng.choice([0, 1, 1, 1, 1, 2])))]
            reading = read_fields((bar_frame(shape, kind, i, rng, **words) for i in picked), shape)
            assert told(reading) == kind, (words, reading)
            assert reading.repeated == len(picked) - len(set(picked)), words
            assert reading.dropped == max(picked) - min(picked) + 1 - len(set(picked)), words
            true = step_of(shape, scale) * (1 if kind in ("top", "bottom", "progressive") else 2)
            assert reading.step is not None
            errors.append(abs(reading.step / true - 1))
    assert max(errors) < 0.01
    assert np.median(errors) < 0.001


def test_the_bar_partly_outside_is_enough() -> None:
    """It is read on its way in at the left and out at the right, and over the jump back."""
    rng = np.random.default_rng(3)
    for first in (12, 103):
        reading = read_fields((bar_frame(SD, "top", i, rng) for i in range(first, first + 6)), SD)
        assert (told(reading), reading.frames) == ("top", 6)
    reading = read_fields((bar_frame(SD, "bottom", i, rng) for i in range(105, 136)), SD)
    assert told(reading) == "bottom"
    assert reading.dropped == reading.repeated == 0


def test_a_mirrored_bar_keeps_its_order() -> None:
    """Mirrored, the bar moves to the left; its top field is still the earlier one. Backwards, it is the later one."""
    rng = np.random.default_rng(4)
    frames = [bar_frame(SD, "top", i, rng) for i in range(50, 56)]
    mirrored = read_fields(frame[:, ::-1] for frame in frames)
    assert told(mirrored) == "top"
    assert "moves to the left" in mirrored.notes[0]
    assert told(read_fields(reversed(frames))) == "bottom"


def test_lines_that_shake_and_bend_keep_their_fields() -> None:
    """A tape's lines shake by a sample and bend at the top: the fields are told all the same."""
    rng = np.random.default_rng(5)
    frames = []
    for i in range(40, 56):
        frame = bar_frame(SD, "top", i, rng, noise=0.02)
        bend = 12 * np.exp(-np.arange(480) / 15)
        away = np.rint(bend + rng.normal(0, 1, 480)).astype(int)
        frames.append(np.stack([np.roll(row, by) for row, by in zip(frame, away, strict=True)]))
    assert told(read_fields(iter(frames), SD)) == "top"


def test_what_cannot_be_told_says_why() -> None:
    """No bar, a bar that stands still, frames of several sizes, two fields of different frames."""
    rng = np.random.default_rng(6)
    frames = [bar_frame(SD, "top", i, rng) for i in range(50, 58)]
    nothing = read_fields([np.full((480, 720), 0.06)] * 8, SD)
    assert nothing.reason == "the moving bar is seen in 0 of 8 frames, 3 are needed"
    assert read_fields([frames[0]] * 8, SD).reason == "the bar does not move"
    assert read_fields([*frames[:4], frames[4][:, :700]], SD).reason == "the frames are not all of one size"
    apart = []
    for early, late in zip(frames[:-2], frames[2:], strict=True):
        mixed = early.copy()
        mixed[1::2] = late[1::2]
        apart.append(mixed)
    reading = read_fields(apart, SD)
    assert reading.reason == "the two fields of a frame are 5 field times apart, which is no order of fields"
    # A field was lost before frame 4 of what was captured: pairs are made of a frame's second field and the next one.
    later = [bar_frame(SD, "top", i, rng) for i in range(58, 63)]
    shifted = [frame.copy() for frame in later[1:]]
    for frame, before in zip(shifted, later, strict=False):
        frame[1::2] = before[1::2]
    changed = read_fields([*frames[:4], *shifted], SD)
    assert changed.reason == ("the frames do not agree: 4 top field first, 4 bottom field first; it changes at frame 4")
    for found in (nothing, reading, changed):
        assert (found.state, found.order, found.confidence, found.step) == (FieldState.UNKNOWN, None, 0, None)
        assert field_fault(found) is None
    assert read_fields(iter([]), SD).state is FieldState.UNKNOWN
    assert read_fields([np.zeros((4, 4))] * 3).state is FieldState.UNKNOWN


# --- Clips of ours that ffmpeg altered --------------------------------------------------------------------------

TOP, BOTTOM = FieldOrder.TOP, FieldOrder.BOTTOM
LINES_OF_TWO_FIELDS = "convolution=" + ":".join(["0 1 0 0 2 0 0 1 0"] * 3) + ":0rdiv=0.25:1rdiv=0.25:2rdiv=0.25"
"""Each line a quarter of the ones above and below and half of itself: the usual blending deinterlacer."""

# (filters, coding, what is told, flags that ffmpeg writes, fault) for a clip that is top field first. What each filter
# does is ffmpeg's documentation.
ALTERED: dict[str, tuple[str, tuple[str, ...], str, FieldOrder, str | None]] = {
    "as it is": ("", (), "top", TOP, None),
    "wrong flags": ("setfield=bff", (), "top", BOTTOM, "fields-swapped"),
    "no flags": ("setfield=prog", (), "top", FieldOrder.PROGRESSIVE, None),
    "lines swapped": ("il=ls=1:cs=1", (), "bottom", TOP, "fields-swapped"),
    "one line up, and it says so": ("fieldorder=bff", (), "bottom", BOTTOM, None),
    "one field later": ("separatefields,weave=first_field=bottom", (), "bottom", BOTTOM, None),
    "an odd line cut": ("crop=720:400:0:41:exact=1,setfield=tff", (), "bottom", TOP, "fields-swapped"),
    "yadif, frames": ("yadif=0", (), "one-field", FieldOrder.PROGRESSIVE, "deinterlaced"),
    "yadif, fields": ("yadif=1", (), "progressive", FieldOrder.PROGRESSIVE, "deinterlaced"),
    "bwdif, frames": ("bwdif=0", (), "one-field", FieldOrder.PROGRESSIVE, "deinterlaced"),
    "bwdif, fields": ("bwdif=1", (), "progressive", FieldOrder.PROGRESSIVE, "deinterlaced"),
    "woven again": ("yadif=1,tinterlace=interleave_top", (), "top", TOP, None),
    "woven the wrong way": ("yadif=1,tinterlace=interleave_bottom,setfield=tff", (), "bottom", TOP, "fields-swapped"),
    "lines blended": (LINES_OF_TWO_FIELDS, (), "blended", TOP, "deinterlaced"),
    "frames blended": ("tblend=all_mode=average", (), "blended", TOP, "deinterlaced"),
    "one field doubled": (
        "field=top,scale=720:480:flags=neighbor",
        (),
        "one-field",
        FieldOrder.PROGRESSIVE,
        "deinterlaced",
    ),
    "repeated frames": ("setpts=PTS*1.2,fps=30000/1001", (), "top", TOP, None),
    "wider": ("scale=960:480:interl=1", (), "top", TOP, None),
    "narrower": ("scale=352:480:interl=1", (), "top", TOP, None),
    "noisy": ("noise=alls=13:allf=t", ("-c:v", "ffv1", "-pix_fmt", "yuv420p"), "top", TOP, None),
    "cut by a tenth": ("crop=648:432:36:24", (), "top", TOP, None),
    "darker": ("lutyuv=y=val*0.6+60", (), "top", TOP, None),
    "softer": ("gblur=sigma=2:sigmaV=0", (), "top", TOP, None),
    "R'G'B'": ("", ("-c:v", "ffv1", "-pix_fmt", "gbrp"), "top", TOP, None),
    "h264": ("noise=alls=8:allf=t", ("-c:v", "libx264", "-crf", "28", "-flags", "+ildct+ilme"), "top", TOP, None),
    "h264 as frames": (
        "noise=alls=8:allf=t",
        ("-c:v", "libx264", "-crf", "24", "-pix_fmt", "yuv420p"),
        "top",
        FieldOrder.PROGRESSIVE,
        None,
    ),
    "mpeg2": ("", ("-c:v", "mpeg2video", "-q:v", "8", "-flags", "+ildct+ilme"), "top", TOP, None),
    "jpeg": ("", ("-c:v", "mjpeg", "-q:v", "6", "-pix_fmt", "yuvj420p"), "top", FieldOrder.PROGRESSIVE, None),
    "height scaled": ("scale=720:576", (), "unknown", TOP, None),
    "height scaled, nearest": ("scale=720:576:flags=neighbor", (), "unknown", TOP, None),
    "height scaled a little": ("scale=720:486", (), "unknown", TOP, None),
}
QUICK = (
    "as it is",
    "wrong flags",
    "one line up, and it says so",
    "bwdif, fields",
    "lines blended",
    "repeated frames",
)
"""Always run; the rest is slow."""


@pytest.fixture(scope="module")
def clip(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """24 frames of the pattern in 480i: an edge can be measured from the twelfth on."""
    return drawn(tmp_path_factory.mktemp("clip"), SD, 0.8)


@pytest.mark.parametrize(
    "name", [name if name in QUICK else pytest.param(name, marks=pytest.mark.slow) for name in ALTERED]
)
def test_what_ffmpeg_did_to_the_fields_is_told(name: str, clip: Path, tmp_path: Path) -> None:
    """Every change is told from the pictures, with the flags that ffmpeg wrote and the fault of the design."""
    filters, coding, kind, flags, fault = ALTERED[name]
    reading = read_field_order(filtered(clip, tmp_path / "altered.mkv", filters, *coding), SD)
    assert told(reading) == kind, reading
    assert reading.flags is flags
    assert reading.required is TOP
    found = field_fault(reading)
    assert (found.id if found else None) == fault
    if kind == "unknown":
        assert reading.reason is not None
        assert "height was scaled" in reading.reason
    else:
        assert reading.confidence > 0.7
    if kind == "top":
        # Computed from the pattern's definition; the bar is drawn on whole samples.
        scale = {"wider": 960 / 720, "narrower": 352 / 720}.get(name, 1)
        assert reading.step == pytest.approx(step_of(SD, scale), rel=0.004)
        assert reading.agrees_with_format
    if name == "repeated frames":
        assert reading.repeated == pytest.approx(reading.frames / 5, abs=1)


def test_flags_are_the_word_that_counts(clip: Path, tmp_path: Path) -> None:
    """Bottom field first, said so: plays right, so it is a note and no fault."""
    reading = read_field_order(filtered(clip, tmp_path / "a.mkv", "fieldorder=bff"), SD)
    assert (reading.order, reading.agrees_with_format) == (BOTTOM, False)
    assert reading.notes == (
        "Bottom field first, as the file says; 480i has it the other way round. A player that goes by the file shows it"
        " right.",
    )
    assert field_fault(reading) is None


def test_without_a_format_the_frames_alone_are_told(clip: Path, tmp_path: Path) -> None:
    """Order and state need no format; whether a field was lost does."""
    assert told(read_field_order(clip)) == "top"
    one = read_field_order(filtered(clip, tmp_path / "a.mkv", "yadif=0"))
    assert told(one) == "progressive"
    assert field_fault(one) is None
    assert told(read_field_order(filtered(clip, tmp_path / "b.mkv", "fps=15000/1001"))) == "top"
    halved = read_field_order(tmp_path / "b.mkv", SD)
    assert told(halved) == "top"
    # Half of the frames, but for the one or two where the filter's choice begins and ends.
    assert abs(halved.dropped - halved.frames) <= 2


@pytest.mark.slow
@pytest.mark.parametrize("fmt", ["576i", "1080i50", "1080i59.94"])
def test_other_formats(fmt: str, tmp_path: Path) -> None:
    """The same changes in other rasters and rates."""
    shape = FORMATS[fmt]
    signal = CARRIERS["y4m"].signal(shape, bits=8)
    scene = PATTERNS["field-order"].scene(shape, None, signal)
    # 240 lines will do: they are all alike.
    frames = np.stack([draw_frame(scene, shape, signal, i)[0][:240] for i in range(12, 24)])
    path = raw(tmp_path / "drawn.mkv", frames, "-vf", "format=yuv422p,setfield=tff", "-c:v", "ffv1")
    for name in ("as it is", "lines swapped", "yadif, frames", "yadif, fields", "lines blended", "h264"):
        filters, coding, kind, _, fault = ALTERED[name]
        reading = read_field_order(filtered(path, tmp_path / "altered.mkv", filters, *coding), shape)
        assert told(reading) == kind, (name, reading)
        found = field_fault(reading)
        assert (found.id if found else None) == fault, name
        if kind == "top":
            # Drawn on whole samples, over ten frames.
            assert reading.step is not None
            assert reading.step_uncertainty is not None
            assert abs(reading.step - step_of(shape)) < min(4 * reading.step_uncertainty, 0.006 * step_of(shape))
    # The file is written as 25 frames a second.
    reading = read_field_order(filtered(path, tmp_path / "faster.mkv", "fps=30000/1001"), shape)
    assert told(reading) == "top"
    assert reading.repeated in (2, 3)


# --- Knowing the pattern ----------------------------------------------------------------------------------------


def test_the_moving_bar_is_known_and_nothing_else_is(clip: Path, tmp_path: Path) -> None:
    """Of all patterns only field-order is taken for it; also when altered. A frame of it alone is not a clip."""
    assert shows_moving_bar(clip)
    for name in ("noisy", "yadif, fields", "lines blended", "cut by a tenth", "narrower", "height scaled", "jpeg"):
        filters, coding, *_ = ALTERED[name]
        assert shows_moving_bar(filtered(clip, tmp_path / "altered.mkv", filters, *coding)), name
    signal = CARRIERS["y4m"].signal(SD, bits=8)
    for pattern in PATTERNS.values():
        scene = pattern.scene(SD, None, signal)
        frames = (draw_frame(scene, SD, signal, i)[0] / np.float32(255) for i in range(0, 60, 12))
        assert is_moving_bar(frames) == (pattern.id == "field-order"), pattern.id
    rng = np.random.default_rng(8)
    assert not is_moving_bar([bar_frame(SD, "top", 50, rng)])
    assert not is_moving_bar(rng.random((480, 720)) for _ in range(3))


def test_other_clips_are_left_after_one_frame() -> None:
    """Anything but black or a bar ends the search at once."""
    seen = []

    def frames() -> Iterator[Luma]:
        for i in range(10):
            seen.append(i)
            yield np.full((480, 720), 0.5)

    assert not is_moving_bar(frames())
    assert seen == [0]


# --- Distinct frames --------------------------------------------------------------------------------------------


def raw(path: Path, frames: NDArray[np.uint8], *coding: str) -> Path:
    """Grey frames (count, rows, columns) written by ffmpeg."""
    count, rows, columns = frames.shape
    given = ["-f", "rawvideo", "-pix_fmt", "gray", "-s", f"{columns}x{rows}", "-r", "25", "-i", "-"]
    program(*given, *coding, str(path), data=frames.tobytes())
    assert count
    return path


@pytest.mark.parametrize(
    ("suffix", "coding"),
    [
        (".mkv", ("-c:v", "ffv1", "-g", "3")),
        (".mkv", ("-c:v", "ffv1", "-g", "1")),
        (".mp4", ("-c:v", "libx264", "-qp", "0", "-g", "4", "-bf", "2", "-pix_fmt", "yuv444p")),
        (".y4m", ("-pix_fmt", "yuv444p")),
        (".mov", ("-c:v", "mjpeg", "-q:v", "2", "-pix_fmt", "yuvj444p")),
    ],
)
def test_every_distinct_frame_comes_once(suffix: str, coding: tuple[str, ...], tmp_path: Path) -> None:
    """Frames A B A A C C B D ... in any coding: those that OpenCV's reader finds distinct, in the same places."""
    rng = np.random.default_rng(9)
    kinds = rng.integers(0, 255, (4, 32, 48), np.uint8)
    which = [0, 1, 0, 0, 2, 2, 1, 3] + [0, 1, 2] * 8
    path = raw(tmp_path / f"clip{suffix}", kinds[which], *coding)
    calls: list[tuple[int, int | None]] = []
    frames = distinct_frames(path, lambda done, total: calls.append((done, total)))
    found = list(frames)
    # The reference: each frame decoded by the reader, compared with all before.
    with open_video(path) as video:
        whole = [picture.planes for picture in video.pictures()]
    first = [next(j for j in range(i + 1) if same(whole[j], whole[i])) for i in range(len(whole))]
    assert [frame.index for frame in found] == sorted(set(first))
    assert frames.times == {i: first.count(i) for i in sorted(set(first))}
    assert frames.shown == len(which) == len(first)
    assert all(same(frame.picture.planes, whole[frame.index]) for frame in found)
    assert calls[-1][0] == len(which)
    assert [done for done, _ in calls] == sorted(done for done, _ in calls)
    if suffix != ".mov":
        assert [frame.index for frame in found] == [0, 1, 4, 7]


def same(first: Any, second: Any) -> bool:
    return all(np.array_equal(a, b) for a, b in zip(first, second, strict=True))


def test_a_still_clip_has_one_frame_and_is_not_decoded_to_its_end(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A clip of ours of 20 s repeats one coded group: two groups are decoded, all frames are counted."""
    path = drawn(tmp_path, SD, 20, "crosshatch", "h264")
    decoded: list[int] = []
    original = planes_of

    def counted(frame: Any) -> Any:
        decoded.append(1)
        return original(frame)

    monkeypatch.setattr("render.decode.planes_of", counted)
    frames = distinct_frames(path)
    assert [frame.index for frame in frames] == [0]
    # 20 s of 30000/1001 frames a second.
    assert frames.shown == 599
    assert frames.times == {0: 599}
    # A coded group lasts at most 5 s: 150 frames.
    assert len(decoded) <= 300


def test_one_damaged_frame_late_in_a_clip_is_found(tmp_path: Path) -> None:
    """Frame 70 of 100 differs in one sample by one code."""
    still = np.full((100, 32, 48), 90, np.uint8)
    still[70, 5, 7] = 91
    found = list(distinct_frames(raw(tmp_path / "clip.mkv", still, "-c:v", "ffv1", "-g", "10")))
    assert [frame.index for frame in found] == [0, 70]
    assert found[1].picture.planes[0][5, 7] == 91


def test_noise_is_distinct_in_every_frame_and_memory_stays(tmp_path: Path) -> None:
    """60 noisy frames are 60; what is kept of them is less than two of them."""
    rng = np.random.default_rng(10)
    path = raw(tmp_path / "clip.mkv", rng.integers(0, 255, (60, 240, 320), np.uint8), "-c:v", "ffv1")
    frames = distinct_frames(path)
    tracemalloc.start()
    try:
        assert sum(1 for _ in frames) == 60
        assert tracemalloc.get_traced_memory()[1] < 20 * 240 * 320
    finally:
        tracemalloc.stop()


def test_stills_bad_files_and_an_end_that_is_asked_for(tmp_path: Path) -> None:
    """A still is one frame; a cut file is a FileError; what the hook raises ends the reading."""
    picture = raw(tmp_path / "one.png", np.full((1, 32, 48), 7, np.uint8), "-frames:v", "1")
    frames = distinct_frames(picture)
    assert [frame.index for frame in frames] == [0]
    assert frames.times == {0: 1}
    assert not shows_moving_bar(picture)
    empty = tmp_path / "empty.mkv"
    empty.write_bytes(b"")
    with pytest.raises(FileError, match="empty"):
        list(distinct_frames(empty))
    rng = np.random.default_rng(11)
    whole = raw(tmp_path / "whole.mkv", rng.integers(0, 255, (10, 32, 48), np.uint8), "-c:v", "ffv1")

    def stop(done: int, total: int | None) -> None:
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        list(distinct_frames(whole, stop))
    assert read_field_order(whole).state is FieldState.UNKNOWN


def test_luma_of_all_kinds_of_samples(tmp_path: Path) -> None:
    """Grey 100 of 8 bits is 100/255 as R'G'B' and as luma; 10 bits are shares of 1023."""
    grey = raw(tmp_path / "a.png", np.full((1, 32, 48), 100, np.uint8), "-frames:v", "1")
    luma = raw(tmp_path / "b.mkv", np.full((1, 32, 48), 100, np.uint8), "-c:v", "ffv1", "-pix_fmt", "gbrp")

    def first(path: Path) -> Picture:
        with open_video(path) as video:
            return next(iter(video.pictures()))

    for path in (grey, luma):
        assert luma_of(first(path)) == pytest.approx(float(Fraction(100, 255)), abs=1e-6)
    deep = filtered(luma, tmp_path / "c.mkv", "format=gray10le")
    assert luma_of(first(deep)) == pytest.approx(float(first(deep).planes[0][0, 0] / 1023), abs=1e-6)
