"""The reconstruction filter: against SciPy's design and response, against the standards' templates, and on sines."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.signal import firwin, freqz

from patterns.sources import Constant
from patterns.standards.timing import FILTER_601_CHROMA_MHZ, FILTER_601_MHZ, FILTER_709_MHZ
from render.reconstruct import CHROMA, LUMA, Lowpass, response

FACTOR = 8
BOTH = pytest.mark.parametrize("lowpass", [LUMA, CHROMA], ids=["luma", "chroma"])


def decibels(lowpass: Lowpass, frequencies: NDArray[np.float64]) -> NDArray[np.float64]:
    """The response by SciPy's freqz, in dB; frequencies in parts of the sampling rate."""
    _, found = freqz(lowpass.taps(FACTOR) / FACTOR, worN=2 * np.pi * frequencies / FACTOR)
    return np.asarray(20 * np.log10(np.maximum(np.abs(found), 1e-12)))


@BOTH
def test_its_taps_are_scipys_windowed_sinc(lowpass: Lowpass) -> None:
    """The filter's taps agree with SciPy's firwin."""
    taps = lowpass.taps(FACTOR)
    # firwin takes the cutoff (half amplitude) in parts of half the rate of the taps.
    theirs = firwin(taps.size, 2 * lowpass.half / FACTOR, window=("kaiser", lowpass.beta)) * FACTOR
    assert np.abs(taps - theirs).max() < 5e-4


@BOTH
def test_its_response_is_scipys(lowpass: Lowpass) -> None:
    """The filter's frequency response agrees with SciPy's."""
    at = np.linspace(0, 3.9, 200)
    own = np.abs(response(lowpass, at, FACTOR))
    assert np.allclose(own, 10 ** (decibels(lowpass, at) / 20), atol=1e-9)


@pytest.mark.parametrize(("rate", "constant"), [(13.5, FILTER_601_MHZ), (74.25, FILTER_709_MHZ)], ids=["601", "709"])
def test_luma_is_within_the_template(rate: float, constant: Constant[tuple[Fraction, ...]]) -> None:
    """BT.601: flat to 5.75 MHz, 12 dB at 6.75, 40 dB from 8; BT.709: 30, 37.125, 44.25 (from memory)."""
    flat, half, stop = (float(mhz) / rate for mhz in constant.value)
    assert np.abs(decibels(LUMA, np.linspace(0, flat, 500))).max() < 0.01
    assert decibels(LUMA, np.array([half]))[0] < -12
    assert decibels(LUMA, np.linspace(stop, FACTOR / 2, 2000)).max() < -60


def test_colour_difference_is_within_the_template() -> None:
    """BT.601: flat to 2.75 MHz, 6 dB at 3.375, of 6.75 MHz sampling (from memory)."""
    flat, half = (float(mhz) / 6.75 for mhz in FILTER_601_CHROMA_MHZ.value)
    assert np.abs(decibels(CHROMA, np.linspace(0, flat, 500))).max() < 0.01
    assert decibels(CHROMA, np.array([half]))[0] == pytest.approx(-6.02, abs=0.01)
    assert decibels(CHROMA, np.linspace(4 / 6.75, FACTOR / 2, 2000)).max() < -60


@BOTH
@pytest.mark.parametrize("share", [0.01, 0.2, 0.4])
def test_a_sine_in_the_passband_comes_back(lowpass: Lowpass, share: float) -> None:
    """A sampled sine and the sine itself, at every point between the samples (the equation)."""
    samples = np.sin(2 * np.pi * share * (np.arange(200) + 0.5) + 0.3)
    wave = lowpass.between(samples, FACTOR)
    truth = np.sin(2 * np.pi * share * np.arange(200 * FACTOR) / FACTOR + 0.3)
    inside = slice(40 * FACTOR, 160 * FACTOR)
    assert np.abs(wave - truth)[inside].max() < 2e-3


@BOTH
@pytest.mark.parametrize("factor", [2, 6, 16])
def test_a_flat_run_keeps_its_level_exactly(lowpass: Lowpass, factor: int) -> None:
    """A flat level passes through the filter unchanged, for every factor."""
    wave = lowpass.between(np.full((3, 120), 700.0), factor)
    assert wave.shape == (3, 120 * factor)
    assert np.abs(wave[:, 33 * factor : 87 * factor] - 700).max() < 1e-9


@pytest.mark.parametrize("factor", [0, 1, 3])
def test_an_odd_factor_is_refused(factor: int) -> None:
    """A factor that is not even is refused."""
    with pytest.raises(ValueError, match="an even number"):
        LUMA.between(np.zeros(10), factor)
