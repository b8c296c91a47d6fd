"""What the set accepts, compared with what is to be shown, before the first picture is up."""

from __future__ import annotations

from pathlib import Path

from patterns.formats import Format, parse_format
from trueraster.errors import UsageError
from trueraster.kit.rates import SINGLE_TOLERANCE, LineRates, check_line_rates, parse_line_rates
from trueraster.record.store import read_record
from trueraster.show.outputs import Output, format_for

__all__ = ["accepted_rates", "check_accepted"]


def accepted_rates(line_rates: str | None, record: Path | None) -> tuple[LineRates, ...] | None:
    """The line rates that a set accepts, as typed or by the formats of its record; None where neither is given.

    Raises:
        UsageError: both are given, the rates cannot be meant, or the record does not say what the set accepts.
        FileError: the record cannot be read.
    """
    if line_rates is not None and record is not None:
        raise UsageError("--line-rates and --record: give one or the other")
    if line_rates is not None:
        return parse_line_rates(line_rates)
    if record is None:
        return None
    timings = [parse_format(name).timing for name in read_record(record).set.formats]
    rates = sorted({timing.line_rate_hz / 1000 for timing in timings if timing is not None})
    if not rates:
        raise UsageError(
            f"--record: {record} does not say which formats the set accepts;"
            f" 'trueraster record set {record} --accepts 480i,576i' does"
        )
    return tuple(LineRates(low=khz * (1 - SINGLE_TOLERANCE), high=khz * (1 + SINGLE_TOLERANCE)) for khz in rates)


def check_accepted(fmt: Format, output: Output, accepted: tuple[LineRates, ...]) -> None:
    """Refuse a format that the set does not accept, and an output whose own mode it does not.

    Raises:
        UsageError: a line rate lies outside, or is not known.
    """
    check_line_rates([fmt], accepted)
    if (fmt.width, fmt.height) != (output.width, output.height):
        # What reaches the set is the output's mode, whatever lies in the middle of it.
        check_line_rates([format_for(output)[0]], accepted)
