"""Rasters by name: size, picture rectangle, scan, rate and timing, all exact.

The *raster* is what is coded. The *picture* is the rectangle in it that has the picture's aspect. Positions
are in samples and lines of the raster. `parse_format` also reads any `WxH[i|p]@RATE`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from types import MappingProxyType

from patterns.scancautions import scan_cautions
from patterns.sources import Mark, Source
from patterns.standards.geometry import CLOCK_601_HZ, PICTURE_601_SAMPLES, RASTER_601_SAMPLES
from patterns.timing import FieldOrder, FormatError, Interval, Timing, field_order, shown

__all__ = [
    "FORMATS",
    "Family",
    "FieldOrder",
    "Format",
    "FormatError",
    "Interval",
    "Rect",
    "Timing",
    "field_order",
    "format_words",
    "parse_aspect",
    "parse_format",
]

MIN_SIDE, MAX_SIDE = 2, 8192
MAX_SAMPLES = 36_000_000
MIN_RATE, MAX_RATE = 1, 1000
MIN_ASPECT, MAX_ASPECT = Fraction(1, 5), Fraction(5)


class Family(StrEnum):
    """The kind of system that a raster belongs to; it decides the usual matrix and primaries."""

    SD525 = "sd525"
    SD625 = "sd625"
    HD = "hd"
    COMPUTER = "computer"


@dataclass(frozen=True, slots=True, kw_only=True)
class Rect:
    """A rectangle of whole samples and lines; `right` and `bottom` lie just outside it."""

    left: int
    top: int
    width: int
    height: int

    @property
    def right(self) -> int:
        return self.left + self.width

    @property
    def bottom(self) -> int:
        return self.top + self.height


@dataclass(frozen=True, slots=True, kw_only=True)
class Format:
    """A raster with its picture, scan and rate.

    `sample_aspect` is a sample's width over the distance of the raster's lines, so it is exact on the glass
    for `picture_aspect`. `timing` is None where the player or the computer chooses it. An `id` may hold "/"
    when the rate is neither a trade rate nor a short decimal: see `parse_format`.
    """

    id: str
    title: str
    width: int
    height: int
    picture: Rect
    picture_aspect: Fraction
    sample_aspect: Fraction
    field_order: FieldOrder
    frame_rate: Fraction
    family: Family
    timing: Timing | None
    cautions: tuple[str, ...]

    @property
    def interlaced(self) -> bool:
        return self.field_order is not FieldOrder.PROGRESSIVE

    @property
    def fields_per_frame(self) -> int:
        """2 when interlaced, else 1."""
        return 2 if self.interlaced else 1

    @property
    def field_rate(self) -> Fraction:
        """Fields a second; the frame rate when progressive."""
        return self.frame_rate * self.fields_per_frame


# --- Spelling of rates and aspects ----------------------------------------------------------------------

# What the trade writes for the rates that are 1/1.001 of a whole number. The first spelling is canonical.
_TRADE_RATES = {
    "23.976": Fraction(24000, 1001),
    "23.98": Fraction(24000, 1001),
    "29.97": Fraction(30000, 1001),
    "59.94": Fraction(60000, 1001),
    "119.88": Fraction(120000, 1001),
}
_TRADE_VALUES = {Fraction(text): rate for text, rate in _TRADE_RATES.items()}
_TRADE_SPELLINGS = {rate: text for text, rate in reversed(_TRADE_RATES.items())}
_DECIMALS = 6

_NUMBER = r"[0-9]{1,9}(?:\.[0-9]{1,6})?"
_RATE = rf"{_NUMBER}|[0-9]{{1,9}}/[0-9]{{1,9}}"
_FREE = re.compile(rf"([0-9]{{1,9}})x([0-9]{{1,9}})([ip]?)(?:@({_RATE}))?")
_ASPECT = re.compile(rf"({_NUMBER})(?:[:/]({_NUMBER}))?")
_FREE_FORM = "WxH[i|p]@RATE such as 1024x768p@75"


def _parse_rate(text: str, given: str) -> Fraction:
    try:
        rate = Fraction(text)
    except ZeroDivisionError:
        raise FormatError(f"format {shown(given)}: the rate divides by 0; write it such as 60 or 60000/1001") from None
    rate = rate if "/" in text else _TRADE_VALUES.get(rate, rate)
    if not MIN_RATE <= rate <= MAX_RATE:
        raise FormatError(f"format {shown(given)}: the rate must be {MIN_RATE} to {MAX_RATE} Hz, got {text}")
    return rate


def _spell_rate(rate: Fraction) -> str:
    """The one spelling that `_parse_rate` reads back as the same value."""
    if rate in _TRADE_SPELLINGS:
        return _TRADE_SPELLINGS[rate]
    scaled = rate * 10**_DECIMALS
    if scaled.denominator > 1 or rate in _TRADE_VALUES:
        return f"{rate.numerator}/{rate.denominator}"
    whole, part = divmod(scaled.numerator, 10**_DECIMALS)
    return f"{whole}.{part:0{_DECIMALS}d}".rstrip("0").rstrip(".")


def _spell_aspect(aspect: Fraction) -> str:
    return f"{aspect.numerator}:{aspect.denominator}"


def _check_aspect(aspect: Fraction, given: str) -> Fraction:
    if not MIN_ASPECT <= aspect <= MAX_ASPECT:
        raise FormatError(f"aspect {given}: must be between 1:5 and 5:1")
    return aspect


def parse_aspect(text: str) -> Fraction:
    """Read a picture's aspect, width over height: '4:3', '16/9' or '1.85', from 1:5 to 5:1.

    Raises FormatError for any other text.
    """
    match = _ASPECT.fullmatch(text.strip())
    if match is None or (match[2] is not None and Fraction(match[2]) == 0):
        raise FormatError(f"aspect {shown(text)}: write it as 4:3, 16/9 or 1.85")
    return _check_aspect(Fraction(match[1]) / Fraction(match[2] or 1), shown(text))


# --- Titles ---------------------------------------------------------------------------------------------


def _title(width: int, height: int, order: FieldOrder, field_rate: Fraction, aspect: Fraction) -> str:
    rate = _TRADE_SPELLINGS.get(field_rate) or f"{float(field_rate):.6g}"
    if order is FieldOrder.PROGRESSIVE:
        scan = f"progressive, {rate} frames/s"
    else:
        scan = f"interlaced, {order} field first, {rate} fields/s"
    return f"{width} x {height}, {scan}, {_spell_aspect(aspect)}"


# --- Named formats --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Row:
    id: str
    vic: str
    size: tuple[int, int]
    clock_hz: Fraction | int
    h: tuple[int, int, int]
    v: tuple[int, int, int]
    v_second: tuple[int, int, int] | None
    first_lines: tuple[int, ...]


_C601 = CLOCK_601_HZ.value
_HD = 74_250_000
_HD_1001 = Fraction(_HD * 1000, 1001)
_P1080, _I1080, _I1080_2 = (4, 5, 36), (2, 5, 15), (2, 5, 16)

# Columns: name, CTA-861 video codes, raster, clock in Hz, then front porch, sync and back porch of the line,
# of the first field or frame and of the second field, and the first active line of each field.
_ROWS = (
    _Row("240p", "8, 9", (720, 240), _C601, (16, 62, 60), (4, 3, 15), None, (22,)),
    _Row("288p", "23, 24", (720, 288), _C601, (12, 63, 69), (2, 3, 19), None, (23,)),
    _Row("480i", "6, 7", (720, 480), _C601, (16, 62, 60), (4, 3, 15), (4, 3, 16), (22, 285)),
    _Row("576i", "21, 22", (720, 576), _C601, (12, 63, 69), (2, 3, 19), (2, 3, 20), (23, 336)),
    _Row("480p", "2, 3", (720, 480), 2 * _C601, (16, 62, 60), (9, 6, 30), None, (43,)),
    _Row("576p", "17, 18", (720, 576), 2 * _C601, (12, 64, 68), (5, 5, 39), None, (45,)),
    _Row("720p50", "19", (1280, 720), _HD, (440, 40, 220), (5, 5, 20), None, (26,)),
    _Row("720p59.94", "4", (1280, 720), _HD_1001, (110, 40, 220), (5, 5, 20), None, (26,)),
    _Row("720p60", "4", (1280, 720), _HD, (110, 40, 220), (5, 5, 20), None, (26,)),
    _Row("1080i50", "20", (1920, 1080), _HD, (528, 44, 148), _I1080, _I1080_2, (21, 584)),
    _Row("1080i59.94", "5", (1920, 1080), _HD_1001, (88, 44, 148), _I1080, _I1080_2, (21, 584)),
    _Row("1080i60", "5", (1920, 1080), _HD, (88, 44, 148), _I1080, _I1080_2, (21, 584)),
    _Row("1080p23.976", "32", (1920, 1080), _HD_1001, (638, 44, 148), _P1080, None, (42,)),
    _Row("1080p24", "32", (1920, 1080), _HD, (638, 44, 148), _P1080, None, (42,)),
    _Row("1080p25", "33", (1920, 1080), _HD, (528, 44, 148), _P1080, None, (42,)),
    _Row("1080p29.97", "34", (1920, 1080), _HD_1001, (88, 44, 148), _P1080, None, (42,)),
    _Row("1080p30", "34", (1920, 1080), _HD, (88, 44, 148), _P1080, None, (42,)),
    _Row("1080p50", "31", (1920, 1080), 2 * _HD, (528, 44, 148), _P1080, None, (42,)),
    _Row("1080p59.94", "16", (1920, 1080), 2 * _HD_1001, (88, 44, 148), _P1080, None, (42,)),
    _Row("1080p60", "16", (1920, 1080), 2 * _HD, (88, 44, 148), _P1080, None, (42,)),
)

_KERNEL = "equal to linux/v4l2-dv-timings.h; the line at which vertical sync starts is from memory"
_START_601 = (
    "but the horizontal start is BT.601's (16/62/60), because the files' samples are BT.601 samples:"
    " CTA-861's 19/62/57 differs by 3 samples (0.22 us, 0.42 % of the width)"
)


def _source(row: _Row) -> Source:
    document, note = "CTA-861", _KERNEL
    if row.id in ("240p", "288p"):
        note = "vertical figures equal to two tables of CTA-861 modes; sync start line from memory"
    if row.id in ("240p", "480i"):
        document, note = "CTA-861; Recommendation ITU-R BT.601-7", f"{note}; {_START_601}"
    speed = " at 1/1.001 of the clock" if row.clock_hz in (_HD_1001, 2 * _HD_1001) else ""
    return Source(document=document, where=f"video code {row.vic}{speed}", mark=Mark.VERIFIED, note=note)


def _timing(row: _Row, family: Family) -> Timing:
    fields = 1 if row.v_second is None else 2
    width, lines = row.size[0], row.size[1] // fields

    def interval(active: int, porches: tuple[int, int, int]) -> Interval:
        return Interval(active=active, front_porch=porches[0], sync=porches[1], back_porch=porches[2])

    v = interval(lines, row.v)
    v_second = interval(lines, row.v_second) if row.v_second else None
    return Timing(
        pixel_clock_hz=Fraction(row.clock_hz),
        h=interval(width, row.h),
        v=v,
        v_second=v_second,
        total_lines=v.total + (v_second.total if v_second else 0),
        sync_positive=family is Family.HD,
        first_active_lines=row.first_lines,
        source=_source(row),
        video_codes=tuple(map(int, row.vic.split(", "))),
    )


def _with_aspect(base: Format, aspect: Fraction) -> Format:
    return replace(
        base,
        picture_aspect=aspect,
        sample_aspect=aspect * base.picture.height / base.picture.width,
        title=_title(base.width, base.height, base.field_order, base.field_rate, aspect),
    )


def _named(row: _Row) -> Format:
    width, height = row.size
    if width == RASTER_601_SAMPLES.value:
        family = Family.SD525 if height in (240, 480) else Family.SD625
        picture_width, aspect = PICTURE_601_SAMPLES.value, Fraction(4, 3)
    else:
        family, picture_width, aspect = Family.HD, width, Fraction(16, 9)
    timing = _timing(row, family)
    base = Format(
        id=row.id,
        title="",
        width=width,
        height=height,
        picture=Rect(left=(width - picture_width) // 2, top=0, width=picture_width, height=height),
        picture_aspect=aspect,
        sample_aspect=Fraction(1),
        field_order=field_order(timing.first_active_lines, timing.total_lines),
        frame_rate=timing.frame_rate_hz,
        family=family,
        timing=timing,
        cautions=scan_cautions(timing.v.active, timing.field_rate_hz, timing),
    )
    return _with_aspect(base, aspect)


FORMATS: Mapping[str, Format] = MappingProxyType({row.id: _named(row) for row in _ROWS})
"""The named formats in the order of the trade, SD as 4:3 and HD as 16:9."""


# --- Reading a format -----------------------------------------------------------------------------------


def parse_format(text: str, aspect: Fraction | None = None) -> Format:
    """Read a trade name such as '480i' in any case, or a free raster `WxH[i|p]@RATE`.

    `aspect` is the picture's width over height. SD names take 4:3 (the default) or 16:9 and HD names 16:9
    only; the id does not change. A free raster has square samples unless an aspect is given, its picture is
    the whole raster, it has no timing, and it stays free when a named format has the same raster and rate.
    Without a letter it is progressive. With `i` the rate is the FIELD rate, as in the trade:
    1920x1080i@59.94 has 30000/1001 frames a second. It is top field first and needs an even height.

    RATE is a number such as 60 or 75.5, or a fraction such as 60000/1001. 23.976 (23.98), 29.97, 59.94 and
    119.88 stand for 24000/1001 and so on; write 2997/50 for the decimal itself. The id of a free raster is
    the canonical spelling, `1024x768p@75`, and reads back as the same format.

    Raises FormatError for anything else than 2 to 8192 samples and lines, at most 36 million, at 1 to 1000 Hz.
    """
    name = text.strip().lower()
    if name in FORMATS:
        return _named_with_aspect(FORMATS[name], aspect)
    match = _FREE.fullmatch(name)
    if match is None:
        # Only a slip needs it; it takes 10 ms, a tenth of listing the patterns.
        import difflib

        close = difflib.get_close_matches(name[:60], FORMATS, n=4, cutoff=0.5)
        hint = f"did you mean {', '.join(close)}? " if close else ""
        raise FormatError(f"unknown format {shown(text)}: {hint}the formats are {', '.join(FORMATS)}, or {_FREE_FORM}")
    if match[4] is None:
        raise FormatError(f"format {shown(text)}: the rate is missing; write it as {_FREE_FORM}")
    width, height = int(match[1]), int(match[2])
    return _free(width, height, match[3] == "i", _parse_rate(match[4], text), aspect, text)


def _named_with_aspect(base: Format, aspect: Fraction | None) -> Format:
    if aspect is None or aspect == base.picture_aspect:
        return base
    if base.family is Family.HD or aspect != Fraction(16, 9):
        allowed = "16:9" if base.family is Family.HD else "4:3 or 16:9"
        raise FormatError(f"format {base.id} has the aspect {allowed}, got {_spell_aspect(aspect)}")
    return _with_aspect(base, aspect)


def _free(width: int, height: int, interlaced: bool, rate: Fraction, aspect: Fraction | None, given: str) -> Format:
    where = f"format {shown(given)}"
    if not (MIN_SIDE <= width <= MAX_SIDE and MIN_SIDE <= height <= MAX_SIDE):
        raise FormatError(f"{where}: width and height must be {MIN_SIDE} to {MAX_SIDE}, got {width}x{height}")
    if width * height > MAX_SAMPLES:
        raise FormatError(f"{where}: at most {MAX_SAMPLES} samples a frame, got {width * height}")
    if interlaced and height % 2:
        raise FormatError(f"{where}: an interlaced raster needs an even height, got {height}")
    if aspect is None:
        aspect = Fraction(width, height)
    else:
        _check_aspect(aspect, _spell_aspect(aspect))
    order = FieldOrder.TOP if interlaced else FieldOrder.PROGRESSIVE
    fields = 2 if interlaced else 1
    base = Format(
        id=f"{width}x{height}{'i' if interlaced else 'p'}@{_spell_rate(rate)}",
        title="",
        width=width,
        height=height,
        picture=Rect(left=0, top=0, width=width, height=height),
        picture_aspect=aspect,
        sample_aspect=Fraction(1),
        field_order=order,
        frame_rate=rate / fields,
        family=Family.COMPUTER,
        timing=None,
        cautions=scan_cautions(height // fields, rate, None),
    )
    return _with_aspect(base, aspect)


def format_words(fmt: Format) -> str:
    """A format as people write it, with its aspect where its name usually means another: '480i', '480i 16:9'."""
    aspect = fmt.picture_aspect
    return (
        fmt.id if aspect == parse_format(fmt.id).picture_aspect else f"{fmt.id} {aspect.numerator}:{aspect.denominator}"
    )
