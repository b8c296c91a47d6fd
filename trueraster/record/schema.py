"""What a record says, as values, and how they are read from its JSON.

A record is one JSON object. Changes are made to that object and not to the values here, so that keys which this version
does not know stay where they are, at every level.
"""

from __future__ import annotations

import binascii
import json
from base64 import b64decode
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Any, TypeVar

from render.errors import FileError
from trueraster.record.jsontext import path_to

__all__ = ["SCHEMA", "VERSION", "Attached", "AttachedPicture", "Record", "Stage", "record_of"]

SCHEMA = "trueraster-record"
"""What the key `schema` of every record says."""
VERSION = 1
"""The newest version of a record that is known here."""

Json = Mapping[str, Any]
Value = TypeVar("Value")


class Stage(StrEnum):
    """When something was measured, in the order of work."""

    AS_FOUND = "as-found"
    AFTER_ADJUSTMENT = "after-adjustment"
    AFTER_SERVICE = "after-service"

    @property
    def words(self) -> str:
        """'as found'."""
        return self.value.replace("-", " ")


@dataclass(frozen=True, slots=True, kw_only=True)
class SetDetails:
    """Which set it is, and what it takes. What was not said is empty."""

    name: str
    """In the bench's own words: '14-inch monitor, no. 0412'."""
    serial: str = ""
    hours: float | None = None
    """Of use, as its counter says."""
    inputs: tuple[str, ...] = ()
    """As 'component', 'composite', 'RGB and sync'."""
    formats: tuple[str, ...] = ()
    """Scan formats that it accepts, by the names of `trueraster formats`."""
    condition: str = ""
    """As it came in."""
    set_class: str = ""
    """What it is built for, which is what its tolerances are by: broadcast, industrial or domestic."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Work:
    """One thing that was done."""

    date: str
    """ISO 8601, a day or with the time."""
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Attached:
    """A result of `verify` or `measure`, as its `--json` was."""

    kind: str
    """The measurement, as `analysis.answer.Kind` names them; of a newer version it may be a different word."""
    date: str
    """ISO 8601: when it was measured where that was said, else when it was attached."""
    source: str
    """The file that it came from, without its folder."""
    note: str
    simulated: bool
    result: Json
    """Whole and unchanged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AttachedPicture:
    """A picture, kept in the record itself, so that it moves with it."""

    date: str
    name: str
    """Of the file that it came from, without its folder."""
    caption: str
    media_type: str
    """'image/jpeg' or 'image/png'."""
    size_px: tuple[int, int]
    """Width and height as it is kept."""
    original: Json
    """Of the file that it came from: `size_px`, `bytes`, `sha256`."""
    data: bytes = field(repr=False)


@dataclass(frozen=True, slots=True, kw_only=True)
class StageContent:
    """What was measured and photographed at one stage, in the order of attaching."""

    results: tuple[Attached, ...] = ()
    pictures: tuple[AttachedPicture, ...] = ()

    @property
    def is_empty(self) -> bool:
        return not self.results and not self.pictures


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """One set's record."""

    path: Path
    version: int
    made: str
    """ISO 8601."""
    set: SetDetails
    job: str = ""
    """The bench's own number of the job."""
    bench: str = ""
    technician: str = ""
    simulated: str = ""
    """For a record of no real set: words that say so."""
    work: tuple[Work, ...] = ()
    tolerances: Mapping[str, float] = field(default_factory=dict)
    """The user's own limits, by the id of a figure, as 'geometry.width_mm': the largest size that it may have."""
    stages: Mapping[Stage, StageContent]
    """All stages, in the order of work; one without anything is empty."""
    unknown: tuple[str, ...] = ()
    """Paths of keys that this version does not know. They are kept."""

    @property
    def is_simulated(self) -> bool:
        """Whether anything in it is a simulation."""
        return bool(self.simulated) or any(
            result.simulated for content in self.stages.values() for result in content.results
        )


def record_of(held: Json, path: Path) -> Record:
    """The values of a record's JSON object.

    Raises:
        FileError: it is no record, one of a newer version, or something in it is of the wrong kind; one line that
            names the file and the key's path.
    """
    reader = _Reader(path)
    if held.get("schema") != SCHEMA:
        raise FileError(f"{path}: not a record of a set; 'trueraster record new' makes one")
    version = reader.take(held, "", "version", _whole, f"a whole number such as {VERSION}", None)
    if version is None or version < 1:
        raise reader.error("version", f"a whole number such as {VERSION}", held.get("version"))
    if version > VERSION:
        raise FileError(
            f"{path}: a record of version {version}, from a newer trueraster; this one knows up to {VERSION}, so it is"
            " left as it is"
        )
    stages = reader.inner(held, "", "stages")
    contents = {stage: reader.stage(reader.inner(stages, "stages", stage.value), stage) for stage in Stage}
    record = Record(
        path=path,
        version=version,
        made=reader.date(held, "", "made"),
        set=reader.details(reader.inner(held, "", "set")),
        job=reader.text(held, "", "job"),
        bench=reader.text(held, "", "bench"),
        technician=reader.text(held, "", "technician"),
        simulated=reader.text(held, "", "simulated"),
        work=tuple(reader.work(one, where) for one, where in reader.each(held, "", "work")),
        tolerances=reader.tolerances(held),
        stages=contents,
    )
    reader.note_unknown(held, "", _TOP)
    reader.note_unknown(stages, "stages", {stage.value for stage in Stage})
    # Known only now, when all has been read.
    return replace(record, unknown=tuple(reader.unknown))


_TOP = {
    *("schema", "version", "made", "set", "job", "bench", "technician", "simulated", "work", "tolerances", "stages"),
}


class _Reader:
    """Takes values out of objects, each mistake told with its path."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.unknown: list[str] = []

    def error(self, where: str, wanted: str, got: Any) -> FileError:
        text = json.dumps(got, ensure_ascii=True, default=str)
        short = text if len(text) <= 40 else text[:37] + "..."
        return FileError(f"{self.path}: {where}: {wanted} is expected, not {short}")

    def take(
        self, held: Json, where: str, key: str, kind: Callable[[Any], Value | None], wanted: str, default: Value | None
    ) -> Value | None:
        """A value by its key; `kind` gives None for what it is not."""
        if key not in held or held[key] is None:
            return default
        value = kind(held[key])
        if value is None:
            raise self.error(path_to(where, key), wanted, held[key])
        return value

    def text(self, held: Json, where: str, key: str) -> str:
        return self.take(held, where, key, _text, "text in quotes", "") or ""

    def date(self, held: Json, where: str, key: str) -> str:
        return self.take(held, where, key, _date, "a date such as 2026-11-26", "") or ""

    def texts(self, held: Json, where: str, key: str) -> tuple[str, ...]:
        return self.take(held, where, key, _texts, "a list of texts", ()) or ()

    def size(self, held: Json, where: str, key: str) -> tuple[int, int]:
        size = self.take(held, where, key, _size, "width and height in pixels", None)
        if size is None:
            raise self.error(path_to(where, key), "width and height in pixels", None)
        return size

    def inner(self, held: Json, where: str, key: str) -> Json:
        return self.take(held, where, key, _object, "an object in braces", {}) or {}

    def each(self, held: Json, where: str, key: str) -> list[tuple[Json, str]]:
        """The objects of a list, with their paths."""
        whole = path_to(where, key)
        items: list[Any] = self.take(held, where, key, _list, "a list in brackets", []) or []
        for i, item in enumerate(items):
            if not isinstance(item, Mapping):
                raise self.error(f"{whole}[{i}]", "an object in braces", item)
        return [(item, f"{whole}[{i}]") for i, item in enumerate(items)]

    def note_unknown(self, held: Json, where: str, known: set[str]) -> None:
        self.unknown += [path_to(where, key) for key in held if key not in known]

    def details(self, held: Json) -> SetDetails:
        self.note_unknown(held, "set", {"name", "serial", "hours", "inputs", "formats", "condition", "set_class"})
        return SetDetails(
            name=self.text(held, "set", "name"),
            serial=self.text(held, "set", "serial"),
            hours=self.take(held, "set", "hours", _count, "a number of hours, 0 or more,", None),
            inputs=self.texts(held, "set", "inputs"),
            formats=self.texts(held, "set", "formats"),
            condition=self.text(held, "set", "condition"),
            set_class=self.text(held, "set", "set_class"),
        )

    def work(self, held: Json, where: str) -> Work:
        self.note_unknown(held, where, {"date", "text"})
        return Work(date=self.date(held, where, "date"), text=self.text(held, where, "text"))

    def tolerances(self, held: Json) -> dict[str, float]:
        limits = self.inner(held, "", "tolerances")
        for name, limit in limits.items():
            if _count(limit) is None:
                raise self.error(path_to("tolerances", name), "a number, 0 or more,", limit)
        return {name: float(limit) for name, limit in limits.items()}

    def stage(self, held: Json, stage: Stage) -> StageContent:
        where = f"stages.{stage.value}"
        self.note_unknown(held, where, {"results", "pictures"})
        return StageContent(
            results=tuple(self.attached(one, place) for one, place in self.each(held, where, "results")),
            pictures=tuple(self.picture(one, place) for one, place in self.each(held, where, "pictures")),
        )

    def attached(self, held: Json, where: str) -> Attached:
        self.note_unknown(held, where, {"kind", "date", "source", "note", "simulated", "result"})
        if "result" not in held:
            raise self.error(path_to(where, "result"), "an object in braces", None)
        return Attached(
            kind=self.text(held, where, "kind"),
            date=self.date(held, where, "date"),
            source=self.text(held, where, "source"),
            note=self.text(held, where, "note"),
            simulated=self.take(held, where, "simulated", _switch, "true or false", None) == "true",
            result=self.inner(held, where, "result"),
        )

    def picture(self, held: Json, where: str) -> AttachedPicture:
        self.note_unknown(
            held, where, {"date", "name", "caption", "media_type", "size_px", "original", "encoding", "data"}
        )
        media = self.text(held, where, "media_type")
        if media not in _MEDIA:
            raise self.error(path_to(where, "media_type"), " or ".join(_MEDIA), media)
        data = self.take(held, where, "data", _bytes, "a picture as base64", None)
        if data is None:
            raise self.error(path_to(where, "data"), "a picture as base64", None)
        return AttachedPicture(
            date=self.date(held, where, "date"),
            name=self.text(held, where, "name"),
            caption=self.text(held, where, "caption"),
            media_type=media,
            size_px=self.size(held, where, "size_px"),
            original=self.inner(held, where, "original"),
            data=data,
        )


_MEDIA = ("image/jpeg", "image/png")


def _whole(value: Any) -> int | None:
    return value if type(value) is int else None


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) else None


def _texts(value: Any) -> tuple[str, ...] | None:
    return tuple(value) if isinstance(value, list) and all(isinstance(part, str) for part in value) else None


def _object(value: Any) -> Json | None:
    return value if isinstance(value, Mapping) else None


def _list(value: Any) -> list[Any] | None:
    return value if isinstance(value, list) else None


def _switch(value: Any) -> str | None:
    return str(value).lower() if isinstance(value, bool) else None


def _count(value: Any) -> float | None:
    # A whole number may be larger than any float.
    sound = isinstance(value, int | float) and not isinstance(value, bool) and 0 <= value <= 1e15
    return value if sound else None


def _size(value: Any) -> tuple[int, int] | None:
    if isinstance(value, list) and len(value) == 2 and all(type(side) is int and 0 < side < 1 << 20 for side in value):
        return value[0], value[1]
    return None


def _date(value: Any) -> str | None:
    try:
        datetime.fromisoformat(value)
    except (ValueError, TypeError):
        return None
    return str(value)


def _bytes(value: Any) -> bytes | None:
    try:
        return b64decode(value, validate=True)
    except (TypeError, ValueError, binascii.Error):
        return None
