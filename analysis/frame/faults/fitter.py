"""Fits explanations, which are one step of a chain or a few, to the levels that were measured of a frame.

An explanation is judged by Schwarz' information criterion: what it leaves, in units of the uncertainties, and a price
for every parameter and every fault.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from analysis.frame.faults.chain import STEPS
from analysis.frame.faults.codes import to_codes
from analysis.frame.faults.step import Floats, Step
from patterns.signal import Range, Signal

__all__ = ["PRICE", "Evidence", "Explanation", "Fitter"]

_FLOOR_CODES = 0.55
"""What a code of 8 bits may be off without fault: by rounding at the source, in the chain and in the capture."""
PRICE = 7.0
"""Price of a fault beside those of its parameters: the odds against any one fault, about 1 in 30."""
_SHARES = 33
"""Levels along a gradient's patch that are followed."""


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


@dataclass(frozen=True, slots=True)
class Explanation:
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


class Fitter:
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

    def fit(self, steps: tuple[Step, ...], begin: Floats | None = None) -> Explanation:
        """The best parameters of an explanation; the walk begins at `begin` where that is known."""
        start = tuple(itertools.chain.from_iterable(step.start for step in steps))
        if not start:
            return self._explained(steps, start, self.residual(steps, start))
        best, is_stuck = self._walk(steps, self._begin(steps, start) if begin is None else begin)
        if is_stuck:
            # It began where all that a parameter moves is cut off; from no change there may be a way.
            best = min(best, self._walk(steps, np.array(start))[0], key=lambda explanation: explanation.chi2)
        return best

    def _walk(self, steps: tuple[Step, ...], values: Floats) -> tuple[Explanation, bool]:
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
        price = sum(PRICE + math.log(_WAYS[step.id]) + step.rare for step in steps)
        starts = list(itertools.chain.from_iterable(zip(step.start, step.usual, strict=True) for step in steps))
        price += sum(((v - start) / usual) ** 2 for v, (start, usual) in zip(parameters, starts, strict=True))
        return price + len(starts) * math.log(max(self.count, 2))

    def other_kind(self) -> float:
        """The criterion of an error of another kind: it leaves what noise leaves, and each value has its own price."""
        return self.count * (1 + math.log(max(self.count, 2)) * self.colours / len(self.evidence.rgb)) + 2 * PRICE

    def _explained(self, steps: tuple[Step, ...], parameters: tuple[float, ...], rest: Floats) -> Explanation:
        chi2 = float(rest @ rest)
        criterion = chi2 + self.price(steps, parameters)
        told = self.evidence.comb - max((step.drops for step in steps), default=0)
        if told > 0:
            # By chance each of the codes would have to end in the same bits.
            criterion += 2 * math.log(2) * told * min(self.evidence.levels, 60)
        return Explanation(steps, parameters, chi2, criterion, self.predict(steps, parameters))


_WAYS = {step.id: sum(other.id == step.id for other in STEPS) for step in STEPS}
