"""The analogue interface of a waveform: its traces, their levels, and on which of them sync rides."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from patterns.formats import Family, Format
from patterns.standards.levels import (
    COLOUR_DIFFERENCE_PEAK_MV,
    COMPONENT_SYNC_MV,
    COMPONENT_WHITE_MV,
    IRE_MV,
    OLD_525_DIFFERENCE_PEAK_MV,
    SYNC_IRE,
    WHITE_525_MV,
)

__all__ = ["SYNC_KEY", "Interface", "SignalKind", "SyncOn", "TraceKind", "interface_of", "usual_levels"]


class SignalKind(StrEnum):
    """The set of signals that is looked at."""

    YPBPR = "ypbpr"
    RGB = "rgb"
    COMPOSITE = "composite"
    """Its luma with sync and setup; the subcarrier is left out."""


class SyncOn(StrEnum):
    """Which signals carry sync in R'G'B'."""

    GREEN = "green"
    ALL = "all"
    SEPARATE = "separate"


SYNC_KEY = "sync"
"""Of the trace that is sync alone."""


@dataclass(frozen=True, slots=True)
class TraceKind:
    """One trace: `key` for options and columns, `name` for words; a colour difference is centred on 0 mV."""

    key: str
    name: str
    has_sync: bool
    is_difference: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Interface:
    """Levels in mV from blanking, which is 0: exact. `sync_mv` is negative; tri-level sync rises as far above."""

    signal: SignalKind
    white_mv: Fraction
    black_mv: Fraction
    sync_mv: Fraction
    difference_mv: Fraction
    """Of a colour difference of 1, so that 0.5 is the peak of 100 % colours."""
    setup_ire: Fraction
    traces: tuple[TraceKind, ...]

    def percent(self, trace: TraceKind, millivolts: float) -> float:
        """A level in % of the picture's excursion, black 0 and white 100; of a colour difference -50 to 50."""
        if trace.is_difference:
            return 100 * millivolts / float(self.difference_mv)
        return 100 * (millivolts - float(self.black_mv)) / float(self.white_mv - self.black_mv)


_YPBPR = (
    TraceKind("y", "Y'", True),
    TraceKind("pb", "P'B", False, True),
    TraceKind("pr", "P'R", False, True),
)


def usual_levels(fmt: Format, signal: SignalKind) -> int:
    """White in mV, where nothing else is asked: 700 (SMPTE/EBU N10), of 525-line composite 714 (100 IRE)."""
    return 714 if signal is SignalKind.COMPOSITE and fmt.family is Family.SD525 else 700


def interface_of(
    fmt: Format,
    signal: SignalKind,
    *,
    levels: int | None = None,
    setup_ire: Fraction = Fraction(0),
    sync_on: SyncOn | None = None,
) -> Interface:
    """The interface of a format, which has to have it: the caller checks that.

    Composite is of 15 kHz formats only. `levels` is white in mV: 700, or in 15 kHz formats of 525 lines 714. Setup is 0
    or 7.5 IRE, with 714 only. In Y'P'BP'R 714 mV has setup, and wider colour difference. `sync_on` is of R'G'B' only.
    """
    if levels is None:
        levels = usual_levels(fmt, signal)
    older = levels == 714 and signal is SignalKind.YPBPR
    ire = IRE_MV.value
    peak = OLD_525_DIFFERENCE_PEAK_MV if older else COLOUR_DIFFERENCE_PEAK_MV
    white = Fraction(COMPONENT_WHITE_MV.value) if levels == 700 else WHITE_525_MV.value
    sync = Fraction(COMPONENT_SYNC_MV.value) if levels == 700 else SYNC_IRE.value * ire
    return Interface(
        signal=signal,
        white_mv=white,
        black_mv=setup_ire * ire,
        sync_mv=sync,
        difference_mv=2 * Fraction(peak.value),
        setup_ire=setup_ire,
        traces=_traces(signal, sync_on or SyncOn.GREEN),
    )


def _traces(signal: SignalKind, sync_on: SyncOn) -> tuple[TraceKind, ...]:
    if signal is SignalKind.YPBPR:
        return _YPBPR
    if signal is SignalKind.COMPOSITE:
        return (TraceKind("luma", "luma", True),)
    guns = tuple(
        TraceKind(key, f"{key.upper()}'", sync_on is SyncOn.ALL or (sync_on is SyncOn.GREEN and key == "g"))
        for key in "rgb"
    )
    return (*guns, TraceKind(SYNC_KEY, "sync", True)) if sync_on is SyncOn.SEPARATE else guns
