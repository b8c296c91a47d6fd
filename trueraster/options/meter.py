"""The options of `measure grey` and `measure colour` on the meter, turned into values."""

from __future__ import annotations

import math

from analysis.meter.primaries.measure import PRIMARIES
from analysis.meter.readings.types import Meter, Readings
from analysis.meter.whites import PrimarySet, White, primaries_of, white_of
from trueraster.options.trade import Kind, meant, word_note
from trueraster.options.values import UsageError
from trueraster.output.terminal import note

__all__ = ["meter_of", "target_of", "tube_of"]

_MOST_LUMINANCE, _MOST_XY = 50.0, 0.05
"""Percent, and of x and y: a meter that is worse measures nothing."""


def meter_of(luminance_percent: float | None, xy: float | None) -> Meter:
    """How well the meter reads, as it was typed; what was not is as usual.

    Raises:
        UsageError: it is no uncertainty that a meter has.
    """
    usual = Meter()
    for name, value, most in (
        ("--meter-luminance", luminance_percent, _MOST_LUMINANCE),
        ("--meter-xy", xy, _MOST_XY),
    ):
        if value is not None and not (math.isfinite(value) and 0 < value <= most):
            raise UsageError(f"{name}: got {value:g}, more than 0 and at most {most:g} is expected")
    return Meter(
        luminance=usual.luminance if luminance_percent is None else luminance_percent / 100,
        xy=usual.xy if xy is None else xy,
    )


def target_of(text: str) -> White:
    """The target white: d65, d93, a word of the trade such as 9300K, or x,y. A note says what a word leaves open.

    Raises:
        ValueError: it is no white; one line that names the option.
    """
    words = word_note(Kind.WHITE, text)
    if words:
        note(f"Note: {words}")
    return white_of(meant(Kind.WHITE, text))


def tube_of(text: str | None, readings: Readings) -> PrimarySet | None:
    """The tube's primaries as they were typed; None for those that were read.

    Where nothing was typed, those that were read are taken if all three were, and else SMPTE C's.

    Raises:
        ValueError: it is no such word; one line that names the option.
    """
    if text is None:
        read = all(any(item.luminance > 0 for item in readings.of(field)) for field in PRIMARIES)
        text = "readings" if read else "smpte-c"
    return primaries_of(text, or_readings=True)
