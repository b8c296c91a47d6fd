"""How well responses of controls are learnt, and how well steps are advised: invented controls with a hand, stiction,
lost motion and cross-talk.

    .venv/bin/python -m tests.trials.controls.run [--sets N] [--seed S]

Each row is a world: how exact the hand is, what sticks, how much is lost when a control is turned back, and whether
one control is turned between measurements or all of them. Exit 1 where a limit of the last column is missed.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from analysis.controls.advice import Error, solve_steps
from analysis.controls.response import Moved, Pair, fit_responses

Floats = NDArray[np.float64]
QUANTITIES = ("centre", "size", "pincushion", "keystone", "bow", "linearity")


@dataclass(frozen=True, kw_only=True)
class World:
    """What a bench's hand and a set's controls do."""

    name: str
    hand: float = 0.0
    """Standard deviation of a turn, as a share of its steps."""
    sticks: float = 0.3
    """Steps: standard deviation of where a control comes to rest."""
    lost: float = 0.0
    """Steps that are lost when a control is turned the other way than last."""
    together: bool = False
    """Whether all controls are turned between two measurements."""
    noise: float = 0.05
    """Of a measurement, in tolerances."""


WORLDS = (
    World(name="one at a time, sticks"),
    World(name="one at a time, sticks hard", sticks=0.8),
    World(name="one at a time, exact turns", sticks=0.0),
    World(name="one at a time, loses 1 step", lost=1.0),
    World(name="one at a time, hand 15 %", hand=0.15),
    World(name="all together, sticks", together=True),
    World(name="all together, hand 15 %", hand=0.15, together=True),
    World(name="all together, lost 1, hand 15 %", hand=0.15, lost=1.0, together=True),
)


@dataclass
class Set:
    """An invented set: its controls move its errors."""

    world: World
    chance: np.random.Generator
    step: Floats = field(init=False)
    errors: Floats = field(init=False)
    last: Floats = field(init=False)

    def __post_init__(self) -> None:
        many = len(QUANTITIES)
        own = self.chance.uniform(0.15, 0.6, many) * self.chance.choice([-1, 1], many)
        # Cross-talk of 10 % of a control's own response, with either sign.
        cross = 0.1 * np.abs(own)[:, None] * self.chance.choice([-1, 1], (many, many))
        self.step = np.where(np.eye(many, dtype=bool), own[:, None], cross)
        self.errors = self.chance.uniform(-6, 6, many)
        self.last = np.zeros(many)

    def turn(self, counted: Floats) -> None:
        """Turn controls by about so many steps."""
        done = counted * (1 + self.world.hand * self.chance.standard_normal(len(counted)))
        turned = counted != 0
        done = np.where(turned, done + self.world.sticks * self.chance.standard_normal(len(counted)), 0.0)
        back = turned & (self.last != 0) & (np.sign(counted) != self.last)
        done -= np.where(back, np.sign(counted) * np.minimum(self.world.lost, np.abs(done)), 0.0)
        self.last = np.where(turned, np.sign(counted), self.last)
        self.errors = self.errors + done @ self.step

    def measured(self) -> Floats:
        return self.errors + self.world.noise * self.chance.standard_normal(len(self.errors))


NAMES = tuple(f"control {i}" for i in range(len(QUANTITIES)))
LINKS = dict(zip(NAMES, QUANTITIES, strict=True))
TOLERANCES = dict.fromkeys(QUANTITIES, 1.0)


def pair_of(world: World, turned: Floats, before: Floats, after: Floats) -> Pair:
    spread = float(np.sqrt(2) * world.noise)
    moved = {name: Moved(float(b - a), spread) for name, a, b in zip(QUANTITIES, before, after, strict=True)}
    return Pair(turned={name: float(n) for name, n in zip(NAMES, turned, strict=True) if n}, moved=moved)


def learnt(world: World, chance: np.random.Generator) -> tuple[list[float], list[float], list[float]]:
    """Three pairs of each control: relative errors of its own response, and all errors in uncertainties."""
    one = Set(world, chance)
    pairs: list[Pair] = []
    before = one.measured()
    for _ in range(3):
        for i in range(1 if world.together else len(NAMES)):
            turned = chance.integers(4, 13, len(NAMES)) * chance.choice([-1.0, 1.0], len(NAMES))
            if not world.together:
                turned = np.where(np.arange(len(NAMES)) == i, turned, 0.0)
            one.turn(turned)
            after = one.measured()
            pairs.append(pair_of(world, turned, before, after))
            before = after
    fit = fit_responses(pairs, LINKS, TOLERANCES)
    assert fit is not None
    order = [fit.controls.index(name) for name in NAMES], [fit.quantities.index(name) for name in QUANTITIES]
    step, spread = fit.step[np.ix_(*order)], fit.uncertainty[np.ix_(*order)]
    away = (step - one.step) / spread
    main = np.eye(len(NAMES), dtype=bool)
    relative = np.abs(np.diag(step) / np.diag(one.step) - 1)
    return relative.tolist(), away[main].tolist(), away[~main].tolist()


def rounds_needed(world: World, chance: np.random.Generator, pairs: list[Pair], one: Set) -> int:
    """Rounds of advice until all errors are within their tolerances; 9 where they never are."""
    before = one.measured()
    for count in range(9):
        if np.abs(one.errors).max() <= 1.0:
            return count
        fit = fit_responses(pairs, LINKS, TOLERANCES) if pairs else None
        errors = {
            name: Error(value=float(value), uncertainty=world.noise, tolerance=0.6)
            for name, value in zip(QUANTITIES, before, strict=True)
        }
        advised = None if fit is None else solve_steps(fit, errors)
        # As the page asks: of what is not known yet, a few steps to learn it.
        unknown = (
            NAMES
            if fit is None or advised is None
            else {*advised.unknown, *NAMES} - {*fit.controls} | {*advised.unknown}
        )
        steps = dict.fromkeys(unknown, 5)
        steps |= {} if advised is None else {turn.control: turn.steps for turn in advised.turns}
        turned = np.array([float(steps.get(name, 0)) for name in NAMES])
        one.turn(turned)
        after = one.measured()
        if turned.any():
            pairs.append(pair_of(world, turned, before, after))
        before = after
    return 9


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--sets", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    print(f"{asked.sets} sets a world, seed {asked.seed}; three pairs of each control, 4 to 12 steps")
    print(
        f"{'world':34} {'within 10 %':>11} {'own, 2 u':>9} {'cross, 2 u':>10}"
        f" {'rounds':>7} {'4 at most':>9} {'again, 2':>8}"
    )
    for world in WORLDS:
        chance = np.random.default_rng(asked.seed)
        relative: list[float] = []
        own: list[float] = []
        cross: list[float] = []
        rounds, again = [], []
        for _ in range(asked.sets):
            for held, more in zip((relative, own, cross), learnt(world, chance), strict=True):
                held += more
            pairs: list[Pair] = []
            one = Set(world, chance)
            rounds.append(rounds_needed(world, chance, pairs, one))
            one.errors = chance.uniform(-6, 6, len(QUANTITIES))
            again.append(rounds_needed(world, chance, pairs, one))
        print(
            f"{world.name:34} {100 * np.mean(np.array(relative) < 0.1):10.0f}%"
            f" {100 * np.mean(np.abs(own) < 2):8.1f}% {100 * np.mean(np.abs(cross) < 2):9.1f}%"
            f" {np.mean(rounds):7.1f} {100 * np.mean(np.array(rounds) <= 4):8.0f}%"
            f" {100 * np.mean(np.array(again) <= 2):7.0f}%",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
