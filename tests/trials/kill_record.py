"""Kill changes of a record at random moments and see that it is whole: the old one or the new one.

    .venv/bin/python tests/trials/kill_record.py 100 [--seed N] [--writers N]

Each round starts some processes that add lines of work to one record without an end, as `trueraster record work` does,
and kills all of them with SIGKILL after a random time. What a process has said to be written must be there afterwards,
once and in its own order, and a line begun is there whole or not at all. Prints figures; exit 1 when anything was lost.
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from trueraster.record.changes import new_record, with_details
from trueraster.record.store import change_record, create_record, read_record

ROOT = Path(__file__).resolve().parents[2]
WRITER = """
import sys
from pathlib import Path
from trueraster.record.changes import with_work
from trueraster.record.store import change_record
path, name, start = Path(sys.argv[1]), sys.argv[2], int(sys.argv[3])
sys.stdout.write("ready\\n")
sys.stdout.flush()
for number in range(start, 10**9):
    change_record(path, lambda held: with_work(held, "2026-11-26", f"{name}-{number}"), lambda words: None)
    sys.stdout.write(f"{number}\\n")
    sys.stdout.flush()
"""
BULK = 200_000
"""Letters that every record carries, so that writing takes a while that a kill can meet."""


@dataclass(slots=True)
class Figures:
    """What was seen."""

    kills: int = 0
    changes: int = 0
    """Lines that a writer said were written."""
    left: int = 0
    """Unfinished files that a kill left behind; the next change takes them away."""
    faults: list[str] = field(default_factory=list)


def rounds(folder: Path, count: int, writers: int, chance: random.Random) -> Figures:
    """Kill `writers` processes `count` times."""
    figures = Figures()
    path = folder / "set.json"
    held = with_details(new_record("2026-11-26"), {"name": "14-inch monitor"}, {"kept": "x" * BULK})
    create_record(path, held, print)
    told = dict.fromkeys(range(writers), 0)
    for _ in range(count):
        running = [_start(path, name, number) for name, number in told.items()]
        for process in running:
            assert process.stdout is not None
            assert process.stdout.readline() == "ready\n"
        time.sleep(chance.uniform(0.0, 0.15))
        for process in running:
            os.kill(process.pid, signal.SIGKILL)
        said = {}
        for name, process in enumerate(running):
            lines = process.communicate()[0].splitlines()
            said[name] = int(lines[-1]) + 1 if lines else told[name]
            figures.changes += said[name] - told[name]
            figures.kills += 1
        figures.left += sum(one.name.endswith(".part") for one in folder.iterdir())
        told = _checked(path, said, figures)
        # The next change clears what was left, and nothing but the record stays.
        change_record(path, lambda held: {**held, "round": held.get("round", 0) + 1}, print)
        stray = sorted(one.name for one in folder.iterdir() if one != path)
        if stray:
            figures.faults.append(f"left after the next change: {stray}")
    return figures


def _start(path: Path, name: int, number: int) -> subprocess.Popen[str]:
    line = [sys.executable, "-c", WRITER, str(path), str(name), str(number)]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(map(str, (ROOT, *sys.path)))}
    return subprocess.Popen(line, stdout=subprocess.PIPE, text=True, env=environment)


def _checked(path: Path, said: dict[int, int], figures: Figures) -> dict[int, int]:
    """What each writer has in the record; it may be one line more than it could say."""
    try:
        record = read_record(path)
    except ValueError as error:
        figures.faults.append(str(error))
        return said
    found = {}
    for name, number in said.items():
        lines = [int(one.text.split("-")[1]) for one in record.work if one.text.startswith(f"{name}-")]
        if lines != list(range(len(lines))):
            figures.faults.append(f"writer {name}: lines are missing or twice")
        if len(lines) not in (number, number + 1):
            figures.faults.append(f"writer {name}: said {number} lines, the record has {len(lines)}")
        found[name] = len(lines)
    if record.unknown[:1] != ("kept",):
        figures.faults.append(f"keys that are not known: {record.unknown}")
    return found


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("count", type=int, help="how many rounds")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--writers", type=int, default=2)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        figures = rounds(Path(folder), given.count, given.writers, random.Random(given.seed))
    print(f"{figures.kills} kills, {figures.changes} changes written; {figures.left} unfinished files left and cleared")
    for fault in figures.faults:
        print(f"FAULT {fault}")
    return 1 if figures.faults else 0


if __name__ == "__main__":
    sys.exit(main())
