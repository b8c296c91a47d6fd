"""SIMULATION: sets as a bench has them, where nobody knows the glass, the lens or how exactly the marks were placed.

Every value is drawn from what is usual (common practice, no source): the picture 15 ± 10 mm behind the marks, a face
from flat to a radius of 0.6 m, spheres three times as often as cylinders, 0.5 % of distortion (1 % of a short lens),
4e-4 of lateral colour, marks placed to 0.3 mm and printed to 0.3 %, a focal length that is noted in most files, and
that a digital zoom makes wrong in one of ten.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from tests.trials.photos.camera import Camera, distorted, framed
from tests.trials.photos.sets import PhotoSet, sixty

__all__ = ["UsualSet", "usual"]

Rng = np.random.Generator

_FILM_DIAGONAL_MM = float(np.hypot(36, 24))


@dataclass(frozen=True, kw_only=True)
class UsualSet:
    """A set with what its user types and what its file notes."""

    of: PhotoSet
    typed_mm: tuple[float, float]
    """The marks' distances as they were read off a ruler, in whole mm."""
    noted_focal_px: float | None
    noise_px: float = 0.03


def usual(count: int, seed: int = 11) -> list[UsualSet]:
    """Sets by number, the same each time."""
    return [_drawn(one, np.random.default_rng((seed, number))) for number, one in enumerate(sixty(count, seed=seed))]


def _drawn(one: PhotoSet, rng: Rng) -> UsualSet:
    curvature = float(rng.uniform(0, 1 / 600))
    tube = replace(
        one.tube,
        glass_radius_mm=None if curvature < 1e-5 else 1 / curvature,
        is_cylinder=bool(rng.random() < 0.25),
        depth_mm=float(np.clip(rng.normal(15, 10), 0, 40)),
    )
    while tube.glass_radius_mm is not None and tube.glass_radius_mm < 1.15 * np.hypot(*one.marks.corner):
        tube = replace(tube, glass_radius_mm=tube.glass_radius_mm * 1.2)
    marks = replace(
        one.marks,
        moved_mm=tuple((float(rng.normal(0, 0.3)), float(rng.normal(0, 0.3)), 0.0) for _ in range(4)),
        lean_deg=tuple(
            (float(rng.normal(0, 0.4)), float(rng.normal(0, 0.4)), float(rng.normal(0, 1))) for _ in range(4)
        ),
        print_scale=(1 + float(rng.normal(0, 0.003)),) * 2,
    )
    camera = _camera(one.camera, marks.corner, marks.reach, rng)
    places = np.array([marks.sheet(number)[0][:2] for number in range(4)])
    wide = (places[1] - places[0] + places[2] - places[3])[0] / 2
    high = (places[2] - places[1] + places[3] - places[0])[1] / 2
    noted = None if rng.random() < 0.3 else camera.focal_px * float(rng.normal(1, 0.01))
    if noted is not None and rng.random() < 0.1:
        noted /= float(rng.uniform(1.3, 2.5))
    return UsualSet(
        of=replace(one, tube=tube, marks=marks, camera=camera),
        typed_mm=(float(round(wide)), float(round(high))),
        noted_focal_px=noted,
    )


def _camera(camera: Camera, corner: tuple[float, float], reach: float, rng: Rng) -> Camera:
    """A camera whose lens nobody calibrated."""
    film = float(np.exp(rng.uniform(np.log(26), np.log(85))))
    focal = film / _FILM_DIAGONAL_MM * float(np.hypot(*camera.size))
    amount = 1.0 if film < 35 else 0.5
    share = np.array([rng.normal(0, 4e-4 / np.sqrt(2), 2) for _ in range(2)])
    plain = replace(
        camera,
        focal_px=focal,
        distortion=(0.0,) * 5,
        chromatic=((float(share[0, 0]), float(share[0, 1])), (float(share[1, 0]), float(share[1, 1]))),
    )
    bent = distorted(plain, float(rng.normal(0, amount)), skew=float(rng.normal(0, 2e-4)))
    return framed(bent, (corner[0] + reach, corner[1] + reach), float(rng.uniform(0.85, 0.95)))


def noisy(pixels: NDArray[np.float64], noise: float, rng: Rng) -> NDArray[np.float64]:
    """Pixels as they are measured."""
    return np.asarray(pixels + rng.normal(0, noise, pixels.shape))
