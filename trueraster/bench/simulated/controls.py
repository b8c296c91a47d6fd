"""SIMULATION: the invented set's controls: steps that are never quite what the notes say, stiction and cross-talk."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

__all__ = ["GUNS", "MOST_STEPS", "Control", "Knob", "Place", "controls_of", "knobs_of"]

Floats = NDArray[np.float64]
Place = tuple[str, str]
"""What is moved: a gun ('' for the whole picture) and its axis and term, as ('red', 'x u2')."""

GUNS = ("red", "green", "blue")
MOST_STEPS = 127
"""That a control has on either side of its middle."""
_CROSS_TALK = 0.10
"""Of what a control moves, that it moves elsewhere too."""
_OFF_NOTES = 0.20
"""How far a step may be from what the set's notes say, as a share."""
_PLAY = (0.5, 2.5)
"""Steps of play: what a control does not do when it is first turned the other way."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """A control as the set's notes have it."""

    name: str
    """In the set's own words: 'E/W PIN', 'R H STAT'."""
    title: str
    """In the tool's words: 'Side pincushion', 'Red static convergence, horizontal'."""
    family: str
    """geometry, convergence or grey."""
    gun: str
    positive: str
    """What turning it by positive steps does, as 'wider'."""
    negative: str
    step: float
    """What a step moves, about: in `unit`."""
    unit: str
    """mm, or %."""
    off: float
    """How far it is off at most when the set comes in, in `unit`."""
    axis: str
    term: str
    share: float
    """Millimetres (or parts of 1, of a gun) of its term for one `unit`."""

    @property
    def place(self) -> Place:
        """What it moves."""
        return self.gun, f"{self.axis} {self.term}".strip()


@lru_cache(maxsize=1)
def _table() -> Mapping[str, Any]:
    return tomllib.loads((files("trueraster.bench.simulated") / "controls.toml").read_text(encoding="utf-8"))


def controls_of(half_mm: tuple[float, float]) -> tuple[Control, ...]:
    """Every control of a set whose picture has these halves of its width and height, in mm."""
    table = _table()
    made = [_control(one, "geometry", "", half_mm) for one in table["geometry"]]
    made += [_control(one, "convergence", gun, half_mm) for gun in ("red", "blue") for one in table["convergence"]]
    made += [_control(one, "grey", gun, half_mm) for one in table["grey"] for gun in GUNS]
    return tuple(made)


def _control(held: Mapping[str, Any], family: str, gun: str, half_mm: tuple[float, float]) -> Control:
    of_half, factor = held.get("of_half", ""), held.get("factor", 1.0)
    half = {"width": half_mm[0], "height": half_mm[1]}.get(of_half, 1.0)
    share = 0.01 if family == "grey" else half / 100 / factor if of_half else 1 / factor
    title = f"{gun} {held['title']}".strip()
    return Control(
        name=f"{gun[:1].upper()} {held['name']}".strip(),
        title=title[:1].upper() + title[1:],
        family=family,
        gun=gun,
        positive=held["positive"],
        negative=held["negative"],
        step=held["step"],
        unit="%" if of_half or family == "grey" else "mm",
        off=held["off"],
        axis=held["axis"],
        term=held["term"],
        share=share,
    )


@dataclass(slots=True)
class Knob:
    """One control of one set: where it stands, and what it moves."""

    control: Control
    response: Mapping[Place, float]
    """What a step moves, in mm of each term or parts of 1; the first is its own, others are cross-talk."""
    play: float
    """Steps between turning one way and the other."""
    steps: int
    """Where it stands, from -127 to 127."""
    offset: float
    """How far its middle is from where it would be right, in steps."""
    moved: float
    """Where what it drives stands, in steps: it follows by its play. Nothing is off where this is 0."""

    def turn(self, steps: int) -> int:
        """Turn it by steps, up to its stop; how many it went."""
        before = self.steps
        self.steps = int(np.clip(before + steps, -MOST_STEPS, MOST_STEPS))
        went = self.steps - before
        # What it drives is pushed along at one end of the play only.
        pushed = self.steps + self.offset
        self.moved = float(np.clip(self.moved, pushed - self.play / 2, pushed + self.play / 2))
        return went


def knobs_of(controls: tuple[Control, ...], rng: np.random.Generator) -> dict[str, Knob]:
    """The controls of one set by name, as it comes in."""
    return {control.name: _knob(control, controls, rng) for control in controls}


def _knob(control: Control, controls: tuple[Control, ...], rng: np.random.Generator) -> Knob:
    step = control.step * control.share * (1 + rng.uniform(-_OFF_NOTES, _OFF_NOTES))
    same = [one for one in controls if one.family == control.family and one.gun == control.gun and one != control]
    if control.family == "grey":
        # A gun's drive moves its own cut-off, and its cut-off that of the next gun, through what feeds all three.
        wanted = (control.gun, "cutoff") if control.axis == "drive" else (_next(control.gun), "cutoff")
        same = [one for one in controls if one.place == wanted]
    other = same[int(rng.integers(len(same)))]
    response = {control.place: step, other.place: step * _CROSS_TALK * float(rng.choice((-1, 1)))}
    # Half of a set's controls are nearly right.
    off = control.off * (rng.uniform(-1, 1) if rng.random() < 0.6 else rng.uniform(-0.1, 0.1))
    play = float(rng.uniform(*_PLAY))
    offset = off * control.share / step
    steps = int(rng.integers(-8, 9))
    return Knob(control=control, response=response, play=play, steps=steps, offset=offset - steps, moved=offset)


def _next(gun: str) -> str:
    return GUNS[(GUNS.index(gun) + 1) % 3]
