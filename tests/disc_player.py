"""A player of discs without a screen: libdvdnav, the library that players on computers navigate with."""

from __future__ import annotations

import ctypes
import ctypes.util
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any

__all__ = ["Player", "Stop", "is_installed"]

_STILL, _CELL, _STOP, _NAV, _WAIT = 2, 6, 8, 7, 13
"""Events of libdvdnav (dvdnav_events.h)."""


def is_installed() -> bool:
    return ctypes.util.find_library("dvdnav") is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Stop:
    """Where the player waits for a key: the title and chapter, or the menu's page and button; the still's seconds."""

    title: int
    """0 in a menu."""
    part: int
    """The chapter, or the number of the page's program chain."""
    button: int
    still: int
    """255 is for ever; -1 where the player came back to where a cell had begun."""


class Player:
    """An open image. What it plays is read on until it waits for a key, or begins a cell again."""

    def __init__(self, path: Path) -> None:
        self._library: Any = ctypes.CDLL(ctypes.util.find_library("dvdnav"))
        self._handle = ctypes.c_void_p()
        assert self._library.dvdnav_open(ctypes.byref(self._handle), str(path).encode()) == 1
        # Neither the read-ahead nor the time of the still counts here.
        self._library.dvdnav_set_readahead_flag(self._handle, 0)

    def __enter__(self) -> Player:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self._library.dvdnav_close(self._handle)

    def play(self) -> Stop:
        """Read on until a still, or until a cell begins for the second time."""
        block = ctypes.create_string_buffer(2048)
        event, length = ctypes.c_int32(), ctypes.c_int32()
        cells: list[tuple[int, int]] = []
        while True:
            done = self._library.dvdnav_get_next_block(self._handle, block, ctypes.byref(event), ctypes.byref(length))
            assert done == 1, self._library.dvdnav_err_to_string(self._handle)
            if event.value == _STILL:
                return self._stop(int.from_bytes(block.raw[:4], "little"))
            if event.value == _WAIT:
                self._library.dvdnav_wait_skip(self._handle)
            assert event.value != _STOP
            if event.value == _CELL:
                cells.append(self._at())
                if cells[:-1] and cells[-1] == cells[-2] and cells[-1][0]:
                    return self._stop(-1)

    def _at(self) -> tuple[int, int]:
        title, part = ctypes.c_int32(), ctypes.c_int32()
        self._library.dvdnav_current_title_info(self._handle, ctypes.byref(title), ctypes.byref(part))
        if title.value <= 0:
            chain, program = ctypes.c_int32(), ctypes.c_int32()
            places = (ctypes.byref(one) for one in (title, chain, program))
            self._library.dvdnav_current_title_program(self._handle, *places)
            return 0, chain.value
        return title.value, part.value

    def _stop(self, still: int) -> Stop:
        button = ctypes.c_int32()
        self._library.dvdnav_get_current_highlight(self._handle, ctypes.byref(button))
        title, part = self._at()
        return Stop(title=title, part=part, button=button.value, still=still)

    def arrow(self, way: str) -> Stop:
        """Press an arrow key: upper, lower, left, right."""
        pci = self._library.dvdnav_get_current_nav_pci
        pci.restype = ctypes.c_void_p
        select = getattr(self._library, f"dvdnav_{way}_button_select")
        select(self._handle, ctypes.c_void_p(pci(self._handle)))
        return self._stop(255)

    def enter(self) -> Stop:
        """Press the key that activates the button, and play."""
        pci = self._library.dvdnav_get_current_nav_pci
        pci.restype = ctypes.c_void_p
        self._library.dvdnav_button_activate(self._handle, ctypes.c_void_p(pci(self._handle)))
        return self.play()

    def key(self, name: str) -> Stop:
        """Press another key and play: next or previous chapter, menu (of the titleset), top (menu), still (off)."""
        if name == "next":
            self._library.dvdnav_next_pg_search(self._handle)
        elif name == "previous":
            self._library.dvdnav_prev_pg_search(self._handle)
        elif name == "still":
            self._library.dvdnav_still_skip(self._handle)
        else:
            # DVD_MENU_Title is 2, DVD_MENU_Root 3.
            self._library.dvdnav_menu_call(self._handle, {"top": 2, "menu": 3}[name])
        return self.play()

    def chapter(self, number: int) -> Stop:
        """Type a chapter's number while the title plays."""
        title, _ = self._at()
        self._library.dvdnav_part_play(self._handle, title, number)
        return self.play()
