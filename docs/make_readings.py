"""Make docs/examples/*-readings.csv and their plots: SIMULATED readings of invented sets, for grey.md.

    .venv/bin/python docs/make_readings.py

Nothing in them was taken from a real tube or a real meter, and the files say so; but for the colours of
`crt-readings.csv`, which are those of a real tube's phosphors, as they were measured.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
from PIL import Image

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from tests.trials.meters.meter import FEW, FIELDS, ColourMeter, Shown, write_csv  # noqa: E402
from tests.trials.meters.tube import Tube  # noqa: E402

PRIMARIES = {"red": (0.634, 0.341), "green": (0.305, 0.592), "blue": (0.158, 0.078)}
"""SMPTE C's but for the blue, which other light makes paler."""
WHITE = (0.3145, 0.3310)
"""Nearly D65."""
PEAK = 96.0
"""cd/m2 of red, green and blue together."""
BLACK = 0.04
HELD_BACK = 0.93
"""What the set gives of white, for its beam current is limited."""
NOISE = 0.004, 0.0004
"""Standard deviation of the meter: of luminance, relative, and of x and y."""
TO = ROOT / "docs" / "examples" / "colour-readings.csv"
GREY = ROOT / "docs" / "examples" / "grey-readings.csv"
CRT = ROOT / "docs" / "examples" / "crt-readings.csv"
CRT_SAYS = "spectra of a real CRT's phosphors (MSDS_DISPLAY_PRIMARIES, Brainard 1997); guns and meter are SIMULATION"
CRT_WHITE, CRT_CUTOFF, CRT_GAMMA = 85.0, 0.03, 2.4
"""cd/m2, and of the drive range: assumed, since the spectra are relative and of full light only."""
SAYS = "SIMULATION of an invented set for these pages: no real tube, no real meter"


def main() -> int:
    chance = np.random.default_rng(7)
    guns = np.array([(x / y, 1, (1 - x - y) / y) for x, y in PRIMARIES.values()]).T
    x, y = WHITE
    light = guns * np.linalg.solve(guns, [x / y, 1, (1 - x - y) / y]) * PEAK
    black = light.sum(axis=1) * BLACK / PEAK
    red, green, blue = light.T
    shown = [("grey", 0, 0 * red), ("grey", 100, (red + green + blue) * HELD_BACK)]
    shown += [("red", 100, red), ("green", 100, green), ("blue", 100, blue)]
    shown += [("cyan", 100, green + blue), ("magenta", 100, red + blue), ("yellow", 100, red + green)]
    lines = [f"# {SAYS}"]
    lines.append("field,level_percent,x,y,luminance")
    for name, level, xyz in shown:
        seen = xyz + black
        spot = seen[:2] / seen.sum() + NOISE[1] * chance.standard_normal(2)
        luminance = seen[1] * (1 + NOISE[0] * chance.standard_normal())
        lines.append(f"{name},{level},{spot[0]:.4f},{spot[1]:.4f},{luminance:.4g}")
    TO.write_text("\n".join(lines) + "\n", encoding="utf-8")
    _plots("colour", TO, ("diagram", "targets"))
    write_csv(GREY, _grey_readings(), SAYS)
    _plots("grey", GREY, ("guns", "places", "light", "error"))
    write_csv(CRT, _crt_readings(), CRT_SAYS)
    return 0


def _crt_readings() -> list[Shown]:
    """A real tube's phosphors at their measured proportions, behind guns of an assumed power of 2.4."""
    import colour

    spectra = colour.MSDS_DISPLAY_PRIMARIES["Typical CRT Brainard 1997"]
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(spectra.shape)
    xyz = spectra.values.T @ observer.values
    light = xyz[:, 1] / xyz[:, 1].sum() * CRT_WHITE
    tube = Tube(
        primaries=xyz[:, :2] / xyz.sum(axis=1, keepdims=True),
        peak=light / (1 + CRT_CUTOFF) ** CRT_GAMMA,
        drive=np.ones(3),
        cutoff=np.full(3, CRT_CUTOFF),
        gamma=np.full(3, CRT_GAMMA),
        room=np.zeros(3),
    )
    meter = ColourMeter(chance=np.random.default_rng(13), luminance=NOISE[0], xy=NOISE[1])
    return meter.shown(tube, [*(("grey", float(level)) for level in FEW), *((name, 100.0) for name in FIELDS)])


def _grey_readings() -> list[Shown]:
    """A set whose dark greys are greenish and whose whites are bluish, read three times."""
    primaries = np.array([*PRIMARIES.values()])
    x, y = primaries.T
    matrix = np.array([x / y, np.ones(3), (1 - x - y) / y])
    tube = Tube(
        primaries=primaries,
        peak=np.linalg.solve(matrix, [0.3127 / 0.3290, 1, 0.3583 / 0.3290]) * PEAK,
        drive=np.array([0.94, 1.0, 1.06]),
        cutoff=np.array([0.011, 0.034, 0.020]),
        gamma=np.array([2.36, 2.38, 2.37]),
        room=np.zeros(3),
    )
    meter = ColourMeter(chance=np.random.default_rng(11))
    return meter.scale(tube, levels=FEW, repeats=3)


def _plots(command: str, readings: Path, names: tuple[str, ...]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        words = ["measure", command, str(readings.relative_to(ROOT)), "--plots", folder]
        main_line = "from trueraster.cli import main; main()"
        subprocess.run([sys.executable, "-c", main_line, *words], check=True, cwd=ROOT, timeout=120)
        for name in names:
            with Image.open(Path(folder) / f"{command}-{name}.png") as plot:
                # A plot has few colours.
                small = plot.convert("RGB").quantize(256, dither=Image.Dither.NONE)
            small.save(ROOT / "docs" / "pictures" / f"measured-{command}-{name}.png", optimize=True)


if __name__ == "__main__":
    sys.exit(main())
