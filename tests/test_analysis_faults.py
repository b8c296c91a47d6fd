"""Faults made by arithmetic and by general-purpose libraries, named by `verify`: a draw from the bench's matrix.

The whole matrix, with its tables, is `tests/trials/faults/run.py`. What is right follows from the fault that was made:
`tests/trials/faults/cases.py` says which cases count.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest

from tests.matrix import rest_is_slow
from tests.trials.faults.cases import Case, all_cases
from tests.trials.faults.run import Outcome, run_case

LEVELS = {"gain", "offset", "gamma", "footroom-clipped", "headroom-clipped", "bits-lost"}
LEVELS |= {"setup-added", "setup-removed", "range-expanded", "range-compressed"}
COLOURS = {"matrix-601-as-709", "matrix-709-as-601", "components-swapped", "channels-swapped"}
COLOURS |= {"chroma-gain", "hue-rotated", "channel-gain"}
MANAGED = {"colour-managed"}
FORM = {"fields-swapped", "deinterlaced", "scaled", "shifted", "cropped", "chroma-softened", "sharpened", "softened"}
EMPTY = {"wrong-pattern", "no-pattern"}

SETS: dict[str, Callable[[Case], bool]] = {
    "clean": lambda case: not case.right,
    "levels": lambda case: case.group in LEVELS,
    "colours": lambda case: case.group in COLOURS,
    "colour-managed": lambda case: case.group in MANAGED,
    "form": lambda case: case.group in FORM,
    "another picture": lambda case: case.group in EMPTY,
    "pairs": lambda case: len(case.right) == 2,
}
LEAST = {
    "clean": 1.0,
    "levels": 0.85,
    "colours": 0.85,
    "colour-managed": 0.85,
    "form": 0.85,
    "another picture": 0.9,
    "pairs": 0.6,
}
"""Shares of a draw of a few cases that have to be right; the project's aims are asked of the whole matrix."""


def drawn(name: str, among: Sequence[Case], count: int) -> list[Case]:
    """So many cases of that kind, always the same ones."""
    fitting = [case for case in among if SETS[name](case)]
    places = np.random.default_rng(len(name)).permutation(len(fitting))[:count]
    return [fitting[i] for i in sorted(places)]


def check(name: str, cases: list[Case], folder: Path, missed: int = 0) -> None:
    outcomes = [outcome for case in cases if (outcome := run_case(case, folder)) is not None]
    assert outcomes
    # A clean capture that cannot be measured under its condition is refused with a line: no false alarm.
    wrong = [outcome for outcome in outcomes if not outcome.right and not (outcome.refused and not outcome.case.right)]
    assert len(wrong) <= max(missed, (1 - LEAST[name]) * len(outcomes)), listed(wrong)
    assert not [outcome for outcome in outcomes if outcome.verdict_wrong]


def listed(wrong: Sequence[Outcome]) -> str:
    return "\n".join(f"{outcome.case.name} -> {', '.join(outcome.answered)}" for outcome in wrong)


@pytest.mark.parametrize("name", rest_is_slow(SETS, SETS.keys() - {"pairs"}))
def test_faults_of_a_standard_definition_frame(tmp_path: Path, name: str) -> None:
    """A case or two of each kind at 480i, from the small matrix."""
    check(name, small(name)[: 2 if name in ("clean", "levels") else 1], tmp_path)


@pytest.mark.slow
@pytest.mark.parametrize("name", SETS)
def test_more_faults_of_a_standard_definition_frame(tmp_path: Path, name: str) -> None:
    """Three cases of each kind, of which one may be missed, but no clean frame accused."""
    check(name, small(name), tmp_path, missed=name != "clean")


def small(name: str) -> list[Case]:
    return drawn(name, [case for case in all_cases(quick=True) if case.format == "480i"], 3)


@pytest.mark.slow
@pytest.mark.parametrize("name", SETS)
def test_faults_of_every_format(tmp_path: Path, name: str) -> None:
    """A few more of each kind, from the whole matrix."""
    cases = drawn(name, [case for case in all_cases() if case.format != "1080i50"], 4)
    check(name, cases, tmp_path, missed=name != "clean")
