"""`--set-class`: by which tolerances a set is judged."""

from __future__ import annotations

from typing import Any

import click

from analysis.raster.classes import SetClass
from trueraster.options.declared import Option, option

__all__ = ["SET_CLASSES", "set_class_option"]

SET_CLASSES = tuple(one.value for one in SetClass)


def set_class_option() -> Option:
    """The option of a measurement."""
    settings: dict[str, Any] = {"type": click.Choice(SET_CLASSES), "default": SET_CLASSES[0], "show_default": True}
    return option("--set-class", help="What the set is built for: its tolerances.", **settings)
