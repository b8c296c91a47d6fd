"""`measure grey`: the grey scale from a meter's readings, and which control to turn."""

from __future__ import annotations

from pathlib import Path

import click

from trueraster.options.shared import as_json_option, meter_options

__all__ = ["grey"]

_GUNS = ("red", "green", "blue")


@click.command(short_help="The grey scale, and which cut-off or drive to turn.")
@click.argument("readings", metavar="READINGS", type=click.Path(path_type=Path))
@click.option(
    "--primaries",
    help="readings, smpte-c, ebu-3213 or bt709.  [default: as read; smpte-c where none were]",
)
@click.option("--keep", help="The gun that others are matched to.", default="green", show_default=True)
@meter_options
@as_json_option
def grey(
    readings: Path,
    primaries: str | None,
    keep: str,
    white: str,
    plots: Path | None,
    meter_luminance: float | None,
    meter_xy: float | None,
    as_json: bool,
) -> None:
    """Measure a set's grey scale from a meter's readings, and what to adjust.

    Colour and luminance of each step, the balance of the guns, black, contrast and gamma; then which gun's cut-off or
    drive to turn, which way and how far, and what the steps read once it is done. READINGS is a CSV with the header
    field,level_percent,x,y,luminance or field,level_percent,X,Y,Z, or CGATS text. Read grey from 0 to 100 in steps of 5
    or 10 ('draw field --colour grey --level 10'), and red, green and blue at 100. Reading all of it three times makes
    the figures more certain.
    """
    from analysis.meter.grey.measure import measure_grey
    from analysis.meter.readings.read import read_readings
    from trueraster.meterfiles import check_folder, put_measured
    from trueraster.options.meter import meter_of, target_of, tube_of
    from trueraster.options.values import choice

    kept = choice("--keep", keep.strip().lower(), _GUNS)
    assert kept is not None
    target, meter = target_of(white), meter_of(meter_luminance, meter_xy)
    check_folder(plots)
    read = read_readings(readings)
    measured = measure_grey(read, target, tube_of(primaries, read), meter, kept)
    put_measured(measured, plots, as_json=as_json)
