"""SIMULATION: photographs by number: `sixty` for how well figures are measured, `odd` for what must not be measured.

Every value is drawn from a seeded generator, so that a set is the same each time; the ranges are those that the
measurement has to bear (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from patterns.catalogue import find_pattern
from patterns.formats import Format, parse_aspect, parse_format
from patterns.pattern import Options
from patterns.scene import Scene
from tests.trials.photos.camera import Camera, distorted, framed
from tests.trials.photos.photograph import photograph
from tests.trials.photos.scene import Marks, Reflection, Shot
from tests.trials.photos.tube import TERMS, Mask, MaskKind, Terms, Tube, deflection, nodes_mm

__all__ = ["OddShot", "PhotoSet", "odd", "plain_set", "sixty"]

Image = NDArray[Any]
Rng = np.random.Generator

_FORMATS = (
    ("480i", None),
    ("576i", None),
    ("480i", None),
    ("576i", None),
    ("576i", "16:9"),
    ("480i", "16:9"),
    ("1080i59.94", None),
    ("1080i50", None),
)
_MEGAPIXELS = (6, 8, 10, 12, 12, 16, 20, 24)
_MASKS = (MaskKind.DOTS, MaskKind.SLOTS, MaskKind.STRIPES)
_LARGEST_SHIFT_MM = 0.5
_SHIFT_TERMS = {
    "1": 1.0,
    "u": 0.6,
    "v": 0.6,
    "uv": 0.5,
    "u2": 0.5,
    "v2": 0.5,
    "u3": 0.2,
    "uv2": 0.2,
    "u2v": 0.2,
    "v3": 0.2,
}
"""How large the parts of misconvergence are against each other: static, edges, twist, and what is left."""


@dataclass(frozen=True, kw_only=True)
class PhotoSet:
    """A tube with known errors, and the photograph of it."""

    name: str
    tube: Tube
    camera: Camera
    marks: Marks
    format_id: str = "576i"
    aspect: str | None = None
    pattern: str = "crosshatch"
    cells: tuple[int, int] | None = None
    colour: str | None = None
    """Of a plain field: a name that the pattern takes."""
    shot: Shot = field(default_factory=Shot)
    marks_apart: bool = False
    """The room is dark in the photograph; the marks are in a second one, with the light on."""
    seed: int = 0
    quality: int = 85
    """Of the JPEG that it is to be saved as."""

    @cached_property
    def format(self) -> Format:
        return parse_format(self.format_id, None if self.aspect is None else parse_aspect(self.aspect))

    @cached_property
    def scene(self) -> Scene:
        return find_pattern(self.pattern).scene(self.format, Options(cells=self.cells, colour=self.colour))

    def photograph(self) -> Image:
        """(height, width, 3) of red, green and blue."""
        shot = replace(self.shot, room=0.0) if self.marks_apart else self.shot
        return photograph(self.tube, self.camera, self.marks, self.format, self.scene, shot, seed=self.seed)

    def marks_photograph(self) -> Image:
        """The same with the light on and the tube dark."""
        shot = replace(self.shot, room=0.6, tube_lit=False)
        return photograph(self.tube, self.camera, self.marks, self.format, self.scene, shot, seed=self.seed + 1)

    def smaller(self, megapixels: float) -> PhotoSet:
        """The same photographed from the same place with fewer pixels: for quick looks and tests."""
        camera = self.camera
        size = _size(megapixels, camera.size[0] / camera.size[1])
        share = size[0] / camera.size[0]
        centre = camera.centre_px[0] * share, camera.centre_px[1] * share
        return replace(self, camera=replace(camera, size=size, focal_px=camera.focal_px * share, centre_px=centre))

    def marks_px(self) -> NDArray[np.float64]:
        """(4, 2): where green has the middles of the marks, by id."""
        return self.camera.project([self.marks.sheet(number)[0] for number in range(4)], 1)

    def mark_corners_px(self) -> NDArray[np.float64]:
        """(4, 4, 2): where green has the corners of the marks, by id."""
        corners = np.stack([self.marks.corners(number) for number in range(4)])
        return self.camera.project(corners.reshape(-1, 3), 1).reshape(4, 4, 2)

    def nodes_px(self) -> NDArray[np.float64]:
        """(3, rows, columns, 2): where each gun's nodes lie in the photograph."""
        nodes = self.nodes()
        corner = self.marks.corner
        seen = [self.camera.project(self.tube.bulge(nodes[gun], corner).reshape(-1, 3), gun) for gun in range(3)]
        return np.stack(seen).reshape(nodes.shape)

    def nodes(self) -> NDArray[np.float64]:
        """(3, rows, columns, 2): the truth, in mm."""
        return nodes_mm(self.tube, self.scene)


def plain_set(megapixels: float = 1.5, **changes: Any) -> PhotoSet:
    """A usual set, photographed nearly straight; `changes` are fields of `PhotoSet`, `Tube`, `Camera` and `Marks`."""

    def of(kind: type[Any]) -> dict[str, Any]:
        return {name: changes.pop(name) for name in tuple(changes) if name in kind.__dataclass_fields__}

    own = of(PhotoSet)
    tube = Tube(**of(Tube))
    marks = Marks(**of(Marks))
    size = _size(megapixels, 4 / 3)
    framing = {"focal_px": size[0] * 1.4, "tilt_deg": (3.0, -4.0), "roll_deg": 0.5, **of(Camera)}
    if changes:
        raise TypeError(f"unknown: {', '.join(changes)}")
    camera = framed(Camera(size=size, **framing), _reach(marks))
    return PhotoSet(**{"name": "plain", "tube": tube, "camera": camera, "marks": marks, **own})


def _size(megapixels: float, aspect: float) -> tuple[int, int]:
    height = int(round(float(np.sqrt(megapixels * 1e6 / aspect)) / 8) * 8)
    return int(round(height * aspect / 8) * 8), height


def _reach(marks: Marks) -> tuple[float, float]:
    x, y = marks.corner
    return x + marks.reach, y + marks.reach


def sixty(count: int = 60, seed: int = 5) -> list[PhotoSet]:
    """At least 60 sets over the whole range of what is to be measured."""
    return [_drawn(number, np.random.default_rng((seed, number))) for number in range(count)]


def _drawn(number: int, rng: Rng) -> PhotoSet:
    format_id, aspect = _FORMATS[number % len(_FORMATS)]
    kind = _MASKS[number % len(_MASKS)]
    megapixels = _MEGAPIXELS[int(rng.permutation(len(_MEGAPIXELS))[0])]
    fmt = parse_format(format_id, None if aspect is None else parse_aspect(aspect))
    height = float(rng.uniform(230, 500))
    tube = _tube(rng, height, float(fmt.picture_aspect), kind)
    marks = _marks(rng, tube)
    camera = _camera(rng, megapixels, marks)
    shot = Shot(
        exposure=float(rng.uniform(0.7, 0.95)),
        room=float(rng.uniform(0.15, 0.4)),
        room_slope=(float(rng.uniform(-0.4, 0.4)), float(rng.uniform(-0.4, 0.4))),
        white_balance=(float(rng.uniform(0.85, 1.15)), 1.0, float(rng.uniform(0.85, 1.15))),
    )
    return PhotoSet(
        name=f"{number:02d} {format_id} {aspect or ''} {height:.0f} mm {kind} {megapixels} MP".replace("  ", " "),
        tube=tube,
        camera=camera,
        marks=marks,
        format_id=format_id,
        aspect=aspect,
        shot=shot,
        marks_apart=number % 4 == 3,
        seed=number,
    )


def _tube(rng: Rng, height: float, aspect: float, kind: MaskKind) -> Tube:
    width = height * aspect * float(rng.uniform(0.97, 1.03))

    def part(share: float) -> float:
        """Millimetres: a normal value of that share of the picture's height, cut at twice it."""
        return float(np.clip(rng.normal(0, share), -2 * share, 2 * share)) * height

    # Shares are against half the height or width: 0.005 of the height moves an edge by one percent.
    x = {
        "u2": part(0.004),
        "v2": part(0.003),
        "uv": part(0.004),
        "u3": part(0.004),
        "uv2": part(0.006),
        "u2v": part(0.002),
    }
    y = {
        "u2": part(0.003),
        "v2": part(0.004),
        "uv": part(0.004),
        "v3": part(0.004),
        "u2v": part(0.006),
        "uv2": part(0.002),
    }
    centre = part(0.006), part(0.006)
    share = rng.uniform(0.015, 0.05, 4)
    left, right = (-width / 2 * (1 - 2 * share[0]), width / 2 * (1 - 2 * share[1]))
    top, bottom = (-height / 2 * (1 - 2 * share[2]), height / 2 * (1 - 2 * share[3]))
    middle = (left + right) / 2, (top + bottom) / 2
    spot = float(np.interp(height, (230, 500), (0.20, 0.42)) * rng.uniform(0.95, 1.1))
    return Tube(
        deflection=deflection(
            width,
            height,
            centre=(centre[0] - middle[0], centre[1] - middle[1]),
            rotation_deg=float(rng.uniform(-1, 1)),
            parallelogram_deg=float(rng.uniform(-0.6, 0.6)),
            x=x,
            y=y,
        ),
        red=_shift(rng),
        blue=_shift(rng),
        glass_mm=(left - middle[0], top - middle[1], right - middle[0], bottom - middle[1]),
        corner_mm=float(rng.uniform(0.02, 0.06)) * height,
        glass_radius_mm=None if rng.random() < 0.4 else float(rng.uniform(2.5, 8)) * height,
        spot_mm=(spot * 1.05, spot, spot * 1.1),
        mask=Mask(kind=kind, pitch_mm=float(rng.uniform(0.22, 0.30)), turn_deg=float(rng.uniform(-0.3, 0.3))),
        pairing=float(rng.uniform(-0.15, 0.15)),
        falloff=float(rng.uniform(0.1, 0.3)),
        balance=(float(rng.uniform(0.85, 1)), 1.0, float(rng.uniform(0.85, 1))),
    )


def _shift(rng: Rng) -> Terms:
    """A field of misconvergence whose largest length in the picture is up to half a millimetre."""
    rows = rng.normal(size=(2, len(TERMS))) * [_SHIFT_TERMS[name] for name in TERMS]
    u, v = np.meshgrid(np.linspace(-1, 1, 21), np.linspace(-1, 1, 21))
    trial = Tube(deflection=(tuple(rows[0]), tuple(rows[1])))
    rows *= rng.uniform(0.1, 1) * _LARGEST_SHIFT_MM / np.hypot(*np.moveaxis(trial.places(u, v, 1), -1, 0)).max()
    return tuple(float(value) for value in rows[0]), tuple(float(value) for value in rows[1])


def _marks(rng: Rng, tube: Tube) -> Marks:
    """Paper off the glass's corners or beside them, in whole millimetres as one would measure them."""
    left, top, right, bottom = tube.glass_mm
    side = 30.0
    beyond = side / 2 + 7.5 + rng.uniform(8, 25, 2)
    down = side if rng.random() < 0.5 else 0.0
    return Marks(
        width_mm=float(round(2 * (max(-left, right) + beyond[0]))),
        height_mm=float(round(2 * (max(-top, bottom) - down + beyond[1]))),
        side_mm=side,
    )


def _camera(rng: Rng, megapixels: float, marks: Marks) -> Camera:
    size = _size(megapixels, 4 / 3 if rng.random() < 0.5 else 3 / 2)
    tilt, way = float(rng.uniform(0, 15)), float(rng.uniform(0, 2 * np.pi))
    camera = Camera(
        size=size,
        focal_px=size[0] * float(rng.uniform(0.9, 2.0)),
        centre_px=(float(rng.uniform(-0.006, 0.006)) * size[0], float(rng.uniform(-0.006, 0.006)) * size[0]),
        chromatic=tuple((float(rng.uniform(-3e-4, 3e-4)), float(rng.uniform(-4e-4, 4e-4))) for _ in range(2)),  # type: ignore[arg-type]
        tilt_deg=(tilt * float(np.cos(way)), tilt * float(np.sin(way))),
        roll_deg=float(rng.uniform(-2, 2)),
        aim_mm=(float(rng.uniform(-8, 8)), float(rng.uniform(-8, 8))),
        blur_px=float(rng.uniform(0.5, 1.1)),
        full_well=float(rng.uniform(5000, 30000)),
        read_noise=float(rng.uniform(3, 12)),
    )
    percent, skew = float(rng.uniform(-3, 3)), float(rng.uniform(-3e-4, 3e-4))
    return framed(distorted(camera, percent, skew=skew), _reach(marks), float(rng.uniform(0.90, 0.97)))


@dataclass(frozen=True, kw_only=True)
class OddShot:
    """A photograph with something odd about it."""

    name: str
    of: PhotoSet
    change: Callable[[Image], Image] = lambda image: image
    measurable: bool = False
    """Whether right figures can be had from it; else one clear line is wanted."""

    def photograph(self) -> Image:
        return np.ascontiguousarray(self.change(self.of.photograph()))


def odd(megapixels: float = 3.0) -> list[OddShot]:
    """Shots that must give one clear line, or right figures, never wrong ones."""
    usual = plain_set(megapixels, format_id="576i", quality=90)
    dots = replace(usual, pattern="dots")
    tube, camera, shot = usual.tube, usual.camera, usual.shot
    cell = 400 / 16, 300 / 12
    some = [(2, 1), (5, 4), (8, 6), (11, 9), (3, 7)]
    gone = tuple(((i - 8) * cell[0], (j - 6) * cell[1], 6.0) for i, j in some)
    window = Reflection(x_mm=90, y_mm=-50, half_mm=(45, 60), light=(0.5, 0.55, 0.6))
    lamp = Reflection(x_mm=-70, y_mm=30, half_mm=(6, 6), soft_mm=3, light=(3.0, 2.8, 2.4))
    return [
        OddShot(name="blurred", of=replace(usual, camera=replace(camera, blur_px=14.0))),
        OddShot(name="a scene of something else", of=usual, change=_something_else),
        OddShot(name="bars", of=replace(usual, pattern="bars")),
        OddShot(name="plain white", of=replace(usual, pattern="field")),
        OddShot(name="another grid than asked for", of=replace(usual, cells=(12, 9))),
        OddShot(name="one mark covered", of=replace(usual, marks=replace(usual.marks, hidden=(2,)))),
        OddShot(name="no marks", of=replace(usual, marks=replace(usual.marks, hidden=(0, 1, 2, 3)))),
        OddShot(name="turned by 90", of=usual, change=lambda image: np.rot90(image, 1)),
        OddShot(name="turned by 180", of=usual, change=lambda image: np.rot90(image, 2)),
        OddShot(name="mirrored", of=usual, change=lambda image: image[:, ::-1]),
        OddShot(name="clipped highlights", of=replace(usual, shot=replace(shot, exposure=3.0)), measurable=True),
        OddShot(name="dim", of=replace(usual, shot=replace(shot, exposure=0.08, room=0.05)), measurable=True),
        OddShot(
            name="a window's reflection", of=replace(usual, shot=replace(shot, reflections=(window,))), measurable=True
        ),
        OddShot(
            name="a lamp's reflection", of=replace(usual, shot=replace(shot, reflections=(lamp,))), measurable=True
        ),
        OddShot(name="dots", of=dots, measurable=True),
        OddShot(name="missing dots", of=replace(dots, shot=replace(shot, covered=gone)), measurable=True),
        OddShot(
            name="underscan", of=replace(usual, tube=replace(tube, deflection=deflection(364, 274))), measurable=True
        ),
        OddShot(
            name="strong overscan",
            of=replace(usual, tube=replace(tube, deflection=deflection(450, 337))),
            measurable=True,
        ),
        OddShot(name="one gun missing", of=replace(usual, tube=replace(tube, balance=(1.0, 1.0, 0.0)))),
        OddShot(name="part of the glass cut off", of=usual, change=lambda image: image[:, image.shape[1] // 4 :]),
        OddShot(name="moved while exposed", of=usual, change=_shaken),
    ]


def _something_else(image: Image) -> Image:
    """A scene as a photograph may be: noise that is stronger the coarser it is, and shapes with edges, in colour."""
    height, width = image.shape[:2]
    rng = np.random.default_rng(3)
    scene = np.zeros((height, width, 3), np.float32)
    for step in (4, 16, 64, 256):
        small = rng.standard_normal((height // step + 2, width // step + 2, 3)).astype(np.float32)
        scene += cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC) * np.float32(step**0.5)
    codes = np.clip(110 + 5 * scene, 0, 255).astype(np.uint8)
    for _ in range(40):
        x, y, w, h = (int(value) for value in rng.uniform(0, 1, 4) * [width, height, width / 4, height / 4])
        colour = tuple(int(value) for value in rng.integers(20, 235, 3))
        cv2.rectangle(codes, (x, y), (x + w, y + h), colour, -1 if rng.random() < 0.5 else 5)
    return codes


def _shaken(image: Image) -> Image:
    length = max(5, image.shape[1] // 90)
    return np.asarray(cv2.blur(image, (length, 1)), np.uint8)
