"""Whether colour lies where luma does, and whether fine grey detail came out as colour."""

from __future__ import annotations

import numpy as np

from analysis.frame.expected import Expected
from analysis.frame.faults.spots import sample_noise
from analysis.frame.findings import Fault
from analysis.frame.fractions import frame_ycbcr
from analysis.frame.place.axes import Registration
from analysis.frame.place.profiles import Profile, band_profiles
from analysis.frame.uneven import Uneven

__all__ = ["colour_faults", "held_by_colour"]

_LATE = 0.9
"""Raster samples that colour may lie beside luma in a clean chain: half of one by its siting, and a rest."""
_WITH_LUMA = 0.7
"""Share of colour's way by which luma's edges move at most where colour alone is late."""
_LOWEST, _HIGHEST = 0.004, 0.06
"""Cycles a sample between which colour has most of what it has."""
_COLOURED = 0.015
"""Effective value of colour that changes from line to line in grey detail, in fractions of white."""


def colour_faults(expected: Expected, place: Registration, uneven: Uneven) -> list[Fault]:
    """Colour beside luma where the pattern has colours, and colour in fine detail where it has none."""
    if not place.x.is_whole or expected.subject.states_signal:
        return []
    return _delayed(expected, place) if expected.subject.is_coloured else _crossed(expected, place, uneven)


def held_by_colour(expected: Expected, place: Registration) -> Registration:
    """The place without what late colour moved: where R'G'B' is cut, luma's edges move with colour."""
    whole = Registration.whole(expected.subject.reference.format, *reversed(expected.subject.luma.shape))
    near = all(
        abs(axis.scale / own.scale - 1) < 0.012 and abs(axis.offset) < 2
        for axis, own in ((place.x, whole.x), (place.y, whole.y))
    )
    moved = not place.x.is_whole or abs(place.x.offset) > 0.1
    if not (expected.subject.is_coloured and near and moved and whole.is_identity):
        return place
    late = _delayed(expected, whole)
    # Where all was moved, colour was moved by as much as luma.
    return whole if late and abs(place.x.offset) < _WITH_LUMA * abs(late[0].parameters["delay_samples"]) else place


def _delayed(expected: Expected, place: Registration) -> list[Fault]:
    """From the phase of the lower frequencies of C'B and C'R along the lines."""
    subject = expected.subject
    seen = frame_ycbcr(subject.frame, subject.reference.signal)[1:]
    step = 1 if subject.reference.signal.sampling.is_rgb else subject.reference.signal.sampling.chroma_step[0]
    found = []
    for plane, drawn in zip(seen, expected.chroma, strict=True):
        captured, reference = band_profiles(plane, drawn, 1, place.y, 6)
        axis = place.x
        places = (np.arange(captured.shape[1], dtype=np.float64) + 0.5 - axis.offset) / axis.scale
        wanted = reference if axis.is_identity else Profile(reference).at(places, 1e-3)
        slopes = [np.diff(values, axis=1)[:, 3:-4] for values in (captured, wanted)]
        size = 1 << slopes[0].shape[1].bit_length()
        first, second = (np.fft.rfft(values, size) for values in slopes)
        frequency = np.fft.rfftfreq(size)
        part = (frequency > _LOWEST) & (frequency < _HIGHEST)
        cross = np.sum(np.conj(second) * first, axis=0)[part]
        power = float(np.sum(np.abs(second[:, part]) ** 2))
        if power < 1e-4 or abs(cross.sum()) < 0.3 * power:
            continue
        turn = -np.angle(cross * np.sign(cross.real.sum()))
        weight = np.abs(cross) * frequency[part]
        delay = float(np.sum(weight * turn) / np.sum(weight * 2 * np.pi * frequency[part]))
        rest = turn - 2 * np.pi * frequency[part] * delay
        scatter = float(np.sqrt(np.sum(weight * rest**2) / np.sum(weight)))
        # A sample of chroma is repeated for the luma samples that it stands for: on average half of them late.
        found.append((power, delay / axis.scale - (step - 1) / 2, scatter))
    if not found:
        return []
    _, delay, scatter = max(found)
    if abs(delay) < _LATE or scatter > 0.6:
        return []
    timing = subject.reference.format.timing
    figures = {
        "delay_ns": None if timing is None else delay / float(timing.pixel_clock_hz) * 1e9,
        "delay_samples": delay,
    }
    return [Fault(id="chroma-delayed", confidence=0.95 - 0.5 * scatter, parameters=figures)]


def _crossed(expected: Expected, place: Registration, uneven: Uneven) -> list[Fault]:
    """Colour that changes between lines of one field where lines were drawn alike and are not flat."""
    subject, drawn = expected.subject, uneven.areas.drawn
    fine = ~uneven.areas.flat[2:]
    alike = fine & (np.abs(drawn[2:] - drawn[:-2]) < 0.01)
    if alike.mean() < 0.002:
        return []
    most = 0.0
    for plane in frame_ycbcr(subject.frame, subject.reference.signal)[1:]:
        noise = sample_noise(plane, uneven.areas)
        changes = (plane[2:] - plane[:-2])[alike] / 2
        most = max(most, float(np.sqrt(max(np.mean(changes**2) - 2 * noise**2, 0.0))))
    if most < _COLOURED:
        return []
    return [Fault(id="cross-colour", confidence=0.9, parameters={"percent": 100 * most})]
