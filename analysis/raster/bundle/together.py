"""From several photographs of one grid to the grid on the glass: reading, finding, and solving them together."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.errors import InputError
from analysis.photo.file import Photo, read_photo
from analysis.photo.marks import SeenMarks, find_marks
from analysis.photo.notes import PhotoNotes, read_notes, sensor_points, sensor_size
from analysis.raster.bundle.asked import Solved, TogetherRequest
from analysis.raster.bundle.place import Frame, glass_grid, picture_axes, picture_height, placed_in
from analysis.raster.bundle.solve import Bundle, UnlikeError, solve
from analysis.raster.bundle.start import Ruler, problem_of
from analysis.raster.bundle.start import Taken as TakenPhoto
from analysis.raster.geometry.figures import NO_LENGTH
from analysis.raster.grid import GlassGrid, SeenGrid
from analysis.raster.lattice.nodes import Sight, see_grid
from analysis.raster.opening import Opening, opening_of
from analysis.raster.placing import OnGlass, Taken, guns_seen, with_other_overlap, with_shared
from analysis.raster.unplaced import GREEN
from render.errors import FileError

__all__ = ["Looked", "Together", "on_glass_together", "solve_together"]

Floats = NDArray[np.float64]

_LEAST_TILT_DEG = 6.0
"""Angle between two photographs' views from which they show depth and curvature."""
_GOOD_SCATTER = 3.0
"""How many times larger than stated residuals may be before that is reported."""
_MARKED = 0.6
"""Share of the photographs that show marks from which they are used though their distances are not known."""
_NO_PLACE = (
    "in hand-held photographs nothing shows where the glass is: stick the marks of 'trueraster sheet marks' beside it, "
    "or show a picture that is larger than the glass"
)
_IN_MM = ("width_mm", "height_mm", "centre_mm", "edge_sag_mm", "bow_h_mm", "bow_v_mm", "terms")
_OF_PLACE = ("centre_mm", "centre_percent", "rotation_deg", "terms.x.1", "terms.y.1")


@dataclass(frozen=True, eq=False, kw_only=True)
class Together:
    """The first photograph, with the grid of all of them on the glass."""

    photo: Photo
    on: OnGlass
    solved: Solved
    marks: SeenMarks | None
    """Those in the first photograph."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Looked:
    """One photograph, in pixels of the sensor."""

    path: Path
    notes: PhotoNotes
    size: tuple[int, int]
    """Of the upright photograph."""
    sight: Sight
    seen: SeenGrid
    """In the sensor's pixels."""
    marks: SeenMarks | None


def solve_together(request: TogetherRequest, step: Callable[[str, float], None]) -> Together:
    """Find the grid in every photograph and solve them together.

    Args:
        request: the photographs, three to 24 of one camera with one zoom, and what is known.
        step: gets what is done next, and how much of all work is done, 0 to 1.

    Raises:
        ValueError: a photograph cannot be read, shows no such grid or does not go with the others; one line. An
            `InputError` where a value of the request is at fault or would help.
    """
    first: Photo | None = None
    looked = []
    for number, path in enumerate(request.photos):
        step(f"looking at photograph {number + 1} of {len(request.photos)}", 0.9 * number / len(request.photos))
        photo = read_photo(path)
        looked.append(_look(photo, request))
        # One photograph alone is kept, for the picture.
        first = first or photo
    assert first is not None
    step("solving them together", 0.9)
    on, solved = on_glass_together(_alike(looked, request), request)
    return Together(photo=first, on=on, solved=solved, marks=looked[0].marks)


def on_glass_together(looked: Sequence[Looked], request: TogetherRequest) -> tuple[OnGlass, Solved]:
    """The grid on the glass, from what was found in every photograph.

    Raises:
        ValueError: as of `solve_together`.
    """
    looked = _with_enough_marks(looked, request)
    looked, sensor = _as_the_sensor_sees(looked)
    gun = _gun(looked)
    ruler, opening = _ruler(request), None
    for _ in range(2):
        bundle = _solve(looked, sensor, gun, request, ruler)
        has_marks = bundle.marks.size > 0
        grid, shared, end_sigma = glass_grid(
            request.shown, bundle, [one.seen for one in looked], gun, calibrated=request.lens is not None
        )
        opening = None if has_marks else opening_of(grid, gun, end_sigma)
        if opening is None:
            break
        # A face is made about the middle of its opening: solved once more, with that known.
        apex = float(opening.centre[0]), float(opening.centre[1])
        ruler = replace(ruler, apex_mm=apex, turn=opening.rotation, apex_is_seen=True)
    frame, length = _frame(request, grid, gun, opening, has_marks=has_marks)
    place = "marks" if has_marks else "nothing" if opening is None else "glass"
    if place == "glass":
        # What moves the grid moves the glass's edge with it.
        shared["bundle"] = [_without_motion(one, grid, gun) for one in shared["bundle"]]
    shared["ruler"] = _frame_doubts(grid, frame, opening)
    placed = {name: [placed_in(one, frame) for one in some] for name, some in shared.items()}
    lacks = dict.fromkeys(_OF_PLACE, _NO_PLACE) if place == "nothing" else {}
    if not frame.in_mm:
        lacks |= dict.fromkeys(_IN_MM, NO_LENGTH)
    one = looked[0]
    taken = Taken(size=one.size, notes=one.notes, is_jpeg=one.path.suffix.lower() in (".jpg", ".jpeg"))
    found = replace(placed_in(grid, frame), lacks=lacks)
    placed["colours"] = [replace(with_other_overlap(found, one.sight, taken), scales=True)]
    on = with_shared(one.sight, taken, found, placed)
    solved = _solved(request, bundle, frame, sensor, place=place, length=length)
    warnings = (*_warnings(solved, bundle), *on.warnings)
    return replace(on, warnings=warnings, to_px=_to_px(bundle, frame, one)), solved


def _solve(
    looked: Sequence[Looked], sensor: tuple[int, int], gun: int, request: TogetherRequest, ruler: Ruler
) -> Bundle:
    known, views = problem_of(
        request.shown,
        request.aspect,
        [TakenPhoto(nodes=one.seen.nodes[gun], sigma=one.seen.sigma[gun], marks=one.marks) for one in looked],
        sensor,
        ruler,
        request.lens or looked[0].notes.focal_px(sensor),
    )
    try:
        return solve(known, views)
    except UnlikeError as error:
        raise FileError(
            f"{looked[error.number].path}: it does not show the grid where the others have it; photograph one picture "
            "with one camera and one zoom, and count the hidden lines for --hidden LEFT,ABOVE if some are"
        ) from error


def _look(photo: Photo, request: TogetherRequest, hidden: tuple[int, int] | None = None) -> Looked:
    """The grid and the marks of one photograph."""
    try:
        sight = see_grid(photo, request.shown, hidden=hidden or request.hidden)
    except FileError:
        raise
    except InputError as error:
        if error.fields:
            raise
        raise InputError(f"{photo.path}: {error}", helps=error.helps) from error
    except ValueError as error:
        raise ValueError(f"{photo.path}: {error}") from error
    marks = None
    if request.marks:
        try:
            marks = find_marks(photo)
        except FileError:
            # Marks that one photograph does not show well are in the others.
            marks = None
    sight = replace(sight, grid=guns_seen(sight))
    return Looked(
        path=photo.path, notes=read_notes(photo.path), size=photo.size, sight=sight, seen=sight.grid, marks=marks
    )


def _ranges(one: Looked) -> tuple[int, int, int, int]:
    """The first and last vertical, and the first and last horizontal line that are seen."""
    seen = np.isfinite(one.seen.nodes).all(axis=-1).any(axis=0)
    found: list[int] = []
    for count in (seen.sum(axis=0), seen.sum(axis=1)):
        lines = np.flatnonzero(2 * count >= count.max())
        found += [int(lines[0]), int(lines[-1])]
    return found[0], found[1], found[2], found[3]


def _alike(looked: list[Looked], request: TogetherRequest) -> list[Looked]:
    """The photographs, counted alike: where one has the grid's lines elsewhere, it is counted as most of them are."""
    ranges = [_ranges(one) for one in looked]
    usual = max(set(ranges), key=ranges.count)
    found = []
    for one, own in zip(looked, ranges, strict=True):
        across = own[0] - usual[0] if own[1] - usual[1] == own[0] - usual[0] else 0
        down = own[2] - usual[2] if own[3] - usual[3] == own[2] - usual[2] else 0
        if across or down:
            hidden = usual[0], usual[2]
            one = _look(read_photo(one.path), request, hidden)
        found.append(one)
    return found


def _with_enough_marks(looked: Sequence[Looked], request: TogetherRequest) -> Sequence[Looked]:
    """Without marks where nobody measured them and few photographs show them: their place would be known badly."""
    many = sum(one.marks is not None for one in looked)
    if request.marks_mm is not None or many >= _MARKED * len(looked):
        return looked
    return [replace(one, marks=None) for one in looked]


def _as_the_sensor_sees(looked: Sequence[Looked]) -> tuple[list[Looked], tuple[int, int]]:
    """The photographs with the sensor's size; those that were held otherwise are turned as the sensor sees.

    Raises:
        InputError: they have different sizes.
    """
    turned = [one.notes.orientation for one in looked]
    if len(set(turned)) == 1 and len({one.size for one in looked}) == 1:
        return list(looked), looked[0].size
    sizes = [sensor_size(one.size, one.notes.orientation or 1) for one in looked]
    for one, size in zip(looked, sizes, strict=True):
        if size != sizes[0]:
            raise InputError(
                f"{one.path} has {size[0]}x{size[1]} pixels, {looked[0].path} has {sizes[0][0]}x{sizes[0][1]}: take "
                "all with one camera, one zoom and uncropped",
                fields=("photos",),
            )
    return [_turned(one, one.notes.orientation or 1) for one in looked], sizes[0]


def _turned(one: Looked, orientation: int) -> Looked:
    def put(points: Floats) -> Floats:
        return sensor_points(points, one.size, orientation)

    grid, marks = one.seen, one.marks
    sigma = grid.sigma[..., ::-1] if orientation >= 5 else grid.sigma
    return replace(
        one,
        seen=replace(
            grid,
            nodes=put(grid.nodes),
            sigma=sigma,
            level_ends=put(grid.level_ends),
            upright_ends=put(grid.upright_ends),
        ),
        marks=None if marks is None else SeenMarks(centres=put(marks.centres), sigma=marks.sigma),
    )


def _gun(looked: Sequence[Looked]) -> int:
    """Green; another where more than twice as many of its crossings are seen."""
    many = np.sum([np.isfinite(one.seen.nodes).all(axis=-1).sum(axis=(1, 2)) for one in looked], axis=0)
    return GREEN if 2 * many[GREEN] >= many.max() else int(np.argmax(many))


def _ruler(request: TogetherRequest) -> Ruler:
    return Ruler(
        marks_mm=request.marks_mm,
        marks_sigma_mm=request.sigma_mm if request.marks_mm is not None else 0.0,
        face=request.face,
        depth_mm=request.depth_mm,
        height_mm=request.height_mm or (None if request.glass_mm is None else request.glass_mm[1]),
    )


def _frame(
    request: TogetherRequest, grid: GlassGrid, gun: int, opening: Opening | None, *, has_marks: bool
) -> tuple[Frame, str]:
    """The axes and the unit, and what gives the unit.

    Raises:
        InputError: a length is given that the photographs do not show.
    """
    frame = Frame.of(None if has_marks else opening)
    if opening is None and not has_marks:
        frame = Frame.upright(*picture_axes(grid, gun))
    if request.marks_mm is not None:
        if not has_marks:
            raise InputError("no corner marks are seen in any of the photographs", fields=("marks_mm",))
        return frame, "marks_mm"
    whole, middle = picture_height(grid, gun)
    if request.height_mm is not None:
        # It is the figure of that name; but a ruler may have been laid along the middle alone.
        sigma = math.hypot(request.sigma_mm / request.height_mm, (whole - middle) / 2 / whole)
        return replace(frame, scale=request.height_mm / whole, scale_sigma=sigma), "height_mm"
    if request.glass_mm is not None:
        if opening is None:
            raise InputError(
                "the glass's edge is seen where the picture is larger than the glass, on all four sides; this one ends "
                "inside it: measure the picture's height and give --height-mm",
                fields=("glass_mm",),
            )
        ratios = np.array(request.glass_mm) / opening.size
        sigma = math.hypot(
            request.sigma_mm / request.glass_mm[1], float(np.std(ratios) / ratios.mean()), opening.centre_sigma / whole
        )
        return replace(frame, scale=float(ratios.mean()), scale_sigma=sigma), "glass_mm"
    return replace(frame, scale=100 / whole, in_mm=False), "nothing"


def _without_motion(other: GlassGrid, grid: GlassGrid, gun: int) -> GlassGrid:
    """Another place of the grid, without what moves and turns it as a whole."""
    shift, places = (other.nodes - grid.nodes)[gun], grid.nodes[gun]
    known = np.isfinite(shift).all(axis=-1)
    middle = places[known].mean(axis=0)
    away = places - middle
    mean = shift[known].mean(axis=0)
    turned = np.stack([-away[..., 1], away[..., 0]], axis=-1)
    angle = float((turned[known] * shift[known]).sum() / (turned[known] ** 2).sum())
    return replace(other, nodes=other.nodes - mean - angle * turned)


def _frame_doubts(grid: GlassGrid, frame: Frame, opening: Opening | None) -> list[GlassGrid]:
    """The grid as it would be if the length, the glass's middle or its turn were off by one standard uncertainty."""
    found = []
    if frame.scale_sigma:
        longer = 1 + frame.scale_sigma
        found.append(replace(grid, nodes=frame.middle + (grid.nodes - frame.middle) * longer))
    if opening is not None:
        for axis in np.eye(2):
            found.append(replace(grid, nodes=grid.nodes + axis * opening.centre_sigma))
        turn = opening.rotation_sigma * np.array([[0.0, 1.0], [-1.0, 0.0]])
        found.append(replace(grid, nodes=grid.nodes + (grid.nodes - frame.middle) @ turn))
    return found


def _to_px(bundle: Bundle, frame: Frame, one: Looked) -> Callable[[Floats], Floats] | None:
    """From the grid's unit to the first photograph's pixels; None where it is turned against the sensor."""
    if one.seen is not one.sight.grid:
        return None

    def pixels(places: Floats) -> Floats:
        flat = np.asarray(places, np.float64).reshape(-1, 2)
        found = np.full(flat.shape, np.nan)
        known = np.isfinite(flat).all(axis=1)
        if known.any():
            found[known] = bundle.scene.see(bundle.views[0], frame.back(flat[known])).pixels
        return found.reshape(np.shape(places))

    return pixels


def _solved(
    request: TogetherRequest, bundle: Bundle, frame: Frame, sensor: tuple[int, int], *, place: str, length: str
) -> Solved:
    values, spread = bundle.scene.values, np.sqrt(np.diag(bundle.covariance))
    focal = math.exp(values[0])
    reach = math.hypot(*sensor) / 2 / focal
    curved = None
    if frame.in_mm:
        own = spread[7:9] / frame.scale
        curves = values[7:9] / frame.scale
        own = np.hypot(own, frame.scale_sigma * curves)
        curved = ((float(curves[0]), float(own[0])), (float(curves[1]), float(own[1])))
    depth = None
    if frame.in_mm and place == "marks":
        depth = float(values[11] * frame.scale), float(spread[11] * frame.scale)
    return Solved(
        photos=request.photos,
        focal_px=(focal, focal * float(spread[0])),
        distortion_percent=100 * float(values[3] * reach**2 + values[4] * reach**4),
        curvature=curved,
        depth_mm=depth,
        scatter=bundle.scatter,
        left_out=bundle.left_out,
        tilt_deg=_tilt(bundle),
        place=place,
        length=length,
    )


def _tilt(bundle: Bundle) -> float:
    """The largest angle between the directions from the picture's middle to two cameras."""
    ways = []
    for view in bundle.views:
        turn = cv2.Rodrigues(view[:3])[0]
        eye = -turn.T @ view[3:6]
        ways.append(eye / np.linalg.norm(eye))
    cosines = np.clip(np.array(ways) @ np.array(ways).T, -1, 1)
    return float(np.degrees(np.arccos(cosines.min())))


def _warnings(solved: Solved, bundle: Bundle) -> list[str]:
    said = []
    if solved.tilt_deg < _LEAST_TILT_DEG:
        said.append(
            f"the photographs were taken from within {solved.tilt_deg:.0f} degrees: they show next to nothing of depth "
            "and curvature; take some from 10 to 25 degrees on each side, above and below"
        )
    if max(bundle.scatter, bundle.worst_view) > _GOOD_SCATTER:
        said.append(
            f"the photographs contradict each other: crossings lie {max(bundle.scatter, bundle.worst_view):.1f} times "
            "as far from where the others have them as they should; was the picture changed meanwhile, or the zoom?"
        )
    return said
