"""Print each budget of time as a ratio, measured side by side in one run: whole processes, the median of five (of
three for a kit, which takes long); then the time and the memory of a large kit.

    .venv/bin/python tests/trials/budgets.py            all rows
    .venv/bin/python tests/trials/budgets.py clip help  rows whose name contains one of the words

Both sides of a row run in turn, so that a slow moment of the machine meets both. Modules are compiled before, as those
of an installed program are, also where the shell keeps Python from writing them. Exit 1 when a row is over its budget.
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

from render.video.h264_clip import H264_WORDS

RUNS = 5
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
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
    runs: int = RUNS


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
        limit=0.05,
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
    limit=1.1,
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


MEASURE = """
from pathlib import Path
import sys
from tests.trials.photos.photograph import save
from tests.trials.photos.sets import plain_set
save(Path(sys.argv[1]) / "photograph.jpg", plain_set(12).photograph())
"""


def photographed(folder: Path) -> None:
    """A simulated photograph of 12 megapixels, its marks 460 x 360 mm apart."""
    if not (folder / "photograph.jpg").exists():
        subprocess.run([PYTHON, "-c", MEASURE, str(folder)], check=True)


PHOTO = Row(
    name="measure: geometry and convergence, 12 megapixels",
    prepare=photographed,
    ours=lambda f: [TRUERASTER, "measure", "raster", str(f / "photograph.jpg"), "--marks-mm", "460x360"],
    against=lambda f: [
        PYTHON,
        "-c",
        f"import cv2; cv2.GaussianBlur(cv2.imread({str(f / 'photograph.jpg')!r}), (0, 0), 5)",
    ],
    limit=3.5,
)

READINGS = """
import sys
from pathlib import Path
from tests.trials.meters.honest import draw_bench
from tests.trials.meters.meter import write_csv
from tests.trials.meters.nuisances import draw_nuisance
for name, bench in (("healthy", draw_bench(2)), ("clipped", draw_nuisance("gun-clipped", 2))):
    write_csv(Path(sys.argv[1]) / f"{name}.csv", bench.read())
"""


def read(folder: Path) -> None:
    """Readings of two simulated tubes, one of them with a clipped gun."""
    subprocess.run([PYTHON, "-c", READINGS, str(folder)], check=True)


def grey(name: str) -> Row:
    """A grey scale of 21 steps, read three times, against importing the library that its colours are tested by."""
    return Row(
        name=f"measure grey: 21 steps read three times, {name}",
        prepare=read,
        ours=lambda f: [TRUERASTER, "measure", "grey", str(f / f"{name}.csv")],
        against=lambda f: [PYTHON, "-c", "import colour"],
        limit=1.1,
    )


HELP = Row(
    name="help: trueraster --help",
    ours=lambda f: [TRUERASTER, "--help"],
    against=lambda f: [PYTHON, "-c", "import typer"],
    limit=1.2,
)

ONE_BY_ONE = """
import os, subprocess, sys
from patterns.formats import parse_format
from render.carriers import CARRIERS
from trueraster.kit.plan import plan_kit
os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
for item in plan_kit([parse_format("480i")], CARRIERS["h264"]).items:
    words = []
    for name, value in item.order.options.given.items():
        words += [f"--{name}", value if isinstance(value, str) else f"{float(100 * value):g}"]
    command = [sys.argv[1], "draw", item.order.pattern.id, "--as", "h264", "--to", sys.argv[2], *words]
    subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
"""

KIT = Row(
    name="kit: 480i h264, 60 s, against its clips on one core",
    ours=lambda f: [TRUERASTER, "kit", "--format", "480i", "--to", str(f / "ours")],
    against=lambda f: [PYTHON, "-c", ONE_BY_ONE, TRUERASTER, str(f / "theirs")],
    limit=0.5,
    runs=3,
)

RECORD = """
import base64, itertools, json, random, sys
from pathlib import Path
from trueraster.record.jsontext import write_json
folder, count, pictures = Path(sys.argv[1]), 1000, 100
demo = json.loads(Path("tests/golden/inputs/demo.json").read_text(encoding="utf-8"))
chance = random.Random(1)
def varied(value):
    if isinstance(value, float):
        return round(value * chance.uniform(0.99, 1.01), 6)
    if isinstance(value, dict):
        return {name: varied(part) for name, part in value.items()}
    return [varied(part) for part in value] if isinstance(value, list) else value
real = [(stage, entry) for stage, held in demo["stages"].items() for entry in held["results"]]
(picture,) = (entry for held in demo["stages"].values() for entry in held["pictures"])
for held in demo["stages"].values():
    held["results"], held["pictures"] = [], []
for _, (stage, entry) in zip(range(count - 1), itertools.cycle(real)):
    demo["stages"][stage]["results"].append({**entry, "result": varied(entry["result"])})
(folder / "record.json").write_bytes(write_json(demo))
# As large as JPEGs of 1600 x 1200 samples.
for _ in range(pictures):
    data = base64.b64encode(chance.randbytes(250_000)).decode()
    demo["stages"]["as-found"]["pictures"].append({**picture, "data": data})
(folder / "pictures.json").write_bytes(write_json(demo))
(folder / "result.json").write_text(json.dumps(varied(real[count % len(real)][1]["result"])))
"""

READ_AND_WRITE = """
import json, sys
with open(sys.argv[1], encoding="utf-8") as file:
    held = json.loads(file.read())
with open(sys.argv[2], "w", encoding="utf-8") as file:
    file.write(json.dumps(held))
"""


def recorded(folder: Path) -> None:
    """A record of 999 results, the same with pictures, and one result more."""
    subprocess.run([PYTHON, "-c", RECORD, str(folder)], check=True)


def record(title: str, name: str, words: Callable[[str], list[str]]) -> Row:
    """What is done with a large record, against reading and writing it by the standard library."""

    def ours(f: Path) -> list[str]:
        # Each time a record that has not been changed yet.
        shutil.copy(f / name, f / "set.json")
        return [TRUERASTER, "record", *words(str(f))]

    return Row(
        name=f"record {title}",
        prepare=recorded,
        ours=ours,
        against=lambda f: [PYTHON, "-c", READ_AND_WRITE, str(f / name), str(f / "theirs.json")],
        limit=3.0,
    )


def adding(folder: str) -> list[str]:
    return ["add", f"{folder}/set.json", "as-found", f"{folder}/result.json"]


def showing(folder: str) -> list[str]:
    return ["show", f"{folder}/set.json"]


def showing_json(folder: str) -> list[str]:
    return ["show", f"{folder}/set.json", "--json"]


RECORDS = (
    record("add: the 1,000th result", "record.json", adding),
    record("add: the same, with 100 pictures", "pictures.json", adding),
    record("show: 999 results", "record.json", showing),
    record("show: the same, with 100 pictures", "pictures.json", showing),
    record("show --json: 999 results", "record.json", showing_json),
)

ROWS = (
    *(still(pattern) for pattern in ("bars", "crosshatch", "circles")),
    MOVING,
    *(frame(pattern) for pattern in ("bars", "crosshatch", "circles", "dots", "overscan", "slate")),
    verify("bars_1080p59.94_narrow.mp4"),
    verify("bars_1080p59.94_full.png"),
    PHOTO,
    *(grey(name) for name in ("healthy", "clipped")),
    HELP,
    *RECORDS,
    KIT,
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
        for _ in range(row.runs):
            shutil.rmtree(folder / "ours", ignore_errors=True)
            pairs.append((seconds(row.ours(folder)), seconds(row.against(folder))))
    ours, theirs = (statistics.median(side) for side in zip(*pairs, strict=True))
    held = bool(ours / theirs <= row.limit)
    print(
        f"{row.name:<50} {ours:8.3f} {theirs:8.3f} {ours / theirs:7.3f} {row.limit:7.2f}  {'held' if held else 'OVER'}"
    )
    return held


LARGE_KIT = "large kit: 480i and 480p h264, 60 s"
LARGE_KIT_S, LARGE_KIT_MB = 90, 600


def measure_large_kit() -> bool:
    """Time and memory of a kit of two formats, all its processes together."""
    with tempfile.TemporaryDirectory() as name:
        command = [TRUERASTER, "kit", "--format", "480i", "--format", "480p", "--to", f"{name}/kit"]
        start, most = time.perf_counter(), 0.0
        with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
            while process.poll() is None:
                most = max(most, sum(memory_mb(each) for each in family(process.pid)))
                time.sleep(0.1)
        took = time.perf_counter() - start
    held = process.returncode == 0 and took <= LARGE_KIT_S and most <= LARGE_KIT_MB
    figures = f"{took:8.1f} s of {LARGE_KIT_S}, {most:.0f} MB of {LARGE_KIT_MB}"
    print(f"{LARGE_KIT:<50} {figures}  {'held' if held else 'OVER'}")
    return held


def family(process: int) -> list[int]:
    """A process and all that it has started, as Linux lists them."""
    children = Path(f"/proc/{process}/task/{process}/children")
    try:
        return [process, *(one for child in children.read_text().split() for one in family(int(child)))]
    except OSError:
        return []


def memory_mb(process: int) -> float:
    """The memory of a process, what it shares with others in parts."""
    try:
        words = Path(f"/proc/{process}/smaps_rollup").read_text().split()
        return int(words[words.index("Pss:") + 1]) / 1024
    except (OSError, ValueError):
        return 0.0


def main() -> int:
    words = sys.argv[1:]
    rows = [row for row in ROWS if not words or any(word in row.name for word in words)]
    print(
        f"Python {platform.python_version()}, {platform.machine()}, {os.cpu_count()} cores; seconds, median of {RUNS}"
    )
    print(f"{'what':<50} {'ours':>8} {'against':>8} {'ratio':>7} {'at most':>7}")
    held = [measure(row) for row in rows]
    if not words or any(word in LARGE_KIT for word in words):
        held.append(measure_large_kit())
    if not words or "bench" in words:
        # Only its rows need a display: half a second.
        from tests.trials.bench_times import rows as bench_rows

        held += bench_rows()
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
