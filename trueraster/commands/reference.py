"""`patterns`, `formats` and `levels`: what there is, and the figures behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from trueraster.options.shared import as_json_option
from trueraster.output.terminal import columns, counted, number, put_json, put_text

if TYPE_CHECKING:
    from patterns.formats import Format
    from patterns.pattern import Pattern
    from trueraster.levels import Level

__all__ = ["formats", "levels", "patterns"]


@click.command()
@click.argument("name", required=False, metavar="[ID]")
@as_json_option
def patterns(name: str | None, as_json: bool) -> None:
    """List the patterns, or tell what one is for."""
    from patterns.catalogue import PATTERNS
    from trueraster.options.values import pattern_of

    chosen = list(PATTERNS.values()) if name is None else [pattern_of(name)]
    if as_json:
        put_json({"patterns": [_pattern_json(pattern) for pattern in chosen]})
    elif name is None:
        rows = [("pattern", "area", "what it is"), *((p.id, p.area.value, p.title) for p in chosen)]
        put_text(columns(rows))
        put_text("\nIn the order of work. 'trueraster patterns ID' tells what one is for.")
    else:
        put_text(_pattern_text(chosen[0]))


def _pattern_json(pattern: Pattern) -> dict[str, Any]:
    return {
        "id": pattern.id,
        "title": pattern.title,
        "area": pattern.area.value,
        "look": pattern.look,
        "right": pattern.right,
        "adjust": pattern.adjust,
        "order": pattern.order,
        "dwell_minutes": pattern.dwell_minutes,
        "options": list(pattern.takes),
        "cautions": list(pattern.all_cautions),
    }


def _pattern_text(pattern: Pattern) -> str:
    import textwrap

    parts = [
        ("look at", pattern.look),
        ("right is", pattern.right),
        ("adjust", pattern.adjust),
        ("leave up", f"at most {counted(pattern.dwell_minutes, 'minute')} (common practice)"),
        ("options", ", ".join(f"--{name}" for name in pattern.takes) or "none"),
        *(("caution", text) for text in pattern.all_cautions),
    ]
    lines = [f"{pattern.title} ({pattern.id})", ""]
    for label, text in parts:
        lines += textwrap.wrap(text, 78, initial_indent=f"{label:<10}", subsequent_indent=" " * 10)
    return "\n".join(lines)


@click.command()
@click.argument("name", required=False, metavar="[ID]")
@click.option("--aspect", help="Picture aspect, as 16:9.")
@as_json_option
def formats(name: str | None, aspect: str | None, as_json: bool) -> None:
    """List the formats, or tell the timing of one."""
    from patterns.formats import FORMATS
    from trueraster.options.values import UsageError, format_of

    if aspect is not None and name is None:
        raise UsageError("--aspect: name the format that it is for, as in 'formats 480i --aspect 16:9'")
    chosen = list(FORMATS.values()) if name is None else [format_of(name, aspect)]
    if as_json:
        put_json({"formats": [format_json(fmt) for fmt in chosen]})
    elif name is None:
        heading = ("format", "raster", "scan", "frames/s", "fields/s", "line rate kHz", "aspect", "sample")
        put_text(columns([heading, *(_format_row(fmt) for fmt in chosen)], right=(3, 4, 5)))
        put_text("\nAny other raster: WxH[i|p]@RATE, as 1024x768@60. 'trueraster formats ID' gives the whole timing.")
    else:
        put_text(_format_text(chosen[0]))


def _ratio(value: Any) -> str:
    return f"{value.numerator}:{value.denominator}"


def _format_row(fmt: Format) -> tuple[str, ...]:
    return (
        fmt.id,
        f"{fmt.width}x{fmt.height}",
        "interlaced" if fmt.interlaced else "progressive",
        f"{float(fmt.frame_rate):.3f}",
        f"{float(fmt.field_rate):.3f}" if fmt.interlaced else "",
        f"{float(fmt.timing.line_rate_hz) / 1000:.3f}" if fmt.timing else "",
        _ratio(fmt.picture_aspect),
        _ratio(fmt.sample_aspect),
    )


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
        "picture_aspect": _ratio(fmt.picture_aspect),
        "sample_aspect": _ratio(fmt.sample_aspect),
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


def _format_text(fmt: Format) -> str:
    picture = fmt.picture
    rows = [
        ("raster", f"{fmt.width} x {fmt.height}, sample aspect {_ratio(fmt.sample_aspect)}"),
        (
            "picture",
            f"{picture.width} x {picture.height} at {picture.left},{picture.top}, {_ratio(fmt.picture_aspect)}",
        ),
        ("scan", "progressive" if not fmt.interlaced else f"interlaced, {fmt.field_order.value} field first"),
        ("frames/s", f"{fmt.frame_rate} = {float(fmt.frame_rate):.6f}"),
    ]
    if fmt.interlaced:
        rows.append(("fields/s", f"{fmt.field_rate} = {float(fmt.field_rate):.6f}"))
    timing = fmt.timing
    if timing is None:
        rows.append(("timing", f"a free raster: no standard gives its porches and sync; 'timing {fmt.id}' makes them"))
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


# A level may begin with a minus sign.
@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("values", nargs=-1, metavar="[LEVEL]...")
@as_json_option
def levels(values: tuple[str, ...], as_json: bool) -> None:
    """Convert levels between %, codes, mV and IRE.

    A level is 75%, 8:180 or 10:721 (depth and code), 525mV, 549mV-setup or 76.9IRE. Codes are narrow range, luma or
    R'G'B'. With no level: a table of the usual ones.
    """
    from trueraster.levels import USUAL, parse_level

    rows = [parse_level(text) for text in values] if values else [parse_level(f"{p}%") for p in USUAL]
    if as_json:
        put_json({"levels": [_level_json(row) for row in rows]})
        return
    heading = ("%", "8 bit", "10 bit", "mV", "mV 714", "mV 714 setup", "IRE setup")
    put_text(columns([heading, *(_level_row(row) for row in rows)], right=range(7)))
    put_text(
        "\nCodes: narrow range, luma or R'G'B'; * is clipped at a code kept for timing. mV: component, white 700 mV."
        "\nmV 714: the older 525-line levels, without setup and with 7.5 % setup; 1 IRE is 1/140 V."
    )


def _level_row(level: Level) -> tuple[str, ...]:
    code_8, code_10 = (f"{code.written}{'*' if code.is_clipped else ''}" for code in (level.code_8, level.code_10))
    return (
        f"{float(level.percent):.3f}".rstrip("0").rstrip("."),
        code_8,
        code_10,
        f"{float(level.millivolts):.2f}",
        f"{float(level.millivolts_714):.2f}",
        f"{float(level.millivolts_setup):.2f}",
        f"{float(level.ire_setup):.3f}",
    )


def _level_json(level: Level) -> dict[str, Any]:
    return {
        "percent": number(level.percent),
        "code_8": level.code_8.written,
        "code_8_exact": number(level.code_8.exact),
        "code_10": level.code_10.written,
        "code_10_exact": number(level.code_10.exact),
        "millivolts": number(level.millivolts),
        "millivolts_714": number(level.millivolts_714),
        "millivolts_714_setup": number(level.millivolts_setup),
        "ire_setup": number(level.ire_setup),
    }
