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

from analysis.frame.faults.chain import AS_DRAWN, STEPS, from_codes, to_codes
from analysis.frame.faults.step import Floats, Step
from patterns.signal import Range, Signal

__all__ = ["LEAST_CONFIDENCE", "Diagnosis", "Evidence", "diagnose_levels"]

_FLOOR_CODES = 0.55
"""What a code of 8 bits may be off without fault: by rounding at the source, in the chain and in the capture."""
_PRICE = 7.0
"""Price of a fault beside those of its parameters: the odds against any one fault, about 1 in 30."""
_LEAST_CODES = 0.9
"""A fault that moves no patch by more codes of 8 bits than this is not told."""
_LEAST_SECOND = 1.4
"""The same of each of two: the second must not be told for the way in which a chain rounds."""
LEAST_CONFIDENCE = 0.3
"""What is less likely than this is not named."""
_UNTOLD = "not shown by greys"
"""The word for a parameter that the pattern has no colours to tell by."""
_SHARES = 33
"""Levels along a gradient's patch that are followed."""
_ADJUSTMENTS = frozenset({"gain", "offset", "gamma", "channel-gain", "chroma-gain", "hue-rotated"})
"""What nobody trims while the levels are good for service: of any size, and never exactly none in an analogue chain."""
_LEAST_GAIN = 12.0
"""What an explanation has to better the criterion by, against none."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What was measured of a frame's levels, patch by patch."""

    rgb: Floats
    """(patches, 3) what was sent, as R'G'B' fractions."""
    measured: Floats
    """(patches, 3) in codes of the signal; NaN where a patch is too fine for subsampled chroma."""
    uncertainty: Floats
    """(patches, 3) standard uncertainties from the samples, in codes."""
    signal: Signal
    comb: int = 0
    """Low bits of 8 that are the same in every sample of the frame; 0 when all are used."""
    levels: int = 0
    """Different codes in the frame."""
    slopes: Floats | None = None
    """(patches, 3) half of what R'G'B' changes by within a patch that is a piece of a gradient; None: all are flat."""
    negligible: float = 0.0
    """Codes of 8 bits: an adjustment that moves no patch by more is not named."""
    doubt: float = 1.0
    """Factor on what a code may be off: above 1 where the frame was scaled or coded with loss."""

    @property
    def is_neutral(self) -> bool:
        """Whether only greys were sent."""
        return bool(np.all(np.ptp(self.rgb, axis=1) < 1e-9))


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


@dataclass(frozen=True, slots=True)
class _Explanation:
    steps: tuple[Step, ...]
    parameters: tuple[float, ...]
    chi2: float
    criterion: float
    predicted: Floats

    @property
    def ids(self) -> frozenset[str]:
        return frozenset(step.id for step in self.steps)

    @property
    def chain(self) -> tuple[tuple[Step, tuple[float, ...]], ...]:
        """Each step with its own parameters."""
        left = iter(self.parameters)
        return tuple((step, tuple(itertools.islice(left, len(step.start)))) for step in self.steps)


class _Fitter:
    """Fits explanations to one frame's evidence."""

    def __init__(self, evidence: Evidence, before: tuple[Step, ...] = ()) -> None:
        self.evidence, self.before = evidence, before
        self.signal = evidence.signal
        self.unit = float(1 << (evidence.signal.bits - 8))
        self.used = np.isfinite(evidence.measured)
        # Patches of one colour are rounded alike: together they tell no more of that than one of them.
        _, kind, alike = np.unique(np.round(evidence.rgb, 6), axis=0, return_inverse=True, return_counts=True)
        floor = _FLOOR_CODES * self.unit * evidence.doubt * np.sqrt(alike[kind.ravel()])[:, None]
        self.sigma = np.sqrt(evidence.uncertainty**2 + floor**2)[self.used]
        self.colours = len(alike)
        self.target = evidence.measured[self.used]
        self.count = int(self.used.sum())
        self.limits = 0.0, float((1 << evidence.signal.bits) - 1)
        # A clean chain may clip at the codes that an interface keeps; a capture of it shows that.
        self.usable = tuple(float(code) for code in evidence.signal.limits)

        rgb, slopes = evidence.rgb, evidence.slopes
        sloped = slopes is not None and bool(np.any(slopes))
        # A gradient is followed level by level: what bends or cuts levels does not do it at the mean.
        self.shares = np.linspace(-1, 1, _SHARES) if sloped else np.zeros(1)
        along = self.shares[:, None, None] * (slopes if sloped and slopes is not None else np.zeros_like(rgb))
        self.sent = (rgb + along).reshape(-1, 3)
        for step in before:
            self.sent = step.apply(self.sent, (), self.signal)

    def predict(self, steps: tuple[Step, ...], parameters: tuple[float, ...]) -> Floats:
        rgb, place = self.sent, 0
        for step in steps:
            count = len(step.start)
            rgb = step.apply(rgb, parameters[place : place + count], self.signal)
            place += count
        if self.signal.range is Range.FULL:
            # Full-range Y'CbCr, as in JPEG files, is made of R'G'B' that ends at black and at white.
            rgb = np.clip(rgb, 0.0, 1.0)
        codes = to_codes(rgb, self.signal)
        clipped: Floats = np.clip(codes, *self.limits).reshape(len(self.shares), -1, 3).mean(axis=0)
        return clipped

    def residual(self, steps: tuple[Step, ...], parameters: tuple[float, ...]) -> Floats:
        predicted = self.predict(steps, parameters)[self.used]
        rest = self.target - predicted
        # At the end of the codes a level may be cut one code earlier or later.
        low, high = self.usable
        cut = ((predicted < low) & (self.target <= low)) | ((predicted > high) & (self.target >= high))
        weighted: Floats = np.where(cut, 0.0, rest) / self.sigma
        return weighted

    def fit(self, steps: tuple[Step, ...], begin: Floats | None = None) -> _Explanation:
        """The best parameters of an explanation; the walk begins at `begin` where that is known."""
        start = tuple(itertools.chain.from_iterable(step.start for step in steps))
        if not start:
            return self._explained(steps, start, self.residual(steps, start))
        best, is_stuck = self._walk(steps, self._begin(steps, start) if begin is None else begin)
        if is_stuck:
            # It began where all that a parameter moves is cut off; from no change there may be a way.
            best = min(best, self._walk(steps, np.array(start))[0], key=lambda explanation: explanation.chi2)
        return best

    def _walk(self, steps: tuple[Step, ...], values: Floats) -> tuple[_Explanation, bool]:
        """Where Levenberg and Marquardt's method leads to, and whether a parameter moves nothing there."""
        low = np.array(list(itertools.chain.from_iterable(step.lowest for step in steps)))
        high = np.array(list(itertools.chain.from_iterable(step.highest for step in steps)))
        # A percent of a fraction, a tenth of a degree.
        small = np.where(high > 10, 0.1, 1e-3)
        rest = self.residual(steps, tuple(values))
        cost, damping, is_stuck = float(rest @ rest), 1e-3, False
        for _ in range(30):
            slopes = np.stack([self._slope(steps, values, i, small[i]) for i in range(len(values))], axis=1)
            normal, right = slopes.T @ slopes, -slopes.T @ rest
            is_stuck = bool(np.any(np.diag(normal) < 1e-9))
            diagonal = np.diag(np.maximum(np.diag(normal), 1e-9))
            better = False
            for _ in range(6):
                tried = np.clip(values + np.linalg.solve(normal + damping * diagonal, right), low, high)
                new = self.residual(steps, tuple(tried))
                if float(new @ new) < cost:
                    better = True
                    break
                damping *= 8
            if not better:
                break
            gained = cost - float(new @ new)
            values, rest, cost, damping = tried, new, float(new @ new), max(damping / 10, 1e-9)
            if gained < 1e-4:
                break
        return self._explained(steps, tuple(float(value) for value in values), rest), is_stuck

    def _begin(self, steps: tuple[Step, ...], start: tuple[float, ...]) -> Floats:
        """Where a fit begins: at no change or half a usual change off it, since a clipped level has no slope there."""
        usual = np.array(list(itertools.chain.from_iterable(step.usual for step in steps)))
        tried = []
        for factors in itertools.product((0.0, 0.5, -0.5), repeat=len(start)):
            values = np.array(start) + usual * factors
            rest = self.residual(steps, tuple(values))
            tried.append((float(rest @ rest), values))
        return min(tried, key=lambda one: one[0])[1]

    def first_step(self, steps: tuple[Step, ...], values: Floats) -> tuple[float, Floats]:
        """What one step of Newton's and Gauss' method from `values` leaves, as chi squared, and where it leads."""
        rest = self.residual(steps, tuple(values))
        cost = float(rest @ rest)
        if not len(values):
            return cost, values
        low = np.array(list(itertools.chain.from_iterable(step.lowest for step in steps)))
        high = np.array(list(itertools.chain.from_iterable(step.highest for step in steps)))
        small = np.where(high > 10, 0.1, 1e-3)
        slopes = np.stack(
            [(self.residual(steps, tuple(values + move)) - rest) / move.sum() for move in np.diag(small)], axis=1
        )
        normal = slopes.T @ slopes
        normal[np.diag_indices(len(values))] += 1e-9 + 1e-6 * np.diag(normal)
        moved = np.clip(values - np.linalg.solve(normal, slopes.T @ rest), low, high)
        rest = self.residual(steps, tuple(moved))
        after = float(rest @ rest)
        return (after, moved) if after < cost else (cost, values)

    def _slope(self, steps: tuple[Step, ...], values: Floats, index: int, small: float) -> Floats:
        move = small * (np.arange(len(values)) == index)
        slope: Floats = (self.residual(steps, tuple(values + move)) - self.residual(steps, tuple(values - move))) / (
            2 * small
        )
        return slope

    def uncertainties(self, steps: tuple[Step, ...], values: tuple[float, ...]) -> tuple[float, ...]:
        """Standard uncertainties of fitted parameters: infinite where the levels do not tell one."""
        if not values:
            return ()
        slopes = np.stack([self._slope(steps, np.array(values), i, 1e-3) for i in range(len(values))], axis=1)
        covariance = np.linalg.pinv(slopes.T @ slopes)
        told = np.any(slopes != 0, axis=0)
        return tuple(float(value) for value in np.where(told, np.sqrt(np.diag(covariance)), np.inf))

    def price(self, steps: tuple[Step, ...], parameters: Iterable[float]) -> float:
        """What an explanation costs, whatever it leaves."""
        price = sum(_PRICE + math.log(_WAYS[step.id]) + step.rare for step in steps)
        starts = list(itertools.chain.from_iterable(zip(step.start, step.usual, strict=True) for step in steps))
        price += sum(((v - start) / usual) ** 2 for v, (start, usual) in zip(parameters, starts, strict=True))
        return price + len(starts) * math.log(max(self.count, 2))

    def other_kind(self) -> float:
        """The criterion of an error of another kind: it leaves what noise leaves, and each value has its own price."""
        return self.count * (1 + math.log(max(self.count, 2)) * self.colours / len(self.evidence.rgb)) + 2 * _PRICE

    def _explained(self, steps: tuple[Step, ...], parameters: tuple[float, ...], rest: Floats) -> _Explanation:
        chi2 = float(rest @ rest)
        criterion = chi2 + self.price(steps, parameters)
        told = self.evidence.comb - max((step.drops for step in steps), default=0)
        if told > 0:
            # By chance each of the codes would have to end in the same bits.
            criterion += 2 * math.log(2) * told * min(self.evidence.levels, 60)
        return _Explanation(steps, parameters, chi2, criterion, self.predict(steps, parameters))


_WAYS = {step.id: sum(other.id == step.id for other in STEPS) for step in STEPS}


def diagnose_levels(evidence: Evidence) -> Diagnosis:
    """The simplest explanation of the measured levels; without faults where they are as sent."""
    told = [_diagnosed(_Fitter(evidence, before)) for before in _sent_ways(evidence)]
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


def _diagnosed(fitter: _Fitter) -> tuple[float, Diagnosis]:
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
    spare = best.criterion - 2 * _PRICE
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
    fitter: _Fitter, steps: tuple[Step, ...], singles: list[_Explanation]
) -> list[tuple[tuple[Step, ...], Floats]]:
    """The pairs that may account for what is measured, and where to begin fitting them.

    One of the two has to account for a part of it alone; where it leads to is where the pair begins. All pairs in full
    would take many seconds.
    """
    best: list[_Explanation] = []
    for one in sorted(singles, key=lambda explanation: explanation.criterion):
        if sum(one.ids == other.ids for other in best) < 2:
            best.append(one)
    known = {id(one.steps[0]): np.array(one.parameters) for one in best[:_FIRSTS]}
    found: list[tuple[float, tuple[Step, ...], Floats]] = []
    for pair in _pairs(steps):
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
    fitter: _Fitter, best: _Explanation, tried: list[_Explanation], weights: list[float]
) -> list[LevelFault]:
    """Other single faults that account for the levels nearly as well, each with its own share of the confidence."""
    if len(best.steps) != 1:
        return []
    found: dict[str, tuple[float, _Explanation]] = {}
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
