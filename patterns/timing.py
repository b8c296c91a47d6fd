"""The scan of a format: porches, sync, line and field rates, field order, mode line. All exact."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from patterns.sources import Source
from patterns.standards.timing import SET_15K_LINE_RATE_HZ

__all__ = ["FieldOrder", "FormatError", "Interval", "Timing", "field_order", "shown"]


class FormatError(ValueError):
    """A format or an aspect that cannot be used. The message is one line: what was given, what is allowed."""


def shown(text: str) -> str:
    """The text in quotes, on one line and short enough for a message."""
    return repr(text if len(text) <= 60 else text[:57] + "...")


class FieldOrder(StrEnum):
    """Which field is shown first, or that there are no fields. TOP holds the raster's lines 0, 2, 4, ..."""

    PROGRESSIVE = "progressive"
    TOP = "top"
    BOTTOM = "bottom"


def field_order(first_active_lines: tuple[int, ...], total_lines: int) -> FieldOrder:
    """Return which field is on top, from the system's line numbers at which the active fields start.

    A second field that starts more than half a frame after the first lies below it.
    """
    if len(first_active_lines) < 2:
        return FieldOrder.PROGRESSIVE
    first, second = first_active_lines
    return FieldOrder.TOP if 2 * (second - first) > total_lines else FieldOrder.BOTTOM


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """One line in samples, or one field or frame in lines: the active part, then the blanking in order."""

    active: int
    front_porch: int
    sync: int
    back_porch: int

    @property
    def total(self) -> int:
        return self.active + self.front_porch + self.sync + self.back_porch


@dataclass(frozen=True, slots=True, kw_only=True)
class Timing:
    """The scan of a format, exact.

    `h` is in samples, `v` in lines of the first field (of the frame when progressive), `v_second` in lines of
    the second field. An interlaced frame has an odd number of lines and its fields start half a line apart;
    as in linux/v4l2-dv-timings.h the intervals are written in whole lines, and each field's front porch and
    sync come before its active lines. `first_active_lines` uses the system's own line numbers, a field each.
    With tri-level sync `h.sync` is the positive half of the pulse. `sync_positive` is the polarity of horizontal
    sync, and of vertical sync too unless `v_sync_positive` says another. `video_codes` are those of CTA-861, first
    for the lowest aspect.
    """

    pixel_clock_hz: Fraction
    h: Interval
    v: Interval
    v_second: Interval | None
    total_lines: int
    sync_positive: bool
    first_active_lines: tuple[int, ...]
    source: Source
    v_sync_positive: bool | None = None
    video_codes: tuple[int, ...] = ()

    @property
    def polarity(self) -> tuple[bool, bool]:
        """Whether horizontal and vertical sync are positive."""
        vertical = self.v_sync_positive
        return self.sync_positive, self.sync_positive if vertical is None else vertical

    @property
    def line_rate_hz(self) -> Fraction:
        return self.pixel_clock_hz / self.h.total

    @property
    def is_15k(self) -> bool:
        """Whether the lines are no faster than a set made for 15 kHz takes: broadcast before 480p, and the like."""
        return self.line_rate_hz <= SET_15K_LINE_RATE_HZ.value

    @property
    def frame_rate_hz(self) -> Fraction:
        return self.line_rate_hz / self.total_lines

    @property
    def field_rate_hz(self) -> Fraction:
        """Fields a second; the frame rate when progressive."""
        return self.frame_rate_hz * (1 if self.v_second is None else 2)

    def modeline(self, name: str) -> str:
        """Return an X11 mode line; vertical figures are in lines of the frame, the clock in MHz.

        Raises FormatError when the name cannot stand between quotes on one line.
        """
        if not name or '"' in name or not name.isprintable():
            raise FormatError(f"a mode's name must be printable and without quotes, got {shown(name)}")
        fields = 1 if self.v_second is None else 2
        hertz = math.floor(self.pixel_clock_hz + Fraction(1, 2))
        h_end = self.h.active + self.h.front_porch
        v_active = self.v.active * fields
        v_end = v_active + self.v.front_porch * fields
        figures = (
            *(self.h.active, h_end, h_end + self.h.sync, self.h.total),
            *(v_active, v_end, v_end + self.v.sync * fields, self.total_lines),
        )
        signs = ["+" if positive else "-" for positive in self.polarity]
        flags = ("interlace " if fields == 2 else "") + f"{signs[0]}hsync {signs[1]}vsync"
        clock = f"{hertz // 1_000_000}.{hertz % 1_000_000:06d}"
        return f'Modeline "{name}" {clock} {" ".join(map(str, figures))} {flags}'
