"""Named formats against the kernel's table of timings, and the reading of format names.

Values without another source named beside them are exact arithmetic on 13.5 and 74.25 MHz clocks.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patterns.formats import (
    FORMATS,
    Family,
    FieldOrder,
    Format,
    FormatError,
    Interval,
    Rect,
    Timing,
    field_order,
    parse_aspect,
    parse_format,
)
from patterns.scancautions import scan_cautions
from patterns.standards.geometry import (
    LINE_525_SAMPLES,
    LINE_625_SAMPLES,
    SAR_525_4_3,
    SAR_525_16_9,
    SAR_625_4_3,
    SAR_625_16_9,
)

VECTORS = Path(__file__).parent / "vectors" / "v4l2_dv_timings.toml"
HEADER = Path("/usr/include/linux/v4l2-dv-timings.h")
MODES: dict[str, dict[str, Any]] = tomllib.loads(VECTORS.read_text())["modes"]

# Our name: the kernel's mode, and whether at 1/1.001 of its clock.
MODE_OF = {
    "480i": ("720X480I59_94", False),
    "576i": ("720X576I50", False),
    "480p": ("720X480P59_94", False),
    "576p": ("720X576P50", False),
    "720p50": ("1280X720P50", False),
    "720p59.94": ("1280X720P60", True),
    "720p60": ("1280X720P60", False),
    "1080i50": ("1920X1080I50", False),
    "1080i59.94": ("1920X1080I60", True),
    "1080i60": ("1920X1080I60", False),
    "1080p23.976": ("1920X1080P24", True),
    "1080p24": ("1920X1080P24", False),
    "1080p25": ("1920X1080P25", False),
    "1080p29.97": ("1920X1080P30", True),
    "1080p30": ("1920X1080P30", False),
    "1080p50": ("1920X1080P50", False),
    "1080p59.94": ("1920X1080P60", True),
    "1080p60": ("1920X1080P60", False),
}
WITHOUT_MODE = {"240p", "288p"}  # the kernel's header has no mode of 262 or 312 lines
MOVED_START = {"480i"}  # starts as BT.601 says, not as CTA-861 says

# Line rate and field rate in Hz: CTA-861; the 525 line rate is 4.5 MHz / 286 (BT.1700).
LINE_525 = Fraction(4_500_000, 286)
RATES = {
    "240p": (LINE_525, LINE_525 / 262),
    "288p": (Fraction(15625), Fraction(15625, 312)),
    "480i": (LINE_525, Fraction(60000, 1001)),
    "576i": (Fraction(15625), Fraction(50)),
    "480p": (2 * LINE_525, Fraction(60000, 1001)),
    "576p": (Fraction(31250), Fraction(50)),
    "720p50": (Fraction(37500), Fraction(50)),
    "720p59.94": (Fraction(45_000_000, 1001), Fraction(60000, 1001)),
    "720p60": (Fraction(45000), Fraction(60)),
    "1080i50": (Fraction(28125), Fraction(50)),
    "1080i59.94": (Fraction(33_750_000, 1001), Fraction(60000, 1001)),
    "1080i60": (Fraction(33750), Fraction(60)),
    "1080p23.976": (Fraction(27_000_000, 1001), Fraction(24000, 1001)),
    "1080p24": (Fraction(27000), Fraction(24)),
    "1080p25": (Fraction(28125), Fraction(25)),
    "1080p29.97": (Fraction(33_750_000, 1001), Fraction(30000, 1001)),
    "1080p30": (Fraction(33750), Fraction(30)),
    "1080p50": (Fraction(56250), Fraction(50)),
    "1080p59.94": (Fraction(67_500_000, 1001), Fraction(60000, 1001)),
    "1080p60": (Fraction(67500), Fraction(60)),
}


def timing_of(name: str) -> Timing:
    timing = FORMATS[name].timing
    assert timing is not None
    return timing


def blanking(interval: Interval) -> list[int]:
    return [interval.front_porch, interval.sync, interval.back_porch]


def test_names_and_order_are_the_agreed_ones() -> None:
    """The named formats are those of the design, in its order."""
    assert " ".join(FORMATS) == (
        "240p 288p 480i 576i 480p 576p 720p50 720p59.94 720p60 1080i50 1080i59.94 1080i60 1080p23.976 1080p24"
        " 1080p25 1080p29.97 1080p30 1080p50 1080p59.94 1080p60"
    )
    assert all(name == fmt.id for name, fmt in FORMATS.items())


def test_every_name_is_either_compared_or_listed_as_without_a_mode() -> None:
    """A new named format must be given a kernel mode or be listed as having none."""
    assert set(MODE_OF).isdisjoint(WITHOUT_MODE)
    assert set(FORMATS) == set(MODE_OF) | WITHOUT_MODE
    assert {mode for mode, _ in MODE_OF.values()} == set(MODES)


@pytest.mark.parametrize("name", MODE_OF)
def test_timing_equals_the_kernels(name: str) -> None:
    """Each timing is the kernel's, figure by figure; the moved starts have a test of their own."""
    mode, reduced = MODE_OF[name]
    row, fmt, timing = MODES[mode], FORMATS[name], timing_of(name)
    assert row["reducible"] or not reduced
    assert timing.pixel_clock_hz == Fraction(row["clock_hz"]) / (Fraction(1001, 1000) if reduced else 1)
    assert [fmt.width, fmt.height] == row["size"]
    assert fmt.interlaced == row["interlaced"]
    assert timing.sync_positive == row["positive_sync"]
    assert timing.h.active == row["size"][0]
    if name not in MOVED_START:
        assert blanking(timing.h) == row["h"]
    assert blanking(timing.v) == row["v"]
    assert (timing.v_second and blanking(timing.v_second)) == row.get("v_second")
    # FRAME_WIDTH and FRAME_HEIGHT of the kernel's videodev2.h.
    assert timing.h.total == row["size"][0] + sum(row["h"])
    assert timing.total_lines == row["size"][1] + sum(row["v"]) + sum(row.get("v_second", []))


def test_480i_differs_from_the_kernel_by_three_samples() -> None:
    """The 480i line starts 122 samples after 0H as in BT.601, 3 more than CTA-861's; sync and total agree."""
    row, h = MODES["720X480I59_94"], timing_of("480i").h
    front, sync, back = row["h"]
    assert (h.sync, h.total) == (sync, 720 + front + sync + back)
    assert h.sync + h.back_porch - (sync + back) == 3
    assert front - h.front_porch == 3
    # 3 samples are 0.22 us and 0.42 % of the width, as the source note says.
    assert round(3 / 13.5, 2) == 0.22
    assert round(100 * 3 / 720, 2) == 0.42
    assert "3 samples (0.22 us, 0.42 % of the width)" in timing_of("480i").source.note


@pytest.mark.parametrize("name", ["240p", "480i", "288p", "576i"])
def test_start_of_the_13_5_mhz_line_is_that_of_bt_601(name: str) -> None:
    """End of active to 0H and 0H to first active are BT.601's 16/122 (525) and 12/132 (625)."""
    h = timing_of(name).h
    expected = (16, 122) if FORMATS[name].family is Family.SD525 else (12, 132)
    assert (h.front_porch, h.sync + h.back_porch) == expected
    line = LINE_525_SAMPLES if FORMATS[name].family is Family.SD525 else LINE_625_SAMPLES
    assert line.value == expected


# Vertical figures of 240p and 288p: CTA-861 video codes 8 and 23, as in edid-decode and the kernel's drm_edid.c.
@pytest.mark.parametrize(("name", "v", "total"), [("240p", [4, 3, 15], (858, 262)), ("288p", [2, 3, 19], (864, 312))])
def test_timing_of_the_modes_that_the_kernel_lacks(name: str, v: list[int], total: tuple[int, int]) -> None:
    """240p and 288p have 262 and 312 lines with the porches of their video codes."""
    timing = timing_of(name)
    assert (blanking(timing.v), timing.v_second) == (v, None)
    assert (timing.h.total, timing.total_lines) == total
    assert timing.pixel_clock_hz == 13_500_000


def parse_header(text: str) -> dict[str, dict[str, Any]]:
    """The CEA modes of a v4l2-dv-timings.h in the shape of the vector file."""
    modes: dict[str, dict[str, Any]] = {}
    joined = text.replace("\\\n", " ")
    for name, body in re.findall(r"#define V4L2_DV_BT_CEA_(\w+) \{(.*)", joined):
        arguments = body[body.index("V4L2_INIT_BT_TIMINGS(") + len("V4L2_INIT_BT_TIMINGS(") :]
        fields = [field.strip() for field in arguments.split(",")]
        figures = [int(field) for field in fields[4:14]]
        modes[name] = {
            "size": [int(fields[0]), int(fields[1])],
            "clock_hz": figures[0],
            "h": figures[1:4],
            "v": figures[4:7],
            "interlaced": fields[2] == "1",
            "positive_sync": "HSYNC_POS_POL" in fields[3] and "VSYNC_POS_POL" in fields[3],
            "reducible": "V4L2_DV_FL_CAN_REDUCE_FPS" in arguments,
        }
        if fields[2] == "1":
            modes[name]["v_second"] = figures[7:10]
    return modes


@pytest.mark.skipif(not HEADER.exists(), reason="the kernel's header is not installed")
def test_vector_file_equals_the_installed_header() -> None:
    """The vector file is what the installed linux/v4l2-dv-timings.h says."""
    installed = parse_header(HEADER.read_text())
    assert {name: installed.get(name) for name in MODES} == MODES


@pytest.mark.parametrize("name", FORMATS)
def test_rates(name: str) -> None:
    """Line, field and frame rates are exact, and the format's rate is its timing's."""
    fmt, timing = FORMATS[name], timing_of(name)
    line, field = RATES[name]
    assert (timing.line_rate_hz, timing.field_rate_hz, fmt.field_rate) == (line, field, field)
    assert fmt.frame_rate == timing.frame_rate_hz == field / fmt.fields_per_frame
    assert timing.total_lines == line / fmt.frame_rate


def test_rates_as_the_documents_print_them() -> None:
    """The published decimals of the 525-line and 262-line rates are met."""
    assert float(timing_of("480i").line_rate_hz) == pytest.approx(15734.265734, abs=1e-6)  # BT.1700
    assert float(FORMATS["240p"].frame_rate) == pytest.approx(60.0545, abs=1e-4)  # CTA-861, video code 8
    assert float(FORMATS["288p"].frame_rate) == pytest.approx(50.0801, abs=1e-4)  # CTA-861, video code 23
    assert FORMATS["1080i59.94"].frame_rate == Fraction(30000, 1001)


# Line at which the vertical sync of the first field starts, in the system's own numbering: 525-line systems 4
# (progressive 7), all others 1. From memory.
SYNC_START = {"240p": 4, "480i": 4, "480p": 7}


@pytest.mark.parametrize("name", FORMATS)
def test_first_active_lines_follow_from_the_porches(name: str) -> None:
    """The first active line of each field is where sync and back porch end, and the frame closes."""
    timing = timing_of(name)
    start = SYNC_START.get(name, 1)
    lines = [start + timing.v.sync + timing.v.back_porch]
    end = lines[0] + timing.v.active
    if timing.v_second is not None:
        second = timing.v_second
        lines.append(end + second.front_porch + second.sync + second.back_porch)
        end = lines[1] + second.active
    assert timing.first_active_lines == tuple(lines)
    assert end + timing.v.front_porch == start + timing.total_lines


def test_first_lines_of_interlaced_systems() -> None:
    """The fields start at the published lines."""
    assert timing_of("480i").first_active_lines == (22, 285)  # CTA-861
    assert timing_of("576i").first_active_lines == (23, 336)  # BT.656, from memory
    assert timing_of("1080i50").first_active_lines == (21, 584)  # BT.709, SMPTE ST 274


# Line pairs and orders: 525 and 625 lines as cut by CTA-861, MPEG-2, BT.656 and DV (625 DV from memory).
@pytest.mark.parametrize(
    ("lines", "total", "order"),
    [
        ((22, 285), 525, FieldOrder.TOP),
        ((23, 286), 525, FieldOrder.TOP),
        ((23, 285), 525, FieldOrder.BOTTOM),
        ((21, 283), 525, FieldOrder.BOTTOM),
        ((23, 336), 625, FieldOrder.TOP),
        ((23, 335), 625, FieldOrder.BOTTOM),
        ((21, 584), 1125, FieldOrder.TOP),
        ((42,), 1125, FieldOrder.PROGRESSIVE),
    ],
)
def test_field_order_rule(lines: tuple[int, ...], total: int, order: FieldOrder) -> None:
    """A second field more than half a frame after the first lies below it."""
    assert field_order(lines, total) is order


def test_named_interlaced_formats_are_top_field_first() -> None:
    """The formats with an i are interlaced with an odd line count and top field first; the others are not."""
    for name, fmt in FORMATS.items():
        assert fmt.field_order is (FieldOrder.TOP if "i" in name else FieldOrder.PROGRESSIVE)
        assert fmt.interlaced == ("i" in name)
        assert timing_of(name).total_lines % 2 == 1 or not fmt.interlaced
        assert fmt.fields_per_frame == (2 if "i" in name else 1)


@pytest.mark.parametrize("name", FORMATS)
def test_picture_and_sample_aspect(name: str) -> None:
    """The picture is centred in the raster and has exactly its aspect in square units."""
    fmt = FORMATS[name]
    sd = fmt.width == 720
    assert fmt.picture == Rect(left=8 if sd else 0, top=0, width=704 if sd else fmt.width, height=fmt.height)
    assert fmt.picture.left == fmt.width - fmt.picture.right
    assert (fmt.picture.top, fmt.picture.bottom) == (0, fmt.height)
    assert fmt.picture_aspect == (Fraction(4, 3) if sd else Fraction(16, 9))
    assert fmt.picture.width * fmt.sample_aspect == fmt.picture.height * fmt.picture_aspect
    assert (fmt.family is Family.HD) == (fmt.sample_aspect == 1) == (not sd)


# H.264 Table E-1 (idc 2 to 5) through FFmpeg's table; half of it for one field's lines.
@pytest.mark.parametrize(
    ("name", "normal", "wide"),
    [
        ("480i", SAR_525_4_3.value, SAR_525_16_9.value),
        ("480p", SAR_525_4_3.value, SAR_525_16_9.value),
        ("576i", SAR_625_4_3.value, SAR_625_16_9.value),
        ("576p", SAR_625_4_3.value, SAR_625_16_9.value),
        ("240p", Fraction(5, 11), Fraction(20, 33)),
        ("288p", Fraction(6, 11), Fraction(8, 11)),
    ],
)
def test_sample_aspect_of_sd(name: str, normal: Fraction, wide: Fraction) -> None:
    """SD names take 4:3 and 16:9 with the tabulated sample aspects, and keep their id."""
    assert parse_format(name) == parse_format(name, Fraction(4, 3)) == FORMATS[name]
    assert FORMATS[name].sample_aspect == normal
    fmt = parse_format(name, Fraction(16, 9))
    assert (fmt.id, fmt.sample_aspect, fmt.picture_aspect) == (name, wide, Fraction(16, 9))
    assert (fmt.timing, fmt.picture) == (FORMATS[name].timing, FORMATS[name].picture)
    assert fmt.title.endswith("16:9")


def test_square_widths_of_the_sd_picture() -> None:
    """704 samples are 640 square ones of 480 lines and 768 of 576."""
    assert 704 * FORMATS["480i"].sample_aspect == 640
    assert 704 * FORMATS["576i"].sample_aspect == 768


def test_mode_lines() -> None:
    """Mode lines carry frame lines, the clock to 6 decimals, the scan and the signs."""
    # The same figures as the kernel's drm_edid.c for 1920x1080i 50 and 720x576i.
    assert timing_of("1080i50").modeline("a b") == (
        'Modeline "a b" 74.250000 1920 2448 2492 2640 1080 1084 1094 1125 interlace +hsync +vsync'
    )
    assert timing_of("576i").modeline("576i").endswith("576 580 586 625 interlace -hsync -vsync")
    assert timing_of("720p59.94").modeline("x") == (
        'Modeline "x" 74.175824 1280 1390 1430 1650 720 725 730 750 +hsync +vsync'
    )
    assert timing_of("1080p59.94").modeline("x").split()[2] == "148.351648"


@pytest.mark.parametrize("name", ["", 'a"b', "a\nb"])
def test_mode_line_refuses_a_name_that_breaks_the_line(name: str) -> None:
    """A mode's name that cannot stand between quotes is refused."""
    with pytest.raises(FormatError, match="name"):
        timing_of("480i").modeline(name)


@pytest.mark.parametrize("name", FORMATS)
def test_mode_line_figures_rise(name: str) -> None:
    """Both halves of each mode line rise to the totals of the timing."""
    timing = timing_of(name)
    figures = [int(word) for word in timing.modeline(name).split()[3:11]]
    for half, total in ((figures[:4], timing.h.total), (figures[4:], timing.total_lines)):
        assert all(a < b for a, b in pairwise(half))
        assert half[3] == total


def test_cautions_name_the_line_rate_above_15_khz() -> None:
    """Only formats above 15.8 kHz warn owners of 15 kHz sets; low vertical rates and 240p warn too."""
    warned = {name for name, fmt in FORMATS.items() if any("15 kHz only" in line for line in fmt.cautions)}
    assert warned == set(FORMATS) - {"240p", "288p", "480i", "576i"}
    slow = {name for name, fmt in FORMATS.items() if any("Vertical rate" in line for line in fmt.cautions)}
    assert slow == {"1080p23.976", "1080p24", "1080p25", "1080p29.97", "1080p30"}
    assert any("31.469 kHz" in line for line in FORMATS["480p"].cautions)
    assert any("262 whole lines" in line for line in FORMATS["240p"].cautions)
    assert FORMATS["480i"].cautions == FORMATS["576i"].cautions == ()


def test_free_formats_warn_that_no_timing_is_fixed() -> None:
    """A free raster's least line rate is given, and 15 kHz sets are named when it is too fast for them."""
    slow, fast = parse_format("640x480i@60"), parse_format("640x480@60")
    assert "14.400 kHz" in slow.cautions[0]
    assert "28.800 kHz" in fast.cautions[0]
    assert ["15 kHz only" in " ".join(fmt.cautions) for fmt in (slow, fast)] == [False, True]


def test_cautions_name_rates_beyond_both_ends_of_what_a_15_khz_set_takes() -> None:
    """Common practice, no source: 15.5 to 15.8 kHz and 48 to 62 Hz; a faster line has its own caution."""
    timing = FORMATS["240p"].timing
    assert timing is not None
    # 13.5 MHz / 858 is 15.734 kHz; x 23/25 is 14.476, and 15.500 exactly is still taken.
    low = replace(timing, pixel_clock_hz=timing.pixel_clock_hz * Fraction(23, 25))
    edge = replace(timing, pixel_clock_hz=Fraction(15_500 * 858))
    told = [" ".join(scan_cautions(240, each.field_rate_hz, each)) for each in (timing, low, edge)]
    assert ["below the 15.5 kHz" in words for words in told] == [False, True, False]
    assert "14.476 kHz" in told[1]
    high = {text: " ".join(parse_format(text).cautions) for text in ("320x200@70", "320x200@62", "1024x768@70")}
    assert ["above the 62 Hz" in words for words in high.values()] == [True, False, False]


@pytest.mark.parametrize("name", FORMATS)
def test_names_are_read_in_any_case(name: str) -> None:
    """A trade name is found in upper case and with spaces around it."""
    assert parse_format(f" {name.upper()} ") is FORMATS[name]


@pytest.mark.parametrize(
    ("text", "id_", "rate"),
    [
        ("1024x768@75.5", "1024x768p@75.5", Fraction(151, 2)),
        ("1024X768P@060.0", "1024x768p@60", Fraction(60)),
        ("640x480@59.94", "640x480p@59.94", Fraction(60000, 1001)),
        ("640x480@59.940", "640x480p@59.94", Fraction(60000, 1001)),
        ("640x480@60000/1001", "640x480p@59.94", Fraction(60000, 1001)),
        ("640x480@2997/50", "640x480p@2997/50", Fraction(2997, 50)),
        ("640x480@23.976", "640x480p@23.976", Fraction(24000, 1001)),
        ("640x480@23.98", "640x480p@23.976", Fraction(24000, 1001)),
        ("640x480@29.97", "640x480p@29.97", Fraction(30000, 1001)),
        ("640x480@119.88", "640x480p@119.88", Fraction(120000, 1001)),
        ("640x480@100/3", "640x480p@100/3", Fraction(100, 3)),
        ("1920x1080i@59.94", "1920x1080i@59.94", Fraction(60000, 1001)),
    ],
)
def test_free_spelling(text: str, id_: str, rate: Fraction) -> None:
    """Rates of the trade mean 1/1.001 of a whole number, and each format has one spelling."""
    fmt = parse_format(text)
    assert (fmt.id, fmt.field_rate) == (id_, rate)
    assert parse_format(id_) == fmt


def test_free_interlaced_rate_is_the_field_rate() -> None:
    """A free raster equal to a named one stays free, and its rate counts fields."""
    fmt = parse_format("1920x1080i@59.94")
    assert fmt.frame_rate == FORMATS["1080i59.94"].frame_rate == Fraction(30000, 1001)
    assert (fmt.field_order, fmt.family, fmt.timing) == (FieldOrder.TOP, Family.COMPUTER, None)
    assert fmt.picture == Rect(left=0, top=0, width=1920, height=1080)


def test_free_aspect_sets_the_sample_aspect() -> None:
    """With an aspect the whole raster has it; without one the samples are square."""
    wide = parse_format("720x576i@50", Fraction(16, 9))
    assert (wide.picture_aspect, wide.sample_aspect) == (Fraction(16, 9), Fraction(64, 45))  # MPEG-2 DAR
    square = parse_format("720x576i@50")
    assert (square.picture_aspect, square.sample_aspect) == (Fraction(5, 4), Fraction(1))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("1x1@60", "must be 2 to 8192, got 1x1"),
        ("16384x16384@60", "must be 2 to 8192, got 16384x16384"),
        ("8192x8192@60", "at most 36000000 samples a frame, got 67108864"),
        ("720x481i@50", "even height, got 481"),
        ("640x480@0", "must be 1 to 1000 Hz, got 0"),
        ("640x480@1000.1", "must be 1 to 1000 Hz, got 1000.1"),
        ("640x480@60/0", "divides by 0"),
        ("640x480", "the rate is missing"),
        ("640x480k@60", "WxH"),
        ("640x480@٦٠", "WxH"),
        ("1080i", "did you mean 1080i60, 1080i50"),
        ("", "WxH"),
        ("a\nb", r"'a\\nb'"),
    ],
)
def test_bad_text_says_what_is_allowed(text: str, said: str) -> None:
    """A text that is no format gives one line with what was given and what is allowed."""
    with pytest.raises(FormatError, match=said if "\\" in said else re.escape(said)) as caught:
        parse_format(text)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "aspect", "allowed"),
    [
        ("480i", Fraction(2), "4:3 or 16:9"),
        ("576p", Fraction(3, 2), "4:3 or 16:9"),
        ("1080p60", Fraction(4, 3), "16:9"),
        ("640x480@60", Fraction(6), "1:5 and 5:1"),
        ("640x480@60", Fraction(0), "1:5 and 5:1"),
    ],
)
def test_wrong_aspect_is_refused(text: str, aspect: Fraction, allowed: str) -> None:
    """SD names take 4:3 and 16:9, HD names 16:9, free rasters a sane one."""
    with pytest.raises(FormatError, match=allowed):
        parse_format(text, aspect)


@pytest.mark.parametrize(
    ("text", "value"),
    [("4:3", (4, 3)), ("16:9", (16, 9)), ("16/9", (16, 9)), (" 1.85 ", (37, 20)), ("2.39:1", (239, 100))],
)
def test_aspects(text: str, value: tuple[int, int]) -> None:
    """An aspect is read exactly from a ratio or a decimal."""
    assert parse_aspect(text) == Fraction(*value)


@pytest.mark.parametrize("text", ["", "0", "4:0", "0:3", "6:1", "0.1", "4:3:2", "-4:3", "4:-3", "nan", "1e1", "٤:٣"])
def test_bad_aspects(text: str) -> None:
    """Anything but a sane positive ratio is refused in one line."""
    with pytest.raises(FormatError) as caught:
        parse_aspect(text)
    assert "\n" not in str(caught.value)


SIDES = st.integers(2, 8192)
FIELD_RATES = st.one_of(
    st.sampled_from([Fraction(50), Fraction(60), Fraction(60000, 1001), Fraction(2997, 50), Fraction(2398, 100)]),
    st.fractions(1, 1000, max_denominator=100_000),
)


@st.composite
def free_formats(draw: st.DrawFn) -> tuple[Format, Fraction]:
    """A legal free format and the rate that was written."""
    width = draw(SIDES)
    height = draw(st.integers(2, min(8192, 36_000_000 // width)))
    interlaced = height % 2 == 0 and draw(st.booleans())
    rate = draw(FIELD_RATES)
    text = f"{width}x{height}{'i' if interlaced else 'p'}@{rate.numerator}/{rate.denominator}"
    return parse_format(text), rate


@settings(deadline=None)
@given(free_formats())
def test_canonical_id_reads_back(made: tuple[Format, Fraction]) -> None:
    """The id of any free format reads back as the same format, with the exact rate and square samples."""
    fmt, rate = made
    assert fmt.field_rate == rate
    assert parse_format(fmt.id) == fmt
    assert fmt.sample_aspect == 1
    assert fmt.picture_aspect == Fraction(fmt.width, fmt.height)


TEXTS = st.one_of(st.text(), st.from_regex(r"\d{0,5}x?\d{0,5}[ip]?@?[\d./]{0,9}", fullmatch=True))


@settings(deadline=None)
@given(TEXTS)
def test_any_text_gives_a_format_or_a_format_error(text: str) -> None:
    """Arbitrary text never raises anything but FormatError, always in one line."""
    for parse in (parse_format, parse_aspect):
        try:
            parse(text)
        except FormatError as error:
            assert len(str(error).splitlines()) == 1  # noqa: PT017 - success is allowed too
