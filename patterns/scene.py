"""What a pattern is made of: frozen shapes in picture coordinates, and what can be measured on them.

Picture coordinates: x runs from 0 at the left edge of the picture to 1 at its right edge, y from 0 at the top to 1 at
the bottom. Values outside 0..1 lie outside the picture and are cut at the raster's edge. Radii and heights of text
are in picture heights, so that a circle is round on the glass whatever the samples' shape. Colours are non-linear
R'G'B' fractions. A scene knows no pixel: `patterns.placement` says where a shape comes to lie in a raster.

Shapes are drawn in three layers, each in the given order: first areas and rules (whole samples), then curves, slanted
lines and text (anti-aliased). Waves and pulses, whose shape along the line is what they are for, are added last, sample
by sample as their equations have it; no edge shaping touches them, so they keep clear of other marks.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from fractions import Fraction

from patterns.signal import Colour

__all__ = [
    "Box",
    "Disc",
    "Dot",
    "Gradient",
    "Movable",
    "Mover",
    "Node",
    "Patch",
    "Pulse",
    "Ring",
    "Rule",
    "Scene",
    "Segment",
    "Shape",
    "Shown",
    "Text",
    "Timed",
    "Turner",
    "Wave",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A rectangle of one colour."""

    left: Fraction
    top: Fraction
    right: Fraction
    bottom: Fraction
    colour: Colour


@dataclass(frozen=True, slots=True, kw_only=True)
class Gradient:
    """A rectangle whose colour runs evenly from `start` at its left edge to `stop` at its right edge."""

    left: Fraction
    top: Fraction
    right: Fraction
    bottom: Fraction
    start: Colour
    stop: Colour


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A straight line on whole samples: vertical at x = `at`, or horizontal at y = `at`.

    `weight` is its thickness in strokes; one stroke is two lines high up to 1080 lines, and the even number of samples
    nearest to that on the glass in width (`patterns.placement.stroke`).
    """

    vertical: bool
    at: Fraction
    start: Fraction
    stop: Fraction
    colour: Colour
    weight: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """A filled circle; `radius` in picture heights."""

    x: Fraction
    y: Fraction
    radius: Fraction
    colour: Colour


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """A circle's line, one stroke high, its middle at `radius` (picture heights)."""

    x: Fraction
    y: Fraction
    radius: Fraction
    colour: Colour
    weight: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Segment:
    """A slanted straight line between two points, one stroke thick."""

    x0: Fraction
    y0: Fraction
    x1: Fraction
    y1: Fraction
    colour: Colour
    weight: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Text:
    """A line of words in the shipped monospaced face. `height` is that of a capital letter, in picture heights.

    (x, y) is the middle of the capitals' height; `anchor` says which end of the line lies at x.
    """

    x: Fraction
    y: Fraction
    height: Fraction
    text: str
    colour: Colour
    anchor: str = "middle"


@dataclass(frozen=True, slots=True, kw_only=True)
class Wave:
    """A neutral cosine in a rectangle, added to what lies under it: `swing` * cos(2 pi p), `swing` 1 being white.

    The phase p, in cycles, is `start` + `fx` dx + `fy` dy + `fxx` dx^2 + `fxy` dx dy + `fyy` dy^2, where (dx, dy) is
    the way from (`x0`, `y0`) in picture coordinates: `fx` alone is a burst of `fx` cycles per picture width.
    """

    left: Fraction
    top: Fraction
    right: Fraction
    bottom: Fraction
    swing: Fraction
    x0: Fraction = Fraction(0)
    y0: Fraction = Fraction(0)
    start: Fraction = Fraction(0)
    fx: Fraction = Fraction(0)
    fy: Fraction = Fraction(0)
    fxx: Fraction = Fraction(0)
    fxy: Fraction = Fraction(0)
    fyy: Fraction = Fraction(0)
    cycles: Fraction | None = None
    """Where the phase is further from 0 than this, nothing is added: the outline of a wedge."""
    fade: Fraction = Fraction(0)
    """Width of a sine-squared rise at the left and fall at the right, in picture widths."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulse:
    """A sine-squared pulse or bar, neutral, added to what lies under it; `swing` 1 is white.

    A pulse has `start` = `stop` = its middle and is 1 there. A bar has half its height at `start` and at `stop`, its
    edges are the integral of the pulse. `half_duration`, the pulse's width at half height, is in picture widths.
    """

    start: Fraction
    stop: Fraction
    top: Fraction
    bottom: Fraction
    half_duration: Fraction
    swing: Fraction


Movable = Box | Gradient | Rule | Disc | Ring | Segment | Text
Shape = Movable | Wave | Pulse


@dataclass(frozen=True, slots=True, kw_only=True)
class Mover:
    """A shape that moves: by (`dx`, `dy`) in picture coordinates, evenly, during each period of the scene."""

    shape: Movable
    dx: Fraction
    dy: Fraction

    def at(self, phase: Fraction) -> tuple[Shape, ...]:
        """The shape at `phase` of the period, from 0 to below 1."""
        dx, dy, shape = self.dx * phase, self.dy * phase, self.shape
        if isinstance(shape, Box | Gradient):
            left, right, top, bottom = shape.left + dx, shape.right + dx, shape.top + dy, shape.bottom + dy
            return (replace(shape, left=left, right=right, top=top, bottom=bottom),)
        if isinstance(shape, Rule):
            along, across = (dy, dx) if shape.vertical else (dx, dy)
            return (replace(shape, at=shape.at + across, start=shape.start + along, stop=shape.stop + along),)
        if isinstance(shape, Segment):
            return (replace(shape, x0=shape.x0 + dx, x1=shape.x1 + dx, y0=shape.y0 + dy, y1=shape.y1 + dy),)
        return (replace(shape, x=shape.x + dx, y=shape.y + dy),)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A shape that is there from phase `start` to before phase `stop` of each period, and not in the rest."""

    shape: Shape
    start: Fraction
    stop: Fraction

    def at(self, phase: Fraction) -> tuple[Shape, ...]:
        """The shape, or nothing."""
        return (self.shape,) if self.start <= phase < self.stop else ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Turner:
    """A wave whose phase advances by `turns` cycles, evenly, during each period of the scene."""

    shape: Wave
    turns: int

    def at(self, phase: Fraction) -> tuple[Shape, ...]:
        """The wave at `phase` of the period."""
        return (replace(self.shape, start=self.shape.start + self.turns * phase),)


Timed = Mover | Shown | Turner


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """An area whose level can be measured. Its edges are the drawn ones; a reader keeps clear of them.

    A `thin` patch is a horizontal line: a reader uses its whole height. A `sloped` patch is a piece of a gradient:
    its mean is the colour's level, not each of its samples. A `core` is given without its edges: all of it is flat.
    """

    name: str
    left: Fraction
    top: Fraction
    right: Fraction
    bottom: Fraction
    colour: Colour
    thin: bool = False
    sloped: bool = False
    core: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """A crossing of two grid lines, at (x, y) in picture coordinates."""

    column: int
    row: int
    x: Fraction
    y: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """A round dot of a dot grid, `radius` in picture heights."""

    column: int
    row: int
    x: Fraction
    y: Fraction
    radius: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything that is shown, and everything on it that can be measured.

    `background` fills the whole raster. `period` is None for a still scene; a moving one repeats after `period`
    seconds, which a file rounds to whole frames.
    """

    background: Colour
    shapes: tuple[Shape | Timed, ...] = ()
    patches: tuple[Patch, ...] = ()
    nodes: tuple[Node, ...] = ()
    dots: tuple[Dot, ...] = ()
    period: Fraction | None = None

    @property
    def is_still(self) -> bool:
        return self.period is None

    @property
    def colours(self) -> frozenset[Colour]:
        """Every colour that is drawn at any time. Waves and pulses have none: they add to what lies under them."""
        shapes = (shape.shape if isinstance(shape, Timed) else shape for shape in self.shapes)
        return frozenset((self.background,)).union(*map(_colours, shapes))

    def at(self, phase: Fraction) -> tuple[Shape, ...]:
        """The shapes at `phase` of the period, from 0 to below 1."""
        moments = (shape.at(phase) if isinstance(shape, Timed) else (shape,) for shape in self.shapes)
        return tuple(itertools.chain.from_iterable(moments))


def _colours(shape: Shape) -> tuple[Colour, ...]:
    if isinstance(shape, Wave | Pulse):
        return ()
    return (shape.start, shape.stop) if isinstance(shape, Gradient) else (shape.colour,)
