"""`bench`: the check-up of a set as a session, with the screen, a page for the phone, and the record."""

from __future__ import annotations

from pathlib import Path

import click

from patterns.signal import Range
from trueraster import interrupt
from trueraster.errors import UsageError
from trueraster.options.daily import DailyFirst
from trueraster.options.values import choice, format_of

__all__ = ["bench"]


@click.command(
    cls=DailyFirst,
    daily=("--format", "--output", "--lan"),
    short_help="Run a check-up as a session, with a page for the phone.",
)
@click.argument("record", metavar="[RECORD]", required=False, type=click.Path(path_type=Path))
@click.option("--format", "-f", "formats", multiple=True, help="A format to begin with, such as 480i; repeatable.")
@click.option("--output", type=int, metavar="N", help="Which output, by its number in 'show --list'.")
@click.option("--range", "code_range", help="full, or narrow for an output set to video levels.  [default: full]")
@click.option("--lan", is_flag=True, help="Let phones in the same network open the page.")
@click.option("--player", is_flag=True, help="A media player shows a kit's files; the page says which number is next.")
@click.option("--watch", type=click.Path(path_type=Path), metavar="DIR", help="Measure new photographs in a folder.")
@click.option("--demo", is_flag=True, help="Learn the job on an invented set in the page: a simulation, no tube.")
def bench(
    record: Path | None,
    formats: tuple[str, ...],
    output: int | None,
    code_range: str | None,
    lan: bool,
    player: bool,
    watch: Path | None,
    demo: bool,
) -> None:
    """Run a check-up as a session: patterns on this computer's output, and a page that leads through it.

    The page says what to do, card by card in the order of work, and drives the screen. Photographs of the screen,
    captures of the signal and a meter's readings that are given there are measured, and kept in RECORD with one tap.
    The session is on the disk in a folder beside RECORD: the same command goes on where it was, whatever happened.
    """
    # The help does without the server and the window: 600 ms.
    from trueraster.bench.run import Bench, record_for
    from trueraster.show.outputs import open_display, output_of

    ranged = Range(choice("--range", code_range, tuple(Range)) or Range.FULL)
    if player and (output is not None or code_range is not None):
        raise UsageError("--player: the player shows the patterns, so --output and --range mean nothing")
    if demo and (player or output is not None):
        raise UsageError("--demo: the page shows the invented set, so --output and --player mean nothing")
    if watch is not None and not watch.is_dir():
        raise UsageError(f"--watch: {watch} is no folder")
    chosen = tuple(dict.fromkeys(format_of(name, None).id for name in formats))
    if not player and not demo:
        # Before a record is begun that nobody can use.
        open_display()
        output_of(output)
    run = Bench(
        record=record_for(record, demo=demo),
        formats=chosen or (("480i",) if demo else ()),
        code_range=ranged,
        output=output,
        lan=lan,
        player=player,
        demo=demo,
        watch=watch,
    )
    again = f"trueraster bench {run.record}{' --demo' if demo else ''}"
    interrupt.say_when_stopped(f"'{again}' goes on where it was")
    run.run()
