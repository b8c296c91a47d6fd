"""`measure`: figures from photographs, and from a colour meter's readings."""

from __future__ import annotations

import click

from trueraster.commands.measure_colour import colour
from trueraster.commands.measure_grey import grey
from trueraster.commands.measure_lens import lens
from trueraster.commands.measure_raster import convergence, geometry, raster
from trueraster.commands.measure_uniformity import uniformity

__all__ = ["measure"]


@click.group()
def measure() -> None:
    """Measure a screen, or a camera's lens, in photographs; or a screen's colours with a meter."""


for command in (geometry, convergence, raster, uniformity, grey, colour, lens):
    measure.add_command(command)
