"""A file of tolerances to begin with: the usual limits with their sources, and the names of all other figures."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from difflib import get_close_matches
from typing import Any

from analysis.answer import Kind, Quantity
from trueraster.output.json import read
from trueraster.report.defaults import DEFAULTS
from trueraster.report.limits import Limit, number
from trueraster.report.tolerances import fits

__all__ = ["SHOWN", "is_known", "known_figures", "nearest_name", "tolerance_template"]

_HEAD = """\
# Tolerances for 'trueraster report RECORD --tolerances THIS-FILE'.
#
# A figure's name = what it may be at most, in its own unit and without its sign;
#                   { least = 2.3, most = 2.5 } for a range, either of the two alone;
#                   false where it is not to be judged.
# In a name * stands for anything; names with dots or * stand in quotes.
# What stands here goes before what is usual; what 'record set --tolerance' says of one set goes before both.
# A line that begins with # is not read.
"""
SHOWN: dict[Kind, dict[str, Any]] = {
    Kind.GREY: {"steps": [{"level_percent": 50}], "after": {"steps": [{"level_percent": 50}]}},
    Kind.UNIFORMITY: {
        "fields": [{"colour": "white", "purity": {}, "zones": [{"name": "each zone"}], "blotches": [{}]}],
        "limits": [{"field": "each field", "figure": "each figure that has a limit"}],
    },
    Kind.VERIFY: {"patches": [{"verdict": "pass"}], "registration": {}, "fields": {}},
}
"""What figures are called depends on what was measured: enough of it to show every name once."""


def known_figures() -> dict[str, Quantity]:
    """All figures that there are, by id; of what is repeated, such as grey steps, one."""
    return {
        name: one.quantity
        for kind in Kind
        if kind is not Kind.LENS
        for name, one in read(kind, SHOWN.get(kind, {})).items()
    }


def is_known(name: str) -> bool:
    """Whether a limit's name is of some figure that there is, though perhaps not in this record."""
    # Each step and each colour of a field has the figures of the one that is shown.
    shown = re.sub(r"^grey\.steps\.(\d{1,3}(\.\d)?|\*)\.", "grey.steps.50.", name)
    shown = re.sub(r"^uniformity\.(white|grey|red|green|blue|cyan|magenta|yellow|\*)\.", "uniformity.white.", shown)
    return any(fits(shown, known) for known in known_figures())


def nearest_name(name: str) -> str:
    """The name itself where some figure has it, else the most alike that there is; empty where none is alike."""
    if is_known(name):
        return name
    names = [_general(known) for known in known_figures()]
    return next(iter(get_close_matches(name, names, n=1, cutoff=0.7)), "")


def tolerance_template() -> str:
    """The file as TOML."""
    parts = [_HEAD]
    known = known_figures()
    for kind in Kind:
        lines = list(_of_kind(kind.value, {name: one for name, one in known.items() if name.startswith(f"{kind}.")}))
        if lines:
            parts.append("\n".join([f"[{kind.value}]", *lines]) + "\n")
    return "\n".join(parts)


def _of_kind(kind: str, known: Mapping[str, Quantity]) -> Iterator[str]:
    usual = [one for one in DEFAULTS if one.name.startswith(f"{kind}.")]
    source = ""
    for default in usual:
        if default.source != source:
            yield f"# {default.source}"
            source = default.source
        yield f"{_key(default.name, kind)} = {_value(default.limit)}"
    shapes = {_general(name): one for name, one in known.items() if not any(fits(limit.name, name) for limit in usual)}
    if shapes:
        yield "# Not judged unless a limit is given:"
    for name, one in shapes.items():
        words = re.sub(r"^50 %:", "each step:", one.words) if "*" in name else one.words
        yield f"# {_key(name, kind)} = ... # {words}{f', {one.unit}' if one.unit else ''}"


def _general(name: str) -> str:
    """Of what is repeated, all."""
    return re.sub(r"^(grey\.steps)\.50\.", r"\1.*.", name)


def _key(name: str, kind: str) -> str:
    inner = name.removeprefix(f"{kind}.")
    return inner if re.fullmatch(r"[a-z0-9_]+", inner) else f'"{inner}"'


def _value(limit: Limit) -> str:
    if limit.of_size and limit.most is not None:
        return number(limit.most)
    bounds = (("least", limit.least), ("most", limit.most))
    return "{ " + ", ".join(f"{name} = {number(value)}" for name, value in bounds if value is not None) + " }"
