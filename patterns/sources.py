"""Where a number of a standard comes from, and how far that was checked."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Generic, TypeVar

__all__ = ["Constant", "Mark", "Source"]

T = TypeVar("T")


class Mark(StrEnum):
    """How far a value was checked. The mark speaks for the value, not for the place in the document."""

    VERIFIED = "verified"
    """Compared with a source that was opened or run; the note names it."""
    SECONDARY = "secondary text"
    """Stated by a public text about the document; the document itself was not seen."""
    MEMORY = "from memory"
    """Not checked. Check it before quoting it."""
    PRACTICE = "common practice"
    """No standard states it: the custom of the trade, or a choice of this project, as the note says."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A document, the place in it, and how far the value was checked.

    Table and item numbers in `where` are from memory unless the note says otherwise. The string form is
    one line, fit for a page of constants.
    """

    document: str
    where: str = ""
    mark: Mark
    note: str = ""

    def __str__(self) -> str:
        place = f"{self.document}, {self.where}" if self.where else self.document
        return f"{place} [{self.mark}: {self.note}]" if self.note else f"{place} [{self.mark}]"


@dataclass(frozen=True, slots=True, kw_only=True)
class Constant(Generic[T]):
    """A value of a standard with its unit ("ratio" for a pure number) and its source."""

    name: str
    value: T
    unit: str
    source: Source
