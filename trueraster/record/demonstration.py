"""A record of an invented set, from simulated photographs and readings that this tool's own commands measure."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from trueraster.record.changes import new_record, with_details, with_picture, with_result, with_work
from trueraster.record.pictures import picture_entry
from trueraster.record.results import entries_of, kind_of
from trueraster.record.schema import Stage

__all__ = ["demonstration"]

SIMULATION = (
    "Simulation: an invented set. Its photographs and readings were computed; no real tube, camera or meter was there."
)
MARKS_MM = "470x360"
_GLASS = ("--depth-mm", "0", "--glass-radius-mm", "flat")
"""Between the simulated marks."""
_READ = (("grey", "guns", "light of the guns by step"), ("colour", "diagram", "colours and the standard's"))
"""What is measured of the readings, which of its plots is kept, and its caption."""
_DAYS = {Stage.AS_FOUND: "2026-03-02", Stage.AFTER_ADJUSTMENT: "2026-03-05"}
_SET = {
    "name": "20-inch monitor, no. 0412",
    "serial": "HL-0412",
    "hours": 18200,
    "inputs": ["component", "RGB and sync"],
    "formats": ["480i", "576i"],
    "condition": "Picture too wide and pulled in at the sides, red fringes at the left, dark greys bluish and whites"
    " yellowish. Housing clean, all controls work.",
}
_RECORD = {"job": "26-031", "bench": "Harbour Lane Repairs", "technician": "M."}
_WORK = (
    ("2026-03-02", "Warmed up for an hour and degaussed."),
    ("2026-03-03", "Recapped the vertical board; cleaned the size and centre controls."),
    ("2026-03-04", "Set centre, size, rotation, vertical linearity and side pincushion."),
    ("2026-03-04", "Static convergence of red and blue; red at the sides."),
    ("2026-03-05", "Grey scale: cut-off of blue, then the drives, in two rounds."),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Job:
    """One command line whose answer is attached."""

    words: tuple[str, ...]
    stage: Stage
    drawing: tuple[str, ...] = ()
    """Further words with which it draws a picture."""
    picture: str = ""
    """The file that is drawn; empty where there is none."""
    caption: str = ""


def _jobs() -> Iterator[_Job]:
    yield _Job(words=("verify", "bars.png"), stage=Stage.AS_FOUND)
    for stage in _DAYS:
        seen = (f"{stage.value}.jpg", "--format", "480i", "--marks-mm", MARKS_MM, "--lens", "lens.json", *_GLASS)
        for what, caption in (
            ("geometry", "geometry, errors drawn larger"),
            ("convergence", "red and blue against green"),
        ):
            to = f"{stage.value}-{what}.png"
            yield _Job(
                words=("measure", what, *seen), stage=stage, drawing=("--picture", to), picture=to, caption=caption
            )
        for what, plot, caption in _READ:
            yield _Job(
                words=("measure", what, f"{stage.value}.csv", "--primaries", "smpte-c"),
                stage=stage,
                drawing=("--plots", stage.value),
                picture=f"{stage.value}/{what}-{plot}.png",
                caption=caption,
            )


def demonstration(run: Callable[[list[str]], Any], made: str, tell: Callable[[str, float], None]) -> dict[str, Any]:
    """The record's object; about ten seconds.

    `run` carries out a command line of this tool, `made` is the moment in ISO 8601, `tell` is told (words, share done).
    """
    held = with_details(new_record(made, SIMULATION), _SET, _RECORD)
    for day, text in _WORK:
        held = with_work(held, day, text)
    jobs = list(_jobs())
    with _folder():
        # Commands are run where the files lie, so that results name them without a path of this machine.
        _answer(run, "draw", "bars", "--format", "480i", "--as", "png", "--to", "bars.png")
        for i, job in enumerate(jobs):
            tell(" ".join(job.words[:2]), i / len(jobs))
            held = _attached(held, job, run)
    return held


def _attached(held: dict[str, Any], job: _Job, run: Callable[[list[str]], Any]) -> dict[str, Any]:
    day = _DAYS[job.stage]
    answer = _answer(run, *job.words, *job.drawing)
    source = f"{job.stage.value}-{kind_of(answer)}.json"
    for entry in entries_of(answer, date=day, source=source, simulated=True):
        held = with_result(held, job.stage, entry)
    if job.picture:
        picture = picture_entry(Path(job.picture), day, f"Simulation: {job.caption}")
        # Plots have the same names at each stage.
        held = with_picture(held, job.stage, {**picture, "name": "-".join(Path(job.picture).parts)})
    return held


@contextlib.contextmanager
def _folder() -> Iterator[None]:
    """Be in a folder that holds the demo's files, as long as it takes."""
    source: AbstractContextManager[Path] = as_file(files("trueraster.record") / "demo")
    with source as there, tempfile.TemporaryDirectory() as name:
        shutil.copytree(there, name, dirs_exist_ok=True)
        with contextlib.chdir(name):
            yield


def _answer(run: Callable[[list[str]], Any], *words: str) -> dict[str, Any]:
    """What a command prints with --json."""
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(io.StringIO()):
        run([*words, "--json"])
    held: dict[str, Any] = json.loads(printed.getvalue())
    return held
