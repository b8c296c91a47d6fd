"""Several hand-held photographs of one grid: what they show together, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from analysis.errors import InputError
from analysis.photo.face import Face
from analysis.raster.bundle.asked import TogetherRequest
from analysis.raster.bundle.scene import OF_SCENE, SharedScene
from analysis.raster.bundle.together import on_glass_together
from analysis.raster.geometry.figures import measure_geometry
from analysis.raster.request import GridShown, KnownLength, RasterRequest
from patterns.catalogue import find_pattern
from patterns.formats import parse_format
from tests.command import refused
from tests.trials.photos.hand import cases_of, hand_held, looked_at
from tests.trials.photos.nodes import Case
from tests.trials.photos.sets import plain_set
from tests.trials.photos.usual import usual

Floats = NDArray[np.float64]


def test_a_cylinder_is_seen_as_a_tube_of_its_radius() -> None:
    """Points of a cylinder lie as far from its axis as its radius says, however its axis is turned."""
    turn = 0.3
    values = dict.fromkeys(OF_SCENE, 0.0) | {"across": 1 / 900, "apex_x": 3.0, "apex_y": -5.0, "turn": turn}
    scene = SharedScene(np.array([values[name] for name in OF_SCENE]))
    flat = np.random.default_rng(1).uniform(-250, 250, (40, 2))
    space = scene.on_face(flat)
    across = (flat - (3.0, -5.0)) @ (np.cos(turn), np.sin(turn))
    assert np.allclose(across**2 + (space[:, 2] - 900) ** 2, 900**2)


def test_places_are_those_of_opencv_and_come_back() -> None:
    """A flat face is projected as OpenCV's own function does it, and pixels give the places again."""
    values = dict.fromkeys(OF_SCENE, 0.0) | {"log_focal": np.log(3000.0), "cx": 2000.0, "cy": 1500.0, "k1": 0.05}
    scene = SharedScene(np.array([values[name] for name in OF_SCENE]))
    view = np.array([0.2, -0.3, 0.05, 4.0, -6.0, 1100.0, 0.0])
    flat: Floats = np.random.default_rng(2).uniform(-200, 200, (30, 2))
    matrix = np.array([[3000.0, 0, 2000], [0, 3000, 1500], [0, 0, 1]])
    space = np.column_stack([flat, np.zeros(30)])
    judge = cv2.projectPoints(space, view[:3], view[3:6], matrix, np.array([0.05, 0, 0, 0]))[0].reshape(-1, 2)
    assert np.allclose(scene.see(view, flat).pixels, judge)
    assert np.allclose(scene.to_face(view, np.asarray(judge, np.float64), 0.8 * flat), flat)


@pytest.fixture(scope="module")
def by_height() -> list[Case]:
    """Two drawn sets, a sphere and a cylinder, seven photographs each, with the picture's height measured."""
    sets = usual(6)
    return [case for number in (1, 5) for case in cases_of(sets[number], number, "height")]


def test_one_length_gives_sizes_and_bends(by_height: list[Case]) -> None:
    """Width within 0.3 % and bends within 0.1 mm without a lens file, depth or radius."""
    widths = [abs(one.told / one.true - 1) for one in by_height if one.name == "width_mm"]
    bends = [abs(one.told - one.true) for one in by_height if one.name == "edge_sag_mm"]
    assert max(widths) < 0.003
    assert max(bends) < 0.1


def test_the_place_is_measured_against_the_visible_glass(by_height: list[Case]) -> None:
    """Without marks the middle is within 0.3 % of the height, and the rotation within 0.1 degree."""
    centres = [abs(one.told - one.true) for one in by_height if one.name == "centre_percent"]
    turns = [abs(one.told - one.true) for one in by_height if one.name == "rotation_deg"]
    assert len(centres) == 4
    assert max(centres) < 0.3
    assert max(turns) < 0.1


def test_uncertainties_cover_the_truth(by_height: list[Case]) -> None:
    """Nine in ten figures lie within two uncertainties, and none beyond five."""
    ratios = np.array([one.ratio for one in by_height])
    assert np.mean(ratios <= 2) > 0.9
    assert ratios.max() < 5


def test_marks_give_depth_and_radius() -> None:
    """With marks in the photographs depth comes out within 3 mm, and the radius within 10 %."""
    cases = cases_of(usual(4)[3], 3, "marks")
    depth = next(one for one in cases if one.name == "depth of the face")
    curves = [one for one in cases if one.name.startswith("curvature")]
    assert abs(depth.told - depth.true) < 3
    assert all(abs(one.told / one.true - 1) < 0.1 for one in curves)


def test_without_a_length_all_is_in_percent() -> None:
    """No figure in mm is given, and a reason says what would give one; shares are those of the truth."""
    made = plain_set()
    rng = np.random.default_rng(4)
    looked = [
        looked_at(made, camera, rng, with_marks=False)
        for camera in hand_held(made, 6, rng, (10.0, 25.0), with_marks=False)
    ]
    shown, aspect = looked[0].seen.shown, float(made.format.picture_aspect)
    request = TogetherRequest(photos=(Path("a.png"),) * 6, shown=shown, aspect=aspect)
    on, solved = on_glass_together(looked, request)
    found = measure_geometry(on.grid, aspect, on.doubts)
    assert not [name for name in found.figures if name.split(".")[0].endswith("_mm")]
    assert "--height-mm" in found.reasons["width_mm"]
    assert solved.curvature is None
    # The tube is 400 x 300 mm without any error.
    assert found.figures["aspect_error_percent"] == pytest.approx(0, abs=0.1)
    assert found.figures["keystone_h_percent"] == pytest.approx(0, abs=0.1)


def test_photographs_of_other_sizes_are_refused() -> None:
    """A cropped photograph among the others is named with its size."""
    made = plain_set()
    rng = np.random.default_rng(5)
    cameras = hand_held(made, 3, rng, (10.0, 25.0), with_marks=False)
    looked = [looked_at(made, camera, rng, with_marks=False) for camera in cameras]
    looked[1] = replace(looked[1], size=(1000, 700))
    request = TogetherRequest(photos=(Path("a.png"),) * 3, shown=looked[0].seen.shown, aspect=4 / 3)
    with pytest.raises(InputError, match="1000x700 pixels"):
        on_glass_together(looked, request)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"more": (Path("b.png"),)}, "photos"),
        ({"more": (Path("b.png"), Path("a.png"))}, "photos"),
        ({"known": KnownLength(height_mm=300.0)}, "height_mm"),
        ({"face": Face.sphere(200_000.0), "more": (Path("b.png"), Path("c.png"))}, "glass_radius_mm"),
    ],
)
def test_what_does_not_go_together_is_refused(changes: dict[str, Any], field: str) -> None:
    """Two photographs, one given twice, a length with one photograph alone, and an impossible face name their value."""
    shown = GridShown.of(find_pattern("crosshatch"), parse_format("480i"))
    with pytest.raises(InputError) as told:
        RasterRequest(photo=Path("a.png"), shown=shown, **changes)
    assert field in told.value.fields


@pytest.mark.parametrize("words", [("--height-mm", "tall"), ("--glass-mm", "400"), ("--height-mm", "5")])
def test_a_length_that_cannot_be_meant_is_refused(words: tuple[str, str]) -> None:
    """One line names the option, and the exit code is 2."""
    refused("measure", "raster", "a.png", "b.png", "c.png", *words, told=f"{words[0]}: got")
