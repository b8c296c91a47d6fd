"""Read a disc's image back through libdvdread, the library that players on computers read discs with.

It finds files in the image's UDF by itself. The tables (VTS_01_0.IFO) are read here; places of fields are from memory,
and lsdvd reads the same (tests/test_trueraster_disc.py). dvdauthor needs the library too, so it is there on Debian.
"""

from __future__ import annotations

import ctypes
import ctypes.util
import struct
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from patterns.standards.timing import DISC_SECTOR_BYTES
from render.errors import FileError
from trueraster.errors import UsageError

__all__ = ["Cell", "Image", "Tables", "needed_library", "open_image"]

_TITLESET = 1
_INFO, _COPY, _MENUS, _TITLES = range(4)
"""dvd_read_domain_t of libdvdread."""
_AT_ONCE = 1024
"""Sectors read at once: 2 MB."""
_PTT, _PGCIT, _MENU_TABLE = 0xC8, 0xCC, 0xD0
"""Where the header of a titleset's tables has their sectors."""
_STILL_FOREVER = 255
_Quiet = ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_int, ctypes.c_char_p, ctypes.c_void_p)
"""Hears what the library has to say, and drops it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A stretch of video on the disc."""

    first: int
    last: int
    """Its first and last sector, counted in its own video files."""
    frames: int
    """How long it is, in frames."""
    is_held: bool
    """Whether its last picture stays until a key is pressed."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Tables:
    """What a player knows of the disc."""

    titles: tuple[tuple[Cell, ...], ...]
    """The chapters of each title, all of one cell."""
    pages: tuple[Cell, ...]
    """The menu's pages."""
    is_625: bool
    is_wide: bool
    """Whether the titles are 16:9."""


def needed_library() -> ctypes.CDLL:
    """libdvdread.

    Raises:
        UsageError: it is missing; one line says what to install.
    """
    library = None
    # The search wants programs that a small system may not have.
    for name in filter(None, (ctypes.util.find_library("dvdread"), "libdvdread.so.8")):
        with suppress(OSError):
            library = library or ctypes.CDLL(name)
    if library is None:
        raise UsageError(
            "libdvdread: not installed, and the image is proved through it; on Debian: apt install dvdauthor"
        )
    for function, result, arguments in (
        ("DVDOpen2", ctypes.c_void_p, (ctypes.c_void_p, ctypes.c_void_p, ctypes.c_char_p)),
        ("DVDClose", None, (ctypes.c_void_p,)),
        ("DVDOpenFile", ctypes.c_void_p, (ctypes.c_void_p, ctypes.c_int, ctypes.c_int)),
        ("DVDCloseFile", None, (ctypes.c_void_p,)),
        ("DVDFileSize", ctypes.c_ssize_t, (ctypes.c_void_p,)),
        ("DVDReadBlocks", ctypes.c_ssize_t, (ctypes.c_void_p, ctypes.c_int, ctypes.c_size_t, ctypes.c_char_p)),
        ("DVDReadBytes", ctypes.c_ssize_t, (ctypes.c_void_p, ctypes.c_char_p, ctypes.c_size_t)),
    ):
        try:
            called = getattr(library, function)
        except AttributeError as error:
            raise UsageError(f"libdvdread: has no {function}; version 6.1 or later is needed") from error
        called.restype, called.argtypes = result, arguments
    return library


class Image:
    """An open image. Use it through `open_image`."""

    def __init__(self, library: ctypes.CDLL, disc: int, path: Path) -> None:
        self._library, self._disc, self._path = library, disc, path

    def tables(self) -> Tables:
        """What the titleset's tables say, which have to be equal to their copy.

        Raises:
            FileError: they are missing, differ, or are no tables.
        """
        with self._file(_INFO) as file, self._file(_COPY) as copy:
            data, again = (self._bytes(one) for one in (file, copy))
        if data != again:
            raise FileError(f"{self._path}: the disc's tables and their copy differ")
        try:
            return _tables(data)
        except (struct.error, IndexError, ValueError) as error:
            raise FileError(f"{self._path}: the disc's tables cannot be read ({error})") from error

    def copy_page(self, cell: Cell, path: Path) -> None:
        """Copy the video of a page of the menu into `path`; errors as of `copy_chapter`."""
        self._copy(_MENUS, cell, path)

    def copy_chapter(self, cell: Cell, path: Path) -> None:
        """Copy the video of a chapter into `path`, as a player reads it.

        Raises:
            FileError: it cannot be read.
            OSError: `path` cannot be written.
        """
        self._copy(_TITLES, cell, path)

    def _copy(self, domain: int, cell: Cell, path: Path) -> None:
        with self._file(domain) as file, path.open("wb") as target:
            for first in range(cell.first, cell.last + 1, _AT_ONCE):
                count = min(_AT_ONCE, cell.last + 1 - first)
                room = ctypes.create_string_buffer(count * DISC_SECTOR_BYTES.value)
                if self._library.DVDReadBlocks(file, first, count, room) != count:
                    raise FileError(f"{self._path}: sectors {first} to {first + count - 1} cannot be read")
                target.write(room.raw)

    def _bytes(self, file: int) -> bytes:
        size = self._library.DVDFileSize(file) * DISC_SECTOR_BYTES.value
        room = ctypes.create_string_buffer(size)
        if self._library.DVDReadBytes(file, room, size) != size:
            raise FileError(f"{self._path}: the disc's tables cannot be read")
        return room.raw

    @contextmanager
    def _file(self, domain: int) -> Iterator[int]:
        file = self._library.DVDOpenFile(self._disc, _TITLESET, domain)
        if not file:
            raise FileError(f"{self._path}: a file of the disc is missing")
        try:
            yield file
        finally:
            self._library.DVDCloseFile(file)


@contextmanager
def open_image(path: Path) -> Iterator[Image]:
    """Open the image of a disc.

    Raises:
        UsageError: the library is missing.
        FileError: it is no image of a disc.
    """
    library = needed_library()
    # The library would write its words to standard error.
    quiet = _Quiet(lambda *_: None)
    disc = library.DVDOpen2(None, ctypes.byref(quiet), str(path.absolute()).encode())
    if not disc:
        raise FileError(f"{path}: is no image of a disc")
    try:
        yield Image(library, disc, path)
    finally:
        library.DVDClose(disc)


def _tables(data: bytes) -> Tables:
    if not data.startswith(b"DVDVIDEO-VTS"):
        raise ValueError("no header")
    video = data[0x200]
    chains = list(_chains(data, _sector(data, _PGCIT)))
    parts = _sector(data, _PTT)
    (count,) = struct.unpack_from(">H", data, parts)
    starts = struct.unpack_from(f">{count}I", data, parts + 8)
    stops = [*starts[1:], struct.unpack_from(">I", data, parts + 4)[0] + 1]
    titles = []
    for start, stop in zip(starts, stops, strict=True):
        pairs = struct.iter_unpack(">2H", data[parts + start : parts + stop])
        titles.append(tuple(chains[chain - 1][program - 1] for chain, program in pairs))
    menus = _sector(data, _MENU_TABLE)
    (unit,) = struct.unpack_from(">I", data, menus + 12)
    pages = tuple(cell for cells in _chains(data, menus + unit) for cell in cells)
    return Tables(titles=tuple(titles), pages=pages, is_625=video >> 4 & 3 == 1, is_wide=video >> 2 & 3 == 3)


def _sector(data: bytes, place: int) -> int:
    start = int(struct.unpack_from(">I", data, place)[0])
    return start * DISC_SECTOR_BYTES.value


def _chains(data: bytes, table: int) -> Iterator[list[Cell]]:
    """The program chains of a table, each as the cells that its programs begin with.

    Raises:
        ValueError: a program has more than one cell.
    """
    (count,) = struct.unpack_from(">H", data, table)
    for i in range(count):
        (start,) = struct.unpack_from(">I", data, table + 8 + 8 * i + 4)
        chain = table + start
        programs, cells = data[chain + 2], data[chain + 3]
        if programs != cells:
            raise ValueError("a chapter of several cells")
        still = data[chain + 0xA3] == _STILL_FOREVER
        (places,) = struct.unpack_from(">H", data, chain + 0xE8)
        yield [_cell(data, chain + places + 24 * j, still) for j in range(cells)]


def _cell(data: bytes, place: int, still: bool) -> Cell:
    hours, minutes, seconds, frames = data[place + 4 : place + 8]
    per_second = 25 if frames >> 6 == 1 else 30
    whole = (_decimal(hours) * 60 + _decimal(minutes)) * 60 + _decimal(seconds)
    first, _, _, last = struct.unpack_from(">4I", data, place + 8)
    return Cell(
        first=first,
        last=last,
        frames=whole * per_second + _decimal(frames & 0x3F),
        is_held=still or data[place + 2] == _STILL_FOREVER,
    )


def _decimal(byte: int) -> int:
    return 10 * (byte >> 4) + (byte & 15)
