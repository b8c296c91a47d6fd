"""Scenes: every pattern in every format, what it says of itself, and where its shapes and patches come to lie."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import fields, replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patterns.catalogue import PATTERNS, find_pattern
from patterns.formats import FORMATS, Format, parse_format
from patterns.pattern import Options, Pattern, PatternError
from patterns.placement import Span, column, line, patch_area, rule_area, snap, stroke
from patterns.scene import Box, Disc, Patch, Ring, Rule, Scene, Text, Wave
from patterns.signal import Colour, Matrix, Range, Sampling, Signal
from patterns.standards.geometry import SAFE_ACTION_MARGIN, SAFE_GRAPHICS_MARGIN
from tests.matrix import rest_is_slow

MARGIN_X, MARGIN_Y = 6, 4
"""Samples and lines that a reader keeps clear of a patch's edges."""

WIDE = [parse_format(name, Fraction(16, 9)) for name in ("240p", "288p", "480i", "576i", "480p", "576p")]
FREE = [
    parse_format(name)
    for name in ("1024x768@60", "641x481@75", "64x48@60", "720x576i@50", "768x1024@60", "3840x2160@30")
]
RASTERS = {(fmt.width, fmt.height, fmt.interlaced): fmt for fmt in FORMATS.values()}
RATES = [fmt for fmt in FORMATS.values() if fmt not in RASTERS.values()]
"""Formats that differ from one in `RASTERS` by their rate alone, which no scene depends on."""
GROUPS = {"named": list(RASTERS.values()), "other rates": RATES, "16:9": WIDE, "free": FREE}
EVERY_GROUP = pytest.mark.parametrize("group", rest_is_slow(GROUPS, GROUPS.keys() - {"other rates"}))

# Options with which a pattern is tried besides its own defaults.
VARIANTS = {
    "bars": [Options(bars=name) for name in ("100/0/100/0", "75/0/75/0")],
    "field": [Options(colour="grey"), Options(colour="blue", level=Fraction(3, 4))],
    "window": [Options(area=Fraction(1, 100)), Options(area=Fraction(1))],
    "crosshatch": [Options(cells=(4, 3)), Options(cells=(7, 5), level=Fraction(1, 2))],
    "dots": [Options(cells=(4, 3))],
    "checkerboard": [Options(cells=(8, 6), level=Fraction(1, 2)), Options(cells=(2, 1))],
    "half-field": [Options(side=side) for side in ("right", "top", "bottom")],
}
VALUES: dict[str, Options] = {
    "cells": Options(cells=(8, 6)),
    "level": Options(level=Fraction(1, 2)),
    "area": Options(area=Fraction(1, 4)),
    "colour": Options(colour="red"),
    "bars": Options(bars="75/0/75/0"),
    "side": Options(side="right"),
}

EVERY_PATTERN = pytest.mark.parametrize("pattern", PATTERNS.values(), ids=PATTERNS)


def scenes(pattern: Pattern, group: str) -> Iterator[tuple[str, Format, Scene]]:
    """The scenes of a pattern with its own defaults and its variants, in each format of the group."""
    for fmt in GROUPS[group]:
        for options in (Options(), *VARIANTS.get(pattern.id, [])):
            yield f"{fmt.id} {options.given}", fmt, pattern.scene(fmt, options)


def rules_of(scene: Scene, vertical: bool) -> list[Rule]:
    return [shape for shape in scene.shapes if isinstance(shape, Rule) and shape.vertical is vertical]


def ends(fmt: Format, rule: Rule) -> tuple[int, int]:
    """First and last boundary of a rule, across it."""
    span = rule_area(fmt, rule)
    return (span.left, span.right) if rule.vertical else (span.top, span.bottom)


def middle(fmt: Format, rule: Rule) -> Fraction:
    """The raster position of a rule's middle; of one that the raster's edge cuts, from its other edge."""
    first, last = ends(fmt, rule)
    uncut_first, uncut_last = ends(fmt, replace(rule, at=Fraction(1, 4)))
    half = Fraction(uncut_last - uncut_first, 2)
    if first == 0:
        return last - half
    if last == (fmt.width if rule.vertical else fmt.height):
        return first + half
    return Fraction(first + last, 2)


# --- What a pattern says of itself --------------------------------------------------------------------------


def test_catalogue_is_in_the_order_of_work() -> None:
    """Every pattern stands under its own id, at its own place in the order of work."""
    orders = [pattern.order for pattern in PATTERNS.values()]
    assert orders == sorted(set(orders))
    assert list(PATTERNS) == [pattern.id for pattern in PATTERNS.values()]


@EVERY_PATTERN
def test_each_pattern_explains_itself(pattern: Pattern) -> None:
    """A pattern says what to look at, what right looks like, what to adjust, and its longest time on the glass."""
    for words in (pattern.title, pattern.look, pattern.right, pattern.adjust, *pattern.all_cautions):
        assert words.strip() == words
        assert len(words) >= 4
    assert pattern.look.endswith(".")
    assert pattern.right.endswith(".")
    assert pattern.adjust.endswith(".")
    assert pattern.dwell_minutes > 0
    assert pattern.order > 0
    assert set(pattern.takes) <= {field.name for field in fields(Options)}


def test_find_pattern() -> None:
    """A pattern is found by its id in any case, and a slip of the pen is answered with near names."""
    assert find_pattern(" Crosshatch ") is PATTERNS["crosshatch"]
    with pytest.raises(PatternError, match=r"no pattern has the name 'croshatch'; did you mean crosshatch"):
        find_pattern("croshatch")
    with pytest.raises(PatternError, match="'trueraster patterns' lists them"):
        find_pattern("???")


# --- Options ------------------------------------------------------------------------------------------------


@EVERY_PATTERN
@pytest.mark.parametrize("option", VALUES)
def test_options_are_taken_or_refused_by_name(pattern: Pattern, option: str) -> None:
    """An option changes the scene of a pattern that takes it; any other pattern refuses it and names it."""
    fmt = FORMATS["576i"]
    if option in pattern.takes:
        assert pattern.scene(fmt, VALUES[option]) != pattern.scene(fmt)
    else:
        with pytest.raises(PatternError, match=rf"^--{option}: the pattern {pattern.id} has no such option; it has"):
            pattern.scene(fmt, VALUES[option])


def test_values_covers_every_option() -> None:
    """An option added to the command is tried above."""
    assert set(VALUES) == {field.name for field in fields(Options)}
    for name, options in VALUES.items():
        assert set(options.given) == {name}


@pytest.mark.parametrize(
    ("name", "options", "message"),
    [
        ("crosshatch", Options(cells=(0, 3)), r"--cells: got 0x3; use 1x1 to 176x120 in 480i"),
        ("crosshatch", Options(cells=(16, 121)), r"--cells: got 16x121"),
        ("crosshatch", Options(level=Fraction(-71, 1000)), r"--level: got -7.1 %; use -7 to 109 %"),
        ("crosshatch", Options(level=Fraction(11, 10)), r"--level: got 110 %"),
        ("window", Options(area=Fraction(0)), r"--area: got 0 %; use more than 0"),
        ("window", Options(area=Fraction(101, 100)), r"--area: got 101 %"),
        ("field", Options(colour="mauve"), r"--colour: got 'mauve'; use black, white"),
        ("bars", Options(bars="75/0/100/0"), r"--bars: got '75/0/100/0'; use 100/0/100/0"),
        ("dots", Options(cells=(1, 3)), r"--cells: got 1x3, dots need at least 2x2"),
    ],
)
def test_values_out_of_range_are_refused(name: str, options: Options, message: str) -> None:
    """A value that cannot be drawn is refused with the option, what was given, and what is allowed."""
    with pytest.raises(PatternError, match=message):
        PATTERNS[name].scene(FORMATS["480i"], options)


# --- Patches ------------------------------------------------------------------------------------------------


@EVERY_PATTERN
@EVERY_GROUP
def test_patches_lie_inside_the_picture(pattern: Pattern, group: str) -> None:
    """In every format, free ones among them, a scene builds and its patches are proper parts of the picture."""
    wrong = set()
    for where, fmt, scene in scenes(pattern, group):
        picture = fmt.picture
        for patch in scene.patches:
            span = patch_area(fmt, patch, 0, 0)
            proper = 0 <= patch.left < patch.right <= 1 and 0 <= patch.top < patch.bottom <= 1
            across = picture.left <= span.left <= span.right <= picture.right
            down = picture.top <= span.top <= span.bottom <= picture.bottom
            if not (proper and across and down):
                wrong.add((where, patch.name))
        names = [patch.name for patch in scene.patches]
        assert len(set(names)) == len(names), where
    assert not wrong


@EVERY_PATTERN
@EVERY_GROUP
def test_patches_have_samples_left_after_the_margins(pattern: Pattern, group: str) -> None:
    """In every format of 640 samples and more there is something to measure inside a reader's margins.

    Cells of the fine grid may be smaller than the margins; there its lines are measured.
    """
    for where, fmt, scene in scenes(pattern, group):
        if fmt.width < 640:
            continue
        empty = {p.name for p in scene.patches if patch_area(fmt, p, MARGIN_X, MARGIN_Y).is_empty}
        if pattern.id == "crosshatch-fine":
            empty = {name for name in empty if not name.startswith("cell")}
        assert not empty, where


@EVERY_PATTERN
@EVERY_GROUP
def test_patches_do_not_overlap(pattern: Pattern, group: str) -> None:
    """No sample belongs to two patches, whether a reader keeps its margins or not."""
    for where, fmt, scene in scenes(pattern, group):
        for x, y in ((0, 0), (MARGIN_X, MARGIN_Y)):
            spans = [(patch.name, patch_area(fmt, patch, x, y)) for patch in scene.patches]
            kept = [(name, span) for name, span in spans if not span.is_empty]
            for (name_a, a), (name_b, b) in itertools.combinations(kept, 2):
                apart = a.right <= b.left or b.right <= a.left or a.bottom <= b.top or b.bottom <= a.top
                assert apart, (where, name_a, name_b)


@EVERY_PATTERN
@EVERY_GROUP
def test_still_patterns_can_be_measured(pattern: Pattern, group: str) -> None:
    """A still pattern has patches; a moving one has a period."""
    for where, _, scene in scenes(pattern, group):
        assert bool(scene.patches) == scene.is_still, where
        assert scene.period is None or scene.period > 0, where


def test_patch_margins() -> None:
    """Margins are kept on every side but the raster's own edges, and above and below a thin patch not at all."""
    fmt = FORMATS["480i"]
    low, high = Fraction(1, 4), Fraction(1, 2)
    plain = Patch(name="a", left=low, top=low, right=high, bottom=high, colour=Colour.grey(0))
    thin = replace(plain, thin=True)
    # 704 samples from column 8: 8 + 176 = 184 and 8 + 352 = 360; lines 120 and 240.
    assert patch_area(fmt, plain, 6, 4) == Span(left=190, top=124, right=354, bottom=236)
    assert patch_area(fmt, thin, 6, 4) == Span(left=190, top=120, right=354, bottom=240)
    whole = replace(plain, left=Fraction(0), top=Fraction(0), right=Fraction(1), bottom=Fraction(1))
    assert patch_area(fmt, whole, 6, 4) == Span(left=14, top=0, right=706, bottom=480)
    assert patch_area(FORMATS["720p50"], whole, 6, 4) == Span(left=0, top=0, right=1280, bottom=720)


# --- Placement ----------------------------------------------------------------------------------------------


@given(st.integers(-8000, 16000), st.integers(2, 2000))
def test_mirrored_positions_snap_to_mirrored_boundaries(quarters: int, size: int) -> None:
    """A position goes to the nearest boundary and its mirror image to that one's mirror image, ties too."""
    value = Fraction(quarters, 4 * size)
    snapped = snap(value, size)
    assert snap(1 - value, size) == size - snapped
    assert abs(snapped - value * size) <= Fraction(1, 2)
    assert snapped.denominator == 1 or (2 * value == 1 and size % 2 == 1)


@pytest.mark.parametrize("fmt", [*FORMATS.values(), *WIDE, *FREE], ids=lambda fmt: f"{fmt.id} {fmt.picture_aspect}")
def test_strokes_are_even_and_about_as_wide_as_high(fmt: Format) -> None:
    """A stroke is two lines up to 1620 lines, and an even number of samples, the nearest to that on the glass."""
    samples, lines = stroke(fmt)
    assert lines == (2 if fmt.height < 1620 else 4)
    assert samples % 2 == 0
    assert samples >= 2
    assert samples == 2 or abs(samples * fmt.sample_aspect - lines) <= fmt.sample_aspect


# --- Geometry -----------------------------------------------------------------------------------------------

# Samples and lines of a cell: DESIGN figures, recomputed as 704/16 x 480/12 and so on.
CELLS = {
    (720, 240): (16, 12, 44, 20),
    (720, 288): (16, 12, 44, 24),
    (720, 480): (16, 12, 44, 40),
    (720, 576): (16, 12, 44, 48),
    (1280, 720): (32, 18, 40, 40),
    (1920, 1080): (32, 18, 60, 60),
}


@pytest.mark.parametrize("fmt", FORMATS.values(), ids=FORMATS)
def test_crosshatch_cells_are_equal_and_square(fmt: Format) -> None:
    """The grid's lines are whole samples apart, equally, from edge to edge of the picture, and square on the glass."""
    columns, rows, width, height = CELLS[fmt.width, fmt.height]
    scene = PATTERNS["crosshatch"].scene(fmt)
    xs = sorted(middle(fmt, rule) for rule in rules_of(scene, True))
    ys = sorted(middle(fmt, rule) for rule in rules_of(scene, False))
    assert xs == [fmt.picture.left + i * width for i in range(columns + 1)]
    assert ys == [j * height for j in range(rows + 1)]
    assert xs[-1] == fmt.picture.right
    assert ys[-1] == fmt.picture.bottom
    assert width * fmt.sample_aspect == height


@pytest.mark.parametrize(
    "fmt",
    rest_is_slow(FORMATS.values(), [FORMATS[name] for name in ("240p", "576i", "720p50", "1080i50")]),
    ids=FORMATS,
)
@pytest.mark.parametrize("name", [name for name in PATTERNS if name.startswith("crosshatch")])
def test_nodes_are_the_middles_of_the_drawn_lines(fmt: Format, name: str) -> None:
    """Every node is where two drawn lines cross, cut lines by what is left of them."""
    scene = PATTERNS[name].scene(fmt)
    across = sorted(Fraction(sum(ends(fmt, rule)), 2) for rule in rules_of(scene, False))
    down = sorted(Fraction(sum(ends(fmt, rule)), 2) for rule in rules_of(scene, True))
    places = [(node.column, node.row, column(fmt, node.x), line(fmt, node.y)) for node in scene.nodes]
    assert places == [(i, j, x, y) for j, y in enumerate(across) for i, x in enumerate(down)]


@pytest.mark.parametrize("fmt", [*FORMATS.values(), *WIDE], ids=lambda fmt: f"{fmt.id} {fmt.picture_aspect}")
def test_dots_stand_on_the_crosshatch(fmt: Format) -> None:
    """The dots' places are the inner crossings of the crosshatch, and each dot is a drawn disc."""
    grid, dots = PATTERNS["crosshatch"].scene(fmt), PATTERNS["dots"].scene(fmt)
    last_column, last_row = max(n.column for n in grid.nodes), max(n.row for n in grid.nodes)
    inner = {
        (node.column, node.row): (node.x, node.y)
        for node in grid.nodes
        if 0 < node.column < last_column and 0 < node.row < last_row
    }
    found = {(dot.column, dot.row): (dot.x, dot.y) for dot in dots.dots}
    assert found.keys() == inner.keys()
    for key, (x, y) in found.items():
        # Lines are snapped to whole samples; where the cells are whole, dots and lines agree exactly.
        assert abs(x - inner[key][0]) * fmt.picture.width <= Fraction(1, 2)
        assert abs(y - inner[key][1]) * fmt.picture.height <= Fraction(1, 2)
        if fmt.id in FORMATS and fmt.picture_aspect == FORMATS[fmt.id].picture_aspect:
            assert (x, y) == inner[key]
    discs = [shape for shape in dots.shapes if isinstance(shape, Disc)]
    assert len(discs) == len(dots.shapes) == len(dots.dots)
    assert {(d.x, d.y, d.radius) for d in dots.dots} == {(disc.x, disc.y, disc.radius) for disc in discs}


@pytest.mark.parametrize("fmt", FORMATS.values(), ids=FORMATS)
def test_squares_of_circles_are_square_on_the_glass(fmt: Format) -> None:
    """Each ring has a square of four rules whose middles touch it exactly, width for height."""
    scene = PATTERNS["circles"].scene(fmt)
    rings = [shape for shape in scene.shapes if isinstance(shape, Ring)]
    assert len(rings) == 5
    across = {middle(fmt, rule) for rule in rules_of(scene, False)}
    down = {middle(fmt, rule) for rule in rules_of(scene, True)}
    for ring in rings:
        radius = ring.radius * fmt.picture.height
        x, y = column(fmt, ring.x), line(fmt, ring.y)
        assert {y - radius, y + radius} <= across
        assert {x - radius / fmt.sample_aspect, x + radius / fmt.sample_aspect} <= down
    # Mirrored, so that left and right, top and bottom can be compared on the glass.
    assert {(1 - ring.x, ring.y) for ring in rings} == {(ring.x, ring.y) for ring in rings}
    assert {(ring.x, 1 - ring.y) for ring in rings} == {(ring.x, ring.y) for ring in rings}


@pytest.mark.parametrize("fmt", FORMATS.values(), ids=FORMATS)
def test_overscan_frames_lie_at_their_percentages(fmt: Format) -> None:
    """Frames stand on the picture's edge and at the safe areas of EBU R 95, the same on all four sides."""
    scene = PATTERNS["overscan"].scene(fmt)
    picture = fmt.picture
    # EBU R 95 v1.1, secondary text: 3.5 % and 5 % of width and height.
    assert (SAFE_ACTION_MARGIN.value, SAFE_GRAPHICS_MARGIN.value) == (Fraction(7, 200), Fraction(1, 20))
    for vertical, start, size in ((True, picture.left, picture.width), (False, picture.top, picture.height)):
        long = sorted(ends(fmt, rule) for rule in rules_of(scene, vertical) if rule.stop - rule.start > Fraction(1, 2))
        low = [(first - start, last - start) for first, last in long[:3]]
        high = [(start + size - last, start + size - first) for first, last in reversed(long[3:])]
        assert low == high
        assert low[0][0] == 0, "the outside of the outermost frame is the picture's edge"
        for (first, last), share in zip(low[1:], (Fraction(7, 200), Fraction(1, 20)), strict=True):
            assert abs(Fraction(first + last, 2) - share * size) <= Fraction(1, 2)


@pytest.mark.parametrize("fmt", [fmt for fmt in FORMATS.values() if fmt.interlaced], ids=lambda fmt: fmt.id)
@pytest.mark.parametrize("name", ["crosshatch", "crosshatch-r", "crosshatch-fine", "circles", "overscan", "centre"])
def test_whole_lines_have_one_line_in_each_field(fmt: Format, name: str) -> None:
    """A horizontal line that the raster's edge does not cut has equally many lines in both fields."""
    rules = rules_of(PATTERNS[name].scene(fmt), False)
    spans = [rule_area(fmt, rule) for rule in rules]
    whole = [span for span in spans if span.top > 0 and span.bottom < fmt.height]
    assert whole
    for span in whole:
        lines = range(span.top, span.bottom)
        assert len(lines[::2]) == len(lines[1::2]) >= 1


@pytest.mark.parametrize("fmt", [fmt for fmt in FORMATS.values() if fmt.interlaced], ids=lambda fmt: fmt.id)
def test_lines_of_the_edge_frame_have_one_line_in_each_field(fmt: Format) -> None:
    """The frame of the overscan scales does not flicker either: in interlaced formats both fields have its lines."""
    spans = [rule_area(fmt, rule) for rule in rules_of(PATTERNS["overscan"].scene(fmt), False)]
    edge = {(span.top, span.bottom) for span in spans if span.top == 0 or span.bottom == fmt.height}
    assert len(edge) == 2
    for top, bottom in edge:
        assert {row % 2 for row in range(top, bottom)} == {0, 1}, (top, bottom)


@pytest.mark.parametrize("fmt", FORMATS.values(), ids=lambda fmt: fmt.id)
@pytest.mark.parametrize("name", ["crosshatch", "crosshatch-fine"])
def test_outer_lines_of_a_grid_are_cut_so_that_gaps_stay_equal(fmt: Format, name: str) -> None:
    """Between neighbouring lines there is the same dark gap everywhere, the outermost cells included."""
    spans = sorted(
        (span.top, span.bottom)
        for span in (rule_area(fmt, rule) for rule in rules_of(PATTERNS[name].scene(fmt), False))
    )
    gaps = {later[0] - earlier[1] for earlier, later in itertools.pairwise(spans)}
    # Where the lines divide evenly there is one gap; else neighbours differ by the one line of snapping.
    rows = len(spans) - 1
    assert len(gaps) == 1 if fmt.height % (2 * rows) == 0 else max(gaps) - min(gaps) <= 1


# --- Levels and colours -------------------------------------------------------------------------------------


def codes(bits: int, colour: Colour) -> int:
    return Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=bits, sampling=Sampling.RGB).codes(colour)[0]


@pytest.mark.parametrize(
    ("bits", "darker", "lighter", "second"),
    # BT.814-4 by two agreeing secondary texts, 8 bit computed; 4 % is that of RP 219-1, 99 and 24.76.
    [(10, 48, 80, 99), (8, 12, 20, 25)],
)
def test_pluge_levels(bits: int, darker: int, lighter: int, second: int) -> None:
    """The stripes carry the levels of BT.814 and 4 %, on both sides of the white patch, lighter inward."""
    patches = {patch.name: patch for patch in PATTERNS["pluge"].scene(FORMATS["480i"]).patches}
    for side in ("left", "right"):
        assert codes(bits, patches[f"darker {side}"].colour) == darker
        assert codes(bits, patches[f"lighter {side}"].colour) == lighter
        assert codes(bits, patches[f"second lighter {side}"].colour) == second
    assert patches["darker left"].right <= patches["lighter left"].left
    assert patches["lighter left"].right <= patches["second lighter left"].left
    assert codes(bits, patches["white"].colour) == {8: 235, 10: 940}[bits]  # BT.601-7 Table 3
    assert codes(bits, patches["black"].colour) == {8: 16, 10: 64}[bits]
    for name in ("darker", "lighter", "second lighter"):
        left, right = patches[f"{name} left"], patches[f"{name} right"]
        assert (left.left, left.right) == (1 - right.right, 1 - right.left)


@pytest.mark.parametrize(
    ("name", "white", "level"),
    # BT.471-1 names, secondary text: white bar / black bar / highest / lowest level of the coloured bars.
    [(None, 1, "3/4"), ("100/0/75/0", 1, "3/4"), ("100/0/100/0", 1, "1"), ("75/0/75/0", "3/4", "3/4")],
)
def test_bars_by_name(name: str | None, white: str | int, level: str) -> None:
    """Eight equal bars in falling order of light, with the levels that the name states."""
    top, zero, full = Fraction(level), Fraction(0), Fraction(white)
    scene = PATTERNS["bars"].scene(FORMATS["1080i50"], Options(bars=name))
    expected = [
        ("white", Colour(full, full, full)),
        ("yellow", Colour(top, top, zero)),
        ("cyan", Colour(zero, top, top)),
        ("green", Colour(zero, top, zero)),
        ("magenta", Colour(top, zero, top)),
        ("red", Colour(top, zero, zero)),
        ("blue", Colour(zero, zero, top)),
        ("black", Colour(zero, zero, zero)),
    ]
    assert [(patch.name, patch.colour) for patch in scene.patches] == expected
    assert [(patch.left, patch.right) for patch in scene.patches] == [
        (Fraction(i, 8), Fraction(i + 1, 8)) for i in range(8)
    ]


@pytest.mark.parametrize(
    ("name", "first", "last", "step"),
    [("steps", 0, 100, 10), ("steps-near-black", 0, 10, 1), ("steps-near-white", 90, 100, 1)],
)
def test_grey_steps(name: str, first: int, last: int, step: int) -> None:
    """Eleven steps rise from left to right, each named with its level and neutral."""
    patches = PATTERNS[name].scene(FORMATS["480i"]).patches[:11]
    percents = list(range(first, last + 1, step))
    assert [patch.name for patch in patches] == [str(percent) for percent in percents]
    assert [patch.colour for patch in patches] == [Colour.grey(Fraction(percent, 100)) for percent in percents]
    assert len(patches) == 11


def test_steps_fall_below_as_they_rise_above() -> None:
    """Each level of the rising staircase stands again below, in mirrored places; the middle line is rising."""
    patches = PATTERNS["steps"].scene(FORMATS["480i"]).patches
    above, below = patches[:11], patches[11:]
    assert [(p.name, p.colour) for p in below] == [(f"{p.name} lower", p.colour) for p in reversed(above)]
    for up, down in zip(above, reversed(below), strict=True):
        assert (up.left, up.right) == (1 - down.right, 1 - down.left)
    assert all(p.top < Fraction(1, 2) < p.bottom for p in above)
    assert {p.bottom for p in above} == {p.top for p in below}


@EVERY_PATTERN
def test_words_do_not_outshine_what_they_stand_on(pattern: Pattern) -> None:
    """On grey patterns a figure is darker than its ground, or on a dark ground at most 20 % lighter than it.

    Words are the content of the slate and of focus, and the scales of overscan are lines.
    """
    if pattern.id in ("slate", "focus", "overscan", "flicker", "alignment"):
        return
    fmt = FORMATS["576i"]
    scene = pattern.scene(fmt)
    for text in (shape for shape in scene.shapes if isinstance(shape, Text)):
        ground = scene.background
        middle = text.x
        for shape in scene.shapes:
            if isinstance(shape, Box) and shape.left <= middle < shape.right and shape.top <= text.y < shape.bottom:
                ground = shape.colour
        assert text.colour.green <= ground.green + Fraction(1, 5), text.text
        assert abs(text.colour.green - ground.green) >= Fraction(1, 5), f"{text.text} cannot be read"


@pytest.mark.parametrize("fmt", [FORMATS[name] for name in ("480i", "576i", "1080i50")], ids=lambda fmt: fmt.id)
@pytest.mark.parametrize("name", ["wedge", "focus", "steps", "alignment", "multiburst", "sweep"])
def test_words_are_whole_and_apart(name: str, fmt: Format) -> None:
    """No word is cut by the picture's edge and no two overlap: their boxes, by the face's width of a character."""
    boxes = []
    for text in (shape for shape in PATTERNS[name].scene(fmt).shapes if isinstance(shape, Text)):
        # 1233 of 2048 units a character and 1493 of a capital (the face's own tables).
        wide = Fraction(1233, 1493) * text.height * len(text.text) / fmt.picture_aspect
        left = text.x - {"start": Fraction(0), "middle": wide / 2, "end": wide}[text.anchor]
        boxes.append((text.text, left, text.y - text.height / 2, left + wide, text.y + text.height / 2))
    assert boxes
    for word, left, top, right, bottom in boxes:
        assert 0 <= left < right <= 1, word
        assert 0 <= top < bottom <= 1, word
    for (word, *a), (other, *b) in itertools.combinations(boxes, 2):
        assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1], (word, other)


@pytest.mark.parametrize("name", ["wedge", "focus"])
def test_fine_detail_is_in_the_middle_and_in_the_corners(name: str) -> None:
    """A pair of wedges stands in the middle and in each quarter of the picture, mirrored places alike."""
    waves = [shape for shape in PATTERNS[name].scene(FORMATS["480i"]).shapes if isinstance(shape, Wave)]
    assert len(waves) == 10
    places = [((wave.left + wave.right) / 2, (wave.top + wave.bottom) / 2) for wave in waves]
    for x in (0, 1):
        for y in (0, 1):
            near = [(a, b) for a, b in places if abs(a - x) < Fraction(2, 5) and abs(b - y) < Fraction(1, 3)]
            assert len(near) == 2, (x, y)
    assert (
        sum(abs(a - Fraction(1, 2)) < Fraction(1, 4) and abs(b - Fraction(1, 2)) < Fraction(1, 6) for a, b in places)
        == 2
    )


@pytest.mark.parametrize("fmt", FORMATS.values(), ids=FORMATS)
def test_checkerboard_has_as_much_light_as_dark(fmt: Format) -> None:
    """Four by four blocks, neighbours different: half of the area is bright."""
    patches = PATTERNS["checkerboard"].scene(fmt, Options(level=Fraction(3, 4))).patches
    assert len(patches) == 16
    bright = [p for p in patches if p.colour == Colour.grey(Fraction(3, 4))]
    assert sum((p.right - p.left) * (p.bottom - p.top) for p in bright) == Fraction(1, 2)
    for a, b in itertools.combinations(patches, 2):
        beside = (a.top == b.top and a.right == b.left) or (a.left == b.left and a.bottom == b.top)
        assert not (beside and a.colour == b.colour), (a.name, b.name)


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_half_field_is_bright_on_its_side(side: str) -> None:
    """All bright patches lie in the named half and all dark ones in the other."""
    patches = PATTERNS["half-field"].scene(FORMATS["576i"], Options(side=side, level=Fraction(3, 5))).patches
    assert {p.colour for p in patches} == {Colour.grey(Fraction(3, 5)), Colour.grey(0)}
    half = Fraction(1, 2)
    for p in patches:
        first = p.right <= half if side in ("left", "right") else p.bottom <= half
        is_bright = first is (side in ("left", "top"))
        assert p.colour == Colour.grey(Fraction(3, 5) if is_bright else 0), p.name


def test_alignment_has_every_block_and_nothing_round() -> None:
    """Bars, near black, greys and bursts are there to be measured; no circle, and the grid's middle lines are free."""
    fmt = FORMATS["480i"]
    scene = PATTERNS["alignment"].scene(fmt)
    assert not [shape for shape in scene.shapes if isinstance(shape, Disc | Ring)]
    assert len([shape for shape in scene.shapes if isinstance(shape, Wave)]) == 4
    names = {patch.name for patch in scene.patches}
    assert {"yellow", "blue", "near black 2", "near black 8", "20", "100", "grey"} <= names
    half = Fraction(1, 2)
    boxes = [shape for shape in scene.shapes if isinstance(shape, Box)]
    assert boxes
    assert not [box for box in boxes if box.left < half < box.right or box.top < half < box.bottom]


@pytest.mark.parametrize("percent", [1, 4, 10, 25, 50, 100])
@pytest.mark.parametrize("fmt", FORMATS.values(), ids=FORMATS)
def test_window_has_its_area_and_the_pictures_shape(fmt: Format, percent: int) -> None:
    """A window's sides are within a sample and a line of the picture's sides times the root of its area."""
    scene = PATTERNS["window"].scene(fmt, Options(area=Fraction(percent, 100)))
    (window,) = (patch for patch in scene.patches if patch.name == "window")
    span = patch_area(fmt, window, 0, 0)
    side = (percent / 100) ** 0.5
    assert abs(span.right - span.left - side * fmt.picture.width) <= 1
    assert abs(span.bottom - span.top - side * fmt.picture.height) <= 1
    assert span.left + span.right == fmt.width
    assert span.top + span.bottom == fmt.height


@pytest.mark.parametrize(
    ("options", "colour"),
    [
        (Options(), Colour.grey(1)),
        (Options(colour="grey"), Colour.grey(Fraction(1, 2))),
        (Options(colour="grey", level=Fraction(1, 5)), Colour.grey(Fraction(1, 5))),
        (Options(level=Fraction(1, 5)), Colour.grey(Fraction(1, 5))),
        (Options(colour="cyan", level=Fraction(3, 4)), Colour(Fraction(0), Fraction(3, 4), Fraction(3, 4))),
    ],
)
def test_fields(options: Options, colour: Colour) -> None:
    """A plain field is one colour over the whole raster, at its level."""
    scene = PATTERNS["field"].scene(FORMATS["480i"], options)
    assert scene.background == colour
    assert not scene.shapes
    assert {patch.colour for patch in scene.patches} == {colour}
