"""`measure geometry`, `measure convergence` and both as `measure raster`, from a photograph of a crosshatch."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import click

from analysis.answer import Answer
from analysis.raster.answer import convergence_answer, geometry_answer
from analysis.raster.measure import RasterPhoto, convergence_of, geometry_of, see
from analysis.raster.request import RasterRequest
from trueraster import interrupt
from trueraster.options.daily import DailyFirst
from trueraster.options.declared import as_value, file_option
from trueraster.options.keep import KeepOptions, keeping_of
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

__all__ = ["convergence", "convergence_drawn", "geometry", "geometry_drawn", "raster"]

Photos = tuple[Path, ...]
Measured = Callable[[RasterPhoto], tuple[Answer, Drawings]]
"""What turns a photograph's grid into an answer, and what can be drawn of it."""


@dataclass(frozen=True, kw_only=True)
class FileOptions(Targets):
    """How the files that one measurement writes are asked for."""

    picture: Annotated[Path | None, file_option("--picture", "OUT.png", "Write the photograph with the errors.")]
    plots: Annotated[Path | None, file_option("--plots", "DIR", "Write plots into a folder, as SVG and PNG.")]
    page: Annotated[Path | None, file_option("--page", "OUT.html", "Write all of it as one page.")]


@click.command(cls=DailyFirst, daily=("--format", "--marks-mm", "--lens"))
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True, type=click.Path(path_type=Path))
@as_value("typed", ShapeOptions)
@as_value("files", FileOptions)
@as_value("keep", KeepOptions)
@as_json_option
def geometry(photos: Photos, typed: ShapeOptions, files: FileOptions, keep: KeepOptions, as_json: bool) -> None:
    """Measure the raster's shape on the glass from a photograph of a crosshatch.

    Size, place, rotation, linearity, keystone, parallelogram, bends of the edges, overscan; and which control to turn,
    which way and how far. Fix the four marks of 'trueraster sheet marks' around the picture, measure the distance
    between their centres and give it with --marks-mm. Without marks only bends and overscan are measured.
    """
    _measure(geometry_drawn, request_of(photos, typed), files, keep, as_json)


@click.command(cls=DailyFirst, daily=("--format", "--marks-mm", "--lens"))
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True, type=click.Path(path_type=Path))
@as_value("typed", GridOptions)
@as_value("files", FileOptions)
@as_value("keep", KeepOptions)
@as_json_option
def convergence(photos: Photos, typed: GridOptions, files: FileOptions, keep: KeepOptions, as_json: bool) -> None:
    """Measure how far red and blue lie from green, from a photograph of a white crosshatch or dots.

    At every crossing, by zone, and split into what static, edge and twist adjustments move; with what to adjust.
    Options and marks are those of 'measure geometry'.
    """
    _measure(convergence_drawn, request_of(photos, typed), files, keep, as_json)


@click.command(cls=DailyFirst, daily=("--format", "--marks-mm", "--lens"))
@click.argument("photos", metavar="PHOTO...", nargs=-1, required=True, type=click.Path(path_type=Path))
@as_value("typed", ShapeOptions)
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Write pictures, plots and pages into a folder.",
)
@as_value("keep", KeepOptions)
@as_json_option
def raster(photos: Photos, typed: ShapeOptions, to: Path | None, keep: KeepOptions, as_json: bool) -> None:
    """Measure the raster's shape and its convergence at once, from a photograph of a white crosshatch or dots.

    What 'measure geometry' and 'measure convergence' report, in the time of one of them, with the same options and
    marks. Several hand-held photographs of one picture, from 10 to 25 degrees on all sides, are solved together: they
    need neither a lens file nor the face's depth and radius, and one length is enough, such as --height-mm.
    """
    request = request_of(photos, typed)
    keeping = keeping_of(keep, list(photos))
    targets = {name: targets_in(to, name, request.inputs) for name in ("geometry", "convergence")}
    with _seen(request, quiet=as_json) as (seen, step):
        both = {"geometry": geometry_drawn(seen), "convergence": convergence_drawn(seen)}
        files = {name: write_files(targets[name], *both[name], step) for name in both}
    held = {name: answer_json(answer, files[name]) for name, (answer, _) in both.items()}
    with ExitStack() as after:
        if keeping is not None:
            after.callback(keeping.keep, held)
        if as_json:
            put_json(held)
        else:
            texts = (answer_text(answer, files[name], whole=name == "geometry") for name, (answer, _) in both.items())
            put_text("\n\n\n".join(texts))


def geometry_drawn(seen: RasterPhoto) -> tuple[Answer, Drawings]:
    """The raster's shape in a photograph: the answer, and what can be drawn of it."""
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


def convergence_drawn(seen: RasterPhoto) -> tuple[Answer, Drawings]:
    """Red and blue against green in a photograph: the answer, and what can be drawn of it."""
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


def _measure(measured: Measured, request: RasterRequest, files: FileOptions, keep: KeepOptions, as_json: bool) -> None:
    targets = targets_of(files, request.inputs)
    keeping = keeping_of(keep, [request.photo, *request.more])
    with _seen(request, quiet=as_json) as (seen, step):
        answer, drawings = measured(seen)
        written = write_files(targets, answer, drawings, step)
    put_answer(answer, written, as_json=as_json, keeping=keeping)


@contextmanager
def _seen(request: RasterRequest, *, quiet: bool) -> Iterator[tuple[RasterPhoto, Callable[[str, float], None]]]:
    """The grid of a photograph, and what shows how far the rest is, while a bar is shown."""
    with progress("measuring", quiet=quiet) as show:

        def step(words: str, share: float) -> None:
            interrupt.check()
            show(words, share)

        yield see(request, step), step
