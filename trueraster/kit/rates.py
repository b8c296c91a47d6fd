"""The line rates that a set accepts, and which formats of a kit lie outside."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from patterns.formats import Format
from trueraster.options import UsageError

__all__ = ["LineRates", "check_line_rates", "line_rates_note", "parse_line_rates"]

_TOLERANCE = Fraction(1, 100)
"""Of a single value; narrower than any set's hold range. Common practice, no source."""
_LOWEST, _HIGHEST = 1, 1000
_NUMBER = r"(\d{1,4}(?:\.\d{1,6})?)"
_PART = re.compile(rf"\s*{_NUMBER}\s*(?:-\s*{_NUMBER}\s*)?")


@dataclass(frozen=True, slots=True, kw_only=True)
class LineRates:
    """A range of line rates in kHz, both ends in it."""

    low: Fraction
    high: Fraction

    def __str__(self) -> str:
        return f"{float(self.low):g} to {float(self.high):g}"


def parse_line_rates(text: str) -> tuple[LineRates, ...]:
    """Read '15.6-15.8,31-32' in kHz; a single value stands for itself and 1 % to each side.

    Raises:
        UsageError: it is nothing of the kind.
    """
    found = []
    for part in text.split(","):
        match = _PART.fullmatch(part)
        if match is None:
            short = repr(text if len(text) <= 40 else text[:37] + "...")
            raise UsageError(f"--line-rates: got {short}, ranges in kHz such as 15.6-15.8,31-32 are expected")
        low = Fraction(match[1])
        high = Fraction(match[2]) if match[2] else low
        if not (_LOWEST <= low <= high <= _HIGHEST):
            words = f"each lowest first, from {_LOWEST} to {_HIGHEST} kHz"
            raise UsageError(f"--line-rates: got {part.strip()}, ranges are {words}")
        if match[2] is None:
            low, high = low * (1 - _TOLERANCE), high * (1 + _TOLERANCE)
        found.append(LineRates(low=low, high=high))
    return tuple(found)


def _khz(fmt: Format) -> Fraction | None:
    return None if fmt.timing is None else fmt.timing.line_rate_hz / 1000


def check_line_rates(formats: Sequence[Format], accepted: Sequence[LineRates]) -> None:
    """Refuse formats that the set does not accept.

    Raises:
        UsageError: a line rate lies outside all ranges, or is not known.
    """
    ranges = " or ".join(str(rates) for rates in accepted)
    for fmt in formats:
        khz = _khz(fmt)
        if khz is None:
            raise UsageError(
                f"--line-rates: the line rate of {fmt.id} is not known (a raster without timing), the set takes"
                f" {ranges} kHz"
            )
        if not any(rates.low <= khz <= rates.high for rates in accepted):
            raise UsageError(
                f"--line-rates: {fmt.id} has a line rate of {float(khz):.3f} kHz, outside {ranges} kHz: "
                "fed to the set it could damage its deflection"
            )


def line_rates_note(formats: Sequence[Format]) -> str:
    """What to compare with the set's stated range, when nobody has said what it accepts."""
    rates = {fmt.id: _khz(fmt) for fmt in formats}
    told = ", ".join(f"{name} {'unknown' if khz is None else f'{float(khz):.3f} kHz'}" for name, khz in rates.items())
    return f"Line rates of this kit: {told}. Compare them with the set's stated range (--line-rates checks it)."
