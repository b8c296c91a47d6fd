"""Repeated readings of one field: which of them is far off the others, and what drifted from the first to the last."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.meter.noise import meter_noise
from analysis.meter.readings.types import Field, Meter, Reading, level_text

__all__ = ["Outlier", "Repeats", "grouped", "look_at_repeats", "mean_of"]

Floats = NDArray[np.float64]

_SAME_LEVEL = 0.05
"""Percent within which two levels are one; a code of 10 bits is 0.11 %."""
_FAR = 5.0
"""Standard deviations of the meter from which a reading is an outlier: chance does so once in a million."""
_CLEAR = 4.0
"""Standard uncertainties from which a drift is reported."""
_MANY = 5
"""Fields read as often as each other from which their median change is taken for the set's."""
_LEAST_Y = 1e-3
_MATTERS = 0.01, 0.001
"""Drift of light (relative) and of x or y that is worth a word; this project's choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A reading that is not used, and why."""

    reading: Reading
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Drift:
    """What changed from a field's first reading to its last, as straight lines of one slope through all fields'."""

    luminance_percent: float
    x: float
    y: float
    uncertainty: tuple[float, float, float]
    """Standard, of the three."""

    @property
    def is_clear(self) -> bool:
        """Whether one of them stands out of chance, and matters."""
        changes = abs(self.luminance_percent / 100), abs(self.x), abs(self.y)
        least = _MATTERS[0], _MATTERS[1], _MATTERS[1]
        uncertainty = self.uncertainty[0] / 100, self.uncertainty[1], self.uncertainty[2]
        return any(c > max(m, _CLEAR * u) for c, m, u in zip(changes, least, uncertainty, strict=True))


@dataclass(frozen=True, slots=True, kw_only=True)
class Repeats:
    """What repeated readings show."""

    kept: tuple[Reading, ...]
    """All readings but the outliers, in the order of the file."""
    outliers: tuple[Outlier, ...]
    apart: tuple[str, ...]
    """Pairs of readings that differ too much, of which neither can be called wrong; a sentence each."""
    repeated: int
    """Fields that were read more than once."""
    drift: Drift | None
    """None where too little was repeated."""


def grouped(readings: Sequence[Reading]) -> list[list[Reading]]:
    """Readings of one field and level together, by field and then by level."""
    groups: list[list[Reading]] = []
    order = list(Field)
    for item in sorted(readings, key=lambda item: (order.index(item.field), item.level_percent, item.row)):
        last = groups[-1][0] if groups else None
        near = last is not None and abs(item.level_percent - last.level_percent) <= _SAME_LEVEL
        if last is not None and near and item.field is last.field:
            groups[-1].append(item)
        else:
            groups.append([item])
    return groups


def mean_of(readings: Sequence[Reading]) -> Floats:
    """XYZ (3,) in cd/m2 of readings of one field: the mean of luminance, x and y each.

    Means of X, Y and Z would mix the meter's noise in luminance, the larger one, into the colour. Outliers should be
    out already: of what is left, the mean is more certain than the median.
    """
    values = np.array([item.xyz for item in readings])
    lit = values[values[:, 1] > 0]
    if 2 * len(lit) <= len(values):
        return np.zeros(3)
    luminance = values[:, 1].mean()
    x, y = (lit[:, :2] / lit.sum(axis=1, keepdims=True)).mean(axis=0)
    return np.array([luminance * x / y, luminance, luminance * (1 - x - y) / y])


def look_at_repeats(readings: Sequence[Reading], meter: Meter) -> Repeats:
    """Find outliers among three or more readings of a field, pairs that disagree, and drift.

    Readings are compared with the median of their field. An outlier is far off both as it was read and once
    what fields share is taken out: else the first round of a set that warms up would be all outliers, and where one gun
    drifts, what greys share is not that of the primaries. Rows of the file stand for time.
    """
    outliers: list[Outlier] = []
    apart: list[str] = []
    groups = grouped(readings)
    shared = _shared(groups)
    for group in groups:
        ways = np.array([item.xyz for item in group]), _steady(group, shared)
        if len(group) == 2 and min(_off(v[:1], v[1], meter)[0] for v in ways) > _FAR * np.sqrt(2):
            one, other = group
            apart.append(
                f"rows {one.row} and {other.row} of {_named(one)} differ by far more than the meter's noise; "
                "read it once more"
            )
        if len(group) < 3:
            continue
        off = np.min([_off(values, _middle(values), meter) for values in ways], axis=0)
        far = {item.row for item, how in zip(group, off, strict=True) if how > _FAR}
        if 2 * len(far) >= len(group):
            # Where half of them are off, it is the field that changed, and no reading.
            apart.append(f"the {len(group)} readings of {_named(group[0])} scatter far more than the meter's noise")
            continue
        words = f"is far off the other {len(group) - 1} readings of it"
        outliers += [
            Outlier(reading=item, why=f"{_named(item)} {words}, and is not used") for item in group if item.row in far
        ]
    wrong = {item.reading.row for item in outliers}
    kept = tuple(item for item in readings if item.row not in wrong)
    repeated = [group for group in grouped(kept) if len(group) > 1]
    return Repeats(
        kept=kept,
        outliers=tuple(sorted(outliers, key=lambda item: item.reading.row)),
        apart=tuple(apart),
        repeated=len(repeated),
        drift=_drift(repeated, readings, meter),
    )


def _shared(groups: Sequence[Sequence[Reading]]) -> dict[int, Floats]:
    """By how many times fields were read, what they share from reading to reading, (n, 3): of the logarithm of
    luminance, of x and of y, off the median of their field.

    The median of many fields, so that one slip of the pen is none. Without those of which few were read so often.
    """
    alike: dict[int, list[Floats]] = {}
    for group in groups:
        values = np.array([item.xyz for item in group])
        if len(group) > 1 and values[:, 1].min() > 0:
            parts = _parts(values)
            alike.setdefault(len(group), []).append(parts - np.median(parts, axis=0))
    return {many: np.median(parts, axis=0) for many, parts in alike.items() if len(parts) >= _MANY}


def _parts(values: Floats) -> Floats:
    """(n, 3): the logarithm of luminance, x and y, of XYZ with light."""
    return np.column_stack([np.log(values[:, 1]), values[:, :2] / values.sum(axis=1, keepdims=True)])


def _times(group: Sequence[Reading]) -> Floats:
    """When readings of a field were made: from -0.5 at the first to 0.5 at the last."""
    rows = np.array([item.row for item in group], dtype=np.float64)
    return np.asarray((rows - rows[0]) / max(rows[-1] - rows[0], 1) - 0.5)


def _steady(group: Sequence[Reading], shared: Mapping[int, Floats]) -> Floats:
    """XYZ (n, 3) of a field's readings without the changes that fields share."""
    values = np.array([item.xyz for item in group])
    change = shared.get(len(group))
    lit = values[:, 1] > 0
    if change is None or not lit.any():
        return values
    light, x, y = (_parts(values[lit]) - change[lit]).T
    # A tube's colours are far from y = 0, drift or not.
    values[lit] = np.exp(light)[:, None] * np.column_stack([x, y, 1 - x - y]) / np.maximum(y, _LEAST_Y)[:, None]
    return values


def _middle(values: Floats) -> Floats:
    """Of readings (n, 3) the median of luminance, x and y, as XYZ."""
    luminance = float(np.median(values[:, 1]))
    lit = values[values[:, 1] > 0]
    if luminance <= 0 or not len(lit):
        return np.zeros(3)
    x, y = np.median(lit[:, :2] / lit.sum(axis=1, keepdims=True), axis=0)
    return np.array([luminance * x / y, luminance, luminance * (1 - x - y) / y])


def _named(item: Reading) -> str:
    return f"{item.field} at {level_text(item.level_percent)} %"


def _off(values: Floats, middle: Floats, meter: Meter) -> Floats:
    """How far readings (n, 3) are off, the largest of luminance, x and y, in standard deviations of one reading."""
    if middle[1] <= 0:
        return np.asarray(values[:, 1] / float(meter_noise(0.0, meter)[0]))
    spread, spot = meter_noise(middle[1], meter)
    light = np.abs(values[:, 1] - middle[1]) / spread
    total = np.maximum(values.sum(axis=1, keepdims=True), 1e-12)
    places = np.abs(values[:, :2] / total - middle[:2] / middle.sum()).max(axis=1) / spot
    return np.asarray(np.where(values[:, 1] > 0, np.maximum(light, places), light))


def _drift(groups: Sequence[Sequence[Reading]], readings: Sequence[Reading], meter: Meter) -> Drift | None:
    """A straight line through what readings are off the mean of their field, of one slope for all fields.

    Time runs from a field's own first reading to its last, so that a set that changed once, between two rounds, is said
    to have changed by that much and no more.
    """
    times, changes, weights = [], [], []
    whole = max(item.row for item in readings) - min(item.row for item in readings)
    for group in groups:
        values = np.array([item.xyz for item in group])
        if values[:, 1].min() <= 0 or group[-1].row - group[0].row < _LEAST_SPAN * whole:
            continue
        time = _times(group)
        spread, spot = meter_noise(values[:, 1].mean(), meter)
        parts = _parts(values)
        times.append(time - time.mean())
        changes.append(parts - parts.mean(axis=0))
        noise = np.array([spread / values[:, 1].mean(), spot, spot])
        weights.append(np.broadcast_to(noise**-2, parts.shape))
    if not times:
        return None
    time, change, weight = np.concatenate(times)[:, None], np.concatenate(changes), np.concatenate(weights)
    known = (weight * time**2).sum(axis=0)
    light, x, y = (weight * time * change).sum(axis=0) / known
    uncertainty = known**-0.5
    return Drift(
        luminance_percent=float(100 * np.expm1(light)),
        x=float(x),
        y=float(y),
        uncertainty=(float(100 * uncertainty[0]), float(uncertainty[1]), float(uncertainty[2])),
    )


_LEAST_SPAN = 0.25
"""Of the whole reading: readings of a field that were made at once after each other say nothing about drift."""
