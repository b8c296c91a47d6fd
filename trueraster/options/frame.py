"""What is typed for `verify`: which frame of which file, and what was played."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Annotated

import click

from analysis.frame.examine import examine
from analysis.frame.findings import Examination
from analysis.frame.fractions import frame_luma
from analysis.frame.levels import Frame, Reference, frame_signal, read_frame
from analysis.frame.tolerance import Tolerance
from patterns.areas.colour import BARS
from patterns.catalogue import PATTERNS, find_pattern
from patterns.formats import Format
from patterns.pattern import Options, Pattern, PatternError
from patterns.signal import Matrix, Range, Signal
from patterns.timing import shown
from render.carriers import default_matrix
from trueraster.errors import UsageError
from trueraster.options.declared import file_option, option
from trueraster.options.file_format import format_of_file
from trueraster.options.trade import options_with
from trueraster.options.values import cells_of, choice, options_of, pattern_of
from trueraster.output.files import check_target

__all__ = ["ManyOptions", "Played", "Task", "task_of"]

_MOST_FRAMES = 10_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Played:
    """What was played, as it was typed; None where the file or the frame shall say."""

    pattern: str | None
    format: str | None
    aspect: str | None
    code_range: str | None
    matrix: str | None
    tolerance: str | None
    options: Mapping[str, str | None]
    """The pattern's own, by name."""


@dataclass(frozen=True, kw_only=True)
class ManyOptions:
    """Options for many files."""

    jobs: Annotated[
        int | None,
        option(
            "--jobs",
            "-j",
            help="Of many files: how many at a time.  [default: one for each core]",
            type=click.IntRange(1, 256),
            metavar="N",
        ),
    ]
    to: Annotated[
        Path | None,
        file_option("--to", "FILE.jsonl", "Of many files: keep their results; the same command goes on after a stop."),
    ]
    page: Annotated[
        Path | None, file_option("--page", "OUT.html", "Of many files: one page with a picture of each that failed.")
    ]
    jsonl: Annotated[bool, option("--jsonl", help="Of many files: print one JSON object a line.", is_flag=True)]
    cluster: Annotated[
        str | None,
        option(
            "--cluster",
            help="Of many files: hand them to the workers of a dask scheduler, which see the same folders.",
            metavar="ADDRESS",
        ),
    ]

    @property
    def is_given(self) -> bool:
        """Whether one of them is typed."""
        return any((self.jobs, self.to, self.page, self.jsonl, self.cluster))

    @property
    def processes(self) -> int:
        """How many files at a time on this machine."""
        try:
            cores = len(os.sched_getaffinity(0))
        except AttributeError:
            cores = os.cpu_count() or 1
        return self.jobs or cores

    def is_quiet(self, as_json: bool) -> bool:
        """Whether a bar would be in the way: lines on the same terminal show as well how far the work is."""
        return not (as_json or self.jsonl) and sys.stdout.isatty()

    def check(self, names: Sequence[Path], *, as_json: bool) -> None:
        """Look at them before anything is verified.

        Raises:
            UsageError: two contradict each other, or a file cannot be written under its name.
        """
        if as_json and self.jsonl:
            raise UsageError("--json and --jsonl: one object or one a line, not both")
        if self.cluster and self.jobs:
            raise UsageError("--jobs and --cluster: the cluster's workers say themselves how many files they take")
        for option_name, path, ending in (("--to", self.to, ".jsonl"), ("--page", self.page, ".html")):
            if path is not None:
                check_target(option_name, path, (ending,), names)


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is to be found in every frame of a file."""

    frame: Frame
    pattern: Pattern
    options: Options
    format: Format
    signal: Signal
    tolerance: Tolerance | None

    @property
    def is_clip_of_fields(self) -> bool:
        """Whether it is a clip of the moving bar, which shows the order of its fields."""
        return self.pattern.id == "field-order" and not self.frame.is_still

    def examine(self, frame: Frame) -> Examination:
        """What one frame of the file shows.

        Raises:
            UsageError: nothing of the pattern can be measured in it.
            OtherPatternError: it shows another pattern, or none.
        """
        scene = self.pattern.scene(self.format, self.options, self.signal)
        found = examine(
            frame,
            self.pattern,
            Reference(scene=scene, format=self.format, signal=self.signal),
            tolerance=self.tolerance,
            others=_all_looks,
            states_signal=scene != self.pattern.scene(self.format, self.options),
        )
        if self.pattern.id == "field-order":
            raise UsageError(f"{frame.path}: the order of fields is seen in a clip, this is a still picture")
        if not found.check.readings:
            raise UsageError(f"{frame.path}: the pattern {self.pattern.id} has no patch that can be measured here")
        if not found.check.tells_something:
            raise UsageError(
                f"{frame.path}: of {self.pattern.id} only the ground can be measured here, which proves nothing"
            )
        return found


def task_of(file: Path, frame: int, played: Played) -> Task:
    """The frame with what is to be found in it.

    Raises:
        UsageError: an option cannot be meant, or nothing says what was played; one line.
        FileError: the file cannot be read, or has no such frame.
    """
    code_range = choice("--range", played.code_range, tuple(Range))
    matrix = choice("--matrix", played.matrix, tuple(Matrix))
    tolerance = _tolerance(played.tolerance)
    if not 0 <= frame < _MOST_FRAMES:
        raise UsageError(f"--frame: got {frame}, frames are counted from 0")
    seen = read_frame(file, frame)
    fmt = format_of_file(seen, played.format, played.aspect)
    given = options_with(played.pattern or "", options_of(played.options))
    signal = frame_signal(
        seen,
        code_range=Range(code_range) if code_range else None,
        matrix=Matrix(matrix) if matrix else None,
        default_matrix=default_matrix(fmt),
    )
    if played.pattern is None and "pattern" not in seen.provenance:
        pattern, options = _recognised(seen, fmt, signal)
    else:
        pattern, options = _pattern(seen, played.pattern), given
    options = replace(options, **given.given)
    if pattern.id == seen.provenance.get("pattern"):
        # What is typed wins; the rest is as the file was drawn.
        options = _drawn_options(seen, pattern, given, fmt, signal, is_typed=played.pattern is not None)
    return Task(
        frame=seen,
        pattern=pattern,
        options=options,
        format=fmt,
        signal=signal,
        tolerance=tolerance,
    )


def _all_looks() -> list[tuple[Pattern, Options]]:
    """Every pattern that a frame may show, each with the options of a kit."""
    looks = [(pattern, options) for pattern in PATTERNS.values() for options in pattern.variants]
    return looks + [(PATTERNS["bars"], Options(bars=name)) for name in BARS if name != "100/0/75/0"]


def _recognised(frame: Frame, fmt: Format, signal: Signal) -> tuple[Pattern, Options]:
    # Only a file that does not say what it shows needs them, and a fifth of verifying such a frame goes into it.
    from analysis.frame.faults.recognise import best_look, is_flat
    from analysis.frame.fields.bar import shows_moving_bar

    look = best_look(frame, signal, fmt, _all_looks())
    if look is not None:
        return look.pattern, look.options
    if not frame.is_still and shows_moving_bar(frame.path):
        return PATTERNS["field-order"], Options()
    if is_flat(frame_luma(frame, signal)):
        raise UsageError(f"{frame.path}: the frame is plain; if that is as it was played, give --pattern field")
    raise UsageError(
        f"{frame.path}: no known pattern is seen in this frame as {fmt.id}; if there is one, name it with --pattern, "
        "and another format with --format"
    )


def _tolerance(text: str | None) -> Tolerance | None:
    if text is None:
        return None
    typed = re.fullmatch(r"\s*(\d{1,3}(?:\.\d{1,6})?)\s*(%?)\s*", text)
    if typed is None or float(typed[1]) > (100 if typed[2] else 255):
        got = repr(text if len(text) <= 40 else text[:37] + "...")
        raise UsageError(f"--tolerance: got {got}, allowed are 0 to 255 codes of 8 bits, or a percentage such as 2%")
    return Tolerance(value=float(typed[1]), percent=bool(typed[2]))


def _pattern(frame: Frame, text: str | None) -> Pattern:
    name = text or frame.provenance["pattern"]
    if text is None and name.startswith("own:"):
        raise UsageError(
            f"{frame.path}: the file shows the own pattern {shown(name[4:])}; give its TOML file with --pattern"
        )
    if text is not None:
        return pattern_of(text)
    try:
        return find_pattern(name)
    except PatternError as error:
        raise UsageError(
            f"{frame.path}: the file says that it shows {shown(name)}, which is no pattern; give --pattern"
        ) from error


def _drawn_options(
    frame: Frame, pattern: Pattern, given: Options, fmt: Format, signal: Signal, *, is_typed: bool
) -> Options:
    """The options that the pattern was drawn with, as the file says, and over them those that are typed, `given`.

    Where the pattern is typed (`is_typed`), what the file says and nobody can read is as if it were not said.

    Raises:
        UsageError: the file's own cannot be read, or mean nothing to the pattern; one line that names the file.
    """
    try:
        drawn = replace(_file_options(frame), **given.given)
        pattern.scene(fmt, drawn, signal)
    except (ValueError, ZeroDivisionError) as error:
        # An error in what was typed is reported as such.
        pattern.scene(fmt, given, signal)
        if is_typed:
            return given
        raise UsageError(
            f"{frame.path}: what the file says of its pattern cannot be read; give --pattern, and the options that it "
            "was drawn with"
        ) from error
    return drawn


def _file_options(frame: Frame) -> Options:

    def level(name: str) -> Fraction | None:
        # A file may say anything of itself; a number without an end is not worked out.
        text = words.get(name)
        if text is None:
            return None
        if not re.fullmatch(r"-?\d{1,9}(/\d{1,9})?", text):
            raise ValueError(text)
        return Fraction(text)

    words = frame.provenance
    return Options(
        cells=cells_of(words.get("cells")),
        level=level("level"),
        area=level("area"),
        colour=words.get("colour"),
        bars=words.get("bars"),
        side=words.get("side"),
    )
