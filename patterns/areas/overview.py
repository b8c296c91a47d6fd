"""Overview: one picture for the first look and for photographs, and large areas of light beside dark ones."""

from __future__ import annotations

from fractions import Fraction

from patterns.areas.cells import default_cells
from patterns.areas.colour import bars_of
from patterns.areas.detail import CAPITAL
from patterns.areas.grid import frame_rules, grid_rules
from patterns.areas.levels import label_ink
from patterns.formats import Format
from patterns.pattern import COLOURS, Area, Options, Pattern, PatternError, Stage
from patterns.scene import Box, Patch, Scene, Shape, Text, Wave
from patterns.signal import Colour, Signal
from patterns.standards.timing import MULTIBURST_SWING
from patterns.tones import bursts

__all__ = ["PATTERNS"]

_BLACK = COLOURS["black"]
_ZERO, _HALF, _ONE, _FAR = Fraction(0), Fraction(1, 2), Fraction(1), Fraction(2)

Area4 = tuple[Fraction, Fraction, Fraction, Fraction]
"""Left, top, right, bottom in the picture."""
Part = tuple[tuple[Shape, ...], tuple[Patch, ...]]


def _on_lines(fmt: Format, left: Fraction, top: Fraction, right: Fraction, bottom: Fraction) -> Area4:
    """The nearest rectangle whose sides lie on the grid's lines."""
    columns, rows = default_cells(fmt)
    x0, x1 = (Fraction(round(x * columns), columns) for x in (left, right))
    y0, y1 = (Fraction(round(y * rows), rows) for y in (top, bottom))
    return x0, y0, x1, y1


def _columns(area: Area4, columns: list[tuple[str, Colour]]) -> Part:
    """Columns side by side in a rectangle, each a patch."""
    left, top, right, bottom = area
    wide = (right - left) / len(columns)
    shapes: list[Shape] = []
    patches: list[Patch] = []
    for i, (name, colour) in enumerate(columns):
        start = left + i * wide
        # Each runs on to the rectangle's right edge and the next one covers it.
        shapes.append(Box(left=start, top=top, right=right, bottom=bottom, colour=colour))
        patches.append(Patch(name=name, left=start, top=top, right=start + wide, bottom=bottom, colour=colour))
    return tuple(shapes), tuple(patches)


_LINE = Colour.grey(Fraction(3, 4))
"""Of the alignment's grid."""


def _near_black(area: Area4) -> Part:
    """Stripes of 2, 4, 6 and 8 % with black beside each of them."""
    columns: list[tuple[str, Colour]] = []
    for percent in (2, 4, 6, 8):
        columns += [(f"black beside {percent}", _BLACK), (f"near black {percent}", Colour.grey(Fraction(percent, 100)))]
    return _columns(area, columns)


def _bursts(fmt: Format, area: Area4) -> Part:
    """Four of the multiburst's frequencies on grey, and plain grey below them."""
    left, top, right, bottom = area
    tones = bursts(fmt)[1:5]
    wide, middle = (right - left) / len(tones), top + (bottom - top) * Fraction(2, 3)
    margin, grey = wide / 10, Colour.grey(_HALF)
    ground = Box(left=left, top=top, right=right, bottom=bottom, colour=grey)
    waves = tuple(
        Wave(
            left=left + i * wide + margin,
            top=top + margin * fmt.picture_aspect,
            right=left + (i + 1) * wide - margin,
            bottom=middle,
            swing=MULTIBURST_SWING.value,
            x0=left + i * wide + margin,
            start=-Fraction(1, 4),
            fx=tone.cycles_per_width,
            fade=margin / 2,
        )
        for i, tone in enumerate(tones)
    )
    lower = middle + (bottom - middle) / 4
    return (ground, *waves), (Patch(name="grey", left=left, top=lower, right=right, bottom=bottom, colour=grey),)


def _corner_words(fmt: Format) -> tuple[Shape, ...]:
    """Two rows of small characters in each corner, on black, for focus."""
    wide, high = Fraction(2, 16), Fraction(3, 32)
    shapes: list[Shape] = []
    ink = Colour.grey(Fraction(3, 4))
    for x in (Fraction(1, 16), 1 - Fraction(1, 16) - wide):
        for y in (Fraction(1, 12), 1 - Fraction(1, 12) - high):
            left, top, right, bottom = _on_lines(fmt, x, y, x + wide, y + high)
            if right <= left or bottom <= top:
                continue
            shapes.append(Box(left=left, top=top, right=right, bottom=bottom, colour=_BLACK))
            shapes += frame_rules(fmt, left, top, right, bottom, _LINE)
            height = (bottom - top) * Fraction(3, 16)
            count = int((right - left) * fmt.picture_aspect / (height * CAPITAL)) - 1
            for row, words in enumerate(("EMBHG 0369 XKRSZ 258 WHGB", "258 WHGEM 9603 RBKX EHMS")):
                at = top + (bottom - top) * Fraction(4 * row + 3, 10)
                text = words[: max(1, count)]
                shapes.append(Text(x=(left + right) / 2, y=at, height=height, text=text, colour=ink))
    return tuple(shapes)


_BLOCKS = ((Fraction(3, 16), Fraction(7, 16)), (Fraction(9, 16), Fraction(13, 16)))
_BLOCK_ROWS = ((Fraction(2, 12), Fraction(5, 12)), (Fraction(7, 12), Fraction(10, 12)))
"""Where blocks begin and end across and down. Between them the grid is free: its middle lines cross in the open."""


def _alignment(fmt: Format, options: Options, _: Signal | None) -> Scene:
    areas = [_on_lines(fmt, x0, y0, x1, y1) for y0, y1 in _BLOCK_ROWS for x0, x1 in _BLOCKS]
    greys = [(f"{percent}", Colour.grey(Fraction(percent, 100))) for percent in (0, 20, 40, 60, 80, 100)]
    # In the order of work: the signal, black level, the grey scale, response.
    parts = (
        _columns(areas[0], bars_of("100/0/75/0")),
        _near_black(areas[1]),
        _columns(areas[2], greys),
        _bursts(fmt, areas[3]),
    )
    columns, rows = default_cells(fmt)
    ink = label_ink(_BLACK)
    numbers = tuple(
        Text(
            x=left + Fraction(1, 2 * columns),
            y=top - Fraction(1, 2 * rows),
            height=Fraction(2, 5 * rows),
            text=str(i),
            colour=ink,
        )
        for i, (left, top, _, _) in enumerate(areas, 1)
    )
    return Scene(
        background=_BLACK,
        shapes=(
            *grid_rules((columns, rows), _LINE),
            *(shape for shapes, _ in parts for shape in shapes),
            # The grid's lines round each block again: it covers the half of them that lies in it.
            *(rule for area in areas for rule in frame_rules(fmt, *area, _LINE)),
            *_corner_words(fmt),
            *numbers,
        ),
        patches=tuple(patch for _, patches in parts for patch in patches),
    )


def _checkerboard(fmt: Format, options: Options, _: Signal | None) -> Scene:
    columns, rows = options.cells or (4, 4)
    colour = Colour.grey(_ONE if options.level is None else options.level)
    if columns * rows < 2:
        raise PatternError(f"--cells: got {columns}x{rows}, a checkerboard needs two blocks at least")
    shapes: list[Shape] = []
    patches: list[Patch] = []
    for j in range(rows):
        for i in range(columns):
            left, top, right, bottom = (
                *(Fraction(i, columns), Fraction(j, rows)),
                *(Fraction(i + 1, columns), Fraction(j + 1, rows)),
            )
            is_bright = (i + j) % 2 == 0
            if is_bright:
                # What lies outside the picture goes on as the block at its edge.
                shapes.append(
                    Box(
                        left=left if i else -_FAR,
                        top=top if j else -_FAR,
                        right=right if i + 1 < columns else _FAR,
                        bottom=bottom if j + 1 < rows else _FAR,
                        colour=colour,
                    )
                )
            name = f"{'bright' if is_bright else 'dark'} {i + 1},{j + 1}"
            ground = colour if is_bright else _BLACK
            patches.append(Patch(name=name, left=left, top=top, right=right, bottom=bottom, colour=ground))
    return Scene(background=_BLACK, shapes=tuple(shapes), patches=_few(patches))


def _few(patches: list[Patch]) -> tuple[Patch, ...]:
    """All of a few; of many, those of the first and the last rows: enough to measure both levels."""
    half = _MOST_PATCHES // 2
    return tuple(patches if len(patches) <= _MOST_PATCHES else patches[:half] + patches[-half:])


_MOST_PATCHES = 64


def _half_field(fmt: Format, options: Options, _: Signal | None) -> Scene:
    side = options.side or "left"
    level = _ONE if options.level is None else options.level
    bright, line = Colour.grey(level), Colour.grey(max(_ZERO, level) / 2)
    ends = {
        "left": (-_FAR, -_FAR, _HALF, _FAR),
        "right": (_HALF, -_FAR, _FAR, _FAR),
        "top": (-_FAR, -_FAR, _FAR, _HALF),
        "bottom": (-_FAR, _HALF, _FAR, _FAR),
    }
    left, top, right, bottom = ends[side]
    near, far = Fraction(1, 24), Fraction(23, 24)
    # Grey is seen on both halves: where the raster changes its size with the light, this line steps.
    frame = frame_rules(fmt, near, near, far, far, line)
    inner, outer = Fraction(1, 10), Fraction(9, 10)
    patches = []
    for name, part in (("bright", side), ("dark", _OPPOSITE[side])):
        colour = bright if name == "bright" else _BLACK
        for third, place in enumerate(("first", "middle", "last")):
            along = inner + third * (outer - inner) / 3, inner + (third + 1) * (outer - inner) / 3
            across = (inner, _HALF) if part in ("left", "top") else (_HALF, outer)
            (x0, x1), (y0, y1) = (across, along) if part in ("left", "right") else (along, across)
            patches.append(Patch(name=f"{name} {place}", left=x0, top=y0, right=x1, bottom=y1, colour=colour))
    return Scene(
        background=_BLACK,
        shapes=(Box(left=left, top=top, right=right, bottom=bottom, colour=bright), *frame),
        patches=tuple(patches),
    )


_OPPOSITE = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}

PATTERNS = (
    Pattern(
        id="alignment",
        title="Alignment, all in one",
        area=Area.OVERVIEW,
        look="The grid over the whole glass and the characters in the corners. Blocks: 1 bars, 2 stripes of 2, 4, 6"
        " and 8 %, 3 grey staircase, 4 bursts of fine lines.",
        right="A square, straight grid without coloured edges, and sharp corners. Eight bars, four stripes on black,"
        " six neutral steps, four bursts.",
        adjust="Nothing by this pattern alone. It shows where to begin; photograph it before and after the work.",
        order=Stage.SIGNAL + 15,
        build=_alignment,
        dwell_minutes=20,
    ),
    Pattern(
        id="checkerboard",
        title="Checkerboard",
        area=Area.OVERVIEW,
        look="Bright and dark blocks of equal area. Measure both, and look for glow of the bright ones over the dark"
        " ones.",
        right="Straight edges between blocks; all bright blocks equal, all dark blocks equal.",
        adjust="Nothing by itself. The ratio of the two is the contrast in one picture, with room light and glass.",
        order=Stage.BLACK_AND_CONTRAST + 50,
        build=_checkerboard,
        dwell_minutes=5,
        takes=("cells", "level"),
        cautions=("Bright and still: it wears the phosphor under it.",),
    ),
    Pattern(
        id="half-field",
        title="Half field",
        area=Area.OVERVIEW,
        look="The grey line where it passes from the bright half to the dark half, and the dark half near the edge."
        " Look for streaks, smears, and a raster that changes size.",
        right="The line continues without a step, the edge is sharp, and the dark half is black everywhere.",
        adjust="Usually nothing from outside. Streaking points to the video amplifiers or the input's coupling, a step"
        " in the line to the high-voltage supply.",
        order=Stage.BLACK_AND_CONTRAST + 60,
        build=_half_field,
        dwell_minutes=5,
        takes=("side", "level"),
        variants=(Options(side="left"), Options(side="top")),
        cautions=("Bright and still: it wears the phosphor under it.",),
    ),
)
