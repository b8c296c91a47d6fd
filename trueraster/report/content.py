"""What a report says, gathered from a record: figures by stage with verdicts, how they were had, what is not known."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from analysis.answer import NO_REASON, Figure, Kind
from trueraster.output.json import other_reasons, read
from trueraster.record.compare import Comparison, comparisons
from trueraster.record.results import findings_of
from trueraster.record.schema import Attached, Record, Stage
from trueraster.report.limits import Verdict, judged
from trueraster.report.method import method_of
from trueraster.report.tolerances import Found, Tolerances

__all__ = ["Content", "Measured", "Row", "Section", "content_of"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A figure at one stage."""

    figure: Figure
    verdict: Verdict | None
    """None where it has no value or no limit."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A figure at all stages where its measurement was made."""

    id: str
    """As 'geometry.width_mm', by which tolerances name it."""
    figure: Figure
    """For its words; its value is that of some stage."""
    limit: Found | None
    cells: dict[Stage, Cell | None]
    """None where the result of that stage does not have it."""

    @property
    def is_main(self) -> bool:
        """Whether it stands in the report's own tables and not only among the further figures."""
        return self.figure.quantity.main or self.limit is not None

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
        rows=[_row(name, figures, list(one.last), tolerances) for name, figures in one.rows().items()],
        untold=list(_untold(one)),
    )


def _row(name: str, figures: Mapping[Stage, Figure], stages: Sequence[Stage], tolerances: Tolerances) -> Row:
    first = next(iter(figures.values()))
    found = tolerances.of(name)
    limit = None if found is None else found.limit
    cells = {
        stage: Cell(figure=figures[stage], verdict=judged(figures[stage], limit)) if stage in figures else None
        for stage in stages
    }
    return Row(id=name, figure=first, limit=found, cells=cells)


def _remarks(one: Attached) -> Iterator[str]:
    fields = one.result.get("fields")
    parts = [one.result, *(fields if isinstance(fields, list) else [])]
    held = [words for part in parts if isinstance(part, Mapping) for words in _texts(part.get("warnings"))]
    yield from dict.fromkeys(held)


def _texts(held: object) -> list[str]:
    return [" ".join(part.split()) for part in held if isinstance(part, str)] if isinstance(held, list) else []


def _untold(one: Comparison) -> Iterator[tuple[str, Stage, str]]:
    """Why figures are not available: each reason once for a stage, with everything that it concerns."""
    for stage, result in one.last.items():
        figures = list(read(result.kind, result.result).values())
        missing = [figure for figure in figures if figure.value is None]
        concerned: dict[str, list[str]] = {}
        for figure in missing:
            # An older version did not measure it: no news to the set's owner.
            if figure.reason == NO_REASON:
                continue
            concerned.setdefault(figure.reason, []).append(figure.quantity.words)
        for words, why in other_reasons(result.kind, result.result).items():
            concerned.setdefault(why, []).append(words)
        for why, some in concerned.items():
            whole = len(some) > 1 and len(missing) == len(figures)
            yield "all figures" if whole else _listed(some), stage, why


def _listed(words: Sequence[str]) -> str:
    """Names in one line; what several have before a colon is written once, as the step in '0 %: x, y'."""
    by_head: dict[str, list[str]] = {}
    for name in dict.fromkeys(words):
        head, colon, rest = name.partition(": ")
        by_head.setdefault(head if colon else "", []).append(rest if colon else name)
    return "; ".join(f"{head}: {', '.join(some)}" if head else ", ".join(some) for head, some in by_head.items())
