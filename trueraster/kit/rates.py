"""The line rates that a set accepts, and which formats of a kit lie outside."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from patterns.formats import Format
from trueraster.options.trade import Kind, meant
from trueraster.options.values import UsageError

__all__ = [
    "AS_STATED",
    "SINGLE_TOLERANCE",
    "LineRates",
    "check_line_rates",
    "is_within",
    "line_rates_note",
    "parse_line_rates",
    "ranges_text",
    "understood_note",
]

SINGLE_TOLERANCE = Fraction(1, 100)
"""Of a single value; narrower than any set's hold range. Common practice, no source."""
AS_STATED = Fraction(1, 2000)
"""Half of the last digit of a rate in kHz or Hz as it is told: 15.734266 kHz does not lie outside '15.6-15.734'."""
_LOWEST, _HIGHEST = 10, 200
"""In kHz. A 405-line set scans at 10.1 kHz, no tube much above 150. Common practice, no source."""
_WIDEST = 8
"""Times its lowest rate that one range may reach. Sets of 15 to 110 kHz exist. Common practice, no source."""
_NUMBER = r"(\d{1,4}(?:\.\d{1,6})?)\s*(?:khz\s*)?"
_PART = re.compile(rf"\s*{_NUMBER}(?:[-\u2010-\u2015\u2212]\s*{_NUMBER})?", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRates:
    """A range of line rates in kHz, both ends in it."""

    low: Fraction
    high: Fraction

    def __str__(self) -> str:
        return f"{float(self.low):g} to {float(self.high):g}"


def parse_line_rates(text: str, option: str = "--line-rates") -> tuple[LineRates, ...]:
    """Read '15.6-15.8,31-32' in kHz, lowest first; a single value stands for itself and 1 % to each side.

    '15kHz' and '31kHz' are the classes of set that scan so: 15 to 16.5 and 30 to 33 kHz.

    A comma stands between ranges. Where it might as well be meant as a decimal comma nothing is guessed: fed with a
    line rate that it does not take, a set can be damaged.

    Raises:
        UsageError: it is nothing of the kind, or may be meant in two ways.
    """
    got = f"{option}: got {_short(text)}"
    parts = text.split(",")
    matches = [_PART.fullmatch(part) for part in parts]
    for i in range(1, len(parts)):
        whole = re.search(r"(?<![\d.])\d+$", parts[i - 1]), re.match(r"\d+(?![\d.])", parts[i])
        # Between two ranges it is no decimal comma: there would be a range of three ends.
        if whole[0] and whole[1] and not _are_ranges(matches[i - 1], matches[i]):
            point = f"{whole[0][0]}.{whole[1][0]}"
            raise UsageError(
                f"{got}, is the comma a decimal one? Write {point}, with a point, or a blank after the comma"
            )
    found: list[LineRates] = []
    last = Fraction(0)
    for match in (_PART.fullmatch(meant(Kind.LINE_RATES, part)) for part in parts):
        if match is None:
            raise UsageError(f"{got}, ranges in kHz such as 15.6-15.8,31-32 are expected, with a point")
        low = Fraction(match[1])
        high = Fraction(match[2]) if match[2] else low
        if not (_LOWEST <= low <= high <= _HIGHEST):
            raise UsageError(f"{got}, ranges are each lowest first, from {_LOWEST} to {_HIGHEST} kHz")
        if low <= last:
            raise UsageError(f"{got}, each range has to begin above the one before it, as 15.6-15.8,31-32")
        if high > _WIDEST * low:
            raise UsageError(f"{got}, {match[1]} to {match[2]} is no set's range; state it as the set's papers do")
        last = high
        if match[2] is None:
            low, high = low * (1 - SINGLE_TOLERANCE), high * (1 + SINGLE_TOLERANCE)
        found.append(LineRates(low=low, high=high))
    return tuple(found)


def _are_ranges(*matches: re.Match[str] | None) -> bool:
    return all(match is not None and match[2] is not None for match in matches)


def _short(text: str) -> str:
    return repr(text if len(text) <= 30 else text[:27] + "...")


def ranges_text(accepted: Sequence[LineRates]) -> str:
    """Accepted line rates for people: '15.6 to 15.8 or 31 to 32 kHz'."""
    return " or ".join(str(rates) for rates in accepted) + " kHz"


def understood_note(accepted: Sequence[LineRates]) -> str:
    """What is taken for the set's line rates, so that a slip of the keys is seen before the set is fed."""
    return f"Line rates that the set accepts: {ranges_text(accepted)}. All formats of this kit lie within."


def is_within(khz: Fraction, accepted: Sequence[LineRates]) -> bool:
    """Whether a line rate lies in one of the ranges; what is told as the same figure is no further off."""
    return any(rates.low - AS_STATED <= khz <= rates.high + AS_STATED for rates in accepted)


def _khz(fmt: Format) -> Fraction | None:
    return None if fmt.timing is None else fmt.timing.line_rate_hz / 1000


def check_line_rates(formats: Sequence[Format], accepted: Sequence[LineRates]) -> None:
    """Refuse formats that the set does not accept.

    Raises:
        UsageError: a line rate lies outside all ranges, or is not known.
    """
    ranges = ranges_text(accepted)
    for fmt in formats:
        khz = _khz(fmt)
        if khz is None:
            raise UsageError(
                f"--line-rates: the line rate of {fmt.id} is not known (a raster without timing), the set takes"
                f" {ranges}"
            )
        if not is_within(khz, accepted):
            raise UsageError(
                f"--line-rates: {fmt.id} has a line rate of {float(khz):.3f} kHz, outside {ranges}: "
                "fed to the set it could damage its deflection"
            )


def line_rates_note(formats: Sequence[Format]) -> str:
    """What to compare with the set's stated range, when nobody has said what it accepts."""
    rates = {fmt.id: _khz(fmt) for fmt in formats}
    told = ", ".join(f"{name} {'unknown' if khz is None else f'{float(khz):.3f} kHz'}" for name, khz in rates.items())
    return f"Line rates of this kit: {told}. Compare them with the set's stated range (--line-rates checks it)."
