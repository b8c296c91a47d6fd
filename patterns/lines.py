"""The lines of a frame as the system counts them: which row of the raster each carries, and where fields begin."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from patterns.formats import Format
from patterns.timing import FieldOrder, FormatError, Timing

__all__ = ["FieldSpan", "check_line", "field_of", "field_span", "line_of", "row_of", "sync_start", "timing_of"]


def timing_of(fmt: Format) -> Timing:
    """The format's timing.

    Raises:
        FormatError: it has none, because the player or the computer chooses it.
    """
    if fmt.timing is None:
        raise FormatError(f"format {fmt.id}: a raster without a timing has no waveform; use a named format")
    return fmt.timing


def check_line(fmt: Format, line: int) -> int:
    """The line, if the system has it. Raises FormatError for any other number."""
    total = timing_of(fmt).total_lines
    if not 1 <= line <= total:
        raise FormatError(f"line {line}: {fmt.id} has lines 1 to {total}")
    return line


def row_of(fmt: Format, line: int) -> int | None:
    """The raster row, from 0 at the top, that `line` carries; None in the vertical blanking."""
    timing = timing_of(fmt)
    for field, first in enumerate(timing.first_active_lines):
        if 0 <= line - first < timing.v.active:
            return (line - first) * fmt.fields_per_frame + _top_row(fmt, field)
    return None


def line_of(fmt: Format, row: int) -> int:
    """The line that carries raster row `row`."""
    timing, fields = timing_of(fmt), fmt.fields_per_frame
    field = next(i for i in range(fields) if _top_row(fmt, i) == row % fields)
    return timing.first_active_lines[field] + row // fields


def _top_row(fmt: Format, field: int) -> int:
    """The first row of the first (0) or second field."""
    return field if fmt.field_order is not FieldOrder.BOTTOM else 1 - field


@dataclass(frozen=True, slots=True)
class FieldSpan:
    """Where a field, or a progressive frame, lies: in lines from the start of line 1; half a line is possible."""

    start: Fraction
    stop: Fraction


def field_span(fmt: Format, field: int | None) -> FieldSpan:
    """The first field (1), the second (2), or the whole frame (None).

    The first field begins with line 1; the second half a frame later, which is in the middle of a line.

    Raises:
        FormatError: a progressive format has no fields.
    """
    total = Fraction(timing_of(fmt).total_lines)
    if field is None:
        return FieldSpan(Fraction(0), total)
    if not fmt.interlaced:
        raise FormatError(f"format {fmt.id} is progressive and has no fields; ask for the frame")
    return FieldSpan(total / 2 * (field - 1), total / 2 * field)


def field_of(fmt: Format, line: int) -> int:
    """The field in which `line` begins, 1 or 2; 1 when progressive."""
    return 2 if fmt.interlaced and 2 * (line - 1) >= timing_of(fmt).total_lines else 1


def sync_start(fmt: Format, field: int) -> Fraction:
    """Where the broad pulses of field 1 or 2 begin, in lines from the start of line 1.

    Before line 1 it is negative. The second field's begin in the middle of a line.
    """
    timing = timing_of(fmt)
    v = timing.v if field == 1 else timing.v_second
    assert v is not None
    first = timing.first_active_lines[field - 1]
    return first - 1 - v.back_porch - v.sync + Fraction(field - 1, 2)
