"""The first page of a report: what was wrong, what was done, and how the set is now, in words for its owner."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from math import inf

from analysis.answer import Kind
from analysis.rounding import counted
from trueraster.record.schema import Stage
from trueraster.report.content import Cell, Content, Row
from trueraster.report.limits import Verdict
from trueraster.report.shown import Shown
from trueraster.report.tolerances import fits

__all__ = [
    "Aspect",
    "aspects_of",
    "clipped",
    "done_of",
    "pair_of",
    "shown_of",
    "summary_of",
    "unmeasured_of",
    "wrong_of",
]

_MOST_ASPECTS = 6
"""Rows of figures on the first page; it has no room for more beside the pictures."""
_MOST_WRONG, _MOST_DONE = 3, 4
"""Lines of what was wrong and of what was done."""
_LONG, _LINE = 190, 80
"""Letters of the condition, and of any other line."""

_ASPECTS = (
    ("Signal", ("verify.*",)),
    ("Straight edges", ("geometry.edge_sag_*", "geometry.bow_*")),
    ("Position and rotation", ("geometry.centre_*", "geometry.rotation_*", "geometry.parallelogram_*")),
    ("Shape", ("geometry.aspect_*", "geometry.keystone_*")),
    ("Equal cells (linearity)", ("geometry.linearity_*",)),
    ("Colours meet in the middle", ("convergence.centre_*", "convergence.zones_percent.centre.*")),
    ("Colours meet everywhere", ("convergence.*",)),
    ("Neutral greys", ("grey.*",)),
    ("Colours", ("colour.*",)),
    ("Even light and colour", ("uniformity.*",)),
    ("Other figures", ("*",)),
)
"""What an owner sees on a screen, and the figures that it is judged by, each by the first that fits. Our own choice."""

_RANK = {Verdict.BEYOND: 2, Verdict.OPEN: 1, Verdict.WITHIN: 0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Aspect:
    """One thing that an owner sees, judged by all of its figures as they were measured last."""

    words: str
    verdict: Verdict
    """The worst of its figures."""
    was: Verdict | None
    """The worst of its figures as found; None where they were not measured then."""
    row: Row
    """The figure that says most: the worst one now; if all are in order, the one that ever was the worst."""


def aspects_of(content: Content) -> list[Aspect]:
    """Everything that is judged, by aspect: no figure is in none."""
    by_words: dict[str, list[Row]] = {words: [] for words, _ in _ASPECTS}
    for section in content.sections:
        for row in section.rows:
            if row.last is not None and row.last.verdict is not None:
                words = next(words for words, names in _ASPECTS if any(_is_of(name, row.id) for name in names))
                by_words[words].append(row)
    return [_aspect(words, rows) for words, rows in by_words.items() if rows]


def _is_of(name: str, figure: str) -> bool:
    return name == "*" or fits(name, figure)


def _aspect(words: str, rows: Sequence[Row]) -> Aspect:
    verdict = max((row.last.verdict for row in rows if row.last and row.last.verdict), key=_RANK.__getitem__)
    found = [cell.verdict for row in rows if (cell := row.cells.get(Stage.AS_FOUND)) and cell.verdict is not None]
    if verdict is Verdict.WITHIN:
        row = max(rows, key=lambda one: max(_used(one, cell) for cell in one.cells.values()))
    else:
        row = max(rows, key=lambda one: (_RANK[_verdict(one)], _used(one, one.last)))
    return Aspect(words=words, verdict=verdict, was=max(found, key=_RANK.__getitem__, default=None), row=row)


def _verdict(row: Row) -> Verdict:
    return Verdict.WITHIN if row.last is None or row.last.verdict is None else row.last.verdict


def _used(row: Row, cell: Cell | None) -> float:
    """How much of its tolerance a figure takes up; only to compare figures."""
    if cell is None or cell.figure.value is None or row.limit is None:
        return -1.0
    value, limit = abs(cell.figure.value), row.limit.limit
    if limit.most is not None:
        return value / limit.most if limit.most else (inf if value else 0.0)
    return abs(limit.least or 0.0) / value if value else inf


def shown_of(aspects: Sequence[Aspect]) -> tuple[list[Aspect], list[Aspect]]:
    """The aspects for the table of the first page, and those for the line below it; both in the usual order."""

    def first(one: Aspect) -> tuple[int, int]:
        return -_RANK[one.verdict], -_RANK[one.was or Verdict.WITHIN]

    chosen = sorted(aspects, key=first)[:_MOST_ASPECTS]
    return [one for one in aspects if one in chosen], [one for one in aspects if one not in chosen]


def summary_of(content: Content) -> str:
    """How the set is as it was last measured, in a sentence or two."""
    if not content.sections:
        return "Nothing has been measured."
    verdicts = [
        row.last.verdict
        for section in content.sections
        for row in section.rows
        if row.last is not None and row.last.verdict is not None
    ]
    if not verdicts:
        return "No figure is judged: none that was measured has a tolerance."
    within, beyond, left = (verdicts.count(verdict) for verdict in Verdict)
    all_of = "the one figure that is judged" if len(verdicts) == 1 else f"all {len(verdicts)} figures that are judged"
    if within == len(verdicts):
        return f"In order as last measured: {all_of}."
    aspects = aspects_of(content)
    said = [f"{within} of {counted(len(verdicts), 'figure')} in order"] if within else []
    for verdict, count in ((Verdict.BEYOND, beyond), (Verdict.OPEN, left)):
        names = ", ".join(one.words.lower() for one in aspects if one.verdict is verdict)
        said += [f"{count} {verdict.words}{f' ({names})' if names else ''}"] if count else []
    head = "Not in order" if beyond else "Not certain in every point"
    return f"{head} as last measured: {'; '.join(said)}."


def wrong_of(content: Content, said: Callable[[Row, Stage], str]) -> list[str]:
    """What was wrong, a line each: its condition as it came in, and the worst figure of each measurement then.

    `said` has a figure at a stage in words, with its value.
    """
    lines = [clipped(content.record.set.condition, _LONG)] if content.record.set.condition else []
    found = []
    for section in content.sections:
        out = [row for row in section.rows if _is_out_as_found(row)]
        if out:
            worst = max(out, key=lambda row: _used(row, row.cells[Stage.AS_FOUND]))
            found.append(clipped(f"{section.title.partition(',')[0]}: {said(worst, Stage.AS_FOUND)}", _LINE))
    lines += found[:_MOST_WRONG]
    return lines + _more(len(found) - _MOST_WRONG)


def _is_out_as_found(row: Row) -> bool:
    cell = row.cells.get(Stage.AS_FOUND)
    return cell is not None and cell.verdict is Verdict.BEYOND


def done_of(content: Content) -> list[str]:
    """What was done, a line each, with its day."""
    work = content.record.work
    lines = [clipped(" ".join(filter(None, (one.date[:10], one.text))), _LINE) for one in work[:_MOST_DONE]]
    lines += _more(len(work) - _MOST_DONE)
    replaced = [one.ref for one in content.record.parts if one.replaced_by]
    return lines + ([clipped(f"Components replaced: {', '.join(replaced)}", _LINE)] if replaced else [])


def _more(count: int) -> list[str]:
    return [f"{count} more in the annex."] if count > 0 else []


def clipped(text: str, most: int) -> str:
    """Text that has room on the first page, up to the end of a clause if there is one; the annex has it whole."""
    if len(text) <= most:
        return text
    clauses = re.split(r"(?<=[.;]) ", text)
    whole = [part for count in range(1, len(clauses)) if len(part := " ".join(clauses[:count])) <= most]
    return whole[-1].rstrip(";.") if whole else f"{text[: most - 4].rsplit(' ', 1)[0]} ..."


def pair_of(pictures: Sequence[Sequence[Shown]]) -> list[Shown]:
    """A picture as found and the last one of the same thing; one alone where there is no such pair."""
    there = [[one for one in group if one.source] for group in pictures]
    for group in there:
        before = [one for one in group if one.stage is Stage.AS_FOUND]
        after = [one for one in group if one.stage is not Stage.AS_FOUND]
        if before and after:
            return [before[0], after[-1]]
    return next(([group[-1]] for group in there if group), [])


def unmeasured_of(content: Content) -> Iterator[str]:
    """What was never measured, of what a set can be measured for."""
    names = {
        Kind.GEOMETRY: "geometry",
        Kind.CONVERGENCE: "convergence",
        Kind.GREY: "grey scale",
        Kind.COLOUR: "colours",
        Kind.UNIFORMITY: "uniformity and purity",
    }
    measured = {result.kind for stage in content.record.stages.values() for result in stage.results}
    yield from (words for kind, words in names.items() if kind not in measured)
