"""Whether a frame's edges are softer or sharper than they were sent, beyond what its levels account for."""

from __future__ import annotations

from typing import Any

from analysis.frame.expected import Expected, Subject
from analysis.frame.faults.spectrum import luma_spectrum
from analysis.frame.faults.structure import Response, chroma_response, luma_response
from analysis.frame.findings import Fault
from analysis.frame.fractions import fractions, frame_ycbcr
from analysis.frame.place.axes import Registration

__all__ = ["SCALED_SHARP", "SHARP", "SOFT", "is_altered", "response_across", "sharpness_faults"]

SOFT, SHARP = 0.9, 1.09
"""Responses outside these are faults in a frame whose samples are the raster's own;"""
_SCALED_SOFT, SCALED_SHARP = 0.78, 1.13
"""outside these in one that was scaled, which softens or sharpens by itself."""
_CHROMA_SOFT = 0.80
"""The same of chroma; a way through 4:2:0 keeps above it."""


def response_across(expected: Expected, place: Registration) -> Response | None:
    """The response along the lines, against the kind of edges that was sent.

    A computer's raster has hard edges, and R'G'B' has no wide ones in colour: where such edges account for all,
    nothing was sharpened or softened.
    """
    luma = expected.subject.luma
    first = luma_response(luma, expected.luma, place)
    soft, sharp = _bounds(place)
    if first is None or soft < first.factor < sharp:
        return first
    for drawn in expected.with_other_edges:
        other = luma_response(luma, drawn, place)
        if other is not None and soft < other.factor < sharp:
            # Between two filters the noise must not decide.
            accounts = other.plain if place.x.is_whole else other.filtered + 10
            if accounts < first.filtered:
                return other
    return first


def is_altered(expected: Expected, place: Registration, soft: float, sharp: float) -> bool:
    """Whether edges along or down the picture are softer or sharper than the expected ones."""
    down = luma_response(expected.subject.luma, expected.luma, place, down=True)
    found = [response_across(expected, place), down]
    return any(one is not None and not soft <= one.factor <= sharp and one.uncertainty < 0.1 for one in found)


def sharpness_faults(expected: Expected, place: Registration) -> list[Fault]:
    """Softened or sharpened luma, across or else down the picture, and chroma softer than luma."""
    subject = expected.subject
    if subject.states_signal:
        # Other words have other edges.
        return []
    faults = []
    across = response_across(expected, place)
    soft, sharp = _bounds(place)
    ours = 1.0
    if across is not None and across.uncertainty < 0.1:
        ours = across.factor
        id = "softened" if ours < soft else "sharpened" if ours > sharp else None
        if id is not None and abs(ours - 1) > 4 * across.uncertainty:
            faults.append(_fault(id, ours, abs(ours - 1) / max(across.uncertainty, 0.01)))
    if place.x.is_whole and not place.x.softness > 6:
        faults = _by_spectrum(expected, place, faults)
    if not faults and place.y.found and not expected.fields.is_wrong:
        # Down the picture only where lines are as they were sent, in a place that was measured.
        down = luma_response(subject.luma, expected.luma, place, down=True)
        least = SOFT if place.y.is_whole else _SCALED_SOFT
        if down is not None and down.uncertainty < 0.05 and down.factor < least - 4 * down.uncertainty:
            faults.append(_fault("softened", down.factor, (least - down.factor) / max(down.uncertainty, 0.01)))
    for plane, drawn, step in _chroma(subject):
        found = chroma_response(plane, drawn, place, step)
        if found is None or found.uncertainty > 0.1:
            continue
        # Luma's own loss at half its frequency is no loss of chroma alone.
        if found.factor < _CHROMA_SOFT * min(1.0, max(ours, 0.01) ** 0.25):
            if found.factor < 0.6 and ours > 0.75:
                # Where guns are cut, luma suffers a little with chroma.
                faults = [fault for fault in faults if fault.id != "softened"]
            faults.append(_fault("chroma-softened", found.factor, (1 - found.factor) / max(found.uncertainty, 0.02)))
            break
    return faults


_CARRIERS = {525: 3_579_545.0, 625: 4_433_618.75}
"""Subcarriers of composite signals by lines of the frame, in Hz (BT.470)."""
_STEEP, _GENTLE = 0.78, 0.66
"""How near to its cutoff a response is still flat: above the first by a filter, below the second by a blur."""


def _by_spectrum(expected: Expected, place: Registration, faults: list[Fault]) -> list[Fault]:
    """What the response at several frequencies makes of a fault of sharpness across, or names itself.

    Detail is sharpened only where no higher frequency is down; where it ends in a steep fall, a filter did that.
    """
    luma = expected.subject.luma
    spectra = [luma_spectrum(luma, drawn, place) for drawn in (expected.luma, *expected.with_other_edges)]
    known = [one for one in spectra if one is not None]
    if not known or (len(known) > 1 and not faults and any(one.cutoff is None and one.used.any() for one in known)):
        # One kind of edges goes with the frame as it is.
        return faults
    spectrum = known[0]
    notch, cutoff = spectrum.notch(tuple(_carriers(expected))), spectrum.cutoff
    if notch is not None:
        return [Fault(id="comb-decoded", confidence=0.9, parameters={"carrier_mhz": _megahertz(expected, notch)})]
    if cutoff is None or cutoff > _HIGHEST:
        return [fault for fault in faults if fault.id != "sharpened" or not spectrum.is_known_down]
    steep = min(max((spectrum.steepness - _GENTLE) / (_STEEP - _GENTLE), 0.02), 0.98)
    if steep < 0.5:
        soft = [fault for fault in faults if fault.id == "softened"]
        return soft or [Fault(id="softened", confidence=1 - steep, parameters={"response": spectrum.near(0.15)})]
    fmt = expected.subject.reference.format
    figures = {
        "cutoff_mhz": _megahertz(expected, cutoff),
        "cutoff_tv_lines": 2 * cutoff * fmt.picture.width / float(fmt.picture_aspect),
    }
    found = [Fault(id="band-limited", confidence=steep, parameters=figures)]
    # A notch whose far side the pattern does not show ends in the same fall.
    beyond = [
        one
        for one in _carriers(expected)
        if cutoff < one < cutoff + 0.12 and spectrum.at[spectrum.used].max() < one + 0.09
    ]
    if beyond:
        found = [
            Fault(id="band-limited", confidence=0.6 * steep, parameters={**figures, "decide": "multiburst"}),
            Fault(
                id="comb-decoded",
                confidence=0.4 * steep,
                parameters={"carrier_mhz": _megahertz(expected, beyond[0]), "decide": "multiburst"},
            ),
        ]
    return found


_HIGHEST = 0.42
"""Cycles a sample from which a fall belongs to any converter."""


def _carriers(expected: Expected) -> list[float]:
    """Subcarriers of a standard definition raster, in cycles a sample."""
    fmt = expected.subject.reference.format
    clock = _clock(expected.subject)
    if clock is None or not fmt.interlaced or fmt.height > 576:
        return []
    return [_CARRIERS[525 if fmt.height < 500 else 625] / clock]


def _megahertz(expected: Expected, cycles: float) -> float | None:
    clock = _clock(expected.subject)
    return None if clock is None else cycles * clock / 1e6


def _clock(subject: Subject) -> float | None:
    """Samples a second; None of a raster without a clock of its own."""
    timing = subject.reference.format.timing
    return None if timing is None else float(timing.pixel_clock_hz)


def _bounds(place: Registration) -> tuple[float, float]:
    """Responses outside which edges are softer, or sharper, than a clean chain leaves them."""
    return (SOFT, SHARP) if place.x.is_whole else (_SCALED_SOFT, SCALED_SHARP)


def _fault(id: str, response: float, distance: float) -> Fault:
    """`distance` is how far the response lies from a clean one, in uncertainties."""
    return Fault(id=id, confidence=1 - 1 / (1 + distance), parameters={"response": response})


def _chroma(subject: Subject) -> list[tuple[Any, Any, tuple[int, int]]]:
    """C'B and C'R of the frame, as drawn, and the samples and lines of luma for one of theirs."""
    signal, drawn = subject.reference.signal, subject.drawn.chroma
    if not subject.is_coloured:
        return []
    if signal.sampling.is_rgb:
        planes = frame_ycbcr(subject.frame, signal)[1:]
        return [(plane, drawn[i], (1, 1)) for i, plane in enumerate(planes)]
    seen, step = subject.frame.picture.planes, signal.sampling.chroma_step
    return [(fractions(seen[i + 1], signal, i + 1), drawn[i], step) for i in range(2)]
