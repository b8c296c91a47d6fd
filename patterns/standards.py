"""The standards' figures that the rest of the project uses, each with its document beside it.

`ALL` lists every constant in the order below. Percentages are stored as fractions (0.05 for 5 %), levels
are non-linear R'G'B' with 0 at black and 1 at nominal white, and exact values are `Fraction` or `int`.
"""

from __future__ import annotations

from dataclasses import replace
from enum import IntEnum
from fractions import Fraction
from typing import Any, TypeVar

from patterns.sources import Constant, Mark, Source

T = TypeVar("T")

# --- Luma weights ---------------------------------------------------------------------------------------

_COLOUR_SCIENCE = "equal to colour-science 0.4.7 WEIGHTS_YCBCR"
_LUMA_601 = Source(
    document="Recommendation ITU-R BT.601-7", where="section 2.5", mark=Mark.VERIFIED, note=_COLOUR_SCIENCE
)
_LUMA_709 = Source(document="Recommendation ITU-R BT.709-6", where="item 3.2", mark=Mark.VERIFIED, note=_COLOUR_SCIENCE)
_LUMA_2020 = Source(
    document="Recommendation ITU-R BT.2020-2", where="Table 4", mark=Mark.VERIFIED, note=_COLOUR_SCIENCE
)

KR_601 = Constant(name="BT.601 K_R", value=Fraction("0.299"), unit="ratio", source=_LUMA_601)
KB_601 = Constant(name="BT.601 K_B", value=Fraction("0.114"), unit="ratio", source=_LUMA_601)
KR_709 = Constant(name="BT.709 K_R", value=Fraction("0.2126"), unit="ratio", source=_LUMA_709)
KB_709 = Constant(name="BT.709 K_B", value=Fraction("0.0722"), unit="ratio", source=_LUMA_709)
KR_2020 = Constant(name="BT.2020 K_R", value=Fraction("0.2627"), unit="ratio", source=_LUMA_2020)
KB_2020 = Constant(name="BT.2020 K_B", value=Fraction("0.0593"), unit="ratio", source=_LUMA_2020)

# --- Digital levels -------------------------------------------------------------------------------------

_NARROW = Source(
    document="Recommendation ITU-R BT.601-7",
    where="Table 3",
    mark=Mark.VERIFIED,
    note="codes of all bars equal to colour-science 0.4.7; BT.709-6 and BT.2100-2 Table 9 say the same",
)
FOOTROOM_8BIT = Constant(name="narrow-range code of black, 8 bit", value=16, unit="code (8 bit)", source=_NARROW)
LUMA_EXCURSION_8BIT = Constant(
    name="narrow-range luma or R'G'B' excursion, 8 bit", value=219, unit="codes (8 bit)", source=_NARROW
)
CHROMA_EXCURSION_8BIT = Constant(
    name="narrow-range colour-difference excursion, 8 bit", value=224, unit="codes (8 bit)", source=_NARROW
)
CHROMA_ZERO_8BIT = Constant(
    name="code of zero colour difference, 8 bit", value=128, unit="code (8 bit)", source=_NARROW
)

# Bottom and top runs of codes that timing references own.
RESERVED_8BIT = Constant(
    name="reserved codes, 8 bit",
    value=(range(1), range(255, 256)),
    unit="code (8 bit)",
    source=Source(
        document="Recommendation ITU-R BT.601-7; BT.656", mark=Mark.VERIFIED, note="read in a text of BT.601"
    ),
)
RESERVED_10BIT = Constant(
    name="reserved codes, 10 bit",
    value=(range(4), range(1020, 1024)),
    unit="code (10 bit)",
    source=Source(
        document="Recommendation ITU-R BT.656; BT.1120",
        mark=Mark.VERIFIED,
        note="FFmpeg's v210 clips 0-3 to 4 and 1020-1023 to 1019",
    ),
)
RESERVED_12BIT = Constant(
    name="reserved codes, 12 bit",
    value=(range(16), range(4080, 4096)),
    unit="code (12 bit)",
    source=Source(document="Recommendation ITU-R BT.1120", mark=Mark.MEMORY),
)
RESERVED_16BIT = Constant(
    name="reserved codes, 16 bit",
    value=(range(256), range(65280, 65536)),
    unit="code (16 bit)",
    source=Source(
        document="no document; the rule of the other depths",
        mark=Mark.PRACTICE,
        note="this project's choice: every code whose top 8 bits are all 0 or all 1, as at 8, 10 and 12 bit",
    ),
)
_RESERVED = {8: RESERVED_8BIT, 10: RESERVED_10BIT, 12: RESERVED_12BIT, 16: RESERVED_16BIT}


def usable_codes(bits: int) -> range:
    """Return the codes that video may take at 8, 10, 12 or 16 bits: all but the reserved ones.

    Raises ValueError for any other depth.
    """
    if bits not in _RESERVED:
        raise ValueError(f"bits must be one of {', '.join(map(str, _RESERVED))}, got {bits!r}")
    bottom, top = _RESERVED[bits].value
    return range(bottom.stop, top.start)


# --- Analogue levels ------------------------------------------------------------------------------------

_COMPONENT = Source(
    document="SMPTE/EBU N10; SMPTE ST 253, ST 274, ST 296",
    mark=Mark.MEMORY,
    note="700 mV and -300 mV of 625-line baseband were read in ITU-T N.60 (1988)",
)
COMPONENT_WHITE_MV = Constant(name="component Y' or R'G'B' white, no setup", value=700, unit="mV", source=_COMPONENT)
COMPONENT_SYNC_MV = Constant(
    name="component sync tip (tri-level sync: also +300)", value=-300, unit="mV", source=_COMPONENT
)
COLOUR_DIFFERENCE_PEAK_MV = Constant(
    name="P_B, P_R peak either way at 100 % colours", value=350, unit="mV", source=_COMPONENT
)
_170M = Source(
    document="SMPTE 170M",
    where="Annex B",
    mark=Mark.VERIFIED,
    note="714 mV and -286 mV of system M were read in ITU-T N.60 (1988); of 170M only the annex's title",
)
IRE_MV = Constant(name="1 IRE (1/140 V)", value=Fraction(1000, 140), unit="mV", source=_170M)
WHITE_IRE = Constant(name="525-line white", value=100, unit="IRE", source=_170M)
WHITE_525_MV = Constant(name="525-line white (100 IRE)", value=Fraction(100_000, 140), unit="mV", source=_170M)
SYNC_IRE = Constant(name="525-line sync tip", value=-40, unit="IRE", source=_170M)
_SETUP = Source(
    document="SMPTE 170M",
    mark=Mark.SECONDARY,
    note="7.5 is also the second figure of the bar name 75/7.5/75/7.5 of BT.471-1",
)
SETUP_IRE = Constant(name="setup", value=Fraction("7.5"), unit="IRE", source=_SETUP)
SETUP_SCALE = Constant(
    name="picture excursion with setup, of that without", value=Fraction("0.925"), unit="ratio", source=_SETUP
)
_OLD_525 = Source(
    document="older 525-line tape formats",
    mark=Mark.MEMORY,
    note="practice; 75 % bars reach 350 mV",
)
OLD_525_DIFFERENCE_PEAK_MV = Constant(
    name="P_B, P_R peak either way at 100 % colours, older 525-line component of 714 mV with setup",
    value=Fraction(1400, 3),
    unit="mV",
    source=_OLD_525,
)
COMPOSITE_625_MV = Constant(
    name="625-line composite white, sync tip",
    value=(700, -300),
    unit="mV",
    source=Source(document="ITU-T N.60 (1988)", mark=Mark.VERIFIED, note="read in that text"),
)

# --- PLUGE ----------------------------------------------------------------------------------------------

_BT814 = Source(
    document="Recommendation ITU-R BT.814-4 (07/2018)",
    where="Tables 4-5",
    mark=Mark.SECONDARY,
    note="two agreeing texts; title and date were read, the tables were not obtained",
)
PLUGE_BT814_CODES = Constant(
    name="BT.814 PLUGE, slightly darker and slightly lighter",
    value=(48, 80),
    unit="code (10 bit)",
    source=_BT814,
)
_RP219 = Source(
    document="SMPTE RP 219-1",
    where="bottom row",
    mark=Mark.SECONDARY,
    note="codes recomputed from the percentages",
)
PLUGE_RP219_LEVELS = Constant(
    name="RP 219 PLUGE levels",
    value=(Fraction(-2, 100), Fraction(2, 100), Fraction(4, 100)),
    unit="level",
    source=_RP219,
)
PLUGE_RP219_CODES = Constant(name="RP 219 PLUGE codes", value=(46, 82, 99), unit="code (10 bit)", source=_RP219)

# --- Contrast windows, bars of two arrangements ---------------------------------------------------------

_BT815 = Source(
    document="Recommendation ITU-R BT.815-1",
    mark=Mark.SECONDARY,
    note="a white window and four black ones on grey; where the black ones stand was not found",
)
CONTRAST_GREY = Constant(name="BT.815 ground", value=Fraction(40, 100), unit="level", source=_BT815)
CONTRAST_WINDOW_SD = Constant(
    name="BT.815 side of a window, standard definition", value=Fraction(1, 6), unit="picture heights", source=_BT815
)
CONTRAST_WINDOW_HD = Constant(
    name="BT.815 side of a window, high definition", value=Fraction(2, 15), unit="picture heights", source=_BT815
)
_EG1 = Source(
    document="SMPTE EG 1",
    mark=Mark.SECONDARY,
    note="the layout is also that of FFmpeg's source, the levels of an agreeing text",
)
EG1_ROWS = Constant(
    name="EG 1 lower edges of the upper rows", value=(Fraction(2, 3), Fraction(3, 4)), unit="of the height", source=_EG1
)
EG1_PLUGE_IRE = Constant(
    name="EG 1 near-black steps, with setup",
    value=(Fraction("3.5"), Fraction("7.5"), Fraction("11.5")),
    unit="IRE",
    source=_EG1,
)
EG1_IQ_IRE = Constant(
    name="EG 1 amplitude of -I and +Q, with setup", value=Fraction(20), unit="IRE", source=replace(_EG1, note="40 p-p")
)
_RP219_LAYOUT = replace(_RP219, where="structure")
RP219_ROWS = Constant(
    name="RP 219 heights of the rows",
    value=(Fraction(7, 12), Fraction(1, 12), Fraction(1, 12), Fraction(3, 12)),
    unit="of the height",
    source=_RP219_LAYOUT,
)
RP219_GREYS = Constant(
    name="RP 219 greys at the sides, above and below",
    value=(Fraction(40, 100), Fraction(15, 100)),
    unit="level",
    source=_RP219_LAYOUT,
)
RP219_IQ_IRE = Constant(
    name="RP 219 amplitude of -I and +Q, lifted until no primary is below 0",
    value=Fraction(20),
    unit="IRE",
    source=replace(_RP219_LAYOUT, note="the codes that follow equal those remembered of the document"),
)
_170M_IQ = Source(document="SMPTE 170M", mark=Mark.MEMORY, note="codes that follow equal a published text's")
IQ_DEGREES = Constant(name="phase of +Q; -I stands at 303", value=33, unit="degrees", source=_170M_IQ)
U_SCALE = Constant(name="U of B'-Y'", value=Fraction("0.492111"), unit="ratio", source=_170M_IQ)
V_SCALE = Constant(name="V of R'-Y'", value=Fraction("0.877283"), unit="ratio", source=_170M_IQ)

# --- Response -------------------------------------------------------------------------------------------

MULTIBURST_625_MHZ = Constant(
    name="multiburst, 625 lines interlaced",
    value=tuple(map(Fraction, ("0.5", "1", "2", "4", "4.8", "5.8"))),
    unit="MHz",
    source=Source(document="CCIR 473; Recommendation ITU-T J.63", where="line 18", mark=Mark.SECONDARY),
)
MULTIBURST_525_MHZ = Constant(
    name="multiburst, 525 lines interlaced",
    value=tuple(map(Fraction, ("0.5", "1", "2", "3", "3.58", "4.2"))),
    unit="MHz",
    source=Source(document="NTC Report 7", mark=Mark.MEMORY),
)
MULTIBURST_HD_MHZ = Constant(
    name="multiburst, high definition at 74.25 MHz",
    value=tuple(map(Fraction, (5, 10, 15, 20, 25, 30))),
    unit="MHz",
    source=Source(document="no document", mark=Mark.PRACTICE, note="the custom of the trade"),
)
MULTIBURST_SWING = Constant(
    name="multiburst, half of the bursts' peak-to-peak (420 mV of 700)",
    value=Fraction(3, 10),
    unit="level",
    source=MULTIBURST_625_MHZ.source,
)
PULSE_T_625_NS = Constant(
    name="T of the 2T pulse, 625 lines interlaced",
    value=Fraction(100),
    unit="ns",
    source=Source(document="Recommendation ITU-T J.63", mark=Mark.MEMORY),
)
PULSE_T_525_NS = Constant(
    name="T of the 2T pulse, 525 lines interlaced",
    value=Fraction(125),
    unit="ns",
    source=Source(document="NTC Report 7", mark=Mark.MEMORY),
)
PULSE_T_HD_NS = Constant(
    name="T of the 2T pulse, high definition at 74.25 MHz: half a cycle of 30 MHz",
    value=Fraction(1000, 60),
    unit="ns",
    source=Source(document="no document", mark=Mark.PRACTICE, note="the custom of the trade"),
)
PROGRESSIVE_SCALE = Constant(
    name="rasters of twice the sampling rate: frequencies twice as high, T half as long",
    value=2,
    unit="ratio",
    source=Source(document="no document", mark=Mark.PRACTICE, note="the custom of the trade"),
)

# --- Raster, safe areas, sample aspect ratios -----------------------------------------------------------

_LINE_601 = Source(
    document="Recommendation ITU-R BT.601-7",
    where="Table 3",
    mark=Mark.SECONDARY,
    note="a transcription gives clock, total and the samples up to 0H; the start follows from the total",
)
CLOCK_601_HZ = Constant(name="BT.601 luma sampling rate", value=13_500_000, unit="Hz", source=_LINE_601)
RASTER_601_SAMPLES = Constant(name="BT.601 digital active line", value=720, unit="samples", source=_LINE_601)
LINE_525_SAMPLES = Constant(
    name="525-line system: end of active to 0H, 0H to first active",
    value=(16, 122),
    unit="samples",
    source=_LINE_601,
)
LINE_625_SAMPLES = Constant(
    name="625-line system: end of active to 0H, 0H to first active",
    value=(12, 132),
    unit="samples",
    source=_LINE_601,
)

_SAR = Source(
    document="Recommendation ITU-T H.264; ISO/IEC 14496-2",
    where="Table E-1",
    mark=Mark.VERIFIED,
    note="equal to FFmpeg's tables; 704 samples wide makes 10:11 and 12:11 exactly 4:3",
)
PICTURE_601_SAMPLES = Constant(name="width of the 4:3 or 16:9 picture", value=704, unit="samples", source=_SAR)
SAR_525_4_3 = Constant(name="sample aspect, 525 lines, 4:3", value=Fraction(10, 11), unit="ratio", source=_SAR)
SAR_625_4_3 = Constant(name="sample aspect, 625 lines, 4:3", value=Fraction(12, 11), unit="ratio", source=_SAR)
SAR_525_16_9 = Constant(name="sample aspect, 525 lines, 16:9", value=Fraction(40, 33), unit="ratio", source=_SAR)
SAR_625_16_9 = Constant(name="sample aspect, 625 lines, 16:9", value=Fraction(16, 11), unit="ratio", source=_SAR)

_R95 = Source(
    document="EBU R 95 (v1.1, 2017); Recommendation ITU-R BT.1848-1",
    mark=Mark.SECONDARY,
    note="agreeing texts",
)
SAFE_ACTION_MARGIN = Constant(
    name="action safe margin, each edge", value=Fraction("0.035"), unit="of width or height", source=_R95
)
SAFE_GRAPHICS_MARGIN = Constant(
    name="graphics safe margin, each edge", value=Fraction("0.05"), unit="of width or height", source=_R95
)
_ST2046 = Source(document="SMPTE ST 2046-1", mark=Mark.SECONDARY)
SAFE_ACTION_SIZE = Constant(name="safe action area", value=Fraction("0.93"), unit="of width or height", source=_ST2046)
SAFE_TITLE_SIZE = Constant(name="safe title area", value=Fraction("0.9"), unit="of width or height", source=_ST2046)

# --- Shaped edges ---------------------------------------------------------------------------------------

_EDGE = Source(
    document="no document",
    mark=Mark.PRACTICE,
    note="this project's choice: interpolated, it overshoots by 0.1 % (edge on a sample) to 0.45 % (between two)",
)
EDGE_SHAPE = Constant(name="shape of a shaped edge", value="integrated sine-squared", unit="shape", source=_EDGE)
EDGE_HALF_DURATION_LUMA = Constant(
    name="half-amplitude duration of the sine-squared pulse, luma", value=2, unit="luma samples", source=_EDGE
)
EDGE_HALF_DURATION_CHROMA = Constant(
    name="half-amplitude duration of the sine-squared pulse, chroma",
    value=4,
    unit="luma samples",
    source=_EDGE,
)

# --- The line's waveform -------------------------------------------------------------------------------

_FILTER_601 = Source(document="Recommendation ITU-R BT.601-7", where="filter templates", mark=Mark.MEMORY)
_FILTER_709 = Source(document="Recommendation ITU-R BT.709-6; SMPTE ST 274", where="filter templates", mark=Mark.MEMORY)
FILTER_601_MHZ = Constant(
    name="BT.601 luma filter: flat to, 12 dB at, 40 dB from",
    value=(Fraction("5.75"), Fraction("6.75"), Fraction(8)),
    unit="MHz at 13.5 MHz sampling",
    source=_FILTER_601,
)
FILTER_601_CHROMA_MHZ = Constant(
    name="BT.601 colour-difference filter: flat to, 6 dB at",
    value=(Fraction("2.75"), Fraction("3.375")),
    unit="MHz at 6.75 MHz sampling",
    source=_FILTER_601,
)
FILTER_709_MHZ = Constant(
    name="BT.709 luma filter: flat to, 12 dB at, 40 dB from",
    value=(Fraction(30), Fraction("37.125"), Fraction("44.25")),
    unit="MHz at 74.25 MHz sampling",
    source=_FILTER_709,
)
_LINE_WAVE_SD = Source(document="SMPTE 170M; Recommendation ITU-R BT.1700", mark=Mark.MEMORY)
_LINE_WAVE_P = Source(document="SMPTE 293M; ITU-R BT.1358", mark=Mark.MEMORY)
_LINE_WAVE_HD = Source(document="SMPTE ST 274, ST 296", mark=Mark.MEMORY)
SYNC_RISE_525_NS = Constant(
    name="rise of sync, 10 to 90 %, 525 lines interlaced", value=140, unit="ns", source=_LINE_WAVE_SD
)
SYNC_RISE_625_NS = Constant(
    name="rise of sync, 10 to 90 %, 625 lines interlaced", value=200, unit="ns", source=_LINE_WAVE_SD
)
SYNC_RISE_P_NS = Constant(name="rise of sync, 10 to 90 %, 480p and 576p", value=70, unit="ns", source=_LINE_WAVE_P)
SYNC_RISE_HD_CLOCKS = Constant(
    name="rise of tri-level sync, 10 to 90 %", value=4, unit="samples of luma", source=_LINE_WAVE_HD
)
SYNC_RISE_SHARE = Constant(
    name="rise of a computer's sync, 10 to 90 %",
    value=Fraction(1, 32),
    unit="of the sync pulse",
    source=Source(
        document="no document",
        mark=Mark.PRACTICE,
        note="our choice: as broadcast at 15 kHz, else in proportion",
    ),
)
NOMINAL_SYNC_US = Constant(
    name="line sync, 525 and 625 lines interlaced", value=Fraction("4.7"), unit="us", source=_LINE_WAVE_SD
)
SERRATION_US = Constant(
    name="gap between broad pulses, 525 and 625 lines interlaced",
    value=Fraction("4.7"),
    unit="us",
    source=_LINE_WAVE_SD,
)
EQUALISING_525_US = Constant(
    name="equalising pulse, 525 lines interlaced", value=Fraction("2.3"), unit="us", source=_LINE_WAVE_SD
)
EQUALISING_625_US = Constant(
    name="equalising pulse, 625 lines interlaced", value=Fraction("2.35"), unit="us", source=_LINE_WAVE_SD
)
EQUALISING_PULSES = Constant(
    name="equalising pulses before, broad pulses, equalising pulses after: each so many, 525 and 625 lines",
    value=(6, 5),
    unit="pulses",
    source=_LINE_WAVE_SD,
)
BROAD_720 = Constant(
    name="broad pulse of a 750-line system: begins after 0H, lasts",
    value=(260, 1280),
    unit="samples",
    source=_LINE_WAVE_HD,
)
BROAD_1080 = Constant(
    name="broad pulse of a 1125-line system: begins after 0H or mid-line, lasts (progressive, interlaced)",
    value=(132, 1980, 880),
    unit="samples",
    source=_LINE_WAVE_HD,
)

# --- Code points in files -------------------------------------------------------------------------------


class Primaries(IntEnum):
    """Colour primaries, ITU-T H.273 Table 2. BT470BG is 625-line BT.601, SMPTE170M 525-line BT.601."""

    BT709 = 1
    BT470BG = 5
    SMPTE170M = 6


class Transfer(IntEnum):
    """Transfer characteristics, ITU-T H.273 Table 3. SRGB is IEC 61966-2-1."""

    BT709 = 1
    BT601 = 6
    SRGB = 13


class Matrix(IntEnum):
    """Matrix coefficients, ITU-T H.273 Table 4. BT470BG and SMPTE170M hold the same BT.601 weights."""

    RGB = 0
    BT709 = 1
    BT470BG = 5
    SMPTE170M = 6


_H273 = Source(
    document="Recommendation ITU-T H.273",
    mark=Mark.VERIFIED,
    note="equal to the values that FFmpeg's setparams filter prints",
)
PRIMARIES = Constant(
    name="colour primaries", value=tuple(Primaries), unit="code point", source=replace(_H273, where="Table 2")
)
TRANSFERS = Constant(
    name="transfer characteristics",
    value=tuple(Transfer),
    unit="code point",
    source=replace(_H273, where="Table 3"),
)
MATRICES = Constant(
    name="matrix coefficients", value=tuple(Matrix), unit="code point", source=replace(_H273, where="Table 4")
)

# --- Chromaticities -------------------------------------------------------------------------------------


def _points(name: str, document: str, values: str) -> Constant[tuple[Fraction, ...]]:
    return Constant(
        name=name,
        value=tuple(map(Fraction, values.split())),
        unit="x, y",
        source=Source(document=document, mark=Mark.VERIFIED, note="equal to colour-science 0.4.7"),
    )


WHITE_D65 = _points("white D65", "CIE 15; Recommendation ITU-R BT.709-6", "0.3127 0.3290")
WHITE_D93 = Constant(
    name="white D93",
    value=(Fraction("0.2831"), Fraction("0.2971")),
    unit="x, y",
    source=Source(
        document="CIE 15, daylight of 9300 K",
        mark=Mark.VERIFIED,
        note="rounded from colour-science 0.4.7, CCT_to_xy_CIE_D(9300 x 1.4388/1.438); that D93 means this is practice",
    ),
)
PRIMARIES_BT709 = _points(
    "primaries, BT.709: red, green, blue", "Recommendation ITU-R BT.709-6", "0.64 0.33 0.30 0.60 0.15 0.06"
)
PRIMARIES_625 = _points("primaries, 625 lines: red, green, blue", "EBU Tech. 3213", "0.64 0.33 0.29 0.60 0.15 0.06")
PRIMARIES_525 = _points("primaries, 525 lines: red, green, blue", "SMPTE RP 145", "0.630 0.340 0.310 0.595 0.155 0.070")
CHROMATICITIES = {
    Primaries.BT709: (WHITE_D65.value, PRIMARIES_BT709.value),
    Primaries.BT470BG: (WHITE_D65.value, PRIMARIES_625.value),
    Primaries.SMPTE170M: (WHITE_D65.value, PRIMARIES_525.value),
}
"""White point and primaries of each code point."""

# --- Discs ---------------------------------------------------------------------------------------------

_DISC = Source(document="DVD-Video format book", mark=Mark.MEMORY, note="the book is not public")

DISC_VIDEO_RATE = Constant(name="disc video, highest bit rate", value=9_800_000, unit="bit/s", source=_DISC)
DISC_MUX_RATE = Constant(name="disc program stream, bit rate", value=10_080_000, unit="bit/s", source=_DISC)
DISC_BUFFER_BITS = Constant(name="disc video, decoder's buffer", value=1_835_008, unit="bit", source=_DISC)
DISC_GROUP_PICTURES = Constant(
    name="disc video, most pictures of a group by lines",
    value={480: 18, 576: 15},
    unit="picture",
    source=_DISC,
)

# --- Flashing pictures ----------------------------------------------------------------------------------

_BT1702 = Source(
    document="Recommendation ITU-R BT.1702",
    mark=Mark.SECONDARY,
    note="several agreeing texts; check against edition 3 (11/2023)",
)
FLASH_LUMINANCE_STEP = Constant(name="least luminance change of a flash", value=20, unit="cd/m2", source=_BT1702)
FLASH_DARK_LIMIT = Constant(
    name="the darker image below which the step counts", value=160, unit="cd/m2", source=_BT1702
)
FLASH_CONTRAST = Constant(
    name="least Michelson contrast of a flash above that", value=Fraction(1, 17), unit="ratio", source=_BT1702
)
FLASH_AREA = Constant(
    name="largest flashing share of the screen", value=Fraction(1, 4), unit="of the area", source=_BT1702
)
FLASH_RATE = Constant(name="most flashes in any second", value=3, unit="flashes/s", source=_BT1702)
FLASH_LONG_RUN = Constant(name="longest run without added risk", value=5, unit="s", source=_BT1702)
STRIPE_PAIRS = Constant(name="most light-dark pairs of stripes", value=5, unit="pairs", source=_BT1702)
STRIPE_AREA_MOVING = Constant(
    name="largest striped share of the screen, moving",
    value=Fraction(1, 4),
    unit="of the area",
    source=_BT1702,
)
STRIPE_AREA_STILL = Constant(
    name="largest striped share of the screen, still",
    value=Fraction(2, 5),
    unit="of the area",
    source=_BT1702,
)
RED_SHARE = Constant(
    name="R/(R+G+B) from which red is saturated",
    value=Fraction("0.8"),
    unit="ratio",
    source=Source(document="W3C, Web Content Accessibility Guidelines", mark=Mark.SECONDARY),
)

# --- Timings of free modes ------------------------------------------------------------------------------

_CVT = Source(
    document="VESA Coordinated Video Timings 1.2",
    mark=Mark.VERIFIED,
    note="results equal to edid-decode 0.1; the document was not seen",
)
_GTF = Source(
    document="VESA Generalized Timing Formula 1.1",
    mark=Mark.VERIFIED,
    note="results equal to gtf of xserver-xorg-core 21.1 and to edid-decode 0.1; the document was not seen",
)


def _of_cvt(name: str, value: T, unit: str) -> Constant[T]:
    return Constant(name=f"CVT {name}", value=value, unit=unit, source=_CVT)


def _of_gtf(name: str, value: T, unit: str) -> Constant[T]:
    return Constant(name=f"GTF {name}", value=value, unit=unit, source=_GTF)


CVT_CELL = _of_cvt("cell", 8, "samples")
CVT_FRONT_LINES = _of_cvt("vertical front porch", 3, "lines")
CVT_BACK_LINES = _of_cvt("shortest vertical back porch", 7, "lines")
CVT_SYNC_LINES = Constant(
    name="CVT vertical sync by aspect: 4:3, 16:9, 16:10, 5:4, 15:9, other",
    value=(4, 5, 6, 7, 7, 10),
    unit="lines",
    source=_CVT,
)
CVT_SYNC_BACK_TIME = _of_cvt("shortest vertical sync and back porch", Fraction(550, 1_000_000), "s")
CVT_DUTY_OFFSET = _of_cvt("blanking duty cycle C'", Fraction(30, 100), "of the line")
CVT_DUTY_SLOPE = _of_cvt("blanking duty cycle M'", 3000, "of the line, a second of its duration")
CVT_DUTY_LEAST = _of_cvt("least blanking duty cycle", Fraction(20, 100), "of the line")
CVT_SYNC_SHARE = _of_cvt("horizontal sync", Fraction(8, 100), "of the line")
CVT_CLOCK_STEP = _of_cvt("clock step", 250_000, "Hz")
CVT_RB_BLANK_TIME = _of_cvt("reduced: shortest vertical blanking", Fraction(460, 1_000_000), "s")
CVT_RB_LINE = Constant(
    name="CVT reduced: front porch, sync, back porch", value=(48, 32, 80), unit="samples", source=_CVT
)
CVT_RB2_LINE = Constant(
    name="CVT reduced, version 2: front porch, sync, back porch", value=(8, 32, 40), unit="samples", source=_CVT
)
CVT_RB2_SYNC_BACK = Constant(
    name="CVT reduced, version 2: vertical sync, back porch", value=(8, 6), unit="lines", source=_CVT
)
CVT_RB2_CLOCK_STEP = _of_cvt("reduced, version 2: clock step", 1000, "Hz")

GTF_CELL = _of_gtf("cell", 8, "samples")
GTF_FRONT_LINES = _of_gtf("vertical front porch", 1, "lines")
GTF_SYNC_LINES = _of_gtf("vertical sync", 3, "lines")
GTF_SYNC_BACK_TIME = _of_gtf("shortest vertical sync and back porch", Fraction(550, 1_000_000), "s")
GTF_DUTY_OFFSET = _of_gtf("blanking duty cycle C'", Fraction(30, 100), "of the line")
GTF_DUTY_SLOPE = _of_gtf("blanking duty cycle M'", 3000, "of the line, a second of its duration")
GTF_SYNC_SHARE = _of_gtf("horizontal sync", Fraction(8, 100), "of the line")

BROADCAST_SYNC_LINES = Constant(
    name="vertical sync of 525 and 625 lines, in whole lines",
    value=3,
    unit="lines",
    source=Source(
        document="CTA-861", where="video codes 6 to 9 and 21 to 24", mark=Mark.VERIFIED, note="equal to them"
    ),
)
ANALOGUE_ACTIVE_SAMPLES = Constant(
    name="analogue active line, 525 and 625 lines",
    value=(711, 702),
    unit="samples of 13.5 MHz",
    source=Source(
        document="SMPTE 170M; Recommendation ITU-R BT.1700", mark=Mark.SECONDARY, note="710.85 in whole samples; 52 us"
    ),
)

# --- Scan rates of sets ---------------------------------------------------------------------------------

_SETS = Source(document="no document", mark=Mark.PRACTICE, note="the custom of the trade; the set's own range decides")
SET_15K_LINE_RATE_HZ = Constant(
    name="highest line rate for a set made for 15 kHz", value=15_800, unit="Hz", source=_SETS
)
SET_15K_LOWEST_LINE_RATE_HZ = Constant(
    name="lowest line rate for a set made for 15 kHz", value=15_500, unit="Hz", source=_SETS
)
SET_15K_FIELD_RATE_HZ = Constant(name="highest field rate for a set made for 15 kHz", value=62, unit="Hz", source=_SETS)
LOWEST_FIELD_RATE_HZ = Constant(name="vertical rate below which a caution is given", value=48, unit="Hz", source=_SETS)

# --- How even a field is --------------------------------------------------------------------------------

SRGB_TO_XYZ = Constant(
    name="linear sRGB to XYZ, rows X, Y, Z",
    value=(
        (Fraction("0.4124"), Fraction("0.3576"), Fraction("0.1805")),
        (Fraction("0.2126"), Fraction("0.7152"), Fraction("0.0722")),
        (Fraction("0.0193"), Fraction("0.1192"), Fraction("0.9505")),
    ),
    unit="ratio",
    source=Source(
        document="IEC 61966-2-1", mark=Mark.VERIFIED, note="equal to colour-science 0.4.7 RGB_COLOURSPACES['sRGB']"
    ),
)
_ISO_12646 = Source(document="ISO 12646", mark=Mark.SECONDARY, note="displays for colour proofing")
EVEN_LUMINANCE = Constant(
    name="largest difference in luminance from the centre", value=Fraction(1, 10), unit="ratio", source=_ISO_12646
)
EVEN_NEUTRAL_UV = Constant(
    name="largest difference of a neutral in u'v' from the centre",
    value=Fraction("0.01"),
    unit="u'v'",
    source=_ISO_12646,
)
_ISO_9241_303 = Source(document="ISO 9241-303", mark=Mark.SECONDARY, note="as quoted in NUREG-0700, revision 3")
EVEN_SCREEN_UV = Constant(
    name="largest difference in u'v' over the screen", value=Fraction("0.03"), unit="u'v'", source=_ISO_9241_303
)
EVEN_SMALL_AREA_UV = Constant(
    name="largest difference in u'v' in a small area", value=Fraction("0.02"), unit="u'v'", source=_ISO_9241_303
)
USUAL_FALL_OFF = Constant(
    name="fall-off of a tube's luminance to the corners",
    value=(Fraction("0.15"), Fraction("0.30")),
    unit="ratio",
    source=Source(document="no document", mark=Mark.PRACTICE, note="usual for picture tubes"),
)

# --- What a good set may be off -------------------------------------------------------------------------

LINE_LENGTHS = Constant(
    name="largest difference in length of rows or of columns",
    value=Fraction(1, 100),
    unit="ratio",
    source=_ISO_9241_303,
)
PHOSPHOR_XY = Constant(
    name="tolerance of a primary in x and in y",
    value=Fraction("0.005"),
    unit="x, y",
    source=Source(document="SMPTE RP 145", mark=Mark.MEMORY),
)
MONITOR_GAMMA = Constant(
    name="gamma of a monitor of the first grade, least and most",
    value=(Fraction("2.3"), Fraction("2.5")),
    unit="ratio",
    source=Source(document="EBU Tech 3320", mark=Mark.SECONDARY, note="2.4 within 0.10, standard dynamic range"),
)

ALL: tuple[Constant[Any], ...] = tuple(item for item in list(globals().values()) if isinstance(item, Constant))
"""Every constant of this module, in order."""
