"""Levels: black, contrast, grey steps, ramp and window."""

from __future__ import annotations

from fractions import Fraction

from patterns.formats import Family, Format
from patterns.pattern import COLOURS, Area, Options, Pattern, Stage, percent_text
from patterns.placement import snap
from patterns.scene import Box, Gradient, Patch, Scene, Shape, Text
from patterns.signal import Colour, Signal, narrow_code_to_fraction
from patterns.standards.levels import (
    CONTRAST_GREY,
    CONTRAST_WINDOW_HD,
    CONTRAST_WINDOW_SD,
    PLUGE_BT814_CODES,
    PLUGE_RP219_LEVELS,
)

__all__ = ["PATTERNS", "columns_scene", "label_ink"]

_BLACK, _WHITE = COLOURS["black"], COLOURS["white"]
_ZERO, _HALF, _ONE = Fraction(0), Fraction(1, 2), Fraction(1)
_FAR = Fraction(2)
"""A coordinate beyond any raster's edge."""


def columns_scene(columns: list[tuple[str, Colour]], labels: bool = False) -> Scene:
    """Equal columns over the whole raster, left to right, each a measurable patch.

    Each column runs on to the raster's right edge and the next one covers it, so that an edge joins exactly the two
    colours beside it. `labels` writes each column's name near the bottom.
    """
    shapes, patches = _staircase(columns, -_FAR, _FAR, label_at=Fraction(17, 20) if labels else None)
    return Scene(background=_BLACK, shapes=shapes, patches=patches)


_LABEL, _LABEL_ROOM = Fraction(1, 36), Fraction(1, 20)
"""Height of a label's capitals, and what is kept from its middle to the patch beside it."""
_LABEL_LIFT = Fraction(1, 5)
"""How much lighter than a dark column its label is: to be read without lighting up what is judged beside it."""


def label_ink(ground: Colour) -> Colour:
    """The colour of words on a ground: black on a light one, on a dark one a little lighter than it."""
    return _BLACK if ground.green >= Fraction(2, 5) else Colour.grey(max(_ZERO, ground.green) + _LABEL_LIFT)


def _staircase(
    columns: list[tuple[str, Colour]], top: Fraction, bottom: Fraction, *, label_at: Fraction | None, suffix: str = ""
) -> tuple[tuple[Shape, ...], tuple[Patch, ...]]:
    """Equal columns between two heights, with their labels' middle at `label_at`; what is left of each is a patch."""
    count = len(columns)
    shapes: list[Shape] = []
    patches: list[Patch] = []
    low, high = max(_ZERO, top), min(_ONE, bottom)
    if label_at is not None and label_at < (low + high) / 2:
        low = label_at + _LABEL_ROOM
    elif label_at is not None:
        high = label_at - _LABEL_ROOM
    for i, (name, colour) in enumerate(columns):
        left, right = Fraction(i, count), Fraction(i + 1, count)
        shapes.append(Box(left=-_FAR if i == 0 else left, top=top, right=_FAR, bottom=bottom, colour=colour))
        patches.append(Patch(name=name + suffix, left=left, top=low, right=right, bottom=high, colour=colour))
        if label_at is not None:
            ink = label_ink(colour)
            shapes.append(Text(x=(left + right) / 2, y=label_at, height=_LABEL, text=name, colour=ink))
    return tuple(shapes), tuple(patches)


def _levels(first: int, last: int, step: int) -> list[tuple[str, Colour]]:
    levels = [Fraction(percent, 100) for percent in range(first, last + 1, step)]
    return [(percent_text(level), Colour.grey(level)) for level in levels]


def _steps(first: int, last: int, step: int) -> Scene:
    return columns_scene(_levels(first, last, step), labels=True)


_BETWEEN = Fraction(11, 20)
"""Where the rising staircase ends and the falling one begins: below the middle line, which is the one on the scope."""


def _two_staircases(fmt: Format, options: Options, _: Signal | None) -> Scene:
    rising = _levels(0, 100, 10)
    upper, above = _staircase(rising, -_FAR, _BETWEEN, label_at=Fraction(3, 20))
    lower, below = _staircase(rising[::-1], _BETWEEN, _FAR, label_at=Fraction(17, 20), suffix=" lower")
    return Scene(background=_BLACK, shapes=(*upper, *lower), patches=(*above, *below))


def _pluge(fmt: Format, options: Options, _: Signal | None) -> Scene:
    darker, lighter = (Colour.grey(narrow_code_to_fraction(code, 10)) for code in PLUGE_BT814_CODES.value)
    second = Colour.grey(PLUGE_RP219_LEVELS.value[-1])
    shapes: list[Shape] = []
    patches: list[Patch] = []

    def add(name: str, left: Fraction, top: Fraction, right: Fraction, bottom: Fraction, colour: Colour) -> None:
        shapes.append(Box(left=left, top=top, right=right, bottom=bottom, colour=colour))
        patches.append(Patch(name=name, left=left, top=top, right=right, bottom=bottom, colour=colour))

    # Vertical stripes on both sides of the middle, in mirrored order, and the white patch between them.
    stripes = (
        ("darker", darker, Fraction(3, 32)),
        ("lighter", lighter, Fraction(6, 32)),
        ("second lighter", second, Fraction(9, 32)),
    )
    width, top, bottom = Fraction(1, 16), Fraction(1, 4), Fraction(3, 4)
    for name, colour, left in stripes:
        add(f"{name} left", left, top, left + width, bottom, colour)
        add(f"{name} right", 1 - left - width, top, 1 - left, bottom, colour)
    add("white", Fraction(7, 16), Fraction(3, 8), Fraction(9, 16), Fraction(5, 8), _WHITE)
    patches.append(Patch(name="black", left=_ZERO, top=_ZERO, right=_ONE, bottom=Fraction(3, 16), colour=_BLACK))
    return Scene(background=_BLACK, shapes=tuple(shapes), patches=tuple(patches))


def _contrast(fmt: Format, options: Options, _: Signal | None) -> Scene:
    standard = fmt.family in (Family.SD525, Family.SD625)
    side = (CONTRAST_WINDOW_SD if standard else CONTRAST_WINDOW_HD).value
    half_x, half_y = side / 2 / fmt.picture_aspect, side / 2
    far, grey = Fraction(2, 5), Colour.grey(CONTRAST_GREY.value)
    windows = (
        ("white", _ZERO, _ZERO, _WHITE),
        ("black left", -far, _ZERO, _BLACK),
        ("black right", far, _ZERO, _BLACK),
        ("black above", _ZERO, -far, _BLACK),
        ("black below", _ZERO, far, _BLACK),
    )
    shapes, patches = [], []
    for name, dx, dy, colour in windows:
        left, right, top, bottom = _HALF + dx - half_x, _HALF + dx + half_x, _HALF + dy - half_y, _HALF + dy + half_y
        shapes.append(Box(left=left, top=top, right=right, bottom=bottom, colour=colour))
        patches.append(Patch(name=name, left=left, top=top, right=right, bottom=bottom, colour=colour))
    for name, left in (("grey left", Fraction(1, 5)), ("grey right", Fraction(7, 10))):
        right = left + Fraction(1, 10)
        patches.append(Patch(name=name, left=left, top=Fraction(1, 5), right=right, bottom=Fraction(2, 5), colour=grey))
    return Scene(background=grey, shapes=tuple(shapes), patches=tuple(patches))


def _ramp(fmt: Format, options: Options, _: Signal | None) -> Scene:
    # 64 to 940: where the picture is wide enough each 10-bit code has the same whole number of samples.
    codes, width = 877, fmt.picture.width
    used = width // codes * codes or width
    left = (_ONE - Fraction(used, width)) / 2
    if (width - used) % 2:
        left = snap(left, width) / width
    # The slope runs between the middles of the two end codes; each end is held.
    half_code = Fraction(used, 2 * codes * width)
    start, stop = left + half_code, left + Fraction(used, width) - half_code
    shapes = (
        Box(left=stop, top=-_FAR, right=_FAR, bottom=_FAR, colour=_WHITE),
        Gradient(left=start, top=-_FAR, right=stop, bottom=_FAR, start=_BLACK, stop=_WHITE),
    )
    # Eleven slices, 4 % of the ramp wide, about 2, 10, 20 ... 90 and 98 %.
    middles = (Fraction(1, 50), *(Fraction(i, 10) for i in range(1, 10)), Fraction(49, 50))
    patches = tuple(
        Patch(
            name=f"slope {percent_text(middle)}",
            left=start + (stop - start) * (middle - Fraction(1, 50)),
            top=_ZERO,
            right=start + (stop - start) * (middle + Fraction(1, 50)),
            bottom=_ONE,
            colour=Colour.grey(middle),
            sloped=True,
        )
        for middle in middles
    )
    return Scene(background=_BLACK, shapes=shapes, patches=patches)


def _window(fmt: Format, options: Options, _: Signal | None) -> Scene:
    share = Fraction(1, 10) if options.area is None else options.area
    # Side of a picture-shaped window of that area; a ten-thousandth of the side is far below one sample.
    side = Fraction(round((float(share) ** 0.5) * 10_000), 10_000)
    low, high = (1 - side) / 2, (1 + side) / 2
    colour = _WHITE if options.level is None else Colour.grey(options.level)
    window = Box(left=low, top=low, right=high, bottom=high, colour=colour)
    patches = [Patch(name="window", left=low, top=low, right=high, bottom=high, colour=colour)]
    if low >= Fraction(1, 10):
        patches += [
            Patch(name="black above", left=_ZERO, top=_ZERO, right=_ONE, bottom=low, colour=_BLACK),
            Patch(name="black below", left=_ZERO, top=high, right=_ONE, bottom=_ONE, colour=_BLACK),
        ]
    return Scene(background=_BLACK, shapes=(window,), patches=tuple(patches))


PATTERNS = (
    Pattern(
        id="pluge",
        title="Black-level stripes (BT.814 levels, own layout)",
        area=Area.LEVELS,
        look="Three stripes on each side of the white patch. From the outside in: slightly darker than black, slightly"
        " lighter (both BT.814), and lighter by 4 %.",
        right="The lighter stripes can just be seen, the innermost ones easily, the darker ones not at all.",
        adjust="Brightness, in the light in which the set is watched.",
        order=Stage.BLACK_AND_CONTRAST + 10,
        build=_pluge,
        dwell_minutes=30,
    ),
    Pattern(
        id="contrast",
        title="Contrast windows (BT.815 levels and sizes, own places)",
        area=Area.LEVELS,
        look="The white window and the four black ones on grey: measure their luminance, and look for halos round"
        " them.",
        right="The wanted white, equal black in all four, and no glow of the white window over the grey.",
        adjust="Contrast, for the wanted luminance of the white window; then black level again.",
        order=Stage.BLACK_AND_CONTRAST + 15,
        build=_contrast,
        dwell_minutes=20,
    ),
    Pattern(
        id="steps",
        title="Grey steps, 10 %",
        area=Area.LEVELS,
        look="Eleven steps from 0 to 100 %, rising above and falling below. Check whether two merge, whether one has a"
        " colour, and whether both rows look the same.",
        right="Eleven different steps in each row, all neutral.",
        adjust="Contrast and brightness; then cut-offs by the low steps and drives by the high ones.",
        order=Stage.BLACK_AND_CONTRAST + 20,
        build=_two_staircases,
        dwell_minutes=20,
    ),
    Pattern(
        id="steps-near-black",
        title="Grey steps, 0 to 10 %",
        area=Area.LEVELS,
        look="Eleven steps of 1 % above black: how many can be seen, and whether they have a colour.",
        right="The first or second step can just be seen above black, and none has a colour.",
        adjust="Brightness, and the guns' cut-offs.",
        order=Stage.GREY_SCALE + 10,
        build=lambda fmt, options, signal: _steps(0, 10, 1),
        dwell_minutes=30,
    ),
    Pattern(
        id="steps-near-white",
        title="Grey steps, 90 to 100 %",
        area=Area.LEVELS,
        look="Eleven steps of 1 % up to white: whether the top ones merge, and whether they have a colour.",
        right="All eleven can be distinguished, and none has a colour.",
        adjust="Contrast, and the guns' drives.",
        order=Stage.GREY_SCALE + 20,
        build=lambda fmt, options, signal: _steps(90, 100, 1),
        dwell_minutes=3,
        cautions=("Nearly a full white field: do not leave it up.",),
    ),
    Pattern(
        id="ramp",
        title="Ramp",
        area=Area.LEVELS,
        look="The rise from black to white: bands, steps, and parts that have a colour.",
        right="An even rise without bands, steps or colour.",
        adjust="Nothing by itself. Bands come from the player or the converter, colour from the grey scale.",
        order=Stage.GREY_SCALE + 30,
        build=_ramp,
        dwell_minutes=20,
    ),
    Pattern(
        id="window",
        title="Window",
        area=Area.LEVELS,
        look="The luminance of the window, and whether the raster changes size when it appears.",
        right="The wanted peak luminance, sharp edges, and a raster of constant size.",
        adjust="Peak luminance, with a meter. To judge the beam limit, compare areas.",
        order=Stage.BLACK_AND_CONTRAST + 30,
        build=_window,
        dwell_minutes=5,
        takes=("area", "level"),
        variants=(Options(area=Fraction(1, 10)), Options(area=Fraction(1, 2))),
        cautions=("Bright and still: it wears the phosphor under it.",),
    ),
)
