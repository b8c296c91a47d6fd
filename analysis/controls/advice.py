"""Steps of several controls, solved together, so that what is left is expected to be least; and what is left then.

What is made small is the expected sum of squares of all errors, each in its own tolerance. What is not certain of the
responses and of the turns is part of that, so a control that is hardly known is turned a little, not far.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.controls.response import Responses

__all__ = ["Error", "Left", "Steps", "Turn", "solve_steps"]

Floats = NDArray[np.float64]

_KNOWN = 0.6
"""Uncertainty of a control's largest response, as a share of it, up to which steps are advised; this project's
choice."""
_CLEAR = 2.0
"""Standard uncertainties that an error has to reach to be taken away."""
_SLIGHT = 0.25
"""Of a tolerance: a turn that moves nothing by more is not asked for."""
_MOST_STEPS = 999
_SWEEPS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Error:
    """A quantity as it is now."""

    value: float
    """What it is off by, in its unit; 0 is right."""
    uncertainty: float
    tolerance: float
    """Size of error from which it matters; above 0."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """One control to turn."""

    control: str
    steps: int
    """Never 0; negative the other way."""
    exact: float
    """The same before it was made whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Left:
    """A quantity once all turns are done."""

    quantity: str
    before: float
    value: float
    uncertainty: float
    """With that of the responses and of the turns."""
    tolerance: float

    @property
    def is_right(self) -> bool:
        """Whether it is expected within its tolerance."""
        return abs(self.value) <= self.tolerance


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """What to turn, and what is left then."""

    turns: tuple[Turn, ...]
    left: tuple[Left, ...]
    """All quantities, the largest in its tolerance first."""
    unknown: tuple[str, ...]
    """Controls of which too little is known to say how far."""


def solve_steps(responses: Responses, errors: Mapping[str, Error], without: Sequence[str] = ()) -> Steps:
    """How many whole steps to turn each control by.

    Args:
        responses: what a step of each moves.
        errors: the quantities now; those of them that `responses` does not have stay as they are.
        without: controls that are left alone.
    """
    names = [name for name in responses.quantities if name in errors]
    at = [responses.quantities.index(name) for name in names]
    sizes = np.array([errors[name].tolerance for name in names])
    off = np.array([_clear_part(errors[name]) for name in names]) / sizes
    step, spread = responses.step[:, at] / sizes, responses.uncertainty[:, at] / sizes
    unknown = tuple(
        name for i, name in enumerate(responses.controls) if name not in without and not _is_known(step[i], spread[i])
    )
    used = [i for i, name in enumerate(responses.controls) if name not in (*unknown, *without)]
    turns: dict[str, tuple[int, float]] = {}
    if used and len(names) and np.abs(off).max() > 1:
        covariance = np.einsum("qcd,q->cd", responses.covariance[at], 1 / sizes**2)
        exact, whole = _whole(step[used], covariance[np.ix_(used, used)], responses.turning.share, off)
        turns = {
            responses.controls[i]: (int(count), float(wish))
            for i, count, wish in zip(used, whole, exact, strict=True)
            if count
        }
    moved, uncertainty = responses.expected({name: float(count) for name, (count, _) in turns.items()})
    left = [
        Left(
            quantity=name,
            before=errors[name].value,
            value=errors[name].value + float(moved[j]),
            uncertainty=float(np.hypot(errors[name].uncertainty, np.sqrt(max(uncertainty[j, j], 0.0)))),
            tolerance=errors[name].tolerance,
        )
        for name, j in zip(names, at, strict=True)
    ]
    left += [
        Left(quantity=name, before=one.value, value=one.value, uncertainty=one.uncertainty, tolerance=one.tolerance)
        for name, one in errors.items()
        if name not in names
    ]
    return Steps(
        turns=tuple(Turn(control=name, steps=count, exact=wish) for name, (count, wish) in turns.items()),
        left=tuple(sorted(left, key=lambda one: -abs(one.value) / one.tolerance)),
        unknown=unknown,
    )


def _clear_part(error: Error) -> float:
    """An error that is to be taken away; one that is not clear of its uncertainty is only kept from growing."""
    return error.value if abs(error.value) >= _CLEAR * error.uncertainty else 0.0


def _is_known(step: Floats, spread: Floats) -> bool:
    """Whether what a control moves most is known well enough."""
    most = int(np.argmax(np.abs(step) - spread)) if len(step) else 0
    return len(step) > 0 and bool(spread[most] <= _KNOWN * abs(step[most]))


def _whole(step: Floats, covariance: Floats, share: float, off: Floats) -> tuple[Floats, NDArray[np.int_]]:
    """The best steps, and the best whole ones near them that move something worth it."""
    cost = step @ step.T + covariance + share**2 * np.diag((step**2).sum(axis=1))
    pull = step @ off
    exact = np.clip(-np.linalg.solve(cost, pull), -_MOST_STEPS, _MOST_STEPS)
    whole = np.rint(exact)
    for _ in range(_SWEEPS):
        before = whole.copy()
        for i in range(len(whole)):
            # The best count of this one, with the others as they are.
            rest = pull[i] + cost[i] @ whole - cost[i, i] * whole[i]
            whole[i] = np.rint(np.clip(-rest / cost[i, i], -_MOST_STEPS, _MOST_STEPS))
        if np.array_equal(before, whole):
            break
    slight = np.abs(whole[:, None] * step).max(axis=1) < _SLIGHT
    return exact, np.where(slight, 0, whole).astype(np.int_)
