"""From what is typed to the grid on the glass: what `measure geometry` and `measure convergence` share."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.lens.file import load_lens
from analysis.lens.model import Lens
from analysis.photo.file import Photo, read_photo
from analysis.photo.marks import NoMarksError, SeenMarks, find_marks, given_marks, marks_size, ruler_sigma_mm
from analysis.raster.grid import ShownGrid
from analysis.raster.placing import MarksGiven, OnGlass, grid_on_glass
from patterns.formats import Format
from patterns.pattern import Options, Pattern
from patterns.scene import Scene
from render.errors import FileError
from trueraster.kit.words import format_words
from trueraster.options.values import UsageError, cells_of, format_of, pattern_of

__all__ = ["Measured", "Request", "request_of", "see"]

_FEWEST_LINES = 4
_MARKS_MISSING = "no corner marks are seen in it: only what perspective cannot imitate is told, as bends and colours"
_WHICH_WAY = "without marks the photograph is taken to lie as the picture was shown, not mirrored or upside down"
_LARGEST_RADIUS_MM = 100_000.0
_LARGEST_DEPTH_MM = 200.0
_MOVED_PX = 2.0
"""Pixels between the marks of two photographs from one tripod; in the dark they are seen less well."""
_DARK = 0.5


@dataclass(frozen=True, eq=False, kw_only=True)
class Request:
    """What is to be measured, all of it checked that can be without a photograph."""

    photo: Path
    pattern: Pattern
    format: Format
    scene: Scene
    grid: ShownGrid
    marks: SeenMarks | None = None
    """Those that were typed."""
    marks_mm: tuple[float, float] | None = None
    marks_sigma_mm: float = 0.0
    """Standard uncertainty of both."""
    marks_photo: Path | None = None
    no_marks: bool = False
    lens: Path | None = None
    glass_radius_mm: float | None = None
    depth_mm: float = 0.0
    """How far the picture lies behind the marks."""
    hidden: tuple[int, int] | None = None
    """Lines of the grid that are hidden on the left and above, where somebody has counted them."""
    size_mm: tuple[float, float] | None = None
    """Size that the picture should have."""

    @property
    def inputs(self) -> list[Path]:
        """The files that are read."""
        return [path for path in (self.photo, self.marks_photo, self.lens) if path is not None]

    @property
    def aspect(self) -> float:
        """The picture's width over its height."""
        return float(self.format.picture_aspect)

    @property
    def shown_words(self) -> str:
        """What was shown, as `crosshatch of 16 x 12 cells in 480i`."""
        columns, rows = len(self.grid.u), len(self.grid.v)
        many = f"{columns - 1} x {rows - 1} cells" if self.scene.nodes else f"{columns} x {rows}"
        return f"{self.pattern.id} of {many} in {format_words(self.format)}"


@dataclass(frozen=True, eq=False, kw_only=True)
class Measured:
    """The grid of a photograph on the glass."""

    request: Request
    photo: Photo
    on: OnGlass
    marks: MarksGiven | None
    marks_words: str
    lens: Lens | None
    warnings: tuple[str, ...]


def request_of(
    photo: Path,
    *,
    fmt: str,
    aspect: str | None,
    pattern: str,
    cells: str | None,
    marks: str | None,
    marks_mm: str | None,
    marks_photo: Path | None,
    no_marks: bool,
    lens: Path | None,
    glass_radius_mm: float | None,
    depth_mm: float,
    hidden: str | None,
    size_mm: str | None = None,
) -> Request:
    """What is typed, as a request.

    Raises:
        ValueError: it cannot be meant; one line that names the option.
    """
    chosen, shown = format_of(fmt, aspect), pattern_of(pattern)
    scene = shown.scene(chosen, Options(cells=cells_of(cells)))
    grid = ShownGrid.of(scene)
    if grid is None or len(scene.nodes or scene.dots) != len(grid.u) * len(grid.v):
        raise UsageError(f"--pattern: {shown.id} has no grid to measure; crosshatch and dots have one")
    if min(len(grid.u), len(grid.v)) < _FEWEST_LINES:
        raise UsageError(f"--cells: the grid is too coarse, {_FEWEST_LINES} lines each way are needed at least")
    if max(scene.background.red, scene.background.green, scene.background.blue) > _DARK:
        raise UsageError(f"--pattern: {shown.id} has dark lines; bright ones on black are measured, as of crosshatch")
    _check_marks(marks, marks_mm, marks_photo, no_marks)
    if no_marks:
        _check_known(glass_radius_mm, depth_mm, size_mm)
    if glass_radius_mm is not None and not 0 < glass_radius_mm <= _LARGEST_RADIUS_MM:
        raise UsageError(
            f"--glass-radius-mm: got {glass_radius_mm:g}, the radius of the face in mm is expected, up to "
            f"{_LARGEST_RADIUS_MM:.0f}; of a flat face leave it out"
        )
    if not 0 <= depth_mm <= _LARGEST_DEPTH_MM:
        raise UsageError(
            f"--depth-mm: got {depth_mm:g}, how far the picture lies behind the marks in mm is expected, 0 to "
            f"{_LARGEST_DEPTH_MM:.0f}"
        )
    return Request(
        photo=photo,
        pattern=shown,
        format=chosen,
        scene=scene,
        grid=grid,
        marks=None if marks is None else given_marks(marks),
        marks_mm=None if marks_mm is None else marks_size(marks_mm),
        marks_sigma_mm=0.0 if marks_mm is None else ruler_sigma_mm(marks_mm),
        marks_photo=marks_photo,
        no_marks=no_marks,
        lens=lens,
        glass_radius_mm=glass_radius_mm,
        depth_mm=depth_mm,
        hidden=None if hidden is None else _hidden_of(hidden),
        size_mm=None if size_mm is None else _size_of(size_mm),
    )


def _check_known(glass_radius_mm: float | None, depth_mm: float, size_mm: object) -> None:
    """Refuse what means nothing without marks."""
    if glass_radius_mm is not None:
        raise UsageError("--glass-radius-mm: without marks nothing tells how the camera sees a curved glass")
    if depth_mm:
        raise UsageError("--depth-mm: without marks there is nothing that the picture lies behind")
    if size_mm is not None:
        raise UsageError("--size-mm: without marks nothing tells what size the picture has")


def _hidden_of(text: str) -> tuple[int, int]:
    found = re.fullmatch(r"\s*(\d{1,3})\s*,\s*(\d{1,3})\s*", text)
    if found is None:
        raise UsageError(
            f"--hidden: got {text[:40]!r}, how many lines are hidden on the left and above is expected, as 1,0"
        )
    return int(found[1]), int(found[2])


def _check_marks(marks: str | None, marks_mm: str | None, marks_photo: Path | None, no_marks: bool) -> None:
    given = {"--marks": marks, "--marks-mm": marks_mm, "--marks-photo": marks_photo}
    for name, value in given.items():
        if no_marks and value is not None:
            raise UsageError(f"--no-marks and {name}: one or the other")
    if marks is not None and marks_photo is not None:
        raise UsageError("--marks and --marks-photo: the marks are typed or looked for, not both")
    if marks_mm is None and (marks is not None or marks_photo is not None):
        raise UsageError(f"--marks-mm: {_HOW_FAR}")


_HOW_FAR = (
    "how far apart are the marks' centres, across x down in mm, as 412x309? measure on the glass with a ruler; without "
    "it no length can be told"
)


def _size_of(text: str) -> tuple[float, float]:
    """Width and height in mm that the picture should have: '400x300'.

    Raises:
        UsageError: it is no such size.
    """
    found = re.fullmatch(r"\s*(\d{1,4}(?:\.\d{1,3})?)\s*[xX×]\s*(\d{1,4}(?:\.\d{1,3})?)\s*(?:mm)?\s*", text)
    if found is None or not all(20 <= float(side) <= 3000 for side in found.groups()):
        raise UsageError(f"--size-mm: got {text[:40]!r}, width x height in mm is expected, as 400x300, each 20 to 3000")
    return float(found[1]), float(found[2])


def see(request: Request, step: Callable[[str, float], None]) -> Measured:
    """Read the photograph, find marks and grid, and place the grid on the glass. `step` is told how far it is.

    Raises:
        ValueError: a file cannot be read, or the marks or the grid cannot be seen in it; one line.
    """
    lens = None if request.lens is None else load_lens(request.lens)
    step("reading", 0.0)
    photo = read_photo(request.photo)
    step("looking for the marks", 0.15)
    marks, words = _marks(request, photo)
    if marks is None:
        _check_known(request.glass_radius_mm, request.depth_mm, request.size_mm)
    step("looking for the grid", 0.3)
    fields = request.format.picture.height if request.format.interlaced else 0
    try:
        on = grid_on_glass(
            photo,
            request.grid,
            dots=not request.scene.nodes,
            marks=marks,
            lens=lens,
            interlaced_lines=fields,
            hidden=request.hidden,
        )
    except FileError:
        raise
    except ValueError as error:
        # What concerns an option begins with it; all else is of the photograph.
        named = str(error).startswith("--")
        raise UsageError(str(error) if named else f"{request.photo}: {error}") from error
    warnings = on.warnings
    if marks is None:
        warnings = (*(() if request.no_marks else (_MARKS_MISSING,)), _WHICH_WAY, *warnings)
    step("measuring", 0.7)
    return Measured(
        request=request, photo=photo, on=on, marks=marks, marks_words=words, lens=lens, warnings=tuple(warnings)
    )


def _marks(request: Request, photo: Photo) -> tuple[MarksGiven | None, str]:
    """The marks with their size, if there are any, and where they come from."""
    if request.no_marks:
        return None, "no marks"
    words = "marks as typed"
    seen = request.marks
    if seen is None and request.marks_photo is not None:
        other = read_photo(request.marks_photo)
        if other.size != photo.size:
            raise UsageError(
                f"--marks-photo: {other.path} has {other.size[0]}x{other.size[1]} pixels, {photo.path} has "
                f"{photo.size[0]}x{photo.size[1]}; both are taken from one tripod, with one zoom and focus"
            )
        seen, words = find_marks(other), f"marks of {request.marks_photo}"
        _check_still(request, photo, seen)
    elif seen is None:
        seen, words = _found(request, photo), "marks found in it"
    if seen is None:
        return None, "no marks"
    if request.marks_mm is None:
        raise UsageError(f"--marks-mm: {request.photo} shows corner marks; {_HOW_FAR} (or give --no-marks)")
    width, height = request.marks_mm
    given = MarksGiven(
        seen=seen,
        size_mm=request.marks_mm,
        size_sigma_mm=request.marks_sigma_mm,
        glass_radius_mm=request.glass_radius_mm,
        depth_mm=request.depth_mm,
    )
    return given, f"{words}, {width:g} x {height:g} mm apart"


def _check_still(request: Request, photo: Photo, seen: SeenMarks) -> None:
    """Refuse marks of a second photograph where the first one shows them elsewhere.

    Raises:
        UsageError: the camera was moved between the two.
    """
    try:
        own = find_marks(photo)
    except FileError:
        # That they are not seen well is what the second one is for.
        return
    moved = float(np.hypot(*(own.centres - seen.centres).T).max())
    if moved > _MOVED_PX:
        raise UsageError(
            f"--marks-photo: its marks lie up to {moved:.0f} pixels beside those in {request.photo}: the camera moved; "
            "take both again from one tripod, or leave --marks-photo out"
        )


def _found(request: Request, photo: Photo) -> SeenMarks | None:
    """The marks in the photograph itself; None where there are none and no size says that there should be."""
    try:
        return find_marks(photo)
    except NoMarksError:
        if request.marks_mm is None:
            return None
        raise
