"""`measure`: figures from photographs, and from a colour meter's readings."""

from __future__ import annotations

import click

from trueraster.lazy import Entry, LazyGroup

__all__ = ["measure"]

_COMMANDS = {
    "geometry": Entry("measure_raster", "The raster's shape, and what to adjust."),
    "convergence": Entry("measure_raster", "Red and blue against green, and what to adjust."),
    "raster": Entry("measure_raster", "Both of them at once, from one photograph."),
    "uniformity": Entry("measure_uniformity", "Fall-off of light, purity and blotches on plain fields."),
    "grey": Entry("measure_grey", "The grey scale, and which cut-off or drive to turn."),
    "colour": Entry("measure_colour", "Primaries and secondaries against a standard."),
    "lens": Entry("measure_lens", "Calibrate a camera's lens from photographs of the board."),
}
"""Every measurement of a screen, then the camera's lens, with its line in the list of help."""


@click.group(cls=LazyGroup, entries=_COMMANDS)
def measure() -> None:
    """Measure a screen from photographs or meter readings."""
