"""The worker processes of a kit, seen from the command: started, fed, listened to, and ended in any case."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from multiprocessing import connection
from multiprocessing.connection import Connection
from multiprocessing.context import SpawnProcess
from pathlib import Path

from render.produce import ProofError
from render.proof import Proof
from render.writing import clear_left
from trueraster import interrupt
from trueraster.kit.worker import HeldLock, Job, work

__all__ = ["Finished", "run_jobs"]

_MOST_WORKERS = 4
_HD_SAMPLES, _MOST_HD_WORKERS = 1920 * 1080, 2
"""A worker with its encoder takes up to about 250 MB at 1920 x 1080, and more above."""
_JOIN_S = 8.0


class WorkerError(OSError):
    """A worker process that ended without being asked."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finished:
    """A file that is made and proved."""

    index: int
    sha256: str
    size: int
    proof: Proof


@dataclass(slots=True, kw_only=True)
class _Worker:
    process: SpawnProcess
    jobs: Connection
    share: float = 0.0
    job: Job | None = None


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

    `finished` is told each file, in the order in which they come; `step` the share done of each job in work, by index.
    `lock` is a descriptor that the workers keep open. However this ends, no worker is left, and nothing unfinished.

    A file that fails its proof does not keep the others from being made; it is told at the end.

    Raises:
        ProofError: files that failed their proof.
        WorkerError: a worker ended by itself.
        Exception: what went wrong in a worker or in one that was told.
    """
    waiting = list(reversed(jobs))
    failed: list[ProofError] = []
    with _crew(worker_count(jobs), lock) as workers:
        for worker in workers:
            _feed(worker, waiting)
        while any(worker.job for worker in workers):
            by_end = {worker.process.sentinel: worker for worker in workers}
            by_jobs = {worker.jobs: worker for worker in workers}
            for ready in connection.wait([*by_jobs, *by_end], timeout=0.5):
                if isinstance(ready, int):
                    raise _ended(by_end[ready].process)
                if isinstance(ready, Connection):
                    _hear(by_jobs[ready], waiting, finished, failed)
            interrupt.check()
            step({worker.job.index: worker.share for worker in workers if worker.job})
    if failed:
        others = f"; so did {len(failed) - 1} more" if len(failed) > 1 else ""
        raise ProofError(f"{failed[0]}{others}; the other files are made")


def _hear(worker: _Worker, waiting: list[Job], finished: Callable[[Finished], None], failed: list[ProofError]) -> None:
    try:
        kind, *rest = worker.jobs.recv()
    except (EOFError, OSError):
        raise _ended(worker.process) from None
    if kind == "step":
        worker.share = rest[1]
    elif kind == "error":
        if not isinstance(rest[0], ProofError):
            raise rest[0]
        failed.append(rest[0])
        _feed(worker, waiting)
    else:
        # The next job first, so that the worker does not wait for what is done with this one.
        _feed(worker, waiting)
        finished(Finished(index=rest[0], sha256=rest[1], size=rest[2], proof=rest[3]))


def _feed(worker: _Worker, waiting: list[Job]) -> None:
    worker.job, worker.share = (waiting.pop() if waiting else None), 0.0
    if worker.job is not None:
        try:
            worker.jobs.send(worker.job)
        except OSError:
            raise _ended(worker.process) from None


def _ended(process: SpawnProcess) -> WorkerError:
    # Its pipe or its sentinel may be seen before its exit code.
    process.join(_JOIN_S)
    code = process.exitcode
    how = f"was ended by signal {-code}" if code is not None and code < 0 else f"ended with code {code}"
    return WorkerError(f"a worker process {how}; the same command goes on with what is missing")


@contextmanager
def _crew(count: int, lock: int | None) -> Iterator[list[_Worker]]:
    context = multiprocessing.get_context("spawn")
    theirs, ours = context.Pipe(duplex=False)
    held = None if lock is None else HeldLock(lock)
    workers: list[_Worker] = []
    folders: set[Path] = set()
    try:
        with interrupt.kept_from_children():
            for _ in range(count):
                here, there = context.Pipe()
                process = context.Process(target=work, args=(there, theirs, held), daemon=True)
                process.start()
                there.close()
                workers.append(_Worker(process=process, jobs=here))
        yield workers
        for worker in workers:
            with contextlib.suppress(OSError):
                worker.jobs.send(None)
            worker.process.join(_JOIN_S)
    finally:
        folders.update(worker.job.path.parent for worker in workers if worker.job)
        # Workers see this, stop and clear up.
        ours.close()
        theirs.close()
        for worker in workers:
            worker.process.join(_JOIN_S)
            if worker.process.is_alive():
                worker.process.kill()
                worker.process.join()
            pid = worker.process.pid
            worker.process.close()
            worker.jobs.close()
            for folder in folders:
                clear_left(folder, pid)
