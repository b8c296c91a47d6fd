"""The command `disc`: what players read of its images, what its keys do, and that nothing unproved gets a name.

lsdvd and libdvdread read titles and tables, libdvdnav presses keys, isoinfo reads ISO 9660 beside libdvdread's UDF, and
the ffmpeg program and libavcodec decode. Each is Debian's; tests whose program is missing are skipped.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe

import trueraster.disc.make as make_module
from patterns.formats import Format, parse_format
from patterns.placement import column, line
from render.carriers import CARRIERS
from render.decode import open_video
from render.extras import Extras
from tests.disc_player import Player, is_installed
from trueraster.cli import run
from trueraster.disc.author import author, is_held, write_image
from trueraster.disc.chapters import Chapter, Disc, discs_of
from trueraster.disc.image import open_image
from trueraster.disc.pages import menu_pages
from trueraster.kit.make import make_kit
from trueraster.kit.plan import Item, plan_kit

SCRIPT = Path(sys.executable).with_name("trueraster")
PROGRAM = [str(SCRIPT)] if SCRIPT.exists() else [sys.executable, "-c", "from trueraster.cli import main; main()"]
WIDE = Fraction(16, 9)
IN_480I = ("slate", "bars", "field-order", "pluge", "steps", "window", "crosshatch")
"""More than a page of the menu holds, one of them moving and one of them twice."""
IN_576I = ("bars", "zone-plate-moving")

needs_programs = pytest.mark.skipif(
    not all(map(shutil.which, ("dvdauthor", "spumux", "genisoimage"))),
    reason="dvdauthor or genisoimage is not installed",
)
needs_lsdvd = pytest.mark.skipif(shutil.which("lsdvd") is None, reason="lsdvd is not installed")
needs_player = pytest.mark.skipif(not is_installed(), reason="libdvdnav is not installed")


def call(*arguments: str | Path) -> tuple[int, str, str]:
    """Run a command line in this process: exit code, standard output, standard error."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run([str(argument) for argument in arguments])
    return code, out.getvalue(), err.getvalue()


def part(name: str, aspect: Fraction, ids: tuple[str, ...], *, tone: bool) -> list[Item]:
    """Some patterns of a kit in one format, a second each."""
    planned = plan_kit([parse_format(name, aspect)], CARRIERS["mpeg2"], seconds=1, extras=Extras(tone=tone))
    return [item for item in planned.items if item.order.pattern.id in ids]


@pytest.fixture(scope="module")
def kit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A kit of both line standards, 480i in 4:3 and silent, 576i in 16:9 with a tone."""
    folder = tmp_path_factory.mktemp("kit") / "Hafen gasse ü 測試 'a|b' <1> &"
    items = part("480i", Fraction(4, 3), IN_480I, tone=False) + part("576i", WIDE, IN_576I, tone=True)
    make_kit(items, folder, lambda words, share: None, lambda words: None)
    return folder


@pytest.fixture(scope="module")
def images(kit: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[int, Path], dict[str, Any]]:
    """The two images by their line standard, and what the command says of them."""
    to = tmp_path_factory.mktemp("images") / "bench disc.iso"
    code, out, err = call("disc", kit, "--to", to, "--json")
    assert (code, err) == (0, "")
    return {lines: to.with_name(f"bench disc-{lines}.iso") for lines in (525, 625)}, json.loads(out)


@pytest.fixture
def copy(kit: Path, tmp_path: Path) -> Path:
    """The kit again, to be changed."""
    return shutil.copytree(kit, tmp_path / "kit")


def disc_of(kit: Path, lines: int) -> Disc:
    return next(disc for disc in discs_of(kit) if disc.standard == lines)


def hidden(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir() if path.name.startswith(".")]


# --- What is on the disc ----------------------------------------------------------------------------------------


@needs_programs
@needs_lsdvd
@pytest.mark.parametrize("lines", [525, 625])
def test_lsdvd_reads_titles_chapters_and_lengths(
    kit: Path, images: tuple[dict[int, Path], dict[str, Any]], lines: int
) -> None:
    """One title of the kit's files in their order, each a chapter of its length, with the shape and the sound."""
    said = subprocess.run(["lsdvd", "-Ox", "-x", str(images[0][lines])], capture_output=True, check=True).stdout
    root = ElementTree.fromstring(said[said.index(b"<?xml") :])
    (title,) = root.findall("track")
    disc = disc_of(kit, lines)
    lengths = [float(chapter.findtext("length") or 0) for chapter in title.findall("chapter")]
    # lsdvd counts what a second of 29.97 frames is in the tables: 30 frames. Sound may end a frame later.
    assert len([n for n in lengths if n]) == len(disc.chapters)
    assert lengths[: len(disc.chapters)] == pytest.approx([1.0] * len(disc.chapters), abs=0.045)
    words = {name: title.findtext(name) for name in ("format", "aspect", "width", "height", "df")}
    shape = {525: ("NTSC", "4/3", "480", "?"), 625: ("PAL", "16/9", "576", "Letterbox")}[lines]
    assert (words["format"], words["aspect"], words["height"], words["df"]) == shape
    sound = [audio.findtext("format") for audio in title.findall("audio")]
    assert sound == ([] if lines == 525 else ["ac3"])


@needs_programs
@pytest.mark.skipif(shutil.which("isoinfo") is None, reason="isoinfo is not installed")
@pytest.mark.parametrize("lines", [525, 625])
def test_both_file_systems_hold_the_kits_own_video(
    kit: Path, images: tuple[dict[int, Path], dict[str, Any]], tmp_path: Path, lines: int
) -> None:
    """The title's video is the coded video of the kit, byte for byte, through ISO 9660 and through UDF."""
    image = images[0][lines]
    wanted = b"".join(elementary(chapter.path) for chapter in disc_of(kit, lines).chapters)
    by_iso, by_udf = tmp_path / "iso.vob", tmp_path / "udf.vob"
    with by_iso.open("wb") as file:
        subprocess.run(["isoinfo", "-i", str(image), "-x", "/VIDEO_TS/VTS_01_1.VOB;1"], stdout=file, check=True)
    with open_image(image) as opened, by_udf.open("wb") as file:
        for cell in opened.tables().titles[0]:
            opened.copy_chapter(cell, tmp_path / "cell.vob")
            file.write((tmp_path / "cell.vob").read_bytes())
    assert by_iso.read_bytes() == by_udf.read_bytes()
    assert elementary(by_iso) == wanted
    # UDF 1.02 in the logical volume's identifier (OSTA UDF 1.02, 2.1.5.3: revision as 0x0102, least byte first).
    assert b"*OSTA UDF Compliant\0\0\0\0\x02\x01" in image.read_bytes()


def elementary(path: Path) -> bytes:
    """The coded video of a program stream, as the ffmpeg program reads it."""
    words = ["-loglevel", "error", "-i", str(path), "-map", "0:v:0", "-c", "copy", "-f", "mpeg2video", "-"]
    return subprocess.run([get_ffmpeg_exe(), *words], capture_output=True, check=True).stdout


@needs_programs
@pytest.mark.parametrize("lines", [525, 625])
def test_every_menu_page_is_a_legal_still_picture_within_the_safe_area(
    kit: Path, images: tuple[dict[int, Path], dict[str, Any]], tmp_path: Path, lines: int
) -> None:
    """Decoded from the image, all frames of a page are the same; words and frames stay 5 % (EBU R 95) off the edges."""
    disc = disc_of(kit, lines)
    menu = parse_format(disc.format.id, Fraction(4, 3))
    pages = menu_pages(disc.chapters, menu)
    left, right = column(menu, Fraction(5, 100)), column(menu, Fraction(95, 100))
    top, bottom = line(menu, Fraction(5, 100)), line(menu, Fraction(95, 100))
    with open_image(images[0][lines]) as image:
        cells = image.tables().pages
        assert len(cells) == len(pages) == len(images[1]["images"][lines == 625]["menu"])
        for page, cell in zip(pages, cells, strict=True):
            image.copy_page(cell, tmp_path / "page.mpg")
            with open_video(tmp_path / "page.mpg") as video:
                frames = [picture.planes for picture in video.pictures()]
            assert all(np.array_equal(a, b) for frame in frames for a, b in zip(frame, frames[0], strict=True))
            luma, *chroma = frames[0]
            # Narrow range (BT.601): black 16, white 235; no colour. The coder is off by 2 beside letters.
            assert luma.min() >= 14
            assert 100 < luma.max() <= 185
            assert all(np.abs(plane.astype(int) - 128).max() <= 2 for plane in chroma)
            rows, columns = np.nonzero(luma > 24)
            assert left <= columns.min()
            assert columns.max() <= right
            assert top <= rows.min()
            assert rows.max() <= bottom
            boxes = [button.box for button in page.buttons]
            assert all(Fraction(5, 100) <= edge <= Fraction(95, 100) for box in boxes for edge in box)
            for i, one in enumerate(boxes):
                for other in boxes[i + 1 :]:
                    assert one.bottom <= other.top or one.right <= other.left


def words_of(chapters: tuple[Chapter, ...], fmt: Format) -> list[str]:
    """The words of each page of a menu."""
    return [
        "\n".join(shape.text for shape in page.pattern.scene(fmt).shapes if hasattr(shape, "text"))
        for page in menu_pages(chapters, fmt)
    ]


def test_the_menu_lists_number_name_purpose_and_cautions(kit: Path) -> None:
    """Every chapter is listed once, in order, with its longest time; the cautions of the bench come first."""
    disc = disc_of(kit, 525)
    pages = words_of(disc.chapters, disc.format)
    whole = re.sub(r"\s+", " ", " ".join(pages))
    assert "A picture tube can kill" in pages[0]
    for words in ("Phosphor", "Flashing", "Bright and still: it wears the phosphor under it."):
        assert whole.index(words) < whole.index("01 Slate")
    places = []
    for chapter in disc.chapters:
        pattern = chapter.item.order.pattern
        # A long name goes on in the next line.
        start, time_up = chapter.title.split(" (")[0], f"up to +{pattern.dwell_minutes} min"
        found = re.search(rf"{chapter.number:02} {re.escape(start)}.*? {time_up}", whole)
        assert found is not None, chapter.title
        places.append(found.start())
        assert pattern.adjust in whole[found.start() :]
    assert places == sorted(places)


# --- What the keys do -------------------------------------------------------------------------------------------


@needs_programs
@needs_player
def test_keys_lead_through_the_order_of_work(images: tuple[dict[int, Path], dict[str, Any]], kit: Path) -> None:
    """Next and previous go from chapter to chapter, stills wait for ever, what moves begins again."""
    count = len(disc_of(kit, 525).chapters)
    with Player(images[0][525]) as player:
        first = player.play()
        assert (first.title, first.still) == (0, 255)
        while player.enter().title == 0:
            pass
        seen = [player.chapter(1)]
        seen += [player.key("next") for _ in range(count - 1)]
        assert [(stop.title, stop.part) for stop in seen] == [(1, number) for number in range(1, count + 1)]
        # field-order is the third: it came to its begin again, the others hold.
        assert [stop.still for stop in seen] == [-1 if number == 3 else 255 for number in range(1, count + 1)]
        back = [player.key("previous") for _ in range(2)]
        assert [stop.part for stop in back] == [count - 1, count - 2]
        assert player.key("still").part == count - 1
        assert player.chapter(count).part == count
        # After the last one the menu comes, at that chapter.
        assert player.key("still").title == 0


@needs_programs
@needs_player
def test_arrows_lead_through_the_menu(images: tuple[dict[int, Path], dict[str, Any]], kit: Path) -> None:
    """Down goes through all chapters of a page and on; the menu comes back to the chapter that was shown."""
    disc = disc_of(kit, 525)
    pages = menu_pages(disc.chapters, disc.format)
    with Player(images[0][525]) as player:
        stop = player.play()
        # Program chain 1 only chooses; pages follow.
        while not pages[stop.part - 2].chapters:
            stop = player.enter()
        for page in (page for page in pages if page.chapters):
            assert pages[stop.part - 2] is page
            for i in range(len(page.chapters)):
                assert stop.button == i + 1
                stop = player.arrow("lower")
            assert page.buttons[stop.button - 1].chapter is None
            if page is not pages[-1]:
                assert page.buttons[stop.button - 1].name == "next"
                stop = player.enter()
        player.arrow("upper")
        played = player.enter()
        assert (played.title, played.part) == (1, len(disc.chapters))
        for chapter in disc.chapters:
            player.chapter(chapter.number)
            for key in ("menu", "top"):
                stop = player.key(key)
                assert pages[stop.part - 2].buttons[stop.button - 1].chapter == chapter.number
                assert player.enter().part == chapter.number


class Commands:
    """The commands of a disc as dvdunauthor reads them back, run one after another as a player does."""

    def __init__(self, image: Path, folder: Path) -> None:
        inner = folder / "disc" / "VIDEO_TS"
        inner.mkdir(parents=True)
        for name in ("VIDEO_TS", "VTS_01_0"):
            for kind in ("IFO", "BUP", "VOB"):
                self._extract(image, inner / f"{name}.{kind}")
        self._extract(image, inner / "VTS_01_1.VOB")
        subprocess.run(["dvdunauthor", str(folder / "disc")], cwd=folder, capture_output=True, check=True)
        root = ElementTree.parse(folder / "dvdauthor.xml").getroot()
        self.menus = root.findall("titleset/menus/pgc")
        self.cells = root.findall("titleset/titles/pgc/vob/cell")
        self.first = (root.findtext("vmgm/fpc") or "").strip()

    @staticmethod
    def _extract(image: Path, path: Path) -> None:
        with path.open("wb") as file:
            words = ["isoinfo", "-i", str(image), "-x", f"/VIDEO_TS/{path.name};1"]
            subprocess.run(words, stdout=file, check=True)

    def buttons(self, menu: int) -> list[str]:
        """What each button of a menu does; menus are counted from 1."""
        return [(button.text or "").strip().rstrip(";") for button in self.menus[menu - 1].iter("button")]

    def enter(self, menu: int, registers: dict[str, int]) -> tuple[int, int]:
        """Enter a menu: the page at which the player stays, and its chosen button; 0 where the commands end."""
        words = self.menus[menu - 1].findtext("pre") or ""
        steps = [one.strip() for one in re.split(r"[;{}\n]|(?<=:)\s", words) if one.strip()]
        at = 0
        while at < len(steps):
            step, at = steps[at].split("<!--")[0].strip(), at + 1
            if found := re.fullmatch(r"if \((\w+) (!=|lt|le) (\w+)\)", step):
                left, right = (registers[one] if one in registers else int(one) for one in (found[1], found[3]))
                holds = {"!=": left != right, "lt": left < right, "le": left <= right}[found[2]]
                # What an if holds is a jump, in the next step.
                at += not holds
            elif found := re.fullmatch(r"goto (\w+)", step):
                at = steps.index(f"{found[1]}:")
            elif found := re.fullmatch(r"jump pgc (\d+)", step):
                return self.enter(int(found[1]), registers)
            elif found := re.fullmatch(r"(\w+) = (\w+)(?: ([-*]) (\d+))?", step):
                value = registers[found[2]] if found[2] in registers else int(found[2].replace("k", "000"))
                number = int(found[4] or 0)
                # It writes 1024 as 1k.
                value = 1024 * int(found[2][:-1]) if found[2].endswith("k") else value
                registers[found[1]] = {"-": value - number, "*": value * number, None: value}[found[3]]
            else:
                assert step.endswith(":"), step
        return menu, registers.get("button", 0) // 1024


@needs_programs
@pytest.mark.skipif(shutil.which("dvdunauthor") is None, reason="dvdunauthor is not installed")
@pytest.mark.parametrize("lines", [525, 625])
def test_commands_read_back_lead_where_the_menu_says(
    kit: Path, images: tuple[dict[int, Path], dict[str, Any]], tmp_path: Path, lines: int
) -> None:
    """As dvdunauthor reads them: every button leads where its words say, and the menu key to what was shown."""
    disc = disc_of(kit, lines)
    pages = menu_pages(disc.chapters, parse_format(disc.format.id))
    read = Commands(images[0][lines], tmp_path)
    assert read.first.startswith("jump titleset 1 menu entry root;")
    for number, page in enumerate(pages, 2):
        wanted = [
            f"title 1 chapter {one.chapter}" if one.page is None else f"pgc {one.page + 2}" for one in page.buttons
        ]
        assert read.buttons(number) == [f"jump {one}" for one in wanted]
    fresh = {f"g{i}": 0 for i in range(16)}
    assert read.enter(1, {**fresh, "s7": 1})[0] == 2, "the cautions come first"
    for chapter in disc.chapters:
        menu, button = read.enter(1, {**fresh, "g0": 1, "s7": chapter.number})
        assert pages[menu - 2].buttons[button - 1].chapter == chapter.number
    # A player that has shown nothing yet may say 0: it shows the first page, and does not stop.
    assert read.enter(1, {**fresh, "g0": 1, "s7": 0})[0] == 2
    held = [cell.get("pause") == "inf" for cell in read.cells]
    assert held == [is_held(chapter) for chapter in disc.chapters]
    again = [f"jump cell {one.number};" for one in disc.chapters if not is_held(one)]
    assert [(cell.text or "").strip() for cell in read.cells if cell.get("pause") != "inf"] == again


@pytest.mark.parametrize(("seconds", "held"), [(0.5, True), (1.0, False)])
def test_what_moves_is_not_begun_again_more_than_once_a_second(kit: Path, seconds: float, held: bool) -> None:
    """A short clip is held: its jumps back would flash (BT.1702: three flashes a second at most)."""
    moving = next(chapter for chapter in disc_of(kit, 525).chapters if not chapter.item.scene.is_still)
    item = replace(moving.item, order=replace(moving.item.order, seconds=seconds))
    assert is_held(replace(moving, item=item)) is held
    still = disc_of(kit, 525).chapters[0]
    assert is_held(still)


# --- What the command says and refuses --------------------------------------------------------------------------


@needs_programs
def test_json_names_every_chapter_with_its_proof(images: tuple[dict[int, Path], dict[str, Any]], kit: Path) -> None:
    """Path, size, hash, and each chapter as proved; no image is larger than was expected before."""
    for answer, disc in zip(images[1]["images"], discs_of(kit), strict=True):
        path = Path(answer["path"])
        assert path == images[0][disc.standard]
        assert answer["bytes"] == path.stat().st_size == 2048 * answer["sectors"]
        assert answer["sectors"] <= disc.sectors
        assert answer["sha256"] == subprocess.run(["sha256sum", path], capture_output=True, text=True).stdout[:64]
        listed = [(one["chapter"], one["number"], one["pattern"], one["held"]) for one in answer["chapters"]]
        assert listed == [
            (c.number, c.item.number, c.item.order.pattern.id, c.item.scene.is_still) for c in disc.chapters
        ]
        for one in (*answer["chapters"], *answer["menu"]):
            assert one["proof"]["verdict"] in ("exact", "within")
            assert one["proof"]["patch_error_codes"] <= 1
        tones = {round(one["proof"]["tone_dbfs"]) for one in answer["chapters"]}
        # EBU R 68: -18 dBFS at 625 lines; none was asked for at 525.
        assert tones == {0 if disc.standard == 525 else -18}
        assert {one["proof"]["tone_dbfs"] for one in answer["menu"]} == {0}
        assert hidden(path.parent) == []


@needs_programs
def test_json_is_as_its_page_says(images: tuple[dict[int, Path], dict[str, Any]]) -> None:
    """docs/disc.md has every key of the answer, and no other."""
    page = (Path(__file__).parents[1] / "docs" / "disc.md").read_text(encoding="utf-8")
    table = page.split("## What `--json` holds")[1].split("\n## ")[0]
    rows = re.findall(r"^\| (`.+?) \| (.+) \|$", table, re.MULTILINE)
    answer = images[1]["images"][0]
    assert {key for first, _ in rows for key in re.findall(r"`(\w+)`", first)} == set(answer)
    for name in ("menu", "chapters"):
        holds = next(words for first, words in rows if first == f"`{name}`")
        assert set(re.findall(r"`([a-z]+)`", holds)) == set(answer[name][0])


def refused(kit: Path, tmp_path: Path, words: str) -> None:
    """One line with these words, exit 2, and nothing is made."""
    place = tmp_path / "to"
    code, out, err = call("disc", kit, "--to", place / "out.iso")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert re.search(words, err), err
    assert not place.exists()


def test_a_kit_that_does_not_fit_is_refused_with_its_size(copy: Path, tmp_path: Path) -> None:
    """The sizes in the manifest decide, before a program or a file is looked at: 4.7e9 bytes are 2295104 sectors."""
    manifest = json.loads((copy / "kit.json").read_text())
    for i in range(2):
        manifest["files"][i]["bytes"] = 2_400_000_000
    (copy / "kit.json").write_text(json.dumps(manifest))
    refused(copy, tmp_path, r"out-525\.iso: needs 4\.8\d\d GB, a disc of one layer has 4\.700 GB \(2,295,104 sectors\)")


@needs_programs
@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("changed", r"is not the file that the kit proved; run the same kit command again"),
        ("missing", r"cannot be read \(No such file or directory\); run the same kit command again"),
        ("unfinished", r"the kit is not finished"),
        ("other drawing", r"made by another version, or changed since"),
        ("other carrier", r"a kit of h264; a disc is made of one of mpeg2"),
        ("no manifest", r"kit\.json: cannot be read \(No such file or directory\); the folder of a kit is expected"),
        ("spoilt", r"lists no finished file"),
        ("strange", r"made by another version, or changed since"),
    ],
)
def test_a_kit_that_is_not_good_is_one_line(copy: Path, tmp_path: Path, fault: str, words: str) -> None:
    """Whatever is wrong with the kit: exit 2 and what to do."""
    path = copy / "kit.json"
    manifest = json.loads(path.read_text())
    first = manifest["files"][0]
    if fault == "changed":
        clip = copy / first["path"]
        clip.write_bytes(clip.read_bytes()[:-1] + b"x")
    elif fault == "missing":
        (copy / first["path"]).unlink()
    elif fault == "unfinished":
        manifest["complete"] = False
    elif fault == "other drawing":
        first["scene_sha256"] = "0" * 64
    elif fault == "other carrier":
        first["carrier"] = "h264"
    elif fault == "strange":
        first["options"] = {"level": "1/0", "nothing": 3}
    if fault == "no manifest":
        path.unlink()
    else:
        path.write_text("{" if fault == "spoilt" else json.dumps(manifest))
    refused(copy, tmp_path, words)


def test_missing_programs_are_named_in_one_line(kit: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without dvdauthor and a writer the line says what to install."""
    monkeypatch.setenv("PATH", str(tmp_path))
    refused(kit, tmp_path, r"dvdauthor, spumux, genisoimage or mkisofs: not installed; on Debian: apt install")


@needs_programs
def test_nothing_else_is_replaced(kit: Path, tmp_path: Path) -> None:
    """A name without .iso is refused; a folder and one of the kit's own files are never replaced."""
    for to, words in ((tmp_path / "disc", "ends in .iso"), (tmp_path / "disc.img", "ends in .iso")):
        code, _, err = call("disc", kit, "--to", to)
        assert code == 2
        assert words in err
    (tmp_path / "a-525.iso").mkdir()
    code, _, err = call("disc", kit, "--to", tmp_path / "a.iso")
    assert (code, err.count("\n")) == (2, 1)
    assert "is a folder" in err


# --- Nothing unproved gets a name -------------------------------------------------------------------------------


@needs_programs
@pytest.mark.parametrize("fault", ["swapped", pytest.param("spoilt", marks=pytest.mark.slow)])
def test_an_image_that_is_not_as_ordered_gets_no_name(
    kit: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fault: str
) -> None:
    """Two chapters in each other's place, or a damaged sector of the image: exit 1 and nothing is left."""

    def swapped(program: str, disc: Disc, pages: Any, clips: list[Path], room: Path) -> None:
        author(program, disc, pages, [clips[1], clips[0], *clips[2:]], room)

    def spoilt(writer: str, name: str, path: Path) -> None:
        write_image(writer, name, path)
        data = bytearray(path.read_bytes())
        # The last picture of the third chapter from the end: in the middle of the image's second half.
        at = len(data) * 3 // 4 // 2048 * 2048
        data[at + 64 : at + 1024] = bytes(960)
        path.write_bytes(data)

    if fault == "swapped":
        monkeypatch.setattr(make_module, "author", swapped)
    else:
        monkeypatch.setattr(make_module, "write_image", spoilt)
    (tmp_path / "out-525.iso").write_bytes(b"before")
    code, out, err = call("disc", kit, "--to", tmp_path / "out.iso")
    assert (code, out, err.count("\n")) == (1, "", 1)
    assert re.search(r"out-525\.iso, chapter \d+ failed its proof: ", err), err
    assert (tmp_path / "out-525.iso").read_bytes() == b"before"
    assert [path.name for path in tmp_path.iterdir()] == ["out-525.iso"]


@pytest.fixture
def small_disk(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Path]:
    """A disk of as many kB as the test says."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root mounts")
    mount = ["mount", "-t", "tmpfs", "-o", f"size={request.param}k", "none", str(tmp_path)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("nothing can be mounted here")
    yield tmp_path
    subprocess.run(["umount", str(tmp_path)], check=True)


@needs_programs
@pytest.mark.parametrize(
    "small_disk",
    [100, *(pytest.param(size, marks=pytest.mark.slow) for size in (700, 2000, 3500, 5000, 6500, 8000))],
    indirect=True,
)
def test_a_full_disk_is_one_line(kit: Path, small_disk: Path) -> None:
    """Wherever the disk gets full, from the menu to the proof of the image: exit 2 and nothing unfinished."""
    code, out, err = call("disc", kit, "--to", small_disk / "out.iso")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert re.search(r"out-\d+\.iso: No space left on device; nothing unfinished was left behind", err), err
    assert not hidden(small_disk)


@needs_programs
@pytest.mark.slow
def test_a_target_without_links_gets_copies(kit: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a file system that has no symbolic links the image is made all the same."""

    def refuse(path: Path, target: Path) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "symlink_to", refuse)
    assert call("disc", kit, "--to", tmp_path / "out.iso")[0] == 0


@needs_programs
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGKILL])
@pytest.mark.parametrize(
    "sign",
    [
        "*/page1.mpg",
        *(pytest.param(one, marks=pytest.mark.slow) for one in ("*/disc/**/*.VOB", "*/file.iso", "*/back.mpg")),
    ],
)
def test_a_stop_leaves_no_image(kit: Path, tmp_path: Path, number: signal.Signals, sign: str) -> None:
    """Stopped in the menu, the authoring, the image or the proof: no name; the next run clears what a kill left."""
    line = [*PROGRAM, "disc", str(kit), "--to", str(tmp_path / "out.iso")]
    process = subprocess.Popen(line, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
    end = time.monotonic() + 30
    while not list(tmp_path.glob(f".trueraster-{process.pid}-{sign}")) and time.monotonic() < end:
        time.sleep(0.002)
    process.send_signal(number)
    _, err = process.communicate(timeout=20)
    assert not list(tmp_path.glob("*.iso"))
    if number is signal.SIGINT:
        # Click begins a new line after the terminal's ^C.
        assert (process.returncode, err.strip().count("\n")) == (130, 0), err
        assert not hidden(tmp_path)
    elif "page1" in sign:
        code, _, words = call("disc", kit, "--to", tmp_path / "out.iso")
        assert code == 0, words
        assert sorted(path.name for path in tmp_path.iterdir()) == ["out-525.iso", "out-625.iso"]


@needs_programs
@pytest.mark.slow
@pytest.mark.parametrize("name", ["480i", "576i"])
def test_a_whole_kit_fits_a_disc(tmp_path: Path, name: str) -> None:
    """All patterns, short: every chapter and page proved, and the same clips of a minute would fit (4.7e9 bytes)."""
    assert call("kit", "--format", name, "--as", "mpeg2", "--seconds", "1", "--to", tmp_path / "kit")[0] == 0
    code, out, err = call("disc", tmp_path / "kit", "--to", tmp_path / "out.iso", "--json")
    assert (code, err) == (0, "")
    (answer,) = json.loads(out)["images"]
    assert len(answer["chapters"]) == len(discs_of(tmp_path / "kit")[0].chapters) > 40
    assert 60 * answer["bytes"] < 4_700_000_000
