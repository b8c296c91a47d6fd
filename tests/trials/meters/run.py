"""SIMULATION: how well greys come right by the advice of `measure grey`, and how true the guns' reported balance is.

.venv/bin/python tests/trials/meters/run.py [--count 200] [--repeats 1,3,5] [--levels all|few] [--gamma-off 0.02]
                                          [--room 0] [--first 0] [--named]
.venv/bin/python tests/trials/meters/run.py --honest [--count 200] [--first 0]

Each tube is read by the simulated meter through a file, as a user would have it; the advice is followed exactly, read
again, followed again, and compared with the tube's own equations. The aims: Delta u'v' at most 0.003 at every level
from 5 to 100 % after two rounds, in 95 % of the tubes; guns' balance within 1 % of the truth at 10 % and above. Balance
is judged by all figures, three guns at each step, and by tubes whose every figure holds; as found and after two rounds.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

import numpy as np
from numpy.typing import NDArray

from analysis.meter.grey.measure import Grey, measure_grey
from analysis.meter.readings.read import read_readings
from analysis.meter.whites import D65, PRIMARY_SETS
from tests.trials.meters.cases import draw_tube
from tests.trials.meters.honest import claims, coverage, false_alarms, named, rounds, two_points
from tests.trials.meters.meter import FEW, LEVELS, ColourMeter, write_csv
from tests.trials.meters.tube import Tube

__all__ = ["AIM_UV", "Plan", "Result", "run_tube", "summary"]

Floats = NDArray[np.float64]

AIM_UV, AIM_GUNS, AIM_SHARE = 0.003, 1.0, 95.0
ROUNDS = 2
GUNS = ("red", "green", "blue")
JUDGED = np.arange(50, 1001) / 1000
"""Levels from 5 to 100 %, at each thousandth."""
ROOM = np.array([0.3127 / 0.3290, 1.0, 0.3583 / 0.3290])
"""XYZ of 1 cd/m2 of room light: D65."""


@dataclass(frozen=True, kw_only=True)
class Plan:
    """How a tube is read."""

    levels: Sequence[float] = LEVELS
    repeats: int = 1
    gamma_off: float = 0.02
    room: float = 0.0
    """cd/m2."""
    named: bool = False
    """Whether primaries are taken by the standard's name, not as read."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Result:
    """One tube."""

    worst: tuple[float, ...]
    """Largest Delta u'v' from 5 to 100 %, as found and after each round."""
    foretold: tuple[float, ...]
    """What the advice of each round said that it would be, and would not pass in 95 of 100 cases."""
    guns: tuple[Floats, Floats]
    """(steps, 3): `gun_percent` less the truth at 10 % and above, as found and after all rounds."""
    read: tuple[Floats, Floats]
    """The same of `gun_percent_read`."""
    doubts: tuple[Floats, Floats]
    """(steps, 3): standard uncertainties of `gun_percent`."""
    items: tuple[int, ...]
    """How many controls each round turned."""


def run_tube(seed: int, plan: Plan | None = None) -> Result:
    """Adjust one tube by the advice, twice."""
    plan = plan or Plan()
    tube = replace(draw_tube(seed, plan.gamma_off), room=plan.room * ROOM)
    meter = ColourMeter(chance=np.random.default_rng([9, seed]))
    worst, foretold, items, states = [_worst(tube)], [], [], []
    for i in range(ROUNDS + 1):
        found = _measured(tube, meter, plan, seed)
        assert found.advice is not None
        if i in (0, ROUNDS):
            states.append(_guns(tube, found))
        if i == ROUNDS:
            break
        for item in found.advice.items:
            how = {"cutoff_percent" if item.control == "cut-off" else "drive_percent": item.percent}
            tube = tube.turned(GUNS.index(item.gun), **how)
        worst.append(_worst(tube))
        foretold.append(found.advice.likely)
        items.append(len(found.advice.items))
    return Result(
        worst=tuple(worst),
        foretold=tuple(foretold),
        guns=(states[0][0], states[1][0]),
        read=(states[0][1], states[1][1]),
        doubts=(states[0][2], states[1][2]),
        items=tuple(items),
    )


def _measured(tube: Tube, meter: ColourMeter, plan: Plan, seed: int) -> Grey:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        write_csv(path, meter.scale(tube, plan.levels, plan.repeats))
        return measure_grey(read_readings(path), D65, PRIMARY_SETS[seed % 2] if plan.named else None)


def _worst(tube: Tube) -> float:
    """By CIE 1976, written out here apart from the code under test."""
    x, y, z = tube.grey(JUDGED).T
    total = x + 15 * y + 3 * z
    with np.errstate(invalid="ignore", divide="ignore"):
        off = np.hypot(4 * x / total - 0.197830, 9 * y / total - 0.468320)
    # Where no gun is lit there is no colour, which is as wrong as can be.
    return float(np.nan_to_num(off, nan=1.0).max())


def _guns(tube: Tube, found: Grey) -> tuple[Floats, Floats, Floats]:
    steps = [step for step in found.steps if step.level_percent >= 10]
    xyz = tube.grey(np.array([step.level_percent / 100 for step in steps]))
    white = ROOM * xyz[:, 1:2]
    truth = 100 * (np.linalg.solve(tube.matrix, xyz.T) / np.linalg.solve(tube.matrix, white.T) - 1).T

    def told(kind: str, *, doubt: bool = False) -> Floats:
        return np.array(
            [[(s.uncertainty if doubt else s.figures)[f"{kind}.{gun}"] for gun in GUNS] for s in steps], dtype=float
        )

    return told("gun_percent") - truth, told("gun_percent_read") - truth, told("gun_percent", doubt=True)


def summary(results: Sequence[Result], plan: Plan) -> list[str]:
    """The figures in words."""
    worst = np.array([result.worst for result in results])
    lines = [
        f"SIMULATION: {len(results)} tubes, {len(plan.levels)} greys and 3 primaries, read {plan.repeats} time(s), "
        f"guns' gammas {plan.gamma_off:g} apart (one sigma), room {plan.room:g} cd/m2"
    ]
    for i, name in enumerate(("as found", "after one round", "after two rounds")):
        share = 100 * float(np.mean(worst[:, i] <= AIM_UV))
        middle, most = np.percentile(worst[:, i], [50, 95])
        lines.append(
            f"{name:17s} Delta u'v' from 5 to 100 % at most {AIM_UV:g} in {share:5.1f} % of tubes; "
            f"median {middle:.4f}, 95 in 100 within {most:.4f}, worst {worst[:, i].max():.4f}"
        )
    foretold = np.array([result.foretold for result in results])
    honest = 100 * float(np.mean(worst[:, 1:] <= foretold))
    lines.append(f"the error was within what the advice gave as likely in {honest:.1f} % (95 is right)")
    turned = np.array([result.items for result in results])
    lines.append(
        f"controls turned, mean: {turned[:, 0].mean():.1f} in the first round, {turned[:, 1].mean():.1f} after"
    )
    for i, name in enumerate(("as found", "after two rounds")):
        errors = np.array([result.guns[i] for result in results])
        raw = np.array([result.read[i] for result in results])
        doubts = np.array([result.doubts[i] for result in results])
        share = 100 * np.nanmean(np.abs(errors) <= AIM_GUNS)
        by_gun = "/".join(f"{100 * v:.0f}" for v in (np.abs(errors) <= AIM_GUNS).mean(axis=(0, 1)))
        rms = "/".join(f"{v:.2f}" for v in np.sqrt((errors**2).mean(axis=(0, 1))))
        other = "/".join(f"{v:.2f}" for v in np.sqrt(np.nanmean(raw**2, axis=(0, 1))))
        whole = 100 * float(np.mean(np.abs(errors).max(axis=(1, 2)) <= AIM_GUNS))
        sure = 100 * float(np.mean(np.abs(errors) <= 2 * doubts))
        lines.append(
            f"gun balance {name}: within {AIM_GUNS:g} % of the truth in {share:.1f} % of figures "
            f"(red/green/blue {by_gun}), "
            f"all figures of a tube in {whole:.1f} % of tubes; root mean square {rms} % (steps as read: {other}); "
            f"within two uncertainties in {sure:.1f} %"
        )
    grey = 100 * float(np.mean(worst[:, -1] <= AIM_UV))
    gun = 100 * float(np.mean(np.abs(np.array([result.guns[1] for result in results])) <= AIM_GUNS))
    found = 100 * float(np.mean(np.abs(np.array([result.guns[0] for result in results])) <= AIM_GUNS))
    lines.append(
        f"SUMMARY grey scale {'HOLDS' if grey >= AIM_SHARE else 'MISSED'}: {grey:.1f} % of tubes (aim {AIM_SHARE:g}); "
        f"gun balance {'HOLDS' if min(gun, found) >= AIM_SHARE else 'MISSED'}: {found:.1f} % of figures as found, "
        f"{gun:.1f} % after (aim {AIM_SHARE:g})"
    )
    return lines


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--repeats", default="1,3,5")
    parser.add_argument("--levels", choices=("all", "few"), default="all")
    parser.add_argument("--gamma-off", type=float, default=0.02)
    parser.add_argument("--room", type=float, default=0.0)
    parser.add_argument("--named", action="store_true")
    parser.add_argument("--honest", action="store_true", help="what a bench does besides, and a hasty technician")
    typed = parser.parse_args()
    if typed.honest:
        for trial in (coverage, named, false_alarms, claims, rounds, two_points):
            few = max(typed.count // 4, 1) if trial is named else typed.count
            sys.stdout.write("\n".join(trial(few, typed.first)) + "\n\n")
            sys.stdout.flush()
        return 0
    for repeats in typed.repeats.split(","):
        plan = Plan(
            levels=LEVELS if typed.levels == "all" else FEW,
            repeats=int(repeats),
            gamma_off=typed.gamma_off,
            room=typed.room,
            named=typed.named,
        )
        results = [run_tube(seed, plan) for seed in range(typed.first, typed.first + typed.count)]
        sys.stdout.write("\n".join(summary(results, plan)) + "\n\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
