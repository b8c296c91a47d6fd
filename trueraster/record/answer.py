"""A record in words and as JSON: who it is, what was done, and its figures with the stages side by side."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis.answer import Figure, Kind
from analysis.rounding import counted
from trueraster.output.json import read
from trueraster.output.terminal import columns, wrapped
from trueraster.output.text import aligned
from trueraster.record.compare import Comparison, comparisons, value_text
from trueraster.record.results import findings_of, kind_of, subject_of
from trueraster.record.schema import Attached, Record, Stage

__all__ = ["record_json", "record_text"]

_INDENT = 15
"""Columns for the names of what is known of the set."""


def record_text(record: Record, *, everything: bool) -> str:
    """A page for the terminal: all figures, or the main ones."""
    parts = [_heading(record)]
    if record.work:
        parts.append("Work done\n" + "\n".join(_hung(f"  {one.date[:10]:<10}  ", one.text) for one in record.work))
    compared = comparisons(record)
    parts += [_compared(one, everything=everything) for one in compared]
    if not compared:
        parts.append(
            "Nothing is measured yet: 'trueraster record add' attaches what verify and measure print with --json."
        )
    pictures = [
        _hung(
            f"  {stage.words}: ",
            "; ".join(
                f"{p.name} ({p.size_px[0]}x{p.size_px[1]})" + (f", {p.caption}" if p.caption else "")
                for p in content.pictures
            ),
        )
        for stage, content in record.stages.items()
        if content.pictures
    ]
    if pictures:
        parts.append("Pictures\n" + "\n".join(pictures))
    if record.unknown:
        parts.append(
            _hung(
                "Kept, but not known here: ",
                ", ".join(record.unknown[:8]) + (" ..." if len(record.unknown) > 8 else ""),
            )
        )
    return "\n\n".join(parts)


def _heading(record: Record) -> str:
    details = record.set
    lines = [details.name or "A set without a name"]
    if record.is_simulated:
        lines.append(_hung("", record.simulated or "Simulation: some of its figures are of no real set"))
    rows = (
        ("serial number", details.serial),
        ("hours", "" if details.hours is None else f"{details.hours:,.1f}".removesuffix(".0")),
        ("inputs", ", ".join(details.inputs)),
        ("scan formats", ", ".join(details.formats)),
        ("condition", details.condition),
        ("class", details.set_class),
        ("job", record.job),
        ("bench", record.bench),
        ("technician", record.technician),
        ("record", f"{record.path}, made {record.made[:10]}" if record.made else str(record.path)),
    )
    return "\n".join([*lines, *(_hung(f"  {name:<{_INDENT}}", words) for name, words in rows if words)])


def _compared(one: Comparison, *, everything: bool) -> str:
    lines = [one.title]
    for stage, result in one.last.items():
        more = len(one.results[stage]) - 1
        said = [f"{result.date[:10]}, {result.source}".strip(", ")]
        said += [f"the last of {counted(more + 1, 'result')}"] if more else []
        said += ["simulated"] if result.simulated else []
        said += [result.note] if result.note else []
        lines.append(_hung(f"  {stage.words}: ", ", ".join(words for words in said if words)))
        lines += [_hung("    ", words, hang=4) for words in findings_of(result.kind, result.result)]
    rows = [row for row in one.rows().values() if everything or any(part.quantity.main for part in row.values())]
    if rows:
        lines += ["", _table(rows, list(one.results))]
    elif one.kind not in set(Kind):
        lines.append("  A measurement that this version does not know; it is kept.")
    return "\n".join(lines)


def _table(rows: Sequence[dict[Stage, Figure]], stages: Sequence[Stage]) -> str:
    by_stage = []
    for stage in stages:
        cells = [value_text(row[stage]) if stage in row else ("-", "") for row in rows]
        values = aligned([value for value, _ in cells])
        uncertainties = aligned([uncertainty for _, uncertainty in cells])
        # The plus-minus stands in a column of its own.
        marked = [
            f"{value} {'±' if cell[1] else ' '} {uncertainty}".rstrip()
            for value, uncertainty, cell in zip(values, uncertainties, cells, strict=True)
        ]
        width = max(map(len, marked))
        by_stage.append([text.ljust(width) for text in marked])
    names = [next(iter(row.values())).quantity for row in rows]
    head = ("figure", *(stage.words for stage in stages), "unit")
    body = [(name.words, *cells, name.unit) for name, *cells in zip(names, *by_stage, strict=True)]
    return columns([head, *body])


def _hung(first: str, text: str, hang: int | None = None) -> str:
    """Words after a heading, further lines below their beginning."""
    indent = " " * (len(first) if hang is None else hang)
    return wrapped(" ".join(text.split()), first, indent) or first.rstrip()


def record_json(record: Record) -> dict[str, Any]:
    """The answer for programs: what is in the record, each result by its figures instead of in full."""
    details = record.set
    return {
        "record": str(record.path),
        "version": record.version,
        "made": record.made,
        "simulated": record.simulated or record.is_simulated,
        "set": {
            "name": details.name,
            "serial": details.serial,
            "hours": details.hours,
            "inputs": list(details.inputs),
            "formats": list(details.formats),
            "condition": details.condition,
            "set_class": details.set_class,
        },
        "job": record.job,
        "bench": record.bench,
        "technician": record.technician,
        "work": [{"date": one.date, "text": one.text} for one in record.work],
        "tolerances": dict(record.tolerances),
        "stages": {
            stage.value: {
                "results": [_result_json(result) for result in content.results],
                "pictures": [
                    {
                        "date": picture.date,
                        "name": picture.name,
                        "caption": picture.caption,
                        "media_type": picture.media_type,
                        "size_px": list(picture.size_px),
                    }
                    for picture in content.pictures
                ],
            }
            for stage, content in record.stages.items()
        },
        "unknown": list(record.unknown),
    }


def _result_json(result: Attached) -> dict[str, Any]:
    return {
        "kind": result.kind,
        "subject": subject_of(result.kind, result.result),
        "date": result.date,
        "source": result.source,
        "note": result.note,
        "simulated": result.simulated,
        "recognised": kind_of(result.result) is not None,
        "findings": findings_of(result.kind, result.result),
        "figures": [
            {
                "id": name,
                "name": one.quantity.words,
                "value": one.value,
                "uncertainty": one.uncertainty,
                "unit": one.quantity.unit,
                "reason": one.reason or None,
            }
            for name, one in read(result.kind, result.result).items()
        ],
    }
