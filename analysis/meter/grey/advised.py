"""The advice of `measure grey` in words: what to turn, why, and what comes after; a part of its `answer`."""

from __future__ import annotations

import numpy as np

from analysis.answer import Advice, Table
from analysis.meter.colours import xy_of
from analysis.meter.grey.advice import AIM, FROM_LEVEL, Item, Mode
from analysis.meter.grey.measure import Grey
from analysis.meter.guns import GUNS
from analysis.meter.noise import meter_noise
from analysis.meter.readings.types import Meter, level_text
from analysis.rounding import decimals

__all__ = ["adjustment", "closing_of", "far_controls", "is_optional", "summary_of"]

_DECIMALS = 5
"""Of a figure at most."""
_LEVELS = f"from {100 * FROM_LEVEL:g} to 100 %"
_SHOWN_AFTER = (5, 10, 20, 50, 80, 100)
"""Levels whose expected readings are in the text; JSON has all."""
_BRIGHTER = 0.05
"""Change of white's light, of what it is, from which the answer mentions it; this project's choice."""
_USUAL = {"cut-off": 12.0, "drive": 40.0}
"""Percent that a control moves at most in a set that is only out of adjustment; common practice, no source."""
_TIMES = 300.0
"""Percent of excess light from which a reason says how many times the light it is."""
_UNITS = {"cut-off": "% of the drive range", "drive": "%"}
"""Of a control's amount: the drive range is a gun's way from black to white; a drive is moved by percent of itself."""
_WHERE = (
    "Cut-off is also named background, bias, low light or screen, drive is also named gain or high light; they are "
    "controls outside, in the set's service menu, or inside, for qualified service (common practice, no source)."
)
_AT_ITS_END = (
    "Where a control is at its end, leave it there, keep its gun with --keep, and match the others to it; where all "
    "three cut-offs of a tube are at their end, the control named screen moves them together."
)


def adjustment(grey: Grey, item: Item) -> Advice:
    level = level_text(100 * item.level)
    x, y = xy_of(np.array(item.reads)).tolist()
    light = item.reads[1]
    until = f"until grey {level} % reads x {x:.4f}, y {y:.4f}, {_light(light, grey.meter)} cd/m2"
    return Advice(
        adjust=f"{item.gun} {item.control}",
        direction="up" if item.percent > 0 else "down",
        amount=abs(item.percent),
        unit=_UNITS[item.control],
        uncertainty=item.uncertainty,
        decimals=1,
        until=until if light > 0 else f"grey {level} % stays dark until the next control is turned",
        why=_why(grey, item),
        show=f"Show grey {level} %: trueraster draw field --colour grey --level {level}",
        details={
            "gun": item.gun,
            "control": item.control,
            "level_percent": 100 * item.level,
            "reads": {"luminance": light, "x": x, "y": y},
        },
    )


def _light(luminance: float, meter: Meter) -> str:
    """A luminance with the digits that one reading of the meter has."""
    return f"{luminance:.{decimals(float(meter_noise(luminance, meter)[0]), _DECIMALS)}f}"


def _why(grey: Grey, item: Item) -> str:
    """Why a control is turned, in the state in which it is its turn: with everything before it done."""
    advice = grey.advice
    assert advice is not None
    guns = advice.guns
    if item.gun == advice.keep:
        if item.percent > 0:
            return f"as it is, {item.gun} gives too little light in the darkest greys, and they are lost"
        return f"as it is, {item.gun} gives more than a thousandth of white's light at black, and black is grey"
    gun, kept = GUNS.index(item.gun), GUNS.index(advice.keep)
    cutoff, drive = np.zeros(3), np.zeros(3)
    before = advice.items[: advice.items.index(item)]
    for other in before:
        (cutoff if other.control == "cut-off" else drive)[GUNS.index(other.gun)] = other.percent / 100
    level = level_text(100 * item.level)
    lights = guns.lights(item.level, cutoff, drive)
    if lights[kept] <= 0:
        return f"{advice.keep} gives no light at {level} % yet, and {item.gun} is matched to it"
    x, y = grey.white.xy
    needed = np.linalg.solve(guns.matrix, np.array([x / y, 1.0, (1 - x - y) / y]))
    ratio = float(lights[gun] / needed[gun] * needed[kept] / lights[kept])
    when = "with that done" if before else "as it is"
    said = f"{when}, {item.gun} gives {_much(ratio)} at {level} % than it should beside {advice.keep}"
    later = next((one for one in advice.items if one.gun == item.gun and one.control == "drive"), None)
    if item.control == "cut-off" and later is not None and (ratio > 1) == (item.percent > 0):
        way = "up" if later.percent > 0 else "down"
        much = abs(later.percent)
        said += f"; its drive goes {way} by {much:.1f} % afterwards, which changes more than that here"
    return said


def _much(ratio: float) -> str:
    percent = 100 * (ratio - 1)
    if percent >= _TIMES:
        return f"{ratio:.0f} times more light"
    return f"{abs(percent):.1f} % {'more' if percent > 0 else 'less'} light"


def far_controls(grey: Grey) -> tuple[str, ...]:
    """A warning of controls that would have to move further than they usually do."""
    items = () if grey.advice is None else grey.advice.items
    far = [f"{item.gun} {item.control}" for item in items if abs(item.percent) > _USUAL[item.control]]
    if not far:
        return ()
    return (
        f"{' and '.join(far)}: that is further than such a control usually moves. See first that the signal is grey "
        "and all guns are on; a worn gun cannot give more, and the others are matched to it with --keep",
    )


def is_optional(grey: Grey) -> bool:
    """Whether there is advice, though greys are within the aim as they are."""
    return grey.advice is not None and bool(grey.advice.items) and grey.advice.now <= AIM


def summary_of(grey: Grey) -> tuple[str, ...]:
    """What closes the advice: what comes after it, or why there is none."""
    advice = grey.advice
    if advice is None:
        return (f"Nothing can be advised: {grey.reasons['advice']}.",)
    where = _LEVELS if advice.mode is Mode.SCALE else f"at {' and '.join(level_text(100 * v) for v in advice.judged)} %"
    if not advice.items:
        words = f"Nothing: the fitted guns are within {advice.now:.4f} in u'v' of {grey.white.title} {where}"
        words += ", and what a control would be turned by is less than its own uncertainty" if advice.left_alone else ""
        return (f"{words}.", *_LEFT_OPEN[advice.mode])
    said = []
    if is_optional(grey):
        said.append(f"Greys are within {advice.now:.4f} in u'v' as they are, and {AIM:g} is enough.")
    if grey.conditions:
        said.append("What heads this answer comes first; the advice is for the set once that is put right.")
    said += [_WHERE, _AT_ITS_END]
    said.append(
        "Then read all levels again, and follow the advice on it: turning one control changes the other's step too."
    )
    again = f" That is more than {AIM:g}: a second round will be needed." if advice.likely > AIM else ""
    said.append(
        f"Once all is done, greys {where} should be within {advice.then:.4f} in u'v' of the target. With the "
        f"uncertainty of the readings they are within {advice.likely:.4f} in 95 of 100 cases.{again}"
    )
    white = grey.figures["white_cd_m2"]
    then = next((step.xyz[1] for step in advice.steps if abs(step.level - 1) < 0.006), None)
    if white is not None and then is not None and abs(then / white - 1) > _BRIGHTER:
        said.append(
            f"White changes from {white:.0f} to {then:.0f} cd/m2; the contrast control, which moves all guns alike, "
            "sets it where it is wanted."
        )
    said.append(f"The {advice.keep} drive stays as it is, and the others are matched to it; --keep names another gun.")
    return (*said, *_LEFT_OPEN[advice.mode])


_LEFT_OPEN: dict[Mode, tuple[str, ...]] = {
    Mode.SCALE: (),
    Mode.TWO: (
        "So few levels do not show the greys between them, black, gamma, or guns that clip or are limited: read all "
        "levels once at the end.",
    ),
    Mode.ONE: ("Only that one level is seen: read a second one, dark where this is bright, for cut-offs and drives.",),
}


def closing_of(grey: Grey) -> tuple[Table, ...]:
    """What a few steps read once the advice has been followed."""
    if grey.advice is None or not grey.advice.items:
        return ()
    steps = grey.advice.steps
    shown = {min(steps, key=lambda step: abs(100 * step.level - level)).level for level in _SHOWN_AFTER}
    rows = []
    for step in steps:
        if step.level in shown:
            x, y = xy_of(np.array(step.xyz)).tolist()
            light = _light(step.xyz[1], grey.meter)
            off = (f"{step.delta_uv:.4f}", f"{step.likely:.4f}")
            rows.append((f"{level_text(100 * step.level)} %", light, f"{x:.4f}", f"{y:.4f}", *off))
    head = ("once done", "cd/m2", "x", "y", "colour error, u'v'", "likely within")
    return (Table(head=head, rows=tuple(rows)),)
