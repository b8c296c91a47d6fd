"""A photograph around a grid of equations, for tests of what is reported of it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from analysis.photo.file import Photo
from analysis.raster.grid import GlassGrid, SeenGrid
from analysis.raster.measure import RasterPhoto
from analysis.raster.placing import OnGlass
from analysis.raster.request import GridShown, RasterRequest
from patterns.catalogue import find_pattern
from patterns.formats import parse_format

__all__ = ["photo_of"]


def photo_of(grid: GlassGrid) -> RasterPhoto:
    """A dark photograph in which this grid was found, without marks that anything is drawn by."""
    path = Path("photograph.png")
    seen = SeenGrid(
        shown=grid.shown,
        nodes=grid.nodes,
        sigma=grid.sigma,
        level_ends=grid.level_ends,
        upright_ends=grid.upright_ends,
    )
    return RasterPhoto(
        request=RasterRequest(photo=path, shown=GridShown.of(find_pattern("crosshatch"), parse_format("480i"))),
        photo=Photo(path, np.zeros((600, 800, 3), np.uint8)),
        on=OnGlass(seen=seen, grid=grid, doubts=(), plane=None, warnings=()),
        marks=None,
        marks_words="no marks",
        lens=None,
        warnings=(),
    )
