"""Files are written whole: what is no file is left alone, and links are followed."""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from render.writing import placed, placed_from_room

ROOT = Path(__file__).parents[1]


def at_once(path: Path) -> None:
    with placed(path) as file:
        file.write(b"new")


def from_room(path: Path) -> None:
    with placed_from_room(path, path.suffix) as written:
        written.write_bytes(b"new")


Write = Callable[[Path], None]
BOTH = pytest.mark.parametrize("write", [at_once, from_room])


@BOTH
def test_what_is_no_file_is_left_alone(tmp_path: Path, write: Write) -> None:
    """A pipe, as a device, would be gone once a file had its name."""
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    with pytest.raises(OSError, match="is not a file and is never replaced"):
        write(pipe)
    assert pipe.is_fifo()
    assert list(tmp_path.iterdir()) == [pipe]


@BOTH
def test_a_link_is_followed(tmp_path: Path, write: Write) -> None:
    """What it leads to gets the text, and the link stays one."""
    there, link = tmp_path / "kept" / "real.csv", tmp_path / "link.csv"
    there.parent.mkdir()
    there.write_bytes(b"old")
    link.symlink_to(there)
    write(link)
    assert link.is_symlink()
    assert there.read_bytes() == b"new"
    assert list(there.parent.iterdir()) == [there]


@BOTH
def test_a_link_to_what_is_not_there_yet_is_followed(tmp_path: Path, write: Write) -> None:
    """The file comes into being at the other end, in a folder made for it."""
    link = tmp_path / "link.csv"
    link.symlink_to(tmp_path / "new" / "real.csv")
    write(link)
    assert link.is_symlink()
    assert (tmp_path / "new" / "real.csv").read_bytes() == b"new"


@BOTH
def test_a_link_to_a_link_that_leads_back_is_left_alone(tmp_path: Path, write: Write) -> None:
    """One error with its name, and both links as they were."""
    one, two = tmp_path / "one.csv", tmp_path / "two.csv"
    one.symlink_to(two)
    two.symlink_to(one)
    with pytest.raises(OSError, match=r"one\.csv"):
        write(one)
    assert (one.readlink(), two.readlink()) == (two, one)
    assert sorted(tmp_path.iterdir()) == [one, two]


@BOTH
def test_a_folder_of_that_name_stays(tmp_path: Path, write: Write) -> None:
    """It is named, and nothing comes beside it."""
    (tmp_path / "taken.csv").mkdir()
    with pytest.raises(IsADirectoryError, match=r"a folder has this name.*taken\.csv"):
        write(tmp_path / "taken.csv")
    assert list(tmp_path.rglob("*")) == [tmp_path / "taken.csv"]


def test_files_get_their_names_in_one_module_only() -> None:
    """A second writer would need the same guards: only this one renames files."""
    renames = re.compile(r"\bos\.(replace|rename|link)\(|\.rename\(")
    modules = [path for folder in ("render", "analysis", "trueraster") for path in (ROOT / folder).rglob("*.py")]
    found = [path.relative_to(ROOT) for path in modules if renames.search(path.read_text(encoding="utf-8"))]
    assert found == [Path("render", "writing.py")]
