"""A worker process of a kit: makes files that it is told to make, and dies with its parent."""

from __future__ import annotations

import atexit
import contextlib
import ctypes
import gc
import multiprocessing
import os
import signal
import threading
import time
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

from patterns.catalogue import find_pattern
from patterns.formats import Format
from patterns.pattern import Options
from patterns.signal import Signal
from render.carriers import CARRIERS
from render.extras import Extras
from render.produce import Order
from render.proof import Proof
from render.writing import clear_left

__all__ = ["Finished", "HeldLock", "Job", "begin", "make"]

_PATIENCE_S = 5.0
"""How long a worker without a parent may take to clear up before it ends all the same."""

_stop = _busy = False
_shares: Any = None


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """A file that is made and proved."""

    index: int
    sha256: str
    size: int
    proof: Proof


def begin(lock: int | None, shares: Any) -> None:
    """In a new worker: stop when asked by SIGTERM or when the parent ends, not by a terminal's Ctrl-C.

    `shares` gets the share done of each job, by index. `lock` stays open until the process ends.
    """
    global _shares
    _shares = shares
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, _asked)
    # What Python takes apart at its end holds nothing that is needed: 50 ms.
    atexit.register(os._exit, 0)
    threading.Thread(target=_die_with_parent, daemon=True).start()


def make(job: Job) -> Finished:
    """Make a file, in a worker.

    Raises:
        ProofError: it does not hold what was drawn.
        OSError: the folder or the disk does not take it.
    """
    global _busy
    # The parent hands out orders without drawing: 70 ms.
    from render.produce import produce

    def step(words: str, share: float) -> None:
        # Inside a library's callback the exception may have been swallowed.
        if _stop:
            raise KeyboardInterrupt
        _shares[job.index] = share

    _busy = True
    try:
        made = produce(job.order(), job.path, step)
        return Finished(index=job.index, sha256=made.sha256, size=job.path.stat().st_size, proof=made.proof)
    except BaseException:
        if _stop:
            with contextlib.suppress(KeyboardInterrupt):
                signal.signal(signal.SIGTERM, signal.SIG_IGN)
            # The signal may have come while the passing folder was being taken away.
            clear_left(job.path.parent, os.getpid())
            # At once: nobody waits for an answer.
            os._exit(0)
        raise
    finally:
        _busy = False
        _give_back_memory()


def _give_back_memory() -> None:
    """Let the system have what the last file needed; C libraries other than GNU's do so by themselves or not at all."""
    gc.collect()
    with contextlib.suppress(OSError, AttributeError, TypeError):
        ctypes.CDLL(None).malloc_trim(0)


def _asked(number: int, frame: FrameType | None) -> None:
    global _stop
    if not _busy:
        os._exit(0)
    _stop = True
    raise KeyboardInterrupt


def _die_with_parent() -> None:
    """Wait for the parent's end, however it comes; then stop as if asked, so that passing files are cleared away."""
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    if hasattr(signal, "pthread_kill"):
        # To the main thread: only there a signal cuts a wait short.
        signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGTERM)
        time.sleep(_PATIENCE_S)
    os._exit(1)
