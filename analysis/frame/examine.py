"""A captured frame examined as a whole: where the raster lies, what its levels are, and which faults account for it.

A frame that is as it was drawn is told at once; what the whole investigation needs is loaded for others only.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.blind import cannot_show
from analysis.frame.findings import Examination
from analysis.frame.levels import Frame, Reference, check_levels
from analysis.frame.tolerance import Tolerance
from patterns.pattern import Options, Pattern
from patterns.signal import Edges
from render.raster import check_raster, draw_frame

__all__ = ["examine"]


def examine(
    frame: Frame,
    pattern: Pattern,
    reference: Reference,
    *,
    tolerance: Tolerance | None = None,
    others: Callable[[], Sequence[tuple[Pattern, Options]]] = lambda: (),
    states_signal: bool = False,
) -> Examination:
    """Examine one frame for what the reference's scene should show in it.

    `others` gives the patterns that it may show instead, when it does not look like this one. `states_signal` says that
    the pattern's words depend on the signal that it was drawn for, which a capture of it need not have.

    Raises:
        FileError: it is too small.
        OtherPatternError: it shows another pattern, or none.
    """
    if _is_as_drawn(frame, reference, tolerance):
        check = check_levels(frame, reference, tolerance)
        return _answered(Examination(check=check, faults=()), frame, reference, tolerance)
    if not reference.scene.is_still:
        reason = "the pattern moves, so a frame alone does not show where its marks should be"
        check = check_levels(frame, reference, tolerance)
        found = Examination(check=check, faults=(), reasons={"registration": reason})
        return _answered(found, frame, reference, tolerance)
    # A frame as it was drawn does without it: 30 ms, and SciPy behind it half a second.
    from analysis.frame.expected import Subject
    from analysis.frame.investigate import investigate

    found = investigate(
        Subject(
            frame=frame,
            pattern=pattern,
            reference=reference,
            tolerance=tolerance,
            others=others,
            states_signal=states_signal,
        )
    )
    return _answered(found, frame, reference, tolerance)


def _answered(found: Examination, frame: Frame, reference: Reference, tolerance: Tolerance | None) -> Examination:
    blind = cannot_show(frame, reference, found.check.registration)
    return replace(found, has_tolerance=tolerance is not None, cannot_show=blind)


def _is_as_drawn(frame: Frame, reference: Reference, tolerance: Tolerance | None) -> bool:
    """Whether every sample is the drawn one, within the tolerance: then there is nothing else to look for."""
    fmt, signal = reference.format, reference.signal
    if frame.picture.planes[0].shape != (fmt.height, fmt.width) or check_raster(fmt, signal.sampling):
        return False
    limits = (tolerance or Tolerance(value=1.0)).limits(signal)
    # The usual ones of such samples first.
    for edges in (Edges.HARD, Edges.SHAPED) if signal.sampling.is_rgb else (Edges.SHAPED, Edges.HARD):
        drawn = draw_frame(reference.scene, fmt, replace(signal, edges=edges), frame.index)
        pairs = list(zip(frame.picture.planes, drawn, strict=True))
        if all(np.array_equal(seen, wanted) for seen, wanted in pairs):
            return True
        if all(
            seen.shape == wanted.shape and _largest_difference(seen, wanted) <= min(limit, 1 << (signal.bits - 8))
            for (seen, wanted), limit in zip(pairs, limits, strict=True)
        ):
            return True
    return False


def _largest_difference(seen: NDArray[Any], wanted: NDArray[Any]) -> int:
    return int(np.max(np.maximum(seen, wanted) - np.minimum(seen, wanted)))
