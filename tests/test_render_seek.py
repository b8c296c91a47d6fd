"""Still clips in a reader that jumps: the whole picture is there at any time, five seconds are decoded at most."""

from __future__ import annotations

import random
import subprocess
from pathlib import Path

import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.pattern import Options
from render.carriers import CARRIERS
from render.decode import open_video
from render.produce import Order, produce
from render.tags import tags_for
from render.video.encoder import pixel_format
from tests.matrix import quick_and_slow

SECONDS, JUMPS = 13, 5
"""Three groups of H.264, the last one cut short; and how often a reader jumps in each file."""


def at(path: Path, seconds: float, pixels: str) -> NDArray[np.uint8]:
    """The frame that the ffmpeg program shows after a jump, as the bytes of its planes."""
    words = ["-nostdin", "-v", "error", "-ss", f"{seconds:.6f}", "-i", str(path), "-frames:v", "1"]
    raw = ["-pix_fmt", pixels, "-f", "rawvideo", "-"]
    return np.frombuffer(subprocess.run([get_ffmpeg_exe(), *words, *raw], check=True, capture_output=True).stdout, "u1")


@pytest.mark.parametrize(
    ("kind", "pattern", "fmt"),
    quick_and_slow(
        [("h264", "crosshatch-fine", "480i"), ("mpeg2", "bars", "576i")],
        [
            ("h264", "crosshatch-fine", "1080p59.94"),
            ("h264", "focus", "1080i50"),
            ("h264", "circles", "720p50"),
            ("h264", "alignment", "240p"),
            ("prores", "steps", "480i"),
            ("v210", "steps", "480i"),
            ("ffv1", "focus", "576i"),
        ],
    ),
)
def test_a_jump_to_any_time_shows_the_whole_picture(kind: str, pattern: str, fmt: str, tmp_path: Path) -> None:
    """At some random times, and where the last group begins, there is the first frame, which the proof has compared."""
    carrier, rate = CARRIERS[kind], FORMATS[fmt].frame_rate
    order = Order(
        pattern=PATTERNS[pattern],
        options=Options(),
        format=FORMATS[fmt],
        signal=carrier.signal(FORMATS[fmt]),
        carrier=carrier,
        seconds=SECONDS,
    )
    path = produce(order, tmp_path / f"clip{carrier.suffix}").path
    with open_video(path) as video:
        starts = [time for _, time, can_start in video.packets() if can_start]
    last = SECONDS - 2 / float(rate)
    longest = max(b - a for a, b in zip(starts, [*starts[1:], starts[0] + SECONDS], strict=True))
    assert longest <= 5
    pixels = pixel_format(tags_for(FORMATS[fmt], order.signal, 1))
    first = at(path, 0, pixels)
    assert first.size
    # Any times will do; these stay the same, so that a failure comes again.
    chosen = random.Random(pattern + fmt)
    for seconds in (float(starts[-1] - starts[0]), *(chosen.uniform(0, last) for _ in range(JUMPS))):
        assert np.array_equal(at(path, seconds, pixels), first), seconds
