"""Make a kit: what is there and good stays, the rest is made by worker processes, and all is told in the manifest."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from patterns.formats import Format, format_words
from patterns.scene import Box, Gradient
from render.errors import FileError
from render.reading import check_plain, read_bounded
from render.writing import clear_left, placed
from trueraster.kit.crew import Finished, run_jobs
from trueraster.kit.lock import locked
from trueraster.kit.manifest import (
    MANIFEST_NAME,
    Entry,
    entry_of,
    is_manifest,
    read_manifest,
    write_manifest,
)
from trueraster.kit.plan import Item
from trueraster.kit.playlist import Track, m3u8, xspf
from trueraster.kit.rates import LineRates
from trueraster.kit.sheet import cue_sheet
from trueraster.kit.words import given_words
from trueraster.kit.worker import Job
from trueraster.options.values import UsageError
from trueraster.timing.formats import format_json

__all__ = ["CUE_SHEET_NAME", "PLAYLIST_NAME", "is_as_listed", "make_kit", "program_version"]

TITLE = "Check-up kit"
CUE_SHEET_NAME, PLAYLIST_NAME, XSPF_NAME = "cue-sheet.html", "playlist.m3u8", "playlist.xspf"

Tell = Callable[[str, float], None]
_WORK = 0.97
"""Share of the whole that making the files is; the rest is the cue sheet."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Kit:
    """A whole kit on the disk."""

    folder: Path
    entries: tuple[Entry, ...]
    """A finished file for each item, in their order."""
    reused: frozenset[str]
    """Names of the files that were there and good."""
    earlier: tuple[str, ...]
    """Names of files of earlier kits, still there, not part of this one."""


def make_kit(
    items: Sequence[Item],
    folder: Path,
    tell: Tell,
    say: Callable[[str], None],
    *,
    accepted: Sequence[LineRates] | None = None,
) -> Kit:
    """Make what is missing of a kit in `folder`, its playlists, manifest and cue sheet.

    `tell` hears (words, share done from 0 to 1), `say` what a user should know at once. `accepted` are the line rates
    that the set takes, if they were stated; the cue sheet tells them.

    Raises:
        ProofError: a file does not hold what was drawn.
        OSError: the folder or the disk does not take it.
        UsageError: the folder has a file of somebody else's that the kit would replace.
    """
    program = program_version()
    wanted = {item.name: entry_of(item, program) for item in items}
    folder.mkdir(parents=True, exist_ok=True)
    with locked(folder, lambda: say("another process makes a kit in this folder; waiting for it")) as lock:
        foreign = _foreign(folder)
        if foreign:
            raise UsageError(f"--to: {folder} has a {foreign} that is of no kit; give a folder of its own")
        clear_left(folder)
        known = read_manifest(folder)
        good = _good(folder, known, wanted, tell)
        earlier = {name: entry for name, entry in known.items() if name not in wanted and (folder / name).is_file()}
        entries = {name: known[name] for name in wanted if name in good}
        about = _about(items)

        def save(complete: bool) -> None:
            # In the order of the kit, whatever comes first.
            ordered = {name: entries[name] for name in wanted if name in entries}
            write_manifest(folder, ordered, earlier, {**about, "complete": complete})

        def finished(made: Finished) -> None:
            name = items[made.index].name
            entries[name] = Entry.of(name, wanted[name], made.size, made.sha256, made.proof)
            save(False)

        jobs = [Job.of(i, item.order, folder / item.name) for i, item in enumerate(items) if item.name not in entries]
        if jobs:
            _work(items, jobs, lock, finished, tell)
        tell("cue sheet", _WORK)
        for name, text in _texts(items, program, accepted).items():
            with placed(folder / name) as file:
                file.write(text.encode())
        save(complete=True)
    return Kit(
        folder=folder,
        entries=tuple(entries[name] for name in wanted),
        reused=frozenset(good),
        earlier=tuple(earlier),
    )


def _texts(items: Sequence[Item], program: str, accepted: Sequence[LineRates] | None) -> dict[str, str]:
    """The playlists and the cue sheet, by name."""
    tracks = [Track(name=item.name, title=track_title(item), seconds=item.order.seconds) for item in items]
    return {
        PLAYLIST_NAME: m3u8(TITLE, tracks),
        XSPF_NAME: xspf(TITLE, tracks),
        CUE_SHEET_NAME: cue_sheet(TITLE, items, program, accepted),
    }


_MARKS = {
    PLAYLIST_NAME: f"#PLAYLIST:{TITLE}\n",
    XSPF_NAME: f"<title>{TITLE}</title>",
    CUE_SHEET_NAME: "Made and proved by trueraster",
}
"""Words by which a file is known as a kit's where there is no manifest."""
_MOST_BYTES = 64 << 20
"""Of a cue sheet or a playlist."""


def _foreign(folder: Path) -> str:
    """The name of a file in the folder that this kit would replace and that no kit has made, or nothing."""
    if is_manifest(folder):
        return ""
    there = [name for name in (*_MARKS, MANIFEST_NAME) if (folder / name).exists()]
    ours = [name for name in there if name in _MARKS and _has(folder / name, _MARKS[name])]
    # A manifest beside one of ours is a spoilt one.
    return next((name for name in there if name not in ours and (name != MANIFEST_NAME or not ours)), "")


def _has(path: Path, words: str) -> bool:
    try:
        return words.encode() in read_bounded(path, _MOST_BYTES, "no cue sheet or playlist of a kit")
    except FileError:
        return False


def program_version() -> str:
    """The name and version of this program."""
    try:
        return f"trueraster {metadata.version('trueraster')}"
    except metadata.PackageNotFoundError:
        return "trueraster"


def track_title(item: Item) -> str:
    """The title of a file in a playlist: number, pattern and options, format."""
    words = ", ".join([item.order.pattern.title, *given_words(item.order).values()])
    return f"{item.number} {words} ({format_words(item.order.format)})"


def _about(items: Sequence[Item]) -> dict[str, Any]:
    formats: dict[str, Format] = {item.order.format.id: item.order.format for item in items}
    return {
        "title": TITLE,
        "program": program_version(),
        "cue_sheet": CUE_SHEET_NAME,
        "playlists": [PLAYLIST_NAME, XSPF_NAME],
        "formats": [format_json(fmt) for fmt in formats.values()],
    }


def _good(folder: Path, known: Mapping[str, Entry], wanted: Mapping[str, Mapping[str, Any]], tell: Tell) -> set[str]:
    """The names of the files that are there as the manifest says, from the same order as now."""
    same = [name for name, told in wanted.items() if name in known and known[name].told == told]
    good = set()
    threads = ThreadPoolExecutor(2)
    try:
        held = threads.map(lambda name: is_as_listed(folder, known[name]), same)
        for name, holds in zip(same, held, strict=True):
            tell(f"comparing {name}", 0.0)
            if holds:
                good.add(name)
    finally:
        threads.shutdown(cancel_futures=True)
    return good


def is_as_listed(folder: Path, entry: Entry) -> bool:
    """Whether the file in `folder` has the size and the hash that the manifest says."""
    try:
        check_plain(folder / entry.path)
        with (folder / entry.path).open("rb") as file:
            if file.seek(0, 2) != entry.bytes:
                return False
            file.seek(0)
            return hashlib.file_digest(file, "sha256").hexdigest() == entry.sha256
    except (OSError, FileError):
        return False


def _work(
    items: Sequence[Item],
    jobs: Sequence[Job],
    lock: int | None,
    finished: Callable[[Finished], None],
    tell: Tell,
) -> None:
    costs = {job.index: _cost(items[job.index]) for job in jobs}
    left = set(costs)

    def show(shares: Mapping[int, float]) -> None:
        done = sum(cost * (shares.get(i, 0.0) if i in left else 1.0) for i, cost in costs.items())
        tell(f"{len(items) - len(left)} of {len(items)} files", _WORK * done / sum(costs.values()))

    def made(one: Finished) -> None:
        finished(one)
        left.discard(one.index)
        show({})

    # Longest first, so that the last ones to run are short and the processes end together.
    run_jobs(sorted(jobs, key=lambda job: costs[job.index], reverse=True), lock, made, show)


_ANY_FILE = 10_000_000
"""What starting programs and reading back costs for any file, in coded samples."""


def _cost(item: Item) -> float:
    """About how long a file takes, in coded samples; lines and curves need exact coding, which is slower."""
    order, scene = item.order, item.scene
    rate = float(order.format.frame_rate)
    asked = rate * order.seconds if order.seconds else 1.0
    # A still clip is coded for half a second and repeated, a moving one for its period.
    frames = max(1.0, min(asked, float(scene.period) * rate if scene.period else rate / 2))
    slower = 4 if any(not isinstance(shape, Box | Gradient) for shape in scene.shapes) else 1
    return _ANY_FILE + order.format.width * order.format.height * frames * slower
