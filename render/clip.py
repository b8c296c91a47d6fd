"""The frames of one file while it is made: what is drawn, what is coded, and how often that is repeated."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from patterns.formats import Format
from patterns.pattern import Area, Options, Pattern
from patterns.scene import Scene
from patterns.signal import Range, Sampling, Signal
from render.carriers import Carrier
from render.extras import USUAL, Extras
from render.proof import Measured, Proof, prove
from render.quantise import Planes
from render.raster import draw_frame, frames_per_period
from render.tags import Provenance, Tags, tags_for
from render.video.encoder import mark_full_range, repeat_group
from render.video.tone import add_tone, tone_dbfs

__all__ = ["Clip", "Drawn", "Group", "Order", "Step", "is_full_ycbcr", "repeat_and_prove"]

Step = Callable[[str, float], None]
"""Receives the present step in words, and the share of the file that is done, 0 to 1."""


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
        """What the file will say of its pattern; enough to verify it without options."""
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


_MOST_HELD, _SMALL = 16, 720 * 576
"""Of a pattern that comes again after so few frames of so few samples, all are kept as they are drawn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Clip:
    """The frames of a file: `distinct` ones, repeated in order up to `tags.frames`; `period` of a clip long enough."""

    order: Order
    scene: Scene
    tags: Tags
    distinct: int
    period: int
    frame: Callable[[int], Planes]

    def prove(self, path: Path, distinct: int) -> Proof:
        """Read a file of `distinct` different coded frames back."""
        carrier, patches = self.order.carrier, self.scene.patches if self.scene.is_still else ()
        measured = Measured(patches=patches, format=self.order.format, codes=carrier.rule.codes)
        return prove(path, carrier.held(self.tags), self.frame, distinct, measured)

    def silent(self, path: Path) -> Path:
        """Where the clip without a tone goes, of which `with_tone` makes `path`."""
        return path.with_stem("silent") if self.order.extras.tone else path

    def with_tone(self, path: Path) -> None:
        """Put the tone beside the silent clip, where one was asked for."""
        if self.order.extras.tone:
            dbfs = tone_dbfs(self.order.format)
            add_tone(self.silent(path), path, self.tags, self.order.carrier.name, dbfs)

    @classmethod
    def of(cls, order: Order) -> Clip:
        scene = order.pattern.scene(order.format, order.options, order.signal)
        frames = 1 if order.seconds is None else max(1, round(order.seconds * float(order.format.frame_rate)))
        period = frames_per_period(scene, order.format)
        # A still is kept, a moving frame is drawn again for its proof: memory does not grow with the length.
        # A still of a moving scene shows the middle of its way: at the start all may lie outside.
        start = period // 2 if order.seconds is None else 0
        tags = order.extras.tags(tags_for(order.format, order.signal, frames), is_still=order.seconds is None)
        held = _MOST_HELD if period <= _MOST_HELD and order.format.width * order.format.height <= _SMALL else 1
        draw = lru_cache(maxsize=held)(lambda i: draw_frame(scene, order.format, order.signal, i))
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


@dataclass(frozen=True, slots=True)
class Group:
    """Coded frames that are repeated."""

    length: int
    level: int | None = None
    """The level of H.264 to say, where the encoder did not choose it by the bits."""


def repeat_and_prove(
    clip: Clip, path: Path, comment: str, step: Step, write: Callable[[Clip, Path, Step], Group]
) -> Proof:
    """Encode the distinct frames once, repeat them to the clip's length, and prove the whole."""
    group = write(clip, path, step)
    times = -(-(clip.tags.frames or 1) // group.length)
    repeat_group(path.with_stem("group"), clip.silent(path), clip.tags, comment, times=times, level=group.level)
    if path.suffix == ".mkv" and is_full_ycbcr(clip):
        mark_full_range(clip.silent(path))
    clip.with_tone(path)
    step("proving", 0.9)
    return clip.prove(path, min(group.length, clip.tags.frames or 1))


def is_full_ycbcr(clip: Clip) -> bool:
    return clip.tags.range is Range.FULL and clip.tags.sampling is not Sampling.RGB


class Drawn(Sequence[Planes]):
    """The frames of a clip, drawn when they are asked for, so that a long one is never held whole."""

    def __init__(self, clip: Clip, length: int, step: Step) -> None:
        self._clip, self._length, self._step = clip, length, step

    def __len__(self) -> int:
        return self._length

    def __getitem__(self, index: Any) -> Any:
        if not 0 <= index < self._length:
            raise IndexError(index)
        self._step("encoding without loss", index / self._length)
        return self._clip.frame(index)
