"""The cards of a session: one thing to do after another, in the order of work, format after format."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache

from patterns.catalogue import PATTERNS
from patterns.formats import Format, format_words
from patterns.pattern import Options, Pattern, percent_text
from patterns.signal import Range
from render.carriers import CARRIERS
from trueraster.kit.plan import patterns_for, plan_kit
from trueraster.kit.sheet import STAGES, stage_of
from trueraster.show.slide import Slide, slide_of

__all__ = ["JOBS", "Card", "CardKind", "Job", "Takes", "cards_of"]

_GREY_LEVELS = (0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100)
_GUNS = ("red", "green", "blue")


class CardKind(StrEnum):
    """What a card is for."""

    CAUTIONS = "cautions"
    WARM_UP = "warm-up"
    DEGAUSS = "degauss"
    CHANGE = "change"
    PATTERN = "pattern"
    END = "end"


class Takes(StrEnum):
    """What can be given on a card, besides a capture and a picture for the record."""

    RASTER = "raster"
    UNIFORMITY = "uniformity"
    READING = "reading"


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """One thing to do."""

    id: str
    """The same whenever the session is begun again with the same set-up."""
    kind: CardKind
    title: str
    heading: str = ""
    """The stage of the order of work."""
    format: Format | None = None
    pattern: Pattern | None = None
    options: Options = field(default_factory=Options)
    slide: Slide | None = None
    """What the screen shows; None is black."""
    file: str = ""
    """The kit's file that a player has to show."""
    takes: Takes | None = None

    @property
    def dwell_s(self) -> int:
        """How long its picture may stay up; 0 where it has none."""
        return 60 * self.pattern.dwell_minutes if self.pattern else 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """What is to be done with a set."""

    title: str
    words: str
    patterns: tuple[str, ...]
    """None named are all that suit a format."""
    reads_greys: bool = False
    """Whether grey fields are read with a meter, level by level."""


JOBS = {
    "quick": Job(
        title="Quick check",
        words="Is it alive, and is it worth more: ten minutes a format.",
        patterns=("alignment", "bars", "pluge", "steps", "focus", "field", "crosshatch", "circles", "dots"),
    ),
    "geometry": Job(
        title="Geometry",
        words="Centre, size, rotation, linearity, pincushion and keystone.",
        patterns=("bars", "pluge", "focus", "centre", "crosshatch", "circles", "overscan", "crosshatch-fine"),
    ),
    "convergence": Job(
        title="Convergence",
        words="Static before dynamic.",
        patterns=("bars", "pluge", "focus", "crosshatch", "dots", "crosshatch-rg", "crosshatch-gb", "crosshatch-rb"),
    ),
    "grey": Job(
        title="Grey scale",
        words="Low levels, then high ones, repeated; with a colour meter.",
        patterns=("bars", "pluge", "steps", "steps-near-black", "steps-near-white", "ramp"),
        reads_greys=True,
    ),
    "whole": Job(title="Whole check-up", words="Everything in the order of work.", patterns=(), reads_greys=True),
}
"""What can be done, by the name that the page sends."""


@lru_cache(maxsize=8)
def cards_of(formats: tuple[Format, ...], job: Job, code_range: Range, *, player: bool) -> tuple[Card, ...]:
    """Every card of a session.

    Args:
        formats: what the set is fed with, in this order.
        job: what is to be done.
        code_range: of the screen's codes.
        player: whether a media player shows the files of a kit of these formats; else this computer's output does.
    """
    first = (
        Card(id="cautions", kind=CardKind.CAUTIONS, title="Before you begin"),
        Card(id="warm-up", kind=CardKind.WARM_UP, title="Warm-up"),
        Card(id="degauss", kind=CardKind.DEGAUSS, title="Degauss"),
    )
    numbers = _kit_files(formats) if player else {}
    rest = [
        card
        for fmt in formats
        for card in (
            Card(id=f"{fmt.id}/change", kind=CardKind.CHANGE, title=f"Now feed {format_words(fmt)}", format=fmt),
            *_of_format(fmt, job, code_range, numbers, player=player),
        )
    ]
    return (*first, *rest, Card(id="end", kind=CardKind.END, title="Done"))


def _kit_files(formats: Sequence[Format]) -> dict[tuple[str, str, Options], str]:
    """The names of a kit's files with their numbers, as `kit` makes them for these formats."""
    items = plan_kit(formats, CARRIERS["h264"]).items
    return {(one.order.format.id, one.order.pattern.id, one.order.options): one.name for one in items}


def _of_format(
    fmt: Format, job: Job, code_range: Range, files: dict[tuple[str, str, Options], str], *, player: bool
) -> Iterator[Card]:
    for pattern in patterns_for(fmt):
        if pattern.id == "slate" or (job.patterns and pattern.id not in job.patterns):
            continue
        # An output shows whole frames: what moves field by field comes from a player only.
        if not player and fmt.interlaced and not pattern.scene(fmt).is_still:
            continue
        for options in pattern.variants:
            name = files.get((fmt.id, pattern.id, options), "")
            yield _card(fmt, pattern, options, None if player else slide_of(pattern, options, fmt, code_range), name)
    if job.reads_greys and not player:
        plain = PATTERNS["field"]
        greys = [Options(colour="grey", level=Fraction(level, 100)) for level in _GREY_LEVELS]
        for options in (*greys, *(Options(colour=gun) for gun in _GUNS)):
            yield _card(fmt, plain, options, slide_of(plain, options, fmt, code_range), "", reads=True)


def _card(
    fmt: Format, pattern: Pattern, options: Options, slide: Slide | None, file: str, *, reads: bool = False
) -> Card:
    words = [str(value) for value in (options.colour, options.side, options.bars) if value is not None]
    words += [f"{percent_text(value)} %" for value in (options.level, options.area) if value is not None]
    return Card(
        id="/".join([fmt.id, "read" if reads else pattern.id, *words]).replace(" ", ""),
        kind=CardKind.PATTERN,
        title=", ".join([pattern.title, *words]),
        heading="Grey scale, by meter" if reads else STAGES[stage_of(pattern.order)],
        format=fmt,
        pattern=pattern,
        options=options,
        slide=slide,
        file=file,
        takes=Takes.READING if reads else _takes(pattern, fmt),
    )


def _takes(pattern: Pattern, fmt: Format) -> Takes | None:
    """What a photograph of a pattern is measured for; None where it is only looked at."""
    scene = pattern.scene(fmt)
    dark = max(scene.background.red, scene.background.green, scene.background.blue) <= _DARK
    # Of a grid in one or two colours nothing but a picture is kept.
    if pattern.id in ("crosshatch", "crosshatch-fine", "dots") and dark:
        return Takes.RASTER
    return Takes.UNIFORMITY if pattern.id == "field" else None


_DARK = Fraction(1, 10)
