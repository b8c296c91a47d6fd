"""A folder whose new photographs are measured as they appear: the newest alone, the present card's.

Changes are noticed by `watchfiles`. A file counts when it has stopped growing; one that was there before, or that came
while another was measured and is not the newest, is left out.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterable
from pathlib import Path

from watchfiles import Change, watch

from render.errors import FileError
from render.reading import check_plain, read_bounded
from trueraster.bench.cards import Takes
from trueraster.bench.given import Given, Giving
from trueraster.bench.session import Session
from trueraster.errors import UsageError

__all__ = ["Watching", "newest"]

_ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic")
_MOST_BYTES = 64 << 20
_SETTLED_S = 0.4
"""Without growing, after which a file is whole: cameras that send over a network write for seconds."""
_PATIENCE_S = 30.0
_AGAIN_S = 1.0
"""Between looks for a folder that is gone."""


def newest(paths: Iterable[Path]) -> Path | None:
    """The photograph that was written last, of those that are still there; hidden and other files do not count."""
    found = []
    for path in paths:
        if path.suffix.lower() in _ENDINGS and not path.name.startswith("."):
            try:
                found.append((path.stat().st_mtime_ns, path.name, path))
            except OSError:
                continue
    return max(found)[2] if found else None


class Watching:
    """A thread that follows a folder until it is stopped; a folder that goes away is waited for."""

    def __init__(self, folder: Path, session: Session, giving: Giving, say: Callable[[str], None]) -> None:
        """Follow a folder; `say` gets a line for what cannot be measured.

        Raises:
            UsageError: it is no folder.
        """
        if not folder.is_dir():
            raise UsageError(f"--watch: {folder} is no folder")
        self._folder, self._session, self._giving, self._say = folder, session, giving, say
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._follow, name="watching", daemon=True)

    def start(self) -> None:
        """Begin to follow."""
        self._thread.start()

    def stop(self) -> None:
        """End it; what is being measured is measured."""
        self._ending.set()
        self._thread.join(5)

    def _follow(self) -> None:
        while not self._ending.is_set():
            there = self._there()
            if there is None:
                # The folder is gone, as a card that was taken out is; it may come back.
                self._ending.wait(_AGAIN_S)
                continue
            with contextlib.suppress(OSError, RuntimeError):
                for changes in watch(
                    self._folder,
                    stop_event=self._ending,
                    raise_interrupt=False,
                    recursive=False,
                    debounce=400,
                    rust_timeout=1000,
                    yield_on_timeout=True,
                ):
                    self._take(Path(name) for change, name in changes if change is not Change.deleted)
                    if self._there() != there:
                        break

    def _there(self) -> tuple[int, int] | None:
        """Which folder has the name now; None while none has."""
        try:
            state = self._folder.stat()
        except OSError:
            return None
        return state.st_dev, state.st_ino

    def _take(self, paths: Iterable[Path]) -> None:
        path = newest(paths)
        card = self._session.card
        if path is None or card is None or card.takes is not Takes.RASTER:
            return
        try:
            self._settle(path)
            check_plain(path)
            data = read_bounded(path, _MOST_BYTES, "no photograph")
            self._giving.measure("photo", card.id, [Given(name=path.name, data=data)], "")
        except (UsageError, FileError, ValueError, OSError) as error:
            self._say(f"Note: {' '.join(str(error).split())}")

    def _settle(self, path: Path) -> None:
        """Wait until a file grows no more."""
        size, since, until = -1, time.monotonic(), time.monotonic() + _PATIENCE_S
        while time.monotonic() - since < _SETTLED_S and time.monotonic() < until and not self._ending.is_set():
            now = path.stat().st_size
            if now != size:
                size, since = now, time.monotonic()
            time.sleep(0.05)
