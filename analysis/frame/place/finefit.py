"""Scale and place of a raster in a frame, by least squares on the slopes of mean profiles."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from analysis.frame.place.axes import Axis
from analysis.frame.place.profiles import Profile

__all__ = ["level_fit", "refine"]

Floats = NDArray[np.float64]

_FLAT = 0.004
"""A profile whose slopes stay below this, in fractions of white per sample, has no edge to go by."""
_FAINT = 0.02
"""Share of the sharpest edge's part that an edge has at least."""
_NO_EDGE = 0.03
"""Contrast below which an edge is not there at all: noise has as much."""
_ARM = 0.02
"""How far apart, as a share of the raster, edges lie at least to tell a scale: the root mean square distance."""


def refine(captured: Floats, reference: Floats, axis: Axis) -> Axis:
    """Scale and offset by least squares on the slopes; where no edge tells both, `axis` as it is.

    Linear in everything but the place, so each step solves for all at once: for each band the contrast and the
    blur; for all bands the place and the scale.
    """
    profile = Profile(reference)
    scale, offset = axis.scale, axis.offset
    fitted = None
    # First with wide edges, which are found from farther off; then with their own.
    for wide in (True, False):
        view = _View.of(captured, axis, wide)
        for _ in range(10 if view is not None else 0):
            assert view is not None
            fitted = _step(view, profile, scale, offset)
            if fitted is None:
                break
            move_offset, move_scale = fitted.moves
            limit = 1.5 * max(1.0, scale)
            largest = max(abs(move_offset), abs(move_offset + move_scale * axis.raster), 1e-12)
            damp = min(1.0, limit / largest)
            offset, scale = offset + damp * move_offset, scale + damp * move_scale
            if not 0.5 < scale / axis.nominal < 2:
                fitted = None
                break
            if largest < (0.05 if wide else 1e-3):
                break
        if fitted is None:
            break
    if fitted is None or fitted.contrast < _NO_EDGE:
        return replace(axis, found=False, fit=level_fit(captured, profile, axis))
    found = replace(
        axis,
        scale=scale,
        offset=offset,
        scale_error=float(np.sqrt(fitted.covariance[1, 1])),
        offset_error=float(np.sqrt(fitted.covariance[0, 0])),
        covariance=float(fitted.covariance[0, 1]),
        found=True,
        softness=fitted.softness,
    )
    return replace(found, fit=level_fit(captured, profile, found))


def level_fit(captured: Floats, profile: Profile, axis: Axis) -> float:
    """Share of the profiles' changes that the drawn ones account for, each band with its own contrast and black.

    A frame's first and last samples are left out: what lies beyond them is a converter's guess.
    """
    ends = _ends(axis)
    drawn = profile.at(_places(axis.frame, axis.scale, axis.offset), 1 / axis.scale)[:, ends]
    seen = captured[:, ends]
    left = total = 0.0
    for own, wanted in zip(seen, drawn, strict=True):
        own, wanted = own - own.mean(), wanted - wanted.mean()
        contrast = float(own @ wanted) / max(float(wanted @ wanted), 1e-9)
        left += float(np.sum((own - max(contrast, 0.0) * wanted) ** 2))
        total += float(own @ own)
    # Two flat profiles are alike, whatever little noise they have.
    return 1 - left / (total + 0.02**2 * seen.size)


def _places(count: int, scale: float, offset: float) -> Floats:
    """Raster positions of a frame's sample centres."""
    places: Floats = (np.arange(count, dtype=np.float64) + 0.5 - offset) / scale
    return places


def _ends(axis: Axis) -> slice:
    margin = min(axis.frame // 8, int(np.ceil(3 * max(axis.scale, 1.0))))
    return slice(margin, axis.frame - margin)


@dataclass(frozen=True, slots=True)
class _View:
    """The captured side of the fit: slopes of smoothed profiles, away from the frame's own ends."""

    slopes: Floats
    kernel: Floats
    """What both sides are smoothed with: as long as an edge, so that noise finer than any edge does not count."""
    inside: slice
    count: int
    wide: bool

    @classmethod
    def of(cls, captured: Floats, axis: Axis, wide: bool) -> _View | None:
        length = max(1, round((4.0 if wide else 1.5) * max(axis.scale, 1.0)))
        box = np.ones(length) / length
        kernel = np.convolve(np.convolve(box, box), box)
        margin = _ends(axis).start + len(kernel) // 2
        if axis.frame < 4 * margin + 8:
            return None
        view = cls(np.empty(0), kernel, slice(margin, axis.frame - 1 - margin), axis.frame, wide)
        return replace(view, slopes=view.seen(captured))

    def seen(self, profiles: Floats) -> Floats:
        smooth = np.array([np.convolve(row, self.kernel, mode="same") for row in profiles])
        slopes: Floats = np.diff(smooth, axis=1)[:, self.inside]
        return slopes


@dataclass(frozen=True, slots=True)
class _Fit:
    moves: tuple[float, float]
    covariance: Floats
    softness: float
    contrast: float
    """Of the captured edges against the drawn ones."""


def _step(view: _View, profile: Profile, scale: float, offset: float) -> _Fit | None:
    """One step of the fit. None where the edges in view do not show both place and scale."""

    def means(shift: float) -> Floats:
        return profile.at(_places(view.count, scale, offset - shift), 1 / scale)

    here = means(0.0)
    drawn = view.seen(here)
    if float(np.max(np.abs(drawn))) < _FLAT:
        return None
    # Moving the raster by d changes a sample by -d times its slope.
    slope = view.seen(means(-0.5) - means(0.5))
    # Where a gradient begins is no edge: it moves with every change of contrast.
    steep = np.where(np.abs(slope) < _FAINT * float(np.max(np.abs(slope))), 0.0, slope)
    reach = max(1.0, scale)
    steps = () if view.wide else (reach, 2 * reach)
    softened = [view.seen(means(step) - 2 * here + means(-step)) for step in steps]
    along = (np.arange(1, view.count, dtype=np.float64)[view.inside] - offset) / scale
    middle = float(along.mean())
    bands = [
        _Band.of(view.slopes[i], drawn[i], steep[i], [soft[i] for soft in softened], along - middle)
        for i in range(len(drawn))
        if float(np.sum(drawn[i] ** 2)) >= _FLAT**2
    ]
    normal = sum((band.moving.T @ band.moving for band in bands), np.zeros((2, 2)))
    # Both are shown when the edges' own spread is a fair part of the frame.
    if normal[0, 0] < 1e-9:
        return None
    arm = normal[1, 1] / normal[0, 0] - (normal[0, 1] / normal[0, 0]) ** 2
    if arm < (_ARM * profile.size) ** 2:
        return None
    inverse = np.linalg.inv(normal)
    place, grown = inverse @ sum((band.moving.T @ band.rest for band in bands), np.zeros(2))
    spread = sum((_spread(band.moving, band.rest, len(view.kernel)) for band in bands), np.zeros((2, 2)))
    # From the middle of the view to the raster's beginning.
    turn = np.array([[1.0, -middle], [0.0, 1.0]])
    weights = [abs(band.contrast) * band.power for band in bands]
    blur = reach**2 * float(np.average([band.blur for band in bands], weights=weights))
    return _Fit(
        moves=(float(place - grown * middle), float(grown)),
        covariance=turn @ inverse @ spread @ inverse @ turn.T,
        softness=float(np.sqrt(max(0.0, 2 * blur))),
        contrast=sum(weights) / sum(band.power for band in bands),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Band:
    """One band's part in a step: what is left of it when contrast, ground and softness are fitted."""

    power: float
    """Sum of the drawn slopes' squares."""
    contrast: float
    blur: float
    """Amount of softening, in squares of the step that it was tried with."""
    moving: Floats
    """(samples, 2): what a change of place, and of scale about the view's middle, adds to the slopes."""
    rest: Floats
    """(samples,): the seen slopes that are not accounted for."""

    @classmethod
    def of(cls, seen: Floats, drawn: Floats, steep: Floats, softened: list[Floats], arm: Floats) -> _Band:
        """Every array is (samples,); `arm` is the distance from the view's middle, in raster samples."""
        own = np.stack([drawn, np.ones_like(arm), *softened], axis=1)
        basis, _ = np.linalg.qr(own)
        amounts = np.linalg.lstsq(own, seen, rcond=1e-9)[0]
        contrast = float(amounts[0])
        # The symmetric terms are projected out; what is left shows the place.
        moving = np.stack([steep, steep * arm], axis=1) * contrast
        return cls(
            power=float(np.sum(drawn**2)),
            contrast=contrast,
            blur=float(amounts[2] + 4 * amounts[3]) / contrast if softened and contrast else 0.0,
            moving=moving - basis @ (basis.T @ moving),
            rest=seen - basis @ (basis.T @ seen),
        )


def _spread(moving: Floats, rest: Floats, reach: int) -> Floats:
    """Covariance of the fit's right side, from what it leaves: neighbours are alike, since they share samples."""
    total = np.zeros((2, 2))
    for lag in range(reach + 1):
        likeness = float(np.mean(rest[lag:] * rest[: len(rest) - lag]))
        part = moving[lag:].T @ moving[: len(moving) - lag] * likeness
        total += part if lag == 0 else part + part.T
    # A sum of lags that is cut short may fall below what independent samples have, in any direction.
    alone = moving.T @ moving * float(np.mean(rest**2))
    return total if np.all(np.linalg.eigvalsh(total - 0.05 * alone) > 0) else alone
