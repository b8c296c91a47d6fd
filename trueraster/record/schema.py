"""What a record says, as values, and how they are read from its JSON.

A record is one JSON object. Changes are made to that object and not to the values here, so that keys which this version
does not know stay where they are, at every level.
"""

from __future__ import annotations

import binascii
from base64 import b64decode
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Any

from patterns.keys import EntryError, Items, Key, Named, Table, date, flag, number, one_of, text, unwanted, whole
from render.errors import FileError

__all__ = ["SCHEMA", "VERSION", "Attached", "AttachedPicture", "Record", "Stage", "record_of"]

SCHEMA = "trueraster-record"
"""What the key `schema` of every record says."""
VERSION = 1
"""The newest version of a record that is known here."""

Json = Mapping[str, Any]


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
    if held.get("schema") != SCHEMA:
        raise FileError(f"{path}: not a record of a set; 'trueraster record new' makes one")
    try:
        # First, since a newer version may have all else in a different way.
        version = _VERSION(held)["version"]
        if version > VERSION:
            raise FileError(
                f"{path}: a record of version {version}, from a newer trueraster; this one knows up to {VERSION}, so it"
                " is left as it is"
            )
        values = _RECORD(held)
        return Record(path=path, unknown=tuple(_RECORD.unknown(held)), **values)
    except EntryError as error:
        raise FileError(f"{path}: {error}") from error


def _texts(held: Any) -> tuple[str, ...]:
    if not isinstance(held, list) or not all(isinstance(part, str) for part in held):
        raise unwanted("a list of texts", held)
    return tuple(held)


def _object(held: Any) -> Json:
    if not isinstance(held, Mapping):
        raise unwanted("an object in braces", held)
    return held


def _size(held: Any) -> tuple[int, int]:
    if isinstance(held, list) and len(held) == 2 and all(type(side) is int and 0 < side < 1 << 20 for side in held):
        return held[0], held[1]
    raise unwanted("width and height in pixels", held)


def _bytes(held: Any) -> bytes:
    try:
        return b64decode(held, validate=True)
    except (TypeError, ValueError, binascii.Error) as error:
        raise unwanted("a picture as base64", held) from error


def _picture(*, encoding: str, **values: Any) -> AttachedPicture:
    return AttachedPicture(**values)


def _stages(**contents: StageContent) -> dict[Stage, StageContent]:
    return {stage: contents[stage.value] for stage in Stage}


def _record(*, schema: str, **values: Any) -> dict[str, Any]:
    return values


_TEXT, _DATE, _LIST = Key(text, ""), Key(date, ""), Key(_texts, ())
_LARGEST = 1e15
_RESULT = Table(
    keys={
        "kind": _TEXT,
        "date": _DATE,
        "source": _TEXT,
        "note": _TEXT,
        "simulated": Key(flag, False),
        "result": Key(_object, required=True),
    },
    make=Attached,
)
_PICTURE = Table(
    keys={
        "date": _DATE,
        "name": _TEXT,
        "caption": _TEXT,
        "encoding": _TEXT,
        "media_type": Key(one_of("image/jpeg", "image/png"), required=True),
        "size_px": Key(_size, required=True),
        "original": Key(_object, {}),
        "data": Key(_bytes, required=True),
    },
    make=_picture,
)
_STAGE = Table(
    keys={"results": Key(Items(read=_RESULT), ()), "pictures": Key(Items(read=_PICTURE), ())}, make=StageContent
)
_SET = Table(
    keys={
        "name": _TEXT,
        "serial": _TEXT,
        "condition": _TEXT,
        "set_class": _TEXT,
        "inputs": _LIST,
        "formats": _LIST,
        "hours": Key(number(0, _LARGEST, "a number of hours, 0 or more,")),
    },
    make=SetDetails,
)
_VERSION = Table(keys={"version": Key(whole(f"a whole number such as {VERSION}", 1), required=True)})
_RECORD = Table(
    keys={
        **_VERSION.keys,
        "schema": _TEXT,
        "made": _DATE,
        "job": _TEXT,
        "bench": _TEXT,
        "technician": _TEXT,
        "simulated": _TEXT,
        "set": Key(_SET, SetDetails(name="")),
        "work": Key(Items(read=Table(keys={"date": _DATE, "text": _TEXT}, make=Work)), ()),
        "tolerances": Key(Named(number(0, _LARGEST, "a number, 0 or more,")), {}),
        "stages": Key(
            Table(keys={stage.value: Key(_STAGE, StageContent()) for stage in Stage}, make=_stages),
            {stage: StageContent() for stage in Stage},
        ),
    },
    make=_record,
)
