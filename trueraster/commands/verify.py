"""`verify`: whether the levels of a frame are the standard's, and if not, what was done to them."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trueraster.options.shared import as_json_option, pattern_options
from trueraster.output.terminal import counted, progress, put_json, put_text

if TYPE_CHECKING:
    from analysis.frame.fields.order import FieldOrderReading
    from analysis.frame.findings import Examination, OtherPatternError
    from analysis.frame.levels import Frame, Tolerance
    from patterns.formats import Format
    from patterns.pattern import Options, Pattern
    from patterns.signal import Matrix, Range, Signal

__all__ = ["verify"]


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--pattern", "-p", help="What is shown.  [default: the file's word; else it is recognised]")
@click.option("--format", "-f", "fmt", help="Format that was played.  [default: the file's word or size]")
@click.option("--aspect", help="Picture aspect: 4:3 or 16:9.")
@click.option("--range", "code_range", help="narrow or full.  [default: the file's word; else R'G'B' full]")
@click.option("--matrix", help="601 or 709.  [default: the file's word; else by the format]")
@click.option(
    "--tolerance", help="Largest error that passes: codes of 8 bits, or 2%.  [default: 1; of a noisy capture 2%]"
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

    The pattern is found in the frame wherever it lies, scaled, cropped or moved. Every patch is read in the file's own
    codes and held against the standard's; exit 0 if all pass and nothing else is wrong, 1 if not. The pattern's own
    options are those that it was drawn with.

    A file made by 'draw' needs no options, but for y4m and mpeg2, which cannot say what they show (of a 16:9 picture
    --aspect, if anything), and own patterns, whose TOML file is needed. A capture needs its format where the size does
    not tell it. Of a clip of the pattern 'field-order' the order of the fields is told.
    """
    from analysis.frame.findings import OtherPatternError
    from analysis.frame.levels import read_frame
    from patterns.signal import Matrix, Range
    from trueraster.options.file_format import format_of_file
    from trueraster.options.values import UsageError, choice, options_of

    ranged = choice("--range", code_range, tuple(Range))
    weighed = choice("--matrix", matrix, tuple(Matrix))
    judged = _tolerance(tolerance)
    if frame is not None and every:
        raise UsageError("--frame and --all: one frame or all of them, not both")
    if not 0 <= (frame or 0) < 10_000_000:
        raise UsageError(f"--frame: got {frame}, frames are counted from 0")
    if picture is not None and picture.suffix.lower() != ".png":
        raise UsageError(f"--picture: got {str(picture)!r}, a name that ends in .png is expected")
    if picture is not None and picture.resolve() == file.resolve():
        raise UsageError(f"--picture: {picture} is the file that is read, and would be lost")
    found = read_frame(file, frame or 0)
    task = _task(
        found,
        pattern,
        format_of_file(found, fmt, aspect),
        options_of(typed),
        Range(ranged) if ranged else None,
        Matrix(weighed) if weighed else None,
        judged,
    )
    if task.pattern.id == "field-order" and not found.is_still:
        for name, value in (("--picture", picture), ("--frame", frame), ("--tolerance", judged)):
            if value is not None:
                raise UsageError(
                    f"{name}: of field-order a whole clip is looked at for the order of its fields, nothing else"
                )
        return _field_order(task, every, as_json)
    try:
        report = _every(task, as_json) if every else _Report(task.frame, task.examine(found))
    except OtherPatternError as error:
        from trueraster.verdict import other_json

        if as_json:
            put_json(other_json(error, task.pattern, task.format, task.signal))
        raise UsageError(f"{file}: {error}{_hint(error)}") from error
    if picture is not None:
        _mark(picture, report, task)
    from trueraster.verdict import examination_json, examination_text

    if as_json:
        answer = examination_json(report.examination, task.pattern, task.format)
        put_json(answer | ({} if report.frames is None else {"frames": report.frames}))
    else:
        words = examination_text(report.examination, report.frame, task.pattern, task.format)
        put_text(words + ("" if report.frames is None else "\n" + _frames_text(report.frames)))
    return 0 if report.passed else 1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Task:
    """What is to be found in every frame of a file."""

    frame: Frame
    pattern: Pattern
    options: Options
    format: Format
    signal: Signal
    tolerance: Tolerance | None

    def examine(self, frame: Frame) -> Examination:
        from analysis.frame.examine import examine
        from trueraster.options.values import UsageError

        scene = self.pattern.scene(self.format, self.options, self.signal)
        found = examine(
            frame,
            self.pattern,
            scene,
            self.format,
            self.signal,
            tolerance=self.tolerance,
            others=_all_looks,
            states_signal=scene != self.pattern.scene(self.format, self.options),
        )
        if self.pattern.id == "field-order":
            raise UsageError(f"{frame.path}: the order of fields is told from a clip, this is a still picture")
        if not found.check.readings:
            raise UsageError(f"{frame.path}: the pattern {self.pattern.id} has no patch that can be measured here")
        if not found.check.tells_something:
            raise UsageError(
                f"{frame.path}: of {self.pattern.id} only the ground can be measured here, which proves nothing"
            )
        return found


@dataclass(frozen=True, slots=True)
class _Report:
    """A frame's examination, and of `--all` what there is to say of the others."""

    frame: Frame
    examination: Examination
    frames: dict[str, object] | None = None
    passed_all: bool = True

    @property
    def passed(self) -> bool:
        return self.examination.passed and self.passed_all


def _task(
    frame: Frame,
    text: str | None,
    fmt: Format,
    given: Options,
    code_range: Range | None,
    matrix: Matrix | None,
    tolerance: Tolerance | None,
) -> _Task:
    from analysis.frame.levels import frame_signal
    from render.carriers import default_matrix

    signal = frame_signal(frame, code_range=code_range, matrix=matrix, default_matrix=default_matrix(fmt))
    if text is None and "pattern" not in frame.provenance:
        chosen, options = _recognised(frame, fmt, signal)
    else:
        chosen, options = _pattern(frame, text), given
    if chosen.id == frame.provenance.get("pattern"):
        # What is typed wins; the rest is as the file was drawn.
        options = _told_options(frame)
    return _Task(
        frame=frame,
        pattern=chosen,
        options=replace(options, **given.given),
        format=fmt,
        signal=signal,
        tolerance=tolerance,
    )


def _all_looks() -> list[tuple[Pattern, Options]]:
    """Every pattern that a frame may show, each with the options of a kit."""
    from patterns.areas.colour import BARS
    from patterns.catalogue import PATTERNS
    from patterns.pattern import Options

    looks = [(pattern, options) for pattern in PATTERNS.values() for options in pattern.variants]
    bars = PATTERNS["bars"]
    return looks + [(bars, Options(bars=name)) for name in BARS if name != "100/0/75/0"]


def _recognised(frame: Frame, fmt: Format, signal: Signal) -> tuple[Pattern, Options]:
    from analysis.frame.faults.recognise import best_look
    from analysis.frame.fields.bar import shows_moving_bar
    from patterns.catalogue import PATTERNS
    from patterns.pattern import Options
    from trueraster.options.values import UsageError

    look = best_look(frame, signal, fmt, _all_looks())
    if look is not None:
        return look.pattern, look.options
    if not frame.is_still and shows_moving_bar(frame.path):
        return PATTERNS["field-order"], Options()
    from analysis.frame.faults.recognise import is_flat
    from analysis.frame.fractions import frame_luma

    if is_flat(frame_luma(frame, signal)):
        raise UsageError(f"{frame.path}: the frame is plain; if that is as it was played, give --pattern field")
    raise UsageError(
        f"{frame.path}: no known pattern is seen in this frame as {fmt.id}; if there is one, name it with --pattern, "
        "and another format with --format"
    )


def _hint(error: OtherPatternError) -> str:
    if error.turned:
        return "; a mirror or flip setting in player, converter or capture does that"
    return f"; give --pattern {error.found} if that was played" if error.found else ""


def _tolerance(text: str | None) -> Tolerance | None:
    from analysis.frame.levels import Tolerance
    from trueraster.options.values import UsageError

    if text is None:
        return None
    typed = re.fullmatch(r"\s*(\d{1,3}(?:\.\d{1,6})?)\s*(%?)\s*", text)
    if typed is None or float(typed[1]) > (100 if typed[2] else 255):
        shown = repr(text if len(text) <= 40 else text[:37] + "...")
        raise UsageError(f"--tolerance: got {shown}, allowed are 0 to 255 codes of 8 bits, or a percentage such as 2%")
    return Tolerance(value=float(typed[1]), percent=bool(typed[2]))


def _every(task: _Task, quiet: bool) -> _Report:
    """Every distinct frame of the file; the worst is kept."""
    from analysis.frame.distinct import distinct_frames
    from analysis.frame.findings import OtherPatternError
    from trueraster import interrupt

    worst: tuple[tuple[int, float], _Report] | None = None
    failed: list[int] = []
    seen: list[int] = []
    without: list[int] = []
    other: OtherPatternError | None = None
    with progress("measuring", quiet=quiet) as tell:

        def heard(done: int, total: int | None) -> None:
            interrupt.check()
            tell(f"frame {done}", done / total if total else 0.0)

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
                worst = found.worst, _Report(frame, found)
            seen.append(one.index)
    if worst is None:
        assert other is not None
        raise other
    report = worst[1]
    # A capture may begin before the pattern is up and end after it; a frame of something else between is a fault.
    failed = sorted(failed + [index for index in without if seen[0] < index < seen[-1]])
    told = {
        "shown": frames.shown,
        "distinct": len(frames.times),
        "worst": report.frame.index,
        "failed": failed,
        "without_pattern": without,
    }
    return replace(report, frames=told, passed_all=not failed)


def _frames_text(frames: dict[str, object]) -> str:
    failed, without = frames["failed"], frames["without_pattern"]
    assert isinstance(failed, list)
    assert isinstance(without, list)
    words = "all pass" if not failed else f"{len(failed)} of them fail, the first is frame {failed[0]}"
    told = f"{counted(int(str(frames['shown'])), 'frame')}, {frames['distinct']} of them distinct: {words}."
    if without:
        told += f" {counted(len(without), 'distinct frame')} without the pattern, the first is frame {without[0]}."
    return f"{told} Shown is frame {frames['worst']}, the worst."


_MOST_FRAMES = 3000
"""Frames of a clip that `--all` reads for the order of fields: what is kept of each is 20 kB."""


def _field_order(task: _Task, every: bool, as_json: bool) -> int:
    """The order of fields, told from the moving bar of a clip."""
    from analysis.frame.fields.order import FieldState, field_fault, read_field_order
    from trueraster import interrupt
    from trueraster.options.values import UsageError
    from trueraster.verdict import fields_json, fields_text

    with progress("reading", quiet=as_json) as tell:

        def heard(done: int, total: int | None) -> None:
            interrupt.check()
            tell(f"frame {done}", done / total if total else 0.0)

        more = {"enough": _MOST_FRAMES, "most": _MOST_FRAMES} if every else {}
        reading: FieldOrderReading = read_field_order(task.frame.path, task.format, heard=heard, **more)
    if reading.state is FieldState.UNKNOWN:
        raise UsageError(f"{task.frame.path}: {reading.reason}")
    fault = field_fault(reading)
    if as_json:
        put_json(fields_json(reading, fault, task.pattern, task.format, task.signal))
    else:
        put_text(fields_text(reading, fault, task.frame, task.format))
    return 0 if fault is None else 1


def _mark(path: Path, report: _Report, task: _Task) -> None:
    """Write the frame with its patches outlined."""
    from analysis.frame.picture.marked import marked_picture, write_marked
    from trueraster.verdict import heading_of, marks_of, notes_of

    found = report.examination
    place = found.check.registration
    image = marked_picture(
        report.frame.picture,
        found.check.signal,
        marks_of(found),
        heading_of(found, report.frame, task.pattern, task.format),
        notes_of(found),
        sample_aspect=task.format.sample_aspect * _ratio(place.y.nominal) / _ratio(place.x.nominal),
    )
    write_marked(path, image)


def _pattern(frame: Frame, text: str | None) -> Pattern:
    from patterns.catalogue import find_pattern
    from patterns.timing import shown
    from trueraster.options.values import UsageError, pattern_of

    name = text or frame.provenance["pattern"]
    if text is None and name.startswith("own:"):
        raise UsageError(f"--pattern: the file shows the own pattern {shown(name[4:])}; give the path of its TOML file")
    return find_pattern(name) if text is None else pattern_of(name)


def _told_options(frame: Frame) -> Options:
    """The options that the pattern was drawn with, as the file tells them."""
    from patterns.pattern import Options
    from trueraster.options.values import UsageError, cells_of

    def level(name: str) -> Fraction | None:
        # A file may say anything of itself; a number without an end is not worked out.
        text = words.get(name)
        if text is None:
            return None
        if not re.fullmatch(r"-?\d{1,9}(/\d{1,9})?", text):
            raise ValueError(text)
        return Fraction(text)

    words = frame.provenance
    try:
        return Options(
            cells=cells_of(words.get("cells")),
            level=level("level"),
            area=level("area"),
            colour=words.get("colour"),
            bars=words.get("bars"),
        )
    except (ValueError, ZeroDivisionError) as error:
        raise UsageError(f"{frame.path}: what the file says of its pattern cannot be read; give --pattern") from error


def _ratio(value: float) -> Fraction:
    return Fraction(value).limit_denominator(10_000)
