"""The printed sheets, true to scale: four corner marks to cut out, and the board that a lens is calibrated with.

A `Sheet` says what is on a page in millimetres; only `write_sheet` knows of files. Each page has rulers, since printers
like to fit a page to their paper.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Outline

from analysis.photo.targets import (
    BOARD_COLUMNS,
    BOARD_ROWS,
    CORNER_NAMES,
    MARK_MM,
    SQUARE_MM,
    board_black,
    mark_black,
)
from render.writing import placed

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["PAPERS", "SHEETS", "board_place", "mark_places", "write_sheet"]

PAPERS = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""Width and height in mm: ISO 216 A4; ANSI/ASME Y14.1 A, 8.5 by 11 inches."""
_WHITE_MM = 10.0
"""White on every side of a mark; its code needs one module, 5 mm."""
_TICK_GAP_MM = 4.5
"""White between a mark and the ticks of its centre."""
_LABEL_MM = 12.0
"""Room for a mark's words, below it."""
_BETWEEN_MM = 14.0
"""From one mark's cut line to the next one's."""
_FIRST_MARK_MM = 74.0
"""From the page's top to the first cut line."""
_RULER_MM = 100
_HAIR_MM = 0.2
_INCH_MM = 25.4

Black = tuple[float, float, float, float]
"""A black rectangle: left, top, width, height in mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A thin line from (x0, y0) to (x1, y1), in mm."""

    x0: float
    y0: float
    x1: float
    y1: float
    dashed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """Words on one line. (x, y) in mm is on their base line, at the left end or in the middle; turned: read upwards."""

    x: float
    y: float
    text: str
    points: float = 9.0
    bold: bool = False
    middle: bool = False
    turned: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """A page: lengths in mm, x right and y down from its top left corner."""

    title: str
    width: float
    height: float
    black: tuple[Black, ...]
    lines: tuple[Line, ...]
    words: tuple[Words, ...]


def mark_places(paper: str) -> tuple[tuple[float, float], ...]:
    """Where the four marks' squares have their top left corners on the page, by id."""
    width, _ = PAPERS[paper]
    piece_width, piece_height = MARK_MM + 2 * _WHITE_MM, MARK_MM + 2 * _WHITE_MM + _LABEL_MM
    left = (width - 2 * piece_width - _BETWEEN_MM) / 2 + _WHITE_MM
    right = left + piece_width + _BETWEEN_MM
    top = _FIRST_MARK_MM + _WHITE_MM
    bottom = top + piece_height + _BETWEEN_MM
    return (left, top), (right, top), (right, bottom), (left, bottom)


def board_place(paper: str) -> tuple[float, float]:
    """Where the board has its top left corner on the page."""
    width, height = PAPERS[paper]
    return (width - BOARD_COLUMNS * SQUARE_MM) / 2, (height - BOARD_ROWS * SQUARE_MM) / 2 - 2.0


def marks_sheet(paper: str) -> Sheet:
    """The page with the four corner marks."""
    width, height = PAPERS[paper]
    black: list[Black] = []
    lines: list[Line] = []
    words = [
        Words(x=18, y=18, text="Corner marks", points=18, bold=True),
        *_paragraph(
            18,
            27,
            "1. Print at 100 %, not 'fit to page'. Both rulers must measure 100 mm.",
            "2. Cut along the dashed lines.",
            "3. Fix the four marks flat and upright around the picture, each at the corner it names, in one plane,",
            "    as near to the glass as they can be. They must not lie over the picture that is measured.",
            "4. Measure with a tape from centre to centre, tick to tick: across W, down H. Both pairs should agree,",
            "    and the two diagonals. Give the lengths in mm:  --marks-mm WxH",
            "5. Photograph screen and marks together, all four whole and in focus.",
        ),
    ]
    for number, (left, top) in enumerate(mark_places(paper)):
        black += [(left + x, top + y, w, h) for x, y, w, h in mark_black(number)]
        lines += _ticks(left, top) + _cut(left, top)
        middle, base = left + MARK_MM / 2, top + MARK_MM + _WHITE_MM
        words += [
            Words(x=middle, y=base + 4.8, text=CORNER_NAMES[number].upper(), points=11, bold=True, middle=True),
            Words(x=middle, y=base + 9.4, text="↑ this way up ↑", points=8, middle=True),
        ]
    _ruler(lines, words, (width - _RULER_MM) / 2, height - 26, upright=False)
    _ruler(lines, words, 20, (2 * _FIRST_MARK_MM + 2 * 62 + _BETWEEN_MM - _RULER_MM) / 2, upright=True)
    title = f"Corner marks, {paper}"
    return Sheet(title=title, width=width, height=height, black=tuple(black), lines=tuple(lines), words=tuple(words))


def board_sheet(paper: str) -> Sheet:
    """The page with the calibration board."""
    width, height = PAPERS[paper]
    left, top = board_place(paper)
    bottom = top + BOARD_ROWS * SQUARE_MM
    lines: list[Line] = []
    words = [
        Words(
            x=left,
            y=top - 6,
            text="Calibration board. Print at 100 %, glue flat on a stiff plate, without a wave.",
            bold=True,
        ),
        *_paragraph(
            left + _RULER_MM + 8,
            bottom + 5,
            "5 to 20 photographs, the lens set as for the",
            "screen: from the front, the left, the right,",
            "above and below, 20 to 40 degrees off. Let the",
            "board reach every corner of the picture.",
            points=7,
            step=3.2,
        ),
    ]
    _ruler(lines, words, left, bottom + 7.5, upright=False)
    _ruler(lines, words, left - 9, top + 70, upright=True)
    return Sheet(
        title=f"Calibration board, {paper}",
        width=width,
        height=height,
        black=tuple((left + x, top + y, w, h) for x, y, w, h in board_black()),
        lines=tuple(lines),
        words=tuple(words),
    )


SHEETS: dict[str, Callable[[str], Sheet]] = {"marks": marks_sheet, "board": board_sheet}
"""The sheets by name; each is made for a paper of `PAPERS`."""


def _paragraph(x: float, y: float, *texts: str, points: float = 9.0, step: float = 5.0) -> list[Words]:
    return [Words(x=x, y=y + step * i, text=text, points=points) for i, text in enumerate(texts)]


def _ticks(left: float, top: float) -> list[Line]:
    """Four ticks about a mark, outside it: the lines through opposite ones cross at its centre."""
    x, y = left + MARK_MM / 2, top + MARK_MM / 2
    near, far = MARK_MM / 2 + _TICK_GAP_MM, MARK_MM / 2 + _WHITE_MM
    level = [Line(x0=x + side * near, y0=y, x1=x + side * far, y1=y) for side in (-1, 1)]
    return level + [Line(x0=x, y0=y + side * near, x1=x, y1=y + side * far) for side in (-1, 1)]


def _cut(left: float, top: float) -> list[Line]:
    x0, y0 = left - _WHITE_MM, top - _WHITE_MM
    x1, y1 = left + MARK_MM + _WHITE_MM, top + MARK_MM + _WHITE_MM + _LABEL_MM
    corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
    return [
        Line(x0=a[0], y0=a[1], x1=b[0], y1=b[1], dashed=True)
        for a, b in zip(corners, corners[1:] + corners[:1], strict=True)
    ]


def _ruler(lines: list[Line], words: list[Words], x: float, y: float, *, upright: bool) -> None:
    """A ruler of 100 mm from (x, y), its ticks above it or to its left, so that a real one can be laid on."""

    def put(along: float, across: float) -> tuple[float, float]:
        return (x + across, y + along) if upright else (x + along, y + across)

    def line(start: tuple[float, float], stop: tuple[float, float]) -> Line:
        return Line(x0=start[0], y0=start[1], x1=stop[0], y1=stop[1])

    lines.append(line(put(0, 0), put(_RULER_MM, 0)))
    for at in range(_RULER_MM + 1):
        long = 5.0 if at % 50 == 0 else 3.5 if at % 10 == 0 else 2.5 if at % 5 == 0 else 1.5
        lines.append(line(put(at, 0), put(at, -long)))
    for at in range(0, _RULER_MM + 1, 10):
        # Off to the far side of the line, small enough for the narrow margin of the board.
        place = put(at, 2.8)
        words.append(Words(x=place[0], y=place[1], text=str(at), points=6, middle=True, turned=upright))
    place = put(_RULER_MM / 2, 6.2)
    words.append(Words(x=place[0], y=place[1], text="must measure 100 mm", points=7, middle=True, turned=upright))


def write_sheet(sheet: Sheet, path: Path) -> None:
    """Write the page as PDF or SVG, by the ending of the name, whole or not at all.

    Raises:
        ValueError: the name ends otherwise.
        OSError: as `render.writing.placed` raises it.
    """
    kind = path.suffix.lower().removeprefix(".")
    if kind not in ("pdf", "svg"):
        raise ValueError(f"{path}: a sheet is a PDF or SVG file; give a name that ends in .pdf or .svg")
    # Fonts as outlines in SVG, as TrueType in PDF: a reader needs none of its own. No date, so that a page is the same
    # each time.
    settings: Any = {"svg.fonttype": "path", "svg.hashsalt": "trueraster", "pdf.fonttype": 42}
    told = {"Title": sheet.title, ("Date" if kind == "svg" else "CreationDate"): None}
    with mpl.rc_context(settings), placed(path) as file:
        _figure(sheet).savefig(file, format=kind, metadata=told)


def _figure(sheet: Sheet) -> Figure:
    """The page as a figure of its size, in which a unit is a millimetre."""
    figure = Figure(figsize=(sheet.width / _INCH_MM, sheet.height / _INCH_MM))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_xlim(0, sheet.width)
    axes.set_ylim(sheet.height, 0)
    axes.set_axis_off()
    # One path for all that is black: between two that touch a viewer would show a light seam.
    corners, codes = [], []
    for x, y, width, height in sheet.black:
        corners += [(x, y), (x + width, y), (x + width, y + height), (x, y + height), (x, y)]
        codes += [Outline.MOVETO, Outline.LINETO, Outline.LINETO, Outline.LINETO, Outline.CLOSEPOLY]
    axes.add_patch(PathPatch(Outline(corners, codes), facecolor="black", linewidth=0, edgecolor="none"))
    for dashed in (False, True):
        ends = [((line.x0, line.y0), (line.x1, line.y1)) for line in sheet.lines if line.dashed is dashed]
        if ends:
            outline = Outline([end for pair in ends for end in pair], [Outline.MOVETO, Outline.LINETO] * len(ends))
            style = (0, (6, 4)) if dashed else "solid"
            width_points = _HAIR_MM / _INCH_MM * 72
            axes.add_patch(PathPatch(outline, fill=False, linewidth=width_points, linestyle=style))
    for words in sheet.words:
        axes.text(
            words.x,
            words.y,
            words.text,
            fontsize=words.points,
            fontfamily="DejaVu Sans",
            fontweight="bold" if words.bold else "normal",
            horizontalalignment="center" if words.middle else "left",
            verticalalignment="baseline",
            rotation=90 if words.turned else 0,
            rotation_mode="anchor",
        )
    return figure
