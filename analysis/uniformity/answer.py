"""How the figures of plain fields are told: as JSON and as text."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from analysis.uniformity.limits import Limit, advise_uniformity, limits
from analysis.uniformity.measure import Field, Uniformity, Zone

__all__ = ["to_json", "to_text"]

_COLUMNS = 100
"""Widest line of words: a terminal of the usual size shows it whole."""


def to_json(found: Uniformity) -> dict[str, Any]:
    """The answer for programs: names as in the data types, each figure's standard uncertainty beside it as `sigma`."""
    return {
        "flat_field": found.flat_field,
        "ambient": found.ambient,
        "fields": [_field_json(field) for field in found.fields],
        "limits": [_rounded(asdict(limit)) for limit in limits(found)],
        "advice": [asdict(advice) for advice in advise_uniformity(found)],
    }


def _field_json(field: Field) -> dict[str, Any]:
    answer = _rounded(asdict(field))
    assert isinstance(answer, dict)
    return answer | {"zones": [{"name": zone.name, **_rounded(asdict(zone))} for zone in field.zones]}


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 6)
    if isinstance(value, np.ndarray):
        return np.round(value, 4).tolist()
    if isinstance(value, dict):
        return {name: _rounded(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(part) for part in value]
    return str(value) if isinstance(value, Path) else value


def to_text(found: Uniformity) -> str:
    """The answer for people."""
    parts = [_field_text(field) for field in found.fields]
    said: list[str] = []
    for field in found.fields:
        of_one = f"{field.colour}: " if len(found.fields) > 1 else ""
        everywhere = [words for words in field.warnings if all(words in other.warnings for other in found.fields)]
        said += [words if words in everywhere else of_one + words for words in field.warnings]
    if said:
        # What holds for all photographs is said once.
        parts.append("Notes\n" + "\n".join(_wrapped(words) for words in dict.fromkeys(said)))
    held = limits(found)
    if held:
        parts.append("Against limits\n" + "\n".join(_limit_text(limit) for limit in held))
    advice = advise_uniformity(found)
    parts.append("What to do\n" + "\n".join(_wrapped(f"{one.adjust}: {one.why}") for one in advice))
    return "\n\n".join(parts)


def _field_text(field: Field) -> str:
    lines = [f"{field.colour.capitalize()} field, {field.path}"]
    lines += ["  luminance, % of the centre", *_table(field, lambda zone: (zone.luminance_percent, "{:.1f}"))]
    lines += ["  colour against the centre, thousandths of u'v' (the camera's colour)"]
    lines += _table(field, lambda zone: (None if zone.delta_uv is None else 1000 * zone.delta_uv, "{:.1f}"))
    if field.purity is not None:
        lines += ["  purity: change of another gun's share, % of all light"]
        lines += _table(field, lambda zone: (None if zone.purity is None else zone.purity.percent, "{:+.1f}"))
    if field.fall_off_percent is not None:
        lines.append(f"  corners darker by {field.fall_off_percent:.1f} % (uncertainty {field.fall_off_sigma:.1f} %)")
    far = field.delta_uv
    lines.append(f"  farthest in colour: {far.zone}, {far.value:.4f} u'v' (uncertainty {far.sigma:.4f})")
    if field.purity is not None:
        worst = field.purity
        lines.append(f"  least pure: {worst.zone}, {worst.value:+.2f} % (uncertainty {worst.sigma:.2f} %)")
    for blotch in field.blotches:
        u, v = blotch.centre_uv
        words = (
            f"blotch: {blotch.kind} at u {u:+.2f}, v {v:+.2f}: {blotch.delta_uv:.4f} u'v', "
            f"{blotch.luminance_percent:+.1f} % of light, on {blotch.area_percent:.2g} % of the area"
        )
        lines.append(_wrapped(words))
    return "\n".join(lines)


def _table(field: Field, figure: Callable[[Zone], tuple[float | None, str]]) -> list[str]:
    told = []
    for row in range(5):
        cells = (figure(zone) for zone in field.zones[5 * row : 5 * row + 5])
        # What is rounded to nothing has no sign.
        texts = ("-" if value is None else form.format(round(value, 1) + 0.0) for value, form in cells)
        told.append("   " + "".join(f"{text.replace('+0.0', '0.0') if text == '+0.0' else text:>8}" for text in texts))
    return told


def _limit_text(limit: Limit) -> str:
    verdict = {True: "within", False: "BEYOND", None: "open"}[limit.within]
    digits = 1 if limit.unit == "%" else 4
    figures = (
        f"{limit.measured:.{digits}f} {limit.unit}, limit {limit.limit:.{0 if limit.unit == '%' else 2}f} {limit.unit}"
    )
    return _wrapped(f"{verdict}: {limit.field}, {limit.figure}: {figures}; {limit.source}")


def _wrapped(text: str) -> str:
    return textwrap.fill(text, _COLUMNS, initial_indent="  ", subsequent_indent="    ")
