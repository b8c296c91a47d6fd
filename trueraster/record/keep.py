"""Results put into a record's file: what `--record` and the bench share."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from trueraster.record.changes import with_results
from trueraster.record.schema import Stage
from trueraster.record.store import change_record

__all__ = ["keep_results"]

Json = Mapping[str, Any]


def keep_results(path: Path, stage: Stage, entries: Sequence[Json], say: Callable[[str], None]) -> list[Json]:
    """Attach results to a stage of a record; one that is there already is left out. Gives those that were attached.

    Args:
        path: the record.
        stage: when it was measured.
        entries: as `trueraster.record.results.entries_of` makes them.
        say: gets a line of words while another process has the record.

    Raises:
        FileError: the record cannot be read; it is as it was.
        OSError: it cannot be written; it is as it was.
    """
    added: list[Json] = []

    def change(held: Json) -> Json:
        added.clear()
        return with_results(held, stage, entries, added)

    change_record(path, change, say)
    return added
