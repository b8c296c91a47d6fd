"""`levels`: one level in every unit of the bench."""

from __future__ import annotations

from typing import Any

import click

from trueraster.levels import USUAL, Level, parse_level, reserved_note
from trueraster.options.shared import as_json_option
from trueraster.output.terminal import columns, number, put_json, put_text

__all__ = ["levels"]


# A level may begin with a minus sign, like an option.
@click.command(context_settings={"ignore_unknown_options": True})
@click.argument("values", nargs=-1, metavar="[LEVEL]...")
@as_json_option
def levels(values: tuple[str, ...], as_json: bool) -> None:
    """Convert levels between %, codes, mV and IRE.

    Write a level as 75%, 8:180 or 10:721 (bits:code), 525mV, 549mV-setup or 76.9IRE. Codes are narrow range, luma or
    R'G'B'. Without a level you get a table of the usual ones.
    """
    rows = [parse_level(text) for text in values] if values else [parse_level(f"{p}%") for p in USUAL]
    notes = [reserved_note(text) for text in values] if values else [""] * len(rows)
    if as_json:
        put_json(
            {"levels": [{**_level_json(row), "note": words or None} for row, words in zip(rows, notes, strict=True)]}
        )
        return
    heading = ("%", "8 bit", "10 bit", "mV", "mV 714", "mV 714 setup", "IRE setup")
    put_text(columns([heading, *(_level_row(row) for row in rows)], right=range(7)))
    put_text(
        "\nCodes: narrow range, luma or R'G'B'; * is clipped at a code reserved for timing."
        "\nmV: component, white 700 mV."
        "\nmV 714: the older 525-line levels, without setup and with 7.5 % setup; 1 IRE is 1/140 V."
    )
    for words in filter(None, notes):
        put_text(f"{words}.")


def _level_row(level: Level) -> tuple[str, ...]:
    code_8, code_10 = (f"{code.written}{'*' if code.is_clipped else ''}" for code in (level.code_8, level.code_10))
    return (
        f"{float(level.percent):.3f}".rstrip("0").rstrip("."),
        code_8,
        code_10,
        f"{float(level.millivolts):.2f}",
        f"{float(level.millivolts_714):.2f}",
        f"{float(level.millivolts_setup):.2f}",
        f"{float(level.ire_setup):.3f}",
    )


def _level_json(level: Level) -> dict[str, Any]:
    return {
        "percent": number(level.percent),
        "code_8": level.code_8.written,
        "code_8_exact": number(level.code_8.exact),
        "code_10": level.code_10.written,
        "code_10_exact": number(level.code_10.exact),
        "millivolts": number(level.millivolts),
        "millivolts_714": number(level.millivolts_714),
        "millivolts_714_setup": number(level.millivolts_setup),
        "ire_setup": number(level.ire_setup),
    }
