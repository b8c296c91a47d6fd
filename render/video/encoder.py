"""The ffmpeg program: the one place that starts it, feeds it frames and reads what went wrong."""

from __future__ import annotations

import errno
import os
import re
import signal
import subprocess
import tempfile
from collections.abc import Iterable, Sequence
from fractions import Fraction
from pathlib import Path

import numpy as np

from patterns.formats import FieldOrder
from patterns.signal import Range, Sampling
from render.files.y4m import plane_bytes
from render.quantise import Planes
from render.tags import Tags

__all__ = [
    "WriteError",
    "add_sound",
    "encode_frames",
    "mark_full_range",
    "pixel_format",
    "repeat_group",
    "to_container",
    "to_program_stream",
]


class WriteError(OSError):
    """A file that could not be written; the message is one line, or the system's number and words."""


def pixel_format(tags: Tags) -> str:
    """The name that the ffmpeg program has for planes of this sampling and depth."""
    depth = "" if tags.bits == 8 else f"{tags.bits}le"
    if tags.sampling is Sampling.RGB:
        # FFV1 has no planar R'G'B' of 8 bits, and the program's converter would stretch the range.
        return f"gbrp{depth}" if depth else "bgr0"
    return f"yuv{tags.sampling.value}p{depth}"


def encode_frames(frames: Iterable[Planes], tags: Tags, codec: Sequence[str], path: Path) -> None:
    """Encode planes as they are: the program gets the pixel format that it writes, so that it has nothing to convert.

    `codec` is the program's words for the codec and its settings; the container follows from `path`.

    Raises:
        WriteError: the program failed.
    """
    field_mode = {FieldOrder.PROGRESSIVE: "prog", FieldOrder.TOP: "tff", FieldOrder.BOTTOM: "bff"}
    assert tags.field_order is not None
    marks = ":".join(
        (
            f"range={'full' if tags.range is Range.FULL else 'limited'}",
            f"color_primaries={tags.primaries}",
            f"color_trc={tags.transfer}",
            f"colorspace={tags.matrix}",
            f"field_mode={field_mode[tags.field_order]}",
        )
    )
    interlaced = [] if tags.field_order is FieldOrder.PROGRESSIVE else ["-flags", "+ildct+ilme"]
    command = [
        *("-f", "rawvideo", "-pix_fmt", pixel_format(tags), "-s", f"{tags.width}x{tags.height}"),
        *("-r", _ratio(tags.rate), "-i", "-"),
        *("-vf", f"setparams={marks},setsar={_ratio(tags.sample_aspect)}:max=1000000"),
        *interlaced,
        *codec,
        *(() if tags.sampling is not Sampling.YCBCR_420 else ("-chroma_sample_location", "left")),
        *_timescale(path, tags.rate),
        str(path.absolute()),
    ]
    _run(command, (_raw_frame(planes, tags) for planes in frames))


def _raw_frame(planes: Planes, tags: Tags) -> bytes:
    """The samples of a frame as `pixel_format` lays them out."""
    first, second, third = planes
    if tags.sampling is not Sampling.RGB:
        return b"".join(plane_bytes(plane) for plane in planes)
    if tags.bits == 8:
        return np.stack([third, second, first, np.zeros_like(first)], axis=-1).tobytes()
    # G, B, R is the program's own order of planar R'G'B'.
    return b"".join(plane_bytes(plane) for plane in (second, third, first))


def repeat_group(group: Path, path: Path, tags: Tags, comment: str, *, times: int, level: int | None = None) -> None:
    """Write the coded frames of `group` again and again, without encoding, until there are `tags.frames`.

    `level` is the level of H.264 (level_idc) that the file says instead of the encoder's.

    Raises:
        WriteError: the program failed.
    """
    assert tags.rate is not None
    # Matroska counts milliseconds, MP4 in the unit that `_timescale` set.
    if path.suffix == ".mkv":
        tick = f"round(N*{1000 * tags.rate.denominator}/{tags.rate.numerator})"
        duration = f"round({1000 * tags.rate.denominator}/{tags.rate.numerator})"
    else:
        tick, duration = f"N*{tags.rate.denominator}", str(tags.rate.denominator)
    # The program takes a rate such as 1125000/18733 (240p) as the nearest ratio of smaller numbers; two ticks a frame.
    said = "" if level is None else f"h264_metadata=level={level}:tick_rate={_ratio(2 * tags.rate)},"
    command = [
        *("-stream_loop", str(times - 1), "-i", str(group.absolute()), "-map", "0:v", "-c", "copy"),
        *("-bsf:v", f"{said}setts=pts={tick}:dts={tick}:duration={duration}", "-frames:v", str(tags.frames)),
        *("-fflags", "+bitexact", "-map_metadata", "-1", "-metadata", f"comment={comment}"),
        # No checksums in Matroska's header, so that `mark_full_range` leaves none that is wrong.
        *(("-write_crc32", "0") if path.suffix == ".mkv" else ("-movflags", "+faststart")),
        *(*_timescale(path, tags.rate), str(path.absolute())),
    ]
    _run(command, ())


def mark_full_range(path: Path) -> None:
    """Say full range in the header of a Matroska file that says narrow.

    The program's FFV1 encoder knows narrow Y'CbCr only and would convert samples to it, so it is set to narrow. The
    element is Range, 0x55B9, of one byte: 1 is narrow, 2 full (Matroska specification, RFC 9559; from memory).

    Raises:
        WriteError: the element is not there exactly once.
    """
    narrow, full = b"\x55\xb9\x81\x01", b"\x55\xb9\x81\x02"
    with path.open("r+b") as file:
        head = file.read(4096)
        if head.count(narrow) != 1:
            raise WriteError(f"{path.name}: the header has no place for the range")
        file.seek(head.index(narrow))
        file.write(full)


def to_container(stream: Path, path: Path, tags: Tags) -> None:
    """Put a raw H.264 byte stream into the container that `path` names."""
    command = [
        *("-f", "h264", "-framerate", _ratio(tags.rate), "-i", str(stream.absolute()), "-c", "copy"),
        *(*_timescale(path, tags.rate), str(path.absolute())),
    ]
    _run(command, ())


def to_program_stream(stream: Path, path: Path, rate: Fraction, bits_per_second: int) -> None:
    """Put a raw MPEG-2 stream, its pictures in the order in which they are shown, into a program stream for discs.

    Raises:
        WriteError: the program failed.
    """
    duration = f"{rate.denominator}/{rate.numerator}/TB"
    command = [
        *("-f", "mpegvideo", "-framerate", _ratio(rate), "-i", str(stream.absolute()), "-c", "copy"),
        *("-bsf:v", f"setts=pts=round(N*{duration}):dts=round(N*{duration}):duration=round({duration})"),
        *("-fflags", "+bitexact", "-muxrate", str(bits_per_second), "-f", "dvd", str(path.absolute())),
    ]
    _run(command, ())


def add_sound(picture: Path, sound: Path, path: Path, rate: Fraction | None, words: Sequence[str]) -> None:
    """Copy the coded frames of `picture` into `path`, with `sound` beside them, as the program's words say.

    Raises:
        WriteError: the program failed.
    """
    command = [
        *("-i", str(picture.absolute()), "-i", str(sound.absolute()), "-map", "0:v", "-map", "1:a", "-c:v", "copy"),
        *(*words, "-fflags", "+bitexact", "-flags:a", "+bitexact", "-map_metadata", "0"),
        *(("-write_crc32", "0") if path.suffix == ".mkv" else ()),
        *(("-movflags", "+faststart") if path.suffix in (".mp4", ".mov") else ()),
        *(*_timescale(path, rate), str(path.absolute())),
    ]
    _run(command, ())


def _timescale(path: Path, rate: Fraction | None) -> tuple[str, ...]:
    """In MP4 and QuickTime a unit of time in which every frame is a whole number."""
    if path.suffix not in (".mp4", ".mov") or rate is None:
        return ()
    return ("-video_track_timescale", str(rate.numerator))


def _ratio(value: Fraction | None) -> str:
    assert value is not None
    return f"{value.numerator}/{value.denominator}"


def _run(command: list[str], parts: Iterable[bytes]) -> None:
    # What only reads files does without it: 25 ms.
    from imageio_ffmpeg import get_ffmpeg_exe

    program = [get_ffmpeg_exe(), "-nostdin", "-hide_banner", "-loglevel", "error", "-y", *command]
    # Words of the program go to a file: a full pipe would stop it while it is being fed.
    with tempfile.TemporaryFile() as words:
        process = subprocess.Popen(program, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=words)
        assert process.stdin is not None
        try:
            try:
                for part in parts:
                    process.stdin.write(part)
                process.stdin.close()
            except BrokenPipeError:
                # It has ended by itself, and says why.
                pass
            code = process.wait()
        except BaseException:
            process.kill()
            process.wait()
            raise
        finally:
            process.stdin = None
        if code and code == -getattr(signal, "SIGXFSZ", 0):
            raise WriteError(errno.EFBIG, os.strerror(errno.EFBIG))
        if code:
            words.seek(0)
            lines = words.read().decode("utf-8", "replace").strip().splitlines() or [f"exit code {code}"]
            # Without the part of the program that speaks, and its address in memory.
            said = re.sub(r"^(\[[^]]*\]\s*)+", "", lines[-1].strip())
            raise WriteError(f"the encoder failed: {said}")
