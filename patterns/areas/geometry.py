"""Geometry: grids, circles, the overscan scales and the centre cross."""

from __future__ import annotations

from fractions import Fraction

from patterns.areas.cells import default_cells
from patterns.areas.grid import frame_rules, gap_patches, grid_patches, grid_rules, line_patch, nodes
from patterns.formats import Format
from patterns.pattern import COLOURS, Area, Options, Pattern, Stage
from patterns.placement import stroke
from patterns.scene import Box, Patch, Ring, Rule, Scene, Segment, Shape, Text
from patterns.signal import Colour, Signal
from patterns.standards.geometry import SAFE_ACTION_MARGIN, SAFE_GRAPHICS_MARGIN

__all__ = ["PATTERNS"]

_BLACK = COLOURS["black"]
_ZERO, _HALF, _ONE = Fraction(0), Fraction(1, 2), Fraction(1)


def _bright(options: Options, default: Fraction = _ONE) -> Colour:
    return Colour.grey(default if options.level is None else options.level)


def _grid(fmt: Format, cells: tuple[int, int], ground: Colour, line: Colour) -> Scene:
    return Scene(
        background=ground,
        shapes=grid_rules(cells, line),
        patches=grid_patches(fmt, cells, ground, line),
        nodes=nodes(fmt, cells),
    )


def _crosshatch(fmt: Format, options: Options, _: Signal | None) -> Scene:
    return _grid(fmt, options.cells or default_cells(fmt), _BLACK, _bright(options))


def _crosshatch_fine(fmt: Format, options: Options, _: Signal | None) -> Scene:
    return _grid(fmt, options.cells or default_cells(fmt, 2), _BLACK, _bright(options))


def _crosshatch_inverse(fmt: Format, options: Options, _: Signal | None) -> Scene:
    return _grid(fmt, options.cells or default_cells(fmt), _bright(options, Fraction(3, 4)), _BLACK)


def _square(fmt: Format, x: Fraction, y: Fraction, half: Fraction, colour: Colour) -> tuple[Rule, ...]:
    """The outline of a square that is square on the glass; `half` its half side in picture heights."""
    dx = half / fmt.picture_aspect
    return frame_rules(fmt, x - dx, y - half, x + dx, y + half, colour)


def _circles(fmt: Format, options: Options, _: Signal | None) -> Scene:
    colour = _bright(options)
    # A picture narrower than high has its circle across the width.
    unit = min(_ONE, fmt.picture_aspect)
    large, small, inset = unit * Fraction(5, 12), unit * Fraction(1, 12), unit * Fraction(1, 8)
    inset_x = inset / fmt.picture_aspect
    places = [(_HALF, _HALF, large)]
    places += [(x, y, small) for y in (inset, 1 - inset) for x in (inset_x, 1 - inset_x)]
    rings = (Ring(x=x, y=y, radius=radius, colour=colour) for x, y, radius in places)
    squares = (rule for x, y, radius in places for rule in _square(fmt, x, y, radius, colour))
    cross = (
        Rule(vertical=True, at=_HALF, start=_HALF - small, stop=_HALF + small, colour=colour),
        Rule(
            vertical=False,
            at=_HALF,
            start=_HALF - small / fmt.picture_aspect,
            stop=_HALF + small / fmt.picture_aspect,
            colour=colour,
        ),
    )
    top = Rule(vertical=False, at=_HALF - large, start=_ZERO, stop=_ONE, colour=colour)
    beside = small / fmt.picture_aspect
    patches = (
        *gap_patches(
            fmt,
            _BLACK,
            (
                ("inside left", _HALF - 3 * beside, _HALF - small, _HALF - 2 * beside, _HALF + small),
                ("inside right", _HALF + 2 * beside, _HALF - small, _HALF + 3 * beside, _HALF + small),
            ),
        ),
        # Beside the middle, where the ring touches its square.
        line_patch(fmt, "square, top left", top, _HALF - 4 * beside, _HALF - 3 * beside),
        line_patch(fmt, "square, top right", top, _HALF + 3 * beside, _HALF + 4 * beside),
    )
    return Scene(background=_BLACK, shapes=(*squares, *cross, *rings), patches=patches)


def _frame(fmt: Format, inset: Fraction, colour: Colour) -> tuple[Rule, ...]:
    """Four lines, `inset` inside the picture's edges (a share of its width and of its height)."""
    return frame_rules(fmt, inset, inset, 1 - inset, 1 - inset, colour)


def _edge_frame(fmt: Format, colour: Colour) -> tuple[Rule, ...]:
    """A frame whose outside is the picture's edge: it has no cells to keep equal, so its lines lie whole inside."""
    samples, lines = stroke(fmt)
    x, y = Fraction(samples, 2 * fmt.picture.width), Fraction(lines, 2 * fmt.picture.height)
    return frame_rules(fmt, x, y, 1 - x, 1 - y, colour)


def _figures(
    fmt: Format, at: Fraction, percent: int, half_x: Fraction, half: Fraction, colour: Colour
) -> tuple[Shape, ...]:
    """The figure of one mark on all four sides, each on a black ground that breaks the frame behind it."""
    height, gap = Fraction(1, 36), Fraction(1, 32)
    text, beside = str(percent), gap / 2 / fmt.picture_aspect
    # A figure of the face is about 0.83 of a capital's height wide.
    wide = Fraction(83, 100) * height * len(text) / fmt.picture_aspect
    pairs = (((at, _HALF - half - gap), "middle"), ((_HALF + half_x + beside, at), "start"))
    mirrored = (((1 - at, _HALF - half - gap), "middle"), ((_HALF + half_x + beside, 1 - at), "start"))
    shapes: list[Shape] = []
    for (x, y), anchor in (*pairs, *mirrored):
        left = x - wide / 2 if anchor == "middle" else x
        dx, dy = beside / 2, Fraction(7, 10) * height
        shapes.append(Box(left=left - dx, top=y - dy, right=left + wide + dx, bottom=y + dy, colour=_BLACK))
        shapes.append(Text(x=x, y=y, height=height, text=text, colour=colour, anchor=anchor))
    return tuple(shapes)


def _scale(fmt: Format, colour: Colour) -> tuple[Shape, ...]:
    """Scales in % of the picture's width and height, from the middle of each side inwards."""
    unit, long = Fraction(1, 80), Fraction(1, 28)
    shapes: list[Shape] = []
    # Marks at every 1 %, or at every 2.5 % where these would run into each other.
    lines = stroke(fmt)[1]
    step = 2 if fmt.picture.height >= 200 * lines else 5
    for half_percent in range(step, 31, step):
        at = Fraction(half_percent, 200)
        half = long if half_percent % 10 == 0 else unit
        half_x = half / fmt.picture_aspect
        for side in (at, 1 - at):
            shapes.append(Rule(vertical=True, at=side, start=_HALF - half, stop=_HALF + half, colour=colour))
            shapes.append(Rule(vertical=False, at=side, start=_HALF - half_x, stop=_HALF + half_x, colour=colour))
        if half_percent % 10 == 0:
            percent = half_percent // 2
            shapes += _figures(fmt, at, percent, half_x, long, colour)
    return tuple(shapes)


def _overscan(fmt: Format, options: Options, _: Signal | None) -> Scene:
    colour = _bright(options)
    dim = Colour.grey(_HALF)
    words = (
        Text(
            x=_HALF,
            y=y,
            height=Fraction(1, 36),
            text=text,
            colour=dim,
        )
        for y, text in (
            (Fraction(41, 100), "frame: picture edge"),
            (Fraction(46, 100), "dim: 3.5 % and 5 %"),
        )
    )
    return Scene(
        background=_BLACK,
        shapes=(
            *_frame(fmt, SAFE_ACTION_MARGIN.value, dim),
            *_frame(fmt, SAFE_GRAPHICS_MARGIN.value, dim),
            *_edge_frame(fmt, colour),
            *_scale(fmt, colour),
            *words,
        ),
        patches=(
            *gap_patches(
                fmt,
                _BLACK,
                (
                    (f"{name_y} {name_x}", x, y, x + Fraction(1, 8), y + Fraction(1, 8))
                    for name_y, y in (("upper", Fraction(1, 4)), ("lower", Fraction(5, 8)))
                    for name_x, x in (("left", Fraction(1, 4)), ("right", Fraction(5, 8)))
                ),
            ),
            *(
                line_patch(fmt, name, rule, Fraction(1, 8), Fraction(3, 8))
                for name, rule in zip(
                    ("line, top", "line, bottom"), _frame(fmt, SAFE_GRAPHICS_MARGIN.value, dim), strict=False
                )
            ),
        ),
    )


def _centre(fmt: Format, options: Options, _: Signal | None) -> Scene:
    colour = _bright(options)
    shapes: list[Shape] = []
    # Castellations: blocks along the edges, so that each side's end is seen at a glance.
    columns, rows = (16, 9) if fmt.picture_aspect == Fraction(16, 9) else default_cells(fmt)
    depth_y = Fraction(1, 4 * rows)
    depth_x = depth_y / fmt.picture_aspect
    for i in range(0, 2 * columns, 2):
        left, right = Fraction(2 * i + 1, 4 * columns), Fraction(2 * i + 3, 4 * columns)
        shapes.append(Box(left=left, top=_ZERO, right=right, bottom=depth_y, colour=colour))
        shapes.append(Box(left=left, top=1 - depth_y, right=right, bottom=_ONE, colour=colour))
    for j in range(0, 2 * rows, 2):
        top, bottom = Fraction(2 * j + 1, 4 * rows), Fraction(2 * j + 3, 4 * rows)
        shapes.append(Box(left=_ZERO, top=top, right=depth_x, bottom=bottom, colour=colour))
        shapes.append(Box(left=1 - depth_x, top=top, right=_ONE, bottom=bottom, colour=colour))
    shapes.append(Rule(vertical=True, at=_HALF, start=_ZERO, stop=_ONE, colour=colour))
    shapes.append(Rule(vertical=False, at=_HALF, start=_ZERO, stop=_ONE, colour=colour))
    shapes.append(Segment(x0=_ZERO, y0=_ZERO, x1=_ONE, y1=_ONE, colour=colour))
    shapes.append(Segment(x0=_ZERO, y0=_ONE, x1=_ONE, y1=_ZERO, colour=colour))
    blocks = [shape for shape in shapes if isinstance(shape, Box)]
    patches = [
        Patch(name=f"block {name}", left=b.left, top=b.top, right=b.right, bottom=b.bottom, colour=colour)
        for name, b in (("top", blocks[2]), ("bottom", blocks[3]))
    ]
    patches += gap_patches(
        fmt,
        _BLACK,
        (
            ("black left", Fraction(1, 16), Fraction(2, 5), Fraction(3, 16), Fraction(3, 5) - Fraction(1, 8)),
            ("black right", Fraction(13, 16), Fraction(2, 5), Fraction(15, 16), Fraction(3, 5) - Fraction(1, 8)),
        ),
    )
    return Scene(background=_BLACK, shapes=tuple(shapes), patches=tuple(patches))


PATTERNS = (
    Pattern(
        id="crosshatch",
        title="Crosshatch",
        area=Area.GEOMETRY,
        look="The size of the cells and the straightness of the lines, over the whole glass. In video files vertical"
        " lines are softer than horizontal ones: that is edge shaping, not a fault of the set.",
        right="Square cells of equal size and straight lines, everywhere on the glass.",
        adjust="Centre, size, rotation, linearity, pincushion, keystone.",
        order=Stage.GEOMETRY + 20,
        build=_crosshatch,
        dwell_minutes=30,
        takes=("cells", "level"),
    ),
    Pattern(
        id="crosshatch-fine",
        title="Fine crosshatch",
        area=Area.GEOMETRY,
        look="Small bends and steps in the lines that the coarse grid misses.",
        right="Straight lines and even cells, also between those of the coarse grid.",
        adjust="Linearity and pincushion, last corrections.",
        order=Stage.GEOMETRY + 50,
        build=_crosshatch_fine,
        dwell_minutes=20,
        takes=("cells", "level"),
    ),
    Pattern(
        id="crosshatch-inverse",
        title="Inverse crosshatch",
        area=Area.GEOMETRY,
        look="Black lines on a light field: whether the raster changes its size or shape with the beam current.",
        right="The grid has the same size and shape as with white lines on black.",
        adjust="Nothing by itself. Compare with the crosshatch; a large change points to the high-voltage supply.",
        order=Stage.GEOMETRY + 60,
        build=_crosshatch_inverse,
        dwell_minutes=5,
        takes=("cells", "level"),
        cautions=("A bright field: do not leave it up.",),
    ),
    Pattern(
        id="circles",
        title="Circles and squares",
        area=Area.GEOMETRY,
        look="The large circle in its square, and the four corner circles.",
        right="The large circle is round and touches its square on all four sides. The corner circles are as round.",
        adjust="Width against height, then linearity.",
        order=Stage.GEOMETRY + 30,
        build=_circles,
        dwell_minutes=30,
        takes=("level",),
    ),
    Pattern(
        id="overscan",
        title="Overscan scales",
        area=Area.GEOMETRY,
        look="The point where the edge of the visible glass cuts the scale on each side. It shows how many % are"
        " hidden.",
        right="The same figure left and right, and top and bottom; as small or as large as wanted for the set.",
        adjust="Size and centre, for the overscan that is wanted.",
        order=Stage.GEOMETRY + 40,
        build=_overscan,
        dwell_minutes=30,
        takes=("level",),
    ),
    Pattern(
        id="centre",
        title="Centre cross",
        area=Area.GEOMETRY,
        look="The cross and the middle of the glass, and the blocks along the four edges.",
        right="The cross in the middle, its lines horizontal and vertical; blocks of equal depth on opposite sides.",
        adjust="Centre, rotation, keystone.",
        order=Stage.GEOMETRY + 10,
        build=_centre,
        dwell_minutes=30,
        takes=("level",),
    ),
)
