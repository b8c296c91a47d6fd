"""`scope`: the waveform that an oscilloscope should show."""

from __future__ import annotations

import click

from trueraster.options.shared import as_json_option, pattern_options
from trueraster.output.terminal import note, progress, put_json, put_text
from trueraster.scope.answer import scope_json, scope_text
from trueraster.scope.files import check_targets, file_words, write_scope
from trueraster.scope.request import view_of, wanted_of

__all__ = ["scope"]


@click.command()
@click.argument("subject", metavar="PATTERN|FILE")
@click.option("--format", "-f", "fmt", help="As in draw.  [default: 480i; of a file its own word or size]")
@click.option("--line", "-l", type=int, help="Line, as the system counts them.  [default: in the picture's middle]")
@click.option("--field", help="1, 2 or frame: a whole field or frame, with vertical sync, in place of a line.")
@click.option("--signal", help="ypbpr, rgb, or composite (luma only).  [default: ypbpr]")
@click.option("--component", help="One trace: y, pb, pr; r, g, b, sync; luma.  [default: all]")
@click.option(
    "--levels", help="White in mV, 525 lines: 700 or 714 (ypbpr: with --setup 7.5).  [default: 700; composite 714]"
)
@click.option("--setup", help="0 or 7.5 IRE, with 714 mV.  [default: 0]")
@click.option("--sync", help="Of rgb: green, all (on each of them) or separate.  [default: green]")
@click.option(
    "--to", "targets", multiple=True, metavar="FILE", help="Write a plot (.svg, .png) or the trace (.csv); repeatable."
)
@click.option("--aspect", help="Picture aspect: 4:3 or 16:9; any for a free raster.")
@click.option("--range", "code_range", help="narrow or full.  [default: narrow; of a file its own word]")
@click.option("--matrix", help="601 or 709.  [default: by the format; of a file its own word]")
@click.option("--edges", help="shaped or hard, of a pattern.  [default: shaped; of a free raster hard]")
@click.option("--frame", type=int, default=0, help="Frame of a clip or moving pattern, counted from 0.  [default: 0]")
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
    """Tell the waveform that an oscilloscope should show of a pattern or a file.

    Millivolts over microseconds from the leading edge of sync, with sync, porches and picture, from the file's own
    samples through the reconstruction filter. Levels are those into 75 ohm. Flat parts are told as a table; --to draws
    the trace or writes its points.
    """
    paths = check_targets(targets, subject)
    wanted = wanted_of(typed, line, frame)
    options = {"cells": cells, "level": level, "area": area, "colour": colour, "bars": bars, "side": side}
    with progress("drawing", quiet=as_json) as tell:
        tell(subject, 0.1)
        view = view_of(subject, fmt, aspect, wanted, options)
        tell(subject, 0.7)
        files = write_scope(view, paths)
    if as_json:
        put_json(scope_json(view, files))
        return
    put_text(scope_text(view))
    if files:
        put_text("\nWritten: " + ", ".join(map(file_words, files)))
    for caution in view.format.cautions:
        note(f"Caution: {caution}")
