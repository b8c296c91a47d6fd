"""What a set's adjustments move: which terms of a map, in which words, and who reaches them.

One table for splitting what was measured, for the words of advice and for the documents. Which controls are reached
from outside is common practice, no source; sets differ, and the set's own service notes come first.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["CONVERGENCE_CONTROLS", "GEOMETRY_CONTROLS", "Control", "Way"]

Term = tuple[str, str]
"""x or y, and one of the terms in u and v."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """What is seen, with {amount} (and {Gun}) to be filled in, and in which direction to adjust against it."""

    seen: str
    do: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """One adjustment."""

    id: str
    title: str
    terms: tuple[Term, ...]
    """What it moves; the amounts of all but the last control of a table are those of the first."""
    more: Way
    """Where the term's coefficient is positive, that is to the right or down at the right or at the bottom."""
    less: Way
    factor: float = 1.0
    """What the coefficient in mm is multiplied with for the amount that is told."""
    of_half: str = ""
    """`width` or `height` where the amount is in percent of half of it, else the amount is in mm."""
    has_outside_control: bool
    where: str
    """What does it, and where it usually is."""
    bends: bool = False
    """Whether it bends lines, so that it is told without marks too."""
    group: str = ""
    """Of convergence: static, edges or twist."""

    @property
    def turn(self) -> int:
        """When it is this control's turn; those of a turn go in the table's order."""
        return _TURNS.get(self.id, 0)

    @property
    def is_yoke(self) -> bool:
        """Whether it moves the yoke or its magnets, after which purity and convergence are checked again."""
        return self.id in _OF_YOKE

    @property
    def part(self) -> str:
        """Of convergence: where what it moves is in the JSON of a gun, as 'static.x' or 'edges.x_u2'."""
        axis, term = self.terms[0]
        return f"{self.group}.{axis if term == '1' else f'{axis}_{term}'}"


_TURNS = {
    "yoke": 0,
    "rotation": 1,
    "v-bow": 2,
    "v-keystone": 2,
    "top-bottom-pincushion": 2,
    "h-linearity": 3,
    "v-linearity": 3,
    "h-s": 3,
    "v-s": 3,
    "side-pincushion": 4,
    "h-bow": 4,
    "h-keystone": 4,
    "parallelogram": 4,
    "h-size": 5,
    "v-size": 5,
    "h-centre": 6,
    "v-centre": 6,
}
"""The order of work (common practice, no source): the yoke first, then linearity and pincushion, then size, then
place."""
_OF_YOKE = ("yoke", "rotation", "v-bow", "v-keystone", "top-bottom-pincushion")


_POSITION = "a control of the picture's position, or the set's service menu"
_SIZE = "a control of the picture's size, or the set's service menu"
_MENU = "the set's service menu, or trimmers behind a flap"
_YOKE = "the yoke's place on the neck and the magnets on it"

GEOMETRY_CONTROLS = (
    Control(
        id="h-centre",
        title="Horizontal centre",
        terms=(("x", "1"),),
        more=Way(seen="The picture lies {amount} right of the middle between the marks.", do="to the left"),
        less=Way(seen="The picture lies {amount} left of the middle between the marks.", do="to the right"),
        has_outside_control=True,
        where=_POSITION,
    ),
    Control(
        id="v-centre",
        title="Vertical centre",
        terms=(("y", "1"),),
        more=Way(seen="The picture lies {amount} below the middle between the marks.", do="up"),
        less=Way(seen="The picture lies {amount} above the middle between the marks.", do="down"),
        has_outside_control=True,
        where=_POSITION,
    ),
    Control(
        id="h-size",
        title="Horizontal size",
        terms=(("x", "u"),),
        more=Way(seen="The picture is {amount} wider than it should be.", do="narrower"),
        less=Way(seen="The picture is {amount} narrower than it should be.", do="wider"),
        factor=2.0,
        has_outside_control=True,
        where=_SIZE,
    ),
    Control(
        id="v-size",
        title="Vertical size",
        terms=(("y", "v"),),
        more=Way(seen="The picture is {amount} taller than it should be.", do="shorter"),
        less=Way(seen="The picture is {amount} shorter than it should be.", do="taller"),
        factor=2.0,
        has_outside_control=True,
        where=_SIZE,
    ),
    Control(
        id="rotation",
        title="Rotation",
        terms=(("y", "u"),),
        more=Way(
            seen="The picture is turned clockwise: the right end of the level axis lies {amount} too low, the left"
            " end as much too high.",
            do="anticlockwise",
        ),
        less=Way(
            seen="The picture is turned anticlockwise: the right end of the level axis lies {amount} too high, the"
            " left end as much too low.",
            do="clockwise",
        ),
        has_outside_control=False,
        where="turning the yoke on the neck; a few sets have a tilt control outside",
    ),
    Control(
        id="h-linearity",
        title="Horizontal linearity",
        terms=(("x", "u2"),),
        more=Way(
            seen="Cells at the right edge are {amount} too wide, those at the left edge as much too narrow.",
            do="wider at the left, narrower at the right",
        ),
        less=Way(
            seen="Cells at the left edge are {amount} too wide, those at the right edge as much too narrow.",
            do="wider at the right, narrower at the left",
        ),
        factor=2.0,
        of_half="width",
        has_outside_control=False,
        where="a coil on the deflection board",
    ),
    Control(
        id="v-linearity",
        title="Vertical linearity",
        terms=(("y", "v2"),),
        more=Way(
            seen="Cells at the bottom are {amount} too tall, those at the top as much too short.",
            do="taller at the top, shorter at the bottom",
        ),
        less=Way(
            seen="Cells at the top are {amount} too tall, those at the bottom as much too short.",
            do="taller at the bottom, shorter at the top",
        ),
        factor=2.0,
        of_half="height",
        has_outside_control=True,
        where=_MENU,
    ),
    Control(
        id="h-s",
        title="Horizontal S-correction",
        terms=(("x", "u3"),),
        more=Way(
            seen="Cells at the left and right edges are {amount} wider than those in the middle.",
            do="narrower at both sides",
        ),
        less=Way(
            seen="Cells at the left and right edges are {amount} narrower than those in the middle.",
            do="wider at both sides",
        ),
        factor=3.0,
        of_half="width",
        has_outside_control=False,
        where="a capacitor on the deflection board",
    ),
    Control(
        id="v-s",
        title="Vertical S-correction",
        terms=(("y", "v3"),),
        more=Way(
            seen="Cells at the top and bottom are {amount} taller than those in the middle.",
            do="shorter at the top and bottom",
        ),
        less=Way(
            seen="Cells at the top and bottom are {amount} shorter than those in the middle.",
            do="taller at the top and bottom",
        ),
        factor=3.0,
        of_half="height",
        has_outside_control=True,
        where=_MENU,
    ),
    Control(
        id="side-pincushion",
        title="Side pincushion",
        terms=(("x", "uv2"),),
        more=Way(
            seen="The left and right sides are bent in: their middles lie {amount} nearer to the middle than their"
            " ends.",
            do="middles of the sides outward",
        ),
        less=Way(
            seen="The left and right sides are bent out: their middles lie {amount} further out than their ends.",
            do="middles of the sides inward",
        ),
        has_outside_control=True,
        where=_MENU,
        bends=True,
    ),
    Control(
        id="top-bottom-pincushion",
        title="Top and bottom pincushion",
        terms=(("y", "u2v"),),
        more=Way(
            seen="Top and bottom are bent in: their middles lie {amount} nearer to the middle than their ends.",
            do="middles of top and bottom outward",
        ),
        less=Way(
            seen="Top and bottom are bent out: their middles lie {amount} further out than their ends.",
            do="middles of top and bottom inward",
        ),
        has_outside_control=False,
        where="magnets on the yoke, or a circuit on the deflection board",
        bends=True,
    ),
    Control(
        id="h-keystone",
        title="Keystone",
        terms=(("x", "uv"),),
        more=Way(
            seen="The picture is wider at the bottom: each bottom corner lies {amount} too far out, each top corner"
            " as much too far in.",
            do="wider at the top, narrower at the bottom",
        ),
        less=Way(
            seen="The picture is wider at the top: each top corner lies {amount} too far out, each bottom corner as"
            " much too far in.",
            do="wider at the bottom, narrower at the top",
        ),
        has_outside_control=True,
        where=_MENU,
    ),
    Control(
        id="v-keystone",
        title="Keystone, left against right",
        terms=(("y", "uv"),),
        more=Way(
            seen="The picture is taller at the right: each right corner lies {amount} too far out, each left corner"
            " as much too far in.",
            do="taller at the left, shorter at the right",
        ),
        less=Way(
            seen="The picture is taller at the left: each left corner lies {amount} too far out, each right corner"
            " as much too far in.",
            do="taller at the right, shorter at the left",
        ),
        has_outside_control=False,
        where=_YOKE,
    ),
    Control(
        id="parallelogram",
        title="Parallelogram",
        terms=(("x", "v"),),
        more=Way(
            seen="Upright lines lean: their lower ends lie {amount} too far right, their upper ends as much too far"
            " left.",
            do="top to the right, bottom to the left",
        ),
        less=Way(
            seen="Upright lines lean: their lower ends lie {amount} too far left, their upper ends as much too far"
            " right.",
            do="top to the left, bottom to the right",
        ),
        has_outside_control=True,
        where=_MENU,
    ),
    Control(
        id="h-bow",
        title="Bow of upright lines",
        terms=(("x", "v2"),),
        more=Way(
            seen="Upright lines are bowed: their middles lie {amount} left of their ends.",
            do="middles to the right",
        ),
        less=Way(
            seen="Upright lines are bowed: their middles lie {amount} right of their ends.",
            do="middles to the left",
        ),
        has_outside_control=True,
        where=_MENU,
        bends=True,
    ),
    Control(
        id="v-bow",
        title="Bow of level lines",
        terms=(("y", "u2"),),
        more=Way(seen="Level lines are bowed: their middles lie {amount} above their ends.", do="middles down"),
        less=Way(seen="Level lines are bowed: their middles lie {amount} below their ends.", do="middles up"),
        has_outside_control=False,
        where=_YOKE,
        bends=True,
    ),
    Control(
        id="yoke",
        title="Yoke and its magnets",
        terms=(("x", "u2v"), ("x", "v3"), ("y", "u3"), ("y", "uv2")),
        more=Way(
            seen="Sizes and slants differ from side to side as no usual control changes them, by up to {amount}.",
            do="by qualified service only",
        ),
        less=Way(
            seen="Sizes and slants differ from side to side as no usual control changes them, by up to {amount}.",
            do="by qualified service only",
        ),
        has_outside_control=False,
        where=_YOKE,
    ),
)
"""In the order of work."""

_STATIC = "controls of static convergence, outside on some sets, else the rings on the neck, by qualified service"
_DYNAMIC = (
    "controls of dynamic convergence, outside on a few sets, else a board inside, or the yoke's tilt and strips "
    "beside it"
)


def _static(id: str, axis: str, positive: str, negative: str, back: str, forth: str) -> Control:
    return Control(
        id=id,
        title=f"static convergence, {'horizontal' if axis == 'x' else 'vertical'}",
        terms=((axis, "1"),),
        more=Way(seen=f"In the middle {{gun}} lies {{amount}} {positive} green.", do=back),
        less=Way(seen=f"In the middle {{gun}} lies {{amount}} {negative} green.", do=forth),
        has_outside_control=True,
        where=_STATIC,
        group="static",
    )


def _dynamic(id: str, title: str, term: Term, more: tuple[str, str], less: tuple[str, str], group: str) -> Control:
    return Control(
        id=id,
        title=f"convergence, {title}",
        terms=(term,),
        more=Way(seen=f"Against the middle {{gun}} lies {{amount}} too far {more[0]}.", do=more[1]),
        less=Way(seen=f"Against the middle {{gun}} lies {{amount}} too far {less[0]}.", do=less[1]),
        has_outside_control=False,
        where=_DYNAMIC,
        group=group,
    )


CONVERGENCE_CONTROLS = (
    _static("static-h", "x", "right of", "left of", "to the left", "to the right"),
    _static("static-v", "y", "below", "above", "up", "down"),
    _dynamic(
        "edges-h-spread",
        "width at the sides",
        ("x", "u"),
        ("out at the left and right edges", "inward at the left and right"),
        ("in at the left and right edges", "outward at the left and right"),
        "edges",
    ),
    _dynamic(
        "edges-v-spread",
        "height at top and bottom",
        ("y", "v"),
        ("out at the top and bottom", "inward at the top and bottom"),
        ("in at the top and bottom", "outward at the top and bottom"),
        "edges",
    ),
    _dynamic(
        "edges-h-sides",
        "both sides alike, horizontal",
        ("x", "u2"),
        ("right at both the left and right edges", "to the left at the left and right"),
        ("left at both the left and right edges", "to the right at the left and right"),
        "edges",
    ),
    _dynamic(
        "edges-v-ends",
        "top and bottom alike, vertical",
        ("y", "v2"),
        ("down at both the top and bottom", "up at the top and bottom"),
        ("up at both the top and bottom", "down at the top and bottom"),
        "edges",
    ),
    _dynamic(
        "edges-h-ends",
        "top and bottom alike, horizontal",
        ("x", "v2"),
        ("right at both the top and bottom", "to the left at the top and bottom"),
        ("left at both the top and bottom", "to the right at the top and bottom"),
        "edges",
    ),
    _dynamic(
        "edges-v-sides",
        "both sides alike, vertical",
        ("y", "u2"),
        ("down at both the left and right edges", "up at the left and right"),
        ("up at both the left and right edges", "down at the left and right"),
        "edges",
    ),
    _dynamic(
        "twist-h",
        "twist of upright lines",
        ("x", "v"),
        ("right at the bottom, and left at the top", "to the right at the top, to the left at the bottom"),
        ("left at the bottom, and right at the top", "to the left at the top, to the right at the bottom"),
        "twist",
    ),
    _dynamic(
        "twist-v",
        "twist of level lines",
        ("y", "u"),
        ("down at the right, and up at the left", "up at the right, down at the left"),
        ("up at the right, and down at the left", "down at the right, up at the left"),
        "twist",
    ),
)
"""Of red and of blue, each against green. The static ones come first: the rest is set against the middle."""
