"""What a grey scale shows besides controls that are off: each condition with its evidence, for `remedies` to name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from analysis.meter.conditions import Condition, drift_condition, unit_condition
from analysis.meter.grey.gun_fit import FoundGuns
from analysis.meter.grey.limits import ALL, LIMIT, ROOM
from analysis.meter.grey.scale import BLACK
from analysis.meter.guns import GUNS, NO_TOP, Guns
from analysis.meter.noise import mean_noise
from analysis.meter.readings.types import Field, Meter, Reading
from analysis.meter.repeats import Drift, mean_of

__all__ = ["Evidence", "conditions_of"]

_FLAT = 0.3
"""Slope above a knee up to which a gun clips; above, it compresses."""
_CRUSHED = 0.008
"""Of the drive range: what a cut-off has to be below nothing for dark greys to be lost. Three uncertainties, where that
is more."""
_LIFTED = 0.06
"""Of the drive range: mean cut-off from which black is called lifted."""
_FOOT, _SPAN = 16 / 255, 219 / 255
"""Of full range: where black of narrow range is, and how far white is from it (BT.601)."""
_ALIKE, _NEAR = 0.02, 0.018
"""Of the drive range: how far cut-offs are from their mean, and that from what a wrong range makes."""
_EDGE = 0.45
"""Percent of level within which levels end where narrow range does; a code of 8 bits is 0.39 %."""
_SHORT = 0.05, 4.0
"""Share of light that white lacks of its parts, and standard uncertainties of it, from which current is limited."""
_PART_LEVEL = 0.5
"""Percent within which primaries were read at white's level."""


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What conditions are looked for in."""

    readings: Sequence[Reading]
    """All that are used."""
    found: FoundGuns
    meter: Meter
    drift: Drift | None
    figures: Mapping[str, float | None] = field(default_factory=dict)
    """Of the whole scale."""
    judged: bool = True
    """Whether enough levels were read for the fit of guns to be judged."""


def conditions_of(evidence: Evidence) -> tuple[Condition, ...]:
    """All conditions, those that disturb the others first."""
    guns, causes = evidence.found.guns, evidence.found.causes
    greys = [item for item in evidence.readings if item.field is Field.GREY]
    found = [*_levels(greys), *unit_condition(_brightest(greys))]
    if evidence.drift is not None and evidence.drift.is_clear:
        found.append(drift_condition(evidence.drift))
    if guns is None or not evidence.judged:
        return (*found, *_short(evidence, greys))
    if ROOM in causes:
        found.append(_room(guns, evidence.figures))
    found += _black(guns, known=any(one.id == "code-range" for one in found))
    short = [] if LIMIT in causes else _short(evidence, greys)
    if short and ALL in causes:
        # Guns that compress would do so alone too; what happens to them only together is the set's limit.
        return (*found, _limited(guns, float(guns.top.knee[0])))
    limited = [_limited(guns)] if LIMIT in causes else short
    return (*found, *limited, *(_knee(guns, one) for one in causes if one not in (ROOM, LIMIT)))


def _brightest(greys: Sequence[Reading]) -> tuple[float, float]:
    """The level in percent and the light of the brightest grey."""
    top = max(greys, key=lambda item: item.level_percent)
    return top.level_percent, top.luminance


def _room(guns: Guns, figures: Mapping[str, float | None]) -> Condition:
    """Light of the room, with the contrast that would be without it, or what that is at least."""
    spread = float(np.sqrt(max(guns.covariance[9, 9], 0)))
    white = figures.get("white_cd_m2") or float(guns.xyz(1.0)[1])
    own = [float(other.lights(0.0).sum()) for other in guns.samples(_SAMPLES)]
    dark, most = float(guns.lights(0.0).sum()), float(np.percentile(own, 97.5))
    values = {"contrast_now": figures.get("contrast"), "contrast_at_least": (white - guns.room) / max(most, 1e-6)}
    certain = dark > 0 and np.std(own) < _KNOWN * dark
    values["contrast_without"] = (white - guns.room) / dark if certain else None
    return Condition(id="room-light", amount=guns.room, unit="cd/m2", uncertainty=spread, values=values)


_SAMPLES = 100
_KNOWN = 0.3
"""Relative uncertainty of the guns' own black up to which contrast without the room's light has a figure."""


def _black(guns: Guns, *, known: bool) -> list[Condition]:
    """Blacks that are crushed or lifted, gun by gun; or a range that was taken for another."""
    cutoff = guns.cutoff
    spread = np.sqrt(np.maximum(np.diag(guns.covariance)[3:6], 0))
    mean = float(cutoff.mean())
    alike = float(np.abs(cutoff - mean).max()) < _ALIKE
    narrow_as_full, full_as_narrow = _FOOT / _SPAN, -_FOOT
    for made, value in (("lifted", narrow_as_full), ("crushed", full_as_narrow)):
        if not known and alike and abs(mean - value) < _NEAR and spread.max() < _NEAR / 1.5:
            shift = Condition(id="code-range", amount=100 * mean, unit="% of the drive range", variant=made)
            return [shift]
    crushed = [
        Condition(
            id="black-crushed",
            gun=gun,
            level_percent=-100 * float(own),
            amount=-100 * float(own),
            unit="% of the drive range",
            uncertainty=100 * float(u),
        )
        for gun, own, u in zip(GUNS, cutoff, spread, strict=True)
        if own < -max(_CRUSHED, 3 * u)
    ]
    if mean - 2 * spread.max() > _LIFTED:
        crushed.append(Condition(id="black-lifted", amount=100 * mean, unit="% of the drive range"))
    return crushed


def _levels(greys: Sequence[Reading]) -> list[Condition]:
    """Levels that end where codes of narrow range do when they are counted in full range."""
    levels = sorted({item.level_percent for item in greys})
    foot, top = 100 * _FOOT, 100 * (_FOOT + _SPAN)
    if len(levels) > 2 and abs(levels[0] - foot) < _EDGE and abs(levels[-1] - top) < _EDGE:
        return [Condition(id="code-range", variant="levels", values={"low": levels[0], "high": levels[-1]})]
    return []


def _short(evidence: Evidence, greys: Sequence[Reading]) -> list[Condition]:
    """Whether white gives less light than red, green and blue together."""
    level = max(item.level_percent for item in greys)
    parts = {
        gun: [i for i in evidence.readings if i.field == gun and abs(i.level_percent - level) <= _PART_LEVEL]
        for gun in GUNS
    }
    white = [item for item in greys if item.level_percent == level]
    black = [item for item in greys if item.level_percent <= BLACK]
    if not all(parts.values()) or not black:
        return []
    groups = [*parts.values(), white, black]
    lights = np.array([mean_of(items)[1] for items in groups])
    spread = mean_noise(lights, [len(items) for items in groups], evidence.meter)[0]
    together = float(lights[:3].sum() - 2 * lights[4])
    lacks = 1 - float(lights[3]) / together if together > 0 else 0.0
    uncertainty = float(np.hypot(spread[3], np.hypot(*spread[:2])) / together) if together > 0 else 1.0
    uncertainty = float(np.hypot(uncertainty, spread[2] / max(together, 1e-9)))
    if lacks <= max(_SHORT[0], _SHORT[1] * uncertainty):
        return []
    return [
        Condition(
            id="beam-current-limited",
            level_percent=None,
            amount=100 * lacks,
            unit="%",
            uncertainty=100 * uncertainty,
            variant="parts",
        )
    ]


def _held(guns: Guns) -> NDArray[np.float64]:
    """Share of each gun's light at 100 % that is held back, (3,)."""
    return np.asarray(1 - guns.lights(1.0) / np.maximum(_free(guns).lights(1.0), 1e-12))


def _free(guns: Guns) -> Guns:
    return replace(guns, top=NO_TOP)


def _limited(guns: Guns, knee: float | None = None) -> Condition:
    """Limited beam current: from where the guns' light reaches the limit, or from the `knee` of all of them."""
    levels = np.linspace(0, 1.1, 1101)
    together = _free(guns).lights(levels).sum(axis=-1)
    if knee is None:
        limit = guns.top.limit
        from_level = float(levels[min(int(np.searchsorted(together, limit)), len(levels) - 1)])
    else:
        from_level = float(knee * (1 + guns.cutoff.mean()) - guns.cutoff.mean())
        limit = float(np.interp(from_level, levels, together))
    return Condition(
        id="beam-current-limited",
        level_percent=100 * from_level,
        amount=100 * float(_held(guns).max()),
        unit="%",
        variant="scale",
        values={"limit": limit},
    )


def _knee(guns: Guns, which: str | int) -> Condition:
    gun = 0 if which == ALL else int(which)
    own = float(guns.cutoff[gun])
    level = 100 * (float(guns.top.knee[gun]) * (1 + own) - own)
    return Condition(
        id="gun-clipped" if guns.top.slope[gun] < _FLAT else "gun-compressing",
        gun="" if which == ALL else GUNS[gun],
        level_percent=level,
        amount=100 * float(_held(guns)[gun]),
        unit="%",
        variant="all" if which == ALL else "",
    )
