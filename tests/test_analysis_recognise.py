"""Patterns told from frames alone, without any word of what they show."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest

import analysis.frame.faults.recognise
from analysis.frame.faults.recognise import Look, best_look, is_flat, likeness
from analysis.frame.levels import Frame
from analysis.frame.place.axes import Registration
from analysis.frame.place.drawn import Drawn
from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import Options, Pattern
from patterns.signal import Matrix, Range, Sampling, Signal
from render.decode import Picture
from render.raster import draw_frame
from render.tags import Tags

SD = FORMATS["480i"]
SIGNAL = Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=8, sampling=Sampling.YCBCR_422)
BARS = [Options(bars=name) for name in ("100/0/100/0", "75/0/75/0")]
LOOKS = [(pattern, options) for pattern in PATTERNS.values() for options in pattern.variants]
LOOKS += [(PATTERNS["bars"], options) for options in BARS]
STILL = [(pattern, options) for pattern, options in LOOKS if pattern.scene(SD, options).is_still]
FLAT = "field"
"""One colour all over: a frame of it tells nothing."""
FEW = ("bars", "crosshatch-rg")
"""One of each kind, for every run; the slow tests have all of them."""


@pytest.fixture(autouse=True, scope="module")
def drawn_once() -> Iterator[None]:
    """Each raster is drawn, and made small, once for all frames, which saves most of the time."""
    kept: dict[tuple[int, bytes, bytes], tuple[Any, Any]] = {}

    def small(plane: Any, rows: Any, columns: Any) -> Any:
        key = (id(plane), rows.tobytes(), columns.tobytes())
        if key not in kept:
            # With its plane, so that no other one gets the same id.
            kept[key] = plane, plain(plane, rows, columns)
        return kept[key][1]

    plain = analysis.frame.faults.recognise.small
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(analysis.frame.faults.recognise, "small", small)
        patch.setattr(analysis.frame.faults.recognise, "Drawn", cache(Drawn))
        yield


def framed(planes: Any, codec: str = "made") -> Frame:
    height, width = planes[0].shape
    picture = Picture(planes=tuple(planes), tags=Tags(width=width, height=height, sampling=Sampling.YCBCR_422, bits=8))
    return Frame(path=Path("made"), index=0, picture=picture, codec=codec, provenance={})


def shown(pattern: Pattern, options: Options) -> list[Any]:
    """The planes of a pattern as `draw` makes them; that they are right is tested with the drawing."""
    return list(draw_frame(pattern.scene(SD, options), SD, SIGNAL))


def told(planes: Any) -> Look | None:
    return best_look(framed(planes), SIGNAL, SD, LOOKS)


def named(look: tuple[Pattern, Options]) -> str:
    pattern, options = look
    return " ".join([pattern.id, *map(str, options.given.values())])


def listed() -> list[Any]:
    return [
        pytest.param(
            look, id=named(look), marks=[] if look[0].id in FEW and look[1] not in BARS else [pytest.mark.slow]
        )
        for look in STILL
        if look[0].id != FLAT
    ]


@pytest.mark.parametrize("look", listed())
def test_every_still_pattern_is_told_from_its_own_frame(look: tuple[Pattern, Options]) -> None:
    """The right pattern, with the options of a kit where those change the picture, and no other."""
    pattern, options = look
    found = told(shown(pattern, options))
    assert found is not None
    assert (found.pattern.id, found.options.given) == (pattern.id, options.given)
    assert found.misfit < 0.001


@pytest.mark.parametrize("name", ["pluge", "crosshatch"])
@pytest.mark.slow
def test_a_pattern_is_told_in_a_bad_capture(name: str) -> None:
    """5 % smaller within black, 10 % brighter, soft, and with noise of 2 %: made by OpenCV and numpy."""
    planes = shown(PATTERNS[name], PATTERNS[name].variants[0])
    random = np.random.default_rng(2)
    seen = []
    for i, plane in enumerate(planes):
        width = plane.shape[1]
        black = 16 if i == 0 else 128
        matrix = np.array([[0.95, 0, 0.025 * width], [0, 0.95, 12.0]])
        put = cv2.warpAffine(plane.astype(np.float32), matrix, (width, 480), borderValue=black)
        put = cv2.GaussianBlur(put, (0, 0), 0.6) * (1.1 if i == 0 else 1) + random.normal(0, 4, put.shape)
        seen.append(np.clip(np.round(put), 0, 255).astype(np.uint8))
    found = told(seen)
    assert found is not None
    assert found.pattern.id == name


def nothing() -> dict[str, Any]:
    random = np.random.default_rng(9)
    flat = np.full((480, 720), 16, np.uint8)
    across, down = np.meshgrid(np.linspace(0, 1, 720), np.linspace(0, 1, 480))
    blobs = cv2.GaussianBlur(random.normal(0, 1, (480, 720)).astype(np.float32), (0, 0), 25)
    words = flat.copy()
    cv2.putText(words, "NO SIGNAL", (180, 260), cv2.FONT_HERSHEY_SIMPLEX, 2.0, 235, 4)
    return {
        "black": flat,
        "grey": flat + np.uint8(110),
        "noise": random.integers(16, 236, (480, 720)).astype(np.uint8),
        "a slope both ways": (16 + 219 * (across + down) / 2).astype(np.uint8),
        "clouds": np.clip(126 + 60 * blobs / blobs.std(), 16, 235).astype(np.uint8),
        "words": words,
    }


NOTHING = ("noise",)


@pytest.mark.parametrize(
    "name", [*NOTHING, *(pytest.param(name, marks=pytest.mark.slow) for name in nothing() if name not in NOTHING)]
)
def test_what_is_no_pattern_is_not_taken_for_one(name: str) -> None:
    """Pictures that numpy and OpenCV make."""
    grey = np.full((480, 360), 128, np.uint8)
    found = told([nothing()[name], grey, grey])
    assert found is None, found and (found.pattern.id, found.misfit)


@pytest.mark.parametrize("colour", ["white", "red"])
@pytest.mark.slow
def test_one_colour_all_over_is_not_told(colour: str) -> None:
    """A field has no mark that tells it from any other frame of one colour."""
    assert told(shown(PATTERNS[FLAT], Options(colour=colour))) is None


def test_flat_means_nothing_to_see() -> None:
    """Noise of half a percent of white is no picture, a step of ten percent is one."""
    noise = np.random.default_rng(1).normal(0.5, 0.005, (480, 720)).astype(np.float32)
    assert is_flat(noise)
    stepped = noise.copy()
    stepped[:, 360:] += 0.1
    assert not is_flat(stepped)


def test_likeness_of_a_pattern_with_itself_and_with_another() -> None:
    """Nothing is left of itself, darker and bent too; much is left of another, and of its own negative."""
    bars = Drawn(PATTERNS["bars"].scene(SD, Options()), SD)
    steps = Drawn(PATTERNS["steps"].scene(SD, Options()), SD)
    place = Registration.whole(SD, 720, 480)
    for luma in (bars.luma, 0.1 + 0.7 * bars.luma, np.maximum(bars.luma, 0) ** 1.3):
        assert likeness(luma, bars, place).misfit < 0.02
        assert likeness(luma, bars, place).is_like
    assert likeness(steps.luma, bars, place).misfit > 0.1
    assert not likeness(1 - bars.luma, bars, place).is_like
