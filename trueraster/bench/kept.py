"""Which answers the record has. The record is asked each time it has changed: others may add to it or take away."""

from __future__ import annotations

import hashlib
import json
import threading
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from trueraster.options.record import now
from trueraster.output.terminal import note
from trueraster.record.changes import with_work
from trueraster.record.keep import keep_results
from trueraster.record.results import entries_of
from trueraster.record.schema import Stage, record_of
from trueraster.record.store import change_record, read_object

__all__ = ["Kept", "digest_of"]

Json = Mapping[str, Any]


def digest_of(result: Json) -> str:
    """What two equal results have in common, and no others."""
    return hashlib.sha256(json.dumps(result, sort_keys=True).encode()).hexdigest()


class Kept:
    """A record's results by stage, looked at anew when its file has changed."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.Lock()
        """Two phones ask at the same time."""
        self._seen: tuple[int, int, int] | None = None
        self._stages: dict[str, str] = {}
        self.name = ""
        self.formats: tuple[str, ...] = ()
        """That the set accepts, as the record says."""

    def mark(self) -> tuple[int, int, int]:
        """What changes with the record's file; zeros while it is not there."""
        try:
            state = self.path.stat()
        except OSError:
            return 0, 0, 0
        return state.st_mtime_ns, state.st_size, state.st_ino

    def stages(self) -> Mapping[str, str]:
        """The stage at which the record has each result, by digest.

        Raises:
            FileError: the record cannot be read.
        """
        with self._lock:
            mark = self.mark()
            if mark != self._seen:
                held = read_object(self.path)
                # First of all: what is no record is one line.
                record = record_of(held, self.path)
                self._stages = {
                    digest_of(entry["result"]): stage
                    for stage, content in held.get("stages", {}).items()
                    for entry in content.get("results", ())
                }
                self.name, self.formats = record.set.name, record.set.formats
                self._seen = mark
            return self._stages

    def keep(self, result: Json, stage: Stage, source: str, date: str) -> None:
        """Attach a result; one that is there already stays as it is.

        Raises:
            FileError: as `change_record` does.
            OSError: as `change_record` does.
        """
        keep_results(self.path, stage, entries_of(result, date=date, source=source), note)

    def take_away(self, result: Json) -> None:
        """Take a result out of the record again, wherever it is.

        Raises:
            FileError: as `change_record` does.
            OSError: as `change_record` does.
        """

        def change(held: Json) -> Json:
            stages = {}
            for name, content in held.get("stages", {}).items():
                results = content.get("results", [])
                left = [entry for entry in results if not isinstance(entry, dict) or entry.get("result") != result]
                stages[name] = content if len(left) == len(results) else {**content, "results": left}
            same = all(stages[name] is content for name, content in held.get("stages", {}).items())
            return held if same else {**held, "stages": stages}

        change_record(self.path, change, note)

    def note_work(self, at: str, text: str) -> None:
        """Note what was done, unless the very same line is there.

        Raises:
            FileError: as `change_record` does.
            OSError: as `change_record` does.
        """

        def change(held: Json) -> Json:
            line = {"date": at or now(), "text": text}
            return held if line in held.get("work", []) else with_work(held, line["date"], text)

        change_record(self.path, change, note)
