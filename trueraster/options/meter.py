"""The options of `measure grey` and `measure colour` on the meter, turned into values."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated

from analysis.meter.primaries.fields import PRIMARIES
from analysis.meter.readings.types import Meter, Readings
from analysis.meter.whites import PrimarySet, White, primaries_of, white_of
from trueraster.options.declared import file_option, option
from trueraster.options.trade import Kind, meant, word_note
from trueraster.options.values import UsageError
from trueraster.output.terminal import note

__all__ = ["USUAL_METER", "FileOptions", "MeterOptions", "meter_of", "target_of", "tube_of"]

_MOST_LUMINANCE, _MOST_XY, _MOST_LIGHT = 50.0, 0.05, 10.0
"""Percent, of x and y, and cd/m2 of dark noise or of a last digit: a meter that is worse measures nothing."""


@dataclass(frozen=True, kw_only=True)
class MeterOptions:
    """The target white, and how well the meter reads."""

    white: Annotated[str, option("--white", help="Target white: d65, d93 or x,y.", default="d65", show_default=True)]
    meter_luminance: Annotated[
        float | None,
        option(
            "--meter-luminance",
            help="The meter's standard uncertainty in luminance.  [default: 2]",
            type=float,
            metavar="PERCENT",
        ),
    ]
    meter_xy: Annotated[
        float | None,
        option(
            "--meter-xy",
            help="The meter's standard uncertainty in x and y.  [default: 0.002]",
            type=float,
            metavar="XY",
        ),
    ]
    meter_dark: Annotated[
        float | None,
        option(
            "--meter-dark",
            help="Its noise in the dark, in cd/m2.  [default: from repeated readings]",
            type=float,
            metavar="CD/M2",
        ),
    ]
    meter_resolution: Annotated[
        float | None,
        option(
            "--meter-resolution",
            help="Its last digit, in cd/m2.  [default: from the decimals of the file]",
            type=float,
            metavar="CD/M2",
        ),
    ]


USUAL_METER = MeterOptions(white="d65", meter_luminance=None, meter_xy=None, meter_dark=None, meter_resolution=None)
"""What holds where nothing is typed."""


@dataclass(frozen=True, kw_only=True)
class FileOptions:
    """The files that are written."""

    plots: Annotated[Path | None, file_option("--plots", "DIR", "Write plots into a folder, as SVG and PNG.")]
    page: Annotated[Path | None, file_option("--page", "OUT.html", "Write all of it as one page.")]


def meter_of(typed: MeterOptions) -> Meter:
    """How well the meter reads, as it was typed; what was not is as usual, or is taken from the readings.

    Raises:
        UsageError: it is no uncertainty that a meter has.
    """
    usual = Meter()
    for name, value, most in (
        ("--meter-luminance", typed.meter_luminance, _MOST_LUMINANCE),
        ("--meter-xy", typed.meter_xy, _MOST_XY),
        ("--meter-dark", typed.meter_dark, _MOST_LIGHT),
        ("--meter-resolution", typed.meter_resolution, _MOST_LIGHT),
    ):
        if value is not None and not (math.isfinite(value) and 0 < value <= most):
            raise UsageError(f"{name}: got {value:g}, more than 0 and at most {most:g} is expected")
    return Meter(
        luminance=usual.luminance if typed.meter_luminance is None else typed.meter_luminance / 100,
        xy=usual.xy if typed.meter_xy is None else typed.meter_xy,
        dark=typed.meter_dark,
        resolution=typed.meter_resolution,
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
