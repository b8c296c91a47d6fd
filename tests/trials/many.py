"""Many files verified at once: how much faster two processes are than one, a cluster that loses a worker, many names.

Prints, for captures that this file makes (bars with noise of their own):

- the time of `verify FOLDER --jobs 2` against `--jobs 1` that is pinned to one core;
- whether a scheduler and two workers over TCP, one of them killed on the way, give the same answers, nothing lost and
  nothing twice;
- memory and the time to the first line for very many tiny files.

.venv/bin/python tests/trials/many.py --frames 400 --names 100000
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

PROGRAM = [sys.executable, "-c", "from trueraster.cli import main; main()"]


def main() -> None:
    """Run what is asked for."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--frames", type=int, default=400)
    asked.add_argument("--names", type=int, default=100_000)
    typed = asked.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        captures(folder / "captures", typed.frames)
        answers = speed(folder / "captures")
        cluster(folder / "captures", answers)
        names(folder / "tiny", typed.names)


def captures(folder: Path, count: int) -> None:
    """Frames as a capture has them, each with noise of its own; every fifth has its range squeezed."""
    folder.mkdir()
    subprocess.run([*PROGRAM, "draw", "bars", "--as", "png", "--to", folder.parent / "bars.png"], check=True, stdout=-3)
    bars = np.asarray(Image.open(folder.parent / "bars.png").convert("RGB")).astype(float)
    random = np.random.default_rng()
    for i in range(count):
        shown = bars * 219 / 255 + 16 if i % 5 == 0 else bars
        noisy = np.clip(shown + random.normal(0, 1.0, shown.shape), 0, 255).round().astype(np.uint8)
        Image.fromarray(noisy).save(folder / f"capture-{i:04}.png", compress_level=1)


def verified(folder: Path, *more: str, cores: set[int] | None = None) -> tuple[dict[str, Any], float]:
    """The files' answers by name, and the seconds that they took."""
    begun = time.monotonic()
    done = subprocess.run(
        [*PROGRAM, "verify", folder, "--pattern", "bars", "--format", "480i", "--jsonl", *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        preexec_fn=None if cores is None else lambda: os.sched_setaffinity(0, cores),
    )
    took = time.monotonic() - begun
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    answers = {line["path"]: line for line in lines}
    assert len(answers) == len(lines), "a file came twice"
    return answers, took


def speed(folder: Path) -> dict[str, Any]:
    """One process on one core against two."""
    one, alone = verified(folder, "--jobs", "1", cores={min(os.sched_getaffinity(0))})
    two, both = verified(folder, "--jobs", "2")
    print(f"{len(one)} frames: one process {alone:.1f} s, two {both:.1f} s, {alone / both:.2f} x; same: {one == two}")
    return one


def cluster(folder: Path, wanted: dict[str, Any]) -> None:
    """A scheduler and two workers, one of which is killed after a third of the files."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        address = f"tcp://127.0.0.1:{free.getsockname()[1]}"
    programs = [[sys.executable, "-m", f"distributed.cli.dask_{name}"] for name in ("scheduler", "worker")]
    started = [started_process(*programs[0], "--host", "127.0.0.1", "--port", address.rpartition(":")[2])]
    time.sleep(4)
    workers = [started_process(*programs[1], address, "--nthreads", "1", "--no-nanny") for _ in range(2)]
    time.sleep(4)
    try:
        asked = [
            *PROGRAM,
            "verify",
            str(folder),
            "--pattern",
            "bars",
            "--format",
            "480i",
            "--jsonl",
            "--cluster",
            address,
        ]
        running = subprocess.Popen(asked, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        assert running.stdout is not None
        lines = []
        for line in running.stdout:
            lines.append(json.loads(line))
            if len(lines) == len(wanted) // 3:
                workers[0].send_signal(signal.SIGKILL)
        code = running.wait()
    finally:
        for process in (*workers, *started):
            process.kill()
            process.wait()
    got = {line["path"]: line for line in lines}
    print(
        f"cluster, one worker of two killed: {len(lines)} lines, {len(wanted.keys() - got.keys())} lost, "
        f"{len(lines) - len(got)} twice, same answers: {got == wanted}, exit {code}"
    )


def started_process(*words: str) -> subprocess.Popen[bytes]:
    """A process whose words nobody reads."""
    return subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def names(folder: Path, count: int) -> None:
    """Very many files that are no pictures: what is measured is what names alone cost."""
    folder.mkdir()
    for i in range(count):
        (folder / f"{i:06}.png").write_bytes(b"tiny")
    begun = time.monotonic()
    running = subprocess.Popen([*PROGRAM, "verify", folder], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    assert running.stdout is not None
    running.stdout.readline()
    first = time.monotonic() - begun
    lines = 1 + sum(1 for _ in running.stdout)
    _, status, used = os.wait4(running.pid, 0)
    took = time.monotonic() - begun
    print(
        f"{count} names: first line after {first:.2f} s, {lines} lines in {took:.0f} s, "
        f"{used.ru_maxrss / 1024:.0f} MB in the process that prints, exit {os.waitstatus_to_exitcode(status)}"
    )


if __name__ == "__main__":
    main()
