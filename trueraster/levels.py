"""One level in every unit of the bench."""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from patterns.scene import Scene
from patterns.signal import Colour, Matrix, Range, Sampling, Signal, narrow_code_to_fraction
from patterns.standards.levels import (
    COMPONENT_WHITE_MV,
    IRE_MV,
    SETUP_IRE,
    SETUP_SCALE,
    WHITE_525_MV,
    WHITE_IRE,
    usable_codes,
)
from trueraster.options.values import UsageError

__all__ = ["USUAL", "Code", "Level", "component_millivolts", "distinct_patches", "parse_level", "reserved_note"]

USUAL = (-4, -2, 0, 2, 4, "7.5", 10, 20, 30, 40, 50, 60, 70, 75, 80, 90, 100, 105, 109)
"""Percentages of the table that is shown without a level."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """A narrow-range code: exact, and as a file has it."""

    exact: Fraction
    written: int
    is_clipped: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """A level in % of nominal white, exact."""

    percent: Fraction

    @property
    def code_8(self) -> Code:
        return _code(self.percent, 8)

    @property
    def code_10(self) -> Code:
        return _code(self.percent, 10)

    @property
    def millivolts(self) -> Fraction:
        """Component without setup: 0 to 700 mV."""
        return self.percent / 100 * COMPONENT_WHITE_MV.value

    @property
    def millivolts_714(self) -> Fraction:
        """525 lines without setup: 0 to 714.3 mV."""
        return self.percent / 100 * WHITE_525_MV.value

    @property
    def ire_setup(self) -> Fraction:
        """With setup: black at 7.5 IRE, white at 100."""
        return SETUP_IRE.value + SETUP_SCALE.value * self.percent * WHITE_IRE.value / 100

    @property
    def millivolts_setup(self) -> Fraction:
        """The IRE value in mV: black 53.6, white 714.3."""
        return self.ire_setup * IRE_MV.value


def _code(percent: Fraction, bits: int) -> Code:
    signal = Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=bits, sampling=Sampling.RGB)
    colour = Colour.grey(percent / 100)
    exact, written = signal.exact(colour)[0], signal.codes(colour)[0]
    return Code(exact=exact, written=written, is_clipped=abs(written - exact) > Fraction(1, 2))


def component_millivolts(colour: Colour, matrix: Matrix) -> tuple[Fraction, Fraction, Fraction]:
    """Y', P'B, P'R of a component interface without setup, exact: all three are 700 mV times the level."""
    kr, kb = matrix.weights
    luma = kr * colour.red + (1 - kr - kb) * colour.green + kb * colour.blue
    white = COMPONENT_WHITE_MV.value
    return luma * white, (colour.blue - luma) / (2 * (1 - kb)) * white, (colour.red - luma) / (2 * (1 - kr)) * white


def distinct_patches(scene: Scene) -> dict[Colour, str]:
    """The flat levels of a scene and the name of the first patch of each, without its side.

    A patch of a gradient has no level of its own.
    """
    found: dict[Colour, str] = {}
    for patch in scene.patches:
        if not patch.sloped:
            found.setdefault(patch.colour, re.sub(r" (left|right)$", "", patch.name))
    return found


def reserved_note(text: str) -> str:
    """The note on a typed code that no picture may have, such as '8:255', or nothing.

    Raises:
        UsageError: it is not a level.
    """
    parse_level(text)
    found = re.fullmatch(r"\s*(8|10|12|16):(\d{1,5})\s*", text)
    if found is None or int(found[2]) in (usable := usable_codes(int(found[1]))):
        return ""
    return (
        f"{found[1]}:{found[2]} is a reserved code for timing references; no picture has it. A"
        f" picture of {found[1]} bits has the codes {usable.start} to {usable.stop - 1}"
    )


def parse_level(text: str) -> Level:
    """Read '75%', '75', '8:180', '10:721', '525mV', '549mV-setup', '536mV-714' or '76.9IRE' (with setup).

    Raises:
        UsageError: it is none of these, or far outside any signal.
    """
    found = re.fullmatch(
        r"\s*(?:(8|10|12|16):(\d{1,5})|([+-]?\d{1,6}(?:\.\d{1,9})?)\s*(%|ire|mv|mv-714|mv-setup)?)\s*", text.lower()
    )
    if found is None:
        raise UsageError(f"{text[:30]!r} is not a level; write 75%, 8:180, 10:721, 525mV, 549mV-setup or 76.9IRE")
    if found[1]:
        if int(found[2]) >= 1 << int(found[1]):
            raise UsageError(f"{text[:30]!r}: {found[1]} bits have the codes 0 to {(1 << int(found[1])) - 1}")
        percent = narrow_code_to_fraction(int(found[2]), int(found[1])) * 100
    else:
        value = Fraction(found[3])
        percent = {
            "%": lambda: value,
            "ire": lambda: (value - SETUP_IRE.value) / SETUP_SCALE.value * 100 / WHITE_IRE.value,
            "mv": lambda: value / COMPONENT_WHITE_MV.value * 100,
            "mv-714": lambda: value / WHITE_525_MV.value * 100,
            "mv-setup": lambda: (value / IRE_MV.value - SETUP_IRE.value) / SETUP_SCALE.value * 100 / WHITE_IRE.value,
        }[found[4] or "%"]()
    if abs(percent) > 1000:
        raise UsageError(f"{text[:30]!r} is {float(percent):.0f} %; a level is from -1000 to 1000 %")
    return Level(percent=Fraction(percent))
