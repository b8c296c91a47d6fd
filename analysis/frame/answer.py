"""What `verify` answers: the verdict, the patches, where the raster is, and the faults of the chain."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from analysis.answer import Answer, Finding, Kind, NamedFault, Table, figures_of, number_at
from analysis.frame.findings import Blind, Examination, Fault, Grade, OtherPatternError
from analysis.frame.levels import AREA_PERCENT, Frame, Reading
from analysis.frame.place.axes import Axis
from analysis.frame.quantities import quantities, with_totals
from analysis.frame.tolerance import EXACT, Tolerance
from analysis.rounding import counted
from patterns.formats import FieldOrder, Format
from patterns.pattern import Pattern
from patterns.signal import Signal

if TYPE_CHECKING:
    from analysis.frame.fields.order import FieldOrderReading

__all__ = ["fields_answer", "frame_answer", "other_answer", "place_words", "signal_words", "verdict_words"]


def frame_answer(
    found: Examination, frame: Frame, pattern: Pattern, fmt: Format, frames: Mapping[str, Any] | None = None
) -> Answer:
    """Everything that is reported of one frame; `frames` is what there is to say of the others of its file."""
    check = found.check
    details = {
        **_subject(pattern, fmt, check.signal),
        "verdict": "pass" if found.passed else "fail",
        "grade": found.grade.value,
        "variant": "full-raster" if found.fills_raster else None,
        "grade_reason": _grade_words(found),
        "cannot_show": [_CANNOT_SHOW[one] for one in found.cannot_show],
        "registration": _cut(check.registration.x, check.registration.y),
        "capture": check.capture.value,
        "tolerance": {
            "value": check.tolerance.value,
            "unit": "percent" if check.tolerance.percent else "codes of 8 bits",
        },
        "tolerance_codes": list(check.tolerance.limits(check.signal)),
        "patches": [_patch(reading) for reading in check.readings],
        "skipped": list(check.skipped),
    }
    totals = with_totals(details)
    table = quantities(details)
    values, uncertainty = _place(check.registration.x, check.registration.y)
    for one in table:
        values.setdefault(one.path, number_at(totals, one.path))
        uncertainty.setdefault(one.path, number_at(totals, one.uncertainty))
    missing = list(place_words(found))
    if check.skipped:
        missing.append(f"Not measured here, too small or out of view: {', '.join(check.skipped)}.")
    return Answer(
        kind=Kind.VERIFY,
        subject=(f"{frame.path.name}, frame {frame.index}: {pattern.title}, {fmt.id}, {signal_words(check.signal)}",),
        figures=figures_of(table, values, uncertainty, found.reasons),
        findings=(
            Finding(verdict_words(found), about="patches_failed"),
            *(Finding(fault.title) for fault in found.faults),
        ),
        tables=(_patches(found),),
        assumptions=(_FILLS,) if found.fills_raster else (),
        missing=tuple(_CANNOT_SHOW[one] for one in found.cannot_show),
        summary=tuple(missing) if frames is None else (*missing, _frames(frames)),
        advice_title="",
        faults=tuple(_named(fault) for fault in found.faults),
        reasons=found.reasons,
        details=details if frames is None else {**details, "frames": dict(frames)},
    )


def other_answer(error: OtherPatternError, pattern: Pattern, fmt: Format, signal: Signal) -> Answer:
    """The answer where the frame shows another pattern, or none: nothing was measured."""
    return Answer(
        kind=Kind.VERIFY,
        subject=(),
        figures=(),
        findings=(Finding(error.fault.title),),
        faults=(_named(error.fault),),
        reasons={"registration": str(error)},
        details={
            **_subject(pattern, fmt, signal),
            "verdict": "fail",
            "grade": "fail",
            "grade_reason": str(error),
            "cannot_show": [],
            "registration": None,
            "patches": [],
        },
    )


def fields_answer(
    reading: FieldOrderReading, fault: Fault | None, frame: Frame, pattern: Pattern, fmt: Format, signal: Signal
) -> Answer:
    """The answer for a clip of the moving bar: the order of its fields."""
    details = {
        **_subject(pattern, fmt, signal),
        "verdict": "pass" if fault is None else "fail",
        "registration": None,
        "patches": [],
        "fields": {
            "state": reading.state.value,
            "order": reading.order and reading.order.value,
            "confidence": round(reading.confidence, 4),
            "step": reading.step,
            "step_uncertainty": reading.step_uncertainty,
            "frames": reading.frames,
            "repeated": reading.repeated,
            "dropped": reading.dropped,
            "flags": reading.flags and reading.flags.value,
            "required": reading.required and reading.required.value,
            "notes": list(reading.notes),
        },
    }
    step = "" if reading.step is None else f"{reading.step:.3f} samples from moment to moment"
    rows = (
        ("the fields are", reading.state.value),
        ("first comes", _first_field(reading.order)),
        ("the file says", reading.flags.value if reading.flags else "nothing"),
        (f"{fmt.id} has", f"{fmt.field_order.value} first" if fmt.interlaced else "no fields"),
        ("the bar moves by", step),
        ("frames examined", str(reading.frames)),
    )
    reasons = {"registration": "the bar moves, so a single frame does not show where it should be"}
    table = quantities(details)
    verdict = (
        "FAIL: the fields do not arrive as they were sent" if fault else "PASS: the fields come in the right order"
    )
    return Answer(
        kind=Kind.VERIFY,
        subject=(f"{frame.path.name}: field order, {fmt.id}",),
        figures=figures_of(
            table,
            {one.path: number_at(details, one.path) for one in table},
            {one.path: number_at(details, one.uncertainty) for one in table},
            reasons,
        ),
        findings=(Finding(verdict), *(() if fault is None else (Finding(fault.title),))),
        tables=(Table(head=("fields", ""), rows=tuple(row for row in rows if row[1]), has_units=True),),
        notes=tuple(reading.notes),
        faults=() if fault is None else (_named(fault),),
        reasons=reasons,
        details=details,
    )


# --- Sentences --------------------------------------------------------------------------------------------------------


def verdict_words(found: Examination) -> str:
    """The verdict, without its full stop."""
    check = found.check
    count, failed = len(check.readings), sum(not reading.passed for reading in check.readings)
    within = _tolerance(check.tolerance, check.signal)
    if any(reading.by_area for reading in check.readings):
        within += f" (lines, by their area, {AREA_PERCENT:g} % of white)"
    if found.grade is Grade.EXACT:
        return f"PASS: exact, all {count} patches within {_tolerance(EXACT, check.signal)}"
    if found.passed:
        how = "" if found.has_tolerance else "good for service, "
        but = ", but not as they were sent" if found.faults else ""
        return f"PASS: {how}all {count} patches within {within}{but}"
    if not check.passed:
        return f"FAIL: {failed} of {count} patches not within {within}"
    if found.faults:
        return f"FAIL: all {count} patches are within {within}, but the picture is not as it was sent"
    return (
        f"FAIL: all {count} patches are within {within}, but the frame is not in the format's own raster; capture it"
        " so, or state a --tolerance to judge its levels alone"
    )


def _grade_words(found: Examination) -> str:
    """Why the grade is what it is, as one sentence."""
    words = verdict_words(found).partition(": ")[2]
    if found.faults:
        words += f"; named: {', '.join(fault.id for fault in found.faults)}"
    return f"{words[:1].upper()}{words[1:]}."


_FILLS = (
    "The bars are those of a generator that draws them over all samples of the raster, and not over the picture alone;"
    " a picture that was cut by as much on both sides would look the same."
)

_CANNOT_SHOW = {
    Blind.BELOW_BLACK: "Levels below black: the pattern has none; pluge in narrow range has.",
    Blind.BELOW_BLACK_FULL: "Levels below black: full range has no codes for them, so whether a stage cuts them is not"
    " seen here.",
    Blind.ABOVE_WHITE: "Levels above white: the pattern has none; window --level 105 in narrow range has.",
    Blind.ABOVE_WHITE_FULL: "Levels above white: full range has no codes for them.",
    Blind.COLOURS: "Colours (matrix, hue, saturation, exchanged channels, converted primaries): the pattern is grey;"
    " bars show them.",
    Blind.GREYS: "How greys between black and white are bent (gamma): steps show it.",
    Blind.PLACE_ACROSS: "Where the picture lies across, and its width: nothing changes along the lines.",
    Blind.PLACE_DOWN: "Where the picture lies up and down, and its height: nothing changes from line to line;"
    " crosshatch shows it.",
    Blind.DETAIL: "Bandwidth, sharpness and echoes: the pattern has no edge along the lines; multiburst and pulse-bar"
    " show them.",
    Blind.DETAIL_LIMITED: "The finest detail that the format can carry: multiburst shows it.",
    Blind.HALOS: "Sharpening at white and at black: full range cuts both sides of a halo off; multiburst shows it.",
    Blind.FIELDS: "The order of fields and deinterlacing: all lines are alike; crosshatch and a clip of field-order"
    " show them.",
    Blind.FIELDS_IN_TIME: "The order of fields in time: a still picture has none; a clip of field-order shows it.",
    Blind.SCAN: "Whether it was played interlaced or progressive: both formats have this size, and the file does not"
    " say which it is.",
    Blind.SCALED: "Whether the player or the capture scaled the picture, and in which format it was played: the frame"
    " is not in the format's own raster.",
}
"""What a pattern in a capture cannot show, in words."""


def _tolerance(tolerance: Tolerance, signal: Signal) -> str:
    if tolerance.percent:
        return f"{tolerance.value:g} %"
    codes = tolerance.value * (1 << (signal.bits - 8))
    return f"{codes:g} code{'' if codes == 1 else 's'} of {signal.bits} bits"


def signal_words(signal: Signal) -> str:
    """How a signal is coded: 'Y'CbCr 4:2:2 BT.601, narrow range, 10 bits'."""
    if signal.sampling.is_rgb:
        coding = "R'G'B'"
    else:
        coding = f"Y'CbCr {':'.join(signal.sampling.value)} BT.{signal.matrix.value}"
    return f"{coding}, {signal.range.value} range, {signal.bits} bits"


def place_words(found: Examination) -> tuple[str, ...]:
    """Where the raster is in the frame; nothing where it fills the frame as it was sent."""
    place = found.check.registration
    if place.is_identity:
        return ()
    x, y = place.x, place.y
    said = [
        f"The raster is scaled by {x.scale:.5f} x {y.scale:.5f} in the frame, its corner at"
        f" {round(x.offset, 2) + 0.0:+.2f}, {round(y.offset, 2) + 0.0:+.2f} samples."
    ]
    sides = (("left", x.crop_start), ("right", x.crop_stop), ("top", y.crop_start), ("bottom", y.crop_stop))
    cut = [f"{name} {100 * share:.2f} %" for name, share in sides if share > 5e-4]
    if cut:
        said.append(f"Cut off: {', '.join(cut)}.")
    if not x.found or not y.found:
        way = "across and down" if not x.found and not y.found else "across" if not x.found else "down"
        said.append(f"The pattern has no edge that shows its place {way}; the likeliest was taken.")
    return tuple(said)


def _frames(frames: Mapping[str, Any]) -> str:
    failed, without = frames["failed"], frames["without_pattern"]
    words = "all pass" if not failed else f"{len(failed)} of them fail, the first is frame {failed[0]}"
    said = f"{counted(frames['shown'], 'frame')}, {frames['distinct']} of them distinct: {words}."
    if without:
        said += f" {counted(len(without), 'distinct frame')} without the pattern, the first is frame {without[0]}."
    return f"{said} Shown is frame {frames['worst']}, the worst."


def _first_field(order: FieldOrder | None) -> str:
    if order is None or order is FieldOrder.PROGRESSIVE:
        return "neither: both fields show one moment"
    return f"the {order.value} field"


def _named(fault: Fault) -> NamedFault:
    return NamedFault(
        id=fault.id,
        title=fault.title,
        confidence=fault.confidence,
        explanation=fault.explanation,
        remedy=fault.remedy,
        parameters=fault.parameters,
    )


# --- Tables and details -----------------------------------------------------------------------------------------------


def _patches(found: Examination) -> Table:
    signal = found.check.signal
    names = signal.components
    head = ("patch", *(f"{n} want" for n in names), *(f"{n} got" for n in names), "error", "error %", "noise", "")
    return Table(head=head, rows=tuple(_row(reading, signal) for reading in found.check.readings), has_units=True)


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


def _subject(pattern: Pattern, fmt: Format, signal: Signal) -> dict[str, Any]:
    return {
        "pattern": pattern.id,
        "format": fmt.id,
        "signal": {
            "range": signal.range.value,
            "matrix": None if signal.sampling.is_rgb else signal.matrix.value,
            "bits": signal.bits,
            "sampling": signal.sampling.value,
            "components": list(signal.components),
        },
    }


def _cut(x: Axis, y: Axis) -> dict[str, Any]:
    return {
        "crop_percent": {
            "left": _crop(x, x.crop_start),
            "right": _crop(x, x.crop_stop),
            "top": _crop(y, y.crop_start),
            "bottom": _crop(y, y.crop_stop),
        }
    }


def _place(x: Axis, y: Axis) -> tuple[dict[str, float | None], dict[str, float | None]]:
    """Scale and offset with their uncertainties, which are None where the pattern does not show the place."""
    values: dict[str, float | None] = {}
    uncertainty: dict[str, float | None] = {}
    for way, axis in (("x", x), ("y", y)):
        # The values have the digits of all else; of the uncertainties, which may be millionths, more are kept.
        values |= {
            f"registration.scale_{way}": round(axis.scale, 6),
            f"registration.offset_{way}": round(axis.offset, 6),
        }
        uncertainty |= {
            f"registration.scale_{way}": axis.scale_error if axis.found else None,
            f"registration.offset_{way}": axis.offset_error if axis.found else None,
        }
    return values, uncertainty


def _crop(axis: Axis, share: float) -> float | None:
    return round(100 * share, 4) if axis.found or axis.is_identity else None


def _patch(reading: Reading) -> dict[str, Any]:
    return {
        "name": reading.name,
        "expected": list(reading.expected),
        "measured": list(reading.measured),
        "mean": list(reading.mean),
        "error_codes": list(reading.error),
        "uncertainty_codes": list(reading.uncertainty),
        "noise_codes": _largest(reading.noise),
        "lowest": list(reading.lowest),
        "highest": list(reading.highest),
        "by_area": reading.by_area,
        "verdict": "pass" if reading.passed else "fail",
    }


def _largest(values: tuple[float | None, ...]) -> float:
    return max(value for value in values if value is not None)
