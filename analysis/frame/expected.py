"""A frame under examination, and the raster that it should show after what is known of the chain so far."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from analysis.frame.faults.codes import to_rgb, to_ycbcr
from analysis.frame.faults.diagnose import Diagnosis
from analysis.frame.faults.recognise import usual_places
from analysis.frame.faults.structure import FieldStructure
from analysis.frame.fractions import frame_luma
from analysis.frame.levels import Frame, Reference
from analysis.frame.place.axes import Registration
from analysis.frame.place.drawn import Drawn, Plane
from analysis.frame.place.register import fit_layouts
from analysis.frame.tolerance import Tolerance
from patterns.pattern import Options, Pattern
from patterns.signal import Edges, Range

__all__ = ["WOVEN", "Expected", "Subject"]

WOVEN = FieldStructure(kind="woven")


@dataclass(frozen=True, kw_only=True)
class Subject:
    """A frame under examination, with what `examine` takes; planes are worked out when they are first asked for."""

    frame: Frame
    pattern: Pattern
    reference: Reference
    tolerance: Tolerance | None
    others: Callable[[], Sequence[tuple[Pattern, Options]]]
    states_signal: bool

    @cached_property
    def luma(self) -> Plane:
        """(rows, columns) of the frame, 0 black and 1 white."""
        return frame_luma(self.frame, self.reference.signal)

    @cached_property
    def drawn(self) -> Drawn:
        return Drawn(self.reference.scene, self.reference.format, self.reference.signal.matrix)

    @cached_property
    def is_coloured(self) -> bool:
        return max(float(np.ptp(plane)) for plane in self.drawn.chroma) > 0.05

    @cached_property
    def layouts(self) -> list[tuple[float, float]]:
        """Shares of the frame that a picture of another shape may fill, across and down."""
        return fit_layouts(self.reference.format, *reversed(self.luma.shape))

    @cached_property
    def usual_places(self) -> list[Registration]:
        return usual_places(self.reference.format, *reversed(self.luma.shape))


@dataclass(frozen=True, kw_only=True)
class Expected:
    """The drawn raster as it should come out of the chain."""

    subject: Subject
    fields: FieldStructure = WOVEN
    diagnosis: Diagnosis | None = None
    """What the chain did to levels; None before that was looked for."""

    @cached_property
    def rows(self) -> Plane:
        """Luma as drawn, its rows where the chain's fields put them."""
        rows: Plane = self.fields.rows(self.subject.drawn.luma)
        return rows

    @cached_property
    def luma(self) -> Plane:
        """The same after what was done to its levels; colours that the capture has no codes for are cut."""
        return self._changed(self.rows, *self.subject.drawn.chroma)

    @cached_property
    def with_other_edges(self) -> list[Plane]:
        """Luma of the raster with other edges, after the same chain: as a computer's raster and R'G'B' have them."""
        drawn = self.subject.drawn
        hard = replace(drawn, edges=Edges.HARD)
        found = [self._changed(hard.luma, *hard.chroma)]
        if self.subject.is_coloured:
            found.append(self._changed(*drawn.of_guns))
        return found

    @cached_property
    def chroma(self) -> tuple[Plane, Plane]:
        """C'B and C'R as drawn after what was done to their levels."""
        if self.diagnosis is None or not self.diagnosis.steps:
            return self.subject.drawn.chroma
        drawn = self.subject.drawn
        return self._all_changed(drawn.luma, *drawn.chroma)[1:]

    def _changed(self, luma: Plane, cb: Plane, cr: Plane) -> Plane:
        """Luma of a drawn raster after what the diagnosis says that the chain did to its levels."""
        signal = self.subject.reference.signal
        cut = signal.sampling.is_rgb or signal.range is Range.FULL
        if not (self.diagnosis and self.diagnosis.steps) and not (cut and self.subject.is_coloured):
            return luma
        return self._all_changed(luma, cb, cr)[0]

    def _all_changed(self, luma: Plane, cb: Plane, cr: Plane) -> tuple[Plane, Plane, Plane]:
        signal = self.subject.reference.signal
        diagnosis = self.diagnosis or Diagnosis(faults=(), left=0.0)
        # Most rows of a pattern are alike: each kind is worked out once.
        kinds: dict[bytes, int] = {}
        group = [
            kinds.setdefault(b"".join((a.tobytes(), b.tobytes(), c.tobytes())), row)
            for row, (a, b, c) in enumerate(zip(luma, cb, cr, strict=True))
        ]
        first, which = np.unique(group, return_inverse=True)
        ycc = np.stack([luma[first], cb[first], cr[first]], axis=-1)
        rgb = to_rgb(ycc.reshape(-1, 3).astype(np.float64), signal.matrix)
        changed = to_ycbcr(diagnosis.apply(rgb, signal), signal.matrix)
        whole: Plane = changed.reshape(*ycc.shape).astype(np.float32)[which]
        return whole[..., 0], whole[..., 1], whole[..., 2]
