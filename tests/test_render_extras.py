"""What a file carries on request: the colours of a display, and a tone.

Read with the ffmpeg program, which is not our reader.
"""

from __future__ import annotations

import json
import re
import subprocess
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray

from patterns.signal import Sampling
from render.decode import open_video
from render.tags import Tags
from render.video.tone import hear_tone, tone_fault
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
    """A pattern with display colours names them in what the file says of itself."""
    for primaries in ("format", "display"):
        words = ["draw", "bars", "--as", "y4m", "--seconds", "0.1", "--primaries", primaries, "--json"]
        assert run([*words, "--to", str(tmp_path / primaries)]) == 0
        assert json.loads(capsys.readouterr().out)["files"][0]["primaries"] == primaries


def test_other_words_are_refused_in_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A word that is no choice is refused in one line that lists the choices."""
    for command in (["draw", "bars"], ["kit"]):
        assert run([*command, "--primaries", "wide", "--to", str(tmp_path / "none")]) == 2
        said = capsys.readouterr().err
        assert said == "trueraster: --primaries: got 'wide'; use format, display\n"
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


# --- The tone ---------------------------------------------------------------------------------------------------------


def samples_of(path: Path) -> NDArray[np.float64]:
    """Sound as the program decodes it: (samples, 2), 1 is the end of the codes."""
    words = ("-v", "error", "-i", str(path), "-f", "f64le", "-ac", "2", "-")
    done = subprocess.run([get_ffmpeg_exe(), *words], capture_output=True, check=True)
    return np.frombuffer(done.stdout, "<f8").reshape(-1, 2)


LEVELS = [("480i", -20), ("576i", -18), ("1080i50", -18), ("1080p59.94", -20)]
"""EBU R 68 (625 lines and 50 Hz) and SMPTE RP 155 (525 lines and 60 Hz): from memory."""


@pytest.mark.parametrize(
    ("carrier", "fmt", "dbfs"),
    [
        ("h264", *LEVELS[0]),
        ("v210", *LEVELS[1]),
        *(pytest.param("h264", *level, marks=pytest.mark.slow) for level in LEVELS[1:]),
        *(pytest.param(carrier, *LEVELS[0], marks=pytest.mark.slow) for carrier in ("mpeg2", "prores", "ffv1")),
    ],
)
def test_a_tone_beside_the_picture(tmp_path: Path, carrier: str, fmt: str, dbfs: int) -> None:
    """1 kHz in both channels at the level of the line standard, by numpy's transform of what the program decodes;
    48 kHz, as long as the picture, whose frames stay bit for bit what they are without it."""
    silent = drawn(tmp_path / "silent", carrier, "--seconds", "1", fmt=fmt)
    path = drawn(tmp_path / "tone", carrier, "--seconds", "1", "--tone", fmt=fmt)
    assert "_tone" in path.name
    said = subprocess.run([get_ffmpeg_exe(), "-hide_banner", "-i", str(path)], capture_output=True, check=False)
    assert "48000 Hz, stereo" in said.stderr.decode("utf-8", "replace")
    sound = samples_of(path)
    assert len(sound) == pytest.approx(48000, abs=2100)
    for channel in sound[9600:33600].T:
        # Half a second holds 500 periods: bin 500, whose height is half the peak.
        heights = 2 * np.abs(np.fft.rfft(channel)) / len(channel)
        assert int(np.argmax(heights)) == 500
        assert 20 * np.log10(heights[500]) == pytest.approx(dbfs, abs=0.05)
        assert float(np.sort(heights)[-2]) < heights[500] / 100
    assert picture_of(path) == picture_of(silent)


def picture_of(path: Path) -> bytes:
    words = ("-v", "error", "-i", str(path), "-map", "0:v", "-f", "framemd5", "-")
    return subprocess.run([get_ffmpeg_exe(), *words], capture_output=True, check=True).stdout


def test_the_proof_reads_the_tone_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Without the option there is no sound at all, and the proof has no figures of it."""
    told = {}
    for words in ((), ("--tone",)):
        path = tmp_path / f"bars{len(words)}.mp4"
        assert run(["draw", "bars", "--as", "h264", "--seconds", "0.5", "--json", "--to", str(path), *words]) == 0
        told[words] = json.loads(capsys.readouterr().out)["files"][0]
    assert [told[()]["tone"], told[("--tone",)]["tone"]] == [False, True]
    proofs = [told[words]["proof"] for words in ((), ("--tone",))]
    assert (proofs[0]["tone_hz"], proofs[0]["tone_dbfs"]) == (0, 0)
    assert proofs[1]["tone_hz"] == pytest.approx(1000, abs=0.1)
    assert proofs[1]["tone_dbfs"] == pytest.approx(-20, abs=0.1)
    assert hear_tone(tmp_path / "bars0.mp4") is None


@pytest.mark.parametrize(
    ("made", "words"),
    [
        ("sine=frequency=1003:sample_rate=48000", "Hz at"),
        ("sine=frequency=1000:sample_rate=48000,volume=-6dB", "Hz at"),
        ("sine=frequency=1000:sample_rate=44100", "44100 samples"),
        ("sine=frequency=1000:sample_rate=48000:duration=0.7", "Hz at"),
        ("anullsrc", "Hz at|samples"),
    ],
)
def test_another_sound_is_no_tone(tmp_path: Path, made: str, words: str) -> None:
    """What the program's own sources give: another frequency, level (its sine has -18 dBFS), rate, or silence."""
    path = tmp_path / "sound.mov"
    done = subprocess.run(
        [get_ffmpeg_exe(), "-v", "error", "-f", "lavfi", "-i", made, "-t", "1", "-c:a", "pcm_s24le", str(path)],
        check=False,
    )
    assert done.returncode == 0
    tags = Tags(width=720, height=480, sampling=Sampling.YCBCR_422, bits=10, rate=Fraction(25), frames=25)
    assert re.search(words, tone_fault(hear_tone(path), tags, -20))


def test_a_sound_of_another_length_is_no_tone(tmp_path: Path) -> None:
    """The proof does not take a sound of the wrong length for the tone."""
    path = drawn(tmp_path, "v210", "--seconds", "1", "--tone")
    tags = Tags(width=720, height=480, sampling=Sampling.YCBCR_422, bits=10, rate=Fraction(25), frames=50)
    assert tone_fault(hear_tone(path), tags, -20) == "the sound lasts 1.00 s, the picture 2.00 s"


def test_a_tone_where_there_is_no_sound_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file without room for sound cannot be given a tone."""
    for words, said in (
        (["draw", "bars", "--as", "png", "--as", "y4m"], "--tone: png, y4m cannot have sound; use h264, "),
        (["kit", "--as", "tiff"], "--tone: tiff cannot have sound; use h264, "),
        (["draw", "bars", "--as", "h264", "--seconds", "0.2"], "--tone: 0.2 s is too short"),
    ):
        assert run([*words, "--tone", "--to", str(tmp_path / "none")]) == 2
        assert capsys.readouterr().err.startswith(f"trueraster: {said}")
    assert not (tmp_path / "none").exists()
