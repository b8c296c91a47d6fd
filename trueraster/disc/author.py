"""Author a disc with the programs that are installed: dvdauthor and spumux, and genisoimage or mkisofs for the image.

DVD-Video wants ISO 9660 and UDF 1.02 side by side. genisoimage and mkisofs write both; xorriso writes no UDF, and the
Python library pycdlib writes UDF 2.60.
"""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
import tempfile
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path
from xml.etree.ElementTree import Element, SubElement, tostring

from PIL import Image, ImageDraw

from patterns.formats import Format
from patterns.placement import column, line
from render.video.encoder import WriteError
from trueraster.disc.chapters import Chapter, Disc
from trueraster.disc.pages import Button, Page
from trueraster.errors import UsageError

__all__ = ["add_buttons", "author", "needed_programs", "write_image"]

_FOLDER = "disc"
_WRITERS = ("genisoimage", "mkisofs")
_INK, _THICK = (191, 191, 191, 255), 4
"""Grey of 75 %, and samples and lines of a button's frame."""
_AGAIN = "g0"
"""The player's register that is 0 until the menu has been shown once."""
_SHORTEST_LOOP_S = 1
_NO_ROOM = 1 << 20
"""Bytes below which a disk is taken to be full."""
_CHOSEN = "g1"
"""The register that holds the button to begin with on the page that is shown next, or 0."""


def needed_programs() -> dict[str, str]:
    """The paths of the programs, by the name of their part: dvdauthor, spumux, writer.

    Raises:
        UsageError: some are missing; one line says what to install.
    """
    found = {name: shutil.which(name) for name in ("dvdauthor", "spumux")}
    found["writer"] = next(filter(None, map(shutil.which, _WRITERS)), None)
    missing = [f"{' or '.join(_WRITERS)}" if name == "writer" else name for name, path in found.items() if path is None]
    if missing:
        raise UsageError(f"{', '.join(missing)}: not installed; on Debian: apt install dvdauthor genisoimage")
    return {name: path for name, path in found.items() if path is not None}


def add_buttons(spumux: str, page: Page, fmt: Format, clip: Path, path: Path) -> None:
    """Put the frames of a page's buttons into its `clip`, as `path`.

    The frame of the chosen button is shown and nothing else; it stays the same when the button is pressed.

    Raises:
        WriteError: the program failed.
    """
    picture = Image.new("RGBA", (fmt.width, fmt.height), (0, 0, 0, 0))
    root = Element("subpictures")
    frames = path.with_suffix(".png")
    spu = SubElement(SubElement(root, "stream"), "spu", start="00:00:00.00", force="yes")
    spu.attrib |= {"highlight": frames.name, "select": frames.name}
    for i, button in enumerate(page.buttons):
        left, top, right, bottom = _place(button, fmt)
        ImageDraw.Draw(picture).rectangle((left, top, right - 1, bottom - 1), outline=_INK, width=_THICK)
        places = {"x0": left, "y0": top, "x1": right, "y1": bottom}
        words = {"name": button.name, **_ways(page.buttons, i), **{key: str(value) for key, value in places.items()}}
        SubElement(spu, "button", words)
    picture.save(frames)
    listed = path.with_suffix(".xml")
    listed.write_bytes(tostring(root))
    with clip.open("rb") as source, path.open("wb") as target:
        _run([spumux, "-m", "dvd", "-v", "0", listed.name], path.parent, stdin=source, stdout=target)


def _place(button: Button, fmt: Format) -> tuple[int, int, int, int]:
    """A button in samples and lines of the raster; lines are even, so that both fields have its edges."""
    left, right = (round(column(fmt, x)) for x in (button.box.left, button.box.right))
    top, bottom = (2 * round(line(fmt, y) / 2) for y in (button.box.top, button.box.bottom))
    return left, top, right, bottom


def _ways(buttons: Sequence[Button], i: int) -> dict[str, str]:
    """Where the arrow keys lead: up and down through the chapters to the foot, left and right to another page."""
    turns = [button for button in buttons if button.chapter is None]
    last = len(buttons) - len(turns) - 1
    named = {button.name: button.name for button in turns}
    if i <= last:
        return {
            "up": buttons[max(0, i - 1)].name,
            "down": buttons[i + 1 if i < last else last + turns.index(_onward(turns)) + 1].name,
            "left": named.get("before", buttons[i].name),
            "right": named.get("next", buttons[i].name),
        }
    at = i - last - 1
    return {
        "up": buttons[max(last, 0)].name if last >= 0 else buttons[i].name,
        "down": buttons[i].name,
        "left": turns[max(0, at - 1)].name,
        "right": turns[min(len(turns) - 1, at + 1)].name,
    }


def _onward(turns: Sequence[Button]) -> Button:
    """The button of the foot that leads on in the order of work."""
    return next((button for button in turns if button.name == "next"), turns[0])


def author(dvdauthor: str, disc: Disc, pages: Sequence[tuple[Page, Path]], clips: Sequence[Path], room: Path) -> None:
    """Write the folder `disc` in `room`: `pages` with their clips, and one title, whose chapters are `clips`.

    One title, since the keys for the next and the previous chapter work in every player within a title only.

    Raises:
        WriteError: the program failed.
    """
    root = Element("dvdauthor", dest=_FOLDER, format="ntsc" if disc.standard == 525 else "pal")
    top = SubElement(root, "vmgm")
    SubElement(top, "fpc").text = "jump titleset 1 menu;"
    SubElement(SubElement(SubElement(top, "menus"), "pgc", entry="title"), "pre").text = "jump titleset 1 menu;"
    titleset = SubElement(root, "titleset")
    _add_menus(SubElement(titleset, "menus"), [page for page, _ in pages], [path for _, path in pages])
    _add_title(SubElement(titleset, "titles"), disc, clips)
    words = room / "disc.xml"
    words.write_bytes(tostring(root))
    _run([dvdauthor, "-x", words.name], room)


def _add_menus(menus: Element, pages: Sequence[Page], paths: Sequence[Path]) -> None:
    SubElement(menus, "video", aspect="4:3")
    # What the menu key reaches: the first page once, then the page that lists the chapter that was shown (s7).
    root = [f"if ({_AGAIN} == 0) {{ {_AGAIN} = 1; {_CHOSEN} = 0; jump menu 2; }}"]
    for i, page in reversed(list(enumerate(pages))):
        if page.chapters:
            first = page.chapters[0]
            root.append(f"if (s7 ge {first}) {{ {_CHOSEN} = s7 - {first - 1}; jump menu {i + 2}; }}")
    # A player that has shown no chapter yet may say 0; without a jump it would stop.
    root.append("jump menu 2;")
    SubElement(SubElement(menus, "pgc", entry="root"), "pre").text = " ".join(root)
    for page, path in zip(pages, paths, strict=True):
        pgc = SubElement(menus, "pgc", pause="inf")
        # The player counts a button as 1024.
        begin = f"button = {1024 * (page.buttons.index(_first(page)) + 1)};"
        back = f"{_CHOSEN} = {_CHOSEN} * 1024; button = {_CHOSEN}; {_CHOSEN} = 0;"
        SubElement(pgc, "pre").text = f"if ({_CHOSEN} gt 0) {{ {back} }} else {{ {begin} }}"
        SubElement(pgc, "vob", file=path.name)
        for button in page.buttons:
            target = f"title 1 chapter {button.chapter}" if button.page is None else f"menu {button.page + 2}"
            SubElement(pgc, "button", name=button.name).text = f"jump {target};"


def _first(page: Page) -> Button:
    """The button that a page begins with: its first chapter, or what leads on."""
    return page.buttons[0] if page.chapters else _onward(page.buttons)


def _add_title(titles: Element, disc: Disc, clips: Sequence[Path]) -> None:
    aspect = disc.format.picture_aspect
    words = {"aspect": f"{aspect.numerator}:{aspect.denominator}"}
    SubElement(titles, "video", words | ({"widescreen": "nopanscan"} if aspect != Fraction(4, 3) else {}))
    pgc = SubElement(titles, "pgc")
    for chapter, clip in zip(disc.chapters, clips, strict=True):
        vob = SubElement(pgc, "vob", file=clip.name)
        cell = SubElement(vob, "cell", start="0", chapter="1")
        if is_held(chapter):
            cell.set("pause", "inf")
        else:
            cell.text = f"jump cell {chapter.number};"
    SubElement(pgc, "post").text = "call menu;"


def is_held(chapter: Chapter) -> bool:
    """Whether its last picture stays until a key is pressed; what moves begins again instead.

    A shorter clip than a second is held too: begun again and again it would flash.
    """
    return chapter.item.scene.is_still or (chapter.item.order.seconds or 0) < _SHORTEST_LOOP_S


def write_image(writer: str, name: str, path: Path) -> None:
    """Write the image `path`, ISO 9660 and UDF 1.02, of the folder that `author` wrote beside it, and remove that.

    `name` is the volume's.

    Raises:
        WriteError: the program failed.
    """
    _run([writer, "-quiet", "-dvd-video", "-udf", "-V", name, "-o", path.name, _FOLDER], path.parent)
    shutil.rmtree(path.parent / _FOLDER)


def _run(command: Sequence[str], folder: Path, **streams: object) -> None:
    """Run a program in `folder` until it ends.

    Raises:
        WriteError: it failed.
    """
    with tempfile.TemporaryFile(dir=folder) as words:
        streams = {"stdin": subprocess.DEVNULL, "stdout": subprocess.DEVNULL, **streams}
        process = subprocess.Popen(command, cwd=folder, stderr=words, **streams)  # type: ignore[call-overload]
        try:
            code = process.wait()
        except BaseException:
            process.kill()
            process.wait()
            raise
        words.seek(0)
        said = words.read().decode("utf-8", "replace")
    if not code:
        return
    if code == -getattr(signal, "SIGXFSZ", 0):
        raise WriteError(errno.EFBIG, os.strerror(errno.EFBIG))
    # Not every program says it, and what it said may not have been written either.
    if "No space left" in said or shutil.disk_usage(folder).free < _NO_ROOM:
        raise WriteError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    lines = [row.strip() for row in said.splitlines() if row.strip()] or [f"exit code {code}"]
    raise WriteError(f"{Path(command[0]).name} failed: {next((row for row in lines if 'ERR' in row), lines[-1])}")
