"""Many files on one page: what they come to, and a small picture of each that failed, sorted by fault."""

from __future__ import annotations

from dataclasses import dataclass, field
from importlib.metadata import version
from typing import Any

from analysis.frame.faults.remedies import fault_words
from trueraster.output.page import rendered
from trueraster.verify.many import Totals, first_fault

__all__ = ["Summary"]

_MOST = 200
"""Files that are shown of each fault, so that a browser opens the page; the others are counted."""
_OFF = "Levels off without a known fault"


@dataclass(slots=True)
class Summary:
    """What the page shows, gathered while answers come."""

    failed: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    unreadable: list[str] = field(default_factory=list)

    def add(self, result: dict[str, Any]) -> None:
        """Remember what failed or cannot be read."""
        if result["exit"] == 2 and len(self.unreadable) < _MOST:
            self.unreadable.append(result["error"])
        if result["exit"] == 1:
            shown = self.failed.setdefault(first_fault(result), [])
            if len(shown) < _MOST:
                shown.append({name: result.get(name) for name in ("path", "finding", "thumbnail")})

    def html(self, totals: Totals) -> str:
        """The page."""
        order = sorted(totals.faults, key=lambda name: (name == "", -totals.faults[name], name))
        groups = [
            {
                "title": fault_words()[name].title if name else _OFF,
                "count": totals.faults[name],
                "files": self.failed[name],
                "more": totals.faults[name] - len(self.failed[name]),
            }
            for name in order
        ]
        return rendered(
            "verify-many.html",
            totals=totals,
            groups=groups,
            unreadable=self.unreadable,
            more=totals.unreadable - len(self.unreadable),
            program=f"trueraster {version('trueraster')}",
        )
