"""The bundle fit: one scene, the cameras and every place of the grid, from all photographs at once.

Least squares over what was seen and what is known beforehand: how lenses, faces and marks usually are, or what somebody
measured. What the photographs do not show is then as uncertain as what is usual varies. The uncertainty is that of the
linear fit at the end; the places of the grid are taken out of it one by one, since each is seen by itself (Schur's
complement).

The steps are damped Gauss-Newton steps by SciPy's sparse factors. `scipy.optimize.least_squares` takes a sparse matrix
of derivatives too, but solves each step by LSMR: on seven photographs that took 437 steps, and it ended before the
bottom; exact steps take about ten.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix, diags_array, vstack
from scipy.sparse.linalg import splu

from analysis.raster.bundle.scene import OF_SCENE, OF_VIEW, Places, SharedScene

__all__ = ["Bundle", "Known", "UnlikeError", "View", "solve"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_SHARED, _OWN = len(OF_SCENE), len(OF_VIEW)
_EXACT = 1e-3
"""Uncertainty in mm of what only fixes the axes: the middle, the way up, and the size where none is known."""
_OF_AXES = 24
"""Nodes by which the axes are fixed."""
_OUTLIER = 5.0
"""Residuals, in uncertainties as large as the scatter says, from which a crossing of a photograph is left out."""
_MEDIAN = 1.1774
"""Median of the length of two residuals that are as large as said."""
_ROUNDS = 4
_MOST_STEPS = 60
_STILL = 1e-7
"""Relative change of the sum of squares at which the fit is done."""
_FEWEST_SHARE = 0.5
"""Share of a photograph's crossings that have to fit: else it is of another grid or a moved one."""
_LEAST_SHIFT = 1e-4
"""mm: directions of uncertainty that move no place by more are left out."""


class UnlikeError(ValueError):
    """One photograph does not go with the others; `number` is which."""

    def __init__(self, number: int) -> None:
        super().__init__(f"photograph {number + 1} does not show the grid where the others have it")
        self.number = number


@dataclass(frozen=True, eq=False, kw_only=True)
class View:
    """What one photograph shows."""

    pixels: Floats
    """(nodes, 2): NaN where a crossing is not seen."""
    sigma: Floats
    """(nodes, 2)."""
    marks: Floats
    """(marks, 2); (0, 2) without marks."""
    marks_sigma: Floats
    start: Floats
    """(7,) of `OF_VIEW`, nearly."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Known:
    """What is known before: means and standard uncertainties."""

    scene: Floats
    """(13,) of `OF_SCENE`."""
    scene_sigma: Floats
    breathing: float
    """Of the focal length from photograph to photograph, relative."""
    grid: Floats
    """(nodes, 2): where the grid is nearly, in mm; its outer size is meant to be right to some percent."""
    uv: Floats
    """(nodes, 2): picture coordinates of the nodes."""
    marks: Floats
    """(marks, 3): where marks are taken to be; (0, 3) without."""
    marks_sigma: Floats
    """(marks, 3)."""
    corner_mm: tuple[float, float] = (0.0, 0.0)
    free_marks: bool = False
    """Whether the marks' distances are not known: then they fix the axes, and the grid the size."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Bundle:
    """What the fit found."""

    scene: SharedScene
    views: Floats
    """(photographs, 7)."""
    nodes: Floats
    """(nodes, 2) in mm; NaN where no photograph shows one."""
    marks: Floats
    """(marks, 3)."""
    sigma: Floats
    """(nodes, 2): what each is uncertain by itself."""
    shifts: Floats
    """(causes, nodes, 2): by how much all move together, each cause off by one standard uncertainty."""
    covariance: Floats
    """(13, 13) of the scene's parameters."""
    residuals: Floats
    """(photographs, nodes, 2) in pixels; NaN where not seen or left out."""
    scatter: float
    """How many times the residuals are what the crossings' own uncertainties say."""
    worst_view: float
    """The same of the photograph that fits least."""
    left_out: int
    """Crossings in single photographs that lie far from where the others say."""


@dataclass(frozen=True, eq=False)
class _Layout:
    """Where parameters are in one long vector: the scene, the photographs, the nodes (x, y), the marks (x, y, z)."""

    views: int
    nodes: NDArray[np.intp]
    """Indices of the nodes that are seen at all."""
    marks: int

    @property
    def first_node(self) -> int:
        return _SHARED + _OWN * self.views

    @property
    def first_mark(self) -> int:
        return self.first_node + 2 * len(self.nodes)

    @property
    def size(self) -> int:
        return self.first_mark + 3 * self.marks

    def split(self, values: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """The scene (13,), photographs (views, 7), nodes (n, 2) and marks (m, 3)."""
        return (
            values[:_SHARED],
            values[_SHARED : self.first_node].reshape(self.views, _OWN),
            values[self.first_node : self.first_mark].reshape(-1, 2),
            values[self.first_mark :].reshape(-1, 3),
        )


class _Problem:
    """Residuals and their derivatives, in standard uncertainties."""

    def __init__(self, known: Known, views: Sequence[View], kept: Bools) -> None:
        self.known, self.views, self.kept = known, views, kept
        self.layout = _Layout(len(views), np.flatnonzero(kept.any(axis=0)), len(known.marks))
        self.column = np.full(kept.shape[1], -1)
        self.column[self.layout.nodes] = np.arange(len(self.layout.nodes))
        self.prior_rows, self.prior_means = self._prior()

    def start(self) -> Floats:
        """Where the fit begins."""
        known = self.known
        views = np.concatenate([view.start for view in self.views])
        return np.concatenate([known.scene, views, known.grid[self.layout.nodes].ravel(), known.marks.ravel()])

    def _prior(self) -> tuple[csr_matrix, Floats]:
        """Rows of what is known beforehand, and what they should give."""
        known, layout = self.known, self.layout
        rows: list[tuple[NDArray[np.intp], Floats, float]] = []
        for i in range(_SHARED):
            rows.append((np.array([i]), np.array([1 / known.scene_sigma[i]]), known.scene[i] / known.scene_sigma[i]))
        for view in range(layout.views):
            column = _SHARED + _OWN * view + _OWN - 1
            rows.append((np.array([column]), np.array([1 / known.breathing]), 0.0))
        place, sigma = known.marks.ravel(), known.marks_sigma.ravel()
        for i in range(place.size):
            rows.append((np.array([layout.first_mark + i]), np.array([1 / sigma[i]]), place[i] / sigma[i]))
        rows += self._axes()
        columns = np.concatenate([row[0] for row in rows])
        values = np.concatenate([row[1] for row in rows])
        which = np.concatenate([np.full(len(row[0]), i) for i, row in enumerate(rows)])
        matrix = csr_matrix((values, (which, columns)), shape=(len(rows), layout.size))
        return matrix, np.array([row[2] for row in rows])

    def _axes(self) -> list[tuple[NDArray[np.intp], Floats, float]]:
        """What fixes the middle, the way up and the size, where no marks with a known size do."""
        known, layout = self.known, self.layout
        marks = layout.marks
        # Few nodes, since each row joins all that it has: with every node the matrix would be sparse no more.
        some = np.unique(np.linspace(0, len(layout.nodes) - 1, _OF_AXES).astype(int))
        count, x = len(some), layout.first_node + 2 * some
        uv = known.uv[layout.nodes[some]]
        # Least squares of y by 1, u and v: the height is twice the last, the turn the one before.
        fit = np.linalg.pinv(np.column_stack([np.ones(count), uv]))
        wanted = fit @ known.grid[layout.nodes[some]]
        rows: list[tuple[NDArray[np.intp], Floats, float]] = []
        if marks and known.free_marks:
            of = layout.first_mark + 3 * np.arange(marks)
            across = known.marks[:, 0] / np.abs(known.marks[:, 0]).sum()
            rows += [(of + axis, np.full(marks, 1 / marks / _EXACT), 0.0) for axis in (0, 1)]
            rows.append((of + 1, across / _EXACT, 0.0))
        if not marks:
            rows += [(x + axis, fit[0] / _EXACT, 0.0) for axis in (0, 1)]
            rows.append((x + 1, fit[1] / _EXACT, 0.0))
        if not marks or known.free_marks:
            rows.append((x + 1, fit[2] / _EXACT, wanted[2, 1] / _EXACT))
        return rows

    def linear(self, values: Floats) -> tuple[Floats, Any]:
        """Residuals at `values`, and the sparse matrix of their derivatives."""
        scene_values, views, nodes, marks = self.layout.split(values)
        scene, layout = SharedScene(scene_values, self.known.corner_mm), self.layout
        rows = _Rows(layout.size)
        for number, view in enumerate(self.views):
            which = np.flatnonzero(self.kept[number])
            own = self.column[which]
            places = scene.see(views[number], nodes[own])
            at = layout.first_node + 2 * own[:, None] + np.arange(2)
            rows.add(places, number, at, view.pixels[which], view.sigma[which])
            of = np.flatnonzero(np.isfinite(view.marks).all(axis=1))
            if len(of):
                places = scene.see(views[number], marks[of])
                at = layout.first_mark + 3 * of[:, None] + np.arange(3)
                rows.add(places, number, at, view.marks[of], view.marks_sigma[of])
        rest, slopes = rows.whole()
        return np.concatenate([rest, self.prior_rows @ values - self.prior_means]), vstack([slopes, self.prior_rows])


class _Rows:
    """Residuals of points in photographs, row by row."""

    def __init__(self, columns: int) -> None:
        self.columns = columns
        self.rest: list[Floats] = []
        self.parts: list[tuple[NDArray[np.intp], NDArray[np.intp], Floats]] = []
        self.count = 0

    def add(self, places: Places, view: int, at: NDArray[np.intp], seen: Floats, sigma: Floats) -> None:
        """Points of one photograph; `at` (N, 2 or 3) are the columns of their coordinates."""
        self.rest.append(((places.pixels - seen) / sigma).ravel())
        every = np.concatenate([places.by_scene, places.by_view, places.by_point], axis=-1) / sigma[..., None]
        own = np.arange(_SHARED + view * _OWN, _SHARED + (view + 1) * _OWN)
        shared = np.broadcast_to(np.concatenate([np.arange(_SHARED), own]), (len(at), _SHARED + _OWN))
        columns = np.broadcast_to(np.concatenate([shared, at], axis=1)[:, None], every.shape)
        rows = np.broadcast_to((self.count + np.arange(every.shape[0] * 2)).reshape(-1, 2, 1), every.shape)
        self.parts.append((rows.ravel(), columns.ravel(), every.ravel()))
        self.count += 2 * len(at)

    def whole(self) -> tuple[Floats, Any]:
        """All residuals, and the sparse matrix of their derivatives."""
        rows, columns, values = (np.concatenate(part) for part in zip(*self.parts, strict=True))
        return np.concatenate(self.rest), csr_matrix((values, (rows, columns)), shape=(self.count, self.columns))


def solve(known: Known, views: Sequence[View]) -> Bundle:
    """Fit everything.

    Raises:
        ValueError: the photographs do not fit together; one line.
    """
    every = np.stack([np.isfinite(view.pixels).all(axis=1) for view in views])
    sigma = np.stack([view.sigma for view in views])
    kept, start = every.copy(), None
    for _ in range(_ROUNDS):
        problem = _Problem(known, views, kept)
        values, normal = _fitted(problem, problem.start() if start is None else start)
        start = values
        rest = _residuals(problem, values)
        with np.errstate(invalid="ignore"):
            far = np.hypot(*np.moveaxis(rest / sigma, -1, 0))
        scatter = max(1.0, float(np.nanmedian(far)) / _MEDIAN)
        better = every & (np.nan_to_num(far, nan=np.inf) < _OUTLIER * scatter)
        # A node that is left out everywhere would have no place: it stays as it is.
        better |= kept & ~better.any(axis=0)
        if np.array_equal(better, kept):
            break
        kept = better
    good = kept.sum(axis=1) / np.maximum(every.sum(axis=1), 1)
    if good.min() < _FEWEST_SHARE:
        raise UnlikeError(int(np.argmin(good)))
    return _bundle(problem, values, normal, np.where(kept[..., None], rest, np.nan), int((every & ~kept).sum()))


def _fitted(problem: _Problem, values: Floats) -> tuple[Floats, Any]:
    """The parameters at the bottom, and the matrix of the normal equations there."""
    damping = 1e-4
    rest, slopes = problem.linear(values)
    cost = float(rest @ rest)
    for _ in range(_MOST_STEPS):
        normal, gradient = (slopes.T @ slopes).tocsc(), slopes.T @ rest
        size = np.sqrt(normal.diagonal())
        scaled = diags_array(1 / size) @ normal @ diags_array(1 / size)
        step = splu((scaled + damping * diags_array(np.ones(len(size)))).tocsc()).solve(-gradient / size) / size
        tried = problem.linear(values + step)
        better = float(tried[0] @ tried[0])
        if not better <= cost * (1 + 1e-12):
            damping *= 10
            if damping > 1e6:
                break
            continue
        values, (rest, slopes) = values + step, tried
        done = damping <= 1e-9 and cost - better < _STILL * max(cost, 1.0)
        damping, cost = max(damping / 30, 1e-12), better
        if done:
            break
    return values, (slopes.T @ slopes).tocsc()


def _bundle(problem: _Problem, values: Floats, normal: Any, rest: Floats, left_out: int) -> Bundle:
    """What was found, with its uncertainties enlarged by the scatter."""
    known, layout = problem.known, problem.layout
    scene_values, views, nodes, marks = layout.split(values)
    sigma = np.stack([view.sigma for view in problem.views])
    ratios = rest / sigma
    count = int(np.isfinite(ratios).sum())
    freedom = max(count - 2 * len(layout.nodes) - _OWN * layout.views - _SHARED, 1)
    by_view = np.sqrt(np.nanmean(ratios**2, axis=(1, 2)) * count / freedom)
    scatter = max(1.0, float(np.sqrt(np.nansum(ratios**2) / freedom)))
    # The grid's nodes one by one: (n, 2, 2), and what they share with all else.
    size = layout.size
    of_nodes = np.arange(layout.first_node, layout.first_mark)
    others = np.concatenate([np.arange(layout.first_node), np.arange(layout.first_mark, size)])
    whole = normal.tocsr()
    blocks = whole[of_nodes][:, of_nodes]
    # Nodes are joined to others by the axes alone, so the factors are sparse.
    factors = splu(blocks.tocsc())
    mixed = whole[of_nodes][:, others].toarray()
    follow = -factors.solve(mixed)
    left = whole[others][:, others].toarray() + mixed.T @ follow
    own = np.sqrt(np.diag(left))
    spread, directions = np.linalg.eigh(np.linalg.inv(left / np.outer(own, own)))
    steps = (directions * np.sqrt(np.clip(spread, 0, None))) / own[:, None]
    moved = (follow @ steps).T.reshape(len(others), -1, 2)
    moved = moved[np.abs(moved).max(axis=(1, 2)) > _LEAST_SHIFT]
    shifts = np.full((len(moved), problem.kept.shape[1], 2), np.nan)
    shifts[:, layout.nodes] = scatter * moved
    places, spreads = (np.full((problem.kept.shape[1], 2), np.nan) for _ in range(2))
    places[layout.nodes], spreads[layout.nodes] = nodes, scatter * np.sqrt(_own_spread(blocks)).reshape(-1, 2)
    return Bundle(
        scene=SharedScene(scene_values, known.corner_mm),
        views=views,
        nodes=places,
        marks=marks,
        sigma=spreads,
        shifts=shifts,
        covariance=(steps @ steps.T)[:_SHARED, :_SHARED] * scatter**2,
        residuals=rest,
        scatter=scatter,
        worst_view=float(by_view.max()),
        left_out=left_out,
    )


def _own_spread(blocks: Any) -> Floats:
    """(2 n,): variances of nodes by themselves, from the matrix's own two by two pieces."""
    inner = blocks.diagonal().reshape(-1, 2)
    mixed = blocks.diagonal(1)[::2]
    determinant = inner.prod(axis=1) - mixed**2
    return np.asarray((inner[:, ::-1] / determinant[:, None]).ravel())


def _residuals(problem: _Problem, values: Floats) -> Floats:
    """(photographs, nodes, 2) in pixels, of all that is seen and was in the fit in any photograph."""
    scene_values, views, nodes, _ = problem.layout.split(values)
    scene = SharedScene(scene_values, problem.known.corner_mm)
    rest = np.full((len(problem.views), problem.kept.shape[1], 2), np.nan)
    for number, view in enumerate(problem.views):
        which = np.flatnonzero(np.isfinite(view.pixels).all(axis=1) & (problem.column >= 0))
        rest[number, which] = view.pixels[which] - scene.see(views[number], nodes[problem.column[which]]).pixels
    return rest
