"""Files are placed whole: what is no file is left alone, and links are followed."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from render.passing import placed


def test_what_is_no_file_is_left_alone(tmp_path: Path) -> None:
    """A pipe, as a device, would be gone once a file had its name."""
    pipe = tmp_path / "pipe.csv"
    os.mkfifo(pipe)
    with pytest.raises(OSError, match="is no file, and is not replaced by one"), placed(pipe) as file:
        file.write(b"new")
    assert pipe.is_fifo()
    assert list(tmp_path.iterdir()) == [pipe]


def test_a_link_is_followed(tmp_path: Path) -> None:
    """What it leads to gets the text, and the link stays one."""
    there, link = tmp_path / "kept" / "real.csv", tmp_path / "link.csv"
    there.parent.mkdir()
    there.write_bytes(b"old")
    link.symlink_to(there)
    with placed(link) as file:
        file.write(b"new")
    assert link.is_symlink()
    assert there.read_bytes() == b"new"
    assert list(there.parent.iterdir()) == [there]
