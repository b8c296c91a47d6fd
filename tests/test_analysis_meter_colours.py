"""Colour computations against published values, and against colour-science to its own precision."""

from __future__ import annotations

import colour
import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.meter.colours import (
    bt1886,
    cct_duv,
    delta_e_2000,
    delta_uv,
    lab_of,
    rgb_matrix,
    spectral_locus,
    uv_of,
    xy_of,
    xyz_of,
)
from analysis.meter.observer import COLOUR_MATCHING, WAVELENGTHS
from analysis.meter.primaries.gamut import area_of, coverage_of
from analysis.meter.whites import D65, D93, PRIMARY_SETS, primaries_of, white_of

SHARMA = """
50 2.6772 -79.7751 50 0 -82.7485 2.0425
50 3.1571 -77.2803 50 0 -82.7485 2.8615
50 2.8361 -74.0200 50 0 -82.7485 3.4412
50 -1.3802 -84.2814 50 0 -82.7485 1.0000
50 -1.1848 -84.8006 50 0 -82.7485 1.0000
50 -0.9009 -85.5211 50 0 -82.7485 1.0000
50 0 0 50 -1 2 2.3669
50 -1 2 50 0 0 2.3669
50 2.4900 -0.0010 50 -2.4900 0.0009 7.1792
50 2.4900 -0.0010 50 -2.4900 0.0010 7.1792
50 2.4900 -0.0010 50 -2.4900 0.0011 7.2195
50 2.4900 -0.0010 50 -2.4900 0.0012 7.2195
50 -0.0010 2.4900 50 0.0009 -2.4900 4.8045
50 -0.0010 2.4900 50 0.0010 -2.4900 4.8045
50 -0.0010 2.4900 50 0.0011 -2.4900 4.7461
50 2.5 0 50 0 -2.5 4.3065
50 2.5 0 73 25 -18 27.1492
50 2.5 0 61 -5 29 22.8977
50 2.5 0 56 -27 -3 31.9030
50 2.5 0 58 24 15 19.4535
50 2.5 0 50 3.1736 0.5854 1.0000
50 2.5 0 50 3.2972 0 1.0000
50 2.5 0 50 1.8634 0.5757 1.0000
50 2.5 0 50 3.2592 0.3350 1.0000
60.2574 -34.0099 36.2677 60.4626 -34.1751 39.4387 1.2644
63.0109 -31.0961 -5.8663 62.8187 -29.7946 -4.0864 1.2630
61.2901 3.7196 -5.3901 61.4292 2.2480 -4.9620 1.8731
35.0831 -44.1164 3.7933 35.0232 -40.0716 1.5901 1.8645
22.7233 20.0904 -46.6940 23.0331 14.9730 -42.5619 2.0373
36.4612 47.8580 18.3852 36.2715 50.5065 21.2231 1.4146
90.8027 -2.0831 1.4410 91.1528 -1.6435 0.0447 1.4441
90.9257 -0.5406 -0.9208 88.6381 -0.8985 -0.7239 1.5381
6.7747 -0.2908 -2.4247 5.8714 -0.0985 -2.2286 0.6377
2.0776 0.0795 -1.1350 0.9033 -0.0636 -0.5514 0.9082
"""
"""Sharma, Wu and Dalal, The CIEDE2000 color-difference formula, 2005, table 1: two L*a*b* and their difference."""

WHITE = np.array([95.0456, 100.0, 108.9058])


def xyz_of_lab(lab: list[float]) -> np.ndarray:
    """CIE 15's inverse of L*a*b*, by its own equations."""
    middle = (lab[0] + 16) / 116
    roots = np.array([middle + lab[1] / 500, middle, middle - lab[2] / 200])
    return WHITE * np.where(roots > 6 / 29, roots**3, 3 * (6 / 29) ** 2 * (roots - 4 / 29))


@pytest.mark.parametrize("line", SHARMA.split("\n")[1:-1])
def test_ciede2000_pairs(line: str) -> None:
    """Each published pair has its published difference, to all four places, both ways round."""
    *labs, wanted = map(float, line.split())
    one, other = xyz_of_lab(labs[:3]), xyz_of_lab(labs[3:])
    assert lab_of(one, WHITE) == pytest.approx(labs[:3], abs=2e-9)
    assert delta_e_2000(one, other, WHITE) == pytest.approx(wanted, abs=5.1e-5)
    assert delta_e_2000(other, one, WHITE) == pytest.approx(wanted, abs=5.1e-5)


@pytest.mark.parametrize("black", [0.0, 0.01, 0.05, 0.1])
def test_bt1886_by_its_annex(black: float) -> None:
    """ITU-R BT.1886, annex 1: L = a max(V + b, 0) ** 2.4, with its a and b."""
    root = 100 ** (1 / 2.4) - black ** (1 / 2.4)
    a, b = root**2.4, black ** (1 / 2.4) / root
    levels = np.array([-0.07, 0, 0.1, 0.25, 0.5, 0.75, 1, 1.09])
    assert bt1886(levels, 100, black) == pytest.approx(a * np.maximum(levels + b, 0) ** 2.4, rel=1e-12)


def test_bt1886_worked_values() -> None:
    """Worked by hand from annex 1 for white 100 and black 0.05 cd/m2: a 90.1858, b 0.0439808."""
    wanted = [0.05, 0.8611, 4.7764, 20.9189, 51.8420, 100]
    assert bt1886([0, 0.1, 0.25, 0.5, 0.75, 1], 100, 0.05) == pytest.approx(wanted, abs=6e-5)


ANSI = """
2725 0.000 0.4578 0.4101
3045 0.000 0.4338 0.4030
3465 0.000 0.4073 0.3917
3985 0.001 0.3818 0.3797
5028 0.002 0.3447 0.3553
5665 0.002 0.3287 0.3417
6530 0.003 0.3123 0.3282
"""
"""ANSI C78.377-2008, table 1, from memory: kelvin, Duv, x, y of the middles of seven nominal whites."""


@pytest.mark.parametrize("line", ANSI.split("\n")[1:-1])
def test_cct_and_duv_of_published_whites(line: str) -> None:
    """As published, to the rounding: x and y have four places, Duv three."""
    kelvin, duv, x, y = map(float, line.split())
    found = cct_duv([x, y])
    assert found[0] == pytest.approx(kelvin, abs=6)
    assert found[1] == pytest.approx(duv, abs=0.0006)


@pytest.mark.parametrize(
    ("x", "y", "kelvin"),
    [(0.3721, 0.3751, 4230), (0.3129, 0.3292, 6500), (0.3805, 0.3769, 4000), (0.44757, 0.40745, 2856)],
    ids=["F2", "F7", "F11", "A"],
)
def test_cct_of_illuminants(x: float, y: float, kelvin: float) -> None:
    """CIE 15, tables of illuminants, from memory; of F illuminants told to 10 K, and F7 by its nominal figure."""
    assert cct_duv([x, y])[0] == pytest.approx(kelvin, abs=10)


@pytest.mark.parametrize("kelvin", [2000, 3000, 5000, 6500, 9300, 15000])
def test_planckian_radiator_has_its_temperature(kelvin: float) -> None:
    """By Planck's law (CODATA's c2) and the CIE 1931 observer, summed by hand: its own temperature, and Duv nothing."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    metres = observer.wavelengths * 1e-9
    light = metres**-5 / np.expm1(1.438776877e-2 / (metres * kelvin))
    found = cct_duv(xy_of(light @ observer.values))
    assert found[0] == pytest.approx(kelvin, rel=5e-4)
    assert found[1] == pytest.approx(0, abs=2e-5)


def test_named_whites() -> None:
    """D65 is 6504 K (CIE 15), D93 daylight of 9300 K; both lie about 0.003 above the locus (colour-science 0.4.7)."""
    assert cct_duv(D65.xy) == pytest.approx([6504, 0.0032], abs=1)
    assert cct_duv([D65.xy, D93.xy])[:, 1] == pytest.approx([0.00321, 0.00311], abs=2e-5)
    assert cct_duv(D93.xy)[0] == pytest.approx(9300, abs=2)
    # 4x and 9y over -2x + 12y + 3 (CIE 15), by hand.
    assert uv_of(D65.xy) == pytest.approx([1.2508 / 6.3226, 2.961 / 6.3226], abs=1e-12)


def test_no_temperature_where_it_means_nothing() -> None:
    """Far from the locus, beyond its ends, and where nothing was read."""
    odd = np.array([[0.64, 0.33], [0.30, 0.60], [0.15, 0.06], [0.22, 0.2], [np.nan, np.nan], [0.3, 0.0]])
    found = cct_duv(odd)
    assert found.shape == (6, 2)
    assert np.isnan(found).all()
    assert np.isnan(xy_of([0.0, 0, 0])).all()


@pytest.mark.parametrize(
    ("name", "shares"),
    [
        ("smpte-c", (0.2124, 0.7011, 0.0866)),
        ("ebu-3213", (0.2220, 0.7067, 0.0713)),
        ("bt709", (0.2126, 0.7152, 0.0722)),
    ],
)
def test_shares_of_light(name: str, shares: tuple[float, float, float]) -> None:
    """SMPTE RP 177's derivation; BT.709 prints its row, that of SMPTE C stands in SMPTE RP 145 (from memory)."""
    known = primaries_of(name)
    assert known is not None
    matrix = rgb_matrix(known.xy, D65.xy)
    assert matrix[1] == pytest.approx(shares, abs=6e-5)
    # What the matrix is for: white and primaries are where they should be.
    assert xy_of(matrix.sum(axis=1)) == pytest.approx(D65.xy, abs=1e-12)
    assert xy_of(matrix.T) == pytest.approx(np.array(known.xy), abs=1e-12)


def test_primaries_on_one_line_are_refused() -> None:
    """Three primaries on one line span no triangle, so there is no matrix for them."""
    with pytest.raises(ValueError, match="on one line"):
        rgb_matrix([[0.2, 0.2], [0.3, 0.3], [0.4, 0.4]], D65.xy)


def test_equal_to_colour_science() -> None:
    """A thousand random colours: the library's own answers to its last digits; temperatures to half a kelvin."""
    chance = np.random.default_rng(1)
    xyz = chance.uniform(0.1, 120, (1000, 3))
    other = xyz * chance.uniform(0.9, 1.1, xyz.shape)
    xy = colour.XYZ_to_xy(xyz)
    assert xy_of(xyz) == pytest.approx(xy, rel=1e-14)
    assert uv_of(xy) == pytest.approx(colour.xy_to_Luv_uv(xy), rel=1e-13)
    assert xyz_of(xy, xyz[:, 1]) == pytest.approx(xyz, rel=1e-12)
    one, two = (colour.XYZ_to_Lab(some / WHITE[1], colour.XYZ_to_xy(WHITE)) for some in (xyz, other))
    assert delta_e_2000(xyz, other, WHITE) == pytest.approx(colour.delta_E(one, two, method="CIE 2000"), abs=1e-9)
    for known, name in zip(PRIMARY_SETS, ("SMPTE C", "EBU Tech. 3213-E", "ITU-R BT.709"), strict=True):
        primaries = colour.RGB_COLOURSPACES[name].primaries
        assert np.array(known.xy) == pytest.approx(primaries, abs=1e-12)
        wanted = colour.normalised_primary_matrix(primaries, D65.xy)
        assert rgb_matrix(known.xy, D65.xy) == pytest.approx(wanted, abs=1e-13)
    whites = colour.Luv_uv_to_xy(chance.normal((0.2, 0.47), (0.01, 0.01), (100, 2)))
    temperatures = colour.temperature.uv_to_CCT_Ohno2013(colour.xy_to_UCS_uv(whites))
    assert temperatures[:, 0].max() < 20_000
    assert cct_duv(whites)[:, 0] == pytest.approx(temperatures[:, 0], abs=0.5)
    assert cct_duv(whites)[:, 1] == pytest.approx(temperatures[:, 1], abs=2e-6)
    by_hand = np.hypot(*(colour.xy_to_Luv_uv(whites) - colour.xy_to_Luv_uv(D65.xy)).T)
    assert delta_uv(whites, D65.xy) == pytest.approx(by_hand, abs=1e-15)


def test_the_observer_is_colour_science_s() -> None:
    """Every 5 nm of the CIE 1931 observer, and so the spectral locus, is the library's (ISO/CIE 11664-1)."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    kept = np.isin(observer.wavelengths, WAVELENGTHS)
    assert kept.sum() == len(WAVELENGTHS)
    assert pytest.approx(observer.values[kept], rel=1e-9) == COLOUR_MATCHING
    wavelengths, spots = spectral_locus()
    assert (wavelengths[0], wavelengths[-1]) == (410, 700)
    assert spots == pytest.approx(colour.XYZ_to_xy(observer.values[np.isin(observer.wavelengths, wavelengths)]))


def test_areas_by_hand() -> None:
    """A right triangle, and squares that overlap by a quarter."""
    assert area_of([(0, 0), (3, 0), (0, 4)]) == pytest.approx(6)
    square = np.array([(0, 0), (2, 0), (2, 2), (0, 2)], dtype=float)
    assert coverage_of(square + 1, square) == pytest.approx(0.25)
    assert coverage_of(square[::-1] + 1, square) == pytest.approx(0.25)
    assert coverage_of(square * 2 - 1, square) == 1
    assert coverage_of(square + 5, square) == 0
    assert coverage_of([(0, 0), (1, 1), (2, 2)], square) == 0


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000))
def test_coverage_equal_to_opencv(seed: int) -> None:
    """Two random triangles: OpenCV's intersection of convex polygons, in single precision."""
    one, other = np.random.default_rng(seed).uniform(0, 1, (2, 3, 2))
    if min(area_of(one), area_of(other)) < 0.01:
        return
    # OpenCV wants both the same way round.
    turned = [cv2.convexHull(some.astype(np.float32)) for some in (one, other)]
    common, _ = cv2.intersectConvexConvex(*turned)
    assert coverage_of(one, other) == pytest.approx(common / area_of(other), abs=1e-4)


@pytest.mark.parametrize("text", ["", "d50", "0.3", "0.3127;0.3290", "0.9,0.05", "x,y", "0.3127,0.3290,1"])
def test_odd_whites_are_refused(text: str) -> None:
    """A white that is neither a name nor a real chromaticity is refused, and the message names the option."""
    with pytest.raises(ValueError, match=r"^--white: got "):
        white_of(text)


@pytest.mark.parametrize("text", ["0.199,0.33", "0.451,0.33", "0.31,0.199", "0.31,0.451"])
def test_a_white_is_out_of_range_by_one_coordinate_alone(text: str) -> None:
    """x and y are both from 0.2 to 0.45; the limits themselves are accepted."""
    with pytest.raises(ValueError, match=r"which is no white: x and y from 0\.2 to 0\.45"):
        white_of(text)
    assert white_of("0.2,0.45").xy == (0.2, 0.45)
    assert white_of("0.45,0.2").xy == (0.45, 0.2)


def test_whites_as_they_are_typed() -> None:
    """Names and pairs of numbers are accepted with blanks and in any case; unknown primaries are refused."""
    assert white_of(" D65 ") == D65
    assert white_of("0.281, 0.311").xy == (0.281, 0.311)
    assert primaries_of("readings", or_readings=True) is None
    for text in ("readings", "ntsc", ""):
        with pytest.raises(ValueError, match=r"^--primaries: got .*smpte-c, ebu-3213, bt709$"):
            primaries_of(text)
