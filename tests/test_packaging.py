"""The package as it is installed: what it brings, what it needs, and what must not be written in it."""

from __future__ import annotations

import ast
import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterable
from importlib.metadata import PackageNotFoundError, distribution, packages_distributions
from importlib.resources import files
from pathlib import Path

import pytest

ROOMS = ("patterns", "render", "analysis", "trueraster")
ROOT = Path(__file__).parent.parent


def fresh(program: str, *arguments: str) -> str:
    """Standard output of a program in a Python of its own, without the surroundings of this one."""
    done = subprocess.run(
        [sys.executable, "-I", "-c", program, *arguments], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def is_editable() -> bool:
    try:
        where = distribution("trueraster").read_text("direct_url.json")
    except PackageNotFoundError:
        pytest.skip("not installed")
    return bool(json.loads(where or "{}").get("dir_info", {}).get("editable"))


@pytest.mark.parametrize("room", ROOMS)
def test_the_rooms_belong_to_this_package_alone(room: str) -> None:
    """No other installed package brings a top-level name of ours."""
    if is_editable():
        pytest.skip("an editable install lists no files")
    assert packages_distributions().get(room) == ["trueraster"]


def test_nothing_else_is_installed_at_the_top() -> None:
    """The wheel brings the four rooms and no other top-level name, such as tests or docs."""
    if is_editable():
        pytest.skip("an editable install lists no files")
    tops = {file.parts[0] for file in distribution("trueraster").files or ()}
    assert {top for top in tops if top != ".." and not top.endswith(".dist-info")} == set(ROOMS)


@pytest.mark.parametrize("room", ROOMS)
def test_each_room_is_marked_as_typed(room: str) -> None:
    """PEP 561: a file py.typed in each top-level package."""
    assert files(room).joinpath("py.typed").is_file()


def test_the_face_is_reachable_with_its_licence() -> None:
    """The shipped face is a TrueType file, and its licence stands beside it, in words."""
    folder = files("render") / "data"
    # A TrueType file begins with the version 1.0 as a 16.16 number (OpenType specification, from memory).
    assert (folder / "DejaVuSansMono-Bold.ttf").read_bytes()[:4] == b"\x00\x01\x00\x00"
    assert "Permission is hereby granted" in (folder / "DejaVuSansMono-Bold.LICENSE.txt").read_text(encoding="utf-8")


def test_the_licences_are_in_the_metadata() -> None:
    """An installed copy carries the licence of the program and, in a wheel, that of the face."""
    editable = is_editable()
    names = {file.name for file in distribution("trueraster").files or () if "licenses" in file.parts}
    assert "LICENSE" in names
    if not editable:
        assert "DejaVuSansMono-Bold.LICENSE.txt" in names


def test_the_command_is_installed() -> None:
    """The console script leads to the command line's main function."""
    is_editable()
    (entry,) = distribution("trueraster").entry_points.select(group="console_scripts")
    assert (entry.name, entry.value) == ("trueraster", "trueraster.cli:main")


def test_patterns_need_the_standard_library_only() -> None:
    """After the import of every module of `patterns` no package from elsewhere is loaded."""
    program = """
import pkgutil, sys
before = set(sys.modules)
import patterns.catalogue, patterns.userfile
for module in pkgutil.walk_packages(patterns.__path__, "patterns."):
    __import__(module.name)
tops = {name.split(".")[0] for name in set(sys.modules) - before}
print(*sorted(tops - set(sys.stdlib_module_names) - {"patterns"}))
print(sum(name.startswith("patterns.") for name in sys.modules))
"""
    strangers, count = fresh(program).splitlines()
    assert strangers == ""
    assert int(count) > 10


@pytest.mark.parametrize("line", [["--help"], ["draw", "--help"], ["formats"], ["patterns", "bars"], ["levels", "75%"]])
def test_light_commands_load_nothing_heavy(line: list[str]) -> None:
    """The help and the reference commands answer without the libraries that drawing needs."""
    program = """
import sys
from trueraster.cli import run
assert run(sys.argv[1:]) == 0
heavy = {"numpy", "av", "PIL", "rich", "typer", "imageio_ffmpeg"}
print("loaded:", *sorted(heavy & set(sys.modules)))
"""
    assert fresh(program, *line).splitlines()[-1] == "loaded:"


def tracked() -> list[Path]:
    """The files that are under version control."""
    if not (ROOT / ".git").exists():
        pytest.skip("no checkout")
    try:
        listed = subprocess.run(
            ["git", "-C", str(ROOT), "ls-files", "-z"], capture_output=True, check=True, timeout=60
        ).stdout.decode()
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("the files cannot be listed")
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).is_file()]


def named_places(places: Iterable[Path], text: str) -> list[str]:
    """Those of the places that the text names, as whole names; places that every machine has are left out."""
    own = {str(place) for place in places} - {"/", "/dev/null", "/tmp", "/usr", "~"}
    return [place for place in sorted(own) if re.search(rf"(?<![\w.-]){re.escape(place)}(?![\w.-])", text)]


def test_a_checkout_may_be_anywhere() -> None:
    """A checkout in /repo does not make the name of a module a place, nor does a home of /tmp make an example one."""
    text = "see trueraster/report.py, and --to /tmp/photographs"
    assert named_places([Path("/repo"), Path("/tmp"), Path("/tmp/photo")], text) == []
    assert named_places([Path("/repo")], text + " or /repo/x") == ["/repo"]


def test_no_file_names_a_registry_or_a_place_of_this_machine() -> None:
    """No text of the project holds a package registry's host, or a path that only this machine has."""
    # Put together here, so that this file does not name them.
    words = [f"py{'pi'}.org", f"python{'hosted'}.org", f"npm{'js'}.org", f"index{'-'}url", f"INDEX{'_'}URL"]
    places = [ROOT.resolve(), Path(os.path.expanduser("~")), Path(sys.prefix)]
    found = []
    for path in tracked():
        data = path.read_bytes()
        if b"\0" in data:
            continue
        text = data.decode("utf-8")
        found += [f"{path.relative_to(ROOT)}: {word}" for word in (*words, *named_places(places, text)) if word in text]
    assert found == []


def test_every_text_is_utf_8_and_ends_its_last_line() -> None:
    """Every text under version control is UTF-8 without carriage returns and ends in a line feed."""
    for path in tracked():
        data = path.read_bytes()
        if b"\0" in data or not data:
            continue
        assert data.decode("utf-8")
        assert b"\r" not in data, path
        assert data.endswith(b"\n"), path


def test_every_run_of_ci_is_a_first_run(tmp_path: Path) -> None:
    """CI runs README's commands with a home, a temporary folder and caches of its own, empty, and removes them.

    Here the commands of README are replaced by one that prints its surroundings and ends the run. pip's configuration
    is that of the user, since a machine may reach packages by it alone.
    """
    if not (ROOT / ".ci" / "run").exists():
        pytest.skip("no checkout")
    project, programs, home, old = (tmp_path / name for name in ("project", "programs", "home", "old tmp"))
    for folder in (project / ".ci", programs, home / ".config" / "pip", home / ".cache", old):
        folder.mkdir(parents=True)
    shutil.copy(ROOT / ".ci" / "run", project / ".ci" / "run")
    (home / ".config" / "pip" / "pip.conf").write_text("[global]\ntimeout = 77\n")
    # As another user than root, so that nothing is installed.
    (programs / "id").write_text("#!/bin/sh\necho 1000\n")
    (programs / "id").chmod(0o755)
    (project / "README.md").write_text(
        'python3 -m venv -h >/dev/null; env; echo files:; find "$HOME" "$TMPDIR" "$XDG_CACHE_HOME" -type f; exit 3\n'
    )
    outer = {**os.environ, "HOME": str(home), "TMPDIR": str(old), "MPLCONFIGDIR": str(old), "PIP_CACHE_DIR": str(old)}
    outer |= {"XDG_CACHE_HOME": str(home / ".cache"), "PATH": f"{programs}:{os.environ['PATH']}"}
    outer.pop("XDG_CONFIG_HOME", None)
    done = subprocess.run([project / ".ci" / "run"], capture_output=True, text=True, env=outer, timeout=60, check=False)
    assert done.returncode == 3, done.stderr
    surroundings, found = done.stdout.split("files:\n")
    inner = dict(line.split("=", 1) for line in surroundings.splitlines() if "=" in line)
    fresh = Path(inner["HOME"]).parent
    assert fresh.parent == old
    for name in ("HOME", "TMPDIR", "XDG_CACHE_HOME", "PIP_CACHE_DIR", "MYPY_CACHE_DIR", "RUFF_CACHE_DIR"):
        assert fresh in Path(inner[name]).parents, name
    assert "MPLCONFIGDIR" not in inner
    assert found.split("\n") == [f"{inner['HOME']}/.config/pip/pip.conf", ""]
    assert not fresh.exists()


def test_an_import_that_waits_says_what_that_saves() -> None:
    """Modules import at the top; where a function does, a comment is above the first of its imports."""
    without = []
    for path in tracked():
        if path.suffix != ".py" or path.relative_to(ROOT).parts[0] not in (
            "patterns",
            "render",
            "analysis",
            "trueraster",
        ):
            continue
        lines = path.read_text(encoding="utf-8").splitlines()
        functions = [node for node in ast.walk(ast.parse("\n".join(lines))) if isinstance(node, ast.FunctionDef)]
        parts = [part for one in functions for part in ast.walk(one)]
        bodies: list[list[ast.stmt]] = [body for part in parts if isinstance(body := getattr(part, "body", None), list)]
        for body in bodies:
            for before, line in zip([None, *body], body, strict=False):
                waits = isinstance(line, ast.Import | ast.ImportFrom)
                if waits and not isinstance(before, ast.Import | ast.ImportFrom):
                    above = lines[line.lineno - 2].strip()
                    without += [] if above.startswith("#") else [f"{path.relative_to(ROOT)}:{line.lineno}"]
    assert without == []


def test_every_test_has_a_sentence() -> None:
    """The first line of each test says what the test shows, so that a reader need not work it out."""
    without = []
    for path in sorted((ROOT / "tests").glob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_") and not ast.get_docstring(node):
                without.append(f"{path.name}: {node.name}")
    assert without == []
