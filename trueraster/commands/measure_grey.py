"""`measure grey`: the grey scale from a meter's readings, and which control to turn."""

from __future__ import annotations

from pathlib import Path

import click

from trueraster.options.shared import as_json_option, meter_options
from trueraster.output.terminal import put_json, put_text

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
    """Tell a set's grey scale from a meter's readings, and what to adjust.

    Colour and light of each step, the balance of guns, black, contrast and gamma; then which gun's cut-off or drive to
    turn, which way and how far, and what the steps read once it is done. READINGS is a CSV with the header
    field,level_percent,x,y,luminance or field,level_percent,X,Y,Z, or CGATS text. Read grey from 0 to 100 in steps of 5
    or 10 ('draw field --colour grey --level 10'), and red, green and blue at 100. Three times makes it surer.
    """
    from analysis.meter.grey.answer import grey_json
    from analysis.meter.grey.measure import measure_grey
    from analysis.meter.readings.read import read_readings
    from analysis.meter.whites import white_of
    from trueraster.greywords import grey_text
    from trueraster.meterfiles import check_folder, write_plots
    from trueraster.options.meter import meter_of, tube_of
    from trueraster.options.values import choice

    kept = choice("--keep", keep.strip().lower(), _GUNS)
    assert kept is not None
    target, meter = white_of(white), meter_of(meter_luminance, meter_xy)
    check_folder(plots)
    read = read_readings(readings)
    found = measure_grey(read, target, tube_of(primaries, read), meter, kept)
    files: list[Path] = []
    if plots is not None:
        from analysis.meter.grey.plots import grey_plots

        files = write_plots(grey_plots(found), plots)
    if as_json:
        put_json({**grey_json(found), "files": {"plots": [str(path) for path in files]} if files else {}})
    else:
        put_text(grey_text(found, files))
