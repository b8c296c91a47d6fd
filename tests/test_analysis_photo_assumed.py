"""What nobody knows of a photograph: the glass, the lens, the marks' exact places, the exposure."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analysis.photo.exposure import Exposure, field_shifts
from analysis.photo.face import FLAT, Face, usual_face, usual_faces
from analysis.photo.file import Photo
from analysis.raster.classes import CLASSES, SetClass
from analysis.raster.grid import ShownGrid
from analysis.raster.lattice.counting import GridError
from analysis.raster.lattice.nodes import see_grid
from tests.trials.photos.nodes import cases_of, placed
from tests.trials.photos.scene import Shot
from tests.trials.photos.sets import plain_set
from tests.trials.photos.tube import deflection, terms
from tests.trials.photos.usual import UsualSet, usual


def test_truth_lies_within_the_uncertainty_where_nobody_knows_the_glass() -> None:
    """Of drawn sets whose depth, curvature, lens and marks are as usual, 90 % of figures within two uncertainties."""
    cases = [case for number, one in enumerate(usual(12)) for case in cases_of(one, number, known=False)]
    ratios = np.array([case.ratio for case in cases])
    assert np.mean(ratios <= 2) > 0.9
    silent = np.array([not case.warned for case in cases])
    assert np.mean((ratios > 5) & silent) < 0.005


def test_a_known_glass_makes_figures_more_certain() -> None:
    """With depth, curvature and lens given the width is at least three times as certain."""
    one = usual(2)[1]
    unknown, known = ({case.name: case for case in cases_of(one, 1, known=given)} for given in (False, True))
    assert unknown["width_mm"].uncertainty > 3 * known["width_mm"].uncertainty


def moved(one: UsualSet, mark: int, away: tuple[float, float, float]) -> UsualSet:
    """The set with one mark elsewhere."""
    places = [*one.of.marks.moved_mm]
    places[mark] = away
    return replace(one, of=replace(one.of, marks=replace(one.of.marks, moved_mm=tuple(places))))


def test_marks_that_contradict_each_other_are_named() -> None:
    """A mark 10 mm behind the others is named in most photographs, and 2 % of wrong distances are in all."""
    sets = usual(8)
    behind = [placed(moved(one, n % 4, (0.0, 0.0, 10.0)), n, known=True).warnings for n, one in enumerate(sets)]
    assert sum("do not go together" in " ".join(words) for words in behind) >= 7
    for number, one in enumerate(sets):
        typed = one.typed_mm[0] * 1.02, one.typed_mm[1] * 1.02
        wrong = placed(replace(one, typed_mm=typed), number, known=True)
        assert "--marks-mm" in " ".join(wrong.warnings)


@pytest.mark.parametrize(
    ("seconds", "rate", "is_whole", "imbalance"),
    [(1 / 30, 59.94, True, 0.0), (1 / 60, 59.94, False, 1.0), (1 / 40, 59.94, False, 0.67), (0.5, 50.0, True, 0.0)],
)
def test_exposures_count_fields(seconds: float, rate: float, is_whole: bool, imbalance: float) -> None:
    """Whole frames and half a second are right; in one field the other is missing whole (arithmetic)."""
    exposure = Exposure(seconds=seconds, field_rate_hz=rate, is_interlaced=True)
    assert exposure.is_whole == is_whole
    assert exposure.imbalance == pytest.approx(imbalance, abs=0.01)


def test_shifts_of_fields_are_as_alike_as_lines_are_near() -> None:
    """The patterns' squares add up to 1 - distance: the chance that a shutter opens between two lines (arithmetic)."""
    v = np.linspace(-1, 1, 13)
    patterns = field_shifts(v)
    np.testing.assert_allclose(patterns.T @ patterns, 1 - np.abs(v[:, None] - v[None, :]), atol=0.1)


def test_usual_faces_have_the_moments_of_what_is_usual() -> None:
    """Mean and covariance of drawn curvatures: evenly to 1/600 mm, three in four of them spheres."""
    rng = np.random.default_rng(4)
    across = rng.uniform(0, 1 / 600, 200_000)
    down = np.where(rng.random(across.size) < 0.75, across, 0.0)
    mean = usual_face((400.0, 300.0))
    assert (mean.across, mean.down) == pytest.approx((across.mean(), down.mean()), rel=0.02)
    steps = np.array([(face.across - mean.across, face.down - mean.down) for face in usual_faces((400.0, 300.0))])
    np.testing.assert_allclose(steps.T @ steps, np.cov(across, down), rtol=0.02)
    assert FLAT.is_flat
    assert not Face.cylinder(900.0).is_flat


def seen(**changes: object) -> tuple[np.ndarray, np.ndarray]:
    """The nodes that are found in a small photograph, and the true ones, in pixels."""
    one = plain_set(1.5, format_id="576i", **changes)
    shown = ShownGrid.of(plain_set(1.5, format_id="576i").scene, one.format.picture.height)
    assert shown is not None
    return see_grid(Photo(Path("x.png"), one.photograph()), shown).grid.nodes, one.nodes_px()


def test_guns_far_apart_are_measured() -> None:
    """5 mm of misconvergence, a fifth of a cell: each gun's crossings to a third of a pixel."""
    found, true = seen(red=terms({"1": -3.5}, {"1": 2.5}), blue=terms({"1": 2.5}, {"1": -3.0}))
    off = np.hypot(*np.moveaxis(found - true, -1, 0))
    assert np.isfinite(off).sum() > 3 * 140
    assert np.nanpercentile(off, 95) < 0.33


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"deflection": deflection(400, 150)}, "as high as it should be"),
        ({"pattern": "field"}, "a plain field"),
        ({"shot": Shot(exposure=0.002, room=0.001)}, "too dark"),
        ({"shot": Shot(fields=0.4, start=0.3)}, "less than a field"),
    ],
)
def test_what_is_no_grid_is_named(changes: dict[str, object], words: str) -> None:
    """Half the height, a plain field, too little light and a short shutter are each named as what they are."""
    with pytest.raises(GridError, match=words):
        seen(**changes)


def test_classes_forgive_more_and_more() -> None:
    """Each tolerance of an industrial set is wider than of a broadcast one, and of a domestic one wider still."""
    for name in ("position", "bend", "rotation", "shape", "keystone", "linearity"):
        limits = [getattr(CLASSES[one], name) for one in SetClass]
        assert limits == sorted(limits)
        assert limits[0] < limits[-1]
