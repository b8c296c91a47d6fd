"""Who looks at many files: worker processes of this machine, or the workers of a cluster.

Both are executors of `concurrent.futures`; the library for clusters gives one too.
"""

from __future__ import annotations

import logging
import multiprocessing
import os
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from contextlib import contextmanager
from importlib.metadata import version
from typing import Any, Protocol

from trueraster import interrupt
from trueraster.errors import UsageError
from trueraster.verify.look import Job, WrongVersionError, look

__all__ = ["Crew", "cluster_crew", "local_crew"]

Json = dict[str, Any]
_ANSWER_S = 5.0
"""How long a scheduler may take to answer."""
_NOBODY_S = 60.0
"""How long a cluster may be without a worker; one that was ended is started again within that."""
_CHECK_S = 0.5
_AHEAD = 4
"""Files that are handed out for each process, so that none waits for the next."""


class Crew(Protocol):
    """Processes that look at files."""

    wide: int
    """How many files are best handed out at once."""

    def hand_out(self, job: Job) -> Future[Json]:
        """Let one of them look at a file."""
        ...

    def result(self, job: Job, future: Future[Json]) -> Json:
        """What was found in it; waits for it.

        Raises:
            UsageError: nobody is left to look at it; one line.
            KeyboardInterrupt: Ctrl-C has come.
        """
        ...


@contextmanager
def local_crew(jobs: int) -> Iterator[Crew]:
    """`jobs` processes of this machine, which end with this one, however it ends."""
    crew = _Processes(jobs)
    try:
        yield crew
    except BaseException:
        # What they do now is not wanted any more, and nothing of it is half written.
        crew.end()
        raise
    crew.pool.shutdown()


class _Processes:
    def __init__(self, jobs: int) -> None:
        self.jobs, self.wide = jobs, _AHEAD * jobs
        self.pool = _pool(jobs)

    def hand_out(self, job: Job) -> Future[Json]:
        with interrupt.kept_from_children():
            try:
                return self.pool.submit(look, job)
            except BrokenExecutor:
                self.pool = _pool(self.jobs)
                return self.pool.submit(look, job)

    def result(self, job: Job, future: Future[Json]) -> Json:
        try:
            return _waited(future, interrupt.check)
        except BrokenExecutor:
            # A process that is ended takes all files in work with it. Alone, a file shows whether it was the one.
            with local_crew(1) as alone:
                try:
                    return _waited(alone.hand_out(job), interrupt.check)
                except BrokenExecutor:
                    words = "the process that looked at it was ended, as the system does where memory runs out"
                    return {"path": job.path, "exit": 2, "error": f"{job.path}: {words}"}

    def end(self) -> None:
        self.pool.shutdown(wait=False, cancel_futures=True)
        for child in multiprocessing.active_children():
            child.kill()


def _pool(jobs: int) -> ProcessPoolExecutor:
    # Each process has a core of its own; libraries that share its work out to more only get in each other's way.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    return ProcessPoolExecutor(jobs, multiprocessing.get_context("spawn"), initializer=_begin)


def _begin() -> None:
    """In a worker: end when the parent does, which a pool alone does not."""
    parent = multiprocessing.parent_process()
    assert parent is not None

    def watch() -> None:
        parent.join()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _waited(future: Future[Json], check: Callable[[], None]) -> Json:
    while True:
        try:
            return future.result(timeout=_CHECK_S)
        except NotYet:
            if future.done():
                raise
            check()


@contextmanager
def cluster_crew(address: str) -> Iterator[Crew]:
    """The workers of a running scheduler; they see the files under the same names, which alone are sent.

    Raises:
        UsageError: the library is not installed, the scheduler does not answer, has no worker, or one has another
            version of this program; one line.
    """
    try:
        # An extra that few need.
        import distributed
    except ImportError as error:
        raise UsageError(
            "--cluster: needs the library distributed; install it with: pip install 'trueraster[cluster]'"
        ) from error
    for name in ("distributed", "tornado", "asyncio"):
        logging.getLogger(name).setLevel(logging.CRITICAL)
    connect: Any = distributed.Client
    try:
        client = connect(address, timeout=_ANSWER_S, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise UsageError(f"--cluster: no scheduler answers at {address}") from error
    with client:
        yield _Cluster(client, address)


class _Cluster:
    def __init__(self, client: Any, address: str) -> None:
        self.client, self.address = client, address
        self.pool: Executor = client.get_executor(pure=False)
        self.seen = time.monotonic()
        cores = sum(client.nthreads().values())
        if not cores:
            raise UsageError(f"--cluster: the scheduler at {address} has no worker")
        self.wide = _AHEAD * cores
        for worker, found in client.run(_version, on_error="return").items():
            if found != version("trueraster"):
                what = f"has trueraster {found}" if isinstance(found, str) else "cannot run trueraster"
                raise UsageError(f"--cluster: worker {worker} {what}, this is {version('trueraster')}")

    def hand_out(self, job: Job) -> Future[Json]:
        return self.pool.submit(look, job)

    def result(self, job: Job, future: Future[Json]) -> Json:
        try:
            found = _waited(future, self._check)
        except WrongVersionError as error:
            raise UsageError(f"--cluster: a worker has trueraster {error}, this is {version('trueraster')}") from error
        except (KeyboardInterrupt, UsageError):
            raise
        except Exception as error:
            # What the library raises where a file ended several workers has no class in common with the rest.
            words = f"no worker could look at it ({type(error).__name__})"
            return {"path": job.path, "exit": 2, "error": f"{job.path}: {words}"}
        self.seen = time.monotonic()
        return found

    def _check(self) -> None:
        interrupt.check()
        if self.client.status != "running":
            raise UsageError(f"--cluster: the scheduler at {self.address} is gone")
        if self.client.scheduler_info()["workers"]:
            self.seen = time.monotonic()
        elif time.monotonic() - self.seen > _NOBODY_S:
            raise UsageError(f"--cluster: the scheduler at {self.address} has had no worker for {_NOBODY_S:.0f} s")


def _version() -> str:
    return version("trueraster")
