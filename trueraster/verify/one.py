"""What `verify` finds in one file: in one of its frames, in all of them, or in the order of its fields."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.answer import Answer
from analysis.frame.answer import fields_answer, frame_answer, other_answer
from analysis.frame.findings import Examination, OtherPatternError
from analysis.frame.levels import Frame
from trueraster.errors import UsageError
from trueraster.options.frame import Played, Task, task_of

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["Heard", "OtherShownError", "Request", "Verified", "marked", "thumbnail", "verify_file"]

Heard = Callable[[int, int | None], None]
"""Gets the frames that are done, and all frames where their number is known."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What is asked of a file."""

    played: Played
    frame: int | None = None
    """The frame, counted from 0; None for the first one."""
    every: bool = False
    """Every distinct frame, of which the worst is shown."""
    marks: bool = False
    """Whether a picture of the frame with its patches is wanted."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A frame's examination, and where all are looked at what there is to say of the others."""

    frame: Frame
    examination: Examination
    frames: Mapping[str, Any] | None = None
    passed_all: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """What was found in a file."""

    answer: Answer
    passed: bool
    task: Task
    seen: Seen | None
    """The frame that the answer is about; None for the order of a clip's fields."""


class OtherShownError(UsageError):
    """The file shows another pattern than it should, or none; `answer` has what is known."""

    def __init__(self, line: str, answer: Answer) -> None:
        super().__init__(line)
        self.answer = answer


def verify_file(file: Path, request: Request, heard: Heard = lambda done, total: None) -> Verified:
    """Look at one file.

    Args:
        file: a picture or a clip.
        request: what is asked.
        heard: is called after each frame of a clip of which several are read.

    Raises:
        UsageError: an option cannot be meant, or nothing of what was played can be measured; one line.
        OtherShownError: it shows another pattern, or none.
        FileError: it cannot be read.
    """
    task = task_of(file, request.frame or 0, request.played)
    if task.is_clip_of_fields:
        return _field_order(task, request, heard)
    try:
        seen = _every(task, heard) if request.every else Seen(task.frame, task.examine(task.frame))
    except OtherPatternError as error:
        answer = other_answer(error, task.pattern, task.format, task.signal)
        raise OtherShownError(f"{file}: {error}{_hint(error)}", answer) from error
    return Verified(
        answer=frame_answer(seen.examination, seen.frame, task.pattern, task.format, seen.frames),
        passed=seen.examination.passed and seen.passed_all,
        task=task,
        seen=seen,
    )


def _hint(error: OtherPatternError) -> str:
    if error.turned:
        return "; a mirror or flip setting in player, converter or capture does that"
    return f"; give --pattern {error.found} if that was played" if error.found else ""


def _every(task: Task, heard: Heard) -> Seen:
    """Every distinct frame of the file; the worst is kept."""
    # One frame does without it: 10 ms.
    from analysis.frame.distinct import distinct_frames

    worst: tuple[tuple[int, float], Seen] | None = None
    failed: list[int] = []
    seen: list[int] = []
    without: list[int] = []
    other: OtherPatternError | None = None
    frames = distinct_frames(task.frame.path, heard)
    for one in frames:
        frame = replace(task.frame, index=one.index, picture=one.picture)
        try:
            found = task.examine(frame)
        except OtherPatternError as error:
            without.append(one.index)
            other = error
            continue
        if not found.passed:
            failed.append(one.index)
        if worst is None or found.worst > worst[0]:
            worst = found.worst, Seen(frame, found)
        seen.append(one.index)
    if worst is None:
        assert other is not None
        raise other
    # A capture may begin before the pattern is up and end after it; a frame of something else between is a fault.
    failed = sorted(failed + [index for index in without if seen[0] < index < seen[-1]])
    counts = {
        "shown": frames.shown,
        "distinct": len(frames.times),
        "worst": worst[1].frame.index,
        "failed": failed,
        "without_pattern": without,
    }
    return replace(worst[1], frames=counts, passed_all=not failed)


_MOST_FRAMES = 3000
"""Frames of a clip that `--all` reads for the order of fields: what is kept of each is 20 kB."""


def _field_order(task: Task, request: Request, heard: Heard) -> Verified:
    """The order of fields, from the moving bar of a clip."""
    # Single frames do without it: 15 ms.
    from analysis.frame.fields.order import FieldState, field_fault, read_field_order

    typed = {
        "--picture": request.marks,
        "--frame": request.frame is not None,
        "--tolerance": task.tolerance is not None,
    }
    for name, is_typed in typed.items():
        if is_typed:
            raise UsageError(f"{name}: a clip of field-order is read as a whole, for the order of its fields only")
    more = {"enough": _MOST_FRAMES, "most": _MOST_FRAMES} if request.every else {}
    reading = read_field_order(task.frame.path, task.format, heard=heard, **more)
    if reading.state is FieldState.UNKNOWN:
        raise UsageError(f"{task.frame.path}: {reading.reason}")
    fault = field_fault(reading)
    answer = fields_answer(reading, fault, task.frame, task.pattern, task.format, task.signal)
    return Verified(answer=answer, passed=fault is None, task=task, seen=None)


def marked(verified: Verified) -> Image.Image | None:
    """The frame with its patches outlined, R'G'B'; None for the order of fields."""
    # Without a picture nothing is drawn: 60 ms.
    from analysis.frame.picture.content import heading_of, marks_of, notes_of
    from analysis.frame.picture.marked import marked_picture

    if verified.seen is None:
        return None
    seen, task = verified.seen, verified.task
    found = seen.examination
    return marked_picture(
        seen.frame.picture,
        found.check.signal,
        marks_of(found),
        heading_of(found, seen.frame, task.pattern, task.format),
        notes_of(found),
        sample_aspect=_sample_aspect(verified.task, seen),
    )


def thumbnail(verified: Verified, width: int) -> Image.Image | None:
    """The frame alone as people see it, R'G'B', `width` samples wide; None for the order of fields."""
    # As above.
    from analysis.frame.picture.shown import enlarged, shown_frame, shown_size

    if verified.seen is None:
        return None
    seen = verified.seen
    rows, columns = seen.frame.picture.planes[0].shape
    size = shown_size(columns, rows, _sample_aspect(verified.task, seen))
    shown = enlarged(shown_frame(seen.frame.picture, seen.examination.check.signal), size)
    return shown.resize((width, max(1, round(width * size[1] / size[0]))))


def _sample_aspect(task: Task, seen: Seen) -> Fraction:
    """Width over height of the capture's samples, whose raster may be scaled."""
    place = seen.examination.check.registration
    return task.format.sample_aspect * _ratio(place.y.nominal) / _ratio(place.x.nominal)


def _ratio(value: float) -> Fraction:
    return Fraction(value).limit_denominator(10_000)
