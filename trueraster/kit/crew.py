"""The worker processes of a kit, seen from the command: started, fed, listened to, and ended in any case."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from render.produce import ProofError
from render.writing import clear_left
from trueraster import interrupt
from trueraster.kit.worker import Finished, HeldLock, Job, begin, make

__all__ = ["Finished", "run_jobs"]

_MOST_WORKERS = 4
_HD_SAMPLES, _MOST_HD_WORKERS = 1920 * 1080, 2
"""A worker with its encoder takes up to about 250 MB at 1920 x 1080, and more above."""
_JOIN_S = 8.0
_LOOK_S = 0.2
"""How often the shares done are looked at."""


class WorkerError(OSError):
    """A worker process that ended without being asked."""


def worker_count(jobs: Sequence[Job]) -> int:
    """How many processes: one for each processor that this one may use, fewer where each needs much memory."""
    try:
        processors = len(os.sched_getaffinity(0))
    except AttributeError:
        processors = os.cpu_count() or 1
    largest = max((job.format.width * job.format.height for job in jobs), default=0)
    most = _MOST_WORKERS if 2 * largest <= _HD_SAMPLES else _MOST_HD_WORKERS if largest <= _HD_SAMPLES else 1
    return max(1, min(processors, most, len(jobs)))


def run_jobs(
    jobs: Sequence[Job],
    lock: int | None,
    finished: Callable[[Finished], None],
    step: Callable[[dict[int, float]], None],
) -> None:
    """Make files in worker processes, taking the jobs in the given order.

    `finished` gets each file, in the order in which they come; `step` the share done of each job in work, by index.
    `lock` is a descriptor that the workers keep open. However this ends, no worker is left, and nothing unfinished.

    A file that fails its proof does not keep the others from being made; it is told at the end.

    Raises:
        ProofError: files that failed their proof.
        WorkerError: a worker ended by itself.
        Exception: what went wrong in a worker or in one that was told.
    """
    context = multiprocessing.get_context("spawn")
    # Read and written without a lock: a killed worker must not keep one.
    shares = context.RawArray("d", 1 + max(job.index for job in jobs))
    # A number for those that start, which the types of the library do not know.
    held: Any = None if lock is None else HeldLock(lock)
    others = set(multiprocessing.active_children())
    workers: set[BaseProcess] = set()
    failed: list[ProofError] = []
    pool = ProcessPoolExecutor(worker_count(jobs), context, initializer=begin, initargs=(held, shares))
    try:
        with interrupt.kept_from_children():
            waiting = {pool.submit(make, job): job for job in jobs}
            workers = set(multiprocessing.active_children()) - others
        while waiting:
            for future in wait(waiting, timeout=_LOOK_S, return_when=FIRST_COMPLETED).done:
                del waiting[future]
                try:
                    made = future.result()
                except ProofError as error:
                    failed.append(error)
                else:
                    finished(made)
            interrupt.check()
            step({job.index: shares[job.index] for job in waiting.values()})
    except BaseException as error:
        pool.shutdown(wait=False, cancel_futures=True)
        _end(workers, {job.path.parent for job in jobs})
        if isinstance(error, BrokenProcessPool):
            raise _ended(workers) from None
        raise
    pool.shutdown()
    if failed:
        more = f"; so did {len(failed) - 1} more" if len(failed) > 1 else ""
        raise ProofError(f"{failed[0]}{more}; the other files are made")


def _end(workers: Iterable[BaseProcess], folders: Iterable[Path]) -> None:
    """Ask all workers to stop, and take away what one leaves that does not."""
    for worker in workers:
        worker.terminate()
    for worker in workers:
        worker.join(_JOIN_S)
        if worker.is_alive():
            worker.kill()
            worker.join()
        for folder in folders:
            clear_left(folder, worker.pid)


def _ended(workers: Iterable[BaseProcess]) -> WorkerError:
    # Those that were asked to stop end with 0, or by that signal where they had only just begun.
    codes = {worker.exitcode for worker in workers} - {None, 0, -signal.SIGTERM}
    code = codes.pop() if codes else None
    how = "ended" if code is None else f"was ended by signal {-code}" if code < 0 else f"ended with code {code}"
    return WorkerError(f"a worker process {how}; the same command goes on with what is missing")
