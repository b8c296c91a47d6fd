"""SIMULATION: what a bench does to a grey scale besides cut-offs and drives that are off; sizes are our own choice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tests.trials.meters.cases import draw_tube
from tests.trials.meters.meter import PATTERNS, ColourMeter, Shown
from tests.trials.meters.tube import Tube

__all__ = ["NUISANCES", "Bench", "draw_bench", "draw_nuisance"]

NUISANCES = (
    "gun-clipped",
    "gun-compressing",
    "beam-current-limited",
    "room-light",
    "black-crushed",
    "warm-up-drift",
    "unit",
    "code-range levels",
    "code-range lifted",
    "code-range crushed",
)
"""By the `id` that the answer should name, and the way."""
_FOOT, _SPAN = 16 / 255, 219 / 255
_FL = 3.426
_STEPS = (0.01, 0.001, 0.0)
"""cd/m2 of the last digit; 0: four figures."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Bench:
    """A tube, the meter on it, and how the scale is read."""

    tube: Tube
    meter: ColourMeter
    pattern: str
    digits: tuple[int | None, int]
    """Of the file, after the point: of luminance, of x and y."""
    levels: tuple[float, ...] = tuple(range(0, 101, 5))

    def read(self) -> list[Shown]:
        """The scale with the primaries."""
        return self.meter.patterned(self.tube, self.pattern, self.levels)


def draw_bench(seed: int) -> Bench:
    """A healthy tube out of adjustment, a meter of some resolution and dark noise, and one of ten patterns."""
    chance = np.random.default_rng([21, seed])
    step = _STEPS[int(chance.integers(3))]
    decimals = 3 + int(chance.integers(2))
    meter = ColourMeter(
        chance=chance,
        dark=float(chance.choice([0.0, 0.0005, 0.001, 0.002])),
        resolution=step,
        decimals=decimals,
    )
    places = {0.01: 2, 0.001: 3, 0.0: None}[step]
    return Bench(tube=draw_tube(seed), meter=meter, pattern=PATTERNS[seed % len(PATTERNS)], digits=(places, decimals))


def draw_nuisance(kind: str, seed: int) -> Bench:
    """The same with one nuisance, of a size that matters; the scale is read as the pattern says."""
    bench = draw_bench(seed)
    tube, meter, chance = bench.tube, bench.meter, np.random.default_rng([22, seed])
    if kind in ("gun-clipped", "gun-compressing"):
        gun, at = int(chance.integers(3)), float(chance.uniform(0.6, 0.88))
        knee = [9.0, 9.0, 9.0]
        knee[gun] = at
        rise = 0.0 if kind == "gun-clipped" else float(chance.uniform(0.3, 0.55))
        return replace(bench, tube=replace(tube, knee=(knee[0], knee[1], knee[2]), rise=rise))
    if kind == "beam-current-limited":
        white = float(tube.guns(1.0).sum())
        limit, rest = float(chance.uniform(0.4, 0.75)) * white, float(chance.uniform(0, 0.4))
        return replace(bench, tube=replace(tube, limit=limit, rest=rest))
    if kind == "room-light":
        lamp = np.array([(0.4476, 0.4074), (0.3805, 0.3769), (0.3127, 0.3290)][int(chance.integers(3))])
        xyz = np.array([lamp[0] / lamp[1], 1.0, (1 - lamp.sum()) / lamp[1]])
        return replace(bench, tube=replace(tube, room=float(chance.uniform(0.1, 1.0)) * xyz))
    if kind == "black-crushed":
        crushed = tube.cutoff.copy()
        crushed[int(chance.integers(3))] = -float(chance.uniform(0.03, 0.08))
        return replace(bench, tube=replace(tube, cutoff=crushed))
    if kind == "warm-up-drift":
        drift = float(chance.choice([-1, 1]) * chance.uniform(0.06, 0.15))
        pattern = ("three times", "five times", "twice", "up and down")[seed % 4]
        return replace(bench, meter=replace(meter, drift=drift), pattern=pattern)
    if kind == "unit":
        return replace(bench, meter=replace(meter, unit=_FL))
    return _other_range(kind, bench)


def _other_range(kind: str, bench: Bench) -> Bench:
    even = float(bench.tube.cutoff.mean())
    # As a set that was right before: guns alike in the dark.
    tube = replace(bench.tube, cutoff=0.2 * (bench.tube.cutoff - even))
    if kind == "code-range levels":
        levels = tuple(100 * (16 + 219 * v / 100) / 255 for v in bench.levels)
        return replace(bench, tube=replace(tube, source=(1 / _SPAN, -_FOOT / _SPAN)), levels=levels)
    if kind == "code-range lifted":
        return replace(bench, tube=replace(tube, source=(_SPAN, _FOOT)))
    return replace(bench, tube=replace(tube, source=(1 / _SPAN, -_FOOT / _SPAN)))


def with_slip(rows: Sequence[Shown], at: int, times: float) -> list[Shown]:
    """The same with one reading's light off by a factor, as a slip of the pen."""
    return [replace(row, luminance=row.luminance * times) if i == at else row for i, row in enumerate(rows)]
