"""SIMULATION: a hundred odd photographs: broken files, pictures of other things, screenshots, and odd simulated ones.

.venv/bin/python tests/trials/photos/odd.py [--megapixels 1]

Each is given to `measure geometry`, `measure convergence` and `measure uniformity`. What cannot be measured has to be
refused in one line with exit code 2; what can be has to be measured. It prints how each was refused, and what was not
so.
"""

from __future__ import annotations

import argparse
import struct
import sys
import tempfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[3]))

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.command import call
from tests.trials.photos.photograph import save
from tests.trials.photos.sets import odd, plain_set

Codes = NDArray[np.uint8]

COMMANDS = ("geometry", "convergence", "uniformity")


def _png(width: int, height: int) -> bytes:
    """A PNG that claims to be that large and holds nothing."""
    head = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + struct.pack(">I", 13) + head + struct.pack(">I", zlib.crc32(head))


def broken(good: bytes) -> Iterator[tuple[str, bytes]]:
    """Files that are no whole photograph, by name."""
    rng = np.random.default_rng(1)
    for share in (0.001, 0.01, 0.1, 0.3, 0.5, 0.7, 0.9):
        yield f"cut at {share:g}.jpg", good[: int(len(good) * share)]
    for i in range(8):
        changed = np.frombuffer(good, np.uint8).copy()
        changed[rng.integers(0, 600, 12)] = rng.integers(0, 256, 12)
        yield f"head broken {i}.jpg", changed.tobytes()
    for i in range(4):
        yield f"noise {i}.jpg", b"\xff\xd8\xff" + rng.bytes(4000)
    for width, height in ((60_000, 60_000), (2**31 - 1, 1), (0, 0), (1, 60_000)):
        yield f"claims {width}x{height}.png", _png(width, height)
    for name, data in (
        ("empty", b""),
        ("text", b"no photograph\n" * 50),
        ("nought", bytes(5000)),
        ("pdf", b"%PDF-1.7\n"),
    ):
        for ending in ("jpg", "png", "tiff"):
            yield f"{name}.{ending}", data


def drawn() -> Iterator[tuple[str, Codes]]:
    """Pictures without a tube, by name."""
    rng = np.random.default_rng(2)
    x, y = np.meshgrid(np.arange(900), np.arange(700))
    shapes = {
        "black": 0 * x,
        "white": 0 * x + 255,
        "grey": 0 * x + 128,
        "noise": rng.integers(0, 256, x.shape),
        "ramp across": x * 255 // 900,
        "ramp down": y * 255 // 700,
        "chessboard": 255 * ((x // 50 + y // 50) % 2),
        "fine chessboard": 255 * ((x // 4 + y // 4) % 2),
        "stripes across": 255 * (x // 20 % 2),
        "stripes down": 255 * (y // 20 % 2),
        "rings": (127 + 127 * np.sin(np.hypot(x - 450, y - 350) / 9)).astype(int),
        "one line": 255 * (np.abs(x - 450) < 3),
        "one cross": 255 * ((np.abs(x - 450) < 3) | (np.abs(y - 350) < 3)),
        "a window of tiles": 40 + 200 * ((x % 120 > 6) & (y % 120 > 6)),
        "text as of a screen": 255 * (rng.random((700, 900)) < 0.06),
    }
    for name, picture in shapes.items():
        yield name, np.repeat(np.clip(picture, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    scene = np.zeros((700, 900, 3))
    for step in (4, 16, 64, 256):
        coarse = rng.normal(size=(700 // step + 2, 900 // step + 2, 3)) * step**0.7
        scene += cv2.resize(coarse, (900, 700))
    yield "a landscape of noise", np.clip(128 + 6 * scene, 0, 255).astype(np.uint8)


def kinds(photo: Codes) -> Iterator[tuple[str, Callable[[Path], object]]]:
    """A good photograph in kinds of file that are seldom, by name."""
    image = Image.fromarray(photo)
    yield "grey.jpg", lambda path: image.convert("L").save(path)
    yield "palette.png", lambda path: image.quantize(64).save(path)
    yield "transparent.png", lambda path: image.convert("RGBA").save(path)
    yield "cmyk.jpg", lambda path: image.convert("CMYK").save(path)
    yield "two colours.png", lambda path: image.convert("1").save(path)
    yield "16 bits.tiff", lambda path: cv2.imwrite(str(path), photo[..., ::-1].astype(np.uint16) * 257)
    yield "moving.gif", lambda path: image.save(path, save_all=True, append_images=[image, image])
    yield "webp.webp", lambda path: image.save(path)
    yield "bmp.bmp", lambda path: image.save(path)
    yield "tiny.png", lambda path: image.resize((1, 1)).save(path)
    yield "thumbnail.jpg", lambda path: image.resize((160, 120)).save(path)
    yield "quarter of the quality.jpg", lambda path: image.save(path, quality=15)
    yield "thin.png", lambda path: image.resize((4000, 40)).save(path)


def written(folder: Path, megapixels: float) -> Iterator[tuple[str, Path, bool | None]]:
    """Every odd photograph: its name, its file, and whether it can be measured; None where that is left open."""
    usual = plain_set(megapixels, format_id="576i", quality=90)
    good = usual.photograph()
    whole = save(folder / "good.jpg", good, quality=90)
    yield "good", whole, True
    for name, data in broken(whole.read_bytes()):
        (folder / name).write_bytes(data)
        yield name, folder / name, None if "head broken" in name or "0.9" in name else False
    for name, picture in drawn():
        yield f"{name}, without marks", save(folder / f"{name}.png", picture), False
    for name, write in kinds(good):
        write(folder / name)
        yield name, folder / name, None
    for shot in odd(megapixels):
        yield shot.name, save(folder / f"{shot.name}.jpg", shot.photograph(), quality=shot.of.quality), None


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--megapixels", type=float, default=1.0)
    typed = parser.parse_args()
    wrong, many = [], 0
    with tempfile.TemporaryDirectory() as passing:
        for name, path, measurable in written(Path(passing), typed.megapixels):
            many += 1
            for command in COMMANDS:
                size = ["--no-marks"] if "without marks" in name else ["--marks-mm", "460x360"]
                marks = [] if command == "uniformity" else [*size, "--format", "576i"]
                ran = call("measure", command, path, *marks)
                line = ran.err.strip().replace(passing + "/", "")
                is_clean = ran.code == 0 or (ran.code == 2 and ran.out == "" and ran.err.count("\n") == 1)
                expected = measurable is None or command == "uniformity" or (ran.code == 0) == measurable
                if not (is_clean and expected):
                    wrong.append(f"{name}, {command}: exit {ran.code}: {line[-300:]}")
                print(f"{name}: {command}: {'measured' if ran.code == 0 else line[:200]}", flush=True)
    print(f"\n{many} odd photographs, {len(COMMANDS)} commands each: {len(wrong)} not as they should be")
    print("\n".join(wrong))
    return int(bool(wrong))


if __name__ == "__main__":
    sys.exit(main())
