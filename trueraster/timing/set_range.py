"""The ranges of a set and an output, as typed, and the refusal of a scan outside them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from patterns.formats import Format
from patterns.modes.scan15k import LEAST_CLOCK_STEP_HZ, MICROSECOND, Limits, Span
from trueraster.kit.rates import AS_STATED, SINGLE_TOLERANCE, LineRates, is_within, parse_line_rates, ranges_text
from trueraster.options.values import UsageError
from trueraster.output.cautions import SCAN_RATES

__all__ = ["SetRange", "check_set", "limits_of", "refusal", "set_range"]

_NUMBER = r"(\d{1,9}(?:\.\d{1,6})?)"
_DASH = r"[-\u2010-\u2015\u2212]"


@dataclass(frozen=True, slots=True, kw_only=True)
class SetRange:
    """The set's stated ranges; None for one that was not given."""

    line_rates: tuple[LineRates, ...] | None
    field_rates: Span | None


def set_range(line_rate: str | None, field_rate: str | None) -> SetRange:
    """The stated range from '15.5-15.9kHz,31-32kHz' and '48-62Hz'; a single value means ± 1 %.

    Raises:
        UsageError: one of them is nothing of the kind.
    """
    lines = None if line_rate is None else parse_line_rates(line_rate, "--line-rate")
    fields = None
    if field_rate is not None:
        fields = _field_rates(field_rate)
    return SetRange(line_rates=lines, field_rates=fields)


def _field_rates(text: str) -> Span:
    option, least, most = "--field-rate", 10, 300
    single = re.fullmatch(rf"\s*{_NUMBER}\s*(?:hz)?\s*", text.lower())
    if single is None:
        return _span(option, text, "Hz", example="48-62Hz", least=least, most=most)
    value = Fraction(single[1])
    if not least <= value <= most:
        raise UsageError(f"{option}: got {_short(text)}; give a rate from {least} to {most} Hz")
    return Span(low=value * (1 - SINGLE_TOLERANCE), high=value * (1 + SINGLE_TOLERANCE))


def check_set(fmt: Format, stated: SetRange) -> None:
    """Refuse a format whose line rate or field rate lies outside the stated range.

    Raises:
        UsageError: it does; the message has the caution.
    """
    timing = fmt.timing
    if timing is None:
        return
    khz, hertz = timing.line_rate_hz / 1000, timing.field_rate_hz
    lines, fields = stated.line_rates, stated.field_rates
    if lines is not None and not is_within(khz, lines):
        raise UsageError(
            refusal(f"{fmt.id} has a line rate of {float(khz):.3f} kHz, the set accepts {ranges_text(lines)}")
        )
    if fields is not None and not fields.low - AS_STATED <= hertz <= fields.high + AS_STATED:
        accepted = f"{float(fields.low):g} to {float(fields.high):g} Hz"
        raise UsageError(refusal(f"{fmt.id} has a field rate of {float(hertz):.3f} Hz, the set accepts {accepted}"))


def refusal(reason: str) -> str:
    """Why a scan is refused, and what it could do to the set."""
    return f"{reason}. {SCAN_RATES.title}: {SCAN_RATES.text}"


def limits_of(stated: SetRange, typed: Mapping[str, str | None]) -> Limits:
    """The limits of the 15 kHz family: the stated range, and the options that were typed.

    Raises:
        UsageError: an option is nothing of the kind.
    """
    limits = Limits()
    if stated.line_rates is not None:
        limits = replace(limits, line_rate_hz=tuple(_hertz(stated.line_rates)))
    if stated.field_rates is not None:
        rates = stated.field_rates
        limits = replace(limits, field_rate_hz=Span(low=rates.low - AS_STATED, high=rates.high + AS_STATED))
    if (text := typed.get("front_porch")) is not None:
        limits = replace(limits, front_porch=_duration("--front-porch", text))
    if (text := typed.get("sync")) is not None:
        limits = replace(limits, sync=_duration("--sync", text))
    if (text := typed.get("back_porch")) is not None:
        limits = replace(limits, back_porch=_duration("--back-porch", text))
    if (text := typed.get("active_time")) is not None:
        span = _span("--active-time", text, "us", example="51-53.5us", least=5, most=64)
        limits = replace(limits, active=Span(low=span.low * MICROSECOND, high=span.high * MICROSECOND))
    if (text := typed.get("blank_lines")) is not None:
        front, sync, back = _blank_lines(text)
        limits = replace(limits, front_lines=front, sync_lines=sync, back_lines=back)
    if (text := typed.get("clock_min")) is not None:
        clock = _quantity("--clock-min", text, {"mhz": Fraction(10**6)}, example="25MHz", most=400)
        limits = replace(limits, clock_min_hz=clock)
    if (text := typed.get("clock_step")) is not None:
        limits = replace(limits, clock_step_hz=_clock_step(text))
    if (text := typed.get("rate_tolerance")) is not None:
        share = _quantity("--rate-tolerance", text, {"%": Fraction(1, 100)}, example="0.5%", most=20)
        limits = replace(limits, rate_tolerance=share)
    return limits


def _hertz(rates: Sequence[LineRates]) -> list[Span]:
    return [Span(low=(rate.low - AS_STATED) * 1000, high=(rate.high + AS_STATED) * 1000) for rate in rates]


def _duration(option: str, text: str) -> Fraction:
    return _quantity(option, text, {"us": MICROSECOND}, example="4.5us", most=40)


def _clock_step(text: str) -> int:
    units = {"khz": Fraction(1000), "mhz": Fraction(10**6), "hz": Fraction(1)}
    step = _quantity("--clock-step", text, units, example="10kHz", most=10**7)
    if step.denominator != 1 or not LEAST_CLOCK_STEP_HZ <= step <= 10**7:
        raise UsageError(f"--clock-step: got {_short(text)}; give a step of 1 kHz to 10 MHz in whole Hz")
    return int(step)


def _blank_lines(text: str) -> tuple[int, int, int]:
    found = re.fullmatch(r"\s*(\d{1,2})\s*/\s*(\d{1,2})\s*/\s*(\d{1,3})\s*", text)
    if found is None or min(map(int, found.groups())) < 1:
        raise UsageError(
            f"--blank-lines: got {_short(text)}, front porch/sync/back porch in lines of a field such as 1/3/12 are"
            " expected"
        )
    return int(found[1]), int(found[2]), int(found[3])


def _quantity(option: str, text: str, units: Mapping[str, Fraction], *, example: str, most: int) -> Fraction:
    """A number with a unit; without one the first unit counts."""
    found = re.fullmatch(rf"\s*{_NUMBER}\s*({'|'.join(map(re.escape, units))})?\s*", text.lower().replace("µ", "u"))
    if found is None or Fraction(found[1]) > most:
        raise UsageError(f"{option}: got {_short(text)}; give a value such as {example}, at most {most}")
    return Fraction(found[1]) * units[found[2] or next(iter(units))]


def _span(option: str, text: str, unit: str, *, example: str, least: int, most: int) -> Span:
    part = rf"\s*{_NUMBER}\s*(?:{unit.lower()}\s*)?"
    found = re.fullmatch(rf"{part}{_DASH}{part}", text.lower().replace("µ", "u"))
    if found is None:
        raise UsageError(f"{option}: got {_short(text)}; give a range such as {example}")
    low, high = Fraction(found[1]), Fraction(found[2])
    if not least <= low <= high <= most:
        raise UsageError(f"{option}: got {_short(text)}; give the lower end first, from {least} to {most} {unit}")
    return Span(low=low, high=high)


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")
