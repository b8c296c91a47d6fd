"""Kill a kit at random moments and see what stands under a final name.

    .venv/bin/python tests/kill_kit.py 30 [--seed N] [--format F] [--seconds S] [--to DIR]

Each round starts `trueraster kit`, kills the command alone with SIGKILL after a random time, waits until its workers
are gone, proves every file that has a final name, and now and then spoils one. A last run must end complete. Prints
figures; exit 1 when a file was less than proved, something unfinished was left, or a run did not end.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import random
import re
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

from patterns.formats import parse_format
from render.carriers import CARRIERS
from render.produce import produce
from trueraster.kit.lock import locked
from trueraster.kit.plan import plan_kit

SCRIPT = Path(sys.executable).with_name("trueraster")
PROGRAM = [str(SCRIPT)] if SCRIPT.exists() else [sys.executable, "-c", "from trueraster.cli import main; main()"]


@dataclass(slots=True)
class Figures:
    """What was seen."""

    killed: int = 0
    finished: int = 0
    """Runs that were over before the kill came."""
    proved: int = 0
    """Files that were found under a final name after a kill, and compared."""
    longest_s: float = 0.0
    """Longest life of a worker after the kill."""
    faults: list[str] = field(default_factory=list)


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("count", type=int, help="how many kills")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--format", default="240p")
    parser.add_argument("--seconds", default="0.2")
    parser.add_argument("--to", help="an empty folder to work in")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as place:
        folder = Path(given.to or place) / "kit"
        figures = rounds(folder, given.count, given.format, given.seconds, random.Random(given.seed))
    print(f"{figures.killed} kills, {figures.finished} runs that were over before; {figures.proved} files compared")
    print(f"workers lived at most {figures.longest_s:.2f} s after the kill")
    for fault in figures.faults:
        print(f"FAULT {fault}")
    return 1 if figures.faults else 0


def rounds(folder: Path, count: int, fmt: str, seconds: str, chance: random.Random) -> Figures:
    """Kill `count` times, then let one run end."""
    figures = Figures()
    digests = reference(folder.parent / "reference", fmt, seconds)
    line = [*PROGRAM, "kit", "--format", fmt, "--seconds", seconds, "--to", str(folder), "--json"]
    start = time.monotonic()
    if subprocess.run(line, capture_output=True, check=False).returncode:
        figures.faults.append("the first run did not end well")
    whole = time.monotonic() - start
    for i in range(count):
        spoil(folder, digests, chance, all_of_it=i % 3 == 0)
        # From before the first file to after the last.
        process = subprocess.Popen(line, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            process.wait(chance.uniform(0.1, 1.1 * whole))
            figures.finished += 1
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
            figures.killed += 1
        killed = time.monotonic()
        # Its workers hold the lock as long as they live.
        with locked(folder, lambda: None):
            figures.longest_s = max(figures.longest_s, time.monotonic() - killed)
            check(folder, digests, figures, f"round {i}")
        # A step that comes later, as of a program that a worker had started, must not give a file its name.
        time.sleep(0.3)
        check(folder, digests, figures, f"round {i}, later")
    last = subprocess.run(line, capture_output=True, check=False, text=True)
    if last.returncode:
        figures.faults.append(f"the last run: exit {last.returncode}, {last.stderr.strip()}")
    check(folder, digests, figures, "at the end", allow_hidden=False)
    missing = digests.keys() - {path.name for path in folder.iterdir()}
    if missing or not json.loads((folder / "kit.json").read_text(encoding="utf-8"))["complete"]:
        figures.faults.append(f"the kit is not complete: {sorted(missing)}")
    return figures


def reference(folder: Path, fmt: str, seconds: str) -> dict[str, str]:
    """The hash of every file of the kit, made and proved here one after another, by name.

    Making is deterministic: a file is the proved one exactly when it has its bytes.
    """
    items = plan_kit([parse_format(fmt)], CARRIERS["h264"], seconds=float(seconds)).items
    return {item.name: produce(item.order, folder / item.name).sha256 for item in items}


def spoil(folder: Path, digests: dict[str, str], chance: random.Random, *, all_of_it: bool) -> None:
    """Take files away, all or some, so that there is work."""
    for name in digests:
        if all_of_it or chance.random() < 0.3:
            (folder / name).unlink(missing_ok=True)


def check(folder: Path, digests: dict[str, str], figures: Figures, when: str, *, allow_hidden: bool = True) -> None:
    """Every file with a final name is the proved one; the manifest is whole and lists only what was proved."""
    if not folder.exists():
        return
    for path in folder.iterdir():
        if re.match(r"\d+-\d+_", path.name):
            figures.proved += 1
            if digests.get(path.name) != hashlib.sha256(path.read_bytes()).hexdigest():
                figures.faults.append(f"{when}: {path.name} is not the proved file")
        elif path.name.endswith(".part") and not allow_hidden:
            figures.faults.append(f"{when}: {path.name} is left")
    try:
        listed = json.loads((folder / "kit.json").read_text(encoding="utf-8"))["files"]
    except FileNotFoundError:
        return
    except ValueError:
        figures.faults.append(f"{when}: the manifest is not whole")
        return
    for entry in listed:
        if digests.get(entry["path"]) != entry["sha256"]:
            figures.faults.append(f"{when}: the manifest has another {entry['path']}")


if __name__ == "__main__":
    sys.exit(main())
