"""Every condition of a meter's readings in words: what it is, what shows it, and what to do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from analysis.meter.conditions import Condition
from analysis.meter.readings.types import Meter, level_text
from analysis.rounding import figure

__all__ = ["Words", "condition_json", "meter_words", "said_of", "words_of"]

WINDOW = "read all fields again in a window of a tenth of the picture ('trueraster draw window --area 10')"


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """A condition for people."""

    title: str
    """A few words, as a heading has them."""
    evidence: str
    """A sentence without its full stop."""
    remedy: str
    """The same."""


def words_of(condition: Condition) -> Words:
    """The words of a condition."""
    title, evidence, remedy = _WORDS[condition.id, condition.variant]
    filled = _filled(condition)
    return Words(title=title.format(**filled), evidence=evidence.format(**filled), remedy=remedy.format(**filled))


def said_of(conditions: Sequence[Condition]) -> list[Words]:
    """The words of all conditions, in their order; several guns that are cut off are one sentence."""
    crushed = [one for one in conditions if one.id == "black-crushed"]
    said = []
    for one in conditions:
        words = words_of(one)
        if len(crushed) < _SEVERAL or one not in crushed:
            said.append(words)
        elif one is crushed[0]:
            where = [f"{some.gun} below {level_text(some.level_percent or 0.0)} %" for some in crushed]
            title = f"guns are cut off in the dark: {', '.join(where)}"
            evidence = "below these levels of signal they give no light, and the darkest greys lose them"
            said.append(Words(title=title, evidence=evidence, remedy=words.remedy))
    return said


_SEVERAL = 2


def condition_json(condition: Condition) -> dict[str, Any]:
    """A condition with its words, for programs."""
    words = words_of(condition)
    return {
        "id": condition.id,
        "gun": condition.gun or None,
        "other": condition.other or None,
        "level_percent": condition.level_percent,
        "amount": condition.amount,
        "unit": condition.unit,
        "uncertainty": condition.uncertainty,
        "title": words.title,
        "evidence": words.evidence,
        "remedy": words.remedy,
    }


def meter_words(meter: Meter) -> str:
    """What uncertainties are for, as a note."""
    words = f"± is the standard uncertainty, for a meter of {100 * meter.luminance:g} % in luminance and "
    words += f"{meter.xy:g} in x and y"
    if meter.dark is not None:
        words += f", a noise of {meter.dark:.1g} cd/m2 in the dark"
    if (meter.resolution or 0) >= _COARSE:
        words += f", a last digit of {meter.resolution:g} cd/m2"
    return f"{words}, x and y to {meter.xy_resolution:g}" if (meter.xy_resolution or 0) >= _COARSE else words


_COARSE = 0.001
"""cd/m2, and of x and y: a last digit from which it is mentioned."""


def _filled(condition: Condition) -> dict[str, str]:
    """What the words have places for."""
    gun = condition.gun or "all guns"
    shown = {name: f"{value:.4g}" for name, value in condition.values.items() if value is not None}
    at_least = condition.values.get("contrast_at_least")
    without = condition.values.get("contrast_without")
    now = condition.values.get("contrast_now")
    contrast = _three(without) if without is not None else ""
    if without is None and at_least is not None:
        contrast = f"more than {_three(at_least)}"
    ended = {name: f"{condition.values[name]:+.4f}" for name in ("x", "y") if condition.values.get(name) is not None}
    about = "" if condition.uncertainty is None else f" ± {figure(condition.uncertainty, 2).lstrip('+')}"
    amount = condition.amount
    return {
        **shown,
        **ended,
        "gun": gun,
        "other": condition.other,
        "level": "" if condition.level_percent is None else level_text(condition.level_percent),
        "amount": "" if amount is None else f"{abs(amount):.3g}",
        "signed": "" if amount is None else f"{amount:+.3g}",
        "about": about,
        "contrast": contrast,
        "now": "" if now is None else f", it is {now:.0f} with it",
    }


def _three(value: float) -> str:
    """A number with three figures that count."""
    return f"{float(f'{value:.3g}'):.0f}"


_WORDS: dict[tuple[str, str], tuple[str, str, str]] = {
    ("gun-clipped", ""): (
        "{gun} gun clips from {level} % up",
        "{gun} gives no more light above {level} %; at 100 % it lacks {amount} % of what its lower levels make likely",
        "turn contrast (or the {gun} drive) down until {gun} still rises above {level} %, check the signal's highest "
        "level, and read the scale again; a gun that stays flat is worn or its amplifier limits",
    ),
    ("gun-clipped", "all"): (
        "all guns clip from {level} % up",
        "no gun gives more light above {level} %; at 100 % {amount} % is lacking",
        "turn contrast down, and check the signal's range: codes above {level} % do not reach the tube",
    ),
    ("gun-compressing", ""): (
        "{gun} gun compresses from {level} % up",
        "{gun} rises less above {level} %; at 100 % it lacks {amount} % of what its lower levels make likely",
        "turn contrast down and read the scale again; a gun that still compresses is worn: keep it as the one that the "
        "others are matched to (--keep {gun})",
    ),
    ("gun-compressing", "all"): (
        "all guns compress from {level} % up",
        "all guns rise less above {level} %; at 100 % {amount} % of the light is lacking",
        "turn contrast down, and " + WINDOW,
    ),
    ("beam-current-limited", "scale"): (
        "beam current is limited from {level} % up",
        "all guns together give less light above {level} % ({limit} cd/m2) in one proportion; at 100 % {amount} % is "
        "lacking",
        WINDOW + ", or turn contrast down",
    ),
    ("beam-current-limited", "parts"): (
        "beam current is limited at white",
        "white gives {amount} %{about} less light than red, green and blue together: the set holds back its beam "
        "current, or its high voltage sags under load",
        WINDOW + ", or turn contrast down",
    ),
    ("room-light", ""): (
        "{amount} cd/m2 of the room's light is on the screen",
        "{amount} cd/m2{about} of light stays at every level whatever the guns do; without it contrast is "
        "{contrast}{now}",
        "put out the room's light or shade the glass and the meter, and read again; the advice here is for the dark "
        "room",
    ),
    ("black-crushed", ""): (
        "{gun} is cut off below {level} %",
        "{gun} gives no light below {level} % of signal (cut-off {amount} %{about} too low): the darkest greys lose it",
        "lift all three guns first (brightness, or all cut-offs) until black just shows, then match their cut-offs",
    ),
    ("black-lifted", ""): (
        "black is lifted on all guns",
        "all guns are lit at black, by {amount} % of the drive range in the mean",
        "check the range of the source first (codes 16 to 235 sent as 0 to 255 lift black by 7.3 %), then turn "
        "brightness down",
    ),
    ("warm-up-drift", ""): (
        "the set or the meter drifts",
        "from a field's first reading to its last, light changed by {signed} %, x by {x} and y by {y}",
        "let the set and the meter warm up, and read again",
    ),
    ("code-range", "levels"): (
        "levels look like codes of another range",
        "levels run from {low} to {high} %, which is where codes 16 and 235 are when they are counted in 0 to 255",
        "if the signal has narrow range, level is (code - 16) / 219: give levels from 0 to 100 %",
    ),
    ("code-range", "lifted"): (
        "black is lifted on all guns alike, as by codes of another range",
        "all guns are lit at black alike, by {amount} % of the drive range: codes 16 to 235 shown as 0 to 255 give "
        "7.3 %, and so may brightness",
        "see that the player's output and the set have one range before anything is adjusted; if they have, turn "
        "brightness down",
    ),
    ("code-range", "crushed"): (
        "codes of another range: full shown as narrow",
        "all guns are cut off alike, {amount} % of the drive range too low: codes 0 to 255 shown as 16 to 235 give "
        "6.3 %",
        "set the player's output and the set to one range before anything is adjusted, and read again",
    ),
    ("unit", "dim"): (
        "white of {amount} cd/m2: is the meter set to foot-lamberts?",
        "white reads {amount}; as foot-lamberts that is {then} cd/m2, which is usual for a picture monitor",
        "check the meter's unit: luminance has to be in cd/m2 (1 fL is 3.426 cd/m2); contrast, gamma and colour hold "
        "in either, cd/m2 do not",
    ),
    ("unit", "bright"): (
        "white of {amount} cd/m2 is no picture tube's",
        "white reads {amount}, and picture tubes reach a few hundred cd/m2",
        "check the meter's unit: luminance has to be in cd/m2",
    ),
    ("fields-exchanged", "pair"): (
        "{gun} and {other} are exchanged",
        "{gun} as read has the colour of {other}, and {other} that of {gun}",
        "see whether rows of the file are exchanged; if not, look for exchanged cables or components ('trueraster "
        "verify'). All figures of the two are wrong as they are",
    ),
    ("fields-exchanged", "one"): (
        "{gun} has the colour of {other}",
        "{gun} as read is nearer to what {other} should be than to its own place",
        "see that each row of the file has its own field, and what the source showed; its figures are wrong as they "
        "are",
    ),
}
