"""The equations of three guns, and repeated readings, on simulated tubes that are known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.meter.guns import Guns, Scale, fit_guns, gun_matrix
from analysis.meter.noise import meter_noise
from analysis.meter.readings.types import Field, Meter, Reading
from analysis.meter.repeats import grouped, look_at_repeats, mean_of
from tests.trials.meters.cases import D65, draw_tube
from tests.trials.meters.meter import LEVELS, ColourMeter, Shown
from tests.trials.meters.tube import Tube

EXACT = {"luminance": 1e-9, "xy": 1e-9}
"""A meter without noise but for its digits."""


def readings(shown: Sequence[Shown]) -> list[Reading]:
    """What was shown by the simulated meter, as if read from its file; rows count from 3."""
    items = []
    for row, one in enumerate(shown, 3):
        a, b, c = one.x, one.y, one.luminance
        xyz = (c * a / b, c, c * (1 - a - b) / b) if c > 0 else (0.0, 0.0, 0.0)
        items.append(Reading(field=Field(one.field), level_percent=one.level_percent, xyz=xyz, row=row))
    return items


def greys(tube: Tube, luminance: float = 0.02, xy: float = 0.002) -> list[Reading]:
    meter = ColourMeter(chance=np.random.default_rng(1), luminance=luminance, xy=xy)
    return [item for item in readings(meter.scale(tube)) if item.field is Field.GREY]


def fitted(tube: Tube, **noise: float) -> Guns:
    return fit_guns(Scale(readings=greys(tube, **noise), primaries=tube.primaries, room_xy=D65, meter=Meter()))


@pytest.mark.parametrize("seed", range(4))
def test_guns_are_found_where_there_is_no_noise(seed: int) -> None:
    """The simulator's own cut-offs, gammas and light; what is expected beforehand draws them aside by a little."""
    tube = draw_tube(seed)
    guns = fitted(tube, **EXACT)
    assert guns.cutoff == pytest.approx(tube.cutoff / tube.drive, abs=0.003)
    assert guns.gamma == pytest.approx(tube.gamma, abs=0.03)
    assert guns.light == pytest.approx(tube.guns(1.0), rel=0.01)
    assert guns.room < 0.003
    assert guns.misfit < 0.5


def test_light_of_a_turned_gun_is_that_of_the_turned_tube() -> None:
    """Amounts mean the same here and in the simulator: cut-off in parts of the drive range, before the drive moves."""
    tube = draw_tube(5)
    guns = fitted(tube, **EXACT)
    turned = tube.turned(0, cutoff_percent=2.5).turned(0, drive_percent=-8).turned(2, drive_percent=5)
    levels = np.array([0.1, 0.3, 0.6, 1.0])
    told = guns.lights(levels, cutoff=[0.025, 0, 0], drive=[-0.08, 0, 0.05])
    assert told == pytest.approx(turned.guns(levels), rel=0.01)


def test_the_truth_lies_within_the_uncertainties() -> None:
    """Of 8 noisy tubes, light, cut-off and gamma lie within two uncertainties in most cases (95 % is right)."""
    inside = []
    for seed in range(8):
        tube = draw_tube(seed)
        guns = fitted(tube)
        truth = np.concatenate([np.log(tube.guns(1.0)), tube.cutoff / tube.drive, tube.gamma])
        inside.append(np.abs(guns.values[:9] - truth) <= 2 * np.sqrt(np.diag(guns.covariance))[:9])
    assert 0.85 <= np.mean(inside) <= 1.0


def test_light_of_the_room_is_told_from_that_of_guns() -> None:
    """The fit finds the light of the room apart from the light of the guns."""
    tube = draw_tube(2)
    room = 0.05
    lit = replace(tube, room=room * gun_matrix([D65])[:, 0])
    guns = fitted(lit, **EXACT)
    assert guns.room == pytest.approx(room, abs=0.01)
    assert guns.cutoff == pytest.approx(tube.cutoff / tube.drive, abs=0.004)


def test_samples_scatter_as_the_covariance_says_and_are_the_same_each_time() -> None:
    """Samples of the guns scatter by the covariance, and are the same in every run."""
    guns = fitted(draw_tube(1))
    values = np.array([other.values for other in guns.samples(2000)])
    # The room's light cannot be below nothing, so that its samples are not normal.
    assert values.std(axis=0)[:9] == pytest.approx(np.sqrt(np.diag(guns.covariance))[:9], rel=0.1)
    assert (guns.samples(3)[2].values == guns.samples(3)[2].values).all()


def test_samples_are_the_same_on_every_processor(monkeypatch: pytest.MonkeyPatch) -> None:
    """Eigenvectors whose signs are turned, as another processor's library may give them, make the same samples."""
    guns = fitted(draw_tube(3))
    here = np.array([one.values for one in guns.samples(5)])
    eigh = np.linalg.eigh

    def turned(matrix: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        values, vectors = eigh(matrix)
        return values, vectors * np.where(np.arange(len(values)) % 2, 1, -1)

    monkeypatch.setattr(np.linalg, "eigh", turned)
    assert np.allclose([one.values for one in guns.samples(5)], here, rtol=0, atol=1e-9)


def test_one_slip_hardly_moves_the_guns() -> None:
    """Huber's function: a reading ten times too bright pulls as three standard deviations do."""
    tube = draw_tube(3)
    items = greys(tube, **EXACT)
    at = next(i for i, item in enumerate(items) if item.level_percent == 60)
    x, y, z = items[at].xyz
    items[at] = replace(items[at], xyz=(10 * x, 10 * y, 10 * z))
    guns = fit_guns(Scale(readings=items, primaries=tube.primaries, room_xy=D65, meter=Meter()))
    assert guns.cutoff == pytest.approx(tube.cutoff / tube.drive, abs=0.01)


def test_what_is_no_grey_scale_is_refused() -> None:
    """Light that does not rise with the level, or none at all, is refused."""
    tube = draw_tube(4)
    for light, says in (((9.5, 10.0, 10.9), "light does not rise"), ((0.0, 0.0, 0.0), "no grey gives light")):
        flat = [replace(item, xyz=light) for item in greys(tube)]
        with pytest.raises(ValueError, match=says):
            fit_guns(Scale(readings=flat, primaries=tube.primaries, room_xy=D65, meter=Meter()))


def test_a_meter_is_worse_in_the_dark() -> None:
    """2 % and 0.002 in the light; 0.0005 cd/m2 rule in the dark, and 0.26 of it over the light in x and y, by hand."""
    spread, spot = meter_noise(np.array([0.0, 0.025, 100.0]), Meter())
    assert spread == pytest.approx([0.0005, 0.0005 * 2**0.5, 2.0], rel=1e-3)
    assert spot[1:] == pytest.approx([np.hypot(0.002, 0.26 * 0.0005 / 0.025), 0.002], rel=1e-3)


# --- Repeated readings ------------------------------------------------------------------------------------------------


def repeated(seed: int = 0, repeats: int = 3) -> list[Reading]:
    meter = ColourMeter(chance=np.random.default_rng([seed, 3]))
    return readings(meter.scale(draw_tube(seed), repeats=repeats))


def test_readings_of_one_field_come_together() -> None:
    """21 greys and 3 primaries, three times; 75.02 % is 75 %, another field is another one."""
    items = repeated()
    groups = grouped(items)
    assert [len(group) for group in groups] == [3] * (len(LEVELS) + 3)
    near = [replace(items[15], level_percent=75.02), replace(items[15], level_percent=75.0)]
    assert [len(group) for group in grouped(near)] == [2]
    assert [len(group) for group in grouped([near[0], replace(near[1], field=Field.RED)])] == [1, 1]


def test_noise_alone_is_no_outlier_and_no_drift() -> None:
    """Readings with ordinary noise are all kept, and no drift is reported."""
    for seed in range(10):
        found = look_at_repeats(repeated(seed), Meter())
        assert not found.outliers
        assert not found.apart
        assert found.drift is not None
        assert not found.drift.is_clear


def test_an_outlier_is_told_by_its_row_and_not_used() -> None:
    """One wrong reading among repeated ones is named by its row and left out."""
    items = repeated()
    x, y, z = items[10].xyz
    for wrong in ((1.3 * x, 1.3 * y, 1.3 * z), (1.2 * x, y, z), (0.0, 0.0, 0.0)):
        spoilt = [*items[:10], replace(items[10], xyz=wrong), *items[11:]]
        found = look_at_repeats(spoilt, Meter())
        assert [one.reading.row for one in found.outliers] == [items[10].row]
        assert found.outliers[0].why == "grey at 50 % is far off the other 2 readings of it, and is not used"
        assert len(found.kept) == len(items) - 1


def test_two_readings_that_disagree_are_both_kept() -> None:
    """Neither can be called wrong."""
    one, other = repeated()[10], repeated()[20]
    pair = [one, replace(other, level_percent=one.level_percent)]
    found = look_at_repeats(pair, Meter())
    assert len(found.kept) == 2
    assert found.apart == (
        f"rows {one.row} and {other.row} of grey at 50 % differ by far more than the meter's noise; read it once more",
    )


@pytest.mark.parametrize("rise", [-0.06, 0.06])
def test_drift_is_told_with_its_size(rise: float) -> None:
    """Light that changes evenly, by 6 % and x by 0.003 from a step's first reading to its last, which is three rounds
    of four.
    """
    items = repeated(repeats=4)
    moved = []
    for i, item in enumerate(items):
        time = i / (len(items) * 3 / 4)
        spot = item.xy
        if spot is None:
            moved.append(item)
            continue
        light, x, y = item.luminance * (1 + rise * time), spot[0] + 0.003 * time, spot[1]
        moved.append(replace(item, xyz=(light * x / y, light, light * (1 - x - y) / y)))
    drift = look_at_repeats(moved, Meter()).drift
    assert drift is not None
    assert drift.is_clear
    assert drift.luminance_percent == pytest.approx(100 * rise, abs=3 * drift.uncertainty[0])
    assert drift.x == pytest.approx(0.003, abs=3 * drift.uncertainty[1])
    assert drift.y == pytest.approx(0, abs=3 * drift.uncertainty[2])


@pytest.mark.parametrize("jump", [0.85, 1.15])
def test_a_set_that_changed_after_one_round_is_no_set_of_outliers(jump: float) -> None:
    """Light of the first of three rounds is 15 % off the others': that is the drift, and a slip is still found."""
    items = repeated()
    many = len(items) // 3
    moved = [_brighter(item, jump) for item in items[:many]] + items[many:]
    found = look_at_repeats(moved, Meter())
    assert not found.outliers
    assert not found.apart
    assert found.drift is not None
    assert found.drift.is_clear
    assert found.drift.luminance_percent == pytest.approx(100 * (1 / jump - 1), abs=3 * found.drift.uncertainty[0])
    slip = items[many + 10]
    moved[many + 10] = _brighter(slip, 1.5)
    assert [one.reading.row for one in look_at_repeats(moved, Meter()).outliers] == [slip.row]


def test_one_gun_that_drifts_makes_no_outliers_of_the_primaries() -> None:
    """Blue's drive falls by 5 % after the first round: greys share that, and red and green do not."""
    for seed in range(6):
        tube = draw_tube(seed)
        meter = ColourMeter(chance=np.random.default_rng([seed, 5]))
        rounds = [*meter.scale(tube), *meter.scale(tube.turned(2, drive_percent=-5), repeats=2)]
        found = look_at_repeats(readings(rounds), Meter()).outliers
        # Blue itself is 11 % off, which is more than five times what the meter scatters.
        assert {one.reading.field for one in found} <= {Field.BLUE}


def _brighter(item: Reading, times: float) -> Reading:
    x, y, z = item.xyz
    return replace(item, xyz=(times * x, times * y, times * z))


def test_readings_at_once_after_each_other_tell_no_drift() -> None:
    """Without time between repeated readings, or without repeats, there is no figure for drift."""
    items = sorted(repeated(), key=lambda item: (item.field, item.level_percent))
    at_once = [replace(item, row=row) for row, item in enumerate(items, 3)]
    assert look_at_repeats(at_once, Meter()).drift is None
    assert look_at_repeats(repeated(repeats=1), Meter()).drift is None


def test_a_mean_keeps_noise_of_light_out_of_colour() -> None:
    """Light that scatters by 20 % at one chromaticity: the mean has exactly that one."""
    x, y = 0.3, 0.32
    items = [
        Reading(field=Field.GREY, level_percent=50, xyz=(c * x / y, c, c * (1 - x - y) / y), row=row)
        for row, c in enumerate((8.0, 10.0, 12.0), 2)
    ]
    xyz = mean_of(items)
    assert xyz[1] == pytest.approx(10)
    assert xyz[:2] / xyz.sum() == pytest.approx([x, y])
    dark = Reading(field=Field.GREY, level_percent=0, xyz=(0.0, 0.0, 0.0), row=2)
    assert (mean_of([dark, dark, replace(items[0])]) == 0).all()
