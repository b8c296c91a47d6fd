"""`measure grey`: the grey scale from a meter's readings, and which control to turn."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.meter.grey.answer import grey_answer
from analysis.meter.grey.measure import Grey, measure_grey
from analysis.meter.readings.read import read_readings
from trueraster.options.declared import as_value
from trueraster.options.meter import FileOptions, MeterOptions, meter_of, target_of, tube_of
from trueraster.options.shared import as_json_option
from trueraster.options.values import choice
from trueraster.output.answers import put_answer
from trueraster.output.files import Drawings, Targets, targets_of, write_files

if TYPE_CHECKING:
    from analysis.drawing.plots import Plot

__all__ = ["grey"]

_GUNS = ("red", "green", "blue")


@click.command(short_help="The grey scale, and which cut-off or drive to turn.")
@click.argument("readings", metavar="READINGS", type=click.Path(path_type=Path))
@click.option(
    "--primaries",
    help="readings, smpte-c, ebu-3213 or bt709.  [default: as read; smpte-c where none were]",
)
@click.option("--keep", help="The gun that others are matched to.", default="green", show_default=True)
@as_value("typed", MeterOptions)
@as_value("files", FileOptions)
@as_json_option
def grey(
    readings: Path,
    primaries: str | None,
    keep: str,
    typed: MeterOptions,
    files: FileOptions,
    as_json: bool,
) -> None:
    """Measure a set's grey scale from a meter's readings, and what to adjust.

    Colour and luminance of each step, the balance of the guns, black, contrast and gamma; then which gun's cut-off or
    drive to turn, which way and how far, and what the steps read once it is done. READINGS is a CSV with the header
    field,level_percent,x,y,luminance or field,level_percent,X,Y,Z, or CGATS text. Read grey from 0 to 100 in steps of 5
    or 10 ('draw field --colour grey --level 10'), and red, green and blue at 100. Reading all of it three times makes
    the figures more certain.
    """
    kept = choice("--keep", keep.strip().lower(), _GUNS)
    assert kept is not None
    target, meter = target_of(typed.white), meter_of(typed)
    targets = targets_of(Targets(plots=files.plots, page=files.page), [readings])
    read = read_readings(readings)
    measured = measure_grey(read, target, tube_of(primaries, read), meter, kept)
    answer = grey_answer(measured)
    written = write_files(targets, answer, Drawings(plots=partial(_plots, measured)))
    put_answer(answer, written, as_json=as_json)


def _plots(measured: Grey) -> Sequence[Plot]:
    # No answer without plots waits for their library: 0.3 s.
    from analysis.meter.grey.plots import grey_plots

    return grey_plots(measured)
