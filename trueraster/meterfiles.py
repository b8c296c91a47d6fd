"""The plots that `measure grey` and `measure colour` write."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from render.writing import placed
from trueraster.options.values import UsageError

if TYPE_CHECKING:
    from analysis.drawing.plots import Plot

__all__ = ["check_folder", "write_plots"]


def check_folder(folder: Path | None) -> None:
    """Look at the folder of `--plots` before anything is measured.

    Raises:
        UsageError: its name is that of a file.
    """
    if folder is not None and folder.exists() and not folder.is_dir():
        raise UsageError(f"--plots: {folder} is there and is no folder")


def write_plots(plots: Sequence[Plot], folder: Path) -> list[Path]:
    """Write each plot as SVG and PNG, and give their names; all are drawn first, and each file is whole or not there.

    Raises:
        OSError: one cannot be written.
    """
    from analysis.drawing.plots import KINDS, plot_bytes

    files = {folder / f"{plot.name}.{kind}": plot_bytes(plot, kind) for plot in plots for kind in KINDS}
    for path, data in files.items():
        with placed(path) as file:
            file.write(data)
    return list(files)
