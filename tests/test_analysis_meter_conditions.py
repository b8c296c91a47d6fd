"""What a bench does to readings besides controls that are off: named, with its size, and never taken for outliers."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.meter.grey.answer import grey_answer
from analysis.meter.grey.measure import Grey, measure_grey
from analysis.meter.noise import mean_noise, meter_noise, settled_meter
from analysis.meter.primaries.answer import colour_answer
from analysis.meter.primaries.measure import measure_colour
from analysis.meter.readings.read import read_readings
from analysis.meter.readings.types import Field, Meter, Reading, Readings
from analysis.meter.whites import D65, PRIMARY_SETS
from render.errors import FileError
from tests.trials.meters.cases import draw_tube
from tests.trials.meters.honest import measured, worst_of
from tests.trials.meters.meter import ColourMeter, write_csv
from tests.trials.meters.nuisances import NUISANCES, Bench, draw_bench, draw_nuisance, with_slip
from trueraster.output.json import answer_json

QUIET = 1
"""A tube whose blacks are not crushed."""


def named(found: Grey) -> set[str]:
    return {f"{one.id} {one.variant}" if one.id == "code-range" else one.id for one in found.conditions}


@pytest.mark.parametrize("kind", NUISANCES)
def test_what_a_bench_does_is_named(kind: str) -> None:
    """Each nuisance of the simulator is named, its words are in findings and warnings, and no reading is dropped."""
    found = measured(draw_nuisance(kind, 12))
    assert kind in named(found)
    assert not found.repeats.outliers
    assert not found.strays
    answer = answer_json(grey_answer(found))
    held = next(one for one in answer["conditions"] if kind.startswith(one["id"]))
    assert held["title"][1:] in answer["finding"] or f"{held['gun']} below" in answer["finding"]
    assert any(held["remedy"] in words for words in answer["warnings"])


@pytest.mark.parametrize("seed", [0, 2, 4])
def test_of_a_healthy_tube_only_crushed_blacks_are_named(seed: int) -> None:
    """Nothing is named but guns that are cut off, and those are."""
    bench = draw_bench(seed)
    found = measured(bench)
    assert named(found) <= {"black-crushed"}
    for one in found.conditions:
        gun = ("red", "green", "blue").index(one.gun)
        assert (bench.tube.cutoff / bench.tube.drive)[gun] < -0.004


def clipped(level: float) -> Bench:
    bench = draw_bench(QUIET)
    return replace(bench, tube=replace(bench.tube, knee=(9.0, level, 9.0)), pattern="three times")


def test_a_clipped_gun_is_named_and_the_headline_is_of_the_steps_as_read() -> None:
    """Green clips above 78 %: its level and loss, and the colour error of the tube, not of an unclipped fit."""
    bench = clipped(0.78)
    found = measured(bench)
    (one,) = [one for one in found.conditions if one.id == "gun-clipped"]
    assert one.gun == "green"
    assert one.level_percent == pytest.approx(78, abs=2)
    whole = float(replace(bench.tube, knee=(9.0, 9.0, 9.0)).guns(1.0)[1])
    # By the simulator's own equations.
    assert one.amount == pytest.approx(100 * (1 - float(bench.tube.guns(1.0)[1]) / whole), abs=2)
    answer = grey_answer(found)
    figure = next(some for some in answer.figures if some.quantity.path == answer.findings[0].about)
    assert figure.value == pytest.approx(worst_of(bench.tube), abs=0.003)
    assert not found.repeats.outliers
    assert not found.strays


def test_light_of_the_room_has_its_amount_and_the_contrast_without_it() -> None:
    """0.5 cd/m2 on the glass, read three times alike, is no outlier; contrast without it is the tube's own."""
    bench = draw_bench(QUIET)
    lamp = np.array([0.3805 / 0.3769, 1.0, 0.2426 / 0.3769])
    tube = replace(bench.tube, room=0.5 * lamp, cutoff=np.full(3, 0.03))
    found = measured(replace(bench, tube=tube, pattern="three times"))
    (one,) = [one for one in found.conditions if one.id == "room-light"]
    assert one.amount == pytest.approx(0.5, abs=0.02)
    own = replace(tube, room=np.zeros(3)).grey(np.array([0.0, 1.0]))[:, 1]
    assert one.values["contrast_without"] == pytest.approx(own[1] / own[0], rel=0.2)
    assert found.figures["contrast"] == pytest.approx((own[1] + 0.5) / (own[0] + 0.5), rel=0.05)


def test_white_that_lacks_light_of_its_parts_is_limited() -> None:
    """Of a scale whose only limited step is white, red, green and blue together tell it."""
    bench = replace(draw_bench(QUIET), levels=(0, 10, 20, 30, 40, 50, 60, 70, 80, 90, 100), pattern="five times")
    white = float(bench.tube.guns(1.0).sum())
    found = measured(replace(bench, tube=replace(bench.tube, limit=0.85 * white)))
    assert "beam-current-limited" in named(found)


def test_a_slip_at_the_end_of_a_scale_is_a_step_and_is_warned_of() -> None:
    """White read once, ten times too dark: nothing beyond contradicts it, so it stays, and the answer says so."""
    bench = replace(draw_bench(QUIET), pattern="once")
    rows = bench.read()
    at = next(i for i, row in enumerate(rows) if row.level_percent == 100)
    found = measured(bench, with_slip(rows, at, 0.5))
    answer = grey_answer(found)
    assert 100 in [step.level_percent for step in found.steps]
    assert found.falls or any("read it again" in words for words in answer.remarks) or found.conditions


def test_readings_that_agree_are_never_outliers() -> None:
    """A mid step that reads alike three times, and off the scale, stays in the table."""
    bench = replace(draw_bench(QUIET), pattern="three times")
    rows = [replace(row, luminance=1.3 * row.luminance) if row.level_percent == 50 else row for row in bench.read()]
    found = measured(bench, rows)
    step = next(step for step in found.steps if step.level_percent == 50)
    assert step.count == 3
    assert not found.strays


# --- Resolution and dark noise ----------------------------------------------------------------------------------------


def test_resolution_is_the_last_digit_of_the_file(tmp_path: Path) -> None:
    """0.01 cd/m2 and 0.001 in x and y as the file has them, and what rounding to it does to an uncertainty, by hand."""
    path = tmp_path / "readings.csv"
    write_csv(path, draw_bench(3).read(), digits=(2, 3))
    readings = read_readings(path)
    assert (readings.light_step, readings.xy_step) == (0.01, 0.001)
    meter = settled_meter(Meter(dark=1e-6), readings)
    spread, spot = meter_noise(0.0, meter)[0], meter_noise(100.0, meter)[1]
    # An even distribution over a step has 1 / sqrt(12) of it as standard deviation (JCGM 100:2008, 4.3.7, from memory).
    assert spread == pytest.approx(0.01 / 12**0.5, rel=1e-3)
    assert spot == pytest.approx(np.hypot(0.002, 0.001 / 12**0.5), rel=1e-3)


def test_dark_noise_comes_from_repeated_readings() -> None:
    """Black that scatters by 0.01 cd/m2: its uncertainty follows; what is typed is taken as it is."""
    chance = np.random.default_rng(5)
    items = [
        Reading(field=Field.GREY, level_percent=level, xyz=(0.95 * y, y, 1.09 * y), row=row)
        for row, (level, light) in enumerate([(0, 0.05), (5, 0.2), (10, 0.7)] * 5, 2)
        for y in [light + 0.01 * chance.standard_normal()]
    ]
    readings = Readings(path=None, items=tuple(items))
    assert settled_meter(Meter(), readings).dark == pytest.approx(0.01, rel=0.4)
    assert settled_meter(Meter(dark=0.002), readings).dark == 0.002
    assert settled_meter(Meter(), Readings(path=None, items=tuple(items[:1]))).dark == pytest.approx(0.0005)


def test_the_primaries_uncertainty_is_in_the_light_of_the_guns() -> None:
    """A meter five times worse in x and y, the same fit: the guns' light is that much less certain."""
    bench = replace(draw_bench(QUIET), pattern="once")
    found = measured(bench)
    assert found.guns is not None
    assert found.light_uncertainty is not None
    # 0.002 of blue's y of 0.07 is 3 % of its light, by hand.
    assert found.light_uncertainty[2] == pytest.approx(0.03, rel=0.6)
    shown = next(one for one in grey_answer(found).figures if one.quantity.path == "guns.blue.light_cd_m2")
    assert shown.value is not None
    assert shown.uncertainty is not None
    assert shown.uncertainty / shown.value >= found.light_uncertainty[2]


# --- Few levels -------------------------------------------------------------------------------------------------------


def of_levels(levels: tuple[float, ...], seed: int = QUIET) -> Grey:
    meter = ColourMeter(chance=np.random.default_rng(seed), luminance=1e-4, xy=1e-5)
    bench = replace(draw_bench(seed), digits=(6, 6), meter=replace(meter, decimals=6))
    return measured(bench, bench.meter.scale(bench.tube, levels))


def test_two_levels_are_enough_for_advice() -> None:
    """Cut-offs at 20 % and drives at 80 %: turned by as much, the simulator's tube is right at both."""
    found = of_levels((20, 80))
    assert found.advice is not None
    assert {(item.control, round(100 * item.level)) for item in found.advice.items} == {("cut-off", 20), ("drive", 80)}
    tube = draw_tube(QUIET)
    for item in found.advice.items:
        how = {"cutoff_percent" if item.control == "cut-off" else "drive_percent": item.percent}
        tube = tube.turned(("red", "green", "blue").index(item.gun), **how)
    assert worst_of(tube, np.array([0.2, 0.8])) < 0.002
    assert "read all levels once" in " ".join(grey_answer(found).summary)


@pytest.mark.parametrize(("level", "control"), [(10, "cut-off"), (80, "drive")])
def test_one_level_is_checked_by_its_own_control(level: float, control: str) -> None:
    """A single level is brought right by cut-offs where it is dark, and by drives where it is bright."""
    found = of_levels((level,))
    assert found.advice is not None
    assert {item.control for item in found.advice.items} == {control}
    assert found.advice.then < 0.001


@pytest.mark.parametrize("seed", range(4))
def test_a_reason_is_of_the_state_at_its_turn(seed: int) -> None:
    """More light goes down and less goes up; where it does not, the reason names the drive that follows."""
    for one in grey_answer(of_levels((0, 5, 10, 20, 40, 60, 80, 100), seed)).advice or ():
        for word, way in ((" more light", "down"), (" less light", "up")):
            if word in one.why:
                assert one.direction == way or "its drive goes" in one.why


def test_five_clean_steps_are_a_scale() -> None:
    """0, 25, 50, 75 and 100 %, without noise, give guns and advice."""
    found = of_levels((0, 25, 50, 75, 100))
    assert found.guns is not None
    assert found.advice is not None


# --- Colours and headers ----------------------------------------------------------------------------------------------


EXAMPLE = Path(__file__).resolve().parent.parent / "docs" / "examples" / "colour-readings.csv"


@pytest.mark.parametrize(
    ("one", "other"), [("cyan", "magenta"), ("magenta", "yellow"), ("cyan", "yellow"), ("red", "yellow")]
)
def test_exchanged_fields_are_recognised(tmp_path: Path, one: str, other: str) -> None:
    """Two rows of the example with each other's names: they are named, and so is every deviation beyond 3 u."""
    text = EXAMPLE.read_text(encoding="utf-8")
    path = tmp_path / "exchanged.csv"
    path.write_text(text.replace(one, "?").replace(other, one).replace("?", other), encoding="utf-8")
    found = measure_colour(read_readings(path), PRIMARY_SETS[0], D65)
    assert [{c.gun, c.other} for c in found.conditions if c.id == "fields-exchanged"] == [{one, other}]
    answer = colour_answer(found)
    beyond = set(answer.details["beyond"])
    for figure in answer.figures:
        if figure.quantity.path.endswith((".delta_uv", ".luminance_error_percent")) and figure.value is not None:
            assert (abs(figure.value) > 3 * (figure.uncertainty or 0)) == (figure.quantity.path in beyond)
    assert all(f"{name}" in " ".join(answer.summary) for name in (one, other))


def test_headers_in_capitals_and_foot_lamberts(tmp_path: Path) -> None:
    """FIELD,LEVEL_PERCENT,X,Y,LUMINANCE is x and y; a column in fL is converted, by 3.426 cd/m2 (1 / pi cd / ft2)."""
    path = tmp_path / "readings.csv"
    path.write_text("FIELD,LEVEL_PERCENT,X,Y,LUMINANCE\ngrey,100,0.3127,0.3290,80.5\n", encoding="utf-8")
    (item,) = read_readings(path).items
    assert item.luminance == 80.5
    assert item.xy == pytest.approx((0.3127, 0.3290))
    path.write_text("field,level,x,y,fL\ngrey,100,0.3127,0.3290,23.5\n", encoding="utf-8")
    readings = read_readings(path)
    assert readings.items[0].luminance == pytest.approx(23.5 / np.pi / 0.3048**2)
    assert readings.light_step == pytest.approx(0.1 / np.pi / 0.3048**2)
    path.write_text("FIELD,LEVEL_PERCENT,X,Y,Z\ngrey,100,95,100,109\n", encoding="utf-8")
    assert read_readings(path).items[0].xyz == (95, 100, 109)
    path.write_text("field,level,x,y,Y\ngrey,235,0.3127,0.3290,23.5\n", encoding="utf-8")
    with pytest.raises(FileError, match=r"code - 16"):
        read_readings(path)


def test_a_scale_in_foot_lamberts_is_asked_about() -> None:
    """White of 28 'cd/m2' is asked about, with what it is when it is in fL; the answer is kept otherwise."""
    bench = draw_bench(QUIET)
    found = measured(replace(bench, meter=replace(bench.meter, unit=3.426)))
    assert "unit" in named(found)
    assert measure_grey(found.readings, D65, None).advice is not None


def test_repeats_do_not_average_rounding_away() -> None:
    """A black of 0.014 cd/m2 that a meter of 0.01 shows as 0.01 ten times: off by less than two uncertainties."""
    meter = Meter(dark=0.0005, resolution=0.01, xy_resolution=0.0)
    assert mean_noise(0.01, 10, meter)[0] == pytest.approx(0.01 / 12**0.5, rel=0.05)
    # Noise of three steps is as good as figures without end: it shrinks with the root of ten.
    noisy = replace(meter, dark=0.03)
    assert mean_noise(0.01, 10, noisy)[0] == pytest.approx(0.03 / 10**0.5, rel=0.02)
