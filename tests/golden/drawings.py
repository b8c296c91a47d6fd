"""Figures of every pattern's drawing, so that a change of a pattern's arithmetic is seen, and in which part of it.

.venv/bin/python tests/golden/drawings.py

writes `drawings.toml` again; `git diff` then shows which patterns changed.
"""

from __future__ import annotations

import sys
import tomllib
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS
from patterns.signal import Matrix, Range, Sampling, Signal
from render.raster import draw_frame, frames_per_period

FILE = Path(__file__).with_name("drawings.toml")
SIGNALS = {
    "480i": Signal(range=Range.NARROW, matrix=Matrix.BT601, bits=8, sampling=Sampling.YCBCR_444),
    "720p60": Signal(range=Range.NARROW, matrix=Matrix.BT709, bits=8, sampling=Sampling.YCBCR_444),
}
ROWS, COLUMNS = 3, 4


def figures(pattern: str, name: str) -> list[float]:
    """Twelve of luma, row by row of the picture's parts, the means of both colour differences, and one of the patches.

    The first are in codes. A part's figure is the mean of its samples, weighted from 1 at its top left to 4 at its
    bottom right: what moves inside the part changes it too. A moving pattern is drawn at a third of its period, so that
    it is off its start. The patches' figure is the sum of their edges in picture widths and heights, weighted too.
    """
    fmt, signal = FORMATS[name], SIGNALS[name]
    scene = PATTERNS[pattern].scene(fmt, None, signal)
    luma, *differences = draw_frame(scene, fmt, signal, frames_per_period(scene, fmt) // 3)
    height, width = fmt.height // ROWS, fmt.width // COLUMNS
    weights = 1 + np.arange(width) / width + 2 * np.arange(height)[:, None] / height
    parts = luma[: ROWS * height, : COLUMNS * width].reshape(ROWS, height, COLUMNS, width).swapaxes(1, 2)
    found = [float((part * weights).mean()) for row in parts for part in row]
    found += [float(plane.mean()) for plane in differences]
    edges = (i * (one.left + 2 * one.top + 3 * one.right + 4 * one.bottom) for i, one in enumerate(scene.patches, 1))
    return [round(value, 4) for value in (*found, float(sum(edges)))]


def kept() -> dict[str, dict[str, list[float]]]:
    """The figures in the file, by format and pattern."""
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


def main() -> None:
    lines = ["# Figures of every pattern's drawing; `drawings.py` says what they are, and writes them."]
    for name in SIGNALS:
        lines += ["", f"[{name}]", *(f"{pattern} = {figures(pattern, name)}" for pattern in PATTERNS)]
    FILE.write_text("\n".join(lines) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
