"""One thing that a playback chain may do to levels, as a function with parameters."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from patterns.signal import Signal

__all__ = ["Floats", "Parameters", "Step"]

Floats = NDArray[np.float64]
Parameters = tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One thing that a chain may do. Several ways of doing the same thing share an `id`."""

    id: str
    way: str
    apply: Callable[[Floats, Parameters, Signal], Floats]
    """From R'G'B' fractions, the parameters, and the captured signal, to R'G'B' fractions."""
    start: Parameters = ()
    lowest: Parameters = ()
    highest: Parameters = ()
    usual: Parameters = ()
    """How far from its start a parameter usually lies: the width of what is expected of it."""
    rare: float = 0.0
    """Price of a way that is met less often than the others of its kind, in the criterion's units."""
    tell: Callable[[Parameters], dict[str, float | str]] = lambda parameters: {}
    """The parameters by the names and in the units that a user reads."""
    drops: int = 0
    """Low bits, of 8, that are lost."""
    colour_only: bool = False
    """Whether greys pass it unchanged."""
    like_on_greys: bool = False
    """Whether greys cannot tell it from another way of its kind."""
    untold_by_greys: tuple[str, ...] = ()
    """Names of parameters that greys show nothing of."""
