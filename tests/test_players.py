"""A kit in general-purpose software players, where they are installed: its playlists in order, and the codes they send.

They come from Debian (packages mpv, and vlc-bin with vlc-plugin-base) and are used here only, to see what such players
do; they run without a screen and without their users' settings. The first, of version 0.35, converts primaries to
those of BT.709 and reads no XSPF; its front end (package smplayer 22.7) plays the M3U through, and stops at the first
entry of the XSPF, since it does not take relative names from the folder of the list. The second, of version 3.0,
converts nothing and reads both kinds of playlist. So does a library that other players read playlists with (package
gir1.2-totemplparser-1.0, with python3-gi).
"""

from __future__ import annotations

import contextlib
import json
import os
import re
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

from tests.matrix import rest_is_slow
from trueraster.cli import run as trueraster

NOBODY = 65534
"""The second player does not run as root, so there it gets Debian's user nobody."""
CONVERTS, KEEPS = shutil.which("mpv"), shutil.which("cvlc")
FRONT_END, NO_SCREEN = shutil.which("smplayer"), shutil.which("xvfb-run")
SYSTEM_PYTHON = "/usr/bin/python3"
"""Debian's own, for which the library of playlists is installed."""


@pytest.fixture(scope="module")
def room() -> Iterator[Path]:
    """A folder that any user may read and write."""
    # A user's own folder for temporary files may be closed to nobody; the machine's is open to all.
    folder = Path(tempfile.mkdtemp(prefix="players-", dir="/tmp" if os.geteuid() == 0 else None))
    folder.chmod(0o777)
    yield folder
    shutil.rmtree(folder)


@pytest.fixture(scope="module")
def clips(room: Path) -> Callable[[str, str], Path]:
    """A clip of a pattern at 480i, with the colours of the format or of the display."""

    def make(pattern: str, primaries: str) -> Path:
        ending = "_display" if primaries == "display" else ""
        path = room / f"{pattern}_480i_narrow{ending}.mp4"
        if not path.exists():
            words = ["--as", "h264", "--seconds", "0.5", "--primaries", primaries, "--to", str(room)]
            assert trueraster(["draw", pattern, *words]) == 0
        return path

    return make


@pytest.fixture(scope="module")
def kit(room: Path) -> Path:
    """A whole kit of short clips, and a space and a foreign letter in its folder's name."""
    folder = room / "kit für 480i"
    assert trueraster(["kit", "--format", "480i", "--seconds", "0.2", "--to", str(folder)]) == 0
    return folder


def played(room: Path, words: Sequence[str], **more: Any) -> str:
    """All that a player says, which may write into `room` only."""
    user: dict[str, Any] = {"user": NOBODY, "group": NOBODY, "extra_groups": []} if os.geteuid() == 0 else {}
    done = subprocess.run(
        words,
        capture_output=True,
        check=False,
        timeout=180,
        env={"PATH": os.environ["PATH"], "HOME": str(room), "XDG_RUNTIME_DIR": str(room), "LANG": "C.UTF-8", **more},
        **user,
    )
    said: bytes = done.stdout + done.stderr
    return said.decode("utf-8", "replace")


def frame_of_first(room: Path, clip: Path) -> Path:
    """The first frame as the player sends it: a PNG of square samples."""
    folder = room / f"frames-{clip.stem}"
    words = ["--no-config", "--no-audio", "--vo=image", "--vo-image-format=png", "--frames=1"]
    played(room, [CONVERTS or "", *words, f"--vo-image-outdir={folder}", str(clip)])
    return folder / "00000001.png"


def frame_of_second(room: Path, clip: Path) -> Path:
    """The frames as the player sends them, in its own file of raw frames."""
    path = room / f"frames-{clip.stem}.y4m"
    # It writes the file's name over the first seconds, which verify names as an overlay.
    words = ["--no-audio", "--no-video-title-show", "--intf", "dummy", "--vout", "yuv"]
    words += ["--yuv-yuv4mpeg2", "--yuv-chroma=I420"]
    played(room, [KEEPS or "", *words, f"--yuv-file={path}", "--play-and-exit", str(clip)])
    return path


def answer(path: Path, pattern: str, capsys: pytest.CaptureFixture[str]) -> dict[str, Any]:
    capsys.readouterr()
    trueraster(["verify", str(path), "--pattern", pattern, "--format", "480i", "--json"])
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    return told


@pytest.mark.skipif(CONVERTS is None, reason="mpv is not installed")
@pytest.mark.parametrize(("pattern", "primaries"), [("bars", "format"), ("bars", "display"), ("steps", "display")])
def test_a_player_that_converts(
    room: Path,
    clips: Callable[[str, str], Path],
    pattern: str,
    primaries: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """It converts what says SMPTE 170M, and is named; it leaves alone what says the display's own."""
    told = answer(frame_of_first(room, clips(pattern, primaries)), pattern, capsys)
    ids = [fault["id"] for fault in told["faults"]]
    if primaries == "display":
        # It sends square samples, so nothing is named, but what scaled the picture cannot be known.
        assert (ids, "own raster" in told["grade_reason"]) == ([], True)
        return
    assert told["verdict"] == "fail"
    assert ids[0] == "colour-managed"
    # The player writes square samples, so that the picture may be named scaled too; bars show no height.
    assert set(ids) <= {"colour-managed", "scaled"}
    assert told["faults"][0]["confidence"] > 0.95
    assert told["faults"][0]["parameters"] == {"transfer": "kept", "primaries": "SMPTE 170M to BT.709"}


@pytest.mark.skipif(KEEPS is None, reason="vlc is not installed")
@pytest.mark.parametrize("primaries", ["format", "display"])
def test_a_player_that_converts_nothing(
    room: Path, clips: Callable[[str, str], Path], primaries: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its frames pass, whatever the file says of its colours."""
    told = answer(frame_of_second(room, clips("bars", primaries)), "bars", capsys)
    assert (told["verdict"], told["faults"]) == ("pass", [])


def order_of_first(room: Path, playlist: Path) -> list[str]:
    said = played(room, [CONVERTS or "", "--no-config", "--vo=null", "--no-audio", "--untimed", str(playlist)])
    return [Path(name).name for name in re.findall(r"^Playing: (.*)$", said, re.MULTILINE)]


def order_of_second(room: Path, playlist: Path) -> list[str]:
    words = ["-vv", "--no-audio", "--intf", "dummy", "--vout", "dummy", "--play-and-exit"]
    said = played(room, [KEEPS or "", *words, str(playlist)])
    opened = re.findall(r"`file://[^']*/([^'/]*)' successfully opened", said)
    return [name for name in opened if name.endswith(".mp4")]


PLAYED = {
    "first, m3u8": (CONVERTS, order_of_first, "playlist.m3u8"),
    "second, m3u8": (KEEPS, order_of_second, "playlist.m3u8"),
    "second, xspf": (KEEPS, order_of_second, "playlist.xspf"),
}


@pytest.mark.parametrize("name", rest_is_slow(PLAYED, {"first, m3u8"}))
def test_players_play_a_kit_through_in_order(room: Path, kit: Path, name: str) -> None:
    """Every clip of the kit, in the order of work, each once."""
    program, order_of, playlist = PLAYED[name]
    if program is None:
        pytest.skip("the player is not installed")
    expected = sorted(path.name for path in kit.glob("*.mp4"))
    assert len(expected) > 30
    assert order_of(room, kit / playlist) == expected


@pytest.mark.slow
@pytest.mark.skipif(FRONT_END is None or NO_SCREEN is None, reason="smplayer or xvfb is not installed")
def test_the_front_end_of_the_first_plays_the_m3u(room: Path, kit: Path) -> None:
    """It starts the first player anew for each entry: seen from outside, all come in order."""
    words = [NO_SCREEN or "", "-a", FRONT_END or "", "-close-at-end", str(kit / "playlist.m3u8")]
    environment = {"PATH": os.environ["PATH"], "HOME": str(room), "XDG_RUNTIME_DIR": str(room), "LANG": "C.UTF-8"}
    expected, seen = sorted(path.name for path in kit.glob("*.mp4")), []
    with subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment) as running:
        while running.poll() is None:
            for process in Path("/proc").glob("[0-9]*/cmdline"):
                with contextlib.suppress(OSError):
                    seen += re.findall(rf"{re.escape(str(kit))}/([^/\0]*\.mp4)", process.read_text("utf-8", "replace"))
            time.sleep(0.03)
    assert list(dict.fromkeys(seen)) == expected


ENTRIES = """
import sys, gi
gi.require_version("TotemPlParser", "1.0")
from gi.repository import Gio, TotemPlParser
parser = TotemPlParser.Parser()
parser.connect("entry-parsed", lambda parser, address, words: print(Gio.File.new_for_uri(address).get_path()))
parser.parse(Gio.File.new_for_path(sys.argv[1]).get_uri(), False)
"""


@pytest.mark.parametrize("playlist", ["playlist.m3u8", "playlist.xspf"])
def test_a_library_of_playlists_reads_every_entry(kit: Path, playlist: str) -> None:
    """Names are taken from the playlist's own folder, whose name has a blank and a foreign letter."""
    words = [SYSTEM_PYTHON, "-c", ENTRIES, str(kit / playlist)]
    try:
        read = subprocess.run(words, capture_output=True, text=True, check=True, timeout=60).stdout.splitlines()
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("the library of playlists is not installed")
    assert read == sorted(str(path) for path in kit.glob("*.mp4"))
