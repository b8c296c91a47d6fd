"""What a colour-managed viewer or player makes of R'G'B': another transfer, other primaries, or both.

It decodes to light with the curve that it takes the file's for, brings that to the primaries of BT.709, and codes it
again; what does not fit into 0 to 1 is cut.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from analysis.frame.faults.step import Floats, Step
from patterns.standards.colour import (
    CAMERA_TRANSFER,
    CHROMATICITIES,
    REFERENCE_GAMMA,
    SRGB_TRANSFER,
    Primaries,
)

__all__ = ["MANAGED"]

_KEPT = "kept"
"""The word for a transfer, or primaries, that nobody converted."""

_SCALE, _POWER, _SLOPE, _KNEE = (float(value) for value in CAMERA_TRANSFER.value)
_SRGB_SCALE, _SRGB_POWER, _SRGB_SLOPE, _SRGB_KNEE = (float(value) for value in SRGB_TRANSFER.value)
_GAMMA = float(REFERENCE_GAMMA.value)


@dataclass(frozen=True, slots=True)
class _Curve:
    """A transfer both ways, codes and light from 0 to 1."""

    name: str
    light: Callable[[Floats], Floats]
    codes: Callable[[Floats], Floats]


def _split(below: bool | NDArray[np.bool_], first: Floats, second: Floats) -> Floats:
    return np.asarray(np.where(below, first, second), dtype=np.float64)


_CAMERA = _Curve(
    "BT.709",
    lambda codes: _split(codes < _SLOPE * _KNEE, codes / _SLOPE, ((codes + _SCALE - 1) / _SCALE) ** (1 / _POWER)),
    lambda light: _split(light < _KNEE, _SLOPE * light, _SCALE * light**_POWER - (_SCALE - 1)),
)
"""The camera's curve of BT.709, which is that of BT.601 too."""
_DISPLAY = _Curve("BT.1886", lambda codes: np.power(codes, _GAMMA), lambda light: np.power(light, 1 / _GAMMA))
_SRGB = _Curve(
    "sRGB",
    lambda codes: _split(
        codes <= _SRGB_SLOPE * _SRGB_KNEE,
        codes / _SRGB_SLOPE,
        ((codes + _SRGB_SCALE - 1) / _SRGB_SCALE) ** _SRGB_POWER,
    ),
    lambda light: _split(
        light <= _SRGB_KNEE, _SRGB_SLOPE * light, _SRGB_SCALE * light ** (1 / _SRGB_POWER) - (_SRGB_SCALE - 1)
    ),
)
_NAMES = {Primaries.SMPTE170M: "SMPTE 170M", Primaries.BT470BG: "BT.470 BG"}


@dataclass(frozen=True, slots=True)
class _Conversion:
    """One thing that colour management does."""

    file: _Curve
    """What the file's transfer is taken for."""
    shown: _Curve
    primaries: Primaries | None
    """What the file's primaries are, that are brought to those of BT.709; None: they are left alone."""

    @property
    def words(self) -> dict[str, float | str]:
        """`transfer` and `primaries`, each `X to Y` or `_KEPT`."""
        return {
            "transfer": _KEPT if self.is_in_light else f"{self.file.name} to {self.shown.name}",
            "primaries": _KEPT if self.primaries is None else f"{_NAMES[self.primaries]} to BT.709",
        }

    @property
    def is_in_light(self) -> bool:
        """Whether the transfer is the same before and after, so that greys pass unchanged."""
        return self.file is self.shown

    @property
    def is_usual(self) -> bool:
        """Whether a video file comes to a computer's screen: the way that viewers and players were seen to go."""
        return self.file is not _SRGB and (self.shown is _SRGB or self.is_in_light)

    @property
    def rare(self) -> float:
        """Price beside the other ways: they share what is expected of all, and the usual ones have most of it."""
        # A bend alone comes more often from an adjustment than from a viewer, where levels cannot tell.
        bend = 0.0 if self.primaries else 2.0
        if not self.is_usual:
            return bend + 2.0
        return bend - math.log(len(_CONVERSIONS) / sum(one.is_usual for one in _CONVERSIONS))

    def apply(self, rgb: Floats) -> Floats:
        """Non-linear R'G'B' fractions, (..., 3), as they are shown: cut at 0 and at 1."""
        light = self.file.light(np.clip(rgb, 0.0, 1.0))
        if self.primaries is not None:
            light = np.clip(light @ _to_bt709(self.primaries).T, 0.0, 1.0)
        return self.shown.codes(light)


@cache
def _to_bt709(primaries: Primaries) -> Floats:
    """From light of these primaries to light of BT.709's, whose white is the same."""
    matrix: Floats = np.linalg.inv(_to_xyz(Primaries.BT709)) @ _to_xyz(primaries)
    return matrix


def _to_xyz(primaries: Primaries) -> Floats:
    """Columns are the XYZ of each primary at full light; together they are white, whose Y is 1."""
    white, points = CHROMATICITIES[primaries]
    x, y = np.array(points, dtype=np.float64).reshape(3, 2).T
    columns = np.stack([x / y, np.ones(3), (1 - x - y) / y])
    white_x, white_y = (float(value) for value in white)
    share = np.linalg.solve(columns, [white_x / white_y, 1.0, (1 - white_x - white_y) / white_y])
    matrix: Floats = columns * share
    return matrix


_CURVES = (_DISPLAY, _CAMERA, _SRGB)
_CONVERSIONS = tuple(
    _Conversion(file, shown, primaries)
    for primaries, file, shown in product((None, *_NAMES), _CURVES, _CURVES)
    if shown is not file or primaries is not None
)
"""From any of the three curves to any other, and primaries with each. BT.1886 to another power is a gamma, named so."""

MANAGED = tuple(
    Step(
        id="colour-managed",
        way=f"{one.file.name} to {one.shown.name}, {one.words['primaries']}",
        apply=lambda rgb, parameters, signal, one=one: one.apply(rgb),  # type: ignore[misc]
        tell=lambda parameters, one=one: one.words,  # type: ignore[misc]
        rare=one.rare,
        colour_only=one.is_in_light,
        like_on_greys=one.primaries is not None,
        untold_by_greys=("primaries",),
    )
    for one in _CONVERSIONS
)
"""Every conversion, each a way of one fault."""
