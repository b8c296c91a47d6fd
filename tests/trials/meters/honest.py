"""SIMULATION: how honest `measure grey` is about what a bench does to it, and how well a hasty technician ends.

`run.py --honest` prints it: the share of figures within two uncertainties, by figure and level; nuisances named and
false alarms; claims of 0.003 or less where the tube is beyond 0.004; three rounds by a technician whose turns are 15 %
off, from a whole scale and from two levels.
"""

from __future__ import annotations

import tempfile
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from analysis.meter.grey.answer import grey_answer
from analysis.meter.grey.measure import Grey, measure_grey
from analysis.meter.readings.read import read_readings
from analysis.meter.whites import D65
from tests.trials.meters.meter import Shown, write_csv
from tests.trials.meters.nuisances import NUISANCES, Bench, draw_bench, draw_nuisance
from tests.trials.meters.tube import Tube

__all__ = ["claims", "coverage", "false_alarms", "measured", "named", "rounds", "two_points", "worst_of"]

Floats = NDArray[np.float64]

GUNS = ("red", "green", "blue")
JUDGED = np.arange(50, 1001, 5) / 1000
HASTE = 0.15
"""Standard deviation of a turn, of itself."""
CLAIM, BEYOND = 0.003, 0.004
TWO = (20, 80)


def measured(bench: Bench, rows: Sequence[Shown] | None = None) -> Grey:
    """What is measured of a bench, through a file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "readings.csv"
        write_csv(path, bench.read() if rows is None else rows, digits=bench.digits)
        return measure_grey(read_readings(path), D65, None)


def worst_of(tube: Tube, levels: Floats = JUDGED) -> float:
    """Largest distance in u'v' from D65, by CIE 1976, written out apart from the code under test."""
    return float(_away(tube.grey(levels)).max())


def _away(xyz: Floats) -> Floats:
    x, y, z = np.moveaxis(xyz, -1, 0)
    total = np.maximum(x + 15 * y + 3 * z, 1e-12)
    off = np.hypot(4 * x / total - 0.197830, 9 * y / total - 0.468320)
    # Where no gun is lit there is no colour, which is as wrong as can be.
    return np.asarray(np.where(y > 0, off, 1.0))


def _truth(tube: Tube, levels: Floats) -> dict[str, Floats]:
    xyz = tube.grey(levels)
    xy = xyz[:, :2] / xyz.sum(axis=1, keepdims=True)
    white = np.array([0.3127 / 0.3290, 1.0, 0.3583 / 0.3290])
    needed = np.linalg.solve(tube.matrix, white[:, None] * xyz[:, 1])
    balance = 100 * (np.linalg.solve(tube.matrix, xyz.T) / needed - 1)
    steps = {"luminance": xyz[:, 1], "x": xy[:, 0], "y": xy[:, 1], "delta_uv_fitted": _away(xyz)}
    return steps | {f"gun_percent.{gun}": balance[i] for i, gun in enumerate(GUNS)}


def coverage(count: int, first: int = 0) -> list[str]:
    """How often the truth lies within two uncertainties, by figure and level (93 to 99 % is the aim)."""
    inside: dict[str, list[bool]] = defaultdict(list)
    for seed in range(first, first + count):
        bench = draw_bench(seed)
        tube, found = bench.tube, measured(bench)
        levels = np.array([step.level_percent / 100 for step in found.steps])
        for name, values in _truth(tube, levels).items():
            for step, value in zip(found.steps, values, strict=True):
                _note(inside, f"{name} {_band(step.level_percent)}", step.figures[name], step.uncertainty[name], value)
        for name, value in _whole(tube).items():
            _note(inside, name, found.figures[name], found.uncertainty[name], value)
        if found.guns is not None and found.light_uncertainty is not None:
            spread = np.sqrt(np.diag(found.guns.covariance))
            light = np.hypot(spread[:3], found.light_uncertainty)
            truths = (np.log(tube.guns(1.0)), tube.cutoff / tube.drive, tube.gamma)
            for i, (name, truth) in enumerate(zip(("light", "cut-off", "gamma of guns"), truths, strict=True)):
                of = light if i == 0 else spread[3 * i : 3 * i + 3]
                for value, u, true in zip(found.guns.values[3 * i : 3 * i + 3], of, truth, strict=True):
                    _note(inside, name, float(value), float(u), float(true))
    lines = [f"coverage: {count} healthy tubes, meters and patterns of reading by chance; aim 93 to 99 % within 2 u"]
    for name, some in inside.items():
        share = 100 * float(np.mean(some))
        mark = "" if 93 <= share <= 99 else "  <-" if share < 93 else "  (wide)"
        lines.append(f"  {name:32s} {share:5.1f} % of {len(some)}{mark}")
    return lines


def _note(
    inside: Mapping[str, list[bool]], name: str, value: float | None, uncertainty: float | None, truth: float
) -> None:
    if value is not None and uncertainty is not None and np.isfinite(truth):
        inside[name].append(abs(value - truth) <= 2 * uncertainty)


def _band(level: float) -> str:
    return "at 0 %" if level < 1 else "at 5 to 15 %" if level < 20 else "at 20 to 50 %" if level <= 50 else "above 50 %"


def _whole(tube: Tube) -> dict[str, float]:
    levels = np.arange(10, 101, 5) / 100
    black, white = float(tube.grey(0.0)[1]), float(tube.grey(1.0)[1])
    light = tube.grey(levels)[:, 1] - black
    gamma = float(np.polyfit(np.log(levels), np.log(light), 1)[0])
    contrast = white / black if black > 0 else float("nan")
    return {"black_cd_m2": black, "white_cd_m2": white, "contrast": contrast, "gamma": gamma}


def _ids(found: Grey) -> set[str]:
    return {f"{one.id} {one.variant}" if one.id == "code-range" else one.id for one in found.conditions}


def named(count: int, first: int = 0) -> list[str]:
    """How often each nuisance is named (aim 95 %), and what else is."""
    lines = [f"nuisances named, of {count} each (aim 95 %)"]
    for kind in NUISANCES:
        right = 0
        others: dict[str, int] = defaultdict(int)
        for seed in range(first, first + count):
            ids = _ids(measured(draw_nuisance(kind, seed)))
            right += kind in ids
            for other in ids - {kind}:
                others[other] += 1
            if kind not in ids:
                others["(missed " + str(seed) + ")"] += 1
        lines.append(f"  {kind:22s} {right:3d} of {count}; besides: {dict(others)}")
    return lines


def false_alarms(count: int, first: int = 0) -> list[str]:
    """Healthy tubes of which something is named that is not so (aim: under 2 %), and readings that are not used."""
    wrong, outliers, readings = 0, 0, 0
    kinds: dict[str, list[int]] = defaultdict(list)
    for seed in range(first, first + count):
        bench = draw_bench(seed)
        found = measured(bench)
        ids = _ids(found)
        cutoff = bench.tube.cutoff / bench.tube.drive
        # What is so of this tube is no false alarm.
        ids -= {"black-crushed"} if cutoff.min() < -0.006 else set()
        even = float(np.abs(cutoff - cutoff.mean()).max()) < 0.025
        ids -= {"code-range lifted"} if even and abs(cutoff.mean() - 0.073) < 0.025 else set()
        ids -= {"black-lifted"} if cutoff.mean() > 0.05 else set()
        wrong += bool(ids)
        for one in ids:
            kinds[one].append(seed)
        outliers += len(found.repeats.outliers) + len(found.strays)
        readings += len(found.readings.items)
    return [
        f"false alarms: {wrong} of {count} healthy tubes ({100 * wrong / count:.1f} %, aim under 2 %): {dict(kinds)}; "
        f"{outliers} of {readings} readings not used"
    ]


def claims(count: int, first: int = 0) -> list[str]:
    """Claims of 0.003 or less without a warning where the tube is beyond 0.004 (aim: none)."""
    bad, claimed = [], 0
    for seed in range(first, first + count):
        kind = (None, *NUISANCES[:5])[seed % 6]
        bench = draw_bench(seed) if kind is None else draw_nuisance(kind, seed)
        # Right in the dark and the bright but for the nuisance, so that there is something to claim.
        right = draw_bench(seed).tube
        even = replace(
            bench.tube,
            cutoff=np.full(3, max(float(right.cutoff.mean()), 0.002)) + np.minimum(bench.tube.cutoff - right.cutoff, 0),
            drive=np.ones(3),
            gamma=np.full(3, right.gamma.mean()) + 0.3 * (right.gamma - right.gamma.mean()),
        )
        found = measured(replace(bench, tube=even))
        answer = grey_answer(found)
        worst = next((one for one in answer.figures if one.quantity.path == answer.findings[0].about), None)
        if worst is None or worst.value is None or worst.value > CLAIM:
            continue
        claimed += 1
        read = np.array([step.level_percent / 100 for step in found.steps if step.level_percent >= 5])
        warned = bool(found.conditions) or any("may be" in words or "row" in words for words in answer.remarks)
        if worst_of(even, read) > BEYOND and not warned:
            bad.append((seed, kind, round(worst.value, 4), round(worst_of(even, read), 4)))
    return [
        f"claims of {CLAIM:g} or less without a warning where the tube is beyond {BEYOND:g}: {len(bad)} of {count} "
        f"({claimed} claimed it): {bad}"
    ]


def two_points(count: int, first: int = 0) -> list[str]:
    """The same from 20 and 80 % alone."""
    return rounds(count, first, levels=TWO)


def rounds(count: int, first: int = 0, *, levels: Sequence[float] | None = None, repeats: int = 3) -> list[str]:
    """Three rounds by a technician whose turns are off by 15 % (one standard deviation)."""
    aim = CLAIM if levels is None else BEYOND
    judged = JUDGED if levels is None else JUDGED[levels[0] / 100 - 1e-9 <= JUDGED]
    history = []
    for seed in range(first, first + count):
        bench = draw_bench(seed)
        tube, chance = bench.tube, np.random.default_rng([23, seed])
        states = [worst_of(tube, judged)]
        for _ in range(3):
            some = bench.levels if levels is None else tuple(levels)
            meter = replace(bench.meter, chance=chance, decimals=4)
            found = measured(bench, meter.scale(tube, some, repeats))
            for item in () if found.advice is None else found.advice.items:
                turn = item.percent * (1 + HASTE * chance.standard_normal())
                how = {"cutoff_percent" if item.control == "cut-off" else "drive_percent": turn}
                tube = tube.turned(GUNS.index(item.gun), **how)
            states.append(worst_of(tube, judged))
        history.append(states)
    worst = np.array(history)
    within = int((worst[:, -1] <= aim).sum())
    rise = np.diff(worst, axis=1).max(axis=1)
    late = [first + int(i) for i in np.flatnonzero(worst[:, -1] > aim)]
    what = "whole scale" if levels is None else f"{levels[0]:g} and {levels[-1]:g} %, judged from the lower on"
    return [
        f"three rounds, turns {100 * HASTE:.0f} % off, {what}, read {repeats} time(s): {within} of {count} within "
        f"{aim:g} ({100 * within / count:.1f} %); after each round {[int((row <= aim).sum()) for row in worst.T]}; "
        f"median {np.median(worst[:, -1]):.4f}, worst {worst[:, -1].max():.4f}; worse than found: "
        f"{int((worst[:, -1] > worst[:, 0]).sum())}; rounds that made it worse by more than 0.002: "
        f"{int((rise > 0.002).sum())}; not within: {late}"
    ]
