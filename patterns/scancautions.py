"""What a scan may do to a set: the cautions that every format carries. Common practice, no source."""

from __future__ import annotations

from fractions import Fraction

from patterns.standards.timing import (
    LOWEST_FIELD_RATE_HZ,
    SET_15K_FIELD_RATE_HZ,
    SET_15K_LINE_RATE_HZ,
    SET_15K_LOWEST_LINE_RATE_HZ,
)
from patterns.timing import Timing

__all__ = ["scan_cautions"]


def scan_cautions(active_lines: int, field_rate: Fraction, timing: Timing | None) -> tuple[str, ...]:
    """What a set may not bear, a sentence or two each.

    `active_lines` are those of a field and `field_rate` is in Hz. Without a timing the line rate is known from below
    only, so nothing is said of one that may be too slow.
    """
    line_rate = active_lines * field_rate if timing is None else timing.line_rate_hz
    fast = line_rate > SET_15K_LINE_RATE_HZ.value
    lowest, most_fields = SET_15K_LOWEST_LINE_RATE_HZ.value, SET_15K_FIELD_RATE_HZ.value
    khz, hertz = f"{float(line_rate) / 1000:.3f} kHz", f"{float(field_rate):.5g} Hz"
    cautions: list[str] = []
    if timing is None:
        cautions.append(
            f"A raster alone has no timing. Its line rate is above {khz}: compare what the output sends"
            " with the set's stated range."
        )
    elif fast:
        cautions.append(f"Line rate {khz}: only for a set whose stated range has it.")
    elif line_rate < lowest:
        cautions.append(
            f"Line rate {khz}: below the {lowest / 1000:g} kHz from which a set made for 15 kHz scans. Do not feed it"
            " to one: it may not lock, and its deflection can be damaged."
        )
    if fast:
        cautions.append("Do not feed it to a set made for 15 kHz only: its deflection can be damaged.")
    elif timing is not None and timing.v_second is None:
        cautions.append(
            f"{timing.total_lines} whole lines a field, no interlace: not a broadcast signal, and some sets"
            " and converters do not accept it."
        )
    if field_rate < LOWEST_FIELD_RATE_HZ.value:
        cautions.append(f"Vertical rate {hertz}: it flickers on a tube, and many sets do not scan so slowly.")
    elif field_rate > most_fields and not fast:
        cautions.append(
            f"Vertical rate {hertz}: above the {most_fields} Hz to which a set made for 15 kHz scans. Do not feed it"
            " to one: the picture may roll, and its deflection can be damaged."
        )
    return tuple(cautions)
