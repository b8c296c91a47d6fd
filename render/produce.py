"""Make a file: draw, write under a passing name, prove, and only then give it its own name."""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, replace
from pathlib import Path

from patterns.formats import parse_format
from patterns.pattern import percent_text
from patterns.signal import Range, Sampling
from patterns.standards.timing import DISC_GROUP_PICTURES
from render.carriers import CARRIERS, Rule
from render.clip import Clip, Group, Order, Step, is_full_ycbcr, repeat_and_prove
from render.files.dpx import write_dpx
from render.files.png import write_png
from render.files.tiff import write_tiff
from render.files.y4m import frame_bytes, header
from render.proof import Proof, Verdict
from render.video.disc import disc_pictures, write_disc
from render.video.encoder import encode_frames
from render.video.h264_clip import write_h264_clip
from render.video.tone import prove_tone, tone_dbfs
from render.writing import placed_from_room

__all__ = ["Made", "Order", "ProofError", "default_name", "produce", "prove_disc_clip", "sha256_of"]


class ProofError(Exception):
    """A written file did not pass its proof; nothing was left under its name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """A file that has passed its proof."""

    path: Path
    order: Order
    sha256: str
    proof: Proof


def default_name(order: Order) -> str:
    """The file name: pattern with its options, format, range, and depth and sampling where they are not the usual.

    The kind of file if its ending does not say it.
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
    clip = Clip.of(order)
    comment = str(order.provenance)
    with placed_from_room(path, order.carrier.suffix) as written:
        proof = _passed(clip, written, _write_and_prove(clip, written, comment, step), path.name)
        digest = sha256_of(written)
        # The last moment at which a caller can stop it: after this the file has its name.
        step("naming", 0.99)
    step("done", 1.0)
    return Made(path=path, order=order, sha256=digest, proof=proof)


def prove_disc_clip(order: Order, path: Path, name: str) -> Proof:
    """Prove a clip for disc players again, as it was read back from a disc into the file `path`.

    Raises:
        ProofError: it is not what was drawn; the message begins with `name`.
    """
    clip = Clip.of(order)
    return _passed(clip, path, clip.prove(path, _coded_for_disc(clip)), name)


def _coded_for_disc(clip: Clip) -> int:
    """How many coded frames a clip for disc players repeats: those of one group where it is a still."""
    frames = clip.tags.frames or 1
    return min(DISC_GROUP_PICTURES.value[clip.tags.height] if clip.distinct == 1 else clip.distinct, frames)


def _passed(clip: Clip, path: Path, proof: Proof, name: str) -> Proof:
    """The proof with that of the tone, judged by the carrier's rule.

    Raises:
        ProofError: it is a failure.
    """
    carrier = clip.order.carrier
    if clip.order.extras.tone and proof.verdict is not Verdict.FAILED:
        proof = prove_tone(path, proof, clip.tags, tone_dbfs(clip.order.format))
    proof = _judged(proof, carrier.rule if clip.scene.is_still else carrier.moving_rule or carrier.rule)
    if proof.verdict is Verdict.FAILED:
        raise ProofError(f"{name} failed its proof: {proof.reason}")
    return proof


def _judged(proof: Proof, rule: Rule) -> Proof:
    """The proof, failed where it breaks the carrier's rule."""
    if rule.patches_only and proof.patches:
        worst, words = proof.patch_error_codes, f"a patch differs by {proof.patch_error_codes:g} codes"
    elif rule.patches_only:
        worst, words = proof.mean_error_codes, f"its samples differ by {proof.mean_error_codes:g} codes on average"
    else:
        worst = proof.max_error_codes
        words = f"{proof.different} samples are off, by up to {proof.max_error_codes} codes"
    words += f" ({proof.where})"
    return replace(proof, verdict=Verdict.FAILED, reason=words) if worst > rule.codes else proof


def _write_and_prove(clip: Clip, path: Path, comment: str, step: Step) -> Proof:
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
        return write_h264_clip(clip, path, comment, step)
    elif name == "mpeg2":
        return _disc(clip, path, step)
    else:
        return repeat_and_prove(clip, path, comment, step, _write_frames)
    step("proving", 0.9)
    return clip.prove(path, clip.distinct)


_FRAMES_WORDS = {
    "ffv1": ("-c:v", "ffv1", "-level", "3", "-g", "1", "-slices", "4", "-slicecrc", "1"),
    "v210": ("-c:v", "v210"),
    # The finest 4:2:2 profile, at its finest quantiser.
    "prores": ("-c:v", "prores_ks", "-profile:v", "3", "-qscale:v", "1"),
}
"""The program's words for kinds in which every frame stands alone."""


def _write_frames(clip: Clip, path: Path, step: Step) -> Group:
    """Every frame stands alone, so the group is the distinct frames."""
    tags = replace(clip.tags, range=Range.NARROW) if is_full_ycbcr(clip) else clip.tags
    words = _FRAMES_WORDS[clip.order.carrier.name]
    encode_frames(clip.frames(clip.distinct, step, "encoding"), tags, words, path.with_stem("group"))
    return Group(clip.distinct)


def _disc(clip: Clip, path: Path, step: Step) -> Proof:
    """Groups within the limits of disc players, repeated as they are coded and put into the program stream once."""
    tags, group = clip.order.carrier.held(clip.tags), path.with_name("group.m2v")
    pictures = disc_pictures(lambda: clip.frames(clip.distinct, step, "encoding"), clip.distinct, tags, group)
    write_disc(pictures, tags, path.with_name("whole.m2v"), clip.silent(path))
    clip.with_tone(path)
    step("proving", 0.9)
    return clip.prove(path, _coded_for_disc(clip))


def sha256_of(path: Path) -> str:
    """The hash of a file, which is on the disk when this returns."""
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
        os.fsync(file.fileno())
    return digest
