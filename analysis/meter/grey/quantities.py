"""The quantities of `measure grey`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from analysis.answer import Quantity, each, number_at
from analysis.meter.readings.types import level_text

__all__ = ["SCALE", "STEP", "quantities"]

_UV = "u'v'"
_GUNS = {gun: f"{gun} gun" for gun in ("red", "green", "blue")}

SCALE = (
    Quantity("white_cd_m2", "white", "cd/m2", main=True),
    Quantity("black_cd_m2", "black", "cd/m2", main=True),
    Quantity("contrast", "contrast, white to black", main=True),
    Quantity("gamma", "gamma", main=True),
    Quantity("bt1886_error_percent", "largest deviation from BT.1886", "%", True, True),
)
STEP = (
    Quantity("delta_uv", "colour error", _UV, main=True),
    *each((Quantity("", "", "%", True),), _GUNS, "gun_percent.{name}", "{title}"),
    Quantity("delta_e_2000", "overall error", "Delta E 2000"),
    Quantity("cct", "correlated colour temperature", "K"),
    Quantity("duv", "Duv, distance from the Planckian locus, + is greenish", "Duv", True),
    Quantity("luminance", "luminance", "cd/m2"),
    Quantity("x", "x"),
    Quantity("y", "y"),
)
"""Of each step."""


def quantities(held: Mapping[str, Any]) -> tuple[Quantity, ...]:
    """The whole scale, then each step by its level, which is in its id, so that it is the same at every stage."""
    return (*SCALE, *_steps(held))


def _steps(held: Mapping[str, Any]) -> Iterator[Quantity]:
    steps = held.get("steps")
    seen: set[str] = set()
    for i in range(len(steps) if isinstance(steps, list) else 0):
        value = number_at(held, f"steps.{i}.level_percent")
        level = None if value is None else level_text(value)
        if level is None or level in seen:
            continue
        seen.add(level)
        for one in each(STEP, {str(i): f"{level} %"}, "steps.{name}."):
            yield replace(one, id=one.path.replace(f"steps.{i}.", f"steps.{level}.", 1))
