"""What a playback chain may do to levels, each as a function with parameters.

A step takes non-linear R'G'B' fractions, (patches, 3), and gives what comes out of it. Steps that a chain does to
Y'CbCr are worked out there. Parameters start where a step changes nothing, so a fit can walk from there.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np

from analysis.frame.faults.bent import bent_at_the_ends, lost_and_inverted
from analysis.frame.faults.codes import (
    FOOT,
    FULL,
    NARROW,
    compressed,
    compressed_ycbcr,
    expanded,
    expanded_ycbcr,
    from_codes,
    in_rgb,
    in_ycbcr,
    percent_of,
    to_codes,
    to_rgb,
    to_ycbcr,
)
from analysis.frame.faults.managed import MANAGED
from analysis.frame.faults.step import Floats, Parameters, Step
from patterns.signal import Matrix, Signal
from patterns.standards.levels import (
    KB_601,
    KR_601,
    SETUP_SCALE,
    U_SCALE,
    V_SCALE,
)

__all__ = ["AS_DRAWN", "STEPS"]

_SETUP = 1 - float(SETUP_SCALE.value)


def _scaled(ycc: Floats, luma: float, chroma: float) -> Floats:
    scaled: Floats = ycc * np.array([luma, chroma, chroma])
    return scaled


def _power(values: Floats, power: float) -> Floats:
    # Below black a power law goes on as its mirror image: what converters do there differs, and is little.
    powered: Floats = np.sign(values) * np.abs(values) ** power
    return powered


def _code_power(values: Floats, power: float) -> Floats:
    """A power law over the whole range of codes, as a picture adjustment on narrow-range codes has it."""
    share = (values * NARROW + FOOT) / FULL
    return (FULL * _power(share, power) - FOOT) / NARROW


def _luma(change: Callable[[Floats, float], Floats]) -> Callable[[Floats, Parameters], Floats]:
    def apply(ycc: Floats, parameters: Parameters) -> Floats:
        return np.concatenate([change(ycc[:, :1], parameters[0]), ycc[:, 1:]], axis=1)

    return apply


def _turned(ycc: Floats, degrees: float, weights: tuple[float, float]) -> Floats:
    """Chroma turned by an angle, in the plane that `weights` make of C'B and C'R."""
    angle = np.deg2rad(degrees)
    u, v = ycc[:, 1] * weights[0], ycc[:, 2] * weights[1]
    turned: Floats = np.stack(
        [
            ycc[:, 0],
            (u * np.cos(angle) - v * np.sin(angle)) / weights[0],
            (u * np.sin(angle) + v * np.cos(angle)) / weights[1],
        ],
        axis=1,
    )
    return turned


def _other_matrix(coded: Matrix, decoded: Matrix) -> Callable[[Floats, Parameters, Signal], Floats]:
    return lambda rgb, parameters, signal: to_rgb(to_ycbcr(rgb, coded), decoded)


def _one_channel(channel: int) -> Callable[[Floats, Parameters], Floats]:
    def apply(rgb: Floats, parameters: Parameters) -> Floats:
        gains = np.ones(3)
        gains[channel] = parameters[0]
        scaled: Floats = rgb * gains
        return scaled

    return apply


def _fewer_bits(drop: int, rounded: bool) -> Callable[[Floats, Parameters, Signal], Floats]:
    """The low bits of the captured signal's own codes cut off, or rounded away."""

    def apply(rgb: Floats, parameters: Parameters, signal: Signal) -> Floats:
        step = float(1 << (drop + signal.bits - 8))
        codes = np.floor(to_codes(rgb, signal) + 0.5)
        kept = np.floor(codes / step + (0.5 if rounded else 0.0)) * step
        return from_codes(np.minimum(kept, (1 << signal.bits) - step), signal)

    return apply


def _gain(name: str) -> Callable[[Parameters], dict[str, float | str]]:
    return lambda parameters: {name: parameters[0]}


def _order(order: tuple[int, ...]) -> Callable[[Parameters], dict[str, float | str]]:
    return lambda parameters: {"order": "".join("RGB"[i] for i in order)}


def _swapped_chroma(ycc: Floats) -> Floats:
    return ycc[:, [0, 2, 1]]


_PERMUTATIONS = [order for order in itertools.permutations(range(3)) if order != (0, 1, 2)]
_U_V = (float(2 * (1 - KB_601.value) * U_SCALE.value), float(2 * (1 - KR_601.value) * V_SCALE.value))
"""U over C'B and V over C'R, with BT.601's weights."""


def _steps() -> tuple[Step, ...]:
    steps = [
        *(
            Step(id=id, way="decoded", apply=_other_matrix(coded, decoded), colour_only=True)
            for id, coded, decoded in (
                ("matrix-601-as-709", Matrix.BT601, Matrix.BT709),
                ("matrix-709-as-601", Matrix.BT709, Matrix.BT601),
            )
        ),
        Step(
            id="components-swapped",
            way="C'B for C'R",
            apply=in_ycbcr(lambda ycc, p: _swapped_chroma(ycc)),
            colour_only=True,
        ),
        Step(
            id="chroma-gain",
            way="C'B and C'R",
            apply=in_ycbcr(lambda ycc, p: _scaled(ycc, 1.0, p[0])),
            start=(1.0,),
            lowest=(0.05,),
            highest=(3.0,),
            usual=(0.4,),
            tell=_gain("gain"),
            colour_only=True,
        ),
    ]
    steps += lost_and_inverted()
    for way, weights in (("C'B, C'R", (1.0, 1.0)), ("U, V", _U_V)):
        steps.append(
            Step(
                id="hue-rotated",
                way=way,
                apply=in_ycbcr(lambda ycc, p, weights=weights: _turned(ycc, p[0], weights)),  # type: ignore[misc]
                start=(0.0,),
                lowest=(-180.0,),
                highest=(180.0,),
                usual=(20.0,),
                tell=lambda p: {"degrees": p[0]},
                colour_only=True,
            )
        )
    for order in _PERMUTATIONS:
        steps.append(
            Step(
                id="channels-swapped",
                way="".join("RGB"[i] for i in order),
                apply=in_rgb(lambda rgb, p, order=order: rgb[:, list(order)]),  # type: ignore[misc]
                tell=_order(order),
                colour_only=True,
            )
        )
    steps += MANAGED
    for way, change in (
        ("R'G'B'", in_rgb(lambda rgb, p: _power(rgb, p[0]))),
        ("R'G'B' codes", in_rgb(lambda rgb, p: _code_power(rgb, p[0]))),
        ("luma", in_ycbcr(_luma(_power))),
        ("luma codes", in_ycbcr(_luma(_code_power))),
    ):
        steps.append(
            Step(
                id="gamma",
                way=way,
                apply=change,
                start=(1.0,),
                lowest=(0.3,),
                highest=(3.0,),
                usual=(0.25,),
                tell=_gain("power"),
                rare=3.0 if way.endswith("codes") else 0.0,
            )
        )
    steps += [
        Step(id="setup-added", way="R'G'B'", apply=in_rgb(lambda rgb, p: _SETUP + (1 - _SETUP) * rgb)),
        Step(id="setup-removed", way="R'G'B'", apply=in_rgb(lambda rgb, p: (rgb - _SETUP) / (1 - _SETUP))),
    ]
    for way, change in (
        ("R'G'B'", in_rgb(lambda rgb, p: rgb * p[0])),
        ("luma", in_ycbcr(_luma(lambda luma, gain: luma * gain))),
    ):
        steps.append(
            Step(
                id="gain",
                way=way,
                apply=change,
                start=(1.0,),
                lowest=(0.3,),
                highest=(3.0,),
                usual=(0.2,),
                tell=_gain("gain"),
            )
        )
    for channel, name in enumerate("RGB"):
        steps.append(
            Step(
                id="channel-gain",
                way=name,
                apply=in_rgb(_one_channel(channel)),
                start=(1.0,),
                lowest=(0.0,),
                highest=(3.0,),
                usual=(0.2,),
                tell=lambda p, name=name: {"channel": name, "gain": p[0]},  # type: ignore[misc]
            )
        )
    steps += [
        Step(
            id="offset",
            way="R'G'B'",
            apply=in_rgb(lambda rgb, p: rgb + p[0]),
            start=(0.0,),
            lowest=(-0.5,),
            highest=(0.5,),
            usual=(0.06,),
            tell=percent_of("offset_percent"),
        ),
        Step(id="range-expanded", way="R'G'B'", apply=in_rgb(lambda rgb, p: expanded(rgb))),
        Step(id="range-expanded", way="Y'CbCr", apply=in_ycbcr(lambda ycc, p: expanded_ycbcr(ycc))),
        Step(id="range-compressed", way="R'G'B'", apply=in_rgb(lambda rgb, p: compressed(rgb))),
        Step(id="range-compressed", way="Y'CbCr", apply=in_ycbcr(lambda ycc, p: compressed_ycbcr(ycc))),
        Step(id="footroom-clipped", way="R'G'B'", apply=in_rgb(lambda rgb, p: np.maximum(rgb, 0.0))),
        Step(id="headroom-clipped", way="R'G'B'", apply=in_rgb(lambda rgb, p: np.minimum(rgb, 1.0))),
        Step(
            id="footroom-clipped",
            way="luma",
            apply=in_ycbcr(_luma_only(lambda luma: np.maximum(luma, 0.0))),
        ),
        Step(
            id="headroom-clipped",
            way="luma",
            apply=in_ycbcr(_luma_only(lambda luma: np.minimum(luma, 1.0))),
        ),
    ]
    steps += bent_at_the_ends()
    for drop in (1, 2, 3, 4, 5):
        for rounded in (False, True):
            steps.append(
                Step(
                    id="bits-lost",
                    way=f"{drop} {'rounded' if rounded else 'cut'}",
                    apply=_fewer_bits(drop, rounded),
                    tell=lambda p, drop=drop: {"bits": 8 - drop},  # type: ignore[misc]
                    rare=2.0 * max(0, drop - 3),
                    drops=drop,
                )
            )
    return tuple(steps)


def _luma_only(change: Callable[[Floats], Floats]) -> Callable[[Floats, Parameters], Floats]:
    return lambda ycc, parameters: np.concatenate([change(ycc[:, :1]), ycc[:, 1:]], axis=1)


STEPS = _steps()
"""All steps, in the order of a chain."""

AS_DRAWN = Step(
    id="",
    way="cut at the ends of the codes",
    apply=lambda rgb, p, signal: from_codes(np.clip(to_codes(rgb, signal), *signal.limits), signal),
)
"""No fault: what drawing a pattern does to colours that its codes do not hold, before any chain."""
