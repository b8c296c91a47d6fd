"""Many files verified: their names, their answers in the order of the names, and what they come to."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from typing import Any

from render.errors import FileError
from trueraster.errors import UsageError
from trueraster.verify.crew import Crew
from trueraster.verify.kept import Kept
from trueraster.verify.look import Job, digest
from trueraster.verify.one import Request

__all__ = ["Totals", "answers", "files_in", "line_of_file"]

Json = dict[str, Any]
_PICTURES = "png tif tiff dpx jpg jpeg bmp webp ppm pgm"
_CLIPS = "mp4 m4v mov mkv webm avi mpg mpeg m2v vob ts m2ts mts mxf y4m"
_ENDINGS = frozenset(f".{name}" for name in f"{_PICTURES} {_CLIPS}".split(" "))
"""Of the files that are taken of a folder. A file that is named is taken whatever its name."""


def files_in(names: Sequence[Path]) -> list[str]:
    """The files to look at: those that are named, and the pictures and clips of folders, inner ones too, by name.

    Hidden files and folders of a folder are left out: they hold what is not yet finished.

    Raises:
        UsageError: a folder cannot be read, or none holds a picture or a clip.
    """
    found: list[str] = []
    for name in names:
        if not name.is_dir():
            found.append(str(name))
            continue
        before = len(found)
        for folder, inner, files in os.walk(name, onerror=_refuse):
            inner[:] = sorted(one for one in inner if not one.startswith("."))
            taken = (one for one in files if os.path.splitext(one)[1].lower() in _ENDINGS and not one.startswith("."))
            found += [os.path.join(folder, one) for one in sorted(taken)]
        if len(found) == before:
            raise UsageError(f"{name}: no picture and no clip is in this folder")
    # A file that is named twice is one file.
    return list(dict.fromkeys(found))


def _refuse(error: OSError) -> None:
    raise UsageError(f"{error.filename}: {error.strerror}") from error


def answers(files: Sequence[str], request: Request, crew: Crew, kept: Kept | None, *, shown: bool) -> Iterator[Json]:
    """What `look` gives of each file, in their order; one that was kept has `reused`.

    Raises:
        UsageError: nobody is left to look at them.
        OSError: a result cannot be kept.
    """
    # As many are handed out as keep all processes at work; what waits is a number of names, never of answers.
    waiting: deque[tuple[Job, Future[Json] | Json]] = deque()
    for file in files:
        job = Job(path=file, request=request, shown=shown, version=version("trueraster"))
        waiting.append((job, _known(file, kept) or crew.hand_out(job)))
        if len(waiting) >= crew.wide:
            yield _next(waiting, crew, kept)
    while waiting:
        yield _next(waiting, crew, kept)


def _known(file: str, kept: Kept | None) -> Json | None:
    if kept is None or not kept.has_earlier:
        return None
    try:
        found = kept.find(digest(Path(file)), file)
    except (FileError, OSError):
        # Who looks at it says why.
        return None
    return found and {**found, "reused": True}


def _next(waiting: deque[tuple[Job, Future[Json] | Json]], crew: Crew, kept: Kept | None) -> Json:
    job, found = waiting.popleft()
    if not isinstance(found, Future):
        return found
    result = crew.result(job, found)
    if kept is not None:
        kept.add(result)
    return {**result, "reused": False}


def line_of_file(result: Json) -> str:
    """One file in one line."""
    return str(result["error"]) if "error" in result else f"{result['path']}: {result['finding']}"


@dataclass(slots=True)
class Totals:
    """How many files passed, failed and could not be read."""

    passed: int = 0
    failed: int = 0
    unreadable: int = 0
    reused: int = 0
    faults: dict[str, int] = field(default_factory=dict)
    """How many files have each fault as their first."""

    def count(self, result: Json) -> None:
        self.passed += result["exit"] == 0
        self.failed += result["exit"] == 1
        self.unreadable += result["exit"] == 2
        self.reused += result["reused"]
        if result["exit"] == 1:
            name = first_fault(result)
            self.faults[name] = self.faults.get(name, 0) + 1

    @property
    def code(self) -> int:
        """The exit code: 2 where any cannot be read, else 1 where any failed."""
        return 2 if self.unreadable else 1 if self.failed else 0

    @property
    def json(self) -> Json:
        """The totals for programs."""
        counts = {"passed": self.passed, "failed": self.failed, "unreadable": self.unreadable, "reused": self.reused}
        return {"totals": counts, "first_faults": dict(self.faults)}

    @property
    def words(self) -> str:
        """The totals as one sentence."""
        count = self.passed + self.failed + self.unreadable
        said = f"{count} files: {self.passed} passed, {self.failed} failed, {self.unreadable} cannot be read"
        return f"{said} ({self.reused} verified before)" if self.reused else said


def first_fault(result: Json) -> str:
    """The id of a file's first fault; empty for levels that are off without a name."""
    faults = result.get("faults") or []
    return str(faults[0]["id"]) if faults else ""
