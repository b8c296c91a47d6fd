"""The folder of a session, beside its record: the journal, what was given, the answers, and the address."""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from render.errors import FileError
from render.reading import read_bounded
from trueraster.bench.journal import write_synced
from trueraster.lock import locked

__all__ = ["Address", "SessionFolder", "alone"]

_TOKEN = re.compile(r"[A-Za-z0-9_-]{20,64}")
_MOST_BYTES = 64 << 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """What a phone has to know; the same after the bench was begun again, so that the phone's page goes on."""

    token: str
    port: int
    """0 where the system shall choose."""


@dataclass(frozen=True, slots=True)
class SessionFolder:
    """Where a session keeps its files."""

    root: Path

    @classmethod
    def of(cls, record: Path) -> SessionFolder:
        """The folder beside a record: of 'set.json' it is 'set.bench'."""
        return cls(record.with_name(f"{record.stem}.bench"))

    @property
    def journal(self) -> Path:
        return self.root / "journal.jsonl"

    def given(self, number: int, suffix: str) -> Path:
        """A file that was given on the page. Its own name is in the journal only: it never becomes a path."""
        return self.root / "given" / f"{number:04}{suffix}"

    def answer(self, number: int, suffix: str) -> Path:
        """An answer's .json or .html."""
        return self.root / "answers" / f"{number:04}{suffix}"

    def make(self) -> None:
        """Make it, for this user only: pages of a session are for who has the token.

        Raises:
            OSError: it cannot be made.
            FileError: there is one that belongs to a different user, who could read the token in it.
        """
        self.root.mkdir(mode=0o700, parents=True, exist_ok=True)
        if hasattr(os, "geteuid") and self.root.stat().st_uid != os.geteuid():
            raise FileError(f"{self.root}: belongs to a different user; give the record a name in a folder of your own")
        # One that was there before, or was copied, may be open to others.
        self.root.chmod(0o700)
        for name in ("given", "answers"):
            (self.root / name).mkdir(exist_ok=True)

    def read_answer(self, number: int) -> dict[str, Any]:
        """The JSON of an answer.

        Raises:
            FileError: it cannot be read.
        """
        try:
            held = json.loads(read_bounded(self.answer(number, ".json"), _MOST_BYTES, "no answer"))
        except ValueError as error:
            raise FileError(f"{self.answer(number, '.json')}: the answer is broken") from error
        if not isinstance(held, dict):
            raise FileError(f"{self.answer(number, '.json')}: the answer is broken")
        return held

    def address(self) -> Address:
        """The address of the last time, or a new one."""
        with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
            held = json.loads((self.root / "address.json").read_text(encoding="utf-8"))
            if _TOKEN.fullmatch(held["token"]) and 0 < int(held["port"]) < 65536:
                return Address(token=held["token"], port=int(held["port"]))
        return Address(token=secrets.token_urlsafe(24), port=0)

    def keep_address(self, address: Address) -> None:
        """Write it down for the next time.

        Raises:
            OSError: it cannot be written.
        """
        held = json.dumps({"token": address.token, "port": address.port})
        write_synced(self.root / "address.json", held.encode())


@contextlib.contextmanager
def alone(folder: SessionFolder) -> Iterator[None]:
    """Be the only bench of a record.

    Raises:
        FileError: there is one already.
    """

    def refuse() -> None:
        raise FileError(f"{folder.root}: another bench runs with this record; end it, or open its page")

    with locked(folder.root / ".lock", refuse):
        yield
