"""A group of commands that loads one when it is asked for."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from typing import Any, NamedTuple

import click

__all__ = ["Entry", "LazyGroup"]


class Entry(NamedTuple):
    """A command in the list of a group's help: its module of `trueraster.commands`, and what it does."""

    module: str
    words: str


class LazyGroup(click.Group):
    """Commands of which each is loaded when it is asked for: one does not wait for what the others need.

    The list of help loads none, so its words are given here.
    """

    def __init__(self, *args: Any, entries: Mapping[str, Entry], **settings: Any) -> None:
        super().__init__(*args, **settings)
        self._entries = entries

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self._entries)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        entry = self._entries.get(cmd_name)
        if entry is None:
            return None
        found = getattr(importlib.import_module(f"trueraster.commands.{entry.module}"), cmd_name)
        assert isinstance(found, click.Command)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        room = formatter.width - 6 - max(map(len, self._entries))
        # Click shortens the words to the terminal's width, as it does those of a loaded command.
        rows = [
            (name, click.Command(name, help=entry.words).get_short_help_str(room))
            for name, entry in self._entries.items()
        ]
        with formatter.section("Commands"):
            formatter.write_dl(rows)
