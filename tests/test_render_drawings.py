"""Every pattern's drawing against the figures that `golden/drawings.py` keeps of it."""

from __future__ import annotations

import pytest

from patterns.catalogue import PATTERNS
from tests.golden.drawings import SIGNALS, figures, kept

KEPT = kept()


@pytest.mark.parametrize("name", SIGNALS)
@pytest.mark.parametrize("pattern", PATTERNS)
def test_a_pattern_is_drawn_as_before(pattern: str, name: str) -> None:
    """Nothing in the drawing has moved or changed its level; the number of the figure says in which part it has."""
    found = figures(pattern, name)
    assert found == pytest.approx(KEPT[name][pattern], abs=0.001), "if that is meant: tests/golden/drawings.py"


def test_no_figures_are_kept_of_a_pattern_that_is_gone() -> None:
    """The file has exactly the patterns of the catalogue."""
    assert all(list(KEPT[name]) == list(PATTERNS) for name in SIGNALS)
