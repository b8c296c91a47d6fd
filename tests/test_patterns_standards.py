"""The standards' constants: against other libraries, against each other, and each with its document."""

from __future__ import annotations

import importlib
import pkgutil
import subprocess
import warnings
from enum import IntEnum
from fractions import Fraction

import pytest

import patterns
from patterns import standards
from patterns.sources import Constant, Mark, Source
from patterns.standards import colour, geometry, levels, timing
from patterns.standards.colour import (
    CAMERA_TRANSFER,
    REFERENCE_GAMMA,
    SRGB_TRANSFER,
    Matrix,
    Primaries,
    Transfer,
)
from patterns.standards.geometry import (
    CLOCK_601_HZ,
    LINE_525_SAMPLES,
    LINE_625_SAMPLES,
    PICTURE_601_SAMPLES,
    RASTER_601_SAMPLES,
    SAFE_ACTION_MARGIN,
    SAFE_ACTION_SIZE,
    SAFE_GRAPHICS_MARGIN,
    SAFE_TITLE_SIZE,
    SAR_525_4_3,
    SAR_525_16_9,
    SAR_625_4_3,
    SAR_625_16_9,
)
from patterns.standards.levels import (
    CHROMA_EXCURSION_8BIT,
    CHROMA_ZERO_8BIT,
    COLOUR_DIFFERENCE_PEAK_MV,
    COMPONENT_SYNC_MV,
    COMPONENT_WHITE_MV,
    FOOTROOM_8BIT,
    IRE_MV,
    KB_601,
    KB_709,
    KB_2020,
    KR_601,
    KR_709,
    KR_2020,
    LUMA_EXCURSION_8BIT,
    PLUGE_BT814_CODES,
    PLUGE_RP219_CODES,
    PLUGE_RP219_LEVELS,
    RESERVED_8BIT,
    RESERVED_10BIT,
    RESERVED_12BIT,
    RESERVED_16BIT,
    SETUP_IRE,
    SETUP_SCALE,
    SYNC_IRE,
    WHITE_525_MV,
    WHITE_IRE,
    usable_codes,
)
from patterns.standards.timing import (
    EDGE_HALF_DURATION_CHROMA,
    EDGE_HALF_DURATION_LUMA,
    FLASH_AREA,
    FLASH_CONTRAST,
    FLASH_DARK_LIMIT,
    FLASH_LUMINANCE_STEP,
    FLASH_RATE,
    LOWEST_FIELD_RATE_HZ,
)


def test_every_constant_has_a_document_a_mark_and_a_unit() -> None:
    """No constant stands without its document, mark, unit and a name of its own."""
    assert len({item.name for item in standards.ALL}) == len(standards.ALL)
    for item in standards.ALL:
        assert item.name
        assert item.unit
        assert item.source.document
        assert isinstance(item.source.mark, Mark)
        assert "\n" not in str(item.source)


def test_all_lists_every_constant_of_the_module() -> None:
    """A constant added to the module is listed, so that the docs and the test above see it."""
    rooms = (levels, colour, timing, geometry)
    public = [
        item for room in rooms for name, item in vars(room).items() if isinstance(item, Constant) and name[0] != "_"
    ]
    assert list(standards.ALL) == public
    assert KR_601 in standards.ALL
    assert LOWEST_FIELD_RATE_HZ in standards.ALL


def test_no_other_module_of_the_room_keeps_constants_of_its_own() -> None:
    """What is a `Constant` stands in the one list, from which the page of figures is made."""
    listed = {id(item) for item in standards.ALL}
    for found in pkgutil.walk_packages(patterns.__path__, "patterns."):
        own = [item for item in vars(importlib.import_module(found.name)).values() if isinstance(item, Constant)]
        assert all(id(item) in listed for item in own), found.name
    names = {item.name for item in standards.ALL}
    assert {"CVT clock step", "GTF blanking duty cycle C'", "CVT reduced: front porch, sync, back porch"} <= names


def test_a_verified_constant_names_what_it_was_compared_with() -> None:
    """A mark of verified or of a project's choice comes with a note that says how."""
    for item in standards.ALL:
        if item.source.mark in (Mark.VERIFIED, Mark.PRACTICE):
            assert item.source.note, item.name


def test_source_reads_as_one_line() -> None:
    """A source prints its document, place, mark and note."""
    full = Source(document="BT.1", where="Table 2", mark=Mark.VERIFIED, note="by hand")
    assert str(full) == "BT.1, Table 2 [verified: by hand]"
    assert str(Source(document="BT.1", mark=Mark.MEMORY)) == "BT.1 [from memory]"


def test_transfers_equal_colour_science() -> None:
    """Codes of light, and the power of the display, as colour-science's functions have them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour as library  # Two seconds, and a warning that plotting is missing.
    scale, power, slope, knee = map(float, CAMERA_TRANSFER.value)
    for light in (0.0, 0.01, 0.0179, 0.0181, 0.2, 1.0):
        own = slope * light if light < knee else scale * light**power - (scale - 1)
        assert own == pytest.approx(float(library.models.oetf_BT709(light)), abs=1e-12)
    scale, power, slope, knee = map(float, SRGB_TRANSFER.value)
    for light in (0.0, 0.001, 0.00313, 0.00314, 0.2, 1.0):
        own = slope * light if light <= knee else scale * light ** (1 / power) - (scale - 1)
        assert own == pytest.approx(float(library.models.eotf_inverse_sRGB(light)), abs=1e-12)
    for code in (0.0, 0.1, 0.5, 1.0):
        shown = float(library.models.eotf_BT1886(code, L_B=0, L_W=1))
        assert code ** float(REFERENCE_GAMMA.value) == pytest.approx(shown, abs=1e-12)


@pytest.mark.parametrize(
    ("key", "kr", "kb"),
    [
        ("ITU-R BT.601", KR_601, KB_601),
        ("ITU-R BT.709", KR_709, KB_709),
        ("ITU-R BT.2020", KR_2020, KB_2020),
    ],
)
def test_luma_weights_equal_colour_science(key: str, kr: Constant[Fraction], kb: Constant[Fraction]) -> None:
    """The weights are those of colour-science's WEIGHTS_YCBCR, digit for digit."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns that no plotting library is installed
        import colour
    weights = [Fraction(repr(float(weight))) for weight in colour.WEIGHTS_YCBCR[key]]
    assert weights == [kr.value, kb.value]


def test_divisors_of_the_colour_differences() -> None:
    """2(1-KB) and 2(1-KR) are the divisors that the recommendations print."""
    # BT.601-7, BT.709-6 and BT.2020-2; recomputed.
    pairs = [
        (KR_601, KB_601, "1.772", "1.402"),
        (KR_709, KB_709, "1.8556", "1.5748"),
        (KR_2020, KB_2020, "1.8814", "1.4746"),
    ]
    for kr, kb, blue, red in pairs:
        assert (2 * (1 - kb.value), 2 * (1 - kr.value)) == (Fraction(blue), Fraction(red))


def test_narrow_range_ends() -> None:
    """Black, peak and chroma extremes are 16, 235, 16 and 240 in 8 bit."""
    # BT.601-7: 220 luma and 225 colour-difference levels.
    black, zero = FOOTROOM_8BIT.value, CHROMA_ZERO_8BIT.value
    assert (black, black + LUMA_EXCURSION_8BIT.value) == (16, 235)
    half = CHROMA_EXCURSION_8BIT.value // 2
    assert (zero - half, zero, zero + half) == (16, 128, 240)


# BT.601/BT.656 (8 and 10 bit), BT.1120 (12 bit, from memory); 16 bit by the same rule, no document.
@pytest.mark.parametrize(("bits", "low", "high"), [(8, 1, 254), (10, 4, 1019), (12, 16, 4079), (16, 256, 65279)])
def test_usable_codes(bits: int, low: int, high: int) -> None:
    """Usable and reserved codes share out all codes of a depth; the reserved ones have equal top bits."""
    usable = usable_codes(bits)
    assert (usable[0], usable[-1]) == (low, high)
    reserved = {8: RESERVED_8BIT, 10: RESERVED_10BIT, 12: RESERVED_12BIT}
    bottom, top = reserved.get(bits, RESERVED_16BIT).value
    assert sorted([*bottom, *usable, *top]) == list(range(1 << bits))
    assert {code >> (bits - 8) for code in bottom} == {0}
    assert {code >> (bits - 8) for code in top} == {255}


def test_usable_codes_refuses_other_depths() -> None:
    """A depth without a rule is an error that names the ones that have it."""
    with pytest.raises(ValueError, match="8, 10, 12, 16, got 9"):
        usable_codes(9)


def test_ire_and_setup() -> None:
    """100 IRE is 714.2857 mV, setup 53.571 mV, sync -285.714 mV, and 7.5 + 92.5 = 100."""
    # SMPTE 170M: 1 IRE = 1/140 V; setup scale 92.5 %.
    ire = IRE_MV.value
    assert ire == Fraction(50, 7)
    assert WHITE_IRE.value * ire == WHITE_525_MV.value == Fraction(5000, 7)
    assert float(WHITE_525_MV.value) == pytest.approx(714.2857, abs=1e-4)
    assert float(SETUP_IRE.value * ire) == pytest.approx(53.571, abs=1e-3)
    assert float(SYNC_IRE.value * ire) == pytest.approx(-285.714, abs=1e-3)
    assert SETUP_IRE.value + SETUP_SCALE.value * 100 == WHITE_IRE.value
    # 75 % with setup: 76.875 IRE.
    assert SETUP_IRE.value + SETUP_SCALE.value * 75 == Fraction("76.875")


def test_component_levels() -> None:
    """White to sync is one volt, and colour difference spans the white level."""
    # SMPTE/EBU N10, from memory.
    assert COMPONENT_WHITE_MV.value - COMPONENT_SYNC_MV.value == 1000
    assert 2 * COLOUR_DIFFERENCE_PEAK_MV.value == COMPONENT_WHITE_MV.value


def test_pluge_codes_follow_from_the_levels() -> None:
    """RP 219's codes are its percentages in 10 bit; BT.814's are 16 codes, 1.826 %, around black."""
    codes = [int(64 + 876 * level + Fraction(1, 2)) for level in PLUGE_RP219_LEVELS.value]
    assert tuple(codes) == PLUGE_RP219_CODES.value == (46, 82, 99)
    darker, lighter = PLUGE_BT814_CODES.value
    assert (darker, lighter) == (64 - 16, 64 + 16)
    assert round(100 * (lighter - 64) / 876, 3) == 1.826


def test_safe_areas() -> None:
    """On 1920x1080 the margins are 67.2/37.8 and 96/54 samples, and both documents agree on the size."""
    # EBU R 95 (v1.1, 2017), pixel figures recomputed; SMPTE ST 2046-1.
    action, graphics = SAFE_ACTION_MARGIN.value, SAFE_GRAPHICS_MARGIN.value
    assert (1920 * action, 1080 * action) == (Fraction("67.2"), Fraction("37.8"))
    assert (1920 * graphics, 1080 * graphics) == (Fraction(96), Fraction(54))
    assert SAFE_ACTION_SIZE.value == 1 - 2 * action
    assert SAFE_TITLE_SIZE.value == 1 - 2 * graphics


def test_sample_aspects_make_the_picture_exact() -> None:
    """704 samples of each aspect over 480 or 576 lines are exactly 4:3 or 16:9."""
    # ITU-T H.264 Table E-1, through FFmpeg's table.
    width = PICTURE_601_SAMPLES.value
    assert width * SAR_525_4_3.value / 480 == Fraction(4, 3)
    assert width * SAR_625_4_3.value / 576 == Fraction(4, 3)
    assert width * SAR_525_16_9.value / 480 == Fraction(16, 9)
    assert width * SAR_625_16_9.value / 576 == Fraction(16, 9)


def test_601_lines_close() -> None:
    """Active samples and the blanking around 0H make 858 and 864 samples, one line at 13.5 MHz."""
    # BT.601-7: 525 lines at 60/1.001 fields, 625 lines at 50 fields.
    active, clock = RASTER_601_SAMPLES.value, CLOCK_601_HZ.value
    total_525 = active + sum(LINE_525_SAMPLES.value)
    total_625 = active + sum(LINE_625_SAMPLES.value)
    assert (total_525, total_625) == (858, 864)
    assert Fraction(clock, total_525 * 525) == Fraction(30000, 1001)
    assert Fraction(clock, total_625 * 625) == 25


def test_chroma_edges_are_twice_as_long() -> None:
    """The chroma edge is twice the luma edge, so a sampled chroma edge has the same shape."""
    assert EDGE_HALF_DURATION_LUMA.value == 2
    assert EDGE_HALF_DURATION_CHROMA.value == 2 * EDGE_HALF_DURATION_LUMA.value


def ffmpeg_code_points(option: str) -> dict[str, int]:
    """The named values of an option of FFmpeg's setparams filter."""
    import imageio_ffmpeg

    command = [imageio_ffmpeg.get_ffmpeg_exe(), "-hide_banner", "-h", "filter=setparams"]
    text = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    values: dict[str, int] = {}
    current = ""
    for words in (line.split() for line in text.splitlines()):
        if len(words) > 1 and words[1].startswith("<"):
            current = words[0]
        elif len(words) > 1 and current == option and words[1].lstrip("-").isdigit():
            values[words[0]] = int(words[1])
    return values


@pytest.mark.parametrize(
    ("option", "kind", "members"),
    [
        (
            "color_primaries",
            Primaries,
            {
                "bt709": Primaries.BT709,
                "bt470bg": Primaries.BT470BG,
                "smpte170m": Primaries.SMPTE170M,
            },
        ),
        (
            "color_trc",
            Transfer,
            {
                "bt709": Transfer.BT709,
                "smpte170m": Transfer.BT601,
                "iec61966-2-1": Transfer.SRGB,
            },
        ),
        (
            "colorspace",
            Matrix,
            {
                "gbr": Matrix.RGB,
                "bt709": Matrix.BT709,
                "bt470bg": Matrix.BT470BG,
                "smpte170m": Matrix.SMPTE170M,
            },
        ),
    ],
)
def test_code_points_equal_ffmpegs(option: str, kind: type[IntEnum], members: dict[str, IntEnum]) -> None:
    """The H.273 code points are the ones that FFmpeg prints, and every member is compared."""
    printed = ffmpeg_code_points(option)
    assert {name: printed[name] for name in members} == {name: int(code) for name, code in members.items()}
    assert set(members.values()) == set(kind)


def test_flash_limits() -> None:
    """The limits on flashing pictures are those of BT.1702 as several texts state them."""
    limits = (
        FLASH_LUMINANCE_STEP,
        FLASH_DARK_LIMIT,
        FLASH_CONTRAST,
        FLASH_AREA,
        FLASH_RATE,
    )
    assert [limit.value for limit in limits] == [20, 160, Fraction(1, 17), Fraction(1, 4), 3]
    # The two rules meet: 20 cd/m2 above 160 is a Michelson contrast of exactly 1/17.
    dark, step = FLASH_DARK_LIMIT.value, FLASH_LUMINANCE_STEP.value
    assert Fraction(step, 2 * dark + step) == FLASH_CONTRAST.value
