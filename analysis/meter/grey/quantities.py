"""The quantities of `measure grey`."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import lru_cache
from typing import Any

from analysis.answer import Quantity, each, number_at
from analysis.meter.readings.types import level_text

__all__ = ["SCALE", "quantities"]

Json = Mapping[str, Any]

_UV = "u'v'"
_GUNS = {gun: f"{gun} gun" for gun in ("red", "green", "blue")}

SCALE = (
    Quantity("white_cd_m2", "white", "cd/m2", main=True),
    Quantity("black_cd_m2", "black", "cd/m2", main=True),
    Quantity("contrast", "contrast, white to black", main=True),
    Quantity("gamma", "gamma", main=True),
    Quantity("bt1886_error_percent", "largest deviation from BT.1886", "%", True, True),
    Quantity("bt1886_error_level_percent", "level of the largest deviation from BT.1886", "%", decimals=1, kept=False),
)
"""Of all steps together."""
STEP = (
    Quantity("delta_uv", "colour error", _UV, main=True),
    *each((Quantity("", "", "%", True),), _GUNS, "gun_percent.{name}", "{title}"),
    Quantity("delta_e_2000", "overall error", "Delta E 2000"),
    Quantity("cct", "correlated colour temperature", "K"),
    Quantity("duv", "Duv, distance from the Planckian locus, + is greenish", "Duv", True),
    Quantity("luminance", "luminance", "cd/m2"),
    Quantity("x", "x"),
    Quantity("y", "y"),
    Quantity("u", "u'", kept=False),
    Quantity("v", "v'", kept=False),
    Quantity("delta_uv_fitted", "colour error of the fitted guns", _UV, kept=False),
    *each((Quantity("", "", "%", True, kept=False),), _GUNS, "gun_percent_read.{name}", "{title}, as read"),
)
"""Of each step."""
FITTED = (
    *each(
        (
            Quantity("x", "x of the primary", uncertainty="uncertainty.primaries", kept=False),
            Quantity("y", "y of the primary", uncertainty="uncertainty.primaries", kept=False),
        ),
        _GUNS,
        "primaries.{name}.",
    ),
    *each(
        (
            Quantity("light_cd_m2", "light at 100 %", "cd/m2", kept=False),
            Quantity("cutoff_percent", "cut-off", "% of the drive range", True, kept=False),
            Quantity("gamma", "gamma", kept=False),
        ),
        _GUNS,
        "guns.{name}.",
    ),
    Quantity("guns.room_cd_m2", "light that no gun gives", "cd/m2", kept=False),
    Quantity("guns.misfit", "difference from the readings, in their noise", uncertainty="", kept=False),
)
"""Of the guns that are fitted to all steps."""
EXPECTED = (
    Quantity("after.delta_uv_now", "largest colour error of the fitted guns", _UV, uncertainty="", kept=False),
    Quantity("after.delta_uv", "largest colour error after the adjustment", _UV, uncertainty="", kept=False),
    Quantity(
        "after.delta_uv_likely",
        "largest colour error after the adjustment, not exceeded in 95 of 100 cases",
        _UV,
        uncertainty="",
        kept=False,
    ),
)
"""Once the advice has been followed, from 5 to 100 %."""
EXPECTED_STEP = (
    Quantity("luminance", "expected luminance", "cd/m2", uncertainty="", kept=False),
    Quantity("x", "expected x", uncertainty="", kept=False),
    Quantity("y", "expected y", uncertainty="", kept=False),
    Quantity("delta_uv", "expected colour error", _UV, uncertainty="", kept=False),
    Quantity(
        "delta_uv_likely", "expected colour error, not exceeded in 95 of 100 cases", _UV, uncertainty="", kept=False
    ),
    *each(
        (Quantity("", "", "%", True, uncertainty="", kept=False),),
        _GUNS,
        "gun_percent.{name}",
        words="{title}, expected",
    ),
)
"""The same of each step."""
DRIFT = tuple(
    Quantity(
        f"repeats.drift.{name}",
        f"drift of {name.removesuffix('_percent')} from the first reading to the last",
        unit,
        True,
        uncertainty=f"repeats.drift.uncertainty.{name}",
        kept=False,
    )
    for name, unit in (("luminance_percent", "%"), ("x", ""), ("y", ""))
)
"""Of what was read more than once."""


def quantities(held: Json) -> tuple[Quantity, ...]:
    """The whole scale, then each step by its level, which is in its id, so that it is the same at every stage."""
    after = held.get("after")
    return (
        *SCALE,
        *_of_steps(STEP, held, ""),
        *FITTED,
        *EXPECTED,
        *_of_steps(EXPECTED_STEP, after if isinstance(after, Mapping) else {}, "after."),
        *DRIFT,
    )


def _of_steps(template: tuple[Quantity, ...], held: Json, before: str) -> Iterator[Quantity]:
    """The template for each of `held`'s steps; `before` is put before their paths.

    Two steps may round to one level: records list the first of them.
    """
    steps = held.get("steps")
    seen: set[str] = set()
    for i in range(len(steps) if isinstance(steps, list) else 0):
        value = number_at(held, f"steps.{i}.level_percent")
        if value is None:
            continue
        level = level_text(value)
        yield from _of_step(template, i, level, before, level in seen)
        seen.add(level)


@lru_cache(maxsize=256)  # A record with a thousand results has the same levels again and again.
def _of_step(template: tuple[Quantity, ...], i: int, level: str, before: str, seen: bool) -> tuple[Quantity, ...]:
    """The template for one step."""
    return tuple(
        replace(one, id=one.path.replace(f"steps.{i}.", f"steps.{level}.", 1), kept=one.kept and not seen)
        for one in each(template, {str(i): f"{level} %"}, before + "steps.{name}.")
    )
