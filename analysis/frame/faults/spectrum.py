"""What a chain lets through along the lines, frequency by frequency, and what comes a second time as an echo.

Both come from mean profiles of the frame and of the raster that should be in it, by least squares in each narrow band
of frequencies; where the pattern holds nothing of a frequency, nothing is said of it.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analysis.frame.place.axes import Registration
from analysis.frame.place.profiles import Profile, band_profiles

__all__ = ["Echo", "Spectrum", "luma_spectrum"]

Floats = NDArray[np.float64]

_BANDS = 12
_EDGES = np.concatenate([[0.004], np.arange(0.02, 0.4801, 0.02)])
"""Cycles a raster sample between which frequencies are taken together."""
_KNOWN = 0.06
"""Standard uncertainty up to which a response is used."""
_HALF_POWER = math.sqrt(0.5)
_FLAT = 0.9
"""Response down to which a passband is flat."""
_NEAREST, _FARTHEST = 6, 160
"""Samples between which an echo is looked for: nearer ones are a matter of sharpness."""
_MARGIN = 3
"""Samples at both ends of a line that converters guess."""
_LEAST_ECHO = 0.03
_LONG, _RINGS = 32, 0.3
"""Samples on both sides that ringing is followed, and the share of what sharpness leaves that it may leave."""
_LEAST_SWING = 0.003
"""Share of what edges have that sharpness has to leave where they ring: 0.08 of an edge, swinging twice, is more."""
_ALONE = 0.5
"""Share of what sharpness leaves that a single echo may leave in turn."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Echo:
    """A second picture: how much later, in raster samples (below 0: earlier), and how strong, as a share."""

    samples: float
    share: float
    stands_out: float
    """Its height in units of what else the search shows."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Spectrum:
    """The response at several frequencies, in cycles a raster sample, relative to low ones."""

    at: Floats
    response: Floats
    uncertainty: Floats
    """Infinite where the pattern does not show it."""
    echo: Echo | None = None
    ringing: float = 0.0
    """How far edges swing beyond the reach of sharpness, as a share of the edge."""

    @property
    def used(self) -> NDArray[np.bool_]:
        return self.uncertainty < _KNOWN

    def _falls_to(self, level: float) -> float | None:
        """From where on the response stays below a level."""
        at, values, uncertain = self.at[self.used], self.response[self.used], self.uncertainty[self.used]
        if len(at) < 4:
            return None
        above = np.flatnonzero(values + 2 * uncertain >= level)
        first = int(above[-1]) + 1 if len(above) else 0
        if first == 0 or len(at) - first < 2:
            return None
        left, right = values[first - 1], values[first]
        share = (left - level) / max(left - right, 1e-9)
        return float(at[first - 1] + min(max(share, 0.0), 1.0) * (at[first] - at[first - 1]))

    @property
    def cutoff(self) -> float | None:
        """Where the response falls to -3 dB and stays below, in cycles a sample; None where it does not."""
        return self._falls_to(_HALF_POWER)

    @property
    def steepness(self) -> float:
        """How near to the cutoff the response is still flat: 0.55 of a Gaussian blur, near 0.9 of a steep filter."""
        flat, cutoff = self._falls_to(_FLAT), self.cutoff
        return 0.0 if flat is None or cutoff is None else flat / cutoff

    @property
    def is_known_down(self) -> bool:
        """Whether something in view is clearly weaker than low frequencies."""
        return bool(np.any(self.response[self.used] + 2 * self.uncertainty[self.used] < 0.8))

    def near(self, cycles: float) -> float:
        """The response at the frequency in view that is nearest to the one asked for."""
        at, values = self.at[self.used], self.response[self.used]
        return float(values[np.argmin(np.abs(at - cycles))])

    def notch(self, carriers: tuple[float, ...]) -> float | None:
        """The carrier round which the response dips, and above or beside which it comes back; None: no such."""
        at, values = self.at[self.used], self.response[self.used]
        for carrier in carriers:
            near = np.abs(at - carrier) < 0.035
            below, above = (at < carrier - 0.1) & (at > 0.02), at > carrier + 0.09
            if not (near.any() and below.any() and above.any()):
                continue
            if values[near].min() < 0.62 and values[below].min() > 0.85 and values[above].max() > 0.8:
                return carrier
        return None


def luma_spectrum(luma: Any, drawn: Any, place: Registration) -> Spectrum | None:
    """The response along the lines from luma, (rows, columns), against the raster that should be seen there.

    None where the pattern has too little along the lines.
    """
    axis = place.x
    captured, reference = band_profiles(luma, drawn, 1, place.y, _BANDS)
    count = captured.shape[1]
    places = (np.arange(count, dtype=np.float64) + 0.5 - axis.offset) / axis.scale
    wanted = Profile(reference).at(places, 1e-3) if not axis.is_identity else reference
    seen, sent = (np.diff(values, axis=1) for values in (captured, wanted))
    if float(np.abs(sent).max()) < 0.004:
        return None
    inside = slice(_MARGIN, count - _MARGIN - 1)
    seen, sent = seen[:, inside], sent[:, inside]
    size = 1 << (sent.shape[1] + 2 * _FARTHEST - 1).bit_length()
    spectra = np.fft.rfft(seen, size), np.fft.rfft(sent, size)
    frequency = np.fft.rfftfreq(size) * axis.scale
    response, uncertainty, at = [], [], []
    power = np.sum(np.abs(spectra[1]) ** 2, axis=0)
    for low, high in itertools.pairwise(_EDGES):
        part = (frequency >= low) & (frequency < high)
        total = float(power[part].sum())
        at.append((low + high) / 2)
        if total < 1e-9 or not part.any():
            response.append(1.0)
            uncertainty.append(math.inf)
            continue
        both = complex(np.sum(np.conj(spectra[1][:, part]) * spectra[0][:, part]))
        value = both.real / total
        rest = float(np.sum(np.abs(spectra[0][:, part] - value * spectra[1][:, part]) ** 2))
        # Half a code of rounding in every band and sample is no part of the pattern.
        floor = _BANDS * part.sum() * count * (4e-4) ** 2
        freedom = max(1.0, part.sum() * sent.shape[1] / size)
        response.append(value)
        uncertainty.append(math.sqrt((rest / freedom / 2 + floor) / total))
    values = np.array(response)
    low = (np.array(at) < 0.08) & (np.array(uncertainty) < _KNOWN)
    main = _main(spectra, power, size)
    ringing, left = (0.0, math.inf) if main is None else _tail(spectra, power, main, size)
    # Soft edges lose a little there already.
    usual = float(np.sort(values[low])[-2:].mean()) if low.any() else 1.0
    if abs(usual) < 0.2:
        return None
    return Spectrum(
        at=np.array(at),
        response=values / usual,
        uncertainty=np.array(uncertainty),
        echo=_echo(spectra, main, _begun(wanted, spectra[1], size), axis.scale, left),
        ringing=ringing,
    )


def _begun(wanted: Floats, sent: Any, size: int) -> Any:
    """The slopes that were sent with the one from the black before the line to its first sample, which echoes too."""
    return sent + wanted[:, :1] * np.exp(2j * np.pi * np.fft.rfftfreq(size) * (_MARGIN + 1))


def _echo(spectra: tuple[Any, Any], main: Any, begun: Any, scale: float, filtered: float) -> Echo | None:
    """The second picture, from the impulse response of the chain; `filtered` is what ringing leaves."""
    power = np.sum(np.abs(spectra[1]) ** 2, axis=0)
    size = 2 * (len(power) - 1)
    if main is None:
        return None
    rest = spectra[0] - main * spectra[1]
    floor = 0.03 * float(np.percentile(power, 90))
    answer = np.fft.irfft(np.sum(np.conj(spectra[1]) * rest, axis=0) / (power + floor), size)
    answer = answer / max(float(np.abs(main[:3]).mean()), 1e-3)
    lags = np.concatenate([np.arange(_NEAREST, _FARTHEST), np.arange(-_FARTHEST, -_NEAREST + 1)])
    heights = np.abs(answer[lags] + 0.5 * (answer[lags - 1] + answer[lags + 1]))
    stands_out = float(heights.max()) / (float(np.median(heights)) * 1.4826 + 1e-5)
    if stands_out < 8:
        return None
    # A pattern that repeats itself shows an echo in several places: the one that accounts for most is taken.
    likely: list[int] = []
    for lag in lags[np.argsort(-heights)]:
        if all(abs(int(lag) - other) > 2 for other in likely):
            likely.append(int(lag))
        if len(likely) == 10:
            break
    tried = [_second(spectra[0], main * spectra[1], main * begun, size, lag) for lag in likely]
    least = min(one[0] for one in tried)
    left, delay, share = min((one for one in tried if one[0] < 1.1 * least), key=lambda one: (one[1] < 0, abs(one[1])))
    before = _power(rest, size)
    # A swing to and fro is no echo, which stands alone.
    if left > 0.05 * before and filtered < _RINGS * left:
        return None
    if abs(share) < _LEAST_ECHO or left > _ALONE * before:
        return None
    return Echo(samples=delay / scale, share=share, stands_out=stands_out)


def _power(values: Any, size: int) -> float:
    """Sum of squares at the frequencies where patterns have most of theirs, and noise has not."""
    return float(np.sum(np.abs(values[:, : size // 4]) ** 2))


def _main(spectra: tuple[Any, Any], power: Floats, size: int) -> Any:
    """What sharpness and a place a little off do: a filter that reaches `_NEAREST` samples, by least squares."""
    turns = 2 * np.pi * np.fft.rfftfreq(size)
    columns = np.stack([np.exp(-1j * turns * k) for k in range(1 - _NEAREST, _NEAREST)], axis=1)
    both = np.sum(np.conj(spectra[1]) * spectra[0], axis=0)
    normal = (np.conj(columns).T @ (columns * power[:, None])).real
    total = normal[0, 0]
    if total <= 0:
        return None
    normal += 1e-4 * total * np.eye(len(normal))
    return columns @ np.linalg.solve(normal, (np.conj(columns).T @ both).real)


def _tail(spectra: tuple[Any, Any], power: Floats, main: Any, size: int) -> tuple[float, float]:
    """What swings on behind or before every edge, as a share of the edge; 0 where no filter makes what is left.

    Then what the filter leaves, as a sum of squares.

    The largest swing beyond the reach of sharpness, of a filter of `_LONG` samples on both sides by least squares.
    """
    turns = 2 * np.pi * np.fft.rfftfreq(size)
    lags = np.arange(-_LONG, _LONG + 1)
    both = np.fft.irfft(np.sum(np.conj(spectra[1]) * spectra[0], axis=0), size)
    own = np.fft.irfft(power, size)
    normal = own[np.abs(lags[:, None] - lags[None, :])]
    taps = np.linalg.solve(normal + 1e-3 * own[0] * np.eye(len(lags)), both[lags])
    made = np.exp(-1j * np.outer(turns, lags)) @ taps
    before, after = (_power(spectra[0] - way * spectra[1], size) for way in (main, made))
    if after > _RINGS * before or before < _LEAST_SWING * _power(spectra[1], size):
        return 0.0, after
    # An edge shows the sum of the taps behind it.
    whole = float(taps.sum())
    steps = np.concatenate([np.cumsum(taps)[_LONG + _NEAREST :] - whole, np.cumsum(taps)[: _LONG - _NEAREST]])
    return float(np.abs(steps).max() / max(abs(whole), 1e-3)), after


def _second(seen: Any, sent: Any, begun: Any, size: int, lag: int) -> tuple[float, float, float]:
    """What a picture and a delayed one leave by least squares, the exact delay near a lag, and its share."""
    turns = 2j * np.pi * np.fft.rfftfreq(size)
    part = slice(0, size // 4)
    best = (math.inf, float(lag), 0.0)
    a = float(np.sum(np.abs(sent[:, part]) ** 2))
    d = float(np.sum(np.conj(sent[:, part]) * seen[:, part]).real)
    for delay in lag + np.arange(-1.0, 1.01, 0.25):
        later = begun * np.exp(-turns * delay)
        b = float(np.sum(np.abs(later[:, part]) ** 2))
        c = float(np.sum(np.conj(sent[:, part]) * later[:, part]).real)
        e = float(np.sum(np.conj(later[:, part]) * seen[:, part]).real)
        first, second = np.linalg.solve([[a, c], [c, b]], [d, e])
        left = _power(seen - first * sent - second * later, size)
        if left < best[0]:
            best = left, float(delay), float(second / first)
    return best
