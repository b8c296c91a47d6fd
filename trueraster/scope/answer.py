"""A waveform in words, as JSON and as CSV."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from textwrap import wrap
from typing import Any

import numpy as np

from analysis.rounding import counted
from analysis.waveform.interface import SYNC_KEY, SignalKind, TraceKind
from analysis.waveform.reading import EndBy, Part, line_times, parts, read_sync
from patterns.formats import Family
from patterns.lines import field_of, field_span, row_of, sync_start, timing_of
from patterns.placement import patch_area
from patterns.standards.levels import IRE_MV, WHITE_525_MV
from patterns.standards.timing import FILTER_601_MHZ, FILTER_709_MHZ
from patterns.sync import SyncKind, sync_of
from patterns.syncpulses import equalising_count, line_pulses, sync_rise
from trueraster.output.terminal import columns, number
from trueraster.scope.notes import scope_notes
from trueraster.scope.request import View

__all__ = ["csv_chunks", "scope_json", "scope_note", "scope_text", "scope_title"]

_SIGNALS = {
    SignalKind.YPBPR: "Y'P'BP'R",
    SignalKind.RGB: "R'G'B'",
    SignalKind.COMPOSITE: "luma of composite",
}


_WIDTH = 100

_NO_EDGE = (
    "In brackets: the trace is flat from or to there, but there is no edge to measure. So the duration of this part is"
    " not available."
)
_BY_TIMING = "Where blanking meets a picture that is black or not flat, the time is the format's own."


def _ire(millivolts: float | None) -> float | None:
    return None if millivolts is None else millivolts / float(IRE_MV.value)


def _has_ire(view: View) -> bool:
    return view.interface.white_mv == WHITE_525_MV.value


def _where(view: View) -> str:
    fmt, field = view.format, view.wanted.field
    if view.line is not None:
        own = f" (field {field_of(fmt, view.line)})" if fmt.interlaced else ""
        return f"line {view.line} of {timing_of(fmt).total_lines}{own}"
    return f"field {field}" if field else "frame"


def scope_title(view: View) -> str:
    """Which waveform it is, on one line."""
    shown = view.wave.traces
    words = _SIGNALS[view.interface.signal] if len(shown) > 1 or shown[0].key == "luma" else shown[0].name
    return f"{view.name} in {view.format.id}, {_where(view)}: {words}"


def scope_note(view: View) -> str:
    """Levels and sync, on one line."""
    interface = view.interface
    sync = sync_of(view.format)
    on = ", ".join(kind.name for kind in interface.traces if kind.has_sync)
    tip = f"{float(interface.sync_mv):.4g}"
    if sync.kind is SyncKind.TRI_LEVEL:
        tip = tip.replace("-", "±")
    words = f"White {float(interface.white_mv):.4g} mV, {sync.kind} sync of {tip} mV"
    words += " on a wire of its own" if on == "sync" else f" on {on}"
    if interface.setup_ire:
        words += f", setup {float(interface.setup_ire):g} IRE"
    elif _has_ire(view):
        words += ", no setup"
    if any(kind.is_difference for kind in view.wave.traces):
        words += f", colour difference ±{float(interface.difference_mv / 2):.4g} mV"
    return f"{words}, into 75 ohm; from the file's own samples through a reconstruction filter."


# --- JSON ------------------------------------------------------------------------------------------------


def scope_json(view: View, files: list[str]) -> dict[str, Any]:
    """The keys of `scope --json`; times in us from 0H, levels in mV from blanking."""
    fmt, interface, signal = view.format, view.interface, view.source.signal
    line, timing = view.line, timing_of(fmt)
    sync = sync_of(fmt)
    tri = sync.kind is SyncKind.TRI_LEVEL
    return {
        "pattern": None if view.is_file else view.name,
        "file": view.name if view.is_file else None,
        "format": fmt.id,
        "line": line,
        "field": field_of(fmt, line) if line is not None else view.wanted.field or None,
        "view": "line" if line is not None else "field" if view.wanted.field else "frame",
        "row": None if line is None else row_of(fmt, line),
        "signal": interface.signal.value,
        "setup_ire": number(interface.setup_ire),
        "sync": {"kind": sync.kind.value, "on": [kind.key for kind in interface.traces if kind.has_sync]},
        "levels_mv": {
            "white": number(interface.white_mv, 4),
            "black": number(interface.black_mv, 4),
            "blanking": 0,
            "sync": number(interface.sync_mv, 4),
            "sync_upper": number(-interface.sync_mv, 4) if tri else None,
            "difference_peak": number(interface.difference_mv / 2, 4)
            if any(kind.is_difference for kind in interface.traces)
            else None,
        },
        "pixel_clock_hz": number(timing.pixel_clock_hz, 6),
        "line_rate_hz": number(timing.line_rate_hz, 6),
        "times_us": _times_json(view),
        "measured_us": _measured_json(view) if line is not None else None,
        "vertical": _vertical_json(view) if line is None else None,
        "traces": [_trace_json(view, kind) for kind in view.wave.traces],
        "samples": {
            "bits": signal.bits,
            "range": signal.range.value,
            "sampling": signal.sampling.value,
            "matrix": signal.matrix.value,
        },
        "filter": _filter_json(view),
        "notes": scope_notes(view),
        "files": files,
    }


def _times_json(view: View) -> dict[str, Any]:
    times = line_times(view.format)
    rise = sync_rise(view.format) / timing_of(view.format).pixel_clock_hz * 10**6
    found = {
        "line": times.line,
        "front_porch": times.line + times.sync_start - times.active_stop,
        "sync": times.sync_stop - times.sync_start,
        "back_porch": times.active_start - times.sync_stop,
        "active": times.active_stop - times.active_start,
        "sync_start": times.sync_start,
        "sync_stop": times.sync_stop,
        "active_start": times.active_start,
        "active_stop": times.active_stop,
        "sync_rise": float(rise),
    }
    return {name: _rounded(value, 6) for name, value in found.items()}


def _measured_json(view: View) -> dict[str, Any] | None:
    assert view.line is not None
    kind = next((kind for kind in view.wave.traces if kind.has_sync), None)
    found = None if kind is None else read_sync(view.wave, kind)
    if found is None or kind is None or parts(view.wave, kind, view.line)[0].name != "sync":
        return None
    return {
        "sync_start": _rounded(found.start_us, 6),
        "sync_stop": _rounded(found.stop_us, 6),
        "sync": _rounded(found.stop_us - found.start_us, 6),
        "line": _rounded(found.period_us, 6),
    }


def _vertical_json(view: View) -> list[dict[str, Any]]:
    """The vertical syncs of the fields that are shown."""
    fmt = view.format
    timing = timing_of(fmt)
    fields = [view.wanted.field] if view.wanted.field else list(range(1, fmt.fields_per_frame + 1))
    clock, count = timing.pixel_clock_hz, equalising_count(fmt)
    found = []
    for field in fields:
        begin = sync_start(fmt, field)
        first = int(begin // 1) % timing.total_lines + 1
        half = 2 * (begin % 1)
        pulses = line_pulses(fmt, first)
        broad = max(pulses, key=lambda pulse: pulse.stop - pulse.start)
        length = Fraction(count, 2) if count else Fraction(timing.v.sync)
        found.append(
            {
                "field": field,
                "first_line": first,
                "begins": "mid-line" if half else "line",
                "lines": number(length),
                "equalising_pulses": count,
                "broad_us": number((broad.stop - broad.start) / clock * 10**6, 6),
                "field_us": number(1 / timing.field_rate_hz * 10**6, 6),
            }
        )
    return found


def _trace_json(view: View, kind: TraceKind) -> dict[str, Any]:
    values = view.wave.trace(kind)
    made: dict[str, Any] = {
        "key": kind.key,
        "name": kind.name,
        "lowest_mv": _rounded(float(values.min()), 3),
        "highest_mv": _rounded(float(values.max()), 3),
        "parts": None,
    }
    if view.line is not None:
        made["parts"] = [_part_json(view, part) for part in parts(view.wave, kind, view.line)]
    return made


def _patch_name(view: View, part: Part) -> str:
    """The name of the pattern's patch that a flat part of the picture lies in, or nothing."""
    row = None if view.line is None else row_of(view.format, view.line)
    if row is None or part.name != "picture":
        return ""
    clock_mhz = float(timing_of(view.format).pixel_clock_hz) / 1e6
    column = ((part.start_us + part.stop_us) / 2 - line_times(view.format).active_start) * clock_mhz
    spans = ((patch, patch_area(view.format, patch, 0, 0)) for patch in view.patches if not patch.sloped)
    found = (p.name for p, span in spans if span.left <= column < span.right and span.top <= row < span.bottom)
    return next(found, "")


def _part_json(view: View, part: Part) -> dict[str, Any]:
    ire = {"ire": _rounded(_ire(part.millivolts), 3)} if _has_ire(view) else {}
    return {
        "part": part.name,
        "patch": _patch_name(view, part) or None,
        "start_us": None if part.start_by is EndBy.NONE else _rounded(part.start_us, 4),
        "stop_us": None if part.stop_by is EndBy.NONE else _rounded(part.stop_us, 4),
        "duration_us": _rounded(part.duration_us, 4),
        "start_by": part.start_by.value,
        "stop_by": part.stop_by.value,
        "flat_from_us": _rounded(part.start_us, 4),
        "flat_to_us": _rounded(part.stop_us, 4),
        "mv": _rounded(part.millivolts, 3),
        "percent": _rounded(part.percent, 3) if part.name == "picture" else None,
        **ire,
    }


def _rounded(value: float | None, digits: int) -> float | None:
    """For JSON, without a minus before zero."""
    return None if value is None else round(value, digits) + 0.0


def _filter_json(view: View) -> dict[str, Any]:
    """The reconstruction filter, and the template that it is within."""
    scale = float(timing_of(view.format).pixel_clock_hz) / 1e6
    hd = view.format.family is Family.HD
    template = FILTER_709_MHZ if hd else FILTER_601_MHZ
    own = 74.25 if hd else 13.5
    flat, half, stop = (float(mhz) / own * scale for mhz in template.value)
    return {
        "kind": "band-limited interpolation, linear phase, droop of the converter corrected",
        "template": f"{template.source.document} ({template.source.mark})",
        "flat_to_mhz": round(flat, 4),
        "at_half_rate_mhz": round(half, 4),
        "at_half_rate_db": 12.7,
        "stop_from_mhz": round(stop, 4),
        "stop_db": 60,
        "points_per_sample": view.wave.points,
    }


# --- Words -----------------------------------------------------------------------------------------------


def scope_text(view: View) -> str:
    """The flat parts of a line as a table, or the vertical sync of a field."""
    rows = [scope_title(view), *wrap(scope_note(view), _WIDTH), ""]
    rows.append(_parts_table(view) if view.line is not None else _vertical_text(view))
    notes = [
        line for words in scope_notes(view) for line in wrap(f"Note: {words}.", _WIDTH, subsequent_indent="      ")
    ]
    return "\n".join([*rows, *(["", *notes] if notes else [])])


def _parts_table(view: View) -> str:
    assert view.line is not None
    with_ire = _has_ire(view)
    heading = ["trace", "part", "from us", "to us", "lasts us", "mV", "%"] + ["IRE"] * with_ire
    rows: list[list[str]] = [heading]
    listed: list[Part] = []
    for kind in view.wave.traces:
        of_trace = parts(view.wave, kind, view.line)
        listed += of_trace
        for i, part in enumerate(of_trace):
            cells = [kind.name if i == 0 else "", ", ".join(filter(None, (part.name, _patch_name(view, part))))]
            cells += [_end_words(part.start_us, part.start_by), _end_words(part.stop_us, part.stop_by)]
            cells.append(_figure(part.duration_us, 3))
            cells += [_figure(part.millivolts, 1), _figure(part.percent, 1) if part.name == "picture" else ""]
            rows.append(cells + [_figure(_ire(part.millivolts), 1)] * with_ire)
    table = columns(rows, right=tuple(range(2, len(heading))))
    span = [
        f"{kind.name} {_figure(float(values.min()), 1)} to {_figure(float(values.max()), 1)} mV"
        for kind in view.wave.traces
        for values in [view.wave.trace(kind)]
    ]
    ends = {by for part in listed for by in (part.start_by, part.stop_by)}
    moving = [
        kind.name
        for kind in view.wave.traces
        if view.wave.samples is not None
        and kind.key != SYNC_KEY
        and all(part.name != "picture" for part in parts(view.wave, kind, view.line))
    ]
    words = [f"No part of the picture is flat on {', '.join(moving)}; draw it with --to line.png."] * bool(moving)
    words += [_NO_EDGE] * (EndBy.NONE in ends) + [_BY_TIMING] * (EndBy.TIMING in ends)
    words.append(f"Lowest and highest, edges included: {', '.join(span)}.")
    return "\n".join([table, "", *(line for text in words for line in wrap(text, _WIDTH))])


def _end_words(value: float, by: EndBy) -> str:
    """A time of the table; in brackets if there is no edge."""
    return f"({_figure(value, 3)})" if by is EndBy.NONE else _figure(value, 3)


def _figure(value: float | None, digits: int) -> str:
    if value is None:
        return "-"
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if not text.strip("-0.") else text


def _vertical_text(view: View) -> str:
    fmt = view.format
    span = field_span(fmt, view.wanted.field or None)
    rows = [["vertical sync", "begins", "lasts", "its broad pulses", "equalising pulses", "field ms"]]
    for one in _vertical_json(view):
        rows.append(
            [
                f"field {one['field']}" if fmt.interlaced else "frame",
                f"line {one['first_line']}" + (", in the middle" if one["begins"] == "mid-line" else ""),
                f"{one['lines']:g} lines",
                f"{one['broad_us']:.2f} us",
                f"{one['equalising_pulses']} before, {one['equalising_pulses']} after"
                if one["equalising_pulses"]
                else "none",
                f"{one['field_us'] / 1000:.4f}",
            ]
        )
    shown = counted(int(span.stop - span.start), "line") if span.stop.denominator == 1 and not span.start else None
    half = f"{float(span.stop - span.start):g} lines"
    return columns(rows, right=(5,)) + f"\n\nShown: {shown or half}, and a few lines before and after."


# --- CSV -------------------------------------------------------------------------------------------------


def csv_chunks(view: View) -> Iterator[bytes]:
    """The trace as CSV: microseconds from 0H (of a field: from its start), then mV of each trace."""
    yield (",".join(["us", *(f"{kind.key}_mv" for kind in view.wave.traces)]) + "\n").encode()
    table = np.vstack([view.wave.times_us, view.wave.millivolts]).T
    if view.line is None:
        # A whole field has millions of points: those at the samples will do.
        table = table[view.wave.points // 2 :: view.wave.points]
    step = 20_000
    form = ",".join(["%.4f", *["%.3f"] * len(view.wave.traces)]) + "\n"
    for start in range(0, len(table), step):
        part = table[start : start + step]
        # No minus before zero.
        part = np.hstack([np.round(part[:, :1], 4), np.round(part[:, 1:], 3)]) + 0.0
        yield "".join([form % tuple(row) for row in part.tolist()]).encode()
