"""The files that a measurement writes besides its answer: a picture, plots and a page."""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from render.writing import placed
from trueraster.errors import UsageError
from trueraster.output.json import Files

if TYPE_CHECKING:
    from PIL import Image

    from analysis.answer import Answer
    from analysis.drawing.plots import Plot

__all__ = ["Drawings", "Targets", "check_new", "check_target", "targets_in", "targets_of", "write_files"]


@dataclass(frozen=True, kw_only=True)
class Targets:
    """Where files are to be written; None where one is not wanted."""

    picture: Path | None = None
    plots: Path | None = None
    """A folder."""
    page: Path | None = None


@dataclass(frozen=True, kw_only=True)
class Drawings:
    """What can be drawn of an answer. Each is drawn only when it is wanted: libraries for it take long to load."""

    picture: Callable[[], Image.Image] | None = None
    plots: Callable[[], Sequence[Plot]] | None = None


def targets_of(targets: Targets, inputs: Sequence[Path]) -> Targets:
    """The same, looked at before anything is measured.

    Raises:
        UsageError: a name ends wrongly, is that of a folder, or is one of the files that are read.
    """
    for name, path, ending in (("--picture", targets.picture, ".png"), ("--page", targets.page, ".html")):
        if path is not None:
            check_target(name, path, (ending,), inputs)
    check_folder("--plots", targets.plots)
    return targets


def check_target(option: str, path: Path, endings: tuple[str, ...], inputs: Sequence[Path]) -> None:
    """Look at the name of a file that is to be written, before anything is measured.

    Raises:
        UsageError: it has none of the endings, is that of a folder, a device or a pipe, or is one of the files that
            are read, `inputs`.
    """
    if path.suffix.lower() not in endings:
        wanted = " or ".join(filter(None, (", ".join(endings[:-1]), endings[-1])))
        raise UsageError(f"{option}: got {str(path)[:60]!r}, a name that ends in {wanted} is expected")
    if path.is_dir():
        raise UsageError(f"{option}: {path} is a folder")
    if path.exists() and not path.is_file():
        raise UsageError(f"{option}: {path} is not a file and is never replaced; give a different name")
    if any(path.resolve() == other.resolve() for other in inputs):
        raise UsageError(f"{option}: {path} is one of the files that are read, and would be lost")


def check_new(option: str, path: Path) -> None:
    """Look at the name of a file that must not be there yet.

    Raises:
        UsageError: it is.
    """
    if path.exists():
        raise UsageError(f"{option}: {path} is there already; give another name, or take it away first")


def targets_in(folder: Path | None, name: str, inputs: Sequence[Path]) -> Targets:
    """All kinds of files in a folder, the picture and the page by `name`; none where there is no folder.

    Raises:
        UsageError: as `targets_of` does.
    """
    if folder is None:
        return Targets()
    check_folder("--to", folder)
    return targets_of(Targets(picture=folder / f"{name}.png", plots=folder, page=folder / f"{name}.html"), inputs)


def check_folder(option: str, folder: Path | None) -> None:
    """Look at the name of a folder before anything is measured.

    Raises:
        UsageError: it is that of a file.
    """
    if folder is not None and folder.exists() and not folder.is_dir():
        raise UsageError(f"{option}: {folder} is there and is no folder")


def write_files(
    targets: Targets, answer: Answer, drawings: Drawings, step: Callable[[str, float], None] = lambda words, share: None
) -> Files:
    """Draw all that is wanted, then write it; each file is whole or not there. Gives their names by what they are.

    Args:
        targets: what is wanted.
        answer: what the page tells.
        drawings: what can be drawn.
        step: gets what is done next, and how much of all work is done, 0 to 1.

    Raises:
        OSError: one cannot be written.
    """
    files: dict[Path, bytes] = {}
    named: dict[str, Path | list[Path]] = {}
    image = None
    if drawings.picture is not None and (targets.picture is not None or targets.page is not None):
        step("drawing the picture", 0.8)
        image = drawings.picture()
        if targets.picture is not None:
            files[targets.picture], named["picture"] = _png(image), targets.picture
    svgs: list[tuple[str, bytes]] = []
    if drawings.plots is not None and (targets.plots is not None or targets.page is not None):
        # It brings matplotlib: 0.3 s that no answer without plots waits for.
        from analysis.drawing.plots import KINDS, plot_bytes

        step("drawing the plots", 0.85)
        plots = drawings.plots()
        svgs = [(plot.title, plot_bytes(plot, "svg")) for plot in plots]
        if targets.plots is not None:
            drawn = {
                targets.plots / f"{plot.name}.{kind}": svg if kind == "svg" else plot_bytes(plot, kind)
                for plot, (_, svg) in zip(plots, svgs, strict=True)
                for kind in KINDS
            }
            files |= drawn
            named["plots"] = list(drawn)
    if targets.page is not None:
        # It brings the templates: 40 ms that no answer without a page waits for.
        from trueraster.output.page import answer_page

        files[targets.page] = answer_page(answer, image, svgs).encode()
        named["page"] = targets.page
    if files:
        step("writing", 0.95)
    for path, data in files.items():
        with placed(path) as file:
            file.write(data)
    return named


def _png(image: Image.Image) -> bytes:
    file = io.BytesIO()
    # Noise does not shrink, and takes the harder levels seconds.
    image.save(file, "PNG", compress_level=2)
    return file.getvalue()
