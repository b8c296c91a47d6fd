"""The figures of `measure grey` and `measure colour`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from analysis.meter.readings.types import level_text
from trueraster.record.figure import Figure, found, number_at

__all__ = ["colour_figures", "grey_figures"]

Json = Mapping[str, Any]

_UV = "u'v'"
_PRIMARIES = ("red", "green", "blue")
_SECONDARIES = ("cyan", "magenta", "yellow")


def colour_figures(result: Json) -> list[Figure]:
    """Of each primary, each secondary and white, then the gamut and whether light adds up."""
    fields = [(f"primaries.{name}", name) for name in _PRIMARIES]
    fields += [("white", "white"), *((f"secondaries.{name}", name) for name in _SECONDARIES)]
    figures = []
    for at, name in fields:
        figures += _of_field(result, at, name)
    for space, unit in (("uv", "% in u'v'"), ("xy", "% in xy")):
        for what, words in (("coverage", "colours of the standard that can be shown"), ("area", "area of the gamut")):
            path = f"gamut.{what}_{space}_percent"
            key = (what, space) == ("coverage", "uv")
            figures.append(found(result, f"colour.{path}", words, unit, at=path, key=key))
    for name in (*_SECONDARIES, "white"):
        path = f"additivity.{name}"
        light, colour = f"{path}.luminance_error_percent", f"{path}.delta_uv"
        words = f"{name} against the sum of its parts"
        figures.append(
            found(result, f"colour.{light}", f"{words}, light", "%", at=light, signed=True, key=name == "white")
        )
        figures.append(found(result, f"colour.{colour}", f"{words}, colour", _UV, at=colour))
    return figures


def _of_field(result: Json, at: str, name: str) -> list[Figure]:
    of_white, of_primary = name == "white", name in _PRIMARIES
    rows = [("delta_uv", "off in colour", _UV, False, of_white or of_primary)]
    if of_white:
        rows += [
            ("cct", "correlated colour temperature", "K", False, True),
            ("duv", "beside the black-body line, + is greenish", "Duv", True, False),
        ]
    else:
        rows.append(("luminance_error_percent", "share of light, off by", "%", True, of_primary))
    rows += [
        ("delta_e_2000", "off in all", "Delta E 2000", False, False),
        ("luminance", "luminance", "cd/m2", False, False),
        ("x", "x", "", False, False),
        ("y", "y", "", False, False),
    ]
    return [
        found(result, f"colour.{at}.{key}", f"{name}: {words}", unit, at=f"{at}.{key}", signed=signed, key=main)
        for key, words, unit, signed, main in rows
    ]


_OVERALL = (
    ("white_cd_m2", "white", "cd/m2", False),
    ("black_cd_m2", "black", "cd/m2", False),
    ("contrast", "contrast, white to black", "", False),
    ("gamma", "gamma", "", False),
    ("bt1886_error_percent", "largest deviation from BT.1886", "%", True),
)
_STEP = (
    ("delta_uv", "off in colour", _UV, False),
    ("gun_percent.red", "red gun", "%", True),
    ("gun_percent.green", "green gun", "%", True),
    ("gun_percent.blue", "blue gun", "%", True),
    ("delta_e_2000", "off in all", "Delta E 2000", False),
    ("cct", "correlated colour temperature", "K", False),
    ("duv", "beside the black-body line, + is greenish", "Duv", True),
    ("luminance", "luminance", "cd/m2", False),
    ("x", "x", "", False),
    ("y", "y", "", False),
)
"""Of a step: path, words, unit, whether it has a sign."""
_MAIN = ("delta_uv",)
"""Of each step in a summary."""


def grey_figures(result: Json) -> list[Figure]:
    """Black, white, contrast and gamma, then each step by its level, which is in its name at every stage."""
    figures = [
        found(result, f"grey.{name}", words, unit, at=name, signed=signed, key=True)
        for name, words, unit, signed in _OVERALL
    ]
    steps = result.get("steps")
    seen = set()
    for i in range(len(steps) if isinstance(steps, list) else 0):
        level = number_at(result, f"steps.{i}.level_percent")
        if level is None or level in seen:
            continue
        seen.add(level)
        figures += [
            found(
                result,
                f"grey.steps.{level_text(level)}.{name}",
                f"{level_text(level)} %: {words}",
                unit,
                at=f"steps.{i}.{name}",
                unsure=f"uncertainty.steps.{i}.{name}",
                signed=signed,
                key=name in _MAIN,
            )
            for name, words, unit, signed in _STEP
        ]
    return figures
