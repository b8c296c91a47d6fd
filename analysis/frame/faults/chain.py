"""What a playback chain may do to levels, each as a function with parameters.

A step takes non-linear R'G'B' fractions, (patches, 3), and gives what comes out of it. Steps that a chain does to
Y'CbCr are worked out there. Parameters start where a step changes nothing, so a fit can walk from there.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from functools import cache

import numpy as np

from analysis.frame.faults.managed import MANAGED
from analysis.frame.faults.step import Floats, Parameters, Step
from patterns.signal import Matrix, Signal
from patterns.standards.levels import (
    CHROMA_EXCURSION_8BIT,
    FOOTROOM_8BIT,
    KB_601,
    KR_601,
    LUMA_EXCURSION_8BIT,
    SETUP_SCALE,
    U_SCALE,
    V_SCALE,
)

__all__ = ["AS_DRAWN", "STEPS", "from_codes", "to_codes", "to_rgb", "to_ycbcr"]

_NARROW, _CHROMA = float(LUMA_EXCURSION_8BIT.value), float(CHROMA_EXCURSION_8BIT.value)
_FOOT, _FULL = float(FOOTROOM_8BIT.value), 255.0
"""Codes of 8 bits: excursions of luma and of chroma, black, and the highest code, which full range has for white."""
_SETUP = 1 - float(SETUP_SCALE.value)


@cache
def _forward(matrix: Matrix) -> Floats:
    kr, kb = (float(weight) for weight in matrix.weights)
    kg = 1 - kr - kb
    forward: Floats = np.array(
        [
            [kr, kg, kb],
            [-kr / (2 * (1 - kb)), -kg / (2 * (1 - kb)), 0.5],
            [0.5, -kg / (2 * (1 - kr)), -kb / (2 * (1 - kr))],
        ],
        dtype=np.float64,
    )
    return forward


@cache
def _backward(matrix: Matrix) -> Floats:
    inverse: Floats = np.asarray(np.linalg.inv(_forward(matrix)), dtype=np.float64)
    return inverse


def to_ycbcr(rgb: Floats, matrix: Matrix) -> Floats:
    """Y', C'B, C'R fractions of R'G'B' fractions, (..., 3): BT.601 or BT.709."""
    ycc: Floats = rgb @ _forward(matrix).T
    return ycc


def to_rgb(ycc: Floats, matrix: Matrix) -> Floats:
    """The inverse of `to_ycbcr`."""
    rgb: Floats = ycc @ _backward(matrix).T
    return rgb


def to_codes(rgb: Floats, signal: Signal) -> Floats:
    """Codes of R'G'B' fractions as the signal has them, neither rounded nor clipped, (..., 3)."""
    parts = rgb if signal.sampling.is_rgb else to_ycbcr(rgb, signal.matrix)
    scale, offset = _scales(signal)
    codes: Floats = parts * scale + offset
    return codes


def from_codes(codes: Floats, signal: Signal) -> Floats:
    """R'G'B' fractions of codes: the inverse of `to_codes`."""
    scale, offset = _scales(signal)
    parts = (codes - offset) / scale
    return parts if signal.sampling.is_rgb else to_rgb(parts, signal.matrix)


@cache
def _scales(signal: Signal) -> tuple[Floats, Floats]:
    black = np.array([signal.fraction_of(i, 0) for i in range(3)])
    step = np.array([signal.fraction_of(i, 1) for i in range(3)]) - black
    return 1 / step, -black / step


def _in_ycbcr(change: Callable[[Floats, Parameters], Floats]) -> Callable[[Floats, Parameters, Signal], Floats]:
    def apply(rgb: Floats, parameters: Parameters, signal: Signal) -> Floats:
        return to_rgb(change(to_ycbcr(rgb, signal.matrix), parameters), signal.matrix)

    return apply


def _in_rgb(change: Callable[[Floats, Parameters], Floats]) -> Callable[[Floats, Parameters, Signal], Floats]:
    return lambda rgb, parameters, signal: change(rgb, parameters)


def _scaled(ycc: Floats, luma: float, chroma: float) -> Floats:
    scaled: Floats = ycc * np.array([luma, chroma, chroma])
    return scaled


def _power(values: Floats, power: float) -> Floats:
    # Below black a power law goes on as its mirror image: what converters do there differs, and is little.
    powered: Floats = np.sign(values) * np.abs(values) ** power
    return powered


def _code_power(values: Floats, power: float) -> Floats:
    """A power law over the whole range of codes, as a picture adjustment on narrow-range codes has it."""
    share = (values * _NARROW + _FOOT) / _FULL
    return (_FULL * _power(share, power) - _FOOT) / _NARROW


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


def _percent(name: str) -> Callable[[Parameters], dict[str, float | str]]:
    return lambda parameters: {name: 100 * parameters[0]}


def _order(order: tuple[int, ...]) -> Callable[[Parameters], dict[str, float | str]]:
    return lambda parameters: {"order": "".join("RGB"[i] for i in order)}


def _expanded(values: Floats) -> Floats:
    return (_FULL * values - _FOOT) / _NARROW


def _compressed(values: Floats) -> Floats:
    return (_NARROW * values + _FOOT) / _FULL


def _expanded_ycbcr(ycc: Floats) -> Floats:
    return np.concatenate([_expanded(ycc[:, :1]), ycc[:, 1:] * (_FULL / _CHROMA)], axis=1)


def _compressed_ycbcr(ycc: Floats) -> Floats:
    return np.concatenate([_compressed(ycc[:, :1]), ycc[:, 1:] * (_CHROMA / _FULL)], axis=1)


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
            apply=_in_ycbcr(lambda ycc, p: _swapped_chroma(ycc)),
            colour_only=True,
        ),
        Step(
            id="chroma-gain",
            way="C'B and C'R",
            apply=_in_ycbcr(lambda ycc, p: _scaled(ycc, 1.0, p[0])),
            start=(1.0,),
            lowest=(0.05,),
            highest=(3.0,),
            usual=(0.4,),
            tell=_gain("gain"),
            colour_only=True,
        ),
    ]
    steps += _lost_and_inverted()
    for way, weights in (("C'B, C'R", (1.0, 1.0)), ("U, V", _U_V)):
        steps.append(
            Step(
                id="hue-rotated",
                way=way,
                apply=_in_ycbcr(lambda ycc, p, weights=weights: _turned(ycc, p[0], weights)),  # type: ignore[misc]
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
                apply=_in_rgb(lambda rgb, p, order=order: rgb[:, list(order)]),  # type: ignore[misc]
                tell=_order(order),
                colour_only=True,
            )
        )
    steps += MANAGED
    for way, change in (
        ("R'G'B'", _in_rgb(lambda rgb, p: _power(rgb, p[0]))),
        ("R'G'B' codes", _in_rgb(lambda rgb, p: _code_power(rgb, p[0]))),
        ("luma", _in_ycbcr(_luma(_power))),
        ("luma codes", _in_ycbcr(_luma(_code_power))),
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
        Step(id="setup-added", way="R'G'B'", apply=_in_rgb(lambda rgb, p: _SETUP + (1 - _SETUP) * rgb)),
        Step(id="setup-removed", way="R'G'B'", apply=_in_rgb(lambda rgb, p: (rgb - _SETUP) / (1 - _SETUP))),
    ]
    for way, change in (
        ("R'G'B'", _in_rgb(lambda rgb, p: rgb * p[0])),
        ("luma", _in_ycbcr(_luma(lambda luma, gain: luma * gain))),
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
                apply=_in_rgb(_one_channel(channel)),
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
            apply=_in_rgb(lambda rgb, p: rgb + p[0]),
            start=(0.0,),
            lowest=(-0.5,),
            highest=(0.5,),
            usual=(0.06,),
            tell=_percent("offset_percent"),
        ),
        Step(id="range-expanded", way="R'G'B'", apply=_in_rgb(lambda rgb, p: _expanded(rgb))),
        Step(id="range-expanded", way="Y'CbCr", apply=_in_ycbcr(lambda ycc, p: _expanded_ycbcr(ycc))),
        Step(id="range-compressed", way="R'G'B'", apply=_in_rgb(lambda rgb, p: _compressed(rgb))),
        Step(id="range-compressed", way="Y'CbCr", apply=_in_ycbcr(lambda ycc, p: _compressed_ycbcr(ycc))),
        Step(id="footroom-clipped", way="R'G'B'", apply=_in_rgb(lambda rgb, p: np.maximum(rgb, 0.0))),
        Step(id="headroom-clipped", way="R'G'B'", apply=_in_rgb(lambda rgb, p: np.minimum(rgb, 1.0))),
        Step(
            id="footroom-clipped",
            way="luma",
            apply=_in_ycbcr(_luma_only(lambda luma: np.maximum(luma, 0.0))),
        ),
        Step(
            id="headroom-clipped",
            way="luma",
            apply=_in_ycbcr(_luma_only(lambda luma: np.minimum(luma, 1.0))),
        ),
    ]
    steps += _bent_at_the_ends()
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


def _lost_and_inverted() -> list[Step]:
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
                    apply=_in_rgb(_missing(channel) if factor == 0 else _upside_down(channel)),
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
    return _in_ycbcr(lambda ycc, p: ycc * factors)


def _missing(channel: int) -> Callable[[Floats, Parameters], Floats]:
    keep = np.array([float(i != channel) for i in range(3)])
    return lambda rgb, p: rgb * keep


def _upside_down(channel: int) -> Callable[[Floats, Parameters], Floats]:
    def apply(rgb: Floats, parameters: Parameters) -> Floats:
        turned = rgb.copy()
        turned[:, channel] = 1 - rgb[:, channel]
        return turned

    return apply


def _bent_at_the_ends() -> list[Step]:
    """What becomes of the darkest and of the lightest levels alone, and ranges that were converted twice."""
    steps = []
    for name, room in (("R'G'B'", _in_rgb), ("luma", lambda change: _in_ycbcr(_first_only(change)))):
        steps += [
            Step(
                id="black-crushed",
                way=f"{name}, {way}",
                apply=room(change),
                start=(0.0,),
                lowest=(0.0,),
                highest=(0.6,),
                usual=(0.2,),
                tell=_percent("below_percent"),
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
    for way, once in (("expanded", _expanded), ("compressed", _compressed)):
        steps.append(
            Step(
                id="range-converted-twice",
                way=f"R'G'B' {way}",
                apply=_in_rgb(lambda rgb, p, once=once: once(np.clip(once(rgb), 0.0, 1.0))),  # type: ignore[misc]
                tell=lambda p, way=way: {"way": way},  # type: ignore[misc]
            )
        )
    for way, stage in (("expanded", _expanded_ycbcr), ("compressed", _compressed_ycbcr)):
        steps.append(
            Step(
                id="range-converted-twice",
                way=f"Y'CbCr {way}",
                apply=_in_ycbcr(lambda ycc, p, stage=stage: stage(_held(stage(ycc)))),  # type: ignore[misc]
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
    low = np.array([-_FOOT / _NARROW, -128 / _CHROMA, -128 / _CHROMA])
    high = np.array([(_FULL - _FOOT) / _NARROW, 127 / _CHROMA, 127 / _CHROMA])
    return np.clip(ycc, low, high)


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
