"""H.264 clips: which writer makes them, and the level that they say."""

from __future__ import annotations

import contextlib
from dataclasses import replace
from functools import partial
from pathlib import Path

from patterns.signal import Range
from render.clip import Clip, Drawn, Group, Step, repeat_and_prove
from render.decode import open_video
from render.proof import Proof, Verdict, prove
from render.video.encoder import encode_frames, to_container
from render.video.h264_exact import encode, group_length
from render.video.h264_levels import BitsError, LevelError, Load, level_for, most_references
from render.video.h264_syntax import StreamTags, shape_of

__all__ = ["H264_WORDS", "write_h264_clip"]

_H264 = (
    *("-c:v", "libx264", "-preset", "medium", "-profile:v", "high", "-bf", "0"),
    *("-keyint_min", "1", "-sc_threshold", "0"),
    # Nothing is to be decided from later or older frames; at 4096 x 2160 each of them held is 13 MB.
    *("-refs", "1", "-rc-lookahead", "0", "-x264-params", "sync-lookahead=0:force-cfr=1", "-threads", "2"),
)
H264_WORDS = (*_H264, "-qp", "1")
"""High profile at the finest quantiser that is not another profile; no B pictures, so that a group is in order."""
_LEAN = ("-threads", "1", "-subq", "0", "-x264-params", "sync-lookahead=0:force-cfr=1:weightp=0")
"""For rasters above 1920 x 1088: no copies of frames between their samples and for other weights, 150 MB less."""
_LEAN_FROM = 1920 * 1088
_H264_CAPPED = (*_H264, "-crf", "1", "-maxrate", "50M", "-bufsize", "6M")
"""As fine as levels 4.1 and 4.2 let it be: 62.5 Mbit/s, of which a group of half a second repeated has 61 here."""


def write_h264_clip(clip: Clip, path: Path, comment: str, step: Step) -> Proof:
    """A still by the writer without loss. A moving pattern by the ordinary encoder where that is exact and no larger
    than players accept, else by the writer without loss, else with some loss.

    A moving pattern of fine detail, whole without loss, would come faster than players read.
    """
    if clip.distinct > 1 and _holds_exactly(clip, path):
        with contextlib.suppress(BitsError):
            proof = repeat_and_prove(clip, path, comment, step, _write_h264)
            if proof.verdict is Verdict.EXACT:
                return proof
    try:
        return repeat_and_prove(clip, path, comment, step, _write_h264_exact)
    except BitsError:
        return repeat_and_prove(clip, path, comment, step, partial(_write_h264, words=_H264_CAPPED))
    except LevelError:
        return repeat_and_prove(clip, path, comment, step, _write_h264)


def _holds_exactly(clip: Clip, path: Path) -> bool:
    """Whether the ordinary encoder is exact on one frame from the middle: a cheap trial before a whole group."""
    trial = path.with_stem("trial")
    middle = clip.frame(clip.distinct // 2)
    encode_frames((middle,), clip.tags, (*H264_WORDS, *_lean(clip)), trial)
    return prove(trial, replace(clip.tags, frames=1), lambda i: middle, 1).verdict is Verdict.EXACT


def _write_h264(clip: Clip, path: Path, step: Step, words: tuple[str, ...] = H264_WORDS) -> Group:
    """The ordinary encoder, at the finest quantiser that High profile has.

    Raises:
        BitsError: what it makes keeps the limits of no level that ordinary players know.
    """
    tags, group = clip.tags, path.with_stem("group")
    # A still is as large in half a second as it ever gets.
    half = max(2, round(float(clip.order.format.frame_rate) / 2))
    length = clip.distinct if clip.distinct > 1 else min(tags.frames or 1, half)
    second = max(1, round(float(clip.order.format.frame_rate)))
    codec = (*words, *_lean(clip), "-g", str(min(length, second)))
    encode_frames(clip.frames(length, step, "encoding"), tags, codec, group)
    with open_video(group) as video:
        sizes = tuple(8 * len(packet) for packet, _, _ in video.packets())
    shape = shape_of(_stream_tags(clip))
    try:
        return Group(length, level_for(shape, Load(sizes=sizes, whole=max(clip.period, length))))
    except BitsError:
        raise
    except LevelError:
        return Group(length)


def _lean(clip: Clip) -> tuple[str, ...]:
    return _LEAN if clip.tags.width * clip.tags.height > _LEAN_FROM else ()


def _write_h264_exact(clip: Clip, path: Path, step: Step) -> Group:
    """Every macroblock without loss."""
    tags = clip.tags
    assert tags.rate is not None
    stream_tags, most, references = _stream_tags(clip), group_length(tags.rate), 1
    length = clip.distinct if clip.distinct > 1 else min(tags.frames or 1, most)
    # A clip that is too short for the whole of its pattern is judged by the same rate as a long one.
    period = clip.period if clip.period > 1 else None
    if 1 < clip.period == clip.distinct <= min(most // 2, most_references(shape_of(stream_tags))):
        # A player keeps all of its frames: each is coded once in a group.
        references, length = clip.period, most // clip.period * clip.period
        period = length
    # Two pictures at least: an IDR picture must not follow another of the same number.
    length = max(2, length)
    stream = encode(Drawn(clip, length, step), stream_tags, period=period, references=references)
    raw = path.with_name("group.h264")
    raw.write_bytes(stream)
    to_container(raw, path.with_stem("group"), tags)
    return Group(length)


def _stream_tags(clip: Clip) -> StreamTags:
    tags = clip.tags
    assert tags.rate is not None
    assert tags.sample_aspect is not None
    return StreamTags(
        width=tags.width,
        height=tags.height,
        rate=tags.rate,
        sample_aspect=tags.sample_aspect,
        interlaced=clip.order.format.interlaced,
        top_field_first=clip.order.format.field_order.value == "top",
        full_range=tags.range is Range.FULL,
        primaries=tags.primaries or 2,
        transfer=tags.transfer or 2,
        matrix=tags.matrix or 2,
    )
