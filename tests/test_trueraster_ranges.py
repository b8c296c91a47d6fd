"""One range for all stills of a command and one for all its clips, for every pair of patterns and every range."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import Options
from patterns.signal import Range
from render.carriers import CARRIERS
from tests.command import call
from tests.matrix import quick_and_slow
from trueraster.options.orders import Wish, orders_of

BEYOND = {"pluge", "bars-split"}
"""What has levels below black: BT.814's and EG 1's or RP 219-1's near-black steps. No other pattern asks for any."""
PAIRS = list(itertools.combinations(PATTERNS, 2))


def ranges(pair: tuple[str, str], fmt: str, chosen: Range | None, kinds: tuple[str, ...]) -> tuple[set[Range], ...]:
    """The ranges of the stills and of the clips of one command."""
    wishes = [
        Wish(
            pattern=PATTERNS[pattern],
            options=Options(),
            format=FORMATS[fmt],
            carrier=CARRIERS[kind],
            signal=CARRIERS[kind].signal(FORMATS[fmt], code_range=chosen),
        )
        for pattern in pair
        for kind in kinds
    ]
    orders = orders_of(wishes, seconds=None, range_is_chosen=chosen is not None).orders
    stills = {order.signal.range for order in orders if order.seconds is None}
    return stills, {order.signal.range for order in orders if order.seconds is not None}


@pytest.mark.parametrize(
    ("fmt", "kinds", "pairs"),
    quick_and_slow(
        [("480i", ("png", "h264"), [pair for pair in PAIRS if "pluge" in pair])],
        [(fmt, ("png", "tiff", "dpx", "h264", "ffv1", "y4m"), PAIRS) for fmt in ("480i", "1080i59.94")],
    ),
)
def test_any_two_patterns_have_one_range(fmt: str, kinds: tuple[str, ...], pairs: list[tuple[str, str]]) -> None:
    """The chosen range; where none is chosen, stills are full unless one of the two needs more, and clips narrow."""
    for chosen, pair in itertools.product((None, Range.NARROW, Range.FULL), pairs):
        usual = Range.NARROW if BEYOND & set(pair) else Range.FULL
        assert ranges(pair, fmt, chosen, kinds) == ({chosen or usual}, {chosen or Range.NARROW}), (pair, chosen)


@pytest.mark.parametrize("pattern", [name for name, pattern in PATTERNS.items() if "level" in pattern.takes])
def test_a_level_above_white_makes_stills_narrow(pattern: str, tmp_path: Path) -> None:
    """105 % has no code in full range, whether or not a patch of the pattern has it."""
    assert ranges((pattern, "steps"), "480i", None, ("png",))[0] == {Range.FULL}
    ran = call("draw", pattern, "--level", "105", "--format", "240p", "--as", "png", "--to", str(tmp_path), "--json")
    assert [file["range"] for file in ran.json["files"]] == ["narrow"]
    assert f"{pattern} needs levels below 0 or above 100 %" in ran.err


def test_a_level_that_no_patch_has_is_named(tmp_path: Path) -> None:
    """The scales of `overscan` are no patches; clipped to 100 % they would not be what was asked for."""
    words = ("--level", "105", "--range", "full", "--as", "png", "--to", str(tmp_path))
    assert "full range of 8 bits has no codes for 105 %" in call("draw", "overscan", *words).err
