"""Asks Debian's cvt, gtf and edid-decode for the timings of drawn modes and writes free_modes.toml.

Run it where xcvt, xserver-xorg-core and edid-decode are installed: `python tests/vectors/make_free_modes.py`.
"""

from __future__ import annotations

import random
import re
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

HERE = Path(__file__).parent
SEED = 7
COUNT = 260
"""Modes of each program."""

_ASPECTS = ((4, 3), (16, 9), (16, 10), (5, 4), (15, 9))
_HEAD = """\
# What {versions} printed for modes drawn at random. Made by make_free_modes.py; do not edit.
# cvt, cvt_reduced and gtf: the mode asked for, then the printed mode line's figures and signs of sync.
# edid_cvt and edid_gtf: the mode asked for and the version of reduced blanking, clock in MHz, horizontal front porch,
# sync, back porch and sign, vertical ones (an interlaced mode has half a line more in each field).
# video_codes: the same of edid-decode's table of CTA-861 modes, by number.
"""


def main() -> None:
    names = ("xcvt", "xserver-xorg-core", "edid-decode")
    versions = ", ".join(f"{name} {_run('dpkg-query', '-W', '-f', '${Version}', name)}" for name in names)
    text = _HEAD.format(versions=versions)
    for name, asked in (
        ("cvt", _cvt),
        ("cvt_reduced", _cvt_reduced),
        ("gtf", _gtf),
        ("edid_cvt", _edid_cvt),
        ("edid_gtf", _edid_gtf),
    ):
        rows = "".join(f'    "{row}",\n' for row in _rows(name, asked))
        text += f"\n{name} = [\n{rows}]\n"
    rows = "".join(f'    "{_video_code(code)}",\n' for code in range(1, 35))
    text += f"\nvideo_codes = [\n{rows}]\n"
    (HERE / "free_modes.toml").write_text(text, encoding="utf-8")


def _rows(name: str, asked: Callable[[random.Random], str | None]) -> Iterator[str]:
    drawn = random.Random(f"{SEED} {name}")
    made = 0
    while made < COUNT:
        row = asked(drawn)
        if row is not None:
            made += 1
            yield row


def _raster(drawn: random.Random, lowest: int = 200) -> tuple[int, int]:
    height = drawn.randrange(lowest, 1601, drawn.choice((2, 8)))
    if drawn.random() < 0.6:
        across, down = drawn.choice(_ASPECTS)
        return height * across // down // 8 * 8, height
    return drawn.randrange(320, 2561, 8), height


def _rate(drawn: random.Random) -> str:
    return drawn.choice((str(drawn.randint(45, 110)), f"{drawn.randint(4500, 11000) / 100:.2f}"))


def _cvt(drawn: random.Random) -> str:
    (width, height), rate = _raster(drawn), _rate(drawn)
    return f"{width}x{height}p@{rate} {_mode_line(_run('cvt', str(width), str(height), rate))}"


def _cvt_reduced(drawn: random.Random) -> str:
    width, height = _raster(drawn)
    return f"{width}x{height}p@60 {_mode_line(_run('cvt', '-r', str(width), str(height), '60'))}"


def _gtf(drawn: random.Random) -> str:
    (width, height), rate = _raster(drawn, 300), _rate(drawn)
    return f"{width}x{height}p@{rate} {_mode_line(_run('gtf', str(width), str(height), rate))}"


def _edid_cvt(drawn: random.Random) -> str | None:
    (width, height), rate = _raster(drawn), _rate(drawn)
    reduced, interlaced = drawn.choice((0, 0, 0, 1, 2)), drawn.random() < 0.3
    # In the other order the program forgets that it is interlaced.
    asked = f"w={width},h={height},fps={rate}{',interlaced' if interlaced else ''},rb={reduced}"
    return _edid_row(width, height, rate, interlaced, reduced, _run("edid-decode", "--cvt", asked))


def _edid_gtf(drawn: random.Random) -> str | None:
    (width, height), rate = _raster(drawn, 300), _rate(drawn)
    interlaced = height >= 600 and drawn.random() < 0.3
    asked = f"w={width},h={height},fps={rate}" + (",interlaced" if interlaced else "")
    return _edid_row(width, height, rate, interlaced, 0, _run("edid-decode", "--gtf", asked))


def _video_code(code: int) -> str:
    printed = _run("edid-decode", "--vic", str(code))
    found = re.search(r"(\d+)x(\d+)(i?) +([\d.]+) Hz", printed)
    assert found, printed
    row = _edid_row(int(found[1]), int(found[2]), found[4], bool(found[3]), 0, printed)
    return f"{code} {row.replace(' 0 ', ' ', 1)}"


def _edid_row(width: int, height: int, rate: str, interlaced: bool, reduced: int, printed: str) -> str:
    clock = re.search(r"([\d.]+) MHz", printed)
    h, v = (
        re.search(rf"{way}front +(-?\d+) {way}sync +(-?\d+) {way}back +(-?\d+) {way}pol ([PN])", printed)
        for way in "HV"
    )
    assert clock, printed
    assert h, printed
    assert v, printed
    assert interlaced == (f"{width}x{height}i" in printed), printed
    mode = f"{width}x{height}{'i' if interlaced else 'p'}@{rate} {reduced}"
    return " ".join([mode, clock[1], *h.groups(), *v.groups()])


def _mode_line(printed: str) -> str:
    found = re.search(r'Modeline "[^"]*"\s+(.*)', printed)
    assert found, printed
    return " ".join(found[1].lower().split())


def _run(*command: str) -> str:
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=20).stdout


if __name__ == "__main__":
    main()
