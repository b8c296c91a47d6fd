"""`verify`: whether the levels of a frame are the standard's, and if not, what was done to them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import click

from analysis.frame.answer import fields_answer, frame_answer, other_answer
from analysis.frame.findings import Examination, OtherPatternError
from analysis.frame.levels import Frame
from trueraster import interrupt
from trueraster.errors import UsageError
from trueraster.options.frame import Played, Task, task_of
from trueraster.options.shared import as_json_option, pattern_options
from trueraster.output.answers import put_answer
from trueraster.output.files import Targets, targets_of
from trueraster.output.json import answer_json
from trueraster.output.terminal import progress, put_json

__all__ = ["verify"]


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--pattern", "-p", help="What is shown.  [default: the file's word; else it is recognised]")
@click.option("--format", "-f", "fmt", help="Format that was played.  [default: the file's word or size]")
@click.option("--aspect", help="Picture aspect: 4:3 or 16:9.")
@click.option("--range", "code_range", help="narrow or full.  [default: the file's word; else R'G'B' full]")
@click.option("--matrix", help="601 or 709.  [default: the file's word; else by the format]")
@click.option(
    "--tolerance", help="Largest error that passes: codes of 8 bits, or 2%.  [default: 2%, and nothing named]"
)
@click.option("--frame", type=int, help="Frame of a video file, counted from 0.  [default: 0]")
@click.option("--all", "every", is_flag=True, help="Every distinct frame of a video file; the worst is shown.")
@click.option("--picture", type=click.Path(path_type=Path), metavar="OUT.png", help="Write the frame with marks.")
@pattern_options
@as_json_option
def verify(
    file: Path,
    pattern: str | None,
    fmt: str | None,
    aspect: str | None,
    code_range: str | None,
    matrix: str | None,
    tolerance: str | None,
    frame: int | None,
    every: bool,
    picture: Path | None,
    as_json: bool,
    **typed: str | None,
) -> int:
    """Measure the levels of a captured or drawn frame, and name what a chain did to them.

    The pattern is found in the frame wherever it is, scaled, cropped or moved. Every patch is read in the file's own
    codes and compared with the standard's; exit 0 if it is exact (within a code of 8 bits) or good for service (within
    2 % and no fault named), 1 if not; a stated --tolerance decides instead. The pattern's own options are those that it
    was drawn with.

    A file made by 'draw' needs no options, but for y4m and mpeg2, which cannot say what they show (of a 16:9 picture
    --aspect, if anything), and own patterns, whose TOML file is needed. A capture needs its format where the size does
    not show it. For a clip of the pattern 'field-order' the order of its fields is reported.
    """
    if frame is not None and every:
        raise UsageError("--frame and --all: one frame or all of them, not both")
    targets_of(Targets(picture=picture), [file])
    played = Played(
        pattern=pattern,
        format=fmt,
        aspect=aspect,
        code_range=code_range,
        matrix=matrix,
        tolerance=tolerance,
        options=typed,
    )
    task = task_of(file, frame or 0, played)
    if task.is_clip_of_fields:
        for name, value in (("--picture", picture), ("--frame", frame), ("--tolerance", tolerance)):
            if value is not None:
                raise UsageError(f"{name}: a clip of field-order is read as a whole, for the order of its fields only")
        return _field_order(task, every, as_json)
    try:
        seen = _every(task, as_json) if every else _Seen(task.frame, task.examine(task.frame))
    except OtherPatternError as error:
        if as_json:
            put_json(answer_json(other_answer(error, task.pattern, task.format, task.signal)))
        raise UsageError(f"{file}: {error}{_hint(error)}") from error
    if picture is not None:
        _mark(picture, seen, task)
    put_answer(frame_answer(seen.examination, seen.frame, task.pattern, task.format, seen.frames), as_json=as_json)
    return 0 if seen.passed else 1


@dataclass(frozen=True, slots=True)
class _Seen:
    """A frame's examination, and with `--all` what there is to say of the others."""

    frame: Frame
    examination: Examination
    frames: Mapping[str, Any] | None = None
    passed_all: bool = True

    @property
    def passed(self) -> bool:
        return self.examination.passed and self.passed_all


def _hint(error: OtherPatternError) -> str:
    if error.turned:
        return "; a mirror or flip setting in player, converter or capture does that"
    return f"; give --pattern {error.found} if that was played" if error.found else ""


@contextmanager
def _counting(title: str, *, quiet: bool) -> Iterator[Callable[[int, int | None], None]]:
    """A bar that is given the frames done and all frames, as far as these are known."""
    with progress(title, quiet=quiet) as tell:

        def heard(done: int, total: int | None) -> None:
            interrupt.check()
            tell(f"frame {done}", done / total if total else 0.0)

        yield heard


def _every(task: Task, quiet: bool) -> _Seen:
    """Every distinct frame of the file; the worst is kept."""
    # One frame does without it: 10 ms.
    from analysis.frame.distinct import distinct_frames

    worst: tuple[tuple[int, float], _Seen] | None = None
    failed: list[int] = []
    seen: list[int] = []
    without: list[int] = []
    other: OtherPatternError | None = None
    with _counting("measuring", quiet=quiet) as heard:
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
                worst = found.worst, _Seen(frame, found)
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


def _field_order(task: Task, every: bool, as_json: bool) -> int:
    """The order of fields, from the moving bar of a clip."""
    # Single frames do without it: 15 ms.
    from analysis.frame.fields.order import FieldState, field_fault, read_field_order

    with _counting("reading", quiet=as_json) as heard:
        more = {"enough": _MOST_FRAMES, "most": _MOST_FRAMES} if every else {}
        reading = read_field_order(task.frame.path, task.format, heard=heard, **more)
    if reading.state is FieldState.UNKNOWN:
        raise UsageError(f"{task.frame.path}: {reading.reason}")
    fault = field_fault(reading)
    answer = fields_answer(reading, fault, task.frame, task.pattern, task.format, task.signal)
    put_answer(answer, as_json=as_json)
    return 0 if fault is None else 1


def _mark(path: Path, seen: _Seen, task: Task) -> None:
    """Write the frame with its patches outlined."""
    # Without --picture nothing is drawn: 60 ms.
    from analysis.frame.picture.content import heading_of, marks_of, notes_of
    from analysis.frame.picture.marked import marked_picture, write_marked

    found = seen.examination
    place = found.check.registration
    image = marked_picture(
        seen.frame.picture,
        found.check.signal,
        marks_of(found),
        heading_of(found, seen.frame, task.pattern, task.format),
        notes_of(found),
        sample_aspect=task.format.sample_aspect * _ratio(place.y.nominal) / _ratio(place.x.nominal),
    )
    write_marked(path, image)


def _ratio(value: float) -> Fraction:
    return Fraction(value).limit_denominator(10_000)
