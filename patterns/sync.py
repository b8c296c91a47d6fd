"""The sync of a format: which kind, where its parts lie, and on which signal it rides."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from patterns.formats import Family, Format
from patterns.sources import Mark, Source

__all__ = ["Sync", "SyncKind", "sync_of"]


class SyncKind(StrEnum):
    """BI_LEVEL goes from blanking down and back; TRI_LEVEL down, up and back, and is timed by its middle."""

    BI_LEVEL = "bi-level"
    TRI_LEVEL = "tri-level"


_SD = Source(document="ITU-R BT.1700; SMPTE/EBU N10", mark=Mark.MEMORY)
_HD = Source(document="SMPTE ST 274, ST 296", mark=Mark.MEMORY, note="the negative half is as long as the positive one")
_COMPUTER = Source(document="no document", mark=Mark.PRACTICE, note="polarities are those of the mode line")


@dataclass(frozen=True, slots=True, kw_only=True)
class Sync:
    """The sync of a format that has a timing.

    `on` says in words where it rides on. `negative_half` are the samples of a tri-level pulse's negative half, which
    are the last ones of the front porch; 0 otherwise.
    """

    kind: SyncKind
    on: str
    h_positive: bool
    v_positive: bool
    negative_half: int
    source: Source


def sync_of(fmt: Format) -> Sync | None:
    """The sync as the format's own system has it; None where the player or the computer chooses the timing."""
    timing = fmt.timing
    if timing is None:
        return None
    h_positive, v_positive = timing.polarity
    if fmt.family is Family.HD:
        return Sync(
            kind=SyncKind.TRI_LEVEL,
            on="on Y', or on G' (all three of R'G'B' in some systems)",
            h_positive=h_positive,
            v_positive=v_positive,
            negative_half=timing.h.sync,
            source=_HD,
        )
    if fmt.family is Family.COMPUTER:
        on, source = (
            "separate horizontal and vertical sync at logic level; combined and negative where it rides on G' or Y'",
            _COMPUTER,
        )
    else:
        on, source = "on Y', on G' or separate; on the luma of composite", _SD
    return Sync(
        kind=SyncKind.BI_LEVEL, on=on, h_positive=h_positive, v_positive=v_positive, negative_half=0, source=source
    )
