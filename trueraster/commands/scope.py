"""`scope`: the waveform that an oscilloscope should show."""

from __future__ import annotations

import click

from trueraster.options.daily import DailyFirst
from trueraster.options.shared import as_json_option, pattern_options
from trueraster.output.terminal import note, progress, put_json, put_text
from trueraster.scope.answer import scope_json, scope_text
from trueraster.scope.files import check_targets, file_words, write_scope
from trueraster.scope.request import view_of, wanted_of

__all__ = ["scope"]


@click.command(cls=DailyFirst, daily=("--format", "--line", "--to"))
@click.argument("subject", metavar="PATTERN|FILE")
@click.option("--format", "-f", "fmt", help="Such as 480i or 1024x768@60.  [default: 480i, or as the file states]")
@click.option("--line", "-l", type=int, help="Line number of the TV system.  [default: the picture's middle]")
@click.option("--field", help="Show field 1, field 2 or the frame, with vertical sync, not a line.")
@click.option("--signal", help="Interface: ypbpr, rgb, or composite (luma only).  [default: ypbpr]")
@click.option("--component", help="One trace: y, pb, pr; r, g, b, sync; luma.  [default: all]")
@click.option(
    "--levels", help="White in mV: 700, or 714 for 525 lines (ypbpr: with --setup 7.5).  [default: 700; composite 714]"
)
@click.option("--setup", help="Setup: 0 or 7.5 IRE, with --levels 714.  [default: 0]")
@click.option("--sync", help="Sync of rgb: on green, on all, or separate.  [default: green]")
@click.option(
    "--to", "targets", multiple=True, metavar="FILE", help="Write a plot (.svg, .png) or the points (.csv); repeatable."
)
@click.option("--aspect", help="Picture aspect: 4:3 or 16:9; any for a free raster.")
@click.option("--range", "code_range", help="Code range: narrow or full.  [default: narrow, or as the file states]")
@click.option("--matrix", help="Matrix: 601 or 709.  [default: by the format, or as the file states]")
@click.option("--edges", help="Edges of a pattern: shaped or hard.  [default: shaped; free raster: hard]")
@click.option("--frame", type=int, default=0, help="Frame of a clip or moving pattern, from 0.  [default: 0]")
@pattern_options
@as_json_option
def scope(
    subject: str,
    fmt: str | None,
    line: int | None,
    aspect: str | None,
    targets: tuple[str, ...],
    frame: int,
    as_json: bool,
    cells: str | None,
    level: str | None,
    area: str | None,
    colour: str | None,
    bars: str | None,
    side: str | None,
    **typed: str | None,
) -> None:
    """Give the waveform that an oscilloscope should show.

    Give a pattern or a picture or video file. You get a table of the flat parts of one line: millivolts into 75 ohm,
    and microseconds from the leading edge of sync. --to draws the trace, or writes its points.
    """
    paths = check_targets(targets, subject)
    wanted = wanted_of(typed, line, frame)
    options = {"cells": cells, "level": level, "area": area, "colour": colour, "bars": bars, "side": side}
    with progress("drawing", quiet=as_json) as step:
        step(subject, 0.1)
        view = view_of(subject, fmt, aspect, wanted, options)
        step(subject, 0.7)
        files = write_scope(view, paths)
    if as_json:
        put_json(scope_json(view, files))
        return
    put_text(scope_text(view))
    if files:
        put_text("\nWritten: " + ", ".join(map(file_words, files)))
    for caution in view.format.cautions:
        note(f"Caution: {caution}")
