"""From a photograph of a crosshatch or of dots to the grid on the glass, and to the figures of that grid."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from analysis.errors import InputError
from analysis.guns import GUNS
from analysis.lens.file import load_lens
from analysis.lens.model import Lens
from analysis.photo.file import Photo, read_photo
from analysis.photo.marks import NoMarksError, SeenMarks, find_marks
from analysis.photo.notes import read_notes
from analysis.photo.plane import MarksGiven
from analysis.raster.bundle.asked import Solved, TogetherRequest
from analysis.raster.bundle.together import solve_together
from analysis.raster.convergence import Convergence, measure_convergence
from analysis.raster.geometry.figures import Geometry, measure_geometry
from analysis.raster.grid import ShownGrid
from analysis.raster.lattice.causes import FewLinesError
from analysis.raster.placing import OnGlass, exposure_of, grid_on_glass
from analysis.raster.request import HOW_FAR, KnownMarks, RasterRequest, check_without_marks
from render.errors import FileError
from render.reading import check_plain

__all__ = ["RasterPhoto", "convergence_of", "geometry_of", "see"]

_DARK_LIGHT = 0.1
"""Linear light of the brightest parts below which colours drown in noise."""
_MOVED_PX = 2.0
"""Pixels between the marks of two photographs from one tripod; in the dark they are seen less well."""
_MARKS_MISSING = (
    "no corner marks are seen in it: only what perspective cannot imitate is reported, such as bends and misconvergence"
)
_WHICH_WAY = "without marks the photograph is taken to lie as the picture was shown, not mirrored or upside down"


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
    solved: Solved | None = None
    """What several photographs together show of camera and face; None for one alone."""


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
    if request.more:
        return _see_together(request, lens, step)
    step("reading", 0.0)
    photo = read_photo(request.photo)
    step("looking for the marks", 0.15)
    marks, words = _marks(request, photo)
    if marks is None:
        check_without_marks(request)
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


def _see_together(request: RasterRequest, lens: Lens | None, step: Callable[[str, float], None]) -> RasterPhoto:
    """The grid of several photographs."""
    known, marks = request.known, request.marks
    found = solve_together(
        TogetherRequest(
            photos=(request.photo, *request.more),
            shown=request.shown.grid,
            aspect=request.shown.aspect,
            lens=lens,
            hidden=request.hidden,
            face=request.face,
            depth_mm=request.depth_mm,
            marks=not marks.unused,
            marks_mm=marks.size_mm,
            height_mm=known.height_mm,
            glass_mm=known.glass_mm,
            sigma_mm=marks.size_sigma_mm if marks.size_mm is not None else known.sigma_mm,
        ),
        step,
    )
    given = None
    if found.marks is not None and marks.size_mm is not None:
        given = MarksGiven(
            seen=found.marks,
            size_mm=marks.size_mm,
            size_sigma_mm=marks.size_sigma_mm,
            face=request.face,
            depth_mm=request.depth_mm,
        )
    return RasterPhoto(
        request=request,
        photo=found.photo,
        on=found.on,
        marks=given,
        marks_words=f"{len(request.more) + 1} photographs solved together",
        lens=lens,
        warnings=found.on.warnings,
        solved=found.solved,
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
            f"{request.photo} shows corner marks; {HOW_FAR}; or measure without them",
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
