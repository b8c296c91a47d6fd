"""What each control of one set moves by a step, from measurements before and after turns: weighted least squares.

Every pair of measurements says what several quantities changed by, and which controls were turned between the two.
The change is the sum of what the controls do, so all responses are fitted together, over all pairs.

Two things make this more than a straight line. A turn is not exactly the steps that were counted: the hand is not
exact, and a control sticks or has lost motion. How large that is differs from set to set; the scatter between pairs
says it, and it is averaged over what is likely. That one turn is wrong by the same share for all quantities is left
out of the fit, which so stays one of each quantity by itself; it is part of what is expected of further turns.

And when several controls are turned between two measurements, these alone cannot show which did what: a control that
is linked to a quantity is taken to move others by a small share of that, unless the pairs show more. Of a control
without a link nothing is taken for granted.

Gaussian throughout, the sizes of the scatter on a grid (a Bayesian linear model; textbook method, no document). Where
nothing is taken as known it is weighted least squares, which the tests compare it with.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Moved", "Pair", "Responses", "Turning", "fit_responses"]

Floats = NDArray[np.float64]

MOST_PAIRS = 80
"""The newest that are fitted: a control that was mended is another control."""
_WIDE = 1e3
"""What a step may move at most, as a standard deviation in tolerances, where nothing is known."""
_UNSEEN = 1e6
"""Uncertainty, in tolerances, of what a pair does not say."""
_LEAST = 1e-4
"""Uncertainty in tolerances that everything has at least; so that no pair is exact."""
_ROUNDS = 6
_SHARES = (0.03, 0.1, 0.25)
"""Of what a control does to its own quantity: what it does to others, as a standard deviation. A tenth is common
practice, no source; the pairs decide between them."""
_SCATTERS = (0.15, 0.3, 0.55, 1.0, 1.8, 3.2)
"""How many times the usual uncertainty a turn has."""
_SCATTER_SPREAD = 0.6
_WIDER = 1.1
"""What uncertainties are widened by for what the fit takes as known, such as Gaussian turns; by the trial of
`tests/trials/controls`, so that two of them hold in 93 to 99 of 100 cases whatever the hand and the controls do."""
"""Of the logarithm of that, before anything is seen."""


@dataclass(frozen=True, slots=True)
class Moved:
    """What a quantity changed by between two measurements."""

    change: float
    """In the quantity's unit."""
    uncertainty: float
    """Standard, of the change alone: what both measurements share is not in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """Two measurements and what was turned between them."""

    turned: Mapping[str, float]
    """Steps by the control's name, as they were counted; negative the other way."""
    moved: Mapping[str, Moved]
    """By the quantity's name."""
    likeness: float = 1.0
    """1 where it was measured as now is; below, as for another scan format, it counts for less."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turning:
    """How far a turn is from the steps that were counted, as standard deviations."""

    steps: float = 0.45
    """Of every turn: what sticks."""
    share: float = 0.13
    """Of the turn's steps: the hand."""
    lost: float = 0.6
    """Steps that are lost when a control is turned the other way than the last time."""

    def variance(self, steps: Floats, is_back: NDArray[np.bool_] | bool = False) -> Floats:
        """In steps squared; nothing where nothing was turned."""
        size = self.steps**2 + (self.share * steps) ** 2 + np.where(is_back, self.lost**2, 0.0)
        return np.asarray(np.where(np.abs(steps) > 0, size, 0.0))

    def times(self, factor: float) -> Turning:
        """All of it so many times as large."""
        return Turning(steps=factor * self.steps, share=factor * self.share, lost=factor * self.lost)


@dataclass(frozen=True, eq=False, kw_only=True)
class Responses:
    """What a step of each control moves."""

    controls: tuple[str, ...]
    quantities: tuple[str, ...]
    step: Floats
    """(controls, quantities): change a step, in the quantity's unit."""
    covariance: Floats
    """(quantities, controls, controls) of `step`, for each quantity by itself."""
    turning: Turning
    """As this set's pairs show it."""
    pairs: Mapping[str, int]
    """In how many pairs each control was turned."""

    @property
    def uncertainty(self) -> Floats:
        """(controls, quantities): standard uncertainties of `step`."""
        return np.asarray(np.sqrt(np.diagonal(self.covariance, axis1=1, axis2=2)).T)

    def of(self, control: str, quantity: str) -> tuple[float, float]:
        """What a step of a control moves a quantity by, and its standard uncertainty.

        Raises:
            ValueError: one of them is not among those that were fitted.
        """
        i, j = self.controls.index(control), self.quantities.index(quantity)
        return float(self.step[i, j]), float(self.uncertainty[i, j])

    def expected(self, turned: Mapping[str, float]) -> tuple[Floats, Floats]:
        """(quantities,) change that turns make, and (quantities, quantities) its covariance, turns not being exact."""
        steps = np.array([turned.get(name, 0.0) for name in self.controls])
        spread = np.diag(np.einsum("c,qcd,d->q", steps, self.covariance, steps))
        spread += np.einsum("c,cq,cr->qr", self.turning.variance(steps), self.step, self.step)
        return steps @ self.step, spread


@dataclass(frozen=True, eq=False)
class _Data:
    """All pairs as arrays, in tolerances."""

    steps: Floats
    """(pairs, controls)."""
    change: Floats
    """(pairs, quantities)."""
    uncertainty: Floats
    """(pairs, quantities)."""
    unlike: Floats
    """(pairs,): by how much turns are less certain."""
    is_back: NDArray[np.bool_]
    """(pairs, controls): whether a control was turned the other way than the last time."""
    own: NDArray[np.bool_]
    """(controls, quantities): what nothing is taken for granted of."""


def fit_responses(
    pairs: Sequence[Pair],
    links: Mapping[str, str],
    tolerances: Mapping[str, float],
    turning: Turning | None = None,
) -> Responses | None:
    """What each control that was turned does to each quantity, over all pairs; None where nothing was turned.

    Args:
        pairs: in order of time; the newest 80 count.
        links: the quantity that a control is for; a control that is not in it may move anything.
        tolerances: of each quantity, in its unit: the size of error that matters as much as those of the others.
            Quantities are compared by it, and those that have none are left out.
        turning: how exact turns are; None where the pairs have to show it.

    Raises:
        ValueError: a tolerance is not above 0.
    """
    if any(not size > 0 for size in tolerances.values()):
        raise ValueError("tolerances are above 0")
    kept = [pair for pair in pairs[-MOST_PAIRS:] if any(pair.turned.values())]
    controls = tuple(dict.fromkeys(name for pair in kept for name, steps in pair.turned.items() if steps))
    quantities = tuple(name for name in tolerances if any(name in pair.moved for pair in kept))
    if not controls or not quantities:
        return None
    sizes = np.array([tolerances[name] for name in quantities])
    data = _data(kept, controls, quantities, sizes, links)
    usual = Turning() if turning is None else turning
    fits = [
        _fitted(data, usual, scatter, share)
        for scatter in (_SCATTERS if turning is None else (1.0,))
        for share in _SHARES
    ]
    weights = np.array([fit.evidence - 0.5 * (np.log(fit.scatter) / _SCATTER_SPREAD) ** 2 for fit in fits])
    weights = np.exp(weights - weights.max())
    weights /= weights.sum()
    mean = np.einsum("f,fqc->qc", weights, [fit.mean for fit in fits])
    away = np.array([fit.mean for fit in fits]) - mean
    spread = np.einsum("f,fqcd->qcd", weights, [fit.covariance for fit in fits])
    spread += np.einsum("f,fqc,fqd->qcd", weights, away, away)
    scatter = float(np.sqrt(weights @ [fit.scatter**2 for fit in fits]))
    wider = _WIDER if turning is None else 1.0
    return Responses(
        controls=controls,
        quantities=quantities,
        step=(mean * sizes[:, None]).T,
        covariance=wider**2 * spread * (sizes**2)[:, None, None],
        turning=usual.times(scatter),
        pairs={name: sum(bool(pair.turned.get(name)) for pair in kept) for name in controls},
    )


def _data(
    pairs: Sequence[Pair],
    controls: Sequence[str],
    quantities: Sequence[str],
    sizes: Floats,
    links: Mapping[str, str],
) -> _Data:
    missing = Moved(0.0, np.inf)
    moved = [[pair.moved.get(name, missing) for name in quantities] for pair in pairs]
    change = np.array([[one.change for one in row] for row in moved]) / sizes
    uncertainty = np.array([[one.uncertainty for one in row] for row in moved]) / sizes
    seen = np.isfinite(uncertainty) & np.isfinite(change)
    linked = [links.get(name, "") for name in controls]
    steps = np.array([[float(pair.turned.get(name, 0.0)) for name in controls] for pair in pairs])
    return _Data(
        steps=steps,
        is_back=_is_back(steps),
        change=np.where(seen, change, 0.0),
        uncertainty=np.where(seen, np.hypot(np.where(seen, uncertainty, 0.0), _LEAST), _UNSEEN),
        unlike=np.array([1 / pair.likeness**2 for pair in pairs]),
        own=np.array([[link == name or link not in quantities for name in quantities] for link in linked]),
    )


def _is_back(steps: Floats) -> NDArray[np.bool_]:
    back = np.zeros(steps.shape, np.bool_)
    last = np.zeros(steps.shape[1])
    for row, turned in zip(back, steps, strict=True):
        row[:] = turned * last < 0
        last = np.where(turned != 0, turned, last)
    return back


@dataclass(frozen=True, eq=False, kw_only=True)
class _Fit:
    """For one size of scatter and one share."""

    mean: Floats
    """(quantities, controls)."""
    covariance: Floats
    """(quantities, controls, controls)."""
    evidence: float
    """Logarithm of how likely the pairs are with it."""
    scatter: float


def _fitted(data: _Data, usual: Turning, scatter: float, share: float) -> _Fit:
    """The posterior; what a step moves is in its own noise and in what is likely of others, so it is found in turns."""
    variance = scatter**2 * usual.variance(data.steps, data.is_back) * data.unlike[:, None]
    # At first every change may be as wrong as it is large.
    step, prior = np.zeros(data.own.shape), np.where(data.own, _WIDE**2, (share * _WIDE) ** 2)
    noise = data.uncertainty**2 + (0.5 * data.change) ** 2
    for _ in range(_ROUNDS):
        mean, covariance, evidence = _posterior(data, noise, prior)
        step = mean.T
        most = np.max(np.abs(np.where(data.own, step, 0.0)), axis=1, keepdims=True)
        prior = np.where(data.own, _WIDE**2, (share * most) ** 2 + _LEAST**2)
        noise = data.uncertainty**2 + variance @ step**2
    return _Fit(mean=mean, covariance=covariance, evidence=evidence, scatter=scatter)


def _posterior(data: _Data, noise: Floats, prior: Floats) -> tuple[Floats, Floats, float]:
    """Mean, covariance and evidence of a linear model of each quantity, by its normal equations."""
    precision = np.einsum("pc,pd,pq->qcd", data.steps, data.steps, 1 / noise)
    controls = np.arange(data.steps.shape[1])
    precision[:, controls, controls] += 1 / prior.T
    right = np.einsum("pc,pq->qc", data.steps, data.change / noise)
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    mean = np.einsum("qcd,qd->qc", covariance, right)
    evidence = -0.5 * float(np.sum(np.log(prior)) + np.sum(np.log(noise)) + np.sum(data.change**2 / noise))
    evidence += 0.5 * float(np.sum(right * mean) - np.sum(np.linalg.slogdet(precision)[1]))
    return mean, covariance, evidence
