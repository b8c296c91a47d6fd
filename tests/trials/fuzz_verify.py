"""Many damaged, odd and altered frames through `verify`: `fuzz_verify.py COUNT [SEED]`.

Every case is made by numpy and Pillow from a number, so that one that is wrong can be made again. What has to hold is
the project's own: exit 0, 1 or 2 and no traceback; exit 2 has one line; a frame whose patches are further off than the
tolerance never passes, which is worked out here from the samples and the levels that were sent.
"""

from __future__ import annotations

import contextlib
import io
import json
import struct
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from analysis.frame.levels import Frame, Reference, check_levels
from analysis.frame.tolerance import Tolerance
from patterns.catalogue import PATTERNS
from patterns.formats import Format
from patterns.placement import patch_area
from patterns.scene import Patch, Scene
from patterns.signal import Matrix, Range, Sampling, Signal
from render.decode import Picture
from render.raster import draw_frame
from render.tags import Tags
from trueraster.cli import run
from trueraster.options.values import format_of

Image8 = NDArray[np.uint8]
Random = np.random.Generator

SMALL = ("64x48@60", "96x64i@50", "128x96@60")
ODD = ((1, 1), (2, 2), (1, 100), (3, 1000), (8000, 2), (7, 5), (33, 17), (720, 3))
RGB = Signal(range=Range.FULL, matrix=Matrix.BT601, bits=8, sampling=Sampling.RGB)
KINDS = ("bytes", "truncated", "damaged", "odd", "mode", "huge", "y4m", "random", "altered", "clean", "other", "levels")
OFTEN = (10, 12, 3, 2, 1, 4, 3, 0.5, 1.5, 3, 0.5, 30)
"""What takes long comes seldom, so that ten thousand take a quarter of an hour."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One file with the words that it is verified with."""

    kind: str
    path: Path
    words: tuple[str, ...]
    off: frozenset[str] = frozenset()
    """Patches of which arithmetic says that they are not as sent: where one is measured nothing passes."""
    must_pass: bool = False
    must_fail: bool = False


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What became of it; `wrong` is empty where all held."""

    code: int
    wrong: str
    seconds: float


@cache
def drawn(pattern: str, fmt: str) -> Image8:
    """The pattern as `draw` makes it: 8-bit R'G'B', full range."""
    return np.stack(draw_frame(_scene(pattern, fmt), format_of(fmt, None), RGB), -1).astype(np.uint8)


@cache
def _scene(pattern: str, fmt: str) -> Scene:
    return PATTERNS[pattern].scene(format_of(fmt, None))


@cache
def names(measurable: bool = False) -> tuple[str, ...]:
    return tuple(name for name in PATTERNS if not measurable or _scene(name, SMALL[0]).patches)


def saved(image: Image.Image, path: Path, **choices: Any) -> Path:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        image.save(path, **choices)
    return path


def made(seed: int, folder: Path) -> Case:
    """The case of that number."""
    random = np.random.default_rng([seed, 7])
    kind = str(random.choice(KINDS, p=np.array(OFTEN) / sum(OFTEN)))
    fmt = str(random.choice(SMALL))
    pattern = str(random.choice(names(kind in ("altered", "clean", "levels"))))
    words: tuple[str, ...] = ("--pattern", pattern, "--format", fmt)
    if random.random() < 0.1 and kind not in ("altered", "clean", "levels"):
        words = ("--format", fmt)
    off: frozenset[str] = frozenset()
    must_pass = must_fail = False
    base = folder / f"case-{seed}"
    if kind == "bytes":
        suffix = str(random.choice([".png", ".tif", ".dpx", ".y4m", ".mp4", ".mkv", ".jpg", ".bin", ".mpg", ".mov"]))
        path = base.with_suffix(suffix)
        path.write_bytes(random.bytes(int(random.integers(0, 3000))))
    elif kind in ("truncated", "damaged"):
        path = _container(random, drawn(pattern, fmt), base)
        data = bytearray(path.read_bytes())
        if kind == "truncated":
            data = data[: int(random.integers(0, len(data)))]
        else:
            for _ in range(int(random.integers(1, 12))):
                data[int(random.integers(0, len(data)))] = int(random.integers(0, 256))
        path.write_bytes(data)
    elif kind == "odd":
        width, height = ODD[int(random.integers(0, len(ODD)))]
        picture = random.integers(0, 256, (height, width, 3)).astype(np.uint8)
        path = saved(Image.fromarray(picture), base.with_suffix(".png"))
    elif kind == "mode":
        path = _mode(random, drawn(pattern, fmt), base)
    elif kind == "huge":
        path = _huge(random, base)
    elif kind == "y4m":
        path = _y4m(random, drawn(pattern, fmt), base.with_suffix(".y4m"))
    elif kind == "random":
        shape = drawn(pattern, fmt).shape
        kinds: list[Callable[[], Any]] = [
            lambda: random.integers(0, 256, shape),
            lambda: np.broadcast_to(random.integers(0, 256, 3), shape),
            lambda: np.clip(drawn(pattern, fmt) + random.normal(0, 80, shape), 0, 255),
            lambda: drawn(pattern, fmt)[:, random.permutation(shape[1])],
        ]
        which = int(random.integers(0, len(kinds)))
        picture = np.asarray(kinds[which](), np.uint8)
        # Noise alone is never a pattern, whatever it is taken for.
        must_fail = which == 0
        path = saved(Image.fromarray(picture), base.with_suffix(".png"))
        off = _off(picture, pattern, fmt)
    elif kind == "altered":
        picture = _altered(random, pattern, fmt)
        path = saved(Image.fromarray(picture), base.with_suffix(".png"))
        off = _off(picture, pattern, fmt)
    elif kind == "clean":
        words += ("--tolerance", "0")
        path = saved(Image.fromarray(drawn(pattern, fmt)), base.with_suffix(".png"))
        # A slate says how it was drawn, which the file does not; of the smallest scales the ticks run together.
        must_pass = pattern not in ("slate", "overscan") and _scene(pattern, fmt).is_still
    elif kind == "levels":
        path, words = base, (pattern, fmt)
    else:
        picture = drawn(str(random.choice(names())), fmt)
        path = saved(Image.fromarray(picture), base.with_suffix(".png"))
        off = _off(picture, pattern, fmt)
    if random.random() < 0.1 and kind not in ("altered", "levels"):
        words += (str(random.choice(["--range=narrow", "--range=full", "--matrix=709", "--frame=1", "--all"])),)
        off, must_pass = frozenset(), False
    if "--pattern" not in words:
        # Whatever it is taken for, it was not sent as that.
        off = frozenset()
    return Case(kind=kind, path=path, words=words, off=off, must_pass=must_pass, must_fail=must_fail)


def _inner(patch: Patch, fmt: Format) -> tuple[slice, slice] | None:
    """Rows and columns that surely lie inside a patch."""
    span = patch_area(fmt, patch, 0, 0)
    rows, columns = slice(max(span.top, 0), span.bottom), slice(max(span.left, 0), span.right)
    return (rows, columns) if rows.stop > rows.start and columns.stop > columns.start else None


def _off(picture: Image8, pattern: str, fmt: str) -> frozenset[str]:
    """Flat patches that have no sample within what any tolerance allows; of a clean frame, within one code."""
    format_ = format_of(fmt, None)
    scene = _scene(pattern, fmt)
    clean = _is_clean(picture, pattern, fmt)
    found = set()
    for patch in scene.patches:
        area = _inner(patch, format_)
        if area is None or patch.sloped or patch.thin:
            continue
        wanted = np.array(RGB.codes(patch.colour))
        part = picture[area].astype(int)
        # 2 % of 255 codes are 5.1, 4 % are 10.2, which is twice what a noisy frame is allowed.
        away, median = np.abs(part - wanted).max(axis=2), np.median(part.reshape(-1, 3), axis=0)
        limit = 1 if clean else 11
        if np.all(away > limit) and np.abs(median - wanted).max() > limit:
            found.add(patch.name)
    return frozenset(found)


def _is_clean(picture: Image8, pattern: str, fmt: str) -> bool:
    """Whether patches are flat, so that the frame is judged as a digital one."""
    format_ = format_of(fmt, None)
    spreads = []
    for patch in _scene(pattern, fmt).patches:
        area = _inner(patch, format_)
        if area is not None:
            spreads.append(float(picture[area][..., 0].std()))
    return bool(spreads) and float(np.median(spreads)) == 0


def _altered(random: Random, pattern: str, fmt: str) -> Image8:
    """The drawn picture with the whole of one flat patch, or everything, 3 codes or more off."""
    picture = drawn(pattern, fmt).astype(int)
    format_ = format_of(fmt, None)
    patches = [
        patch
        for patch in _scene(pattern, fmt).patches
        if not patch.sloped and not patch.thin and _inner(patch, format_) is not None
    ]
    by = int(random.choice([3, 4, 6, 12, 40])) * int(random.choice([-1, 1]))
    which = random.random(3) < 0.6
    which[int(random.integers(0, 3))] = True
    if patches and random.random() < 0.8:
        area = _inner(patches[int(random.integers(0, len(patches)))], format_)
        assert area is not None
        part = picture[area]
        # Toward the side that has room.
        part[...] = np.where(which, np.where((part + by < 0) | (part + by > 255), part - by, part + by), part)
    else:
        picture = np.where(which, picture + by, picture)
    return np.asarray(np.clip(picture, 0, 255), np.uint8)


def _container(random: Random, picture: Image8, base: Path) -> Path:
    image = Image.fromarray(picture)
    which = str(random.choice(["png", "tif", "jpg", "bmp", "webp", "gif", "y4m", "ppm"]))
    if which == "y4m":
        return _y4m(random, picture, base.with_suffix(".y4m"))
    return saved(image, base.with_suffix("." + which))


def _mode(random: Random, picture: Image8, base: Path) -> Path:
    """Grey, palette, transparent, one bit, 16 bits: whatever a picture file may hold."""
    image = Image.fromarray(picture)
    which = str(random.choice(["L", "LA", "P", "RGBA", "1", "I;16", "CMYK", "F", "cut", "large"]))
    if which == "I;16":
        deep = (picture[..., 0].astype(np.uint16) * 257).astype("<u2")
        return saved(Image.fromarray(deep), base.with_suffix(str(random.choice([".png", ".tif"]))))
    if which in ("CMYK", "F"):
        grey = image.convert("L").convert("F") if which == "F" else image.convert("CMYK")
        return saved(grey, base.with_suffix(".tif"))
    if which == "RGBA":
        alpha = Image.fromarray(random.integers(0, 256, picture.shape[:2]).astype(np.uint8))
        image.putalpha(alpha)
        return saved(image, base.with_suffix(".png"))
    if which == "cut":
        x, y = (int(random.integers(0, size // 2)) for size in image.size)
        return saved(image.crop((x, y, image.width, image.height)), base.with_suffix(".png"))
    if which == "large":
        return saved(image.resize((image.width * 2 + 1, image.height * 3)), base.with_suffix(".png"))
    return saved(image.convert(which), base.with_suffix(".png"))


def _huge(random: Random, base: Path) -> Path:
    """Files that claim more than they have, or than anyone has room for."""
    size = int(random.choice([65_535, 100_000, 1 << 30, (1 << 31) - 1, (1 << 32) - 1]))
    which = str(random.choice(["png", "bmp", "y4m", "dpx", "tif"]))
    path = base.with_suffix("." + which)
    if which == "png":
        saved(Image.new("RGB", (4, 4)), path)
        data = bytearray(path.read_bytes())
        data[16:24] = struct.pack(">II", size & 0x7FFFFFFF, size & 0x7FFFFFFF)
        import zlib

        data[29:33] = struct.pack(">I", zlib.crc32(data[12:29]))
        path.write_bytes(data)
    elif which == "y4m":
        path.write_bytes(f"YUV4MPEG2 W{size} H{size} F25:1 Ip A1:1 C444\nFRAME\n".encode() + bytes(100))
    elif which == "bmp":
        saved(Image.new("RGB", (4, 4)), path)
        data = bytearray(path.read_bytes())
        data[18:26] = struct.pack("<II", size & 0x7FFFFFFF, size & 0x7FFFFFFF)
        path.write_bytes(data)
    elif which == "dpx":
        data = bytearray(2048)
        data[0:4], data[4:8] = b"SDPX", struct.pack(">I", 2048)
        data[768:780] = struct.pack(">HHII", 0, 1, size, size)
        data[800:806] = bytes([50, 2, 2, 10, 0, 1])
        path.write_bytes(data)
    else:
        path.write_bytes(
            b"II*\x00\x08\x00\x00\x00"
            + struct.pack("<H", 4)
            + b"".join(
                struct.pack("<HHII", tag, 4, 1, value) for tag, value in ((256, size), (257, size), (258, 8), (273, 8))
            )
            + bytes(4)
        )
    return path


def _y4m(random: Random, picture: Image8, path: Path) -> Path:
    """All samplings of the kind, among them such as are not ours."""
    height, width = picture.shape[:2]
    which = str(random.choice(["420jpeg", "411", "422", "444", "mono", "420p10", "444alpha", "410", "nope"]))
    step = {"420jpeg": (2, 2), "411": (4, 1), "422": (2, 1), "420p10": (2, 2), "410": (4, 4)}.get(which, (1, 1))
    planes = [picture[..., 1], picture[:: step[1], :: step[0], 2], picture[:: step[1], :: step[0], 0]]
    if which == "mono":
        planes = planes[:1]
    if which == "444alpha":
        planes.append(picture[..., 0])
    data = b"".join(plane.astype("<u2" if which == "420p10" else "u1").tobytes() for plane in planes)
    rate = str(random.choice(["25:1", "60:1", "0:0", "1:0"]))
    scan = str(random.choice(["p", "t", "b", "?", "m"]))
    head = f"YUV4MPEG2 W{width} H{height} F{rate} I{scan} A{random.choice(['1:1', '0:0', '10:11'])} C{which}\n"
    path.write_bytes(head.encode() + b"FRAME\n" + data)
    return path


def measured(seed: int, case: Case) -> Outcome:
    """The patches of a random or altered frame alone, measured where they ought to be: quicker by far."""
    pattern, fmt = case.words
    random = np.random.default_rng([seed, 8])
    start = time.monotonic()
    if random.random() < 0.2:
        picture = random.integers(0, 256, drawn(pattern, fmt).shape).astype(np.uint8)
    else:
        picture = _altered(random, pattern, fmt)
    height, width = picture.shape[:2]
    tags = Tags(width=width, height=height, sampling=Sampling.RGB, bits=8)
    planes = (picture[..., 0], picture[..., 1], picture[..., 2])
    frame = Frame(path=case.path, index=0, picture=Picture(planes=planes, tags=tags), codec="made", provenance={})
    wrong = ""
    code = -1
    try:
        reference = Reference(scene=_scene(pattern, fmt), format=format_of(fmt, None), signal=RGB)
        # What is a code off is within the 2 % that pass where nothing is stated.
        found = check_levels(frame, reference, Tolerance(value=1.0))
        code = 0 if found.passed else 1
        off = _off(picture, pattern, fmt) & {reading.name for reading in found.readings}
        if found.passed and off:
            wrong = f"passes with {sorted(off)}, which arithmetic says are off"
    except Exception:
        wrong = traceback.format_exc()
    return Outcome(code=code, wrong=wrong, seconds=time.monotonic() - start)


def outcome(case: Case) -> Outcome:
    """Verify it in this process, and judge what came of it."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True) for _ in range(2))
    start = time.monotonic()
    wrong = ""
    code = -1
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err), warnings.catch_warnings():
            warnings.simplefilter("error")
            code = run(["verify", str(case.path), *case.words, "--json"])
    except BaseException:
        wrong = traceback.format_exc()
    took = time.monotonic() - start
    said, told = (stream.buffer.getvalue().decode("utf-8", "replace") for stream in (out, err))
    wrong = wrong or _wrong(case, code, said, told)
    return Outcome(code=code, wrong=wrong, seconds=took)


def _wrong(case: Case, code: int, said: str, told: str) -> str:
    if code not in (0, 1, 2):
        return f"exit {code}: {told}"
    if "Traceback" in told + said:
        return f"traceback: {told}"
    if code == 2 and (told.count("\n") != 1 or len(told) > 1000):
        return f"exit 2 without one line: {told!r}"
    if code == 2 and not said:
        # In a small frame a pattern may have nothing that can be measured.
        return f"refused: {told}" if case.must_pass and "can be measured here" not in told else ""
    try:
        answer = json.loads(said, parse_constant=lambda name: 1 / 0)
    except (ValueError, ZeroDivisionError):
        return f"no JSON: {said[:200]!r}"
    if (answer["verdict"] == "pass") != (code == 0):
        return f"verdict {answer['verdict']} with exit {code}"
    if code == 0 and case.must_fail:
        return "passes with nothing but noise"
    measured = case.off & {patch["name"] for patch in answer["patches"]}
    if code == 0 and measured:
        return f"passes with {sorted(measured)}, which arithmetic says are off"
    if code != 0 and case.must_pass:
        return f"fails what is as sent: {said[:300]}"
    return ""


def checked(seed: int, case: Case) -> Outcome:
    return measured(seed, case) if case.kind == "levels" else outcome(case)


def main() -> int:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    first = int(sys.argv[2]) if len(sys.argv) > 2 else 0
    codes: Counter[tuple[str, int]] = Counter()
    seconds = dict.fromkeys(KINDS, 0.0)
    wrong: list[str] = []
    slowest = (0.0, "")
    start = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + count):
            case = made(seed, Path(folder))
            found = checked(seed, case)
            case.path.unlink(missing_ok=True)
            codes[case.kind, found.code] += 1
            seconds[case.kind] += found.seconds
            slowest = max(slowest, (found.seconds, f"{seed} {case.kind} {' '.join(case.words)}"))
            if found.wrong:
                words = f"case {seed}, {case.kind}, {case.path.name} {' '.join(case.words)}: {found.wrong}"
                wrong.append(words)
                print(words, file=sys.stderr)
            if (seed + 1 - first) % 500 == 0:
                print(
                    f"{seed + 1 - first} of {count}, {time.monotonic() - start:.0f} s, {len(wrong)} wrong", flush=True
                )
    print(f"{'kind':<12}{'pass':>8}{'fail':>8}{'refused':>9}{'seconds':>9}")
    for kind in KINDS:
        row = [codes[kind, code] for code in (0, 1, 2)]
        print(f"{kind:<12}{row[0]:>8}{row[1]:>8}{row[2]:>9}{seconds[kind]:>9.1f}")
    print(f"{count} cases in {time.monotonic() - start:.0f} s, the slowest {slowest[0]:.2f} s ({slowest[1]})")
    print(f"{len(wrong)} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
