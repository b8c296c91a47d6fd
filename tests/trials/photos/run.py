"""SIMULATION: how well figures are measured in simulated photographs, and how honest their uncertainties are.

.venv/bin/python tests/trials/photos/run.py [--count 60] [--only N,N] [--jobs 2] [--keep DIR] [--small MEGAPIXELS]

Every set is photographed by the simulator, saved as JPEG, read back and measured as a user would have it, with the
lens' file and the marks found, and with the hidden lines counted where the tool asks for that.
The truth of a figure is worked out from the true places of the nodes that are seen. The
limits are the project's own aims: lengths 0.15 mm or 0.05 % of the picture's height, angles 0.02 degree, percentages
0.1, convergence 0.04 mm at 95 % of the nodes, the truth within two standard uncertainties in 90 to 99 % of the cases.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

import numpy as np
from numpy.typing import NDArray

from analysis.lens.model import Lens
from analysis.photo.face import FLAT, Face
from analysis.photo.file import read_photo
from analysis.photo.marks import find_marks
from analysis.photo.plane import MarksGiven
from analysis.raster.convergence import measure_convergence
from analysis.raster.geometry.figures import measure_geometry
from analysis.raster.grid import GlassGrid, ShownGrid
from analysis.raster.lattice.counting import GridError
from analysis.raster.placing import OnGlass, grid_on_glass
from tests.trials.photos.camera import Camera
from tests.trials.photos.photograph import save
from tests.trials.photos.sets import PhotoSet, sixty
from tests.trials.photos.tube import overscan_percent

__all__ = ["Figure", "Result", "lens_of", "measured", "run_set"]

Floats = NDArray[np.float64]

MM, DEGREES, PERCENT = "mm", "degrees", "%"
LIMITS = {MM: 0.15, DEGREES: 0.02, PERCENT: 0.1}
SHARE_OF_HEIGHT = 0.0005
NODE_MM = 0.04
_HALF_LINE_MM = 0.4
"""What is seen of a line whose middle the glass hides just so."""


@dataclass(frozen=True, kw_only=True)
class Figure:
    """One figure of one set, with the truth."""

    name: str
    unit: str
    told: float
    true: float
    uncertainty: float
    limit: float

    @property
    def error(self) -> float:
        return self.told - self.true


@dataclass(frozen=True, kw_only=True)
class Result:
    name: str
    figures: tuple[Figure, ...]
    convergence: tuple[float, ...]
    """Errors of red and blue against green, at every node, in mm."""
    convergence_ratios: tuple[float, ...]
    """The same over the stated uncertainty, across and down apart."""
    seconds: float
    failed: str = ""


def lens_of(camera: Camera) -> Lens:
    """The simulated camera's own lens, as a calibration would have it."""
    return Lens(
        width=camera.size[0],
        height=camera.size[1],
        fx=camera.focal_px,
        fy=camera.focal_px,
        cx=camera.principal[0],
        cy=camera.principal[1],
        distortion=camera.distortion,
        red=camera.chromatic[0],
        blue=camera.chromatic[1],
    )


def measured(one: PhotoSet, folder: Path) -> OnGlass:
    """A set's photograph, through a file, on the glass."""
    path = save(folder / "photograph.jpg", one.photograph(), quality=one.quality)
    with_marks = save(folder / "marks.jpg", one.marks_photograph(), quality=one.quality) if one.marks_apart else path
    return placed(one, path, with_marks)


def placed(one: PhotoSet, path: Path, with_marks: Path) -> OnGlass:
    """The grid on the glass; where the tool asks how many lines are hidden, as somebody before the tube counts them."""
    try:
        return _placed(one, path, with_marks, None)
    except GridError as error:
        if "hidden" not in error.helps:
            raise
        return _placed(one, path, with_marks, _hidden(one))


def _hidden(one: PhotoSet) -> tuple[int, int]:
    """Lines of which nothing is seen, on the left and above, through the glass' middle."""
    nodes = one.nodes()[1]
    left, top = one.tube.glass_mm[:2]
    rows, columns = nodes.shape[:2]
    x, y = nodes[rows // 2, :, 0], nodes[:, columns // 2, 1]
    return int(np.sum(x < left - _HALF_LINE_MM)), int(np.sum(y < top - _HALF_LINE_MM))


def _placed(one: PhotoSet, path: Path, with_marks: Path, hidden: tuple[int, int] | None) -> OnGlass:
    shown = ShownGrid.of(one.scene, one.format.picture.height if one.format.interlaced else 0)
    assert shown is not None
    marks = MarksGiven(
        seen=find_marks(read_photo(with_marks)),
        size_mm=(one.marks.width_mm, one.marks.height_mm),
        face=FLAT if one.tube.glass_radius_mm is None else Face.sphere(one.tube.glass_radius_mm),
    )
    return grid_on_glass(read_photo(path), shown, marks=marks, lens=lens_of(one.camera), hidden=hidden)


def run_set(one: PhotoSet, folder: Path) -> Result:
    """Photograph a set, measure it and hold it against the truth."""
    return told(one, lambda: measured(one, folder))


def told(one: PhotoSet, measure: Callable[[], OnGlass]) -> Result:
    began = time.process_time()
    try:
        found = measure()
    except ValueError as error:
        return Result(name=one.name, figures=(), convergence=(), convergence_ratios=(), seconds=0.0, failed=str(error))
    aspect = float(one.format.picture_aspect)
    truth = _true_grid(one, found.grid)
    geometry = measure_geometry(found.grid, aspect, found.doubts)
    true = dict(measure_geometry(truth, aspect).figures)
    true |= {f"overscan_percent.{side}": share for side, share in overscan_percent(one.tube).items()}
    figures = [
        Figure(
            name=name.split(".")[0],
            unit=_unit(name),
            told=geometry.figures[name],
            true=true[name],
            uncertainty=uncertainty,
            limit=_limit(name, true["height_mm"]),
        )
        for name, uncertainty in geometry.uncertainty.items()
        if not name.startswith("terms.")
    ]
    convergence = measure_convergence(found.grid, aspect, found.doubts)
    errors = convergence.offsets - (truth.nodes[[0, 2]] - truth.nodes[1])
    lengths = np.hypot(errors[..., 0], errors[..., 1])
    told = np.isfinite(errors)
    ratios = errors[told] / convergence.sigma[told]
    return Result(
        name=one.name,
        figures=tuple(figures),
        convergence=tuple(lengths[np.isfinite(lengths)].tolist()),
        convergence_ratios=tuple(ratios.tolist()),
        seconds=time.process_time() - began,
    )


def _true_grid(one: PhotoSet, grid: GlassGrid) -> GlassGrid:
    """The true nodes, as far as they are seen."""
    nodes = np.where(np.isfinite(grid.nodes), one.nodes(), np.nan)
    return GlassGrid(
        shown=grid.shown,
        nodes=nodes,
        sigma=np.where(np.isfinite(nodes), 1e-4, np.nan),
        level_ends=grid.level_ends,
        upright_ends=grid.upright_ends,
    )


def _unit(name: str) -> str:
    key = name.split(".")[0]
    return MM if key.endswith("_mm") else DEGREES if key.endswith("_deg") else PERCENT


def _limit(name: str, height: float) -> float:
    unit = _unit(name)
    return max(LIMITS[MM], SHARE_OF_HEIGHT * height) if unit == MM else LIMITS[unit]


# --- The run ----------------------------------------------------------------------------------------------------------


def _job(job: tuple[int, float, Path | None]) -> Result:
    number, small, keep = job
    one = sixty(number + 1)[number]
    if small:
        one = one.smaller(small)
    if keep is None:
        with tempfile.TemporaryDirectory() as passing:
            return run_set(one, Path(passing))
    folder = keep / f"{number:02d}"
    if (folder / "photograph.jpg").exists():
        # A set is the same each time, so its photograph is too.
        with_marks = folder / ("marks.jpg" if one.marks_apart else "photograph.jpg")
        return told(one, lambda: placed(one, folder / "photograph.jpg", with_marks))
    folder.mkdir(parents=True, exist_ok=True)
    return run_set(one, folder)


def report(results: Sequence[Result]) -> str:
    lines = []
    by_name: dict[str, list[Figure]] = defaultdict(list)
    for result in results:
        for figure in result.figures:
            by_name[figure.name].append(figure)
    heads = f"{'95th':>9}{'worst':>9}{'limit':>8} {'unit':8}{'within':>8}{'2 sigma':>9}"
    lines.append(f"{'figure':28}{'cases':>6}{heads}")
    for name, figures in by_name.items():
        errors = np.abs([figure.error for figure in figures])
        within = np.mean([abs(figure.error) <= figure.limit for figure in figures])
        honest = np.mean([abs(figure.error) <= 2 * figure.uncertainty for figure in figures])
        lines.append(
            f"{name:28}{len(figures):6}{np.percentile(errors, 95):9.4f}{errors.max():9.4f}"
            f"{min(figure.limit for figure in figures):8.3f} {figures[0].unit:8}"
            f"{100 * within:7.1f}%{100 * honest:8.1f}%"
        )
    every = [figure for figures in by_name.values() for figure in figures]
    nodes = np.array([error for result in results for error in result.convergence])
    ratios = np.array([ratio for result in results for ratio in result.convergence_ratios])
    by_set = [np.percentile(result.convergence, 95) for result in results if result.convergence]
    lines += [
        "",
        f"sets {len(results)}, not measured {sum(bool(result.failed) for result in results)}",
        f"figures within their limits: {100 * np.mean([abs(f.error) <= f.limit for f in every]):.2f} % of {len(every)}",
        f"truth within two uncertainties: {100 * np.mean([abs(f.error) <= 2 * f.uncertainty for f in every]):.2f} %",
        f"convergence within {NODE_MM} mm: {100 * np.mean(nodes <= NODE_MM):.2f} % of {len(nodes)} nodes; 95th "
        f"percentile {np.percentile(nodes, 95):.4f} mm; of the worst set {max(by_set):.4f} mm; sets within "
        f"{sum(value <= NODE_MM for value in by_set)} of {len(by_set)}",
        f"convergence's truth within two uncertainties: {100 * np.mean(np.abs(ratios) <= 2):.2f} %",
    ]
    lines += [f"  {result.name}: {result.failed}" for result in results if result.failed]
    worst = sorted(every, key=lambda figure: -abs(figure.error) / figure.limit)[:12]
    lines += ["", "furthest off, against the limit"]
    names = {id(figure): result.name for result in results for figure in result.figures}
    lines += [
        f"  {figure.name}: {figure.told:.4f} for {figure.true:.4f}, uncertainty {figure.uncertainty:.4f}  "
        f"({names[id(figure)]})"
        for figure in worst
    ]
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--only", default="")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path)
    parser.add_argument("--small", type=float, default=0.0)
    words = parser.parse_args()
    numbers = [int(number) for number in words.only.split(",")] if words.only else range(words.count)
    jobs = [(number, words.small, words.keep) for number in numbers]
    with multiprocessing.Pool(words.jobs) as pool:
        results = []
        for result in pool.imap(_job, jobs):
            results.append(result)
            told = result.failed or f"convergence 95th {np.percentile(result.convergence, 95):.4f} mm"
            print(f"{result.name}: {told}, {result.seconds:.1f} s", file=sys.stderr, flush=True)
    print(report(results))


if __name__ == "__main__":
    main()
