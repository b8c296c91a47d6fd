"""What `measure geometry` and `measure convergence` found as one page that needs no other file and no network."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from importlib.metadata import version
from typing import TYPE_CHECKING

from analysis.raster.advice import Advice
from analysis.raster.convergence import Convergence
from analysis.raster.geometry.figures import Geometry
from trueraster.output.page import data_uri, rendered
from trueraster.rasterphoto import Measured
from trueraster.rastertables import Table, aligned, untold
from trueraster.rasterwords import INSIDE, findings, heading, steps, tables_of

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["raster_page"]

_QUALITY = 88
"""Of the photograph as JPEG: as PNG it would be several times as large."""
_DIGIT, _POINT = "\u2007", "\u2008"
"""Blanks as wide as a digit and as a point."""


def raster_page(
    measured: Measured,
    found: Geometry | Convergence,
    advice: Advice,
    picture: Image.Image,
    plots: Sequence[tuple[str, bytes]],
) -> str:
    """The page as HTML. `plots` are titles and SVG files."""
    file = io.BytesIO()
    picture.save(file, "JPEG", quality=_QUALITY, subsampling=0)
    return rendered(
        "raster.html",
        kind="Convergence" if isinstance(found, Convergence) else "Geometry",
        findings=findings(found),
        photo=str(measured.request.photo),
        heading=heading(measured, found),
        tables=[_typeset(table) for table in tables_of(found)],
        untold=untold(found),
        notes=measured.warnings,
        steps=steps(advice),
        service=INSIDE,
        summary=advice.summary,
        picture={"source": data_uri("image/jpeg", file.getvalue()), "width": picture.width, "height": picture.height},
        plots=[{"title": title, "source": data_uri("image/svg+xml", data)} for title, data in plots],
        program=f"trueraster {version('trueraster')}",
    )


def _typeset(table: Table) -> Table:
    """With figures that stand point below point, and true minus signs."""
    by_column = list(zip(*table.rows, strict=True))
    for i in table.figures:
        # Where there is no figure the dash is left alone.
        cells = [cell if cell == "-" else cell.replace("-", "−") for cell in by_column[i]]
        by_column[i] = tuple(aligned(cells, _DIGIT, _POINT))
    return replace(table, rows=tuple(zip(*by_column, strict=True)))
