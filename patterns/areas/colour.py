"""Colour: plain fields and colour bars."""

from __future__ import annotations

from fractions import Fraction

from patterns.areas.levels import columns_scene
from patterns.formats import Format
from patterns.pattern import COLOURS, Area, Options, Pattern, PatternError, Stage
from patterns.scene import Patch, Scene
from patterns.signal import Colour, Signal
from patterns.timing import shown

__all__ = ["BARS", "PATTERNS", "bars_of"]

BARS = {
    "100/0/100/0": (Fraction(1), Fraction(1)),
    "100/0/75/0": (Fraction(1), Fraction(3, 4)),
    "75/0/75/0": (Fraction(3, 4), Fraction(3, 4)),
}
"""White bar and colour level by BT.471-1 name: white / black / highest / lowest level of the coloured bars."""

_ORDER = ("yellow", "cyan", "green", "magenta", "red", "blue")


def _field_colour(options: Options) -> Colour:
    name = "white" if options.colour is None else options.colour
    colour = COLOURS[name]
    if options.level is None:
        return colour
    # 'grey' with a level is that grey, not half of it.
    return Colour.grey(options.level) if name == "grey" else colour.scaled(options.level)


_DIM = Fraction(2, 5)
"""Below this level a field makes a tenth of white's light at most (BT.1886), and may stay up."""


def _is_dim(options: Options) -> bool:
    colour = _field_colour(options)
    return max(colour.red, colour.green, colour.blue) < _DIM


def _field(fmt: Format, options: Options, _: Signal | None) -> Scene:
    colour = _field_colour(options)
    thirds = [Fraction(i, 3) for i in range(4)]
    rows, columns = ("top", "middle", "bottom"), ("left", "centre", "right")
    patches = tuple(
        Patch(
            name=f"{rows[j]} {columns[i]}",
            left=thirds[i],
            top=thirds[j],
            right=thirds[i + 1],
            bottom=thirds[j + 1],
            colour=colour,
        )
        for j in range(3)
        for i in range(3)
    )
    return Scene(background=colour, patches=patches)


def _bars(fmt: Format, options: Options, _: Signal | None) -> Scene:
    name = "100/0/75/0" if options.bars is None else options.bars
    if name not in BARS:
        raise PatternError(f"--bars: got {shown(name)}; use {', '.join(BARS)}")
    return columns_scene(bars_of(name))


def bars_of(name: str) -> list[tuple[str, Colour]]:
    """The eight bars of a name in `BARS`, left to right."""
    white, level = BARS[name]
    bars = [("white", Colour.grey(white))]
    bars += [(colour, COLOURS[colour].scaled(level)) for colour in _ORDER]
    bars.append(("black", COLOURS["black"]))
    return bars


PATTERNS = (
    Pattern(
        id="field",
        title="Plain field",
        area=Area.COLOUR,
        look="Blotches and tints, mostly toward the corners: on red, green and blue for purity, on grey for balance.",
        right="One even colour over the whole glass; grey and white without a tint.",
        adjust="Degauss first. Then purity on red, green and blue; balance on greys, gun by gun.",
        order=Stage.PURITY + 10,
        build=_field,
        dwell_minutes=3,
        takes=("colour", "level"),
        variants=(*(Options(colour=name) for name in ("red", "green", "blue", "white")), Options(colour="grey")),
        cautions=("Do not leave a full bright field up: it heats the mask and wears the phosphor.",),
        is_harmless=_is_dim,
    ),
    Pattern(
        id="bars",
        title="Colour bars",
        area=Area.COLOUR,
        look="The eight bars, left to right: white, yellow, cyan, green, magenta, red, blue, black.",
        right="Eight plain bars in falling order of brightness. With blue alone shown, the bright bars are equal.",
        adjust="Colour and hue of a decoded input. On component inputs the bars prove the signal.",
        order=Stage.SIGNAL + 20,
        build=_bars,
        dwell_minutes=15,
        takes=("bars",),
    ),
)
