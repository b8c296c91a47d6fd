"""Results of many files, kept in a file of one JSON object a line, so that a run that was stopped goes on.

A result belongs to a file's bytes and to what was asked: a file that changed is looked at again, one that was only
renamed is not. Lines are only ever added.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib.metadata import version
from pathlib import Path
from typing import Any, BinaryIO

from render.reading import check_plain
from trueraster.errors import UsageError
from trueraster.lock import locked
from trueraster.output.terminal import note
from trueraster.verify.one import Request

__all__ = ["Kept", "keeping"]

Json = dict[str, Any]
_LONGEST = 1 << 26
"""Bytes of a line; an answer has some thousands, with a thumbnail some ten thousands."""

_BEGINNING = b'{"path": '
"""Of every line: what a line that was cut off is known by."""


class Kept:
    """The results of earlier runs, and those of this one."""

    def __init__(self, file: BinaryIO, path: Path, request: Request, shown: bool) -> None:
        self._file, self._path = file, path
        asked = f"{version('trueraster')} {request} {shown}"
        self._asked = hashlib.sha256(asked.encode("utf-8", "surrogatepass")).hexdigest()[:16]
        self._places: dict[str, int] = {}
        end = self._read()
        self.has_earlier = bool(self._places)
        """Whether earlier runs left results that may be used."""
        # The end of a line that a stop cut off.
        file.truncate(end)
        file.seek(end)

    def _read(self) -> int:
        """Remember where each result that was asked for in the same way is; gives where the last whole line ends."""
        foreign = f"--to: {self._path} holds something else than results of verify, and is left as it is"
        end = 0
        while line := self._file.readline(_LONGEST):
            if not line.endswith(b"\n"):
                if not line.startswith(_BEGINNING[: len(line)]) or len(line) == _LONGEST:
                    raise UsageError(foreign)
                break
            try:
                held = json.loads(line)
                key, asked = held["sha256"], held["asked"]
            except (ValueError, KeyError, TypeError, RecursionError) as error:
                raise UsageError(foreign) from error
            if asked == self._asked and isinstance(key, str):
                self._places[key] = end
            end += len(line)
        return end

    def find(self, digest: str, path: str) -> Json | None:
        """The result of a file with these bytes, under its name of today; None if there is none."""
        place = self._places.get(digest)
        if place is None:
            return None
        self._file.seek(place)
        held: Json = json.loads(self._file.readline(_LONGEST))
        del held["asked"]
        if "error" in held and isinstance(held["error"], str):
            held["error"] = held["error"].replace(str(held["path"]), path, 1)
        return {**held, "path": path}

    def add(self, result: Json) -> None:
        """Keep a result; a kill after this returns does not lose it.

        Raises:
            OSError: it cannot be written.
        """
        place = self._file.seek(0, os.SEEK_END)
        try:
            self._file.write(json.dumps({**result, "asked": self._asked}).encode("ascii") + b"\n")
            self._file.flush()
        except OSError as error:
            error.filename = error.filename or str(self._path)
            raise
        if isinstance(result.get("sha256"), str):
            self._places[result["sha256"]] = place


@contextmanager
def keeping(path: Path, request: Request, *, shown: bool) -> Iterator[Kept]:
    """Open the file of results, for one run at a time.

    Raises:
        UsageError: it holds something else.
        OSError: it cannot be written.
    """
    words = f"waiting: another run writes {path}"
    with locked(path.with_name(f".{path.name}.lock"), lambda: note(words)):
        if path.exists():
            check_plain(path)
        file = path.open("a+b")
        try:
            file.seek(0)
            yield Kept(file, path, request, shown)
        finally:
            # Closing tries once more what could not be written, which was reported with the file's name.
            with suppress(OSError):
                file.close()
