"""Print each budget of time as a ratio, measured side by side in one run: whole processes, the median of five.

    .venv/bin/python tests/benchmarks/budgets.py            all rows
    .venv/bin/python tests/benchmarks/budgets.py clip help  rows whose name contains one of the words

Both sides of a row run in turn, so that a slow moment of the machine meets both. Exit 1 when a row is over its budget.
"""

from __future__ import annotations

import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from imageio_ffmpeg import get_ffmpeg_exe

from render.produce import H264_WORDS

RUNS = 5
PYTHON = sys.executable
TRUERASTER = str(Path(PYTHON).with_name("trueraster"))
FFMPEG = [get_ffmpeg_exe(), "-nostdin", "-v", "error", "-y"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One budget: what is timed, against what, and the most that the ratio may be."""

    name: str
    ours: Callable[[Path], list[str]]
    against: Callable[[Path], list[str]]
    limit: float
    prepare: Callable[[Path], None] = lambda folder: None


def still(pattern: str) -> Row:
    """A minute of a still pattern against the encoder's own still source."""
    source = "smptehdbars=size=1920x1080:rate=60000/1001,format=yuv420p"
    return Row(
        name=f"still clip: {pattern}, 60 s 1080p59.94 h264",
        ours=lambda f: [TRUERASTER, "draw", pattern, "-f", "1080p59.94", "--as", "h264", "--to", str(f / "ours")],
        against=lambda f: [
            *FFMPEG,
            "-f",
            "lavfi",
            "-i",
            source,
            "-t",
            "60",
            *H264_WORDS,
            "-g",
            "30",
            str(f / "theirs.mp4"),
        ],
        limit=0.08,
    )


def moving_raw(folder: Path) -> None:
    """The moving clip's frames as a raw file, drawn once."""
    subprocess.run([PYTHON, "-c", f"{DRAW_MOVING}\nwrite({str(folder / 'moving.yuv')!r})"], check=True)


DRAW_MOVING = """
from patterns.catalogue import PATTERNS
from patterns.formats import parse_format
from render.carriers import CARRIERS
from render.raster import draw_frame, frames_per_period
def write(path):
    fmt = parse_format("1080i59.94")
    signal = CARRIERS["h264"].signal(fmt)
    scene = PATTERNS["field-order"].scene(fmt)
    with open(path, "wb") as file:
        for i in range(300):
            for plane in draw_frame(scene, fmt, signal, i % frames_per_period(scene, fmt)):
                file.write(plane.tobytes())
"""

RAW = ["-f", "rawvideo", "-pix_fmt", "yuv420p", "-s", "1920x1080", "-r", "30000/1001", "-i"]
MOVING = Row(
    name="moving clip: field-order, 10 s 1080i59.94 h264",
    prepare=moving_raw,
    ours=lambda f: [
        *(TRUERASTER, "draw", "field-order", "-f", "1080i59.94", "--as", "h264", "--seconds", "10.01"),
        *("--to", str(f / "ours")),
    ],
    against=lambda f: [
        *(*FFMPEG, *RAW, str(f / "moving.yuv"), "-vf", "setfield=tff", "-flags", "+ildct+ilme", *H264_WORDS),
        *("-g", "30", str(f / "theirs.mp4")),
    ],
    limit=1.15,
)

DRAW_ONE = """
from patterns.catalogue import PATTERNS
from patterns.formats import parse_format
from patterns.signal import Matrix, Range, Sampling, Signal
from render.raster import draw_frame
fmt = parse_format("1080p59.94")
signal = Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=10, sampling=Sampling.YCBCR_422)
draw_frame(PATTERNS[{pattern!r}].scene(fmt), fmt, signal)
"""

COPY_FIFTY = """
import numpy as np
planes = [np.ones((1080, width), np.uint16) for width in (1920, 960, 960)]
for _ in range(50):
    copies = [plane.copy() for plane in planes]
"""


def frame(pattern: str) -> Row:
    """One frame from the scene to planes."""
    return Row(
        name=f"frame: {pattern}, 1080p 10-bit 4:2:2 planes",
        ours=lambda f: [PYTHON, "-c", DRAW_ONE.format(pattern=pattern)],
        against=lambda f: [PYTHON, "-c", COPY_FIFTY],
        limit=1.0,
    )


def drawn(folder: Path) -> None:
    """A clip and a still to verify."""
    for carrier in ("h264", "png"):
        command = [TRUERASTER, "draw", "bars", "-f", "1080p59.94", "--as", carrier, "--to", str(folder)]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def verify(name: str) -> Row:
    """A frame verified, against decoding it and importing numpy."""
    script = (
        "import subprocess, numpy\n"
        "subprocess.run({command!r}, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)"
    )

    def against(f: Path) -> list[str]:
        command = [*FFMPEG, "-i", str(f / name), "-frames:v", "1", "-f", "rawvideo", "-"]
        return [PYTHON, "-c", script.format(command=command)]

    return Row(
        name=f"verify: {name}",
        prepare=drawn,
        ours=lambda f: [TRUERASTER, "verify", str(f / name)],
        against=against,
        limit=2.0,
    )


HELP = Row(
    name="help: trueraster --help",
    ours=lambda f: [TRUERASTER, "--help"],
    against=lambda f: [PYTHON, "-c", "import typer"],
    limit=1.5,
)

ROWS = (
    *(still(pattern) for pattern in ("bars", "crosshatch", "circles")),
    MOVING,
    *(frame(pattern) for pattern in ("bars", "crosshatch", "circles", "dots", "overscan", "slate")),
    verify("bars_1080p59.94_narrow.mp4"),
    verify("bars_1080p59.94_full.png"),
    HELP,
)


def seconds(command: list[str]) -> float:
    """Time of one whole process."""
    start = time.perf_counter()
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    return time.perf_counter() - start


def measure(row: Row) -> bool:
    """Time both sides in turn and print the row."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        row.prepare(folder)
        pairs = []
        for _ in range(RUNS):
            shutil.rmtree(folder / "ours", ignore_errors=True)
            pairs.append((seconds(row.ours(folder)), seconds(row.against(folder))))
    ours, theirs = (statistics.median(side) for side in zip(*pairs, strict=True))
    held = bool(ours / theirs <= row.limit)
    print(
        f"{row.name:<50} {ours:8.3f} {theirs:8.3f} {ours / theirs:7.3f} {row.limit:7.2f}  {'held' if held else 'OVER'}"
    )
    return held


def main() -> int:
    words = sys.argv[1:]
    rows = [row for row in ROWS if not words or any(word in row.name for word in words)]
    print(
        f"Python {platform.python_version()}, {platform.machine()}, {os.cpu_count()} cores; seconds, median of {RUNS}"
    )
    print(f"{'what':<50} {'ours':>8} {'against':>8} {'ratio':>7} {'at most':>7}")
    held = [measure(row) for row in rows]
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
