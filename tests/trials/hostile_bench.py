"""Ask the bench 500 things that it has to refuse, then open 1,000 connections, and see that the screen goes on.

    .venv/bin/python tests/trials/hostile_bench.py [--requests 500] [--connections 1000]

On a virtual display of 1920 x 1080 a key is pressed again and again, and the time until the framebuffer holds the next
pattern is taken: in peace, during the requests, while one of them is measured, and with all connections open. Prints
times, and the memory of all processes of the bench; exit 1 when a refusal is more than one line, a key took more than
100 ms, or the memory is over 900 MB.
"""

from __future__ import annotations

import argparse
import http.client
import os
import random
import socket
import statistics
import sys
import tempfile
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.bench import PHOTO, Page, bench
from tests.framebuffer import Display, display
from trueraster.cli import run

MOST_MS, MOST_MB = 100.0, 900.0
WIDTH, HEIGHT, FORMAT = 1920, 1080, "1080p59.94"


@dataclass(slots=True)
class Figures:
    """What was seen."""

    times_ms: dict[str, list[float]] = field(default_factory=dict)
    most_mb: float = 0.0
    refused: dict[int, int] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)


def drawn(folder: Path, *names: str) -> list[NDArray[np.uint8]]:
    found = []
    for name in names:
        path = folder / f"{name}.png"
        run(["draw", name, "--format", FORMAT, "--as", "png", "--range", "full", "--to", str(path)])
        with Image.open(path) as image:
            found.append(np.asarray(image.convert("RGB")))
    return found


def press_for(
    shown: Display, wanted: list[NDArray[np.uint8]], figures: Figures, phase: str, busy: threading.Event, least: int
) -> None:
    """Go forth and back between two patterns until `busy` is over and so many keys were pressed."""
    taken = figures.times_ms.setdefault(phase, [])
    keys, count = ("Right", "Left"), 0
    while count < least or busy.is_set():
        target = wanted[1 - count % 2]
        begun = time.perf_counter()
        shown.press(keys[count % 2])
        while not shown.holds(target):
            if time.perf_counter() - begun > 5:
                figures.faults.append(f"{phase}: the framebuffer did not change in 5 s")
                return
        taken.append(1000 * (time.perf_counter() - begun))
        count += 1
        time.sleep(0.15)


def hostile(page: Page, number: int, chance: random.Random) -> tuple[int, bytes]:
    """One request that has to be refused."""
    good, host, port = page.path, *page.host.split(":")
    post = {"Content_Type": "application/x-www-form-urlencoded"}
    photo = PHOTO.read_bytes()
    kind = number % 10
    if kind == 0:
        return page.ask("GET", "/" + "x" * chance.randint(0, 3000))[:2]
    if kind == 1:
        return page.ask("GET", good, Host=f"evil{number}.example")[:2]
    if kind == 2:
        return page.ask("POST", good + "do", b"do=black", Origin="http://evil.example", **post)[:2]
    if kind == 3:
        return raw(
            host, int(port), f"POST {good}upload HTTP/1.1\r\nHost: {page.host}\r\nContent-Length: 9999999999\r\n"
        )
    if kind == 4:
        return page.upload("photo", f"{FORMAT}/crosshatch", ("a.jpg", photo[: chance.randint(3, len(photo) // 2)]))
    if kind == 5:
        return page.ask("GET", good + "static/" + "../" * chance.randint(1, 20) + "etc/passwd")[:2]
    if kind == 6:
        return page.ask("POST", good + "do", os.urandom(chance.randint(1, 60_000)), **post)[:2]
    if kind == 7:
        return page.ask("POST", good + "upload", os.urandom(20_000), Content_Type="multipart/form-data; boundary=x")[:2]
    if kind == 8:
        return raw(host, int(port), "\0\1\2" * chance.randint(1, 9000))
    return page.upload("capture", f"{FORMAT}/crosshatch", ("../../a.png", b"\x89PNG\r\n\x1a\n" + os.urandom(30_000)))


def raw(host: str, port: int, text: str) -> tuple[int, bytes]:
    """Bytes as they are; status and body of what comes back, 0 where the connection was just closed."""
    with socket.create_connection((host, port), 20) as connection:
        connection.sendall(text.encode() + b"\r\n")
        answer = http.client.HTTPResponse(connection)
        try:
            answer.begin()
            return answer.status, answer.read()
        except (http.client.HTTPException, OSError):
            return 0, b""


def ask_all(page: Page, count: int, figures: Figures, busy: threading.Event) -> None:
    """All hostile requests from four threads, with some slow ones held open."""
    slow = [socket.create_connection(tuple(page.host.split(":")), 20) for _ in range(20)]  # type: ignore[arg-type]
    for one in slow:
        one.sendall(f"POST {page.path}do HTTP/1.1\r\nHost: {page.host}\r\nContent-Length: 50\r\n".encode())
    numbers, lock = iter(range(count)), threading.Lock()

    def some(seed: int) -> None:
        chance = random.Random(seed)
        while True:
            with lock:
                number = next(numbers, None)
            if number is None:
                return
            try:
                status, body = hostile(page, number, chance)
            except (OSError, http.client.HTTPException):
                status, body = 0, b""
            figures.refused[status] = figures.refused.get(status, 0) + 1
            if status == 200 or body.count(b"\n") > 1 or b"Traceback" in body:
                figures.faults.append(f"request {number % 10}: {status} {body[:200]!r}")

    threads = [threading.Thread(target=some, args=(seed,)) for seed in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    for one in slow:
        one.close()
    busy.clear()


def memory_mb(pid: int) -> float:
    """What a process and its children hold, summed (Pss of smaps_rollup, proc(5): shared pages count once)."""
    total = 0.0
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            parent = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
            if int(entry.name) == pid or parent == pid:
                rollup = (entry / "smaps_rollup").read_text()
                total += int(rollup.split("Pss:")[1].split()[0]) / 1000
        except (OSError, IndexError, ValueError):
            continue
    return total


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--requests", type=int, default=500)
    parser.add_argument("--connections", type=int, default=1000)
    given = parser.parse_args()
    figures = Figures()
    with tempfile.TemporaryDirectory() as name, display(WIDTH, HEIGHT) as shown:
        wanted = drawn(Path(name), "centre", "crosshatch")
        with bench(Path(name) / "set.json", environment=shown.environment) as (page, process):
            page.set_up(formats=FORMAT, job="geometry", accepts="67kHz")
            page.do("go", f"{FORMAT}/centre")
            shown.wait_for(wanted[0])
            time.sleep(1.0)
            trial(page, shown, wanted, figures, process.pid, given)
    for phase, taken in figures.times_ms.items():
        middle = statistics.median(taken)
        print(f"{phase}: key to framebuffer median {middle:.0f} ms, most {max(taken):.0f} ({len(taken)} keys)")
        if max(taken) > MOST_MS:
            figures.faults.append(f"{phase}: {max(taken):.0f} ms")
    print(f"refusals by status: {dict(sorted(figures.refused.items()))}; memory {figures.most_mb:.0f} MB at most")
    if figures.most_mb > MOST_MB:
        figures.faults.append(f"memory {figures.most_mb:.0f} MB")
    for fault in figures.faults[:40]:
        print(f"FAULT {fault}")
    return 1 if figures.faults else 0


def trial(
    page: Page,
    shown: Display,
    wanted: list[NDArray[np.uint8]],
    figures: Figures,
    pid: int,
    given: argparse.Namespace,
) -> None:
    busy = threading.Event()
    press_for(shown, wanted, figures, "in peace", busy, 20)
    busy.set()
    asking = threading.Thread(target=ask_all, args=(page, given.requests, figures, busy))
    asking.start()
    press_for(shown, wanted, figures, "during hostile requests", busy, 20)
    asking.join()
    figures.most_mb = max(figures.most_mb, memory_mb(pid))
    measuring = threading.Thread(
        target=page.upload, args=("photo", f"{FORMAT}/crosshatch", ("photo.jpg", PHOTO.read_bytes()))
    )
    measuring.start()
    press_for(shown, wanted, figures, "while a photograph is measured", busy, 10)
    figures.most_mb = max(figures.most_mb, memory_mb(pid))
    measuring.join()
    host, port = page.host.split(":")
    held, turned_away = [], 0
    for _ in range(given.connections):
        one = socket.create_connection((host, int(port)), 20)
        one.setblocking(False)
        held.append(one)
    press_for(shown, wanted, figures, f"with {given.connections} connections", busy, 20)
    for one in held:
        try:
            turned_away += b"too many connections" in one.recv(1000)
        except OSError:
            continue
        finally:
            one.close()
    figures.most_mb = max(figures.most_mb, memory_mb(pid))
    print(f"{turned_away} of {given.connections} connections were turned away in one line")


if __name__ == "__main__":
    sys.exit(main())
