"""Files that a command reads: a named pipe, a device, a folder or a socket in the place of one is a line at once.

And names of files that it would write, which are looked at before those are read.
"""

from __future__ import annotations

import io
import os
import signal
import socket
from collections.abc import Iterator
from pathlib import Path
from types import FrameType

import pytest
from PIL import Image

from render.errors import FileError
from render.reading import read_bounded, read_stream
from tests.command import call, refused

SECONDS = 20
"""What hangs, hangs for good; a command that refuses a file at once takes a tenth of a second and its imports."""
COMMANDS = (
    "verify F",
    "verify F --pattern bars --all",
    "verify real --pattern F --format 480i",
    "draw F",
    "scope F",
    "measure geometry F",
    "measure convergence F --no-marks",
    "measure raster F --to made",
    "measure geometry real --lens F",
    "measure geometry real --marks-mm 460x360 --marks-photo F",
    "measure geometry real --pattern F",
    "measure uniformity F",
    "measure uniformity real F",
    "measure uniformity real --flat-field F",
    "measure uniformity real --ambient F",
    "measure lens F F F F F",
    "measure lens real real real real F",
    "measure grey F",
    "measure colour F",
    "record show F",
    "record set F --hours 1",
    "record work F words",
    "record remove F as-found name",
    "record add kept as-found F",
    "record add kept as-found --picture F",
    "report F",
    "report kept --tolerances F",
)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A record, and a file that is nothing; what takes longer than `SECONDS` fails."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "real").write_text("neither picture nor record\n", encoding="utf-8")
    assert call("record", "new", "kept.json", "--set", "a set").code == 0

    def late(number: int, frame: FrameType | None) -> None:
        pytest.fail("it waits for what never comes")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(SECONDS)
    yield tmp_path
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


@pytest.mark.parametrize(
    ("kind", "words"),
    [("pipe", "a named pipe"), ("zero", "a device"), ("folder", "a folder"), ("missing", "No such file or directory")],
)
@pytest.mark.parametrize("command", COMMANDS)
def test_what_is_no_file_is_one_line_at_once(command: str, kind: str, words: str, here: Path) -> None:
    """A pipe, a device, a folder or a missing file gives one line at once, and nothing is written."""
    # What ends in .toml is a pattern.
    name = f"{kind}.toml" if "--pattern F" in command or command == "draw F" else f"{kind}.json"
    path = here / name
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "zero":
        path.symlink_to("/dev/zero")
    elif kind == "folder":
        path.mkdir()
    if command == "verify real --pattern F --format 480i":
        # The frame is read first.
        Image.new("RGB", (720, 480)).save(here / "real", "PNG")
    line = [name if word == "F" else "kept.json" if word == "kept" else word for word in command.split()]
    before = sorted(here.iterdir())
    ran = call(*line)
    said = f"cannot be read ({words})" if kind == "missing" else f"is not a file ({words})"
    if kind == "folder" and command.startswith("verify F"):
        # It looks into folders.
        said = "no picture and no clip is in this folder"
    assert ran == (2, "", f"trueraster: {name}: {said}\n")
    assert sorted(here.iterdir()) == before


@pytest.mark.parametrize(
    "command", ["verify F --picture", "measure uniformity F --picture", "measure uniformity G --flat-field F --picture"]
)
def test_the_name_of_a_picture_is_looked_at_first(command: str, here: Path) -> None:
    """A picture that could not be written is refused before anything is measured."""
    (here / "folder.png").mkdir()
    line = ["f.png" if word == "F" else "g.png" if word == "G" else word for word in command.split()]
    for name, words in (
        ("x.jpg", "got 'x.jpg', a name that ends in .png is expected"),
        ("folder.png", "folder.png is a folder"),
        ("f.png", "f.png is one of the files that are read, and would be lost"),
    ):
        assert call(*line, name) == (2, "", f"trueraster: --picture: {words}\n")


def test_the_name_of_a_lens_file_is_looked_at_first(here: Path) -> None:
    """A lens file that could not be written is refused before anything is measured."""
    (here / "folder.json").mkdir()
    for name, words in (
        ("x.txt", "got 'x.txt', a name that ends in .json is expected"),
        ("folder.json", "folder.json is a folder"),
        ("b.json", "b.json is one of the files that are read, and would be lost"),
    ):
        photos = ("a.json", "b.json", "c.json", "d.json", "e.json")
        assert call("measure", "lens", *photos, "--to", name) == (2, "", f"trueraster: --to: {words}\n")


@pytest.mark.parametrize("name", ["kit.json", "cue-sheet.html", "playlist.m3u8"])
def test_a_pipe_in_the_folder_of_a_kit_is_not_waited_for(name: str, here: Path) -> None:
    """A named pipe with a name of the kit's own is refused at once as a file of somebody else's."""
    (here / "kit").mkdir()
    os.mkfifo(here / "kit" / name)
    ran = call("kit", "--to", "kit")
    said = f"trueraster: --to: kit has a {name} that is of no kit; give a folder of its own"
    assert (ran.code, ran.err.splitlines()[-1]) == (2, said)


@pytest.mark.parametrize("command", ["report kept.json", "scope bars", "measure geometry real --page"])
def test_a_device_is_not_replaced(command: str, here: Path) -> None:
    """A name that stands for a device is refused before anything is read or drawn."""
    (here / "null.html").symlink_to("/dev/null")
    (here / "null.svg").symlink_to("/dev/null")
    name = "null.svg" if command.startswith("scope") else "null.html"
    line = command.split() if "--page" in command else [*command.split(), "--to"]
    refused(*line, name, told=f"{name} is not a file and is never replaced")


def test_a_socket_is_no_file(here: Path) -> None:
    """A socket is refused, and not waited for."""
    with socket.socket(socket.AF_UNIX) as one:
        one.bind("socket")
        with pytest.raises(FileError, match=r"^socket: is not a file \(a socket\)$"):
            read_bounded(Path("socket"), 10, "no letter")


def test_a_file_up_to_the_limit_is_read(tmp_path: Path) -> None:
    """And one byte more is refused, with the limit; what says that it is empty is read all the same."""
    path = tmp_path / "file"
    for size in (0, 1, 4000, 4 << 10):
        path.write_bytes(b"x" * size)
        assert read_bounded(path, 4 << 10, "no letter") == b"x" * size
    path.write_bytes(b"x" * ((4 << 10) + 1))
    with pytest.raises(FileError) as caught:
        read_bounded(path, 4 << 10, "no letter")
    assert str(caught.value) == f"{path}: is larger than 4 kB; no letter"
    assert read_stream(io.BytesIO(b"xyz"), "standard input", 3, "no letter") == b"xyz"
    with pytest.raises(FileError, match="standard input: is larger than 2 MB; no letter"):
        read_stream(io.BytesIO(b"x" * ((2 << 20) + 1)), "standard input", 2 << 20, "no letter")
