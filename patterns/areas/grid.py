"""Grids of cells that are square on the glass: the shared ground of the geometry and convergence patterns."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from patterns.formats import Format
from patterns.pattern import COLOURS
from patterns.placement import rule_area, stroke
from patterns.scene import Node, Patch, Rule
from patterns.signal import Colour

__all__ = ["frame_rules", "gap_patches", "grid_patches", "grid_rules", "line_patch", "nodes"]

_ZERO, _ONE = Fraction(0), Fraction(1)


def grid_rules(cells: tuple[int, int], colour: Colour, weight: int = 1) -> tuple[Rule, ...]:
    """The lines of a grid: centred on the cells' edges, the outer ones on the picture's edge.

    Where the picture ends with the raster, the outer half of an outer line is cut off; the cells stay equal.
    """
    columns, rows = cells
    across = (
        Rule(vertical=False, at=Fraction(j, rows), start=_ZERO, stop=_ONE, colour=colour, weight=weight)
        for j in range(rows + 1)
    )
    down = (
        Rule(vertical=True, at=Fraction(i, columns), start=_ZERO, stop=_ONE, colour=colour, weight=weight)
        for i in range(columns + 1)
    )
    return (*across, *down)


def frame_rules(
    fmt: Format, left: Fraction, top: Fraction, right: Fraction, bottom: Fraction, colour: Colour
) -> tuple[Rule, ...]:
    """The outline of a rectangle: top, bottom, left, right. Each runs half a stroke further and closes the corners."""
    samples, lines = stroke(fmt)
    dx, dy = Fraction(samples, 2 * fmt.picture.width), Fraction(lines, 2 * fmt.picture.height)
    across = (Rule(vertical=False, at=at, start=left - dx, stop=right + dx, colour=colour) for at in (top, bottom))
    down = (Rule(vertical=True, at=at, start=top - dy, stop=bottom + dy, colour=colour) for at in (left, right))
    return (*across, *down)


def nodes(fmt: Format, cells: tuple[int, int], weight: int = 1) -> tuple[Node, ...]:
    """The crossings of a grid's lines where they are drawn, row by row.

    An outer line that the raster's edge cuts has its middle inside the edge.
    """
    spans = [(rule, rule_area(fmt, rule)) for rule in grid_rules(cells, COLOURS["white"], weight)]
    picture = fmt.picture
    xs = [Fraction(s.left + s.right - 2 * picture.left, 2 * picture.width) for rule, s in spans if rule.vertical]
    ys = [Fraction(s.top + s.bottom - 2 * picture.top, 2 * picture.height) for rule, s in spans if not rule.vertical]
    return tuple(Node(column=i, row=j, x=x, y=y) for j, y in enumerate(ys) for i, x in enumerate(xs))


def line_patch(fmt: Format, name: str, rule: Rule, start: Fraction, stop: Fraction) -> Patch:
    """The part of a horizontal rule from x = `start` to `stop` as a patch."""
    span, picture = rule_area(fmt, rule), fmt.picture
    return Patch(
        name=name,
        left=start,
        top=Fraction(span.top - picture.top, picture.height),
        right=stop,
        bottom=Fraction(span.bottom - picture.top, picture.height),
        colour=rule.colour,
        thin=True,
    )


def gap_patches(
    fmt: Format, colour: Colour, places: Iterable[tuple[str, Fraction, Fraction, Fraction, Fraction]], weight: int = 1
) -> tuple[Patch, ...]:
    """Patches of the ground between lines: (name, left, top, right, bottom) of the lines' middles around each."""
    samples, lines = stroke(fmt)
    dx, dy = Fraction(weight * samples, 2 * fmt.picture.width), Fraction(weight * lines, 2 * fmt.picture.height)
    return tuple(
        Patch(name=name, left=left + dx, top=top + dy, right=right - dx, bottom=bottom - dy, colour=colour)
        for name, left, top, right, bottom in places
        # On a raster of a few lines there may be nothing between two of them.
        if right - left > 2 * dx and bottom - top > 2 * dy
    )


def grid_patches(
    fmt: Format, cells: tuple[int, int], ground: Colour, line: Colour, weight: int = 1
) -> tuple[Patch, ...]:
    """Nine cells over the picture and pieces of three lines, as measurable patches."""
    columns, rows = cells
    picks_x = sorted({0, columns // 2, columns - 1})
    picks_y = sorted({0, rows // 2, rows - 1})
    places = [
        (
            f"cell {i + 1},{j + 1}",
            Fraction(i, columns),
            Fraction(j, rows),
            Fraction(i + 1, columns),
            Fraction(j + 1, rows),
        )
        for j in picks_y
        for i in picks_x
    ]
    patches = gap_patches(fmt, ground, places, weight)
    # The outermost lines are cut by the raster's edge; the inner ones are whole, and crossings change nothing on them.
    lines = tuple(
        line_patch(
            fmt,
            f"line {j} {name}",
            Rule(vertical=False, at=Fraction(j, rows), start=Fraction(0), stop=Fraction(1), colour=line, weight=weight),
            Fraction(third, 3),
            Fraction(third + 1, 3),
        )
        for j in sorted({1, rows // 2, rows - 1} & set(range(1, rows)))
        for third, name in enumerate(("left", "centre", "right"))
    )
    return patches + lines
