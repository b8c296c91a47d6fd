"""Pages that need no other file and no network; everything that they are given is shown as text.

Characters that HTML forbids, or that reorder a line, are shown as the escapes that a terminal gets.
"""

from __future__ import annotations

import base64
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from importlib.metadata import version
from importlib.resources import files
from itertools import groupby
from typing import TYPE_CHECKING, Any

from jinja2 import DictLoader, Environment, StrictUndefined
from markupsafe import Markup

from analysis.answer import Advice, Answer, Table
from trueraster.output.cautions import CAUTIONS
from trueraster.output.text import INSIDE, advice_said, advice_title, aligned
from trueraster.visible import visible

if TYPE_CHECKING:
    from PIL import Image

__all__ = ["DIGIT", "POINT", "answer_page", "data_uri", "minus", "rendered"]

DIGIT, POINT = "\u2007", "\u2008"
"""Blanks as wide as a digit and as a point."""
_QUALITY = 88
"""Of a photograph as JPEG: as PNG it would be several times as large."""
_IN_PLANE = "Lengths are in the plane of the marks, x to the right and y down."

_SHARED = ("base.css", "cautions.html", "layout.html")
"""What a template may include or extend."""


def answer_page(answer: Answer, picture: Image.Image | None, plots: Sequence[tuple[str, bytes]]) -> str:
    """An answer as HTML, with the picture of what was measured and with plots, each its title and its SVG file."""
    shown = None
    if picture is not None:
        file = io.BytesIO()
        picture.save(file, "JPEG", quality=_QUALITY, subsampling=0)
        source = data_uri("image/jpeg", file.getvalue())
        shown = {"source": source, "width": picture.width, "height": picture.height}
    lists = (
        ("Not available", answer.missing),
        ("Assumed", answer.assumptions),
        ("Notes", (*answer.remarks, *answer.notes)),
    )
    return rendered(
        "answer.html",
        kind=answer.kind.capitalize(),
        findings=[one.words for one in answer.findings],
        subject=answer.subject,
        tables=[_typeset(table) for table in answer.tables if table.rows],
        lists=[(title, said) for title, said in lists if said],
        steps=list(_steps(answer.advice or ())),
        inside=any(one.inside for one in answer.advice or ()),
        advice_title=answer.advice_title,
        service=INSIDE,
        summary=answer.summary,
        closing=[_typeset(table) for table in answer.closing if table.rows],
        picture=shown,
        plots=[{"title": title, "source": data_uri("image/svg+xml", data)} for title, data in plots],
        foot=_IN_PLANE if picture is not None else "",
        program=f"trueraster {version('trueraster')}",
    )


def _steps(advice: Sequence[Advice]) -> Iterator[dict[str, Any]]:
    """The numbered steps, as in text: advice for one picture on the screen is one step."""
    for show, some in groupby(advice, lambda one: one.show):
        parts = [{"title": advice_title(one), "said": advice_said(one), "inside": one.inside} for one in some]
        yield from [{"show": show, "parts": parts}] if show else [{"show": "", "parts": [part]} for part in parts]


def _typeset(table: Table) -> Table:
    """With figures that have their points below each other, and true minus signs."""
    by_column = list(zip(*table.rows, strict=True))
    for i in table.figures:
        # Where there is no figure the dash is left alone.
        cells = [cell if cell == "-" else cell.replace("-", "−") for cell in by_column[i]]
        by_column[i] = tuple(aligned(cells, DIGIT, POINT))
    return replace(table, rows=tuple(zip(*by_column, strict=True)))


def rendered(name: str, /, **values: Any) -> str:
    """A template with values put in; the cautions are there as `cautions`."""
    shared = {one: _text(one) for one in _SHARED}
    made = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        loader=DictLoader(shared),
        finalize=_finalized,
    )
    made.filters["css_string"] = _css_string
    made.filters["minus"] = minus
    return made.from_string(_text(name)).render(cautions=CAUTIONS, **values)


def _finalized(value: Any) -> Any:
    """What stands in the page for a value of the template."""
    if isinstance(value, Markup):
        return Markup(visible(value))
    return visible(value) if isinstance(value, str) else value


def data_uri(media_type: str, data: bytes) -> str:
    """A picture as an address that holds it whole."""
    return f"data:{media_type};base64,{base64.b64encode(data).decode('ascii')}"


def minus(text: str) -> str:
    """With a minus sign as it is set before a level or a vector, as of -I."""
    return re.sub(r"(?<!\S)-(?=[A-Z\d])", "−", text)


def _text(name: str) -> str:
    return (files("trueraster.output") / "templates" / name).read_text(encoding="utf-8")


def _css_string(text: str) -> str:
    """A string in CSS; all but letters, digits and blanks are escaped by number."""
    return '"' + re.sub(r"[^A-Za-z0-9 ]", lambda found: f"\\{ord(found[0]):x} ", visible(text)) + '"'
