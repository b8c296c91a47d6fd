"""SIMULATION: the invented set as a whole: its controls are turned, it is photographed and read."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patterns.catalogue import PATTERNS
from patterns.formats import Format, parse_format
from patterns.pattern import Options, Pattern
from patterns.signal import Range
from render.carriers import CARRIERS
from render.raster import draw_frame
from trueraster.bench.simulated.camera import Camera, posed
from trueraster.bench.simulated.controls import GUNS, Control, Knob, Place, controls_of, knobs_of
from trueraster.bench.simulated.photograph import Shown, face_view, photograph
from trueraster.bench.simulated.tube import Face, Guns, Raster

__all__ = ["GREY_LEVELS", "Reading", "SimulatedSet"]

Floats = NDArray[np.float64]

GREY_LEVELS = (0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100)
_FIELDS = {"grey": (1, 1, 1), "red": (1, 0, 0), "green": (0, 1, 0), "blue": (0, 0, 1)} | {
    "cyan": (0, 1, 1),
    "magenta": (1, 0, 1),
    "yellow": (1, 1, 0),
}
_SIZE = (2000, 1500)
"""Of a photograph, in pixels."""
_D65 = (0.3127, 0.3290)
_PHOSPHORS = ((0.630, 0.340), (0.310, 0.595), (0.155, 0.070))
"""SMPTE RP 145."""
_LUMINANCE_NOISE, _XY_NOISE, _DARK = 0.01, 0.001, 0.002
"""Of the meter: relative, of x and of y, and of X, Y and Z in cd/m2."""
_YOKE = ("x u2v", "x v3", "y u3", "y uv2")
"""What no control of the set moves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """What the meter shows of a field."""

    field: str
    level_percent: float
    x: float
    y: float
    luminance: float
    """cd/m2."""


class SimulatedSet:
    """An invented set, made from its number alone: the same number and the same turns make the same set.

    It shows a white crosshatch in 480i until `shows` says something else. Not safe for several threads at once.
    """

    def __init__(self, number: int, *, dead: Sequence[str] = (), swapped: Sequence[str] = ()) -> None:
        """Have the set of that number as it comes in.

        Args:
            number: any whole number from 0.
            dead: names of controls that do nothing.
            swapped: names of controls that do the opposite of what the notes say.
        """
        self.number = number
        rng = np.random.default_rng([22, number])
        height = float(rng.uniform(240, 320))
        self._half = height * 2 / 3, height / 2
        marks = float(round(height * 4 / 3 + 45)), float(round(height + 45))
        radius = None if rng.random() < 0.5 else float(rng.uniform(1000, 2500))
        self.face = Face(
            width_mm=height * 4 / 3 * float(rng.uniform(0.93, 0.97)),
            height_mm=height * float(rng.uniform(0.93, 0.97)),
            depth_mm=float(rng.uniform(8, 18)),
            radius_mm=radius,
            marks_mm=marks,
        )
        knobs = knobs_of(controls_of(self._half), rng)
        for name in (*dead, *swapped):
            knob = knobs[name]
            knob.response = {place: -moved * (name in swapped) for place, moved in knob.response.items()}
        self._knobs: Mapping[str, Knob] = knobs
        self._rest = self._remains(rng, height)
        self._guns = _guns(rng)
        self._rng = rng
        self.camera: Camera = posed(_SIZE, self.face, rng)
        self.shows(PATTERNS["crosshatch"], parse_format("480i"))

    def _remains(self, rng: np.random.Generator, height: float) -> Mapping[Place, float]:
        """What no control moves, in mm: little, as in a set whose yoke is where it should be."""
        held: dict[Place, float] = {("", place): float(rng.normal(0, 4e-4)) * height for place in _YOKE}
        for gun in ("red", "blue"):
            for axis in "xy":
                for term in ("uv", "u3", "uv2", "u2v", "v3"):
                    held[gun, f"{axis} {term}"] = float(rng.normal(0, 0.02))
        return held

    # --- its controls ----------------------------------------------------------------------------------------

    def controls(self) -> tuple[tuple[Control, int], ...]:
        """Every control as the set's notes have it, and where it stands, in steps from its middle."""
        return tuple((knob.control, knob.steps) for knob in self._knobs.values())

    def turn(self, name: str, steps: int) -> int:
        """Turn a control by steps; how many it went until its stop.

        Raises:
            KeyError: it has no such control.
        """
        return self._knobs[name].turn(steps)

    def moved(self) -> Mapping[Place, float]:
        """The truth: what is off from right, in mm or parts of 1: by all controls, and what none of them reaches."""
        total: dict[Place, float] = dict(self._rest)
        for knob in self._knobs.values():
            for place, step in knob.response.items():
                total[place] = total.get(place, 0.0) + step * knob.moved
        return total

    def response(self, name: str) -> Mapping[Place, float]:
        """The truth: what a step of a control moves, cross-talk included, in mm or parts of 1."""
        return self._knobs[name].response

    # --- what it shows ---------------------------------------------------------------------------------------

    def shows(self, pattern: Pattern, fmt: Format, options: Options | None = None) -> None:
        """Feed it with a pattern, at full range.

        Raises:
            PatternError: the pattern cannot be drawn so.
        """
        signal = CARRIERS["png"].signal(fmt, code_range=Range.FULL)
        scene = pattern.scene(fmt, options or Options(), signal)
        planes = draw_frame(scene, fmt, signal)
        self._frame = np.stack(
            [np.asarray(plane, np.uint8) for plane in (planes if len(planes) == 3 else planes * 3)], -1
        )
        self.format = fmt

    def dark(self) -> None:
        """Feed it with black."""
        self._frame = np.zeros_like(self._frame)

    def raster(self) -> Raster:
        """The truth: where its guns put the picture, as it stands now."""
        # A wide picture is as wide as the others, and less high.
        half = self._half[0], self._half[0] / float(self.format.picture_aspect)
        return Raster.of(half, self.moved())

    def guns(self) -> Guns:
        """The truth: what light its guns make, as it stands now."""
        return self._guns.moved(self.moved())

    def _shown(self) -> Shown:
        return Shown(frame=self._frame, format=self.format, raster=self.raster(), guns=self.guns(), face=self.face)

    # --- what is taken of it ---------------------------------------------------------------------------------

    def photograph(self) -> bytes:
        """A JPEG of the set with its marks, from a camera on a stand; new noise each time."""
        return photograph(self._shown(), self.camera, self._rng)

    def view(self, height: int = 240) -> bytes:
        """A PNG of its face for the page, so many pixels high."""
        return face_view(self._shown(), height)

    def move_camera(self) -> None:
        """Put the camera somewhere else."""
        self.camera = posed(_SIZE, self.face, self._rng)

    def readings(self, fields: Sequence[tuple[str, float]] = ()) -> tuple[Reading, ...]:
        """What a meter shows of fields (colour, level in percent); without any the grey steps and red, green, blue."""
        asked = fields or [*(("grey", float(level)) for level in GREY_LEVELS), *((gun, 100.0) for gun in GUNS)]
        guns = self.guns()
        return tuple(self._read(guns, field, level) for field, level in asked)

    def _read(self, guns: Guns, field: str, level: float) -> Reading:
        xyz = guns.shown(np.array(_FIELDS[field]) * level / 100)
        noise = self._rng.standard_normal(6)
        seen = np.maximum(xyz + _DARK * noise[3:], 0.1 * xyz)
        x, y = np.clip(seen[:2] / seen.sum() + _XY_NOISE * noise[:2], 0.002, 0.9)
        light = seen[1] * (1 + _LUMINANCE_NOISE * noise[2])
        return Reading(
            field=field,
            level_percent=level,
            x=round(float(x), 4),
            y=round(float(y), 4),
            luminance=float(f"{light:.4g}"),
        )


def _guns(rng: np.random.Generator) -> Guns:
    """Guns that are right, but for their gammas, before any control is off."""
    primaries = np.array(_PHOSPHORS) + rng.uniform(-0.004, 0.004, (3, 2))
    x, y = primaries.T
    matrix = np.array([x / y, np.ones(3), (1 - x - y) / y])
    white = np.array([_D65[0] / _D65[1], 1, (1 - sum(_D65)) / _D65[1]])
    return Guns(
        primaries=primaries,
        peak=np.linalg.solve(matrix, white) * rng.uniform(80, 120),
        gamma=rng.uniform(2.25, 2.5) + 0.015 * rng.standard_normal(3),
        cutoff=np.full(3, float(rng.uniform(0.005, 0.02))),
        drive=np.ones(3),
        room=white * 0.02,
    )
