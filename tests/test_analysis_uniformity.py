"""Plain fields photographed: fall-off, colour, blotches, and what is refused. The photographs are SIMULATED here."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import colour
import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image

from analysis.answer import SERVICE
from analysis.photo.file import Photo, read_photo
from analysis.uniformity.answer import uniformity_answer
from analysis.uniformity.limits import limits
from analysis.uniformity.map import chromaticity, colour_word
from analysis.uniformity.measure import Extreme, Field, Uniformity, measure_uniformity
from render.errors import FileError
from tests.answers import numbers_without_a_quantity
from tests.command import call
from tests.matrix import rest_is_slow
from tests.trials.photos.board import flat_field
from tests.trials.photos.sets import plain_set
from tests.trials.photos.tube import Blotch as TubeBlotch
from tests.trials.photos.tube import Mask, MaskKind
from trueraster.output.json import answer_json, quantities_in
from trueraster.output.page import answer_page
from trueraster.output.text import answer_text

Floats = NDArray[np.float64]
Reals = NDArray[np.floating[Any]]

# A usual 4:3 face, seen a little from the left and above.
CORNERS = ((0.17, 0.14), (0.86, 0.17), (0.84, 0.87), (0.19, 0.84))
TRIADS = 210


@dataclass(frozen=True, kw_only=True)
class Spot:
    """A disc of other light: (u, v), its diameter as a share of the picture's height, factors of its channels."""

    u: float
    v: float
    diameter: float
    factors: tuple[float, float, float]


@dataclass(frozen=True, kw_only=True)
class View:
    """One simulated photograph of a plain field."""

    light: tuple[float, float, float] = (0.28, 0.3, 0.35)
    fall_off: float = 0.24
    """To the corners, growing with the square of the distance."""
    tint: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Relative change of each channel from left to right."""
    spots: tuple[Spot, ...] = ()
    size: tuple[int, int] = (1200, 900)
    corners: tuple[tuple[float, float], ...] = CORNERS
    vignetting: float = 0.45
    """Tangent of half the field of view: light falls with the cosine's fourth power."""
    shading: tuple[float, float, float] = (0.0, 0.0, 0.0)
    room: float = 0.0
    bezel: float = 0.004
    noise: float = 0.01
    structure: float = 0.5
    """Depth of scan lines and mask."""
    lines: int = 288
    quality: int | None = 90
    seed: int = 1

    @property
    def square_corners(self) -> Floats:
        """(4, 2): the visible area's corners in pixels."""
        return np.asarray(np.array(self.corners) * self.size - 0.5, np.float64)

    @property
    def square(self) -> Floats:
        """(3, 3): from (u, v) to pixels."""
        source = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], np.float32)
        return np.asarray(cv2.getPerspectiveTransform(source, self.square_corners.astype(np.float32)), np.float64)

    def tube(self, u: Reals, v: Reals) -> Reals:
        """(..., 3): the tube's light, without its lines and mask."""
        light = (1 - self.fall_off * (u**2 + v**2) / 2)[..., None] * np.array(self.light, np.float32)
        light = light * (1 + np.array(self.tint, np.float32) * (u[..., None] + 1) / 2)
        for spot in self.spots:
            inside = np.hypot((u - spot.u) * 4 / 3, v - spot.v) < spot.diameter
            light = light * np.where(inside[..., None], np.array(spot.factors, np.float32), np.float32(1))
        return light

    def zone(self, row: int, column: int) -> Floats:
        """(3,): the mean light of a zone, by sums over many points."""
        steps = (np.arange(200) + 0.5) / 200 * 0.4
        u, v = np.meshgrid(-1 + 0.4 * column + steps, -1 + 0.4 * row + steps)
        return np.asarray(self.tube(u, v).mean(axis=(0, 1)), np.float64)


def pixels(view: View) -> tuple[Reals, Reals]:
    """x and y of every pixel, each (rows, columns)."""
    width, height = view.size
    x, y = np.meshgrid(np.arange(width, dtype=np.float32), np.arange(height, dtype=np.float32))
    return x, y


def camera_loss(view: View) -> Reals:
    """(rows, columns, 3): what the lens and the sensor keep."""
    x, y = pixels(view)
    half = [side / 2 for side in view.size]
    square = ((x - half[0]) ** 2 + (y - half[1]) ** 2) / (half[0] ** 2 + half[1] ** 2)
    kept = (1 + square * view.vignetting**2) ** -2
    return np.stack([kept * (1 + shading * square) for shading in view.shading], axis=-1)


def seen_depth(frequency: Floats) -> Floats:
    """What the lens (Gaussian, 0.5 pixels) and the pixels' own width leave of a wave of so many cycles in a pixel."""
    return np.asarray(np.sinc(frequency) * np.exp(-2 * (0.5 * np.pi * frequency) ** 2), np.float64)


@lru_cache(maxsize=4)
def photograph(view: View) -> NDArray[np.uint8]:
    """R'G'B' codes of a photograph of the tube."""
    x, y = pixels(view)
    h = np.linalg.inv(view.square)
    u, v, w = (row[0].item() * x + row[1].item() * y + row[2].item() for row in h)
    u, v = u / w, v / w
    # Sides curved by 1 % and corners rounded: a lit face, soft over about a pixel.
    edge = np.maximum(np.abs(u) + 0.01 * v**2, np.abs(v) + 0.01 * u**2) - 1.005
    corner = np.hypot(np.maximum(np.abs(u) - 0.94, 0) * 4 / 3, np.maximum(np.abs(v) - 0.92, 0)) - 0.09
    lit = np.clip(0.5 - np.maximum(edge, corner) * view.size[1] * 0.35, 0, 1)
    light = view.tube(u, v)
    # Mean 1 over a line, and over a triad of the mask, whose three stripes lie apart.
    span = np.array([np.ptp(view.square_corners[:, 0]), np.ptp(view.square_corners[:, 1])])
    deep, across = (view.structure * seen_depth(np.array([view.lines, TRIADS]) / span[::-1])).tolist()
    lines = lit * (1 + deep * np.cos(np.pi * view.lines * v))
    dark = view.bezel * (1 - lit) + view.room
    for gun in range(3):
        stripes = 1 + across * np.cos(np.pi * TRIADS * u + gun * 2 * np.pi / 3)
        light[..., gun] = light[..., gun] * lines * stripes + dark
    return developed(light * camera_loss(view), view)


def developed(light: Reals, view: View) -> NDArray[np.uint8]:
    random = np.random.default_rng(view.seed)
    noise = random.standard_normal(light.shape, np.float32) * np.float32(view.noise)
    light = light + noise * np.sqrt(np.maximum(light, 0) + 1e-4)
    # IEC 61966-2-1, from memory.
    light = np.clip(light, 0, 1)
    codes = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(codes * 255), np.uint8)


def surface(view: View, level: float = 0.5, rise: float = 0.0) -> NDArray[np.uint8]:
    """A photograph of an evenly lit surface by the same camera; `rise` from left to right if it was not."""
    x, _ = pixels(view)
    light = level * (1 + rise * (x / view.size[0] - 0.5))[..., None] * np.array([1.0, 0.95, 0.8], np.float32)
    return developed(light * camera_loss(view), replace(view, seed=view.seed + 1000))


def photo_of(codes: NDArray[np.uint8], path: Path, quality: int | None = 90) -> Photo:
    """The photograph as read from a file, JPEG or (quality None) PNG."""
    path = path.with_suffix(".jpg" if quality else ".png")
    done = cv2.imwrite(str(path), codes[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality] if quality else [])
    assert done
    return read_photo(path)


def shot(view: View, folder: Path, name: str = "field") -> Photo:
    return photo_of(photograph(view), folder / name, view.quality)


def measured(view: View, folder: Path, **given: Any) -> Field:
    return measure_uniformity([shot(view, folder)], **given).fields[0]


def flat_of(view: View, folder: Path) -> Photo:
    return photo_of(surface(view), folder / "flat")


def colour_of(light: Floats) -> Floats:
    """(..., 2): u', v' of linear sRGB by colour-science."""
    space = colour.RGB_COLOURSPACES["sRGB"]
    xyz = colour.RGB_to_XYZ(light, space, apply_cctf_decoding=False)
    return np.asarray(colour.xy_to_Luv_uv(colour.XYZ_to_xy(xyz)), np.float64)


def tint(channel: int, rise: float, difference: float, base: tuple[float, float, float]) -> tuple[float, float, float]:
    """Factors that change one channel up (rise 1) or down (-1) so that u'v' moves by the difference."""
    low, high = 0.0, 0.9
    factors = np.ones(3)
    for _ in range(40):
        middle = (low + high) / 2
        factors[channel] = 1 + rise * middle
        far = np.linalg.norm(colour_of(np.array(base) * factors) - colour_of(np.array(base))) > difference
        low, high = (low, middle) if far else (middle, high)
    return float(factors[0]), float(factors[1]), float(factors[2])


# --- What is measured -----------------------------------------------------------------------------------

SMALL = (960, 720)
VIEWS = (
    View(),
    View(size=SMALL, fall_off=0.35, vignetting=0.6, shading=(0.04, 0.0, -0.05), tint=(0.06, 0.0, -0.04), seed=2),
    View(
        corners=((0.22, 0.1), (0.78, 0.16), (0.76, 0.8), (0.24, 0.9)),
        fall_off=0.1,
        structure=0.8,
        lines=240,
        quality=80,
        tint=(-0.05, 0.0, 0.05),
        seed=3,
    ),
)


@pytest.mark.parametrize("view", rest_is_slow(VIEWS, [VIEWS[0]]))
def test_fall_off_and_colour_with_a_flat_field(view: View, tmp_path: Path) -> None:
    """Luminance within 1 % of the centre's and u'v' within 0.001 in every zone: camera, mask and JPEG are removed."""
    field = measured(view, tmp_path, flat=flat_of(view, tmp_path))
    assert field.colour == "white"
    assert np.abs(field.corners_px - view.square_corners).max() < 4
    centre = view.zone(2, 2)
    # The luminance row of colour-science's sRGB matrix; u'v' by colour-science.
    row = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ[1]
    for i, zone in enumerate(field.zones):
        light = view.zone(i // 5, i % 5)
        assert zone.luminance_percent == pytest.approx(100 * row @ light / (row @ centre), abs=1.0)
        difference = colour_of(light) - colour_of(centre)
        assert (zone.delta_u, zone.delta_v) == pytest.approx(tuple(difference), abs=0.001)
        assert zone.delta_uv == pytest.approx(np.hypot(zone.delta_u or 0, zone.delta_v or 0), abs=1e-9)
    corners = [100 * row @ view.zone(i, j) / (row @ centre) for i in (0, 4) for j in (0, 4)]
    assert field.fall_off_percent == pytest.approx(100 - np.mean(corners), abs=1.0)
    assert not field.blotches
    assert not any("flat-field" in words for words in field.warnings)


def test_without_a_flat_field_the_camera_is_part_of_the_uncertainty(tmp_path: Path) -> None:
    """Without a flat field the corners look darker, and their uncertainty grows to cover it."""
    view = View(size=SMALL, vignetting=0.5)
    alone = measured(view, tmp_path)
    flat = measured(view, tmp_path, flat=flat_of(view, tmp_path))
    assert any("flat-field" in words for words in alone.warnings)
    row = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ[1]
    for i, (zone, other) in enumerate(zip(alone.zones, flat.zones, strict=True)):
        true = 100 * row @ view.zone(i // 5, i % 5) / (row @ view.zone(2, 2))
        assert zone.luminance_percent is not None
        assert zone.luminance_sigma is not None
        assert zone.luminance_percent == pytest.approx(true, abs=2 * zone.luminance_sigma + 1e-9)
        if zone.name in ("top left", "bottom right"):
            assert zone.luminance_percent < true - 4
            assert zone.luminance_sigma > 3 * (other.luminance_sigma or 0)
            assert zone.delta_uv_sigma is not None
            assert zone.delta_uv_sigma < 0.002


def test_colour_is_the_standards() -> None:
    """Chromaticities agree with colour-science's sRGB."""
    # colour-science, its sRGB.
    light = np.random.default_rng(5).uniform(0.02, 1, (50, 3))
    assert chromaticity(light) == pytest.approx(colour_of(light), abs=1e-9)


def test_words_for_colours() -> None:
    """A channel that rises gives its own name, one that falls gives its complement."""
    # By hand: a channel that rises names itself, one that falls its complement.
    for factors, word in (
        ((1.1, 1, 1), "redder"),
        ((1, 1.1, 1), "greener"),
        ((1, 1, 1.1), "bluer"),
        ((0.9, 1, 1), "more cyan"),
        ((1, 0.9, 1), "more magenta"),
        ((1, 1, 0.9), "yellower"),
        ((2, 2, 1.5), "yellower"),
    ):
        assert colour_word(np.array(factors)) == word


def test_purity_of_a_red_field(tmp_path: Path) -> None:
    """Green light that grows to the right: the share of green, the turn of the hue and where it is largest."""
    view = View(size=SMALL, light=(0.4, 0.03, 0.015), tint=(0.0, 0.8, 0.0))
    field = measured(view, tmp_path, flat=flat_of(view, tmp_path))
    assert field.colour == "red"
    assert field.purity is not None
    assert field.purity.zone.endswith((" left", " right"))
    centre = view.zone(2, 2)
    white = colour_of(np.ones(3))
    for i, zone in enumerate(field.zones):
        light = view.zone(i // 5, i % 5)
        assert zone.purity is not None
        # Shares by arithmetic.
        change = 100 * (light / light.sum() - centre / centre.sum())
        channel = ("red", "green", "blue").index(zone.purity.channel)
        assert zone.purity.percent == pytest.approx(change[channel], abs=0.15)
        # Red alone falls off as the tube's light does.
        assert zone.luminance_percent == pytest.approx(100 * light[0] / centre[0], abs=1.0)
        # Angles about the white point by colour-science's u'v'.
        turns = [np.degrees(np.arctan2(*(colour_of(one) - white)[::-1])) for one in (light, centre)]
        assert zone.purity.hue_shift_deg == pytest.approx(turns[0] - turns[1], abs=0.4)
        if zone.column == "right":
            assert zone.purity.channel == "green"
            assert zone.colour == "greener"


def test_every_field_is_told_by_its_colour(tmp_path: Path) -> None:
    """Fields are recognised by their colour and answered in a fixed order."""
    lights = {
        "blue": (0.03, 0.06, 0.4),
        "white": (0.25, 0.3, 0.4),
        "green": (0.12, 0.4, 0.08),
        "red": (0.4, 0.05, 0.02),
    }
    photos = [shot(View(size=SMALL, light=light), tmp_path, name) for name, light in lights.items()]
    found = measure_uniformity(iter(photos))
    assert [field.colour for field in found.fields] == ["white", "red", "green", "blue"]
    assert [field.path.stem for field in found.fields] == ["white", "red", "green", "blue"]


def test_a_cut_channel_is_told_of(tmp_path: Path) -> None:
    """A channel without any light is warned about, and a weak one is not."""
    field = measured(View(size=SMALL, light=(0.4, 0.0, 0.05), bezel=0.0), tmp_path)
    assert any("no green" in words for words in field.warnings)
    assert not any("no blue" in words for words in field.warnings)


def test_light_of_the_room_is_taken_off(tmp_path: Path) -> None:
    """A photograph of the dark screen removes the light of the room; without it the uncertainty is larger."""
    view = View(size=SMALL, room=0.06, bezel=0.01, tint=(0.1, 0.0, 0.0))
    off = photo_of(photograph(replace(view, light=(0.0, 0.0, 0.0), seed=9)), tmp_path / "off")
    flat = flat_of(view, tmp_path)
    veiled, clear = measured(view, tmp_path, flat=flat), measured(view, tmp_path, flat=flat, ambient=off)
    assert any("--ambient" in words for words in veiled.warnings)
    assert not any("--ambient" in words for words in clear.warnings)
    true = 100 - 100 * view.zone(0, 0)[1] / view.zone(2, 2)[1]
    for field, within in ((clear, 1.0), (veiled, 10.0)):
        assert field.fall_off_percent == pytest.approx(true, abs=within)
    assert (veiled.fall_off_percent or 0) < true - 2
    assert (veiled.fall_off_sigma or 0) > (clear.fall_off_sigma or 0)


def test_16_bits_and_8_bits_agree(tmp_path: Path) -> None:
    """The same scene in 8 and in 16 bits gives the same figures."""
    view = View(size=SMALL, noise=0.003)
    codes = photograph(view)
    eight = measure_uniformity([photo_of(codes, tmp_path / "eight", None)]).fields[0]
    path = tmp_path / "sixteen.tif"
    assert cv2.imwrite(str(path), codes[..., ::-1].astype(np.uint16) * 257)
    sixteen = measure_uniformity([read_photo(path)]).fields[0]
    assert [zone.luminance_percent for zone in sixteen.zones] == pytest.approx(
        [zone.luminance_percent for zone in eight.zones], abs=1e-3
    )


def test_a_little_clipping_is_warned_of_and_much_of_it_leaves_no_figure(tmp_path: Path) -> None:
    """Clipping is warned about, and a clipped zone has no figure but a reason."""
    spot = Spot(u=-0.8, v=-0.8, diameter=0.12, factors=(4.0, 4.0, 4.0))
    field = measured(View(size=SMALL, structure=0.0, spots=(spot,)), tmp_path)
    assert any("clipped" in words for words in field.warnings)
    zone = field.zones[0]
    assert zone.luminance_percent is None
    assert "clipped" in (zone.reason or "")
    assert field.fall_off_percent is None
    held = answer_json(uniformity_answer(Uniformity(fields=(field,), flat_field=False, ambient=False)))
    assert held["fields"][0]["fall_off_percent"] is None
    assert "clipped" in held["reasons"]["fields.0.fall_off_percent"]


# --- Blotches -------------------------------------------------------------------------------------------

BLOTCHES = ((-0.3, 0.4, 1, 1.0, "greener"), (0.8, -0.75, 0, 1.0, "redder"), (0.1, 0.0, 2, -1.0, "yellower"))


@pytest.mark.parametrize(("u", "v", "channel", "rise", "kind"), BLOTCHES)
def test_a_small_blotch_is_found_and_outlined(
    u: float, v: float, channel: int, rise: float, kind: str, tmp_path: Path
) -> None:
    """0.01 u'v' on 8 % of the picture's height, of one channel."""
    base = View()
    spot = Spot(u=u, v=v, diameter=0.08, factors=tint(channel, rise, 0.01, base.light))
    view = replace(base, size=SMALL, spots=(spot,), seed=channel)
    (blotch,) = measured(view, tmp_path).blotches
    assert kind in blotch.kind
    assert blotch.by_colour
    assert blotch.delta_uv == pytest.approx(0.01, abs=2 * blotch.delta_uv_sigma)
    assert blotch.delta_uv == pytest.approx(0.01, rel=0.15)
    assert blotch.centre_uv == pytest.approx((u, v), abs=0.015)
    # A disc of 0.08 of the height: 0.16 in v, of a 4:3 face 0.12 in u; its area by the circle's formula.
    assert np.ptp(blotch.outline_uv, axis=0) == pytest.approx([0.12, 0.16], rel=0.15)
    assert blotch.area_percent == pytest.approx(100 * np.pi * 0.06 * 0.08 / 4, rel=0.2)
    # The same outline in pixels, by OpenCV's homography from the true corners.
    place = cv2.perspectiveTransform(np.array([[[u, v]]]), view.square)[0, 0]
    assert blotch.outline_px.mean(axis=0) == pytest.approx(place, abs=6)
    # Luminance by the weights of IEC 61966-2-1, from memory.
    weights = np.array([0.2126, 0.7152, 0.0722]) * base.light
    assert blotch.luminance_percent == pytest.approx(100 * (weights @ spot.factors / weights.sum() - 1), abs=1.2)


def test_a_dark_place_is_no_matter_of_colour(tmp_path: Path) -> None:
    """A spot that is darker in all channels is reported as darker, not as a colour."""
    spot = Spot(u=0.5, v=0.5, diameter=0.1, factors=(0.93, 0.93, 0.93))
    (blotch,) = measured(View(size=SMALL, spots=(spot,)), tmp_path).blotches
    assert blotch.kind == "darker"
    assert not blotch.by_colour
    assert blotch.luminance_percent == pytest.approx(-7, abs=1.2)


def test_a_large_blotch_in_a_corner_bends_nothing_else(tmp_path: Path) -> None:
    """A large blotch in a corner is the only one found, with the right area."""
    spot = Spot(u=0.75, v=0.7, diameter=0.25, factors=(0.9, 2.0, 1.0))
    view = View(size=SMALL, light=(0.4, 0.04, 0.02), spots=(spot,))
    (blotch,) = measured(view, tmp_path).blotches
    assert blotch.kind == "darker, greener"
    # By the circle's formula.
    assert blotch.area_percent == pytest.approx(100 * np.pi * 0.1875 * 0.25 / 4, rel=0.15)


@pytest.mark.parametrize("seed", [pytest.param(i, marks=[pytest.mark.slow] if i > 3 else []) for i in range(20)])
def test_no_blotch_on_clean_fields(seed: int, tmp_path: Path) -> None:
    """Whatever noise, mask, lines, fall-off, tint and JPEG do, there is none."""
    random = np.random.default_rng(seed)
    lights = ((0.28, 0.3, 0.35), (0.4, 0.05, 0.02), (0.12, 0.4, 0.08), (0.03, 0.06, 0.4))
    view = View(
        size=SMALL,
        light=lights[seed % 4] if seed % 2 else lights[0],
        fall_off=random.uniform(0.05, 0.35),
        tint=tuple(random.uniform(-0.05, 0.05, 3)),
        vignetting=random.uniform(0.2, 0.65),
        shading=tuple(random.uniform(-0.03, 0.03, 3)),
        noise=float(random.choice([0.003, 0.01, 0.03])),
        structure=random.uniform(0, 0.9),
        lines=int(random.choice([240, 288, 480])),
        quality=int(random.choice([75, 85, 95])),
        seed=seed,
    )
    assert measured(view, tmp_path).blotches == ()


@pytest.mark.parametrize(
    ("mask", "gun"),
    [
        (MaskKind.DOTS, None),
        *(
            pytest.param(mask, gun, marks=pytest.mark.slow)
            for mask in (MaskKind.SLOTS, MaskKind.STRIPES)
            for gun in (0, 1, 2)
        ),
    ],
)
def test_a_simulated_tube_and_camera(mask: MaskKind, gun: int | None, tmp_path: Path) -> None:
    """Another simulator, with spots, scan lines and masks as they are: its tube's own light is the truth."""
    spot = TubeBlotch(x_mm=-90, y_mm=60, radius_mm=20, gain=(1.0, 0.88, 1.0))
    name = "white" if gun is None else ("red", "green", "blue")[gun]
    changes = {"mask": Mask(kind=mask), "falloff": 0.25, "tilt_deg": (6.0, -8.0), "blotches": (spot,)}
    shown = plain_set(2.0, pattern="field", colour=name, **changes)
    flat = photo_of(flat_field(shown.camera), tmp_path / "flat")
    field = measure_uniformity([photo_of(shown.photograph(), tmp_path / "tube")], flat).fields[0]
    assert field.colour == name
    left, top, right, bottom = shown.tube.glass_mm
    steps = (np.arange(40) + 0.5) / 40
    light = []
    for i in range(25):
        x, y = np.meshgrid(left + (right - left) * (i % 5 + steps) / 5, top + (bottom - top) * (i // 5 + steps) / 5)
        place = np.stack([x, y], axis=-1)
        light.append([shown.tube.gain(place, one).mean() for one in range(3)])
    # The luminance row of colour-science's sRGB matrix; of one gun its own light.
    row = colour.RGB_COLOURSPACES["sRGB"].matrix_RGB_to_XYZ[1] if gun is None else np.eye(3)[gun]
    seen = np.array(light) @ row
    assert [zone.luminance_percent for zone in field.zones] == pytest.approx(100 * seen / seen[12], abs=1.3)
    if gun in (None, 1):
        (blotch,) = field.blotches
        assert "darker" in blotch.kind
        assert ("more magenta" in blotch.kind) == (gun is None)
        assert blotch.centre_uv == pytest.approx((2 * -90 / (right - left), 2 * 60 / (bottom - top)), abs=0.03)
    else:
        assert field.blotches == ()


# --- What is refused ------------------------------------------------------------------------------------

Photos = dict[str, Photo]


def given_photos(name: str, folder: Path) -> tuple[list[Photo], Photos]:
    """What is given to be measured, by the name of the mistake."""
    view = View(size=SMALL)
    small = View(size=(900, 700))
    dark = replace(view, light=(0.0, 0.0, 0.0), room=0.0)
    lines = np.zeros((720, 960, 3), np.uint8)
    lines[100:-100:60, 100:-100] = lines[101:-100:60, 100:-100] = 200
    lines[100:-100, 100:-100:60] = lines[100:-100, 101:-100:60] = 200
    scene = np.random.default_rng(1).integers(0, 256, (9, 12, 3)).astype(np.uint8)
    cut = ((-0.05, 0.1), (0.8, 0.1), (0.8, 1.1), (-0.05, 1.1))
    one: dict[str, Callable[[], NDArray[np.uint8]]] = {
        "black": lambda: photograph(dark),
        "a crosshatch": lambda: lines,
        "two levels": lambda: np.hstack([photograph(view)[:, :480], photograph(view)[:, 480:] // 4 * 3]),
        "a scene": lambda: cv2.resize(scene, SMALL, interpolation=cv2.INTER_CUBIC).astype(np.uint8),
        "cut off": lambda: photograph(replace(view, corners=cut)),
        "fills the frame": lambda: photograph(
            replace(view, corners=((-0.1, -0.1), (1.1, -0.1), (1.1, 1.1), (-0.1, 1.1)))
        ),
        "overexposed": lambda: photograph(replace(view, light=(1.6, 1.6, 1.6))),
        "a bright room": lambda: photograph(replace(view, bezel=0.15, room=0.05)),
        "yellow": lambda: photograph(replace(view, light=(0.4, 0.4, 0.04))),
        "tiny": lambda: photograph(replace(view, corners=((0.4, 0.4), (0.55, 0.4), (0.55, 0.55), (0.4, 0.55)))),
    }
    if name in one:
        return [photo_of(one[name](), folder / "odd")], {}
    field = shot(view, folder)
    if name == "twice white":
        return [field, shot(replace(view, seed=7), folder, "again")], {}
    hole = np.ones((720, 960, 1), np.uint8)
    hole[200:400, 200:400] = 2
    flats: dict[str, Callable[[], NDArray[np.uint8]]] = {
        "flat of another size": lambda: surface(small),
        "flat clipped": lambda: surface(view, level=2.5),
        "flat dark": lambda: surface(view, level=0.015),
        "flat uneven": lambda: surface(view, rise=0.8),
        "flat of something": lambda: surface(view) // hole,
        "flat of the tube": lambda: photograph(view),
    }
    if name in flats:
        return [field], {"flat": photo_of(flats[name](), folder / "flat")}
    other = {"ambient of another size": small, "ambient with the set on": view}[name]
    return [field], {"ambient": shot(other, folder, "ambient")}


REFUSED = {
    "black": "no .*lit picture",
    "a crosshatch": "lit picture|plain field",
    "two levels": "no plain field|four-sided",
    "a scene": "four|cut off|lit picture",
    "cut off": "bottom and left",
    "fills the frame": "cut off by the photograph's edge",
    "overexposed": "is clipped",
    "a bright room": "darken the room|lit picture",
    "yellow": "neither white nor red, green or blue",
    "tiny": "has to fill",
    "twice white": "white field, and so does",
    "flat of another size": "900x700 pixels, the field's has 960x720",
    "flat clipped": "clipped",
    "flat dark": "too dark",
    "flat uneven": "rises by .* %",
    "flat of something": "more than an evenly lit",
    "flat of the tube": "flat-field photograph",
    "ambient of another size": "900x700 pixels, the field's has 960x720",
    "ambient with the set on": "was the set on",
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_cannot_be_measured_is_refused_in_one_line(name: str, tmp_path: Path) -> None:
    """Unsuitable photographs are refused in one short line that names the file."""
    photos, more = given_photos(name, tmp_path)
    given: dict[str, Any] = dict(more)
    with pytest.raises(FileError, match=REFUSED[name]) as told:
        measure_uniformity(photos, **given)
    words = str(told.value)
    assert "\n" not in words
    assert str(tmp_path) in words
    assert len(words.replace(str(tmp_path), "")) < 260


def test_one_side_cut_off_is_warned_of(tmp_path: Path) -> None:
    """A picture that leaves the photograph on one side is measured with a warning."""
    view = View(size=SMALL, corners=((-0.05, 0.14), (0.8, 0.14), (0.8, 0.84), (-0.05, 0.84)))
    assert any("cuts the picture off (left)" in words for words in measured(view, tmp_path).warnings)


def test_no_photograph_is_refused() -> None:
    """Without a photograph there is nothing to measure."""
    with pytest.raises(ValueError, match="no photograph"):
        measure_uniformity([])


# --- The command ----------------------------------------------------------------------------------------


def test_the_command_answers_in_json_words_and_a_picture(tmp_path: Path) -> None:
    """One run gives fields, zones, blotch, advice and limits as JSON, as text and in the picture."""
    folder = tmp_path / "Fotos vom Schirm ÄÖ"
    folder.mkdir()
    spots = (Spot(u=-0.3, v=0.4, diameter=0.1, factors=(1.0, 1.14, 1.0)),)
    view = View(size=SMALL, spots=spots)
    white, flat = shot(view, folder, "white"), flat_of(view, folder)
    red = shot(View(size=SMALL, light=(0.4, 0.05, 0.02)), folder, "red")
    picture = folder / "page.png"
    words = (red.path, white.path, "--flat-field", flat.path)
    code, out, err = call("measure", "uniformity", *words, "--json", "--picture", picture)
    assert (code, err) == (0, "")
    answer = json.loads(out, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    assert answer["flat_field"] is True
    assert answer["ambient"] is False
    assert [field["colour"] for field in answer["fields"]] == ["white", "red"]
    first = answer["fields"][0]
    assert len(first["zones"]) == 25
    assert {"name", "luminance_percent", "luminance_sigma", "delta_uv", "delta_uv_sigma", "purity"} <= first["zones"][
        0
    ].keys()
    assert first["zones"][12]["name"] == "centre"
    assert len(first["corners_px"]) == 4
    (blotch,) = first["blotches"]
    assert blotch["kind"] == "brighter, greener"
    assert len(blotch["outline_px"]) == len(blotch["outline_uv"]) > 8
    assert answer["advice"][0]["adjust"] == "degauss"
    # ISO 12646 (secondary text): luminance within 10 %, neutrals within 0.01 u'v'; STANDARDS.md, section 5.
    assert {(limit["figure"], limit["limit"], limit["within"]) for limit in answer["limits"]} >= {
        ("luminance's deviation from the centre", 10.0, False),
        ("colour against the centre", 0.01, True),
        ("fall-off to the corners", 30.0, True),
    }
    with Image.open(picture) as page:
        assert page.mode == "RGB"
        assert page.width == 1600
        # The outline's orange, a hundred points of it and more.
        assert (np.asarray(page) == (255, 140, 20)).all(axis=-1).sum() > 500
    code, out, err = call("measure", "uniformity", *words)
    assert (code, err) == (0, "")
    for word in (
        "White field",
        "Red field",
        "white 1: brighter, greener",
        "1. Degauss",
        "ISO 12646",
        "Nothing is to be adj",
    ):
        assert word in out.replace("\n    ", " ")
    assert max(len(line) for line in out.splitlines() if str(folder) not in line) <= 100


def test_an_even_white_field_needs_nothing(tmp_path: Path) -> None:
    """A field within all limits gets the advice that nothing is to be adjusted."""
    view = View(size=SMALL, fall_off=0.04)
    found = measure_uniformity([shot(view, tmp_path)], flat_of(view, tmp_path))
    # Limits as ISO 12646 has them (secondary text).
    answer = uniformity_answer(found)
    held = answer_json(answer)
    assert all(limit["within"] for limit in held["limits"])
    assert [advice["adjust"] for advice in held["advice"]] == ["luminance fall-off"]
    assert "Nothing is to be adjusted" in answer_text(answer)


def test_every_number_has_its_quantity_and_every_null_figure_its_reason(tmp_path: Path) -> None:
    """A corner is clipped, so that its zone and the fall-off have no figures; a white field has no purity."""
    white, red = View(size=SMALL), View(size=SMALL, light=(0.4, 0.05, 0.02))
    codes = photograph(white).copy()
    x, y = (int(value) for value in white.square_corners[0])
    codes[y : y + 80, x : x + 120] = 255
    spotted = replace(red, spots=(Spot(u=0.3, v=0.4, diameter=0.1, factors=(0.9, 1.5, 1.0)),))
    found = measure_uniformity([photo_of(codes, tmp_path / "white", None), shot(spotted, tmp_path, "red")])
    assert found.field("white").fall_off_percent is None  # type: ignore[union-attr]
    answer = uniformity_answer(found)
    held = answer_json(answer)
    null = {one.quantity.path: one.reason for one in answer.figures if one.value is None}
    assert {path.split(".")[2] for path in null} == {"fall_off_percent", "purity", "zones"}
    assert "clipped" in null["fields.0.zones.0.luminance_percent"]
    assert "top left" in null["fields.0.fall_off_percent"]
    assert "the result does not have it" not in null.values()
    # Corners and outlines are drawn, not read.
    rest = numbers_without_a_quantity("uniformity", held)
    assert {path.split(".")[-3] for path in rest} == {"corners_px", "outline_uv", "outline_px"}
    kept = [one.kept for one in quantities_in("uniformity", held) if one.path.endswith("purity.value")]
    assert kept == [False, True]


def test_every_field_has_its_finding_and_tables(tmp_path: Path) -> None:
    """The finding of each field heads text and page, and each has its 5 x 5 tables; of one gun, of purity too."""
    lights = {"white": (0.25, 0.3, 0.4), "green": (0.12, 0.4, 0.08)}
    found = measure_uniformity(shot(View(size=SMALL, light=light), tmp_path, name) for name, light in lights.items())
    answer = uniformity_answer(found)
    # One line for all of them comes first: where it is worst, and what to do.
    assert [one.words.split(":")[0] for one in answer.findings] == ["Even", "White field", "Green field"]
    grids = [table for table in answer.tables if len(table.rows) == 5 and len(table.head) == 6]
    assert [table.head[0].split(":")[0] for table in grids] == ["white", "white", "green", "green", "green"]
    assert all(table.rows[2][3] in ("100.0", "0.0000", "0.0") for table in grids)
    page = answer_page(answer, None, [])
    for one in answer.findings:
        assert one.words.replace("'", "&#39;") in page
    assert page.count("<table") == len([table for table in answer.tables if table.rows])


def test_work_inside_comes_with_its_caution(tmp_path: Path) -> None:
    """Programs find the caution with the advice, people once below all of it."""
    spots = (Spot(u=-0.3, v=0.4, diameter=0.1, factors=(1.0, 1.14, 1.0)),)
    answer = uniformity_answer(measure_uniformity([shot(View(size=SMALL, spots=spots), tmp_path)]))
    landing = next(one for one in answer_json(answer)["advice"] if one["adjust"] == "purity and landing")
    assert SERVICE in landing["why"]
    said = " ".join(answer_text(answer).split())
    assert said.count("lethal voltages") == 1
    assert "A picture tube can kill" in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nowhere.jpg",), "cannot be read"),
        ((), "Missing argument"),
        (("a.jpg",) * 5, "5 photographs are too many"),
        (("a.jpg", "--picture", "a.bmp"), "ends in .png"),
        (("a.png", "--picture", "a.png"), "would be lost"),
        (("a.jpg", "--flat-field", "nowhere.jpg"), "nowhere.jpg: cannot be read"),
    ],
)
def test_mistakes_are_one_line(words: tuple[str, ...], said: str) -> None:
    """Wrong files and options are exit 2 with one line that says what is wrong."""
    code, out, err = call("measure", "uniformity", *words)
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert said in err


def test_a_turned_photograph_is_told(tmp_path: Path) -> None:
    """A photograph that lies on its side is warned about, an upright one is not."""
    photo = shot(View(size=SMALL), tmp_path)
    turned = Photo(photo.path, np.ascontiguousarray(np.rot90(photo.codes)))
    (field,) = measure_uniformity([turned]).fields
    assert any("lies on its side" in words for words in field.warnings)
    assert not any("lies on its side" in words for words in measured(View(size=SMALL), tmp_path).warnings)


def test_a_grey_photograph_is_refused(tmp_path: Path) -> None:
    """A photograph without colour is refused."""
    photo = shot(View(size=SMALL), tmp_path)
    grey = Photo(photo.path, np.repeat(photo.codes[..., 1:2], 3, axis=-1))
    with pytest.raises(FileError, match="the photograph is grey"):
        measure_uniformity([grey])


def test_a_limit_is_open_where_it_is_not_sure(tmp_path: Path) -> None:
    """0.010 of u'v' are allowed for neutrals (ISO 12646, secondary text): 0.009 is within it where it is sure by two
    standard uncertainties and no zone is without a figure."""
    found = measure_uniformity([shot(View(size=SMALL), tmp_path)], flat_of(View(size=SMALL), tmp_path))
    (field,) = found.fields

    def within(value: float, sigma: float, reason: str | None = None) -> bool | None:
        zones = (replace(field.zones[0], reason=reason), *field.zones[1:])
        other = replace(field, delta_uv=Extreme(zone="top left", value=value, sigma=sigma), zones=zones)
        told = limits(replace(found, fields=(other,)))
        return next(limit.within for limit in told if limit.figure == "colour against the centre")

    assert within(0.009, 0.0004) is True
    assert within(0.009, 0.0006) is None
    assert within(0.011, 0.0006) is None
    assert within(0.011, 0.0004) is False
    assert within(0.009, 0.0004, "a quarter of it is clipped") is None
    assert within(0.011, 0.0004, "a quarter of it is clipped") is False
