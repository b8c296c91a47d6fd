"""CVT and GTF against what Debian's own programs print, kept in a file and asked again where they are installed."""

from __future__ import annotations

import math
import re
import shutil
import subprocess
import tomllib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from patterns.modes.cvt import Blanking, cvt
from patterns.modes.gtf import gtf
from patterns.timing import FieldOrder, FormatError, Timing, field_order

# What cvt, gtf and edid-decode printed; the file names their versions.
VECTORS = tomllib.loads((Path(__file__).parent / "vectors" / "free_modes.toml").read_text(encoding="utf-8"))
REDUCED = (Blanking.FULL, Blanking.REDUCED, Blanking.REDUCED_2)


def _mode(text: str) -> tuple[int, int, bool, Fraction]:
    found = re.fullmatch(r"(\d+)x(\d+)([ip])@([\d.]+)", text)
    assert found
    return int(found[1]), int(found[2]), found[3] == "i", Fraction(found[4])


def _figures(timing: Timing, decimals: int) -> str:
    """As in a mode line; the clock as it is printed, nearest."""
    h, v = timing.h, timing.v
    clock = f"{float(timing.pixel_clock_hz / 1_000_000):.{decimals}f}"
    line = (h.active, h.active + h.front_porch, h.total - h.back_porch, h.total)
    frame = (v.active, v.active + v.front_porch, v.total - v.back_porch, v.total)
    signs = ["+" if positive else "-" for positive in timing.polarity]
    return f"{clock} {' '.join(map(str, line + frame))} {signs[0]}hsync {signs[1]}vsync"


_CVT_ASPECTS = ((3, 4, 3, 4), (9, 16, 9, 5), (10, 16, 10, 6), (4, 5, 4, 7), (9, 15, 9, 7))
"""As Debian's cvt tells an aspect: the height in whole parts, width to height, lines of vertical sync."""


def _cvt_sync(width: int, height: int) -> int:
    found = (lines for parts, w, h, lines in _CVT_ASPECTS if height % parts == 0 and height * w // h == width)
    return next(found, 10)


def _as_cvt_prints(timing: Timing, rate: Fraction) -> Timing:
    """With the differences of the program from the standard that are known.

    Horizontal sync begins a cell later where its beginning, counted with the exact 8 % of the line, is on a cell; the
    vertical back porch may be as short as 3 lines, where CVT 1.2 has 7; and it finds an aspect only of some heights.
    """
    h, v = timing.h, timing.v
    start = h.active + h.back_porch - h.total * 8 // 100
    front = start + 8 - start % 8 - h.active
    period = (1 / rate - Fraction(550, 1_000_000)) / (v.active + 3)
    sync = _cvt_sync(h.active, v.active)
    back = max(math.floor(Fraction(550, 1_000_000) / period) + 1 - sync, 3)
    h = replace(h, front_porch=front, sync=h.front_porch + h.sync - front)
    return replace(timing, h=h, v=replace(v, sync=sync, back_porch=back))


def _as_reduced_cvt_prints(timing: Timing, rate: Fraction) -> Timing:
    """With the known differences: the aspect as above, a back porch from 6 lines on where CVT 1.2 has 7, and a clock of
    the line that was estimated before the lines were made whole."""
    v = timing.v
    period = (1 / rate - Fraction(460, 1_000_000)) / v.active
    sync = _cvt_sync(timing.h.active, v.active)
    back = max(math.floor(Fraction(460, 1_000_000) / period) + 1 - 3 - sync, 6)
    clock = math.floor(timing.h.total / period / 250_000) * 250_000
    return replace(timing, pixel_clock_hz=Fraction(clock), v=replace(v, sync=sync, back_porch=back))


@pytest.mark.parametrize("name", ["cvt", "cvt_reduced", "gtf", "edid_cvt", "edid_gtf"])
def test_there_are_at_least_200_modes_of_each_program(name: str) -> None:
    """The vector file has at least 200 different modes for each program."""
    assert len(set(VECTORS[name])) >= 200


def test_cvt_equals_debians_cvt_but_for_the_known_differences() -> None:
    """CVT timings agree with what Debian's cvt prints, apart from its known differences."""
    same = 0
    for row in VECTORS["cvt"]:
        mode, printed = row.split(" ", 1)
        width, height, interlaced, rate = _mode(mode)
        timing = cvt(width, height, rate, interlaced=interlaced, blanking=Blanking.FULL)
        assert _figures(_as_cvt_prints(timing, rate), 2) == printed, row
        same += _figures(timing, 2) == printed
    assert same > 150, "the differences are exceptions"


def test_reduced_cvt_equals_debians_cvt_but_for_the_known_differences() -> None:
    """Reduced-blanking timings agree with what Debian's cvt prints, apart from its known differences."""
    for row in VECTORS["cvt_reduced"]:
        mode, printed = row.split(" ", 1)
        width, height, interlaced, rate = _mode(mode)
        timing = cvt(width, height, rate, interlaced=interlaced, blanking=Blanking.REDUCED)
        assert _figures(_as_reduced_cvt_prints(timing, rate), 2) == printed, row


def test_gtf_equals_the_x_servers_gtf_and_refuses_where_that_has_no_porch() -> None:
    """GTF timings agree with the X server's gtf; a mode without a porch is refused."""
    refused = 0
    for row in VECTORS["gtf"]:
        mode, printed = row.split(" ", 1)
        width, height, interlaced, rate = _mode(mode)
        if int(printed.split()[2]) <= width:
            refused += 1
            with pytest.raises(FormatError, match="leaves no porch"):
                gtf(width, height, rate, interlaced=interlaced)
            continue
        assert _figures(gtf(width, height, rate, interlaced=interlaced), 2) == printed, row
    assert refused < 20


def _edid_figures(timing: Timing) -> str:
    signs = ["P" if positive else "N" for positive in timing.polarity]
    rows = [
        f"{part.front_porch} {part.sync} {part.back_porch} {sign}"
        for part, sign in zip((timing.h, timing.v), signs, strict=True)
    ]
    return f"{float(timing.pixel_clock_hz / 1_000_000):.6f} {' '.join(rows)}"


def test_cvt_of_every_kind_equals_edid_decode() -> None:
    """CVT timings of every kind of blanking agree with edid-decode."""
    for row in VECTORS["edid_cvt"]:
        mode, reduced, printed = row.split(" ", 2)
        width, height, interlaced, rate = _mode(mode)
        timing = cvt(width, height, rate, interlaced=interlaced, blanking=REDUCED[int(reduced)])
        assert _edid_figures(timing) == printed, row


def test_gtf_equals_edid_decode_and_refuses_where_that_has_no_porch() -> None:
    """GTF timings agree with edid-decode; a mode without a porch is refused."""
    refused = 0
    for row in VECTORS["edid_gtf"]:
        mode, _, printed = row.split(" ", 2)
        width, height, interlaced, rate = _mode(mode)
        if int(printed.split()[1]) <= 0:
            refused += 1
            with pytest.raises(FormatError, match="leaves no porch"):
                gtf(width, height, rate, interlaced=interlaced)
            continue
        timing = gtf(width, height, rate, interlaced=interlaced)
        # That program rounds the clock to 1 kHz.
        khz = Fraction(math.floor(timing.pixel_clock_hz / 1000 + Fraction(1, 2)))
        assert _edid_figures(replace(timing, pixel_clock_hz=khz * 1000)) == printed, row
    assert refused < 60


@pytest.mark.skipif(
    not all(map(shutil.which, ("cvt", "gtf", "edid-decode"))), reason="cvt, gtf and edid-decode are not installed"
)
def test_installed_programs_print_what_the_file_has() -> None:
    """The installed programs still print what our formulas give."""
    for mode in ("1024x768p@75", "640x480p@60", "1920x1080p@60"):
        width, height, _, rate = _mode(mode)
        asked = (str(width), str(height), str(rate))
        full = cvt(width, height, rate, interlaced=False, blanking=Blanking.FULL)
        assert _figures(_as_cvt_prints(full, rate), 2) in _squeezed("cvt", *asked), mode
        assert _figures(gtf(width, height, rate, interlaced=False), 2) in _squeezed("gtf", *asked), mode
        for i, blanking in enumerate(REDUCED):
            timing = cvt(width, height, rate, interlaced=False, blanking=blanking)
            printed = _squeezed("edid-decode", "--cvt", f"w={width},h={height},fps={rate},rb={i}")
            h, v = timing.h, timing.v
            assert f"{float(timing.pixel_clock_hz / 1_000_000):.6f} mhz" in printed, mode
            assert f"hfront {h.front_porch} hsync {h.sync} hback {h.back_porch} " in printed, mode
            assert f"vfront {v.front_porch} vsync {v.sync} vback {v.back_porch} " in printed, mode


def _squeezed(*command: str) -> str:
    printed = subprocess.run(command, capture_output=True, text=True, check=True, timeout=20).stdout
    return " ".join(printed.lower().split())


def test_check_values_of_1024x768_at_75_hz() -> None:
    """One mode has the figures that three programs print alike."""
    # Printed by cvt, gtf and edid-decode alike.
    by_cvt = cvt(1024, 768, Fraction(75), interlaced=False, blanking=Blanking.FULL)
    assert by_cvt.pixel_clock_hz == 82_000_000
    assert (by_cvt.h.front_porch, by_cvt.h.sync, by_cvt.h.back_porch) == (64, 104, 168)
    assert (by_cvt.v.front_porch, by_cvt.v.sync, by_cvt.v.back_porch) == (3, 4, 30)
    by_gtf = gtf(1024, 768, Fraction(75), interlaced=False)
    assert (by_gtf.h.front_porch, by_gtf.h.sync, by_gtf.h.back_porch) == (56, 112, 168)
    assert by_gtf.field_rate_hz == 75


def test_interlaced_modes_have_an_odd_number_of_lines_and_the_top_field_first() -> None:
    """Interlaced modes have an odd number of lines, two vertical blankings, and the top field first."""
    for timing in (
        cvt(1920, 1080, Fraction(60), interlaced=True, blanking=Blanking.FULL),
        gtf(1920, 1080, Fraction(60), interlaced=True),
    ):
        assert timing.total_lines % 2 == 1
        assert timing.v_second is not None
        assert timing.v.total + timing.v_second.total == timing.total_lines
        assert field_order(timing.first_active_lines, timing.total_lines) is FieldOrder.TOP


@pytest.mark.parametrize(
    ("width", "height", "rate", "interlaced", "words"),
    [
        (854, 480, 60, False, "use 848 or 856"),
        (640, 481, 60, True, "even height"),
        (640, 480, 2000, False, "vertical blanking alone"),
        (320, 240, 0, False, "above 0"),
    ],
)
def test_modes_that_a_formula_cannot_give_are_refused(
    width: int, height: int, rate: int, interlaced: bool, words: str
) -> None:
    """Modes that neither formula can make are refused with the reason."""
    with pytest.raises(FormatError, match=words):
        cvt(width, height, Fraction(rate), interlaced=interlaced, blanking=Blanking.FULL)
    with pytest.raises(FormatError, match=words):
        gtf(width, height, Fraction(rate), interlaced=interlaced)
