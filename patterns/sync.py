"""The sync of a format: which kind, where its parts lie, and which signal carries it."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from patterns.formats import Family, Format
from patterns.lines import timing_of
from patterns.sources import Mark, Source

__all__ = ["SyncKind", "sync_of"]


class SyncKind(StrEnum):
    """BI_LEVEL goes from blanking down and back; TRI_LEVEL down, up and back, and is timed by its middle."""

    BI_LEVEL = "bi-level"
    TRI_LEVEL = "tri-level"


_SD = Source(document="ITU-R BT.1700; SMPTE/EBU N10", mark=Mark.MEMORY)
_SD_P = Source(document="SMPTE 293M; ITU-R BT.1358; SMPTE/EBU N10", mark=Mark.MEMORY)
_HD = Source(document="SMPTE ST 274, ST 296", mark=Mark.MEMORY, note="the negative half is as long as the positive one")
_COMPUTER = Source(document="no document", mark=Mark.PRACTICE, note="polarities are those of the mode line")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sync:
    """The sync of a format that has a timing.

    `on` says in words which signals carry it. `negative_half` is the length of a tri-level pulse's negative half, in
    samples: the last ones of the front porch; 0 otherwise.
    """

    kind: SyncKind
    on: str
    h_positive: bool
    v_positive: bool
    negative_half: int
    source: Source


def sync_of(fmt: Format) -> Sync:
    """The sync as the format's own system has it.

    Raises:
        FormatError: it has no timing, because the player or the computer chooses it.
    """
    timing = timing_of(fmt)
    h_positive, v_positive = timing.polarity
    kind, negative_half = SyncKind.BI_LEVEL, 0
    if fmt.family is Family.HD:
        kind, negative_half = SyncKind.TRI_LEVEL, timing.h.sync
        on, source = "on Y', or on G' (all three of R'G'B' in some systems)", _HD
    elif fmt.family is Family.COMPUTER:
        on = "separate horizontal and vertical sync at logic level; combined and negative if G' or Y' carries it"
        source = _COMPUTER
    elif timing.is_15k:
        on, source = "on Y', on G' or separate; on the luma of composite", _SD
    else:
        # Composite ends with 15 kHz.
        on, source = "on Y', on G' or separate", _SD_P
    return Sync(
        kind=kind, on=on, h_positive=h_positive, v_positive=v_positive, negative_half=negative_half, source=source
    )
