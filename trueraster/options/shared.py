"""Options that several commands have."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

__all__ = ["as_json_option", "pattern_options"]

Command = TypeVar("Command", bound=Callable[..., Any])

as_json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")

_PATTERN_OPTIONS = (
    ("--cells", "Columns x rows of a grid, such as 16x12."),
    ("--level", "Level of the bright parts in %."),
    ("--area", "Area of the window in % of the picture."),
    ("--colour", "Colour of the field, such as red or grey."),
    ("--bars", "Levels of the bars: 100/0/75/0, 100/0/100/0 or 75/0/75/0."),
    ("--side", "The bright half: left, right, top or bottom."),
)


def pattern_options(command: Command) -> Command:
    """The choices that patterns offer; `options_of` turns what is typed into `patterns.pattern.Options`."""
    for name, words in reversed(_PATTERN_OPTIONS):
        command = click.option(name, help=words)(command)
    return command
