"""A display of Debian's Xvfb, and its framebuffer read from the file that Xvfb keeps it in: no library of ours."""

from __future__ import annotations

import ctypes
import ctypes.util
import os
import shutil
import struct
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

XVFB = shutil.which("Xvfb")
_LAST = 64
"""Rows."""
ROOT = Path(__file__).resolve().parents[1]


@dataclass(frozen=True)
class Display:
    """A running display."""

    name: str
    file: Path

    @property
    def environment(self) -> dict[str, str]:
        """For a program that shows on it."""
        kept = {k: v for k, v in os.environ.items() if not k.startswith(("SDL_", "WAYLAND_"))}
        return {**kept, "DISPLAY": self.name, "PYTHONPATH": str(ROOT)}

    def pixels(self) -> NDArray[np.uint8]:
        """(height, width, 3) red, green and blue, by X11/XWDFile.h: 25 big-endian words of 32 bits, the colour map, and
        then the rows of pixels, here 4 bytes each with blue first."""
        data = self.file.read_bytes()
        head = struct.unpack(">25I", data[:100])
        size, width, height, order, depth, row, colours = (head[i] for i in (0, 4, 5, 7, 11, 12, 19))
        assert (depth, order, head[14:17]) == (32, 0, (0xFF0000, 0xFF00, 0xFF))
        start = size + 12 * colours
        rows = np.frombuffer(data, np.uint8, row * height, start).reshape(height, row)
        return rows[:, : 4 * width].reshape(height, width, 4)[..., 2::-1]

    def holds(self, wanted: NDArray[np.uint8]) -> bool:
        """Whether the last rows are as wanted: rows are written from the top, and all of them take long to compare."""
        with self.file.open("rb") as file:
            head = struct.unpack(">25I", file.read(100))
            size, height, row, colours = (head[i] for i in (0, 5, 12, 19))
            file.seek(size + 12 * colours + row * (height - _LAST))
            rows = np.frombuffer(file.read(row * _LAST), np.uint8).reshape(_LAST, row // 4, 4)
        return np.array_equal(rows[:, : wanted.shape[1], 2::-1], wanted[-_LAST:])

    def wait_for(self, wanted: NDArray[np.uint8], timeout_s: float = 20.0) -> float:
        """Seconds until the framebuffer equals `wanted`; fails after `timeout_s`."""
        begun = time.monotonic()
        while not np.array_equal(self.pixels(), wanted):
            assert time.monotonic() - begun < timeout_s, "the framebuffer never showed it"
            time.sleep(0.002)
        return time.monotonic() - begun

    def press(self, *names: str) -> None:
        """Keys of the display's own keyboard, by the XTEST extension (Debian's libxtst6), each down and up."""
        x11, xtst = (ctypes.util.find_library(name) for name in ("X11", "Xtst"))
        if x11 is None or xtst is None:
            pytest.skip("Debian's package libxtst6 is not installed")
        lib, test = ctypes.CDLL(x11), ctypes.CDLL(xtst)
        lib.XOpenDisplay.restype = ctypes.c_void_p
        handle = ctypes.c_void_p(lib.XOpenDisplay(self.name.encode()))
        lib.XStringToKeysym.restype = ctypes.c_ulong
        for name in names:
            code = lib.XKeysymToKeycode(handle, ctypes.c_ulong(lib.XStringToKeysym(name.encode())))
            for down in (1, 0):
                test.XTestFakeKeyEvent(handle, code, down, ctypes.c_ulong(0))
        lib.XFlush(handle)
        lib.XCloseDisplay(handle)


@contextmanager
def display(width: int, height: int) -> Iterator[Display]:
    """A display of this size, without a network."""
    assert XVFB is not None
    with tempfile.TemporaryDirectory() as folder:
        process = subprocess.Popen(
            [XVFB, "-displayfd", "1", "-screen", "0", f"{width}x{height}x24", "-nolisten", "tcp", "-fbdir", folder],
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            text=True,
        )
        try:
            assert process.stdout is not None
            number = process.stdout.readline().strip()
            assert number.isdecimal(), "Xvfb did not start"
            yield Display(f":{number}", Path(folder) / "Xvfb_screen0")
        finally:
            process.terminate()
            process.wait(20)
            assert process.stdout is not None
            process.stdout.close()
