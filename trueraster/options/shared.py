"""Options that several commands have."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

__all__ = ["as_json_option", "meter_options", "pattern_options"]

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


def meter_options(command: Command) -> Command:
    """What `measure grey` and `measure colour` share; `trueraster.options.meter` turns what is typed into values."""
    options = (
        click.option("--white", help="Target white: d65, d93 or x,y.", default="d65", show_default=True),
        click.option(
            "--meter-luminance",
            type=float,
            metavar="PERCENT",
            help="The meter's standard uncertainty in luminance.  [default: 2]",
        ),
        click.option(
            "--meter-xy",
            type=float,
            metavar="XY",
            help="The meter's standard uncertainty in x and y.  [default: 0.002]",
        ),
        click.option(
            "--plots",
            type=click.Path(path_type=Path),
            metavar="DIR",
            help="Write plots into a folder, as SVG and PNG.",
        ),
        click.option(
            "--page", type=click.Path(path_type=Path), metavar="OUT.html", help="Write all of it as one page."
        ),
    )
    for option in reversed(options):
        command = option(command)
    return command
