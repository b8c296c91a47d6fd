"""Places: sample aspect ratios, safe areas, and how equal lines are."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, TypeVar

from patterns.sources import Constant, Mark, Source

T = TypeVar("T")

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

# --- What a good set may be off -------------------------------------------------------------------------

_ISO_9241_303 = Source(document="ISO 9241-303", mark=Mark.SECONDARY, note="as quoted in NUREG-0700, revision 3")
LINE_LENGTHS = Constant(
    name="largest difference in length of rows or of columns",
    value=Fraction(1, 100),
    unit="ratio",
    source=_ISO_9241_303,
)


ALL: tuple[Constant[Any], ...] = tuple(item for item in list(globals().values()) if isinstance(item, Constant))
"""Every constant of this module, in order."""
