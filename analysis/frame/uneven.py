"""What is wrong in parts of a frame, or varies over it: named as such, and taken out before levels are judged."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.expected import Expected, Subject
from analysis.frame.faults.codes import to_rgb
from analysis.frame.faults.spectrum import Echo, Spectrum, luma_spectrum
from analysis.frame.faults.spots import Spots, dither_bits, find_spots, find_torn, sample_noise, toned
from analysis.frame.faults.surface import Areas, Surface, fit_surface
from analysis.frame.faults.twins import Twins
from analysis.frame.findings import Fault
from analysis.frame.fractions import frame_ycbcr
from analysis.frame.levels import Frame, Reading
from analysis.frame.place.axes import Axis, Registration
from render.quantise import Planes

__all__ = ["LEAST_SNR_DB", "Uneven", "covered_mended", "find_uneven", "torn_mended"]

LEAST_SNR_DB = 39.0
"""White to the noise's standard deviation, unweighted: common practice asks for 40 dB, and a dB is uncertain."""
_RINGING = 0.08
"""How far edges swing beyond the reach of sharpness, as a share of the edge, from which they ring."""
_COVERED = 0.2
"""Share of a patch that may be wrong where its level still counts."""


@dataclass(frozen=True, kw_only=True)
class Uneven:
    """What varies, and the frame without it."""

    frame: Frame
    """The frame with that taken out: the very same one where nothing was found."""
    areas: Areas
    spots: Spots
    noise: float
    """A sample's standard deviation in flat areas, in fractions of white."""
    faults: tuple[Fault, ...]
    """What varies, or is wrong in parts."""
    grain: tuple[Fault, ...]
    """What makes neighbouring samples unlike."""
    rings: bool = False
    """Whether edges swing on and on, which is neither an echo nor a matter of sharpness."""

    def usable(self, readings: Sequence[Reading]) -> list[Reading]:
        """The readings of patches that nothing is laid over."""
        if not self.spots.id:
            return list(readings)
        return [reading for reading in readings if self._covered(reading) < _COVERED]

    def _covered(self, reading: Reading) -> float:
        left, top, right, bottom = (round(edge) for edge in reading.box)
        part = self.spots.wrong[top:bottom, left:right]
        return float(part.mean()) if part.size else 0.0


def torn_mended(subject: Subject) -> tuple[Subject, Spots] | None:
    """The frame with what was drawn in place of the part that shows something else, where it is torn; None elsewhere.

    Looked for where the raster usually lies, before anything is measured: two pictures have no one place.
    """
    drawn = subject.drawn
    for place in subject.usual_places[:1]:
        areas = Areas.of((drawn.luma, *drawn.chroma), place)
        spots = find_torn(subject.luma, areas)
        if spots is not None:
            wanted = toned(subject.luma, _without(areas, spots))
            planes = _mended(subject, subject.frame.picture.planes, wanted, spots)
            return replace(subject, frame=_with(subject.frame, planes)), spots
    return None


def covered_mended(subject: Subject) -> tuple[Subject, Spots] | None:
    """The frame with what was drawn in place of what lies over it, where so much does that nothing else is seen."""
    drawn = subject.drawn
    areas = Areas.of((drawn.luma, *drawn.chroma), subject.usual_places[0])
    wanted = toned(subject.luma, areas)
    rest = Twins.of((drawn.luma, *drawn.chroma), subject.usual_places[0].y).rest(subject.luma)
    spots = find_spots(subject.luma, wanted, areas, sample_noise(subject.luma, areas), rest)
    if spots.id != "overlay" or spots.share > _MOST_COVERED:
        return None
    planes = _mended(subject, subject.frame.picture.planes, wanted, spots)
    return replace(subject, frame=_with(subject.frame, planes)), spots


_MOST_COVERED = 0.3
"""Share of the picture from which what lies over it leaves too little to go by."""


def _without(areas: Areas, spots: Spots) -> Areas:
    """The areas without what is wrong."""
    return Areas(drawn=areas.drawn, flat=areas.flat & ~spots.wrong, tag=areas.tag)


def find_uneven(expected: Expected, place: Registration, torn: Spots | None = None) -> Uneven:
    """Look for what varies over a frame whose raster lies at `place`, and for what is wrong in parts of it."""
    subject = expected.subject
    # Some colours of the bars are outside R'G'B', and have another luma there.
    areas = Areas.of((expected.luma, *subject.drawn.chroma), place)
    if torn is not None:
        areas = _without(areas, torn)
    spectrum = _spectrum(expected, place, areas)
    rings = spectrum is not None and spectrum.ringing > _RINGING and _rings_by_all_edges(expected, place, torn)
    echo = None if spectrum is None else _echo(spectrum, place)
    if echo is not None:
        subject = replace(subject, frame=_with(subject.frame, _without_echo(subject, echo, place)))
    seen = frame_ycbcr(subject.frame, subject.reference.signal)
    luma = seen[0]
    noise = sample_noise(luma, areas)
    surfaces = [fit_surface(areas, luma, noise)]
    surfaces += [fit_surface(areas, plane, noise) for plane in seen[1:]] if subject.is_coloured else []
    clean = surfaces[0].taken_out(luma)
    wanted = toned(clean, areas)
    twins = Twins.of((expected.rows, *subject.drawn.chroma), place.y)
    spots = find_spots(clean, wanted, areas, noise, twins.rest(clean))
    found = [surface for surface in surfaces if surface.id]
    faults = [*_echo_faults(echo, subject), *_spot_faults(torn), *_spot_faults(spots), *_surface_faults(found)]
    frame = subject.frame
    if found:
        frame = _with(frame, _evened(subject, seen, surfaces))
    if spots.id:
        frame = _with(frame, _mended(subject, frame.picture.planes, wanted, spots))
    if torn is not None:
        spots = replace(torn, wrong=torn.wrong | spots.wrong)
    bits = dither_bits(subject.frame.picture.planes[0], areas, subject.reference.signal.bits)
    return Uneven(
        frame=frame,
        areas=areas,
        spots=spots,
        noise=noise,
        faults=tuple(faults),
        grain=tuple(_grain(noise, bits)),
        rings=rings and echo is None,
    )


def _grain(noise: float, bits: int | None) -> list[Fault]:
    """Dither, or else noise."""
    if bits is not None:
        return [Fault(id="dithered", confidence=0.95, parameters={"bits": bits})]
    snr = -20 * float(np.log10(max(noise, 1e-6)))
    if snr >= LEAST_SNR_DB:
        return []
    return [Fault(id="noise", confidence=min(0.99, 0.6 + (LEAST_SNR_DB - snr) / 4), parameters={"snr_db": snr})]


def _spectrum(expected: Expected, place: Registration, areas: Areas) -> Spectrum | None:
    """The response against the raster with the levels that the frame has: steps of other heights are no echo."""
    if not place.x.found or expected.subject.states_signal:
        return None
    luma = expected.subject.luma
    x, y = (Axis(scale=1.0, offset=0.0, raster=size, frame=size) for size in reversed(luma.shape))
    return luma_spectrum(luma, toned(luma, areas), Registration(x=x, y=y))


def _rings_by_all_edges(expected: Expected, place: Registration, torn: Spots | None) -> bool:
    """Whether edges swing on against every kind that may have been sent.

    Against edges that are softer than those of the frame, no short filter makes what is seen, and a long one swings.
    """
    for drawn in expected.with_other_edges:
        areas = Areas.of((drawn, *expected.subject.drawn.chroma), place)
        spectrum = _spectrum(expected, place, areas if torn is None else _without(areas, torn))
        if spectrum is None or spectrum.ringing <= _RINGING:
            return False
    return True


def _echo(spectrum: Spectrum, place: Registration) -> Echo | None:
    """An echo in samples of the raster."""
    echo = spectrum.echo
    return echo and replace(echo, samples=echo.samples / place.x.scale)


def _echo_faults(echo: Echo | None, subject: Subject) -> list[Fault]:
    if echo is None:
        return []
    timing = subject.reference.format.timing
    figures = {
        "delay_us": None if timing is None else echo.samples / float(timing.pixel_clock_hz) * 1e6,
        "delay_samples": echo.samples,
        "percent": 100 * echo.share,
    }
    return [Fault(id="echo", confidence=1 - 1 / (1 + echo.stands_out / 2), parameters=figures)]


def _without_echo(subject: Subject, echo: Echo, place: Registration) -> Planes:
    """The frame's planes less what comes a second time; flat ground keeps its level."""
    signal = subject.reference.signal
    made = []
    for i, plane in enumerate(subject.frame.picture.planes):
        step = signal.sampling.chroma_step[0] if i and not signal.sampling.is_rgb else 1
        black = signal.fraction_of(i, 0)
        values = plane * (signal.fraction_of(i, 1) - black) + black
        at = np.arange(plane.shape[1]) - echo.samples * place.x.scale / step
        first = np.floor(at).astype(int)
        part = at - first
        clean = values
        for _ in range(3):
            left, right = (clean[:, np.clip(first + k, 0, plane.shape[1] - 1)] for k in (0, 1))
            # Before the line begins there is black.
            later = np.where(at < -0.5, 0.0, left * (1 - part) + right * part)
            clean = values - echo.share * later
        made.append(_codes(clean * (1 + echo.share), subject, i))
    first_plane, second, third = made
    return first_plane, second, third


def _surface_faults(found: Sequence[Surface]) -> list[Fault]:
    if not found:
        return []
    most = max(found, key=lambda surface: surface.swing)
    parameters: dict[str, Any] = {"swing_percent": 100 * most.swing, "of": "gain" if most.of_gain else "level"}
    if most.id == "hum":
        parameters["periods"] = most.periods
    return [Fault(id=most.id, confidence=min(0.99, most.explained), parameters=parameters)]


def _spot_faults(spots: Spots | None) -> list[Fault]:
    if spots is None:
        return []
    if spots.id == "dropouts":
        return [Fault(id="dropouts", confidence=0.95, parameters={"count": spots.count})]
    if spots.id == "overlay":
        return [Fault(id="overlay", confidence=0.95, parameters={"area_percent": 100 * spots.share})]
    if spots.id == "torn":
        return [Fault(id="torn", confidence=0.95, parameters={"line": spots.line})]
    return []


def _with(frame: Frame, planes: Planes) -> Frame:
    return replace(frame, picture=replace(frame.picture, planes=planes))


def _evened(subject: Subject, seen: Sequence[Any], surfaces: Sequence[Surface]) -> Planes:
    """The frame's planes of codes without the surfaces of luma, C'B and C'R."""
    signal = subject.reference.signal
    even = [surface.taken_out(plane) for surface, plane in zip(surfaces, seen, strict=False)]
    even += list(seen[len(even) :])
    if signal.sampling.is_rgb:
        if len(surfaces) == 1 and surfaces[0].of_gain:
            # Greys alone: what multiplies luma multiplies all three.
            even[1:] = [surfaces[0].taken_out(plane) for plane in seen[1:]]
        even = list(np.moveaxis(to_rgb(np.stack(even, axis=-1).astype(np.float64), signal.matrix), -1, 0))
    else:
        step_x, step_y = signal.sampling.chroma_step
        even[1:] = [plane[::step_y, ::step_x] for plane in even[1:]]
    first, second, third = (_codes(plane, subject, i) for i, plane in enumerate(even))
    return first, second, third


def _codes(plane: Any, subject: Subject, component: int) -> NDArray[Any]:
    signal, own = subject.reference.signal, subject.frame.picture.planes[component]
    black = signal.fraction_of(component, 0)
    scale = signal.fraction_of(component, 1) - black
    codes = np.clip(np.floor((plane - black) / scale + 0.5), 0, (1 << signal.bits) - 1)
    # Where codes end, what was cut there is not known, so it stays.
    return np.where((own == 0) | (own == (1 << signal.bits) - 1), own, codes.astype(own.dtype))


def _mended(subject: Subject, planes: Planes, wanted: Any, spots: Spots) -> Planes:
    """The planes where what is wrong is made up: of lines near by, or of what was drawn."""
    signal = subject.reference.signal
    if spots.id == "dropouts":
        first, second, third = (_without_dropouts(plane, spots, subject) for plane in planes)
        return first, second, third
    drawn: list[Any] = [wanted, *(np.zeros_like(wanted) for _ in range(2))]
    if signal.sampling.is_rgb:
        drawn = [wanted] * 3
    made = []
    for i, (plane, want) in enumerate(zip(planes, drawn, strict=True)):
        step_y, step_x = (round(a / b) for a, b in zip(spots.wrong.shape, plane.shape, strict=True))
        wrong = spots.wrong[::step_y, ::step_x][: plane.shape[0], : plane.shape[1]]
        codes = _codes(want[::step_y, ::step_x][: plane.shape[0], : plane.shape[1]], subject, i)
        made.append(np.where(wrong, codes, plane))
    first, second, third = made
    return first, second, third


def _without_dropouts(plane: NDArray[Any], spots: Spots, subject: Subject) -> NDArray[Any]:
    step_y, step_x = (round(a / b) for a, b in zip(spots.wrong.shape, plane.shape, strict=True))
    wrong = np.logical_or.reduceat(spots.wrong, np.arange(0, len(spots.wrong), step_y), axis=0)[:, ::step_x]
    wrong = wrong[: plane.shape[0], : plane.shape[1]]
    made = plane.copy()
    # Lines of one field are two apart.
    apart = 2 if subject.reference.format.interlaced else 1
    for row in np.flatnonzero(wrong.any(axis=1)):
        for by in (-apart, apart, -2 * apart, 2 * apart, -3 * apart, 3 * apart):
            if 0 <= row + by < len(plane) and not (wrong[row + by] & wrong[row]).any():
                made[row, wrong[row]] = plane[row + by, wrong[row]]
                break
    return made
