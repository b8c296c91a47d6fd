"""Draw every pattern in every named format as H.264, and check each file against the limits of its level.

    .venv/bin/python tests/trials/h264_limits.py [--seconds 11] [--only '480i.*focus']

Prints for each file its level, its size for a minute, and what breaks a limit or is not exact.
Exit 1 where a limit is broken.
"""

from __future__ import annotations

import argparse
import re
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from patterns.catalogue import PATTERNS  # noqa: E402
from patterns.formats import FORMATS  # noqa: E402
from render.carriers import CARRIERS  # noqa: E402
from render.produce import Order, default_name, produce  # noqa: E402
from render.proof import Verdict  # noqa: E402
from tests.h264_reader import broken, read  # noqa: E402


def orders(only: str, seconds: float) -> Iterator[Order]:
    """Every pattern with each of a kit's options in every named format that it suits."""
    carrier = CARRIERS["h264"]
    for fmt in FORMATS.values():
        for pattern in PATTERNS.values():
            for options in pattern.variants:
                order = Order(
                    pattern=pattern,
                    options=options,
                    format=fmt,
                    signal=carrier.signal(fmt),
                    carrier=carrier,
                    seconds=seconds,
                )
                if pattern.suits(fmt) and re.search(only, f"{fmt.id} {default_name(order)}"):
                    yield order


def main() -> int:
    """Run the trial."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--seconds", type=float, default=11)
    parser.add_argument("--only", default="")
    chosen = parser.parse_args()
    count = over = 0
    with tempfile.TemporaryDirectory() as folder:
        for order in orders(chosen.only, chosen.seconds):
            path = Path(folder) / default_name(order)
            made = produce(order, path)
            faults, count = broken(path, order.format.frame_rate), count + 1
            over += bool(faults)
            size = path.stat().st_size / chosen.seconds * 60 / 1e6
            exact = made.proof.verdict is Verdict.EXACT
            level = read(path)[0].level
            note = "" if exact else f"; not exact: {made.proof.different} samples off by {made.proof.max_error_codes}"
            print(f"{path.name}: level {level}, {size:.1f} MB a minute{note}", *faults, sep="\n    ", flush=True)
            path.unlink()
    print(f"{count} files, {over} beyond a limit")
    return 1 if over else 0


if __name__ == "__main__":
    raise SystemExit(main())
