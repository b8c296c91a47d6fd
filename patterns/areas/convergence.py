"""Convergence: dots, and crosshatches of one and of two guns."""

from __future__ import annotations

from fractions import Fraction

from patterns.areas.cells import default_cells
from patterns.areas.grid import grid_patches, grid_rules, nodes
from patterns.formats import Format
from patterns.pattern import COLOURS, Area, Options, Pattern, PatternError, Stage
from patterns.placement import snap
from patterns.scene import Disc, Dot, Patch, Scene
from patterns.signal import Colour, Signal

__all__ = ["PATTERNS"]

_WHOLE_SAMPLES = 3.25
"""Least radius, in samples, at which a dot's middle keeps its level: one sample, two of shaping, and a round edge."""
_GUN_WEIGHT = 2
"""Strokes of a coloured line: twice the white one, so that chroma of half the sharpness fills most of it."""


def _dots(fmt: Format, options: Options, _: Signal | None) -> Scene:
    columns, rows = options.cells or default_cells(fmt)
    if columns < 2 or rows < 2:
        given = "--cells: got" if options.cells else f"format {fmt.id} has room for"
        raise PatternError(f"{given} {columns}x{rows}, dots need at least 2x2")
    colour = Colour.grey(1 if options.level is None else options.level)
    radius = min(Fraction(1, 120), Fraction(1, 5 * rows))
    # The outermost crossings lie on the picture's edge, where a dot would be cut in half.
    dots = tuple(
        Dot(column=i, row=j, x=Fraction(i, columns), y=Fraction(j, rows), radius=radius)
        for j in range(1, rows)
        for i in range(1, columns)
    )
    shapes = tuple(Disc(x=d.x, y=d.y, radius=d.radius, colour=colour) for d in dots)
    # Between two rows of dots the ground is free over the whole width.
    patches = tuple(
        Patch(
            name=f"below row {j} {name}",
            left=Fraction(i, 3),
            top=Fraction(j, rows) + radius,
            right=Fraction(i + 1, 3),
            bottom=Fraction(j + 1, rows) - radius,
            colour=COLOURS["black"],
        )
        for j in sorted({1, rows // 2, rows - 1})
        for i, name in enumerate(("left", "centre", "right"))
    )
    if float(radius * fmt.picture.height / fmt.sample_aspect) >= _WHOLE_SAMPLES:
        patches += tuple(_middle(fmt, dot, colour) for dot in (dots[0], dots[len(dots) // 2], dots[-1]))
    return Scene(background=COLOURS["black"], shapes=shapes, patches=patches, dots=dots)


def _middle(fmt: Format, dot: Dot, colour: Colour) -> Patch:
    """The two by two samples round the middle of a dot, where it has its whole level in spite of shaped edges."""
    dx, dy = Fraction(1, fmt.picture.width), Fraction(1, fmt.picture.height)
    x, y = snap(dot.x, fmt.picture.width) * dx, snap(dot.y, fmt.picture.height) * dy
    name = f"dot {dot.column},{dot.row}"
    return Patch(name=name, left=x - dx, top=y - dy, right=x + dx, bottom=y + dy, colour=colour, core=True)


_CHROMA = (
    "In 4:2:2 and 4:2:0 files the other guns are not quite dark beside the lines. For work on single guns use"
    " --as png, or --as ffv1 --sampling rgb."
)


def _gun_pattern(suffix: str, name: str, colour: Colour, words: tuple[str, str], adjust: str, order: int) -> Pattern:
    def build(fmt: Format, options: Options, _: Signal | None) -> Scene:
        cells = options.cells or default_cells(fmt)
        bright = colour.scaled(Fraction(1) if options.level is None else options.level)
        return Scene(
            background=COLOURS["black"],
            shapes=grid_rules(cells, bright, weight=_GUN_WEIGHT),
            patches=grid_patches(fmt, cells, COLOURS["black"], bright, _GUN_WEIGHT),
            nodes=nodes(fmt, cells, weight=_GUN_WEIGHT),
        )

    return Pattern(
        id=f"crosshatch-{suffix}",
        title=f"Crosshatch, {name}",
        area=Area.CONVERGENCE,
        look=words[0],
        right=words[1],
        adjust=adjust,
        order=Stage.CONVERGENCE + order,
        build=build,
        dwell_minutes=20,
        takes=("cells", "level"),
        cautions=(_CHROMA,),
    )


_PAIR = (
    "Whether the lines of the two guns coincide, in the middle first, then toward the corners.",
    "Lines of one mixed colour, without a second edge.",
)
_ONE = (
    "The lines of one gun alone. Compare their shape with the lines of the other two.",
    "Straight lines, in the same places as those of the other two guns.",
)
_ONE_ADJUST = "Nothing by itself. It shows which gun a misconverged line belongs to."

PATTERNS = (
    Pattern(
        id="dots",
        title="Dot grid",
        area=Area.CONVERGENCE,
        look="The dots' edges, in the middle first, then toward the corners.",
        right="White dots with no coloured edge.",
        adjust="Static convergence first; then edges, corners and twist if the set has outside controls for them.",
        order=Stage.CONVERGENCE + 10,
        build=_dots,
        dwell_minutes=30,
        takes=("cells", "level"),
    ),
    _gun_pattern("rg", "red and green", COLOURS["yellow"], _PAIR, "Red to green, static, then edges.", 20),
    _gun_pattern("gb", "green and blue", COLOURS["cyan"], _PAIR, "Blue to green, static, then edges.", 30),
    _gun_pattern(
        "rb",
        "red and blue",
        COLOURS["magenta"],
        _PAIR,
        "Red to blue; a check of the other two pairs.",
        40,
    ),
    _gun_pattern("r", "red", COLOURS["red"], _ONE, _ONE_ADJUST, 50),
    _gun_pattern("g", "green", COLOURS["green"], _ONE, _ONE_ADJUST, 51),
    _gun_pattern("b", "blue", COLOURS["blue"], _ONE, _ONE_ADJUST, 52),
)
