"""Today's measurements for what is given on the page; run in a worker process.

What is typed on the page is read by the commands' own options, so that the same words mean the same and a
mistake is the same line.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from html import escape
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING, Any

from trueraster.errors import UsageError, line_of

if TYPE_CHECKING:
    from PIL import Image

    from analysis.answer import Answer

__all__ = ["Part", "Task", "measured", "refused", "renamed", "warm"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Task:
    """What is to be measured."""

    what: str
    """raster, uniformity, verify or grey."""
    paths: tuple[Path, ...]
    words: tuple[str, ...] = ()
    """Options as on the command line."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One answer: what the page shows of it, and what a record keeps."""

    kind: str
    findings: tuple[str, ...]
    about: str
    """The id of the figure that the first finding states; empty where it is none."""
    advice: tuple[str, ...]
    warnings: tuple[str, ...]
    json: str
    """The answer as `--json` prints it."""
    page: str
    """The answer as `--page` writes it."""


def measured(task: Task) -> tuple[Part, ...]:
    """Measure; geometry and convergence of a grid are two answers.

    Raises:
        ValueError: what was given cannot be measured; one line. Of `analysis.errors.InputError` its options too.
    """
    return {"raster": _raster, "uniformity": _uniformity, "verify": _verify, "grey": _grey}[task.what](task)


def refused(error: Exception, names: dict[str, str]) -> str:
    """The line of a refusal, with the names that files have on the phone; `names` is from ours to those."""
    line = line_of(error) or type(error).__name__
    for ours, theirs in names.items():
        line = line.replace(ours, theirs)
    return " ".join(line.split())


def renamed(parts: tuple[Part, ...], names: dict[str, str]) -> tuple[Part, ...]:
    """Answers with the names that files have on the phone: a record and a page have no use for ours."""
    made = []
    for part in parts:
        held, page = part.json, part.page
        for whole, theirs in names.items():
            # Some answers name a file with its folder, some without.
            for ours in (whole, Path(whole).name):
                held = held.replace(json.dumps(ours)[1:-1], json.dumps(theirs)[1:-1])
                page = page.replace(escape(ours), escape(theirs))
        made.append(replace(part, json=held, page=page))
    return tuple(made)


def warm() -> None:
    """Load what measuring a photograph needs, so that the first one does not wait for it."""
    for name in ("analysis.raster.picture", "trueraster.commands.measure_raster", "trueraster.output.page"):
        import_module(name)


def _raster(task: Task) -> tuple[Part, ...]:
    # Each measurement loads its own libraries: the worker stays small.
    import click

    from analysis.raster.measure import see
    from analysis.raster.request import RasterRequest
    from trueraster.commands.measure_raster import convergence_drawn, geometry_drawn
    from trueraster.options.declared import as_value
    from trueraster.options.raster import ShapeOptions, request_of

    def asked(typed: ShapeOptions) -> RasterRequest:
        return request_of(task.paths[:1], typed)

    command = click.command()(as_value("typed", ShapeOptions)(asked))
    request = _typed(command, task.words)
    seen = see(request, lambda words, share: None)
    parts = []
    for drawn in (geometry_drawn, convergence_drawn):
        answer, drawings = drawn(seen)
        parts.append(_part(answer, drawings.picture() if drawings.picture else None))
    return tuple(parts)


def _typed(command: Any, words: Sequence[str]) -> Any:
    # As in `_raster`.
    import click

    try:
        return command.main(args=list(words), standalone_mode=False)
    except click.ClickException as error:
        raise UsageError(error.format_message()) from error


def _uniformity(task: Task) -> tuple[Part, ...]:
    # As in `_raster`.
    from analysis.photo.file import read_photo
    from analysis.uniformity.answer import uniformity_answer
    from analysis.uniformity.measure import measure_uniformity
    from analysis.uniformity.picture import uniformity_picture

    found = measure_uniformity((read_photo(path) for path in task.paths), None, None)
    return (_part(uniformity_answer(found), uniformity_picture(found, lambda field: read_photo(field.path))),)


def _verify(task: Task) -> tuple[Part, ...]:
    # As in `_raster`.
    from trueraster.options.frame import Played
    from trueraster.verify.one import Request, marked, verify_file

    options = dict(zip(task.words[::2], task.words[1::2], strict=True))
    played = Played(
        pattern=options.get("--pattern"),
        format=options.get("--format"),
        aspect=options.get("--aspect"),
        code_range=None,
        matrix=None,
        tolerance=None,
        options={name: options.get(f"--{name}") for name in ("cells", "level", "area", "colour", "bars", "side")},
    )
    found = verify_file(task.paths[0], Request(played=played))
    # A good frame has nothing to mark.
    return (_part(found.answer, None if found.passed else marked(found)),)


def _grey(task: Task) -> tuple[Part, ...]:
    # As in `_raster`.
    from analysis.meter.grey.advised import is_optional
    from analysis.meter.grey.answer import grey_answer
    from analysis.meter.grey.measure import measure_grey
    from analysis.meter.readings.read import read_readings
    from trueraster.options.meter import USUAL_METER, meter_of, target_of, tube_of

    read = read_readings(task.paths[0])
    target, meter = target_of(USUAL_METER.white), meter_of(USUAL_METER)
    grey = measure_grey(read, target, tube_of(None, read), meter, "green")
    part = _part(grey_answer(grey), None)
    # Where greys are right within the aim, turning on is for the last bit.
    return (replace(part, advice=tuple(f"Optional: {one}" for one in part.advice)) if is_optional(grey) else part,)


def _part(answer: Answer, picture: Image.Image | None) -> Part:
    # As in `_raster`.
    from trueraster.output.json import answer_json
    from trueraster.output.page import answer_page
    from trueraster.output.text import advice_title

    about = answer.findings[0].about
    steps = [f"{one.title}. What to do: {one.remedy}" for one in answer.faults or ()]
    steps += [advice_title(one) for one in answer.advice or ()]
    return Part(
        kind=answer.kind.value,
        findings=tuple(one.words for one in answer.findings),
        about=f"{answer.kind.value}.{about}" if about else "",
        advice=tuple(steps),
        warnings=tuple(answer.remarks),
        json=json.dumps(answer_json(answer, {})),
        page=answer_page(answer, picture, ()),
    )
