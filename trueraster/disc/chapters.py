"""What a disc holds: the finished files of a kit, one chapter each, in the order of work."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from typing import Any

from patterns.catalogue import find_pattern
from patterns.formats import Format, parse_aspect, parse_format
from patterns.pattern import Options, PatternError
from patterns.standards.timing import DISC_CHAPTERS, DISC_SECTOR_BYTES, DISC_SECTORS
from render.carriers import CARRIERS
from render.errors import FileError
from render.extras import Extras
from render.produce import Order
from render.reading import check_plain
from trueraster.errors import UsageError
from trueraster.kit.make import is_as_listed, program_version
from trueraster.kit.manifest import MANIFEST_NAME, Entry, entry_of, read_finished
from trueraster.kit.plan import Item
from trueraster.kit.words import given_words

__all__ = ["Chapter", "Disc", "check_files", "check_size", "discs_of"]

_CARRIER = "mpeg2"
_AGAIN = "run the same kit command again"
_RESERVE = 4096
"""Sectors kept for menu pages, tables and the two file systems: 8 MB."""
_UNIT_BYTES, _UNIT_S = 16, 0.4
"""What the tables and their copies hold for each unit of video, which lasts at least so long (from memory)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """One file of the kit on the disc."""

    number: int
    """Counted from 1: the number to type on the remote control, and the last part of the number on the cue sheet."""
    item: Item
    path: Path
    entry: Entry

    @property
    def title(self) -> str:
        """The pattern's name with its options."""
        return ", ".join([self.item.order.pattern.title, *given_words(self.item.order).values()])


@dataclass(frozen=True, slots=True, kw_only=True)
class Disc:
    """One disc before it is made: the chapters of one line standard."""

    format: Format
    chapters: tuple[Chapter, ...]

    @property
    def standard(self) -> int:
        """Lines of the whole frame: 525 or 625."""
        assert self.format.timing is not None
        return self.format.timing.total_lines

    @property
    def sectors(self) -> int:
        """Sectors that the image needs at most."""
        video = sum(-(-chapter.entry.bytes // DISC_SECTOR_BYTES.value) for chapter in self.chapters)
        seconds = sum(chapter.item.order.seconds or 0 for chapter in self.chapters)
        return video + _RESERVE + round(_UNIT_BYTES * seconds / _UNIT_S) // DISC_SECTOR_BYTES.value


def discs_of(kit: Path) -> list[Disc]:
    """The discs of a finished kit of mpeg2 clips, one for each line standard.

    `kit` is its folder or its kit.json. Nothing is read of the clips themselves.

    Raises:
        UsageError: it is no kit, is not finished, is no kit of mpeg2, or was made by other drawings.
    """
    folder = kit.parent if kit.name == MANIFEST_NAME else kit
    try:
        entries, complete = read_finished(folder)
    except FileError as error:
        raise UsageError(f"{error}; the folder of a kit is expected: trueraster kit --as {_CARRIER}") from error
    if not entries:
        raise UsageError(f"{folder / MANIFEST_NAME}: lists no finished file of a kit; {_AGAIN}")
    if other := next((e.told.get("carrier") for e in entries.values() if e.told.get("carrier") != _CARRIER), None):
        raise UsageError(f"{kit}: a kit of {str(other)[:20]}; a disc is made of one of {_CARRIER}: kit --as {_CARRIER}")
    if not complete:
        raise UsageError(f"{kit}: the kit is not finished; {_AGAIN}")
    items = [(_ordered_again(kit, entry), entry) for entry in entries.values()]
    discs = []
    for _, group in groupby(items, key=lambda pair: pair[0].order.format):
        chapters = tuple(
            Chapter(number=i, item=item, path=folder / entry.path, entry=entry)
            for i, (item, entry) in enumerate(group, 1)
        )
        if len(chapters) > DISC_CHAPTERS.value:
            raise UsageError(f"{kit}: {len(chapters)} files of one format; a disc has {DISC_CHAPTERS.value} chapters")
        discs.append(Disc(format=chapters[0].item.order.format, chapters=chapters))
    if len({disc.standard for disc in discs}) < len(discs):
        raise UsageError(f"{kit}: several kits of one line standard; {_AGAIN}")
    return discs


def _ordered_again(kit: Path, entry: Entry) -> Item:
    """The order that a file was made by, from the manifest; equal to it only where the same would be drawn today."""
    differs = UsageError(f"{kit}: {entry.path[:80]} was made by another version, or changed since; {_AGAIN}")
    listed, carrier = entry.told, CARRIERS[_CARRIER]
    try:
        fmt = parse_format(str(listed["format"]), parse_aspect(str(listed["aspect"])))
        order = Order(
            pattern=find_pattern(str(listed["pattern"])),
            options=Options(**{name: _option(name, text) for name, text in listed["options"].items()}),
            format=fmt,
            signal=carrier.signal(fmt),
            carrier=carrier,
            seconds=float(listed["seconds"]),
            extras=Extras(for_display=listed["primaries"] == "display", tone=listed["tone"] is True),
        )
        scene = order.pattern.scene(fmt, order.options, order.signal)
        item = Item(number=str(listed["number"]), order=order, scene=scene)
        if entry_of(item, program_version()) == listed:
            return item
    except (ValueError, KeyError, TypeError, AttributeError, ArithmeticError, PatternError) as error:
        raise differs from error
    raise differs


def _option(name: str, text: str) -> Any:
    """An option of a pattern as the manifest has it."""
    if name == "cells":
        columns, rows = text.split("x")
        return int(columns), int(rows)
    return Fraction(text) if name in ("level", "area") else text


def check_size(disc: Disc, name: str) -> None:
    """Refuse a disc that does not fit on one with a single layer.

    Raises:
        UsageError: it needs more sectors than there are.
    """
    if disc.sectors > DISC_SECTORS.value:
        needed, room = (count * DISC_SECTOR_BYTES.value / 1e9 for count in (disc.sectors, DISC_SECTORS.value))
        raise UsageError(
            f"{name}: needs {needed:.3f} GB, a disc of one layer has {room:.3f} GB ({DISC_SECTORS.value:,} sectors);"
            " make the kit with a smaller --seconds"
        )


def check_files(disc: Disc, step: Callable[[str, float], None]) -> None:
    """Compare each file with the manifest that it was proved for.

    Raises:
        UsageError: one is missing or was changed.
    """
    for i, chapter in enumerate(disc.chapters):
        step(f"comparing {chapter.path.name}", i / len(disc.chapters))
        try:
            check_plain(chapter.path)
        except FileError as error:
            raise UsageError(f"{error}; {_AGAIN}") from error
        if not is_as_listed(chapter.path.parent, chapter.entry):
            raise UsageError(f"{chapter.path}: is not the file that the kit proved; {_AGAIN}")
