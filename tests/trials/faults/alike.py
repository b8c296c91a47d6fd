"""Which faults give the same levels: by arithmetic on the patches' colours alone.

Two ids count as equal on a pattern when one can be given a size so that no patch differs by half a code of 8 bits in
any component of the capture, either with the roundings of every stage or without any. So on 100/0/75/0 bars a gain
above 1 of full-range R'G'B', its white clipped, is a gamma as well; on greys a gain is an equal gain of each channel,
which no single `channel-gain` makes.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from itertools import permutations, product

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from patterns.formats import FORMATS
from tests.trials.faults.capture import CAPTURES, coding_of, faulty, levels, seen, usual_matrix
from tests.trials.faults.coding import Coding, Floats
from tests.trials.faults.make import Fault, applied, fault

__all__ = ["CURVES", "HALF_A_CODE", "change", "equal_ids", "equal_pair"]

HALF_A_CODE = 0.5
CURVES = ("BT.1886", "BT.709", "sRGB")
"""Transfers between which viewers convert."""

Maker = Callable[[float], Fault]

_SIZED: tuple[tuple[Maker, float, float], ...] = (
    (lambda x: fault("gain", "affine", gain=x), 0.5, 1.6),
    (lambda x: fault("offset", "affine", offset=x), -20, 20),
    (lambda x: fault("gamma", power=x), 0.5, 2.0),
    (lambda x: fault("chroma-gain", "chroma", gain=x), 0.2, 2.0),
    (lambda x: fault("hue-rotated", "chroma", degrees=x), -60, 60),
    *(((lambda x, letter=letter: fault("channel-gain", channel=letter, gain=x)), 0.5, 1.6) for letter in "RGB"),
)


def _fixed(coding: Coding) -> Iterator[Fault]:
    if coding.is_rgb:
        yield fault("range-expanded", "expanded-rgb")
        yield fault("range-compressed", "compressed-rgb")
    yield fault("range-expanded", "expanded-ycc")
    yield fault("range-compressed", "compressed-ycc")
    yield fault("setup-added", "affine", gain=0.925, offset=7.5)
    yield fault("setup-removed", "affine", gain=1 / 0.925, offset=-7.5 / 0.925)
    yield fault("footroom-clipped")
    yield fault("headroom-clipped")
    yield fault("matrix-601-as-709", "matrix", coded="601", decoded="709")
    yield fault("matrix-709-as-601", "matrix", coded="709", decoded="601")
    yield fault("components-swapped")
    for order in permutations("RGB"):
        if order != tuple("RGB"):
            yield fault("channels-swapped", order="".join(order))
    for primaries, file, shown in product(("", "SMPTE 170M", "BT.470 BG"), CURVES, CURVES):
        if primaries or file != shown:
            yield fault("colour-managed", file=file, shown=shown, primaries=primaries)
    for lost in (2, 3, 4):
        for nearest in (False, True):
            yield fault("bits-lost", lost=lost, nearest=nearest)


def change(pattern: str, format_id: str, capture: str, faults: tuple[Fault, ...]) -> float:
    """The most that a patch moves, in codes of the capture."""
    return _change(pattern, *_alike(format_id, capture), faults)


@lru_cache(maxsize=8192)
def _change(pattern: str, format_id: str, capture: str, faults: tuple[Fault, ...]) -> float:
    fmt, kind = FORMATS[format_id], CAPTURES[capture]
    coding, clean = coding_of(fmt, kind), levels(pattern, fmt, kind)
    return float(
        np.abs(seen(faulty(clean, [f.arithmetic for f in faults], coding), coding) - seen(clean, coding)).max()
    )


def equal_ids(
    pattern: str, format_id: str, capture: str, faults: tuple[Fault, ...], within: float = HALF_A_CODE
) -> frozenset[str]:
    """The ids of all single faults that give these levels. Faults of the whole picture are left out of account."""
    return _equal_ids(pattern, *_alike(format_id, capture), faults, within)


def _alike(format_id: str, capture: str) -> tuple[str, str]:
    """The first format and capture with the same levels: the matrix matters, and whether chroma is drawn or kept."""
    kind = CAPTURES[capture]
    if kind.kind != "rgb":
        capture = "y4m-444"
    elif kind.drawn != "rgb":
        capture = "png-444"
    return "480i" if usual_matrix(FORMATS[format_id]) == "601" else "720p50", capture


@lru_cache(maxsize=8192)
def _equal_ids(pattern: str, format_id: str, capture: str, faults: tuple[Fault, ...], within: float) -> frozenset[str]:
    fmt, kind = FORMATS[format_id], CAPTURES[capture]
    coding = coding_of(fmt, kind)
    found = _ids_on(levels(pattern, fmt, kind), coding, faults, within)
    if any(f.id == "bits-lost" for f in faults):
        return found
    return found | _ids_on(levels(pattern, fmt, kind, exact=True), replace(coding, rounding=False), faults, within)


def _ids_on(clean: Floats, coding: Coding, faults: tuple[Fault, ...], within: float) -> frozenset[str]:
    wanted = seen(faulty(clean, [f.arithmetic for f in faults if not f.spatial], coding), coding)
    found = {f.id for f in _fixed(coding) if _apart(applied(f, clean, coding), wanted, coding) < within}
    for maker, low, high in _SIZED:
        if _nearest(maker, low, high, clean, wanted, coding) < within:
            found.add(maker(low).id)
    return frozenset(found)


def _apart(rgb: Floats, wanted: Floats, coding: Coding) -> float:
    return float(np.abs(seen(rgb, coding) - wanted).max())


def equal_pair(pattern: str, format_id: str, capture: str, faults: tuple[Fault, ...], ids: Sequence[str]) -> bool:
    """Whether the two `ids`, with some sizes and in some order, give the same levels as `faults` do."""
    like = _alike(format_id, capture)
    kind, fmt = CAPTURES[like[1]], FORMATS[like[0]]
    # Without any rounding in between, which would tell pairs apart that nobody can.
    lossless = replace(coding_of(fmt, kind), rounding=any(f.id == "bits-lost" for f in faults))
    coding, clean = lossless, levels(pattern, fmt, kind, exact=not lossless.rounding)
    wanted = seen(faulty(clean, [f.arithmetic for f in faults], coding), coding)
    choices = [_makers(name, coding) for name in ids]
    for first, second in product(*choices):
        for makers in ((first, second), (second, first)):
            if _nearest_pair(makers, clean, wanted, coding) < HALF_A_CODE:
                return True
    return False


def _makers(name: str, coding: Coding) -> list[tuple[Maker, float, float]]:
    """Every way to make a fault with this id; a fault without a size has a range of none."""
    found = [(maker, low, high) for maker, low, high in _SIZED if maker(low).id == name]
    found += [(_always(one), 0.0, 0.0) for one in _fixed(coding) if one.id == name]
    return found


def _always(one: Fault) -> Maker:
    return lambda size: one


def _nearest_pair(
    makers: tuple[tuple[Maker, float, float], ...], clean: Floats, wanted: Floats, coding: Coding
) -> float:
    lows, highs = np.array([m[1] for m in makers]), np.array([m[2] for m in makers])

    def apart(shares: NDArray[np.float64]) -> float:
        sizes = lows + np.clip(shares, 0, 1) * (highs - lows)
        pair = [maker[0](float(size)) for maker, size in zip(makers, sizes, strict=True)]
        return _apart(faulty(clean, pair, coding), wanted, coding)

    # The worst patch as a function of the sizes has kinks, so the search is one that needs no slopes.
    starts = [np.array(start) for start in product(*((0.3, 0.5, 0.7) if m[1] < m[2] else (0.0,) for m in makers))]
    best = min(starts, key=apart)
    if (lows == highs).all():
        return apart(best)
    found = minimize(apart, best, method="Nelder-Mead", options={"maxiter": 200, "xatol": 1e-5, "fatol": 1e-3})
    return float(found.fun)


_HOPELESS = 15
"""Farther than this after the first, coarse steps, whose own width is up to 8 codes, no size is near."""


def _nearest(maker: Maker, low: float, high: float, clean: Floats, wanted: Floats, coding: Coding) -> float:
    """The least distance over all sizes: a search in ever finer steps."""
    best = np.inf
    for count in (45, 17, 17, 17):
        sizes = np.linspace(low, high, count)
        apart = [_apart(applied(maker(float(x)), clean, coding), wanted, coding) for x in sizes]
        at = int(np.argmin(apart))
        best = min(best, apart[at])
        if best > _HOPELESS or best < HALF_A_CODE:
            break
        low, high = float(sizes[max(at - 1, 0)]), float(sizes[min(at + 1, len(sizes) - 1)])
    return best
