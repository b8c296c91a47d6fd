"""What an examination finds: the faults of a chain, and all that is told of a frame."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from analysis.frame.faults.remedies import fault_words
from analysis.frame.levels import Check

if TYPE_CHECKING:
    from analysis.frame.faults.remedies import FaultWords

__all__ = ["Blind", "Examination", "Fault", "Grade", "OtherPatternError"]


class Grade(StrEnum):
    """How good a frame is."""

    EXACT = "exact"
    """As it was drawn, within a code of 8 bits."""
    GOOD = "good"
    """Good for service: within 2 %, or what was asked for, and nothing named."""
    FAIL = "fail"


class Blind(StrEnum):
    """What a pattern in a capture cannot show."""

    BELOW_BLACK = "below-black"
    BELOW_BLACK_FULL = "below-black-full-range"
    ABOVE_WHITE = "above-white"
    ABOVE_WHITE_FULL = "above-white-full-range"
    COLOURS = "colours"
    GREYS = "greys"
    PLACE_ACROSS = "place-across"
    PLACE_DOWN = "place-down"
    DETAIL = "fine-detail"
    DETAIL_LIMITED = "finest-detail"
    HALOS = "halos"
    FIELDS = "fields"
    FIELDS_IN_TIME = "fields-in-time"
    SCAN = "scan"
    SCALED = "scaled-capture"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """A fault of the chain with its words. `parameters` are figures by the names in docs/reference/faults.md."""

    id: str
    confidence: float
    parameters: dict[str, Any] = field(default_factory=dict)
    seen: str = ""
    """What is seen in this very capture, where that says more than the general words."""
    of_levels: bool = False
    """Whether it is one of levels or colours; the others are of place, edges and fields."""

    @property
    def title(self) -> str:
        return _words(self.id).title

    @property
    def explanation(self) -> str:
        """What is seen, with its figures, and what in a chain does it."""
        words = _words(self.id)
        seen = self.seen or words.seen.format_map(_Spelt(self.parameters))
        decide = self.parameters.get("decide")
        also = f" Another fault does the same to this pattern; {decide} would decide." if decide else ""
        return f"{seen} {words.cause}{also}"

    @property
    def remedy(self) -> str:
        return _words(self.id).remedy


def _words(id: str) -> FaultWords:
    return fault_words()[id]


class _Spelt(dict[str, Any]):
    """Parameters as words have them: rounded, signed where they are differences."""

    def __getitem__(self, name: str) -> str:
        value = super().get(name, "?")
        if value is None:
            return "an untold number of" if name.startswith("offset") else "an untold part"
        if isinstance(value, str):
            return value
        if isinstance(value, Sequence):
            *before, last = map(str, value)
            return f"{', '.join(before)} and {last}" if before else last
        if name in ("offset_percent", "degrees", "offset_x", "offset_y"):
            return f"{round(value, 2) + 0.0:+.2f}"
        return f"{value:.3f}" if abs(value) < 1 else f"{value:.4g}"

    def __missing__(self, name: str) -> str:
        return self[name]


@dataclass(frozen=True, slots=True, kw_only=True)
class Examination:
    """What was found in a frame."""

    check: Check
    faults: tuple[Fault, ...]
    reasons: dict[str, str] = field(default_factory=dict)
    """Why a figure is not available, by its name."""
    fills_raster: bool = False
    """Whether the pattern is drawn over all samples of a raster whose picture is narrower."""
    has_tolerance: bool = False
    """Whether a tolerance was stated, which decides then."""
    cannot_show: tuple[Blind, ...] = ()
    """What this pattern and this capture cannot show."""

    @property
    def passed(self) -> bool:
        """Whether all levels are within what is asked and nothing is named.

        Where a tolerance was stated, a fault of levels that stays within it is named and fails nothing. Without one
        a frame of another raster fails: whether the player or the capture scaled it cannot be known.
        """
        if self.has_tolerance:
            return self.check.passed and all(fault.of_levels for fault in self.faults)
        return self.check.passed and not self.faults and Blind.SCALED not in self.cannot_show

    @property
    def grade(self) -> Grade:
        if not self.passed:
            return Grade.FAIL
        return Grade.EXACT if self.check.is_exact and not self.faults else Grade.GOOD

    @property
    def worst(self) -> tuple[int, float]:
        """How bad a frame is, to be compared: the number of its faults, then its largest error in percent."""
        signal = self.check.signal
        scales = [signal.fraction_of(i, 1) - signal.fraction_of(i, 0) for i in range(3)]
        errors = (
            abs(error or 0.0) * scale
            for reading in self.check.readings
            for error, scale in zip(reading.error, scales, strict=True)
        )
        return len(self.faults) + (not self.check.passed), 100 * max(errors, default=0.0)


class OtherPatternError(ValueError):
    """The frame shows another pattern than the one that was asked for, or none."""

    def __init__(self, asked: str, found: str | None, turned: str = "") -> None:
        """`turned` says how the pattern that was found stands there, where it is mirrored."""
        self.asked, self.found, self.turned = asked, found, turned
        words = f"this looks like {found}, not {asked}" if found else "there is no pattern in this frame"
        super().__init__(f"this is {found} with {turned} exchanged" if turned else words)

    @property
    def fault(self) -> Fault:
        if self.found is None:
            return Fault(id="no-pattern", confidence=1.0)
        looks_like = f"{self.found} with {self.turned} exchanged" if self.turned else self.found
        return Fault(id="wrong-pattern", confidence=1.0, parameters={"pattern": self.asked, "looks_like": looks_like})
