"""The looks of all plots: their face and inks, a sheet with its finding as the title, and the files."""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Iterable
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.patches import Circle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = [
    "BLUE",
    "INK",
    "KINDS",
    "ORANGE",
    "PLATE",
    "RULE",
    "SOFT",
    "Plot",
    "about_target",
    "plot_bytes",
    "plot_sheet",
    "plot_style",
    "with_minus",
]

INK, SOFT, RULE = "#16191d", "#4a525c", "#d5dae0"
BLUE, ORANGE = "#1f6fb2", "#d9660a"
"""They differ for every kind of colour vision."""
PLATE: dict[str, Any] = {"facecolor": "white", "edgecolor": "none", "pad": 0.6}
"""What lies under words on a plot, so that no line runs through them."""
KINDS = ("svg", "png")
"""The files that a plot is written as."""
WIDTH = 8.0
"""Of a plot, in inches."""
_TITLE, _NOTE = 68, 106
"""Characters on a line of the title, and of the words below it."""
_STYLE: Any = {
    "font.family": "DejaVu Sans",
    "font.size": 10.0,
    "axes.edgecolor": SOFT,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "grid.color": RULE,
    "grid.linewidth": 0.8,
    "text.color": INK,
    "xtick.color": SOFT,
    "ytick.color": SOFT,
    "legend.frameon": False,
    "svg.fonttype": "path",
    "svg.hashsalt": "trueraster",
}


@dataclass(frozen=True, eq=False)
class Plot:
    """A plot that can be saved in several kinds."""

    name: str
    """For a file, without its ending."""
    title: str
    figure: Figure


def plot_style() -> AbstractContextManager[None]:
    """Within it, what is drawn has these looks."""
    return mpl.rc_context(_STYLE)


def plot_bytes(plot: Plot, kind: str) -> bytes:
    """The plot as a file of one of `KINDS`; the same each time."""
    file = io.BytesIO()
    told = {"Title": plot.title, "Date": None} if kind == "svg" else {"Title": plot.title, "Software": "trueraster"}
    with plot_style():
        plot.figure.savefig(file, format=kind, dpi=150, metadata=told)
    return file.getvalue()


def plot_sheet(
    title: str, note: str, height: float, panels: int = 1, *, down: bool = False, **how: Any
) -> tuple[Figure, list[Axes]]:
    """A figure with its title and a line of explanation above its panels, all laid out in inches from the top.

    Panels stand side by side, or one below the other.
    """
    title, note = with_minus(title), with_minus(note)
    lines, notes = textwrap.wrap(title, _TITLE), textwrap.wrap(note, _NOTE)
    above = 0.2 + 0.24 * len(lines) + 0.18 * len(notes) + 0.1
    figure = Figure(figsize=(WIDTH, height + above), layout="constrained", facecolor="white")
    axes = figure.subplots(*((panels, 1) if down else (1, panels)), squeeze=False, **how).ravel()
    engine: Any = figure.get_layout_engine()
    engine.set(rect=(0, 0, 1, height / (height + above)), w_pad=0.08, h_pad=0.08)
    top = height + above - 0.12
    figure.text(
        0.15 / WIDTH,
        top / (height + above),
        "\n".join(lines),
        fontsize=13,
        fontweight="bold",
        va="top",
        linespacing=1.25,
    )
    top -= 0.24 * len(lines) + 0.06
    figure.text(0.15 / WIDTH, top / (height + above), "\n".join(notes), color=SOFT, va="top", linespacing=1.2)
    return figure, list(axes)


def with_minus(text: str) -> str:
    """The text with the sign of minus before its negative figures."""
    return re.sub(r"(?<!\w)-(?=\d)", "−", text)


def about_target(axes: Axes, reach: float, rings: Iterable[float]) -> None:
    """Square axes of -`reach` to `reach` about a target in the middle, with rings at these distances from it."""
    for ring in rings:
        axes.add_patch(Circle((0, 0), ring, fill=False, edgecolor=SOFT, linewidth=0.8, linestyle=":"))
        axes.annotate(f"{ring:g}", (0, -ring), ha="center", va="center", color=SOFT, fontsize=8, bbox=PLATE)
    axes.axhline(0, color=SOFT, linewidth=0.8)
    axes.axvline(0, color=SOFT, linewidth=0.8)
    axes.set_xlim(-reach, reach)
    axes.set_ylim(-reach, reach)
    axes.set_aspect("equal")
    axes.grid(False)
