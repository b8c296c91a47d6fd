"""What `measure grey` and `measure colour` are told about the meter, turned into values."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from trueraster.options import UsageError

if TYPE_CHECKING:
    from analysis.meter.readings import Meter

__all__ = ["meter_of"]

_MOST_LUMINANCE, _MOST_XY = 50.0, 0.05
"""Percent, and of x and y: a meter that is worse measures nothing."""


def meter_of(luminance_percent: float | None, xy: float | None) -> Meter:
    """How well the meter reads, as it was typed; what was not is as usual.

    Raises:
        UsageError: it is no uncertainty that a meter has.
    """
    from analysis.meter.readings import Meter

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
