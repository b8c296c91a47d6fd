"""The command `kit`: what it makes and tells, how it goes on after a stop, and that nothing unproved gets a name."""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import fields, replace
from fractions import Fraction
from pathlib import Path
from typing import Any
from urllib.parse import unquote
from xml.etree import ElementTree

import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe

from patterns.catalogue import PATTERNS
from patterns.formats import FORMATS, parse_format
from patterns.signal import Range, Sampling
from render.carriers import CARRIERS
from render.produce import ProofError
from render.proof import Proof, Verdict
from tests.command import call
from tests.matrix import quick_and_slow
from trueraster.kit.crew import Finished, run_jobs
from trueraster.kit.lock import LOCK_NAME, locked
from trueraster.kit.manifest import Entry, read_manifest, write_manifest
from trueraster.kit.plan import plan_kit
from trueraster.kit.playlist import Track, m3u8, xspf
from trueraster.kit.rates import parse_line_rates, understood_note
from trueraster.kit.sheet import cue_sheet
from trueraster.kit.worker import Job
from trueraster.options.values import UsageError

SCRIPT = Path(sys.executable).with_name("trueraster")
PROGRAM = [str(SCRIPT)] if SCRIPT.exists() else [sys.executable, "-c", "from trueraster.cli import main; main()"]
SMALL = ("--format", "64x48@60", "--as", "png")
"""The quickest kit: stills of a few samples."""
LISTED = ("cue-sheet.html", "kit.json", "playlist.m3u8", "playlist.xspf")


def made(*arguments: str | Path) -> dict[str, Any]:
    """The JSON of a kit that is made."""
    code, out, err = call("kit", *arguments, "--json")
    assert code == 0, err
    answer: dict[str, Any] = json.loads(out)
    return answer


def begin(*arguments: str | Path, **choices: Any) -> subprocess.Popen[str]:
    """Start a kit as a process."""
    return subprocess.Popen(
        [*PROGRAM, "kit", *map(str, arguments)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        **choices,
    )


def media(folder: Path) -> list[Path]:
    """The numbered files of a kit's folder."""
    return sorted(path for path in folder.iterdir() if re.match(r"\d+-\d+_", path.name))


def hidden(folder: Path) -> list[str]:
    """What is left of work."""
    return [path.name for path in folder.iterdir() if path.name.startswith(".")]


def manifest(folder: Path) -> dict[str, Any]:
    answer: dict[str, Any] = json.loads((folder / "kit.json").read_text(encoding="utf-8"))
    return answer


def stamps(folder: Path) -> dict[str, tuple[int, int]]:
    """Which files lie in a folder, so that a file that is written anew is seen."""
    return {path.name: (path.stat().st_ino, path.stat().st_mtime_ns) for path in media(folder)}


@pytest.fixture(scope="module")
def clips(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A kit of short clips in a folder with blanks, percent signs and letters of other scripts."""
    folder = tmp_path_factory.mktemp("kit") / "Hafen gasse ü 測試 100%41 #1"
    return folder, made("--format", "240p", "--seconds", "0.2", "--to", folder)


@pytest.fixture(scope="module")
def stills(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Any]]:
    """A kit of two formats."""
    folder = tmp_path_factory.mktemp("stills")
    return folder, made("--format", "240p", "--format", "64x48@60", "--as", "png", "--to", folder)


@pytest.fixture(scope="module")
def small_kit(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("small")
    made(*SMALL, "--to", folder)
    return folder


@pytest.fixture
def copy(small_kit: Path, tmp_path: Path) -> Path:
    """A whole small kit that may be spoilt."""
    folder = tmp_path / "copy"
    shutil.copytree(small_kit, folder)
    return folder


# --- What is in a kit ----------------------------------------------------------------------------------------


MOVING = {"field-order", "bounce", "zone-plate-moving"}


def expected(name: str, *, moving: bool = False) -> list[tuple[str, dict[str, Any]]]:
    """Patterns and options of a format in the order of work, the slate first; in a kit of stills none that moves."""
    fmt = parse_format(name)
    chosen = [p for p in PATTERNS.values() if p.suits(fmt) and not p.by_name_only and p.id != "slate"]
    ordered = [PATTERNS["slate"], *sorted(chosen, key=lambda p: p.order)]
    return [(p.id, options.given) for p in ordered if moving or p.id not in MOVING for options in p.variants]


def test_a_kit_is_every_pattern_that_suits_in_the_order_of_work(stills: tuple[Path, dict[str, Any]]) -> None:
    """The whole of one format, then the next; each variant is a file; flicker is in no kit unless asked."""
    _, answer = stills
    files = answer["files"]
    for name in ("240p", "64x48p@60"):
        assert [f["pattern"] for f in files if f["format"] == name] == [pattern for pattern, _ in expected(name)]
    assert [f["format"] for f in files] == sorted((f["format"] for f in files), key=["240p", "64x48p@60"].index)
    # Facts of the trade: the slate heads, black level before geometry, geometry before convergence. Common practice.
    places = {f["pattern"]: i for i, f in reversed(list(enumerate(files))) if f["format"] == "240p"}
    assert places["slate"] == 0
    assert places["pluge"] < places["crosshatch"] < places["dots"] < places["steps-near-black"]
    assert "flicker" not in places


def test_plain_sorting_keeps_the_order(stills: tuple[Path, dict[str, Any]]) -> None:
    """By bytes, without regard to case and by numbers alike, names sort into the order of work."""
    folder, answer = stills
    names = [Path(f["path"]).name for f in answer["files"]]
    assert names == sorted(names)
    assert names == sorted(names, key=str.casefold)
    assert names == sorted(names, key=lambda name: [int(x) if x.isdigit() else x for x in re.split(r"(\d+)", name)])
    assert names == [path.name for path in media(folder)]
    assert [f["number"] for f in answer["files"]] == [name.split("_")[0] for name in names]


def test_a_file_of_a_kit_is_the_file_that_draw_makes(clips: tuple[Path, dict[str, Any]], tmp_path: Path) -> None:
    """Behind its number a file has draw's name, and it has draw's bytes and draw's JSON."""
    by_pattern = {f["pattern"]: f for f in clips[1]["files"]}
    code, out, err = call(
        *("draw", "bars", "crosshatch", "--format", "240p", "--as", "h264", "--seconds", "0.2", "--to", tmp_path),
        "--json",
    )
    assert code == 0, err
    for drawn in json.loads(out)["files"]:
        of_kit = dict(by_pattern[drawn["pattern"]])
        assert Path(of_kit.pop("path")).name == f"{of_kit.pop('number')}_{Path(drawn.pop('path')).name}"
        assert of_kit == drawn


def test_json_names_every_file(clips: tuple[Path, dict[str, Any]]) -> None:
    """The object has files, kit and reused; every path is there; all are proved."""
    folder, answer = clips
    assert set(answer) == {"files", "kit", "reused"}
    assert answer["reused"] == []
    assert answer["kit"] == {
        "path": str(folder),
        "cue_sheet": str(folder / "cue-sheet.html"),
        "playlist": str(folder / "playlist.m3u8"),
        "manifest": str(folder / "kit.json"),
    }
    assert sorted(f["path"] for f in answer["files"]) == [str(path) for path in media(folder)]
    assert all(f["proof"]["verdict"] == "exact" for f in answer["files"])
    assert {path.name for path in folder.iterdir()} == {*LISTED, *(path.name for path in media(folder))}


def test_the_table_names_every_file(copy: Path) -> None:
    """Without --json a table tells each file and whether it was there before."""
    code, out, _ = call("kit", *SMALL, "--to", copy)
    assert code == 0
    assert all(str(path) in out for path in media(copy))
    assert out.count(" before") == len(media(copy))
    assert str(copy / "cue-sheet.html") in out


def test_a_pattern_by_name_only_is_in_when_asked(tmp_path: Path) -> None:
    """--with puts it at its place in every format that it suits, with its cautions on the cue sheet."""
    answer = made("--format", "64x48i@50", "--as", "png", "--with", "flicker", "--to", tmp_path)
    patterns = [f["pattern"] for f in answer["files"]]
    assert patterns.count("flicker") == 1
    assert patterns == sorted(patterns, key=lambda name: (name != "slate", PATTERNS[name].order))
    sheet = (tmp_path / "cue-sheet.html").read_text(encoding="utf-8")
    assert all(caution.split("'")[0] in sheet for caution in PATTERNS["flicker"].cautions)


# --- Playlists -----------------------------------------------------------------------------------------------


def m3u8_entries(path: Path) -> list[tuple[str, str, str]]:
    """Name, length and title of each entry."""
    lines = path.read_text(encoding="utf-8").splitlines()
    assert lines[0] == "#EXTM3U"
    found = []
    told = ("", "")
    for line in lines[1:]:
        if line.startswith("#EXTINF:"):
            length, _, title = line.removeprefix("#EXTINF:").partition(",")
            told = (length, title)
        elif not line.startswith("#"):
            found.append((line, *told))
    return found


def xspf_entries(path: Path) -> list[dict[str, str]]:
    """The children of each track by name."""
    space = "{http://xspf.org/ns/0/}"
    root = ElementTree.parse(path).getroot()
    assert (root.tag, root.get("version")) == (f"{space}playlist", "1")
    tracks = root.findall(f"{space}trackList/{space}track")
    return [{child.tag.removeprefix(space): child.text or "" for child in track} for track in tracks]


def test_both_playlists_have_all_files_in_order(clips: tuple[Path, dict[str, Any]]) -> None:
    """Names relative to the playlist, titles, and lengths: seconds in M3U, whole milliseconds in XSPF."""
    folder, answer = clips
    names = [Path(f["path"]).name for f in answer["files"]]
    entries = m3u8_entries(folder / "playlist.m3u8")
    tracks = xspf_entries(folder / "playlist.xspf")
    assert [name for name, _, _ in entries] == names
    assert [unquote(track["location"]) for track in tracks] == names
    assert all((folder / name).is_file() for name in names)
    assert {length for _, length, _ in entries} == {"0.2"}
    assert {track["duration"] for track in tracks} == {"200"}
    assert [title for _, _, title in entries] == [track["title"] for track in tracks]
    assert entries[0][2].startswith("1-01 Slate")
    assert [track["trackNum"] for track in tracks] == [str(i) for i in range(1, len(names) + 1)]


def test_a_player_reads_every_entry(clips: tuple[Path, dict[str, Any]]) -> None:
    """The ffmpeg program opens each entry of the M3U and finds one picture stream of 12 frames in it."""
    folder, _ = clips
    names = [name for name, _, _ in m3u8_entries(folder / "playlist.m3u8")]
    inputs = [word for name in names for word in ("-i", name)]
    maps = [word for i in range(len(names)) for word in ("-map", str(i))]
    done = subprocess.run(
        [get_ffmpeg_exe(), "-v", "error", *inputs, *maps, "-c", "copy", "-f", "framecrc", "-"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    assert done.stderr == ""
    frames = [int(line.split(",")[0]) for line in done.stdout.splitlines() if not line.startswith("#")]
    # 0.2 s at 60000/1001 frames a second are 11.99 frames.
    assert {frames.count(i) for i in range(len(names))} == {12}


def test_a_still_has_no_length(stills: tuple[Path, dict[str, Any]]) -> None:
    """M3U says -1, XSPF says nothing."""
    folder, _ = stills
    assert {length for _, length, _ in m3u8_entries(folder / "playlist.m3u8")} == {"-1"}
    assert not any("duration" in track for track in xspf_entries(folder / "playlist.xspf"))


def test_any_name_is_spelt_so_that_it_leads_back(tmp_path: Path) -> None:
    """In XSPF a name with blanks, signs and other letters is percent-encoded ASCII; in M3U it stands as it is."""
    names = ["a b.mp4", "100%41.mp4", "Größe 測試#?.mp4", "x:y&<z>'\".mp4"]
    tracks = [Track(name=name, title=f"<{name}> & so", seconds=1.5) for name in names]
    (tmp_path / "list.xspf").write_text(xspf("Kit & <so>", tracks), encoding="utf-8")
    (tmp_path / "list.m3u8").write_text(m3u8("Kit\nso", tracks), encoding="utf-8")
    read = xspf_entries(tmp_path / "list.xspf")
    assert [unquote(track["location"]) for track in read] == names
    # RFC 3986: unreserved letters and percent-encoded bytes; a ":" in a first segment would make it a scheme.
    assert all(re.fullmatch(r"(?:[\w.~-]|%[0-9A-F]{2})+", track["location"], re.ASCII) for track in read)
    assert [track["title"] for track in read] == [track.title for track in tracks]
    assert [name for name, _, _ in m3u8_entries(tmp_path / "list.m3u8")] == names


# --- Manifest ------------------------------------------------------------------------------------------------


def test_the_manifest_holds_the_codes_of_the_standards(
    clips: tuple[Path, dict[str, Any]], bars: dict[str, Any], greys: dict[str, Any]
) -> None:
    """The bars' and the steps' patches have the codes of the vectors; levels stand beside them in %."""
    entries = {f["pattern"]: f for f in manifest(clips[0])["files"]}
    found = {patch["name"]: patch for patch in entries["bars"]["patches"]}
    # tests/vectors/bars.toml: bars 100/0/75/0 by the 601 weights.
    part = {name: bars["three_quarters"][name] for name in ("yellow", "cyan", "green", "magenta", "red", "blue")}
    part |= {name: bars["full"][name] for name in ("white", "black")}
    assert found.keys() == part.keys()
    for name, codes in part.items():
        assert found[name]["codes"] == codes["601_8"], name
    assert found["yellow"]["rgb_percent"] == [75, 75, 0]
    assert found["yellow"]["level_percent"] is None
    steps = {patch["name"]: patch for patch in entries["steps"]["patches"]}
    for name in ("0", "10", "50", "90", "100"):
        assert steps[name]["codes"] == [greys["greys"]["8"][name], 128, 128]
        assert steps[name]["level_percent"] == int(name)


def test_the_manifest_says_what_each_file_is(clips: tuple[Path, dict[str, Any]]) -> None:
    """Relative names, hashes, sizes, signal, proof, options and nodes, and the formats' timing."""
    folder, answer = clips
    told = manifest(folder)
    assert (told["manifest_version"], told["complete"], told["earlier"]) == (1, True, [])
    assert [f["path"] for f in told["files"]] == [Path(f["path"]).name for f in answer["files"]]
    for f, drawn in zip(told["files"], answer["files"], strict=True):
        data = (folder / f["path"]).read_bytes()
        assert (f["bytes"], f["sha256"]) == (len(data), hashlib.sha256(data).hexdigest())
        assert f["signal"] == {
            "range": "narrow",
            "matrix": "601",
            "bits": 8,
            "sampling": "420",
            "edges": "shaped",
            "components": ["Y", "Cb", "Cr"],
        }
        assert (f["proof"], f["seconds"], f["format"], f["carrier"]) == (drawn["proof"], 0.2, "240p", "h264")
    by_pattern = {f["pattern"]: f for f in told["files"]}
    # 16 x 12 cells have 17 x 13 crossings.
    assert by_pattern["crosshatch"]["nodes"] == 17 * 13
    assert by_pattern["bars"]["nodes"] == 0
    assert [f["options"] for f in told["files"] if f["pattern"] == "window"] == [{"area": "1/10"}, {"area": "1/2"}]
    # CTA-861 video codes 8 and 9: 13.5 MHz, 858 samples a line.
    assert told["formats"][0]["line_rate_hz"] == pytest.approx(13_500_000 / 858)


def test_the_manifest_says_where_each_patch_lies(clips: tuple[Path, dict[str, Any]]) -> None:
    """A reader of kit.json alone finds every patch's code in the decoded picture, clear of its shaped edges."""
    folder, _ = clips
    bars = next(f for f in manifest(folder)["files"] if f["pattern"] == "bars")
    words = ("-v", "error", "-i", str(folder / bars["path"]), "-frames:v", "1", "-f", "rawvideo", "-")
    raw = subprocess.run([get_ffmpeg_exe(), *words], capture_output=True, timeout=60, check=True).stdout
    # 240p is 720 x 240; eight bars of 88 samples on the middle 704 (DESIGN.md section 4).
    luma = np.frombuffer(raw, np.uint8, 720 * 240).reshape(240, 720)
    for i, patch in enumerate(bars["patches"]):
        place = patch["rectangle"]
        assert (place["left"], place["right"]) == (8 + 88 * i, 8 + 88 * (i + 1))
        assert (place["top"], place["bottom"]) == (0, 240)
        inside = luma[place["top"] : place["bottom"], place["left"] + 6 : place["right"] - 6]
        assert set(np.unique(inside)) == {patch["codes"][0]}


DOCS = Path(__file__).parent.parent / "docs"


@pytest.mark.skipif(not DOCS.exists(), reason="the documents are not beside the tests")
def test_the_manifest_is_as_its_page_says(clips: tuple[Path, dict[str, Any]]) -> None:
    """Every key of kit.json stands in the table of docs/kit.md, and the table names no other."""
    page = (DOCS / "kit.md").read_text(encoding="utf-8").partition("## `kit.json`")[2]
    rows = dict(re.findall(r"^\| (`.+?) \| (.+) \|$", page, re.MULTILINE))
    told = manifest(clips[0])

    def names(text: str) -> set[str]:
        return set(re.findall(r"`(\w+)`", text))

    top = set().union(*(names(key) for key in rows if " of a file" not in key))
    assert top == told.keys()
    first = told["files"][0]
    assert names(rows["`files`"]) == first.keys() | first["signal"].keys()
    of_patch = rows["`patches` of a file"].replace("`components`", "")
    assert names(of_patch) == first["patches"][0].keys()


# --- Going on ------------------------------------------------------------------------------------------------


def test_a_whole_kit_is_left_as_it_is(copy: Path) -> None:
    """Every file is reused, none is written anew, and the manifest says the same."""
    before, told = stamps(copy), manifest(copy)
    answer = made(*SMALL, "--to", copy)
    assert answer["reused"] == [f["path"] for f in answer["files"]] == [str(path) for path in media(copy)]
    assert (stamps(copy), manifest(copy)) == (before, told)


@pytest.mark.parametrize("fault", quick_and_slow(["flipped", "cut"], ["missing", "grown", "empty"]))
def test_only_what_is_not_good_is_made_again(copy: Path, fault: str) -> None:
    """A file that is gone, changed by a bit, shorter, longer or empty is made again to the same bytes, no other."""
    path = media(copy)[3]
    good, before = path.read_bytes(), stamps(copy)
    bad = {
        "flipped": good[:60] + bytes([good[60] ^ 1]) + good[61:],
        "cut": good[:-1],
        "grown": good + b"\0",
        "empty": b"",
    }
    path.unlink()
    if fault != "missing":
        path.write_bytes(bad[fault])
    answer = made(*SMALL, "--to", copy)
    assert [f["path"] for f in answer["files"] if f["path"] not in answer["reused"]] == [str(path)]
    assert path.read_bytes() == good
    after = stamps(copy)
    assert {name for name in before if before[name] != after[name]} == {path.name}


def test_a_file_of_another_order_is_made_again(copy: Path) -> None:
    """What another version, another drawing or another length has made is not taken for the same."""
    told = manifest(copy)
    changes = ("program", "trueraster 0"), ("scene_sha256", "0" * 64), ("seconds", 5.0)
    for i, (name, value) in enumerate(changes):
        told["files"][i][name] = value
    (copy / "kit.json").write_text(json.dumps(told), encoding="utf-8")
    answer = made(*SMALL, "--to", copy)
    assert answer["reused"] == [f["path"] for f in answer["files"][len(changes) :]]


@pytest.mark.slow
def test_another_length_makes_all_clips_again(tmp_path: Path) -> None:
    """Clips of 0.05 s are no clips of 0.1 s."""
    line = ("--format", "64x48@60", "--as", "y4m", "--to", tmp_path)
    sizes = [Path(f["path"]).stat().st_size for f in made(*line, "--seconds", "0.05")["files"]]
    answer = made(*line, "--seconds", "0.1")
    assert answer["reused"] == []
    assert all(Path(f["path"]).stat().st_size > size for f, size in zip(answer["files"], sizes, strict=True))


MANIFESTS = [
    "",
    "{",
    "[]",
    "null",
    '{"manifest_version": 1}',
    '{"manifest_version": 1, "files": 3, "earlier": []}',
    '{"manifest_version": 1, "files": [{"path": "../outside"}, 1, null, []], "earlier": {}}',
    '{"manifest_version": 2, "files": [], "earlier": []}',
    "\udcff",
    "[" * 100_000,
]


@pytest.mark.parametrize("text", MANIFESTS, ids=range(len(MANIFESTS)))
def test_a_manifest_that_is_none_lists_nothing(tmp_path: Path, text: str) -> None:
    """Whatever stands in kit.json, reading it fails in no way and gives no file."""
    (tmp_path / "kit.json").write_bytes(text.encode("utf-8", "surrogateescape"))
    assert read_manifest(tmp_path) == {}


def test_a_proof_comes_back_as_it_was_written(tmp_path: Path) -> None:
    """A proof that is not exact, with its figures, fractions of codes and lists, is read back as the same value."""
    whole = Proof(verdict=Verdict.WITHIN, max_error_codes=3, samples=10, different=2, reason="")
    odd = {field.name: 0.25 for field in fields(Proof) if field.type == "float"}
    lists = {field.name: ("grey", "white") for field in fields(Proof) if str(field.type).startswith("tuple")}
    proof = replace(whole, **odd, **lists)  # type: ignore[arg-type]
    entry = Entry.of("1-01_a.mp4", {"pattern": "a"}, 5, "0" * 64, proof)
    write_manifest(tmp_path, {entry.path: entry}, {}, {})
    assert read_manifest(tmp_path) == {entry.path: entry}
    told = manifest(tmp_path)
    told["files"][0]["proof"]["samples"] = "many"
    (tmp_path / "kit.json").write_text(json.dumps(told), encoding="utf-8")
    assert read_manifest(tmp_path) == {}


@pytest.mark.slow
def test_a_spoilt_manifest_is_made_again(copy: Path) -> None:
    """A manifest cut in the middle: the files are made again, and it is whole."""
    told = manifest(copy)
    text = (copy / "kit.json").read_text(encoding="utf-8")
    (copy / "kit.json").write_text(text[: len(text) // 2], encoding="utf-8")
    assert made(*SMALL, "--to", copy)["reused"] == []
    assert manifest(copy) == told


@pytest.mark.parametrize("name", LISTED)
def test_nothing_of_somebody_else_is_replaced(tmp_path: Path, name: str) -> None:
    """A folder without a manifest whose list or sheet no kit has made is refused, and nothing comes into it."""
    (tmp_path / name).write_text("#EXTM3U\nsong.mp3\n", encoding="utf-8")
    code, out, err = call("kit", *SMALL, "--to", tmp_path)
    assert (code, out) == (2, "")
    assert f"has a {name} that is of no kit" in err
    assert {path.name: path.read_text(encoding="utf-8") for path in tmp_path.iterdir()} == {name: "#EXTM3U\nsong.mp3\n"}


@pytest.mark.slow
def test_a_kit_is_known_without_its_manifest(copy: Path) -> None:
    """Where the manifest alone is gone the lists and the sheet are known as a kit's, and it is made again."""
    (copy / "kit.json").unlink()
    assert len(made(*SMALL, "--to", copy)["files"]) == len(media(copy))


def test_a_length_that_cannot_be_had_is_told(copy: Path) -> None:
    """Stills have none; what is made is the same."""
    _, _, err = call("kit", *SMALL, "--seconds", "5", "--to", copy)
    assert err.count("Note: --seconds: png is a still and has no length") == 1


@pytest.mark.slow
def test_a_second_format_adds_to_the_first(copy: Path) -> None:
    """The files of the first format stay, those of the second come behind."""
    first = [str(path) for path in media(copy)]
    answer = made(*SMALL, "--format", "96x64@50", "--to", copy)
    assert answer["reused"] == first
    assert [f["number"][0] for f in answer["files"]] == sorted(f["number"][0] for f in answer["files"])


def test_files_of_an_earlier_kit_stay_and_are_found_again(copy: Path) -> None:
    """Another format in the same folder: the earlier files are not touched, not in the playlist, told, and reused
    when they are wanted again.
    """
    before, foreign = stamps(copy), copy / "notes.txt"
    foreign.write_text("mine", encoding="utf-8")
    code, _, err = call("kit", "--format", "96x64@50", "--as", "png", "--to", copy)
    assert code == 0
    assert f"{len(before)} files of an earlier kit" in err
    assert before.items() <= stamps(copy).items()
    assert not {name for name, _, _ in m3u8_entries(copy / "playlist.m3u8")} & before.keys()
    assert [f["path"] for f in manifest(copy)["earlier"]] == list(before)
    answer = made(*SMALL, "--to", copy)
    assert len(answer["reused"]) == len(before)
    assert foreign.read_text(encoding="utf-8") == "mine"


# --- Two at once, stops and kills ----------------------------------------------------------------------------

needs_locks = pytest.mark.skipif(sys.platform == "win32", reason="there are no such locks")


@needs_locks
def test_two_at_once_share_the_work(tmp_path: Path) -> None:
    """Two processes on one folder: one makes all, the other waits, says so, and finds all made."""
    folder = tmp_path / "kit"
    running = [begin(*SMALL, "--to", folder, "--json") for _ in range(2)]
    answers = []
    for process in running:
        out, err = process.communicate(timeout=120)
        assert process.returncode == 0, err
        answers.append(json.loads(out))
    counts = sorted(len(answer["reused"]) for answer in answers)
    assert counts == [0, len(answers[0]["files"])]
    assert answers[0]["files"] == answers[1]["files"]
    assert hidden(folder) == []


@needs_locks
def test_a_waiting_kit_says_so_in_one_line(copy: Path) -> None:
    """While another holds the folder there is one line, and the work goes on when it is free."""
    with locked(copy, lambda: None):
        process = begin(*SMALL, "--to", copy)
        assert process.stderr is not None
        assert any("waiting" in line for line in iter(process.stderr.readline, ""))
        assert process.poll() is None
    out, err = process.communicate(timeout=60)
    assert (process.returncode, err) == (0, "")
    assert " before" in out
    assert hidden(copy) == []


@needs_locks
def test_who_stops_waiting_does_not_take_the_lock_away(tmp_path: Path) -> None:
    """A waiter that is stopped leaves the lock file to its holder; the holder takes it away at the end."""
    with locked(tmp_path, lambda: None) as held:
        assert held is not None

        def stop() -> None:
            raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt), locked(tmp_path, stop):
            pytest.fail("the lock was held twice")
        assert hidden(tmp_path) == [LOCK_NAME]
    assert hidden(tmp_path) == []


def test_without_locks_a_kit_is_made_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the file system has no locks the folder is used without."""
    fcntl = pytest.importorskip("fcntl")

    def refuse(*_: object) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(fcntl, "flock", refuse)
    assert len(made(*SMALL, "--to", tmp_path)["files"]) == len(media(tmp_path))
    assert hidden(tmp_path) == []


CLIPS = ("--format", "64x48@60", "--seconds", "0.2")
"""Each file takes the encoder."""
STILLS = ("--format", "240p", "--as", "png")
"""Quick, yet long enough to be stopped."""


def check_one_more_line(err: str) -> None:
    """The line rates, told at the start, and one line that says how it ended."""
    # The command parser ends the line of a terminal's ^C first.
    *first, last = [line for line in err.splitlines() if line]
    assert all(line.startswith(("Line rates", "Note: bars-split", "Note: left out")) for line in first)
    assert last.startswith("trueraster: ")


def wait_for_files(folder: Path, count: int, process: subprocess.Popen[str]) -> None:
    """Until so many files are finished."""
    end = time.monotonic() + 60
    while not folder.exists() or len(media(folder)) < count:
        assert time.monotonic() < end, "nothing is made"
        assert process.poll() is None, "it was over before it could be stopped"
        time.sleep(0.02)


def check_resumes(folder: Path, *line: str) -> None:
    """All that has a name is proved: the manifest's bytes, or made again; then the kit is whole and nothing is left."""
    names = [path.name for path in media(folder)]
    told = {f["path"]: f["sha256"] for f in manifest(folder)["files"]} if (folder / "kit.json").exists() else {}
    digests = {name: hashlib.sha256((folder / name).read_bytes()).hexdigest() for name in names}
    answer = made(*line, "--to", folder)
    # Making is deterministic, so a file that had its name just before the stop is the one that is made again.
    final = {Path(f["path"]).name: f["sha256"] for f in answer["files"]}
    assert digests.items() <= final.items()
    assert {Path(path).name for path in answer["reused"]} == told.keys() & digests.keys()
    assert hidden(folder) == []


@pytest.mark.skipif(sys.platform == "win32", reason="signals work otherwise there")
@pytest.mark.parametrize(
    "to_all", quick_and_slow([True], [False]), ids=["its group, as a terminal does", "the command"]
)
def test_ctrl_c_is_one_line_and_leaves_only_proved_files(tmp_path: Path, to_all: bool) -> None:
    """Exit 130, one line, no table; nothing unfinished; the next run keeps what was made."""
    folder = tmp_path / "kit"
    process = begin(*STILLS, "--to", folder, start_new_session=True)
    wait_for_files(folder, 2, process)
    (os.killpg if to_all else os.kill)(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out) == (130, "")
    check_one_more_line(err)
    assert f"what is finished in {folder} stays; the same command goes on" in err
    assert hidden(folder) == []
    # A file has its name a moment before the manifest has it.
    assert not (folder / "kit.json").exists() or not manifest(folder)["complete"]
    check_resumes(folder, *STILLS)


@needs_locks
def test_workers_die_with_a_killed_parent(tmp_path: Path) -> None:
    """After SIGKILL of the command alone its workers are gone within seconds and have cleared up."""
    folder = tmp_path / "kit"
    process = begin(*CLIPS, "--to", folder, start_new_session=True)
    wait_for_files(folder, 1, process)
    process.kill()
    process.communicate(timeout=30)
    end = time.monotonic() + 10
    # The workers hold the folder's lock as long as they live.
    with locked(folder, lambda: None):
        assert time.monotonic() < end
        # What the command itself was writing is left until the next run.
        assert not [name for name in hidden(folder) if name != LOCK_NAME and f"-{process.pid}-" not in name]
        count = len(media(folder))
        time.sleep(0.5)
        assert len(media(folder)) == count
    check_resumes(folder, *CLIPS)


def children(parent: int) -> list[int]:
    """Process numbers of the direct children that are Python's spawned workers."""
    found = []
    for place in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError, ValueError, IndexError):
            words = (place / "stat").read_text(encoding="utf-8").rpartition(")")[2].split()
            if int(words[1]) == parent and b"spawn_main" in (place / "cmdline").read_bytes():
                found.append(int(place.name))
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="needs /proc")
def test_a_worker_that_is_killed_is_told_in_one_line(tmp_path: Path) -> None:
    """Exit 2 and one line that says how to go on; no unfinished file, and the next run goes on."""
    folder = tmp_path / "kit"
    process = begin(*STILLS, "--to", folder)
    wait_for_files(folder, 1, process)
    os.kill(children(process.pid)[0], signal.SIGKILL)
    out, err = process.communicate(timeout=30)
    assert (process.returncode, out) == (2, "")
    check_one_more_line(err)
    assert "signal 9" in err
    assert hidden(folder) == []
    check_resumes(folder, *STILLS)


def test_a_kit_has_one_range() -> None:
    """A kit of stills has pluge, so all of it is narrow, in every format; a kit of clips is narrow as clips are."""
    formats = [parse_format("480i"), parse_format("640x480@60")]
    stills = plan_kit(formats, CARRIERS["png"], tagged=True)
    assert {item.order.signal.range for item in stills.items} == {Range.NARROW}
    assert len(stills.notes) == 2
    assert "so all stills of this command have narrow range" in stills.notes[0]
    # EG 1's -I and +Q have no legal R'G'B' in any range (docs/signal.md).
    assert stills.notes[1].startswith("bars-split as png: narrow range of 8 bits has no codes for -I, +Q")
    assert {item.order.signal.range for item in plan_kit(formats, CARRIERS["h264"]).items} == {Range.NARROW}


def test_a_failed_proof_does_not_keep_the_others_back(tmp_path: Path) -> None:
    """The files that pass are made, the one that fails is told at the end and has no name."""
    fmt = parse_format("64x48@60")
    jobs: list[Job] = []
    for item in plan_kit([fmt], CARRIERS["png"]).items[:4]:
        jobs.append(Job.of(len(jobs), item.order, tmp_path / item.name))
    # A PNG file holds R'G'B' only: read back, it cannot be what this order says.
    wrong = replace(jobs[1].signal, sampling=Sampling.YCBCR_444)
    jobs[1] = replace(jobs[1], signal=wrong)
    done: list[Finished] = []
    with pytest.raises(ProofError, match=rf"{jobs[1].path.name} failed its proof: .*; the other files are made$"):
        run_jobs(jobs, None, done.append, lambda shares: None)
    assert sorted(made.index for made in done) == [0, 2, 3]
    assert sorted(tmp_path.iterdir()) == sorted(job.path for job in jobs if job is not jobs[1])


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A disk of 64 kB."""
    if not hasattr(os, "geteuid") or os.geteuid() != 0:
        pytest.skip("only root mounts")
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "none", str(tmp_path)]
    if subprocess.run(mount, capture_output=True, check=False).returncode:
        pytest.skip("nothing can be mounted here")
    yield tmp_path
    subprocess.run(["umount", str(tmp_path)], check=True)


@pytest.mark.parametrize("words", [("--format", "240p", "--seconds", "0.5"), SMALL], ids=["clips", "stills"])
def test_a_full_disk_is_one_line_and_leaves_only_proved_files(small_disk: Path, words: tuple[str, ...]) -> None:
    """Exit 2 and one line; each file with a name is whole; nothing unfinished lies about."""
    code, out, err = call("kit", *words, "--to", small_disk / "kit")
    assert (code, out) == (2, "")
    assert f"{small_disk / 'kit'}: No space left" in err.splitlines()[-1]
    assert "the same command goes on" in err.splitlines()[-1]
    assert "Traceback" not in err
    assert hidden(small_disk / "kit") == []
    listed = {}
    if (small_disk / "kit" / "kit.json").exists():
        listed = {f["path"]: f["sha256"] for f in manifest(small_disk / "kit")["files"]}
    for name, digest in listed.items():
        assert hashlib.sha256((small_disk / "kit" / name).read_bytes()).hexdigest() == digest


@pytest.mark.parametrize("place", ["/proc/trueraster-test", "/dev/null/x", "/dev/full"])
def test_a_place_that_takes_no_files_is_one_line(place: str) -> None:
    """Where nothing can be made there is one line; root is refused there too."""
    if not Path(place.rsplit("/", 1)[0] or "/").exists():
        pytest.skip("not on this system")
    code, out, err = call("kit", "--format", "240p", "--to", place)
    assert (code, out) == (2, "")
    check_one_more_line(err)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root writes anywhere")
def test_a_read_only_folder_is_one_line(tmp_path: Path) -> None:
    """A folder without the right to write is told, and stays empty."""
    (tmp_path / "locked").mkdir(mode=0o500)
    code, out, err = call("kit", "--format", "240p", "--to", tmp_path / "locked")
    assert (code, out) == (2, "")
    check_one_more_line(err)
    assert list((tmp_path / "locked").iterdir()) == []


# --- Line rates and bad input --------------------------------------------------------------------------------


def test_line_rates_are_told_once_when_nobody_says_what_the_set_takes(copy: Path) -> None:
    """Standard error has the line rate of each format, or that it is unknown."""
    _, _, err = call("kit", *SMALL, "--to", copy)
    assert err.count("64x48p@60 unknown") == 1
    assert err.count("stated range") == 1


@pytest.mark.parametrize(
    ("formats", "rates"),
    [
        # CTA-861: 480i 15.734, 480p 31.469, 720p50 37.5, 1080i59.94 33.716 kHz.
        (["480p"], "15.6-15.8"),
        (["480i", "480p"], "15.7"),
        (["480i", "720p50"], "15-16,31-32"),
        (["1080i59.94"], "33.8-40"),
        # 1 % of 15.9 is 0.159, so 15.734 lies outside by 7 Hz.
        (["480i"], "15.9"),
    ],
)
def test_a_format_outside_the_line_rates_is_refused(tmp_path: Path, formats: list[str], rates: str) -> None:
    """One line that names the format, its line rate and the ranges; nothing is made."""
    words = [word for name in formats for word in ("--format", name)]
    code, out, err = call("kit", *words, "--line-rates", rates, "--to", tmp_path / "kit")
    assert (code, out, err.count("\n")) == (2, "", 1)
    timing = FORMATS[formats[-1]].timing
    assert timing is not None
    assert formats[-1] in err
    assert f"{float(timing.line_rate_hz) / 1000:.3f} kHz" in err
    assert "could damage" in err
    assert not (tmp_path / "kit").exists()


def test_a_raster_without_timing_is_refused_with_line_rates(tmp_path: Path) -> None:
    """Its line rate is not known, so it cannot be checked."""
    code, _, err = call("kit", *SMALL, "--line-rates", "15-38", "--to", tmp_path / "kit")
    assert (code, err.count("\n")) == (2, 1)
    assert "not known" in err
    assert not (tmp_path / "kit").exists()


def test_line_rates_are_read_exactly() -> None:
    """Ranges hold their ends; a single value is itself and 1 % to each side."""
    first, second = parse_line_rates("15.6-15.8, 31.5")
    assert (first.low, first.high) == (Fraction("15.6"), Fraction("15.8"))
    assert (second.low, second.high) == (Fraction("31.185"), Fraction("31.815"))


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [
        ("15.6\u201315.8", "15.6", "15.8"),
        ("15.6 - 15.8 kHz", "15.6", "15.8"),
        ("15.6kHz\u221215.8khz", "15.6", "15.8"),
        ("31.5 kHz", "31.185", "31.815"),
        ("15-110", "15", "110"),
    ],
)
def test_line_rates_are_read_as_papers_print_them(text: str, low: str, high: str) -> None:
    """An en dash or a minus sign is a dash, and the unit may stand behind a number."""
    (found,) = parse_line_rates(text)
    assert (found.low, found.high) == (Fraction(low), Fraction(high))


@pytest.mark.parametrize(
    "text", ["15-16,31-32", "15.6-15.8,31", "15.6,31.5", "15, 31", "15.625,15.734", "15-16,31-32,45-50"]
)
def test_a_comma_between_ranges_is_one(text: str) -> None:
    """Where a comma cannot be a decimal one every part is a range of its own; values may lie closer than 1 %."""
    assert len(parse_line_rates(text)) == text.count(",") + 1


@pytest.mark.parametrize(
    ("text", "point"),
    [
        ("31,2-33,8", "31.2"),
        ("15,6-15,8", "15.6"),
        ("15,6", "15.6"),
        ("15,734", "15.734"),
        ("31,25-33,75", "31.25"),
        ("15,31", "15.31"),
        ("15,31-32", "15.31"),
        ("15-16,31", "16.31"),
        ("15-16,31-33,8", "33.8"),
        ("15.6-15.8,31,5", "31.5"),
        ("15,6-15,8;31-32", "15.6"),
    ],
)
def test_a_comma_that_may_be_a_decimal_one_is_refused(tmp_path: Path, text: str, point: str) -> None:
    """Read as a list, 31,2-33,8 would let 480i through to a set of 31.2 to 33.8 kHz. One line says what to write."""
    code, out, err = call("kit", "--line-rates", text, "--to", tmp_path / "kit")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert f"Write {point}, with a point" in err
    assert not (tmp_path / "kit").exists()


@pytest.mark.parametrize(
    "text",
    [
        *("", " ", ",", "15-", "-15", "16-15", "0", "0-20", "1e3", "15,", "nan", "15;31", "15-16-17", "5000", "x" * 99),
        # Below 10 kHz and above 200 no tube scans; a range eight times as high as low is none.
        *("9.9-16", "15.6-15.8,300-301", "15-200", "10-90"),
        # Out of order, overlapping, twice.
        *("31-32,15-16", "15-16,16-17", "15-32,31-33", "15.6,15.6"),
    ],
)
def test_line_rates_that_are_none_are_refused(text: str) -> None:
    """One short line that names the option."""
    with pytest.raises(UsageError, match=r"^--line-rates: got .{0,130}$"):
        parse_line_rates(text)


def test_line_rates_are_told_as_they_were_understood() -> None:
    """On standard error and on the cue sheet: a slip of the keys is seen before the set is fed."""
    accepted = parse_line_rates("15.6\u201315.8 kHz, 31.5")
    # 1 % of 31.5 is 0.315.
    words = "15.6 to 15.8 or 31.185 to 31.815 kHz"
    assert words in understood_note(accepted)
    items = plan_kit([FORMATS["480i"]], CARRIERS["png"]).items[:2]
    assert words in cue_sheet("Kit", items, "trueraster 0", accepted)
    assert "made for line rates" not in cue_sheet("Kit", items, "trueraster 0")


MISTAKES = [
    ("--format nonsense", "format"),
    ("--format 480i --format", "--format"),
    ("--format 0x0@60", "format"),
    ("--as vhs", "--as"),
    ("--seconds 0", "--seconds"),
    ("--seconds nan", "--seconds"),
    ("--seconds x", "--seconds"),
    ("--seconds 1e9", "--seconds"),
    ("--with nothing-such", "no pattern"),
    ("--with own.toml", "no pattern"),
    ("--with flicker --format 480p", "flicker"),
    ("--aspect 9", "aspect"),
    ("--line-rates x", "--line-rates"),
    ("--format 480i,480p", "repeat --format"),
    ("--to ", "--to"),
    ("--to -", "--to"),
    ("--to there", "--to"),
    ("--format 33x17@25 --as h264", "33"),
    ("something", "something"),
    ("--nothing", "--nothing"),
]


@pytest.mark.parametrize(("line", "word"), MISTAKES, ids=[line for line, _ in MISTAKES])
def test_a_mistake_is_one_line_and_makes_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, line: str, word: str
) -> None:
    """Exit 2, nothing on standard output, one line that names the mistake, and no file or folder."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "there").write_text("a file", encoding="utf-8")
    code, out, err = call("kit", *line.split(" "))
    assert (code, out) == (2, "")
    assert err.count("\n") == 1, err
    assert word in err
    assert [path.name for path in tmp_path.iterdir()] == ["there"]


# --- Long ----------------------------------------------------------------------------------------------------


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="there is no such signal")
def test_kills_at_any_moment_lose_nothing(tmp_path: Path) -> None:
    """Killed five times at random moments: no unproved file has a name, and each next run goes on to the end."""
    script = Path(__file__).with_name("trials") / "kill_kit.py"
    done = subprocess.run(
        [sys.executable, str(script), "5", "--seed", "1", "--to", str(tmp_path)],
        capture_output=True,
        text=True,
        timeout=900,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.slow
@pytest.mark.parametrize("carrier", CARRIERS)
def test_every_kind_of_file_makes_a_kit(tmp_path: Path, carrier: str) -> None:
    """All files are proved, the lossless ones exact, and the whole kit is found again."""
    name = "576i"
    line = ("--format", name, "--as", carrier, "--seconds", "0.1", "--to", tmp_path)
    answer = made(*line)
    lossy = carrier in ("mpeg2", "prores")
    assert {f["proof"]["verdict"] for f in answer["files"]} <= ({"exact", "within"} if lossy else {"exact"})
    wanted = expected(name, moving=CARRIERS[carrier].default_seconds is not None)
    assert [f["pattern"] for f in answer["files"]] == [pattern for pattern, _ in wanted]
    again = made(*line)
    assert (again["files"], len(again["reused"])) == (answer["files"], len(answer["files"]))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["288p", "480p", "720p59.94", "1080i50", "1080p23.976"])
def test_other_formats_make_a_kit(tmp_path: Path, name: str) -> None:
    """Each has its patterns, in order, with a cue sheet that names the format.

    All are exact, but for the moving zone plate in HD, which comes faster than players read: docs/reference/files.md.
    """
    answer = made("--format", name, "--seconds", "0.1", "--to", tmp_path)
    assert [f["pattern"] for f in answer["files"]] == [pattern for pattern, _ in expected(name, moving=True)]
    lossy = [f["pattern"] for f in answer["files"] if f["proof"]["verdict"] != "exact"]
    assert lossy == (["zone-plate-moving"] if parse_format(name).height > 576 else [])
    assert name in (tmp_path / "cue-sheet.html").read_text(encoding="utf-8")


def test_a_clip_that_is_large_and_repeats_itself_is_short() -> None:
    """The moving zone plate has 10 s where the others have a minute; a length that is asked for holds for all."""
    for asked, usual, short in ((None, 60, 10), (25.0, 25, 25)):
        items = plan_kit([FORMATS["1080i50"]], CARRIERS["h264"], seconds=asked).items
        lengths = {item.order.pattern.id: item.order.seconds for item in items}
        assert lengths.pop("zone-plate-moving") == short
        assert set(lengths.values()) == {usual}


def test_a_kit_of_stills_leaves_out_what_moves(tmp_path: Path) -> None:
    """A kit of stills has no pattern that moves, says which are left out, and refuses one by name; clips have them."""
    stills, clips = (
        {item.order.pattern.id for item in plan_kit([FORMATS["480i"]], CARRIERS[name]).items}
        for name in ("png", "h264")
    )
    assert clips - stills == MOVING
    code, _, err = call("kit", "--format", "64x48i@50", "--as", "png", "--to", tmp_path)
    assert code == 0, err
    line = next(line for line in err.splitlines() if "left out" in line)
    assert all(name in line for name in (*MOVING, "h264"))
    code, out, err = call("kit", "--format", "480i", "--as", "tiff", "--with", "bounce", "--to", tmp_path / "b")
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert "--with: bounce moves and tiff is a still" in err


def test_a_still_of_a_moving_pattern_says_what_it_is(tmp_path: Path) -> None:
    """`draw bounce` as a still is drawn, with a note of its moment and of what moves; as a clip it has no note."""
    words = ("draw", "bounce", "--format", "64x48@50", "--seconds", "0.1", "--to", tmp_path)
    code, _, err = call(*words, "--as", "png")
    assert code == 0, err
    # The pattern's period is two seconds dark and two light.
    assert "bounce moves; as png it shows one picture, the middle of the 4 s" in err
    assert "It moves as h264" in err
    code, _, err = call(*words, "--as", "y4m")
    assert code == 0, err
    assert "one picture" not in err
