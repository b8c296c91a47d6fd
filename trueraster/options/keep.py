"""`--record` and `--stage`: an answer that is printed and kept in a set's record as well."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from trueraster.errors import UsageError
from trueraster.options.declared import file_option, option

if TYPE_CHECKING:
    from trueraster.record.schema import Stage

__all__ = ["KeepOptions", "Keeping", "keeping_of"]


@dataclass(frozen=True, kw_only=True)
class KeepOptions:
    """How an answer is asked to be kept."""

    record: Annotated[Path | None, file_option("--record", "RECORD", "Keep the answer in this record of a set too.")]
    stage: Annotated[
        str | None,
        option("--stage", help="With --record: as-found (or before), after-adjustment (or after) or after-service."),
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Keeping:
    """The record and the stage that an answer goes to."""

    path: Path
    stage: Stage
    source: str
    """What was measured: the file's name, as `record show` lists it."""

    def keep(self, answer: Mapping[str, Any]) -> None:
        """Add an answer's JSON to the record, the two of `measure raster` as two results, and say so.

        Raises:
            FileError: the record cannot be read any more; one line.
            OSError: it cannot be written; the record is as it was.
        """
        # Without --record nothing is kept: 8 ms.
        from trueraster.options.record import now
        from trueraster.output.terminal import note
        from trueraster.record.keep import keep_results
        from trueraster.record.results import entries_of

        entries = entries_of(answer, date=now(), source=self.source)
        kept = keep_results(self.path, self.stage, entries, note)
        there = "" if kept else " already"
        note(f"Note: {self.path} has it {self.stage.words}{there}")


def keeping_of(typed: KeepOptions, inputs: Sequence[Path]) -> Keeping | None:
    """Where an answer is to be kept, checked before anything is measured; None if that was not asked for.

    Args:
        typed: the options.
        inputs: the files that are measured.

    Raises:
        UsageError: one option is there without the other, or there is no such stage.
        FileError: the record cannot be read; one line.
    """
    if typed.record is None:
        if typed.stage is not None:
            raise UsageError("--stage: give --record RECORD too, the file that the answer is kept in")
        return None
    if typed.stage is None:
        raise UsageError("--record: give --stage too: as-found, after-adjustment or after-service")
    # As in `keep`.
    from trueraster.options.record import stage_of
    from trueraster.record.store import read_record

    stage = stage_of(typed.stage, "--stage")
    read_record(typed.record)
    more = f" and {len(inputs) - 1} more" if len(inputs) > 1 else ""
    return Keeping(path=typed.record, stage=stage, source=f"{inputs[0].name}{more}")
