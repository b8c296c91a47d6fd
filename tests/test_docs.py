"""The documents: up to date with the code, whole, and with commands that work."""

from __future__ import annotations

import importlib.util
import re
import shlex
from pathlib import Path

import pytest

from patterns.catalogue import PATTERNS
from trueraster.cli import run

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]

pytestmark = pytest.mark.skipif(not (ROOT / "docs").exists(), reason="the documents are not beside the tests")


def test_generated_parts_are_up_to_date() -> None:
    """What docs/make_docs.py writes is what stands in the pages."""
    spec = importlib.util.spec_from_file_location("make_docs", ROOT / "docs" / "make_docs.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    for page in sorted((ROOT / "docs").glob("*.md")):
        text = page.read_text(encoding="utf-8")
        assert module.filled(text) == text, page.name


def test_every_pattern_has_its_entry_and_picture() -> None:
    """Each pattern stands in exactly one page, with a picture."""
    pages = "\n".join(page.read_text(encoding="utf-8") for page in PAGES)
    for name in PATTERNS:
        assert pages.count(f": `{name}`\n") == 1, name
        assert (ROOT / "docs" / "pictures" / f"{name}.png").exists()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    """Every relative link and picture is there."""
    for target in re.findall(r"\]\(([^)#]+)\)", page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists(), target


def commands() -> list[str]:
    """Every command line of ours in the pages' blocks of code."""
    found = []
    for page in PAGES:
        text = page.read_text(encoding="utf-8")
        found += re.findall(r"^(?:    |\.venv/bin/)(trueraster .*)$", text, re.MULTILINE)
    return sorted({line.split("#")[0].strip() for line in found})


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
        if words[1] in ("FILE", "capture.png"):
            run(["draw", "bars", "--as", "png", "--to", "capture.png"])
            words[1] = "capture.png"
        else:
            run(["draw", "docs/examples/two-boxes.toml", "--format", "576i", "--as", "png"])
    if words[0] == "draw":
        words += ["--as", "png"]
    capsys.readouterr()
    assert run(words) == 0, capsys.readouterr().err


def test_readme_has_the_two_commands() -> None:
    """Set-up and tests are one line each, which CI runs as they stand."""
    lines = (ROOT / "README.md").read_text(encoding="utf-8").splitlines()
    assert sum(line.startswith("python3 -m venv") for line in lines) == 1
    assert sum(line.startswith(".venv/bin/python -m pytest") for line in lines) == 1
