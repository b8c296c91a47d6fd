"""The end of a session: before and after, what was turned, and the report."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from starlette.requests import Request
from starlette.responses import HTMLResponse, Response
from starlette.routing import Route

from analysis.raster.classes import SetClass
from render.errors import FileError
from trueraster.bench.session import Session
from trueraster.record.compare import value_text
from trueraster.record.schema import Stage
from trueraster.record.store import read_record
from trueraster.report.content import Cell, Content, Row, content_of
from trueraster.report.limits import Verdict
from trueraster.report.page import report_page
from trueraster.report.shown import pictures_of
from trueraster.report.tolerances import tolerances_of

__all__ = ["Ending", "ending", "report_route"]

_POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; frame-ancestors 'none'; sandbox"
"""Of the report, which is one file with its own style and pictures, and no script."""
_VERDICTS = {Verdict.WITHIN: "within", Verdict.BEYOND: "BEYOND", Verdict.OPEN: "too uncertain to say"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """A figure that a tolerance judges, as found and after."""

    words: str
    before: str
    after: str
    unit: str
    limit: str
    verdict: str
    """Of the last value."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """What the last card shows."""

    tables: tuple[tuple[str, tuple[Line, ...]], ...]
    """By measurement."""
    within: int
    judged: int
    """How many figures are within their tolerance at the last, of how many that have one."""
    others: tuple[str, ...] = ()
    """Those that are not, in words, by measurement."""
    turned: tuple[tuple[str, str], ...]
    """Each control, and by how much in all."""
    error: str = ""


def ending(session: Session) -> Ending:
    """From the record, as it is now."""
    turned = tuple(_turned(session))
    try:
        content = _content(session)
    except (FileError, OSError) as error:
        return Ending(tables=(), within=0, judged=0, turned=turned, error=str(error))
    tables = tuple(
        (one.title, tuple(_line(row) for row in one.rows if row.limit is not None)) for one in content.sections
    )
    last = [line.verdict for _, lines in tables for line in lines if line.verdict]
    return Ending(
        tables=tuple(table for table in tables if table[1]),
        within=last.count(_VERDICTS[Verdict.WITHIN]),
        judged=len(last),
        others=tuple(
            f"{title}: {line.words}: {line.after if line.after != '-' else line.before}, tolerance {line.limit}"
            f" {line.unit}: {line.verdict}"
            for title, lines in tables
            for line in lines
            if line.verdict and line.verdict != _VERDICTS[Verdict.WITHIN]
        ),
        turned=turned,
    )


def _content(session: Session) -> Content:
    record = read_record(session.kept.path)
    named = record.set.set_class
    set_class = SetClass(named) if named in list[str](SetClass) else SetClass.BROADCAST
    return content_of(record, tolerances_of(record.tolerances, [], set_class))


def _line(row: Row) -> Line:
    quantity = row.figure.quantity
    before, *later = (row.cells.get(stage) for stage in Stage)
    last = row.last
    after = next((cell for cell in reversed(later) if cell is not None and cell.figure.value is not None), None)
    return Line(
        words=quantity.words,
        before=_text(before),
        after=_text(after),
        unit=quantity.unit,
        limit="" if row.limit is None else row.limit.limit.words(signed=quantity.signed),
        verdict="" if last is None or last.verdict is None else _VERDICTS[last.verdict],
    )


def _text(cell: Cell | None) -> str:
    if cell is None or cell.figure.value is None:
        return "-"
    value, uncertainty = value_text(cell.figure)
    return f"{value} ± {uncertainty}" if uncertainty else value


def _turned(session: Session) -> Iterator[tuple[str, str]]:
    """Each control that was turned, in the order in which it first was, in what it is counted in."""
    turns, units = session.state.turns, {one.name: one.unit for one in session.kept.controls}
    for name in dict.fromkeys(one.control for one in turns):
        own = [one.steps for one in turns if one.control == name]
        times = f", in {len(own)} turns" if len(own) > 1 else ""
        yield name, f"{sum(own):+d} {units.get(name, 'steps')}{times}".replace("-", "−")


def report_route(session: Session) -> Route:
    """The report on the record as it is now, as a page."""

    def report(request: Request) -> Response:
        content = _content(session)
        page = report_page(content, pictures_of(content.record), datetime.now().astimezone())
        return HTMLResponse(page, headers={"content-security-policy": _POLICY})

    return Route("/report", report, methods=["GET"])
