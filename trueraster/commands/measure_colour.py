"""`measure colour`: primaries, secondaries and white against a standard, from a meter's readings."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from analysis.meter.primaries.answer import colour_answer
from analysis.meter.primaries.measure import Colour, measure_colour
from analysis.meter.readings.read import read_readings
from analysis.meter.whites import primaries_of
from trueraster.options.daily import DailyFirst
from trueraster.options.declared import as_value
from trueraster.options.keep import KeepOptions, keeping_of
from trueraster.options.meter import FileOptions, MeterOptions, meter_of, target_of
from trueraster.options.shared import as_json_option
from trueraster.output.answers import put_answer
from trueraster.output.files import Drawings, Targets, targets_of, write_files

if TYPE_CHECKING:
    from analysis.drawing.plots import Plot

__all__ = ["colour"]


@click.command(cls=DailyFirst, daily=("--primaries", "--white", "--page"))
@click.argument("readings", metavar="READINGS", type=click.Path(path_type=Path))
@click.option("--primaries", help="smpte-c, ebu-3213 or bt709.", default="smpte-c", show_default=True)
@as_value("typed", MeterOptions)
@as_value("files", FileOptions)
@as_value("keep", KeepOptions)
@as_json_option
def colour(
    readings: Path,
    primaries: str,
    typed: MeterOptions,
    files: FileOptions,
    keep: KeepOptions,
    as_json: bool,
) -> None:
    """Compare a set's colours with a standard, from a meter's readings.

    Errors in x, y and u'v', luminance errors, how much of the standard's colours can be shown, whether red, green and
    blue add up to white, and Delta E 2000. READINGS is a CSV with the header field,level_percent,x,y,luminance or
    field,level_percent,X,Y,Z, or CGATS text. Read red, green, blue, cyan, magenta, yellow and grey at one level, and
    grey at 0 ('draw field --colour red').
    """
    standard = primaries_of(primaries)
    assert standard is not None
    target, meter = target_of(typed.white), meter_of(typed)
    targets = targets_of(Targets(plots=files.plots, page=files.page), [readings])
    held = keeping_of(keep, [readings])
    measured = measure_colour(read_readings(readings), standard, target, meter)
    answer = colour_answer(measured)
    written = write_files(targets, answer, Drawings(plots=partial(_plots, measured)))
    put_answer(answer, written, as_json=as_json, keeping=held)


def _plots(measured: Colour) -> Sequence[Plot]:
    # No answer without plots waits for their library: 0.3 s.
    from analysis.meter.primaries.plots import colour_plots

    return colour_plots(measured)
