"""What the page shows, as regions of HTML that change apart; all words of a session for people are here and in the
templates."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from patterns.formats import FORMATS, Format, format_words
from patterns.signal import Range
from render.errors import FileError
from trueraster.bench.cards import JOBS, Card, CardKind
from trueraster.bench.session import Session, epoch
from trueraster.bench.state import AnswerMade
from trueraster.output.cautions import CAUTIONS
from trueraster.output.json import read
from trueraster.record.compare import value_text
from trueraster.record.schema import Stage
from trueraster.visible import visible

__all__ = ["WARM_UP_S", "answer_lines", "page", "regions"]

WARM_UP_S = 30 * 60
"""Before anything is adjusted. Common practice, no source."""
_SHOWN_ANSWERS = 6
_EXPOSURES = {60: "1/30 s", 50: "1/25 s"}


@lru_cache(maxsize=1)
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("trueraster.bench"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=lambda value: visible(value) if type(value) is str else value,
    )


def _rendered(name: str, **values: Any) -> str:
    return _templates().get_template(name).render(**values)


def page(session: Session, version: str) -> str:
    """The whole page, with its regions as they are now; `version` is what the page then has."""
    return _rendered("page.html", regions=regions(session), version=version)


def regions(session: Session) -> dict[str, str]:
    """The page's regions by the id of the element that each is in."""
    record = _record(session)
    common = {"session": session, "state": session.state, "card": session.card, "index": session.index}
    made = {
        "head": _rendered("head.html", **common, record=record, stages=list(Stage)),
        "answers": _rendered("answers.html", **common, answers=list(_answers(session, record))),
        "notes": _rendered("notes.html", **common),
    }
    if session.card is None:
        chosen = session.offered or [name for name in record.formats if name in FORMATS]
        made["card"] = _rendered("set-up.html", **common, jobs=JOBS, formats=FORMATS, chosen=chosen, words=format_words)
        return {**made, "give": "", "bar": ""}
    made["card"] = _rendered("card.html", **common, **_card(session, session.card))
    made["give"] = _rendered("give.html", **common, takes=_takes(session.card), exposure=exposure(session.card.format))
    made["bar"] = _rendered("bar.html", **common, **_neighbours(session))
    return made


def _card(session: Session, card: Card) -> dict[str, Any]:
    """What a card says besides its own values."""
    fmt, pattern = card.format, card.pattern
    cautions = list(fmt.cautions) if fmt and card.kind is CardKind.CHANGE else []
    if fmt and pattern:
        cautions += pattern.cautions_in(fmt, card.options)
    warm_since = epoch(session.state.warm_since)
    begun = epoch(session.state.since)
    return {
        "cautions": cautions,
        "general": CAUTIONS,
        "format": format_words(fmt) if fmt else "",
        "rate": _rate(fmt),
        "warm_until": int(warm_since + WARM_UP_S) if warm_since else 0,
        "up_until": int(begun + card.dwell_s) if card.dwell_s and not session.is_black else 0,
        "range_words": _range_words(card),
        "kinds": CardKind,
        "record": session.kept.path,
    }


def _rate(fmt: Format | None) -> str:
    if fmt is None or fmt.timing is None:
        return ""
    return f"{float(fmt.timing.line_rate_hz) / 1000:.3f} kHz lines, {float(fmt.field_rate):.2f} Hz fields"


def _range_words(card: Card) -> str:
    """On cards of black level: which codes are sent, and what that asks of the output."""
    slide = card.slide
    if slide is None or card.heading != "Black level and contrast":
        return ""
    if slide.signal.range is Range.FULL:
        return (
            "The screen sends full range: black is code 0, white 255, and nothing darker than black. It fits an output"
            " set to computer levels. For an output set to video levels begin the bench with --range narrow."
        )
    return (
        "The screen sends narrow range: black is code 16, white 235. It fits an output that passes video levels"
        " unchanged. On an output that expects 0 to 255 black would be too light."
    )


def _takes(card: Card) -> str:
    return card.takes.value if card.takes else ""


def exposure(fmt: Format | None) -> str:
    """The exposure of a photograph: a whole number of frames of the field rate's family."""
    if fmt is None:
        return ""
    nearest = min(_EXPOSURES, key=lambda rate: abs(rate - float(fmt.field_rate)))
    return _EXPOSURES[nearest] if abs(nearest - float(fmt.field_rate)) < 1 else f"1/{float(fmt.field_rate) / 2:.0f} s"


def _neighbours(session: Session) -> dict[str, Any]:
    cards, at = session.cards, session.index
    return {
        "earlier": cards[at - 1] if at > 0 else None,
        "later": cards[at + 1] if at + 1 < len(cards) else None,
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class _RecordShown:
    """What the page needs of the record."""

    name: str
    stages: Mapping[str, str]
    formats: tuple[str, ...]
    error: str = ""


def _record(session: Session) -> _RecordShown:
    try:
        stages = session.kept.stages()
    except (FileError, OSError) as error:
        return _RecordShown(name="", stages={}, formats=(), error=str(error))
    return _RecordShown(name=session.kept.name, stages=stages, formats=session.kept.formats)


def _answers(session: Session, record: _RecordShown) -> Iterator[dict[str, Any]]:
    """The last answers, newest first."""
    made = session.state.answers
    for one in reversed(made[-_SHOWN_ANSWERS:]):
        kept = record.stages.get(one.digest, "")
        yield {
            "one": one,
            "kept": kept.replace("-", " "),
            "lines": answer_lines(session, one),
            "stage": session.state.stage.replace("-", " "),
        }


def answer_lines(session: Session, one: AnswerMade) -> tuple[str, str]:
    """The big line of an answer, and how its figure has changed since the one before of the same kind and card."""
    big = one.findings[0] if one.findings else one.kind
    same = (one.kind, one.card)
    earlier = [old for old in session.state.answers if (old.kind, old.card) == same and old.number < one.number]
    if not earlier or not one.about:
        return big, ""
    return big, _changed(_figures(session, earlier[-1]), _figures(session, one), one.about)


def _figures(session: Session, one: AnswerMade) -> Any:
    return _figures_of(str(session.folder.root), one.number, one.kind, session)


@lru_cache(maxsize=64)
def _figures_of(folder: str, number: int, kind: str, session: Session) -> Any:
    return read(kind, session.folder.read_answer(number))


def _changed(before: Any, now: Any, about: str) -> str:
    """'1.9 ± 0.2 mm before, 1.4 ± 0.2 now'; nothing where one of them is not available."""
    old, new = before.get(about), now.get(about)
    if old is None or new is None or old.value is None or new.value is None:
        return ""
    words = [f"{value} ± {doubt}" if doubt else value for value, doubt in map(value_text, (old, new))]
    unit = f" {new.quantity.unit}" if new.quantity.unit else ""
    said = new.quantity.words
    return f"{said[:1].upper()}{said[1:]}: {words[0]}{unit} before, {words[1]}{unit} now"
