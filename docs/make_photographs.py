"""Make the pictures of docs/photograph.md again: a SIMULATED photograph, measured by the commands.

.venv/bin/python docs/make_photographs.py

It takes a minute, so `make_docs.py --check` leaves it out.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from PIL import Image

from tests.photo_bench.photograph import save
from tests.photo_bench.sets import plain_set
from tests.photo_bench.tube import deflection, terms
from trueraster.cli import run

PICTURES = Path(__file__).resolve().with_name("pictures")
WIDTH = 1000
COLOURS = 32


def photographed(folder: Path) -> Path:
    """The bench's invented set: too wide, a little turned, pincushion at the sides, red and blue beside green."""
    one = plain_set(
        6.0,
        deflection=deflection(403, 298, centre=(1.5, -1.0), rotation_deg=0.4, x={"uv2": 3.0, "uv": 1.0}, y={"v2": 1.0}),
        red=terms({"1": 0.15, "u": 0.15}, {"v": -0.1}),
        blue=terms({"1": -0.1}, {"1": 0.2, "u": 0.1}),
    )
    return save(folder / "harbour-lane-simulated.png", one.photograph())


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        photo = photographed(folder)
        # The pictures say which photograph they are of.
        os.chdir(folder)
        for what in ("geometry", "convergence"):
            made = folder / f"{what}.png"
            words = [photo.name, "--format", "576i", "--marks-mm", "460x360", "--picture", str(made)]
            if run(["measure", what, *words]) != 0:
                sys.exit(f"{what} cannot be measured")
            with Image.open(made) as image:
                small = image.convert("RGB").resize((WIDTH, round(image.height * WIDTH / image.width)))
                small.quantize(COLOURS).save(PICTURES / f"photograph-{what}.png", optimize=True)


if __name__ == "__main__":
    main()
