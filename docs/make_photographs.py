"""Make the SIMULATED photograph that the documents measure, its lens file, and the pictures that come of them.

    .venv/bin/python docs/make_photographs.py

Nothing here was taken from a real tube or a real camera: `tests/trials/photos` is a simulator, and every picture says
so. It is apart from `docs/make_docs.py` because it takes half a minute, and because the photograph's figures stand in
`docs/measure.md` and `docs/reference/glass.md`: who changes the set below changes them there too.
"""

from __future__ import annotations

import os
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from analysis.photo.sheets import SHEETS, write_sheet  # noqa: E402
from tests.trials.photos.board import Board, board_cameras, board_photograph, flat_field  # noqa: E402
from tests.trials.photos.camera import distorted, framed  # noqa: E402
from tests.trials.photos.photograph import save  # noqa: E402
from tests.trials.photos.scene import Shot  # noqa: E402
from tests.trials.photos.sets import PhotoSet, plain_set  # noqa: E402
from tests.trials.photos.tube import Blotch, Mask, MaskKind, deflection, terms  # noqa: E402
from trueraster.cli import run  # noqa: E402

DOCS = ROOT / "docs"
PICTURES = DOCS / "pictures"
PHOTO = Path("docs/examples/simulation.jpg")
LENS = Path("docs/examples/simulation-lens.json")
MARKS_MM = "470x360"
GLASS = ("--depth-mm", "0", "--glass-radius-mm", "flat")
QUALITY = 85
BOARDS = 14
WIDTH = 1000
"""Samples across of a picture on a page, a JPEG: noise makes a PNG large."""
PAGE_QUALITY = 80
SHEET_SCALE = 0.75
"""Samples of a sheet's picture to a point of 1/72 inch."""
SIGN = "SIMULATION"
SIGN_HEIGHT = 0.959
"""Where its base line is, as a share of the photograph: between the lower marks, below the figures of the bottom."""
NOTE = "SIMULATION: no real tube, no real camera"
FACE = ROOT / "render" / "data" / "DejaVuSansMono-Bold.ttf"


def main() -> int:
    # With several threads sums come out otherwise in the last digits, each time.
    cv2.setNumThreads(1)
    # The names stand in the pictures' headings, as the pages have them.
    os.chdir(ROOT)
    one = demonstration()
    write_photograph(one, PHOTO)
    with tempfile.TemporaryDirectory() as passing:
        folder = Path(passing)
        boards = [folder / f"board-{number:02d}.jpg" for number in range(BOARDS)]
        board = Board()
        for number, camera in enumerate(board_cameras(one.camera, board, BOARDS, seed=2)):
            save(boards[number], board_photograph(camera, board, seed=number), quality=92)
        told("measure", "lens", *boards, "--to", LENS)
        for what in ("geometry", "convergence"):
            drawn = folder / f"{what}.png"
            told("measure", what, PHOTO, "--marks-mm", MARKS_MM, "--lens", LENS, *GLASS, "--picture", drawn)
            smaller(drawn, PICTURES / f"measured-{what}.jpg")
        field, flat = uneven(one), folder / "flat.jpg"
        white = folder / "simulation-white.jpg"
        write_photograph(field, white)
        save(flat, flat_field(field.camera), quality=92)
        drawn = folder / "uniformity.png"
        os.chdir(folder)
        told("measure", "uniformity", white.name, "--flat-field", flat, "--picture", drawn)
        smaller(drawn, PICTURES / "measured-uniformity.jpg")
        for name in SHEETS:
            page = folder / f"{name}.pdf"
            write_sheet(SHEETS[name]("a4"), page)
            sheet_picture(page, PICTURES / f"sheet-{name}.png")
    return 0


def demonstration() -> PhotoSet:
    """A little wide, a little red on the left: a picture of 407 x 302 mm whose every error is given here in mm."""
    one = plain_set(
        3.1,
        name="demonstration",
        format_id="480i",
        deflection=deflection(407, 302, centre=(2.4, -1.1), rotation_deg=0.35, x={"uv2": 2.6}, y={"v2": 1.8}),
        red=terms({"1": -0.2, "u": 0.15, "u2": -0.3}),
        blue=terms(None, {"1": 0.22, "u": -0.1}),
        mask=Mask(kind=MaskKind.STRIPES, pitch_mm=0.25),
        width_mm=470.0,
        height_mm=360.0,
        tilt_deg=(5.0, -7.0),
        roll_deg=0.8,
        blur_px=0.7,
        chromatic=((1.2e-4, 1e-4), (-1e-4, 2e-4)),
        shot=Shot(room=0.22, exposure=0.8),
    )
    width = one.camera.size[0]
    camera = distorted(replace(one.camera, focal_px=2.6 * width), 0.8)
    reach = tuple(half + one.marks.reach for half in one.marks.corner)
    return replace(one, camera=framed(camera, (reach[0], reach[1])))


def uneven(one: PhotoSet) -> PhotoSet:
    """A white field with a place that a magnet has coloured."""
    blotch = Blotch(x_mm=110, y_mm=60, radius_mm=45, gain=(0.8, 1.05, 1.1))
    tube = replace(one.tube, deflection=deflection(400, 300), blotches=(blotch,))
    shot = replace(one.shot, room=0.0, exposure=0.75)
    return replace(one, tube=tube, pattern="field", colour="white", shot=shot)


def write_photograph(one: PhotoSet, path: Path) -> None:
    """As a camera would, with colour at full size, and with the word on the bezel that says what it is."""
    image = Image.fromarray(np.ascontiguousarray(one.photograph()))
    height = image.height // 45
    font = ImageFont.truetype(str(FACE), height)
    draw = ImageDraw.Draw(image)
    draw.text((image.width / 2, SIGN_HEIGHT * image.height), SIGN, fill=(150, 150, 150), font=font, anchor="ms")
    notes = Image.Exif()
    notes[0x010E] = NOTE  # EXIF 2.3, ImageDescription (from memory)
    image.save(path, "JPEG", quality=QUALITY, subsampling=0, optimize=True, exif=notes)


def told(*words: object) -> None:
    """A command of ours, which has to succeed."""
    print("trueraster", *words)
    if run([str(word) for word in words]) != 0:
        raise SystemExit(1)


def smaller(source: Path, target: Path) -> None:
    """A picture for a page, with a strip below that says what it is."""
    with Image.open(source) as image:
        size = WIDTH, round(image.height * WIDTH / image.width)
        small = image.convert("RGB").resize(size, Image.Resampling.LANCZOS)
    font = ImageFont.truetype(str(FACE), WIDTH // 62)
    page = Image.new("RGB", (WIDTH, small.height + 2 * font.size), (90, 60, 0))
    page.paste(small, (0, 0))
    middle = WIDTH / 2, small.height + font.size
    ImageDraw.Draw(page).text(middle, NOTE, fill=(255, 255, 255), font=font, anchor="mm")
    page.save(target, "JPEG", quality=PAGE_QUALITY, subsampling=0, optimize=True)


def sheet_picture(page: Path, target: Path) -> None:
    import pypdfium2

    document = pypdfium2.PdfDocument(page)
    image = document[0].render(scale=SHEET_SCALE, grayscale=True).to_pil()
    document.close()
    framed_page = Image.new("L", (image.width + 2, image.height + 2), 150)
    framed_page.paste(image, (1, 1))
    framed_page.save(target, optimize=True)


if __name__ == "__main__":
    sys.exit(main())
