"""Make the image of a disc: menu, author, write, read everything back, and only then it gets its name."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

from patterns.formats import Format, parse_format
from patterns.pattern import Options
from patterns.standards.timing import DISC_SECTOR_BYTES, DISC_SECTORS
from render.carriers import CARRIERS
from render.errors import FileError
from render.produce import Order, ProofError, produce, prove_disc_clip, sha256_of
from render.proof import Proof
from render.writing import placed_from_room
from trueraster.disc.author import add_buttons, author, is_held, write_image
from trueraster.disc.chapters import Disc
from trueraster.disc.image import Tables, open_image
from trueraster.disc.pages import Page, menu_pages

__all__ = ["MadeDisc", "make_disc", "prove_image"]

Step = Callable[[str, float], None]
"""Hears what is being done and which share of the disc is done, 0 to 1."""
_PAGE_S = 1.0
"""Length of a menu page before it is held."""
_MENU_ASPECT = Fraction(4, 3)


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeDisc:
    """The image of a disc, proved."""

    path: Path
    disc: Disc
    sectors: int
    sha256: str
    pages: tuple[Proof, ...]
    """Of the menu, in order."""
    chapters: tuple[Proof, ...]
    """Of the disc's chapters, in order."""


def make_disc(disc: Disc, path: Path, programs: dict[str, str], step: Step) -> MadeDisc:
    """Make the image `path`. An existing one is replaced only when the new one has passed its proof.

    `programs` are those of `needed_programs`.

    Raises:
        ProofError: what is read back from the image is not what was drawn, or not what was ordered.
        OSError: a program failed, or the folder or the disk does not take the image.
    """
    menu = parse_format(disc.format.id, _MENU_ASPECT)
    with placed_from_room(path, ".iso") as written:
        room = written.parent
        pages = menu_pages(disc.chapters, menu)
        clips = _page_clips(pages, menu, programs["spumux"], room, step)
        # Names that dvdauthor cannot take for anything else: it runs a name that ends in '|'.
        links = [room / f"chapter{chapter.number}.mpg" for chapter in disc.chapters]
        for link, chapter in zip(links, disc.chapters, strict=True):
            _link(chapter.path, link)
        step("authoring", 0.2)
        author(programs["dvdauthor"], disc, list(zip(pages, clips, strict=True)), links, room)
        step("writing the image", 0.35)
        write_image(programs["writer"], f"TRUERASTER_{disc.standard}", written)
        sectors = -(-written.stat().st_size // DISC_SECTOR_BYTES.value)
        if sectors > DISC_SECTORS.value:
            raise ProofError(f"{path.name}: has {sectors:,} sectors, a disc of one layer has {DISC_SECTORS.value:,}")
        shown = prove_image(written, disc, path.name, step)
        digest = sha256_of(written)
        # The last moment at which a caller can stop it: after this the image has its name.
        step("naming", 0.99)
    step("done", 1.0)
    return MadeDisc(
        path=path,
        disc=disc,
        sectors=sectors,
        sha256=digest,
        pages=shown[: len(pages)],
        chapters=shown[len(pages) :],
    )


def _link(path: Path, link: Path) -> None:
    """Give `path` a second name; a copy where the file system of the target has no links."""
    try:
        link.symlink_to(path.absolute())
    except OSError:
        shutil.copyfile(path, link)


def _page_order(page: Page, fmt: Format) -> Order:
    carrier = CARRIERS["mpeg2"]
    return Order(
        pattern=page.pattern,
        options=Options(),
        format=fmt,
        signal=carrier.signal(fmt),
        carrier=carrier,
        seconds=_PAGE_S,
    )


def _page_clips(pages: Sequence[Page], fmt: Format, spumux: str, room: Path, step: Step) -> list[Path]:
    """The menu's pages as clips with their buttons."""
    clips = []
    for i, page in enumerate(pages):
        step(f"menu, page {i + 1}", 0.2 * i / len(pages))
        picture = produce(_page_order(page, fmt), room / f"picture{i}.mpg").path
        clips.append(room / f"page{i}.mpg")
        add_buttons(spumux, page, fmt, picture, clips[-1])
    return clips


def prove_image(path: Path, disc: Disc, name: str, step: Step = lambda words, share: None) -> tuple[Proof, ...]:
    """Prove every page of the menu, then every chapter, as they are read back from the image `path`.

    A file beside the image is written meanwhile. `name` is what messages call the image.

    Raises:
        ProofError: the first thing that is not as it was ordered.
    """
    menu = parse_format(disc.format.id, _MENU_ASPECT)
    pages = [_page_order(page, menu) for page in menu_pages(disc.chapters, menu)]
    back = path.with_name("back.mpg")
    try:
        with open_image(path) as image:
            tables = image.tables()
            _check_tables(tables, disc, len(pages), name)
            parts = [(order, image.copy_page, f"page {i}") for i, order in enumerate(pages, 1)]
            parts += [(one.item.order, image.copy_chapter, f"chapter {one.number}") for one in disc.chapters]
            cells = (*tables.pages, *tables.titles[0])
            proofs: list[Proof] = []
            for (order, copy, words), cell in zip(parts, cells, strict=True):
                step(f"proving {words}", 0.4 + 0.55 * len(proofs) / len(parts))
                copy(cell, back)
                proofs.append(prove_disc_clip(order, back, f"{name}, {words}"))
            return tuple(proofs)
    except FileError as error:
        raise ProofError(f"{name}: {str(error).removeprefix(f'{path}: ')}") from error
    finally:
        back.unlink(missing_ok=True)


def _check_tables(tables: Tables, disc: Disc, pages: int, name: str) -> None:
    """Compare what a player will know of the disc with what was ordered.

    Raises:
        ProofError: something differs.
    """
    frames = [round((c.item.order.seconds or 0) * float(c.item.order.format.frame_rate)) for c in disc.chapters]
    read = [
        ("line standard", 625 if tables.is_625 else 525, disc.standard),
        ("16:9", tables.is_wide, disc.format.picture_aspect != _MENU_ASPECT),
        ("pages of the menu", len(tables.pages), pages),
        ("titles", len(tables.titles), 1),
    ]
    read += [("chapters", len(title), len(disc.chapters)) for title in tables.titles]
    read += [(f"page {i} held", cell.is_held, True) for i, cell in enumerate(tables.pages, 1)]
    # A title too few or too many is found before these are looked at.
    for chapter, cell, length in zip(disc.chapters, tables.titles[0] if tables.titles else (), frames, strict=False):
        read.append((f"chapter {chapter.number} held", cell.is_held, is_held(chapter)))
        # The tables count 25 or 30 frames a second and round, and sound may end a little later than the picture.
        got = cell.frames if abs(cell.frames - length) > 1 else length
        read.append((f"frames of chapter {chapter.number}", got, length))
    for what, found, wanted in read:
        if found != wanted:
            raise ProofError(f"{name}: {what}: read {found}, ordered {wanted}")
