"""Small things that a user meets: cautions that fit what is drawn, refusals that say why, names beside figures."""

from __future__ import annotations

import json
import os
import time
from importlib.metadata import version
from pathlib import Path

import pytest

from tests.command import call
from tests.trials.scope import told


@pytest.mark.parametrize(
    ("words", "is_bright"),
    [
        ("--colour black", False),
        ("--colour grey --level 10", False),
        ("--colour red --level 20", False),
        ("--colour white", True),
        ("--colour red", True),
        ("--colour grey --level 70", True),
    ],
)
def test_a_dark_field_has_no_caution_about_light(words: str, is_bright: bool, tmp_path: Path) -> None:
    """Only a field that is bright wears the phosphor; one of black says nothing of it."""
    code, _, err = call("draw", "field", *words.split(), "--as", "png", "--to", str(tmp_path))
    assert code == 0, err
    assert ("wears the phosphor" in err) is is_bright


@pytest.mark.parametrize("step", ["1Hz", "1", "1kHz", "0.5kHz", "0Hz", "1001Hz"])
def test_a_small_clock_step_is_quick(step: str) -> None:
    """A step of the clock is taken or refused in a moment, however small it is, and a refusal names the limits."""
    began = time.monotonic()
    code, out, err = call("timing", "320x240@60", "--clock-step", step)
    assert time.monotonic() - began < 10
    if step in ("1", "1kHz", "1001Hz"):
        assert code == 0, err
    else:
        assert (code, out, err.count("\n")) == (2, "", 1)
        assert "1 kHz to 10 MHz" in err


def test_edid_makes_no_folder_at_the_root() -> None:
    """A slip such as a slash too many is refused with the folder's name; below a folder that is there all is made."""
    folder = Path("/no-folder-of-this-name")
    assert not folder.exists()
    code, out, err = call("timing", "480i", "--edid", f"{folder}/deep/set.bin")
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert f"--edid: there is no folder {folder}" in err
    assert not folder.exists()


def test_edid_makes_other_folders(tmp_path: Path) -> None:
    """A missing folder of the user's own is made."""
    assert call("timing", "480i", "--edid", os.fspath(tmp_path / "new" / "set.bin"))[0] == 0
    # A base block of EDID 1.3 or 1.4 has 128 bytes (VESA E-EDID).
    assert (tmp_path / "new" / "set.bin").stat().st_size == 128


# Reserved codes by depth: Recommendation ITU-R BT.601 and BT.656 (STANDARDS, section 1).
@pytest.mark.parametrize(
    ("text", "usable"),
    [("8:255", "1 to 254"), ("8:0", "1 to 254"), ("10:1020", "4 to 1019"), ("10:3", "4 to 1019"), ("8:235", None)],
)
def test_reserved_codes_are_named(text: str, usable: str | None) -> None:
    """A code that timing references own is said to be one, in words and in JSON; any other is not."""
    code, out, _ = call("levels", text)
    assert code == 0
    assert ("is a reserved code" in out) is (usable is not None)
    note = json.loads(call("levels", text, "--json")[1])["levels"][0]["note"]
    assert (note is None) if usable is None else (usable in note and usable in out)


def test_the_version_is_told() -> None:
    """`--version` prints the program and its version, as the package has it."""
    code, out, err = call("--version")
    assert (code, out, err) == (0, f"trueraster {version('trueraster')}\n", "")


@pytest.mark.parametrize("name", ["480i", "1080i50"])
def test_rows_of_scope_are_named_by_their_bar(name: str) -> None:
    """The parts of a line of colour bars are the bars in their order: BT.471."""
    bars = ["white", "yellow", "cyan", "green", "magenta", "red", "blue", "black"]
    parts = told("bars", "--format", name)["traces"][0]["parts"]
    assert [part["patch"] for part in parts if part["part"] == "picture"] == bars
    assert {part["patch"] for part in parts if part["part"] != "picture"} == {None}
    _, out, _ = call("scope", "bars", "--format", name)
    assert "picture, magenta" in out


def test_rows_of_scope_of_steps_are_named_by_their_level() -> None:
    """Each step has its own name, and the level that the trace has: 700 mV times its percentage."""
    for part in told("steps", "--format", "576i", "--component", "y")["traces"][0]["parts"]:
        if part["part"] == "picture":
            assert part["percent"] == pytest.approx(float(part["patch"]), abs=0.01)
