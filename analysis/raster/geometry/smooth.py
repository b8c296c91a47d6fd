"""What is smooth over the picture: a map from picture coordinates, fitted to a grid's nodes, with its causes of doubt.

A raster's shape, and one gun's place against another's, change smoothly over the picture. The ten terms `TERMS` tell
nearly all of it, and they are what a set's adjustments move. Every figure is therefore a figure of the fitted map:
noise of single nodes is averaged away, and nodes that are hidden or missing are filled in from the ones that are seen.

Terms of higher degree are fitted too, each made orthogonal to those before it. In a raster told by the ten they are
mere noise, and so they say how much noise there is in what changes slowly over the picture, which is what the figures
suffer from; scatter from node to node does not say that. The few of them that stand out of it are kept as part of the
map. (Experiments without repeats are judged so, by the pseudo standard error of their effects; common practice.)
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.raster.grid import ShownGrid

__all__ = [
    "POWERS",
    "TERMS",
    "Powers",
    "Smooth",
    "fit_smooth",
    "largest",
    "monomials",
    "projection",
    "spread_of",
    "too_little",
    "where_seen",
]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Powers = tuple[tuple[int, int], ...]

TERMS = ("1", "u", "v", "uv", "u2", "v2", "u3", "uv2", "u2v", "v3")
"""The adjustment basis."""
POWERS: Powers = ((0, 0), (1, 0), (0, 1), (1, 1), (2, 0), (0, 2), (3, 0), (1, 2), (2, 1), (0, 3))
"""The powers of u and v in each of `TERMS`."""

_DEGREE = 7
"""The highest degree that is fitted; above it lie the single lines' own faults."""
_ROBUST_DEGREE = 5
"""The highest degree while outliers are sought: one more, and a corner bends to its own node."""
_STANDS_OUT = 3.5
"""How many times its noise a term of higher degree has to reach to be kept: by chance one fit in 40 keeps one."""
_OUTLIER = 5.0
"""Distance from the map, in uncertainties, from which a node is left out: by chance 4 in a million are."""
_EVEN = 0.3
"""Share of the usual uncertainty that each node has at least, so that no single one holds the map."""
_FEWEST_NODES = 20
_FEWEST_LINES = 4
"""Of each kind: a cubic needs as many."""
_REACH = 0.7
"""How far out nodes have to be seen on every side, of 1: a cubic foretells little beyond."""
_DRAWS = 64


@dataclass(frozen=True, eq=False, kw_only=True)
class Smooth:
    """A map (u, v) -> (x, y), as coefficients of powers of u and v."""

    powers: Powers
    """Those of the ten terms, then of higher degree."""
    coefficients: Floats
    """(2, terms) of x and y, in the unit of the places."""
    causes: Floats
    """(causes, 2, terms): what independent causes change the coefficients by, each by its one standard deviation."""
    places: Floats
    """(rows, columns, 2): the nodes as they were measured; NaN where they were not."""
    rest: Floats
    """(rows, columns, 2): what the map leaves of them."""
    sigma: Floats
    """(rows, columns, 2): their uncertainties, as large as their scatter says."""
    kept: Bools
    """(rows, columns): the nodes that were fitted; others were not seen or lie far from where their neighbours say."""
    solver: Floats
    """(2, terms, kept nodes): from places to coefficients."""
    doubts: int = 0
    """How many of the causes, the last ones, are shared by all nodes."""

    def own(self, doubts: Sequence[int]) -> list[int]:
        """Places among the causes of the nodes' own scatter, and of those doubts (counted from the first)."""
        first = len(self.causes) - self.doubts
        return [*range(first), *(first + i for i in doubts if i < self.doubts)]

    def basis(self, u: Floats, v: Floats) -> Floats:
        """(points, terms): what the coefficients are multiplied with at each point."""
        return monomials(u, v, self.powers)

    def at(self, u: Floats, v: Floats) -> Floats:
        """(points, 2): where the map puts points of the picture."""
        return self.basis(u, v) @ self.coefficients.T

    def spread(self, u: Floats, v: Floats) -> Floats:
        """(points, 2): standard uncertainties of `at`."""
        moved = self.causes @ self.basis(u, v).T
        spread: Floats = np.sqrt((moved**2).sum(axis=0)).T
        return spread

    def refitted(self, places: Floats) -> Floats:
        """(2, terms): the coefficients that the same fit gives for other places (rows, columns, 2) of the same nodes.

        A node without another place is taken to have stayed.
        """
        own, other = self.places[self.kept].T, places[self.kept].T
        return np.asarray(np.einsum("atn,an->at", self.solver, np.where(np.isfinite(other), other, own)))

    def doubted(self, places: list[Floats]) -> Smooth:
        """The same map, with causes of doubt that moved the nodes to each of `places`."""
        if not places:
            return self
        more = np.stack([self.refitted(other) for other in places]) - self.coefficients
        return replace(self, causes=np.concatenate([self.causes, more]), doubts=self.doubts + len(places))

    def drawn(self, seed: int = 0) -> Floats:
        """(draws, 2, terms): coefficients as they might have come out, in pairs around the ones that did.

        Always the same for the same seed, so that a figure is the same each time.
        """
        return self.coefficients + _pairs(self.causes, (5, seed))

    def drawn_beyond(self, plain: Smooth) -> Floats:
        """(draws, 2, terms): the same by the causes that this map has beyond those of `plain`, the map without them.

        The draws of two guns are of the same causes, one by one. None where there are no such causes.
        """
        causes = self.causes[len(plain.causes) :]
        return self.coefficients + (_pairs(causes, (7, 0)) if len(causes) else np.zeros((0, *self.coefficients.shape)))


def _pairs(causes: Floats, seed: tuple[int, int]) -> Floats:
    """(draws, 2, terms): what causes make together when each is drawn, in pairs of opposite sign."""
    noise = np.random.default_rng(seed).standard_normal((_DRAWS, len(causes)))
    return np.asarray(np.tensordot(np.concatenate([noise, -noise]), causes, axes=1))


def where_seen(places: Floats) -> Bools:
    """(rows, columns): which of the places (rows, columns, 2) are known."""
    return np.asarray(np.isfinite(places).all(axis=-1))


def too_little(shown: ShownGrid, places: Floats) -> str | None:
    """Why nodes (rows, columns, 2) are too few for a map; None where they are enough."""
    seen = where_seen(places)
    columns, rows = seen.sum(axis=0) >= 3, seen.sum(axis=1) >= 3
    if seen.sum() < _FEWEST_NODES or columns.sum() < _FEWEST_LINES or rows.sum() < _FEWEST_LINES:
        return (
            f"{int(seen.sum())} of the grid's {seen.size} crossings were seen; it takes {_FEWEST_NODES}, "
            f"on {_FEWEST_LINES} upright and {_FEWEST_LINES} level lines"
        )
    sides = (
        ("left", -shown.u[columns].min()),
        ("right", shown.u[columns].max()),
        ("top", -shown.v[rows].min()),
        ("bottom", shown.v[rows].max()),
    )
    for side, reach in sides:
        if reach < _REACH:
            return f"too much of the picture's {side} is hidden or was not found"
    return None


def monomials(u: Floats, v: Floats, powers: Powers) -> Floats:
    """(points, terms): powers of u times powers of v at each point."""
    highest = max(max(pair) for pair in powers) + 1
    of_u, of_v = np.vander(u, highest, increasing=True), np.vander(v, highest, increasing=True)
    return of_u[:, [i for i, _ in powers]] * of_v[:, [j for _, j in powers]]


def projection(shown: ShownGrid, powers: Powers, onto: Powers) -> Floats:
    """(terms of onto, terms of powers): the least-squares fit of a map by fewer terms, over all of the grid's nodes.

    All nodes count alike, seen or not, so that what is hidden does not change what a figure means.
    """
    u, v = (axis.ravel() for axis in np.meshgrid(shown.u, shown.v))
    return np.asarray(np.linalg.pinv(monomials(u, v, onto)) @ monomials(u, v, powers))


def largest(value: float, drawn: Floats) -> tuple[float, float]:
    """The largest of many noisy amounts, without what noise adds to it, and its standard uncertainty.

    Noise makes some amounts larger, and the largest is taken; so it comes out too large. By how much, the same noise
    added once more says: `drawn` are the largest amounts of draws.
    """
    corrected = np.sqrt(max(0.0, 2 * value**2 - float(np.mean(drawn**2))))
    return float(corrected), spread_of(drawn, value)


def spread_of(drawn: Floats, value: float) -> float:
    """Root mean square of what draws of a figure are off its value; 0 where there are none."""
    return float(np.sqrt(np.mean((drawn - value) ** 2))) if len(drawn) else 0.0


def fit_smooth(shown: ShownGrid, places: Floats, sigma: Floats) -> Smooth:
    """Fit the map to nodes (rows, columns, 2) with standard uncertainties of the same shape.

    Weighted least squares; nodes far from where their neighbours say are left out. Uncertainties are enlarged, for x
    and y apart, where the nodes scatter more than they say, from each to the next or slowly over the picture.

    Raises:
        ValueError: too few nodes were seen (`too_little`).
    """
    reason = too_little(shown, places)
    if reason is not None:
        raise ValueError(reason)
    seen = where_seen(places)
    u, v = (axis[seen] for axis in np.meshgrid(shown.u, shown.v))
    powers = _powers(seen)
    basis = monomials(u, v, powers)
    values, spread = places[seen].T, _spread(sigma[seen].T)
    inliers = _inliers(basis[:, [sum(pair) <= _ROBUST_DEGREE for pair in powers]], values, spread)
    kept = seen.copy()
    kept[seen] = inliers
    fits = [_fit_axis(basis[inliers], values[a, inliers], spread[a, inliers], kept) for a in range(2)]
    coefficients = np.stack([fit.coefficients for fit in fits])
    rest, scatter = np.full(places.shape, np.nan), np.full(places.shape, np.nan)
    rest[seen] = (values - coefficients @ basis.T).T
    scatter[seen] = (spread * [[fit.scatter] for fit in fits]).T
    causes = np.concatenate([np.stack([fit.causes * (a == i) for a in range(2)], axis=1) for i, fit in enumerate(fits)])
    return Smooth(
        powers=powers,
        coefficients=coefficients,
        causes=causes,
        places=np.where(seen[..., None], places, np.nan),
        rest=rest,
        sigma=scatter,
        kept=kept,
        solver=np.stack([fit.solver for fit in fits]),
    )


def _powers(seen: Bools) -> Powers:
    """The ten terms, and of the higher ones, degree by degree, what so many nodes can tell."""
    columns, rows = int(seen.any(axis=0).sum()), int(seen.any(axis=1).sum())
    powers = list(POWERS)
    for degree in range(4, _DEGREE + 1):
        more = [(degree - j, j) for j in range(degree + 1) if degree - j <= columns // 2 and j <= rows // 2]
        if len(powers) + len(more) > seen.sum() // 4:
            break
        powers += more
    return tuple(powers)


def _spread(sigma: Floats) -> Floats:
    """Uncertainties to weigh by: none is missing or so small that its node alone would hold the map."""
    good = np.isfinite(sigma) & (sigma > 0)
    usual = float(np.median(sigma[good])) if good.any() else 1e-6
    return np.asarray(np.hypot(np.where(good, sigma, usual), _EVEN * usual) / np.hypot(1.0, _EVEN))


def _inliers(basis: Floats, values: Floats, spread: Floats) -> Bools:
    """Which nodes lie where the others say: first the further off the less they count, then a plain limit."""
    inside, weights = np.ones(len(basis), np.bool_), np.ones(len(basis))
    for step in range(7):
        distance = np.zeros(len(basis))
        for value, own in zip(values, spread, strict=True):
            weight = np.sqrt(weights) / own
            solved = np.linalg.lstsq(basis * weight[:, None], value * weight, rcond=None)[0]
            rest = (value - basis @ solved) / own
            # Uncertainties stated too small must not throw nodes out, nor must a fit without any noise.
            distance += (rest / max(1.0, 1.4826 * float(np.median(np.abs(rest[inside]))))) ** 2
        distance = np.sqrt(distance)
        if step < 4:
            weights = np.minimum(1.0, 2.0 / np.maximum(distance, 1e-9))
        else:
            inside = distance < _OUTLIER
            weights = inside.astype(np.float64)
    return inside


@dataclass(frozen=True, eq=False)
class _AxisFit:
    coefficients: Floats
    causes: Floats
    scatter: float
    solver: Floats


def _fit_axis(basis: Floats, values: Floats, spread: Floats, kept: Bools) -> _AxisFit:
    """Fit x or y at the kept nodes. The terms' effects, orthogonal and in units of their noise, are judged singly."""
    orthogonal, triangle = np.linalg.qr(basis / spread[:, None])
    effects = orthogonal.T @ (values / spread)
    rest = values / spread - orthogonal @ effects
    near = 1.4826 * float(np.median(np.abs(rest))) * np.sqrt(len(rest) / (len(rest) - len(effects)))
    higher = np.abs(effects[len(POWERS) :])
    scatter = max(1.0, near, _pseudo_error(higher))
    active = np.concatenate([np.ones(len(POWERS), np.bool_), higher > _STANDS_OUT * scatter])
    inverse, own = np.linalg.inv(triangle)[:, active], orthogonal[:, active]
    slow = max(scatter, near * _alike(values / spread - own @ effects[active], own, kept))
    return _AxisFit(
        coefficients=inverse @ effects[active],
        causes=slow * inverse.T,
        scatter=scatter,
        solver=inverse @ own.T / spread,
    )


def _alike(rest: Floats, own: Floats, kept: Bools) -> float:
    """How many times more the rest moves a mean over many nodes than it would if each node erred by itself.

    From how alike next neighbours err, taken to fall off as a Gaussian does; `own` are the orthogonal terms that were
    taken out of the rest, and some likeness with them. 1 where no likeness is sure.
    """
    field, taken = np.zeros(kept.shape), np.zeros((*kept.shape, own.shape[1]))
    size = max(1.4826 * float(np.median(np.abs(rest))), 1e-9)
    field[kept], taken[kept] = np.clip(rest / size, -3.0, 3.0), own
    larger = 1.0
    for axis in range(2):
        first, second = (np.delete(kept, end, axis) for end in (-1, 0))
        pairs = max(int((first & second).sum()), 1)
        products = np.delete(field, -1, axis) * np.delete(field, 0, axis)
        lost = np.delete(taken, -1, axis) * np.delete(taken, 0, axis)
        likeness = min(float(products.sum() + lost.sum()) / pairs, 0.95)
        if likeness > 2 / np.sqrt(pairs):
            larger *= 1 + 2 * sum(likeness ** (k * k) for k in range(1, 5))
    return float(np.sqrt(larger))


def _pseudo_error(effects: Floats) -> float:
    """Standard deviation of effects most of which are mere noise; 0 where there are too few to say."""
    if len(effects) < 8:
        return 0.0
    rough = 1.5 * float(np.median(effects))
    return 1.5 * float(np.median(effects[effects < 2.5 * rough])) if rough > 0 else 0.0
