"""Colour: code points in files, chromaticities, and how even a plain field is."""

from __future__ import annotations

from dataclasses import replace
from enum import IntEnum
from fractions import Fraction
from typing import Any, TypeVar

from patterns.sources import Constant, Mark, Source

T = TypeVar("T")

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

# --- From codes to light and back -----------------------------------------------------------------------


def _curve(name: str, document: str, where: str, values: str, attribute: str) -> Constant[tuple[Fraction, ...]]:
    return Constant(
        name=name,
        value=tuple(map(Fraction, values.split())),
        unit="ratio",
        source=Source(
            document=document, where=where, mark=Mark.VERIFIED, note=f"equal to colour-science 0.4.7, {attribute}"
        ),
    )


CAMERA_TRANSFER = _curve(
    "camera transfer: scale, power, slope near black, light where that ends",
    "Recommendation ITU-R BT.709-6",
    "item 1.2; BT.601-7 item 2.6.4 has the same",
    "1.099 0.45 4.5 0.018",
    "oetf_BT709",
)
SRGB_TRANSFER = _curve(
    "sRGB transfer: scale, power of the display, slope near black, light where that ends",
    "IEC 61966-2-1",
    "",
    "1.055 2.4 12.92 0.0031308",
    "eotf_inverse_sRGB",
)
REFERENCE_GAMMA = Constant(
    name="power of the reference display",
    value=Fraction("2.4"),
    unit="ratio",
    source=Source(
        document="Recommendation ITU-R BT.1886",
        where="Annex 1",
        mark=Mark.VERIFIED,
        note="equal to colour-science 0.4.7, eotf_BT1886 with black at 0",
    ),
)

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

PHOSPHOR_XY = Constant(
    name="tolerance of a primary in x and in y",
    value=Fraction("0.005"),
    unit="x, y",
    source=Source(document="SMPTE RP 145", mark=Mark.MEMORY),
)


ALL: tuple[Constant[Any], ...] = tuple(item for item in list(globals().values()) if isinstance(item, Constant))
"""Every constant of this module, in order."""
