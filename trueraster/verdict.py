"""How `verify` tells what it found: as JSON, as a table with words, and as marks on the frame."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING, Any

from analysis.frame.findings import Examination, Fault, OtherPatternError
from analysis.frame.levels import AREA_PERCENT, Frame, Reading, Tolerance
from analysis.frame.place.axes import Axis
from patterns.formats import FieldOrder, Format
from patterns.pattern import Pattern
from patterns.signal import Signal
from trueraster.output.terminal import columns, counted, number

if TYPE_CHECKING:
    from analysis.frame.fields.order import FieldOrderReading

__all__ = [
    "examination_json",
    "examination_text",
    "fields_json",
    "fields_text",
    "heading_of",
    "marks_of",
    "notes_of",
    "other_json",
]


_COLUMNS = 100
"""Widest line of words: a terminal of the usual size shows it whole."""


def examination_json(found: Examination, pattern: Pattern, fmt: Format) -> dict[str, Any]:
    """The answer of `verify --json` for one frame."""
    check = found.check
    x, y = check.registration.x, check.registration.y
    return {
        "verdict": "pass" if found.passed else "fail",
        "pattern": pattern.id,
        "format": fmt.id,
        "signal": _signal_json(check.signal),
        "registration": {
            "scale_x": number(x.scale),
            "scale_y": number(y.scale),
            "offset_x": number(x.offset),
            "offset_y": number(y.offset),
            "crop_percent": {
                "left": _crop(x, x.crop_start),
                "right": _crop(x, x.crop_stop),
                "top": _crop(y, y.crop_start),
                "bottom": _crop(y, y.crop_stop),
            },
            "uncertainty": {
                "scale_x": _known(x, x.scale_error),
                "scale_y": _known(y, y.scale_error),
                "offset_x": _known(x, x.offset_error),
                "offset_y": _known(y, y.offset_error),
            },
        },
        "capture": check.capture.value,
        "tolerance": {
            "value": check.tolerance.value,
            "unit": "percent" if check.tolerance.percent else "codes of 8 bits",
        },
        "tolerance_codes": [number(limit) for limit in check.tolerance.limits(check.signal)],
        "patches": [_reading_json(reading) for reading in check.readings],
        "skipped": list(check.skipped),
        "faults": [_fault_json(fault) for fault in found.faults],
        "reasons": found.reasons,
    }


def _signal_json(signal: Signal) -> dict[str, Any]:
    return {
        "range": signal.range.value,
        "matrix": None if signal.sampling.is_rgb else signal.matrix.value,
        "bits": signal.bits,
        "sampling": signal.sampling.value,
        "components": list(signal.components),
    }


def _crop(axis: Axis, share: float) -> float | int | None:
    return number(100 * share, 4) if axis.found or axis.is_identity else None


def _known(axis: Axis, value: float) -> float | int | None:
    return number(value, 8) if axis.found else None


def _reading_json(reading: Reading) -> dict[str, Any]:
    return {
        "name": reading.name,
        "expected": list(reading.expected),
        "measured": [number(value) for value in reading.measured],
        "mean": [number(value) for value in reading.mean],
        "error_codes": [number(value) for value in reading.error],
        "uncertainty_codes": [number(value) for value in reading.uncertainty],
        "noise_codes": number(_largest(reading.noise)),
        "lowest": list(reading.lowest),
        "highest": list(reading.highest),
        "by_area": reading.by_area,
        "verdict": "pass" if reading.passed else "fail",
    }


def _fault_json(fault: Fault) -> dict[str, Any]:
    parameters = {
        name: number(value) if isinstance(value, float) else value for name, value in fault.parameters.items()
    }
    return {
        "id": fault.id,
        "confidence": number(fault.confidence, 4),
        "explanation": fault.explanation,
        "remedy": fault.remedy,
        "parameters": parameters,
    }


def other_json(error: OtherPatternError, pattern: Pattern, fmt: Format, signal: Signal) -> dict[str, Any]:
    """The answer when the frame shows another pattern, or none: nothing was measured."""
    return {
        "verdict": "fail",
        "pattern": pattern.id,
        "format": fmt.id,
        "signal": _signal_json(signal),
        "registration": None,
        "patches": [],
        "faults": [_fault_json(error.fault)],
        "reasons": {"registration": str(error)},
    }


def examination_text(found: Examination, frame: Frame, pattern: Pattern, fmt: Format) -> str:
    """A table of the patches, where the raster lies, and the faults with what to change."""
    check, signal = found.check, found.check.signal
    names = signal.components
    heading = ("patch", *(f"{n} want" for n in names), *(f"{n} got" for n in names), "error", "error %", "noise", "")
    rows = [heading, *(_row(reading, signal) for reading in check.readings)]
    lines = [
        f"{frame.path.name}, frame {frame.index}: {pattern.title}, {fmt.id}, {_coding(signal)}",
        "",
        columns(rows, right=range(1, 10)),
        "",
    ]
    lines += _place_lines(found)
    if check.skipped:
        lines.append(f"Not measured here, too small or out of view: {', '.join(check.skipped)}.")
    lines.append(_verdict(found))
    for fault in found.faults:
        lines += _fault_lines(fault)
    if not check.passed and not any(fault.of_levels for fault in found.faults):
        lines += ["", "The errors of level are none of the faults that are known here, or too small to tell."]
    return "\n".join(lines)


def _row(reading: Reading, signal: Signal) -> tuple[str, ...]:
    worst = max(range(3), key=lambda i: abs(reading.error[i] or 0))
    error = reading.error[worst] or 0
    scale = signal.fraction_of(worst, 1) - signal.fraction_of(worst, 0)
    return (
        reading.name,
        *(str(code) for code in reading.expected),
        *("" if v is None else f"{v:g}" if v == int(v) else f"{v:.2f}" for v in reading.measured),
        f"{error:+.4g}" if error else "0",
        f"{100 * error * scale:+.2f}" if error else "0",
        f"{_largest(reading.noise):.2g}",
        "pass" if reading.passed else "FAIL",
    )


def _coding(signal: Signal) -> str:
    if signal.sampling.is_rgb:
        coding = "R'G'B'"
    else:
        coding = f"Y'CbCr {':'.join(signal.sampling.value)} BT.{signal.matrix.value}"
    return f"{coding}, {signal.range.value} range, {signal.bits} bits"


def _place_lines(found: Examination) -> list[str]:
    place = found.check.registration
    if place.is_identity:
        return []
    x, y = place.x, place.y
    lines = [
        f"The raster lies in the frame scaled by {x.scale:.5f} x {y.scale:.5f}, its corner at"
        f" {round(x.offset, 2) + 0.0:+.2f}, {round(y.offset, 2) + 0.0:+.2f} samples."
    ]
    sides = (("left", x.crop_start), ("right", x.crop_stop), ("top", y.crop_start), ("bottom", y.crop_stop))
    cut = [f"{name} {100 * share:.2f} %" for name, share in sides if share > 5e-4]
    if cut:
        lines.append(f"Cut off: {', '.join(cut)}.")
    if not x.found or not y.found:
        way = "across and down" if not x.found and not y.found else "across" if not x.found else "down"
        lines.append(f"The pattern has no edge that tells its place {way}; the likeliest was taken.")
    return lines


def _verdict(found: Examination) -> str:
    check = found.check
    count, failed = len(check.readings), sum(not reading.passed for reading in check.readings)
    within = _tolerance(check.tolerance, check.signal)
    if any(reading.by_area for reading in check.readings):
        within += f" (lines, by their area, {AREA_PERCENT:g} % of white)"
    if found.passed:
        but = ", but not as they were sent" if found.faults else ""
        return f"PASS: all {count} patches within {within}{but}."
    if check.passed:
        return f"FAIL: all {count} patches are within {within}, but the picture is not as it was sent."
    return f"FAIL: {failed} of {count} patches not within {within}."


def _tolerance(tolerance: Tolerance, signal: Signal) -> str:
    if tolerance.percent:
        return f"{tolerance.value:g} %"
    codes = tolerance.value * (1 << (signal.bits - 8))
    return f"{codes:g} code{'' if codes == 1 else 's'} of {signal.bits} bits"


def fields_json(
    reading: FieldOrderReading, fault: Fault | None, pattern: Pattern, fmt: Format, signal: Signal
) -> dict[str, Any]:
    """The answer for a clip of the moving bar."""
    return {
        "verdict": "pass" if fault is None else "fail",
        "pattern": pattern.id,
        "format": fmt.id,
        "signal": _signal_json(signal),
        "registration": None,
        "patches": [],
        "faults": [] if fault is None else [_fault_json(fault)],
        "fields": {
            "state": reading.state.value,
            "order": reading.order and reading.order.value,
            "confidence": number(reading.confidence, 4),
            "step": number(reading.step),
            "step_uncertainty": number(reading.step_uncertainty),
            "frames": reading.frames,
            "repeated": reading.repeated,
            "dropped": reading.dropped,
            "flags": reading.flags and reading.flags.value,
            "required": reading.required and reading.required.value,
            "notes": list(reading.notes),
        },
        "reasons": {"registration": "the bar moves, so a frame alone does not tell where it ought to be"},
    }


def fields_text(reading: FieldOrderReading, fault: Fault | None, frame: Frame, fmt: Format) -> str:
    """The same in words."""
    told = [
        ("the fields are", reading.state.value),
        ("first comes", _first_field(reading.order)),
        ("the file says", f"{reading.flags.value}" if reading.flags else "nothing"),
        (f"{fmt.id} has", f"{fmt.field_order.value} first" if fmt.interlaced else "no fields"),
        ("the bar moves by", "" if reading.step is None else f"{reading.step:.3f} samples from moment to moment"),
        ("looked at", counted(reading.frames, "frame")),
    ]
    lines = [f"{frame.path.name}: field order, {fmt.id}", ""]
    lines += [f"{name:<17} {value}" for name, value in told if value]
    lines += ["", *reading.notes] if reading.notes else []
    lines.append("")
    if fault is None:
        return "\n".join([*lines, "PASS: the fields come in the right order."])
    return "\n".join([*lines, "FAIL: the fields do not arrive as they were sent.", *_fault_lines(fault)])


def _fault_lines(fault: Fault) -> list[str]:
    """A fault with what is seen and what to do, after an empty line."""
    heading = f"{fault.title} ({fault.id}, confidence {100 * fault.confidence:.0f} %)"
    return ["", heading, _wrapped(fault.explanation), _wrapped(f"What to do: {fault.remedy}")]


def _wrapped(text: str) -> str:
    return textwrap.fill(text, _COLUMNS, initial_indent="  ", subsequent_indent="  ")


def _first_field(order: FieldOrder | None) -> str:
    if order is None or order is FieldOrder.PROGRESSIVE:
        return "neither: both fields show one moment"
    return f"the {order.value} field"


def _largest(values: tuple[float | None, ...]) -> float:
    return max(value for value in values if value is not None)


# --- The marked picture -----------------------------------------------------------------------------------------


def marks_of(found: Examination) -> list[Any]:
    """The patches as marks on the frame."""
    from analysis.frame.picture.marks import Mark

    components = found.check.signal.components
    return [
        Mark(
            name=reading.name,
            box=reading.box,
            error_codes=tuple(value for value in reading.error if value is not None),
            components=components[: sum(value is not None for value in reading.error)],
            passed=reading.passed,
        )
        for reading in found.check.readings
    ]


def heading_of(found: Examination, frame: Frame, pattern: Pattern, fmt: Format) -> Any:
    """What stands above the picture."""
    from analysis.frame.picture.marks import Heading

    lines = (f"{pattern.title}, {fmt.id}, {_coding(found.check.signal)}", *_place_lines(found))
    return Heading(
        title=f"{frame.path.name}, frame {frame.index}", verdict=_verdict(found), passed=found.passed, lines=lines
    )


def notes_of(found: Examination) -> list[Any]:
    """What stands below it: each fault with its remedy."""
    from analysis.frame.picture.marks import Note

    return [
        Note(title=fault.title, paragraphs=(fault.explanation, f"What to do: {fault.remedy}")) for fault in found.faults
    ]
