"""The bench's budgets of time, warm: a session on a virtual display of 1920 x 1080, asked as a phone asks.

    .venv/bin/python tests/trials/bench_times.py

`tests/trials/budgets.py` prints these rows too. Exit 1 when one is over its budget.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

import cv2

from tests.bench import Page, bench
from tests.framebuffer import XVFB, display
from tests.trials.hostile_bench import FORMAT, HEIGHT, WIDTH, Figures, drawn, press_for
from tests.trials.photos.photograph import save
from tests.trials.photos.sets import plain_set

NAMES = (
    "photograph uploaded to figures",
    "clean 1080p capture to verdict",
    "typed reading to advice",
    "key to picture",
)
RUNS = 5
_TICKS = os.sysconf("SC_CLK_TCK")


def cpu_s(pid: int) -> float:
    """Seconds of CPU that a process and its children took (proc(5), fields 14 and 15 of stat)."""
    total = 0
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            fields = (entry / "stat").read_text().rpartition(")")[2].split()
        except OSError:
            continue
        if int(entry.name) == pid or int(fields[1]) == pid:
            total += int(fields[11]) + int(fields[12])
    return total / _TICKS


def printed(name: str, ours: float, most: float, unit: str) -> bool:
    held = ours <= most
    print(f"bench: {name:<43} {ours:8.0f} {unit} of {most:.0f}  {'held' if held else 'OVER'}")
    return held


def median_of(act: Callable[[], None], measured: Callable[[], float]) -> float:
    """The median of what an act adds to a counter; the first time, which loads libraries, is left out."""
    taken = []
    for _ in range(RUNS + 1):
        before = measured()
        act()
        taken.append(measured() - before)
    return statistics.median(taken[1:])


def rows() -> list[bool]:
    """Measure and print all of them; whether each was held."""
    if XVFB is None:
        print("bench: Debian's package xvfb is not installed, so nothing is measured")
        return []
    with tempfile.TemporaryDirectory() as name, display(WIDTH, HEIGHT) as shown:
        folder = Path(name)
        save(folder / "photograph.jpg", plain_set(12).photograph())
        wanted = drawn(folder, "centre", "crosshatch")
        with bench(folder / "set.json", environment=shown.environment) as (page, process):
            page.set_up(formats=f"480p {FORMAT}", job="geometry", accepts="30-33,66-69")
            page.do("marks_mm", "460x360")
            held = [_photograph(page, folder / "photograph.jpg")]
            held += _cpu(page, process.pid, folder / "crosshatch.png")
            page.do("go", f"{FORMAT}/centre")
            shown.wait_for(wanted[0])
            time.sleep(1.0)
            figures = Figures()
            press_for(shown, wanted, figures, "keys", threading.Event(), 40)
            return [*held, printed(NAMES[3], statistics.median(figures.times_ms["keys"]), 34, "ms")]


def _photograph(page: Page, photo: Path) -> bool:
    data = photo.read_bytes()

    def give() -> None:
        status, body = page.upload("photo", "480p/crosshatch", (photo.name, data))
        assert status == 200, body

    def blur() -> None:
        image = cv2.imread(str(photo))
        assert image is not None
        cv2.GaussianBlur(image, (0, 0), 5)

    ours, theirs = median_of(give, time.perf_counter), median_of(blur, time.perf_counter)
    print(f"bench: decoding and blurring that photograph takes {1000 * theirs:.0f} ms here")
    return printed(NAMES[0], 1000 * ours, max(3000 * theirs, 2000), "ms")


def _cpu(page: Page, pid: int, frame: Path) -> list[bool]:
    data = frame.read_bytes()

    def capture() -> None:
        status, body = page.upload("capture", f"{FORMAT}/crosshatch", (frame.name, data))
        assert status == 200, body

    page.do(
        "readings", "\n".join(f"{level} 0.313 0.329 {100 * (level / 100) ** 2.4:.3f}" for level in range(0, 101, 10))
    )

    def reading() -> None:
        page.do("readings", "20 0.313 0.329 2.1")
        status, body = page.upload("grey", f"{FORMAT}/crosshatch")
        assert status == 200, body

    return [
        printed(title, 1000 * median_of(act, lambda: cpu_s(pid)), most, "ms of CPU")
        for title, act, most in ((NAMES[1], capture, 100), (NAMES[2], reading, 200))
    ]


if __name__ == "__main__":
    sys.exit(0 if all(rows()) else 1)
