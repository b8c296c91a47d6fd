"""A lens from photographs of the printed board: OpenCV's calibration, how good it is, and when it is no good."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from analysis.lens.board import Sighting
from analysis.lens.model import PARAMETERS, Lens
from analysis.photo.targets import board

__all__ = ["FEWEST_PHOTOS", "Calibration", "calibrate"]

Floats = NDArray[np.float64]

FEWEST_PHOTOS = 5
_LEAST_SPREAD_DEG = 15.0
"""Between the two most different directions of the board: with less, focal length and distance cannot be separated."""
_LEAST_COVERAGE = 0.35
"""Of the picture's cells have to hold a corner of the board; a board that just fits leaves the outer ones empty."""
_GOOD_COVERAGE = 0.6
"""With less it is said how to have more."""
_LEAST_REACH = 0.5
"""Toward each corner of the picture, as a share of half the diagonal: beyond, the distortion is a guess."""
_CELLS = (8, 6)
_WORST_RMS = 0.0003
"""Of the picture's longer side; sharp photographs of a flat board have a tenth of it."""
_RMS_FLOOR_PX = 0.4
_WORST_FOCAL = 0.01
"""Standard uncertainty of the focal length, as a share."""
_WORST_CORNER_PERCENT = 0.25
"""Standard uncertainty of the distortion at the corner."""
_STRAY = 6.0
"""Corners that lie further off than so many typical deviations are no corners."""
_STRAY_SHARE = 0.3
"""A photograph with a larger share of them is left out."""
_ZOOMED = 0.01
"""Share by which noted focal lengths may differ."""
_STRETCHED = 0.005
"""Share by which the two focal lengths may differ before the print is doubted."""
_FRINGE = (0.935, 0.06)
"""Share of red's and blue's distance from green that is seen, since each channel sees a little of green too, and its
standard uncertainty, relative (common practice, no source)."""
_FRINGE_JPEG = (0.80, 0.3)
"""The same of a JPEG, whose colours may have half the pixels and are smoothed: in simulations 0.95 to 0.45."""
_FRINGE_FLOOR = 3e-5
"""The least uncertainty of these scales: what codes and noise leave."""
_FLAWS = "blurred, a board that is not flat, or a zoom or focus that was moved"


@dataclass(frozen=True, eq=False, kw_only=True)
class Calibration:
    """A lens, and how good it is."""

    lens: Lens
    used: tuple[Path, ...]
    left_out: tuple[tuple[Path, str], ...]
    """Photographs that were not used, with the reason in words."""
    coverage: float
    """Share of the picture's cells in which corners were seen."""
    tilts_deg: tuple[float, float]
    """Smallest and largest angle between board and picture."""
    spread_deg: float
    """Largest angle between two of the board's directions."""
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class _Fit:
    """One run of OpenCV's calibration."""

    matrix: Floats
    distortion: Floats
    turns: tuple[NDArray[Any], ...]
    moves: tuple[NDArray[Any], ...]
    rests: tuple[Floats, ...]
    """(N, 2) for each photograph: seen less modelled."""

    @property
    def normals(self) -> Floats:
        """(photographs, 3): the board's directions, seen from the camera."""
        return np.array([cv2.Rodrigues(turn)[0][:, 2] for turn in self.turns])


def calibrate(sightings: Sequence[Sighting], missed: Sequence[Path] = ()) -> Calibration:
    """The lens that the boards were seen through. `missed` are photographs in which no board was found.

    Raises:
        ValueError: the set is not good enough; one line that says what to do.
    """
    left_out = [(path, "the board is not found") for path in missed]
    kept = _distinct(sightings, left_out)
    if not kept:
        raise ValueError(
            f"the board is found in none of {len(missed)} photographs; print 'trueraster sheet board', and photograph "
            "it large, sharp and evenly lit"
        )
    _check_alike(kept)
    kept, fit = _agreeing(kept, left_out)
    lens = _lens(kept, fit)
    _check_certainty(lens)
    coverage = _coverage(kept)
    notes = []
    stretched = lens.fx / lens.fy - 1
    if abs(stretched) > _STRETCHED:
        notes.append(
            f"across, the focal length is {100 * stretched:+.1f} % longer than down: measure the print, its squares "
            "should be square"
        )
    if coverage < _GOOD_COVERAGE:
        notes.append(
            "the outer part of the picture has seen little of the board; photographs in which the board reaches beyond "
            "the picture's edges, one for each corner, make the lens more certain there"
        )
    normals = fit.normals
    tilts = np.degrees(np.arccos(np.clip(np.abs(normals[:, 2]), 0, 1)))
    return Calibration(
        lens=lens,
        used=tuple(sighting.path for sighting in kept),
        left_out=tuple(left_out),
        coverage=coverage,
        tilts_deg=(float(tilts.min()), float(tilts.max())),
        spread_deg=_spread_deg(normals),
        notes=tuple(notes),
    )


def _agreeing(kept: list[Sighting], left_out: list[tuple[Path, str]]) -> tuple[list[Sighting], _Fit]:
    """The photographs and corners that agree with each other, and their fit; others are added to `left_out`."""
    while True:
        _check_count(kept, left_out)
        _check_coverage(kept)
        fit = _fit(kept)
        _check_directions(fit)
        judged = _judged(kept, fit, left_out)
        if judged == kept:
            return kept, fit
        kept = judged


def _lens(kept: list[Sighting], fit: _Fit) -> Lens:
    """The lens of a fit, with how certain it is.

    Raises:
        ValueError: the photographs do not agree well enough.
    """
    size = kept[0].size
    rests = np.concatenate(fit.rests)
    freedom = max(rests.size - len(PARAMETERS) - 6 * len(kept), 1)
    rms = math.sqrt(float((rests**2).sum(axis=1).mean()))
    limit = max(_RMS_FLOOR_PX, _WORST_RMS * max(size))
    if rms > limit:
        raise ValueError(
            f"the photographs do not agree: corners lie {rms:.2f} px beside their places, {limit:.2f} px is the most; "
            f"reasons are {_FLAWS}"
        )
    k1, k2, p1, p2, k3 = (float(v) for v in fit.distortion)
    middle = (float(fit.matrix[0, 2]), float(fit.matrix[1, 2]))
    red, blue = (_fringe(kept, gun, middle, size) for gun in (0, 2))
    share = _FRINGE_JPEG[1] if _has_jpeg(kept) else _FRINGE[1]
    try:
        return Lens(
            width=size[0],
            height=size[1],
            fx=float(fit.matrix[0, 0]),
            fy=float(fit.matrix[1, 1]),
            cx=middle[0],
            cy=middle[1],
            distortion=(k1, k2, p1, p2, k3),
            red=red,
            blue=blue,
            covariance=_covariance(kept, fit, float((rests**2).sum()) / freedom),
            rms_px=rms,
            fringe_sigma=math.hypot(share * max(abs(sum(red)), abs(sum(blue))), _FRINGE_FLOOR),
        )
    except ValueError as error:
        raise ValueError(f"the photographs give no lens ({error}); take more, with the board in all corners") from error


def _distinct(sightings: Sequence[Sighting], left_out: list[tuple[Path, str]]) -> list[Sighting]:
    """Without what was given twice: the same photograph again would only feign certainty."""
    kept: list[Sighting] = []
    for sighting in sightings:
        twin = next((other for other in kept if other.is_same(sighting)), None)
        if twin is None:
            kept.append(sighting)
        else:
            left_out.append((sighting.path, f"the same as {twin.path.name}"))
    return kept


def _check_alike(kept: Sequence[Sighting]) -> None:
    first = kept[0]
    for other in kept:
        if other.size != first.size:
            raise ValueError(
                f"{other.path}: {other.size[0]}x{other.size[1]} pixels, {first.path.name} has "
                f"{first.size[0]}x{first.size[1]}; all photographs should be of one camera, as it wrote them"
            )
    noted = [sighting for sighting in kept if sighting.focal_mm is not None]
    if noted:
        shortest, longest = (choose(noted, key=lambda s: s.focal_mm or 0.0) for choose in (min, max))
        if (longest.focal_mm or 0) > (shortest.focal_mm or 0) * (1 + _ZOOMED):
            raise ValueError(
                f"the zoom was moved: {shortest.path.name} notes {shortest.focal_mm:g} mm, {longest.path.name} "
                f"{longest.focal_mm:g} mm; take all photographs, and that of the screen, with one"
            )


def _check_count(kept: Sequence[Sighting], left_out: Sequence[tuple[Path, str]]) -> None:
    if len(kept) < FEWEST_PHOTOS:
        why = f" (left out: {', '.join(f'{path.name}, {words}' for path, words in left_out[:3])})" if left_out else ""
        raise ValueError(
            f"{len(kept)} usable photograph{'' if len(kept) == 1 else 's'} of the board, at least {FEWEST_PHOTOS} are "
            f"needed, 10 are good{why}"
        )


def _cells(kept: Sequence[Sighting]) -> NDArray[np.bool_]:
    """(rows, columns): the cells of the picture in which corners were seen."""
    across, down = _CELLS
    points = np.concatenate([sighting.green for sighting in kept])
    width, height = kept[0].size
    columns = np.clip((points[:, 0] * across / width).astype(int), 0, across - 1)
    rows = np.clip((points[:, 1] * down / height).astype(int), 0, down - 1)
    seen = np.zeros((down, across), bool)
    seen[rows, columns] = True
    return seen


def _coverage(kept: Sequence[Sighting]) -> float:
    return float(_cells(kept).mean())


def _check_coverage(kept: Sequence[Sighting]) -> None:
    share = _coverage(kept)
    advice = "take more photographs in which the board fills the picture or lies in its corners"
    if share < _LEAST_COVERAGE:
        raise ValueError(
            f"the board's corners cover {100 * share:.0f} % of the picture, {100 * _LEAST_COVERAGE:.0f} % is the "
            f"least; {advice}"
        )
    size = np.array(kept[0].size)
    points = (np.concatenate([sighting.green for sighting in kept]) - (size - 1) / 2) / (size / 2)
    bare = []
    for (down, side_y), (across, side_x) in itertools.product(
        (("top", -1), ("bottom", 1)), (("left", -1), ("right", 1))
    ):
        # Along the diagonal 1 is the picture's corner; a point reaches as far as the nearer of its two edges.
        reach = np.minimum(points[:, 0] * side_x, points[:, 1] * side_y).max()
        if reach < _LEAST_REACH:
            bare.append(f"{down} {across}")
    if bare:
        raise ValueError(f"the board never comes near the {', '.join(bare)} of the picture; {advice}")


def _fit(kept: Sequence[Sighting]) -> _Fit:
    places = board().getChessboardCorners()
    things = [np.asarray(places, np.float32)[sighting.ids] for sighting in kept]
    seen = [sighting.green.astype(np.float32) for sighting in kept]
    stop = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_MAX_ITER, 100, 1e-10)
    threads = cv2.getNumThreads()
    # Several threads sum in no fixed order, and the same photographs would give a slightly different lens each time.
    cv2.setNumThreads(1)
    try:
        _, matrix, distortion, turns, moves = cv2.calibrateCamera(
            things, seen, kept[0].size, np.eye(3), np.zeros(5), criteria=stop
        )
    except cv2.error as error:
        raise ValueError(_SAME_DIRECTION) from error
    finally:
        cv2.setNumThreads(threads)
    if not all(np.isfinite(part).all() for part in (matrix, distortion, *turns, *moves)):
        raise ValueError(_SAME_DIRECTION)
    rests = tuple(
        there - cv2.projectPoints(thing, turn, move, matrix, distortion)[0].reshape(-1, 2)
        for thing, there, turn, move in zip(things, (s.green for s in kept), turns, moves, strict=True)
    )
    return _Fit(
        np.asarray(matrix, np.float64),
        np.asarray(distortion, np.float64).ravel()[:5],
        tuple(turns),
        tuple(moves),
        rests,
    )


_SAME_DIRECTION = (
    "all photographs show the board from the same direction; take some from the left, the right, above and below, "
    "20 to 40 degrees off"
)


def _spread_deg(normals: Floats) -> float:
    return float(np.degrees(np.arccos(np.clip((normals @ normals.T).min(), -1, 1))))


def _check_directions(fit: _Fit) -> None:
    spread = _spread_deg(fit.normals)
    if spread < _LEAST_SPREAD_DEG:
        raise ValueError(f"{_SAME_DIRECTION} (they span {spread:.0f} degrees, {_LEAST_SPREAD_DEG:.0f} are the least)")


def _judged(kept: list[Sighting], fit: _Fit, left_out: list[tuple[Path, str]]) -> list[Sighting]:
    """Without corners that lie astray, and without photographs that have many of them; the same list if none has."""
    lengths = [np.hypot(*rest.T) for rest in fit.rests]
    # Median of a Rayleigh distribution: 1.177 of a coordinate's deviation.
    typical = max(float(np.median(np.concatenate(lengths))) / 1.177, 0.02)
    medians = [float(np.median(length)) for length in lengths]
    worst = int(np.argmax(medians))
    if medians[worst] > 3 * float(np.median(medians)) and medians[worst] > _RMS_FLOOR_PX / 2:
        # One at a time: a bad photograph bends the model for the good ones, and a few bad corners bend its pose.
        good = lengths[worst] < _STRAY * medians[worst]
        if 1 - _STRAY_SHARE < good.mean() < 1:
            return [*kept[:worst], kept[worst].only(good), *kept[worst + 1 :]]
        rms = math.sqrt(float((lengths[worst] ** 2).mean()))
        left_out.append((kept[worst].path, f"does not agree with the others ({rms:.1f} px off): {_FLAWS}"))
        return kept[:worst] + kept[worst + 1 :]
    judged = []
    for sighting, length in zip(kept, lengths, strict=True):
        good = length < _STRAY * typical
        if good.all():
            judged.append(sighting)
        elif good.mean() > 1 - _STRAY_SHARE:
            judged.append(sighting.only(good))
        else:
            left_out.append((sighting.path, f"does not agree with the others: {_FLAWS}"))
    return kept if all(a is b for a, b in zip(judged, kept, strict=False)) and len(judged) == len(kept) else judged


def _covariance(kept: Sequence[Sighting], fit: _Fit, variance: float) -> Floats:
    """(9, 9) of `PARAMETERS`: the inverse of the normal equations, the boards' poses eliminated.

    OpenCV gives the standard deviations alone, but k1, k2 and k3 nearly cancel, so that those say nothing of a corner.
    """
    places = np.asarray(board().getChessboardCorners(), np.float64)
    total = np.zeros((len(PARAMETERS), len(PARAMETERS)))
    for sighting, turn, move in zip(kept, fit.turns, fit.moves, strict=True):
        _, slopes = cv2.projectPoints(places[sighting.ids], turn, move, fit.matrix, fit.distortion)
        pose, inner = slopes[:, :6], slopes[:, 6 : 6 + len(PARAMETERS)]
        cross = pose.T @ inner
        total += inner.T @ inner - cross.T @ np.linalg.solve(pose.T @ pose, cross)
    # Pixels and k3 differ by many orders of magnitude: scaled, the inverse keeps its digits.
    scale = 1 / np.sqrt(np.diag(total))
    covariance = np.linalg.pinv(total * np.outer(scale, scale), hermitian=True) * np.outer(scale, scale) * variance
    return np.asarray((covariance + covariance.T) / 2)


def _check_certainty(lens: Lens) -> None:
    focal = max(math.sqrt(lens.covariance[i, i]) / length for i, length in ((0, lens.fx), (1, lens.fy)))
    _, corner = lens.corner_percent()
    if focal > _WORST_FOCAL or corner > _WORST_CORNER_PERCENT:
        known = (
            f"the focal length to {100 * focal:.1f} %"
            if focal > _WORST_FOCAL
            else f"the corner's distortion to {corner:.2f} %"
        )
        raise ValueError(
            f"the photographs give {known} only; take more, sharper and more tilted ones, with the board in all corners"
        )


def _fringe(
    kept: Sequence[Sighting], gun: int, middle: tuple[float, float], size: tuple[int, int]
) -> tuple[float, float]:
    """(a, b) of a gun's scale relative to green, from corners that were found in each channel by itself."""
    green = np.concatenate([sighting.green for sighting in kept]) - middle
    shift = np.concatenate([sighting.points[gun] for sighting in kept]) - middle - green
    square = (green**2).sum(axis=1) / (math.hypot(*size) / 2) ** 2
    design = np.stack((green, green * square[:, None]), axis=-1).reshape(-1, 2)
    wanted = shift.reshape(-1)
    seen = np.isfinite(wanted)
    design, wanted = design[seen], wanted[seen]
    if len(wanted) < 20:
        return 0.0, 0.0
    weights = np.ones(len(wanted))
    found = np.zeros(2)
    # Least squares with Huber's weights: a few corners catch a code's edge in one of the channels.
    for _ in range(8):
        root = np.sqrt(weights)
        found = np.linalg.lstsq(design * root[:, None], wanted * root, rcond=None)[0]
        rest = np.abs(wanted - design @ found)
        limit = 1.5 * 1.4826 * float(np.median(rest)) + 1e-9
        weights = np.minimum(1.0, limit / np.maximum(rest, 1e-12))
    share = _FRINGE_JPEG[0] if _has_jpeg(kept) else _FRINGE[0]
    return float(found[0]) / share, float(found[1]) / share


def _has_jpeg(kept: Sequence[Sighting]) -> bool:
    return any(sighting.path.suffix.lower() in (".jpg", ".jpeg") for sighting in kept)
