"""Help that lists first what is typed every day.

@click.command(cls=DailyFirst, daily=("--format", "--as", "--to"))
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import click

__all__ = ["DailyFirst"]


class DailyFirst(click.Command):
    """A command whose help has its daily options under 'Options', and all others under 'Less often'.

    Args:
        daily: the options of most days, up to three, each by one of its names; the help keeps their order.

    Raises:
        ValueError: a name that the command does not have.
    """

    def __init__(self, *args: Any, daily: Sequence[str], **settings: Any) -> None:
        super().__init__(*args, **settings)
        by_name = {name: parameter for parameter in self.params for name in parameter.opts}
        unknown = [name for name in daily if name not in by_name]
        if unknown:
            raise ValueError(f"{self.name} has no option {unknown[0]}")
        self.daily = tuple(by_name[name] for name in daily)

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        options = [parameter for parameter in self.get_params(ctx) if isinstance(parameter, click.Option)]
        rest = [option for option in options if option not in self.daily]
        for heading, listed in (("Options", self.daily), ("Less often", rest)):
            records = [record for option in listed if (record := option.get_help_record(ctx)) is not None]
            if records:
                with formatter.section(heading):
                    formatter.write_dl(records)
