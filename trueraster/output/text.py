"""Answers as text for a terminal: subject, findings, tables, what is missing, notes, and what to adjust."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from pathlib import Path

from analysis.answer import SERVICE, Advice, Answer, NamedFault, Table
from analysis.rounding import counted, decimals, uncertainty_text
from trueraster.output.cautions import CAUTIONS
from trueraster.output.json import Files
from trueraster.output.terminal import columns, wrapped

__all__ = ["INSIDE", "advice_said", "advice_title", "aligned", "answer_text", "assumed_said"]

INSIDE = f"Work inside the set: {SERVICE[0].lower()}{SERVICE[1:]}"


def answer_text(answer: Answer, files: Files | None = None, *, whole: bool = True) -> str:
    """The answer for people, with the files that were written; if not `whole`, to follow another of the same input."""
    head = [*(answer.subject if whole else ()), *(f"{one.words}." for one in answer.findings)]
    parts = ["\n".join(wrapped(words) for words in head)]
    parts += [table_text(table) for table in answer.tables if table.rows]
    listed = [("Not available", answer.missing)]
    if whole:
        listed += [("Assumed", assumed_said(answer)), ("Notes", (*answer.remarks, *answer.notes))]
    parts += [f"{title}\n" + "\n".join(_item(words) for words in said) for title, said in listed if said]
    parts += [_fault_text(one) for one in answer.faults or ()]
    parts.append("\n".join(_advice_lines(answer)))
    parts += [table_text(table) for table in answer.closing if table.rows]
    if files:
        parts.append(files_text(files))
    return "\n\n".join(part for part in parts if part)


def assumed_said(answer: Answer) -> tuple[str, ...]:
    """What was assumed, a sentence each."""
    return tuple(one if isinstance(one, str) else one.sentence for one in answer.assumptions)


def files_text(files: Files) -> str:
    """The files that were written, a line for each kind."""
    lines = []
    for name, some in files.items():
        if isinstance(some, Path):
            lines.append(f"{name}: {some}")
        elif some:
            lines.append(f"{name}: {counted(len(some), 'file')} in {some[0].parent}")
    return "\n".join(lines)


def _fault_text(one: NamedFault) -> str:
    heading = f"{one.title} ({one.id}, confidence {100 * one.confidence:.0f} %)"
    said = (one.explanation, f"What to do: {one.remedy}")
    return "\n".join([heading, *(wrapped(words, "  ", "  ") for words in said)])


def _advice_lines(answer: Answer) -> list[str]:
    if answer.advice is None and not answer.summary:
        return []
    lines = [answer.advice_title] if answer.advice or answer.summary else []
    number = 0
    for show, some in groupby(answer.advice or (), lambda one: one.show):
        if show:
            number += 1
            lines.append(_item(f"{number}. {show}"))
        for one in some:
            number += not show
            margin = "     "
            title = advice_title(one)
            lines.append(wrapped(title, margin, margin + "  ") if show else _item(f"{number}. {title}"))
            inner = margin + "  " * bool(show)
            lines += [wrapped(said, inner, inner) for said in advice_said(one)]
    lines += [wrapped(words) for words in answer.summary]
    if any(one.inside for one in answer.advice or ()):
        lines += ["", wrapped(f"Caution. {INSIDE} {CAUTIONS[0].title}: {CAUTIONS[0].text}")]
    return lines


def advice_title(one: Advice) -> str:
    """What to adjust, which way and by how much: 'Red cut-off: up 3.1 % (± 0.4)'."""
    title = f"{one.adjust[:1].upper()}{one.adjust[1:]}"
    if one.amount is None:
        return f"{title}: {one.direction}" if one.direction else title
    places = decimals(one.uncertainty, 2) if one.decimals is None else one.decimals
    unit = f" {one.unit}" if one.unit else ""
    plus_minus = "" if one.uncertainty is None else f" (± {uncertainty_text(one.uncertainty, places)})"
    by = " " if one.direction in _SHORT else ", by "
    return f"{title}: {one.direction}{by}{one.amount:.{places}f}{unit}{plus_minus}"


_SHORT = ("", "up", "down")
"""Directions that a bare amount can follow."""


def advice_said(one: Advice) -> list[str]:
    """What is said of it below its title: until when, why, where the control is, and what remains."""
    place = "Inside the set, for qualified service" if one.inside else "Usually"
    where = f"{place}: {one.where}" if one.where else ""
    return [sentence(words) for words in (one.until, one.why, where, one.remains) if words]


def sentence(text: str) -> str:
    """Words with a capital letter first and a full stop last."""
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith('.') else '.'}"


def _item(text: str) -> str:
    return wrapped(text, "  ", "    ")


def table_text(table: Table) -> str:
    """A table for a terminal, its figures with point below point."""
    by_column = list(zip(*table.rows, strict=True))
    for i in table.figures:
        by_column[i] = tuple(aligned(by_column[i]))
    rows = [table.head, *zip(*by_column, strict=True)]
    text = columns(rows, right=tuple(table.figures))
    return f"{text}\n{table.below}" if table.below else text


def aligned(cells: Sequence[str], blank: str = " ", point: str = " ") -> list[str]:
    """Figures of one column, filled up so that their points are below each other.

    `blank` replaces a missing digit, `point` a missing point.
    """
    after = [len(cell) - cell.index(".") if "." in cell else 0 for cell in cells]
    most = max(after, default=0)
    filled = [
        cell + ("" if many == most else (point + blank * (most - 1) if many == 0 else blank * (most - many)))
        for cell, many in zip(cells, after, strict=True)
    ]
    wide = max((len(cell) for cell in filled), default=0)
    return [blank * (wide - len(cell)) + cell for cell in filled]
