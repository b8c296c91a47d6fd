"""What every command prints on the examples, against the golden files that `golden/rewrite.py` writes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import pytest

from tests.golden.commands import CASES, GOLDEN, Case, answers, difference, prepared


@pytest.fixture(scope="module", autouse=True)
def _examples(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    with prepared(tmp_path_factory.mktemp("golden")):
        yield


@pytest.mark.parametrize(
    "case", [pytest.param(case, id=case.name, marks=[pytest.mark.slow] if case.slow else []) for case in CASES]
)
def test_answer_is_the_golden_one(case: Case) -> None:
    """Text, JSON and page of a command are those of its golden files."""
    for ending, text in answers(case).items():
        wanted = (GOLDEN / f"{case.name}.{ending}").read_text(encoding="utf-8")
        found = difference(wanted, text)
        assert not found, f"{case.name}.{ending}, {found}\nif that is meant: tests/golden/rewrite.py {case.name}"


def test_every_golden_file_has_its_case() -> None:
    """No golden file is left of a case that is gone."""
    names = {path.stem for ending in ("txt", "json", "html") for path in GOLDEN.glob(f"*.{ending}")}
    assert names == {case.name for case in CASES}


@pytest.mark.parametrize(
    ("wanted", "got", "agree"),
    [
        ("a 1.25 mm", "a 1.26 mm", True),
        ("a 1.25 mm", "a 1.27 mm", False),
        ("a 1.25 mm", "b 1.25 mm", False),
        ("7 of 9", "8 of 9", False),
        ('"x": 1e-07,', '"x": 2e-07,', True),
        ('"k3": -14.922978964,', '"k3": -14.922979005,', True),
        ('"k3": -14.922978964,', '"k3": -14.922981,', False),
        ("8000001 samples", "8000002 samples", False),
        ("480i at -0.1", "576i at -0.1", False),
        ("one\ntwo", "one", False),
    ],
)
def test_answers_agree_in_words_and_to_the_last_digit(wanted: str, got: str, *, agree: bool) -> None:
    """A comparison that cannot fail would hold nothing."""
    assert (difference(wanted, got) == "") is agree


def test_golden_json_has_no_number_without_an_end() -> None:
    """JSON (RFC 8259, section 6) has neither NaN nor infinity, which Python's writer lets pass."""

    def refuse(text: str) -> Any:
        raise ValueError(text)

    for path in GOLDEN.glob("*.json"):
        text = path.read_text(encoding="utf-8")
        if not text.startswith("exit"):
            json.loads(text, parse_constant=refuse)
