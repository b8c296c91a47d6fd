"""The bench as a whole: record, journal, worker, page and screen, begun and ended together."""

from __future__ import annotations

import contextlib
import os
import sys
import threading
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from patterns.signal import Range
from trueraster import interrupt
from trueraster.bench.folder import Address, SessionFolder, alone
from trueraster.bench.given import Giving
from trueraster.bench.journal import Journal
from trueraster.bench.kept import Kept
from trueraster.bench.server import Serving, application, bound, lan_addresses
from trueraster.bench.session import Session
from trueraster.bench.worker import Worker
from trueraster.options.record import now, record_path
from trueraster.output.terminal import note
from trueraster.record.changes import new_record, with_details
from trueraster.record.store import create_record, read_record
from trueraster.show.screen import Screen

__all__ = ["Bench", "record_for"]

_SWITCH_S = 0.001
"""How long a thread may keep the others waiting: a key must not wait for a page (the interpreter's usual is 5 ms)."""

_END_S, _STOPPED = 10.0, 130
"""How long the end may take after Ctrl-C, and the exit code of what was stopped."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """What a bench is begun with."""

    record: Path
    formats: tuple[str, ...]
    code_range: Range
    output: int | None
    lan: bool
    player: bool

    def run(self) -> None:
        """Serve the page and show the patterns until somebody ends it.

        Raises:
            ValueError: something is not as it has to be; one line.
            OSError: a file cannot be written, or the page not be served.
        """
        folder = SessionFolder.of(self.record)
        folder.make()
        sys.setswitchinterval(_SWITCH_S)
        with ExitStack() as ending:
            ending.enter_context(alone(folder))
            screen = None
            if not self.player:
                screen = Screen(self.output)
                ending.callback(screen.close)
            journal = ending.enter_context(Journal(folder.journal))
            session = Session(
                journal, folder, Kept(self.record), code_range=self.code_range, player=self.player, offered=self.formats
            )
            worker = Worker()
            ending.callback(worker.close)
            worker.start()
            address = folder.address()
            listening = bound(address, lan=self.lan)
            ending.callback(listening.close)
            address = Address(token=address.token, port=listening.getsockname()[1])
            folder.keep_address(address)
            serving = Serving(application(session, Giving(session, worker), address.token), listening)
            serving.start()
            ending.callback(serving.stop)
            self._say(address)
            ending.callback(_end_soon)
            if screen is None:
                _wait(lambda: not serving.is_up)
            else:
                _drive(screen, session, lambda: not serving.is_up)

    def _say(self, address: Address) -> None:
        """The page's address, for this computer or for phones, as words and as a code to scan."""
        hosts = (lan_addresses() or ["127.0.0.1"]) if self.lan else ["127.0.0.1"]
        links = [f"http://{host}:{address.port}/{address.token}/" for host in hosts]
        note(f"Record: {self.record}. The page: {links[0]}")
        for link in links[1:]:
            note(f"Or: {link}")
        if self.lan:
            # Only with --lan: 15 ms.
            import segno

            segno.make(links[0], error="l").terminal(out=sys.stderr, compact=True)
            note("Plain HTTP: the token in the address stops strangers, not somebody who listens in on the network.")
        else:
            note("Only this computer can open it; --lan lets a phone in the same network do so.")
        note("Ctrl-C ends the bench; the same command goes on where it was.")


def _end_soon() -> None:
    """After Ctrl-C end this process whatever a library waits for: all that was confirmed is on the disk."""
    if interrupt.was_asked():
        timer = threading.Timer(_END_S, os._exit, (_STOPPED,))
        timer.daemon = True
        timer.start()


def _wait(ended: Callable[[], bool]) -> None:
    while not ended():
        interrupt.check()
        time.sleep(0.2)


def _drive(screen: Screen, session: Session, ended: Callable[[], bool]) -> None:
    """The screen's loop, with what the session has it do."""
    wanted = False

    def look_again() -> None:
        nonlocal wanted
        wanted = True
        screen.wake()

    def told() -> None:
        session.output_is(screen.output)

    def stop() -> bool:
        nonlocal wanted
        interrupt.check()
        if wanted:
            wanted = False
            screen.reopen()
            told()
        return ended()

    session.wake, session.mode_changed = screen.wake, look_again
    told()
    # The picture's time begins now, not when it was first turned to.
    session.black(False)
    screen.run(session, stop)


def record_for(path: Path | None) -> Path:
    """The record of the session: the one that is named, begun where it is not there; without a name a new one.

    Raises:
        ValueError: it is no record.
        OSError: it cannot be written.
    """
    target = path or Path("outputs") / f"bench-{datetime.now():%Y-%m-%d-%H%M%S}.json"
    record_path(target)
    if target.exists():
        read_record(target)
        return target
    with contextlib.suppress(FileExistsError):
        target.parent.mkdir(parents=True, exist_ok=True)
    create_record(target, with_details(new_record(now()), {"name": target.stem}, {}), note)
    note(f"Note: {target} is a new record; 'trueraster record set {target} --set ...' says which set it is")
    return target
