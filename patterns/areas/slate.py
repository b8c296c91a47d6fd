"""The slate: words that say what is being shown, for the head of a tape or a card."""

from __future__ import annotations

from fractions import Fraction

from patterns.formats import Format
from patterns.pattern import COLOURS, Area, Options, Pattern, Stage
from patterns.scene import Box, Patch, Scene, Shape, Text
from patterns.signal import Colour, Range, Signal

__all__ = ["PATTERNS"]

_GREYS = (0, 25, 50, 75, 100)
_INK = Colour.grey(Fraction(3, 4))


def _rate(fmt: Format) -> str:
    frames = f"{float(fmt.frame_rate):.5g} frames/s"
    return f"{frames}, {float(fmt.field_rate):.5g} fields/s" if fmt.interlaced else frames


def _lines(fmt: Format, signal: Signal | None) -> list[tuple[str, str]]:
    aspect = fmt.picture_aspect
    words = [
        ("format", f"{fmt.id}  {aspect.numerator}:{aspect.denominator}"),
        ("raster", f"{fmt.width} x {fmt.height}, {'interlaced' if fmt.interlaced else 'progressive'}"),
        ("rate", _rate(fmt)),
    ]
    if signal is None:
        return words
    if signal.sampling.is_rgb:
        coding = f"R'G'B', {signal.bits} bits"
    else:
        pattern = ":".join(signal.sampling.value)
        coding = f"Y'CbCr {pattern}, BT.{signal.matrix.value}, {signal.bits} bits"
    black, white = (signal.codes(Colour.grey(level))[0] for level in (0, 1))
    kind = "narrow" if signal.range is Range.NARROW else "full"
    return [*words, ("coding", coding), ("range", f"{kind}: black {black}, white {white}")]


def _slate(fmt: Format, options: Options, signal: Signal | None) -> Scene:
    shapes: list[Shape] = []
    patches: list[Patch] = []
    # A capital of a given height is about 0.83 of it wide; the longest line decides on narrow pictures.
    lines = _lines(fmt, signal)
    longest = max(len(value) for _, value in lines) + 9
    height = min(Fraction(1, 24), fmt.picture_aspect * Fraction(4, 5) / longest / Fraction(83, 100))
    for i, (name, value) in enumerate(lines):
        y = Fraction(1, 6) + i * Fraction(1, 9)
        shapes.append(
            Text(x=Fraction(1, 10), y=y, height=height, text=f"{name:<9}{value}", colour=_INK, anchor="start")
        )
    # A strip of greys: what the words say can be measured on the same picture.
    count, top, bottom = len(_GREYS), Fraction(3, 4), Fraction(9, 10)
    for i, percent in enumerate(_GREYS):
        left = Fraction(1, 10) + Fraction(8 * i, 10 * count)
        right = Fraction(1, 10) + Fraction(8 * (i + 1), 10 * count)
        colour = Colour.grey(Fraction(percent, 100))
        shapes.append(Box(left=left, top=top, right=Fraction(9, 10), bottom=bottom, colour=colour))
        patches.append(Patch(name=str(percent), left=left, top=top, right=right, bottom=bottom, colour=colour))
    return Scene(background=COLOURS["black"], shapes=tuple(shapes), patches=tuple(patches))


PATTERNS = (
    Pattern(
        id="slate",
        title="Slate",
        area=Area.SIGNAL,
        look="What the file states: format, raster, rate, coding, range.",
        right="The set and the player report the same format and rate.",
        adjust="Nothing on the set. If the player reports a different format, change its output setting.",
        order=Stage.SIGNAL + 10,
        build=_slate,
        dwell_minutes=30,
    ),
)
