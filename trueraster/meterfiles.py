"""What `measure grey` and `measure colour` write: plots into a folder, and the answer to standard output."""

from __future__ import annotations

from pathlib import Path

from analysis.meter.grey.answer import grey_answer
from analysis.meter.grey.measure import Grey
from analysis.meter.primaries.answer import colour_answer
from analysis.meter.primaries.measure import Colour
from render.writing import placed
from trueraster.options.values import UsageError
from trueraster.output.answers import put_answer

__all__ = ["check_folder", "put_measured"]


def check_folder(folder: Path | None) -> None:
    """Look at the folder of `--plots` before anything is measured.

    Raises:
        UsageError: its name is that of a file.
    """
    if folder is not None and folder.exists() and not folder.is_dir():
        raise UsageError(f"--plots: {folder} is there and is no folder")


def put_measured(measured: Grey | Colour, folder: Path | None, *, as_json: bool) -> None:
    """Write plots as SVG and PNG, where a folder was named for them, then the answer.

    All are drawn before the first is written, and each file is whole or not there.

    Raises:
        OSError: a plot cannot be written.
    """
    files: dict[str, list[Path]] = {}
    if folder is not None:
        # They bring matplotlib, which no answer without plots has to wait for.
        from analysis.drawing.plots import KINDS, plot_bytes
        from analysis.meter.grey.plots import grey_plots
        from analysis.meter.primaries.plots import colour_plots

        plots = grey_plots(measured) if isinstance(measured, Grey) else colour_plots(measured)
        drawn = {folder / f"{plot.name}.{kind}": plot_bytes(plot, kind) for plot in plots for kind in KINDS}
        for path, data in drawn.items():
            with placed(path) as file:
                file.write(data)
        files["plots"] = list(drawn)
    answer = grey_answer(measured) if isinstance(measured, Grey) else colour_answer(measured)
    put_answer(answer, files, as_json=as_json)
