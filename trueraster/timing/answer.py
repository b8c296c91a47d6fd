"""The timing of a format in words and as JSON."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from patterns.formats import Family, FieldOrder, Format
from patterns.modes.free import By
from patterns.modes.scan15k import broadcast_system
from patterns.standards.geometry import RASTER_601_SAMPLES
from patterns.standards.levels import (
    COLOUR_DIFFERENCE_PEAK_MV,
    COMPONENT_SYNC_MV,
    COMPONENT_WHITE_MV,
    COMPOSITE_625_MV,
    IRE_MV,
    OLD_525_DIFFERENCE_PEAK_MV,
    SETUP_IRE,
    SYNC_IRE,
    WHITE_525_MV,
)
from patterns.sync import SyncKind, sync_of
from patterns.timing import Interval, Timing
from trueraster.output.terminal import columns, number

__all__ = ["Scan", "timing_json", "timing_text"]

_PARTS = ("active", "front_porch", "sync", "back_porch", "total")
_WIDTH = 100
_SHOWN_OFF = Fraction(5, 100_000)
"""A missed rate is shown from here on: what two decimals of a per cent show."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """A format with its timing, and what it was made by: None for a named format, whose standard gives it."""

    format: Format
    timing: Timing
    by: By | None
    asked_hz: Fraction | None = None
    """The field rate that was asked for; None for a named format."""
    hint: str = ""
    """What the user may have meant instead."""

    @property
    def off(self) -> Fraction | None:
        """How far the field rate is from the one asked for, as a share of it."""
        return None if self.asked_hz is None else self.timing.field_rate_hz / self.asked_hz - 1

    @property
    def video_code(self) -> int | None:
        """Of CTA-861; a wide picture has the second one where there are two."""
        codes = self.timing.video_codes
        if not codes:
            return None
        return codes[-1] if self.format.picture_aspect == Fraction(16, 9) else codes[0]


# --- JSON ------------------------------------------------------------------------------------------------


def timing_json(scan: Scan) -> dict[str, Any]:
    """The keys of `timing --json`; times in us, levels in mV."""
    fmt, timing = scan.format, scan.timing
    sync = sync_of(fmt)
    target = broadcast_system(timing.field_rate_hz).line_rate_hz if scan.by is By.FIFTEEN_KHZ else None
    second = timing.v_second
    return {
        "format": fmt.id,
        "title": _title(scan),
        "by": "standard" if scan.by is None else scan.by.value,
        "width": fmt.width,
        "height": fmt.height,
        "picture_aspect": _aspect(fmt),
        "pixel_clock_hz": number(timing.pixel_clock_hz, 6),
        "line_rate_hz": number(timing.line_rate_hz, 6),
        "field_rate_hz": number(timing.field_rate_hz, 9),
        "frame_rate_hz": number(timing.frame_rate_hz, 9),
        "asked_field_rate_hz": number(scan.asked_hz, 9),
        "field_rate_off_percent": None if scan.off is None else number(100 * scan.off, 4),
        "interlaced": second is not None,
        "field_order": fmt.field_order.value,
        "h": _interval_json(timing.h),
        "h_us": _times_json(timing.h, 1 / timing.pixel_clock_hz),
        "v": _interval_json(timing.v),
        "v_us": _times_json(timing.v, 1 / timing.line_rate_hz),
        "v_second": _interval_json(second) if second else None,
        "total_lines": timing.total_lines,
        "first_active_lines": list(timing.first_active_lines),
        "last_active_lines": [first + timing.v.active - 1 for first in timing.first_active_lines],
        "sync": {
            "kind": sync.kind.value,
            "on": sync.on,
            "horizontal": _sign(sync.h_positive),
            "vertical": _sign(sync.v_positive),
            "negative_half_samples": sync.negative_half or None,
            "source": str(sync.source),
        },
        "levels_mv": [
            {key: number(value, 3) if isinstance(value, Fraction) else value for key, value in row.items()}
            for row in _levels(fmt, timing, sync.kind)
        ],
        "video_code": scan.video_code,
        "broadcast_line_rate_hz": number(target, 6),
        "modeline": timing.modeline(fmt.id),
        "source": str(timing.source),
        "cautions": list(fmt.cautions),
        "hint": scan.hint or None,
    }


def _interval_json(interval: Interval) -> dict[str, int]:
    return {name: getattr(interval, name) for name in _PARTS}


def _times_json(interval: Interval, unit: Fraction) -> dict[str, Any]:
    return {name: number(getattr(interval, name) * unit * 1_000_000, 6) for name in _PARTS}


def _sign(positive: bool) -> str:
    return "positive" if positive else "negative"


def _levels(fmt: Format, timing: Timing, kind: SyncKind) -> list[dict[str, Any]]:
    """Levels of each interface that the format's system has, in mV."""
    white, tip = Fraction(COMPONENT_WHITE_MV.value), Fraction(COMPONENT_SYNC_MV.value)
    upper = -tip if kind is SyncKind.TRI_LEVEL else None
    if fmt.family is Family.COMPUTER:
        return [_level_row("R'G'B', sync on G'", white, tip)]
    rows = [
        _level_row("Y' or R'G'B'", white, tip, upper=upper),
        _difference_row("P'B, P'R at 100 % colours", Fraction(COLOUR_DIFFERENCE_PEAK_MV.value)),
    ]
    # Composite, and the component levels of its time, end with 15 kHz.
    if not timing.is_15k:
        return rows
    if fmt.family is Family.SD625:
        return [*rows, _level_row("luma of composite", *map(Fraction, COMPOSITE_625_MV.value))]
    ire = IRE_MV.value
    white, tip, setup = WHITE_525_MV.value, SYNC_IRE.value * ire, SETUP_IRE.value * ire
    return [
        *rows,
        _level_row("luma of composite, no setup", white, tip),
        _level_row("luma of composite, 7.5 IRE setup", white, tip, black=setup),
        _level_row("older Y', 7.5 IRE setup", white, tip, black=setup),
        _difference_row("older P'B, P'R at 100 % colours", OLD_525_DIFFERENCE_PEAK_MV.value),
    ]


def _level_row(
    signal: str, white: Fraction, sync: Fraction | None, *, black: Fraction = Fraction(0), upper: Fraction | None = None
) -> dict[str, Any]:
    return {
        "signal": signal,
        "white": white,
        "black": black,
        "blanking": Fraction(0),
        "sync": sync,
        "sync_upper": upper,
        "lowest": None,
    }


def _difference_row(signal: str, peak: Fraction) -> dict[str, Any]:
    return _level_row(signal, peak, None) | {"lowest": -peak}


# --- Words -----------------------------------------------------------------------------------------------


def _title(scan: Scan) -> str:
    fmt, timing = scan.format, scan.timing
    if fmt.field_order is FieldOrder.PROGRESSIVE:
        words = f"progressive, {float(timing.frame_rate_hz):.3f} frames/s"
    else:
        words = f"interlaced, {fmt.field_order.value} field first, {float(timing.field_rate_hz):.3f} fields/s"
    return f"{fmt.id}: {fmt.width} x {fmt.height}, {words}"


_BY = {
    None: "the standard",
    By.CVT: "VESA CVT 1.2",
    By.CVT_RB: "VESA CVT 1.2, reduced blanking",
    By.CVT_RB2: "VESA CVT 1.2, reduced blanking version 2",
    By.GTF: "VESA GTF 1.1",
}


def timing_text(scan: Scan) -> str:
    """The timing as tables for the bench."""
    fmt, timing = scan.format, scan.timing
    parts = [_title(scan), "", _labelled(_rates(scan)), "", _line_table(timing), "", _field_table(timing), ""]
    sync = sync_of(fmt)
    signs = f"H {_sign(sync.h_positive)}, V {_sign(sync.v_positive)}"
    if sync.kind is SyncKind.TRI_LEVEL:
        sync_words = (
            f"tri-level, {sync.on}. The sync above is the positive half; the negative one is the last"
            f" {sync.negative_half} samples of the front porch, and the line counts from the middle between them. A"
            f" computer's output sends separate bi-level syncs instead: {signs}"
        )
    else:
        sync_words = f"bi-level, {sync.on}: {signs}"
    parts += [_labelled([("sync", sync_words)]), "", _levels_table(fmt, timing, sync.kind), ""]
    rows = [("mode line", timing.modeline(fmt.id)), ("source", str(timing.source))]
    rows += [("note", scan.hint)] if scan.hint else []
    rows += [("caution", text) for text in fmt.cautions]
    return "\n".join([*parts, _labelled(rows)])


def _rates(scan: Scan) -> list[tuple[str, str]]:
    timing = scan.timing
    rows = [("line rate", f"{float(timing.line_rate_hz) / 1000:.6f} kHz")]
    if timing.v_second:
        rows.append(("field rate", f"{float(timing.field_rate_hz):.6f} Hz"))
    rows.append(("frame rate", f"{float(timing.frame_rate_hz):.6f} Hz"))
    if scan.asked_hz is not None and scan.off is not None and abs(scan.off) >= _SHOWN_OFF:
        asked, got = float(scan.asked_hz), float(timing.field_rate_hz)
        rows.append(("asked", f"{asked:.6g} Hz, got {got:.6g} Hz: {float(100 * scan.off):+.2f} %"))
    rows += [
        ("clock", f"{float(timing.pixel_clock_hz) / 1e6:.6f} MHz"),
        ("picture", f"{_aspect(scan.format)} on the glass"),
        ("lines", f"{timing.total_lines} a frame, {_active_lines(timing)}{_from_sync(scan)}"),
        ("made by", _made_by(scan)),
    ]
    code = scan.video_code
    if code is not None:
        # Standard definition with interlace or half the lines is sent with each sample twice.
        doubled = scan.format.width == RASTER_601_SAMPLES.value and timing.is_15k
        rows.append(
            ("CTA-861", f"video code {code}" + (", which has doubled samples: 1440 at 27 MHz" if doubled else ""))
        )
    return rows


def _aspect(fmt: Format) -> str:
    return f"{fmt.picture_aspect.numerator}:{fmt.picture_aspect.denominator}"


def _active_lines(timing: Timing) -> str:
    spans = [f"{first} to {first + timing.v.active - 1}" for first in timing.first_active_lines]
    return f"active {' and '.join(spans)}"


def _from_sync(scan: Scan) -> str:
    """Only a standard has line numbers of its own."""
    return "" if scan.by is None else ", counted from the beginning of vertical sync"


def _made_by(scan: Scan) -> str:
    if scan.by is not By.FIFTEEN_KHZ:
        return _BY[scan.by]
    system = broadcast_system(scan.timing.field_rate_hz)
    off = f"{float(scan.timing.line_rate_hz - system.line_rate_hz):+.2f}"
    return (
        f"the line of {system.lines}-line broadcast, {float(system.line_rate_hz):.2f} Hz"
        f" (differs by {'0' if float(off) == 0 else off} Hz)"
    )


def _line_table(timing: Timing) -> str:
    rows = [("line", "samples", "us"), *_table_rows(timing.h, 1_000_000 / timing.pixel_clock_hz, ".3f")]
    return columns(rows, right=(1, 2))


def _field_table(timing: Timing) -> str:
    """In lines and ms; the second field beside the first."""
    unit, second = 1000 / timing.line_rate_hz, timing.v_second
    first = _table_rows(timing.v, unit, ".4f")
    if second is None:
        return columns([("frame", "lines", "ms"), *first], right=(1, 2))
    others = _table_rows(second, unit, ".4f")
    rows = [(*a, *b[1:]) for a, b in zip(first, others, strict=True)]
    table = columns([("field", "1: lines", "ms", "2: lines", "ms"), *rows], right=(1, 2, 3, 4))
    half = float(Fraction(timing.total_lines, 2))
    return f"{table}\nWhole lines are counted. Both fields last {half:g} lines: the half line interlaces them."


def _table_rows(interval: Interval, unit: Fraction, places: str) -> list[tuple[str, str, str]]:
    counts = [(name, getattr(interval, name)) for name in _PARTS]
    return [(name.replace("_", " "), str(count), format(float(count * unit), places)) for name, count in counts]


def _levels_table(fmt: Format, timing: Timing, kind: SyncKind) -> str:
    keys = ("white", "black", "blanking", "sync")
    rows = [("levels in mV", *keys)]
    for row in _levels(fmt, timing, kind):
        cells = ["" if row[key] is None else f"{float(row[key]):.1f}".removesuffix(".0") for key in keys]
        if row["sync_upper"] is not None:
            cells[3] += f" / +{float(row['sync_upper']):g}"
        if row["lowest"] is not None:
            cells[0] = f"±{cells[0]}"
            cells[1] = ""
        rows.append((row["signal"], *cells))
    return columns(rows, right=(1, 2, 3, 4))


def _labelled(rows: list[tuple[str, str]]) -> str:
    lines: list[str] = []
    for label, text in rows:
        head = f"{label:<11}"
        # A mode line is copied: it stays on one line.
        wrapped = [text] if label == "mode line" else textwrap.wrap(text, _WIDTH - 11)
        lines += [(head if i == 0 else " " * 11) + part for i, part in enumerate(wrapped)]
    return "\n".join(lines)
