"""Turns that did nothing, or the opposite of what they did before: named, and not fitted with the rest."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from analysis.controls.response import Moved, Pair, Responses, fit_responses

__all__ = ["Odd", "Strange", "judged"]

_CLEAR = 3.0
"""Standard uncertainties from which a change is clear of nothing."""
_FORESEEN = 2.0
"""The same of what was expected, for which the first pairs leave half of it open."""
_LITTLE = 0.3
"""Share of what was expected up to which a turn did nothing, and of a tolerance that does not matter."""
_MORE = 2.0
"""How many times as much as its own quantity, in tolerances, a control has to move another for that to be named."""
_LATER = 2
"""Pairs in succession that differ from the older ones alike, after which they are believed and not those."""


class Odd(StrEnum):
    """What is strange about a turn."""

    NOTHING = "did nothing"
    OPPOSITE = "did the opposite"
    OTHER = "moves something else"


@dataclass(frozen=True, slots=True, kw_only=True)
class Strange:
    """A turn that did not do what was expected of it."""

    pair: int
    """Its place among the pairs."""
    control: str
    steps: float
    odd: Odd
    quantity: str
    """Of which that is seen."""
    change: float
    """What the turn moved it by, in its unit."""
    uncertainty: float
    expected: float | None = None
    """What it should have moved it by; None where nothing was known."""


def judged(
    pairs: Sequence[Pair], links: Mapping[str, str], tolerances: Mapping[str, float]
) -> tuple[Responses | None, tuple[Strange, ...]]:
    """The responses by the pairs that go together, and the turns that do not.

    Each pair is compared with what the ones before it say of its controls. When the newest pairs of a control differ
    from the older ones all in the same way, they count and the older ones do not: it is another control now, or was
    counted the other way round. Of all that is strange the last of each control is given.
    """
    kept: list[int] = []
    aside: dict[str, list[Strange]] = {}
    found: dict[str, Strange] = {}
    responses: Responses | None = None
    for i, pair in enumerate(pairs):
        some = _strange(i, pair, responses, links, tolerances)
        for name in pair.turned:
            found.pop(name, None)
        for one in some:
            found[one.control] = one
            aside.setdefault(one.control, []).append(one)
        changed = [name for name in {one.control for one in some} if _is_another(aside[name])]
        for name in changed:
            kept = [j for j in kept if name not in pairs[j].turned] + [one.pair for one in aside.pop(name)]
            found.pop(name)
        if not some:
            kept.append(i)
            for name in pair.turned:
                aside.pop(name, None)
        if not some or changed:
            kept.sort()
            responses = fit_responses([pairs[j] for j in kept], links, tolerances)
    other = _elsewhere([pairs[j] for j in kept], links, tolerances, len(pairs) - 1)
    if other:
        # What is linked to the wrong quantity is fitted as if it were not linked.
        right = {name: quantity for name, quantity in links.items() if name not in {one.control for one in other}}
        responses = fit_responses([pairs[j] for j in kept], right, tolerances)
    return responses, tuple(({one.control: one for one in other} | found).values())


def _is_another(some: Sequence[Strange]) -> bool:
    last = some[-_LATER:]
    return len(last) == _LATER and all(one.odd is Odd.OPPOSITE for one in last)


def _strange(
    i: int, pair: Pair, known: Responses | None, links: Mapping[str, str], tolerances: Mapping[str, float]
) -> list[Strange]:
    """Which of a pair's turns did nothing or the opposite, as far as what was known before says."""
    made = []
    for name, steps in pair.turned.items():
        if not steps:
            continue
        if known is None or name not in known.controls:
            made += _first(i, pair, name, links, tolerances)
            continue
        quantity = _largest(known, name, pair, tolerances)
        if quantity is None:
            continue
        j = known.quantities.index(quantity)
        by_others, spread_others = known.expected({k: v for k, v in pair.turned.items() if k != name})
        expected, spread = known.expected({name: steps})
        seen = pair.moved[quantity]
        change = seen.change - float(by_others[j])
        uncertainty = float(np.hypot(seen.uncertainty, np.sqrt(max(spread_others[j, j], 0.0))))
        wanted, doubt = float(expected[j]), float(np.sqrt(max(spread[j, j], 0.0)))
        if abs(wanted) < max(_FORESEEN * np.hypot(uncertainty, doubt), _LITTLE * tolerances[quantity]):
            continue
        share = change / wanted
        if share < -_LITTLE and abs(change) > _CLEAR * uncertainty:
            odd = Odd.OPPOSITE
        elif abs(share) <= _LITTLE:
            odd = Odd.NOTHING
        else:
            continue
        made.append(
            Strange(
                pair=i,
                control=name,
                steps=steps,
                odd=odd,
                quantity=quantity,
                change=change,
                uncertainty=uncertainty,
                expected=wanted,
            )
        )
    return made


def _first(i: int, pair: Pair, name: str, links: Mapping[str, str], tolerances: Mapping[str, float]) -> list[Strange]:
    """A first turn, of this control alone, after which all is as it was."""
    seen = {quantity: moved for quantity, moved in pair.moved.items() if quantity in tolerances}
    alone = not any(steps for other, steps in pair.turned.items() if other != name)
    if not seen or not alone or any(_is_clear(one, tolerances[quantity]) for quantity, one in seen.items()):
        return []
    quantity = links.get(name, "")
    quantity = quantity if quantity in seen else next(iter(seen))
    moved = seen[quantity]
    return [
        Strange(
            pair=i,
            control=name,
            steps=pair.turned[name],
            odd=Odd.NOTHING,
            quantity=quantity,
            change=moved.change,
            uncertainty=moved.uncertainty,
        )
    ]


def _is_clear(moved: Moved, tolerance: float) -> bool:
    return abs(moved.change) > max(_CLEAR * moved.uncertainty, _LITTLE * tolerance)


def _largest(known: Responses, name: str, pair: Pair, tolerances: Mapping[str, float]) -> str | None:
    """The quantity that a control moves most, in tolerances, of those that the pair has."""
    i = known.controls.index(name)
    there = [quantity for quantity in known.quantities if quantity in pair.moved]
    if not there:
        return None
    return max(there, key=lambda quantity: abs(known.step[i, known.quantities.index(quantity)]) / tolerances[quantity])


def _elsewhere(
    pairs: Sequence[Pair], links: Mapping[str, str], tolerances: Mapping[str, float], last: int
) -> list[Strange]:
    """Controls that clearly move something else more than what they are linked to, where they were turned alone."""
    made = []
    for name, own in links.items():
        alone = [pair for pair in pairs if [one for one, steps in pair.turned.items() if steps] == [name]]
        moved = {quantity: _alone(alone, name, quantity) for quantity in tolerances}
        known = {quantity: one for quantity, one in moved.items() if one is not None}
        if own not in known:
            continue
        most = max(known, key=lambda quantity: abs(known[quantity].change) / tolerances[quantity])
        size, limit = (known[quantity].change / tolerances[quantity] for quantity in (most, own))
        doubt = known[most].uncertainty / tolerances[most]
        if most != own and abs(size) - _MORE * abs(limit) > _CLEAR * doubt:
            made.append(
                Strange(
                    pair=last,
                    control=name,
                    steps=1.0,
                    odd=Odd.OTHER,
                    quantity=most,
                    change=known[most].change,
                    uncertainty=known[most].uncertainty,
                )
            )
    return made


def _alone(pairs: Sequence[Pair], name: str, quantity: str) -> Moved | None:
    """What a step of a control moves a quantity by, from pairs in which nothing else was turned."""
    there = [(pair.turned[name], pair.moved[quantity]) for pair in pairs if quantity in pair.moved]
    weights = [steps**2 / max(moved.uncertainty, 1e-12) ** 2 for steps, moved in there]
    if not there or not sum(weights):
        return None
    mean = sum(weight * moved.change / steps for weight, (steps, moved) in zip(weights, there, strict=True))
    return Moved(mean / sum(weights), float(1 / np.sqrt(sum(weights))))
