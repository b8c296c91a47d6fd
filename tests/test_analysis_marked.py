"""The marked picture: labels that do not touch, outlines where the patches are, shapes that tell the verdict."""

from __future__ import annotations

import itertools
import subprocess
import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image

from analysis.drawing.labels import Box, Label, Words, extent, lay_out, wrapped
from analysis.frame.picture.marked import marked_picture, write_marked
from analysis.frame.picture.marks import Heading, Mark, Note, words_of
from analysis.frame.picture.shown import shown_box, shown_size
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, FieldOrder, Format, parse_format
from patterns.placement import patch_area
from patterns.signal import Matrix, Range, Sampling, Signal
from render.decode import Picture
from render.raster import draw_frame
from render.tags import Tags
from trueraster.cli import run

HEADING = Heading(title="capture.png, frame 0", verdict="FAIL: 1 of 2 patches", passed=False, lines=("Colour bars",))
NARROW = Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=8, sampling=Sampling.YCBCR_422)
FULL = Signal(range=Range.FULL, matrix=Matrix.BT601, bits=8, sampling=Sampling.RGB)
WORDS = Words(name="lighter left", verdict="FAIL", errors=("Y +2", "Cb 0", "Cr −1.5"), worst="Y +2")


def picture_of(planes: list[NDArray[Any]], signal: Signal, **tags: Any) -> Picture:
    height, width = planes[0].shape
    told = Tags(width=width, height=height, sampling=signal.sampling, bits=signal.bits, **tags)
    return Picture(planes=(planes[0], planes[1], planes[2]), tags=told)


def grey_picture(width: int, height: int, code: int = 128, signal: Signal = FULL) -> Picture:
    kind = np.uint8 if signal.bits == 8 else np.uint16
    return picture_of([np.full((height, width), code, kind)] * 3, signal)


def mark(box: Box, **changes: Any) -> Mark:
    told: dict[str, Any] = {"name": "white", "error_codes": (0.0, 2.5, -1.0), "components": ("R", "G", "B")}
    return Mark(**{"box": box, "passed": True, **told, **changes})


def frame_part(page: Image.Image, size: tuple[int, int]) -> NDArray[np.uint8]:
    """The shown frame out of a page whose heading has three lines: found by its known size and the heading's height."""
    base = max(15, round(size[1] / 58))
    large = round(1.3 * base)
    top = -(-large * 12 // 10) + 2 * -(-base * 12 // 10) + base
    left = (page.width - size[0]) // 2
    return np.asarray(page)[top : top + size[1], left : left + size[0]]


def touching(labels: tuple[Label, ...]) -> list[tuple[Label, Label]]:
    return [
        (one, other)
        for one, other in itertools.combinations(labels, 2)
        if one.box[0] < other.box[2]
        and other.box[0] < one.box[2]
        and one.box[1] < other.box[3]
        and other.box[1] < one.box[3]
    ]


def check_layout(labels: tuple[Label, ...], size: tuple[int, int]) -> None:
    assert touching(labels) == []
    for label in labels:
        assert label.box[0] >= 0
        assert label.box[1] >= 0
        assert label.box[2] <= size[0]
        assert label.box[3] <= size[1]
        # Its words have room on its ground.
        wide, high = extent(label.lines, label.size)
        assert (label.box[2] - label.box[0], label.box[3] - label.box[1]) == (wide, high)


def scene_boxes(name: str, fmt: Format, size: tuple[int, int]) -> tuple[list[str], list[Box]]:
    patches = PATTERNS[name].scene(fmt).patches
    spans = [patch_area(fmt, patch, 0, 0) for patch in patches]
    boxes = [(float(s.left), float(s.top), float(s.right), float(s.bottom)) for s in spans]
    return [p.name for p in patches], [shown_box(box, (fmt.width, fmt.height), size) for box in boxes]


@pytest.mark.parametrize("fmt", ["480i", "1080p50", "3840x2160@60"])
@pytest.mark.parametrize("name", [name for name, pattern in PATTERNS.items() if pattern.scene(FORMATS["480i"]).patches])
def test_no_label_touches_another(name: str, fmt: str) -> None:
    """Every patch of every pattern has a label in the picture, all apart; few need a number."""
    raster = parse_format(fmt)
    size = shown_size(raster.width, raster.height, raster.sample_aspect)
    names, boxes = scene_boxes(name, raster, size)
    words = [Words(name=n, verdict="FAIL", errors=("Y −12.5", "Cb +10.2", "Cr −11.1"), worst="Y −12.5") for n in names]
    labels = lay_out(boxes, words, size, max(15, round(size[1] / 58)))
    check_layout(labels, size)
    assert [label.mark for label in labels] == list(range(len(names)))
    # Own numbers, one for each that could not be named in its place.
    numbers = [label.number for label in labels if label.number is not None]
    assert sorted(numbers) == list(range(1, len(numbers) + 1))
    assert len(numbers) <= len(names) / 3


coordinate = st.floats(-300, 1500, allow_nan=False)


@given(st.lists(st.tuples(coordinate, coordinate, st.floats(0, 600), st.floats(0, 600)), max_size=40))
def test_any_boxes_are_laid_out(corners: list[tuple[float, float, float, float]]) -> None:
    """Boxes anywhere, over each other and outside: what labels there are lie apart and inside."""
    boxes = [(x, y, x + w, y + h) for x, y, w, h in corners]
    labels = lay_out(boxes, [WORDS] * len(boxes), (1200, 900), 16)
    check_layout(labels, (1200, 900))
    assert len({label.mark for label in labels}) == len(labels)


def test_a_label_lies_in_its_box_where_it_fits() -> None:
    """A large patch holds all words; a narrow tall one has them across it; a thin one beside it with a leader."""
    boxes: list[Box] = [(0, 0, 400, 300), (600, 0, 640, 800), (0, 500, 400, 504)]
    large, narrow, thin = lay_out(boxes, [WORDS] * 3, (1200, 900), 16)
    assert large.lines == ("lighter left", "FAIL", "Y +2", "Cb 0", "Cr −1.5")
    assert not large.plate
    assert large.leader is None
    assert large.box[0] >= 0
    assert large.box[2] <= 400
    assert narrow.plate
    assert narrow.box[0] < 600 < 640 < narrow.box[2]
    assert thin.leader is not None
    (x, y), (_, end) = thin.leader
    assert 0 <= x < 400
    assert 500 <= y < 504
    assert end in (thin.box[1], thin.box[3] - 1)


def test_a_label_keeps_off_the_other_patches() -> None:
    """A window within a field: the field's label does not hide the window."""
    boxes: list[Box] = [(0, 0, 1200, 900), (400, 300, 800, 600)]
    field, window = lay_out(boxes, [WORDS] * 2, (1200, 900), 16)
    assert touching((field, Label(mark=1, box=(400, 300, 800, 600), lines=(), size=16))) == []
    assert window.box[0] >= 400


def test_text_is_wrapped_at_blanks() -> None:
    """A label breaks at blanks, and inside a word only where the word alone is too long."""
    assert wrapped("one two  three", 7) == ("one two", "three")
    assert wrapped("abcdefghij k", 4) == ("abcd", "efgh", "ij k")
    assert wrapped("", 4) == ()


@pytest.mark.parametrize(
    ("raster", "aspect", "shown"),
    [
        # Sample aspects of ISO/IEC 14496: 10:11 and 12:11. A whole factor to 800 lines, at most 2600 columns.
        ((720, 480), Fraction(10, 11), (1309, 960)),
        ((720, 576), Fraction(12, 11), (1571, 1152)),
        ((1280, 720), Fraction(1), (2560, 1440)),
        ((1920, 1080), Fraction(1), (1920, 1080)),
        ((4096, 2160), Fraction(1), (4096, 2160)),
        ((2, 2), Fraction(1), (800, 800)),
        ((8000, 2), Fraction(1), (8000, 2)),
    ],
)
def test_size_of_the_shown_frame(raster: tuple[int, int], aspect: Fraction, shown: tuple[int, int]) -> None:
    """A frame is shown with square pixels, and small ones are enlarged by a whole factor."""
    assert shown_size(*raster, aspect) == shown


def test_outline_lies_on_the_edge_of_the_patch() -> None:
    """Inside the box a line, then the untouched frame; outside nothing."""
    page = marked_picture(grey_picture(1920, 1080), FULL, [mark((1000, 300, 1500, 800))], HEADING)
    frame = frame_part(page, (1920, 1080))
    assert frame.shape == (1080, 1920, 3)
    blue = (120, 200, 255)
    for row, column in ((300, 1250), (799, 1250), (400, 1000), (400, 1499)):
        assert tuple(frame[row, column]) == blue
    for row, column in ((299, 1250), (800, 1250), (400, 999), (400, 1500), (310, 1250), (400, 1010)):
        assert tuple(frame[row, column]) == (128, 128, 128)


def test_a_thin_patch_is_not_hidden() -> None:
    """Of a line of the frame every sample is still to be seen, the outline runs round it."""
    frame = frame_part(
        marked_picture(grey_picture(1920, 1080), FULL, [mark((100, 500, 1000, 502))], HEADING), (1920, 1080)
    )
    assert (frame[500:502, 100:1000] == 128).all()
    assert (frame[490:500, 100:1000] != 128).any()


def test_pass_and_fail_differ_in_shape() -> None:
    """In grey, as the colour-blind or a copier sees it: more ink for what failed, gaps for what is uncertain."""

    def lines(passed: bool, uncertain: bool) -> NDArray[Any]:
        made = [mark((0, 0, 1920, 1080), passed=passed, uncertain=uncertain)]
        frame = frame_part(marked_picture(grey_picture(1920, 1080), FULL, made, HEADING), (1920, 1080))
        return np.asarray(np.abs(frame[:14].astype(int) - 128).max(axis=2) > 2)

    thin, thick = lines(True, False), lines(False, False)
    assert thick[:, 500:1400].sum() > 1.5 * thin[:, 500:1400].sum()
    # The blocks in the corners.
    assert thick[:, :10].sum() > thick[:, 600:610].sum()
    page = marked_picture(
        grey_picture(1920, 1080), FULL, [mark((0, 0, 1920, 1080), passed=True, uncertain=True)], HEADING
    )
    bright = (frame_part(page, (1920, 1080))[0] == (120, 200, 255)).all(axis=1)
    assert 0.3 < bright.mean() < 0.7


def test_the_same_frame_is_shown_whatever_carries_it() -> None:
    """75 % bars in R'G'B', Y'CbCr of each sampling, of 8 to 16 bits, look alike within a code."""
    fmt = FORMATS["1080p50"]
    scene = PATTERNS["bars"].scene(fmt)
    seen = []
    for signal in (
        Signal(range=Range.FULL, matrix=Matrix.BT709, bits=8, sampling=Sampling.RGB),
        Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=10, sampling=Sampling.RGB),
        Signal(range=Range.FULL, matrix=Matrix.BT709, bits=16, sampling=Sampling.RGB),
        Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=10, sampling=Sampling.YCBCR_422),
        Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=16, sampling=Sampling.YCBCR_444),
        Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=12, sampling=Sampling.YCBCR_420),
    ):
        frame = picture_of(list(draw_frame(scene, fmt, signal)), signal)
        seen.append(frame_part(marked_picture(frame, signal, [], HEADING), (1920, 1080)).astype(int))
    middles = [column * 240 + 120 for column in range(8)]
    for shown in seen[1:]:
        assert np.abs(shown[540, middles] - seen[0][540, middles]).max() <= 1


def test_interlaced_chroma_belongs_to_its_field() -> None:
    """4:2:0 in fields: red in the top field, blue in the bottom field, line by line (H.262's arrangement)."""
    signal = Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=8, sampling=Sampling.YCBCR_420)
    luma, blue, red = (np.full(size, 128, np.uint8) for size in ((960, 800), (480, 400), (480, 400)))
    red[0::2], blue[1::2] = 200, 200
    picture = picture_of([luma, blue, red], signal, field_order=FieldOrder.TOP)
    frame = frame_part(marked_picture(picture, signal, [], HEADING), (800, 960)).astype(int)
    assert (frame[0::2, 400, 0] > frame[0::2, 400, 2]).all()
    assert (frame[1::2, 400, 2] > frame[1::2, 400, 0]).all()


@pytest.mark.parametrize("size", [(2, 2), (3, 5), (7, 1), (1, 7), (1000, 3)])
@pytest.mark.parametrize("sampling", Sampling)
def test_odd_sizes(size: tuple[int, int], sampling: Sampling) -> None:
    """Rasters that no chroma divides, with a patch of one sample and one that reaches out."""
    width, height = size
    across, down = sampling.chroma_step
    signal = Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=8, sampling=sampling)
    planes = [np.full((height, width), 100, np.uint8)]
    planes += [np.full((-(-height // down), -(-width // across)), 128, np.uint8)] * 2
    marks = [mark((0, 0, 1, 1)), mark((-5, -5, 1e9, 1e9), passed=False), mark((50, 50, 60, 60), uncertain=True)]
    page = marked_picture(picture_of(planes, signal), signal, marks, HEADING, sample_aspect=Fraction(16, 11))
    assert page.width >= 720


@pytest.mark.parametrize("errors", [None, (), (None, None, None), (3.0, None, None), (float("nan"), 1e9, -0.001)])
def test_odd_errors(errors: tuple[float | None, ...] | None) -> None:
    """What was not measured has no figure, and a figure without end is none."""
    marks = [mark((0, 0, 300, 300), error_codes=errors), mark((300, 0, 310, 310), error_codes=errors, components=())]
    marked_picture(grey_picture(640, 480), FULL, marks, HEADING)


def test_odd_words() -> None:
    """Names of any length and alphabet; a title and notes that must be wrapped; nothing measured at all."""
    marks = [mark((0, 0, 640, 100), name="n" * 500), mark((0, 200, 640, 300), name="\n\x07"), mark((0, 300, 9, 309))]
    heading = Heading(title="ひ" * 300, verdict="", passed=True, lines=("", "x " * 400))
    notes = [Note(title="Fault " * 40, paragraphs=("why " * 200, "")), Note(title="")]
    long = marked_picture(grey_picture(640, 480), FULL, marks, heading, notes)
    short = marked_picture(grey_picture(640, 480), FULL, [], HEADING)
    assert long.width == short.width
    assert long.height > short.height


def test_many_marks_have_an_end() -> None:
    """A thousand patches: outlined, the first labelled, and a key that still fits a page."""
    marks = [mark((x * 30.0, y * 30.0, x * 30.0 + 20, y * 30.0 + 20)) for y in range(33) for x in range(33)]
    page = marked_picture(grey_picture(1000, 1000), FULL, marks, HEADING)
    assert page.height < 3000


def test_components_that_are_off_alike_are_told_once() -> None:
    """Grey levels of R'G'B': one figure for all three (the words are read from the layout's input)."""
    assert words_of(mark((0, 0, 1, 1), error_codes=(-20, -20, -20))).errors == ("RGB −20",)
    assert words_of(mark((0, 0, 1, 1), error_codes=(-20, -20, -19))).errors == ("R −20", "G −20", "B −19")
    assert words_of(mark((0, 0, 1, 1), error_codes=(1.25, None, None))).errors == ("R +1.25",)
    assert words_of(mark((0, 0, 1, 1), error_codes=(0.0, 0.0, 0.0))).worst == "RGB 0"


def test_written_file_is_the_page(tmp_path: Path) -> None:
    """It replaces an older one, and leaves nothing beside it; names with blanks and other alphabets do."""
    page = marked_picture(grey_picture(640, 480), FULL, [mark((0, 0, 300, 300))], HEADING)
    path = tmp_path / "марк 1.PNG"
    path.write_bytes(b"old")
    write_marked(path, page)
    with Image.open(path) as read:
        assert read.format == "PNG"
        assert (np.asarray(read) == np.asarray(page)).all()
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("name", "error"),
    [
        ("out.jpg", ValueError),
        ("out", ValueError),
        ("folder.png", IsADirectoryError),
        ("n" * 300 + ".png", OSError),
        ("file.png/out.png", NotADirectoryError),
    ],
)
def test_path_errors(tmp_path: Path, name: str, error: type[Exception]) -> None:
    """One line with the path that was asked for, and nothing left behind."""
    (tmp_path / "folder.png").mkdir()
    (tmp_path / "file.png").write_bytes(b"")
    page = Image.new("RGB", (10, 10))
    with pytest.raises(error) as caught:
        write_marked(tmp_path / name, page)
    assert str(tmp_path / name) in str(caught.value)
    assert "\n" not in str(caught.value)
    assert "trueraster-" not in str(caught.value)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file.png", "folder.png"]


def test_a_failed_write_keeps_the_old_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The disk is full half-way: what stood there still does."""
    path = tmp_path / "out.png"
    path.write_bytes(b"old")

    def full(*args: Any, **options: Any) -> None:
        raise OSError(28, "No space left on device")

    page = Image.new("RGB", (10, 10))
    monkeypatch.setattr(page, "save", full)
    with pytest.raises(OSError, match=r"No space left on device.*out\.png"):
        write_marked(path, page)
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]


def test_verifying_a_good_frame_brings_no_picture_library(tmp_path: Path) -> None:
    """What only pictures, plots and captured frames need is not waited for."""
    assert run(["draw", "bars", "--as", "ffv1", "--seconds", "0.1", "--to", str(tmp_path / "bars.mkv")]) == 0
    code = "import sys; from trueraster.cli import run; code = run(['verify', sys.argv[1]]); "
    code += "sys.exit(code or ' '.join({'PIL', 'cv2', 'scipy', 'matplotlib', 'rich'} & set(sys.modules)) or 0)"
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "bars.mkv")],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.slow
def test_memory_at_4096x2160(tmp_path: Path, most_megabytes: Callable[..., int]) -> None:
    """The whole process stays under 600 MB (DESIGN's budget) with 10-bit 4:2:2 at the largest raster."""
    code = """
import sys
import numpy as np
from fractions import Fraction
from pathlib import Path
from analysis.frame.picture.marked import *
from analysis.frame.picture.marks import *
from patterns.signal import *
from render.decode import Picture
from render.tags import Tags
s = Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=10, sampling=Sampling.YCBCR_422)
r = np.random.default_rng(1)
planes = tuple(r.integers(64, 940, (2160, w), np.uint16) for w in (4096, 2048, 2048))
p = Picture(planes=planes, tags=Tags(width=4096, height=2160, sampling=s.sampling, bits=10))
marks = [Mark(name="a", box=(0, 0, 2000, 2000), error_codes=(1.0, 2.0, 3.0), components=s.components, passed=False)]
page = marked_picture(p, s, marks, Heading(title="t", verdict="FAIL", passed=False), sample_aspect=Fraction(4, 3))
write_marked(Path(sys.argv[1]), page)
"""
    assert most_megabytes(code, f"{tmp_path}/out.png") < 600


def test_narrow_range_is_shown_in_full() -> None:
    """Codes 16 and 235 of narrow range are black and white on the screen (BT.601's table)."""
    levels = np.repeat(np.array([[16, 235, 0, 255]], np.uint8), 200, axis=1).repeat(900, axis=0)
    chroma = np.full((900, 400), 128, np.uint8)
    frame = frame_part(marked_picture(picture_of([levels, chroma, chroma], NARROW), NARROW, [], HEADING), (800, 900))
    assert [tuple(frame[450, x]) for x in (100, 300, 500, 700)] == [(0,) * 3, (255,) * 3, (0,) * 3, (255,) * 3]
