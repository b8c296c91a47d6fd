"""What is asked when a set comes in, and how a component is judged: one table for options, sheet and report."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from trueraster.record.schema import Part

__all__ = ["QUESTIONS", "USUAL", "Question", "faults_of", "part_words", "tolerance_of"]


@dataclass(frozen=True, slots=True)
class Question:
    """One line of the intake."""

    name: str
    """Its key in the record; with hyphens, the option's name."""
    words: str
    choices: tuple[str, ...] = ()
    """Where only these are answers."""


QUESTIONS = (
    Question("chassis_serial", "Serial number on the chassis"),
    Question("tube_serial", "Serial number and type on the tube"),
    Question("board_serials", "Serial numbers on the boards"),
    Question("serials_match", "All belong together", ("yes", "no", "not known")),
    Question("software", "Software version"),
    Question("boards", "Boards and optional inputs that are fitted"),
    Question("condition", "Condition of case, glass and connectors"),
    Question("cleaning", "Cleaned, and with what"),
    Question("mask", "Mask of the tube", ("stripe", "slot", "dot", "not known")),
    Question("face", "Face of the tube", ("flat", "cylinder", "sphere", "not known")),
    Question("tested", "Tested before power was put on"),
)
"""In the order of work: labels before covers, all before power."""


@dataclass(frozen=True, slots=True)
class Usual:
    """A usual tolerance of a kind of component. Common practice, no source: the marking on the part goes before it."""

    below: float
    above: float


USUAL: Mapping[str, Usual] = MappingProxyType(
    {
        "electrolytic": Usual(-20, 20),
        "film": Usual(-10, 10),
        "ceramic": Usual(-20, 20),
        "resistor": Usual(-5, 5),
    }
)
"""By kind, in % of the nominal value."""


_LAST_DIGIT = 1e-9
"""In %."""


def tolerance_of(part: Part) -> tuple[float, float] | None:
    """How far below and above its nominal value a component may be, in %; None where nothing says so."""
    if part.tolerance_percent is not None:
        return part.tolerance_percent
    usual = USUAL.get(part.kind)
    return None if usual is None else (usual.below, usual.above)


def faults_of(part: Part) -> list[str] | None:
    """What is out of tolerance of a component, in words; None where nothing of it could be judged."""
    found, judged = [], False
    span = tolerance_of(part)
    if part.measured is not None and part.nominal and span is not None:
        judged = True
        off = 100 * (part.measured / part.nominal - 1)
        # A value at the very end of its tolerance is within, whatever the last binary digit says.
        if not span[0] - _LAST_DIGIT <= off <= span[1] + _LAST_DIGIT:
            found.append(f"{off:+.1f} % from {_shown(part.nominal)}{part.unit}, allowed {span[0]:+g} to {span[1]:+g} %")
    for name, value, most, unit in (
        ("ESR", part.esr_ohm, part.esr_most_ohm, "ohm"),
        ("leakage", part.leakage_ua, part.leakage_most_ua, "µA"),
    ):
        if value is not None and most is not None:
            judged = True
            if value > most:
                found.append(f"{name} {value:g} {unit}, allowed at most {most:g}")
    return found if judged else None


def _shown(value: float) -> str:
    """A value with the prefix of its unit: '10 µ' of 1e-05."""
    prefixes = ((1e6, "M"), (1e3, "k"), (1, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"), (1e-12, "p"))
    factor, prefix = next(((size, letter) for size, letter in prefixes if value >= size), prefixes[-1])
    return f"{value / factor:.4g} {prefix}"


def part_words(part: Part) -> str:
    """A component in a line: what it is, its verdict, and what became of it."""
    faults = faults_of(part)
    verdict = "not judged, which needs its tolerance or its kind" if faults is None else f"out: {'; '.join(faults)}" if faults else "in order"
    source = part.source or ("common practice, no source" if part.tolerance_percent is None and faults else "")
    head = " ".join(filter(None, (part.ref, part.kind, part.marking)))
    replaced = f", replaced by {part.replaced_by}" if part.replaced_by else ""
    return f"{head}: {verdict}{f' ({source})' if source else ''}{replaced}"
