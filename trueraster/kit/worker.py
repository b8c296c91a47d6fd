"""A worker process of a kit: makes files that it is told to make, and dies with its parent."""

from __future__ import annotations

import contextlib
import ctypes
import gc
import os
import signal
import threading
import time
import traceback
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from pickle import PicklingError
from types import FrameType
from typing import Any

from patterns.catalogue import find_pattern
from patterns.formats import Format
from patterns.pattern import Options
from patterns.signal import Signal
from render.carriers import CARRIERS
from render.extras import Extras
from render.produce import Order
from render.writing import clear_left

__all__ = ["HeldLock", "Job", "work"]

_PATIENCE_S = 5.0
"""How long a worker without a parent may take to clear up before it ends all the same."""
_TELL_EVERY_S = 0.1

_stop = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """An order that can be sent to another process: its pattern and carrier are found again by name."""

    index: int
    pattern: str
    options: Options
    format: Format
    signal: Signal
    carrier: str
    seconds: float | None
    tagged: bool
    extras: Extras
    path: Path

    @classmethod
    def of(cls, index: int, order: Order, path: Path) -> Job:
        return cls(
            index=index,
            pattern=order.pattern.id,
            options=order.options,
            format=order.format,
            signal=order.signal,
            carrier=order.carrier.name,
            seconds=order.seconds,
            tagged=order.tagged,
            extras=order.extras,
            path=path,
        )

    def order(self) -> Order:
        return Order(
            pattern=find_pattern(self.pattern),
            options=self.options,
            format=self.format,
            signal=self.signal,
            carrier=CARRIERS[self.carrier],
            seconds=self.seconds,
            tagged=self.tagged,
            extras=self.extras,
        )


class HeldLock:
    """The descriptor of a lock on its way to a worker, where it arrives as a plain number."""

    def __init__(self, descriptor: int) -> None:
        self._descriptor = descriptor

    def __reduce__(self) -> tuple[Any, ...]:
        # Not on every system, and of use where a worker is started only.
        from multiprocessing.reduction import DupFd

        return _detached, (DupFd(self._descriptor),)


def _detached(passed: Any) -> int:
    return int(passed.detach())


def work(jobs: Connection, life: Connection, lock: int | None) -> None:
    """Make the files that come through `jobs` until None comes.

    What goes back: ("step", index, share), ("made", index, sha256, size, proof) or ("error", exception).
    Nothing is ever sent through `life`: its end is the parent's. `lock` is kept open until the process ends.
    """
    folder: Path | None = None
    try:
        with contextlib.suppress(KeyboardInterrupt, EOFError, OSError):
            # A terminal sends Ctrl-C to all processes; the parent tells what it means.
            signal.signal(signal.SIGINT, signal.SIG_IGN)
            signal.signal(signal.SIGTERM, _asked)
            threading.Thread(target=_die_with_parent, args=(life,), daemon=True).start()
            while (job := jobs.recv()) is not None:
                folder = job.path.parent
                _do(job, jobs)
    finally:
        with contextlib.suppress(KeyboardInterrupt):
            signal.signal(signal.SIGTERM, signal.SIG_IGN)
        # The signal may have come while the passing folder was being taken away.
        if folder is not None:
            clear_left(folder, os.getpid())
        # At once: a signal that comes while Python ends would be told with a traceback.
        os._exit(0)


def _do(job: Job, jobs: Connection) -> None:
    # The parent hands out orders without drawing: 70 ms.
    from render.produce import produce

    told = 0.0

    def step(words: str, share: float) -> None:
        nonlocal told
        # Inside a library's callback the exception may have been swallowed.
        if _stop:
            raise KeyboardInterrupt
        now = time.monotonic()
        if now - told > _TELL_EVERY_S:
            told = now
            jobs.send(("step", job.index, share))

    try:
        made = produce(job.order(), job.path, step)
        answer: tuple[Any, ...] = ("made", job.index, made.sha256, job.path.stat().st_size, made.proof)
    except Exception as error:
        if _stop:
            raise KeyboardInterrupt from None
        # The trace would be lost on the way; it is told where the mistake is none that a user can make.
        error.add_note(traceback.format_exc())
        answer = ("error", error)
    _give_back_memory()
    try:
        jobs.send(answer)
    except (PicklingError, TypeError, AttributeError):
        jobs.send(("error", RuntimeError(repr(answer[1]))))


def _give_back_memory() -> None:
    """Let the system have what the last file needed; C libraries other than GNU's do so by themselves or not at all."""
    gc.collect()
    with contextlib.suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


def _asked(number: int, frame: FrameType | None) -> None:
    global _stop
    _stop = True
    raise KeyboardInterrupt


def _die_with_parent(life: Connection) -> None:
    """Wait for the parent's end, however it comes; then stop as if asked, so that passing files are cleared away."""
    with contextlib.suppress(EOFError, OSError):
        life.recv()
    if hasattr(signal, "pthread_kill"):
        # To the main thread: only there a signal cuts a wait short.
        signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGTERM)
        time.sleep(_PATIENCE_S)
    os._exit(1)
