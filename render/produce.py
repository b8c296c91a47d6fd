"""Make a file: draw, write under a passing name, prove, and only then give it its own name."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

from patterns.formats import Format, parse_format
from patterns.pattern import Area, Options, Pattern, percent_text
from patterns.scene import Scene
from patterns.signal import Range, Sampling, Signal
from render.carriers import CARRIERS, Carrier, Rule
from render.extras import USUAL, Extras
from render.files.dpx import write_dpx
from render.files.png import write_png
from render.files.tiff import write_tiff
from render.files.y4m import frame_bytes, header
from render.proof import Proof, Verdict, prove
from render.quantise import Planes
from render.raster import draw_frame, frames_per_period
from render.tags import Provenance, Tags, tags_for
from render.video.disc import disc_pictures, write_disc
from render.video.encoder import encode_frames, mark_full_range, repeat_group, to_container
from render.video.h264_exact import BitsError, LevelError, StreamTags, encode
from render.video.tone import add_tone, prove_tone, tone_dbfs
from render.writing import placed_from_room

__all__ = ["Made", "Order", "ProofError", "Step", "default_name", "produce"]

Step = Callable[[str, float], None]
"""Told what is being done and which share of the file is done, 0 to 1."""

_H264 = (
    *("-c:v", "libx264", "-preset", "medium", "-profile:v", "high", "-bf", "0"),
    *("-keyint_min", "1", "-sc_threshold", "0"),
    # Nothing is to be decided from later or older frames; at 4096 x 2160 each of them held is 13 MB.
    *("-refs", "1", "-rc-lookahead", "0", "-x264-params", "sync-lookahead=0", "-threads", "2"),
)
H264_WORDS = (*_H264, "-qp", "1")
"""High profile at the finest quantiser that is not another profile; no B pictures, so that a group is in order."""
_LEAN = ("-threads", "1", "-subq", "0", "-x264-params", "sync-lookahead=0:weightp=0")
"""For rasters above 1920 x 1088: no copies of frames between their samples and for other weights, 150 MB less."""
_LEAN_FROM = 1920 * 1088
_H264_CAPPED = (*_H264, "-crf", "1", "-maxrate", "50M", "-bufsize", "6M")
"""As fine as levels 4.1 and 4.2 let it be: 62.5 Mbit/s, of which a group of half a second repeated has 61 here."""


class ProofError(Exception):
    """A written file did not pass its proof; nothing was left under its name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One file to make. `seconds` is None for a still."""

    pattern: Pattern
    options: Options
    format: Format
    signal: Signal
    carrier: Carrier
    seconds: float | None
    tagged: bool = False
    """Whether a file that says its colour only on request (`Carrier.colour_on_request`) is to say it."""
    extras: Extras = USUAL

    @property
    def provenance(self) -> Provenance:
        """What the file will say of its pattern; enough to verify it without being told more."""
        aspect = self.format.picture_aspect
        fields = [
            # An own pattern may be called like one of the built-in ones.
            ("pattern", f"own:{self.pattern.id}" if self.pattern.area is Area.OWN else self.pattern.id),
            ("format", self.format.id),
            ("aspect", f"{aspect.numerator}:{aspect.denominator}"),
            ("range", self.signal.range.value),
            ("matrix", self.signal.matrix.value),
        ]
        for name, value in self.options.given.items():
            text = "x".join(map(str, value)) if isinstance(value, tuple) else str(value)
            fields.append((name, text))
        return Provenance(fields=tuple(fields))


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A file that has passed its proof."""

    path: Path
    order: Order
    sha256: str
    proof: Proof


def default_name(order: Order) -> str:
    """The file name: pattern with its options, format, range, and depth and sampling where they are not the usual.

    The kind of file where its ending does not tell it.
    """
    parts = [order.pattern.id]
    for name, value in order.options.given.items():
        if name == "cells":
            parts.append(f"{value[0]}x{value[1]}")
        elif name == "area":
            parts.append(f"area{percent_text(value)}")
        else:
            parts.append(percent_text(value) if name == "level" else str(value))
    words = ["-".join(parts)]
    fmt, signal, carrier = order.format, order.signal, order.carrier
    words.append(fmt.id)
    usual = carrier.signal(fmt)
    if fmt.picture_aspect != parse_format(fmt.id).picture_aspect:
        words.append(f"{fmt.picture_aspect.numerator}x{fmt.picture_aspect.denominator}")
    words.append(signal.range.value)
    if signal.matrix is not usual.matrix and not signal.sampling.is_rgb:
        words.append(signal.matrix.value)
    if signal.edges is not replace(usual, sampling=signal.sampling).edges:
        words.append(signal.edges.value)
    if signal.bits != 8:
        words.append(f"{signal.bits}bit")
    if signal.sampling not in (Sampling.RGB, Sampling.YCBCR_420) or len(carrier.samplings) > 1:
        words.append(signal.sampling.value)
    if order.tagged and carrier.colour_on_request and signal.range is Range.FULL:
        words.append("tagged")
    words += order.extras.words
    if [kind.suffix for kind in CARRIERS.values()].count(carrier.suffix) > 1:
        words.append(carrier.name)
    return "_".join(words).replace("/", "-") + carrier.suffix


def produce(order: Order, path: Path, step: Step = lambda words, share: None) -> Made:
    """Make the file `path`. An existing one is replaced only when the new one has passed its proof.

    Raises:
        ProofError: what was written cannot be read back as it was drawn.
        OSError: the folder or the disk does not take the file, or what is no file has its name.
    """
    clip = _Clip.of(order)
    comment = str(order.provenance)
    with placed_from_room(path, order.carrier.suffix) as written:
        proof = _write_and_prove(clip, written, comment, step)
        if order.extras.tone and proof.verdict is not Verdict.FAILED:
            proof = prove_tone(written, proof, clip.tags, tone_dbfs(order.format))
        carrier = order.carrier
        proof = _judged(proof, carrier.rule if clip.scene.is_still else carrier.moving_rule or carrier.rule)
        if proof.verdict is Verdict.FAILED:
            raise ProofError(f"{path.name} failed its proof: {proof.reason}")
        digest = _sha256(written)
        # The last moment at which a caller can stop it: after this the file has its name.
        step("naming", 0.99)
    step("done", 1.0)
    return Made(path=path, order=order, sha256=digest, proof=proof)


def _judged(proof: Proof, rule: Rule) -> Proof:
    """The proof, failed where it breaks the carrier's rule."""
    if rule.patches_only and proof.patches:
        worst, words = proof.patch_error_codes, f"a patch is off by {proof.patch_error_codes:g} codes"
    elif rule.patches_only:
        worst, words = proof.mean_error_codes, f"its samples are off by {proof.mean_error_codes:g} codes on average"
    else:
        worst = proof.max_error_codes
        words = f"{proof.different} samples are off, by up to {proof.max_error_codes} codes"
    words += f" ({proof.where})"
    return replace(proof, verdict=Verdict.FAILED, reason=words) if worst > rule.codes else proof


@dataclass(frozen=True, slots=True, kw_only=True)
class _Clip:
    """The frames of a file: `distinct` ones, repeated in order up to `tags.frames`; `period` of a clip long enough."""

    order: Order
    scene: Scene
    tags: Tags
    distinct: int
    period: int
    frame: Callable[[int], Planes]

    def prove(self, path: Path, distinct: int) -> Proof:
        """Read a file of `distinct` different coded frames back."""
        carrier = self.order.carrier
        return prove(
            path,
            carrier.held(self.tags),
            self.frame,
            distinct,
            patches=self.scene.patches if self.scene.is_still else (),
            fmt=self.order.format,
            patch_codes=carrier.rule.codes,
        )

    def silent(self, path: Path) -> Path:
        """Where the clip without a tone goes, of which `with_tone` makes `path`."""
        return path.with_stem("silent") if self.order.extras.tone else path

    def with_tone(self, path: Path) -> None:
        """Put the tone beside the silent clip, where one was asked for."""
        if self.order.extras.tone:
            dbfs = tone_dbfs(self.order.format)
            add_tone(self.silent(path), path, self.tags, self.order.carrier.name, dbfs)

    @classmethod
    def of(cls, order: Order) -> _Clip:
        scene = order.pattern.scene(order.format, order.options, order.signal)
        frames = 1 if order.seconds is None else max(1, round(order.seconds * float(order.format.frame_rate)))
        period = frames_per_period(scene, order.format)
        # A still is kept, a moving frame is drawn again for its proof: memory does not grow with the length.
        # A still of a moving scene shows the middle of its way: at the start all may lie outside.
        start = period // 2 if order.seconds is None else 0
        tags = order.extras.tags(tags_for(order.format, order.signal, frames), is_still=order.seconds is None)
        draw = lru_cache(maxsize=1)(lambda i: draw_frame(scene, order.format, order.signal, i))
        return cls(
            order=order,
            scene=scene,
            tags=tags if order.tagged else order.carrier.usual_tags(tags),
            distinct=min(period, frames),
            period=period,
            frame=lambda i: draw((start + i) % period),
        )

    def frames(self, count: int, step: Step, words: str) -> Iterator[Planes]:
        for i in range(count):
            step(words, i / count)
            yield self.frame(i)


def _write_and_prove(clip: _Clip, path: Path, comment: str, step: Step) -> Proof:
    name = clip.order.carrier.name
    still = {"png": write_png, "tiff": write_tiff, "dpx": write_dpx}.get(name)
    if still is not None:
        with path.open("wb") as file:
            still(file, clip.frame(0), clip.tags, comment)
    elif name == "y4m":
        with path.open("wb") as file:
            file.write(header(clip.tags))
            # A repeated frame is put into bytes once.
            same = frame_bytes(clip.frame(0)) if clip.distinct == 1 else None
            for planes in clip.frames(clip.tags.frames or 1, step, "writing"):
                file.write(same or frame_bytes(planes))
    elif name == "h264":
        return _h264(clip, path, comment, step)
    elif name == "mpeg2":
        return _disc(clip, path, step)
    else:
        return _repeat_and_prove(clip, path, comment, step, _write_frames)
    step("proving", 0.9)
    return clip.prove(path, clip.distinct)


def _h264(clip: _Clip, path: Path, comment: str, step: Step) -> Proof:
    """The ordinary encoder where it is exact, else the writer without loss; beyond that one's levels, what there is.

    A moving pattern of fine detail, whole without loss, would come faster than players read: it gets some loss.
    """
    if _holds_exactly(clip, path):
        proof = _repeat_and_prove(clip, path, comment, step, _write_h264)
        if proof.verdict is Verdict.EXACT:
            return proof
    try:
        return _repeat_and_prove(clip, path, comment, step, _write_h264_exact)
    except BitsError:
        return _repeat_and_prove(clip, path, comment, step, partial(_write_h264, words=_H264_CAPPED))
    except LevelError:
        return _repeat_and_prove(clip, path, comment, step, _write_h264)


def _repeat_and_prove(
    clip: _Clip, path: Path, comment: str, step: Step, write: Callable[[_Clip, Path, Step], int]
) -> Proof:
    """Encode the distinct frames once, repeat them to the clip's length, and prove the whole."""
    group = write(clip, path, step)
    times = -(-(clip.tags.frames or 1) // group)
    repeat_group(path.with_stem("group"), clip.silent(path), clip.tags, comment, times=times)
    if path.suffix == ".mkv" and _is_full_ycbcr(clip):
        mark_full_range(clip.silent(path))
    clip.with_tone(path)
    step("proving", 0.9)
    return clip.prove(path, min(group, clip.tags.frames or 1))


def _holds_exactly(clip: _Clip, path: Path) -> bool:
    """Whether the ordinary encoder is exact on one frame from the middle: a cheap trial before a whole group."""
    trial = path.with_stem("trial")
    middle = clip.frame(clip.distinct // 2)
    encode_frames((middle,), clip.tags, (*H264_WORDS, *_lean(clip)), trial)
    return prove(trial, replace(clip.tags, frames=1), lambda i: middle, 1).verdict is Verdict.EXACT


_FRAMES_WORDS = {
    "ffv1": ("-c:v", "ffv1", "-level", "3", "-g", "1", "-slices", "4", "-slicecrc", "1"),
    "v210": ("-c:v", "v210"),
    # The finest 4:2:2 profile, at its finest quantiser.
    "prores": ("-c:v", "prores_ks", "-profile:v", "3", "-qscale:v", "1"),
}
"""The program's words for kinds in which every frame stands alone."""


def _write_frames(clip: _Clip, path: Path, step: Step) -> int:
    """Every frame stands alone, so the group is the distinct frames. Returns its length."""
    tags = replace(clip.tags, range=Range.NARROW) if _is_full_ycbcr(clip) else clip.tags
    words = _FRAMES_WORDS[clip.order.carrier.name]
    encode_frames(clip.frames(clip.distinct, step, "encoding"), tags, words, path.with_stem("group"))
    return clip.distinct


def _disc(clip: _Clip, path: Path, step: Step) -> Proof:
    """Groups within the limits of disc players, repeated as they are coded and put into the program stream once."""
    tags, group = clip.order.carrier.held(clip.tags), path.with_name("group.m2v")
    pictures = disc_pictures(lambda: clip.frames(clip.distinct, step, "encoding"), clip.distinct, tags, group)
    write_disc(pictures, tags, path.with_name("whole.m2v"), clip.silent(path))
    clip.with_tone(path)
    step("proving", 0.9)
    return clip.prove(path, min(len(pictures), clip.tags.frames or 1))


def _is_full_ycbcr(clip: _Clip) -> bool:
    return clip.tags.range is Range.FULL and clip.tags.sampling is not Sampling.RGB


def _group_length(clip: _Clip, seconds: float = 0.5) -> int:
    """Frames of the closed group: all distinct ones of a moving clip, about so many seconds of a still one."""
    if clip.distinct > 1:
        return clip.distinct
    return min(clip.tags.frames or 1, max(2, round(float(clip.order.format.frame_rate) * seconds)))


def _write_h264(clip: _Clip, path: Path, step: Step, words: tuple[str, ...] = H264_WORDS) -> int:
    """The ordinary encoder, at the finest quantiser that High profile has. Returns the length of the group."""
    length = _group_length(clip)
    second = max(1, round(float(clip.order.format.frame_rate)))
    codec = (*words, *_lean(clip), "-g", str(min(length, second)))
    encode_frames(clip.frames(length, step, "encoding"), clip.tags, codec, path.with_stem("group"))
    return length


def _lean(clip: _Clip) -> tuple[str, ...]:
    return _LEAN if clip.tags.width * clip.tags.height > _LEAN_FROM else ()


def _write_h264_exact(clip: _Clip, path: Path, step: Step) -> int:
    """Macroblocks without loss, for what the ordinary encoder cannot hold exactly: mostly anti-aliased curves."""
    tags = clip.tags
    assert tags.rate is not None
    assert tags.sample_aspect is not None
    # Two pictures at least: an IDR picture must not follow another of the same number.
    # A second of a still: its first picture is large, so the file is half as large as with half a second.
    length = max(2, _group_length(clip, seconds=1))
    stream = encode(
        _Drawn(clip, length, step),
        StreamTags(
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
        ),
        # A clip that is too short for the whole group is judged by the same rate as a long one.
        period=clip.period if clip.period > 1 else None,
    )
    raw = path.with_name("group.h264")
    raw.write_bytes(stream)
    to_container(raw, path.with_stem("group"), tags)
    return length


class _Drawn(Sequence[Planes]):
    """The frames of a clip, drawn when they are asked for, so that a long one is never held whole."""

    def __init__(self, clip: _Clip, length: int, step: Step) -> None:
        self._clip, self._length, self._step = clip, length, step

    def __len__(self) -> int:
        return self._length

    def __getitem__(self, index: Any) -> Any:
        if not 0 <= index < self._length:
            raise IndexError(index)
        self._step("encoding without loss", index / self._length)
        return self._clip.frame(index)


def _sha256(path: Path) -> str:
    """The hash of a file, which is on the disk when this returns."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
        os.fsync(file.fileno())
    return digest
