"""SIMULATION: are uncertainties honest where nobody knows the glass and the lens? Without pictures, so in seconds.

.venv/bin/python tests/trials/photos/nodes.py [--count 100] [--seed 11] [--known] [--worst 20]

The crossings and the marks' corners of drawn sets are projected into the camera, with noise, and measured as a user has
it: only --marks-mm is given. `--known` gives depth, curvature and the lens too. It prints for each figure in how many
cases the truth lies within 2 standard uncertainties (u), beyond 3 u without a warning, and beyond 5 u.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

import numpy as np

from analysis.photo.face import FLAT, Face
from analysis.photo.marks import SeenMarks, centres_of
from analysis.photo.notes import PhotoNotes
from analysis.photo.plane import MarksGiven, plane_of
from analysis.photo.pose import NotedFocal
from analysis.raster.advice import _Split, advise
from analysis.raster.convergence import measure_convergence
from analysis.raster.geometry.figures import measure_geometry
from analysis.raster.grid import GlassGrid, SeenGrid, ShownGrid
from analysis.raster.lattice.nodes import Sight
from analysis.raster.placing import OnGlass, Taken, on_plane
from tests.trials.photos.run import lens_of
from tests.trials.photos.usual import UsualSet, noisy, usual

_CORNER_PX = 0.05
_FLOOR_PX = 0.035


@dataclass(frozen=True, kw_only=True)
class Case:
    """One figure of one set."""

    set: str
    name: str
    told: float
    true: float
    uncertainty: float
    warned: bool

    @property
    def ratio(self) -> float:
        return abs(self.told - self.true) / max(self.uncertainty, 1e-9)


def seen(one: UsualSet, number: int) -> tuple[Sight, SeenMarks]:
    """What would be found in a photograph of the set: its nodes inside the glass, and its marks."""
    rng = np.random.default_rng((3, number))
    made = one.of
    shown = ShownGrid.of(made.scene, made.format.picture.height if made.format.interlaced else 0)
    assert shown is not None
    places = made.nodes()[1]
    left, top, right, bottom = made.tube.glass_mm
    inside = (places[..., 0] > left) & (places[..., 0] < right) & (places[..., 1] > top) & (places[..., 1] < bottom)
    nodes = np.where(inside[..., None], noisy(made.nodes_px(), one.noise_px, rng), np.nan)
    none = np.full((len(shown.v), 2, 2), np.nan), np.full((len(shown.u), 2, 2), np.nan)
    sigma = np.where(np.isfinite(nodes), one.noise_px, np.nan)
    grid = SeenGrid(shown=shown, nodes=nodes, sigma=sigma, level_ends=none[0], upright_ends=none[1])
    corners = noisy(made.mark_corners_px(), _CORNER_PX, rng)
    spread = np.hypot(_CORNER_PX, _FLOOR_PX)
    marks = SeenMarks(
        centres=centres_of(corners),
        sigma=np.full((4, 2), np.hypot(_CORNER_PX / 2, _FLOOR_PX)),
        corners=corners,
        corner_sigma=np.full((4, 4, 2), spread),
    )
    return Sight(grid=grid, width=4.0, one_field=None, warnings=()), marks


def placed(one: UsualSet, number: int, *, known: bool) -> OnGlass:
    sight, marks = seen(one, number)
    tube, camera = one.of.tube, one.of.camera
    radius = tube.glass_radius_mm
    face = FLAT if radius is None else Face.cylinder(radius) if tube.is_cylinder else Face.sphere(radius)
    given = MarksGiven(
        seen=marks,
        size_mm=one.typed_mm,
        size_sigma_mm=0.3,
        face=face if known else None,
        depth_mm=tube.depth_mm if known else None,
    )
    noted = None if one.noted_focal_px is None else NotedFocal(pixels=one.noted_focal_px)
    plane = plane_of(given, camera.size, lens=lens_of(camera) if known else None, noted=noted)
    return on_plane(sight, Taken(size=camera.size, notes=PhotoNotes(), is_jpeg=True), plane)


def cases_of(one: UsualSet, number: int, *, known: bool) -> list[Case]:
    """The figures of one set."""
    on = placed(one, number, known=known)
    aspect = float(one.of.format.picture_aspect)
    truth = GlassGrid(
        shown=on.grid.shown,
        nodes=np.where(np.isfinite(on.grid.nodes), one.of.nodes(), np.nan),
        sigma=np.where(np.isfinite(on.grid.nodes), 1e-4, np.nan),
        level_ends=on.grid.level_ends,
        upright_ends=on.grid.upright_ends,
    )
    geometry, true = measure_geometry(on.grid, aspect, on.doubts), measure_geometry(truth, aspect)
    warned = bool(on.warnings)
    name = one.of.name

    def case(figure: str, told: float, right: float, uncertainty: float) -> Case:
        return Case(set=name, name=figure, told=told, true=right, uncertainty=uncertainty, warned=warned)

    found = [
        case(path.split(".")[0], geometry.figures[path], true.figures[path], uncertainty)
        for path, uncertainty in geometry.uncertainty.items()
        if path in true.figures and not path.startswith("terms.")
    ]
    assert true.smooth is not None
    split = _Split.of(true.smooth, on.grid.shown, aspect, None)
    rightly = {part.control.id: part.amount for part in split.parts(true.smooth)}
    for one_advice in advise(geometry).corrections:
        amount = rightly.get(one_advice.control.id, 0.0)
        found.append(case("advice", one_advice.amount, amount, one_advice.uncertainty))
    convergence = measure_convergence(on.grid, aspect, on.doubts)
    errors = convergence.offsets - (truth.nodes[[0, 2]] - truth.nodes[1])
    told = np.isfinite(errors)
    for error, sigma in zip(errors[told][::17], convergence.sigma[told][::17], strict=True):
        found.append(case("node of convergence", float(error), 0.0, float(sigma)))
    return found


def report(cases: Sequence[Case], worst: int) -> str:
    by_name: dict[str, list[Case]] = defaultdict(list)
    for one in cases:
        by_name[one.name].append(one)
    lines = [f"{'figure':28}{'cases':>6}{'within 2 u':>12}{'> 3 u silent':>14}{'> 5 u silent':>14}{'median u':>10}"]

    def line(name: str, some: Sequence[Case]) -> str:
        ratios = np.array([one.ratio for one in some])
        silent = ~np.array([one.warned for one in some])
        return (
            f"{name:28}{len(some):6}{100 * np.mean(ratios <= 2):11.1f}%{100 * np.mean((ratios > 3) & silent):13.2f}%"
            f"{100 * np.mean((ratios > 5) & silent):13.2f}%{np.median([one.uncertainty for one in some]):10.3f}"
        )

    lines += [line(name, some) for name, some in by_name.items()]
    lines += ["", line("all", cases)]
    lines += [line("without warning", [one for one in cases if not one.warned])]
    lines += [
        f"  {one.ratio:5.1f} u {one.name}: {one.told:.4f} for {one.true:.4f} ± {one.uncertainty:.4f} ({one.set}"
        f"{', warned' if one.warned else ''})"
        for one in sorted(cases, key=lambda one: -one.ratio)[:worst]
    ]
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--known", action="store_true")
    parser.add_argument("--only", type=int, default=-1)
    parser.add_argument("--worst", type=int, default=12)
    typed = parser.parse_args()
    cases = []
    warned = 0
    for number, one in enumerate(usual(typed.count, typed.seed)):
        if typed.only not in (-1, number):
            continue
        try:
            some = cases_of(one, number, known=typed.known)
        except ValueError as error:
            print(f"{one.of.name}: {error}", file=sys.stderr)
            continue
        warned += some[0].warned
        cases += some
    print(report(cases, typed.worst))
    print(f"sets {typed.count}, warned of {warned}")


if __name__ == "__main__":
    main()
