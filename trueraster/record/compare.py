"""The stages of a record side by side: what was measured at each, and its figures in words."""

from __future__ import annotations

from dataclasses import dataclass

from analysis.answer import Figure, Kind
from analysis.rounding import decimals, figure, uncertainty_text, unsigned
from trueraster.output.json import read
from trueraster.record.results import subject_of, title_of
from trueraster.record.schema import Attached, Record, Stage

__all__ = ["Comparison", "comparisons", "value_text"]

_MOST_DECIMALS = 5
"""Of a figure: u'v' are given to a tenth of a thousandth, and their uncertainties to one digit more."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """One measurement of one subject, at each stage where it was made."""

    kind: str
    title: str
    results: dict[Stage, list[Attached]]
    """In the order of attaching; the last of a stage is the one that counts."""

    @property
    def last(self) -> dict[Stage, Attached]:
        return {stage: results[-1] for stage, results in self.results.items()}

    def rows(self) -> dict[str, dict[Stage, Figure]]:
        """Each figure by its id and by stage, in the order of the results; only what some stage has a value of."""
        by_id: dict[str, dict[Stage, Figure]] = {}
        for stage, result in self.last.items():
            for name, one in read(result.kind, result.result).items():
                by_id.setdefault(name, {})[stage] = one
        return {name: row for name, row in by_id.items() if any(one.value is not None for one in row.values())}


def comparisons(record: Record) -> list[Comparison]:
    """All measurements of a record, by kind and subject, with the stages side by side."""
    order = list[str](Kind)
    held: dict[tuple[str, str], dict[Stage, list[Attached]]] = {}
    for stage, content in record.stages.items():
        for result in content.results:
            subject = (result.kind, subject_of(result.kind, result.result))
            held.setdefault(subject, {}).setdefault(stage, []).append(result)
    ranked = sorted(held.items(), key=lambda item: order.index(item[0][0]) if item[0][0] in order else len(order))
    return [
        Comparison(kind=kind, title=title_of(kind, next(iter(results.values()))[-1].result), results=results)
        for (kind, _), results in ranked
    ]


def value_text(one: Figure) -> tuple[str, str]:
    """A figure and its uncertainty, with as many digits as that justifies; '-' and nothing where there is none."""
    if one.value is None:
        return "-", ""
    # Digital samples that are as drawn have none.
    known = one.uncertainty is not None and one.uncertainty > 0
    if one.quantity.decimals is not None:
        places = one.quantity.decimals
    elif not known:
        places = _places_of(one.value)
    else:
        places = decimals(one.uncertainty, _MOST_DECIMALS)
    shown = figure(one.value, places) if one.quantity.signed else unsigned(one.value, places)
    return shown, uncertainty_text(one.uncertainty, places) if known else ""


def _places_of(value: float) -> int:
    """Digits after the point for three or four that count, where no uncertainty says how many do."""
    if value == int(value):
        return 0
    for places, least in ((0, 1000), (1, 100), (2, 10), (3, 1)):
        if abs(value) >= least:
            return places
    return 4
