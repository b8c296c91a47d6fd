"""`formats`: the rasters that have a name, with their timing."""

from __future__ import annotations

from typing import Any

import click

from patterns.formats import FORMATS, Format
from trueraster.options.shared import as_json_option
from trueraster.options.values import UsageError, format_of
from trueraster.output.terminal import columns, put_json, put_text
from trueraster.timing.formats import format_json, ratio

__all__ = ["formats"]


@click.command()
@click.argument("name", required=False, metavar="[ID]")
@click.option("--aspect", help="Picture aspect, such as 16:9.")
@as_json_option
def formats(name: str | None, aspect: str | None, as_json: bool) -> None:
    """List the formats, or show the timing of one."""
    if aspect is not None and name is None:
        raise UsageError("--aspect: give the format too, such as 'formats 480i --aspect 16:9'")
    chosen = list(FORMATS.values()) if name is None else [format_of(name, aspect)]
    if as_json:
        put_json({"formats": [format_json(fmt) for fmt in chosen]})
    elif name is None:
        heading = ("format", "raster", "scan", "frames/s", "fields/s", "line rate kHz", "aspect", "sample")
        put_text(columns([heading, *(_format_row(fmt) for fmt in chosen)], right=(3, 4, 5)))
        put_text("\nAny other raster: WxH[i|p]@RATE, such as 1024x768@60. 'trueraster formats ID' shows one.")
    else:
        put_text(_format_text(chosen[0]))


def _format_row(fmt: Format) -> tuple[str, ...]:
    return (
        fmt.id,
        f"{fmt.width}x{fmt.height}",
        "interlaced" if fmt.interlaced else "progressive",
        f"{float(fmt.frame_rate):.3f}",
        f"{float(fmt.field_rate):.3f}" if fmt.interlaced else "",
        f"{float(fmt.timing.line_rate_hz) / 1000:.3f}" if fmt.timing else "",
        ratio(fmt.picture_aspect),
        ratio(fmt.sample_aspect),
    )


def _format_text(fmt: Format) -> str:
    picture = fmt.picture
    rows = [
        ("raster", f"{fmt.width} x {fmt.height}, sample aspect {ratio(fmt.sample_aspect)}"),
        (
            "picture",
            f"{picture.width} x {picture.height} at {picture.left},{picture.top}, {ratio(fmt.picture_aspect)}",
        ),
        ("scan", "progressive" if not fmt.interlaced else f"interlaced, {fmt.field_order.value} field first"),
        ("frames/s", f"{fmt.frame_rate} = {float(fmt.frame_rate):.6f}"),
    ]
    if fmt.interlaced:
        rows.append(("fields/s", f"{fmt.field_rate} = {float(fmt.field_rate):.6f}"))
    timing = fmt.timing
    if timing is None:
        rows.append(("timing", f"no standard has this raster; 'trueraster timing {fmt.id}' makes porches and sync"))
    else:
        rows += [
            ("line rate", f"{float(timing.line_rate_hz) / 1000:.6f} kHz"),
            ("clock", f"{float(timing.pixel_clock_hz) / 1e6:.6f} MHz"),
            ("line", _interval(timing.h, "samples")),
            ("field 1" if fmt.interlaced else "frame", _interval(timing.v, "lines")),
        ]
        if timing.v_second:
            rows.append(("field 2", _interval(timing.v_second, "lines")))
        rows += [
            ("lines", f"{timing.total_lines}, active from {' and '.join(map(str, timing.first_active_lines))}"),
            ("mode line", timing.modeline(fmt.id)),
            ("source", str(timing.source)),
        ]
    rows += [("caution", text) for text in fmt.cautions]
    return "\n".join([fmt.title, "", *(f"{label:<11}{text}" for label, text in rows)])


def _interval(interval: Any, unit: str) -> str:
    return (
        f"{interval.total} {unit}: active {interval.active}, front porch {interval.front_porch},"
        f" sync {interval.sync}, back porch {interval.back_porch}"
    )
