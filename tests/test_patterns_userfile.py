"""A user's own pattern: what each table becomes, what each mistake is told as, and that nothing else can happen."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patterns.formats import FORMATS, parse_format
from patterns.pattern import COLOURS, Area, Options, Pattern, PatternError
from patterns.scene import Box, Disc, Gradient, Mover, Patch, Ring, Rule, Scene, Segment, Shape, Text, Timed
from patterns.signal import Colour, Matrix, Range, Sampling, Signal
from patterns.userfile import load_pattern, parse_pattern
from render.raster import draw_frame, frames_per_period

RED, WHITE = COLOURS["red"], COLOURS["white"]
SMALL = parse_format("64x48i@60")
SIGNALS = (
    Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=8, sampling=Sampling.YCBCR_420),
    Signal(range=Range.FULL, matrix=Matrix.BT601, bits=16, sampling=Sampling.RGB),
)


def scene(text: str) -> Scene:
    return parse_pattern(text, name="own").scene(FORMATS["480i"])


def only_shape(body: str, top: str = "") -> Shape | Timed:
    (shape,) = scene(f"{top}\n[[shape]]\n{body}").shapes
    return shape


def mistake(text: str) -> str:
    with pytest.raises(PatternError) as caught:
        parse_pattern(text, name="own", where="own.toml")
    return str(caught.value)


def line_of(words: str) -> int | None:
    """The line that a message names right after the file."""
    found = re.match(r"own\.toml, line (\d+)[:,]", words)
    return int(found[1]) if found else None


# --- What is written becomes what is meant ------------------------------------------------------------------

# Percentages are written as they are in the text below: 7.5 % is 3/40, exact arithmetic.
SHAPES: dict[str, tuple[str, Shape | Timed]] = {
    "box": (
        'kind = "box"\nleft = 7.5\ntop = 0\nright = 92.5\nbottom = 33.3\ncolour = "red"',
        Box(left=Fraction(3, 40), top=Fraction(0), right=Fraction(37, 40), bottom=Fraction(333, 1000), colour=RED),
    ),
    "gradient": (
        'kind = "gradient"\nleft = -1\ntop = -2.5\nright = 101\nbottom = 102.5\nstart = 0\nstop = "white"',
        Gradient(
            left=Fraction(-1, 100),
            top=Fraction(-1, 40),
            right=Fraction(101, 100),
            bottom=Fraction(41, 40),
            start=COLOURS["black"],
            stop=WHITE,
        ),
    ),
    "vertical": (
        'kind = "vertical"\nat = 50\nfrom = 10\nto = 90\ncolour = "white"',
        Rule(vertical=True, at=Fraction(1, 2), start=Fraction(1, 10), stop=Fraction(9, 10), colour=WHITE),
    ),
    "horizontal": (
        'kind = "horizontal"\nat = 0.1\nfrom = 0\nto = 100\ncolour = "white"\nweight = 3',
        Rule(vertical=False, at=Fraction(1, 1000), start=Fraction(0), stop=Fraction(1), colour=WHITE, weight=3),
    ),
    "disc": (
        'kind = "disc"\nx = 50\ny = 25\nradius = 12.5\ncolour = "red"',
        Disc(x=Fraction(1, 2), y=Fraction(1, 4), radius=Fraction(1, 8), colour=RED),
    ),
    "ring": (
        'kind = "ring"\nx = 50\ny = 50\nradius = 2e1\ncolour = "red"\nweight = 2',
        Ring(x=Fraction(1, 2), y=Fraction(1, 2), radius=Fraction(1, 5), colour=RED, weight=2),
    ),
    "line": (
        'kind = "line"\nx0 = 0\ny0 = 0\nx1 = 100\ny1 = 1_0.5\ncolour = "white"',
        Segment(x0=Fraction(0), y0=Fraction(0), x1=Fraction(1), y1=Fraction(21, 200), colour=WHITE),
    ),
    "text": (
        'kind = "text"\nx = 5\ny = 5\nheight = 4\ntext = "Zähler 1"\ncolour = "white"\nanchor = "start"',
        Text(
            x=Fraction(1, 20),
            y=Fraction(1, 20),
            height=Fraction(1, 25),
            text="Zähler 1",
            colour=WHITE,
            anchor="start",
        ),
    ),
    "moving disc": (
        'kind = "disc"\nx = 0\ny = 50\nradius = 5\ncolour = "red"\nmove = [100, -7.5]',
        Mover(
            shape=Disc(x=Fraction(0), y=Fraction(1, 2), radius=Fraction(1, 20), colour=RED),
            dx=Fraction(1),
            dy=Fraction(-3, 40),
        ),
    ),
}


@pytest.mark.parametrize("kind", SHAPES)
def test_each_kind_of_shape_becomes_exactly_what_is_written(kind: str) -> None:
    """Every kind of table gives its shape, with the written decimals as exact fractions."""
    body, expected = SHAPES[kind]
    assert only_shape(body) == expected


# Names are BT.471's primaries and their mixtures; grey is 50 % by docs of `COLOURS`.
COLOUR_TEXTS: dict[str, Colour] = {
    '"red"': RED,
    '"RED"': RED,
    '" magenta "': COLOURS["magenta"],
    '"red 75"': Colour(Fraction(3, 4), Fraction(0), Fraction(0)),
    '"yellow 7.5 %"': Colour(Fraction(3, 40), Fraction(3, 40), Fraction(0)),
    '"grey"': Colour.grey(Fraction(1, 2)),
    '"grey 20"': Colour.grey(Fraction(1, 5)),
    '"white -4%"': Colour.grey(Fraction(-1, 25)),
    "7.5": Colour.grey(Fraction(3, 40)),
    "109": Colour.grey(Fraction(109, 100)),
    "-7": Colour.grey(Fraction(-7, 100)),
    "[100, 0, 7.5]": Colour(Fraction(1), Fraction(0), Fraction(3, 40)),
}


@pytest.mark.parametrize("text", COLOUR_TEXTS)
def test_colours_are_read_exactly(text: str) -> None:
    """A name, a name with a level, a grey and a triple give the exact fractions."""
    assert scene(f"background = {text}").background == COLOUR_TEXTS[text]


def test_words_patches_and_background_reach_the_pattern() -> None:
    """The words of the file, its patches in order, and black where no background is named."""
    text = """
title = "Own stripes"
look = "At the stripe."
adjust = "Nothing."
[[shape]]
kind = "box"
left = 10
top = 10
right = 20
bottom = 90
colour = "red 75"
[[patch]]
name = "stripe"
left = 10
top = 10
right = 20
bottom = 90
colour = "red 75"
[[patch]]
name = "ground"
left = 50
top = 0
right = 100
bottom = 100
colour = 0
"""
    pattern = parse_pattern(text, name="my stripes (2)")
    assert (pattern.id, pattern.title, pattern.area) == ("my-stripes-2", "Own stripes", Area.OWN)
    assert (pattern.look, pattern.adjust, pattern.takes) == ("At the stripe.", "Nothing.", ())
    drawn = pattern.scene(FORMATS["480i"])
    assert drawn.background == COLOURS["black"]
    assert [patch.name for patch in drawn.patches] == ["stripe", "ground"]
    assert drawn.patches[0] == Patch(
        name="stripe",
        left=Fraction(1, 10),
        top=Fraction(1, 10),
        right=Fraction(1, 5),
        bottom=Fraction(9, 10),
        colour=Colour(Fraction(3, 4), Fraction(0), Fraction(0)),
    )
    assert drawn.is_still


def test_an_own_pattern_takes_no_options() -> None:
    """--cells and the like are refused: the file says everything."""
    pattern = parse_pattern('background = "red"', name="own")
    with pytest.raises(PatternError, match="--cells"):
        pattern.scene(FORMATS["480i"], Options(cells=(4, 3)))


@pytest.mark.parametrize(("top", "period"), [("", Fraction(4)), ("period = 1.5", Fraction(3, 2)), ("period = 60", 60)])
def test_a_moving_shape_has_a_period(top: str, period: Fraction) -> None:
    """A shape with `move` makes the scene a moving one; four seconds unless the file says another time."""
    body, expected = SHAPES["moving disc"]
    found = scene(f"{top}\n[[shape]]\n{body}")
    assert found.period == period
    assert isinstance(expected, Mover)
    assert isinstance(expected.shape, Disc)
    assert found.at(Fraction(0)) == (expected.shape,)
    (halfway,) = found.at(Fraction(1, 2))
    assert isinstance(halfway, Disc)
    # Half of 100 % and of -7.5 %, exact arithmetic.
    assert (halfway.x, halfway.y) == (Fraction(1, 2), Fraction(1, 2) - Fraction(3, 80))


@pytest.mark.parametrize("kind", [kind for kind in SHAPES if kind != "moving disc"])
def test_every_kind_of_shape_can_move(kind: str) -> None:
    """A shape that moves by the picture's width is drawn elsewhere after half of the period."""
    found = scene(f"period = 1\n[[shape]]\n{SHAPES[kind][0]}\nmove = [100, 100]")
    first, later = (draw_frame(found, SMALL, SIGNALS[0], index) for index in (0, 15))
    assert frames_per_period(found, SMALL) == 30
    assert any((a != b).any() for a, b in zip(first, later, strict=True))


# --- Files ---------------------------------------------------------------------------------------------------


def test_the_file_name_is_the_id(tmp_path: Path) -> None:
    """The id is the file's name without the ending, in any script, also after a byte-order mark."""
    for name, ident in (("stripes.toml", "stripes"), ("полосы 1.toml", "полосы-1"), ("!!.toml", "own")):
        path = tmp_path / name
        path.write_bytes(b'\xef\xbb\xbfbackground = "red"\r\n')
        assert load_pattern(path).id == ident


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "No such file"),
        ("folder", "directory"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b"#" * ((1 << 20) + 1), "1 MiB"),
        (b"", "nothing to draw"),
        (b"\0", "line 1"),
    ],
)
def test_a_file_that_cannot_be_read_is_named(tmp_path: Path, content: bytes | str | None, words: str) -> None:
    """Missing, a folder, no UTF-8, too large, empty, binary: one line that begins with the file's path."""
    path = tmp_path / "own.toml"
    if content == "folder":
        path.mkdir()
    elif isinstance(content, bytes):
        path.write_bytes(content)
    with pytest.raises(PatternError) as caught:
        load_pattern(path)
    assert str(caught.value).startswith(str(path))
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


# --- Mistakes ------------------------------------------------------------------------------------------------

BOX = '[[shape]]\nkind = "box"\nleft = 1\ntop = 1\nright = 9\nbottom = 9\ncolour = "red"\n'
DISC = '[[shape]]\nkind = "disc"\nx = 1\ny = 1\nradius = 9\ncolour = "red"\n'
TEXT = '[[shape]]\nkind = "text"\nx = 1\ny = 1\nheight = 4\ntext = "a"\ncolour = "red"\n'
RULE = '[[shape]]\nkind = "vertical"\nat = 5\nfrom = 1\nto = 9\ncolour = "red"\n'
PATCH = '[[patch]]\nname = "p"\nleft = 1\ntop = 1\nright = 9\nbottom = 9\ncolour = "red"\n'
GROUND = 'background = "red"\n'


def swap(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


MISTAKES: list[tuple[str, int, str]] = [
    # The text as TOML.
    ("background = \n", 1, "value"),
    ('title = "x"\nbackground = "red\n', 2, "llegal"),
    ("a = 1\na = 2\n", 2, "overwrite"),
    # The top of the file.
    (GROUND + 'colour = "red"\n', 2, "colour"),
    (GROUND + "title = 5\n", 2, "title"),
    (GROUND + "look = [1]\n", 2, "look"),
    (GROUND + "adjust = 1979-05-27\n", 2, "adjust"),
    ('title = "x"\nbackground = "pink"\n', 2, "black, white, grey, red"),
    ("background = 110\n", 1, "-7 to 109"),
    ("background = -7.5\n", 1, "-7 to 109"),
    ('background = "red 110"\n', 1, "-7 to 109"),
    ('background = "red 7,5"\n', 1, "background"),
    ("background = [1, 2]\n", 1, "background"),
    ('background = [1, 2, "3"]\n', 1, "number"),
    ("background = [1, 2, 300]\n", 1, "-7 to 109"),
    ("background = true\n", 1, "background"),
    ('"background" = true\n', 1, "background"),
    (GROUND + "period = 4\n", 2, "no shape moves"),
    ("period = 0.05\n" + DISC + "move = [1, 1]\n", 1, "1 to 60"),
    ("period = 61\n" + DISC + "move = [1, 1]\n", 1, "1 to 60"),
    ('title = "x"\nperiod = "4"\n' + DISC + "move = [1, 1]\n", 2, "number"),
    (GROUND + "shape = 5\n", 2, "[[shape]]"),
    (GROUND + "\n[shape]\nkind = 5\n", 3, "[[shape]]"),
    (GROUND + "patch = [1]\n", 2, "[[patch]]"),
    # Shapes.
    ('[[shape]]\nkind = "star"\n', 2, "box, gradient"),
    ("[[shape]]\nkind = []\n", 2, "kind"),
    ('[[shape]]\ncolour = "red"\n', 1, "kind"),
    (swap(BOX, "left = 1\n", ""), 1, "left"),
    (BOX + "radius = 4\n", 8, "radius"),
    (BOX + BOX + "weight = 4\n", 15, "weight"),
    (BOX + "\n# words\n\n" + swap(BOX, "right = 9", "right = 1"), 15, "larger than left"),
    (swap(BOX, "bottom = 9", "bottom = 0.5"), 6, "larger than top"),
    (swap(BOX, "left = 1", "left = true"), 3, "number"),
    (swap(BOX, "left = 1", 'left = "1"'), 3, "number"),
    (swap(BOX, "left = 1", "left = -10001"), 3, "-10000 to 10000"),
    (swap(BOX, "top = 1", "top = 10000.5"), 4, "-10000 to 10000"),
    (swap(BOX, "left = 1", "left.x = 1"), 3, "number"),
    (swap(RULE, "to = 9", "to = 1"), 5, "larger than from"),
    (RULE + "weight = 0\n", 7, "1 to 50"),
    (RULE + "weight = 51\n", 7, "1 to 50"),
    (RULE + "weight = 1.5\n", 7, "whole number"),
    (RULE + "weight = true\n", 7, "whole number"),
    (swap(DISC, "radius = 9", "radius = 0"), 5, "200 %"),
    (swap(DISC, "radius = 9", "radius = 200.1"), 5, "200 %"),
    (DISC + "move = 5\n", 7, "[x, y]"),
    (DISC + "move = [5]\n", 7, "[x, y]"),
    (DISC + 'move = [5, "5"]\n', 7, "number"),
    (swap(TEXT, "height = 4", "height = 51"), 5, "50 %"),
    (swap(TEXT, "height = 4", "height = -4"), 5, "height"),
    (swap(TEXT, '"a"', '""'), 6, "1 to 200"),
    (swap(TEXT, '"a"', '"  "'), 6, "1 to 200"),
    (swap(TEXT, '"a"', '"' + "a" * 201 + '"'), 6, "1 to 200"),
    (swap(TEXT, '"a"', r'"a\nb"'), 6, "printable"),
    (swap(TEXT, '"a"', r'"\u001b[31m"'), 6, "printable"),
    (swap(TEXT, '"a"', "5"), 6, "text"),
    (TEXT + 'anchor = "left"\n', 8, "start, middle or end"),
    (TEXT + "anchor = []\n", 8, "start, middle or end"),
    # Patches.
    (GROUND + swap(PATCH, 'name = "p"\n', ""), 2, "name"),
    (GROUND + swap(PATCH, '"p"', "5"), 3, "name"),
    (GROUND + swap(PATCH, "left = 1", "left = -1"), 4, "0 to 100"),
    (GROUND + swap(PATCH, "right = 9", "right = 1"), 6, "larger than left"),
    (GROUND + PATCH + "weight = 1\n", 9, "weight"),
    (GROUND + PATCH + BOX + swap(PATCH, '"red"', '"rot"'), 22, "colour"),
    ("background = 1\n[[ patch ]]\nname = 5\n", 2, "left"),
]


@pytest.mark.parametrize(("text", "line", "word"), MISTAKES, ids=[f"{i}-{m[2]}" for i, m in enumerate(MISTAKES)])
def test_a_mistake_is_told_with_file_line_and_key(text: str, line: int, word: str) -> None:
    """One line that begins with the file, names the line of the mistake, and says what is expected there."""
    words = mistake(text)
    assert line_of(words) == line
    assert word in words
    assert "\n" not in words


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ('title = "x"\nperiod = nan\n', 2),
        ('title = "x"\nbackground = inf\n', 2),
        ('title = "x"\n\nbackground = 1e9999\n', 3),
        ('title = "x"\n\nbackground = 0.' + "1" * 60 + "\n", 3),
        ('title = "x"\nbackground = ' + "1" * 5000 + "\n", 2),
    ],
    ids=["nan", "inf", "exponent", "digits", "whole number"],
)
def test_a_number_that_cannot_be_taken_is_told_with_its_line(text: str, line: int) -> None:
    """A number that is none, or too long, is told with the line where it stands."""
    words = mistake(text)
    assert line_of(words) == line


def test_a_line_end_of_another_script_is_no_line() -> None:
    """Only line feeds end a line of TOML, so U+2028 in a text does not move the numbers after it."""
    assert line_of(mistake('look = "a\u2028b"\ntitle = 5\n')) == 2


def test_words_that_look_like_a_heading_move_no_line() -> None:
    """A heading inside a text of several lines is no table."""
    text = GROUND + 'look = """\n[[shape]]\n"""\n' + swap(DISC, "radius = 9", "radius = 500")
    assert line_of(mistake(text)) == 9


def test_a_table_written_in_one_line_is_found() -> None:
    """A shape inside a list is told with the line that it stands in."""
    text = 'title = "x"\nshape = [\n  {kind = "disc", x = 1, y = 2, radius = 3},\n]\n'
    assert line_of(mistake(text)) == 3


def test_too_many_shapes_are_refused() -> None:
    """More than 5000 shapes or patches are refused with their number."""
    assert "5001" in mistake(BOX * 5001)
    assert "5001" in mistake(GROUND + PATCH * 5001)


@pytest.mark.parametrize("name", ["patch", "title"])
def test_names_for_people_are_printable(name: str) -> None:
    """A title and a patch's name are shown on a terminal: a line feed or an escape code in them is refused."""
    text = GROUND + (swap(PATCH, '"p"', r'"p\n\u001b[31m"') if name == "patch" else 'title = "a\\n\\u001b[31mb"\n')
    assert "printable" in mistake(text)


@pytest.mark.parametrize("number", ["1e9_9_9_9_9_9_9_9_9", "1e-9_9_9_9_9_9_9_9_9", "1e999999999", "0x" + "f" * 100_000])
def test_no_number_takes_long(number: str) -> None:
    """A short text for an endless number is refused at once; a process of its own, so that the test always ends."""
    program = (
        "from patterns.pattern import PatternError\n"
        "from patterns.userfile import parse_pattern\n"
        f"text = 'background = {number}'\n"
        "try:\n    parse_pattern(text, name='own')\nexcept PatternError:\n    print('refused')\n"
    )
    try:
        done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=5)
    except subprocess.TimeoutExpired:
        pytest.fail("still busy after 5 s")
    assert done.stdout == "refused\n", done.stderr[-300:]


# --- Any text at all -----------------------------------------------------------------------------------------


def taken(text: str) -> Pattern | None:
    """The pattern, or None for a PatternError of one line; any other exception passes through."""
    words = ""
    try:
        return parse_pattern(text, name="own", where="own.toml")
    except PatternError as error:
        words = str(error)
    assert words.startswith("own.toml")
    assert "\n" not in words
    return None


def check_drawn(pattern: Pattern) -> None:
    for signal in SIGNALS:
        found = pattern.scene(SMALL, Options(), signal)
        planes = draw_frame(found, SMALL, signal, 1)
        low, high = signal.limits
        assert all(low <= plane.min() and plane.max() <= high for plane in planes)


@given(st.text(st.characters(codec="utf-8"), max_size=200))
def test_any_text_is_a_pattern_or_a_mistake(text: str) -> None:
    """Arbitrary characters never cause anything but a PatternError of one line."""
    pattern = taken(text)
    if pattern is not None:
        check_drawn(pattern)


percents = st.one_of(
    st.integers(-50, 150).map(str),
    st.decimals(-50, 150, places=3, allow_nan=False).map(str),
    st.sampled_from(["0", "100", "-10000", "10000", "1e-9", "9999.999", "0.001"]),
)
levels = st.one_of(st.integers(-7, 109).map(str), st.decimals(-7, 109, places=2, allow_nan=False).map(str))
colours = st.one_of(
    levels,
    st.sampled_from([f'"{name}"' for name in COLOURS]),
    st.builds(lambda name, level: f'"{name} {level} %"', st.sampled_from(list(COLOURS)), st.integers(-7, 109)),
    st.lists(levels, min_size=3, max_size=3).map(lambda parts: f"[{', '.join(parts)}]"),
)
sizes = st.one_of(st.integers(1, 200).map(str), st.sampled_from(["0.001", "1e-30", "199.999"]))
heights = st.one_of(st.integers(1, 50).map(str), st.sampled_from(["0.001", "49.99"]))
words = st.text(st.characters(max_codepoint=0x4FF, exclude_categories=["C", "Z"]), min_size=1, max_size=8).map(
    lambda text: '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'
)
weights = st.integers(1, 50).map(str)
junk = st.sampled_from(
    ["true", "nan", "inf", '""', '"x"', "[]", "{}", "[[]]", "{a = 1}", "1979-05-27", "07:32:00", "-1", "1e99", "10001"]
)
VALUES: dict[str, st.SearchStrategy[str]] = {
    **dict.fromkeys(("x", "y", "x0", "y0", "x1", "y1", "at"), percents),
    **dict.fromkeys(("colour", "start", "stop"), colours),
    "radius": sizes,
    "height": heights,
    "text": words,
    "weight": weights,
    "anchor": st.sampled_from(['"start"', '"middle"', '"end"']),
    "move": st.lists(percents, min_size=2, max_size=2).map(lambda parts: f"[{', '.join(parts)}]"),
    "name": words,
}
KINDS: dict[str, tuple[str, ...]] = {
    "box": ("colour",),
    "gradient": ("start", "stop"),
    "vertical": ("at", "colour", "weight"),
    "horizontal": ("at", "colour", "weight"),
    "disc": ("x", "y", "radius", "colour"),
    "ring": ("x", "y", "radius", "colour", "weight"),
    "line": ("x0", "y0", "x1", "y1", "colour", "weight"),
    "text": ("x", "y", "height", "text", "colour", "anchor"),
}
UP_DOWN = (("left", "right"), ("top", "bottom"))
RANGES = {"box": UP_DOWN, "gradient": UP_DOWN, "vertical": (("from", "to"),), "horizontal": (("from", "to"),)}
Table = list[tuple[str, str]]


@st.composite
def ordered(draw: Any, low: int, high: int) -> tuple[str, str]:
    first = draw(st.integers(low, high - 1))
    return str(first), str(draw(st.integers(first + 1, high)))


@st.composite
def shapes(draw: Any) -> Table:
    kind = draw(st.sampled_from(list(KINDS)))
    table: Table = [("kind", f'"{kind}"')]
    for keys in RANGES.get(kind, ()):
        table += zip(keys, draw(ordered(-200, 300)), strict=True)
    table += [(key, draw(VALUES[key])) for key in KINDS[kind]]
    if draw(st.booleans()):
        table.append(("move", draw(VALUES["move"])))
    return table


@st.composite
def patches(draw: Any) -> Table:
    table = [("name", draw(VALUES["name"])), ("colour", draw(colours))]
    for keys in (("left", "right"), ("top", "bottom")):
        table += zip(keys, draw(ordered(0, 100)), strict=True)
    return table


@st.composite
def documents(draw: Any) -> list[tuple[str, Table]]:
    """Tables with their headings; all as docs/reference/own-patterns.md has them."""
    listed = draw(st.lists(shapes(), max_size=5))
    top: Table = [("background", draw(colours)), ("title", draw(words))]
    if any(key == "move" for table in listed for key, _ in table):
        top.append(("period", draw(st.sampled_from(["1", "1.5", "7.5", "60"]))))
    found = [("", top), *(("[[shape]]", table) for table in listed)]
    return found + [("[[patch]]", table) for table in draw(st.lists(patches(), max_size=3))]


@st.composite
def spoiled(draw: Any) -> list[tuple[str, Table]]:
    """A document in which a few things are left out, put in, swapped or made junk."""
    found: list[tuple[str, Table]] = draw(documents())
    for _ in range(draw(st.integers(1, 4))):
        i = draw(st.integers(0, len(found) - 1))
        heading, table = found[i]
        j = draw(st.integers(0, len(table) - 1)) if table else 0
        what = draw(st.sampled_from(["drop", "junk", "add", "other", "heading"]))
        if what == "drop" and table:
            table = table[:j] + table[j + 1 :]
        elif what == "junk" and table:
            table = [*table[:j], (table[j][0], draw(junk)), *table[j + 1 :]]
        elif what == "add":
            table = [*table, (draw(st.sampled_from([*VALUES, "kind", "left", "period", "a.b", '"q q"'])), draw(junk))]
        elif what == "other" and table:
            table = [*table[:j], (table[j][0], draw(st.one_of(list(VALUES.values())))), *table[j + 1 :]]
        elif what == "heading":
            heading = draw(st.sampled_from(["[[shape]]", "[shape]", "[[patch]]", "[patch]", "[[other]]", "[shape.a]"]))
        found = [*found[:i], (heading, table), *found[i + 1 :]]
    return found


def written(document: list[tuple[str, Table]]) -> str:
    return "\n".join("\n".join([heading, *(f"{key} = {value}" for key, value in table)]) for heading, table in document)


@settings(suppress_health_check=[HealthCheck.too_slow])
@given(documents())
def test_every_document_by_the_rules_is_drawn(document: list[tuple[str, Table]]) -> None:
    """Whatever keeps to the rules is taken and can be drawn, both as Y'CbCr fields and as R'G'B'."""
    pattern = parse_pattern(written(document), name="own")
    assert len(pattern.scene(SMALL).shapes) == sum(heading == "[[shape]]" for heading, _ in document)
    check_drawn(pattern)


@settings(max_examples=200, suppress_health_check=[HealthCheck.too_slow])
@given(spoiled())
def test_a_spoiled_document_is_a_pattern_or_a_mistake(document: list[tuple[str, Table]]) -> None:
    """Whatever breaks the rules is told in one line; what is taken all the same can be drawn."""
    text = written(document)
    pattern = taken(text)
    if pattern is not None:
        check_drawn(pattern)


@given(spoiled())
def test_a_mistake_never_points_outside_the_file(document: list[tuple[str, Table]]) -> None:
    """The line that a message names is one that the text has."""
    text, words = written(document), ""
    try:
        parse_pattern(text, name="own", where="own.toml")
    except PatternError as error:
        words = str(error)
    place = re.match(r"own\.toml, line (\d+)", words)
    assert place is None or 1 <= int(place[1]) <= text.count("\n") + 1


@pytest.mark.slow
def test_large_shapes_stay_in_memory(most_megabytes: Callable[..., int]) -> None:
    """As many discs over all of 1920 x 1080 as the rules allow stay under 600 MB (the budget for any command); more are
    refused."""
    with pytest.raises(PatternError, match="too large to be drawn together"):
        scene('[[shape]]\nkind = "disc"\nx = 50\ny = 50\nradius = 100\ncolour = "red"\n' * 6)
    program = """
from patterns.formats import parse_format
from patterns.signal import Matrix, Range, Sampling, Signal
from patterns.userfile import parse_pattern
from render.raster import draw_frame
disc = '[[shape]]\\nkind = "disc"\\nx = 50\\ny = 50\\nradius = 100\\ncolour = "red {}"\\n'
pattern = parse_pattern("".join(disc.format(i) for i in range(5)), name="own")
signal = Signal(range=Range.FULL, matrix=Matrix.BT709, bits=8, sampling=Sampling.RGB)
fmt = parse_format("1920x1080@60")
draw_frame(pattern.scene(fmt), fmt, signal)
"""
    assert most_megabytes(program) < 600


def test_a_long_line_of_large_words_is_drawn() -> None:
    """The longest line of the largest words that the rules allow, 500 % in all, is drawn in a large raster."""
    body = f'[[shape]]\nkind = "text"\nx = 50\ny = 50\nheight = 50\ntext = "{"W" * 10}"\ncolour = "white"\n'
    planes = draw_frame(scene(body), FORMATS["1080p50"], SIGNALS[1])
    assert planes[0].max() == 65535  # full range of 16 bits
