"""`verify`: whether the levels of a frame are the standard's."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from trueraster.commands.shared import as_json_option, pattern_options
from trueraster.show import columns, number, put_json, put_text

if TYPE_CHECKING:
    from analysis.levels import Check, Frame
    from patterns.formats import Format
    from patterns.pattern import Options, Pattern

__all__ = ["verify"]


@click.command()
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE")
@click.option("--pattern", "-p", help="What is shown.  [default: the file's word]")
@click.option("--format", "-f", "fmt", help="Format that was played.  [default: the file's word or size]")
@click.option("--aspect", help="Picture aspect: 4:3 or 16:9.")
@click.option("--range", "code_range", help="narrow or full.  [default: the file's word; else R'G'B' full]")
@click.option("--matrix", help="601 or 709.  [default: the file's word; else by the format]")
@click.option("--tolerance", default=1.0, show_default=True, help="Largest error that passes, in codes of 8 bits.")
@click.option("--frame", default=0, show_default=True, help="Frame of a video file, counted from 0.")
@pattern_options
@as_json_option
def verify(
    file: Path,
    pattern: str | None,
    fmt: str | None,
    aspect: str | None,
    code_range: str | None,
    matrix: str | None,
    tolerance: float,
    frame: int,
    as_json: bool,
    **typed: str | None,
) -> int:
    """Measure the levels of a captured or drawn frame.

    Every patch is read in the file's own codes and held against the standard's; exit 0 if all pass, 1 if not. The
    pattern's own options are those that it was drawn with.

    A file made by 'draw' needs no options, but for y4m and mpeg2, which cannot say what they show (--pattern; of a
    16:9 picture --aspect too), and own patterns, whose TOML file is needed. A capture needs the pattern, and its format
    where the size does not tell.
    """
    from dataclasses import replace

    from analysis.levels import check_levels, frame_signal, read_frame
    from patterns.signal import Matrix, Range
    from render.carriers import default_matrix
    from trueraster.options import UsageError, choice, options_of

    ranged = choice("--range", code_range, tuple(Range))
    weighed = choice("--matrix", matrix, tuple(Matrix))
    if not 0 <= tolerance <= 255:
        raise UsageError(f"--tolerance: got {tolerance:g}, allowed are 0 to 255 codes of 8 bits")
    if not 0 <= frame < 10_000_000:
        raise UsageError(f"--frame: got {frame}, frames are counted from 0")
    found = read_frame(file, frame)
    chosen = _pattern(found, pattern)
    chosen_format = _format(found, fmt, aspect)
    options = options_of(typed)
    if chosen.id == found.provenance.get("pattern"):
        # What is typed wins; the rest is as the file was drawn.
        options = replace(_told_options(found), **options.given)
    signal = frame_signal(
        found,
        code_range=Range(ranged) if ranged else None,
        matrix=Matrix(weighed) if weighed else None,
        default_matrix=default_matrix(chosen_format),
    )
    scene = chosen.scene(chosen_format, options, signal)
    check = check_levels(found, scene, chosen_format, signal, tolerance)
    if not check.readings:
        raise UsageError(f"{file}: the pattern {chosen.id} has no patch that can be measured in this frame")
    if not check.tells_something:
        raise UsageError(f"{file}: of the pattern {chosen.id} only the ground can be measured here; it proves nothing")
    if as_json:
        put_json(_json(check, chosen, chosen_format))
    else:
        put_text(_text(check, found, chosen, chosen_format))
    return 0 if check.passed else 1


def _format(frame: Frame, text: str | None, aspect: str | None) -> Format:
    from patterns.formats import FORMATS, FieldOrder
    from trueraster.options import UsageError, format_of

    told = frame.provenance
    if text is not None:
        return format_of(text, aspect)
    if "format" in told:
        usual = format_of(told["format"], aspect)
        same = f"{usual.picture_aspect.numerator}:{usual.picture_aspect.denominator}" == told.get("aspect")
        return usual if aspect or same else format_of(told["format"], told.get("aspect"))
    tags = frame.picture.tags
    alike = [f for f in FORMATS.values() if (f.width, f.height) == (tags.width, tags.height)]
    interlaced = tags.field_order not in (None, FieldOrder.PROGRESSIVE)
    alike = [f for f in alike if f.interlaced == interlaced] or alike
    if not alike:
        raise UsageError(
            f"--format: which one was played? {tags.width}x{tags.height} is the raster of none that is named"
        )
    return format_of(alike[0].id, aspect)


def _pattern(frame: Frame, text: str | None) -> Pattern:
    from patterns.catalogue import find_pattern
    from patterns.timing import shown
    from trueraster.options import UsageError, pattern_of

    name = text or frame.provenance.get("pattern")
    if name is None:
        raise UsageError("--pattern: what is shown? The file does not say; 'trueraster patterns' lists them")
    if text is None and name.startswith("own:"):
        raise UsageError(f"--pattern: the file shows the own pattern {shown(name[4:])}; give the path of its TOML file")
    return find_pattern(name) if text is None else pattern_of(name)


def _told_options(frame: Frame) -> Options:
    """The options that the pattern was drawn with, as the file tells them."""
    from fractions import Fraction

    from patterns.pattern import Options
    from trueraster.options import UsageError, cells_of

    def level(name: str) -> Fraction | None:
        # A file may say anything of itself; a number without an end is not worked out.
        text = words.get(name)
        if text is None:
            return None
        if not re.fullmatch(r"-?\d{1,9}(/\d{1,9})?", text):
            raise ValueError(text)
        return Fraction(text)

    words = frame.provenance
    try:
        return Options(
            cells=cells_of(words.get("cells")),
            level=level("level"),
            area=level("area"),
            colour=words.get("colour"),
            bars=words.get("bars"),
        )
    except (ValueError, ZeroDivisionError) as error:
        raise UsageError(f"{frame.path}: what the file says of its pattern cannot be read; give --pattern") from error


def _json(check: Check, pattern: Pattern, fmt: Format) -> dict[str, Any]:
    signal, registration = check.signal, check.registration
    return {
        "verdict": "pass" if check.passed else "fail",
        "pattern": pattern.id,
        "format": fmt.id,
        "signal": {
            "range": signal.range.value,
            "matrix": None if signal.sampling.is_rgb else signal.matrix.value,
            "bits": signal.bits,
            "sampling": signal.sampling.value,
            "components": list(signal.components),
        },
        "registration": {
            "scale_x": number(registration.scale_x),
            "scale_y": number(registration.scale_y),
            "offset_x": number(registration.offset_x),
            "offset_y": number(registration.offset_y),
            "crop_percent": {"left": 0, "right": 0, "top": 0, "bottom": 0},
        },
        "tolerance_codes": check.tolerance,
        "patches": [
            {
                "name": reading.name,
                "expected": list(reading.expected),
                "measured": [number(value) for value in reading.measured],
                "mean": [number(value) for value in reading.mean],
                "error_codes": [number(value) for value in reading.error],
                "noise_codes": number(_largest(reading.noise)),
                "lowest": list(reading.lowest),
                "highest": list(reading.highest),
                "verdict": "pass" if reading.passed else "fail",
            }
            for reading in check.readings
        ],
        "skipped": list(check.skipped),
        "faults": [],
    }


def _text(check: Check, frame: Frame, pattern: Pattern, fmt: Format) -> str:
    signal = check.signal
    names = signal.components
    heading = ("patch", *(f"{n} want" for n in names), *(f"{n} got" for n in names), "error", "error %", "noise", "")
    rows = [heading]
    for reading in check.readings:
        worst = max(range(3), key=lambda i: abs(reading.error[i] or 0))
        error = reading.error[worst] or 0
        scale = signal.fraction_of(worst, 1) - signal.fraction_of(worst, 0)
        rows.append(
            (
                reading.name,
                *(str(code) for code in reading.expected),
                *("" if v is None else f"{v:g}" if v == int(v) else f"{v:.2f}" for v in reading.measured),
                f"{error:+.4g}" if error else "0",
                f"{100 * error * scale:+.2f}" if error else "0",
                f"{_largest(reading.noise):.2g}",
                "pass" if reading.passed else "FAIL",
            )
        )
    coding = (
        "R'G'B'" if signal.sampling.is_rgb else f"Y'CbCr {':'.join(signal.sampling.value)} BT.{signal.matrix.value}"
    )
    failed = sum(not reading.passed for reading in check.readings)
    shown = f"{frame.path.name}, frame {frame.index}: {pattern.title}, {fmt.id}"
    lines = [
        f"{shown}, {coding}, {signal.range.value} range, {signal.bits} bits",
        "",
        columns(rows, right=range(1, 10)),
        "",
    ]
    registration = check.registration
    if (registration.scale_x, registration.scale_y) != (1, 1):
        lines.append(
            f"The frame is taken as the whole raster scaled by {registration.scale_x:.4f} x {registration.scale_y:.4f}."
        )
    if check.skipped:
        lines.append(f"Too small to measure here: {', '.join(check.skipped)}.")
    count = len(check.readings)
    verdict = f"PASS: all {count} patches" if check.passed else f"FAIL: {failed} of {count} patches not"
    lines.append(
        f"{verdict} within {check.tolerance:g} code{'' if check.tolerance == 1 else 's'} of {signal.bits} bits."
    )
    return "\n".join(lines)


def _largest(values: tuple[float | None, ...]) -> float:
    return max(value for value in values if value is not None)
