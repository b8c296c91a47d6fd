"""What only a whole clip can tell: its distinct frames, and the order of its fields.

The order is read from the moving bar of the pattern `field-order`: where its edges stand in the even and in the odd
rows of each frame, against how far it moves from frame to frame. Nothing is taken from the file's flags; they are
compared afterwards.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from patterns.catalogue import PATTERNS
from patterns.formats import FieldOrder, Format
from patterns.scene import Box, Mover
from render.decode import Picture, open_video

__all__ = [
    "DistinctFrame",
    "DistinctFrames",
    "FieldFault",
    "FieldOrderReading",
    "FieldState",
    "distinct_frames",
    "field_fault",
    "is_moving_bar",
    "luma_of",
    "read_field_order",
    "read_fields",
    "shows_moving_bar",
]

Floats = NDArray[np.floating[Any]]
Heard = Callable[[int, int | None], None]
"""Told (frames done, frames in all or None where the file does not say)."""


# --- Distinct frames --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class DistinctFrame:
    """A frame that no earlier frame of the file equals, counted from 0 among all."""

    index: int
    picture: Picture


@dataclass(slots=True)
class DistinctFrames:
    """The distinct frames of a file, to be gone through once. Only a digest of each is kept."""

    path: Path
    heard: Heard | None = None
    shown: int = 0
    """Frames so far."""
    times: dict[int, int] = field(default_factory=dict)
    """How often each distinct frame has been shown so far, by its index."""

    def __iter__(self) -> Iterator[DistinctFrame]:
        known: dict[bytes, int] = {}
        alike: list[int] = []
        before: Picture | None = None
        at = decoded = 0
        repeats: list[int] = []
        with open_video(self.path) as video:
            codec = video.codec
            for picture in video.pictures():
                index = self.shown
                if index == 0 and not video.is_still:
                    repeats = self._repeats(codec, picture.tags.frames)
                    decoded = len(repeats) - _tail(repeats)
                # Frames that stand still are the rule, and comparing is quicker than a digest.
                if before is None or not _same(before, picture):
                    at = known.setdefault(_digest(picture), index)
                before = picture
                alike.append(at)
                self._count(at)
                if at == index:
                    yield DistinctFrame(index=index, picture=picture)
                self._tell(picture.tags.frames or len(repeats) or None)
                if self.shown == decoded:
                    break
        if repeats and self.shown == decoded:
            for first in repeats[decoded:]:
                self._count(alike[first])
            self._tell(len(repeats))

    def _count(self, at: int) -> None:
        self.shown += 1
        self.times[at] = self.times.get(at, 0) + 1

    def _tell(self, total: int | None) -> None:
        if self.heard is not None:
            self.heard(self.shown, total)

    def _repeats(self, codec: str, total: int | None) -> list[int]:
        """For each frame the first one that is coded with the same bytes; empty where that cannot be told.

        A group of frames, from one where decoding can start to the next, decodes to the same pictures when its bytes
        and those of the group before are the same. A clip of a still pattern repeats one group for all its length.
        """
        if codec not in _WHOLE_PACKETS or (total is None and codec != "ffv1") or (total or 0) > _MOST_PACKETS:
            return []
        known: dict[bytes, Fraction] = {}
        coded: dict[Fraction, Fraction] = {}
        group, last = hashlib.blake2b(digest_size=16), b""
        count = 0
        with open_video(self.path) as video:
            for packet, time, can_start in video.packets():
                if can_start:
                    last, group = group.digest(), hashlib.blake2b(digest_size=16)
                group.update(len(packet).to_bytes(8, "big"))
                group.update(packet)
                coded[time] = known.setdefault(last + group.digest(), time)
                count += 1
                if self.heard is not None:
                    self.heard(0, total)
        if count != len(coded) or total not in (None, count):
            return []
        place = {time: index for index, time in enumerate(sorted(coded))}
        return [place[coded[time]] for time in sorted(coded)]


_WHOLE_PACKETS = ("h264", "ffv1", "prores", "v210", "mjpeg")
"""Decoders whose packets are whole frames, and whose word for where decoding can start is their own."""

_MOST_PACKETS = 100_000
"""Half an hour at 60 frames a second; what is kept of each packet is some hundred bytes."""


def _tail(repeats: Sequence[int]) -> int:
    """How many frames at the end are repeats, one after the other."""
    return next((i for i, index in enumerate(reversed(range(len(repeats)))) if repeats[index] == index), 0)


def distinct_frames(path: Path, heard: Heard | None = None) -> DistinctFrames:
    """Every distinct frame of a picture or video file in order, each decoded when it is asked for.

    Frames are one when all their codes are equal. `heard` is called after each frame, with the frames done and how many
    there are (None where the file does not say); what it raises ends the reading. Going through the result raises
    FileError as `VideoFile.pictures` does. What is coded with the same bytes as before is not decoded again.
    """
    return DistinctFrames(path, heard)


def _same(first: Picture, second: Picture) -> bool:
    return all(np.array_equal(a, b) for a, b in zip(first.planes, second.planes, strict=True))


def _digest(picture: Picture) -> bytes:
    state = hashlib.blake2b(digest_size=16)
    for plane in picture.planes:
        state.update(repr((plane.shape, plane.dtype.str)).encode())
        state.update(np.ascontiguousarray(plane).data)
    return state.digest()


# --- The order of the fields ------------------------------------------------------------------------------------


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

    state: FieldState
    order: FieldOrder | None
    """None when blended or unknown."""
    reason: str | None
    """Why it is unknown."""
    confidence: float
    """0 to 1: how many frames agree, and how closely; 0 when unknown."""
    step: float | None
    """Samples of the frame that the bar moves between fields when interlaced, else between frames."""
    step_uncertainty: float | None
    """Standard uncertainty of `step`, from the scatter about even motion."""
    apart: float | None
    """Mean distance of the two fields in a frame, in steps of a field: 1 top first, -1 bottom first, 0 one moment."""
    frames: int
    """Frames that took part."""
    repeated: int
    """Frames on which the bar stood still."""
    dropped: int
    """Frames that are missing between the ones looked at."""
    flags: FieldOrder | None
    """What the file says; PROGRESSIVE also when it says nothing of fields. None when not asked."""
    required: FieldOrder | None
    """What the format has; None when it was not given."""
    notes: tuple[str, ...] = ()

    @property
    def agrees_with_flags(self) -> bool | None:
        """Whether the file says what its frames show; None when one of the two is not known."""
        return None if self.order is None or self.flags is None else self.order is self.flags

    @property
    def agrees_with_format(self) -> bool | None:
        """Whether the frames show what the format has; None when one of the two is not known."""
        return None if self.order is None or self.required is None else self.order is self.required


@dataclass(frozen=True, slots=True, kw_only=True)
class FieldFault:
    """A fault in the terms of the design, section 8."""

    id: str
    confidence: float
    explanation: str
    remedy: str


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
_STILL = 0.25
"""Share of the usual step below which a frame is a repeat."""
_FAINTEST = 0.04
"""Least height of the bar, as a share of the codes; drawn, it is 0.43 in narrow and 0.5 in full range."""


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


def luma_of(picture: Picture) -> Floats:
    """Luma as (row, column), 1 being the depth's greatest code; of R'G'B' the mean, as the bar is grey."""
    planes, tags = picture.planes, picture.tags
    scale = np.float32((1 << tags.bits) - 1)
    if not tags.sampling.is_rgb:
        return planes[0].astype(np.float32) / scale
    total: Floats = planes[0].astype(np.float32)
    for plane in planes[1:]:
        total += plane
    return total / (3 * scale)


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
    bars: list[_Bar | None] = []
    lines: int | None = None
    for luma in itertools.islice(lumas, most):
        lines = luma.shape[0]
        bars.append(_look(luma).bar)
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


def field_fault(reading: FieldOrderReading, *, believe_flags: bool = True) -> FieldFault | None:
    """The fault that a reading shows, or None when there is none or it cannot be told.

    The flags are what a player goes by: fields are swapped when they contradict the frames. Frames of the other order
    than the format's, with flags that say so, play right, as from a digital tape of 576i; they are a fault only if
    `believe_flags` is false.
    """
    if reading.state in (FieldState.BLENDED, FieldState.ONE_FIELD, FieldState.PROGRESSIVE):
        if reading.required is FieldOrder.PROGRESSIVE or (
            reading.required is None and reading.state is not FieldState.BLENDED
        ):
            return None
        what = {
            FieldState.BLENDED: "Every line shows two moments, one over the other: the fields were mixed.",
            FieldState.ONE_FIELD: "All lines of a frame show one moment, and every second one is missing: one field of"
            " each frame was dropped and made up from the other.",
            FieldState.PROGRESSIVE: "All lines of a frame show one moment: each field was made a whole frame.",
        }[reading.state]
        remedy = "Switch deinterlacing off in the player and in the capture, and keep the format's own lines and rate."
        return FieldFault(id="deinterlaced", confidence=reading.confidence, explanation=what, remedy=remedy)
    if reading.state is not FieldState.INTERLACED:
        return None
    told = reading.flags if reading.flags is not FieldOrder.PROGRESSIVE else None
    if told is not None and told is not reading.order:
        right = reading.agrees_with_format
        what = f"The frames are {_name(reading.order).lower()}, the file says {told.value} field first."
        remedy = (
            "Correct the file's word for its field order."
            if right
            else "Set the field order of the player or the converter right; in a file, swap the fields or its word."
        )
        return FieldFault(id="fields-swapped", confidence=reading.confidence, explanation=what, remedy=remedy)
    if (told is None or not believe_flags) and reading.required in (FieldOrder.TOP, FieldOrder.BOTTOM):
        if reading.order is reading.required:
            return None
        what = f"The frames are {_name(reading.order).lower()}, the format is {reading.required.value} field first."
        remedy = "Set the field order of the player, the converter or the capture to the format's."
        return FieldFault(id="fields-swapped", confidence=reading.confidence, explanation=what, remedy=remedy)
    return None


def _name(order: FieldOrder | None) -> str:
    return f"{order.value.capitalize()} field first" if order is not None else "Unknown"


# --- Finding the bar --------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Edge:
    """One edge of the bar: where it is, in samples, in even and odd rows, and its course there."""

    top: float
    bottom: float
    by_row: Floats
    """(rows,) position in each row of the frame; NaN where the bar is not."""
    course: Floats
    """(2, samples) from 0 outside to 1 inside, for even and odd rows, against `at`."""
    at: Floats
    """(samples,) distance of the sample centres from the edge, growing toward the inside."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Bar:
    """The bar in one frame. An edge is None where it cannot be measured: outside, or too near the frame's side."""

    left: _Edge | None
    right: _Edge | None
    width: float | None
    """Samples, when both edges are inside."""
    columns: int
    upright: bool
    """Whether both edges stand upright."""

    @property
    def edges(self) -> tuple[_Edge, ...]:
        return tuple(edge for edge in (self.left, self.right) if edge is not None)

    @property
    def centre(self) -> float | None:
        """Mean of what can be measured, or None."""
        return float(np.mean([(edge.top + edge.bottom) / 2 for edge in self.edges])) if self.edges else None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Look:
    """What is in a frame: a bar, nothing, or something else."""

    bar: _Bar | None = None
    dark: bool = False


def _look(luma: Floats) -> _Look:
    """Find one upright bar over the height of a frame that is black otherwise."""
    rows, columns = luma.shape
    if rows < 16 or columns < 64:
        return _Look()
    profile = luma.mean(axis=0, dtype=np.float64)
    ground = float(np.median(profile))
    smooth = _smoothed(profile, max(3, columns // 80))
    height = float(smooth.max()) - ground
    if height < _FAINTEST:
        return _Look(dark=_is_dark(luma, profile, ground))
    inside = smooth > ground + height / 2
    start = stop = int(np.argmax(smooth))
    while start > 0 and inside[start - 1]:
        start -= 1
    while stop < columns and inside[stop]:
        stop += 1
    reach = 0.025 * columns + 2
    width = stop - start
    whole = start > 0 and stop < columns
    if width > 0.25 * columns or (whole and width < 0.05 * columns):
        return _Look()
    outside = np.ones(columns, bool)
    outside[max(0, int(start - 2 * reach)) : int(stop + 2 * reach)] = False
    if outside.any() and float(np.abs(profile[outside] - ground).max()) > 0.2 * height:
        return _Look()
    if not whole and width < 3 * reach:
        return _Look(bar=_Bar(left=None, right=None, width=None, columns=columns, upright=True))
    quarter = width // 4
    level = luma[:, start + quarter : stop - quarter].mean(axis=1, dtype=np.float64) - ground
    lit = np.flatnonzero(level > np.percentile(level, 80) / 2)
    first, last = int(lit[0]), int(lit[-1]) + 1
    if last - first < 0.6 * rows or len(lit) < 0.95 * (last - first):
        return _Look()
    lines = luma[first:last]
    fields = np.stack([lines[(first + f) % 2 :: 2].mean(axis=0, dtype=np.float64) for f in (0, 1)])
    left = _edge(lines, fields, first, rows, start, stop - start, reach)
    # The right edge is the left one of the mirrored frame.
    right = _edge(lines[:, ::-1], fields[:, ::-1], first, rows, columns - stop, stop - start, reach)
    if right is not None:
        right = _Edge(
            top=columns - right.top,
            bottom=columns - right.bottom,
            by_row=columns - right.by_row,
            course=right.course,
            at=right.at,
        )
    measured = [edge for edge in (left, right) if edge is not None]
    spread = 0.15 * columns / 8
    upright = all(
        abs(float(np.nanmean(edge.by_row[: (first + last) // 2]) - np.nanmean(edge.by_row[(first + last) // 2 :])))
        < spread
        for edge in measured
    )
    across = None
    if left is not None and right is not None:
        across = (right.top + right.bottom - left.top - left.bottom) / 2
    return _Look(bar=_Bar(left=left, right=right, width=across, columns=columns, upright=upright))


def _is_dark(luma: Floats, profile: Floats, ground: float) -> bool:
    """Whether there is nothing, as long as the bar is outside; at the sides it may begin to show."""
    side = len(profile) // 40
    across, down = profile[side : len(profile) - side], luma.mean(axis=1, dtype=np.float64)
    flat = all(float(np.abs(part - np.median(part)).max()) < 1.5 * _FAINTEST for part in (across, down))
    return flat and ground < 0.3 and float(np.std(luma[:: max(1, len(luma) // 64)])) < 2 * _FAINTEST


def _smoothed(profile: Floats, length: int) -> Floats:
    length |= 1
    padded = np.pad(profile, length // 2, mode="edge")
    total: Floats = np.convolve(padded, np.full(length, 1 / length), mode="valid")
    return total


def _edge(lines: Floats, fields: Floats, first: int, rows: int, start: int, width: int, reach: float) -> _Edge | None:
    """The rising edge near column `start`, or None when there is not enough on both sides of it.

    Its position is where a sharp step of the same area would be. That is the same for any softness and for edges one
    over the other it is their mean.
    """
    near = round(reach)
    low, high = start - near, start + near
    if low - near // 2 < 0 or width < 3 * near:
        return None
    ground = fields[:, max(0, low - near) : low].mean(axis=1)
    level = fields[:, high : high + near].mean(axis=1)
    span = level - ground
    if (span <= 0).any():
        return None
    course = (fields[:, low:high] - ground[:, None]) / span[:, None]
    top, bottom = (float(high - part.sum()) for part in course)
    by_row = np.full(rows, np.nan)
    part = lines[:, low:high].sum(axis=1, dtype=np.float64) - (high - low) * float(ground.mean())
    by_row[first : first + len(lines)] = high - part / float(span.mean())
    at = np.arange(low, high) + 0.5 - (top + bottom) / 2
    return _Edge(top=top, bottom=bottom, by_row=by_row, course=course, at=at)


# --- Judging ----------------------------------------------------------------------------------------------------


def _judge(bars: Sequence[_Bar | None], fmt: Format | None) -> FieldOrderReading:
    """All that follows from the bars of consecutive frames; None stands for a frame without one."""
    seen = [bar for bar in bars if bar is not None and bar.edges]
    if len(seen) < 3:
        return _unknown(f"the moving bar is seen in {len(seen)} of {len(bars)} frames, 3 are needed", len(seen))
    if len({(bar.columns, len(bar.edges[0].by_row)) for bar in seen}) > 1:
        return _unknown("the frames are not all of one size", len(seen))
    widths = [bar.width for bar in seen if bar.width is not None]
    width = float(np.median(widths)) if widths else seen[0].columns / 8
    step = _usual_step(bars, width)
    if step is None:
        return _unknown("the bar does not move", len(seen))
    walk = _Walk.of(bars, step)
    nominal = _field_step(fmt, width) if fmt is not None and fmt.interlaced else None
    if nominal is not None and (passed := round(abs(step) / (2 * nominal))) > 1:
        # Most steps are of several frames: all others between are missing.
        walk = _Walk.of(bars, step / passed)
    unit = float(np.copysign(nominal, walk.step)) if nominal is not None else walk.step / 2
    fresh = walk.fresh
    apart = np.array([np.mean([edge.bottom - edge.top for edge in bar.edges]) for bar in fresh]) / unit
    notes = walk.notes()
    shared: dict[str, Any] = {
        "apart": float(apart.mean()),
        "frames": len(fresh),
        "repeated": walk.repeated,
        "dropped": walk.dropped,
        "notes": notes,
    }
    if len(fresh) < 2:
        return _unknown("too few frames differ", len(fresh))
    if _rows_are_mixed(fresh, abs(unit)):
        reason = "the lines are no longer those of the fields: the height was scaled, or coding mixed them"
        return _unknown(reason, **shared)
    chosen = fresh[:: len(fresh) // 12 + 1]
    double = [found for bar in chosen for edge in bar.edges for found in _are_double(edge, abs(walk.step))]
    share = float(np.mean(double))
    trust = len(fresh) / (len(fresh) + 1)
    if share >= _MIXED:
        slope, doubt = walk.slope(None)
        return _reading(
            state=FieldState.BLENDED,
            order=None,
            confidence=share * trust,
            step=slope,
            step_uncertainty=doubt,
            **shared,
        )
    votes = [_vote(value) for value in apart]
    order = max(FieldOrder, key=votes.count)
    if votes.count(order) < _AGREE * len(votes):
        odd = [abs(value) for value, vote in zip(apart, votes, strict=True) if vote is None]
        if len(odd) >= _AGREE * len(votes):
            reason = (
                f"the two fields of a frame are {np.median(odd):.2g} field times apart, which is no order of fields"
            )
        else:
            words = [f"{n} {_WORDS[vote]}" for vote in _WORDS if (n := votes.count(vote))]
            reason = f"the frames do not agree: {', '.join(words)}"
            changes = [i for i in range(1, len(votes)) if votes[i] is not votes[i - 1]]
            if len(changes) == 1 and None not in votes:
                reason += f"; it changes at frame {walk.indices[changes[0]]}"
        return _unknown(reason, **shared)
    winner = _PLACES[order]
    weight = np.clip((1 - _MOMENT - np.abs(apart - winner)) / (1 - _MOMENT - _EVEN), 0, 1)
    slope, doubt = walk.slope(order)
    state = FieldState.INTERLACED if winner else FieldState.PROGRESSIVE
    if not winner and nominal is not None and abs(walk.step) > 1.5 * nominal:
        state = FieldState.ONE_FIELD
    return _reading(
        state=state,
        order=order,
        confidence=float(weight.mean()) * trust,
        step=slope,
        step_uncertainty=doubt,
        **shared,
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


def _reading(**values: Any) -> FieldOrderReading:
    return FieldOrderReading(**{"reason": None, "flags": None, "required": None, **values})


def _unknown(reason: str, frames: int = 0, **values: Any) -> FieldOrderReading:
    nothing: dict[str, Any] = {"apart": None, "repeated": 0, "dropped": 0, "frames": frames}
    return FieldOrderReading(
        **{**nothing, **values},
        state=FieldState.UNKNOWN,
        order=None,
        reason=reason,
        confidence=0.0,
        step=None,
        step_uncertainty=None,
        flags=None,
        required=None,
    )


def _field_step(fmt: Format, width: float) -> float | None:
    """How far the bar moves in a field, in samples of a frame where it is `width` samples wide."""
    scene = PATTERNS["field-order"].scene(fmt)
    mover = next((shape for shape in scene.shapes if isinstance(shape, Mover)), None)
    if mover is None or not isinstance(mover.shape, Box) or scene.period is None:
        return None
    return width * float(mover.dx / (mover.shape.right - mover.shape.left) / (scene.period * fmt.field_rate))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Walk:
    """The way of the bar through the frames."""

    step: float
    """Samples from frame to frame, with sign, as most frames have it."""
    runs: tuple[tuple[tuple[int, _Bar], ...], ...]
    """Runs of frames without a jump back: (frames passed since the run began, bar), without repeats."""
    indices: tuple[int, ...]
    """Which frames those are, counted from 0."""
    repeated: int
    dropped: int

    @classmethod
    def of(cls, bars: Sequence[_Bar | None], step: float) -> _Walk:
        """With `step` samples from frame to frame, sign included."""
        runs: list[list[tuple[int, _Bar]]] = []
        repeated = dropped = 0
        before: _Bar | None = None
        indices: list[int] = []
        for index, bar in enumerate(bars):
            moved = _moved(before, bar) if before is not None and bar is not None else None
            count = None if moved is None else moved / step
            if bar is not None and bar.edges:
                if count is None or not -_STILL < count < 8:
                    runs.append([(0, bar)])
                    indices.append(index)
                elif count < _STILL:
                    repeated += 1
                else:
                    passed = max(1, round(count))
                    dropped += passed - 1
                    runs[-1].append((runs[-1][-1][0] + passed, bar))
                    indices.append(index)
            before = bar
        return cls(step=step, runs=tuple(map(tuple, runs)), indices=tuple(indices), repeated=repeated, dropped=dropped)

    @property
    def fresh(self) -> list[_Bar]:
        """Every bar that is not a repeat."""
        return [bar for run in self.runs for _, bar in run]

    def notes(self) -> tuple[str, ...]:
        found = []
        if self.step < 0:
            found.append("The bar moves to the left: the picture is mirrored, or the clip runs backwards.")
        if self.repeated:
            found.append(
                f"{self.repeated} {'frame repeats' if self.repeated == 1 else 'frames repeat'} the one before."
            )
        if self.dropped:
            found.append(f"{self.dropped} {'frame is' if self.dropped == 1 else 'frames are'} missing.")
        return tuple(found)

    def slope(self, order: FieldOrder | None) -> tuple[float | None, float | None]:
        """Samples between two moments and its standard uncertainty, by least squares with a start of its own for each
        run and edge; between fields if `order` has any.
        """
        times: list[Floats] = []
        places: list[Floats] = []
        interlaced = order in (FieldOrder.TOP, FieldOrder.BOTTOM)
        freedom = -1
        for run in self.runs:
            # Both edges are drawn on the same boundaries, so the second one tells nothing of its own.
            for side in (("left", "right"), ("left",), ("right",)):
                part = [(t, bar) for t, bar in run if tuple(_sides(bar)) == side]
                if len(part) < 2:
                    continue
                points = []
                for t, bar in part:
                    top, bottom = (float(np.mean([getattr(e, f) for e in bar.edges])) for f in ("top", "bottom"))
                    if interlaced:
                        late = order is FieldOrder.BOTTOM
                        points += [(2 * t + late, top), (2 * t + (not late), bottom)]
                    else:
                        points.append((t, (top + bottom) / 2))
                when, where = np.array(points, np.float64).T
                times.append(when - when.mean())
                places.append(where - where.mean())
                freedom += len(points) - 1
        if freedom < 1:
            return self.step / (2 if interlaced else 1), None
        when, where = np.concatenate(times), np.concatenate(places)
        weight = float(when @ when)
        slope = float(when @ where) / weight
        rest = where - slope * when
        return slope, float(np.sqrt(rest @ rest / freedom / weight))


def _usual_step(bars: Sequence[_Bar | None], width: float) -> float | None:
    """Median of the steps from frame to frame, repeats left out; None when nothing moves."""
    moves = [_moved(a, b) for a, b in itertools.pairwise(bars) if a is not None and b is not None]
    moving = [moved for moved in moves if moved is not None and 0.01 * width < abs(moved) < 1.5 * width]
    return float(np.median(moving)) if moving else None


def _sides(bar: _Bar) -> Iterator[str]:
    if bar.left is not None:
        yield "left"
    if bar.right is not None:
        yield "right"


def _moved(before: _Bar, after: _Bar) -> float | None:
    """How far the bar went, by the edges that both frames show; None when there is no such edge."""
    ways = [
        (b.top + b.bottom - a.top - a.bottom) / 2
        for a, b in ((before.left, after.left), (before.right, after.right))
        if a is not None and b is not None
    ]
    return float(np.mean(ways)) if ways else None


def _rows_are_mixed(bars: Sequence[_Bar], unit: float) -> bool:
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


def _are_double(edge: _Edge, step: float) -> tuple[bool, bool]:
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


# --- Knowing the pattern ----------------------------------------------------------------------------------------


def is_moving_bar(lumas: Iterable[Floats], *, most: int = 60) -> bool:
    """Whether consecutive frames are those of the pattern `field-order`: one upright bar that moves over black.

    It stops at the first frame with anything else, at the second with the bar in another place, or after `most`
    frames; `lumas` are as for `read_fields`.
    """
    first: _Bar | None = None
    for luma in itertools.islice(lumas, most):
        look = _look(luma)
        if look.bar is None:
            if not look.dark:
                return False
            continue
        if not look.bar.upright:
            return False
        if not look.bar.edges:
            continue
        if first is None:
            first = look.bar
            continue
        moved = _moved(first, look.bar)
        if moved is not None and abs(moved) > 0.01 * look.bar.columns / 8:
            return True
    return False


def shows_moving_bar(path: Path) -> bool:
    """Whether the clip is one of the pattern `field-order`, by its pictures alone. Of most others it reads one frame.

    Raises:
        FileError: the file cannot be read.
    """
    with open_video(path) as video:
        return not video.is_still and is_moving_bar(luma_of(picture) for picture in video.pictures())
