"""`verify`: whether the levels of a frame are the standard's, and if not, what was done to them."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, nullcontext
from pathlib import Path

import click

from trueraster import interrupt
from trueraster.errors import UsageError
from trueraster.options.daily import DailyFirst
from trueraster.options.declared import as_value
from trueraster.options.frame import ManyOptions, Played
from trueraster.options.keep import Keeping, KeepOptions, keeping_of
from trueraster.options.shared import as_json_option, pattern_options
from trueraster.output.answers import put_answer
from trueraster.output.files import Targets, targets_of
from trueraster.output.json import answer_json
from trueraster.output.terminal import JsonList, note, progress, put_json, put_text
from trueraster.verify.one import OtherShownError, Request, marked, verify_file

__all__ = ["verify"]


@click.command(cls=DailyFirst, daily=("--pattern", "--format", "--picture"))
@click.argument("named", type=click.Path(), metavar="FILE...", nargs=-1, required=True)
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
@as_value("keep", KeepOptions)
@as_value("many", ManyOptions)
@as_json_option
def verify(
    named: tuple[str, ...],
    pattern: str | None,
    fmt: str | None,
    aspect: str | None,
    code_range: str | None,
    matrix: str | None,
    tolerance: str | None,
    frame: int | None,
    every: bool,
    picture: Path | None,
    keep: KeepOptions,
    many: ManyOptions,
    as_json: bool,
    **typed: str | None,
) -> int:
    """Measure a captured frame, and name the chain's faults.

    The pattern is found in the frame wherever it is, scaled, cropped or moved. Every patch is read in the file's own
    codes and compared with the standard's; exit 0 if it is exact (within a code of 8 bits) or good for service (within
    2 % and no fault named), 1 if not; a stated --tolerance decides instead. The pattern's own options are those that it
    was drawn with.

    A file made by 'draw' needs no options, but for y4m and mpeg2, which cannot say what they show (of a 16:9 picture
    --aspect, if anything), and own patterns, whose TOML file is needed. A capture needs its format where the size does
    not show it. For a clip of the pattern 'field-order' the order of its fields is reported.

    Of several files, or of all in a folder, each gets one line; exit 2 if any cannot be read, else 1 if any fails.
    """
    if "" in named:
        raise UsageError("FILE: an empty name; give a file or a folder")
    files = [Path(name) for name in named]
    if frame is not None and every:
        raise UsageError("--frame and --all: one frame or all of them, not both")
    played = Played(
        pattern=pattern,
        format=fmt,
        aspect=aspect,
        code_range=code_range,
        matrix=matrix,
        tolerance=tolerance,
        options=typed,
    )
    request = Request(played=played, frame=frame, every=every, marks=picture is not None)
    if len(files) > 1 or files[0].is_dir() or many.is_given:
        if picture is not None:
            raise UsageError("--picture: one file at a time; --page shows those of many files that failed")
        if keep.record is not None:
            raise UsageError("--record: one file at a time; of many files 'trueraster record add' takes the results")
        return _many(files, request, many, as_json)
    return _one(files[0], request, picture, keeping_of(keep, files), as_json)


def _one(file: Path, request: Request, picture: Path | None, keeping: Keeping | None, as_json: bool) -> int:
    targets_of(Targets(picture=picture), [file])
    try:
        with _counting("measuring", quiet=as_json) as heard:
            found = verify_file(file, request, heard)
    except OtherShownError as error:
        if as_json:
            put_json(answer_json(error.answer))
        raise
    image = marked(found) if picture is not None else None
    if picture is not None and image is not None:
        # Without --picture nothing is written: 60 ms.
        from analysis.frame.picture.marked import write_marked

        write_marked(picture, image)
    put_answer(found.answer, as_json=as_json, keeping=keeping)
    return 0 if found.passed else 1


@contextmanager
def _counting(title: str, *, quiet: bool) -> Iterator[Callable[[int, int | None], None]]:
    """A bar that is given the frames done and all frames, as far as these are known."""
    with progress(title, quiet=quiet) as tell:

        def heard(done: int, total: int | None) -> None:
            interrupt.check()
            tell(f"frame {done}", done / total if total else 0.0)

        yield heard


def _many(names: Sequence[Path], request: Request, many: ManyOptions, as_json: bool) -> int:
    # One file does without them: 40 ms.
    from render.writing import placed
    from trueraster.verify.crew import cluster_crew, local_crew
    from trueraster.verify.kept import keeping
    from trueraster.verify.many import Totals, answers, files_in, line_of_file
    from trueraster.verify.page import Summary

    many.check(names, as_json=as_json)
    files = files_in(names)
    totals, summary, shown = Totals(), Summary(), many.page is not None
    said = "what was verified is kept: the same command goes on" if many.to else "--to keeps what was verified"
    interrupt.say_when_stopped(said)
    crew_of = cluster_crew(many.cluster) if many.cluster else local_crew(many.processes)
    kept_of = keeping(many.to, request, shown=shown) if many.to else nullcontext()
    put = JsonList("files") if as_json else None
    with kept_of as kept, crew_of as crew, progress("verifying", quiet=many.is_quiet(as_json)) as tell:
        for done, result in enumerate(answers(files, request, crew, kept, shown=shown), 1):
            totals.count(result)
            summary.add(result)
            result.pop("thumbnail", None)
            if put is not None:
                put.add(result)
            elif many.jsonl:
                put_json(result)
            else:
                put_text(line_of_file(result))
            tell(f"file {done} of {len(files)}", done / len(files))
    if many.page is not None:
        with placed(many.page) as file:
            file.write(summary.html(totals).encode())
    if put is not None:
        put.end(totals.json)
    elif many.jsonl:
        note(totals.words)
    else:
        put_text(totals.words)
    return totals.code
