"""SIMULATION: hand-held photographs solved together: how well, and are uncertainties honest? Without pictures.

.venv/bin/python tests/trials/photos/hand.py [--count 60] [--seed 11] [--ruler height|marks|none|few] [--worst 12]

Drawn sets (`usual.py`) are seen by seven cameras held 10 to 25 degrees off all around, whose focal length changes a
little from one to the next; crossings, marks and lines' ends are projected with noise. `--ruler` is what is measured:
the picture's height, the marks' distances, nothing, or the height with five cameras of 8 to 15 degrees.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

import numpy as np
from numpy.typing import NDArray

from analysis.photo.marks import SeenMarks
from analysis.photo.notes import PhotoNotes
from analysis.raster.bundle.asked import TogetherRequest
from analysis.raster.bundle.together import Looked, on_glass_together
from analysis.raster.geometry.figures import Geometry, measure_geometry
from analysis.raster.grid import GlassGrid, SeenGrid, ShownGrid
from analysis.raster.lattice.nodes import Sight
from tests.trials.photos.camera import Camera, framed
from tests.trials.photos.nodes import Case, report
from tests.trials.photos.sets import PhotoSet
from tests.trials.photos.usual import UsualSet, usual

__all__ = ["cases_of", "hand_held", "looked_at"]

Floats = NDArray[np.float64]
Rng = np.random.Generator

_NOISE_PX, _ALIKE_PX = 0.05, 0.03
"""Of each crossing by itself, and of what all guns of one share, as the mask's openings make it."""
_MARK_PX = 0.05
_BREATHING = 0.0015
_PIXELS = (4000, 3000)


def hand_held(one: PhotoSet, many: int, rng: Rng, tilts: tuple[float, float], *, with_marks: bool) -> list[Camera]:
    """Cameras all around the middle."""
    glass = one.tube.glass_mm
    reach = (one.marks.corner[0] + one.marks.reach, one.marks.corner[1] + one.marks.reach)
    if not with_marks:
        reach = (1.06 * max(-glass[0], glass[2]), 1.06 * max(-glass[1], glass[3]))
    cameras = []
    for number in range(many):
        tilt, way = rng.uniform(*tilts), 2 * np.pi * number / many + rng.uniform(-0.3, 0.3)
        held = replace(
            one.camera,
            tilt_deg=(float(tilt * np.sin(way)), float(tilt * np.cos(way))),
            roll_deg=float(rng.uniform(-4, 4)),
            focal_px=one.camera.focal_px * float(np.exp(rng.normal(0, _BREATHING))),
            aim_mm=(float(rng.uniform(-10, 10)), float(rng.uniform(-10, 10))),
        )
        cameras.append(framed(held, reach, float(rng.uniform(0.85, 0.95))))
    return cameras


def looked_at(one: PhotoSet, camera: Camera, rng: Rng, *, with_marks: bool) -> Looked:
    """What would be found in one photograph: crossings inside the glass, where lines end on it, and the marks."""
    shown, tube, corner = _shown(one), one.tube, one.marks.corner
    places = one.nodes()

    def seen(points: Floats, gun: int) -> Floats:
        return camera.project(tube.bulge(points, corner).reshape(-1, 3), gun).reshape(points.shape)

    left, top, right, bottom = tube.glass_mm
    green = places[1]
    inside = (green[..., 0] > left) & (green[..., 0] < right) & (green[..., 1] > top) & (green[..., 1] < bottom)
    shared = rng.normal(0, _ALIKE_PX, green.shape)
    nodes = np.stack([seen(places[gun], gun) + shared + rng.normal(0, _NOISE_PX, green.shape) for gun in range(3)])
    grid = SeenGrid(
        shown=shown,
        nodes=np.where(inside[None, ..., None], nodes, np.nan),
        sigma=np.where(inside[None, ..., None], np.full(nodes.shape, _NOISE_PX), np.nan),
        level_ends=_ends(one, seen, inside, rng, 0),
        upright_ends=_ends(one, seen, inside, rng, 1),
    )
    marks = None
    if with_marks:
        centres = camera.project([one.marks.sheet(number)[0] for number in range(4)], 1)
        marks = SeenMarks(centres=centres + rng.normal(0, _MARK_PX, (4, 2)), sigma=np.full((4, 2), _MARK_PX))
    sight = Sight(grid=grid, width=4.0, one_field=None, warnings=())
    return Looked(path=Path("a.png"), notes=PhotoNotes(), size=camera.size, sight=sight, seen=grid, marks=marks)


def _shown(one: PhotoSet) -> ShownGrid:
    shown = ShownGrid.of(one.scene, one.format.picture.height if one.format.interlaced else 0)
    assert shown is not None
    return shown


def _ends(one: PhotoSet, seen: object, inside: NDArray[np.bool_], rng: Rng, axis: int) -> Floats:
    """Where the lines that run inside the glass end at its straight sides, in pixels."""
    assert callable(seen)
    left, top, right, bottom = one.tube.glass_mm
    shown = _shown(one)
    lines = shown.v if axis == 0 else shown.u
    low, high = (left, right) if axis == 0 else (top, bottom)
    found = np.full((len(lines), 2, 2), np.nan)
    some = inside.any(axis=1 - axis)
    along = np.linspace(-1.15, 1.15, 600)
    for number in np.flatnonzero(some):
        fixed = np.full(along.shape, lines[number])
        track = one.tube.places(along, fixed, 1) if axis == 0 else one.tube.places(fixed, along, 1)
        for end, edge in enumerate((low, high)):
            at = np.interp(edge, track[:, axis], along)
            u, v = (at, lines[number]) if axis == 0 else (lines[number], at)
            place = one.tube.places(np.array([u]), np.array([v]), 1)
            found[number, end] = seen(place, 1)[0] + rng.normal(0, 0.1, 2)
    return found


def cases_of(one: UsualSet, number: int, ruler: str) -> list[Case]:
    """Every figure of one set, with its truth."""
    rng = np.random.default_rng((8, number))
    made = replace(one.of, camera=replace(one.of.camera, size=_PIXELS, focal_px=_of_size(one.of.camera)))
    many, tilts = (5, (8.0, 15.0)) if ruler == "few" else (7, (10.0, 25.0))
    cameras = hand_held(made, many, rng, tilts, with_marks=ruler == "marks")
    looked = [looked_at(made, camera, rng, with_marks=ruler == "marks") for camera in cameras]
    aspect, shown = float(made.format.picture_aspect), _shown(made)
    truth = _truth(made, looked[0].seen, aspect)
    height = float(np.round(truth.figures["height_mm"]))
    on, solved = on_glass_together(
        looked,
        TogetherRequest(
            photos=tuple(one.path for one in looked),
            shown=shown,
            aspect=aspect,
            marks_mm=one.typed_mm if ruler == "marks" else None,
            height_mm=height if ruler in ("height", "few") else None,
            sigma_mm=0.3,
        ),
    )
    found = measure_geometry(on.grid, aspect, on.doubts)

    def case(name: str, value: float, true: float, uncertainty: float) -> Case:
        return Case(
            set=f"{number} {made.name}",
            name=name,
            told=value,
            true=true,
            uncertainty=uncertainty,
            warned=bool(on.warnings),
        )

    cases = [
        case(name.split(".")[0], found.figures[name], truth.figures[name], spread)
        for name, spread in found.uncertainty.items()
        if not name.startswith(("terms", "overscan"))
    ]
    if solved.depth_mm is not None:
        cases.append(case("depth of the face", solved.depth_mm[0], made.tube.depth_mm, solved.depth_mm[1]))
    if solved.curvature is not None:
        curve = 0.0 if made.tube.glass_radius_mm is None else 1 / made.tube.glass_radius_mm
        for way, (value, spread) in zip((1, 1 - made.tube.is_cylinder), solved.curvature, strict=True):
            cases.append(case("curvature, 1/m", 1000 * value, 1000 * curve * way, 1000 * spread))
    return cases


def _of_size(camera: Camera) -> float:
    return camera.focal_px * float(np.hypot(*_PIXELS)) / float(np.hypot(*camera.size))


def _truth(one: PhotoSet, seen: SeenGrid, aspect: float) -> Geometry:
    nodes = np.where(np.isfinite(seen.nodes), one.nodes(), np.nan)
    sigma = np.where(np.isfinite(nodes), 1e-4, np.nan)
    none = np.full(seen.level_ends.shape, np.nan), np.full(seen.upright_ends.shape, np.nan)
    grid = GlassGrid(shown=seen.shown, nodes=nodes, sigma=sigma, level_ends=none[0], upright_ends=none[1])
    return measure_geometry(grid, aspect)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--ruler", choices=("height", "marks", "none", "few"), default="height")
    parser.add_argument("--worst", type=int, default=12)
    typed = parser.parse_args()
    cases: list[Case] = []
    for number, one in enumerate(usual(typed.count, typed.seed)):
        try:
            cases += cases_of(one, number, typed.ruler)
        except ValueError as error:
            print(f"{one.of.name}: {error}", file=sys.stderr)
    print(report(cases, typed.worst))


if __name__ == "__main__":
    main()
