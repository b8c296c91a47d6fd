"""What the marked picture of an examined frame holds: the patches, and what stands above and below the frame."""

from __future__ import annotations

from analysis.frame.answer import place_words, signal_words, verdict_words
from analysis.frame.findings import Examination
from analysis.frame.levels import Frame
from analysis.frame.picture.marks import Heading, Mark, Note
from patterns.formats import Format
from patterns.pattern import Pattern

__all__ = ["heading_of", "marks_of", "notes_of"]


def marks_of(found: Examination) -> list[Mark]:
    """The patches as marks on the frame."""
    components = found.check.signal.components
    return [
        Mark(
            name=reading.name,
            box=reading.box,
            error_codes=tuple(value for value in reading.error if value is not None),
            components=components[: sum(value is not None for value in reading.error)],
            passed=reading.passed,
        )
        for reading in found.check.readings
    ]


def heading_of(found: Examination, frame: Frame, pattern: Pattern, fmt: Format) -> Heading:
    """What stands above the picture."""
    lines = (f"{pattern.title}, {fmt.id}, {signal_words(found.check.signal)}", *place_words(found))
    return Heading(
        title=f"{frame.path.name}, frame {frame.index}",
        verdict=f"{verdict_words(found)}.",
        passed=found.passed,
        lines=lines,
    )


def notes_of(found: Examination) -> list[Note]:
    """What stands below it: each fault with its remedy."""
    return [
        Note(title=fault.title, paragraphs=(fault.explanation, f"What to do: {fault.remedy}")) for fault in found.faults
    ]
