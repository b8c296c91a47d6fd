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
from trueraster.options.meter import meter_of, target_of
from trueraster.options.shared import as_json_option, meter_options
from trueraster.output.answers import put_answer
from trueraster.output.files import Drawings, Targets, targets_of, write_files

if TYPE_CHECKING:
    from analysis.drawing.plots import Plot

__all__ = ["colour"]


@click.command()
@click.argument("readings", metavar="READINGS", type=click.Path(path_type=Path))
@click.option("--primaries", help="smpte-c, ebu-3213 or bt709.", default="smpte-c", show_default=True)
@meter_options
@as_json_option
def colour(
    readings: Path,
    primaries: str,
    white: str,
    plots: Path | None,
    page: Path | None,
    meter_luminance: float | None,
    meter_xy: float | None,
    as_json: bool,
) -> None:
    """Compare a set's colours with a standard, from a meter's readings.

    Errors in x, y and u'v', shares of light, how much of the standard's colours can be shown, whether red, green and
    blue add up to white, and Delta E 2000. READINGS is a CSV with the header field,level_percent,x,y,luminance or
    field,level_percent,X,Y,Z, or CGATS text. Read red, green, blue, cyan, magenta, yellow and grey at one level, and
    grey at 0 ('draw field --colour red').
    """
    standard = primaries_of(primaries)
    assert standard is not None
    target, meter = target_of(white), meter_of(meter_luminance, meter_xy)
    targets = targets_of(Targets(plots=plots, page=page), [readings])
    measured = measure_colour(read_readings(readings), standard, target, meter)
    answer = colour_answer(measured)
    files = write_files(targets, answer, Drawings(plots=partial(_plots, measured)))
    put_answer(answer, files, as_json=as_json)


def _plots(measured: Colour) -> Sequence[Plot]:
    # No answer without plots waits for their library: 0.3 s.
    from analysis.meter.primaries.plots import colour_plots

    return colour_plots(measured)
