"""`record`: what is known of one set, what was done to it, and what was measured before and after."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from analysis.rounding import counted
from render.errors import FileError
from render.reading import read_bounded, read_stream
from trueraster import interrupt
from trueraster.commands.record_bench import intake, part, sheet
from trueraster.errors import UsageError
from trueraster.options.daily import DailyFirst
from trueraster.options.record import date_of, details_of, limits_of, now, record_path, stage_of, words_of
from trueraster.options.setclass import SET_CLASSES
from trueraster.options.shared import as_json_option
from trueraster.output.files import check_new
from trueraster.output.terminal import note, progress, put_json, put_text
from trueraster.record.answer import record_json, record_text
from trueraster.record.changes import (
    Json,
    new_record,
    with_details,
    with_picture,
    with_results,
    with_tolerances,
    with_work,
    without_entry,
)
from trueraster.record.jsontext import read_json
from trueraster.record.results import entries_of, title_of
from trueraster.record.store import change_record, create_record, read_record

if TYPE_CHECKING:
    from trueraster.record.schema import Stage

__all__ = ["record"]

Command = TypeVar("Command", bound=Callable[..., Any])

_MOST_RESULT = 20 << 20
"""Bytes of a file that is attached: an answer has some hundred thousand at most."""
_NO_RESULT = "no result of this tool"

_PICTURES = (b"\xff\xd8\xff", b"\x89PNG", b"II*\0", b"MM\0*")
"""How JPEG, PNG and TIFF begin."""


@click.group()
def record() -> None:
    """Keep the record of a set: work done, results, pictures."""


record.add_command(intake)
record.add_command(part)
record.add_command(sheet)

_RECORD = click.argument("path", metavar="RECORD", type=click.Path(path_type=Path))
_DATE = click.option("--date", "day", metavar="YYYY-MM-DD", help="When it was.  [default: now]")
_DETAILS: tuple[tuple[str, dict[str, Any]], ...] = (
    ("--serial", {"help": "Serial number."}),
    ("--hours", {"help": "Hours of use, as its counter says."}),
    ("--input", {"dest": "inputs", "multiple": True, "help": "As component; with commas, or repeated."}),
    ("--accepts", {"multiple": True, "help": "Scan formats, such as 480i,576i; or repeated."}),
    ("--condition", {"help": "Its state as it came in, in words."}),
    (
        "--set-class",
        {"help": "What it is built for, which its tolerances are by.", "type": click.Choice(SET_CLASSES)},
    ),
    ("--service-every", {"help": "Hours of use between two services.", "metavar": "HOURS"}),
    ("--job", {"help": "The bench's number of the job."}),
    ("--bench", {"help": "Who services it, as Harbour Lane Repairs."}),
    ("--technician", {"help": "Name or initials."}),
)


def _details(command: Command) -> Command:
    """The options that say what a set is."""
    for name, settings in reversed(_DETAILS):
        kept = dict(settings)
        names = (name, kept.pop("dest")) if "dest" in kept else (name,)
        command = click.option(*names, **kept)(command)
    return command


@record.command(cls=DailyFirst, daily=("--set", "--serial", "--hours"))
@_RECORD
@click.option("--set", "name", required=True, help="What it is, such as '14-inch monitor, no. 0412'.")
@_details
@as_json_option
def new(path: Path, as_json: bool, **typed: Any) -> None:
    """Begin the record of a set, as a file of its own.

    What is not known yet can be said later with 'record set'.
    """
    held = with_details(new_record(now()), *details_of(typed))
    create_record(record_path(path), held, note)
    _answer(path, as_json, f"{path}: the record of {typed['name']}", made=True)


@record.command("set", cls=DailyFirst, daily=("--hours", "--condition", "--tolerance"))
@_RECORD
@click.option("--set", "name", help="What it is, such as '14-inch monitor, no. 0412'.")
@_details
@click.option("--tolerance", "tolerances", multiple=True, metavar="FIGURE=LIMIT", help="Largest size that it may have.")
@as_json_option
def set_(path: Path, as_json: bool, tolerances: tuple[str, ...], **typed: Any) -> None:
    """Say more of a set, or say it anew.

    What is given replaces what stood there, a list as a whole; the rest stays. Figures of --tolerance are named as in
    'record show --json', such as convergence.centre_max_mm=0.3; with nothing after = the limit is taken away.
    """
    of_set, of_record = details_of(typed)
    limits = limits_of(tolerances)
    said = [name for name, value in {**of_set, **of_record}.items() if value is not None] + list(limits)
    if not said:
        raise UsageError("record set: nothing is given to set; 'trueraster record set --help' has the options")

    def change(held: Json) -> Json:
        return with_tolerances(with_details(held, of_set, of_record), limits)

    change_record(path, change, note)
    _answer(path, as_json, f"{path}: {', '.join(said)} set", set=said)


@record.command(short_help="Note what was done.")
@_RECORD
@click.argument("text", metavar="TEXT")
@_DATE
@as_json_option
def work(path: Path, text: str, day: str | None, as_json: bool) -> None:
    """Note what was done: record work RECORD "recapped the vertical board"."""
    words, when = words_of("TEXT", text), date_of(day)
    if not words:
        raise UsageError('TEXT: say what was done, such as "recapped the vertical board"')
    found = change_record(path, lambda held: with_work(held, when, words), note)
    _answer(path, as_json, f"{path}: noted, {counted(len(found.work), 'line')} of work done", work=len(found.work))


@record.command(short_help="Attach results and pictures to a stage.")
@_RECORD
@click.argument("stage", metavar="STAGE")
@click.argument("results", nargs=-1, metavar="RESULT.json...")
@click.option(
    "--picture",
    "pictures",
    multiple=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A picture; or several.",
)
@click.option("--caption", help="What the pictures show.")
@click.option("--note", "remark", help="What is to be known of the results.")
@click.option("--simulated", is_flag=True, help="The results are of no real set.")
@_DATE
@as_json_option
def add(
    path: Path,
    stage: str,
    results: tuple[str, ...],
    pictures: tuple[Path, ...],
    caption: str | None,
    remark: str | None,
    simulated: bool,
    day: str | None,
    as_json: bool,
) -> None:
    """Attach results and pictures to a stage: as-found, after-adjustment or after-service.

    A result is what 'verify' or 'measure' prints with --json, in a file, or - for standard input. It is kept whole.
    Pictures are kept in the record, at most 1600 samples long.
    """
    # What is attached without a picture does without their libraries: 300 ms.
    from trueraster.record.pictures import picture_entry

    to: Stage = stage_of(stage)
    when, said = date_of(day), words_of("--note", remark) or ""
    if not results and not pictures:
        raise UsageError(
            "record add: give a RESULT.json that 'verify' or 'measure' printed with --json, or a --picture"
        )
    if results.count("-") > 1:
        raise UsageError("RESULT.json: standard input, -, can be read once")
    if path.name.startswith("-"):
        raise UsageError("RECORD: a file is expected")
    entries = [entry for text in results for entry in _entries(text, when, said, simulated)]
    shown = [picture_entry(one, when, words_of("--caption", caption) or "") for one in pictures]
    added: list[Json] = []

    def change(held: Json) -> Json:
        added.clear()
        changed = with_results(held, to, entries, added)
        for entry in shown:
            changed = with_picture(changed, to, entry)
        return changed

    change_record(path, change, note)
    left_out = [entry["source"] for entry in entries if not any(entry is one for one in added)]
    for source in left_out:
        note(f"Note: {source} is attached {to.words} already; it was left out")
    lines = [f"{title_of(entry['kind'], entry['result'])} ({entry['source']})" for entry in added]
    lines += [f"picture {entry['name']}" for entry in shown]
    if as_json:
        put_json(
            {
                "record": str(path),
                "stage": to.value,
                "added": [{"kind": entry["kind"], "source": entry["source"]} for entry in added],
                "pictures": [entry["name"] for entry in shown],
                "left_out": left_out,
            }
        )
    else:
        put_text("\n".join(f"{path}, {to.words}: {line}" for line in lines) or f"{path}: nothing was added")


@record.command(short_help="Take a result or a picture away again.")
@_RECORD
@click.argument("stage", metavar="STAGE")
@click.argument("name", metavar="NAME")
@as_json_option
def remove(path: Path, stage: str, name: str, as_json: bool) -> None:
    """Take a result or a picture away that was attached by mistake.

    NAME is the file that it came from, as 'record show' has it; of several with one name the last one goes.
    """
    to: Stage = stage_of(stage)

    def change(held: Json) -> Json:
        changed = without_entry(held, to, name)
        if changed is held:
            raise UsageError(f"NAME: {path} has no {name[:60]!r} {to.words}; 'trueraster record show' has the names")
        return changed

    change_record(path, change, note)
    _answer(path, as_json, f"{path}, {to.words}: {name} taken away", removed=name)


@record.command()
@_RECORD
@click.option("--all", "everything", is_flag=True, help="All figures instead of the main ones.")
@as_json_option
def show(path: Path, everything: bool, as_json: bool) -> None:
    """Print a record, with the stages side by side."""
    found = read_record(path)
    if as_json:
        put_json(record_json(found))
    else:
        put_text(record_text(found, everything=everything))


@record.command(short_help="Make a simulated record, to look at.")
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    default="outputs/harbour-lane-demo.json",
    show_default=True,
    help="File of the record.",
)
@as_json_option
def demo(to: Path, as_json: bool) -> None:
    """Make a record of an invented set, with simulated measurements, to look at.

    Simulated photographs and meter readings are measured by this tool's own commands, which takes some ten seconds.
    """
    # The command line loads this module, and all else does without the libraries of pictures: 300 ms.
    from trueraster.cli import app
    from trueraster.record.demonstration import demonstration

    target = record_path(to).absolute()
    check_new("--to", to)

    def run(words: list[str]) -> None:
        app.main(args=words, prog_name="trueraster", standalone_mode=False)

    with progress("making the demo", quiet=as_json) as tell:

        def step(words: str, share: float) -> None:
            interrupt.check()
            tell(words, share)

        held = demonstration(run, now(), step)
    target.parent.mkdir(parents=True, exist_ok=True)
    create_record(target, held, note)
    _answer(to, as_json, f"{to}: a simulated record; look at it with 'trueraster record show {to}'", simulated=True)


def _entries(text: str, when: str, remark: str, simulated: bool) -> list[dict[str, Any]]:
    """What a file holds, as a record keeps it: a result, or the two of `measure raster`."""
    name = "standard input" if text == "-" else text
    if text == "-":
        data = read_stream(sys.stdin.buffer, name, _MOST_RESULT, _NO_RESULT)
    else:
        data = read_bounded(Path(text), _MOST_RESULT, _NO_RESULT)
    if data.startswith(_PICTURES):
        raise FileError(f"{name}: a picture; it is attached with --picture")
    source = name if text == "-" else Path(text).name
    try:
        return entries_of(read_json(data), date=when, source=source, note=remark, simulated=simulated)
    except ValueError as error:
        raise FileError(f"{name}: {error}; give what 'verify' or 'measure' prints with --json") from error


def _answer(path: Path, as_json: bool, words: str, **told: Any) -> None:
    if as_json:
        put_json({"record": str(path), **told})
    else:
        put_text(words)
