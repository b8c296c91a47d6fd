"""What a kit holds: its files in the order of work, numbered, before any of them is made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from patterns.catalogue import PATTERNS
from patterns.formats import Format
from patterns.pattern import Pattern
from patterns.scene import Scene
from render.carriers import Carrier
from render.produce import Order, default_name
from trueraster.options.orders import Wish, orders_of
from trueraster.options.values import UsageError

__all__ = ["Item", "plan_kit"]

_HEAD = "slate"


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One file of a kit."""

    number: str
    """Format and place in it, as 1-07. All numbers of a kit are equally long, so that plain sorting keeps the order."""
    order: Order
    scene: Scene
    """What the order draws; it is asked for often."""

    @property
    def name(self) -> str:
        """The file's name in the kit's folder."""
        return f"{self.number}_{default_name(self.order)}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A kit before it is made."""

    items: tuple[Item, ...]
    notes: tuple[str, ...]
    """What a user should know of its ranges, one line each."""


def patterns_for(fmt: Format, extra: Sequence[Pattern] = ()) -> list[Pattern]:
    """The patterns of a kit in a format, in the order of work, the slate first.

    `extra` are asked for by name: each is in where it suits the format.
    """
    asked = {pattern.id for pattern in extra}
    chosen = [p for p in PATTERNS.values() if p.suits(fmt) and (not p.by_name_only or p.id in asked)]
    return sorted(chosen, key=lambda pattern: pattern.id != _HEAD)


def plan_kit(
    formats: Sequence[Format],
    carrier: Carrier,
    *,
    seconds: float | None = None,
    extra: Sequence[Pattern] = (),
    tagged: bool = False,
) -> Plan:
    """Every file of a kit: the whole of one format, then the next. All have one range.

    `seconds` None is the carrier's own length. `tagged` is as in `Order`.

    Raises:
        UsageError: a pattern in `extra` suits none of the formats.
        CarrierError: the carrier cannot hold one of the formats.
        PatternError: a pattern cannot be drawn in one of the formats.
    """
    for pattern in extra:
        if not any(pattern.suits(fmt) for fmt in formats):
            raise UsageError(f"--with: {pattern.id} suits none of {', '.join(fmt.id for fmt in formats)}")
    wishes = [
        [
            Wish(pattern=pattern, options=options, format=fmt, carrier=carrier, signal=carrier.signal(fmt))
            for pattern in patterns_for(fmt, extra)
            for options in pattern.variants
        ]
        for fmt in formats
    ]
    planned = orders_of([w for part in wishes for w in part], seconds=seconds, range_is_chosen=False, tagged=tagged)
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
    return Plan(items=items, notes=planned.notes)
