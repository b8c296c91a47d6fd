"""The documents: up to date with the code, whole, and with commands that work."""

from __future__ import annotations

import contextlib
import importlib.util
import io
import json
import re
import shlex
import shutil
import subprocess
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

import click
import numpy as np
import pytest
from imageio_ffmpeg import get_ffmpeg_exe
from PIL import Image

from analysis.frame.faults.chain import STEPS
from analysis.frame.faults.remedies import fault_words
from analysis.raster.controls import CONVERGENCE_CONTROLS, GEOMETRY_CONTROLS
from analysis.raster.quantities import CONVERGENCE_KEYS, GEOMETRY_KEYS
from patterns.catalogue import PATTERNS
from tests.matrix import rest_is_slow
from tests.trials.photos.board import Board, board_cameras, board_photograph
from tests.trials.photos.hand import hand_held
from tests.trials.photos.photograph import save
from tests.trials.photos.sets import plain_set
from trueraster.cli import app, run
from trueraster.output.cautions import CAUTIONS

ROOT = Path(__file__).parent.parent
PAGES = [
    page
    for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").rglob("*.md")))
    # An installed package is tested without its documents.
    if page.exists()
]

pytestmark = pytest.mark.skipif(not (ROOT / "docs").exists(), reason="the documents are not beside the tests")

CODE = ("patterns", "render", "analysis", "trueraster", "tests", "docs")

# The two lines that the README promises: set up and do the main job, then test.
SET_UP = (
    "python3 -m venv .venv && .venv/bin/pip install -q -e '.[dev]' && .venv/bin/trueraster draw crosshatch bars steps"
)
TEST = ".venv/bin/python -m pytest -q -n 2 -m 'not slow'"


def test_generated_parts_are_up_to_date(monkeypatch: pytest.MonkeyPatch) -> None:
    """What docs/make_docs.py writes is what stands in the pages."""
    monkeypatch.syspath_prepend(str(ROOT / "docs"))
    spec = importlib.util.spec_from_file_location("make_docs", ROOT / "docs" / "make_docs.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    marks = 0
    for page in module.pages():
        text = page.read_text(encoding="utf-8")
        marks += text.count("<!-- generated: ")
        assert module.filled(text) == text, page.name
    # Eight areas, formats, frequencies, the index, greys, colours, constants, the example, faults, two tables of
    # controls, tolerances, figures of seven measurements: a lost mark would go unseen else.
    assert marks == 26


def test_every_pattern_has_its_entry_and_picture() -> None:
    """Each pattern stands in exactly one page, with a picture."""
    pages = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
    for name in PATTERNS:
        assert pages.count(f": `{name}`\n") == 1, name
        assert (ROOT / "docs" / "pictures" / f"{name}.png").exists()


def test_every_fault_has_its_entry_and_picture() -> None:
    """Each fault that verify can name stands once in the page on capturing, with a small picture and no open place."""
    page = (ROOT / "docs" / "capture.md").read_text(encoding="utf-8")
    table = page.split("<!-- generated: faults -->")[1].split("<!-- end -->")[0]
    assert re.findall(r"\(`([\w-]+)`\)", table) == re.findall(r"pictures/fault-([\w-]+)\.png", table)
    assert set(re.findall(r"\(`([\w-]+)`\)", table)) == set(fault_words())
    assert "{" not in table
    assert sorted(p.stem for p in (ROOT / "docs" / "pictures").glob("fault-*.png")) == sorted(
        f"fault-{name}" for name in fault_words()
    )
    for name in fault_words():
        assert (ROOT / "docs" / "pictures" / f"fault-{name}.png").stat().st_size < 10_000, name


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    """Every relative link and picture is there, and so is the heading that a link names."""
    for target in re.findall(r"\]\(([^)]+)\)", page.read_text(encoding="utf-8")):
        name, _, heading = target.partition("#")
        other = page.parent / name if name else page
        assert other.exists(), target
        if heading:
            headings = re.findall(r"^#+ (.+)$", other.read_text(encoding="utf-8"), re.MULTILINE)
            # A heading's anchor: lower case, marks dropped, blanks to dashes.
            assert heading in [re.sub(r"[^\w\- ]", "", title.lower()).replace(" ", "-") for title in headings], target


def code_lines(text: str) -> list[str]:
    """The lines of a page's fenced and indented blocks of code; prose may begin with our name too."""
    fence = re.compile(r"^```\w*\n(.*?)^```$", re.MULTILINE | re.DOTALL)
    indented = re.findall(r"^ {4}(.+)$", fence.sub("", text), re.MULTILINE)
    return [line for block in fence.findall(text) for line in block.splitlines()] + indented


def commands() -> list[str]:
    """Every command line of ours in the pages' blocks of code, from our name on."""
    lines = [line for page in PAGES for line in code_lines(page.read_text(encoding="utf-8"))]
    found = [re.search(r"(?:^|/)(trueraster .*)$", line) for line in lines]
    lines = [match[1].split("#")[0].strip() for match in found if match]
    # The worked example has a test of its own.
    return sorted({line for line in lines if not line.startswith("trueraster verify harbour-lane-")})


def that_end() -> list[str]:
    """The command lines but for the screen's and the bench's, which wait for a user; their own tests run those."""
    return [line for line in commands() if line.split()[1] not in ("show", "bench")]


def mentions() -> list[str]:
    """Every command of ours that is named in the pages' prose."""
    pages = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
    return sorted(set(re.findall(r"`(trueraster [^`\n]+)`", pages)))


def photographed(words: list[str], folder: Path) -> list[str]:
    """A command line of `measure` with its photographs there: simulated ones, and plain colours on black."""
    examples = ROOT / "docs" / "examples"
    if words[1] == "lens":
        camera, board = plain_set(0.8).camera, Board()
        for number, pose in enumerate(board_cameras(camera, board, 7, seed=3)):
            save(folder / f"board-{number}.jpg", board_photograph(pose, board, seed=number))
        return [
            name for word in words for name in (sorted(p.name for p in folder.glob(word)) if "*" in word else [word])
        ]
    if "1.jpg" in words:
        one = plain_set(3.0, format_id="576i")
        cameras = hand_held(one, 7, np.random.default_rng(5), (10, 25), with_marks=True)
        for number, camera in enumerate(cameras, 1):
            save(folder / f"{number}.jpg", replace(one, camera=camera).photograph())
    for name in ("photo.jpg", "light.jpg"):
        shutil.copy(examples / "simulation.jpg", folder / name)
    shutil.copy(examples / "simulation-lens.json", folder / "lens.json")
    colours = {"white": (200, 200, 200), "red": (200, 40, 30), "green": (40, 200, 50), "blue": (40, 50, 200)}
    noise = np.random.default_rng(1)
    for name, colour in {**colours, "flat": (180, 180, 180), "off": (2, 2, 2)}.items():
        codes = noise.normal(2, 0.5, (750, 1000, 3))
        area = np.s_[:, :] if name == "flat" else np.s_[120:620, 150:820]
        codes[area] = colour + noise.normal(0, 1, codes[area].shape)
        Image.fromarray(codes.clip(0, 255).astype(np.uint8)).save(folder / f"{name}.jpg", quality=95)
    return words


def recorded(words: list[str]) -> None:
    """What a command line of `record` speaks of: the record, but for one that begins it, results and photograph."""
    if words[1] not in ("new", "demo"):
        assert run(["record", "new", words[2], "--set", "a set"]) == 0
    if words[1] == "add":
        shutil.copy(ROOT / "docs" / "examples" / "simulation.jpg", "photo.jpg")
        for name in words[4:]:
            if name.endswith(".json"):
                made = io.StringIO()
                with contextlib.redirect_stdout(made):
                    assert run(["measure", name.removesuffix(".json"), *DEMO, "--json"]) == 0
                Path(name).write_text(made.getvalue(), encoding="utf-8")


def shortest(lines: Iterable[str]) -> list[str]:
    """The shortest line of each command, for every run, but for those that other quick tests run at length."""
    found: dict[tuple[str, ...], str] = {}
    for line in sorted(lines, key=lambda line: (len(line), line)):
        first, second, *_ = [*shlex.split(line)[1:], ""]
        found.setdefault((first, second) if first in ("measure", "record", "sheet") else (first,), line)
    elsewhere = [
        ("kit",),
        ("disc",),
        ("record", "demo"),
        ("measure", "lens"),
        ("measure", "raster"),
        ("measure", "uniformity"),
    ]
    return [line for command, line in found.items() if command not in elsewhere]


@pytest.mark.parametrize("line", rest_is_slow(that_end(), shortest(that_end())))
def test_commands_of_the_documents(
    line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each command that the documents show does what it says; those that draw do draw."""
    # A shell would put the answer into a file.
    words = shlex.split(line.split(" > ")[0])[1:]
    monkeypatch.chdir(tmp_path)
    (tmp_path / "docs").symlink_to(ROOT / "docs")
    if words[0] == "verify":
        # Needs a capture: make the one that it speaks of.
        if words[1] == "captures":
            run(["draw", "bars", "--as", "png", "--to", "captures/one.png"])
        if words[1] == "capture.png":
            run(["draw", "bars", "--as", "png", "--to", "capture.png"])
        else:
            run(["draw", "docs/examples/two-boxes.toml", "--format", "576i", "--as", "png"])
    if words[0] == "measure":
        words = photographed(words, tmp_path)
    if words[0] == "record":
        recorded(words)
    if words[0] == "report" and words[1].endswith(".json"):
        # Of the record and the tolerances that were made before.
        Path(words[1]).parent.mkdir(exist_ok=True)
        assert run(["record", "new", words[1], "--set", "a set"]) == 0
        if "--tolerances" in words:
            assert run(["report", "--tolerances-template", words[words.index("--tolerances") + 1]]) == 0
    if words[0] == "disc":
        if not all(map(shutil.which, ("dvdauthor", "genisoimage"))):
            pytest.skip("dvdauthor or genisoimage is not installed")
        assert run(["kit", "--format", "576i", "--as", "mpeg2", "--seconds", "1", "--to", words[1]]) == 0
    if words[0] == "draw":
        words += ["--as", "png"]
    if words[0] == "kit":
        words += ["--as", "png", "--seconds", "1"]
    capsys.readouterr()
    assert run(words) == 0, capsys.readouterr().err


@pytest.mark.slow
def test_worked_example_prints_what_its_page_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The two captures of docs/capture.md, made as it says, give what it shows."""
    monkeypatch.chdir(tmp_path)
    page = (ROOT / "docs" / "capture.md").read_text(encoding="utf-8")
    part = page.split("## A worked example\n")[1].split("\n## ")[0]
    making = re.findall(r"^(?:trueraster draw|ffmpeg) .+$", part, re.MULTILINE)
    assert len(making) == 3
    for line in making:
        if line.startswith("ffmpeg"):
            subprocess.run([get_ffmpeg_exe(), "-v", "error", *shlex.split(line)[1:]], check=True, timeout=60)
        else:
            assert run(shlex.split(line)[1:]) == 0
    shown = re.findall(r"^ {4}trueraster (verify [^\n]+)\n\n```\n(.*?)^```$", part, re.MULTILINE | re.DOTALL)
    assert [line.split()[1] for line, _ in shown] == ["harbour-lane-1.mkv", "harbour-lane-2.mkv"]
    for (line, output), code in zip(shown, (1, 0), strict=True):
        capsys.readouterr()
        assert run(shlex.split(line)) == code
        printed = iter(capsys.readouterr().out.splitlines())
        for wanted in output.splitlines():
            start = wanted.removesuffix("...").rstrip()
            assert any(got.startswith(start) for got in printed), wanted


@pytest.mark.parametrize("line", [*mentions(), *commands()])
def test_commands_are_understood(line: str) -> None:
    """Each command that a page shows, or a sentence names, is there and takes the options that it has there."""
    words = shlex.split(line.split(" > ")[0])[1:]
    command: click.Command = app
    while isinstance(command, click.Group) and words:
        found = command.get_command(click.Context(command), words[0])
        if found is None:
            break
        command = found
        del words[0]
    assert command is not app, line
    if not isinstance(command, click.Group):
        command.make_context(line, words)


def rows_after(text: str) -> dict[str, str]:
    """What the first table of a text says of each key."""
    table = re.search(r"^(\|.+\|\n)+", text, re.MULTILINE)
    assert table is not None
    rows = re.findall(r"^\| (`.+?) +\| (.+?) *\|$", table[0], re.MULTILINE)
    return {name: holds for names, holds in rows for name in re.findall(r"`(\w+)`", names)}


def test_json_of_verify_is_as_its_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every key of the answer is in the tables of docs/reference/verify.md, and they name no other."""
    monkeypatch.chdir(tmp_path)
    run(["draw", "bars", "--as", "png", "--to", "bars.png"])
    run(["draw", "field-order", "--as", "ffv1", "--seconds", "1", "--format", "480i", "--to", "clip.mkv"])
    capsys.readouterr()
    run(["verify", "bars.png", "--all", "--json"])
    answer = json.loads(capsys.readouterr().out)
    run(["verify", "clip.mkv", "--json"])
    clip = json.loads(capsys.readouterr().out)
    page = (ROOT / "docs" / "reference" / "verify.md").read_text(encoding="utf-8").split("## `--json`")[1]
    held = rows_after(page)
    assert {*held, "frames"} == set(answer)
    for key, inner in (
        ("signal", answer["signal"]),
        ("registration", answer["registration"]),
        ("patches", answer["patches"][0]),
    ):
        assert set(re.findall(r"`(\w+)`", held[key])) == set(inner), key
    assert set(rows_after(page.split("there is `frames`")[1])) == set(answer["frames"])
    assert set(rows_after(page.split("and `fields`:")[1])) == set(clip["fields"])


DEMO = [
    *("docs/examples/simulation.jpg", "--marks-mm", "470x360"),
    *("--lens", "docs/examples/simulation-lens.json"),
    *("--depth-mm", "0", "--glass-radius-mm", "flat"),
]


def answer(words: list[str], capsys: pytest.CaptureFixture[str]) -> Any:
    capsys.readouterr()
    assert run(["measure", *words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def named(text: str) -> set[str]:
    """The keys that the first column of a text's first table names."""
    table = re.search(r"^(\|.+\|\n)+", text, re.MULTILINE)
    assert table is not None
    return {key for row in table[0].splitlines() for key in re.findall(r"`(\w+)`", row.split("|")[1])}


def inner(holds: str) -> set[str]:
    """The keys that a cell names; those of a part of it stand in brackets without marks."""
    return set(re.findall(r"`(\w+)`", holds))


def json_page(heading: str) -> str:
    """A section of docs/reference/json.md, up to the next heading."""
    page = (ROOT / "docs" / "reference" / "json.md").read_text(encoding="utf-8")
    return page.split(f"{heading}\n")[1].split("\n## ")[0]


@pytest.mark.parametrize("words", [["patterns"], ["formats"], ["levels"], ["sheet", "marks", "--to", "marks.pdf"]])
def test_json_of_small_commands_is_as_its_page_says(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """docs/reference/json.md has every key of the lists that the small commands print, and no other."""
    monkeypatch.chdir(tmp_path)
    assert run([*words, "--json"]) == 0
    ((name, printed),) = json.loads(capsys.readouterr().out).items()
    printed = printed[0] if isinstance(printed, list) else printed
    held = rows_after(json_page("## `patterns`, `formats`, `levels`, `sheet`"))
    # `formats` has some of the keys of `timing`, which have a table of their own.
    shared = {*named(json_page("## `timing`")), "timing"} if name == "formats" else set()
    keys = {*printed, *printed.get("size_mm", ()), *printed.get("picture", ())}
    assert inner(held[name]) - shared == keys - shared


def test_json_of_draw_is_as_its_page_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """docs/reference/json.md has every key that `draw` prints of a file, and no other."""
    assert run(["draw", "crosshatch", "--as", "png", "--to", str(tmp_path / "grid.png"), "--json"]) == 0
    ((printed,),) = json.loads(capsys.readouterr().out).values()
    page = json_page("## `draw`")
    held = rows_after(page)
    assert set(held) == set(printed)
    assert inner(held["cells"]) == set(printed["cells"])
    assert inner(held["proof"]) - {"exact", "within", "failed"} == set(printed["proof"])


def test_json_of_timing_is_as_its_page_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The table of docs/reference/json.md has every key that `timing` prints, and no other."""
    capsys.readouterr()
    assert run(["timing", "480i", "--edid", str(tmp_path / "set.bin"), "--json"]) == 0
    printed = json.loads(capsys.readouterr().out)
    page = json_page("## `timing`")
    assert named(page) | {"edid"} == set(printed)
    assert set(printed["edid"]) <= inner(page)
    held = rows_after(page)
    for key, keys in (("h", printed["h"]), ("sync", printed["sync"]), ("levels_mv", printed["levels_mv"][0])):
        assert set(keys) == inner(held[key].partition(":")[0] if key == "h" else held[key]), key


@pytest.mark.parametrize(
    "words", [["--levels", "714", "--setup", "7.5"], ["--format", "576i", "--field", "frame"]], ids=["line", "frame"]
)
def test_json_of_scope_is_as_its_page_says(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """The table of docs/reference/json.md has every key that `scope` prints, and its first column has no other."""
    table = json_page("## `scope`")
    assert run(["scope", "steps", *words, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert set(answer) == set(re.findall(r"`([\w]+)`", " ".join(re.findall(r"^\|([^|]*)\|", table, re.MULTILINE)[2:])))
    inner = [answer[key] for key in ("times_us", "measured_us", "levels_mv", "samples", "filter")]
    inner += [*answer["traces"], *(part for trace in answer["traces"] for part in trace["parts"] or ())]
    inner += answer["vertical"] or []
    assert {key for part in inner if part for key in part} <= set(re.findall(r"`([\w]+)`", table))


def keys_in(page: str, kind: str) -> set[str]:
    """The keys of the figures in a page's generated table."""
    table = page.split(f"<!-- generated: figures-{kind} -->\n")[1].split("<!-- end -->")[0]
    return {path.split(".")[0] for row in table.splitlines() for path in re.findall(r"`([^`]+)`", row.split("|")[1])}


def test_figures_of_measure_are_as_their_page_says() -> None:
    """docs/reference/glass.md lists every figure of geometry and convergence, and explains none that is not there."""
    page = (ROOT / "docs" / "reference" / "glass.md").read_text(encoding="utf-8")
    assert keys_in(page, "geometry") == set(GEOMETRY_KEYS)
    assert keys_in(page, "convergence") == set(CONVERGENCE_KEYS)
    assert named(page.split("\n## Geometry\n")[1]) <= set(GEOMETRY_KEYS)
    explained = page.split("\n## Convergence\n")[1]
    assert named(explained) <= set(CONVERGENCE_KEYS)
    for control in (*GEOMETRY_CONTROLS, *CONVERGENCE_CONTROLS):
        assert control.more.do in page
    for control in CONVERGENCE_CONTROLS:
        if control.group != "static":
            assert f"`{control.part.split('.')[1]}`" in explained


def test_json_of_measure_is_as_its_page_says(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every key that `measure geometry` and `measure convergence` print is in docs/reference/glass.md, no other."""
    monkeypatch.chdir(ROOT)
    page = (ROOT / "docs" / "reference" / "glass.md").read_text(encoding="utf-8")
    part = page.split("### `measure geometry`\n")[1]
    held = rows_after(part)
    geometry = answer(["geometry", *DEMO], capsys)
    assert set(held) | keys_in(page, "geometry") == set(geometry)
    for key, there in (
        ("nodes", geometry["nodes"][0]),
        ("photo", geometry["photo"]),
        ("advice", geometry["advice"][0]),
    ):
        assert inner(held[key]) - {"mm"} == set(there), key
    convergence = answer(["convergence", *DEMO], capsys)
    assert set(held) | keys_in(page, "convergence") == set(convergence)
    other = rows_after(page.split("### `measure convergence`\n")[1])
    assert inner(other["nodes"]) - {"red_percent", "blue_percent"} == set(convergence["nodes"][0])
    assert set(convergence["uncertainty"]["nodes"][0]) == inner(other["uncertainty"]) - {"nodes"}
    assert set(convergence["parts"]["red"]) == {"static", "edges", "twist", "remains"}


def test_json_of_uniformity_is_as_its_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same of `measure uniformity`."""
    monkeypatch.chdir(tmp_path)
    words = photographed(["measure", "uniformity"], tmp_path)[1:]
    with Image.open("red.jpg") as image:
        # A blotch, so that there is one to tell.
        codes = np.array(image)
    codes[300:400, 300:400] = (150, 80, 30)
    Image.fromarray(codes).save("red.png")
    found = answer([*words, "white.jpg", "red.png"], capsys)
    part = (ROOT / "docs" / "reference" / "glass.md").read_text(encoding="utf-8").split("### `measure uniformity`\n")[1]
    held = rows_after(part)
    assert set(held) == set(found)
    assert inner(held["limits"]) == set(found["limits"][0])
    assert inner(held["advice"]) == set(found["advice"][0])
    of_field = rows_after(part.split("For a field")[1])
    red = found["fields"][1]
    assert set(of_field) == set(red)
    assert inner(of_field["zones"]) == set(red["zones"][0])
    assert all(f" {key}" in of_field["zones"] for key in red["zones"][0]["purity"])
    assert inner(of_field["blotches"]) == set(red["blotches"][0])
    for key in ("dimmest", "brightest", "delta_uv", "purity"):
        assert inner(of_field["dimmest"]) == set(red[key])


def test_json_of_lens_is_as_its_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same of `measure lens`."""
    monkeypatch.chdir(tmp_path)
    words = photographed(["measure", "lens", "board-*.jpg"], tmp_path)[1:]
    Image.new("RGB", (1000, 750)).save("nothing.jpg")
    found = answer([*words, "nothing.jpg", "--to", "lens.json"], capsys)
    page = (ROOT / "docs" / "reference" / "glass.md").read_text(encoding="utf-8")
    held = rows_after(page.split("### `measure lens`\n")[1])
    assert set(held) == set(found)
    assert inner(held["lens"]) == set(found["lens"])
    assert inner(held["left_out"]) == set(found["left_out"][0])


def test_keys_of_a_record_are_as_their_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """docs/record.md has every key of a record and of what `record show --json` prints, and no other."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "docs").symlink_to(ROOT / "docs")
    recorded(["record", "add", "set.json", "as-found", "geometry.json"])
    details = ("--serial", "1", "--hours", "1", "--condition", "dim", "--input", "x", "--accepts", "480i")
    assert run(["record", "set", "set.json", *details, "--tolerance", "geometry.width_mm=1"]) == 0
    assert run(["record", "work", "set.json", "cleaned"]) == 0
    assert run(["record", "add", "set.json", "as-found", "geometry.json", "--picture", "photo.jpg", "--simulated"]) == 0
    file = json.loads(Path("set.json").read_text(encoding="utf-8"))
    page = (ROOT / "docs" / "record.md").read_text(encoding="utf-8")
    part, printed = page.split("## The file")[1].split("## `--json`")
    held = rows_after(part)
    # What is noted by other commands is in the file from then on.
    assert set(held) == {*file, "simulated", "intake", "parts", "controls", "turns"}
    assert inner(held["set"]) == set(file["set"])
    assert inner(held["work"]) == set(file["work"][0])
    (result,), (picture,) = (file["stages"]["as-found"][name] for name in ("results", "pictures"))
    assert set(rows_after("| of a result" + part.split("| of a result")[1])) == set(result)
    of_picture = rows_after("| of a picture" + part.split("| of a picture")[1])
    assert set(of_picture) == set(picture)
    assert inner(of_picture["original"]) == set(picture["original"])
    capsys.readouterr()
    assert run(["record", "show", "set.json", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert set(rows_after(printed)) == set(shown)
    of_result = rows_after("| of a result" + printed.split("| of a result")[1])
    assert set(of_result) == set(shown["stages"]["as-found"]["results"][0])
    assert inner(of_result["figures"]) == set(shown["stages"]["as-found"]["results"][0]["figures"][0])


def test_json_of_report_is_as_its_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """docs/report.md has every key of what `report --json` prints, and no other."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "docs").symlink_to(ROOT / "docs")
    recorded(["record", "add", "set.json", "as-found", "geometry.json"])
    assert run(["record", "add", "set.json", "as-found", "geometry.json"]) == 0
    capsys.readouterr()
    assert run(["report", "set.json", "--tolerances-template", "bench.toml", "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    part = (ROOT / "docs" / "report.md").read_text(encoding="utf-8").split("## `--json`")[1]
    held = rows_after(part)
    assert set(re.findall(r"`(\w+)`", part.split("With `--tolerances-template`")[1])) == {"tolerances_template"}
    assert {*held, "tolerances_template"} == set(shown)
    assert inner(held["judged"]) == set(shown["judged"]["as-found"])
    judged = next(one for one in shown["figures"] if one["tolerance"] is not None)
    assert inner(held["figures"]) == {*judged, *judged["tolerance"], *judged["stages"]["as-found"]}


def test_json_of_colour_is_as_its_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """docs/reference/readings.md has every key and figure of `measure colour`, and no other."""
    monkeypatch.chdir(ROOT)
    found = answer(["colour", READINGS, "--plots", str(tmp_path)], capsys)
    page = readings_page("colour")
    held = rows_after(page)
    assert set(held) == set(found)
    for key, there in (
        ("target", found["target"]),
        ("primaries", {**found["primaries"], "target": 0}),
        ("secondaries", found["secondaries"]),
        ("additivity", found["additivity"]),
        ("uncertainty", found["uncertainty"]),
        ("advice", found["advice"][0]),
        ("readings", found["readings"]),
        ("files", {**found["files"], "page": ""}),
    ):
        assert inner(held[key]) == set(there), key
    every = set(found["primaries"]["red"]) | set(found["white"]) | set(found["gamut"]) | {"additivity"}
    assert last_keys(page) >= every - {"target", "additivity"}


def test_example_of_colour_is_as_its_page_shows(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The simulated readings give what docs/grey.md shows."""
    monkeypatch.chdir(ROOT)
    page = (ROOT / "docs" / "grey.md").read_text(encoding="utf-8").split("## Measure the primaries\n")[1]
    capsys.readouterr()
    assert run(["measure", "colour", READINGS]) == 0
    assert_shown(page, capsys.readouterr().out)


READINGS = "docs/examples/colour-readings.csv"


def test_json_of_grey_is_as_its_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """docs/reference/readings.md has every key of `measure grey`, and the figures of a step and of the scale."""
    monkeypatch.chdir(ROOT)
    found = answer(["grey", GREYS, "--plots", str(tmp_path)], capsys)
    page = readings_page("grey")
    held = rows_after(page)
    assert set(held) == set(found)
    assert inner(held["guns"]) == {*found["guns"]["red"], *found["guns"]} - {*GUN_NAMES}
    assert inner(held["advice"]) == set(found["advice"][0])
    assert inner(held["after"]) == set(found["after"])
    assert inner(held["repeats"]) - {"uncertainty", "clear"} == set(found["repeats"])
    assert inner(held["readings"]) == set(found["readings"])
    assert last_keys(page) >= set(found["steps"][0]) - {"level_percent", "readings"}
    assert last_keys(page) >= {"black_cd_m2", "white_cd_m2", "contrast", "gamma", "bt1886_error_percent"}


def test_example_of_grey_is_as_its_page_shows(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The simulated readings give what docs/grey.md shows."""
    monkeypatch.chdir(ROOT)
    page = (ROOT / "docs" / "grey.md").read_text(encoding="utf-8").split("## An example\n")[1]
    capsys.readouterr()
    assert run(["measure", "grey", GREYS]) == 0
    assert_shown(page, capsys.readouterr().out)


GREYS = "docs/examples/grey-readings.csv"
GUN_NAMES = ("red", "green", "blue")


def test_example_of_measure_is_as_its_page_shows(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The simulated photograph gives the words that docs/measure.md shows, and the figures to a few last digits."""
    monkeypatch.chdir(ROOT)
    page = (ROOT / "docs" / "measure.md").read_text(encoding="utf-8").split("## An example\n")[1]
    capsys.readouterr()
    assert run(["measure", "geometry", *DEMO]) == 0
    assert_shown(page, capsys.readouterr().out)


def assert_shown(page: str, out: str) -> None:
    """The first block of a page's example is in what the command printed, in its order; `...` leaves lines out."""
    printed = iter(out.splitlines())
    shown = page.split("```\n")[1].splitlines()
    assert len(shown) > 5
    for wanted in shown:
        if wanted != "...":
            assert any(_alike(wanted, got) for got in printed), wanted


def readings_page(kind: str) -> str:
    """The part of docs/reference/readings.md that has the keys of `measure grey` or `measure colour`."""
    page = (ROOT / "docs" / "reference" / "readings.md").read_text(encoding="utf-8")
    return page.split(f"## `measure {kind} --json`\n")[1].split("\n## ")[0]


def last_keys(page: str) -> set[str]:
    """The last part of each path in a page's generated table of figures."""
    table = page.split("<!-- generated: figures-")[1].split("<!-- end -->")[0]
    return {path.rsplit(".", 1)[-1] for path in re.findall(r"^\| `([^`]+)`", table, re.MULTILINE)} | {
        path.rsplit(".", 2)[-2] for path in re.findall(r"^\| `([^`]+\.\{[^`]+)`", table, re.MULTILINE)
    }


def _alike(wanted: str, got: str) -> bool:
    """Whether two lines have the same words, and figures that other builds of the libraries may round otherwise."""
    figures = r"[+-]?\d+\.\d+"
    if re.sub(rf"\s*{figures}", "#", wanted) != re.sub(rf"\s*{figures}", "#", got):
        return False
    pairs = zip(re.findall(figures, wanted), re.findall(figures, got), strict=True)
    return all(abs(float(one) - float(other)) < 0.03 for one, other in pairs)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_simulations_are_called_so(page: Path) -> None:
    """Below each picture that was simulated a line says so, and so do the files' names or notes."""
    text = page.read_text(encoding="utf-8")
    pictures = re.findall(r"^!\[[^\]]*\]\((\S*(?:measured-|simulation)\S*)\)\n\n(.*)$", text, re.MULTILINE)
    assert len(pictures) == len(re.findall(r"\]\(\S*(?:measured-|simulation)\S*\.(?:jpg|png)\)", text))
    for name, below in pictures:
        assert below.startswith("*Simulation"), name
        assert (page.parent / name).stat().st_size < 300_000, name


def test_parameters_of_faults_are_as_their_page_says() -> None:
    """The reference has every fault, those of the levels with the parameters that the chain's steps have."""
    page = (ROOT / "docs" / "reference" / "faults.md").read_text(encoding="utf-8")
    told: dict[str, set[str]] = {}
    for ids, parameters in re.findall(r"^\| [A-Z][^|]+\| (`[^|]+?) +\| ([^|]+?) +\|$", page, re.MULTILINE):
        for id in re.findall(r"`([\w-]+)`", ids):
            told[id] = set(re.findall(r"`(\w+)`:", parameters))
    assert set(told) == set(fault_words())
    for step in STEPS:
        assert told[step.id] == set(step.tell(step.start)), step.id


def test_modules_that_the_contributors_page_names_exist() -> None:
    """Each is in the repository, under the path or the end of a path that the page gives."""
    there = [str(path) for folder in CODE for path in (ROOT / folder).rglob("*.py")]
    named = set(re.findall(r"(?<![\w./])\w[\w/]*\.py\b", (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")))
    assert len(named) > 30
    assert [name for name in sorted(named) if not any(path.endswith(f"/{name}") for path in there)] == []


def test_packages_name_the_packages_in_them() -> None:
    """The docstring of a package tells a reader where to look: each package in it is named."""
    for folder in CODE[:4]:
        for package in (ROOT / folder).rglob("__init__.py"):
            inside = {path.parent.name for path in package.parent.glob("*/__init__.py")}
            words = set(re.findall(r"`(\w+)`", package.read_text(encoding="utf-8")))
            assert inside <= words, package


def test_readme_has_the_cautions() -> None:
    """README gives every caution in the words that the cue sheet has."""
    readme = " ".join((ROOT / "README.md").read_text(encoding="utf-8").split())
    for caution in CAUTIONS:
        assert f"- **{caution.title}.** {caution.text}" in readme


def test_readme_has_the_two_commands() -> None:
    """Set-up with the main job, and the tests, are one line each, which CI runs as they stand."""
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    assert [line for line in lines if line.startswith("python3 -m venv")] == [SET_UP]
    assert [line for line in lines if line.startswith(".venv/bin/python -m pytest")] == [TEST]
