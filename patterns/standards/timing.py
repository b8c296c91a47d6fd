"""Times and rates: response, edges, the line's waveform, discs, flashing pictures, free modes and sets."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, TypeVar

from patterns.sources import Constant, Mark, Source

T = TypeVar("T")

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

DISC_SECTORS = Constant(
    name="disc of one layer",
    value=2_295_104,
    unit="sectors",
    source=Source(document="ECMA-267", mark=Mark.MEMORY, note="as recorders report it; 4.7e9 bytes"),
)
DISC_SECTOR_BYTES = Constant(name="disc, a sector", value=2048, unit="bytes", source=_DISC)
DISC_CHAPTERS = Constant(name="disc, most chapters of a title", value=99, unit="chapters", source=_DISC)

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


ALL: tuple[Constant[Any], ...] = tuple(item for item in list(globals().values()) if isinstance(item, Constant))
"""Every constant of this module, in order."""
