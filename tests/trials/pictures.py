"""Real pictures of a general library as captures without a word: none of them may be taken for a pattern.

.venv/bin/python tests/trials/pictures.py [--quick]

Every picture that ships with scikit-image, whole, cropped and turned, in five formats; not its chessboards, which are
drawings.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import cv2
import numpy as np
import skimage
from numpy.typing import NDArray

from patterns.formats import FORMATS
from trueraster.cli import run

__all__ = ["pictures", "recognised", "ways"]

FORMAT_IDS = ("480i", "576i", "720p50", "1080i50", "480p")
_DRAWN = ("chessboard_GRAY", "chessboard_RGB")


def pictures() -> dict[str, NDArray[np.uint8]]:
    """Every photograph, scan and drawing that is in the library's package, by name; B'G'R', 8 bits."""
    folder = Path(skimage.__file__).parent / "data"
    found = {}
    for path in sorted(folder.iterdir()):
        if path.suffix not in (".png", ".jpg", ".tif") or path.stem in _DRAWN:
            continue
        image = cv2.imread(str(path), cv2.IMREAD_COLOR)
        if image is not None and min(image.shape[:2]) >= 60:
            found[path.stem] = np.asarray(image, np.uint8)
    return found


def ways(image: NDArray[np.uint8], size: tuple[int, int]) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """The picture as a frame of `size`, width and height: stretched whole, its middle, and turned."""
    height, width = image.shape[:2]
    yield "whole", _sized(image, size)
    yield "cropped", _sized(image[height // 5 : -height // 5, width // 5 : -width // 5], size)
    yield "turned", _sized(np.ascontiguousarray(np.rot90(image)), size)


def _sized(image: NDArray[np.uint8], size: tuple[int, int]) -> NDArray[np.uint8]:
    return np.asarray(cv2.resize(image, size, interpolation=cv2.INTER_AREA), np.uint8)


def recognised(image: NDArray[np.uint8], format_id: str, path: Path) -> str:
    """What `verify` takes the frame for, or nothing where it refuses it."""
    cv2.imwrite(str(path), image, [cv2.IMWRITE_PNG_COMPRESSION, 1])
    said = io.StringIO()
    with contextlib.redirect_stdout(said), contextlib.redirect_stderr(io.StringIO()):
        code = run(["verify", str(path), "--format", format_id, "--json"])
    return "" if code == 2 else str(json.loads(said.getvalue())["pattern"])


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--quick", action="store_true", help="one format")
    asked = parser.parse_args()
    wrong, count, started = 0, 0, time.process_time()
    with tempfile.TemporaryDirectory() as folder:
        for name, image in pictures().items():
            for format_id in FORMAT_IDS[: 1 if asked.quick else None]:
                fmt = FORMATS[format_id]
                for way, frame in ways(image, (fmt.width, fmt.height)):
                    found = recognised(frame, format_id, Path(folder) / "frame.png")
                    count += 1
                    if found:
                        wrong += 1
                        print(f"{name}, {way}, {format_id}: taken for {found}", flush=True)
    print(f"{count} frames, {wrong} taken for a pattern, {time.process_time() - started:.0f} s of CPU")


if __name__ == "__main__":
    main()
