"""All patterns, by id and in the order of work."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from patterns.areas import colour, convergence, geometry, levels, motion, overview, response, slate, split_bars
from patterns.pattern import Pattern, PatternError
from patterns.timing import shown

__all__ = ["PATTERNS", "find_pattern"]

PATTERNS: Mapping[str, Pattern] = MappingProxyType(
    {
        pattern.id: pattern
        for pattern in sorted(
            (
                *slate.PATTERNS,
                *levels.PATTERNS,
                *colour.PATTERNS,
                *split_bars.PATTERNS,
                *response.PATTERNS,
                *geometry.PATTERNS,
                *convergence.PATTERNS,
                *motion.PATTERNS,
                *overview.PATTERNS,
            ),
            key=lambda pattern: pattern.order,
        )
    }
)


def find_pattern(name: str) -> Pattern:
    """The built-in pattern `name`.

    Raises:
        PatternError: there is none; the message offers the nearest names.
    """
    found = PATTERNS.get(name.strip().lower())
    if found is None:
        # Only a slip needs it; it takes 10 ms, a tenth of listing the patterns.
        import difflib

        near = difflib.get_close_matches(name.lower()[:60], PATTERNS, n=3, cutoff=0.5)
        hint = f"did you mean {' or '.join(near)}?" if near else "'trueraster patterns' lists them"
        raise PatternError(f"no pattern has the name {shown(name)}; {hint}")
    return found
