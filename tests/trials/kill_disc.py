"""Kill `trueraster disc` at random moments and see what has a final name.

    .venv/bin/python tests/trials/kill_disc.py KIT 40 [--seed N] [--signal KILL|TERM|INT]

Each round starts the command on the kit KIT, of one line standard, ends it after a random time, and looks whether there
is an image. A last run must end well and leave nothing else. Prints figures; exit 1 when something is wrong.
"""

from __future__ import annotations

import argparse
import random
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from trueraster.disc.chapters import discs_of
from trueraster.disc.make import prove_image

SCRIPT = Path(sys.executable).with_name("trueraster")
PROGRAM = [str(SCRIPT)] if SCRIPT.exists() else [sys.executable, "-c", "from trueraster.cli import main; main()"]


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("kit", type=Path)
    parser.add_argument("count", type=int, help="how many kills")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--signal", default="KILL", choices=("KILL", "TERM", "INT"))
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        return rounds(given, Path(place), random.Random(given.seed))


def rounds(given: argparse.Namespace, folder: Path, chance: random.Random) -> int:
    """End the command `count` times, then let it run once."""
    image = folder / "out.iso"
    line = [*PROGRAM, "disc", str(given.kit), "--to", str(image)]
    start = time.monotonic()
    subprocess.run(line, capture_output=True, check=True)
    whole = time.monotonic() - start
    image.unlink()
    ended = finished = faults = 0
    for _ in range(given.count):
        process = subprocess.Popen(line, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            process.wait(chance.uniform(0.1, 1.05 * whole))
            finished += 1
        except subprocess.TimeoutExpired:
            process.send_signal(signal.Signals[f"SIG{given.signal}"])
            process.wait()
            ended += 1
        if image.exists():
            # It may have come just before the end; then it is a proved one.
            (disc,) = discs_of(given.kit)
            prove_image(image, disc, image.name)
            image.unlink()
            faults += process.returncode not in (0, -9, -15, 130)
    subprocess.run(line, capture_output=True, check=True)
    left = [path.name for path in folder.iterdir() if path != image]
    print(f"{ended} ended by SIG{given.signal}, {finished} were over before; {faults} faults; left at the end: {left}")
    return 1 if faults or left else 0


if __name__ == "__main__":
    sys.exit(main())
