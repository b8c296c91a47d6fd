"""Levels: luma weights, codes, millivolts, and the levels of test signals."""

from __future__ import annotations

from dataclasses import replace
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

TONE_625_DBFS = Constant(
    name="tone for lining up, 625 lines and rates of 25",
    value=-18,
    unit="dB of full scale",
    source=Source(document="EBU R 68", mark=Mark.MEMORY),
)
TONE_525_DBFS = Constant(
    name="tone for lining up, 525 lines and other rates",
    value=-20,
    unit="dB of full scale",
    source=Source(document="SMPTE RP 155", mark=Mark.MEMORY),
)
TONE_HZ = Constant(
    name="frequency of the tone",
    value=1000,
    unit="Hz",
    source=Source(document="no document", mark=Mark.PRACTICE, note="usual for lining up levels of sound"),
)
SOUND_RATE_HZ = Constant(
    name="sampling frequency of sound with pictures",
    value=48000,
    unit="Hz",
    source=Source(document="AES5", mark=Mark.MEMORY),
)


ALL: tuple[Constant[Any], ...] = tuple(item for item in list(globals().values()) if isinstance(item, Constant))
"""Every constant of this module, in order."""
