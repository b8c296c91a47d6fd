"""The order of fields, which only a clip can tell, from the moving bar of the pattern `field-order`.

It is read from where the bar's edges stand in the even and in the odd rows of each frame, against how far it moves from
frame to frame. Nothing is taken from the file's flags; they are compared afterwards.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.distinct import Heard
from analysis.frame.fields.bar import Bar, Edge, look_at, luma_of
from analysis.frame.fields.walk import Walk, usual_step
from analysis.frame.findings import Fault
from patterns.catalogue import PATTERNS
from patterns.formats import FieldOrder, Format
from patterns.scene import Box, Mover
from render.decode import open_video

__all__ = ["FieldOrderReading", "FieldState", "field_fault", "read_field_order", "read_fields"]

Floats = NDArray[np.floating[Any]]


class FieldState(StrEnum):
    """What the rows of a frame hold."""

    INTERLACED = "interlaced"
    """Two fields, each with its own moment."""
    PROGRESSIVE = "progressive"
    """One moment in all rows."""
    ONE_FIELD = "one-field"
    """One moment in all rows, and half of the moments are missing: of two fields one is left."""
    BLENDED = "blended"
    """Two moments in every row, one over the other."""
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldOrderReading:
    """The order of the fields as the moving bar shows it, and what it is compared with."""

    state: FieldState = FieldState.UNKNOWN
    order: FieldOrder | None = None
    """None when blended or unknown."""
    reason: str | None = None
    """Why it is unknown."""
    confidence: float = 0.0
    """0 to 1: how many frames agree, and how closely; 0 when unknown."""
    step: float | None = None
    """Samples of the frame that the bar moves between fields when interlaced, else between frames."""
    step_uncertainty: float | None = None
    """Standard uncertainty of `step`, from the scatter about even motion."""
    apart: float | None = None
    """Mean distance of the two fields in a frame, in steps of a field: 1 top first, -1 bottom first, 0 one moment."""
    frames: int
    """Frames that took part."""
    repeated: int = 0
    """Frames on which the bar stood still."""
    dropped: int = 0
    """Frames that are missing between the ones looked at."""
    flags: FieldOrder | None = None
    """What the file says; PROGRESSIVE also when it says nothing of fields. None when not asked."""
    required: FieldOrder | None = None
    """What the format has; None when it was not given."""
    notes: tuple[str, ...] = ()

    @property
    def agrees_with_format(self) -> bool | None:
        """Whether the frames show what the format has; None when one of the two is not known."""
        return None if self.order is None or self.required is None else self.order is self.required


_MOMENT, _FARTHEST = 0.25, 1.5
"""Distances of the two fields, in steps of a field: below the first they are of one moment, up to the second they have
an order. Coding that knows nothing of fields draws them together.
"""
_EVEN = 0.2
"""Distance within which a vote counts in full: drawn edges lie on whole samples, 1 in 7 of a 480i step."""
_AGREE = 0.7
"""Share of the frames that have to say the same."""
_MIXED = 0.4
"""Share of the edges that have to be double."""


def read_field_order(
    path: Path, fmt: Format | None = None, *, enough: int = 30, most: int = 200, heard: Heard | None = None
) -> FieldOrderReading:
    """The order of the fields in a clip of the pattern `field-order`, as `read_fields` tells it.

    The default is its first frames that show enough. A capture that loses a field on its way changes its order there,
    which takes more frames to find. `heard` is called after each frame, with the frames done and how many the file has.

    Raises:
        FileError: the file cannot be read.
    """
    with open_video(path) as video:
        flags: list[FieldOrder | None] = []

        def lumas() -> Iterator[Floats]:
            for done, picture in enumerate(video.pictures(), 1):
                flags.append(picture.tags.field_order)
                yield luma_of(picture)
                if heard is not None:
                    heard(done, picture.tags.frames)

        reading = read_fields(lumas(), fmt, enough=enough, most=most)
    # Of flags that change on the way the most frequent ones are the file's word.
    told = max(set(flags), key=flags.count) if flags else None
    return _compared(reading, told, fmt, None)


def read_fields(
    lumas: Iterable[Floats],
    fmt: Format | None = None,
    *,
    flags: FieldOrder | None = None,
    enough: int = 30,
    most: int = 200,
) -> FieldOrderReading:
    """The order of the fields in consecutive frames of the moving bar.

    `lumas` are arrays of (row, column) from 0 to 1; row 0 belongs to the top field. Levels may be off and noisy, the
    width scaled, all sides cut, frames repeated or missing. Reading ends after `enough` frames with the bar or `most`
    frames in all. `fmt`, what was played, tells how far a field's step should be; without it half of the step from
    frame to frame is taken.
    """
    bars: list[Bar | None] = []
    lines: int | None = None
    for luma in itertools.islice(lumas, most):
        lines = luma.shape[0]
        bars.append(look_at(luma).bar)
        if sum(bar is not None and bar.centre is not None for bar in bars) >= enough:
            break
    return _compared(_judge(bars, fmt), flags, fmt, lines)


def _compared(
    reading: FieldOrderReading, flags: FieldOrder | None, fmt: Format | None, lines: int | None
) -> FieldOrderReading:
    required = fmt.field_order if fmt is not None else None
    notes = list(reading.notes)
    interlaced = reading.state is FieldState.INTERLACED
    if fmt is not None and lines not in (None, fmt.height):
        notes.append(f"The frames have {lines} lines, {fmt.id} has {fmt.height}.")
    if interlaced and flags is FieldOrder.PROGRESSIVE:
        notes.append("The file does not say that its frames have two fields.")
    if interlaced and flags is reading.order and required not in (None, reading.order) and fmt is not None:
        notes.append(
            f"{_name(reading.order)}, as the file says; {fmt.id} has it the other way round. A player that goes by the"
            " file shows it right."
        )
    return replace(reading, flags=flags, required=required, notes=tuple(notes))


def field_fault(reading: FieldOrderReading) -> Fault | None:
    """The fault that a reading shows, or None when there is none or it cannot be told.

    The flags are what a player goes by: fields are swapped when they contradict the frames. Frames of the other order
    than the format's, with flags that say so, play right, as from a digital tape of 576i.
    """
    if reading.state in _MADE:
        if reading.required is FieldOrder.PROGRESSIVE or (
            reading.required is None and reading.state is not FieldState.BLENDED
        ):
            return None
        return _fault("deinterlaced", reading, _MADE[reading.state])
    # A file that says nothing of fields is held against the format.
    told = reading.flags if reading.flags in _ORDERS else reading.required
    if reading.state is not FieldState.INTERLACED or told not in _ORDERS or told is reading.order:
        return None
    who = "the file says" if told is reading.flags else "the format is"
    return _fault(
        "fields-swapped", reading, f"The frames are {_name(reading.order).lower()}, {who} {told.value} field first."
    )


_ORDERS = (FieldOrder.TOP, FieldOrder.BOTTOM)
_MADE = {
    FieldState.BLENDED: "Every line shows two moments, one over the other: the fields were mixed.",
    FieldState.ONE_FIELD: "All lines of a frame show one moment, and every second one is missing: one field of each"
    " frame was dropped and made up from the other.",
    FieldState.PROGRESSIVE: "All lines of a frame show one moment: each field was made a whole frame.",
}
"""What is seen where fields were made into something else."""


def _fault(id: str, reading: FieldOrderReading, seen: str) -> Fault:
    return Fault(id=id, confidence=reading.confidence, parameters={"way": reading.state.value}, seen=seen)


def _name(order: FieldOrder | None) -> str:
    return f"{order.value.capitalize()} field first" if order is not None else "Unknown"


def _judge(bars: Sequence[Bar | None], fmt: Format | None) -> FieldOrderReading:
    """What the bars of consecutive frames show; None stands for a frame without one."""
    seen = [bar for bar in bars if bar is not None and bar.edges]
    if len(seen) < 3:
        reason = f"the moving bar is seen in {len(seen)} of {len(bars)} frames, 3 are needed"
        return FieldOrderReading(reason=reason, frames=len(seen))
    if len({(bar.columns, len(bar.edges[0].by_row)) for bar in seen}) > 1:
        return FieldOrderReading(reason="the frames are not all of one size", frames=len(seen))
    widths = [bar.width for bar in seen if bar.width is not None]
    width = float(np.median(widths)) if widths else seen[0].columns / 8
    step = usual_step(bars, width)
    if step is None:
        return FieldOrderReading(reason="the bar does not move", frames=len(seen))
    nominal = _field_step(fmt, width) if fmt is not None and fmt.interlaced else None
    # Where most steps are of several frames, the frames between are missing.
    passed = 1 if nominal is None else max(1, round(abs(step) / (2 * nominal)))
    walk = Walk.of(bars, step / passed)
    fresh = walk.fresh
    if len(fresh) < 2:
        return FieldOrderReading(reason="too few frames differ", frames=len(fresh))
    field_step = walk.step / 2 if nominal is None else float(np.copysign(nominal, walk.step))
    apart = np.array([np.mean([edge.bottom - edge.top for edge in bar.edges]) for bar in fresh]) / field_step
    reading = FieldOrderReading(
        apart=float(apart.mean()),
        frames=len(fresh),
        repeated=walk.repeated,
        dropped=walk.dropped,
        notes=walk.notes(),
    )
    if _rows_are_mixed(fresh, abs(field_step)):
        reason = "the lines are no longer those of the fields: the height was scaled, or coding mixed them"
        return replace(reading, reason=reason)
    trust = len(fresh) / (len(fresh) + 1)
    double = _share_of_double(fresh, abs(walk.step))
    if double >= _MIXED:
        slope, uncertainty = walk.slope(None)
        blended = replace(reading, state=FieldState.BLENDED, confidence=double * trust)
        return replace(blended, step=slope, step_uncertainty=uncertainty)
    votes = [_vote(value) for value in apart]
    order = max(FieldOrder, key=votes.count)
    if votes.count(order) < _AGREE * len(votes):
        return replace(reading, reason=_disagreement(votes, apart, walk.indices))
    state = FieldState.PROGRESSIVE
    if order is not FieldOrder.PROGRESSIVE:
        state = FieldState.INTERLACED
    elif nominal is not None and abs(walk.step) > 1.5 * nominal:
        state = FieldState.ONE_FIELD
    weight = np.clip((1 - _MOMENT - np.abs(apart - _PLACES[order])) / (1 - _MOMENT - _EVEN), 0, 1)
    slope, uncertainty = walk.slope(order)
    return replace(
        reading,
        state=state,
        order=order,
        confidence=float(weight.mean()) * trust,
        step=slope,
        step_uncertainty=uncertainty,
    )


_PLACES = {FieldOrder.TOP: 1, FieldOrder.BOTTOM: -1, FieldOrder.PROGRESSIVE: 0}
_WORDS = {
    FieldOrder.TOP: "top field first",
    FieldOrder.BOTTOM: "bottom field first",
    FieldOrder.PROGRESSIVE: "of one moment",
    None: "neither",
}


def _vote(apart: float) -> FieldOrder | None:
    """What a frame shows whose fields are `apart`, in steps of a field; None when nothing fits."""
    if abs(apart) < _MOMENT:
        return FieldOrder.PROGRESSIVE
    if abs(apart) > _FARTHEST:
        return None
    return FieldOrder.TOP if apart > 0 else FieldOrder.BOTTOM


def _disagreement(votes: Sequence[FieldOrder | None], apart: Floats, indices: Sequence[int]) -> str:
    """Why the frames have no order in common; `votes` and `apart` are of the frames `indices`."""
    odd = [abs(value) for value, vote in zip(apart, votes, strict=True) if vote is None]
    if len(odd) >= _AGREE * len(votes):
        return f"the two fields of a frame are {np.median(odd):.2g} field times apart, which is no order of fields"
    words = [f"{n} {_WORDS[vote]}" for vote in _WORDS if (n := votes.count(vote))]
    reason = f"the frames do not agree: {', '.join(words)}"
    changes = [i for i in range(1, len(votes)) if votes[i] is not votes[i - 1]]
    if len(changes) == 1 and None not in votes:
        reason += f"; it changes at frame {indices[changes[0]]}"
    return reason


def _field_step(fmt: Format, width: float) -> float | None:
    """How far the bar moves in a field, in samples of a frame where it is `width` samples wide."""
    scene = PATTERNS["field-order"].scene(fmt)
    mover = next((shape for shape in scene.shapes if isinstance(shape, Mover)), None)
    if mover is None or not isinstance(mover.shape, Box) or scene.period is None:
        return None
    return width * float(mover.dx / (mover.shape.right - mover.shape.left) / (scene.period * fmt.field_rate))


def _rows_are_mixed(bars: Sequence[Bar], unit: float) -> bool:
    """Whether rows of one parity hold different moments.

    Each row is compared with the mean of its neighbours, sign by parity: with whole fields that is the same all over
    the picture, also where lines are bent or shake. Scaled rows make it come and go.
    """
    rows = np.array([np.mean([edge.by_row for edge in bar.edges], axis=0) for bar in bars])
    comb = rows[:, 1:-1] - (rows[:, :-2] + rows[:, 2:]) / 2
    comb *= np.where(np.arange(comb.shape[1]) % 2, 1, -1)
    comb = comb[:, np.isfinite(comb).all(axis=0)]
    count = len(comb)
    if count < 2 or comb.shape[1] < 8:
        return False
    mean = comb.mean(axis=0)
    chance = float(comb.var(axis=0, ddof=1).mean()) / count
    return float(mean.var()) - chance > (0.25 * unit) ** 2


_SHARES = np.array([0.3, 0.4, 0.5, 0.6, 0.7])
_APART = np.arange(0.35, 1.2, 0.05)
_SOFT = 0.5 * 1.3 ** np.arange(11)


def _share_of_double(bars: Sequence[Bar], step: float) -> float:
    """Share of the edges, 0 to 1, that are two edges one over the other; of long clips every few frames are tried."""
    chosen = bars[:: len(bars) // 12 + 1]
    return float(np.mean([found for bar in chosen for edge in bar.edges for found in _are_double(edge, step)]))


def _are_double(edge: Edge, step: float) -> tuple[bool, bool]:
    """Whether the edge in even and in odd rows is two edges, one over the other, up to a frame's step apart."""
    found = []
    for course in edge.course:
        centre = float(edge.at[-1] + 0.5 - course.sum())
        near = np.abs(edge.at - centre) <= max(step, 6.0)
        at, want = edge.at[near] - centre, course[near]
        single = np.abs(_rise(at[None, :] / _SOFT[:, None]) - want)
        one = float(np.sqrt((single**2).mean(axis=-1)).min())
        apart, share, soft = (part[..., None] for part in np.meshgrid(_APART * step, _SHARES, _SOFT, indexing="ij"))
        both = share * _rise((at + (1 - share) * apart) / soft) + (1 - share) * _rise((at - share * apart) / soft)
        two = float(np.sqrt(((both - want) ** 2).mean(axis=-1)).min())
        found.append(one > 0.02 and two < 0.5 * one)
    return found[0], found[1]


def _rise(distance: Floats) -> Floats:
    """A soft step from 0 to 1: the normal distribution's, to 0.0002 (a known approximation by tanh)."""
    rise: Floats = (1 + np.tanh(0.7978846 * (distance + 0.044715 * distance**3))) / 2
    return rise
