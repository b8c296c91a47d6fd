"""How far off a level may be: what was asked for, and what is exact or good where nothing was."""

from __future__ import annotations

from dataclasses import dataclass

from patterns.signal import Signal

__all__ = ["EXACT", "GOOD", "Tolerance"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """The largest error that passes: codes of 8 bits, or percent of white (of chroma's whole swing)."""

    value: float
    percent: bool = False

    def limits(self, signal: Signal) -> tuple[float, float, float]:
        """The limit of each component, in codes of the signal's depth."""
        if not self.percent:
            codes = self.value * (1 << (signal.bits - 8))
            return codes, codes, codes
        first, second, third = (
            self.value / 100 / (signal.fraction_of(i, 1) - signal.fraction_of(i, 0)) for i in range(3)
        )
        return first, second, third


EXACT = Tolerance(value=1.0)
"""Within it a frame is as it was drawn."""
GOOD = Tolerance(value=2.0, percent=True)
"""Within it a frame is good for service: common practice, no source."""
