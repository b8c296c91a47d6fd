"""`measure geometry` and `measure convergence`: the raster on the glass, from a photograph of a crosshatch."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from trueraster import interrupt
from trueraster.commands.shared import as_json_option
from trueraster.show import progress, put_json, put_text

if TYPE_CHECKING:
    from analysis.glass.advice import Advice
    from analysis.glass.convergence import Convergence
    from analysis.glass.geometry import Geometry
    from trueraster.rasterphoto import Measured

__all__ = ["convergence", "geometry"]

Command = TypeVar("Command", bound=Callable[..., Any])

_OPTIONS: tuple[tuple[tuple[str, ...], dict[str, Any]], ...] = (
    (("--format", "-f", "fmt"), {"default": "480i", "show_default": True, "help": "What was played, as in draw."}),
    (("--aspect",), {"help": "Picture aspect: 4:3 or 16:9; any for a free raster."}),
    (("--pattern", "-p"), {"default": "crosshatch", "show_default": True, "help": "What is shown: a grid or dots."}),
    (("--cells",), {"help": "Columns x rows of the grid, if it was drawn with them."}),
    (("--marks-mm",), {"metavar": "WxH", "help": "Millimetres between the marks' centres, across x down."}),
    (("--marks",), {"metavar": "X,Y,...", "help": "Their pixels, if they are not found: from top left, clockwise."}),
    (
        ("--marks-photo",),
        {
            "type": click.Path(path_type=Path),
            "metavar": "PHOTO",
            "help": "The same view with the light on, where the marks are seen better.",
        },
    ),
    (("--no-marks",), {"is_flag": True, "help": "Only what can be told without marks."}),
    (
        ("--lens",),
        {"type": click.Path(path_type=Path), "metavar": "FILE", "help": "The camera's lens, from 'measure lens'."},
    ),
    (("--glass-radius-mm",), {"type": float, "metavar": "R", "help": "Radius of a curved face.  [default: flat]"}),
    (("--hidden",), {"metavar": "LEFT,ABOVE", "help": "Lines hidden on the left and above, if it is asked for."}),
    (
        ("--picture",),
        {"type": click.Path(path_type=Path), "metavar": "OUT.png", "help": "Write the photograph with the errors."},
    ),
    (
        ("--plots",),
        {"type": click.Path(path_type=Path), "metavar": "DIR", "help": "Write plots into a folder, as SVG and PNG."},
    ),
    (
        ("--page",),
        {"type": click.Path(path_type=Path), "metavar": "OUT.html", "help": "Write all of it as one page."},
    ),
)


def _raster_options(command: Command) -> Command:
    for names, more in reversed(_OPTIONS):
        command = click.option(*names, **more)(command)
    return as_json_option(command)


@click.command()
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@_raster_options
@click.option("--size-mm", metavar="WxH", help="Size that the picture should have.  [default: as high as it is]")
def geometry(**typed: Any) -> None:
    """Measure the raster's shape on the glass from a photograph of a crosshatch.

    Size, place, rotation, linearity, keystone, parallelogram, bends of the edges, overscan; and which control to turn,
    which way and how far. Fix the four marks of 'trueraster sheet marks' around the picture, measure the distance
    between their centres and give it with --marks-mm. Without marks only bends and overscan are told.
    """
    from analysis.glass.advice import advise
    from analysis.glass.geometry import measure_geometry

    def judge(measured: Measured) -> tuple[Geometry, Advice]:
        found = measure_geometry(measured.on.grid, measured.request.aspect, measured.on.doubts)
        return found, advise(found, measured.request.size_mm)

    _measure(judge, **typed)


@click.command()
@click.argument("photo", metavar="PHOTO", type=click.Path(path_type=Path))
@_raster_options
def convergence(**typed: Any) -> None:
    """Measure how far red and blue lie from green, from a photograph of a white crosshatch or dots.

    At every crossing, by zone, and split into what static, edge and twist adjustments move; with what to adjust.
    Options and marks are those of 'measure geometry'.
    """
    from analysis.glass.advice import advise_convergence
    from analysis.glass.convergence import measure_convergence
    from trueraster.options import UsageError

    def judge(measured: Measured) -> tuple[Convergence, Advice]:
        if not measured.photo.has_colour:
            raise UsageError(f"{measured.request.photo}: the photograph is grey; convergence is told by its colours")
        found = measure_convergence(measured.on.grid, measured.request.aspect, measured.on.doubts)
        return found, advise_convergence(found)

    _measure(judge, **typed)


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
    from trueraster.rasterphoto import request_of, see
    from trueraster.rasterwords import raster_json, raster_text

    request = request_of(**typed)
    targets = targets_of(picture, plots, page, request.inputs)
    with progress("measuring", quiet=as_json) as tell:

        def step(words: str, share: float) -> None:
            interrupt.check()
            tell(words, share)

        measured = see(request, step)
        found, advice = judge(measured)
        files = write_files(targets, measured, found, advice, step) if targets.are_wanted else {}
    if as_json:
        put_json(raster_json(measured, found, advice, files))
    else:
        put_text(raster_text(measured, found, advice, files))
