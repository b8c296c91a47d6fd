"""The files that `measure geometry`, `measure convergence` and `measure raster` write: picture, plots and page."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from render.writing import placed
from trueraster.options.values import UsageError

if TYPE_CHECKING:
    from PIL import Image

    from analysis.drawing.plots import Plot
    from analysis.raster.advice import Advice
    from analysis.raster.convergence import Convergence
    from analysis.raster.geometry.figures import Geometry
    from trueraster.rasterphoto import Measured

__all__ = ["Targets", "targets_in", "targets_of", "write_files"]


@dataclass(frozen=True, kw_only=True)
class Targets:
    """Where files are to be written; None where one is not wanted."""

    picture: Path | None
    plots: Path | None
    page: Path | None


def targets_of(picture: Path | None, plots: Path | None, page: Path | None, inputs: Sequence[Path]) -> Targets:
    """The names as they were typed.

    Raises:
        UsageError: a name ends wrongly, is that of a folder, or is one of the files that are read.
    """
    for name, path, ending in (("--picture", picture, ".png"), ("--page", page, ".html")):
        if path is None:
            continue
        if path.suffix.lower() != ending:
            raise UsageError(f"{name}: got {str(path)[:60]!r}, a name that ends in {ending} is expected")
        if path.is_dir():
            raise UsageError(f"{name}: {path} is a folder")
        if any(path.resolve() == other.resolve() for other in inputs):
            raise UsageError(f"{name}: {path} is one of the files that are read, and would be lost")
    if plots is not None and plots.exists() and not plots.is_dir():
        raise UsageError(f"--plots: {plots} is there and is no folder")
    return Targets(picture=picture, plots=plots, page=page)


def targets_in(folder: Path | None, name: str, inputs: Sequence[Path]) -> Targets:
    """All kinds of files in a folder, the picture and the page by `name`; none where there is no folder.

    Raises:
        UsageError: as `targets_of` does.
    """
    if folder is None:
        return targets_of(None, None, None, inputs)
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"--to: {folder} is there and is no folder")
    return targets_of(folder / f"{name}.png", folder, folder / f"{name}.html", inputs)


def write_files(
    targets: Targets,
    measured: Measured,
    found: Geometry | Convergence,
    advice: Advice,
    step: Callable[[str, float], None],
) -> dict[str, Path | list[Path]]:
    """Draw all that is wanted, then write it; each file is whole or not there. Gives their names for JSON.

    Raises:
        OSError: one cannot be written.
    """
    files: dict[Path, bytes] = {}
    named: dict[str, Path | list[Path]] = {}
    image = None
    if targets.picture is not None or targets.page is not None:
        step("drawing the picture", 0.8)
        image = _picture(measured, found)
    if targets.picture is not None and image is not None:
        files[targets.picture], named["picture"] = _png(image), targets.picture
    svgs: list[tuple[str, bytes]] = []
    if targets.plots is not None or targets.page is not None:
        step("drawing the plots", 0.85)
        plots = _plots(found)
        svgs = [(plot.title, _bytes(plot, "svg")) for plot in plots]
        if targets.plots is not None:
            paths = {(plot.name, kind): targets.plots / f"{plot.name}.{kind}" for plot in plots for kind in _KINDS}
            for plot, (_, svg) in zip(plots, svgs, strict=True):
                files[paths[plot.name, "svg"]], files[paths[plot.name, "png"]] = svg, _bytes(plot, "png")
            named["plots"] = list(paths.values())
    if targets.page is not None and image is not None:
        from trueraster.rasterpage import raster_page

        files[targets.page] = raster_page(measured, found, advice, image, svgs).encode()
        named["page"] = targets.page
    if files:
        step("writing", 0.95)
    for path, data in files.items():
        with placed(path) as file:
            file.write(data)
    return named


_KINDS = ("svg", "png")


def _picture(measured: Measured, found: Geometry | Convergence) -> Image.Image:
    from analysis.photo.notes import read_notes
    from analysis.raster.geometry.figures import Geometry
    from analysis.raster.picture import Sighting, convergence_picture, geometry_picture
    from trueraster.rasterwords import heading

    photo, lens = measured.photo, measured.lens
    sight = Sighting(
        photo=photo,
        on=measured.on,
        marks=None if measured.marks is None else measured.marks.seen,
        lens=None if lens is None else lens.for_photo(photo.size, read_notes(photo.path).orientation),
        title=f"{measured.request.photo}: {heading(measured, found)}",
        notes=measured.warnings,
    )
    return geometry_picture(sight, found) if isinstance(found, Geometry) else convergence_picture(sight, found)


def _plots(found: Geometry | Convergence) -> list[Plot]:
    from analysis.raster.geometry.figures import Geometry
    from analysis.raster.plots import convergence_plots, geometry_plots

    return geometry_plots(found) if isinstance(found, Geometry) else convergence_plots(found)


def _bytes(plot: Plot, kind: str) -> bytes:
    from analysis.drawing.plots import plot_bytes

    return plot_bytes(plot, kind)


def _png(image: Image.Image) -> bytes:
    file = io.BytesIO()
    # Noise does not shrink, and takes the harder levels seconds.
    image.save(file, "PNG", compress_level=2)
    return file.getvalue()
