"""A format as JSON, for `formats`, `timing` and a kit's manifest."""

from __future__ import annotations

from typing import Any

from patterns.formats import Format
from trueraster.output.terminal import number

__all__ = ["format_json", "ratio"]


def ratio(value: Any) -> str:
    """A Fraction as '4:3'."""
    return f"{value.numerator}:{value.denominator}"


def format_json(fmt: Format) -> dict[str, Any]:
    """A format as the JSON of `formats` and `timing` has it; timing keys are null for a free raster."""
    timing = fmt.timing
    answer: dict[str, Any] = {
        "id": fmt.id,
        "title": fmt.title,
        "width": fmt.width,
        "height": fmt.height,
        "picture": {
            "left": fmt.picture.left,
            "top": fmt.picture.top,
            "width": fmt.picture.width,
            "height": fmt.picture.height,
        },
        "picture_aspect": ratio(fmt.picture_aspect),
        "sample_aspect": ratio(fmt.sample_aspect),
        "interlaced": fmt.interlaced,
        "field_order": fmt.field_order.value,
        "frame_rate_hz": number(fmt.frame_rate, 9),
        "frame_rate": f"{fmt.frame_rate.numerator}/{fmt.frame_rate.denominator}",
        "field_rate_hz": number(fmt.field_rate, 9),
        "pixel_clock_hz": None,
        "line_rate_hz": None,
        "h": None,
        "v": None,
        "modeline": None,
        "cautions": list(fmt.cautions),
    }
    if timing is not None:
        names = ("active", "front_porch", "sync", "back_porch", "total")
        answer |= {
            "pixel_clock_hz": number(timing.pixel_clock_hz, 6),
            "line_rate_hz": number(timing.line_rate_hz, 6),
            "h": {key: getattr(timing.h, key) for key in names},
            "v": {key: getattr(timing.v, key) for key in names},
            "v_second": {key: getattr(timing.v_second, key) for key in names} if timing.v_second else None,
            "total_lines": timing.total_lines,
            "first_active_lines": list(timing.first_active_lines),
            "modeline": timing.modeline(fmt.id),
            "source": str(timing.source),
        }
    return answer
