"""Ctrl-C that cannot get lost.

Python raises KeyboardInterrupt wherever it happens to be. Inside a library's callback the exception may be swallowed,
and the work would go on as if nobody had asked. So the request is also remembered, and long work asks for it between
steps.
"""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

__all__ = ["check", "install", "kept_from_children", "say_when_stopped", "was_asked", "words"]

_asked = False
_words = "nothing unfinished was left behind"


def install() -> None:
    """Remember the next Ctrl-C. Where the caller has it ignored, it stays so."""
    if signal.getsignal(signal.SIGINT) is signal.default_int_handler:
        signal.signal(signal.SIGINT, _remember)


def was_asked() -> bool:
    """Whether Ctrl-C has come."""
    return _asked


def say_when_stopped(words: str) -> None:
    """What a user is told when the work that begins now is stopped."""
    global _words
    _words = words


def words() -> str:
    """What a user is told of work that was stopped."""
    return _words


def check() -> None:
    """Stop here if it has.

    Raises:
        KeyboardInterrupt: it has.
    """
    if _asked:
        raise KeyboardInterrupt


@contextmanager
def kept_from_children() -> Iterator[None]:
    """Start processes that a terminal's Ctrl-C does not reach; one that comes meanwhile is raised afterwards."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    # Only who starts processes needs it: 10 ms.
    from multiprocessing import resource_tracker

    # Its start would let the signal through again.
    resource_tracker.ensure_running()
    signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})


def _remember(number: int, frame: FrameType | None) -> None:
    global _asked
    _asked = True
    raise KeyboardInterrupt
