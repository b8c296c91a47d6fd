"""Which controls to turn, which way and how far: what was measured, split over what a set's adjustments move.

The picture should stand upright with its middle in the middle between the marks, its lines straight and its cells
equal; it may be as tall as it is, unless a size is wanted, and as wide as its aspect asks. What is not so is the sum of
what each control of `controls.py` moves, and of what none does. Terms that bend or stretch the picture are taken
without what they change of its place, size and slant, as the figures of its geometry are: so amounts agree with those,
and each control's part stands by itself. Of misconvergence they are taken as nothing in the middle of the picture,
where static convergence is set.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.raster.classes import CLASSES, SetClass, Tolerance
from analysis.raster.controls import CONVERGENCE_CONTROLS, GEOMETRY_CONTROLS, Control, Way
from analysis.raster.convergence import Convergence, moved_by_controls, zones
from analysis.raster.geometry.figures import Geometry
from analysis.raster.geometry.smooth import POWERS, TERMS, Smooth, monomials, projection
from analysis.raster.grid import ShownGrid

__all__ = ["Correction", "Part", "Plan", "Size", "advise", "advise_convergence"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

_CLEAR = 2.0
"""How many of its own standard uncertainties an amount has to reach to be advised."""
_SMALL = 0.3
"""Of the share from which a part is advised: where all parts are small, and together too much."""
_ROOM = 0.6
"""Share of what a good set may be off that small parts may use up together: what is left is for what is not seen."""
_BENDS = 0.1
"""Share of what an edge may be bent by from which a part counts as bending it."""
_OF_HEIGHT = "% of picture height"


@dataclass(frozen=True, slots=True)
class Size:
    """How far points are off."""

    rms: float
    """Root mean square over the picture."""
    most: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """One control to turn."""

    control: Control
    gun: str
    """Of convergence: red or blue."""
    amount: float
    """On the glass, in `unit`: mm, % of a cell, or % of picture height without marks. Positive where `control.more` is
    seen."""
    uncertainty: float
    unit: str
    effect: float
    """Root mean square over the picture of what it moves, in mm, or in % of picture height."""
    remains: float | None
    """The same of all that is wrong when this and those before it are done; None where that is not known."""

    @property
    def way(self) -> Way:
        """What is seen, and what to do against it."""
        return self.control.more if self.amount >= 0 else self.control.less


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What to adjust, in the order of work."""

    corrections: tuple[Correction, ...]
    unit: str
    """Of effects and sizes: mm, or % of picture height without marks."""
    tolerance: Tolerance
    before: Size | None = None
    """How far the whole picture is off; None where that is not known."""
    after: Size | None = None
    """The same with all of it done."""
    reason: str = ""
    """Why nothing can be advised."""
    parts: tuple[Part, ...] = ()
    """What each control would have to move, in the table's order, those that are as they should be among them."""


def advise(
    geometry: Geometry,
    wanted_mm: tuple[float, float] | None = None,
    set_class: SetClass = SetClass.BROADCAST,
    own: Sequence[int] = (),
) -> Plan:
    """What to adjust of the raster's shape; `wanted_mm` is the width and height that the picture should have.

    Without marks only bends are known, in percent of the picture height. `own` are the sources of uncertainty that are
    another in each photograph (`OnGlass.own`).

    Raises:
        ValueError: a size is wanted and there are no marks that show what size the picture has.
    """
    smooth, placed = geometry.smooth, geometry.grid.placed
    whole = placed or geometry.grid.straight
    tolerance = CLASSES[set_class].geometry
    if wanted_mm is not None and not placed:
        raise ValueError("a wanted size in mm needs marks in the photograph, which show what size the picture has")
    if smooth is None:
        return Plan(corrections=(), unit=_unit(placed), tolerance=tolerance, reason=geometry.reasons["terms"])
    split = _Split.of(smooth, geometry.grid.shown, geometry.picture_aspect, wanted_mm)
    height = float(split.sizes(smooth.coefficients[None])[1][0])
    inside = zones(split.u, split.v, geometry.picture_aspect)["centre"]
    parts = [
        _measured(part, inside, height, tolerance, _unit(placed))
        for part in split.parts(smooth, own)
        if whole or part.control.bends
    ]
    chosen = list(filter(_matters, parts))
    chosen += _small_bends(parts, chosen, geometry.grid.shown, CLASSES[set_class].bend * height / 100)
    return _plan(chosen, {"": split.error(smooth)} if whole else {}, tolerance, _unit(placed), parts)


def advise_convergence(
    convergence: Convergence, set_class: SetClass = SetClass.BROADCAST, own: Sequence[int] = ()
) -> Plan:
    """What to adjust of red's and blue's place against green's; `own` is as in `advise`."""
    placed, shown = convergence.grid.placed, convergence.grid.shown
    tolerance = CLASSES[set_class].convergence
    if convergence.height is None:
        return Plan(corrections=(), unit=_unit(placed), tolerance=tolerance, reason=convergence.reasons["parts"])
    u, v = (axis.ravel() for axis in np.meshgrid(shown.u, shown.v))
    parts: list[Part] = []
    for gun, smooth in convergence.maps.items():
        amounts = moved_by_controls(shown, smooth, smooth.coefficients[None])
        changes = moved_by_controls(shown, smooth, smooth.causes)
        for (control, amount), (_, change) in zip(amounts, changes, strict=True):
            axis, term = control.terms[0]
            i, j = POWERS[TERMS.index(term)]
            field = np.zeros((len(u), 2))
            field[:, "xy".index(axis)] = amount[0] * u**i * v**j
            repeat = float(np.linalg.norm(change[smooth.own(own)]))
            # What only scales an amount says nothing of which way to turn.
            clear = float(np.linalg.norm(np.delete(change, convergence.scaling)))
            spread = float(np.linalg.norm(change))
            parts.append(Part(control, field, float(amount[0]), spread, repeat, gun=gun, clear=clear))
    inside = zones(u, v, convergence.picture_aspect)["centre"]
    parts = [_measured(part, inside, convergence.height, tolerance, _unit(placed)) for part in parts]
    errors = {gun: smooth.at(u, v) for gun, smooth in convergence.maps.items()}
    chosen: list[Part] = []
    for gun, error in errors.items():
        of_gun = [part for part in parts if part.gun == gun]
        some = [part for part in of_gun if _matters(part)]
        if not some and _used(error, inside, convergence.height, tolerance) > _ROOM:
            # Ten parts, each of them small, may add up to more than a good set may be off.
            some = [part for part in of_gun if _matters(part, _SMALL)]
        chosen += some
    return _plan(chosen, errors, tolerance, _unit(placed), parts)


def _unit(placed: bool) -> str:
    """Of places on the glass, with and without marks."""
    return "mm" if placed else _OF_HEIGHT


@dataclass(frozen=True, eq=False)
class Part:
    """What one control moves of the error that is there."""

    control: Control
    field: Floats
    """(points, 2)."""
    amount: float
    """Positive where the control's `more` is seen; in `unit`."""
    uncertainty: float
    repeat: float
    """Standard uncertainty against another photograph by the same camera from the same place, in the same unit."""
    unit: str = ""
    gun: str = ""
    clear: float | None = None
    """The uncertainty of which way to turn, where that is another."""
    enough: float = 0.0
    """Amount up to which it is left alone, by the tolerance of the set's class."""
    state: float | None = None
    """What a control changes, where that is not the amount: the height of a picture that may be as tall as it is."""

    @property
    def id(self) -> str:
        """'side-pincushion', 'red-static-h'."""
        return f"{self.gun}-{self.control.id}" if self.gun else self.control.id


@dataclass(frozen=True, eq=False, kw_only=True)
class _Split:
    """How a map of the picture is taken apart into what controls move, at all nodes of the grid."""

    u: Floats
    v: Floats
    basis: Floats
    """(points, terms)."""
    affine: Floats
    """(3, terms): the affine fit."""
    main: Floats
    """(10, terms): the fit of the ten terms."""
    bent: Floats
    """(points, 10): the ten terms, those above the first three without their own affine fits."""
    aspect: float
    wanted: tuple[float, float] | None

    @classmethod
    def of(cls, smooth: Smooth, shown: ShownGrid, aspect: float, wanted: tuple[float, float] | None) -> _Split:
        u, v = (axis.ravel() for axis in np.meshgrid(shown.u, shown.v))
        bent = monomials(u, v, POWERS)
        bent[:, 3:] -= bent[:, :3] @ projection(shown, POWERS, POWERS[:3])[:, 3:]
        return cls(
            u=u,
            v=v,
            basis=smooth.basis(u, v),
            affine=projection(shown, smooth.powers, POWERS[:3]),
            main=projection(shown, smooth.powers, POWERS),
            bent=bent,
            aspect=aspect,
            wanted=wanted,
        )

    def sizes(self, maps: Floats) -> tuple[Floats, Floats]:
        """Width and height, (maps,) each, of coefficients (maps, 2, terms)."""
        fit = maps @ self.affine.T
        return 2 * np.hypot(fit[:, 0, 1], fit[:, 1, 1]), 2 * np.hypot(fit[:, 0, 2], fit[:, 1, 2])

    def targets(self, maps: Floats) -> tuple[Floats, Floats]:
        """Width and height that the picture should have."""
        _, height = self.sizes(maps)
        if self.wanted is None:
            return height * self.aspect, height
        return np.full_like(height, self.wanted[0]), np.full_like(height, self.wanted[1])

    def error(self, smooth: Smooth) -> Floats:
        """(points, 2): where the map puts points, less where they should be."""
        width, height = self.targets(smooth.coefficients[None])
        return self.basis @ smooth.coefficients.T - np.column_stack([self.u * width / 2, self.v * height / 2])

    def coefficients(self, maps: Floats) -> dict[str, Floats]:
        """(maps, terms) of every control by its id: those of the error, once the picture is turned upright."""
        fit = maps @ self.affine.T
        upright, straight = _turned_back(maps @ self.main.T, fit), _turned_back(fit, fit)
        found = {
            control.id: np.stack([upright[:, "xy".index(axis), TERMS.index(term)] for axis, term in control.terms], 1)
            for control in GEOMETRY_CONTROLS
        }
        (width, height), (wide, tall) = self.sizes(maps), self.targets(maps)
        return found | {
            "h-centre": fit[:, 0, :1],
            "v-centre": fit[:, 1, :1],
            "rotation": fit[:, 1, 1:2],
            "h-size": (width - wide)[:, None] / 2,
            "v-size": (height - tall)[:, None] / 2,
            "parallelogram": straight[:, 0, 2:],
        }

    def parts(self, smooth: Smooth, own_causes: Sequence[int] = ()) -> list[Part]:
        """What each control moves."""
        own, causes = smooth.coefficients[None], smooth.causes
        width, height = (float(size[0]) for size in self.sizes(own))
        found = self.coefficients(np.concatenate([own, own + causes, own - causes]))
        parts: list[Part] = []
        for control in GEOMETRY_CONTROLS:
            values = found[control.id]
            changes = (values[1 : len(causes) + 1] - values[len(causes) + 1 :]) / 2
            uncertainty, repeat = (float(np.linalg.norm(some)) for some in (changes, changes[smooth.own(own_causes)]))
            field = np.zeros((len(self.u), 2))
            for (axis, term), value in zip(control.terms, values[0], strict=True):
                field[:, "xy".index(axis)] += value * self.bent[:, TERMS.index(term)]
            if control.id == "rotation":
                field = self._turned(own)
            amount = float(values[0, 0]) if len(control.terms) == 1 else float(np.hypot(*field.T).max())
            half = {"width": width / 2, "height": height / 2}.get(control.of_half, 100.0)
            share = control.factor * 100 / half
            unit = "%" if control.of_half else ""
            parts.append(Part(control, field, share * amount, share * uncertainty, share * repeat, unit))
            if control.id == "v-size" and self.wanted is None:
                heights = self.sizes(np.concatenate([own, own + causes]))[1]
                repeat = float(np.linalg.norm((heights[1:] - heights[0])[smooth.own(own_causes)]))
                parts[-1] = replace(parts[-1], repeat=repeat, state=float(heights[0]))
        return parts

    def _turned(self, own: Floats) -> Floats:
        """(points, 2): how far points lie from where they would be if the picture were turned upright."""
        fit = own @ self.affine.T
        places = own @ self.basis.T - fit[:, :, :1]
        return np.asarray((places - _turned_back(places, fit))[0].T)


def _turned_back(vectors: Floats, fit: Floats) -> Floats:
    """Vectors (maps, 2, any) turned as the u axes of affine maps (maps, 2, 3) are when they are made level."""
    length = np.hypot(fit[:, 0, 1], fit[:, 1, 1])[:, None]
    cos, sin = fit[:, 0, 1:2] / length, fit[:, 1, 1:2] / length
    x, y = vectors[:, 0], vectors[:, 1]
    return np.stack([cos * x + sin * y, cos * y - sin * x], axis=1)


def _measured(part: Part, inside: Bools, height: float, tolerance: Tolerance, unit: str) -> Part:
    """A part with its unit, and the amount that uses up a good share of what a good set may be off."""
    used = _used(part.field, inside, height, tolerance)
    # What a control moves grows with its amount, but for a yoke's, which is one size of several terms.
    enough = abs(part.amount) * tolerance.share / used if used > 0 else 0.0
    if part.state is not None:
        # Of the whole height, of which each end moves by half.
        enough = 2 * tolerance.share * tolerance.outside / 100 * height
    return replace(part, unit=part.unit or unit, enough=enough)


def _matters(part: Part, share: float = 1.0) -> bool:
    """Whether a part is clear of its uncertainty, and uses up a good share of what a good set may be off."""
    clear = part.uncertainty if part.clear is None else part.clear
    return abs(part.amount) >= share * part.enough > 0 and abs(part.amount) >= _CLEAR * clear


def _used(field: Floats, inside: Bools, height: float, tolerance: Tolerance) -> float:
    """Which share of what a good set may be off vectors (points, 2) use up; `inside` are points in the centre."""
    size = np.hypot(field[:, 0], field[:, 1]) * 100 / height
    return float(max(size[inside].max(initial=0.0) / tolerance.centre, size.max() / tolerance.outside))


def _small_bends(parts: Sequence[Part], chosen: Sequence[Part], shown: ShownGrid, limit: float) -> list[Part]:
    """Parts that bend edges, each too small to be advised, where together they use up too much of `limit`.

    Pincushion and bow add up at one edge. Where one of such parts is advised, that one is turned first.
    """
    bends = {part.id: _edges_bent(part.field, shown) for part in parts}
    some = [part for part in parts if bends[part.id] > _BENDS * limit]
    together = _edges_bent(np.sum([part.field for part in some], axis=0), shown) if some else 0.0
    if together <= _ROOM * limit or any(part in chosen for part in some):
        return []
    return [part for part in some if _matters(part, _SMALL)]


def _edges_bent(field: Floats, shown: ShownGrid) -> float:
    """How far vectors (points, 2) move the middle of an edge from its ends, of the edge that is bent most."""
    x, y = np.moveaxis(field.reshape(len(shown.v), len(shown.u), 2), -1, 0)
    edges = (y[0], y[-1], x[:, 0], x[:, -1])
    return max(abs(float(edge[len(edge) // 2] - (edge[0] + edge[-1]) / 2)) for edge in edges)


def _plan(
    chosen: Sequence[Part], errors: Mapping[str, Floats], tolerance: Tolerance, unit: str, every: Sequence[Part]
) -> Plan:
    """Chosen parts in order, out of `every` one; `errors` are all that is wrong, of each gun, or none if not known."""
    left = {gun: field.copy() for gun, field in errors.items()}
    corrections = []
    for part in sorted(chosen, key=_turn):
        if left:
            left[part.gun] -= part.field
        corrections.append(
            Correction(
                control=part.control,
                gun=part.gun,
                amount=part.amount,
                uncertainty=part.uncertainty,
                unit=part.unit,
                effect=_rms([part.field]),
                remains=_rms(left.values()) if left else None,
            )
        )
    plan = Plan(corrections=tuple(corrections), unit=unit, tolerance=tolerance, parts=tuple(every))
    return replace(plan, before=_size(errors.values()), after=_size(left.values())) if errors else plan


def _turn(part: Part) -> tuple[int, int]:
    """When it is a part's turn: what disturbs the rest comes first."""
    for controls in (GEOMETRY_CONTROLS, CONVERGENCE_CONTROLS):
        if part.control in controls:
            return part.control.turn, controls.index(part.control)
    return 0, 0


def _size(fields: Iterable[Floats]) -> Size:
    every = list(fields)
    return Size(_rms(every), max(float(np.hypot(field[:, 0], field[:, 1]).max()) for field in every))


def _rms(fields: Iterable[Floats]) -> float:
    """Root mean square length of the vectors (points, 2) of all fields."""
    return float(np.sqrt(np.mean([np.mean((field**2).sum(axis=1)) for field in fields])))
