"""What a phone gives: files are put down under names of ours, measured in the worker, and their answers taken up."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from patterns.pattern import Options, percent_text
from trueraster.bench.cards import Card, Takes
from trueraster.bench.journal import write_synced
from trueraster.bench.measure import Task
from trueraster.bench.readings import readings_file
from trueraster.bench.session import Session
from trueraster.bench.state import State
from trueraster.bench.worker import Worker
from trueraster.errors import UsageError

__all__ = ["Given", "Giving"]

_MOST_FILES = 400
"""That a session keeps."""
_MOST_LENS_BYTES = 1 << 20
_SUFFIXES = (
    (0, b"\xff\xd8\xff", ".jpg"),
    (0, b"\x89PNG", ".png"),
    (0, b"II*\0", ".tif"),
    (0, b"MM\0*", ".tif"),
    (4, b"ftyp", ".mp4"),
    (0, b"\x1aE\xdf\xa3", ".mkv"),
    (0, b"SDPX", ".dpx"),
    (0, b"XPDS", ".dpx"),
    (0, b"YUV4MPEG2", ".y4m"),
)
"""How files begin that are measured here: where, what, and the ending that they get."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Given:
    """A file from a phone."""

    name: str
    """On the phone; words for people, never a path here."""
    data: bytes


class Giving:
    """Takes files and has them measured, one after another."""

    def __init__(self, session: Session, worker: Worker) -> None:
        self._session, self._worker = session, worker
        self._lock = threading.Lock()
        taken = [int(path.name[:4]) for path in (session.folder.root / "given").glob("[0-9]*")]
        self._number = max(taken, default=0)

    def measure(self, what: str, card_id: str, files: Sequence[Given], number: str) -> None:
        """Measure what was given on a card, and take up its answers.

        Raises:
            UsageError: it cannot be measured; one line.
            OSError: it cannot be written.
        """
        if number and number in self._session.state.done:
            return
        card = next((one for one in self._session.cards if one.id == card_id), None)
        if card is None:
            raise UsageError("there is no such card any more")
        if what == "grey":
            lines = self._session.state.readings
            files = [Given(name=f"{len(lines)} readings.csv", data=readings_file(lines))]
        if what == "lens":
            self._take_lens(files, number)
            return
        task_what, words = _task(what, card, self._session.state)
        if lens := self._session.state.lens:
            lens = str(self._session.folder.root / "given" / lens)
            words = (*words, "--lens", lens) if "--marks-mm" in words else words
        if not 0 < len(files) <= (4 if task_what == "uniformity" else 1):
            raise UsageError("one photograph is expected; of plain fields one of each colour, up to four")
        paths = [self._put_down(one, ".csv" if what == "grey" else None) for one in files]
        names = {str(path): one.name for path, one in zip(paths, files, strict=True)}
        shown = {**names, lens: "the lens file"} if lens else names
        parts = self._worker.run(Task(what=task_what, paths=tuple(paths), words=words), shown)
        self._session.add_answers(parts, card.id, {Path(ours).name: theirs for ours, theirs in names.items()}, number)

    def _take_lens(self, files: Sequence[Given], number: str) -> None:
        """Have photographs measured with the lens of a file of `measure lens`."""
        # The libraries of lenses are for the worker; this one call needs them here: 100 ms.
        from analysis.lens.file import load_lens

        if len(files) != 1 or len(files[0].data) > _MOST_LENS_BYTES:
            raise UsageError("one file of 'trueraster measure lens' is expected")
        path = self._put_down(files[0], ".json")
        try:
            load_lens(path)
        except ValueError as error:
            path.unlink()
            raise UsageError(str(error).replace(str(path), files[0].name)) from error
        self._session.do({"do": "lens", "value": path.name, "id": number})

    def _put_down(self, one: Given, suffix: str | None) -> Path:
        if not one.data:
            raise UsageError(f"{one.name}: the file is empty")
        ending = suffix or next((end for at, head, end in _SUFFIXES if one.data[at:].startswith(head)), "")
        if not ending:
            raise UsageError(f"{one.name}: no photograph or capture that is read here; JPEG, PNG, TIFF or a clip are")
        with self._lock:
            if self._number >= _MOST_FILES:
                raise UsageError(f"this session has {_MOST_FILES} files already; begin another record")
            self._number += 1
            path = self._session.folder.given(self._number, ending)
        write_synced(path, one.data)
        return path


def _option_words(options: Options) -> list[str]:
    """The options of a pattern as they are typed."""
    words: list[str] = []
    for name, value in options.given.items():
        typed = percent_text(value) if isinstance(value, Fraction) else str(value)
        words += [f"--{name}", "x".join(map(str, value)) if isinstance(value, tuple) else typed]
    return words


def _task(what: str, card: Card, state: State) -> tuple[str, tuple[str, ...]]:
    """The measurement for what was given, and its options as on the command line."""
    if what == "grey":
        return "grey", ()
    if card.pattern is None or card.format is None:
        raise UsageError("nothing is measured on this card")
    shown = ("--pattern", card.pattern.id, "--format", card.format.id)
    if what == "capture":
        return "verify", (*shown, *_option_words(card.options))
    if what != "photo" or card.takes not in (Takes.RASTER, Takes.UNIFORMITY):
        raise UsageError("nothing is measured in a photograph of this pattern")
    if card.takes is Takes.UNIFORMITY:
        return "uniformity", ()
    if not state.marks_mm:
        # Without them the glass and the lens mean nothing.
        return "raster", (*shown, "--no-marks")
    depth = ("--depth-mm", state.depth_mm) if state.depth_mm else ()
    glass = ("--glass-radius-mm", state.glass_radius_mm) if state.glass_radius_mm else ()
    return "raster", (*shown, "--marks-mm", state.marks_mm, *depth, *glass)
