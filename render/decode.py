"""Read any picture or video file, keeping the codes that are in it.

Decoding is libavcodec's through PyAV; no sample is converted. What a file says in a place of its own, outside the
library's reach (the headers of stills, the header line of raw frames), is read here.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

import av
import av.error
from av.filter import Graph
from av.video.frame import VideoFrame
from av.video.stream import VideoStream

from patterns.formats import FieldOrder
from patterns.signal import DEPTHS, Range, Sampling
from render.errors import FileError
from render.files.png import read_png
from render.files.stills import StillWords, with_words
from render.quantise import Planes
from render.reading import check_plain
from render.samples import SampleError, planes_of
from render.tags import Provenance, Tags

__all__ = ["Picture", "VideoFile", "open_video"]

LARGEST = 40_000_000
"""Most samples of a picture that are decoded: a 36-megapixel raster with room, and no bomb."""

_LISTS = frozenset(
    {*("concat", "hls", "dash", "imf", "sdp", "rtsp", "rtp", "sap", "smoothstreaming", "hds", "webm_chunk")}
    | {"webm_dash_manifest", "lavfi", "tty", "asf_o", "live_flv", "mpjpeg", "ffmetadata"}
)
"""What the library calls a container, and is a list of other files, a stream from elsewhere, or a program."""
_READ = ",".join(sorted(av.formats_available - _LISTS))
"""All others, as the library takes them: a list is never followed, whatever it calls itself."""
_LIST = re.compile(
    rb"(?:\xef\xbb\xbf)?\s*(?:ffconcat\s|#EXTM3U|v=0\r?\n|\[(?:playlist|reference)\]|<\?xml[^>]*>\s*(?:<!--.*?-->\s*)*"
    rb"<(?:\w+:)?(?:MPD|SmoothStreamingMedia|AssetMap|CompositionPlaylist|asx|smil|playlist)\b|<(?:MPD|asx|smil)\b)",
    re.IGNORECASE | re.DOTALL,
)
"""How playlists and lists of files begin: ffconcat, M3U8, SDP, PLS, MPEG-DASH and their like (from memory)."""

_UNKNOWN = 2
"""H.273 code point 2: unspecified."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """One decoded frame: three planes of the file's own codes, and the tags as this frame has them."""

    planes: Planes
    tags: Tags


class VideoFile:
    """An open file. Use it through `open_video`."""

    def __init__(self, path: Path, container: av.container.InputContainer, head: bytes) -> None:
        self._path = path
        self._container = container
        self._stream: VideoStream = container.streams.video[0]
        self._still = _still_words(head)
        self._words = _header_words(head)
        self._is_mirrored = _is_mirrored(path, head)
        self.is_still = self._still is not None or container.format.name.endswith("_pipe")

    @property
    def codec(self) -> str:
        """The decoder's name, as h264 or png."""
        return str(self._stream.codec_context.name)

    @property
    def provenance(self) -> Provenance | None:
        """What the file says of its pattern, if it is one of ours."""
        if self._still is not None:
            comment = self._still.comment
        else:
            comment = next((v for k, v in self._container.metadata.items() if k.lower() == "comment"), None)
        return Provenance.parse(comment) if comment else None

    def pictures(self) -> Iterator[Picture]:
        """Every frame in order.

        Raises:
            FileError: the file ends too soon, is damaged, or has a kind of samples that is not read.
        """
        shown = 0
        with _one_line(self._path):
            for frame in self._container.decode(self._stream):
                if frame.is_corrupt:
                    raise FileError(f"{self._path}: frame {shown} is damaged")
                if not shown and (self._is_mirrored or frame.rotation % 360):
                    raise FileError(
                        f"{self._path}: the file says that its picture is to be turned or mirrored (orientation), which"
                        " players may do or not; save it upright"
                    )
                yield self._picture(frame)
                shown += 1
        if not shown:
            raise FileError(f"{self._path}: there is no picture in the file")

    def packets(self) -> Iterator[tuple[bytes, Fraction, bool]]:
        """Every coded frame as bytes, its time in seconds, and whether decoding can start there."""
        with _one_line(self._path):
            for packet in self._container.demux(self._stream):
                if packet.size and packet.pts is not None:
                    yield bytes(packet), packet.pts * Fraction(packet.time_base), packet.is_keyframe

    def _picture(self, frame: VideoFrame) -> Picture:
        sampling, bits, planes = planes_of(frame)
        if bits not in DEPTHS:
            raise FileError(f"{self._path}: cannot read {bits} bits a sample; give {', '.join(map(str, DEPTHS))}")
        tags = self._tags(frame, sampling, bits)
        if self._still is not None and self._still.bits is not None and bits == 16 > self._still.bits:
            # Fewer bits stand at the top of sixteen.
            red, green, blue = (plane >> (16 - self._still.bits) for plane in planes)
            planes = red, green, blue
            tags = replace(tags, bits=self._still.bits)
        return Picture(planes=planes, tags=tags)

    def _rate(self) -> Fraction | None:
        # A program stream of a picture or two has no other word for it than the coded stream's.
        stated = self._stream.codec_context.framerate if self.codec == "mpeg2video" else None
        return stated or self._stream.average_rate or self._stream.guessed_rate

    def _tags(self, frame: VideoFrame, sampling: Sampling, bits: int) -> Tags:
        context = self._stream.codec_context
        order = FieldOrder.PROGRESSIVE
        if frame.interlaced_frame:
            order = FieldOrder.TOP if _top_first(frame) else FieldOrder.BOTTOM
        ranges = {1: Range.NARROW, 2: Range.FULL}
        aspect, inside = self._stream.sample_aspect_ratio, context.sample_aspect_ratio
        if aspect and inside and aspect != inside:
            # The container and the stream in it contradict each other: players may take either.
            aspect = None
        tags = Tags(
            width=frame.width,
            height=frame.height,
            sampling=sampling,
            bits=bits,
            sample_aspect=Fraction(aspect) if aspect else None,
            field_order=order,
            rate=None if self.is_still else _fraction(self._rate()),
            primaries=_known(context.color_primaries),
            transfer=_known(context.color_trc),
            matrix=_known(int(context.colorspace)),
            range=ranges.get(int(context.color_range)),
            frames=1 if self.is_still else (self._stream.frames or None),
        )
        if self._still is not None:
            return with_words(tags, self._still)
        if self._words is not None:
            return _with_words(tags, self._words)
        return tags


@contextmanager
def open_video(path: Path) -> Iterator[VideoFile]:
    """Open a picture or a video file.

    Raises:
        FileError: it is missing, no plain file, empty, too large, or no file that can be decoded.
    """
    check_plain(path)
    try:
        with path.open("rb") as file:
            head = file.read(1 << 16)
            file.seek(0)
            if not head:
                raise FileError(f"{path}: the file is empty")
            if _LIST.match(head):
                raise FileError(f"{path}: is a list of other files or a playlist; give one of the files in it")
            words = _still_words(head)
            options = {"protocol_whitelist": "file", "format_whitelist": _READ, "max_pixels": str(LARGEST)}
            # A name with a % in it is no pattern for names of other pictures.
            options["pattern_type"] = "none"
            if words is not None:
                _check_size(path, words.width, words.height)
                if words.unread:
                    raise FileError(f"{path}: {words.unread}")
                # The library would decode the picture once only to learn its size, which the header has.
                options["codec_whitelist"] = "none"
            with _one_line(path), av.open(file, mode="r", options=options) as container:
                if not container.streams.video or container.format.name == "tty":
                    # The library draws any text as a picture of its letters.
                    raise FileError(f"{path}: there is no picture in the file")
                context = container.streams.video[0].codec_context
                if context is None:
                    raise FileError(f"{path}: the coding of this file is not supported")
                _check_size(path, context.width, context.height)
                context.thread_type = "AUTO"
                # The TIFF decoder calls tags of other programs errors, so it alone may go on after one.
                strict = "crccheck+bitstream+buffer" + ("" if context.name == "tiff" else "+explode")
                context.options = {"err_detect": strict, "max_pixels": str(LARGEST)}
                yield VideoFile(path, container, head)
    except OSError as error:
        raise FileError(f"{path}: cannot be read ({error.strerror or error})") from error


@contextmanager
def _one_line(path: Path) -> Iterator[None]:
    try:
        yield
    except av.error.FFmpegError as error:
        raise FileError(f"{path}: cannot be read as a picture or video ({error.strerror})") from error
    except SampleError as error:
        raise FileError(f"{path}: {error}") from error
    except (MemoryError, UnicodeDecodeError) as error:
        raise FileError(f"{path}: cannot be read as a picture or video") from error


def _check_size(path: Path, width: int, height: int) -> None:
    if width * height > LARGEST:
        raise FileError(
            f"{path}: {width}x{height} is too large; at most {LARGEST // 1_000_000} million samples are read"
        )


def _fraction(value: Fraction | None) -> Fraction | None:
    return Fraction(value) if value else None


def _known(code: int) -> int | None:
    return None if code == _UNKNOWN else int(code)


def _still_words(head: bytes) -> StillWords | None:
    """What the header of a still picture says of it, or None when `head` is of another kind of file."""
    found = read_png(head)
    if found is None and head.startswith((b"SDPX", b"XPDS")):
        # Of use for this kind alone: 5 ms of the 300 that reading a frame takes.
        from render.files.dpx import read_dpx

        found = read_dpx(head)
    if found is None and head.startswith((b"II", b"MM")):
        # The same.
        from render.files.tiff import read_tiff

        found = read_tiff(head)
    return found


_MIRRORED = (2, 4, 5, 7)
"""Exif orientations that mirror (JEITA CP-3451, from memory); what merely turns, the decoder says of its frames."""


def _is_mirrored(path: Path, head: bytes) -> bool:
    if b"Exif\0\0" not in head and b"eXIf" not in head and head[:4] not in (b"II*\0", b"MM\0*"):
        return False
    # Only such a still needs it: 60 ms.
    from PIL import Image

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(path) as image:
                return image.getexif().get(0x112) in _MIRRORED
        except Exception:
            # A broken header raises anything; the decoder has the last word on such a file.
            return False


def _header_words(head: bytes) -> dict[str, str] | None:
    if not head.startswith(b"YUV4MPEG2 "):
        return None
    line = head.split(b"\n", 1)[0].decode("ascii", "replace")
    words = (word.partition("=") for word in line.split(" ") if word.startswith("X"))
    return {name: value for name, _, value in words}


def _with_words(tags: Tags, words: dict[str, str]) -> Tags:
    codes = re.fullmatch(r"(\d{1,3})-(\d{1,3})-(\d{1,3})", words.get("XH273", ""))
    if codes is None:
        return tags
    primaries, transfer, matrix = (int(code) for code in codes.groups())
    return replace(tags, primaries=primaries, transfer=transfer, matrix=matrix)


def _top_first(frame: VideoFrame) -> bool:
    """Whether the top field is the earlier one.

    PyAV reports only that a frame has fields; the filter library's expressions know their order.
    """
    graph = Graph()
    source = graph.add_buffer(width=frame.width, height=frame.height, format=frame.format, time_base=Fraction(1, 25))
    chosen = graph.add("select", "eq(interlace_type,TOPFIRST)")
    sink = graph.add("buffersink")
    source.link_to(chosen)
    chosen.link_to(sink)
    graph.configure()
    source.push(frame)
    source.push(None)
    try:
        sink.pull()
    except (av.error.EOFError, av.error.BlockingIOError):
        return False
    return True
