"""Motion: what shows the order and the timing of fields."""

from __future__ import annotations

from fractions import Fraction

from patterns.formats import Format
from patterns.pattern import COLOURS, Area, Options, Pattern, Stage
from patterns.placement import stroke
from patterns.scene import Box, Mover, Scene
from patterns.signal import Colour, Signal

__all__ = ["PATTERNS"]

_GREY = Colour.grey(Fraction(1, 2))
_FAR = Fraction(2)


def _field_order(fmt: Format, options: Options, _: Signal | None) -> Scene:
    # From just outside the left edge of the raster to just outside the right one, in four seconds.
    margin = Fraction(fmt.width - fmt.picture.width + 16 * stroke(fmt)[0], 2 * fmt.picture.width)
    wide = Fraction(1, 8)
    bar = Box(left=-wide - margin, top=-_FAR, right=-margin, bottom=_FAR, colour=_GREY)
    mover = Mover(shape=bar, dx=1 + wide + 2 * margin, dy=Fraction(0))
    return Scene(background=COLOURS["black"], shapes=(mover,), period=Fraction(4))


PATTERNS = (
    Pattern(
        id="field-order",
        title="Field order",
        area=Area.MOTION,
        look="The bar on its way to the right. With the fields reversed it shakes and its edges are torn.",
        right="The bar glides evenly, with straight edges.",
        adjust="Nothing on the set: put the player's or the converter's field order right.",
        order=Stage.MOTION + 10,
        build=_field_order,
        dwell_minutes=30,
        suits=lambda fmt: fmt.interlaced,
    ),
)
