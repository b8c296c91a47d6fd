"""What is wrong in parts of a picture only: dropouts in single lines, something laid over it, and a torn frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.faults.surface import Areas

__all__ = ["Spots", "dither_bits", "find_spots", "find_torn", "sample_noise", "toned"]

_FAR = 0.08
"""An error of luma, in fractions of white, from which a sample counts as wrong."""
_FAR_IN_DETAIL, _FEW_LINES = 0.15, 0.45
"""The same in fine detail, against other lines drawn alike; where more lines than this share differ, none is odd."""
_RUN = 10
"""Samples in a row that a dropout lasts at least."""
_SOLID = 0.7
"""Share of the lines of what lies over a picture that show it: one field alone is no display."""
_TALL = 7
"""Lines from which what is wrong is more than a dropout."""
_TONES = 64
_PLAIN = 0.03
"""Deviation along a drawn line, in fractions of white, below which it shows nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spots:
    """Where a frame is wrong in parts."""

    id: str
    """dropouts, overlay or torn; empty where it is wrong nowhere."""
    wrong: NDArray[np.bool_]
    """(rows, columns): the samples to leave out of account."""
    share: float = 0.0
    """Of the picture, from 0 to 1."""
    count: int = 0
    """Of dropouts: how many."""
    box: tuple[int, int, int, int] = (0, 0, 0, 0)
    """Of what is laid over: left, top, right and bottom."""
    line: int = 0
    """Of a torn frame: the line from which on it is another one."""


def toned(luma: Any, areas: Areas) -> Any:
    """The drawn luma, (rows, columns), with the tone that the frame's flat areas have: medians level by level."""
    tone = np.clip((areas.drawn * 0.8 + 0.1) * _TONES, 0, _TONES - 1).astype(int)
    inner = areas.flat
    at, seen, drawn = tone[inner], luma[inner], areas.drawn[inner]
    known, levels = [], []
    for one in np.unique(at):
        which = at == one
        if int(which.sum()) >= 24:
            known.append(float(np.median(drawn[which])))
            levels.append(float(np.median(seen[which])))
    if not known:
        return areas.drawn
    if len(known) == 1:
        return areas.drawn + (levels[0] - known[0])
    order = np.argsort(known)
    return np.interp(areas.drawn, np.array(known)[order], np.array(levels)[order])


def sample_noise(luma: Any, areas: Areas) -> float:
    """A sample's standard deviation where the picture is flat: three quarters of the levels have less.

    From neighbours along the lines and from neighbours down the picture, whichever are more alike: what varies slowly,
    swings along the lines or differs from line to line is no noise. Levels at the end of the codes have half of their
    noise cut off.
    """
    across = _noise(luma, areas.flat, areas.tag)
    # Lines of one field are two apart.
    return min(across, _noise(luma.T, areas.flat.T, areas.tag.T)) if across > _QUIET else across


_QUIET = 0.002
"""Deviation of neighbours, in fractions of white, below which they need not be looked at down the picture as well."""


def _noise(luma: Any, flat: Any, tag: Any) -> float:
    both = flat[:, 2:] & flat[:, :-2] & (tag[:, 2:] == tag[:, :-2])
    apart = (luma[:, 2:] - luma[:, :-2])[both]
    tags = tag[:, 2:][both]
    found = []
    for one in np.unique(tags):
        some = apart[tags == one]
        if len(some) >= 200:
            found.append(float(np.std(some[np.abs(some) < 6 * np.percentile(np.abs(some), 80) + 1e-9])))
    return float(np.percentile(found, 75)) / np.sqrt(2) if found else 0.0


def find_spots(luma: Any, expected: Any, areas: Areas, noise: float, rest: Any) -> Spots:
    """Where luma, (rows, columns), is far from what is expected there, in shapes that name what did it.

    `rest` is luma less what lines drawn alike have in common; it shows in fine detail what flat areas show as well.
    """
    # What is examined in full needs it, a good frame does not.
    from scipy.ndimage import find_objects, label, maximum_filter1d

    wrong = (np.abs(luma - expected) > max(_FAR, 6 * noise)) & areas.flat
    odd = (np.abs(rest) > max(_FAR_IN_DETAIL, 6 * noise)) & ~areas.flat
    if float((odd.mean(axis=1) > 0.01).mean()) < _FEW_LINES:
        wrong |= odd
    nothing = Spots(id="", wrong=np.zeros_like(wrong))
    share = float(wrong.mean())
    if share < 1e-5:
        return nothing
    # What lies within a few samples of each other is one thing.
    joined = maximum_filter1d(maximum_filter1d(wrong, 9, axis=1), 5, axis=0)
    labels, count = label(joined)
    sizes = np.bincount(labels.ravel(), wrong.ravel(), minlength=count + 1)
    runs, large = 0, []
    height, width = wrong.shape
    for i, (rows, columns) in enumerate(find_objects(labels), 1):
        tall, wide = rows.stop - rows.start - 4, columns.stop - columns.start - 8
        if (tall < _TALL or wide > width / 2) and (rows.start == 0 or rows.stop == height):
            # A border is no spot.
            wrong[rows] = False
            continue
        is_solid = sizes[i] > 0.1 * tall * wide and float(wrong[rows, columns].any(axis=1).mean()) > _SOLID
        if is_solid and _is_whole_patch(wrong & (labels == i), areas):
            continue
        if tall >= _TALL and sizes[i] > 0.0015 * wrong.size and is_solid:
            large.append((float(sizes[i]), (columns.start, rows.start, columns.stop, rows.stop)))
        elif tall < _TALL and wide >= _RUN:
            runs += 1
    if large:
        box = max(large)[1]
        at = np.zeros_like(wrong)
        at[box[1] : box[3], box[0] : box[2]] = True
        inside = (box[2] - box[0]) * (box[3] - box[1]) / wrong.size
        if inside < 0.6:
            return Spots(id="overlay", wrong=at | wrong, share=inside, box=box)
        return nothing
    if runs >= 2:
        # A dropout runs over edges as well.
        at = maximum_filter1d(wrong, 41, axis=1) & (maximum_filter1d(wrong, 41, axis=1).any(axis=1))[:, None]
        return Spots(id="dropouts", wrong=at, share=share, count=runs)
    return nothing


def _is_whole_patch(wrong: Any, areas: Areas) -> bool:
    """Whether what is wrong is all that was drawn at its levels: the chain does that, and nothing lies over it."""
    there = np.bincount(areas.tag[areas.flat])
    own = np.bincount(areas.tag[wrong & areas.flat], minlength=len(there))
    whole = own > _WHOLE * np.maximum(there, 1)
    return bool(own[whole].sum() > _WHOLE * wrong.sum())


_WHOLE = 0.8
"""Share of the samples of a drawn level, and of a spot, from which a spot is that level's own error."""


def _has_twins(drawn: Any, like: Any, at: int, is_below: bool, least: float) -> bool:
    """Whether lines that were drawn alike are right on one side and wrong on the other: other lines may be softer."""
    kinds: dict[bytes, int] = {}
    kind = np.array([kinds.setdefault(np.round(row, 2).tobytes(), i) for i, row in enumerate(drawn)])
    bad = np.arange(len(kind)) >= at if is_below else np.arange(len(kind)) < at
    found = counted = 0
    for one in np.unique(kind):
        own = kind == one
        right, wrong = like[own & ~bad], like[own & bad]
        if len(right) and len(wrong):
            counted += len(wrong)
            found += len(wrong) * (float(np.median(right)) - float(np.median(wrong)) > least)
    return counted > 0.2 * bad.sum() and found > 0.7 * counted


def dither_bits(plane: NDArray[Any], areas: Areas, bits: int) -> int | None:
    """How many bits a plane of codes, (rows, columns), really has, where levels are mixed of distant codes; else None.

    Noise has all codes between as well.
    """
    where = np.flatnonzero(areas.flat)
    if plane.shape != areas.flat.shape or not len(where):
        return None
    tags, codes = areas.tag.ravel()[where], plane.ravel()[where].astype(np.int64)
    often = np.bincount(tags * (1 << bits) + codes)
    gaps: list[int] = []
    mixed = counted = 0
    for tag in np.unique(tags):
        own = often[tag << bits : (tag + 1) << bits]
        total = int(own.sum())
        if total < 200:
            continue
        used = np.flatnonzero(own > 0.02 * total)
        counted += 1
        mixed += len(used) > 1
        gaps += np.diff(used).tolist()
    unit = 1 << (bits - 8)
    both = areas.flat[:, 1:] & areas.flat[:, :-1] & (areas.tag[:, 1:] == areas.tag[:, :-1])
    # Dither changes from sample to sample; steps of something else do so in places only.
    if float(np.mean((plane[:, 1:] != plane[:, :-1])[both])) < 0.05:
        return None
    if mixed < 2 or mixed < 0.2 * counted or float(np.percentile(gaps, 10)) < 2.5 * unit:
        return None
    return max(1, round(float(np.log2(256 * unit / np.median(gaps)))))


def find_torn(luma: Any, areas: Areas) -> Spots | None:
    """A frame of which the lines from one on, or up to one, do not go with what was drawn there, and the others do.

    Luma is (rows, columns). Lines are compared by their correlation, so neither a wrong level nor noise matters.
    """
    height = len(luma)
    seen, drawn = (values - values.mean(axis=1, keepdims=True) for values in (luma, areas.drawn))
    power = (drawn**2).mean(axis=1)
    told = np.flatnonzero(power > _PLAIN**2)
    if len(told) < height // 4:
        return None
    like = np.einsum("ij,ij->i", seen, drawn)[told] / luma.shape[1]
    like = like / np.sqrt(power[told] * np.maximum((seen[told] ** 2).mean(axis=1), 1e-9))
    edge = max(6, len(told) // 12)
    sums = np.concatenate([[0.0], np.cumsum(like)])
    counts = np.arange(edge, len(told) - edge)
    above, below = sums[counts] / counts, (sums[-1] - sums[counts]) / (len(told) - counts)
    at = int(counts[np.argmax(np.abs(above - below))])
    parts = like[:at], like[at:]
    good, bad = sorted(parts, key=lambda part: -float(np.median(part)))
    usual, worse = float(np.median(good)), float(np.median(bad))
    # On one side all goes together, on the other nothing does.
    if usual < 0.6 or worse > usual - 0.12 or float(np.percentile(good, 8)) < worse + 0.6 * (usual - worse):
        return None
    if float(np.percentile(bad, 85)) > worse + 0.4 * (usual - worse):
        return None
    if not _has_twins(areas.drawn[told], like, at, bad is parts[1], 0.5 * (usual - worse)):
        return None
    line = int(told[at])
    wrong = np.zeros(luma.shape, bool)
    if bad is parts[1]:
        wrong[line:] = True
    else:
        wrong[:line] = True
    return Spots(id="torn", wrong=wrong, share=float(wrong.mean()), line=line)
