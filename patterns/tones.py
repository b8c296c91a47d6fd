"""What a format can resolve: the frequencies, pulse lengths and line counts of the response patterns.

Frequencies hold at the format's own sampling clock. TV lines are those of the picture rectangle: lines per picture
height, 2 f T / A with T the picture's time along a line and A its aspect (704 samples of 13.5 MHz are 4:3 here).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.formats import Family, Format
from patterns.signal import round_half_up
from patterns.standards.geometry import CLOCK_601_HZ
from patterns.standards.timing import (
    MULTIBURST_525_MHZ,
    MULTIBURST_625_MHZ,
    MULTIBURST_HD_MHZ,
    PROGRESSIVE_SCALE,
    PULSE_T_525_NS,
    PULSE_T_625_NS,
    PULSE_T_HD_NS,
)

__all__ = ["Tone", "bursts", "pulse_half_duration", "sweep_tones", "wedge_lines"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tone:
    """One frequency along the line. `hertz` is None where the raster has no clock of its own."""

    cycles_per_width: Fraction
    hertz: Fraction | None
    tv_lines: Fraction

    @classmethod
    def of_hertz(cls, fmt: Format, hertz: Fraction) -> Tone:
        assert fmt.timing is not None
        cycles = hertz * fmt.picture.width / fmt.timing.pixel_clock_hz
        return cls(cycles_per_width=cycles, hertz=hertz, tv_lines=2 * cycles / fmt.picture_aspect)

    @classmethod
    def of_cycles(cls, fmt: Format, cycles: Fraction) -> Tone:
        return cls(cycles_per_width=cycles, hertz=None, tv_lines=2 * cycles / fmt.picture_aspect)

    @property
    def words(self) -> tuple[str, ...]:
        """What stands below it: MHz where they are known, and TV lines."""
        lines = f"{round_half_up(self.tv_lines)} TVL"
        return (lines,) if self.hertz is None else (f"{float(self.hertz / 10**6):.4g} MHz", lines)


def _doubling(fmt: Format) -> int:
    """1 or 2: how many times the clock of the format's interlaced or 30-frame relative it has."""
    assert fmt.timing is not None
    base = 74_250_000 if fmt.family is Family.HD else CLOCK_601_HZ.value
    return PROGRESSIVE_SCALE.value if fmt.timing.pixel_clock_hz > Fraction(3, 2) * base else 1


def bursts(fmt: Format) -> tuple[Tone, ...]:
    """The six bursts of a format's multiburst, lowest first.

    A raster without a clock has those of high definition in parts of its width.
    """
    sets = {Family.SD525: MULTIBURST_525_MHZ, Family.SD625: MULTIBURST_625_MHZ}
    chosen = sets.get(fmt.family, MULTIBURST_HD_MHZ).value
    if fmt.timing is None:
        return tuple(Tone.of_cycles(fmt, Fraction(mhz) * fmt.picture.width / Fraction("74.25")) for mhz in chosen)
    return tuple(Tone.of_hertz(fmt, mhz * 10**6 * _doubling(fmt)) for mhz in chosen)


def sweep_tones(fmt: Format) -> tuple[Tone, ...]:
    """Where the sweep begins, each frequency that has a mark on it, and where it ends, in rising order."""
    marks = (
        (1, 5, 10, 15, 20, 25, 30, 31) if fmt.family in (Family.HD, Family.COMPUTER) else (Fraction(1, 2), *range(1, 7))
    )
    marks = (*marks, Fraction(25, 4)) if fmt.family in (Family.SD525, Family.SD625) else marks
    if fmt.timing is None:
        return tuple(Tone.of_cycles(fmt, Fraction(mhz) * fmt.picture.width / Fraction("74.25")) for mhz in marks)
    return tuple(Tone.of_hertz(fmt, Fraction(mhz) * 10**6 * _doubling(fmt)) for mhz in marks)


def pulse_half_duration(fmt: Format) -> tuple[Fraction, Fraction | None]:
    """Half-amplitude duration of the 2T pulse: in picture widths, and in ns where the raster has a clock."""
    if fmt.timing is None:
        # The share of a sample clock that the pulse of 74.25 MHz has.
        return 2 * PULSE_T_HD_NS.value * Fraction("74.25") / 1000 / fmt.picture.width, None
    sets = {Family.SD525: PULSE_T_525_NS, Family.SD625: PULSE_T_625_NS}
    nanoseconds = 2 * sets.get(fmt.family, PULSE_T_HD_NS).value / _doubling(fmt)
    return nanoseconds * fmt.timing.pixel_clock_hz / 10**9 / fmt.picture.width, nanoseconds


def wedge_lines(fmt: Format, *, vertical: bool) -> tuple[int, ...]:
    """The TV lines that a wedge is marked with, in even steps; `vertical` lines resolve along the width.

    The last is the highest step below 95 % of what the raster can hold.
    """
    limit = fmt.picture.width / fmt.picture_aspect if vertical else Fraction(fmt.picture.height)
    step = 200 if limit > 800 else 100 if limit > 250 else 50
    count = int(limit * Fraction(95, 100) // step)
    if count >= 2:
        return tuple(step * i for i in range(1, count + 1))
    # A raster of few lines: four steps of what there is.
    return tuple(max(1, int(limit * Fraction(95, 100) * i / 4)) for i in range(1, 5))
