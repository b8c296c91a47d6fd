"""`patterns`: the list of patterns, and what each is for."""

from __future__ import annotations

import textwrap
from typing import Any

import click

from analysis.rounding import counted
from patterns.catalogue import PATTERNS
from patterns.pattern import Pattern
from trueraster.options.shared import as_json_option
from trueraster.options.values import pattern_of
from trueraster.output.terminal import columns, put_json, put_text

__all__ = ["patterns"]


@click.command()
@click.argument("name", required=False, metavar="[ID]")
@as_json_option
def patterns(name: str | None, as_json: bool) -> None:
    """List the patterns, or show what one is for."""
    chosen = list(PATTERNS.values()) if name is None else [pattern_of(name)]
    if as_json:
        put_json({"patterns": [_pattern_json(pattern) for pattern in chosen]})
    elif name is None:
        rows = [("pattern", "area", "what it is"), *((p.id, p.area.value, p.title) for p in chosen)]
        put_text(columns(rows))
        put_text("\nIn the order of work. 'trueraster patterns ID' shows what one is for.")
    else:
        put_text(_pattern_text(chosen[0]))


def _pattern_json(pattern: Pattern) -> dict[str, Any]:
    return {
        "id": pattern.id,
        "title": pattern.title,
        "area": pattern.area.value,
        "look": pattern.look,
        "right": pattern.right,
        "adjust": pattern.adjust,
        "order": pattern.order,
        "dwell_minutes": pattern.dwell_minutes,
        "options": list(pattern.takes),
        "cautions": list(pattern.all_cautions),
    }


def _pattern_text(pattern: Pattern) -> str:
    parts = [
        ("look at", pattern.look),
        ("correct", pattern.right),
        ("adjust", pattern.adjust),
        ("leave up", f"at most {counted(pattern.dwell_minutes, 'minute')} (common practice)"),
        ("options", ", ".join(f"--{name}" for name in pattern.takes) or "none"),
        *(("caution", text) for text in pattern.all_cautions),
    ]
    lines = [f"{pattern.title} ({pattern.id})", ""]
    wrapper = textwrap.TextWrapper(78, subsequent_indent=" " * 10, break_on_hyphens=False)
    for label, text in parts:
        lines += wrapper.wrap(f"{label:<10}{text}")
    return "\n".join(lines)
