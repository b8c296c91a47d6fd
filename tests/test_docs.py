"""The documents: up to date with the code, whole, and with commands that work."""

from __future__ import annotations

import importlib.util
import json
import re
import shlex
import subprocess
from pathlib import Path

import pytest
from imageio_ffmpeg import get_ffmpeg_exe

from analysis.chain import STEPS
from analysis.remedies import FAULTS
from patterns.catalogue import PATTERNS
from trueraster.cautions import CAUTIONS
from trueraster.cli import app, run

ROOT = Path(__file__).parent.parent
PAGES = [
    page
    for page in (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md")))
    # An installed package is tested without its documents.
    if page.exists()
]

pytestmark = pytest.mark.skipif(not (ROOT / "docs").exists(), reason="the documents are not beside the tests")

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
    for page in sorted((ROOT / "docs").glob("*.md")):
        text = page.read_text(encoding="utf-8")
        marks += text.count("<!-- generated: ")
        assert module.filled(text) == text, page.name
    # Seven areas, formats, frequencies, the gallery, constants, what is unverified, the example, faults: a lost mark
    # would go unseen else.
    assert marks == 14


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
    assert set(re.findall(r"\(`([\w-]+)`\)", table)) == set(FAULTS)
    assert "{" not in table
    assert sorted(p.stem for p in (ROOT / "docs" / "pictures").glob("fault-*.png")) == sorted(
        f"fault-{name}" for name in FAULTS
    )
    for name in FAULTS:
        assert (ROOT / "docs" / "pictures" / f"fault-{name}.png").stat().st_size < 10_000, name


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    """Every relative link and picture is there, and so is the heading that a link names."""
    for target in re.findall(r"\]\(([^)]+)\)", page.read_text(encoding="utf-8")):
        name, _, heading = target.partition("#")
        assert (page.parent / name).exists(), target
        if heading:
            headings = re.findall(r"^#+ (.+)$", (page.parent / name).read_text(encoding="utf-8"), re.MULTILINE)
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
    # The worked example has a test of its own.
    return sorted({match[1].split("#")[0].strip() for match in found if match and "harbour-lane-" not in match[1]})


def mentions() -> list[str]:
    """Every command of ours that is named in the pages' prose."""
    pages = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
    return sorted(set(re.findall(r"`(trueraster [^`\n]+)`", pages)))


@pytest.mark.parametrize("line", commands())
def test_commands_of_the_documents(
    line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each command that the documents show is understood; those that draw do draw."""
    words = shlex.split(line)[1:]
    monkeypatch.chdir(tmp_path)
    (tmp_path / "docs").symlink_to(ROOT / "docs")
    if words[0] == "verify":
        # Needs a capture: make the one that it speaks of.
        if words[1] == "capture.png":
            run(["draw", "bars", "--as", "png", "--to", "capture.png"])
        else:
            run(["draw", "docs/examples/two-boxes.toml", "--format", "576i", "--as", "png"])
    if words[0] == "draw":
        words += ["--as", "png"]
    if words[0] == "kit":
        words += ["--as", "png", "--seconds", "1"]
    capsys.readouterr()
    assert run(words) == 0, capsys.readouterr().err


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


@pytest.mark.parametrize("line", mentions())
def test_commands_named_in_prose(line: str) -> None:
    """Each command that a sentence names is there and takes the options that it is named with."""
    words = shlex.split(line)[1:]
    assert words[0] in app.commands, line
    app.commands[words[0]].make_context(words[0], words[1:])


def rows_after(text: str) -> dict[str, str]:
    """What the first table of a text says of each key."""
    table = re.search(r"^(\|.+\|\n)+", text, re.MULTILINE)
    assert table is not None
    rows = re.findall(r"^\| (`.+?) +\| (.+?) *\|$", table[0], re.MULTILINE)
    return {name: holds for names, holds in rows for name in re.findall(r"`(\w+)`", names)}


def test_json_of_verify_is_as_its_page_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every key of the answer stands in the tables of docs/verify.md, and they name no other."""
    monkeypatch.chdir(tmp_path)
    run(["draw", "bars", "--as", "png", "--to", "bars.png"])
    run(["draw", "field-order", "--as", "ffv1", "--seconds", "1", "--format", "480i", "--to", "clip.mkv"])
    capsys.readouterr()
    run(["verify", "bars.png", "--all", "--json"])
    answer = json.loads(capsys.readouterr().out)
    run(["verify", "clip.mkv", "--json"])
    clip = json.loads(capsys.readouterr().out)
    page = (ROOT / "docs" / "verify.md").read_text(encoding="utf-8").split("## `--json`")[1]
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


def test_parameters_of_faults_are_as_their_page_says() -> None:
    """docs/verify.md has every fault, those of the levels with the parameters that the chain's steps tell."""
    page = (ROOT / "docs" / "verify.md").read_text(encoding="utf-8").split("## Faults")[1].split("###")[0]
    told: dict[str, set[str]] = {}
    for ids, parameters in re.findall(r"^\| [A-Z][^|]+\| (`[^|]+?) +\| ([^|]+?) +\|$", page, re.MULTILINE):
        for id in re.findall(r"`([\w-]+)`", ids):
            told[id] = set(re.findall(r"`(\w+)`:", parameters))
    assert set(told) == set(FAULTS)
    for step in STEPS:
        assert told[step.id] == set(step.tell(step.start)), step.id


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
