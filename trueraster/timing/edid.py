"""The 128 bytes by which a display states its modes to a computer: VESA E-EDID 1.4, with the modes asked for only.

Field positions are from memory of the standard; every block made in tests passes edid-decode's conformity check.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from enum import StrEnum
from fractions import Fraction

from patterns.formats import Family, Format
from patterns.standards.colour import PRIMARIES_525, PRIMARIES_625, WHITE_D65
from patterns.timing import Interval, Timing

__all__ = ["KEPT_NAME", "Interface", "edid_block", "edid_notes", "offered"]

MOST_MODES = 3
"""A block has room for four descriptors, and one has to be the display's name."""

_SIZE = 128
_DESCRIPTOR = 18
_MAKER = "TRR"
"""Three letters of the bench's own; no claim to a registered maker."""
_MODEL_YEAR = 2020
"""Of no meaning here, but a field that has to hold a year."""
_GAMMA = Fraction("2.4")
"""Rec. ITU-R BT.1886, which describes the tube (from memory)."""
_CLOCK_STEP_HZ = 10_000
_LEAST_CLOCK_HZ = 10_000_000
"""Readers treat slower ones as damaged data, edid-decode too."""
_LEAST_DIGITAL_CLOCK_HZ = 25_000_000
"""Of DVI and HDMI, from memory."""
_INTERLACED_RASTERS = {(1920, 1080), *((width, height) for width in (720, 1440, 2880) for height in (480, 576))}
"""That Linux takes for interlaced ones of a frame's lines. From memory."""
_NAME_LENGTH = 13
KEPT_NAME = "trueraster"
"""The display's name where none is given."""


class Interface(StrEnum):
    """What the computer's output is: some drivers refuse the block of the other kind."""

    ANALOGUE = "analogue"
    DIGITAL = "digital"


def offered(timing: Timing) -> Timing:
    """The timing as the block has it: its clock is a whole number of 10 kHz, the nearest one."""
    steps = math.floor(timing.pixel_clock_hz / _CLOCK_STEP_HZ + Fraction(1, 2))
    return replace(timing, pixel_clock_hz=Fraction(steps * _CLOCK_STEP_HZ))


def edid_block(formats: Sequence[Format], *, interface: Interface, name: str = KEPT_NAME) -> bytes:
    """The block that offers the formats' timings, the first as the preferred one.

    Raises:
        ValueError: there are none or too many, one is there twice, has no timing or does not fit a descriptor, or the
            name is not up to 13 printable ASCII letters.
    """
    if not 1 <= len(formats) <= MOST_MODES:
        raise ValueError(f"an EDID block holds 1 to {MOST_MODES} modes, got {len(formats)}")
    if not (1 <= len(name) <= _NAME_LENGTH and name.isascii() and name.isprintable() and name == name.strip()):
        raise ValueError(f"an EDID's name is 1 to {_NAME_LENGTH} plain letters, figures and blanks, got {name[:40]!r}")
    timings = [_timing(fmt) for fmt in formats]
    modes = [_detailed(timing, fmt.id) for timing, fmt in zip(timings, formats, strict=True)]
    for i, mode in enumerate(modes):
        if mode in modes[:i]:
            raise ValueError(f"{formats[i].id}: an EDID block holds a mode once, and this one is there already")
    descriptors = [*modes, _text(0xFC, name)]
    limits = _range_limits(timings)
    if limits is not None and len(descriptors) < 4:
        descriptors.append(limits)
    block = b"".join(
        [
            bytes.fromhex("00ffffffffffff00"),
            _maker(_MAKER),
            # Another number for other modes, so that a computer does not mistake one set for another.
            (zlib.crc32(b"".join(modes)) & 0xFFFF).to_bytes(2, "little"),
            bytes(4),  # no serial number
            bytes([0xFF, _MODEL_YEAR - 1990, 1, 4]),
            _basics(formats[0], interface),
            _colours(formats[0].family),
            bytes(3),  # no established timings
            bytes([1, 1]) * 8,  # no standard timings
            b"".join(descriptors),
            _dummy() * (4 - len(descriptors)),
            bytes(1),  # no extension
        ]
    )
    assert len(block) == _SIZE - 1
    return block + bytes([-sum(block) % 256])


def edid_notes(formats: Sequence[Format], interface: Interface) -> Iterator[str]:
    """What the block cannot state, or the output may not do; a sentence each."""
    for fmt in formats:
        timing = _timing(fmt)
        asked = fmt.timing.pixel_clock_hz if fmt.timing else timing.pixel_clock_hz
        if timing.pixel_clock_hz != asked:
            parts = float(timing.pixel_clock_hz / asked - 1) * 1_000_000
            yield (
                f"{fmt.id}: an EDID has clocks in steps of 10 kHz, so it offers"
                f" {float(timing.pixel_clock_hz) / 1e6:.2f} MHz for {float(asked) / 1e6:.6f} ({parts:+.0f} parts in a"
                " million)."
            )
        if interface is Interface.DIGITAL and timing.pixel_clock_hz < _LEAST_DIGITAL_CLOCK_HZ:
            yield (
                f"{fmt.id}: digital outputs send no clock below 25 MHz. Ask for a wide raster, as"
                f" {_wide(fmt)} with --clock-min 25MHz."
            )

        if fmt.interlaced and (fmt.width, fmt.height) not in _INTERLACED_RASTERS:
            yield (
                f"{fmt.id}: an EDID states the lines of a field for an interlaced mode, and Linux doubles them only for"
                " rasters of CTA-861 (from memory): 720, 1440 or 2880 samples with 480 or 576 lines, and 1920x1080."
            )


def _wide(fmt: Format) -> str:
    assert fmt.timing is not None
    times = math.ceil(_LEAST_DIGITAL_CLOCK_HZ / fmt.timing.pixel_clock_hz)
    scan = "i" if fmt.interlaced else "p"
    return f"{fmt.width * times}x{fmt.height}{scan}@{float(fmt.field_rate):.5g}"


def _timing(fmt: Format) -> Timing:
    if fmt.timing is None:
        raise ValueError(f"{fmt.id}: a mode without a timing cannot be offered")
    return offered(fmt.timing)


def _maker(letters: str) -> bytes:
    code = 0
    for letter in letters:
        code = code * 32 + ord(letter) - ord("A") + 1
    return code.to_bytes(2, "big")


def _basics(fmt: Format, interface: Interface) -> bytes:
    """Input, shape of the picture, gamma and features."""
    # Analogue: 0.700 V of picture over 0.300 V of sync, separate syncs. Digital: nothing more is said.
    kind = 0x80 if interface is Interface.DIGITAL else 0x08
    aspect = fmt.picture_aspect
    if aspect >= 1:
        shape = (min(max(round(100 * aspect) - 99, 1), 255), 0)
    else:
        shape = (0, min(max(round(100 / aspect) - 99, 1), 255))
    # The first mode is the native one; RGB in colour. No formula may add modes.
    features = 0x02 if interface is Interface.DIGITAL else 0x0A
    return bytes([kind, *shape, round(100 * _GAMMA) - 100, features])


def _colours(family: Family) -> bytes:
    """The primaries that the system's tubes have: the set's own are not known."""
    points = (PRIMARIES_525 if family is Family.SD525 else PRIMARIES_625).value
    values = [math.floor(value * 1024 + Fraction(1, 2)) for value in (*points, *WHITE_D65.value)]
    low = 0
    for value in values:
        low = low << 2 | value & 3
    return low.to_bytes(2, "big") + bytes(value >> 2 for value in values)


def _detailed(timing: Timing, name: str) -> bytes:
    h, v = timing.h, timing.v
    if timing.pixel_clock_hz < _LEAST_CLOCK_HZ:
        times = math.ceil(_LEAST_CLOCK_HZ / timing.pixel_clock_hz)
        raise ValueError(
            f"{name}: a clock of {float(timing.pixel_clock_hz) / 1e6:g} MHz is read as a fault in an EDID, which"
            f" begins at 10 MHz; ask for {times} times the width or more"
        )
    clock = int(timing.pixel_clock_hz / _CLOCK_STEP_HZ)
    for words, value, most in _fields(clock, h, v):
        if not 1 <= value <= most:
            raise ValueError(f"{name}: an EDID block cannot hold its {words}, {value}: 1 to {most} fit")
    h_blank, v_blank = h.total - h.active, v.total - v.active
    flags = 0x18 | (0x80 if timing.v_second else 0) | timing.polarity[0] << 1 | timing.polarity[1] << 2
    return bytes(
        [
            *clock.to_bytes(2, "little"),
            *(h.active & 0xFF, h_blank & 0xFF, h.active >> 8 << 4 | h_blank >> 8),
            *(v.active & 0xFF, v_blank & 0xFF, v.active >> 8 << 4 | v_blank >> 8),
            *(h.front_porch & 0xFF, h.sync & 0xFF, (v.front_porch & 0xF) << 4 | v.sync & 0xF),
            h.front_porch >> 8 << 6 | h.sync >> 8 << 4 | v.front_porch >> 4 << 2 | v.sync >> 4,
            *(0, 0, 0),  # the picture's size is not known
            *(0, 0),  # no borders
            flags,
        ]
    )


def _fields(clock: int, h: Interval, v: Interval) -> Iterator[tuple[str, int, int]]:
    yield "clock in 10 kHz", clock, 0xFFFF
    yield "active samples", h.active, 0xFFF
    yield "horizontal blanking", h.total - h.active, 0xFFF
    yield "horizontal front porch", h.front_porch, 0x3FF
    yield "horizontal sync", h.sync, 0x3FF
    yield "active lines", v.active, 0xFFF
    yield "vertical blanking", v.total - v.active, 0xFFF
    yield "vertical front porch", v.front_porch, 0x3F
    yield "vertical sync", v.sync, 0x3F


def _text(tag: int, text: str) -> bytes:
    return bytes([0, 0, 0, tag, 0]) + (text + "\n").encode("ascii").ljust(_NAME_LENGTH)[:_NAME_LENGTH]


def _range_limits(timings: Sequence[Timing]) -> bytes | None:
    """The rates of the modes and no more, so that nothing else is tried; None where they do not fit the fields."""
    fields = [timing.field_rate_hz for timing in timings]
    lines = [timing.line_rate_hz / 1000 for timing in timings]
    clock = math.ceil(max(timing.pixel_clock_hz for timing in timings) / 10_000_000)
    bounds = [math.floor(min(fields)), math.ceil(max(fields)), math.floor(min(lines)), math.ceil(max(lines)), clock]
    if min(bounds) < 1 or max(bounds) > 0xFF:
        return None
    # 1: bare limits, no formula.
    return bytes([0, 0, 0, 0xFD, 0, *bounds, 1]) + b"\n".ljust(7)


def _dummy() -> bytes:
    return bytes([0, 0, 0, 0x10]).ljust(_DESCRIPTOR, b"\0")
