"""Plain English in what people read: words that are not used, sentences of a length that is read once.

`FORBIDDEN` and the limits are the project's own rules. Pages and rooms that are not plain yet have a number each, which
may only fall: lower it with every change, and take the line out at 0. What is in no list has to be plain.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

ROOT = Path(__file__).parent.parent
PACKAGES = ("patterns", "render", "analysis", "trueraster")


class Forbidden(NamedTuple):
    """Words that are not used, what is written in their place, and a sentence that has them."""

    words: str
    write: str
    example: str


FORBIDDEN = (
    Forbidden(r"told|tells?|telling", "is reported, shows, gives, detects", "A mistake is told in one line"),
    Forbidden(
        r"h(?:e|o)ld(?:s|ing)? (?:[\w']+ ){0,4}against", "compared with, checked against", "It is held against it"
    ),
    Forbidden(r"at hand", "available", "No device was at hand"),
    Forbidden(r"stands? (?:in|on)|stood (?:in|on)", "see, is in", "It stands on a page of its own"),
    Forbidden(r"parted|parts? into", "split, separated", "It is parted into two"),
    Forbidden(r"surer|unsure|sure", "more certain; uncertainty", "It is unsure"),
    Forbidden(r"doubt\w*", "source of uncertainty", "Each cause of doubt"),
    Forbidden(
        r"upright (?:and level )?lines?|level (?:and upright )?lines?", "vertical, horizontal lines", "level lines"
    ),
    Forbidden(r"high tension", "high voltage", "the high tension"),
    Forbidden(r"beside the black-?body", "Duv", "beside the black-body line"),
    Forbidden(r"the whole scale", "overall", "over the whole scale"),
    Forbidden(r"shares? of light|off by", "luminance error", "It is off by 2 %"),
    Forbidden(r"off in colour", "colour error (u'v')", "It is off in colour"),
    Forbidden(r"right looks like|when all is right", "what a correct picture looks like", "what right looks like"),
    Forbidden(r"to see to", "what to check", "what to see to"),
    Forbidden(r"(?:a|the) set takes|sets take", "a set accepts", "what the set takes"),
    Forbidden(r"rid(?:es?|ing) on|rode on", "is carried by", "Sync rides on green"),
    Forbidden(r"in some lands", "in some countries", "in some lands"),
    Forbidden(r"another one", "a different one", "Take another one"),
    Forbidden(r"give or take", "±", "20 %, give or take 2"),
)
ANY = re.compile(rf"\b(?:{'|'.join(one.words for one in FORBIDDEN)})\b", re.IGNORECASE)

ROOMS_TO_DO: dict[str, int] = {
    "analysis/frame": 9,
    "analysis/raster": 14,
    "analysis/uniformity": 3,
    "trueraster/kit": 1,
    "trueraster/output": 13,
    "trueraster/report": 4,
}

CLEAN_ROOMS = (
    "patterns",
    "render",
    "analysis/waveform",
    "trueraster/timing",
    "trueraster/scope",
    "trueraster/levels.py",
    *(
        f"trueraster/commands/{name}.py"
        for name in ("draw", "formats", "levels", "patterns", "scope", "sheet", "timing")
    ),
)
"""Plain throughout: docstrings, comments and names too."""

PAGES_TO_DO: dict[str, int] = {
    "docs/capture.md": 16,
    "docs/verify.md": 20,
}

LONGEST, AVERAGE, PAGE_WORDS = 28, 16, 2000


class Sentences(NamedTuple):
    """The limits of a page that is not within the common ones yet: average, longest, words of the page."""

    average: float
    longest: int
    words: int


SENTENCES_TO_DO: dict[str, Sentences] = {
    "README.md": Sentences(16, 36, 900),
    "docs/capture.md": Sentences(16.5, 39, 2810),
    "docs/kit.md": Sentences(16, 43, 2000),
    "docs/verify.md": Sentences(16.4, 65, 2808),
}


def found(text: str) -> list[str]:
    """The forbidden words in a text, over the ends of its lines."""
    return ANY.findall(re.sub(r"\s+", " ", text))


def sources() -> Iterator[Path]:
    """Every file of the packages with words that people may read."""
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*")):
            if path.suffix in (".py", ".html", ".toml") and "data" not in path.parts:
                yield path


def room(path: Path) -> str:
    """The room of a source: a folder of a package; of the commands, and of what lies outside a room, the file."""
    parts = path.relative_to(ROOT).parts
    return "/".join(parts) if parts[1] == "commands" else "/".join(parts[:2])


def said(path: Path) -> str:
    """The words of a source that users see: of Python its texts, without docstrings and names."""
    text = path.read_text(encoding="utf-8")
    if path.suffix != ".py":
        return text
    tree = ast.parse(text)
    silent = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    help_texts = [
        ast.get_docstring(node) or ""
        for node in ast.walk(tree)
        # A command's docstring is its help.
        if isinstance(node, ast.FunctionDef) and any("command" in ast.unparse(one) for one in node.decorator_list)
    ]
    texts = [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in silent
    ]
    return "\n\n".join([*texts, *help_texts])


def pages() -> list[Path]:
    """README, and the documents; an installed package is tested without them."""
    return [page for page in (ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))) if page.exists()]


def name_of(page: Path) -> str:
    """A file by its path in the project."""
    return str(page.relative_to(ROOT))


def prose(text: str) -> str:
    """A page without code, comments, pictures and targets of links."""
    text = re.sub(r"^```.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
    text = re.sub(r"^ {4,}.*$", "", text, flags=re.MULTILINE)
    text = re.sub(r"<!--.*?-->|!\[.*?\]\(.*?\)", "", text, flags=re.DOTALL)
    return re.sub(r"\[([^\]]*)\]\([^)]*\)", r"\1", re.sub(r"`[^`]*`", "code", text))


def hand_written(text: str) -> str:
    """A page without its generated parts."""
    return re.sub(r"<!-- generated: [\w-]+ -->.*?<!-- end -->", "", text, flags=re.DOTALL)


def sentences(text: str) -> tuple[list[str], list[str]]:
    """The sentences of a page's paragraphs and lists, and those of its tables; headings are none."""
    blocks: list[str] = [""]
    cells: list[str] = []
    for line in prose(hand_written(text)).splitlines():
        if line.startswith("|"):
            cells += [cell.strip() for cell in line.split("|") if cell.strip(" -:")]
        elif not line.strip() or line.startswith("#"):
            blocks.append("")
        elif re.match(r"\s*(?:[-*]|\d+\.) ", line):
            blocks.append(re.sub(r"^\s*(?:[-*]|\d+\.) ", "", line))
        else:
            blocks[-1] += f" {line.strip()}"

    def split(parts: list[str]) -> list[str]:
        ended = (re.split(r"(?<=[.!?])[*\")']*\s+(?=[A-Z0-9*\"'(±]|code)", part) for part in parts)
        return [one.strip() for ones in ended for one in ones if words_in(one)]

    return split(blocks), split(cells)


def words_in(sentence: str) -> int:
    """Words and figures; marks alone are none."""
    return sum(bool(re.search(r"\w", word)) for word in sentence.split())


def measured(text: str) -> Sentences:
    """Average and longest sentence of a page (tables count for the longest alone), and its words as `wc -w` counts."""
    written, cells = sentences(text)
    average = sum(map(words_in, written)) / max(1, len(written))
    return Sentences(average, max(map(words_in, [*written, *cells]), default=0), len(hand_written(text).split()))


@pytest.mark.parametrize("one", FORBIDDEN, ids=lambda one: one.example)
def test_each_forbidden_word_is_noticed(one: Forbidden) -> None:
    """Its example is noticed, over a line's end too; what is written in its place is not."""
    assert found(one.example)
    assert found(one.example.replace(" ", "\n  "))
    assert not found(one.write)
    assert not found("Measure the standing wave, then assure that lighthouses hold.")


def test_sentences_are_counted_as_a_reader_does() -> None:
    """Code, links, lists and headings of an invented page: six sentences, the longest in a table."""
    page = (
        "# A heading is no sentence\n\nOne two three. Four `five six` [seven](eight.md)\nnine 10.5 mm.\n\n"
        "- A list's item\n- and 2 more. Yes!\n\n    trueraster draw bars\n\n"
        "| this cell has seven words in all |\n| --- |\n\n<!-- generated: x -->\nNot counted here.\n<!-- end -->\n"
    )
    written, cells = sentences(page)
    assert [words_in(one) for one in written] == [3, 6, 3, 3, 1]
    assert [words_in(one) for one in cells] == [7]
    assert measured(page)[:2] == (16 / 5, 7)


def test_users_see_no_forbidden_words() -> None:
    """No text in the packages has a forbidden word, but for the rooms that are still to be done."""
    counts: dict[str, list[str]] = {}
    for path in sources():
        counts.setdefault(room(path), []).extend(found(said(path)))
    worse = {name: words for name, words in counts.items() if len(words) > ROOMS_TO_DO.get(name, 0)}
    assert not worse


@pytest.mark.parametrize("name", CLEAN_ROOMS)
def test_clean_rooms_are_plain_throughout(name: str) -> None:
    """Docstrings, comments and names of a clean room have no forbidden word either."""
    paths = [path for path in sources() if name_of(path) == name or name_of(path).startswith(f"{name}/")]
    assert paths
    for path in paths:
        assert not found(path.read_text(encoding="utf-8").replace("_", " ")), name_of(path)


def test_pages_have_no_forbidden_words() -> None:
    """No page has a forbidden word, but for those that are still to be done."""
    counts = {name_of(page): found(prose(page.read_text(encoding="utf-8"))) for page in pages()}
    worse = {name: words for name, words in counts.items() if len(words) > PAGES_TO_DO.get(name, 0)}
    assert not worse


def test_sentences_and_pages_are_short() -> None:
    """Sentences of README and the tasks have 16 words on average and 28 at most, and a page 2,000 words."""
    for page in pages():
        if page.parent.name == "reference" or page.name == "changes.md":
            continue
        text = page.read_text(encoding="utf-8")
        got = measured(text)
        limits = SENTENCES_TO_DO.get(name_of(page), Sentences(AVERAGE, LONGEST, PAGE_WORDS))
        longest = max([part for parts in sentences(text) for part in parts], key=words_in, default="")
        assert got.average <= limits.average, (name_of(page), got)
        assert got.longest <= limits.longest, (name_of(page), got, longest)
        assert got.words <= limits.words, (name_of(page), got)
