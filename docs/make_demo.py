"""Make the SIMULATED photographs, lens file and meter readings that `trueraster record demo` measures.

    .venv/bin/python docs/make_demo.py

They lie in `trueraster/record/demo`, so that an installed copy has them. Nothing in them was taken from a real tube, a
real camera or a real meter; every file says so.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(ROOT), str(ROOT / "docs")]

from make_photographs import demonstration, told, write_photograph  # noqa: E402

from tests.trials.photos.board import Board, board_cameras, board_photograph  # noqa: E402
from tests.trials.photos.photograph import save  # noqa: E402
from tests.trials.photos.sets import PhotoSet  # noqa: E402
from tests.trials.photos.tube import deflection, terms  # noqa: E402

TO = ROOT / "trueraster" / "record" / "demo"
SIZE = 1440, 1080
"""Pixels: enough for some hundredths of a millimetre, and a hundred kilobytes as JPEG."""
BOARDS = 12


def found() -> PhotoSet:
    """The set as it came in: that of the documents' photograph, in a smaller one."""
    one = demonstration()
    scale = SIZE[0] / one.camera.size[0]
    return replace(one, camera=replace(one.camera, size=SIZE, focal_px=one.camera.focal_px * scale))


def adjusted() -> PhotoSet:
    """The same once it has been adjusted: some tenths of what it was, and a bend that no control outside moves."""
    one = found()
    moved = deflection(402, 301.2, centre=(0.3, -0.2), rotation_deg=0.04, x={"uv2": 0.5}, y={"v2": 0.4})
    red, blue = terms({"1": -0.03, "u": 0.05, "u2": -0.08}), terms(None, {"1": 0.04, "u": -0.03})
    return replace(one, tube=replace(one.tube, deflection=moved, red=red, blue=blue))


PRIMARIES = ((0.630, 0.340), (0.310, 0.595), (0.155, 0.070))
"""Those of SMPTE C (SMPTE RP 145, from memory), red, green, blue."""
WHITE = (0.3127, 0.3290)
PEAK = 100.0
"""cd/m2."""
GAMMA = 2.4
LEVELS = (0, 5, *range(10, 101, 10))
COLOURS = {
    "red": (1, 0, 0),
    "green": (0, 1, 0),
    "blue": (0, 0, 1),
    "cyan": (0, 1, 1),
    "magenta": (1, 0, 1),
    "yellow": (1, 1, 0),
}
DARK = 0.002
"""cd/m2 below which the meter tells nothing."""
NOISE = 0.005, 0.0006
"""Standard deviation of the meter: of luminance, relative, and of x and y."""


def readings(drives: tuple[float, ...], cut_offs: tuple[float, ...], seed: int) -> str:
    """What a meter reads of a tube, as CSV: each gun's light is a power of drive times signal plus cut-off."""
    chance = np.random.default_rng(seed)
    per_luminance = np.array([(x / y, 1, (1 - x - y) / y) for x, y in PRIMARIES]).T
    x, y = WHITE
    # The luminance of each gun that makes white together.
    shares = np.linalg.solve(per_luminance, np.array([x / y, 1, (1 - x - y) / y]))
    lines = ["# SIMULATION: no real tube, no real meter", "field,level_percent,X,Y,Z"]
    shown = [("grey", level, (1, 1, 1)) for level in LEVELS] + [(name, 100, guns) for name, guns in COLOURS.items()]
    for name, level, guns in shown:
        signal = np.array(drives) * np.array(guns) * level / 100 + np.array(cut_offs)
        light = PEAK * shares * np.clip(signal, 0, None) ** GAMMA
        seen = per_luminance @ light
        luminance = seen[1] * (1 + NOISE[0] * chance.standard_normal())
        x, y = seen[:2] / max(seen.sum(), 1e-12) + NOISE[1] * chance.standard_normal(2)
        # Where the screen is dark a meter tells nothing.
        xyz = (0, 0, 0) if seen[1] < DARK else luminance / y * np.array((x, y, 1 - x - y))
        lines.append(f"{name},{level}," + ",".join(f"{value:.4f}" for value in xyz))
    return "\n".join(lines) + "\n"


def main() -> int:
    # With several threads sums come out otherwise in the last digits, each time.
    cv2.setNumThreads(1)
    TO.mkdir(exist_ok=True)
    for name, one in (("as-found", found()), ("after-adjustment", adjusted())):
        write_photograph(one, TO / f"{name}.jpg")
    for name, drives, cut_offs, seed in (
        # A cut-off of 0.03 for all lights black as it should be lit: some hundredths of a candela.
        ("as-found", (1.03, 0.99, 0.91), (0.034, 0.030, 0.054), 1),
        ("after-adjustment", (1.002, 0.999, 0.998), (0.031, 0.030, 0.0315), 2),
    ):
        (TO / f"{name}.csv").write_text(readings(drives, cut_offs, seed), encoding="utf-8")
    with tempfile.TemporaryDirectory() as passing:
        boards = [Path(passing) / f"board-{number:02d}.jpg" for number in range(BOARDS)]
        for number, camera in enumerate(board_cameras(found().camera, Board(), BOARDS, seed=2)):
            save(boards[number], board_photograph(camera, Board(), seed=number), quality=92)
        told("measure", "lens", *boards, "--to", TO / "lens.json")
    return 0


if __name__ == "__main__":
    sys.exit(main())
