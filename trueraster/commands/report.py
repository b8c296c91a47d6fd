"""`report`: the sheet that goes with a set, from its record."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from analysis.raster.classes import SetClass
from analysis.rounding import counted
from render.writing import placed
from trueraster.errors import UsageError
from trueraster.options.daily import DailyFirst
from trueraster.options.setclass import SET_CLASSES
from trueraster.options.shared import as_json_option
from trueraster.output.files import check_new, check_target
from trueraster.output.page import rendered
from trueraster.output.pdf import check_pdf, pdf_of
from trueraster.output.terminal import note, put_json, put_text
from trueraster.record.store import read_record
from trueraster.report.content import content_of
from trueraster.report.customer import summary_of
from trueraster.report.fleet import fleet_of, read_fleet
from trueraster.report.page import report_page
from trueraster.report.shown import pictures_of
from trueraster.report.tolerancefile import is_known, tolerance_template
from trueraster.report.tolerances import read_tolerances, tolerances_of

if TYPE_CHECKING:
    from trueraster.record.schema import Record
    from trueraster.report.content import Content

__all__ = ["report"]


@click.command(cls=DailyFirst, daily=("--to", "--tolerances", "--set-class"))
@click.argument("path", metavar="[RECORD]", required=False, type=click.Path(path_type=Path))
@click.option(
    "--to",
    type=click.Path(path_type=Path),
    metavar="FILE.html|FILE.pdf",
    help="File of the report.  [default: the record's name, with .html]",
)
@click.option("--tolerances", type=click.Path(path_type=Path), metavar="FILE.toml", help="The bench's own tolerances.")
@click.option(
    "--tolerances-template",
    "template",
    type=click.Path(path_type=Path),
    metavar="FILE.toml",
    help="Write the usual tolerances into a file, to be changed.",
)
@click.option(
    "--set-class",
    type=click.Choice(SET_CLASSES),
    help="What the set is built for: its usual tolerances.  [default: as the record says, else broadcast]",
)
@click.option(
    "--fleet",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="All records in a folder as one page: hours, last service, drift, what is due.",
)
@as_json_option
def report(
    path: Path | None,
    to: Path | None,
    tolerances: Path | None,
    template: Path | None,
    set_class: str | None,
    fleet: Path | None,
    as_json: bool,
) -> None:
    """Make the sheet that goes with a set, from its record, for the screen or as PDF.

    The first page is for the set's owner, the annex for the technician. A figure is judged by the set's own tolerance
    ('record set --tolerance'), else that of --tolerances, else what is usual, which the page names with its source.
    """
    if fleet is not None:
        if path is not None or tolerances is not None or template is not None or set_class is not None:
            raise UsageError("--fleet: takes --to only; it reads all records in the folder")
        _put_fleet(fleet, to, as_json=as_json)
        return
    if path is None and template is None:
        raise UsageError("RECORD: give the record's file; 'trueraster record demo' makes one to look at")
    if path is None and (to is not None or tolerances is not None):
        raise UsageError("RECORD: give the record's file, which the report is made from")
    answer: dict[str, Any] = {}
    words = []
    if template is not None:
        _check_template(template)
    if path is not None:
        target = _target(path, to, [tolerances, template])
        told = _made(path, target, tolerances, set_class)
        answer |= told
        words.append(f"{target}: {told['summary']}")
    if template is not None:
        with placed(template) as file:
            file.write(tolerance_template().encode())
        answer["tolerances_template"] = str(template)
        words.append(f"{template}: the usual tolerances; change them, then give the file with --tolerances")
    if as_json:
        put_json(answer)
    else:
        put_text("\n".join(words))


def _put_fleet(folder: Path, to: Path | None, *, as_json: bool) -> None:
    """Write the page of all records in a folder."""
    if not folder.is_dir():
        raise UsageError(f"--fleet: {str(folder)[:60]!r} is no folder")
    target = folder / "fleet.html" if to is None else to
    if _is_pdf(target):
        check_pdf()
    check_target("--to", target, (".html", ".htm", ".pdf"), [])
    records, other = read_fleet(folder)
    if not records:
        raise UsageError(f"--fleet: {folder} has no record; 'trueraster record new' makes one")
    for words in other[:_MOST_OTHER]:
        note(f"Note: left out: {words}")
    if len(other) > _MOST_OTHER:
        note(f"Note: {len(other) - _MOST_OTHER} more files were left out")
    sets = fleet_of(records)
    due = sum(one.due_in_hours is not None and one.due_in_hours <= 0 for one in sets)
    summary = f"{counted(len(sets), 'set')}, {due} due for service."
    made = datetime.now().astimezone().date().isoformat()
    program = f"trueraster {version('trueraster')}"
    page = rendered("fleet.html", sets=sets, summary=summary, made=made, folder=folder.name, program=program)
    data = pdf_of(page) if _is_pdf(target) else page.encode()
    with placed(target) as file:
        file.write(data)
    if as_json:
        held = [
            {**asdict(one), "record": str(one.record), "verdicts": {v.value: n for v, n in one.verdicts.items()}}
            for one in sets
        ]
        put_json({"report": str(target), "summary": summary, "sets": held, "left_out": other})
    else:
        put_text(f"{target}: {summary}")


_MOST_OTHER = 5
"""Files that are no records and are named."""


def _class_of(record: Record, typed: str | None) -> SetClass:
    """What the set is built for: as typed, as its record says, else broadcast."""
    named = typed or record.set.set_class
    return SetClass(named) if named in SET_CLASSES else SetClass.BROADCAST


def _made(path: Path, target: Path, tolerances: Path | None, set_class: str | None) -> dict[str, Any]:
    """Write the page, and tell what is in it."""

    record = read_record(path)
    own = [] if tolerances is None else read_tolerances(tolerances)
    limits = tolerances_of(record.tolerances, own, _class_of(record, set_class))
    content = content_of(record, limits)
    pictures = pictures_of(record)
    page = report_page(content, pictures, datetime.now().astimezone())
    data = pdf_of(page) if _is_pdf(target) else page.encode()
    with placed(target) as file:
        file.write(data)
    unused = limits.unused([row.id for section in content.sections for row in section.rows])
    for name in _unheard(unused):
        note(f"Note: no figure is called {name[:80]!r}; 'trueraster record show --json' has the names")
    for group in pictures:
        for one in group:
            if not one.source:
                note(f"Note: the picture {one.name} cannot be shown, its data in the record is broken")
    return {
        "report": str(target),
        "record": str(path),
        "simulated": record.is_simulated,
        "set_class": _class_of(record, set_class).value,
        "summary": summary_of(content),
        **_told(content, record),
        "pictures": sum(bool(one.source) for group in pictures for one in group),
        "unused_tolerances": unused,
    }


def _unheard(names: list[str]) -> list[str]:
    """Those of the user's limits that are of no figure at all, mostly slips."""
    return [name for name in names if not is_known(name)]


def _told(content: Content, record: Record) -> dict[str, Any]:
    return {
        "judged": {
            stage.value: {verdict.value: count for verdict, count in counts.items()}
            for stage, counts in content.tally().items()
        },
        "figures": [
            {
                "id": row.id,
                "name": row.figure.quantity.words,
                "measurement": section.title,
                "unit": row.figure.quantity.unit,
                "tolerance": None
                if row.limit is None
                else {"least": row.limit.limit.least, "most": row.limit.limit.most, "of_size": row.limit.limit.of_size},
                "source": None if row.limit is None else row.limit.source,
                "stages": {
                    stage.value: {
                        "value": cell.figure.value,
                        "uncertainty": cell.figure.uncertainty,
                        "verdict": None if cell.verdict is None else cell.verdict.value,
                    }
                    for stage, cell in row.cells.items()
                    if cell is not None
                },
            }
            for section in content.sections
            for row in section.rows
        ],
    }


def _check_template(path: Path) -> None:
    check_target("--tolerances-template", path, (".toml",), ())
    check_new("--tolerances-template", path)


def _target(path: Path, to: Path | None, others: list[Path | None]) -> Path:
    """The report's file.

    Raises:
        UsageError: as `check_target` does, or a page is given for the record.
    """
    if to is None and path.suffix.lower() in (".html", ".htm"):
        raise UsageError(f"RECORD: got {str(path)[:60]!r}, a page; the record it was made from ends in .json")
    target = path.with_suffix(".html") if to is None else to
    if _is_pdf(target):
        check_pdf()
    check_target("--to", target, (".html", ".htm", ".pdf"), [other for other in (path, *others) if other is not None])
    return target


def _is_pdf(target: Path) -> bool:
    return target.suffix.lower() == ".pdf"
