"""The files that `scope` writes: plots as SVG or PNG, the trace as CSV."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from patterns.lines import field_span
from render.writing import placed
from trueraster.options.values import UsageError
from trueraster.output.files import check_target
from trueraster.scope.answer import csv_chunks, scope_note, scope_title

if TYPE_CHECKING:
    from trueraster.scope.request import View

__all__ = ["check_targets", "file_words", "write_scope"]

_KINDS = (".svg", ".png", ".csv")
_LARGE = 5_000_000
"""Bytes from which a file's size is shown: a frame of HD has a hundred million."""


def check_targets(names: Sequence[str], subject: str) -> list[Path]:
    """The paths as they were typed.

    Raises:
        UsageError: as `check_target` does, or a name stands twice.
    """
    paths = [Path(name) for name in names]
    inputs = [Path(subject)] if Path(subject).exists() else []
    for path in paths:
        check_target("--to", path, _KINDS, inputs)
    if len({path.resolve() for path in paths}) < len(paths):
        raise UsageError("--to: the same file is named twice; give each --to a different name")
    return paths


def write_scope(view: View, paths: Sequence[Path]) -> list[str]:
    """Write all of them, each whole or not at all, and give their names.

    Raises:
        OSError: one cannot be written.
    """
    plot = _drawn(view) if any(path.suffix.lower() != ".csv" for path in paths) else None
    for path in paths:
        kind = path.suffix.lower()[1:]
        chunks = csv_chunks(view) if plot is None or kind == "csv" else iter([plot(kind)])
        with placed(path) as file:
            for chunk in chunks:
                file.write(chunk)
    return [str(path) for path in paths]


def file_words(name: str) -> str:
    """The file's name, and its size if it is large."""
    size = Path(name).stat().st_size
    return f"{name} ({size / 1e6:.0f} MB)" if size >= _LARGE else name


def _drawn(view: View) -> Callable[[str], bytes]:
    """The plot, from a kind of file to its bytes."""
    # The table and the points do without the library of plots: 700 ms.
    from analysis.drawing.plots import plot_bytes
    from analysis.waveform.plot import line_plot, span_plot

    title, note = scope_title(view), scope_note(view)
    if view.line is not None:
        plot = line_plot(view.wave, view.line, title, note)
    else:
        start = float(field_span(view.format, view.wanted.field or None).start)
        plot = span_plot(view.wave, "field" if view.wanted.field else "frame", start, title, note)
    return partial(plot_bytes, plot)
