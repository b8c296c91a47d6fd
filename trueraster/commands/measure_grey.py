"""`measure grey`: the grey scale from a meter's readings, and which control to turn."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.meter.grey.answer import grey_answer
from analysis.meter.grey.measure import Grey, measure_grey
from analysis.meter.readings.read import parse_readings, read_readings, text_of
from analysis.meter.readings.types import Readings
from trueraster.errors import UsageError
from trueraster.following import STDIN, standard_input
from trueraster.options.daily import DailyFirst
from trueraster.options.declared import as_value
from trueraster.options.keep import KeepOptions, keeping_of
from trueraster.options.live import Follow, LiveOptions, follow_greys
from trueraster.options.meter import FileOptions, MeterOptions, meter_of, target_of, tube_of
from trueraster.options.shared import as_json_option
from trueraster.options.values import choice
from trueraster.output.answers import put_answer
from trueraster.output.files import Drawings, Targets, targets_of, write_files

if TYPE_CHECKING:
    from analysis.drawing.plots import Plot

__all__ = ["grey"]

_GUNS = ("red", "green", "blue")


@click.command(cls=DailyFirst, daily=("--white", "--page", "--follow"))
@click.argument("readings", metavar="READINGS", type=click.Path(path_type=Path))
@click.option(
    "--primaries",
    help="readings, smpte-c, ebu-3213 or bt709.  [default: as read; smpte-c where none were]",
)
@click.option("--keep", help="The gun that others are matched to.", default="green", show_default=True)
@as_value("typed", MeterOptions)
@as_value("files", FileOptions)
@as_value("live", LiveOptions)
@as_value("keeping", KeepOptions)
@as_json_option
def grey(
    readings: Path,
    primaries: str | None,
    keep: str,
    typed: MeterOptions,
    files: FileOptions,
    live: LiveOptions,
    keeping: KeepOptions,
    as_json: bool,
) -> None:
    """Measure a set's grey scale from a meter's readings, and what to adjust.

    Colour and luminance of each step, the balance of the guns, black, contrast and gamma; then which gun's cut-off or
    drive to turn, which way and how far, and what the steps read once it is done. READINGS is a CSV with the header
    field,level_percent,x,y,luminance or field,level_percent,X,Y,Z, or CGATS text. Read grey from 0 to 100 in steps of 5
    or 10 ('draw field --colour grey --level 10'), and red, green and blue at 100. Reading all of it three times makes
    the figures more certain; two levels, 20 and 80, are enough for advice. READINGS is - for standard input.

    With --follow a line comes for each reading as it is written, until Ctrl-C: what to turn, and what to turn it to.
    """
    kept = choice("--keep", keep.strip().lower(), _GUNS)
    assert kept is not None
    target, meter = target_of(typed.white), meter_of(typed)
    if live.follow or live.jsonl:
        if keeping.record is not None:
            raise UsageError("--record: with --follow nothing is kept; measure the whole file again without it")
        follow_greys(readings, live, Follow(white=target, primaries=primaries, keep=kept))
        return
    targets = targets_of(Targets(plots=files.plots, page=files.page), [readings])
    held = keeping_of(keeping, [readings])
    read = _read(readings)
    measured = measure_grey(read, target, tube_of(primaries, read), meter, kept)
    answer = grey_answer(measured)
    written = write_files(targets, answer, Drawings(plots=partial(_plots, measured)))
    put_answer(answer, written, as_json=as_json, keeping=held)


def _read(path: Path) -> Readings:
    return parse_readings(text_of(standard_input(), path), path) if path == STDIN else read_readings(path)


def _plots(measured: Grey) -> Sequence[Plot]:
    # No answer without plots waits for their library: 0.3 s.
    from analysis.meter.grey.plots import grey_plots

    return grey_plots(measured)
