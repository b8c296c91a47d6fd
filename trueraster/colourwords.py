"""How `measure colour` tells what it found, as text."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from analysis.meter.primaries.answer import ADDED, WHITE, advise_colour, colour_finding
from analysis.meter.primaries.measure import PRIMARIES, SECONDARIES, Colour, name_of
from analysis.meter.readings.types import Field, level_text
from analysis.rounding import figure
from trueraster.output.terminal import columns, counted, wrapped

__all__ = ["colour_text"]


def colour_text(found: Colour, plots: Sequence[Path]) -> str:
    """The answer for people, with the plots that were written."""
    head = (
        f"{found.readings.path}\nColours at {level_text(found.level_percent)} % against {found.standard.title}, "
        f"white {found.white.title}, {counted(len(found.readings.items), 'reading')}"
    )
    parts = [f"{head}\n{_wrapped(colour_finding(found), hang=False)}", _places(found), _lights(found)]
    parts += [table for table in (_gamut(found), _added(found)) if table]
    missing = _missing(found)
    if missing:
        parts.append("Not told\n" + "\n".join(_wrapped(words) for words in missing))
    notes = [
        *found.remarks,
        f"± is the standard uncertainty, for a meter of {100 * found.meter.luminance:g} % in luminance and "
        f"{found.meter.xy:g} in x and y",
    ]
    parts.append("Notes\n" + "\n".join(_wrapped(words) for words in notes))
    advice = [f"{hint.adjust}: {hint.why}." for hint in advise_colour(found)]
    nothing = "Nothing stands out of the uncertainties."
    parts.append("What to see to\n" + "\n".join(_wrapped(words) for words in advice or [nothing]))
    if plots:
        parts.append(f"plots: {counted(len(plots), 'file')} in {plots[0].parent}")
    return "\n\n".join(parts)


def _names(found: Colour) -> list[str]:
    return [name_of(field) for field in (*PRIMARIES, *SECONDARIES, Field.GREY) if field in found.seen]


def _places(found: Colour) -> str:
    """Where each colour lies on the diagram."""
    rows: list[tuple[str, ...]] = [("chromaticity", "x", "y", "off in x", "off in y", "u'", "v'", "off in u'v'", "±")]
    for name in _names(found):
        cells = [_figure(found, f"{name}.{key}", 4) for key in ("x", "y")]
        cells += [_figure(found, f"{name}.{key}", 4, signed=True) for key in ("dx", "dy")]
        cells += [_figure(found, f"{name}.{key}", 4) for key in ("u", "v", "delta_uv")]
        rows.append((name, *cells, _doubt(found, f"{name}.delta_uv", 4)))
    table = columns(rows, right=range(1, len(rows[0])))
    temperature = found.figures.get(f"{WHITE}.cct")
    if temperature is None:
        return table
    unsure = found.uncertainty[f"{WHITE}.cct"] or 0.0
    words = (
        f"white: {temperature:.0f} ± {unsure:.0f} K, Duv {_figure(found, f'{WHITE}.duv', 4, signed=True)} ± "
        f"{_doubt(found, f'{WHITE}.duv', 4)}"
    )
    return f"{table}\n{words}"


def _lights(found: Colour) -> str:
    """How much light each colour gives."""
    rows: list[tuple[str, ...]] = [("light", "cd/m2", "% of white", "should be", "error, %", "±", "Delta E 2000", "±")]
    for name in _names(found):
        field = Field.GREY if name == WHITE else Field(name)
        cells = [_figure(found, f"{name}.luminance", 2)]
        if name == WHITE:
            cells += ["100.00", "100.00", "-", "-"]
        else:
            error = f"{name}.luminance_error_percent"
            cells += [_figure(found, f"{name}.share_percent", 2), f"{found.targets[field].share_percent:.2f}"]
            cells += [_figure(found, error, 1, signed=True), _doubt(found, error, 1)]
        difference = f"{name}.delta_e_2000"
        rows.append((name, *cells, _figure(found, difference, 1), _doubt(found, difference, 1)))
    return columns(rows, right=range(1, len(rows[0])))


def _gamut(found: Colour) -> str:
    if found.figures.get("gamut.area_uv") is None:
        return ""
    rows: list[tuple[str, ...]] = [("gamut", f"area, % of {found.standard.short}", "±", "covered, %", "±")]
    for plane, words in (("uv", "in u'v'"), ("xy", "in xy")):
        cells = []
        for key in ("area", "coverage"):
            name = f"gamut.{key}_{plane}_percent"
            cells += [_figure(found, name, 1), _doubt(found, name, 1)]
        rows.append((words, *cells))
    return columns(rows, right=range(1, len(rows[0])))


def _added(found: Colour) -> str:
    rows: list[tuple[str, ...]] = [("against the sum of its parts", "light, %", "±", "off in u'v'", "±")]
    for name in ADDED:
        light, away = (f"additivity.{name}.{key}" for key in ("luminance_error_percent", "delta_uv"))
        if found.figures.get(light) is None:
            continue
        cells = (_figure(found, light, 1, signed=True), _doubt(found, light, 1))
        rows.append((name, *cells, _figure(found, away, 4), _doubt(found, away, 4)))
    return columns(rows, right=range(1, len(rows[0]))) if len(rows) > 1 else ""


def _missing(found: Colour) -> list[str]:
    """Why figures are missing, each reason once with what it concerns."""
    names: dict[str, list[str]] = {}
    for name, reason in found.reasons.items():
        names.setdefault(reason, []).append(name.replace("additivity.", "the sum for ").replace("luminance", "shares"))
    return [f"{', '.join(concerned)}: {reason}" for reason, concerned in names.items()]


def _figure(found: Colour, name: str, places: int, *, signed: bool = False) -> str:
    value = found.figures.get(name)
    if value is None:
        return "-"
    return figure(value, places) if signed else f"{value:.{places}f}"


def _doubt(found: Colour, name: str, places: int) -> str:
    value = found.uncertainty.get(name)
    # Never nothing: what is rounded to nothing is the last digit.
    return "-" if value is None else f"{max(value, 10.0**-places):.{places}f}"


def _wrapped(text: str, *, hang: bool = True) -> str:
    return wrapped(text, "  ", "    ") if hang else wrapped(text)
