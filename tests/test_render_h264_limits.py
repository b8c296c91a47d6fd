"""H.264 files within the limits of the level that they declare, by a reader of our own (`tests/h264_reader.py`).

All patterns in all formats: `tests/trials/h264_limits.py`.
"""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import Options
from render.carriers import CARRIERS
from render.produce import Made, Order, produce
from render.proof import Verdict
from tests.h264_reader import LEVELS, Picture, broken, flows, read
from tests.matrix import quick_and_slow


def made(folder: Path, pattern: str, fmt: str, seconds: float) -> Made:
    carrier = CARRIERS["h264"]
    order = Order(
        pattern=PATTERNS[pattern],
        options=Options(),
        format=FORMATS[fmt],
        signal=carrier.signal(FORMATS[fmt]),
        carrier=carrier,
        seconds=seconds,
    )
    return produce(order, folder / "clip.mp4")


@pytest.mark.parametrize(
    ("pattern", "fmt"),
    quick_and_slow(
        # What took most before: fine grids, characters, and the two that move.
        [
            ("crosshatch-fine", "480i"),
            ("crosshatch-fine", "720p50"),
            ("focus", "1080i50"),
            ("zone-plate-moving", "480i"),
            ("field-order", "480i"),
            # Its rate is a ratio of large numbers, 1125000 to 18733.
            ("bounce", "240p"),
        ],
        [
            ("focus", "1080p59.94"),
            ("crosshatch-fine", "1080p59.94"),
            ("zone-plate", "1080p24"),
            ("zone-plate-moving", "720p50"),
            ("zone-plate-moving", "1080i50"),
            ("zone-plate-moving", "1080p59.94"),
            ("crosshatch-rb", "576i"),
        ],
    ),
)
def test_a_file_keeps_every_limit_of_its_level(tmp_path: Path, pattern: str, fmt: str) -> None:
    """MaxMBPS, MaxFS, MaxDpbFrames, MaxBR, MaxCPB, MinCR (H.264, Annex A); level, rate and IDR pictures as promised."""
    file = made(tmp_path, pattern, fmt, 11)
    assert broken(file.path, FORMATS[fmt].frame_rate) == []
    if PATTERNS[pattern].scene(FORMATS[fmt]).is_still:
        assert file.proof.verdict is Verdict.EXACT


# Sizes that the work is planned for: a minute of the fine crosshatch in 1080p59.94 under 12 MB.
def test_a_minute_of_the_fine_crosshatch_is_small(tmp_path: Path) -> None:
    """Eleven seconds hold three groups of five; a minute has thirteen."""
    size = made(tmp_path, "crosshatch-fine", "1080p59.94", 11).path.stat().st_size
    assert size * 13 / 3 < 12_000_000


def test_the_reader_finds_what_breaks_a_limit(tmp_path: Path) -> None:
    """The same file under a lower level, and under another rate, is refused: the reader can fail."""
    file = made(tmp_path, "focus", "720p50", 0.5)
    assert broken(file.path, Fraction(50)) == []
    data = file.path.read_bytes()
    # NAL header, profile 100, no constraints, level_idc (H.264, clause 7.3.2.1.1), in the record and in the stream.
    said = bytes([0x67, 100, 0, read(file.path)[0].level])
    assert said in data
    for level, words in ((30, "MaxFS"), (31, "MaxMBPS")):
        changed = data.replace(said, bytes([0x67, 100, 0, level]))
        copy = tmp_path / f"level{level}.mp4"
        copy.write_bytes(changed)
        assert any(words in fault for fault in broken(copy, Fraction(50)))
    assert broken(file.path, Fraction(25))


def test_a_picture_that_comes_too_late_is_found() -> None:
    """A buffer of 100 bits that gains 10 a picture: after a full one, 10 more bits are there in time, 11 are not."""
    full, ten, eleven = Picture(True, 96 // 8, 96 // 8), Picture(False, 1, 1), Picture(False, 2, 2)
    assert flows([full, ten], Fraction(1), 10, 100)
    assert not flows([full, eleven], Fraction(1), 10, 100)


def test_the_first_picture_is_judged_by_its_raw_samples(tmp_path: Path) -> None:
    """MinCR counts bytes of slices against 384 bytes a macroblock (clause A.3.3): the reader's own sum."""
    parameters, pictures = read(made(tmp_path, "focus", "480i", 0.2).path)
    assert (parameters.columns, parameters.rows, parameters.progressive) == (45, 30, False)
    assert pictures[0].is_idr
    assert pictures[0].coded * LEVELS[parameters.level][5] <= 384 * 45 * 30
    assert [picture.is_idr for picture in pictures[1:]] == [False] * 5
