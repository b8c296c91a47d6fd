"""Every command on the shipped examples: what is run for the golden files, and how an answer is compared with one.

The golden files hold each command's text, JSON and page as they are printed. Figures may differ in the last digit that
is shown, since libraries for linear algebra sum in an order of their own on each kind of processor; all else is equal.
"""

from __future__ import annotations

import contextlib
import io
import json
import re
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from trueraster.cli import run

__all__ = ["CASES", "GOLDEN", "Case", "answers", "difference", "json_of", "prepared"]

GOLDEN = Path(__file__).parent
ROOT = GOLDEN.parents[1]
_GLASS = ("--depth-mm", "0", "--glass-radius-mm", "flat")
_PHOTO = ("simulation.jpg", "--marks-mm", "470x360", "--lens", "simulation-lens.json", *_GLASS)
_TO = "OUT"
"""Stands for the page's name in a case's words."""


@dataclass(frozen=True, slots=True)
class Case:
    """One command line."""

    name: str
    words: tuple[str, ...]
    page: tuple[str, ...] = ()
    """Further words with which it writes the page `OUT`."""
    text: bool = True
    slow: bool = False


def _case(name: str, words: str, *more: str, page: tuple[str, ...] = (), **how: bool) -> Case:
    return Case(name, (*words.split(), *more), page, **how)


CASES = (
    _case("patterns", "patterns"),
    _case("patterns-crosshatch", "patterns crosshatch"),
    _case("formats", "formats"),
    _case("formats-480i", "formats 480i"),
    _case("levels", "levels"),
    _case("levels-given", "levels 75% 10:721 549mV-setup"),
    _case("timing-576i", "timing 576i"),
    _case("timing-free", "timing 2560x240p@60"),
    _case("scope", "scope bars --format 480i"),
    _case("scope-field", "scope steps --format 576i --field 1"),
    _case("draw", "draw two-boxes.toml bars --format 576i --as png --to drawn"),
    _case("kit", "kit --format 480i --as png --to kit", page=("--to", _TO), slow=True),
    _case("verify", "verify bars.png"),
    _case("verify-capture", "verify bars-expanded.png"),
    _case("verify-noise", "verify steps-noisy.png --format 480i"),
    _case("verify-other", "verify bars.png --pattern crosshatch"),
    _case("verify-fields", "verify field-order.mkv"),
    _case("sheet-marks", "sheet marks --to marks.pdf"),
    _case("measure-geometry", "measure geometry", *_PHOTO, page=("--page", _TO)),
    _case("measure-geometry-unknown", "measure geometry", *_PHOTO[:3]),
    _case("measure-geometry-no-marks", "measure geometry", _PHOTO[0], "--no-marks"),
    _case("measure-convergence", "measure convergence", *_PHOTO, page=("--page", _TO)),
    _case("measure-raster", "measure raster", *_PHOTO),
    _case("measure-uniformity", "measure uniformity white.jpg red.jpg --flat-field flat.jpg"),
    _case("measure-lens", "measure lens", *(f"board-{n}.jpg" for n in range(10)), "--to", "lens.json"),
    _case("measure-grey", "measure grey grey-readings.csv", page=("--page", _TO)),
    _case("measure-grey-primaries", "measure grey as-found.csv --primaries smpte-c --white d93"),
    _case("measure-colour", "measure colour colour-readings.csv", page=("--page", _TO)),
    _case("record-show", "record show demo.json"),
    _case("record-show-all", "record show demo.json --all"),
    _case("report", "report demo.json --to report.html", page=("--to", _TO)),
    _case("report-tolerances", "report --tolerances-template tolerances.toml"),
    _case("refused-photograph", "measure geometry white.jpg --marks-mm 470x360"),
    _case("refused-readings", "measure grey colour-readings.csv"),
    _case("refused-record", "record show as-found.csv"),
)


@contextlib.contextmanager
def prepared(folder: Path) -> Iterator[None]:
    """Be in `folder`, with the examples and what is drawn for the cases in it."""
    for source in (ROOT / "docs" / "examples", ROOT / "trueraster" / "record" / "demo", GOLDEN / "inputs"):
        shutil.copytree(source, folder, dirs_exist_ok=True)
    with contextlib.chdir(folder):
        for words in (
            "draw bars steps --as png --to .",
            "draw field-order --as ffv1 --seconds 1 --to field-order.mkv",
        ):
            assert _run(words.split())[0] == 0
        Path("bars_480i_full.png").rename("bars.png")
        Path("steps_480i_full.png").rename("steps.png")
        bars = np.asarray(Image.open("bars.png")).astype(int)
        # A player that took full range for narrow: its levels are spread once more.
        Image.fromarray(np.clip((bars - 16) * 255 // 219, 0, 255).astype(np.uint8)).save("bars-expanded.png")
        noise = np.random.default_rng(5).normal(0, 2, bars.shape).round().astype(int)
        steps = np.asarray(Image.open("steps.png")).astype(int)
        Image.fromarray(np.clip(steps * 24 // 25 + noise, 0, 255).astype(np.uint8)).save("steps-noisy.png")
        yield


def answers(case: Case) -> dict[str, str]:
    """What a case prints, by the golden file's ending."""
    found: dict[str, str] = {}
    if case.text:
        code, text, errors = _run(case.words)
        found["txt"] = _settled(f"exit {code}\n{text}{errors if code == 2 else ''}")
    found["json"] = json_of(case)
    if case.page:
        name = f"{case.name}.html"
        words = list(case.words)
        if case.page[0] in words:
            del words[words.index(case.page[0]) :][:2]
        code, _, errors = _run((*words, *(name if word == _TO else word for word in case.page)))
        page = Path(name)
        page = page / "cue-sheet.html" if page.is_dir() else page
        assert page.is_file(), errors
        found["html"] = _settled(page.read_text(encoding="utf-8"))
    return found


def json_of(case: Case) -> str:
    """What a case prints with --json; its exit code and line where it is refused."""
    code, text, errors = _run((*case.words, "--json"))
    return _settled(_spread(json.loads(text))) if text else _settled(f"exit {code}\n{errors}")


def _run(words: tuple[str, ...] | list[str]) -> tuple[int, str, str]:
    printed, said = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(printed), contextlib.redirect_stderr(said):
        code = run(list(words))
    return code, printed.getvalue(), said.getvalue()


_UNSETTLED = (
    (re.compile(r"data:[a-z/+]+;base64,[A-Za-z0-9+/=]+"), "data:..."),
    (re.compile(r"\b[0-9a-f]{64}\b"), "SHA256"),
    (re.compile(r"\b20\d\d-\d\d-\d\d(T[0-9:.+]+Z?)?"), "DATE"),
    (re.compile(r"\btrueraster \d+\.\d+\.\d+\b"), "trueraster VERSION"),
)
"""What is another each time, or on another machine."""


def _settled(text: str) -> str:
    for found, put in _UNSETTLED:
        text = found.sub(put, text)
    return text.rstrip("\n") + "\n"


def _spread(answer: Any) -> str:
    """JSON with a line for each key in order of the alphabet, and lists of numbers in one line."""
    text = json.dumps(answer, indent=1, ensure_ascii=False, sort_keys=True)
    return re.sub(r"[\[{][^\[\]{}]{0,200}[\]}]", lambda found: re.sub(r"\n\s*", " ", found[0]), text)


_NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?![\w])")


def difference(wanted: str, got: str) -> str:
    """The first line in which two answers differ, in words; empty where they agree."""
    ours, theirs = wanted.splitlines(), got.splitlines()
    for i, (a, b) in enumerate(zip(ours, theirs, strict=False), 1):
        if a != b and not _agree(a, b):
            return f"line {i}:\n  was {a[:300]}\n  is  {b[:300]}"
    if len(ours) != len(theirs):
        return f"{len(ours)} lines before, {len(theirs)} now"
    return ""


def _agree(wanted: str, got: str) -> bool:
    """Whether two lines have the same words, and figures that differ in the last digit at most.

    A fit that is solved on another number of cores ends some 1e-9 of a figure elsewhere, which JSON's digits show.
    """
    if _NUMBER.split(wanted) != _NUMBER.split(got):
        return False
    pairs = zip(_NUMBER.findall(wanted), _NUMBER.findall(got), strict=True)
    return all(abs(float(a) - float(b)) <= max(1.01 * _last(a), 1.01 * _last(b), _of_fit(a)) for a, b in pairs)


def _of_fit(number: str) -> float:
    return 1e-7 * abs(float(number)) if "." in number else 0.0


def _last(number: str) -> float:
    """What one in the last digit of a number is worth; 0 for a whole number."""
    mantissa, _, power = number.partition("e")
    _, point, digits = mantissa.partition(".")
    return 10.0 ** (int(power or 0) - len(digits)) if point or power else 0.0
