"""The limits of H.264 levels, and the least level that a stream keeps.

Rec. ITU-T H.264, Annex A, for High profile: table A-1, clauses A.3.1 and A.3.3, table A-2; from memory. A player that
reads a level is made for its limits and may fail at what breaks one of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import chain

__all__ = ["BitsError", "LevelError", "Load", "Shape", "level_for", "most_references"]


class LevelError(ValueError):
    """A size and a rate that no level of the standard holds."""


class BitsError(LevelError):
    """More bits than a level holds that ordinary players are made for."""


@dataclass(frozen=True, slots=True)
class Level:
    """A row of table A-1. Level 1b is left out."""

    idc: int
    most_per_second: int
    """MaxMBPS: macroblocks per second."""
    most_per_frame: int
    """MaxFS: macroblocks per frame."""
    most_held: int
    """MaxDpbMbs: macroblocks of all pictures that are kept."""
    kilobits_per_second: int
    """MaxBR, in units of cpbBrVclFactor bits a second."""
    kilobits: int
    """MaxCPB, in the same units."""
    compression: int
    """MinCR."""

    @property
    def rate(self) -> int:
        """Bits a second in High profile."""
        return self.kilobits_per_second * _HIGH_FACTOR

    @property
    def buffer(self) -> int:
        """Bits of the coded picture buffer in High profile."""
        return self.kilobits * _HIGH_FACTOR


_HIGH_FACTOR = 1250
"""Bits in a unit of MaxBR and MaxCPB in High profile (cpbBrVclFactor, table A-2)."""
_LEVELS = tuple(
    Level(*row)
    for row in (
        (10, 1_485, 99, 396, 64, 175, 2),
        (11, 3_000, 396, 900, 192, 500, 2),
        (12, 6_000, 396, 2_376, 384, 1_000, 2),
        (13, 11_880, 396, 2_376, 768, 2_000, 2),
        (20, 11_880, 396, 2_376, 2_000, 2_000, 2),
        (21, 19_800, 792, 4_752, 4_000, 4_000, 2),
        (22, 20_250, 1_620, 8_100, 4_000, 4_000, 2),
        (30, 40_500, 1_620, 8_100, 10_000, 10_000, 2),
        (31, 108_000, 3_600, 18_000, 14_000, 14_000, 4),
        (32, 216_000, 5_120, 20_480, 20_000, 20_000, 4),
        (40, 245_760, 8_192, 32_768, 20_000, 25_000, 4),
        (41, 245_760, 8_192, 32_768, 50_000, 62_500, 2),
        (42, 522_240, 8_704, 34_816, 50_000, 62_500, 2),
        (50, 589_824, 22_080, 110_400, 135_000, 135_000, 2),
        (51, 983_040, 36_864, 184_320, 240_000, 240_000, 2),
        (52, 2_073_600, 36_864, 184_320, 240_000, 240_000, 2),
        (60, 4_177_920, 139_264, 696_320, 240_000, 240_000, 2),
        (61, 8_355_840, 139_264, 696_320, 480_000, 480_000, 2),
        (62, 16_711_680, 139_264, 696_320, 800_000, 800_000, 2),
    )
)
_RAW_BITS = 384 * 8
"""Bits of the samples of a macroblock, which MinCR divides."""
_MOST_REFERENCES = 16
"""Frames that a decoder keeps at the most (clause A.3.1)."""
_SHORTEST = Fraction(1, 172)
"""fR of a frame, in seconds: the least time that decoding a picture is counted as (clause A.3.3)."""
_USUAL = 41
"""The highest level used unless size and rate need more: common in players, and the last that has fields."""
_ORDINARY = 42
"""The highest level that ordinary players are made for (common practice, no source)."""
_INTERLACED_LEVELS = range(21, 42)
"""The levels that allow frame_mbs_only_flag equal to 0: 2.1 to 4.1 (table A-4)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shape:
    """What a level is chosen by, besides bits: rows and columns of macroblocks, frames a second, fields."""

    rows: int
    columns: int
    rate: Fraction
    interlaced: bool

    references: int = 1
    """Pictures that are kept to predict from."""

    @property
    def macroblocks(self) -> int:
        return self.rows * self.columns


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """What a group that comes again and again asks of a player.

    How often it comes again is not in it, so that a clip's length decides nothing.
    """

    sizes: tuple[int, ...]
    """Bits of each coded picture, in order; the first one stands alone."""
    whole: int
    """Pictures after which the first comes again, in a clip that is long enough. Those that are missing here are taken
    to be as large on average as the later ones."""

    @property
    def bits(self) -> Fraction:
        """Bits of the whole group."""
        later, count = sum(self.sizes[1:]), len(self.sizes)
        return self.sizes[0] + Fraction(later * (max(self.whole, count) - 1), max(1, count - 1))


def level_for(shape: Shape, load: Load) -> int:
    """level_idc: the first level whose limits are all kept.

    The bits may not come faster than MaxBR, whatever the length: a short clip, which the buffer would hold, gets no
    other coding than a long one of the same pattern.

    Raises:
        LevelError: there is none.
        BitsError: only the bits need a level that ordinary players do not know.
    """
    holding = _holding(shape)
    size = f"{16 * shape.columns} x {16 * shape.rows} at {shape.rate} frames per second"
    if not holding:
        raise LevelError(f"{size} is more than any level {'with fields ' if shape.interlaced else ''}holds")
    broken = ""
    for level in _usual(holding):
        broken = _broken(level, shape, load)
        if not broken:
            return level.idc
    raise BitsError(f"{size}: {broken}")


def most_references(shape: Shape) -> int:
    """How many pictures an ordinary player keeps to predict from; 0 where no level holds the shape."""
    holding = _holding(shape)
    return (
        min(_MOST_REFERENCES, max(level.most_held for level in _usual(holding)) // shape.macroblocks) if holding else 0
    )


def _usual(holding: list[Level]) -> list[Level]:
    """Those that ordinary players know, or all where the size needs more."""
    least = holding[0].idc
    highest = _USUAL if least <= _USUAL else _ORDINARY if least <= _ORDINARY else _LEVELS[-1].idc
    return [level for level in holding if level.idc <= highest]


def _holding(shape: Shape) -> list[Level]:
    """The levels that hold the size and the rate."""
    holding = []
    for level in _LEVELS:
        fits = shape.macroblocks <= level.most_per_frame
        narrow = max(shape.rows, shape.columns) ** 2 <= 8 * level.most_per_frame
        allowed = level.idc in _INTERLACED_LEVELS or not shape.interlaced
        if fits and narrow and allowed and shape.macroblocks * shape.rate <= level.most_per_second:
            holding.append(level)
    return holding


def _broken(level: Level, shape: Shape, load: Load) -> str:
    """The limit of the bits that is not kept, in words, or nothing."""
    if shape.references > min(_MOST_REFERENCES, level.most_held // shape.macroblocks):
        return f"{shape.references} pictures to predict from are more than it keeps"
    speed = load.bits * shape.rate / max(load.whole, len(load.sizes))
    if speed > level.rate:
        return f"{float(speed / 10**6):.0f} Mbit/s are more than players accept"
    if max(load.sizes) > level.buffer or not _flows(level, shape, load):
        return f"its pictures come faster than a buffer of {level.buffer // 10**6} Mbit fills"
    first = max(Fraction(shape.macroblocks), _SHORTEST * level.most_per_second)
    later = level.most_per_second / shape.rate
    if load.sizes[0] * level.compression > _RAW_BITS * first:
        return f"its first picture is less than {level.compression} times smaller than raw samples"
    if max(load.sizes[1:], default=0) * level.compression > _RAW_BITS * later:
        return f"a picture is less than {level.compression} times smaller than raw samples"
    return ""


def _flows(level: Level, shape: Shape, load: Load) -> bool:
    """Whether a buffer that is full at first and fills at the level's rate has each picture in time, twice through."""
    per_picture = Fraction(level.rate) / shape.rate
    missing = Fraction(0)
    for size in chain(load.sizes, load.sizes):
        missing = max(Fraction(0), missing - per_picture) + size
        if missing > level.buffer:
            return False
    return True
