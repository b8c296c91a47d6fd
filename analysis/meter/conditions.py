"""Conditions that readings show besides what can be adjusted: what each is, and what both measurements look for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.meter.readings.types import CD_M2_OF_FL
from analysis.meter.repeats import Drift

__all__ = ["Condition", "drift_condition", "unit_condition"]

_DIM, _BRIGHT = 52.0, 700.0
"""cd/m2 of white below which a picture monitor is unusually dim (in foot-lamberts, white of 178 cd/m2 is 52), and above
which no picture tube is; common practice, no source."""
_WHITE_FROM = 90.0
"""Percent of level from which a grey is near enough to white for that."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition:
    """Something that readings show and no cut-off or drive mends."""

    id: str
    gun: str = ""
    """Or field; empty where it is of no single one."""
    other: str = ""
    """The other field, where it is of two."""
    level_percent: float | None = None
    """From where on, of the signal."""
    amount: float | None = None
    unit: str = ""
    uncertainty: float | None = None
    """Standard, of the amount."""
    variant: str = ""
    """Which of several ways it shows."""
    values: Mapping[str, float | None] = field(default_factory=dict)
    """Further figures of it, for its words."""


def drift_condition(drift: Drift) -> Condition:
    """That the set or the meter changed while it was read."""
    return Condition(
        id="warm-up-drift",
        amount=drift.luminance_percent,
        unit="%",
        uncertainty=drift.uncertainty[0],
        values={"x": drift.x, "y": drift.y},
    )


def unit_condition(brightest: tuple[float, float]) -> list[Condition]:
    """Whether the light of white, (level in percent, cd/m2), is more likely in another unit."""
    level, light = brightest
    if level < _WHITE_FROM or light <= 0:
        return []
    if light < _DIM:
        return [Condition(id="unit", amount=light, unit="cd/m2", variant="dim", values={"then": light * CD_M2_OF_FL})]
    if light > _BRIGHT:
        return [Condition(id="unit", amount=light, unit="cd/m2", variant="bright")]
    return []
