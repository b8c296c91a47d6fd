"""A record's file: read, made anew, and changed so that nothing in it is ever lost."""

from __future__ import annotations

import contextlib
import os
import stat
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from render.errors import FileError
from render.reading import check_plain, read_bounded
from render.writing import placed
from trueraster.lock import locked
from trueraster.record.jsontext import JsonError, read_json, write_json
from trueraster.record.schema import Record, record_of

__all__ = ["change_record", "create_record", "read_object", "read_record"]

Json = Mapping[str, Any]

MOST_BYTES = 256 << 20
"""Of a record: some hundred pictures. A larger file is a slip."""


def read_record(path: Path) -> Record:
    """Read a record.

    Raises:
        FileError: it cannot be read, is no record, is of a newer version, or is broken; one line that names the file
            and the line and column or the key's path.
    """
    return record_of(read_object(path), path)


def read_object(path: Path, data: bytes | None = None) -> dict[str, Any]:
    """The JSON object in a file; `data` where its bytes have been read already.

    Raises:
        FileError: it cannot be read, or holds no JSON object; one line.
    """
    try:
        return read_json(_bytes_of(path) if data is None else data, in_pieces=True)
    except JsonError as error:
        raise FileError(f"{path}: {error}") from error


def create_record(path: Path, held: Json, say: Callable[[str], None]) -> Record:
    """Write a new record. `say` is told in words when another process has the file.

    Raises:
        FileError: there is a file of this name.
        OSError: it cannot be written; nothing stands there then.
    """
    with _alone(path, say) as real:
        if os.path.lexists(real):
            raise FileError(f"{path}: there is such a file already; 'trueraster record set' changes a record")
        return _write(path, real, held)


def change_record(path: Path, change: Callable[[Json], Json], say: Callable[[str], None]) -> Record:
    """Read a record, change its object, and put it in place of the old one.

    At any moment the whole old record or the whole new one has the name. Who changes it at the same time waits, and
    changes what was written then.

    Raises:
        FileError: as of `read_record`; the file is as it was.
        OSError: it cannot be written; the file is as it was.
        ValueError: what `change` raises; the file is as it was.
    """
    # Before its lock is made, which would stay beside a device in the system's own folder.
    check_plain(path)
    with _alone(path, say) as real:
        while True:
            data = _bytes_of(path)
            held = read_object(path, data)
            record_of(held, path)
            changed = change(held)
            if changed is held:
                return record_of(held, path)
            # An editor takes no lock: what it has saved meanwhile is not to be written over.
            if _bytes_of(path) == data:
                return _write(path, real, changed)


@contextlib.contextmanager
def _alone(path: Path, say: Callable[[str], None]) -> Any:
    """Hold the lock of a record; gives the file that its name leads to."""
    # A link stays one: the file that it leads to is replaced, and is what two names have in common.
    real = Path(os.path.realpath(path))
    if not real.parent.is_dir():
        raise FileError(f"{path}: there is no folder {real.parent}")
    waiting = f"another run of trueraster changes {path}; waiting for it"
    try:
        with locked(real.with_name(f".trueraster-{real.name}.lock"), lambda: say(waiting)):
            _clear_left(real)
            yield real
    except OSError as error:
        # The lock's name would tell the user nothing.
        raise type(error)(error.errno, error.strerror or str(error), str(path)) from error


def _clear_left(real: Path) -> None:
    """Take away what a killed run has left of this record. With the lock held nobody is writing it."""
    for left in real.parent.iterdir():
        if left.name.startswith(".trueraster-") and left.name.endswith(f"-{real.name}.part"):
            number = left.name.removeprefix(".trueraster-").removesuffix(f"-{real.name}.part")
            if number.isdecimal():
                with contextlib.suppress(OSError):
                    left.unlink()


def _write(path: Path, real: Path, held: Json) -> Record:
    data = write_json(held)
    if len(data) > MOST_BYTES:
        raise FileError(f"{path}: with this it would have {len(data) >> 20} MB, at most {MOST_BYTES >> 20} are kept")
    # Read from what is written: a record that cannot be read again is not put in place of one that can.
    record = record_of(read_object(path, data), path)
    with placed(real) as file:
        with contextlib.suppress(OSError):
            os.chmod(file.name, stat.S_IMODE(real.stat().st_mode))
        file.write(data)
    _sync_folder(real.parent)
    return record


def _sync_folder(folder: Path) -> None:
    """Have the new name on the disk too. Some systems open no folders."""
    with contextlib.suppress(OSError):
        descriptor = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _bytes_of(path: Path) -> bytes:
    return read_bounded(path, MOST_BYTES, "no record of a set")
