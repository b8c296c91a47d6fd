"""What a kit holds: its files in the order of work, numbered, before any of them is made."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from patterns.catalogue import PATTERNS
from patterns.formats import Format
from patterns.pattern import Options, Pattern
from patterns.scene import Scene
from render.carriers import Carrier
from render.extras import USUAL, Extras
from render.produce import Order, default_name
from trueraster.options.orders import Wish, clips_text, orders_of
from trueraster.options.values import UsageError

__all__ = ["EVERYTHING", "QUICK", "Choice", "Item", "Named", "Plan", "left_out", "patterns_for", "plan_kit"]

_HEAD = "slate"
_SHORT_LETTERS = 8
"""Of a name that every file system of a card holds, before its ending (FAT, as of old)."""

QUICK = (
    ("alignment", Options()),
    ("bars", Options()),
    ("pluge", Options()),
    ("steps", Options()),
    ("focus", Options()),
    ("field", Options(colour="red")),
    ("field", Options(colour="white")),
    ("crosshatch", Options()),
    ("circles", Options()),
    ("overscan", Options()),
    ("dots", Options()),
    ("steps-near-black", Options()),
)
"""The twelve files that most sets need. Common practice, no source."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One file of a kit."""

    number: str
    """Format and place in it, as 1-07. All numbers of a kit are equally long, so that plain sorting keeps the order."""
    order: Order
    scene: Scene
    """What the order draws; it is asked for often."""
    short: bool = False
    """Whether the file has a name of at most eight letters and digits."""

    @property
    def name(self) -> str:
        """The file's name in the kit's folder: '1-07_steps_480i_narrow.mp4', or '107steps.mp4' where it is short."""
        if not self.short:
            return f"{self.number}_{default_name(self.order)}"
        letters = re.sub(r"[^a-z0-9]", "", f"{self.number}{self.order.pattern.id}")
        return letters[:_SHORT_LETTERS] + self.order.carrier.suffix


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A kit before it is made."""

    items: tuple[Item, ...]
    notes: tuple[str, ...]
    """What a user should know of its ranges, one line each."""


@dataclass(frozen=True, slots=True)
class Named:
    """A pattern that was asked for by name."""

    pattern: Pattern
    options: Options | None = None
    """Where the name says them, as 'white' does of a field; None: as in any kit."""

    def files(self) -> Iterator[tuple[Pattern, Options]]:
        yield from ((self.pattern, options) for options in ([self.options] if self.options else self.pattern.variants))

    def names(self, pattern: Pattern, options: Options) -> bool:
        return pattern.id == self.pattern.id and self.options in (None, options)


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Which patterns a kit has. With nothing said: all but those that are made by name only."""

    quick: bool = False
    """Begin with the twelve files that most sets need."""
    only: Sequence[Named] = ()
    """Begin with these."""
    extra: Sequence[Named] = ()
    without: Sequence[Named] = ()

    def files(self, fmt: Format) -> list[tuple[Pattern, Options]]:
        """The files of a format, in the order of work, the slate first. Patterns that do not suit it are left out."""
        if self.quick:
            wanted = [(PATTERNS[name], options) for name, options in QUICK]
        elif self.only:
            wanted = _all_files(self.only)
        else:
            wanted = [(p, options) for p in PATTERNS.values() if not p.by_name_only for options in p.variants]
        wanted += _all_files(self.extra)
        places = {name: i for i, name in enumerate(PATTERNS)}
        # Options are no key of a dictionary with an order of their own: those of one pattern stay as they came.
        ordered = sorted(dict.fromkeys(wanted), key=lambda one: (one[0].id != _HEAD, places[one[0].id]))
        dropped = [one for one in ordered if any(named.names(*one) for named in self.without)]
        return [one for one in ordered if one not in dropped and one[0].suits(fmt)]

    def check(self, formats: Sequence[Format]) -> None:
        """Refuse what changes nothing.

        Raises:
            UsageError: a pattern suits none of the formats, or is to be left out and is not there.
        """
        if self.quick and self.only:
            raise UsageError("--only: --quick has its own list; give one of the two, and add patterns with --with")
        ids = ", ".join(fmt.id for fmt in formats)
        for option, named in (("--only", self.only), ("--with", self.extra)):
            for one in named:
                if not any(one.pattern.suits(fmt) for fmt in formats):
                    raise UsageError(f"{option}: {one.pattern.id} suits none of {ids}")
        whole = replace(self, without=())
        for one in self.without:
            if not any(one.names(*file) for fmt in formats for file in whole.files(fmt)):
                raise UsageError(f"--without: this kit has no {one.pattern.id}, so there is nothing to leave out")


EVERYTHING = Choice()


def _all_files(named: Iterable[Named]) -> list[tuple[Pattern, Options]]:
    return [file for one in named for file in one.files()]


def patterns_for(fmt: Format, choice: Choice = EVERYTHING) -> list[Pattern]:
    """The patterns of a kit in a format, in the order of work, the slate first."""
    return list({pattern.id: pattern for pattern, _ in choice.files(fmt)}.values())


def left_out(formats: Sequence[Format], carrier: Carrier, choice: Choice = EVERYTHING) -> list[Pattern]:
    """The patterns that move, where the kit is of stills: one moment of them shows nothing of what they are for."""
    if carrier.default_seconds is not None:
        return []
    found = {p.id: p for fmt in formats for p in patterns_for(fmt, choice) if not p.scene(fmt).is_still}
    return list(found.values())


def plan_kit(
    formats: Sequence[Format],
    carrier: Carrier,
    *,
    choice: Choice = EVERYTHING,
    seconds: float | None = None,
    tagged: bool = False,
    extras: Extras = USUAL,
) -> Plan:
    """Every file of a kit: the whole of one format, then the next. All have one range.

    `seconds` None is the carrier's own length. `tagged` and `extras` are as in `Order`. A kit of stills
    has no pattern that moves.

    Raises:
        UsageError: a pattern that was asked for suits none of the formats, or moves in a kit of stills, or nothing
            is left.
        CarrierError: the carrier cannot hold one of the formats.
        PatternError: a pattern cannot be drawn in one of the formats.
    """
    choice.check(formats)
    moving = {pattern.id for pattern in left_out(formats, carrier, choice)}
    for option, named in (("--only", choice.only), ("--with", choice.extra)):
        for one in named:
            if one.pattern.id in moving:
                words = f"{one.pattern.id} moves and {carrier.name} is a still; clips show it: {clips_text()}"
                raise UsageError(f"{option}: {words}")
    wishes = [
        [
            Wish(pattern=pattern, options=options, format=fmt, carrier=carrier, signal=carrier.signal(fmt))
            for pattern, options in choice.files(fmt)
            if pattern.id not in moving
        ]
        for fmt in formats
    ]
    empty = [fmt.id for fmt, part in zip(formats, wishes, strict=True) if not part]
    if len(empty) == len(formats):
        raise UsageError("--without: nothing is left of the kit; leave out less")
    planned = orders_of(
        [wish for part in wishes for wish in part], seconds=seconds, range_is_chosen=False, tagged=tagged, extras=extras
    )
    wide, deep = len(str(len(formats))), max(2, *(len(str(len(part))) for part in wishes))
    places = [(i, j) for i, part in enumerate(wishes, 1) for j in range(1, len(part) + 1)]
    items = tuple(
        Item(
            number=f"{i:0{wide}}-{j:0{deep}}",
            order=order,
            scene=order.pattern.scene(order.format, order.options, order.signal),
        )
        for (i, j), order in zip(places, planned.orders, strict=True)
    )
    notes = [f"{name} has no file: none of the patterns that were chosen suits it" for name in empty]
    return Plan(items=items, notes=(*planned.notes, *notes))
