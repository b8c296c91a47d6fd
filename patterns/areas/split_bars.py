"""Bars with reference levels below them, in the two arrangements of the trade: EG 1's (SD) and RP 219-1's (HD)."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from fractions import Fraction

from patterns.formats import Family, Format
from patterns.pattern import COLOURS, Area, Options, Pattern, Stage
from patterns.scene import Box, Gradient, Patch, Scene, Shape
from patterns.signal import Colour, Matrix, Signal, round_half_up
from patterns.standards.levels import (
    EG1_IQ_IRE,
    EG1_PLUGE_IRE,
    EG1_ROWS,
    IQ_DEGREES,
    PLUGE_RP219_LEVELS,
    RP219_GREYS,
    RP219_IQ_IRE,
    RP219_ROWS,
    SETUP_IRE,
    SETUP_SCALE,
    U_SCALE,
    V_SCALE,
)

__all__ = ["PATTERNS"]

_BLACK, _WHITE = COLOURS["black"], COLOURS["white"]
_ZERO, _ONE, _FAR = Fraction(0), Fraction(1), Fraction(2)
_LEVEL = Fraction(3, 4)
_SEVEN = tuple(
    (name, COLOURS[name].scaled(_LEVEL)) for name in ("white", "yellow", "cyan", "green", "magenta", "red", "blue")
)

Run = tuple[str, Colour | None, Fraction]
"""A piece of a row: name, colour (None for the ramp), width."""


def vector(degrees: int, amplitude: Fraction, matrix: Matrix) -> Colour:
    """The R'G'B' of a colour-difference vector without luma: U and V of `amplitude` (of white) at `degrees`.

    U is B'-Y' and V is R'-Y' by SMPTE 170M's factors; G' follows from the luma weights of `matrix`. Some components
    are below 0: there is no legal R'G'B' for it, but Y'CbCr has the code.
    """
    angle = math.radians(degrees)
    # Twelve decimals: a ten-thousandth of a millionth of a code.
    blue, red = (
        amplitude * Fraction(round(part, 12)).limit_denominator(10**12) / scale
        for part, scale in ((math.cos(angle), U_SCALE.value), (math.sin(angle), V_SCALE.value))
    )
    kr, kb = matrix.weights
    return Colour(red, -(kr * red + kb * blue) / (1 - kr - kb), blue)


def _lifted(colour: Colour) -> Colour:
    """The same colour differences with as much grey as takes the lowest component to 0."""
    low = min(colour.red, colour.green, colour.blue)
    return Colour(colour.red - low, colour.green - low, colour.blue - low)


def _rows(fmt: Format, rows: Sequence[tuple[Iterable[Run], Fraction, Fraction]], step: int) -> Scene:
    """Rows of runs, each between two heights of the picture; runs begin on whole multiples of `step` samples."""
    shapes: list[Shape] = []
    patches: list[Patch] = []

    def snapped(x: Fraction) -> Fraction:
        return Fraction(round_half_up(x * fmt.picture.width / step) * step, fmt.picture.width)

    for j, (runs, top, bottom) in enumerate(rows):
        upper = -_FAR if j == 0 else top
        x, before = _ZERO, _BLACK
        for i, (name, colour, width) in enumerate(runs):
            left, right = snapped(x), snapped(x + width)
            start = -_FAR if i == 0 else left
            # Each run goes on to the right edge of the raster and down; the next ones cover it.
            if colour is None:
                ramp = Gradient(left=left, top=upper, right=right, bottom=_FAR, start=_BLACK, stop=_WHITE)
                shapes += [Box(left=right, top=upper, right=_FAR, bottom=_FAR, colour=_WHITE), ramp]
                for percent in (10, 50, 90):
                    middle = left + (right - left) * Fraction(percent, 100)
                    around = (right - left) / 25
                    patches.append(
                        Patch(
                            name=f"ramp {percent}",
                            left=middle - around,
                            top=top,
                            right=middle + around,
                            bottom=bottom,
                            colour=Colour.grey(Fraction(percent, 100)),
                            sloped=True,
                        )
                    )
            else:
                shapes.append(Box(left=start, top=upper, right=_FAR, bottom=_FAR, colour=colour))
                if colour != before or name:
                    patches.append(Patch(name=name, left=left, top=top, right=right, bottom=bottom, colour=colour))
                before = colour
            x += width
    return Scene(background=_BLACK, shapes=tuple(shapes), patches=tuple(patches))


def _standard(fmt: Format) -> Scene:
    """EG 1: seven bars, the same bars of blue in reverse, and -I, white, +Q, black and three near-black steps."""
    seventh = Fraction(1, 7)
    colours = {**dict(_SEVEN), "black": _BLACK}
    blues = ("blue", "black", "magenta", "black", "cyan", "black", "white")
    # The name says what lies where, as "cyan below magenta".
    lower = [(f"{blue} below {name}", colours[blue], seventh) for blue, (name, _) in zip(blues, _SEVEN, strict=True)]
    amplitude = EG1_IQ_IRE.value / (100 * SETUP_SCALE.value)
    minus_i, plus_q = (
        vector(degrees, amplitude, Matrix.BT601) for degrees in (IQ_DEGREES.value + 270, IQ_DEGREES.value)
    )
    darker, black, lighter = (
        Colour.grey((ire - SETUP_IRE.value) / (100 * SETUP_SCALE.value)) for ire in EG1_PLUGE_IRE.value
    )
    wide, third = Fraction(5, 4) * seventh, seventh / 3
    upper, middle = EG1_ROWS.value
    return _rows(
        fmt,
        (
            ([(f"bar {name}", colour, seventh) for name, colour in _SEVEN], _ZERO, upper),
            (lower, upper, middle),
            (
                (
                    ("-I", minus_i, wide),
                    ("white 100", _WHITE, wide),
                    ("+Q", plus_q, wide),
                    ("black", _BLACK, wide),
                    ("darker", darker, third),
                    ("black between", black, third),
                    ("lighter", lighter, third),
                    ("black right", _BLACK, seventh),
                ),
                middle,
                _ONE,
            ),
        ),
        step=1,
    )


def _high(fmt: Format) -> Scene:
    """RP 219-1: bars between greys, two rows of references with -I, +Q and a ramp, and near-black steps below."""
    side, bar = Fraction(1, 8), Fraction(3, 28)
    grey, dark = (Colour.grey(level) for level in RP219_GREYS.value)
    amplitude = RP219_IQ_IRE.value / 100
    minus_i, plus_q = (
        _lifted(vector(degrees, amplitude, Matrix.BT601)) for degrees in (IQ_DEGREES.value + 270, IQ_DEGREES.value)
    )
    below, above, more = (Colour.grey(level) for level in PLUGE_RP219_LEVELS.value)
    third = bar / 3
    heights = [sum(RP219_ROWS.value[:i], _ZERO) for i in range(5)]
    rows: tuple[tuple[Run, ...], ...] = (
        (
            ("grey 40 left", grey, side),
            *((f"bar {name}", colour, bar) for name, colour in _SEVEN),
            ("grey 40 right", grey, side),
        ),
        (
            ("cyan 100", COLOURS["cyan"], side),
            ("-I", minus_i, bar),
            ("white 75", _WHITE.scaled(_LEVEL), 6 * bar),
            ("blue 100", COLOURS["blue"], side),
        ),
        (
            ("yellow 100", COLOURS["yellow"], side),
            ("+Q", plus_q, bar),
            ("ramp", None, 5 * bar),
            ("white beside ramp", _WHITE, bar),
            ("red 100", COLOURS["red"], side),
        ),
        (
            ("grey 15 left", dark, side),
            ("black left", _BLACK, Fraction(3, 2) * bar),
            ("white 100", _WHITE, 2 * bar),
            ("black middle", _BLACK, Fraction(5, 6) * bar),
            ("darker", below, third),
            ("black between", _BLACK, third),
            ("lighter", above, third),
            ("black after", _BLACK, third),
            ("more", more, third),
            ("black right", _BLACK, bar),
            ("grey 15 right", dark, side),
        ),
    )
    # Even samples: colour begins where luma begins, and 1920 samples come out as the document prints them.
    return _rows(fmt, [(row, heights[j], heights[j + 1]) for j, row in enumerate(rows)], step=2)


def _split(fmt: Format, options: Options, _: Signal | None) -> Scene:
    return _standard(fmt) if _is_eg1(fmt) else _high(fmt)


def _is_eg1(fmt: Format) -> bool:
    return fmt.family in (Family.SD525, Family.SD625) or fmt.picture_aspect < Fraction(3, 2)


PATTERNS = (
    Pattern(
        id="bars-split",
        title="Split colour bars (EG 1 or RP 219-1 arrangement)",
        area=Area.COLOUR,
        look="The bars, and the near-black steps in the lowest row. With blue alone shown, the bars again.",
        right="The lighter step can just be seen, the darker one cannot. In blue alone the white, cyan, magenta and"
        " blue bars are equal and the others dark. In EG 1's arrangement each bright bar continues, equally bright, in"
        " the row below.",
        adjust="Colour and hue of a decoded input, by blue alone. Set black and white with their own patterns.",
        order=Stage.SIGNAL + 30,
        build=_split,
        dwell_minutes=15,
        cautions_where=(
            (
                _is_eg1,
                "-I and +Q of EG 1's arrangement (standard definition) have no legal R'G'B'. Pictures (PNG, TIFF,"
                " DPX) clip them; video files are exact.",
            ),
        ),
    ),
)
