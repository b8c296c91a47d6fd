"""A PNG as a colour-managed viewer shows it: a page of headless Chromium, compared sample by sample."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import Options
from patterns.signal import Range
from render.carriers import CARRIERS
from render.produce import Order, default_name, produce
from render.raster import draw_frame, frames_per_period
from tests.matrix import rest_is_slow
from tests.pages import CHROMIUM, browser

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here")

Shown = Callable[[Path], NDArray[np.uint8]]

CASES = [
    (fmt, pattern, i)
    for fmt in ("480i", "576i", "1080i50")
    for pattern in PATTERNS
    for i in range(len(PATTERNS[pattern].variants))
    if PATTERNS[pattern].suits(FORMATS[fmt])
]


@pytest.fixture(scope="module")
def shown(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shown]:
    """What the screen shows of a PNG at one sample to one pixel: R'G'B', (height, width, 3), 8 bits."""
    folder = tmp_path_factory.mktemp("viewer")
    page, shot = folder / "page.html", folder / "shot.png"
    page.write_text("<!DOCTYPE html>", encoding="utf-8")
    with browser(page) as window:

        def show(picture: Path) -> NDArray[np.uint8]:
            height, width = samples(picture).shape[:2]
            page.write_text(
                f"<!DOCTYPE html><style>body {{ margin: 0 }} img {{ display: block }}</style>"
                f'<img src="{picture.absolute().as_uri()}">',
                encoding="utf-8",
            )
            window.show(width, height)
            window.events.clear()
            window.call("Page.navigate", url=page.absolute().as_uri())
            window.wait_for("Page.loadEventFired")
            window.screenshot(shot, 0, height)
            return samples(shot)

        yield show


def samples(picture: Path) -> NDArray[np.uint8]:
    """A picture as OpenCV reads it: R'G'B', (height, width, 3)."""
    read = cv2.imread(str(picture))
    assert read is not None
    return np.ascontiguousarray(read[..., ::-1]).astype(np.uint8)


def order(fmt: str, pattern: str, options: Options, *, code_range: Range = Range.FULL) -> Order:
    carrier = CARRIERS["png"]
    return Order(
        pattern=PATTERNS[pattern],
        options=options,
        format=FORMATS[fmt],
        signal=carrier.signal(FORMATS[fmt], code_range=code_range),
        carrier=carrier,
        seconds=None,
    )


def drawn(what: Order) -> NDArray[np.uint8]:
    scene = what.pattern.scene(what.format, what.options, what.signal)
    middle = frames_per_period(scene, what.format) // 2
    return np.stack(draw_frame(scene, what.format, what.signal, middle), axis=-1).astype(np.uint8)


@pytest.mark.parametrize(
    ("fmt", "pattern", "variant"),
    rest_is_slow(CASES, [("480i", "steps", 0), ("480i", "bars", 0), ("576i", "ramp", 0), ("1080i50", "circles", 0)]),
)
def test_a_viewer_shows_every_code_of_a_full_range_png(
    tmp_path: Path, shown: Shown, fmt: str, pattern: str, variant: int
) -> None:
    """The source of the expected codes is the drawn frame: a full-range PNG is for showing."""
    what = order(fmt, pattern, PATTERNS[pattern].variants[variant])
    path = produce(what, tmp_path / default_name(what)).path
    assert np.array_equal(shown(path), drawn(what))


def test_a_viewer_converts_a_full_range_png_that_says_its_colour(tmp_path: Path, shown: Shown) -> None:
    """With --tagged the 10 % step is at about half its code: the comparison above can fail.

    BT.601's transfer to light and from light sRGB's (IEC 61966-2-1, from memory): 0.1 / 4.5 of light, which sRGB has at
    1.055 * 0.0222 ** (1 / 2.4) - 0.055 = 16 %; BT.1886's 0.1 ** 2.4 = 0.4 %, at 5 %. Viewers do one or the other.
    """
    what = replace(order("480i", "steps", Options()), tagged=True)
    path = produce(what, tmp_path / default_name(what)).path
    screen, codes = shown(path), drawn(what)
    assert abs(int(screen[codes == 26].max()) - 26) > 8


def test_a_viewer_shows_a_narrow_png_with_its_own_codes(tmp_path: Path, shown: Shown) -> None:
    """What docs/signal.md says of it: this viewer expands nothing, so black is 16 and white 235."""
    what = order("480i", "steps", Options(), code_range=Range.NARROW)
    path = produce(what, tmp_path / default_name(what)).path
    screen = shown(path)
    assert (screen.min(), screen.max()) == (16, 235)
