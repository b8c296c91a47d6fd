"""The timing of a free raster: by CVT, by GTF, or at the line rate of a 15 kHz set."""

from __future__ import annotations

from dataclasses import replace
from enum import StrEnum

from patterns.formats import Format
from patterns.modes.cvt import Blanking, cvt
from patterns.modes.gtf import gtf
from patterns.modes.scan15k import Limits, solve
from patterns.scancautions import scan_cautions
from patterns.standards.timing import SET_15K_FIELD_RATE_HZ
from patterns.timing import Timing

__all__ = ["By", "usual_by", "with_timing"]

_TALLEST_15K_FIELD = 288
"""Active lines of a field up to which a raster is for a 15 kHz set: those of 576i."""
_REDUCED_CAUTION = "Reduced blanking leaves a tube too little time to fly back: it is meant for flat screens."


class By(StrEnum):
    """What a free raster's timing is made by."""

    CVT = Blanking.FULL.value
    CVT_RB = Blanking.REDUCED.value
    CVT_RB2 = Blanking.REDUCED_2.value
    GTF = "gtf"
    FIFTEEN_KHZ = "15khz"


def usual_by(fmt: Format) -> By:
    """What a raster is most likely meant by: rasters that a 15 kHz set can scan are for one, others go by CVT."""
    low = fmt.height // fmt.fields_per_frame <= _TALLEST_15K_FIELD
    return By.FIFTEEN_KHZ if low and fmt.field_rate <= SET_15K_FIELD_RATE_HZ.value else By.CVT


def with_timing(fmt: Format, by: By, limits: Limits) -> Format:
    """The format with a timing, its rate that of the timing and its cautions those of the scan.

    `limits` are what the 15 kHz family keeps to; the formulas do not see them.

    Raises:
        FormatError: there is no such timing.
    """
    timing = _timing(fmt, by, limits)
    cautions = scan_cautions(timing.v.active, timing.field_rate_hz, timing)
    if by in (By.CVT_RB, By.CVT_RB2):
        cautions = (_REDUCED_CAUTION, *cautions)
    return replace(fmt, timing=timing, frame_rate=timing.frame_rate_hz, cautions=cautions)


def _timing(fmt: Format, by: By, limits: Limits) -> Timing:
    width, height, rate, interlaced = fmt.width, fmt.height, fmt.field_rate, fmt.interlaced
    if by is By.GTF:
        return gtf(width, height, rate, interlaced=interlaced)
    if by is By.FIFTEEN_KHZ:
        return solve(width, height, rate, interlaced=interlaced, limits=limits)
    return cvt(width, height, rate, interlaced=interlaced, blanking=Blanking(by.value))
