"""What a file carries on request: the colours of a display. Read with the ffmpeg program, which is not our reader."""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path

import pytest
from imageio_ffmpeg import get_ffmpeg_exe

from render.decode import open_video
from tests.matrix import rest_is_slow
from trueraster.cli import run

CLIPS = ("h264", "mpeg2", "prores", "v210", "ffv1")


def words_of(path: Path) -> str:
    """What the program says of the picture's colours: range, then matrix/primaries/transfer."""
    said = subprocess.run([get_ffmpeg_exe(), "-hide_banner", "-i", str(path)], capture_output=True, check=False)
    found = re.search(r"Stream #.*Video:.*? \w+\(([^)]*)\)", said.stderr.decode("utf-8", "replace"))
    assert found, said.stderr
    return found[1]


def frames_of(path: Path) -> bytes:
    words = ("-v", "error", "-i", str(path), "-f", "framemd5", "-")
    return subprocess.run([get_ffmpeg_exe(), *words], capture_output=True, check=True).stdout


def drawn(folder: Path, carrier: str, *words: str, fmt: str = "480i") -> Path:
    assert run(["draw", "bars", "--format", fmt, "--as", carrier, "--to", str(folder), *words]) == 0
    (path,) = folder.iterdir()
    return path


@pytest.mark.parametrize("carrier", rest_is_slow(CLIPS, {"h264", "v210"}))
def test_a_clip_says_the_colours_of_a_display(tmp_path: Path, carrier: str) -> None:
    """BT.709's primaries and transfer (ITU-T H.273, code points 1 and 1), the format's matrix; not one code changes."""
    usual = drawn(tmp_path / "usual", carrier, "--seconds", "0.2")
    shown = drawn(tmp_path / "shown", carrier, "--seconds", "0.2", "--primaries", "display")
    assert "smpte170m/bt709/bt709" in words_of(shown)
    assert "smpte170m/bt709/bt709" not in words_of(usual)
    assert "_display" in shown.name
    assert frames_of(usual) == frames_of(shown)


def test_a_still_says_srgb(tmp_path: Path) -> None:
    """A PNG that is to have colour tags says sRGB (ITU-T H.273, code point 13): read back by our own reader."""
    path = drawn(tmp_path, "png", "--tagged", "--primaries", "display")
    with open_video(path) as file:
        tags = next(iter(file.pictures())).tags
    assert (tags.primaries, tags.transfer) == (1, 13)


def test_what_is_drawn_says_whose_colours_it_has(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for primaries in ("format", "display"):
        words = ["draw", "bars", "--as", "y4m", "--seconds", "0.1", "--primaries", primaries, "--json"]
        assert run([*words, "--to", str(tmp_path / primaries)]) == 0
        assert json.loads(capsys.readouterr().out)["files"][0]["primaries"] == primaries


def test_other_words_are_refused_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for command in (["draw", "bars"], ["kit"]):
        assert run([*command, "--primaries", "wide", "--to", str(tmp_path / "none")]) == 2
        said = capsys.readouterr().err
        assert said == "trueraster: --primaries: got 'wide', allowed are format, display\n"
    assert not (tmp_path / "none").exists()


def test_a_kit_is_made_again_where_its_colours_are_others(tmp_path: Path) -> None:
    """The manifest holds whose colours its files say, and no file of one kit is taken for one of the other."""
    folder = tmp_path / "kit"
    for words in ([], ["--primaries", "display"]):
        assert run(["kit", "--format", "64x48@60", "--as", "png", "--to", str(folder), *words]) == 0
    listed = json.loads((folder / "kit.json").read_text(encoding="utf-8"))
    assert {entry["primaries"] for entry in listed["files"]} == {"display"}
    assert {entry["primaries"] for entry in listed["earlier"]} == {"format"}
    assert all("_display" in entry["path"] for entry in listed["files"])
