"""What the tests of the waveform share: files of ours decoded by the ffmpeg program, and traces out of CSV files."""

from __future__ import annotations

import csv
import json
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray

from tests.command import call

Floats = NDArray[np.float64]


def drawn(path: Path, pattern: str, fmt: str, *more: str) -> Path:
    """A short file of a pattern, by the project's own `draw`."""
    code, _, err = call("draw", pattern, "--format", fmt, "--to", str(path), *more)
    assert code == 0, err
    return path


def decoded(path: Path, kind: str, width: int, height: int) -> list[NDArray[np.uint16]]:
    """The first frame's planes as the ffmpeg program decodes them; `kind` is its pixel format of 16-bit words."""
    words = [get_ffmpeg_exe(), "-nostdin", "-v", "error", "-i", str(path), "-frames:v", "1", "-f", "rawvideo"]
    raw = subprocess.run([*words, "-pix_fmt", kind, "-"], capture_output=True, check=True, timeout=60).stdout
    data = np.frombuffer(raw, "<u2")
    wide = [width, width // 2, width // 2] if kind.startswith("yuv422") else [width] * 3
    planes, at = [], 0
    for each in wide:
        planes.append(data[at : at + each * height].reshape(height, each))
        at += each * height
    assert at == data.size
    return planes


def told(*words: str) -> dict[str, Any]:
    """The JSON of `scope`."""
    code, out, err = call("scope", *words, "--json")
    assert code == 0, err
    answer: dict[str, Any] = json.loads(out)
    return answer


def traced(path: Path, *words: str) -> dict[str, Floats]:
    """The columns of the CSV that `scope` writes."""
    code, _, err = call("scope", *words, "--to", str(path))
    assert code == 0, err
    with path.open(encoding="ascii") as file:
        rows = list(csv.reader(file))
    values = np.array(rows[1:], dtype=np.float64).T
    return dict(zip(rows[0], values, strict=True))


def passes(trace: dict[str, Floats], key: str, level: float, after: float, before: float) -> list[float]:
    """Where a trace passes through a level within a time, by a straight line between its points."""
    times, values = trace["us"], trace[key]
    found = []
    for i in np.flatnonzero((values[1:] > level) != (values[:-1] > level)):
        share = (level - values[i]) / (values[i + 1] - values[i])
        at = float(times[i] + share * (times[i + 1] - times[i]))
        if after < at < before:
            found.append(at)
    return found
