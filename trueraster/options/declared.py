"""Options as one value: a dataclass whose fields say how they are typed.

aspect: Annotated[str | None, option("--aspect", help="Picture aspect: 4:3 or 16:9.")]
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar, get_type_hints

import click

__all__ = ["as_value", "file_option", "option"]

Command = TypeVar("Command", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True)
class Option:
    """How a field is typed: the names, and what `click.option` takes besides."""

    names: tuple[str, ...]
    settings: Mapping[str, Any]


def option(*names: str, help: str, **settings: Any) -> Option:
    """A field that is typed as an option."""
    return Option(names, {"help": help, **settings})


def file_option(name: str, metavar: str, help: str) -> Option:
    """A field that is the name of a file or a folder."""
    return option(name, help=help, metavar=metavar, type=click.Path(path_type=Path))


def as_value(name: str, kind: type[Any]) -> Callable[[Command], Command]:
    """Give a command the options that a dataclass declares, and what is typed for them as one argument.

    Args:
        name: the argument of the command.
        kind: a dataclass, every field of which is annotated with an `Option`; the help lists them in their order.
    """
    options = {field: hint.__metadata__[0] for field, hint in get_type_hints(kind, include_extras=True).items()}

    def decorated(command: Command) -> Command:
        @functools.wraps(command)
        def with_value(**given: Any) -> Any:
            value = kind(**{field: given.pop(field) for field in options})
            return command(**given, **{name: value})

        made: Any = with_value
        for field, one in reversed(options.items()):
            made = click.option(*one.names, field, **one.settings)(made)
        typed: Command = made
        return typed

    return decorated
