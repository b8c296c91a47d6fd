"""A real tube: a grey scale and a colour answer made from the measured spectra of a CRT's three phosphors.

Source: colour-science 0.4.7, `MSDS_DISPLAY_PRIMARIES["Typical CRT Brainard 1997"]`. The spectra are relative, of full
light; that light is a power of the signal, with a little cut-off, is assumed.
"""

from __future__ import annotations

import colour
import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.meter.grey.answer import grey_answer
from analysis.meter.grey.measure import measure_grey
from analysis.meter.primaries.answer import colour_answer
from analysis.meter.primaries.measure import measure_colour
from analysis.meter.readings.types import Field, Meter, Reading, Readings
from analysis.meter.whites import D65, PRIMARY_SETS

Floats = NDArray[np.float64]

PUBLISHED = ((0.619, 0.344), (0.276, 0.605), (0.151, 0.061))
"""x and y of the primaries, as they are given with the data."""
GAMMA, CUTOFF, WHITE = 2.4, 0.03, 85.0
SMPTE_C = PRIMARY_SETS[0]
FIELDS = {
    Field.RED: (1, 0, 0),
    Field.GREEN: (0, 1, 0),
    Field.BLUE: (0, 0, 1),
    Field.CYAN: (0, 1, 1),
    Field.MAGENTA: (1, 0, 1),
    Field.YELLOW: (1, 1, 0),
}


@pytest.fixture(scope="module")
def phosphors() -> Floats:
    """(3, 3): XYZ of red, green and blue at full light, in cd/m2, by colour-science's observer."""
    spectra = colour.MSDS_DISPLAY_PRIMARIES["Typical CRT Brainard 1997"]
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(spectra.shape)
    xyz = spectra.values.T @ observer.values
    return np.asarray(xyz / xyz[:, 1].sum() * WHITE)


def shown(phosphors: Floats, rgb: tuple[float, float, float]) -> tuple[float, float, float]:
    """XYZ of a field, without any noise."""
    lights = ((np.array(rgb) + CUTOFF) / (1 + CUTOFF)) ** GAMMA
    x, y, z = map(float, lights @ phosphors)
    return x, y, z


@pytest.fixture(scope="module")
def readings(phosphors: Floats) -> Readings:
    """Greys in steps of 5 %, primaries and secondaries, black among them."""
    fields = [(Field.GREY, level, (level / 100,) * 3) for level in range(0, 101, 5)]
    fields += [(field, 100, (float(r), float(g), float(b))) for field, (r, g, b) in FIELDS.items()]
    return Readings(
        path=None,
        items=tuple(
            Reading(field=field, level_percent=level, xyz=shown(phosphors, (rgb[0], rgb[1], rgb[2])), row=row)
            for row, (field, level, rgb) in enumerate(fields, 2)
        ),
    )


def test_the_spectra_are_those_that_were_published(phosphors: Floats) -> None:
    """The primaries' chromaticities are the published ones to their three places."""
    assert colour.XYZ_to_xy(phosphors) == pytest.approx(np.array(PUBLISHED), abs=5e-4)


def test_greys_of_a_real_tube(phosphors: Floats, readings: Readings) -> None:
    """Every step has colour-science's chromaticity, temperature and difference, and the guns are those assumed."""
    found = measure_grey(readings, D65, None)
    white = colour.xyY_to_XYZ([*D65.xy, WHITE])
    for step in found.steps:
        xyz = np.array(shown(phosphors, (step.level_percent / 100,) * 3))
        xy = colour.XYZ_to_xy(xyz)
        kelvin, duv = colour.temperature.uv_to_CCT_Ohno2013(colour.xy_to_UCS_uv(xy))
        wanted = colour.xyY_to_XYZ([*D65.xy, xyz[1]])
        one, other = (colour.XYZ_to_Lab(some / white[1], D65.xy) for some in (xyz, wanted))
        assert step.figures["x"] == pytest.approx(xy[0], abs=1e-6)
        assert step.figures["cct"] == pytest.approx(kelvin, abs=0.5)
        assert step.figures["duv"] == pytest.approx(duv, abs=2e-6)
        assert step.figures["delta_e_2000"] == pytest.approx(colour.delta_E(one, other, method="CIE 2000"), abs=1e-3)
    assert found.guns is not None
    assert found.guns.light == pytest.approx(phosphors[:, 1], rel=0.01)
    assert found.guns.cutoff == pytest.approx([CUTOFF] * 3, abs=0.003)
    assert not found.conditions
    assert not found.strays


def test_advice_for_a_real_tube(phosphors: Floats, readings: Readings) -> None:
    """The drives that the advice asks for make D65 of the measured spectra."""
    found = measure_grey(readings, D65, None)
    assert found.advice is not None
    drive = np.ones(3)
    for item in found.advice.items:
        if item.control == "drive":
            drive[["red", "green", "blue"].index(item.gun)] += item.percent / 100
    lights = ((0.8 * drive + CUTOFF) / (1 + CUTOFF)) ** GAMMA
    off = colour.XYZ_to_xy(lights @ phosphors) - np.array(D65.xy)
    before = colour.XYZ_to_xy(phosphors.sum(axis=0)) - np.array(D65.xy)
    assert np.abs(before).max() > 0.02
    assert np.abs(off).max() < 0.002
    assert {(one.adjust, one.direction) for one in grey_answer(found).advice or ()} >= {
        ("red drive", "up"),
        ("blue drive", "down"),
    }


def test_colours_of_a_real_tube(phosphors: Floats, readings: Readings) -> None:
    """Each colour's distance from SMPTE C is colour-science's, and the red that is off is named."""
    found = measure_colour(readings, SMPTE_C, D65, Meter(luminance=0.004, xy=0.0004))
    spots = colour.xy_to_Luv_uv(colour.XYZ_to_xy(phosphors))
    wanted = colour.xy_to_Luv_uv(np.array(SMPTE_C.xy))
    for i, gun in enumerate(("red", "green", "blue")):
        # Black, a thousandth of white's light, is in every colour as it is read.
        assert found.figures[f"{gun}.delta_uv"] == pytest.approx(np.hypot(*(spots - wanted)[i]), abs=0.002)
    beyond = colour_answer(found).details["beyond"]
    assert "primaries.red.delta_uv" in beyond
    assert "primaries.green.delta_uv" in beyond
