"""Motion: what shows the order of fields, the flicker of lines, and what the raster does when the light changes."""

from __future__ import annotations

from fractions import Fraction

from patterns.areas.grid import frame_rules
from patterns.formats import Format
from patterns.pattern import COLOURS, Area, Options, Pattern, Stage
from patterns.placement import stroke
from patterns.scene import Box, Mover, Patch, Scene, Shape, Shown, Text
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


def _flicker(fmt: Format, options: Options, _: Signal | None) -> Scene:
    # Two areas of 9 % of the picture each; on the left every line of one field, on the right lines in pairs.
    top, high, wide = Fraction(7, 20), Fraction(3, 10), Fraction(3, 10)
    first = int(top * fmt.picture.height) // 4 * 4
    last = first + int(high * fmt.picture.height) // 4 * 4
    shapes: list[Shape] = []
    for left, lines, label in ((Fraction(3, 20), 1, "single lines"), (Fraction(11, 20), 2, "pairs")):
        right = left + wide
        for line in range(first, last, 2 * lines):
            upper, lower = (Fraction(y, fmt.picture.height) for y in (line, line + lines))
            shapes.append(Box(left=left, top=upper, right=right, bottom=lower, colour=COLOURS["white"]))
        middle, below = (left + right) / 2, Fraction(last, fmt.picture.height) + Fraction(1, 12)
        shapes.append(Text(x=middle, y=below, height=Fraction(1, 28), text=label, colour=_GREY))
    # Lines cannot be measured; this block can.
    block = Box(left=Fraction(2, 5), top=Fraction(1, 10), right=Fraction(3, 5), bottom=Fraction(1, 5), colour=_GREY)
    patch = Patch(name="block", left=block.left, top=block.top, right=block.right, bottom=block.bottom, colour=_GREY)
    return Scene(background=COLOURS["black"], shapes=(block, *shapes), patches=(patch,))


def _bounce(fmt: Format, options: Options, _: Signal | None) -> Scene:
    near, far = Fraction(1, 24), Fraction(23, 24)
    frame = frame_rules(fmt, near, near, far, far, COLOURS["white"])
    low, high = Fraction(1, 8), Fraction(7, 8)
    window = Box(left=low, top=low, right=high, bottom=high, colour=COLOURS["white"])
    # Two seconds light between two dark ones: one flash in four seconds.
    return Scene(
        background=COLOURS["black"],
        shapes=(*frame, Shown(shape=window, start=Fraction(1, 4), stop=Fraction(3, 4))),
        period=Fraction(4),
    )


PATTERNS = (
    Pattern(
        id="field-order",
        title="Field order",
        area=Area.MOTION,
        look="The moving bar. If the fields are reversed, it shakes and its edges are torn.",
        right="The bar glides evenly to the right, with straight edges.",
        adjust="Nothing on the set. Correct the field order of the player or converter.",
        order=Stage.SIGNAL + 40,
        build=_field_order,
        dwell_minutes=30,
        suits=lambda fmt: fmt.interlaced,
    ),
    Pattern(
        id="flicker",
        title="Line flicker",
        area=Area.MOTION,
        look="The left area, whose lines are in one field only, and the right area, whose lines are in both.",
        right="The left area flickers at the frame rate and the right one does not: the fields arrive as fields.",
        adjust="Nothing on the set. If the left area is steady, the player or the converter mixes the fields.",
        order=Stage.MOTION + 20,
        build=_flicker,
        dwell_minutes=1,
        cautions=(
            "It flickers on purpose, on a tenth of the picture. People who are sensitive to flashing light should not"
            " watch it.",
        ),
        suits=lambda fmt: fmt.interlaced,
        by_name_only=True,
    ),
    Pattern(
        id="bounce",
        title="Bounce, black and white in turn",
        area=Area.MOTION,
        look="The thin frame, while the window inside changes from white to black and back, two seconds each.",
        right="The frame keeps its place and its size.",
        adjust="Nothing from outside. A frame that breathes points to the high-voltage supply.",
        order=Stage.BLACK_AND_CONTRAST + 40,
        build=_bounce,
        dwell_minutes=3,
        cautions=(
            "A large area changes between black and white once in four seconds. This is within BT.1702, as far as its"
            " text is known here. People who are sensitive to flashing light should not watch it.",
        ),
    ),
)
