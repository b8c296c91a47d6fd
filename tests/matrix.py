"""Loops over formats, patterns and kinds of file: a few values in every run, the others with the slow tests."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

import pytest


def quick_and_slow(quick: Iterable[Any], slow: Iterable[Any]) -> list[Any]:
    """Values for `pytest.mark.parametrize`: the first ones run always, the others are marked as slow."""
    return [*quick, *map(_marked, slow)]


def rest_is_slow(values: Iterable[Any], quick: Collection[Any]) -> list[Any]:
    """Values for `pytest.mark.parametrize`, in their order: all but those in `quick` are marked as slow.

    Raises:
        ValueError: a quick value is not among the values.
    """
    values = list(values)
    lost = [value for value in quick if value not in values]
    if lost:
        raise ValueError(f"not among the values of the loop: {lost}")
    return [value if value in quick else _marked(value) for value in values]


def _marked(value: Any) -> Any:
    return pytest.param(*(value if isinstance(value, tuple) else (value,)), marks=pytest.mark.slow)
