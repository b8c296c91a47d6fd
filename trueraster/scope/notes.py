"""What to know before comparing a waveform with the screen of an oscilloscope."""

from __future__ import annotations

from analysis.waveform.interface import SignalKind
from analysis.waveform.reading import beyond_samples_mv, overshoot_mv
from analysis.waveform.wave import picture_samples
from patterns.formats import Family
from patterns.lines import row_of, timing_of
from patterns.signal import Edges
from patterns.standards.timing import NOMINAL_SYNC_US
from trueraster.scope.request import View

__all__ = ["scope_notes"]

_RINGS_MV = 5.0
"""Rings are reported from here on: the patterns' own shaped edges of 700 mV have 3."""


def scope_notes(view: View) -> list[str]:
    """What to know before comparing it with the screen of an oscilloscope; a sentence each, without a full stop."""
    fmt, signal = view.format, view.source.signal
    timing = timing_of(fmt)
    notes = []
    if view.interface.signal is SignalKind.COMPOSITE:
        notes.append("luma only, without burst and subcarrier; to compare, switch the oscilloscope's chroma filter on")
    if view.line is not None and row_of(fmt, view.line) is None:
        notes.append(f"line {view.line} is in the vertical blanking and has no picture")
    elif view.line is not None and picture_samples(fmt, view.line) < timing.h.active:
        notes.append(f"line {view.line} has half a line of picture, then an equalising pulse")
    elif view.line is not None and view.line == _half_line_23(view):
        notes.append(f"line {view.line}: some equipment blanks its first half, as the analogue standard does")
    if fmt.family in (Family.SD525, Family.SD625) and fmt.interlaced:
        own = float(timing.h.sync / timing.pixel_clock_hz * 10**6)
        notes.append(
            f"line sync lasts {timing.h.sync} samples ({own:.2f} us), as in 'timing';"
            f" the analogue standard's nominal is {float(NOMINAL_SYNC_US.value):g} us"
        )
    if fmt.family is Family.COMPUTER:
        notes.append(
            f"{fmt.id} is in no standard: it has the timing of 'trueraster timing {fmt.id}', with combined negative"
            " sync"
        )
        if view.interface.signal is SignalKind.YPBPR and not view.is_file:
            notes.append(f"its components use the matrix of BT.{signal.matrix}; --matrix chooses a different one")
    elif not fmt.interlaced and fmt.height in (240, 288):
        notes.append(f"{fmt.id} is in no broadcast standard: vertical sync is drawn as whole broad lines")
    notes += _overshoot_notes(view)
    if signal.sampling is not signal.sampling.RGB and signal.sampling.chroma_step[1] > 1:
        notes.append("the file is 4:2:0: each line has the colour of the nearest chroma line of its field")
    if signal.bits == 8:
        step = float(view.interface.white_mv) * (signal.fraction_of(0, 1) - signal.fraction_of(0, 0))
        notes.append(
            f"the file has 8 bits: a code is {step:.2f} mV, so a level is uncertain by up to ± {step / 2:.2f} mV"
        )
    return notes


def _overshoot_notes(view: View) -> list[str]:
    """Why the trace peaks higher than its flat parts, if it does."""
    line = view.line
    if line is None or row_of(view.format, line) is None:
        return []
    most, what = max(overshoot_mv(view.wave, kind, line) for kind in view.wave.traces), "flat parts"
    if most < _RINGS_MV and view.source.signal.edges is Edges.HARD and not view.is_file:
        # Thin lines leave no flat part to compare.
        most, what = max(beyond_samples_mv(view.wave, kind) for kind in view.wave.traces), "samples"
    if most < _RINGS_MV:
        return []
    peak = f"the trace goes up to {most:.0f} mV beyond its {what}"
    sampling = view.source.signal.sampling
    if view.interface.signal is SignalKind.RGB and not sampling.is_rgb and sampling.chroma_step[0] > 1:
        return [f"{peak}: R'G'B' is made from luma and the file's slower colour difference, which do not meet at edges"]
    return [
        f"{peak}: what changes within a sample or two rings in the reconstruction filter, as it does after a converter"
    ]


def _half_line_23(view: View) -> int | None:
    fmt = view.format
    is_625 = fmt.family is Family.SD625 and fmt.interlaced
    return timing_of(fmt).first_active_lines[0] if is_625 else None
