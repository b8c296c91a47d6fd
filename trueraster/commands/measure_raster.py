"""`measure geometry`, `measure convergence` and both as `measure raster`, from a photograph of a crosshatch."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click

from analysis.answer import Answer
from analysis.raster.answer import convergence_answer, geometry_answer
from analysis.raster.measure import RasterPhoto, RasterRequest, convergence_of, geometry_of, see
from trueraster import interrupt
from trueraster.options.declared import as_value, file_option
from trueraster.options.raster import GridOptions, ShapeOptions, request_of
from trueraster.options.shared import as_json_option
from trueraster.output.answers import put_answer
from trueraster.output.files import Drawings, Targets, targets_in, targets_of, write_files
from trueraster.output.json import answer_json
from trueraster.output.terminal import progress, put_json, put_text
from trueraster.output.text import answer_text

if TYPE_CHECKING:
    from PIL import Image

    from analysis.drawing.plots import Plot

__all__ = ["convergence", "geometry", "raster"]

Measured = Callable[[RasterPhoto], tuple[Answer, Drawings]]
"""What turns a photograph's grid into an answer, and what can be drawn of it."""


@dataclass(frozen=True, kw_only=True)
class FileOptions(Targets):
    """How the files that one measurement writes are asked for."""

    picture: Annotated[Path | None, file_option("--picture", "OUT.png", "Write the photograph with the errors.")]
    plots: Annotated[Path | None, file_option("--plots", "DIR", "Write plots into a folder, as SVG and PNG.")]
    page: Annotated[Path | None, file_option("--page", "OUT.html", "Write all of it as one page.")]


@click.command()
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@as_value("typed", ShapeOptions)
@as_value("files", FileOptions)
@as_json_option
def geometry(photo: Path, typed: ShapeOptions, files: FileOptions, as_json: bool) -> None:
    """Measure the raster's shape on the glass from a photograph of a crosshatch.

    Size, place, rotation, linearity, keystone, parallelogram, bends of the edges, overscan; and which control to turn,
    which way and how far. Fix the four marks of 'trueraster sheet marks' around the picture, measure the distance
    between their centres and give it with --marks-mm. Without marks only bends and overscan are measured.
    """
    _measure(_geometry, request_of(photo, typed), files, as_json)


@click.command()
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@as_value("typed", GridOptions)
@as_value("files", FileOptions)
@as_json_option
def convergence(photo: Path, typed: GridOptions, files: FileOptions, as_json: bool) -> None:
    """Measure how far red and blue lie from green, from a photograph of a white crosshatch or dots.

    At every crossing, by zone, and split into what static, edge and twist adjustments move; with what to adjust.
    Options and marks are those of 'measure geometry'.
    """
    _measure(_convergence, request_of(photo, typed), files, as_json)


@click.command()
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@as_value("typed", ShapeOptions)
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Write pictures, plots and pages into a folder.",
)
@as_json_option
def raster(photo: Path, typed: ShapeOptions, to: Path | None, as_json: bool) -> None:
    """Measure the raster's shape and its convergence at once, from a photograph of a white crosshatch or dots.

    What 'measure geometry' and 'measure convergence' report, in the time of one of them, with the same options and
    marks.
    """
    request = request_of(photo, typed)
    targets = {name: targets_in(to, name, request.inputs) for name in ("geometry", "convergence")}
    with _seen(request, quiet=as_json) as (seen, step):
        both = {"geometry": _geometry(seen), "convergence": _convergence(seen)}
        files = {name: write_files(targets[name], *both[name], step) for name in both}
    if as_json:
        put_json({name: answer_json(answer, files[name]) for name, (answer, _) in both.items()})
    else:
        texts = (answer_text(answer, files[name], whole=name == "geometry") for name, (answer, _) in both.items())
        put_text("\n\n\n".join(texts))


def _geometry(seen: RasterPhoto) -> tuple[Answer, Drawings]:
    found = geometry_of(seen)
    answer = geometry_answer(seen, found)

    def picture() -> Image.Image:
        # No answer without a picture waits for it: 25 ms.
        from analysis.raster.picture import Sighting, geometry_picture

        return geometry_picture(Sighting.of(seen, answer), found)

    def plots() -> list[Plot]:
        # No answer without plots waits for their library: 0.3 s.
        from analysis.raster.plots import geometry_plots

        return geometry_plots(found)

    return answer, Drawings(picture=picture, plots=plots)


def _convergence(seen: RasterPhoto) -> tuple[Answer, Drawings]:
    found = convergence_of(seen)
    answer = convergence_answer(seen, found)

    def picture() -> Image.Image:
        # No answer without a picture waits for it: 25 ms.
        from analysis.raster.picture import Sighting, convergence_picture

        return convergence_picture(Sighting.of(seen, answer), found)

    def plots() -> list[Plot]:
        # No answer without plots waits for their library: 0.3 s.
        from analysis.raster.plots import convergence_plots

        return convergence_plots(found)

    return answer, Drawings(picture=picture, plots=plots)


def _measure(measured: Measured, request: RasterRequest, files: FileOptions, as_json: bool) -> None:
    targets = targets_of(files, request.inputs)
    with _seen(request, quiet=as_json) as (seen, step):
        answer, drawings = measured(seen)
        written = write_files(targets, answer, drawings, step)
    put_answer(answer, written, as_json=as_json)


@contextmanager
def _seen(request: RasterRequest, *, quiet: bool) -> Iterator[tuple[RasterPhoto, Callable[[str, float], None]]]:
    """The grid of a photograph, and what shows how far the rest is, while a bar is shown."""
    with progress("measuring", quiet=quiet) as show:

        def step(words: str, share: float) -> None:
            interrupt.check()
            show(words, share)

        yield see(request, step), step
