"""A worker process that measures: what a photograph does to it does not reach the screen or the page.

By `multiprocessing` alone and not by an executor of `concurrent.futures`: that one cannot end a task that takes too
long before Python 3.14.
"""

from __future__ import annotations

import contextlib
import multiprocessing
import signal
import threading
from multiprocessing.connection import Connection
from typing import Any

from trueraster.bench.measure import Part, Task, measured, refused, renamed, warm
from trueraster.errors import UsageError

__all__ = ["Worker"]

_LIMIT_S = 120.0
"""For one measurement; a photograph of 24 megapixels takes a tenth of it."""


class Worker:
    """One process, one task at a time; started anew when it dies or takes too long. Called from any thread."""

    def __init__(self, limit_s: float = _LIMIT_S) -> None:
        self._limit_s = limit_s
        self._one = threading.Lock()
        self._context = multiprocessing.get_context("spawn")
        self._process: Any = None
        self._pipe: Connection | None = None

    def start(self) -> None:
        """Have the process ready; it loads its libraries meanwhile."""
        with self._one:
            self._ready()

    def run(self, task: Task, names: dict[str, str]) -> tuple[Part, ...]:
        """Measure, and wait for it.

        Raises:
            UsageError: what was given cannot be measured, takes too long, or breaks the worker; one line. Paths in it
                are named by `names`.
        """
        with self._one:
            pipe = self._ready()
            try:
                pipe.send((task, names))
                if not pipe.poll(self._limit_s):
                    raise UsageError(f"measuring took more than {self._limit_s:g} s and was stopped")
                kind, value = pipe.recv()
            except (EOFError, OSError) as error:
                self._end()
                raise UsageError(
                    "measuring failed on this file: the worker process ended; the session goes on"
                ) from error
            except UsageError:
                self._end()
                raise
        if kind == "refused":
            raise UsageError(value)
        assert isinstance(value, tuple)
        return value

    def close(self) -> None:
        """End the process."""
        with contextlib.suppress(RuntimeError):
            self._end()

    def _ready(self) -> Connection:
        if self._process is None or not self._process.is_alive() or self._pipe is None:
            self._end()
            ours, theirs = self._context.Pipe()
            self._process = self._context.Process(target=_serve, args=(theirs,), name="measuring", daemon=True)
            self._process.start()
            # With ours alone open here, the worker ends when this process does, however that comes about.
            theirs.close()
            self._pipe = ours
        return self._pipe

    def _end(self) -> None:
        # First the process: whoever waits for its answer sees that it has ended, and not that our end was closed.
        if self._process is not None:
            self._process.kill()
            self._process.join(10)
            self._process = None
        if self._pipe is not None:
            self._pipe.close()
            self._pipe = None


def _serve(pipe: Connection) -> None:
    """The worker: a task, its answer, and so on until nobody holds the other end."""
    # Ctrl-C is for the process that has the terminal, which then ends this one.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    warm()
    while True:
        try:
            task, names = pipe.recv()
        except (EOFError, OSError):
            return
        try:
            answer: tuple[str, Any] = ("done", renamed(measured(task), names))
        except (ValueError, OSError, MemoryError) as error:
            answer = ("refused", refused(error, names))
        except Exception as error:  # A fault of ours: said as such, and the worker goes on.
            answer = ("refused", f"measuring failed on this file ({type(error).__name__})")
        with contextlib.suppress(OSError):
            pipe.send(answer)
