"""The grey scale as a whole, from greys whose luminances are worked out by hand."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from analysis.meter.grey.scale import whole_scale
from analysis.meter.readings.types import Field, Meter, Reading


def groups(lights: Mapping[float, float], repeats: int = 1) -> list[list[Reading]]:
    """Neutral greys of these luminances in cd/m2, by level in percent, each read so often."""
    return [
        [
            Reading(field=Field.GREY, level_percent=level, xyz=(0.95 * light, light, 1.09 * light), row=row)
            for row in range(repeats)
        ]
        for level, light in lights.items()
    ]


def test_black_white_contrast_and_gamma_are_those_of_the_readings() -> None:
    """Black 0.1 and white 80.1 cd/m2, and between them 80 V^2.2 more than black."""
    lights: dict[float, float] = {level: 0.1 + 80 * (level / 100) ** 2.2 for level in (0, 5, 10, 30, 60, 100)}
    # Below 10 % noise and black rule, and above 100 % a set may clip, so that these steps have no part in gamma.
    lights |= {5: 3 * lights[5], 105: 80.1}
    figures, _, reasons = whole_scale(groups(lights), Meter())
    assert (figures["black_cd_m2"], figures["white_cd_m2"]) == pytest.approx((0.1, 80.1))
    assert figures["contrast"] == pytest.approx(801)
    assert figures["gamma"] == pytest.approx(2.2)
    assert reasons == {}


@pytest.mark.parametrize(("level", "factor"), [(10, 1.08), (50, 0.93), (90, 1.02)])
def test_the_deviation_from_bt1886_is_in_percent_of_its_light(level: float, factor: float) -> None:
    """With a black of nothing BT.1886 is 100 V^2.4; one step is off it, and both ends are not looked at."""
    lights: dict[float, float] = {step: 100 * (step / 100) ** 2.4 for step in (0, 5, 10, 50, 90, 100)}
    lights[5] *= 2
    lights[level] *= factor
    figures, _, reasons = whole_scale(groups(lights), Meter())
    assert figures["bt1886_error_percent"] == pytest.approx(100 * (factor - 1))
    assert figures["bt1886_error_level_percent"] == pytest.approx(level)
    assert (figures["contrast"], reasons) == (
        None,
        {"contrast": "the meter read no light of black, so that contrast has no end"},
    )


def test_codes_beside_black_and_white_count_as_those() -> None:
    """Up to 0.05 % is black, and one code of 8 bits (0.46 %) beside 100 % is white; levels farther off are neither."""
    near, _, _ = whole_scale(groups({0.05: 0.1, 40: 10, 99.54: 100}), Meter())
    assert (near["black_cd_m2"], near["white_cd_m2"]) == (0.1, 100)
    above, _, _ = whole_scale(groups({0: 0.1, 40: 10, 100.46: 100}), Meter())
    assert above["white_cd_m2"] == 100
    far, _, reasons = whole_scale(groups({0.06: 0.1, 40: 10, 99.4: 100}), Meter())
    assert (far["black_cd_m2"], far["white_cd_m2"]) == (None, None)
    assert reasons["contrast"] == "no grey at 100 % was read"


def test_a_black_as_bright_as_white_has_no_contrast() -> None:
    """Black that gives as much light as white is a mistake of the readings, and more than it too."""
    for black in (100, 120):
        figures, _, reasons = whole_scale(groups({0: black, 50: 130, 100: 100}), Meter())
        assert figures["contrast"] is None
        assert reasons["contrast"].startswith("black gives no less light than white")
        assert reasons["bt1886_error_percent"] == "white gives no more light than black"


def test_repeated_readings_make_the_scale_more_certain() -> None:
    """A meter of 2 % reads white four times: 1 %; the level of the largest deviation is chosen, and has none."""
    lights: dict[float, float] = {level: 0.5 + 100 * (level / 100) ** 2.4 for level in (0, 10, 50, 100)}
    _, once, _ = whole_scale(groups(lights), Meter(luminance=0.02))
    _, often, _ = whole_scale(groups(lights, repeats=4), Meter(luminance=0.02))
    assert once["white_cd_m2"] == pytest.approx(0.02 * 100.5, rel=1e-4)
    assert often["white_cd_m2"] == pytest.approx(0.01 * 100.5, rel=1e-4)
    # Of the quotient of two readings of 2 % each; black's noise in the dark adds a little.
    assert once["contrast"] == pytest.approx(201 * 0.02 * 2**0.5, rel=0.03)
    assert once["bt1886_error_level_percent"] is None
