"""All sets of a bench: hours, last service, what drifted since, and what is due, from their records alone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import hypot
from pathlib import Path

from analysis.answer import Figure
from analysis.raster.classes import SetClass
from render.errors import FileError
from trueraster.output.json import read
from trueraster.record.compare import comparisons
from trueraster.record.schema import Record, Stage
from trueraster.record.store import read_record
from trueraster.report.limits import SURE, Limit, Verdict, judged
from trueraster.report.tolerances import Found, tolerances_of

__all__ = ["FleetSet", "fleet_of", "read_fleet"]

_MOST_DRIFTS = 3
"""Figures that are named for a set."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetSet:
    """One set, by its newest record."""

    record: Path
    name: str
    serial: str
    hours: float | None
    last_service: str
    """The day of the last work that was noted; empty where there was none."""
    due_in_hours: float | None
    """Until the next service; below 0 when it is overdue. None where it is not known."""
    why_not: str
    """Why `due_in_hours` is not known."""
    verdicts: dict[Verdict, int]
    """How many figures are what, as last measured."""
    drifted: tuple[str, ...]
    """What moved by more than twice its uncertainty since the set was last finished, in words."""


def read_fleet(folder: Path) -> tuple[list[Record], list[str]]:
    """The records in a folder, and what is no record, a line each."""
    found, other = [], []
    for path in sorted(folder.glob("*.json")):
        try:
            found.append(read_record(path))
        except (FileError, OSError) as error:
            other.append(str(error))
    return found, other


def fleet_of(records: Sequence[Record]) -> list[FleetSet]:
    """One line for each set: what is overdue first, then by name. Records with one serial number are of one set."""
    by_set: dict[str, list[Record]] = {}
    for record in sorted(records, key=lambda one: one.made):
        by_set.setdefault(record.set.serial or f"{record.path}", []).append(record)
    sets = [_set(held) for held in by_set.values()]
    return sorted(sets, key=lambda one: (one.due_in_hours is None, one.due_in_hours or 0.0, one.name))


def _set(records: Sequence[Record]) -> FleetSet:
    last = records[-1]
    work = [one for record in records for one in record.work]
    newest = max(work, key=lambda one: one.date, default=None)
    due, why = None, ""
    if last.set.service_every_hours is None:
        why = "no interval is set"
    elif last.set.hours is None:
        why = "its hours are not known"
    elif newest is None:
        why = "no service is noted"
    elif newest.hours is None:
        why = "its hours at the last service are not known"
    else:
        due = newest.hours + last.set.service_every_hours - last.set.hours
    judged_by = [_judged(record) for record in records[-2:]]
    cells = [list(row.values())[-1] for row in judged_by[-1].values()]
    verdicts = [judged(cell, limit) for cell, limit in cells]
    return FleetSet(
        record=last.path,
        name=last.set.name or "A set without a name",
        serial=last.set.serial,
        hours=last.set.hours,
        last_service="" if newest is None else newest.date[:10],
        due_in_hours=due,
        why_not=why,
        verdicts={verdict: verdicts.count(verdict) for verdict in Verdict},
        drifted=tuple(words for _, words in sorted(_drifts(judged_by), reverse=True)[:_MOST_DRIFTS]),
    )


Judged = dict[tuple[str, str], dict[Stage, tuple[Figure, Limit]]]
"""Figures with a limit, by what was measured and their id; at each stage that has a value of it, in their order."""


def _judged(record: Record) -> Judged:
    """Only what is judged, without all else that a report says: hundreds of records are read at once."""
    named = record.set.set_class
    known = SetClass(named) if named in set(SetClass) else SetClass.BROADCAST
    own = tolerances_of(record.tolerances, [], known) if record.tolerances else None
    found: Judged = {}
    for one in comparisons(record):
        for stage, result in one.last.items():
            for name, figure in read(result.kind, result.result).items():
                limit = own.of(name) if own else _usual(known, name)
                if limit is not None and figure.value is not None:
                    found.setdefault((one.title, name), {})[stage] = (figure, limit.limit)
    return found


@lru_cache(maxsize=1 << 14)
def _usual(set_class: SetClass, name: str) -> Found | None:
    return tolerances_of({}, [], set_class).of(name)


def _drifts(records: Sequence[Judged]) -> Iterator[tuple[float, str]]:
    """Judged figures that moved, with how many uncertainties: from the end of the last job to the beginning of the
    newest, or within one record from its adjustment to a later service."""
    for key, row in records[-1].items():
        if len(records) > 1:
            earlier = records[0].get(key, {})
            first, then = (list(earlier.values())[-1] if earlier else None), row.get(Stage.AS_FOUND)
        else:
            first, then = row.get(Stage.AFTER_ADJUSTMENT), row.get(Stage.AFTER_SERVICE)
        if first is None or then is None:
            continue
        old, new = first[0], then[0]
        # Without both uncertainties nobody knows whether it moved.
        if old.value is None or new.value is None or not old.uncertainty or not new.uncertainty:
            continue
        moved = new.value - old.value
        times = abs(moved) / hypot(old.uncertainty, new.uncertainty)
        if times > SURE:
            yield times, f"{new.quantity.words} by {moved:+.3g} {new.quantity.unit}".strip()
