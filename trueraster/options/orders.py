"""What `draw` and `kit` share: the orders of a command with their common range, and made files in words and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Any

from patterns.formats import Format
from patterns.pattern import Options, Pattern
from patterns.scene import Scene
from patterns.signal import Colour, Range, Signal, round_half_up
from render.carriers import CARRIERS, Carrier
from render.extras import USUAL, Extras
from render.produce import Order
from render.proof import Proof
from render.video.tone import SHORTEST_S, SOUND
from trueraster.options.cells import cells_json
from trueraster.options.values import UsageError, choice

__all__ = [
    "PROOF_FIGURES",
    "Orders",
    "Wish",
    "check_tagged",
    "clips_text",
    "extras_of",
    "length_note",
    "lost_levels",
    "made_json",
    "made_row",
    "moment_note",
    "orders_of",
    "proof_json",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """One file as it is asked for: the range of `signal` is the usual one where nobody chose it."""

    pattern: Pattern
    options: Options
    format: Format
    carrier: Carrier
    signal: Signal

    @property
    def is_still(self) -> bool:
        return self.carrier.default_seconds is None

    def lost(self) -> tuple[str, ...]:
        """What the signal has no codes for: patches by their names, and levels that no patch has.

        Raises:
            PatternError: the pattern cannot be drawn so.
        """
        scene, signal = self.pattern.scene(self.format, self.options, self.signal), self.signal
        beyond = {colour for colour in scene.colours if _is_lost(colour, signal)}
        lost = [patch for patch in scene.patches if patch.colour in beyond]
        named = [f"{p.name} ({_level(p.colour)})" if p.colour.is_neutral else p.name for p in lost]
        others = beyond.difference(patch.colour for patch in lost)
        return (*dict.fromkeys(named), *sorted(map(_level, others)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Orders:
    """The files of one command."""

    orders: tuple[Order, ...]
    """In the order of the wishes."""
    notes: tuple[str, ...]
    """What a user should know of their ranges, one line each."""


def orders_of(
    wishes: Sequence[Wish],
    *,
    seconds: float | None,
    range_is_chosen: bool,
    tagged: bool = False,
    extras: Extras = USUAL,
) -> Orders:
    """The orders of one command. All its stills share one range, and so do all its clips.

    Where nobody chose the range, and one of the patterns has levels that full range cannot hold, all stills (or all
    clips) that would be full are narrow. `seconds` None is the carrier's own length. `tagged` and `extras` are as in
    `Order`.

    Raises:
        PatternError: a pattern cannot be drawn so.
    """
    shared, notes = list(wishes), []
    for still, kind in ((True, "stills"), (False, "clips")):
        full = [i for i, w in enumerate(wishes) if w.is_still is still and w.signal.range is Range.FULL]
        outside = list(dict.fromkeys(wishes[i].pattern.id for i in full if wishes[i].lost()))
        if range_is_chosen or not outside:
            continue
        for i in full:
            shared[i] = replace(wishes[i], signal=replace(wishes[i].signal, range=Range.NARROW))
        needs = "needs" if len(outside) == 1 else "need"
        notes.append(
            f"{' and '.join(outside)} {needs} levels below 0 or above 100 %, so all {kind} of this command have narrow"
            " range"
        )
    for wish in shared:
        if words := lost_levels(wish):
            notes.append(f"{wish.pattern.id} as {wish.carrier.name}: {words}; what is beyond is clipped")
    orders = tuple(_order(wish, seconds, tagged, extras) for wish in shared)
    return Orders(orders=orders, notes=tuple(dict.fromkeys(notes)))


def lost_levels(wish: Wish) -> str:
    """Which levels the signal of a wish cannot hold, in words; nothing where it holds all.

    Raises:
        PatternError: the pattern cannot be drawn so.
    """
    lost = wish.lost()
    if not lost:
        return ""
    more = len(lost) - _MOST_NAMED
    named = ", ".join([*lost[:_MOST_NAMED], *([f"{more} more"] if more > 0 else [])])
    return f"{wish.signal.range.value} range of {wish.signal.bits} bits has no codes for {named}"


_MOST_NAMED = 4


def _usual_seconds(wish: Wish) -> float | None:
    """A clip's length where none is asked for."""
    usual, most = wish.carrier.default_seconds, wish.pattern.clip_seconds
    return usual if usual is None or most is None else min(usual, most)


def _order(wish: Wish, seconds: float | None, tagged: bool, extras: Extras) -> Order:
    return Order(
        pattern=wish.pattern,
        options=wish.options,
        format=wish.format,
        signal=wish.signal,
        carrier=wish.carrier,
        seconds=None if wish.is_still else seconds or _usual_seconds(wish),
        tagged=tagged and wish.carrier.colour_on_request,
        extras=replace(extras, tone=extras.tone and wish.carrier.name in SOUND),
    )


def extras_of(primaries: str | None, tone: bool, seconds: float | None, carriers: Sequence[Carrier]) -> Extras:
    """What the options ask for beside the usual.

    Raises:
        UsageError: an option has no such value, or changes nothing.
    """
    if tone and not any(carrier.name in SOUND for carrier in carriers):
        names = ", ".join(carrier.name for carrier in carriers)
        raise UsageError(f"--tone: {names} cannot have sound; use {', '.join(SOUND)}")
    if tone and seconds is not None and seconds < SHORTEST_S:
        raise UsageError(f"--tone: {seconds:g} s is too short to read it back; give at least {SHORTEST_S:g}")
    return Extras(for_display=choice("--primaries", primaries, ("format", "display")) == "display", tone=tone)


def check_tagged(tagged: bool, carriers: Sequence[Carrier]) -> None:
    """Refuse --tagged where it changes nothing.

    Raises:
        UsageError: none of the kinds of file has colour tags only on request.
    """
    if tagged and not any(carrier.colour_on_request for carrier in carriers):
        raise UsageError(
            f"--tagged: {', '.join(carrier.name for carrier in carriers)} always has colour tags; leave --tagged out"
        )


def clips_text() -> str:
    """The kinds of file that hold movement: 'h264, mpeg2 or y4m'."""
    *most, last = (carrier.name for carrier in CARRIERS.values() if carrier.default_seconds is not None)
    return f"{', '.join(most)} or {last}"


def moment_note(pattern: Pattern, scene: Scene, carriers: Sequence[Carrier]) -> str:
    """What a still of a moving pattern shows, or nothing where the pattern is still or no file is one."""
    stills = [carrier.name for carrier in carriers if carrier.default_seconds is None]
    if scene.period is None or not stills:
        return ""
    moment = f"the middle of the {float(scene.period):g} s after which it repeats"
    return f"{pattern.id} moves; as {', '.join(stills)} it shows one picture, {moment}. It moves as {clips_text()}"


def length_note(seconds: float | None, carriers: Sequence[Carrier], fmt: Format) -> str:
    """What a user should know of a length that was asked for and cannot be had, or nothing."""
    if seconds is None:
        return ""
    if all(carrier.default_seconds is None for carrier in carriers):
        return f"--seconds: {', '.join(carrier.name for carrier in carriers)} is a still and has no length"
    frame = 1 / fmt.frame_rate
    return f"--seconds: a clip has at least one frame, {float(frame):.4f} s in {fmt.id}" if seconds < frame else ""


def _is_lost(colour: Colour, signal: Signal) -> bool:
    # A code of a chroma extreme may be one beyond the last; that is rounding, not a level lost.
    return any(
        abs(code - round_half_up(exact)) > 1
        for code, exact in zip(signal.codes(colour), signal.exact(colour), strict=True)
    )


def _level(colour: Colour) -> str:
    """'105 %' of a grey, all three of a colour."""
    parts = (colour.green,) if colour.is_neutral else (colour.red, colour.green, colour.blue)
    return ", ".join(f"{100 * float(part):.3g}" for part in parts) + " %"


def made_row(path: Path, proof: Proof) -> tuple[str, str, str]:
    """A made file as a line of a table: its path, the proof, the samples compared."""
    words = proof.verdict.value
    if proof.different:
        words += f": {proof.different} samples differ by up to {proof.max_error_codes}"
    if proof.patch_error_codes:
        words += f", in patches by {proof.patch_error_codes:g}"
    if proof.patches_by_median:
        words += f" (the median of {len(proof.patches_by_median)})"
    return str(path), words, f"{proof.samples:,}"


def made_json(order: Order, path: Path, sha256: str, proof: Proof) -> dict[str, Any]:
    """A made file as JSON."""
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
        **order.extras.stated,
        "sha256": sha256,
        "proof": proof_json(proof),
    }


# Whatever else a proof may come to hold; the reason is of a failed one, which names no file.
PROOF_FIGURES = tuple(field.name for field in fields(Proof) if field.name not in ("verdict", "reason"))


def proof_json(proof: Proof) -> dict[str, Any]:
    """A proof as JSON, in answers and in a kit's manifest."""
    figures = {name: getattr(proof, name) for name in PROOF_FIGURES}
    lists = {name: list(value) for name, value in figures.items() if isinstance(value, tuple)}
    return {"verdict": proof.verdict.value, **figures, **lists}
