"""`record intake` and `record part`: how a set came in, and which of its components were measured."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from render.writing import placed
from trueraster.errors import UsageError
from trueraster.options.daily import DailyFirst
from trueraster.options.record import date_of, span_of, value_of, words_of
from trueraster.options.shared import as_json_option
from trueraster.output.files import check_target
from trueraster.output.page import rendered
from trueraster.output.pdf import check_pdf, pdf_of
from trueraster.output.terminal import note, put_json, put_text
from trueraster.record.changes import with_intake, with_part
from trueraster.record.intake import QUESTIONS, USUAL, faults_of, part_words
from trueraster.record.store import change_record

__all__ = ["intake", "part", "sheet"]

_RECORD = click.argument("path", metavar="RECORD", type=click.Path(path_type=Path))


def _questions(command: Any) -> Any:
    for one in reversed(QUESTIONS):
        kind: dict[str, Any] = {"type": click.Choice(one.choices)} if one.choices else {}
        command = click.option(f"--{one.name.replace('_', '-')}", one.name, help=f"{one.words}.", **kind)(command)
    return command


@click.command(cls=DailyFirst, daily=("--condition", "--tube-serial", "--tested"), short_help="Note how a set came in.")
@_RECORD
@_questions
@as_json_option
def intake(path: Path, as_json: bool, **typed: str | None) -> None:
    """Note how a set came in: serial numbers, boards, tube, condition, what was tested before power was put on.

    What is given replaces what was there; the rest stays. 'record sheet' has the same questions on paper.
    """
    said = {name: words_of(f"--{name.replace('_', '-')}", text) for name, text in typed.items()}
    answers = {name: words for name, words in said.items() if words is not None}
    if not answers:
        raise UsageError("record intake: nothing is given; 'trueraster record intake --help' has the questions")
    found = change_record(path, lambda held: with_intake(held, answers), note)
    if as_json:
        put_json({"record": str(path), "intake": dict(found.intake)})
    else:
        put_text(f"{path}: {', '.join(answers)} noted")


@click.command(
    cls=DailyFirst,
    daily=("--nominal", "--measured", "--tolerance"),
    short_help="Note a component: its value, its verdict, what replaced it.",
)
@_RECORD
@click.argument("ref", metavar="REF")
@click.option("--kind", type=click.Choice(tuple(USUAL)), help="Its usual tolerance is by it. Common practice.")
@click.option("--marking", help="What is printed on it.")
@click.option("--nominal", metavar="VALUE", help="Such as 10uF or 2.2kohm.")
@click.option("--measured", metavar="VALUE", help="As --nominal.")
@click.option("--tolerance", metavar="PERCENT", help="As marked: 20, or -10..50.")
@click.option("--esr", metavar="OHM", help="Equivalent series resistance.")
@click.option("--esr-most", metavar="OHM", help="What it may be.")
@click.option("--leakage", metavar="UA", help="Leakage in microampere.")
@click.option("--leakage-most", metavar="UA", help="What it may be.")
@click.option("--replaced-by", help="The new part.")
@click.option("--note", "remark", help="What else is to be known.")
@click.option("--date", "day", metavar="YYYY-MM-DD", help="When it was.  [default: now]")
@as_json_option
def part(path: Path, ref: str, day: str | None, as_json: bool, **typed: str | None) -> None:
    """Note a component by the reference that the board has, such as C501.

    It is judged by the tolerance that is given, else by what is usual for its kind (common practice, no source).
    """
    name = words_of("REF", ref)
    if not name:
        raise UsageError("REF: give the reference that the board has, such as C501")
    held_part: dict[str, Any] = {"ref": name, "date": date_of(day)}
    units = set()
    for key in ("nominal", "measured"):
        text = typed[key]
        if text is not None:
            held_part[key], unit = value_of(f"--{key}", text)
            units |= {unit} - {""}
    if len(units) > 1:
        raise UsageError(f"--measured: {' and '.join(sorted(units))} are not one unit; give both values in the same")
    held_part |= {"unit": units.pop()} if units else {}
    for option, key in (
        ("esr", "esr_ohm"),
        ("esr_most", "esr_most_ohm"),
        ("leakage", "leakage_ua"),
        ("leakage_most", "leakage_most_ua"),
    ):
        text = typed[option]
        if text is not None:
            held_part[key] = value_of(f"--{option.replace('_', '-')}", text)[0]
    if typed["tolerance"] is not None:
        held_part |= {"tolerance_percent": span_of(typed["tolerance"]), "source": "as stated"}
    texts = (("kind", "kind"), ("marking", "marking"), ("replaced_by", "replaced_by"), ("remark", "note"))
    for option, key in texts:
        words = words_of(f"--{option.replace('_', '-')}", typed[option])
        held_part |= {key: words} if words is not None else {}
    found = change_record(path, lambda held: with_part(held, held_part), note)
    noted = next(one for one in found.parts if one.ref == name)
    faults = faults_of(noted)
    if as_json:
        verdict = None if faults is None else "beyond" if faults else "within"
        put_json({"record": str(path), "part": name, "verdict": verdict, "faults": faults})
    else:
        put_text(f"{path}: {part_words(noted)}")


_LINES = 14
"""For components, on a sheet."""


@click.command(short_help="Make the inspection sheet, to be filled in by hand.")
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    default="outputs/inspection.html",
    show_default=True,
    metavar="FILE.html|FILE.pdf",
    help="File of the sheet.",
)
@as_json_option
def sheet(to: Path, as_json: bool) -> None:
    """Make the inspection sheet: cautions, the questions of 'record intake' with boxes, lines for components."""
    check_target("--to", to, (".html", ".htm", ".pdf"), ())
    is_pdf = to.suffix.lower() == ".pdf"
    if is_pdf:
        check_pdf()
    page = rendered("inspection.html", questions=QUESTIONS, lines=_LINES, usual=USUAL)
    data = pdf_of(page) if is_pdf else page.encode()
    with placed(to) as file:
        file.write(data)
    if as_json:
        put_json({"sheet": str(to)})
    else:
        put_text(f"{to}: the inspection sheet")
