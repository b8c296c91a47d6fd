"""`measure geometry`, `measure convergence` and both as `measure raster`, from a photograph of a crosshatch."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from trueraster import interrupt
from trueraster.options.shared import as_json_option
from trueraster.output.terminal import progress, put_json, put_text

if TYPE_CHECKING:
    from analysis.raster.advice import Advice
    from analysis.raster.convergence import Convergence
    from analysis.raster.geometry.figures import Geometry
    from trueraster.rasterphoto import Measured, Request

__all__ = ["convergence", "geometry", "raster"]

Command = TypeVar("Command", bound=Callable[..., Any])

Option = tuple[tuple[str, ...], dict[str, Any]]
"""Names and settings."""


def _option(*names: str, words: str, **settings: Any) -> Option:
    return names, {"help": words, **settings}


def _file(name: str, metavar: str, words: str) -> Option:
    return _option(name, words=words, metavar=metavar, type=click.Path(path_type=Path))


_MEASURED = (
    _option("--format", "-f", "fmt", words="What was played, as in draw.", default="480i", show_default=True),
    _option("--aspect", words="Picture aspect: 4:3 or 16:9; any for a free raster."),
    _option("--pattern", "-p", words="What is shown: a grid or dots.", default="crosshatch", show_default=True),
    _option("--cells", words="Columns x rows of the grid, if it was drawn with them."),
    _option("--marks-mm", words="Millimetres between the marks' centres, as 460x360 or 460.2x360.1.", metavar="WxH"),
    _option("--marks", words="Their pixels, if they are not found: from top left, clockwise.", metavar="X,Y,..."),
    _file("--marks-photo", "PHOTO", "The same view with the light on, where the marks are seen better."),
    _option("--no-marks", words="Only what can be told without marks.", is_flag=True),
    _file("--lens", "FILE", "The camera's lens, from 'measure lens'."),
    _option("--glass-radius-mm", words="Radius of a curved face.  [default: flat]", type=float, metavar="R"),
    _option(
        "--depth-mm",
        words="How far the picture lies behind the marks.  [default: 0]",
        type=float,
        default=0.0,
        metavar="E",
    ),
    _option("--hidden", words="Lines hidden on the left and above, if it is asked for.", metavar="LEFT,ABOVE"),
)
_WRITTEN = (
    _file("--picture", "OUT.png", "Write the photograph with the errors."),
    _file("--plots", "DIR", "Write plots into a folder, as SVG and PNG."),
    _file("--page", "OUT.html", "Write all of it as one page."),
)
_SIZE = _option("--size-mm", words="Size that the picture should have.  [default: as high as it is]", metavar="WxH")


def _options(*own: Option, files: tuple[Option, ...] = _WRITTEN) -> Callable[[Command], Command]:
    """The options of all commands, with a command's own ones, in the order of the help."""

    def decorated(command: Command) -> Command:
        command = as_json_option(command)
        for names, settings in reversed((*_MEASURED, *own, *files)):
            command = click.option(*names, **settings)(command)
        return command

    return decorated


@click.command(short_help="The raster's shape, and what to adjust.")
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@_options(_SIZE)
def geometry(**typed: Any) -> None:
    """Measure the raster's shape on the glass from a photograph of a crosshatch.

    Size, place, rotation, linearity, keystone, parallelogram, bends of the edges, overscan; and which control to turn,
    which way and how far. Fix the four marks of 'trueraster sheet marks' around the picture, measure the distance
    between their centres and give it with --marks-mm. Without marks only bends and overscan are told.
    """
    _measure(_shape, **typed)


@click.command(short_help="Red and blue against green, and what to adjust.")
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@_options()
def convergence(**typed: Any) -> None:
    """Measure how far red and blue lie from green, from a photograph of a white crosshatch or dots.

    At every crossing, by zone, and split into what static, edge and twist adjustments move; with what to adjust.
    Options and marks are those of 'measure geometry'.
    """
    _measure(_guns, **typed)


@click.command(short_help="Both of them at once, from one photograph.")
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@_options(_SIZE, files=(_file("--to", "DIR", "Write pictures, plots and pages into a folder."),))
def raster(to: Path | None, as_json: bool, **typed: Any) -> None:
    """Measure the raster's shape and its convergence at once, from a photograph of a white crosshatch or dots.

    What 'measure geometry' and 'measure convergence' tell, in the time of one of them, with the same options and marks.
    """
    from trueraster.rasterfiles import targets_in, write_files
    from trueraster.rasterphoto import request_of
    from trueraster.rasterwords import raster_json, raster_text

    request = request_of(**typed)
    targets = {name: targets_in(to, name, request.inputs) for name in ("geometry", "convergence")}
    with _seen(request, quiet=as_json) as (measured, step):
        both: dict[str, tuple[Geometry | Convergence, Advice]] = {
            "geometry": _shape(measured),
            "convergence": _guns(measured),
        }
        files = {name: write_files(targets[name], measured, *both[name], step) for name in both}
    if as_json:
        put_json({name: raster_json(measured, found, advice, files[name]) for name, (found, advice) in both.items()})
    else:
        texts = (
            raster_text(measured, found, advice, files[name], whole=name == "geometry")
            for name, (found, advice) in both.items()
        )
        put_text("\n\n\n".join(texts))


def _shape(measured: Measured) -> tuple[Geometry, Advice]:
    from analysis.raster.advice import advise
    from analysis.raster.geometry.figures import measure_geometry

    found = measure_geometry(measured.on.grid, measured.request.aspect, measured.on.doubts)
    return found, advise(found, measured.request.size_mm)


def _guns(measured: Measured) -> tuple[Convergence, Advice]:
    from analysis.raster.advice import advise_convergence
    from analysis.raster.convergence import measure_convergence
    from trueraster.options.values import UsageError

    if not measured.photo.has_colour:
        raise UsageError(f"{measured.request.photo}: the photograph is grey; convergence is told by its colours")
    found = measure_convergence(measured.on.grid, measured.request.aspect, measured.on.doubts)
    return found, advise_convergence(found)


def _measure(
    judge: Callable[[Measured], tuple[Geometry | Convergence, Advice]],
    *,
    picture: Path | None,
    plots: Path | None,
    page: Path | None,
    as_json: bool,
    **typed: Any,
) -> None:
    from trueraster.rasterfiles import targets_of, write_files
    from trueraster.rasterphoto import request_of
    from trueraster.rasterwords import raster_json, raster_text

    request = request_of(**typed)
    targets = targets_of(picture, plots, page, request.inputs)
    with _seen(request, quiet=as_json) as (measured, step):
        found, advice = judge(measured)
        files = write_files(targets, measured, found, advice, step)
    if as_json:
        put_json(raster_json(measured, found, advice, files))
    else:
        put_text(raster_text(measured, found, advice, files))


@contextmanager
def _seen(request: Request, *, quiet: bool) -> Iterator[tuple[Measured, Callable[[str, float], None]]]:
    """The grid of a photograph, and what is told how far the rest is, while a bar is shown."""
    from trueraster.rasterphoto import see

    with progress("measuring", quiet=quiet) as tell:

        def step(words: str, share: float) -> None:
            interrupt.check()
            tell(words, share)

        yield see(request, step), step
