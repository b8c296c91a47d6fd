"""Make the SIMULATED photographs and the record that golden files are made of and no example has.

    .venv/bin/python tests/golden/make_inputs.py

Small ones: fields of white and red, an even field for the lens's fall-off, and ten of the calibration board.
"""

from __future__ import annotations

import contextlib
import io
import json
import shutil
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from docs.make_photographs import demonstration, uneven  # noqa: E402
from tests.trials.photos.board import Board, board_cameras, board_photograph, flat_field  # noqa: E402
from trueraster.cli import run  # noqa: E402

TO = Path(__file__).parent / "inputs"
SIZE = 800, 600
BOARDS = 10
BOARD_WIDTH = 1000


def main() -> int:
    cv2.setNumThreads(1)
    TO.mkdir(exist_ok=True)
    one = demonstration()
    scale = SIZE[0] / one.camera.size[0]
    one = replace(one, camera=replace(one.camera, size=SIZE, focal_px=one.camera.focal_px * scale))
    field = uneven(one)
    pictures = {
        "white": field.photograph(),
        "red": replace(field, colour="red").photograph(),
        "flat": flat_field(field.camera),
    }
    board, scale = Board(), BOARD_WIDTH / SIZE[0]
    size = BOARD_WIDTH, round(SIZE[1] * scale)
    lens = replace(one.camera, size=size, focal_px=one.camera.focal_px * scale)
    for number, camera in enumerate(board_cameras(lens, board, BOARDS, seed=2)):
        pictures[f"board-{number}"] = board_photograph(camera, board, seed=number)
    for name, codes in pictures.items():
        Image.fromarray(np.ascontiguousarray(codes)).save(TO / f"{name}.jpg", "JPEG", quality=80)
    return _record(TO / "demo.json")


def _record(path: Path) -> int:
    """The demo's record with results of every kind, and with one small picture in place of its large ones."""
    path.unlink(missing_ok=True)
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        made = "demo.json"
        if run(["record", "demo", "--to", made]):
            return 1
        for source in TO.glob("*.jpg"):
            shutil.copy(source, source.name)
        held = json.loads(Path(made).read_text(encoding="utf-8"))
        for stage in held["stages"].values():
            stage["pictures"] = []
        Path(made).write_text(json.dumps(held), encoding="utf-8")
        for name, words in (
            ("uniformity", ("measure", "uniformity", "white.jpg", "red.jpg", "--flat-field", "flat.jpg")),
            ("lens", ("measure", "lens", *(f"board-{number}.jpg" for number in range(BOARDS)), "--to", "lens.json")),
        ):
            answer = io.StringIO()
            with contextlib.redirect_stdout(answer):
                run([*words, "--json"])
            Path(f"{name}.json").write_text(answer.getvalue(), encoding="utf-8")
            run(["record", "add", made, "as-found", f"{name}.json", "--simulated", "--date", "2026-03-02"])
        picture = ("--picture", "red.jpg", "--caption", "Simulation: a red field")
        code = run(["record", "add", made, "after-adjustment", *picture, "--date", "2026-03-05"])
        shutil.copy(made, path)
    return code


if __name__ == "__main__":
    sys.exit(main())
