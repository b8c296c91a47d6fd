"""Whether four marks go together: their printed size and shape against the rectangle that their centres are taken as.

Four centres fit any plane, so they cannot contradict each other. But each mark is a square of known size too: where
one centre is displaced, the perspective that the four seem to have shows the squares larger, smaller or skewed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analysis.errors import InputError
from analysis.photo.marks import centres_of
from analysis.photo.pose import homography, through
from analysis.photo.targets import CORNER_NAMES, MARK_MM

__all__ = ["MarksFit", "fit_marks", "rectangle"]

Floats = NDArray[np.float64]

_WRONG_SHAPE = 0.03
"""Share by which a mark's width and height may differ, in the millimetres that the given size makes of them."""
_WRONG_SIZE = 0.03
_WRONG_SIZE_NO_LENS = 0.06
"""Of a mark's size; a lens of 3 % of distortion makes marks in the corners larger or smaller by nearly as much."""
_DOUBTED_SIZE = 0.012
_DOUBTED_SIZE_NO_LENS = 0.015
"""Share from which the marks' own size contradicts the given distances. A print is good to half a percent."""
_OUT_OF_SQUARE_DEG = 1.0
_PRINT = 0.003
"""Standard uncertainty of the print's scale: its ruler is checked to half a millimetre of 100 (common practice, no
source)."""
_STRETCH = 0.002
"""The same of its width over its height."""
_INK = 0.0004
"""The same of one mark against the others: ink, and the light's edge."""
_TILT = math.radians(0.4)
"""Standard uncertainty of how a mark leans out of their plane."""
_PLACED_MM = 0.3
"""The same of its place in their rectangle; and of how far it lies behind the others, in mm."""
_BEHIND_MM = 1.0
_CONTRADICTS = 12.0
"""By how much the sum of squared deviations has to fall when one mark is taken to lie elsewhere: by chance it falls by
this in one of a hundred photographs, since there are four marks and two directions."""
_AS_GOOD = 6.0
"""Difference of such sums within which one explanation is as good as another."""


def rectangle(size_mm: tuple[float, float]) -> Floats:
    """(4, 2): the centres of marks that are so far apart, in mm, clockwise from the top left."""
    width, height = size_mm
    return np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * (width / 2, height / 2)


@dataclass(frozen=True, eq=False, kw_only=True)
class MarksFit:
    """What the marks' own squares say of their places."""

    moves_mm: tuple[Floats, ...] = ()
    """(4, 2) each: by how much the centres may lie elsewhere, one standard uncertainty each, beyond how they were
    measured. None where all go together."""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False, kw_only=True)
class _Squares:
    """The marks as squares on the plane that their centres make."""

    across: Floats
    """(4, 2): from each mark's left side to its right, in mm."""
    down: Floats

    @classmethod
    def of(cls, matrix: Floats, corners: Floats) -> _Squares:
        top_left, top_right, bottom_right, bottom_left = np.moveaxis(through(np.linalg.inv(matrix), corners), 1, 0)
        return cls(
            across=(top_right - top_left + bottom_right - bottom_left) / 2,
            down=(bottom_left - top_left + bottom_right - top_right) / 2,
        )

    def shapes(self) -> Floats:
        """(12,): of each mark how much it is larger, wider than high, and skewed, as shares; turned upright."""
        made = np.stack((self.across, self.down), axis=-1) / MARK_MM
        turn = np.arctan2(made[:, 1, 0] - made[:, 0, 1], made[:, 0, 0] + made[:, 1, 1])
        cos, sin = np.cos(turn), np.sin(turn)
        upright = np.stack((np.stack((cos, sin), -1), np.stack((-sin, cos), -1)), -2) @ made
        a, b, c, d = upright[:, 0, 0], upright[:, 0, 1], upright[:, 1, 0], upright[:, 1, 1]
        return np.stack(((a + d) / 2 - 1, (a - d) / 2, (b + c) / 2), axis=-1).ravel()


def fit_marks(
    size_mm: tuple[float, float],
    corners: tuple[Floats, Floats],
    eye_mm: Floats,
    other_lens: Callable[[], Floats] | None,
) -> MarksFit:
    """Compare the marks' own squares with what their centres make of them.

    Args:
        size_mm: how far the centres are apart.
        corners: (4, 4, 2) of the straight corners in pixels, and their standard uncertainties.
        eye_mm: (3,): where about the camera is.
        other_lens: the corners straightened by a lens that differs by one standard uncertainty; None where the lens
            is known.

    Raises:
        ValueError: the marks cannot lie so; one line. An `InputError` where the given distances are at fault.
    """
    places = rectangle(size_mm)
    squares = _Squares.of(homography(places, centres_of(corners[0])), corners[0])
    _check(squares, size_mm, has_lens=other_lens is None)
    own = squares.shapes()
    spread = corners[1].mean(axis=(1, 2)) / np.linalg.norm(np.ptp(corners[0], axis=1), axis=1) * math.sqrt(2)
    parts = _Parts.of(places, eye_mm)
    covariance = np.diag(np.repeat(np.hypot(spread, _INK) ** 2, 3))
    usual = [_PRINT * np.tile((1.0, 0, 0), 4), _STRETCH * np.tile((0, 1.0, 0), 4)]
    usual += [_PLACED_MM * column for column in parts.moved] + [_BEHIND_MM * column for column in parts.behind]
    usual += [_TILT * column for column in parts.leaning]
    if other_lens is not None:
        bent = other_lens()
        usual.append(_Squares.of(homography(places, centres_of(bent)), bent).shapes() - own)
    for column in usual:
        covariance += np.outer(column, column)
    size = _size_warning(own, size_mm, has_lens=other_lens is None)
    one = _odd_one(own, covariance, parts)
    return MarksFit(moves_mm=(*size.moves_mm, *one.moves_mm), warnings=(*size.warnings, *one.warnings))


@dataclass(frozen=True, eq=False, kw_only=True)
class _Parts:
    """What one thing that is wrong by 1 does to the shapes: (12,) each."""

    moved: tuple[Floats, ...]
    """By 1 mm: of each mark to the right, then down."""
    behind: tuple[Floats, ...]
    """Each mark by 1 mm."""
    behind_mm: tuple[Floats, ...]
    """(4, 2): where a mark then seems to be, in the plane of the others."""
    leaning: tuple[Floats, ...]
    """Each mark by 1 radian, two ways."""

    @classmethod
    def of(cls, places: Floats, eye_mm: Floats) -> _Parts:
        none = _seen_shapes(places, np.zeros((4, 2)))
        moved, behind, behind_mm, leaning = [], [], [], []
        for mark in range(4):
            for axis in range(2):
                away = np.zeros((4, 2))
                away[mark, axis] = 1.0
                moved.append(_seen_shapes(places, away) - none)
            # From the camera a mark behind the others looks smaller, and nearer to the camera's foot.
            share = 1 / max(-float(eye_mm[2]), 1.0)
            toward = np.zeros((4, 2))
            toward[mark] = (eye_mm[:2] - places[mark]) * share
            smaller = np.zeros((4, 3))
            smaller[mark, 0] = -share
            behind.append(_seen_shapes(places, toward) - none + smaller.ravel())
            behind_mm.append(toward)
            slant = (places[mark] - eye_mm[:2]) * share
            for lean in ((slant[0], slant[0], slant[1]), (slant[1], -slant[1], slant[0])):
                shapes = np.zeros((4, 3))
                shapes[mark] = np.array(lean) / 2
                leaning.append(shapes.ravel())
        return cls(moved=tuple(moved), behind=tuple(behind), behind_mm=tuple(behind_mm), leaning=tuple(leaning))


def _seen_shapes(places: Floats, away: Floats) -> Floats:
    """(12,): the shapes of marks that lie `away` from their places, on the plane that the places would make of them."""
    side = MARK_MM / 2
    around = np.array([[-side, -side], [side, -side], [side, side], [-side, side]])
    seen = (places + away)[:, None] + around
    return _Squares.of(homography(places, places + away), seen).shapes()


def _odd_one(own: Floats, covariance: Floats, parts: _Parts) -> MarksFit:
    """Which mark lies or leans otherwise, where the shapes say so."""
    inverse: Floats = np.asarray(np.linalg.inv(covariance), np.float64)
    whole = float(own @ inverse @ own)
    tried: list[tuple[float, str, Floats, int]] = []
    for mark in range(4):
        two = slice(2 * mark, 2 * mark + 2)
        left, by = _explained(own, inverse, parts.moved[two])
        away = np.zeros((4, 2))
        away[mark] = by
        tried.append((left + 2, f"about {np.hypot(*by):.1f} mm beside its place", away, mark))
        left, by = _explained(own, inverse, parts.behind[mark : mark + 1])
        where = "behind" if by[0] > 0 else "in front of"
        tried.append((left + 1, f"about {abs(by[0]):.0f} mm {where} the others", parts.behind_mm[mark] * by[0], mark))
        left, by = _explained(own, inverse, parts.leaning[two])
        tried.append((left + 2, f"leaning by about {math.degrees(np.hypot(*by)):.0f} degrees", np.zeros((4, 2)), mark))
    tried.sort(key=lambda one: one[0])
    if tried[0][0] > whole - _CONTRADICTS:
        return MarksFit()
    likely = [one for one in tried if one[0] < tried[0][0] + _AS_GOOD]
    named = " or ".join(dict.fromkeys(words for _, words, _, mark in likely if mark == likely[0][3]))
    where = " or ".join(dict.fromkeys(CORNER_NAMES[mark] for *_, mark in likely))
    moves = max((away for _, _, away, _ in likely), key=lambda away: float(np.abs(away).max()))
    return MarksFit(
        moves_mm=(moves,) if moves.any() else (),
        warnings=(
            f"the marks do not go together as four squares in one plane: the {where} mark seems to lie {named}; fix "
            "it flat and in its corner, and photograph again. The uncertainties allow for it",
        ),
    )


def _explained(own: Floats, inverse: Floats, columns: Sequence[Floats]) -> tuple[float, Floats]:
    """The sum of squares that is left with some of the parts taken out, and how much of each."""
    design = np.stack(columns, axis=-1)
    normal = design.T @ inverse @ design + 1e-12 * np.eye(len(columns))
    found = np.linalg.solve(normal, design.T @ inverse @ own)
    rest = own - design @ found
    return float(rest @ inverse @ rest), np.asarray(found)


def _size_warning(own: Floats, size_mm: tuple[float, float], *, has_lens: bool) -> MarksFit:
    """That the marks' printed size contradicts the given distances, though not enough to refuse them."""
    larger, wider = (float(own.reshape(4, 3)[:, i].mean()) for i in (0, 1))
    limit = _DOUBTED_SIZE if has_lens else _DOUBTED_SIZE_NO_LENS
    off = np.array([larger + wider, larger - wider])
    if np.abs(off).max() < limit:
        return MarksFit()
    lens = "" if has_lens else ", or the lens bends much: give --lens"
    words = (
        f"the marks come out {MARK_MM * (1 + off[0]):.2f} mm wide and {MARK_MM * (1 + off[1]):.2f} mm high by the "
        f"given distances, {MARK_MM:g} mm is printed: --marks-mm {size_mm[0]:g}x{size_mm[1]:g} seems wrong by "
        f"{100 * off[np.argmax(np.abs(off))]:+.1f} %, or the print is (its ruler has 100 mm){lens}. The uncertainties "
        "allow for it"
    )
    return MarksFit(moves_mm=(rectangle(size_mm) * -off,), warnings=(words,))


def _check(squares: _Squares, size_mm: tuple[float, float], *, has_lens: bool) -> None:
    """Refuse marks whose own width and height, by the given size, cannot be."""
    across, down = squares.across, squares.down
    if np.median(across[:, 0] / np.hypot(*across.T)) < math.cos(math.radians(45)):
        raise ValueError(
            "the marks are turned in their rectangle: each belongs upright to the corner that it names, its arrows up"
        )
    wide, high = float(np.hypot(*across.T).mean()), float(np.hypot(*down.T).mean())
    width, height = size_mm
    shape, size = wide / high, math.sqrt(wide * high) / MARK_MM
    given = f"with {width:g}x{height:g} the marks come out {wide:.1f} mm wide and {high:.1f} mm high"
    if abs(shape - 1) > _WRONG_SHAPE:
        swapped = shape * (height / width) ** 2
        if abs(swapped - 1) < _WRONG_SHAPE:
            raise InputError(
                f"{given}: width and height seem changed about, try {height:g}x{width:g}", fields=("marks_mm",)
            )
        raise InputError(
            f"{given}, though they are square: measure across and down from centre to centre again",
            fields=("marks_mm",),
        )
    limit = _WRONG_SIZE if has_lens else _WRONG_SIZE_NO_LENS
    if abs(size - 1) > limit:
        raise InputError(
            f"{given}, {MARK_MM:g} mm is printed: measure from centre to centre again, and the print's ruler, which is "
            "100 mm",
            fields=("marks_mm",),
        )
    own = np.stack((np.hypot(*across.T), np.hypot(*down.T)), axis=1)
    odd = np.abs(own / (wide, high) - 1).max(axis=1)
    if odd.max() > limit:
        worst = int(odd.argmax())
        raise ValueError(
            f"the {CORNER_NAMES[worst]} mark comes out {own[worst, 0]:.1f} mm wide and {own[worst, 1]:.1f} mm high, "
            f"all four {wide:.1f} and {high:.1f} mm on average: it should be flat, in their plane, and whole"
        )
    turned = np.degrees(np.arctan2(down[:, 1], down[:, 0]) - np.arctan2(across[:, 1], across[:, 0])) - 90
    skew = float(turned.mean())
    if abs(skew) > _OUT_OF_SQUARE_DEG:
        raise ValueError(
            f"the rectangle of the marks is out of square by {abs(skew):.1f} degrees: set them upright, so that both "
            "diagonals are equal"
        )
