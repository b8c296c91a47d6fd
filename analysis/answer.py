"""What every measurement answers with: figures, findings, advice, and what they rest on.

A measuring room has a table of `Quantity` in its `quantities.py` and a function in its `answer.py` that makes one
`Answer`. Text, JSON, pages, records, reports, tolerances and the documents' tables of keys are made from these alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any

__all__ = [
    "NO_REASON",
    "SERVICE",
    "Advice",
    "Answer",
    "Assumption",
    "Figure",
    "Finding",
    "Kind",
    "NamedFault",
    "Quantity",
    "Table",
    "each",
    "figures_in",
    "figures_of",
    "nested",
    "number_at",
    "reason_for",
]

Json = Mapping[str, Any]

SERVICE = (
    "Usually no control outside the cabinet does this: it is work for qualified service people, since lethal voltages"
    " stay stored inside after power-off."
)
"""Said with all advice on work inside a set."""


class Kind(StrEnum):
    """What was measured, in the order in which a summary lists it."""

    VERIFY = "verify"
    GEOMETRY = "geometry"
    CONVERGENCE = "convergence"
    GREY = "grey"
    COLOUR = "colour"
    UNIFORMITY = "uniformity"
    LENS = "lens"


@dataclass(frozen=True, slots=True)
class Quantity:
    """What is measured: everything about a figure but its value."""

    path: str
    """Where its value is in the JSON: 'centre_mm.0'. With the kind before it, the figure's id."""
    words: str
    """What it is, complete in itself: 'red: colour error'."""
    unit: str = ""
    """'mm', '%', ...; empty for a count or a ratio."""
    signed: bool = False
    """Whether its sign is a direction, so that a plus is shown too."""
    main: bool = False
    """Whether it belongs in a summary."""
    decimals: int | None = None
    """Digits after the point, where the uncertainty does not decide them."""
    digits: int | None = None
    """Digits after the point in the JSON, where they are not those of the whole answer."""
    uncertainty: str = "uncertainty.{path}"
    """Where its standard uncertainty is in the JSON; empty where it has none."""
    id: str = ""
    """Where it is not the path."""
    because: tuple[str, ...] = ()
    """Further names under which `reasons` may say why it is null; its path and the path's beginnings come first."""
    kept: bool = True
    """Whether records and reports list it; others are in the JSON only."""
    pattern: str = ""
    """Of several alike, the path of all: 'primaries.{red,green,blue}.x', for the documents' tables."""
    general: str = ""
    """Of several alike, the words of all: 'red, green, blue: x'."""
    beside: str = ""
    """The path of the same in another unit, which tables have in a column of its own."""
    table: str = "figure"
    """The heading of the table that it is in."""
    row: str = ""
    """Its words in that table, where the headings say a part of them."""
    column: str = ""
    """The column that it is in, where a table has several things side by side."""

    @property
    def name(self) -> str:
        """The figure's id without the kind before it."""
        return self.id or self.path


@dataclass(frozen=True, slots=True)
class Figure:
    """A quantity with its value; None with the reason where it is not available."""

    quantity: Quantity
    value: float | None
    uncertainty: float | None
    """Standard uncertainty, in the same unit; None where there is none."""
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Finding:
    """A sentence that heads text, plots and pages, without its full stop."""

    words: str
    about: str = ""
    """The path of the quantity that it states."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Assumption:
    """What was taken as usual since nothing in the input says it, and what that is worth."""

    id: str
    words: str
    """Without its full stop."""
    worth_mm: float | None = None
    """By how much places on the glass move by one standard uncertainty of it, at most."""
    option: str = ""
    """What removes it."""

    @property
    def sentence(self) -> str:
        """All of it for people."""
        worth = "" if self.worth_mm is None else f": worth ± {self.worth_mm:.2g} mm"
        option = f"; {self.option} removes it" if self.option else ""
        return f"{self.words}{worth}{option}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One thing to adjust or to check."""

    adjust: str
    """The control, as 'red cut-off'."""
    why: str
    direction: str = ""
    amount: float | None = None
    """Never negative, in `unit`."""
    unit: str = ""
    uncertainty: float | None = None
    decimals: int | None = None
    """Digits of the amount, where the uncertainty does not decide them."""
    where: str = ""
    """What does it, and where that usually is."""
    until: str = ""
    """What is seen or read when it is far enough."""
    show: str = ""
    """What to put on the screen first; advice with the same words is listed under them together."""
    inside: bool = False
    """Whether it is work inside the set, for qualified service."""
    remains: str = ""
    """A sentence that says what is still wrong once it is done."""
    details: Json = field(default_factory=dict)
    """Further keys of its JSON."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NamedFault:
    """A fault of the chain that a frame came through, in words."""

    id: str
    title: str
    confidence: float
    """0 to 1."""
    explanation: str
    """What is seen, and what in a chain does it."""
    remedy: str
    parameters: Json = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """Rows of cells as people read them, the same on a terminal and on a page.

    Each has words in the first column, figures after it, and words in the last one where it has units.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    has_units: bool = False
    below: str = ""
    """A line that belongs to it."""

    @property
    def figures(self) -> range:
        """The columns that hold figures."""
        return range(1, len(self.head) - self.has_units)


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a measurement found, and everything that is said of it."""

    kind: Kind
    subject: tuple[str, ...]
    """The file, then what was measured, a line each."""
    figures: tuple[Figure, ...]
    findings: tuple[Finding, ...]
    tables: tuple[Table, ...] = ()
    """The figures as people read them."""
    remarks: tuple[str, ...] = ()
    """What the measurement warns of."""
    notes: tuple[str, ...] = ()
    """How to read the tables; not in the JSON."""
    assumptions: tuple[str | Assumption, ...] = ()
    """What was assumed, since nothing in the input says so."""
    missing: tuple[str, ...] = ()
    """Why figures are not available, a sentence for each reason."""
    advice: tuple[Advice, ...] | None = ()
    """In the order of work; None where nothing can be advised, and `reasons` says why."""
    faults: tuple[NamedFault, ...] | None = None
    """In place of advice where a frame was verified."""
    advice_title: str = "What to adjust"
    advice_first: bool = False
    """Whether the advice is before the tables, since these are long."""
    summary: tuple[str, ...] = ()
    """Sentences that close the advice."""
    closing: tuple[Table, ...] = ()
    """Tables of what is expected once the advice has been followed."""
    reasons: Mapping[str, str] = field(default_factory=dict)
    """Why figures are null, by path, by the beginning of one, or by a name in a quantity's `because`."""
    absent: tuple[str, ...] = ()
    """Paths that are null as a whole in the JSON, value and uncertainty."""
    details: Json = field(default_factory=dict)
    """What is in the JSON and is no figure: nodes, zones, patches, and what was measured."""
    digits: int = 6
    """After the point, of numbers in the JSON: a millionth is beyond what any photograph, meter or chain repeats."""


def each(
    template: Iterable[Quantity], names: Mapping[str, str], prefix: str, words: str = "{title}: {words}"
) -> Iterator[Quantity]:
    """The same quantities for several things: for each gun, side, step or field.

    Args:
        template: quantities whose paths go after the prefix, and whose words go into `words`. Their `because`,
            `beside`, `row` and `column` may have {name}, {title} and {words} in them.
        names: the names in paths, with their titles.
        prefix: the beginning of each path, with {name} in it.
        words: with {title} and {words} in it.
    """
    every = "{" + ",".join(names) + "}" if len(names) > 1 else "".join(names)
    titles = ", ".join(names.values())
    for name, title in names.items():
        at = prefix.format(name=name)
        for one in template:
            yield replace(
                one,
                path=at + one.path,
                words=words.format(title=title, words=one.words),
                id=at + one.id if one.id else "",
                because=tuple(because.format(name=name) for because in one.because),
                beside=one.beside.format(name=name),
                row=one.row.format(title=title, words=one.words),
                column=one.column.format(title=title),
                pattern=prefix.format(name=every) + (one.pattern or one.path),
                general=words.format(title=titles, words=one.general or one.words),
            )


def figures_of(
    quantities: Iterable[Quantity],
    values: Mapping[str, float | None],
    uncertainty: Mapping[str, float | None],
    reasons: Mapping[str, str],
) -> tuple[Figure, ...]:
    """The figures of a measurement, from its values and uncertainties by path."""
    figures = []
    for one in quantities:
        value = values.get(one.path)
        why = reason_for(one, reasons) if value is None else ""
        figures.append(Figure(one, value, uncertainty.get(one.path), why))
    return tuple(figures)


def figures_in(quantities: Iterable[Quantity], held: Json) -> list[Figure]:
    """The figures of an answer's JSON, which may have been changed by hand: what is no number is None."""
    given = held.get("reasons")
    reasons = {name: why for name, why in given.items() if isinstance(why, str)} if isinstance(given, Mapping) else {}
    figures = []
    for one in quantities:
        value = number_at(held, one.path)
        why = reason_for(one, reasons) if value is None else ""
        figures.append(Figure(one, value, number_at(held, one.uncertainty.format(path=one.path)), why))
    return figures


NO_REASON = "the result does not have it; an older version did not report it"
"""Of a figure that a kept answer neither has nor gives a reason for."""


def reason_for(quantity: Quantity, reasons: Mapping[str, str]) -> str:
    """Why a figure is null: the most exact of the reasons that concern it."""
    parts = quantity.path.split(".")
    beginnings = (".".join(parts[:count]) for count in range(len(parts), 0, -1))
    for name in (*beginnings, *quantity.because):
        if name in reasons:
            return " ".join(reasons[name].split())
    return NO_REASON


def nested(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values by path as objects in objects: 'a.b' is b in an object a; 'a.0', 'a.1' are a list."""
    held: dict[str, Any] = {}
    for path, value in values.items():
        *way, last = path.split(".")
        room = held
        for part in way:
            room = room.setdefault(part, {})
        room[last] = value
    return {name: _listed(value) for name, value in held.items()}


def _listed(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    if value and all(name == str(i) for i, name in enumerate(value)):
        return [_listed(inner) for inner in value.values()]
    return {name: _listed(inner) for name, inner in value.items()}


def number_at(held: Json, path: str) -> float | None:
    """The number at a path such as 'centre_mm.0' in JSON; None where there is none."""
    found: Any = held
    for part in path.split("."):
        # What was read from a file is dict and list, and asking for those is ten times as fast.
        if isinstance(found, dict) or (not isinstance(found, list) and isinstance(found, Mapping)):
            found = found.get(part)
        elif isinstance(found, Sequence) and not isinstance(found, str) and part.isdecimal() and int(part) < len(found):
            found = found[int(part)]
        else:
            return None
    if isinstance(found, bool) or not isinstance(found, int | float):
        return None
    try:
        value = float(found)
    except OverflowError:
        return None
    return value if math.isfinite(value) else None
