"""Signals that are lost or inverted, levels that are bent at their ends, and ranges that are converted twice."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analysis.frame.faults.codes import (
    CHROMA,
    FOOT,
    FULL,
    NARROW,
    compressed,
    compressed_ycbcr,
    expanded,
    expanded_ycbcr,
    in_rgb,
    in_ycbcr,
    percent_of,
)
from analysis.frame.faults.step import Floats, Parameters, Step
from patterns.signal import Signal

__all__ = ["bent_at_the_ends", "lost_and_inverted"]


def lost_and_inverted() -> list[Step]:
    """Signals that do not arrive, or arrive upside down; their ways are the signals' names."""
    steps = [Step(id="chroma-lost", way="C'B and C'R", apply=_ycbcr_times(1, 0, 0), colour_only=True)]
    for id, factor in (("component-missing", 0.0), ("component-inverted", -1.0)):
        for i, name in enumerate(("C'B", "C'R")):
            factors = (1.0, factor, 1.0) if i == 0 else (1.0, 1.0, factor)
            steps.append(
                Step(
                    id=id,
                    way=name,
                    apply=_ycbcr_times(*factors),
                    tell=lambda p, name=name: {"component": name},  # type: ignore[misc]
                    colour_only=True,
                )
            )
        for channel, name in enumerate("RGB"):
            steps.append(
                Step(
                    id=id,
                    way=name,
                    apply=in_rgb(_missing(channel) if factor == 0 else _upside_down(channel)),
                    tell=lambda p, name=name: {"component": name},  # type: ignore[misc]
                )
            )
    steps.append(
        Step(
            id="component-inverted",
            way="C'B and C'R",
            apply=_ycbcr_times(1, -1, -1),
            tell=lambda p: {"component": "C'B and C'R"},
            colour_only=True,
        )
    )
    return steps


def _ycbcr_times(luma: float, blue: float, red: float) -> Callable[[Floats, Parameters, Signal], Floats]:
    factors = np.array([luma, blue, red])
    return in_ycbcr(lambda ycc, p: ycc * factors)


def _missing(channel: int) -> Callable[[Floats, Parameters], Floats]:
    keep = np.array([float(i != channel) for i in range(3)])
    return lambda rgb, p: rgb * keep


def _upside_down(channel: int) -> Callable[[Floats, Parameters], Floats]:
    def apply(rgb: Floats, parameters: Parameters) -> Floats:
        turned = rgb.copy()
        turned[:, channel] = 1 - rgb[:, channel]
        return turned

    return apply


def bent_at_the_ends() -> list[Step]:
    """What becomes of the darkest and of the lightest levels alone, and ranges that were converted twice."""
    steps = []
    for name, room in (("R'G'B'", in_rgb), ("luma", lambda change: in_ycbcr(_first_only(change)))):
        steps += [
            Step(
                id="black-crushed",
                way=f"{name}, {way}",
                apply=room(change),
                start=(0.0,),
                lowest=(0.0,),
                highest=(0.6,),
                usual=(0.2,),
                tell=percent_of("below_percent"),
                rare=1.0,
            )
            for way, change in (
                ("squared", lambda v, p: _crushed(v, p[0], 2.0)),
                ("cubed", lambda v, p: _crushed(v, p[0], 3.0)),
                ("halved and cut", lambda v, p: np.where(v < p[0], np.maximum(p[0] - 2 * (p[0] - v), 0.0), v)),
            )
        ]
        steps.append(
            Step(
                id="white-compressed",
                way=name,
                apply=room(lambda v, p: np.where(v > p[0], p[0] + (v - p[0]) * p[1], v)),
                start=(1.1, 0.5),
                lowest=(0.3, 0.0),
                highest=(1.1, 0.95),
                usual=(0.4, 0.5),
                tell=lambda p: {"knee_percent": 100 * p[0], "slope": p[1]},
                rare=1.0,
            )
        )
    for way, once in (("expanded", expanded), ("compressed", compressed)):
        steps.append(
            Step(
                id="range-converted-twice",
                way=f"R'G'B' {way}",
                apply=in_rgb(lambda rgb, p, once=once: once(np.clip(once(rgb), 0.0, 1.0))),  # type: ignore[misc]
                tell=lambda p, way=way: {"way": way},  # type: ignore[misc]
            )
        )
    for way, stage in (("expanded", expanded_ycbcr), ("compressed", compressed_ycbcr)):
        steps.append(
            Step(
                id="range-converted-twice",
                way=f"Y'CbCr {way}",
                apply=in_ycbcr(lambda ycc, p, stage=stage: stage(_held(stage(ycc)))),  # type: ignore[misc]
                tell=lambda p, way=way: {"way": way},  # type: ignore[misc]
            )
        )
    return steps


def _first_only(change: Callable[[Floats, Parameters], Floats]) -> Callable[[Floats, Parameters], Floats]:
    return lambda ycc, parameters: np.concatenate([change(ycc[:, :1], parameters), ycc[:, 1:]], axis=1)


def _crushed(values: Floats, knee: float, power: float) -> Floats:
    """Below the knee a power of what is left of it, so that black stays and the levels above it go down."""
    knee = max(knee, 1e-6)
    return np.where((values > 0) & (values < knee), knee * (np.clip(values, 0, knee) / knee) ** power, values)


def _held(ycc: Floats) -> Floats:
    """Between two stages codes of 8 bits end at 0 and at 255."""
    low = np.array([-FOOT / NARROW, -128 / CHROMA, -128 / CHROMA])
    high = np.array([(FULL - FOOT) / NARROW, 127 / CHROMA, 127 / CHROMA])
    return np.clip(ycc, low, high)
