"""From a photograph of a crosshatch or of dots to the grid on the glass, and to the figures of that grid."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.errors import InputError
from analysis.guns import GUNS
from analysis.lens.file import load_lens
from analysis.lens.model import Lens
from analysis.photo.face import Face
from analysis.photo.file import Photo, read_photo
from analysis.photo.marks import NoMarksError, SeenMarks, find_marks
from analysis.photo.notes import read_notes
from analysis.photo.plane import MarksGiven
from analysis.raster.classes import SetClass
from analysis.raster.convergence import Convergence, measure_convergence
from analysis.raster.geometry.figures import Geometry, measure_geometry
from analysis.raster.grid import ShownGrid
from analysis.raster.lattice.causes import FewLinesError
from analysis.raster.placing import OnGlass, exposure_of, grid_on_glass
from patterns.formats import Format, format_words
from patterns.pattern import Options, Pattern
from patterns.scene import Scene
from render.errors import FileError
from render.reading import check_plain

__all__ = ["GridShown", "KnownMarks", "RasterPhoto", "RasterRequest", "convergence_of", "geometry_of", "see"]

_FEWEST_LINES = 4
_DARK = 0.5
"""Level of the background from which a pattern's lines are the dark part of it."""
_DARK_LIGHT = 0.1
"""Linear light of the brightest parts below which colours drown in noise."""
_LARGEST_RADIUS_MM = 100_000.0
_LARGEST_DEPTH_MM = 200.0
_MOVED_PX = 2.0
"""Pixels between the marks of two photographs from one tripod; in the dark they are seen less well."""
_HOW_FAR = (
    "how far apart are the marks' centres, across x down in mm, as 412x309? measure on the glass with a ruler; without "
    "it no length can be measured"
)
_MARKS_MISSING = (
    "no corner marks are seen in it: only what perspective cannot imitate is reported, such as bends and misconvergence"
)
_WHICH_WAY = "without marks the photograph is taken to lie as the picture was shown, not mirrored or upside down"


@dataclass(frozen=True, eq=False, kw_only=True)
class GridShown:
    """The grid that was on the screen."""

    pattern: str
    """The pattern's name."""
    format: Format
    scene: Scene
    grid: ShownGrid

    @classmethod
    def of(cls, pattern: Pattern, fmt: Format, cells: tuple[int, int] | None = None) -> GridShown:
        """The grid of a pattern, drawn with its usual number of cells or with columns and rows of them.

        Raises:
            InputError: the pattern has no grid that can be measured; one line.
        """
        scene = pattern.scene(fmt, Options(cells=cells))
        grid = ShownGrid.of(scene, fmt.picture.height if fmt.interlaced else 0, float(fmt.field_rate))
        if grid is None or len(scene.nodes or scene.dots) != len(grid.u) * len(grid.v):
            raise InputError(f"{pattern.id} has no grid to measure; crosshatch and dots have one", fields=("pattern",))
        if min(len(grid.u), len(grid.v)) < _FEWEST_LINES:
            raise InputError(
                f"the grid is too coarse, {_FEWEST_LINES} lines each way are needed at least", fields=("cells",)
            )
        if max(scene.background.red, scene.background.green, scene.background.blue) > _DARK:
            raise InputError(
                f"{pattern.id} has dark lines; bright ones on black are measured, such as those of crosshatch",
                fields=("pattern",),
            )
        return cls(pattern=pattern.id, format=fmt, scene=scene, grid=grid)

    @property
    def aspect(self) -> float:
        """The picture's width over its height."""
        return float(self.format.picture_aspect)

    @property
    def words(self) -> str:
        """'crosshatch of 16 x 12 cells in 480i'."""
        columns, rows = len(self.grid.u), len(self.grid.v)
        many = f"{columns - 1} x {rows - 1} cells" if self.scene.nodes else f"{columns} x {rows}"
        return f"{self.pattern} of {many} in {format_words(self.format)}"


@dataclass(frozen=True, eq=False, kw_only=True)
class KnownMarks:
    """What is known of the corner marks before they are looked for."""

    size_mm: tuple[float, float] | None = None
    """Between their centres, across and down."""
    size_sigma_mm: float = 0.0
    """Standard uncertainty of both."""
    given: SeenMarks | None = None
    """Where they are, if somebody has read that off the photograph."""
    photo: Path | None = None
    """A second photograph from the same place, in which they are looked for."""
    unused: bool = False
    """Whether nothing is to be measured by them."""


@dataclass(frozen=True, eq=False, kw_only=True)
class RasterRequest:
    """What is to be measured, checked as far as that needs no photograph.

    Raises:
        InputError: values that do not go together, or that nothing can be measured with; one line.
    """

    photo: Path
    shown: GridShown
    marks: KnownMarks = KnownMarks()
    lens: Path | None = None
    face: Face | None = None
    """How the glass is curved; None where nobody knows."""
    depth_mm: float | None = None
    """How far the picture lies behind the marks; None where nobody knows."""
    hidden: tuple[int, int] | None = None
    """Lines of the grid that are hidden on the left and above, where somebody has counted them."""
    size_mm: tuple[float, float] | None = None
    """Width and height that the picture should have."""
    set_class: SetClass = SetClass.BROADCAST
    """By whose tolerances advice is given."""

    def __post_init__(self) -> None:
        marks = self.marks
        given = {"marks": marks.given, "marks_mm": marks.size_mm, "marks_photo": marks.photo}
        for name, value in given.items():
            if marks.unused and value is not None:
                raise InputError("give one or the other", fields=("no_marks", name))
        if marks.given is not None and marks.photo is not None:
            raise InputError("the marks are typed or looked for, not both", fields=("marks", "marks_photo"))
        if marks.size_mm is None and (marks.given is not None or marks.photo is not None):
            raise InputError(_HOW_FAR, fields=("marks_mm",))
        if marks.unused:
            _check_without_marks(self)
        if self.face is not None and not self.face.is_flat and not self.face.radius_mm <= _LARGEST_RADIUS_MM:
            raise InputError(
                f"got {self.face.words}, the radius of the face in mm is expected, up to {_LARGEST_RADIUS_MM:.0f}, "
                "or flat",
                fields=("glass_radius_mm",),
            )
        if self.depth_mm is not None and not 0 <= self.depth_mm <= _LARGEST_DEPTH_MM:
            raise InputError(
                f"got {self.depth_mm:g}, how far the picture lies behind the marks in mm is expected, 0 to "
                f"{_LARGEST_DEPTH_MM:.0f}",
                fields=("depth_mm",),
            )

    @property
    def inputs(self) -> list[Path]:
        """The files that are read."""
        return [path for path in (self.photo, self.marks.photo, self.lens) if path is not None]


def _check_without_marks(request: RasterRequest) -> None:
    """Refuse what means nothing without marks.

    Raises:
        InputError: it was given.
    """
    if request.face is not None and not request.face.is_flat:
        raise InputError("without marks nothing shows how the camera sees a curved glass", fields=("glass_radius_mm",))
    if request.depth_mm:
        raise InputError("without marks there is nothing that the picture lies behind", fields=("depth_mm",))
    if request.size_mm is not None:
        raise InputError("without marks nothing shows what size the picture has", fields=("size_mm",))


@dataclass(frozen=True, eq=False, kw_only=True)
class RasterPhoto:
    """A photograph with its grid on the glass."""

    request: RasterRequest
    photo: Photo
    on: OnGlass
    marks: MarksGiven | None
    marks_words: str
    """Where the marks come from, and how far apart they are."""
    lens: Lens | None
    warnings: tuple[str, ...]


def _no_progress(words: str, share: float) -> None:
    pass


def see(request: RasterRequest, step: Callable[[str, float], None] = _no_progress) -> RasterPhoto:
    """Read the photograph, find marks and grid, and place the grid on the glass.

    Args:
        request: what is to be measured.
        step: gets what is done next, and how much of all work is done, 0 to 1.

    Raises:
        ValueError: a file cannot be read, or the marks or the grid cannot be seen in it; one line. An `InputError`
            where a value of the request is at fault or would help.
    """
    for path in request.inputs:
        check_plain(path)
    lens = None if request.lens is None else load_lens(request.lens)
    step("reading", 0.0)
    photo = read_photo(request.photo)
    step("looking for the marks", 0.15)
    marks, words = _marks(request, photo)
    if marks is None:
        _check_without_marks(request)
    step("looking for the grid", 0.3)
    try:
        flat = request.face is not None and request.face.is_flat
        on = grid_on_glass(photo, request.shown.grid, marks=marks, lens=lens, hidden=request.hidden, flat_glass=flat)
    except FileError:
        raise
    except InputError as error:
        if error.fields:
            raise
        by_exposure = _by_exposure(error, photo, request.shown.grid)
        if by_exposure:
            raise ValueError(f"{request.photo}: {by_exposure}") from error
        raise InputError(f"{request.photo}: {error}", helps=error.helps) from error
    except ValueError as error:
        raise ValueError(f"{request.photo}: {error}") from error
    warnings = on.warnings
    if marks is None:
        warnings = (*(() if request.marks.unused else (_MARKS_MISSING,)), _WHICH_WAY, *warnings)
    step("measuring", 0.7)
    return RasterPhoto(
        request=request, photo=photo, on=on, marks=marks, marks_words=words, lens=lens, warnings=tuple(warnings)
    )


def _by_exposure(error: InputError, photo: Photo, shown: ShownGrid) -> str:
    """That the exposure is why a part of the grid is not seen, where the file notes that; else nothing."""
    exposure = exposure_of(read_notes(photo.path), shown)
    if exposure is None or not exposure.is_partly_dark or not isinstance(error, FewLinesError):
        return ""
    return (
        f"exposed for {exposure.words}: the tube drew a part of the picture only while the shutter was open; expose "
        f"for {exposure.advised}"
    )


def geometry_of(seen: RasterPhoto) -> Geometry:
    """The raster's shape.

    Raises:
        FileError: too little is seen for any figure.
    """
    found = measure_geometry(seen.on.grid, seen.request.shown.aspect, seen.on.doubts)
    if not found.figures:
        raise FileError(f"{seen.request.photo}: nothing can be measured: {_first(found.reasons)}")
    return found


def convergence_of(seen: RasterPhoto) -> Convergence:
    """Red's and blue's place against green's.

    Raises:
        FileError: the photograph has no colours, or too little is seen for any figure.
    """
    if not seen.photo.has_colour:
        brightest = float(seen.photo.linear(slice(None, None, 5), slice(None, None, 5)).max())
        why = (
            f"too dark to show colours (its brightest parts have {100 * brightest:.1g} % of full light); expose longer"
            if brightest < _DARK_LIGHT
            else "grey; convergence is measured by its colours"
        )
        raise FileError(f"{seen.request.photo}: the photograph is {why}")
    found = measure_convergence(seen.on.grid, seen.request.shown.aspect, seen.on.doubts)
    if found.figures:
        return found
    dark = [gun for gun, nodes in zip(GUNS, seen.on.grid.nodes, strict=True) if not np.isfinite(nodes).any()]
    if dark:
        why = (
            f"{' and '.join(dark)} {'is' if len(dark) == 1 else 'are'} dark: show a white crosshatch; if it was one, "
            f"the {' and the '.join(dark)} gun is off. Red and blue are measured against green"
        )
    else:
        why = _first(found.reasons)
    raise FileError(f"{seen.request.photo}: convergence cannot be measured: {why}")


def _first(reasons: Mapping[str, str]) -> str:
    return next(iter(reasons.values()), "too little of the grid is seen")


def _marks(request: RasterRequest, photo: Photo) -> tuple[MarksGiven | None, str]:
    """The marks with their size, if there are any, and where they come from."""
    asked = request.marks
    if asked.unused:
        return None, "no marks"
    words = "marks as typed"
    seen = asked.given
    if seen is None and asked.photo is not None:
        other = read_photo(asked.photo)
        if other.size != photo.size:
            raise InputError(
                f"{other.path} has {other.size[0]}x{other.size[1]} pixels, {photo.path} has {photo.size[0]}x"
                f"{photo.size[1]}; both are taken from one tripod, with one zoom and focus",
                fields=("marks_photo",),
            )
        seen, words = find_marks(other), f"marks of {asked.photo}"
        _check_still(photo, seen)
    elif seen is None:
        seen, words = _found(photo, asked), "marks found in it"
    if seen is None:
        return None, "no marks"
    if asked.size_mm is None:
        raise InputError(
            f"{request.photo} shows corner marks; {_HOW_FAR}; or measure without them",
            fields=("marks_mm",),
            helps=("no_marks",),
        )
    width, height = asked.size_mm
    given = MarksGiven(
        seen=seen,
        size_mm=asked.size_mm,
        size_sigma_mm=asked.size_sigma_mm,
        face=request.face,
        depth_mm=request.depth_mm,
    )
    return given, f"{words}, {width:g} x {height:g} mm apart"


def _check_still(photo: Photo, seen: SeenMarks) -> None:
    """Refuse marks of a second photograph where the first one shows them elsewhere.

    Raises:
        InputError: the camera was moved between the two.
    """
    try:
        own = find_marks(photo)
    except FileError:
        # That they are not seen well is what the second one is for.
        return
    moved = float(np.hypot(*(own.centres - seen.centres).T).max())
    if moved > _MOVED_PX:
        raise InputError(
            f"its marks lie up to {moved:.0f} pixels beside those in {photo.path}: the camera moved; take both again "
            "from one tripod, or leave the second photograph out",
            fields=("marks_photo",),
        )


def _found(photo: Photo, asked: KnownMarks) -> SeenMarks | None:
    """The marks in the photograph itself; None where there are none and no size says that there should be."""
    try:
        return find_marks(photo)
    except NoMarksError:
        if asked.size_mm is None:
            return None
        raise
