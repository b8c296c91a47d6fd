"""The report as one page that needs no other file and no network, and prints on A4."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import version
from string import ascii_lowercase
from typing import Any

from analysis.answer import Figure
from trueraster.output.page import DIGIT, POINT, rendered
from trueraster.output.text import aligned
from trueraster.record.compare import value_text
from trueraster.record.intake import QUESTIONS, faults_of, part_words
from trueraster.record.schema import Record, Stage
from trueraster.report.content import Content, Measured, Row, Section
from trueraster.report.customer import (
    Aspect,
    aspects_of,
    clipped,
    done_of,
    pair_of,
    shown_of,
    summary_of,
    unmeasured_of,
    wrong_of,
)
from trueraster.report.limits import SURE, Verdict
from trueraster.report.shown import Shown

__all__ = ["report_page"]

_LARGEST = 1e9
_UNITS = {"cd/m2": "cd/m²"}


def report_page(content: Content, pictures: Sequence[Sequence[Shown]], made: datetime) -> str:
    """The page as HTML. `made` is the moment of making it, which stands at its foot."""
    record = content.record
    marks = _Marks()
    sections = [_section(one, marks) for one in content.sections]
    return rendered(
        "report.html",
        name=record.set.name or "A set without a name",
        bench=record.bench,
        simulated=_simulated(record),
        identity=list(_identity(record)),
        condition=record.set.condition,
        verdict=summary_of(content),
        customer=_customer(content, pictures),
        tally=_tally(content),
        astray=list(_astray(content)),
        intake=[(one.words, record.intake[one.name]) for one in QUESTIONS if record.intake.get(one.name)],
        parts_out=[part_words(one) for one in record.parts if faults_of(one)],
        parts=[part_words(one) for one in record.parts if not faults_of(one)],
        work=[(one.date[:10], one.text) for one in record.work],
        sections=sections,
        pictures=pictures,
        untold=list(_untold(content)),
        sources=marks.items,
        sure=f"{SURE:g}",
        made=made.date().isoformat(),
        record=record.path.name,
        begun=record.made[:10],
        program=f"trueraster {version('trueraster')}",
    )


_NAME, _FACT = 90, 60
"""Letters of the set's name, and of any other fact, on the first page."""


def _customer(content: Content, pictures: Sequence[Sequence[Shown]]) -> dict[str, Any]:
    """What the first page has beside the set's name and the verdict."""
    record = content.record
    chosen, rest = shown_of(aspects_of(content))
    short = ("serial number", "hours of use", "job", "technician")
    return {
        "name": clipped(record.set.name or "A set without a name", _NAME),
        "bench": clipped(record.bench, _NAME),
        "identity": [(name, clipped(words, _FACT)) for name, words in _identity(record) if name in short],
        "wrong": wrong_of(content, _said),
        "done": done_of(content),
        "pair": [(one, clipped(one.caption or one.name, _FACT)) for one in pair_of(pictures)],
        "rows": [_seen(one) for one in chosen],
        "rest": [(one.words, one.verdict.words) for one in rest],
        "unmeasured": ", ".join(unmeasured_of(content)) if content.sections else "",
    }


def _said(row: Row, stage: Stage) -> str:
    """A figure at a stage: its words, value and unit."""
    cell = row.cells[stage]
    assert cell is not None
    return f"{row.figure.quantity.words}, {_value(cell.figure)} {_unit(row.figure.quantity.unit)}".strip()


def _seen(one: Aspect) -> dict[str, Any]:
    """An aspect as a row: its figure in words, before and last, with its tolerance."""
    row, limit = one.row, one.row.limit
    unit = _unit(row.figure.quantity.unit)
    first = row.cells.get(Stage.AS_FOUND)
    last = row.last
    cells = [first, None if first is last else last]
    return {
        "words": one.words,
        "figure": clipped(row.figure.quantity.words, _FACT),
        "limit": "" if limit is None else _typeset(limit.limit.words(signed=row.figure.quantity.signed)),
        "unit": unit,
        "cells": [
            None
            if cell is None or cell.figure.value is None
            else {"value": _value(cell.figure), "verdict": cell.verdict}
            for cell in cells
        ],
    }


def _value(one: Figure) -> str:
    value, uncertainty = _texts(one)
    return " ".join(filter(None, (_typeset(value), f"± {uncertainty}" if uncertainty else "")))


class _Marks:
    """Sources of tolerances, each with a letter by which tables name it."""

    def __init__(self) -> None:
        self._found: dict[str, str] = {}

    def of(self, source: str) -> str:
        count = len(self._found)
        letters = len(ascii_lowercase)
        letter = ascii_lowercase[count % letters] * (count // letters + 1)
        return self._found.setdefault(source, letter)

    @property
    def items(self) -> list[tuple[str, str]]:
        return [(letter, source) for source, letter in self._found.items()]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Cell:
    value: str
    uncertainty: str
    verdict: Verdict | None
    is_there: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Row:
    words: str
    unit: str
    limit: str
    mark: str
    cells: list[_Cell]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Section:
    title: str
    is_known: bool
    stages: list[str]
    results: list[Measured]
    main: list[_Row]
    more: list[_Row]
    method: list[tuple[str, list[tuple[str, int]]]]
    """A name, then words with how many stages they hold for."""


def _section(one: Section, marks: _Marks) -> _Section:
    return _Section(
        title=one.title,
        is_known=one.is_known,
        stages=[stage.words for stage in one.stages],
        results=one.results,
        main=_rows([row for row in one.rows if row.is_main], one.stages, marks),
        more=_rows([row for row in one.rows if not row.is_main], one.stages, marks),
        method=_method(one.results),
    )


def _rows(rows: Sequence[Row], stages: Sequence[Stage], marks: _Marks) -> list[_Row]:
    """Rows with figures that stand point below point in each column, as far as they have one unit."""
    units = [row.figure.quantity.unit for row in rows]
    columns = []
    for stage in stages:
        cells = [row.cells[stage] for row in rows]
        texts = [("-", "") if cell is None else _texts(cell.figure) for cell in cells]
        values = _aligned([_typeset(value) for value, _ in texts], units)
        uncertainties = _aligned([uncertainty for _, uncertainty in texts], units)
        columns.append(
            [
                _Cell(
                    value=value,
                    uncertainty=f"± {uncertainty}" if text[1] else "",
                    verdict=None if cell is None else cell.verdict,
                    is_there=cell is not None and cell.figure.value is not None,
                )
                for cell, text, value, uncertainty in zip(cells, texts, values, uncertainties, strict=True)
            ]
        )
    made = []
    for i, row in enumerate(rows):
        limit = row.limit
        made.append(
            _Row(
                words=row.figure.quantity.words,
                unit=_unit(row.figure.quantity.unit),
                limit="" if limit is None else _typeset(limit.limit.words(signed=row.figure.quantity.signed)),
                mark="" if limit is None else marks.of(limit.source),
                cells=[column[i] for column in columns],
            )
        )
    return made


def _texts(one: Figure) -> tuple[str, str]:
    """A figure and its uncertainty; what no set can have is told short, for a page has no room for it."""
    if max(abs(one.value or 0.0), one.uncertainty or 0.0) < _LARGEST:
        return value_text(one)
    return f"{one.value or 0.0:.3g}", "" if one.uncertainty is None else f"{one.uncertainty:.3g}"


def _aligned(texts: Sequence[str], units: Sequence[str]) -> list[str]:
    """Of kelvins and of ten-thousandths together a column would be as wide as both."""
    made = list(texts)
    for unit in set(units):
        at = [i for i, one in enumerate(units) if one == unit]
        for i, text in zip(at, aligned([texts[i] for i in at], DIGIT, POINT), strict=True):
            made[i] = text
    return made


def _typeset(text: str) -> str:
    """With minus signs as they are set, and a dash where there is no figure."""
    return "–" if text == "-" else text.replace("-", "−")


def _unit(unit: str) -> str:
    return _UNITS.get(unit, unit)


def _simulated(record: Record) -> str:
    if not record.is_simulated:
        return ""
    return record.simulated or "Simulation: some of its figures are of no real set; they are marked."


def _identity(record: Record) -> Iterator[tuple[str, str]]:
    told = record.set
    rows = (
        ("serial number", told.serial),
        ("hours of use", "" if told.hours is None else f"{told.hours:,.1f}".removesuffix(".0")),
        ("inputs", ", ".join(told.inputs)),
        ("scan formats", ", ".join(told.formats)),
        ("job", record.job),
        ("technician", record.technician),
    )
    yield from ((name, words) for name, words in rows if words)


def _last(content: Content) -> list[tuple[Section, Row, Verdict]]:
    """Every figure that is judged, by its last value."""
    return [
        (section, row, row.last.verdict)
        for section in content.sections
        for row in section.rows
        if row.last is not None and row.last.verdict is not None
    ]


def _tally(content: Content) -> list[tuple[str, list[int]]]:
    return [
        (stage.words, [sum(counts.values()), *(counts[verdict] for verdict in Verdict)])
        for stage, counts in content.tally().items()
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Astray:
    """A figure that is not within, as it was measured last."""

    title: str
    words: str
    shown: str
    limit: str
    verdict: Verdict


def _astray(content: Content) -> Iterator[_Astray]:
    for section, row, verdict in sorted(_last(content), key=lambda one: one[2] is not Verdict.BEYOND):
        if verdict is Verdict.WITHIN or row.last is None or row.limit is None:
            continue
        unit = _unit(row.figure.quantity.unit)
        yield _Astray(
            title=section.title,
            words=row.figure.quantity.words,
            shown=f"{_value(row.last.figure)} {unit}".strip(),
            limit=_typeset(row.limit.limit.words(signed=row.figure.quantity.signed)),
            verdict=verdict,
        )


def _method(results: Sequence[Measured]) -> list[tuple[str, list[tuple[str, int]]]]:
    """Names with words by stage; what is the same next to each other is told once."""
    by_stage = []
    for one in results:
        result = one.result
        rows = dict(one.method)
        rows["date"] = result.date[:10]
        rows["figures from"] = result.source
        rows["simulated"] = "yes, no real set" if result.simulated else ""
        rows["remarks"] = "; ".join(one.remarks)
        rows["counts"] = f"the last of {one.earlier + 1} results" if one.earlier else ""
        by_stage.append(rows)
    names = dict.fromkeys(name for rows in by_stage for name, words in rows.items() if words)
    return [(name, _spans([rows.get(name, "") or "–" for rows in by_stage])) for name in names]


def _spans(words: Sequence[str]) -> list[tuple[str, int]]:
    spans: list[tuple[str, int]] = []
    for text in words:
        if spans and spans[-1][0] == text:
            spans[-1] = (text, spans[-1][1] + 1)
        else:
            spans.append((text, 1))
    return spans


def _untold(content: Content) -> Iterator[tuple[str, str]]:
    """What is not known, and why."""
    measured = [stage for stage in Stage if any(stage in section.stages for section in content.sections)]
    for section in content.sections:
        for words, stage, why in section.untold:
            yield f"{section.title}, {stage.words}: {words}", why
        missing = [stage.words for stage in measured if stage not in section.stages]
        if missing:
            yield section.title, f"not measured {' nor '.join(missing)}"
        if not section.is_known:
            yield section.title, "a measurement that this version does not know; it is kept in the record"
    if not content.sections:
        yield "All figures", "nothing has been measured yet"
