"""`verify` as a user meets it: which frames, which tolerances, what is written, and what is answered."""

from __future__ import annotations

import os
import pty
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe
from numpy.typing import NDArray
from PIL import Image

from tests.command import Ran, call
from tests.matrix import quick_and_slow

# DESIGN.md section 8: the list of faults, and the keys of `verify`.
FAULTS = {
    *("range-expanded", "range-compressed", "footroom-clipped", "headroom-clipped", "setup-added", "setup-removed"),
    *("gain", "offset", "gamma", "matrix-601-as-709", "matrix-709-as-601", "components-swapped", "channels-swapped"),
    *("chroma-gain", "hue-rotated", "channel-gain", "bits-lost", "fields-swapped", "deinterlaced", "scaled", "shifted"),
    *("cropped", "chroma-softened", "sharpened", "softened", "wrong-pattern", "no-pattern"),
    *("colour-managed", "band-limited", "noise", "echo", "hum", "tilt", "shading", "dropouts", "overlay", "torn"),
    *("chroma-delayed", "chroma-lost", "component-missing", "component-inverted", "black-crushed"),
    *("white-compressed", "range-converted-twice", "cross-colour", "comb-decoded", "dithered", "other"),
}
KEYS = {
    "verdict",
    "grade",
    "grade_reason",
    "cannot_show",
    "pattern",
    "format",
    "signal",
    "registration",
    "patches",
    "faults",
}
PLACE_KEYS = {"scale_x", "scale_y", "offset_x", "offset_y", "crop_percent"}
PATCH_KEYS = {"name", "expected", "measured", "error_codes", "noise_codes"}
FAULT_KEYS = {"id", "confidence", "explanation", "remedy"}


def ids(ran: Ran) -> list[str]:
    """The faults of an answer, which holds every key that it has to."""
    answer = ran.json
    assert answer.keys() >= KEYS
    assert {"range", "matrix", "bits"} <= answer["signal"].keys()
    assert answer["registration"].keys() >= PLACE_KEYS
    for patch in answer["patches"]:
        assert patch.keys() >= PATCH_KEYS
    for fault in answer["faults"]:
        assert fault.keys() >= FAULT_KEYS
        assert fault["id"] in FAULTS
        assert 0 <= fault["confidence"] <= 1
        for text in (fault["explanation"], fault["remedy"]):
            assert text
            assert "{" not in text
            assert "?" not in text
    assert answer["verdict"] == {0: "pass", 1: "fail"}[ran.code]
    return [fault["id"] for fault in answer["faults"]]


def ffmpeg(*words: str | Path) -> None:
    subprocess.run([get_ffmpeg_exe(), "-loglevel", "error", "-y", *map(str, words)], check=True)


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Bars and steps of ours as R'G'B' stills without a word, and a clip."""
    folder = tmp_path_factory.mktemp("verify")
    for name in ("bars", "steps", "crosshatch"):
        assert call("draw", name, "--format", "480i", "--as", "png", "--to", folder / f"own-{name}.png").code == 0
        Image.fromarray(read(folder / f"own-{name}.png")).save(folder / f"{name}.png")
    for carrier, suffix in (("y4m", "y4m"), ("mpeg2", "mpg")):
        made = folder / f"bars.{suffix}"
        assert call("draw", "bars", "--format", "480i", "--as", carrier, "--seconds", "0.2", "--to", made).code == 0
    return folder


def read(path: Path) -> NDArray[np.uint8]:
    with Image.open(path) as image:
        return np.asarray(image.convert("RGB"))


@pytest.fixture(scope="module")
def clip(files: Path) -> Path:
    """Six frames of bars, number 3 of them 20 codes of 10 bits lighter: by a filter of the ffmpeg program."""
    path = files / "one-bad.mkv"
    words = ("-frames:v", "6", "-vf", r"lutyuv=y=val+20:enable=eq(n\,3)", "-c:v", "ffv1")
    ffmpeg("-i", files / "bars.y4m", *words, path)
    return path


BARS = ("--pattern", "bars", "--format", "480i")


def test_all_frames_are_looked_at(clip: Path) -> None:
    """The bad one is shown and counted; the others are alike, so two differ."""
    ran = call("verify", clip, *BARS, "--all", "--json")
    assert ran.code == 1
    assert "offset" in ids(ran)
    frames = ran.json["frames"]
    assert (frames["shown"], frames["worst"], frames["failed"]) == (6, 3, [3])
    assert 2 <= frames["distinct"] <= 3
    # The filter adds to the file's own codes, of 10 bits.
    assert ran.json["patches"][1]["error_codes"][0] == 20
    told = call("verify", clip, *BARS, "--all")
    assert "frame 3" in told.out


def test_one_frame_is_looked_at(clip: Path) -> None:
    """The one that is asked for, and the first without asking."""
    for words, code in (((), 0), (("--frame", "2"), 0), (("--frame", "3"), 1), (("--frame", "4"), 0)):
        assert call("verify", clip, *BARS, *words, "--json").code == code, words
    assert call("verify", clip, *BARS, "--frame", "6").code == 2
    both = call("verify", clip, *BARS, "--frame", "1", "--all")
    assert both.code == 2
    assert both.err.count("\n") == 1


@pytest.mark.parametrize("name", quick_and_slow(["bars.y4m"], ["bars.mpg"]))
def test_files_of_ours_that_cannot_say_what_they_show(files: Path, name: str) -> None:
    """The pattern is recognised in them."""
    ran = call("verify", files / name, "--format", "480i", "--json")
    assert (ran.code, ids(ran), ran.json["pattern"]) == (0, [], "bars")


@pytest.mark.parametrize(
    ("text", "value", "unit", "limit"),
    [
        ("3", 3, "codes of 8 bits", 3),
        ("0.5", 0.5, "codes of 8 bits", 0.5),
        # A percent of 255 codes.
        ("2%", 2, "percent", 5.1),
        ("1.5 %", 1.5, "percent", 3.825),
    ],
)
def test_forms_of_the_tolerance(files: Path, text: str, value: float, unit: str, limit: float) -> None:
    """Codes or a percentage, told in codes of the file."""
    answer = call("verify", files / "own-bars.png", "--tolerance", text, "--json").json
    assert answer["tolerance"] == {"value": value, "unit": unit}
    assert answer["tolerance_codes"] == pytest.approx([limit] * 3)


@pytest.mark.parametrize("text", ["", "%", "2 percent", "-1", "1e2", "300", "101%", "2%%", "nan", "1,5"])
def test_what_is_no_tolerance(files: Path, text: str) -> None:
    """One line that names the option."""
    ran = call("verify", files / "own-bars.png", f"--tolerance={text}")
    assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert "--tolerance" in ran.err


def test_the_marked_picture(files: Path, tmp_path: Path) -> None:
    """A PNG that is no smaller than the frame; nothing but it is written."""
    image = np.clip(read(files / "bars.png").astype(int) + 12, 0, 255).astype(np.uint8)
    Image.fromarray(image).save(tmp_path / "light.png")
    ran = call("verify", tmp_path / "light.png", *BARS, "--picture", tmp_path / "marked.png")
    assert ran.code == 1
    with Image.open(tmp_path / "marked.png") as marked:
        assert marked.format == "PNG"
        assert marked.width >= 640
        assert marked.height >= 480
    assert sorted(path.name for path in tmp_path.iterdir()) == ["light.png", "marked.png"]


def test_no_picture_is_left_where_it_fails(files: Path, tmp_path: Path) -> None:
    """Another name than .png, the wrong pattern, a folder in its place, a file in the place of its folder."""
    (tmp_path / "taken.png").mkdir()
    bars = files / "bars.png"
    for words in (
        (*BARS, "--picture", tmp_path / "out.jpg"),
        ("--pattern", "steps", "--format", "480i", "--picture", tmp_path / "out.png"),
        (*BARS, "--picture", bars / "out.png"),
        (*BARS, "--picture", tmp_path / "taken.png"),
    ):
        ran = call("verify", bars, *words)
        assert (ran.code, ran.err.count("\n")) == (2, 1), (words, ran)
        assert [path.name for path in tmp_path.iterdir()] == ["taken.png"]
        assert not list((tmp_path / "taken.png").iterdir())


def test_the_picture_of_a_pipe_a_link_or_a_device(files: Path, tmp_path: Path) -> None:
    """A pipe and a device stay what they are and are told in one line; what a link leads to becomes the picture."""
    pipe, device, link, real = (tmp_path / name for name in ("pipe.png", "device.png", "link.png", "real.png"))
    os.mkfifo(pipe)
    master, terminal = pty.openpty()
    device.symlink_to(os.ttyname(terminal))
    link.symlink_to(real)
    for path in (pipe, device):
        ran = call("verify", files / "bars.png", *BARS, "--picture", path)
        assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1)
        assert "is not a file and is never replaced" in ran.err
    assert pipe.is_fifo()
    assert device.is_char_device()
    assert call("verify", files / "bars.png", *BARS, "--picture", link).code == 0
    assert link.is_symlink()
    with Image.open(real) as marked:
        assert marked.format == "PNG"
    assert sorted(tmp_path.iterdir()) == sorted((pipe, device, link, real))
    os.close(master)
    os.close(terminal)


def test_the_picture_in_a_folder_that_is_made_for_it(files: Path, tmp_path: Path) -> None:
    """As for all files that the tool writes."""
    assert call("verify", files / "bars.png", *BARS, "--picture", tmp_path / "new" / "out.png").code == 0
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["out.png"]


def test_the_picture_in_a_read_only_folder(files: Path, tmp_path: Path) -> None:
    """One line with its name; root, who writes anywhere else, is refused in /proc."""
    folder = Path("/proc") if hasattr(os, "geteuid") and os.geteuid() == 0 else tmp_path / "locked"
    if folder.name == "locked":
        folder.mkdir(mode=0o500)
    elif not folder.exists():
        pytest.skip("not on this system")
    ran = call("verify", files / "bars.png", *BARS, "--picture", folder / "out.png")
    assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert str(folder / "out.png") in ran.err
    assert "out.png" not in [path.name for path in folder.iterdir()]


def test_the_picture_in_the_place_of_what_is_read(files: Path, tmp_path: Path) -> None:
    """The capture would be lost."""
    capture = tmp_path / "capture.png"
    capture.write_bytes((files / "bars.png").read_bytes())
    ran = call("verify", capture, *BARS, "--picture", tmp_path / "." / "capture.png")
    assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert "--picture" in ran.err
    assert capture.read_bytes() == (files / "bars.png").read_bytes()


@pytest.mark.parametrize("name", ["bars", "steps", "crosshatch"])
def test_the_table_lines_up(files: Path, name: str) -> None:
    """A line for each patch, as long as the others and within 120 columns, of a good frame and of a bad one."""
    lines = call("verify", files / f"own-{name}.png").out.splitlines()
    head = next(i for i, line in enumerate(lines) if line.startswith("patch "))
    table = lines[head : lines.index("", head) if "" in lines[head:] else len(lines)]
    assert len(table) > 5
    assert {line[-4:] for line in table[2:]} == {"pass"}
    assert {len(line) for line in table[2:]} == {len(table[2])}
    assert max(map(len, table)) <= 120
    assert any(line.startswith("PASS") for line in lines)


def spoilt(kind: str, image: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Faults of one line each: numpy and OpenCV."""
    values = image.astype(np.float32)
    ways: dict[str, Callable[[], Any]] = {
        "clean": lambda: values,
        "offset": lambda: values * (245 / 255) + 10,
        "channels-swapped": lambda: values[..., ::-1],
        "range-compressed": lambda: 16 + values * (219 / 255),
        "shifted": lambda: np.pad(values, ((0, 0), (9, 0), (0, 0)))[:, :-9],
        "scaled": lambda: cv2.resize(
            cv2.copyMakeBorder(values, 24, 24, 36, 36, cv2.BORDER_CONSTANT), (720, 480), interpolation=cv2.INTER_AREA
        ),
        "cropped": lambda: cv2.resize(values[24:456, 36:684], (720, 480), interpolation=cv2.INTER_CUBIC),
        "softened": lambda: cv2.GaussianBlur(values, (0, 0), 1.6, sigmaY=0.01),
    }
    return np.asarray(np.clip(np.round(ways[kind]()), 0, 255), np.uint8)


WANTED = {"offset": {"offset", "gain"}, "clean": set()}
"""`offset` is made with white kept, which is a gain with it."""


@pytest.mark.parametrize(
    ("kind", "name"),
    [
        *(("clean", name) for name in ("bars", "steps", "crosshatch")),
        ("channels-swapped", "bars"),
        ("shifted", "crosshatch"),
        *(
            pytest.param(*case, marks=pytest.mark.slow)
            for case in (
                ("offset", "steps"),
                ("range-compressed", "steps"),
                ("scaled", "crosshatch"),
                ("cropped", "crosshatch"),
                ("softened", "bars"),
            )
        ),
    ],
)
def test_a_fault_is_named_with_its_words(files: Path, tmp_path: Path, kind: str, name: str) -> None:
    """What was done, and no more; in words too, with what to do about it."""
    Image.fromarray(spoilt(kind, read(files / f"{name}.png"))).save(tmp_path / "spoilt.png")
    words = ("verify", tmp_path / "spoilt.png", "--pattern", name, "--format", "480i")
    ran = call(*words, "--json")
    assert set(ids(ran)) == WANTED.get(kind, {kind})
    assert ran.code == (0 if kind == "clean" else 1)
    told = call(*words)
    assert told.code == ran.code
    for fault in ran.json["faults"]:
        assert f"({fault['id']}, confidence" in told.out
    assert ("What to do" in told.out) == (kind != "clean")


def test_where_the_raster_lies(files: Path, tmp_path: Path) -> None:
    """Black on every side of a grid: scale and place as they were made, and no crop."""
    image = cv2.copyMakeBorder(read(files / "crosshatch.png"), 24, 24, 36, 36, cv2.BORDER_CONSTANT)
    # 792 x 528: the raster's own samples, 36 and 24 from the corner.
    Image.fromarray(np.asarray(image, np.uint8)).save(tmp_path / "bordered.png")
    ran = call("verify", tmp_path / "bordered.png", "--pattern", "crosshatch", "--format", "480i", "--json")
    place = ran.json["registration"]
    for key, wanted, near in (("scale_x", 1, 2e-4), ("scale_y", 1, 2e-4), ("offset_x", 36, 0.1), ("offset_y", 24, 0.1)):
        assert place[key] == pytest.approx(wanted, abs=near), key
    assert all(share == pytest.approx(0, abs=0.02) for share in place["crop_percent"].values())


@pytest.mark.parametrize(
    ("name", "axis", "sides"),
    quick_and_slow([("bars", 1, "left and right")], [("steps", 0, "top and bottom")]),
)
def test_a_mirrored_picture_is_told(files: Path, tmp_path: Path, name: str, axis: int, sides: str) -> None:
    """By numpy; one line and exit 2, since nothing lies where it is measured. JSON names it as another picture."""
    Image.fromarray(np.flip(read(files / f"{name}.png"), axis)).save(tmp_path / "mirrored.png")
    ran = call("verify", tmp_path / "mirrored.png", "--pattern", name, "--format", "480i", "--json")
    assert (ran.code, ran.err.count("\n")) == (2, 1)
    assert f"this is {name} with {sides} exchanged" in ran.err
    assert [fault["id"] for fault in ran.json["faults"]] == ["wrong-pattern"]


@pytest.mark.parametrize("size", [(640, 480), pytest.param((1920, 1080), marks=pytest.mark.slow)])
def test_lines_near_other_lines_are_measured_in_scaled_frames(tmp_path: Path, size: tuple[int, int]) -> None:
    """The scales of overscan lie seven lines apart; scaled by OpenCV's cubic filter, their levels are told."""
    assert call("draw", "overscan", "--format", "480i", "--as", "png", "--to", tmp_path / "own.png").code == 0
    scaled = cv2.resize(read(tmp_path / "own.png"), size, interpolation=cv2.INTER_CUBIC)
    Image.fromarray(np.asarray(scaled, np.uint8)).save(tmp_path / "scaled.png")
    words = ("--pattern", "overscan", "--format", "480i", "--tolerance", "2%", "--json")
    ran = call("verify", tmp_path / "scaled.png", *words)
    assert (ran.code, ids(ran), ran.json["skipped"]) == (0, [], [])


def test_a_plain_frame_is_not_recognised_but_said_to_be_plain(tmp_path: Path) -> None:
    """A plain frame is not taken for a pattern, and the message offers --pattern field."""
    Image.new("RGB", (720, 480), (128, 128, 128)).save(tmp_path / "grey.png")
    ran = call("verify", tmp_path / "grey.png", "--format", "480i")
    assert (ran.code, ran.err.count("\n")) == (2, 1)
    assert "--pattern field" in ran.err


def test_a_picture_that_no_format_has_is_named(tmp_path: Path) -> None:
    """A photograph of noise in the place of a capture: one line, with the file's name."""
    noise = np.random.default_rng(1).integers(0, 256, (600, 900, 3), dtype=np.uint8)
    Image.fromarray(noise).save(tmp_path / "noise.png", compress_level=0)
    ran = call("verify", tmp_path / "noise.png")
    assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert "noise.png: 900x600" in ran.err
    assert "--format" in ran.err


@pytest.mark.parametrize("quality", [pytest.param(85, marks=pytest.mark.slow), 95])
def test_jpeg_files(files: Path, tmp_path: Path, quality: int) -> None:
    """A JPEG of the frame passes within 2 %, recognised, as full-range BT.601 (ITU-T T.871)."""
    Image.fromarray(read(files / "bars.png")).save(tmp_path / "bars.jpg", quality=quality)
    ran = call("verify", tmp_path / "bars.jpg", "--format", "480i", "--tolerance", "2%", "--json")
    assert ran.json["pattern"] == "bars"
    assert (ran.json["signal"]["range"], ran.json["signal"]["matrix"]) == ("full", "601")
    assert all(patch["verdict"] == "pass" for patch in ran.json["patches"])
    assert not {"gain", "offset", "gamma", "hue-rotated", "matrix-709-as-601"} & set(ids(ran))


@pytest.mark.parametrize("name", ["bounce", "zone-plate-moving"])
def test_moving_patterns_say_that_nothing_can_be_measured(tmp_path: Path, name: str) -> None:
    """One line and exit 2."""
    made = tmp_path / "moving.mp4"
    assert call("draw", name, "--format", "480i", "--as", "h264", "--seconds", "0.2", "--to", made).code == 0
    ran = call("verify", made)
    assert (ran.code, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert name in ran.err


def test_the_order_of_fields_is_told_of_a_clip(tmp_path: Path) -> None:
    """A clip of ours passes; by ffmpeg's own filter its fields are swapped, and then it does not."""
    made = tmp_path / "fields.mp4"
    assert call("draw", "field-order", "--format", "480i", "--as", "h264", "--seconds", "1", "--to", made).code == 0
    ran = call("verify", made, "--json")
    assert (ran.code, ran.json["verdict"], ran.json["faults"]) == (0, "pass", [])
    swapped = tmp_path / "swapped.mkv"
    ffmpeg("-i", made, "-vf", "il=ls=1:cs=1", "-c:v", "ffv1", swapped)
    other = call("verify", swapped, "--pattern", "field-order", "--format", "480i", "--json")
    assert other.code == 1
    assert [fault["id"] for fault in other.json["faults"]] == ["fields-swapped"]
    refused = call("verify", made, "--picture", tmp_path / "out.png")
    assert (refused.code, refused.err.count("\n")) == (2, 1)
    assert not (tmp_path / "out.png").exists()
