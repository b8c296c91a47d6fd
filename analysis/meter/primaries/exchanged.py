"""Fields that have each other's colours: exchanged rows, cables or components."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.meter.colours import uv_of, xy_of
from analysis.meter.conditions import Condition
from analysis.meter.primaries.fields import PARTS, PRIMARIES, name_of
from analysis.meter.readings.types import Field

__all__ = ["exchanged_fields"]

Floats = NDArray[np.float64]


def exchanged_fields(seen: Mapping[Field, Floats], wanted: Mapping[Field, Sequence[float]]) -> list[Condition]:
    """Fields that have each other's colours, or one that has another's; none where only primaries have.

    A field has another's colour where it is far nearer in u'v' to what that should be than to its own place.
    """
    spots = {field: uv_of(xy_of(xyz)) for field, xyz in seen.items() if xyz[1] > 0}
    places = {field: uv_of(np.array(xy)) for field, xy in wanted.items()}
    like: dict[Field, Field] = {}
    for field, spot in spots.items():
        away = {other: float(np.hypot(*(spot - place))) for other, place in places.items()}
        nearest = min(away, key=lambda other: away[other])
        if nearest is not field and away[field] > _OWN and away[nearest] < _OTHERS * away[field]:
            like[field] = nearest
    if not any(field not in PRIMARIES or other not in PRIMARIES for field, other in like.items()):
        return []
    found = []
    for field, other in like.items():
        if like.get(other) is field:
            if list(PARTS).index(field) < list(PARTS).index(other):
                found.append(Condition(id="fields-exchanged", gun=name_of(field), other=name_of(other), variant="pair"))
        else:
            found.append(Condition(id="fields-exchanged", gun=name_of(field), other=name_of(other), variant="one"))
    return found


_OWN, _OTHERS = 0.03, 0.4
"""u'v' that a field has to be off its own place, and the part of that which it may be off another's, to be called that:
cyan, magenta, yellow and white are 0.05 and more apart."""
