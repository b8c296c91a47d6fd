"""Which faults of a chain account for the levels that were measured, and with which parameters.

Every single step of `chain.py`, and every pair of them, is fitted to all patches at once. The explanation with the
least Schwarz information criterion is taken: what a fit leaves, in units of the uncertainties, plus a price for
every parameter and every fault. So a fault is told only where it pays, and two only where one does not do. A fault's
confidence is the weight of all explanations that hold it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from analysis.frame.faults.chain import AS_DRAWN, STEPS
from analysis.frame.faults.codes import from_codes, to_codes
from analysis.frame.faults.fitter import PRICE, Evidence, Explanation, Fitter
from analysis.frame.faults.step import Floats, Step
from patterns.signal import Range, Signal

__all__ = ["LEAST_CONFIDENCE", "Diagnosis", "Evidence", "diagnose_levels"]

_LEAST_CODES = 0.9
"""A fault that moves no patch by more codes of 8 bits than this is not told."""
_LEAST_SECOND = 1.4
"""The same of each of two: the second must not be told for the way in which a chain rounds."""
LEAST_CONFIDENCE = 0.3
"""What is less likely than this is not named."""
_UNTOLD = "not shown by greys"
"""The word for a parameter that the pattern has no colours to tell by."""
_ADJUSTMENTS = frozenset({"gain", "offset", "gamma", "channel-gain", "chroma-gain", "hue-rotated"})
"""What nobody trims while the levels are good for service: of any size, and never exactly none in an analogue chain."""
_LEAST_GAIN = 12.0
"""What an explanation has to better the criterion by, against none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LevelFault:
    """One fault of the explanation that was taken."""

    id: str
    confidence: float
    parameters: dict[str, float | str] = field(default_factory=dict)
    effect_codes: float
    """What it changes in the patch that it changes most, in codes of 8 bits."""
    weight: float
    """What the rest of the explanation leaves without it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """The explanation that was taken; no faults where none pays."""

    faults: tuple[LevelFault, ...]
    left: float
    """Root mean square of what is left, in units of the uncertainties; about 1 where all is accounted for."""
    other: float = 0.0
    """Weight, 0 to 1, of an error of another kind, which accounts for anything at the price of every patch."""
    steps: tuple[tuple[Step, tuple[float, ...]], ...] = ()
    """The explanation itself, in the order of the chain."""

    def apply(self, rgb: Floats, signal: Signal) -> Floats:
        """What the chain makes of R'G'B' fractions, (samples, 3)."""
        for step, parameters in self.steps:
            rgb = step.apply(rgb, parameters, signal)
        if signal.range is Range.FULL:
            rgb = np.clip(rgb, 0.0, 1.0)
        # The captured signal's codes end somewhere, which cuts edges too.
        cut: Floats = from_codes(np.clip(to_codes(rgb, signal), 0.0, (1 << signal.bits) - 1.0), signal)
        return cut


def diagnose_levels(evidence: Evidence) -> Diagnosis:
    """The simplest explanation of the measured levels; without faults where they are as sent."""
    told = [_diagnosed(Fitter(evidence, before)) for before in _sent_ways(evidence)]
    return min(told, key=lambda pair: pair[0])[1]


def _told(step: Step, values: tuple[float, ...], uncertainties: tuple[float, ...]) -> dict[str, float | str]:
    """The parameters as a user reads them, each figure with its standard uncertainty."""
    told = step.tell(values)
    if not all(math.isfinite(uncertainty) for uncertainty in uncertainties):
        return told
    moved = step.tell(tuple(value + u for value, u in zip(values, uncertainties, strict=True)))
    figures = {name: value for name, value in told.items() if uncertainties and isinstance(value, float)}
    return told | {f"{name}_uncertainty": abs(float(moved[name]) - value) for name, value in figures.items()}


def _sent_ways(evidence: Evidence) -> list[tuple[Step, ...]]:
    """What may have been done when the pattern was drawn: colours beyond what R'G'B' codes hold were cut there."""
    signal = evidence.signal
    if not signal.sampling.is_rgb:
        return [()]
    low, high = signal.limits
    codes = to_codes(evidence.rgb, signal)
    beyond = bool(np.any((codes < low - 0.5) | (codes > high + 0.5)))
    return [(AS_DRAWN,), ()] if beyond else [()]


def _diagnosed(fitter: Fitter) -> tuple[float, Diagnosis]:
    """The best explanation and its criterion."""
    evidence = fitter.evidence
    if not fitter.count:
        return 0.0, Diagnosis(faults=(), left=0.0)
    clean = fitter.fit(())
    steps = _worth_trying(evidence)
    if fitter.colours < 3 and not evidence.comb:
        # Two levels fit any bend and any rounding.
        steps = tuple(step for step in steps if step.id not in ("gamma", "bits-lost"))
    singles = [fitter.fit((step,)) for step in steps]
    tried = [clean, *singles]
    best = min(tried, key=lambda explanation: explanation.criterion)
    # Two faults can only pay where one leaves more than its price.
    spare = best.criterion - 2 * PRICE
    if spare > 0 and best.chi2 > fitter.count * 0.2:
        tried += [fitter.fit(pair, begin) for pair, begin in _likely_pairs(fitter, steps, singles)]
        best = min(tried, key=lambda explanation: explanation.criterion)
    left = math.sqrt(best.chi2 / fitter.count)
    if not best.steps or clean.criterion - best.criterion < _LEAST_GAIN:
        left = math.sqrt(clean.chi2 / fitter.count)
        return clean.criterion, Diagnosis(faults=(), left=left, steps=tuple((step, ()) for step in fitter.before))
    clean_steps = tuple((step, ()) for step in fitter.before)
    moved = float(np.max(np.abs((best.predicted - clean.predicted)[fitter.used]))) / fitter.unit
    if best.ids <= _ADJUSTMENTS and moved < evidence.negligible:
        chain = (*((step, ()) for step in fitter.before), *best.chain)
        return best.criterion, Diagnosis(faults=(), left=left, steps=chain)
    *weights, other = _weights([explanation.criterion for explanation in tried] + [fitter.other_kind()])
    if other > 0.5:
        # What is left is more than any of these does.
        return best.criterion, Diagnosis(faults=(), left=left, steps=clean_steps, other=other)
    faults = []
    uncertainties = iter(fitter.uncertainties(best.steps, best.parameters))
    for step, parameters in best.chain:
        own_uncertainties = tuple(itertools.islice(uncertainties, len(parameters)))
        others = [(other, own) for other, own in best.chain if other is not step]
        kept = tuple(itertools.chain.from_iterable(own for _, own in others))
        without = fitter.predict(tuple(other for other, _ in others), kept)
        effect = float(np.max(np.abs((best.predicted - without)[fitter.used]))) / fitter.unit
        least = _LEAST_CODES if len(best.steps) == 1 else _LEAST_SECOND
        if effect < least * evidence.doubt and not (step.id == "bits-lost" and evidence.comb):
            continue
        faults.append(
            LevelFault(
                id=step.id,
                confidence=sum(w for w, e in zip(weights, tried, strict=True) if step.id in e.ids),
                parameters=_told(step, parameters, own_uncertainties)
                | dict.fromkeys(step.untold_by_greys if evidence.is_neutral else (), _UNTOLD),
                effect_codes=effect,
                weight=float(np.sum(((fitter.target - without[fitter.used]) / fitter.sigma) ** 2)),
            )
        )
    faults.sort(key=lambda fault: -fault.weight)
    if faults:
        faults += _alternatives(fitter, best, tried, weights)
    chain = (*((step, ()) for step in fitter.before), *best.chain)
    return best.criterion, Diagnosis(faults=tuple(faults), left=left, steps=chain, other=other)


def _worth_trying(evidence: Evidence) -> tuple[Step, ...]:
    if not evidence.is_neutral:
        return STEPS
    # Greys tell nothing of what turns or swaps colours, but a channel's gain gives them a tint.
    grey_signal = not evidence.signal.sampling.is_rgb and bool(np.all(~np.isfinite(evidence.measured[:, 1:])))
    steps = (step for step in STEPS if not (step.colour_only or step.like_on_greys))
    return tuple(step for step in steps if not (grey_signal and step.id == "channel-gain"))


def _pairs(steps: Iterable[Step]) -> Iterable[tuple[Step, Step]]:
    for first, second in itertools.combinations(steps, 2):
        if first.id == second.id:
            continue
        yield first, second
        if _order_matters(first, second):
            yield second, first


_FIRSTS, _SECONDS = 8, 40
"""Single steps that a pair is built on, and pairs that are fitted in full; one step of a fit chooses them."""


def _likely_pairs(
    fitter: Fitter, steps: tuple[Step, ...], singles: list[Explanation]
) -> list[tuple[tuple[Step, ...], Floats]]:
    """The pairs that may account for what is measured, and where to begin fitting them.

    One of the two has to account for a part of it alone; where it leads to is where the pair begins. All pairs in full
    would take many seconds.
    """
    best: list[Explanation] = []
    for one in sorted(singles, key=lambda explanation: explanation.criterion):
        if sum(one.ids == other.ids for other in best) < 2:
            best.append(one)
    known = {id(one.steps[0]): np.array(one.parameters) for one in best[:_FIRSTS]}
    found: list[tuple[float, tuple[Step, ...], Floats]] = []
    for pair in _pairs(steps):
        if not any(step.start for step in pair):
            # Nothing is to be fitted, so it is looked at whatever each does alone: both may undo half of the other.
            rest = fitter.residual(pair, ())
            found.append((float(rest @ rest) + fitter.price(pair, ()), pair, np.zeros(0)))
            continue
        for i, step in enumerate(pair):
            if id(step) not in known:
                continue
            other = pair[1 - i]
            ways = [np.array(other.start) + np.array(other.usual) * factor for factor in (0.0, 0.5, -0.5)]
            begins = [
                np.concatenate([known[id(step)], way] if i == 0 else [way, known[id(step)]])
                for way in (ways if other.start else [np.zeros(0)])
            ]
            rests = [fitter.residual(pair, tuple(begin)) for begin in begins]
            nearest = min(range(len(begins)), key=lambda k: float(rests[k] @ rests[k]))
            left, begin = fitter.first_step(pair, begins[nearest])
            found.append((left + fitter.price(pair, begin), pair, begin))
    found.sort(key=lambda one: one[0])
    return [(pair, begin) for _, pair, begin in found[:_SECONDS]]


def _order_matters(first: Step, second: Step) -> bool:
    """Whether the other order of two steps gives something that no other parameters give."""
    if "colour-managed" in (first.id, second.id):
        # It comes between decoding and the output; but a viewer may be handed a range that is not the file's.
        return bool({"range-expanded", "range-compressed"} & {first.id, second.id})
    bent = {"gamma", "footroom-clipped", "headroom-clipped", "bits-lost", "black-crushed", "white-compressed"}
    return (first.id in bent and second.id in bent) or (first.id in bent) != (second.id in bent)


def _weights(criteria: list[float]) -> list[float]:
    least = min(criteria)
    weights = [math.exp(-min(criterion - least, 200.0) / 2) for criterion in criteria]
    total = sum(weights)
    return [weight / total for weight in weights]


def _alternatives(
    fitter: Fitter, best: Explanation, tried: list[Explanation], weights: list[float]
) -> list[LevelFault]:
    """Other single faults that account for the levels nearly as well, each with its own share of the confidence."""
    if len(best.steps) != 1:
        return []
    found: dict[str, tuple[float, Explanation]] = {}
    for weight, one in zip(weights, tried, strict=True):
        if len(one.steps) == 1 and one.ids != best.ids:
            old = found.get(one.steps[0].id, (0.0, one))
            found[one.steps[0].id] = old[0] + weight, one if weight > 0.5 * old[0] else old[1]
    return [
        LevelFault(
            id=id,
            confidence=weight,
            parameters=one.steps[0].tell(one.parameters),
            effect_codes=float(np.max(np.abs(one.predicted - best.predicted)[fitter.used])) / fitter.unit,
            weight=0.0,
        )
        for id, (weight, one) in found.items()
        if weight >= LEAST_CONFIDENCE
    ]
