"""A user's own pattern: every kind of shape, exact numbers, and mistakes that are told with line and key."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from patterns.formats import FORMATS, parse_format
from patterns.pattern import COLOURS, Pattern, PatternError
from patterns.scene import Box, Disc, Gradient, Mover, Ring, Rule, Segment, Text
from patterns.signal import Colour, Matrix, Range, Sampling, Signal
from patterns.userfile import load_pattern, parse_pattern
from render.raster import draw_frame

ALL_KINDS = """
title = "Everything"
look = "Each kind once."
adjust = "Nothing."
background = "grey 20"
period = 2.5

[[shape]]
kind = "box"
left = 7.5
top = 10
right = 20
bottom = 20
colour = "red 75"

[[shape]]
kind = "gradient"
left = 0
top = 0
right = 100
bottom = 5
start = 0
stop = [100, 50, 0.1]

[[shape]]
kind = "vertical"
at = 50
from = 0
to = 100
colour = "white"
weight = 2

[[shape]]
kind = "horizontal"
at = 50
from = -10
to = 110
colour = "white"

[[shape]]
kind = "disc"
x = 30
y = 30
radius = 3
colour = "cyan"

[[shape]]
kind = "ring"
x = 50
y = 50
radius = 40
colour = 80

[[shape]]
kind = "line"
x0 = 0
y0 = 0
x1 = 100
y1 = 100
colour = "blue"

[[shape]]
kind = "text"
x = 50
y = 90
height = 4
text = "Harbour Lane Repairs"
colour = "yellow"
anchor = "end"

[[shape]]
kind = "box"
left = 0
top = 80
right = 5
bottom = 85
colour = "green"
move = [95, 0]

[[patch]]
name = "red"
left = 7.5
top = 10
right = 20
bottom = 20
colour = "red 75"
"""


def test_every_kind_of_shape() -> None:
    """All kinds are read, numbers exactly, and the pattern draws in a format."""
    pattern = parse_pattern(ALL_KINDS, name="every thing")
    assert (pattern.id, pattern.title) == ("every-thing", "Everything")
    scene = pattern.scene(FORMATS["480i"])
    kinds = [type(shape) for shape in scene.shapes]
    assert kinds == [Box, Gradient, Rule, Rule, Disc, Ring, Segment, Text, Mover]
    box, slope = scene.shapes[0], scene.shapes[1]
    assert isinstance(box, Box)
    assert isinstance(slope, Gradient)
    assert box.left == Fraction(3, 40)
    assert box.colour == COLOURS["red"].scaled(Fraction(3, 4))
    assert slope.stop == Colour(Fraction(1), Fraction(1, 2), Fraction(1, 1000))
    assert scene.background == Colour.grey(Fraction(1, 5))
    assert scene.period == Fraction(5, 2)
    assert scene.patches[0].colour == box.colour


def test_the_example_of_the_documents() -> None:
    """The example file is the one that its page shows, and it can be read."""
    docs = Path(__file__).parent.parent / "docs"
    if not docs.exists():
        pytest.skip("the documents are not beside the tests")
    text = (docs / "examples" / "two-boxes.toml").read_text(encoding="utf-8")
    assert text in (docs / "own-patterns.md").read_text(encoding="utf-8")
    assert len(load_pattern(docs / "examples" / "two-boxes.toml").scene(FORMATS["480i"]).patches) == 2


BOX = '[[shape]]\nkind = "box"\nleft = 1\ntop = 1\nright = 9\nbottom = 9\ncolour = "white"\n'
MISTAKES = [
    ("title = ", 1, "Invalid value"),
    ('title = "a"\n\nx = = 2', 3, "Invalid value"),
    ("", 0, "nothing to draw"),
    ("titel = 'a'\n" + BOX, 1, "titel: not known"),
    ("title = 3\n" + BOX, 1, "title: a text in quotes"),
    ("\nbackground = 'pink'\n", 2, "background: a colour is expected"),
    ("background = 130\n", 1, "background: levels from -7 to 109 %"),
    ("background = [1, 2]\n", 1, "background: a colour is expected"),
    ("background = true\n", 1, "background: a colour is expected"),
    ("period = 2\n" + BOX, 1, "period: no shape moves"),
    ("period = 0\n" + BOX + "move = [1, 0]\n", 1, "period: 0.1 to 60 seconds"),
    ("shape = 3\n", 1, "shape: write each shape under a line"),
    ('[[shape]]\nkind = "blob"\n', 2, "kind of shape 1: one of box"),
    ("[[shape]]\nleft = 1\n", 1, "kind of shape 1: one of box"),
    (BOX + BOX.replace("right = 9\n", ""), 8, "right of shape 2: a box needs it"),
    (BOX + BOX.replace("right = 9", "right = 'x'"), 12, "right of shape 2: a number"),
    (BOX.replace("right = 9", "right = 1"), 5, "right of shape 1: has to be larger than left"),
    (BOX.replace("top = 1", "top = nan"), 0, ""),
    (BOX.replace("left = 1", "left = 1e99999"), 0, ""),
    (BOX + "blur = 3\n", 8, "blur of shape 1: not known"),
    (BOX + "move = 3\n", 8, "move of shape 1: two numbers"),
    ('[[shape]]\nkind = "disc"\nx = 1\ny = 1\nradius = 0\ncolour = 1\n', 5, "radius of shape 1: above 0"),
    ('[[shape]]\nkind = "ring"\nx = 1\ny = 1\nradius = 9\ncolour = 1\nweight = 1.5\n', 7, "weight of shape 1"),
    ('[[shape]]\nkind = "text"\nx = 1\ny = 1\nheight = 9\ntext = ""\ncolour = 1\n', 6, "text of shape 1"),
    (BOX + '[[patch]]\nname = "a"\nleft = 1\ntop = 1\nright = 101\nbottom = 9\ncolour = 1\n', 10, "left of patch 1"),
    (BOX + "[[patch]]\nleft = 1\n", 8, "name of patch 1: a patch needs it"),
]


@pytest.mark.parametrize(("text", "line", "words"), MISTAKES)
def test_mistakes_name_line_and_key(text: str, line: int, words: str) -> None:
    """The message is one line that begins with the file, names the line, the key, and what is expected."""
    with pytest.raises(PatternError) as caught:
        parse_pattern(text, name="own", where="own.toml")
    message = str(caught.value)
    assert message.startswith("own.toml")
    assert "\n" not in message
    assert words in message
    if line:
        assert f"line {line}" in message


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    """A missing file, a folder, bytes that are no text, and a huge file are told in one line."""
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe\x00")
    (tmp_path / "huge.toml").write_bytes(b"#" * (1 << 20) + b"##")
    for name, words in (
        ("none.toml", "No such file"),
        ("", "directory"),
        ("bytes.toml", "UTF-8"),
        ("huge.toml", "1 MiB"),
    ):
        with pytest.raises(PatternError, match=words):
            load_pattern(tmp_path / name)


KEYS = ["kind", "left", "top", "right", "bottom", "colour", "start", "stop", "at", "from", "to", "weight", "x", "y"]
KEYS += ["radius", "x0", "y0", "x1", "y1", "height", "text", "anchor", "move", "name", "junk"]
KINDS = ["box", "gradient", "vertical", "horizontal", "disc", "ring", "line", "text"]
values = st.one_of(
    st.integers(-120, 220).map(str),
    st.decimals(-20, 120, places=2).map(str),
    st.sampled_from(
        ["'white'", "'red 50'", "'grey'", "[1, 2, 3]", "[10, 20]", "true", "nan", "inf", "{}", "'end'", "[]"]
    ),
    st.sampled_from([f"'{kind}'" for kind in KINDS]),
)
# A good table now and then: only what is accepted is drawn.
good = st.sampled_from(ALL_KINDS.split("[[")[1:]).map(lambda part: "[[" + part)
bad = st.builds(
    lambda head, rows: f"[[{head}]]\n" + "".join(f"{key} = {value}\n" for key, value in rows),
    st.sampled_from(["shape", "patch"]),
    st.lists(st.tuples(st.sampled_from(KEYS), values), max_size=8, unique_by=lambda row: row[0]),
)


@settings(max_examples=300, suppress_health_check=list(HealthCheck))
@given(st.lists(st.one_of(good, good, bad), max_size=5), st.text(max_size=5))
def test_any_document_is_a_pattern_or_a_pattern_error(tables: list[str], junk: str) -> None:
    """Valid and invalid tables mixed give a pattern that can be drawn, or PatternError, and nothing else."""
    pattern, told = read("\n".join(tables) + ("" if len(junk) < 4 else junk))
    assert "\n" not in told
    if pattern is None:
        return
    fmt = parse_format("64x48@60")
    signal = Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=8, sampling=Sampling.YCBCR_420)
    planes: Any = draw_frame(pattern.scene(fmt), fmt, signal, 3)
    assert planes[0].shape == (48, 64)


@settings(max_examples=300)
@given(st.text())
def test_any_text_is_a_pattern_or_a_pattern_error(text: str) -> None:
    """No text makes the reader fail in another way."""
    assert "\n" not in read(text)[1]


def read(text: str) -> tuple[Pattern | None, str]:
    """The pattern, or what is said of it."""
    try:
        return parse_pattern(text, name="own"), ""
    except PatternError as error:
        return None, str(error)
