"""What `draw` and `kit` share: an order with the signal that it needs, and how a made file is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from patterns.formats import Format
from patterns.pattern import Options, Pattern
from patterns.scene import Scene
from patterns.signal import Range, Signal, round_half_up
from render.carriers import CARRIERS, Carrier
from render.produce import Order
from render.proof import Proof
from trueraster.options.cells import cells_json

__all__ = [
    "PROOF_FIGURES",
    "clips_text",
    "length_note",
    "made_json",
    "made_row",
    "moment_note",
    "order_of",
    "proof_json",
]


def order_of(
    pattern: Pattern,
    options: Options,
    fmt: Format,
    carrier: Carrier,
    signal: Signal,
    *,
    seconds: float | None,
    range_is_chosen: bool,
) -> tuple[Order, str]:
    """The order for one file, and in words what its signal has no codes for, or nothing.

    A full-range signal becomes a narrow one where the pattern has levels outside 0 to 100 % and nobody chose the range.
    `seconds` None is the carrier's own length.

    Raises:
        PatternError: the pattern cannot be drawn so.
    """
    lost = _lost_levels(pattern.scene(fmt, options, signal), signal)
    if lost and not range_is_chosen and signal.range is Range.FULL:
        # A pattern with levels outside 0 to 100 % needs the room that narrow range has.
        signal = replace(signal, range=Range.NARROW)
        lost = _lost_levels(pattern.scene(fmt, options, signal), signal)
    length = None if carrier.default_seconds is None else seconds or carrier.default_seconds
    order = Order(pattern=pattern, options=options, format=fmt, signal=signal, carrier=carrier, seconds=length)
    return order, lost


def clips_text() -> str:
    """The kinds of file that hold movement: 'h264, mpeg2 or y4m'."""
    *most, last = (carrier.name for carrier in CARRIERS.values() if carrier.default_seconds is not None)
    return f"{', '.join(most)} or {last}"


def moment_note(pattern: Pattern, scene: Scene, carriers: Sequence[Carrier]) -> str:
    """What a still of a moving pattern shows, or nothing where the pattern is still or no file is one."""
    stills = [carrier.name for carrier in carriers if carrier.default_seconds is None]
    if scene.period is None or not stills:
        return ""
    moment = f"the first moment of the {float(scene.period):g} s after which it repeats"
    return f"{pattern.id} moves; as {', '.join(stills)} it shows one picture, {moment}. It moves as {clips_text()}"


def length_note(seconds: float | None, carriers: Sequence[Carrier], fmt: Format) -> str:
    """What a user should know of a length that was asked for and cannot be had, or nothing."""
    if seconds is None:
        return ""
    if all(carrier.default_seconds is None for carrier in carriers):
        return f"--seconds: {', '.join(carrier.name for carrier in carriers)} is a still and has no length"
    frame = 1 / fmt.frame_rate
    return f"--seconds: a clip has one frame at least, {float(frame):.4f} s in {fmt.id}" if seconds < frame else ""


def _lost_levels(scene: Scene, signal: Signal) -> str:
    """What the signal has no codes for, in words, or nothing."""
    outside = {
        patch.colour
        for patch in scene.patches
        for code, exact in zip(signal.codes(patch.colour), signal.exact(patch.colour), strict=True)
        # A code of a chroma extreme may be one beyond the last; that is rounding, not a level lost.
        if abs(code - round_half_up(exact)) > 1
    }
    if not outside:
        return ""
    return f"{signal.range.value} range of {signal.bits} bits ends before some of its levels; they are clipped"


def made_row(path: Path, proof: Proof) -> tuple[str, str, str]:
    """A made file as a line of a table: its path, the proof, the samples compared."""
    words = proof.verdict.value
    if proof.different:
        words += f": {proof.different} samples off by {proof.max_error_codes}"
    if proof.patch_error_codes:
        words += f", in patches by {proof.patch_error_codes:g}"
    if proof.patches_by_median:
        words += f" (the median of {len(proof.patches_by_median)})"
    return str(path), words, f"{proof.samples:,}"


def made_json(order: Order, path: Path, sha256: str, proof: Proof) -> dict[str, Any]:
    """A made file as JSON tells it."""
    return {
        "path": str(path),
        "pattern": order.pattern.id,
        "format": order.format.id,
        "carrier": order.carrier.name,
        "range": order.signal.range.value,
        "bits": order.signal.bits,
        "sampling": order.signal.sampling.value,
        "matrix": None if order.signal.sampling.is_rgb else order.signal.matrix.value,
        "seconds": order.seconds,
        "cells": cells_json(order.format, order.pattern.scene(order.format, order.options, order.signal)),
        "sha256": sha256,
        "proof": proof_json(proof),
    }


# Whatever else a proof may come to hold; the reason is of a failed one, which names no file.
PROOF_FIGURES = tuple(field.name for field in fields(Proof) if field.name not in ("verdict", "reason"))


def proof_json(proof: Proof) -> dict[str, Any]:
    """A proof as JSON tells it, in answers and in a kit's manifest."""
    figures = {name: getattr(proof, name) for name in PROOF_FIGURES}
    lists = {name: list(value) for name, value in figures.items() if isinstance(value, tuple)}
    return {"verdict": proof.verdict.value, **figures, **lists}
