"""Response: what bandwidth, pulse and scaling do to fine detail along and across the lines."""

from __future__ import annotations

import itertools
from fractions import Fraction

from patterns.areas.detail import CAPITAL, focus, wedge
from patterns.areas.levels import label_ink
from patterns.formats import Format
from patterns.pattern import COLOURS, Area, Options, Pattern, Stage
from patterns.scene import Box, Patch, Pulse, Rule, Scene, Shape, Text, Turner, Wave
from patterns.signal import Colour, Signal
from patterns.standards.timing import MULTIBURST_SWING
from patterns.tones import bursts, pulse_half_duration, sweep_tones

__all__ = ["PATTERNS"]

_BLACK, _WHITE, _GREY = COLOURS["black"], COLOURS["white"], COLOURS["grey"]
_ZERO, _HALF, _ONE = Fraction(0), Fraction(1, 2), Fraction(1)


def _label(x: Fraction, y: Fraction, height: Fraction, text: str, ground: Colour = _GREY) -> Text:
    return Text(x=x, y=y, height=height, text=text, colour=label_ink(ground))


def _fitting(fmt: Format, wide: Fraction, longest: int) -> Fraction:
    """Height of capitals so that `longest` characters fit in `wide` picture widths; at most 1/28."""
    return min(Fraction(1, 28), wide * fmt.picture_aspect / (longest + 1) / CAPITAL)


def _extremes(swing: Fraction, top: Fraction, bottom: Fraction) -> tuple[tuple[Box, ...], tuple[Patch, ...]]:
    """Two blocks side by side in the middle, at the highest and the lowest level of the waves."""
    boxes, patches = [], []
    for name, level, left in (("high", _HALF + swing, Fraction(2, 5)), ("low", _HALF - swing, _HALF)):
        box = Box(left=left, top=top, right=left + Fraction(1, 10), bottom=bottom, colour=Colour.grey(level))
        boxes.append(box)
        patches.append(Patch(name=name, left=left, top=top, right=box.right, bottom=bottom, colour=box.colour))
    return tuple(boxes), tuple(patches)


def _multiburst(fmt: Format, options: Options, _: Signal | None) -> Scene:
    # Seven columns; the first has the sine's two extremes. Together the bursts are a third of the picture: more
    # stripes of high contrast on more than 40 % of it are not for everybody's eyes (BT.1702).
    swing = MULTIBURST_SWING.value
    tones = bursts(fmt)
    wide, top, bottom = Fraction(1, 7), Fraction(3, 10), Fraction(7, 10)
    margin = wide / 14
    shapes: list[Shape] = []
    patches: list[Patch] = []
    for name, level, upper, lower in (("high", _HALF + swing, top, _HALF), ("low", _HALF - swing, _HALF, bottom)):
        box = Box(left=margin, top=upper, right=wide - margin, bottom=lower, colour=Colour.grey(level))
        shapes.append(box)
        patches.append(Patch(name=name, left=box.left, top=upper, right=box.right, bottom=lower, colour=box.colour))
    for name, upper, lower in (("grey above", _ZERO, Fraction(1, 5)), ("grey below", Fraction(17, 20), _ONE)):
        patches.append(Patch(name=name, left=_ZERO, top=upper, right=_ONE, bottom=lower, colour=_GREY))
    height = _fitting(fmt, wide, 8)
    for i, tone in enumerate(tones):
        left, right = (i + 1) * wide + margin, (i + 2) * wide - margin
        shapes.append(
            Wave(
                left=left,
                top=top,
                right=right,
                bottom=bottom,
                swing=swing,
                x0=left,
                start=-Fraction(1, 4),
                fx=tone.cycles_per_width,
                fade=margin / 2,
            )
        )
        for line, text in enumerate(tone.words):
            shapes.append(_label((left + right) / 2, bottom + height * (Fraction(3, 2) + 2 * line), height, text))
    return Scene(background=_GREY, shapes=tuple(shapes), patches=tuple(patches))


def _sweep(fmt: Format, options: Options, _: Signal | None) -> Scene:
    tones = sweep_tones(fmt)
    first, last = tones[0].cycles_per_width, tones[-1].cycles_per_width
    left, right, top, bottom = Fraction(1, 20), Fraction(19, 20), Fraction(3, 10), Fraction(7, 10)
    rate = (last - first) / (right - left)
    wave = Wave(
        left=left,
        top=top,
        right=right,
        bottom=bottom,
        swing=MULTIBURST_SWING.value,
        x0=left,
        start=-Fraction(1, 4),
        fx=first,
        fxx=rate / 2,
        fade=Fraction(1, 100),
    )
    blocks, measured = _extremes(MULTIBURST_SWING.value, Fraction(1, 10), Fraction(1, 5))
    shapes: list[Shape] = [wave, *blocks]
    marked = tones[1:-1]
    gap = min(b.cycles_per_width - a.cycles_per_width for a, b in itertools.pairwise(marked)) / rate
    height = _fitting(fmt, gap, 8)
    for tone in marked:
        x = left + (tone.cycles_per_width - first) / rate
        shapes.append(Rule(vertical=True, at=x, start=bottom, stop=bottom + height, colour=label_ink(_GREY)))
        for line, text in enumerate(tone.words):
            shapes.append(_label(x, bottom + height * (Fraction(5, 2) + 2 * line), height, text))
    below = Patch(name="grey below", left=_ZERO, top=Fraction(9, 10), right=_ONE, bottom=_ONE, colour=_GREY)
    return Scene(background=_GREY, shapes=tuple(shapes), patches=(*measured, below))


def _pulse_bar(fmt: Format, options: Options, _: Signal | None) -> Scene:
    half, nanoseconds = pulse_half_duration(fmt)
    top, bottom = Fraction(1, 8), Fraction(3, 4)
    # On the middle of a sample: between two of them no sample would have the pulse's peak.
    pulse_at = (fmt.picture.width // 4 + _HALF) / fmt.picture.width
    start, stop = _HALF, Fraction(17, 20)
    shapes: list[Shape] = [
        Pulse(start=pulse_at, stop=pulse_at, top=top, bottom=bottom, half_duration=half, swing=_ONE),
        Pulse(start=start, stop=stop, top=top, bottom=bottom, half_duration=half, swing=_ONE),
    ]
    height = _fitting(fmt, Fraction(2, 5), 12)
    words = "2T" if nanoseconds is None else f"2T {float(nanoseconds):.4g} ns"
    shapes.append(_label(pulse_at, Fraction(17, 20), height, words, _BLACK))
    shapes.append(_label((start + stop) / 2, Fraction(17, 20), height, "bar", _BLACK))
    patches = (
        Patch(
            name="bar", left=start + 2 * half, top=top, right=stop - 2 * half, bottom=bottom, colour=_WHITE, core=True
        ),
        Patch(name="black left", left=_ZERO, top=top, right=Fraction(1, 5), bottom=bottom, colour=_BLACK),
        Patch(name="black middle", left=Fraction(3, 10), top=top, right=Fraction(9, 20), bottom=bottom, colour=_BLACK),
    )
    return Scene(background=_BLACK, shapes=tuple(shapes), patches=patches)


_STILL_SIDE, _MOVING_SIDE = Fraction(62, 100), Fraction(48, 100)
"""Sides of the zone plates in widths and heights of the picture: 38 and 23 % of the area, for BT.1702's 40 and 25 %."""


def _rings(fmt: Format, side: Fraction) -> Wave:
    half = side / 2
    # The frequency rises evenly from the middle: `slope` cycles per picture height, in each picture height of radius.
    # Round on the glass, it ends below what the raster holds both across (at the sides) and down (above and below).
    across = Fraction(9, 20) * fmt.picture.width / fmt.picture_aspect / (half * fmt.picture_aspect)
    down = Fraction(9, 20) * fmt.picture.height / half
    slope = min(across, down)
    return Wave(
        left=_HALF - half,
        top=_HALF - half,
        right=_HALF + half,
        bottom=_HALF + half,
        swing=_HALF,
        x0=_HALF,
        y0=_HALF,
        fxx=slope * fmt.picture_aspect**2 / 2,
        fyy=slope / 2,
    )


def _zone_plate(fmt: Format, options: Options, _: Signal | None) -> Scene:
    blocks, measured = _extremes(_HALF, Fraction(1, 20), Fraction(3, 20))
    below = Patch(name="grey below", left=_ZERO, top=Fraction(17, 20), right=_ONE, bottom=_ONE, colour=_GREY)
    return Scene(background=_GREY, shapes=(_rings(fmt, _STILL_SIDE), *blocks), patches=(*measured, below))


def _zone_plate_moving(fmt: Format, options: Options, _: Signal | None) -> Scene:
    # Two cycles a second at every place: below BT.1702's three flashes, and on less than a quarter of the picture.
    turner = Turner(shape=_rings(fmt, _MOVING_SIDE), turns=1)
    return Scene(background=_GREY, shapes=(turner,), period=_HALF)


_STRIPES = "Fine stripes of high contrast: people who are sensitive to them should not watch for long."

PATTERNS = (
    Pattern(
        id="focus",
        title="Focus, small characters and wedges",
        area=Area.RESPONSE,
        look="The edges of the characters over the whole glass, and the fine lines in the middle and the four corners.",
        right="Every character can be read, and the corners show lines as fine as the middle does.",
        adjust="Focus, for the best picture overall rather than in the middle alone.",
        order=Stage.FOCUS + 10,
        build=focus,
        dwell_minutes=30,
    ),
    Pattern(
        id="multiburst",
        title="Multiburst",
        area=Area.RESPONSE,
        look="Six bursts of fine vertical lines, coarse to fine, each with its frequency and TV lines below it.",
        right="All bursts have equal contrast, between the two greys at the left. The last may be weaker on a small"
        " tube.",
        adjust="Usually nothing from outside. A missing burst shows a filter in the player, input or decoder.",
        order=Stage.RESPONSE + 10,
        build=_multiburst,
        dwell_minutes=20,
        cautions=(_STRIPES,),
    ),
    Pattern(
        id="sweep",
        title="Frequency sweep",
        area=Area.RESPONSE,
        look="Fine vertical lines that grow finer to the right: where the contrast falls, and whether it rises again.",
        right="Equal contrast from the left to the limit of the set, then a gentle fall.",
        adjust="Usually nothing from outside. Dips and humps come from filters, cables and terminations.",
        order=Stage.RESPONSE + 20,
        build=_sweep,
        dwell_minutes=20,
        cautions=(_STRIPES,),
    ),
    Pattern(
        id="pulse-bar",
        title="2T pulse and bar",
        area=Area.RESPONSE,
        look="The thin vertical pulse beside the broad bar: its brightness, and echoes or dark edges beside both.",
        right="The pulse is as bright as the bar, and neither has a second edge. On an oscilloscope both have equal"
        " height.",
        adjust="Sharpness or aperture, if the set has it. Echoes point to cables and terminations.",
        order=Stage.RESPONSE + 30,
        build=_pulse_bar,
        dwell_minutes=20,
    ),
    Pattern(
        id="wedge",
        title="Resolution wedges",
        area=Area.RESPONSE,
        look="The number of TV lines at which the lines of each wedge merge, across and down, in the middle and the"
        " four corners.",
        right="Separate lines up to the figure in the set's papers; in the corners nearly as far as in the middle.",
        adjust="Focus. If only the resolution across is low, it is bandwidth, not focus.",
        order=Stage.FOCUS + 20,
        build=wedge,
        dwell_minutes=20,
        cautions=(_STRIPES, "Fine horizontal lines flicker when interlaced: that is the scan, not a fault of the set."),
    ),
    Pattern(
        id="zone-plate",
        title="Zone plate",
        area=Area.RESPONSE,
        look="Rings that grow finer outward. Look for a second set of rings, or blurred zones outside the middle.",
        right="One set of rings, round about the middle. In an interlaced format the top and bottom rings shimmer.",
        adjust="Nothing on the set. Other rings show that the player or the converter scales or filters.",
        order=Stage.RESPONSE + 40,
        build=_zone_plate,
        dwell_minutes=10,
        cautions=(_STRIPES,),
    ),
    Pattern(
        id="zone-plate-moving",
        title="Zone plate, moving",
        area=Area.RESPONSE,
        look="Rings that move inward: whether they move evenly, and whether fields are mixed or lines are lost.",
        right="Rings that move evenly, as fine as those of the still zone plate.",
        adjust="Nothing on the set. Combs and steps show that the player or the converter deinterlaces.",
        order=Stage.RESPONSE + 45,
        build=_zone_plate_moving,
        dwell_minutes=3,
        # Twenty times through; a minute would be as large as all the rest of a kit.
        clip_seconds=10,
        cautions=(
            "Stripes move on under a quarter of the picture, two cycles a second. This is within BT.1702, as far as"
            " its text is known here. People who are sensitive to flashing light should not watch it.",
        ),
    ),
)
