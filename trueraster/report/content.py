"""What a report says, gathered from a record: figures by stage with verdicts, how they were had, what is not known."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from analysis.meter.readings.types import level_text
from trueraster.record.compare import Comparison, comparisons
from trueraster.record.figure import number_at
from trueraster.record.results import Figure, Kind, figures_of, findings_of
from trueraster.record.schema import Attached, Record, Stage
from trueraster.report.limits import Verdict, judged
from trueraster.report.method import method_of
from trueraster.report.tolerances import Found, Tolerances

__all__ = ["Cell", "Content", "Measured", "Row", "Section", "content_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A figure at one stage."""

    figure: Figure
    verdict: Verdict | None
    """None where it has no value or no limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A figure at all stages where its measurement was made."""

    figure: Figure
    """For its words; its value is that of some stage."""
    limit: Found | None
    cells: dict[Stage, Cell | None]
    """None where the result of that stage does not have it."""

    @property
    def is_main(self) -> bool:
        """Whether it stands in the report's own tables and not only among the further figures."""
        return self.figure.key or self.limit is not None

    @property
    def last(self) -> Cell | None:
        """At the last stage that tells it."""
        told = [cell for cell in self.cells.values() if cell is not None and cell.figure.value is not None]
        return told[-1] if told else None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One result that counts."""

    stage: Stage
    result: Attached
    earlier: int
    """How many results of the same stage stand behind it."""
    findings: list[str]
    method: list[tuple[str, str]]
    remarks: list[str]
    """What the measurement itself warned of."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """One measurement of one subject, with the stages side by side."""

    title: str
    is_known: bool
    """Whether this version knows such results."""
    results: list[Measured]
    rows: list[Row]
    untold: list[tuple[str, Stage, str]]
    """Figures in words, when, and why."""

    @property
    def stages(self) -> list[Stage]:
        return [one.stage for one in self.results]


@dataclass(frozen=True, slots=True, kw_only=True)
class Content:
    """All of it."""

    record: Record
    sections: list[Section]

    def tally(self) -> dict[Stage, dict[Verdict, int]]:
        """How many figures of each stage are what, where any are judged."""
        counts: dict[Stage, dict[Verdict, int]] = {}
        for stage in Stage:
            cells = [row.cells.get(stage) for section in self.sections for row in section.rows]
            verdicts = [cell.verdict for cell in cells if cell is not None and cell.verdict is not None]
            if verdicts:
                counts[stage] = {verdict: verdicts.count(verdict) for verdict in Verdict}
        return counts


def content_of(record: Record, tolerances: Tolerances) -> Content:
    """Everything that a report shows of a record but its pictures."""
    return Content(record=record, sections=[_section(one, tolerances) for one in comparisons(record)])


def _section(one: Comparison, tolerances: Tolerances) -> Section:
    return Section(
        title=one.title,
        is_known=one.kind in set(Kind),
        results=[
            Measured(
                stage=stage,
                result=result,
                earlier=len(one.results[stage]) - 1,
                findings=findings_of(result.kind, result.result),
                method=method_of(result),
                remarks=list(_remarks(result)),
            )
            for stage, result in one.last.items()
        ],
        rows=[_row(figures, list(one.last), tolerances) for figures in one.rows()],
        untold=list(_untold(one)),
    )


def _row(figures: Mapping[Stage, Figure], stages: Sequence[Stage], tolerances: Tolerances) -> Row:
    first = next(iter(figures.values()))
    found = tolerances.of(first.id)
    limit = None if found is None else found.limit
    cells = {
        stage: Cell(figure=figures[stage], verdict=judged(figures[stage], limit)) if stage in figures else None
        for stage in stages
    }
    return Row(figure=first, limit=found, cells=cells)


def _remarks(one: Attached) -> Iterator[str]:
    fields = one.result.get("fields")
    parts = [one.result, *(fields if isinstance(fields, list) else [])]
    held = [words for part in parts if isinstance(part, Mapping) for words in _texts(part.get("warnings"))]
    yield from dict.fromkeys(held)


def _texts(held: object) -> list[str]:
    return [" ".join(part.split()) for part in held if isinstance(part, str)] if isinstance(held, list) else []


def _untold(one: Comparison) -> Iterator[tuple[str, Stage, str]]:
    """Why figures are missing: each reason once a stage, with all that it concerns."""
    for stage, result in one.last.items():
        concerned: dict[str, list[str]] = {}
        figures = figures_of(result.kind, result.result)
        for figure in figures:
            if figure.value is None and figure.reason:
                concerned.setdefault(figure.reason, []).append(figure.words)
        for name, why in _reasons(result.result):
            concerned.setdefault(why, []).extend(_named(result.kind, name, figures))
        for why, words in concerned.items():
            names = list(dict.fromkeys(words))
            whole = len(names) > 1 and all(figure.value is None for figure in figures)
            yield "all figures" if whole else ", ".join(names), stage, " ".join(why.split())


_OTHER = {
    "advice": "what to turn",
    "guns": "the light of each gun",
    "repeats.drift": "whether readings drift",
}
"""What reasons are given for beside figures, in words."""


def _reasons(result: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Names of figures and why they are missing; those of a grey step by its level, as its figures are."""
    given = result.get("reasons")
    for name, why in given.items() if isinstance(given, Mapping) else ():
        if isinstance(why, str):
            step = re.fullmatch(r"steps\.(\d{1,4})\.(.+)", name)
            level = None if step is None else number_at(result, f"steps.{step[1]}.level_percent")
            yield name if step is None or level is None else f"steps.{level_text(level)}.{step[2]}", why


def _named(kind: str, name: str, figures: Sequence[Figure]) -> list[str]:
    """The figures that a reason's name stands for, in words; else what it is called.

    Of a grey step that gave no light this is one thing, its colour, and not eleven figures.
    """
    step = re.fullmatch(r"steps\.(.+)\.[a-z0-9_]+", name)
    if step is not None and all(one.value is None for one in figures if one.id in _colours(step[1])):
        return [f"{step[1]} %: its colour"]
    whole = f"{kind}.{name}"
    under = [one.words for one in figures if one.value is None and (one.id == whole or one.id.startswith(f"{whole}."))]
    return under or [_OTHER.get(name, name.replace("_", " ").replace(".", " "))]


def _colours(level: str) -> set[str]:
    return {f"grey.steps.{level}.{name}" for name in ("x", "y", "delta_uv")}
